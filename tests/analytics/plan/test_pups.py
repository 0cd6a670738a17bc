"""Pups of an option against the litter model written out with scipy, and their properties."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq
from scipy.special import expit, gammaln
from scipy.stats import betabinom
from tests.analytics.view_rows import inseminations, ovulations

from studcurve.analytics.models.breedings.semen import semen_given_records
from studcurve.analytics.models.litter.model import (
    COEFFICIENTS,
    LINEAR,
    PUBLISHED,
    prepare_litter,
)
from studcurve.analytics.plan.feasible import possible_options
from studcurve.analytics.plan.simulation.chain import Shift, simulate
from studcurve.analytics.plan.simulation.pups import (
    Dam,
    draw_litter,
    log_mean_born,
    pups_of,
)
from studcurve.analytics.plan.simulation.unknowns import Chain

SUPPORT = np.arange(0, 80)


@pytest.fixture(scope="module")
def outcomes(circumstances, pair, unknowns):
    options = {option.method: option for option in possible_options(circumstances)[0]}
    return {name: simulate(option, pair, unknowns) for name, option in options.items()}


def born_probs(log_mean, nu):
    """Chance of 0, 1, … pups of a Conway-Maxwell-Poisson count of this mean, zero cut off."""

    def weights(log_rate):
        logs = log_rate * SUPPORT - nu * gammaln(SUPPORT + 1)
        w = np.exp(logs - logs.max())
        return w / w.sum()

    log_rate = brentq(lambda value: weights(value) @ SUPPORT - math.exp(log_mean), -30, 80)
    probs = weights(log_rate)
    probs[0] = 0.0
    return probs / probs.sum()


def alive_probs(log_mean, draws):
    """Chance of 0, 1, … pups alive at 8 weeks given a litter, by enumeration."""
    theta = math.exp(draws["l14_within"])
    born_alive = np.zeros(len(SUPPORT))
    for n, prob in enumerate(born_probs(log_mean, math.exp(draws["l13"]))):
        if n:
            p = expit(
                draws["l14"] + draws["l14_size"] * (n - 5) + draws["l14_age"] * draws["years"]
            )
            still = betabinom(n, p / theta, (1 - p) / theta).pmf(np.arange(n + 1))
            born_alive[: n + 1] += prob * still[::-1]
    alive = np.zeros(len(SUPPORT))
    q = expit(draws["l15"])
    for n, prob in enumerate(born_alive):
        lost = betabinom(n, q / theta, (1 - q) / theta).pmf(np.arange(n + 1)) if n else [1.0]
        alive[: n + 1] += prob * np.asarray(lost)[::-1]
    return alive


def bent(x):
    """Positive part with the models' smooth edge, a quarter of a unit wide."""
    return 0.25 * math.log1p(math.exp(x / 0.25))


def outside_the_window(draws, day, first, last):
    """What a day before or after the window from first to last does to the log mean."""
    return draws["l16"] * bent(first - day) + draws["l17"] * bent(day - last)


def test_expected_pups_are_the_sum_over_every_litter_written_out(outcomes, litter):
    outcome = outcomes["frozen transcervical twice"]
    mine = pups_of(outcome, litter)
    draws = litter.coefficients

    for d in range(0, 4000, 250):
        one = {row: values[d] for row, values in draws.items()} | {"years": 1.5}
        log_mean = litter.partners[d] + sum(
            one[row] for row in ("l01_medium", "l03", "l05", "l06", "l07")
        )
        log_mean += 1.5 * one["l09"]
        # A dose below 100 M, with the models' own smooth edge of a quarter of a doubling.
        missing = 0.25 * math.log1p((100.0 / outcome.motile_dose_m[d]) ** (4.0 / math.log(2)))
        log_mean -= one["l08"] * missing
        # Frozen semen: a window of 2.5 to 6 days, a usual motility of 45 %.
        log_mean += outside_the_window(one, outcome.day[d], 2.5, 6.0)
        log_mean += one["l19"] * bent((45.0 - outcome.motility_pct[d]) / 10.0)
        expected = alive_probs(log_mean, one) @ SUPPORT

        # One Newton step leaves 7 in 1,000 of the asymptotic start at most.
        assert mine.mean_alive[d] == pytest.approx(
            outcome.litter_prob[d] * expected, rel=0.007, abs=1e-9
        )


def test_an_inbred_litter_has_the_pups_that_its_row_of_the_table_gives_written_out(
    outcomes, litter
):
    outcome = outcomes["natural mating once"]
    full_siblings = replace(litter, dam=replace(litter.dam, litter_inbreeding_pct=25.0))
    mine = pups_of(outcome, full_siblings)
    draws = litter.coefficients

    for d in range(0, 4000, 250):
        one = {row: values[d] for row, values in draws.items()} | {"years": 1.5}
        log_mean = litter.partners[d] + one["l01_medium"] + 1.5 * one["l09"]
        log_mean += outside_the_window(one, outcome.day[d], -2.0, 5.0)
        expected = alive_probs(log_mean + 25.0 * one["l11_litter"], one) @ SUPPORT

        assert mine.mean_alive[d] == pytest.approx(
            outcome.litter_prob[d] * expected, rel=0.007, abs=1e-9
        )


def test_a_litter_of_unknown_inbreeding_is_told_as_that_of_unrelated_parents(outcomes, litter):
    assert np.isnan(litter.dam.litter_inbreeding_pct)
    unrelated = replace(litter, dam=replace(litter.dam, litter_inbreeding_pct=0.0))

    for outcome in outcomes.values():
        one, other = pups_of(outcome, litter), pups_of(outcome, unrelated)
        assert np.array_equal(one.mean_alive, other.mean_alive)
        assert np.array_equal(one.alive, other.alive)


def test_drawn_pups_follow_the_exact_distribution_losses_going_together(outcomes, litter):
    outcome = outcomes["natural mating once"]
    n = len(outcome.litter_prob)
    # All on one day inside of the window, so that one exact distribution stands for all draws.
    outcome = replace(outcome, day=np.full(n, 1.5))
    fixed = {row: float(np.median(values)) for row, values in litter.coefficients.items()}
    same = replace(
        litter,
        coefficients={row: np.full(n, value) for row, value in fixed.items()},
        partners=np.zeros(n),
    )
    mean = fixed["l01_medium"] + 1.5 * fixed["l09"]

    shares = np.append(pups_of(outcome, same).shares, np.zeros(len(SUPPORT)))[: len(SUPPORT)]

    p = outcome.litter_prob.mean()
    exact = p * alive_probs(mean, fixed | {"years": 1.5})
    exact[0] += 1.0 - p
    for k in range(12):
        error = math.sqrt(exact[k] * (1.0 - exact[k]) / n)
        # Four errors of a share of 4,000 draws, and a thousandth of the Newton step.
        assert shares[k] == pytest.approx(exact[k], abs=4.0 * error + 1e-3 * exact[k] + 1e-9)


def test_drawn_pups_average_to_the_expected_ones_and_are_none_as_often_as_no_litter(
    outcomes, litter
):
    for outcome in outcomes.values():
        mine = pups_of(outcome, litter)
        error = (mine.alive - mine.mean_alive).std() / math.sqrt(len(mine.alive))
        assert mine.alive.mean() == pytest.approx(mine.mean_alive.mean(), abs=4 * error)
        none = (mine.alive == 0).mean()
        empty = 1.0 - outcome.litter_prob.mean()
        assert none > empty - 4 * math.sqrt(empty * (1 - empty) / len(mine.alive))
        assert mine.shares.sum() == pytest.approx(1.0)
        assert mine.shares[0] == none


def test_a_greater_chance_never_has_fewer_pups(pair, unknowns, outcomes, litter):
    option = outcomes["chilled vaginal once"].option
    # Where larger litters lose no larger share, a larger litter never has fewer pups.
    flat = replace(
        litter, coefficients={**litter.coefficients, "l14_size": np.zeros(unknowns.n_draws)}
    )
    whole, half = (
        pups_of(simulate(option, pair, unknowns, shift=Shift(doublings=d)), flat)
        for d in (0.0, -1.0)
    )

    assert np.all(half.mean_alive <= whole.mean_alive + 1e-12)
    assert np.all(half.alive <= whole.alive)


def test_a_breeding_enters_as_the_records_of_it_would(outcomes, litter):
    """The same breeding as a row of the views gives the model's own linear predictor."""
    outcome = outcomes["chilled transcervical twice"]
    dam = Dam(
        "Aster", "Tarn", "hound", 41.0, 6.5, is_first_litter=True, inbreeding_pct=4.0,
        litter_inbreeding_pct=6.25,
    )  # fmt: skip
    chain = Chain(PUBLISHED.draw(np.random.default_rng(1), 200), {})
    silent = {row: np.zeros(200) for row in PUBLISHED.spreads.values()}
    drawn = draw_litter(Chain({**chain.draws, **silent}, {}), dam, seed=1, n_draws=200)
    breedings = pd.DataFrame(
        {
            "breeding_id": [1], "bred_earliest": [pd.Timestamp("2026-05-01")], "bitch": ["Aster"],
            "stud": ["Tarn"], "breed": ["hound"], "semen_type": ["chilled"],
            "route": ["transcervical"], "whelped": [True], "n_litters_before": [0.0],
            "n_born_alive": [5.0], "n_stillborn": [0.0], "n_alive_8_weeks": [5.0],
            "is_sire_certain": [True], "adult_weight_kg": [41.0], "bitch_age_years": [6.5],
            "n_inseminations": [2.0], "inbreeding_pct": [4.0], "clinic": [None],
            "litter_inbreeding_pct": [6.25],
        }
    )  # fmt: skip
    at = pd.Timestamp("2026-05-01 09:00")
    inseminated = inseminations(
        {"breeding_id": 1, "n_in_breeding": 1, "motile_dose_m": 400.0, "semen_type": "chilled",
         "inseminated_earliest": at, "inseminated_latest": at,
         "collected_earliest": at - pd.Timedelta(days=2),
         "collected_latest": at - pd.Timedelta(days=2), "motility_read": "on arrival",
         "progressive_motility_pct": 30.0, "motility_read_hours": 48.0,
         "n_motility_evaluated": 10**9}
    )  # fmt: skip
    ovulation = ovulations((1, at - pd.Timedelta(days=8), 1e-3))
    design = prepare_litter(breedings, inseminated, ovulation).design[0]
    # 400 M is so far above 100 M, 30 % so far below 65 % and day 8 so far behind day 6 that neither
    # the errors of the records nor the edges are left of them; what is usual draws on the motility.
    recorded = np.column_stack([drawn.coefficients[row] for row in LINEAR]) @ design
    names = (np.array([name]) for name in ("chilled", "transcervical", "Tarn"))
    motility = semen_given_records(inseminated, *names).motility_mean[0]
    same = replace(
        outcome,
        motile_dose_m=np.full(200, 400.0),
        motility_pct=np.full(200, motility),
        hours_stored=np.full(200, 48.0),
        day=np.full(200, 8.0),
    )

    assert 30.0 < motility < 35.0
    assert log_mean_born(same, drawn) == pytest.approx(recorded, abs=2e-3)


def test_partners_of_the_records_keep_their_own_effects():
    draws = PUBLISHED.draw(np.random.default_rng(1), 100)
    effects = {
        "effect_bitch": np.column_stack([np.full(100, 0.3), np.full(100, -0.2)]),
        "effect_stud": np.full((100, 1), 0.1),
        "effect_breed": np.full((100, 1), 0.05),
    }
    levels = {"bitch": ("Aster", "Briar"), "stud": ("Tarn",), "breed": ("hound",)}

    drawn = draw_litter(
        Chain({**draws, **effects}, levels), Dam("Briar", "Tarn", "hound"), seed=2, n_draws=300
    )

    assert drawn.partners == pytest.approx(np.full(300, -0.05))
    assert set(drawn.coefficients) == set(COEFFICIENTS)
    assert drawn.coefficients["l08"].min() >= 0.0
