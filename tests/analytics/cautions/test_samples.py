"""What a sample says, and that a blank lifts nothing; every limit at both edges."""

import numpy as np
import pytest
from scipy.stats import chi2
from tests.analytics.caution_records import (
    NAN,
    ROW,
    examination,
    lab_test,
    not_counted,
    records,
    release,
    rules,
    sample,
    stops,
)

from studcurve.analytics.cautions import stopped_answers
from studcurve.analytics.cautions.records import EVERY_ANSWER, NEXT_ANSWERS
from studcurve.analytics.measures.semen import zero_count_limit_m

# The limits of the rules, written here once more.
FAR_BELOW_M, FAR_BELOW_M_PER_KG = 100.0, 5.0
FAR_BELOW_FORWARD_PCT, FAR_BELOW_NORMAL_PCT = 30.0, 40.0
FALLING_TO, NO_SPERM_SHOWN_DAYS = 0.5, 365


TESTED = lab_test(60)


@pytest.mark.parametrize("zero", [{"n_cells": 0.0}, {"concentration_m_per_ml": 0.0}])
def test_no_sperm_in_the_last_counted_sample_stops_every_number(zero):
    of_dog = records([sample(12, **zero)])

    assert stopped_answers(rules(of_dog).values()) == EVERY_ANSWER
    assert stops(of_dog) == {"no sperm seen"}


def test_a_sample_that_was_not_counted_is_not_one_without_sperm_and_lifts_none():
    assert "no sperm seen" not in rules(records([not_counted(12)]))
    assert "no sperm seen" in rules(records([sample(20, n_cells=0.0), not_counted(12)]))
    failed = not_counted(12, failed_reason="refused")
    assert "no sperm seen" in rules(records([sample(20, n_cells=0.0), failed]))


def test_a_later_count_with_sperm_makes_it_a_warning_for_a_year():
    def spoken(days):
        return rules(records([sample(days, n_cells=0.0), sample(5)]))

    assert spoken(20)["no sperm seen before"].severity == "warn"
    assert "no sperm seen before" in spoken(NO_SPERM_SHOWN_DAYS)
    assert "no sperm seen before" not in spoken(NO_SPERM_SHOWN_DAYS + 1)


def test_two_counts_without_sperm_are_said_as_two_also_over_one_that_was_not_counted():
    zeros = [sample(40, n_cells=0.0), not_counted(30), sample(20, n_cells=0.0)]

    key = rules(records(zeros))["no sperm seen"].sentence.key
    assert key == "caution.no_sperm_seen_twice"


def test_a_zero_count_prints_its_upper_limit():
    # Half the chi-square quantile of two degrees of freedom: the exact Poisson limit of none.
    # in 20 nL, widened by the errors of a count at home and of the volume.
    limit = chi2.ppf(0.95, 2) / 2 / 20e-6 / 1e6 * np.exp(1.6449 * np.hypot(0.15, 0.05))

    assert zero_count_limit_m(2.5) == pytest.approx(2.5 * limit, rel=1e-4)
    message = rules(records([sample(12, n_cells=0.0)]))["no sperm seen"].sentence
    assert message.values["limit"].values["limit"] == pytest.approx(2.5 * limit, rel=1e-4)
    unknown = rules(records([sample(12, n_cells=0.0, volume_ml=NAN)]))["no sperm seen"]
    assert unknown.sentence.values["limit"].key == "caution.zero_limit_per_ml"


@pytest.mark.parametrize("look", ["blood", "pus"])
@pytest.mark.parametrize("later", [(), (sample(5),), (not_counted(5),), (sample(5, look=""),)])
def test_blood_or_pus_in_any_sample_stops_until_somebody_has_looked(look, later):
    of_dog = records([sample(400, look=look), *later])

    assert stops(of_dog) == {f"{look} in the sample"}
    assert stopped_answers(rules(of_dog).values()) == NEXT_ANSWERS


@pytest.mark.parametrize(
    ("line", "is_lifted"),
    [
        (examination(12, "prostate", "normal"), True),
        (examination(12, "andrological examination", "slightly enlarged prostate"), True),
        (examination(13, "prostate", "normal"), False),
        (examination(12, "prostate", ""), False),
        (examination(12, "hips", "A"), False),
        (examination(12, "eyes", "clear"), False),
        (release(12, "blood"), True),
        (release(12, "breeding"), True),
        (release(13, "blood"), False),
        (release(12, "blood", veterinarian=""), False),
        (release(12, "Brucella"), False),
    ],
)
def test_an_examination_or_a_release_after_it_lifts_blood(line, is_lifted):
    of_dog = records([sample(12, look="blood")], health=(TESTED, line))

    assert ("blood in the sample" not in stops(of_dog)) is is_lifted


def test_urine_stops_until_a_sample_is_noted_as_clear():
    urine = sample(20, look="urine")

    assert stops(records([urine])) == {"urine in the sample"}
    assert stops(records([urine, sample(5, look="")])) == {"urine in the sample"}
    assert stops(records([urine, sample(5)])) == set()


def test_another_look_is_noted():
    assert rules(records([sample(5, look="other")]))["look not normal"].severity == "warn"


@pytest.mark.parametrize(
    ("changed", "is_far_below"),
    [
        ({"volume_ml": 1.0, "concentration_m_per_ml": FAR_BELOW_M - 0.1}, True),
        ({"volume_ml": 1.0, "concentration_m_per_ml": 23.5 * FAR_BELOW_M_PER_KG + 0.1}, False),
        ({"volume_ml": 1.0, "concentration_m_per_ml": 23.5 * FAR_BELOW_M_PER_KG - 0.1}, True),
        ({"volume_ml": 1.0, "concentration_m_per_ml": 23.5 * FAR_BELOW_M_PER_KG}, False),
        ({"forward_pct": FAR_BELOW_FORWARD_PCT}, False),
        ({"forward_pct": FAR_BELOW_FORWARD_PCT - 1}, True),
        ({"normal_pct": FAR_BELOW_NORMAL_PCT}, False),
        ({"normal_pct": FAR_BELOW_NORMAL_PCT - 1}, True),
        ({}, False),
    ],
)
def test_a_sample_far_below_every_published_value_asks_for_a_repeat(changed, is_far_below):
    spoken = rules(records([sample(5, **changed)]))

    assert ("far below" in spoken) is is_far_below
    assert not any(caution.severity == "stop" for caution in spoken.values())


def test_without_a_weight_the_total_alone_is_judged():
    light = {"volume_ml": 1.0, "concentration_m_per_ml": FAR_BELOW_M}
    row = ROW | {"adult_weight_kg": float("nan")}

    assert "far below" not in rules(records([sample(5, **light)], row=row))


def series(*totals):
    n = len(totals)
    return [
        sample(10 * (n - i), volume_ml=1.0, concentration_m_per_ml=float(total))
        for i, total in enumerate(totals)
    ]


@pytest.mark.parametrize(
    ("totals", "is_falling"),
    [
        ((528, 270, 235, 264 * FALLING_TO * 2), False),
        ((528, 400, 300, 528 * FALLING_TO), True),
        ((528, 400, 300, 528 * FALLING_TO + 1), False),
        ((528, 400, 200), False),
        ((300, 528, 400, 300, 200), True),
        ((528, 400, 300, 300), False),
        # The same twice is no fall.
        ((528, 528, 400, 264), False),
    ],
)
def test_counts_that_fall_one_after_the_other_to_half_are_told(totals, is_falling):
    assert ("falling" in rules(records(series(*totals)))) is is_falling


def test_under_a_stop_nothing_is_said_of_where_a_series_goes():
    spoken = rules(records(series(528, 270, 135, 24, 0)))

    assert "no sperm seen" in spoken
    assert "falling" not in spoken


def test_of_a_sample_without_sperm_only_that_is_told():
    none = sample(5, n_cells=0.0, concentration_m_per_ml=0.0)

    assert rules(records([none])).keys() & {"no sperm seen", "far below"} == {"no sperm seen"}


@pytest.mark.parametrize(("days", "is_read"), [(1, True), (0, True), (-1, False)])
def test_a_sample_is_read_from_its_own_day_on(days, is_read):
    assert ("no sperm seen" in stops(records([sample(days, n_cells=0.0)]))) is is_read
