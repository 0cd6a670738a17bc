"""What the box and the sample may turn out to be, against closed forms and matrix conditioning."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import logit

from analytics.plan.lateness import BoxRecord, box_record, outcome_draws, share_draws
from analytics.plan.options import Straws
from analytics.plan.samples import next_sample, sample_on_hand, straw_dose_m
from analytics.priors import PRIORS

MONDAY, FRIDAY = 0, 4


def shares_of(counts, weekday, n_draws=20_000):
    record = None if counts is None else BoxRecord("any", counts)
    return share_draws(record, weekday, rng=np.random.default_rng(5), n_draws=n_draws)


def within_four_errors(shares, mean, worth):
    # A Dirichlet share has variance m (1 − m) / (worth + 1).
    error = np.sqrt(mean * (1.0 - mean) / (worth + 1.0) / len(shares))
    return np.all(np.abs(shares.mean(axis=0) - mean) < 4.0 * error)


def test_a_carrier_without_a_box_has_the_published_shares_worth_twenty_boxes():
    assert within_four_errors(shares_of(None, MONDAY), np.array([0.92, 0.06, 0.02]), 20.0)


def test_own_boxes_of_the_weekday_and_of_the_others_count_as_the_formula_says():
    counts = np.zeros((7, 3))
    counts[MONDAY] = [30.0, 2.0, 0.0]
    counts[FRIDAY] = [2.0, 0.0, 6.0]
    start = (20.0 * np.array([0.92, 0.06, 0.02]) + [30.0, 2.0, 0.0]) / 52.0
    friday = (20.0 * start + [2.0, 0.0, 6.0]) / 28.0

    assert within_four_errors(shares_of(counts, FRIDAY), friday, 28.0)


def test_late_boxes_are_counted_by_carrier_and_weekday_and_unknown_ones_left_out():
    shipments = pd.DataFrame(
        {
            "carrier": ["Night Coach", "night coach", "Other", "Night Coach", None],
            "sent_earliest": pd.to_datetime(["2026-11-23"] * 3 + ["2026-11-27"] * 2),
            "n_days_late": pd.array([0, 1, 0, 3, 0], dtype="Int64"),
        }
    )
    shipments.loc[5] = ["Night Coach", pd.Timestamp("2026-11-23"), pd.NA]

    record = box_record(shipments, "Night Coach")

    assert record.n_boxes == 3
    assert record.counts[MONDAY].tolist() == [1.0, 1.0, 0.0]
    assert record.counts[FRIDAY].tolist() == [0.0, 0.0, 1.0]


@given(st.lists(st.floats(0.0, 1.0), min_size=2, max_size=20))
def test_a_greater_number_is_never_an_earlier_box(numbers):
    shares = np.tile([0.7, 0.2, 0.1], (len(numbers), 1))

    outcomes = outcome_draws(shares, np.sort(numbers))

    assert np.all(np.diff(outcomes) >= 0)


def reading(day, total=float("nan"), motility=float("nan"), cells=100.0, judged=float("nan")):
    return {
        "collected_earliest": pd.Timestamp(2026, 1, day),
        "total_sperm_m": total,
        "n_cells_counted": cells,
        "progressive_motility_pct": motility,
        "n_motility_judged": judged,
    }


def test_the_next_sample_is_what_matrix_conditioning_gives():
    totals = np.array([400.0, 900.0, 620.0])
    rows = pd.DataFrame([reading(k + 1, total, 80.0) for k, total in enumerate(totals)])
    cv = PRIORS["r02_home"].centre
    between, within = PRIORS["q01_between"].sd ** 2, PRIORS["q01_within"].sd ** 2
    error = cv**2 + 1.0 / 100.0 + 0.05**2
    prior = next_sample().log_total
    # Joint normal of the next collection and the three read ones, conditioned on the readings.
    cross = np.full(3, between)
    covariance = between + np.eye(3) * (within + error)
    gain = np.linalg.solve(covariance, cross)

    belief = next_sample(rows, extra_cv=cv)

    assert belief.n_readings == 3
    assert belief.log_total.mean == pytest.approx(
        prior.mean + gain @ (np.log(totals) - prior.mean), abs=1e-12
    )
    assert belief.log_total.variance == pytest.approx(between + within - gain @ cross, abs=1e-12)


def test_a_stud_without_a_reading_has_the_published_spread():
    belief = next_sample()

    assert belief.n_readings == 0
    assert belief.log_total.variance == pytest.approx(0.5**2 + 0.45**2)
    assert belief.logit_motility.variance == pytest.approx(0.6**2 + 0.4**2)


def test_what_was_not_read_says_nothing():
    nothing = pd.DataFrame([reading(1), reading(2)])

    assert next_sample(nothing, extra_cv=0.15) == next_sample()


def test_a_counted_chamber_narrows_the_sample_more_than_a_look():
    before = next_sample()
    looked = sample_on_hand(before, reading(1, motility=80.0), extra_cv=0.15)
    counted = sample_on_hand(before, reading(1, total=600.0, motility=80.0), extra_cv=0.15)

    assert looked.log_total == before.log_total
    assert looked.logit_motility.variance < before.logit_motility.variance
    assert counted.log_total.variance < looked.log_total.variance
    assert counted.log_total.mean == pytest.approx(math.log(600.0), abs=0.05)


def test_a_motility_of_one_hundred_by_eye_stays_a_reading():
    belief = sample_on_hand(next_sample(), reading(1, motility=100.0), extra_cv=0.15)

    assert np.isfinite([belief.logit_motility.mean, belief.logit_motility.variance]).all()
    assert belief.logit_motility.mean < logit(0.98)


def test_a_frozen_dose_is_its_straws_and_an_uncounted_lot_the_usual_dose():
    z = np.random.default_rng(2).normal(size=10_000)

    counted = straw_dose_m(Straws("A", 6, 3, 34.0), "transcervical", z)
    unknown = straw_dose_m(Straws("A", 6, 3, float("nan")), "transcervical", z)

    error = 1.253 / math.sqrt(len(z))  # of the median of a standard normal
    assert np.log2(np.median(counted) / 102.0) == pytest.approx(0.0, abs=4 * 0.35 * error)
    assert np.log2(np.median(unknown) / 100.0) == pytest.approx(0.0, abs=4 * 0.8 * error)
    assert np.log2(unknown).std() > np.log2(counted).std()
