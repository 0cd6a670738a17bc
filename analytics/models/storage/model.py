r"""How long does a chilled sample last in this kennel's own tubes?

The model
---------
Reading :math:`k` of collection :math:`c`, taken :math:`t` hours after it, is

.. math::

    y_{ck} &\sim N\bigl(M_c S_c(t_{ck}) + b_{r(ck)} + a_{ck},\; v_{ck}\bigr), \qquad
        S_c(t) = \exp\{-(t/\eta_c)^{\kappa}\} \\
    \log \eta_c &= \log \eta_0 + \log f_{m(c)} + e_{x(c)} + u_{s(c)} + w_c

with the motility at hour 0 :math:`M_c`, the medium's factor :math:`f`, effects :math:`e` of the
extender's product, :math:`u` of the stud and :math:`w` of the collection, the reader's bias
:math:`b` and the shift :math:`a` of a sample that may have been read cold. An undiluted sample at
room temperature has a scale and a shape of its own. The variance :math:`v` holds the reading, its
rounding, the counting error and the doubt about the hour; it matches the moments of the exact
likelihoods, which the sampler does not like.

The motility at hour 0 is not sampled: it is normal, enters linearly, and leaves in closed form.
What remains for each collection is one standard normal that its readings narrow little, which is
what the non-centred form is for.

Priors: rows s01 to s05, r01 and r04. Does not know: a shipment left in the sun or frozen on the
ice pack, a tube opened too often, bacteria; which collections were retained, and why. Motility
kept is not fertility kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.counting import LEAST_SHARE_VARIANCE
from studcurve.analytics.measures.motility_kept import log_retention
from studcurve.analytics.models.arrays import Array
from studcurve.analytics.models.density import Story
from studcurve.analytics.models.sampling import (
    SCHEDULE,
    Diagnostics,
    Draws,
    Run,
    flat,
    half_normal_spread,
    independent_draws,
    padded_size,
    sample,
)
from studcurve.analytics.models.storage.curve import OwnStorage
from studcurve.analytics.models.storage.inputs import MEDIA, StorageData
from studcurve.analytics.priors import N_PRIOR_DRAWS, PRIORS, draw_priors

SCALES = ("s01", "s02_milk", "s02_cream", "s02_unknown", "s04", "s03")
"""Ids of the log-normal rows, in the order of the vector of their logs."""

PADDING = {"collection": 16, "reading": 2, "stud": 8, "product": 4, "reader": 8}
"""Sizes are rounded up to these steps, so that compiled programs can be kept."""

PUBLISHED = (*SCALES, "s05_stud", "s05_collection")
"""Ids of the rows that the draws update."""


class CollectionReadings(NamedTuple):
    """Readings by collection, shape (n_collections, n_readings), as of ``StorageData``.

    Attributes
    ----------
    share, hours, hours_sd, variance, per_judged, weight
        A missing reading has weight 0.
    start_guess
        Shape (n_collections,).
    """

    share: Array
    hours: Array
    hours_sd: Array
    variance: Array
    per_judged: Array
    weight: Array
    start_guess: Array


class StorageArrays(NamedTuple):
    """What the density reads.

    Attributes
    ----------
    readings
        By collection.
    shift, reader
        Expected shortfall of a cold reading, and who read, like the readings.
    exists
        0 of a padded collection, shape (n_collections,).
    stud, product
        Index by collection.
    is_undiluted
        Whether scale and shape are those of an undiluted sample, shape (n_collections,).
    scale_columns, log_eta_offset
        Which of :data:`SCALES` enter the log of the scale, shape (n_collections, 6), and what is
        added to it.
    log_scale_mean, log_scale_sd
        Normal priors of the logs of :data:`SCALES`.
    studs, products, readers
        Noughts, one a level: their number is a length, not a number.
    """

    readings: CollectionReadings
    shift: Array
    reader: Array
    exists: Array
    stud: Array
    product: Array
    is_undiluted: Array
    scale_columns: Array
    log_eta_offset: Array
    log_scale_mean: Array
    log_scale_sd: Array
    studs: Array
    products: Array
    readers: Array


@dataclass(frozen=True, slots=True)
class StoragePosterior:
    """What the kennel's tubes and shipments added to what is published.

    Attributes
    ----------
    data
        What was read.
    draws
        Draws by id: s01, s04 [h], s02_… (ratio), s03, s05_stud, s05_collection; effects as
        ``effect_stud``, ``effect_product`` [log], ``bias_reader`` [share]. First axis draws.
    labels
        What the last axis of the effects counts, as fitted.
    diagnostics
        What the sampler's gate read.
    seconds
        Wall time. [s]
    """

    data: StorageData
    draws: Mapping[str, Floats]
    labels: Mapping[str, tuple[str, ...]]
    diagnostics: Diagnostics
    seconds: float

    @property
    def own(self) -> OwnStorage:
        """The curves of this kennel's studs and extenders."""
        return OwnStorage(self.draws, self.labels)


def fit_storage(
    data: StorageData, *, seed: int, schedule: tuple[Run, ...] = SCHEDULE
) -> StoragePosterior:
    """Update the published curve by the kennel's stored samples.

    Parameters
    ----------
    data
        From :func:`studcurve.analytics.models.storage.inputs.prepare_storage`.
    seed
        Seed of the sampler.
    schedule
        Attempts of the sampler.

    Raises
    ------
    ConvergenceError
        The sampler did not settle.
    """
    story = storage_story(data)
    sampled = sample(
        story.model,
        story.arguments,
        name="storage",
        gated=("log_scales", "sd_stud", "sd_collection", "bias"),
        seed=seed,
        schedule=schedule,
    )
    labels = {
        "effect_stud": data.levels["stud"],
        "effect_product": data.levels["product"],
        "bias_reader": data.levels["reader"],
    }
    draws = story.named(sampled.values)
    return StoragePosterior(data, draws, labels, sampled.diagnostics, sampled.seconds)


def storage_story(data: StorageData) -> Story:
    """Set the stored samples before the sampler; ``data`` from ``prepare_storage``."""
    n = {kind: len(names) for kind, names in data.levels.items()}

    def named(values: Mapping[str, Floats]) -> dict[str, Floats]:
        return {
            **{row: np.exp(values["log_scales"][:, k]) for k, row in enumerate(SCALES)},
            "s05_stud": values["sd_stud"],
            "s05_collection": values["sd_collection"],
            "effect_stud": values["stud"][:, : n["stud"]],
            "effect_product": values["product"][:, : n["product"]],
            "bias_reader": values["bias"][:, : n["reader"]],
        }

    return Story(_model, {"data": _padded(data)}, named)


def restore_storage(data: StorageData, draws: Draws, *, seed: int) -> StoragePosterior:
    """Make a posterior again from kept draws; a new stud or product is drawn where it is asked for.

    Parameters
    ----------
    data
        Today's.
    draws
        Kept draws with their labels, or those of the published table.
    seed
        Not needed: nothing is drawn here.
    """
    return StoragePosterior(data, draws.values, draws.labels, draws.diagnostics, draws.seconds)


def published_storage_draws(seed: int) -> Draws:
    """Draws of the published table, in the form of a settled sample."""
    return independent_draws(draw_priors(PUBLISHED, np.random.default_rng(seed), N_PRIOR_DRAWS))


def _model(data: StorageArrays) -> None:
    """Generative story; the motility at hour 0 is integrated."""
    # In units of the priors' own spreads, so that the sampler starts within them.
    z_scales = numpyro.sample("z_scales", _normals(data.log_scale_mean))
    log_scales = numpyro.deterministic(
        "log_scales", data.log_scale_mean + data.log_scale_sd * z_scales
    )
    spread = half_normal_spread(numpyro.sample("bent_spread", flat(2)))
    sd_stud = numpyro.deterministic("sd_stud", PRIORS["s05_stud"].sd * spread[0])
    sd_collection = numpyro.deterministic("sd_collection", PRIORS["s05_collection"].sd * spread[1])
    z_stud = numpyro.sample("z_stud", _normals(data.studs))
    stud = numpyro.deterministic("stud", sd_stud * z_stud)
    z_product = numpyro.sample("z_product", _normals(data.products))
    product = numpyro.deterministic("product", PRIORS["s05_product"].sd * z_product)
    z_collection = numpyro.sample("z_collection", _normals(data.exists))
    z_bias = numpyro.sample("z_bias", _normals(data.readers))
    bias = numpyro.deterministic("bias", PRIORS["r01_observer"].sd / 100.0 * z_bias)
    log_eta = (
        data.scale_columns @ log_scales
        + data.log_eta_offset
        + product[data.product]
        + stud[data.stud]
        + sd_collection * z_collection
    )
    kappa = jnp.where(data.is_undiluted, PRIORS["s04_shape"].centre, jnp.exp(log_scales[-1]))
    log_likelihood = collection_log_likelihood(
        data.readings,
        log_eta=log_eta,
        kappa=kappa,
        expected_shift=data.shift + bias[data.reader],
    )
    numpyro.factor("readings", jnp.sum(data.exists * log_likelihood))


def collection_log_likelihood(
    readings: CollectionReadings,
    *,
    log_eta: Array,
    kappa: Array,
    expected_shift: Array,
) -> Array:
    r"""Log probability of each collection's readings, the motility at hour 0 integrated.

    Parameters
    ----------
    readings
        By collection.
    log_eta, kappa
        Scale and shape of each collection, shape (n_collections,). [log h, 1]
    expected_shift
        Reader's bias and expected shortfall of a cold reading, like the readings. [share]

    Notes
    -----
    Given :math:`S`, the readings are normal with variance :math:`\mathrm{diag}(v) + \tau^2 SS^T`
    around :math:`mS` plus the shift; determinant and inverse of a rank-one change are known
    (Sherman & Morrison 1950).
    """
    m, tau2 = PRIORS["s05_start"].centre / 100.0, (PRIORS["s05_start"].sd / 100.0) ** 2
    shape = kappa[:, None]
    log_kept = log_retention(readings.hours, jnp.exp(log_eta)[:, None], shape)
    kept = jnp.exp(log_kept)
    guess = readings.start_guess[:, None] * kept
    per_hour = guess * shape * -log_kept / readings.hours
    variance = (
        readings.variance
        + readings.per_judged * (guess * (1.0 - guess) + LEAST_SHARE_VARIANCE)
        + (per_hour * readings.hours_sd) ** 2
    )
    precision = readings.weight / variance
    residual = readings.share - expected_shift - m * kept
    spread = 1.0 + tau2 * (precision * kept**2).sum(axis=1)
    pulled = (precision * kept * residual).sum(axis=1)
    squares = (precision * residual**2).sum(axis=1)
    log_variance = (readings.weight * jnp.log(2.0 * jnp.pi * variance)).sum(axis=1)
    return -0.5 * (log_variance + jnp.log(spread) + squares - tau2 * pulled**2 / spread)


def _normals(level: Array) -> dist.Distribution:
    """Independent standard normals, one a level."""
    return dist.Normal(0.0, 1.0).expand((level.shape[0],)).to_event(1)


def _padded(data: StorageData) -> StorageArrays:
    """Arrays of the model, rounded up in size; what is padded has weight 0."""
    n_collections, n_readings = data.share.shape
    missing = (
        padded_size(n_collections, PADDING["collection"]) - n_collections,
        padded_size(n_readings, PADDING["reading"]) - n_readings,
    )

    def pad(values: np.ndarray[Any, Any], fill: float = 0.0) -> np.ndarray[Any, Any]:
        return np.pad(
            values, [(0, missing[axis]) for axis in range(values.ndim)], constant_values=fill
        )

    undiluted = data.medium == MEDIA.index("undiluted")
    columns = np.zeros((n_collections, len(SCALES)))
    columns[:, 0] = ~undiluted
    for k, medium in enumerate(MEDIA[1:], start=1):
        columns[:, k] = data.medium == MEDIA.index(medium)
    # A half-time t½ is the scale t½ / (log 2)^(1/κ) of the same curve.
    offset = np.where(undiluted, -np.log(np.log(2.0)) / PRIORS["s04_shape"].centre, 0.0)
    levels = {
        kind: np.zeros(padded_size(len(names), PADDING[kind]))
        for kind, names in data.levels.items()
    }
    return StorageArrays(
        readings=CollectionReadings(
            share=pad(data.share),
            hours=pad(data.hours, 1.0),
            hours_sd=pad(data.hours_sd),
            variance=pad(data.variance, 1.0),
            per_judged=pad(data.per_judged),
            weight=pad(data.weight),
            start_guess=pad(data.start_guess),
        ),
        shift=pad(data.shift),
        reader=pad(data.reader),
        exists=pad(np.ones(n_collections)),
        stud=pad(data.stud),
        product=pad(data.product),
        is_undiluted=pad(undiluted),
        scale_columns=pad(columns)[:, : len(SCALES)],
        log_eta_offset=pad(offset),
        log_scale_mean=np.log([PRIORS[row].centre for row in SCALES]),
        log_scale_sd=np.array([PRIORS[row].sd for row in SCALES]),
        studs=levels["stud"],
        products=levels["product"],
        readers=levels["reader"],
    )
