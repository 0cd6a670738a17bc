r"""How likely is a breeding to give a litter, and what goes with it?

The model
---------
Breeding :math:`i` is pregnant at the scan with chance :math:`p_i` and, if so, whelps with chance
:math:`q`; either may be unobserved, and the scan errs with the published sensitivity and
specificity:

.. math::

    \mathrm{logit}\, p_i &= c_{01} + \sum_k c_k x_{ik} + c_{10} \min(d_i, 0) + c_{11} \max(d_i, 0)
        + c_{23} (m^* - m_i)_+ + \max_j t(\delta_{ij}) + u_{s(i)} + u_{b(i)} + u_{r(i)} + \dots \\
    \mathrm{logit}\, q &= c_{02}

with the semen, route, age, concentration and hour columns :math:`x` of the priors table, the motile
dose :math:`d_i` in doublings of the usual dose of the route, the progressive motility :math:`m_i`
when inseminated, in tens of points below the usual one :math:`m^*` of the semen type, the day
:math:`\delta_{ij}` of insemination :math:`j` counted from ovulation (the best-timed one counts),
and effects :math:`u` of stud, bitch, breed and, where there is more than one, of clinic and year.
Minimum, maximum and the edges of the fertile window are smooth.

Dose, motility and day are latent: each is normal given what was recorded upstream, dose and
motility together, since the same reading is in both; a breeding without a record has the population
of its stud and method, and two inseminations share the :math:`z` of the ovulation that both are
counted from. Scan and report are linear in :math:`p`, so the likelihood needs no more than
:math:`p` averaged over all three, which is done node by node and leaves nothing latent to be
sampled. What the dose says is not in :math:`c_{23}`: it is the remainder. Hours do not enter
twice: what storage takes from the motility of chilled semen is in :math:`d` and :math:`m`, and rows
c12 and c26 are what is left; fresh semen is carried by no curve, and row c25 is all.

A litter goes unreported with chance :math:`\nu`, a bitch that did not whelp with :math:`\rho\nu`,
where :math:`\rho` is row m01 and the larger of the two is row m02 of the semen type (the maximum
is smooth). A result that is still awaited, or that a negative scan has said, tells nothing of
either. The records can hardly tell :math:`\rho` from fewer litters: it stands nearly as it was
believed, and widens what is said.

Priors: rows c01 to c21, c23 to c26, m01 and m02. Does not know: why a bitch was given this method;
the chosen may differ from the others in ways that no column holds. A missing age or shape enters at
its harmless value.
"""

from __future__ import annotations

from collections.abc import Sequence
from types import ModuleType
from typing import Any, NamedTuple, TypeAlias

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.arrays import Array
from studcurve.analytics.models.breedings.inputs import (
    DAY_NODES,
    DAY_WEIGHTS,
    DOSE_NODES,
    DOSE_WEIGHTS,
)
from studcurve.analytics.models.breedings.posterior import (
    AS_PUBLISHED,
    Belief,
    BreedingsPosterior,
    PublishedRows,
    padded_levels,
    padded_rows,
)
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.breedings.semen import SIDES, short_at_doses
from studcurve.analytics.models.breedings.terms import (
    LINEAR,
    MethodFlags,
    dose_term,
    method_flags,
    timing_term,
)
from studcurve.analytics.models.density import Story
from studcurve.analytics.models.regression import MixedTerms, draw_coefficients, draw_effects
from studcurve.analytics.models.sampling import SCHEDULE, Run, padded_size
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.vocabulary import SEMEN_TYPES

MODEL_VERSION = 5
"""Raised whenever the density, or what a kept draw or check means, changes (a test holds it)."""

COEFFICIENTS = (
    "c01", "c02", "c03", "c04", "c05", "c06", "c07", "c08", "c09", "c10", "c11", "c12", "c13",
    "c14", "c15", "c16", "c17_fresh", "c17_chilled", "c17_frozen", "c18_vaginal",
    "c18_intrauterine", "c23", "c24", "c25", "c26",
)  # fmt: skip
"""Ids of the normal coefficients, in the order of the coefficient vector."""

EARLY = ("c17_fresh", "c17_chilled", "c17_frozen")
LATE = ("c18_vaginal", "c18_intrauterine")
"""Ids of the timing slopes, in the order of the columns of :func:`method_flags`."""

REPORTED_LESS = tuple(f"m02_{kind}" for kind in SEMEN_TYPES)
"""Ids of the chances of going unreported, in the order of the semen types."""

PADDING = {"breeding": 64, "stud": 8, "bitch": 32, "breed": 4, "kennel": 4, "clinic": 4, "year": 8}
"""Sizes are rounded up to these steps, so that compiled programs can be kept."""

PUBLISHED = PublishedRows(
    COEFFICIENTS,
    spreads={
        "stud": "c20_stud", "bitch": "c20_bitch", "breed": "c20_breed", "clinic": "c21_clinic",
        "kennel": "c21_kennel", "year": "c21_year",
    },
    others=("c19", "m01", *REPORTED_LESS),
)  # fmt: skip
"""Rows c01 to c21, c23 to c26, m01 and m02 of the priors table."""

SMOOTH_MAXIMUM = 8.0
"""Power of the mean that stands for the larger of two chances: within 9 % where they are equal."""

ConceptionPosterior: TypeAlias = BreedingsPosterior[ConceptionData]
"""Draws by id: c01 … c19, c23 … c26, m01, m02 and the spreads c20, c21."""


class ConceptionArrays(NamedTuple):
    """What the density reads; breedings are the last axis, a padded one has weight 0.

    Attributes
    ----------
    weight
        Shape (n,).
    terms
        Coefficients in the order of :data:`COEFFICIENTS`, and grouping factors.
    design
        Columns of :data:`LINEAR`, shape (n, 15).
    dose_mean, dose_sd
        Shape (n,). [doublings]
    short
        Tens of points of motility below the usual, at each node of the dose, shape (2, 2, n).
    day_mean, day_sd
        Shape (2, n). [d]
    twice
        Whether there was a second insemination, shape (n,).
    method
        Edges and timing coefficients.
    seen
        Probability of scan and result in each true state, shape (3, n).
    semen_type
        Place in :data:`REPORTED_LESS`, shape (n,).
    is_owed, is_unreported
        Of the result, 1 or 0, shape (n,).
    peak_scale
        Scale of the half-normal prior c19.
    forgotten
        Mean and sd of the logarithm of row m01.
    reported_less
        Mean and sd of the rows of :data:`REPORTED_LESS`, shape (2, 4).
    """

    weight: Array
    terms: MixedTerms
    design: Array
    dose_mean: Array
    dose_sd: Array
    short: Array
    day_mean: Array
    day_sd: Array
    twice: Array
    method: MethodFlags
    seen: Array
    semen_type: Array
    is_owed: Array
    is_unreported: Array
    peak_scale: Array
    forgotten: Array
    reported_less: Array


def fit_conception(
    data: ConceptionData,
    *,
    seed: int,
    belief: Belief = AS_PUBLISHED,
    schedule: Sequence[Run] = SCHEDULE,
) -> ConceptionPosterior:
    """Update the published table by the kennel's breedings.

    Parameters
    ----------
    data
        From :func:`prepare_conception`.
    seed
        Seed of sampler and prior draws.
    belief
        How far the published rows are believed.
    schedule
        Attempts of the sampler.

    Raises
    ------
    ConvergenceError
        The sampler did not settle.
    """
    story = conception_story(data, belief)
    return PUBLISHED.fit(data, story, name="conception", seed=seed, schedule=schedule)


def conception_story(data: ConceptionData, belief: Belief = AS_PUBLISHED) -> Story:
    """Set the chain with its data before the sampler.

    Parameters
    ----------
    data
        From :func:`prepare_conception`.
    belief
        How far the published rows are believed.
    """
    return Story(
        _model,
        {"data": _padded(data, belief)},
        lambda values: PUBLISHED.named(values, data.levels),
    )


def _model(data: ConceptionArrays) -> None:
    """Generative story of the chain."""
    coefficients = draw_coefficients(data.terms)
    by_id = {row: coefficients[k] for k, row in enumerate(COEFFICIENTS)}
    peak = jnp.abs(numpyro.sample("signed_c19", dist.Normal(0.0, data.peak_scale)))
    numpyro.deterministic("c19", peak)
    straight = coefficients[np.array([COEFFICIENTS.index(row) for row in LINEAR])]
    eta = by_id["c01"] + data.design @ straight + draw_effects(data.terms)
    method = data.method
    doublings = data.dose_mean + DOSE_NODES[:, None] * data.dose_sd
    dose = method.artificial * dose_term(jnp, doublings, by_id["c10"], by_id["c11"])
    semen = dose[:, None, :] + method.artificial * by_id["c23"] * data.short
    early = coefficients[np.array([COEFFICIENTS.index(row) for row in EARLY])]
    late = coefficients[np.array([COEFFICIENTS.index(row) for row in LATE])]
    timing = timing_term(
        jnp,
        data.day_mean + DAY_NODES[:, None, None] * data.day_sd,
        early_edge=method.early_edge,
        late_edge=method.late_edge,
        early=method.early @ early,
        late=method.late @ late,
        peak=peak * method.frozen,
    )
    best = jnp.where(data.twice, timing.max(axis=1), timing[:, 0])
    nodes = jax.nn.sigmoid(eta + semen[:, :, None, :] + best)
    pregnant = jnp.einsum("jlki,j,k->i", nodes, DOSE_WEIGHTS / len(SIDES), DAY_WEIGHTS)
    whelped = jax.nn.sigmoid(by_id["c02"])
    reported = reported_probs(
        jnp,
        *_reporting(data),
        is_owed=data.is_owed,
        is_unreported=data.is_unreported,
    )
    logs = chain_log_likelihood(pregnant, whelped, data.seen * reported)
    numpyro.factor("outcome", jnp.sum(data.weight * logs))


def _reporting(data: ConceptionArrays) -> tuple[Array, Array]:
    """Sites of rows m01 and m02: the ratio, and the less reported chance of each breeding."""
    centre, sd = data.forgotten
    z = numpyro.sample("z_m01", dist.Normal(0.0, 1.0))
    ratio = numpyro.deterministic("m01", jnp.exp(centre + sd * z))
    centres, sds = data.reported_less
    z_less = numpyro.sample(
        "z_m02", dist.Normal(0.0, 1.0).expand((len(REPORTED_LESS),)).to_event(1)
    )
    less = centres + sds * z_less
    for k, row in enumerate(REPORTED_LESS):
        numpyro.deterministic(row, less[k])
    return ratio, jax.nn.sigmoid(less)[data.semen_type]


def reported_probs(
    xp: ModuleType,
    ratio: Array,
    less: Array,
    *,
    is_owed: Array,
    is_unreported: Array,
) -> Array:
    """Chance that a result is reported, or is not, as it came: in each of the three true states.

    Parameters
    ----------
    xp
        ``numpy`` or its jax twin.
    ratio
        Chance of going unreported of a bitch that did not whelp over that of one that did.
    less
        The larger of the two, 0 to 1.
    is_owed, is_unreported
        Of the result, 1 or 0; one that is not owed tells nothing. The arguments broadcast.

    Returns
    -------
    Array
        Given whelped, given lost after the scan, given empty; first axis.
    """
    litter = less / (1.0 + ratio**SMOOTH_MAXIMUM) ** (1.0 / SMOOTH_MAXIMUM)
    states = [
        xp.where(is_owed, xp.where(is_unreported, unreported, 1.0 - unreported), 1.0)
        for unreported in (litter, ratio * litter)
    ]
    return xp.stack([states[0], states[1], states[1]])


def chain_log_likelihood(pregnant: Array, whelped: Array, seen: Array) -> Array:
    """Log probability of what was seen of each breeding.

    Parameters
    ----------
    pregnant, whelped
        Chance of a pregnancy, and of whelping given one.
    seen
        Probability of scan and report given that the bitch whelped, lost, was empty; first axis.
    """
    lives, lost, empty = seen
    given_pregnant = whelped * lives + (1.0 - whelped) * lost
    logs: Array = jnp.log(pregnant * given_pregnant + (1.0 - pregnant) * empty)
    return logs


def semen_type_index(semen_type: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Place of each semen type in :data:`REPORTED_LESS`."""
    return np.array([SEMEN_TYPES.index(kind) for kind in semen_type], dtype=np.int64)


def seen_probs(scanned_pregnant: np.ndarray[Any, Any], whelped: np.ndarray[Any, Any]) -> Floats:
    """Probability of scan and result in each of the three true states.

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


def _padded(data: ConceptionData, belief: Belief) -> ConceptionArrays:
    """Arrays of the model, rounded up in size."""
    size = padded_size(data.n_breedings, PADDING["breeding"])

    def pad(values: np.ndarray[Any, Any], fill: float = 0.0) -> np.ndarray[Any, Any]:
        # Breedings are the first axis of the records and the last one of the model.
        return padded_rows(values, size, fill)

    flags = method_flags(data.semen_type, data.route)
    pair = data.inseminated_semen
    return ConceptionArrays(
        weight=pad(np.ones(data.n_breedings)),
        terms=PUBLISHED.terms(
            {factor: pad(index) for factor, index in data.groups.items()},
            padded_levels(data.levels, PADDING),
            belief,
        ),
        design=pad(data.design),
        dose_mean=pad(pair.dose_mean),
        dose_sd=pad(pair.dose_sd, 1.0),
        short=pad(short_at_doses(pair, data.semen_type).T).T,
        day_mean=pad(data.day_mean).T,
        day_sd=pad(data.day_sd, 1.0).T,
        twice=pad(data.inseminated[:, 1]),
        method=MethodFlags(*(pad(np.asarray(each, dtype=np.float64)) for each in flags)),
        seen=pad(seen_probs(data.scanned_pregnant, data.whelped).T, 1.0).T,
        semen_type=pad(semen_type_index(data.semen_type)),
        is_owed=pad(data.is_owed),
        is_unreported=pad(data.is_unreported),
        peak_scale=np.float64(belief.of("c19")[1]),
        forgotten=np.array(belief.of("m01")),
        reported_less=np.array([belief.of(row) for row in REPORTED_LESS]).T,
    )
