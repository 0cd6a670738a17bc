"""How many pups may come of one option, alive at 8 weeks?

Given a litter, the litter model answers (:mod:`studcurve.analytics.models.litter.model`): total
born by her weight, age, litters and inbreeding, by the litter's own inbreeding, by method, dose and
partners; stillborn pups by size of the litter and her age; losses by eight weeks; and losses of one
litter go together. Its draws are those of the kennel's fit, or of the published table alone. An
empty bitch has none.

A smaller dose, weaker motility, older semen and a day outside the window are taken never to go with
more pups: a coefficient drawn with the other sign counts as zero here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit, gammaln

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.breedings.semen import motility_short, usual_motility_pct
from studcurve.analytics.models.breedings.terms import hinge, method_flags
from studcurve.analytics.models.likelihoods import (
    beta_binomial_log_likelihood,
    truncated_count_log_likelihood,
)
from studcurve.analytics.models.litter.model import (
    COEFFICIENTS,
    DAM_AGE_FROM,
    LINEAR,
    N_SUPPORT,
    PUBLISHED,
    REFERENCE_DOSE_M,
    days_outside,
    litter_design,
    mated_at_best,
    stillborn_logit,
    storage_steps,
)
from studcurve.analytics.plan.options import Option
from studcurve.analytics.plan.simulation.chain import FEWEST_SPERM_M, Outcome
from studcurve.analytics.plan.simulation.unknowns import Chain, partner_effects

NEVER_HELPFUL = ("l16", "l17", "l18", "l19")
"""Coefficients of days outside the window, of storage and of weak motility."""

BORN = 1 + np.arange(N_SUPPORT, dtype=np.float64)
"""Sizes of a litter."""


@dataclass(frozen=True, slots=True)
class Dam:
    """What the litter's size depends on beside the method: she, her mate, and their pedigrees.

    Attributes
    ----------
    bitch, stud, breed
        Names; a name without a record is a new one.
    adult_weight_kg
        NaN when not recorded. [kg]
    age_years
        At this heat; NaN when not known. [y]
    is_first_litter
        Whether she has had none before.
    inbreeding_pct
        Her own; NaN when not known. [%]
    litter_inbreeding_pct
        Of the litter that is planned, as its pedigree tells it; NaN when not known. [%]
    """

    bitch: str
    stud: str
    breed: str = ""
    adult_weight_kg: float = float("nan")
    age_years: float = float("nan")
    is_first_litter: bool = False
    inbreeding_pct: float = float("nan")
    litter_inbreeding_pct: float = float("nan")

    @property
    def years_beyond(self) -> float:
        """Years beyond those from which her age counts; none where it is not known. [y]"""
        return float(np.nan_to_num(np.maximum(0.0, self.age_years - DAM_AGE_FROM)))


@dataclass(frozen=True, slots=True)
class LitterUnknowns:
    """Draws of everything about a litter that is the same for every option.

    Attributes
    ----------
    dam
        She and her mate.
    coefficients
        Draws by id, each of shape (n,); l08 not below zero, l16 to l19 not above it.
    partners
        Effects of breed, dam and stud on the log of the mean, shape (n,).
    uniform
        Numbers between 0 and 1 behind size, stillborn and lost pups, shape (3, n), shared by every
        option.
    """

    dam: Dam
    coefficients: Mapping[str, Floats]
    partners: Floats
    uniform: Floats


@dataclass(frozen=True, slots=True)
class Pups:
    """Pups alive at 8 weeks, an empty bitch counting as none.

    Attributes
    ----------
    mean_alive
        Expected number in each draw, shape (n,).
    alive
        One number drawn in each draw, from numbers shared by every option, shape (n,).
    """

    mean_alive: Floats
    alive: np.ndarray[Any, Any]

    @property
    def shares(self) -> Floats:
        """Share of the draws with 0, 1, 2, … pups, up to the most that was drawn; sums to 1."""
        return np.asarray(np.bincount(self.alive) / len(self.alive))


def draw_litter(chain: Chain, dam: Dam, *, seed: int, n_draws: int) -> LitterUnknowns:
    """Draw everything about a litter that is the same for every option.

    Parameters
    ----------
    chain
        Draws of the litter model, of a fit or published, and the names of their levels.
    dam
        She and her mate.
    seed
        The same seed gives the same draws, whichever options are asked about.
    n_draws
        Joint draws; those of a fit are recycled.
    """
    coefficients = {row: np.resize(chain.draws[row], n_draws) for row in COEFFICIENTS}
    coefficients["l08"] = np.maximum(coefficients["l08"], 0.0)
    for row in NEVER_HELPFUL:
        coefficients[row] = np.minimum(coefficients[row], 0.0)
    names = {"breed": dam.breed, "bitch": dam.bitch, "stud": dam.stud}
    # Another question than the chance of a litter: its new partners have draws of their own.
    partners = partner_effects(
        chain, names, PUBLISHED.spreads, question="litter", seed=seed, n_draws=n_draws
    )
    rng = np.random.default_rng([seed, len(PUBLISHED.spreads)])
    return LitterUnknowns(dam, coefficients, partners, rng.uniform(size=(3, n_draws)))


def pups_of(outcome: Outcome, litter: LitterUnknowns) -> Pups:
    """Follow one option from the litter to the eighth week.

    Parameters
    ----------
    outcome
        Of :func:`studcurve.analytics.plan.simulation.chain.simulate`.
    litter
        Draws of the litter, as many.
    """
    draws = litter.coefficients
    sizes = np.exp(
        truncated_count_log_likelihood(
            log_mean_born(outcome, litter)[:, None],
            draws["l13"][:, None],
            BORN,
            np.arange(N_SUPPORT + 1.0),
        )
    )
    by_draw = {row: draws[row][:, None] for row in ("l14", "l14_size", "l14_age")}
    still_logit = stillborn_logit(by_draw, BORN, litter.dam.years_beyond)
    mean_alive = (sizes * BORN * expit(-still_logit)).sum(axis=1) * expit(-draws["l15"])
    return Pups(outcome.litter_prob * mean_alive, _drawn_alive(outcome, litter, sizes, still_logit))


def log_mean_born(outcome: Outcome, litter: LitterUnknowns) -> Floats:
    """Log of the mean of total born, zero counted in, in each draw."""
    draws, option = litter.coefficients, outcome.option
    log_mean = np.column_stack([draws[row] for row in LINEAR]) @ _design(option, litter.dam)
    semen, route = np.array([option.semen_type]), np.array([option.route])
    early, late = days_outside(
        method_flags(semen, route), outcome.day[:, None], np.ones((len(outcome.day), 1), dtype=bool)
    )
    log_mean = log_mean + litter.partners + draws["l16"] * early + draws["l17"] * late
    if option.semen_type == "natural":
        return np.asarray(log_mean)
    doublings = np.log2(np.maximum(outcome.motile_dose_m, FEWEST_SPERM_M) / REFERENCE_DOSE_M)
    short = motility_short(outcome.motility_pct, usual_motility_pct(semen))
    stored = storage_steps(semen, outcome.hours_stored, outcome.hours_stored)
    return np.asarray(
        log_mean
        - draws["l08"] * hinge(np, -doublings)
        + draws["l18"] * stored
        + draws["l19"] * short
    )


def _design(option: Option, dam: Dam) -> Floats:
    """Columns of one breeding at its best dose, day, storage and motility, shape (20,)."""
    row = pd.DataFrame(
        {
            "adult_weight_kg": [dam.adult_weight_kg],
            "bitch_age_years": [dam.age_years],
            "n_inseminations": [float(len(option.inseminated_at))],
            "first_litter": [float(dam.is_first_litter)],
            "inbreeding_pct": [dam.inbreeding_pct],
            "litter_inbreeding_pct": [dam.litter_inbreeding_pct],
        }
    )
    semen, route = np.array([option.semen_type]), np.array([option.route])
    return np.asarray(litter_design(row, semen, route, mated_at_best(1))[0])


def _drawn_alive(
    outcome: Outcome, litter: LitterUnknowns, sizes: Floats, still_logit: Floats
) -> np.ndarray[Any, Any]:
    """Pups alive at 8 weeks, one number in each draw."""
    u_size, u_still, u_lost = litter.uniform
    empty = 1.0 - outcome.litter_prob
    alive = np.zeros(len(u_size), dtype=np.int64)
    has_litter = u_size > empty
    # One number decides whether there is a litter and how large: a greater chance is never fewer.
    within = (u_size[has_litter] - empty[has_litter]) / outcome.litter_prob[has_litter]
    below = np.cumsum(sizes[has_litter], axis=1)
    born = 1 + (within[:, None] > below[:, :-1] / below[:, -1:]).sum(axis=1)
    within_logit = litter.coefficients["l14_within"][has_litter]
    logit = np.take_along_axis(still_logit[has_litter], born[:, None] - 1, axis=1)[:, 0]
    born_alive = born - _quantile(logit, within_logit, born, u_still[has_litter])
    lost_logit = litter.coefficients["l15"][has_litter]
    lost = _quantile(lost_logit, within_logit, born_alive, u_lost[has_litter])
    alive[has_litter] = born_alive - lost
    return alive


def _quantile(
    eta: Floats, correlation_logit: Floats, n_trials: np.ndarray[Any, Any], u: Floats
) -> np.ndarray[Any, Any]:
    """Count out of trials that go together at a share of its distribution, row by row."""
    counts = np.arange(n_trials.max(initial=0) + 1.0)
    trials = n_trials[:, None].astype(np.float64)
    within = np.minimum(counts, trials)
    orders = gammaln(trials + 1.0) - gammaln(within + 1.0) - gammaln(trials - within + 1.0)
    logs = orders + beta_binomial_log_likelihood(
        eta[:, None], correlation_logit[:, None], within, trials, counts[:-1]
    )
    # The sum up to all trials is one but for rounding, and that of a count beyond, taken as all of
    # them once more, lies above one: whatever is above the last sum is the last count.
    below = np.cumsum(np.exp(logs), axis=1)
    return np.asarray((u[:, None] > below[:, :-1]).sum(axis=1).clip(max=n_trials))
