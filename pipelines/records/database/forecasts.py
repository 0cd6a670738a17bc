"""Stated chances as the records file keeps them: added, read, proved unchanged; never altered.

Each row carries a digest of itself and of the digest before it, so that a row which was changed,
taken out or put in later does not go unnoticed. Their number and the last digest are kept beside
them, so that none is missing at the end.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Literal

from studcurve.pipelines.records.reading.staging import Connection

StatedBy = Literal["model", "person"]
Command = Literal["compare", "schedule", "ship", "replay"]

_NOT_DIGESTED = frozenset({"asked_by", "digest"})
"""A person's name may be erased; what was forecast may not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """One chance of a litter as it was stated.

    Attributes
    ----------
    stated_at
        When it was stated, local time: by the clock, or on the last day of records that end.
    asked_by
        Who asked; of a person's own chance, whose it is. None where not known.
    stated_by
        ``model``, or ``person`` for a chance that somebody named.
    command
        What stated it; ``replay`` for one that was worked out later from the records of its day.
    stud_id, stud, bitch_id, bitch
        The pair.
    semen_type, route, n_inseminations
        The way.
    planned_at
        First planned insemination.
    litter_prob
        The chance as printed: the mean of the draws, or what the person said. [0 to 1]
    litter_prob_median, litter_prob_lower, litter_prob_upper
        Median and ends of the 90 % range of the draws; None of a person's.
    published_litter_prob
        The same way by the published table alone. [0 to 1]
    records_weight
        Share of the certainty that the kennel's own records supplied. [0 to 1]
    n_draws
        Joint draws.
    model_fingerprint, priors_fingerprint, versions
        Name and version of the model, digest of the priors, libraries as JSON; None of a person's.
    records_fingerprint
        Of the lines in force that the answer was made from.
    """

    stated_at: datetime
    asked_by: str | None
    stated_by: StatedBy
    command: Command
    stud_id: int
    stud: str
    bitch_id: int
    bitch: str
    semen_type: str
    route: str
    n_inseminations: int
    planned_at: datetime
    litter_prob: float
    litter_prob_median: float | None = None
    litter_prob_lower: float | None = None
    litter_prob_upper: float | None = None
    published_litter_prob: float | None = None
    records_weight: float | None = None
    n_draws: int | None = None
    model_fingerprint: str | None = None
    priors_fingerprint: str | None = None
    versions: str | None = None
    records_fingerprint: str


_COLUMNS = (
    "forecast_id", "question_id", *(field.name for field in fields(Forecast)), "n_current_lines",
    "load_id", "digest",
)  # fmt: skip
"""Of the table."""


def add_forecasts(
    connection: Connection, stated: Sequence[Forecast], *, load_id: int | None = None
) -> None:
    """Add what one question was answered with; to be called within one transaction.

    Parameters
    ----------
    connection
        Of the records file.
    stated
        In the order in which it is to be kept.
    load_id
        The last load that the answers can have known; the last one of the file when left out.
    """
    ((forecast_id, question_id),) = connection.execute(
        "SELECT coalesce(max(forecast_id), 0), coalesce(max(question_id), 0) + 1 FROM forecast"
    ).fetchall()
    ((n_lines, last_load),) = connection.execute(
        "SELECT (SELECT count(*) FROM line WHERE state = 'current'), "
        "(SELECT coalesce(max(load_id), 0) FROM load)"
    ).fetchall()
    n_before, before = _end(connection)
    for n, one in enumerate(stated, 1):
        row = {
            "forecast_id": forecast_id + n,
            "question_id": question_id,
            **{field.name: getattr(one, field.name) for field in fields(one)},
            "n_current_lines": n_lines,
            "load_id": last_load if load_id is None else load_id,
        }
        before = row["digest"] = _digest(row, before)
        connection.execute(
            f"INSERT INTO forecast ({', '.join(_COLUMNS)}) "
            f"VALUES ({', '.join('?' * len(_COLUMNS))})",
            [row[column] for column in _COLUMNS],
        )
    if stated:
        # Counted on from what is kept, not from the rows: one that is missing stays missing.
        connection.execute("DELETE FROM forecast_count")
        connection.execute(
            "INSERT INTO forecast_count VALUES (?, ?)", [n_before + len(stated), before]
        )


def changed_forecasts(connection: Connection) -> list[str]:
    """Say whether a kept forecast is no longer what it was when it was stated.

    Returns
    -------
    list of str
        A sentence about the first one; empty where none was changed, taken out or put between.
    """
    rows = connection.execute(
        f"SELECT {', '.join(_COLUMNS)} FROM forecast ORDER BY forecast_id"
    ).fetchall()
    before = ""
    for values in rows:
        row = dict(zip(_COLUMNS, values, strict=True))
        if row["digest"] != _digest(row, before):
            return [f"forecast: number {row['forecast_id']} is not as it was stated"]
        before = row["digest"]
    ends = connection.execute("SELECT n_forecasts, last_digest FROM forecast_count").fetchall()
    if ends != ([(len(rows), before)] if rows else []):
        return [f"forecast: the last one kept is number {len(rows)}, which is not the last stated"]
    return []


def _end(connection: Connection) -> tuple[int, str]:
    """Number of forecasts that were stated so far, and the digest of the last one."""
    ends = connection.execute("SELECT n_forecasts, last_digest FROM forecast_count").fetchall()
    return (int(ends[0][0]), str(ends[0][1])) if ends else (0, "")


def _digest(row: Mapping[str, object], before: str) -> str:
    """SHA-256 of a row and of the digest before it; a float is written so that it comes back."""
    told = {
        name: value.isoformat() if isinstance(value, datetime) else value
        for name, value in row.items()
        if name not in _NOT_DIGESTED
    }
    text = json.dumps([before, told], sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()
