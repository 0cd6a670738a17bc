"""How staged sheets become records: apply the rules, accept what is sound, write its rows.

Everything is done by the database on whole sheets; Python only puts the statements together from
the columns and rules of a sheet. They run on a connection that :mod:`pipelines.store` opens.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from pipelines.cell_rules import rules_of
from pipelines.files import SheetText
from pipelines.rules import Rule
from pipelines.schema import OF_A_LINE, SQL
from pipelines.sheets import ANSWER_NAME, Column, Sheet
from pipelines.staging import Connection, by_sheet

DayOrder = Literal["day-first", "month-first"]
"""Which comes first in a date such as 03/04/2024."""


_NO_ANSWERS = """
CREATE OR REPLACE TEMP TABLE answering (n BIGINT, line_id BIGINT, digest VARCHAR);
"""
"""What answers.sql leaves where no line is given as a correction."""

READ_AS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "dog": ("dog_name", ("dog_id", "n_dogs", "sex", "born_on")),
    "day": ("day_of", ("day",)),
    "clock": ("clock_of", ("clock",)),
    "count": ("number_of", ("number",)),
    "number": ("number_of", ("number",)),
    "reading": ("number_of", ("reading",)),
    "by eye": ("number_of", ("reading",)),
    "printed": ("number_of", ("reading",)),
}
"""Temporary table that says how the cells of a kind are read, and what it gives."""


@dataclass(frozen=True, slots=True)
class SheetCount:
    """What a load did with the lines of one sheet."""

    n_new: int = 0
    n_unchanged: int = 0
    n_changed: int = 0
    n_refused: int = 0
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
        """
    )
    loads = [_SheetLoad(connection, sheet, given, day_order) for sheet, given in by_sheet(texts)]
    counts = {load.sheet.name: load.accept() for load in loads}
    for load in loads:
        count = counts[load.sheet.name]
        n_questions = count.n_questions + load.ask_of_records()
        counts[load.sheet.name] = replace(count, n_questions=n_questions)
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

    def accept(self) -> SheetCount:
        """Apply the rules, tell new lines from old ones, and write what is sound."""
        n_settled = self._prepare()
        self._find()
        is_answer = any(ANSWER_NAME in text.names for text in self.texts)
        answers = _script("answers.sql") if is_answer else _NO_ANSWERS
        self.connection.execute(answers + _script("accept.sql"))
        if is_answer:
            self.connection.execute(_script("answered.sql"))
        self.connection.execute(_script("findings.sql"))
        self._replace_rows()
        (count,) = self.connection.execute("FROM outcome").fetchall()
        counted = SheetCount(*count)
        return replace(counted, n_unchanged=counted.n_unchanged + n_settled)

    def ask_of_records(self) -> int:
        """Ask of accepted lines what only the whole records can tell; number of questions."""
        rules = self._records_rules()
        if not rules:
            return 0
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
        ((n_asked,),) = self.connection.execute("SELECT count(*) FROM raised").fetchall()
        return int(n_asked)

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
        sheet, cells = self.sheet, ", ".join(self.sheet.names)
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP MACRO this_sheet() AS '{sheet.name}';
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
        first_rows = self.connection.execute(
            f"SELECT file_no, coalesce(first_n, 0) FROM staged_first WHERE sheet = '{sheet.name}'"
        ).fetchall()
        first = "".join(f" WHEN {file_no} THEN {first_n}" for file_no, first_n in first_rows)
        named = [sheet.subject, sheet.day, *sheet.marks]
        identifying = [c for c in sheet.columns if c.name in named or c.kind == "dog"]
        order = f"'{self.day_order}'" if self.day_order else "NULL"
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP VIEW lines_{sheet.name} AS
            SELECT
                rowid AS n, file_no, surplus, {ANSWER_NAME}, {cells},
                CAST(coalesce(line, rowid + 2 - CASE file_no{first} END) AS INTEGER) AS line
            FROM staged_{sheet.name};
            CREATE OR REPLACE TEMP VIEW lines AS FROM lines_{sheet.name};

            -- The cells in a list without the blank ones at its end, so that a column added later
            -- changes no older line; a line with surplus cells ends with the list of them.
            CREATE OR REPLACE TEMP VIEW verbatim AS
            SELECT n, CAST(CASE {self._listed_cells()} ELSE to_json([]) END AS VARCHAR) AS cells
            FROM lines;
            """
        )
        n_settled = self._leave_out_settled()
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP TABLE day_of AS
            SELECT cell, parse_day(cell, {order}) AS day FROM ({self._distinct("day")});
            CREATE OR REPLACE TEMP TABLE clock_of AS
            SELECT cell, parse_clock(cell) AS clock FROM ({self._distinct("clock")});
            CREATE OR REPLACE TEMP TABLE number_of AS
            SELECT cell, parse_number(cell) AS number, parse_reading(cell) AS reading
            FROM ({self._distinct("count", "number", "reading", "by eye", "printed")});

            CREATE OR REPLACE TEMP TABLE identified AS
            SELECT n, {self._identity()}
            FROM (
                SELECT {", ".join(["n", *self._typed(identifying)])}
                FROM lines AS cell{_joins(identifying)}
            );
            """
        )
        return n_settled

    def _listed_cells(self) -> str:
        """SQL for the list of a line's cells: up to its last filled one, whichever that is."""
        names = self.sheet.names
        present = {name for text in self.texts for name in text.names if name}
        upto = [
            f"WHEN {name} IS NOT NULL THEN to_json([{', '.join(names[:place])}])"
            for place, name in enumerate(names, 1)
            if name in present
        ]
        whole = f"WHEN surplus IS NOT NULL THEN to_json([{', '.join(names)}, surplus])"
        return " ".join([whole, *reversed(upto)])

    def _leave_out_settled(self) -> int:
        """Take out lines that the owner has withdrawn or corrected elsewhere, word for word."""
        settled = (
            f"FROM line WHERE sheet = '{self.sheet.name}' "
            "AND (state = 'withdrawn' OR settled_by IS NOT NULL)"
        )
        if not self.connection.execute(f"SELECT 1 {settled} LIMIT 1").fetchall():
            return 0
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP TABLE settled_before AS
            SELECT n FROM verbatim WHERE cells IN (SELECT cells {settled});
            DELETE FROM staged_{self.sheet.name} WHERE rowid IN (FROM settled_before);
            """
        )
        ((n_settled,),) = self.connection.execute("SELECT count(*) FROM settled_before").fetchall()
        return int(n_settled)

    def _distinct(self, *kinds: str) -> str:
        """SQL for the distinct texts in the columns of some kinds."""
        cells = [
            f"SELECT DISTINCT {column.name} AS cell FROM lines WHERE {column.name} IS NOT NULL"
            for column in self.sheet.columns
            if column.kind in kinds
        ]
        return " UNION ".join(cells) or "SELECT CAST(NULL AS VARCHAR) AS cell WHERE FALSE"

    def _identity(self) -> str:
        """SQL for subject, day and mark, and for the dogs that a line refers to."""
        sheet = self.sheet

        def comparable(column: Column) -> str:
            if column.kind == "dog":
                return f"coalesce(CAST({column.name}_id AS VARCHAR), lower({column.name}))"
            return f"lower(CAST({column.name} AS VARCHAR))"

        marks = [f"coalesce({comparable(sheet.column(mark))}, '')" for mark in sheet.marks]
        parts = [
            f"{comparable(sheet.column(sheet.subject))} AS subject",
            f"{sheet.day or 'CAST(NULL AS DATE)'} AS day",
            f"""{" || '|' || ".join(marks) or "''"} AS mark""",
            *(f"{column.name}_id" for column in sheet.columns if column.kind == "dog"),
        ]
        return ", ".join(parts)

    def _find(self) -> None:
        """Apply the rules to the staged lines, each to the distinct cells that it reads."""
        rules = list(enumerate(rules_of(self.sheet), 1))
        self._list_rules(rules)
        present = {name for text in self.texts for name in text.names if name} | {"surplus"}
        groups: dict[tuple[str, ...], list[tuple[int, Rule]]] = {}
        for number, rule in rules:
            reads = (*rule.columns, *(("surplus",) if "surplus" in rule.condition else ()))
            if rule.scope == "line" and present & set(reads):
                groups.setdefault(reads, []).append((number, rule))
        branches = [self._branch(reads, group) for reads, group in groups.items()]
        self.connection.execute(
            f"CREATE OR REPLACE TEMP TABLE found AS {' UNION ALL '.join(branches)}"
        )

    def _list_rules(self, rules: Sequence[tuple[int, Rule]]) -> None:
        """Put what the findings say into the temporary table rule_row."""
        rows = []
        for number, rule in rules:
            position = self.sheet.names.index(rule.column) + 1
            heading = self.sheet.column(rule.column).heading
            rows.append(
                (number, rule.severity, rule.name, position, heading, rule.wanted, rule.remedy)
            )
        self.connection.execute(
            """
            CREATE OR REPLACE TEMP TABLE rule_row AS
            SELECT
                unnest(?) AS rule_no, unnest(?) AS severity, unnest(?) AS name,
                CAST(unnest(?) AS INTEGER) AS position, unnest(?) AS column_heading,
                unnest(?) AS wanted, unnest(?) AS remedy
            """,
            [list(column) for column in zip(*rows, strict=True)],
        )

    def _branch(self, reads: Sequence[str], group: Iterable[tuple[int, Rule]]) -> str:
        """SQL that finds the lines which break one of the rules that read the same cells."""
        columns = [column for column in self.sheet.columns if column.name in reads]
        needed = list(dict.fromkeys([*reads, *self._decides_reading(columns)]))
        cases = ", ".join(f"CASE WHEN {rule.condition} THEN {no} END" for no, rule in group)
        same = " AND ".join(
            f"cell.{name} IS NOT DISTINCT FROM broken.{name}__cell" for name in needed
        )
        texts = [f"cell.{name} AS {name}__cell" for name in needed]
        surplus = ["cell.surplus"] if "surplus" in reads else []
        return f"""
            SELECT cell.n, unnest(broken.rule_nos) AS rule_no
            FROM lines AS cell
            JOIN (
                SELECT *
                FROM (
                    SELECT *, list_filter([{cases}], lambda no: no IS NOT NULL) AS rule_nos
                    FROM (
                        SELECT {", ".join([*texts, *surplus, *self._typed(columns)])}
                        FROM (SELECT DISTINCT {", ".join(needed)} FROM lines) AS cell
                        {_joins(columns)}
                    ) AS typed
                )
                WHERE len(rule_nos) > 0
            ) AS broken ON {same}
        """

    def _decides_reading(self, columns: Iterable[Column]) -> list[str]:
        """Columns that say how the given ones are to be read."""
        if not any(column.kind == "by eye" for column in columns):
            return []
        return [n for n in ("motility_method", "n_motility_judged") if n in self.sheet.names]

    def _typed(self, columns: Iterable[Column]) -> list[str]:
        """SQL for cells of the relation ``cell`` as they were read, with the text beside them."""
        parts: list[str] = []
        for column in columns:
            name = column.name
            parts += [f"{self._value(column)} AS {name}", f"cell.{name} AS {name}__text"]
            if column.kind == "dog":
                parts += [
                    f"of_{name}.dog_id AS {name}_id",
                    f"coalesce(of_{name}.n_dogs, 0) AS {name}_matches",
                    f"of_{name}.sex AS {name}_sex",
                    f"of_{name}.born_on AS {name}_born_on",
                ]
        return parts

    def _value(self, column: Column) -> str:
        name = column.name
        match column.kind:
            case "day":
                return f"of_{name}.day"
            case "clock":
                return f"of_{name}.clock"
            case "count" | "number":
                return f"of_{name}.number"
            case "reading":
                return f"of_{name}.reading"
            case "by eye":
                method = "'by eye'"
                if self._decides_reading([column]):
                    method = "parse_method(cell.motility_method, cell.n_motility_judged)"
                return f"judged(of_{name}.reading, {method})"
            case "printed":
                return (
                    f"CASE WHEN cell.{name} IS NOT NULL THEN coalesce(of_{name}.reading, "
                    f"make_reading('word', NULL, NULL, cell.{name})) END"
                )
            case "choice":
                # The word as the column spells it, so that NG/ML is kept as ng/mL.
                cases = " ".join(f"WHEN '{word.lower()}' THEN '{word}'" for word in column.choices)
                return f"CASE lower(cell.{name}) {cases} END"
            case _:
                return f"cell.{name}"

    def _replace_rows(self) -> None:
        """Put the rows of new and changed lines into their tables."""
        sheet = self.sheet
        dogs = [f"identified.{c.name}_id" for c in sheet.columns if c.kind == "dog"]
        plain = [replace(c, kind="text") if c.kind == "dog" else c for c in sheet.columns]
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP TABLE admitted_{sheet.name} AS
            SELECT {", ".join(["numbered.n", "numbered.line_id", "numbered.entry_id", *dogs])}
            FROM numbered
            JOIN identified USING (n)
            WHERE numbered.state = 'current';

            CREATE OR REPLACE TEMP VIEW accepted AS
            SELECT {", ".join(["admitted.*", *self._typed(plain)])}
            FROM admitted_{sheet.name} AS admitted
            JOIN lines_{sheet.name} AS cell USING (n){_joins(plain)};
            """
        )
        changed = "SELECT entry_id FROM standing WHERE standing = 'changed'"
        if self.connection.execute(f"{changed} LIMIT 1").fetchall():
            for table in OF_A_LINE:
                self.connection.execute(f"DELETE FROM {table} WHERE entry_id IN ({changed})")
        self.connection.execute(_script(f"load/{sheet.name}.sql"))
        if self._records_rules():
            # The cells are read again for every sheet; these are asked about after the last one.
            self.connection.execute(
                f"CREATE OR REPLACE TEMP TABLE asked_{sheet.name} AS FROM accepted"
            )


def _joins(columns: Iterable[Column]) -> str:
    """SQL that finds how the cells were read; the engine leaves out joins that nobody asks for.

    It does so only where the right side is grouped by its key.
    """
    joins = []
    for column in columns:
        if column.kind not in READ_AS:
            continue
        table, values = READ_AS[column.kind]
        read = ", ".join(f"any_value({value}) AS {value}" for value in values)
        key = f"lower(cell.{column.name})" if column.kind == "dog" else f"cell.{column.name}"
        joins.append(
            f" LEFT JOIN (SELECT cell, {read} FROM {table} GROUP BY cell) AS of_{column.name}"
            f" ON of_{column.name}.cell = {key}"
        )
    return "".join(joins)
