"""An unexpected error as a file that a person can send: where in the program, and of what kind.

The file names no dog and no person: neither the message of the error, which may quote a cell, nor
an argument, nor a path of this machine goes into it. :data:`DETAIL` asks for them.
"""

from __future__ import annotations

import os
import platform
import tempfile
import traceback
from collections.abc import Iterator, Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from studcurve.pipelines.commands.options import DEFAULT_STORE

DETAIL = "STUDCURVE_ERROR_DETAIL"
"""Variable of the environment that asks for messages and arguments too, when it is not empty."""

PACKAGES = (
    "studcurve", "altair", "click", "duckdb", "jax", "numpy", "numpyro", "pandas", "scipy",
    "statsmodels", "typer", "typst", "vl-convert-python",
)  # fmt: skip
"""Whose versions are told."""

HOME = Path(__file__).parents[2]
"""Where the packages of this program lie; a path is printed from here on."""


def report(problem: BaseException, arguments: Sequence[str], command: str) -> Path | None:
    """Write what happened into a new file.

    Parameters
    ----------
    problem
        The error.
    arguments
        Of the command line; printed only where the detail is asked for.
    command
        Name of the command, without its arguments.

    Returns
    -------
    Path or None
        The file: beside the records file, else in the folder of temporary files; None where neither
        can be written.
    """
    lines = [
        "An unexpected error of studcurve.",
        f"command: {command}",
        *(f"{name}: {_version(name)}" for name in PACKAGES),
        f"python: {platform.python_version()} on {platform.system()} {platform.machine()}",
        "",
        *_places(problem),
    ]
    if os.environ.get(DETAIL):
        lines += ["", f"arguments: {list(arguments)}", "", *traceback.format_exception(problem)]
    for folder in (_records_file(arguments).parent, Path(tempfile.gettempdir())):
        try:
            with tempfile.NamedTemporaryFile(
                "w", dir=folder, prefix="studcurve-error-", suffix=".txt", delete=False,
                encoding="utf-8",
            ) as file:  # fmt: skip
                file.write("\n".join(lines) + "\n")
            return Path(file.name)
        except OSError:
            continue
    return None


def sentence(problem: BaseException, file: Path | None) -> str:
    """What the person reads."""
    opening = (
        f"Something went wrong in studcurve itself ({type(problem).__name__}); your records are as "
        "they were."
    )
    if file is None:
        return f"{opening} No report of it could be written; say which command it was."
    inside = (
        f"it holds what was asked and what the records say there, because {DETAIL} is set"
        if os.environ.get(DETAIL)
        else "it says where in the program it happened and names no dog and no person"
    )
    return f"{opening} Please send this file to those who look after the program ({inside}):"


def _places(problem: BaseException) -> Iterator[str]:
    """Kind and places of an error and of those that it came from, the first of them first."""
    before = problem.__cause__ or (None if problem.__suppress_context__ else problem.__context__)
    if before is not None:
        yield from _places(before)
        yield "then"
    yield f"{type(problem).__module__}.{type(problem).__qualname__}"
    for frame in traceback.extract_tb(problem.__traceback__):
        yield f"  {_place(frame.filename)}:{frame.lineno} in {frame.name}"


def _place(file_name: str) -> str:
    """A file of the program or of a library, without where it lies on this machine."""
    path = Path(file_name)
    if "site-packages" in path.parts:
        after = len(path.parts) - path.parts[::-1].index("site-packages")
        return Path(*path.parts[after:]).as_posix()
    return path.relative_to(HOME).as_posix() if path.is_relative_to(HOME) else path.name


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "not installed"


def _records_file(arguments: Sequence[str]) -> Path:
    """The records file that a command line names, read without the parser, which may have failed.

    Its last name counts, as for the commands.
    """
    named = os.environ.get("STUDCURVE_STORE") or str(DEFAULT_STORE)
    for n, argument in enumerate(arguments):
        if argument == "--store" and n + 1 < len(arguments):
            named = arguments[n + 1]
        elif argument.startswith("--store="):
            named = argument.removeprefix("--store=")
    return Path(named)
