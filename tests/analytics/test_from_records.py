"""What the demo's records supply of the chain, by one definition on the logit."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.special import expit, logit

from studcurve.analytics.estimate import Estimate, before_of, records_weight
from studcurve.analytics.models.breedings.posterior import before_records, published_estimate
from studcurve.analytics.models.conception.bred import Alike, chain_coefficients, ended_alike
from studcurve.analytics.models.conception.chance import mean_litter_prob, recorded_pregnant_prob
from studcurve.analytics.models.conception.model import COEFFICIENTS, PUBLISHED
from studcurve.analytics.priors import N_PRIOR_DRAWS, PRIORS


def test_moments_before_the_records_are_those_of_the_rows_distribution():
    for row in (*COEFFICIENTS, "c19", "c20_bitch"):
        prior = PRIORS[row]
        one = stats.norm(prior.centre, prior.sd) if prior.distribution == "normal" else (
            stats.halfnorm(scale=prior.sd))  # fmt: skip
        before, told = before_records(row), published_estimate(row)

        assert (before.mean, before.median, before.sd) == pytest.approx(
            (one.mean(), one.median(), one.std())
        )
        assert (told.lower, told.median, told.upper) == pytest.approx(one.ppf([0.05, 0.5, 0.95]))
    with pytest.raises(ValueError, match="log-normal"):
        before_records("s01")


def test_another_draw_of_the_published_table_changes_nothing_that_is_shown_of_a_row(demo_fit):
    def shown(seed):
        drawn = replace(
            demo_fit, prior_draws=PUBLISHED.draw(np.random.default_rng(seed), N_PRIOR_DRAWS)
        )
        return chain_coefficients(drawn, ())

    assert len({shown(seed) for seed in range(20)}) == 1


def test_a_row_speaks_for_itself_from_three_tenths_and_never_where_all_ended_alike(demo_fit):
    for row in chain_coefficients(demo_fit, ()):
        if isinstance(row.own, Estimate):
            assert row.records_weight.share >= 0.3
    data = demo_fit.data
    vaginal = (data.semen_type == "frozen") & (data.route == "vaginal")
    for came, gave_litters in ((0, False), (1, True)):
        alike = replace(data, whelped=np.where(vaginal, came, data.whelped))
        rows = {row.row: row for row in chain_coefficients(replace(demo_fit, data=alike), ())}
        # Rows of every kind beside it hold other breedings.
        assert rows["c07"].own == Alike(int(vaginal.sum()), gave_litters)
        assert not isinstance(rows["c06"].own, Alike)
    # One that ended otherwise, or is not told, takes the word back, and leaves the others alone.
    first = np.flatnonzero(vaginal)[0]
    mixed = np.where(vaginal, 0, data.whelped)
    mixed[first] = 1
    everyone = np.ones(data.n_breedings, dtype=bool)
    assert ended_alike(replace(data, whelped=mixed), "c07", everyone) is None
    without = np.arange(data.n_breedings) != first
    assert ended_alike(replace(data, whelped=mixed), "c07", without).n == vaginal.sum() - 1
    assert ended_alike(data, "c17_fresh", everyone) is None
    assert ended_alike(replace(data, whelped=np.full(len(mixed), -1)), "c07", everyone) is None


def test_known_partners_make_the_chance_surer_than_the_table_alone(demo_fit):
    chosen = demo_fit.data.semen_type == "frozen"

    published, together = (mean_litter_prob(one, chosen) for one in (demo_fit.before, demo_fit))

    known = demo_fit.data.whelped[chosen]
    assert together.std() < published.std()
    assert abs(together.mean() - known[known >= 0].mean()) < abs(
        published.mean() - known[known >= 0].mean()
    )


def test_before_the_records_the_same_partners_are_drawn_and_not_averaged_out(demo_fit):
    # Second route: each breeding's partners averaged over their spread by quadrature. The mean is
    # the same, since each breeding's partners have that spread; the mean over one stud's breedings
    # is surer than it should be, since his effect is common to all of them.
    data = demo_fit.data
    chosen = data.groups["stud"] == data.levels["stud"].index("Tarn")
    drawn = mean_litter_prob(demo_fit.before, chosen)
    prior = demo_fit.prior_draws
    spread = np.sqrt(sum(prior[PUBLISHED.spreads[factor]] ** 2 for factor in data.groups))
    averaged = recorded_pregnant_prob(prior, data, chosen, spread=spread).mean(axis=1)
    averaged = averaged * expit(prior["c02"])

    difference = drawn - averaged
    assert abs(difference.mean()) < 4 * difference.std() / len(difference) ** 0.5
    assert drawn.std() > averaged.std()


def test_a_share_of_a_derived_chance_is_sure_to_a_few_points(demo_fit):
    chosen = demo_fit.data.semen_type == "chilled"
    together = logit(mean_litter_prob(demo_fit, chosen))
    before = logit(mean_litter_prob(demo_fit.before, chosen))
    weight = records_weight(together, before_of(before))
    halves = [records_weight(together, before_of(half)) for half in np.split(before, 2)]

    # The variance of a near normal sample is sure to sqrt(2/n) of itself; of halves, four errors.
    error = (1 - weight.share) * (2 / len(before)) ** 0.5
    assert error < 0.02
    assert abs(halves[0].share - halves[1].share) < 4 * 2 * error
