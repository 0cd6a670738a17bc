"""From a sheet's text to a table of text: every cell as typed, every line with its number."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Protocol

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.reading.files import (
    MAX_RECORD_CHARACTERS,
    SheetText,
    find_files,
    read_csv_text,
    rewrite,
)
from studcurve.pipelines.records.reading.workbook import WORKBOOK_ENDINGS, read_workbook
from studcurve.pipelines.records.sheets.columns import (
    ANSWER_NAME,
    EXAMPLE_PREFIX,
    SHEETS,
    Column,
    Sheet,
)

BUFFER_BYTES = 64_000_000
"""How much of a text the engine reads at a time. [bytes]

A thread takes a quarter of it, up to 130 bytes a line without copying lines once more: what comes
in parts of less than a row group (122,880 lines) is copied into whole ones."""


class Rows(Protocol):
    """What a query answers."""

    def fetchall(self) -> list[Any]:
        """All rows as tuples."""


class Connection(Protocol):
    """The part of a database connection that loading needs."""

    def execute(self, query: str, parameters: object = ...) -> Rows:
        """Run one or several statements."""


def read_texts(paths: Sequence[Path], staging: Path) -> tuple[list[SheetText], list[str]]:
    """Read files and folders as sheets of text.

    Returns
    -------
    list of SheetText, list of str
        The sheets, and the names of worksheets that are none.

    Raises
    ------
    RecordsError
        A file cannot be read as a sheet; the sentence says why and what to do.
    """
    texts: list[SheetText] = []
    ignored: list[str] = []
    for path in find_files(paths):
        if path.suffix.lower() in WORKBOOK_ENDINGS:
            sheets, others = read_workbook(path, staging)
            texts.extend(sheets)
            ignored.extend(others)
        else:
            texts.append(read_csv_text(path, staging))
    return texts, ignored


def stage(
    connection: Connection,
    texts: Sequence[SheetText],
    staging: Path,
    *,
    unreadable: type[Exception],
) -> None:
    """Read every text into the temporary table of its sheet, as text.

    Parameters
    ----------
    connection
        Outside of a transaction.
    texts
        The sheets.
    staging
        Folder for texts that must be written anew.
    unreadable
        What the connection raises about a text that it cannot read.

    Raises
    ------
    RecordsError
        A text cannot be read to its end.
    """
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE staged_first (sheet VARCHAR, file_no INTEGER, first_n BIGINT)"
    )
    for sheet, given in by_sheet(texts):
        columns = ", ".join(f"{column.name} VARCHAR" for column in present_columns(sheet, given))
        connection.execute(
            f"CREATE OR REPLACE TEMP TABLE staged_{sheet.name} "
            f"(file_no INTEGER, line INTEGER, surplus VARCHAR, {ANSWER_NAME} VARCHAR, {columns})"
        )
        for file_no, text in enumerate(given):
            if not _read(connection, file_no, text, unreadable) and (
                text.is_rewritten
                or not _read(connection, file_no, rewrite(text, staging), unreadable)
            ):
                raise RecordsError(
                    f"{text.name} cannot be read to its end. Save it again as CSV and load it."
                )


def by_sheet(texts: Sequence[SheetText]) -> list[tuple[Sheet, list[SheetText]]]:
    """Group texts by their sheet, in the order of loading."""
    given = [(sheet, [text for text in texts if text.sheet == sheet]) for sheet in SHEETS.values()]
    return [(sheet, its_texts) for sheet, its_texts in given if its_texts]


def present_columns(sheet: Sheet, texts: Sequence[SheetText]) -> list[Column]:
    """Columns of a sheet that at least one of its texts has; only they are staged."""
    names = {name for text in texts for name in text.names}
    return [column for column in sheet.columns if column.name in names]


def _read(
    connection: Connection, file_no: int, text: SheetText, unreadable: type[Exception]
) -> bool:
    """Read one text; whether every record of it came in."""
    table = f"staged_{text.sheet.name}"
    named = [name for name in text.names if name]
    given = ["line", "surplus"] if text.is_rewritten else []
    given += [name or f"unnamed_{n}" for n, name in enumerate(text.names)]
    own = "CAST(line AS INTEGER), surplus" if text.is_rewritten else "NULL, NULL"
    cells = ", ".join(name if text.is_trimmed else _trimmed(name) for name in named)
    columns = ", ".join(f"'{name}': 'VARCHAR'" for name in given)
    path = str(text.path).replace("'", "''")
    try:
        connection.execute(
            f"""
            INSERT INTO {table} (file_no, line, surplus, {", ".join(named)})
            SELECT {file_no}, {own}, {cells}
            FROM read_csv(
                '{path}', columns = {{{columns}}}, delim = '{text.separator}', quote = '"',
                escape = '"', header = false, skip = 1, auto_detect = false, strict_mode = true,
                null_padding = false, max_line_size = {MAX_RECORD_CHARACTERS},
                buffer_size = {BUFFER_BYTES},
                parallel = {str(not text.is_rewritten).lower()}
            )
            """
        )
    except unreadable:
        return False
    query = f"SELECT count(*) FROM {table} WHERE file_no = {file_no}"
    if connection.execute(query).fetchall() != [(text.n_records,)]:
        connection.execute(f"DELETE FROM {table} WHERE file_no = {file_no}")
        return False
    # The number of a line read in the plain way follows from its place, also once the blank lines
    # and the workbook's example, which are no records, are gone. Either is told by its first cell,
    # so that this reads one column of a long sheet.
    first, *others = [name for name in text.sheet.names if name in named]
    connection.execute(
        f"""
        INSERT INTO staged_first
        SELECT '{text.sheet.name}', {file_no}, min(rowid) FROM {table} WHERE file_no = {file_no};
        DELETE FROM {table}
        WHERE {first} IS NULL AND coalesce({", ".join([*others, "surplus"])}) IS NULL;
        DELETE FROM {table} WHERE starts_with({text.sheet.names[0]}, '{EXAMPLE_PREFIX}');
        """
    )
    return True


def _trimmed(cell: str) -> str:
    """SQL for a cell without the spaces around it; other blanks send a file the careful way."""
    return (
        f"CASE WHEN starts_with({cell}, ' ') OR ends_with({cell}, ' ') "
        f"THEN nullif(trim({cell}), '') ELSE {cell} END"
    )
