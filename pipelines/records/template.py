"""The workbook that the owner fills in: empty, with records, or with lines to correct.

Everything in it follows from the sheets and the vocabulary: headings, drop-down lists, limits and
the words beside them. What is written here reads back as the same text: a cell becomes a number, a
date or a time only where it comes back as it was typed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from types import MappingProxyType
from typing import Any

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from studcurve.analytics.errors import RecordsError
from studcurve.analytics.vocabulary import TERMS, VOCABULARY
from studcurve.pipelines.records.guide import EXAMPLES, guide_lines
from studcurve.pipelines.records.reading.workbook import GUIDE_TITLE, cell_text
from studcurve.pipelines.records.sheets.columns import (
    ANSWER_HEADING,
    EXAMPLE_PREFIX,
    REMARK_HEADING,
    REQUIRED_MARK,
    SHEETS,
    Column,
    Sheet,
)
from studcurve.pipelines.records.sheets.rules import EARLIEST_YEAR

N_READY_LINES = 2000
"""Lines of each sheet that have lists and limits; more may be filled in."""

MAX_CELL_CHARACTERS = 32_767
"""Longest text that a workbook's cell holds."""

MAX_TITLE, MAX_MESSAGE = 32, 255
"""Longest title and message of a limit in a workbook."""

LET_IN = "warning"
"""Style of a limit that asks and lets another value in."""

WRITTEN_AT = datetime(2026, 1, 1)
"""Date of making in the file's properties: the same content gives the same bytes."""

LAST_DAY = date(2099, 12, 31)
"""Latest day that a cell for a day to come takes."""

_MEASURED = ("count", "number", "reading", "by eye", "printed")
_WIDE_CHARACTERS, _REMARK_CHARACTERS, _LINE_CHARACTERS = 28, 60, 96


@dataclass(frozen=True, slots=True)
class WorkbookLine:
    """One line of a sheet, with what is to be said about it.

    Attributes
    ----------
    cells
        Text by library name; blank cells may be left out.
    remarks
        What is wrong, by library name of the cell.
    answer
        Digest of the kept line that this one corrects; empty for none.
    """

    cells: Mapping[str, str]
    remarks: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    answer: str = ""


def write_template(path: Path) -> None:
    """Write the empty workbook: a page that explains, then every sheet with an example line.

    Raises
    ------
    RecordsError
        The file exists already, or cannot be written.
    """
    write_workbook(path, {sheet: [] for sheet in SHEETS}, with_example=True)


def write_workbook(
    path: Path, lines: Mapping[str, Sequence[WorkbookLine]], *, with_example: bool = False
) -> None:
    """Write sheets with their lines.

    Parameters
    ----------
    path
        The workbook; it must not exist yet.
    lines
        Lines by name of the sheet; the sheets named are written.
    with_example
        Whether each sheet begins with its example line.

    Raises
    ------
    RecordsError
        The file exists already or cannot be written, or a cell is too long for a workbook.
    """
    if path.suffix.lower() != ".xlsx":
        raise RecordsError(f"{path.name} is no name of a workbook. End it in .xlsx.")
    if path.exists():
        raise RecordsError(f"{path} exists already and is left as it is. Name another file.")
    # Nothing typed by anybody may become a formula, a link or a number of the program's choosing.
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    try:
        with xlsxwriter.Workbook(str(path), options) as book:
            book.set_properties({"title": "Kennel records", "created": WRITTEN_AT})
            formats = _formats(book)
            _write_guide(book, formats)
            for name in SHEETS:
                if name in lines:
                    _SheetWriter(book, SHEETS[name], formats).write(lines[name], with_example)
    except (OSError, xlsxwriter.exceptions.FileCreateError) as why:
        raise RecordsError(f"{path} cannot be written ({why}). Name another place.") from None
    except RecordsError:
        path.unlink(missing_ok=True)
        raise


def _formats(book: xlsxwriter.Workbook) -> dict[str, Format]:
    plain = {"font_name": "Arial", "font_size": 10, "valign": "top"}
    added: dict[str, dict[str, object]] = {
        "text": {"num_format": "@"},
        "day": {"num_format": "yyyy-mm-dd"},
        "clock": {"num_format": "hh:mm"},
        "number": {"num_format": "General"},
        "heading": {"text_wrap": True, "bottom": 1, "valign": "bottom"},
        # Marked by the sign, by weight and by a thick line: nobody needs to see a color.
        "required": {"text_wrap": True, "bold": True, "bottom": 5, "valign": "bottom",
                     "bg_color": "#F2E6C9"},
        "example": {"italic": True, "font_color": "#6B6B6B"},
        "wrong": {"bold": True, "border": 5, "bg_color": "#FBE3D6", "num_format": "@"},
        "remark": {"text_wrap": True, "italic": True},
        "title": {"bold": True, "font_size": 16},
        "section": {"bold": True, "font_size": 11, "bottom": 1},
        "paragraph": {"text_wrap": True},
    }  # fmt: skip
    return {name: book.add_format(plain | more) for name, more in added.items()}


def _write_guide(book: xlsxwriter.Workbook, formats: Mapping[str, Format]) -> None:
    page = book.add_worksheet(GUIDE_TITLE)
    page.hide_gridlines(2)
    page.set_column(0, 0, _LINE_CHARACTERS)
    page.set_portrait()
    page.set_paper(9)
    page.fit_to_pages(1, 1)
    for row, (style, text) in enumerate(guide_lines()):
        page.write_string(row, 0, text, formats[style])


@dataclass(frozen=True, slots=True)
class _SheetWriter:
    """Writes one sheet into an open workbook."""

    book: xlsxwriter.Workbook
    sheet: Sheet
    formats: Mapping[str, Format]

    def write(self, lines: Sequence[WorkbookLine], with_example: bool) -> None:
        """Headings, example, lines; then lists and limits over the lines still to come."""
        page = self.book.add_worksheet(self.sheet.title)
        columns = self.sheet.columns
        is_answer = any(line.answer or line.remarks for line in lines)
        first = 1 if is_answer else 0
        if is_answer:
            page.write_string(0, 0, REMARK_HEADING, self.formats["heading"])
            page.set_column(0, 0, _REMARK_CHARACTERS)
            page.write_string(0, first + len(columns), ANSWER_HEADING, self.formats["heading"])
            page.set_column(first + len(columns), first + len(columns), None, None, {"hidden": 1})
        for place, column in enumerate(columns, first):
            mark = REQUIRED_MARK if column.required else ""
            style = self.formats["required" if column.required else "heading"]
            page.write_string(0, place, column.heading + mark, style)
            page.set_column(place, place, _width(column), self._style(column))
        row = 1
        if with_example:
            for place, column in enumerate(columns, first):
                self._write_cell(page, row, place, column, self._example(column), "example")
            row += 1
        for line in lines:
            if is_answer:
                remark = "\n".join(dict.fromkeys(line.remarks.values()))
                page.write_string(row, 0, _fitting(remark), self.formats["remark"])
                page.write_string(row, first + len(columns), line.answer)
            for place, column in enumerate(columns, first):
                style = "wrong" if column.name in line.remarks else None
                self._write_cell(page, row, place, column, line.cells.get(column.name, ""), style)
            row += 1
        page.freeze_panes(1, first + 1)
        if not is_answer:
            for place, column in enumerate(columns, first):
                _limit(page, column, 1 + with_example, place)
        page.set_landscape()
        page.repeat_rows(0)
        page.fit_to_pages(1, 0)

    def _example(self, column: Column) -> str:
        text = EXAMPLES[self.sheet.name].get(column.name, "")
        return f"{EXAMPLE_PREFIX} {text}" if column is self.sheet.columns[0] else text

    def _style(self, column: Column) -> Format:
        kind = "number" if column.kind in _MEASURED else column.kind
        return self.formats.get(kind, self.formats["text"])

    def _write_cell(
        self, page: Worksheet, row: int, place: int, column: Column, text: str, style: str | None
    ) -> None:
        """Write a cell so that it reads back as the same text."""
        if not text:
            if style == "wrong":
                page.write_blank(row, place, None, self.formats["wrong"])
            return
        if len(text) > MAX_CELL_CHARACTERS:
            raise RecordsError(
                f"{column.heading} of a line of {self.sheet.title} holds {len(text):,} characters; "
                f"a workbook's cell holds {MAX_CELL_CHARACTERS:,}. Export to CSV instead."
            )
        typed = None if style == "wrong" else _typed(column, text)
        form = self.formats[style] if style else self._style(column)
        match typed:
            case time():
                page.write_datetime(row, place, typed, form if not style else self.formats["clock"])
            case date():
                page.write_datetime(row, place, typed, form if not style else self.formats["day"])
            case float():
                page.write_number(row, place, typed, form)
            case _:
                page.write_string(row, place, text, form)


def _typed(column: Column, text: str) -> float | date | time | None:
    """The value of a cell where it reads back as it was typed, else None."""
    value: float | date | time | None = None
    try:
        if column.kind == "day":
            value = date.fromisoformat(text)
        elif column.kind == "clock":
            value = time.fromisoformat(text)
        elif column.kind in _MEASURED and re.fullmatch(r"-?\d+(\.\d+)?", text):
            value = float(text)
    except ValueError:
        return None
    if isinstance(value, date) and value.year < EARLIEST_YEAR:
        return None
    return value if value is not None and cell_text(value) == text else None


def _limit(page: Worksheet, column: Column, first_row: int, place: int) -> None:
    """Give a column its list or limit, and the words shown beside the cell."""
    title, message = _title(column), _message(column)
    limit = _limits(column, xlsxwriter.utility.xl_rowcol_to_cell(first_row, place))
    options = {
        **limit,
        "input_title": title,
        "input_message": _fitting(message, MAX_MESSAGE),
        "error_title": title,
        "error_message": _fitting(limit.get("error_message", message), MAX_MESSAGE),
    }
    last_row = first_row + N_READY_LINES - 1
    if page.data_validation(first_row, place, last_row, place, options) != 0:
        raise ValueError(f"the limit of {column.heading} is too long for a workbook")


def _limits(column: Column, cell: str) -> dict[str, Any]:
    """What a cell may hold, as a workbook says it."""
    match column.kind:
        case "choice":
            return {"validate": "list", "source": list(column.choices),
                    "error_message": f"Choose one of: {', '.join(column.choices)}."}  # fmt: skip
        case "dog":
            # A registered name or chip number finds a dog as well, so another word is let in.
            dogs = SHEETS["dogs"].title
            return {"validate": "list", "source": f"={dogs}!$A$2:$A${N_READY_LINES}",
                    "error_type": LET_IN,
                    "error_message": f"No dog of that name stands in the sheet {dogs}. Keep it if "
                    "it is a registered name or a chip number there."}  # fmt: skip
        case "day":
            last = LAST_DAY if column.may_lie_ahead else "=TODAY()"
            until = "" if column.may_lie_ahead else " and not after today"
            return {"validate": "date", "criteria": "between",
                    "minimum": date(EARLIEST_YEAR, 1, 1), "maximum": last,
                    "error_message": f"A date such as 2024-03-05, not before {EARLIEST_YEAR}"
                    f"{until}."}  # fmt: skip
        case "clock":
            return {
                "validate": "time",
                "criteria": "between",
                "minimum": time(0, 0),
                "maximum": time(23, 59, 59),
                "error_message": "A time of day such as 14:30.",
            }
        case "count" | "number":
            quantity = VOCABULARY[column.vocabulary_name]
            return {
                "validate": "integer" if column.kind == "count" else "decimal",
                "criteria": "between",
                "minimum": quantity.low,
                "maximum": quantity.high,
                "error_message": f"{_range(column)}{_unless_known(column, 'known')}",
            }
        case "reading" | "by eye":
            quantity = VOCABULARY[column.vocabulary_name]
            low, high = f"{quantity.low:.10g}", f"{quantity.high:.10g}"
            within = f"AND(ISNUMBER({cell}),{cell}>={low},{cell}<={high})"
            return {"validate": "custom", "value": f"=OR(ISTEXT({cell}),{within})",
                    "error_message": f"{_range(column)}; also > 20, < 0.2, 70-80 or a word such as "
                    f"not done{_unless_known(column, 'measured')}"}  # fmt: skip
        case _ if column.suggestions:
            return {"validate": "list", "source": list(column.suggestions), "error_type": LET_IN,
                    "error_message": "None of the words of the list. Keep it if it is right; it is "
                    "kept as it stands."}  # fmt: skip
        case _:
            return {"validate": "any"}


def _message(column: Column) -> str:
    """What stands beside a cell: what it means, its limits, and whether it must be filled."""
    parts = ["Must be filled in."] if column.required else []
    if column.kind in _MEASURED and column.vocabulary_name in VOCABULARY:
        quantity = VOCABULARY[column.vocabulary_name]
        parts.append(f"{quantity.label}. {_range(column)}.")
    else:
        meaning = TERMS[column.vocabulary_name].meaning
        parts.append(f"{meaning[:1].upper()}{meaning[1:]}.")
    if column.kind == "by eye":
        parts.append("Where it is estimated by eye, enter the step, such as 70.")
    if column.choices:
        parts.append("One of the list.")
    if column.suggestions:
        parts.append("A word of the list is recognized; another one may be written.")
    return " ".join(parts)


def _range(column: Column) -> str:
    quantity = VOCABULARY[column.vocabulary_name]
    if column.kind == "printed":
        return "As the laboratory printed it"
    unit = f" {quantity.unit}" if quantity.unit else ""
    kind = "A whole number" if column.kind == "count" else "A number"
    return f"{kind}, {quantity.low:,.10g} to {quantity.high:,.10g}{unit}"


def _title(column: Column) -> str:
    """The heading, without its unit and then without its last words where it is too long."""
    title = column.heading
    if len(title) > MAX_TITLE:
        title = re.sub(r" \([^)]*\)$", "", title)
    while len(title) > MAX_TITLE:
        title = title.rpartition(" ")[0]
    return title


def _unless_known(column: Column, done: str) -> str:
    """The end of what is said of a wrong number; a cell that every line needs has no blank."""
    return "." if column.required else f". Leave it blank when it is not {done}."


def _width(column: Column) -> int:
    """Width of a column in characters: its words and its longest choice."""
    words = max(len(word) for word in column.heading.split())
    longest = max(words + 2, *(len(choice) + 3 for choice in column.choices or ("",)), 11)
    if column.kind in ("dog", "text") and not column.choices:
        longest = max(longest, 16)
    return min(longest, _WIDE_CHARACTERS)


def _fitting(text: str, most: int = MAX_CELL_CHARACTERS) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def lines_of(rows: Sequence[Mapping[str, object]], sheet: Sheet) -> Iterator[WorkbookLine]:
    """Lines of a workbook from rows that have a column for each cell; blanks may be None."""
    for row in rows:
        yield WorkbookLine(
            {name: str(row[name]) for name in sheet.names if isinstance(row.get(name), str)}
        )
