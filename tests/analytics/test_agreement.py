"""Agreement of readers against the papers' own tables, other programs and simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from studcurve.analytics.measures.agreement import (
    agreement,
    intraclass_correlation,
    within_sd,
)

# Bland & Altman 1986, Lancet 1:307-310, table 1: peak flow of 17 subjects, two meters twice each.
FIRST_METER = [
    [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427],
    [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421],
]
SECOND_METER = [
    [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451],
    [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443],
]

# Shrout & Fleiss 1979, Psychological Bulletin 86:420-428, table 2: six targets, four judges.
JUDGES = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]


def test_bias_and_limits_are_those_of_the_paper():
    # Printed: −2.1 and 38.8, limits −79.7 and 75.5 at two standard deviations, intervals −22.0 to
    # 17.8, −114.3 to −45.1 and 40.9 to 110.0; computed from the table to two more digits.
    found = agreement(FIRST_METER[0], SECOND_METER[0], limits_sd=2.0, interval_prob=0.95)

    assert (found.n_samples, found.sd) == (17, pytest.approx(38.7651, abs=1e-4))
    assert found.bias.median == pytest.approx(-2.1176, abs=1e-4)
    assert (found.bias.lower, found.bias.upper) == pytest.approx((-22.05, 17.81), abs=0.01)
    assert (found.lower_limit.median, found.upper_limit.median) == pytest.approx(
        (-79.65, 75.41), abs=0.01
    )
    assert (found.lower_limit.lower, found.lower_limit.upper) == pytest.approx(
        (-114.2, -45.1), abs=0.05
    )
    assert (found.upper_limit.lower, found.upper_limit.upper) == pytest.approx(
        (40.9, 109.9), abs=0.05
    )


def test_later_papers_limits_lie_at_one_point_nine_six():
    found = agreement(FIRST_METER[0], SECOND_METER[0])

    assert (found.lower_limit.median, found.upper_limit.median) == pytest.approx(
        (-78.10, 73.86), abs=0.01
    )


def test_repeatability_is_that_of_the_paper():
    # Printed 43.2 and 56.4, the paper having rounded on the way; 43.29 and 56.32 from its table.
    first, second = within_sd(*FIRST_METER), within_sd(*SECOND_METER)

    assert (first, second) == pytest.approx((15.31, 19.91), abs=0.005)
    assert 2 * np.sqrt(2) * np.array([first, second]) == pytest.approx([43.29, 56.32], abs=0.01)


def test_intraclass_correlations_are_those_of_the_paper():
    # Printed .17 .29 .71 and .44 .62 .91; R's psych 2.2.9 to five digits, with the interval.
    found = intraclass_correlation(JUDGES, interval_prob=0.95)

    assert (found.one_way, found.absolute.median, found.consistency) == pytest.approx(
        (0.16574, 0.28976, 0.71484), abs=1e-5
    )
    assert (found.mean_one_way, found.mean_absolute, found.mean_consistency) == pytest.approx(
        (0.44280, 0.62005, 0.90932), abs=1e-5
    )
    assert (found.absolute.lower, found.absolute.upper) == pytest.approx(
        (0.01879, 0.76108), abs=1e-4
    )


@pytest.mark.parametrize("n", [5, 12, 40])
def test_ninety_percent_intervals_of_bias_and_limit_hold_their_promise(n):
    # Simulated pairs with bias 3 and sd 8: the interval of the mean is exact, that of a limit
    # approximate (Bland & Altman 1986 call it so). 4,000 data sets: error 0.5 points.
    rng = np.random.default_rng(n)
    differences = rng.normal(3.0, 8.0, (4_000, n))
    found = [agreement(row, np.zeros(n)) for row in differences]

    bias = np.mean([one.bias.lower <= 3.0 <= one.bias.upper for one in found])
    limit = np.mean(
        [one.upper_limit.lower <= 3.0 + 1.96 * 8.0 <= one.upper_limit.upper for one in found]
    )
    assert bias == pytest.approx(0.90, abs=4 * np.sqrt(0.09 / 4_000))
    assert 0.86 <= limit <= 0.93


def test_the_interval_of_absolute_agreement_holds_its_promise():
    # Between samples sd 8, between four readers 4, reading 6: ICC 64 / 116. 3,000 tables of 20.
    rng = np.random.default_rng(4)
    covered = 0
    for _ in range(3_000):
        table = rng.normal(0, 8, (20, 1)) + rng.normal(0, 4, (1, 4)) + rng.normal(0, 6, (20, 4))
        found = intraclass_correlation(table).absolute
        covered += found.lower <= 64 / 116 <= found.upper

    # Satterthwaite's approximation; simulation error 0.5 points.
    assert 0.88 <= covered / 3_000 <= 0.93


@given(arrays(float, (2, 8), elements=st.floats(0, 100)))
def test_exchanging_the_readers_turns_the_difference_round(readings):
    there, back = agreement(*readings), agreement(*readings[::-1])

    assert there.bias.median == pytest.approx(-back.bias.median)
    assert there.lower_limit.median == pytest.approx(-back.upper_limit.median)


def test_equal_readings_agree_wholly():
    readings = [60.0, 70.0, 85.0, 40.0]

    assert agreement(readings, readings).upper_limit.median == 0.0
    assert intraclass_correlation(np.array([readings, readings]).T).absolute.lower == 1.0


@given(arrays(float, (6, 2), elements=st.integers(0, 20).map(lambda step: 5.0 * step)))
def test_a_reader_s_level_counts_in_absolute_agreement_alone(readings):
    if np.ptp(readings.mean(axis=1)) == 0.0:
        return
    plain = intraclass_correlation(readings)
    shifted = intraclass_correlation(readings + np.array([0.0, 1000.0]))

    assert plain.absolute.upper <= 1.0
    assert shifted.consistency == pytest.approx(plain.consistency, abs=1e-6)
    assert abs(shifted.absolute.median) < 0.02


def test_a_sample_that_one_has_not_read_is_left_out():
    found = agreement([1.0, 2.0, 3.0, np.nan], [1.0, 2.5, 3.0, 9.0])

    assert found.n_samples == 3


def test_readers_who_contradict_each_other_wholly_have_no_mean_to_agree_on():
    # Mean squares of samples 16, readers 4, error 36: (16 - 36) / (16 + 36 + 4 - 36) is -1, and
    # by Spearman & Brown the mean of two readers has 2 (-1) / (1 - 1).
    found = intraclass_correlation([[6.0, -2.0], [-4.0, 0.0]])

    assert found.absolute.median == -1.0
    assert np.isnan(found.mean_absolute)
    assert found.mean_consistency == pytest.approx(1.0 - 36.0 / 16.0)


def test_too_little_to_compare_is_refused():
    with pytest.raises(ValueError, match="3 samples evaluated by both"):
        agreement([1.0, 2.0], [1.0, 2.0])
    with pytest.raises(ValueError, match="2 samples by 2 evaluators"):
        intraclass_correlation([[1.0, 2.0]])
    with pytest.raises(ValueError, match="the same value"):
        intraclass_correlation(np.ones((3, 2)))


@pytest.mark.parametrize("shapes", [((4, 2), (4, 2)), ((4,), (5,))])
def test_readings_are_two_rows_of_one_length(shapes):
    first, second = (np.ones(shape) for shape in shapes)

    with pytest.raises(ValueError, match="two rows of the same length"):
        agreement(first, second)
