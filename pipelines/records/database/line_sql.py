"""The SQL text of a sheet: its staged lines, their cells as read, the lines that break rules.

Nothing here runs a statement. Which relations the texts read and make stands in
:mod:`studcurve.pipelines.records.database.relations`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from studcurve.pipelines.records.sheets.cell_rules import rules_of
from studcurve.pipelines.records.sheets.columns import ANSWER_NAME, Column, Sheet
from studcurve.pipelines.records.sheets.rules import Rule


@dataclass(frozen=True, slots=True)
class Lookup:
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


LOOKUPS: Mapping[str, Lookup] = {
    "dog": Lookup("dog_name", "dog_id", "BIGINT"),
    "day": Lookup("day_of", "day", "DATE"),
    "clock": Lookup("clock_of", "clock", "TIME"),
    "count": Lookup("number_of", "number", "DOUBLE"),
    "number": Lookup("number_of", "number", "DOUBLE"),
    "reading": Lookup("number_of", "reading", "reading"),
    "by eye": Lookup("number_of", "reading", "reading"),
    "printed": Lookup("number_of", "reading", "reading"),
    "choice": Lookup("word_of", "word", "VARCHAR"),
}
"""Kinds whose cells are looked up; free text is taken as it is."""

DOG_VALUES = {
    "id": ("dog_id", "BIGINT"), "matches": ("n_dogs", "BIGINT"), "sex": ("sex", "VARCHAR"),
    "born_on": ("born_on", "DATE"), "died_on": ("died_on", "DATE"),
    "is_refused": ("is_refused", "BOOLEAN"),
}  # fmt: skip
"""Column of ``dog_name`` and type, by the ending of the typed column that holds it."""

NumberedRule = tuple[int, Rule]
"""A rule with its number in ``rule_row``."""


@dataclass(frozen=True, slots=True)
class RulesOfLines:
    """The rules that are asked of lines before they are let in, by the way they are asked.

    Attributes
    ----------
    of_cells
        About the cell of one looked-up column alone: asked once for each distinct text.
    plain
        About several cells: asked together, in one pass over the lines.
    looking
        Those that look into a table: each in a pass of its own.
    """

    of_cells: Mapping[str, Sequence[NumberedRule]]
    plain: Sequence[NumberedRule]
    looking: Sequence[NumberedRule]


@dataclass(frozen=True, slots=True)
class LineSql:
    """SQL over the staged lines of one sheet.

    Attributes
    ----------
    sheet
        Which.
    filled
        Columns that at least one line fills, and those that every line must fill; the others are
        NULL, and no work is done for them.
    as_spelled
        Names of columns of words whose cells are all spelled as the sheet spells them: taken as
        they are.
    """

    sheet: Sheet
    filled: tuple[Column, ...]
    as_spelled: frozenset[str] = frozenset()

    @property
    def looked_up(self) -> list[Column]:
        """Columns whose cells are read once for each distinct text."""
        return [column for column in self.filled if column.kind in LOOKUPS]

    def lines(self, first_rows: Mapping[int, int]) -> str:
        """The lines as typed, each with its number in its file.

        Parameters
        ----------
        first_rows
            Row before the first one of each file, by number of the file, where lines came without
            a number of their own.
        """
        first = "".join(f" WHEN {file_no} THEN {n}" for file_no, n in first_rows.items())
        return f"""
            SELECT
                rowid AS n, file_no, surplus, {ANSWER_NAME},
                {", ".join(f"{cell} AS {name}" for name, cell in self._cells.items())},
                CAST(coalesce(line, rowid + 2 - CASE file_no{first} END) AS INTEGER) AS line,
                {self.listed_cells()} AS cells
            FROM staged_{self.sheet.name}
            """

    def listed_cells(self) -> str:
        """The list of a line's cells as JSON, without the blank ones at its end.

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

    @property
    def _cells(self) -> dict[str, str]:
        """The text of each column's cell, by column."""
        return {
            column.name: column.name if column in self.filled else "CAST(NULL AS VARCHAR)"
            for column in self.sheet.columns
        }

    def texts(self, *, in_one_pass: bool) -> str:
        """Every distinct text of the columns that are looked up.

        Parameters
        ----------
        in_one_pass
            One pass over all columns costs more by line, a pass for each of them more by statement.
        """
        names = [column.name for column in self.looked_up]
        if in_one_pass:
            cells = ", ".join(names)
            return f"SELECT DISTINCT unnest({names}) AS name, unnest([{cells}]) AS cell FROM lines"
        return "\nUNION ALL\n".join(
            f"SELECT '{name}' AS name, cell FROM (SELECT DISTINCT {name} AS cell FROM lines)"
            for name in names
        )

    def texts_of(self, *kinds: str) -> str:
        """The distinct texts in the columns of some kinds."""
        names = ", ".join(f"'{column.name}'" for column in self.filled if column.kind in kinds)
        condition = f"name IN ({names}) AND cell IS NOT NULL" if names else "FALSE"
        return f"SELECT DISTINCT cell FROM text_of WHERE {condition}"

    def words(self) -> str:
        """Column, lower case and own spelling of every word of a list; empty without lists."""
        return "\nUNION ALL\n".join(
            # The word as the column spells it, so that NG/ML is kept as ng/mL.
            f"SELECT '{column.name}', '{word.lower()}', '{word}'"
            for column in self.looked_up
            for word in column.choices
        )

    def typed_lines(self, names: Collection[str]) -> str:
        """The lines with the cells of some columns as they are read.

        Only of some: the engine does not leave out a join of whose columns a query reads none.
        """
        columns = [column for column in self.sheet.columns if column.name in names]
        cells = [part for column in columns for part in self._typed_in_line(column)]
        lookups = "".join(
            _join(column)
            for column in columns
            if column in self.looked_up and column.name not in self.as_spelled
        )
        return (
            f"SELECT cell.n, cell.file_no, cell.line, cell.surplus, cell.cells, {', '.join(cells)} "
            f"FROM lines AS cell{lookups}"
        )

    def _typed(self, column: Column) -> list[str]:
        """A cell of the relation ``cell`` as it is read, with its text beside it."""
        name, text = column.name, f"cell.{column.name}"
        if column.kind not in LOOKUPS:
            return [f"{text} AS {name}__text", f"{text} AS {name}"]
        is_here = column in self.filled
        if column.kind == "dog":
            values = {
                end: f"of_{name}.{value}" if is_here else f"CAST(NULL AS {sql_type})"
                for end, (value, sql_type) in DOG_VALUES.items()
            }
            values["matches"] = f"coalesce({values['matches']}, 0)"
            return [
                f"{text} AS {name}__text",
                f"{text} AS {name}",
                *(f"{value} AS {name}_{end}" for end, value in values.items()),
            ]
        lookup = LOOKUPS[column.kind]
        value = f"of_{name}.{lookup.value}" if is_here else f"CAST(NULL AS {lookup.sql_type})"
        if name in self.as_spelled:
            value = text
        if column.kind == "printed":
            value = (
                f"CASE WHEN {text} IS NOT NULL "
                f"THEN coalesce({value}, make_reading('word', NULL, NULL, {text})) END"
            )
        return [f"{text} AS {name}__text", f"{value} AS {name}"]

    def _typed_in_line(self, column: Column) -> list[str]:
        """As :meth:`_typed`; a motility is read by how its line says that it was judged."""
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

    def identified(self) -> str:
        """The lines with what they are about: subject, day and mark."""
        sheet = self.sheet

        def comparable(column: Column) -> str:
            if column.kind == "dog":
                return f"coalesce(CAST({column.name}_id AS VARCHAR), lower({column.name}))"
            return f"lower(CAST({column.name} AS VARCHAR))"

        marks = [f"coalesce({comparable(sheet.column(mark))}, '')" for mark in sheet.marks]
        about = [column for column in (sheet.subject, sheet.day, *sheet.marks) if column]
        return (
            f"SELECT n, file_no, line, cells, "
            f"{comparable(sheet.column(sheet.subject))} AS subject, "
            f"{sheet.day or 'CAST(NULL AS DATE)'} AS day, "
            f"""{" || '|' || ".join(marks) or "''"} AS mark FROM ({self.typed_lines(about)})"""
        )

    def rules(self) -> RulesOfLines:
        """The rules of a line that can find something in these columns."""
        present = {column.name for column in self.filled}
        applicable = [
            (number, rule)
            for number, rule in numbered_rules(self.sheet)
            if rule.scope == "line" and (present & set(rule.columns) or _is_of_surplus(rule))
        ]
        of_cells = {
            column.name: [
                (number, rule)
                for number, rule in applicable
                if rule.columns == (column.name,) and not _is_of_surplus(rule)
            ]
            for column in self.looked_up
        }
        numbers_of_cells = {number for rules in of_cells.values() for number, _ in rules}
        rest = [(number, rule) for number, rule in applicable if number not in numbers_of_cells]
        return RulesOfLines(
            {name: rules for name, rules in of_cells.items() if rules},
            [(number, rule) for number, rule in rest if "SELECT" not in rule.condition],
            [(number, rule) for number, rule in rest if "SELECT" in rule.condition],
        )

    def bad_cells(self, of_cells: Mapping[str, Sequence[NumberedRule]]) -> str:
        """The distinct texts that break a rule about one cell, with column and rule."""
        return "\nUNION ALL\n".join(
            f"""
            SELECT '{name}' AS name, {name}__text AS cell, {_broken(rules)} AS rule_no
            FROM (
                SELECT {", ".join(self._typed(self.sheet.column(name)))}
                FROM (
                    SELECT cell AS {name} FROM text_of WHERE name = '{name}'
                ) AS cell{_join(self.sheet.column(name))}
            )
            """
            for name, rules in of_cells.items()
        )

    def found(self, rules: RulesOfLines, bad_columns: Collection[str]) -> str:
        """The lines that break a rule, with its number.

        Parameters
        ----------
        rules
            As :meth:`rules` gives them.
        bad_columns
            Columns that have bad cells.
        """
        passes = [rules.plain, *([rule] for rule in rules.looking)]
        of_lines = (
            f"SELECT n, {_broken(its)} AS rule_no "
            f"FROM ({self.typed_lines(_columns(its))}) AS typed WHERE {_any_of(its)}"
            for its in passes
            if its
        )
        of_cells = (
            f"""
            SELECT lines.n, bad_cell.rule_no
            FROM lines
            JOIN bad_cell
                ON bad_cell.name = '{name}' AND bad_cell.cell IS NOT DISTINCT FROM lines.{name}
            """
            for name in sorted(bad_columns)
        )
        return " UNION ALL ".join([*of_lines, *of_cells])


def numbered_rules(sheet: Sheet) -> list[NumberedRule]:
    """Every rule of a sheet with its number."""
    return list(enumerate(rules_of(sheet), 1))


def rules_of_records(sheet: Sheet) -> list[NumberedRule]:
    """Rules of a sheet that only the whole records can answer."""
    return [(number, rule) for number, rule in numbered_rules(sheet) if rule.scope == "records"]


def found_in_records(sheet: Sheet, rules: Sequence[NumberedRule]) -> str:
    """SQL for the accepted lines that break a rule of the records, with its number and the cell."""
    return "\nUNION ALL\n".join(
        f"SELECT line_id, {number} AS rule_no, {rule.column}__text AS cell "
        f"FROM asked_{sheet.name} AS typed WHERE {rule.condition}"
        for number, rule in rules
    )


def _is_of_surplus(rule: Rule) -> bool:
    """Whether a rule asks for cells beyond the headings, which no column holds."""
    return "surplus" in rule.condition


def _join(column: Column) -> str:
    """SQL that finds how the cells of a column were read."""
    of, table = f"of_{column.name}", LOOKUPS[column.kind].table
    if column.kind == "dog":
        return f" LEFT JOIN {table} AS {of} ON {of}.cell = lower(cell.{column.name})"
    if column.kind == "choice":
        return (
            f" LEFT JOIN {table} AS {of} ON {of}.name = '{column.name}' "
            f"AND {of}.cell = lower(cell.{column.name})"
        )
    return f" LEFT JOIN {table} AS {of} ON {of}.cell = cell.{column.name}"


def _columns(rules: Sequence[NumberedRule]) -> set[str]:
    return {name for _, rule in rules for name in rule.columns}


def _broken(rules: Sequence[NumberedRule]) -> str:
    """SQL for the numbers of the rules that a line breaks, a row each."""
    cases = ", ".join(f"CASE WHEN {rule.condition} THEN {number} END" for number, rule in rules)
    return f"unnest(list_filter([{cases}], lambda no: no IS NOT NULL))"


def _any_of(rules: Sequence[NumberedRule]) -> str:
    """SQL that is true of a line that breaks one of the rules."""
    return " OR ".join(f"({rule.condition})" for _, rule in rules)
