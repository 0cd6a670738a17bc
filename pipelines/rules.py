"""What cannot be true, what is doubtful: one named row each.

A rule is a condition in SQL over the typed cells of one line; a line that meets a condition of
severity ``refused`` is kept whole with the reason and enters no table. Cells appear under their
library name once typed, and under ``<name>__text`` as typed by the owner.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from analytics.vocabulary import VOCABULARY
from pipelines.sheets import SHEETS, Column, Sheet

Severity = Literal["refused", "question"]

FUTURE_ALLOWED = frozenset({"promised_on", "until_on", "valid_from", "valid_until"})
"""Dates that may lie ahead; every other date is of something that has happened."""

EARLIEST_YEAR = 1970
"""A date before this is a slip: no record of a living kennel is older. (J)"""

LITTER_DAYS = (50, 80)
"""Whelping this many days after the first mating cannot be. [d]

Single timed matings whelped after 58 to 65 days: Okkens 2001 (P); widened for a mating up to eight
days from ovulation and for abortion near term."""

NEGATIVE_SCAN_FROM_DAYS = 24
"""A negative scan earlier than this after mating is no negative. [d] (J, priors row r05)"""


@dataclass(frozen=True, slots=True)
class Rule:
    """One thing that a line may not, or hardly, say.

    Attributes
    ----------
    name
        Short and unique within its sheet and column.
    sheet, column
        Where; the column is the one whose cell is shown.
    severity
        ``refused`` keeps the line out; ``question`` lets it in and asks.
    condition
        SQL over the typed line; the finding is made where it is true.
    wanted
        What the cell should have said, continuing "column is …, ".
    remedy
        What to do.
    source
        Who says so.
    """

    name: str
    sheet: str
    column: str
    severity: Severity
    condition: str
    wanted: str
    remedy: str
    source: str = "a contradiction in itself (D)"


RULES: tuple[Rule, ...] = (
    Rule(
        "forward above moving",
        "collections",
        "progressive_motility_pct",
        "refused",
        "progressive_motility_pct.low > total_motility_pct.high",
        "more than the share that moves at all",
        "Sperm moving forward are part of those moving; correct one of the two.",
    ),
    Rule(
        "failed but measured",
        "collections",
        "failed_reason",
        "question",
        "failed_reason IS NOT NULL AND (volume_ml IS NOT NULL OR concentration_m_per_ml IS NOT NULL"
        " OR progressive_motility_pct IS NOT NULL)",
        "on a line that also holds measurements",
        "Clear the result if a sample was collected; its measurements are not used until then.",
    ),
    Rule(
        "per mL instead of millions",
        "collections",
        "concentration_m_per_ml",
        "refused",
        "concentration_m_per_ml.low BETWEEN 1e6 AND 5e9",
        "which looks like sperm per mL; millions per mL are wanted",
        "Divide by 1,000,000.",
        "unit slip (D)",
    ),
    Rule(
        "arrived before sent",
        "boxes",
        "arrived_on",
        "refused",
        "arrived_on + coalesce(arrived_at, TIME '23:59:59') "
        "< sent_on + coalesce(sent_at, TIME '00:00')",
        "before the box left",
        "Correct the day or the time.",
    ),
    Rule(
        "sent before collected",
        "boxes",
        "sent_on",
        "refused",
        "sent_on < collected_on",
        "before the collection",
        "Correct one of the two days.",
    ),
    Rule(
        "second before first",
        "breedings",
        "second_on",
        "refused",
        "second_on < bred_on",
        "before the first insemination",
        "Exchange the two dates.",
    ),
    Rule(
        "natural by another route",
        "breedings",
        "route",
        "refused",
        "route IS NOT NULL AND (semen_type = 'natural') <> (route = 'natural')",
        "which does not fit the semen",
        "A natural mating has the route natural; inseminated semen has another.",
    ),
    Rule(
        "whelped out of term",
        "breedings",
        "whelped_on",
        "refused",
        f"date_diff('day', bred_on, whelped_on) NOT BETWEEN {LITTER_DAYS[0]} AND {LITTER_DAYS[1]}",
        f"not {LITTER_DAYS[0]} to {LITTER_DAYS[1]} days after the breeding",
        "Correct the date of breeding or of whelping.",
        "Okkens 2001 (P), widened",
    ),
    Rule(
        "empty with pups",
        "breedings",
        "result",
        "refused",
        "result IN ('empty', 'lost') AND (n_born_alive > 0 OR whelped_on IS NOT NULL)",
        "on a line that also holds a litter",
        "Correct the result, or clear the litter.",
    ),
    Rule(
        "more alive at 8 weeks than born",
        "breedings",
        "n_alive_8_weeks",
        "refused",
        "n_alive_8_weeks > n_born_alive",
        "more than were born alive",
        "Correct one of the two numbers.",
    ),
    Rule(
        "early negative scan",
        "breedings",
        "scan",
        "question",
        "scan = 'not pregnant' AND date_diff('day', bred_on, scanned_on) "
        f"< {NEGATIVE_SCAN_FROM_DAYS}",
        f"seen before day {NEGATIVE_SCAN_FROM_DAYS} after the breeding",
        "Too early for a negative; it is not counted as one. Enter a later scan if there was one.",
        "priors row r05 (J)",
    ),
    Rule(
        "bred too young",
        "breedings",
        "bred_on",
        "question",
        "bred_on < (SELECT born_on FROM dog WHERE dog.dog_id = typed.dog_id) + INTERVAL 8 MONTH",
        "before the bitch was eight months old",
        "Check the date and her date of birth.",
        "trade memory (M)",
    ),
    Rule(
        "progesterone without unit",
        "heats",
        "progesterone_1_unit",
        "question",
        " OR ".join(
            f"(progesterone_{n} IS NOT NULL AND progesterone_{n}_unit IS NULL)" for n in range(1, 7)
        ),
        "missing beside a progesterone value",
        "Enter ng/mL or nmol/L; without a unit the reading is kept and not used.",
        "1 ng/mL = 3.180 nmol/L (D)",
    ),
    *(
        Rule(
            "progesterone without date",
            "heats",
            f"progesterone_{n}_on",
            "refused",
            f"progesterone_{n} IS NOT NULL AND progesterone_{n}_on IS NULL",
            "missing beside a progesterone value",
            "Enter the day of the blood sample.",
        )
        for n in range(1, 7)
    ),
)
"""The rules between cells; those of single cells follow from the sheet's columns."""


def cell_rules(sheet: Sheet) -> Iterator[Rule]:
    """Make the rules that follow from what each column holds."""
    for column in sheet.columns:
        yield from _cell_rules(sheet.name, column)


def rules_of(sheet: Sheet) -> tuple[Rule, ...]:
    """Every rule of a sheet."""
    return (*cell_rules(sheet), *(rule for rule in RULES if rule.sheet == sheet.name))


def _cell_rules(sheet: str, column: Column) -> Iterator[Rule]:
    name, typed_as_text = column.name, f"{column.name}__text"

    def refuse(rule: str, condition: str, wanted: str, remedy: str) -> Rule:
        return Rule(rule, sheet, name, "refused", condition, wanted, remedy, "sheet definition (D)")

    if column.required:
        yield refuse(
            "missing", f"{typed_as_text} IS NULL", "and every line needs it", "Fill it in."
        )
    if column.kind == "dog":
        yield refuse(
            "unknown dog",
            f"{typed_as_text} IS NOT NULL AND {name}_matches = 0",
            "which is no dog of the Dogs sheet",
            "Add the dog there first, or correct the name.",
        )
        yield refuse(
            "two dogs of that name",
            f"{name}_matches > 1",
            "which is the name of more than one dog",
            "Give one of them another call name in the Dogs sheet.",
        )
    if column.kind == "choice":
        words = ", ".join(f"'{word.lower()}'" for word in column.choices)
        yield refuse(
            "unknown word",
            f"lower({typed_as_text}) NOT IN ({words})",
            f"not one of {', '.join(column.choices)}",
            "Use one of these words.",
        )
    if column.kind == "day":
        yield refuse(
            "not a date",
            f"{typed_as_text} IS NOT NULL AND {name} IS NULL",
            "which is no date that can be read without guessing",
            "Write 2024-03-05 or 5 Mar 2024, or say whether day or month comes first.",
        )
        yield refuse(
            "date too early",
            f"year({name}) < {EARLIEST_YEAR}",
            f"before {EARLIEST_YEAR}",
            "Correct the year.",
        )
        if name not in FUTURE_ALLOWED:
            yield refuse(
                "date ahead", f"{name} > today()", "which is still to come", "Correct the date."
            )
    if column.kind == "clock":
        yield refuse(
            "not a time",
            f"{typed_as_text} IS NOT NULL AND {name} IS NULL",
            "which is no time of day",
            "Write 14:30.",
        )
    if column.kind in ("number", "reading", "by_eye"):
        yield refuse(
            "not a number",
            f"{typed_as_text} IS NOT NULL AND {name} IS NULL",
            "which is no number",
            "Write 12.5, > 20, 70-80, or leave the cell blank.",
        )
        quantity = VOCABULARY[column.quantity or name]
        low, high = (name, name) if column.kind == "number" else (f"{name}.low", f"{name}.high")
        # A censored reading is judged by the end that was measured.
        beyond_high = (
            high
            if column.kind == "number"
            else f"CASE WHEN isinf({high}) THEN {low} ELSE {high} END"
        )
        unit = f" {quantity.unit}" if quantity.unit else ""
        yield refuse(
            "out of range",
            f"({low} < {quantity.low} OR {beyond_high} > {quantity.high})",
            f"outside the possible {quantity.low:g} to {quantity.high:g}{unit}",
            "Correct the cell.",
        )


def check_rules() -> None:
    """Refuse a rule that names a sheet or column that does not exist."""
    for rule in RULES:
        if rule.column not in {column.name for column in SHEETS[rule.sheet].columns}:
            raise ValueError(f"rule {rule.name!r} names no column of {rule.sheet}: {rule.column}")
