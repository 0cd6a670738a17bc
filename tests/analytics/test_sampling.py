"""The sampler gives the eight schools their posterior, and refuses what has not settled."""

import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist
import pytest
from numpyro import handlers
from scipy.stats import halfnorm

from studcurve.analytics.errors import ConvergenceError
from studcurve.analytics.models.sampling import (
    Run,
    half_normal_spread,
    half_normal_spreads_of_one_sum,
    sample,
)

EFFECTS = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
ERRORS = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])


def eight_schools(effects, errors):
    mu = numpyro.sample("mu", dist.Normal(0.0, 5.0))
    tau = numpyro.sample("tau", dist.HalfCauchy(5.0))
    z = numpyro.sample("z", dist.Normal(0.0, 1.0).expand((8,)).to_event(1))
    theta = numpyro.deterministic("theta", mu + tau * z)
    numpyro.sample("y", dist.Normal(theta, errors).to_event(1), obs=effects)


CAREFUL = (Run(1000, 3000, 0.99),)


def sampled():
    return sample(
        eight_schools, {"effects": EFFECTS, "errors": ERRORS}, name="eight schools",
        gated=("mu", "tau", "z"), seed=3, schedule=CAREFUL,
    )  # fmt: skip


@pytest.fixture(scope="module")
def draws():
    return sampled()


@pytest.mark.slow
def test_eight_schools_match_exact_quadrature(draws):
    # Rubin 1981; posterior by exact quadrature: mu 4.3968 (3.3177), tau 3.5973 (3.2200), theta of
    # the first school 6.2117 (5.593), of the seventh 6.2966.
    values = draws.values

    ess = draws.diagnostics.min_ess_bulk
    assert values["mu"].mean() == pytest.approx(4.3968, abs=4 * 3.3177 / ess**0.5)
    assert values["tau"].mean() == pytest.approx(3.5973, abs=4 * 3.2200 / ess**0.5)
    assert values["theta"][:, 0].mean() == pytest.approx(6.2117, abs=4 * 5.593 / ess**0.5)
    assert values["theta"][:, 6].mean() == pytest.approx(6.2966, abs=4 * 5.2 / ess**0.5)


@pytest.mark.slow
def test_a_run_that_has_not_settled_is_refused_with_its_numbers():
    with pytest.raises(ConvergenceError, match=r"eight schools did not settle: worst R-hat"):
        sample(
            eight_schools, {"effects": EFFECTS, "errors": ERRORS}, name="eight schools",
            gated=("mu", "tau", "z"), seed=3, schedule=(Run(5, 20, 0.6),),
        )  # fmt: skip


@pytest.mark.slow
def test_two_modes_that_chains_do_not_share_are_refused():
    def two_modes():
        x = numpyro.sample("x", dist.Normal(0.0, 50.0))
        numpyro.factor("well", jnp.logaddexp(-((x - 40.0) ** 2), -((x + 40.0) ** 2)))

    with pytest.raises(ConvergenceError, match="for x"):
        sample(two_modes, {}, name="two modes", gated=("x",), seed=1,
               schedule=(Run(300, 300, 0.8),))  # fmt: skip


@pytest.mark.slow
def test_the_same_seed_gives_the_same_bytes(draws):
    assert sampled().values["mu"].tobytes() == draws.values["mu"].tobytes()


@pytest.mark.slow
def test_a_run_that_does_not_settle_is_followed_by_the_next():
    draws = sample(
        eight_schools, {"effects": EFFECTS, "errors": ERRORS}, name="eight schools",
        gated=("mu", "tau", "z"), seed=3, schedule=(Run(5, 20, 0.6), *CAREFUL),
    )  # fmt: skip

    assert draws.diagnostics.n_attempts == 2


def test_spreads_from_flat_coordinates_keep_their_half_normal_prior():
    with handlers.trace() as trace:
        spread = half_normal_spread(jnp.array([-2.0, 0.0, 1.5]))
    stated = float(trace["spread_prior"]["fn"].log_prob(0.0))

    bent = np.array([-2.0, 0.0, 1.5])
    step = 1e-6
    slope = (np.logaddexp(0.0, bent + step) - np.logaddexp(0.0, bent - step)) / (2.0 * step)
    assert np.asarray(spread) == pytest.approx(np.log(1.0 + np.exp(bent)))
    assert stated == pytest.approx((halfnorm.logpdf(spread) + np.log(slope)).sum(), rel=1e-7)


def test_spreads_of_one_sum_keep_their_half_normal_priors():
    scale = jnp.array([0.5, 0.2])
    bent = jnp.array([-0.7, 0.9])
    with handlers.trace() as trace:
        spread = half_normal_spreads_of_one_sum(bent, scale)
    stated = float(trace["spreads_of_one_sum_prior"]["fn"].log_prob(0.0))

    # The determinant of the map by small steps in each coordinate.
    step = 1e-6
    with handlers.block():
        columns = [
            (half_normal_spreads_of_one_sum(bent + move, scale)
             - half_normal_spreads_of_one_sum(bent - move, scale)) / (2.0 * step)
            for move in step * jnp.eye(2)
        ]  # fmt: skip
    stretch = abs(np.linalg.det(np.stack(columns)))
    exact = halfnorm.logpdf(np.asarray(spread), scale=np.asarray(scale)).sum() + np.log(stretch)
    # The angle's density is stated up to the constant of the turn.
    assert stated == pytest.approx(exact - np.log(0.5 * np.pi), rel=1e-7)
    assert float(np.hypot(*spread)) == pytest.approx(np.exp(-0.7))


@pytest.mark.slow
def test_tables_of_two_sizes_are_fitted_one_after_the_other():
    def mean_of(values):
        mu = numpyro.sample("mu", dist.Normal(0.0, 10.0))
        numpyro.sample("value", dist.Normal(mu, 1.0), obs=values)

    for n in (4, 9):
        values = np.linspace(-1.0, 3.0, n)
        draws = sample(mean_of, {"values": values}, name="a mean", gated=("mu",), seed=2,
                       schedule=(Run(200, 500, 0.8),))  # fmt: skip

        # Closed form: normal with a normal prior.
        precision = n + 0.01
        error = precision**-0.5 / draws.diagnostics.min_ess_bulk**0.5
        assert draws.values["mu"].mean() == pytest.approx(n / precision, abs=4 * error)
