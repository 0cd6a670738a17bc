"""The value of information against Raiffa's worked example, closed forms and nested simulation."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import norm

from analytics.information import (
    expected_value,
    value_of_partial_information,
    value_of_perfect_information,
    value_of_sample_information,
)

# Raiffa 1968, Decision Analysis, the oil wildcatter: dry, wet, soaking; drill or not; a sounding
# that shows no, open or closed structure. (recalled figures, arithmetic repeated here)
STATES = [0.5, 0.3, 0.2]
PAYOFF = [[-70.0, 0.0], [50.0, 0.0], [200.0, 0.0]]
SOUNDING = [[0.6, 0.3, 0.1], [0.3, 0.4, 0.3], [0.1, 0.4, 0.5]]


def test_the_oil_wildcatter_is_worth_what_raiffa_prints():
    assert expected_value(PAYOFF, STATES).max() == pytest.approx(20.0, abs=1e-9)
    assert value_of_perfect_information(PAYOFF, STATES) == pytest.approx(35.0, abs=1e-9)


def test_the_sounding_is_worth_twelve_and_a_half():
    assert value_of_sample_information(PAYOFF, SOUNDING, STATES) == pytest.approx(12.5, abs=1e-9)


@pytest.mark.parametrize(("mean", "sd"), [(0.0, 1.0), (0.5, 1.0), (-1.2, 0.7)])
def test_a_gaussian_gain_has_its_closed_form_partial_information(mean, sd):
    # Two options, gain N(mean, sd²) in one input plus noise of another: the unit normal loss
    # integral gives EVPPI = sd φ(m/sd) − |m| Φ(−|m|/sd) (Raiffa & Schlaifer 1961; memory).
    rng = np.random.default_rng(20240229)
    n = 40_000
    known = rng.normal(mean, sd, n)
    value = np.column_stack([np.zeros(n), known + rng.normal(0.0, 0.8, n)])
    exact = sd * norm.pdf(mean / sd) - abs(mean) * norm.cdf(-abs(mean) / sd)

    estimate = value_of_partial_information(value, known)

    # Monte Carlo error of a mean of max(gain, 0), plus that of the mean gain.
    tolerance = 4.0 * math.hypot(sd, 0.8) / math.sqrt(n) * 2.0
    assert estimate == pytest.approx(exact, abs=tolerance)


def test_regression_agrees_with_nested_simulation():
    rng = np.random.default_rng(7)
    n_outer, n_inner = 1_500, 400

    def options(dose, day):
        logit = 0.8 * dose[..., None] - np.array([0.0, 0.6]) * day[..., None] ** 2
        return 6.0 / (1.0 + np.exp(-(logit + np.array([0.0, 0.7]))))

    dose = rng.normal(0.0, 1.0, n_outer)
    inner = options(np.repeat(dose[:, None], n_inner, 1), rng.normal(0, 1, (n_outer, n_inner)))
    conditional = inner.mean(axis=1)
    # Estimating the base from the same outer draws keeps the common error out.
    nested = conditional.max(axis=1) - conditional[:, conditional.mean(axis=0).argmax()]

    n = 30_000
    known = rng.normal(0.0, 1.0, n)
    estimate = value_of_partial_information(options(known, rng.normal(0.0, 1.0, n)), known)

    error = nested.std() / math.sqrt(n_outer)
    assert nested.mean() > 0.0
    assert estimate == pytest.approx(nested.mean(), abs=4.0 * error + 0.02)


def test_an_input_that_does_not_vary_is_worth_nothing():
    value = np.random.default_rng(1).normal(size=(200, 3))

    assert value_of_partial_information(value, np.ones(200)) == 0.0


@given(arrays(np.float64, (6, 3), elements=st.floats(-50, 50)))
def test_information_is_never_worth_less_than_nothing_nor_more_than_certainty(value):
    weight = np.full(6, 1.0 / 6.0)
    likelihood = np.array([[0.7, 0.3]] * 3 + [[0.2, 0.8]] * 3)

    some = value_of_sample_information(value, likelihood, weight)

    assert some >= -1e-9
    assert some <= value_of_perfect_information(value, weight) + 1e-9


def test_draws_without_options_are_refused():
    with pytest.raises(ValueError, match="n_states, n_options"):
        value_of_perfect_information([1.0, 2.0])
