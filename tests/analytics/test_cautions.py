"""Cautions: each rule speaks when the records say so, and stops what it must."""

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from analytics.cautions import (
    BRUCELLA_RETEST_DAYS,
    DogRecords,
    cautions_for_dog,
    stopped_answers,
)

TODAY = date(2026, 6, 1)

EVALUATION = {
    "stage": "raw",
    "failed_reason": None,
    "collected_earliest": pd.Timestamp("2026-05-20"),
    "appearance": "normal",
    "n_cells_counted": 210.0,
    "concentration_m_per_ml": 180.0,
}
BRUCELLA = {
    "what": "Brucella (RSAT)",
    "sampled_on": pd.Timestamp("2026-03-01"),
    "result": "negative",
}


def records(evaluations=(), lab_tests=(BRUCELLA,), events=(), breedings=()):
    columns = {
        "evaluations": list(EVALUATION),
        "lab_tests": list(BRUCELLA),
        "events": ["kind", "started_on"],
        "breedings": ["bred_earliest", "whelped"],
    }

    def frame(name, rows):
        return pd.DataFrame(list(rows), columns=columns[name])

    return DogRecords(
        "Rowan",
        frame("evaluations", evaluations),
        frame("lab_tests", lab_tests),
        frame("events", events),
        frame("breedings", breedings),
    )


def rules(dog_records):
    return {caution.rule: caution for caution in cautions_for_dog(dog_records, TODAY)}


def test_a_dog_without_a_brucella_test_is_named_so_in_the_first_line():
    spoken = cautions_for_dog(records(lab_tests=()), TODAY)

    assert spoken[0].rule == "brucella not recorded"
    assert spoken[0].sentence.values["dog"] == "Rowan"


@pytest.mark.parametrize("result", ["positive", "suspect", "Positive"])
def test_a_positive_or_suspect_brucella_stops_box_and_plan_even_after_a_later_negative(result):
    alarming = {**BRUCELLA, "result": result}
    later = {**BRUCELLA, "sampled_on": pd.Timestamp("2026-05-01")}

    spoken = cautions_for_dog(records(lab_tests=(alarming, later)), TODAY)

    assert spoken[0].severity == "stop"
    assert {"box", "plan", "conception"} <= stopped_answers(spoken)


def test_a_test_of_the_future_says_nothing_yet():
    tomorrow = {**BRUCELLA, "sampled_on": pd.Timestamp("2026-06-02"), "result": "positive"}

    assert "brucella not recorded" in rules(records(lab_tests=(tomorrow,)))


@pytest.mark.parametrize(
    ("age_days", "rule"),
    [(BRUCELLA_RETEST_DAYS, "brucella negative"), (BRUCELLA_RETEST_DAYS + 1, "brucella test old")],
)
def test_a_negative_test_ages(age_days, rule):
    test = {**BRUCELLA, "sampled_on": pd.Timestamp(TODAY) - pd.Timedelta(days=age_days)}

    assert rule in rules(records(lab_tests=(test,)))


def test_another_laboratory_test_does_not_pass_for_a_brucella_test():
    assert "brucella not recorded" in rules(records(lab_tests=({**BRUCELLA, "what": "Culture"},)))


@pytest.mark.parametrize("zero", [{"n_cells_counted": 0.0}, {"concentration_m_per_ml": 0.0}])
def test_no_sperm_in_the_last_sample_stops_doses_and_forecast(zero):
    spoken = cautions_for_dog(records([{**EVALUATION, **zero}]), TODAY)

    assert {"doses", "forecast"} <= stopped_answers(spoken)


def test_a_sample_that_was_not_counted_is_not_a_sample_without_sperm():
    uncounted = {**EVALUATION, "n_cells_counted": None, "concentration_m_per_ml": None}

    assert "no sperm seen" not in rules(records([uncounted]))


def test_a_later_sample_with_sperm_lifts_the_azoospermia_stop():
    empty = {**EVALUATION, "n_cells_counted": 0.0, "collected_earliest": pd.Timestamp("2026-05-01")}

    assert "no sperm seen" not in rules(records([empty, EVALUATION]))


def test_a_failed_attempt_after_an_empty_sample_does_not_lift_the_stop():
    empty = {**EVALUATION, "n_cells_counted": 0.0}
    failed = {
        **EVALUATION,
        "failed_reason": "refused",
        "n_cells_counted": None,
        "concentration_m_per_ml": None,
        "collected_earliest": pd.Timestamp("2026-05-25"),
    }

    assert "no sperm seen" in rules(records([empty, failed]))


@pytest.mark.parametrize("seen", ["blood", "pus", "urine"])
def test_a_discolored_last_sample_stops_its_doses(seen):
    spoken = cautions_for_dog(records([{**EVALUATION, "appearance": seen}]), TODAY)

    assert stopped_answers(spoken) == {"doses", "box"}


def test_a_collection_stopped_for_pain_stops_the_next_one():
    pained = {**EVALUATION, "failed_reason": "stopped for pain"}

    assert "box" in stopped_answers(cautions_for_dog(records([pained]), TODAY))


def test_a_fever_stays_in_the_first_lines_for_a_spermatogenic_cycle_and_no_longer():
    fever = {"kind": "fever", "started_on": pd.Timestamp("2026-04-01")}
    old_fever = {"kind": "fever", "started_on": pd.Timestamp("2026-03-01")}

    assert "illness recorded" in rules(records(events=(fever,)))
    assert "illness recorded" not in rules(records(events=(old_fever,)))


def bred(*outcomes, first="2025-01-01"):
    days = pd.date_range(first, periods=len(outcomes), freq="30D")
    return [
        {"bred_earliest": on, "whelped": outcome}
        for on, outcome in zip(days, outcomes, strict=True)
    ]


def test_two_empty_breedings_in_a_row_are_for_a_veterinarian():
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


def test_a_breeding_of_last_week_is_not_yet_overdue():
    assert "outcome unknown" not in rules(records(breedings=bred(None, first="2026-05-25")))


def test_stops_come_first_and_every_caution_names_its_source():
    spoken = cautions_for_dog(
        records([{**EVALUATION, "appearance": "pus"}], breedings=bred(None)), TODAY
    )

    severities = [caution.severity for caution in spoken]
    assert severities == sorted(severities, key=["stop", "warn", "say"].index)
    assert all(caution.source for caution in spoken)


AGE_RULES = {"bitch young", "bitch old", "first litter late"}


def bitch(born_on, *, weight_kg=22.0, n_before=1, whelped=()):
    """Rowan's records as a bitch's, with her row of the Dogs sheet."""
    row = {"sex": "female", "born_on": born_on, "adult_weight_kg": weight_kg,
           "n_litters_before": n_before}  # fmt: skip
    bred = [
        {"bred_earliest": pd.Timestamp("2024-03-01"), "whelped": outcome} for outcome in whelped
    ]
    return replace(records(breedings=bred), row=row)


@pytest.mark.parametrize(
    ("her", "rule"),
    [
        (bitch(pd.Timestamp("2024-06-03")), "bitch young"),
        (bitch(pd.Timestamp("2024-05-30")), None),
        (bitch(pd.Timestamp("2024-11-25"), weight_kg=6.0), None),
        (bitch(pd.Timestamp("2025-01-01"), weight_kg=6.0), "bitch young"),
        # Sixty-three days later she would be eight.
        (bitch(pd.Timestamp("2018-08-03")), "bitch old"),
        (bitch(pd.Timestamp("2018-08-05")), None),
        (bitch(pd.Timestamp("2020-04-01"), n_before=0), "first litter late"),
        (bitch(pd.Timestamp("2020-04-01"), n_before=float("nan")), "first litter late"),
        (bitch(pd.Timestamp("2020-04-01"), n_before=0, whelped=[False, True]), None),
        (bitch(pd.NaT), None),
    ],
)
def test_a_bitch_too_young_or_too_old_is_for_a_veterinarian_and_stops_nothing(her, rule):
    spoken = [one for one in cautions_for_dog(her, TODAY) if one.rule in AGE_RULES]

    assert [one.rule for one in spoken] == ([] if rule is None else [rule])
    assert all(one.severity == "warn" and not one.stops for one in spoken)


def test_the_age_of_a_stud_or_of_an_outside_dog_says_nothing():
    old = bitch(pd.Timestamp("2010-01-01"))
    male = replace(old, row={**old.row, "sex": "male"})

    for one in (male, records()):
        assert not AGE_RULES & {caution.rule for caution in cautions_for_dog(one, TODAY)}
