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
"""Share below which records cannot speak for themselves yet (rule of this toolkit)."""


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


def records_weight(posterior: Floats, prior: Floats) -> float:
    """Share of what is known that the kennel's own records supply, 0 to 1.

    One minus posterior over prior variance, not below 0.

    Parameters
    ----------
    posterior, prior
        Draws of one quantity before and after the records.
    """
    return max(0.0, 1.0 - float(np.var(posterior)) / float(np.var(prior)))


def records_alone(posterior: Floats, prior: Floats) -> Estimate | None:
    r"""What the records alone say of a quantity, everything beside it being as published.

    Parameters
    ----------
    posterior, prior
        Draws of one quantity before and after the records.

    Returns
    -------
    Estimate or None
        None where the records supply less than :data:`SMALLEST_SHARE`.

    Notes
    -----
    A posterior is likelihood times prior, so with both near normal the likelihood alone has
    precision :math:`1/v_1 - 1/v_0` and mean :math:`(m_1/v_1 - m_0/v_0)` over that.
    """
    if records_weight(posterior, prior) < SMALLEST_SHARE:
        return None
    after, before = float(np.var(posterior)), float(np.var(prior))
    precision = 1.0 / after - 1.0 / before
    mean = (float(np.mean(posterior)) / after - float(np.mean(prior)) / before) / precision
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
