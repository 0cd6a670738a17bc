"""Doses against direct simulation of the bench, closed forms and what can never be."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from studcurve.analytics.measures.doses import (
    MOST_DOSES,
    TARGET_ROWS,
    SampleDraws,
    SampleEvaluation,
    draw_sample,
    plan_doses,
    usual_total,
    worth_of_a_count,
)
from studcurve.analytics.measures.motility_kept import StorageDraws, published_storage
from studcurve.analytics.models.breedings.inputs import USUAL_DOSE_M
from studcurve.analytics.models.storage.usable import StoredSamples, extender_curve
from studcurve.analytics.priors import PRIORS

SEED = 20240229


def draws(reading, *, count_cv=0.15, usual=None, n_draws=4_000, seed=SEED):
    return draw_sample(
        reading,
        count_cv=count_cv,
        usual=usual or usual_total(),
        rng=np.random.default_rng(seed),
        n_draws=n_draws,
    )


def storage(n_draws=4_000, medium="egg yolk"):
    return published_storage(medium, rng=np.random.default_rng(SEED + 1), n_draws=n_draws)


def counted(n_cells=130, forward=80.0, volume=3.0):
    # Five squares of 4 nL at 1 + 19: 1 nL of semen.
    return SampleEvaluation(volume, forward, n_cells=n_cells, looked_at_nl=1.0)


def test_the_middle_of_a_counted_sample_is_its_count():
    # 130 cells in 1 nL are 130 M/mL; three mL of them 390 M.
    total = draws(counted()).total_m

    assert np.median(total) == pytest.approx(390.0, rel=0.02)


@pytest.mark.parametrize("cells", [20.0, 130.0])
@pytest.mark.parametrize("by_eye", [True, False])
def test_ninety_percent_ranges_hold_the_truth_ninety_percent_of_the_time(cells, by_eye):
    # The bench simulated: a true sample, read with the errors of priors r01 and r02 and a tube.
    rng = np.random.default_rng(1)
    n, covered = 600, 0
    volume, motile = 3.0, 70.0
    truth = volume * cells * motile / 100.0
    for k in range(n):
        seen = rng.poisson(cells * np.exp(rng.normal(0, 0.15)))
        if by_eye:
            forward, judged = float(np.clip(motile + rng.normal(0, np.hypot(8, 7)), 0, 100)), None
        else:
            forward, judged = rng.binomial(200, motile / 100.0) / 2.0, 200
        reading = SampleEvaluation(
            volume * np.exp(rng.normal(0, 0.05)), forward, judged, n_cells=int(seen),
            looked_at_nl=1.0,
        )  # fmt: skip
        low, high = np.quantile(draws(reading, n_draws=800, seed=k).progressive_m, [0.05, 0.95])
        covered += low <= truth <= high

    # Binomial error of 600 samples: 1.2 points; four of them.
    assert 0.85 <= covered / n <= 0.95


def test_a_sample_nobody_counted_has_the_width_of_all_dogs_or_of_his_own_past():
    strange, known = usual_total(), usual_total([400.0, 450.0, 500.0, 420.0, 380.0])

    # Between dogs 0.5, between collections 0.45 (priors q01).
    assert strange.log_sd == pytest.approx(np.hypot(0.5, 0.45))
    assert np.exp(strange.log_mean) == pytest.approx(775.0)
    assert strange.log_sd > known.log_sd > 0.45
    # Normal-normal by hand: precision 1/0.25 and 5/0.2025.
    logs = np.log([400.0, 450.0, 500.0, 420.0, 380.0])
    weight = (5 / 0.45**2) / (5 / 0.45**2 + 1 / 0.5**2)
    wanted = weight * logs.mean() + (1 - weight) * np.log(775.0)
    assert known.log_mean == pytest.approx(wanted)
    assert usual_total([np.nan, 0.0, 400.0]).n_samples == 1


def test_the_chance_of_a_dose_is_the_normal_integral_when_everything_is_log_normal():
    rng = np.random.default_rng(2)
    n = 200_000
    progressive = np.exp(np.log(500.0) + 0.3 * rng.normal(size=n))
    kept = StorageDraws(np.full(n, 192.0), np.full(n, 1.0), 192.0, "")

    plan = plan_doses(progressive, kept, hours=24.0, target_m=100.0)

    for one in plan.chances:
        # log(500 e^(−24/192) / n) against log 100.
        wanted = norm.cdf((np.log(500.0 / one.n_doses / 100.0) - 24.0 / 192.0) / 0.3)
        assert one.meets_prob == pytest.approx(wanted, abs=0.004)
    sure = 500.0 * np.exp(-24.0 / 192.0 + 0.3 * norm.ppf(0.2))
    assert plan.n_doses == int(sure // 100.0) == 3


@settings(max_examples=60)
@given(
    st.integers(1, 600), st.floats(5.0, 98.0), st.floats(0.3, 20.0), st.floats(0.0, 150.0),
    st.sampled_from([50.0, 100.0, 200.0]),
)  # fmt: skip
def test_doses_never_exceed_the_sperm_there_are(n_cells, forward, volume, hours, target):
    sample = draws(counted(n_cells, forward, volume), n_draws=400)
    plan = plan_doses(sample.progressive_m, storage(400), hours=hours, target_m=target)

    assert (sample.progressive_m <= sample.total_m).all()
    assert plan.n_doses * target <= np.quantile(sample.total_m, 0.2)
    for one in plan.chances:
        whole = one.n_doses * np.array([one.motile_dose_m.lower, one.motile_dose_m.upper])
        assert whole[1] <= np.quantile(sample.total_m, 0.95) * (1 + 1e-12)
        if one.n_doses <= MOST_DOSES:
            assert (one.meets_prob >= plan.certainty) is (one.n_doses <= plan.n_doses)


@settings(max_examples=60)
@given(st.integers(1, 300), st.integers(1, 100), st.floats(0.0, 100.0), st.floats(0.0, 80.0))
def test_a_later_hour_or_a_smaller_count_never_raises_the_chance(n_cells, fewer, hours, later):
    sample = draws(counted(n_cells), n_draws=300).progressive_m
    smaller = draws(counted(max(n_cells - fewer, 0)), n_draws=300).progressive_m
    kept = storage(300)

    now = plan_doses(sample, kept, hours=hours, target_m=100.0)
    after = plan_doses(sample, kept, hours=hours + later, target_m=100.0)
    less = plan_doses(smaller, kept, hours=hours, target_m=100.0)

    assert after.n_doses <= now.n_doses
    assert after.chances[0].meets_prob <= now.chances[0].meets_prob
    assert less.chances[0].meets_prob <= now.chances[0].meets_prob
    assert less.n_doses <= now.n_doses


@given(st.floats(0.0, 95.0), st.floats(0.0, 5.0))
def test_a_lower_motility_by_eye_never_raises_what_moves_forward(forward, lower):
    more, less = (
        draws(counted(forward=f), n_draws=200).progressive_m for f in (forward + lower, forward)
    )

    assert (less <= more * (1 + 1e-9)).all()


def test_nobody_knows_beyond_the_studied_hours():
    sample = draws(counted())

    assert plan_doses(sample.progressive_m, storage(), hours=200.0, target_m=100.0) is None
    raw = storage(medium="undiluted")
    assert plan_doses(sample.progressive_m, raw, hours=12.0, target_m=100.0) is not None
    assert plan_doses(sample.progressive_m, raw, hours=12.1, target_m=100.0) is None


def divided(progressive_m, *, hours=0.0, target_m=100.0, **how):
    """A sample whose draws are given, at the hour at which nothing is lost yet."""
    draws_m = np.asarray(progressive_m, dtype=float)
    kept = StorageDraws(np.full(draws_m.size, 192.0), np.ones(draws_m.size), 192.0, "")
    return plan_doses(draws_m, kept, hours=hours, target_m=target_m, **how)


def test_a_dose_that_is_just_sure_enough_is_made():
    # Eight of ten, the certainty of the toolkit.
    assert divided([100.0] * 8 + [1.0] * 2).n_doses == 1
    assert divided([100.0] * 79 + [1.0] * 21).n_doses == 0


def test_a_sample_is_divided_into_twelve_doses_at_most():
    assert divided([1e6] * 10).n_doses == 12
    for n in (1, 12):
        assert divided([1e6] * 10, n_doses=n).n_doses == n
    for n in (0, 13):
        with pytest.raises(ValueError, match="between 1 and 12"):
            divided([1e6] * 10, n_doses=n)


@pytest.mark.parametrize(("n_that_meet", "is_hopeless"), [(499, True), (500, False)])
def test_a_dose_is_hopeless_below_one_chance_in_twenty(n_that_meet, is_hopeless):
    plan = divided([100.0] * n_that_meet + [1.0] * (10_000 - n_that_meet))

    assert plan.is_hopeless is is_hopeless


@pytest.mark.parametrize("how", [{"target_m": 0.0}, {"certainty": 0.0}, {"certainty": 1.0}])
def test_a_target_of_nothing_and_a_sure_dose_are_refused(how):
    with pytest.raises(ValueError, match="needs a target above zero and a chance"):
        divided([1e6] * 10, **how)


def test_the_doses_made_last_at_least_until_she_is_inseminated():
    sample = draws(counted(600))
    plan = plan_doses(sample.progressive_m, storage(), hours=40.0, target_m=100.0)

    assert plan.n_doses >= 2
    assert plan.until_h >= 40.0
    later = plan_doses(
        sample.progressive_m, storage(), hours=min(plan.until_h + 1.0, 192.0), target_m=100.0
    )
    assert later.n_doses < plan.n_doses


def test_a_count_changes_more_where_nothing_was_counted():
    uncounted = SampleEvaluation(3.0, 80.0)
    kept = storage()
    worth = {}
    for name, reading in {"uncounted": uncounted, "counted": counted(200)}.items():
        sample = draws(reading)
        plan = plan_doses(sample.progressive_m, kept, hours=24.0, target_m=100.0)
        worth[name] = worth_of_a_count(sample, kept, plan, count_cv=0.15)

    for one in worth.values():
        assert one.range_then < one.range_now
        assert 0.0 <= one.more_prob + one.fewer_prob <= 1.0
    assert worth["uncounted"].range_now > 2 * worth["counted"].range_now
    assert worth["uncounted"].more_prob > worth["counted"].more_prob


def test_the_worth_of_a_count_agrees_with_counting_many_times():
    # Second route: draw a truth, count it with its errors, update on the log scale, divide again.
    rng = np.random.default_rng(3)
    n = 20_000
    total = np.exp(np.log(700.0) + 0.6 * rng.normal(size=n))
    sample = SampleDraws(total, total * np.exp(np.log(0.7) + 0.1 * rng.normal(size=n)), None)
    kept = StorageDraws(np.full(n, 192.0), np.full(n, 1.5), 192.0, "")
    plan = plan_doses(sample.progressive_m, kept, hours=24.0, target_m=100.0)
    found = worth_of_a_count(sample, kept, plan, count_cv=0.15)

    error = np.sqrt(1 / 200 + 0.15**2 + 0.05**2)
    counted_log = np.log(rng.choice(total, n)) + error * rng.normal(size=n)
    variance = 1 / (1 / 0.36 + 1 / error**2)
    middle = variance * (np.log(700.0) / 0.36 + counted_log / error**2)
    sure = np.exp(
        middle + np.log(0.7) - (24 / 192) ** 1.5 + norm.ppf(0.2) * np.sqrt(variance + 0.01)
    )
    made = np.floor(sure / 100.0)
    assert found.more_prob == pytest.approx((made > plan.n_doses).mean(), abs=0.015)
    assert found.fewer_prob == pytest.approx((made < plan.n_doses).mean(), abs=0.015)


def test_a_chamber_counts_two_hundred_cells():
    # Nothing but the total is unsure, and pipette and mixing err by nothing: what stays unsure
    # after 200 cells is 1/200 of counting and 0.05² of the volume.
    z = norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    total = 500.0 * np.exp(0.6 * z)
    kept = StorageDraws(np.full(z.size, 192.0), np.ones(z.size), 192.0, "")
    plan = plan_doses(total, kept, hours=0.0, target_m=100.0)

    found = worth_of_a_count(SampleDraws(total, total, None), kept, plan, count_cv=0.0)

    after = 1.0 / np.sqrt(1.0 / 0.6**2 + 1.0 / (1.0 / 200.0 + 0.05**2))
    # Upper over lower end of nine in ten: twice 1.645 sd of the log, to a quantile of the grid.
    width = 2.0 * norm.ppf(0.95)
    assert np.log([found.range_now, found.range_then]) == pytest.approx(
        [width * 0.6, width * after], abs=5e-4
    )


def test_a_range_that_begins_at_nothing_has_no_fold():
    total = np.linspace(400.0, 600.0, 100)
    sample = SampleDraws(total, np.where(np.arange(100) % 10 == 0, 0.0, total), None)
    kept = StorageDraws(np.full(100, 192.0), np.ones(100), 192.0, "")
    plan = plan_doses(sample.progressive_m, kept, hours=0.0, target_m=100.0)

    found = worth_of_a_count(sample, kept, plan, count_cv=0.15)

    assert found.range_now == found.range_then == np.inf


@pytest.mark.parametrize(
    ("how", "is_counted"),
    [({"n_cells": 100, "looked_at_nl": 1.0}, True), ({"concentration_m_per_ml": 300.0}, True),
     ({}, False)],
)  # fmt: skip
def test_a_chamber_or_a_photometer_counts_a_sample(how, is_counted):
    assert SampleEvaluation(3.0, 80.0, **how).is_counted is is_counted


@pytest.mark.parametrize(
    ("studied_until_h", "is_told"), [(47.5, False), (48.0, True), (48.5, True)]
)
def test_a_stud_s_dose_is_asked_of_at_forty_eight_hours(studied_until_h, is_told):
    # Half of the draws lose nothing, the others nearly all of it at once.
    eta_h = np.repeat([1e6, 1e-3], 50)
    kept = StorageDraws(eta_h, np.ones(100), studied_until_h, "")
    readings = pd.DataFrame({"extender": [], "stage": [], "hours": [], "kept": []})
    samples = StoredSamples({"milk": "Milk"}, readings, 150.0, 3)

    dose = extender_curve("milk", kept, samples, 100.0).dose

    assert dose.planned_prob == (0.5 if is_told else None)


def test_the_target_of_a_route_is_the_usual_dose_of_the_models():
    for route, row in TARGET_ROWS.items():
        assert PRIORS[row].centre == USUAL_DOSE_M[route]


def test_a_count_without_its_chamber_is_a_programmers_error():
    with pytest.raises(ValueError, match="volume that was looked at"):
        SampleEvaluation(3.0, 80.0, n_cells=100)
    with pytest.raises(ValueError, match="above zero"):
        plan_doses(np.ones(4_000), storage(), hours=1.0, target_m=0.0)
