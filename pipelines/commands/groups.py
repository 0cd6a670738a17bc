"""Commands whose options come in groups: each group a dataclass, each a heading of the help.

A command takes a group as one argument; on the command line stand the fields of the group. The help
is plain text: what a group of commands or options has in common is its heading.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from copy import copy
from dataclasses import MISSING, dataclass, fields
from functools import wraps
from inspect import Parameter, Signature, signature
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal, get_args, get_origin, get_type_hints

import typer
from typer.core import TyperCommand, TyperGroup
from typer.models import ArgumentInfo, OptionInfo

if TYPE_CHECKING:
    from typer._click import Context, HelpFormatter

Panel = Literal["Start", "Every day", "Plan", "Pages", "Model", "Copies", "Bench"]
"""Headings of the program's commands, in the order in which they are shown."""

STATISTICIANS = "For statisticians"
"""Heading of the options that no kennel needs."""

OPTIONS = "Options"
"""Heading of the options that most commands have."""

_ARGUMENTS = "Arguments"


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionGroup:
    """A group of options: a dataclass whose fields are annotated as parameters of a command are.

    Attributes
    ----------
    panel
        Heading in the help; options with a heading of their own keep it.
    """

    panel: ClassVar[str] = OPTIONS


def command(
    program: typer.Typer, panel: Panel | None = None, name: str | None = None
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Make a function a command of a program, with its groups of options spread out.

    Parameters
    ----------
    program
        The program, or a group of its commands.
    panel
        Heading under which the help shows it.
    name
        Name of the command; that of the function when it is left out.
    """

    def added(function: Callable[..., None]) -> Callable[..., None]:
        flat = spread(function)
        program.command(name, cls=Command, rich_help_panel=panel)(flat)
        return flat

    return added


def spread(function: Callable[..., None]) -> Callable[..., None]:
    """A function that takes the fields of its groups of options as parameters of their own."""
    kinds = get_type_hints(function, include_extras=True)
    groups: dict[str, type[OptionGroup]] = {
        name: kind for name, kind in kinds.items() if _is_group(kind)
    }
    flat = [
        parameter
        for name, own in signature(function).parameters.items()
        for parameter in (
            _fields_of(groups[name])
            if name in groups
            else [own.replace(kind=Parameter.KEYWORD_ONLY, annotation=kinds[name])]
        )
    ]

    @wraps(function)
    def called(**given: object) -> None:
        built = {
            name: kind(**{field.name: given.pop(field.name) for field in fields(kind)
                          if field.name in given})
            for name, kind in groups.items()
        }  # fmt: skip
        function(**built, **given)

    called.__signature__ = Signature(flat)  # type: ignore[attr-defined]
    called.__annotations__ = {option.name: option.annotation for option in flat}
    return called


def _is_group(kind: object) -> bool:
    return isinstance(kind, type) and issubclass(kind, OptionGroup)


def _fields_of(group: type[OptionGroup]) -> Iterator[Parameter]:
    """The fields of a group as parameters, each under the heading of the group."""
    kinds = get_type_hints(group, include_extras=True)
    for field in fields(group):
        yield Parameter(
            field.name,
            Parameter.KEYWORD_ONLY,
            default=Parameter.empty if field.default is MISSING else field.default,
            annotation=_under(group.panel, kinds[field.name]),
        )


def _under(panel: str, annotation: object) -> object:
    """An annotation whose option stands under a heading, unless it has one of its own."""
    if get_origin(annotation) is not Annotated:
        return annotation
    kind, *marks = get_args(annotation)
    placed = []
    for mark in marks:
        if isinstance(mark, OptionInfo | ArgumentInfo) and mark.rich_help_panel is None:
            mark = copy(mark)
            mark.rich_help_panel = panel
        placed.append(mark)
    return Annotated[(kind, *placed)]


class Command(TyperCommand):
    """A command whose help shows its options under their headings."""

    def format_options(self, ctx: Context, formatter: HelpFormatter) -> None:
        """Write the arguments, then each group of options, those of most commands last."""
        shown: dict[str, list[tuple[str, str]]] = {_ARGUMENTS: []}
        for param in self.get_params(ctx):
            record = param.get_help_record(ctx)
            if record is not None:
                own = getattr(param, "rich_help_panel", None) or OPTIONS
                panel = _ARGUMENTS if param.param_type_name == "argument" else own
                shown.setdefault(panel, []).append((_without_type(record[0]), record[1]))
        for last in (STATISTICIANS, OPTIONS):
            shown[last] = shown.pop(last, [])
        _write(shown, formatter)


class CommandGroup(TyperGroup):
    """A program whose help shows its commands under their headings."""

    def format_commands(self, ctx: Context, formatter: HelpFormatter) -> None:
        """Write the commands by heading."""
        width = formatter.width - 6 - max(map(len, self.commands))
        shown: dict[str, list[tuple[str, str]]] = {panel: [] for panel in get_args(Panel)}
        for name, command in self.commands.items():
            panel = getattr(command, "rich_help_panel", None) or "Commands"
            shown.setdefault(panel, []).append((name, command.get_short_help_str(width)))
        _write(shown, formatter)


def _write(shown: dict[str, list[tuple[str, str]]], formatter: HelpFormatter) -> None:
    for panel, rows in shown.items():
        if rows:
            with formatter.section(panel):
                formatter.write_dl(rows)


def _without_type(name: str) -> str:
    """An option without the name of a type behind it; its choices stay."""
    return re.sub(r" <([^<>]*)>$", lambda kind: f" {kind[1]}" if "|" in kind[1] else "", name)
