"""Answers and gaps against direct sums, other code and planted differences."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit, logit
from tests.analytics.plan.conftest import of

from studcurve.analytics.estimate import NO_WEIGHT
from studcurve.analytics.plan.compare import (
    DRIVERS,
    answer_options,
    drivers_of,
    gap_between,
    mean_slope,
    option_values,
    outside_studied,
    weight_of_records,
)
from studcurve.analytics.plan.simulation.chain import Shift, simulate
from studcurve.analytics.plan.simulation.pups import pups_of

PRICES = {
    "collection": 80.0, "shipment": 145.0, "extender dose": 18.0,
    "transcervical insemination": 190.0,
    "vaginal insemination": 60.0, "frozen dose": 120.0, "scan": 70.0, "stud fee": 900.0,
}  # fmt: skip


@pytest.fixture(scope="module")
def pups(outcomes, litter):
    return [pups_of(outcome, litter) for outcome in outcomes]


@pytest.fixture(scope="module")
def answers(outcomes, pups, pair):
    return answer_options(outcomes, pups, outcomes, pair, prices=PRICES, worth_of_litter=None)


def test_a_gap_made_by_one_part_alone_is_given_to_that_part(pair, unknowns, outcomes):
    chilled = of(outcomes, "chilled transcervical once")
    smaller = simulate(chilled.option, pair, unknowns, shift=Shift(doublings=-3.0))

    drivers = drivers_of(chilled, smaller)

    assert [driver.name for driver in drivers] == ["motile dose"]
    assert drivers[0].gap == pytest.approx(
        (chilled.litter_prob - smaller.litter_prob).mean(), abs=1e-12
    )
    assert 0.0 < drivers[0].share_of_doubt <= 1.0
    assert {driver.name for driver in drivers} <= set(DRIVERS)


def test_costs_and_expectations_are_those_of_the_price_list(answers):
    answer = of([a.outcome for a in answers], "chilled transcervical once")
    mine = next(a for a in answers if a.outcome is answer)
    p, n = mine.outcome.litter_prob.mean(), mine.pups.mean_alive.mean()

    assert mine.cost == 80 + 145 + 18 + 190 + 70
    assert mine.cost_per_litter == pytest.approx(503 / p + 900)
    assert mine.cost_per_pup == pytest.approx((503 + 900 * p) / n)
    assert mine.pups_range == pytest.approx(tuple(np.quantile(mine.pups.alive, [0.1, 0.5, 0.9])))


def test_the_expected_loss_is_measured_against_the_best_option_of_each_draw(answers):
    chances = np.column_stack([a.outcome.litter_prob for a in answers])

    for k, answer in enumerate(answers):
        assert answer.expected_loss == pytest.approx((chances.max(axis=1) - chances[:, k]).mean())
    assert sum(a.highest_prob for a in answers) >= 1.0 - 1e-12


def test_a_stated_worth_turns_chances_into_money(outcomes, pups, pair):
    rich = answer_options(outcomes, pups, outcomes, pair, prices=PRICES, worth_of_litter=3000.0)

    for answer in rich:
        p = answer.outcome.litter_prob.mean()
        assert answer.value == pytest.approx((3000.0 - 900.0) * p - answer.cost)
    without = option_values(outcomes, prices=PRICES, worth_of_litter=None)
    assert np.array_equal(without, np.column_stack([o.litter_prob for o in outcomes]))


def test_nothing_of_the_published_table_comes_from_the_records(answers):
    assert all(answer.records_weight == NO_WEIGHT for answer in answers)


def test_narrower_draws_and_a_moved_middle_are_credited_to_the_records(outcomes, pups, pair):
    outcome = outcomes[0]
    before = logit(outcome.litter_prob)
    own = replace(outcome, litter_prob=expit(0.5 * before + 0.5 * np.median(before) - 0.2))

    answer = answer_options([own], [pups[0]], [outcome], pair, prices={}, worth_of_litter=None)[0]

    assert answer.records_weight.share == pytest.approx(0.75)
    assert answer.records_weight.shift_sds == pytest.approx(-0.2 / before.std())


def test_a_chance_that_no_number_holds_still_has_a_share(outcomes):
    never = replace(outcomes[0], litter_prob=np.zeros_like(outcomes[0].litter_prob))

    assert np.isfinite(never.litter_logit).all()
    assert weight_of_records(never, outcomes[0]).share == 1.0


@pytest.mark.parametrize(
    ("gap_of", "verdict"), [(0.0, "no difference"), (1.2, "higher"), (None, "not told apart")]
)
def test_the_verdict_follows_the_band_and_its_certainty(gap_of, verdict, answers, litter):
    rng = np.random.default_rng(2)
    a = answers[0]
    noise = rng.normal(0.0, 2.0, len(a.outcome.litter_prob)) if gap_of is None else gap_of
    parts = {**a.outcome.parts, "motile dose": a.outcome.parts["motile dose"] - noise}
    logit = sum(parts.values())
    whelped = a.outcome.litter_prob / a.outcome.pregnant_prob
    moved = replace(
        a.outcome, parts=parts, pregnant_prob=expit(logit), litter_prob=expit(logit) * whelped
    )
    other = replace(a, outcome=moved, pups=pups_of(moved, litter),
                    expected_litters=float(moved.litter_prob.mean()))  # fmt: skip

    gap = gap_between([a, other], 1, 0)

    assert gap.verdict == verdict
    assert gap.litters.median >= 0.0 or gap.verdict == "not told apart"


def test_more_than_two_inputs_outside_the_studied_range_leave_no_centre(
    outcomes, pups, pair, unknowns
):
    strange = replace(pair, bitch_age_years=11.0, stud_age_years=14.0)
    chilled = of(outcomes, "chilled vaginal once")
    stale = simulate(chilled.option, strange, unknowns, shift=Shift(stored_h=120.0))

    answer = answer_options([stale], [pups[0]], [stale], strange, prices={}, worth_of_litter=None)[
        0
    ]

    assert [note.values["what"].word for note in answer.outside] == [
        "bitch age", "stud age", "hours stored",
    ]  # fmt: skip
    assert not answer.has_centre
    assert outside_studied(chilled, pair) == ()


@pytest.mark.parametrize(
    ("what", "lowest", "highest"),
    [
        ("bitch age", 1.0, 8.0), ("stud age", 1.0, 11.0), ("motile dose", 20.0, 1000.0),
        ("hours stored", None, 72.0), ("day from ovulation", -5.0, 9.0),
        ("normal morphology", 30.0, None),
    ],
)  # fmt: skip
def test_an_input_is_outside_just_beyond_the_breedings_that_were_studied(
    what, lowest, highest, outcomes, pair
):
    asked = {"bitch age": 4.0, "stud age": 4.0, "motile dose": 200.0, "hours stored": 24.0,
             "day from ovulation": 1.0, "normal morphology": 80.0}  # fmt: skip

    def outside_at(value):
        at = asked | {what: value}
        dogs = replace(pair, bitch_age_years=at["bitch age"], stud_age_years=at["stud age"],
                       normal_morphology_pct=at["normal morphology"])  # fmt: skip
        outcome = replace(
            outcomes[0],
            motile_dose_m=np.full(3, at["motile dose"]),
            hours_stored=np.full(3, at["hours stored"]),
            day=np.full(3, at["day from ovulation"]),
        )
        return [(note.values["what"].word, note.values["value"])
                for note in outside_studied(outcome, dogs)]  # fmt: skip

    for edge, beyond in ((lowest, -0.01), (highest, 0.01)):
        if edge is not None:
            assert outside_at(edge) == []
            assert outside_at(edge + beyond * abs(edge)) == [(what, edge + beyond * abs(edge))]
    if what == "normal morphology":
        assert outside_at(100.0) == []


def set_against(answers, litters, alive):
    """The gap of two ways whose chances and pups differ by so much in each draw."""
    n = len(litters)
    nothing = np.zeros(n)
    one = answers[0]
    parts = {name: nothing for name in one.outcome.parts}
    still = replace(one.outcome, parts=parts, pregnant_prob=np.ones(n), litter_prob=nothing)
    low = replace(one, outcome=still, pups=replace(one.pups, mean_alive=nothing),
                  expected_litters=0.0)  # fmt: skip
    high = replace(
        low,
        outcome=replace(still, litter_prob=np.array(litters)),
        pups=replace(one.pups, mean_alive=np.array(alive)),
        expected_litters=1.0,
    )
    gap = gap_between([low, high], 0, 1)
    assert (gap.first, gap.second) == (1, 0)
    return gap


@pytest.mark.parametrize(
    ("litters", "alive", "verdict"),
    [
        # 80 of 100 draws inside five hundredths of a litter, or inside half a pup, suffice.
        ([0.0499] * 80 + [0.3] * 20, [9.0] * 100, "no difference"),
        ([0.0499] * 79 + [0.3] * 21, [9.0] * 100, "higher"),
        ([-0.0499] * 80 + [0.3] * 20, [9.0] * 100, "no difference"),
        ([0.05] * 80 + [0.3] * 20, [9.0] * 100, "higher"),
        ([0.3] * 100, [0.499] * 80 + [9.0] * 20, "no difference"),
        ([0.3] * 100, [-0.499] * 80 + [9.0] * 20, "no difference"),
        ([0.3] * 100, [0.499] * 79 + [9.0] * 21, "higher"),
        ([0.3] * 100, [0.5] * 100, "higher"),
        # The bands are not joined: half of the draws in each is not most of them in one.
        ([0.01] * 50 + [0.3] * 50, [9.0] * 50 + [0.1] * 50, "higher"),
        # 80 of 100 draws with the higher chance; one as high as the other is none of them.
        ([0.3] * 80 + [-0.3] * 20, [9.0] * 100, "higher"),
        ([0.3] * 79 + [-0.3] * 21, [9.0] * 100, "not told apart"),
        ([0.3] * 79 + [0.0] * 21, [9.0] * 100, "not told apart"),
    ],
)
def test_a_verdict_needs_eight_draws_in_ten(litters, alive, verdict, answers):
    gap = set_against(answers, litters, alive)

    assert gap.verdict == verdict
    assert gap.higher_prob == sum(litter > 0.0 for litter in litters) / 100


def test_two_inputs_outside_leave_a_number_its_centre_and_three_do_not(answers):
    note = object()

    assert replace(answers[0], outside=(note,) * 2).has_centre
    assert not replace(answers[0], outside=(note,) * 3).has_centre


def test_the_pups_are_told_by_the_ends_of_eight_draws_in_ten_and_the_middle(
    outcomes, pups, pair
):  # fmt: skip
    counted = replace(pups[0], alive=np.arange(101))

    answer = answer_options(
        outcomes[:1], [counted], outcomes[:1], pair, prices={}, worth_of_litter=None
    )[0]

    assert answer.pups_range == pytest.approx((10.0, 50.0, 90.0))


def test_between_two_equal_logits_the_slope_is_the_curve_s_own(outcomes):
    one = outcomes[0]
    whelped = one.litter_prob / one.pregnant_prob
    impossible = replace(
        one,
        parts={name: np.full(3, -1e3) for name in DRIVERS},
        pregnant_prob=np.zeros(3),
        litter_prob=np.zeros(3),
    )

    # The logistic curve rises by p (1 − p) a unit; where nothing can become of it, by nothing.
    assert mean_slope(one, one) == pytest.approx(
        whelped * one.pregnant_prob * (1.0 - one.pregnant_prob)
    )
    assert mean_slope(impossible, impossible).tolist() == [0.0, 0.0, 0.0]


def test_the_parts_of_a_gap_add_up_to_the_gap(outcomes):
    for a in outcomes:
        for b in outcomes:
            gap = (a.litter_prob - b.litter_prob).mean()

            parts = sum(driver.gap for driver in drivers_of(a, b))

            assert parts == pytest.approx(gap, abs=1e-10)
