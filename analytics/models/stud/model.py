r"""Has this stud's semen changed, given how it was read?

The model
---------
Collection :math:`i` of stud :math:`s` at time :math:`t`, read by reader :math:`r`, has on the
working scale (log of total sperm in millions, logit of a share) the level

.. math::

    \eta_i = a_s + \beta\, \max(0, \mathrm{age}_i - 7) + f_s(t_i) + \rho_s\, R_s(t_i)
        + \sum_e \delta_e\, g_e(t_i) + c \cos 2\pi t_i + d \sin 2\pi t_i + h(\mathrm{rest}_i)

with a level :math:`a_s` of each stud, an age slope :math:`\beta` common to all dogs, a slow level
:math:`f_s` (Matérn 3/2 process, in a Hilbert-space basis), an abrupt change
:math:`\rho_s` that nobody has noted, over the last months before his last collection, and for each
declared event a step :math:`\delta_e` with a lag and a recovery. The slow level of each stud has an
amplitude of his own, :math:`A e^{z_s}` around the kennel's usual one, so that one ageing dog lends
the others no movement that their own records do not show. An event's step has the shape

.. math::

    g_e(t) = \Lambda\!\left(\frac{t - t_e - \mathrm{lag}}{w_1}\right)
        \left\{1 - \Lambda\!\left(\frac{t - t_e - \mathrm{lag} - \mathrm{duration}}{w_2}\right)
        \right\},

:math:`\Lambda` the logistic function: the slow level alone would halve a true fall. Rest enters
total sperm alone, as a deficit on the next day that recovers exponentially; published work
disagrees about its sign for the shares.

A log of total sperm is read as :math:`\eta_i + b_r` and a share as
:math:`\mathrm{E}[\mathrm{expit}(\eta_i + \sigma z)] + b_r`, with reader errors :math:`b_r`, the
spread :math:`\sigma` of single collections and the known error of the reading; the spread of a
share is matched by its first two moments, which agrees with quadrature to the second decimal
(tests). Tails are Student's: some ejaculations are incomplete and some numbers mistyped. A count
below 20 keeps its Poisson likelihood, integrated over the collection's spread on a grid; "> 400"
is an interval.

Priors: rows q01 to q06, r01 to r03. Does not know: matings between collections (his rest is then
shorter than recorded), which fraction was caught, whether an event did anything: it is coincident.
A change of readers that never overlapped cannot be separated from a change of the dog.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.counting import LEAST_SHARE_VARIANCE
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.arrays import Array
from studcurve.analytics.models.density import Story
from studcurve.analytics.models.sampling import (
    SCHEDULE,
    Diagnostics,
    Draws,
    Run,
    effects_of_levels,
    flat,
    half_normal_spread,
    half_normal_spreads_of_one_sum,
    independent_draws,
    sample,
)
from studcurve.analytics.models.stud.arrays import (
    Information,
    StudArrays,
    StudPriors,
    n_basis_of,
    stud_arrays,
    stud_priors,
)
from studcurve.analytics.models.stud.curves import (
    basis_domain,
    rest_term,
    share_moments,
    spectral_density,
    step_shape,
    tailed_log,
)
from studcurve.analytics.models.stud.inputs import GRID_NODES, MEASURES, StudData
from studcurve.analytics.priors import N_PRIOR_DRAWS

MODEL_VERSION = 2
"""Of all measures. Raised whenever the density, or what a kept draw means, changes (a test holds
it)."""

UNRECORDED_DOMAIN_DAYS = np.array([0.0, 36525.0])
"""Domain of the slow level of a kennel without a collection: any would do. [d]"""

MANY_STUDS = 20
"""Studs from which two spreads are drawn together (J): of 50 studs with 15 collections each the
first attempt had 360 effective draws of the spread between studs apart, 1,500 together; of five
studs it has more when they are apart."""

DENSE_TOTAL = (("bent_spread", "white_within", "length", "rest_time", "rest_deficit"),)
DENSE_SHARE = (("bent_spread", "white_within", "length"),)
"""Sites that trade off; the effects themselves are laid out so that they do not."""


@dataclass(frozen=True, slots=True)
class StudQualityPosterior:
    """What the collections taught us about one measure of every stud.

    Attributes
    ----------
    data
        What was read.
    draws
        First axis draws; on the working scale. ``level``, ``recent`` and ``recent_until`` (day of
        his last collection then) by stud, ``smooth`` by stud and basis function, ``domain`` (first
        and last day of the basis), ``age``, ``season`` (cosine, sine), ``rest_time`` and
        ``rest_deficit`` (total sperm), ``reader`` by reader, ``step``, ``lag`` and ``duration`` by
        episode, ``within`` (scale of a single collection), ``between``, ``reader_sd``,
        ``amplitude`` of the slow level by stud and ``usual_amplitude`` of the kennel, ``length``,
        ``centre`` of the population.
    labels
        Names of the levels of ``level``, ``reader`` and ``step``.
    diagnostics
        What the sampler's gate read.
    seconds
        Wall time. [s]
    """

    data: StudData
    draws: Mapping[str, Floats]
    labels: Mapping[str, tuple[str, ...]]
    diagnostics: Diagnostics
    seconds: float


def fit_stud_quality(
    data: StudData,
    *,
    seed: int,
    schedule: tuple[Run, ...] = SCHEDULE,
    priors: StudPriors | None = None,
) -> StudQualityPosterior:
    """Update the published table by the kennel's collections.

    Parameters
    ----------
    data
        From :func:`studcurve.analytics.models.stud.inputs.prepare_stud_data`; at least one row.
    seed
        Seed of the sampler.
    schedule
        Attempts of the sampler.
    priors
        Others than the table's.

    Raises
    ------
    ConvergenceError
        The sampler did not settle.
    """
    story = stud_story(data, priors)
    gated = [
        "usual_amplitude", "amplitude", "length", "within", "between", "reader_sd", "common",
        "own", "reader",
    ]  # fmt: skip
    if data.measure.is_log:
        gated += ["rest_time", "rest_deficit"]
    sampled = sample(
        story.model,
        story.arguments,
        name=f"stud over time, {data.measure.name}",
        gated=tuple(gated),
        seed=seed,
        schedule=schedule,
        dense=DENSE_TOTAL if data.measure.is_log else DENSE_SHARE,
    )
    draws = story.named(sampled.values)
    return StudQualityPosterior(data, draws, _labels(data), sampled.diagnostics, sampled.seconds)


def stud_story(data: StudData, priors: StudPriors | None = None) -> Story:
    """Set one measure of every stud before the sampler.

    Parameters
    ----------
    data
        At least one row.
    priors
        Others than the table's.
    """
    arrays = stud_arrays(data, priors or stud_priors(data.measure))
    model = _total_model if data.measure.is_log else _share_model
    return Story(model, {"data": arrays}, lambda values: _named_draws(values, data, arrays))


def restore_stud_quality(data: StudData, draws: Draws, *, seed: int) -> StudQualityPosterior:
    """Make a posterior again from kept draws and the records of today.

    Parameters
    ----------
    data
        Today's; a stud, reader or event that the fit has not seen gets draws of a new one.
    draws
        Kept draws with their labels, or those of the published table.
    seed
        Seed of the new levels.
    """
    rng = np.random.default_rng(seed)
    values, priors = draws.values, stud_priors(data.measure)
    n_draws, labels = len(values["within"]), _labels(data)
    domain = values["domain"]
    if not np.isfinite(domain).all():
        span = basis_domain(data.on) if data.n_collections else UNRECORDED_DOMAIN_DAYS
        domain = np.broadcast_to(span, (n_draws, 2))
    half_range = (domain[0, 1] - domain[0, 0]) / 2.0 / DAYS_PER_YEAR
    n_basis = values["smooth"].shape[2] or n_basis_of(half_range)
    ones = np.ones(n_draws)
    seen = {name: k for k, name in enumerate(draws.labels.get("level", ()))}
    amplitude = _amplitudes(draws, data.studs, priors, rng)
    smooth = np.zeros((n_draws, len(data.studs), n_basis))
    if not set(data.studs) <= set(seen):
        # Read by the sampler's own library, which compiles: only where a stud is new.
        spread = np.sqrt(np.asarray(jax.vmap(
            lambda length: spectral_density(1.0, length, half_range, n_basis)
        )(values["length"])))  # fmt: skip
        smooth = amplitude[:, :, None] * spread[:, None, :] * rng.normal(size=smooth.shape)
    until = np.full((n_draws, len(data.studs)), np.inf)
    for k, name in enumerate(data.studs):
        if name in seen:
            smooth[:, k] = values["smooth"][:, seen[name]]
            until[:, k] = values["recent_until"][:, seen[name]]
    centred = {**values, "level": values["level"] - values["centre"][:, None]}
    from_kept = {
        "level": (Draws(centred, draws.diagnostics, 0.0, draws.labels), values["between"]),
        "recent": (_relabelled(draws, "recent", "level"), 0.0 * ones),
        "step": (draws, priors.step_sd * ones),
        "log_lag": (_logged(draws, "lag", priors.lag), priors.lag_sd * ones),
        "log_duration": (_logged(draws, "duration", priors.duration), priors.duration_sd * ones),
    }
    found = {
        name: effects_of_levels(
            kept, name, labels["level" if name in ("level", "recent") else "step"], sd=sd, rng=rng
        )
        for name, (kept, sd) in from_kept.items()
    }
    reader = effects_of_levels(draws, "reader", data.readers, sd=values["reader_sd"], rng=rng)
    restored = {
        **values,
        "domain": np.asarray(domain),
        "level": found["level"] + values["centre"][:, None],
        "amplitude": amplitude,
        "smooth": smooth,
        "recent": found["recent"],
        "recent_until": until,
        "reader": reader,
        "step": found["step"],
        "lag": priors.lag * np.exp(found["log_lag"]),
        "duration": priors.duration * np.exp(found["log_duration"]),
    }
    return StudQualityPosterior(data, restored, labels, draws.diagnostics, draws.seconds)


def published_stud_quality(measure: str, seed: int, *, n_draws: int = N_PRIOR_DRAWS) -> Draws:
    """Draws of the published table alone: a kennel without a collection.

    Parameters
    ----------
    measure
        Key of :data:`studcurve.analytics.models.stud.inputs.MEASURES`.
    seed
        Seed of the draws.
    n_draws
        Length of each array.
    """
    rng = np.random.default_rng(seed)
    priors = stud_priors(MEASURES[measure])
    z = {name: rng.normal(size=n_draws) for name in (
        "centre", "age", "within", "between", "reader_sd", "amplitude", "length", "rest",
    )}  # fmt: skip
    values = {
        "within": priors.within_sd * np.abs(z["within"]),
        "between": priors.between_sd * np.abs(z["between"]),
        "usual_amplitude": priors.amplitude_sd * np.abs(z["amplitude"]),
        "reader_sd": priors.reader_sd * np.abs(z["reader_sd"]),
        "centre": priors.centre + priors.centre_sd * z["centre"],
        "age": priors.age + priors.age_sd * z["age"],
        "season": priors.season_sd * rng.normal(size=(n_draws, 2)),
        "length": priors.length * np.exp(priors.length_sd * z["length"]),
        "domain": np.full((n_draws, 2), np.nan),
        "smooth": np.zeros((n_draws, 0, 0)),
        **{name: np.zeros((n_draws, 0)) for name in (
            "level", "recent", "recent_until", "amplitude", "reader", "step", "lag", "duration",
        )},
    }  # fmt: skip
    if MEASURES[measure].is_log:
        values["rest_time"] = priors.rest * np.exp(priors.rest_sd * z["rest"])
        values["rest_deficit"] = rng.beta(priors.rest_deficit_a, priors.rest_deficit_b, n_draws)
    return independent_draws(values)


def _total_model(data: StudArrays) -> None:
    _model(data, is_log=True)


def _share_model(data: StudArrays) -> None:
    _model(data, is_log=False)


def _model(data: StudArrays, *, is_log: bool) -> None:
    """Generative story, in the form the sampler likes."""
    readings, counts, priors = data.readings, data.counts, data.priors
    n_studs, n_readers = data.last.shape[0], data.reader_scale.shape[0]
    n_basis = data.basis.shape[0]
    between, reader_sd, usual_amplitude = _spreads(
        numpyro.sample("bent_spread", flat(3)), priors, together=n_studs >= MANY_STUDS
    )
    z_amplitude = numpyro.sample("z_amplitude", dist.Normal().expand((n_studs,)).to_event(1))
    amplitude = numpyro.deterministic(
        "amplitude", usual_amplitude * jnp.exp(priors.amplitude_stud_sd * z_amplitude)
    )
    length = numpyro.sample("length", dist.LogNormal(jnp.log(priors.length), priors.length_sd))
    slow = jnp.sqrt(spectral_density(1.0, length, data.half_range, n_basis))
    n_episodes = data.of_episode.shape[-1]
    z_event = numpyro.sample("z_event", dist.Normal(0.0, 1.0).expand((3, n_episodes)).to_event(2))
    z_step, z_lag, z_duration = z_event
    step, lag, duration = (
        (data.of_episode @ each)[..., None]
        for each in (
            priors.step_sd * z_step,
            priors.lag * jnp.exp(priors.lag_sd * z_lag),
            priors.duration * jnp.exp(priors.duration_sd * z_duration),
        )
    )
    bent: Array = jnp.sum(step * step_shape(jnp, readings.since, lag, duration), axis=0)
    if is_log:
        rest = numpyro.sample("rest_time", dist.LogNormal(jnp.log(priors.rest), priors.rest_sd))
        deficit = numpyro.sample(
            "rest_deficit", dist.Beta(priors.rest_deficit_a, priors.rest_deficit_b)
        )
        bent = bent + rest_term(jnp, readings.rest_days, rest, deficit)
    n_common = readings.common_design.shape[-1]
    effects = _laid_out(
        jnp.column_stack(
            [
                jnp.full(n_studs, between),
                amplitude[:, None] * slow,
                jnp.full(n_studs, priors.recent_sd),
            ]
        ),
        jnp.hstack([jnp.ones(n_common), reader_sd * data.reader_scale]),
        bent,
        data,
    )
    z_reader = _reader_effects(effects, numpyro.sample("white_reader", flat(n_readers)))
    reader = numpyro.deterministic("reader", reader_sd * data.reader_scale * z_reader)
    white_within = numpyro.sample("white_within", flat())
    if is_log:
        within = _within(white_within, 1.0, data.information, priors.within_sd)
        lift = jnp.zeros(n_studs)
    else:
        usual = data.information.usual_share
        share = jnp.clip(usual - data.information.usual_reader @ reader, 0.02, 0.98)
        factor = _slope(usual) / _slope(share)
        within = _within(white_within, factor, data.information, priors.within_sd)
        lift = _lift(share, within, usual)
    numpyro.deterministic("within", within)
    z_own, common = _other_effects(
        effects,
        numpyro.sample("white", flat(n_studs, n_basis + 2)),
        numpyro.sample("white_common", flat(n_common)),
        z_reader,
        lift,
        data,
    )
    numpyro.deterministic("common", common)
    own = numpyro.deterministic("own", z_own * effects.scale)
    eta = (
        readings.offset + readings.common_design @ common + bent
        + jnp.einsum("bnk,bk->bn", readings.own_design, data.of_stud @ own)
    )  # fmt: skip
    if is_log:
        mean, variance = eta, jnp.full_like(eta, within**2)
    else:
        mean, variance = share_moments(jnp, eta, within)
    mean = mean + readings.of_reader @ reader
    inside = jnp.clip(mean, 0.0, 1.0)
    variance = (
        variance
        + readings.reading_sd**2
        + (inside * (1.0 - inside) + LEAST_SHARE_VARIANCE) * readings.inverse_n
    )
    numpyro.factor(
        "readings",
        jnp.sum(
            readings.direct
            * tailed_log(jnp, readings.value - mean, jnp.sqrt(variance), priors.tail)
        ),
    )
    if is_log:
        at = counts.at
        apart = GRID_NODES[None, :] - mean.reshape(-1)[at][:, None]
        wide = jnp.sqrt(within**2 + counts.reading_sd**2)[:, None]
        each = jax.scipy.special.logsumexp(
            counts.log_likelihood + tailed_log(jnp, apart, wide, priors.tail), axis=1
        )
        numpyro.factor("small_counts", jnp.sum(counts.weight * each))


def _spreads(bent: Array, priors: StudPriors, *, together: bool) -> tuple[Array, Array, Array]:
    """Spreads between studs, of readers and of a stud's slow level.

    Many studs tell how far apart they are at one time far better than how much of it is lasting;
    the spreads between studs and of the slow level are then drawn together.
    """
    if together:
        scales = jnp.stack([priors.between_sd, priors.amplitude_sd])
        between, amplitude = half_normal_spreads_of_one_sum(bent[jnp.array([0, 2])], scales)
        reader_sd = priors.reader_sd * half_normal_spread(bent[1])
    else:
        scales = jnp.stack([priors.between_sd, priors.reader_sd, priors.amplitude_sd])
        between, reader_sd, amplitude = scales * half_normal_spread(bent)
    return (
        numpyro.deterministic("between", between),
        numpyro.deterministic("reader_sd", reader_sd),
        numpyro.deterministic("usual_amplitude", amplitude),
    )


class _LaidOut(NamedTuple):
    """Factors of :func:`_laid_out`, in its letters: scale S; T, L, K; M, b and L⁻¹S G₁; score."""

    scale: Array
    shared_scale: Array
    lower: Array
    shared_lower: Array
    crossed: Array
    pulled: Array
    raised: Array
    shared_score: Array


def _laid_out(scale: Array, shared_scale: Array, bent: Array, data: StudArrays) -> _LaidOut:
    r"""Factors of coordinates that the sampler likes, for all effects that enter linearly.

    Given the spreads and what enters not linearly, these effects together are nearly normal a
    posteriori. With prior scales :math:`S_s` of a stud's own and :math:`T` of the shared effects
    (common ones, then readers), information :math:`G`, :math:`A`, :math:`H` (own, own by shared,
    shared) and scores :math:`g`, :math:`h`,

    .. math::

        L_s L_s^\top &= S_s G_s S_s + I, \qquad M_s = L_s^{-1} S_s A_s T, \qquad
            b_s = L_s^{-1} S_s g_s \\
        K K^\top &= T H T + I - \textstyle\sum_s M_s^\top M_s \\
        z &= K^{-\top} \{K^{-1} (T h - \textstyle\sum_s M_s^\top b_s) + w\}, \qquad
        z_s = L_s^{-\top} (b_s - M_s z + w_s)

    turn flat coordinates :math:`w` into effects that are standard normal a priori: there is neither
    a funnel between effects and spreads nor a trade-off between level, slow level, readers and age.
    Readers come first. A share's level follows their errors along its curve, not the tangent: the
    scores then move by a lift of each stud's level. The determinant of the map is accounted for, so
    that the posterior stays what the story says.

    Parameters
    ----------
    scale, shared_scale
        Prior scales, shapes (n_studs, n_own) and (n_shared,).
    bent
        What enters each row not linearly, shape (n_blocks, rows of a block).
    data
        Arrays of the model.
    """
    weighted = data.readings.weight * bent
    by_block = jnp.einsum("bnk,bn->bk", data.readings.own_design, weighted)
    own_score = data.information.own_score - data.of_stud.T @ by_block
    information = data.information.own
    lower = jnp.linalg.cholesky(
        scale[:, :, None] * information * scale[:, None, :] + jnp.eye(scale.shape[1])
    )
    known = [
        data.information.own_shared * shared_scale,
        own_score[:, :, None],
        information[:, :, :1],
    ]
    half = _solved(lower, scale[:, :, None] * jnp.concatenate(known, axis=2))
    crossed, pulled, raised = half[:, :, :-2], half[:, :, -2], half[:, :, -1]
    shared_lower = jnp.linalg.cholesky(
        shared_scale[:, None] * data.information.shared * shared_scale
        + jnp.eye(len(shared_scale))
        - jnp.einsum("sij,sik->jk", crossed, crossed)
    )
    log_volume = -sum(
        jnp.sum(jnp.log(jnp.diagonal(each, axis1=-2, axis2=-1))) for each in (lower, shared_lower)
    )
    numpyro.factor("volume", log_volume)
    shared_score = data.information.shared_score - jnp.einsum(
        "bnk,bn->k", data.readings.shared_design, weighted
    )
    return _LaidOut(scale, shared_scale, lower, shared_lower, crossed, pulled, raised, shared_score)


def _reader_effects(effects: _LaidOut, white: Array) -> Array:
    """Standard effects of the readers from their coordinates, the other effects integrated."""
    score = effects.shared_scale * effects.shared_score - jnp.einsum(
        "sij,si->j", effects.crossed, effects.pulled
    )
    half = _solved(effects.shared_lower, score)[-len(white) :] + white
    z = _solved(effects.shared_lower[-len(white) :, -len(white) :], half, trans=1)
    numpyro.factor("reader_prior", -0.5 * jnp.sum(z**2))
    return z


def _other_effects(
    effects: _LaidOut,
    white: Array,
    white_common: Array,
    z_reader: Array,
    lift: Array,
    data: StudArrays,
) -> tuple[Array, Array]:
    """Standard effects of each stud and common ones, given the readers and a lift of each level."""
    n = len(white_common)
    pulled = effects.pulled + effects.raised * lift[:, None]
    score = effects.shared_scale[:n] * (
        effects.shared_score[:n] + lift @ data.information.own_shared[:, 0, :n]
    ) - jnp.einsum("sij,si->j", effects.crossed[:, :, :n], pulled)
    lower, across = effects.shared_lower[:n, :n], effects.shared_lower[n:, :n]
    half = _solved(lower, score) + white_common - z_reader @ across
    common = _solved(lower, half, trans=1)
    z_shared = jnp.concatenate([common, z_reader])
    rest = pulled - effects.crossed @ z_shared + white
    own = _solved(effects.lower, rest[..., None], trans=1)[..., 0]
    numpyro.factor("effects_prior", -0.5 * (jnp.sum(own**2) + jnp.sum(common**2)))
    return own, common


def _solved(lower: Array, right: Array, *, trans: int = 0) -> Array:
    return jax.scipy.linalg.solve_triangular(lower, right, lower=True, trans=trans)


def _slope(share: Array) -> Array:
    """Change of a share with its logit."""
    return share * (1.0 - share)


def _lift(share: Array, within: Array, usual: Array) -> Array:
    r"""Logit whose mean share this is, against its place on the tangent at the usual share.

    The mean of a logit-normal share is close to
    :math:`\mathrm{expit}(a / \sqrt{1 + \pi\sigma^2/8})` (MacKay 1992, Neural Computation 4:720, M);
    a rough one would only be slower.
    """
    logit_usual = jnp.log(usual / (1.0 - usual))
    level = jnp.log(share / (1.0 - share)) * jnp.sqrt(1.0 + jnp.pi / 8.0 * within**2)
    return level - (logit_usual + (share - usual) / _slope(usual))


def _within(
    white: Array, factor: Array | float, information: Information, prior_sd: Array | float
) -> Array:
    r"""Half-normal spread of single collections, from a coordinate near the readings' own guess.

    A spread of :math:`n` readings is known to :math:`1/\sqrt{2n}` of itself, much better than the
    other spreads, and of a share on the scale of the share: in units of that, the sampler starts
    with steps of the right size.

    Parameters
    ----------
    white
        The coordinate.
    factor
        Usual slope against the present one, of each stud; 1 for total sperm.
    information
        What the readings say on a normal scale.
    prior_sd
        Scale of the half-normal prior.
    """
    within: Array = (
        information.within_guess * jnp.mean(factor) * jnp.exp(information.within_unit * white)
    )
    log_prior = dist.HalfNormal(prior_sd).log_prob(within)
    numpyro.factor("within_prior", log_prior + jnp.log(within))
    return within


def _labels(data: StudData) -> dict[str, tuple[str, ...]]:
    """What the last axis of the draws counts, where it counts levels that have names."""
    return {
        "level": data.studs,
        "reader": data.readers,
        "step": tuple(f"{e.stud} {e.started_on:%Y-%m-%d}" for e in data.episodes),
    }


def _relabelled(draws: Draws, name: str, like: str) -> Draws:
    """Draws in which one site counts the levels that another counts."""
    labels = {**draws.labels, name: draws.labels.get(like, ())}
    return Draws(draws.values, draws.diagnostics, draws.seconds, labels)


def _amplitudes(
    draws: Draws, studs: tuple[str, ...], priors: StudPriors, rng: np.random.Generator
) -> Floats:
    """Amplitude of each stud's slow level: his own, or around the usual one where he is new."""
    usual = draws.values["usual_amplitude"][:, None]
    values = {"departure": np.log(draws.values["amplitude"] / usual)}
    labels = {"departure": draws.labels.get("level", ())}
    kept = Draws(values, draws.diagnostics, draws.seconds, labels)
    sd = np.full(len(usual), priors.amplitude_stud_sd)
    return np.asarray(usual * np.exp(effects_of_levels(kept, "departure", studs, sd=sd, rng=rng)))


def _logged(draws: Draws, name: str, usual_days: float) -> Draws:
    """Draws with the log of a duration against its usual one, counted like the steps."""
    values = {f"log_{name}": np.log(draws.values[name] / usual_days)}
    labels = {f"log_{name}": draws.labels.get("step", ())}
    return Draws(values, draws.diagnostics, draws.seconds, labels)


def _named_draws(
    values: Mapping[str, Floats], data: StudData, arrays: StudArrays
) -> dict[str, Floats]:
    """Draws on the working scale, under the names that the answers read."""
    priors = arrays.priors
    n_draws, n_episodes = len(values["between"]), len(data.episodes)
    common, own = values["common"], values["own"]
    z_step, z_lag, z_duration = np.moveaxis(values["z_event"][:, :, :n_episodes], 1, 0)
    centre = priors.centre + priors.centre_sd * common[:, 0]
    draws = {
        "centre": centre,
        "level": centre[:, None] + own[:, :, 0],
        "smooth": own[:, :, 1:-1],
        "recent": own[:, :, -1],
        "recent_until": np.broadcast_to(arrays.last, (n_draws, len(data.studs))).copy(),
        "domain": np.broadcast_to(basis_domain(data.on), (n_draws, 2)).copy(),
        "age": priors.age + priors.age_sd * common[:, 1],
        "season": priors.season_sd * common[:, 2:4],
        "reader": values["reader"],
        "step": priors.step_sd * z_step,
        "lag": priors.lag * np.exp(priors.lag_sd * z_lag),
        "duration": priors.duration * np.exp(priors.duration_sd * z_duration),
        **{
            name: values[name]
            for name in ("within", "between", "reader_sd", "usual_amplitude", "amplitude", "length")
        },
    }
    if data.measure.is_log:
        draws |= {name: values[name] for name in ("rest_time", "rest_deficit")}
    return draws
