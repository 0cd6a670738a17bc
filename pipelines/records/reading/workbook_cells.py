"""What a workbook says of its cells beyond their values: percent, errors, formulas without a value.

The reader of values gives 0.8 for a cell that shows 80 %, and nothing for an error or for a formula
that no program has calculated. Each would be a silent wrong number, so the parts that say so are
read here: Office Open XML, ECMA-376 part 1, 18.3.1.4 (cell), 18.8.30 (number format), 18.18.11
(type of a cell); sections from memory (M).
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from xml.parsers import expat

from studcurve.analytics.errors import RecordsError

WORKBOOK_PART = "xl/workbook.xml"
STYLES_PART = "xl/styles.xml"

PERCENT_FORMATS = frozenset({9, 10})
"""Number formats that every workbook knows as 0% and 0.00% (ECMA-376 part 1, 18.8.30)."""

_NOT_SHOWN = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]|_.|\*.')
"""Of a number format: quoted and escaped text, colors and conditions, padding."""

_SIGNS = (
    b'"e"', b"'e'", b">#", b"<f>", b"<f/", b"<f ", b"<f\t", b"<f\r", b"<f\n",
    b":f>", b":f/", b":f ", b":f\t", b":f\r", b":f\n",
)  # fmt: skip
"""One of these stands in a worksheet that holds a formula or an error."""

_UTF16 = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True)
class CellNotes:
    """What is to be said of some cells of a worksheet, by row and column from 0.

    Attributes
    ----------
    percent
        Numbers that are shown as percent.
    unread
        Cells without a value of their own: what the spreadsheet shows for an error, the formula
        where nothing was calculated.
    """

    percent: frozenset[tuple[int, int]] = frozenset()
    unread: Mapping[tuple[int, int], str] = field(default_factory=dict)


def percent_text(value: float) -> str:
    """A number shown as percent, as its owner reads it but for the sign: 0.8 is 80."""
    return f"{(Decimal(repr(value)) * 100).normalize():f}"


class WorkbookParts:
    """The parts of an unpacked workbook that say more of its cells than their values."""

    def __init__(self, name: str, packed: zipfile.ZipFile) -> None:
        self._name = name
        self._packed = packed
        self._present = set(packed.namelist())
        if WORKBOOK_PART not in self._present:
            raise RecordsError(
                f"{name} is no workbook that can be read (it holds no {WORKBOOK_PART}). "
                "Save it again as XLSX."
            )
        self._parts = self._worksheets()
        self._percent_styles = self._styles()

    def notes(self, title: str) -> CellNotes:
        """What is to be said of the cells of a worksheet.

        Raises
        ------
        RecordsError
            The worksheet is not where the workbook says.
        """
        part = self._parts.get(title)
        if part is None or part not in self._present:
            raise RecordsError(
                f"{self._name} ({title}) is not where the workbook says. Save it again as XLSX."
            )
        content = self._packed.read(part)
        if (
            not self._percent_styles
            and not content.startswith(_UTF16)
            and not any(sign in content for sign in _SIGNS)
        ):
            return CellNotes()
        scan = _CellScan(self._percent_styles)
        self._parse(content, scan.start, scan.end, scan.text)
        return CellNotes(frozenset(scan.percent), scan.unread)

    def _worksheets(self) -> dict[str, str]:
        """Part of each worksheet by its title."""
        targets: dict[str, str] = {}
        rels = posixpath.join("xl", "_rels", "workbook.xml.rels")
        if rels in self._present:
            for tag, given in self._elements(rels):
                if tag == "Relationship" and "Id" in given and "Target" in given:
                    targets[given["Id"]] = _part_name(given["Target"])
        return {
            given["name"]: targets[given["id"]]
            for tag, given in self._elements(WORKBOOK_PART)
            if tag == "sheet" and "name" in given and given.get("id") in targets
        }

    def _styles(self) -> frozenset[str]:
        """Numbers of the cell styles that show a number as percent."""
        if STYLES_PART not in self._present:
            return frozenset()
        formats, styles, is_cell_style = set(map(str, PERCENT_FORMATS)), [], False
        for tag, given in self._elements(STYLES_PART):
            if tag == "numFmt" and "%" in _NOT_SHOWN.sub("", given.get("formatCode", "")):
                formats.add(given.get("numFmtId", ""))
            elif tag in ("cellXfs", "cellStyleXfs", "cellStyles"):
                is_cell_style = tag == "cellXfs"
            elif tag == "xf" and is_cell_style:
                styles.append(given.get("numFmtId", ""))
        return frozenset(str(n) for n, shown in enumerate(styles) if shown in formats)

    def _elements(self, part: str) -> list[tuple[str, dict[str, str]]]:
        """Every element of a small part, with its attributes, without their prefixes."""
        found: list[tuple[str, dict[str, str]]] = []

        def start(tag: str, given: dict[str, str]) -> None:
            found.append((_plain(tag), {_plain(name): value for name, value in given.items()}))

        self._parse(self._packed.read(part), start)
        return found

    def _parse(
        self,
        content: bytes,
        start: Callable[[str, dict[str, str]], None],
        end: Callable[[str], None] | None = None,
        text: Callable[[str], None] | None = None,
    ) -> None:
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler = start
        parser.EndElementHandler = end
        parser.CharacterDataHandler = text
        parser.StartDoctypeDeclHandler = self._refuse_entities
        try:
            parser.Parse(content, True)
        except expat.ExpatError as why:
            raise RecordsError(
                f"{self._name} is no workbook that can be read ({why}). Save it again as XLSX."
            ) from None

    def _refuse_entities(self, *_: object) -> None:
        raise RecordsError(
            f"{self._name} declares a document type, which no workbook needs. Save it again as "
            "XLSX."
        )


class _CellScan:
    """Reads a worksheet element by element."""

    def __init__(self, percent_styles: frozenset[str]) -> None:
        self.percent: set[tuple[int, int]] = set()
        self.unread: dict[tuple[int, int], str] = {}
        self._percent_styles = percent_styles
        self._row, self._column = -1, -1
        self._kind, self._is_percent = "n", False
        self._formula: str | None = None
        self._value: str | None = None
        self._read: str | None = None

    def start(self, tag: str, given: dict[str, str]) -> None:
        """Begin an element; a cell or row without its place follows the one before."""
        tag = _plain(tag)
        if tag == "c":
            place = given.get("r")
            self._column = self._column + 1 if place is None else _column_of(place)
            if place is not None:
                self._row = int(place.lstrip(_LETTERS)) - 1
            self._kind = given.get("t", "n")
            self._is_percent = given.get("s") in self._percent_styles
            self._formula = self._value = None
        elif tag == "row":
            place = given.get("r")
            self._row = self._row + 1 if place is None else int(place) - 1
            self._column = -1
        elif tag == "v":
            self._read, self._value = tag, ""
        elif tag == "f":
            self._read, self._formula = tag, ""

    def text(self, content: str) -> None:
        """Take the text of a formula or a value."""
        if self._read == "v":
            self._value = f"{self._value}{content}"
        elif self._read == "f":
            self._formula = f"{self._formula}{content}"

    def end(self, tag: str) -> None:
        """End an element; a cell is handed on when it is whole."""
        tag = _plain(tag)
        if tag in ("v", "f"):
            self._read = None
        elif tag == "c":
            self._tell()

    def _tell(self) -> None:
        at = (self._row, self._column)
        if self._kind == "e":
            self.unread[at] = self._value or "#N/A"
        elif self._formula is not None and (
            # A text that a formula gave may be empty; a number that it gave cannot.
            self._value is None or (not self._value.strip() and self._kind != "str")
        ):
            self.unread[at] = f"={self._formula or '?'}"
        elif self._is_percent and self._kind == "n" and self._value:
            self.percent.add(at)


_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"


def _column_of(place: str) -> int:
    """Column of a place such as B7, from 0."""
    column = 0
    for letter in place.upper():
        if not "A" <= letter <= "Z":
            break
        column = 26 * column + ord(letter) - ord("A") + 1
    return column - 1


def _part_name(target: str) -> str:
    """Name of the part that the workbook's relation points at."""
    if target.startswith("/"):
        return target.lstrip("/")
    return posixpath.normpath(posixpath.join("xl", target))


def _plain(name: str) -> str:
    """Name of an element or attribute without its prefix."""
    return name.rpartition(":")[2] if ":" in name else name
