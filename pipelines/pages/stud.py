"""What pages read of one stud, gathered once: his records, what they stop, his level over time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from studcurve.analytics.cautions import (
    Answer,
    Caution,
    DogRecords,
    stopped_answers,
)
from studcurve.analytics.errors import RecordsError
from studcurve.analytics.measures.counting import HOME_COUNT_CV
from studcurve.analytics.measures.semen import with_measures
from studcurve.analytics.models.stud.summary import StudSummary
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.pipelines.pages.kennel import Kennel
from studcurve.pipelines.records.dog_history import cautions_of, dog_records


@dataclass(frozen=True, slots=True)
class StudOfKennel:
    """One stud as pages read him.

    Attributes
    ----------
    name
        Call name.
    row
        Of the view ``dogs``.
    records
        As the rules of caution read them.
    cautions, stopped
        What must be said of him first, and the answers that it stops.
    readings
        Raw samples with measures and intervals.
    levels
        Measures with a level over time, total sperm first; empty where a caution stops forecasts.
        With fewer than five collections of a measure it has none: its samples stand alone.
    evaluations, shipments, events, examinations, lab_tests
        His rows of these views (the shipments of ``shipments``).
    """

    name: str
    row: pd.Series
    records: DogRecords
    cautions: tuple[Caution, ...]
    stopped: frozenset[Answer]
    readings: pd.DataFrame
    levels: tuple[StudSummary, ...]
    evaluations: pd.DataFrame
    shipments: pd.DataFrame
    events: pd.DataFrame
    examinations: pd.DataFrame
    lab_tests: pd.DataFrame


def read_stud(kennel: Kennel, name: str) -> StudOfKennel:
    """Gather what pages read of one stud.

    Parameters
    ----------
    kennel
        What pages read.
    name
        Call name, as in the records.
    """
    views = kennel.views
    records = dog_records(views, name, kennel.today)
    cautions = cautions_of(views, name, kennel.today)
    stopped = stopped_answers(cautions)
    raw = records.evaluations
    raw = raw[(raw["stage"] == "raw") & raw["failed_reason"].isna()]
    levels = () if "forecast" in stopped else kennel.levels.of(name, views["events"], kennel.today)
    return StudOfKennel(
        name=name,
        row=views["dogs"][views["dogs"]["call_name"] == name].iloc[0],
        records=records,
        cautions=cautions,
        stopped=stopped,
        readings=with_measures(raw, extra_cv=HOME_COUNT_CV),
        levels=tuple(level for level in levels if level.band is not None),
        evaluations=_his(views["evaluations"], "stud", name),
        shipments=_his(views["shipments"], "stud", name),
        events=_his(views["events"], "dog", name),
        examinations=_his(views["examinations"], "dog", name),
        lab_tests=_his(views["lab_tests"], "dog", name),
    )


def chosen_studs(kennel: Kennel, names: Sequence[str]) -> list[str]:
    """Call names of the studs to review; all that were collected or bred when none is named.

    Raises
    ------
    RecordsError
        A stud is not in the records.
    """
    dogs = kennel.views["dogs"]
    males = dogs[dogs["sex"] == "male"]["call_name"].tolist()
    if not names:
        used = set(kennel.views["evaluations"]["stud"]) | set(kennel.views["breedings"]["stud"])
        return sorted(name for name in males if name in used)
    by_lower = {name.lower(): name for name in males}
    unknown = [name for name in names if name.lower() not in by_lower]
    if unknown:
        known = ", ".join(sorted(males)) or "none"
        raise RecordsError(
            f"{unknown[0]!r} is no stud of these records; the studs are {known}. "
            "Add him to the Dogs sheet, or correct the name."
        )
    return [by_lower[name.lower()] for name in names]


def read_studs(kennel: Kennel) -> tuple[StudOfKennel, ...]:
    """Every stud that was collected or bred, in the order of their names."""
    return tuple(read_stud(kennel, name) for name in chosen_studs(kennel, ()))


def facts(dog: pd.Series) -> tuple[str | Sentence, ...]:
    """A dog in one line: its registered name, its breed and its birthday, as far as recorded."""
    shown: list[str | Sentence] = [
        str(dog[name]) for name in ("registered_name", "breed") if not pd.isna(dog[name])
    ]
    if not pd.isna(dog["born_on"]):
        shown.append(sentence("review.born", on=dog["born_on"].date()))
    return tuple(shown)


def _his(frame: pd.DataFrame, column: str, name: str) -> pd.DataFrame:
    return frame[frame[column] == name]
