r"""What would it be worth to know more before deciding?

Every function takes the value :math:`v_{a}(\theta)` of each option :math:`a` in each state or draw
:math:`\theta` and answers in the unit of the value (litters, pups or money):

.. math::

    \mathrm{EMV}   &= \max_a \mathbb{E}\, v_a(\theta) \\
    \mathrm{EVPI}  &= \mathbb{E} \max_a v_a(\theta) - \mathrm{EMV} \\
    \mathrm{EVPPI} &= \mathbb{E} \max_a \mathbb{E}[v_a(\theta) \mid \phi] - \mathrm{EMV} \\
    \mathrm{EVSI}  &= \mathbb{E} \max_a \mathbb{E}[v_a(\theta) \mid x] - \mathrm{EMV}

with :math:`\phi` a part of :math:`\theta` and :math:`x` the result of a study. Raiffa 1968,
Decision Analysis (R); the regression estimate of the EVPPI: Strong, Oakley & Brennan 2014, Med
Decis Making 34:311-326 (M).

Knows nothing of what a measurement costs: subtract that outside.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import BSpline

from studcurve.analytics.estimate import Floats

SPLINE_DEGREE = 3
"""Degree of the B-splines that estimate a conditional expectation."""

SPLINE_INNER_KNOTS = 4
"""Inner knots at even quantiles; enough for an option's smooth response to one input."""

FEW_VALUES = 8
"""An input with at most this many different values is taken value by value."""


def value_of_sample_information(
    value: ArrayLike, likelihood: ArrayLike, weight: ArrayLike
) -> float:
    """What seeing one of a few possible results before deciding would add (EVSI).

    Parameters
    ----------
    value
        Shape (n_states, n_options).
    likelihood
        Probability of each result in each state, shape (n_states, n_results); rows sum to 1.
    weight
        Probability of each state, shape (n_states,).

    Returns
    -------
    float
        In the unit of the value; never negative, never above the EVPI.
    """
    values, weights = _checked(value, weight)
    chances = np.asarray(likelihood, dtype=np.float64)
    if chances.ndim != 2 or chances.shape[0] != values.shape[0]:
        raise ValueError(
            f"likelihood needs one row a state ({values.shape[0]}); got shape {chances.shape}"
        )
    if not np.allclose(chances.sum(axis=1), 1.0):
        raise ValueError("each row of likelihood must sum to 1")
    # The probability of a result cancels against the posterior's denominator.
    joint = chances * weights[:, None]
    return max(0.0, float((joint.T @ values).max(axis=1).sum() - (weights @ values).max()))


def value_of_partial_information(value: ArrayLike, known: ArrayLike) -> float:
    """What learning some inputs before deciding would add, from joint draws by regression.

    With an input itself this is the EVPPI; with a simulated reading of it, error included, it is
    the EVSI of that reading.

    Parameters
    ----------
    value
        Value of every option in every draw, shape (n_draws, n_options).
    known
        What would be learned, same draws, shape (n_draws,) or (n_draws, n_inputs).

    Returns
    -------
    float
        In the unit of the value; never negative. Additive in the inputs: an interaction between
        two inputs that are both learned is missed.
    """
    values, _ = _checked(value, None)
    # Regressing differences to one option leaves the noise common to all options out.
    gains = values - values[:, [0]]
    conditional = conditional_mean(gains, known)
    # The fitted values average to the gains exactly: an intercept is among the regressors.
    return max(0.0, float(conditional.max(axis=1).mean() - gains.mean(axis=0).max()))


def conditional_mean(outcome: ArrayLike, known: ArrayLike) -> Floats:
    """Regress what depends on everything on a part that would be known.

    Parameters
    ----------
    outcome
        Shape (n_draws,) or (n_draws, n_outcomes).
    known
        Same draws, shape (n_draws,) or (n_draws, n_inputs).

    Returns
    -------
    numpy.ndarray
        Like outcome: its mean given the known inputs, additive in them.
    """
    outcomes = np.asarray(outcome, dtype=np.float64)
    inputs = np.asarray(known, dtype=np.float64)
    inputs = inputs[:, None] if inputs.ndim == 1 else inputs
    if inputs.shape[0] != outcomes.shape[0]:
        raise ValueError(
            f"known needs one row a draw ({outcomes.shape[0]}); got shape {inputs.shape}"
        )
    columns = [np.ones((len(inputs), 1)), *(_basis(column) for column in inputs.T)]
    basis = np.concatenate(columns, axis=1)
    # A few columns against many outcomes: on one core the normal equations took a tenth to a
    # seventh of the time of the columns themselves (4,000 draws, 12 to 150 outcomes). Normal draws
    # gave the splines a condition near 100; the answers differed by less than 10⁻¹².
    coefficients = np.linalg.lstsq(basis.T @ basis, basis.T @ outcomes)[0]
    return np.asarray(basis @ coefficients)


def _basis(x: Floats) -> Floats:
    """Columns in which a smooth response to one input is linear; none when it does not vary."""
    levels = np.unique(x)
    if len(levels) <= FEW_VALUES:
        return np.asarray(x[:, None] == levels[None, 1:], dtype=np.float64)
    inner = np.unique(np.quantile(x, np.linspace(0.0, 1.0, SPLINE_INNER_KNOTS + 2)[1:-1]))
    inner = inner[(inner > levels[0]) & (inner < levels[-1])]
    ends = [levels[0]] * (SPLINE_DEGREE + 1), [levels[-1]] * (SPLINE_DEGREE + 1)
    knots = np.concatenate([ends[0], inner, ends[1]])
    # The splines sum to one, which the intercept already is: one of them is left out.
    return np.asarray(BSpline.design_matrix(x, knots, SPLINE_DEGREE).toarray()[:, 1:])


def _checked(value: ArrayLike, weight: ArrayLike | None) -> tuple[Floats, Floats]:
    values = np.asarray(value, dtype=np.float64)
    if values.ndim != 2 or values.size == 0:
        raise ValueError(f"value needs shape (n_states, n_options); got {values.shape}")
    if weight is None:
        return values, np.full(values.shape[0], 1.0 / values.shape[0])
    weights = np.asarray(weight, dtype=np.float64)
    if weights.shape != values.shape[:1] or not np.isclose(weights.sum(), 1.0):
        raise ValueError("weight needs one probability a state, summing to 1")
    return values, weights
