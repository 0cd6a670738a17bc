"""How records are read from views: blanks stay blank, days are whole, matings are paired."""

import math
from datetime import date

import pandas as pd
import pytest
from tests.analytics.caution_records import records

from studcurve.analytics.cautions import KennelRecords
from studcurve.analytics.cautions.records import (
    Contact,
    Sample,
    contacts_by_dog,
    health_lines,
    samples_by_stud,
    until,
)

EVALUATIONS = pd.DataFrame(
    [
        {"stud": "Tarn", "stage": "raw", "collected_earliest": pd.Timestamp("2026-05-02 08:00"),
         "failed_reason": None, "appearance": "Blood", "n_cells_counted": pd.NA,
         "concentration_m_per_ml": 0.0, "volume_ml": 2.0, "progressive_motility_pct": pd.NA,
         "normal_morphology_pct": 80.0, "is_doubtful": True},
        {"stud": "Tarn", "stage": "raw", "collected_earliest": pd.Timestamp("2026-05-01"),
         "failed_reason": "refused", "appearance": None, "n_cells_counted": None,
         "concentration_m_per_ml": None, "volume_ml": None, "progressive_motility_pct": None,
         "normal_morphology_pct": None, "is_doubtful": False},
        {"stud": "Tarn", "stage": "on arrival", "collected_earliest": pd.Timestamp("2026-05-03"),
         "failed_reason": None, "appearance": None, "n_cells_counted": None,
         "concentration_m_per_ml": None, "volume_ml": None, "progressive_motility_pct": 60.0,
         "normal_morphology_pct": None, "is_doubtful": False},
    ]
)  # fmt: skip


def test_samples_are_the_raw_ones_in_the_order_of_their_days():
    failed, sample = samples_by_stud(EVALUATIONS)["Tarn"]

    assert failed.failed_reason == "refused"
    assert not failed.is_counted
    assert (sample.on, sample.look, sample.volume_ml) == (date(2026, 5, 2), "blood", 2.0)
    assert math.isnan(sample.n_cells)
    assert math.isnan(sample.forward_pct)
    assert sample.is_doubtful
    assert sample.is_counted
    assert sample.shows_no_sperm


@pytest.mark.parametrize(
    ("cells", "concentration", "is_counted", "is_none"),
    [(0.0, math.nan, True, True), (math.nan, 0.0, True, True), (5.0, math.nan, True, False),
     (math.nan, 5.0, True, False), (math.nan, math.nan, False, False), (0.0, 5.0, True, True)],
)  # fmt: skip
def test_none_seen_is_a_count_and_not_counted_is_none(cells, concentration, is_counted, is_none):
    sample = Sample(date(2026, 5, 1), n_cells=cells, concentration_m_per_ml=concentration)

    assert sample.is_counted is is_counted
    assert sample.shows_no_sperm is is_none


BRED = pd.DataFrame(
    [
        {"breeding_id": 2, "stud": "Tarn", "bitch": "Senna", "semen_type": "chilled",
         "bred_earliest": pd.Timestamp("2026-05-09"), "bred_latest": pd.Timestamp("2026-05-09")},
        {"breeding_id": 1, "stud": "Tarn", "bitch": "Sage", "semen_type": "natural",
         "bred_earliest": pd.Timestamp("2026-05-01"), "bred_latest": pd.Timestamp("2026-05-01")},
    ]
)  # fmt: skip
GIVEN = pd.DataFrame(
    [{"breeding_id": 1, "inseminated_latest": pd.Timestamp(day)} for day in
     ("2026-05-01 10:00", "2026-05-03 23:59")]
)  # fmt: skip


def test_both_partners_have_the_contact_from_its_first_day_to_its_last():
    contacts = contacts_by_dog(BRED, GIVEN)

    first, last = date(2026, 5, 1), date(2026, 5, 3)
    later = Contact("Senna", date(2026, 5, 9), date(2026, 5, 9), is_natural=False)
    assert contacts["Tarn"] == (Contact("Sage", first, last, is_natural=True), later)
    assert contacts["Sage"] == (Contact("Tarn", first, last, is_natural=True),)


def test_a_day_counts_whole_and_the_next_one_not():
    rows = pd.DataFrame({"at": pd.to_datetime(["2026-05-02 23:59:59", "2026-05-03 00:00:00"])})

    assert len(until(rows, "at", date(2026, 5, 2))) == 1


LINE = {
    "entry_id": 1, "dog": "Tarn", "kind": "event", "noted_on": pd.Timestamp("2026-05-02"),
    "until_on": pd.NaT, "what": "fever", "result": None, "value_text": None, "drug_class": None,
    "veterinarian": None, "notes": pd.NA, "is_confirmed": False, "is_superseded": False,
    "is_doubtful": False,
}  # fmt: skip


def test_a_health_line_keeps_its_blanks_and_is_open_until_its_last_day():
    (line,) = health_lines(pd.DataFrame([LINE]))["Tarn"]
    (ended,) = health_lines(pd.DataFrame([LINE | {"until_on": pd.Timestamp("2026-05-04")}]))["Tarn"]

    assert (line.result, line.value, line.notes, line.until) == ("", "", "", None)
    assert [line.is_open(date(2026, 5, day)) for day in (1, 2, 30)] == [False, True, True]
    assert [ended.is_open(date(2026, 5, day)) for day in (1, 2, 4, 5)] == [False, True, True, False]


@pytest.mark.parametrize(
    ("row", "is_female", "weight"),
    [(None, False, math.nan), ({"sex": "female", "adult_weight_kg": 20.0}, True, 20.0),
     ({"sex": "male", "adult_weight_kg": None}, False, math.nan),
     ({"sex": "male", "adult_weight_kg": float("nan")}, False, math.nan)],
)  # fmt: skip
def test_a_dog_without_a_row_or_a_weight_has_none(row, is_female, weight):
    of_dog = records(row=row)

    assert of_dog.is_female is is_female
    assert of_dog.weight_kg == weight or (math.isnan(of_dog.weight_kg) and math.isnan(weight))


@pytest.mark.parametrize(
    ("intervals", "days"),
    [([], 365), ([("Brucella", 180), ("eyes", 30)], 180), ([("B. canis", 90)], 90),
     ([("Brucellose", 200), ("RSAT", 100)], 100)],
)  # fmt: skip
def test_the_kennel_s_own_interval_is_read_whatever_the_test_is_called(intervals, days):
    views = {
        "dogs": pd.DataFrame(columns=["call_name", "sex"]),
        "evaluations": EVALUATIONS.head(0), "evaluations_seen": EVALUATIONS.head(0),
        "breedings": BRED.head(0), "breedings_seen": BRED.head(0),
        "inseminations_seen": GIVEN.head(0), "health_lines": pd.DataFrame([LINE]).head(0),
        "intervals": pd.DataFrame(intervals, columns=["what", "repeat_days"]),
    }  # fmt: skip

    assert KennelRecords.of_views(views).brucella_interval_days == days


def test_a_dog_has_the_breedings_of_either_side_and_his_semen_exposes_every_bitch():
    views = {
        "dogs": pd.DataFrame(
            [("Tarn", "male"), ("Senna", "female"), ("Sage", "female"), ("Elm", "male")],
            columns=["call_name", "sex"],
        ),
        "evaluations": EVALUATIONS.head(0), "evaluations_seen": EVALUATIONS.head(0),
        "breedings": BRED, "breedings_seen": BRED, "inseminations_seen": GIVEN,
        "health_lines": pd.DataFrame(
            [LINE | {"kind": "laboratory test", "what": "RSAT", "result": "positive"}]
        ),
        "intervals": pd.DataFrame(columns=["what", "repeat_days"]),
    }  # fmt: skip
    today = date(2026, 6, 1)
    kennel = KennelRecords.of_views(views)

    bred = {dog: len(kennel.of(dog, today).breedings) for dog in ("Tarn", "Senna", "Sage", "Elm")}
    assert bred == {"Tarn": 2, "Senna": 1, "Sage": 1, "Elm": 0}
    # Senna was inseminated with chilled semen; a bitch would pass it on at a mating alone.
    exposed = {dog: kennel.of(dog, today).exposures for dog in ("Senna", "Sage", "Elm")}
    assert {dog: [one.by for one in met] for dog, met in exposed.items()} == {
        "Senna": ["Tarn"],
        "Sage": ["Tarn"],
        "Elm": [],
    }
