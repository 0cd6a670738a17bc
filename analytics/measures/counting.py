r"""What does a count say, and how far may two counts differ?

Counts of cells are Poisson, shares of counted cells binomial. Formulas follow the WHO laboratory
manual for human semen (5th ed., 2010); its tables could not be opened and are quoted from memory
where marked (M). Element-wise; a missing value in gives a missing value out. Quantiles come from
``scipy.special``: its statistics package would take a second to start at the bench.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, gammaincc, gammainccinv, gammaincinv, ndtri

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, Floats
from studcurve.analytics.priors import PRIORS

NEUBAUER_NL: Mapping[str, float] = MappingProxyType({"square": 4.0, "row": 20.0, "grid": 100.0})
"""Volume above a part of the improved Neubauer chamber. [nL]

0.1 mm deep; a grid of 1 mm² holds 100 nL, the central one has 25 squares in 5 rows (geometry)."""

DILUTION_GUIDE = ((15.0, 5.0), (40.0, 10.0), (200.0, 20.0), (np.inf, 50.0))
"""Sperm in a field at 40×, up to, and the dilution to count at.

ESHRE guidelines 2002 for human semen (secondary)."""

HOME_COUNT_CV = PRIORS["r02_home"].centre
"""Error of a chamber count beyond Poisson until a kennel states its own (prior r02)."""

LEAST_SHARE_VARIANCE = 0.002
"""Added to p (1 − p) of a judged share, as if one sperm in 500 were never sure. (J)"""

MAX_DIFFERENCE_PCT_OF_200 = (
    (0, 1), (1, 2), (2, 3), (4, 4), (7, 5), (11, 6), (16, 7), (23, 8), (34, 9), (65, 10), (76, 9),
    (83, 8), (88, 7), (92, 6), (95, 5), (97, 4), (98, 3), (99, 2), (100, 1),
)  # fmt: skip
"""Largest acceptable difference of two percentages of 200 sperm each, up to each average. [points]

WHO manual 2010, table 2.1, recalled (M); no simple formula gives every row, so it is kept as the
table it is."""


def concentration_m_per_ml(
    n_cells: ArrayLike,
    n_squares: ArrayLike,
    square_volume_nl: ArrayLike,
    dilution: ArrayLike = 1.0,
) -> Floats:
    r"""Concentration from a counting chamber.

    Parameters
    ----------
    n_cells
        Cells counted :math:`N` over all squares.
    n_squares
        Squares counted :math:`s`.
    square_volume_nl
        Volume above one square :math:`v`; 4 nL for one of the 25 central squares of the improved
        Neubauer chamber, 100 nL for a whole 1 mm² grid. [nL]
    dilution
        Final over initial volume :math:`D`; 20 for 1 + 19.

    Returns
    -------
    numpy.ndarray
        Concentration :math:`C`. [10⁶ mL⁻¹]

    Notes
    -----
    .. math:: C = \frac{N D}{s v}

    since one cell in a nanoliter is a million in a milliliter.

    Examples
    --------
    >>> float(concentration_m_per_ml(50, 5, 4.0, 10))
    25.0
    """
    counted = np.multiply(n_squares, square_volume_nl, dtype=np.float64)
    return np.asarray(np.multiply(n_cells, dilution, dtype=np.float64) / counted)


def poisson_interval(n_cells: ArrayLike, interval_prob: float = INTERVAL_PROB) -> Floats:
    r"""Exact interval of the expected count.

    Parameters
    ----------
    n_cells
        Cells counted, shape (...).
    interval_prob
        Probability that the interval covers, at least.

    Returns
    -------
    numpy.ndarray
        Lower and upper end, shape (2, ...); the lower end of a zero count is 0.

    Notes
    -----
    .. math:: \left[\tfrac12 \chi^2_{\alpha/2;\,2N},\; \tfrac12 \chi^2_{1-\alpha/2;\,2N+2}\right]

    Garwood 1936, Biometrika 28:437-442.
    """
    count = np.asarray(n_cells, dtype=np.float64)
    tail = (1.0 - interval_prob) / 2.0
    lower = np.where(count > 0, gammaincinv(np.maximum(count, 0.5), tail), 0.0)
    upper = gammainccinv(count + 1.0, tail)
    return np.where(np.isnan(count), np.nan, np.stack([lower, upper]))


def count_interval(
    n_cells: ArrayLike, *, extra_cv: ArrayLike, interval_prob: float = INTERVAL_PROB
) -> Floats:
    r"""Interval of the expected count where pipette and mixing err beyond Poisson.

    Parameters
    ----------
    n_cells
        Cells counted, shape (...).
    extra_cv
        Error beyond Poisson, as a coefficient of variation (prior r02); several independent errors
        are joined by their root sum of squares.
    interval_prob
        Probability of the interval.

    Returns
    -------
    numpy.ndarray
        Lower and upper end, shape (2, ...).

    Notes
    -----
    The exact Poisson interval is widened on the log scale,
    :math:`\log N \pm \sqrt{h^2 + (z\,\mathrm{cv})^2}` with :math:`h` its distance from the
    count. At zero cells the upper end is multiplied by :math:`e^{z\,\mathrm{cv}}`.
    """
    cells = np.asarray(n_cells, dtype=np.float64)
    lower, upper = poisson_interval(cells, interval_prob)
    other = float(ndtri(0.5 + interval_prob / 2.0)) * np.asarray(extra_cv, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        below = np.hypot(np.log(cells) - np.log(lower), other)
        above = np.hypot(np.log(upper) - np.log(cells), other)
        widened = np.stack([cells * np.exp(-below), cells * np.exp(above)])
    none_seen = np.stack(np.broadcast_arrays(0.0 * upper, upper * np.exp(other)))
    return np.where(cells == 0.0, none_seen, widened)


def concentration_interval_m_per_ml(
    n_cells: ArrayLike,
    n_squares: ArrayLike,
    square_volume_nl: ArrayLike,
    dilution: ArrayLike = 1.0,
    *,
    extra_cv: ArrayLike,
    interval_prob: float = INTERVAL_PROB,
) -> Floats:
    """Interval of a chamber's concentration; arguments as in the concentration and the count.

    Returns
    -------
    numpy.ndarray
        Lower and upper end, shape (2, ...); for no cell seen from 0 to what the volume that was
        looked at still allows. [10⁶ mL⁻¹]
    """
    ends = count_interval(n_cells, extra_cv=extra_cv, interval_prob=interval_prob)
    return concentration_m_per_ml(ends, n_squares, square_volume_nl, dilution)


def wilson_interval(
    n_seen: ArrayLike, n_checked: ArrayLike, interval_prob: float = INTERVAL_PROB
) -> Floats:
    r"""Score interval of a share.

    Parameters
    ----------
    n_seen, n_checked
        Cells with the property, and cells looked at, shape (...).
    interval_prob
        Probability that the interval covers, on average.

    Returns
    -------
    numpy.ndarray
        Lower and upper end, 0 to 1, shape (2, ...); NaN where nothing was looked at.

    Notes
    -----
    .. math::

        \frac{x + z^2/2}{n + z^2} \pm \frac{z}{n + z^2} \sqrt{\frac{x (n - x)}{n} + \frac{z^2}{4}}

    Wilson 1927; Newcombe 1998, Statistics in Medicine 17:857-872.
    """
    x = np.asarray(n_seen, dtype=np.float64)
    n = np.asarray(n_checked, dtype=np.float64)
    n = np.where(n > 0.0, n, np.nan)
    z = float(ndtri(0.5 + interval_prob / 2.0))
    centre = (x + z**2 / 2.0) / (n + z**2)
    half = z / (n + z**2) * np.sqrt(np.maximum(x * (n - x) / n, 0.0) + z**2 / 4.0)
    lower = np.where(x == 0.0, 0.0, centre - half)
    upper = np.where(x == n, 1.0, centre + half)
    return np.where(np.isnan(x + n), np.nan, np.stack([lower, upper]))


def share_difference_interval(
    n_seen: tuple[int, int], n_checked: tuple[int, int], interval_prob: float = INTERVAL_PROB
) -> tuple[float, float, float]:
    r"""First share less the second, of independent groups, with its hybrid score interval.

    Parameters
    ----------
    n_seen, n_checked
        With the property, and looked at, of the first and the second group; at least one each.
    interval_prob
        Probability that the interval covers, on average.

    Returns
    -------
    tuple
        Difference, lower and upper end, −1 to 1.

    Notes
    -----
    With :math:`l_i, u_i` the ends of each share's score interval,

    .. math::

        \hat p_1 - \hat p_2 - \sqrt{(\hat p_1 - l_1)^2 + (u_2 - \hat p_2)^2}, \qquad
        \hat p_1 - \hat p_2 + \sqrt{(u_1 - \hat p_1)^2 + (\hat p_2 - l_2)^2}

    Newcombe 1998, Statistics in Medicine 17:873-890, method 10.
    """
    first, second = (seen / checked for seen, checked in zip(n_seen, n_checked, strict=True))
    lower, upper = wilson_interval(n_seen, n_checked, interval_prob)
    difference = first - second
    below = float(np.hypot(first - lower[0], upper[1] - second))
    above = float(np.hypot(upper[0] - first, second - lower[1]))
    return difference, difference - below, difference + above


def exact_interval(
    n_seen: ArrayLike, n_checked: ArrayLike, interval_prob: float = INTERVAL_PROB
) -> Floats:
    """Exact (Clopper-Pearson) interval of a share; arguments and shape as the score interval."""
    x = np.asarray(n_seen, dtype=np.float64)
    n = np.asarray(n_checked, dtype=np.float64)
    n = np.where(n > 0.0, n, np.nan)
    tail = (1.0 - interval_prob) / 2.0
    lower = np.where(x > 0, betaincinv(np.maximum(x, 0.5), n - x + 1.0, tail), 0.0)
    upper = np.where(x < n, betaincinv(x + 1.0, np.maximum(n - x, 0.5), 1.0 - tail), 1.0)
    return np.where(np.isnan(x + n), np.nan, np.stack([lower, upper]))


@dataclass(frozen=True, slots=True)
class SquareDispersion:
    """How evenly the cells lie over the squares of one chamber.

    Attributes
    ----------
    index
        Variance over mean; 1 for cells that fall independently.
    clumped_prob
        Probability that independent cells would lie at least as unevenly (a one-sided p-value).
    extra_cv
        Spread between squares beyond Poisson, as a coefficient of variation; 0 when there is none.
    """

    index: float
    clumped_prob: float
    extra_cv: float


def dispersion_over_squares(n_cells_by_square: ArrayLike) -> SquareDispersion:
    r"""Whether the cells are clumped: are the squares more unequal than chance makes them?

    Parameters
    ----------
    n_cells_by_square
        Cells in each of at least two squares of the same size, at least one cell in all.

    Notes
    -----
    .. math:: D = \sum_i (x_i - \bar x)^2 / \bar x \sim \chi^2_{s-1}

    for :math:`s` squares of independent cells; index :math:`D/(s-1)`. Fisher, Thornton & Mackenzie
    1922, Annals of Applied Biology 9:325-359 (M). Below about one cell a square the approximation
    is rough.
    """
    cells = np.asarray(n_cells_by_square, dtype=np.float64).ravel()
    if cells.size < 2 or not np.isfinite(cells).all() or cells.sum() <= 0.0:
        raise ValueError(f"dispersion needs two squares and one cell; got {cells.tolist()}")
    mean, variance = cells.mean(), cells.var(ddof=1)
    freedom = cells.size - 1
    index = float(variance / mean)
    return SquareDispersion(
        index,
        float(gammaincc(freedom / 2.0, freedom * index / 2.0)),
        float(np.sqrt(max(variance - mean, 0.0)) / mean),
    )


def exact_share(n_seen: int, n_checked: int) -> Estimate | None:
    """A share with its exact interval; None where nothing was checked. [0 to 1]"""
    if n_checked == 0:
        return None
    lower, upper = exact_interval(n_seen, n_checked)
    return Estimate(n_seen / n_checked, float(lower), float(upper))


def sampling_error_pct(n_cells: ArrayLike) -> Floats:
    r"""Relative sampling error of a count, :math:`100/\sqrt{N}`. [%] (WHO manual 2010)."""
    return np.asarray(100.0 / np.sqrt(np.asarray(n_cells, dtype=np.float64)))


def cells_for_error(error_pct: ArrayLike) -> Floats:
    r"""Cells to count for a wanted sampling error, :math:`(100/e)^2`, rounded up."""
    return np.ceil((100.0 / np.asarray(error_pct, dtype=np.float64)) ** 2)


def max_count_difference(n_first: ArrayLike, n_second: ArrayLike) -> Floats:
    r"""Largest difference of two replicate counts that sampling alone explains 95 times in 100.

    .. math:: \lfloor 1.96 \sqrt{N_1 + N_2} + 0.5 \rfloor

    which reproduces the rows of the WHO manual's table 2.4 that are recalled (M) up to a sum of
    663.
    """
    total = np.add(n_first, n_second, dtype=np.float64)
    return np.floor(1.96 * np.sqrt(total) + 0.5)


def max_percentage_difference(first_pct: ArrayLike, second_pct: ArrayLike) -> Floats:
    """Largest acceptable difference of two percentages of 200 sperm each. [points]

    The table :data:`MAX_DIFFERENCE_PCT_OF_200`, entered with the rounded average.
    """
    average = np.floor(np.add(first_pct, second_pct, dtype=np.float64) / 2.0 + 0.5)
    upto, limit = np.array(MAX_DIFFERENCE_PCT_OF_200, dtype=np.float64).T
    row = np.searchsorted(upto, np.nan_to_num(average))
    return np.where(np.isnan(average), np.nan, limit[np.minimum(row, len(limit) - 1)])
