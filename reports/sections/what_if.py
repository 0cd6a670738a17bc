"""What if the dose were smaller, the day later, the shipment a day on its way? Sliders over a grid.

The grid comes finished from ``analytics/models/conception/response.py``; the page looks it up and
draws it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from studcurve.analytics.models.conception.bred import BredDot
from studcurve.analytics.models.conception.response import BEST_DAY, Response
from studcurve.reports.charts.chances import response
from studcurve.reports.page import Panel, Section, Slider, Table, columns
from studcurve.reports.words import Words

TABLE_DAYS = (-2.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0)
"""Days that the table behind the sliders shows. [d]"""

USUAL_M = {"vaginal": 200.0, "natural": 200.0}
"""Dose at which sliders start, where it is not that inside the womb. [10⁶]"""

INTRAUTERINE_M = 100.0
"""The same by transcervical insemination. [10⁶]"""

LITTER_Y, NONE_Y, SCATTER = 104.0, -4.0, 5.0
"""Where the breedings stand above and below the curve, and how far they are spread apart."""

_GOLDEN = 0.618034


def build_whatif(responses: Sequence[Response], dots: Sequence[BredDot], words: Words) -> Section:
    """Lay out the sliders, their two pictures and the table behind them.

    Parameters
    ----------
    responses
        Grids in the order of the choice; the first is shown first.
    dots
        Breedings with a known outcome.
    words
        Of the reader.
    """
    panel = Panel(
        legend=words["whatif.legend"],
        choice_label=words["whatif.choice"],
        choices=tuple(_method(grid, words) for grid in responses),
        sliders=(
            Slider("hours", words["whatif.hours"]),
            Slider("dose", words["whatif.dose"]),
            Slider("day", words["whatif.day"]),
        ),
        reading=words["whatif.reading"],
        data={
            "grids": [_grid(grid, dots, words) for grid in responses],
            "reading": words.say("whatif.value"),
            "charts": [
                {"name": "whatif-0", "axis": 2},
                {"name": "whatif-1", "axis": 1},
            ],
        },
    )
    first = panel.data["grids"][0]
    by_day = response(
        along_axis(first, 2), axis_title=words["axis.day"], log_scale=False, words=words
    )
    by_dose = response(
        along_axis(first, 1), axis_title=words["axis.dose"], log_scale=True, words=words
    )
    heads = columns(words, ["method", "hours", "dose"], texts_in={"method"})
    days = tuple(words.number(day, signed=day != 0) for day in TABLE_DAYS)
    headed = (*heads, *columns_of_days(days, words))
    return Section(
        "whatif",
        words["whatif.heading"],
        words["whatif.lead"],
        panel=panel,
        charts=(
            (words["whatif.spoken_day"], by_day),
            (words["whatif.spoken_dose"], by_dose),
        ),
        table=Table(words["whatif.caption"], headed, tuple(_rows(responses, words))),
    )


def columns_of_days(days: Sequence[str], words: Words) -> tuple[Any, ...]:
    """One column a day from ovulation."""
    (plain,) = columns(words, ["day"], texts_in=set())
    return tuple(type(plain)(f"{plain.heading} {day}", True) for day in days)


def _rows(responses: Sequence[Response], words: Words) -> list[tuple[str, ...]]:
    """Chance with its interval by method, at the usual dose and the first hours."""
    rows = []
    for grid in responses:
        dose = _start(grid.doses_m, _usual(grid))
        cells = []
        for day in TABLE_DAYS:
            k = grid.days.index(day)
            low, middle, high = (
                float(ends[0, dose, k]) for ends in (grid.lower, grid.median, grid.upper)
            )
            cells.append(f"{words.whole_percent(middle)} ({words.interval(100 * low, 100 * high)})")
        rows.append(
            (
                _method(grid, words),
                words.number(grid.hours[0]) if len(grid.hours) > 1 else "–",
                words.number(grid.doses_m[dose]) if len(grid.doses_m) > 1 else "–",
                *cells,
            )
        )
    return rows


def _grid(grid: Response, dots: Sequence[BredDot], words: Words) -> dict[str, Any]:
    """One method as the script reads it: positions, labels, values in percent."""
    shown = [dot for dot in dots if (dot.semen_type, dot.route) == (grid.semen_type, grid.route)]
    values = [
        round(100.0 * float(value), 1)
        for cell in zip(grid.lower.ravel(), grid.median.ravel(), grid.upper.ravel(), strict=True)
        for value in cell
    ]
    return {
        "axes": [
            {
                "at": list(grid.hours),
                "labels": [words.say("whatif.hour", value=hour) for hour in grid.hours],
                "start": 0,
            },
            {
                "at": list(grid.doses_m),
                "labels": [words.say("whatif.motile", value=dose) for dose in grid.doses_m],
                "start": _start(grid.doses_m, _usual(grid)),
            },
            {
                "at": list(grid.days),
                "labels": [
                    words.say("whatif.from_ovulation", value=words.number(day, 1, signed=day != 0))
                    for day in grid.days
                ],
                "start": _start(grid.days, BEST_DAY[grid.semen_type]),
            },
        ],
        "values": values,
        "dots": [
            [],
            [_dot(k, dot, dot.dose_m, words) for k, dot in enumerate(shown) if dot.dose_m],
            [_dot(k, dot, dot.day, words) for k, dot in enumerate(shown) if dot.day is not None],
        ],
    }


def along_axis(grid: dict[str, Any], axis: int) -> dict[str, list[dict[str, Any]]]:
    """What a picture shows along one axis of a panel's grid where the sliders start.

    Parameters
    ----------
    grid
        ``axes``, ``values`` and, where breedings are shown, ``dots`` as the script reads them.
    axis
        Position of the axis.
    """
    sizes = [len(one["at"]) for one in grid["axes"]]
    where = [one["start"] for one in grid["axes"]]
    curve = []
    for k, x in enumerate(grid["axes"][axis]["at"]):
        here = [*where[:axis], k, *where[axis + 1 :]]
        cell = 3 * ((here[0] * sizes[1] + here[1]) * sizes[2] + here[2])
        lower, median, upper = grid["values"][cell : cell + 3]
        curve.append({"x": x, "lower": lower, "median": median, "upper": upper})
    sets = {"curve": curve, "here": [curve[where[axis]]]}
    return {**sets, "dots": grid["dots"][axis]} if "dots" in grid else sets


def _dot(k: int, dot: BredDot, x: float | None, words: Words) -> dict[str, Any]:
    """A breeding above or below the curve, spread apart so that none hides another."""
    spread = SCATTER * ((k * _GOLDEN) % 1.0 - 0.5)
    outcome = words["whatif.litter" if dot.gave_litter else "whatif.no_litter"]
    return {
        "x": x,
        "outcome": (LITTER_Y if dot.gave_litter else NONE_Y) + spread,
        "whose": "his" if dot.is_his else "other",
        "about": f"{dot.bitch}: {outcome}" if dot.bitch else outcome,
    }


def _method(grid: Response, words: Words) -> str:
    """Semen and route in words."""
    semen = words.word("semen", grid.semen_type)
    if grid.semen_type == "natural":
        return semen
    return f"{semen}, {words.word('route', grid.route)}"


def _usual(grid: Response) -> float:
    return USUAL_M.get(grid.route, INTRAUTERINE_M)


def _start(positions: Sequence[float], wanted: float) -> int:
    return min(range(len(positions)), key=lambda k: abs(positions[k] - wanted))
