"""What happened to samples between stages, and how long they last: two sections."""

from __future__ import annotations

import pandas as pd

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.measures.stages import Recovery, StagesCompared
from studcurve.analytics.models.storage.usable import ExtenderCurve, StudStorage
from studcurve.analytics.sentences import Word
from studcurve.analytics.wording.stored import agreement_sentence, storage_sentences
from studcurve.reports.charts.stored import kept_by_stage, storage_of_extender
from studcurve.reports.page import Section, Table, columns
from studcurve.reports.words import Words


def stages_section(stages: StagesCompared, words: Words) -> Section:
    """What is left between two stages, collection by collection and on the whole."""

    def pair(recovery: Recovery) -> str:
        return words.say(
            "stages.pair", first=Word("stage", recovery.first), later=Word("stage", recovery.later)
        )

    means = pd.DataFrame(
        [
            (
                pair(recovery),
                recovery.kept_pct.lower,
                recovery.kept_pct.median,
                recovery.kept_pct.upper,
            )
            for recovery in stages.recoveries
            if recovery.kept_pct is not None
        ],
        columns=["what", "lower", "median", "upper"],
    )
    dots = pd.DataFrame(
        [
            (pair(recovery), kept)
            for recovery in stages.recoveries
            for kept in stages.kept.get((recovery.first, recovery.later), ())
        ],
        columns=["what", "kept"],
    )
    rows = tuple(
        (
            pair(recovery),
            words.number(recovery.n_pairs),
            words.number(recovery.n_zero),
            "–" if recovery.kept_pct is None else _with_ends(recovery.kept_pct, words),
            "–" if recovery.difference is None else words.signed(recovery.difference, 0),
            words.number(recovery.hours),
        )
        for recovery in stages.recoveries
    )
    names = ["stages", "pairs", "nothing_left", "kept_pct", "difference", "hours_between"]
    heading = words["stages.heading"]
    return Section(
        "stages", heading, words["stages.lead"],
        paragraphs=(words.tell(agreement_sentence(stages.agreement)),),
        charts=((words.say("stages.spoken", n=len(rows)), kept_by_stage(dots, means, words)),),
        table=Table(heading, columns(words, names, texts_in={"stages"}), rows),
    )  # fmt: skip


def storage_section(storage: StudStorage, words: Words) -> Section:
    """Storage curves with the planned hour, own readings as dots, and until when a dose is enough.

    One picture an extender; what lies beyond the hours read here is dashed and named so.
    """
    charts = []
    rows: list[tuple[str, ...]] = []
    for curve in storage.curves:
        points = pd.DataFrame(
            [
                (hour, kept.lower, kept.median, kept.upper, part)
                for part in (False, True)
                for hour, kept in zip(curve.hours, curve.kept, strict=True)
                if _is_in_part(curve, hour, beyond=part)
            ],
            columns=["hours", "lower", "median", "upper", "part"],
        )
        points["part"] = [
            words["storage.extrapolated" if beyond else "storage.studied"]
            for beyond in points["part"]
        ]
        readings = pd.DataFrame(
            [(hours, kept, words.word("stage", stage)) for stage, hours, kept in curve.readings],
            columns=["hours", "kept", "stage"],
        )
        name = words.word("extender", curve.extender)
        chart = storage_of_extender(
            points, readings, planned_hours=storage.planned_h, title=name, words=words
        )
        charts.append((words.say("storage.spoken", extender=name, n=len(readings)), chart))
        rows += [
            (
                name,
                words.number(hour),
                words.number(kept.median),
                # At hour 0 all is left by definition: that is no estimate.
                words.interval(kept.lower, kept.upper) if hour > 0 else "–",
                words["storage.extrapolated" if curve.is_beyond(hour) else "storage.studied"],
            )
            for hour, kept in zip(curve.hours, curve.kept, strict=True)
        ]
    heading = words["storage.heading"]
    names = ["extender", "hours", "kept_pct", "interval", "basis"]
    return Section(
        "storage",
        heading,
        words["storage.lead_own" if storage.is_own else "storage.lead_published"],
        paragraphs=tuple(words.tell(sentence) for sentence in storage_sentences(storage)),
        charts=tuple(charts),
        table=Table(heading, columns(words, names, texts_in={"extender", "basis"}), tuple(rows)),
    )


def _is_in_part(curve: ExtenderCurve, hour: float, *, beyond: bool) -> bool:
    """Whether a point is drawn in a part; the last one read here joins both."""
    if not beyond:
        return not curve.is_beyond(hour)
    inside = [h for h in curve.hours if not curve.is_beyond(h)]
    return curve.is_beyond(hour) or (
        bool(inside) and hour == inside[-1] and inside != list(curve.hours)
    )


def _with_ends(estimate: Estimate, words: Words) -> str:
    return f"{words.number(estimate.median)} ({words.interval(estimate.lower, estimate.upper)})"
