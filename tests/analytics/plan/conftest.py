"""One heat, two dogs and the published table: what most plans in these tests are about."""

from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest

from analytics.models.ovulation import ProgesteroneReading, ovulation_posterior
from analytics.plan.chain import Pair
from analytics.plan.options import Circumstances, Straws
from analytics.plan.samples import next_sample
from analytics.plan.unknowns import draw_unknowns, published_chain

ASKED_AT = datetime(2026, 11, 22, 18)


@pytest.fixture(scope="session")
def sample_of_a_new_stud():
    return lambda rng, n_draws: next_sample(pd.DataFrame(), rng.normal(size=(2, n_draws)))


def progesterone(day, ng_per_ml):
    at = datetime(2026, 11, day, 9)
    return ProgesteroneReading(at, at, ng_per_ml, ng_per_ml, "a laboratory")


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
def unknowns(pair, ovulation, sample_of_a_new_stud):
    chain = published_chain(np.random.default_rng(0))
    return draw_unknowns(
        chain, pair, ovulation, sample_of_a_new_stud, medium="egg yolk", boxes=None, seed=11
    )


@pytest.fixture(scope="session")
def without_bias(unknowns):
    return replace(unknowns, bias={row: 0.0 * z for row, z in unknowns.bias.items()})
