"""And if the shipment is a day late, the dose smaller, the day another? The plan's chances on a
grid.

Every cell is the whole chain simulated anew with the plan's own joint draws, before any page is
written: a page may only look numbers up. The cell of no change is the chance that the plan tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from studcurve.analytics.estimate import INTERVAL_PROB, Floats
from studcurve.analytics.plan.breakeven import axes_of
from studcurve.analytics.plan.simulation.chain import Outcome, Pair, Shift, Unknowns, simulate

DELAYS_H = (0.0, 6.0, 12.0, 24.0, 36.0, 48.0)
"""How much later the shipment comes and its semen goes in. [h]"""

DOUBLINGS = (-2.0, -1.0, -0.5, 0.0, 0.5, 1.0)
"""Motile dose, as log2 of a factor of the planned one. [doublings]"""

DAYS = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
"""How many days later than planned she is inseminated. [d]"""


@dataclass(frozen=True, slots=True)
class OptionGrid:
    """Chances of one way over changes of its circumstances.

    Attributes
    ----------
    position
        Of the way among the answers.
    delays_h, doses_m, days
        Positions of the three axes: hours the shipment is later, median motile dose, days later
        than planned. An axis that the way does not have holds one position. [h, 10⁶, d]
    planned
        Positions of no change, one an axis.
    lower, mean, upper
        Ends of the 90 % interval and the mean, shape (delays, doses, days). [0 to 1]
    """

    position: int
    delays_h: tuple[float, ...]
    doses_m: tuple[float, ...]
    days: tuple[float, ...]
    planned: tuple[int, int, int]
    lower: Floats
    mean: Floats
    upper: Floats


def option_grid(position: int, outcome: Outcome, pair: Pair, unknowns: Unknowns) -> OptionGrid:
    """Read one way of a plan over its changes.

    Parameters
    ----------
    position
        Of the way among the answers.
    outcome
        As planned.
    pair, unknowns
        As it was simulated.
    """
    axes = axes_of(outcome)
    delays_h: Sequence[float] = DELAYS_H if "delay_h" in axes else (0.0,)
    doublings: Sequence[float] = DOUBLINGS if "doublings" in axes else (0.0,)
    shape = (len(delays_h), len(doublings), len(DAYS))
    lower, mean, upper = (np.zeros(shape) for _ in range(3))
    tail = (1.0 - INTERVAL_PROB) / 2.0
    for cell in np.ndindex(shape):
        shift = Shift(
            delay_h=delays_h[cell[0]], doublings=doublings[cell[1]], days=DAYS[cell[2]]
        )  # fmt: skip
        chances = simulate(outcome.option, pair, unknowns, shift=shift).litter_prob
        mean[cell] = chances.mean()
        lower[cell], upper[cell] = np.quantile(chances, [tail, 1.0 - tail])
    usual = float(np.median(outcome.motile_dose_m))
    return OptionGrid(
        position,
        tuple(delays_h),
        tuple(usual * 2.0**step for step in doublings),
        DAYS,
        (0, doublings.index(0.0), DAYS.index(0.0)),
        lower,
        mean,
        upper,
    )
