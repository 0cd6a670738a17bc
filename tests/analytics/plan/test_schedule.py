"""The schedule of a stud against enumeration of every schedule, and what none may do."""

import math
from datetime import date, datetime, timedelta
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import milp

from studcurve.analytics.plan.feasible import possible_options
from studcurve.analytics.plan.options import Option, Straws
from studcurve.analytics.plan.schedule import conflicts
from studcurve.analytics.plan.schedule.conflicts import PROVEN_GAP, plan_schedule
from studcurve.analytics.plan.schedule.program import (
    LONGEST_REST,
    MOST_SHARES,
    RESTS,
    SHARES,
    STATES,
    StudLimits,
    Way,
    counted_rest,
)
from studcurve.analytics.plan.schedule.ways import published_rest, rest_shares, ways_of
from studcurve.analytics.plan.simulation.chain import simulate

FIRST = date(2026, 3, 1)
TANK = Straws("A", 9, 3, 34.0)


def way(bitch, days, value, semen="fresh", doses=1):
    """A way whose value falls with the doses of its first collection and rises with its rest."""
    at = tuple(datetime.combine(FIRST + timedelta(days=day), datetime.min.time()) for day in days)
    if semen == "frozen":
        option = Option("frozen", "transcervical", "straws in stock", at, straws=TANK)
        return Way(bitch, option, (), False, np.array([value]), np.full((8, 1), value))
    option = Option(semen, "vaginal", "next collection", at)
    mating = semen == "natural"
    by_state = np.array(
        [value if mating else value - 0.02 * shares - 0.01 * (LONGEST_REST - rest)
         for rest, shares in STATES]
    )  # fmt: skip
    on = tuple((instant.date(), doses) for instant in at)
    return Way(bitch, option, on, mating, by_state, np.tile(by_state, (8, 1)))


def best_by_enumeration(ways, stud):
    """Try every combination of ways; the rest is the gap to the collection before."""
    best = 0.0
    for picked in product(*[[None, *own] for own in ways]):
        chosen = [w for w in picked if w is not None]
        if sum(w.n_straws for w in chosen) > stud.n_straws:
            continue
        doses, whole = {}, set()
        for w in chosen:
            for day, n in w.doses_on:
                doses[day] = doses.get(day, 0) + n
                if w.takes_all:
                    whole.add(day)
        if any(doses[day] > 1 for day in whole) or any(n > MOST_SHARES for n in doses.values()):
            continue
        days, rests, before = sorted(doses), {}, stud.last_collected_on
        for day in days:
            rests[day] = LONGEST_REST if before is None else (day - before).days
            before = day
        if any(rest < stud.fewest_rest_days for rest in rests.values()):
            continue
        value = 0.0
        for w in chosen:
            if not w.doses_on:
                value += w.value[0]
                continue
            day = w.doses_on[0][0]
            shares = min(n for n in SHARES if n >= doses[day])
            value += w.value[STATES.index((counted_rest(rests[day]), shares))]
        best = max(best, value)
    return best


def some_ways(data, name):
    n_ways = data.draw(st.integers(1, 4))
    ways = []
    for _ in range(n_ways):
        semen = data.draw(st.sampled_from(["fresh", "fresh", "natural", "frozen"]))
        start = data.draw(st.integers(0, 5))
        days = (start,) if data.draw(st.booleans()) else (start, start + 2)
        ways.append(way(name, days, data.draw(st.floats(0.2, 0.9)), semen))
    return ways


def test_two_bitches_on_the_same_only_day_share_his_collection_and_pay_for_it():
    ways = [[way("Aster", (0,), 0.8)], [way("Briar", (0,), 0.7)]]

    plan = plan_schedule(ways, ["Aster", "Briar"], StudLimits())

    assert plan.collections == ((FIRST, None, 2),)
    assert [a.price for a in plan.assignments] == pytest.approx([0.02, 0.02])
    assert plan.conflicts[0].bitches == ("Aster", "Briar")
    assert plan.conflicts[0].price == pytest.approx(0.04)


def test_a_mating_leaves_nothing_for_another_bitch_that_day():
    ways = [[way("Aster", (0,), 0.8, "natural")], [way("Briar", (0,), 0.7)]]

    plan = plan_schedule(ways, ["Aster", "Briar"], StudLimits())

    assert [a.way is not None for a in plan.assignments] == [True, False]
    # Rested, and divided among nobody.
    assert STATES[plan.assignments[0].state] == (4, 1)
    assert plan.assignments[1].price == pytest.approx(0.68)
    assert plan.assignments[1].litter_prob.tolist() == [0.0] * 8


def test_the_last_straws_go_to_the_bitch_they_are_worth_most_for():
    ways = [[way("Aster", (0,), 0.5, "frozen")], [way("Briar", (9,), 0.7, "frozen")]]

    plan = plan_schedule(ways, ["Aster", "Briar"], StudLimits(n_straws=3))

    assert [a.way is not None for a in plan.assignments] == [False, True]
    assert plan.conflicts[0].price == pytest.approx(0.5)


def test_a_bitch_without_any_way_is_left_out_and_named():
    plan = plan_schedule([[], [way("Briar", (0,), 0.7)]], ["Aster", "Briar"], StudLimits())

    assert [a.bitch for a in plan.assignments] == ["Aster", "Briar"]
    assert plan.assignments[0].way is None
    assert plan.expected_litters == pytest.approx(0.68)


def test_one_more_bitch_never_lowers_the_value_of_the_schedule():
    ways = [[way(n, (0, 2), 0.8), way(n, (1, 3), 0.75)] for n in ("Aster", "Briar", "Clover")]
    names = ["Aster", "Briar", "Clover"]

    totals = [plan_schedule(ways[:n], names[:n], StudLimits()).value for n in (1, 2, 3)]

    assert totals == sorted(totals)


def test_a_rested_ejaculate_is_the_reference_and_the_next_day_holds_what_the_prior_says():
    shares = rest_shares(published_rest(np.random.default_rng(6), 20_000))
    next_day = 1.0 - shares[:, 0]

    assert shares[:, -1] == pytest.approx(np.ones(20_000))
    assert np.all(np.diff(shares, axis=1) >= 0.0)
    # 27.5 % (sd 6) missing on the next day, against the share that is missing after four.
    after_four = 0.275 * math.exp(-3.0 / 2.5)
    assert next_day.mean() == pytest.approx(1.0 - 0.725 / (1.0 - after_four), abs=0.01)


def test_a_way_in_the_whole_rested_state_is_the_chain_itself(circumstances, pair, unknowns):
    options = [
        option
        for option in possible_options(circumstances)[0]
        if option.inseminated_at[0].date() == date(2026, 11, 25)
    ]
    rested = rest_shares(published_rest(np.random.default_rng(1), unknowns.n_draws))

    ways = ways_of(options, pair, unknowns, rested, prices={}, worth_of_litter=None)

    assert len({(w.doses_on, w.takes_all, w.n_straws) for w in ways}) == len(ways)
    whole = STATES.index((LONGEST_REST, 1))
    for w in ways:
        if w.option.n_doses == 1:
            chance = simulate(w.option, pair, unknowns).litter_prob
            column = whole if w.doses_on else 0
            assert w.litter_prob[:, column] == pytest.approx(chance, abs=1e-12)
        by_state = w.litter_prob.reshape(unknowns.n_draws, -1)
        if w.doses_on:
            grid = by_state.reshape(unknowns.n_draws, len(RESTS), len(SHARES))
            assert np.all(np.diff(grid, axis=1) >= -1e-12)
            assert np.all(np.diff(grid, axis=2) <= 1e-12)


def test_the_litters_of_a_schedule_have_the_spread_of_their_chances():
    ways = [[way("Aster", (0,), 0.8)], [way("Briar", (9,), 0.5)]]
    plan = plan_schedule(ways, ["Aster", "Briar"], StudLimits())
    p = np.array([0.78, 0.48])

    counts = np.concatenate([plan.litters(np.random.default_rng(k)) for k in range(2000)])

    error = math.sqrt((p * (1 - p)).sum() / len(counts))
    assert counts.mean() == pytest.approx(p.sum(), abs=4 * error)
    assert plan.expected_litters == pytest.approx(p.sum())


def test_rests_and_shares_are_those_of_the_rule():
    # One day, two or three, four and more; a whole ejaculate, halves, quarters.
    assert [counted_rest(days) for days in (1, 2, 3, 4, 5, 90)] == [1, 2, 2, 4, 4, 4]
    assert STATES == ((1, 1), (1, 2), (1, 4), (2, 1), (2, 2), (2, 4), (4, 1), (4, 2), (4, 4))
    assert (LONGEST_REST, MOST_SHARES) == (4, 4)


@pytest.mark.parametrize(("day", "n_served"), [(1, 1), (2, 2)])
def test_he_rests_two_days_where_nobody_says_otherwise(day, n_served):
    ways = [[way("Aster", (0,), 0.8)], [way("Briar", (day,), 0.7)]]

    plan = plan_schedule(ways, ["Aster", "Briar"], StudLimits())

    assert sum(a.way is not None for a in plan.assignments) == n_served


@pytest.mark.parametrize(("doses", "is_served"), [(4, True), (5, False)])
def test_no_collection_makes_more_than_four_doses(doses, is_served):
    plan = plan_schedule([[way("Aster", (0,), 0.8, doses=doses)]], ["Aster"], StudLimits())

    assert (plan.assignments[0].way is not None) is is_served


def found_by(monkeypatch, gaps):
    """Plan with a solver that leaves these gaps; what it was asked, search by search."""
    asked, gaps = [], iter(gaps)

    def search(*problem, options, **rest):
        result = milp(*problem, options={"mip_rel_gap": options["mip_rel_gap"]}, **rest)
        asked.append(options)
        result.mip_gap = next(gaps)
        if result.mip_gap is None:
            result.x = None
        return result

    monkeypatch.setattr(conflicts, "milp", search)
    plan = plan_schedule([[way("Aster", (0,), 0.8)]], ["Aster"], StudLimits())
    assert plan.value == pytest.approx(0.78)
    return [(one["time_limit"], one["mip_rel_gap"]) for one in asked]


@pytest.mark.parametrize(
    ("gap", "n_searches"), [(0.002, 1), (0.01, 1), (0.0101, 2), (0.5, 2), (None, 2)]
)
def test_a_search_that_found_nothing_good_is_begun_again_with_ten_times_the_time(
    gap, n_searches, monkeypatch
):
    # The bitch to herself, then the plan for all.
    gaps = [gap] * (n_searches - 1) + [gap if n_searches == 1 else 0.0, 0.0]

    asked = found_by(monkeypatch, gaps)

    assert asked == [*[(4.0, 0.002), (40.0, 0.002)][:n_searches], (4.0, 0.002)]


@pytest.mark.parametrize(("lost", "is_told"), [(0.0031, True), (0.003, False)])
def test_a_conflict_is_told_from_two_thousandths_of_what_both_would_have(lost, is_told):
    # Each would have 0.77 alone, both 1.54; one of them has to take the other day.
    ways = [[way(name, (0,), 0.77, "natural", 1), way(name, (9,), 0.77 - lost, "natural", 1)]
            for name in ("Aster", "Briar")]  # fmt: skip
    plan = plan_schedule(ways, ["Aster", "Briar"], StudLimits())

    assert bool(plan.conflicts) is is_told


def test_of_ways_that_take_the_same_the_better_one_is_kept(circumstances, pair, unknowns):
    frozen = [o for o in possible_options(circumstances)[0] if o.method == "frozen vaginal once"]
    rested = rest_shares(published_rest(np.random.default_rng(1), unknowns.n_draws))

    for options in (frozen, frozen[::-1]):
        (kept,) = ways_of(options, pair, unknowns, rested, prices={}, worth_of_litter=None)

        chances = [simulate(o, pair, unknowns).litter_prob.mean() for o in frozen]
        assert kept.option == frozen[int(np.argmax(chances))]
        assert kept.value == pytest.approx([max(chances)])
        assert (kept.doses_on, kept.takes_all) == ((), False)


@given(data=st.data())
@settings(max_examples=40, deadline=None)
def test_no_schedule_tried_one_by_one_is_worth_more(data):
    names = ["Aster", "Briar", "Clover"]
    ways = [some_ways(data, name) for name in names]
    stud = StudLimits(
        data.draw(st.sampled_from([None, FIRST - timedelta(days=1), FIRST - timedelta(days=9)])),
        data.draw(st.integers(1, 3)),
        data.draw(st.sampled_from([0, 3, 6])),
    )

    plan = plan_schedule(ways, names, stud)

    exact = best_by_enumeration(ways, stud)
    assert plan.value == pytest.approx(exact, abs=PROVEN_GAP * exact + 1e-6)
    assert plan.bound >= exact - 1e-6
    assert sum(a.value for a in plan.assignments) == pytest.approx(plan.value, abs=1e-6)
    assert all(a.price >= -PROVEN_GAP for a in plan.assignments)
    days = [day for day, _, _ in plan.collections]
    assert all((b - a).days >= stud.fewest_rest_days for a, b in pairwise(days))
    assert all(n <= MOST_SHARES for _, _, n in plan.collections)
