"""Whole tables out of the records file and into a new one: Parquet for machines, CSV for people."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.database.schema import KEYS
from studcurve.pipelines.records.reading.staging import Connection
from studcurve.pipelines.records.sheets.cell_rules import FORMULA
from studcurve.pipelines.records.sheets.columns import SHEETS


def columns_of(connection: Connection) -> list[tuple[str, str, str]]:
    """Table, column and type of everything in the file, in the order of the tables."""
    rows = connection.execute(
        "SELECT table_name, column_name, data_type FROM duckdb_columns() "
        "WHERE NOT internal ORDER BY table_name, column_index"
    ).fetchall()
    return [(table, column, kind) for key in KEYS for table, column, kind in rows if table == key]


def write_tables(connection: Connection, folder: Path) -> dict[str, int]:
    """Write every table as Parquet and as CSV, in the order of its key.

    Returns
    -------
    dict
        Rows by table.
    """
    columns = columns_of(connection)
    n_rows: dict[str, int] = {}
    for table, key in KEYS.items():
        order = ", ".join(key)
        flat = ", ".join(
            part for of, name, kind in columns if of == table for part in _flat(name, kind)
        )
        connection.execute(
            f"COPY (FROM {table} ORDER BY {order}) TO '{_quoted(folder / table)}.parquet' "
            "(FORMAT parquet, COMPRESSION zstd)"
        )
        connection.execute(
            f"COPY (SELECT {flat} FROM {table} ORDER BY {order}) "
            f"TO '{_quoted(folder / table)}.csv' (HEADER)"
        )
        ((n,),) = connection.execute(f"SELECT count(*) FROM {table}").fetchall()
        n_rows[table] = int(n)
    return n_rows


def read_tables(connection: Connection, folder: Path, *, unreadable: type[Exception]) -> None:
    """Fill the empty tables of a new file from Parquet; to be called within one transaction.

    Parameters
    ----------
    connection
        Of a file whose tables exist and are empty.
    folder
        Holds a file for each table of that schema.
    unreadable
        What the connection raises about a file that it cannot read.

    Raises
    ------
    RecordsError
        A table is missing, or does not hold what it must.
    """
    tables = [
        table
        for (table,) in connection.execute(
            "SELECT table_name FROM duckdb_tables() ORDER BY table_oid"
        ).fetchall()
        if table != "schema_version"
    ]
    for table in tables:
        path = folder / f"{table}.parquet"
        if not path.is_file() or path.is_symlink():
            raise RecordsError(
                f"{folder.parent} holds no {path.name}. The export is not whole; take another one."
            )
        try:
            connection.execute(
                f"INSERT INTO {table} BY NAME SELECT * FROM read_parquet('{_quoted(path)}')"
            )
        except unreadable as why:
            first = str(why).splitlines()[0]
            raise RecordsError(
                f"{path.name} does not hold what it must ({first}). Take another export."
            ) from None


def write_sheet(connection: Connection, name: str, path: Path) -> None:
    """Write the lines of a sheet that count, as they were typed, under the owner's headings."""
    sheet = SHEETS[name]
    cells = ", ".join(
        f"""cells ->> {n} AS "{column.heading.replace('"', '""')}\""""
        for n, column in enumerate(sheet.columns)
    )
    connection.execute(
        f"COPY (SELECT {cells} FROM line WHERE sheet = '{name}' AND state = 'current' "
        f"ORDER BY line_id) TO '{_quoted(path)}' (HEADER)"
    )


def _flat(name: str, kind: str) -> Sequence[str]:
    """SQL for the columns of a CSV file that say what one column of a table says."""
    if kind.startswith("STRUCT("):
        parts = re.findall(r'(?:\(|, )"?(kind|low|high|text|earliest|latest)"? ', kind)
        of: Literal["reading", "moment"] = "moment" if "earliest" in parts else "reading"
        return [_part(name, part, of) for part in parts]
    if kind == "BLOB":
        return [f"hex({name}) AS {name}"]
    return [f"{_as_text(name)} AS {name}"] if kind == "VARCHAR" else [name]


def _part(name: str, part: str, of: Literal["reading", "moment"]) -> str:
    """SQL for one part of a measurement or a moment."""
    if part == "text":
        return f"{_as_text(f'{of}_text({name})')} AS {name}_text"
    return f'{name}."{part}" AS {name}_{part}'


def _as_text(value: str) -> str:
    """SQL for a text that no spreadsheet runs: a refused cell is printed after an apostrophe."""
    is_formula = f"regexp_full_match({value}, '{FORMULA}', 's')"
    return f"CASE WHEN {is_formula} THEN chr(39) || {value} ELSE {value} END"


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")
