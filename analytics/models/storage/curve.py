r"""What do this kennel's own stored samples say of one stud and one extender?

Turns the draws of a fit (:mod:`studcurve.analytics.models.storage.model`) into storage curves of
the same kind as the published ones, and puts extenders in order. Needs no sampler: the draws are
those that the records file keeps. A stud or a product that the fit has not seen gets draws of a new
one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, Floats, estimate_from_draws
from studcurve.analytics.measures.motility_kept import (
    N_DRAWS,
    STUDIED_HOURS_CHILLED,
    STUDIED_HOURS_UNDILUTED,
    StorageDraws,
    medium_of,
    retention_share,
)
from studcurve.analytics.models.storage.inputs import product_name
from studcurve.analytics.priors import PRIORS

MODEL_VERSION = 1
"""Of the storage model. Raised whenever its density, or what a kept draw means, changes (a test
holds it); it stands here, where the draws are read, because its model loads the sampler."""

FIT_NAME = "storage"
"""What the kept fit is called."""

PRIOR_IDS = ("s01", "s02", "s03", "s04", "s05", "r01", "r04")
"""Beginnings of the ids of the rows of the priors table that the fit reads."""


@dataclass(frozen=True, slots=True)
class ExtenderOrder:
    """Extenders from the one that keeps most.

    Attributes
    ----------
    hours
        Hour at which they are compared. [h]
    extenders
        Names, best first.
    kept
        Share kept at that hour by a usual collection of a usual stud, like ``extenders``.
    order_prob
        Probability that the whole order is right.
    better_prob
        Probability that each keeps more than the next one, one fewer than extenders.
    """

    hours: float
    extenders: tuple[str, ...]
    kept: tuple[Estimate, ...]
    order_prob: float
    better_prob: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class OwnStorage:
    """Draws of a storage fit, and what their last axes count.

    Attributes
    ----------
    draws
        As in :class:`studcurve.analytics.models.storage.model.StoragePosterior`.
    labels
        Studs of ``effect_stud`` and products of ``effect_product``.
    """

    draws: Mapping[str, Floats]
    labels: Mapping[str, tuple[str, ...]]

    def curve(
        self,
        *,
        stud: str | None,
        extender: str | None,
        rng: np.random.Generator,
        n_draws: int = N_DRAWS,
        observed_until_h: float = 0.0,
    ) -> StorageDraws:
        """Storage curve of the next collection of a stud in an extender.

        Parameters
        ----------
        stud
            Call name; None, or one that the fit has not seen, is a stud like any other.
        extender
            As the owner writes it.
        rng
            Draws among the kept draws, and new levels.
        n_draws
            Number of draws.
        observed_until_h
            Longest storage that the kennel read in this extender; what is later is marked. [h]
        """
        chosen = rng.integers(len(self.draws["s01"]), size=n_draws)
        spread = {row: self.draws[row][chosen] for row in ("s05_stud", "s05_collection")}
        effect = (
            self._effect("effect_stud", stud, spread["s05_stud"], chosen, rng)
            + self._product(extender, chosen, rng)
            + spread["s05_collection"] * rng.normal(size=n_draws)
        )
        medium = medium_of(extender)
        eta_h, kappa = self._usual(medium, chosen)
        return StorageDraws(
            eta_h * np.exp(effect),
            kappa,
            STUDIED_HOURS_UNDILUTED if medium == "undiluted" else STUDIED_HOURS_CHILLED,
            self._source(stud, extender),
            observed_until_h,
        )

    def compare(
        self,
        extenders: Sequence[str],
        hours: float,
        *,
        rng: np.random.Generator,
        interval_prob: float = INTERVAL_PROB,
    ) -> ExtenderOrder:
        """Put extenders in order of what a usual collection of a usual stud keeps in them.

        Parameters
        ----------
        extenders
            At least two, as the owner writes them.
        hours
            Hour at which they are compared. [h]
        rng
            Draws of products that the fit has not seen.
        interval_prob
            Probability of the intervals.
        """
        if len(extenders) < 2:
            raise ValueError(f"an order needs two extenders; got {len(extenders)}")
        every = np.arange(len(self.draws["s01"]))
        kept = {}
        for name in extenders:
            eta_h, kappa = self._usual(medium_of(name), every)
            eta_h = eta_h * np.exp(self._product(name, every, rng))
            kept[name] = retention_share(hours, eta_h, kappa)
        order = sorted(kept, key=lambda name: -float(np.median(kept[name])))
        steps = [kept[a] > kept[b] for a, b in pairwise(order)]
        return ExtenderOrder(
            hours,
            tuple(order),
            tuple(estimate_from_draws(kept[name], interval_prob) for name in order),
            float(np.all(steps, axis=0).mean()),
            tuple(float(step.mean()) for step in steps),
        )

    def _usual(self, medium: str, chosen: np.ndarray) -> tuple[Floats, Floats]:
        """Scale and shape of a usual collection of a usual stud. [h, 1]"""
        if medium == "undiluted":
            shape = PRIORS["s04_shape"].centre
            scale = self.draws["s04"][chosen] / np.log(2.0) ** (1.0 / shape)
            return scale, np.full(len(chosen), shape)
        eta_h = self.draws["s01"][chosen]
        if medium != "egg yolk":
            eta_h = eta_h * self.draws[f"s02_{medium}"][chosen]
        return eta_h, self.draws["s03"][chosen]

    def _product(
        self, extender: str | None, chosen: np.ndarray, rng: np.random.Generator
    ) -> Floats:
        """Effect of a product among those of its kind. [log]"""
        spread = np.full(len(chosen), PRIORS["s05_product"].sd)
        return self._effect("effect_product", product_name(extender), spread, chosen, rng)

    def _effect(
        self,
        kind: str,
        name: str | None,
        sd: Floats,
        chosen: np.ndarray,
        rng: np.random.Generator,
    ) -> Floats:
        """Effect of a level, drawn anew where the fit has not seen it. [log]"""
        names = self.labels.get(kind, ())
        if name in names:
            return np.asarray(self.draws[kind][chosen, names.index(str(name))])
        return np.asarray(sd * rng.normal(size=len(chosen)))

    def _source(self, stud: str | None, extender: str | None) -> str:
        """Where the curve comes from, in words."""
        seen = [f"of {stud}"] if stud in self.labels.get("effect_stud", ()) else []
        product = product_name(extender)
        is_read = product in self.labels.get("effect_product", ())
        seen.append(f"{'in' if is_read else 'though none in'} {product}")
        published = PRIORS["s01"]
        return (
            f"The kennel's own stored samples, {' and '.join(seen)}, together with "
            f"{published.source} ({published.mark})"
        )
