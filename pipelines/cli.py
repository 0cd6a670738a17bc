"""The program: its commands under their headings, and every problem a sentence with an exit code.

Exit codes: 0 done, 1 a person is needed (a sentence says what to do), 2 wrong usage, 3 an error of
the program (a sentence names the file to send). Answers go to standard output, progress to standard
error. Heavy packages are imported inside the commands, so
that ``--help`` and the bench commands start at once.
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NoReturn

import typer
from typer.main import get_command

from studcurve.analytics.errors import ToolkitError
from studcurve.pipelines.answers.answer import printable, wrapped
from studcurve.pipelines.commands import pages, plan, records
from studcurve.pipelines.commands.bench import bench
from studcurve.pipelines.commands.groups import CommandGroup, Panel, command
from studcurve.pipelines.commands.options import DEFAULT_STORE
from studcurve.pipelines.commands.ship import ship

NAME = "studcurve"

MENDABLE = (
    errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOSPC, errno.EDQUOT, errno.EEXIST,
    errno.EISDIR, errno.ENOTDIR, errno.ENAMETOOLONG,
)  # fmt: skip
"""What a disk or a folder refuses and a person can mend."""

app = typer.Typer(
    cls=CommandGroup,
    help="Breeding-program analytics for kennels: records, models, reports.",
    pretty_exceptions_show_locals=False,
    rich_markup_mode=None,
    invoke_without_command=True,
    add_completion=True,
)


@app.callback()
def first(context: typer.Context) -> None:
    """Breeding-program analytics for kennels; without a command: what is due."""
    if context.invoked_subcommand is None:
        records.due(store=Path(os.environ.get("STUDCURVE_STORE", DEFAULT_STORE)))


COMMANDS: Mapping[Panel, tuple[Callable[..., None], ...]] = {
    "Start": (
        records.demo, records.template, records.load, records.corrections, records.confirm,
        records.withdraw,
    ),
    "Every day": (records.due, ship),
    "Plan": (plan.compare, plan.schedule, plan.forecasts),
    "Pages": (
        pages.pages, pages.review, pages.overview, pages.outcomes, pages.handout,
        pages.shipment_sheet,
    ),
    "Model": (records.fit,),
    "Copies": (records.backup, records.restore, records.export, records.erase),
}  # fmt: skip
"""The commands under their headings."""

for _panel, _functions in COMMANDS.items():
    for _function in _functions:
        command(app, _panel)(_function)
app.add_typer(bench, name="bench", rich_help_panel="Bench")


def main(arguments: list[str] | None = None) -> None:
    """Run one command; the one place where every problem becomes a sentence and an exit code."""
    given = sys.argv[1:] if arguments is None else arguments
    try:
        app(args=given)
    except ToolkitError as problem:
        _say_why(str(problem), 1)
    except OSError as problem:
        if problem.errno in MENDABLE and problem.filename is not None:
            _say_why(f"{problem.filename} cannot be read or written ({problem.strerror}).", 1)
        _give_up(problem, given)
    except Exception as problem:
        _give_up(problem, given)


def _give_up(problem: Exception, given: list[str]) -> NoReturn:
    """Tell an error of the program in a sentence, and write where it happened into a file."""
    from studcurve.pipelines.commands import trouble

    file = trouble.report(problem, given, _command_named(given))
    _say_why(trouble.sentence(problem, file), 3, *([] if file is None else [str(file)]))


def _say_why(sentence: str, code: int, *lines: str) -> NoReturn:
    """Say why there is no answer, and leave."""
    typer.echo("\n".join([*wrapped(sentence), *map(printable, lines)]), err=True)
    sys.exit(code)


def _command_named(given: list[str]) -> str:
    """Names of the command and its group, without the arguments."""
    command, names = get_command(app), [NAME]
    for argument in given:
        inner = getattr(command, "commands", {})
        if argument not in inner:
            break
        names.append(argument)
        command = inner[argument]
    return " ".join(names)


if __name__ == "__main__":
    main()
