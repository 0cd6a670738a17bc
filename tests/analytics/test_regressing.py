"""Ways of regression on any table: closed forms, simulated truth, other programs, every edge."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import expit
from scipy.stats import ttest_ind
from sklearn.model_selection import GroupKFold
from threadpoolctl import threadpool_limits

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.outcomes import regressing
from studcurve.analytics.outcomes.regressing import (
    PENALTIES,
    STRAIGHT,
    WAYS,
    Design,
    Table,
    bending,
    by_boosting,
    by_equations,
    by_rates,
    by_ridge,
    curve_of,
    every_way,
    penalized,
    predicted_left_out,
    within_and_between,
)
from studcurve.analytics.sentences import Sentence


@pytest.fixture(autouse=True, scope="module")
def on_one_core():
    """Small matrices wait for each other on several."""
    with threadpool_limits(limits=1):
        yield


def bent(x):
    """Log odds, or log pups, that go with an exposure whose best is 0: up to it and down again."""
    return -0.35 * x**2


def simulated(seed, n_clusters=500, n_each=4, outcome="litter", bitch_sd=0.0):
    """A table whose exposure goes with a column that spoils results by itself, and its truth.

    The truth is the mean over the poor side of what each row's mean is at the best value, less what
    it is as recorded, from the means that the results were drawn from.
    """
    rng = np.random.default_rng(seed)
    cluster = np.repeat(np.arange(n_clusters), n_each)
    n = len(cluster)
    spoiled = rng.random(n) < 0.5
    x = rng.normal(np.where(spoiled, 1.2, 0.0), 0.8)
    other = rng.normal(size=n) + 0.4 * x
    own = bitch_sd * rng.normal(size=n_clusters)[cluster]

    def mean(values):
        if outcome == "size":
            return np.exp(1.8 - 0.6 * spoiled + 0.1 * other + 0.3 * bent(values))
        return expit(1.8 - 2.6 * spoiled + 0.3 * other + bent(values) + own)

    draw = rng.poisson if outcome == "size" else rng.binomial
    observed = draw(mean(x)) if outcome == "size" else draw(1, mean(x))
    side = (np.abs(x) > 1.0).astype(int)
    table = Table(
        outcome=outcome, observed=observed.astype(float), exposure=x, best=np.zeros(n), side=side,
        beside=np.column_stack([np.ones(n), spoiled]), others=other[:, None], cluster=cluster,
        drawn=np.ones(n, dtype=bool), grid=(-1.0, 0.0, 1.0, 9.0),
    )  # fmt: skip
    poor = side == 1
    truth = float((mean(np.zeros(n)) - mean(x))[poor].mean())
    curve = [float(mean(np.full(n, position)).mean()) for position in table.grid[:3]]
    return table, truth, curve


def error_of(estimate):
    return (estimate.upper - estimate.lower) / (2 * 1.645)


def first_rows(table, n):
    """The same table cut short."""
    parts = ("observed", "exposure", "best", "side", "beside", "others", "cluster", "drawn")
    return replace(table, **{part: getattr(table, part)[:n] for part in parts})


@pytest.mark.parametrize("outcome", ["litter", "size"])
def test_every_regression_finds_the_truth_that_plain_rates_miss(outcome):
    table, truth, curve = simulated(4, outcome=outcome)

    found = every_way(table, seed=1)

    gee, plain = found["gee"], found["rates"]
    error = error_of(gee.difference)
    assert gee.shape == "spline"
    assert gee.n_poor == (table.side == 1).sum()
    assert gee.difference.median == pytest.approx(truth, abs=4 * error)
    # What goes with the poor side spoils results as well: plain rates put it on the exposure.
    assert plain.difference.median > truth + 4 * error
    # The penalty and the trees shrink a little; both stay far nearer than the rates do.
    off = plain.difference.median - truth
    assert found["ridge"].difference == pytest.approx(truth, abs=4 * error)
    assert abs(found["boosting"].difference - truth) < off / 2
    for way in ("gee", "ridge", "boosting"):
        # Means over all rows are surer than a difference over some of them.
        assert list(found[way].curve[:3]) == pytest.approx(curve, abs=6 * error), way
        assert found[way].curve[3] is None


@pytest.mark.slow
@pytest.mark.parametrize("outcome", ["litter", "size"])
def test_ranges_of_the_equations_hold_nine_times_in_ten(outcome):
    # 300 kennels of 70 bitches; the bitches' own effects move the mean between them by little.
    held = []
    for seed in range(300):
        table, truth, _ = simulated([7, seed], n_clusters=70, outcome=outcome)
        found = by_equations(table)
        held.append(found.difference.lower <= truth <= found.difference.upper)

    assert np.mean(held) == pytest.approx(0.9, abs=3 * np.sqrt(0.9 * 0.1 / 300))


def test_means_of_either_side_are_compared_as_welch_does():
    rng = np.random.default_rng(2)
    n = 30
    side = (np.arange(n) < 9).astype(int)
    table = replace(
        simulated(0, n_clusters=n, n_each=1, outcome="size")[0], side=side,
        observed=rng.poisson(6.0 - 2.0 * side).astype(float),
    )  # fmt: skip

    found = by_rates(table).difference

    theirs = ttest_ind(
        table.observed[side == 0], table.observed[side == 1], equal_var=False
    ).confidence_interval(0.9)
    assert (found.lower, found.upper) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_means_need_two_litters_of_a_side_that_differ():
    table = simulated(0, n_clusters=12, n_each=1, outcome="size")[0]
    two, one = (replace(table, side=(np.arange(12) < n).astype(int)) for n in (2, 1))
    alike = replace(two, observed=np.where(two.side == 1, 4.0, 6.0))

    assert isinstance(by_rates(two).difference, Estimate)
    assert by_rates(one).difference.key == "regress.few_a_side"
    assert dict(by_rates(one).difference.values) == {"n": 1, "wanted": 2}
    assert by_rates(alike).difference.key == "regress.alike"
    # One share of one breeding has a range: nearly all of it.
    litters = simulated(0, n_clusters=12, n_each=1)[0]
    wide = by_rates(replace(litters, side=one.side)).difference
    assert wide.upper - wide.lower > 0.6


def test_why_no_way_can_compare_is_told_before_any_tries():
    table = simulated(0, n_clusters=40)[0]
    n = len(table.observed)
    nothing = np.full(n, np.nan)
    tables = {
        "regress.no_result": replace(table, observed=nothing),
        "regress.not_recorded": replace(table, exposure=nothing),
        "regress.none_poor": replace(table, side=np.zeros(n, dtype=int)),
        "regress.none_other": replace(table, side=np.ones(n, dtype=int)),
    }

    for key, one in tables.items():
        found = every_way(one, seed=1)
        assert {way: answer.difference.key for way, answer in found.items()} == dict.fromkeys(
            WAYS, key
        )
        assert within_and_between(one, np.zeros(n, dtype=int), unit=1.0).key == key


def test_what_is_not_recorded_is_counted_and_not_read():
    table = simulated(5, n_clusters=60)[0]
    n = len(table.observed)
    exposure, observed, best = table.exposure.copy(), table.observed.copy(), table.best.copy()
    exposure[:30], observed[30:50], best[50:53] = np.nan, np.nan, np.nan
    exposure[50:53] = np.nan
    gappy = replace(table, exposure=exposure, observed=observed, best=best)
    kept = np.r_[53:n]
    parts = ("observed", "exposure", "best", "side", "beside", "others", "cluster", "drawn")
    without = replace(table, **{part: getattr(table, part)[kept] for part in parts})

    for way, answer in every_way(gappy, seed=1).items():
        assert (answer.n_read, answer.n_missing) == (n - 53, 30), way
        whole = every_way(without, seed=1)[way].difference
        if isinstance(whole, Estimate):
            assert answer.difference.median == pytest.approx(whole.median, abs=1e-9)
        elif isinstance(whole, float):
            assert answer.difference == pytest.approx(whole, abs=1e-9)
        else:
            assert answer.difference == whole


def test_the_line_bends_from_five_different_values():
    assert bending(np.array([1.0, 2.0, 3.0, 4.0, 4.0])) == STRAIGHT
    assert bending(np.array([1.0, 2.0, 3.0, 4.0, 9.0])).knots == (1.0, 3.0, 9.0)
    assert bending(np.empty(0)) == STRAIGHT


def test_a_bent_line_is_a_natural_cubic_spline():
    # Second route: the truncated cubes of Hastie, Tibshirani & Friedman 2009, equations 5.4 and
    # 5.5, make up the same lines.
    basis = bending(np.linspace(-2.0, 5.0, 30))
    low, middle, high = basis.knots
    x = np.linspace(-4.0, 8.0, 61)

    def d(knot):
        return (np.maximum(x - knot, 0) ** 3 - np.maximum(x - high, 0) ** 3) / (high - knot)

    cubes = np.column_stack([np.ones(61), x, d(low) - d(middle)])
    columns = np.column_stack([np.ones(61), basis.columns(x)])
    fitted, _, rank, _ = np.linalg.lstsq(cubes, columns, rcond=None)
    np.testing.assert_allclose(cubes @ fitted, columns, atol=1e-9)
    assert rank == np.linalg.matrix_rank(columns) == 3
    assert len(basis.columns(np.empty(0))) == 0


def test_the_equations_ask_for_less_where_there_are_fewer_results():
    # Columns of the designs: 2 beside, 1 other, 2 or 1 of the exposure: 5, 4 and 3; five of the
    # rarer result each.
    table = simulated(3, n_clusters=200, n_each=1)[0]
    shapes = {}
    for n_rarer in (25, 24, 20, 19, 15, 14):
        misses, litters = (np.flatnonzero(table.observed == kind) for kind in (0, 1))
        kept = np.sort(np.r_[misses[:n_rarer], litters[:70]])
        parts = ("observed", "exposure", "best", "side", "beside", "others", "cluster", "drawn")
        found = by_equations(replace(table, **{p: getattr(table, p)[kept] for p in parts}))
        shapes[n_rarer] = found.shape or found.difference

    assert [shapes[n] for n in (25, 24, 20, 19, 15)] == [
        "spline", "straight", "straight", "alone", "alone",
    ]  # fmt: skip
    assert shapes[14].key == "regress.few_litter"
    assert dict(shapes[14].values) == {"n": 14, "wanted": 15}


def test_few_bitches_get_a_sentence():
    table = simulated(3, n_clusters=200, n_each=1)[0]

    enough = by_equations(replace(table, cluster=table.cluster % 13))
    few = by_equations(replace(table, cluster=table.cluster % 12))

    assert enough.shape == "alone"
    assert few.difference.key == "regress.few_bitches"
    assert dict(few.difference.values) == {"n": 12, "wanted": 13}


def test_an_exposure_that_foretells_every_result_has_no_finite_difference():
    table = simulated(3, n_clusters=200, n_each=1)[0]
    foretold = replace(table, observed=(table.exposure < 0.5).astype(float))

    found = every_way(foretold, seed=1)

    assert found["gee"].difference.key == "regress.separated"
    # The penalty keeps the ridge finite, and a rate is a rate.
    assert isinstance(found["ridge"].difference, float)
    assert isinstance(found["rates"].difference, Estimate)


def test_rows_that_a_method_foretells_are_left_out_and_counted():
    table = simulated(3, n_clusters=300, n_each=1)[0]
    method = np.zeros(300)
    method[:10] = 1.0
    # Their values of the exposure are others' as well, so that the line bends at the same ones.
    values = ("exposure", "side")
    again = np.r_[10:20, 10:300]
    table = replace(table, **{value: getattr(table, value)[again] for value in values})
    observed = np.where(method == 1.0, 0.0, table.observed)
    with_method = replace(
        table, observed=observed, beside=np.column_stack([table.beside, method])
    )  # fmt: skip
    parts = ("observed", "exposure", "best", "side", "beside", "others", "cluster", "drawn")
    without = replace(table, **{part: getattr(table, part)[10:] for part in parts})

    found, expected = by_equations(with_method), by_equations(without)

    assert (found.n_separated, found.n_read) == (10, 290)
    assert found.n_poor == (table.side[10:] == 1).sum()
    assert found.difference.median == pytest.approx(expected.difference.median, abs=1e-9)
    assert found.difference.lower == pytest.approx(expected.difference.lower, abs=1e-9)
    # The curve is over the rows whose mean can be told: those without the method.
    assert found.curve[1] == pytest.approx(expected.curve[1], abs=1e-9)


def test_rows_of_a_method_of_one_bitch_are_left_out_and_counted():
    table = simulated(3, n_clusters=100, n_each=4)[0]
    hers = (table.cluster == 7).astype(float)
    observed = table.observed.copy()
    observed[hers == 1] = [0, 1, 1, 0]
    found = by_equations(
        replace(table, observed=observed, beside=np.column_stack([table.beside, hers]))
    )

    assert (found.n_lone, found.n_separated) == (4, 0)
    assert found.n_read == 396


def test_an_exposure_that_one_bitch_alone_could_tell_has_no_range():
    table = simulated(3, n_clusters=100, n_each=4)[0]
    of_one = np.where(table.cluster == 7, np.tile([0.0, 1.0], 200), 0.0)
    observed = table.observed.copy()
    observed[table.cluster == 7] = [0, 1, 1, 0]

    found = by_equations(
        replace(table, exposure=of_one, side=(of_one > 0).astype(int), observed=observed)
    )

    assert found.difference.key == "regress.lone"


def test_an_exposure_that_a_method_makes_up_is_not_told_apart():
    table = simulated(3, n_clusters=200, n_each=1)[0]
    method = table.beside[:, 1]
    found = by_equations(replace(table, exposure=3.0 * method, side=method.astype(int)))

    assert found.difference.key == "regress.collinear"


@pytest.mark.parametrize("outcome", ["litter", "size"])
def test_a_ridge_is_the_maximum_of_its_penalized_likelihood(outcome):
    # Second route: scipy's minimizer of the same sum, written out.
    table = simulated(6, n_clusters=50, outcome=outcome)[0]
    columns = np.column_stack([table.beside, table.others, table.exposure])
    y, n = table.observed, len(table.observed)
    z = (columns - columns.mean(axis=0)) / np.where(columns.std(axis=0) > 0, columns.std(axis=0), 1)

    def penalized_sum(theta):
        eta = theta[0] + z @ theta[1:]
        lost = np.logaddexp(0, eta) - y * eta if outcome == "litter" else np.exp(eta) - y * eta
        return lost.mean() + 0.1 / 2 * (theta[1:] ** 2).sum()

    best = minimize(penalized_sum, np.zeros(5), tol=1e-12).x
    eta = best[0] + z @ best[1:]

    found = regressing._ridge(outcome, columns, y, 0.1)(columns)

    assert n == 200
    expected = expit(eta) if outcome == "litter" else np.exp(eta)
    # The minimizer's gradient is by differences: good to about 10⁻⁶.
    np.testing.assert_allclose(found, expected, atol=2e-5)


@pytest.mark.parametrize("outcome", ["litter", "size"])
def test_the_penalty_is_the_one_that_predicts_left_out_bitches_best(outcome):
    table = simulated(6, n_clusters=40, outcome=outcome)[0]
    columns = np.column_stack([table.beside, table.others, table.exposure])
    y = table.observed
    losses = []
    for penalty in PENALTIES:
        predicted = np.empty(len(y))
        for train, test in GroupKFold(5).split(columns, groups=table.cluster):
            fitted = regressing._ridge(outcome, columns[train], y[train], penalty)
            predicted[test] = fitted(columns[test])
        lost = (
            -(y * np.log(predicted) + (1 - y) * np.log1p(-predicted))
            if outcome == "litter"
            else predicted - y * np.log(predicted)
        )
        losses.append(lost.mean())

    found = penalized(outcome, columns, y, table.cluster)

    best = regressing._ridge(outcome, columns, y, PENALTIES[int(np.argmin(losses))])
    np.testing.assert_allclose(found(columns), best(columns), atol=1e-12)
    # Neither end of what is tried is chosen here.
    assert 0 < np.argmin(losses) < len(PENALTIES) - 1 or outcome == "size"


def test_penalties_are_tried_in_half_powers_of_ten():
    roots = [1.0, 10.0**0.5]
    expected = [power * root for power in (1e-3, 1e-2, 1e-1, 1.0) for root in roots]
    assert list(PENALTIES) == pytest.approx([*expected, 10.0])


def test_a_ridge_is_fitted_from_sixty_known_results_of_two_bitches():
    table = first_rows(simulated(6)[0], 60)

    assert isinstance(by_ridge(table).difference, float)
    fewer = by_ridge(first_rows(table, 59)).difference
    assert fewer.key == "regress.few_known"
    assert dict(fewer.values) == {"n": 59, "wanted": 60}
    alone = by_ridge(replace(table, cluster=np.zeros(60, dtype=int))).difference
    assert dict(alone.values) == {"n": 1, "wanted": 2}
    two = np.arange(60) % 2
    assert isinstance(by_ridge(replace(table, cluster=two)).difference, float)
    # Both results in each part, or there is nothing to learn from it.
    missed = np.where(two == 0, table.observed, 1.0)
    assert by_ridge(replace(table, cluster=two, observed=missed)).difference.key == (
        "regress.one_kind"
    )


def test_a_ridge_of_two_bitches_cannot_leave_one_of_them_out():
    rng = np.random.default_rng(4)
    y = (rng.random(80) < 0.5).astype(float)
    designs = {"straight": rng.normal(size=(80, 2))}

    found = predicted_left_out(designs, y, np.arange(80) % 2, seed=1)

    assert "ridge" not in found.ways
    assert dict(found.why_not["ridge"].values) == {"n": 1, "wanted": 2}


def test_trees_are_grown_from_a_thousand_known_results():
    table = first_rows(simulated(6)[0], 1000)

    found = by_boosting(table, seed=1)
    fewer = by_boosting(first_rows(table, 999), seed=1)

    assert isinstance(found.difference, float)
    assert found.shape is None
    assert dict(fewer.difference.values) == {"n": 999, "wanted": 1000}
    assert by_boosting(replace(table, observed=np.ones(1000)), seed=1).difference.key == (
        "regress.one_kind"
    )
    assert by_boosting(table, seed=1) == found


def test_a_curve_is_read_over_drawn_rows_within_what_was_read_of_them():
    table = simulated(6, n_clusters=60)[0]
    drawn = np.arange(240) < 40
    low, high = table.exposure[:40].min(), table.exposure[:40].max()
    some = replace(table, drawn=drawn, grid=(low - 0.01, low, 0.0, high, high + 0.01))

    found = curve_of(some, lambda exposure, rows: exposure[rows] + table.others[rows, 0])

    own = table.others[:40, 0].mean()
    assert (found[0], found[4]) == (None, None)
    assert list(found[1:4]) == pytest.approx([low + own, own, high + own])
    nobody = replace(some, drawn=np.zeros(240, dtype=bool))
    assert curve_of(nobody, lambda exposure, rows: exposure[rows]) == (None,) * 5
    untold = curve_of(some, lambda exposure, rows: np.full(rows.sum(), np.nan))
    assert untold == (None,) * 5


def of_studs(seed, within, between, n_studs=40, n_each=50):
    """Breedings of studs whose means of the exposure go with results in another way."""
    rng = np.random.default_rng(seed)
    stud = np.repeat(np.arange(n_studs), n_each)
    n = len(stud)
    mean = rng.normal(size=n_studs)[stud]
    deviation = rng.normal(size=n)
    x = mean + deviation
    prob = expit(0.2 + within * deviation + between * mean)
    return Table(
        "litter", (rng.random(n) < prob).astype(float), x, np.full(n, 1.0), (x < 0).astype(int),
        np.ones((n, 1)), np.empty((n, 0)), np.arange(n) // 2, np.zeros(n, dtype=bool),
    ), stud, prob  # fmt: skip


def test_what_differs_within_studs_is_told_apart_from_what_differs_between_them():
    # Inside a stud more goes with fewer litters, between studs with more.
    table, stud, prob = of_studs(1, within=-0.5, between=0.8)

    found = within_and_between(table, stud, unit=2.0)

    logit = np.log(prob / (1 - prob))
    for side, slope in ((found.within, -0.5), (found.between, 0.8)):
        # A unit is two here: from one below to one above.
        truth = (expit(logit + slope) - expit(logit - slope)).mean()
        # The mean of fifty stands for his true mean, which draws one to the other by a fiftieth.
        assert side.median == pytest.approx(truth, abs=4 * error_of(side))
    assert found.within.upper < 0.0 < found.between.lower
    assert (found.n_read, found.n_studs) == (2000, 40)


def test_studs_are_compared_from_two_of_five_results_and_one_on_both_sides():
    table, stud, _ = of_studs(1, within=-0.5, between=0.8, n_studs=2, n_each=100)
    n = len(stud)
    kept = np.r_[0:100, 100:105]
    parts = ("observed", "exposure", "best", "side", "beside", "others", "cluster", "drawn")
    five = replace(table, **{part: getattr(table, part)[kept] for part in parts})
    four = replace(five, **{part: getattr(five, part)[:-1] for part in parts})

    assert not isinstance(within_and_between(five, stud[kept], unit=1.0), Sentence)
    few = within_and_between(four, stud[kept][:-1], unit=1.0)
    assert few.key == "regress.few_studs"
    assert dict(few.values) == {"n": 1, "wanted": 2}
    # Results that are not known, or beside no exposure, do not count.
    unknown = replace(five, observed=np.where(np.arange(105) == 104, np.nan, five.observed))
    assert within_and_between(unknown, stud[kept], unit=1.0).key == "regress.few_studs"
    apart = replace(table, side=stud)
    assert within_and_between(apart, stud, unit=1.0).key == "regress.one_sided"
    once = replace(table, side=np.where(np.arange(n) == 0, 1 - stud, stud))
    assert within_and_between(once, stud, unit=1.0) == within_and_between(table, stud, unit=1.0)


def test_studs_whose_means_a_method_tells_are_not_told_apart():
    table, stud, _ = of_studs(1, within=-0.5, between=0.8, n_studs=2, n_each=100)
    by_method = replace(table, beside=np.column_stack([table.beside, stud]))

    assert within_and_between(by_method, stud, unit=1.0).key == "regress.collinear"


def columns_by_shape(table):
    return {
        shape: Design(table, shape, basis).as_recorded(table.is_read)
        for shape, basis in (
            ("spline", bending(table.exposure)), ("straight", STRAIGHT), ("alone", STRAIGHT),
        )
    }  # fmt: skip


def test_every_bitch_is_predicted_from_the_others_and_scored_as_written_out():
    table, _, _ = simulated(9, n_clusters=80)
    designs = columns_by_shape(table)
    y, cluster = table.observed, table.cluster

    found = predicted_left_out(designs, y, cluster, seed=1)

    assert set(found.ways) == {"rates", "gee", "ridge"}
    assert dict(found.why_not["boosting"].values) == {"n": 320, "wanted": 1000}
    for way, chances in found.ways.items():
        lost = -(y * np.log(chances) + (1 - y) * np.log1p(-chances)).mean()
        assert found.log_loss[way] == pytest.approx(lost, abs=1e-12)
        assert found.brier[way] == pytest.approx(((chances - y) ** 2).mean(), abs=1e-12)
    assert found.log_loss["gee"] < found.log_loss["rates"]
    # Second route: what a bitch did has no say in what is predicted of her.
    hers = cluster == np.flatnonzero(np.bincount(cluster, weights=y) == 3.0)[0]
    turned = predicted_left_out(designs, np.where(hers, 1 - y, y), cluster, seed=1)
    for way in found.ways:
        np.testing.assert_allclose(turned.ways[way][hers], found.ways[way][hers], atol=1e-12)
        assert np.abs(turned.ways[way][~hers] - found.ways[way][~hers]).max() > 1e-6
    # The plain way: a litter and a miss between them added to all others' results.
    for train, test in GroupKFold(5).split(y, groups=cluster):
        expected = (y[train].sum() + 0.5) / (len(train) + 1)
        np.testing.assert_allclose(found.ways["rates"][test], expected)


def test_what_the_equations_cannot_tell_of_a_left_out_bitch_is_counted():
    table, _, _ = simulated(9, n_clusters=80)
    method = (table.cluster == 3).astype(float)
    table = replace(table, beside=np.column_stack([table.beside, method]))

    found = predicted_left_out(
        columns_by_shape(table), table.observed, table.cluster, seed=1
    )  # fmt: skip

    assert found.n_untold == 4
    np.testing.assert_array_equal(
        found.ways["gee"][table.cluster == 3], found.ways["rates"][table.cluster == 3]
    )


def test_too_few_results_for_the_equations_of_a_part_are_told():
    table, _, _ = simulated(9, n_clusters=80)
    rare = np.zeros(320)
    rare[::30] = 1.0

    found = predicted_left_out(
        columns_by_shape(table), rare, table.cluster, seed=1
    )  # fmt: skip

    assert found.why_not["gee"].key == "regress.few_litter"
    assert "gee" not in found.log_loss
