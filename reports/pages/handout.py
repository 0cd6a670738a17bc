"""The handout for the veterinarian: two pages, in the order in which a vet reads.

Records first, one picture, two sentences, and what is missing. No diagnosis, no score, no
treatment and no probability of a disease.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from studcurve.analytics.cautions import Caution, stopped_answers
from studcurve.analytics.models.stud.summary import StudSummary
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.wording.sources import Source
from studcurve.analytics.wording.stud_page import total_level
from studcurve.reports.page import Reader, Report, Section, Table, columns
from studcurve.reports.pages.stud_review import or_dash
from studcurve.reports.sections.sources import in_words, on_one_line
from studcurve.reports.sections.stud_over_time import counted_cells, measure_charts
from studcurve.reports.words import Words

N_SHEETS = 2
"""Sheets of paper that a handout takes, front and back of one."""


@dataclass(frozen=True, slots=True)
class BredRow:
    """One breeding, and what the same bitch did with other studs.

    Attributes
    ----------
    on, bitch, semen_type, route
        As recorded.
    scan, outcome
        ``pregnant``, ``not pregnant`` or ``unknown``; ``whelped``, ``no litter`` or ``unknown``.
    n_born_alive, n_stillborn
        Pups, NaN where not recorded.
    n_other_known, n_other_whelped
        Breedings of the bitch with other studs whose outcome is known, and litters among them.
    """

    on: date
    bitch: str
    semen_type: str
    route: str
    scan: str
    outcome: str
    n_born_alive: float
    n_stillborn: float
    n_other_known: int
    n_other_whelped: int


@dataclass(frozen=True, slots=True)
class Animal:
    """The dog as it was entered, None where it was not noted. [kg]"""

    registered_name: str | None
    breed: str | None
    chip: str | None
    born_on: date | None
    adult_weight_kg: float | None


@dataclass(frozen=True, slots=True)
class HandoutResults:
    """Everything the handout shows, finished.

    Attributes
    ----------
    question
        As the owner put it; empty when none was put.
    stud
        Call name.
    cautions
        What must be said first.
    answer
        What is said, sentence by sentence.
    summaries
        What each measure with a kept fit says of him over time, total sperm first; empty where a
        caution stops forecasts.
    animal
        The dog.
    examinations, lab_tests
        Rows of those views, the newest first.
    collections
        Last samples, the newest first, with measures.
    readings, events
        Samples and events of the years in the picture.
    bred
        Last breedings, the newest first.
    n_bred
        All his breedings.
    kept
        Rows of the view ``shipments`` with a reading after storage, the newest first.
    missing
        What the records do not hold, sentence by sentence.
    method, sources, provenance
        As on every page.
    """

    question: str
    stud: str
    cautions: tuple[Caution, ...]
    answer: tuple[Sentence, ...]
    summaries: tuple[StudSummary, ...]
    animal: Animal
    examinations: pd.DataFrame
    lab_tests: pd.DataFrame
    collections: pd.DataFrame
    readings: pd.DataFrame
    events: pd.DataFrame
    bred: tuple[BredRow, ...]
    n_bred: int
    kept: pd.DataFrame
    missing: tuple[Sentence, ...]
    method: tuple[str, ...]
    sources: tuple[Source | Sentence, ...]
    provenance: tuple[Sentence, ...]


def build_handout(results: HandoutResults, reader: Reader) -> Report:
    """Lay out the handout in the order of a consultation."""
    words = reader.words
    sections = [
        _animal(results, words),
        _examinations(results, words),
        _collections(results, words),
        _picture(results, reader),
        _bred(results, words),
        _events(results, words),
        _kept(results, words),
        Section(
            "sentences", words["page.answer"],
            paragraphs=tuple(words.tell(sentence) for sentence in results.answer),
        ),
        Section(
            "missing", words["handout.missing"],
            paragraphs=(" ".join(words.tell(sentence) for sentence in results.missing),),
        ),
    ]  # fmt: skip
    stopped = "chances" in stopped_answers(results.cautions)
    return Report(
        kind=words["handout.kind"],
        title=results.stud,
        subtitle=results.question or words["handout.no_question"],
        cautions=results.cautions,
        answer=(),
        sections=tuple(section for section in sections if section is not None),
        links=(),
        method=(
            *(words[f"method.{name}"] for name in results.method),
            words["method.limits"],
            *((words["method.stopped"],) if stopped else ()),
        ),
        sources=in_words(results.sources, words),
        provenance=on_one_line(results.provenance, words),
        glossary=(),
        reader=reader,
    )


def _animal(results: HandoutResults, words: Words) -> Section:
    """Facts of the dog; what was not noted is named so."""
    dog = results.animal
    weight = dog.adult_weight_kg
    rows = (
        ("registered_name", dog.registered_name or words["page.not_recorded"]),
        ("breed", dog.breed or words["page.not_recorded"]),
        ("chip", dog.chip or words["page.not_recorded"]),
        ("born_on", words.day(dog.born_on)),
        ("adult_weight_kg", "–" if weight is None else f"{words.number(weight, 1)} kg"),
    )
    facts = " · ".join(f"{words[f'animal.{name}']}: {value}" for name, value in rows)
    return Section("animal", words["handout.animal"], paragraphs=(facts,))


def _examinations(results: HandoutResults, words: Words) -> Section:
    """Examinations and laboratory tests as they were written down, never graded."""
    found = [
        (
            words.day(row["examined_on"]),
            str(row["what"]),
            or_dash(row["finding"]),
            _measured(row),
            "–",
            or_dash(row["text"]),
        )
        for row in results.examinations.to_dict("records")
    ]
    tested = [
        (
            words.day(row["sampled_on"]),
            str(row["what"]),
            words.word("result", row["result"]) if not pd.isna(row["result"]) else "–",
            _measured(row),
            or_dash(row["laboratory_range"]),
            or_dash(row["laboratory"]),
        )
        for row in results.lab_tests.to_dict("records")
    ]
    names = ["on", "what", "result", "value", "range_printed", "by"]
    rows = tuple(found + tested) or ((words["page.not_recorded"], *("–",) * 5),)
    heading = words["handout.examinations"]
    table = Table(heading, columns(words, names, texts_in=set(names)), rows)
    return Section("examinations", heading, words["handout.examinations_lead"], table=table)


def _collections(results: HandoutResults, words: Words) -> Section:
    rows = tuple(
        (
            *counted_cells(row, words),
            words.word("reading", row["motility_method"]),
            words.number(row["normal_morphology_pct"]),
            or_dash(row["appearance"]),
        )
        for row in results.collections.to_dict("records")
    )
    names = [
        "collected", "rest", "volume", "concentration", "total", "interval", "motility", "how",
        "normal", "appearance",
    ]  # fmt: skip
    texts = {"collected", "how", "appearance"}
    heading = words["handout.collections"]
    table = Table(heading, columns(words, names, texts_in=texts), rows)
    return Section("collections", heading, table=table)


def _picture(results: HandoutResults, reader: Reader) -> Section:
    words = reader.words
    summary = (
        None if "forecast" in stopped_answers(results.cautions) else total_level(results.summaries)
    )
    charts = measure_charts("total_sperm_m", results.readings, results.events, summary, reader)
    lead = words["handout.picture_lead" if charts else "review.no_picture"]
    if charts and summary is not None:
        lead = f"{lead} {words['handout.level_lead']}"
    return Section("picture", words["review.total"], lead, charts=charts)


def _bred(results: HandoutResults, words: Words) -> Section:
    rows = tuple(
        (
            words.day(row.on),
            row.bitch,
            words.word("semen", row.semen_type),
            words.word("route", row.route),
            words.word("scan", row.scan),
            words.word("outcome", row.outcome),
            words.number(row.n_born_alive),
            words.number(row.n_stillborn),
            words.say("handout.with_others", n=row.n_other_whelped, n_known=row.n_other_known)
            if row.n_other_known
            else "–",
        )
        for row in results.bred
    )
    names = [
        "bred_on", "bitch", "semen", "route", "scan", "outcome", "born_alive", "stillborn",
        "with_others",
    ]  # fmt: skip
    texts = {"bred_on", "bitch", "semen", "route", "scan", "outcome", "with_others"}
    heading = words["handout.bred"]
    lead = words.say("handout.bred_lead", n=len(rows), n_bred=results.n_bred)
    table = Table(heading, columns(words, names, texts_in=texts), rows)
    return Section("bred", heading, lead, table=table)


def _events(results: HandoutResults, words: Words) -> Section | None:
    events = results.events
    if events.empty:
        return None
    rows = tuple(
        (
            words.day(row["started_on"]),
            words.day(row["until_on"]),
            words.word("event", row["kind"]),
            or_dash(row["drug_class"]),
            or_dash(row["text"]),
        )
        for row in events.sort_values("started_on", ascending=False).to_dict("records")
    )
    names = ["from", "until", "event", "drug", "notes"]
    table = Table(words["review.events"], columns(words, names, texts_in=set(names)), rows)
    return Section("events", words["review.events"], words["review.events_lead"], table=table)


def _kept(results: HandoutResults, words: Words) -> Section | None:
    """Readings after storage, beside the reading at the collection."""
    if results.kept.empty:
        return None
    rows = tuple(
        (
            words.day(row["collected_on"]),
            words.word("extender", row["extender"]),
            words.number(row["motility_pct"]),
            words.number(row["retained_hours"]),
            words.number(row["retained_progressive_motility_pct"]),
            words.number(row["arrival_progressive_motility_pct"]),
        )
        for row in results.kept.to_dict("records")
    )
    names = ["collected", "extender", "motility", "kept_hours", "kept_motility", "arrival_motility"]
    heading = words["handout.kept"]
    table = Table(heading, columns(words, names, texts_in={"collected", "extender"}), rows)
    return Section("kept", heading, words["handout.kept_lead"], table=table)


def _measured(row: Mapping[Any, Any]) -> str:
    """A measure as printed, with the unit as printed."""
    value = or_dash(row["value_text"])
    unit = row["unit"]
    return f"{value} {unit}" if value != "–" and isinstance(unit, str) else value
