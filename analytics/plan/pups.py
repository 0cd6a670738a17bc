r"""How many pups may come of one option, alive at 8 weeks?

Given a litter, total born is a zero-truncated Conway–Maxwell–Poisson count with

.. math::

    \log \mu = l_{01} + l_{03}\,\text{artificial} + l_{04}\,\text{chilled} + l_{05}\,\text{frozen}
        + l_{06}\,\text{deep} + l_{07}\,\text{twice} + l_{08} \min(0, \log_2 D/100)
        + \text{dam's age, first litter, inbreeding} + \text{breed, dam, stud}

and each pup is born alive and lives to 8 weeks with chances :math:`1 - \mathrm{expit}\, l_{14}` and
:math:`1 - \mathrm{expit}\, l_{15}`. An empty bitch has none.

Does not know: losses that go together within a litter, which make none and all likelier than here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from zlib import crc32

import numpy as np
from scipy.special import expit, gammaln, logsumexp
from scipy.stats import binom

from analytics.estimate import Floats
from analytics.plan.chain import FEWEST_SPERM_M, Outcome
from analytics.priors import PRIORS

SIZES_KG = ((5.0, "l01_toy"), (10.0, "l01_small"), (25.0, "l01_medium"), (45.0, "l01_large"))
"""Upper ends of the weight classes and their rows; heavier is giant. [kg]"""

SUPPOSED_SIZE = "l01_medium"
"""Class of a bitch whose weight is not recorded; said beside the numbers."""

REFERENCE_DOSE_M = 100.0
"""Dose below which a smaller one goes with smaller litters (prior l08). [10⁶]"""

DAM_AGE_FROM, LARGE_DAM_AGE_FROM = 4.0, 5.0
"""Ages from which rows l09 count. [y]"""

LARGEST_LITTER = 40
"""Counts above this have a probability below 10⁻⁶ at every mean of the table."""

_NORMAL = ("l03", "l04", "l05", "l06", "l07", "l08", "l09", "l09_large", "l10", "l11_dam", "l13",
           "l14", "l15")  # fmt: skip
_SPREAD = {"breed": "l02", "bitch": "l12_dam", "stud": "l12_stud"}


@dataclass(frozen=True, slots=True)
class Dam:
    """What the litter's size depends on beside the method.

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
    """

    bitch: str
    stud: str
    breed: str = ""
    adult_weight_kg: float = float("nan")
    age_years: float = float("nan")
    is_first_litter: bool = False
    inbreeding_pct: float = float("nan")

    @property
    def size_row(self) -> str:
        """Row of her weight class."""
        if np.isnan(self.adult_weight_kg):
            return SUPPOSED_SIZE
        return next((row for end, row in SIZES_KG if self.adult_weight_kg < end), "l01_giant")


@dataclass(frozen=True, slots=True)
class LitterUnknowns:
    """Draws of everything about a litter that is the same for every option.

    Attributes
    ----------
    log_mean
        Log mean of this dam and stud by natural mating, shape (n,).
    coefficients
        Draws by id, each of shape (n,).
    uniform
        Numbers between 0 and 1 behind size and survival, shape (2, n), shared by every option.
    """

    log_mean: Floats
    coefficients: Mapping[str, Floats]
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


def published_litter(dam: Dam, *, seed: int, n_draws: int) -> LitterUnknowns:
    """Draw the published table of litter size for one dam and stud.

    Parameters
    ----------
    dam
        She and her mate.
    seed
        The same seed gives the same draws, whichever options are asked about.
    n_draws
        Joint draws.
    """
    rng = np.random.default_rng([seed, crc32(b"litter")])
    draws = {row: PRIORS[row].centre + PRIORS[row].sd * rng.normal(size=n_draws) for row in _NORMAL}
    size = PRIORS[dam.size_row]
    log_mean = size.centre + size.sd * rng.normal(size=n_draws)
    names = {"breed": dam.breed, "bitch": dam.bitch, "stud": dam.stud}
    for factor, row in _SPREAD.items():
        scale = PRIORS[row].sd * np.abs(rng.normal(size=n_draws))
        own = np.random.default_rng([seed, crc32(f"litter {factor} {names[factor]}".encode())])
        log_mean += scale * own.normal(size=n_draws)
    return LitterUnknowns(log_mean + of_dam(dam, draws), draws, rng.uniform(size=(2, n_draws)))


def of_dam(dam: Dam, draws: Mapping[str, Floats]) -> Floats:
    """What a dam's age, parity and inbreeding go with in the log mean; missing counts as none."""
    age = dam.age_years if np.isfinite(dam.age_years) else 0.0
    is_large = dam.size_row in ("l01_large", "l01_giant")
    inbreeding = dam.inbreeding_pct if np.isfinite(dam.inbreeding_pct) else 0.0
    return np.asarray(
        draws["l09"] * max(0.0, age - DAM_AGE_FROM)
        + draws["l09_large"] * is_large * max(0.0, age - LARGE_DAM_AGE_FROM)
        + draws["l10"] * dam.is_first_litter
        + draws["l11_dam"] * inbreeding
    )


def pups_of(outcome: Outcome, litter: LitterUnknowns) -> Pups:
    """Follow one option from the litter to the eighth week.

    Parameters
    ----------
    outcome
        Of :func:`analytics.plan.chain.simulate`.
    litter
        Draws of the litter, as many.
    """
    draws = litter.coefficients
    size, lives = _size_probs(outcome, litter), _survival(draws)
    counts = np.arange(1, LARGEST_LITTER + 1)
    mean_born = size @ counts
    empty = 1.0 - outcome.litter_prob
    u_size, u_lives = litter.uniform
    # One number decides whether there is a litter and how large: a greater chance is never fewer.
    within = np.clip((u_size - empty) / np.maximum(outcome.litter_prob, 1e-300), 0.0, 1.0)
    born = 1 + (within[:, None] > np.cumsum(size, axis=1)).sum(axis=1)
    born = np.where(u_size <= empty, 0, np.minimum(born, LARGEST_LITTER))
    alive = np.where(born > 0, binom.ppf(u_lives, np.maximum(born, 1), lives), 0.0)
    return Pups(outcome.litter_prob * mean_born * lives, alive.astype(np.int64))


def _survival(draws: Mapping[str, Floats]) -> Floats:
    """Chance of a pup to be born alive and to live to 8 weeks, in each draw."""
    return np.asarray(expit(-draws["l14"]) * expit(-draws["l15"]))


def _size_probs(outcome: Outcome, litter: LitterUnknowns) -> Floats:
    """Probability of 1, 2, … pups born given a litter, shape (n, LARGEST_LITTER)."""
    option, draws = outcome.option, litter.coefficients
    log_mean = litter.log_mean + draws["l07"] * (len(option.inseminated_at) > 1)
    if option.semen_type != "natural":
        doublings = np.log2(np.maximum(outcome.motile_dose_m, FEWEST_SPERM_M) / REFERENCE_DOSE_M)
        log_mean = (
            log_mean
            + draws["l03"]
            + draws["l04"] * (option.semen_type == "chilled")
            + draws["l05"] * (option.semen_type == "frozen")
            + draws["l06"] * (option.route == "transcervical")
            # A smaller dose is taken never to go with more pups, as for the chance of a litter.
            + np.maximum(draws["l08"], 0.0) * np.minimum(doublings, 0.0)
        )
    nu = np.exp(draws["l13"])
    counts = np.arange(LARGEST_LITTER + 1.0)
    log_factorial = gammaln(counts + 1.0)
    mean = np.exp(log_mean)
    log_rate = nu * np.log(np.maximum(mean + (nu - 1.0) / (2.0 * nu), 0.5 * mean))
    # One Newton step from the asymptotic rate to the rate of the wanted mean.
    log_weight = log_rate[:, None] * counts - nu[:, None] * log_factorial
    weight = np.exp(log_weight - logsumexp(log_weight, axis=1, keepdims=True))
    first = weight @ counts
    log_rate = log_rate + (mean - first) / (weight @ counts**2 - first**2)
    log_weight = log_rate[:, None] * counts[1:] - nu[:, None] * log_factorial[1:]
    return np.asarray(np.exp(log_weight - logsumexp(log_weight, axis=1, keepdims=True)))
