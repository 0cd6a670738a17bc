"""What the owner decides about kept lines: confirm a doubt, withdraw a line, erase a person's data.

Nothing is deleted but what a person asks to have erased. A withdrawn line stays readable and is not
taken again; an erased name leaves a tombstone that says that, when and why, never what.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.database.kept_fits import drop_fits_with_label
from studcurve.pipelines.records.database.schema import OF_A_LINE, REFERENCES
from studcurve.pipelines.records.reading.staging import Connection
from studcurve.pipelines.records.sheets.columns import SHEETS, Sheet
from studcurve.pipelines.records.sheets.rules import MOVED, ONE_HEAT_DAYS, SAME_HEAT, SAME_LITTER

_PERSON_COLUMNS = tuple(
    sorted(
        {column.name for sheet in SHEETS.values() for column in sheet.columns if column.is_personal}
        | {"finding"}
    )
)
"""Columns of tables that may name a person; what was found is a result in the sheet."""


@dataclass(frozen=True, slots=True)
class Confirmed:
    """What a person's word about doubtful lines did.

    Attributes
    ----------
    n_closed
        Doubts and questions closed.
    n_joined
        Breedings lines that became a further mating of another line's breeding.
    n_waiting
        Confirmed lines that are still left out, because another doubt about them is open.
    """

    n_closed: int
    n_joined: int
    n_waiting: int


def confirm(
    connection: Connection, finding_ids: Sequence[int], *, today: date, reason: str | None
) -> Confirmed:
    """Close doubts and questions: the line is right as it stands, and counts.

    A line about a breeding that another line is about already is joined to it: one breeding, with
    the matings of both. To be called within one transaction.

    Raises
    ------
    RecordsError
        A number is no open finding, or is a refusal, or two lines of one breeding tell of different
        outcomes.
    """
    findings = _open_findings(connection, finding_ids)
    refused = [finding for finding in findings if finding.severity == "refused"]
    if refused:
        raise RecordsError(
            f"Finding {refused[0].finding_id} is a rejected line: what it says cannot be true. "
            "Correct the line and load it again, or withdraw it; only what is doubtful or asked "
            "can be confirmed."
        )
    n_joined = 0
    for finding in findings:
        if finding.rule in (SAME_HEAT, SAME_LITTER, MOVED):
            n_joined += _join(connection, finding)
        connection.execute(
            "UPDATE finding SET closed_by = 'confirmed' WHERE finding_id = ?", [finding.finding_id]
        )
        _decide(connection, finding, "confirmed", today, reason)
    doubtful = connection.execute(
        "SELECT DISTINCT line_id FROM finding WHERE severity = 'doubtful' AND closed_by IS NULL"
    ).fetchall()
    n_waiting = len(
        {finding.line_id for finding in findings} & {line_id for (line_id,) in doubtful}
    )
    return Confirmed(len(findings), n_joined, n_waiting)


def _join(connection: Connection, finding: _OpenFinding) -> bool:
    """Make a Breedings line a further mating of the breeding that another line is about.

    Of several such lines the one nearest in time is meant, and one that counts before a doubtful
    one; without any, nothing is left to join.
    """
    others = connection.execute(
        f"""
        SELECT
            own.entry_id, other.breeding_id,
            own.result <> other.result OR own.whelped_on <> other.whelped_on
                OR own.n_born_alive <> other.n_born_alive OR own.n_stillborn <> other.n_stillborn
        FROM line
        JOIN breeding_lines AS own ON own.entry_id = line.entry_id
        JOIN breeding_lines AS other
            ON other.bitch_id = own.bitch_id AND other.stud_id = own.stud_id
            AND other.breeding_id <> own.breeding_id
        WHERE line.line_id = ?
            AND (
                abs(date_diff('day', own.bred_on, other.bred_on)) <= {ONE_HEAT_DAYS}
                OR own.whelped_on = other.whelped_on
            )
        ORDER BY
            other.is_line_doubtful, abs(date_diff('day', own.bred_on, other.bred_on)),
            other.entry_id
        """,
        [finding.line_id],
    ).fetchall()
    if not others:
        return False
    entry_id, into_entry_id, is_contradicted = others[0]
    if is_contradicted:
        raise RecordsError(
            f"Finding {finding.finding_id} is about two lines of one breeding that report "
            "different outcomes. Correct one of them and load it again, or withdraw it; nothing "
            "was changed."
        )
    # What was joined to this line goes with it.
    connection.execute(
        "UPDATE joined_breeding SET into_entry_id = ? WHERE into_entry_id = ?",
        [into_entry_id, entry_id],
    )
    connection.execute(
        "INSERT OR REPLACE INTO joined_breeding VALUES (?, ?)", [entry_id, into_entry_id]
    )
    return True


def withdraw(
    connection: Connection, finding_ids: Sequence[int], *, today: date, reason: str | None
) -> int:
    """Take the lines of findings out of the records. To be called within one transaction.

    A withdrawn line no longer counts, stays readable, and is not taken again word for word.

    Returns
    -------
    int
        Number of lines withdrawn.

    Raises
    ------
    RecordsError
        A number is no open finding, or other lines are about the dog that would go.
    """
    findings = _open_findings(connection, finding_ids)
    line_ids = list(dict.fromkeys(finding.line_id for finding in findings))
    for line_id in line_ids:
        ((sheet, state, entry_id),) = connection.execute(
            "SELECT sheet, state, entry_id FROM line WHERE line_id = ?", [line_id]
        ).fetchall()
        if state == "current":
            if sheet == "dogs":
                _refuse_needed_dog(connection, entry_id)
            for table in OF_A_LINE:
                connection.execute(f"DELETE FROM {table} WHERE entry_id = ?", [entry_id])
            connection.execute("DELETE FROM joined_breeding WHERE entry_id = ?", [entry_id])
        connection.execute("UPDATE line SET state = 'withdrawn' WHERE line_id = ?", [line_id])
        # What it had corrected may be told again from its sheet.
        connection.execute("UPDATE line SET settled_by = NULL WHERE settled_by = ?", [line_id])
        connection.execute(
            "UPDATE finding SET closed_by = 'withdrawn' WHERE line_id = ? AND closed_by IS NULL",
            [line_id],
        )
    for finding in findings:
        _decide(connection, finding, "withdrawn", today, reason)
    return len(line_ids)


@dataclass(frozen=True, slots=True)
class Erased:
    """Where a person's name was replaced.

    Attributes
    ----------
    n_lines, n_cells
        Lines and cells that held the name.
    n_forecasts
        Stated chances that named the person as who asked.
    models
        Models whose kept fit held it among its labels; the fit is gone.
    """

    n_lines: int
    n_cells: int
    n_forecasts: int
    models: tuple[str, ...]


def erase_person(connection: Connection, name: str, *, today: date, reason: str) -> Erased:
    """Replace a person's name wherever it is kept. To be called within one transaction.

    Cells that name dogs, lots or things are left alone; owner, evaluator, clinic, carrier,
    laboratory and every note are searched, in every version of every line. A kept fit that holds
    the name among its labels is dropped whole: its draws belong to the records as they were.

    Raises
    ------
    RecordsError
        No cell holds the name.
    """
    wanted = " ".join(name.split())
    if not wanted:
        raise RecordsError("Whose data? Give the name as it stands in the records.")
    ((erasure_id,),) = connection.execute(
        "SELECT coalesce(max(erasure_id), 0) + 1 "
        "FROM (SELECT erasure_id FROM tombstone UNION ALL SELECT erasure_id FROM erased_forecast)"
    ).fetchall()
    n_lines, n_cells = _plan_erasure(connection, wanted, f"(erased {erasure_id})")
    n_forecasts = _erase_from_forecasts(connection, erasure_id, today, reason)
    if not n_lines and not n_forecasts:
        raise RecordsError(
            f"No cell that may name a person holds {wanted!r}. Give the name as it was written; "
            "names of dogs, lots and things are left alone."
        )
    _replace_name(connection)
    _set_tombstones(connection, erasure_id, today, reason)
    models = drop_fits_with_label(connection, "label <> without_name(label)")
    return Erased(n_lines, n_cells, n_forecasts, models)


def _plan_erasure(connection: Connection, name: str, stone: str) -> tuple[int, int]:
    """Find the lines whose cells hold a name, and what they say without it.

    Leaves the macro ``without_name(text)``, which puts the stone in the name's place, and the
    temporary table ``erasing``: each of these lines with its new cells and mark.

    Returns
    -------
    int, int
        Lines, and cells in them, that hold the name.
    """
    connection.execute(
        # A name between two others shares its borders with them, hence the second pass.
        f"""
        CREATE OR REPLACE TEMP MACRO without_name(t) AS regexp_replace(
            regexp_replace(t, {_pattern(name)}, '\\1{stone}\\2', 'g'),
            {_pattern(name)}, '\\1{stone}\\2', 'g'
        );
        CREATE OR REPLACE TEMP TABLE erasing (
            line_id BIGINT, cells VARCHAR, mark VARCHAR, n_erased BIGINT
        );
        """
    )
    for sheet in SHEETS.values():
        connection.execute(f"INSERT INTO erasing {_lines_without_name(sheet)}")
    ((n_lines, n_cells),) = connection.execute(
        "SELECT count(*), coalesce(sum(n_erased), 0) FROM erasing"
    ).fetchall()
    return int(n_lines), int(n_cells)


def _lines_without_name(sheet: Sheet) -> str:
    """SQL for the lines of a sheet that hold the name, as they are without it."""
    personal = [n for n, column in enumerate(sheet.columns, 1) if column.is_personal]
    is_marked = any(sheet.column(mark).is_personal for mark in sheet.marks)
    return f"""
        SELECT
            line_id,
            CAST(to_json(list_transform(pairs, lambda pair: pair.after)) AS VARCHAR),
            {"without_name(mark)" if is_marked else "mark"},
            len(list_filter(pairs, lambda pair: pair.before <> pair.after))
        FROM (
            SELECT line_id, mark, list_transform(
                from_json(cells, '["VARCHAR"]'),
                lambda cell, place: {{'before': cell, 'after': CASE
                    WHEN place IN ({", ".join(map(str, personal))})
                        OR place > {len(sheet.columns)}
                    THEN without_name(cell) ELSE cell
                END}}
            ) AS pairs
            FROM line
            WHERE sheet = '{sheet.name}'
        )
        WHERE len(list_filter(pairs, lambda pair: pair.before <> pair.after)) > 0
        """


def _replace_name(connection: Connection) -> None:
    """Put the stone in the place of the name: in lines, what was found, files, reasons, rows."""
    connection.execute(
        f"""
        UPDATE line
        SET cells = erasing.cells, mark = erasing.mark
        FROM erasing
        WHERE line.line_id = erasing.line_id;
        UPDATE finding
        SET cell = without_name(cell), message = without_name(message)
        WHERE line_id IN (SELECT line_id FROM erasing);
        -- It names the file of another line.
        UPDATE finding
        SET message = without_name(message), rule_values = without_name(rule_values)
        WHERE rule = '{MOVED}';
        UPDATE source_file SET name = without_name(name) WHERE name <> without_name(name);
        UPDATE decision SET reason = without_name(reason) WHERE reason <> without_name(reason);
        """
    )
    columns = connection.execute(
        "SELECT table_name, column_name FROM duckdb_columns() WHERE data_type = 'VARCHAR'"
    ).fetchall()
    for table, column in columns:
        if table in OF_A_LINE and column in _PERSON_COLUMNS:
            connection.execute(
                f"UPDATE {table} SET {column} = without_name({column}) "
                f"WHERE {column} <> without_name({column})"
            )


def _erase_from_forecasts(connection: Connection, erasure_id: int, today: date, reason: str) -> int:
    """Put the stone in the place of who asked; what was forecast stays as it is.

    Returns
    -------
    int
        Forecasts that held the name.
    """
    connection.execute(
        "INSERT INTO erased_forecast SELECT ?, forecast_id, ?, ? FROM forecast "
        "WHERE asked_by <> without_name(asked_by)",
        [erasure_id, today, reason],
    )
    connection.execute(
        "UPDATE forecast SET asked_by = without_name(asked_by) "
        "WHERE asked_by <> without_name(asked_by)"
    )
    ((n_forecasts,),) = connection.execute(
        "SELECT count(*) FROM erased_forecast WHERE erasure_id = ?", [erasure_id]
    ).fetchall()
    return int(n_forecasts)


def _set_tombstones(connection: Connection, erasure_id: int, today: date, reason: str) -> None:
    """Say of each line that was touched that, when and why; never what."""
    connection.execute(
        "INSERT INTO tombstone SELECT ?, line_id, ?, ?, n_erased FROM erasing",
        [erasure_id, today, reason],
    )


def _pattern(name: str) -> str:
    """SQL for a pattern that finds a name as a word of its own, in any case."""
    quoted = name.replace("'", "''")
    escaped = f"replace(regexp_escape('{quoted}'), '\\ ', '\\s+')"
    return f"'(?i)(^|[^\\pL\\pN])' || {escaped} || '($|[^\\pL\\pN])'"


class _OpenFinding(NamedTuple):
    finding_id: int
    line_id: int
    severity: str
    rule: str
    closed_by: str | None


def _open_findings(connection: Connection, finding_ids: Sequence[int]) -> list[_OpenFinding]:
    findings = []
    for number in dict.fromkeys(finding_ids):
        rows = connection.execute(
            f"SELECT {', '.join(_OpenFinding._fields)} FROM finding WHERE finding_id = ?", [number]
        ).fetchall()
        found = _OpenFinding(*rows[0]) if rows else None
        if found is None or found.closed_by is not None:
            why = f"was closed already ({found.closed_by})" if found else "is not known"
            raise RecordsError(
                f"Finding {number} {why}. `studcurve corrections` lists the open ones with their "
                "numbers; nothing was changed."
            )
        findings.append(found)
    return findings


def _refuse_needed_dog(connection: Connection, dog_id: int) -> None:
    for table, column, parent in REFERENCES:
        if parent != "dog" or table == "dog_identifier":
            continue
        ((n_rows,),) = connection.execute(
            f"SELECT count(*) FROM {table} WHERE {column} = ?", [dog_id]
        ).fetchall()
        if n_rows:
            raise RecordsError(
                f"This dog has {n_rows} record{'s' if n_rows > 1 else ''} ({table}), which would "
                "be about nobody. Withdraw or correct those first."
            )


def _decide(
    connection: Connection, finding: _OpenFinding, decision: str, today: date, reason: str | None
) -> None:
    connection.execute(
        "INSERT INTO decision SELECT coalesce(max(decision_id), 0) + 1, ?, ?, ?, ?, ? "
        "FROM decision",
        [finding.line_id, finding.finding_id, decision, today, reason],
    )
