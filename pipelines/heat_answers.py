"""What the bench says about a heat: ovulation, days to inseminate, whelping, looking back."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from analytics import calendar, timing
from analytics.calendar import DayWindow, ProgesteroneUnit, spoken_day
from analytics.errors import ToolkitError
from analytics.models import ovulation
from pipelines.terminal import YEARS, Answer, TextTable, percent, spoken

DAYS_SHOWN = 10
"""Days for which the chance of lying in a window is printed."""

SHOWN_PROB = 0.01
"""Days below this chance by every source are left out of the table."""

PASSED_PROB = 0.05
"""A window that every coming day meets with less than this chance has passed (J)."""

_READING = re.compile(
    r"(?P<day>\d{4}-\d{2}-\d{2})(?:[ T](?P<clock>\d{1,2}:\d{2}))?\s*=\s*"
    r"(?P<bound>[<>]?)\s*(?P<value>\d+(?:\.\d+)?)\s*(?P<unit>ng/mL|nmol/L)?"
    r"\s*(?:@\s*(?P<laboratory>.+))?",
    re.IGNORECASE,
)
_UNITS: dict[str, ProgesteroneUnit] = {"ng/ml": "ng/mL", "nmol/l": "nmol/L"}


def read_progesterone(
    text: str, *, unit: ProgesteroneUnit, assay: ovulation.AssayClass
) -> ovulation.ProgesteroneReading:
    """Read one typed progesterone: 2026-03-10=2.4, or 2026-03-10 08:30=>20 nmol/L@Lindal.

    Parameters
    ----------
    text
        As typed.
    unit
        Unit where the text names none.
    assay
        Kind of assay.

    Raises
    ------
    ToolkitError
        The text is no reading.
    """
    found = _READING.fullmatch(text.strip())
    remedy = "Write DAY=VALUE, such as 2026-03-10=2.4 or '2026-03-10 08:30=>20 nmol/L@Lindal'."
    if found is None:
        raise ToolkitError(f"A reading has a day and a value; got {text!r}. {remedy}")
    try:
        day = date.fromisoformat(found["day"])
        clock = time.fromisoformat(found["clock"].zfill(5)) if found["clock"] else None
    except ValueError:
        raise ToolkitError(f"There is no such day or time: {text!r}. {remedy}") from None
    if day.year not in YEARS:
        raise ToolkitError(f"A day lies between {YEARS[0]} and {YEARS[-1]}; got {text!r}. {remedy}")
    earliest = datetime.combine(day, clock or time.min)
    latest = earliest if clock else datetime.combine(day, time.max.replace(microsecond=0))
    named = _UNITS[found["unit"].lower()] if found["unit"] else unit
    value = float(calendar.progesterone_ng_per_ml(float(found["value"]), named))
    if value <= 0.0:
        raise ToolkitError(f"Progesterone is above zero; got {text!r}. Write <0.2, say.")
    low = 0.0 if found["bound"] == "<" else value
    high = math.inf if found["bound"] == ">" else value
    return ovulation.ProgesteroneReading(earliest, latest, low, high, found["laboratory"], assay)


def ovulation_answer(
    readings: Sequence[ovulation.ProgesteroneReading],
    *,
    first_day: date | None,
    lh_surge_on: date | None,
    semen_type: timing.SemenType,
    now: datetime,
) -> Answer:
    """When she ovulated or will, on which days to inseminate, and when to test next."""
    if not readings and first_day is None and lh_surge_on is None:
        raise ToolkitError(
            "An ovulation needs a first day of bleeding, a progesterone reading or an LH surge; "
            "got none of them. Give --first-day, or a reading such as 2026-03-10=2.4."
        )
    posterior = ovulation.ovulation_posterior(
        readings, first_day=first_day, lh_surge_on=lh_surge_on
    )
    state = timing.state_of(posterior, now)
    last = readings[-1] if readings else None
    options = timing.next_readings(
        readings,
        posterior,
        now,
        laboratory=last.laboratory if last else None,
        assay=last.assay if last else "unknown",
        first_day=first_day,
        lh_surge_on=lh_surge_on,
    )
    chosen = timing.sharpest(options)
    tables: list[TextTable] = []
    values: dict[str, object] = {
        "state": state,
        "ovulation_on": None,
        "ovulation_sd_days": posterior.sd_days,
        "ovulated_prob": posterior.prob_before(now),
        "next_reading_on": chosen.at.date() if chosen else None,
    }
    if state == "not yet":
        sentences = [_not_yet_sentence(posterior, now, chosen)]
    else:
        low, high = posterior.interval()
        values |= {"ovulation_low_on": low.date(), "ovulation_high_on": high.date()}
        sentences = [_happened_sentence(posterior, state, now)]
        if state == "dated":
            values["ovulation_on"] = posterior.mean_at.date()
        table, chances = _insemination_table(posterior, semen_type, now.date())
        tables.append(table)
        values["insemination_days"] = [
            {
                "source": one.window.source,
                "first_day": one.window.first_day,
                "last_day": one.window.last_day,
                "best_on": one.best_on,
                "best_prob": max(one.probs),
            }
            for one in chances
        ]
        sentences.append(_days_sentence(chances, semen_type))
        if chosen is not None:
            sentences.append(
                f"A further reading on {spoken_day(chosen.at.date())} would sharpen it to about "
                f"±{spoken(chosen.sd_days, digits=2)} days."
            )
    if chosen is not None:
        tables.append(_reading_table(options))
    remarks = [
        "Days after ovulation, the day of ovulation being day 0; the sources are shown apart.",
        *(
            f"{window.words}: {window.source}."
            for window in timing.INSEMINATION_WINDOWS
            if semen_type in window.semen_types
        ),
        "A level that never rises, or a sample kept warm, is not seen by this model; the vet's "
        "own findings stand above it.",
    ]
    if semen_type == "frozen":
        remarks.insert(-1, timing.LATEST_INTRAUTERINE)
    return Answer(tuple(sentences), tuple(tables), tuple(remarks), values)


def _not_yet_sentence(
    posterior: ovulation.OvulationPosterior, now: datetime, chosen: timing.NextReading | None
) -> str:
    happened = percent(posterior.prob_before(now))
    said = f"Not yet: the chance that she has ovulated by now is {happened}, and no date is given."
    if chosen is None:
        return said
    return (
        f"{said} Test next on {spoken_day(chosen.at.date())}: that reading is expected to leave "
        f"±{spoken(chosen.sd_days, digits=2)} days, where ±{spoken(posterior.sd_days, digits=2)} "
        "stand now."
    )


def _happened_sentence(
    posterior: ovulation.OvulationPosterior, state: timing.State, now: datetime
) -> str:
    low, high = posterior.interval()
    ends = f"between {spoken_day(low.date())} and {spoken_day(high.date())} (90 %)"
    tense = "was" if posterior.prob_before(now) >= timing.HAPPENED_PROB else "is expected"
    if state == "dated":
        return f"Ovulation {tense} on {spoken_day(posterior.mean_at.date())}, {ends}."
    return f"Ovulation has probably been, {ends}; the readings do not give a date."


def _insemination_table(
    posterior: ovulation.OvulationPosterior, semen_type: timing.SemenType, today: date
) -> tuple[TextTable, list[timing.WindowChance]]:
    """Chance of each coming day to lie in each source's window."""
    low, _ = posterior.interval()
    first = max(today, low.date() - timedelta(days=2))
    days = [first + timedelta(days=k) for k in range(DAYS_SHOWN)]
    chances = timing.insemination_chances(posterior, semen_type, days)
    rows = [
        (spoken_day(on), *(percent(one.probs[k]) for one in chances))
        for k, on in enumerate(days)
        if max(one.probs[k] for one in chances) >= SHOWN_PROB
    ]
    headings = ("In the window on", *(_days_of(one.window) for one in chances))
    return TextTable(headings, tuple(rows)), list(chances)


def _days_of(window: timing.InseminationWindow) -> str:
    if window.first_day == window.last_day:
        return f"day {window.first_day}"
    return f"days {window.first_day} to {window.last_day}"


def _days_sentence(chances: Sequence[timing.WindowChance], semen_type: timing.SemenType) -> str:
    """The coming days that the sources give; where they disagree, each."""
    what = "a mating" if semen_type == "natural" else f"{semen_type} semen"
    likely = [one for one in chances if max(one.probs) >= PASSED_PROB]
    if not likely:
        return f"The days that the sources give for {what} have probably passed."
    best = {one.best_on: max(one.probs) for one in sorted(likely, key=lambda one: one.best_on)}
    days = [f"{spoken_day(on)} ({percent(prob)} likely in its window)" for on, prob in best.items()]
    if len(days) == 1:
        return f"For {what} the sources give {days[0]}."
    return f"For {what} the sources disagree: {', '.join(days[:-1])} or {days[-1]}."


def _reading_table(options: Sequence[timing.NextReading]) -> TextTable:
    return TextTable(
        ("Further reading on", "Then known to, ± days", "Ovulated by then"),
        tuple(
            (
                spoken_day(one.at.date()),
                spoken(one.sd_days, digits=2),
                percent(one.ovulated_prob),
            )
            for one in options
        ),
    )


def whelping_answer(
    *,
    lh_peak_on: date | None,
    ovulation_on: date | None,
    ovulation_sd_days: float,
    mated_on: date | None,
    n_pups: int | None,
) -> Answer:
    """When she should whelp, from each event that is known."""
    events: tuple[tuple[calendar.WhelpingZero, date | None, float], ...] = (
        ("LH peak", lh_peak_on, 0.0),
        ("ovulation", ovulation_on, ovulation_sd_days),
        ("mating", mated_on, 0.0),
    )
    windows = [
        calendar.whelping_window(zero, on, zero_sd_days=sd, n_pups=n_pups)
        for zero, on, sd in events
        if on is not None
    ]
    if not windows:
        raise ToolkitError(
            "A whelping is counted from an LH peak, an ovulation or a mating; got none of them. "
            "Give --lh, --ovulation or --mated with a day."
        )
    narrowest = min(windows, key=lambda window: window.last_day - window.first_day)
    sentences = [
        f"Counted from the {narrowest.zero} on {spoken_day(narrowest.zero_on)} (day 0): whelping "
        f"{_middle(narrowest)}, between {spoken_day(narrowest.first_on)} and "
        f"{spoken_day(narrowest.last_on)} (90 %)."
    ]
    if ovulation_on is not None:
        late = ovulation_on + timedelta(days=calendar.OVERDUE_DAYS_FROM_OVULATION)
        sentences.append(
            f"No labor by {spoken_day(late)}, day {calendar.OVERDUE_DAYS_FROM_OVULATION} from "
            "ovulation, is for a veterinarian the same day (from memory, M)."
        )
    return Answer(
        tuple(sentences),
        (_window_table(windows),),
        tuple(dict.fromkeys(f"{window.zero}: {window.source}." for window in windows)),
        {"windows": [_window_values(window) for window in windows]},
    )


def look_back_answer(collected_on: date | None, ended_on: date | None) -> Answer:
    """When harm began that shows in a sample, and when to examine again."""
    windows: list[DayWindow] = []
    sentences: list[str] = []
    if collected_on is not None:
        testis, epididymis = calendar.look_back(collected_on)
        windows += [testis, epididymis]
        sentences.append(
            f"What shows in the sample of {spoken_day(collected_on)} (day 0) began between "
            f"{spoken_day(testis.first_on)} and {spoken_day(testis.last_on)} if the making of "
            f"sperm was harmed, or since {spoken_day(epididymis.first_on)} if it was the "
            "epididymis."
        )
    if ended_on is not None:
        again = calendar.retest(ended_on)
        windows.append(again)
        sentences.append(
            f"After an end on {spoken_day(ended_on)} (day 0) examine him again from "
            f"{spoken_day(again.first_on)}; by {spoken_day(again.last_on)} every sperm was made "
            "since."
        )
    if not windows:
        raise ToolkitError(
            "Looking back needs the day of a sample, and a re-test the day on which the harm "
            "ended; got neither. Give --collected or --ended with a day."
        )
    return Answer(
        tuple(sentences),
        (_window_table(windows),),
        tuple(dict.fromkeys(f"{window.source}." for window in windows)),
        {"windows": [_window_values(window) for window in windows]},
    )


def _middle(window: DayWindow) -> str:
    return "" if window.middle_on is None else f"about {spoken_day(window.middle_on)}"


def _window_table(windows: Sequence[DayWindow]) -> TextTable:
    return TextTable(
        ("Day 0", "On", "Days", "From", "To"),
        tuple(
            (
                window.zero,
                spoken_day(window.zero_on),
                f"{window.first_day:+d} to {window.last_day:+d}",
                spoken_day(window.first_on),
                spoken_day(window.last_on),
            )
            for window in windows
        ),
    )


def _window_values(window: DayWindow) -> dict[str, object]:
    return {
        "what": window.what,
        "day_zero": window.zero,
        "day_zero_on": window.zero_on,
        "first_day": window.first_day,
        "last_day": window.last_day,
        "middle_on": window.middle_on,
        "first_on": window.first_on,
        "last_on": window.last_on,
        "interval_prob": window.interval_prob,
    }
