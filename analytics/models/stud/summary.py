"""What is shown of one measure of one stud: every number once, for pages and tables alike.

Gathers the answers of ``analytics/models/stud/level.py``, ``announcement.py``, ``power.py`` and
``dips.py`` of one stud with fixed seeds, so that a sentence, the table behind it and the same page
of another day agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import (
    Estimate,
    RecordsWeight,
    before_of,
    estimate_from_draws,
    records_weight,
)
from studcurve.analytics.measures.dates import DayWindow, retest
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.stud.announcement import Announcement, announce
from studcurve.analytics.models.stud.charts import StudCharts, stud_charts
from studcurve.analytics.models.stud.dips import Coincident, Dip, coincident_events, find_dips
from studcurve.analytics.models.stud.false_alarms import KennelRule
from studcurve.analytics.models.stud.inputs import FEWEST_COLLECTIONS, RESTED_DAYS, days_of
from studcurve.analytics.models.stud.level import (
    Band,
    LastCollection,
    StudAnswers,
    change_since,
    expected_collection,
    last_in_line,
    level_over_time,
    levels_at,
    stud_answers,
    usual_pause_days,
)
from studcurve.analytics.models.stud.model import StudQualityPosterior
from studcurve.analytics.models.stud.power import Power, power

SEED = 1
"""Of everything simulated here: the same fit, the same sentence."""

BAND_STEP_DAYS = 30.0
"""Spacing of the moments at which a level is drawn. [d]"""


@dataclass(frozen=True, slots=True)
class StudSummary:
    """What one measure says of one stud.

    Attributes
    ----------
    answers, announcement
        Level, change, probabilities of falls; whether a fall is announced.
    rule
        How sure the kennel asks a fall to be, and how often it then errs.
    records_weight
        What the records supply of the level, on its working scale.
    last_year
        Change of the level over the year before the last collection; None with a shorter record. A
        share of the first level for total sperm; points, as a share of one, for the others.
    power
        What the rhythm can show, and how often the rule errs; None without a past.
    last
        Whether the last collection is in line; None where it has no single value.
    next_on, next_rest_days, expected
        Day and rest of the next collection at his usual pause, and what it should read.
    dips
        Dips with the events that coincide, the surest first.
    before_last
        Events in the look-back windows of the last collection.
    retest
        When a sample would show recovery from the last of these events; None without one.
    band
        The level over time; None with fewer than five collections, which are never a trend.
    charts
        Control charts; None where his own past is too short for limits.
    """

    answers: StudAnswers
    announcement: Announcement
    rule: KennelRule
    records_weight: RecordsWeight
    last_year: Estimate | None
    power: Power | None
    last: LastCollection | None
    next_on: date
    next_rest_days: float
    expected: Estimate
    dips: tuple[tuple[Dip, tuple[Coincident, ...]], ...]
    before_last: tuple[Coincident, ...]
    retest: DayWindow | None
    band: Band | None
    charts: StudCharts | None


def tell_stud(
    posterior: StudQualityPosterior,
    published: StudQualityPosterior,
    stud: str,
    events: pd.DataFrame,
    today: date,
    rule: KennelRule,
) -> StudSummary:
    """Answer everything that pages tell of one measure of one stud.

    Parameters
    ----------
    posterior, published
        From the kept fit, and of the published table alone over the same records; the stud has at
        least one row.
    stud
        Call name.
    events
        The view of that name.
    today
        The next collection is never before it.
    rule
        Of the kennel.
    """
    data = posterior.data
    on = data.on[data.rows_of(stud)]
    answers = stud_answers(posterior, stud)
    pause = usual_pause_days(on)
    next_on = max(today, answers.last_on + timedelta(days=round(pause)))
    rest = min(float((next_on - answers.last_on).days), RESTED_DAYS)
    expected = expected_collection(
        posterior, stud, on=next_on, rest_days=rest, rng=np.random.default_rng(SEED)
    )
    year_ago = answers.last_on - timedelta(days=round(DAYS_PER_YEAR))
    before_last = coincident_events(events, stud, answers.last_on)
    enough = answers.n_collections >= FEWEST_COLLECTIONS
    return StudSummary(
        answers=answers,
        announcement=announce(posterior, stud, rule.sure_prob),
        rule=rule,
        records_weight=records_weight(
            levels_at(posterior, stud, on[-1:]), before_of(levels_at(published, stud, on[-1:]))
        ),
        last_year=change_since(posterior, stud, since=year_ago, until=answers.last_on)
        if enough and year_ago > answers.first_on
        else None,
        power=power(posterior, stud, rule.sure_prob, rng=np.random.default_rng(SEED)),
        last=last_in_line(posterior, stud, rng=np.random.default_rng(SEED)),
        next_on=next_on,
        next_rest_days=rest,
        expected=estimate_from_draws(expected),
        dips=tuple(
            (dip, coincident_events(events, stud, dip.began_on))
            for dip in find_dips(posterior, stud)
        )
        if enough
        else (),
        before_last=before_last,
        retest=retest(before_last[-1].started_on) if before_last else None,
        band=level_over_time(posterior, stud, _moments(on)) if enough else None,
        charts=stud_charts(data, stud),
    )


def _moments(on: np.ndarray) -> np.ndarray:
    """Moments from the first to the last collection, about a month apart."""
    days = days_of(on)
    n = max(2, round((days[-1] - days[0]) / BAND_STEP_DAYS) + 1)
    since = (np.linspace(0.0, days[-1] - days[0], n) * 86400).astype("timedelta64[s]")
    return np.asarray(on[0] + since)
