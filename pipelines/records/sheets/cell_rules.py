"""The rules that follow from what each column of a sheet holds, and the whole list of a sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from types import MappingProxyType

from studcurve.analytics.sentences import Value, Word, sentence
from studcurve.analytics.vocabulary import VOCABULARY
from studcurve.pipelines.records.sheets.columns import Column, Sheet
from studcurve.pipelines.records.sheets.rules import EARLIEST_YEAR, MOVED, RULES, Rule

CONFLICT = "two versions of one line"
"""Rule against lines of equal identity and different values in one load."""

ANOTHER = "another line of that day"
"""Question about a new line beside an older one of the same dog and day."""

THOUSANDS = "thousands or decimals"
"""Doubt about a number such as 1.250 on a sheet that writes 3,5."""

GONE = "gone from its file"
"""Question about a line that a new version of its file no longer holds."""

MOVED_VALUES: Mapping[str, Value] = MappingProxyType(
    {"file": "@file@", "line": "@line@", "day": "@day@"}
)
"""What write.sql replaces in the values of :data:`MOVED`: where the newer line is, and its day."""

THOUSAND = r"(^|[^0-9.,])[1-9][0-9]{0,2}\.[0-9]{3}($|[^0-9.,])"
"""A number whose dot may stand for thousands or for decimals; doubted where both are possible."""

ERROR = r"#(DIV/0!|N/A|NAME\?|NULL!|NUM!|REF!|VALUE!|SPILL!|CALC!|GETTING_DATA)"
"""What a spreadsheet shows in a cell that it could not calculate."""

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
_MALES = ("collections", "shipments", "frozen")


@cache
def rules_of(sheet: Sheet) -> tuple[Rule, ...]:
    """Every rule of a sheet: of the line as a whole, of its cells, and between them."""
    cells = (rule for column in sheet.columns for rule in _cell_rules(sheet.name, column))
    return (*_line_rules(sheet), *cells, *(rule for rule in RULES if rule.sheet == sheet.name))


def _line_rules(sheet: Sheet) -> Iterator[Rule]:
    shown = sheet.day or sheet.subject
    marks = tuple(sheet.column(mark).heading for mark in sheet.marks)
    apart = sentence("rule_part.apart", marks=marks) if marks else ""
    yield Rule(CONFLICT, sheet.name, shown, "refused", _COMPARED, {"apart": apart}, _SOURCE)
    for name in (ANOTHER, GONE):
        yield Rule(name, sheet.name, shown, "question", _COMPARED, source=_SOURCE)
    yield Rule(MOVED, sheet.name, shown, "doubtful", _COMPARED, MOVED_VALUES, _SOURCE)
    last = sheet.columns[-1].name
    yield Rule("too many cells", sheet.name, last, "refused", "surplus IS NOT NULL", source=_SOURCE)


def _cell_rules(sheet: str, column: Column) -> Iterator[Rule]:
    name, text = column.name, f"{column.name}__text"
    if column.required:
        yield _refuse(sheet, column, "missing", f"{text} IS NULL")
    if column.kind in ("text", "dog", "printed"):
        # Only a text that sorts before the letters can begin with such a sign.
        is_run = f"{text} < 'A' AND regexp_full_match({text}, '{FORMULA}', 's')"
        yield _refuse(sheet, column, "a formula", is_run)
    if column.kind in ("text", "printed"):
        is_error = f"starts_with({text}, '#') AND regexp_full_match({text}, '{ERROR}')"
        yield _refuse(sheet, column, "an error of the spreadsheet", is_error)
    if column.kind == "dog":
        yield from _dog_rules(sheet, column)
    if column.kind == "choice":
        words = ", ".join(f"'{word.lower()}'" for word in column.choices)
        is_none = f"lower({text}) NOT IN ({words})"
        yield _refuse(sheet, column, "unknown word", is_none, choices=", ".join(column.choices))
    if column.kind == "day":
        yield from _day_rules(sheet, column)
    if column.kind == "clock":
        yield _refuse(sheet, column, "not a time", f"{text} IS NOT NULL AND {name} IS NULL")
    if column.kind in _MEASURED:
        yield from _number_rules(sheet, column)


def _refuse(sheet: str, column: Column, rule: str, condition: str, **values: Value) -> Rule:
    return Rule(rule, sheet, column.name, "refused", condition, values, _SOURCE)


def _dog_rules(sheet: str, column: Column) -> Iterator[Rule]:
    name, text = column.name, f"{column.name}__text"
    is_unknown = f"{text} IS NOT NULL AND {name}_matches = 0 AND {name}_is_refused IS NOT TRUE"
    yield _refuse(sheet, column, "unknown dog", is_unknown)
    yield _refuse(sheet, column, "dog whose line is refused", f"{name}_is_refused")
    yield _refuse(sheet, column, "two dogs of that name", f"{name}_matches > 1")
    sex = "male" if sheet in _MALES else _PARTNERS.get((sheet, name))
    if sex is not None:
        is_other = f"{name}_matches = 1 AND {name}_sex <> '{sex}'"
        yield _refuse(sheet, column, "wrong sex", is_other, none=Word("none_of_sex", sex))


def _day_rules(sheet: str, column: Column) -> Iterator[Rule]:
    name, text = column.name, f"{column.name}__text"
    for rule, negated in (("day or month first", ""), ("not a date", "NOT ")):
        unread = f"{name} IS NULL AND {negated}is_unordered_day({text})"
        yield _refuse(sheet, column, rule, unread)
    is_early = f"year({name}) < {EARLIEST_YEAR}"
    yield _refuse(sheet, column, "date too early", is_early, year=str(EARLIEST_YEAR))
    if not column.may_lie_ahead:
        yield _refuse(sheet, column, "date ahead", f"{name} > load_day()")


def _number_rules(sheet: str, column: Column) -> Iterator[Rule]:
    name, text = column.name, f"{column.name}__text"
    censored = column.kind in ("reading", "by eye")
    yield _refuse(
        sheet,
        column,
        "not a number",
        f"{text} IS NOT NULL AND {name} IS NULL",
        examples="12.5, > 20, 70-80" if censored else "12, 12.5",
    )
    if column.kind == "count":
        yield _refuse(sheet, column, "not a whole number", f"{name} <> floor({name})")
    quantity = VOCABULARY[column.vocabulary_name]
    smallest, largest = (
        (f"smallest_measured({name})", f"largest_measured({name})") if censored else (name, name)
    )
    is_either = (
        f"has_decimal_comma() AND regexp_matches({text}, '{THOUSAND}')"
        f" AND 1000 * {smallest} <= {quantity.high}"
    )
    yield Rule(THOUSANDS, sheet, name, "doubtful", is_either, source=_SOURCE)
    unit = Word("measured_in", quantity.unit)
    bounds: dict[str, Value] = {
        "low": quantity.low,
        "high": quantity.high,
        "unit": sentence("rule_part.unit", unit=unit) if quantity.unit else "",
    }
    yield Rule(
        "out of range",
        sheet,
        name,
        "refused",
        f"{smallest} < {quantity.low} OR {largest} > {quantity.high}",
        bounds,
        quantity.source,
    )
