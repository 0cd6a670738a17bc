"""What does a model say at fixed points: its log density, the gradient, the draws it would name?

A posterior is its log density: two versions of a program, or of the libraries below it, that give
the same one at points without any symmetry mean the same model. A gradient and a named draw are
stated by one number a site, along one fixed direction, so that they stay short enough to be kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np
from numpyro import handlers
from numpyro.infer.initialization import init_to_uniform
from numpyro.infer.util import constrain_fn, potential_energy

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.arrays import Array

REACH = (0.35, 0.9)
"""How far the coordinates of each point lie from nought, in the sampler's own units."""

STEP = 2.4
"""Angle from one coordinate to the next; no two of some hundreds come to lie together. [rad]"""

QUICKLY = {"xla_backend_optimization_level": 0, "xla_llvm_disable_expensive_passes": True}
"""Settings of the compiler: two points are read once, so compiling is nearly all of the work."""


@dataclass(frozen=True, slots=True)
class Story:
    """A model with its data, as the sampler reads it.

    Attributes
    ----------
    model
        Generative story; its only argument is ``data``.
    arguments
        That argument, by name: arrays only.
    named
        Turns draws by site into draws under the names that the answers read and a file keeps.
    """

    model: Callable[..., None]
    arguments: Mapping[str, Any]
    named: Callable[[Mapping[str, Floats]], Mapping[str, Floats]]


def at_fixed_points(story: Story) -> dict[str, Any]:
    """Log density, gradient and named draws at the fixed points, as plain numbers.

    Parameters
    ----------
    story
        Model and data.

    Returns
    -------
    dict
        ``log_density``, one number a point, in the sampler's coordinates; ``gradient`` by sampled
        site and ``draws`` by name, one number a point each.
    """
    points = _points(story)
    keyword = dict(story.arguments)

    def log_density(point: Mapping[str, Array]) -> Array:
        return -potential_energy(story.model, (), keyword, point)

    def read(
        point: Mapping[str, Array],
    ) -> tuple[tuple[Array, Mapping[str, Array]], Mapping[str, Array]]:
        sites = constrain_fn(story.model, (), keyword, point, return_deterministic=True)
        return jax.value_and_grad(log_density)(point), sites

    (values, gradient), sites = jax.jit(jax.vmap(read), compiler_options=QUICKLY)(points)
    draws = story.named({site: np.asarray(drawn) for site, drawn in sites.items()})
    return {
        "log_density": np.asarray(values).tolist(),
        "gradient": {site: _along(slopes) for site, slopes in sorted(gradient.items())},
        "draws": {name: _along(drawn) for name, drawn in sorted(draws.items())},
    }


def _points(story: Story) -> dict[str, Any]:
    """The fixed points: coordinates by site, first axis points."""

    def sites() -> dict[str, Any]:
        # A flat site has no draw of its own: where it starts is said for it.
        key = jax.random.key(0)
        started = handlers.substitute(
            handlers.seed(story.model, key), substitute_fn=init_to_uniform
        )
        found = handlers.trace(started).get_trace(**story.arguments)
        return {
            name: site["value"]
            for name, site in found.items()
            if site["type"] == "sample" and not site["is_observed"]
        }

    shapes = jax.eval_shape(sites)
    points, n_before = {}, 0
    for name in sorted(shapes):
        shape = shapes[name].shape
        n = int(np.prod(shape))
        turn = STEP * np.arange(n_before, n_before + n, dtype=np.float64)
        place = [reach * np.sin(turn + k) for k, reach in enumerate(REACH, start=1)]
        points[name] = jnp.asarray(np.stack(place).reshape(len(REACH), *shape))
        n_before += n
    return points


def _along(values: Array) -> list[float]:
    """Each point's numbers along one direction."""
    by_point = np.asarray(values, dtype=np.float64).reshape(len(REACH), -1)
    found: list[float] = (by_point @ np.cos(STEP * np.arange(by_point.shape[1]))).tolist()
    return found
