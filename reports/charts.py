"""One function per question: a frame in, a Vega-Lite specification out.

Frames carry finished numbers under fixed plain column names; a chart lays them out and decides
nothing. Every text value may be hostile: it stays a datum and never becomes a field name. Color is
never the only carrier of meaning: shape, place or a label always says the same.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt
import pandas as pd
from altair.utils.schemapi import disable_debug_mode

from reports.theme import FILLS, INK, LEVEL, MUTED, PAPER, RULE, SERIES, SHAPES, chart_config
from reports.words import Words

# Checking every part against the grammar as it is made takes a third of a page's time; a test
# checks every finished picture whole. Channels are spelled out (``alt.X2("upper:Q")``,
# ``alt.XValue(0)``): for a bare text or value the library searches its whole grammar again.
disable_debug_mode()

HEIGHT = 250
"""Height of a time chart. [px]"""

DIMMED = 0.12
"""Opacity of what the reader has not singled out."""

LEGEND_CHARACTERS = 42
"""Characters of a legend's row that a phone shows beside its symbols."""

BAR_HALF, APART = 0.42, 0.17
"""Half of a bar's width, and how far marks stand beside its middle. [pups]"""

OPTION_ROW, SHARES_ROW, PART_ROW = 46, 38, 40
"""Height of a way's row in a comparison, of its pups and of a part of a gap: label above, bars
below. [px]"""

LABEL_AT, BARS_FROM, BARS_TO = 0.22, 0.42, 0.92
"""Where in its row the label stands and the bars begin and end. [rows]"""

NAMED_FROM = 9.0
"""A block of shares at least this wide is named inside. [%]"""

FLOW_HEIGHT, FLOW_LETTER, FLOW_LINE = 330, 11, 13
"""Height of the picture of outcomes, of its letters and of a line of them. [px]"""

FLOW_FLATTEST = 0.85
"""On paper a picture is drawn flatter, by no more than this: its labels must still fit."""

FLOW_NARROW, FLOW_NARROW_CHARACTERS, FLOW_WIDE_CHARACTERS = 520, 10, 15
"""Below this width the blocks of the outcomes hold fewer letters beside each other. [px]"""

COEFFICIENT_ROW = 46
"""Height of a label with three marks below it; nineteen of them fit a printed page. [px]"""

HALVES_AND_DOUBLES = tuple(step * 10**power for power in range(6) for step in (1, 2, 5))
"""Where a logarithmic axis is labelled: a label in every place would leave no room for 1,000."""

YEARS: Any = alt.Axis(format="%Y", tickCount="year", labelBound=10)
"""Years below a time chart; one that the edge would cut is left out."""

APART_FROM_AXIS: Any = alt.Scale(padding=8)
"""Room between the axis and the first and last mark of a time chart. [px]"""

AT_LEFT: Any = alt.XValue(0)  # type: ignore[no-untyped-call]
AT_RIGHT: Any = alt.XValue(alt.ExprRef("width"))  # type: ignore[no-untyped-call]
AT_TOP: Any = alt.YValue(2)  # type: ignore[no-untyped-call]
"""Edges of a picture, where labels stand."""


def readings_over_time(
    readings: pd.DataFrame,
    events: pd.DataFrame,
    level: pd.DataFrame,
    look_backs: Sequence[tuple[str, str]],
    *,
    value_title: str,
    commonly_used: float,
    common_label: str,
    log_scale: bool,
    words: Words,
) -> dict[str, Any]:
    """One measure of a stud's samples over time, observers told apart by shape and color.

    Parameters
    ----------
    readings
        Columns on (datetime), value, low, high, observer, how.
    events
        Columns on (datetime), label.
    level
        Columns on (datetime), lower, median, upper of the level over time; no row for none.
    look_backs
        First and last day of each shaded look-back.
    value_title
        Axis title with unit.
    commonly_used, common_label
        A published value drawn as a dashed line, and what stands at it: value and source.
    log_scale
        Whether equal distances are equal ratios.
    words
        Of the reader.

    Returns
    -------
    dict
        Vega-Lite specification.
    """
    observers = sorted(readings["observer"].unique())
    singled_out = alt.selection_point(fields=["observer"], bind="legend", name="singled_out")
    scale = alt.Scale(type="log", nice=False) if log_scale else alt.Scale(domain=[0, 100])
    x = alt.X(
        "on:T", title=words["axis.collected"], scale=APART_FROM_AXIS,
        axis=YEARS,
    )  # fmt: skip
    axis = alt.Axis(values=HALVES_AND_DOUBLES) if log_scale else alt.Axis()
    y = alt.Y("value:Q", title=value_title, scale=scale, axis=axis)
    legend = legend_of(words["legend.observer"], observers)
    color = alt.Color(
        "observer:N", scale=alt.Scale(domain=observers, range=_cycle(SERIES, observers)),
        legend=legend,
    )  # fmt: skip
    shape = alt.Shape(
        "observer:N", scale=alt.Scale(domain=observers, range=_cycle(SHAPES, observers)),
        legend=legend,
    )  # fmt: skip
    opacity, faint = _dimmed(singled_out, 0.9, DIMMED), _dimmed(singled_out, 0.45, DIMMED / 2)
    tooltip = [
        alt.Tooltip("on:T", title=words["axis.collected"], format="%-d %b %Y"),
        alt.Tooltip("value:Q", title=value_title, format=",.0f"),
        alt.Tooltip("low:Q", title=words["legend.lower"], format=",.0f"),
        alt.Tooltip("high:Q", title=words["legend.upper"], format=",.0f"),
        alt.Tooltip("observer:N", title=words["legend.observer"]),
        alt.Tooltip("how:N", title=words["legend.how"]),
    ]
    base = alt.Chart(readings)
    # The legend listens only where the first layer that has it carries the selection.
    errors = (
        base.mark_rule(strokeWidth=1.5)
        .encode(
            x=x, y=alt.Y("low:Q", scale=scale, title=value_title), y2=alt.Y2("high:Q"), color=color,
            opacity=faint,
        )
        .add_params(singled_out)
    )  # fmt: skip
    points = base.mark_point(filled=True, size=42).encode(
        x=x, y=y, color=color, shape=shape, opacity=opacity, tooltip=tooltip
    )
    reference = alt.Chart(pd.DataFrame({"value": [commonly_used], "label": [common_label]}))
    line = reference.mark_rule(stroke=MUTED, strokeDash=[5, 4]).encode(y=y)
    # Below the line, where fewer samples lie, and never over one; paper behind its letters keeps
    # the name readable.
    names = reference.encode(x=AT_LEFT, y=y, text=alt.Text("label:N"))
    place: dict[str, Any] = {
        "align": "left", "baseline": "top", "dx": 3, "dy": 4, "fontSize": 11,
    }  # fmt: skip
    named = [
        names.mark_text(**place, fill=PAPER, stroke=PAPER, strokeWidth=4, opacity=0.85),
        names.mark_text(**place, fill=MUTED),
    ]
    layers: list[Any] = [line, *named, errors, points]
    if not level.empty:
        curve = alt.Chart(level).encode(x=x)
        ribbon = curve.mark_area(fill=LEVEL, opacity=0.2).encode(
            y=alt.Y("lower:Q", scale=scale, title=value_title), y2=alt.Y2("upper:Q")
        )
        middle = curve.mark_line(stroke=INK, strokeWidth=2).encode(
            y=alt.Y("median:Q", scale=scale, title=value_title)
        )
        layers = [line, ribbon, *named, errors, points, middle]
    if look_backs:
        shaded = alt.Chart(pd.DataFrame(look_backs, columns=["on", "until"]))
        layers.insert(
            0, shaded.mark_rect(fill=MUTED, opacity=0.16).encode(x=x, x2=alt.X2("until:T"))
        )
    if not events.empty:
        layers[:0] = [
            alt.Chart(events).mark_rule(stroke=MUTED, strokeWidth=1).encode(x=x),
            *_event_labels(events, readings["on"], x),
        ]
    return finished(alt.layer(*layers), HEIGHT)


def _event_labels(events: pd.DataFrame, on: pd.Series, x: alt.X) -> list[alt.Chart]:
    """Names of events, towards the middle of the picture: at its edge they would be cut."""
    sampled = pd.to_datetime(on)
    is_late = pd.to_datetime(events["on"]) > sampled.min() + (sampled.max() - sampled.min()) / 2
    place: dict[str, Any] = {"baseline": "top", "fontSize": 11, "fontStyle": "italic"}
    labels = []
    for rows, side in ((events[~is_late], "left"), (events[is_late], "right")):
        if rows.empty:
            continue
        names = alt.Chart(rows).encode(x=x, y=AT_TOP, text=alt.Text("label:N"))
        beside: dict[str, Any] = {**place, "align": side, "dx": 4 if side == "left" else -4}
        labels += [
            names.mark_text(**beside, fill=PAPER, stroke=PAPER, strokeWidth=4, opacity=0.85),
            names.mark_text(**beside, fill=INK),
        ]
    return labels


def chance_by_semen_type(chances: pd.DataFrame, words: Words) -> dict[str, Any]:
    """Chance of a litter by semen type: published, own records, together.

    Parameters
    ----------
    chances
        Columns what (semen type), source (in display order), median, lower, upper (%), note.
    words
        Of the reader.
    """
    sources = [words["legend.published"], words["legend.own"], words["legend.together"]]
    rows = list(dict.fromkeys(chances["what"]))
    scale = alt.Scale(domain=[0, 100])
    title = words["axis.chance"]
    base = alt.Chart(chances).encode(
        y=alt.Y("what:N", sort=rows, title=None),
        yOffset=alt.YOffset("source:N", sort=sources),
    )
    axis = alt.Axis(values=[0, 25, 50, 75, 100])
    marks = _whiskers(base, axis, scale, sources, title, ".0f", words)
    return finished(marks, 46 * len(rows) + 20)


def coefficients(frame: pd.DataFrame, words: Words) -> dict[str, Any]:
    """Each row of the chain: published, the records alone and together, below its label.

    Parameters
    ----------
    frame
        Columns what (label), source, median, lower, upper (log odds), note; rows in order.
    words
        Of the reader.
    """
    sources = [words["legend.published"], words["legend.own"], words["legend.together"]]
    rows = list(dict.fromkeys(frame["what"]))
    low, high = float(frame["lower"].min()), float(frame["upper"].max())
    scale = alt.Scale(domain=[low, high], nice=True)
    title = words["axis.log_odds"]
    signed = "datum.value === 0 ? '0' : datum.label"
    axis = alt.Axis(format="+.1~f", tickCount=5, labelExpr=signed)
    y = alt.Y("what:N", sort=rows, title=None, axis=None)
    base = alt.Chart(frame).encode(y=y, yOffset=alt.YOffset("source:N", sort=["", *sources]))
    labels = (
        alt.Chart(pd.DataFrame({"what": rows, "source": ""}))
        .mark_text(align="left", baseline="middle", fill=INK, fontSize=12)
        .encode(
            y=y,
            yOffset=alt.YOffset("source:N", sort=["", *sources]),
            x=AT_LEFT,
            text=alt.Text("what:N"),
        )
    )
    zero = (
        alt.Chart(pd.DataFrame({"median": [0.0]})).mark_rule(stroke=MUTED, strokeWidth=1)
        .encode(x=alt.X("median:Q", scale=scale, title=title, axis=axis))
    )  # fmt: skip
    marks = _whiskers(base, axis, scale, sources, title, "+.2f", words)
    return finished(alt.layer(zero, labels, marks), COEFFICIENT_ROW * len(rows))


def response(
    datasets: Mapping[str, Sequence[Mapping[str, Any]]],
    *,
    axis_title: str,
    log_scale: bool,
    words: Words,
) -> dict[str, Any]:
    """Chance of a litter along one slider, with the breedings as dots.

    Parameters
    ----------
    datasets
        ``curve`` (x, lower, median, upper), ``here`` (the row of the curve where the slider
        stands) and, where breedings are shown, ``dots`` (x, outcome, whose, about); the panel's
        script exchanges them.
    axis_title
        Of the slider's axis, with unit.
    log_scale
        Whether the axis is drawn by doublings.
    words
        Of the reader.
    """
    scale = alt.Scale(type="log", base=2, nice=False) if log_scale else alt.Scale(nice=False)
    x = alt.X("x:Q", title=axis_title, scale=scale, axis=alt.Axis(tickCount=6, format="~g"))
    # Room above and below for the breedings that gave a litter, or none.
    y_scale = alt.Scale(domain=[-9, 109], nice=False)
    y_axis = alt.Axis(values=[0, 25, 50, 75, 100])
    y = alt.Y("median:Q", title=words["axis.chance"], scale=y_scale, axis=y_axis)
    curve = alt.Chart(alt.NamedData("curve"))
    band = curve.mark_area(fill=SERIES[0], opacity=0.16).encode(
        x=x, y=alt.Y("lower:Q", scale=y_scale, title=words["axis.chance"]), y2=alt.Y2("upper:Q")
    )
    line = curve.mark_line(stroke=SERIES[0], strokeWidth=2.5).encode(x=x, y=y)
    here = alt.Chart(alt.NamedData("here"))
    rule = here.mark_rule(stroke=INK, strokeDash=[2, 3]).encode(x=x)
    point = here.mark_point(filled=True, size=90, fill=SERIES[0]).encode(x=x, y=y)
    dots = (
        alt.Chart(alt.NamedData("dots"))
        .mark_point(size=26, strokeWidth=1.3, opacity=0.75)
        .encode(
            x=x,
            y=alt.Y("outcome:Q", scale=y_scale, title=words["axis.chance"]),
            shape=alt.Shape(
                "whose:N", scale=alt.Scale(domain=["his", "other"], range=["circle", "cross"]),
                legend=None,
            ),
            stroke=alt.Stroke(
                "whose:N", scale=alt.Scale(domain=["his", "other"], range=[SERIES[1], MUTED]),
                legend=None,
            ),
            tooltip=[alt.Tooltip("about:N", title=words["legend.breeding"])],
        )
    )  # fmt: skip
    marks = (dots,) if "dots" in datasets else ()
    chart = alt.layer(band, line, rule, *marks, point)
    return {**finished(chart, 175), "datasets": {k: list(v) for k, v in datasets.items()}}


def storage_curve(
    curve: Sequence[tuple[float, float, float, float]], *, axis_title: str, words: Words
) -> dict[str, Any]:
    """What is left hour by hour, with its interval.

    Parameters
    ----------
    curve
        Hours, lower end, middle, upper end.
    axis_title
        What is left, with its unit.
    words
        Of the reader.
    """
    frame = pd.DataFrame(curve, columns=["hours", "lower", "median", "upper"])
    ticks = alt.Axis(values=[hours for hours, *_ in curve])
    x = alt.X("hours:Q", title=words["axis.hours"], scale=alt.Scale(nice=False), axis=ticks)
    base = alt.Chart(frame).encode(x=x)
    scale = alt.Scale(domainMin=0)
    band = base.mark_area(fill=SERIES[0], opacity=0.16).encode(
        y=alt.Y("lower:Q", title=axis_title, scale=scale), y2=alt.Y2("upper:Q")
    )
    y = alt.Y("median:Q", title=axis_title, scale=scale)
    line = base.mark_line(stroke=SERIES[0], strokeWidth=2.5).encode(y=y)
    points = base.mark_point(filled=True, fill=SERIES[0], size=50).encode(
        y=y,
        tooltip=[
            alt.Tooltip("hours:Q", title=words["axis.hours"], format=".0f"),
            alt.Tooltip("median:Q", title=words["legend.middle"], format=",.0f"),
            alt.Tooltip("lower:Q", title=words["legend.lower"], format=",.0f"),
            alt.Tooltip("upper:Q", title=words["legend.upper"], format=",.0f"),
        ],
    )
    return finished(alt.layer(band, line, points), 220)


def litter_sizes(frame: pd.DataFrame, words: Words) -> dict[str, Any]:
    """Litters by the pups born alive: bars of the records, and what was to be expected beside.

    Parameters
    ----------
    frame
        Columns pups, source (published, own, together as in the legend), n, lower, upper; the ends
        are missing in rows of the records.
    words
        Of the reader.
    """
    published, own, together = (
        words[f"legend.{name}"] for name in ("published", "own", "together")
    )
    sources = [name for name in (published, own, together) if (frame["source"] == name).any()]
    places = {published: -APART, own: 0.0, together: APART}
    placed = frame.assign(
        at=frame["pups"] + frame["source"].map(places),
        left=frame["pups"] - BAR_HALF,
        right=frame["pups"] + BAR_HALF,
    )
    # A bar is pale within its outline, a mark is full; the legend shows either as it is drawn.
    series = {
        published: (SERIES[0], SERIES[0], SHAPES[0]),
        own: (SERIES[1], FILLS[1], SHAPES[1]),
        together: (SERIES[2], SERIES[2], SHAPES[2]),
    }
    lines, fills, shapes = zip(*(series[name] for name in sources), strict=True)
    legend = legend_of(words["legend.source"], sources)
    of_lines, of_fills, of_shapes = (
        alt.Scale(domain=sources, range=list(range_)) for range_ in (lines, fills, shapes)
    )
    stroke = alt.Stroke("source:N", scale=of_lines, legend=legend)
    fill = alt.Fill("source:N", scale=of_fills, legend=legend)
    shape = alt.Shape("source:N", scale=of_shapes, legend=legend)
    largest = int(frame["pups"].max())
    x_scale = alt.Scale(domain=[-0.6, largest + 0.6], nice=False)
    ticks = alt.Axis(values=list(range(largest + 1)), format="d", grid=False)
    x = alt.X("at:Q", title=words["axis.pups_alive"], scale=x_scale, axis=ticks)
    y_scale = alt.Scale(domainMin=0)
    y = alt.Y("n:Q", title=words["axis.litters"], scale=y_scale, axis=alt.Axis(tickMinStep=1))
    tooltip = [
        alt.Tooltip("pups:Q", title=words["axis.pups_alive"], format="d"),
        alt.Tooltip("source:N", title=words["legend.source"]),
        alt.Tooltip("n:Q", title=words["axis.litters"], format=".1~f"),
        alt.Tooltip("lower:Q", title=words["legend.lower"], format="d"),
        alt.Tooltip("upper:Q", title=words["legend.upper"], format="d"),
    ]
    bars = (
        alt.Chart(placed[placed["source"] == own])
        .mark_rect(strokeWidth=1)
        .encode(
            x=alt.X("left:Q", title=words["axis.pups_alive"], scale=x_scale, axis=ticks),
            x2=alt.X2("right:Q"), y=y, y2=alt.Y2Datum(0), fill=fill, stroke=stroke,
            tooltip=tooltip[:3],
        )
    )  # fmt: skip
    expected = placed[placed["source"] != own]
    base = alt.Chart(expected).encode(x=x)
    ends = base.encode(
        y=alt.Y("lower:Q", title=words["axis.litters"], scale=y_scale),
        y2=alt.Y2("upper:Q"),
        stroke=stroke,
    )
    rules = (
        ends.transform_filter(alt.datum.source == together).mark_rule(strokeWidth=2),
        ends.transform_filter(alt.datum.source == published).mark_rule(
            strokeWidth=1.5, strokeDash=[3, 2]
        ),
    )
    points = base.mark_point(size=46, opacity=1).encode(
        y=y, fill=fill, stroke=stroke, shape=shape, tooltip=tooltip
    )
    return finished(alt.layer(bars, *rules, points), HEIGHT)


def outcome_flow(blocks: pd.DataFrame, words: Words) -> dict[str, Any]:
    """From breedings to pups: every step's blocks stand beside the block they come from.

    Parameters
    ----------
    blocks
        Columns step (0, 1, …), top, bottom (share of the picture's height), kind (good, other or
        unknown), about (count and name, for label and tooltip).
    words
        Of the reader.
    """
    kinds = ["good", "other", "unknown"]
    n_steps = int(blocks["step"].max()) + 1
    frame = blocks.assign(
        left=blocks["step"], right=blocks["step"] + 0.985, middle=(blocks.top + blocks.bottom) / 2
    )
    x_scale = alt.Scale(domain=[0, n_steps], nice=False)
    y_scale = alt.Scale(domain=[1, 0], nice=False)
    x = alt.X("left:Q", scale=x_scale, axis=None)
    bars = (
        alt.Chart(frame)
        .mark_rect(stroke=PAPER, strokeWidth=1)
        .encode(
            x=x,
            x2=alt.X2("right:Q"),
            y=alt.Y("top:Q", scale=y_scale, axis=None),
            y2=alt.Y2("bottom:Q"),
            fill=alt.Fill("kind:N", scale=alt.Scale(domain=kinds, range=list(FILLS)), legend=None),
            tooltip=[alt.Tooltip("about:N", title=words["legend.outcome"])],
        )
    )
    unknown = (
        alt.Chart(frame[frame["kind"] == "unknown"])
        .mark_rect(fillOpacity=0, stroke=MUTED, strokeDash=[3, 3])
        .encode(
            x=x,
            x2=alt.X2("right:Q"),
            y=alt.Y("top:Q", scale=y_scale, axis=None),
            y2=alt.Y2("bottom:Q"),
        )
    )
    labels = [
        alt.Chart(_flow_labels(frame, characters))
        .transform_filter(shown)
        .mark_text(
            align="left", baseline="middle", dx=5, fontSize=FLOW_LETTER, lineHeight=FLOW_LINE,
            fill=INK, lineBreak="\n",
        )
        .encode(x=x, y=alt.Y("label_at:Q", scale=y_scale, axis=None), text=alt.Text("label:N"))
        for shown, characters in (
            (f"width >= {FLOW_NARROW}", FLOW_WIDE_CHARACTERS),
            (f"width < {FLOW_NARROW}", FLOW_NARROW_CHARACTERS),
        )
    ]  # fmt: skip
    return finished(alt.layer(bars, unknown, *labels), FLOW_HEIGHT)


def _flow_labels(blocks: pd.DataFrame, n_characters: int) -> pd.DataFrame:
    """Count and name of every block that has room for both, else the count, else nothing.

    Parameters
    ----------
    blocks
        As for the picture.
    n_characters
        Letters that fit beside each other in a block.
    """
    rows = []
    for block in blocks.to_dict("records"):
        count, name = block["about"].split(" ", 1)
        height = FLOW_FLATTEST * FLOW_HEIGHT * (block["bottom"] - block["top"])
        below = [count, *textwrap.wrap(name, n_characters)]
        beside = [block["about"]] if len(block["about"]) <= n_characters else [count]
        lines = below if _flow_needs(below) <= height else beside
        if _flow_needs(lines) > height:
            continue
        # The engine sets the first line where the label stands: several begin higher.
        raised = (len(lines) - 1) * FLOW_LINE / 2 / FLOW_HEIGHT
        rows.append({**block, "label": "\n".join(lines), "label_at": block["middle"] - raised})
    return pd.DataFrame(rows, columns=[*blocks.columns, "label", "label_at"])


def _flow_needs(lines: Sequence[str]) -> float:
    """Height of a label's lines. [px]"""
    return (len(lines) - 1) * FLOW_LINE + FLOW_LETTER + 1


def option_bars(
    bars: pd.DataFrame,
    options: pd.DataFrame,
    *,
    axis_title: str,
    axis: alt.Axis,
    domain: tuple[float, float],
    words: Words,
) -> dict[str, Any]:
    """One row a way: how its draws spread, the middle and the interval that is told of it.

    Parameters
    ----------
    bars
        Columns row (0, 1, …), left, right, height (0 to 1), about (tooltip).
    options
        Columns row, label, note, lower, middle, upper; the middle is missing where there are no
        data like it.
    axis_title, axis, domain
        Of what the draws are spread over.
    words
        Of the reader.
    """
    x_scale = alt.Scale(domain=list(domain), nice=False)
    y_scale = alt.Scale(domain=[len(options), 0], nice=False)
    ground = options["row"] + BARS_TO
    placed = bars.assign(
        bottom=bars["row"] + BARS_TO,
        top=bars["row"] + BARS_TO - bars["height"] * (BARS_TO - BARS_FROM),
    )
    x = alt.X("left:Q", title=axis_title, scale=x_scale, axis=axis)
    y = alt.Y("top:Q", scale=y_scale, axis=None)
    rects = alt.Chart(placed).encode(x=x, x2=alt.X2("right:Q"), y=y, y2=alt.Y2("bottom:Q"))
    spread = rects.mark_rect(fill=FILLS[0], stroke=SERIES[0], strokeWidth=0.5).encode(
        tooltip=[alt.Tooltip("about:N", title=words["compare.way"])]
    )
    rows = options.assign(ground=ground, label_at=options["row"] + LABEL_AT)
    lines = alt.Chart(rows).encode(y=alt.Y("ground:Q", scale=y_scale, axis=None))
    base = lines.mark_rule(stroke=RULE).encode()
    whisker = lines.mark_rule(stroke=INK, strokeWidth=2).encode(
        x=alt.X("lower:Q", title=axis_title, scale=x_scale, axis=axis), x2=alt.X2("upper:Q")
    )
    middle = (
        alt.Chart(rows.dropna(subset="middle"))
        .mark_point(filled=True, fill=INK, size=70, shape="diamond", opacity=1)
        .encode(
            x=alt.X("middle:Q", title=axis_title, scale=x_scale, axis=axis),
            y=alt.Y("ground:Q", scale=y_scale, axis=None),
        )
    )
    texts = alt.Chart(rows).encode(y=alt.Y("label_at:Q", scale=y_scale, axis=None))
    label = texts.mark_text(align="left", baseline="middle", fill=INK, fontSize=12).encode(
        x=AT_LEFT, text=alt.Text("label:N")
    )
    note = texts.mark_text(align="right", baseline="middle", fill=MUTED, fontSize=12).encode(
        x=AT_RIGHT, text=alt.Text("note:N")
    )
    # Nothing is drawn where nothing is: an empty group of marks has no name to be read aloud.
    shown = ([] if bars.empty else [spread]) + [whisker]
    shown += [] if rows["middle"].isna().all() else [middle]
    return finished(alt.layer(base, *shown, label, note), OPTION_ROW * len(options))


def pups_shares(blocks: pd.DataFrame, options: pd.DataFrame, words: Words) -> dict[str, Any]:
    """One row a way: shares of the draws with no pup, a few, many, side by side.

    Parameters
    ----------
    blocks
        Columns row, left, right (%), level (0 for none, then upwards), label, about (tooltip).
    options
        Columns row, label, note.
    words
        Of the reader.
    """
    x_scale = alt.Scale(domain=[0, 100], nice=False)
    y_scale = alt.Scale(domain=[len(options), 0], nice=False)
    axis = alt.Axis(values=[0, 25, 50, 75, 100], grid=False)
    placed = blocks.assign(
        top=blocks["row"] + BARS_FROM,
        bottom=blocks["row"] + BARS_TO,
        middle=(blocks["left"] + blocks["right"]) / 2,
        center=blocks["row"] + (BARS_FROM + BARS_TO) / 2,
    )
    rects = alt.Chart(placed).encode(
        x=alt.X("left:Q", title=words["axis.draws"], scale=x_scale, axis=axis),
        x2=alt.X2("right:Q"),
        y=alt.Y("top:Q", scale=y_scale, axis=None),
        y2=alt.Y2("bottom:Q"),
        tooltip=[alt.Tooltip("about:N", title=words["compare.way"])],
    )
    none = rects.transform_filter(alt.datum.level == 0).mark_rect(
        fill=FILLS[1], stroke=SERIES[1], strokeDash=[3, 2]
    )
    levels = alt.Scale(domain=[1, 4], range=[0.12, 0.45])
    some = (
        rects.transform_filter(alt.datum.level > 0)
        .mark_rect(fill=SERIES[0], stroke=SERIES[0], strokeWidth=0.5)
        .encode(fillOpacity=alt.FillOpacity("level:Q", scale=levels, legend=None))
    )
    names = (
        alt.Chart(placed[placed["right"] - placed["left"] > NAMED_FROM])
        .mark_text(baseline="middle", fill=INK, fontSize=11)
        .encode(
            x=alt.X("middle:Q", title=words["axis.draws"], scale=x_scale, axis=axis),
            y=alt.Y("center:Q", scale=y_scale, axis=None),
            text=alt.Text("label:N"),
        )
    )
    texts = alt.Chart(options.assign(label_at=options["row"] + LABEL_AT)).encode(
        y=alt.Y("label_at:Q", scale=y_scale, axis=None)
    )
    label = texts.mark_text(align="left", baseline="middle", fill=INK, fontSize=12).encode(
        x=AT_LEFT, text=alt.Text("label:N")
    )
    note = texts.mark_text(align="right", baseline="middle", fill=MUTED, fontSize=12).encode(
        x=AT_RIGHT, text=alt.Text("note:N")
    )
    shown = [] if blocks.empty else [none, some, names]
    return finished(alt.layer(*shown, label, note), SHARES_ROW * len(options))


def gap_parts(parts: pd.DataFrame, *, axis_title: str) -> dict[str, Any]:
    """What a gap between two ways is made of: one row a part, right of zero for the first way.

    Parameters
    ----------
    parts
        Columns row, label, note, points, is_sum.
    axis_title
        Of the points.
    """
    reach = max(1.0, float(parts["points"].abs().max())) * 1.08
    x_scale = alt.Scale(domain=[-reach, reach], nice=True)
    y_scale = alt.Scale(domain=[len(parts), 0], nice=False)
    axis = alt.Axis(
        format="+.1~f", tickCount=5, labelExpr="datum.value === 0 ? '0' : datum.label"
    )  # fmt: skip
    placed = parts.assign(
        start=0.0,
        label_at=parts["row"] + 0.2,
        top=parts["row"] + 0.45,
        bottom=parts["row"] + 0.85,
    )
    bars = alt.Chart(placed).encode(
        x=alt.X("start:Q", title=axis_title, scale=x_scale, axis=axis),
        x2=alt.X2("points:Q"),
        y=alt.Y("top:Q", scale=y_scale, axis=None),
        y2=alt.Y2("bottom:Q"),
    )
    part = bars.transform_filter(~alt.datum.is_sum).mark_rect(
        fill=FILLS[0], stroke=SERIES[0], strokeWidth=1
    )
    total = bars.transform_filter(alt.datum.is_sum).mark_rect(fill=INK)
    zero = (
        alt.Chart(pd.DataFrame({"start": [0.0]}))
        .mark_rule(stroke=MUTED)
        .encode(x=alt.X("start:Q", title=axis_title, scale=x_scale, axis=axis))
    )
    texts = alt.Chart(placed).encode(y=alt.Y("label_at:Q", scale=y_scale, axis=None))
    label = texts.mark_text(align="left", baseline="middle", fill=INK, fontSize=12).encode(
        x=AT_LEFT, text=alt.Text("label:N")
    )
    note = texts.mark_text(align="right", baseline="middle", fill=MUTED, fontSize=12).encode(
        x=AT_RIGHT, text=alt.Text("note:N")
    )
    return finished(alt.layer(part, total, zero, label, note), PART_ROW * len(parts))


def _whiskers(
    base: alt.Chart,
    axis: alt.Axis,
    scale: alt.Scale,
    sources: list[str],
    title: str,
    digits: str,
    words: Words,
) -> alt.LayerChart | alt.FacetChart:
    """Median and interval by source; a click on the legend singles one source out."""
    singled_out = alt.selection_point(fields=["source"], bind="legend", name="singled_out")
    legend = legend_of(words["legend.source"], sources)
    color = alt.Color(
        "source:N", scale=alt.Scale(domain=sources, range=list(SERIES[: len(sources)])),
        legend=legend,
    )  # fmt: skip
    shape = alt.Shape(
        "source:N", scale=alt.Scale(domain=sources, range=list(SHAPES[: len(sources)])),
        legend=legend,
    )  # fmt: skip
    opacity = _dimmed(singled_out, 1.0, DIMMED)
    # The legend listens only where the first layer that has it carries the selection.
    rules = (
        base.mark_rule(strokeWidth=2.5)
        .encode(
            x=alt.X("lower:Q", scale=scale, title=title, axis=axis),
            x2=alt.X2("upper:Q"),
            color=color,
            opacity=opacity,
        )
        .add_params(singled_out)
    )
    points = base.mark_point(filled=True, size=85).encode(
        x=alt.X("median:Q", scale=scale, title=title, axis=axis),
        color=color,
        shape=shape,
        opacity=opacity,
        tooltip=[
            alt.Tooltip("what:N", title=words["column.what"]),
            alt.Tooltip("source:N", title=words["legend.source"]),
            alt.Tooltip("median:Q", title=words["legend.middle"], format=digits),
            alt.Tooltip("lower:Q", title=words["legend.lower"], format=digits),
            alt.Tooltip("upper:Q", title=words["legend.upper"], format=digits),
            alt.Tooltip("note:N", title=words["legend.note"]),
        ],
    )
    return alt.layer(rules, points)


def _dimmed(singled_out: alt.Parameter, shown: float, dimmed: float) -> alt.OpacityValue:
    """Opacity of what the reader has singled out, and of the rest."""
    condition = alt.condition(singled_out, alt.value(shown), alt.value(dimmed))["condition"]
    return alt.OpacityValue(dimmed, condition=condition)


def legend_of(title: str, names: list[str]) -> alt.Legend:
    """A legend whose rows fit a phone: the engine does not wrap them by itself."""
    longest = max((len(name) for name in names), default=1)
    return alt.Legend(title=title, columns=max(1, min(len(names), LEGEND_CHARACTERS // longest)))


def finished(chart: alt.LayerChart | alt.FacetChart, height: int) -> dict[str, Any]:
    """Give a chart its size and the house's configuration; as plain data."""
    spec: dict[str, Any] = chart.to_dict(validate=False)
    spec |= {"width": "container", "height": height}
    spec["config"] = chart_config()
    spec["autosize"] = {"type": "fit-x", "contains": "padding"}
    return spec


def _cycle(values: tuple[str, ...], names: list[str]) -> list[str]:
    return [values[i % len(values)] for i in range(len(names))]
