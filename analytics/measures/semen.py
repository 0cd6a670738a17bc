"""What is in a sample, with the error of how it was read?

Element-wise; a missing value in gives a missing value out: an unmeasured sample is not an empty
one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from studcurve.analytics.estimate import INTERVAL_PROB, Floats
from studcurve.analytics.measures.counting import HOME_COUNT_CV, count_interval, wilson_interval
from studcurve.analytics.priors import PRIORS

if TYPE_CHECKING:
    # Frames come in and go out by their own methods; the bench starts without the frame library.
    import pandas as pd

PHOTOMETER_CV = 0.10
"""Reading error of a photometer's concentration, as a coefficient of variation. (J)"""

VOLUME_CV = 0.05
"""Reading error of a volume in a graduated tube. (J)"""


SQUARES_NL = 20.0
"""Volume seen in five squares of a counting chamber, which a count of none is read against. [nL]"""


def total_sperm_m(volume_ml: ArrayLike, concentration_m_per_ml: ArrayLike) -> Floats:
    r"""Total number of sperm in an ejaculate.

    Parameters
    ----------
    volume_ml
        Ejaculate volume :math:`V`. [mL]
    concentration_m_per_ml
        Sperm concentration :math:`C`. [10⁶ mL⁻¹]

    Returns
    -------
    numpy.ndarray
        Total sperm :math:`N = V C`. [10⁶]

    Examples
    --------
    >>> total_sperm_m([2.0, 1.5], [250.0, float("nan")]).tolist()
    [500.0, nan]
    """
    return np.multiply(volume_ml, concentration_m_per_ml, dtype=np.float64)


def total_sperm_interval_m(
    volume_ml: ArrayLike,
    concentration_m_per_ml: ArrayLike,
    n_cells_counted: ArrayLike,
    *,
    extra_cv: float,
    looked_at_nl: ArrayLike = np.nan,
    interval_prob: float = INTERVAL_PROB,
) -> Floats:
    r"""Interval of total sperm from counting and reading error.

    Parameters
    ----------
    volume_ml, concentration_m_per_ml
        As in :func:`total_sperm_m`.
    n_cells_counted
        Cells behind the concentration; NaN for a photometer or an unrecorded count.
    extra_cv
        Error of a chamber count beyond Poisson (prior r02).
    looked_at_nl
        Undiluted semen above the counted squares: their volume over the dilution. Only read where
        no cell was seen. [nL]
    interval_prob
        Probability of the interval.

    Returns
    -------
    numpy.ndarray
        Lower and upper end, shape (2, ...). [10⁶] NaN where no concentration was read; for zero
        cells the upper end is what the volume that was looked at still allows, NaN where that
        volume is not known.

    Notes
    -----
    The interval of the count (:func:`studcurve.analytics.measures.counting.count_interval`), with
    the error of the volume joined to that of the reading.
    """
    total = total_sperm_m(volume_ml, concentration_m_per_ml)
    cells = np.asarray(n_cells_counted, dtype=np.float64)
    reading_cv: Floats = np.where(np.isnan(cells), PHOTOMETER_CV, extra_cv)
    other: Floats = np.hypot(reading_cv, VOLUME_CV)
    z = float(ndtri(0.5 + interval_prob / 2.0))
    read = np.stack([total * np.exp(-z * other), total * np.exp(z * other)])
    counted = count_interval(cells, extra_cv=other, interval_prob=interval_prob)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_cell = np.where(cells == 0.0, np.divide(volume_ml, looked_at_nl), total / cells)
        scaled = np.where(counted == 0.0, 0.0, counted * per_cell)
    return np.where(np.isnan(cells), read, np.where(np.isnan(total), np.nan, scaled))


def zero_count_limit_m(volume_ml: float) -> float:
    """Most sperm an ejaculate may hold of which five squares, undiluted, showed none. [10⁶]

    Exact Poisson upper limit of a count of zero (95 %), with the error of a count at home (prior
    r02): WHO laboratory manual, 6th edition (2021), counting. A diluted sample may hold as many
    times more.

    Parameters
    ----------
    volume_ml
        Of the ejaculate; NaN where it is not known. [mL]
    """
    ends = total_sperm_interval_m(
        volume_ml, 0.0, 0.0, extra_cv=HOME_COUNT_CV, looked_at_nl=SQUARES_NL
    )
    return float(ends[1])


def motility_interval_pct(
    motility_pct: ArrayLike, n_evaluated: ArrayLike, *, interval_prob: float = INTERVAL_PROB
) -> Floats:
    """Interval of a motility: binomial where counted, reading error where judged by eye.

    Parameters
    ----------
    motility_pct
        Share moving forward. [%]
    n_evaluated
        Sperm judged; NaN for a motility judged by eye (prior r01).
    interval_prob
        Probability of the interval.

    Returns
    -------
    numpy.ndarray
        Lower and upper end, within 0 and 100, shape (2, ...). [%]
    """
    share = np.asarray(motility_pct, dtype=np.float64) / 100.0
    n = np.asarray(n_evaluated, dtype=np.float64)
    counted = wilson_interval(share * n, n, interval_prob) * 100.0
    half = float(ndtri(0.5 + interval_prob / 2.0)) * PRIORS["r01_sd"].centre
    by_eye = np.clip(np.stack([100.0 * share - half, 100.0 * share + half]), 0.0, 100.0)
    return np.where(np.isnan(n), by_eye, counted)


def with_measures(evaluations: pd.DataFrame, *, extra_cv: float) -> pd.DataFrame:
    """Add what follows from each reading, with its interval.

    Parameters
    ----------
    evaluations
        Rows of the view of that name.
    extra_cv
        Error of this kennel's chamber counts beyond Poisson (prior r02).

    Returns
    -------
    pandas.DataFrame
        The rows with total_sperm_m, motile_sperm_m, total_sperm_m_low and _high,
        motility_low_pct and motility_high_pct, normal_low_pct and normal_high_pct. The upper end
        of a zero count is what none in five squares of undiluted semen still allows.
    """
    volume = _column(evaluations, "volume_ml")
    concentration = _column(evaluations, "concentration_m_per_ml")
    cells = _column(evaluations, "n_cells_counted")
    motility = _column(evaluations, "progressive_motility_pct")
    total = total_sperm_m(volume, concentration)
    # None seen is a count of none, whoever counted; what was looked at is not on the sheet.
    counted = np.where(np.isnan(cells) & (concentration == 0.0), 0.0, cells)
    low, high = total_sperm_interval_m(
        volume, concentration, counted, extra_cv=extra_cv, looked_at_nl=SQUARES_NL
    )
    n_evaluated = _column(evaluations, "n_motility_evaluated")
    motile_low, motile_high = motility_interval_pct(motility, n_evaluated)
    normal = _column(evaluations, "normal_morphology_pct") / 100.0
    checked = _column(evaluations, "n_morphology_evaluated")
    normal_low, normal_high = 100.0 * wilson_interval(normal * checked, checked, INTERVAL_PROB)
    return evaluations.assign(
        total_sperm_m=total,
        motile_sperm_m=total * motility / 100.0,
        total_sperm_m_low=low,
        total_sperm_m_high=high,
        motility_low_pct=motile_low,
        motility_high_pct=motile_high,
        normal_low_pct=normal_low,
        normal_high_pct=normal_high,
    )


def _column(rows: pd.DataFrame, name: str) -> Floats:
    return rows[name].to_numpy(dtype=np.float64, na_value=np.nan)
