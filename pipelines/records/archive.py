"""Copies of the records that outlive the machine: backup, restore, export, and reading it back.

A backup is the records file itself, copied while nobody can write to it. An export is a folder of
plain tables that needs no program of ours: Parquet and CSV, the sheets as they were typed, and a
dictionary of every column. Both are made beside their place and moved into it whole.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from datetime import date
from itertools import count
from pathlib import Path

import pandas as pd

from studcurve.analytics.errors import RecordsError, StoreLockedError
from studcurve.pipelines.records.database.connection import write_ahead
from studcurve.pipelines.records.database.history import Erased
from studcurve.pipelines.records.database.schema import newest_schema
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.database.whole_file import (
    copy_file,
    fold_in,
    held,
    refuse_damaged,
)
from studcurve.pipelines.records.sheets.cell_rules import FORMULA
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.pipelines.records.sheets.dictionary import write_dictionary

MANIFEST = "studcurve-export.json"
"""Names the schema and the number of rows of each table of an export."""

ABOUT = f"""\
Records of a kennel, exported so that no program is needed to read them.

sheets/          every line that counts, as it was typed; `studcurve load` reads them
tables/          every table of the records file, as Parquet and as CSV
findings.csv     what was refused or doubted, line by line, and what to do
dictionary.csv   what each column of sheets and tables means, its unit and its possible range
{MANIFEST}       schema and number of rows; `studcurve restore FOLDER` reads Parquet back

In tables/*.csv a measurement has four columns (kind, low, high, text) and a moment three (earliest,
latest, text). In Parquet the text is blank where it is the value as plainly written. A text that a
spreadsheet would run as a formula has an apostrophe before it.
"""


def back_up(source: Path, target: Path) -> None:
    """Copy a records file; other programs may read it meanwhile, none can write.

    Parameters
    ----------
    source
        The records file; it is not changed.
    target
        The copy; it must not exist yet.

    Raises
    ------
    RecordsError
        There is no such records file, the target exists, or the disk does not take it.
    StoreLockedError
        Another process is writing.
    """
    _refuse_existing(target)
    with _made_beside(target) as part:
        copy_file(source, part)
        fold_in(part)
        refuse_damaged(part, "The records file")


def restore(copy: Path, store_path: Path) -> Path | None:
    """Put a backup, or an export read back, in the place of a records file.

    Parameters
    ----------
    copy
        A backup file, or the folder of an export.
    store_path
        The records file to be replaced; it is kept under another name.

    Returns
    -------
    Path or None
        Where the replaced file is kept; None when there was none.

    Raises
    ------
    RecordsError
        The copy cannot be read, or does not hold what it must; nothing is changed then.
    StoreLockedError
        Another process holds the records file.
    """
    if not copy.exists():
        raise RecordsError(f"There is no backup and no export {copy}. Name the one to restore.")
    if store_path.exists() and copy.is_file() and copy.samefile(store_path):
        raise RecordsError(f"{copy} is the records file itself. Name a backup of it.")
    store_path = store_path.resolve()
    is_new = not store_path.exists()
    with ExitStack() as lock:
        if not is_new:
            _hold(store_path, lock)
        with _made_beside(store_path, is_new=is_new, let_go=lock.close) as part:
            if copy.is_dir():
                Store.make(part, copy / "tables", _exported_schema(copy))
            else:
                copy_file(copy, part)
            with Store.open(part):
                pass  # brings an older one up to date
            refuse_damaged(part, copy.name)
            return None if is_new else _kept_aside(store_path, lock)


def export(
    source: Path, folder: Path, in_words: Callable[[pd.DataFrame], pd.DataFrame]
) -> list[Path]:
    """Write every record into a folder of plain tables.

    Parameters
    ----------
    source
        The records file.
    folder
        To be made.
    in_words
        Puts findings into the words of whoever exports.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    RecordsError
        The folder exists already, or the disk does not take it.
    """
    _refuse_existing(folder)
    with Store.open(source, read_only=True) as store, _made_beside(folder) as part:
        for inside in (part, part / "sheets", part / "tables"):
            inside.mkdir()
        for name in SHEETS:
            store.write_sheet(name, part / "sheets" / f"{name}.csv")
        manifest = {"schema": newest_schema(), "rows": store.write_tables(part / "tables")}
        (part / MANIFEST).write_text(json.dumps(manifest, indent=2), encoding="utf-8")
        _write_findings(part / "findings.csv", in_words(store.read("findings")))
        write_dictionary(part / "dictionary.csv", store.columns())
        (part / "README.txt").write_text(ABOUT, encoding="utf-8")
    return sorted(path for path in folder.rglob("*") if path.is_file())


def erase_from_file(path: Path, name: str, *, today: date, reason: str) -> Erased:
    """Erase a person's name from a records file, by a file written anew without it.

    Nothing of what was erased stays in the new file. No other process can write to the old one
    from the first reading until the new one stands in its place.
    """
    with (
        Store.open(path, make=False) as store,
        tempfile.TemporaryDirectory(prefix="studcurve-") as made,
    ):
        store.fold_in()
        erased, _ = store.write_erased_tables(Path(made), name, today=today, reason=reason)
        with _made_beside(path.resolve(), let_go=store.close) as part:
            Store.make(part, Path(made), newest_schema())
            refuse_damaged(part, "The file written anew")
    return erased


def _write_findings(path: Path, findings: pd.DataFrame) -> None:
    """Write findings as CSV, a text that a spreadsheet would run after an apostrophe."""
    texts = findings[["file", "severity", "message", "remedy", "closed_by"]]
    places = findings[["finding_id", "line"]]
    safe = texts.map(lambda text: f"'{text}" if re.fullmatch(FORMULA, str(text), re.S) else text)
    pd.concat([places, safe], axis="columns").to_csv(path, index=False, lineterminator="\n")


def _exported_schema(folder: Path) -> int:
    try:
        return int(json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["schema"])
    except (OSError, ValueError, KeyError, TypeError):
        raise RecordsError(
            f"{folder} is no export of records: it has no readable {MANIFEST}. Name the folder "
            "that `studcurve export` made."
        ) from None


def _refuse_existing(target: Path) -> None:
    if target.exists():
        raise RecordsError(f"{target} exists already and is left as it is. Name another place.")


@contextmanager
def _made_beside(
    target: Path, *, is_new: bool = False, let_go: Callable[[], None] | None = None
) -> Iterator[Path]:
    """A place beside the target; what was made there takes the target's place at once, or never.

    Parameters
    ----------
    target
        What is to be replaced or made.
    is_new
        Whether it must not exist by then: a file that another process made meanwhile stays.
    let_go
        Closes the target where an open file cannot be replaced.
    """
    part = target.with_name(f".{target.name}.part")
    _remove(part)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        yield part
        write_ahead(part).unlink(missing_ok=True)
        for file in part.rglob("*") if part.is_dir() else (part,):
            _to_disk(file)
        if let_go is not None and os.name == "nt":
            let_go()
        if not (is_new and _linked(part, target)):
            os.replace(part, target)  # noqa: PTH105  a folder too
        _to_disk(target.parent)
    except OSError as why:
        raise RecordsError(f"{target} cannot be written ({why.strerror}).") from None
    finally:
        _remove(part)


def _linked(part: Path, target: Path) -> bool:
    """Give a file its new name unless there is one of that name; whether the disk can."""
    try:
        os.link(part, target)
    except FileExistsError:
        raise
    except OSError:
        return False
    return True


def _to_disk(path: Path) -> None:
    with suppress(PermissionError):  # a folder cannot be opened everywhere
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _remove(part: Path) -> None:
    if part.is_dir():
        shutil.rmtree(part)
    part.unlink(missing_ok=True)
    write_ahead(part).unlink(missing_ok=True)


def _hold(store_path: Path, lock: ExitStack) -> None:
    """Keep other processes out of the file that is to be replaced, until it is."""
    try:
        lock.enter_context(held(store_path))
    except StoreLockedError:
        raise
    except RecordsError:
        pass  # it cannot be read, which is a reason to restore; nobody else can write to it either


def _kept_aside(store_path: Path, lock: ExitStack) -> Path:
    """Give the file that is to be replaced a second name; it also keeps what is not folded in."""
    free = (store_path.with_name(f"{store_path.stem}.replaced-{n}.duckdb") for n in count(1))
    kept = next(path for path in free if not path.exists())
    if write_ahead(store_path).exists():
        write_ahead(store_path).rename(write_ahead(kept))
    try:
        os.link(store_path, kept)
    except OSError:
        # Closing the file lets go of its lock, so it stays open until it is replaced.
        content = lock.enter_context(store_path.open("rb"))
        with kept.open("wb") as copied:
            shutil.copyfileobj(content, copied)
    return kept
