"""How an answer is shown in a terminal, as text or JSON; and on which day a question is asked.

Nothing is calculated here.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from datetime import date, datetime, time
from pathlib import Path

import typer

from studcurve.pipelines.answers.answer import Answer, text_lines
from studcurve.pipelines.commands.values import Now


def asked_on(now: Now | None, store: Path) -> date:
    """The day of a question: as given, else the last day of records that end, else by the clock.

    Records end where the file says so, as the demo's does; then a line on standard error names the
    day.

    Parameters
    ----------
    now
        As given; None when it was not.
    store
        The records file; it need not exist.
    """
    if now is not None:
        return now.on
    ended_on = _ended_on(store)
    return date.today() if ended_on is None else ended_on


def asked_at(now: Now | None, store: Path, hour: time | None = None) -> datetime:
    """The minute of a question, its day by the same order.

    Parameters
    ----------
    now
        As given; None when it was not.
    store
        The records file; it need not exist.
    hour
        The hour where a day alone is known; the clock's when it is left out.
    """
    if now is not None and now.at is not None:
        return datetime.combine(now.on, now.at)
    by_clock = datetime.now().time().replace(second=0, microsecond=0)
    return datetime.combine(asked_on(now, store), by_clock if hour is None else hour)


def _ended_on(store: Path) -> date | None:
    """Last day of records that end, said; None for records that go on, and where there are none."""
    from studcurve.pipelines.records.database.whole_file import last_day

    ended_on = last_day(store)
    if ended_on is not None:
        typer.echo(f"These records end on {ended_on}; that is today, unless --now says otherwise.",
                   err=True)  # fmt: skip
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
