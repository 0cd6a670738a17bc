"""Where does a stud stand, has he changed, and what should the next collection give?

Everything here reads a posterior of ``analytics/models/stud/model.py`` and answers in the owner's
unit: millions for total sperm, percent for the shares. Levels are compared at a common reference:
four days' rest, the year's mean season, no reader's own error. "His own past" is the first half of
his records; what falls within the last half year is never past.

How to call it::

    answers = stud_answers(posterior, "Rowan")
    answers.now, answers.change, answers.falls, answers.is_separable, answers.common_prob
    level_over_time(posterior, "Rowan", when)       # bands for a chart
    expected_collection(posterior, "Rowan", on=…, rest_days=5)
    last_in_line(posterior, "Rowan")                # is the last collection out of line?
    change_since(posterior, "Rowan", since=…, until=…)

The announcement, how often it errs and what the rhythm of collections can show:
``analytics/models/stud/announcement.py``, ``false_alarms.py``, ``power.py``; dips that came and
went, and events that coincide: ``analytics/models/stud/dips.py``; sentences:
``analytics/wording/stud.py``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.special import expit
from scipy.stats import t as student_t

from studcurve.analytics.estimate import Estimate, Floats, estimate_from_draws
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.stud.curves import (
    basis_at,
    recent_share,
    rest_term,
    season_columns,
    share_moments,
    step_shape,
    tailed_log,
)
from studcurve.analytics.models.stud.inputs import (
    AGE_FROM_YEARS,
    FEWEST_COLLECTIONS,
    Measure,
    StudData,
    days_of,
)
from studcurve.analytics.models.stud.model import StudQualityPosterior
from studcurve.analytics.priors import PRIORS

FALL_SIZES = (0.10, 0.25, 0.40)
"""Falls of total sperm whose probability is stated, as shares of his own past."""

FALL_POINTS = (0.05, 0.10, 0.15)
"""Falls of a share whose probability is stated, in points as shares of one."""

NOT_PAST_DAYS = 180.0
"""The last half year is never part of his own past. [d] (rule of this toolkit)"""

USUAL_PAUSE_DAYS = 30.0
"""Pause between collections where there are too few to know it. [d] (J)"""

REST_BEFORE_REPEAT_DAYS = 5
"""Rest before a single low sample is repeated. [d] (common practice, no source)"""

OUT_OF_LINE_PROB = 0.025
"""A collection is out of line when fewer than one in forty would fall so far on its side."""

OVERLAP_DAYS = 180.0
"""Two readers overlap when one read a stud both before and after the other within this. [d] (J)"""


@dataclass(frozen=True, slots=True)
class FallChance:
    """How probable a fall of at least this size is.

    Attributes
    ----------
    size
        Share of his own past for total sperm; points, as a share of one, for the others.
    prob
        0 to 1.
    """

    size: float
    prob: float


@dataclass(frozen=True, slots=True)
class StudAnswers:
    """What one measure says of one stud.

    Attributes
    ----------
    stud, measure
        Whose, and which.
    n_collections, first_on, last_on
        What it rests on.
    now
        Level at his last collection at the reference, in millions or percent.
    past, past_until, n_past
        The same over his own past, its last day and its collections; None where he has none.
    change
        From his own past to now: a share of the past for total sperm, points for the others.
    falls
        Probabilities of falls.
    rise_prob
        Probability of any rise.
    is_separable
        Whether the change of dog can be separated from a change of readers.
    past_readers, last_readers
        Who read then, and who lately.
    common_prob
        Probability that the level lies above the commonly used value of the measure.
    repeatability
        Share of the variance of single readings that lies between dogs, 0 to 1.
    """

    stud: str
    measure: Measure
    n_collections: int
    first_on: date
    last_on: date
    now: Estimate
    past: Estimate | None
    past_until: date | None
    n_past: int
    change: Estimate | None
    falls: tuple[FallChance, ...]
    rise_prob: float | None
    is_separable: bool
    past_readers: tuple[str, ...]
    last_readers: tuple[str, ...]
    common_prob: float
    repeatability: Estimate


@dataclass(frozen=True, slots=True)
class Band:
    """A level over time, in the unit of the vocabulary.

    Attributes
    ----------
    on
        Moments, shape (n,).
    lower, median, upper
        Shape (n,).
    """

    on: np.ndarray[Any, Any]
    lower: Floats
    median: Floats
    upper: Floats


@dataclass(frozen=True, slots=True)
class LastCollection:
    """How the last collection lies against what was to be expected of it without it.

    Attributes
    ----------
    on
        Day of the collection.
    value
        What was read, in the unit of the vocabulary.
    expected
        What was to be expected.
    lower_prob
        Probability of a reading as low or lower.
    out_of_line
        Whether it lies in either outer fortieth.
    again_on
        Day from which it can be repeated after rest.
    again
        What a repetition should give without any treatment.
    higher_prob
        Probability that the repetition reads higher than this one.
    """

    on: date
    value: float
    expected: Estimate
    lower_prob: float
    out_of_line: bool
    again_on: date
    again: Estimate
    higher_prob: float


def levels_at(
    posterior: StudQualityPosterior,
    stud: str,
    when: np.ndarray[Any, Any],
    *,
    with_events: bool = True,
) -> Floats:
    """Level of a stud at moments, on the working scale and at the reference.

    Parameters
    ----------
    posterior
        Fitted, of one measure.
    stud
        Call name.
    when
        Moments, shape (n,).
    with_events
        Whether the steps of declared events count.

    Returns
    -------
    numpy.ndarray
        Draws of the log of millions, or of a logit, shape (n_draws, n).
    """
    draws, data = posterior.draws, posterior.data
    s = data.studs.index(stud)
    on = when.astype("datetime64[s]")
    basis = basis_at(on, draws["domain"][0], draws["smooth"].shape[2])
    age = np.nan_to_num(
        np.maximum(0.0, (days_of(on) - data.born_day[s]) / DAYS_PER_YEAR - AGE_FROM_YEARS)
    )
    level = draws["level"][:, [s]] + draws["age"][:, None] * age + draws["smooth"][:, s] @ basis.T
    until = draws["recent_until"][0, s]
    if np.isfinite(until):
        level = level + draws["recent"][:, [s]] * recent_share(until - days_of(on))
    for k, episode in enumerate(data.episodes):
        if with_events and episode.stud == stud:
            started = days_of(np.array([episode.started_on], dtype="datetime64[s]"))
            since = days_of(on) - started
            shape = step_shape(np, since, draws["lag"][:, [k]], draws["duration"][:, [k]])
            level = level + draws["step"][:, [k]] * shape
    return np.asarray(level)


def stated_fall(measure: Measure) -> float:
    """Size that an announced fall has at least: a tenth of total sperm, five points of a share."""
    return (FALL_SIZES if measure.is_log else FALL_POINTS)[0]


def in_unit(measure: Measure, level: Floats) -> Floats:
    """The median collection at a level, in the unit of the vocabulary."""
    return np.asarray(np.exp(level) if measure.is_log else 100.0 * expit(level))


def stud_answers(posterior: StudQualityPosterior, stud: str) -> StudAnswers:
    """What one measure says of one stud.

    Parameters
    ----------
    posterior
        Fitted, of one measure; the stud has at least one row.
    stud
        Call name.
    """
    data, measure = posterior.data, posterior.data.measure
    rows = data.rows_of(stud)
    if rows.size == 0:
        raise ValueError(f"{stud!r} has no collection that says something of {measure.name}")
    on = data.on[rows]
    now = levels_at(posterior, stud, on[-1:])[:, 0]
    past_rows = own_past(on)
    lately = recent_rows(data, rows)
    past: Estimate | None = None
    change: Estimate | None = None
    falls: tuple[FallChance, ...] = ()
    rise: float | None = None
    apart, past_readers = True, _readers(data, past_rows[:0])
    if past_rows.size:
        before = past_level(posterior, stud)
        past = estimate_from_draws(in_unit(measure, before))
        moved = change_of(measure, before, now)
        change = estimate_from_draws(moved)
        sizes = FALL_SIZES if measure.is_log else FALL_POINTS
        falls = tuple(FallChance(size, float((moved <= -size).mean())) for size in sizes)
        rise = float((moved > 0).mean())
        apart = readers_separable(data, rows[past_rows], lately)
        past_readers = _readers(data, rows[past_rows])
    return StudAnswers(
        stud,
        measure,
        len(rows),
        _day(on[0]),
        _day(on[-1]),
        estimate_from_draws(in_unit(measure, now)),
        past,
        _day(on[past_rows[-1]]) if past_rows.size else None,
        len(past_rows),
        change,
        falls,
        rise,
        apart,
        past_readers,
        _readers(data, lately),
        float((in_unit(measure, now) > measure.common).mean()),
        repeatability(posterior, rows),
    )


def own_past(on: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Positions of the collections that are a stud's own past; none where he has too few.

    Parameters
    ----------
    on
        Moments of his collections in order, shape (n,).
    """
    return past_of(days_of(on))


def past_of(days: Floats) -> np.ndarray[Any, Any]:
    """The same of days in order, shape (n,). [d]"""
    half = days[0] + (days[-1] - days[0]) / 2.0
    past = np.flatnonzero((days <= half) & (days[-1] - days > NOT_PAST_DAYS))
    enough = len(past) >= FEWEST_COLLECTIONS and len(days) - len(past) >= FEWEST_COLLECTIONS
    return past if enough else past[:0]


def recent_rows(data: StudData, rows: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """The last collections of the last half year: those that stand for "now"."""
    days = days_of(data.on[rows])
    return np.asarray(rows[days[-1] - days <= NOT_PAST_DAYS][-FEWEST_COLLECTIONS:])


def past_level(posterior: StudQualityPosterior, stud: str) -> Floats:
    """Mean level over the collections of a stud's own past, without declared events."""
    on = posterior.data.on[posterior.data.rows_of(stud)]
    levels = levels_at(posterior, stud, on[own_past(on)], with_events=False)
    return np.asarray(levels.mean(axis=1))


def change_of(measure: Measure, before: Floats, after: Floats) -> Floats:
    """Change between two levels: a share of the first for total sperm, points for a share."""
    if measure.is_log:
        return np.asarray(np.expm1(after - before))
    return np.asarray(expit(after) - expit(before))


def change_since(
    posterior: StudQualityPosterior, stud: str, *, since: date, until: date
) -> Estimate:
    """Change of the level between two days, with declared events, at the reference.

    Parameters
    ----------
    posterior
        Fitted, of one measure.
    stud
        Call name.
    since, until
        The two days.

    Returns
    -------
    Estimate
        A share of the first level for total sperm; points, as a share of one, for the others.
    """
    when = np.array([since, until], dtype="datetime64[s]")
    levels = levels_at(posterior, stud, when)
    return estimate_from_draws(change_of(posterior.data.measure, levels[:, 0], levels[:, 1]))


def level_over_time(posterior: StudQualityPosterior, stud: str, when: np.ndarray[Any, Any]) -> Band:
    """The level with its interval at moments, for a chart, in the unit of the vocabulary."""
    values = in_unit(posterior.data.measure, levels_at(posterior, stud, when))
    each = [estimate_from_draws(column) for column in values.T]
    ends = np.array([(e.lower, e.median, e.upper) for e in each]).T
    return Band(when, ends[0], ends[1], ends[2])


def repeatability(posterior: StudQualityPosterior, rows: np.ndarray[Any, Any]) -> Estimate:
    r"""Share of the variance of single readings that lies between dogs.

    .. math:: \tau^2 / (\tau^2 + \sigma^2 \nu / (\nu - 2) + e^2)

    with the error :math:`e` of the stud's usual reading, on the working scale.
    """
    draws = posterior.draws
    between = draws["between"] ** 2
    single = noise_variance(draws["within"], posterior.data, rows)
    return estimate_from_draws(between / (between + single))


def expected_collection(
    posterior: StudQualityPosterior,
    stud: str,
    *,
    on: date,
    rest_days: float,
    rng: np.random.Generator,
) -> Floats:
    """Draws of what a collection should read, by his usual reader, in the unit of the vocabulary.

    Parameters
    ----------
    posterior
        Fitted, of one measure.
    stud
        Call name.
    on
        Day of the collection.
    rest_days
        Rest before it. [d]
    rng
        Source of the spread of single collections.
    """
    rows = posterior.data.rows_of(stud)
    when = np.array([on], dtype="datetime64[s]")
    names, counts = np.unique(posterior.data.reader[rows], return_counts=True)
    mean, spread = _reading_given(
        posterior, stud, when, np.array([rest_days]), names[[counts.argmax()]], rows[-1:]
    )
    single = rng.standard_t(PRIORS["q01_tail"].centre, size=mean.shape)
    value = (mean + spread * single)[:, 0]
    measure = posterior.data.measure
    return np.asarray(np.exp(value) if measure.is_log else 100.0 * np.clip(value, 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class NextTotal:
    """Draws of the sperm that a collection of one day holds, and of what less rest takes away.

    Attributes
    ----------
    total_m
        After the reference rest, shape (n,). [10⁶]
    recovery_days, deficit
        Of :func:`studcurve.analytics.models.stud.curves.rest_term`, same draws. [d, 0 to 1]
    """

    total_m: Floats
    recovery_days: Floats
    deficit: Floats


def next_total(
    posterior: StudQualityPosterior,
    stud: str,
    *,
    on: date,
    rng: np.random.Generator,
    n_draws: int,
) -> NextTotal:
    """Draw the sperm that a collection holds, whoever reads it: no reader's error is in it.

    Parameters
    ----------
    posterior
        Fitted, of total sperm.
    stud
        Call name.
    on
        Day of the collection.
    rng
        Draws among the posterior's draws, and the spread of single collections.
    n_draws
        Number of draws.
    """
    draws, when = posterior.draws, np.array([on], dtype="datetime64[s]")
    level = levels_at(posterior, stud, when) + draws["season"] @ season_columns(when).T
    chosen = rng.integers(len(level), size=n_draws)
    single = rng.standard_t(PRIORS["q01_tail"].centre, size=n_draws)
    return NextTotal(
        np.exp(level[chosen, 0] + draws["within"][chosen] * single),
        draws["rest_time"][chosen],
        draws["rest_deficit"][chosen],
    )


def last_in_line(
    posterior: StudQualityPosterior, stud: str, *, rng: np.random.Generator
) -> LastCollection | None:
    """Whether the collection just made is out of line, and what a repetition should give.

    The collection's own pull on the posterior is taken out by importance weights; one that came
    after the fit has not pulled. None where the last reading is a small or one-sided count, which
    has no single value.

    Parameters
    ----------
    posterior
        Fitted, of one measure.
    stud
        Call name.
    rng
        Source of the spread of single collections.
    """
    data, tail = posterior.data, PRIORS["q01_tail"].centre
    row = data.rows_of(stud)[-1:]
    value = data.value[row][0]
    if not np.isfinite(value):
        return None
    mean, spread = _reading_given(
        posterior, stud, data.on[row], data.rest_days[row], data.reader[row], row
    )
    mean, spread = mean[:, 0], spread[:, 0]
    log_weight = -tailed_log(np, value - mean, spread, tail)
    seen_until = posterior.draws["recent_until"][0, data.studs.index(stud)]
    if days_of(data.on[row])[0] > seen_until:
        log_weight = np.zeros_like(log_weight)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    lower = float(weight @ student_t.cdf((value - mean) / spread, tail))
    chosen = rng.choice(len(mean), size=len(mean), p=weight)
    drawn = mean[chosen] + spread[chosen] * rng.standard_t(tail, size=len(mean))
    to_unit = np.exp if data.measure.is_log else lambda share: 100.0 * np.clip(share, 0.0, 1.0)
    on = _day(data.on[row][0])
    again_on = on + timedelta(days=REST_BEFORE_REPEAT_DAYS)
    again = expected_collection(
        posterior, stud, on=again_on, rest_days=float(REST_BEFORE_REPEAT_DAYS), rng=rng
    )
    read = float(to_unit(np.array(value)))
    return LastCollection(
        on,
        read,
        estimate_from_draws(to_unit(drawn)),
        lower,
        not OUT_OF_LINE_PROB <= lower <= 1.0 - OUT_OF_LINE_PROB,
        again_on,
        estimate_from_draws(again),
        float((again > read).mean()),
    )


def readers_separable(
    data: StudData, past: np.ndarray[Any, Any], lately: np.ndarray[Any, Any]
) -> bool:
    """Whether any reader of the one time is linked to any of the other by shared work.

    Two readers are linked when one of them read a stud, whichever, both before and after the other
    within half a year, or by a chain of such links; else a difference between them looks just like
    a change of the dog. A clean hand-over is no link.

    Parameters
    ----------
    data
        All rows of the measure.
    past, lately
        Row numbers of the two times.
    """
    n = len(data.readers)
    linked = np.eye(n, dtype=bool)
    days = days_of(data.on)
    for s in range(len(data.studs)):
        read_by = [np.sort(days[(data.stud == s) & (data.reader == r)]) for r in range(n)]
        for a in range(n):
            for b in range(n):
                linked[a, b] |= _encloses(read_by[a], read_by[b])
    _, group = connected_components(csr_matrix(linked), directed=False)
    return bool(set(group[data.reader[past]]) & set(group[data.reader[lately]]))


def _encloses(outer: Floats, inner: Floats) -> bool:
    """Whether any inner day lies between two outer days that are close enough."""
    at = np.searchsorted(outer, inner)
    inside = (at > 0) & (at < len(outer))
    return bool((outer[at[inside]] - outer[at[inside] - 1] <= OVERLAP_DAYS).any())


def usual_pause_days(on: np.ndarray[Any, Any]) -> float:
    """Median pause between the collections of the last two years. [d]"""
    days = days_of(on)
    pauses = np.diff(days[days[-1] - days <= 2.0 * DAYS_PER_YEAR])
    return float(np.median(pauses)) if len(pauses) >= FEWEST_COLLECTIONS else USUAL_PAUSE_DAYS


def _reading_given(
    posterior: StudQualityPosterior,
    stud: str,
    when: np.ndarray[Any, Any],
    rest_days: Floats,
    reader: np.ndarray[Any, Any],
    like: np.ndarray[Any, Any],
) -> tuple[Floats, Floats]:
    """Mean and scale of a reading on the scale of the data, read as surely as the row ``like``."""
    draws, data = posterior.draws, posterior.data
    level = levels_at(posterior, stud, when) + draws["season"] @ season_columns(when).T
    within = draws["within"][:, None]
    if data.measure.is_log:
        mean = level + rest_term(
            np, rest_days, draws["rest_time"][:, None], draws["rest_deficit"][:, None]
        )
        variance = np.broadcast_to(within**2, mean.shape)
    else:
        mean, variance = share_moments(np, level, within)
    mean = mean + draws["reader"][:, reader]
    inside = np.clip(mean, 0.0, 1.0)
    counting = inside * (1.0 - inside) * data.inverse_n[like] + data.reading_sd[like] ** 2
    return np.asarray(mean), np.sqrt(variance + counting)


def reading_variance(data: StudData, rows: np.ndarray[Any, Any]) -> float:
    """Usual variance of the reading itself, on the working scale."""
    if data.measure.is_log:
        return float(np.median(data.reading_sd[rows] ** 2))
    share = float(np.clip(np.nanmedian(data.value[rows]), 0.02, 0.98))
    slope = share * (1.0 - share)
    return float(np.median(data.reading_sd[rows] ** 2 + slope * data.inverse_n[rows]) / slope**2)


def noise_variance(within: ArrayLike, data: StudData, rows: np.ndarray[Any, Any]) -> Floats:
    """Variance of a single reading around the level, for spreads between collections."""
    return np.square(within) * tail_variance() + reading_variance(data, rows)


def tail_variance() -> float:
    """Variance of Student's t against that of its scale."""
    tail = PRIORS["q01_tail"].centre
    return tail / (tail - 2.0)


def _readers(data: StudData, rows: np.ndarray[Any, Any]) -> tuple[str, ...]:
    return tuple(data.readers[k] for k in np.unique(data.reader[rows]))


def _day(moment: np.datetime64) -> date:
    return pd.Timestamp(moment).to_pydatetime().date()
