"""Results that nobody reported: what the chances would be if misses were forgotten more often."""

from dataclasses import replace

import numpy as np
import pytest
from tests.studies.recovery import poor_kennel

from studcurve.analytics.models.breedings.records import prepare_conception
from studcurve.analytics.models.conception.chance import mean_litter_prob
from studcurve.analytics.models.conception.model import fit_conception
from studcurve.analytics.trust import refit
from studcurve.analytics.trust.forgotten import (
    RATIOS,
    as_plain,
    forgotten,
    from_plain,
    moved_points,
)
from studcurve.analytics.trust.prior_width import NARROW, WIDE


@pytest.fixture(scope="module")
def gappy():
    _, _, frames = poor_kennel(np.random.default_rng(5), 90, n_bitches=30, reported_share=0.6)
    return fit_conception(prepare_conception(*frames), seed=3)


@pytest.mark.slow
def test_misses_forgotten_as_often_as_litters_are_no_reason_to_say_another_chance(gappy):
    everything = np.ones(gappy.data.n_breedings, dtype=bool)

    found = forgotten(gappy, everything, seed=4)

    # Second route: a likelihood that does not ask who reports.
    nothing = np.zeros(len(everything), dtype=bool)
    silent = replace(gappy.data, is_owed=nothing)
    expected = mean_litter_prob(fit_conception(silent, seed=9), everything)
    error = expected.std() / np.sqrt(400)
    assert found.everything[0].median == pytest.approx(np.median(expected), abs=5 * error)
    medians = [one.median for one in found.everything]
    assert medians == sorted(medians, reverse=True)
    assert moved_points(found.everything) > 1.0
    # What is believed lies between the first and the last.
    own = np.median(mean_litter_prob(gappy, everything))
    assert medians[2] < own < medians[0] + 5 * error
    assert found.n_unreported == gappy.data.is_unreported.sum() > 20
    assert from_plain(as_plain(found)) == found


def test_a_kennel_without_a_missing_result_or_too_large_to_fit_again_has_nothing_to_say(
    gappy_published, monkeypatch
):
    data, everything = gappy_published.data, np.ones(gappy_published.data.n_breedings, dtype=bool)
    reported = replace(data, is_owed=np.zeros(len(everything), dtype=bool))

    assert forgotten(replace(gappy_published, data=reported), everything, seed=1) is None
    assert forgotten(gappy_published, ~data.is_unreported, seed=1) is None
    monkeypatch.setattr(refit, "REFIT_UP_TO", data.n_breedings - 1)
    assert forgotten(gappy_published, everything, seed=1) is None


@pytest.fixture(scope="module")
def gappy_published():
    from studcurve.analytics.models.conception.model import PUBLISHED

    _, _, frames = poor_kennel(np.random.default_rng(5), 40, n_bitches=10, reported_share=0.6)
    return PUBLISHED.restore(prepare_conception(*frames), PUBLISHED.independent_draws(2), seed=2)


def test_what_is_kept_of_further_fits_means_what_it_meant():
    # No set of values holds these: whoever changes one raises the version of the model.
    assert refit.REFIT_UP_TO == 300
    assert RATIOS == (1.0, 3.0, 10.0)
    assert (NARROW, WIDE) == (0.5, 2.0)
