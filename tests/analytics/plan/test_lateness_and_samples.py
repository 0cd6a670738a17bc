"""What the shipment and the sample may turn out to be, against closed forms and matrix
conditioning.
"""

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit, logit

from studcurve.analytics.plan.options import Straws
from studcurve.analytics.plan.simulation.lateness import (
    PUBLISHED_SHARES,
    ShipmentRecord,
    outcome_draws,
    share_draws,
    shipment_record,
)
from studcurve.analytics.plan.simulation.samples import (
    Rest,
    SampleDraws,
    next_sample,
    straw_draws,
    usual_motility,
    usual_of,
)
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.sentences import sentence

MONDAY, FRIDAY = 0, 4


def shares_of(counts, weekday, n_draws=20_000):
    record = None if counts is None else ShipmentRecord("any", counts)
    return share_draws(record, weekday, rng=np.random.default_rng(5), n_draws=n_draws)


def within_four_errors(shares, mean, worth):
    # A Dirichlet share has variance m (1 − m) / (worth + 1).
    error = np.sqrt(mean * (1.0 - mean) / (worth + 1.0) / len(shares))
    return np.all(np.abs(shares.mean(axis=0) - mean) < 4.0 * error)


def test_a_carrier_without_a_shipment_has_the_published_shares_worth_twenty_shipments():
    assert within_four_errors(shares_of(None, MONDAY), np.array([0.92, 0.06, 0.02]), 20.0)


def test_what_a_shipment_may_do_is_all_there_is_before_any_record():
    # 92 in 100 on time, 6 the next day, 2 after the weekend.
    assert pytest.approx([0.92, 0.06, 0.02], rel=1e-9) == PUBLISHED_SHARES
    assert PUBLISHED_SHARES.sum() == pytest.approx(1.0)


def test_own_shipments_of_the_weekday_and_of_the_others_count_as_the_formula_says():
    counts = np.zeros((7, 3))
    counts[MONDAY] = [30.0, 2.0, 0.0]
    counts[FRIDAY] = [2.0, 0.0, 6.0]
    start = (20.0 * np.array([0.92, 0.06, 0.02]) + [30.0, 2.0, 0.0]) / 52.0
    friday = (20.0 * start + [2.0, 0.0, 6.0]) / 28.0

    assert within_four_errors(shares_of(counts, FRIDAY), friday, 28.0)


def test_late_shipments_are_counted_by_carrier_and_weekday_and_unknown_ones_left_out():
    shipments = pd.DataFrame(
        {
            "carrier": ["Night Coach", "night coach", "Other", "Night Coach", None],
            "sent_earliest": pd.to_datetime(["2026-11-23"] * 3 + ["2026-11-27"] * 2),
            "n_days_late": pd.array([0, 1, 0, 3, 0], dtype="Int64"),
        }
    )
    shipments.loc[5] = ["Night Coach", pd.Timestamp("2026-11-23"), pd.NA]

    record = shipment_record(shipments, "Night Coach")

    assert record.n_shipments == 3
    assert record.counts[MONDAY].tolist() == [1.0, 1.0, 0.0]
    assert record.counts[FRIDAY].tolist() == [0.0, 0.0, 1.0]


@given(st.lists(st.floats(0.0, 1.0), min_size=2, max_size=20))
def test_a_greater_number_is_never_an_earlier_shipment(numbers):
    shares = np.tile([0.7, 0.2, 0.1], (len(numbers), 1))

    outcomes = outcome_draws(shares, np.sort(numbers))

    assert np.all(np.diff(outcomes) >= 0)


def readings(*motility, judged=float("nan"), total=500.0):
    return pd.DataFrame(
        {
            "collected_earliest": pd.date_range("2026-01-01", periods=len(motility), freq="7D"),
            "progressive_motility_pct": motility,
            "n_motility_evaluated": judged,
            "total_sperm_m": total,
        }
    )


def test_the_next_motility_is_what_matrix_conditioning_gives():
    shares = np.array([0.80, 0.65, 0.72])
    between, within = PRIORS["q02_between"].sd ** 2, PRIORS["q02_within"].sd ** 2
    error = 1.0 / (150.0 * shares * (1.0 - shares))
    # Joint normal of the next collection and the three read ones, conditioned on the readings.
    cross = np.full(3, between)
    gain = np.linalg.solve(between + np.diag(within + error), cross)

    usual = usual_motility(readings(*(100.0 * shares), judged=150.0))

    assert usual.n_samples == 3
    assert usual.logit_mean == pytest.approx(
        logit(0.75) + gain @ (logit(shares) - logit(0.75)), abs=1e-12
    )
    assert usual.logit_sd**2 == pytest.approx(between + within - gain @ cross, abs=1e-12)


def test_a_stud_without_a_reading_has_the_published_spread():
    usual = usual_motility(pd.DataFrame())

    assert usual.n_samples == 0
    assert usual.logit_sd == pytest.approx(math.hypot(0.6, 0.4))


def test_what_was_not_read_says_nothing():
    assert usual_motility(readings(float("nan"), float("nan"))) == usual_motility(pd.DataFrame())


def test_a_motility_by_eye_says_less_than_a_counted_one():
    counted = usual_motility(readings(80.0, 80.0, judged=200.0))
    looked = usual_motility(readings(80.0, 80.0))

    assert looked.logit_sd > counted.logit_sd
    assert abs(looked.logit_mean - logit(0.75)) < abs(counted.logit_mean - logit(0.75))


def test_a_motility_of_one_hundred_by_eye_stays_a_reading():
    usual = usual_motility(readings(100.0, 0.0))

    assert np.isfinite([usual.logit_mean, usual.logit_sd]).all()
    assert usual.n_samples == 2


def test_a_motility_is_kept_within_two_and_ninety_eight_percent():
    assert usual_motility(readings(100.0)) == usual_motility(readings(98.0))
    assert usual_motility(readings(97.9)) != usual_motility(readings(98.0))
    assert usual_motility(readings(0.0)) == usual_motility(readings(2.0))
    assert usual_motility(readings(2.02)) != usual_motility(readings(2.0))


def test_the_last_ten_samples_stand_for_a_stud():
    old, recent = [20.0, 30.0, 40.0], [70.0 + k for k in range(10)]
    of_ten, of_all = readings(*recent), readings(*old, *recent)
    of_all["total_sperm_m"] = [90.0] * 3 + [500.0] * 10

    assert usual_motility(of_all) == usual_motility(of_ten)
    assert usual_motility(of_ten).n_samples == 10
    assert usual_motility(of_ten.tail(9)).n_samples == 9
    assert usual_of(of_all) == usual_of(of_ten)


def test_the_next_sample_is_total_times_share_and_names_its_source():
    z = np.random.default_rng(8).normal(size=(2, 20_000))
    total, motility = usual_of(readings(80.0, 75.0))

    drawn = next_sample(readings(80.0, 75.0), z)

    # Median of the log of a log-normal times a logit-normal, which is nearly symmetric: to the
    # Monte Carlo error of a median plus the third moment of the log share (below 0.01).
    middle = total.log_mean + math.log(expit(motility.logit_mean))
    error = 1.253 * np.log(drawn.progressive_m).std() / math.sqrt(z.shape[1])
    assert np.median(np.log(drawn.progressive_m)) == pytest.approx(middle, abs=4 * error + 0.01)
    assert drawn.source == sentence("source.sample_last", n=2)
    assert next_sample(pd.DataFrame(), z).source.key == "source.sample_published"


def test_a_fitted_sample_holds_less_after_less_rest_and_a_rested_one_is_whole():
    rest = Rest(date(2026, 11, 20), np.array([2.5]), np.array([0.3]))
    drawn = SampleDraws(np.array([800.0]), np.array([0.75]), sentence("source.sample_fitted"), rest)

    # 1 − 0.3 exp(−(r − 1)/2.5), against the same after the reference of four days.
    after = {r: 1 - 0.3 * math.exp(-(r - 1) / 2.5) for r in (1, 2, 4)}
    assert drawn.progressive_on(date(2026, 11, 22))[0] == pytest.approx(600 * after[2] / after[4])
    assert drawn.progressive_on(date(2026, 11, 24))[0] == pytest.approx(600.0)
    # A second collection of one day counts as one of the next day.
    assert drawn.progressive_on(date(2026, 11, 20))[0] == pytest.approx(600 * after[1] / after[4])
    rested = replace(drawn, rest=replace(rest, last_on=None))
    assert rested.progressive_on(date(2026, 11, 21))[0] == pytest.approx(600.0)


@pytest.mark.parametrize("per_straw_m", [34.0, float("nan")])
@pytest.mark.parametrize("post_thaw_pct", [60.0, float("nan")])
def test_a_frozen_dose_is_the_pair_that_its_records_leave_open(per_straw_m, post_thaw_pct):
    z = np.random.default_rng(2).normal(size=(2, 40_000))
    dose_m, motility_pct = straw_draws(Straws("A", 6, 3, per_straw_m, post_thaw_pct), "vaginal", z)

    # Of the population: doses spread by 0.8 doublings about 200 M, thawed samples by 12 about 45 %,
    # together as a count times a motility; records err by 0.35 doublings and 8 points, likewise.
    per_point = 1 / (45 * math.log(2))
    prior = np.array([[0.8**2, 12**2 * per_point], [12**2 * per_point, 12**2]])
    error = np.array([[0.35**2, 8**2 * per_point], [8**2 * per_point, 8**2]])
    record = np.array([math.log2(3 * per_straw_m / 200), post_thaw_pct])
    known = np.isfinite(record)
    gain = prior[:, known] @ np.linalg.inv((prior + error)[np.ix_(known, known)])
    mean = np.array([0.0, 45.0]) + gain @ (record - np.array([0.0, 45.0]))[known]
    left = prior - gain @ prior[known]

    drawn = np.stack([np.log2(dose_m / 200), motility_pct])
    sd = np.sqrt(np.diag(left))
    assert drawn.mean(axis=1) == pytest.approx(mean, abs=float((4 * sd / 200).max()))
    assert drawn.std(axis=1) == pytest.approx(sd, rel=0.02)
    assert np.corrcoef(drawn)[0, 1] == pytest.approx(left[0, 1] / sd.prod(), abs=0.02)
