"""The vocabulary: every column of sheet and file has a word, and every number its range."""

import math
import re

import duckdb
import pytest

from studcurve.analytics.vocabulary import TERMS, VOCABULARY
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.sheets.columns import SHEETS

MEASURED = {"count", "number", "reading", "by eye"}


@pytest.fixture(scope="module")
def file_columns(tmp_path_factory):
    """Table, column and type of everything the records file holds."""
    path = tmp_path_factory.mktemp("vocabulary") / "kennel.duckdb"
    with Store.open(path):
        pass
    with duckdb.connect(str(path), read_only=True) as file:
        return file.execute(
            "SELECT table_name, column_name, data_type FROM duckdb_columns() "
            "WHERE NOT internal AND table_name IN (SELECT table_name FROM duckdb_tables())"
        ).fetchall()


def test_every_column_of_every_sheet_is_in_the_vocabulary():
    for sheet in SHEETS.values():
        for column in sheet.columns:
            home = VOCABULARY if column.kind in MEASURED | {"printed"} else TERMS
            assert column.vocabulary_name in home, (sheet.name, column.heading)


def test_every_column_of_the_file_is_in_the_vocabulary(file_columns):
    unknown = {
        f"{table}.{column}"
        for table, column, _ in file_columns
        if column not in VOCABULARY and column not in TERMS
    }

    assert file_columns
    assert unknown == set()


def test_every_measured_number_of_the_file_has_a_range(file_columns):
    counts = re.compile(r"(_id|^n_lines|^n_erased|^version|^position|^line|^seed|^seconds|"
                        r"^n_in_breeding|^settled_by)$")  # fmt: skip
    for table, column, kind in file_columns:
        if kind in ("DOUBLE", "INTEGER", "BIGINT") and not counts.search(column):
            assert column in VOCABULARY, f"{table}.{column}"
        if kind.startswith("STRUCT(kind") and (table, column) != ("hormone_test", "result"):
            assert column in VOCABULARY, f"{table}.{column}"


def test_no_name_is_both_a_quantity_and_a_term():
    assert VOCABULARY.keys() & TERMS.keys() == set()


def test_a_unit_in_a_name_is_the_printed_unit():
    units = {"_pct": "%", "_ml": "mL", "_kg": "kg", "_days": "d", "_years": "years", "_m": "M",
             "_m_per_ml": "M/mL", "_ng_per_ml": "ng/mL", "_hours": "h", "_min": "min"}  # fmt: skip
    for name, quantity in VOCABULARY.items():
        endings = [ending for ending in units if name.endswith(ending)]
        if endings:
            assert quantity.unit == units[max(endings, key=len)], name


def test_every_quantity_has_a_range_that_can_be_met_and_a_marked_source():
    for quantity in VOCABULARY.values():
        assert math.isfinite(quantity.low)
        assert quantity.low < quantity.high
        assert re.search(r"\((P|D|J|M)(, (P|D|J|M))*\)|as the laboratory|see born alive",
                         quantity.source), quantity.name  # fmt: skip


def test_a_percentage_ends_at_a_hundred():
    for name, quantity in VOCABULARY.items():
        if name.endswith("_pct"):
            assert (quantity.low, quantity.high) == (0, 100)


def test_a_title_carries_the_unit_in_brackets():
    assert VOCABULARY["volume_ml"].title == "Volume (mL)"
    assert VOCABULARY["n_doses"].title == "Doses"


def test_the_owner_s_words_are_those_of_the_sheets():
    headings = {column.heading for sheet in SHEETS.values() for column in sheet.columns}
    for sheet in SHEETS.values():
        for column in sheet.columns:
            if column.kind in MEASURED and not column.word:
                word = VOCABULARY[column.name].owner_word
                assert column.heading in (word, word.replace("Doses made", "Doses")), column.name
    assert "Progressive motility (%)" in headings
