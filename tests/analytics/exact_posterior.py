"""A second route to the posterior of a mixed model, sharing nothing with the toolkit's sampler.

The effects of animals are integrated out, by adaptive Gauss-Hermite quadrature where each row has
one grouping factor and by importance sampling around the mode where two factors cross; what is left
has a handful of parameters, whose posterior moments are taken by importance sampling as well (Tran
et al. 2013, arXiv:1309.3339: an unbiased estimate of the likelihood leaves them exact). Plain
numpy and scipy.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from scipy.special import logsumexp
from scipy.stats import multivariate_t


def binomial(eta, k, n):
    """Log probability of each count, up to its number of orders."""
    return k * eta - n * np.logaddexp(0.0, eta)


def quadrature_log_likelihood(fixed, sd, k, n, group, n_nodes=25):
    """Exact log likelihood with one grouping factor, the effects integrated by quadrature.

    `fixed` (n,) is the predictor without effects, `sd` their spread.
    """
    n_groups = group.max() + 1
    mode = np.zeros(n_groups)
    for _ in range(60):
        p = 1 / (1 + np.exp(-(fixed + sd * mode[group])))
        slope = sd * np.bincount(group, k - n * p, n_groups) - mode
        curve = sd**2 * np.bincount(group, n * p * (1 - p), n_groups) + 1.0
        step = np.clip(slope / curve, -1.0, 1.0)
        mode += step
        if np.abs(step).max() < 1e-10:
            break
    nodes, weights = np.polynomial.hermite_e.hermegauss(n_nodes)
    z = mode[:, None] + nodes / np.sqrt(curve)[:, None]
    logs = binomial(fixed[:, None] + sd * z[group], k[:, None], n[:, None])
    rows = csr_array((np.ones(len(group)), (group, np.arange(len(group)))))
    summed = rows @ logs
    # Normal density of the effect over the quadrature's own kernel.
    summed += -0.5 * z**2 + 0.5 * nodes**2 - 0.5 * np.log(2 * np.pi)
    return float((logsumexp(summed + np.log(weights), axis=1) - 0.5 * np.log(curve)).sum())


@dataclass(frozen=True)
class CrossedBlocks:
    """Rows of two crossed factors that fall into blocks without a common level."""

    k: np.ndarray
    members: list  # for each block: rows, and a 0/1 matrix (rows, levels) of each factor
    noise: np.ndarray  # standard normals (n_draws, most levels of a block), fixed once

    @classmethod
    def of(cls, k, first, second, n_draws, rng):
        names, level = np.unique([f"a{x}" for x in first] + [f"b{x}" for x in second],
                                 return_inverse=True)  # fmt: skip
        pairs = level[: len(k)], level[len(k) :]
        graph = csr_array((np.ones(len(k)), pairs), shape=(len(names), len(names)))
        block = connected_components(graph, directed=False)[1][pairs[0]]
        members = []
        for one in np.unique(block):
            rows = np.flatnonzero(block == one)
            members.append(
                (rows, *((level[rows][:, None] == np.unique(level[rows])).astype(float)
                         for level in pairs))
            )  # fmt: skip
        most = max(a.shape[1] + b.shape[1] for _, a, b in members)
        return cls(k, members, cls.drawn(n_draws, most, rng))

    @staticmethod
    def drawn(n_draws, size, rng):
        half = rng.normal(size=(n_draws // 2, size))
        return np.concatenate([half, -half])

    def log_likelihoods(self, fixed, first_sd, second_sd, rng=None):
        """Laplace's approximation and the importance sampled log likelihood.

        With `rng` the noise is drawn anew, so that the likelihood is unbiased; without it the same
        noise serves every call, so that the likelihood is smooth.
        """
        laplace = exact = 0.0
        for rows, a, b in self.members:
            reach = np.hstack([first_sd * a, second_sd * b])
            k, start = self.k[rows], fixed[rows]
            mode = np.zeros(reach.shape[1])
            for _ in range(100):
                p = 1 / (1 + np.exp(-(start + reach @ mode)))
                curve = reach.T @ ((p * (1 - p))[:, None] * reach) + np.eye(len(mode))
                step = np.linalg.solve(curve, reach.T @ (k - p) - mode)
                mode += step
                if np.abs(step).max() < 1e-10:
                    break
            root = np.linalg.cholesky(np.linalg.inv(curve))
            log_root = np.log(np.diag(root)).sum()
            laplace += binomial(start + reach @ mode, k, 1.0).sum() - 0.5 * mode @ mode + log_root
            noise = self.noise[:, : len(mode)]
            if rng is not None:
                noise = self.drawn(len(noise), len(mode), rng)
            z = mode + noise @ root.T
            logs = binomial(start + z @ reach.T, k, 1.0).sum(axis=1)
            logs += -0.5 * (z**2).sum(axis=1) + 0.5 * (noise**2).sum(axis=1)
            exact += logsumexp(logs) - np.log(len(logs)) + log_root
        return laplace, exact


@dataclass(frozen=True)
class Moments:
    """Posterior mean and sd of each parameter, and the effective number of draws behind them."""

    mean: np.ndarray
    sd: np.ndarray
    ess: float


def most_likely(log_likelihood, start):
    """Maximum of a smooth log likelihood, and its inverse curvature there."""
    found = minimize(lambda theta: -log_likelihood(theta), start, method="BFGS",
                     options={"gtol": 1e-4})  # fmt: skip
    return found.x, np.asarray(found.hess_inv), -float(found.fun)


def posterior_moments(log_posterior, start, n_draws, rng, n_spreads=0, smooth=None):
    """Moments of a posterior, by importance sampling around its mode.

    The last `n_spreads` parameters are above zero; the densities are even in them, so that the
    search may cross it. `smooth` finds the mode where `log_posterior` is estimated with noise.
    """
    mode, covariance, _ = most_likely(smooth or log_posterior, start)
    mode[len(mode) - n_spreads :] = np.abs(mode[len(mode) - n_spreads :])
    proposal = multivariate_t(mode, 1.4 * (covariance + covariance.T) / 2, df=6)
    draws = np.atleast_2d(proposal.rvs(n_draws, random_state=rng))
    draws = draws[(draws[:, len(mode) - n_spreads :] > 0).all(axis=1)]
    logs = np.array([log_posterior(theta) for theta in draws]) - proposal.logpdf(draws)
    weight = np.exp(logs - logsumexp(logs))
    mean = weight @ draws
    return Moments(mean, np.sqrt(weight @ (draws - mean) ** 2), 1 / float((weight**2).sum()))


def flat_enough(theta, n_coefficients, coefficient_sd, spread_scale):
    """Log density of normal coefficients and (half-)normal spreads."""
    return -0.5 * float(
        ((theta[:n_coefficients] / coefficient_sd) ** 2).sum()
        + ((theta[n_coefficients:] / spread_scale) ** 2).sum()
    )
