"""What the bench says about a heat: ovulation, days to inseminate, whelping, looking back."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from studcurve.analytics.errors import ToolkitError
from studcurve.analytics.measures import dates
from studcurve.analytics.measures.dates import (
    DayWindow,
    ProgesteroneUnit,
    Whelping,
    expected_whelping,
    spoken_day,
)
from studcurve.analytics.models.ovulation import insemination_days as timing
from studcurve.analytics.models.ovulation import model as ovulation
from studcurve.analytics.models.ovulation.heat import HeatNumbers, heat_numbers
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.vocabulary import SemenType
from studcurve.pipelines.answers.answer import YEARS, Answer, TextTable, percent, spoken

SHOWN_PROB = 0.01
"""Days below this chance by every source are left out of the table."""

PASSED_PROB = 0.05
"""A window that every coming day meets with less than this chance has passed (J)."""

_READING = re.compile(
    r"(?P<day>\d{4}-\d{2}-\d{2})(?:[ T](?P<clock>\d{1,2}:\d{2}))?\s*=\s*"
    r"(?P<bound>[<>]?)\s*(?P<value>\d+(?:[.,]\d+)?)\s*(?P<unit>ng/mL|nmol/L)?"
    r"\s*(?:@\s*(?P<laboratory>.+))?",
    re.IGNORECASE,
)
_UNITS: dict[str, ProgesteroneUnit] = {"ng/ml": "ng/mL", "nmol/l": "nmol/L"}


@dataclass(frozen=True, slots=True)
class TypedReading:
    """A progesterone as it was typed.

    Attributes
    ----------
    reading
        As it is used.
    value
        The number as typed.
    is_unit_supposed
        Whether nobody named a unit, so that it was read as ng/mL.
    ng_per_ml_if_nmol
        What the number would be had it been printed in nmol/L. [ng/mL]
    """

    reading: ovulation.ProgesteroneReading
    value: float
    is_unit_supposed: bool
    ng_per_ml_if_nmol: float


def read_progesterone(
    text: str, *, unit: ProgesteroneUnit | None, assay: ovulation.AssayClass
) -> TypedReading:
    """Read one typed progesterone: 2026-03-10=2.4 ng/mL, or 2026-03-10 08:30=>20 nmol/L@Lindal.

    Parameters
    ----------
    text
        As typed.
    unit
        Unit where the text names none; None where nobody named one.
    assay
        Kind of assay.

    Raises
    ------
    ToolkitError
        The text is no reading.
    """
    found = _READING.fullmatch(text.strip())
    remedy = (
        "Write DAY=VALUE and its unit, such as '2026-03-10=2.4 ng/mL' or "
        "'2026-03-10 08:30=>20 nmol/L@Lindal'."
    )
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
    typed = float(found["value"].replace(",", "."))
    value = float(dates.progesterone_ng_per_ml(typed, named or "ng/mL"))
    if value <= 0.0:
        raise ToolkitError(f"Progesterone is above zero; got {text!r}. Write <0.2, say.")
    low = 0.0 if found["bound"] == "<" else value
    high = math.inf if found["bound"] == ">" else value
    reading = ovulation.ProgesteroneReading(earliest, latest, low, high, found["laboratory"], assay)
    other = float(dates.progesterone_ng_per_ml(typed, "nmol/L"))
    return TypedReading(reading, typed, named is None, other)


def ovulation_answer(
    typed: Sequence[TypedReading],
    *,
    first_day: date | None,
    lh_surge_on: date | None,
    semen_type: SemenType,
    now: datetime,
) -> Answer:
    """When she ovulated or will, on which days to inseminate, and when to test next."""
    if not typed and first_day is None and lh_surge_on is None:
        raise ToolkitError(
            "An ovulation needs a first day of bleeding, a progesterone reading or an LH surge; "
            "got none of them. Give --first-day, or a reading such as '2026-03-10=2.4 ng/mL'."
        )
    numbers = heat_numbers(
        [entry.reading for entry in typed],
        first_day=first_day,
        lh_surge_on=lh_surge_on,
        semen_type=semen_type,
        now=now,
    )
    return Answer(
        (*_unit_sentences(typed), *_heat_sentences(numbers, first_day, lh_surge_on, semen_type)),
        _heat_tables(numbers),
        (
            *_rise_remarks(numbers.posterior),
            *(_window_remarks(semen_type) if numbers.has_days else ()),
            "A sample kept warm is not seen by this model; the vet's own findings stand above it.",
        ),
        _heat_values(numbers, is_unit_supposed=any(entry.is_unit_supposed for entry in typed)),
    )


def _heat_sentences(
    numbers: HeatNumbers,
    first_day: date | None,
    lh_surge_on: date | None,
    semen_type: SemenType,
) -> list[str]:
    """What is said of her, her ovulation first."""
    heat, draw = numbers.heat, numbers.draw
    sentences = _state_sentences(numbers, has_surge=lh_surge_on is not None)
    if heat.may_be_now:
        sentences.append(_may_be_now_sentence(draw))
    elif draw is not None and heat.state != "dated":
        sentences.append(_next_sentence(draw, numbers.posterior))
    if numbers.has_days:
        sentences.append(_days_sentence(numbers.chances, semen_type))
        if draw is not None:
            sentences.append(
                f"A further reading on {spoken_day(draw.at.date())} would sharpen it to about "
                f"±{spoken(draw.sd_days, digits=2)} days."
            )
    elif heat.state == "no rise" and numbers.readings:
        sentences += _no_ovulation_sentences(numbers.posterior, heat, first_day)
    if numbers.is_over and heat.state != "dated":
        sentences.append("This heat is over: no blood is drawn for it any more.")
    return sentences + _assay_sentences(numbers)


def _heat_tables(numbers: HeatNumbers) -> tuple[TextTable, ...]:
    """Chances of the coming days, and what further readings would do."""
    tables = [_insemination_table(numbers.days, numbers.chances)] if numbers.has_days else []
    if numbers.draw is not None and numbers.heat.options:
        tables.append(_reading_table(numbers.heat.options))
    return tuple(table for table in tables if table.rows)


def _heat_values(numbers: HeatNumbers, *, is_unit_supposed: bool) -> dict[str, object]:
    """The same for machines."""
    heat, posterior, draw = numbers.heat, numbers.posterior, numbers.draw
    values: dict[str, object] = {
        "state": heat.state,
        "rise": posterior.rise,
        "ovulation_on": numbers.mean_on if heat.state == "dated" else None,
        "ovulation_sd_days": posterior.sd_days,
        "ovulated_prob": numbers.happened_prob,
        "no_ovulation_prob": posterior.none_prob,
        "may_be_now": heat.may_be_now,
        "asks_vet": heat.asks_vet,
        "is_over": numbers.is_over,
        "next_reading_on": draw.at.date() if draw else None,
        "unit_supposed": is_unit_supposed,
    }
    if numbers.has_days:
        values |= {
            "ovulation_low_on": numbers.low_on,
            "ovulation_high_on": numbers.high_on,
            "insemination_days": [
                {
                    "source": chance.window.source,
                    "first_day": chance.window.first_day,
                    "last_day": chance.window.last_day,
                    "best_on": chance.best_on,
                    "best_prob": max(chance.probs),
                }
                for chance in numbers.chances
            ],
        }
    return values


def _unit_sentences(typed: Sequence[TypedReading]) -> list[str]:
    """What was read without a unit, and what it would be in the other one."""
    supposed = [entry for entry in typed if entry.is_unit_supposed]
    if not supposed:
        return []
    shown = ", ".join(spoken(entry.value) for entry in supposed)
    other = ", ".join(spoken(entry.ng_per_ml_if_nmol, digits=2) for entry in supposed)
    return [
        f"Read as ng/mL, as no unit was typed: {shown}. If the laboratory printed nmol/L, they are "
        f"{other} ng/mL and every day below is wrong: type the unit."
    ]


RISE_RULE = (
    f"a reading of {ovulation.RISE_NG_PER_ML:g} ng/mL or more that is at least twice the basal "
    "level of the same laboratory, or one of "
    f"{ovulation.RISE_ALONE_NG_PER_ML:g} ng/mL or more without a basal one"
)
"""What shows the rise."""


def _state_sentences(numbers: HeatNumbers, *, has_surge: bool) -> list[str]:
    """What can be said of her ovulation."""
    posterior, state = numbers.posterior, numbers.heat.state
    ends = f"between {spoken_day(numbers.low_on)} and {spoken_day(numbers.high_on)} (90 %)"
    if state == "no rise" and posterior.n_readings == 0:
        by = "the LH surge" if has_surge else "the first day of bleeding"
        return [
            f"Not yet: no progesterone was read, so no date and no days to inseminate are given. A "
            f"guess from {by} alone: ovulation {ends}."
        ]
    if state == "no rise":
        return [
            "Not yet: no reading shows the rise, so no date and no days to inseminate are given."
        ]
    if state == "lost":
        return [
            "No date: the readings rose and are basal again, which an ovulation excludes. Samples "
            "mixed up, a split heat or no ovulation: a veterinarian looks today."
        ]
    happened = percent(numbers.happened_prob)
    if state == "rising":
        return [
            f"Rising, and not yet: the chance that she has ovulated by now is {happened}, and no "
            "date is given."
        ]
    if state == "may be now":
        return [f"No date yet: the chance that she has ovulated by now is {happened}."]
    if state == "unsure":
        return [
            f"Ovulation has probably been, {ends}; the readings do not give a date: ring the "
            "veterinarian today."
        ]
    tense = "was" if numbers.happened_prob >= timing.HAPPENED_PROB else "is expected"
    return [f"Ovulation {tense} on {spoken_day(numbers.mean_on)}, {ends}."]


def _may_be_now_sentence(draw: timing.NextReading | None) -> str:
    low, high = timing.MAY_BE_NOW_NG_PER_ML
    test = f"test again on {spoken_day(draw.at.date())} and " if draw is not None else ""
    return (
        f"She may be ovulating now (the last reading lies between {low:g} and {high:g} ng/mL): "
        f"{test}ring the veterinarian today."
    )


def _next_sentence(draw: timing.NextReading, posterior: ovulation.OvulationPosterior) -> str:
    return (
        f"Test next on {spoken_day(draw.at.date())}: that reading is expected to leave "
        f"±{spoken(draw.sd_days, digits=2)} days, where ±{spoken(posterior.sd_days, digits=2)} "
        "stand now."
    )


def _no_ovulation_sentences(
    posterior: ovulation.OvulationPosterior, heat: timing.HeatAnswer, first_day: date | None
) -> list[str]:
    """How likely she does not ovulate in this heat, and from when on that is a vet's question."""
    sentences = [
        "The chance that she does not ovulate in this heat, or that it is a split heat, is "
        f"{percent(posterior.none_prob)}."
    ]
    if heat.draw is None and first_day is not None:
        sentences.append(
            f"No rise was seen by day {timing.LAST_DRAW_DAY} of this heat: a veterinarian looks "
            "for a split heat or none."
        )
    elif posterior.none_prob >= timing.NONE_LIKELY_PROB:
        sentences.append("A veterinarian is asked now, beside the next test.")
    return sentences


def _assay_sentences(numbers: HeatNumbers) -> list[str]:
    """What the kind of assay would change, where nobody named it."""
    if not numbers.readings or any(reading.assay != "unknown" for reading in numbers.readings):
        return []
    opening = "The kind of assay is not told, and kinds read one blood 0.45- to 1.06-fold"
    means = numbers.mean_on_by_assay
    if not means:
        return [f"{opening}: the rise may show earlier or later (--assay tells it)."]
    if min(means) == max(means):
        return [f"{opening}; each of them would put ovulation on {spoken_day(min(means))}."]
    return [
        f"{opening}: by kind these numbers put ovulation between {spoken_day(min(means))} and "
        f"{spoken_day(max(means))} (--assay tells it)."
    ]


def _rise_remarks(posterior: ovulation.OvulationPosterior) -> list[str]:
    remarks = [
        f"The rise: {RISE_RULE} (Kutzler et al. 2003, Theriogenology 60:1187-1196 (P); alone: J)."
    ]
    if posterior.n_readings:
        remarks.append(
            "Assays: slopes of 0.45 to 1.06 between kinds, Theriogenology 147:116-123, 2020 (P)."
        )
    if posterior.rise != "seen":
        row = PRIORS["o08"]
        remarks.append(
            f"No ovulation, or a split heat: {percent(row.centre)} before any reading (J)."
        )
    return remarks


def _window_remarks(semen_type: SemenType) -> tuple[str, ...]:
    return (
        "Days after ovulation, the day of ovulation being day 0; the sources are shown apart.",
        *(
            f"{window.words}: {window.source}."
            for window in timing.INSEMINATION_WINDOWS
            if semen_type in window.semen_types
        ),
    )


def _insemination_table(days: Sequence[date], chances: Sequence[timing.WindowChance]) -> TextTable:
    """Chance of each coming day to lie in each source's window; no rows once all are past."""
    rows = [
        (spoken_day(on), *(percent(chance.probs[k]) for chance in chances))
        for k, on in enumerate(days)
        if max(chance.probs[k] for chance in chances) >= SHOWN_PROB
    ]
    headings = ("In the window on", *(_days_of(chance.window) for chance in chances))
    return TextTable(headings, tuple(rows))


def _days_of(window: timing.InseminationWindow) -> str:
    if window.first_day == window.last_day:
        return f"day {window.first_day}"
    return f"days {window.first_day} to {window.last_day}"


def _days_sentence(chances: Sequence[timing.WindowChance], semen_type: SemenType) -> str:
    """The coming day that each source gives, each with its own chance."""
    what = "a mating" if semen_type == "natural" else f"{semen_type} semen"
    likely = [chance for chance in chances if max(chance.probs) >= PASSED_PROB]
    if not likely:
        return f"The days that the sources give for {what} are past."
    by_day: dict[date, list[str]] = {}
    for chance in sorted(likely, key=lambda chance: chance.best_on):
        by_day.setdefault(chance.best_on, []).append(
            f"{percent(max(chance.probs))} likely in {_days_of(chance.window)}"
        )
    days = [f"{spoken_day(on)} ({', '.join(each)})" for on, each in by_day.items()]
    if len(chances) == 1:
        return f"For {what} the source gives {days[0]}."
    if len(days) == 1:
        return f"For {what} the sources give {days[0]}."
    return f"For {what} the sources disagree: {', '.join(days[:-1])} or {days[-1]}."


def _reading_table(options: Sequence[timing.NextReading]) -> TextTable:
    return TextTable(
        ("Further reading on", "Then known to, ± days", "Ovulated by then"),
        tuple(
            (
                spoken_day(option.at.date()),
                spoken(option.sd_days, digits=2),
                percent(option.ovulated_prob),
            )
            for option in options
        ),
    )


def whelping_answer(
    *,
    lh_peak_on: date | None,
    ovulation_on: date | None,
    ovulation_sd_days: float,
    mated_on: Sequence[date],
    is_timed: bool,
    n_pups: int | None,
) -> Answer:
    """When she should whelp, from each event that is known.

    Raises
    ------
    ToolkitError
        No event, or several matings that are said to be a single timed one.
    """
    if is_timed and len(mated_on) != 1:
        raise ToolkitError(
            f"--timed is of one mating on the day that progesterone gave; got {len(mated_on)}. "
            "Give one --mated, or leave --timed out."
        )
    expected: list[Whelping] = []
    if ovulation_on is not None:
        expected.append(
            expected_whelping(
                "ovulation", ovulation_on, zero_sd_days=ovulation_sd_days, n_pups=n_pups
            )
        )
    if lh_peak_on is not None:
        expected.append(expected_whelping("LH surge", lh_peak_on, n_pups=n_pups))
    if mated_on:
        zero: dates.WhelpingZero = "timed mating" if is_timed else "mating"
        expected.append(
            expected_whelping(zero, min(mated_on), last_on=max(mated_on), n_pups=n_pups)
        )
    if not expected:
        raise ToolkitError(
            "A whelping is counted from an LH surge, an ovulation or a mating; got none of them. "
            "Give --lh, --ovulation or --mated with a day."
        )
    narrowest = min(
        expected, key=lambda whelping: whelping.window.last_day - whelping.window.first_day
    )
    return Answer(
        (*_whelping_sentences(narrowest), *_whelping_care(narrowest)),
        (_window_table([whelping.window for whelping in expected]),),
        (
            *dict.fromkeys(
                f"{whelping.window.zero}: {whelping.window.source}." for whelping in expected
            ),
            *WHELPING_REMARKS,
        ),
        {"windows": [_whelping_values(whelping) for whelping in expected]},
    )


WHELPING_REMARKS = (
    "The last day without labor, the radiograph and the temperature: teaching rules from memory "
    "(M).",
    "Ring the veterinarian at once for strong straining of half an hour without a pup, more than "
    "two hours between pups, green discharge before the first pup, or an unwell bitch (M).",
)
"""Where the days beside the window come from, and what waits for no day."""


def _whelping_sentences(whelping: Whelping) -> tuple[str, ...]:
    """The window, and what it must not be used for."""
    window = whelping.window
    ends = f"between {spoken_day(window.first_on)} and {spoken_day(window.last_on)}"
    if window.middle_on is None:
        return (
            f"Counted from the mating on {spoken_day(window.zero_on)} (day 0), which no "
            f"progesterone timed: whelping {ends}, without a middle.",
            "A planned cesarean is never booked on these days: pups taken too early die. If "
            "progesterone gave the day of a single mating, add --timed.",
        )
    expected = (
        f"Counted from the {window.zero} on {spoken_day(window.zero_on)} (day 0): whelping about "
        f"{spoken_day(window.middle_on)}, {ends} (90 %)."
    )
    if window.zero != "timed mating":
        return (expected,)
    return (
        expected,
        "It holds for a single mating on the day that progesterone gave, and no other.",
    )


def _whelping_care(whelping: Whelping) -> tuple[str, ...]:
    """What is done before it, and the day after which she is not waited for."""
    day = (whelping.no_labor_by - whelping.window.zero_on).days
    return (
        f"No labor by {spoken_day(whelping.no_labor_by)}, day {day}: a veterinarian the same day.",
        f"A radiograph counts the pups from about {spoken_day(whelping.pups_counted_from)}; her "
        f"temperature is taken twice a day from {spoken_day(whelping.temperature_from)}: a fall of "
        "about 1 °C comes within a day before labor, as a rule.",
    )


def look_back_answer(collected_on: date | None, ended_on: date | None) -> Answer:
    """When harm began that shows in a sample, and when to examine again."""
    windows: list[DayWindow] = []
    sentences: list[str] = []
    if collected_on is not None:
        testis, epididymis = dates.look_back(collected_on)
        windows += [testis, epididymis]
        sentences.append(
            f"What shows in the sample of {spoken_day(collected_on)} (day 0) began between "
            f"{spoken_day(testis.first_on)} and {spoken_day(testis.last_on)} if sperm "
            f"production was harmed, or since {spoken_day(epididymis.first_on)} if it was the "
            "epididymis."
        )
    if ended_on is not None:
        again = dates.retest(ended_on)
        windows.append(again)
        sentences.append(
            f"After an end on {spoken_day(ended_on)} (day 0) the certain day to examine him "
            f"again is {spoken_day(again.last_on)}, day {again.last_day}: every sperm was made "
            f"since. The earliest is {spoken_day(again.first_on)}, day {again.first_day}, when "
            "some are older."
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


def _whelping_values(whelping: Whelping) -> dict[str, object]:
    return _window_values(whelping.window) | {
        "no_labor_by": whelping.no_labor_by,
        "pups_counted_from": whelping.pups_counted_from,
        "temperature_from": whelping.temperature_from,
    }


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
