"""One function per question: a frame in, an Altair chart out.

Frames carry finished numbers under fixed plain column names; a chart lays them out and decides
nothing. Every text value may be hostile: it stays a datum and never becomes a field name.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import altair as alt
import pandas as pd

from reports.theme import INK, MUTED, SERIES, SHAPES, chart_config

HEIGHT = 250
"""Height of a time chart. [px]"""

DIMMED = 0.12
"""Opacity of what the reader has not singled out."""


def readings_over_time(
    readings: pd.DataFrame,
    events: pd.DataFrame,
    *,
    value_title: str,
    commonly_used: float,
    log_scale: bool,
    t: Mapping[str, str],
) -> dict[str, Any]:
    """One measure of a stud's samples over time, observers told apart by shape and color.

    Parameters
    ----------
    readings
        Columns on (datetime), value, low, high, observer, how.
    events
        Columns on (datetime), label.
    value_title
        Axis title with unit.
    commonly_used
        A published value drawn as a dashed line; the lead beside the chart names its source.
    log_scale
        Whether equal distances are equal ratios.
    t
        Texts.

    Returns
    -------
    dict
        Vega-Lite specification.
    """
    observers = sorted(readings["observer"].unique())
    singled_out = alt.selection_point(fields=["observer"], bind="legend", name="singled_out")
    scale = alt.Scale(type="log", nice=False) if log_scale else alt.Scale(domain=[0, 100])
    x = alt.X("on:T", title=t["axis_date"], axis=alt.Axis(format="%Y", tickCount="year"))
    y = alt.Y("value:Q", title=value_title, scale=scale)
    legend = alt.Legend(title=t["legend_observer"])
    color = alt.Color(
        "observer:N", scale=alt.Scale(domain=observers, range=_cycle(SERIES, observers)),
        legend=legend,
    )  # fmt: skip
    shape = alt.Shape(
        "observer:N", scale=alt.Scale(domain=observers, range=_cycle(SHAPES, observers)),
        legend=legend,
    )  # fmt: skip
    opacity = alt.condition(singled_out, alt.value(0.9), alt.value(DIMMED))
    faint = alt.condition(singled_out, alt.value(0.45), alt.value(DIMMED / 2))
    tooltip = [
        alt.Tooltip("on:T", title=t["axis_date"], format="%-d %b %Y"),
        alt.Tooltip("value:Q", title=value_title, format=".3~r"),
        alt.Tooltip("low:Q", title=t["column_interval"], format=".3~r"),
        alt.Tooltip("high:Q", title="–", format=".3~r"),
        alt.Tooltip("observer:N", title=t["legend_observer"]),
        alt.Tooltip("how:N", title="·"),
    ]
    base = alt.Chart(readings)
    # The legend listens only where the first layer that has it carries the selection.
    errors = (
        base.mark_rule(strokeWidth=1.5)
        .encode(
            x=x, y=alt.Y("low:Q", scale=scale, title=value_title), y2="high:Q", color=color,
            opacity=faint,
        )
        .add_params(singled_out)
    )  # fmt: skip
    points = base.mark_point(filled=True, size=42).encode(
        x=x, y=y, color=color, shape=shape, opacity=opacity, tooltip=tooltip
    )
    reference = pd.DataFrame({"value": [commonly_used]})
    line = alt.Chart(reference).mark_rule(stroke=MUTED, strokeDash=[5, 4]).encode(y=y)
    layers: list[Any] = [line, errors, points]
    if not events.empty:
        marks = alt.Chart(events).encode(x=x)
        layers[:0] = [marks.mark_rule(stroke=MUTED, strokeWidth=1)]
        layers.append(
            marks.mark_text(
                align="left", baseline="top", dx=4, fill=INK, fontSize=11, fontStyle="italic"
            ).encode(y=alt.value(2), text="label:N")
        )
    return _finished(alt.layer(*layers), HEIGHT)


def chance_by_semen_type(chances: pd.DataFrame, t: Mapping[str, str]) -> dict[str, Any]:
    """Chance of a litter by semen type: published, own records, together.

    Parameters
    ----------
    chances
        Columns semen, source (in display order), median_pct, lower_pct, upper_pct, note.
    t
        Texts.

    Returns
    -------
    dict
        Vega-Lite specification.
    """
    sources = [t["published"], t["own"], t["together"]]
    semen = list(dict.fromkeys(chances["semen"]))
    singled_out = alt.selection_point(fields=["source"], bind="legend", name="singled_out")
    scale = alt.Scale(domain=[0, 100])
    color = alt.Color(
        "source:N", scale=alt.Scale(domain=sources, range=list(SERIES[:3])),
        legend=alt.Legend(title=t["legend_source"]),
    )  # fmt: skip
    shape = alt.Shape(
        "source:N", scale=alt.Scale(domain=sources, range=list(SHAPES[:3])),
        legend=alt.Legend(title=t["legend_source"]),
    )  # fmt: skip
    opacity = alt.condition(singled_out, alt.value(1.0), alt.value(DIMMED))
    base = alt.Chart(chances).encode(
        y=alt.Y("semen:N", sort=semen, title=None),
        yOffset=alt.YOffset("source:N", sort=sources),
        color=color,
        opacity=opacity,
    )
    whiskers = (
        base.mark_rule(strokeWidth=2.5)
        .encode(x=alt.X("lower_pct:Q", scale=scale, title=t["axis_chance"]), x2="upper_pct:Q")
        .add_params(singled_out)
    )
    points = base.mark_point(filled=True, size=85).encode(
        x=alt.X("median_pct:Q", scale=scale, title=t["axis_chance"]),
        shape=shape,
        tooltip=[
            alt.Tooltip("semen:N", title=t["column_semen"]),
            alt.Tooltip("source:N", title=t["legend_source"]),
            alt.Tooltip("median_pct:Q", title=t["axis_chance"], format=".0f"),
            alt.Tooltip("lower_pct:Q", title=t["column_interval"], format=".0f"),
            alt.Tooltip("upper_pct:Q", title="–", format=".0f"),
            alt.Tooltip("note:N", title="·"),
        ],
    )
    return _finished(alt.layer(whiskers, points), 62 * len(semen) + 20)


def _finished(chart: alt.LayerChart | alt.FacetChart, height: int) -> dict[str, Any]:
    """Give a chart its size and the house's configuration; as plain data."""
    spec: dict[str, Any] = chart.properties(width="container", height=height).to_dict()
    spec["config"] = chart_config()
    spec["autosize"] = {"type": "fit-x", "contains": "padding"}
    return spec


def _cycle(values: tuple[str, ...], names: list[str]) -> list[str]:
    return [values[i % len(values)] for i in range(len(names))]
