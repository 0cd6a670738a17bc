"""When a fall is announced: the rule at its edges, and what each look makes of a record."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import norm
from tests.analytics.stud_records import counted, kennel
from tests.analytics.test_stud_level import known_posterior, steady

from studcurve.analytics.models.stud.announcement import announce, rule
from studcurve.analytics.models.stud.inputs import MEASURES
from studcurve.analytics.models.stud.level import stated_fall
from studcurve.analytics.models.stud.looks import looks_at, past_by_look, rhythm_of

SURE = 0.98


def test_a_fall_to_half_is_announced_and_a_steady_stud_is_not():
    fallen = announce(known_posterior(kennel(steady()), recent=np.log(0.5)), "Rowan", SURE)
    same = announce(known_posterior(kennel(steady()), level_sd=0.1), "Rowan", SURE)

    assert (fallen.announced, fallen.fall_prob, fallen.reach_prob) == (True, 1.0, 1.0)
    assert fallen.enough
    assert not same.announced


@pytest.mark.parametrize(("left", "fall_prob"), [(0.91, 0.0), (0.89, 1.0)])
def test_an_announcement_states_a_fall_of_at_least_a_tenth(left, fall_prob):
    found = announce(known_posterior(kennel(steady()), recent=np.log(left)), "Rowan", SURE)

    assert found.fall_prob == fall_prob
    # Sure, and yet far from a fall worth acting on.
    assert (found.reach_prob, found.announced) == (0.0, False)


def test_what_is_stated_is_a_tenth_of_total_sperm_and_five_points_of_a_share():
    stated = {name: stated_fall(measure) for name, measure in MEASURES.items()}

    assert stated == {
        "total_sperm_m": 0.10, "progressive_motility_pct": 0.05, "normal_morphology_pct": 0.05,
    }  # fmt: skip


def test_of_a_short_record_no_change_is_told():
    posterior = known_posterior(kennel(steady(8, pause=90.0)), recent=np.log(0.5))

    announcement = announce(posterior, "Rowan", SURE)

    assert (announcement.enough, announcement.announced) == (False, False)
    assert np.isnan([announcement.fall_prob, announcement.reach_prob]).all()
    assert rhythm_of(posterior, "Rowan") is None


def test_a_fall_that_may_be_another_reader_is_not_announced():
    before = steady(30, evaluator="Ash")
    after = steady(30, evaluator="Birch", start="2023-02-27 10:00")
    # A second stud whom both have read in one month ties the two readers together.
    rng = np.random.default_rng(5)
    both = [
        counted(rng, "Hazel", [d], [6.5], evaluator=name)
        for d, name in ((400.0, "Ash"), (410.0, "Birch"), (420.0, "Ash"))
    ]

    alone, tied = (
        announce(known_posterior(kennel(before, after, *others), recent=np.log(0.4)), "Rowan", SURE)
        for others in ((), both)
    )

    assert alone.fall_prob == tied.fall_prob == 1.0
    assert (alone.is_separable, alone.announced) == (False, False)
    assert (tied.is_separable, tied.announced) == (True, True)


def test_each_look_is_the_conditional_normal_of_the_change():
    rng = np.random.default_rng(6)
    days = np.sort(rng.uniform(0.0, 800.0, 40))
    past = np.zeros((40, 5))
    past[:15] = 1.0 / 15.0
    chosen = {"level_sd": 0.5, "amplitude": 0.15, "length": 0.8, "noise": 0.2}

    looks = looks_at(days, 35, past, **chosen)

    # The same by drawing the story: regress the change on the readings of the last look.
    n = 400_000
    apart = np.abs(days[:, None] - days[None, :]) / 365.25 * np.sqrt(3.0) / 0.8
    slow = 0.15**2 * (1 + apart) * np.exp(-apart)
    f = rng.multivariate_normal(np.zeros(40), slow, size=n)
    ramp = np.clip((150.0 - (days[-1] - days)) / 60.0, 0.0, 1.0)
    f += rng.normal(0.0, 0.3, (n, 1)) * ramp
    y = 0.5 * rng.normal(size=(n, 1)) + f + np.sqrt(0.2) * rng.normal(size=(n, 40))
    change = f[:, -1] - f[:, :15].mean(axis=1)
    residual = change - y @ looks.weights[-1]
    # The residual of the best linear guess has the stated sd and no correlation with a reading.
    assert residual.std() == pytest.approx(looks.sd[-1], rel=4 / np.sqrt(2 * n))
    correlation = (y - y.mean(0)).T @ residual / n / (y.std(0) * residual.std())
    assert np.abs(correlation).max() < 4.5 / np.sqrt(n)


def test_his_own_past_grows_with_his_record_and_stays_where_too_few_lie_later():
    # Every ten days for 400 days: half of the record at the first new look, then at the last.
    days = 10.0 * np.arange(61.0)
    past = past_by_look(days, 41)
    assert np.count_nonzero(past[:, 0]) == 21
    assert np.count_nonzero(past[:, -1]) == 31
    assert past.sum(axis=0) == pytest.approx(1.0)

    # A burst in his first month, then a long pause: soon all but four lie in the first half.
    burst = np.concatenate([np.arange(20.0), 200.0 + np.arange(5.0), [900.0, 1200.0]])
    kept = past_by_look(burst, 25)
    assert np.count_nonzero(kept, axis=0).tolist() == [20, 20]


@pytest.mark.parametrize(
    ("fall_prob", "reach_prob", "is_announced"),
    [(0.98, 0.25, True), (0.979, 0.99, False), (0.99, 0.249, False), (0.99, 0.251, True)],
)
def test_a_fall_is_announced_from_its_sureness_and_from_its_size_on(
    fall_prob, reach_prob, is_announced
):
    assert bool(rule(fall_prob, reach_prob, SURE)) is is_announced


def test_a_deeper_estimate_is_never_announced_less():
    sd = 0.15
    estimates = np.linspace(-1.0, 0.2, 200)
    fall = ndtr((np.log(0.9) - estimates) / sd)
    announced = rule(fall, norm.cdf(np.log(0.6), estimates, sd), SURE)
    assert announced.any()
    assert (np.diff(announced.astype(int)) <= 0).all()


def test_each_stud_is_followed_with_an_amplitude_of_his_own():
    rng = np.random.default_rng(7)
    hazel = counted(rng, "Hazel", 14.0 * np.arange(60), rng.normal(6.5, 0.3, 60))
    posterior = known_posterior(kennel(steady(), hazel))
    amplitude = posterior.draws["amplitude"].copy()
    amplitude[:, posterior.data.studs.index("Rowan")] = 0.3
    posterior = replace(posterior, draws={**posterior.draws, "amplitude": amplitude})

    of = {stud: rhythm_of(posterior, stud) for stud in ("Hazel", "Rowan")}

    assert {spreads.amplitude for spreads in of["Rowan"].spreads} == {0.3}
    assert {spreads.amplitude for spreads in of["Hazel"].spreads} == {0.1}
