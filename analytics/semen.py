"""What is in a sample, with the error of how it was read?

Element-wise; a missing value in gives a missing value out: an unmeasured sample is not an empty
one.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import ndtri

from analytics.counting import poisson_interval, wilson_interval
from analytics.estimate import INTERVAL_PROB, Floats
from analytics.priors import PRIORS

PHOTOMETER_CV = 0.10
"""Reading error of a photometer's concentration, as a coefficient of variation. (J)"""

VOLUME_CV = 0.05
"""Reading error of a volume in a graduated tube. (J)"""


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
    interval_prob
        Probability of the interval.

    Returns
    -------
    numpy.ndarray
        Lower and upper end, shape (2, ...). [10⁶] NaN where no concentration was read; for zero
        cells the upper end is NaN, since it depends on the chamber volume that was looked at.

    Notes
    -----
    The exact Poisson interval is widened on the log scale by the other errors,
    :math:`\log N \pm \sqrt{h^2 + (z\,\mathrm{cv})^2}` with :math:`h` its distance from the count.
    """
    total = total_sperm_m(volume_ml, concentration_m_per_ml)
    cells = np.asarray(n_cells_counted, dtype=np.float64)
    z = float(ndtri(0.5 + interval_prob / 2.0))
    reading_cv: Floats = np.where(np.isnan(cells), PHOTOMETER_CV, extra_cv)
    other: Floats = np.hypot(reading_cv, VOLUME_CV)
    counted = poisson_interval(np.nan_to_num(cells, nan=1.0), interval_prob)
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.abs(np.log(counted / cells))
    relative = np.where(np.isnan(cells), 0.0, relative)
    widened = np.hypot(relative, z * other)
    with np.errstate(invalid="ignore"):
        ends = np.stack([total * np.exp(-widened[0]), total * np.exp(widened[1])])
    limits = np.stack([np.zeros_like(ends[0]), np.full_like(ends[1], np.nan)])
    return np.where(cells == 0, limits, ends)


def motility_interval_pct(
    motility_pct: ArrayLike, n_judged: ArrayLike, *, interval_prob: float = INTERVAL_PROB
) -> Floats:
    """Interval of a motility: binomial where counted, reading error where judged by eye.

    Parameters
    ----------
    motility_pct
        Share moving forward. [%]
    n_judged
        Sperm judged; NaN for a motility judged by eye (prior r01).
    interval_prob
        Probability of the interval.

    Returns
    -------
    numpy.ndarray
        Lower and upper end, within 0 and 100, shape (2, ...). [%]
    """
    share = np.asarray(motility_pct, dtype=np.float64) / 100.0
    n = np.asarray(n_judged, dtype=np.float64)
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
        The rows with total_sperm_m, motile_sperm_m, total_sperm_m_low and _high, and
        motility_low_pct and motility_high_pct.
    """
    volume = _column(evaluations, "volume_ml")
    concentration = _column(evaluations, "concentration_m_per_ml")
    cells = _column(evaluations, "n_cells_counted")
    motility = _column(evaluations, "progressive_motility_pct")
    total = total_sperm_m(volume, concentration)
    low, high = total_sperm_interval_m(volume, concentration, cells, extra_cv=extra_cv)
    n_judged = _column(evaluations, "n_motility_judged")
    motile_low, motile_high = motility_interval_pct(motility, n_judged)
    return evaluations.assign(
        total_sperm_m=total,
        motile_sperm_m=total * motility / 100.0,
        total_sperm_m_low=low,
        total_sperm_m_high=high,
        motility_low_pct=motile_low,
        motility_high_pct=motile_high,
    )


def _column(rows: pd.DataFrame, name: str) -> Floats:
    return rows[name].to_numpy(dtype=np.float64, na_value=np.nan)
