r"""How many pups were born alive in each litter, and how many were to be expected?

For each litter of the records :math:`i` and each draw of the litter model, total born is drawn from
its zero-truncated Conway-Maxwell-Poisson distribution and the stillborn among them from their
beta-binomial one; what is left was born alive. From the published table alone the dams, studs and
breeds are new ones; after the fit they are the ones the litters were fitted on, so that it has seen
the litters which it is laid beside. Pups born alive are shown, because they are counted in every
litter; total born is not.

Does not know: whether the same dams would have the same litters again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import jax
import numpy as np
from scipy.special import expit

from studcurve.analytics.estimate import (
    NO_WEIGHT,
    Estimate,
    Floats,
    RecordsWeight,
    before_of,
    estimate_from_draws,
    interval_quantiles,
    records_weight,
)
from studcurve.analytics.models.arrays import Array
from studcurve.analytics.models.likelihoods import truncated_count_log_likelihood
from studcurve.analytics.models.litter.model import (
    LINEAR,
    N_SUPPORT,
    PUBLISHED,
    LitterData,
    LitterPosterior,
    stillborn_logit,
)

N_DRAWS_READ = 1000
"""Draws that are read; more would not show in an interval of whole litters."""

N_AT_ONCE = 64
"""Litters whose distributions are held in memory together."""

Counts = np.ndarray[Any, np.dtype[np.int64]]


@dataclass(frozen=True, slots=True)
class Expected:
    """How many litters of one size were to be expected.

    Attributes
    ----------
    mean, lower, upper
        Mean over draws, and the interval in which the number of litters falls with a probability
        of 90 %. [litters]
    """

    mean: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class SizeRow:
    """One size of a litter.

    Attributes
    ----------
    n_pups
        Born alive.
    n_litters
        Litters of that size in the records.
    published, together
        Expected from the published table alone, and after the records; the last is None without a
        fit.
    """

    n_pups: int
    n_litters: int
    published: Expected
    together: Expected | None


@dataclass(frozen=True, slots=True)
class LitterSizes:
    """Litters of the records, counted by size.

    Attributes
    ----------
    rows
        From 0 to the largest size that was seen or is likely, without gaps.
    n_litters, mean_alive
        Litters, and pups born alive in one on average.
    published, together
        Mean expected pups born alive in the same litters. [pups]
    records_weight
        What the records supply of the last, on its logarithm; nothing without a fit.
    """

    rows: tuple[SizeRow, ...]
    n_litters: int
    mean_alive: float
    published: Estimate
    together: Estimate | None
    records_weight: RecordsWeight


@dataclass(frozen=True, slots=True)
class Drawn:
    """Draws of every litter, and its expected number of pups born alive; shape (n_draws, n)."""

    n_alive: Counts
    mean_alive: Floats


@dataclass(frozen=True, slots=True)
class LittersAgain:
    """The litters of the records, and draws of the same.

    Attributes
    ----------
    n_alive, stud, bitch
        Of the records, shape (n,).
    published, together
        Before and after the records; the last is None without a fit.
    """

    n_alive: Counts
    stud: np.ndarray[Any, Any]
    bitch: np.ndarray[Any, Any]
    published: Drawn
    together: Drawn | None

    def sizes(self, chosen: np.ndarray[Any, Any]) -> LitterSizes | None:
        """Count chosen litters by size; None where there is none.

        Parameters
        ----------
        chosen
            Mask over the litters.
        """
        if not chosen.any():
            return None
        seen = self.n_alive[chosen]
        before = _by_size(self.published.n_alive[:, chosen])
        after = None if self.together is None else _by_size(self.together.n_alive[:, chosen])
        # The picture ends where a litter is neither in the records nor expected even half.
        likely = np.flatnonzero(before.mean(axis=0) >= 0.5)
        largest = max(int(seen.max()), int(likely.max(initial=0)))
        published = self.published.mean_alive[:, chosen].mean(axis=1)
        together = (
            None if self.together is None else self.together.mean_alive[:, chosen].mean(axis=1)
        )
        return LitterSizes(
            rows=tuple(
                SizeRow(
                    n_pups,
                    int((seen == n_pups).sum()),
                    _expected(before[:, n_pups]),
                    None if after is None else _expected(after[:, n_pups]),
                )
                for n_pups in range(largest + 1)
            ),
            n_litters=len(seen),
            mean_alive=float(seen.mean()),
            published=estimate_from_draws(published),
            together=None if together is None else estimate_from_draws(together),
            records_weight=NO_WEIGHT
            if together is None
            else records_weight(np.log(together), before_of(np.log(published))),
        )


def litters_again(posterior: LitterPosterior, *, seed: int, is_fitted: bool) -> LittersAgain:
    """Draw the litters of the records again, from the published table and from the fit.

    Parameters
    ----------
    posterior
        Fitted, or restored from the published table.
    seed
        Of the draws.
    is_fitted
        Whether the posterior has seen records.
    """
    data, rng = posterior.data, np.random.default_rng(seed)
    published = PUBLISHED.restore(data, PUBLISHED.independent_draws(seed), seed=seed)
    stud, bitch = (
        np.array(data.levels[factor], dtype=object)[data.groups[factor]]
        if data.n_litters
        else np.array([], dtype=object)
        for factor in ("stud", "bitch")
    )
    return LittersAgain(
        data.n_alive.astype(np.int64),
        stud,
        bitch,
        _drawn(published, rng),
        _drawn(posterior, rng) if is_fitted else None,
    )


def _drawn(posterior: LitterPosterior, rng: np.random.Generator) -> Drawn:
    """Draw every litter once in each draw of the coefficients."""
    data = posterior.data
    draws = {row: values[:N_DRAWS_READ] for row, values in posterior.draws.items()}
    straight = log_means(draws, data, np.arange(data.n_litters))
    born_counts = np.arange(1, N_SUPPORT + 1)
    alive: Counts = np.zeros(straight.shape, dtype=np.int64)
    mean = np.zeros(straight.shape)
    over = np.exp(draws["l14_within"])[:, None]
    by_draw = {row: draws[row][:, None, None] for row in ("l14", "l14_size", "l14_age")}
    for start in range(0, data.n_litters, N_AT_ONCE):
        part = slice(start, start + N_AT_ONCE)
        probs = np.asarray(_size_probs(straight[:, part], draws["l13"]))
        still = expit(stillborn_logit(by_draw, born_counts, data.dam_age_years[part][:, None]))
        mean[:, part] = (probs * born_counts * (1.0 - still)).sum(axis=2)
        below = np.cumsum(probs, axis=2)
        u = rng.random((*straight[:, part].shape, 1)) * below[:, :, -1:]
        born = (u > below).sum(axis=2) + 1
        chance = np.take_along_axis(still, born[:, :, None] - 1, axis=2)[:, :, 0]
        # Losses of one litter go together: the litter's own chance is a beta draw.
        own = rng.beta(np.maximum(chance / over, 1e-9), np.maximum((1.0 - chance) / over, 1e-9))
        alive[:, part] = born - rng.binomial(born, own)
    return Drawn(alive, mean)


def log_means(
    draws: Mapping[str, Floats], data: LitterData, chosen: np.ndarray[Any, Any]
) -> Floats:
    """Linear predictor of litter size with the litters' own parents.

    Parameters
    ----------
    draws
        Draws by id, first axis draws.
    data, chosen
        Litters, and a mask or index of those that are asked about.

    Returns
    -------
    numpy.ndarray
        Shape (n_draws, n_chosen). [log pups]
    """
    straight = np.column_stack([draws[row] for row in LINEAR]) @ data.design[chosen].T
    for factor, index in data.groups.items():
        straight += draws[f"effect_{factor}"][:, index[chosen]]
    return np.asarray(straight)


def mean_total_born(log_mean: Floats, log_nu: Floats) -> Floats:
    """Mean size of a litter that is born, the stillborn counted in. [pups]

    Parameters
    ----------
    log_mean
        Of the count before zero is left out, shape (n_draws, n).
    log_nu
        Dispersion, shape (n_draws,).

    Returns
    -------
    numpy.ndarray
        Shape (n_draws, n).
    """
    born_counts, mean = np.arange(1, N_SUPPORT + 1), np.zeros(log_mean.shape)
    for start in range(0, log_mean.shape[1], N_AT_ONCE):
        part = slice(start, start + N_AT_ONCE)
        # One width for all parts: a program is compiled for each.
        lacking = N_AT_ONCE - log_mean[:, part].shape[1]
        padded = np.pad(log_mean[:, part], ((0, 0), (0, lacking)))
        probs = np.asarray(_size_probs(padded, log_nu)) @ born_counts
        mean[:, part] = probs[:, : N_AT_ONCE - lacking]
    return mean


def drawn_total_born(log_mean: Floats, log_nu: float, rng: np.random.Generator) -> Floats:
    """Draw the size of litters that are born, the stillborn counted in. [pups]

    Parameters
    ----------
    log_mean
        Of the count before zero is left out, shape (n,).
    log_nu
        Dispersion.
    rng
        Source of the draws.
    """
    born = []
    for start in range(0, len(log_mean), N_AT_ONCE):
        part = log_mean[start : start + N_AT_ONCE]
        padded = np.pad(part, (0, N_AT_ONCE - len(part)))[None]
        below = np.cumsum(np.asarray(_size_probs(padded, np.array([log_nu])))[0], axis=1)
        u = rng.random((N_AT_ONCE, 1)) * below[:, -1:]
        born.append(((u > below).sum(axis=1) + 1.0)[: len(part)])
    return np.concatenate(born)


@jax.jit  # type: ignore[untyped-decorator]
def _size_probs(log_mean: Array, log_nu: Array) -> Array:
    """Probability of 1, 2, … pups born, shape (n_draws, n, N_SUPPORT)."""
    support = jax.numpy.arange(N_SUPPORT + 1.0)

    def of_draw(means: Array, nu: Array) -> Array:
        return truncated_count_log_likelihood(means[:, None], nu, support[1:], support)

    return jax.numpy.exp(jax.vmap(of_draw)(log_mean, log_nu))


def _by_size(drawn: Counts) -> Counts:
    """Litters of each size in each draw, shape (n_draws, N_SUPPORT + 1)."""
    n_draws, width = len(drawn), N_SUPPORT + 1
    flat = (drawn + width * np.arange(n_draws)[:, None]).ravel()
    return np.bincount(flat, minlength=width * n_draws).reshape(n_draws, width)


def _expected(counts: Counts) -> Expected:
    lower, _, upper = np.quantile(counts, interval_quantiles(), method="inverted_cdf")
    return Expected(float(counts.mean()), float(lower), float(upper))
