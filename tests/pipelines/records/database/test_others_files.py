"""A records file that somebody else sent: nothing in it is run, no view of it is believed."""

import contextlib
import shutil
import tempfile
from datetime import date
from pathlib import Path

import duckdb
import pytest
from tests.in_english import in_english

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.archive import back_up, erase_from_file, export, restore
from studcurve.pipelines.records.database import schema
from studcurve.pipelines.records.database.schema import VIEWS, are_views_current
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.database.whole_file import (
    copy_file,
    fold_in,
    last_day,
    refuse_damaged,
)

TODAY = date(2026, 10, 31)

BRUCELLA = {"Dog": "Bracken", "Date": "2024-03-05", "Kind": "laboratory test", "What": "Brucella",
            "Result": "positive"}  # fmt: skip


def run_in(path, *statements):
    """What a sender writes into a file with the engine alone."""
    with duckdb.connect(str(path)) as file:
        for statement in statements:
            file.execute(statement)


def written(folder):
    return folder / "written by the file"


def hostile(folder):
    """SQL that makes what would run, lie or write, by what it is."""
    copy = f"COPY (SELECT 'x') TO '{written(folder)}' (HEADER false)"
    named = f"line AS kept; {copy}; SELECT 1 AS kept; --"
    return {
        "table": f'CREATE TABLE "{named}" (a INTEGER)',
        "schema": "CREATE SCHEMA other; CREATE TABLE other.line (a INTEGER)",
        "function": "CREATE MACRO lower(t) AS 'negative'",
        "operator": 'CREATE MACRO "||"(a, b) AS 1',
        "catalog": "CREATE MACRO duckdb_tables() AS TABLE SELECT 'line' AS table_name",
        "functions": "CREATE MACRO duckdb_functions() AS TABLE SELECT 'x' AS function_name",
        "greatest": "CREATE MACRO max(a) AS 1",
        "overload": "CREATE MACRO sha256(t) AS 'same'",
        "type": "CREATE TYPE lie AS ENUM ('a')",
        "sequence": "CREATE SEQUENCE lie",
    }


HOSTILE = tuple(hostile(Path()))


def doors(kennel):
    """Every way into a records file."""
    path, folder = kennel.records, kennel.folder
    return {
        "open": lambda: kennel.load(kennel.collections({})),
        "read": lambda: kennel.read("dogs"),
        "copy": lambda: copy_file(path, folder / "copy.duckdb"),
        "day": lambda: last_day(path),
        "fold in": lambda: fold_in(path),
        "look": lambda: refuse_damaged(path, "it"),
        "back up": lambda: back_up(path, folder / "b.duckdb"),
        "restore": lambda: restore(path, folder / "restored.duckdb"),
        "export": lambda: export(path, folder / "export", in_english),
        "erase": lambda: erase_from_file(path, "Nobody", today=TODAY, reason="asked"),
    }


@pytest.mark.parametrize("what", HOSTILE)
def test_what_no_records_file_holds_is_refused_at_every_door_and_never_run(kennel, what):
    run_in(kennel.records, hostile(kennel.folder)[what])
    before = kennel.records.read_bytes()

    for door, enter in doors(kennel).items():
        with pytest.raises(RecordsError, match="which no records file holds"):
            enter()
        assert not written(kennel.folder).exists(), door

    assert kennel.records.read_bytes() == before
    for made in ("copy.duckdb", "b.duckdb", "restored.duckdb", "export"):
        assert not (kennel.folder / made).exists()


def test_no_door_lets_a_file_reach_another_one(kennel, monkeypatch):
    """The lock-down alone, were something of the file run after all."""
    secret = kennel.folder / "secret.csv"
    secret.write_text("a\n1\n", encoding="utf-8")
    tried = []

    def try_it(connection, *args):
        for statement in (
            f"COPY (SELECT 1) TO '{written(kennel.folder)}'",
            f"FROM read_csv('{secret}')",
            f"ATTACH '{kennel.folder / 'other.duckdb'}' AS other",
            "SET enable_external_access = true",
            "INSTALL httpfs",
        ):
            with pytest.raises(duckdb.Error):
                connection.execute(statement)
            tried.append(statement)
        return sound(connection, *args)

    sound = schema.refuse_foreign
    monkeypatch.setattr("studcurve.pipelines.records.database.connection.refuse_foreign", try_it)
    monkeypatch.setattr("studcurve.pipelines.records.database.connection._TRUSTED_STATES", set())
    for enter in doors(kennel).values():
        n_tried = len(tried)
        with contextlib.suppress(RecordsError):
            enter()
        assert len(tried) > n_tried
        monkeypatch.setattr(
            "studcurve.pipelines.records.database.connection._TRUSTED_STATES", set()
        )
    assert not written(kennel.folder).exists()


LIES = {
    "a view": "CREATE OR REPLACE VIEW {view} AS SELECT * FROM lab_test WHERE false",
    "a view with our remark": "CREATE OR REPLACE VIEW {view} AS SELECT * FROM lab_test WHERE false;"
    " COMMENT ON VIEW {view} IS 'as this version makes it'",
    "a text of ours with more behind": "CREATE OR REPLACE VIEW {view} AS "
    "SELECT * FROM query('SELECT 1 AS a') WHERE false",
    "a macro": "CREATE OR REPLACE MACRO reading_text(r) AS 'lie'",
}


@pytest.mark.parametrize("lie", LIES)
@pytest.mark.parametrize("read_only", [True, False])
def test_a_view_or_macro_of_the_file_that_is_not_ours_is_not_believed(kennel, lie, read_only):
    kennel.load(kennel.write("health", [BRUCELLA | {"Value": "12"}]))
    with kennel.open(read_only=True) as store:
        lab_tests = store.read("lab_tests")
    assert lab_tests["value_text"].tolist() == ["12"]
    run_in(kennel.records, LIES[lie].format(view="lab_tests"))

    with kennel.open(read_only=read_only) as store:
        assert store.read("lab_tests").equals(lab_tests)
    if not read_only:  # and the file is put right
        with duckdb.connect(str(kennel.records), read_only=True) as file:
            assert file.execute("FROM lab_tests").df()["value_text"].tolist() == ["12"]
        with kennel.open(read_only=True) as store:
            assert are_views_current(store._connection)


def test_every_view_that_a_file_keeps_is_known_again(kennel):
    with kennel.open(read_only=True) as store:
        assert are_views_current(store._connection)
    for view in VIEWS:
        copy = kennel.folder / f"{view}.duckdb"
        shutil.copyfile(kennel.records, copy)
        with duckdb.connect(str(copy)) as file:
            file.execute(f"CREATE OR REPLACE VIEW {view} AS SELECT 1 AS a")
            assert not are_views_current(file)


def test_views_of_other_names_are_let_be(kennel):
    run_in(kennel.records, "CREATE VIEW my_own AS SELECT call_name FROM dog")

    back_up(kennel.records, kennel.folder / "b.duckdb")
    assert len(kennel.read("dogs")) == 4


@pytest.mark.parametrize(
    "change",
    [
        "ALTER TABLE price ADD COLUMN more VARCHAR",
        "ALTER TABLE price DROP COLUMN notes",
        "ALTER TABLE price ALTER COLUMN notes TYPE BLOB",
        "DROP TABLE price",
        "DROP TABLE price; CREATE VIEW price AS SELECT 1 AS price_id, 1 AS entry_id",
    ],
)
def test_a_file_whose_tables_are_others_is_not_restored(kennel, change):
    back_up(kennel.records, kennel.folder / "b.duckdb")
    run_in(kennel.folder / "b.duckdb", change)
    before = kennel.records.read_bytes()

    with pytest.raises(RecordsError):
        restore(kennel.folder / "b.duckdb", kennel.records)

    assert kennel.records.read_bytes() == before


def test_a_file_of_a_newer_version_is_named_as_such_whatever_it_holds(kennel):
    run_in(
        kennel.records,
        "CREATE TABLE of_tomorrow (a INTEGER)",
        f"INSERT INTO schema_version VALUES ({schema.newest_schema() + 1})",
    )
    with pytest.raises(RecordsError, match="Install the newer version"):
        kennel.read("dogs")


def test_a_file_that_was_changed_after_we_closed_it_is_looked_at_again(kennel):
    assert len(kennel.read("dogs")) == 4
    run_in(kennel.records, "CREATE MACRO lower(t) AS 'x'")
    with pytest.raises(RecordsError, match="named 'lower'"):
        kennel.read("dogs")


def test_a_quotation_mark_in_the_way_to_the_temporary_folder_is_no_obstacle(kennel, monkeypatch):
    folder = kennel.folder / "o'brien's"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))

    kennel.load(kennel.collections({}))
    export(kennel.records, kennel.folder / "export", in_english)
    restore(kennel.folder / "export", folder / "it's.duckdb")

    with Store.open(folder / "it's.duckdb", read_only=True) as store:
        assert len(store.read("evaluations")) == 1
