"""Workbooks: what the owner fills in, read within bounds that no honest workbook reaches."""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from python_calamine import CalamineError, CalamineWorkbook

from studcurve.analytics.errors import RecordsError
from studcurve.analytics.vocabulary import VOCABULARY
from studcurve.pipelines.records.reading.files import MAX_COLUMNS, SheetText, stamp, write_records
from studcurve.pipelines.records.reading.workbook_cells import (
    CellNotes,
    WorkbookParts,
    percent_text,
)
from studcurve.pipelines.records.sheets.columns import SHEETS, Column, library_names, recognize

MAX_CELLS = 20_000_000
"""Most cells of a worksheet, counted as rows times columns of its far corner."""

UNREADABLE = (
    CalamineError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, OSError,
    EOFError, ValueError, OverflowError, KeyError,
)  # fmt: skip
"""What spoilt workbooks make the readers raise."""

MAX_UNPACKED_BYTES = 300_000_000
"""Most that a workbook may hold once unpacked. [bytes]"""

WORKBOOK_ENDINGS = (".xlsx", ".xlsm")
GUIDE_TITLE = "Read me first"
"""Worksheet that explains the workbook and holds no records."""


def read_workbook(path: Path, staging: Path) -> tuple[list[SheetText], list[str]]:
    """Read the sheets of a workbook as text.

    Returns
    -------
    list of SheetText, list of str
        The sheets, and the names of worksheets that are none.

    Raises
    ------
    RecordsError
        The file cannot be read as a workbook; the sentence says why and what to do.
    """
    before = stamp(path)
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    try:
        unpacked = _unpacked(path).getvalue()
        parts = WorkbookParts(path.name, zipfile.ZipFile(io.BytesIO(unpacked)))
        workbook = CalamineWorkbook.from_filelike(io.BytesIO(unpacked))
        titles = workbook.sheet_names
    except UNREADABLE as why:
        raise RecordsError(
            f"{path.name} is no workbook that can be read ({why}). Save it again as XLSX."
        ) from None
    texts: list[SheetText] = []
    ignored: list[str] = []
    for title in titles:
        name = f"{path.name} ({title})"
        try:
            rows = workbook.get_sheet_by_name(title).to_python(skip_empty_area=False)
        except UNREADABLE as why:
            raise RecordsError(f"{name} cannot be read ({why}). Save it again as XLSX.") from None
        if title == GUIDE_TITLE:
            continue
        try:
            notes = parts.notes(title)
        except UNREADABLE as why:
            raise RecordsError(f"{name} cannot be read ({why}). Save it again as XLSX.") from None
        _put_unread(path, rows, notes)
        headings = [cell_text(cell).strip() for cell in rows[0]] if rows else []
        if not any(headings):
            continue
        try:
            sheet = recognize(name, title, headings)
        except RecordsError:
            ignored.append(name)
            continue
        text = SheetText(
            name=name,
            sheet=sheet,
            names=tuple(library_names(name, sheet, headings)),
            path=path,
            separator=",",
            sha256=digest,
            n_records=0,
            is_rewritten=False,
            is_trimmed=True,
            encoding="workbook",
            origin=path,
            stamp=before,
        )
        texts.append(write_records(text, _records(rows, text, notes), staging))
    if not texts:
        raise RecordsError(
            f"{path.name} holds none of the sheets {', '.join(s.title for s in SHEETS.values())}. "
            "Start from the empty workbook."
        )
    return texts, ignored


def _put_unread(path: Path, rows: list[list[Any]], notes: CellNotes) -> None:
    """Put what a cell without a value shows where the reader of values left it blank."""
    for (row, column), shown in notes.unread.items():
        _refuse_beyond(path, row + 1, column + 1)
        rows.extend([] for _ in range(row + 1 - len(rows)))
        rows[row].extend("" for _ in range(column + 1 - len(rows[row])))
        rows[row][column] = shown


def _records(
    rows: Sequence[Sequence[Any]], text: SheetText, notes: CellNotes
) -> Iterator[tuple[int, list[str]]]:
    """Lines of a worksheet as text, with their numbers; 80 % is 80 where percent are wanted."""
    wants_percent = [
        name is not None and name in text.sheet.names and _is_percentage(text.sheet.column(name))
        for name in text.names
    ]
    shown: dict[int, list[int]] = {}
    for row, column in notes.percent:
        shown.setdefault(row, []).append(column)
    for row, cells in enumerate(rows[1:], 1):
        texts = [cell_text(cell) for cell in cells]
        for column in shown.get(row, ()):
            if column >= len(cells) or not isinstance(cells[column], int | float):
                raise RecordsError(
                    f"{text.name}, line {row + 1}: a percentage is not where it should be. Save "
                    "the workbook again as XLSX."
                )
            number = percent_text(float(cells[column]))
            is_wanted = column < len(wants_percent) and wants_percent[column]
            texts[column] = number if is_wanted else f"{number}%"
        yield row + 1, texts


def _is_percentage(column: Column) -> bool:
    quantity = VOCABULARY.get(column.vocabulary_name)
    return quantity is not None and quantity.unit == "%"


def _unpacked(path: Path) -> io.BytesIO:
    """The parts of a workbook that hold cells, unpacked within bounds."""
    plain = io.BytesIO()
    n_bytes = 0
    with zipfile.ZipFile(path) as packed, zipfile.ZipFile(plain, "w", zipfile.ZIP_STORED) as store:
        for part in packed.infolist():
            if not part.filename.endswith((".xml", ".rels")):
                continue
            n_bytes += part.file_size
            if n_bytes > MAX_UNPACKED_BYTES:
                raise RecordsError(
                    f"{path.name} unpacks to more than {MAX_UNPACKED_BYTES / 1e6:.0f} MB. Load the "
                    "sheets as CSV, in parts."
                )
            if part.filename in store.namelist():
                raise RecordsError(f"{path.name} holds a part twice. Save it again as XLSX.")
            content = packed.read(part)
            if part.filename.startswith("xl/worksheets/"):
                _refuse_far_corner(path, content)
            store.writestr(part.filename, content)
    return plain


def _refuse_far_corner(path: Path, worksheet: bytes) -> None:
    """A lone cell at the far corner of a worksheet would claim all the cells before it."""
    n_rows, n_columns = 1, 1
    for letters, digits in re.findall(rb"\br=[\"']([A-Za-z]{1,9})([0-9]{1,12})[\"']", worksheet):
        n_rows = max(n_rows, int(digits))
        column = 0
        for letter in letters.upper():
            column = 26 * column + letter - ord("A") + 1
        n_columns = max(n_columns, column)
    _refuse_beyond(path, n_rows, n_columns)


def _refuse_beyond(path: Path, n_rows: int, n_columns: int) -> None:
    """Refuse a worksheet of so many rows and columns, or a cell that is in none."""
    if n_rows < 1 or n_columns < 1:
        raise RecordsError(f"{path.name} has a cell without a place. Save it again as XLSX.")
    if n_columns > MAX_COLUMNS or n_rows * n_columns > MAX_CELLS:
        raise RecordsError(
            f"{path.name} has a cell in row {n_rows} or column {n_columns}, far from the others. "
            "Delete what lies beyond the sheet, or load the sheets as CSV."
        )


def cell_text(cell: object) -> str:
    """A cell of a workbook as its owner would have typed it."""
    if isinstance(cell, bool):
        return str(cell).upper()
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 2**53:
        return str(int(cell))
    if isinstance(cell, datetime):
        if cell.year < 1901:  # a spreadsheet's bare time is a time of its day zero
            return _clock_text(cell.time())
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(" ", "seconds")
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, time):
        return _clock_text(cell)
    if isinstance(cell, timedelta):
        return _clock_text((datetime.min + cell).time()) if cell.days == 0 else str(cell)
    return str(cell)


def _clock_text(clock: time) -> str:
    return clock.isoformat("seconds" if clock.second else "minutes")
