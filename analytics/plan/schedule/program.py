"""The integer program of a schedule: variables, objective, rules, and how a solution is read.

See :mod:`studcurve.analytics.plan.schedule.conflicts` for the equations.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.optimize import LinearConstraint
from scipy.sparse import coo_array

from studcurve.analytics.estimate import Floats
from studcurve.analytics.plan.options import Option

Collections = tuple[tuple[date, int | None, int], ...]
"""Day, days of rest before it (None where the last one is not known) and doses."""

RESTS = (1, 2, 4)
"""Days of rest that are told apart; one in between counts as the shorter. [d]"""

LONGEST_REST = RESTS[-1]
"""Rests of this many days and more are one state; the reference of prior q03. [d]"""

FEWEST_REST_DAYS = 2
"""Every 2 to 5 days keeps the output (Lopate, secondary); a rule of this toolkit until an owner
sets another. Prior q03 knows the last rest alone, not a run of daily collections. [d]"""

SHARES = (1, 2, 4)
"""Doses that one collection is divided into; a number in between counts as the greater."""

MOST_SHARES = SHARES[-1]
"""Doses that one collection is divided into at most (J)."""

STATES = tuple((rest, shares) for rest in RESTS for shares in SHARES)
"""Days of rest before a collection, and the doses it is divided into."""


@dataclass(frozen=True, slots=True)
class Way:
    """One option of one bitch with its chance in every state of its first collection.

    Attributes
    ----------
    bitch
        Name.
    option
        The option.
    doses_on
        Doses taken from the collection of each day, the first day first; empty for straws.
    takes_all
        Whether it takes the whole ejaculate, as a mating does.
    value
        Value by state, shape (n_states,); one value for all where no collection is taken.
    litter_prob
        Chance in each draw and state, shape (n_draws, n_states).
    """

    bitch: str
    option: Option
    doses_on: tuple[tuple[date, int], ...]
    takes_all: bool
    value: Floats
    litter_prob: Floats

    @property
    def n_straws(self) -> int:
        """Straws taken from the tank."""
        straws = self.option.straws
        return 0 if straws is None else straws.n_per_dose * len(self.option.inseminated_at)


@dataclass(frozen=True, slots=True)
class StudLimits:
    """What one stud gives while the bitches are in heat.

    Attributes
    ----------
    last_collected_on
        His last collection before it; None counts as rested.
    fewest_rest_days
        Days between two collections at least. [d]
    n_straws
        Straws in stock.
    """

    last_collected_on: date | None = None
    fewest_rest_days: int = FEWEST_REST_DAYS
    n_straws: int = 0


class ScheduleProgram:
    """The integer program: variables, objective, constraints, and how a solution is read."""

    def __init__(
        self, ways: Sequence[Sequence[Way]], stud: StudLimits, lowest: Sequence[float]
    ) -> None:
        self.ways = ways
        self.stud = stud
        # Choices: bitch, way, state (None where no collection is taken).
        self.choices: list[tuple[int, int, int | None]] = []
        for b, own in enumerate(ways):
            for k, way in enumerate(own):
                states: Sequence[int | None] = range(len(STATES)) if way.doses_on else (None,)
                for state in states:
                    value = way.value[0 if state is None else state]
                    if self._fits(way, state) and value >= lowest[b]:
                        self.choices.append((b, k, state))
        used = {(b, k) for b, k, _ in self.choices}
        self.days = sorted({day for b, k in used for day, _ in ways[b][k].doses_on})
        self.position = {day: k for k, day in enumerate(self.days)}
        self.collections = [(d, s) for d in range(len(self.days)) for s in range(len(STATES))]
        # Arcs from one collection day to the next; −1 is the last one before the schedule.
        self.first_rests = [_rest(stud.last_collected_on, day) for day in self.days]
        self.arcs = [
            (-1, d, LONGEST_REST if rest is None else counted_rest(rest))
            for d, rest in enumerate(self.first_rests)
            if rest is None or rest >= stud.fewest_rest_days
        ]
        self.arcs += [
            (i, j, counted_rest((self.days[j] - self.days[i]).days))
            for i in range(len(self.days))
            for j in range(i + 1, len(self.days))
            if (self.days[j] - self.days[i]).days >= stud.fewest_rest_days
        ]
        self.n_variables = len(self.choices) + len(self.collections) + len(self.arcs)

    def _fits(self, way: Way, state: int | None) -> bool:
        """Whether a way can be served by its first collection in a state."""
        if state is None:
            return True
        rest, shares = STATES[state]
        if rest < counted_rest(self.stud.fewest_rest_days):
            return False
        return shares == 1 if way.takes_all else way.doses_on[0][1] <= shares

    def objective(self) -> Floats:
        """Value of each variable; collections and arcs have none of their own."""
        values = np.zeros(self.n_variables)
        for column, (b, k, state) in enumerate(self.choices):
            way = self.ways[b][k]
            values[column] = way.value[0 if state is None else state]
        return values

    def constraints(self) -> list[LinearConstraint]:
        """Rows of the program, one block a rule."""
        rows: list[dict[int, float]] = []
        lower: list[float] = []
        upper: list[float] = []

        def add(row: dict[int, float], low: float, high: float) -> None:
            rows.append(row)
            lower.append(low)
            upper.append(high)

        n_choices = len(self.choices)
        first_of: dict[tuple[int, int], dict[int, float]] = {}
        all_of: dict[int, dict[int, float]] = {}
        of_bitch: dict[int, dict[int, float]] = {}
        straws: dict[int, float] = {}
        for column, (b, k, state) in enumerate(self.choices):
            way = self.ways[b][k]
            of_bitch.setdefault(b, {})[column] = 1.0
            if way.n_straws:
                straws[column] = float(way.n_straws)
            for n, (day, doses) in enumerate(way.doses_on):
                d = self.position[day]
                all_of.setdefault(d, {})[column] = float(doses)
                if n == 0 and state is not None:
                    first_of.setdefault((d, state), {})[column] = float(doses)
        for row in of_bitch.values():
            add(row, 0.0, 1.0)
        if straws:
            add(straws, 0.0, float(self.stud.n_straws))
        shares_of_day: dict[int, dict[int, float]] = {}
        for n, (d, s) in enumerate(self.collections):
            column = n_choices + n
            shares_of_day.setdefault(d, {})[column] = float(STATES[s][1])
            add({**first_of.get((d, s), {}), column: -float(STATES[s][1])}, -np.inf, 0.0)
        for d, row in all_of.items():
            add({**row, **{c: -shares for c, shares in shares_of_day[d].items()}}, -np.inf, 0.0)
        self._keep_whole(add, all_of)
        self._tie_rests(add, n_choices)
        return [LinearConstraint(_matrix(rows, self.n_variables), lower, upper)]

    def _keep_whole(
        self, add: Callable[[dict[int, float], float, float], None],
        all_of: dict[int, dict[int, float]],
    ) -> None:  # fmt: skip
        """A mating leaves nothing of that day's ejaculate to anybody else."""
        for row in all_of.values():
            whole = {
                column: float(MOST_SHARES)
                for column in row
                if self.ways[self.choices[column][0]][self.choices[column][1]].takes_all
            }
            if whole:
                add({**row, **whole}, -np.inf, float(MOST_SHARES))

    def _tie_rests(self, add: Callable[[dict[int, float], float, float], None], start: int) -> None:
        """A collection of a rest needs an arc of that rest, and arcs make one path."""
        arcs_at = start + len(self.collections)
        into: dict[int, dict[int, float]] = {}
        out_of: dict[int, dict[int, float]] = {}
        by_rest: dict[tuple[int, int], dict[int, float]] = {}
        for n, (i, j, rest) in enumerate(self.arcs):
            into.setdefault(j, {})[arcs_at + n] = 1.0
            out_of.setdefault(i, {})[arcs_at + n] = 1.0
            by_rest.setdefault((j, rest), {})[arcs_at + n] = -1.0
        add(out_of.get(-1, {}), 0.0, 1.0)
        for d in range(len(self.days)):
            add(into.get(d, {}), 0.0, 1.0)
            onward = {column: 1.0 for column in out_of.get(d, {})}
            add({**onward, **{column: -1.0 for column in into.get(d, {})}}, -np.inf, 0.0)
            for rest in RESTS:
                row = {
                    start + n: 1.0
                    for n, (day, s) in enumerate(self.collections)
                    if day == d and STATES[s][0] == rest
                }
                add({**row, **by_rest.get((d, rest), {})}, -np.inf, 0.0)

    def read(
        self, taken: np.ndarray[tuple[int], np.dtype[np.bool_]]
    ) -> tuple[dict[int, tuple[int, int | None]], Collections]:
        """Chosen way and state by bitch, and the collections that serve somebody."""
        n_choices = len(self.choices)
        chosen = {
            b: (k, state)
            for (b, k, state), is_taken in zip(self.choices, taken[:n_choices], strict=True)
            if is_taken
        }
        doses: dict[int, int] = {}
        for b, (k, _) in chosen.items():
            for day, n in self.ways[b][k].doses_on:
                d = self.position[day]
                doses[d] = doses.get(d, 0) + n
        collected = []
        before: date | None = None
        for d in sorted(doses):
            rest = self.first_rests[d] if before is None else (self.days[d] - before).days
            collected.append((self.days[d], rest, doses[d]))
            before = self.days[d]
        return chosen, tuple(collected)


def counted_rest(days: int) -> int:
    """The rest that a number of days, at least 1, counts as. [d]"""
    return max(rest for rest in RESTS if rest <= days)


def _rest(last: date | None, day: date) -> int | None:
    return None if last is None else (day - last).days


def _matrix(rows: Sequence[dict[int, float]], n_columns: int) -> coo_array:
    """Sparse matrix of the rows."""
    where = [(r, c, v) for r, row in enumerate(rows) for c, v in row.items()]
    index = np.array([(r, c) for r, c, _ in where], dtype=np.int64).reshape(-1, 2)
    values = np.array([v for *_, v in where], dtype=np.float64)
    return coo_array((values, (index[:, 0], index[:, 1])), shape=(len(rows), n_columns))
