"""How staged sheets become records: apply the rules, accept what is sound, write its rows.

Everything is done by the database on whole sheets; Python only puts the statements together from
the columns and rules of a sheet. They run on a connection that :mod:`pipelines.store` opens.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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

READ_AS: Mapping[str, tuple[str, str, str]] = {
    "dog": ("dog_name", "dog_id", "BIGINT"),
    "day": ("day_of", "day", "DATE"),
    "clock": ("clock_of", "clock", "TIME"),
    "count": ("number_of", "number", "DOUBLE"),
    "number": ("number_of", "number", "DOUBLE"),
    "reading": ("number_of", "reading", "reading"),
    "by eye": ("number_of", "reading", "reading"),
    "printed": ("number_of", "reading", "reading"),
}
"""Temporary table that says how the cells of a kind are read, its column, and the type."""

OF_A_DOG = {
    "id": ("dog_id", "BIGINT"), "matches": ("n_dogs", "BIGINT"), "sex": ("sex", "VARCHAR"),
    "born_on": ("born_on", "DATE"),
}  # fmt: skip
"""What is known of a dog that a cell names, by the ending of its column, and the type."""


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
        order = f"'{self.day_order}'" if self.day_order else "NULL"
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP VIEW lines AS
            SELECT
                rowid AS n, file_no, surplus, {ANSWER_NAME}, {cells},
                CAST(coalesce(line, rowid + 2 - CASE file_no{first} END) AS INTEGER) AS line
            FROM staged_{sheet.name};

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

            CREATE OR REPLACE TEMP TABLE read_{sheet.name} AS
            SELECT {", ".join(["n", "file_no", "line", "surplus", ANSWER_NAME, *self._read()])}
            FROM lines AS cell{self._joins()};

            CREATE OR REPLACE TEMP VIEW typed_{sheet.name} AS
            SELECT {", ".join(["n", "surplus", *self._typed()])} FROM read_{sheet.name};

            CREATE OR REPLACE TEMP VIEW lines AS
            SELECT n, file_no, line, surplus, {ANSWER_NAME}, {", ".join(self._texts())}
            FROM read_{sheet.name};
            DROP TABLE staged_{sheet.name};

            CREATE OR REPLACE TEMP TABLE identified AS
            SELECT n, {self._identity()} FROM typed_{sheet.name};
            """
        )
        return n_settled

    @property
    def _present(self) -> list[Column]:
        """Columns that at least one of the files has."""
        names = {name for text in self.texts for name in text.names if name}
        return [column for column in self.sheet.columns if column.name in names]

    def _listed_cells(self) -> str:
        """SQL for the list of a line's cells: up to its last filled one, whichever that is."""
        names = self.sheet.names
        upto = [
            f"WHEN {column.name} IS NOT NULL THEN "
            f"to_json([{', '.join(names[: names.index(column.name) + 1])}])"
            for column in self._present
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
            for column in self._present
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
        """Apply the rules to the lines as they were read."""
        rules = list(enumerate(rules_of(self.sheet), 1))
        self._list_rules(rules)
        present = {column.name for column in self._present}
        asked = [
            (number, rule)
            for number, rule in rules
            if rule.scope == "line" and (present & set(rule.columns) or "surplus" in rule.condition)
        ]
        looking = [(number, rule) for number, rule in asked if "SELECT" in rule.condition]
        plain = [(number, rule) for number, rule in asked if "SELECT" not in rule.condition]
        cases = ", ".join(f"CASE WHEN {rule.condition} THEN {no} END" for no, rule in plain)
        broken = " OR ".join(f"({rule.condition})" for _, rule in plain)
        branches = [
            f"SELECT n, unnest(list_filter([{cases}], lambda no: no IS NOT NULL)) AS rule_no "
            f"FROM typed_{self.sheet.name} AS typed WHERE {broken}",
            *(
                f"SELECT n, {number} FROM typed_{self.sheet.name} AS typed WHERE {rule.condition}"
                for number, rule in looking
            ),
        ]
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

    def _read(self) -> list[str]:
        """SQL for the cells of the relation ``cell``: their text, and how it was read."""
        parts: list[str] = []
        for column in self._present:
            name = column.name
            parts.append(f"cell.{name} AS {name}__text")
            if column.kind == "dog":
                parts += [f"of_{name}.{value} AS {name}_{end}" for end, (value, _) in
                          OF_A_DOG.items()]  # fmt: skip
            elif column.kind in READ_AS:
                parts.append(f"{self._value(column)} AS {name}")
        return parts

    def _value(self, column: Column) -> str:
        """SQL for what a cell of the relation ``cell`` says."""
        name = column.name
        value = f"of_{name}.{READ_AS[column.kind][1]}"
        if column.kind == "by eye":
            present = {of.name for of in self._present}
            method, judged = (
                f"cell.{of}" if of in present else "NULL"
                for of in ("motility_method", "n_motility_judged")
            )
            return f"judged({value}, parse_method({method}, {judged}))"
        if column.kind == "printed":
            return (
                f"CASE WHEN cell.{name} IS NOT NULL THEN coalesce({value}, "
                f"make_reading('word', NULL, NULL, cell.{name})) END"
            )
        return value

    def _joins(self) -> str:
        """SQL that finds how each cell was read."""
        return "".join(
            f" LEFT JOIN {READ_AS[column.kind][0]} AS of_{column.name} ON of_{column.name}.cell = "
            + (f"lower(cell.{column.name})" if column.kind == "dog" else f"cell.{column.name}")
            for column in self._present
            if column.kind in READ_AS
        )

    def _texts(self) -> list[str]:
        """SQL for every cell as typed, from the lines that were read."""
        present = self._present
        return [
            f"{column.name}__text AS {column.name}"
            if column in present
            else f"CAST(NULL AS VARCHAR) AS {column.name}"
            for column in self.sheet.columns
        ]

    def _typed(self) -> list[str]:
        """SQL for every cell as it was read with its text beside it, blank where no file has it."""
        present = self._present
        parts: list[str] = []
        for column in self.sheet.columns:
            name, is_here = column.name, column in present
            text = f"{name}__text" if is_here else "CAST(NULL AS VARCHAR)"
            parts.append(f"{text} AS {name}__text")
            if column.kind == "dog":
                parts.append(f"{text} AS {name}")
                parts += [f"{name}_{end}" if is_here else f"CAST(NULL AS {kind}) AS {name}_{end}"
                          for end, (_, kind) in OF_A_DOG.items() if end != "matches"]  # fmt: skip
                n_dogs = f"coalesce({name}_matches, 0)" if is_here else "0"
                parts.append(f"{n_dogs} AS {name}_matches")
            elif column.kind in READ_AS:
                kind = READ_AS[column.kind][2]
                parts.append(name if is_here else f"CAST(NULL AS {kind}) AS {name}")
            elif column.kind == "choice" and is_here:
                # The word as the column spells it, so that NG/ML is kept as ng/mL.
                cases = " ".join(f"WHEN '{word.lower()}' THEN '{word}'" for word in column.choices)
                parts.append(f"CASE lower({text}) {cases} END AS {name}")
            else:
                parts.append(f"{text} AS {name}")
        return parts

    def _replace_rows(self) -> None:
        """Put the rows of new and changed lines into their tables."""
        sheet = self.sheet
        self.connection.execute(
            f"""
            CREATE OR REPLACE TEMP VIEW accepted AS
            SELECT numbered.line_id, numbered.entry_id, typed.*
            FROM typed_{sheet.name} AS typed
            JOIN numbered USING (n)
            WHERE numbered.state = 'current';
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
