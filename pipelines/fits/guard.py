"""Does a kept fit still belong to the priors, to what its model means, and to the engine?

What a model means has a number, raised by hand and held by a test: texts may be reworded. The
libraries that make the draws are another matter: a new version of them means the same until the
density at the fixed records has moved, which is asked only where a version differs from those under
which the density is known to hold. Read at the bench: nothing here imports the sampler before that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from importlib.metadata import version
from typing import Any

import numpy as np

from studcurve.analytics.priors import priors_fingerprint
from studcurve.pipelines.records.database.kept_fits import KeptFit

CHANCE_FIT = "conception"
"""Name of the kept fit behind a chance of a litter, for who asks without loading the models."""

ENGINE = ("jax", "jaxlib", "numpyro", "numpy")
"""Libraries that make the draws."""

TOLERANCE = 1e-9
"""Relative; sums in another order move a density by less than a thousandth of it."""

DENSITY = "density"
"""Among a fit's checks: ``values`` at the fixed records as they were at the fit, and
``held_under``, the versions of the engine under which they are known to be the same."""


def engine_versions() -> dict[str, str]:
    """Versions of the libraries that make the draws."""
    return {name: version(name) for name in ENGINE}


def model_fingerprint(name: str, model_version: int) -> str:
    """What a kept fit says of the model that made it.

    Parameters
    ----------
    name
        What the kept fit is called.
    model_version
        ``MODEL_VERSION`` of the model's module.
    """
    return f"{name}, version {model_version}"


def is_current(kept: KeptFit, model_version: int, prior_ids: tuple[str, ...]) -> bool:
    """Whether a kept fit was made by this model, from these priors, on an engine that agrees.

    Parameters
    ----------
    kept
        Of any model.
    model_version
        Today's.
    prior_ids
        Beginnings of the ids of the rows that the model reads.
    """
    return (
        kept.model_fingerprint == model_fingerprint(kept.model, model_version)
        and kept.priors_fingerprint == priors_fingerprint(prior_ids)
        and (holds_under_this_engine(kept) or _agrees(kept))
    )


def holds_under_this_engine(kept: KeptFit) -> bool:
    """Whether the density is known to hold under today's versions, without computing it."""
    return engine_versions() in kept.checks.get(DENSITY, {}).get("held_under", ())


def density_now(name: str) -> dict[str, Any]:
    """The density under today's engine, as it is kept among a fit's checks.

    Parameters
    ----------
    name
        Of the model.
    """
    return {DENSITY: {"values": fixed_density(name), "held_under": [engine_versions()]}}


def marked_as_held(kept: KeptFit) -> KeptFit:
    """A current fit that knows today's engine, so that its next reader need not compute."""
    known: Mapping[str, Any] = kept.checks[DENSITY]
    held = {**known, "held_under": [*known["held_under"], engine_versions()]}
    return replace(kept, checks={**kept.checks, DENSITY: held})


@cache
def fixed_density(name: str) -> dict[str, Any]:
    """Log density, gradient and named draws of a model at the fixed records; takes seconds.

    Parameters
    ----------
    name
        Of the model.
    """
    # Imported here: these load the sampler's library.
    from studcurve.analytics.models.density import at_fixed_points
    from studcurve.pipelines.fits.fixed_records import FixedRecords
    from studcurve.pipelines.fits.registry import MODELS

    (model,) = (model for model in MODELS if model.name == name)
    return at_fixed_points(model.story(model.prepare(FixedRecords())))


def densities_agree(density: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two densities are the same, to :data:`TOLERANCE`.

    Parameters
    ----------
    density, other
        As of :func:`fixed_density`.
    """
    first, second = _flat(density), _flat(other)
    return first.keys() == second.keys() and all(
        np.allclose(first[name], second[name], rtol=TOLERANCE, atol=TOLERANCE) for name in first
    )


def _agrees(kept: KeptFit) -> bool:
    known = kept.checks.get(DENSITY)
    return known is not None and densities_agree(known["values"], fixed_density(kept.model))


def _flat(density: Mapping[str, Any]) -> dict[str, list[float]]:
    """Numbers of each point, by what they are of."""
    return {
        "log_density": density["log_density"],
        **{
            f"{kind} {name}": numbers
            for kind in ("gradient", "draws")
            for name, numbers in density[kind].items()
        },
    }
