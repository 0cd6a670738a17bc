r"""A regression with grouping factors on any table: the block that several models are built of.

The model
---------
Row :math:`i` of a table has columns :math:`x_i` and, of each grouping factor :math:`f` (crossed in
any way), a level :math:`f(i)`:

.. math::

    \eta_i &= x_i^\top \beta + \sum_f \sigma_f z_{f(i)}, \qquad z \sim N(0, 1) \\
    \beta_k &\sim N(m_k, s_k^2), \qquad \sigma_f \sim \mathrm{HalfNormal}(h_f)

and an outcome that is a count out of trials (logistic; with a spread of its own beta-binomial) or a
positive count (zero-truncated Conway-Maxwell-Poisson). Everything is non-centred, and the data are
arguments: tables of one shape share one compiled program. Padded rows have weight 0.

Does not know what the columns mean, nor whether a column went along with something left out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist
import pandas as pd
from numpy.typing import NDArray

from studcurve.analytics.estimate import Estimate, Floats, estimate_from_draws
from studcurve.analytics.models.arrays import Array
from studcurve.analytics.models.likelihoods import (
    beta_binomial_log_likelihood,
    binomial_log_likelihood,
    truncated_count_log_likelihood,
)
from studcurve.analytics.models.sampling import SCHEDULE, Diagnostics, Draws, Run, sample

Ints = NDArray[np.int64]


@jax.tree_util.register_dataclass
@dataclass(frozen=True, slots=True)
class GroupingFactor:
    """One grouping factor as the sampler reads it.

    Attributes
    ----------
    name
        Of its sites; no array, so that two factors are two programs.
    index
        Level of each row, shape (n,).
    levels
        Noughts, shape (n_levels,): the number of levels is a length, not a number.
    scale
        Scale of the half-normal prior of the spread between levels.
    """

    name: str = field(metadata={"static": True})
    index: Array
    levels: Array
    scale: Array


class MixedTerms(NamedTuple):
    """Coefficients and effects of a regression as the sampler reads them.

    Attributes
    ----------
    coefficient_mean, coefficient_sd
        Normal priors of the coefficients, shape (n_coefficients,).
    factors
        Grouping factors, in the order in which they are drawn.
    """

    coefficient_mean: Array
    coefficient_sd: Array
    factors: tuple[GroupingFactor, ...]


class MixedArrays(NamedTuple):
    """The explaining side of a table as the sampler reads it.

    Attributes
    ----------
    design
        Shape (n, n_columns).
    weight
        1 where there is a row, shape (n,).
    terms
        A coefficient a column, and the grouping factors.
    """

    design: Array
    weight: Array
    terms: MixedTerms


class TrialArrays(NamedTuple):
    """Counts out of trials; both of shape (n,)."""

    mixed: MixedArrays
    n_success: Array
    n_trials: Array


class CorrelatedTrialArrays(NamedTuple):
    """Counts out of trials that go together.

    Attributes
    ----------
    trials
        The counts.
    steps
        0, 1, … up to the largest number of trials, exclusive.
    correlation
        Mean and sd of the normal prior of the logit of the correlation.
    """

    trials: TrialArrays
    steps: Array
    correlation: Array


class CountArrays(NamedTuple):
    """Positive counts.

    Attributes
    ----------
    mixed
        The explaining side.
    counts
        Shape (n,), each at least 1.
    support
        0, 1, … up to the largest count that is thought possible.
    log_dispersion
        Mean and sd of the normal prior of log ν.
    """

    mixed: MixedArrays
    counts: Array
    support: Array
    log_dispersion: Array


@dataclass(frozen=True, slots=True)
class RegressionTable:
    """The explaining side of a table.

    Attributes
    ----------
    design, columns
        Shape (n, n_columns), and a name for each column.
    groups, levels
        Level index of each row, and the names of the levels, by grouping factor.
    """

    design: Floats
    columns: tuple[str, ...]
    groups: Mapping[str, Ints]
    levels: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class NormalPrior:
    """Normal priors of the coefficients, one a column.

    Attributes
    ----------
    mean, sd
        Shape (n_columns,).
    """

    mean: Floats
    sd: Floats


@dataclass(frozen=True, slots=True)
class RegressionPosterior:
    """What a table taught.

    Attributes
    ----------
    table
        What was read.
    draws
        ``coefficients`` of shape (n_draws, n_columns), ``sd_<factor>``, ``effect_<factor>``, and
        the dispersion where there is one.
    diagnostics, seconds
        What the sampler's gate read, and wall time. [s]
    """

    table: RegressionTable
    draws: Mapping[str, Floats]
    diagnostics: Diagnostics
    seconds: float

    def coefficient(self, column: str) -> Floats:
        """Draws of one column's coefficient."""
        return self.draws["coefficients"][:, self.table.columns.index(column)]

    def estimate(self, column: str) -> Estimate:
        """One column's coefficient with its interval."""
        return estimate_from_draws(self.coefficient(column))


def regression_table(
    frame: pd.DataFrame, columns: Sequence[str], factors: Sequence[str], *, intercept: bool = True
) -> RegressionTable:
    """Turn a frame into the explaining side of a regression.

    Parameters
    ----------
    frame
        One row a unit; no value of a column or factor missing.
    columns
        Numeric or true/false columns; text columns get one column for each level but the first in
        alphabetical order, named ``column=level``.
    factors
        Columns that group rows.
    intercept
        Whether a column of ones, named ``intercept``, comes first.
    """
    parts = [pd.Series(1.0, frame.index, name="intercept")] if intercept else []
    for name in columns:
        if pd.api.types.is_numeric_dtype(frame[name]):
            parts.append(frame[name].astype(float))
        else:
            dummies = pd.get_dummies(frame[name], prefix=name, prefix_sep="=", drop_first=True)
            parts.extend(dummies[column].astype(float) for column in dummies)
    design = pd.concat(parts, axis=1)
    if design.isna().to_numpy().any() or frame[list(factors)].isna().to_numpy().any():
        raise ValueError("a regression table must not miss values; fill or drop them first")
    groups: dict[str, Ints] = {}
    levels: dict[str, tuple[str, ...]] = {}
    for factor in factors:
        found, index = np.unique(frame[factor].to_numpy(dtype=str), return_inverse=True)
        groups[factor], levels[factor] = index.astype(np.int64), tuple(found.tolist())
    return RegressionTable(
        design.to_numpy(dtype=np.float64), tuple(map(str, design.columns)), groups, levels
    )


def fit_mixed_logistic(
    table: RegressionTable,
    n_success: Floats,
    n_trials: Floats,
    *,
    coefficients: NormalPrior,
    spread_scale: Mapping[str, float],
    seed: int,
    schedule: Sequence[Run] = SCHEDULE,
) -> RegressionPosterior:
    """Fit a mixed logistic regression to single or grouped trials.

    Parameters
    ----------
    table
        Columns and grouping factors.
    n_success, n_trials
        Shape (n,); ones for single trials.
    coefficients
        Prior of each column. [logit]
    spread_scale
        Scale of the half-normal prior of each factor's spread. [logit]
    seed, schedule
        As in :func:`studcurve.analytics.models.sampling.sample`.

    Raises
    ------
    ValueError
        An array's length or a value does not fit the table.
    ConvergenceError
        The sampler did not settle.
    """
    arrays = _trial_arrays(table, n_success, n_trials, coefficients, spread_scale)
    return _fit(_binomial_model, table, arrays, (), seed, schedule)


def fit_beta_binomial(
    table: RegressionTable,
    n_success: Floats,
    n_trials: Floats,
    *,
    coefficients: NormalPrior,
    spread_scale: Mapping[str, float],
    correlation: tuple[float, float],
    seed: int,
    schedule: Sequence[Run] = SCHEDULE,
) -> RegressionPosterior:
    """Fit a beta-binomial regression: trials of one row go together.

    Parameters
    ----------
    table, n_success, n_trials, coefficients, spread_scale, seed, schedule
        As in :func:`fit_mixed_logistic`.
    correlation
        Mean and sd of the normal prior of the logit of the correlation within a row; its draws are
        called ``correlation_logit``.
    """
    trials = _trial_arrays(table, n_success, n_trials, coefficients, spread_scale)
    steps = np.arange(int(np.max(n_trials, initial=1)))
    arrays = CorrelatedTrialArrays(trials, steps, np.array(correlation))
    return _fit(_beta_binomial_model, table, arrays, ("correlation_logit",), seed, schedule)


def fit_truncated_count(
    table: RegressionTable,
    counts: Floats,
    *,
    coefficients: NormalPrior,
    spread_scale: Mapping[str, float],
    log_dispersion: tuple[float, float],
    n_support: int,
    seed: int,
    schedule: Sequence[Run] = SCHEDULE,
) -> RegressionPosterior:
    """Fit positive counts by a zero-truncated Conway-Maxwell-Poisson regression of the log mean.

    Parameters
    ----------
    table, coefficients, spread_scale, seed, schedule
        As in :func:`fit_mixed_logistic`, on the log scale.
    counts
        Shape (n,), each at least 1.
    log_dispersion
        Mean and sd of the normal prior of log ν; its draws are called ``log_dispersion``.
    n_support
        Largest count that is thought possible.
    """
    mixed = mixed_arrays(table, coefficients, spread_scale)
    found = np.asarray(counts)
    if found.shape != (len(table.design),) or not ((found >= 1) & (found <= n_support)).all():
        raise ValueError(
            f"counts must be one a row, each from 1 to n_support = {n_support}; got "
            f"{found.shape} for {len(table.design)} rows, from {found.min(initial=np.inf)} to "
            f"{found.max(initial=-np.inf)}"
        )
    arrays = CountArrays(mixed, found, np.arange(n_support + 1.0), np.array(log_dispersion))
    return _fit(_truncated_count_model, table, arrays, ("log_dispersion",), seed, schedule)


def mixed_arrays(
    table: RegressionTable, coefficients: NormalPrior, spread_scale: Mapping[str, float]
) -> MixedArrays:
    """What the linear predictor of an unpadded table reads."""
    n_columns = len(table.columns)
    mean, sd = np.asarray(coefficients.mean), np.asarray(coefficients.sd)
    if mean.shape != (n_columns,) or sd.shape != (n_columns,) or not (sd > 0).all():
        raise ValueError(
            f"coefficients must have a mean and an sd above 0 for each of the {n_columns} columns "
            f"{', '.join(table.columns)}; got {mean.shape} and {sd.tolist()}"
        )
    lacking = [factor for factor in table.groups if not spread_scale.get(factor, 0.0) > 0]
    if lacking:
        raise ValueError(
            f"spread_scale must be above 0 for each grouping factor; it is not for {lacking}"
        )
    factors = [
        grouping_factor(factor, index, len(table.levels[factor]), spread_scale[factor])
        for factor, index in table.groups.items()
    ]
    terms = MixedTerms(mean.astype(np.float64), sd.astype(np.float64), tuple(factors))
    return MixedArrays(table.design, np.ones(len(table.design)), terms)


def grouping_factor(name: str, index: Ints, n_levels: int, scale: float) -> GroupingFactor:
    """One grouping factor of at least one level; arguments as its attributes."""
    return GroupingFactor(name, index, np.zeros(max(1, n_levels)), np.asarray(scale, np.float64))


def _trial_arrays(
    table: RegressionTable,
    n_success: Floats,
    n_trials: Floats,
    coefficients: NormalPrior,
    spread_scale: Mapping[str, float],
) -> TrialArrays:
    mixed = mixed_arrays(table, coefficients, spread_scale)
    _check_trials(table, np.asarray(n_success), np.asarray(n_trials))
    return TrialArrays(mixed, np.asarray(n_success), np.asarray(n_trials))


def _check_trials(table: RegressionTable, n_success: Floats, n_trials: Floats) -> None:
    """Refuse counts that are not counts out of the trials of the table's rows."""
    n_rows = len(table.design)
    if n_success.shape != (n_rows,) or n_trials.shape != (n_rows,):
        raise ValueError(
            f"n_success and n_trials must have one number for each of the {n_rows} rows; got "
            f"{n_success.shape} and {n_trials.shape}"
        )
    wrong = ~((n_success >= 0) & (n_success <= n_trials))
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise ValueError(
            f"n_success must lie between 0 and n_trials in every row; row {row} has "
            f"{n_success[row]:g} of {n_trials[row]:g}"
        )


def draw_coefficients(terms: MixedTerms) -> Array:
    """Site ``coefficients``: independent normals, sampled in units of their prior sd."""
    size = terms.coefficient_mean.shape
    z = numpyro.sample("z_coefficients", dist.Normal(0.0, 1.0).expand(size).to_event(1))
    drawn: Array = numpyro.deterministic(
        "coefficients", terms.coefficient_mean + terms.coefficient_sd * z
    )
    return drawn


def draw_effects(terms: MixedTerms) -> Array | float:
    """Sites of the effects; the sum of the effects of each row, 0 without a grouping factor.

    The spread is sampled with a sign that cancels in the effects: a half-normal spread, without the
    steep wall that its logarithm has, so that steps can be longer. Few breedings say little about a
    spread: bent as in :func:`studcurve.analytics.models.sampling.half_normal_spread`, which rich
    records want, it had fewer effective draws. Sites ``signed_<factor>``, ``z_<factor>`` and,
    derived, ``sd_<factor>``.
    """
    total: Array | float = 0.0
    for factor in terms.factors:
        signed = numpyro.sample(f"signed_{factor.name}", dist.Normal(0.0, factor.scale))
        size = factor.levels.shape
        z = numpyro.sample(f"z_{factor.name}", dist.Normal(0.0, 1.0).expand(size).to_event(1))
        numpyro.deterministic(f"sd_{factor.name}", jnp.abs(signed))
        total = total + signed * z[factor.index]
    return total


def effect_draws(
    values: Mapping[str, Floats], levels: Mapping[str, Sequence[str]]
) -> dict[str, Floats]:
    """Effects by factor from sampled sites, without those of padded levels."""
    return {
        f"effect_{factor}": values[f"signed_{factor}"][:, None]
        * values[f"z_{factor}"][:, : len(names)]
        for factor, names in levels.items()
    }


def _mixed_predictor(data: MixedArrays) -> Array:
    return data.design @ draw_coefficients(data.terms) + draw_effects(data.terms)


def _binomial_model(data: TrialArrays) -> None:
    eta = _mixed_predictor(data.mixed)
    logs = binomial_log_likelihood(eta, data.n_success, data.n_trials)
    numpyro.factor("outcome", jnp.sum(data.mixed.weight * logs))


def _beta_binomial_model(data: CorrelatedTrialArrays) -> None:
    trials = data.trials
    eta = _mixed_predictor(trials.mixed)
    rho = numpyro.sample("correlation_logit", dist.Normal(*data.correlation))
    logs = beta_binomial_log_likelihood(eta, rho, trials.n_success, trials.n_trials, data.steps)
    numpyro.factor("outcome", jnp.sum(trials.mixed.weight * logs))


def _truncated_count_model(data: CountArrays) -> None:
    log_mean = _mixed_predictor(data.mixed)
    log_nu = numpyro.sample("log_dispersion", dist.Normal(*data.log_dispersion))
    logs = truncated_count_log_likelihood(log_mean, log_nu, data.counts, data.support)
    numpyro.factor("outcome", jnp.sum(data.mixed.weight * logs))


def _fit(
    model: Callable[..., None],
    table: RegressionTable,
    arrays: TrialArrays | CorrelatedTrialArrays | CountArrays,
    extra: tuple[str, ...],
    seed: int,
    schedule: Sequence[Run],
) -> RegressionPosterior:
    gated = ("coefficients", *(f"sd_{factor}" for factor in table.groups), *extra)
    sampled: Draws = sample(
        model, {"data": arrays}, name="the regression", gated=gated, seed=seed, schedule=schedule
    )
    values = {site: sampled.values[site] for site in gated}
    values |= effect_draws(sampled.values, table.levels)
    return RegressionPosterior(table, values, sampled.diagnostics, sampled.seconds)
