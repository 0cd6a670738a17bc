"""The comparison of one breeding: every way side by side, how surely, at what cost, and what if.

A caution that stops takes every number and any order off the page. A way without data like it shows
its interval and no middle. Prices are the owner's alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.cautions import in_order
from studcurve.analytics.estimate import Estimate, Floats
from studcurve.analytics.plan.breeding_plan import BreedingPlan
from studcurve.analytics.plan.compare import OptionAnswer
from studcurve.analytics.plan.what_if import OptionGrid
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.wording import plan as wording
from studcurve.analytics.wording.sources import Source
from studcurve.reports.charts.chances import response
from studcurve.reports.charts.plan import IN_PERCENT, gap_parts, option_bars, pups_shares
from studcurve.reports.page import Panel, Reader, Report, Section, Slider, Table, columns
from studcurve.reports.sections.from_records import weight_cells
from studcurve.reports.sections.plan_rows import measure_rows
from studcurve.reports.sections.sources import in_words, on_one_line
from studcurve.reports.sections.what_if import along_axis
from studcurve.reports.words import Words

BIN_POINTS = 4
"""Width of a bar of the chances. [points]"""

PUP_GROUPS = ((0, 0), (1, 2), (3, 4), (5, 6), (7, None))
"""Pups that one block of shares counts together, first and last. [pups]"""


@dataclass(frozen=True, slots=True)
class ComparisonResults:
    """Everything the page shows, finished.

    Attributes
    ----------
    plan
        The comparison.
    asked_at
        When the question was asked.
    sources, provenance
        As on every page.
    """

    plan: BreedingPlan
    asked_at: datetime
    sources: tuple[Source | Sentence, ...]
    provenance: tuple[Sentence, ...]


def build_comparison(results: ComparisonResults, reader: Reader) -> Report:
    """Lay out the comparison in the order in which it is decided."""
    words, plan = reader.words, results.plan
    opening = wording.opening_sentences(plan)
    if plan.is_stopped:
        return _report(results, reader, tuple(words.tell(sentence) for sentence in opening), (), ())
    heat = words.tell(wording.heat_sentence(plan.pair.bitch, plan.heat))
    limits = tuple(
        words.tell(sentence)
        for sentence in wording.limit_sentences(
            is_guarded=any(answer.outcome.option.is_guarded for answer in plan.answers)
        )
    )
    if not plan.answers:
        answer = (*(words.tell(sentence) for sentence in opening), heat)
        return _report(results, reader, answer, _present(_infeasible(plan, words)), limits)
    spoken_of = tuple(sentence for sentence in plan.sources if sentence.key in _OF_CHANCES)
    rests_on = tuple(sentence for sentence in plan.sources if sentence.key not in _OF_CHANCES)
    prices = reader.audience == "owner"
    sections = _present(
        _ways(plan, words, tuple(words.tell(sentence) for sentence in opening[1:])),
        _what_if(plan, words) if plan.grids else None,
        _pups(plan, words),
        _cost(plan, words, prices=prices),
        _parts(plan, words),
        _lines(plan, words),
        _measure(plan, words, prices=prices) if plan.worths else None,
        _infeasible(plan, words),
        Section(
            "basis",
            words["comparison.basis"],
            paragraphs=(heat, *(words.tell(sentence) for sentence in rests_on)),
        ),
    )
    answer = tuple(words.tell(sentence) for sentence in (opening[0], *spoken_of))
    return _report(results, reader, answer, sections, limits)


_OF_CHANCES = frozenset(
    {"source.chance_published", "source.chance_barely", "source.chance_fitted", "answer.fit_older"}
)
"""Sources that are part of the answer: where its certainty comes from."""


def _present(*sections: Section | None) -> tuple[Section, ...]:
    return tuple(section for section in sections if section is not None)


def _report(
    results: ComparisonResults,
    reader: Reader,
    answer: tuple[str, ...],
    sections: tuple[Section, ...],
    limits: tuple[str, ...],
) -> Report:
    words, plan = reader.words, results.plan
    has_answers = bool(plan.answers) and not plan.is_stopped
    return Report(
        kind=words["comparison.kind"],
        title=words.say("comparison.title", stud=plan.pair.stud, bitch=plan.pair.bitch),
        subtitle=words.say("comparison.asked", on=words.moment(results.asked_at)),
        cautions=tuple(in_order(plan.cautions)),
        answer=answer,
        sections=sections,
        links=(),
        method=(
            *((words.say("method.plan_draws", n_draws=plan.n_draws),) if has_answers else ()),
            *((words["compare.reading_chance"],) if has_answers else ()),
            *limits,
        ),
        sources=in_words(results.sources, words) if has_answers else (),
        provenance=on_one_line(results.provenance, words),
        glossary=("draws", "chance", "interval", "records_weight") if has_answers else (),
        reader=reader,
    )


def _way(answer: OptionAnswer, words: Words) -> str:
    return words.word("way", answer.outcome.option.method)


def _ends(estimate: Estimate, words: Words) -> str:
    return words.interval(100 * estimate.lower, 100 * estimate.upper)


def _ways(plan: BreedingPlan, words: Words, verdicts: tuple[str, ...]) -> Section:
    """Chance of a litter, way by way: the draws, the mean, the interval, the table."""
    bars: list[dict[str, Any]] = []
    rows: list[dict[str, Any]] = []
    for k, answer in enumerate(plan.answers):
        rows.append(
            {
                "row": k,
                "label": _way(answer, words),
                "note": (
                    words.say(
                        "comparison.mean_and_ends",
                        mean=words.probability(answer.expected_litters),
                        ends=_ends(answer.chance, words),
                    )
                    if answer.has_centre
                    else words.say("comparison.ends_alone", ends=_ends(answer.chance, words))
                ),
                "lower": 100 * answer.chance.lower,
                "middle": 100 * answer.expected_litters if answer.has_centre else None,
                "upper": 100 * answer.chance.upper,
            }
        )
        if answer.has_centre:
            bars += _bins(k, answer, words)
    chart = option_bars(
        pd.DataFrame(bars, columns=_BAR_COLUMNS), pd.DataFrame(rows),
        axis_title=words["axis.chance"], axis=IN_PERCENT, domain=(0.0, 100.0), words=words,
    )  # fmt: skip
    names = ["way", "first_day", "chance", "interval_pct", "share", "shift"]
    table = Table(
        words["comparison.ways"],
        columns(words, names, texts_in={"way", "first_day"}),
        tuple(
            (
                _way(answer, words),
                words.weekday_moment(answer.outcome.option.inseminated_at[0])
                if plan.heat.has_days
                else "–",
                words.number(100 * answer.expected_litters)
                if answer.has_centre
                else words["compare.no_data_like_this"],
                _ends(answer.chance, words),
                *weight_cells(answer.records_weight, words),
            )
            for answer in plan.answers
        ),
    )
    spoken = words.say("comparison.ways_spoken", n=len(plan.answers))
    notes = (
        wording.lead_schedule_sentence(plan),
        *wording.outside_sentences(plan),
        *wording.beyond_own_sentences(plan),
    )
    return Section(
        "ways", words["comparison.ways"], words["comparison.ways_lead"],
        paragraphs=(*verdicts, *(words.tell(sentence) for sentence in notes)),
        charts=((spoken, chart),), table=table,
    )  # fmt: skip


_BAR_COLUMNS = ["row", "left", "right", "height", "about"]


def _bins(row: int, answer: OptionAnswer, words: Words) -> list[dict[str, Any]]:
    """The draws of a chance in bars of equal width, the highest as high as its row."""
    counts, edges = np.histogram(
        100 * answer.outcome.litter_prob, bins=np.arange(0, 101, BIN_POINTS)
    )
    return [
        {
            "row": row,
            "left": float(left),
            "right": float(right),
            "height": float(count / counts.max()),
            "about": words.say(
                "comparison.bin", way=_way(answer, words), low=float(left), high=float(right),
                share=words.probability(count / counts.sum()),
            ),
        }
        for count, left, right in zip(counts, edges[:-1], edges[1:], strict=True)
        if count
    ]  # fmt: skip


def _pups(plan: BreedingPlan, words: Words) -> Section:
    """Pups alive at 8 weeks, an empty bitch counting as none."""
    blocks: list[dict[str, Any]] = []
    options: list[dict[str, Any]] = []
    rows = []
    for k, answer in enumerate(plan.answers):
        shares = answer.pups.shares
        three_numbers = " · ".join(words.number(pups) for pups in answer.pups_shown)
        none = words.probability(float(shares[0]))
        note = (
            three_numbers
            if answer.has_centre
            else words.say("comparison.pups_alone", pups=three_numbers)
        )
        options.append({"row": k, "label": _way(answer, words), "note": note})
        if answer.has_centre:
            blocks += _blocks(k, _way(answer, words), shares, words)
        rows.append(
            (
                _way(answer, words),
                none if answer.has_centre else "–",
                *(words.number(pups) for pups in answer.pups_shown),
                words.number(answer.expected_pups, 1) if answer.has_centre else "–",
            )
        )
    chart = pups_shares(
        pd.DataFrame(blocks, columns=["row", "left", "right", "level", "label", "about"]),
        pd.DataFrame(options),
        words,
    )
    names = ["way", "no_pups", "pups_10", "pups_50", "pups_90", "pups_mean"]
    heading = words["comparison.pups"]
    return Section(
        "pups",
        heading,
        words["comparison.pups_lead"],
        charts=((words.say("comparison.pups_spoken", n=len(plan.answers)), chart),),
        table=Table(heading, columns(words, names, texts_in={"way"}), tuple(rows)),
    )


def _blocks(row: int, way: str, shares: Floats, words: Words) -> list[dict[str, Any]]:
    """Shares of no pup, one or two, three or four, five or six, and more, side by side."""
    blocks: list[dict[str, Any]] = []
    left = 0.0
    for level, (first, last) in enumerate(PUP_GROUPS):
        share = float(shares[first : None if last is None else last + 1].sum())
        if not share:
            continue
        named = (
            words["comparison.none"]
            if level == 0
            else words.interval(first, last)
            if last is not None
            else words.say("comparison.or_more", n_pups=first)
        )
        blocks.append(
            {
                "row": row,
                "left": left,
                "right": left + 100 * share,
                "level": level,
                "label": named,
                "about": words.say(
                    "comparison.pups_bin", way=way, pups=named, share=words.probability(share)
                ),
            }
        )
        left += 100 * share
    return blocks


def _cost(plan: BreedingPlan, words: Words, *, prices: bool) -> Section:
    """What each way costs where prices may be seen, and what choosing it may forgo."""
    names = ["way", *(("if_missed", "a_litter", "a_pup") if prices else ())]
    names += ["expected_loss_money" if plan.is_valued else "expected_loss_litters", "highest_in"]
    rows = []
    for answer in plan.answers:
        cells = [_way(answer, words)]
        if prices:
            cells.append(words.number(answer.cost))
            cells += [
                words.money(value) if answer.has_centre else "–"
                for value in (answer.cost_per_litter, answer.cost_per_pup)
            ]
        expected_loss = (
            words.money(answer.expected_loss)
            if plan.is_valued
            else words.number(100 * answer.expected_loss, 1)
        )
        cells += (
            [expected_loss, words.probability(answer.highest_prob)]
            if answer.has_centre
            else ["–", "–"]
        )
        rows.append(tuple(cells))
    heading = words["comparison.cost" if prices else "comparison.expected_loss"]
    unit = plan.currency if plan.is_valued else words["compare.in_litters"]
    caption = words.say("comparison.cost_caption", currency=plan.currency) if prices else heading
    return Section(
        "cost",
        heading,
        words.say("compare.reading_expected_loss", unit=unit),
        paragraphs=(words.tell(wording.bitch_sentence(plan)),),
        table=Table(caption, columns(words, names, texts_in={"way"}), tuple(rows)),
    )


def _parts(plan: BreedingPlan, words: Words) -> Section | None:
    """What the gap between the lead and the next kind of way is made of."""
    gap = plan.gap_shown
    if gap is None or not all(plan.answers[k].has_centre for k in (gap.first, gap.second)):
        return None
    first, second = (_way(plan.answers[k], words) for k in (gap.first, gap.second))
    parts = [
        (
            words.word("driver", driver.name),
            100 * driver.gap,
            words.probability(driver.share_of_doubt),
        )
        for driver in gap.drivers
    ]
    total = sum(points for _, points, _ in parts)
    parts.append((words["compare.all_together"], total, ""))
    frame = pd.DataFrame(
        {
            "row": range(len(parts)),
            "label": [label for label, _, _ in parts],
            "note": [words.number(points, 1, signed=True) for _, points, _ in parts],
            "points": [points for _, points, _ in parts],
            "is_sum": [False] * (len(parts) - 1) + [True],
        }
    )
    names = ["part", "points", "doubt"]
    heading = words["comparison.parts"]
    rows = tuple(
        (label, words.number(points, 1, signed=True), doubt or "–")
        for label, points, doubt in parts
    )
    return Section(
        "parts",
        heading,
        words.say("compare.reading_parts", first=first, second=second),
        charts=(
            (
                words.say("comparison.parts_spoken", first=first, second=second),
                gap_parts(frame, axis_title=words["axis.points"]),
            ),
        ),
        table=Table(heading, columns(words, names, texts_in={"part"}), rows),
    )


def _lines(plan: BreedingPlan, words: Words) -> Section | None:
    """Where the order of two ways flips."""
    rows = tuple(
        (words.tell(wording.line_sentence(plan, line)), _way(plan.answers[line.other], words))
        for line in plan.lines
        if line.at is not None
        and plan.answers[line.moved].has_centre
        and plan.answers[line.other].has_centre
    )
    if not rows:
        return None
    names = ["if", "level_with"]
    heading = words["comparison.lines"]
    table = Table(heading, columns(words, names, texts_in=set(names)), rows)
    return Section("lines", heading, words["comparison.lines_lead"], table=table)


def _measure(plan: BreedingPlan, words: Words, *, prices: bool) -> Section:
    """What would be worth knowing before deciding."""
    names = ["know", "litters_100", "pups_more", *(("gain_money",) if plan.is_valued else ())]
    names += ["price"] if prices else []
    rows = measure_rows(plan, words, prices=prices)
    heading = words["comparison.measure"]
    table = Table(heading, columns(words, names, texts_in={"know"}), rows)
    return Section("measure", heading, words["comparison.measure_lead"], table=table)


def _infeasible(plan: BreedingPlan, words: Words) -> Section | None:
    """What cannot be carried out, and why."""
    if not plan.infeasible:
        return None
    rows = tuple(
        (words.word("way", left_out.method), words.tell(left_out.reason))
        for left_out in plan.infeasible
    )
    names = ["way", "reason"]
    heading = words["comparison.infeasible"]
    table = Table(heading, columns(words, names, texts_in=set(names)), rows)
    return Section("infeasible", heading, table=table)


def _what_if(plan: BreedingPlan, words: Words) -> Section:
    """Sliders over a later shipment, another dose and another day."""
    lead_first = sorted(plan.grids, key=lambda grid: grid.position != plan.lead)
    grids = [_grid(grid, words) for grid in lead_first]
    names = [_way(plan.answers[grid.position], words) for grid in lead_first]
    axes = (
        ("delay", "axis.delay", False),
        ("dose", "axis.dose", True),
        ("shift", "axis.shift", False),
    )
    panel = Panel(
        legend=words["comparison.what_if_legend"],
        choice_label=words["compare.way"],
        choices=tuple(names),
        sliders=tuple(Slider(name, words[f"slider.{name}"]) for name, _, _ in axes),
        reading=words["comparison.what_if_reading"],
        data={
            "grids": grids,
            "reading": words.say("comparison.what_if_value"),
            "charts": [{"name": f"whatif-{k}", "axis": k} for k in range(len(axes))],
        },
    )
    charts = tuple(
        (
            words[f"slider_spoken.{name}"],
            response(
                along_axis(grids[0], k), axis_title=words[title], log_scale=is_log, words=words
            ),
        )
        for k, (name, title, is_log) in enumerate(axes)
    )
    heading = words["comparison.what_if"]
    columns_of = [
        "way", "as_planned", "later_6h", "later_24h", "later_48h", "half_dose", "double_dose",
        "day_earlier", "day_later",
    ]  # fmt: skip
    rows = tuple(
        (name, *_changes(grid, words)) for name, grid in zip(names, lead_first, strict=True)
    )
    return Section(
        "whatif",
        heading,
        words["comparison.what_if_lead"],
        panel=panel,
        charts=charts,
        table=Table(
            words["comparison.what_if_caption"], columns(words, columns_of, texts_in={"way"}), rows
        ),
    )


def _changes(grid: OptionGrid, words: Words) -> list[str]:
    """Chances of one way as planned and after one change at a time; a dash where it has none."""
    start = grid.planned
    wanted: list[tuple[int, Sequence[float], float | None]] = [(0, grid.delays_h, 0.0)]
    wanted += [(0, grid.delays_h, hours) for hours in (6.0, 24.0, 48.0)]
    usual = grid.doses_m[start[1]]
    wanted += [(1, grid.doses_m, factor * usual) for factor in (0.5, 2.0)]
    wanted += [(2, grid.days, days) for days in (-1.0, 1.0)]
    cells = []
    for axis, positions, at in wanted:
        if at not in positions:
            cells.append("–")
            continue
        cell = (*start[:axis], positions.index(at), *start[axis + 1 :])
        low, mean, high = (
            words.number(100 * values[cell]) for values in (grid.lower, grid.mean, grid.upper)
        )
        cells.append(f"{mean} ({low}–{high})")
    return cells


def _grid(grid: OptionGrid, words: Words) -> dict[str, Any]:
    """One way as the script reads it: positions, labels, values in percent."""
    values = [
        round(100.0 * float(value), 1)
        for cell in zip(grid.lower.ravel(), grid.mean.ravel(), grid.upper.ravel(), strict=True)
        for value in cell
    ]
    labels = (
        [
            words.say("comparison.later_h", hours=hours)
            if hours
            else words["comparison.as_promised"]
            for hours in grid.delays_h
        ],
        [words.say("whatif.motile", value=dose) for dose in grid.doses_m],
        [
            words["comparison.as_planned"]
            if days == 0
            else words.say(f"comparison.{'later_d' if days > 0 else 'earlier_d'}", n=abs(int(days)))
            for days in grid.days
        ],
    )
    return {
        "axes": [
            {"at": [1.0 if x != x else x for x in at], "labels": texts, "start": start}
            for at, texts, start in zip(
                (grid.delays_h, [round(dose, 2) for dose in grid.doses_m], grid.days),
                labels,
                grid.planned,
                strict=True,
            )
        ],
        "values": values,
    }
