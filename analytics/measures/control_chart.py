r"""Is a collection out of line with the dog's earlier ones, and how often does such an alarm lie?

Charts of single collections (individuals, EWMA) on a working scale such as the log of total
sperm or points of motility. A value has two errors: what differs between the dog's collections,
:math:`\tau`, and what its own reading adds, :math:`\sigma_i` (a count of few cells, a look by eye).
Every chart runs on

.. math:: z_i = (x_i - \mu) / \sqrt{\tau^2 + \sigma_i^2}

so that a poorly counted sample has wide limits, and the stated run lengths hold whatever was
counted. Run lengths are computed, never looked up: the integral equation of the chart is solved on
Gauss-Legendre nodes.

Run lengths are those of a known level and spread and of normal, unrelated collections; limits from
few collections raise more false alarms than stated. Does not know: rest, season, age, another pair
of eyes; the model of the stud over time does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from studcurve.analytics.estimate import Floats

MIN_COLLECTIONS = 10
"""Fewest collections from which limits are made (J; the worked example of NIST has ten)."""

INDIVIDUALS_WIDTH = 3.0
"""Limits of single values in standard deviations: Shewhart 1931, common practice."""

EWMA_WEIGHT, EWMA_WIDTH = 0.2, 2.962
"""Weight of the newest value, and width: Lucas & Saccucci 1990, Technometrics 32:1-12 (P)."""

N_NODES = 101
"""Nodes of the integral equation; twice as many change no run length by 1 in 10⁶."""


@dataclass(frozen=True, slots=True)
class Baseline:
    r"""Level and spread of the collections that stand for "as always".

    Attributes
    ----------
    centre
        Mean :math:`\mu`, in the unit of the working scale.
    between_sd
        Spread between collections beyond their readings, :math:`\tau`; 0 where the readings
        alone explain what was seen.
    n_collections
        Collections behind both.
    """

    centre: float
    between_sd: float
    n_collections: int

    def sd(self, reading_sd: ArrayLike) -> Floats:
        """Spread of a collection and its reading together, like ``reading_sd``."""
        return np.hypot(self.between_sd, np.asarray(reading_sd, dtype=np.float64))


def baseline(values: ArrayLike, reading_sd: ArrayLike) -> Baseline:
    r"""Level and spread from the differences of neighboring collections.

    Parameters
    ----------
    values
        Collections in the order of their days, shape (n,), on the working scale.
    reading_sd
        Error of each reading on the same scale, one number or shape (n,).

    Notes
    -----
    :math:`\tau` solves

    .. math:: \sum_i |x_i - x_{i-1}|
        = \sum_i \sqrt{2/\pi}\,\sqrt{2\tau^2 + \sigma_i^2 + \sigma_{i-1}^2},

    the moving ranges and their expectation. With equal readings this is the textbook's mean moving
    range over 1.128. A slow change of level enters the differences little.
    """
    x, sigma = _readings(values, reading_sd)
    if x.size < MIN_COLLECTIONS:
        raise ValueError(f"limits need {MIN_COLLECTIONS} collections; got {x.size}")
    wandered = float(np.abs(np.diff(x)).sum())
    pairs = sigma[1:] ** 2 + sigma[:-1] ** 2

    def surplus(between_sd: float) -> float:
        return wandered - float(np.sqrt(2.0 / np.pi * (2.0 * between_sd**2 + pairs)).sum())

    between_sd = 0.0
    if surplus(0.0) > 0.0:
        between_sd = float(brentq(surplus, 0.0, wandered, xtol=1e-12 * wandered))
    return Baseline(float(x.mean()), between_sd, int(x.size))


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart, collection by collection.

    Attributes
    ----------
    statistic
        What is compared with the limits, shape (n,). The value itself for single values; the
        smoothed :math:`z`, or the larger of the two sums, in standard deviations for the others.
    lower, upper
        Limits, shape (n,), in the unit of the statistic.
    is_out
        Whether the statistic lies outside, shape (n,).
    """

    statistic: Floats
    lower: Floats
    upper: Floats
    is_out: NDArray[np.bool_]


def individuals_chart(
    values: ArrayLike,
    reading_sd: ArrayLike,
    base: Baseline,
    *,
    width: float = INDIVIDUALS_WIDTH,
) -> Chart:
    r"""Single values with limits :math:`\mu \pm L \sqrt{\tau^2 + \sigma_i^2}`.

    Parameters
    ----------
    values, reading_sd
        As in :func:`baseline`.
    base
        Level and spread.
    width
        :math:`L`. [standard deviations]
    """
    x, sigma = _readings(values, reading_sd)
    half = width * base.sd(sigma)
    return _chart(x, base.centre - half, base.centre + half)


def ewma_chart(
    values: ArrayLike,
    reading_sd: ArrayLike,
    base: Baseline,
    *,
    weight: float = EWMA_WEIGHT,
    width: float = EWMA_WIDTH,
) -> Chart:
    r"""Smoothed values, :math:`w_i = \lambda z_i + (1-\lambda) w_{i-1}` from :math:`w_0 = 0`.

    Parameters
    ----------
    values, reading_sd
        As in :func:`baseline`.
    base
        Level and spread.
    weight
        :math:`\lambda`, 0 to 1.
    width
        :math:`L` of the limits :math:`\pm L\sqrt{\lambda/(2-\lambda)}`. [standard deviations]
    """
    x, sigma = _readings(values, reading_sd)
    smoothed, level = np.empty(x.size), 0.0
    for i, z in enumerate((x - base.centre) / base.sd(sigma)):
        level = weight * z + (1.0 - weight) * level
        smoothed[i] = level
    limit = np.full(x.size, _ewma_limit(weight, width))
    return _chart(smoothed, -limit, limit)


@dataclass(frozen=True, slots=True)
class RunLength:
    """How long a chart waits before its first alarm.

    Attributes
    ----------
    mean
        Collections on average until the first alarm, the alarming one included.
    survival
        Probability that the first :math:`1, 2, …` collections raise none, shape (n,).
    """

    mean: float
    survival: Floats

    def alarm_prob(self, n_collections: int) -> float:
        """Probability of an alarm within so many collections."""
        return float(1.0 - self.survival[n_collections - 1])


def individuals_run_length(
    *, width: float = INDIVIDUALS_WIDTH, shift_sd: float = 0.0, n_collections: int = 1
) -> RunLength:
    r"""Run length of single values: geometric with :math:`\Phi(-L-\delta) + \Phi(-L+\delta)`.

    Parameters
    ----------
    width
        As the chart's.
    shift_sd
        How far the level lies from where it was, from the first collection on. [sd]
    n_collections
        Length of the survival curve.
    """
    alarm = float(ndtr(-width - shift_sd) + ndtr(-width + shift_sd))
    survival = (1.0 - alarm) ** np.arange(1, n_collections + 1, dtype=np.float64)
    return RunLength(1.0 / alarm, np.asarray(survival, dtype=np.float64))


def ewma_run_length(
    *,
    weight: float = EWMA_WEIGHT,
    width: float = EWMA_WIDTH,
    shift_sd: float = 0.0,
    n_collections: int = 1,
) -> RunLength:
    r"""Run length of smoothed values by their integral equation.

    Parameters
    ----------
    weight, width
        As the chart's.
    shift_sd, n_collections
        As in :func:`individuals_run_length`.

    Notes
    -----
    From a smoothed value :math:`w` the mean run length is

    .. math:: A(w) = 1 + \frac1\lambda \int_{-c}^{c} A(y)\,
        \varphi\left(\frac{y - (1-\lambda) w}{\lambda} - \delta\right) dy

    Crowder 1987, Technometrics 29:401-407.
    """
    limit = _ewma_limit(weight, width)
    nodes, weights = _nodes(-limit, limit)

    def move(start: Floats) -> Floats:
        z = (nodes - (1.0 - weight) * start[:, None]) / weight - shift_sd
        return np.asarray(_density(z) * weights / weight)

    return _run_length(move(nodes), move(np.zeros(1))[0], n_collections)


def _run_length(between: Floats, first: Floats, n_collections: int) -> RunLength:
    """Mean and survival from the moves between states without an alarm, and the first move."""
    ones = np.ones(len(between))
    mean = 1.0 + float(first @ np.linalg.solve(np.eye(len(between)) - between, ones))
    survival, left = np.empty(n_collections), first
    for i in range(n_collections):
        survival[i] = left.sum()
        left = left @ between
    return RunLength(mean, survival)


def _nodes(low: float, high: float) -> tuple[Floats, Floats]:
    """Gauss-Legendre nodes and weights of an interval."""
    nodes, weights = np.polynomial.legendre.leggauss(N_NODES)
    half = (high - low) / 2.0
    return low + half * (nodes + 1.0), half * weights


def _density(z: Floats) -> Floats:
    """Standard normal density."""
    return np.asarray(np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi))


def _ewma_limit(weight: float, width: float) -> float:
    """Limit of the smoothed value once it has forgotten its start. [standard deviations]"""
    return float(width * np.sqrt(weight / (2.0 - weight)))


def _chart(statistic: Floats, lower: Floats, upper: Floats) -> Chart:
    return Chart(statistic, lower, upper, (statistic < lower) | (statistic > upper))


def _readings(values: ArrayLike, reading_sd: ArrayLike) -> tuple[Floats, Floats]:
    """Values and their reading errors, in one row each."""
    x = np.asarray(values, dtype=np.float64)
    sigma = np.broadcast_to(np.asarray(reading_sd, dtype=np.float64), x.shape)
    if x.ndim != 1 or not np.isfinite(x).all() or not np.isfinite(sigma).all():
        raise ValueError("a chart needs one row of values and errors, all known")
    if (sigma < 0.0).any():
        raise ValueError("an error of reading cannot be negative")
    return x, sigma
