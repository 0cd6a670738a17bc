"""From a file on disk to lines of text that the database can read, or one clear sentence.

A file that is plain already (one line a record, UTF-8) is handed over as it is; any other CSV file
and every workbook is written anew, record by record, with the number of its line beside it. Nothing
is typed here: a cell is text, stripped of the blanks around it, and a blank cell is nothing.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import json
import os
import shutil
import stat
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path

import numpy as np

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.sheets.columns import Sheet, library_names, n_known, recognize

MAX_BYTES = 1_000_000_000
"""Largest file that is read. [bytes] Ten million lines fit."""

MAX_COLUMNS = 500
"""Most headings of a sheet; the widest of ours has 35."""

MAX_RECORD_CHARACTERS = 1_000_000
"""Longest record; longer ones come from a quotation mark that was never closed."""

SEPARATORS = (",", ";", "\t")
CHUNK_BYTES = 1 << 24
ODD_BLANKS = "\t\u00a0\u1680" + "".join(map(chr, range(0x2000, 0x200B))) + "\u202f\u205f\u3000"
"""Blanks beside the space that only the careful way takes off a cell."""

_IS_EDGE = np.isin(np.arange(256), list(b',;"\r\n'))
"""Which bytes may stand at either end of a cell of a plain file."""

ENDINGS = (".csv", ".txt", ".tsv", ".xlsx", ".xlsm")


@dataclass(frozen=True, slots=True)
class SheetText:
    """Lines of one sheet as text, ready to be read by the database.

    Attributes
    ----------
    name
        Name of the file, and of the worksheet in it; findings call it so.
    sheet
        Which sheet it is.
    names
        Library names of its columns, in the order of the file; None for a column without heading.
    path
        The text file to read: records from its second line.
    separator
        Between cells.
    sha256
        Digest of the file as the owner has it.
    n_records
        Records the text must hold.
    is_rewritten
        Whether each record begins with two cells of ours: its line number and surplus cells.
    is_trimmed
        Whether surely no cell begins or ends with a space.
    encoding
        Of the owner's file.
    origin
        The owner's file.
    stamp
        Its size and time of change when it was read first.
    """

    name: str
    sheet: Sheet
    names: tuple[str | None, ...]
    path: Path
    separator: str
    sha256: str
    n_records: int
    is_rewritten: bool
    is_trimmed: bool
    encoding: str
    origin: Path
    stamp: tuple[int, int]

    def is_unchanged(self) -> bool:
        """Whether the owner's file is still the one that was read first."""
        return self.stamp == stamp(self.origin)


@dataclass(frozen=True, slots=True)
class _Scan:
    """What one pass over the bytes of a CSV file found."""

    sha256: str
    encoding: str
    n_lines: int
    is_plain: bool
    is_trimmed: bool


def find_files(paths: Sequence[Path]) -> list[Path]:
    """List the files to read: those named, and the sheets of the folders named.

    Raises
    ------
    RecordsError
        A path does not exist, is a link or no file, or a folder holds no sheet.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(
                entry
                for entry in path.iterdir()
                if entry.suffix.lower() in ENDINGS and not entry.name.startswith(("~$", "."))
            )
            if not inside:
                raise RecordsError(
                    f"{path} holds no CSV file and no workbook. Name the sheets or their folder."
                )
            found.extend(inside)
        else:
            found.append(path)
    for path in found:
        _refuse_unreadable(path)
    return found


def stamp(path: Path) -> tuple[int, int]:
    """Size and time of change of a file."""
    status = path.stat()
    return status.st_size, status.st_mtime_ns


def rewrite(text: SheetText, staging: Path) -> SheetText:
    """Write the records of a CSV file anew, for what the plain way could not read."""
    with text.origin.open(encoding=text.encoding, newline="") as lines:
        records = _numbered_records(text.name, lines, text.separator)
        next(records)
        return write_records(text, records, staging)


def _refuse_unreadable(path: Path) -> None:
    try:
        status = path.lstat()
    except (OSError, ValueError):
        raise RecordsError(f"There is no file {path}.") from None
    if stat.S_ISLNK(status.st_mode):
        raise RecordsError(f"{path} is a link to another place. Name the file itself.")
    if not stat.S_ISREG(status.st_mode):
        raise RecordsError(f"{path} is no file that can be read. Name a CSV file or a workbook.")
    if status.st_size > MAX_BYTES:
        raise RecordsError(
            f"{path.name} holds {status.st_size / 1e9:.1f} GB; up to {MAX_BYTES / 1e9:.0f} GB is "
            "read. Load it in parts."
        )


# CSV


def read_csv_text(path: Path, staging: Path) -> SheetText:
    """Read a CSV file as the text of a sheet.

    Parameters
    ----------
    path
        Comma, semicolon or tab between the cells; UTF-8, UTF-16 or the Windows encoding.
    staging
        Folder for the text.

    Raises
    ------
    RecordsError
        The file cannot be read as a sheet; the sentence says why and what to do.
    """
    before = stamp(path)
    scan = _scan(path)
    separator, headings, n_heading_lines = _headings(path, scan.encoding)
    if len(headings) > MAX_COLUMNS:
        raise RecordsError(
            f"{path.name} has {len(headings)} headings; a sheet has at most {MAX_COLUMNS}. "
            "Start from the empty workbook."
        )
    sheet = recognize(path.name, path.stem, headings)
    text = SheetText(
        name=path.name,
        sheet=sheet,
        names=tuple(library_names(path.name, sheet, headings)),
        path=path,
        separator=separator,
        sha256=scan.sha256,
        n_records=scan.n_lines - 1,
        is_rewritten=False,
        is_trimmed=scan.is_trimmed,
        encoding=scan.encoding,
        origin=path,
        stamp=before,
    )
    if not scan.is_plain or n_heading_lines > 1:
        return rewrite(text, staging)
    return replace(text, path=_linked(path, staging))


def _scan(path: Path) -> _Scan:
    """Digest, encoding and number of lines, in one pass."""
    digest, decoder = hashlib.sha256(), codecs.getincrementaldecoder("utf-8")()
    hashed: Future[None] | None = None
    n_lines, last, is_utf8, is_plain, is_trimmed, begins = 0, b"\n", True, True, True, b""
    try:
        with path.open("rb") as raw, ThreadPoolExecutor(max_workers=1) as beside:
            while chunk := raw.read(CHUNK_BYTES):
                begins = begins or chunk[:2]
                if hashed:
                    hashed.result()
                hashed = beside.submit(digest.update, chunk)
                n_lines += chunk.count(b"\n")
                is_plain = is_plain and b"\t" not in chunk
                if is_utf8 and not (chunk.isascii() and decoder.getstate() == (b"", 0)):
                    try:
                        text = decoder.decode(chunk)
                    except UnicodeDecodeError:
                        is_utf8 = False
                    else:
                        is_plain = is_plain and not any(blank in text for blank in ODD_BLANKS)
                if b"\0" in chunk and begins not in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
                    raise RecordsError(
                        f"{path.name} holds NUL characters, so it is no CSV text. Save it again "
                        "as CSV from the program that made it."
                    )
                if b"\r" in chunk and chunk.count(b"\r") != chunk.count(b"\r\n"):
                    is_plain = False
                is_trimmed = is_trimmed and not _has_outer_space(last + chunk)
                last = chunk[-1:]
    except OSError as problem:
        raise RecordsError(f"{path} cannot be read: {problem.strerror}.") from None
    n_lines += last != b"\n"
    is_trimmed = is_trimmed and last != b" "
    if begins in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        return _Scan(digest.hexdigest(), "utf-16", n_lines, False, False)
    if is_utf8:
        try:
            decoder.decode(b"", final=True)
            return _Scan(digest.hexdigest(), "utf-8-sig", n_lines, is_plain, is_trimmed)
        except UnicodeDecodeError:
            pass
    return _Scan(digest.hexdigest(), "cp1252", n_lines, False, False)


def _has_outer_space(content: bytes) -> bool:
    """Whether a space stands beside the end of a cell, taking every separator for one."""
    characters = np.frombuffer(content, np.uint8)
    spaces = np.flatnonzero(characters == ord(" "))
    return bool(
        _IS_EDGE[characters[spaces[spaces > 0] - 1]].any()
        or _IS_EDGE[characters[spaces[spaces < len(characters) - 1] + 1]].any()
    )


def _linked(path: Path, staging: Path) -> Path:
    """The file under a name of ours in the staging folder, without copying it where possible."""
    target = _new_file(staging)
    with suppress(OSError):
        os.link(path, target)
        return target
    shutil.copyfile(path, target)
    return target


def _headings(path: Path, encoding: str) -> tuple[str, list[str], int]:
    """Separator, headings, and how many lines they take; the separator finds most of them."""
    with path.open(encoding=encoding, newline="") as text, _reporting(path.name):
        beginning = text.read(MAX_RECORD_CHARACTERS)
    found: list[tuple[int, str, list[str], int]] = []
    for separator in SEPARATORS:
        reader = csv.reader(io.StringIO(beginning, newline=""), delimiter=separator)
        with _reporting(path.name):
            headings = next(reader, [])
        found.append((n_known(headings), separator, headings, reader.line_num))
    _, separator, headings, n_lines = max(found, key=lambda reading: reading[0])
    if not any(heading.strip() for heading in headings):
        raise RecordsError(
            f"{path.name} does not begin with its headings. The first line names the columns."
        )
    return separator, headings, n_lines


def _numbered_records(
    name: str, lines: Iterable[str], separator: str
) -> Iterator[tuple[int, list[str]]]:
    """Records with the physical number of their first line, also past quoted line breaks."""
    reader = csv.reader(lines, delimiter=separator, strict=True)
    first = 1
    while True:
        with _reporting(name, first):
            record = next(reader, None)
        if record is None:
            return
        yield first, record
        first = reader.line_num + 1


@contextmanager
def _reporting(name: str, line: int = 1) -> Iterator[None]:
    """Say in a sentence what keeps a text from being read as CSV."""
    csv.field_size_limit(MAX_RECORD_CHARACTERS)
    try:
        yield
    except csv.Error as problem:
        raise RecordsError(
            f"{name}, line {line}: not a readable CSV record ({problem}). Look for a quotation "
            "mark that is not closed, or save the file again as CSV."
        ) from None
    except UnicodeError:
        raise RecordsError(
            f"{name} is text in neither UTF-8 nor the Windows encoding (1252). Save it as "
            "'CSV UTF-8' and load it again."
        ) from None


def write_records(
    text: SheetText, records: Iterable[tuple[int, list[str]]], staging: Path
) -> SheetText:
    """Write numbered records as a plain text; wholly blank ones are left out."""
    target = _new_file(staging)
    n_cells = len(text.names)
    n_records = 0
    with target.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["line", "surplus", *range(n_cells)])
        for line, record in records:
            cells = [cell.strip() for cell in record]
            if not any(cells):
                continue
            if any("\0" in cell for cell in cells):
                raise RecordsError(f"{text.name}, line {line}: a cell holds a NUL character.")
            if sum(map(len, cells)) > MAX_RECORD_CHARACTERS:
                raise RecordsError(
                    f"{text.name}, line {line}: one record of more than "
                    f"{MAX_RECORD_CHARACTERS:,} characters. Look for a quotation mark that is not "
                    "closed."
                )
            surplus = [cell for cell in cells[n_cells:] if cell]
            padded = cells[:n_cells] + [""] * (n_cells - len(cells))
            writer.writerow([line, json.dumps(surplus) if surplus else "", *padded])
            n_records += 1
    return replace(
        text, path=target, separator=",", n_records=n_records, is_rewritten=True, is_trimmed=True
    )


def _new_file(staging: Path) -> Path:
    return next(p for n in count() if not (p := staging / f"{n}.csv").exists())
