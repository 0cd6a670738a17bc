"""The value of information against Raiffa's worked example, closed forms and nested simulation."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import norm

from studcurve.analytics.measures.value_of_information import (
    conditional_mean,
    value_of_partial_information,
    value_of_sample_information,
)

# Raiffa 1968, Decision Analysis, the oil wildcatter: dry, wet, soaking; drill or not; a sounding
# that shows no, open or closed structure. (recalled figures, arithmetic repeated here)
STATES = [0.5, 0.3, 0.2]
PAYOFF = [[-70.0, 0.0], [50.0, 0.0], [200.0, 0.0]]
SOUNDING = [[0.6, 0.3, 0.1], [0.3, 0.4, 0.3], [0.1, 0.4, 0.5]]


def test_a_sounding_that_shows_the_state_is_worth_what_raiffa_prints():
    # Worth 20 without any information, 55 with perfect one.
    assert value_of_sample_information(PAYOFF, np.eye(3), STATES) == pytest.approx(35.0, abs=1e-9)


def test_the_sounding_is_worth_twelve_and_a_half_before_its_cost_of_ten():
    prior, pay, chances = np.array(STATES), np.array(PAYOFF), np.array(SOUNDING)
    seen = prior @ chances
    drilled = (prior[:, None] * chances / seen).T @ pay[:, 0]

    worth = value_of_sample_information(PAYOFF, SOUNDING, STATES)

    assert worth == pytest.approx(12.5, abs=1e-9)
    assert worth - 10.0 + 20.0 == pytest.approx(22.5, abs=1e-9)
    assert seen == pytest.approx([0.41, 0.35, 0.24], abs=1e-12)
    assert (drilled > 0.0).tolist() == [False, True, True]


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
    n_outer, n_inner, n_batches = 1_500, 400, 10

    def options(dose, day):
        logit = np.array([1.2, 0.1]) * dose[..., None] - np.array([0.1, 0.6]) * day[..., None] ** 2
        return 6.0 / (1.0 + np.exp(-(logit + np.array([0.0, 0.5]))))

    def nested(conditional):
        # Subtracting the better of two fixed options in the same draws keeps common error out.
        best = conditional.mean(axis=0).argmax()
        return conditional.max(axis=1) - conditional[:, best]

    dose = rng.normal(0.0, 1.0, n_outer)
    inner = options(np.repeat(dose[:, None], n_inner, 1), rng.normal(0, 1, (n_outer, n_inner)))
    whole = nested(inner.mean(axis=1))
    halves = (nested(inner[:, ::2].mean(axis=1)) + nested(inner[:, 1::2].mean(axis=1))) / 2.0
    # The maximum of noisy means is biased upwards as 1/n_inner: half the draws show by how much.
    by_nesting = whole - (halves - whole)

    batches = []
    for _ in range(n_batches):
        known = rng.normal(0.0, 1.0, 4_000)
        value = options(known, rng.normal(0.0, 1.0, 4_000))
        batches.append(value_of_partial_information(value, known))

    error = math.hypot(by_nesting.std() / math.sqrt(n_outer), np.std(batches) / math.sqrt(10))
    assert by_nesting.mean() > 4.0 * error
    assert np.mean(batches) == pytest.approx(by_nesting.mean(), abs=4.0 * error)


def test_an_input_of_three_values_is_averaged_within_each():
    rng = np.random.default_rng(3)
    days_late = rng.choice([0.0, 1.0, 3.0], p=[0.92, 0.06, 0.02], size=4000)
    value = np.column_stack([np.zeros(4000), 1.0 - days_late + rng.normal(0.0, 0.3, 4000)])
    means = [value[days_late == late].mean(axis=0) for late in (0.0, 1.0, 3.0)]
    shares = [(days_late == late).mean() for late in (0.0, 1.0, 3.0)]

    by_hand = np.dot(shares, [mean.max() for mean in means]) - value.mean(axis=0).max()

    assert value_of_partial_information(value, days_late) == pytest.approx(by_hand, abs=1e-9)


def test_an_input_that_does_not_vary_is_worth_nothing():
    value = np.random.default_rng(1).normal(size=(200, 3))

    assert value_of_partial_information(value, np.ones(200)) == 0.0


@given(
    arrays(np.float64, (60, 3), elements=st.floats(-50, 50)),
    arrays(np.float64, (60,), elements=st.sampled_from([0.0, 0.1, 0.5, 2.0, 3.0, *range(4, 12)])),
)
def test_learning_an_input_is_never_worth_less_than_nothing(value, known):
    assert value_of_partial_information(value, known) >= 0.0


@given(arrays(np.float64, (6, 3), elements=st.floats(-50, 50)))
def test_information_is_never_worth_less_than_nothing_nor_more_than_certainty(value):
    weight = np.full(6, 1.0 / 6.0)
    likelihood = np.array([[0.7, 0.3]] * 3 + [[0.2, 0.8]] * 3)

    some = value_of_sample_information(value, likelihood, weight)

    assert some >= -1e-9
    assert some <= value_of_sample_information(value, np.eye(6), weight) + 1e-9


def test_draws_without_options_are_refused():
    with pytest.raises(ValueError, match="n_states, n_options"):
        value_of_sample_information([1.0, 2.0], np.eye(2), [0.5, 0.5])
    for likelihood in (np.eye(2), np.ones(3)):
        with pytest.raises(ValueError, match="one row a state"):
            value_of_sample_information(PAYOFF, likelihood, STATES)


@pytest.mark.parametrize("weight", [[0.5, 0.3, 0.1], [0.5, 0.5], [0.5, 0.3]])
def test_weights_that_are_not_one_probability_a_state_are_refused(weight):
    with pytest.raises(ValueError, match="one probability a state"):
        value_of_sample_information(PAYOFF, SOUNDING, weight)


@pytest.mark.parametrize(("n_levels", "is_exact"), [(8, True), (9, False)])
def test_up_to_eight_values_are_taken_one_by_one_and_more_as_a_curve(n_levels, is_exact):
    rng = np.random.default_rng(5)
    # Nearly all draws at the first value: a curve with its knots there could not follow the rest.
    known = np.repeat(np.arange(float(n_levels)), [1000] + [10] * (n_levels - 1))
    outcome = rng.normal(size=known.size)
    means = np.array([outcome[known == level].mean() for level in range(n_levels)])

    found = conditional_mean(outcome, known)

    assert np.allclose(found, means[known.astype(int)], atol=1e-9) is is_exact


def test_a_curve_follows_a_cubic_and_takes_eight_numbers_of_the_draws():
    known = np.random.default_rng(6).normal(size=200)
    cubic = 1.0 - 2.0 * known + 0.5 * known**2 + 0.3 * known**3

    assert conditional_mean(cubic, known) == pytest.approx(cubic, abs=1e-8)
    # The mean of each draw's own indicator sums to the numbers fitted: a mean, a cubic, four knots.
    assert np.trace(conditional_mean(np.eye(200), known)) == pytest.approx(8.0, abs=1e-8)
