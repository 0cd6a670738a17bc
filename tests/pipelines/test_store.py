"""The records file: what goes in, what is kept apart, and what survives."""

import json
import re
import signal
import subprocess
import sys
import time
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from analytics.errors import RecordsError, StoreLockedError
from pipelines.run import DEMO, DEMO_TODAY
from pipelines.store import DOMAIN_TABLES, SQL, VIEWS, KeptFit, Store

TODAY = date(2026, 6, 1)
HOSTILE = "</script><script>alert(1)</script>"
DOGS = "Dog,Sex,Born\nRowan,male,2019-05-01\nAsh,female,2020-02-03\n"
COLLECTIONS = "Dog,Date,Time,Volume (mL),Concentration (M/mL),% moving forward,How judged\n"


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "kennel.duckdb") as opened:
        yield opened


@pytest.fixture
def load(store, tmp_path):
    def write_and_load(**sheets):
        folder = tmp_path / f"sheets-{time.monotonic_ns()}"
        folder.mkdir()
        for name, text in sheets.items():
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
        return store.load([folder], today=TODAY)

    return write_and_load


@pytest.mark.parametrize("view", VIEWS)
def test_each_view_has_the_grain_it_declares(demo_store, view):
    header = (SQL / "views" / f"{view}.sql").read_text(encoding="utf-8")
    grain = re.search(r"^-- Grain:\s+(.+)$", header, re.MULTILINE)[1].split(", ")
    assert all(f"-- {part}:" in header for part in ("Title", "Reads", "Notes"))

    rows = demo_store.read(view)

    assert not rows.empty
    assert not rows.duplicated(grain).any()


def test_loading_twice_changes_nothing(store, load):
    sheets = {"dogs": DOGS, "collections": COLLECTIONS + "Rowan,2024-01-02,,2.1,300,70,by eye\n"}
    load(**sheets)
    before, fingerprint = {view: store.read(view) for view in VIEWS}, store.fingerprint()

    report = load(**sheets)

    assert report.sheets["collections"].n_unchanged == 1
    assert report.sheets["collections"].n_new == 0
    assert store.fingerprint() == fingerprint
    for view, rows in before.items():
        pd.testing.assert_frame_equal(store.read(view), rows)


def test_the_order_of_lines_changes_no_record(tmp_path):
    lines = [f"Rowan,2024-01-{day:02d},,2.{day},30{day % 10},70,by eye" for day in range(1, 20)]
    frames = []
    for name, order in (("a", lines), ("b", lines[::-1])):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "dogs.csv").write_text(DOGS, encoding="utf-8")
        (folder / "collections.csv").write_text(
            COLLECTIONS + "\n".join(order) + "\n", encoding="utf-8"
        )
        with Store.open(tmp_path / f"{name}.duckdb") as store:
            store.load([folder], today=TODAY)
            rows = store.read("evaluations").sort_values("collected_earliest")
            frames.append(rows.drop(columns=["evaluation_id", "collection_id"]))

    pd.testing.assert_frame_equal(*(frame.reset_index(drop=True) for frame in frames))


def test_a_changed_line_supersedes_and_both_stay_readable(store, load):
    load(dogs=DOGS, collections=COLLECTIONS + "Rowan,2024-01-02,,2.1,300,70,by eye\n")
    first = store.read("evaluations")

    report = load(collections=COLLECTIONS + "Rowan,2024-01-02,,2.4,300,70,by eye\n")

    assert report.sheets["collections"].n_changed == 1
    rows = store.read("evaluations")
    assert rows["volume_ml"].tolist() == [2.4]
    assert rows["evaluation_id"].tolist() == first["evaluation_id"].tolist()
    lines = store.lines("collections")
    assert lines["state"].tolist() == ["superseded", "current"]
    assert [json.loads(cells)["volume_ml"] for cells in lines["cells"]] == ["2.1", "2.4"]


def test_two_versions_of_one_line_in_one_load_are_refused_together(store, load):
    report = load(
        dogs=DOGS,
        collections=COLLECTIONS
        + "Rowan,2024-01-02,,2.1,300,70,by eye\nRowan,2024-01-02,,9.9,300,70,by eye\n",
    )

    assert report.sheets["collections"].n_refused == 2
    assert set(report.findings["rule"]) == {"two versions of one line"}
    assert store.read("evaluations").empty


def test_the_same_line_twice_in_one_load_is_one_line(store, load):
    line = "Rowan,2024-01-02,,2.1,300,70,by eye\n"

    report = load(dogs=DOGS, collections=COLLECTIONS + line + line)

    assert report.sheets["collections"].n_new == 1
    assert report.n_refused == 0


def test_a_date_without_a_time_is_the_whole_day_and_never_midnight(store, load):
    load(
        dogs=DOGS,
        collections=COLLECTIONS
        + "Rowan,2024-01-02,,2.1,300,70,by eye\nRowan,2024-01-03,09:30,2.1,300,70,by eye\n",
    )

    rows = store.read("evaluations")
    spans = (rows["collected_latest"] - rows["collected_earliest"]).tolist()
    assert spans == [timedelta(hours=23, minutes=59, seconds=59), timedelta(0)]


def test_a_censored_reading_keeps_its_open_end(store, load):
    load(
        dogs=DOGS,
        heats="Bitch,First day,Progesterone 1 on,Progesterone 1,Progesterone 1 unit\n"
        "Ash,2024-01-01,2024-01-10,> 20,nmol/L\n",
    )

    row = store.read("progesterone").iloc[0]
    # 1 ng/mL of progesterone (314.46 g/mol) is 3.1801 nmol/L.
    assert row["progesterone_ng_per_ml_low"] == pytest.approx(20 / 3.1801)
    assert np.isinf(row["progesterone_ng_per_ml_high"])
    assert np.isnan(row["progesterone_ng_per_ml"])


@pytest.mark.parametrize(
    ("typed", "low", "middle", "high"),
    [("70", 65, 70, 75), ("75", 72.5, 75, 77.5), ("0", 0, 0, 5), ("70-80", 70, 75, 80)],
)
def test_a_motility_by_eye_stands_for_its_step(store, load, typed, low, middle, high):
    load(dogs=DOGS, collections=COLLECTIONS + f"Rowan,2024-01-02,,2.1,300,{typed},by eye\n")

    row = store.read("evaluations").iloc[0]
    columns = [f"progressive_motility_pct{end}" for end in ("_low", "", "_high")]
    assert row[columns].tolist() == [low, middle, high]


def test_not_counted_and_too_many_to_count_are_neither_zero_nor_a_number(store, load):
    load(
        dogs=DOGS,
        collections=COLLECTIONS
        + "Rowan,2024-01-02,,2.1,,70,by eye\nRowan,2024-01-03,,2.1,too many to count,70,by eye\n"
        + "Rowan,2024-01-04,,2.1,0,,by eye\n",
    )

    concentration = store.read("evaluations")["concentration_m_per_ml"]
    assert concentration.isna().tolist() == [True, True, False]


def test_the_file_of_typing_errors_is_kept_apart_line_by_line(tmp_path, demo_records):
    with Store.open(tmp_path / "kennel.duckdb") as store:
        store.load([demo_records], today=DEMO_TODAY)
        report = store.load([DEMO / "typing_errors"], today=DEMO_TODAY)

        assert report.sheets["collections"].n_new == 12
        assert report.sheets["collections"].n_refused == 12
        refused = store.lines("collections").query("state == 'refused'")

    # Sound and wrong lines alternate in the file, below its row of headings.
    assert sorted(refused["line"]) == list(range(3, 26, 2))
    assert set(report.findings["line"]) == set(refused["line"])
    assert report.findings[["message", "remedy", "column_heading"]].notna().all(axis=None)
    assert {
        "not a date", "unknown dog", "not a number", "forward above moving", "out of range",
        "date ahead", "unknown word", "not a time", "per mL instead of millions", "missing",
    } == set(report.findings["rule"])  # fmt: skip


def test_slash_dates_are_never_guessed(store, tmp_path):
    (tmp_path / "dogs.csv").write_text("Dog,Sex,Born\nRowan,male,03/04/2020\n", encoding="utf-8")

    assert store.load([tmp_path / "dogs.csv"], today=TODAY).n_refused == 1
    store.load([tmp_path / "dogs.csv"], today=TODAY, day_order="month-first")
    assert store.read("dogs")["born_on"].dt.strftime("%m-%d").tolist() == ["03-04"]


def test_no_row_refers_to_a_dog_or_breeding_that_is_not_there(demo_store):
    dogs = set(demo_store.read("dogs")["dog_id"])
    breedings = demo_store.read("breedings")

    for view, column in (
        ("evaluations", "stud_id"), ("cycles", "bitch_id"), ("breedings", "bitch_id"),
        ("breedings", "stud_id"), ("shipments", "stud_id"), ("events", "dog_id"),
        ("lab_tests", "dog_id"), ("frozen_lots", "stud_id"),
    ):  # fmt: skip
        assert set(demo_store.read(view)[column]) <= dogs
    assert set(demo_store.read("inseminations")["breeding_id"]) == set(breedings["breeding_id"])


def test_no_line_of_the_demo_is_lost_on_the_way(demo_store, demo_records):
    for sheet, view in (("breedings", "breedings"), ("heats", "cycles"), ("boxes", "shipments")):
        n_lines = len(pd.read_csv(demo_records / f"{sheet}.csv"))
        assert len(demo_store.read(view)) == n_lines
    raw = demo_store.read("evaluations").query("stage == 'raw'")
    assert len(raw) == len(pd.read_csv(demo_records / "collections.csv"))


def test_a_hostile_name_is_only_ever_text(store, load):
    load(dogs=f'Dog,Sex\n"{HOSTILE}",male\n"Robert\'); DROP TABLE dog;--",male\n')

    assert set(store.read("dogs")["call_name"]) == {HOSTILE, "Robert'); DROP TABLE dog;--"}


@pytest.mark.parametrize(
    ("content", "wanted"),
    [
        (b"Dog,Sex\nRow\0an,male\n", "NUL"),
        ("Dog,Sex\nRöwan,male\n".encode("cp1252"), "UTF-8"),
        (b"", "empty"),
        (b"Dog,Sex,Mood\nRowan,male,fine\n", "'Mood'"),
        (b"Dog\nRowan\n", "'Sex'"),
        (b"Dog,Sex\nRowan,male,extra\n", "line 2"),
        (b'Dog,Sex\n"Rowan,male\n', "CSV"),
    ],
)
def test_a_file_that_is_no_sheet_gets_one_clear_sentence(store, tmp_path, content, wanted):
    path = tmp_path / "dogs.csv"
    path.write_bytes(content)

    with pytest.raises(RecordsError, match=re.escape(wanted)):
        store.load([path], today=TODAY)
    assert store.read("dogs").empty


def test_line_numbers_are_exact_past_a_quoted_line_break(store, load):
    report = load(dogs='Dog,Sex,Notes\nRowan,male,"two\nlines"\nAsh,female,\nElm,neither,\n')

    assert report.findings["line"].tolist() == [5]


def test_a_check_changes_nothing(store, tmp_path):
    (tmp_path / "dogs.csv").write_text(DOGS, encoding="utf-8")

    report = store.load([tmp_path / "dogs.csv"], today=TODAY, check_only=True)

    assert report.sheets["dogs"].n_new == 2
    assert store.read("dogs").empty


def test_a_file_that_another_process_holds_gets_a_kind_sentence(tmp_path):
    path = tmp_path / "kennel.duckdb"
    hold = (
        "import sys, time, pathlib; from pipelines.store import Store\n"
        "with Store.open(pathlib.Path(sys.argv[1])): print('held', flush=True); time.sleep(60)"
    )
    holder = subprocess.Popen([sys.executable, "-c", hold, path], stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(StoreLockedError, match=rf"process \(number {holder.pid}\)"):
            Store.open(path)
    finally:
        holder.kill()
        holder.communicate()


def test_a_newer_file_is_refused_with_both_versions(tmp_path):
    path = tmp_path / "kennel.duckdb"
    with Store.open(path) as store, store._transaction() as connection:
        connection.execute("INSERT INTO schema_version VALUES (99)")

    with pytest.raises(RecordsError, match="schema 99"):
        Store.open(path)


def test_killing_a_load_leaves_nothing_half_done(tmp_path, demo_records):
    path = tmp_path / "kennel.duckdb"
    with Store.open(path) as store:
        store.load([demo_records / "dogs.csv"], today=DEMO_TODAY)
        before = store.fingerprint()
    load = (
        "import sys, pathlib, datetime; from pipelines.store import Store\n"
        "store = Store.open(pathlib.Path(sys.argv[1])); print('loading', flush=True)\n"
        "store.load([pathlib.Path(sys.argv[2])], today=datetime.date(2026, 10, 31))\n"
        "print('loaded', flush=True); import time; time.sleep(60)"
    )
    interrupted = 0
    for delay_s in (0.0, 0.05, 0.1, 0.2, 0.3, 0.4):
        victim = subprocess.Popen(
            [sys.executable, "-c", load, path, demo_records], stdout=subprocess.PIPE, text=True
        )
        assert victim.stdout.readline() == "loading\n"
        time.sleep(delay_s)
        victim.send_signal(signal.SIGKILL)
        finished = "loaded" in victim.communicate()[0]
        with Store.open(path) as store:
            whole = store.fingerprint() != before
            assert whole or not finished
            n_rows = {view: len(store.read(view)) for view in VIEWS}
        if whole:
            assert n_rows["breedings"] == 240
            break
        interrupted += 1
        assert sum(n for view, n in n_rows.items() if view != "dogs") == 0

    assert interrupted >= 1


def test_every_domain_table_has_its_provenance(demo_store):
    columns = demo_store._rows(
        "SELECT table_name FROM duckdb_columns() WHERE column_name = 'entry_id'"
    )

    assert {name for (name,) in columns} >= set(DOMAIN_TABLES)


def test_a_kept_fit_comes_back_bit_for_bit(store):
    draws = {"c01": np.random.default_rng(1).normal(size=50), "u": np.arange(6.0).reshape(3, 2)}
    kept = KeptFit(
        "conception", pd.Timestamp("2026-01-01 10:00").to_pydatetime(), 3, "d", "m", "p",
        {"jax": "0"}, {"max_rhat": 1.001}, 2.5, draws,
    )  # fmt: skip

    store.save_fit(kept)
    store.save_fit(kept)
    back = store.read_fit("conception")

    assert (back.seed, back.versions, back.diagnostics) == (3, {"jax": "0"}, {"max_rhat": 1.001})
    assert all(np.array_equal(back.draws[name], values) for name, values in draws.items())
    assert store.read_fit("litter") is None
