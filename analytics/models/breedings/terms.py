r"""What of a breeding enters the linear predictors: columns, dose, timing.

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

LINEAR = ("c03", "c04", "c05", "c06", "c07", "c08", "c09", "c12", "c13", "c14", "c15", "c16")
"""Ids of the coefficients with a column of their own in the design matrix."""

EARLY_EDGE_DAYS = {"natural": -2.0, "fresh": -2.0, "chilled": 0.0, "frozen": 2.5}
"""Days from ovulation before which an insemination is early (prior c17). [d]"""

LATE_EDGE_DAYS = {"natural": 5.0, "vaginal": 5.0, "transcervical": 6.0, "surgical": 6.0}
"""Days from ovulation after which an insemination is late (prior c18). [d]"""

PEAK_DAY, PEAK_SD_DAYS = 3.3, 0.7
"""Frozen semen's mild peak within the window (prior c19). [d]"""

HINGE_WIDTH = 0.25
"""Width over which a hinge bends, so that a latent has a gradient everywhere. [d or doublings]"""

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

    Returns
    -------
    numpy.ndarray
        Shape (n, 12).
    """
    inseminated = semen_type != "natural"
    frozen = semen_type == "frozen"
    chilled = semen_type == "chilled"
    beyond_a_day = np.clip(np.nan_to_num(storage_days, nan=1.0), 1.0, STORAGE_LIMIT_DAYS) - 1.0
    columns = {
        "c03": inseminated,
        "c04": np.isin(route, ("transcervical", "surgical")),
        "c05": chilled,
        "c06": frozen,
        "c07": frozen & (route == "vaginal"),
        "c08": route == "surgical",
        "c09": n_inseminations > 1,
        "c12": chilled * beyond_a_day,
        "c13": np.nan_to_num(np.maximum(0.0, (70.0 - normal_morphology_pct) / 10.0)),
        "c14": np.nan_to_num(np.maximum(0.0, bitch_age_years - 5.0)),
        "c15": np.nan_to_num(missed_before),
        "c16": np.nan_to_num(np.maximum(0.0, stud_age_years - 8.0)),
    }
    return np.column_stack([columns[name].astype(np.float64) for name in LINEAR])


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
