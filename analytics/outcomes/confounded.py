"""What else was different where one of the four was poor?

Between the sides of an exposure stand what else is known of the breeding and the sides of the other
three. What goes together by :data:`STRIKING` or more, and by more than chance would have it, is
named: a loss of one may be a loss of the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.breedings.exposures import EXPOSURES, poor_sides
from studcurve.analytics.models.breedings.inputs import numbers
from studcurve.analytics.models.breedings.records import BredHow
from studcurve.analytics.outcomes.counted import FEWEST_IN_BAND, Mask

STRIKING = 0.4
"""Correlation from which two things are said to go together. (rule)"""

ERRORS_WANTED = 2.0
"""Standard errors by which a correlation must differ from none. (rule)"""

INSEPARABLE = 0.8
"""Correlation from which one cannot be told from the other at all. (rule)"""

MEASURED = ("bitch_age_years", "stud_age_years", "year")
"""What is told by its mean on either side; all else by how many were so."""


@dataclass(frozen=True, slots=True)
class Together:
    """One thing that was different where an exposure was poor.

    Attributes
    ----------
    other
        An exposure, or ``bitch_age_years``, ``stud_age_years``, ``year``, ``frozen``, ``deep``,
        ``missed_before``.
    correlation
        Of the two sides, or of the side and the value, −1 to 1.
    poor, usual
        Mean on the poor side and on the other: years, or the share of breedings that were so.
    n
        Breedings of which both are known.
    """

    other: str
    correlation: float
    poor: float
    usual: float
    n: int

    @property
    def is_inseparable(self) -> bool:
        """Whether the records cannot tell the two apart at all."""
        return abs(self.correlation) >= INSEPARABLE


def what_went_with(
    how: BredHow, rows: pd.DataFrame, exposure: str, chosen: Mask
) -> tuple[Together, ...]:
    """What was different where an exposure was poor, the most striking first.

    Parameters
    ----------
    how
        Semen, hours and day of the breedings.
    rows
        The same breedings as in the view, in the same order.
    exposure
        One of the four.
    chosen
        Mask over the breedings.
    """
    sides = poor_sides(how.exposures, how.semen_type, how.route)
    poor = np.where(chosen, sides[exposure], -1)
    found = []
    for other, values in _others(how, rows, sides, exposure).items():
        known = (poor >= 0) & np.isfinite(values)
        each = [int((known & (poor == side)).sum()) for side in (0, 1)]
        if min(each) < FEWEST_IN_BAND or np.ptp(values[known]) == 0.0:
            continue
        correlation = float(np.corrcoef(poor[known], values[known])[0, 1])
        if abs(correlation) < STRIKING or abs(correlation) * np.sqrt(sum(each)) < ERRORS_WANTED:
            continue
        of_poor, of_usual = (float(values[known & (poor == side)].mean()) for side in (1, 0))
        found.append(Together(other, correlation, of_poor, of_usual, sum(each)))
    return tuple(sorted(found, key=lambda one: -abs(one.correlation)))


def _others(
    how: BredHow, rows: pd.DataFrame, sides: Mapping[str, np.ndarray[Any, Any]], exposure: str
) -> dict[str, Floats]:
    """What an exposure is laid beside, NaN where it is not known."""
    others: dict[str, Floats] = {
        name: np.where(sides[name] < 0, np.nan, sides[name]).astype(np.float64)
        for name in EXPOSURES
        if name != exposure
    }
    for column in ("bitch_age_years", "stud_age_years", "missed_before"):
        others[column] = numbers(rows, column)
    year = pd.to_datetime(rows["bred_earliest"]).dt.year
    others["year"] = np.asarray(year, dtype=np.float64)
    others["frozen"] = np.where(how.semen_type == "frozen", 1.0, 0.0)
    others["deep"] = np.where(np.isin(how.route, ("transcervical", "surgical")), 1.0, 0.0)
    return others
