"""What can be carried out, and the reason why the rest cannot."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studcurve.analytics.plan.feasible import METHODS, possible_options
from studcurve.analytics.plan.options import (
    Carrier,
    Circumstances,
    OpeningHours,
    Option,
    Straws,
)
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


@pytest.mark.parametrize(
    "dead", [Straws("A-1", 9, 3, 0.0), Straws("A-1", 9, 3, 34.0, 0.0)], ids=["count", "motility"]
)
def test_straws_whose_sperm_did_not_move_after_thaw_are_no_dose(dead):
    alive = Straws("A-2", 3, 3, float("nan"))

    alone, beside = ask(straws=(dead,)), ask(straws=(dead, alive))

    assert reasons(alone)["frozen transcervical once"] == "infeasible.straws_dead"
    assert "frozen transcervical once" not in reasons(beside)
    # The lot that is left is too small for two; what the dead one holds does not count.
    assert reasons(beside)["frozen transcervical twice"] == "infeasible.too_few_straws"
    offered = [option.straws for option in possible_options(beside)[0] if option.straws]
    assert offered
    assert set(offered) == {alive}


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


ALWAYS = OpeningHours(time(0), time(23, 59), frozenset(range(7)))
TUESDAY = datetime(2026, 11, 24, 12)


def offered(circumstances, method):
    return [option for option in possible_options(circumstances)[0] if option.method == method]


@pytest.mark.parametrize(
    ("method", "hours"),
    [("natural mating twice", 48), ("fresh vaginal twice", 48), ("chilled vaginal twice", 24),
     ("frozen vaginal twice", 24)],
)  # fmt: skip
def test_a_second_insemination_follows_after_the_hours_of_its_semen(method, hours):
    found = offered(ask(clinic=ALWAYS, kennel=ALWAYS), method)

    assert {o.inseminated_at[1] - o.inseminated_at[0] for o in found} == {timedelta(hours=hours)}


@pytest.mark.parametrize(
    ("age", "n", "source", "n_collections"),
    [
        (timedelta(hours=1), 1, "sample on hand", 0),
        (timedelta(hours=1, minutes=1), 1, "next collection", 1),
        (timedelta(hours=1), 2, "next collection", 2),
    ],
)
def test_a_sample_on_hand_is_fresh_for_an_hour_and_for_one_insemination(
    age, n, source, n_collections
):
    asked = ask(asked_at=TUESDAY, first_on=TUESDAY.date(), sample_on_hand_at=TUESDAY - age)

    option = offered(asked, f"fresh vaginal {'once' if n == 1 else 'twice'}")[0]

    assert option.source == source
    assert option.collected_at == (TUESDAY if n_collections else TUESDAY - age)
    assert dict(option.costs) == {"scan": 1} | (
        {"collection": n_collections} if n_collections else {}
    )


@pytest.mark.parametrize(
    ("method", "costs"),
    [
        ("natural mating twice", {"scan": 1}),
        ("fresh vaginal twice", {"collection": 2, "scan": 1}),
        ("fresh transcervical once",
         {"collection": 1, "transcervical insemination": 1, "scan": 1}),
        ("frozen vaginal twice", {"frozen dose": 2, "vaginal insemination": 2, "scan": 1}),
        ("chilled vaginal twice", {"collection": 1, "shipment": 1, "extender dose": 2,
                                   "vaginal insemination": 2, "scan": 1}),
    ],
)  # fmt: skip
def test_what_each_way_is_paid_for_with(method, costs):
    option = offered(ask(), method)[0]

    assert dict(option.costs) == costs
    assert (option.straws == STRAWS[0]) is (option.semen_type == "frozen")


@pytest.mark.parametrize(
    ("method", "opens"),
    [("natural mating once", 8), ("fresh vaginal once", 8), ("fresh transcervical once", 9),
     ("frozen vaginal once", 9), ("frozen transcervical once", 9)],
)  # fmt: skip
def test_the_clinic_inseminates_what_is_for_a_veterinarian_and_the_kennel_the_rest(method, opens):
    last = offered(ask(last_on=date(2026, 11, 28)), method)[-1]

    assert last.inseminated_at == (datetime(2026, 11, 28, opens),)


def test_on_the_last_day_of_the_window_it_is_not_over():
    today = ask(asked_at=TUESDAY, first_on=date(2026, 11, 20), last_on=TUESDAY.date())
    over = replace(today, last_on=TUESDAY.date() - timedelta(days=1))

    assert offered(today, "natural mating once")[0].inseminated_at == (TUESDAY,)
    assert "natural mating once" not in reasons(today)
    assert reasons(over)["natural mating once"] == "infeasible.window_over"


def test_dogs_apart_neither_mate_nor_use_fresh_semen_and_without_a_carrier_nothing_is_shipped():
    apart, no_carrier = reasons(ask(is_bitch_at_kennel=False)), reasons(ask(carrier=None))

    assert {method for method, why in apart.items() if why == "infeasible.apart"} == {
        f"{way} {often}" for often in ("once", "twice")
        for way in ("natural mating", "fresh vaginal", "fresh transcervical")
    }  # fmt: skip
    assert {method for method, why in no_carrier.items() if why == "infeasible.no_carrier"} == {
        f"chilled {route} {often}" for often in ("once", "twice")
        for route in ("vaginal", "transcervical")
    }  # fmt: skip


def test_where_nobody_ever_is_there_no_day_is_left_and_that_is_said_by_the_number():
    never = OpeningHours(weekdays=frozenset())
    nobody = reasons(ask(kennel=never, clinic=never))

    assert nobody["natural mating once"] == nobody["frozen vaginal once"] == "infeasible.no_day"
    assert nobody["natural mating twice"] == "infeasible.no_pair_of_days"
    assert nobody["chilled vaginal once"] == "infeasible.shipment_too_late"
    assert nobody["chilled vaginal twice"] == "infeasible.shipment_too_late"


def test_a_shipment_needs_somebody_there_however_late_it_comes():
    # On time on Tuesday, a day late on Wednesday, after the weekend on the next Monday.
    open_on = frozenset(date(2026, 11, day) for day in (24, 25, 30))
    around = [date(2026, 11, 22) + timedelta(days=k) for k in range(60)]

    def with_days(days):
        clinic = OpeningHours(
            weekdays=frozenset(range(7)), closed_on=frozenset(around) - frozenset(days)
        )
        one_day = date(2026, 11, 24)
        return offered(
            ask(clinic=clinic, first_on=one_day, last_on=one_day), "chilled vaginal once"
        )  # fmt: skip

    found = with_days(open_on)

    assert [o.inseminated_at for o in found] == [(datetime(2026, 11, 24, 12),)]
    assert found[0].if_next_day == (datetime(2026, 11, 25, 12),)
    assert found[0].if_weekend == (datetime(2026, 11, 30, 12),)
    assert with_days(open_on - {date(2026, 11, 30)}) == []


def test_a_way_at_the_owners_limit_is_not_too_dear():
    assert offered(ask(max_cost=503.0), "chilled transcervical once")
    assert not offered(ask(max_cost=502.99), "chilled transcervical once")


@pytest.mark.parametrize(
    ("changes", "packed_at"),
    [
        # Nothing on hand: collected at three, on the day of the question if it is not past.
        ({"asked_at": datetime(2026, 11, 24, 15)}, datetime(2026, 11, 24, 15)),
        ({"asked_at": datetime(2026, 11, 24, 15, 1)}, datetime(2026, 11, 25, 15)),
        # On hand: taken at the last hour of the carrier, half past seven.
        ({"asked_at": datetime(2026, 11, 24, 19, 30), "sample_on_hand_at": TUESDAY},
         datetime(2026, 11, 24, 19, 30)),
        ({"asked_at": datetime(2026, 11, 24, 19, 31), "sample_on_hand_at": TUESDAY},
         datetime(2026, 11, 25, 19, 30)),
    ],
)  # fmt: skip
def test_a_shipment_is_packed_at_the_first_hour_that_is_not_past(changes, packed_at):
    assert offered(ask(**changes), "chilled vaginal once")[0].packed_at == packed_at


@pytest.mark.parametrize(("carrier_leaves", "is_offered"), [(range(5), True), ((), False)])
@pytest.mark.parametrize("on_hand", [None, TUESDAY])
def test_nothing_is_packed_on_a_day_on_which_the_carrier_takes_nothing(
    carrier_leaves, is_offered, on_hand
):
    carrier = Carrier("any", leaves=frozenset(carrier_leaves))
    asked = ask(asked_at=TUESDAY, carrier=carrier, sample_on_hand_at=on_hand)

    assert bool(offered(asked, "chilled vaginal once")) is is_offered


def test_hours_begin_and_end_on_the_minute():
    hours, carrier = OpeningHours(), Carrier("any")
    # Monday to Saturday, nine to five; shipments until half past seven, Monday to Friday.
    assert hours.first_from(datetime(2026, 11, 24, 17)) == datetime(2026, 11, 24, 17)
    assert hours.first_from(datetime(2026, 11, 24, 17, 1)) == datetime(2026, 11, 25, 9)
    assert hours.first_from(datetime(2026, 11, 28, 17, 1)) == datetime(2026, 11, 30, 9)
    assert carrier.takes(datetime(2026, 11, 27, 19, 30))
    assert not carrier.takes(datetime(2026, 11, 27, 19, 31))
    assert not carrier.takes(datetime(2026, 11, 28, 12))


@pytest.mark.parametrize(
    ("semen", "route", "n", "method"),
    [("natural", "natural", 1, "natural mating once"), ("fresh", "vaginal", 2,
     "fresh vaginal twice"), ("frozen", "transcervical", 1, "frozen transcervical once")],
)  # fmt: skip
def test_a_way_is_named_by_semen_route_and_number(semen, route, n, method):
    assert Option(semen, route, "a mating", (TUESDAY,) * n).method == method
