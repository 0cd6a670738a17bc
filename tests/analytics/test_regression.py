"""The three regression blocks: outside tables by a second route, recovery, edges, refusals.

Posteriors are set against posteriors: `exact_posterior.py` integrates the effects without the
toolkit, and its own likelihood is first held against the exact figures of other programs. Figures
of Laplace's approximation are accepted from Laplace's approximation alone.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, gammaln, logit
from scipy.stats import betabinom
from tests.analytics.exact_posterior import (
    CrossedBlocks,
    flat_enough,
    most_likely,
    posterior_moments,
    quadrature_log_likelihood,
)

from studcurve.analytics.models.regression import (
    NormalPrior,
    fit_beta_binomial,
    fit_mixed_logistic,
    fit_truncated_count,
    regression_table,
)

REFERENCES = Path(__file__).parents[1] / "references"
COEFFICIENT_SD, SPREAD_SCALE = 10.0, 5.0
"""Priors flat enough for the tables below: the likelihoods are at least twenty times narrower for
coefficients, and fall away long before the scale of the spreads."""


def flat_prior(table):
    return NormalPrior(np.zeros(len(table.columns)), np.full(len(table.columns), COEFFICIENT_SD))


def herds():
    """Lesnoff et al. 2004: cases of pleuropneumonia in 15 herds over four periods."""
    rows = pd.read_csv(REFERENCES / "lme4_cbpp.csv").astype({"period": str, "herd": str})
    table = regression_table(rows, ["period"], ["herd"])
    return table, rows["incidence"].to_numpy(float), rows["size"].to_numpy(float)


def women():
    """Huq & Cleland 1990: contraception of 1934 women in 60 districts."""
    rows = pd.read_csv(REFERENCES / "mlmRev_Contraception.csv").astype({"district": str})
    table = regression_table(rows, ["urban", "age", "livch"], ["district"])
    return table, (rows["use"] == "Y").to_numpy(float), np.ones(len(rows))


def rats():
    """Moore & Tsiatis 1991: dead fetuses of 58 litters, an effect of each litter."""
    rows = pd.read_csv(REFERENCES / "VGAM_lirat.csv").astype({"grp": str})
    table = regression_table(rows.assign(litter=rows.index.astype(str)), ["grp"], ["litter"])
    return table, rows["R"].to_numpy(float), rows["N"].to_numpy(float)


def salamanders():
    """McCullagh & Nelder 1989, section 14.5: 360 matings of 60 females and 60 males."""
    rows = pd.read_csv(REFERENCES / "salamander.csv").astype({"female": str, "male": str})
    cells = pd.get_dummies(rows["cross_fm"]).astype(float)
    table = regression_table(
        cells.join(rows[["female", "male"]]), list(cells), ["female", "male"], intercept=False
    )
    return table, rows["mate"].to_numpy(float)


def one_factor(table, k, n, n_nodes=25):
    """Exact log likelihood of coefficients and one spread."""
    (group,) = table.groups.values()
    return lambda theta: quadrature_log_likelihood(
        table.design @ theta[:-1], theta[-1], k, n, group, n_nodes
    )


def assert_same_posterior(fitted, names, exact):
    """Means agree within four Monte Carlo errors of both routes, spreads within theirs."""
    draws = np.column_stack([
        fitted.coefficient(name) if name in fitted.table.columns else fitted.draws[name]
        for name in names
    ])  # fmt: skip
    ess = fitted.diagnostics.min_ess_bulk
    error = np.sqrt(1 / exact.ess + 1 / ess)
    assert exact.ess > 200
    assert (np.abs(draws.mean(axis=0) - exact.mean) < 4 * error * exact.sd).all()
    # The sd of a sample of heavy tails errs by about its own share over the root of its size.
    np.testing.assert_allclose(draws.std(axis=0), exact.sd, rtol=4 * error)


@pytest.mark.parametrize(
    ("data", "start", "expected", "tolerance"),
    [
        # lme4 1.1-31, glmer with 25 adaptive nodes; the first also in lme4's help page.
        (herds, [-1.0, -1, -1, -1, 0.5], [-1.39922, -0.99141, -1.12781, -1.57948, 0.64752], 0.003),
        (rats, [1.0, -3, -4, -4, 1], [1.80244, -4.51470, -5.85516, -5.59454, 1.53309], 0.05),
    ],
)
def test_the_second_route_has_the_quadrature_figures_of_lme4(data, start, expected, tolerance):
    found, _, _ = most_likely(one_factor(*data()), np.array(start))

    np.testing.assert_allclose(found, expected, atol=tolerance)


@pytest.mark.slow
def test_the_second_route_has_lme4s_quadrature_figures_of_1934_women():
    table, k, n = women()
    # Age is centred in the file; in tens of years the search has one scale.
    design = table.design / np.where(np.array(table.columns) == "age", 10.0, 1.0)
    scaled = type(table)(design, table.columns, table.groups, table.levels)

    found, _, _ = most_likely(one_factor(scaled, k, n), np.r_[np.zeros(6), 0.5])

    order = [table.columns.index(name) for name in
             ("intercept", "urban=Y", "age", "livch=1", "livch=2", "livch=3+")]  # fmt: skip
    coefficients = (found[:-1] / np.where(np.array(table.columns) == "age", 10.0, 1.0))[order]
    np.testing.assert_allclose(
        coefficients, [-1.69015, 0.73242, -0.02660, 1.10932, 1.37652, 1.34559], atol=0.005
    )
    assert found[-1] == pytest.approx(0.46422, abs=0.01)


@pytest.mark.slow
def test_the_second_route_tells_the_exact_salamanders_from_laplaces():
    # Exact: importance sampling with 40,000 draws a block gives −207.585 at its maximum; MCEM of
    # Booth & Hobert 1999 1.03, 0.32, −1.95, 0.99 and variances 1.40, 1.25. Laplace (lme4 1.1-31,
    # glmmTMB 1.1.5): −209.27659.
    table, mate = salamanders()
    female, male = table.groups["female"], table.groups["male"]
    blocks = CrossedBlocks.of(mate, female, male, 4000, np.random.default_rng(1))

    def logs(cells, female_variance, male_variance):
        return blocks.log_likelihoods(
            table.design @ cells, female_variance**0.5, male_variance**0.5
        )

    laplace, _ = logs(np.array([1.00822, 0.30618, -1.89599, 0.99041]), 1.17437, 1.04100)
    _, exact = logs(np.array([1.018, 0.322, -1.941, 0.997]), 1.384, 1.240)
    assert laplace == pytest.approx(-209.27659, abs=1e-4)
    # Six blocks of 4000 draws each; another 4000 differ by a few hundredths.
    assert exact == pytest.approx(-207.585, abs=0.1)

    smooth = CrossedBlocks.of(mate, female, male, 1000, np.random.default_rng(2))
    found, _, _ = most_likely(
        lambda theta: smooth.log_likelihoods(table.design @ theta[:4], theta[4], theta[5])[1],
        np.array([1.0, 0.3, -1.9, 1.0, 1.1, 1.1]),
    )
    np.testing.assert_allclose(found[:4], [1.018, 0.322, -1.941, 0.997], atol=0.05)
    np.testing.assert_allclose(found[4:] ** 2, [1.384, 1.240], atol=0.15)


@pytest.mark.slow
def test_salamander_matings_have_their_exact_posterior():
    table, mate = salamanders()
    female, male = table.groups["female"], table.groups["male"]
    rng = np.random.default_rng(3)
    blocks = CrossedBlocks.of(mate, female, male, 400, rng)

    def log_posterior(theta, rng=None):
        prior = flat_enough(theta, 4, COEFFICIENT_SD, SPREAD_SCALE)
        return prior + blocks.log_likelihoods(table.design @ theta[:4], *theta[4:], rng)[1]

    exact = posterior_moments(
        lambda theta: log_posterior(theta, rng), np.array([1.0, 0.3, -1.9, 1.0, 1.1, 1.1]), 1500,
        rng, n_spreads=2, smooth=log_posterior,
    )  # fmt: skip
    fitted = fit_mixed_logistic(
        table, mate, np.ones(360), coefficients=flat_prior(table),
        spread_scale={"female": SPREAD_SCALE, "male": SPREAD_SCALE}, seed=1,
    )  # fmt: skip

    assert_same_posterior(fitted, ["RR", "RW", "WR", "WW", "sd_female", "sd_male"], exact)


@pytest.mark.slow
@pytest.mark.parametrize("data", [herds, rats, women])
def test_tables_of_one_factor_have_their_exact_posterior(data):
    table, k, n = data()
    (factor,) = table.groups
    n_columns = len(table.columns)
    likelihood = one_factor(table, k, n, n_nodes=15)

    def log_posterior(theta):
        return flat_enough(theta, n_columns, COEFFICIENT_SD, SPREAD_SCALE) + likelihood(theta)

    exact = posterior_moments(
        log_posterior, np.r_[np.zeros(n_columns), 0.7], 2000, np.random.default_rng(5), n_spreads=1
    )
    fitted = fit_mixed_logistic(
        table, k, n, coefficients=flat_prior(table), spread_scale={factor: SPREAD_SCALE}, seed=2
    )

    assert_same_posterior(fitted, [*table.columns, f"sd_{factor}"], exact)


@pytest.mark.slow
def test_low_iron_litters_have_their_exact_beta_binomial_posterior():
    table, k, n = rats()
    plain = type(table)(table.design, table.columns, {}, {})

    def log_posterior(theta):
        p, over = expit(table.design @ theta[:4]), np.exp(-theta[4])
        logs = betabinom.logpmf(k, n, p * over, (1 - p) * over).sum()
        prior = ((theta[:4] / COEFFICIENT_SD) ** 2).sum() + (theta[4] / 3.0) ** 2
        return float(logs) - 0.5 * float(prior)

    exact = posterior_moments(
        log_posterior, np.array([1.0, -3, -4, -4, -1]), 4000, np.random.default_rng(6)
    )
    fitted = fit_beta_binomial(
        plain, k, n, coefficients=flat_prior(table), spread_scale={}, correlation=(0.0, 3.0), seed=3
    )

    assert_same_posterior(fitted, [*table.columns, "correlation_logit"], exact)


def breedings(rng, n=400, n_studs=10, n_bitches=100):
    """A table whose terms, studs and bitches are known."""
    rows = pd.DataFrame({
        "frozen": (rng.random(n) < 0.4).astype(float), "age": rng.normal(size=n),
        "stud": rng.integers(n_studs, size=n).astype(str),
        "bitch": rng.integers(n_bitches, size=n).astype(str),
    })  # fmt: skip
    table = regression_table(rows, ["frozen", "age"], ["stud", "bitch"])
    sizes = {factor: len(names) for factor, names in table.levels.items()}
    effects = {"stud": 0.5 * rng.normal(size=sizes["stud"]),
               "bitch": 0.7 * rng.normal(size=sizes["bitch"])}  # fmt: skip
    total = sum(effects[factor][table.groups[factor]] for factor in effects)
    return table, total


TRUTH = np.array([0.8, -0.9, 0.4])


def missed(fitted, truth):
    """Truths outside their central interval of 99.9 %: ten of them miss once in a hundred fits."""
    return [
        name
        for name, value in truth.items()
        if not np.quantile(fitted[name], 0.0005) <= value <= np.quantile(fitted[name], 0.9995)
    ]


@pytest.mark.slow
@pytest.mark.parametrize("block", ["logistic", "beta-binomial", "count"])
def test_known_terms_and_spreads_are_recovered(block):
    rng = np.random.default_rng(9)
    table, total = breedings(rng)
    prior = NormalPrior(np.zeros(3), np.full(3, 2.0))
    scales = {"stud": 1.0, "bitch": 1.0}
    truth = {"sd_stud": 0.5, "sd_bitch": 0.7}
    if block == "logistic":
        n = rng.integers(1, 4, size=len(total)).astype(float)
        k = rng.binomial(n.astype(int), expit(table.design @ TRUTH + total)).astype(float)
        fitted = fit_mixed_logistic(table, k, n, coefficients=prior, spread_scale=scales, seed=4)
        terms = TRUTH
    elif block == "beta-binomial":
        n = rng.integers(4, 10, size=len(total))
        p, over = expit(table.design @ TRUTH + total), (1 - 0.2) / 0.2
        k = rng.binomial(n, rng.beta(p * over, (1 - p) * over)).astype(float)
        fitted = fit_beta_binomial(
            table, k, n.astype(float), coefficients=prior, spread_scale=scales,
            correlation=(-1.0, 1.0), seed=4,
        )  # fmt: skip
        terms = TRUTH
        truth["correlation_logit"] = logit(0.2)
    else:
        terms, nu = np.array([1.7, -0.25, 0.1]), 1.5
        log_mean = table.design @ terms + 0.3 * total
        truth = {"sd_stud": 0.15, "sd_bitch": 0.21, "log_dispersion": np.log(nu)}
        counts = truncated_cmp(rng, np.exp(log_mean), nu)
        fitted = fit_truncated_count(
            table, counts, coefficients=prior, spread_scale=scales, log_dispersion=(0.0, 1.0),
            n_support=40, seed=4,
        )  # fmt: skip
    draws = {name: fitted.coefficient(name) for name in table.columns} | dict(fitted.draws)
    truth |= dict(zip(table.columns, terms, strict=True))

    assert missed(draws, truth) == []
    # And they are known far better than before: no prior alone can pass.
    assert draws["frozen"].std() < 0.25


def truncated_cmp(rng, means, nu):
    """Positive Conway-Maxwell-Poisson counts whose mean, zero counted in, is the one wanted."""
    k = np.arange(60.0)
    rates = np.linspace(-2.0, 12.0, 4000)
    logs = rates[:, None] * k - nu * gammaln(k + 1)
    pmf = np.exp(logs - logs.max(axis=1, keepdims=True))
    pmf /= pmf.sum(axis=1, keepdims=True)
    nearest = np.interp(means, pmf @ k, rates)
    logs = nearest[:, None] * k[1:] - nu * gammaln(k[1:] + 1)
    pmf = np.exp(logs - logs.max(axis=1, keepdims=True))
    pmf /= pmf.sum(axis=1, keepdims=True)
    return np.array([rng.choice(k[1:], p=row) for row in pmf])


@pytest.mark.slow
def test_without_trials_the_prior_comes_back():
    rng = np.random.default_rng(2)
    table, _ = breedings(rng, n=40, n_studs=4, n_bitches=20)
    nothing = np.zeros(40)

    fitted = fit_mixed_logistic(
        table, nothing, nothing,
        coefficients=NormalPrior(np.array([1.0, -2.0, 0.0]), np.array([0.5, 1.0, 3.0])),
        spread_scale={"stud": 0.4, "bitch": 2.0}, seed=6,
    )  # fmt: skip

    draws, ess = fitted.draws, fitted.diagnostics.min_ess_bulk
    for k, (mean, sd) in enumerate(zip([1.0, -2.0, 0.0], [0.5, 1.0, 3.0], strict=True)):
        assert draws["coefficients"][:, k].mean() == pytest.approx(mean, abs=4 * sd / ess**0.5)
        # The variance of a normal's sample has a relative error of √(2/n).
        assert draws["coefficients"][:, k].var() == pytest.approx(
            sd**2, rel=4 * np.sqrt(2 / fitted.diagnostics.min_ess_tail)
        )
    for factor, scale in (("stud", 0.4), ("bitch", 2.0)):
        # A half-normal's mean and sd.
        assert draws[f"sd_{factor}"].mean() == pytest.approx(
            scale * np.sqrt(2 / np.pi), abs=4 * scale * np.sqrt(1 - 2 / np.pi) / ess**0.5
        )


@pytest.mark.slow
def test_separated_outcomes_get_a_finite_answer_from_a_proper_prior():
    # Every frozen breeding failed, every other gave a litter: no likelihood has a maximum here.
    rows = pd.DataFrame({"frozen": [0.0] * 15 + [1.0] * 15, "stud": ["Ash", "Bay", "Cob"] * 10})
    whelped = 1.0 - rows["frozen"].to_numpy()
    table = regression_table(rows, ["frozen"], ["stud"])

    fitted = fit_mixed_logistic(
        table, whelped, np.ones(30), coefficients=NormalPrior(np.zeros(2), np.full(2, 2.5)),
        spread_scale={"stud": 1.0}, seed=7,
    )  # fmt: skip

    answer = fitted.estimate("frozen")
    assert -20.0 < answer.lower < answer.upper < -2.0


@pytest.mark.slow
@pytest.mark.parametrize("outcome", [0.0, 1.0])
def test_one_stud_and_three_breedings_all_alike_are_nearly_the_prior(outcome):
    rows = pd.DataFrame({"stud": ["Ash"] * 3})
    table = regression_table(rows, [], ["stud"])

    fitted = fit_mixed_logistic(
        table, np.full(3, outcome), np.ones(3), coefficients=NormalPrior(np.zeros(1), np.ones(1)),
        spread_scale={"stud": 0.5}, seed=8,
    )  # fmt: skip

    # Second route: both latents on a grid; the stud's effect is one more normal.
    b, s, z = np.meshgrid(*(np.linspace(-5, 5, 81),) * 3, indexing="ij")
    sign = 2 * outcome - 1
    logs = -0.5 * (b**2 + (s / 0.5) ** 2 + z**2) + 3 * -np.logaddexp(0, -sign * (b + s * z))
    weight = np.exp(logs - logs.max())
    mean = (weight * b).sum() / weight.sum()
    sd = np.sqrt((weight * (b - mean) ** 2).sum() / weight.sum())
    assert fitted.coefficient("intercept").mean() == pytest.approx(
        mean, abs=4 * sd / fitted.diagnostics.min_ess_bulk**0.5
    )


@pytest.mark.slow
def test_bitches_without_any_spread_are_not_given_one():
    rng = np.random.default_rng(12)
    rows = pd.DataFrame({"bitch": np.repeat(np.arange(60), 20).astype(str)})
    table = regression_table(rows, [], ["bitch"])
    k = (rng.random(1200) < 0.7).astype(float)

    fitted = fit_mixed_logistic(
        table, k, np.ones(1200), coefficients=NormalPrior(np.zeros(1), np.full(1, 2.5)),
        spread_scale={"bitch": 1.0}, seed=9,
    )  # fmt: skip

    # 60 shares of 20 breedings of sd 0.1 each bound a spread on the logit scale near 0.3.
    assert np.quantile(fitted.draws["sd_bitch"], 0.95) < 0.45
    assert fitted.estimate("intercept").median == pytest.approx(logit(k.mean()), abs=0.05)


SMALL = regression_table(
    pd.DataFrame({"age": [1.0, 2.0, 3.0], "stud": ["Ash", "Ash", "Bay"]}), ["age"], ["stud"]
)
PRIOR = NormalPrior(np.zeros(2), np.ones(2))
SCALES = {"stud": 1.0}


@pytest.mark.parametrize(
    ("k", "n", "prior", "scales", "sentence"),
    [
        ([1, 2, 0], [1, 1, 1], PRIOR, SCALES, "row 1 has 2 of 1"),
        ([1, -1, 0], [1, 1, 1], PRIOR, SCALES, "row 1 has -1 of 1"),
        ([1, np.nan, 0], [1, 1, 1], PRIOR, SCALES, "row 1 has nan of 1"),
        ([1, 0], [1, 1], PRIOR, SCALES, "one number for each of the 3 rows"),
        ([1, 1, 0], [1, 1, 1], NormalPrior(np.zeros(1), np.ones(1)), SCALES, "intercept, age"),
        ([1, 1, 0], [1, 1, 1], NormalPrior(np.zeros(2), np.zeros(2)), SCALES, "an sd above 0"),
        ([1, 1, 0], [1, 1, 1], PRIOR, {}, r"it is not for \['stud'\]"),
        ([1, 1, 0], [1, 1, 1], PRIOR, {"stud": 0.0}, r"it is not for \['stud'\]"),
    ],
)
def test_trials_that_cannot_be_are_refused(k, n, prior, scales, sentence):
    k, n = np.array(k, dtype=float), np.array(n, dtype=float)

    with pytest.raises(ValueError, match=sentence):
        fit_mixed_logistic(SMALL, k, n, coefficients=prior, spread_scale=scales, seed=1)
    with pytest.raises(ValueError, match=sentence):
        fit_beta_binomial(SMALL, k, n, coefficients=prior, spread_scale=scales,
                          correlation=(0.0, 1.0), seed=1)  # fmt: skip


@pytest.mark.parametrize("counts", [[1, 0, 2], [1, 41, 2], [1, np.nan, 2], [1, 2]])
def test_counts_that_cannot_be_are_refused(counts):
    with pytest.raises(ValueError, match="each from 1 to n_support = 40"):
        fit_truncated_count(
            SMALL, np.array(counts, dtype=float), coefficients=PRIOR, spread_scale=SCALES,
            log_dispersion=(0.0, 1.0), n_support=40, seed=1,
        )  # fmt: skip


def test_a_missing_value_is_refused():
    rows = pd.DataFrame({"age": [1.0, np.nan], "stud": ["Ash", "Bay"]})

    with pytest.raises(ValueError, match="must not miss values"):
        regression_table(rows, ["age"], ["stud"])


def test_text_columns_become_one_column_a_level_but_the_first():
    rows = pd.DataFrame({"method": ["c", "a", "b", "a"], "stud": ["Bay", "Ash", "Ash", "Bay"]})

    table = regression_table(rows, ["method"], ["stud"])

    assert table.columns == ("intercept", "method=b", "method=c")
    np.testing.assert_array_equal(table.design, [[1, 0, 1], [1, 0, 0], [1, 1, 0], [1, 0, 0]])
    assert table.levels["stud"] == ("Ash", "Bay")
    np.testing.assert_array_equal(table.groups["stud"], [1, 0, 0, 1])
