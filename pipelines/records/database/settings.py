"""What a records file knows beside its lines: what the kennel has said once, and its last day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from studcurve.analytics.errors import RecordsError
from studcurve.analytics.vocabulary import VOCABULARY
from studcurve.pipelines.records.reading.staging import Connection

RECORDS_END = "records end"
"""Which day of a file is the last one of its records."""


def refuse_impossible(values: Mapping[str, float]) -> None:
    """Refuse settings that lie outside what their quantities can be.

    Raises
    ------
    RecordsError
        The first that does.
    """
    for name, value in values.items():
        quantity = VOCABULARY[name]
        if not quantity.low <= value <= quantity.high:
            raise RecordsError(
                f"{quantity.label} lies between {quantity.low:g} and {quantity.high:g} "
                f"{quantity.unit}; got {value:g}. Nothing was kept."
            )


def keep_settings(connection: Connection, values: Mapping[str, float]) -> None:
    """Keep what the kennel has said, by quantity; to be called within one transaction."""
    for name, value in values.items():
        connection.execute("INSERT OR REPLACE INTO setting VALUES (?, ?)", [name, value])


def read_settings(connection: Connection) -> dict[str, float]:
    """Read what the kennel has said, by quantity."""
    rows = connection.execute("SELECT quantity, setting_value FROM setting").fetchall()
    return {str(name): float(value) for name, value in rows}


def end_records(connection: Connection, day: date) -> None:
    """Say that the records end on a day; to be called within one transaction."""
    connection.execute("INSERT OR REPLACE INTO file_day VALUES (?, ?)", [RECORDS_END, day])


def records_end(connection: Connection) -> date | None:
    """Day on which the records end; None for records that go on, and for files of old schemas."""
    tables = connection.execute(
        "SELECT 1 FROM duckdb_tables() WHERE table_name = 'file_day'"
    ).fetchall()
    if not tables:
        return None
    days = connection.execute(
        "SELECT falls_on FROM file_day WHERE which_day = ?", [RECORDS_END]
    ).fetchall()
    return days[0][0] if days else None
