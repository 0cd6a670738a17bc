"""Days and units against printed conversions and published gestations."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from studcurve.analytics.measures.dates import (
    NO_LABOR_DAYS,
    PUP_COUNT_DAYS,
    SPERMATOGENESIS_DAYS,
    TEMPERATURE_DAYS_BEFORE,
    UNTIMED_WHELPING_DAYS,
    expected_whelping,
    look_back,
    progesterone_ng_per_ml,
    retest,
    spoken_day,
)


def whelping_window(*arguments, **how):
    return expected_whelping(*arguments, **how).window


days = st.dates(date(2000, 1, 1), date(2090, 1, 1))


def test_progesterone_units_are_the_printed_ones():
    # Laboratories print the factor 3.18 (molar mass 314.46 g/mol).
    assert progesterone_ng_per_ml(15.90, "nmol/L") == pytest.approx(5.0, abs=0.005)
    assert progesterone_ng_per_ml(17.3, "nmol/L") == pytest.approx(5.44, abs=0.01)
    assert progesterone_ng_per_ml(2.5, "ng/mL") == 2.5


def test_a_unit_that_is_neither_is_a_programmers_error():
    with pytest.raises(ValueError, match="ng/mL or nmol/L"):
        progesterone_ng_per_ml(2.0, "pg/mL")
    assert np.isnan(progesterone_ng_per_ml(np.nan, "nmol/L"))


def test_the_peak_and_ovulation_two_days_later_give_one_whelping_day():
    # LH 0 + 65 is ovulation (LH + 2) + 63: Hollinshead & Hanlon 2017, Mir 2011.
    peak = date(2026, 3, 10)
    from_peak = whelping_window("LH surge", peak)
    from_ovulation = whelping_window("ovulation", peak + timedelta(days=2))

    assert from_peak.middle_on == from_ovulation.middle_on == date(2026, 5, 14)


@pytest.mark.parametrize(
    ("zero", "mean", "sd"),
    [
        ("LH surge", 65.0, 1.9),  # Hollinshead & Hanlon 2017, Theriogenology 101:62-72
        ("ovulation", 63.1, 2.1),  # Mir 2011, 162 pregnancies
        ("timed mating", 61.4, 1.5),  # Okkens 2001, 113 bitches, single timed mating
    ],
)
def test_ninety_percent_windows_hold_ninety_percent_of_published_gestations(zero, mean, sd):
    window = whelping_window(zero, date(2026, 3, 10))

    # Whole days: a gestation of 61.6 d is born on day 62.
    held = norm.cdf(window.last_day + 0.5, mean, sd) - norm.cdf(window.first_day - 0.5, mean, sd)
    assert 0.90 <= held <= 0.97


def test_the_window_from_a_timed_mating_lies_in_the_published_range():
    # Okkens 2001: 58 to 65 days in 113 bitches.
    window = whelping_window("timed mating", date(2026, 3, 10), interval_prob=0.95)

    assert window.first_day >= 58
    assert window.last_day <= 65


@given(days, st.floats(0, 3), st.floats(0, 3))
def test_a_less_certain_zero_never_narrows_the_window(on, sd, more):
    sure = whelping_window("ovulation", on, zero_sd_days=sd)
    unsure = whelping_window("ovulation", on, zero_sd_days=sd + more)

    assert unsure.first_on <= sure.first_on <= sure.middle_on <= sure.last_on <= unsure.last_on


def test_up_to_four_pups_come_a_day_later():
    # Eilts 2005, 764 litters.
    many, few = (whelping_window("ovulation", date(2026, 3, 10), n_pups=n) for n in (5, 4))

    assert few.middle_on - many.middle_on == timedelta(days=1)


def test_four_and_a_half_cycles_make_a_sperm():
    # Soares 2009, J Anat: 13.73 d × 4.5 = 61.8 d against the printed 61.9 ± 0.14.
    four_and_a_half = 4.5 * 13.73

    assert four_and_a_half == pytest.approx(SPERMATOGENESIS_DAYS, abs=0.14)


def test_a_sample_looks_back_seventy_days_and_the_epididymis_fourteen():
    testis, epididymis = look_back(date(2026, 3, 31))

    assert (testis.first_on, testis.last_on) == (date(2026, 1, 20), date(2026, 3, 21))
    assert (epididymis.first_on, epididymis.last_on) == (date(2026, 3, 17), date(2026, 3, 31))
    assert {testis.zero, epididymis.zero} == {"collection"}


def test_a_retest_waits_two_months_and_is_sure_after_a_whole_turnover():
    window = retest(date(2026, 1, 1))

    assert window.first_day == 60
    assert window.first_on == date(2026, 3, 2)
    assert window.last_day == 76  # 61.9 and 14 days


def test_a_day_is_printed_so_that_it_cannot_be_misread():
    assert spoken_day(date(2024, 3, 5)) == "5 Mar 2024"


def test_an_untimed_mating_has_a_wide_window_without_a_middle():
    # 57 to 72 days from a mating: Concannon et al. 1983 (M); Romagnoli 2013 (secondary).
    first, last = date(2026, 3, 10), date(2026, 3, 13)
    one, several = (expected_whelping("mating", first, last_on=end) for end in (first, last))

    assert UNTIMED_WHELPING_DAYS == (57, 72)
    assert (one.window.first_on - first).days == 57
    assert (one.window.last_on - first).days == 72
    assert (several.window.first_on, several.window.last_on - last) == (
        one.window.first_on, timedelta(days=72),
    )  # fmt: skip
    assert one.window.middle_on is one.window.interval_prob is None


@pytest.mark.parametrize(
    ("zero", "no_labor", "pups"),
    [("LH surge", 67, 57), ("ovulation", 65, 55), ("timed mating", 65, 55), ("mating", 72, 55)],
)
def test_each_rule_has_its_last_day_without_labor_and_its_radiograph(zero, no_labor, pups):
    on = date(2026, 3, 10)
    whelping = expected_whelping(zero, on)

    # Teaching rules (M); ovulation lies two days after the LH peak.
    assert (whelping.no_labor_by - on).days == NO_LABOR_DAYS[zero] == no_labor
    assert (whelping.pups_counted_from - on).days == PUP_COUNT_DAYS[zero] == pups
    assert (
        (whelping.window.first_on - whelping.temperature_from).days == TEMPERATURE_DAYS_BEFORE == 3
    )
    assert whelping.pups_counted_from < whelping.window.last_on


def test_of_several_matings_the_first_ends_the_waiting_and_the_last_dates_the_radiograph():
    whelping = expected_whelping("mating", date(2026, 3, 10), last_on=date(2026, 3, 13))

    assert whelping.no_labor_by == date(2026, 3, 10) + timedelta(days=72)
    assert whelping.pups_counted_from == date(2026, 3, 13) + timedelta(days=55)
