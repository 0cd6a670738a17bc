"""The client sheet: what was sent, what it held, when to use it, and what we ask back.

It holds one bitch, one stud and one shipment: no price, no evaluator, no other dog.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from studcurve.analytics.cautions import Caution, stopped_answers
from studcurve.analytics.estimate import Estimate
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.wording.sources import Source
from studcurve.reports.charts.stored import storage_curve
from studcurve.reports.page import Reader, Report, Section, Table, columns
from studcurve.reports.sections.sources import in_words, on_one_line
from studcurve.reports.words import Words

ASKED = ("arrived", "motility", "inseminated", "route", "scan", "whelped", "pups", "alive_8_weeks")
"""What is asked back, in the order in which it becomes known; keys below ``ask``."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What is left at one hour after the collection. [h; 10⁶ progressively motile]"""

    hours: float
    motile_dose_m: Estimate


@dataclass(frozen=True, slots=True)
class ShipmentSheetResults:
    """Everything the sheet shows, finished.

    Attributes
    ----------
    bitch, stud, stud_facts
        Call names; the stud in one line.
    cautions
        Those of the stud that concern her.
    answer
        What is said, sentence by sentence.
    collected, sent, promised_on
        When the sample was collected and the shipment left, as far as it was noted; when it should
        arrive.
    has_collected_time
        Whether the time of the collection was noted.
    carrier, extender
        As noted; None where not.
    n_doses, dose_volume_ml, motile_dose_m, motility_pct
        Of the shipment and its sample. [count, mL, 10⁶ progressively motile, %]
    kept
        What a dose is expected to hold, hour by hour; empty where no dose was noted.
    own_until_h
        Longest storage that the kennel itself has read in this extender, 0 for none; None where the
        curve is the published one. [h]
    days
        When to use it, sentence by sentence.
    sources, provenance
        As on every page.
    """

    bitch: str
    stud: str
    stud_facts: tuple[str | Sentence, ...]
    cautions: tuple[Caution, ...]
    answer: tuple[Sentence, ...]
    collected: datetime
    has_collected_time: bool
    sent: datetime
    promised_on: date | None
    carrier: str | None
    extender: str | None
    n_doses: float
    dose_volume_ml: float
    motile_dose_m: float
    motility_pct: float
    kept: tuple[Kept, ...]
    own_until_h: float | None
    days: tuple[Sentence, ...]
    sources: tuple[Source | Sentence, ...]
    provenance: tuple[Sentence, ...]


def build_shipment_sheet(results: ShipmentSheetResults, reader: Reader) -> Report:
    """Lay out the sheet; a stop on shipments or doses leaves the caution and what we ask back."""
    words = reader.words
    stopped = {"shipment", "doses"} & stopped_answers(results.cautions)
    sections = []
    if not stopped:
        sections.append(_sent(results, words))
        if results.kept:
            sections.append(_held(results, words))
        sections.append(
            Section(
                "use", words["shipment_sheet.use"],
                paragraphs=tuple(words.tell(sentence) for sentence in results.days),
            )
        )  # fmt: skip
    sections.append(_asked(words))
    return Report(
        kind=words["shipment_sheet.kind"],
        title=results.bitch,
        subtitle=words.say(
            "shipment_sheet.by", stud=results.stud, facts=on_one_line(results.stud_facts, words)
        ),
        cautions=results.cautions,
        answer=() if stopped else tuple(words.tell(sentence) for sentence in results.answer),
        sections=tuple(sections),
        links=(),
        method=() if stopped or not results.kept else (words[_method(results)],),
        sources=() if stopped else in_words(results.sources, words),
        provenance=on_one_line(results.provenance, words),
        glossary=("progressive_motility", "interval"),
        reader=reader,
    )


def _sent(results: ShipmentSheetResults, words: Words) -> Section:
    """What was sent, as it was noted."""
    collected = words.moment(results.collected) if results.has_collected_time else words.day(
        results.collected
    )  # fmt: skip
    rows = (
        ("stud", results.stud),
        ("collected", collected),
        ("sent", words.moment(results.sent)),
        ("carrier", results.carrier or "–"),
        ("promised", words.day(results.promised_on)),
        ("extender", words.word("extender", results.extender)),
        ("doses", words.number(results.n_doses)),
        ("volume", _with_unit(results.dose_volume_ml, "mL", 1, words)),
        ("motility", _with_unit(results.motility_pct, "%", 0, words)),
        ("motile_dose", _with_unit(results.motile_dose_m, words["format.millions"], 0, words)),
    )
    table = Table(
        words["shipment_sheet.sent"],
        columns(words, ["what", "noted"], texts_in={"what", "noted"}),
        tuple((words[f"sent.{name}"], value) for name, value in rows),
    )
    return Section("sent", words["shipment_sheet.sent"], table=table)


def _method(results: ShipmentSheetResults) -> str:
    return "method.kept" if results.own_until_h is None else "method.kept_own"


def _held(results: ShipmentSheetResults, words: Words) -> Section:
    """What a dose is expected to hold, hour by hour."""
    rows = tuple(
        (
            words.number(kept.hours),
            words.number(kept.motile_dose_m.median),
            # The interval is that of what is kept, and at hour 0 all is.
            words.interval(kept.motile_dose_m.lower, kept.motile_dose_m.upper)
            if kept.hours > 0
            else "–",
        )
        for kept in results.kept
    )
    names = ["hours", "motile_dose", "interval"]
    heading = words["shipment_sheet.held"]
    chart = storage_curve(
        [
            (kept.hours, kept.motile_dose_m.lower, kept.motile_dose_m.median,
             kept.motile_dose_m.upper)
            for kept in results.kept
        ],
        axis_title=words["axis.motile_dose"],
        words=words,
    )  # fmt: skip
    spoken = words.say("shipment_sheet.held_spoken", n=len(rows))
    return Section(
        "held",
        heading,
        _held_lead(results, words),
        charts=((spoken, chart),),
        table=Table(heading, columns(words, names, texts_in=set()), rows),
    )


def _held_lead(results: ShipmentSheetResults, words: Words) -> str:
    """Whose storage the numbers are, and from where on they lie beyond what was read."""
    if results.own_until_h is None:
        return words["shipment_sheet.held_lead"]
    if results.own_until_h == 0.0:
        return words["shipment_sheet.held_lead_other"]
    return words.say("shipment_sheet.held_lead_own", until=results.own_until_h)


def _asked(words: Words) -> Section:
    """A strip to fill in and send back."""
    rows = tuple((words[f"ask.{name}"], "") for name in ASKED)
    names = ["ask", "answer"]
    table = Table(
        words["shipment_sheet.asked"],
        columns(words, names, texts_in=set(names)),
        rows,
        is_form=True,
    )
    return Section(
        "asked", words["shipment_sheet.asked"], words["shipment_sheet.asked_lead"], table=table
    )


def _with_unit(value: float, unit: str, decimals: int, words: Words) -> str:
    shown = words.number(value, decimals)
    return shown if shown == "–" else f"{shown} {unit}"
