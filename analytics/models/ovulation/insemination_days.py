r"""On which days should which semen go in, and when to test next?

From the posterior of the ovulation time (:mod:`studcurve.analytics.models.ovulation.model`).
Windows are days after ovulation, the day of ovulation being day 0, as each source prints them: the
sources disagree, and the disagreement is shown and not averaged away. Does not know: what the
veterinarian sees in cells, cervix and behavior.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal

import numpy as np

from studcurve.analytics.models.ovulation.model import (
    BLEEDING_RANGE_DAYS,
    RISE_NG_PER_ML,
    AssayClass,
    OvulationPosterior,
    ProgesteroneReading,
    expected_sd_days,
    in_order,
)
from studcurve.analytics.vocabulary import SemenType

State = Literal["no rise", "lost", "rising", "may be now", "unsure", "dated"]
"""What can be said of a heat.

``no rise``: no reading shows the rise, so no day is named; ``lost``: one did and a later one is
basal again; ``rising``: the rise was seen and ovulation is still to come; ``may be now``: the last
reading is one of ovulation itself; ``unsure``: it has probably happened, but the readings do not
give a date; ``dated``: a date."""

HAPPENED_PROB = 0.5
"""From this probability on ovulation is spoken of as past (rule of this toolkit)."""

EARLY_ENOUGH_PROB = 0.25
"""A further reading comes before ovulation has happened with more than this probability (J)."""

NEARLY_AS_SHARP = 1.10
"""A sooner reading is preferred when it leaves at most so many times the smallest error (J)."""

N_MORNINGS = 7
"""Mornings that are weighed for a further reading."""

LAST_DRAW_DAY = int(BLEEDING_RANGE_DAYS[1])
"""As long as no rise was seen blood is drawn again until this day of the heat; then a veterinarian
looks. [d] Latest ovulation of the colony (prior o05)."""

HEAT_DAYS = BLEEDING_RANGE_DAYS[1] + 9.0
"""A heat that began longer ago is over: latest ovulation of the colony, and the fertile days after
it. [d]"""

MAY_BE_NOW_NG_PER_ML = (3.0, 8.0)
"""A reading between these on the rise may be that of ovulation itself. [ng/mL]

4 to 10 ng/mL on the day of ovulation (teaching texts, M); 5 ng/mL 48 h after the LH peak and 7 at
72 h (prior o01, P); the ends are judgement (J)."""

MAY_BE_NOW_HOURS = 48.0
"""And it says so for so long after it was drawn. [h] (J)"""

NONE_LIKELY_PROB = 0.80
"""From this probability of no ovulation in this heat on a veterinarian is asked as well. (J)"""

MORNING = time(9)
"""When blood is drawn and a clinic inseminates, unless said otherwise (J)."""


@dataclass(frozen=True, slots=True)
class InseminationWindow:
    """Days after ovulation that one source gives for one kind of semen.

    Attributes
    ----------
    semen_types
        What it is about.
    first_day, last_day
        Days after ovulation, day 0; both included.
    words
        As the source puts it.
    source
        Author, year, journal and mark.
    """

    semen_types: tuple[SemenType, ...]
    first_day: int
    last_day: int
    words: str
    source: str


INSEMINATION_WINDOWS = (
    InseminationWindow(
        ("natural",), -2, 4, "from the LH surge to 5 or 6 days after it",
        "Concannon's text on the fertile period (secondary) (P)",
    ),
    InseminationWindow(
        ("natural", "fresh", "chilled"), 2, 4, "4 to 6 days after the LH surge",
        "guidance of a canine health foundation (secondary) (P)",
    ),
    InseminationWindow(
        ("fresh", "chilled"), 2, 2, "once: 2 days after ovulation; twice: also on day 4",
        "University of Minnesota, teaching case (secondary) (P)",
    ),
    InseminationWindow(
        ("frozen",), 2, 3, "2 and 3 days after ovulation, 685 heats",
        "Thomassen et al. 2006, Theriogenology 66:1645-1650 (P)",
    ),
    InseminationWindow(
        ("frozen",), 4, 4, "about day 4 after ovulation", "Steckler 2013 (M)",
    ),
)  # fmt: skip
"""What the sources give, in the order shown."""


@dataclass(frozen=True, slots=True)
class WindowChance:
    """How likely each day lies in one source's window.

    Attributes
    ----------
    window
        The source's window.
    probs
        One a day, 0 to 1.
    best_on
        The day on which it is most likely.
    """

    window: InseminationWindow
    probs: tuple[float, ...]
    best_on: date


@dataclass(frozen=True, slots=True)
class NextReading:
    """A further reading that might be taken.

    Attributes
    ----------
    at
        When blood would be drawn.
    sd_days
        How surely ovulation would then be known, expected standard deviation. [d]
    ovulated_prob
        Probability that she will have ovulated by then.
    """

    at: datetime
    sd_days: float
    ovulated_prob: float


@dataclass(frozen=True, slots=True)
class HeatAnswer:
    """What is said of one heat, and what is done next.

    Attributes
    ----------
    state
        See :data:`State`.
    draw
        The next blood to draw; None where none is needed, or none helps any more.
    options
        Further readings that were weighed.
    may_be_now
        Whether the last reading may be that of ovulation itself; also where there is a date.
    asks_vet
        Whether a veterinarian is asked today: it may be now, or has been; a rise was lost, or did
        not come.
    """

    state: State
    draw: NextReading | None
    options: tuple[NextReading, ...]
    may_be_now: bool
    asks_vet: bool


def heat_answer(
    readings: Sequence[ProgesteroneReading],
    posterior: OvulationPosterior,
    now: datetime,
    *,
    laboratory: str | None = None,
    assay: AssayClass = "unknown",
    first_day: date | None = None,
    lh_surge_on: date | None = None,
) -> HeatAnswer:
    """What can be said of this heat at a moment, and when blood is drawn next.

    Parameters
    ----------
    readings, posterior
        What was measured, and what is known from it.
    now
        The moment the question is asked.
    laboratory, assay, first_day, lh_surge_on
        As for the posterior; laboratory and assay are those of the next reading.

    Notes
    -----
    As long as no reading shows the rise a next draw is set, on the sharpest morning that comes
    early enough, else on the first one, until :data:`LAST_DRAW_DAY`. On the rise it is set until
    ovulation has probably happened.
    """
    state = state_of(readings, posterior, now)
    options = next_readings(
        readings, posterior, now, laboratory=laboratory, assay=assay, first_day=first_day,
        lh_surge_on=lh_surge_on,
    )  # fmt: skip
    is_now = may_be_now(readings, posterior, now)
    draw = sharpest(options)
    # What may already be on the rise, but is not proven, is not waited for either.
    is_risen = bool(readings) and in_order(readings)[-1].low_ng_per_ml >= RISE_NG_PER_ML
    must_wait_no_day = is_now or (state == "no rise" and is_risen)
    if state in ("unsure", "lost"):
        draw = None
    elif state != "dated" and options and (draw is None or must_wait_no_day):
        draw = options[0]
    is_none_likely = state == "no rise" and posterior.none_prob >= NONE_LIKELY_PROB
    is_ended = state == "no rise" and draw is None
    asks_vet = is_now or state in ("unsure", "lost") or is_none_likely or is_ended
    return HeatAnswer(state, draw, options, is_now, asks_vet)


def may_be_now(
    readings: Sequence[ProgesteroneReading], posterior: OvulationPosterior, now: datetime
) -> bool:
    """Whether the last reading, drawn lately, may be that of ovulation itself.

    A single reading of that height counts here although it proves no rise yet.
    """
    if not readings or posterior.rise == "lost":
        return False
    last = in_order(readings)[-1]
    low, high = MAY_BE_NOW_NG_PER_ML
    is_fresh = now - last.sampled_latest <= timedelta(hours=MAY_BE_NOW_HOURS)
    return is_fresh and low <= last.low_ng_per_ml <= high


def state_of(
    readings: Sequence[ProgesteroneReading], posterior: OvulationPosterior, now: datetime
) -> State:
    """What can be said of this heat at a moment."""
    if posterior.rise != "seen":
        return "lost" if posterior.rise == "lost" else "no rise"
    if posterior.is_dated:
        return "dated"
    if may_be_now(readings, posterior, now):
        return "may be now"
    return "unsure" if posterior.prob_before(now) >= HAPPENED_PROB else "rising"


def insemination_chances(
    posterior: OvulationPosterior, semen_type: SemenType, days: Sequence[date]
) -> tuple[WindowChance, ...]:
    r"""How likely each day lies in each source's window for this semen.

    Parameters
    ----------
    posterior
        What is known of the ovulation time.
    semen_type
        What will be used.
    days
        Days asked about, at least one.

    Returns
    -------
    tuple of WindowChance
        One a source, in the order of :data:`INSEMINATION_WINDOWS`.

    Notes
    -----
    A window of whole days :math:`[a, b]` holds the morning :math:`d` when ovulation was between
    :math:`d - b - \tfrac12` and :math:`d - a + \tfrac12`.
    """
    found = []
    for window in INSEMINATION_WINDOWS:
        if semen_type not in window.semen_types:
            continue
        probs = []
        for on in days:
            morning = datetime.combine(on, MORNING)
            earliest = morning - timedelta(days=window.last_day + 0.5)
            latest = morning - timedelta(days=window.first_day - 0.5)
            probs.append(posterior.prob_before(latest) - posterior.prob_before(earliest))
        found.append(WindowChance(window, tuple(probs), days[int(np.argmax(probs))]))
    return tuple(found)


def next_readings(
    readings: Sequence[ProgesteroneReading],
    posterior: OvulationPosterior,
    now: datetime,
    *,
    laboratory: str | None = None,
    assay: AssayClass = "unknown",
    first_day: date | None = None,
    lh_surge_on: date | None = None,
) -> tuple[NextReading, ...]:
    """What a further reading on each of the coming mornings would do, while it is early enough.

    Parameters
    ----------
    readings, posterior
        What was measured, and what is known from it.
    now
        The moment the question is asked; mornings after it, and after the day of the last reading,
        are offered until ovulation has probably happened, the first one always; without a rise
        until :data:`LAST_DRAW_DAY`.
    laboratory, assay, first_day, lh_surge_on
        As for the posterior.
    """
    first = datetime.combine(now.date(), MORNING)
    drawn_on = max((reading.sampled_latest.date() for reading in readings), default=None)
    if first <= now or drawn_on == first.date():
        first += timedelta(days=1)
    mornings = [first + timedelta(days=k) for k in range(N_MORNINGS)]
    mornings = [at for at in mornings if at == first or posterior.prob_before(at) <= HAPPENED_PROB]
    if posterior.rise != "seen" and first_day is not None:
        last = first_day + timedelta(days=LAST_DRAW_DAY)
        mornings = [at for at in mornings if at.date() <= last]
    expected = expected_sd_days(
        readings,
        mornings,
        laboratory=laboratory,
        assay=assay,
        first_day=first_day,
        lh_surge_on=lh_surge_on,
    )
    return tuple(
        NextReading(at, float(sd), posterior.prob_before(at))
        for at, sd in zip(mornings, expected, strict=True)
    )


def sharpest(options: Sequence[NextReading]) -> NextReading | None:
    """Which further reading to take.

    Returns
    -------
    NextReading or None
        The soonest that is nearly as sharp as the sharpest, among those early enough; None when
        ovulation has probably happened before any of them.
    """
    early = [option for option in options if option.ovulated_prob <= EARLY_ENOUGH_PROB]
    if not early:
        return None
    enough = NEARLY_AS_SHARP * min(option.sd_days for option in early)
    return next(option for option in early if option.sd_days <= enough)
