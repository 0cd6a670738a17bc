"""Extender and volumes: arithmetic that undoes itself, reminders with their sources."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from studcurve.analytics.measures.extending import (
    MOST_ML,
    bench_reminders,
    extender_for_concentration_ml,
    extender_for_ratio_ml,
    semen_to_leave_ml,
    volume_limit_ml,
)


def test_four_parts_of_extender_make_five_of_dose():
    # "4:1 extender to semen" is 1:4, inside the usual 1:3 to 1:5 (Sugai 2024, Front Vet Sci).
    assert extender_for_ratio_ml(2.0, 4.0) == 8.0
    assert bench_reminders(ratio=4.0) == ()


@given(st.floats(0.2, 30.0), st.floats(50.0, 2_000.0), st.floats(10.0, 50.0))
def test_the_extender_for_a_concentration_gives_that_concentration(volume, concentration, final):
    extender = extender_for_concentration_ml(volume, concentration, final)

    assert volume * concentration / (volume + extender) == pytest.approx(final)
    # The same by its ratio.
    again = extender_for_ratio_ml(volume, extender / volume)
    assert again == pytest.approx(extender)


def test_extender_cannot_concentrate():
    assert np.isnan(extender_for_concentration_ml(2.0, 40.0, 50.0))


def test_more_fits_a_heavier_bitch_and_less_fits_the_uterus():
    # Common practice, no source.
    weights = (4.0, 8.0, 20.0, 35.0, 60.0)
    vaginal = [volume_limit_ml(weight, "vaginal") for weight in weights]
    uterus = [volume_limit_ml(weight, "transcervical") for weight in weights]

    assert vaginal == sorted(vaginal)
    assert all(inside < outside for inside, outside in zip(uterus, vaginal, strict=True))


@pytest.mark.parametrize(
    ("weight_kg", "vaginal_ml", "uterus_ml"),
    [
        # Common practice, no source: at the upper end of each class of weight and beyond it.
        (1.0, 2.0, 1.0), (5.0, 2.0, 1.0), (5.1, 3.0, 1.5), (10.0, 3.0, 1.5), (10.1, 5.0, 2.0),
        (25.0, 5.0, 2.0), (25.1, 8.0, 3.0), (45.0, 8.0, 3.0), (45.1, 10.0, 4.0),
    ],
)  # fmt: skip
def test_the_volume_that_fits_goes_by_her_weight(weight_kg, vaginal_ml, uterus_ml):
    assert volume_limit_ml(weight_kg, "vaginal") == vaginal_ml
    assert volume_limit_ml(weight_kg, "transcervical") == uterus_ml


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        ({"ratio": 3.0}, {"ratio": 2.99}),
        ({"ratio": 5.0}, {"ratio": 5.01}),
        ({"final_m_per_ml": 25.0}, {"final_m_per_ml": 24.9}),
        ({"unextended_minutes": 30.0}, {"unextended_minutes": 30.1}),
        ({"dose_volume_ml": 5.0, "limit_ml": 5.0}, {"dose_volume_ml": 5.1, "limit_ml": 5.0}),
        ({"limit_ml": 5.0}, {"dose_volume_ml": 9.0, "limit_ml": 5.0}),
        ({"dose_volume_ml": 9.0}, {"dose_volume_ml": 9.0, "limit_ml": 5.0}),
    ],
)
def test_a_reminder_begins_beyond_its_edge(within, beyond):
    assert bench_reminders(**within) == ()
    assert len(bench_reminders(**beyond)) == 1


@pytest.mark.parametrize(
    ("given_reading", "word", "source"),
    [
        ({"ratio": 8.0}, "outside the usual 1 + 3 to 1 + 5", "Sugai 2024"),
        ({"ratio": 1.0}, "outside the usual 1 + 3 to 1 + 5", "Sugai 2024"),
        ({"final_m_per_ml": 20.0}, "thinner than 25 M/mL", "Sugai 2024"),
        ({"unextended_minutes": 45.0}, "45 minutes", "common practice, no source"),
        (
            {"dose_volume_ml": 12.0, "limit_ml": 5.0},
            "centrifuge first",
            "common practice, no source",
        ),
    ],
)
def test_each_reminder_speaks_with_its_source(given_reading, word, source):
    (reminder,) = bench_reminders(**given_reading)

    assert word in reminder.sentence
    assert source in reminder.source


def test_what_is_not_known_or_just_right_is_not_judged():
    assert bench_reminders() == ()
    assert bench_reminders(ratio=5.0, final_m_per_ml=25.0, unextended_minutes=30.0,
                           dose_volume_ml=5.0, limit_ml=5.0) == ()  # fmt: skip


def test_semen_left_in_a_spin_makes_doses_that_just_fit():
    left = semen_to_leave_ml(5.0, 4.0, 2)

    whole = left + float(extender_for_ratio_ml(left, 4.0))
    assert whole / 2 == pytest.approx(5.0)


def test_what_fits_the_largest_bitch_is_the_most_that_fits_any():
    for route, most in MOST_ML.items():
        assert most == volume_limit_ml(120.0, route)
        assert all(volume_limit_ml(kg, route) <= most for kg in (1.0, 5.0, 9.0, 24.0, 44.0, 60.0))
