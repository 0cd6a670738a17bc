r"""On which days should which semen go in, and when to test next?

From the posterior of the ovulation time (:mod:`analytics.models.ovulation`). Windows are days after
ovulation, the day of ovulation being day 0, as each source prints them: the sources disagree, and
the disagreement is shown and not averaged away. Does not know: what the veterinarian sees in cells,
cervix and behavior.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal

import numpy as np

from analytics.models.ovulation import (
    AssayClass,
    OvulationPosterior,
    ProgesteroneReading,
    expected_sd_days,
)

SemenType = Literal["natural", "fresh", "chilled", "frozen"]
"""Kinds of semen, a mating being one."""

State = Literal["not yet", "dated", "unsure"]
"""What can be said: it has not happened and is not dated; a date; it has probably happened, but the
readings do not give a date."""

HAPPENED_PROB = 0.5
"""From this probability on ovulation is spoken of as past (rule of this toolkit)."""

EARLY_ENOUGH_PROB = 0.25
"""A further reading comes before ovulation has happened with more than this probability (J)."""

NEARLY_AS_SHARP = 1.10
"""A sooner reading is preferred when it leaves at most so many times the smallest error (J)."""

N_MORNINGS = 7
"""Mornings that are weighed for a further reading."""

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
        ("natural",), -2, 4, "from the LH peak to 5 or 6 days after it",
        "Concannon's text on the fertile period (secondary) (P)",
    ),
    InseminationWindow(
        ("natural", "fresh", "chilled"), 2, 4, "4 to 6 days after the LH peak",
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

LATEST_INTRAUTERINE = (
    "Into the uterus 5 of 5 conceived on day 6 after ovulation, 5 of 7 on day 7, 3 of 8 on day 8, "
    "none of 5 on day 9 (Tsutsui 2009, Reprod Domest Anim 44 (P; group sizes M))."
)
"""How late is too late."""


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


def state_of(posterior: OvulationPosterior, now: datetime) -> State:
    """What can be said of this heat at a moment."""
    if posterior.is_dated:
        return "dated"
    return "unsure" if posterior.prob_before(now) >= HAPPENED_PROB else "not yet"


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
        The moment the question is asked; mornings after it are offered until ovulation has
        probably happened.
    laboratory, assay, first_day, lh_surge_on
        As for the posterior.
    """
    first = datetime.combine(now.date(), MORNING)
    if first <= now:
        first += timedelta(days=1)
    mornings = [first + timedelta(days=k) for k in range(N_MORNINGS)]
    mornings = [at for at in mornings if posterior.prob_before(at) <= HAPPENED_PROB]
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
