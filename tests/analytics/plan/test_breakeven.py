"""Where the order of two options changes: straight gaps, grids and the chain itself."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.analytics.plan.conftest import of

from studcurve.analytics.plan.breakeven import GRIDS, axes_of, break_evens, crossing
from studcurve.analytics.plan.simulation.chain import Shift, simulate


def test_a_line_between_two_options_is_where_their_chances_are_equal(pair, unknowns, outcomes):
    moved = next(k for k, o in enumerate(outcomes) if o.option.method == "fresh vaginal once")
    shifts = {
        "delay_h": lambda x: Shift(delay_h=x),
        "doublings": lambda x: Shift(doublings=x),
        "days": lambda x: Shift(days=x),
    }

    lines = break_evens(outcomes, pair, unknowns, moved)

    assert {line.moved for line in lines} == {moved}
    assert {line.other for line in lines} == set(range(len(outcomes))) - {moved}
    found = [line for line in lines if line.at is not None]
    assert found
    for line in lines:
        other = outcomes[line.other].litter_prob.mean()
        grid = GRIDS[line.axis]
        option = outcomes[moved].option
        gaps = [
            simulate(option, pair, unknowns, shift=shifts[line.axis](x)).litter_prob.mean() - other
            for x in (grid if line.at is None else [line.at])
        ]
        if line.at is None:
            assert all(gap > 0 for gap in gaps) or all(gap < 0 for gap in gaps)
        else:
            # Between two points of the grid the chance is nearly straight: half a point of curve.
            assert gaps[0] == pytest.approx(0.0, abs=0.005)


def test_lines_are_looked_for_as_far_as_the_table_claims():
    # 72 hours of a shipment, a 32nd and 8 times the dose, 4 days either way.
    reach = {axis: (grid[0], grid[-1], grid[1] - grid[0]) for axis, grid in GRIDS.items()}

    assert reach == {
        "delay_h": (0.0, 72.0, 6.0), "doublings": (-5.0, 3.0, 0.5), "days": (-4.0, 4.0, 0.5),
    }  # fmt: skip
    assert all(np.allclose(np.diff(grid), np.diff(grid)[0]) for grid in GRIDS.values())


@pytest.mark.parametrize(
    ("gap", "line"),
    [
        # The points are -2, -1, 0, 1, 2.
        ([2.0, 1.0, 0.0, -1.0, -2.0], 0.0),
        ([-2.0, -1.0, -3.0, 0.0, 2.0], 1.0),
        ([2.0, 0.0, -1.0, -1.0, -2.0], -1.0),
        # Level over a stretch: its point nearest to the plan.
        ([1.0, 0.0, 0.0, 0.0, -1.0], 0.0),
        ([1.0, 1.0, 1.0, 0.0, -1.0], 1.0),
        ([1.0, 0.0, 0.0, -1.0, -1.0], 0.0),
        ([1.0, 1.0, 2.0, -2.0, -1.0], 0.5),
        # Of two lines the nearer one, on a point or between two.
        ([0.5, -1.0, -1.0, 0.0, 1.0], 1.0),
        ([-1.0, 0.0, 3.0, -1.0, -1.0], 0.75),
        # Touched only, level everywhere, or level at an end: no order is known to change.
        ([1.0, 1.0, 0.0, 1.0, 1.0], None),
        ([-1.0, 0.0, 0.0, 0.0, -1.0], None),
        ([0.0, 0.0, 0.0, 0.0, 0.0], None),
        ([0.0, 1.0, 1.0, 1.0, 0.0], None),
        ([0.0, 0.0, 0.0, 0.0, 1.0], None),
    ],
)
def test_an_order_changes_where_the_gaps_on_both_sides_differ_in_sign(gap, line):
    assert crossing(np.array([-2.0, -1.0, 0.0, 1.0, 2.0]), np.array(gap)) == line


def test_of_two_equal_ways_the_line_of_the_dose_is_the_planned_dose(pair, unknowns, outcomes):
    frozen = of(outcomes, "frozen vaginal once")

    lines = {line.axis: line for line in break_evens([frozen, frozen], pair, unknowns, 0)}

    # A smaller dose is never the better one, whatever the draws: the order changes at the plan.
    assert lines["doublings"].at == 0.0
    assert lines["doublings"].dose_m == pytest.approx(np.median(frozen.motile_dose_m))


def test_what_cannot_be_moved_has_no_line(outcomes):
    assert axes_of(of(outcomes, "natural mating once")) == ("days",)
    assert axes_of(of(outcomes, "frozen vaginal once")) == ("days", "doublings")
    assert axes_of(of(outcomes, "chilled vaginal once")) == ("delay_h", "days", "doublings")


@given(at=st.floats(-3.9, 3.9), slope=st.floats(0.01, 5.0))
def test_the_line_of_a_straight_gap_is_found_exactly(at, slope):
    grid = np.array(GRIDS["days"]) + 1e-7

    assert crossing(grid, slope * (grid - at)) == pytest.approx(at, abs=1e-9)
