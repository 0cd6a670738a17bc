"""What records supply of a number and what they say alone, against the conjugate normal case."""

import numpy as np
import pytest
from scipy import stats

from studcurve.analytics.estimate import (
    Before,
    RecordsWeight,
    before_of,
    below_zero_prob,
    records_alone,
    records_weight,
)


def normal_draws(mean, sd):
    """Draws whose mean, median and variance are exactly those of a normal."""
    z = stats.norm.ppf((np.arange(1001) + 0.5) / 1001)
    return mean + sd * z / z.std()


def conjugate(n, sd, mean, prior):
    """Posterior of a normal mean after n readings of known sd, in closed form."""
    precision = 1 / prior.sd**2 + n / sd**2
    return normal_draws((prior.mean / prior.sd**2 + mean * n / sd**2) / precision, precision**-0.5)


@pytest.mark.parametrize("prior", [Before(0.0, 0.0, 1.0), Before(-0.5, -0.5, 0.35)])
def test_records_alone_are_the_sample_mean_with_its_standard_error(prior):
    after = conjugate(200, 2.0, 1.3, prior)

    own = records_alone(after, prior)

    assert own.median == pytest.approx(1.3)
    assert (own.upper - own.lower) / 2 == pytest.approx(stats.norm.ppf(0.95) * 2.0 / 200**0.5)


def test_the_share_is_the_records_part_of_the_precision_and_the_shift_that_of_the_middle():
    prior = Before(-0.5, -0.5, 0.35)
    after = conjugate(12, 2.0, 1.3, prior)

    weight = records_weight(after, prior)

    # Precisions add up: 12 readings of sd 2 against one of sd 0.35.
    share = (12 / 4) / (12 / 4 + 1 / 0.35**2)
    assert weight.share == pytest.approx(share)
    assert weight.shift_sds == pytest.approx(share * (1.3 + 0.5) / 0.35)


@pytest.mark.parametrize(("share", "speaks"), [(0.299, False), (0.301, True)])
def test_records_speak_alone_from_three_tenths_of_the_weight(share, speaks):
    prior = Before(0.0, 0.0, 1.0)
    after = normal_draws(0.2, (1 - share) ** 0.5)

    assert (records_alone(after, prior) is not None) == speaks


@pytest.mark.parametrize(
    ("share", "shift", "says_nothing"),
    [(0.099, 0.099, True), (0.099, -0.099, True), (0.1, 0.0, False), (0.0, 0.1, False),
     (0.0, -0.4, False)],
)  # fmt: skip
def test_records_that_moved_the_middle_are_never_said_to_say_nothing(share, shift, says_nothing):
    assert RecordsWeight(share, shift).is_nothing == says_nothing


def test_wider_draws_than_before_give_no_share_and_what_was_certain_none_either():
    assert records_weight(normal_draws(0.0, 1.2), Before(0.0, 0.0, 1.0)).share == 0.0
    assert records_weight(np.zeros(3), before_of(np.ones(3))) == RecordsWeight(0.0, 0.0)


def test_the_chance_of_fewer_is_told_by_the_draws_and_by_weighted_ones_alike():
    draws = normal_draws(-0.5, 0.35)
    # Weighting a normal by the ratio of two normals gives the other one.
    weight = stats.norm.pdf(draws, -0.25, 0.25) / stats.norm.pdf(draws, -0.5, 0.35)

    assert below_zero_prob(draws) == pytest.approx(stats.norm.cdf(0.5 / 0.35), abs=1e-3)
    told = below_zero_prob(draws, weight / weight.sum())
    assert told == pytest.approx(stats.norm.cdf(0.25 / 0.25), abs=2e-3)
