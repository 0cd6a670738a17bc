"""Records to workbook, to records file, to export, to records file: the identity."""

import json
import tempfile
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from tests.in_english import in_english
from tests.strategies import records

from studcurve.pipelines.records.archive import export, restore
from studcurve.pipelines.records.database.schema import VIEWS
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.pipelines.records.template import WorkbookLine, write_workbook

TODAY = date(2026, 10, 31)
SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]


def in_force(store):
    """Every line that counts: its sheet and its cells."""
    return sorted(store._rows("SELECT sheet, cells FROM line WHERE state = 'current'"))


def listed(sheet, cells):
    """A line's cells as the file keeps them: a list without the blanks at its end."""
    names = SHEETS[sheet].names
    values = [cells.get(name) for name in names]
    while values and values[-1] is None:
        values.pop()
    return sheet, json.dumps(values, ensure_ascii=False, separators=(",", ":"))


def rows_by_view(store):
    """What the views say, without the identifiers that the order of loading decides."""
    frames = {view: store.read(view) for view in VIEWS if view != "findings"}
    return {
        view: sorted(
            map(str, frame[[n for n in frame if not n.endswith("_id")]].itertuples(index=False))
        )
        for view, frame in frames.items()
    }


def loaded(path, paths):
    with Store.open(path) as store:
        report = store.load(paths, today=TODAY)
        assert report.n_refused == 0, in_english(report.findings)["sentence"].tolist()
        assert store.broken_promises() == []
        return in_force(store), rows_by_view(store)


def check(sheets):
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        lines = {name: [WorkbookLine(row) for row in rows] for name, rows in sheets.items()}
        write_workbook(folder / "kennel.xlsx", lines)

        first = loaded(folder / "first.duckdb", [folder / "kennel.xlsx"])
        export(folder / "first.duckdb", folder / "export", in_english)
        second = loaded(folder / "second.duckdb", [folder / "export" / "sheets"])
        restore(folder / "export", folder / "third.duckdb")
        with Store.open(folder / "third.duckdb", read_only=True) as store:
            third = in_force(store), rows_by_view(store)

    typed = [listed(name, row) for name, rows in sheets.items() for row in rows]
    assert [(name, json.loads(cells)) for name, cells in first[0]] == [
        (name, json.loads(cells)) for name, cells in sorted(typed)
    ]
    assert first == second == third


@settings(max_examples=1, deadline=None, suppress_health_check=SLOW, derandomize=True)
@given(records())
def test_valid_records_come_through_workbook_file_and_export_unchanged(sheets):
    check(sheets)


@pytest.mark.slow
@settings(
    max_examples=15, deadline=None, suppress_health_check=SLOW, phases=[Phase.reuse, Phase.generate]
)
@given(records(most=12))
def test_many_valid_records_come_through_unchanged(sheets):
    check(sheets)
