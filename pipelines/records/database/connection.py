"""The one door: connect to a records file, and let it reach nothing else.

A file that somebody sent may hold what makes the engine read or write elsewhere; every$
connection is locked down before anything in the file is used.
"""

from __future__ import annotations

import re
from pathlib import Path

import duckdb

from studcurve.analytics.errors import RecordsError, StoreLockedError
from studcurve.pipelines.records.database.schema import refuse_foreign

STORAGE_VERSION = "v1.4.0"
"""File format: readable by every release of the engine since 1.4."""

N_TRIES = 5
"""How often a file is opened again that was replaced meanwhile."""

MEMORY_LIMIT = "1GB"
"""What the engine may hold in memory; a larger load goes through a temporary file."""


def write_ahead(path: Path) -> Path:
    """Where the engine keeps what it has not yet folded into the file."""
    return path.with_name(f"{path.name}.wal")


def connect(
    path: Path, *, read_only: bool, make: bool = True, reached: Path | None = None
) -> tuple[duckdb.DuckDBPyConnection, bool]:
    """Connect to a records file, whoever wrote it: the one door.

    Nothing can be read or written from then on but the file itself and one folder.

    Parameters
    ----------
    path, read_only, make
        As for :meth:`Store.open`.
    reached
        The folder.

    Returns
    -------
    DuckDBPyConnection, bool
        The connection, and whether the macros in the file are those of this version.
    """
    if not path.exists() and (read_only or not make):
        raise RecordsError(
            f"There is no records file {path}. Load sheets into it first; `studcurve template "
            "FILE.xlsx` makes the workbook to start with."
        )
    if not path.parent.is_dir():
        raise RecordsError(f"There is no folder {path.parent} for a records file. Make it first.")
    try:
        connection = _connect_once_locked(path, read_only=read_only)
        try:
            _lock_down(connection, reached)
            return connection, _file_state(path) in _TRUSTED_STATES or refuse_foreign(
                connection, path.name
            )
        except BaseException:
            connection.close()
            raise
    except duckdb.Error as problem:
        holder = re.search(r"PID (\d+)", str(problem))
        if holder:
            raise StoreLockedError(
                f"{path.name} is in use by another process (number {holder[1]}). Close it or "
                "wait, then try again; nothing was changed."
            ) from None
        raise RecordsError(
            f"{path} is no records file that can be read. Name another one with --store, or "
            "restore a backup."
        ) from None


def _connect_once_locked(path: Path, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    """Connect to the file that stands at a path once its lock is held.

    Another process may put a new file there between our opening and our locking; what we would
    write then would go into the replaced one.
    """
    for _ in range(N_TRIES):
        config: dict[str, str | bool | int | float | list[str]] = {"memory_limit": MEMORY_LIMIT}
        before = _file_identity(path)
        if before is None:
            config["storage_compatibility_version"] = STORAGE_VERSION
        connection = duckdb.connect(str(path), read_only=read_only, config=config)
        if before in (None, _file_identity(path)):
            return connection
        connection.close()
    raise StoreLockedError(f"{path.name} is being replaced. Wait, then try again.")


def _file_identity(path: Path) -> tuple[int, int] | None:
    """What tells the file at a path from another one; None without a file."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    return found.st_dev, found.st_ino


_TRUSTED_STATES: set[tuple[int, ...]] = set()
"""States of files that hold macros of this version only, and nothing that is not theirs to hold."""


def remember_trusted(path: Path) -> None:
    """Remember that a file, as it stands now, holds macros of this version only."""
    state = _file_state(path)
    if state is not None:
        _TRUSTED_STATES.add(state)


def _file_state(path: Path) -> tuple[int, ...] | None:
    """What changes whenever a file is written; None without a file, or when more is beside it."""
    if not path.exists() or write_ahead(path).exists():
        return None
    found = path.stat()
    return found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns


def _lock_down(connection: duckdb.DuckDBPyConnection, reached: Path | None) -> None:
    """Keep whatever a file makes the engine do away from every other file and from the net."""
    folders = "" if reached is None else "'" + str(reached).replace("'", "''") + "'"
    connection.execute(f"SET allowed_directories = [{folders}]")
    connection.execute("SET enable_external_access = false")
    connection.execute("SET lock_configuration = true")
