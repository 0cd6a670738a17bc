"""An answer as a value: sentences first, tables second, remarks last; and its lines of text.

Nothing is calculated here. Lines are at most 80 columns wide; a control character in a name is
shown and never obeyed.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass, field

WIDTH = 80
"""Columns of a terminal that every answer fits into."""

GAP = "  "

YEARS = range(1950, 2200)
"""Years of the days that a command takes; the calendar that answers are counted on ends later."""

DEFAULT_SEED = 20240229
"""Seed of what an answer draws, unless said otherwise."""


@dataclass(frozen=True, slots=True)
class TextTable:
    """A table of finished texts; the first column names the row, headings may be left out."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command has to say.

    Attributes
    ----------
    sentences
        Plain sentences, the answer first.
    tables
        The numbers behind them.
    remarks
        Reminders and limits, each with its source.
    values
        The same for machines; names carry their units.
    """

    sentences: tuple[str, ...]
    tables: tuple[TextTable, ...] = ()
    remarks: tuple[str, ...] = ()
    values: Mapping[str, object] = field(default_factory=dict)


def text_lines(answer: Answer) -> list[str]:
    """The lines of an answer."""
    lines = [line for sentence in answer.sentences for line in wrapped(sentence)]
    for table in answer.tables:
        if table.rows:
            lines += ["", *_table_lines(table)]
    if answer.remarks:
        lines.append("")
    for remark in answer.remarks:
        lines += wrapped(remark, first="- ", later="  ")
    return lines


def printable(text: str) -> str:
    """A text whose control characters are shown and not obeyed; a page's own blanks are blanks."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text.replace("\u00a0", " "))


def spoken(value: float, *, digits: int = 3) -> str:
    """A number to three figures, never in powers of ten; a dash where there is none.

    Examples
    --------
    >>> [spoken(value) for value in (0.04567, 20.0, 1234.5, float("nan"))]
    ['0.0457', '20', '1,230', '–']
    """
    if not math.isfinite(value):
        return "–"
    if value == 0.0:
        return "0"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    shown = f"{round(value, decimals):,.{max(decimals, 0)}f}"
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def one_plus(parts: float) -> str:
    """Parts added to one, as a bench writes them; never a colon, which is read in two ways.

    Examples
    --------
    >>> one_plus(4.0)
    '1 + 4'
    """
    return f"1 + {spoken(parts)}"


def spoken_range(lower: float, upper: float) -> str:
    """Two ends of a range."""
    return f"{spoken(lower)} to {spoken(upper)}"


def percent(prob: float) -> str:
    """A probability in percent; what is nearly sure is not called sure."""
    if not math.isfinite(prob):
        return "–"
    if 0.0 < prob < 0.01:
        return "under 1 %"
    if 0.99 < prob < 1.0:
        return "over 99 %"
    return f"{100.0 * prob:.0f} %"


def wrapped(text: str, *, first: str = "", later: str = "") -> list[str]:
    """A text in lines of at most 80 columns."""
    return textwrap.wrap(
        printable(text), WIDTH, initial_indent=first, subsequent_indent=later,
        break_on_hyphens=False,
    )  # fmt: skip


def _table_lines(table: TextTable) -> list[str]:
    """A table; numbers flush right, the last column of words wrapped to what is left.

    Where even that does not fit a line the columns stand closer.
    """
    headed = (table.headings, *table.rows) if table.headings else table.rows
    rows = [tuple(printable(cell) for cell in row) for row in headed]
    columns = list(zip(*rows, strict=True))
    right = [
        not any(c.isalpha() for cell in column for c in cell)
        for column in (zip(*table.rows, strict=True) if table.rows else columns)
    ]
    widths = [max(map(len, column)) for column in columns]
    least_last = min(widths[-1], 12)
    is_wide = sum(widths[:-1]) + len(GAP) * (len(widths) - 1) + least_last > WIDTH
    gap = " " if is_wide else GAP
    before_last = sum(widths[:-1]) + len(gap) * (len(widths) - 1)
    widths[-1] = min(widths[-1], max(WIDTH - before_last, 12))
    lines = []
    for row in rows:
        last = textwrap.wrap(row[-1], widths[-1], break_on_hyphens=False) or [""]
        for n, end in enumerate(last):
            cells = (*row[:-1], end) if n == 0 else (*("" for _ in row[:-1]), end)
            texts = [
                cell.rjust(width) if flush and k > 0 else cell.ljust(width)
                for k, (cell, width, flush) in enumerate(zip(cells, widths, right, strict=True))
            ]
            lines.append(gap.join(texts).rstrip())
    return lines
