"""The terminal: parse, call one function, print. Nothing is decided here.

Exit codes: 0 done, 1 a person is needed (a sentence says what to do), 2 wrong usage. Answers go to
standard output, progress to standard error. Heavy packages are imported inside the commands, so
that ``--help`` and the bench commands start at once.
"""

from __future__ import annotations

import json
import sys
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from analytics.errors import ToolkitError

app = typer.Typer(
    help="Breeding-program analytics for kennels: records, models, reports.",
    pretty_exceptions_show_locals=False,
    rich_markup_mode=None,
    no_args_is_help=True,
)

StoreOption = Annotated[
    Path,
    typer.Option("--store", envvar="STUDCURVE_STORE", help="The records file.", dir_okay=False),
]
TodayOption = Annotated[
    datetime | None,
    typer.Option("--today", formats=["%Y-%m-%d"], help="The day the question is asked."),
]
SeedOption = Annotated[int, typer.Option("--seed", min=0, help="Seed of the sampler.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print for machines.")]

DEFAULT_STORE = Path("kennel.duckdb")
DEFAULT_SEED = 20240229


def _day(today: datetime | None) -> date:
    return today.date() if today is not None else date.today()


def _progress(sentence: str) -> None:
    typer.echo(sentence, err=True)


def _print(answer: dict[str, Any], lines: list[str], *, as_json: bool) -> None:
    typer.echo(json.dumps(answer, ensure_ascii=False, indent=2) if as_json else "\n".join(lines))


def main(arguments: list[str] | None = None) -> None:
    """Run one command; the one place where a problem a person can mend becomes a sentence."""
    try:
        app(args=arguments)
    except ToolkitError as problem:
        typer.echo(str(problem), err=True)
        sys.exit(1)


if __name__ == "__main__":
    main()
