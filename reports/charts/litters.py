"""Pictures of litters by size, and of what became of breedings."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from studcurve.reports.charts.frame import HEIGHT, ends_tooltip, finished, legend_of
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
        *ends_tooltip(words, "d"),
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
