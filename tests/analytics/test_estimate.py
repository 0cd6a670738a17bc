"""What records alone say, against the sample mean that they are."""

import numpy as np
import pytest

from studcurve.analytics.estimate import records_alone

DRAWS = 200_000


def test_records_alone_are_the_sample_mean_with_its_standard_error():
    # Twelve readings of sd 2 and mean 1.3, a prior of N(0, 1): the conjugate posterior in closed
    # form, drawn; taking the prior out again must give back mean and standard error.
    rng = np.random.default_rng(3)
    n, sd, mean = 12, 2.0, 1.3
    prior = rng.normal(0.0, 1.0, DRAWS)
    precision = 1.0 + n / sd**2
    posterior = rng.normal(mean * n / sd**2 / precision, precision**-0.5, DRAWS)

    own = records_alone(posterior, prior)

    error = sd / n**0.5
    # A variance from so many draws is sure to 0.3 %, which the difference of precisions triples.
    assert own.median == pytest.approx(mean, abs=0.03)
    assert (own.upper - own.lower) / 2 == pytest.approx(1.6449 * error, rel=0.02)


def test_records_that_move_nothing_are_not_told_by_themselves():
    rng = np.random.default_rng(3)
    prior = rng.normal(0.0, 1.0, 10_000)

    assert records_alone(0.97 * prior, prior) is None
