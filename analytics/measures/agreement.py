r"""Do two people, or two readings of one person, agree about the same samples?

Differences and their limits (Bland & Altman 1986, Lancet 1:307-310) and the intraclass correlation
(Shrout & Fleiss 1979, Psychological Bulletin 86:420-428). Agreement says nothing about who is
right. Needs the same samples read by everybody; readings of different weeks cannot tell a change of
the dog from a change of eyes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri, stdtrit

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, Floats

LIMITS_SD = 1.96
"""Standard deviations between the mean difference and a limit of agreement.

Later papers; the paper of 1986 itself uses 2."""

MIN_SAMPLES = 3
"""Fewest samples of which any agreement is stated (rule of this toolkit)."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far two readings of the same samples lie apart.

    Attributes
    ----------
    n_samples
        Samples that both have read.
    bias
        Mean difference, first minus second, in the unit of the readings.
    sd
        Standard deviation of the differences.
    lower_limit, upper_limit
        Limits between which about 95 of 100 differences lie.
    """

    n_samples: int
    bias: Estimate
    sd: float
    lower_limit: Estimate
    upper_limit: Estimate


def agreement(
    first: ArrayLike,
    second: ArrayLike,
    *,
    limits_sd: float = LIMITS_SD,
    interval_prob: float = INTERVAL_PROB,
) -> Agreement:
    r"""Bias and limits of agreement of two readers, each with its interval.

    Parameters
    ----------
    first, second
        Readings of the same samples in the same order, shape (n,); a sample that either has not
        read is left out.
    limits_sd
        Standard deviations from the bias to a limit.
    interval_prob
        Probability of the intervals.

    Notes
    -----
    With differences of mean :math:`\bar d` and standard deviation :math:`s` the limits are
    :math:`\bar d \pm k s`, the standard error of the mean :math:`s/\sqrt n` and that of a limit
    :math:`s\sqrt{3/n}`; intervals take Student's :math:`t` with :math:`n - 1` degrees of freedom.
    Bland & Altman 1986, Lancet 1:307-310.
    """
    a, b = _pairs(first, second)
    difference = a - b
    n = difference.size
    bias, sd = float(difference.mean()), float(difference.std(ddof=1))
    t = float(stdtrit(n - 1, 0.5 + interval_prob / 2.0))

    def with_error(value: float, error: float) -> Estimate:
        return Estimate(value, value - t * error, value + t * error, interval_prob)

    limit_error = sd * np.sqrt(3.0 / n)
    return Agreement(
        n,
        with_error(bias, sd / np.sqrt(n)),
        sd,
        with_error(bias - limits_sd * sd, limit_error),
        with_error(bias + limits_sd * sd, limit_error),
    )


def within_sd(first: ArrayLike, second: ArrayLike) -> float:
    r"""Error of one reading from pairs by one person, :math:`\sqrt{\sum d^2 / 2n}`.

    Two readings of one sample differ by less than :math:`2\sqrt2` of it about 95 times in 100 (the
    repeatability of Bland & Altman 1986).
    """
    a, b = _pairs(first, second)
    return float(np.sqrt(((a - b) ** 2).mean() / 2.0))


@dataclass(frozen=True, slots=True)
class IntraclassCorrelation:
    """Share of the variance of one reading that lies between the samples.

    Attributes
    ----------
    one_way
        Each sample read by other people, ICC(1,1).
    absolute
        The same people, their levels counting as error, ICC(2,1), with its interval.
    consistency
        The same people, their levels set aside, ICC(3,1).
    mean_one_way, mean_absolute, mean_consistency
        The same for the mean over all readers: ICC(1,k), ICC(2,k), ICC(3,k); NaN where single
        readings vary more within the samples than between them by so much that it has no value.
    """

    one_way: float
    absolute: Estimate
    consistency: float
    mean_one_way: float
    mean_absolute: float
    mean_consistency: float


def intraclass_correlation(
    readings: ArrayLike, *, interval_prob: float = INTERVAL_PROB
) -> IntraclassCorrelation:
    """Intraclass correlation of several readers of the same samples.

    Parameters
    ----------
    readings
        Shape (n samples, k readers); complete, not all equal.
    interval_prob
        Probability of the interval.

    Notes
    -----
    Mean squares of the two-way table and the interval of ICC(2,1) as in Shrout & Fleiss 1979,
    Psychological Bulletin 86:420-428.
    """
    table = np.asarray(readings, dtype=np.float64)
    if table.ndim != 2 or min(table.shape) < 2 or not np.isfinite(table).all():
        raise ValueError(
            f"needs a whole table of at least 2 samples by 2 evaluators; got shape {table.shape}"
        )
    n, k = table.shape
    residual = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean()
    between = k * table.mean(axis=1).var(ddof=1)
    readers = n * table.mean(axis=0).var(ddof=1)
    error = float((residual**2).sum() / ((n - 1) * (k - 1)))
    within = float(table.var(axis=1, ddof=1).mean())
    if between == 0.0:
        raise ValueError("the samples all have the same value on average; no share can be stated")
    one_way = (between - within) / (between + (k - 1) * within)
    absolute = (between - error) / (between + (k - 1) * error + k * (readers - error) / n)
    consistency = (between - error) / (between + (k - 1) * error)
    lower, upper = 1.0, 1.0
    if within > 0.0:
        lower, upper = _absolute_ends(between, readers, error, absolute, (n, k), interval_prob)
    return IntraclassCorrelation(
        float(one_way),
        Estimate(float(absolute), lower, upper, interval_prob),
        float(consistency),
        _of_mean(one_way, k),
        _of_mean(absolute, k),
        _of_mean(consistency, k),
    )


def _pairs(first: ArrayLike, second: ArrayLike) -> tuple[Floats, Floats]:
    """The samples that both have read."""
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.ndim != 1 or a.shape != b.shape:
        raise ValueError(f"needs two rows of the same length; got shapes {a.shape} and {b.shape}")
    both = np.isfinite(a) & np.isfinite(b)
    if both.sum() < MIN_SAMPLES:
        raise ValueError(f"needs {MIN_SAMPLES} samples evaluated by both; got {both.sum()}")
    return a[both], b[both]


def _of_mean(single: float, k: int) -> float:
    """Correlation of the mean of k readers from that of one (Spearman-Brown)."""
    spread = 1.0 + (k - 1) * single
    return float(k * single / spread) if spread > 0.0 else float("nan")


def _absolute_ends(
    between: float,
    readers: float,
    error: float,
    absolute: float,
    shape: tuple[int, int],
    interval_prob: float,
) -> tuple[float, float]:
    """Ends of ICC(2,1) with Satterthwaite's degrees of freedom.

    A negative estimate takes the degrees of freedom of nought, where the approximation still holds.
    """
    n, k = shape
    odds = max(absolute, 0.0) / (1.0 - max(absolute, 0.0))
    a, b = k * odds / n, 1.0 + k * odds * (n - 1) / n
    freedom = (a * readers + b * error) ** 2 / (
        (a * readers) ** 2 / (k - 1) + (b * error) ** 2 / ((n - 1) * (k - 1))
    )
    prob = 0.5 + interval_prob / 2.0
    low, high = fdtri(n - 1, freedom, prob), fdtri(freedom, n - 1, prob)
    reading = k * readers + (k * n - k - n) * error
    return (
        float(n * (between - low * error) / (low * reading + n * between)),
        float(n * (high * between - error) / (reading + n * high * between)),
    )
