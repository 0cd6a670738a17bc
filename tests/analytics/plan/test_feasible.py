"""What can be carried out, and the reason why the rest cannot."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studcurve.analytics.plan.feasible import METHODS, possible_options
from studcurve.analytics.plan.options import Carrier, Circumstances, OpeningHours, Straws
from studcurve.analytics.sentences import Word, sentence

SUNDAY_EVENING = datetime(2026, 11, 22, 18)
STRAWS = (Straws("A-1", 6, 3, 34.0),)
PRICES = {
    "collection": 80.0, "shipment": 145.0, "extender dose": 18.0,
    "transcervical insemination": 190.0,
    "vaginal insemination": 60.0, "frozen dose": 120.0, "scan": 70.0, "stud fee": 900.0,
}  # fmt: skip


def ask(**changes):
    start = Circumstances(
        SUNDAY_EVENING, date(2026, 11, 22), date(2026, 11, 30), prices=PRICES, straws=STRAWS
    )
    return replace(start, **changes)


def reasons(circumstances):
    return {way.method: way.reason.key for way in possible_options(circumstances)[1]}


def test_surgical_insemination_is_named_and_never_offered():
    options, infeasible = possible_options(ask())

    assert {option.route for option in options} == {"natural", "vaginal", "transcervical"}
    assert infeasible[-1].method == "surgical insemination"
    assert infeasible[-1].reason.key == "infeasible.surgical"


def test_every_method_is_either_offered_or_named_with_a_reason():
    circumstances = ask(is_bitch_at_kennel=False, straws=())

    options, infeasible = possible_options(circumstances)

    offered = {option.method for option in options}
    named = {way.method for way in infeasible}
    assert len(offered) == 4
    assert len(offered | named) == 2 * len(METHODS) + 1
    assert not offered & named
    assert all(way.reason.key.startswith("infeasible.") for way in infeasible)


def test_an_empty_tank_and_a_lot_too_small_are_told_apart():
    spent = ask(straws=(Straws("A-1", 0, 3, 34.0),))
    few = ask(straws=(Straws("A-1", 3, 3, 34.0), Straws("A-2", 2, 3, 34.0)))

    assert reasons(spent)["frozen transcervical once"] == "infeasible.straws_used_up"
    assert reasons(ask(straws=()))["frozen vaginal once"] == "infeasible.no_straws"
    assert reasons(few)["frozen transcervical twice"] == "infeasible.too_few_straws"
    assert "frozen transcervical once" not in reasons(few)


def test_a_window_that_closes_before_the_next_shipment_can_come_is_said():
    over_the_weekend = ask(last_on=date(2026, 11, 23))

    reason = reasons(over_the_weekend)["chilled transcervical once"]

    assert reason == "infeasible.shipment_too_late"


def test_a_heat_that_is_over_is_said_so():
    over = ask(first_on=date(2026, 11, 10), last_on=date(2026, 11, 20))

    assert set(reasons(over).values()) == {"infeasible.window_over", "infeasible.surgical"}


def test_a_cost_above_the_owners_limit_is_said_with_both_figures():
    dear = {way.method: way.reason for way in possible_options(ask(max_cost=400.0))[1]}

    # Collection 80, shipment 145, one dose of extender 18, transcervical insemination 190, scan 70.
    assert dear["chilled transcervical once"] == sentence(
        "infeasible.too_dear", cost=503.0, limit=400.0
    )
    assert "chilled vaginal once" not in dear


def test_a_missing_price_leaves_the_cost_unknown_and_the_option_offered():
    options, _ = possible_options(ask(prices={"scan": 70.0}, max_cost=100.0))

    chilled = next(option for option in options if option.semen_type == "chilled")

    assert chilled.cost({"scan": 70.0}) != chilled.cost({"scan": 70.0})


def test_frozen_and_transcervical_carry_that_a_veterinarian_or_the_law_decides():
    options, _ = possible_options(ask())

    for option in options:
        guarded = option.semen_type == "frozen" or option.route == "transcervical"
        assert option.is_guarded == guarded


def test_a_shipment_packed_on_friday_is_brought_on_saturday_or_after_the_weekend():
    carrier = Carrier("Night Coach")
    friday = datetime(2026, 11, 27, 15)

    promised = carrier.promised_at(friday)
    next_day, weekend = carrier.brought_if_late(promised)

    assert promised == datetime(2026, 11, 28, 12)
    assert next_day == weekend == datetime(2026, 11, 30, 12)


def test_a_sample_on_hand_leaves_with_the_next_shipment_and_keeps_its_age():
    circumstances = ask(
        asked_at=datetime(2026, 11, 24, 18), sample_on_hand_at=datetime(2026, 11, 24, 17, 30)
    )

    options, _ = possible_options(circumstances)
    chilled = [option for option in options if option.semen_type == "chilled"]

    assert {option.source for option in chilled} == {"sample on hand"}
    assert {option.packed_at for option in chilled} == {datetime(2026, 11, 24, 19, 30)}
    assert {option.collected_at for option in chilled} == {datetime(2026, 11, 24, 17, 30)}
    assert all(("collection", 1) not in option.costs for option in chilled)


# A busy machine is no fault of a schedule: no deadline.
@settings(deadline=None)
@given(
    asked_at=st.datetimes(datetime(2026, 11, 20), datetime(2026, 11, 27)),
    opens=st.integers(6, 12),
    hours_open=st.integers(1, 10),
    weekdays=st.frozensets(st.integers(0, 6), min_size=1),
    delivers=st.frozensets(st.integers(0, 6), min_size=1),
    cut_off=st.integers(8, 22),
)
def test_nothing_happens_in_the_past_or_outside_the_hours(
    asked_at, opens, hours_open, weekdays, delivers, cut_off
):
    hours = OpeningHours(time(opens), time(opens + hours_open), weekdays)
    carrier = Carrier("any", time(cut_off), frozenset(range(7)), delivers)
    circumstances = ask(asked_at=asked_at, clinic=hours, kennel=hours, carrier=carrier)

    for option in possible_options(circumstances)[0]:
        planned = option.inseminated_at
        assert circumstances.first_on <= planned[0].date() <= circumstances.last_on
        assert planned[0] >= asked_at
        for times in (planned, option.if_next_day, option.if_weekend):
            assert list(times) == sorted(times)
            assert all(at.weekday() in weekdays for at in times)
            assert all(time(opens) <= at.time() <= hours.closes for at in times)
        if option.packed_at is not None:
            assert option.packed_at.time() <= time(cut_off)
            assert planned[0] - option.packed_at >= timedelta(hours=1)
            assert planned <= option.if_next_day <= option.if_weekend


def test_two_inseminations_are_days_apart_even_over_a_closed_day():
    closed = OpeningHours(closed_on=frozenset({date(2026, 11, 25)}))

    options, _ = possible_options(ask(clinic=closed))
    twice = [o for o in options if o.method == "frozen transcervical twice"]

    gaps = {o.inseminated_at[0].date(): o.inseminated_at[1] - o.inseminated_at[0] for o in twice}
    assert gaps[date(2026, 11, 23)] == timedelta(days=1)
    assert gaps[date(2026, 11, 24)] == timedelta(days=2)


@pytest.mark.parametrize("word", ["frozen", "natural", "transcervical"])
def test_what_an_owner_does_not_want_is_left_out_and_said(word):
    options, infeasible = possible_options(ask(refused=frozenset({word})))

    assert all(word not in (option.semen_type, option.route) for option in options)
    kind = "route" if word == "transcervical" else "semen"
    refused = sentence("infeasible.refused", word=Word(kind, word))
    assert any(way.reason == refused for way in infeasible)
