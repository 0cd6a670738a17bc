"""A records file as a whole, not opened as a store: copied, held, folded in, proved sound."""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from datetime import date
from functools import cache
from pathlib import Path

import duckdb

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.database.connection import connect, write_ahead
from studcurve.pipelines.records.database.forecasts import changed_forecasts
from studcurve.pipelines.records.database.schema import (
    broken_promises,
    columns_by_table,
    kept_tables,
    migrate,
    migrations,
    newest_schema,
    schema_version,
)
from studcurve.pipelines.records.database.settings import records_end


def copy_file(source: Path, target: Path) -> None:
    """Copy a records file with what is not folded in yet; other programs may only read meanwhile.

    Raises
    ------
    StoreLockedError
        Another process is writing.
    """
    with closing(connect(source, read_only=True)[0]):
        # Closing the file lets go of its lock, so what is not folded in yet is copied first.
        if write_ahead(source).exists():
            shutil.copyfile(write_ahead(source), write_ahead(target))
        shutil.copyfile(source, target)


def last_day(path: Path) -> date | None:
    """Day on which the records of a file end; None for records that go on, or without a file.

    Raises
    ------
    StoreLockedError, RecordsError
        The file is held by another process, or is no records file.
    """
    if not path.exists():
        return None
    with closing(connect(path, read_only=True)[0]) as connection:
        return records_end(connection)


def fold_in(path: Path) -> None:
    """Make a records file one file: what is not folded in yet comes in."""
    with held(path):
        pass


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Keep every other process out of a records file, which is one file meanwhile.

    Whoever opens the file of this path inside lets go of the lock by closing it.

    Raises
    ------
    StoreLockedError
        Another process holds it.
    """
    with closing(connect(path, read_only=False)[0]) as connection:
        connection.execute("CHECKPOINT")
        yield


def refuse_damaged(path: Path, name: str) -> None:
    """Read a records file whole and look for what does not hold.

    Raises
    ------
    RecordsError
        It is damaged. A file of an older schema is read and not proved further.
    """
    with closing(connect(path, read_only=True)[0]) as connection:
        broken = _damages(connection)
    if broken:
        raise RecordsError(f"{name} is damaged ({broken[0]}). Take another copy of it.")


def _damages(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Read every row, and list what does not hold; the first thing that cannot be read is one."""
    try:
        for table in kept_tables(connection):
            connection.execute(f"SELECT max(hash(kept)) FROM {table} AS kept").fetchall()
        if schema_version(connection) != newest_schema():
            return []
        return [
            *_tables_of_other_columns(connection),
            *broken_promises(connection),
            *changed_forecasts(connection),
        ]
    except duckdb.Error as problem:
        return [str(problem).splitlines()[0]]


def _tables_of_other_columns(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """List the tables that are not as the migrations make them; a sentence each."""
    kept = columns_by_table(connection)
    return [
        f"{table}: its columns are others"
        for table, columns in _promised_columns().items()
        if kept[table] != columns
    ]


@cache
def _promised_columns() -> Mapping[str, list[tuple[str, str]]]:
    with duckdb.connect() as empty:
        migrate(empty, migrations())
        return columns_by_table(empty)
