"""Pictures of chances of a litter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt
import pandas as pd

from studcurve.reports.charts.frame import (
    AT_LEFT,
    DIMMED,
    dimmed,
    estimate_tooltip,
    finished,
    legend_of,
)
from studcurve.reports.theme import INK, MUTED, SERIES, SHAPES
from studcurve.reports.words import Words

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
            *estimate_tooltip(words, digits),
            alt.Tooltip("note:N", title=words["legend.note"]),
        ],
    )
    return alt.layer(rules, points)
