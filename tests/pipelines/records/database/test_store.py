"""The records file: nothing is lost, nothing comes in twice, nothing comes in by half."""

import random
import re
import shutil
import subprocess
import sys
from datetime import date, datetime
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pytest
from tests.in_english import in_english

from studcurve.analytics.errors import RecordsError, StoreLockedError
from studcurve.pipelines.records.database import loading
from studcurve.pipelines.records.database.kept_fits import KeptFit
from studcurve.pipelines.records.database.loading import SheetCount
from studcurve.pipelines.records.database.schema import KEYS, VIEWS, are_views_current
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.sheets.columns import SHEETS

DEMO = Path(__file__).parents[4] / "demo_data"
pytestmark = pytest.mark.usefixtures("new_files_are_made")

TODAY = date(2026, 10, 31)


def contents(path):
    """Every row of every table, as text; loads and their clock aside."""
    with duckdb.connect(str(path), read_only=True) as file:
        return {
            table: sorted(map(str, file.execute(f"SELECT * FROM {table}").fetchall()))
            for table in KEYS
            if table != "load"
        }


def domain_rows(store):
    """What the records say, without the identifiers that the order of loading decides."""
    rows_by_view = {}
    for view in VIEWS:
        frame = store.read(view)
        plain = [name for name in frame if not name.endswith("_id")]
        rows_by_view[view] = sorted(map(str, frame[plain].itertuples(index=False)))
    return rows_by_view


def test_loading_the_demo_twice_changes_nothing(tmp_path, loaded_demo):
    loaded, first = loaded_demo
    path = shutil.copyfile(loaded, tmp_path / "kennel.duckdb")
    before = contents(path)

    with Store.open(path) as store:
        second = store.load([DEMO / "records"], today=TODAY)

    assert sum(count.n_new for count in first.sheets.values()) > 1000
    assert all(count.n_new == count.n_changed == 0 for count in second.sheets.values())
    assert {s: c.n_unchanged for s, c in second.sheets.items()} == {
        s: c.n_new for s, c in first.sheets.items()
    }
    assert contents(path) == before


@pytest.mark.slow
def test_the_order_of_lines_and_of_columns_says_nothing(tmp_path, demo_store):
    shuffled = tmp_path / "shuffled"
    shuffled.mkdir()
    for sheet in (DEMO / "records").glob("*.csv"):
        frame = pd.read_csv(sheet, dtype=str, keep_default_na=False)
        columns = random.Random(7).sample(list(frame), len(frame.columns))
        frame.sample(frac=1.0, random_state=7)[columns].to_csv(shuffled / sheet.name, index=False)

    with Store.open(tmp_path / "kennel.duckdb") as store:
        store.load([DEMO / "records"], today=TODAY)
        again = store.load([shuffled], today=TODAY)
    with Store.open(tmp_path / "other.duckdb") as store:
        store.load([shuffled], today=TODAY)
        rows_by_view = domain_rows(store)

    assert all(count.n_new == count.n_changed == 0 for count in again.sheets.values())
    del rows_by_view["findings"]  # they name the line, which has moved
    assert rows_by_view == {
        view: rows for view, rows in domain_rows(demo_store).items() if view in rows_by_view
    }


def test_a_changed_line_supersedes_and_both_stay_readable(kennel):
    kennel.load(kennel.collections({}, {"Date": "2024-03-09"}))

    report = kennel.load(kennel.collections({"Total motility (%)": "60",
                                             "Progressive motility (%)": "50"},
                                            {"Date": "2024-03-09"}))  # fmt: skip

    count = report.sheets["collections"]
    assert (count.n_new, count.n_changed, count.n_unchanged) == (0, 1, 1)
    lines = kennel.lines("collections").query("collected_on == '2024-03-05'")
    assert lines["progressive_motility_pct"].tolist() == ["70", "50"]
    assert lines["state"].tolist() == ["superseded", "current"]
    assert lines["version"].tolist() == [1, 2]
    assert len(set(lines["entry_id"])) == 1
    assert sorted(kennel.read("evaluations")["progressive_motility_pct"]) == [50, 70]


def test_a_time_filled_in_later_corrects_its_line(kennel):
    kennel.load(kennel.collections({}, {"Date": "2024-03-09"}))

    report = kennel.load(kennel.collections({"Time": "17:30"}, {"Date": "2024-03-09"}))

    assert report.sheets["collections"].n_changed == 1
    assert len(kennel.read("evaluations")) == 2


def test_a_dog_told_again_with_less_is_the_same_dog(kennel):
    before = kennel.read("dogs").set_index("call_name")["dog_id"]

    report = kennel.load(kennel.write("dogs", [{"Dog": "senna", "Sex": "female", "Owner": "Amber"}],
                                      "more/dogs.csv"))  # fmt: skip

    assert report.sheets["dogs"].n_changed == 1
    after = kennel.read("dogs").set_index("call_name")
    assert after.loc["senna", "dog_id"] == before["Senna"]


def test_two_dogs_of_one_name_are_told_apart_by_their_registered_name_or_chip(kennel):
    twins = [{"Dog": "Twin", "Sex": "male", "Registered name": "Twin One"},
             {"Dog": "Twin", "Sex": "male", "Born": "2020-01-01", "Chip": "123"}]  # fmt: skip
    kennel.load(kennel.write("dogs", twins, "more/dogs.csv"))

    report = kennel.load(kennel.collections({"Dog": "Twin"}, {"Dog": "twin one"}, {"Dog": "123"}))

    assert report.findings[["line", "rule"]].values.tolist() == [[2, "two dogs of that name"]]
    assert len(set(kennel.read("evaluations")["stud_id"])) == 2


def test_a_second_collection_of_a_day_in_another_file_counts_and_is_asked_about(kennel):
    kennel.load(kennel.collections({"Time": "08:00"}, name="collections.csv"))

    report = kennel.load(kennel.collections({"Time": "17:00"}, name="evening/collections.csv"))

    assert report.sheets["collections"].n_new == 1
    assert report.findings["rule"].tolist() == ["another line of that day"]
    assert len(kennel.read("evaluations")) == 2


def test_two_versions_of_one_line_are_refused_together(kennel):
    report = kennel.load(
        kennel.collections({}, {"Total motility (%)": "60", "Progressive motility (%)": "50"})
    )

    count = report.sheets["collections"]
    assert (count.n_new, count.n_refused) == (0, 2)
    assert report.findings["rule"].unique().tolist() == ["two versions of one line"]
    assert sorted(report.findings["line"]) == [2, 3]
    assert kennel.read("evaluations").empty


def test_one_line_written_twice_is_one_line(kennel):
    report = kennel.load(kennel.collections({}, {}))

    assert report.sheets["collections"].n_new == 1
    assert report.sheets["collections"].n_refused == 0
    assert len(kennel.read("evaluations")) == 1


def test_lines_that_only_share_the_number_they_are_sought_by_are_no_twins(kennel, monkeypatch):
    script = loading._script
    monkeypatch.setattr(
        loading, "_script", lambda name: re.sub(r"\bhash\([^)]*\)", "7", script(name))
    )
    assert "7 AS number" in loading._script("accept.sql")

    report = kennel.load(
        kennel.collections(
            {}, {}, {"Date": "2024-03-09"}, {"Date": "2024-03-12"},
            {"Date": "2024-03-12", "Volume (mL)": "3"},
        )
    )  # fmt: skip

    count = report.sheets["collections"]
    assert (count.n_new, count.n_unchanged, count.n_refused) == (2, 1, 2)
    assert sorted(report.findings["line"]) == [5, 6]


def test_the_records_have_a_place_for_every_word_of_the_sheets(kennel):
    with kennel.open(read_only=True) as store:
        words = {
            (table, name): re.findall(r"'([^']*)'", kind)
            for table, name, kind in store.columns()
            if kind.startswith("ENUM")
        }

    assert words.pop(("line", "sheet")) == list(SHEETS)
    assert words.pop(("line", "state"))
    assert words.pop(("evaluation", "stage"))
    assert len(words) == 6
    for (_, name), known in words.items():
        assert known == list(SHEETS["collections"].column(name).choices)


@pytest.mark.slow
def test_a_long_sheet_is_read_as_a_short_one(tmp_path, monkeypatch):
    kept = []
    for n_lines in (loading.FEW_LINES, 0):
        monkeypatch.setattr(loading, "FEW_LINES", n_lines)
        path = tmp_path / f"{n_lines}.duckdb"
        with Store.open(path) as store:
            store.load([DEMO / "records"], today=TODAY)
            store.load([DEMO / "typing_errors"], today=TODAY)
        kept.append(contents(path))

    assert kept[0] == kept[1]


def test_a_line_that_left_its_file_still_counts_and_is_asked_about_once(kennel):
    both = [{}, {"Date": "2024-03-09"}]
    kennel.load(kennel.collections(*both))

    first = kennel.load(kennel.collections(both[0]))
    second = kennel.load(kennel.collections(both[0]))

    assert first.findings["rule"].tolist() == ["gone from its file"]
    assert second.findings.empty
    assert len(kennel.read("evaluations")) == 2
    assert kennel.read("findings")["is_open"].tolist() == [True]
    kennel.load(kennel.collections(*both))
    assert kennel.read("findings")["is_open"].tolist() == [False]


def test_a_corrected_line_closes_what_was_found_wrong_with_it(kennel):
    kennel.load(kennel.collections({"Progressive motility (%)": "850"}, {"Date": "2024-03-09"}))
    assert kennel.read("findings").query("is_open")["rule"].tolist() != []

    report = kennel.load(kennel.collections({}, {"Date": "2024-03-09"}))

    assert report.sheets["collections"].n_new == 1
    findings = kennel.read("findings")
    assert not findings.empty
    assert not findings["is_open"].any()
    assert "850" in kennel.lines("collections")["progressive_motility_pct"].tolist()


def test_a_line_refused_for_its_date_is_settled_when_its_file_comes_back_mended(kennel):
    kennel.load(kennel.collections({"Date": "2024-02-31"}, {"Date": "2024-03-09"}))

    kennel.load(kennel.collections({"Date": "2024-02-29"}, {"Date": "2024-03-09"}))

    assert not kennel.read("findings")["is_open"].any()


def test_a_refused_line_taken_out_of_its_sheet_is_settled_though_the_sheet_is_empty_now(kennel):
    kennel.load(kennel.collections({"Progressive motility (%)": "850"}))
    assert kennel.read("findings")["is_open"].any()

    report = kennel.load(kennel.collections())

    assert report.sheets["collections"] == SheetCount()
    assert not kennel.read("findings")["is_open"].any()


def test_an_empty_sheet_leaves_the_lines_that_it_brought_before_in_force(kennel):
    kennel.load(kennel.collections({}, {"Date": "2024-03-09"}))
    before = contents(kennel.records)

    report = kennel.load(kennel.collections())

    assert report.sheets["collections"] == SheetCount()
    assert report.findings.empty
    assert contents(kennel.records) == before


def test_a_spoiled_correction_leaves_the_older_version_in_force(kennel):
    kennel.load(kennel.collections({}))

    report = kennel.load(kennel.collections({"Progressive motility (%)": "seventy"}))

    assert report.n_refused == 1
    assert kennel.read("evaluations")["progressive_motility_pct"].tolist() == [70]


def test_a_refused_line_is_reported_again_and_kept_once(kennel):
    kennel.load(kennel.collections({"Progressive motility (%)": "850"}))

    again = kennel.load(kennel.collections({"Progressive motility (%)": "850"}))

    assert again.n_refused == 1
    assert set(again.findings["text"]) == {"850"}
    assert len(kennel.lines("collections")) == 1


def test_the_file_of_typing_errors_loads_its_good_lines_and_keeps_every_bad_one(tmp_path):
    sheet = DEMO / "typing_errors" / "collections.csv"
    with Store.open(tmp_path / "kennel.duckdb") as store:
        store.load([DEMO / "records" / "dogs.csv"], today=TODAY)
        report = store.load([sheet], today=TODAY)
        lines = store.lines("collections")

    n_lines = len(sheet.read_text(encoding="utf-8").splitlines()) - 1
    count = report.sheets["collections"]
    assert count.n_new + count.n_refused == n_lines
    assert count.n_new == (lines["state"] == "current").sum() > 0
    refused = lines[lines["state"] == "refused"]
    assert count.n_refused == len(refused) > 0
    reasons = report.findings.query("severity == 'refused'")
    assert set(reasons["line"]) == set(refused["line_in_file"])
    for finding in in_english(report.findings).itertuples():
        assert finding.sentence.startswith(f"collections.csv, line {finding.line}: ")
        assert finding.column_heading in finding.message
        assert pd.isna(finding.text) or finding.text in finding.message
        assert finding.remedy.endswith(".")


def test_checking_changes_nothing(kennel):
    before = contents(kennel.records)

    report = kennel.load(kennel.collections({}, {"Total motility (%)": "x"}), check_only=True)

    assert (report.sheets["collections"].n_new, report.n_refused) == (0, 2)
    assert len(report.findings) > 0
    assert contents(kennel.records) == before


def test_a_file_that_cannot_be_read_stops_the_whole_load(kennel):
    good = kennel.collections({})
    bad = kennel.folder / "heats.csv"
    bad.write_text("Bitch,First day,Moon\nSenna,2024-01-01,full\n", encoding="utf-8")

    with pytest.raises(RecordsError, match=r"heats\.csv has no use for the heading 'Moon'"):
        kennel.load(good, bad)

    assert kennel.read("evaluations").empty


def test_a_hostile_name_stays_text(kennel):
    names = ["</script><script>alert(1)</script>", "'; DROP", '"}]', "-1 x"]
    kennel.load(
        kennel.write("dogs", [{"Dog": name, "Sex": "male"} for name in names], "more/dogs.csv")
    )

    kennel.load(
        kennel.collections(*({"Dog": name, "Notes": name, "Evaluator": name} for name in names))
    )

    rows = kennel.read("evaluations")
    assert sorted(rows["stud"]) == sorted(names)
    assert rows["evaluator"].tolist() == rows["stud"].tolist()


def test_a_locked_file_is_said_kindly_and_names_its_holder(kennel):
    holder = subprocess.Popen(
        [sys.executable, "-c", "import sys, duckdb; c = duckdb.connect(sys.argv[1]); "
         "print('held', flush=True); sys.stdin.read()", str(kennel.records)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(StoreLockedError, match=rf"in use by another process.*{holder.pid}"):
            kennel.open()
    finally:
        holder.communicate()


def test_a_newer_schema_is_refused_with_the_remedy(kennel):
    with duckdb.connect(str(kennel.records)) as file:
        file.execute("INSERT INTO schema_version VALUES (9999)")

    with pytest.raises(RecordsError, match=r"written by schema 9999.*Install the newer version"):
        kennel.open()


@pytest.mark.parametrize("content", [b"", b"not a database, only text" * 1000])
def test_a_file_that_is_no_records_file_gives_a_sentence(tmp_path, content):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(content)

    with pytest.raises(RecordsError, match="no records file"):
        Store.open(path)

    assert path.read_bytes() == content


def test_a_missing_file_is_not_made_by_reading_it(tmp_path):
    with pytest.raises(RecordsError, match="There is no records file"):
        Store.open(tmp_path / "none.duckdb", read_only=True)

    assert not (tmp_path / "none.duckdb").exists()


@pytest.mark.parametrize("way", ["read_text('{}')", "read_csv('{}')", "'{}'"])
def test_an_open_records_file_reads_no_other_file(kennel, way):
    secret = kennel.folder / "secret.csv"
    secret.write_text("a,b\n1,2\n", encoding="utf-8")

    with kennel.open() as store, pytest.raises(duckdb.Error, match=r"(?i)permission|disabled"):
        store._connection.execute(f"SELECT * FROM {way.format(secret)}")


def test_the_demo_keeps_every_promise_between_its_tables(demo_store):
    assert demo_store.broken_promises() == []


def test_promises_between_tables_can_be_broken(kennel):
    kennel.load(kennel.collections({}))
    with duckdb.connect(str(kennel.records)) as file:
        file.execute("DELETE FROM dog WHERE call_name = 'Bracken'")
        file.execute("INSERT INTO line SELECT * FROM line WHERE sheet = 'collections'")

    with kennel.open() as store:
        broken = store.broken_promises()

    assert "collection: stud_id names no row of dog" in broken
    assert "line: line_id comes twice" in broken
    assert "line: an entry with two current versions" in broken


def fit(model="conception", **changed):
    draws = {"c01": np.linspace(-1, 1, 7), "bitch": np.arange(6.0).reshape(2, 3)}
    plain = {
        "model": model, "fitted_at": datetime(2026, 10, 31, 12, 30), "seed": 20240229,
        "data_fingerprint": "a", "model_fingerprint": "b", "priors_fingerprint": "c",
        "versions": {"jax": "0.10.2"}, "diagnostics": {"worst_r_hat": 1.004}, "seconds": 12.5,
        "draws": draws,
    }  # fmt: skip
    return KeptFit(**(plain | changed))


def test_a_kept_fit_comes_back_bit_for_bit(kennel):
    kept = fit(draws={"x": np.array([0.1, np.pi, -1e300, 5e-324]), "y": np.zeros((2, 0, 3))})

    with kennel.open() as store:
        store.save_fit(kept)
    with kennel.open(read_only=True) as store:
        back = store.read_fit("conception")

    assert {n: (d.shape, d.tobytes()) for n, d in back.draws.items()} == {
        n: (d.shape, d.tobytes()) for n, d in kept.draws.items()
    }
    for name in ("model", "fitted_at", "seed", "data_fingerprint", "model_fingerprint",
                 "priors_fingerprint", "versions", "diagnostics", "seconds"):  # fmt: skip
        assert getattr(back, name) == getattr(kept, name)


def test_a_new_fit_replaces_the_older_one_of_its_model_alone(kennel):
    with kennel.open() as store:
        store.save_fit(fit(seed=1))
        store.save_fit(fit("litter", seed=2))
        store.save_fit(fit(seed=3))

        assert store.read_fit("conception").seed == 3
        assert store.read_fit("litter").seed == 2
        assert store.read_fit("storage") is None


def test_the_fingerprint_follows_the_records_and_nothing_else(kennel):
    def fingerprint():
        with kennel.open(read_only=True) as store:
            return store.fingerprint()

    kennel.load(kennel.collections({}, {"Date": "2024-03-09"}))
    first = fingerprint()
    kennel.load(kennel.collections({"Date": "2024-03-09"}, {}))
    assert fingerprint() == first
    kennel.load(kennel.collections({"Date": "2024-03-09"}, {"Total motility (%)": "75"}))
    assert fingerprint() != first
    kennel.load(kennel.collections({"Date": "2024-03-09"}, {}))
    assert fingerprint() == first


def test_a_setting_is_remembered_replaced_and_kept_within_reason(kennel):
    with kennel.open() as store:
        assert store.settings() == {}
        store.settings({"rotor_radius_cm": 8.5, "target_vaginal_m": 150.0})
        store.settings({"rotor_radius_cm": 9.0})
        with pytest.raises(RecordsError, match="between 2 and 40 cm; got 900"):
            store.settings({"rotor_radius_cm": 900.0})

    with kennel.open(read_only=True) as store:
        assert store.settings() == {"rotor_radius_cm": 9.0, "target_vaginal_m": 150.0}
        assert store.broken_promises() == []


@pytest.mark.parametrize("age", ["DROP VIEW prices", "CREATE OR REPLACE VIEW prices AS SELECT 1"])
def test_a_file_from_before_a_view_is_read_with_the_views_of_this_version(kennel, age):
    kennel.load(kennel.collections({}))
    with kennel.open(read_only=True) as store:
        expected = store.read("prices")
    with duckdb.connect(str(kennel.records)) as file:
        file.execute(age)
    before = kennel.records.read_bytes()

    with kennel.open(read_only=True) as store:
        pd.testing.assert_frame_equal(store.read("prices"), expected)
    assert kennel.records.read_bytes() == before

    with kennel.open() as store:
        assert are_views_current(store._connection)
    with duckdb.connect(str(kennel.records), read_only=True) as file:
        pd.testing.assert_frame_equal(file.execute("FROM prices").df(), expected)
