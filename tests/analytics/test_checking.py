"""Checks against counts by hand, other libraries, exact integrals and fits without a bitch."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from arviz_stats.base import array_stats
from scipy.special import expit
from scipy.stats import norm
from statsmodels.stats.power import NormalIndPower
from statsmodels.stats.proportion import proportion_effectsize
from tests.studies.kennels import silenced
from tests.studies.recovery import poor_kennel

from studcurve.analytics.models.breedings.records import prepare_conception
from studcurve.analytics.models.conception.chance import (
    partner_effects,
    recorded_pregnant_prob,
    reported_litter_prob,
)
from studcurve.analytics.models.conception.model import (
    PUBLISHED,
    fit_conception,
)
from studcurve.analytics.models.sampling import independent_draws
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.trust.checking import (
    MAX_PARETO_K,
    LeftOut,
    cross_validation,
    expected_and_observed,
    left_out,
    replicated_dispersion,
    replicated_misses,
    scores,
    smallest_difference,
    sparse_cells,
    with_other_prior,
)

REFERENCES = Path(__file__).parents[1] / "references"


def test_the_smallest_difference_is_seen_four_times_in_five():
    points = smallest_difference(60, 40, 0.8)

    # Second route: the power of the arcsine test at that difference, written out.
    effect = proportion_effectsize(0.8, 0.8 - points / 100)
    power = norm.cdf(effect / np.sqrt(1 / 60 + 1 / 40) - norm.ppf(0.975))
    assert power == pytest.approx(0.8, abs=1e-3)
    # statsmodels' power at that difference; its own search for one stops at 1e-6.
    by_statsmodels = NormalIndPower().power(effect, 60, 0.05, ratio=40 / 60)
    assert by_statsmodels == pytest.approx(0.8, abs=1e-9)
    assert smallest_difference(600, 400, 0.8) < points
    assert smallest_difference(2, 2, 0.2) is None
    assert smallest_difference(0, 5, 0.8) is None


def test_a_stud_used_only_frozen_is_named(demo_fit):
    data = demo_fit.data
    stud = np.array(data.levels["stud"])[data.groups["stud"]]
    kept = (stud != "Merle") | (data.semen_type == "frozen")
    fewer = replace(
        data, semen_type=data.semen_type[kept], route=data.route[kept], whelped=data.whelped[kept],
        groups={factor: index[kept] for factor, index in data.groups.items()},
    )  # fmt: skip

    assert ("stud", "Merle", "frozen") in sparse_cells(fewer)
    assert ("stud", "Merle", "frozen") not in sparse_cells(data)


def test_expected_litters_are_the_sum_of_the_published_chances(demo_fit):
    everything = np.ones(demo_fit.data.n_breedings, dtype=bool)

    found = expected_and_observed(demo_fit, everything, seed=1)

    assert found.n_known == (demo_fit.data.whelped >= 0).sum()
    assert found.n_whelped == (demo_fit.data.whelped == 1).sum()
    assert found.expected.lower < found.expected.median < found.expected.upper
    # The demo's truth lies within the published table, so it must not look impossible.
    assert 0.005 < found.as_many_prob <= 1.0


def test_breedings_of_bitches_left_out_are_predicted_no_worse_than_from_the_table(demo_fit):
    data = demo_fit.data
    predicted = left_out(demo_fit, seed=1)
    found = cross_validation(predicted, data, np.ones(data.n_breedings, dtype=bool))

    model, published, raw = (found.scores[way] for way in ("model", "published", "raw"))
    assert model.log_score_gain == 0.0
    assert published.log_score_gain > -2 * published.log_score_gain_se
    assert raw.log_score_gain > -2 * raw.log_score_gain_se
    assert found.n_unsure == 0
    assert found.max_pareto_k < MAX_PARETO_K
    assert 0.0 < model.brier < 0.25
    # Calibration in the large: a binomial's standard error, three times.
    assert abs(found.calibration_gap) < 3 * np.sqrt(0.25 / len(found.prob))


@pytest.mark.slow
def test_a_bitch_left_out_by_weights_is_predicted_as_by_a_fit_without_her():
    # 180 simulated breedings of 20 bitches, many seen by a scan alone.
    rng = np.random.default_rng(11)
    _, _, frames = poor_kennel(rng, 180, n_bitches=20, reported_share=0.6)
    data = prepare_conception(*frames)
    posterior = fit_conception(data, seed=3)
    known = np.flatnonzero(data.whelped >= 0)
    bitch = data.groups["bitch"]

    everything = np.ones(data.n_breedings, dtype=bool)
    predicted = left_out(posterior, seed=1)
    found = cross_validation(predicted, data, everything)

    # Weights have a variance, and their means an error to compare with, where Pareto k is below a
    # half; the bitch with a tenth of all breedings is above it.
    steady = predicted.pareto_k < 0.5
    assert steady.mean() > 0.8
    n_bred = np.bincount(bitch[known][steady])
    for b in np.argsort(-n_bred)[:4]:
        # Second route: everything of her is silent, so that her effect is a new bitch's.
        silent = bitch == b
        without = fit_conception(silenced(data, silent), seed=5)
        hers, draws = known[bitch[known] == b], without.draws
        others = partner_effects(without, hers) - draws["effect_bitch"][:, bitch[hers]]
        spread = draws["c20_bitch"]
        refitted = recorded_pregnant_prob(draws, data, hers, effects=others, spread=spread)
        # Of a result that was reported: litters are reported more often.
        refitted = reported_litter_prob(draws, data, hers, refitted * expit(draws["c02"])[:, None])
        gap = found.prob[bitch[known] == b] - refitted.mean(axis=0)
        # Both are means over draws, ours of every other one; weights this even leave more than half
        # of those effective.
        ess = array_stats.ess(refitted.reshape(4, -1, len(hers)), chain_axis=0, draw_axis=1)
        error = refitted.std(axis=0) * np.sqrt(1 / ess + 4 / ess)
        assert (np.abs(gap) < 4 * error).all()


def test_errors_of_the_calibration_are_of_bitches_and_not_of_breedings():
    rng = np.random.default_rng(3)
    prob = expit(rng.normal(0.4, 0.8, 150))
    whelped = (rng.random(150) < prob).astype(int)

    def calibrated(times):
        # Every bitch's breeding written down so many times over tells nothing more.
        told = LeftOut(
            dict.fromkeys(("model", "raw"), np.repeat(prob, times)), np.zeros(150 * times)
        )
        groups = {"bitch": np.repeat(np.arange(150), times)}
        data = SimpleNamespace(whelped=np.repeat(whelped, times), groups=groups)
        return cross_validation(told, data, np.ones(150 * times, dtype=bool))

    once, thrice = calibrated(1), calibrated(3)

    assert thrice.calibration_slope == pytest.approx(once.calibration_slope)
    # The regression's correction for few breedings is a share of 2 in 150 of the variance.
    assert thrice.calibration_slope_se == pytest.approx(once.calibration_slope_se, rel=0.01)
    assert thrice.calibration_gap_se == pytest.approx(once.calibration_gap_se)
    # Of single breedings the error of a mean is that of any mean.
    spread = np.std(whelped - prob, ddof=1)
    assert once.calibration_gap_se == pytest.approx(spread / np.sqrt(150))


def test_scores_are_those_written_out_by_hand():
    prob, whelped = np.array([0.8, 0.4]), np.array([1.0, 0.0])

    found = scores(prob, whelped, np.array([1, 2]), model=np.array([0.9, 0.4]))

    assert found.log_score == pytest.approx((np.log(0.8) + np.log(0.6)) / 2)
    assert found.brier == pytest.approx((0.04 + 0.16) / 2)
    gain = np.log(0.9) - np.log(0.8)
    assert found.log_score_gain == pytest.approx(gain / 2)
    # Two bitches with gains g and 0: their sum has the standard error |g|, their mean half of it.
    assert found.log_score_gain_se == pytest.approx(gain / 2)
    assert found.brier_gain == pytest.approx((0.04 - 0.01) / 2)
    assert found.brier_gain_se == pytest.approx((0.04 - 0.01) / 2)


def test_a_narrower_prior_by_weights_is_the_narrower_prior():
    # Second route: with no data the posterior is the prior, whose halved spread is known.
    draws = PUBLISHED.draw(np.random.default_rng(5), 20_000)

    narrow = with_other_prior(draws, ("c05",), 0.5, draws["c05"])
    wide = with_other_prior(draws, ("c05",), 4.0, draws["c05"])

    prior = PRIORS["c05"]
    reach = norm.ppf(0.95) * prior.sd / 2
    assert narrow.median == pytest.approx(prior.centre, abs=0.02)
    assert narrow.upper - narrow.lower == pytest.approx(2 * reach, rel=0.05)
    # Draws of the table cannot stand for one four times as wide: refused, to be fitted again.
    assert wide is None


def test_replicated_records_hold_the_bitches_that_missed_twice(demo_fit):
    everything = np.ones(demo_fit.data.n_breedings, dtype=bool)
    found = replicated_misses(demo_fit, everything, seed=2)

    missed = demo_fit.data.groups["bitch"][demo_fit.data.whelped == 0]
    assert found.observed == (np.bincount(missed) >= 2).sum()
    # Nothing of the demo may look impossible.
    assert found.as_many_prob > 0.005
    assert found.is_usual == (found.again.lower <= found.observed <= found.again.upper)


def test_the_spread_of_litter_size_is_variance_over_mean():
    # Poisson litters drawn again have a ratio of 1; ten equal litters have none.
    again = np.random.default_rng(3).poisson(5.0, (4000, 10))

    equal = replicated_dispersion(np.full(10, 5), again)
    spread = replicated_dispersion(np.array([1, 9] * 5), again)

    assert equal.observed == 0.0
    assert spread.observed == pytest.approx(np.var([1, 9] * 5, ddof=1) / 5.0)
    # The ratio times nine is a chi-squared of nine degrees of freedom: 3.33 to 16.92 at 5 and 95 %,
    # whole pups and few of them move the ends a little.
    assert equal.again.lower == pytest.approx(3.325 / 9, abs=0.06)
    assert equal.again.upper == pytest.approx(16.92 / 9, abs=0.06)
    assert not equal.is_usual
    assert not spread.is_usual
    assert replicated_dispersion(np.array([5]), again[:, :1]) is None
    assert replicated_dispersion(np.zeros(4, dtype=int), again[:, :4]) is None


def test_a_kennel_without_outcomes_is_checked_without_numbers(demo_fit):
    data = demo_fit.data
    silent = replace(data, whelped=np.full(data.n_breedings, -1))
    table = independent_draws(PUBLISHED.draw(np.random.default_rng(1), 500))
    posterior = PUBLISHED.restore(silent, table, seed=1)

    everything = np.ones(data.n_breedings, dtype=bool)
    assert left_out(posterior, seed=1) is None
    assert expected_and_observed(posterior, everything, seed=1) is None
    assert replicated_misses(posterior, everything, seed=1) is None
