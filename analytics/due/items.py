"""What is due, from the records alone: no sampler, no fit.

Next progesterone draw, days to inseminate, scans, whelpings, shipments and breedings without an
outcome, tests past this kennel's own interval, studs that nobody has looked at, straws that run
out. A caution that stops takes the days to inseminate away here too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Literal

import pandas as pd

from studcurve.analytics.cautions import Caution, KennelRecords, cautions_of_dog
from studcurve.analytics.cautions.brucella import status_of
from studcurve.analytics.cautions.words import names_brucella
from studcurve.analytics.due.alarms import first_cautions, in_use
from studcurve.analytics.measures.dates import Whelping, expected_whelping
from studcurve.analytics.models.ovulation.heat import readings_of_heat
from studcurve.analytics.models.ovulation.insemination_days import (
    HEAT_DAYS,
    INSEMINATION_WINDOWS,
    LAST_DRAW_DAY,
    MORNING,
    HeatAnswer,
    heat_answer,
)
from studcurve.analytics.models.ovulation.model import (
    OvulationPosterior,
    ProgesteroneReading,
    ovulation_posterior,
)
from studcurve.analytics.sentences import Sentence, Word, sentence
from studcurve.analytics.vocabulary import SEMEN_TYPES

Kind = Literal[
    "progesterone", "insemination", "scan", "radiograph", "temperature", "whelping", "shipment",
    "outcome", "test", "evaluation", "straws", "caution",
]  # fmt: skip
"""Which kinds of things fall due."""

AHEAD_DAYS = 14
"""How far ahead is looked, unless said otherwise. [d]"""

SCAN_DAYS = (28, 35)
"""When a scan is asked for, from the last insemination. [d]

From day 28 after ovulation a scan rarely misses (priors row r05, J)."""

OVERDUE_SHOWN_DAYS = 10
"""A bitch past her last day without labor is told for so long; then only her outcome is asked
for. [d] (J)"""

LAST_SCAN_DAY = 50
"""After this day a whelping is waited for instead. [d] (J)"""

EVALUATION_DAYS = 180
"""A stud in use is looked at this often, unless the kennel says otherwise. [d]

Common practice, no source."""

FORGOTTEN_DAYS = 365
"""What is without an outcome for longer is counted and no longer listed. [d] (J)"""

DOSES_LEFT = 2
"""Straws for fewer doses than this run out: a breeding takes one or two. (J)"""

DELIVERY_DAYS = 1
"""A shipment without a promised day is expected after so many days. [d] (J)"""

EVALUATION, BRUCELLA = "evaluation", "Brucella"
"""Words of the Intervals sheet that have an interval without the kennel's own."""


@dataclass(frozen=True, slots=True)
class DueItem:
    """One thing that is due.

    Attributes
    ----------
    kind
        See :data:`Kind`.
    dog
        Whom it is about; empty for several.
    on
        The day it falls due, or the first of its days.
    until
        Last of its days; the same day where it is one.
    is_late
        Whether its days have passed.
    what
        What to do, by its key and values.
    """

    kind: Kind
    dog: str
    on: date
    until: date
    is_late: bool
    what: Sentence


def due_items(
    views: Mapping[str, pd.DataFrame],
    records: KennelRecords,
    *,
    today: date,
    ahead_days: int = AHEAD_DAYS,
) -> tuple[DueItem, ...]:
    """What is due on a day or soon after it, what is late first.

    Parameters
    ----------
    views
        Frames by view.
    records
        Every dog as the rules of caution read it.
    today
        The day the question is asked; nothing later in the records is read.
    ahead_days
        How far ahead is looked. [d]
    """
    items = [
        *_first(views, records, today),
        *_heats(views, records, today),
        *_breedings(views, today),
        *_shipments(views, today),
        *_tests(views, records, today),
        *_evaluations(views, today),
        *_straws(views, today),
    ]
    last = today + timedelta(days=ahead_days)
    near = [item for item in items if item.on <= last]
    # Sorting is stable: what stops keeps its order, and stands first.
    return tuple(
        sorted(
            near,
            key=lambda item: (
                (0,)
                if item.kind == "caution"
                else (1, not item.is_late, item.on, item.kind, item.dog)
            ),
        )
    )


def first_of(
    views: Mapping[str, pd.DataFrame], records: KennelRecords, today: date
) -> tuple[Caution, ...]:
    """What must be said before anything else of the kennel.

    See :mod:`studcurve.analytics.due.alarms`; arguments as for what is due.
    """

    def whelping(row: Mapping[str, Any]) -> tuple[date, date]:
        last_on = max(row["bred_latest"], row["bred_earliest"]).date()
        window = _whelping(views, row, row["bred_earliest"].date(), last_on).window
        return window.first_on, window.last_on

    return first_cautions(views, records, today, whelping)


def _first(
    views: Mapping[str, pd.DataFrame], records: KennelRecords, today: date
) -> Iterator[DueItem]:
    """Stops and exposures, and the *Brucella* tests that are due, in the words of every page."""
    for caution in first_of(views, records, today):
        of = caution.sentence.values.get("dog", "")
        dog = of if isinstance(of, str) else ""
        kind: Kind = "caution" if caution.severity == "stop" else "test"
        yield DueItem(kind, dog, today, today, kind == "test", caution.sentence)


def _item(
    kind: Kind, dog: str, on: date, what: Sentence, today: date, until: date | None = None
) -> DueItem:
    last = until or on
    return DueItem(kind, dog, on, last, last < today, what)


def _heats(
    views: Mapping[str, pd.DataFrame], records: KennelRecords, today: date
) -> Iterator[DueItem]:
    """Blood to draw or days to inseminate, for each heat that is open."""
    for heat in views["open_heats"].to_dict("records"):
        bitch, first_day = str(heat["bitch"]), heat["first_day"].date()
        day = (today - first_day).days
        if not 0 <= day <= HEAT_DAYS:
            continue
        readings = readings_of_heat(views["progesterone"], heat["cycle_id"], today)
        dated = heat["vet_ovulation_on"]
        if day > LAST_DRAW_DAY and not readings and pd.isna(dated):
            # Nobody times this heat.
            continue
        stopping = [c for c in cautions_of_dog(records, bitch, today) if "plan" in c.stops]
        if stopping:
            yield _item("caution", bitch, today, stopping[0].sentence, today)
        elif not pd.isna(dated):
            yield from _inseminations(bitch, dated.date(), None, today)
        else:
            surge = None if pd.isna(heat["lh_surge_on"]) else heat["lh_surge_on"].date()
            yield from _of_heat(bitch, readings, first_day, surge, today)


def _of_heat(
    bitch: str,
    readings: Sequence[ProgesteroneReading],
    first_day: date,
    surge: date | None,
    today: date,
) -> Iterator[DueItem]:
    """What the readings of a heat ask for: a draw, a veterinarian, or her days."""
    posterior = ovulation_posterior(readings, first_day=first_day, lh_surge_on=surge)
    last = max(readings, key=lambda reading: reading.sampled_latest, default=None)
    answer = heat_answer(
        readings,
        posterior,
        datetime.combine(today, MORNING) - timedelta(hours=1),
        laboratory=last.laboratory if last else None,
        first_day=first_day,
        lh_surge_on=surge,
    )
    if answer.state == "dated":
        yield from _inseminations(bitch, posterior.mean_at.date(), posterior, today)
    if answer.asks_vet:
        what = _vet_sentence(bitch, answer, posterior, len(readings))
        yield _item("progesterone", bitch, today, what, today)
    elif answer.draw is not None and answer.state != "dated":
        on = answer.draw.at.date()
        what = sentence("due.progesterone", bitch=bitch, on=on, n=len(readings),
                        first_day=first_day)  # fmt: skip
        yield _item("progesterone", bitch, on, what, today)


def _vet_sentence(
    bitch: str, answer: HeatAnswer, posterior: OvulationPosterior, n_readings: int
) -> Sentence:
    """Why a veterinarian is asked today, and whether blood is drawn as well."""
    if answer.may_be_now:
        on = answer.draw.at.date() if answer.draw else None
        if on is None or answer.state == "dated":
            return sentence("due.may_be_now", bitch=bitch)
        return sentence("due.may_be_now_test", bitch=bitch, on=on)
    if answer.state == "unsure":
        return sentence("due.undated", bitch=bitch, n=n_readings)
    if answer.state == "lost":
        return sentence("due.rise_lost", bitch=bitch)
    if answer.draw is None:
        return sentence("due.no_rise", bitch=bitch, day=LAST_DRAW_DAY)
    return sentence(
        "due.none_likely", bitch=bitch, prob=posterior.none_prob, on=answer.draw.at.date()
    )


def _inseminations(
    bitch: str, ovulation_on: date, posterior: OvulationPosterior | None, today: date
) -> Iterator[DueItem]:
    """The days of each kind of semen, as far as its sources reach; the sources disagree."""
    sd = sentence("due.sure", sd=posterior.sd_days) if posterior else sentence("due.by_vet")
    days: dict[tuple[date, date], tuple[Word, ...]] = {}
    for semen in SEMEN_TYPES:
        windows = [window for window in INSEMINATION_WINDOWS if semen in window.semen_types]
        first = ovulation_on + timedelta(days=min(window.first_day for window in windows))
        last = ovulation_on + timedelta(days=max(window.last_day for window in windows))
        days[first, last] = (*days.get((first, last), ()), Word("semen", semen))
    for (first, last), kinds in days.items():
        if last < today:
            continue
        what = sentence("due.insemination", bitch=bitch, semen=kinds, first=first, last=last,
                        ovulation_on=ovulation_on, sure=sd)  # fmt: skip
        yield _item("insemination", bitch, first, what, today, last)


def _breedings(views: Mapping[str, pd.DataFrame], today: date) -> Iterator[DueItem]:
    """Scans, whelpings, and breedings whose outcome nobody entered."""
    bred = views["breedings"]
    last_at = views["inseminations"].groupby("breeding_id")["inseminated_latest"].max()
    n_forgotten = 0
    for row in _rows(bred[~bred["outcome_known"].astype(bool)]):
        bitch, stud = str(row["bitch"]), str(row["stud"])
        first_on, last_on = row["bred_earliest"].date(), last_at[row["breeding_id"]].date()
        if first_on > today:
            continue
        is_scanned = not pd.isna(row["pregnant"])
        is_waiting = not is_scanned or bool(row["pregnant"])
        expected = _whelping(views, row, first_on, last_on)
        to_on = expected.window.last_on
        if not is_scanned and (today - last_on).days <= LAST_SCAN_DAY:
            scan_from, scan_to = (last_on + timedelta(days=days) for days in SCAN_DAYS)
            what = sentence("due.scan", bitch=bitch, stud=stud, first=scan_from, last=scan_to,
                            bred_on=last_on)  # fmt: skip
            yield _item("scan", bitch, scan_from, what, today, scan_to)
        if is_waiting:
            yield from _whelping_items(bitch, stud, expected, today)
        if is_waiting and today <= to_on:
            continue
        if (today - to_on).days > FORGOTTEN_DAYS:
            n_forgotten += 1
        else:
            what = sentence("due.outcome", bitch=bitch, stud=stud, bred_on=first_on)
            yield _item("outcome", bitch, to_on if is_waiting else last_on, what, today)
    if n_forgotten:
        what = sentence("due.outcomes_forgotten", n=n_forgotten)
        yield _item("outcome", "", today - timedelta(days=FORGOTTEN_DAYS), what, today)


def _whelping_items(bitch: str, stud: str, expected: Whelping, today: date) -> Iterator[DueItem]:
    """Radiograph, temperature and whelping of a bitch that may be pregnant, and when it is late."""
    window, late_on = expected.window, expected.no_labor_by
    if late_on < today <= late_on + timedelta(days=OVERDUE_SHOWN_DAYS):
        what = sentence("due.overdue", bitch=bitch, stud=stud, on=late_on,
                        zero=Word("zero", window.zero))  # fmt: skip
        yield DueItem("whelping", bitch, late_on, late_on, True, what)
        return
    if today > window.last_on:
        return
    pups_from, warm_from = expected.pups_counted_from, expected.temperature_from
    what = sentence("due.pup_count", bitch=bitch, on=pups_from)
    yield _item("radiograph", bitch, pups_from, what, today, window.last_on)
    what = sentence("due.temperature", bitch=bitch, on=warm_from)
    yield _item("temperature", bitch, warm_from, what, today, window.last_on)
    key = "due.whelping" if window.middle_on else "due.whelping_untimed"
    what = sentence(key, bitch=bitch, stud=stud, first=window.first_on, last=window.last_on,
                    zero=Word("zero", window.zero), late=late_on)  # fmt: skip
    yield _item("whelping", bitch, window.first_on, what, today, window.last_on)


def _whelping(
    views: Mapping[str, pd.DataFrame], row: Mapping[str, Any], first: date, last: date
) -> Whelping:
    """When she should whelp, from the best that is known of her heat."""
    heat = views["cycles"][views["cycles"]["cycle_id"] == row["cycle_id"]]
    if heat.empty:
        return expected_whelping("mating", first, last_on=last)
    cycle = heat.iloc[0]
    surge = None if pd.isna(cycle["lh_surge_on"]) else cycle["lh_surge_on"].date()
    if not pd.isna(cycle["vet_ovulation_on"]):
        return expected_whelping("ovulation", cycle["vet_ovulation_on"].date())
    readings = readings_of_heat(views["progesterone"], row["cycle_id"], last)
    posterior = ovulation_posterior(
        readings, first_day=cycle["first_day"].date(), lh_surge_on=surge
    )
    if posterior.is_dated:
        return expected_whelping(
            "ovulation", posterior.mean_at.date(), zero_sd_days=posterior.sd_days
        )
    if surge is not None:
        return expected_whelping("LH surge", surge)
    return expected_whelping("mating", first, last_on=last)


def _shipments(views: Mapping[str, pd.DataFrame], today: date) -> Iterator[DueItem]:
    """Shipments whose arrival nobody entered."""
    shipments = views["shipments"]
    n_forgotten = 0
    for row in shipments[~shipments["outcome_known"].astype(bool)].to_dict("records"):
        sent_on = row["sent_latest"].date()
        if sent_on > today:
            continue
        promised = row["promised_on"]
        expected = sent_on + timedelta(days=DELIVERY_DAYS) if pd.isna(promised) else promised.date()
        if (today - expected).days > FORGOTTEN_DAYS:
            n_forgotten += 1
            continue
        to = next(
            (str(row[name]) for name in ("for_bitch", "clinic") if not pd.isna(row[name])), None
        )
        what = (
            sentence("due.shipment", stud=row["stud"], sent_on=sent_on)
            if to is None
            else sentence("due.shipment_to", stud=row["stud"], sent_on=sent_on, to=to)
        )
        yield _item("shipment", str(row["stud"]), expected, what, today)
    if n_forgotten:
        what = sentence("due.shipments_forgotten", n=n_forgotten)
        yield _item("shipment", "", today - timedelta(days=FORGOTTEN_DAYS), what, today)


def _tests(
    views: Mapping[str, pd.DataFrame], records: KennelRecords, today: date
) -> Iterator[DueItem]:
    """Tests past the kennel's own interval, of dogs in use; of *Brucella* those still ahead.

    What is due of *Brucella* stands among the cautions.
    """
    taken = views["last_tests"]
    intervals = {
        str(row["what"]): int(row["repeat_days"]) for row in views["intervals"].to_dict("records")
    }
    for dog in in_use(views, today):
        screened_on = status_of(records.health.get(dog["dog"], ()), today).screened_on
        if screened_on is not None:
            days = records.brucella_interval_days
            yield from _repeated(dog["dog"], BRUCELLA, days, screened_on, today, late=False)
        his = taken[(taken["dog"] == dog["dog"]) & (taken["sampled_on"] <= pd.Timestamp(today))]
        for what, days in sorted(intervals.items()):
            if EVALUATION in what.casefold() or names_brucella(what):
                continue
            is_it = his["what"].str.contains(what.casefold(), regex=False)
            dates = his[is_it]["sampled_on"]
            if dates.empty:
                message = sentence("due.test_never", dog=dog["dog"], test=what, n=days)
                yield DueItem("test", dog["dog"], today, today, True, message)
            else:
                yield from _repeated(dog["dog"], what, days, dates.max().date(), today)


def _repeated(
    dog: str, what: str, days: int, last_on: date, today: date, *, late: bool = True
) -> Iterator[DueItem]:
    """A test that is taken again after so long; without what is late already, if told so."""
    on = last_on + timedelta(days=days)
    if late or on >= today:
        message = sentence("due.test", dog=dog, test=what, last_on=last_on, on=on, n=days)
        yield _item("test", dog, on, message, today)


def _evaluations(views: Mapping[str, pd.DataFrame], today: date) -> Iterator[DueItem]:
    """Studs in use whose semen nobody has read for longer than the interval."""
    own = [
        int(row["repeat_days"])
        for row in views["intervals"].to_dict("records")
        if EVALUATION in str(row["what"]).casefold()
    ]
    days = min(own, default=EVALUATION_DAYS)
    for dog in in_use(views, today):
        if dog["sex"] != "male":
            continue
        last = dog["last_evaluated_on"]
        if pd.isna(last):
            message = sentence("due.evaluation_never", stud=dog["dog"])
            yield DueItem("evaluation", dog["dog"], today, today, True, message)
            continue
        on = last.date() + timedelta(days=days)
        message = sentence("due.evaluation", stud=dog["dog"], last_on=last.date(), n=days)
        yield _item("evaluation", dog["dog"], on, message, today)


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


def _straws(views: Mapping[str, pd.DataFrame], today: date) -> Iterator[DueItem]:
    """Studs of whom fewer straws are left than a breeding may take."""
    for row in views["straws_left"].to_dict("records"):
        left = int(row["n_straws_left"])
        per_dose = 1 if pd.isna(row["n_straws_per_dose"]) else int(row["n_straws_per_dose"])
        if 0 < left < DOSES_LEFT * per_dose:
            message = sentence("due.straws", stud=str(row["stud"]), n=left, per_dose=per_dose)
            yield DueItem("straws", str(row["stud"]), today, today, False, message)


def together(items: Sequence[DueItem]) -> Iterator[tuple[DueItem, Sentence]]:
    """Items and what is said of them; dogs that wait for the same test share the first one's."""
    shared: dict[tuple[str, str], list[DueItem]] = {}
    for item in items:
        if item.kind == "test" and "test" in item.what.values:
            shared.setdefault((item.what.key, str(item.what.values["test"])), []).append(item)
        else:
            yield item, item.what
    for (key, test), waiting in shared.items():
        dogs = tuple(
            sentence(f"{key}_dog", **{name: item.what.values[name] for name in ("dog", "last_on")})
            if key == "due.test"
            else item.dog
            for item in waiting
        )
        days = waiting[0].what.values["n"]
        yield waiting[0], sentence(f"{key}_dogs", dogs=dogs, test=test, n=days)
