"""One stud over time: each measure's samples with his level, and what that level says.

The picture and the answers of one measure; a stop on forecasts leaves the samples, being records,
and takes the level, its sentences and its table off the page.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.measures.dates import look_back
from studcurve.analytics.models.stud.inputs import MEASURES, Measure
from studcurve.analytics.models.stud.level import stated_fall
from studcurve.analytics.models.stud.power import PROMISE_PROB
from studcurve.analytics.models.stud.summary import StudSummary
from studcurve.analytics.wording.stud_page import level_sentences
from studcurve.reports.charts.stud import control_chart, evaluations_over_time
from studcurve.reports.page import Reader, Section, Table, columns
from studcurve.reports.words import Words

EVENT_CHARACTERS = 24
"""Longest name of an event in a picture; the table of events has it whole."""

EVENT_APART_DAYS = 60
"""Events nearer than this would print over each other. [d]"""

NAMES = {
    "total_sperm_m": "total",
    "progressive_motility_pct": "motility",
    "normal_morphology_pct": "morphology",
}
"""Short names of the measures, on pages and in the catalog."""

_COLUMNS = {
    "total": ("total_sperm_m_low", "total_sperm_m_high", "count_method"),
    "motility": ("motility_low_pct", "motility_high_pct", "motility_method"),
    "morphology": ("normal_low_pct", "normal_high_pct", None),
}
"""Columns of a reading's interval and of the way of reading."""

_NO_EVENTS = pd.DataFrame({"on": [], "label": []})


def measure_section(
    name: str,
    readings: pd.DataFrame,
    events: pd.DataFrame,
    summary: StudSummary | None,
    reader: Reader,
) -> Section:
    """One measure over time, with the numbers behind it.

    Parameters
    ----------
    name
        Key of :data:`NAMES`.
    readings
        Raw samples with measures and intervals.
    events
        The view's rows of this stud.
    summary
        What the level says; None draws the samples alone.
    reader
        For whom.
    """
    words, short = reader.words, NAMES[name]
    charts = measure_charts(name, readings, events, summary, reader)
    lead = words[f"review.{short}_lead" if charts else "review.no_picture"]
    if charts and summary is not None and summary.band is not None:
        lead = f"{lead} {words['level.band_lead']}"
    table = _samples(readings, reader) if short == "total" else _by_reader(readings, name, reader)
    return Section(
        short, words[f"review.{short}"], lead, charts=charts, table=table
    )  # fmt: skip


def measure_charts(
    name: str,
    readings: pd.DataFrame,
    events: pd.DataFrame,
    summary: StudSummary | None,
    reader: Reader,
) -> tuple[tuple[str, dict[str, Any]], ...]:
    """What the picture of a measure says, and the picture; none where nothing was measured.

    Arguments as for the section.
    """
    words, short = reader.words, NAMES[name]
    measure = MEASURES[name]
    shown = readings[readings[name] > 0] if measure.is_log else readings[readings[name].notna()]
    low, high, how = _COLUMNS[short]
    if shown.empty:
        return ()
    others = reader.audience != "client"
    since = f"{shown['collected_earliest'].min():%Y-%m-%d}"
    chart = evaluations_over_time(
        _points(shown, name, low, high, how, reader),
        _event_marks(events, words) if others else _NO_EVENTS,
        _band(summary, since),
        _look_back(summary, since) if others else (),
        value_title=words[f"axis.{short}"],
        commonly_used=measure.common,
        common_label=words[f"common.{short}"],
        log_scale=measure.is_log,
        words=words,
    )
    spoken = words.say("spoken.readings", n=len(shown), what=words[f"axis.{short}"])
    if summary is not None and summary.band is not None:
        spoken += " " + words.say(
            "level.spoken", now=summary.answers.now, on=summary.answers.last_on
        )
    return ((spoken, chart),)


def level_section(summary: StudSummary, reader: Reader, *, is_headline: bool) -> Section:
    """What the level over time says: sentences, then every number.

    Parameters
    ----------
    summary
        Of one measure.
    reader
        For whom.
    is_headline
        Whether level and change head the page already.
    """
    words, name = reader.words, NAMES[summary.answers.measure.name]
    heading = words[f"level_of.{name}"]
    names = ["what", "level_value", "interval"]
    table = Table(heading, columns(words, names, texts_in={"what"}), _numbers(summary, words))
    return Section(
        f"level-{name}", heading, words["level.lead"],
        paragraphs=tuple(
            words.tell(sentence)
            for sentence in level_sentences(
                summary, is_headline=is_headline, is_of_the_house=reader.audience != "client"
            )
        ),
        table=table, is_table_folded=True,
    )  # fmt: skip


def control_section(summary: StudSummary, reader: Reader) -> Section | None:
    """Control charts for those who like one, with the run lengths of both."""
    charts = summary.charts
    if charts is None:
        return None
    words, measure = reader.words, charts.measure
    name = NAMES[measure.name]
    drawn = []
    for key, chart, is_log in (
        ("individuals", charts.individuals, measure.is_log), ("ewma", charts.ewma, False),
    ):  # fmt: skip
        frame = pd.DataFrame(
            {
                "on": pd.DatetimeIndex(charts.on).strftime("%Y-%m-%d"),
                "value": chart.statistic, "lower": chart.lower, "upper": chart.upper,
                "where": [
                    words["control.outside" if out else "control.inside"] for out in chart.is_out
                ],
            }
        )  # fmt: skip
        title = words[f"axis.{name}"] if key == "individuals" else words["axis.smoothed"]
        drawn.append(
            (
                words.say(f"control_spoken.{key}", n=len(frame), n_out=int(chart.is_out.sum())),
                control_chart(frame, value_title=title, log_scale=is_log, words=words),
            )
        )
    rows = tuple(
        (
            words[f"control.{key}"],
            words.number(rule.n_out),
            words.number(rule.n_steady),
            words.number(rule.n_fallen, 1),
            words.probability(rule.alarm_prob),
        )
        for key, rule in (("individuals", charts.of_individuals), ("ewma", charts.of_ewma))
    )
    heading = words[f"control_of.{name}"]
    names = ["chart", "n_out", "n_steady", "n_fallen", "alarm_year"]
    size = _size(abs(measure.act_on), measure, words)
    return Section(
        f"control-{name}", heading, words.say("control.lead", n=charts.n_past, size=size),
        charts=tuple(drawn), table=Table(heading, columns(words, names, texts_in={"chart"}), rows),
        is_folded=True,
    )  # fmt: skip


def _numbers(summary: StudSummary, words: Words) -> tuple[tuple[str, ...], ...]:
    """Every number of a level, one row each: what, value, interval."""
    answers, power = summary.answers, summary.power
    measure = answers.measure
    rows: list[tuple[str, str, str]] = []

    def add(key: str, value: str, ends: str = "–", **named: Any) -> None:  # noqa: ANN401
        rows.append((words.say(f"level_table.{key}", **named), value, ends))

    def level(key: str, estimate: Estimate, **named: Any) -> None:  # noqa: ANN401
        add(key, unit(estimate.median, measure, words), _ends(estimate, words), **named)

    def change(key: str, estimate: Estimate) -> None:
        ends = [words.number(100 * end, signed=True) for end in (estimate.lower, estimate.upper)]
        middle = 100 * estimate.median
        value = (
            f"{words.number(middle, signed=True)} {words['level_table.percent']}"
            if measure.is_log
            else words.points(middle, signed=True)
        )
        add(key, value, words.say("format.range", lower=ends[0], upper=ends[1]))

    level("now", answers.now, on=answers.last_on)
    if answers.past is not None and answers.past_until is not None:
        level("past", answers.past, n=answers.n_past, until=answers.past_until)
    if answers.change is not None:
        change("change", answers.change)
    if summary.last_year is not None:
        change("last_year", summary.last_year)
    for fall in answers.falls:
        add("fall", words.probability(fall.prob), size=_size(fall.size, measure, words))
    if answers.rise_prob is not None:
        add("rise", words.probability(answers.rise_prob))
    add("announced", words[f"level_table.{_state(summary)}"])
    add(
        "above",
        words.probability(answers.common_prob),
        common=unit(measure.common, measure, words),
    )
    weight = summary.records_weight
    add("share", words.say("level_table.weight", share=weight.share, shift=weight.shift_sds))
    if summary.last is not None:
        add("last", unit(summary.last.value, measure, words), on=summary.last.on)
        level("last_expected", summary.last.expected)
    level("next", summary.expected, on=summary.next_on)
    add(
        "repeatability",
        words.number(answers.repeatability.median, 2),
        _ends(answers.repeatability, words, 2),
    )
    if power is not None:
        stated = _size(stated_fall(measure), measure, words)
        add("sure", f"{words.number(100 * summary.rule.sure_prob, 1)} %", size=stated)
        add("alarm_kennel", words.probability(summary.rule.false_prob))
        add("alarm", words.probability(power.false_alarm_prob))
        for one in power.announced:
            add("flagged", words.probability(one.prob), size=_size(one.size, measure, words))
        add(
            "promised",
            words.number(power.n_promised),
            size=_size(abs(measure.act_on), measure, words),
            promise=PROMISE_PROB,
        )
        add("settling", words.number(power.n_settling))
    return tuple(rows)


def state_text(summary: StudSummary, words: Words) -> str:
    """Whether a fall is announced, in a word."""
    return words[f"level_table.{_state(summary)}"]


def _state(summary: StudSummary) -> str:
    if not summary.announcement.enough:
        return "too_few"
    if not summary.announcement.is_separable:
        return "readers"
    return "yes" if summary.announcement.announced else "no"


def unit(value: float, measure: Measure, words: Words) -> str:
    """A value of a measure with its unit."""
    return f"{words.number(value)} {words.word('unit', measure.name)}"


def _size(size: float, measure: Measure, words: Words) -> str:
    """A size of a fall: percent of his past, or points."""
    unit = words["level_table.percent" if measure.is_log else "level_table.points"]
    return f"{words.number(100 * size)} {unit}"


def _ends(estimate: Estimate, words: Words, decimals: int = 0) -> str:
    return words.interval(estimate.lower, estimate.upper, decimals)


def counted_cells(row: Mapping[Any, Any], words: Words) -> tuple[str, ...]:
    """The cells of a sample's row that every table of samples begins with, up to motility."""
    return (
        words.day(row["collected_earliest"]),
        words.number(row["sexual_rest_days"]),
        words.number(row["volume_ml"], 1),
        words.number(row["concentration_m_per_ml"]),
        words.number(row["total_sperm_m"]),
        words.interval(row["total_sperm_m_low"], row["total_sperm_m_high"]),
        words.number(row["progressive_motility_pct"]),
    )


def _samples(readings: pd.DataFrame, reader: Reader) -> Table:
    """Every raw sample, the newest first; a client is not told who read it."""
    words = reader.words
    names = [
        "collected", "rest", "volume", "concentration", "total", "interval", "motility", "normal",
    ]  # fmt: skip
    if reader.audience != "client":
        names.append("evaluator")
    shown = readings.sort_values("collected_earliest", ascending=False)
    rows = tuple(
        (
            *counted_cells(row, words),
            words.number(row["normal_morphology_pct"]),
            words.word("evaluator", row["evaluator"]),
        )[: len(names)]
        for row in shown.to_dict("records")
    )
    return Table(
        words["review.total"], columns(words, names, texts_in={"collected", "evaluator"}), rows
    )


def _by_reader(readings: pd.DataFrame, name: str, reader: Reader) -> Table:
    """A share by who read it."""
    words, short = reader.words, NAMES[name]
    read = readings[readings[name].notna()]
    evaluators = read["evaluator"].fillna("")
    if reader.audience == "client":
        evaluators = evaluators.where(evaluators == "", words["page.one_reader"])
    rows = tuple(
        (
            words.word("evaluator", evaluator),
            words.number(len(group)),
            words.number(group[name].median()),
            words.interval(group[name].min(), group[name].max()),
            f"{words.day(group['collected_earliest'].min())} – "
            f"{words.day(group['collected_earliest'].max())}",
        )
        for evaluator, group in read.groupby(evaluators)
    )
    names = ["evaluator", "samples", "median", "range", "period"]
    return Table(
        words[f"review.{short}"], columns(words, names, texts_in={"evaluator", "period"}), rows
    )


def _points(
    rows: pd.DataFrame, value: str, low: str, high: str, how: str | None, reader: Reader
) -> pd.DataFrame:
    """Plain columns of a time chart; a client is not told who looked down the microscope."""
    words = reader.words
    hidden = reader.audience == "client"
    ways = ["shape"] * len(rows) if how is None else rows[how]
    return pd.DataFrame(
        {
            "on": rows["collected_earliest"].dt.strftime("%Y-%m-%d"),
            "value": rows[value].astype(float),
            "low": rows[low].astype(float),
            "high": rows[high].astype(float),
            "evaluator": [
                words["page.one_reader"] if hidden else words.word("evaluator", evaluator)
                for evaluator in rows["evaluator"]
            ],
            "how": [words.word("reading", way) for way in ways],
        }
    )


def _band(summary: StudSummary | None, since: str) -> pd.DataFrame:
    """The level from a day on as columns of a chart; no row where there is none."""
    if summary is None or summary.band is None:
        return pd.DataFrame({"on": [], "lower": [], "median": [], "upper": []})
    band = summary.band
    rows = pd.DataFrame(
        {
            "on": pd.DatetimeIndex(band.on).strftime("%Y-%m-%d"),
            "lower": band.lower, "median": band.median, "upper": band.upper,
        }
    )  # fmt: skip
    return rows[rows["on"] >= since]


def _look_back(summary: StudSummary | None, since: str) -> tuple[tuple[str, str], ...]:
    """Ends of the look-back windows, from a day on, of the last collection and of each dip."""
    if summary is None or summary.band is None:
        return ()
    days = [summary.answers.last_on, *(dip.began_on for dip, _ in summary.dips)]
    ends = (
        (f"{min(window.first_on for window in look_back(on)):%Y-%m-%d}", f"{on:%Y-%m-%d}")
        for on in days
    )
    return tuple((first, last) for first, last in ends if first >= since)


def _event_marks(events: pd.DataFrame, words: Words) -> pd.DataFrame:
    """Events as labelled days; what follows within a few weeks shares the first one's label."""
    marks: list[dict[str, str]] = []
    last: pd.Timestamp | None = None
    for event in events.sort_values("started_on").to_dict("records"):
        on = pd.Timestamp(event["started_on"])
        kind = words.word("event", event["kind"])[:EVENT_CHARACTERS]
        if last is not None and (on - last).days <= EVENT_APART_DAYS:
            marks[-1]["label"] += f", {kind}"
            continue
        marks.append({"on": f"{on:%Y-%m-%d}", "label": kind})
        last = on
    return pd.DataFrame(marks, columns=["on", "label"])
