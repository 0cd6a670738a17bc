"""The lines that count: how many there are, since when, and whether they are the same as before."""

from __future__ import annotations

from pathlib import Path

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.reading.staging import Connection


def fingerprint(connection: Connection) -> str:
    """Fingerprint of the current lines; independent of their order of loading."""
    ((digest,),) = connection.execute(
        """
        SELECT sha256(coalesce(string_agg(of_sheet || chr(31) || cells, chr(30)
            ORDER BY of_sheet, cells), ''))
        FROM (
            SELECT CAST(sheet AS VARCHAR) AS of_sheet, cells
            FROM line
            WHERE state = 'current'
        )
        """
    ).fetchall()
    return str(digest)


def last_load(connection: Connection) -> int:
    """Number of the last load; 0 before the first."""
    ((load_id,),) = connection.execute("SELECT coalesce(max(load_id), 0) FROM load").fetchall()
    return int(load_id)


def n_lines_since(connection: Connection, load_id: int) -> int:
    """Lines in force that came with a load after the one numbered."""
    ((n_lines,),) = connection.execute(
        """
        SELECT count(*)
        FROM line
        JOIN source_file USING (file_id)
        WHERE line.state = 'current' AND source_file.load_id > ?
        """,
        [load_id],
    ).fetchall()
    return int(n_lines)


def refuse_empty(connection: Connection, path: Path) -> None:
    """Refuse a question to records that hold no line.

    Raises
    ------
    RecordsError
        No line is in force; how many wait for a person is said.
    """
    ((n_current, n_waiting),) = connection.execute(
        """
        SELECT count(*) FILTER (WHERE state = 'current'), count(*) FILTER (WHERE state = 'refused')
        FROM line
        """
    ).fetchall()
    if n_current:
        return
    waiting = (
        f"{n_waiting} rejected lines wait for you: `studcurve corrections` lists them."
        if n_waiting
        else "Load sheets into them first: `studcurve template FILE.xlsx` makes the workbook."
    )
    raise RecordsError(f"The records {path} are empty: no line counts yet. {waiting}")
