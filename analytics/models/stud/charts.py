r"""A stud's collections on a control chart: limits from his own past, counting error included.

Runs the charts of ``analytics/measures/control_chart.py`` on the working scale of a measure (the
log of total sperm, a share). The level and spread that stand for "as always" are those of his own
past, as ``analytics/models/stud/level.py`` has it; a fall worth acting on gives the run length
beside that of no change. Knows neither rest nor season nor who read: the level over time does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.control_chart import (
    MIN_COLLECTIONS,
    Chart,
    baseline,
    ewma_chart,
    ewma_run_length,
    individuals_chart,
    individuals_run_length,
)
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.stud.inputs import Measure, StudData
from studcurve.analytics.models.stud.level import own_past, usual_pause_days


@dataclass(frozen=True, slots=True)
class ChartRule:
    """How long one chart waits.

    Attributes
    ----------
    n_steady
        Collections on average until a steady stud raises an alarm.
    n_fallen
        The same after a lasting fall of the size worth acting on.
    alarm_prob
        Chance of an alarm of a steady stud within a year of collections.
    n_out
        Collections of the record that lie outside.
    """

    n_steady: float
    n_fallen: float
    alarm_prob: float
    n_out: int


@dataclass(frozen=True, slots=True)
class StudCharts:
    """Both charts of one measure of one stud.

    Attributes
    ----------
    measure
        Which.
    on
        Moments, shape (n,).
    n_past
        Collections behind the limits.
    individuals
        Single values and limits in the unit of the vocabulary.
    ewma
        Smoothed values and limits in standard deviations.
    of_individuals, of_ewma
        How long each waits.
    """

    measure: Measure
    on: np.ndarray[Any, Any]
    n_past: int
    individuals: Chart
    ewma: Chart
    of_individuals: ChartRule
    of_ewma: ChartRule


def stud_charts(data: StudData, stud: str) -> StudCharts | None:
    """Both charts of one stud; None where his own past is shorter than limits need.

    Parameters
    ----------
    data
        Rows of one measure; small and one-sided counts have no value and are left out.
    stud
        Call name.
    """
    rows = data.rows_of(stud)
    rows = rows[np.isfinite(data.value[rows])]
    if len(rows) < MIN_COLLECTIONS:
        return None
    past = own_past(data.on[rows])
    if len(past) < MIN_COLLECTIONS:
        return None
    value = data.value[rows]
    judged = 0.0 if data.measure.is_log else value * (1.0 - value) * data.inverse_n[rows]
    reading = np.sqrt(data.reading_sd[rows] ** 2 + judged)
    base = baseline(value[past], reading[past])
    single, smoothed = individuals_chart(value, reading, base), ewma_chart(value, reading, base)
    n_year = max(1, round(DAYS_PER_YEAR / usual_pause_days(data.on[rows])))
    act_on = data.measure.act_on
    fall = float(np.log1p(act_on)) if data.measure.is_log else act_on
    shift = fall / float(base.sd(np.median(reading)))
    rules = []
    for run_length, chart in (
        (individuals_run_length, single), (ewma_run_length, smoothed),
    ):  # fmt: skip
        steady = run_length(n_collections=n_year)
        rules.append(
            ChartRule(
                steady.mean,
                run_length(shift_sd=shift).mean,
                steady.alarm_prob(n_year),
                int(chart.is_out.sum()),
            )
        )
    in_unit = Chart(
        _in_unit(data.measure, single.statistic),
        _in_unit(data.measure, single.lower),
        _in_unit(data.measure, single.upper),
        single.is_out,
    )
    return StudCharts(data.measure, data.on[rows], len(past), in_unit, smoothed, *rules)


def _in_unit(measure: Measure, value: Floats) -> Floats:
    """A value of the working scale in millions or percent; a share stays within its ends."""
    return np.asarray(np.exp(value) if measure.is_log else 100.0 * np.clip(value, 0.0, 1.0))
