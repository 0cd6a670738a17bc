"""How staged sheets become records: apply the rules, accept what is sound, write its rows.

Everything is done by the database on whole sheets: the text of a sheet's own statements comes from
:mod:`studcurve.pipelines.records.database.line_sql`, what is the same for every sheet stands in
``sql/``, and this module says in which order they run. They hand on what they found in temporary
relations, which :mod:`studcurve.pipelines.records.database.relations` lists with who makes and who
reads them. They run on a connection that :mod:`studcurve.pipelines.records.database.store` opens.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal

import pandas as pd

from studcurve.analytics.sentences import kept_values
from studcurve.pipelines.records.database.line_sql import (
    LineSql,
    NumberedRule,
    found_in_records,
    numbered_rules,
    rules_of_records,
)
from studcurve.pipelines.records.database.schema import OF_A_LINE, SQL
from studcurve.pipelines.records.reading.files import SheetText
from studcurve.pipelines.records.reading.staging import Connection, by_sheet, present_columns
from studcurve.pipelines.records.sheets.columns import ANSWER_NAME, Column, Sheet
from studcurve.pipelines.records.sheets.rules import Severity, columns_named

DayOrder = Literal["day-first", "month-first"]
"""Which comes first in a date such as 03/04/2024."""

FEW_LINES = 10_000
"""Lines of a sheet below which a statement costs by its parts, not by its lines."""

_NO_ANSWERS = """
CREATE OR REPLACE TEMP TABLE answering (n BIGINT, line_id BIGINT, digest VARCHAR);
"""
"""What answers.sql leaves where no line is given as a correction."""

_NONE_MOVED = """
CREATE OR REPLACE TEMP TABLE moved (
    line_id BIGINT, n BIGINT, day VARCHAR, line INTEGER, file VARCHAR
);
"""
"""What moved.sql leaves where no line that counts is missing from the load."""


@dataclass(frozen=True, slots=True)
class SheetCount:
    """What a load did with the lines of one sheet; questions are counted one by one."""

    n_new: int = 0
    n_unchanged: int = 0
    n_changed: int = 0
    n_refused: int = 0
    n_doubtful: int = 0
    n_questions: int = 0


@dataclass(frozen=True, slots=True)
class LoadReport:
    """What a load did.

    Attributes
    ----------
    sheets
        Counts by sheet, in order of loading.
    findings
        The open findings that this load is about; columns as in the view ``findings``.
    ignored
        Names of worksheets that are none of the sheets.
    """

    sheets: Mapping[str, SheetCount]
    findings: pd.DataFrame
    ignored: tuple[str, ...] = ()

    @property
    def n_refused(self) -> int:
        """Lines that were kept and not used."""
        return sum(count.n_refused for count in self.sheets.values())

    @property
    def n_doubtful(self) -> int:
        """Lines that are left out until somebody confirms them."""
        return sum(count.n_doubtful for count in self.sheets.values())

    @property
    def n_questions(self) -> int:
        """Doubts about lines that were let in."""
        return sum(count.n_questions for count in self.sheets.values())


def load_sheets(
    connection: Connection,
    texts: Sequence[SheetText],
    *,
    today: date,
    day_order: DayOrder | None,
) -> dict[str, SheetCount]:
    """Bring the staged sheets into the tables; to be called within one transaction.

    Returns
    -------
    dict
        What was done, by sheet. The temporary table ``touched`` holds the findings it is about.
    """
    ((load_id,),) = connection.execute("SELECT coalesce(max(load_id), 0) + 1 FROM load").fetchall()
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP MACRO load_day() AS DATE '{today.isoformat()}';
        CREATE OR REPLACE TEMP MACRO this_load() AS {load_id};
        CREATE OR REPLACE TEMP TABLE touched (finding_id BIGINT);
        CREATE OR REPLACE TEMP TABLE made (finding_id BIGINT);
        """
    )
    given = by_sheet(texts)
    counts = {sheet.name: SheetCount() for sheet, _ in given}
    loaded = [sheet for sheet, its_texts in given if not _is_silent(connection, sheet, its_texts)]
    for sheet, its_texts in given:
        if sheet in loaded:
            counts[sheet.name] = load_sheet(connection, sheet, its_texts, day_order)
    for sheet in loaded:
        _ask_records(connection, sheet)
        counts[sheet.name] = replace(
            counts[sheet.name],
            n_doubtful=_n_made(connection, sheet, "doubtful", "DISTINCT line.line_id"),
            n_questions=_n_made(connection, sheet, "question", "*"),
        )
    _write_load(connection, load_id, today, day_order)
    return counts


def _is_silent(connection: Connection, sheet: Sheet, texts: Sequence[SheetText]) -> bool:
    """Whether nothing can come of a sheet: no line is on it, and none waits that was refused.

    A refused line that is gone from its sheet is settled, so an empty one may say something.
    """
    if any(text.n_records for text in texts):
        return False
    ((n_refused,),) = connection.execute(
        "SELECT count(*) FROM line WHERE sheet = ? AND state = 'refused'", [sheet.name]
    ).fetchall()
    return not n_refused


def load_sheet(
    connection: Connection,
    sheet: Sheet,
    texts: Sequence[SheetText],
    day_order: DayOrder | None,
) -> SheetCount:
    """Apply the rules to one staged sheet, tell new lines from old ones, and write what is sound.

    Parameters
    ----------
    connection
        Within a transaction, with the macros and tables that :func:`load_sheets` makes.
    sheet, texts
        The sheet, and the texts that were staged of it.
    day_order
        Order of day and month in dates such as 03/04/2024.
    """
    _name_sheet(connection, sheet, texts)
    sql = LineSql(sheet, _filled_columns(connection, sheet, texts))
    _make_lines(connection, sql)
    n_settled = _leave_out(connection, sheet, _settled_lines(sheet))
    are_few = sum(text.n_records for text in texts) < FEW_LINES
    sql = _read_cells(connection, sql, day_order, are_few=are_few)
    connection.execute(f"CREATE OR REPLACE TEMP VIEW identified AS {sql.identified()}")
    _apply_rules(connection, sql)
    is_answer = any(ANSWER_NAME in text.names for text in texts)
    connection.execute(_script("answers.sql") if is_answer else _NO_ANSWERS)
    connection.execute(_script("accept.sql"))
    connection.execute(_script("moved.sql") if _is_one_missing(connection) else _NONE_MOVED)
    connection.execute(_script("standing.sql"))
    if is_answer:
        connection.execute(_script("answered.sql"))
    _leave_out(
        connection, sheet, "SELECT n FROM apart WHERE standing NOT IN ('changed', 'refused')"
    )
    connection.execute(_script("write.sql") + _script("findings.sql"))
    _replace_rows(connection, sql, are_few=are_few)
    ((n_new, n_unchanged, n_changed, n_refused),) = connection.execute("FROM outcome").fetchall()
    return SheetCount(
        n_new=n_new,
        n_unchanged=n_unchanged + n_settled,
        n_changed=n_changed,
        n_refused=n_refused,
    )


def _script(name: str) -> str:
    return (SQL / name).read_text(encoding="utf-8")


def _name_sheet(connection: Connection, sheet: Sheet, texts: Sequence[SheetText]) -> None:
    """Make what the scripts know of the sheet: its name, its day, its files, the dogs by name."""
    day_place = sheet.names.index(sheet.day) + 1 if sheet.day else 0
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP MACRO this_sheet() AS '{sheet.name}';
        CREATE OR REPLACE TEMP MACRO without_day(cells) AS list_filter(
            from_json(cells, '["VARCHAR"]'), lambda cell, place: place <> {day_place}
        );
        CREATE OR REPLACE TEMP TABLE staged_file (
            file_no INTEGER, file_id BIGINT, name VARCHAR, sha256 VARCHAR, n_lines BIGINT
        );
        """
        + _script("names.sql")
    )
    for file_no, text in enumerate(texts):
        connection.execute(
            "INSERT INTO staged_file SELECT ?, (SELECT coalesce(max(file_id), 0) "
            "FROM source_file) + 1 + ?, ?, ?, ?",
            [file_no, file_no, text.name, text.sha256, text.n_records],
        )


def _filled_columns(
    connection: Connection, sheet: Sheet, texts: Sequence[SheetText]
) -> tuple[Column, ...]:
    """Columns that at least one line fills, and those that every line must fill."""
    given = present_columns(sheet, texts)
    (counts,) = connection.execute(
        f"SELECT {', '.join(f'count({column.name})' for column in given)} FROM staged_{sheet.name}"
    ).fetchall()
    return tuple(
        column for column, n_cells in zip(given, counts, strict=True) if n_cells or column.required
    )


def _make_lines(connection: Connection, sql: LineSql) -> None:
    """Make the view of the staged lines, and the macro for the cells of a few of them."""
    name = sql.sheet.name
    first_rows = connection.execute(
        f"SELECT file_no, coalesce(first_n, 0) FROM staged_first WHERE sheet = '{name}'"
    ).fetchall()
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP VIEW lines AS {sql.lines(dict(first_rows))};

        -- The cells of a few lines, without listing those of all the others first.
        CREATE OR REPLACE TEMP MACRO cells_of(wanted) AS TABLE
        WITH few AS MATERIALIZED (
            SELECT rowid AS n, staged_{name}.*
            FROM staged_{name}
            WHERE rowid IN (SELECT n FROM query_table(wanted))
        )
        SELECT n, {sql.listed_cells()} AS cells FROM few;
        """
    )


def _settled_lines(sheet: Sheet) -> str:
    """SQL for the lines that the owner has settled: withdrawn, or corrected by another."""
    return f"""
        SELECT n
        FROM lines
        SEMI JOIN (
            SELECT cells
            FROM line
            WHERE sheet = '{sheet.name}' AND (state = 'withdrawn' OR settled_by IS NOT NULL)
        ) AS settled USING (cells)
        """


def _leave_out(connection: Connection, sheet: Sheet, query: str) -> int:
    """Take the lines whose n a query gives out of the staged ones; how many they were."""
    connection.execute(f"CREATE OR REPLACE TEMP TABLE leaving AS {query}")
    ((n_leaving,),) = connection.execute("SELECT count(*) FROM leaving").fetchall()
    if n_leaving:
        connection.execute(f"DELETE FROM staged_{sheet.name} WHERE rowid IN (FROM leaving)")
    return int(n_leaving)


def _is_one_missing(connection: Connection) -> bool:
    """Whether a line of the sheet counts that no line of the load is about."""
    return bool(
        connection.execute("FROM known ANTI JOIN matched USING (line_id) LIMIT 1").fetchall()
    )


def _read_cells(
    connection: Connection, sql: LineSql, day_order: DayOrder | None, *, are_few: bool
) -> LineSql:
    """Read every distinct text of the columns that are looked up.

    Returns
    -------
    LineSql
        The same, which knows the columns whose words are spelled as the sheet spells them.
    """
    order = f"'{day_order}'" if day_order else "NULL"
    words = sql.words()
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE text_of AS {sql.texts(in_one_pass=are_few)};

        CREATE OR REPLACE TEMP TABLE day_of AS
        SELECT cell, parse_day(cell, {order}) AS day FROM ({sql.texts_of("day")});

        CREATE OR REPLACE TEMP TABLE clock_of AS
        SELECT cell, parse_clock(cell) AS clock FROM ({sql.texts_of("clock")});

        CREATE OR REPLACE TEMP TABLE number_of AS
        SELECT cell, number, without_plain_text(reading) AS reading,
            without_plain_text(by_eye) AS by_eye
        FROM (
            SELECT *, judged_by_eye(reading) AS by_eye
            FROM (
                SELECT cell, parse_number(cell) AS number, parse_reading(cell) AS reading
                FROM ({sql.texts_of("count", "number", "reading", "by eye", "printed")})
            )
        );

        CREATE OR REPLACE TEMP MACRO has_decimal_comma() AS (
            SELECT count(*) > 0 FROM number_of WHERE regexp_matches(cell, '[0-9],[0-9]')
        );

        CREATE OR REPLACE TEMP TABLE word_of (name VARCHAR, cell VARCHAR, word VARCHAR);
        """
        + (f"INSERT INTO word_of {words}" if words else "")
    )
    spelled = connection.execute(
        """
        SELECT text_of.name
        FROM text_of
        LEFT JOIN word_of ON word_of.name = text_of.name AND word_of.word = text_of.cell
        GROUP BY text_of.name
        HAVING count(text_of.cell) = count(word_of.word)
        """
    ).fetchall()
    of_words = {column.name for column in sql.looked_up if column.choices}
    return replace(sql, as_spelled=frozenset(name for (name,) in spelled) & of_words)


def _apply_rules(connection: Connection, sql: LineSql) -> None:
    """Apply the rules to the lines as they were read."""
    _list_rules(connection, sql.sheet, numbered_rules(sql.sheet))
    rules = sql.rules()
    connection.execute(f"CREATE OR REPLACE TEMP TABLE bad_cell AS {sql.bad_cells(rules.of_cells)}")
    bad_columns = connection.execute("SELECT DISTINCT name FROM bad_cell").fetchall()
    found = sql.found(rules, [name for (name,) in bad_columns])
    connection.execute(f"CREATE OR REPLACE TEMP TABLE found AS {found}")


def _list_rules(connection: Connection, sheet: Sheet, rules: Sequence[NumberedRule]) -> None:
    """Put what a finding keeps of its rule into the temporary table rule_row."""
    rows = [
        (
            number,
            rule.severity,
            rule.name,
            sheet.names.index(rule.column) + 1,
            sheet.column(rule.column).heading,
            kept_values(rule.values),
        )
        for number, rule in rules
    ]
    connection.execute(
        """
        CREATE OR REPLACE TEMP TABLE rule_row AS
        SELECT
            unnest(?) AS rule_no, unnest(?) AS severity, unnest(?) AS name,
            CAST(unnest(?) AS INTEGER) AS position, unnest(?) AS column_heading,
            unnest(?) AS rule_values
        """,
        [list(column) for column in zip(*rows, strict=True)],
    )


def _replace_rows(connection: Connection, sql: LineSql, *, are_few: bool) -> None:
    """Put the rows of new and changed lines into their tables."""
    sheet = sql.sheet
    changed = "SELECT entry_id FROM apart WHERE standing = 'changed'"
    if connection.execute(f"{changed} LIMIT 1").fetchall():
        for table in OF_A_LINE:
            connection.execute(f"DELETE FROM {table} WHERE entry_id IN ({changed})")
    script = _script(f"load/{sheet.name}.sql")
    of_records = {name for _, rule in rules_of_records(sheet) for name in rule.columns}
    if are_few:
        _accept_typed(connection, sql, columns_named(sheet, script) | of_records)
        connection.execute(f"CREATE OR REPLACE TEMP TABLE accepted_{sheet.name} AS FROM accepted")
        connection.execute(f"CREATE OR REPLACE TEMP VIEW accepted AS FROM accepted_{sheet.name}")
        connection.execute(script)
    else:
        # Each statement reads the columns of its own alone; a table of all would be a second sheet.
        for statement in script.rstrip().removesuffix(";").split(";\n"):
            _accept_typed(connection, sql, columns_named(sheet, statement))
            connection.execute(statement)
        if of_records:
            _accept_typed(connection, sql, of_records)
    if of_records:
        # The cells are read again for every sheet; these are asked about after the last one.
        connection.execute(f"CREATE OR REPLACE TEMP TABLE asked_{sheet.name} AS FROM accepted")
    connection.execute(f"DROP TABLE staged_{sheet.name}")


def _accept_typed(connection: Connection, sql: LineSql, names: Collection[str]) -> None:
    """Make the view of accepted lines, with the cells of some columns as they are read."""
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP VIEW typed AS {sql.typed_lines(names)};
        CREATE OR REPLACE TEMP VIEW accepted AS FROM numbered('typed') WHERE state = 'current';
        """
    )


def _ask_records(connection: Connection, sheet: Sheet) -> None:
    """Ask of the accepted lines of a sheet what only the whole records can tell."""
    rules = rules_of_records(sheet)
    if not rules:
        return
    _list_rules(connection, sheet, rules)
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE raised AS
        SELECT found.line_id, 'current' AS state, rule_row.*, found.cell
        FROM ({found_in_records(sheet, rules)}) AS found
        JOIN rule_row USING (rule_no);
        """
        + _script("findings.sql")
    )


def _n_made(connection: Connection, sheet: Sheet, severity: Severity, counted: str) -> int:
    """Count what this load found of a severity about lines of a sheet: findings, or lines."""
    ((n_made,),) = connection.execute(
        f"""
        SELECT count({counted})
        FROM finding
        JOIN made USING (finding_id)
        JOIN line USING (line_id)
        WHERE finding.severity = ? AND line.sheet = ?
        """,
        [severity, sheet.name],
    ).fetchall()
    return int(n_made)


def _write_load(
    connection: Connection, load_id: int, today: date, day_order: DayOrder | None
) -> None:
    """Write down the load, unless it brought no line."""
    connection.execute(
        "INSERT INTO load SELECT ?, ?, ?, ? WHERE EXISTS (FROM source_file WHERE load_id = ?)",
        [load_id, datetime.now().replace(microsecond=0), today, day_order, load_id],
    )
