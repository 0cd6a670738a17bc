"""Pictures of chances, of litters and of what became of breedings."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt
import pandas as pd

from studcurve.reports.charts.frame import AT_LEFT, DIMMED, HEIGHT, dimmed, finished, legend_of
from studcurve.reports.theme import FILLS, INK, MUTED, PAPER, SERIES, SHAPES
from studcurve.reports.words import Words

BAR_HALF, APART = 0.42, 0.17
"""Half of a bar's width, and how far marks stand beside its middle. [pups]"""

FLOW_HEIGHT, FLOW_LETTER, FLOW_LINE = 330, 11, 13
"""Height of the picture of outcomes, of its letters and of a line of them. [px]"""

FLOW_FLATTEST = 0.85
"""On paper a picture is drawn flatter, by no more than this: its labels must still fit."""

FLOW_NARROW, FLOW_NARROW_CHARACTERS, FLOW_WIDE_CHARACTERS = 520, 10, 15
"""Below this width the blocks of the outcomes hold fewer letters beside each other. [px]"""

COEFFICIENT_ROW = 46
"""Height of a label with three marks below it; nineteen of them fit a printed page. [px]"""


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
    opacity = dimmed(singled_out, 1.0, DIMMED)
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
