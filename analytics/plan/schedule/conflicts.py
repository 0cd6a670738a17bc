r"""Several bitches in heat at one time, one stud: who gets which collection?

The stud is collected at most once a day; a collection after :math:`r` days of rest holds the share
that prior q03 gives, and is divided among the bitches that it serves. Each bitch gets at most one
of her options. With binaries :math:`x_{bos}` (bitch :math:`b` gets option :math:`o` from a first
collection in state :math:`s` = (rest, division)) and :math:`w_{ds}` (the collection of day
:math:`d` is in state :math:`s`)

.. math::

    \max \sum_{bos} v_{bos}\, x_{bos} \quad\text{with}\quad
    \sum_{os} x_{bos} \le 1, \quad
    \sum_{bo:\,\text{first on } d} n_{od}\, x_{bos} \le k_s\, w_{ds}, \quad
    \sum_{bo} n_{od} \sum_s x_{bos} \le \sum_s k_s\, w_{ds}

and the rests tied to the days of collection by a path through them. Solved by HiGHS (scipy's
``milp``). The price of a conflict is what a bitch, or a pair of them, would have beyond the plan if
she had the stud alone.

Does not know: dams that accept another day, collections that fail, and that a second insemination
of a bitch may come from a weaker collection than her first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.optimize import Bounds, milp

from studcurve.analytics.errors import ToolkitError
from studcurve.analytics.estimate import Floats
from studcurve.analytics.plan.schedule.program import (
    LONGEST_REST,
    Collections,
    ScheduleProgram,
    StudLimits,
    Way,
)

Solution = tuple[dict[int, tuple[int, int | None]], Collections, float, float]
"""Chosen way and state by bitch; the collections; the value; its upper bound."""

TIME_LIMIT_S = 4.0
"""Longest search of the solver; an unproven plan says how far from the best it may be. [s]"""

LAST_LIMIT_S = 40.0
"""Longest search on a machine so busy that the first one found nothing good. [s]"""

TOLERABLE_GAP = 0.01
"""Relative gap at which a search that ran out of time is not begun again."""

FIRST_LOSS_LIMIT = 0.15
"""Share of the best bitch's value that a way may lose in a first search."""

PROVEN_GAP = 2e-3
"""Relative gap at which a plan counts as the best."""


@dataclass(frozen=True, slots=True)
class Assignment:
    """What one bitch gets.

    Attributes
    ----------
    way
        Her option; None when she is left out.
    state
        Position of the state of her first collection in :data:`STATES`; None without a collection.
    litter_prob
        Chance in each draw; zeros when she is left out.
    value
        Value in the plan.
    alone
        Value if she had the stud to herself.
    """

    bitch: str
    way: Way | None
    state: int | None
    litter_prob: Floats
    value: float
    alone: float

    @property
    def price(self) -> float:
        """What the conflict costs this bitch, in the unit of the value."""
        return self.alone - self.value


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two bitches that cannot both have what each would have alone.

    Attributes
    ----------
    bitches
        Names.
    price
        What the two together lose against each alone, in the unit of the value.
    """

    bitches: tuple[str, str]
    price: float


@dataclass(frozen=True, slots=True)
class Schedule:
    """A schedule for the stud.

    Attributes
    ----------
    assignments
        One a bitch, in the order asked.
    collections
        Day, days of rest before it (None where his last one is not known) and doses.
    conflicts
        Pairs with a price, the dearest first.
    value
        Of the plan.
    bound
        The most that any plan can have; equal to the value where it is proven best.
    """

    assignments: tuple[Assignment, ...]
    collections: Collections
    conflicts: tuple[Conflict, ...]
    value: float
    bound: float

    @property
    def expected_litters(self) -> float:
        """Sum of the mean chances."""
        return float(sum(assignment.litter_prob.mean() for assignment in self.assignments))

    def litters(self, rng: np.random.Generator) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        """Draw the number of litters of the schedule in each draw."""
        chances = np.column_stack([assignment.litter_prob for assignment in self.assignments])
        return np.asarray((rng.uniform(size=chances.shape) < chances).sum(axis=1))


def plan_schedule(
    ways: Sequence[Sequence[Way]], bitches: Sequence[str], stud: StudLimits
) -> Schedule:
    """Find the schedule with the highest expected value.

    Parameters
    ----------
    ways
        Each bitch's ways; may be empty.
    bitches
        Their names.
    stud
        What he gives.

    Raises
    ------
    ToolkitError
        The solver found no schedule in its time.
    """
    to_herself = [_solve([own], stud, [0.0]) for own in ways]
    alone = [solution[2] for solution in to_herself]
    chosen, collected, value, bound = _solve_together(ways, alone, stud)
    n_draws = next((way.litter_prob.shape[0] for own in ways for way in own), 1)
    assignments = []
    for k, name in enumerate(bitches):
        picked = chosen.get(k)
        if picked is None:
            assignments.append(Assignment(name, None, None, np.zeros(n_draws), 0.0, alone[k]))
            continue
        way, state = ways[k][picked[0]], picked[1]
        column = 0 if state is None else state
        assignments.append(
            Assignment(
                name, way, state, way.litter_prob[:, column], float(way.value[column]), alone[k]
            )
        )
    prices = [assignment.price for assignment in assignments]
    conflicts = _conflicts(ways, bitches, to_herself, prices, stud)
    return Schedule(tuple(assignments), collected, conflicts, value, bound)


def _conflicts(
    ways: Sequence[Sequence[Way]],
    bitches: Sequence[str],
    to_herself: Sequence[Solution],
    prices: Sequence[float],
    stud: StudLimits,
) -> tuple[Conflict, ...]:
    """Price of each pair whose plans for each alone do not fit beside each other.

    A pair loses no more than the two lose in the plan for all: those that lose nothing there are
    passed over.
    """
    found = []
    for i, j in combinations(range(len(bitches)), 2):
        first, second = to_herself[i], to_herself[j]
        least = PROVEN_GAP * (first[2] + second[2])
        lost_in_plan = prices[i] + prices[j]
        if lost_in_plan <= least or _fit_beside(first, second, ways[i], ways[j], stud):
            continue
        together = _solve_together([ways[i], ways[j]], [first[2], second[2]], stud)[2]
        price = first[2] + second[2] - together
        if price > least:
            found.append(Conflict((bitches[i], bitches[j]), price))
    return tuple(sorted(found, key=lambda conflict: -conflict.price))


def _fit_beside(
    one: Solution, other: Solution, own: Sequence[Way], others: Sequence[Way], stud: StudLimits
) -> bool:
    """Whether two plans leave a full rest between their days, and straws for both."""
    days = [[day for day, _, _ in solution[1]] for solution in (one, other)]
    n_straws = sum(ways[k].n_straws for solution, ways in ((one, own), (other, others))
                   for k, _ in solution[0].values())  # fmt: skip
    rested = all(abs((a - b).days) >= LONGEST_REST for a in days[0] for b in days[1])
    return rested and n_straws <= stud.n_straws


def _solve_together(
    ways: Sequence[Sequence[Way]], alone: Sequence[float], stud: StudLimits
) -> Solution:
    """Solve for several bitches, leaving out what cannot be in the best plan.

    No bitch has more than alone, so in a plan that loses :math:`P` in all none loses more than
    :math:`P`. A plan found among the ways that lose at most a limit is the best of all when it
    loses no more than the limit; otherwise its own loss is a limit that leaves nothing out.
    """
    limit = FIRST_LOSS_LIMIT * max(alone, default=0.0)
    solution = _solve(ways, stud, [value - limit for value in alone])
    lost = sum(alone) - solution[2]
    if lost > limit:
        solution = _solve(ways, stud, [value - lost for value in alone])
    return solution


def _solve(ways: Sequence[Sequence[Way]], stud: StudLimits, lowest: Sequence[float]) -> Solution:
    """Build and solve the program among the ways worth at least so much to each bitch."""
    program = ScheduleProgram(ways, stud, [max(0.0, value) for value in lowest])
    if program.n_variables == 0:
        return {}, (), 0.0, 0.0
    for limit_s in (TIME_LIMIT_S, LAST_LIMIT_S):
        result = milp(
            -program.objective(),
            constraints=program.constraints(),
            integrality=np.ones(program.n_variables, dtype=np.int64),
            bounds=Bounds(0.0, 1.0),
            options={"time_limit": limit_s, "mip_rel_gap": PROVEN_GAP},
        )
        if result.x is not None and result.mip_gap <= TOLERABLE_GAP:
            break
    if result.x is None:
        raise ToolkitError(
            f"No schedule was found within {LAST_LIMIT_S:.0f} s. Plan fewer bitches at once, or "
            "fewer options for each."
        )
    taken = result.x > 0.5
    bound = -float(result.mip_dual_bound) if result.mip_dual_bound is not None else -result.fun
    return *program.read(taken), float(-result.fun), max(bound, float(-result.fun))
