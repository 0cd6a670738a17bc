r"""How likely is an outcome: counts out of trials, trials that go together, and positive counts.

Written without the gamma function, whose derivative is slow inside a sampler: products over the few
steps of a litter take its place. All functions are element-wise over rows. Those of numpy arrays
are read by numpy, where nothing is compiled; a sampler's arrays by jax.
"""

from __future__ import annotations

from types import ModuleType

import jax
import jax.numpy as jnp
import jax.scipy.special
import numpy as np
import scipy.special

from studcurve.analytics.models.arrays import Array


def binomial_log_likelihood(eta: Array, n_success: Array, n_trials: Array) -> Array:
    """Log probability of each count out of trials, up to its number of orders.

    Parameters
    ----------
    eta
        Logit of the chance of one success.
    n_success, n_trials
        Counts; NaN-free.
    """
    return n_success * jax.nn.log_sigmoid(eta) + (n_trials - n_success) * jax.nn.log_sigmoid(-eta)


def beta_binomial_log_likelihood(
    eta: Array,
    correlation_logit: Array,
    n_success: Array,
    n_trials: Array,
    steps: Array,
) -> Array:
    r"""Log probability of each count when the trials of a row go together, up to its orders.

    Parameters
    ----------
    eta
        Logit of the mean chance :math:`p`.
    correlation_logit
        Logit of the correlation :math:`\rho` between two trials of one row; one, or like ``eta``.
    n_success, n_trials
        Counts :math:`k` of :math:`n`.
    steps
        0, 1, … up to the largest number of trials, exclusive.

    Notes
    -----
    .. math::

        P(k) \propto \frac{\prod_{j<k} (p + j\theta) \prod_{j<n-k} (1 - p + j\theta)}
                          {\prod_{j<n} (1 + j\theta)}, \qquad \theta = \frac{\rho}{1-\rho}
    """
    xp, functions = _library(eta)
    p, q = functions.expit(eta)[..., None], functions.expit(-eta)[..., None]
    over = steps * xp.exp(correlation_logit)[..., None]
    n_success, n_trials = n_success[..., None], n_trials[..., None]

    def log_product(start: Array, n: Array) -> Array:
        return xp.sum(xp.where(steps < n, xp.log(start + over), 0.0), axis=-1)

    return (
        log_product(p, n_success)
        + log_product(q, n_trials - n_success)
        - log_product(xp.ones_like(p), n_trials)
    )


def log_rate_of_mean(log_mean: Array, log_nu: Array, support: Array) -> Array:
    r"""Log rate of a Conway-Maxwell-Poisson distribution of a wanted mean.

    Parameters
    ----------
    log_mean
        Log of the mean :math:`\mu`, zero counted in.
    log_nu
        Log of the dispersion :math:`\nu`, one or like ``log_mean``; above 0 the counts spread less
        than Poisson's.
    support
        0, 1, … up to the largest count that is thought possible.

    Notes
    -----
    With weights :math:`\lambda^k / (k!)^\nu` the asymptotic mean gives
    :math:`\log\lambda \approx \nu \log(\mu + (\nu-1)/(2\nu))` (Shmueli et al. 2005, J R Stat Soc C
    54:127-142), one Newton step takes it to the mean itself.
    """
    xp, functions = _library(log_mean)
    nu = xp.exp(log_nu)
    mean = xp.exp(log_mean)
    # A mean below the asymptotic form's reach starts from Poisson's rate instead.
    start = nu * xp.log(xp.maximum(mean + (nu - 1.0) / (2.0 * nu), 0.5 * mean))
    log_weight = start[..., None] * support - nu[..., None] * functions.gammaln(support + 1.0)
    weight = xp.exp(log_weight - functions.logsumexp(log_weight, axis=-1, keepdims=True))
    first = weight @ support
    variance = weight @ support**2 - first**2
    return start + (mean - first) / variance


def truncated_count_log_likelihood(
    log_mean: Array,
    log_nu: Array,
    counts: Array,
    support: Array,
) -> Array:
    r"""Log probability of each positive count: zero-truncated Conway-Maxwell-Poisson, mean form.

    Parameters
    ----------
    log_mean, log_nu, support
        As in :func:`log_rate_of_mean`.
    counts
        At least 1 each.

    Notes
    -----
    .. math::

        P(k) = \frac{\lambda^k / (k!)^\nu}{\sum_{j \ge 1} \lambda^j / (j!)^\nu}
    """
    xp, functions = _library(log_mean)
    log_rate = log_rate_of_mean(log_mean, log_nu, support)
    nu = xp.exp(log_nu)
    positive = support[1:]
    log_weight = log_rate[..., None] * positive - nu[..., None] * functions.gammaln(positive + 1.0)
    log_total = functions.logsumexp(log_weight, axis=-1)
    return log_rate * counts - nu * functions.gammaln(counts + 1.0) - log_total


def _library(values: Array) -> tuple[ModuleType, ModuleType]:
    """Numpy and its special functions for numpy's numbers, else their jax twins."""
    if isinstance(values, np.ndarray | np.generic | float):
        return np, scipy.special
    return jnp, jax.scipy.special
