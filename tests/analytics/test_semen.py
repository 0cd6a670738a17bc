"""What is in a sample: missing stays missing, intervals hold what they should."""

import numpy as np
import pandas as pd
import pytest

from studcurve.analytics.measures.semen import (
    motility_interval_pct,
    total_sperm_interval_m,
    total_sperm_m,
    with_measures,
    zero_count_limit_m,
)


def test_an_unmeasured_volume_gives_an_unmeasured_total():
    assert np.isnan(total_sperm_m([np.nan, 2.0], [250.0, np.nan])).all()


def test_the_interval_of_a_total_covers_under_simulated_reading():
    # 2 mL at 100 M/mL; 80 cells expected, count error 15 % and volume error 5 % beyond Poisson.
    rng = np.random.default_rng(20240229)
    n = 20_000
    cells = rng.poisson(80 * np.exp(rng.normal(0, 0.15, n)))
    volume = 2.0 * np.exp(rng.normal(0, 0.05, n))

    low, high = total_sperm_interval_m(volume, cells / 0.8, cells, extra_cv=0.15)

    covered = ((low <= 200.0) & (high >= 200.0)).mean()
    # Exact Poisson ends cover a little more than 90 %; simulation error 0.2 points.
    assert 0.895 <= covered <= 0.935


def test_more_cells_make_a_narrower_interval():
    low, high = total_sperm_interval_m(2.0, 100.0, np.array([20.0, 80.0, 400.0]), extra_cv=0.06)

    assert (np.diff(high - low) < 0).all()


def test_a_count_of_zero_keeps_its_zero_and_has_no_made_up_upper_end():
    low, high = total_sperm_interval_m(2.0, 0.0, 0.0, extra_cv=0.15)

    assert low == 0.0
    assert np.isnan(high)


def test_a_count_of_zero_is_bounded_by_the_chamber_that_was_looked_at():
    # 0 cells in 100 nL at 1:20: 5 nL of semen; at most 3.0 cells there, in 2 mL 1.2 M, widened.
    low, high = total_sperm_interval_m(2.0, 0.0, 0.0, extra_cv=0.15, looked_at_nl=5.0)

    assert low == 0.0
    widened = np.exp(1.6449 * np.hypot(0.15, 0.05))
    assert high == pytest.approx(-np.log(0.05) / 5.0 * 2.0 * widened, rel=1e-4)


def test_a_motility_by_eye_is_less_sure_than_one_of_two_hundred_counted():
    by_eye = motility_interval_pct(70.0, np.nan)
    counted = motility_interval_pct(70.0, 200.0)

    # 1.645 × 8 points either way (prior r01).
    assert by_eye.tolist() == pytest.approx([70 - 13.16, 70 + 13.16], abs=0.01)
    assert np.ptp(counted) < np.ptp(by_eye)


@pytest.mark.parametrize("pct", [0.0, 3.0, 97.0, 100.0])
def test_a_motility_stays_within_nought_and_a_hundred(pct):
    for n_evaluated in (np.nan, 200.0):
        low, high = motility_interval_pct(pct, n_evaluated)
        assert 0.0 <= low <= high <= 100.0


@pytest.mark.parametrize(("cells", "concentration"), [(0.0, 0.0), (np.nan, 0.0)])
def test_a_sample_without_sperm_is_shown_with_what_none_still_allows(cells, concentration):
    columns = ["volume_ml", "concentration_m_per_ml", "n_cells_counted",
               "progressive_motility_pct", "n_motility_evaluated", "normal_morphology_pct",
               "n_morphology_evaluated"]  # fmt: skip
    row = [2.0, concentration, cells, np.nan, np.nan, np.nan, np.nan]

    (shown,) = with_measures(pd.DataFrame([row], columns=columns), extra_cv=0.15).to_dict("records")
    assert shown["total_sperm_m"] == shown["total_sperm_m_low"] == 0.0
    assert shown["total_sperm_m_high"] == pytest.approx(zero_count_limit_m(2.0))


def test_a_photometer_errs_by_a_tenth_and_a_tube_by_a_twentieth():
    low, high = total_sperm_interval_m(2.0, 100.0, np.nan, extra_cv=0.3)

    widened = np.exp(1.6449 * np.hypot(0.10, 0.05))
    assert (low, high) == pytest.approx((200.0 / widened, 200.0 * widened), rel=1e-4)


def test_none_in_five_squares_still_allows_three_cells_in_twenty_nanoliters():
    widened = np.exp(1.6449 * np.hypot(0.15, 0.05))

    assert zero_count_limit_m(2.5) == pytest.approx(-np.log(0.05) / 20.0 * 2.5 * widened, rel=1e-4)
