"""Estimating equations: a public table, closed forms, other programs, and what they refuse."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.special import expit
from scipy.stats import t as student_t

from studcurve.analytics.outcomes.regressing import (
    STRAIGHT,
    Design,
    Table,
    by_equations,
    by_rates,
    regressed,
)
from studcurve.analytics.trust.estimating import (
    TooFew,
    estimating_equations,
    lone_rows,
    readable,
    too_few,
)

REFERENCES = Path(__file__).parents[1] / "references"

TREND, TREND_SE = -0.0190388, 0.0019674
"""R's glm on these inseminations: log odds per hour, and its error."""


@pytest.fixture(scope="module")
def cows():
    """gpk COWSDATA, one row an insemination: 17,582 by centre and band of hours."""
    table = pd.read_csv(REFERENCES / "cows_insemination_long.csv")
    table["hours"] = table["t"].str.extract(r"(\d+)\D+(\d+)").astype(float).mean(axis=1)
    table["cell"] = np.arange(len(table))
    rows = table.loc[table.index.repeat(table["ins"])].reset_index(drop=True)
    rows["conceived"] = (rows.groupby("cell").cumcount() < rows["con"]).astype(float)
    return rows


def table_of_cows(cows, cluster):
    centres = pd.get_dummies(cows["centre"]).to_numpy(float)
    centres = np.column_stack([np.ones(len(cows)), centres[:, 1:]])
    n = len(cows)
    return Table(
        outcome="litter",
        observed=cows["conceived"].to_numpy(),
        exposure=cows["hours"].to_numpy(),
        best=np.full(n, 9.0),
        side=(cows["hours"].to_numpy() > 36.0).astype(int),
        beside=centres,
        others=np.empty((n, 0)),
        cluster=cluster,
        drawn=np.ones(n, dtype=bool),
        grid=(9.0, 57.0, 70.0),
    )


def straight(table):
    return Design(table, "straight", STRAIGHT)


def test_cow_inseminations_one_by_one_give_the_published_trend(cows):
    # Every insemination a cluster of its own: plain logistic regression, which R's glm is.
    table = table_of_cows(cows, np.arange(len(cows)))

    found = regressed(straight(table), within="independence").equations

    assert len(cows) == 17_582
    assert cows["conceived"].sum() == 2170
    assert found.estimates[-1] == pytest.approx(TREND, abs=1e-6)
    assert np.sqrt(found.plain_covariance[-1, -1]) == pytest.approx(TREND_SE, abs=1e-6)
    # What is not clustered has the same error by the sandwich: these odds are near a straight line.
    assert found.errors[-1] == pytest.approx(TREND_SE, rel=0.05)


def test_inseminations_of_a_cell_go_together_as_their_over_dispersion_says(cows):
    # 30 cells of centre and band: deviance 121.790 on 26 degrees of freedom (R's glm), 4.7 times
    # what a binomial leaves. The sandwich over cells must see that, the plain error cannot.
    table = table_of_cows(cows, cows["cell"].to_numpy())

    found = regressed(straight(table), within="independence").equations

    assert found.estimates[-1] == pytest.approx(TREND, abs=1e-6)
    assert found.n_clusters == 30
    ratio = (found.errors[-1] / TREND_SE) ** 2
    # A variance from 26 degrees of freedom is sure to a factor of 1.28; three times that.
    assert 4.7 / 1.28**3 < ratio < 4.7 * 1.28**3


def test_hours_of_cows_set_to_the_first_half_day_tell_what_r_s_coefficients_tell(cows):
    table = table_of_cows(cows, np.arange(len(cows)))
    late = cows["hours"] > 36.0
    # Second route: coefficients of R's glm, its intercept by the total of conceptions.
    centre = cows["centre"].map({"C1": 0.0, "C2": 0.425603, "C3": 0.722157}).to_numpy()
    eta = TREND * cows["hours"].to_numpy() + centre
    low, high = -5.0, 0.0
    while high - low > 1e-12:
        middle = (low + high) / 2
        low, high = (middle, high) if expit(middle + eta).sum() < 2170 else (low, middle)
    at_nine = low + TREND * 9.0 + centre[late]
    expected = (expit(at_nine) - expit(low + eta[late])).mean()

    poor = table.is_poor
    found = regressed(straight(table), within="independence")
    difference = found.equations.mean_difference(
        found.design.as_recorded(poor), found.design.at(table.best, poor)
    )

    assert difference.median == pytest.approx(expected, abs=1e-5)
    assert 0.0 < difference.lower < difference.upper
    bent = by_equations(table)
    assert (bent.shape, bent.n_poor) == ("spline", int(late.sum()))
    # Nobody was inseminated after 60 hours: the curve stops there.
    assert bent.curve[2] is None
    assert bent.curve[0] > bent.curve[1]


def two_by_two(n_other, n_poor, of_other, of_poor, outcome="litter"):
    """Litters of either side, each of a bitch of her own; no column beside."""
    observed = np.repeat(
        [1.0, 0.0, 1.0, 0.0], [of_other, n_other - of_other, of_poor, n_poor - of_poor]
    )
    side = np.repeat([0, 1], [n_other, n_poor])
    n = len(side)
    return Table(
        outcome, observed, side.astype(float), np.zeros(n), side, np.ones((n, 1)),
        np.empty((n, 0)), np.arange(n), np.zeros(n, dtype=bool),
    )  # fmt: skip


@pytest.mark.parametrize("cells", [(40, 30, 30, 12), (100, 25, 50, 20), (300, 300, 200, 210)])
def test_without_columns_and_clusters_the_equations_are_the_difference_of_two_rates(cells):
    table = two_by_two(*cells)

    found = by_equations(table, within="independence")

    n_other, n_poor, of_other, of_poor = cells
    shares = of_other / n_other, of_poor / n_poor
    assert found.difference.median == pytest.approx(shares[0] - shares[1], abs=1e-9)
    assert by_rates(table).difference.median == pytest.approx(shares[0] - shares[1], abs=1e-12)
    # Mancl & DeRouen in closed form: a row's residual is divided by one less its leverage, 1/n of
    # its side, so that each variance is p (1 − p) n / (n − 1)².
    variance = sum(
        share * (1 - share) * n / (n - 1) ** 2
        for share, n in zip(shares, (n_other, n_poor), strict=True)
    )
    half = student_t.ppf(0.95, n_other + n_poor - 2) * variance**0.5
    assert found.difference.upper - found.difference.median == pytest.approx(half, rel=1e-6)


def clustered(seed, n_clusters=60, n_each=4):
    rng = np.random.default_rng(seed)
    cluster = np.repeat(np.arange(n_clusters), n_each)
    x = rng.normal(size=len(cluster))
    design = np.column_stack([np.ones(len(x)), x, x**2])
    eta = 0.3 + 0.6 * x + 0.5 * rng.normal(size=n_clusters)[cluster]
    return rng, cluster, design, eta


@pytest.mark.parametrize("family", ["logistic", "log_linear"])
def test_the_error_of_a_mean_difference_is_that_of_drawn_coefficients(family):
    # Second route: the mean difference of 200,000 coefficient vectors drawn from their covariance,
    # made small so that the difference is straight in them.
    rng, cluster, design, eta = clustered(3)
    observed = (
        (rng.random(len(eta)) < expit(eta)).astype(float)
        if family == "logistic"
        else rng.poisson(np.exp(eta)).astype(float)
    )
    found = estimating_equations(family, design, observed, cluster, columns=(0, 1, 2))
    after = design.copy()
    after[:, 1] += 1.0

    told = found.mean_difference(design, after)

    small = 1e-4
    drawn = rng.multivariate_normal(found.estimates, small**2 * found.covariance, 200_000)
    mean = expit if family == "logistic" else np.exp
    moved = np.array([
        (mean(after[:20] @ beta) - mean(design[:20] @ beta)).mean() for beta in drawn[:20_000]
    ])  # fmt: skip
    of_few = found.mean_difference(design[:20], after[:20])
    half = of_few.upper - of_few.median
    # An sd of 20,000 draws is sure to half a percent; three times that.
    assert moved.std() / small * found.reach == pytest.approx(half, rel=0.015)
    assert told.median == pytest.approx(
        (mean(after @ found.estimates) - mean(design @ found.estimates)).mean(), abs=1e-12
    )
    assert found.reach == pytest.approx(student_t.ppf(0.95, 60 - 3))


def test_estimates_are_those_of_the_library_by_its_own_formula():
    rng, cluster, design, eta = clustered(8)
    frame = pd.DataFrame({
        "y": (rng.random(len(eta)) < expit(eta)).astype(float), "x": design[:, 1], "g": cluster,
    })  # fmt: skip

    found = estimating_equations(
        "logistic", design, frame["y"].to_numpy(), cluster, columns=(0, 1, 2)
    )

    theirs = sm.GEE.from_formula(
        "y ~ x + I(x**2)", groups="g", data=frame, family=sm.families.Binomial(),
        cov_struct=sm.cov_struct.Exchangeable(),
    ).fit(cov_type="bias_reduced")  # fmt: skip
    np.testing.assert_allclose(found.estimates, theirs.params, atol=1e-5)
    np.testing.assert_allclose(found.errors, theirs.bse, rtol=1e-4)


def test_a_column_of_one_cluster_alone_goes_with_her_rows():
    # Left in, the correction for few clusters divides by one less her leverage: by nothing.
    rng, cluster, design, eta = clustered(1)
    observed = (rng.random(len(eta)) < expit(eta)).astype(float)
    observed[:4] = [0, 1, 1, 0]
    hers = cluster == 0
    with_hers = np.column_stack([design, hers])

    found = readable("logistic", with_hers, observed, cluster)

    np.testing.assert_array_equal(found.lone, hers)
    assert found.columns == (0, 1, 2)
    assert not found.separated.any()
    solved, without = (
        estimating_equations(
            "logistic", columns[~hers], observed[~hers], cluster[~hers], columns=(0, 1, 2)
        )
        for columns in (with_hers, design)
    )  # fmt: skip
    np.testing.assert_allclose(solved.estimates, without.estimates, atol=1e-9)
    # Nor can anything be told of a row like hers.
    assert not solved.is_told(with_hers[hers]).any()
    assert solved.is_told(with_hers[~hers]).all()
    # With a second bitch there is something to compare.
    two = np.column_stack([design, cluster <= 1])
    assert not lone_rows(two, cluster).any()


def test_what_one_rule_leaves_out_can_let_the_other_speak():
    # The column is of two bitches; of one of them every row foretells its result by another column.
    rng, cluster, design, eta = clustered(2)
    observed = (rng.random(len(eta)) < expit(eta)).astype(float)
    of_two, of_second = cluster <= 1, cluster == 1
    observed[of_second] = 1.0
    observed[:4] = [0, 1, 0, 1]
    columns = np.column_stack([design, of_two, of_second])

    found = readable("logistic", columns, observed, cluster)

    np.testing.assert_array_equal(found.separated, of_second)
    np.testing.assert_array_equal(found.lone, cluster == 0)
    assert found.columns == (0, 1, 2)


def test_few_results_and_few_clusters_are_told_at_their_edges():
    # Five of the rarer kind and ten clusters beyond one for each of three coefficients.
    rare = np.repeat([1.0, 0.0], [15, 100])
    many = np.arange(115)

    assert too_few("logistic", rare, many, 3) is None
    assert too_few("logistic", rare[1:], many[1:], 3) == TooFew("outcomes", 14, 15)
    assert too_few("logistic", 1.0 - rare[1:], many[1:], 3) == TooFew("outcomes", 14, 15)
    assert too_few("log_linear", np.full(15, 6.0), many[:15], 3) is None
    assert too_few("log_linear", np.full(14, 6.0), many[:14], 3) == TooFew("outcomes", 14, 15)
    assert too_few("logistic", rare, many % 13, 3) is None
    assert too_few("logistic", rare, many % 12, 3) == TooFew("clusters", 12, 13)
    assert too_few("logistic", np.empty(0), np.empty(0), 0) == TooFew("outcomes", 0, 1)
