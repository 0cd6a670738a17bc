"""Checks of what predictions leave over: against regressions, by brute force, and by simulation."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.special import expit, logit
from scipy.stats import norm
from tests.studies.kennels import conception_data, drawn_breedings

from studcurve.analytics.priors import PRIORS
from studcurve.analytics.trust import residuals
from studcurve.analytics.trust.checking import LeftOut
from studcurve.analytics.trust.residuals import (
    ALONG,
    BETWEEN,
    left_over,
    points_of,
    residual_checks,
    scores_by_bitch,
    smallest_p,
    statistic,
)

TOGETHER = 0.6
"""Correlation of what befalls two breedings of one bitch, in these kennels."""


@cache
def records(n):
    """Records of so many breedings of a third as many bitches, and their chances."""
    rng = np.random.default_rng(n)
    rows = drawn_breedings(rng, n, n_studs=4, n_bitches=n // 3, n_years=4)
    data = conception_data(rng, rows, np.full(n, -1), np.ones(n, dtype=int))
    return data, LeftOut({"model": expit(rng.normal(0.6, 0.6, n))}, np.zeros(n))


def kennel(rng, n=150, **fault):
    """Records whose chances are known, and outcomes that follow them but for a fault. [logit]"""
    data, predicted = records(n)
    pair, bitch = data.inseminated_semen, data.groups["bitch"]
    short = np.where(data.semen_type == "natural", 0.0, (60.0 - pair.motility_mean) / 10.0)
    eta = logit(predicted.ways["model"]) + fault.get("motility", 0.0) * (short - short.mean())
    for factor in ("stud", "year"):
        eta = eta + fault.get(factor, 0.0) * np.array([1, -1, 1, -1])[data.groups[factor]]
    # What befalls one bitch goes together, while each breeding keeps its chance.
    z = np.sqrt(TOGETHER) * rng.normal(size=n)[bitch] + np.sqrt(1.0 - TOGETHER) * rng.normal(size=n)
    return replace(data, whelped=(norm.cdf(z) < expit(eta)).astype(int)), predicted


def checks(data, predicted, chosen=None):
    everything = np.ones(data.n_breedings, dtype=bool)
    found = residual_checks(predicted, data, everything if chosen is None else chosen, seed=1)
    return {one.name: one for one in found}


def test_what_a_model_leaves_of_a_column_is_a_ridge_regression_s_residual():
    rng = np.random.default_rng(1)
    columns, values = rng.normal(size=(80, 3)), rng.normal(size=(80, 2))
    precision, weight = np.array([1e-6, 4.0, 25.0]), rng.uniform(0.05, 0.25, 80)

    # Second route: least squares of rows times the root of their weight, priors as further rows.
    design = np.vstack([columns * np.sqrt(weight)[:, None], np.diag(np.sqrt(precision))])
    target = np.vstack([values * np.sqrt(weight)[:, None], np.zeros((3, 2))])
    coefficients = np.linalg.lstsq(design, target, rcond=None)[0]
    expected = values - columns @ coefficients
    np.testing.assert_allclose(left_over(values, columns, precision, weight), expected, atol=1e-9)


def test_a_fault_and_its_error_are_those_of_a_regression_clustered_by_bitch():
    rng = np.random.default_rng(2)
    n = 6000
    bitch = rng.integers(1500, size=n)
    beside = np.column_stack([np.ones(n), rng.normal(size=n)])
    column = rng.normal(size=(n, 1)) + 0.5 * beside[:, 1:] + rng.normal(size=1500)[bitch][:, None]
    prob = expit(rng.normal(0.4, 0.7, n))
    whelped = (rng.random(n) < expit(logit(prob) + 0.1 * column[:, 0])).astype(float)

    weight = prob * (1.0 - prob)
    beyond = left_over(column, beside, np.zeros(2), weight)
    by_bitch = scores_by_bitch(beyond, whelped - prob, bitch)
    information = float((beyond[:, 0] ** 2 * weight).sum())

    fit = sm.GLM(
        whelped, np.column_stack([beside, column]), family=sm.families.Binomial(),
        offset=logit(prob),
    ).fit(cov_type="cluster", cov_kwds={"groups": bitch, "use_correction": False})  # fmt: skip
    # A score is one step of the regression's own search: its second step is of the fault's square.
    assert by_bitch.sum() / information == pytest.approx(fit.params[2], rel=0.05)
    error = np.sqrt((by_bitch**2).sum()) / information
    assert error == pytest.approx(fit.bse[2], rel=0.03)
    assert statistic(by_bitch.sum(axis=0), by_bitch) == pytest.approx(
        (fit.params[2] / fit.bse[2]) ** 2, rel=0.1
    )


def test_p_values_over_all_checks_are_the_share_of_flips_with_as_small_a_one():
    rng = np.random.default_rng(3)
    flipped = rng.chisquare(1.0, (40, 3))
    observed = np.array([0.2, 9.0, 3.0])

    together, _ = smallest_p(observed, flipped)

    # By brute force: how many of the flips have, on any check, as small a share above them.
    smallest = [
        min((flipped[:, k] >= one[k]).mean() for k in range(3)) for one in flipped
    ]  # fmt: skip
    own = [(1 + (flipped[:, k] >= observed[k]).sum()) / 41 for k in range(3)]
    expected = [(1 + sum(one <= p for one in smallest)) / 41 for p in own]
    np.testing.assert_allclose(together, expected)
    assert together.min() == together[1]


def test_a_right_model_is_rarely_flagged_though_bitches_go_together():
    rng = np.random.default_rng(4)
    n_kennels = 60

    flagged = [any(one.is_found for one in checks(*kennel(rng)).values()) for _ in range(n_kennels)]

    # At most 5 % over all eight together, and three standard errors of so many kennels.
    assert np.mean(flagged) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / n_kennels)


def test_a_fault_of_the_size_that_would_show_is_found_four_times_in_five(monkeypatch):
    # Chances that are known, as of a model whose rows take nothing up of any column.
    rigid = {row: replace(prior, sd=1e-4) for row, prior in PRIORS.items()}
    monkeypatch.setattr(residuals, "PRIORS", rigid)
    rng = np.random.default_rng(5)
    usual = [checks(*kennel(rng, n=300))["motility"] for _ in range(6)]
    share = 0.63
    # The logit whose points around a usual chance are those that would show.
    sizes = np.linspace(0.0, 3.0, 3001)
    along = np.array([points_of(size, share) for size in sizes])
    size = float(np.interp(np.mean([one.shown_points for one in usual]), along, sizes))
    n_kennels = 30

    found = [checks(*kennel(rng, n=300, motility=-size))["motility"] for _ in range(n_kennels)]

    power = np.mean([one.is_found for one in found])
    assert abs(power - 0.8) < 3 * np.sqrt(0.8 * 0.2 / n_kennels)
    assert np.mean([one.fault_points for one in found]) == pytest.approx(
        points_of(-size, share), rel=0.25
    )
    for one in usual:
        assert one.even_points < one.shown_points


@pytest.mark.parametrize("factor", ["stud", "year"])
def test_levels_far_apart_are_found_as_a_whole(factor):
    rng = np.random.default_rng(6)

    found = [checks(*kennel(rng, n=300, **{factor: 1.2}))[factor] for _ in range(8)]

    assert sum(one.is_found for one in found) >= 6
    assert all(np.isnan(one.error_points) for one in found)
    assert all(one.fault_points > 10.0 for one in found if one.is_found)


def test_what_too_few_bitches_have_is_not_asked():
    rng = np.random.default_rng(7)
    data, predicted = kennel(rng)
    natural = replace(data, semen_type=np.full(150, "natural"), route=np.full(150, "natural"))
    few = np.isin(data.groups["bitch"], np.unique(data.groups["bitch"])[:7])

    assert list(checks(data, predicted)) == [*ALONG, *BETWEEN]
    assert not {"motility", "dose", "method"} & set(checks(natural, predicted))
    assert checks(data, predicted, few) == {}
    assert checks(data, predicted, np.zeros(150, dtype=bool)) == {}
    one_year = replace(data, groups={**data.groups, "year": np.zeros(150, dtype=int)})
    assert "year" not in checks(one_year, predicted)


def test_the_seventh_bitch_is_too_few_and_the_eighth_is_asked():
    rng = np.random.default_rng(8)
    data, predicted = kennel(rng)
    bitch = data.groups["bitch"]
    seven, eight = (np.isin(bitch, np.unique(bitch)[:k]) for k in (7, 8))

    assert "day" not in checks(data, predicted, seven)
    assert "day" in checks(data, predicted, eight)


def test_a_level_of_two_bitches_is_left_out_of_its_check():
    rng = np.random.default_rng(9)
    data, predicted = kennel(rng)
    bitch = data.groups["bitch"]

    def with_other(n_bitches):
        alone = np.where(np.isin(bitch, np.unique(bitch)[:n_bitches]), 1, 0)
        return checks(replace(data, groups={**data.groups, "stud": alone}), predicted)

    assert "stud" not in with_other(2)
    assert "stud" in with_other(3)


def test_half_of_a_difference_in_odds_lies_on_either_side_of_a_chance():
    assert points_of(1.0, 0.5) == pytest.approx(100 * (expit(0.5) - expit(-0.5)))
    assert points_of(-0.4, 0.7) == pytest.approx(-points_of(0.4, 0.7))
    # However large the fault, never more than all of the chance.
    assert points_of(50.0, 0.7) <= 100.0
