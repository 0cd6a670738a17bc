"""How an answer is stated: a middle, an interval and how sure the interval is."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
"""Array of 64-bit floats; the only number type that leaves ``analytics``."""

INTERVAL_PROB = 0.90
"""Probability that an interval shown to a reader holds, unless it says otherwise."""

INTERVAL_Z = NormalDist().inv_cdf(0.5 + INTERVAL_PROB / 2.0)
"""Half width of that interval of a normal quantity, in its standard deviations."""

SMALLEST_SHARE = 0.10
"""Share of the weight below which records are too few to count. (rule)"""

SMALLEST_SHIFT = 0.1
"""Shift of the middle below which they have moved nothing: twice what the draws of a fit leave
open. [standard deviations before the records] (rule)"""

ALONE_FROM_SHARE = 0.30
"""Share from which records speak for themselves: below it what they alone say is a difference of
two precisions that draws do not know well enough. (rule)"""


def interval_quantiles(interval_prob: float = INTERVAL_PROB) -> tuple[float, float, float]:
    """Probabilities of the lower end, the median and the upper end of a central interval."""
    tail = (1.0 - interval_prob) / 2.0
    return tail, 0.5, 1.0 - tail


@dataclass(frozen=True, slots=True)
class Estimate:
    """A modelled number with its uncertainty.

    Attributes
    ----------
    median, lower, upper
        Middle and ends of the central interval, in the unit of the quantity.
    interval_prob
        Probability of the interval, 0 to 1.
    """

    median: float
    lower: float
    upper: float
    interval_prob: float = INTERVAL_PROB

    def __post_init__(self) -> None:
        if not self.lower <= self.median <= self.upper:
            raise ValueError(
                "an estimate needs lower ≤ median ≤ upper; "
                f"got {self.lower}, {self.median}, {self.upper}"
            )
        if not 0.0 < self.interval_prob < 1.0:
            raise ValueError(f"interval_prob must lie between 0 and 1; got {self.interval_prob}")


def estimate_from_draws(draws: ArrayLike, interval_prob: float = INTERVAL_PROB) -> Estimate:
    """State a sample of draws as median and central interval.

    Parameters
    ----------
    draws
        Draws of one scalar quantity, any shape; at least one, all finite.
    interval_prob
        Probability of the interval, 0 to 1.

    Returns
    -------
    Estimate
        In the unit of the draws.
    """
    values = np.asarray(draws, dtype=np.float64).ravel()
    if values.size == 0 or not np.isfinite(values).all():
        raise ValueError(f"draws must be finite and at least one; got {values.size} values")
    lower, median, upper = np.quantile(values, interval_quantiles(interval_prob))
    return Estimate(float(median), float(lower), float(upper), interval_prob)


def below_zero_prob(draws: Floats, weight: Floats | None = None) -> float:
    """Probability that a difference is below zero; said as it is, never cut at an interval's end.

    Parameters
    ----------
    draws
        Of the difference, shape (n,).
    weight
        Of each draw, summing to one; all the same by default.
    """
    below = draws < 0.0
    return float(below.mean() if weight is None else weight[below].sum())


@dataclass(frozen=True, slots=True)
class Before:
    """What is known of a quantity before the records, on the scale of its linear predictor.

    Attributes
    ----------
    mean, median, sd
        Exact for a row of the priors table, of many draws for what is derived from several.
    """

    mean: float
    median: float
    sd: float


@dataclass(frozen=True, slots=True)
class RecordsWeight:
    """What the kennel's own records supply of a number.

    Attributes
    ----------
    share
        Share of the precision that they supply, 0 to 1.
    shift_sds
        How far they moved the median, in standard deviations before them.
    """

    share: float
    shift_sds: float

    @property
    def is_nothing(self) -> bool:
        """Whether the records say nothing yet: they neither narrow the number nor move it."""
        return self.share < SMALLEST_SHARE and abs(self.shift_sds) < SMALLEST_SHIFT


NO_WEIGHT = RecordsWeight(0.0, 0.0)
"""Of a number that no record has entered."""


def before_of(draws: Floats) -> Before:
    """Moments of a derived quantity from its draws before the records.

    Parameters
    ----------
    draws
        Of the same quantity with the same partners, their effects drawn and not averaged out: else
        the records would be credited with knowing less than the table. [logit or log]
    """
    return Before(float(np.mean(draws)), float(np.median(draws)), float(np.std(draws)))


def records_weight(after: Floats, before: Before) -> RecordsWeight:
    r"""Share of the precision that records supply, and how far they moved the middle.

    Parameters
    ----------
    after
        Draws after the records, on the scale of ``before``. [logit or log]
    before
        What was known without them.

    Returns
    -------
    RecordsWeight
        :math:`1 - v_1 / v_0`, not below 0, and the shift of the median over :math:`\sqrt{v_0}`.
    """
    if before.sd == 0.0:
        return NO_WEIGHT
    share = max(0.0, 1.0 - (float(np.std(after)) / before.sd) ** 2)
    return RecordsWeight(share, (float(np.median(after)) - before.median) / before.sd)


def records_alone(after: Floats, before: Before) -> Estimate | None:
    r"""What the records alone say of a quantity, everything beside it being as published.

    Parameters
    ----------
    after, before
        As for :func:`records_weight`; both near normal.

    Returns
    -------
    Estimate or None
        None where the records supply less than :data:`ALONE_FROM_SHARE`.

    Notes
    -----
    A posterior is likelihood times prior, so with both near normal the likelihood alone has
    precision :math:`1/v_1 - 1/v_0` and mean :math:`(m_1/v_1 - m_0/v_0)` over that.
    """
    if records_weight(after, before).share < ALONE_FROM_SHARE:
        return None
    variance, variance_before = float(np.var(after)), before.sd**2
    precision = 1.0 / variance - 1.0 / variance_before
    mean = (float(np.mean(after)) / variance - before.mean / variance_before) / precision
    half = INTERVAL_Z / precision**0.5
    return Estimate(mean, mean - half, mean + half)


def normal_nodes(n_nodes: int) -> tuple[Floats, Floats]:
    """Nodes and weights that average a smooth function over a standard normal.

    Parameters
    ----------
    n_nodes
        Gauss-Hermite nodes; exact for polynomials of degree below twice that.
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(n_nodes)
    return nodes, weights / weights.sum()
