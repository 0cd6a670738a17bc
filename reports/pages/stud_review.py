"""The stud review: what one stud's samples and breedings say, and how surely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from studcurve.analytics.cautions import Caution, stopped_answers
from studcurve.analytics.estimate import Estimate
from studcurve.analytics.measures.stages import StagesCompared
from studcurve.analytics.models.conception.bred import (
    Alike,
    BredDot,
    Coefficient,
    SemenTypeChance,
)
from studcurve.analytics.models.conception.response import Response
from studcurve.analytics.models.litter.sizes import LitterSizes
from studcurve.analytics.models.storage.usable import StudStorage
from studcurve.analytics.models.stud.summary import StudSummary
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.wording.checks import Checks
from studcurve.analytics.wording.sources import Source
from studcurve.reports.charts.chances import chance_by_semen_type, coefficients
from studcurve.reports.page import Reader, Report, Section, Table, columns
from studcurve.reports.sections.from_records import share_note, weight_cells
from studcurve.reports.sections.litter_sizes import litter_sizes_section
from studcurve.reports.sections.sources import in_words, on_one_line
from studcurve.reports.sections.stored import stages_section, storage_section
from studcurve.reports.sections.stud_over_time import (
    NAMES,
    control_section,
    level_section,
    measure_section,
)
from studcurve.reports.sections.trust import check_lines, checks_annex
from studcurve.reports.sections.what_if import build_whatif
from studcurve.reports.words import Words

ALWAYS_SHOWN = frozenset({"total_sperm_m", "progressive_motility_pct"})
"""Measures whose samples are drawn without a fit, too."""

LEVELS = frozenset({"c01", "c02"})
"""Rows of the chain that are levels: zero means nothing to them, so the picture leaves them out."""


@dataclass(frozen=True, slots=True)
class StudResults:
    """Everything the page shows, finished.

    Attributes
    ----------
    stud, facts
        Call name; breed, birth and the like in one line.
    cautions
        What must be said first.
    answer
        What is said, sentence by sentence.
    readings
        Raw samples of this stud with measures and intervals (``with_measures``).
    summaries
        What each measure with a kept fit says of him over time, total sperm first.
    stages, storage
        What happened to his samples between stages, and how long they last; None without any.
    events
        The view's rows of this stud.
    chances
        By semen type; empty without a fit.
    coefficients
        Rows of the chain; empty without a fit.
    litters
        His litters by size; None without one.
    responses, dots
        Chances over hours, doses and days, and the breedings beside them; empty without a fit.
    method
        Keys of the paragraphs on how the numbers came about.
    sources, provenance
        As on every page.
    checks
        How far the models can be trusted about him.
    """

    stud: str
    facts: tuple[str | Sentence, ...]
    cautions: tuple[Caution, ...]
    answer: tuple[Sentence, ...]
    readings: pd.DataFrame
    summaries: tuple[StudSummary, ...]
    stages: StagesCompared | None
    storage: StudStorage | None
    events: pd.DataFrame
    chances: tuple[SemenTypeChance, ...]
    coefficients: tuple[Coefficient, ...]
    litters: LitterSizes | None
    responses: tuple[Response, ...]
    dots: tuple[BredDot, ...]
    method: tuple[str, ...]
    sources: tuple[Source | Sentence, ...]
    provenance: tuple[Sentence, ...]
    checks: Checks

    def level_of(self, measure: str) -> StudSummary | None:
        """What one measure says, where it has a kept fit and no caution stops it."""
        if "forecast" in stopped_answers(self.cautions):
            return None
        return next(
            (summary for summary in self.summaries if summary.answers.measure.name == measure), None
        )


def build_stud_review(results: StudResults, reader: Reader) -> Report:
    """Lay out the review of one stud.

    A caution that stops the conception answer keeps its pictures, tables and sentences out of the
    page altogether; counts and readings, being records, stay. A client sees no evaluator, no event
    and no table of the model.
    """
    words = reader.words
    others = reader.audience != "client"
    stopped = stopped_answers(results.cautions)
    sections = []
    for name in NAMES:
        summary = results.level_of(name)
        if summary is not None or name in ALWAYS_SHOWN:
            sections.append(
                measure_section(name, results.readings, results.events, summary, reader)
            )
        if summary is not None:
            is_headline = summary is results.summaries[0]
            sections.append(level_section(summary, reader, is_headline=is_headline))
            control = control_section(summary, reader) if others else None
            sections += [control] if control is not None else []
    glossary = ["progressive_motility", "interval", "by_eye"]
    if results.level_of(next(iter(NAMES))) is not None:
        glossary += ["level", "announced"]
    if "chances" not in stopped and results.chances:
        sections.append(chances_section(results.chances, words, stud=results.stud))
        if results.responses:
            dots = results.dots if others else ()
            sections.append(build_whatif(results.responses, dots, words))
        glossary += ["chance", "records_weight"]
        if others:
            sections.append(_coefficients(results.coefficients, words))
            glossary.append("log_odds")
    if "chances" not in stopped_answers(results.cautions) and results.litters is not None:
        sections.append(litter_sizes_section(results.litters, words))
    if others and results.stages is not None:
        sections.append(stages_section(results.stages, words))
    if others and results.storage is not None and not stopped & {"shipment", "doses"}:
        sections.append(storage_section(results.storage, words))
    if others and not results.events.empty:
        sections.append(_events(results.events, words))
    return Report(
        kind=words["review.kind"],
        title=results.stud,
        subtitle=on_one_line(results.facts, words),
        cautions=results.cautions,
        answer=tuple(words.tell(sentence) for sentence in results.answer),
        sections=tuple(sections),
        links=(),
        method=(
            *(words[f"method.{name}"] for name in results.method),
            *(check_lines(results.checks, words) if others else ()),
        ),
        sources=in_words(results.sources, words),
        provenance=on_one_line(results.provenance, words),
        glossary=tuple(glossary),
        reader=reader,
        annex=checks_annex(results.checks, words) if others else (),
    )


def chances_section(
    chances: Sequence[SemenTypeChance], words: Words, *, stud: str | None = None
) -> Section:
    """Chance of a litter by semen type, three ways: of one stud, or of all studs of the kennel."""
    whose = words["review.chances_of_all"] if stud is None else stud
    heading = words.say("review.chances", whose=whose)
    marks: list[dict[str, str | float]] = []
    for chance in chances:
        share = share_note(chance.of.records_weight, words)
        known = words.say("review.known_note", n=chance.of.n_known)
        for source, estimate, note in (
            ("published", chance.of.published, ""),
            ("own", chance.of.own, known),
            ("together", chance.of.together, share),
        ):
            if estimate is not None:
                marks.append(
                    {
                        "what": words.word("semen", chance.semen_type),
                        "source": words[f"legend.{source}"],
                        "median": 100 * estimate.median,
                        "lower": 100 * estimate.lower,
                        "upper": 100 * estimate.upper,
                        "note": note,
                    }
                )
    rows = tuple(
        (
            words.word("semen", chance.semen_type),
            words.number(chance.of.n_known),
            words.number(chance.of.n_whelped),
            words.percent(chance.of.own),
            words.percent(chance.of.published),
            words.percent(chance.of.together),
            *weight_cells(chance.of.records_weight, words),
        )
        for chance in chances
    )
    names = ["semen", "known", "whelped", "own", "published", "together", "share", "shift"]
    spoken = words.say(
        "spoken.chances",
        types=tuple(words.word("semen", chance.semen_type) for chance in chances),
    )
    return Section(
        "chances",
        heading,
        words["review.chances_lead"],
        charts=((spoken, chance_by_semen_type(pd.DataFrame(marks), words)),),
        table=Table(heading, columns(words, names, texts_in={"semen"}), rows),
    )


def _coefficients(rows_of_chain: Sequence[Coefficient], words: Words) -> Section:
    """Every row of the chain, as a picture by short names and as a table by whole ones."""
    marks = [
        {
            "what": words[f"coefficient.{row.row}"],
            "source": words[f"legend.{source}"],
            "median": estimate.median,
            "lower": estimate.lower,
            "upper": estimate.upper,
            "note": share_note(row.records_weight, words),
        }
        for row in rows_of_chain
        if row.row not in LEVELS
        for source, estimate in (
            ("published", row.published),
            ("own", row.own),
            ("together", row.together),
        )
        if isinstance(estimate, Estimate)
    ]
    rows = tuple(
        (
            words[f"prior.{row.row}"],
            words.signed(row.published),
            _own(row.own, words),
            words.signed(row.together),
            "–" if row.row in LEVELS else words.probability(row.fewer_prob),
            *weight_cells(row.records_weight, words),
            row.mark,
        )
        for row in rows_of_chain
    )
    names = [
        "what", "published_logit", "own_logit", "together_logit", "fewer", "share", "shift", "mark",
    ]  # fmt: skip
    heading = words["review.coefficients"]
    spoken = words.say("spoken.coefficients", n=len({mark["what"] for mark in marks}))
    return Section(
        "coefficients",
        heading,
        words["review.coefficients_lead"],
        charts=((spoken, coefficients(pd.DataFrame(marks), words)),),
        table=Table(heading, columns(words, names, texts_in={"what", "mark"}), rows),
    )


def _own(own: Estimate | Alike | None, words: Words) -> str:
    """What the records alone say of a row; where all its breedings ended alike, that."""
    if isinstance(own, Alike):
        return words.say(f"review.all_{'whelped' if own.gave_litters else 'empty'}", n=own.n)
    return "–" if own is None else words.signed(own)


def _events(events: pd.DataFrame, words: Words) -> Section:
    """What happened to the dog, as recorded."""
    rows = tuple(
        (
            words.day(event["started_on"]),
            words.day(event["until_on"]),
            words.word("event", event["kind"]),
            or_dash(event["drug_class"]),
            or_dash(event["text"]),
        )
        for event in events.sort_values("started_on").to_dict("records")
    )
    names = ["from", "until", "event", "drug", "notes"]
    table = Table(words["review.events"], columns(words, names, texts_in=set(names)), rows)
    return Section("events", words["review.events"], words["review.events_lead"], table=table)


def or_dash(recorded: object) -> str:
    """A recorded text; a dash where there is none."""
    return "–" if pd.isna(recorded) or recorded == "" else str(recorded)  # type: ignore[call-overload]
