"""How an answer is shown in a terminal, as text or JSON; and what may be asked, on which day.

Nothing is calculated here.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from enum import Enum
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

from studcurve.pipelines.answers.answer import YEARS, Answer, text_lines

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
    from studcurve.pipelines.records.database.whole_file import last_day

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
