"""The densities that the product samples, term by term: its own padding, factors, priors, nodes.

The regression blocks are proved on outside tables (``test_regression.py``). Here the joint density
of the models that are built of them is written once more, breeding by breeding and by the names of
levels, and compared at arbitrary points.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpyro import handlers
from numpyro.infer.util import log_density
from scipy.special import expit, roots_hermitenorm
from scipy.stats import norm

from studcurve.analytics.models.breedings.posterior import Belief
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.density import Story
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.regression import (
    NormalPrior,
    RegressionTable,
    TrialArrays,
    _binomial_model,
    mixed_arrays,
)
from studcurve.analytics.priors import PRIORS
from studcurve.pipelines.fits.fixed_records import FixedRecords
from studcurve.pipelines.fits.registry import conception_data, litter_data


def at_a_point(story, seed):
    """Values of every site, padded levels included, and the log of their joint density."""
    rng = np.random.default_rng(seed)
    trace = handlers.trace(handlers.seed(story.model, 0)).get_trace(**story.arguments)
    values = {
        name: rng.normal(scale=0.7, size=np.shape(site["value"]))
        for name, site in trace.items()
        if site["type"] == "sample" and not site["is_observed"]
    }
    logs, _ = log_density(story.model, (), story.arguments, values)
    return values, float(logs)


def log_prior(values, rows, data, factor_sd):
    """Of every site: standard normals, and signed spreads of the table's scales."""
    total = sum(norm.logpdf(z).sum() for name, z in values.items() if name.startswith("z_"))
    for factor in data.groups:
        scale = factor_sd * PRIORS[rows.spreads[factor]].sd
        total += norm.logpdf(values[f"signed_{factor}"], scale=scale)
    return total


def coefficients_at(values, rows, factor_sd):
    z = dict(zip(rows.coefficients, values["z_coefficients"], strict=True))
    return {row: PRIORS[row].centre + factor_sd * PRIORS[row].sd * z[row] for row in z}


def effects_at(values, data, i):
    """Effects of one row's levels, found by their names."""
    total = 0.0
    for factor, index in data.groups.items():
        name = data.levels[factor][index[i]]
        place = sorted(data.levels[factor]).index(name)
        total += float(values[f"signed_{factor}"]) * values[f"z_{factor}"][place]
    return total


def hinge(x):
    return 0.25 * math.log1p(math.exp(x / 0.25))


def pregnant_prob(data, i, c, peak, shift):
    """Average over two nodes of dose, two of motility at each and seven of day, written out."""
    semen, route, pair = data.semen_type[i], data.route[i], data.inseminated_semen
    early = "c17_fresh" if semen in ("natural", "fresh") else f"c17_{semen}"
    late = "c18_intrauterine" if route in ("transcervical", "surgical") else "c18_vaginal"
    early_edge = {"natural": -2.0, "fresh": -2.0, "chilled": 0.0, "frozen": 2.5}[semen]
    late_edge = {"natural": 5.0, "vaginal": 5.0, "transcervical": 6.0, "surgical": 6.0}[route]

    def timing(day):
        term = c[early] * hinge(early_edge - day) + c[late] * hinge(day - late_edge)
        bump = math.exp(-0.5 * ((day - 3.3) / 0.7) ** 2) - 1.0
        return term + (peak * bump if semen == "frozen" else 0.0)

    straight = sum(c[row] * x for row, x in zip(conception.LINEAR, data.design[i], strict=True))
    total = 0.0
    for z_day, w_day in zip(*roots_hermitenorm(7), strict=True):
        made = [j for j in (0, 1) if j == 0 or data.inseminated[i, j]]
        best = max(timing(data.day_mean[i, j] + z_day * data.day_sd[i, j]) for j in made)
        for z_dose, w_dose in zip(*roots_hermitenorm(2), strict=True):
            dose = pair.dose_mean[i] + z_dose * pair.dose_sd[i]
            term = 0.0 if semen == "natural" else c["c11"] * hinge(dose) - c["c10"] * hinge(-dose)
            for short in short_given_dose(pair, i, z_dose, USUAL_PCT.get(semen)):
                weight = 0.5 * w_day * w_dose / (2.0 * math.pi)
                total += weight * expit(
                    c["c01"] + straight + shift + term + c["c23"] * short + best
                )
    return total


USUAL_PCT = {"fresh": 65.0, "chilled": 65.0, "frozen": 45.0}


def short_given_dose(pair, i, z_dose, usual_pct):
    """Mean less and plus the sd of tens of points below the usual, over 31 nodes, written out."""
    if usual_pct is None:
        return 0.0, 0.0
    rho = pair.correlation[i]
    centre = pair.motility_mean[i] + pair.motility_sd[i] * rho * z_dose
    sd = pair.motility_sd[i] * math.sqrt(1.0 - rho**2)
    mean = square = 0.0
    for z, w in zip(*roots_hermitenorm(31), strict=True):
        short = hinge((usual_pct - centre - sd * z) / 10.0)
        mean += w * short / math.sqrt(2.0 * math.pi)
        square += w * short**2 / math.sqrt(2.0 * math.pi)
    spread = math.sqrt(max(0.0, square - mean**2))
    return mean - spread, mean + spread


def forgotten(state, ratio, less):
    """Chance that a result of this state is never reported."""
    of_litter = less / (1 + ratio**8) ** (1 / 8)
    return of_litter if state == "whelped" else ratio * of_litter


def seen_prob(p, q, scan, whelped, *, is_owed, ratio, less):
    """Of scan, result and whether it was reported, state by state."""
    states = {"whelped": p * q, "lost": p * (1 - q), "missed": 1 - p}
    total = 0.0
    for state, prob in states.items():
        of_pregnant = state != "missed"
        positive = 0.97 if of_pregnant else 0.01
        of_scan = {1: positive, 0: 1 - positive, -1: 1.0}[scan]
        of_report = 1.0 if whelped == -1 else float((state == "whelped") == bool(whelped))
        lost = forgotten(state, ratio, less)
        of_silence = (lost if whelped == -1 else 1.0 - lost) if is_owed else 1.0
        total += prob * of_scan * of_report * of_silence
    return total


@pytest.mark.parametrize("factor_sd", [1.0, 2.0])
def test_the_joint_density_of_breedings_is_that_of_each_breeding_in_turn(factor_sd):
    data = conception_data(FixedRecords())
    rows = conception.PUBLISHED
    assert PRIORS["r05_sensitivity"].centre == 0.97
    assert PRIORS["r05_specificity"].centre == 0.99

    # Of the fixed records one is owed and was not reported, and none that was missed is owed.
    owed = np.array([True, True, True, True, False, True, True, True, True, False])
    data = replace(data, is_owed=owed)
    assert data.is_unreported.sum() == 2
    assert (owed & (data.whelped == 0)).sum() == 1
    values, found = at_a_point(conception.conception_story(data, Belief(factor_sd)), seed=3)

    c = coefficients_at(values, rows, factor_sd)
    peak = abs(float(values["signed_c19"]))
    wanted = log_prior(values, rows, data, factor_sd)
    wanted += norm.logpdf(values["signed_c19"], scale=factor_sd * PRIORS["c19"].sd)
    assert (PRIORS["m01"].centre, PRIORS["m02_chilled"].centre) == (2.0, -1.5)
    ratio = 2.0 * math.exp(factor_sd * PRIORS["m01"].sd * values["z_m01"])
    less = expit(-1.5 + factor_sd * 1.5 * values["z_m02"])
    kinds = ["natural", "fresh", "chilled", "frozen"]
    for i in range(data.n_breedings):
        p = pregnant_prob(data, i, c, peak, effects_at(values, data, i))
        seen = seen_prob(
            p, expit(c["c02"]), int(data.scanned_pregnant[i]), int(data.whelped[i]),
            is_owed=owed[i], ratio=ratio, less=less[kinds.index(data.semen_type[i])],
        )  # fmt: skip
        wanted += math.log(seen)
    assert set(data.groups) >= {"stud", "bitch", "breed", "clinic", "year"}
    assert found == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("factor_sd", [1.0, 2.0])
def test_the_joint_density_of_litters_is_that_of_each_litter_alone(factor_sd):
    # One litter's likelihood is proved by enumeration (test_litter.py); here without any padding.
    data = litter_data(FixedRecords())
    rows = litter.PUBLISHED

    values, found = at_a_point(litter.litter_story(data, Belief(factor_sd)), seed=4)

    c = coefficients_at(values, rows, factor_sd)
    wanted = log_prior(values, rows, data, factor_sd)
    for i in range(data.n_litters):
        straight = sum(c[row] * x for row, x in zip(litter.LINEAR, data.design[i], strict=True))
        known = data.n_stillborn[i] >= 0
        cases = np.array([data.n_stillborn[i]]) if known else np.arange(5.0)
        pups = litter.CountedPups(
            alive=data.n_alive[[i]],
            lost=np.maximum(data.n_lost[[i]], 0.0),
            lost_known=np.array([float(data.n_lost[i] >= 0)]),
            stillborn=cases[:, None],
            possible=(data.n_alive[i] + cases >= 1)[:, None],
            age=data.dam_age_years[[i]],
            support=np.arange(litter.N_SUPPORT + 1.0),
            steps=np.arange(30.0),
        )
        log_mean = np.array([straight + effects_at(values, data, i)])
        wanted += float(litter.litter_log_likelihood(c, log_mean, pups)[0])
    assert data.n_litters >= 3
    assert (data.n_stillborn < 0).any()
    assert found == pytest.approx(wanted, rel=1e-9)


def test_the_block_proved_on_outside_tables_draws_what_the_models_draw():
    # The same two functions make the coefficients and effects of both; here on an outside table.
    rng = np.random.default_rng(8)
    groups = {"stud": np.array([0, 1, 2, 0, 1, 2])}
    table = RegressionTable(
        rng.normal(size=(6, 2)), ("intercept", "x"), groups, {"stud": ("a", "b", "c")}
    )
    mean, sd, scale = np.array([0.5, -1.0]), np.array([1.0, 2.0]), 0.4
    arrays = mixed_arrays(table, NormalPrior(mean, sd), {"stud": scale})
    successes = np.array([1.0, 0.0, 1.0, 1.0, 0.0, 0.0])
    data = TrialArrays(arrays, successes, np.ones(6))

    values, found = at_a_point(Story(_binomial_model, {"data": data}, dict), seed=5)

    effect = float(values["signed_stud"]) * values["z_stud"]
    eta = table.design @ (mean + sd * values["z_coefficients"]) + effect[groups["stud"]]
    wanted = np.log(np.where(successes == 1, expit(eta), expit(-eta))).sum()
    wanted += norm.logpdf(values["z_coefficients"]).sum() + norm.logpdf(values["z_stud"]).sum()
    assert found == pytest.approx(wanted + norm.logpdf(values["signed_stud"], scale=scale))
