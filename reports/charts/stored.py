"""Pictures of stored samples: what is left between stages, and how long it lasts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from studcurve.reports.charts.frame import AT_TOP, estimate_tooltip, finished, legend_of
from studcurve.reports.theme import INK, MUTED, SERIES, SHAPES
from studcurve.reports.words import Words

STORED_STAGES = ("retained", "on arrival", "after thaw")
"""Stages whose readings stand beside a storage curve, each with a shape of its own."""


def kept_by_stage(pairs: pd.DataFrame, means: pd.DataFrame, words: Words) -> dict[str, Any]:
    """What is left between two stages: every collection as a dot, the mean with its interval.

    Parameters
    ----------
    pairs
        Columns what (both stages), kept (%).
    means
        Columns what, lower, median, upper (%).
    words
        Of the reader.
    """
    rows = list(dict.fromkeys(means["what"]))
    scale = alt.Scale(domain=[0, max(110.0, float(pairs["kept"].max()) + 3.0)], nice=False)
    # The later stage stands below the earlier one: in one line both leave a phone no picture.
    two_lines = alt.Axis(
        labelLimit=240, labelOffset=-7, labelExpr="split(replace(datum.label, ' →', '\\n→'), '\\n')"
    )
    y = alt.Y("what:N", sort=rows, title=None, axis=two_lines)
    title = words["axis.kept"]
    # Flush with its axis the title has room to the left, below the names of the rows.
    axis = alt.Axis(values=[0, 25, 50, 75, 100, 125, 150], titleAnchor="end")
    dots = (
        alt.Chart(pairs)
        .mark_point(size=26, strokeWidth=1.2, stroke=SERIES[0], opacity=0.55)
        .encode(x=alt.X("kept:Q", scale=scale, title=title, axis=axis), y=y)
    )
    base = alt.Chart(means).encode(y=y)
    whole = (
        alt.Chart(pd.DataFrame({"kept": [100.0]}))
        .mark_rule(stroke=MUTED, strokeDash=[5, 4])
        .encode(x=alt.X("kept:Q", scale=scale, title=title, axis=axis))
    )
    whisker = base.mark_rule(strokeWidth=2, stroke=INK, opacity=0.7).encode(
        x=alt.X("lower:Q", scale=scale, title=title, axis=axis), x2=alt.X2("upper:Q")
    )
    middle = base.mark_point(filled=True, size=85, fill=INK, shape="diamond").encode(
        x=alt.X("median:Q", scale=scale, title=title, axis=axis),
        tooltip=[
            alt.Tooltip("what:N", title=words["column.what"]),
            *estimate_tooltip(words, ".0f"),
        ],
    )
    return finished(alt.layer(whole, whisker, middle, dots), 46 * len(rows) + 16)


def storage_of_extender(
    curve: pd.DataFrame,
    readings: pd.DataFrame,
    *,
    planned_hours: float,
    title: str,
    words: Words,
) -> dict[str, Any]:
    """Share of motility kept hour by hour, own readings as dots, the planned hour marked.

    Parameters
    ----------
    curve
        Columns hours, lower, median, upper (%), part (one of two texts: read here, extrapolated).
    readings
        Columns hours, kept (%), stage.
    planned_hours
        Hour that is marked. [h]
    title
        The extender.
    words
        Of the reader.
    """
    half_days = alt.Axis(values=list(range(0, int(curve["hours"].max()) + 1, 12)))
    x = alt.X(
        "hours:Q", title=words["axis.hours"], scale=alt.Scale(nice=False, zero=True),
        axis=half_days,
    )  # fmt: skip
    highest = float(readings["kept"].max()) + 4.0 if len(readings) else 0.0
    scale = alt.Scale(domain=[0, max(110.0, highest)])
    kept = words["axis.kept_raw"]
    base = alt.Chart(curve).encode(x=x)
    band = base.mark_area(fill=SERIES[0], opacity=0.16).encode(
        y=alt.Y("lower:Q", scale=scale, title=kept), y2=alt.Y2("upper:Q")
    )
    parts = [words["storage.studied"], words["storage.extrapolated"]]
    line = base.mark_line(stroke=SERIES[0], strokeWidth=2.5).encode(
        y=alt.Y("median:Q", scale=scale, title=kept),
        strokeDash=alt.StrokeDash(
            "part:N", scale=alt.Scale(domain=parts, range=[[1, 0], [4, 4]]),
            legend=legend_of(words["legend.curve"], parts),
        ),
    )  # fmt: skip
    here = alt.Chart(
        pd.DataFrame(
            {
                "hours": [planned_hours],
                "label": [words.say("storage.planned", hours=planned_hours)],
            }
        )
    ).encode(x=x)
    layers: list[Any] = [
        band,
        here.mark_rule(stroke=INK, strokeDash=[2, 3]),
        here.mark_text(align="left", baseline="top", dx=4, fill=INK, fontSize=11).encode(
            y=AT_TOP, text=alt.Text("label:N")
        ),
        line,
    ]
    if len(readings):
        shapes = {
            words.word("stage", stage): shape
            for stage, shape in zip(STORED_STAGES, SHAPES, strict=False)
        }
        stages = [stage for stage in shapes if (readings["stage"] == stage).any()]
        layers.append(
            alt.Chart(readings)
            .mark_point(size=34, strokeWidth=1.3, stroke=SERIES[1])
            .encode(
                x=x,
                y=alt.Y("kept:Q", scale=scale, title=kept),
                shape=alt.Shape(
                    "stage:N",
                    scale=alt.Scale(domain=stages, range=[shapes[stage] for stage in stages]),
                    legend=legend_of(words["legend.stage"], stages),
                ),
                tooltip=[
                    alt.Tooltip("hours:Q", title=words["axis.hours"], format=".0f"),
                    alt.Tooltip("kept:Q", title=kept, format=".0f"),
                    alt.Tooltip("stage:N", title=words["legend.stage"]),
                ],
            )
        )  # fmt: skip
    spec = finished(alt.layer(*layers), 230)
    spec["title"] = {"text": title, "anchor": "start", "color": INK, "fontSize": 13}
    return spec


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
            *estimate_tooltip(words, ",.0f"),
        ],
    )
    return finished(alt.layer(band, line, points), 220)
