"""Pictures of one stud: his samples over time, and his control charts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from studcurve.reports.charts.frame import (
    APART_FROM_AXIS,
    AT_LEFT,
    AT_TOP,
    DIMMED,
    HALVES_AND_DOUBLES,
    HEIGHT,
    YEARS,
    cycle,
    dimmed,
    ends_tooltip,
    finished,
    legend_of,
)
from studcurve.reports.theme import INK, LEVEL, MUTED, PAPER, SERIES, SHAPES
from studcurve.reports.words import Words


def evaluations_over_time(
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
    """One measure of a stud's samples over time, evaluators told apart by shape and color.

    Parameters
    ----------
    readings
        Columns on (datetime), value, low, high, evaluator, how.
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
    evaluators = sorted(readings["evaluator"].unique())
    singled_out = alt.selection_point(fields=["evaluator"], bind="legend", name="singled_out")
    scale = alt.Scale(type="log", nice=False) if log_scale else alt.Scale(domain=[0, 100])
    x = alt.X(
        "on:T", title=words["axis.collected"], scale=APART_FROM_AXIS,
        axis=YEARS,
    )  # fmt: skip
    axis = alt.Axis(values=HALVES_AND_DOUBLES) if log_scale else alt.Axis()
    y = alt.Y("value:Q", title=value_title, scale=scale, axis=axis)
    legend = legend_of(words["legend.evaluator"], evaluators)
    color = alt.Color(
        "evaluator:N", scale=alt.Scale(domain=evaluators, range=cycle(SERIES, evaluators)),
        legend=legend,
    )  # fmt: skip
    shape = alt.Shape(
        "evaluator:N", scale=alt.Scale(domain=evaluators, range=cycle(SHAPES, evaluators)),
        legend=legend,
    )  # fmt: skip
    opacity, faint = dimmed(singled_out, 0.9, DIMMED), dimmed(singled_out, 0.45, DIMMED / 2)
    tooltip = [
        alt.Tooltip("on:T", title=words["axis.collected"], format="%-d %b %Y"),
        alt.Tooltip("value:Q", title=value_title, format=",.0f"),
        alt.Tooltip("low:Q", title=words["legend.lower"], format=",.0f"),
        alt.Tooltip("high:Q", title=words["legend.upper"], format=",.0f"),
        alt.Tooltip("evaluator:N", title=words["legend.evaluator"]),
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


def control_chart(
    frame: pd.DataFrame, *, value_title: str, log_scale: bool, words: Words
) -> dict[str, Any]:
    """Collections between their limits; those outside by shape, color and name.

    Parameters
    ----------
    frame
        Columns on (datetime), value, lower, upper, where (one of two texts: inside first).
    value_title
        Axis title with unit.
    log_scale
        Whether equal distances are equal ratios.
    words
        Of the reader.
    """
    scale = (
        alt.Scale(type="log", nice=False, padding=6) if log_scale
        else alt.Scale(zero=False, padding=6)
    )  # fmt: skip
    x = alt.X(
        "on:T", title=words["axis.collected"], scale=APART_FROM_AXIS,
        axis=YEARS,
    )  # fmt: skip
    axis = alt.Axis(values=HALVES_AND_DOUBLES) if log_scale else alt.Axis()
    base = alt.Chart(frame).encode(x=x)
    limits = [
        base.mark_line(stroke=MUTED, strokeWidth=1, interpolate="step").encode(
            y=alt.Y(f"{end}:Q", scale=scale, title=value_title, axis=axis)
        )
        for end in ("lower", "upper")
    ]
    places = [words["control.inside"], words["control.outside"]]
    points = base.mark_point(filled=True, size=42).encode(
        y=alt.Y("value:Q", scale=scale, title=value_title),
        color=alt.Color(
            "where:N", scale=alt.Scale(domain=places, range=list(SERIES[:2])),
            legend=legend_of(words["legend.limits"], places),
        ),
        shape=alt.Shape(
            "where:N", scale=alt.Scale(domain=places, range=[SHAPES[0], SHAPES[3]]),
            legend=legend_of(words["legend.limits"], places),
        ),
        tooltip=[
            alt.Tooltip("on:T", title=words["axis.collected"], format="%-d %b %Y"),
            alt.Tooltip("value:Q", title=value_title, format=",.1f"),
            *ends_tooltip(words, ",.1f"),
        ],
    )  # fmt: skip
    return finished(alt.layer(*limits, points), 210)
