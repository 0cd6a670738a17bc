"""What breedings, a bitch's age and her past say; the order of what is spoken."""

from datetime import timedelta

import pandas as pd
import pytest
from tests.analytics.caution_records import (
    ROW,
    TODAY,
    event,
    examination,
    records,
    rules,
    sample,
    stops,
)

from studcurve.analytics.cautions import cautions_for_dog, stopped_answers

# The limits of the rules, written here once more.
BETWEEN_LITTERS_DAYS, EXAMINED_WITHIN_DAYS, GESTATION_DAYS = 365, 90, 63


def bred(*outcomes, first="2025-01-01"):
    days = pd.date_range(first, periods=len(outcomes), freq="30D")
    return [
        {"bred_earliest": on, "whelped": outcome, "pregnant": None}
        for on, outcome in zip(days, outcomes, strict=True)
    ]


def test_two_missed_breedings_in_a_row_are_for_a_veterinarian():
    assert "successive failures" in rules(records(breedings=bred(True, False, False)))
    assert "successive failures" not in rules(records(breedings=bred(False, False, True)))
    assert "successive failures" not in rules(records(breedings=bred(False)))


def test_unreported_outcomes_are_shown_with_both_extremes():
    # 6 of 8 known whelped, 2 unknown: 6/10 = 60 % to 8/10 = 80 %.
    outcomes = [True] * 6 + [False] + [None, None] + [False]

    sentence = rules(records(breedings=bred(*outcomes)))["outcome unknown"].sentence

    assert (sentence.values["n"], sentence.values["n_bred"]) == (2, 10)
    assert sentence.values["if_none"] == pytest.approx(0.6)
    assert sentence.values["if_all"] == pytest.approx(0.8)


@pytest.mark.parametrize(("days", "is_overdue"), [(70, False), (71, True)])
def test_a_breeding_is_overdue_after_a_pregnancy_and_a_week(days, is_overdue):
    on = pd.Timestamp(TODAY) - pd.Timedelta(days=days)

    assert ("outcome unknown" in rules(records(breedings=bred(None, first=on)))) is is_overdue


def test_stops_come_first_and_every_caution_names_its_source():
    spoken = cautions_for_dog(records([sample(5, look="pus")], breedings=bred(None)), TODAY)

    severities = [caution.severity for caution in spoken]
    assert severities == sorted(severities, key=["stop", "warn", "say"].index)
    assert all(caution.source for caution in spoken)


AGE_RULES = {"bitch young", "bitch old", "first litter late"}


def bitch(born_on, *, weight_kg=22.0, n_before=1, whelped=(), health=()):
    row = {"sex": "female", "born_on": pd.Timestamp(born_on), "adult_weight_kg": weight_kg,
           "n_litters_before": n_before}  # fmt: skip
    bred = [
        {"bred_earliest": pd.Timestamp("2024-03-01"), "whelped": outcome, "pregnant": None}
        for outcome in whelped
    ]
    return records(breedings=bred, row=row, health=health)


@pytest.mark.parametrize(
    ("her", "rule"),
    [
        # Two years of 365.25 days before the first of June, and one day less.
        (bitch("2024-05-31"), None),
        (bitch("2024-06-01"), "bitch young"),
        (bitch("2024-11-29", weight_kg=9.9), None),
        (bitch("2024-12-01", weight_kg=9.9), "bitch young"),
        (bitch("2024-11-29", weight_kg=10.0), "bitch young"),
        # Sixty-three days later she would be eight.
        (bitch("2018-08-03"), "bitch old"),
        (bitch("2018-08-04"), None),
        (bitch("2020-05-31", n_before=0), "first litter late"),
        (bitch("2020-06-02", n_before=0), None),
        (bitch("2020-04-01", n_before=float("nan")), "first litter late"),
        (bitch("2020-04-01", n_before=0, whelped=[False, True]), None),
        (bitch("2020-04-01", n_before=0, whelped=[False]), "first litter late"),
        (bitch(pd.NaT), None),
    ],
)
def test_a_bitch_too_young_or_too_old_is_for_a_veterinarian(her, rule):
    spoken = [one for one in cautions_for_dog(her, TODAY) if one.rule in AGE_RULES]

    assert [one.rule for one in spoken] == ([] if rule is None else [rule])
    assert all(one.severity == ("stop" if rule == "bitch old" else "warn") for one in spoken)


@pytest.mark.parametrize(
    ("line", "is_stopped"),
    [
        (examination(EXAMINED_WITHIN_DAYS, "breeding soundness", "fit"), False),
        (examination(EXAMINED_WITHIN_DAYS + 1, "breeding soundness", "fit"), True),
        (examination(5, "hips", "A"), True),
        (examination(5, "gynäkologische Untersuchung", ""), True),
        (examination(5, "gynäkologische Untersuchung", "o. B."), False),
    ],
)
def test_no_plan_is_made_for_an_old_bitch_before_she_was_examined(line, is_stopped):
    spoken = rules(bitch("2016-01-01", health=(line,)))

    assert stopped_answers(spoken.values()) == ({"plan"} if is_stopped else set())
    assert "bitch old" in spoken


def test_cesareans_are_counted():
    her = bitch(
        "2021-01-01", health=(event(900, "Kaiserschnitt", 900), event(400, "C-section", 400))
    )

    assert rules(her)["cesareans"].sentence.values["n"] == 2
    once = bitch("2021-01-01", health=(event(400, "C-section", 400),))
    assert rules(once)["cesareans"].sentence.values["n"] == 1
    assert "cesareans" not in rules(bitch("2021-01-01", health=(event(9, "whelping", 9),)))


@pytest.mark.parametrize(
    ("days", "is_recent"),
    [(BETWEEN_LITTERS_DAYS - GESTATION_DAYS - 1, True),
     (BETWEEN_LITTERS_DAYS - GESTATION_DAYS, False), (0, True), (-1, False)],
)  # fmt: skip
def test_two_litters_within_a_year_are_asked_about(days, is_recent):
    on = pd.Timestamp(TODAY - timedelta(days=days))
    litter = [{"bred_earliest": on - pd.Timedelta(days=63), "whelped": True, "whelped_on": on}]
    row = ROW | {"sex": "female", "born_on": pd.Timestamp("2022-01-01")}

    assert ("litter recent" in rules(records(breedings=litter, row=row))) is is_recent
    assert "litter recent" not in rules(records(breedings=litter))


def test_the_age_of_a_stud_or_of_an_outside_dog_says_nothing():
    old = ROW | {"born_on": pd.Timestamp("2010-01-01")}

    for one in (records(row=old), records(row=None)):
        assert not AGE_RULES & rules(one).keys()
        assert not stops(one)
