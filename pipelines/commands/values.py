"""How a number, a day, a moment, an hour and a dilution are typed on the command line.

Numbers have a decimal point or a decimal comma, as in the sheets. Each reader takes the text of one
option and returns its value; what is wrong is wrong usage, said in one sentence (exit code 2).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import NamedTuple

import typer

from studcurve.analytics.vocabulary import SEMEN_TYPES
from studcurve.pipelines.answers.answer import YEARS

DAY = "YYYY-MM-DD"
MOMENT = "'YYYY-MM-DD HH:MM'"
DAY_OR_MOMENT = f"{DAY}|{MOMENT}"
"""How days and moments are shown in the help."""

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
"""Names of weekdays on the command line."""

_DAY_FORMATS = ("%Y-%m-%d", "%d.%m.%Y")
_MOMENT_FORMATS = tuple(f"{day}{to}%H:%M" for day in _DAY_FORMATS for to in (" ", "T"))

_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
"""A comma that may stand before decimals or between thousands."""

_ONE_PLUS = re.compile(r"1\s*\+\s*(\S+)")


@dataclass(frozen=True, slots=True)
class OnePlus:
    """One part of semen with some parts added, as it is written at a bench: 1 + 19.

    Attributes
    ----------
    parts
        What is added to one part.
    """

    parts: float

    @property
    def factor(self) -> float:
        """Final over initial volume."""
        return 1.0 + self.parts

    def __str__(self) -> str:
        return f"1 + {self.parts:g}"


UNDILUTED = OnePlus(0.0)
USUAL_DILUTION = OnePlus(19.0)
"""Of a count on the bench card."""


class Now(NamedTuple):
    """The moment of a question.

    Attributes
    ----------
    on
        Its day.
    at
        Its hour; None where a day alone was given.
    """

    on: date
    at: time | None

    def __str__(self) -> str:
        return self.on.isoformat() if self.at is None else f"{self.on} {self.at:%H:%M}"


def number(
    low: float = -math.inf, high: float = math.inf, *, such_as: str = "12.5 or 12,5"
) -> Callable[[str], float]:
    """A reader of numbers between two bounds, both of which it takes.

    Parameters
    ----------
    low, high
        The bounds, in the unit of the option.
    such_as
        An example of a number, for the sentence about a wrong one.
    """

    def read(text: str) -> float:
        value = _value_of(text)
        if value is None or not low <= value <= high:
            raise typer.BadParameter(
                f"write a number{_between(low, high)}, such as {such_as}; got {text!r}."
            )
        return value

    return read


def count(low: int = 0, high: int | None = None) -> Callable[[str], int]:
    """A reader of whole numbers between two bounds, both of which it takes."""
    most = math.inf if high is None else high

    def read(text: str) -> int:
        value = int(text) if re.fullmatch(r"[+-]?\d{1,18}", str(text).strip()) else None
        if value is None or not low <= value <= most:
            raise typer.BadParameter(f"write a whole number{_between(low, most)}; got {text!r}.")
        return value

    return read


def read_numbers(text: str) -> tuple[float, ...]:
    """Read numbers such as 12,9,15; with semicolons between them they may have decimal commas."""
    parts = text.split(";" if ";" in text else ",")
    found = [_value_of(part) for part in parts]
    numbers = tuple(value for value in found if value is not None and value >= 0.0)
    if len(numbers) < len(found):
        raise typer.BadParameter(
            f"write numbers with commas between them, such as 12,9,15; got {text!r}."
        )
    return numbers


def one_plus(usual: int) -> Callable[[str], OnePlus]:
    """A reader of parts added to one part, with an example for the sentence about a wrong one.

    A single number is refused: 20 may be meant as 1 + 19 or as 1 + 20.
    """

    def read(text: str) -> OnePlus:
        found = _ONE_PLUS.fullmatch(str(text).strip())
        parts = None if found is None else _value_of(found[1])
        if parts is None or parts < 0.0:
            raise typer.BadParameter(
                f"write '1 + {usual}' for {usual} parts added to 1 of semen; a single number can "
                f"be read in two ways; got {text!r}."
            )
        return OnePlus(parts)

    return read


def read_day(text: str) -> date:
    """Read a day such as 2026-11-05 or 5.11.2026; with points the day comes first."""
    found = _by_format(text, _DAY_FORMATS)
    if found is None:
        raise typer.BadParameter(f"write a day as {DAY}, such as 2026-11-05; got {text!r}.")
    return found.date()


def read_moment(text: str) -> datetime:
    """Read a day and an hour such as 2026-11-05 18:30."""
    found = _by_format(text, _MOMENT_FORMATS)
    if found is None:
        raise typer.BadParameter(
            f"write a day and its hour as {MOMENT}, such as '2026-11-05 18:30'; got {text!r}."
        )
    return found


def read_now(text: str) -> Now:
    """Read a day, or a day and its hour."""
    moment = _by_format(text, _MOMENT_FORMATS)
    if moment is not None:
        return Now(moment.date(), moment.time())
    day = _by_format(text, _DAY_FORMATS)
    if day is None:
        raise typer.BadParameter(
            f"write a day as {DAY}, or with its hour as {MOMENT}; got {text!r}."
        )
    return Now(day.date(), None)


def as_typed(read: Callable[[str], object]) -> Callable[[str], str]:
    """A reader that refuses what another one refuses, and returns the text as it was typed.

    For options whose default is shown in the help as it is typed.
    """

    def checked(text: str) -> str:
        read(text)
        return text

    return checked


def read_clock(text: str) -> time:
    """Read an hour such as 9:30."""
    try:
        return time.fromisoformat(text.strip().zfill(5))
    except ValueError:
        raise typer.BadParameter(f"write an hour as 09:30; got {text!r}.") from None


def read_hours(text: str) -> tuple[time, time]:
    """Read opening hours such as 09:00-17:00."""
    opens, dash, closes = text.partition("-")
    if not dash:
        raise typer.BadParameter(f"write hours as 09:00-17:00; got {text!r}.")
    first, last = read_clock(opens), read_clock(closes)
    if last < first:
        raise typer.BadParameter(
            f"write hours that end after they begin, such as 09:00-17:00; got {text!r}."
        )
    return first, last


def read_weekdays(text: str) -> frozenset[int]:
    """Read weekdays such as mon-fri or mon,wed,sat; Monday is 0."""
    found: set[int] = set()
    for part in text.lower().split(","):
        first, _, last = part.strip().partition("-")
        try:
            start, end = WEEKDAYS.index(first[:3]), WEEKDAYS.index((last or first)[:3])
        except ValueError:
            raise typer.BadParameter(
                f"write weekdays as mon-fri or mon,wed,sat; got {text!r}."
            ) from None
        found |= {day % 7 for day in range(start, end + 1 if end >= start else end + 8)}
    return frozenset(found)


def read_named_day(text: str) -> tuple[str, date]:
    """Read a name with a day, such as Fern=2026-11-05."""
    name, _, day = text.rpartition("=")
    found = _by_format(day, _DAY_FORMATS)
    if not name.strip() or found is None:
        raise typer.BadParameter(f"write a name and a day as BITCH=2026-11-05; got {text!r}.")
    return name.strip(), found.date()


EXPECTED_WORDS = (*SEMEN_TYPES, "mating", "vaginal", "transcervical", "once", "twice")
"""Words of the ways to breed."""


def read_expected(text: str) -> tuple[frozenset[str], float]:
    """Read a way and a chance such as chilled=60; a chance alone is about every way.

    Returns
    -------
    frozenset of str, float
        Words of the way, and the chance. [0 to 1]
    """
    way, _, chance = str(text).rpartition("=")
    words, value = frozenset(way.lower().split()), _value_of(chance.strip().removesuffix("%"))
    if value is None or not 1.0 <= value <= 99.0 or not words <= set(EXPECTED_WORDS):
        raise typer.BadParameter(
            "write a chance from 1 to 99 percent, alone or after the option that it is about, such "
            "as 'chilled=60' or 'fresh vaginal twice=70'; the words are "
            f"{', '.join(EXPECTED_WORDS)}; got {text!r}."
        )
    return words, value / 100.0


def one_of(words: Sequence[str]) -> Callable[[str], str]:
    """A reader of one of some words, whatever their case."""

    def read(text: str) -> str:
        if text.lower() not in words:
            raise typer.BadParameter(f"choose one of {', '.join(words)}; got {text!r}.")
        return text.lower()

    return read


def _value_of(text: str) -> float | None:
    """A number with a decimal point or comma; None for anything else, and for 1,250."""
    typed = str(text).strip()
    if not _NUMBER.fullmatch(typed) or _EITHER.fullmatch(typed):
        return None
    return float(typed.replace(",", "."))


def _by_format(text: str, formats: Sequence[str]) -> datetime | None:
    """A moment in one of some formats; None for anything else.

    Raises
    ------
    typer.BadParameter
        It lies outside the years of any record.
    """
    for form in formats:
        try:
            found = datetime.strptime(str(text).strip(), form)
        except ValueError:
            continue
        if found.year not in YEARS:
            raise typer.BadParameter(
                f"a day lies between {YEARS[0]} and {YEARS[-1]}; got {text!r}."
            )
        return found
    return None


def _between(low: float, high: float) -> str:
    """The bounds of a number, in words."""
    if math.isinf(low) and math.isinf(high):
        return ""
    if math.isinf(high):
        return f" from {low:g} up"
    return f" from {low:g} to {high:g}"
