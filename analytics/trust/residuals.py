r"""Do outcomes go with motility, hours, day, age, dose, method, stud or year as predicted?

Each breeding is predicted with its bitch left out
(:func:`studcurve.analytics.trust.checking.left_out`), and what came less what was predicted,
:math:`r_i`, is laid on a column :math:`x`, of which it should know nothing: a score test. Of the
column only that part counts which the model could not have taken up,

.. math::

    x^* = x - Z (Z^\top V Z + \Lambda)^{-1} Z^\top V x, \qquad
    S = \sum_b S_b, \quad S_b = \sum_{i \in b} x^*_i r_i, \quad V = \mathrm{diag}\,p_i (1 - p_i)

with the columns :math:`Z` of the chain at its recorded means and the precisions :math:`\Lambda` of
their rows in the priors table (the level is free: who reports at all moves it, and it is no fault
of a column). Where the model is right no :math:`S_b` leans to either side, whatever the breedings
of one bitch have in common, so that flipping all of a bitch's signs together draws :math:`S` again.
Studs, years and semen types are asked as a whole, by the sum of squares of their levels' own.

All checks of a kennel are judged by the smallest of their p values in the same flips (Westfall &
Young 1993): it keeps the false alarms of all together at 5 %, and unlike Holm's rule it loses
nothing to columns that go together, as dose and motility do. What each could have shown is what
would be found four times in five.

Does not know: a column that nobody recorded, and two faults that cancel. Half of what a column's
prior leaves open is hardly ever found in a single kennel; what would be is said beside each check.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit, logit, ndtri
from scipy.stats import rankdata

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.breedings.semen import mean_short, usual_motility_pct
from studcurve.analytics.models.breedings.terms import LINEAR, hinge, method_flags
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.trust.checking import ERROR_PROB, POWER, LeftOut
from studcurve.analytics.vocabulary import SEMEN_TYPES

Codes = np.ndarray[Any, Any]
Name = Literal["motility", "dose", "hours", "day", "age", "method", "stud", "year"]

ALONG: tuple[Name, ...] = ("motility", "dose", "hours", "day", "age")
"""Checks along a column: 10 points of motility less, half the dose, a day in the box beyond the
first, a day farther from the middle of the window, a year of the bitch beyond five."""

BETWEEN: tuple[Name, ...] = ("method", "stud", "year")
"""Checks between the levels of a column."""

N_FLIPS = 4000
"""Flips of signs; a p value of 0.005 is then sure to a fifth of itself."""

N_POWER = 250
"""Of these, how many tell what spread between levels would show: sure to 3 % of the time."""

FEWEST_BITCHES = 8
"""Bitches on a column, below which it is not asked: few signs have few flips. (rule)"""

FEWEST_OF_LEVEL = 3
"""Bitches of a level, below which it is not asked. (rule)"""

LARGEST_FAULT = 6.0
"""Fault beyond which none is looked for. [logit]"""

_FREE = 1e-6
"""Precision of the level. [1/logit²]"""


@dataclass(frozen=True, slots=True)
class ResidualCheck:
    """One column, and what the outcomes have left on it.

    Attributes
    ----------
    name
        One of :data:`ALONG` or :data:`BETWEEN`.
    fault_points
        By how many points of chance a unit more goes with more litters than was predicted; of
        levels, how far they lie apart beyond it (standard deviation, 0 where not at all).
    error_points
        Standard error, clustered by bitch; NaN of levels.
    p
        Chance of as much in a kennel of which the model is right, over all of its checks together.
    shown_points
        Fault that would be found four times in five; None where none would be.
    even_points
        Fault that would be found every other time; None where none would be.
    """

    name: Name
    fault_points: float
    error_points: float
    p: float
    shown_points: float | None
    even_points: float | None

    @property
    def is_found(self) -> bool:
        """Whether it is more than all checks together show by chance in 5 % of kennels."""
        return self.p <= ERROR_PROB


@dataclass(frozen=True, slots=True)
class Column:
    """What a check looks along or between.

    Attributes
    ----------
    name
        Of the check.
    values
        Shape (n, n_levels); one column of a check along it.
    """

    name: Name
    values: Floats


def residual_checks(
    predicted: LeftOut, data: ConceptionData, chosen: Codes, *, seed: int
) -> tuple[ResidualCheck, ...]:
    """Ask every column for what the predictions have left on it.

    Parameters
    ----------
    predicted
        Chances of the breedings with a known outcome, each with its bitch left out.
    data
        What it was predicted of.
    chosen
        Mask over the data's rows: breedings that may be told of.
    seed
        Seed of the flips.

    Returns
    -------
    tuple of ResidualCheck
        In the order of :data:`ALONG` and :data:`BETWEEN`, without those that have too few bitches.
    """
    known = np.flatnonzero(data.whelped >= 0)
    read = chosen[known]
    rows = known[read]
    if not len(rows):
        return ()
    prob = predicted.ways["model"][read]
    bitch = np.unique(data.groups["bitch"][rows], return_inverse=True)[1]
    asked = [column for column in _columns(data, rows) if _is_askable(column.values, bitch)]
    if not asked:
        return ()
    weight = prob * (1.0 - prob)
    taken_up, precision = _model_columns(data, rows)
    beyond = [left_over(column.values, taken_up, precision, weight) for column in asked]
    by_bitch = [scores_by_bitch(part, data.whelped[rows] - prob, bitch) for part in beyond]
    return _judged(asked, beyond, by_bitch, prob, bitch, np.random.default_rng(seed))


def left_over(values: Floats, taken_up: Floats, precision: Floats, weight: Floats) -> Floats:
    """What of some columns a model of other columns leaves.

    Parameters
    ----------
    values
        Shape (n, k).
    taken_up, precision
        Columns of the model, shape (n, m), and precision of the prior of each, shape (m,).
    weight
        Variance of each outcome, shape (n,).
    """
    weighted = taken_up * weight[:, None]
    information = weighted.T @ taken_up + np.diag(precision)
    return np.asarray(values - taken_up @ np.linalg.solve(information, weighted.T @ values))


def scores_by_bitch(beyond: Floats, residual: Floats, bitch: Codes) -> Floats:
    """Sums of a column times what came less what was predicted, shape (n_bitches, k)."""
    found = np.zeros((int(bitch.max()) + 1, beyond.shape[1]))
    np.add.at(found, bitch, beyond * residual[:, None])
    return found


def statistic(total: Floats, by_bitch: Floats) -> Floats:
    """Sum over levels of their squared scores in sandwich variances.

    Parameters
    ----------
    total
        Scores, levels on the last axis.
    by_bitch
        Shape (n_bitches, n_levels).
    """
    return np.asarray((total**2 / (by_bitch**2).sum(axis=0)).sum(axis=-1))


def smallest_p(observed: Floats, flipped: Floats) -> tuple[Floats, float]:
    """P values over all checks together, and the p value alone that each needs.

    Parameters
    ----------
    observed
        Statistic of each check, shape (n_checks,).
    flipped
        The same under flips of signs, shape (n_flips, n_checks).

    Returns
    -------
    tuple
        Adjusted p, shape (n_checks,), and the one alone at which a check is found.
    """
    n = len(flipped)
    # Ties count against a check: of few bitches many flips are alike.
    alone = (n + 1.0 - rankdata(flipped, method="min", axis=0)) / n
    smallest = alone.min(axis=1)
    own = (1.0 + (flipped >= observed * (1.0 - 1e-9)).sum(axis=0)) / (1.0 + n)
    together = (1.0 + (smallest[:, None] <= own).sum(axis=0)) / (1.0 + n)
    return np.asarray(together), float(np.quantile(smallest, ERROR_PROB))


def _judged(
    asked: list[Column],
    beyond: list[Floats],
    by_bitch: list[Floats],
    prob: Floats,
    bitch: Codes,
    rng: np.random.Generator,
) -> tuple[ResidualCheck, ...]:
    """Set every check beside flips of the same signs."""
    signs = rng.choice([-1.0, 1.0], (N_FLIPS, len(by_bitch[0])))
    totals = [signs @ each for each in by_bitch]
    flipped = np.column_stack(
        [statistic(total, each) for total, each in zip(totals, by_bitch, strict=True)]
    )
    observed = np.array([float(statistic(each.sum(axis=0), each)) for each in by_bitch])
    together, alone = smallest_p(observed, flipped)
    found = []
    for k, column in enumerate(asked):
        limit = float(np.quantile(flipped[:, k], 1.0 - alone))
        at = float(prob[np.abs(column.values).sum(axis=1) > 0.0].mean())
        read = Read(prob, bitch, beyond[k], by_bitch[k], limit)
        if column.name in ALONG:
            fault, error = _slope(read)
            shown, even = (_slope_found(read, share) for share in (POWER, 0.5))
        else:
            fault, error = _spread(read), float("nan")
            shown, even = _spreads_found(read, totals[k][:N_POWER], rng)
        found.append(
            ResidualCheck(
                column.name,
                points_of(fault, at),
                points_of(error, at),
                float(together[k]),
                None if shown is None else points_of(shown, at),
                None if even is None else points_of(even, at),
            )
        )
    return tuple(found)


def points_of(logits: float, prob: float) -> float:
    """A difference in log odds as points of chance, half of it on either side of a chance."""
    middle = float(logit(prob))
    return 100.0 * float(expit(middle + logits / 2.0) - expit(middle - logits / 2.0))


@dataclass(frozen=True, slots=True)
class Read:
    """One check as its fault is sized.

    Attributes
    ----------
    prob, bitch
        Predicted chance and bitch of each breeding, shape (n,).
    beyond, by_bitch
        What the model leaves of the columns, shape (n, k), and scores, shape (n_bitches, k).
    limit
        Statistic from which the check finds a fault.
    """

    prob: Floats
    bitch: Codes
    beyond: Floats
    by_bitch: Floats
    limit: float

    @property
    def information(self) -> Floats:
        """Score that a fault of one logit adds, by column, shape (k, k)."""
        weight = self.prob * (1.0 - self.prob)
        return np.asarray(self.beyond.T @ (self.beyond * weight[:, None]))

    def moved(self, logits: Floats) -> Floats:
        """By how much faults move every chance, shape of the logits (..., n)."""
        return np.asarray(expit(logit(self.prob) + logits) - self.prob)


def _slope(read: Read) -> tuple[float, float]:
    """Slope that the predictions missed, and its standard error. [logit]"""
    told = float(read.information[0, 0])
    return float(read.by_bitch.sum()) / told, float(np.sqrt((read.by_bitch**2).sum())) / told


def _slope_found(read: Read, share: float) -> float | None:
    """Loss along a column that would be found so often. [logit]

    A large one moves chances less than a small one by its size, and is in the sandwich as well.
    """
    wanted = float(np.sqrt(read.limit) + ndtri(share))
    noise = float((read.by_bitch**2).sum())

    def short(size: float) -> float:
        hers = scores_by_bitch(read.beyond, read.moved(-size * read.beyond[:, 0]), read.bitch)
        reached = abs(float(hers.sum())) / np.sqrt(noise + float((hers**2).sum()))
        return float(reached) - wanted

    if short(LARGEST_FAULT) < 0.0:
        return None
    return float(brentq(short, 0.0, LARGEST_FAULT, xtol=1e-3))


def _spread(read: Read) -> float:
    """Spread between levels that the predictions missed, by moments, not below 0. [logit]"""
    by_bitch = read.by_bitch
    beyond = float((by_bitch.sum(axis=0) ** 2 - (by_bitch**2).sum(axis=0)).sum())
    return float(np.sqrt(max(0.0, beyond) / float((read.information**2).sum())))


def _spreads_found(
    read: Read, totals: Floats, rng: np.random.Generator
) -> tuple[float | None, float | None]:
    """Spreads that would be found four times in five and every other time. [logit]

    Parameters
    ----------
    read
        Of the check.
    totals
        Scores under flips, shape (n_draws, n_levels).
    rng
        Of the levels' own effects.
    """
    drawn = rng.normal(size=totals.shape) @ read.beyond.T
    noise = (read.by_bitch**2).sum(axis=0)
    n_bitches = (read.by_bitch != 0.0).sum(axis=0)

    def found_share(spread: float) -> float:
        moved = read.moved(spread * drawn) @ read.beyond
        # What moves a level is in the scores of all of its bitches alike, and so in their squares.
        squares = ((totals + moved) ** 2 / (noise + moved**2 / n_bitches)).sum(axis=1)
        return float((squares >= read.limit).mean())

    def found_at(share: float) -> float | None:
        if found_share(LARGEST_FAULT) <= share:
            return None
        return float(
            brentq(lambda spread: found_share(spread) - share, 0.0, LARGEST_FAULT, xtol=0.02)
        )

    return found_at(POWER), found_at(0.5)


def _is_askable(values: Floats, bitch: Codes) -> bool:
    """Whether enough bitches are on a column, and it is not the same everywhere."""
    if not values.shape[1]:
        return False
    on = np.abs(values).sum(axis=1) > 0.0
    return len(np.unique(bitch[on])) >= FEWEST_BITCHES and bool(np.ptp(values, axis=0).all())


def _columns(data: ConceptionData, rows: Codes) -> list[Column]:
    """What is looked along and between, of some breedings."""
    semen, pair = data.semen_type[rows], data.inseminated_semen
    artificial = semen != "natural"
    below_usual = np.nan_to_num(usual_motility_pct(semen) - pair.motility_mean[rows]) / 10.0
    along = {
        "motility": artificial * below_usual,
        "dose": np.where(artificial, -pair.dose_mean[rows], 0.0),
        "hours": data.design[rows, LINEAR.index("c12")],
        "day": _from_middle(data, rows),
        "age": data.design[rows, LINEAR.index("c14")],
    }
    levels = {
        "method": np.searchsorted(np.sort(SEMEN_TYPES), semen),
        **{
            factor: data.groups[factor][rows]
            for factor in ("stud", "year")
            if factor in data.groups
        },
    }
    bitch = data.groups["bitch"][rows]
    return [
        *(Column(name, along[name][:, None]) for name in ALONG),
        *(Column(name, _levels(levels[name], bitch)) for name in BETWEEN if name in levels),
    ]


def _levels(index: Codes, bitch: Codes) -> Floats:
    """A column for each level of enough bitches; none where there are not two."""
    enough = [
        level
        for level in np.unique(index)
        if len(np.unique(bitch[index == level])) >= FEWEST_OF_LEVEL
    ]
    if len(enough) < 2:
        return np.empty((len(index), 0))
    return np.column_stack([(index == level).astype(np.float64) for level in enough])


def _from_middle(data: ConceptionData, rows: Codes) -> Floats:
    """Days of the nearest insemination from the middle of the fertile window. [d]"""
    flags = method_flags(data.semen_type[rows], data.route[rows])
    middle = 0.5 * (np.asarray(flags.early_edge) + np.asarray(flags.late_edge))
    away = np.abs(data.day_mean[rows] - middle[:, None])
    return np.asarray(np.where(data.inseminated[rows], away, np.inf).min(axis=1))


def _model_columns(data: ConceptionData, rows: Codes) -> tuple[Floats, Floats]:
    """Columns of the chain at the recorded means, without the bitch, and prior precisions."""
    semen, pair = data.semen_type[rows], data.inseminated_semen
    flags = method_flags(semen, data.route[rows])
    artificial = (semen != "natural").astype(np.float64)
    doublings = np.nan_to_num(pair.dose_mean[rows])
    day = data.day_mean[rows]
    # The best of two inseminations counts: the one that loses least to the edges.
    early = hinge(np, np.asarray(flags.early_edge)[:, None] - day)
    late = hinge(np, day - np.asarray(flags.late_edge)[:, None])
    best = np.where(data.inseminated[rows], early + late, np.inf).argmin(axis=1)
    at = np.arange(len(rows))
    short = mean_short(pair, data.semen_type)[rows]
    columns = {
        "c01": np.ones(len(rows)),
        **{row: data.design[rows, k] for k, row in enumerate(LINEAR)},
        "c10": -artificial * hinge(np, -doublings),
        "c11": artificial * hinge(np, doublings),
        "c23": artificial * short,
        **{
            row: early[at, best] * np.asarray(flags.early)[:, k]
            for k, row in enumerate(("c17_fresh", "c17_chilled", "c17_frozen"))
        },
        **{
            row: late[at, best] * np.asarray(flags.late)[:, k]
            for k, row in enumerate(("c18_vaginal", "c18_intrauterine"))
        },
    }
    precision = [_FREE if row == "c01" else PRIORS[row].sd ** -2.0 for row in columns]
    parts = [np.column_stack(list(columns.values()))]
    for factor, row in (
        ("stud", "c20_stud"), ("breed", "c20_breed"), ("clinic", "c21_clinic"), ("year", "c21_year")
    ):  # fmt: skip
        if factor in data.groups:
            parts.append(np.eye(len(data.levels[factor]))[data.groups[factor][rows]])
            # Mean square of a half-normal spread is that of its scale.
            precision += [PRIORS[row].sd ** -2.0] * len(data.levels[factor])
    return np.column_stack(parts), np.array(precision)
