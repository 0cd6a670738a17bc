"""A density at fixed points is that of the story, in the sampler's coordinates."""

import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist
import pytest
from scipy import stats

from studcurve.analytics.models.density import REACH, STEP, Story, at_fixed_points
from studcurve.analytics.models.sampling import flat


def model(data):
    spread = numpyro.sample("spread", dist.LogNormal(0.0, 0.5))
    level = numpyro.sample("level", dist.Normal(1.0, 2.0).expand((3,)).to_event(1))
    turn = numpyro.sample("turn", flat())
    numpyro.deterministic("sum", jnp.sum(level) * spread)
    numpyro.factor("readings", jnp.sum(dist.Normal(level, spread).log_prob(data)) - turn**2)


@pytest.fixture(scope="module")
def found():
    story = Story(model, {"data": np.array([0.5, 1.5, 3.0])}, lambda sites: {"sum": sites["sum"]})
    return at_fixed_points(story)


def coordinates():
    """Level, log of the spread and turn at each point: sites in the order of their names."""
    for k, reach in enumerate(REACH, start=1):
        *level, log_spread, turn = reach * np.sin(STEP * np.arange(5) + k)
        yield np.array(level), log_spread, turn


def log_density(level, log_spread, turn):
    """By scipy; a log-normal spread is normal on its log."""
    return (
        stats.norm(1, 2).logpdf(level).sum() + stats.norm(0, 0.5).logpdf(log_spread)
        + stats.norm(level, np.exp(log_spread)).logpdf([0.5, 1.5, 3.0]).sum() - turn**2
    )  # fmt: skip


def test_the_log_density_is_that_of_another_library(found):
    assert found["log_density"] == pytest.approx([log_density(*at) for at in coordinates()])


def test_the_gradient_is_a_difference_of_log_densities(found):
    h, along = 1e-6, np.cos(STEP * np.arange(3))
    for k, (level, log_spread, turn) in enumerate(coordinates()):
        both = [log_density(level + side * h * along, log_spread, turn) for side in (1, -1)]
        assert found["gradient"]["level"][k] == pytest.approx((both[0] - both[1]) / (2 * h))
        assert found["gradient"]["turn"][k] == pytest.approx(-2 * turn)


def test_named_draws_are_those_of_the_points(found):
    assert found["draws"]["sum"] == pytest.approx(
        [level.sum() * np.exp(log_spread) for level, log_spread, _ in coordinates()]
    )
