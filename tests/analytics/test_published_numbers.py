"""Published numbers behind the table, recomputed from their printed counts."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import brentq
from scipy.stats import chi2_contingency, fisher_exact, linregress, poisson
from statsmodels.stats.contingency_tables import Table2x2

from studcurve.analytics.priors import PRIORS


def two_by_two(k1, n1, k2, n2):
    return np.array([[k1, n1 - k1], [k2, n2 - k2]])


@pytest.mark.parametrize(
    ("counts", "odds_ratio", "lower", "upper"),
    [
        # Mason & Rous 2014, Theriogenology 82:844-850: endoscopic against surgical.
        ((51, 78, 18, 40), 2.309, 1.060, 5.027),
        # Linde-Forsberg, Ström Holst & Govette 1999, Theriogenology 52:11-23: uterus and vagina.
        ((141, 167, 83, 141), 3.790, 2.217, 6.478),
        # Thomassen et al. 2006, Theriogenology 66:1645-1650: two inseminations against one.
        ((300, 384, 170, 241), 1.492, 1.033, 2.155),
        # Turk J Vet Anim Sci: transcervical against vaginal, frozen; the interval spans 1.
        ((9, 15, 4, 15), 4.125, 0.88, 19.3),
    ],
)
def test_odds_ratios_of_published_groups_come_out(counts, odds_ratio, lower, upper):
    table = Table2x2(two_by_two(*counts))

    assert table.oddsratio == pytest.approx(odds_ratio, abs=0.001)
    assert table.oddsratio_confint() == pytest.approx((lower, upper), rel=5e-3)


def test_the_log_odds_ratio_of_route_has_its_printed_error():
    table = Table2x2(two_by_two(141, 167, 83, 141))

    assert table.log_oddsratio == pytest.approx(1.3323, abs=1e-3)
    assert table.log_oddsratio_se == pytest.approx(0.2736, abs=1e-3)


@pytest.mark.parametrize(
    ("counts", "chi_square", "p", "fisher"),
    [((51, 78, 18, 40), 4.525, 0.0334, 0.048), ((9, 15, 4, 15), 3.394, 0.0654, 0.139)],
)
def test_what_two_papers_tested_is_recomputed(counts, chi_square, p, fisher):
    # The second paper prints p < 0.05; its own counts do not give that.
    table = two_by_two(*counts)
    found = chi2_contingency(table, correction=False)

    assert found.statistic == pytest.approx(chi_square, abs=1e-3)
    assert found.pvalue == pytest.approx(p, abs=1e-4)
    assert fisher_exact(table).pvalue == pytest.approx(fisher, abs=1e-3)


def test_the_fox_dose_response_gives_the_slope_behind_the_dose_prior():
    # Farstad, Fougner & Torres 1992, Theriogenology: conceptions at four doses of frozen semen.
    doses = np.array([150.0, 100.0, 75.0, 37.5])
    conceived, inseminated = np.array([186, 146, 91, 77]), np.array([213, 172, 119, 113])
    counts = np.column_stack([conceived, inseminated - conceived])
    fit = sm.GLM(
        counts, sm.add_constant(np.log2(doses / 100.0)), family=sm.families.Binomial()
    ).fit()

    assert fit.params == pytest.approx([1.5938, 0.6110], abs=1e-3)
    assert fit.bse == pytest.approx([0.1137, 0.1395], abs=1e-3)
    assert fit.deviance == pytest.approx(0.972, abs=1e-3)
    assert chi2_contingency(counts, correction=False)[:3:2] == pytest.approx((20.978, 3), abs=1e-3)
    # The prior stands below the fox, whose doses count all sperm, within its sd.
    assert abs(PRIORS["c10"].centre - fit.params[1]) < PRIORS["c10"].sd


def test_a_truncated_poisson_with_the_published_mean_litter_has_its_printed_shape():
    # Mean 5.4 pups: Borge et al. 2011, Theriogenology 75:911-919.
    rate = brentq(lambda lam: lam / -np.expm1(-lam) - 5.4, 1.0, 10.0)
    some = -np.expm1(-rate)

    assert rate == pytest.approx(5.374993, abs=1e-5)
    assert 5.4 * (1 + rate - 5.4) == pytest.approx(5.264961, abs=1e-5)
    assert poisson.pmf(1, rate) / some == pytest.approx(0.025007, abs=1e-5)
    assert poisson.sf(9, rate) / some == pytest.approx(0.047771, abs=1e-5)


def test_spread_and_losses_of_published_litters_come_out():
    # Gresky, Hamann & Distl 2005: 5.22 ± 2.01; Borge 2011: 10,810 litters with error 0.025.
    assert pytest.approx(0.774, abs=1e-3) == 2.01**2 / 5.22
    assert 0.025 * np.sqrt(10_810) == pytest.approx(2.60, abs=0.01)
    # Tønnessen et al. 2012, Theriogenology 77:1788-1801: printed 4.97 alive at 8 days, 4.92 at 8
    # weeks, of 5.4 born with 4.3 % stillborn, 3.7 % lost in the first week and 1 % later.
    alive_8_days = 5.4 * (1 - 0.043 - 0.037)
    assert alive_8_days == pytest.approx(4.97, abs=0.005)
    assert alive_8_days * 0.99 == pytest.approx(4.92, abs=0.005)


def test_the_series_behind_undiluted_semen_falls_five_percent_an_hour_at_first():
    # Epididymides of 75 dogs at 25 to 28 °C: 82.3, 76.3, 72.0, 60.3 % at 0, 1, 3, 6 h.
    hours = np.array([0.0, 1.0, 3.0, 6.0])
    slope = linregress(hours, np.log([82.3, 76.3, 72.0, 60.3])).slope

    assert slope == pytest.approx(-0.04962, abs=1e-5)


def test_two_trials_of_frozen_semen_pool_as_derived():
    # DerSimonian & Laird 1986 on log odds ratios 0.4859 (0.1379) and 0.9076 (0.3517).
    effect, variance = np.array([0.4859, 0.9076]), np.array([0.1379, 0.3517]) ** 2
    weight = 1 / variance
    q = weight @ (effect - weight @ effect / weight.sum()) ** 2
    tau2 = (q - 1) / (weight.sum() - (weight**2).sum() / weight.sum())
    weight = 1 / (variance + tau2)

    assert weight @ effect / weight.sum() == pytest.approx(0.5726, abs=1e-4)
    assert 1 / np.sqrt(weight.sum()) == pytest.approx(0.1704, abs=1e-4)
    assert np.sqrt(tau2) == pytest.approx(0.1324, abs=2e-4)
