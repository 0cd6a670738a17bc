"""What happened to samples between stages, and how long they last: two sections."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.measures.stages import EvaluatorsAgreement, Recovery, Stage
from studcurve.analytics.models.storage.curve import ExtenderOrder
from studcurve.analytics.sentences import Sentence, Value, Word, sentence
from studcurve.reports.charts.stored import kept_by_stage, storage_of_extender
from studcurve.reports.page import Section, Table, columns
from studcurve.reports.words import Words


@dataclass(frozen=True, slots=True)
class StagesTold:
    """What was left between stages.

    Attributes
    ----------
    recoveries
        Pairs of stages with at least three collections, in the order of the way.
    kept
        Share left of each collection, by pair. [%]
    agreement
        Whether the clinic's reading on arrival and the kennel's of the retained tube agree.
    """

    recoveries: tuple[Recovery, ...]
    kept: Mapping[tuple[Stage, Stage], tuple[float, ...]]
    agreement: EvaluatorsAgreement


@dataclass(frozen=True, slots=True)
class Dose:
    """Until when a usual dose meets its target.

    Attributes
    ----------
    until_h, lower_h, upper_h
        Hour by which it does with the asked certainty, and the ends of that hour's interval; None
        where not even hour 0 is that sure. [h]
    certainty
        Asked certainty, 0 to 1.
    planned_prob
        Chance at the planned hour; None beyond the studied hours.
    """

    until_h: float | None
    lower_h: float | None
    upper_h: float | None
    certainty: float
    planned_prob: float | None


@dataclass(frozen=True, slots=True)
class ExtenderCurve:
    """The storage curve of one stud in one extender.

    Attributes
    ----------
    extender
        As the owner writes it.
    hours, kept
        Hours, and the share of motility kept at each. [h, %]
    readings
        Own stored readings: stage, hours and share kept. [h, %]
    observed_until_h
        Longest storage read here, 0 for none; None where the curve is the published one. [h]
    studied_until_h
        No number is given beyond it. [h]
    dose
        Until when a usual dose meets the target; None where no dose was noted.
    """

    extender: str
    hours: tuple[float, ...]
    kept: tuple[Estimate, ...]
    readings: tuple[tuple[str, float, float], ...]
    observed_until_h: float | None
    studied_until_h: float
    dose: Dose | None


@dataclass(frozen=True, slots=True)
class StorageTold:
    """Everything that is said of how long a stud's samples last.

    Attributes
    ----------
    stud
        Call name.
    curves
        One an extender.
    planned_h, target_m, dose_m, n_shipments
        Hour and target asked for, usual dose and the shipments behind it. [h, 10⁶ progressively
        motile]
    order
        Extenders put in order by the kept fit; None without one, or with one extender.
    is_own
        Whether there is a kept fit.
    """

    stud: str
    curves: tuple[ExtenderCurve, ...]
    planned_h: float
    target_m: float
    dose_m: float | None
    n_shipments: int
    order: ExtenderOrder | None
    is_own: bool


def stages_section(told: StagesTold, words: Words) -> Section:
    """What is left between two stages, collection by collection and on the whole."""

    def pair(one: Recovery) -> str:
        return words.say(
            "stages.pair", first=Word("stage", one.first), later=Word("stage", one.later)
        )

    means = pd.DataFrame(
        [
            (pair(one), one.kept_pct.lower, one.kept_pct.median, one.kept_pct.upper)
            for one in told.recoveries
            if one.kept_pct is not None
        ],
        columns=["what", "lower", "median", "upper"],
    )
    dots = pd.DataFrame(
        [
            (pair(one), kept)
            for one in told.recoveries
            for kept in told.kept.get((one.first, one.later), ())
        ],
        columns=["what", "kept"],
    )
    rows = tuple(
        (
            pair(one),
            words.number(one.n_pairs),
            words.number(one.n_zero),
            "–" if one.kept_pct is None else _with_ends(one.kept_pct, words),
            "–" if one.difference is None else words.signed(one.difference, 0),
            words.number(one.hours),
        )
        for one in told.recoveries
    )
    names = ["stages", "pairs", "nothing_left", "kept_pct", "difference", "hours_between"]
    heading = words["stages.heading"]
    return Section(
        "stages", heading, words["stages.lead"],
        paragraphs=(words.tell(_agreement(told.agreement)),),
        charts=((words.say("stages.spoken", n=len(rows)), kept_by_stage(dots, means, words)),),
        table=Table(heading, columns(words, names, texts_in={"stages"}), rows),
    )  # fmt: skip


def _agreement(found: EvaluatorsAgreement) -> Sentence:
    """How far the clinic's reading lies from the kennel's of the same semen."""
    if found.agreement is None:
        return sentence("stages.no_agreement", n=found.n_shipments)
    return sentence(
        "stages.agreement",
        n=found.agreement.n_samples,
        n_apart=found.n_apart,
        bias=found.agreement.bias,
        low=float(found.agreement.lower_limit.median),
        high=float(found.agreement.upper_limit.median),
    )


def storage_section(told: StorageTold, words: Words) -> Section:
    """Storage curves with the planned hour, own readings as dots, and until when a dose is enough.

    One picture an extender; what lies beyond the hours read here is dashed and named so.
    """
    charts = []
    rows: list[tuple[str, ...]] = []
    for one in told.curves:
        curve = pd.DataFrame(
            [
                (hour, kept.lower, kept.median, kept.upper, part)
                for part in (False, True)
                for hour, kept in zip(one.hours, one.kept, strict=True)
                if _is_in_part(one, hour, beyond=part)
            ],
            columns=["hours", "lower", "median", "upper", "part"],
        )
        curve["part"] = [
            words["told.extrapolated" if beyond else "told.read_here"] for beyond in curve["part"]
        ]
        readings = pd.DataFrame(
            [(hours, kept, words.word("stage", stage)) for stage, hours, kept in one.readings],
            columns=["hours", "kept", "stage"],
        )
        name = words.word("extender", one.extender)
        chart = storage_of_extender(
            curve, readings, planned_hours=told.planned_h, title=name, words=words
        )
        charts.append((words.say("storage.spoken", extender=name, n=len(readings)), chart))
        rows += [
            (
                name,
                words.number(hour),
                words.number(kept.median),
                # At hour 0 all is left by definition: that is no estimate.
                words.interval(kept.lower, kept.upper) if hour > 0 else "–",
                words["told.extrapolated" if _is_beyond(one, hour) else "told.read_here"],
            )
            for hour, kept in zip(one.hours, one.kept, strict=True)
        ]
    heading = words["storage.heading"]
    names = ["extender", "hours", "kept_pct", "interval", "basis"]
    return Section(
        "storage", heading, words["storage.lead_own" if told.is_own else "storage.lead_published"],
        paragraphs=tuple(words.tell(said) for said in _storage_said(told)),
        charts=tuple(charts),
        table=Table(heading, columns(words, names, texts_in={"extender", "basis"}), tuple(rows)),
    )  # fmt: skip


def _storage_said(told: StorageTold) -> list[Sentence]:
    """Until when a usual dose meets its target, the order of extenders, and what it is not."""
    said: list[Sentence] = []
    for one in told.curves:
        if one.dose is None or told.dose_m is None:
            continue
        values: dict[str, Value] = {
            "extender": Word("extender", one.extender),
            "dose": told.dose_m,
            "n": told.n_shipments,
            "target": told.target_m,
            "certainty": one.dose.certainty,
        }
        until, low, high = one.dose.until_h, one.dose.lower_h, one.dose.upper_h
        if until is None:
            said.append(sentence("storage.meets_never", **values))
            continue
        beyond = "storage.beyond" if _is_beyond(one, until) else "storage.within"
        said.append(
            sentence(
                "storage.meets",
                until=until,
                low=low or 0.0,
                high=until if high is None else high,
                basis=sentence(beyond),
                **values,
            )
        )
    if told.order is not None:
        said.append(
            sentence(
                "storage.order",
                extenders=tuple(Word("extender", name) for name in told.order.extenders),
                hours=told.order.hours,
                sure=told.order.order_prob,
            )
        )
    said.append(sentence("storage.not_fertility"))
    return said


def _is_beyond(one: ExtenderCurve, hour: float) -> bool:
    """Whether an hour lies beyond what was read here; never on the published curve."""
    return one.observed_until_h is not None and hour > one.observed_until_h


def _is_in_part(one: ExtenderCurve, hour: float, *, beyond: bool) -> bool:
    """Whether a point is drawn in a part; the last one read here joins both."""
    if not beyond:
        return not _is_beyond(one, hour)
    inside = [h for h in one.hours if not _is_beyond(one, h)]
    return _is_beyond(one, hour) or (
        bool(inside) and hour == inside[-1] and inside != list(one.hours)
    )


def _with_ends(estimate: Estimate, words: Words) -> str:
    return f"{words.number(estimate.median)} ({words.interval(estimate.lower, estimate.upper)})"
