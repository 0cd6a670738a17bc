"""Colors, type and sizes, shared by charts and pages.

A page names its colors by role in CSS variables, so that one drawing serves light, dark and paper.
The four series also differ in lightness, so that they keep apart for every common color vision, on
screen and in print; shape and label always say the same. A test measures both.
"""

from __future__ import annotations

from typing import Any

INK, MUTED, RULE, PAPER = "var(--ink)", "var(--muted)", "var(--rule)", "var(--paper)"
SERIES = ("var(--series-1)", "var(--series-2)", "var(--series-3)", "var(--series-4)")
SHAPES = ("circle", "square", "triangle-up", "diamond")
LEVEL = INK
"""A level over time: no evaluator's color, so that no mark seems to be its own."""

FILLS = ("var(--fill-1)", "var(--fill-2)", "var(--paper)")
"""Quiet areas behind text: what came of it, what did not, what is unknown."""

FONT = "'Source Sans 3', 'Segoe UI', 'Helvetica Neue', 'Noto Sans', Arial, sans-serif"
"""Spelled out, as in the stylesheet: the chart engine measures text before any style applies."""


PAPER_COLORS = {
    "paper": "#ffffff", "ink": "#22272c", "muted": "#5b646c", "rule": "#d9d5cb",
    "series-1": "#2a5f8f", "series-2": "#a9600f", "series-3": "#35481f", "series-4": "#a57c9c",
    "fill-1": "#cfdde8", "fill-2": "#ebdcc8",
}  # fmt: skip
"""The roles in ink: what the stylesheet's light palette holds, on white. A test compares them."""

PAPER_FONT = "Libertinus Serif"
"""Named by itself: the typesetter brings it along, and knows no other family."""


def chart_config() -> dict[str, Any]:
    """Vega-Lite configuration of every chart."""
    text = {"labelColor": INK, "titleColor": MUTED, "labelFont": FONT, "titleFont": FONT}
    return {
        "background": "transparent",
        "font": FONT,
        "view": {"stroke": "transparent"},
        "axis": {
            **text,
            "domainColor": RULE,
            "tickColor": RULE,
            "gridColor": RULE,
            "gridOpacity": 0.55,
            "labelFontSize": 12,
            "titleFontSize": 12,
            "titleFontWeight": "normal",
            "titlePadding": 10,
        },
        "legend": {
            **text,
            "orient": "bottom",
            "direction": "horizontal",
            "labelFontSize": 12,
            "titleFontSize": 12,
            "titleFontWeight": "normal",
            "symbolSize": 80,
            "symbolOpacity": 1,
            "labelLimit": 260,
            "columns": 3,
        },
        "range": {"category": list(SERIES)},
        "text": {"color": INK, "font": FONT, "fontSize": 12},
    }
