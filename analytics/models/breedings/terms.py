r"""What of a breeding enters the linear predictors: columns, dose, motility, timing.

Each term is an equation with its rows of the priors table; the models put coefficients to them.
Edges are smooth, so that an uncertain day or dose has a gradient everywhere. The same text serves
numpy and its jax twin.
"""

from __future__ import annotations

from types import ModuleType
from typing import Any, NamedTuple

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.arrays import Array

LINEAR = ("c03", "c04", "c05", "c06", "c07", "c08", "c09", "c12", "c13", "c14", "c15", "c16",
          "c24", "c25", "c26")  # fmt: skip
"""Ids of the coefficients with a column of their own in the design matrix."""

EARLY_EDGE_DAYS = {"natural": -2.0, "fresh": -2.0, "chilled": 0.0, "frozen": 2.5}
"""Days from ovulation before which an insemination is early (prior c17). [d]"""

LATE_EDGE_DAYS = {"natural": 5.0, "vaginal": 5.0, "transcervical": 6.0, "surgical": 6.0}
"""Days from ovulation after which an insemination is late (prior c18). [d]"""

PEAK_DAY, PEAK_SD_DAYS = 3.3, 0.7
"""Frozen semen's mild peak within the window (prior c19). [d]"""

HINGE_WIDTH = 0.25
"""Width over which a hinge bends, so that a latent has a gradient everywhere. [d or doublings]"""

USUAL_CONCENTRATION_M_PER_ML = 50.0
"""Progressively motile sperm in a mL of what is inseminated, at which row c24 is nothing (J): 200 M
in 4 mL."""

CONCENTRATION_LIMIT_LOG2 = 3.0
"""No claim beyond an eighth and eight times of it (row c24). [doublings]"""

FRESH_FROM_HOURS, FRESH_LIMIT_HOURS = 1.0, 24.0
"""Hours after collection from which, and up to which, fresh semen counts as older (row c25). [h]"""

CHILLED_FULL_HOURS = 24.0
"""Hours of storage at which row c05 stands; below them row c26 counts. [h]"""

HOURS_A_STEP = 6.0
"""Hours that one unit of rows c25 and c26 stands for. [h]"""

SURE_OF_HOURS = 6.0
"""Doubt of the hours since the collection, as half of an interval, above which rows c25 and c26 do
not read them. [h] (J)"""

STORAGE_LIMIT_DAYS = 3.0
"""No claim beyond 72 h of chilled storage (prior c12). [d]"""


def design_matrix(
    semen_type: np.ndarray[Any, Any],
    route: np.ndarray[Any, Any],
    *,
    n_inseminations: Floats,
    storage_days: Floats,
    normal_morphology_pct: Floats,
    bitch_age_years: Floats,
    stud_age_years: Floats,
    missed_before: Floats,
    motile_m_per_ml: Floats,
    hours_known: Floats,
) -> Floats:
    """Columns of :data:`LINEAR`; what is missing enters at its harmless value, zero.

    Parameters
    ----------
    semen_type, route
        Text, shape (n,).
    n_inseminations, storage_days, normal_morphology_pct, bitch_age_years, stud_age_years
        Shape (n,), NaN where not known. [count, d, %, y, y]
    missed_before
        1 or 0, shape (n,).
    motile_m_per_ml
        Progressively motile sperm in a mL of what is inseminated, shape (n,). [10⁶/mL]
    hours_known
        Hours from the collection where they are known to :data:`SURE_OF_HOURS`, shape (n,). [h]

    Returns
    -------
    numpy.ndarray
        Shape (n, 15).
    """
    inseminated = semen_type != "natural"
    frozen = semen_type == "frozen"
    chilled = semen_type == "chilled"
    columns = {
        "c03": inseminated,
        "c04": np.isin(route, ("transcervical", "surgical")),
        "c05": chilled,
        "c06": frozen,
        "c07": frozen & (route == "vaginal"),
        "c08": route == "surgical",
        "c09": n_inseminations > 1,
        "c12": chilled * chilled_days_beyond_one(storage_days),
        "c13": np.nan_to_num(np.maximum(0.0, (70.0 - normal_morphology_pct) / 10.0)),
        "c14": np.nan_to_num(np.maximum(0.0, bitch_age_years - 5.0)),
        "c15": np.nan_to_num(missed_before),
        "c16": np.nan_to_num(np.maximum(0.0, stud_age_years - 8.0)),
        "c24": inseminated * concentration_doublings(motile_m_per_ml),
        "c25": (semen_type == "fresh") * fresh_hours_old(hours_known) / HOURS_A_STEP,
        "c26": chilled * chilled_hours_early(hours_known) / HOURS_A_STEP,
    }
    return np.column_stack([columns[name].astype(np.float64) for name in LINEAR])


def chilled_days_beyond_one(storage_days: Floats) -> Floats:
    """Days of chilled storage beyond the first, up to the limit of row c12; none if unknown. [d]"""
    return np.clip(np.nan_to_num(storage_days, nan=1.0), 1.0, STORAGE_LIMIT_DAYS) - 1.0


def concentration_doublings(motile_m_per_ml: Floats) -> Floats:
    """Doublings above the usual concentration, up to the limit of row c24; none if unknown."""
    with np.errstate(divide="ignore"):
        doublings = np.log2(motile_m_per_ml / USUAL_CONCENTRATION_M_PER_ML)
    limited = np.clip(doublings, -CONCENTRATION_LIMIT_LOG2, CONCENTRATION_LIMIT_LOG2)
    return np.asarray(np.nan_to_num(limited))


def chilled_hours_early(hours_known: Floats) -> Floats:
    """Hours of chilled semen below a full day, for row c26; none if unknown. [h]"""
    return np.nan_to_num(np.clip(CHILLED_FULL_HOURS - hours_known, 0.0, CHILLED_FULL_HOURS))


def fresh_hours_old(hours_known: Floats) -> Floats:
    """Hours of fresh semen beyond the first, up to the limit of row c25; none if unknown. [h]"""
    return np.nan_to_num(
        np.clip(hours_known, FRESH_FROM_HOURS, FRESH_LIMIT_HOURS) - FRESH_FROM_HOURS
    )


def hinge(xp: ModuleType, x: Array) -> Array:
    """Smooth positive part of x, for numpy or its jax twin."""
    bent: Array = HINGE_WIDTH * xp.logaddexp(0.0, x / HINGE_WIDTH)
    return bent


def dose_term(xp: ModuleType, doublings: Array, below: Array, above: Array) -> Array:
    """What the dose does on the logit scale; rows c10 below and c11 above the usual dose."""
    return above * hinge(xp, doublings) - below * hinge(xp, -doublings)


def timing_term(
    xp: ModuleType,
    day: Array,
    *,
    early_edge: Array,
    late_edge: Array,
    early: Array,
    late: Array,
    peak: Array,
) -> Array:
    """What the day from ovulation does on the logit scale; rows c17, c18 and c19 (frozen only)."""
    bump = xp.exp(-0.5 * ((day - PEAK_DAY) / PEAK_SD_DAYS) ** 2) - 1.0
    return early * hinge(xp, early_edge - day) + late * hinge(xp, day - late_edge) + peak * bump


class MethodFlags(NamedTuple):
    """Which edges and which timing coefficients each breeding has.

    Attributes
    ----------
    artificial, frozen
        True or false, or 1 and 0, shape (n,).
    early, late
        Ones and noughts, shape (n, 3): fresh, chilled, frozen; shape (n, 2): vaginal, intrauterine.
    early_edge, late_edge
        Days from ovulation between which an insemination is neither early nor late, shape (n,). [d]
    """

    artificial: Array
    frozen: Array
    early: Array
    late: Array
    early_edge: Array
    late_edge: Array


def method_flags(semen_type: np.ndarray[Any, Any], route: np.ndarray[Any, Any]) -> MethodFlags:
    """Which edges and which timing coefficients a breeding has.

    Parameters
    ----------
    semen_type, route
        Text, shape (n,).
    """
    fresh = np.isin(semen_type, ("natural", "fresh"))
    deep = np.isin(route, ("transcervical", "surgical"))
    chilled, frozen = semen_type == "chilled", semen_type == "frozen"
    return MethodFlags(
        artificial=semen_type != "natural",
        frozen=frozen,
        early=np.column_stack([fresh, chilled, frozen]).astype(np.float64),
        late=np.column_stack([~deep, deep]).astype(np.float64),
        early_edge=np.array([EARLY_EDGE_DAYS[kind] for kind in semen_type], dtype=np.float64),
        late_edge=np.array([LATE_EDGE_DAYS[kind] for kind in route], dtype=np.float64),
    )
