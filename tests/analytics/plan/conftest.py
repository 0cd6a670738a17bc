"""One heat, two dogs and the published table: what most plans in these tests are about."""

from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest
from tests.published_chain import published_chain

from studcurve.analytics.measures.motility_kept import published_storage
from studcurve.analytics.models.litter.model import PUBLISHED
from studcurve.analytics.models.ovulation.model import ProgesteroneReading, ovulation_posterior
from studcurve.analytics.plan.feasible import possible_options
from studcurve.analytics.plan.options import Circumstances, Straws
from studcurve.analytics.plan.simulation.chain import Pair, simulate
from studcurve.analytics.plan.simulation.pups import Dam, draw_litter
from studcurve.analytics.plan.simulation.samples import next_sample
from studcurve.analytics.plan.simulation.unknowns import Chain, draw_unknowns

ASKED_AT = datetime(2026, 11, 22, 18)


@pytest.fixture(scope="session")
def sample_of_a_new_stud():
    return lambda rng, n_draws: next_sample(pd.DataFrame(), rng.normal(size=(2, n_draws)))


def progesterone(day, ng_per_ml):
    at = datetime(2026, 11, day, 9)
    return ProgesteroneReading(at, at, ng_per_ml, ng_per_ml, "a laboratory")


@pytest.fixture(scope="session")
def in_egg_yolk():
    return lambda rng, n_draws: published_storage("egg yolk", rng=rng, n_draws=n_draws)


@pytest.fixture(scope="session")
def ovulation():
    return ovulation_posterior(
        [progesterone(20, 1.4), progesterone(22, 3.6)], first_day=date(2026, 11, 12)
    )


@pytest.fixture(scope="session")
def circumstances():
    return Circumstances(
        ASKED_AT,
        date(2026, 11, 22),
        date(2026, 11, 30),
        straws=(Straws("A-1", 6, 3, 34.0),),
        extender="egg yolk",
    )


@pytest.fixture(scope="session")
def pair():
    return Pair("a stud", "a bitch", bitch_age_years=4.0, stud_age_years=5.0)


@pytest.fixture(scope="session")
def unknowns(pair, ovulation, sample_of_a_new_stud, in_egg_yolk):
    chain = published_chain(np.random.default_rng(0))
    return draw_unknowns(
        chain, pair, ovulation, sample_of_a_new_stud, storage=in_egg_yolk, shipments=None, seed=11
    )


def of(outcomes, method):
    """The outcome of one way to breed."""
    return next(outcome for outcome in outcomes if outcome.option.method == method)


@pytest.fixture(scope="session")
def outcomes(circumstances, pair, unknowns):
    """One of each way, on its last day."""
    options = {option.method: option for option in possible_options(circumstances)[0]}
    return [simulate(option, pair, unknowns) for option in options.values()]


@pytest.fixture(scope="session")
def litter(unknowns):
    dam = Dam("a bitch", "a stud", adult_weight_kg=20.0, age_years=5.5)
    chain = Chain(PUBLISHED.draw(np.random.default_rng(3), unknowns.n_draws), {})
    return draw_litter(chain, dam, seed=3, n_draws=unknowns.n_draws)


@pytest.fixture(scope="session")
def without_bias(unknowns):
    nothing = np.zeros(unknowns.n_draws)
    return replace(
        unknowns, bias={row: nothing for row in unknowns.bias}, beyond_sd=nothing,
    )  # fmt: skip
