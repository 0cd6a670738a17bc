"""What heads the day: animals that a caution stops, who was exposed to them, tests that are due.

The same sentences stand first in what is due and on the overview, as on the dog's own pages.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import pandas as pd

from studcurve.analytics.cautions import Caution, KennelRecords, cautions_of_dog, in_order
from studcurve.analytics.cautions.brucella import SOURCE, status_of
from studcurve.analytics.cautions.records import Exposure
from studcurve.analytics.sentences import Sentence, sentence

IN_USE_DAYS = 365
"""A dog counts as in use for so long after the last collection, shipment, breeding or heat. [d]
(J)
"""

TEST_RULES = frozenset({"brucella not recorded", "brucella no screening", "brucella overdue"})
"""Cautions that ask for a test."""

LISTED_ELSEWHERE = frozenset({"brucella not negative", "bitch old"})
"""Stops that are listed with the dogs they exposed, or only of a bitch that is in heat."""

Whelping = Callable[[Mapping[str, Any]], tuple[date, date]]
"""First and last day of the whelping that a row of the view ``breedings`` leads to."""


def first_cautions(
    views: Mapping[str, pd.DataFrame], records: KennelRecords, today: date, whelping: Whelping
) -> tuple[Caution, ...]:
    """What must be said before anything else of the kennel, the most dangerous first.

    Parameters
    ----------
    views
        At least ``breedings_seen``, ``dog_use``, ``shipments_seen`` and ``frozen_lots``.
    records
        Every dog as the rules of caution read it.
    today
        Nothing later in the records is read.
    whelping
        When a litter of an exposed bitch is expected.
    """
    alarms = list(_alarms(views, records, today, whelping))
    alarmed = {str(caution.sentence.values.get("dog")) for caution in alarms}
    of_use: list[Caution] = []
    for dog in in_use(views, today):
        cautions = cautions_of_dog(records, dog["dog"], today)
        stops = [c for c in cautions if c.severity == "stop" and c.rule not in LISTED_ELSEWHERE]
        if dog["dog"] in alarmed:
            stops = [c for c in stops if c.rule != "brucella contact"]
        of_use += [*stops, *(c for c in cautions if c.rule in TEST_RULES)]
    if alarms:
        alarms.append(Caution("brucella people", "stop", sentence("exposure.people"), SOURCE))
    return (*alarms, *in_order(_together(of_use)))


def in_use(views: Mapping[str, pd.DataFrame], today: date) -> list[dict[str, Any]]:
    """Rows of the view ``dog_use`` of the dogs that were used within the last year."""
    use = views["dog_use"]
    since = pd.Timestamp(today) - pd.Timedelta(days=IN_USE_DAYS)
    chosen = use[(use["last_used_on"] >= since) & (use["last_used_on"] <= pd.Timestamp(today))]
    return [{str(name): value for name, value in row.items()} for row in chosen.to_dict("records")]


def _together(cautions: Sequence[Caution]) -> list[Caution]:
    """The same sentence of several dogs once, with all their names."""
    alike: dict[tuple[object, ...], list[Caution]] = {}
    for caution in cautions:
        others = {name: value for name, value in caution.sentence.values.items() if name != "dog"}
        # What counts matings is each dog's own, and stands by itself.
        own = caution.sentence.values["dog"] if others.get("matings") else ""
        alike.setdefault((caution.sentence.key, repr(others), own), []).append(caution)
    joined = []
    for same in alike.values():
        dogs = tuple(str(caution.sentence.values["dog"]) for caution in same)
        values = dict(same[0].sentence.values) | {"dog": dogs if len(dogs) > 1 else dogs[0]}
        joined.append(replace(same[0], sentence=sentence(same[0].sentence.key, **values)))
    return joined


# Exposure


def _alarms(
    views: Mapping[str, pd.DataFrame], records: KennelRecords, today: date, whelping: Whelping
) -> Iterator[Caution]:
    """Dogs whose *Brucella* test is not negative, and everybody whom that may concern."""
    exposed = records.exposed(today)
    for dog in sorted(records.health):
        status = status_of(records.health[dog], today)
        if status.alarm is None:
            continue
        cautions = cautions_of_dog(records, dog, today)
        yield next(caution for caution in cautions if caution.rule == "brucella not negative")
        direct = [
            exposure
            for exposures in exposed.values()
            for exposure in exposures
            if exposure.by == dog and exposure.through is None
        ]
        for exposure in sorted(direct, key=lambda exposure: exposure.last_on, reverse=True):
            others = tuple(
                sorted({e.dog for e in _all(exposed) if e.by == dog and e.through == exposure.dog})
            )
            yield _of_exposed(exposure, others, _litters(views, exposure, today, whelping))
        yield from _shipments(views["shipments_seen"], dog, status.since, today)
        yield from _straws(views["frozen_lots"], dog, status.since)


def _all(exposed: Mapping[str, Iterable[Exposure]]) -> Iterator[Exposure]:
    return (exposure for exposures in exposed.values() for exposure in exposures)


def _of_exposed(
    exposure: Exposure, others: tuple[str, ...], litters: tuple[Sentence, ...]
) -> Caution:
    message = sentence(
        "exposure.contact",
        dog=exposure.dog,
        by=exposure.by,
        on=exposure.last_on,
        litters=sentence("exposure.litters", litters=litters) if litters else "",
        others=sentence("exposure.others", dogs=others) if others else "",
    )
    return Caution("brucella exposure", "stop", message, SOURCE)


def _litters(
    views: Mapping[str, pd.DataFrame], exposure: Exposure, today: date, whelping: Whelping
) -> tuple[Sentence, ...]:
    """Litters of the two since the first contact that counts, born or expected."""
    bred = views["breedings_seen"]
    pair = {exposure.dog, exposure.by}
    litters = []
    for row in bred.sort_values("bred_earliest").to_dict("records"):
        if {row["stud"], row["bitch"]} != pair or row["bred_latest"].date() < exposure.first_on:
            continue
        if row["bred_earliest"].date() > today:
            continue
        if not pd.isna(row["whelped_on"]):
            litters.append(sentence("exposure.born", on=pd.Timestamp(row["whelped_on"]).date()))
        elif pd.isna(row["whelped"]) and (pd.isna(row["pregnant"]) or bool(row["pregnant"])):
            first, last = whelping({str(name): value for name, value in row.items()})
            if last >= today:
                litters.append(sentence("exposure.expected", first=first, last=last))
    return tuple(litters)


def _shipments(
    shipments: pd.DataFrame, stud: str, since: date | None, today: date
) -> Iterator[Caution]:
    """Shipments that went out since; whoever received one is to be told."""
    own = shipments[
        (shipments["stud"] == stud) & (shipments["sent_earliest"] <= pd.Timestamp(today))
    ]
    sent = []
    for row in own.sort_values("sent_earliest", ascending=False).to_dict("records"):
        on = row["sent_latest"].date()
        if since is not None and on < since:
            continue
        to = next((str(row[n]) for n in ("for_bitch", "clinic") if not pd.isna(row[n])), "")
        key = "exposure.shipment_to" if to else "exposure.shipment"
        sent.append(sentence(key, on=on, to=to))
    if sent:
        message = sentence("exposure.shipments", dog=stud, shipments=tuple(sent), n=len(sent))
        yield Caution("brucella shipments", "stop", message, SOURCE)


def _straws(lots: pd.DataFrame, stud: str, since: date | None) -> Iterator[Caution]:
    """Straws frozen since are not used."""
    own = lots[(lots["stud"] == stud) & (lots["n_straws_left"] > 0)]
    if since is not None:
        own = own[own["frozen_on"] >= pd.Timestamp(since)]
    if not own.empty:
        names = tuple("–" if pd.isna(lot) else str(lot) for lot in own["lot"])
        n = int(own["n_straws_left"].sum())
        message = sentence("exposure.straws", dog=stud, lots=names, n=n)
        yield Caution("brucella straws", "stop", message, SOURCE)
