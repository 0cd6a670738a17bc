"""At which delay, dose or day does the order of two options flip?

One option is moved, the other stays as planned, in the same draws; the line is where their mean
chances cross, found between the points of a grid. A line outside the grid is said to be none:
nothing is extrapolated.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from studcurve.analytics.estimate import Floats
from studcurve.analytics.plan.simulation.chain import Outcome, Pair, Shift, Unknowns, simulate

Axis = Literal["delay_h", "doublings", "days"]
"""What is moved: the shipment (hours), the motile dose (log2 of a factor), the day."""

GRIDS: Mapping[Axis, tuple[float, ...]] = MappingProxyType(
    {
        "delay_h": tuple(float(hour) for hour in range(0, 73, 6)),
        "doublings": tuple(step / 2.0 for step in range(-10, 7)),
        "days": tuple(step / 2.0 for step in range(-8, 9)),
    }
)
"""Where the chance is computed: up to 72 h, to a 32nd and 8 times the dose, 4 days either way."""


@dataclass(frozen=True, slots=True)
class BreakEven:
    """One line at which two options change places.

    Attributes
    ----------
    moved, other
        Positions of the option that is moved and of the one that stays.
    axis
        What is moved.
    at
        Where the order flips, nearest to the plan; None when it does not within the grid.
    dose_m
        Motile dose there, for the dose. [10⁶]
    """

    moved: int
    other: int
    axis: Axis
    at: float | None
    dose_m: float | None = None


def axes_of(outcome: Outcome) -> tuple[Axis, ...]:
    """What can be moved of an option."""
    option = outcome.option
    axes: list[Axis] = ["days"]
    if option.carrier is not None:
        axes.insert(0, "delay_h")
    if option.semen_type != "natural":
        axes.append("doublings")
    return tuple(axes)


def break_evens(
    outcomes: Sequence[Outcome], pair: Pair, unknowns: Unknowns, moved: int
) -> tuple[BreakEven, ...]:
    """Find every line at which one option changes places with another.

    Parameters
    ----------
    outcomes
        One an option, as planned.
    pair, unknowns
        As they were simulated.
    moved
        Position of the option that is moved; every other one stays.
    """
    option = outcomes[moved].option
    lines = []
    for axis in axes_of(outcomes[moved]):
        grid = np.array(GRIDS[axis])
        chances = np.array(
            [
                simulate(option, pair, unknowns, shift=_shift(axis, x)).litter_prob.mean()
                for x in grid
            ]
        )
        for k, other in enumerate(outcomes):
            if k == moved:
                continue
            at = crossing(grid, chances - other.litter_prob.mean())
            dose = None
            if axis == "doublings" and at is not None:
                dose = float(np.median(outcomes[moved].motile_dose_m) * 2.0**at)
            lines.append(BreakEven(moved, k, axis, at, dose))
    return tuple(lines)


def crossing(grid: Floats, gap: Floats) -> float | None:
    """Where a gap changes sign nearest to zero of the grid; None when it does not.

    A gap of exactly nought is of neither sign: it is a crossing where the gaps on its two sides
    differ in sign, and none where it is only touched or where the grid ends in it.

    Parameters
    ----------
    grid
        Increasing points.
    gap
        Its value there.

    Examples
    --------
    >>> crossing(np.array([-1.0, 0.0, 1.0, 2.0]), np.array([3.0, 1.0, -1.0, -2.0]))
    0.5
    """
    signed = np.flatnonzero(gap)
    changes = np.flatnonzero(np.sign(gap[signed[:-1]]) != np.sign(gap[signed[1:]]))
    if changes.size == 0:
        return None
    before, after = signed[changes], signed[changes + 1]

    def nought(left: NDArray[np.intp]) -> Floats:
        way = gap[left] / (gap[left] - gap[left + 1])
        return np.asarray(grid[left] + (grid[left + 1] - grid[left]) * way)

    # Both ends are the same point unless the gap is nought on the way from one to the other.
    at = np.clip(0.0, nought(before), nought(after - 1))
    return float(at[np.abs(at).argmin()])


def _shift(axis: Axis, x: float) -> Shift:
    if axis == "delay_h":
        return Shift(delay_h=x)
    return Shift(doublings=x) if axis == "doublings" else Shift(days=x)
