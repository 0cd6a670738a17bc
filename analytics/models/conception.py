r"""How likely is a breeding to give a litter, and what goes with it?

The model
---------
Breeding :math:`i` is pregnant at the scan with chance :math:`p_i` and, if so, whelps with chance
:math:`q`; either may be unobserved, and the scan errs with the published sensitivity and
specificity:

.. math::

    \mathrm{logit}\, p_i &= c_{01} + \sum_k c_k x_{ik} + c_{10} \min(d_i, 0) + c_{11} \max(d_i, 0)
        + \max_j t(\delta_{ij}) + u_{s(i)} + u_{b(i)} + u_{r(i)} + \dots \\
    \mathrm{logit}\, q &= c_{02}

with the semen, route and age columns :math:`x` of the priors table, the motile dose :math:`d_i` in
doublings of the usual dose of the route, the day :math:`\delta_{ij}` of insemination :math:`j`
counted from ovulation (the best-timed one counts), and effects :math:`u` of stud, bitch, breed and,
where there is more than one, of clinic and year. Minimum, maximum and the edges of the fertile
window are smooth.

Dose and day are latent: each enters as :math:`m + v z`, :math:`z \sim N(0, 1)`, given what was
recorded upstream; a breeding without a record has the population of its stud and method. Motility
has no term of its own (it is inside the dose), and hours do not enter twice.

Priors: rows c01 to c21. Does not know: why a bitch was given this method; the chosen may differ
from the others in ways that no column holds. A missing age or shape enters at its harmless value.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from types import ModuleType
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist
import pandas as pd
from scipy.special import expit

from analytics.breeding_inputs import (
    USUAL_DOSE_M,
    days_given_population,
    doses_given_record,
    insemination_days,
    middle_of,
)
from analytics.estimate import Estimate, Floats, estimate_from_draws
from analytics.priors import PRIORS
from analytics.sampling import (
    SCHEDULE,
    Diagnostics,
    Draws,
    Run,
    effects_of_levels,
    independent_draws,
    sample,
)

COEFFICIENTS = (
    "c01", "c02", "c03", "c04", "c05", "c06", "c07", "c08", "c09", "c10", "c11", "c12", "c13",
    "c14", "c15", "c16", "c17_fresh", "c17_chilled", "c17_frozen", "c18_vaginal",
    "c18_intrauterine",
)  # fmt: skip
"""Ids of the normal coefficients, in the order of the coefficient vector."""

LINEAR = ("c03", "c04", "c05", "c06", "c07", "c08", "c09", "c12", "c13", "c14", "c15", "c16")
"""Ids of the coefficients with a column of their own in the design matrix."""

EARLY_EDGE_DAYS = {"natural": -2.0, "fresh": -2.0, "chilled": 0.0, "frozen": 2.5}
"""Days from ovulation before which an insemination is early (prior c17). [d]"""

LATE_EDGE_DAYS = {"natural": 5.0, "vaginal": 5.0, "transcervical": 6.0, "surgical": 6.0}
"""Days from ovulation after which an insemination is late (prior c18). [d]"""

PEAK_DAY, PEAK_SD_DAYS = 3.3, 0.7
"""Frozen semen's mild peak within the window (prior c19). [d]"""

HINGE_WIDTH = 0.25
"""Width over which a hinge bends, so that a latent has a gradient everywhere. [d or doublings]"""

STORAGE_LIMIT_DAYS = 3.0
"""No claim beyond 72 h of chilled storage (prior c12). [d]"""

PADDING = {"breeding": 64, "stud": 8, "bitch": 32, "breed": 4, "clinic": 4, "year": 8}
"""Sizes are rounded up to these steps, so that compiled programs can be kept."""

N_PRIOR_DRAWS = 4000
"""Draws of the published table that stand beside a posterior."""

_GROUP_PRIOR = {
    "stud": "c20_stud", "bitch": "c20_bitch", "breed": "c20_breed", "clinic": "c21_clinic",
    "year": "c21_year",
}  # fmt: skip
_ALWAYS_GROUPED = ("stud", "bitch", "breed")
_INTEGRATION_NODES, _INTEGRATION_WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_INTEGRATION_WEIGHTS = _INTEGRATION_WEIGHTS / _INTEGRATION_WEIGHTS.sum()


@dataclass(frozen=True, slots=True)
class Archetype:
    """A breeding described by what the model reads.

    Attributes
    ----------
    semen_type, route
        As in the views.
    days
        Day of each insemination from ovulation. [d]
    motile_dose_m
        Progressively motile sperm per insemination; not read for a natural mating. [10⁶]
    storage_days
        Chilled storage. [d]
    normal_morphology_pct, bitch_age_years, stud_age_years, missed_before
        As in the views.
    """

    semen_type: str
    route: str
    days: tuple[float, ...]
    motile_dose_m: float = float("nan")
    storage_days: float = 1.0
    normal_morphology_pct: float = 80.0
    bitch_age_years: float = 4.0
    stud_age_years: float = 4.0
    missed_before: bool = False


ARCHETYPES: Mapping[str, Archetype] = {
    "natural, timed": Archetype("natural", "natural", (0.0, 2.0)),
    "fresh vaginal, 400 M, twice": Archetype("fresh", "vaginal", (1.0, 3.0), 400.0),
    "chilled vaginal, 24 h, 150 M, once": Archetype("chilled", "vaginal", (2.0,), 150.0),
    "chilled transcervical, 48 h, 100 M, once": Archetype(
        "chilled", "transcervical", (2.0,), 100.0, storage_days=2.0
    ),
    "frozen transcervical, +2/+3, 100 M, twice": Archetype(
        "frozen", "transcervical", (2.0, 3.0), 100.0
    ),
    "frozen vaginal, 7 years, missed before, 100 M, once": Archetype(
        "frozen", "vaginal", (3.0,), 100.0, bitch_age_years=7.0, missed_before=True
    ),
}
"""The six breedings on which the table of priors was calibrated."""


@dataclass(frozen=True, slots=True)
class ConceptionData:
    """What the model reads, one row a breeding.

    Attributes
    ----------
    semen_type, route
        Text arrays, shape (n,).
    design
        Columns of :data:`LINEAR`, shape (n, 12).
    dose_mean, dose_sd
        Log2 of motile dose over the usual one given its record, shape (n,). [doublings]
    day_mean, day_sd, inseminated
        Day from ovulation given progesterone, and whether that insemination was made, shape (n, 2).
    scanned_pregnant, whelped
        1, 0 or −1 for not known, shape (n,).
    groups
        Level index by grouping factor, shape (n,).
    levels
        Names of the levels by grouping factor.
    """

    semen_type: np.ndarray[Any, Any]
    route: np.ndarray[Any, Any]
    design: Floats
    dose_mean: Floats
    dose_sd: Floats
    day_mean: Floats
    day_sd: Floats
    inseminated: np.ndarray[Any, Any]
    scanned_pregnant: np.ndarray[Any, Any]
    whelped: np.ndarray[Any, Any]
    groups: Mapping[str, np.ndarray[Any, Any]]
    levels: Mapping[str, tuple[str, ...]]

    @property
    def n_breedings(self) -> int:
        """Breedings, with or without a known outcome."""
        return len(self.whelped)

    @property
    def n_known(self) -> int:
        """Breedings whose scan or whelping was reported."""
        return int(((self.whelped >= 0) | (self.scanned_pregnant >= 0)).sum())

    def fingerprint(self) -> str:
        """Fingerprint of everything that enters the likelihood, names of levels included."""
        digest = hashlib.sha256()
        for values in (
            self.design, self.dose_mean, self.dose_sd, self.day_mean, self.day_sd,
            self.inseminated, self.scanned_pregnant, self.whelped, *self.groups.values(),
        ):  # fmt: skip
            digest.update(np.ascontiguousarray(values).tobytes())
        names = [name for factor in self.levels for name in (factor, *self.levels[factor])]
        digest.update("\x1f".join([*self.semen_type, *self.route, *names]).encode())
        return digest.hexdigest()


@dataclass(frozen=True, slots=True)
class ConceptionPosterior:
    """What the breedings added to what is published.

    Attributes
    ----------
    data
        What was read.
    draws, prior_draws
        Draws by id (c01 … c19, sds), effects as ``effect_stud`` and so on; first axis draws.
    diagnostics
        What the sampler's gate read.
    seconds
        Wall time. [s]
    """

    data: ConceptionData
    draws: Mapping[str, Floats]
    prior_draws: Mapping[str, Floats]
    diagnostics: Diagnostics
    seconds: float

    @property
    def labels(self) -> Mapping[str, tuple[str, ...]]:
        """What the last axis of each kind of effect counts."""
        return {f"effect_{factor}": names for factor, names in self.data.levels.items()}

    def estimate(self, row: str) -> Estimate:
        """Posterior of one row of the priors table, on its own scale."""
        return estimate_from_draws(self.draws[row])

    def prior_estimate(self, row: str) -> Estimate:
        """What is published of that row."""
        return estimate_from_draws(self.prior_draws[row])

    def share_from_records(self, row: str) -> float:
        """Share of what is known that the kennel's own records supply, 0 to 1."""
        return share_from_records(self.draws[row], self.prior_draws[row])


def share_from_records(posterior: Floats, prior: Floats) -> float:
    """One minus posterior over prior variance, not below 0.

    Parameters
    ----------
    posterior, prior
        Draws of one quantity before and after the records.
    """
    return max(0.0, 1.0 - float(np.var(posterior)) / float(np.var(prior)))


def prepare_conception(
    breedings: pd.DataFrame, inseminations: pd.DataFrame, ovulation: pd.DataFrame
) -> ConceptionData:
    """Turn views into what the model reads.

    Parameters
    ----------
    breedings, inseminations
        The views of these names; no row is a kennel without breedings.
    ovulation
        cycle_id, ovulation_at, ovulation_sd_days of every heat.

    Returns
    -------
    ConceptionData
    """
    rows = breedings.sort_values(["bred_earliest", "bitch", "stud"]).reset_index(drop=True)
    semen = rows["semen_type"].to_numpy(dtype=str)
    route = rows["route"].to_numpy(dtype=str)
    days, day_sd, made = insemination_days(rows, inseminations, ovulation)
    day_mean, day_sd = days_given_population(days, day_sd, semen, made)
    first = inseminations[inseminations["n_in_breeding"] == 1].set_index("breeding_id")
    first = first.reindex(rows["breeding_id"])
    dose_mean, dose_sd = doses_given_record(
        first["motile_dose_m"].to_numpy(dtype=np.float64),
        semen,
        route,
        rows["stud"].to_numpy(dtype=str),
    )
    kept = middle_of(first, "inseminated") - middle_of(first, "collected")
    stored = np.asarray(kept.dt.total_seconds(), dtype=np.float64) / 86400.0
    design = design_matrix(
        semen,
        route,
        n_inseminations=rows["n_inseminations"].to_numpy(dtype=np.float64),
        storage_days=stored,
        normal_morphology_pct=_numbers(rows, "normal_morphology_pct"),
        bitch_age_years=_numbers(rows, "bitch_age_years"),
        stud_age_years=_numbers(rows, "stud_age_years"),
        missed_before=_numbers(rows, "missed_before"),
    )
    groups, levels = _groups(rows)
    return ConceptionData(
        semen, route, design, dose_mean, dose_sd, day_mean, day_sd, made,
        _known(rows["pregnant"]), _known(rows["whelped"]), groups, levels,
    )  # fmt: skip


def design_matrix(
    semen_type: np.ndarray[Any, Any],
    route: np.ndarray[Any, Any],
    *,
    n_inseminations: Floats,
    storage_days: Floats,
    normal_morphology_pct: Floats,
    bitch_age_years: Floats,
    stud_age_years: Floats,
    missed_before: Floats,
) -> Floats:
    """Columns of :data:`LINEAR`; what is missing enters at its harmless value, zero.

    Parameters
    ----------
    semen_type, route
        Text, shape (n,).
    n_inseminations, storage_days, normal_morphology_pct, bitch_age_years, stud_age_years
        Shape (n,), NaN where not known. [count, d, %, y, y]
    missed_before
        1 or 0, shape (n,).

    Returns
    -------
    numpy.ndarray
        Shape (n, 12).
    """
    inseminated = semen_type != "natural"
    frozen = semen_type == "frozen"
    chilled = semen_type == "chilled"
    beyond_a_day = np.clip(np.nan_to_num(storage_days, nan=1.0), 1.0, STORAGE_LIMIT_DAYS) - 1.0
    columns = {
        "c03": inseminated,
        "c04": np.isin(route, ("transcervical", "surgical")),
        "c05": chilled,
        "c06": frozen,
        "c07": frozen & (route == "vaginal"),
        "c08": route == "surgical",
        "c09": n_inseminations > 1,
        "c12": chilled * beyond_a_day,
        "c13": np.nan_to_num(np.maximum(0.0, (70.0 - normal_morphology_pct) / 10.0)),
        "c14": np.nan_to_num(np.maximum(0.0, bitch_age_years - 5.0)),
        "c15": np.nan_to_num(missed_before),
        "c16": np.nan_to_num(np.maximum(0.0, stud_age_years - 8.0)),
    }
    return np.column_stack([columns[name].astype(np.float64) for name in LINEAR])


def hinge(xp: ModuleType, x: Any) -> Any:  # noqa: ANN401
    """Smooth positive part of x, for numpy or its jax twin."""
    return HINGE_WIDTH * xp.logaddexp(0.0, x / HINGE_WIDTH)


def dose_term(xp: ModuleType, doublings: Any, below: Any, above: Any) -> Any:  # noqa: ANN401
    """What the dose does on the logit scale; rows c10 below and c11 above the usual dose."""
    return above * hinge(xp, doublings) - below * hinge(xp, -doublings)


def timing_term(
    xp: ModuleType,
    day: Any,  # noqa: ANN401
    *,
    early_edge: Any,  # noqa: ANN401
    late_edge: Any,  # noqa: ANN401
    early: Any,  # noqa: ANN401
    late: Any,  # noqa: ANN401
    peak: Any,  # noqa: ANN401
) -> Any:  # noqa: ANN401
    """What the day from ovulation does on the logit scale; rows c17, c18 and c19 (frozen only)."""
    bump = xp.exp(-0.5 * ((day - PEAK_DAY) / PEAK_SD_DAYS) ** 2) - 1.0
    return early * hinge(xp, early_edge - day) + late * hinge(xp, day - late_edge) + peak * bump


def fit_conception(
    data: ConceptionData,
    *,
    seed: int,
    schedule: tuple[Run, ...] = SCHEDULE,
) -> ConceptionPosterior:
    """Update the published table by the kennel's breedings.

    Parameters
    ----------
    data
        From :func:`prepare_conception`.
    seed
        Seed of sampler and prior draws.
    schedule
        Attempts of the sampler.

    Raises
    ------
    ConvergenceError
        The sampler did not settle.
    """
    factors = tuple(data.groups)
    gated = ("coefficients", "c19", *(f"sd_{factor}" for factor in factors))
    sampled = sample(
        _model,
        {"data": _padded(data), "factors": factors},
        name="conception",
        gated=gated,
        seed=seed,
        schedule=schedule,
    )
    values = sampled.values
    draws: dict[str, Floats] = {
        row: values["coefficients"][:, k] for k, row in enumerate(COEFFICIENTS)
    }
    draws["c19"] = values["c19"]
    for factor in factors:
        draws[_GROUP_PRIOR[factor]] = values[f"sd_{factor}"]
        effects = values[f"sd_{factor}"][:, None] * values[f"z_{factor}"]
        draws[f"effect_{factor}"] = effects[:, : len(data.levels[factor])]
    prior = prior_draws(np.random.default_rng(seed), N_PRIOR_DRAWS)
    return ConceptionPosterior(data, draws, prior, sampled.diagnostics, sampled.seconds)


def restore_conception(data: ConceptionData, draws: Draws, *, seed: int) -> ConceptionPosterior:
    """Make a posterior again from kept draws and the records of today.

    Parameters
    ----------
    data
        Today's; a stud, bitch, … that the fit has not seen gets draws of a new one.
    draws
        Kept draws with their labels, or those of the published table.
    seed
        Seed of the new levels and of the published table beside them.
    """
    rng = np.random.default_rng(seed)
    prior = prior_draws(rng, N_PRIOR_DRAWS)
    values = {row: draws.values[row] for row in (*COEFFICIENTS, "c19")}
    n_draws = len(values["c01"])
    for row in _GROUP_PRIOR.values():
        # A factor of one level had no spread in the fit; the published one stands in for it.
        values[row] = draws.values.get(row, np.resize(prior[row], n_draws))
    for factor, names in data.levels.items():
        values[f"effect_{factor}"] = effects_of_levels(
            draws, f"effect_{factor}", names, sd=values[_GROUP_PRIOR[factor]], rng=rng
        )
    return ConceptionPosterior(data, values, prior, draws.diagnostics, draws.seconds)


def published_conception(seed: int) -> Draws:
    """Draws of the published table, told as a settled sample."""
    return independent_draws(prior_draws(np.random.default_rng(seed), N_PRIOR_DRAWS))


def prior_draws(rng: np.random.Generator, n_draws: int) -> dict[str, Floats]:
    """Draw the published table: every coefficient and spread of the chain.

    Parameters
    ----------
    rng
        Source of randomness.
    n_draws
        Length of each array.
    """
    draws = {}
    for row in (*COEFFICIENTS, "c19", *_GROUP_PRIOR.values()):
        prior = PRIORS[row]
        normal = rng.normal(prior.centre, prior.sd, n_draws)
        draws[row] = np.abs(normal) if prior.distribution == "half-normal" else normal
    return draws


def pregnant_logit(draws: Mapping[str, Floats], breeding: Archetype) -> Floats:
    """Linear predictor of a breeding of average partners, shape (n_draws,)."""
    return pregnant_logits(
        draws,
        np.array([breeding.semen_type]),
        np.array([breeding.route]),
        design=design_matrix(
            np.array([breeding.semen_type]),
            np.array([breeding.route]),
            n_inseminations=np.array([float(len(breeding.days))]),
            storage_days=np.array([breeding.storage_days]),
            normal_morphology_pct=np.array([breeding.normal_morphology_pct]),
            bitch_age_years=np.array([breeding.bitch_age_years]),
            stud_age_years=np.array([breeding.stud_age_years]),
            missed_before=np.array([float(breeding.missed_before)]),
        ),
        doublings=np.array(
            [np.log2(breeding.motile_dose_m / USUAL_DOSE_M.get(breeding.route, np.nan))]
        ),
        days=np.array([breeding.days], dtype=np.float64),
        inseminated=np.ones((1, len(breeding.days)), dtype=bool),
    )[:, 0]


def pregnant_logits(
    draws: Mapping[str, Floats],
    semen_type: np.ndarray[Any, Any],
    route: np.ndarray[Any, Any],
    *,
    design: Floats,
    doublings: Floats,
    days: Floats,
    inseminated: np.ndarray[Any, Any],
) -> Floats:
    """Linear predictor of several breedings without their partners' effects.

    Parameters
    ----------
    draws
        Draws by id, each of shape (n_draws,).
    semen_type, route
        Text, shape (n,).
    design
        From :func:`design_matrix`, shape (n, 12).
    doublings
        Log2 of dose over the usual one, shape (n,); not read for natural matings.
    days, inseminated
        Day from ovulation and whether that insemination was made, shape (n, n_inseminations).

    Returns
    -------
    numpy.ndarray
        Shape (n_draws, n). [logit]
    """
    linear = np.column_stack([draws[row] for row in LINEAR]) @ design.T
    flags = _flags(semen_type, route)
    dose = dose_term(
        np,
        np.where(flags["artificial"], np.nan_to_num(doublings), 0.0)[None, :],
        draws["c10"][:, None],
        draws["c11"][:, None],
    )
    early = (
        np.column_stack([draws[f"c17_{kind}"] for kind in ("fresh", "chilled", "frozen")])
        @ flags["early"].T
    )
    late = (
        np.column_stack([draws[f"c18_{kind}"] for kind in ("vaginal", "intrauterine")])
        @ flags["late"].T
    )
    timing = timing_term(
        np,
        days[None, :, :],
        early_edge=flags["early_edge"][None, :, None],
        late_edge=flags["late_edge"][None, :, None],
        early=early[:, :, None],
        late=late[:, :, None],
        peak=(draws["c19"][:, None] * flags["frozen"][None, :])[:, :, None],
    )
    best = np.where(inseminated[None, :, :], timing, -np.inf).max(axis=2)
    return np.asarray(draws["c01"][:, None] + linear + dose * flags["artificial"] + best)


def litter_prob(draws: Mapping[str, Floats], logits: Floats, *, spread: Floats) -> Floats:
    """Chance of a litter, averaged over partners that have not been seen.

    Parameters
    ----------
    draws
        Draws by id; ``c02`` is read.
    logits
        From :func:`pregnant_logits`, first axis draws. [logit]
    spread
        Standard deviation of the partners' effects together, shape (n_draws,) or like logits; 0
        for known partners whose effects are inside the logits. [logit]

    Returns
    -------
    numpy.ndarray
        Like logits.
    """
    widths = np.broadcast_to(np.expand_dims(spread, tuple(range(spread.ndim, logits.ndim))),
                             logits.shape)  # fmt: skip
    pregnant = np.zeros_like(logits)
    for node, weight in zip(_INTEGRATION_NODES, _INTEGRATION_WEIGHTS, strict=True):
        pregnant += weight * expit(logits + node * widths)
    return np.asarray(pregnant * expit(draws["c02"]).reshape(-1, *(1,) * (logits.ndim - 1)))


def new_partner_spread(draws: Mapping[str, Floats]) -> Floats:
    """Spread of bitch, stud and breed together, for partners not seen before. [logit]"""
    return np.sqrt(sum(draws[f"c20_{factor}"] ** 2 for factor in ("bitch", "stud", "breed")))


def archetype_prob(draws: Mapping[str, Floats], breeding: Archetype) -> Floats:
    """Chance of a litter for a breeding of partners not seen before, shape (n_draws,)."""
    return litter_prob(draws, pregnant_logit(draws, breeding), spread=new_partner_spread(draws))


def own_breedings_prob(
    posterior: ConceptionPosterior, chosen: np.ndarray[Any, Any]
) -> tuple[Floats, Floats]:
    """Mean chance of a litter over chosen breedings of the records, before and after them.

    The same breedings at the same recorded dose and day, with new partners before the records
    and with these partners after them.

    Parameters
    ----------
    posterior
        Fitted.
    chosen
        Mask over the data's rows, at least one true.

    Returns
    -------
    tuple of numpy.ndarray
        Draws of the mean chance from the published table, and from table and records.
    """
    data = posterior.data
    inputs: dict[str, Any] = {
        "semen_type": data.semen_type[chosen],
        "route": data.route[chosen],
        "design": data.design[chosen],
        "doublings": data.dose_mean[chosen],
        "days": data.day_mean[chosen],
        "inseminated": data.inseminated[chosen],
    }
    published = litter_prob(
        posterior.prior_draws,
        pregnant_logits(posterior.prior_draws, **inputs),
        spread=new_partner_spread(posterior.prior_draws),
    )
    logits = pregnant_logits(posterior.draws, **inputs)
    for factor, index in data.groups.items():
        logits = logits + posterior.draws[f"effect_{factor}"][:, index[chosen]]
    known = litter_prob(posterior.draws, logits, spread=np.zeros(len(logits)))
    return published.mean(axis=1), known.mean(axis=1)


def _model(data: Mapping[str, Any], factors: tuple[str, ...]) -> None:
    """Generative story of the chain, in the form the sampler likes (non-centred)."""
    n_rows = data["weight"].shape[0]
    coefficients = numpyro.sample(
        "coefficients", dist.Normal(data["coefficient_mean"], data["coefficient_sd"]).to_event(1)
    )
    by_id = {row: coefficients[k] for k, row in enumerate(COEFFICIENTS)}
    peak = numpyro.sample("c19", dist.HalfNormal(PRIORS["c19"].sd))
    dose_z = numpyro.sample("z_dose", dist.Normal(0.0, 1.0).expand((n_rows,)).to_event(1))
    day_z = numpyro.sample("z_day", dist.Normal(0.0, 1.0).expand((n_rows, 2)).to_event(2))
    eta = by_id["c01"] + data["design"] @ jnp.stack([by_id[row] for row in LINEAR])
    for factor in factors:
        sd = numpyro.sample(f"sd_{factor}", dist.HalfNormal(PRIORS[_GROUP_PRIOR[factor]].sd))
        n_levels = data[f"level_{factor}"].shape[0]
        z = numpyro.sample(f"z_{factor}", dist.Normal(0.0, 1.0).expand((n_levels,)).to_event(1))
        eta = eta + sd * z[data[f"index_{factor}"]]
    doublings = data["dose_mean"] + data["dose_sd"] * dose_z
    eta = eta + data["artificial"] * dose_term(jnp, doublings, by_id["c10"], by_id["c11"])
    early = data["early"] @ jnp.stack([by_id[f"c17_{k}"] for k in ("fresh", "chilled", "frozen")])
    late = data["late"] @ jnp.stack([by_id[f"c18_{k}"] for k in ("vaginal", "intrauterine")])
    timing = timing_term(
        jnp,
        data["day_mean"] + data["day_sd"] * day_z,
        early_edge=data["early_edge"][:, None],
        late_edge=data["late_edge"][:, None],
        early=early[:, None],
        late=late[:, None],
        peak=(peak * data["frozen"])[:, None],
    )
    # The second of two columns stands in for the first where there was one insemination.
    eta = eta + jnp.where(data["twice"], timing.max(axis=1), timing[:, 0])
    numpyro.factor(
        "outcome",
        jnp.sum(
            data["weight"]
            * chain_log_likelihood(
                eta, by_id["c02"], data["seen_whelped"], data["seen_lost"], data["seen_empty"]
            )
        ),
    )


def chain_log_likelihood(
    eta: Any,  # noqa: ANN401
    whelped_logit: Any,  # noqa: ANN401
    seen_whelped: Any,  # noqa: ANN401
    seen_lost: Any,  # noqa: ANN401
    seen_empty: Any,  # noqa: ANN401
) -> Any:  # noqa: ANN401
    """Log probability of what was seen of each breeding.

    Parameters
    ----------
    eta, whelped_logit
        Logits of a pregnancy, and of whelping given one.
    seen_whelped, seen_lost, seen_empty
        Log probability of the scan and the report given that the bitch whelped, lost, was empty.
    """
    log_p, log_not_p = -jnp.logaddexp(0.0, -eta), -jnp.logaddexp(0.0, eta)
    log_q, log_not_q = -jnp.logaddexp(0.0, -whelped_logit), -jnp.logaddexp(0.0, whelped_logit)
    return jax.scipy.special.logsumexp(
        jnp.stack(
            [log_p + log_q + seen_whelped, log_p + log_not_q + seen_lost, log_not_p + seen_empty]
        ),
        axis=0,
    )


def observation_logs(
    scanned_pregnant: np.ndarray[Any, Any], whelped: np.ndarray[Any, Any]
) -> tuple[Floats, Floats, Floats]:
    """Log probability of scan and report in each of the three true states.

    Parameters
    ----------
    scanned_pregnant, whelped
        1, 0 or −1 for not known, shape (n,).

    Returns
    -------
    tuple of numpy.ndarray
        Given whelped, given lost after the scan, given empty; each of shape (n,).
    """
    sensitivity, specificity = PRIORS["r05_sensitivity"].centre, PRIORS["r05_specificity"].centre
    of_pregnant = np.select([scanned_pregnant == 1, scanned_pregnant == 0],
                            [sensitivity, 1.0 - sensitivity], 1.0)  # fmt: skip
    of_empty = np.select([scanned_pregnant == 1, scanned_pregnant == 0],
                         [1.0 - specificity, specificity], 1.0)  # fmt: skip
    impossible = 1e-300
    with_litter = np.where(whelped == 0, impossible, of_pregnant)
    without = np.where(whelped == 1, impossible, 1.0)
    return np.log(with_litter), np.log(of_pregnant * without), np.log(of_empty * without)


def _padded(data: ConceptionData) -> dict[str, Any]:
    """Arrays of the model, rounded up in size; a padded row has weight 0."""
    n = data.n_breedings
    size = max(1, -(-n // PADDING["breeding"])) * PADDING["breeding"]

    def pad(values: np.ndarray[Any, Any], fill: float = 0.0) -> np.ndarray[Any, Any]:
        widths = [(0, size - n), *[(0, 0)] * (values.ndim - 1)]
        return np.pad(values, widths, constant_values=fill)

    flags = _flags(data.semen_type, data.route)
    whelped, lost, empty = observation_logs(data.scanned_pregnant, data.whelped)
    arrays: dict[str, Any] = {
        "weight": pad(np.ones(n)),
        "design": pad(data.design),
        "dose_mean": pad(data.dose_mean),
        "dose_sd": pad(data.dose_sd, 1.0),
        "day_mean": pad(data.day_mean),
        "day_sd": pad(data.day_sd, 1.0),
        "twice": pad(data.inseminated[:, 1]),
        "seen_whelped": pad(whelped),
        "seen_lost": pad(lost),
        "seen_empty": pad(empty),
        "coefficient_mean": np.array([PRIORS[row].centre for row in COEFFICIENTS]),
        "coefficient_sd": np.array([PRIORS[row].sd for row in COEFFICIENTS]),
        **{name: pad(values.astype(np.float64)) for name, values in flags.items()},
    }
    for factor, index in data.groups.items():
        n_levels = max(1, len(data.levels[factor]))
        step = PADDING[factor]
        arrays[f"level_{factor}"] = np.zeros(-(-n_levels // step) * step)
        arrays[f"index_{factor}"] = pad(index)
    return arrays


def _flags(
    semen_type: np.ndarray[Any, Any], route: np.ndarray[Any, Any]
) -> dict[str, np.ndarray[Any, Any]]:
    """Which edges and which timing coefficients a breeding has, shape (n,) or (n, kinds)."""
    fresh = np.isin(semen_type, ("natural", "fresh"))
    deep = np.isin(route, ("transcervical", "surgical"))
    return {
        "artificial": semen_type != "natural",
        "frozen": semen_type == "frozen",
        "early": np.column_stack([fresh, semen_type == "chilled", semen_type == "frozen"]).astype(
            np.float64
        ),
        "late": np.column_stack([~deep, deep]).astype(np.float64),
        "early_edge": np.array([EARLY_EDGE_DAYS[kind] for kind in semen_type], dtype=np.float64),
        "late_edge": np.array([LATE_EDGE_DAYS[kind] for kind in route], dtype=np.float64),
    }


def _groups(
    rows: pd.DataFrame,
) -> tuple[dict[str, np.ndarray[Any, Any]], dict[str, tuple[str, ...]]]:
    """Level indices of the grouping factors; clinic and year only where there are several."""
    named = {
        "stud": rows["stud"].astype(str),
        "bitch": rows["bitch"].astype(str),
        "breed": rows["breed"].fillna("unknown").astype(str),
        "clinic": rows["clinic"].fillna("at home").astype(str),
        "year": pd.to_datetime(rows["bred_earliest"]).dt.year.astype(str),
    }
    groups: dict[str, np.ndarray[Any, Any]] = {}
    levels: dict[str, tuple[str, ...]] = {}
    for factor, names in named.items():
        found, index = np.unique(names.to_numpy(dtype=str), return_inverse=True)
        if factor in _ALWAYS_GROUPED or len(found) > 1:
            groups[factor], levels[factor] = index.astype(np.int64), tuple(found.tolist())
    return groups, levels


def _numbers(rows: pd.DataFrame, column: str) -> Floats:
    return pd.to_numeric(rows[column]).to_numpy(dtype=np.float64, na_value=np.nan)


def _known(outcome: pd.Series) -> np.ndarray[Any, Any]:
    """1, 0 or −1 for not known."""
    return outcome.map({True: 1, False: 0}).fillna(-1).to_numpy(dtype=np.int64)
