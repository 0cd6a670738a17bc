"""What may be read off one compared breeding: a best, missing prices, the gap to be told."""

from datetime import date, datetime
from types import SimpleNamespace

import pytest

from studcurve.analytics.plan.breeding_plan import BreedingPlan, HeatSummary
from studcurve.analytics.plan.options import Option
from studcurve.analytics.plan.simulation.chain import Pair
from studcurve.analytics.sentences import sentence

HEAT = HeatSummary(
    date(2026, 3, 1), date(2026, 3, 4), date(2026, 3, 2), 1.0, sentence("plan.heat"), True, True
)
UNKNOWN = float("nan")


def answer(semen="fresh", *, litters=0.5, value=UNKNOWN, has_centre=True, paid=("scan",)):
    option = Option(semen, "vaginal", "next collection", (datetime(2026, 3, 3, 9),),
                    costs=tuple((item, 1) for item in paid))  # fmt: skip
    return SimpleNamespace(
        outcome=SimpleNamespace(option=option), expected_litters=litters, value=value,
        has_centre=has_centre,
    )  # fmt: skip


def plan(*answers, worth=None, lead=0, gaps=(), prices=()):
    return BreedingPlan(
        pair=Pair("a stud", "a bitch"), heat=HEAT, cautions=(), is_stopped=False, n_litters=0,
        months_since=None, litter_inbreeding_pct=None, prices=dict.fromkeys(prices, 10.0),
        currency="EUR", worth_of_litter=worth, n_draws=10, answers=answers, lead=lead,
        gaps=tuple(SimpleNamespace(first=first, second=second) for first, second in gaps),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("worth", "values", "is_valued"),
    [
        (3000.0, (200.0, UNKNOWN), True),
        (3000.0, (UNKNOWN, UNKNOWN), False),
        (None, (200.0, 100.0), False),
        (3000.0, (), False),
    ],
)
def test_a_plan_is_in_money_at_a_stated_worth_and_one_known_cost(worth, values, is_valued):
    assert plan(*(answer(value=v) for v in values), worth=worth).is_valued is is_valued


@pytest.mark.parametrize(
    ("worth", "lead_has_centre", "may_be"),
    [(3000.0, True, True), (3000.0, False, False), (None, True, False)],
)
def test_a_best_is_named_at_a_stated_worth_with_data_like_it(worth, lead_has_centre, may_be):
    ways = (answer(value=1.0, has_centre=not lead_has_centre),
            answer(value=2.0, has_centre=lead_has_centre))  # fmt: skip

    assert plan(*ways, worth=worth, lead=1).may_name_a_best is may_be


def test_missing_is_what_a_way_is_paid_for_with_and_the_stud_fee():
    ways = (answer(paid=("scan", "shipment")), answer(paid=("frozen dose", "scan")))

    assert plan(*ways, prices=("scan",)).missing_prices == ("shipment", "frozen dose", "stud fee")
    assert plan(*ways, prices=("scan", "stud fee", "shipment", "frozen dose")).missing_prices == ()
    assert plan().missing_prices == ()


def test_the_gap_that_is_told_leads_to_the_best_way_of_another_semen():
    ways = (answer("fresh", litters=0.7), answer("fresh", litters=0.69),
            answer("chilled", litters=0.5), answer("frozen", litters=0.6))  # fmt: skip
    planned = plan(*ways, gaps=((0, 1), (0, 2), (0, 3)))

    assert planned.other(planned.gap_shown) == 3


def test_without_another_semen_it_leads_to_the_nearest_way():
    ways = tuple(answer("frozen", litters=chance) for chance in (0.4, 0.6, 0.5))
    # The lead by value need not be first by its chance: a gap may name it second.
    planned = plan(*ways, lead=0, gaps=((1, 0), (2, 0)))

    assert [planned.other(gap) for gap in planned.gaps] == [1, 2]
    assert planned.other(planned.gap_shown) == 1
    assert plan().gap_shown is None
