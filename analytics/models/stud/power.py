"""What can a stud's rhythm of collections show, and how often is he announced in error?

Studs are drawn as for the false announcements of a kennel (``analytics/models/stud/looks.py``),
each with a slow level that drifts as the fit says, and an abrupt fall is put on top of it at the
first new collection.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from studcurve.analytics.estimate import INTERVAL_Z
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.stud.announcement import rule
from studcurve.analytics.models.stud.false_alarms import N_EACH, surest_error
from studcurve.analytics.models.stud.inputs import days_of
from studcurve.analytics.models.stud.level import (
    REST_BEFORE_REPEAT_DAYS,
    levels_at,
    noise_variance,
    own_past,
    past_level,
)
from studcurve.analytics.models.stud.looks import (
    DriftingStuds,
    Rhythm,
    drifting_studs,
    looks_at,
    on_scale,
    rhythm_of,
)
from studcurve.analytics.models.stud.model import StudQualityPosterior

PROMISE_PROB = 0.80
"""Chance with which a promised number of collections is enough."""

FOLLOWED_YEARS = 2.0
"""Longest time over which a promise is looked for. [y]"""

TRUE_FALLS = (0.25, 0.40, 0.60)
"""Abrupt falls of total sperm of which it is told how often they are announced in a year."""

TRUE_FALL_POINTS = (0.10, 0.15, 0.25)
"""Such falls of a share, in points as shares of one."""

MOST_SETTLING = 12
"""Most further collections that are asked for to settle a question: two months of them. (J)"""


@dataclass(frozen=True, slots=True)
class AnnouncedWithinAYear:
    """Chance that a true fall of this size is announced within a year of collections.

    Attributes
    ----------
    size
        Share of his past for total sperm; points, as a share of one, for the others.
    prob
        Chance of an announcement at some look.
    """

    size: float
    prob: float


@dataclass(frozen=True, slots=True)
class Power:
    """What the rhythm of one stud's collections can show.

    Attributes
    ----------
    per_year
        Collections a year at his usual pause.
    false_alarm_prob
        Chance of a false announcement of this measure of him at some look within a year.
    n_promised
        Collections after an abrupt fall of the size worth acting on by which it is announced in
        four of five cases; None when two years are not enough.
    months_promised
        The same in months.
    announced
        Chance that falls of several sizes are announced within a year; the middle one is worth
        acting on.
    n_settling
        Further collections, each after :data:`REST_BEFORE_REPEAT_DAYS`, after which the interval of
        the change is too narrow to hold both no change and a fall of the size worth acting on; 0
        when it is so today, None when :data:`MOST_SETTLING` are not enough.
    """

    per_year: float
    false_alarm_prob: float
    n_promised: int | None
    months_promised: float | None
    announced: tuple[AnnouncedWithinAYear, ...]
    n_settling: int | None


def power(
    posterior: StudQualityPosterior,
    stud: str,
    sure_prob: float,
    *,
    rng: np.random.Generator,
    n_each: int = N_EACH,
) -> Power | None:
    """What this stud's rhythm can show at the sureness that the kennel asks for.

    Parameters
    ----------
    posterior
        Fitted, of one measure.
    stud
        Call name.
    sure_prob
        Of the kennel's rule.
    rng
        Source of the drawn studs.
    n_each
        Drawn studs of each draw of the spreads.

    Returns
    -------
    Power or None
        None where he has too few collections for any change to be stated.
    """
    rhythm = rhythm_of(posterior, stud)
    if rhythm is None:
        return None
    is_log, act_on = posterior.data.measure.is_log, posterior.data.measure.act_on
    drawn = drifting_studs(rhythm, rhythm.n_within(FOLLOWED_YEARS), rng, n_each=n_each)
    by_then = announced_by(drawn, on_scale(posterior, stud, act_on), sure_prob)
    enough = np.flatnonzero(by_then >= PROMISE_PROB)
    n_promised = int(enough[0]) + 1 if enough.size else None
    this_year = drawn.within(rhythm.n_year)
    announced = tuple(
        AnnouncedWithinAYear(
            size, float(announced_by(this_year, on_scale(posterior, stud, -size), sure_prob)[-1])
        )
        for size in (TRUE_FALLS if is_log else TRUE_FALL_POINTS)
    )
    return Power(
        DAYS_PER_YEAR / rhythm.pause_days,
        float((surest_error(this_year.after()) >= sure_prob).mean()),
        n_promised,
        None if n_promised is None else n_promised * rhythm.pause_days / DAYS_PER_YEAR * 12.0,
        announced,
        _n_settling(posterior, stud, rhythm),
    )


def announced_by(drawn: DriftingStuds, fall: float, sure_prob: float) -> np.ndarray:
    """Share of the drawn studs that are announced by each look after an abrupt fall."""
    seen = drawn.after(fall)
    is_announced = rule(seen.fall_prob, seen.reach_prob, sure_prob)
    return np.asarray(np.maximum.accumulate(is_announced, axis=1).mean(axis=0))


def _n_settling(posterior: StudQualityPosterior, stud: str, rhythm: Rhythm) -> int | None:
    """Further collections until the interval of the change is narrower than one worth acting on."""
    data, draws = posterior.data, posterior.draws
    rows = data.rows_of(stud)
    on = data.on[rows]
    past = np.zeros((len(rows) + MOST_SETTLING, MOST_SETTLING))
    past[own_past(on)] = 1.0 / len(own_past(on))
    change = levels_at(posterior, stud, on[-1:])[:, 0] - past_level(posterior, stud)
    new = REST_BEFORE_REPEAT_DAYS * np.arange(1.0, MOST_SETTLING + 1.0)
    look = looks_at(
        np.concatenate([days_of(on), days_of(on)[-1] + new]),
        len(rows),
        past,
        level_sd=rhythm.level_sd,
        amplitude=float(np.median(draws["amplitude"][:, data.studs.index(stud)])),
        length=float(np.median(draws["length"])),
        noise=float(noise_variance(np.median(draws["within"]), data, rows)),
    )
    widths = 2.0 * INTERVAL_Z * np.append(change.std(), look.sd)
    enough = np.flatnonzero(widths < abs(rhythm.act_on))
    return int(enough[0]) if enough.size else None
