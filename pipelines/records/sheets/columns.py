"""The owner's sheets: which columns they carry, and which headings belong to which sheet.

This is the only module that knows how a sheet spells a heading or a word. Beyond it there are
library names. What makes a line itself is decided here too: its subject (the dog), its day, and a
mark that tells lines of one subject and day apart.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from studcurve.analytics.cautions.tables import DRUG_CLASSES
from studcurve.analytics.errors import RecordsError
from studcurve.analytics.plan.options import PRICE_ITEMS
from studcurve.analytics.vocabulary import SEMEN_TYPES

CellKind = Literal[
    "text", "dog", "choice", "day", "clock", "count", "number", "reading", "by eye", "printed"
]
"""How a cell is read: free text, a known dog, one of a few words, a date, a time, a whole number,
a number, a measurement that may be censored, a motility that is rounded when judged by eye, or what
a laboratory printed, which may be anything."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet.

    Attributes
    ----------
    heading
        As the owner sees it.
    name
        Library name.
    kind
        How its cells are read.
    required
        Whether a line without it is refused.
    choices
        The words a choice may take.
    suggestions
        Words that the program knows in a cell of free text; another one is let in.
    word
        Name in the vocabulary, where it differs from ``name``.
    may_lie_ahead
        Whether a date may be later than the day of the load.
    is_personal
        Whether its cells may name a person, who can ask to have the name erased.
    """

    heading: str
    name: str
    kind: CellKind = "text"
    required: bool = False
    choices: tuple[str, ...] = ()
    suggestions: tuple[str, ...] = ()
    word: str = ""
    may_lie_ahead: bool = False
    is_personal: bool = False

    @property
    def vocabulary_name(self) -> str:
        """Name under which the vocabulary knows this column."""
        return self.word or self.name


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its columns and what makes a line itself.

    Attributes
    ----------
    name
        Also the stem of its CSV file.
    title
        Name of its worksheet.
    columns
        In the order of the sheet. Cells are kept in this order; a later column goes to the end, so
        that lines kept earlier still compare.
    subject, day, marks
        Columns that say what a line is about; the marks tell apart lines of one subject and day.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    subject: str
    day: str | None
    marks: tuple[str, ...]

    def column(self, name: str) -> Column:
        """Find a column by its library name."""
        return next(column for column in self.columns if column.name == name)

    @property
    def names(self) -> tuple[str, ...]:
        """Library names of the columns, in order."""
        return tuple(column.name for column in self.columns)


N_PROGESTERONE = 6
"""Progesterone readings that a Heats line has room for."""

MORPHOLOGY_PARTS = {
    "head_pct": "Abnormal heads (%)",
    "midpiece_pct": "Abnormal midpieces (%)",
    "tail_pct": "Abnormal tails (%)",
    "proximal_droplet_pct": "Proximal droplets (%)",
    "distal_droplet_pct": "Distal droplets (%)",
    "detached_head_pct": "Detached heads (%)",
}
"""Columns of the parts in which sperm are abnormal, and their headings."""

FAILED = ("no erection", "refused", "nothing", "stopped for pain")
"""Why a collection failed."""

ROUTES = ("natural", "vaginal", "transcervical", "surgical")
EXTENDERS = ("egg yolk", "milk", "cream", "none")
"""Words in the name of an extender by which the program knows how long semen lasts in it."""

REPEATED = ("Brucella", "semen evaluation")
"""What has an interval even where the kennel sets none; any other test may be named as well."""

EXAMPLE_PREFIX = "(example)"
"""A line whose first cell begins so is the workbook's example line, and is ignored."""

REQUIRED_MARK = " *"
"""Stands behind the heading of a cell that must be filled in."""

REMARK_HEADING = "What is wrong"
"""Heading of the remarks in a workbook of lines to correct; what stands below it is not read."""

ANSWER_HEADING, ANSWER_NAME = "Line to correct", "answers"
"""Heading and library name of the digest of the kept line that a line corrects."""

_METHODS = ("chamber", "photometer", "not counted")
_APPEARANCES = ("normal", "blood", "pus", "urine", "other")
_DESTINATIONS = ("own bitch", "shipped", "frozen", "discarded", "evaluation only")
_KINDS = ("examination", "laboratory test", "event", "release by veterinarian")
_EYE = "progressive_motility_pct"


def _progesterone(n: int) -> tuple[Column, ...]:
    stem, head = f"progesterone_{n}", f"Progesterone {n}"
    return (
        Column(f"{head} on", f"{stem}_on", "day", word="progesterone_on"),
        Column(f"{head} at", f"{stem}_at", "clock", word="progesterone_at"),
        Column(head, stem, "reading", word="progesterone"),
        Column(
            f"{head} unit",
            f"{stem}_unit",
            "choice",
            choices=("ng/mL", "nmol/L"),
            word="progesterone_unit",
        ),
        Column(f"{head} laboratory", f"{stem}_laboratory", word="laboratory", is_personal=True),
    )


_NOTES = Column("Notes", "notes", is_personal=True)

_SHEETS = (
    Sheet(
        "dogs",
        "Dogs",
        (
            Column("Dog", "call_name", required=True),
            Column("Registered name", "registered_name"),
            Column("Sex", "sex", "choice", required=True, choices=("male", "female")),
            Column("Born", "born_on", "day"),
            Column("Breed", "breed"),
            Column("Adult weight (kg)", "adult_weight_kg", "number"),
            Column("Chip", "chip"),
            Column("Registry number", "registry_number"),
            Column("Sire", "sire"),
            Column("Dam", "dam"),
            Column("Inbreeding (%)", "inbreeding_pct", "number"),
            Column("Owner", "owner", is_personal=True),
            Column("Litters before", "n_litters_before", "count"),
            Column("Missed heats before", "n_missed_before", "count"),
            _NOTES,
            Column("Died", "died_on", "day"),
        ),
        "call_name",
        None,
        ("registered_name", "born_on"),
    ),
    Sheet(
        "collections",
        "Collections",
        (
            Column("Dog", "dog", "dog", required=True),
            Column("Date", "collected_on", "day", required=True),
            Column("Time", "collected_at", "clock"),
            Column("Result", "failed_reason", "choice", choices=FAILED),
            Column("Volume (mL)", "volume_ml", "reading"),
            Column("Concentration (M/mL)", "concentration_m_per_ml", "reading"),
            Column("Cells counted", "n_cells_counted", "count"),
            Column("How counted", "count_method", "choice", choices=_METHODS),
            Column("Total motility (%)", "total_motility_pct", "by eye"),
            Column("Progressive motility (%)", "progressive_motility_pct", "by eye"),
            Column(
                "How motility was evaluated",
                "motility_method",
                "choice",
                choices=("counted", "by eye"),
            ),
            Column("Sperm evaluated for motility", "n_motility_evaluated", "count"),
            Column("Normal morphology (%)", "normal_morphology_pct", "reading"),
            Column("Sperm evaluated for morphology", "n_morphology_evaluated", "count"),
            Column("Appearance", "appearance", "choice", choices=_APPEARANCES),
            Column("Evaluator", "evaluator", is_personal=True),
            Column("Extender", "extender", suggestions=EXTENDERS),
            Column("Doses made", "n_doses", "count"),
            Column("Where they went", "destination", "choice", choices=_DESTINATIONS),
            _NOTES,
            Column("Minutes warmed", "minutes_at_37", "number"),
            *(
                Column(heading, name, "reading", word="abnormal_pct")
                for name, heading in MORPHOLOGY_PARTS.items()
            ),
            Column("Centrifuged at (g)", "centrifuge_g", "number"),
            Column("Centrifuged for (min)", "centrifuge_min", "number"),
            Column("Supernatant removed (mL)", "supernatant_removed_ml", "number"),
            Column("Volume after extending (mL)", "volume_after_ml", "number"),
        ),
        "dog",
        "collected_on",
        ("collected_at",),
    ),
    Sheet(
        "frozen",
        "Frozen stock",
        (
            Column("Stud", "dog", "dog", required=True, word="stud"),
            Column("Frozen on", "frozen_on", "day", required=True),
            Column("Lot", "lot", required=True),
            Column("Straws", "n_straws", "count", required=True),
            Column("Progressively motile per straw (M)", "motile_per_straw_m", "reading"),
            Column(
                "Progressive motility after thaw (%)",
                "post_thaw_progressive_motility_pct",
                "by eye",
            ),
            Column("Straws per dose", "n_straws_per_dose", "count"),
            Column("Stored at", "stored_at", is_personal=True),
            _NOTES,
        ),
        "dog",
        "frozen_on",
        ("lot",),
    ),
    Sheet(
        "shipments",
        "Shipments",
        (
            Column("Stud", "dog", "dog", required=True, word="stud"),
            Column("Collected on", "collected_on", "day"),
            Column("Sent on", "sent_on", "day", required=True),
            Column("Sent at", "sent_at", "clock"),
            Column("Carrier", "carrier", is_personal=True),
            Column("Extender", "extender", suggestions=EXTENDERS),
            Column("Doses", "n_doses", "count"),
            Column("Volume per dose (mL)", "dose_volume_ml", "number"),
            Column("Progressively motile per dose (M)", "motile_dose_m", "reading"),
            Column("For bitch", "for_bitch", is_personal=True),
            Column("Clinic", "clinic", is_personal=True),
            Column("Promised on", "promised_on", "day", may_lie_ahead=True),
            Column("Arrived on", "arrived_on", "day"),
            Column("Arrived at", "arrived_at", "clock"),
            Column("Progressive motility on arrival (%)", "arrival_pct", "by eye", word=_EYE),
            Column("Minutes warmed on arrival", "arrival_minutes", "number", word="minutes_at_37"),
            Column("Retained sample progressive motility (%)", "retained_pct", "by eye", word=_EYE),
            Column("Retained sample evaluated on", "retained_on", "day"),
            Column("Retained sample evaluated at", "retained_at", "clock"),
            Column(
                "Minutes warmed of retained sample",
                "retained_minutes",
                "number",
                word="minutes_at_37",
            ),
            _NOTES,
        ),
        "dog",
        "sent_on",
        ("for_bitch", "clinic"),
    ),
    Sheet(
        "heats",
        "Heats",
        (
            Column("Bitch", "dog", "dog", required=True, word="bitch"),
            Column("First day", "first_day", "day", required=True),
            Column("LH surge on", "lh_surge_on", "day"),
            Column("Vet's ovulation date", "vet_ovulation_on", "day"),
            *(column for n in range(1, N_PROGESTERONE + 1) for column in _progesterone(n)),
            _NOTES,
        ),
        "dog",
        "first_day",
        (),
    ),
    Sheet(
        "breedings",
        "Breedings",
        (
            Column("Bitch", "dog", "dog", required=True, word="bitch"),
            Column("Stud", "stud", "dog", required=True),
            Column("Date", "bred_on", "day", required=True),
            Column("Time", "bred_at", "clock"),
            Column("Semen", "semen_type", "choice", required=True, choices=SEMEN_TYPES),
            Column("Route", "route", "choice", choices=ROUTES),
            Column("Second date", "second_on", "day"),
            Column("Second time", "second_at", "clock"),
            Column("Collected on", "collected_on", "day"),
            Column("Progressively motile per dose (M)", "motile_dose_m", "reading"),
            Column("Straws", "n_straws", "count"),
            Column("Clinic", "clinic", is_personal=True),
            Column("Scan on", "scanned_on", "day"),
            Column("Scan", "scan", "choice", choices=("pregnant", "not pregnant", "unclear")),
            Column("Pups on scan", "n_pups_on_scan", "count"),
            Column("Result", "result", "choice", choices=("whelped", "missed", "lost")),
            Column("Whelped on", "whelped_on", "day"),
            Column("Born alive", "n_born_alive", "count"),
            Column("Stillborn", "n_stillborn", "count"),
            Column("Alive at 8 weeks", "n_alive_8_weeks", "count"),
            _NOTES,
            Column("Lot", "lot"),
            Column("Litter's inbreeding (%)", "litter_inbreeding_pct", "number"),
        ),
        "dog",
        "bred_on",
        ("stud",),
    ),
    Sheet(
        "health",
        "Health",
        (
            Column("Dog", "dog", "dog", required=True),
            Column("Date", "noted_on", "day", required=True),
            Column("Kind", "kind", "choice", required=True, choices=_KINDS),
            Column("What", "what", required=True),
            Column("Result", "result", is_personal=True),
            Column("Value", "measured_value", "printed"),
            Column("Unit", "unit"),
            Column("Laboratory's range", "laboratory_range"),
            Column("Until", "until_on", "day", may_lie_ahead=True),
            Column("Laboratory", "laboratory", is_personal=True),
            Column("Drug class", "drug_class", suggestions=(*DRUG_CLASSES, "antibiotic")),
            _NOTES,
            Column("Veterinarian", "veterinarian", is_personal=True),
        ),
        "dog",
        "noted_on",
        ("kind", "what", "laboratory"),
    ),
    Sheet(
        "prices",
        "Prices",
        (
            Column(
                "What",
                "what",
                "choice",
                required=True,
                choices=(*PRICE_ITEMS, "other"),
                word="price_item",
            ),
            Column("Price", "price", "number", required=True),
            Column("Currency", "currency", required=True),
            Column("From", "valid_from", "day", may_lie_ahead=True),
            Column("Until", "valid_until", "day", may_lie_ahead=True),
            _NOTES,
        ),
        "what",
        "valid_from",
        ("currency", "notes"),
    ),
    Sheet(
        "intervals",
        "Intervals",
        (
            Column(
                "What",
                "what",
                required=True,
                suggestions=REPEATED,
                word="repeated",
            ),
            Column("Every (days)", "repeat_days", "count", required=True),
            _NOTES,
        ),
        "what",
        None,
        (),
    ),
)

SHEETS: Mapping[str, Sheet] = MappingProxyType({sheet.name: sheet for sheet in _SHEETS})
"""Every sheet, in the order in which they are loaded: what is referred to comes first."""


def recognize(file_name: str, stem: str, headings: Sequence[str]) -> Sheet:
    """Tell which sheet a row of headings belongs to.

    Parameters
    ----------
    file_name
        For the message.
    stem
        Name of the file or worksheet without its ending; decides when it names a sheet.
    headings
        The first row.

    Raises
    ------
    RecordsError
        Neither the name nor the headings fit a sheet.
    """
    named = _plain(stem)
    for sheet in SHEETS.values():
        if named in (sheet.name, _plain(sheet.title)):
            return sheet
    given = {_plain(heading) for heading in headings if heading.strip()} - _OWN_HEADINGS
    fitting = [
        sheet
        for sheet in SHEETS.values()
        if {_plain(c.heading) for c in sheet.columns if c.required} <= given
        and given <= {_plain(c.heading) for c in sheet.columns}
    ]
    if not fitting:
        raise RecordsError(
            f"{file_name} is none of the sheets {', '.join(s.title for s in SHEETS.values())}: "
            "neither its name nor its headings fit. Name it after its sheet, or start from the "
            "empty workbook."
        )
    return max(fitting, key=lambda sheet: sum(column.required for column in sheet.columns))


def library_names(file_name: str, sheet: Sheet, headings: Sequence[str]) -> list[str | None]:
    """Translate headings to library names; a blank heading and that of the remarks give None.

    Raises
    ------
    RecordsError
        A heading is unknown or comes twice, or a required one is missing.
    """
    by_heading = {_plain(column.heading): column for column in sheet.columns}
    columns = [by_heading.get(_plain(heading)) for heading in headings]
    for heading, column in zip(headings, columns, strict=True):
        if column is None and heading.strip() and _plain(heading) not in _OWN_HEADINGS:
            raise RecordsError(
                f"{file_name} has no use for the heading {heading.strip()[:60]!r}; the sheet "
                f"{sheet.title} has {', '.join(c.heading for c in sheet.columns[:6])}, … "
                "Rename or remove it."
            )
    given = [column for column in columns if column is not None]
    for column in sheet.columns:
        if given.count(column) > 1:
            raise RecordsError(
                f"{file_name} has the heading {column.heading!r} twice. Remove one of them."
            )
        if column.required and column not in given:
            raise RecordsError(
                f"{file_name} has no column {column.heading!r}, which every line of "
                f"{sheet.title} needs. Add it."
            )
    names = [column.name if column else None for column in columns]
    answers = [n for n, heading in enumerate(headings) if _plain(heading) == _plain(ANSWER_HEADING)]
    for n in answers[:1]:
        names[n] = ANSWER_NAME
    return names


def n_known(headings: Sequence[str]) -> int:
    """Count the headings that some sheet knows: tells the separator of a CSV file."""
    headings_of_sheets = {
        _plain(column.heading) for sheet in SHEETS.values() for column in sheet.columns
    }
    return sum(_plain(heading) in headings_of_sheets for heading in headings)


def _plain(heading: str) -> str:
    return re.sub(r"\s+", " ", heading).strip().removesuffix(REQUIRED_MARK).strip().casefold()


_OWN_HEADINGS = {_plain(REMARK_HEADING), _plain(ANSWER_HEADING)}
"""Headings that only the workbook of lines to correct has."""
