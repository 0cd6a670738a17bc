"""How staged sheets become records: apply the rules, accept what is sound, write its rows.

Everything is done by the database on whole sheets; Python only puts the statements together from
the columns and rules of a sheet. They run on a connection that
:mod:`studcurve.pipelines.records.database.store` opens.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal

from studcurve.analytics.sentences import kept_values
from studcurve.pipelines.records.database.schema import OF_A_LINE, SQL
from studcurve.pipelines.records.reading.files import SheetText
from studcurve.pipelines.records.reading.staging import Connection, by_sheet, present_columns
from studcurve.pipelines.records.sheets.cell_rules import rules_of
from studcurve.pipelines.records.sheets.columns import ANSWER_NAME, Column, Sheet
from studcurve.pipelines.records.sheets.rules import Rule, Severity, columns_named
from studcurve.reports.words import Words

DayOrder = Literal["day-first", "month-first"]
"""Which comes first in a date such as 03/04/2024."""

FEW_LINES = 10_000
"""Lines of a sheet below which a statement costs by its parts, not by its lines."""

AT_LOADING = Words("en")
"""In whose words the records file itself keeps what was found, for whoever opens it."""

_NO_ANSWERS = """
CREATE OR REPLACE TEMP TABLE answering (n BIGINT, line_id BIGINT, digest VARCHAR);
"""
"""What answers.sql leaves where no line is given as a correction."""


@dataclass(frozen=True, slots=True)
class _Kind:
    """How the cells of a kind are read: once for each distinct text, then looked up.

    Attributes
    ----------
    table
        Temporary table with the reading of each text.
    value
        Its column that holds the reading.
    sql_type
        Type of the reading.
    """

    table: str
    value: str
    sql_type: str


READ_AS: Mapping[str, _Kind] = {
    "dog": _Kind("dog_name", "dog_id", "BIGINT"),
    "day": _Kind("day_of", "day", "DATE"),
    "clock": _Kind("clock_of", "clock", "TIME"),
    "count": _Kind("number_of", "number", "DOUBLE"),
    "number": _Kind("number_of", "number", "DOUBLE"),
    "reading": _Kind("number_of", "reading", "reading"),
    "by eye": _Kind("number_of", "reading", "reading"),
    "printed": _Kind("number_of", "reading", "reading"),
    "choice": _Kind("word_of", "word", "VARCHAR"),
}
"""Kinds whose cells are looked up; free text is taken as it is."""

OF_A_DOG = {
    "id": ("dog_id", "BIGINT"), "matches": ("n_dogs", "BIGINT"), "sex": ("sex", "VARCHAR"),
    "born_on": ("born_on", "DATE"), "died_on": ("died_on", "DATE"),
    "is_refused": ("is_refused", "BOOLEAN"),
}  # fmt: skip
"""What is known of a dog that a cell names, by the ending of its column, and the type."""


@dataclass(frozen=True, slots=True)
class SheetCount:
    """What a load did with the lines of one sheet; questions are counted one by one."""

    n_new: int = 0
    n_unchanged: int = 0
    n_changed: int = 0
    n_refused: int = 0
    n_doubtful: int = 0
    n_questions: int = 0


def load_sheets(
    connection: Connection,
    texts: Sequence[SheetText],
    *,
    load_id: int,
    today: date,
    day_order: DayOrder | None,
) -> dict[str, SheetCount]:
    """Bring the staged sheets into the tables; to be called within one transaction.

    Returns
    -------
    dict
        What was done, by sheet. The temporary table ``touched`` holds the findings it is about.
    """
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP MACRO load_day() AS DATE '{today.isoformat()}';
        CREATE OR REPLACE TEMP MACRO this_load() AS {load_id};
        CREATE OR REPLACE TEMP TABLE touched (finding_id BIGINT);
        CREATE OR REPLACE TEMP TABLE made (finding_id BIGINT);
        """
    )
    loads = [_SheetLoad(connection, sheet, given, day_order) for sheet, given in by_sheet(texts)]
    counts = {load.sheet.name: SheetCount() for load in loads}
    loads = [load for load in loads if not load.is_silent()]
    for load in loads:
        counts[load.sheet.name] = load.accept()
    for load in loads:
        load.ask_of_records()
        counts[load.sheet.name] = replace(
            counts[load.sheet.name],
            n_doubtful=load.n_made("doubtful", "DISTINCT line.line_id"),
            n_questions=load.n_made("question", "*"),
        )
    return counts


def _script(name: str) -> str:
    return (SQL / name).read_text(encoding="utf-8")


@dataclass(frozen=True, slots=True)
class _SheetLoad:
    """The statements that bring one staged sheet into the tables."""

    connection: Connection
    sheet: Sheet
    texts: Sequence[SheetText]
    day_order: DayOrder | None
    filled: list[Column] = field(default_factory=list)
    """Columns that at least one line fills, and those that every line must fill."""
    as_spelled: set[str] = field(default_factory=set)
    """Columns of words whose cells are all spelled as the sheet spells them."""

    def is_silent(self) -> bool:
        """Whether nothing can come of the sheet: no line is on it, and none waits that was refused.

        A refused line that is gone from its sheet is settled, so an empty one may say something.
        """
        if any(text.n_records for text in self.texts):
            return False
        ((n_refused,),) = self.connection.execute(
            "SELECT count(*) FROM line WHERE sheet = ? AND state = 'refused'", [self.sheet.name]
        ).fetchall()
        return not n_refused

    def accept(self) -> SheetCount:
        """Apply the rules, tell new lines from old ones, and write what is sound."""
        n_settled = self._prepare()
        self._find()
        is_answer = any(ANSWER_NAME in text.names for text in self.texts)
        self.connection.execute(_script("answers.sql") if is_answer else _NO_ANSWERS)
        self.connection.execute(_script("accept.sql"))
        if is_answer:
            self.connection.execute(_script("answered.sql"))
        self._leave_out("SELECT n FROM apart WHERE standing NOT IN ('changed', 'refused')")
        self.connection.execute(_script("write.sql") + _script("findings.sql"))
        self._replace_rows()
        ((n_new, n_unchanged, n_changed, n_refused),) = self.connection.execute(
            "FROM outcome"
        ).fetchall()
        return SheetCount(
            n_new=n_new,
            n_unchanged=n_unchanged + n_settled,
            n_changed=n_changed,
            n_refused=n_refused,
        )

    def ask_of_records(self) -> None:
        """Ask of accepted lines what only the whole records can tell."""
        rules = self._records_rules()
        if not rules:
            return
        self._list_rules(rules)
        asked = "\nUNION ALL\n".join(
            f"SELECT line_id, {number} AS rule_no, {rule.column}__text AS cell "
            f"FROM asked_{self.sheet.name} AS typed WHERE {rule.condition}"
            for number, rule in rules
        )
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP TABLE raised AS
            SELECT asked.line_id, 'current' AS state, rule_row.*, asked.cell
            FROM ({asked}) AS asked
            JOIN rule_row USING (rule_no);
            """
            + _script("findings.sql")
        )

    def n_made(self, severity: Severity, counted: str) -> int:
        """Count what this load found of a severity about lines of the sheet: findings, or lines."""
        ((n_made,),) = self.connection.execute(
            f"""
            SELECT count({counted})
            FROM finding
            JOIN made USING (finding_id)
            JOIN line USING (line_id)
            WHERE finding.severity = ? AND line.sheet = ?
            """,
            [severity, self.sheet.name],
        ).fetchall()
        return int(n_made)

    def _records_rules(self) -> list[tuple[int, Rule]]:
        numbered = enumerate(rules_of(self.sheet), 1)
        return [(number, rule) for number, rule in numbered if rule.scope == "records"]

    def _prepare(self) -> int:
        """Make the relations that the rules and accept.sql read.

        Returns
        -------
        int
            Lines left out because the owner has settled them: withdrawn, or corrected by another.
        """
        sheet = self.sheet
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP MACRO this_sheet() AS '{sheet.name}';
            CREATE OR REPLACE TEMP MACRO without_day(cells) AS list_filter(
                from_json(cells, '["VARCHAR"]'),
                lambda cell, place: place <> {sheet.names.index(sheet.day) + 1 if sheet.day else 0}
            );
            CREATE OR REPLACE TEMP TABLE staged_file (
                file_no INTEGER, file_id BIGINT, name VARCHAR, sha256 VARCHAR, n_lines BIGINT
            );
            """
            + _script("names.sql")
        )
        for file_no, text in enumerate(self.texts):
            self.connection.execute(
                "INSERT INTO staged_file SELECT ?, (SELECT coalesce(max(file_id), 0) "
                "FROM source_file) + 1 + ?, ?, ?, ?",
                [file_no, file_no, text.name, text.sha256, text.n_records],
            )
        given = present_columns(sheet, self.texts)
        (counts,) = self.connection.execute(
            f"SELECT {', '.join(f'count({column.name})' for column in given)} "
            f"FROM staged_{sheet.name}"
        ).fetchall()
        self.filled.extend(
            column
            for column, n_cells in zip(given, counts, strict=True)
            if n_cells or column.required
        )
        first_rows = self.connection.execute(
            f"SELECT file_no, coalesce(first_n, 0) FROM staged_first WHERE sheet = '{sheet.name}'"
        ).fetchall()
        first = "".join(f" WHEN {file_no} THEN {first_n}" for file_no, first_n in first_rows)
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP VIEW lines AS
            SELECT
                rowid AS n, file_no, surplus, {ANSWER_NAME},
                {", ".join(f"{cell} AS {name}" for name, cell in self._cells.items())},
                CAST(coalesce(line, rowid + 2 - CASE file_no{first} END) AS INTEGER) AS line,
                {self._listed_cells()} AS cells
            FROM staged_{sheet.name};

            -- The cells of a few lines, without listing those of all the others first.
            CREATE OR REPLACE TEMP MACRO cells_of(wanted) AS TABLE
            WITH few AS MATERIALIZED (
                SELECT rowid AS n, staged_{sheet.name}.*
                FROM staged_{sheet.name}
                WHERE rowid IN (SELECT n FROM query_table(wanted))
            )
            SELECT n, {self._listed_cells()} AS cells FROM few;
            """
        )
        n_settled = self._leave_out(
            f"""
            SELECT n
            FROM lines
            SEMI JOIN (
                SELECT cells
                FROM line
                WHERE sheet = '{sheet.name}' AND (state = 'withdrawn' OR settled_by IS NOT NULL)
            ) AS settled USING (cells)
            """
        )
        self._read_cells()
        about = [column for column in (sheet.subject, sheet.day, *sheet.marks) if column]
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP VIEW identified AS
            SELECT n, file_no, line, cells, {self._identity()} FROM ({self._typed_lines(about)});
            """
        )
        return n_settled

    def _leave_out(self, query: str) -> int:
        """Take the lines whose n a query gives out of the staged ones; how many they were."""
        self.connection.execute(f"CREATE OR REPLACE TEMP TABLE leaving AS {query}")
        ((n_leaving,),) = self.connection.execute("SELECT count(*) FROM leaving").fetchall()
        if n_leaving:
            self.connection.execute(
                f"DELETE FROM staged_{self.sheet.name} WHERE rowid IN (FROM leaving)"
            )
        return int(n_leaving)

    @property
    def _looked_up(self) -> list[Column]:
        """Columns whose cells are read once for each distinct text."""
        return [column for column in self.filled if column.kind in READ_AS]

    @property
    def _cells(self) -> dict[str, str]:
        """SQL for the text of each column's cell, by column."""
        present = self.filled
        return {
            column.name: column.name if column in present else "CAST(NULL AS VARCHAR)"
            for column in self.sheet.columns
        }

    def _listed_cells(self) -> str:
        """SQL for the list of a line's cells, without the blank ones at its end.

        So a column added later changes no older line. A line with surplus cells ends with the list
        of them.
        """
        cells = list(self._cells.values())
        names = self.sheet.names
        whens = [f"WHEN surplus IS NOT NULL THEN json_array({', '.join(cells)}, surplus)"]
        for column in reversed(self.filled):
            upto = ", ".join(cells[: names.index(column.name) + 1])
            whens.append(f"WHEN {column.name} IS NOT NULL THEN json_array({upto})")
        return f"CAST(CASE {' '.join(whens)} ELSE json_array() END AS VARCHAR)"

    def _read_cells(self) -> None:
        """Read every distinct text of the columns that are looked up."""
        names = [column.name for column in self._looked_up]
        # One pass over all columns costs more by line, a pass for each of them more by statement.
        if sum(text.n_records for text in self.texts) < FEW_LINES:
            cells = ", ".join(names)
            texts = f"SELECT DISTINCT unnest({names}) AS name, unnest([{cells}]) AS cell FROM lines"
        else:
            texts = "\nUNION ALL\n".join(
                f"SELECT '{name}' AS name, cell FROM (SELECT DISTINCT {name} AS cell FROM lines)"
                for name in names
            )
        order = f"'{self.day_order}'" if self.day_order else "NULL"
        words = "\nUNION ALL\n".join(
            # The word as the column spells it, so that NG/ML is kept as ng/mL.
            f"SELECT '{column.name}', '{word.lower()}', '{word}'"
            for column in self._looked_up
            for word in column.choices
        )
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP TABLE text_of AS {texts};

            CREATE OR REPLACE TEMP TABLE day_of AS
            SELECT cell, parse_day(cell, {order}) AS day FROM ({self._distinct("day")});

            CREATE OR REPLACE TEMP TABLE clock_of AS
            SELECT cell, parse_clock(cell) AS clock FROM ({self._distinct("clock")});

            CREATE OR REPLACE TEMP TABLE number_of AS
            SELECT cell, number, without_plain_text(reading) AS reading,
                without_plain_text(by_eye) AS by_eye
            FROM (
                SELECT *, judged_by_eye(reading) AS by_eye
                FROM (
                    SELECT cell, parse_number(cell) AS number, parse_reading(cell) AS reading
                    FROM ({self._distinct("count", "number", "reading", "by eye", "printed")})
                )
            );

            CREATE OR REPLACE TEMP MACRO has_decimal_comma() AS (
                SELECT count(*) > 0 FROM number_of WHERE regexp_matches(cell, '[0-9],[0-9]')
            );

            CREATE OR REPLACE TEMP TABLE word_of (name VARCHAR, cell VARCHAR, word VARCHAR);
            """
            + (f"INSERT INTO word_of {words}" if words else "")
        )
        spelled = self.connection.execute(
            """
            SELECT text_of.name
            FROM text_of
            LEFT JOIN word_of ON word_of.name = text_of.name AND word_of.word = text_of.cell
            GROUP BY text_of.name
            HAVING count(text_of.cell) = count(word_of.word)
            """
        ).fetchall()
        choices = {column.name for column in self._looked_up if column.choices}
        self.as_spelled.update(name for (name,) in spelled if name in choices)

    def _distinct(self, *kinds: str) -> str:
        """SQL for the distinct texts in the columns of some kinds."""
        names = ", ".join(f"'{column.name}'" for column in self.filled if column.kind in kinds)
        condition = f"name IN ({names}) AND cell IS NOT NULL" if names else "FALSE"
        return f"SELECT DISTINCT cell FROM text_of WHERE {condition}"

    def _typed_lines(self, names: Collection[str]) -> str:
        """SQL for the lines with the cells of some columns as they are read.

        Only of some: the engine does not leave out a join of whose columns a query reads none.
        """
        columns = [column for column in self.sheet.columns if column.name in names]
        cells = [part for column in columns for part in self._typed_in_line(column)]
        lookups = "".join(
            _lookup(column)
            for column in columns
            if column in self._looked_up and column.name not in self.as_spelled
        )
        return (
            f"SELECT cell.n, cell.file_no, cell.line, cell.surplus, cell.cells, {', '.join(cells)} "
            f"FROM lines AS cell{lookups}"
        )

    def _typed(self, column: Column) -> list[str]:
        """SQL for a cell of the relation ``cell`` as it is read, with its text beside it."""
        name, text = column.name, f"cell.{column.name}"
        if column.kind not in READ_AS:
            return [f"{text} AS {name}__text", f"{text} AS {name}"]
        is_here = column in self.filled
        if column.kind == "dog":
            known = {
                end: f"of_{name}.{value}" if is_here else f"CAST(NULL AS {sql_type})"
                for end, (value, sql_type) in OF_A_DOG.items()
            }
            known["matches"] = f"coalesce({known['matches']}, 0)"
            return [
                f"{text} AS {name}__text",
                f"{text} AS {name}",
                *(f"{value} AS {name}_{end}" for end, value in known.items()),
            ]
        kind = READ_AS[column.kind]
        value = f"of_{name}.{kind.value}" if is_here else f"CAST(NULL AS {kind.sql_type})"
        if name in self.as_spelled:
            value = text
        if column.kind == "printed":
            value = (
                f"CASE WHEN {text} IS NOT NULL "
                f"THEN coalesce({value}, make_reading('word', NULL, NULL, {text})) END"
            )
        return [f"{text} AS {name}__text", f"{value} AS {name}"]

    def _typed_in_line(self, column: Column) -> list[str]:
        """SQL as :meth:`_typed`; a motility is read by how its line says that it was judged."""
        if column.kind != "by eye" or column not in self.filled:
            return self._typed(column)
        method, n_evaluated = (
            f"cell.{of}" if of in self.sheet.names else "NULL"
            for of in ("motility_method", "n_motility_evaluated")
        )
        text, _ = self._typed(column)
        read = f"of_{column.name}"
        return [
            text,
            f"CASE WHEN parse_method({method}, {n_evaluated}) = 'by eye' THEN {read}.by_eye "
            f"ELSE {read}.reading END AS {column.name}",
        ]

    def _identity(self) -> str:
        """SQL for subject, day and mark."""
        sheet = self.sheet

        def comparable(column: Column) -> str:
            if column.kind == "dog":
                return f"coalesce(CAST({column.name}_id AS VARCHAR), lower({column.name}))"
            return f"lower(CAST({column.name} AS VARCHAR))"

        marks = [f"coalesce({comparable(sheet.column(mark))}, '')" for mark in sheet.marks]
        return (
            f"{comparable(sheet.column(sheet.subject))} AS subject, "
            f"{sheet.day or 'CAST(NULL AS DATE)'} AS day, "
            f"""{" || '|' || ".join(marks) or "''"} AS mark"""
        )

    def _find(self) -> None:
        """Apply the rules to the lines as they were read."""
        rules = list(enumerate(rules_of(self.sheet), 1))
        self._list_rules(rules)
        present = {column.name for column in self.filled}
        asked = [
            (number, rule)
            for number, rule in rules
            if rule.scope == "line" and (present & set(rule.columns) or "surplus" in rule.condition)
        ]
        of_cells = [
            (number, rule, column)
            for number, rule in asked
            for column in self._looked_up
            if rule.columns == (column.name,) and "surplus" not in rule.condition
        ]
        told = {number for number, _, _ in of_cells}
        of_lines = [(number, rule) for number, rule in asked if number not in told]
        looking = [(number, rule) for number, rule in of_lines if "SELECT" in rule.condition]
        plain = [(number, rule) for number, rule in of_lines if "SELECT" not in rule.condition]
        branches = [
            *(
                f"SELECT n, {_broken(its)} AS rule_no "
                f"FROM ({self._typed_lines(_columns(its))}) AS typed WHERE {_any_of(its)}"
                for its in (plain, *([rule] for rule in looking))
                if its
            ),
            *self._lines_of_bad_cells(of_cells),
        ]
        self.connection.execute(
            f"CREATE OR REPLACE TEMP TABLE found AS {' UNION ALL '.join(branches)}"
        )

    def _lines_of_bad_cells(self, rules: Sequence[tuple[int, Rule, Column]]) -> list[str]:
        """Apply rules about one cell to each distinct text; SQL for the lines with bad ones."""
        asked = []
        for column in self._looked_up:
            its = [(number, rule) for number, rule, of in rules if of == column]
            if its:
                asked.append(
                    f"""
                    SELECT '{column.name}' AS name, {column.name}__text AS cell,
                        {_broken(its)} AS rule_no
                    FROM (
                        SELECT {", ".join(self._typed(column))}
                        FROM (
                            SELECT cell AS {column.name} FROM text_of WHERE name = '{column.name}'
                        ) AS cell{_lookup(column)}
                    )
                    WHERE {_any_of(its)}
                    """
                )
        self.connection.execute(
            f"CREATE OR REPLACE TEMP TABLE bad_cell AS {' UNION ALL '.join(asked)}"
        )
        names = self.connection.execute("SELECT DISTINCT name FROM bad_cell").fetchall()
        return [
            f"""
            SELECT lines.n, bad_cell.rule_no
            FROM lines
            JOIN bad_cell
                ON bad_cell.name = '{name}' AND bad_cell.cell IS NOT DISTINCT FROM lines.{name}
            """
            for (name,) in sorted(names)
        ]

    def _list_rules(self, rules: Sequence[tuple[int, Rule]]) -> None:
        """Put what the findings say into the temporary table rule_row."""
        rows = []
        for number, rule in rules:
            position = self.sheet.names.index(rule.column) + 1
            heading = self.sheet.column(rule.column).heading
            told = (AT_LOADING.tell(rule.wanted), AT_LOADING.tell(rule.remedy))
            values = kept_values(rule.values)
            rows.append((number, rule.severity, rule.name, position, heading, *told, values))
        self.connection.execute(
            """
            CREATE OR REPLACE TEMP TABLE rule_row AS
            SELECT
                unnest(?) AS rule_no, unnest(?) AS severity, unnest(?) AS name,
                CAST(unnest(?) AS INTEGER) AS position, unnest(?) AS column_heading,
                unnest(?) AS wanted, unnest(?) AS remedy, unnest(?) AS rule_values
            """,
            [list(column) for column in zip(*rows, strict=True)],
        )

    def _replace_rows(self) -> None:
        """Put the rows of new and changed lines into their tables."""
        sheet = self.sheet
        changed = "SELECT entry_id FROM apart WHERE standing = 'changed'"
        if self.connection.execute(f"{changed} LIMIT 1").fetchall():
            for table in OF_A_LINE:
                self.connection.execute(f"DELETE FROM {table} WHERE entry_id IN ({changed})")
        for statement in _script(f"load/{sheet.name}.sql").rstrip().removesuffix(";").split(";\n"):
            self._accept_typed(columns_named(sheet, statement))
            self.connection.execute(statement)
        asked = {name for _, rule in self._records_rules() for name in rule.columns}
        if asked:
            # The cells are read again for every sheet; these are asked about after the last one.
            self._accept_typed(asked)
            self.connection.execute(
                f"CREATE OR REPLACE TEMP TABLE asked_{sheet.name} AS FROM accepted"
            )
        self.connection.execute(f"DROP TABLE staged_{sheet.name}")

    def _accept_typed(self, names: Collection[str]) -> None:
        """Make the view of accepted lines, with the cells of some columns as they are read."""
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP VIEW typed AS {self._typed_lines(names)};
            CREATE OR REPLACE TEMP VIEW accepted AS FROM numbered('typed') WHERE state = 'current';
            """
        )


def _lookup(column: Column) -> str:
    """SQL that finds how the cells of a column were read."""
    of, table = f"of_{column.name}", READ_AS[column.kind].table
    if column.kind == "dog":
        return f" LEFT JOIN {table} AS {of} ON {of}.cell = lower(cell.{column.name})"
    if column.kind == "choice":
        return (
            f" LEFT JOIN {table} AS {of} ON {of}.name = '{column.name}' "
            f"AND {of}.cell = lower(cell.{column.name})"
        )
    return f" LEFT JOIN {table} AS {of} ON {of}.cell = cell.{column.name}"


def _columns(rules: Sequence[tuple[int, Rule]]) -> set[str]:
    return {name for _, rule in rules for name in rule.columns}


def _broken(rules: Sequence[tuple[int, Rule]]) -> str:
    """SQL for the numbers of the rules that a line breaks, a row each."""
    cases = ", ".join(f"CASE WHEN {rule.condition} THEN {number} END" for number, rule in rules)
    return f"unnest(list_filter([{cases}], lambda no: no IS NOT NULL))"


def _any_of(rules: Sequence[tuple[int, Rule]]) -> str:
    """SQL that is true of a line that breaks one of the rules."""
    return " OR ".join(f"({rule.condition})" for _, rule in rules)
