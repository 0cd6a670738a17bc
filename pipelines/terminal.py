"""How an answer is shown in a terminal: a plain sentence first, a table second, or JSON.

Nothing is calculated here. Lines are at most 80 columns wide; a control character in a name is
shown and never obeyed.
"""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import Enum
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

WIDTH = 80
"""Columns of a terminal that every answer fits into."""

GAP = "  "

YEARS = range(1950, 2200)
"""Years of the days that a command takes; the calendar that answers are counted on ends later."""

LARGEST_SEED = 2**32 - 1
"""The largest seed that every generator takes."""


class Command(TyperCommand):
    """A command that takes only numbers that are finite and days within a lifetime or two."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401  typer's own
        """Parse, then refuse what no sample and no calendar holds."""
        rest = super().parse_args(ctx, args)
        for param in self.params:
            given = ctx.params.get(param.name or "")
            for value in given if isinstance(given, list | tuple) else (given,):
                wrong = _not_to_be(value)
                if wrong is not None:
                    raise typer.BadParameter(wrong, ctx, param_hint=f"'{param.opts[0]}'")
        return rest


class Commands(typer.Typer):
    """A group of commands, each of them a :class:`Command`."""

    def command(self, *args: Any, **kwargs: Any) -> Callable[[Any], Any]:  # noqa: ANN401
        """Take a function as a command."""
        return super().command(*args, cls=Command, **kwargs)


StoreOption = Annotated[
    Path,
    typer.Option("--store", envvar="STUDCURVE_STORE", help="The records file.", dir_okay=False),
]
TodayOption = Annotated[
    datetime | None,
    typer.Option("--today", formats=["%Y-%m-%d"], help="The day the question is asked."),
]
SeedOption = Annotated[
    int, typer.Option("--seed", min=0, max=LARGEST_SEED, help="Seed of the sampler.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print for machines.")]


class PageReader(Enum):
    """Who reads a page."""

    OWNER = "owner"
    VET = "vet"
    CLIENT = "client"


DEFAULT_STORE = Path("kennel.duckdb")
DEFAULT_SEED = 20240229


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


def _not_to_be(value: object) -> str | None:
    """Why a number or a day cannot be; None for one that can, and for everything else."""
    if isinstance(value, float) and not math.isfinite(value):
        return f"{value} is no number to count with."
    if isinstance(value, datetime) and value.year not in YEARS:
        return f"a day lies between {YEARS[0]} and {YEARS[-1]}; got {value:%Y-%m-%d}."
    return None


def asked_on(today: datetime | None, store: Path) -> date:
    """The day of a question: as told, else the last day of records that end, else by the clock.

    Records end where the file says so, as the demo's does; then a line on standard error names the
    day.

    Parameters
    ----------
    today
        As told; None when it was not.
    store
        The records file; it need not exist.
    """
    if today is not None:
        return today.date()
    ended_on = _ended_on(store, "--today")
    return date.today() if ended_on is None else ended_on


def asked_at(now: datetime | None, store: Path) -> datetime:
    """The minute of a question, by the same order; records that end know no hour but the clock's.

    Parameters
    ----------
    now
        As told; None when it was not.
    store
        The records file; it need not exist.
    """
    if now is not None:
        return now
    by_clock = datetime.now().replace(second=0, microsecond=0)
    ended_on = _ended_on(store, "--now")
    return by_clock if ended_on is None else datetime.combine(ended_on, by_clock.time())


def _ended_on(store: Path, option: str) -> date | None:
    """Last day of records that end, said; None for records that go on, and where there are none."""
    from pipelines.store import last_day

    ended_on = last_day(store)
    if ended_on is not None:
        typer.echo(f"These records end on {ended_on}; that is today, unless {option} says "
                   "otherwise.", err=True)  # fmt: skip
    return ended_on


def show(answer: Answer, *, as_json: bool) -> None:
    """Print an answer."""
    if as_json:
        show_json({"answer": list(answer.sentences), **answer.values,
                   "remarks": list(answer.remarks)})  # fmt: skip
        return
    for line in text_lines(answer):
        typer.echo(line)


def show_json(values: object) -> None:
    """Print for machines; a number that is not known is null."""
    typer.echo(json.dumps(_plain_values(values), ensure_ascii=False, indent=2, default=str))


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


def _plain_values(value: object) -> object:
    """Values as JSON knows them: dates as text, NaN and infinities as null."""
    if isinstance(value, Mapping):
        return {str(name): _plain_values(inner) for name, inner in value.items()}
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, str) or not isinstance(value, Iterable):
        return value
    return [_plain_values(inner) for inner in value]
