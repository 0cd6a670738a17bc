r"""How many breedings would show a difference worth acting on?

By simulation from the fitted model: breedings are drawn again, whole bitches with replacement, so
many as are asked about; those on the poor side lose :data:`WORTH_SHARE` of their chance (or
:data:`WORTH_PUPS`) against the usual value; outcomes are drawn with one draw of the posterior, its
own partners and its own spread of litters; and a regression that believes what is published of all
other columns and nothing of the difference asks whether it shows at the level of one question among
all. With :math:`\bar z` the mean of its estimate in standard errors at :math:`n` breedings, four in
five kennels of

.. math:: n \left(\frac{z_{1 - \alpha/2} + z_{0.8}}{\bar z}\right)^2

show it; that size is simulated in its turn, and the rule applied once more.

Does not know: whether the next breedings are like those on record.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from scipy.special import expit, logit, ndtri

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.breedings.exposures import EXPOSURES
from studcurve.analytics.models.breedings.terms import LINEAR
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.litter.model import LitterPosterior
from studcurve.analytics.models.litter.sizes import drawn_total_born, log_means
from studcurve.analytics.outcomes.counted import outcome_of_breedings
from studcurve.analytics.outcomes.standardised import (
    best_value,
    conception_at,
    litter_at,
    litter_chances,
    on_poor_side,
    thinned,
)
from studcurve.analytics.priors import PRIORS

WORTH_SHARE, WORTH_PUPS = 0.10, 1.0
"""Loss worth acting on: ten litters in a hundred breedings, and a pup a litter. (J)"""

POWER = 0.8
"""Share of kennels in which it would show; common practice, no source."""

N_KENNELS = 60
"""Kennels drawn at each size: the size that is told is then sure to a tenth."""

FEWEST_DRAWN = 40
"""Breedings of the smallest kennel that is drawn. (rule)"""

MOST_BREEDINGS = 2000
"""Beyond it no number is given: no kennel has so many. (rule)"""

NOTHING_BELIEVED_SD = 10.0
"""Spread of the difference that is asked about, and of the intercept. [log odds, log pups]"""


@dataclass(frozen=True, slots=True)
class Needed:
    """How many breedings (or litters) with a known outcome would show it.

    Attributes
    ----------
    n
        Altogether; infinite beyond :data:`MOST_BREEDINGS`.
    n_known
        On record.
    shown
        Smallest loss that those on record would show, as far as it grows straight. [share, pups]
    """

    n: float
    n_known: int
    shown: float

    @property
    def n_more(self) -> float:
        """Beyond those on record, 0 where there are enough."""
        return max(0.0, self.n - self.n_known)


class Pool(NamedTuple):
    """What kennels are drawn from; one row a breeding with a known outcome.

    Attributes
    ----------
    poor
        1 on the poor side, else 0, shape (n,).
    columns, column_sd
        What else the regression reads, and how far it may go with each, (n, k) and (k,).
    prior
        What is published of those columns together, shape (n,). [log odds, log pups]
    level
        Linear predictor with the loss that is worth acting on, shape (n_draws, n).
    bitch
        Index of each, shape (n,).
    log_nu
        Dispersion of litter size, shape (n_draws,); None for the chance of a litter.
    """

    poor: Floats
    columns: Floats
    column_sd: Floats
    prior: Floats
    level: Floats
    bitch: np.ndarray[Any, Any]
    log_nu: Floats | None


def needed_for_litters(posterior: ConceptionPosterior, *, seed: int) -> dict[str, Needed]:
    """Breedings that would show a loss of :data:`WORTH_SHARE`, by exposure with a poor side.

    Parameters
    ----------
    posterior
        Fitted.
    seed
        Of the simulation.
    """
    data = posterior.data
    known = np.isfinite(outcome_of_breedings(data).value)
    found = {}
    for exposure in EXPOSURES:
        side = on_poor_side(data, exposure)
        read = known & (side >= 0)
        poor = side[read] == 1
        if not poor.any() or poor.all():
            continue
        at_best = conception_at(data, exposure, _where_poor(best_value(data, exposure), side))
        usual = np.where(
            side >= 0, litter_chances(posterior, at_best, np.ones(len(side), dtype=bool)), 0.5
        )[:, read]
        lost = np.clip(usual - WORTH_SHARE, 0.01, 0.99)
        pool = Pool(
            poor.astype(np.float64),
            at_best.design[read],
            np.array([PRIORS[row].sd for row in LINEAR]),
            at_best.design[read] @ np.array([PRIORS[row].centre for row in LINEAR]),
            logit(np.where(poor, lost, usual)),
            data.groups["bitch"][read],
            None,
        )
        found[exposure] = needed(pool, seed=seed)
    return found


def needed_for_pups(posterior: LitterPosterior, *, seed: int) -> dict[str, Needed]:
    """Litters that would show a loss of :data:`WORTH_PUPS`; as for the chance of a litter."""
    data, draws = posterior.data, thinned(posterior.draws)
    everywhere = np.ones(data.n_litters, dtype=bool)
    found = {}
    for exposure in EXPOSURES:
        side = on_poor_side(data.bred, exposure)
        read = side >= 0
        poor = side[read] == 1
        if not poor.any() or poor.all():
            continue
        at_best = litter_at(data, exposure, _where_poor(best_value(data.bred, exposure), side))
        usual = log_means(draws, at_best, everywhere)[:, read]
        lost = np.log(np.maximum(1.0, np.exp(usual) - WORTH_PUPS))
        rows = litter.LINEAR
        pool = Pool(
            poor.astype(np.float64),
            at_best.design[read],
            np.array([PRIORS[row].sd for row in rows]),
            at_best.design[read] @ np.array([PRIORS[row].centre for row in rows]),
            np.where(poor, lost, usual),
            data.groups["bitch"][read],
            draws["l13"],
        )
        found[exposure] = needed(pool, seed=seed)
    return found


def needed(pool: Pool, *, seed: int, n_questions: int = 2 * len(EXPOSURES)) -> Needed:
    """Breedings at which the loss shows in :data:`POWER` of the kennels.

    Parameters
    ----------
    pool
        What kennels are drawn from.
    seed
        Of the simulation.
    n_questions
        Asked together, each at its part of 5 %.
    """
    rng = np.random.default_rng(seed)
    n_known = len(pool.poor)
    wanted = -float(ndtri(0.05 / (2.0 * n_questions))) + float(ndtri(POWER))
    worth = WORTH_SHARE if pool.log_nu is None else WORTH_PUPS
    n = float(n_known)
    errors_at = []
    for _ in range(2):
        n_asked = int(np.clip(n, FEWEST_DRAWN, MOST_BREEDINGS))
        mean_z = float(np.mean([_estimate_in_errors(pool, n_asked, rng) for _ in range(N_KENNELS)]))
        errors_at.append(max(mean_z, 0.02) / np.sqrt(n_asked))
        n = (wanted / errors_at[-1]) ** 2
    shown = worth * wanted / (errors_at[0] * np.sqrt(n_known))
    return Needed(float("inf") if n > MOST_BREEDINGS else float(np.ceil(n)), n_known, float(shown))


def as_plain(found: Mapping[str, Needed]) -> dict[str, list[float | None]]:
    """Numbers to be kept; None for more than any kennel has."""
    return {
        exposure: [one.n if np.isfinite(one.n) else None, one.n_known, one.shown]
        for exposure, one in found.items()
    }


def from_plain(kept: Mapping[str, Sequence[Any]]) -> dict[str, Needed]:
    """The same from plain numbers."""
    return {
        exposure: Needed(float("inf") if n is None else float(n), int(n_known), float(shown))
        for exposure, (n, n_known, shown) in kept.items()
    }


def _where_poor(best: Floats, side: np.ndarray[Any, Any]) -> Floats:
    """The usual value; where the exposure was not recorded any will do, since none is read."""
    return np.where(side >= 0, best, np.nanmedian(best))


def _estimate_in_errors(pool: Pool, n: int, rng: np.random.Generator) -> float:
    """One kennel: how far the estimated loss lies from none, in its standard errors."""
    rows = _drawn_again(pool.bitch, n, rng)
    draw = int(rng.integers(len(pool.level)))
    level, poor = pool.level[draw, rows], pool.poor[rows]
    if poor.all() or not poor.any():
        return 0.0
    is_size = pool.log_nu is not None
    outcome = (
        drawn_total_born(level, float(pool.log_nu[draw]), rng)
        if pool.log_nu is not None
        else (rng.random(len(rows)) < expit(level)).astype(np.float64)
    )
    design = np.column_stack([poor, np.ones(len(rows)), pool.columns[rows]])
    precision = np.concatenate([np.full(2, NOTHING_BELIEVED_SD), pool.column_sd]) ** -2.0
    estimate, error = _penalized(design, precision, pool.prior[rows], outcome, is_size=is_size)
    return -estimate / error


def _drawn_again(
    bitch: np.ndarray[Any, Any], n: int, rng: np.random.Generator
) -> np.ndarray[Any, Any]:
    """Rows of so many breedings, whole bitches with replacement."""
    names = np.unique(bitch)
    of_each = [np.flatnonzero(bitch == name) for name in names]
    rows: list[np.ndarray[Any, Any]] = []
    n_rows = 0
    while n_rows < n:
        rows.append(of_each[int(rng.integers(len(names)))])
        n_rows += len(rows[-1])
    return np.concatenate(rows)[:n]


def _penalized(
    design: Floats, precision: Floats, offset: Floats, outcome: Floats, *, is_size: bool
) -> tuple[float, float]:
    """Posterior mode of the first coefficient and its error, by Newton's steps.

    A logistic regression, or a log-linear one whose variance is a multiple of the mean;
    coefficients are counted from what is published, which the offset holds.
    """
    beta = np.zeros(design.shape[1])
    for _ in range(25):
        eta = np.clip(offset + design @ beta, -20.0, 20.0)
        mean = np.exp(eta) if is_size else expit(eta)
        weight = mean if is_size else mean * (1.0 - mean)
        scale = 1.0
        if is_size:
            scale = max(0.1, float(((outcome - mean) ** 2 / mean).mean()))
        hessian = (design.T * (weight / scale)) @ design + np.diag(precision)
        gradient = design.T @ (outcome - mean) / scale - precision * beta
        step = np.linalg.solve(hessian, gradient)
        beta = beta + np.clip(step, -1.0, 1.0)
        if np.abs(step).max() < 1e-6:
            break
    return float(beta[0]), float(np.sqrt(np.linalg.inv(hessian)[0, 0]))
