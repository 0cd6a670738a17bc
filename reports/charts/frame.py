"""What pictures share: sizes, axes, legends, and how a chart becomes a specification."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd
from altair.utils.schemapi import disable_debug_mode

from studcurve.reports.theme import INK, MUTED, chart_config
from studcurve.reports.words import Words

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


def dimmed(singled_out: alt.Parameter, shown: float, dimmed: float) -> alt.OpacityValue:
    """Opacity of what the reader has singled out, and of the rest."""
    condition = alt.condition(singled_out, alt.value(shown), alt.value(dimmed))["condition"]
    return alt.OpacityValue(dimmed, condition=condition)


def legend_of(title: str, names: list[str]) -> alt.Legend:
    """A legend whose rows fit a phone: the engine does not wrap them by itself."""
    longest = max((len(name) for name in names), default=1)
    return alt.Legend(title=title, columns=max(1, min(len(names), LEGEND_CHARACTERS // longest)))


def ends_tooltip(words: Words, digits: str) -> list[alt.Tooltip]:
    """Ends of an interval, in the columns lower and upper."""
    return [
        alt.Tooltip("lower:Q", title=words["legend.lower"], format=digits),
        alt.Tooltip("upper:Q", title=words["legend.upper"], format=digits),
    ]


def estimate_tooltip(words: Words, digits: str) -> list[alt.Tooltip]:
    """The middle, in the column median, and the ends of its interval."""
    middle = alt.Tooltip("median:Q", title=words["legend.middle"], format=digits)
    return [middle, *ends_tooltip(words, digits)]


def row_texts(rows: pd.DataFrame, scale: alt.Scale) -> tuple[alt.Chart, alt.Chart]:
    """What stands above a row of bars: its label at the left, a note at the right.

    Parameters
    ----------
    rows
        Columns label_at (place on the scale), label, note.
    scale
        Of the rows.
    """
    texts = alt.Chart(rows).encode(y=alt.Y("label_at:Q", scale=scale, axis=None))
    return (
        texts.mark_text(align="left", baseline="middle", fill=INK, fontSize=12).encode(
            x=AT_LEFT, text=alt.Text("label:N")
        ),
        texts.mark_text(align="right", baseline="middle", fill=MUTED, fontSize=12).encode(
            x=AT_RIGHT, text=alt.Text("note:N")
        ),
    )


def finished(chart: alt.LayerChart | alt.FacetChart, height: int) -> dict[str, Any]:
    """Give a chart its size and the house's configuration; as plain data."""
    spec: dict[str, Any] = chart.to_dict(validate=False)
    spec |= {"width": "container", "height": height}
    spec["config"] = chart_config()
    spec["autosize"] = {"type": "fit-x", "contains": "padding"}
    return spec


def cycle(values: tuple[str, ...], names: list[str]) -> list[str]:
    """One value for each name; from the first again where they run out."""
    return [values[i % len(values)] for i in range(len(names))]
