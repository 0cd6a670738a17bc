"""The same breedings with one thing set, against sums written out breeding by breeding."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit
from tests.studies.no_association import kennel_where

from studcurve.analytics.measures.motility_kept import published_storage
from studcurve.analytics.models.breedings.exposures import EXPOSURES
from studcurve.analytics.models.breedings.inputs import DAY_NODES, DAY_WEIGHTS
from studcurve.analytics.models.breedings.records import prepare_conception
from studcurve.analytics.models.breedings.terms import LINEAR
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.conception.chance import partner_effects, pregnant_logits
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.litter.sizes import drawn_total_born, mean_total_born
from studcurve.analytics.outcomes.standardised import (
    GRIDS,
    best_value,
    bred_at,
    chance_curve,
    conception_at,
    grid_of,
    litter_at,
    litter_chances,
    litter_means,
    size_curve,
    thinned,
)

N_DRAWS = 12


@pytest.fixture(scope="module")
def frames():
    return kennel_where(np.random.default_rng(8), n=50)


@pytest.fixture(scope="module")
def chain(frames):
    data = prepare_conception(*frames)
    published = conception.PUBLISHED.restore(
        data, conception.PUBLISHED.independent_draws(2), seed=2
    )
    draws = {row: values[:N_DRAWS] for row, values in published.draws.items()}
    return replace(published, draws=draws)


@pytest.fixture(scope="module")
def sizes(frames):
    data = litter.prepare_litter(*frames)
    published = litter.PUBLISHED.restore(data, litter.PUBLISHED.independent_draws(2), seed=2)
    return replace(published, draws={k: v[:N_DRAWS] for k, v in published.draws.items()})


DENSE, DENSE_WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
DENSE_WEIGHTS = DENSE_WEIGHTS / DENSE_WEIGHTS.sum()


def written_out(chain, *, motility=None, days=None, design=None):
    """Mean chance over a dense grid of dose and motility, and the model's own of the day."""
    data = chain.data
    pair, n = data.inseminated_semen, data.n_breedings
    effects = partner_effects(chain, np.ones(n, dtype=bool))
    total = 0.0
    made = data.inseminated if days is None else np.tile([True, False], (n, 1))
    for z, z_weight in zip(DENSE, DENSE_WEIGHTS, strict=True):
        doublings = pair.dose_mean + z * pair.dose_sd
        motilities = [(1.0, motility)]
        if motility is None:
            centre = pair.motility_mean + pair.correlation * pair.motility_sd * z
            left = pair.motility_sd * np.sqrt(1.0 - pair.correlation**2)
            motilities = [
                (weight, centre + left * m) for m, weight in zip(DENSE, DENSE_WEIGHTS, strict=True)
            ]
        for m_weight, motility_pct in motilities:
            for node, d_weight in zip(DAY_NODES, DAY_WEIGHTS, strict=True):
                on = data.day_mean + node * data.day_sd if days is None else days
                logits = pregnant_logits(
                    chain.draws, data.semen_type, data.route,
                    design=data.design if design is None else design, doublings=doublings,
                    motility_pct=motility_pct, days=on, inseminated=made,
                )  # fmt: skip
                total = total + z_weight * m_weight * d_weight * expit(logits + effects)
    return total * expit(chain.draws["c02"])[:, None]


def assert_alike(found, expected):
    """Two nodes of the dose against fifteen: near in every breeding, the same on average."""
    assert found == pytest.approx(expected, abs=0.02)
    assert found.mean() == pytest.approx(expected.mean(), abs=0.003)


def set_to(chain, exposure, x):
    everywhere = np.ones(chain.data.n_breedings, dtype=bool)
    at = conception_at(chain.data, exposure, np.full(chain.data.n_breedings, x), is_carried=False)
    return litter_chances(chain, at, everywhere)


def test_motility_is_set_at_the_dose_that_there_was(chain):
    x = np.full(chain.data.n_breedings, 40.0)

    assert_alike(set_to(chain, "motility", 40.0), written_out(chain, motility=x))


def test_a_day_is_that_of_one_insemination(chain):
    days = np.full((chain.data.n_breedings, 2), 6.5)

    assert_alike(set_to(chain, "day", 6.5), written_out(chain, days=days))


@pytest.mark.parametrize(
    ("exposure", "x", "columns"),
    [
        ("hours", 60.0, {"chilled": {"c12": 1.5, "c26": 0.0}, "fresh": {"c25": 23.0 / 6.0}}),
        ("hours", 12.0, {"chilled": {"c12": 0.0, "c26": 2.0}, "fresh": {"c25": 11.0 / 6.0}}),
        ("concentration", 12.5, {kind: {"c24": -2.0} for kind in ("fresh", "chilled", "frozen")}),
        ("concentration", 5000.0, {kind: {"c24": 3.0} for kind in ("fresh", "chilled", "frozen")}),
    ],
)
def test_what_has_a_column_is_set_there(chain, exposure, x, columns):
    design = chain.data.design.copy()
    for kind, values in columns.items():
        for row, value in values.items():
            design[chain.data.semen_type == kind, LINEAR.index(row)] = value

    at = conception_at(chain.data, exposure, np.full(chain.data.n_breedings, x), is_carried=False)

    assert at.design == pytest.approx(design)
    assert_alike(set_to(chain, exposure, x), written_out(chain, design=design))


def test_hours_take_motility_and_dose_along_the_published_curve(chain):
    data = chain.data
    moved = bred_at(data, "hours", np.full(data.n_breedings, 60.0))
    stored = (data.semen_type == "chilled") & np.isfinite(data.exposures.hours)
    assert stored.sum() > 5

    curve = published_storage("unknown", rng=np.random.default_rng(0), n_draws=4000)
    was = data.exposures.hours[stored]
    shares = [curve.share(np.array([60.0, hour])) for hour in was.round(1)]
    kept = np.array([
        np.minimum(later / np.maximum(then, 1e-9), 3.0).mean() for later, then in shares
    ])  # fmt: skip
    before, after = data.inseminated_semen, moved.inseminated_semen
    assert after.dose_mean[stored] == pytest.approx(
        before.dose_mean[stored] + np.log2(kept), abs=0.01
    )
    assert after.motility_mean[stored] == pytest.approx(
        np.minimum(100.0, before.motility_mean[stored] * kept), rel=0.01
    )
    others = data.semen_type != "chilled"
    assert after.dose_mean[others] == pytest.approx(before.dose_mean[others])


def test_set_to_what_it_was_a_litter_s_design_is_the_same(sizes):
    data = sizes.data
    day = np.where(data.bred.inseminated[:, 1], np.nan, data.bred.day_mean[:, 0])
    once = np.isfinite(day)

    at = litter_at(data, "day", np.nan_to_num(day))

    sure = replace(data.bred, day_sd=np.zeros((data.n_litters, 2)))
    expected = litter.mated_how(sure)
    for row, values in (("l16", expected.days_early), ("l17", expected.days_late)):
        assert at.design[once, litter.LINEAR.index(row)] == pytest.approx(values[once])


def test_a_weak_sample_takes_pups_and_concentration_none(sizes):
    data = sizes.data
    everywhere = np.ones(data.n_litters, dtype=bool)
    weak, strong = (
        litter_means(sizes, litter_at(data, "motility", np.full(data.n_litters, x)), everywhere)
        for x in (20.0, 80.0)
    )
    artificial = data.bred.semen_type != "natural"
    signs = np.sign(-sizes.draws["l19"])[:, None]

    assert (np.sign(strong - weak)[:, artificial] == signs).all()
    assert strong[:, ~artificial] == pytest.approx(weak[:, ~artificial])
    same = litter_at(data, "concentration", np.full(data.n_litters, 10.0))
    assert same.design == pytest.approx(data.design)


def test_the_mean_of_a_litter_is_that_of_its_draws():
    rng = np.random.default_rng(4)
    log_mean, log_nu = np.log(np.array([1.2, 4.0, 9.0])), 0.3

    mean = mean_total_born(log_mean[None], np.array([log_nu]))[0]
    drawn = [drawn_total_born(np.full(20000, one), log_nu, rng) for one in log_mean]

    assert [values.mean() for values in drawn] == pytest.approx(mean, rel=0.02)
    assert min(values.min() for values in drawn) == 1.0


def test_a_curve_is_the_mean_of_the_breedings_it_applies_to(chain, sizes):
    everywhere = np.ones(chain.data.n_breedings, dtype=bool)
    curve = chance_curve(chain, chain, "motility", everywhere)

    artificial = chain.data.semen_type != "natural"
    assert curve.positions == GRIDS["motility"]
    assert curve.n_bred == int(artificial.sum())
    at = conception_at(chain.data, "motility", np.full(chain.data.n_breedings, 40.0))
    expected = np.quantile(litter_chances(chain, at, artificial).mean(axis=1), [0.05, 0.5, 0.95])
    found = curve.together[GRIDS["motility"].index(40.0)]
    assert (found.lower, found.median, found.upper) == pytest.approx(expected)
    all_litters = np.ones(sizes.data.n_litters, dtype=bool)
    assert size_curve(sizes, sizes, "concentration", all_litters) is None
    assert size_curve(sizes, sizes, "day", all_litters).n_bred == sizes.data.n_litters
    assert chance_curve(chain, chain, "hours", ~everywhere) is None


def test_hours_are_those_of_chilled_semen_where_there_is_any(chain):
    data = chain.data
    chilled = data.semen_type == "chilled"
    assert grid_of(data, "hours")[0].tolist() == chilled.tolist()

    without = replace(data, semen_type=np.where(chilled, "fresh", data.semen_type))
    applies, grid = grid_of(without, "hours")
    assert grid == GRIDS["hours_fresh"]
    assert applies.tolist() == (without.semen_type == "fresh").tolist()


def test_the_best_value_lies_within_every_window(chain):
    data = chain.data
    day = best_value(data, "day")
    # The windows of priors c17 and c18, as the guide states them.
    early = {"natural": -2.0, "fresh": -2.0, "chilled": 0.0, "frozen": 2.5}
    assert all(early[kind] <= x <= 5.0 for kind, x in zip(data.semen_type, day, strict=True))
    for exposure in EXPOSURES[:3]:
        natural = data.semen_type == "natural"
        assert np.isnan(best_value(data, exposure)[natural]).all()


def test_thinned_draws_are_evenly_spaced():
    assert thinned({"a": np.arange(1000)})["a"][[0, -1]].tolist() == [0, 999]
    assert len(thinned({"a": np.arange(1000)})["a"]) == 250
    assert len(thinned({"a": np.arange(10)})["a"]) == 10
