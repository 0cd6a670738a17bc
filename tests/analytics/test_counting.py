"""Counting against printed tables, worked examples and statsmodels."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

from analytics.counting import (
    cells_for_error,
    concentration_m_per_ml,
    exact_interval,
    max_count_difference,
    max_percentage_difference,
    poisson_interval,
    poisson_upper_limit,
    sampling_error_pct,
    wilson_interval,
)


@pytest.mark.parametrize(
    ("n_cells", "n_squares", "dilution", "wanted"),
    [(50, 5, 10, 25.0), (20, 5, 10, 10.0), (50, 5, 1, 2.5), (20, 5, 1, 1.0), (500, 5, 20, 500.0),
     (187, 5, 1, 9.35)],
)  # fmt: skip
def test_a_neubauer_count_gives_the_printed_concentration(n_cells, n_squares, dilution, wanted):
    # Worked examples of a teaching sheet on the improved Neubauer chamber: a central square is
    # 4 nL (secondary); 187 in five squares from count and geometry.
    assert concentration_m_per_ml(n_cells, n_squares, 4.0, dilution) == pytest.approx(wanted)


def test_two_rows_of_the_manual_give_the_printed_concentration():
    # WHO manual 2010, worked examples from memory: 220 and 218 in six rows of 20 nL each, 1 + 19,
    # are 36.5 M/mL; 98 and 114 in one grid of 100 nL each are 21.2 M/mL.
    assert concentration_m_per_ml(438, 12, 20.0, 20) == pytest.approx(36.5)
    assert concentration_m_per_ml(212, 2, 100.0, 20) == pytest.approx(21.2)


@pytest.mark.parametrize(
    ("first", "second", "limit", "agree"),
    [(201, 245, 41, False), (220, 218, 41, True), (98, 114, 29, True)],
)
def test_replicate_counts_agree_as_in_the_manuals_examples(first, second, limit, agree):
    # WHO manual 2010, examples 1 to 3 (from memory), reproduced by the rule.
    assert max_count_difference(first, second) == limit
    assert (abs(first - second) <= limit) is agree


@pytest.mark.parametrize(
    ("low", "high", "limit"),
    [(35, 40, 12), (90, 98, 19), (144, 156, 24), (275, 292, 33), (407, 426, 40), (638, 663, 50)],
)
def test_the_recalled_rows_of_the_count_table_come_out(low, high, limit):
    # WHO manual 2010, table 2.4, rows from memory.
    assert max_count_difference(np.array([low, high]), 0).tolist() == [limit, limit]


@pytest.mark.parametrize(
    ("first", "second", "limit", "agree"),
    [(60, 66, 10, True), (30, 50, 10, False), (37, 28, 9, True), (3, 6, 5, True)],
)
def test_percentages_agree_as_in_the_manuals_table(first, second, limit, agree):
    # WHO manual 2010, table 2.1 and its examples (from memory).
    assert max_percentage_difference(first, second) == limit
    assert (abs(first - second) <= limit) is agree


def test_the_percentage_table_stays_near_the_binomial_formula():
    average = np.arange(1, 100)
    formula = 1.96 * np.sqrt(2 * average * (100 - average) / 200)

    assert np.abs(max_percentage_difference(average, average) - formula).max() <= 1.0


@pytest.mark.parametrize(
    ("n", "lower", "upper"),
    [(0, 0, 3.689), (1, 0.025, 5.572), (3, 0.619, 8.767), (5, 1.623, 11.668), (10, 4.795, 18.390),
     (20, 12.217, 30.888)],
)  # fmt: skip
def test_poisson_intervals_are_garwoods(n, lower, upper):
    # Garwood 1936, Biometrika 28:437-442.
    assert poisson_interval(n, 0.95).tolist() == pytest.approx([lower, upper], abs=5e-4)


def test_none_seen_still_allows_three_cells():
    # The rule of three: −log(0.05) = 2.9957.
    assert poisson_upper_limit(0, 0.95) == pytest.approx(-np.log(0.05))


@pytest.mark.parametrize(
    ("x", "n", "wilson", "exact"),
    [
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0, 0.1611), (0, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_share_intervals_are_newcombes(x, n, wilson, exact):
    # Newcombe 1998, Statistics in Medicine 17:857-872.
    assert wilson_interval(x, n, 0.95).tolist() == pytest.approx(wilson, abs=5e-5)
    assert exact_interval(x, n, 0.95).tolist() == pytest.approx(exact, abs=5e-5)


@given(st.integers(1, 400), st.floats(0, 1), st.sampled_from([0.8, 0.9, 0.95]))
def test_share_intervals_agree_with_statsmodels(n, share, prob):
    x = round(share * n)

    wilson = proportion_confint(x, n, 1 - prob, "wilson")
    exact = proportion_confint(x, n, 1 - prob, "beta")
    assert wilson_interval(x, n, prob).tolist() == pytest.approx(wilson, abs=1e-12)
    assert exact_interval(x, n, prob).tolist() == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("p", [0.05, 0.3, 0.5, 0.78])
@pytest.mark.parametrize("n", [20, 100, 200])
def test_the_exact_interval_covers_at_least_as_often_as_it_says(p, n):
    x = np.arange(n + 1)
    lower, upper = exact_interval(x, n, 0.90)

    assert binom.pmf(x, n, p)[(lower <= p) & (p <= upper)].sum() >= 0.90


def test_sampling_error_and_the_count_that_reaches_it_undo_each_other():
    # WHO manual 2010: 100/√N gives 20, 14, 10, 7.1, 5, 3.2 % at 25 … 1000 cells.
    wanted = [20, 14.14, 10, 7.07, 5, 3.16]
    assert sampling_error_pct([25, 50, 100, 200, 400, 1000]) == pytest.approx(wanted, abs=0.005)
    assert cells_for_error([20, 10, 5]).tolist() == [25, 100, 400]
    assert sampling_error_pct(212) == pytest.approx(6.87, abs=0.005)


def test_a_missing_count_stays_missing():
    assert np.isnan(poisson_interval([np.nan, 3.0])[:, 0]).all()
    assert np.isnan(exact_interval([np.nan], [10.0])).all()
    assert np.isnan(max_percentage_difference(np.nan, 40.0))
