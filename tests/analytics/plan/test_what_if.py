"""The grid of another shipment, dose or day: each cell is the chain, asked there."""

import numpy as np
import pytest
from tests.analytics.plan.conftest import of

from studcurve.analytics.plan.simulation.chain import Shift, simulate
from studcurve.analytics.plan.what_if import option_grid


@pytest.mark.parametrize(
    ("method", "delays_h", "factors"),
    [
        ("natural mating once", (0.0,), (1.0,)),
        ("frozen vaginal once", (0.0,), (0.25, 0.5, 0.5**0.5, 1.0, 2.0**0.5, 2.0)),
        ("chilled vaginal once", (0.0, 6.0, 12.0, 24.0, 36.0, 48.0),
         (0.25, 0.5, 0.5**0.5, 1.0, 2.0**0.5, 2.0)),
    ],
)  # fmt: skip
def test_a_grid_tells_the_plan_and_what_becomes_of_it(
    method, delays_h, factors, outcomes, pair, unknowns
):
    planned = of(outcomes, method)

    grid = option_grid(7, planned, pair, unknowns)

    assert (grid.position, grid.delays_h) == (7, delays_h)
    assert grid.days == (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
    if method == "natural mating once":
        assert np.isnan(grid.doses_m).all()
    else:
        usual = np.median(planned.motile_dose_m)
        assert np.array(grid.doses_m) / usual == pytest.approx(factors)
    assert grid.mean[grid.planned] == pytest.approx(planned.litter_prob.mean())
    ends = np.quantile(planned.litter_prob, [0.05, 0.95])
    assert (grid.lower[grid.planned], grid.upper[grid.planned]) == pytest.approx(tuple(ends))
    # The last cell of every axis, asked of the chain itself.
    last = simulate(
        planned.option, pair, unknowns,
        shift=Shift(delay_h=delays_h[-1], doublings=np.log2(factors[-1]), days=3.0),
    ).litter_prob  # fmt: skip
    assert grid.mean[-1, -1, -1] == pytest.approx(last.mean())
    assert grid.mean.shape == (len(delays_h), len(factors), 7)
