"""What the rules read of a dog, and what a rule answers with."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

import pandas as pd

from studcurve.analytics.measures.semen import total_sperm_m
from studcurve.analytics.sentences import Sentence

Severity = Literal["stop", "warn", "say"]
"""``stop`` suppresses numbers, ``warn`` heads the answer, ``say`` is part of an honest answer."""

Answer = Literal["doses", "shipment", "plan", "forecast", "chances", "conception"]
"""The kinds of number a stop can suppress: ``chances`` are those on the dog's own pages, and
``conception`` is every sum that counts the dog's breedings."""

NEXT_ANSWERS: frozenset[Answer] = frozenset({"doses", "shipment", "plan", "forecast", "chances"})
"""What a stop suppresses that may be lifted soon: everything of the next collection or breeding."""

EVERY_ANSWER: frozenset[Answer] = NEXT_ANSWERS | {"conception"}
"""What *Brucella* and a sample without sperm suppress: no sum tells of the dog by itself either."""

BRUCELLA_RETEST_DAYS = 365
"""A negative *Brucella* test is repeated after so long, unless the kennel says otherwise. [d]

At least yearly for studs: Hollett 2006, Theriogenology 66:575-587 (P)."""

HealthKind = Literal["examination", "laboratory test", "event", "release by veterinarian"]
"""Kinds of a Health line."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One sentence that heads an answer.

    Attributes
    ----------
    rule
        Name of the rule that spoke.
    severity
        See :data:`Severity`.
    sentence
        The sentence shown, by its key and values.
    source
        Author, year, journal and mark, or that it is a rule of this toolkit.
    stops
        The answers suppressed; empty unless the severity is ``stop``.
    """

    rule: str
    severity: Severity
    sentence: Sentence
    source: str
    stops: frozenset[Answer] = frozenset()


@dataclass(frozen=True, slots=True)
class HealthLine:
    """One line of the Health sheet, as written.

    Attributes
    ----------
    dog
        Call name.
    kind
        See :data:`HealthKind`.
    on, until
        Day of the line, and the last day of what it tells; None where none was noted.
    what, result, value, drug_class, veterinarian, notes
        As written; empty where blank. ``result`` of a release names the tests it rests on.
    is_confirmed
        Whether a person was asked about the line and said that it is right.
    is_superseded
        Whether a later version took its place that nobody has confirmed to be right.
    is_doubtful
        Whether the line waits to be confirmed: it alarms at once and lifts nothing.
    """

    dog: str
    kind: HealthKind
    on: date
    what: str
    result: str = ""
    value: str = ""
    until: date | None = None
    drug_class: str = ""
    veterinarian: str = ""
    notes: str = ""
    is_confirmed: bool = False
    is_superseded: bool = False
    is_doubtful: bool = False

    def is_open(self, today: date) -> bool:
        """Whether it has begun by a day and not ended before it; without an end it has not."""
        return self.on <= today and (self.until is None or self.until >= today)


@dataclass(frozen=True, slots=True)
class Sample:
    """One attempt at a collection, and what its raw sample held.

    Attributes
    ----------
    on
        Day of the collection.
    failed_reason, look
        As recorded; empty where blank.
    n_cells, concentration_m_per_ml, volume_ml
        NaN where not counted or not measured. [1; 10⁶ mL⁻¹; mL]
    forward_pct, normal_pct
        Progressive motility and normal shape; NaN where not read. [%]
    is_doubtful
        Whether its line waits to be confirmed: it alarms at once and lifts nothing.
    """

    on: date
    failed_reason: str = ""
    look: str = ""
    n_cells: float = math.nan
    concentration_m_per_ml: float = math.nan
    volume_ml: float = math.nan
    forward_pct: float = math.nan
    normal_pct: float = math.nan
    is_doubtful: bool = False

    @property
    def is_counted(self) -> bool:
        """Whether cells or a concentration were noted; none seen is a count."""
        return not (math.isnan(self.n_cells) and math.isnan(self.concentration_m_per_ml))

    @property
    def shows_no_sperm(self) -> bool:
        """Whether a count of none was noted; not counted is not none."""
        return self.n_cells == 0.0 or self.concentration_m_per_ml == 0.0

    @property
    def total_m(self) -> float:
        """Total sperm; NaN where not counted. [10⁶]"""
        return float(total_sperm_m(self.volume_ml, self.concentration_m_per_ml))


@dataclass(frozen=True, slots=True)
class Contact:
    """A mating or insemination of a dog with a partner.

    Attributes
    ----------
    partner
        Call name.
    first_on, last_on
        First and last day on which semen or dogs met.
    is_natural
        Whether the dogs themselves met.
    """

    partner: str
    first_on: date
    last_on: date
    is_natural: bool


@dataclass(frozen=True, slots=True)
class Exposure:
    """A dog that met one with a *Brucella* test that is not negative, or met one that had.

    Attributes
    ----------
    dog
        Who was exposed.
    by
        Whose test is not negative.
    first_on, last_on
        First and last contact.
    through
        The partner between the two; None where they met themselves.
    """

    dog: str
    by: str
    first_on: date
    last_on: date
    through: str | None = None


@dataclass(frozen=True, slots=True)
class DogRecords:
    """The records of one dog that the rules read.

    Attributes
    ----------
    dog
        Call name.
    evaluations, breedings
        Rows of that dog alone; columns as in the views of the same names. May be empty.
    samples
        Attempts at a collection, in the order of their days.
    health
        Lines of that dog, in the order of their days.
    row
        The dog's own row of the view ``dogs``; None for a dog without one.
    contacts
        Matings and inseminations, in the order of their days.
    partners
        Health lines of every partner, by call name.
    exposures
        Contacts with an animal whose *Brucella* test is not negative.
    brucella_interval_days
        How often this kennel repeats the test. [d]
    """

    dog: str
    evaluations: pd.DataFrame
    breedings: pd.DataFrame
    samples: tuple[Sample, ...] = ()
    health: tuple[HealthLine, ...] = ()
    row: Mapping[Any, Any] | None = None
    contacts: tuple[Contact, ...] = ()
    partners: Mapping[str, tuple[HealthLine, ...]] = field(default_factory=dict)
    exposures: tuple[Exposure, ...] = ()
    brucella_interval_days: int = BRUCELLA_RETEST_DAYS

    @property
    def is_female(self) -> bool:
        """Whether the dog is a bitch, as far as the records say."""
        return self.row is not None and self.row["sex"] == "female"

    @property
    def weight_kg(self) -> float:
        """Adult weight; NaN where none is recorded. [kg]"""
        weight = None if self.row is None else self.row["adult_weight_kg"]
        return float("nan") if pd.isna(weight) else float(weight)


def in_order(cautions: Iterable[Caution]) -> list[Caution]:
    """Cautions by severity, the gravest first; of one severity in the order they came."""
    order: dict[Severity, int] = {"stop": 0, "warn": 1, "say": 2}
    return sorted(cautions, key=lambda caution: order[caution.severity])


def stopped_answers(cautions: Iterable[Caution]) -> frozenset[Answer]:
    """Collect every answer that at least one caution suppresses."""
    return frozenset[Answer]().union(*(caution.stops for caution in cautions))


def health_lines(rows: pd.DataFrame) -> dict[str, tuple[HealthLine, ...]]:
    """Lines by dog, from the view ``health_lines``, each dog's in the order of their days."""
    by_dog: dict[str, list[HealthLine]] = {}
    for row in rows.sort_values(["noted_on", "entry_id"]).to_dict("records"):
        line = HealthLine(
            dog=str(row["dog"]),
            kind=row["kind"],
            on=as_date(row["noted_on"]),
            until=None if pd.isna(row["until_on"]) else as_date(row["until_on"]),
            what=_text(row["what"]),
            result=_text(row["result"]),
            value=_text(row["value_text"]),
            drug_class=_text(row["drug_class"]),
            veterinarian=_text(row["veterinarian"]),
            notes=_text(row["notes"]),
            is_confirmed=bool(row["is_confirmed"]),
            is_superseded=bool(row["is_superseded"]),
            is_doubtful=bool(row["is_doubtful"]),
        )
        by_dog.setdefault(line.dog, []).append(line)
    return {dog: tuple(lines) for dog, lines in by_dog.items()}


def samples_by_stud(evaluations: pd.DataFrame) -> dict[str, tuple[Sample, ...]]:
    """Raw samples and failed attempts by stud, from the view ``evaluations_seen``."""
    raw = evaluations[evaluations["stage"].eq("raw")]
    by_stud: dict[str, list[Sample]] = {}
    for row in raw.sort_values("collected_earliest", kind="stable").to_dict("records"):
        sample = Sample(
            on=as_date(row["collected_earliest"]),
            failed_reason=_text(row["failed_reason"]),
            look=_text(row["appearance"]).lower(),
            n_cells=_number(row["n_cells_counted"]),
            concentration_m_per_ml=_number(row["concentration_m_per_ml"]),
            volume_ml=_number(row["volume_ml"]),
            forward_pct=_number(row["progressive_motility_pct"]),
            normal_pct=_number(row["normal_morphology_pct"]),
            is_doubtful=bool(row["is_doubtful"]),
        )
        by_stud.setdefault(str(row["stud"]), []).append(sample)
    return {stud: tuple(samples) for stud, samples in by_stud.items()}


def contacts_by_dog(
    breedings: pd.DataFrame, inseminations: pd.DataFrame
) -> dict[str, tuple[Contact, ...]]:
    """Matings and inseminations of every dog, the earliest first.

    Parameters
    ----------
    breedings, inseminations
        The views ``breedings_seen`` and ``inseminations_seen``.
    """
    last_on = inseminations.groupby("breeding_id")["inseminated_latest"].max()
    by_dog: dict[str, list[Contact]] = {}
    for row in breedings.to_dict("records"):
        stud, bitch = str(row["stud"]), str(row["bitch"])
        first_on = as_date(row["bred_earliest"])
        last = as_date(last_on.get(row["breeding_id"], row["bred_latest"]))
        is_natural = row["semen_type"] == "natural"
        for dog, partner in ((stud, bitch), (bitch, stud)):
            by_dog.setdefault(dog, []).append(Contact(partner, first_on, last, is_natural))
    return {
        dog: tuple(sorted(contacts, key=lambda contact: (contact.first_on, contact.partner)))
        for dog, contacts in by_dog.items()
    }


def until(rows: pd.DataFrame, column: str, today: date) -> pd.DataFrame:
    """Rows not later than today; the whole of today counts."""
    if rows.empty:
        return rows
    return rows[pd.to_datetime(rows[column]) < pd.Timestamp(today) + pd.Timedelta(days=1)]


def as_date(moment: object) -> date:
    """The day of a moment of a frame."""
    return pd.Timestamp(moment).date()  # type: ignore[arg-type]


def _number(cell: object) -> float:
    return math.nan if pd.isna(cell) else float(cell)  # type: ignore[arg-type, call-overload]


def _text(cell: object) -> str:
    return "" if pd.isna(cell) else str(cell)  # type: ignore[call-overload]
