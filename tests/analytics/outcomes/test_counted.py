"""Counts on either side and by band, against scipy's own intervals and by hand."""

import numpy as np
import pytest
from scipy.stats import binomtest, t

from studcurve.analytics.outcomes.counted import (
    FEWEST_IN_BAND,
    Bred,
    banded,
    counted,
    marks,
    mean_of,
)


def litters(*values):
    return Bred("litter", np.array(values, dtype=float))


def test_a_share_stands_with_its_exact_interval_from_five_known_results_on():
    five = counted(litters(1, 1, 0, 1, 0, np.nan), np.ones(6, dtype=bool))
    four = counted(litters(1, 1, 0, 1, np.nan, np.nan), np.ones(6, dtype=bool))

    exact = binomtest(3, 5).proportion_ci(0.90, method="exact")
    assert (five.n_bred, five.n_known, five.total) == (6, 5, 3.0)
    assert (five.rate.median, five.rate.lower, five.rate.upper) == pytest.approx(
        (0.6, exact.low, exact.high)
    )
    assert (four.n_bred, four.n_known, four.total, four.rate) == (6, 4, 3.0, None)
    assert FEWEST_IN_BAND == 5


def test_a_mean_stands_with_students_interval():
    pups = np.array([3.0, 5.0, 6.0, 6.0, 9.0])

    side = counted(Bred("size", pups), np.ones(5, dtype=bool))

    low, high = t.interval(0.90, 4, loc=pups.mean(), scale=pups.std(ddof=1) / np.sqrt(5))
    assert (side.total, side.rate.median) == (29.0, pytest.approx(5.8))
    assert (side.rate.lower, side.rate.upper) == pytest.approx((low, high))
    assert mean_of(np.full(5, 4.0)).lower == 4.0


def test_only_the_chosen_are_counted():
    side = counted(litters(1, 0, 1, 1), np.array([True, True, False, False]))

    assert (side.n_bred, side.n_known, side.total) == (2, 2, 1.0)


def test_bands_hold_their_lower_edge_and_not_their_upper_one():
    values = np.array([29.9, 30.0, 49.9, 50.0, np.nan, 90.0])

    bands = banded(litters(1, 0, 1, 0, 1, np.nan), values, (30.0, 50.0, 70.0))

    assert [(band.lower, band.upper, band.side.n_bred) for band in bands] == [
        (-np.inf, 30.0, 1), (30.0, 50.0, 2), (50.0, 70.0, 1), (70.0, np.inf, 1),
    ]  # fmt: skip
    assert bands[1].middle == pytest.approx(39.95)
    assert bands[-1].side.n_known == 0


def test_an_empty_band_is_left_out():
    assert banded(litters(1), np.array([np.nan]), (30.0,)) == ()


def test_marks_are_the_breedings_of_which_both_are_known_in_order():
    found = marks(litters(1, 0, np.nan, 1), np.array([5.0, 2.0, 1.0, np.nan]))

    assert [(mark.value, mark.outcome) for mark in found] == [(2.0, 0.0), (5.0, 1.0)]
