"""The rules that follow from what each column of a sheet holds, and the whole list of a sheet."""

from __future__ import annotations

from collections.abc import Iterator

from analytics.vocabulary import VOCABULARY
from pipelines.rules import EARLIEST_YEAR, RULES, Rule
from pipelines.sheets import Column, Sheet

CONFLICT = "two versions of one line"
"""Rule against lines of equal identity and different values in one load."""

ANOTHER = "another line of that day"
"""Question about a new line beside an older one of the same dog and day."""

GONE = "gone from its file"
"""Question about a line that a new version of its file no longer holds."""

FORMULA = r"=.*|[-+@][A-Za-z_.]+ ?[(|!].*|[-+@].*\|.*!.*"
"""Text that a spreadsheet runs when an exported sheet is opened in it."""

_COMPARED = "FALSE"
"""Condition of the rules that accept.sql finds by comparing lines with each other."""

_SOURCE = "sheet definition (D)"
_MEASURED = ("count", "number", "reading", "by eye")

_PARTNERS = {
    ("breedings", "dog"): "female",
    ("breedings", "stud"): "male",
    ("heats", "dog"): "female",
}
_MALES = ("collections", "boxes", "frozen")


def rules_of(sheet: Sheet) -> tuple[Rule, ...]:
    """Every rule of a sheet: of the line as a whole, of its cells, and between them."""
    cells = (rule for column in sheet.columns for rule in _cell_rules(sheet.name, column))
    return (*_line_rules(sheet), *cells, *(rule for rule in RULES if rule.sheet == sheet.name))


def _line_rules(sheet: Sheet) -> Iterator[Rule]:
    shown = sheet.day or sheet.subject
    marks = " and ".join(sheet.column(mark).heading for mark in sheet.marks)
    yield Rule(
        CONFLICT,
        sheet.name,
        shown,
        "refused",
        _COMPARED,
        "and another line of this load is about the same thing and differs",
        "Keep the right one." + (f" If they are two, tell them apart by {marks}." if marks else ""),
        _SOURCE,
    )
    yield Rule(
        ANOTHER,
        sheet.name,
        shown,
        "question",
        _COMPARED,
        "and an earlier load has another line of that day, which counts as well",
        "Confirm that they are two, or withdraw the wrong one.",
        _SOURCE,
    )
    yield Rule(
        GONE,
        sheet.name,
        shown,
        "question",
        _COMPARED,
        "and this line is no longer in its file; it still counts",
        "Confirm that it stays, or withdraw it.",
        _SOURCE,
    )
    yield Rule(
        "too many cells",
        sheet.name,
        sheet.columns[-1].name,
        "refused",
        "surplus IS NOT NULL",
        "and more cells follow than there are headings",
        "A separator inside a cell needs quotes around the cell.",
        _SOURCE,
    )


def _cell_rules(sheet: str, column: Column) -> Iterator[Rule]:
    name, text = column.name, f"{column.name}__text"
    if column.required:
        yield _refuse(
            sheet, column, "missing", f"{text} IS NULL", "and every line needs it", "Fill it in."
        )
    if column.kind in ("text", "dog", "printed"):
        yield _refuse(
            sheet,
            column,
            "a formula",
            # Only a text that sorts before the letters can begin with such a sign.
            f"{text} < 'A' AND regexp_full_match({text}, '{FORMULA}', 's')",
            "which a spreadsheet would run as a formula",
            "Write it without the sign at its beginning.",
        )
    if column.kind == "dog":
        yield from _dog_rules(sheet, column)
    if column.kind == "choice":
        words = ", ".join(f"'{word.lower()}'" for word in column.choices)
        yield _refuse(
            sheet,
            column,
            "unknown word",
            f"lower({text}) NOT IN ({words})",
            f"not one of {', '.join(column.choices)}",
            "Use one of these words.",
        )
    if column.kind == "day":
        yield from _day_rules(sheet, column)
    if column.kind == "clock":
        yield _refuse(
            sheet,
            column,
            "not a time",
            f"{text} IS NOT NULL AND {name} IS NULL",
            "which is no time of day",
            "Write 14:30.",
        )
    if column.kind in _MEASURED:
        yield from _number_rules(sheet, column)


def _refuse(
    sheet: str, column: Column, rule: str, condition: str, wanted: str, remedy: str
) -> Rule:
    return Rule(rule, sheet, column.name, "refused", condition, wanted, remedy, _SOURCE)


def _dog_rules(sheet: str, column: Column) -> Iterator[Rule]:
    name, text = column.name, f"{column.name}__text"
    yield _refuse(
        sheet,
        column,
        "unknown dog",
        f"{text} IS NOT NULL AND {name}_matches = 0",
        "which is no dog of the Dogs sheet",
        "Add the dog there first, or correct the name.",
    )
    yield _refuse(
        sheet,
        column,
        "two dogs of that name",
        f"{name}_matches > 1",
        "which is the name of more than one dog",
        "Write the registered name or the chip number instead.",
    )
    sex = "male" if sheet in _MALES else _PARTNERS.get((sheet, name))
    if sex is not None:
        yield _refuse(
            sheet,
            column,
            "wrong sex",
            f"{name}_matches = 1 AND {name}_sex <> '{sex}'",
            f"which is no {sex} in the Dogs sheet",
            "Correct the name here or the sex there.",
        )


def _day_rules(sheet: str, column: Column) -> Iterator[Rule]:
    name, text = column.name, f"{column.name}__text"
    yield _refuse(
        sheet,
        column,
        "day or month first",
        f"{name} IS NULL AND is_unordered_day({text})",
        "and it is not said whether the day or the month comes first",
        "Load again and say which (--dates day-first or month-first), or write 2024-03-05.",
    )
    yield _refuse(
        sheet,
        column,
        "not a date",
        f"{name} IS NULL AND NOT is_unordered_day({text})",
        "which is no date",
        "Write 2024-03-05 or 5 Mar 2024.",
    )
    yield _refuse(
        sheet,
        column,
        "date too early",
        f"year({name}) < {EARLIEST_YEAR}",
        f"before {EARLIEST_YEAR}",
        "Correct the year.",
    )
    if not column.may_lie_ahead:
        yield _refuse(
            sheet,
            column,
            "date ahead",
            f"{name} > load_day()",
            "which is still to come",
            "Correct the date.",
        )


def _number_rules(sheet: str, column: Column) -> Iterator[Rule]:
    name, text = column.name, f"{column.name}__text"
    censored = column.kind in ("reading", "by eye")
    yield _refuse(
        sheet,
        column,
        "not a number",
        f"{text} IS NOT NULL AND {name} IS NULL",
        "which is no number",
        "Write 12.5, > 20, 70-80, or leave the cell blank."
        if censored
        else "Write 12 or 12.5, or leave the cell blank.",
    )
    if column.kind == "count":
        yield _refuse(
            sheet,
            column,
            "not a whole number",
            f"{name} <> floor({name})",
            "which is no whole number",
            "Correct the cell.",
        )
    quantity = VOCABULARY[column.vocabulary_name]
    smallest, largest = (
        (f"smallest_measured({name})", f"largest_measured({name})") if censored else (name, name)
    )
    unit = f" {quantity.unit}" if quantity.unit else ""
    yield Rule(
        "out of range",
        sheet,
        name,
        "refused",
        f"{smallest} < {quantity.low} OR {largest} > {quantity.high}",
        f"outside the possible {quantity.low:,.9g} to {quantity.high:,.9g}{unit}",
        "Correct the cell.",
        quantity.source,
    )
