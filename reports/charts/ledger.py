"""Pictures of stated chances against what came of them."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from studcurve.reports.charts.frame import HEIGHT, ends_tooltip, finished
from studcurve.reports.theme import MUTED, SERIES
from studcurve.reports.words import Words


def calibration(bands: pd.DataFrame, words: Words) -> dict[str, Any]:
    """Litter rate against stated chance, group by group, beside the line on which they agree.

    Parameters
    ----------
    bands
        Columns stated, median, lower, upper (%), n (breedings).
    words
        Of the reader.
    """
    scale = alt.Scale(domain=[0, 100])
    axis = alt.Axis(values=[0, 25, 50, 75, 100])
    x = alt.X("stated:Q", title=words["axis.stated"], scale=scale, axis=axis)
    rate = words["axis.litter_rate"]
    agreeing = (
        alt.Chart(pd.DataFrame({"stated": [0, 100], "median": [0, 100]}))
        .mark_line(stroke=MUTED, strokeDash=[4, 4], strokeWidth=1)
        .encode(x=x, y=alt.Y("median:Q", title=rate, scale=scale, axis=axis))
    )
    base = alt.Chart(bands).encode(x=x)
    ends = base.mark_rule(stroke=SERIES[1], strokeWidth=2).encode(
        y=alt.Y("lower:Q", title=rate, scale=scale, axis=axis), y2=alt.Y2("upper:Q")
    )
    marks = base.mark_point(filled=True, size=70, fill=SERIES[1], stroke=SERIES[1]).encode(
        y=alt.Y("median:Q", title=rate, scale=scale, axis=axis),
        tooltip=[
            alt.Tooltip("stated:Q", title=words["axis.stated"], format=".0f"),
            alt.Tooltip("median:Q", title=rate, format=".0f"),
            *ends_tooltip(words, ".0f"),
            alt.Tooltip("n:Q", title=words["column.breedings"], format="d"),
        ],
    )
    return finished(alt.layer(agreeing, ends, marks), HEIGHT)
