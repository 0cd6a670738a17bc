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
recorded upstream; a breeding without a record has the population of its stud and method, and two
inseminations share the :math:`z` of the ovulation that both are counted from. Scan and report are
linear in :math:`p`, so the likelihood needs no more than :math:`p` averaged over both :math:`z`,
which is done node by node and leaves nothing latent to be sampled. Motility has no term of its own
(it is inside the dose), and hours do not enter twice.

Priors: rows c01 to c21. Does not know: why a bitch was given this method; the chosen may differ
from the others in ways that no column holds. A missing age or shape enters at its harmless value.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist

from studcurve.analytics.estimate import Estimate, Floats, estimate_from_draws, share_from_records
from studcurve.analytics.models.breedings.inputs import (
    DAY_NODES,
    DAY_WEIGHTS,
    DOSE_NODES,
    DOSE_WEIGHTS,
)
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.breedings.terms import LINEAR, dose_term, method_flags, timing_term
from studcurve.analytics.models.density import Story
from studcurve.analytics.models.regression import (
    draw_coefficients,
    draw_effects,
    effect_draws,
    factor_arrays,
)
from studcurve.analytics.models.sampling import (
    SCHEDULE,
    Diagnostics,
    Draws,
    Run,
    effects_of_levels,
    independent_draws,
    padded_size,
    sample,
)
from studcurve.analytics.priors import PRIORS

MODEL_VERSION = 1
"""Raised whenever the density, or what a kept draw or check means, changes (a test holds it)."""

COEFFICIENTS = (
    "c01", "c02", "c03", "c04", "c05", "c06", "c07", "c08", "c09", "c10", "c11", "c12", "c13",
    "c14", "c15", "c16", "c17_fresh", "c17_chilled", "c17_frozen", "c18_vaginal",
    "c18_intrauterine",
)  # fmt: skip
"""Ids of the normal coefficients, in the order of the coefficient vector."""

EARLY = ("c17_fresh", "c17_chilled", "c17_frozen")
LATE = ("c18_vaginal", "c18_intrauterine")
"""Ids of the timing slopes, in the order of the columns of :func:`method_flags`."""

PADDING = {"breeding": 64, "stud": 8, "bitch": 32, "breed": 4, "kennel": 4, "clinic": 4, "year": 8}
"""Sizes are rounded up to these steps, so that compiled programs can be kept."""

N_PRIOR_DRAWS = 4000
"""Draws of the published table that stand beside a posterior."""

_GROUP_PRIOR = {
    "stud": "c20_stud", "bitch": "c20_bitch", "breed": "c20_breed", "clinic": "c21_clinic",
    "kennel": "c21_kennel", "year": "c21_year",
}  # fmt: skip


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


def fit_conception(
    data: ConceptionData,
    *,
    seed: int,
    prior_sd_factor: float = 1.0,
    schedule: Sequence[Run] = SCHEDULE,
) -> ConceptionPosterior:
    """Update the published table by the kennel's breedings.

    Parameters
    ----------
    data
        From :func:`prepare_conception`.
    seed
        Seed of sampler and prior draws.
    prior_sd_factor
        By which every prior's spread is multiplied, to see what hangs on it.
    schedule
        Attempts of the sampler.

    Raises
    ------
    ConvergenceError
        The sampler did not settle.
    """
    story = conception_story(data, prior_sd_factor)
    gated = ("coefficients", "c19", *(f"sd_{factor}" for factor in data.groups))
    sampled = sample(
        story.model,
        story.arguments,
        name="conception",
        gated=gated,
        seed=seed,
        schedule=schedule,
    )
    draws = story.named(sampled.values)
    prior = prior_draws(np.random.default_rng(seed), N_PRIOR_DRAWS)
    return ConceptionPosterior(data, draws, prior, sampled.diagnostics, sampled.seconds)


def conception_story(data: ConceptionData, prior_sd_factor: float = 1.0) -> Story:
    """Set the chain with its data before the sampler.

    Parameters
    ----------
    data
        From :func:`prepare_conception`.
    prior_sd_factor
        By which every prior's spread is multiplied.
    """
    factors = tuple(data.groups)

    def named(values: Mapping[str, Floats]) -> dict[str, Floats]:
        draws = {row: values["coefficients"][:, k] for k, row in enumerate(COEFFICIENTS)}
        draws["c19"] = values["c19"]
        draws |= {_GROUP_PRIOR[factor]: values[f"sd_{factor}"] for factor in factors}
        return draws | effect_draws(values, data.levels)

    return Story(_model(factors), {"data": _padded(data, prior_sd_factor)}, named)


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


@lru_cache
def _model(factors: tuple[str, ...]) -> Callable[..., None]:
    """Generative story of the chain for these grouping factors."""

    def model(data: Mapping[str, Any]) -> None:
        coefficients = draw_coefficients(data)
        by_id = {row: coefficients[k] for k, row in enumerate(COEFFICIENTS)}
        peak = jnp.abs(numpyro.sample("signed_c19", dist.Normal(0.0, data["peak_scale"])))
        numpyro.deterministic("c19", peak)
        straight = coefficients[np.array([COEFFICIENTS.index(row) for row in LINEAR])]
        eta = by_id["c01"] + data["design"] @ straight + draw_effects(data, factors)
        doublings = data["dose_mean"] + DOSE_NODES[:, None] * data["dose_sd"]
        dose = data["artificial"] * dose_term(jnp, doublings, by_id["c10"], by_id["c11"])
        early = coefficients[np.array([COEFFICIENTS.index(row) for row in EARLY])]
        late = coefficients[np.array([COEFFICIENTS.index(row) for row in LATE])]
        timing = timing_term(
            jnp,
            data["day_mean"] + DAY_NODES[:, None, None] * data["day_sd"],
            early_edge=data["early_edge"],
            late_edge=data["late_edge"],
            early=data["early"] @ early,
            late=data["late"] @ late,
            peak=peak * data["frozen"],
        )
        best = jnp.where(data["twice"], timing.max(axis=1), timing[:, 0])
        nodes = jax.nn.sigmoid(eta + dose[:, None, :] + best[None, :, :])
        pregnant = jnp.einsum("jki,j,k->i", nodes, DOSE_WEIGHTS, DAY_WEIGHTS)
        whelped = jax.nn.sigmoid(by_id["c02"])
        logs = chain_log_likelihood(pregnant, whelped, data["seen"])
        numpyro.factor("outcome", jnp.sum(data["weight"] * logs))

    return model


def chain_log_likelihood(pregnant: Any, whelped: Any, seen: Any) -> Any:  # noqa: ANN401
    """Log probability of what was seen of each breeding.

    Parameters
    ----------
    pregnant, whelped
        Chance of a pregnancy, and of whelping given one.
    seen
        Probability of scan and report given that the bitch whelped, lost, was empty; first axis.
    """
    lives, lost, empty = seen
    return jnp.log(pregnant * (whelped * lives + (1.0 - whelped) * lost) + (1.0 - pregnant) * empty)


def seen_probs(scanned_pregnant: np.ndarray[Any, Any], whelped: np.ndarray[Any, Any]) -> Floats:
    """Probability of scan and report in each of the three true states.

    Parameters
    ----------
    scanned_pregnant, whelped
        1, 0 or −1 for not known, shape (n,).

    Returns
    -------
    numpy.ndarray
        Given whelped, given lost after the scan, given empty: shape (3, n).
    """
    sensitivity, specificity = PRIORS["r05_sensitivity"].centre, PRIORS["r05_specificity"].centre
    of_pregnant = np.select([scanned_pregnant == 1, scanned_pregnant == 0],
                            [sensitivity, 1.0 - sensitivity], 1.0)  # fmt: skip
    of_empty = np.select([scanned_pregnant == 1, scanned_pregnant == 0],
                         [1.0 - specificity, specificity], 1.0)  # fmt: skip
    return np.stack(
        [of_pregnant * (whelped != 0), of_pregnant * (whelped != 1), of_empty * (whelped != 1)]
    )


def _padded(data: ConceptionData, prior_sd_factor: float) -> dict[str, Any]:
    """Arrays of the model, rounded up in size; a padded row has weight 0."""
    n = data.n_breedings
    size = padded_size(n, PADDING["breeding"])

    def pad(values: np.ndarray[Any, Any], fill: float = 0.0) -> np.ndarray[Any, Any]:
        # Breedings are the first axis of the records and the last one of the model.
        widths = [(0, size - n), *[(0, 0)] * (values.ndim - 1)]
        return np.pad(values, widths, constant_values=fill)

    flags = method_flags(data.semen_type, data.route)
    arrays: dict[str, Any] = {
        "weight": pad(np.ones(n)),
        "design": pad(data.design),
        "dose_mean": pad(data.dose_mean),
        "dose_sd": pad(data.dose_sd, 1.0),
        "day_mean": pad(data.day_mean).T,
        "day_sd": pad(data.day_sd, 1.0).T,
        "twice": pad(data.inseminated[:, 1]),
        "seen": pad(seen_probs(data.scanned_pregnant, data.whelped).T, 1.0).T,
        "coefficient_mean": np.array([PRIORS[row].centre for row in COEFFICIENTS]),
        "coefficient_sd": prior_sd_factor * np.array([PRIORS[row].sd for row in COEFFICIENTS]),
        "peak_scale": np.float64(prior_sd_factor * PRIORS["c19"].sd),
        **{name: pad(values.astype(np.float64)) for name, values in flags.items()},
    }
    for factor, index in data.groups.items():
        n_levels = padded_size(len(data.levels[factor]), PADDING[factor])
        scale = prior_sd_factor * PRIORS[_GROUP_PRIOR[factor]].sd
        arrays |= factor_arrays(factor, pad(index), n_levels, scale)
    return arrays
