"""Pictures of a plan: the ways beside each other, the pups of each, what a gap is made of."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from studcurve.reports.charts.frame import finished, row_texts
from studcurve.reports.theme import FILLS, INK, MUTED, RULE, SERIES
from studcurve.reports.words import Words

OPTION_ROW, SHARES_ROW, PART_ROW = 46, 38, 40
"""Height of a way's row in a comparison, of its pups and of a part of a gap: label above, bars
below. [px]"""

LABEL_AT, BARS_FROM, BARS_TO = 0.22, 0.42, 0.92
"""Where in its row the label stands and the bars begin and end. [rows]"""

NAMED_FROM = 9.0
"""A block of shares at least this wide is named inside. [%]"""


IN_PERCENT: Any = alt.Axis(values=[0, 25, 50, 75, 100])
"""Axis of a chance."""


def option_bars(
    bars: pd.DataFrame,
    options: pd.DataFrame,
    *,
    axis_title: str,
    axis: alt.Axis,
    domain: tuple[float, float],
    words: Words,
) -> dict[str, Any]:
    """One row a way: how its draws spread, the middle and its interval.

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
    label, note = row_texts(rows, y_scale)
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
    label, note = row_texts(options.assign(label_at=options["row"] + LABEL_AT), y_scale)
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
    label, note = row_texts(placed, y_scale)
    return finished(alt.layer(part, total, zero, label, note), PART_ROW * len(parts))
