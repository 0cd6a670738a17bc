"""The spin against printed forces, the published losses and enumeration."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson

from studcurve.analytics.measures import spin
from studcurve.analytics.measures.spin import (
    DAMAGE_FROM_G,
    STUDIED_G,
    expected_kept_pct,
    fluid_to_take_off_ml,
    recovered_pct,
    relative_force_g,
    rotor_speed_rpm,
)


def test_force_and_speed_are_the_printed_ones():
    # A laboratory's printed example: 5 cm at 10,000 turns a minute are 5,590 g; by the same formula
    # 10 cm at 3,000 are 1,006.2 g and 720 g at 10 cm need 2,537.7 turns.
    assert relative_force_g(5.0, 10_000.0) == pytest.approx(5_590.0, abs=0.5)
    assert relative_force_g(10.0, 3_000.0) == pytest.approx(1_006.2, abs=0.05)
    assert rotor_speed_rpm(10.0, 720.0) == pytest.approx(2_537.7, abs=0.05)


def test_the_printed_constant_is_geometry_to_three_parts_in_ten_thousand():
    exact = 4 * np.pi**2 / (3600 * 980.665)

    assert relative_force_g(1.0, 1.0) == pytest.approx(exact, rel=3e-4)


@given(st.floats(2.0, 30.0), st.floats(50.0, 5_000.0))
def test_force_and_speed_undo_each_other(radius_cm, force_g):
    assert relative_force_g(radius_cm, rotor_speed_rpm(radius_cm, force_g)) == pytest.approx(
        force_g
    )


def test_the_published_speeds_keep_what_was_published():
    # Rijsselaere 2002, Theriogenology 57:1669-1681: five minutes lose 8.9, 2.3, 0.4 and 0.006 % at
    # 180, 720, 1,620 and 2,880 g (the table of priors rounds the first and the last).
    kept = expected_kept_pct([180.0, 720.0, 1620.0, 2880.0])

    assert kept == pytest.approx([91.1, 97.7, 99.6, 99.994], abs=0.11)
    # 720 g keeps 97.7 of 100 M.
    assert 100.0 * expected_kept_pct(720.0) / 100.0 == pytest.approx(97.7)
    assert DAMAGE_FROM_G in STUDIED_G


def test_a_spin_that_nobody_studied_has_no_number():
    assert np.isnan(expected_kept_pct([150.0, 3_000.0])).all()
    assert np.isnan(expected_kept_pct(720.0, minutes=10.0))


@given(st.floats(180.0, 2_880.0), st.floats(1.0, 1.5))
def test_a_faster_spin_never_loses_more(force_g, faster):
    kept, more = expected_kept_pct([force_g, min(force_g * faster, 2_880.0)])

    assert 91.0 <= kept <= more <= 100.0


def test_what_is_taken_off_leaves_what_was_wanted():
    assert fluid_to_take_off_ml([10.0, 2.0], 3.0).tolist() == [7.0, 0.0]


def test_recovery_is_the_ratio_of_what_was_there():
    # 200 cells in 10 mL, then 190 in 2 mL, counted at five times the dilution: 95 %.
    share, low, high = recovered_pct(200, 190, (2.0 * 100) / (10.0 * 20), extra_cv=0.06)

    assert share == pytest.approx(95.0)
    assert low < 95.0 < high


@pytest.mark.parametrize("mean", [5.0, 30.0, 120.0])
@pytest.mark.parametrize("share", [0.5, 0.9, 1.0])
def test_the_interval_of_recovery_covers_at_least_as_often_as_it_says(mean, share):
    # Every pair of counts enumerated, without error beyond Poisson.
    n = np.arange(1, 260)
    before, after = np.meshgrid(n, np.arange(260), indexing="ij")
    _, low, high = recovered_pct(before, after, extra_cv=0.0)
    weight = np.outer(poisson.pmf(n, mean), poisson.pmf(np.arange(260), share * mean))

    held = (low <= 100 * share) & (100 * share <= high)
    assert (weight * held).sum() / weight.sum() >= 0.90


def test_nothing_found_after_the_spin_is_bounded_above():
    share, low, high = recovered_pct(100, 0, extra_cv=0.0)

    assert (share, low) == (0.0, 0.0)
    # One-sided exact binomial: (1 − p)^100 = 0.05.
    assert high / (100 + high) == pytest.approx(1 - 0.05 ** (1 / 100), rel=1e-6)
    assert np.isnan(recovered_pct(0, 10, extra_cv=0.0)).all()


def test_the_usual_and_the_harmful_speed_are_those_of_the_paper():
    # Rijsselaere 2002, Theriogenology 57:1669-1681.
    assert (spin.USUAL_G, spin.DAMAGE_FROM_G, spin.STUDIED_MINUTES) == (720.0, 1620.0, 5.0)
