"""The same bitches by another method, against sums written out and against who was given what."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit
from tests.studies.no_association import kennel_where

from studcurve.analytics.models.breedings.records import prepare_conception
from studcurve.analytics.models.breedings.terms import LINEAR
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.conception.chance import partner_effects
from studcurve.analytics.outcomes.methods import bred_with, method_outcomes, usual_route
from studcurve.analytics.outcomes.standardised import thinned


@pytest.fixture(scope="module")
def chain():
    data = prepare_conception(*kennel_where(np.random.default_rng(8), n=60))
    published = conception.PUBLISHED.independent_draws(2)
    return conception.PUBLISHED.restore(data, published, seed=2)


def everything(chain):
    return np.ones(chain.data.n_breedings, dtype=bool)


def of(found, semen_type):
    return next(one for one in found if one.semen_type == semen_type)


def test_a_chance_by_another_method_is_the_sum_over_the_bitches_written_out(chain):
    chosen = everything(chain)
    draws = thinned(chain.draws)
    dogs = sum(
        draws[row][:, None] * chain.data.design[:, LINEAR.index(row)]
        for row in ("c13", "c14", "c15", "c16")
    )
    dogs = dogs + partner_effects(replace(chain, draws=draws), chosen)
    route = usual_route(chain.data, chosen, "chilled")
    deep = route in ("transcervical", "surgical")

    def hinge(x):
        return 0.25 * np.log1p(np.exp(x / 0.25))

    early, late = hinge(0.0 - 2.0), hinge(2.0 - (6.0 if deep else 5.0))
    kept = draws["c18_intrauterine" if deep else "c18_vaginal"]
    logits = (
        draws["c01"] + draws["c03"] + deep * draws["c04"] + draws["c05"]
        + draws["c17_chilled"] * early + kept * late
        # At the usual dose and motility the bends of their terms are a quarter of log 2.
        + (draws["c11"] - draws["c10"] + draws["c23"]) * hinge(0.0)
    )[:, None] + dogs  # fmt: skip
    expected = (expit(logits) * expit(draws["c02"])[:, None]).mean(axis=1)

    found = of(method_outcomes(chain, chosen), "chilled")

    assert found.route == route
    assert found.same_bitches.median == pytest.approx(np.median(expected), abs=1e-9)
    assert found.same_bitches.lower == pytest.approx(np.quantile(expected, 0.05), abs=1e-9)


def test_who_was_given_a_method_moves_its_raw_share_and_not_its_standardised_chance(chain):
    data = chain.data
    old = np.arange(data.n_breedings) % 2 == 0
    design = data.design.copy()
    design[:, LINEAR.index("c14")] = np.where(old, 4.0, 0.0)
    semen = np.where(old, "frozen", "fresh")
    given = replace(
        data, semen_type=semen, route=np.full(len(old), "vaginal"), design=design,
        whelped=np.where(old, 0, 1),
    )  # fmt: skip
    turned = replace(given, semen_type=np.where(old, "fresh", "frozen"))

    one, other = (
        method_outcomes(replace(chain, data=d), everything(chain)) for d in (given, turned)
    )

    assert (of(one, "frozen").own.median, of(other, "frozen").own.median) == (0.0, 1.0)
    assert of(one, "frozen").same_bitches == of(other, "frozen").same_bitches
    assert of(one, "frozen").difference == of(other, "frozen").difference
    assert of(one, "fresh").difference is None
    assert of(one, "frozen").fewer_prob > 0.5


def test_a_kennel_of_one_method_has_nothing_to_set_beside(chain):
    kinds = np.full(chain.data.n_breedings, "fresh")

    assert method_outcomes(
        replace(chain, data=replace(chain.data, semen_type=kinds)), everything(chain)
    ) == ()  # fmt: skip


def test_what_is_of_the_dogs_stays_and_what_is_of_the_method_goes(chain):
    frozen = bred_with(chain.data, "frozen", "transcervical")

    for row in LINEAR:
        column, was = (d.design[:, LINEAR.index(row)] for d in (frozen, chain.data))
        if row in ("c13", "c14", "c15", "c16"):
            assert np.array_equal(column, was)
        else:
            assert set(column) == {1.0 if row in ("c03", "c04", "c06") else 0.0}
    assert (frozen.day_mean == 3.0).all()
    assert frozen.inseminated.tolist() == [[True, False]] * chain.data.n_breedings
