"""Views: which rows exist, and what their columns say."""

import re
import shutil
from datetime import date, timedelta

import duckdb
import numpy as np
import pandas as pd
import pytest

from studcurve.pipelines.records.database.schema import KEYS, SQL, VIEWS

pytestmark = pytest.mark.usefixtures("files_stay_open")

WHOLE_DAY = timedelta(hours=23, minutes=59, seconds=59)
HEAT = {"Bitch": "Senna", "First day": "2024-03-01"}
BRED = {"Bitch": "Senna", "Stud": "Bracken", "Date": "2024-03-12", "Semen": "natural",
        "Route": "natural"}  # fmt: skip
CHILLED = {"Semen": "chilled", "Route": "vaginal", "Collected on": "2024-03-11"}
SHIPMENT = {"Stud": "Bracken", "Collected on": "2024-03-11", "Sent on": "2024-03-11",
       "For bitch": "Senna", "Progressively motile per dose (M)": "180"}  # fmt: skip


def header(view):
    return (SQL / "views" / f"{view}.sql").read_text(encoding="utf-8")


@pytest.mark.parametrize("view", VIEWS)
def test_each_view_has_the_grain_it_declares(demo_store, view):
    grain = re.search(r"^-- Grain:\s+(.+)$", header(view), re.MULTILINE)[1].split(", ")

    rows = demo_store.read(view)

    # No line of the demo is doubtful, and nothing was forecast; test_doubtful and test_forecasts
    # have some.
    assert rows.empty == view.startswith(("doubtful_", "forecasts"))
    assert not rows.duplicated(grain).any()


@pytest.mark.parametrize("view", VIEWS)
def test_each_view_reads_what_it_declares(view):
    text = header(view)
    assert all(re.search(rf"^-- {part}:", text, re.MULTILINE) for part in ("Title", "Notes"))
    declared = re.search(r"^-- Reads:\s+(.+)$", text, re.MULTILINE)[1].split(", ")
    body = re.sub(r"^--.*$", "", text, flags=re.MULTILINE)
    named = set(re.findall(r"(?:FROM|JOIN)\s+([a-z_]+)", body))

    assert named & (set(KEYS) | set(VIEWS)) == set(declared)
    earlier = VIEWS[: VIEWS.index(view)]
    assert set(declared) & set(VIEWS) <= set(earlier)


def test_each_view_is_read_as_the_engine_gives_it_of_the_file(demo_store, tmp_path):
    copy = shutil.copyfile(demo_store.path, tmp_path / "copy.duckdb")
    with duckdb.connect(str(copy), read_only=True) as file:
        for view in reversed(VIEWS):
            given = file.execute(f"SELECT * FROM {view} ORDER BY ALL").df()
            pd.testing.assert_frame_equal(demo_store.read(view), given)


def test_what_is_written_to_an_open_file_is_in_what_is_read_next(kennel):
    with kennel.open() as store:
        assert store.read("open_heats").empty
        store.load([kennel.write("heats", [HEAT])], today=date(2024, 3, 2))
        assert store.read("cycles")["bitch"].tolist() == ["Senna"]
        assert len(store.read("open_heats")) == 1


def test_no_line_of_the_demo_is_lost_on_the_way(demo_store, demo_records):
    for sheet, view in (
        ("dogs", "dogs"), ("breedings", "breedings"), ("heats", "cycles"), ("shipments",
                                                                            "shipments"),
        ("frozen", "frozen_lots"),
    ):  # fmt: skip
        assert len(demo_store.read(view)) == len(pd.read_csv(demo_records / f"{sheet}.csv"))
    raw = demo_store.read("evaluations").query("stage == 'raw'")
    assert len(raw) == len(pd.read_csv(demo_records / "collections.csv"))


def test_a_date_without_a_time_is_the_whole_day_and_never_midnight(kennel):
    kennel.load(kennel.collections({}, {"Date": "2024-03-09", "Time": "08:30"}))

    rows = kennel.read("evaluations")

    spans = (rows["collected_latest"] - rows["collected_earliest"]).tolist()
    assert spans == [WHOLE_DAY, timedelta(0)]


STEPS = [
    ("70", "by eye", 65, 70, 75), ("75", "by eye", 72.5, 75, 77.5),
    ("72", "by eye", 71.5, 72, 72.5), ("0", "by eye", 0, 0, 5),
    ("100", "by eye", 95, 100, 100), ("70", "counted", 70, 70, 70),
    ("70-80", "by eye", 70, 75, 80), ("> 60", "by eye", 60, np.nan, 100),
    ("72,5", "counted", 72.5, 72.5, 72.5), ("not done", "by eye", np.nan, np.nan, np.nan),
    ("", "by eye", np.nan, np.nan, np.nan),
]  # fmt: skip


def test_a_motility_stands_for_the_step_it_was_read_in(kennel):
    kennel.load(kennel.collections(
        *({"Date": f"2024-01-{n:02d}", "Total motility (%)": "", "Progressive motility (%)": typed,
           "How motility was evaluated": how} for n, (typed, how, *_) in enumerate(STEPS, 1))
    ))  # fmt: skip

    rows = kennel.read("evaluations").sort_values("collected_earliest")

    columns = [f"progressive_motility_pct{end}" for end in ("_low", "", "_high")]
    np.testing.assert_equal(rows[columns].to_numpy(), np.array([step[2:] for step in STEPS]))


def test_sperm_that_were_numbered_were_counted(kennel):
    kennel.load(kennel.collections({"How motility was evaluated": "",
                                    "Sperm evaluated for motility": "200"},
                                   {"Date": "2024-03-09",
                                    "How motility was evaluated": ""}))  # fmt: skip

    assert kennel.read("evaluations")["motility_method"].tolist() == ["counted", "by eye"]


def test_not_counted_and_too_many_to_count_are_neither_zero_nor_a_number(kennel):
    typed = ["", "too many to count", "none seen", "0"]
    kennel.load(
        kennel.collections(
            *({"Date": f"2024-03-0{day}", "Concentration (M/mL)": text, "Total motility (%)": "",
               "Progressive motility (%)": ""} for day, text in enumerate(typed, 1))
        )
    )  # fmt: skip

    rows = kennel.read("evaluations")

    assert rows["concentration_m_per_ml"].isna().tolist() == [True, True, True, False]
    # None seen is a count of zero: its ends are known, its middle is not.
    np.testing.assert_equal(rows["concentration_m_per_ml_low"].tolist(), [np.nan, np.nan, 0, 0])


def test_rest_counts_from_the_last_attempt_that_gave_a_sample(kennel):
    kennel.load(
        kennel.collections(
            {"Date": "2024-03-01"},
            {"Date": "2024-03-05", "Result": "no erection", "Volume (mL)": "",
             "Concentration (M/mL)": "", "Total motility (%)": "", "Progressive motility (%)": ""},
            {"Date": "2024-03-08", "Time": "09:00"},
            {"Date": "2024-03-08", "Time": "15:00"},
            {"Date": "2024-03-08", "Dog": "Tarn"},
        )
    )  # fmt: skip

    rows = kennel.read("evaluations").sort_values(["stud", "collected_earliest"])

    assert rows["sexual_rest_days"].fillna(-1).tolist() == [-1, 4, 7, 0, -1]
    assert rows["failed_reason"].tolist()[1] == "no erection"


def test_progesterone_is_one_unit_and_keeps_its_open_ends(kennel):
    kennel.load(
        kennel.write("heats", [HEAT | {
            "Progesterone 1 on": "2024-03-10", "Progesterone 1": "15.9",
            "Progesterone 1 unit": "nmol/L", "Progesterone 2 on": "2024-03-12",
            "Progesterone 2 at": "09:15", "Progesterone 2": "> 20", "Progesterone 2 unit": "NG/ML",
            "Progesterone 3 on": "2024-03-13", "Progesterone 3": "< 0.2",
            "Progesterone 3 unit": "ng/mL", "Progesterone 4 on": "2024-03-14",
            "Progesterone 4": "not done", "Progesterone 5 on": "2024-03-15", "Progesterone 5": "7",
        }])
    )  # fmt: skip

    rows = kennel.read("progesterone")

    # 1 ng/mL of progesterone (314.46 g/mol) is 1000 / 314.46 = 3.1801 nmol/L.
    np.testing.assert_allclose(rows["progesterone_ng_per_ml_low"], [15.9 / 3.1801, 20, 0], 1e-4)
    np.testing.assert_allclose(rows["progesterone_ng_per_ml_high"][1:], [np.inf, 0.2])
    assert rows["progesterone_ng_per_ml"].isna().tolist() == [False, True, True]
    assert rows["unit_as_reported"].tolist() == ["nmol/L", "ng/mL", "ng/mL"]
    assert rows["value_as_reported"].tolist() == ["15.9", "> 20", "< 0.2"]


def in_year(cells, year):
    """A line of 2024 moved to another year."""
    return {heading: cell.replace("2024", str(year)) for heading, cell in cells.items()}


def test_a_breeding_belongs_to_a_heat_that_began_up_to_thirty_days_before(kennel):
    expected = {0: True, 30: True, 31: False, -1: False}
    heats, breedings = [], []
    for year, bred in enumerate(expected, 2021):
        heats.append(in_year(HEAT, year))
        day = pd.Timestamp(f"{year}-03-01") + pd.Timedelta(days=bred)
        breedings.append(BRED | {"Date": f"{day:%Y-%m-%d}"})
    kennel.load(kennel.write("heats", heats), kennel.write("breedings", breedings))

    rows = kennel.read("breedings").sort_values("bred_earliest")

    assert rows["cycle_id"].notna().tolist() == list(expected.values())


def test_the_second_insemination_is_a_row_of_its_own(kennel):
    second = {"Second date": "2024-03-14", "Second time": "10:00"}
    kennel.load(kennel.write("heats", [HEAT]), kennel.write("breedings", [BRED | second]))

    rows = kennel.read("inseminations")

    assert rows["n_in_breeding"].tolist() == [1, 2]
    assert rows["inseminated_earliest"].dt.strftime("%d %H:%M").tolist() == ["12 00:00", "14 10:00"]
    assert len(set(rows["cycle_id"])) == 1
    assert kennel.read("breedings")["n_inseminations"].tolist() == [2]


OUTCOMES = [
    ({}, None, None),
    ({"Result": "whelped"}, None, True),
    ({"Result": "missed"}, None, False),
    ({"Result": "lost", "Scan": "pregnant", "Scan on": "2024-04-10"}, True, False),
    ({"Born alive": "5"}, None, True),
    ({"Whelped on": "2024-05-13"}, None, True),
    ({"Scan": "pregnant", "Scan on": "2024-04-10"}, True, None),
    ({"Scan": "not pregnant", "Scan on": "2024-04-10"}, False, None),
    ({"Scan": "not pregnant", "Scan on": "2024-04-01"}, None, None),
    ({"Scan": "unclear", "Scan on": "2024-04-10"}, None, None),
]


def test_the_outcome_is_what_was_seen_and_reported_and_no_more(kennel):
    rows = [in_year(BRED | cells, 2008 + n) for n, (cells, *_) in enumerate(OUTCOMES)]
    kennel.load(
        kennel.write(
            "dogs", [{"Dog": "Senna", "Sex": "female"}, {"Dog": "Bracken", "Sex": "male"}]
        ),
        kennel.write("breedings", rows),
    )

    seen = kennel.read("breedings").sort_values("bred_earliest")

    for n, (_, pregnant, whelped) in enumerate(OUTCOMES):
        row = seen.iloc[n]
        for name, wanted in (("pregnant", pregnant), ("whelped", whelped)):
            assert (None if pd.isna(row[name]) else bool(row[name])) is wanted, OUTCOMES[n]
        assert bool(row["outcome_known"]) is (whelped is not None)


def test_a_litter_counts_alive_and_stillborn(kennel):
    pups = {"Result": "whelped", "Born alive": "5", "Stillborn": "1", "Alive at 8 weeks": "4"}
    kennel.load(kennel.write("breedings", [BRED | pups]))

    row = kennel.read("breedings").iloc[0]

    assert row[["n_born_alive", "n_stillborn", "litter_size", "n_alive_8_weeks"]].tolist() == [
        5, 1, 6, 4,
    ]  # fmt: skip


DOSES = [
    ("250", [SHIPMENT], 250),
    ("", [SHIPMENT], 180),
    ("", [SHIPMENT | {"For bitch": "senna"}], 180),
    ("", [SHIPMENT | {"For bitch": "Sage"}], np.nan),
    ("", [SHIPMENT | {"Collected on": "2024-03-10", "Sent on": "2024-03-10"}], np.nan),
    ("", [SHIPMENT | {"For bitch": "", "Clinic": "Hill"}], 180),
    ("", [SHIPMENT, SHIPMENT | {"Clinic": "Dale", "Progressively motile per dose (M)": "90"}],
     np.nan),
    ("", [], np.nan),
]  # fmt: skip
"""Dose that a breeding states, shipments of that year, and its dose. [10⁶]"""


def test_a_chilled_dose_is_the_stated_one_or_that_of_its_shipment(kennel):
    sent, breedings = [], []
    for year, (stated, shipments, _) in enumerate(DOSES, 2019):
        bred = BRED | CHILLED | {"Progressively motile per dose (M)": stated, "Clinic": "Hill"}
        breedings.append(in_year(bred, year))
        sent += [in_year(shipment, year) for shipment in shipments]
    dogs = [{"Dog": "Bracken", "Sex": "male"}, {"Dog": "Senna", "Sex": "female"}]
    kennel.load(
        kennel.write("dogs", dogs), kennel.write("shipments", sent),
        kennel.write("breedings", breedings),
    )  # fmt: skip

    rows = kennel.read("inseminations").sort_values("inseminated_earliest")

    np.testing.assert_equal(rows["motile_dose_m"].tolist(), [dose for *_, dose in DOSES])


def test_a_frozen_dose_is_straws_times_sperm_per_straw_and_takes_them_from_stock(kennel):
    lots = [
        {"Stud": "Bracken", "Frozen on": "2022-01-01", "Lot": "A", "Straws": "5",
         "Progressively motile per straw (M)": "30"},
        {"Stud": "Bracken", "Frozen on": "2023-01-01", "Lot": "B", "Straws": "8",
         "Progressively motile per straw (M)": "40"},
    ]  # fmt: skip
    frozen = BRED | {"Semen": "frozen", "Route": "transcervical"}
    kennel.load(
        kennel.write("frozen", lots),
        kennel.write("breedings", [
            frozen | {"Lot": "B", "Straws": "3"},
            frozen | {"Date": "2024-09-12", "Straws": "6"},
        ]),
    )  # fmt: skip

    doses = kennel.read("inseminations")["motile_dose_m"].tolist()

    np.testing.assert_equal(doses, [3 * 40.0, np.nan])  # the lots of the second one disagree
    assert kennel.read("frozen_lots").set_index("lot")["n_straws_left"].to_dict() == {
        "A": 0, "B": 8 - 3 - 1,
    }  # fmt: skip


def test_semen_is_as_old_as_its_collection_where_that_is_timed(kennel):
    kennel.load(
        kennel.collections({"Date": "2024-03-11", "Time": "16:00"}),
        kennel.write("shipments", [SHIPMENT | {
            "Sent at": "17:30", "Arrived on": "2024-03-12", "Arrived at": "11:00",
            "Retained sample progressive motility (%)": "60",
            "Retained sample evaluated on": "2024-03-13",
            "Retained sample evaluated at": "16:00",
        }]),
        kennel.write("breedings", [BRED | CHILLED, BRED | CHILLED | {
            "Bitch": "Sage", "Stud": "Tarn",
        }]),
    )  # fmt: skip

    rows = kennel.read("inseminations").set_index("stud_id")
    spans = (rows["collected_latest"] - rows["collected_earliest"]).tolist()

    assert spans == [timedelta(0), WHOLE_DAY]  # Tarn's collection is not on record
    shipment = kennel.read("shipments").iloc[0]
    assert shipment["retained_hours"] == 48
    assert shipment["collection_id"] == kennel.read("evaluations")["collection_id"].iloc[0]
    assert pd.isna(shipment["n_days_late"])  # nothing was promised


def test_shape_is_the_last_look_within_ninety_days_before_the_breeding(kennel):
    def look(day, pct):
        return {"Date": day, "Normal morphology (%)": pct}

    kennel.load(
        kennel.collections(look("2023-12-12", "50"), look("2024-01-05", "60"),
                           look("2024-03-12", "70"), look("2024-03-13", "80")),
        kennel.write("breedings", [BRED, BRED | {"Date": "2024-03-10", "Bitch": "Sage"},
                                   BRED | {"Date": "2025-03-12"}]),
    )  # fmt: skip

    shapes = kennel.read("breedings").sort_values("bred_earliest")["normal_morphology_pct"]

    np.testing.assert_equal(shapes.tolist(), [60, 70, np.nan])


def test_two_studs_in_one_heat_leave_the_sire_unknown(kennel):
    kennel.load(
        kennel.write("breedings", [
            BRED, BRED | {"Stud": "Tarn", "Date": "2024-03-14"},
            BRED | {"Date": "2024-10-01"}, BRED | {"Bitch": "Sage"},
        ])
    )  # fmt: skip

    certain = kennel.read("breedings").set_index(["bitch", "stud", "bred_earliest"])

    assert (~certain["is_sire_certain"]).sum() == 2


def test_health_lines_keep_the_laboratory_s_own_words(kennel):
    kennel.load(
        kennel.write("health", [
            {"Dog": "Senna", "Date": "2024-01-05", "Kind": "laboratory test",
             "What": "Brucella (RSAT)", "Result": "Negative", "Value": "< 1:50",
             "Laboratory": "Norra"},
            {"Dog": "Senna", "Date": "2024-01-05", "Kind": "laboratory test",
             "What": "alkaline phosphatase", "Value": "> 5000", "Unit": "U/L",
             "Laboratory's range": "20-150"},
            {"Dog": "Bracken", "Date": "2024-03-04", "Kind": "event", "What": "Fever",
             "Until": "2024-03-07", "Drug class": "antibiotic", "Notes": "39.9 at night"},
        ])
    )  # fmt: skip

    tests = kennel.read("lab_tests")

    assert tests["value_text"].tolist() == ["< 1:50", "> 5000"]
    assert tests["laboratory_range"].tolist()[1] == "20-150"
    event = kennel.read("events").iloc[0]
    assert event[["kind", "drug_class", "text"]].tolist() == [
        "fever",
        "antibiotic",
        "39.9 at night",
    ]
