"""The owner's sheets: which headings they carry, and which file is which sheet.

This is the only module that knows how a sheet spells a heading or a word. Beyond it there are
library names and text cells; a blank cell is ``None``.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from analytics.errors import RecordsError

CellKind = Literal["text", "dog", "choice", "day", "clock", "number", "reading", "by_eye"]
"""How a cell is read: a known dog, one of a few words, a date, a time, a number, a measurement
that may be censored, or a motility that is rounded when judged by eye."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet.

    Attributes
    ----------
    heading
        As the owner sees it.
    name
        Library name; the quantity in the vocabulary unless ``quantity`` says otherwise.
    kind
        How its cells are read.
    required
        Whether a line without it is refused.
    choices
        The words a choice may take.
    quantity
        Name in the vocabulary that gives the bounds, when it differs from ``name``.
    """

    heading: str
    name: str
    kind: CellKind = "text"
    required: bool = False
    choices: tuple[str, ...] = ()
    quantity: str | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its columns and what makes a line itself.

    Attributes
    ----------
    name
        Also the stem of its CSV file.
    columns
        In the order of the sheet.
    key
        Columns whose values identify a line; a line with the same key replaces its older version.
    """

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]

    def column(self, name: str) -> Column:
        """Find a column by its library name."""
        return next(column for column in self.columns if column.name == name)


@dataclass(frozen=True, slots=True)
class SheetFile:
    """A file as read: every cell is text, every line keeps its number.

    Attributes
    ----------
    path
        Where it came from.
    sheet
        Which sheet it is.
    lines
        Physical line number of the first line of each row, from 1.
    cells
        One dict a row: library name to text or None.
    """

    path: Path
    sheet: Sheet
    lines: list[int]
    cells: list[dict[str, str | None]]


N_PROGESTERONE = 6
"""Progesterone readings that a Heats line has room for."""

FAILED = ("no erection", "refused", "nothing", "stopped for pain")
"""Why a collection failed."""

SEMEN_TYPES = ("natural", "fresh", "chilled", "frozen")
ROUTES = ("natural", "vaginal", "transcervical", "surgical")


def _progesterone(n: int) -> tuple[Column, ...]:
    return (
        Column(f"Progesterone {n} on", f"progesterone_{n}_on", "day"),
        Column(f"Progesterone {n} at", f"progesterone_{n}_at", "clock"),
        Column(f"Progesterone {n}", f"progesterone_{n}", "reading", quantity="progesterone"),
        Column(
            f"Progesterone {n} unit",
            f"progesterone_{n}_unit",
            "choice",
            choices=("ng/mL", "nmol/L"),
        ),
        Column(f"Progesterone {n} laboratory", f"progesterone_{n}_laboratory"),
    )


_NOTES = Column("Notes", "notes")

_SHEETS = (
    Sheet(
        "dogs",
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
            Column("Owner", "owner"),
            Column("Litters before", "n_litters_before", "number"),
            Column("Missed before", "n_missed_before", "number"),
            _NOTES,
        ),
        ("call_name", "born_on"),
    ),
    Sheet(
        "collections",
        (
            Column("Dog", "dog", "dog", required=True),
            Column("Date", "collected_on", "day", required=True),
            Column("Time", "collected_at", "clock"),
            Column("Result", "failed_reason", "choice", choices=FAILED),
            Column("Volume (mL)", "volume_ml", "reading"),
            Column("Concentration (M/mL)", "concentration_m_per_ml", "reading"),
            Column("Cells counted", "n_cells_counted", "number"),
            Column(
                "How counted",
                "count_method",
                "choice",
                choices=("chamber", "photometer", "not counted"),
            ),
            Column("% moving", "total_motility_pct", "by_eye"),
            Column("% moving forward", "progressive_motility_pct", "by_eye"),
            Column("How judged", "motility_method", "choice", choices=("counted", "by eye")),
            Column("Sperm judged", "n_motility_judged", "number"),
            Column("% normal", "normal_morphology_pct", "reading"),
            Column("Sperm checked for shape", "n_morphology_checked", "number"),
            Column(
                "Appearance",
                "appearance",
                "choice",
                choices=("normal", "blood", "pus", "urine", "other"),
            ),
            Column("Read by", "observer"),
            Column("Extender", "extender"),
            Column("Doses made", "n_doses", "number"),
            Column(
                "Where they went",
                "destination",
                "choice",
                choices=("own bitch", "shipped", "frozen", "discarded", "evaluation only"),
            ),
            _NOTES,
        ),
        ("dog", "collected_on", "collected_at"),
    ),
    Sheet(
        "boxes",
        (
            Column("Stud", "dog", "dog", required=True),
            Column("Collected on", "collected_on", "day"),
            Column("Sent on", "sent_on", "day", required=True),
            Column("Sent at", "sent_at", "clock"),
            Column("Carrier", "carrier"),
            Column("Extender", "extender"),
            Column("Doses", "n_doses", "number"),
            Column("Volume per dose (mL)", "dose_volume_ml", "number"),
            Column("M forward per dose", "motile_dose_m", "reading"),
            Column("For bitch", "for_bitch"),
            Column("Clinic", "clinic"),
            Column("Promised on", "promised_on", "day"),
            Column("Arrived on", "arrived_on", "day"),
            Column("Arrived at", "arrived_at", "clock"),
            Column(
                "% moving forward on arrival",
                "arrival_pct",
                "by_eye",
                quantity="progressive_motility_pct",
            ),
            Column(
                "Minutes warmed on arrival", "arrival_minutes", "number", quantity="minutes_at_37"
            ),
            Column(
                "% moving forward kept back",
                "kept_back_pct",
                "by_eye",
                quantity="progressive_motility_pct",
            ),
            Column("Kept back read on", "kept_back_on", "day"),
            Column("Kept back read at", "kept_back_at", "clock"),
            Column(
                "Minutes warmed kept back", "kept_back_minutes", "number", quantity="minutes_at_37"
            ),
            _NOTES,
        ),
        ("dog", "sent_on", "for_bitch"),
    ),
    Sheet(
        "heats",
        (
            Column("Bitch", "dog", "dog", required=True),
            Column("First day", "first_day", "day", required=True),
            Column("LH surge on", "lh_surge_on", "day"),
            Column("Vet's ovulation date", "vet_ovulation_on", "day"),
            *(column for n in range(1, N_PROGESTERONE + 1) for column in _progesterone(n)),
            _NOTES,
        ),
        ("dog", "first_day"),
    ),
    Sheet(
        "breedings",
        (
            Column("Bitch", "dog", "dog", required=True),
            Column("Stud", "stud", "dog", required=True),
            Column("Date", "bred_on", "day", required=True),
            Column("Time", "bred_at", "clock"),
            Column("Semen", "semen_type", "choice", required=True, choices=SEMEN_TYPES),
            Column("Route", "route", "choice", choices=ROUTES),
            Column("Second date", "second_on", "day"),
            Column("Second time", "second_at", "clock"),
            Column("Collected on", "collected_on", "day"),
            Column("M forward per dose", "motile_dose_m", "reading"),
            Column("Straws", "n_straws", "number"),
            Column("Clinic", "clinic"),
            Column("Scan on", "scanned_on", "day"),
            Column("Scan", "scan", "choice", choices=("pregnant", "not pregnant", "unclear")),
            Column("Pups on scan", "n_pups_on_scan", "number"),
            Column("Result", "result", "choice", choices=("whelped", "empty", "lost")),
            Column("Whelped on", "whelped_on", "day"),
            Column("Born alive", "n_born_alive", "number"),
            Column("Stillborn", "n_stillborn", "number"),
            Column("Alive at 8 weeks", "n_alive_8_weeks", "number"),
            _NOTES,
        ),
        ("dog", "stud", "bred_on"),
    ),
    Sheet(
        "health",
        (
            Column("Dog", "dog", "dog", required=True),
            Column("Date", "noted_on", "day", required=True),
            Column(
                "Kind",
                "kind",
                "choice",
                required=True,
                choices=("examination", "laboratory test", "event"),
            ),
            Column("What", "what", required=True),
            Column("Result", "result"),
            Column("Value", "measured_value", "reading"),
            Column("Unit", "unit"),
            Column("Laboratory's range", "laboratory_range"),
            Column("Until", "until_on", "day"),
            Column("Laboratory", "laboratory"),
            Column("Drug class", "drug_class"),
            _NOTES,
        ),
        ("dog", "noted_on", "kind", "what"),
    ),
    Sheet(
        "frozen",
        (
            Column("Stud", "dog", "dog", required=True),
            Column("Frozen on", "frozen_on", "day", required=True),
            Column("Lot", "lot", required=True),
            Column("Straws", "n_straws", "number", required=True),
            Column("M sperm per straw", "motile_per_straw_m", "reading"),
            Column("% moving forward after thaw", "post_thaw_progressive_motility_pct", "by_eye"),
            Column("Straws per dose", "n_straws_per_dose", "number"),
            Column("Stored at", "stored_at"),
            _NOTES,
        ),
        ("dog", "lot"),
    ),
    Sheet(
        "prices",
        (
            Column("What", "what", required=True),
            Column("Price", "price", "number", required=True),
            Column("Currency", "currency", required=True),
            Column("From", "valid_from", "day"),
            Column("Until", "valid_until", "day"),
            _NOTES,
        ),
        ("what", "valid_from"),
    ),
)

SHEETS: Mapping[str, Sheet] = MappingProxyType({sheet.name: sheet for sheet in _SHEETS})
"""Every sheet, in the order in which they are loaded: what is referred to comes first."""


def read_sheet(path: Path) -> SheetFile:
    """Read one CSV file as text.

    Parameters
    ----------
    path
        A CSV file named after its sheet, or with a sheet's headings.

    Returns
    -------
    SheetFile
        Cells stripped; a blank cell is None; wholly blank rows are left out.

    Raises
    ------
    RecordsError
        The file cannot be read as a sheet; the sentence says why and what to do.
    """
    text = _decoded(path)
    try:
        rows = _numbered_rows(text)
    except csv.Error as problem:
        raise RecordsError(
            f"{path.name} is not a readable CSV file ({problem}). Save it again as CSV."
        ) from None
    if not rows:
        raise RecordsError(f"{path.name} is empty. A sheet begins with its row of headings.")
    headings = [heading.strip() for heading in rows[0][1]]
    sheet = _recognised(path, headings)
    names = _names(path, sheet, headings)
    lines: list[int] = []
    cells: list[dict[str, str | None]] = []
    for line, row in rows[1:]:
        if not any(cell.strip() for cell in row):
            continue
        if len(row) > len(names) and any(cell.strip() for cell in row[len(names) :]):
            raise RecordsError(
                f"{path.name}, line {line}: {len(row)} cells under {len(names)} headings. "
                "A comma inside a cell needs quotes around the cell."
            )
        padded = [*row, *([""] * (len(names) - len(row)))]
        lines.append(line)
        cells.append(
            {name: padded[i].strip() or None for i, name in enumerate(names) if name is not None}
        )
    return SheetFile(path, sheet, lines, cells)


def _decoded(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except OSError as problem:
        raise RecordsError(f"{path} cannot be read: {problem.strerror}.") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise RecordsError(
            f"{path.name} is not UTF-8 text. Save it as 'CSV UTF-8' and load it again."
        ) from None
    if "\0" in text:
        raise RecordsError(f"{path.name} holds NUL characters, so it is no CSV text file.")
    return text


def _numbered_rows(text: str) -> list[tuple[int, list[str]]]:
    """Rows with the physical number of their first line, also past quoted line breaks."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    numbered: list[tuple[int, list[str]]] = []
    first = 1
    for row in reader:
        numbered.append((first, row))
        first = reader.line_num + 1
    return numbered


def _recognised(path: Path, headings: list[str]) -> Sheet:
    if path.stem.lower() in SHEETS:
        return SHEETS[path.stem.lower()]
    for sheet in SHEETS.values():
        if {column.heading for column in sheet.columns if column.required} <= set(headings) and set(
            headings
        ) <= {column.heading for column in sheet.columns}:
            return sheet
    raise RecordsError(
        f"{path.name} is none of the sheets {', '.join(SHEETS)}: neither its name nor its headings "
        "fit. Name the file after its sheet."
    )


def _names(path: Path, sheet: Sheet, headings: list[str]) -> list[str | None]:
    known = {column.heading.casefold(): column.name for column in sheet.columns}
    names = [known.get(heading.casefold()) for heading in headings]
    unknown = [h for h, name in zip(headings, names, strict=True) if name is None and h]
    if unknown:
        raise RecordsError(
            f"{path.name} has no use for the heading {unknown[0]!r}; the sheet {sheet.name} has "
            f"{', '.join(column.heading for column in sheet.columns[:6])}, … Rename or remove it."
        )
    given = [name for name in names if name is not None]
    if len(set(given)) < len(given):
        raise RecordsError(f"{path.name} has the same heading twice. Remove one of them.")
    missing = [column.heading for column in sheet.columns if column.required]
    missing = [heading for heading in missing if known[heading.casefold()] not in given]
    if missing:
        raise RecordsError(
            f"{path.name} has no column {missing[0]!r}, which every line of {sheet.name} needs."
        )
    return names
