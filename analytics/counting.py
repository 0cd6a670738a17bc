r"""What does a count say, and how far may two counts differ?

Counts of cells are Poisson, shares of counted cells binomial. Formulas follow the WHO laboratory
manual for human semen (5th ed., 2010); its tables could not be opened and are quoted from memory
where marked (M). Element-wise; a missing value in gives a missing value out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri
from scipy.stats import beta, chi2

from analytics.estimate import INTERVAL_PROB, Floats

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
    lower = np.where(count > 0, chi2.ppf(tail, 2.0 * np.maximum(count, 0.5)) / 2.0, 0.0)
    upper = chi2.ppf(1.0 - tail, 2.0 * (count + 1.0)) / 2.0
    return np.where(np.isnan(count), np.nan, np.stack([lower, upper]))


def poisson_upper_limit(n_cells: ArrayLike, prob: float = INTERVAL_PROB) -> Floats:
    r"""One-sided upper limit of the expected count; what "none seen" still allows.

    Parameters
    ----------
    n_cells
        Cells counted.
    prob
        Probability that the limit holds.

    Notes
    -----
    .. math:: \tfrac12 \chi^2_{p;\,2N+2}

    For no cell at 95 % it is 3.0, the rule of three.
    """
    return np.asarray(chi2.ppf(prob, 2.0 * (np.asarray(n_cells, dtype=np.float64) + 1.0)) / 2.0)


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
        Lower and upper end, 0 to 1, shape (2, ...).

    Notes
    -----
    .. math::

        \frac{x + z^2/2}{n + z^2} \pm \frac{z}{n + z^2} \sqrt{\frac{x (n - x)}{n} + \frac{z^2}{4}}

    Wilson 1927; Newcombe 1998, Statistics in Medicine 17:857-872.
    """
    x = np.asarray(n_seen, dtype=np.float64)
    n = np.asarray(n_checked, dtype=np.float64)
    z = float(ndtri(0.5 + interval_prob / 2.0))
    centre = (x + z**2 / 2.0) / (n + z**2)
    half = z / (n + z**2) * np.sqrt(np.maximum(x * (n - x) / n, 0.0) + z**2 / 4.0)
    lower = np.where(x == 0.0, 0.0, centre - half)
    return np.stack([lower, np.where(x == n, 1.0, centre + half)])


def exact_interval(
    n_seen: ArrayLike, n_checked: ArrayLike, interval_prob: float = INTERVAL_PROB
) -> Floats:
    """Exact (Clopper-Pearson) interval of a share; arguments and shape as the score interval."""
    x = np.asarray(n_seen, dtype=np.float64)
    n = np.asarray(n_checked, dtype=np.float64)
    tail = (1.0 - interval_prob) / 2.0
    lower = np.where(x > 0, beta.ppf(tail, np.maximum(x, 0.5), n - x + 1.0), 0.0)
    upper = np.where(x < n, beta.ppf(1.0 - tail, x + 1.0, np.maximum(n - x, 0.5)), 1.0)
    return np.where(np.isnan(x + n), np.nan, np.stack([lower, upper]))


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
