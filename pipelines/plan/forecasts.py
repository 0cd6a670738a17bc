"""Which chances were stated, kept with the records; and what became of those stated before.

The number that is kept is the one that the answer prints. Whatever keeps a file from being written
to is said in one line and stops no answer. A chance is stated on the day of the clock, or on the
last one of records that end; ``--now`` moves the question and not the day of its answer.
"""

from __future__ import annotations

import getpass
import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pandas as pd

from studcurve.analytics.errors import RecordsError, StoreLockedError
from studcurve.analytics.estimate import Estimate, estimate_from_draws
from studcurve.analytics.models.conception.bred import without_stopped
from studcurve.analytics.plan.breeding_plan import BreedingPlan
from studcurve.analytics.plan.options import Option
from studcurve.analytics.priors import priors_fingerprint
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.analytics.trust.ledger import Ledger, ledger_of
from studcurve.pipelines.fits.guard import engine_versions, model_fingerprint
from studcurve.pipelines.fits.registry import CONCEPTION
from studcurve.pipelines.plan.records import PlanRecords, dog_row
from studcurve.pipelines.plan.schedule import StudSchedule
from studcurve.pipelines.plan.shipment import ShipmentChance
from studcurve.pipelines.records.database.forecasts import Command, Forecast
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.database.whole_file import last_day
from studcurve.pipelines.records.dog_history import (
    CAUTION_VIEWS,
    dogs_named,
    dogs_without_chances,
)

ANYBODY_MAY_WRITE = 0o222
"""Bits of a file's mode of which one is set unless it was marked as read-only."""


@dataclass(frozen=True, slots=True)
class Expected:
    """A chance that a person states.

    Attributes
    ----------
    words
        Of the ways that it is about: semen, route, ``once`` or ``twice``; none for every way.
    prob
        The chance. [0 to 1]
    """

    words: frozenset[str]
    prob: float

    def is_about(self, method: str) -> bool:
        """Whether it is about a way."""
        return self.words <= set(method.split())


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of the chances of one answer.

    Attributes
    ----------
    stated
        Those that were kept; empty where none was.
    note
        That they were kept, or why not.
    """

    stated: tuple[Forecast, ...]
    note: Sentence


def asker(given: str | None) -> str | None:
    """Name of who asks: as given, else as the computer knows it; None where it knows none.

    A byte that is no text, as a name of a user or an argument may hold, becomes a question mark.
    """
    try:
        name = given or getpass.getuser()
    except (OSError, KeyError, ImportError):
        return None
    return name.encode(errors="replace").decode()


def stated_at(store_path: Path) -> datetime:
    """When an answer is given: now, on the last day of records that end."""
    now, ended_on = datetime.now(), last_day(store_path)
    return now if ended_on is None else datetime.combine(ended_on, now.time())


def chances_of_comparison(
    plan: BreedingPlan,
    records: PlanRecords,
    expected: Sequence[Expected],
    *,
    asked_by: str | None,
    at: datetime,
) -> list[Forecast]:
    """The chances that a comparison prints, and those that a person stated beside them.

    Parameters
    ----------
    plan, records
        The comparison and what it was made from; a stopped one states nothing.
    expected
        A person's own; of two about one way the later one stands.
    asked_by
        Who asks.
    at
        When the answer is given.
    """
    common = _common(records, plan.pair.stud, "compare", asked_by, at)
    bitch_id = int(dog_row(records, plan.pair.bitch, "female")["dog_id"])
    stated = []
    for answer in plan.answers:
        option = answer.outcome.option
        way = common | _way(bitch_id, plan.pair.bitch, option, answer.published_prob)
        if answer.has_centre:
            stated.append(
                Forecast(
                    **way,
                    **_chance(answer.expected_litters, answer.chance),
                    records_weight=answer.records_weight.share,
                    n_draws=plan.n_draws,
                )
            )
        own = [one.prob for one in expected if one.is_about(option.method)]
        if own:
            stated.append(Forecast(**{**way, **_BY_A_PERSON}, litter_prob=own[-1]))
    return stated


def unmatched(plan: BreedingPlan, expected: Sequence[Expected]) -> tuple[Sentence, ...]:
    """What a person stated of ways that the comparison does not hold; a sentence each."""
    methods = [answer.outcome.option.method for answer in plan.answers]
    return tuple(
        sentence("forecast.no_such_way", way=" ".join(sorted(one.words)))
        for one in expected
        if not any(one.is_about(method) for method in methods)
    )


def chances_of_schedule(
    schedule: StudSchedule, records: PlanRecords, *, asked_by: str | None, at: datetime
) -> list[Forecast]:
    """The chances that a schedule prints, one for each bitch that gets something.

    Parameters
    ----------
    schedule, records
        The schedule and what it was made from.
    asked_by, at
        As for a comparison.
    """
    common = _common(records, schedule.stud, "schedule", asked_by, at)
    stated = []
    for one in schedule.plan.assignments if schedule.plan else ():
        if one.way is None:
            continue
        beside = schedule.beside[one.bitch]
        bitch_id = int(dog_row(records, one.bitch, "female")["dog_id"])
        way = common | _way(bitch_id, one.bitch, one.way.option, beside.published_prob)
        chance = estimate_from_draws(one.litter_prob)
        stated.append(
            Forecast(
                **way,
                **_chance(float(one.litter_prob.mean()), chance),
                records_weight=beside.records_weight.share,
                n_draws=schedule.n_draws,
            )
        )
    return stated


def chances_of_shipment(
    told: ShipmentChance, *, asked_by: str | None, at: datetime
) -> list[Forecast]:
    """The chance that the answer to a shipment prints; none where there are no data like it.

    Parameters
    ----------
    told
        The chance and what it was read from.
    asked_by, at
        As for a comparison.
    """
    if not told.has_centre:
        return []
    common = _common(told.records, told.stud, "ship", asked_by, at)
    bitch_id = int(dog_row(told.records, told.bitch, "female")["dog_id"])
    return [
        Forecast(
            **common,
            **_way(bitch_id, told.bitch, told.option, told.published_prob),
            **_chance(told.expected, told.chance),
            records_weight=told.records_weight.share,
            n_draws=told.n_draws,
        )
    ]


def chance_of_shipment(
    store_path: Path,
    pair: tuple[str, str],
    *,
    route: str,
    inseminate_at: datetime,
    prob: float,
    asked_by: str | None,
    at: datetime,
) -> Forecast | None:
    """A person's chance of a litter from a chilled dose that is sent.

    Parameters
    ----------
    store_path
        The records file.
    pair
        Names of stud and bitch; she may go by her registered name.
    route, inseminate_at
        Of the planned insemination.
    prob
        The chance. [0 to 1]
    asked_by, at
        As for a comparison.

    Returns
    -------
    Forecast or None
        None where she is not in the records.
    """
    with Store.open(store_path, read_only=True) as store:
        dogs, fingerprint = store.read("dogs"), store.fingerprint()
    rows = [dogs_named(dogs, *each) for each in zip(pair, ("male", "female"), strict=True)]
    if any(len(found) != 1 for found in rows):
        return None
    stud, bitch = (found.iloc[0] for found in rows)
    return Forecast(
        stated_at=at,
        asked_by=asked_by,
        stated_by="person",
        command="ship",
        stud_id=int(stud["dog_id"]),
        stud=str(stud["call_name"]),
        bitch_id=int(bitch["dog_id"]),
        bitch=str(bitch["call_name"]),
        semen_type="chilled",
        route=route,
        n_inseminations=1,
        planned_at=inseminate_at,
        litter_prob=prob,
        records_fingerprint=fingerprint,
    )


def keep(store_path: Path, stated: Sequence[Forecast]) -> Kept:
    """Keep what an answer states, where the records file can be written to.

    Parameters
    ----------
    store_path
        The records file.
    stated
        Chances; those of days that have passed are no forecasts and are left out.
    """
    coming = tuple(one for one in stated if one.planned_at.date() >= one.stated_at.date())
    if not coming:
        return Kept((), sentence("forecast.passed" if stated else "forecast.none"))
    try:
        if not store_path.stat().st_mode & ANYBODY_MAY_WRITE:
            return Kept((), sentence("forecast.read_only"))
        with Store.open(store_path, make=False) as store:
            store.add_forecasts(coming)
    except StoreLockedError:
        return Kept((), sentence("forecast.in_use"))
    except (RecordsError, OSError):
        return Kept((), sentence("forecast.read_only"))
    return Kept(coming, sentence("forecast.kept", n=len(coming)))


def read_ledger(store_path: Path, today: date) -> tuple[Ledger, int]:
    """What became of the chances that a records file keeps; see :func:`kennel_ledger`."""
    with Store.open(store_path, read_only=True) as store:
        views = {name: store.read(name) for name in (*CAUTION_VIEWS, "forecasts")}
    return ledger_of_views(views, today)


def ledger_of_views(views: Mapping[str, pd.DataFrame], today: date) -> tuple[Ledger, int]:
    """The same of views that are read already, those that the rules of caution read among them."""
    stated, bred = views["forecasts"], views["breedings"]
    if stated.empty:
        return ledger_of(stated, bred, today, model=_model_now()), 0
    dogs = {*stated["stud"], *stated["bitch"], *bred["stud"], *bred["bitch"]}
    return kennel_ledger(views, dogs_without_chances(views, dogs, today), today)


def kennel_ledger(
    views: Mapping[str, pd.DataFrame], stopped: Collection[str], today: date
) -> tuple[Ledger, int]:
    """What became of stated chances, without the dogs that a caution stops.

    Parameters
    ----------
    views
        ``forecasts`` and ``breedings``.
    stopped
        Call names of the dogs whose chances a caution holds back.
    today
        Day of the question.

    Returns
    -------
    Ledger, int
        The ledger, and how many forecasts are left out of it.
    """
    stated, bred = views["forecasts"], views["breedings"]
    open_rows = stated[without_stopped(stopped, stated["stud"], stated["bitch"])]
    known = bred[without_stopped(stopped, bred["stud"], bred["bitch"])]
    ledger = ledger_of(open_rows, known, today, model=_model_now())
    return ledger, len(stated) - len(open_rows)


def _model_now() -> str:
    return model_fingerprint(CONCEPTION.name, CONCEPTION.version)


_BY_A_PERSON: Mapping[str, Any] = MappingProxyType({
    "stated_by": "person", "model_fingerprint": None, "priors_fingerprint": None, "versions": None,
})  # fmt: skip
"""What is known of a chance that no model made."""


def _common(
    records: PlanRecords, stud: str, command: Command, asked_by: str | None, at: datetime
) -> dict[str, Any]:
    """What all chances of one answer have in common."""
    kept = records.conception.kept
    model = _model_now()
    versions: Mapping[str, str] = engine_versions() if kept is None else kept.versions
    return {
        "stated_at": at,
        "asked_by": asked_by,
        "stated_by": "model",
        "command": command,
        "stud_id": int(dog_row(records, stud, "male")["dog_id"]),
        "stud": stud,
        "model_fingerprint": f"published:{model}" if kept is None else model,
        "priors_fingerprint": priors_fingerprint(CONCEPTION.prior_ids)
        if kept is None
        else kept.priors_fingerprint,
        "versions": json.dumps(dict(versions), sort_keys=True),
        "records_fingerprint": records.fingerprint,
    }


def _way(bitch_id: int, bitch: str, option: Option, published_prob: float) -> dict[str, Any]:
    """The bitch, the way, and what the published table alone says of it."""
    return {
        "bitch_id": bitch_id,
        "bitch": bitch,
        "semen_type": option.semen_type,
        "route": option.route,
        "n_inseminations": len(option.inseminated_at),
        "planned_at": option.inseminated_at[0],
        "published_litter_prob": published_prob,
    }


def _chance(printed: float, chance: Estimate) -> dict[str, Any]:
    """The printed number, and the draws behind it in three."""
    return {
        "litter_prob": printed,
        "litter_prob_median": chance.median,
        "litter_prob_lower": chance.lower,
        "litter_prob_upper": chance.upper,
    }
