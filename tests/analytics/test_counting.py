"""Counting against printed tables, worked examples and statsmodels."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, chi2, nbinom, poisson
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from studcurve.analytics.measures.counting import (
    DILUTION_GUIDE,
    LEAST_SHARE_VARIANCE,
    NEUBAUER_NL,
    cells_for_error,
    concentration_interval_m_per_ml,
    concentration_m_per_ml,
    count_interval,
    dispersion_over_squares,
    exact_interval,
    exact_share,
    max_count_difference,
    max_percentage_difference,
    poisson_interval,
    sampling_error_pct,
    share_difference_interval,
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


# WHO manual 2010, table 2.4: sums of two counts up to which each difference is acceptable, rows
# from memory.
COUNT_TABLE = {
    40: 12, 47: 13, 54: 14, 62: 15, 70: 16, 79: 17, 89: 18, 98: 19, 109: 20, 120: 21, 131: 22,
    143: 23, 156: 24, 169: 25, 182: 26, 196: 27, 211: 28, 226: 29, 242: 30, 258: 31, 274: 32,
    292: 33, 309: 34, 328: 35, 346: 36, 366: 37, 385: 38, 406: 39, 426: 40, 448: 41, 470: 42,
    492: 43, 515: 44, 538: 45, 562: 46, 587: 47, 612: 48, 637: 49, 663: 50,
}  # fmt: skip


def test_every_recalled_row_of_the_count_table_comes_out():
    sums = np.arange(35, 664)
    wanted = [next(limit for upto, limit in COUNT_TABLE.items() if n <= upto) for n in sums]

    assert max_count_difference(sums, 0).tolist() == wanted


# WHO manual 2010, table 2.1: averages up to which each difference is acceptable, from memory.
PERCENTAGE_TABLE = {
    0: 1, 1: 2, 2: 3, 4: 4, 7: 5, 11: 6, 16: 7, 23: 8, 34: 9, 65: 10, 76: 9, 83: 8, 88: 7, 92: 6,
    95: 5, 97: 4, 98: 3, 99: 2, 100: 1,
}  # fmt: skip


def test_every_recalled_row_of_the_percentage_table_comes_out():
    averages = np.arange(101)
    wanted = [next(most for upto, most in PERCENTAGE_TABLE.items() if n <= upto) for n in averages]

    assert max_percentage_difference(averages, averages).tolist() == wanted


def test_the_parts_of_a_chamber_hold_their_volume():
    # Improved Neubauer: 0.1 mm deep; 1 mm² has 5 rows of 5 squares; 1 mm³ is 1,000 nL.
    grid_nl = 1.0 * 0.1 * 1000.0

    assert dict(NEUBAUER_NL) == pytest.approx(
        {"grid": grid_nl, "row": grid_nl / 5, "square": grid_nl / 25}
    )


def test_the_dilutions_are_those_of_the_guideline():
    # ESHRE guidelines 2002 (secondary): sperm in a field at 40×, up to; times.
    assert ((15, 5), (40, 10), (200, 20), (np.inf, 50)) == DILUTION_GUIDE


def test_a_judged_share_is_never_surer_than_one_sperm_in_five_hundred():
    assert pytest.approx(1 / 500) == LEAST_SHARE_VARIANCE


def test_a_share_of_nothing_is_none():
    assert exact_share(0, 0) is None
    assert exact_share(3, 10).median == pytest.approx(0.3)


def test_two_squares_are_enough_and_one_says_nothing_of_clumps():
    # Variance of 3 and 5 is 2, their mean 4.
    assert dispersion_over_squares([3, 5]).index == pytest.approx(0.5)
    with pytest.raises(ValueError, match="two squares and one cell"):
        dispersion_over_squares([4])


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


def test_a_count_of_none_may_have_been_drawn_from_none():
    assert poisson_interval([0, 1], 0.95)[0] == pytest.approx([0.0, -np.log(0.975)], abs=1e-12)


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


@pytest.mark.parametrize(
    ("x", "n", "lower", "upper"), [(224, 285, 0.735, 0.830), (45, 67, 0.553, 0.772)]
)
def test_score_intervals_of_published_groups(x, n, lower, upper):
    # 224 litters of 285 matings: Gavrilovic 2008, Theriogenology 70:783-794; 45 of 67 chilled:
    # Cochran et al. 2023, Top Companion Anim Med; intervals by the formula (D).
    assert wilson_interval(x, n, 0.95).tolist() == pytest.approx([lower, upper], abs=5e-4)


@pytest.mark.parametrize(
    ("n_seen", "n_checked", "lower", "upper"),
    [((56, 48), (70, 80), 0.0524, 0.3339), ((9, 3), (10, 10), 0.1705, 0.8090)],
)
def test_differences_of_shares_are_those_of_newcombe(n_seen, n_checked, lower, upper):
    # Newcombe 1998, Statistics in Medicine 17:873-890, method 10 (M); statsmodels agrees below.
    difference, *ends = share_difference_interval(n_seen, n_checked, 0.95)

    assert difference == pytest.approx(n_seen[0] / n_checked[0] - n_seen[1] / n_checked[1])
    assert ends == pytest.approx([lower, upper], abs=5e-5)


@given(
    st.integers(1, 200), st.integers(1, 200), st.floats(0, 1), st.floats(0, 1),
    st.sampled_from([0.8, 0.9, 0.95]),
)  # fmt: skip
def test_differences_of_shares_agree_with_statsmodels(n_first, n_second, first, second, prob):
    n_seen = round(first * n_first), round(second * n_second)

    _, *ends = share_difference_interval(n_seen, (n_first, n_second), prob)

    theirs = confint_proportions_2indep(
        n_seen[0], n_first, n_seen[1], n_second, method="newcomb", compare="diff", alpha=1 - prob
    )
    assert ends == pytest.approx(theirs, abs=1e-9)


@given(st.integers(1, 400), st.floats(0, 1), st.sampled_from([0.8, 0.9, 0.95]))
def test_share_intervals_agree_with_statsmodels(n, share, prob):
    x = round(share * n)

    wilson = proportion_confint(x, n, 1 - prob, "wilson")
    exact = proportion_confint(x, n, 1 - prob, "beta")
    assert wilson_interval(x, n, prob).tolist() == pytest.approx(wilson, abs=1e-12)
    assert exact_interval(x, n, prob).tolist() == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("n", [20, 100, 200])
@pytest.mark.parametrize("prob", [0.80, 0.90, 0.95])
def test_the_exact_interval_covers_at_least_as_often_as_it_says(n, prob):
    p = np.linspace(0.005, 0.995, 199)

    assert _coverage(exact_interval, n, p, prob).min() >= prob


@pytest.mark.parametrize("n", [20, 100, 200])
def test_the_score_interval_covers_ninety_percent_on_average(n):
    # It promises the average, not the worst: enumerated over shares of 0.5 to 99.5 %.
    covered = _coverage(wilson_interval, n, np.linspace(0.005, 0.995, 199), 0.90)

    assert 0.895 <= covered.mean() <= 0.92


def _coverage(interval, n, p, prob):
    """Exact coverage at every share p."""
    x = np.arange(n + 1)
    lower, upper = interval(x, n, prob)
    held = (lower[:, None] <= p) & (p <= upper[:, None])
    return (binom.pmf(x[:, None], n, p) * held).sum(axis=0)


@pytest.mark.parametrize("mean", np.array([0.02, 0.5, 1, 3, 8, 20, 60, 150]))
def test_poisson_intervals_cover_at_least_as_often_as_they_say(mean):
    n = np.arange(600)
    lower, upper = poisson_interval(n, 0.90)

    assert poisson.pmf(n, mean)[(lower <= mean) & (mean <= upper)].sum() >= 0.90


@pytest.mark.parametrize("mean", [0.5, 3.0, 20.0, 80.0, 300.0])
@pytest.mark.parametrize("extra_cv", [0.06, 0.15])
def test_a_home_count_s_interval_covers_with_its_extra_error(mean, extra_cv):
    # Gamma mixing: a count whose mean itself varies is negative binomial; enumerated exactly.
    n = np.arange(2_000)
    shape = 1 / extra_cv**2
    weight = nbinom.pmf(n, shape, shape / (shape + mean))
    lower, upper = count_interval(n, extra_cv=extra_cv, interval_prob=0.90)

    covered = weight[(lower <= mean) & (mean <= upper)].sum()
    # At least as promised where Poisson dominates; the log scale costs a little at large counts.
    assert 0.89 <= covered <= 1.0
    assert covered <= 0.94 or mean < 20


def test_no_cell_seen_bounds_the_concentration_by_what_was_looked_at():
    # 0 cells in 5 squares of 4 nL at 1:2: at most 3.0 cells in 10 nL, widened by 15 %.
    low, high = concentration_interval_m_per_ml(0, 5, 4.0, 2, extra_cv=0.15)

    assert low == 0.0
    assert high == pytest.approx(-np.log(0.05) * 2 / 20 * np.exp(1.6449 * 0.15), rel=1e-4)


@given(st.integers(0, 2_000), st.floats(0.01, 0.3))
def test_extra_error_never_narrows_a_count(n, extra_cv):
    exact, widened = poisson_interval(n), count_interval(n, extra_cv=extra_cv)

    assert widened[0] <= exact[0] + 1e-9 * n
    assert widened[1] >= exact[1] - 1e-9 * n


STUDENTS_YEAST = {1: 20, 2: 43, 3: 53, 4: 86, 5: 70, 6: 54, 7: 37, 8: 18, 9: 10, 10: 5, 11: 2,
                  12: 2}  # fmt: skip
"""Student 1907, Biometrika 5:351-360: yeast cells in 400 squares (from memory; the sum is 400 and
the mean the printed 4.68)."""


def test_students_yeast_cells_lie_as_evenly_as_chance_makes_them():
    squares = np.repeat(list(STUDENTS_YEAST), list(STUDENTS_YEAST.values()))
    assert (len(squares), squares.mean()) == (400, 4.68)

    found = dispersion_over_squares(squares)

    assert found.index == pytest.approx(0.955, abs=0.005)
    assert found.clumped_prob == pytest.approx(chi2.sf(found.index * 399, 399))
    assert found.clumped_prob > 0.5
    assert found.extra_cv == 0.0


def test_clumped_cells_are_found_and_their_spread_told():
    # Squares with a true spread of 40 % beyond Poisson at 30 cells a square.
    rng = np.random.default_rng(7)
    squares = rng.poisson(30 * rng.gamma(6.25, 1 / 6.25, 400))

    found = dispersion_over_squares(squares)

    assert found.clumped_prob < 1e-6
    assert found.extra_cv == pytest.approx(0.40, abs=0.04)


@pytest.mark.parametrize("mean", [2.0, 5.0, 25.0])
@pytest.mark.parametrize("n_squares", [5, 25])
def test_independent_cells_are_called_clumped_one_time_in_twenty(mean, n_squares):
    rng = np.random.default_rng(n_squares)
    squares = rng.poisson(mean, (4_000, n_squares))
    squares = squares[squares.any(axis=1)]
    called = np.mean([dispersion_over_squares(row).clumped_prob < 0.05 for row in squares])

    # Simulation error 0.34 points; the approximation is a little generous at few cells.
    assert 0.03 <= called <= 0.065


@given(st.integers(0, 300), st.integers(1, 300))
def test_counts_that_agree_do_so_whichever_comes_first(first, second):
    assert max_count_difference(first, second) == max_count_difference(second, first)


def test_replicate_counts_of_one_sample_differ_too_much_five_times_in_a_hundred():
    # Enumerated for a true 100 and 300 cells a chamber: the rule's own promise.
    for mean in (100.0, 300.0):
        n = np.arange(600)
        first, second = np.meshgrid(n, n, indexing="ij")
        weight = np.outer(poisson.pmf(n, mean), poisson.pmf(n, mean))
        rejected = weight[np.abs(first - second) > max_count_difference(first, second)].sum()
        assert rejected == pytest.approx(0.05, abs=0.007)


def test_nothing_looked_at_says_nothing_and_warns_of_nothing():
    assert np.isnan(wilson_interval(0, 0)).all()
    assert np.isnan(exact_interval(0, 0)).all()


def test_squares_without_a_cell_cannot_be_clumped():
    for squares in ([3], [0, 0, 0], [1, np.nan]):
        with pytest.raises(ValueError, match="two squares and one cell"):
            dispersion_over_squares(squares)


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
