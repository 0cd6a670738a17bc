"""The studs' own levels are those of a plain mixed model where the story is one: three routes."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM
from tests.analytics.stud_records import collections, kennel, no_events

from studcurve.analytics.models.stud.arrays import stud_priors
from studcurve.analytics.models.stud.inputs import REST_REFERENCE_DAYS, prepare_stud_data
from studcurve.analytics.models.stud.model import fit_stud_quality

N_STUDS, N_EACH = 12, 15
BETWEEN, WITHIN = 0.5, 0.4

WIDE = 2.0
"""Prior scale of both spreads, four and five times the truth; the grid has the same."""

PLAIN = {
    "centre_sd": 100.0, "between_sd": WIDE, "within_sd": WIDE, "season_sd": 1e-9,
    "amplitude_sd": 1e-9, "recent_sd": 1e-9, "reader_sd": 1e-9, "tail": 1e9,
}  # fmt: skip
"""Priors under which levels and collections alone are left, wide and without long tails."""


def balanced():
    """Log totals of studs read without error, equally often, after four days' rest."""
    rng = np.random.default_rng(20261126)
    level = rng.normal(6.5, BETWEEN, N_STUDS)
    value = rng.normal(level[:, None], WITHIN, (N_STUDS, N_EACH))
    rows = kennel(*[
        collections(f"Stud {s:02d}", 20.0 * np.arange(N_EACH), sexual_rest_days=REST_REFERENCE_DAYS)
        for s in range(N_STUDS)
    ])  # fmt: skip
    data = prepare_stud_data(rows, no_events(), "total_sperm_m", extra_cv=0.0)
    at = np.array([np.flatnonzero(data.stud == s) for s in range(N_STUDS)])
    values = np.empty(data.n_collections)
    values[at] = value
    return replace(data, value=values, reading_sd=np.zeros(data.n_collections)), value


def on_grid(value):
    """Posterior of (between, within) of the balanced one-way layout; half-normal priors.

    Sums of squares within and between studs are sufficient and independent (Searle, Casella &
    McCulloch 1992, Variance Components, section 3.7; M).
    """
    of_stud = value.mean(axis=1)
    within_ss = ((value - of_stud[:, None]) ** 2).sum()
    between_ss = N_EACH * ((of_stud - of_stud.mean()) ** 2).sum()
    between = np.linspace(0.05, 2.0, 1200)[:, None]
    within = np.linspace(0.25, 0.65, 900)[None, :]
    both = within**2 + N_EACH * between**2
    log_reml = (
        -N_STUDS * (N_EACH - 1) * np.log(within) - within_ss / (2 * within**2)
        - 0.5 * (N_STUDS - 1) * np.log(both) - between_ss / (2 * both)
    )  # fmt: skip
    weight = np.exp(log_reml - log_reml.max() - (between**2 + within**2) / (2 * WIDE**2))
    weight /= weight.sum()
    shrunk = N_EACH * between**2 / both
    centre = value.mean()
    best = np.unravel_index(int(log_reml.argmax()), log_reml.shape)
    return {
        "between": (weight * between).sum(),
        "within": (weight * within).sum(),
        "level": centre + (weight * shrunk).sum() * (of_stud - centre),
        "reml": (float(between[best[0], 0]), float(within[0, best[1]])),
        "blup": float(shrunk[best]) * (of_stud - centre),
    }


@pytest.mark.slow
def test_levels_and_spreads_are_those_of_statsmodels_and_of_quadrature():
    data, value = balanced()
    exact = on_grid(value)

    # statsmodels against the grid: its REML is the grid's mode. Steps of the grid: 0.002, 0.0005.
    frame = pd.DataFrame({"y": value.ravel(), "stud": np.repeat(np.arange(N_STUDS), N_EACH)})
    found = MixedLM(frame["y"], np.ones(len(frame)), groups=frame["stud"]).fit(reml=True)
    assert np.isfinite(found.llf)
    assert np.sqrt(float(found.cov_re.iloc[0, 0])) == pytest.approx(exact["reml"][0], abs=0.003)
    assert np.sqrt(found.scale) == pytest.approx(exact["reml"][1], abs=0.001)
    blup = np.array([found.random_effects[s].iloc[0] for s in range(N_STUDS)])
    assert blup == pytest.approx(exact["blup"], abs=0.002)

    # The sampler against the grid, within four Monte Carlo errors at the gate's effective size.
    posterior = fit_stud_quality(data, seed=5, priors=stud_priors(data.measure)._replace(**PLAIN))
    n = min(posterior.diagnostics.min_ess_bulk, posterior.diagnostics.min_ess_tail)
    draws = posterior.draws
    for name in ("between", "within"):
        error = draws[name].std() / np.sqrt(n)
        assert draws[name].mean() == pytest.approx(exact[name], abs=4 * error), name
    error = draws["level"].std(axis=0) / np.sqrt(n)
    assert (np.abs(draws["level"].mean(axis=0) - exact["level"]) <= 4 * error).all()
