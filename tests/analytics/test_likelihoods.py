"""Each likelihood by a second route: scipy's distributions, enumeration, another library's fit."""

from pathlib import Path

import jax
import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize, minimize_scalar
from scipy.special import gammaln, logit
from scipy.stats import betabinom, norm, poisson
from statsmodels.discrete.truncated_model import (
    TruncatedLFNegativeBinomialP,
    TruncatedLFPoisson,
)
from statsmodels.stats.meta_analysis import combine_effects

from studcurve.analytics.models.likelihoods import (
    beta_binomial_log_likelihood,
    binomial_log_likelihood,
    log_rate_of_mean,
    truncated_count_log_likelihood,
)
from studcurve.analytics.models.sampling import N_CHAINS  # noqa: F401  (64 bits are switched on there)
from studcurve.analytics.priors import PRIORS

REFERENCES = Path(__file__).parents[1] / "references"


def most_likely(log_likelihood, start):
    """Maximize a likelihood by its own gradient."""
    loss = jax.jit(jax.value_and_grad(lambda theta: -log_likelihood(theta)))
    found = minimize(
        lambda theta: tuple(np.asarray(part, dtype=float) for part in loss(theta)),
        start, jac=True, method="BFGS", options={"gtol": 1e-6},
    )  # fmt: skip
    return found.x, -float(found.fun)


@pytest.mark.parametrize("correlation", [0.001, 0.2, 0.7])
def test_trials_that_go_together_have_scipys_beta_binomial_probabilities(correlation):
    n, chance = 9, 0.3
    k = np.arange(n + 1.0)
    orders = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
    over = (1 - correlation) / correlation

    logs = orders + beta_binomial_log_likelihood(
        np.full(n + 1, logit(chance)), logit(correlation), k, np.full(n + 1, float(n)),
        np.arange(12.0),
    )  # fmt: skip

    expected = betabinom.logpmf(k, n, chance * over, (1 - chance) * over)
    np.testing.assert_allclose(logs, expected, atol=1e-9)


@pytest.mark.parametrize("mean", [2.0, 5.5, 9.0])
@pytest.mark.parametrize("nu", [0.7, 1.0, 1.6])
def test_the_rate_gives_the_wanted_mean(mean, nu):
    support = np.arange(80.0)
    rate = float(log_rate_of_mean(np.log(mean), np.log(nu), support))

    log_weight = rate * support - nu * gammaln(support + 1)
    weight = np.exp(log_weight - log_weight.max())
    # Newton's error is quadratic: 2 % off at the start leaves less than 0.1 %.
    assert weight @ support / weight.sum() == pytest.approx(mean, rel=1e-3)


def test_without_dispersion_litters_are_zero_truncated_poisson():
    counts = np.arange(1.0, 15.0)

    logs = truncated_count_log_likelihood(np.log(4.2), 0.0, counts, np.arange(80.0))

    np.testing.assert_allclose(
        logs, poisson.logpmf(counts, 4.2) - np.log1p(-np.exp(-4.2)), atol=1e-7
    )


def test_medicare_stays_give_the_truncated_poisson_fit_of_three_libraries():
    # Hilbe 2011; VGAM, glmmTMB and statsmodels agree on these figures.
    stays = pd.read_csv(REFERENCES / "COUNT_medpar.csv")
    design = sm.add_constant(stays[["white", "hmo", "type2", "type3"]].to_numpy(dtype=float))
    los = stays["los"].to_numpy(dtype=float)
    expected = [2.332860, -0.153944, -0.071649, 0.221781, 0.709616]
    # Beyond the support's end the counts' weights are below 10⁻⁹ at every mean of these stays.
    support = np.arange(los.max() + 1)

    found, log_likelihood = most_likely(
        lambda beta: truncated_count_log_likelihood(design @ beta, 0.0, los, support).sum(),
        np.array([2.0, 0.0, 0.0, 0.0, 0.0]),
    )
    classical = TruncatedLFPoisson(los, design).fit(disp=False)

    np.testing.assert_allclose(found, expected, atol=1e-4)
    assert log_likelihood == pytest.approx(-6928.72340, abs=0.01)
    np.testing.assert_allclose(classical.params, expected, atol=1e-4)


def test_medicare_stays_spread_more_than_truncated_poisson():
    # VGAM and glmmTMB: zero-truncated negative binomial 2.27252 …, alpha 0.5484, log likelihood
    # −4751.39581; intercept of the truncated Poisson alone 2.287843, −7308.06327.
    stays = pd.read_csv(REFERENCES / "COUNT_medpar.csv")
    design = sm.add_constant(stays[["white", "hmo", "type2", "type3"]].to_numpy(dtype=float))
    los = stays["los"].to_numpy(dtype=float)

    wide = TruncatedLFNegativeBinomialP(los, design).fit(
        start_params=[2.2, -0.1, -0.1, 0.2, 0.7, 0.5], method="bfgs", maxiter=200, disp=False
    )
    alone = TruncatedLFPoisson(los, np.ones(len(los))).fit(disp=False)
    narrow = TruncatedLFPoisson(los, design).fit(disp=False)
    untruncated = sm.Poisson(los, design).fit(disp=False)

    np.testing.assert_allclose(
        wide.params, [2.27252, -0.13456, -0.07267, 0.23444, 0.73560, 0.5484], atol=1e-4
    )
    assert wide.llf == pytest.approx(-4751.39581, abs=0.01)
    assert alone.params[0] == pytest.approx(2.287843, abs=1e-5)
    assert alone.llf == pytest.approx(-7308.06327, abs=0.01)
    np.testing.assert_allclose(narrow.bse, [0.02721, 0.02742, 0.02396, 0.02106, 0.02614], atol=1e-4)
    assert np.abs(untruncated.params - narrow.params).max() > 1e-4


def test_low_iron_rats_give_vgams_beta_binomial():
    # Moore & Tsiatis 1991; VGAM 1.1-7.
    rats = pd.read_csv(REFERENCES / "VGAM_lirat.csv")
    groups = pd.get_dummies(rats["grp"], drop_first=True).to_numpy(dtype=float)
    design = sm.add_constant(groups)
    n, dead = rats["N"].to_numpy(dtype=float), rats["R"].to_numpy(dtype=float)
    orders = (gammaln(n + 1) - gammaln(dead + 1) - gammaln(n - dead + 1)).sum()

    found, log_likelihood = most_likely(
        lambda theta: beta_binomial_log_likelihood(
            design @ theta[:4], theta[4], dead, n, np.arange(n.max())
        ).sum(),
        np.zeros(5),
    )

    np.testing.assert_allclose(found, [1.34585, -3.11430, -3.86794, -3.92251, -1.14591], atol=1e-3)
    assert log_likelihood + orders == pytest.approx(-93.45675, abs=0.01)


def test_low_birth_weight_gives_the_books_logistic_regression():
    # Hosmer & Lemeshow; MASS::birthwt.
    births = pd.read_csv(REFERENCES / "MASS_birthwt.csv")
    race = pd.get_dummies(births["race"], drop_first=True).to_numpy(dtype=float)
    design = np.column_stack([np.ones(len(births)), births["age"], births["lwt"], race,
                              births["ftv"]])  # fmt: skip
    low = births["low"].to_numpy(dtype=float)
    expected = [1.295366, -0.023823, -0.014245, 1.003898, 0.433108, -0.049308]
    scale = design.std(axis=0) + (design.std(axis=0) == 0)

    found, log_likelihood = most_likely(
        lambda theta: binomial_log_likelihood((design / scale) @ theta, low, 1.0).sum(),
        np.zeros(6),
    )
    classical = sm.Logit(low, design).fit(disp=False)

    np.testing.assert_allclose(found / scale, expected, atol=1e-5)
    assert log_likelihood == pytest.approx(-111.28645, abs=1e-4)
    np.testing.assert_allclose(classical.params, expected, atol=1e-5)
    np.testing.assert_allclose(
        classical.bse, [1.0714, 0.0337, 0.0065, 0.4979, 0.3622, 0.1672], atol=1e-4
    )


def test_cow_inseminations_give_the_trend_and_centres_of_r():
    # gpk COWSDATA: 17,582 inseminations; R's glm on the midpoint hour and the centre.
    cows = pd.read_csv(REFERENCES / "cows_insemination_long.csv")
    ends = cows["t"].str.extract(r"(\d+)\D+(\d+)").astype(float)
    centres = pd.get_dummies(cows["centre"], drop_first=True).to_numpy(dtype=float)
    design = np.column_stack([np.ones(len(cows)), ends.mean(axis=1) / 100, centres])
    n, conceived = cows["ins"].to_numpy(dtype=float), cows["con"].to_numpy(dtype=float)

    found, _ = most_likely(
        lambda beta: binomial_log_likelihood(design @ beta, conceived, n).sum(), np.zeros(4)
    )
    classical = sm.GLM(
        np.column_stack([conceived, n - conceived]), design, family=sm.families.Binomial()
    ).fit()

    assert conceived.sum() == 2170
    np.testing.assert_allclose(found[1:] / [100, 1, 1], [-0.0190388, 0.425603, 0.722157], atol=1e-5)
    np.testing.assert_allclose(classical.params, found, atol=1e-5)
    assert classical.deviance == pytest.approx(121.790, abs=1e-3)
    assert classical.bse[1] / 100 == pytest.approx(0.0019674, abs=1e-6)
    shares = cows.groupby("centre")[["con", "ins"]].sum()
    np.testing.assert_allclose(
        shares["con"] / shares["ins"], [0.08651, 0.12230, 0.16094], atol=5e-6
    )

    bands = pd.get_dummies(cows["t"], drop_first=True).to_numpy(dtype=float)
    by_band = sm.GLM(
        np.column_stack([conceived, n - conceived]),
        np.column_stack([np.ones(len(cows)), bands, centres]),
        family=sm.families.Binomial(),
    ).fit()
    assert by_band.deviance == pytest.approx(92.181, abs=1e-3)
    # Five times what a binomial would leave: these counts spread more than a binomial's.
    assert by_band.df_resid == 18


def test_calving_difficulty_gives_the_logit_of_r():
    # Foulley & Gianola 1996, Genet Sel Evol 28:249; 363,759 births, R's glm.
    births = pd.read_csv(REFERENCES / "foulley.calving.txt", sep=r"\s+")
    difficult = births["count"].where(births["score"] != "S1", 0)
    table = births.assign(difficult=difficult).groupby(["sex", "age"])[["difficult", "count"]].sum()
    table = table.reset_index()
    dummies = pd.get_dummies(table[["sex", "age"]], drop_first=True).astype(float)
    design = sm.add_constant(dummies)

    classical = sm.GLM(
        np.column_stack([table["difficult"], table["count"] - table["difficult"]]), design,
        family=sm.families.Binomial(),
    ).fit()  # fmt: skip
    found, _ = most_likely(
        lambda beta: binomial_log_likelihood(
            design.to_numpy() @ beta, table["difficult"].to_numpy(float),
            table["count"].to_numpy(float),
        ).sum() / 1e5,
        np.zeros(design.shape[1]),
    )  # fmt: skip

    assert table["count"].sum() == 363_759
    assert classical.params["const"] == pytest.approx(-1.33157, abs=1e-4)
    assert classical.params["sex_M"] == pytest.approx(0.85876, abs=1e-4)
    assert classical.params["age_8.0+"] == pytest.approx(-2.81222, abs=1e-4)
    assert classical.deviance == pytest.approx(8.0316, abs=1e-3)
    assert classical.df_resid == 8
    # The optimizer stops at a gradient of 10⁻⁶ of 10⁵ births.
    np.testing.assert_allclose(found, classical.params, atol=1e-3)


def test_salamander_cells_without_animals_are_their_own_shares():
    # McCullagh & Nelder 1989, section 14.5, fixed effects only on all 360.
    matings = pd.read_csv(REFERENCES / "salamander.csv")
    cells = pd.get_dummies(matings["cross_fm"])
    mate = matings["mate"].to_numpy(dtype=float)

    found, log_likelihood = most_likely(
        lambda beta: binomial_log_likelihood(cells.to_numpy(float) @ beta, mate, 1.0).sum(),
        np.zeros(4),
    )

    assert list(cells) == ["RR", "RW", "WR", "WW"]
    np.testing.assert_allclose(found, [0.6931, 0.2231, -1.3182, 0.6931], atol=1e-4)
    assert log_likelihood == pytest.approx(-222.78735, abs=1e-4)


def restricted_likelihood(effects, variance, design):
    """Pooled effects by restricted maximum likelihood: coefficients, their errors, tau²."""

    def pooled(tau2):
        weight = 1 / (variance + tau2)
        precision = design.T @ (weight[:, None] * design)
        found = np.linalg.solve(precision, design.T @ (weight * effects))
        left = effects - design @ found
        log_likelihood = 0.5 * (
            np.log(weight).sum() - np.linalg.slogdet(precision)[1] - weight @ left**2
        )
        return log_likelihood, found, np.sqrt(np.diag(np.linalg.inv(precision)))

    tau2 = minimize_scalar(
        lambda tau2: -pooled(tau2)[0], bounds=(0.0, 5.0), method="bounded", options={"xatol": 1e-9}
    ).x
    return *pooled(tau2)[1:], float(tau2)


def test_vaccine_trials_give_metafors_restricted_likelihood():
    # Colditz et al. 1994; metafor 3.8-1.
    bcg = pd.read_csv(REFERENCES / "metadat_bcg.csv")
    treated, control = bcg["tpos"] + bcg["tneg"], bcg["cpos"] + bcg["cneg"]
    log_rr = np.log((bcg["tpos"] / treated) / (bcg["cpos"] / control)).to_numpy()
    variance = (1 / bcg["tpos"] - 1 / treated + 1 / bcg["cpos"] - 1 / control).to_numpy()
    ones = np.ones((len(bcg), 1))

    (mean,), (error,), tau2 = restricted_likelihood(log_rr, variance, ones)
    assert (mean, error, tau2) == pytest.approx((-0.7145, 0.1798, 0.3132), abs=5e-5)
    reach = norm.ppf(0.975) * error
    assert (mean - reach, mean + reach) == pytest.approx((-1.0669, -0.3622), abs=1e-4)
    # Higgins' share of the spread that is no chance, by its typical variance within a trial.
    weight = 1 / variance
    typical = (len(bcg) - 1) * weight.sum() / (weight.sum() ** 2 - (weight**2).sum())
    assert 100 * tau2 / (tau2 + typical) == pytest.approx(92.22, abs=0.005)

    by_latitude = np.column_stack([ones, bcg["ablat"]])
    slopes, errors, tau2 = restricted_likelihood(log_rr, variance, by_latitude)
    assert (slopes[1], errors[1]) == pytest.approx((-0.0291, 0.0072), abs=5e-5)
    # metafor's search stops when tau² moves by less than 10⁻⁵; its figure is rounded after that.
    assert tau2 == pytest.approx(0.0764, abs=5e-5 + 1e-5)


def test_the_pooled_contrast_behind_frozen_against_fresh_is_that_of_its_two_trials():
    # Hollinshead & Hanlon 2017: fresh 434 of 543, frozen 458 of 645; Cochran et al. 2023: fresh
    # 114 of 137, frozen 42 of 63. First the pooling itself on BCG vaccine trials (Colditz 1994).
    bcg = pd.read_csv(REFERENCES / "metadat_bcg.csv")
    treated, control = bcg["tpos"] + bcg["tneg"], bcg["cpos"] + bcg["cneg"]
    log_rr = np.log((bcg["tpos"] / treated) / (bcg["cpos"] / control))
    variance = 1 / bcg["tpos"] - 1 / treated + 1 / bcg["cpos"] - 1 / control
    pooled = combine_effects(log_rr.to_numpy(), variance.to_numpy(), method_re="dl")
    assert pooled.tau2 == pytest.approx(0.308760, abs=1e-6)
    assert pooled.q == pytest.approx(152.2330, abs=5e-5)

    counts = np.array([[434, 543, 458, 645], [114, 137, 42, 63]], dtype=float)
    fresh, n_fresh, frozen, n_frozen = counts.T
    log_or = logit(frozen / n_frozen) - logit(fresh / n_fresh)
    variance = 1 / fresh + 1 / (n_fresh - fresh) + 1 / frozen + 1 / (n_frozen - frozen)
    trials = combine_effects(log_or, variance, method_re="dl")
    assert trials.mean_effect_re == pytest.approx(-0.573, abs=5e-4)
    assert trials.sd_eff_w_re == pytest.approx(0.170, abs=5e-4)
    # The restricted likelihood pools the two trials to the same, within a third of the error.
    (mean,), (error,), _ = restricted_likelihood(log_or, variance, np.ones((2, 1)))
    assert mean == pytest.approx(trials.mean_effect_re, abs=error / 3)
    # The table's row is that, rounded down for a new kennel and more than twice as wide.
    assert PRIORS["c06"].centre == pytest.approx(trials.mean_effect_re, abs=0.03)
    assert PRIORS["c06"].sd > 2 * trials.sd_eff_w_re
