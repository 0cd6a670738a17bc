"""A plan from the kennel's own fits keeps every property of a plan, and says what it rests on."""

import itertools
import subprocess
import sys
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.plan.feasible import possible_options
from studcurve.analytics.plan.simulation.chain import Shift, bias_draws, simulate
from studcurve.analytics.plan.simulation.pups import draw_litter, pups_of
from studcurve.analytics.plan.simulation.unknowns import Chain, partner_effects
from studcurve.pipelines.plan.comparison import plan_breeding
from studcurve.pipelines.plan.records import dam_of, heat_of, pair_of, prices_on
from studcurve.pipelines.plan.wishes import Wishes, circumstances_of, unknowns_of

N_DRAWS = 1000
PAIR = ("Tarn", "Thyme")


@pytest.fixture(scope="module")
def records(reading_once, fitted_store_path):
    return reading_once[1](fitted_store_path, datetime(2026, 10, 31, 8))


@pytest.fixture(scope="module")
def asked(records):
    """The pair, its options and joint draws, and the draws of its litters."""
    pair = pair_of(records, *PAIR)
    heat = heat_of(records, pair.bitch)
    wishes = Wishes()
    given = circumstances_of(records, pair.stud, heat, wishes, prices_on(records)[0])
    known = records.conception.posterior
    unknowns = unknowns_of(
        records, pair, heat, given, wishes, Chain(known.draws, known.data.levels), seed=1,
        n_draws=N_DRAWS,
    )  # fmt: skip
    born = records.litter.posterior
    litter = draw_litter(
        Chain(born.draws, born.data.levels), dam_of(records, pair), seed=1, n_draws=N_DRAWS
    )
    options = {option.method: option for option in possible_options(given)[0]}
    return pair, list(options.values()), unknowns, litter


def chances(asked, shift):
    pair, options, unknowns, _ = asked
    return np.array([simulate(o, pair, unknowns, shift=shift).litter_prob for o in options])


@pytest.mark.parametrize(
    "worse",
    [
        lambda x: Shift(stored_h=12.0 * x),
        lambda x: Shift(doublings=-x),
        # Ten days after the plan every insemination is past the late edge: each further one is.
        lambda x: Shift(days=10.0 + x),
    ],
    ids=["later hour", "smaller dose", "further from the window"],
)
def test_nothing_worse_ever_raises_the_chance_in_any_draw(worse, asked):
    steps = [chances(asked, worse(x)) for x in range(5)]

    for better, next_one in itertools.pairwise(steps):
        assert np.all(next_one <= better + 1e-12)
    assert steps[-1].mean() < steps[0].mean()


def test_a_day_further_out_on_average_is_never_better_than_a_day_nearer(asked):
    _, options, _, _ = asked
    before = [chances(asked, Shift(days=-float(x))).mean(axis=1) for x in (12, 14, 16)]

    # Natural and fresh semen live for days: as early as that, only earlier is worse.
    early = [k for k, option in enumerate(options) if option.semen_type != "frozen"]
    assert np.all(before[1][early] <= before[0][early] + 1e-12)
    assert np.all(before[2][early] <= before[1][early] + 1e-12)


def test_a_bias_widens_each_logit_and_moves_no_centre(asked):
    pair, options, unknowns, _ = asked
    # What no column holds of one breeding stretches each draw's bias by its own factor.
    alike = replace(unknowns, beyond_sd=np.zeros(N_DRAWS))
    plain = replace(alike, bias={row: 0.0 * z for row, z in unknowns.bias.items()})
    wide = replace(alike, bias=bias_draws(np.random.default_rng(2), N_DRAWS, sd=1.0))

    for option in options:
        without, with_bias = (simulate(option, pair, draws).logit for draws in (plain, wide))
        assert with_bias.mean() == pytest.approx(without.mean(), abs=1e-9)
        if option.semen_type != "natural":
            assert with_bias.var() > without.var()


def test_a_smaller_dose_never_has_more_expected_pups(asked):
    pair, options, unknowns, litter = asked

    for option in options:
        means = [
            pups_of(simulate(option, pair, unknowns, shift=Shift(doublings=-x)), litter).mean_alive
            for x in (0.0, 1.0, 2.0)
        ]
        assert np.all(means[1] <= means[0] + 1e-12)
        assert np.all(means[2] <= means[1] + 1e-12)


def test_what_is_measured_is_never_worth_less_than_nothing_nor_more_than_certainty(records):
    plan = plan_breeding(
        records, "Tarn", "Thyme", Wishes(worth_of_litter=3000.0), seed=1, n_draws=N_DRAWS
    )
    values = np.column_stack([answer.outcome.litter_prob for answer in plan.answers])

    assert plan.worths
    for worth in plan.worths:
        assert set(worth.gain) == {"litters", "pups", "money"}
        assert min(worth.gain.values()) >= 0.0
        # Ways on their best day alone are fewer than the ways that are decided among.
        assert worth.gain["litters"] <= 1.0 - values.mean(axis=0).max()


def test_the_sources_say_which_parts_are_the_kennels_own(records):
    plan = plan_breeding(records, *PAIR, Wishes(), seed=1, n_draws=N_DRAWS)
    keys = [source.key for source in plan.sources]

    # The stud over time is fitted by a slow test alone; his last samples stand in here.
    assert keys == [
        "source.chance_fitted", "source.pups_fitted", "source.inbreeding_not_given",
        "source.sample_last", "source.storage_own", "source.shipments_own",
    ]  # fmt: skip
    assert plan.stored_until_h is not None


def test_the_storage_of_the_kennel_moves_the_dose_that_arrives(records, asked):
    pair, options, unknowns, _ = asked
    chilled = next(o for o in options if o.method == "chilled vaginal once")
    curve = partial(records.storage.curve, stud=pair.stud, rng=np.random.default_rng(3))
    undiluted = replace(unknowns, storage=curve(extender="none", n_draws=N_DRAWS))

    here, warm = (simulate(chilled, pair, draws) for draws in (unknowns, undiluted))

    assert np.median(warm.motile_dose_m) < np.median(here.motile_dose_m)
    assert warm.litter_prob.mean() < here.litter_prob.mean()


def test_a_dog_without_a_breeding_is_a_new_partner_with_less_certainty(records):
    posterior = records.conception.posterior
    chain = Chain(posterior.draws, posterior.data.levels)
    only_hers = {"bitch": conception.PUBLISHED.spreads["bitch"]}

    def spread(bitch):
        effect = partner_effects(chain, {"bitch": bitch}, only_hers, seed=1, n_draws=40 * N_DRAWS)
        return effect.std()

    # Over all bitches: four breedings make one of them surer by a twentieth or a tenth, and these
    # draws hide half a hundredth.
    known = np.mean([spread(bitch) for bitch in posterior.data.levels["bitch"]])
    assert spread("a bitch that was never bred") > 1.02 * known


@pytest.mark.slow
def test_nothing_is_compiled_on_the_way_to_an_answer(fitted_store_path):
    """In a process of its own, where no earlier test has compiled anything."""
    script = Path(__file__).parents[1] / "benchmarks" / "plan.py"

    run = subprocess.run(
        [sys.executable, str(script), str(fitted_store_path)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip

    assert "0 programs compiled" in run.stdout
