"""Pictures of an outcome along one exposure."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from studcurve.reports.charts.frame import (
    HEIGHT,
    cycle,
    ends_tooltip,
    estimate_tooltip,
    finished,
    legend_of,
)
from studcurve.reports.theme import INK, MUTED, SERIES
from studcurve.reports.words import Words

DASHES: Any = ([1, 2], [4, 2], [6, 2, 1, 2])
"""How the lines of regressions are told apart; all are thin."""

ROOM = 0.09
"""Room above and below for marks of single breedings, in parts of the axis."""


def outcome_along(
    curve: pd.DataFrame,
    bands: pd.DataFrame,
    marks: pd.DataFrame,
    regressed: pd.DataFrame,
    *,
    x_title: str,
    y_title: str,
    log_scale: bool,
    highest: float,
    digits: str,
    words: Words,
) -> dict[str, Any]:
    """Single breedings, bands with their intervals, and the curve of the same breedings.

    Parameters
    ----------
    curve
        Columns x, source (published or together), median, lower, upper, is_recorded; empty where
        the model holds no such row.
    bands
        Columns x, median, lower, upper, n.
    marks
        Columns x, y (where the mark stands), about.
    regressed
        Columns x, way (as the legend has it), median; empty where no regression has a curve.
    x_title, y_title
        Of the axes, with units.
    log_scale
        Whether the exposure is drawn by doublings.
    highest
        Upper end of the outcome's axis.
    digits
        Format of the outcome's numbers.
    words
        Of the reader.
    """
    x_scale = alt.Scale(type="log", base=2, nice=False) if log_scale else alt.Scale(nice=False)
    x = alt.X("x:Q", title=x_title, scale=x_scale, axis=alt.Axis(tickCount=6, format="~f"))
    scale = alt.Scale(domain=[-ROOM * highest, (1.0 + ROOM) * highest], nice=False)
    axis = alt.Axis(tickCount=5, format="d")

    def y(column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", title=y_title, scale=scale, axis=axis)

    layers: list[alt.Chart] = []
    if len(curve):
        published = curve[curve["source"] == "published"]
        together = curve[curve["source"] == "together"]
        ribbon = alt.Chart(together).mark_area(fill=SERIES[0], opacity=0.16)
        layers += [
            ribbon.encode(x=x, y=y("lower"), y2=alt.Y2("upper:Q")),
            _line(published, MUTED, [1, 0]).encode(x=x, y=y("median")),
            _line(together, SERIES[0], [5, 4]).encode(x=x, y=y("median")),
            _line(together[together["is_recorded"]], SERIES[0], [1, 0]).encode(
                x=x, y=y("median"), tooltip=estimate_tooltip(words, digits)
            ),
        ]
    if len(regressed):
        ways = list(dict.fromkeys(regressed["way"]))
        dash = alt.StrokeDash(
            "way:N",
            scale=alt.Scale(domain=ways, range=cycle(DASHES, ways)),
            legend=legend_of(words["legend.source"], ways),
        )
        layers.append(
            alt.Chart(regressed)
            .mark_line(stroke=SERIES[2], strokeWidth=1.2, clip=True)
            .encode(
                x=x,
                y=y("median"),
                strokeDash=dash,
                tooltip=[
                    alt.Tooltip("way:N", title=words["legend.source"]),
                    alt.Tooltip("median:Q", title=y_title, format=digits),
                ],
            )
        )
    layers.append(
        alt.Chart(marks)
        .mark_tick(thickness=1.4, size=11, opacity=0.55, color=INK, orient="vertical")
        .encode(x=x, y=y("y"), tooltip=[alt.Tooltip("about:N", title=words["legend.breeding"])])
    )
    base = alt.Chart(bands).encode(x=x)
    layers += [
        base.mark_rule(stroke=SERIES[1], strokeWidth=2).encode(
            y=y("lower"), y2=alt.Y2("upper:Q")
        ),
        base.mark_point(filled=True, size=70, fill=SERIES[1], stroke=SERIES[1]).encode(
            y=y("median"),
            tooltip=[
                alt.Tooltip("median:Q", title=y_title, format=digits),
                *ends_tooltip(words, digits),
                alt.Tooltip("n:Q", title=words["column.known"]),
            ],
        ),
    ]  # fmt: skip
    return finished(alt.layer(*layers), HEIGHT)


def _line(rows: pd.DataFrame, color: str, dash: list[int]) -> alt.Chart:
    line: alt.Chart = alt.Chart(rows).mark_line(stroke=color, strokeWidth=2, strokeDash=dash)
    return line
