"""How sure a kennel asks a fall to be, and what that leaves: against stories drawn elsewhere."""

import numpy as np
import pytest
from scipy.stats import binom, norm
from tests.analytics.stud_records import counted, kennel
from tests.analytics.test_stud_level import known_posterior, steady

from studcurve.analytics.models.stud import false_alarms, power
from studcurve.analytics.models.stud.false_alarms import (
    CERTAINTIES,
    followed_studs,
    kennel_rule,
    least_certainty,
    surest_error,
)
from studcurve.analytics.models.stud.level import REST_BEFORE_REPEAT_DAYS, past_of
from studcurve.analytics.models.stud.looks import Followed, Rhythm, Spreads, drifting_studs

DRIFT = {"amplitude": 0.2, "length": 1.0, "noise": 0.15}


def rhythm(pause=21.0, n=40):
    return Rhythm(
        pause * np.arange(float(n)), pause, np.log(0.9), np.log(0.6), 0.5, (Spreads(**DRIFT),) * 2
    )


def studs_of(n_studs):
    """A kennel whose studs share a rhythm and a posterior that is known."""
    rng = np.random.default_rng(4)
    parts = [
        counted(rng, f"Stud {k}", 21.0 * np.arange(40), rng.normal(6.5, 0.3, 40))
        for k in range(n_studs)
    ]
    posterior = known_posterior(kennel(*parts))
    posterior.draws["amplitude"][:] = 0.2
    return posterior


def test_an_error_is_an_announcement_of_a_fall_smaller_than_stated():
    # Looks of one stud a row: small fall; just as stated; a rise; nothing worth acting on.
    change = np.log([[0.95, 0.5], [0.9, 0.9], [1.2, 0.95], [0.95, 1.0]])
    fall_prob = np.array([[0.96, 0.999], [0.99, 0.99], [0.97, 0.991], [0.99, 0.99]])
    reach_prob = np.array([[0.25, 0.9], [0.9, 0.9], [0.3, 0.26], [0.249, 0.1]])

    found = surest_error(Followed(change, fall_prob, reach_prob, np.log(0.9)))

    assert found.tolist() == [0.96, 0.0, 0.991, 0.0]


def test_the_least_sureness_is_asked_that_keeps_one_kennel_year_in_twenty():
    at_most = np.concatenate([np.full(5, 0.975), np.zeros(95)])
    one_more = np.concatenate([np.full(6, 0.975), np.zeros(94)])

    assert least_certainty(at_most) == (0.95, 0.05)
    # Six of a hundred err at up to 97.5 %: 98 % is the next that a kennel may ask for.
    assert least_certainty(one_more) == (0.98, 0.0)
    assert least_certainty(np.full(100, 0.98)) == (0.985, 0.0)


def test_where_no_sureness_keeps_it_the_highest_is_asked_and_its_rate_stated():
    assert least_certainty(np.concatenate([np.full(8, 0.9995), np.zeros(92)])) == (0.999, 0.08)


def test_sureness_goes_from_95_to_99_9_percent_and_one_kennel_year_in_twenty_may_err():
    assert CERTAINTIES == (0.95, 0.96, 0.97, 0.98, 0.985, 0.99, 0.995, 0.998, 0.999)
    assert false_alarms.MOST_FALSE_PROB == 0.05


def test_a_rule_simulated_elsewhere_errs_as_often_as_drawn_studs_do():
    # Second route: each look asks a dense normal posterior of all levels anew, stud by stud.
    asked, n_studs = rhythm(), 600
    drawn = drifting_studs(asked, asked.n_year, np.random.default_rng(1), n_each=1500)
    sure = 0.95
    ours = (surest_error(drawn.after()) >= sure).mean()

    rng = np.random.default_rng(2)
    n_new = asked.n_year
    days = 21.0 * np.arange(40.0 + n_new)
    apart = np.abs(days[:, None] - days[None, :]) / 365.25 * np.sqrt(3.0)
    slow = 0.2**2 * (1 + apart) * np.exp(-apart)
    level = rng.multivariate_normal(np.zeros(len(days)), slow, size=n_studs)
    noise = rng.standard_t(6.0, level.shape) * np.sqrt(0.15 / 1.5)
    y = rng.normal(0.0, 0.5, (n_studs, 1)) + level + noise
    errs = np.zeros(n_studs, dtype=bool)
    for last in range(40, len(days)):
        n = last + 1
        ramp = np.clip((150.0 - (days[last] - days[:n])) / 60.0, 0.0, 1.0)
        moving = slow[:n, :n] + 0.3**2 * np.outer(ramp, ramp)
        change = np.zeros(n)
        change[last] = 1.0
        past = past_of(days[:n])
        change[past] -= 1.0 / len(past)
        weights = np.linalg.solve(moving + 0.25 + 0.15 * np.eye(n), moving @ change)
        sd = np.sqrt(change @ moving @ change - weights @ moving @ change)
        mean = y[:, :n] @ weights
        announced = (norm.cdf(np.log(0.9), mean, sd) >= sure) & (
            norm.cdf(np.log(0.6), mean, sd) >= 0.25
        )
        errs |= announced & (level[:, :n] @ change > np.log(0.9))

    low, high = binom.interval(0.999, n_studs, ours)
    assert low <= errs.sum() <= high
    assert 0.005 < ours < 0.1


def test_more_studs_and_measures_ask_for_more_sureness():
    one = kennel_rule([studs_of(1)], np.random.default_rng(1), n_each=300)
    many = studs_of(5)
    fifteen = kennel_rule([many, many, many], np.random.default_rng(1), n_each=300)

    assert (one.n_studs, fifteen.n_studs) == (1, 5)
    assert one.sure_prob == 0.95
    assert one.sure_prob < fifteen.sure_prob
    for rule in (one, fifteen):
        assert rule.false_prob <= 0.05
    # At the sureness of one stud the larger kennel would err more often than it may.
    rng = np.random.default_rng(1)
    years = [
        surest_error(drifting_studs(rhythm(), 17, rng, n_each=1000).after()) for _ in range(15)
    ]
    assert (np.max(years, axis=0) >= 0.95).mean() > 0.05


def test_a_kennel_without_a_past_asks_for_the_least_and_states_no_error():
    short = known_posterior(kennel(steady(8, pause=90.0)))

    rule = kennel_rule([short], np.random.default_rng(1))

    assert (rule.sure_prob, rule.false_prob, rule.n_studs) == (0.95, 0.0, 0)


@pytest.mark.parametrize(("last", "is_followed"), [(365.0, True), (366.0, False)])
def test_a_stud_not_collected_for_a_year_is_no_longer_followed(last, is_followed):
    rng = np.random.default_rng(9)
    gone = counted(rng, "Hazel", 826.0 - last - 14.0 * np.arange(20)[::-1], np.full(20, 6.5))
    posterior = known_posterior(kennel(steady(), gone))

    assert ("Hazel" in followed_studs(posterior)) is is_followed
    assert "Rowan" in followed_studs(posterior)


def test_larger_falls_and_less_sureness_are_announced_more_often():
    drawn = drifting_studs(rhythm(), 34, np.random.default_rng(3), n_each=500)

    by_then = [power.announced_by(drawn, np.log(1 - size), 0.98)[-1] for size in (0.25, 0.4, 0.6)]
    assert np.all(np.diff(by_then) > 0.05)
    assert power.announced_by(drawn, np.log(0.6), 0.95)[-1] > by_then[1]


def test_a_fall_of_the_new_collections_moves_the_truth_by_all_that_is_not_his_past():
    short = rhythm(n=20)
    drawn = drifting_studs(short, 60, np.random.default_rng(3), n_each=3)

    moved = drawn.after(-0.5).change - drawn.after().change

    # At the first look all of his past lies before the fall; after 60 more half of it does not.
    assert moved[:, 0] == pytest.approx(-0.5)
    assert moved[:, -1] == pytest.approx(-0.5 * (1 - 20 / 40), abs=0.02)


def test_of_a_short_record_no_promise_is_made():
    posterior = known_posterior(kennel(steady(8, pause=90.0)))

    assert power.power(posterior, "Rowan", 0.98, rng=np.random.default_rng(1), n_each=1) is None


def test_what_settles_a_question_is_nothing_where_the_change_is_known():
    def asked(posterior):
        return power.power(posterior, "Rowan", 0.98, rng=np.random.default_rng(1), n_each=2)

    wide = known_posterior(kennel(steady()))
    draws = {**wide.draws, "recent": wide.draws["recent"] + np.random.default_rng(5).normal(
        0.0, 0.4, wide.draws["recent"].shape)}  # fmt: skip
    unsure = asked(type(wide)(wide.data, draws, wide.labels, wide.diagnostics, 1.0))

    assert asked(wide).n_settling == 0
    assert unsure.n_settling is None or 1 <= unsure.n_settling <= power.MOST_SETTLING


def test_what_a_rhythm_promises_is_asked_as_pages_print_it():
    # Four of five, within two years; falls as sentences name them; two months of collections.
    assert (power.PROMISE_PROB, power.FOLLOWED_YEARS) == (0.80, 2.0)
    assert power.TRUE_FALLS == (0.25, 0.40, 0.60)
    assert power.TRUE_FALL_POINTS == (0.10, 0.15, 0.25)
    assert power.MOST_SETTLING * REST_BEFORE_REPEAT_DAYS == 60


@pytest.mark.parametrize(
    ("share_by_look", "n_promised"),
    [([0.0, 0.6, 0.8, 0.8, 1.0], 3), ([0.8, 1.0, 1.0, 1.0, 1.0], 1), ([0.79] * 5, None)],
)
def test_a_promise_is_the_first_look_by_which_four_of_five_falls_are_announced(
    share_by_look, n_promised, monkeypatch
):
    monkeypatch.setattr(power, "announced_by", lambda *_: np.array(share_by_look))
    posterior = known_posterior(kennel(steady()))
    found = power.power(posterior, "Rowan", 0.98, rng=np.random.default_rng(1), n_each=1)

    assert found.n_promised == n_promised
    # One collection in fourteen days: 26 a year.
    assert found.per_year == pytest.approx(365.25 / 14.0)
    months = None if n_promised is None else pytest.approx(n_promised * 14.0 / 365.25 * 12.0)
    assert found.months_promised == months


def test_who_was_announced_once_stays_announced():
    class Seen:
        fall_prob = np.array([[0.99, 0.1], [0.1, 0.1]])
        reach_prob = np.ones((2, 2))

    class Drawn:
        def after(self, fall):
            return Seen

    assert power.announced_by(Drawn(), -0.5, 0.98).tolist() == [0.5, 0.5]
