"""When a fall is announced, and what a rhythm of collections can show: against drawn stories."""

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import norm
from tests.analytics.stud_records import counted, kennel
from tests.analytics.test_stud_level import known_posterior, steady

from studcurve.analytics.models.stud import announcement
from studcurve.analytics.models.stud.announcement import (
    MOST_SETTLING,
    announce,
    looks_at,
    power,
    rule,
)
from studcurve.analytics.models.stud.level import REST_BEFORE_REPEAT_DAYS


def test_a_fall_to_half_is_announced_and_a_steady_stud_is_not():
    fallen = announce(known_posterior(kennel(steady()), recent=np.log(0.5)), "Rowan")
    same = announce(known_posterior(kennel(steady()), level_sd=0.1), "Rowan")

    assert (fallen.announced, fallen.fall_prob, fallen.reach_prob) == (True, 1.0, 1.0)
    assert fallen.enough
    assert not same.announced


def test_of_a_short_record_no_change_is_told_and_no_promise_made():
    posterior = known_posterior(kennel(steady(8, pause=90.0)), recent=np.log(0.5))

    announcement = announce(posterior, "Rowan")

    assert (announcement.enough, announcement.announced) == (False, False)
    assert np.isnan([announcement.fall_prob, announcement.reach_prob]).all()
    assert power(posterior, "Rowan", rng=np.random.default_rng(1), n_simulated=5) is None


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
        announce(known_posterior(kennel(before, after, *others), recent=np.log(0.4)), "Rowan")
        for others in ((), both)
    )

    assert alone.fall_prob == tied.fall_prob == 1.0
    assert (alone.is_separable, alone.announced) == (False, False)
    assert (tied.is_separable, tied.announced) == (True, True)


def test_what_settles_a_question_is_nothing_where_the_change_is_known():
    known = power(known_posterior(kennel(steady())), "Rowan", rng=np.random.default_rng(1),
                  n_simulated=10)  # fmt: skip
    wide = known_posterior(kennel(steady()))
    draws = {**wide.draws, "recent": wide.draws["recent"] + np.random.default_rng(5).normal(
        0.0, 0.4, wide.draws["recent"].shape)}  # fmt: skip
    unsure = power(
        type(wide)(wide.data, draws, wide.labels, wide.diagnostics, 1.0), "Rowan",
        rng=np.random.default_rng(1), n_simulated=10,
    )  # fmt: skip

    assert known.n_settling == 0
    assert unsure.n_settling is None or 1 <= unsure.n_settling <= MOST_SETTLING


def test_each_look_is_the_conditional_normal_of_the_change():
    rng = np.random.default_rng(6)
    days = np.sort(rng.uniform(0.0, 800.0, 40))
    past = np.arange(15)
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
    change = f[:, -1] - f[:, past].mean(axis=1)
    residual = change - y @ looks.weights[-1]
    # The residual of the best linear guess has the stated sd and no correlation with a reading.
    assert residual.std() == pytest.approx(looks.sd[-1], rel=4 / np.sqrt(2 * n))
    correlation = (y - y.mean(0)).T @ residual / n / (y.std(0) * residual.std())
    assert np.abs(correlation).max() < 4.5 / np.sqrt(n)


@pytest.mark.parametrize(
    ("fall_prob", "reach_prob", "is_announced"),
    [(0.951, 0.25, True), (0.95, 0.99, False), (0.949, 0.99, False), (0.96, 0.249, False),
     (0.96, 0.251, True)],
)  # fmt: skip
def test_a_fall_is_announced_above_its_sureness_and_from_its_size_on(
    fall_prob, reach_prob, is_announced
):
    assert bool(rule(fall_prob, reach_prob)) is is_announced


def test_what_a_rhythm_promises_is_asked_as_pages_print_it():
    # Four of five, within two years; seen in half of the years; two months of collections.
    assert (announcement.PROMISE_PROB, announcement.FOLLOWED_YEARS) == (0.80, 2.0)
    assert announcement.SEEN_PROB == 0.50
    assert announcement.MOST_SETTLING * REST_BEFORE_REPEAT_DAYS == 60


def test_the_rule_needs_sureness_and_size():
    assert rule(0.96, 0.30)
    assert not rule(0.94, 0.30)
    assert not rule(0.999, 0.10)
    sd = 0.15
    estimates = np.linspace(-1.0, 0.2, 200)
    announced = rule(ndtr(-estimates / sd), norm.cdf(np.log(0.6), estimates, sd))
    assert (np.diff(announced.astype(int)) <= 0).all()


@pytest.mark.parametrize(
    ("n_by_look", "n_promised"),
    [
        ([0, 3, 4, 4, 5], 3),
        ([4, 5, 5, 5, 5], 1),
        # Who was announced once stays announced, whatever a later look says.
        ([4, 0, 0, 0, 0], 1),
        ([3, 3, 3, 3, 3], None),
    ],
)
def test_a_promise_is_the_first_look_by_which_four_of_five_falls_are_announced(
    n_by_look, n_promised, monkeypatch
):
    posterior = known_posterior(kennel(steady()))

    def announced(asked, change):
        """So many of five studs by look, the same ones; nobody after the last look given."""
        n_looks = asked.mean.shape[2]
        n_at = np.resize(np.append(n_by_look, [0] * n_looks), n_looks)
        return np.arange(5)[:, None] < n_at

    monkeypatch.setattr(announcement._LookResults, "is_announced", announced)
    found = power(posterior, "Rowan", rng=np.random.default_rng(1), n_simulated=5)

    assert found.n_promised == n_promised
    # One collection in fourteen days: 26 a year.
    assert found.per_year == pytest.approx(365.25 / 14.0)
    months = None if n_promised is None else pytest.approx(n_promised * 14.0 / 365.25 * 12.0)
    assert found.months_promised == months
