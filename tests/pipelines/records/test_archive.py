"""Copies that outlive the machine: a backup, an export read back, and files of older versions."""

import csv
import gzip
import json
import shutil
import subprocess
import sys
from datetime import date
from functools import partial
from pathlib import Path

import duckdb
import pandas as pd
import pytest
from tests.in_english import in_english

from studcurve.analytics.errors import RecordsError, StoreLockedError
from studcurve.analytics.plan.options import PRICE_ITEMS
from studcurve.analytics.vocabulary import TERMS, VOCABULARY
from studcurve.pipelines.records.archive import MANIFEST, back_up, erase_from_file, export, restore
from studcurve.pipelines.records.corrections import write_corrections
from studcurve.pipelines.records.database.schema import KEYS, newest_schema
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.sheets.cell_rules import rules_of
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.reports.page import Reader
from studcurve.reports.pages.index import build_index
from studcurve.reports.words import Words

OLD_FILES = sorted((Path(__file__).parent / "old_files").glob("schema_*.duckdb.gz"))
WITHOUT_VALUES = [path for path in OLD_FILES if path.name < "schema_0008"]
"""Files of versions that kept no values with a finding."""

pytestmark = pytest.mark.usefixtures("new_files_are_made")

TODAY = date(2026, 10, 31)


def contents(path):
    """Every row of every table, as text."""
    with duckdb.connect(str(path), read_only=True) as file:
        return {
            table: sorted(map(str, file.execute(f"SELECT * FROM {table}").fetchall()))
            for table in KEYS
        }


@pytest.fixture(scope="module")
def lived_in(tmp_path_factory, kennel_class):
    """A records file with a bit of everything: it began as a file of the first schema."""
    kennel = kennel_class(tmp_path_factory.mktemp("lived"))
    kennel.records.write_bytes(gzip.decompress(OLD_FILES[0].read_bytes()))
    with kennel.open() as store:
        number = store.read("findings").query("is_open and severity == 'question'")["finding_id"]
        store.confirm(number.tolist()[:1], today=TODAY, reason="it was so")
    erase_from_file(kennel.records, "Norra Analys", today=TODAY, reason="asked")
    kennel.load(kennel.write("intervals", [{"What": "Brucella", "Every (days)": "180"}]))
    return kennel


@pytest.fixture(scope="module")
def exported(lived_in, tmp_path_factory):
    """Its export, to be read only."""
    folder = tmp_path_factory.mktemp("exported") / "export"
    export(lived_in.records, folder, in_english)
    return folder


def test_a_backup_holds_every_row_while_another_program_reads(lived_in, tmp_path):
    reader = subprocess.Popen(
        [sys.executable, "-c", "import sys, duckdb; c = duckdb.connect(sys.argv[1], "
         "read_only=True); print('reading', flush=True); sys.stdin.read()",
         str(lived_in.records)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert reader.stdout.readline() == "reading\n"
        back_up(lived_in.records, tmp_path / "b.duckdb")
    finally:
        reader.communicate()

    assert contents(tmp_path / "b.duckdb") == contents(lived_in.records)
    assert [path.name for path in tmp_path.iterdir()] == ["b.duckdb"]


def test_a_backup_waits_for_no_writer_and_says_so(kennel):
    with kennel.open(), pytest.raises((StoreLockedError, RecordsError)):
        back_up_in_another_process(kennel.records, kennel.folder / "b.duckdb")
    assert not (kennel.folder / "b.duckdb").exists()


def back_up_in_another_process(source, target):
    process = subprocess.run(
        [sys.executable, "-m", "studcurve.pipelines.cli", "backup", str(target),
         "--store", str(source)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert process.returncode == 1
    raise (
        StoreLockedError(process.stderr)
        if "in use" in process.stderr
        else AssertionError(process.stderr)
    )


def test_a_backup_holds_what_a_killed_writer_had_acknowledged(kennel):
    killed = subprocess.run(
        [sys.executable, "-c", "import sys, os, signal, duckdb\n"
         "c = duckdb.connect(sys.argv[1])\n"
         "c.execute(\"INSERT INTO price VALUES (7, 7, 'x', 1, 'EUR', NULL, NULL, NULL)\")\n"
         "os.kill(os.getpid(), signal.SIGKILL)", str(kennel.records)], check=False,
    )  # fmt: skip
    assert killed.returncode == -9
    wal = kennel.records.with_name("kennel.duckdb.wal")
    assert wal.exists()

    with pytest.raises(RecordsError, match="a row without its current line"):
        back_up(kennel.records, kennel.folder / "b.duckdb")  # it was read: the row breaks a promise


def test_backups_restore_and_keep_what_they_replace(kennel):
    back_up(kennel.records, kennel.folder / "b.duckdb")
    first = contents(kennel.records)
    kennel.load(kennel.collections({}))
    second = contents(kennel.records)

    kept = restore(kennel.folder / "b.duckdb", kennel.records)

    assert contents(kennel.records) == first
    assert contents(kept) == second
    assert contents(kennel.folder / "b.duckdb") == first


def test_a_damaged_backup_is_refused_and_nothing_is_replaced(lived_in, kennel):
    back_up(lived_in.records, kennel.folder / "b.duckdb")
    content = bytearray((kennel.folder / "b.duckdb").read_bytes())
    refused = 0
    for place in range(20_000, len(content), len(content) // 6):
        damaged = content.copy()
        damaged[place : place + 4096] = bytes(4096)
        (kennel.folder / "d.duckdb").write_bytes(damaged)
        before = contents(kennel.records)
        try:
            restore(kennel.folder / "d.duckdb", kennel.records)
        except RecordsError:
            refused += 1
            assert contents(kennel.records) == before
        else:  # the damage lay where nothing is kept
            assert contents(kennel.records) == contents(kennel.folder / "b.duckdb")
            restore_from = [p for p in kennel.folder.iterdir() if "replaced" in p.name]
            kennel.records.write_bytes(restore_from[-1].read_bytes())
            restore_from[-1].unlink()
    assert refused > 0
    assert not list(kennel.folder.glob(".*part*"))


def test_a_damaged_records_file_can_be_replaced_and_is_kept(kennel):
    back_up(kennel.records, kennel.folder / "b.duckdb")
    kennel.records.write_bytes(b"damaged" * 1000)

    kept = restore(kennel.folder / "b.duckdb", kennel.records)

    assert kept.read_bytes() == b"damaged" * 1000
    assert len(kennel.read("dogs")) == 4


def test_an_export_read_back_is_the_same_file(lived_in, exported, tmp_path):
    assert restore(exported, tmp_path / "k.duckdb") is None

    assert contents(tmp_path / "k.duckdb") == contents(lived_in.records)
    export(tmp_path / "k.duckdb", tmp_path / "second", in_english)
    for file in exported.rglob("*.*"):
        if file.suffix in (".csv", ".json", ".txt"):
            again = tmp_path / "second" / file.relative_to(exported)
            assert again.read_bytes() == file.read_bytes(), file.name
    with Store.open(tmp_path / "k.duckdb") as store:
        assert store.broken_promises() == []
        assert store.read_fit("conception").draws["c01"].tolist() == [-1, -0.5, 0, 0.5, 1]


def test_the_exported_sheets_load_as_what_they_were(lived_in, exported, tmp_path, kennel_class):
    other = kennel_class(tmp_path)

    with other.open() as store:
        report = store.load([exported / "sheets"], today=TODAY)
        fingerprint = store.fingerprint()

    assert report.n_refused == 0
    with lived_in.open(read_only=True) as store:
        assert fingerprint == store.fingerprint()


def test_a_table_of_the_export_reads_without_any_program_of_ours(exported):
    readings = pd.read_csv(exported / "tables" / "evaluation.csv")
    rows = duckdb.sql(
        f"SELECT volume_ml.low FROM '{exported}/tables/evaluation.parquet'"
    ).fetchall()

    assert readings["concentration_m_per_ml_text"].tolist()[0] == "> 300"
    assert readings["concentration_m_per_ml_low"].tolist()[0] == 300
    assert (2.4,) in rows


def test_an_export_tells_what_waits_without_any_program_of_ours(lived_in, exported):
    with (exported / "findings.csv").open(encoding="utf-8", newline="") as file:
        written = list(csv.DictReader(file))

    kept = in_english(lived_in.read("findings"))
    assert [row["message"] for row in written] == kept["message"].tolist() != []
    assert [int(row["line"]) for row in written] == kept["line"].tolist()


def test_the_dictionary_explains_every_column_of_sheets_and_tables(lived_in, exported):
    with (exported / "dictionary.csv").open(encoding="utf-8", newline="") as file:
        rows = {(row["where"], row["column"]): row for row in csv.DictReader(file)}

    for sheet in SHEETS.values():
        for column in sheet.columns:
            row = rows.pop((f"sheet {sheet.title}", column.heading))
            known = VOCABULARY.get(column.vocabulary_name) or TERMS[column.vocabulary_name]
            assert row["label"] == known.label
    with duckdb.connect(str(lived_in.records), read_only=True) as file:
        described = {
            (f"table {table}", name)
            for table in KEYS
            for name, *_ in file.execute(f"DESCRIBE {table}").fetchall()
        }
    assert rows.keys() == described
    for row in rows.values():
        assert row["label"]
        assert row["meaning"] or (row["source"] and row["lowest"] and row["highest"])


@pytest.mark.parametrize("spoil", ["missing", "torn", "manifest", "newer", "link"])
def test_an_export_that_is_not_whole_is_refused(exported, kennel, spoil):
    shutil.copytree(exported, kennel.folder / "export")
    table = kennel.folder / "export" / "tables" / "collection.parquet"
    manifest = kennel.folder / "export" / MANIFEST
    match spoil:
        case "missing":
            table.unlink()
        case "torn":
            table.write_bytes(table.read_bytes()[:200])
        case "manifest":
            manifest.write_text("{}", encoding="utf-8")
        case "newer":
            manifest.write_text(json.dumps({"schema": newest_schema() + 1}), encoding="utf-8")
        case "link":
            table.rename(kennel.folder / "elsewhere.parquet")
            table.symlink_to(kennel.folder / "elsewhere.parquet")
    before = contents(kennel.records)

    with pytest.raises(RecordsError):
        restore(kennel.folder / "export", kennel.records)

    assert contents(kennel.records) == before
    assert not list(kennel.folder.glob(".*part*"))


@pytest.mark.parametrize("make", [back_up, partial(export, in_words=in_english)])
def test_no_copy_is_written_over_something_else(kennel, make):
    mine = kennel.folder / "mine"
    mine.write_text("mine", encoding="utf-8")

    with pytest.raises(RecordsError, match="exists already"):
        make(kennel.records, mine)
    with pytest.raises(RecordsError, match="There is no records file"):
        make(kennel.folder / "none.duckdb", kennel.folder / "other")

    assert mine.read_text(encoding="utf-8") == "mine"
    assert not (kennel.folder / "other").exists()


def test_what_is_no_copy_is_not_restored(kennel):
    for copy, wanted in (
        (kennel.folder / "none", "no backup and no export"),
        (kennel.records, "is the records file itself"),
        (kennel.folder, "no export of records"),
        (kennel.write("prices", []), "no records file that can be read"),
    ):
        with pytest.raises(RecordsError, match=wanted):
            restore(copy, kennel.records)


COLUMNS_NOW = {
    "observer": "evaluator", "n_motility_judged": "n_motility_evaluated",
    "n_morphology_checked": "n_morphology_evaluated", "spin_g": "centrifuge_g",
    "spin_min": "centrifuge_min", "fluid_taken_off_ml": "supernatant_removed_ml",
}  # fmt: skip
"""Columns of older files that have another name since schema 13."""

WORDS_NOW = {
    ("line", "sheet"): {"boxes": "shipments"},
    ("source_file", "sheet"): {"boxes": "shipments"},
    ("evaluation", "stage"): {"kept back": "retained", "after spin": "after centrifugation"},
    ("litter", "result"): {"empty": "missed"},
}
"""Words kept in older files, and what stands for them since."""

REWORDED = {
    "finding": ["rule", "column_heading", "cell", "message", "rule_values"],
    "price": ["what", "notes"],
    "line": ["subject", "mark", "cells"],
}
"""What is told otherwise since, line by line: the test below this one."""


def in_words_of_today(table, rows):
    rows = rows.rename(columns=COLUMNS_NOW).drop(columns=REWORDED.get(table, []), errors="ignore")
    for (of, column), words in WORDS_NOW.items():
        if of == table:
            rows[column] = rows[column].replace(words)
    return rows


@pytest.mark.parametrize("old", OLD_FILES, ids=lambda path: path.name[:11])
def test_a_file_of_an_older_version_is_brought_up_to_date_and_loses_nothing(old, tmp_path):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(gzip.decompress(old.read_bytes()))
    with duckdb.connect(str(path), read_only=True) as file:
        tables = [table for (table,) in file.execute("SHOW TABLES").fetchall() if table in KEYS]
        before = {
            table: file.execute(f"SELECT * FROM {table}").df().astype(str) for table in tables
        }

    with Store.open(path) as store:
        assert store.broken_promises() == []
        lines = store.lines("collections")

    assert lines["state"].iloc[[0, -1]].tolist() == ["superseded", "current"]
    assert "refused" in set(lines["state"])
    with duckdb.connect(str(path), read_only=True) as file:
        for table, rows in before.items():
            if table == "sheet_column" or rows.empty:
                continue
            now = in_words_of_today(table, rows)
            after = file.execute(f"SELECT * FROM {table}").df().astype(str)
            pd.testing.assert_frame_equal(after[list(now)], now)


@pytest.fixture(scope="module")
def before_the_words(tmp_path_factory, kennel_class):
    """A file of schema 11 that holds every column and word renamed after it, brought up to date.

    Its text by table as it was, and the kennel.
    """
    kennel = kennel_class(tmp_path_factory.mktemp("words"))
    (old,) = [path for path in OLD_FILES if path.name.startswith("schema_0011")]
    kennel.records.write_bytes(gzip.decompress(old.read_bytes()))
    with duckdb.connect(str(kennel.records), read_only=True) as file:
        before = {
            table: file.execute(f"SELECT * FROM {table}").df()
            for table in ("line", "finding", "price", "evaluation", "processing")
        }
    with kennel.open() as store:
        assert store.broken_promises() == []
    return before, kennel


def test_renamed_columns_hold_what_they_held(before_the_words):
    before, kennel = before_the_words

    raw = kennel.read("evaluations").query("stage == 'raw' and evaluator.notna()").iloc[-1]
    assert raw["evaluator"] == "Ingrid Holm"
    assert raw[["n_motility_evaluated", "n_morphology_evaluated"]].tolist() == [200, 100]
    (shipment,) = kennel.read("shipments").to_dict("records")
    assert shipment["retained_progressive_motility_pct"] == 60
    assert set(before["evaluation"]["stage"]) == {"raw", "kept back", "on arrival"}
    assert set(kennel.read("evaluations")["stage"]) == {"raw", "retained", "on arrival"}
    with duckdb.connect(str(kennel.records), read_only=True) as file:
        spun = file.execute(
            "SELECT centrifuge_g, centrifuge_min, supernatant_removed_ml FROM processing"
        ).fetchall()
    assert spun == [(700, 5, 1.2)]


def test_a_line_kept_under_the_old_words_reads_under_the_new_headings(before_the_words):
    before, kennel = before_the_words

    first = kennel.lines("collections").iloc[0]
    assert first[["total_motility_pct", "evaluator", "centrifuge_g"]].tolist() == [
        "80", "Ingrid Holm", "700",
    ]  # fmt: skip
    (sent, *_) = kennel.lines("shipments").to_dict("records")
    assert (sent["retained_pct"], sent["retained_at"]) == ("60", "09:00")
    results = kennel.lines("breedings")["result"].tolist()
    assert results == ["whelped", "missed", "missed", "missed", "barren"]
    known = kennel.read("breedings").set_index("bred_earliest")["result"].astype(str)
    assert known.str.count("missed").sum() == 2
    was = before["line"].set_index("line_id")
    others = was[~was["sheet"].isin(["breedings", "prices"])]
    with duckdb.connect(str(kennel.records), read_only=True) as file:
        now = file.execute("SELECT * FROM line").df().set_index("line_id")
    assert now.loc[others.index, "cells"].tolist() == others["cells"].tolist()


def test_findings_of_renamed_rules_and_headings_are_told_in_the_new_words(before_the_words):
    before, kennel = before_the_words

    findings = in_english(kennel.read("findings"))

    assert findings["is_open"].any()
    assert set(findings["column_heading"]) <= {
        c.heading for s in SHEETS.values() for c in s.columns
    }
    named = {rule.name for sheet in SHEETS.values() for rule in rules_of(sheet)}
    assert set(before["finding"]["rule"]) - named == {
        "forward above moving", "forward judged above moving", "more fluid than sample",
        "kept back before collected", "read before arrival", "empty with pups",
    }  # fmt: skip
    assert set(findings["rule"]) <= named
    text = " ".join(findings["message"])
    for old in ("% moving", "Kept back", "Sperm judged", "Fluid taken off", "empty"):
        assert old in " ".join(before["finding"]["message"])
        assert old not in text
    assert "not one of whelped, missed, lost" in text
    for language in ("en", "de"):
        page = build_index("Kennel", (), findings, answer=(), provenance="",
                           reader=Reader(Words(language)))  # fmt: skip
        assert len(page.sections[0].table.rows) == int(findings["is_open"].sum())
    write_corrections(findings, kennel.folder / "corrections.xlsx")


def test_prices_keep_their_name_among_the_notes_and_are_known_again(before_the_words):
    before, kennel = before_the_words
    prices = kennel.read("prices")

    assert set(before["price"]["what"]) - {"stud fee"} - set(PRICE_ITEMS) != set()
    assert set(prices["what"]) == {*PRICE_ITEMS, "other"}
    assert sorted(prices["price"]) == sorted(before["price"]["price"])
    lines = kennel.lines("prices").query("state == 'current'")
    by_price = lines.set_index("price")[["what", "notes"]].to_dict("index")
    assert by_price["145"] == {"what": "shipment", "notes": "box and overnight delivery"}
    assert by_price["18"] == {"what": "extender dose", "notes": "extender per dose; per tube"}
    assert by_price["30"] == {"what": "other", "notes": "shipping"}
    assert by_price["900"]["what"] == "stud fee"
    columns = {column.name: column.heading for column in SHEETS["prices"].columns}
    again = [
        {heading: line[name] for name, heading in columns.items() if isinstance(line[name], str)}
        for line in lines.to_dict("records")
    ]

    report = kennel.load(kennel.write("prices", again))

    assert report.sheets["prices"].n_unchanged == len(again) == len(before["price"])
    assert report.findings.empty


@pytest.mark.sampled
@pytest.mark.parametrize("old", WITHOUT_VALUES, ids=lambda path: path.name[:11])
@pytest.mark.parametrize("language", ["en", "de"])
def test_a_finding_of_an_older_file_is_shown_as_it_was_told_then(old, language, tmp_path):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(gzip.decompress(old.read_bytes()))
    with duckdb.connect(str(path), read_only=True) as file:
        texts = file.execute("SELECT message, remedy FROM finding ORDER BY finding_id").fetchall()
    kept = [
        (message.replace("% moving forward", "Progressive motility (%)"), remedy)
        for message, remedy in texts
    ]
    sheet = tmp_path / "collections.csv"
    sheet.write_text("Dog,Date,Volume (mL)\nRowan,2024-04-01,much\n", encoding="utf-8")

    with Store.open(path) as store:
        store.load([sheet], today=TODAY)
        findings = store.read("findings")
    reader = Reader(Words(language))
    page = build_index("Kennel", (), findings, answer=(), provenance="", reader=reader)
    *older, newer = [row[1:] for row in page.sections[0].table.rows]

    assert len(kept) == 2
    assert older == kept
    assert (
        newer[0]
        == {
            "en": 'Volume (mL) is "much", which is not a number',
            "de": "Volume (mL) ist „much“, das ist keine Zahl",
        }[language]
    )


@pytest.mark.sampled
@pytest.mark.parametrize("old", OLD_FILES, ids=lambda path: path.name[:11])
def test_an_older_file_is_not_changed_by_reading_or_backing_it_up(old, tmp_path):
    path = tmp_path / "kennel.duckdb"
    content = gzip.decompress(old.read_bytes())
    path.write_bytes(content)

    with pytest.raises(RecordsError, match=r"written by schema \d"):
        Store.open(path, read_only=True)
    back_up(path, tmp_path / "b.duckdb")

    assert path.read_bytes() == content
    assert restore(tmp_path / "b.duckdb", tmp_path / "other.duckdb") is None
    with Store.open(tmp_path / "other.duckdb", read_only=True) as store:
        assert store.broken_promises() == []
