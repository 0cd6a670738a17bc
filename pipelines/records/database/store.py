"""The records file: the only door to the database.

A load is one transaction: the verbatim lines, what was found wrong with them and the typed rows
come in together or not at all. Nothing recorded is lost: a refused line is kept with its reasons, a
changed line supersedes its older version and both stay readable.
"""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cache
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Any, Self

import duckdb
import numpy as np
import pandas as pd

from studcurve.analytics.errors import RecordsError, StoreLockedError
from studcurve.analytics.estimate import Floats
from studcurve.analytics.vocabulary import VOCABULARY
from studcurve.pipelines.records.database import history
from studcurve.pipelines.records.database.health_functions import add_health_functions
from studcurve.pipelines.records.database.history import Confirmed, Erased
from studcurve.pipelines.records.database.loading import DayOrder, SheetCount, load_sheets
from studcurve.pipelines.records.database.schema import (
    SQL,
    VIEWS,
    are_views_current,
    broken_promises,
    columns_by_table,
    due_migrations,
    kept_tables,
    make_views,
    migrate,
    migrations,
    newest_schema,
    refuse_foreign,
    schema_version,
    shadow_views,
)
from studcurve.pipelines.records.database.tables import (
    columns_of,
    read_tables,
    write_sheet,
    write_tables,
)
from studcurve.pipelines.records.reading.staging import read_texts, stage
from studcurve.pipelines.records.sheets.columns import SHEETS

STORAGE_VERSION = "v1.4.0"
"""File format: readable by every release of the engine since 1.4."""

RECORDS_END = "records end"
"""Which day of a file is the last one of its records."""

N_TRIES = 5
"""How often a file is opened again that was replaced meanwhile."""

MEMORY_LIMIT = "1GB"
"""What the engine may hold in memory; a larger load goes through a temporary file."""


@dataclass(frozen=True, slots=True)
class LoadReport:
    """What a load did.

    Attributes
    ----------
    sheets
        Counts by sheet, in order of loading.
    findings
        The open findings that this load is about; columns as in the view ``findings``.
    ignored
        Names of worksheets that are none of the sheets.
    """

    sheets: Mapping[str, SheetCount]
    findings: pd.DataFrame
    ignored: tuple[str, ...] = ()

    @property
    def n_refused(self) -> int:
        """Lines that were kept and not used."""
        return sum(count.n_refused for count in self.sheets.values())

    @property
    def n_doubtful(self) -> int:
        """Lines that are left out until somebody confirms them."""
        return sum(count.n_doubtful for count in self.sheets.values())

    @property
    def n_questions(self) -> int:
        """Doubts about lines that were let in."""
        return sum(count.n_questions for count in self.sheets.values())


@dataclass(frozen=True, slots=True)
class KeptFit:
    """A posterior as the file keeps it.

    Attributes
    ----------
    model
        Name of the model.
    fitted_at
        When, local time.
    seed
        Seed of the sampler.
    data_fingerprint, model_fingerprint, priors_fingerprint
        What the draws belong to: digests of data and priors, name and version of the model.
    versions
        Versions of the libraries that made them.
    diagnostics
        R-hat, effective sizes, divergences, draws; as the sampler's gate read them.
    seconds
        Wall time of the fit. [s]
    draws
        Thinned draws by parameter, the first axis counts draws.
    labels
        What the last axis of a parameter counts, where it counts levels.
    load_id
        The last load that the fit has read.
    checks
        What was computed once, as plain numbers: its density at the fixed records, and of some
        models how well they predict.
    """

    model: str
    fitted_at: datetime
    seed: int
    data_fingerprint: str
    model_fingerprint: str
    priors_fingerprint: str
    versions: Mapping[str, str]
    diagnostics: Mapping[str, float]
    seconds: float
    draws: Mapping[str, Floats]
    labels: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    load_id: int = 0
    checks: Mapping[str, Any] = field(default_factory=dict)


class Store:
    """An open records file.

    Use :meth:`open` as a context manager.
    """

    def __init__(
        self,
        connection: duckdb.DuckDBPyConnection,
        path: Path,
        staging: tempfile.TemporaryDirectory[str],
        *,
        is_new: bool,
    ) -> None:
        self._connection = connection
        self._staging = staging
        self._is_new = is_new
        self._is_ours = False
        self.path = path

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False, make: bool = True) -> Self:
        """Open a records file, making it when it does not exist.

        As a context manager it leaves no new file behind when its work fails.

        Parameters
        ----------
        path
            The file.
        read_only
            Many readers may open it at once, and no writer with them.
        make
            Whether a missing file is made; a reader makes none.

        Raises
        ------
        StoreLockedError
            Another process holds the file.
        RecordsError
            The file is missing and not made, of a newer version, or no records file.
        """
        is_new = not path.exists()
        staging = tempfile.TemporaryDirectory(prefix="studcurve-")
        try:
            connection, are_macros_ours = _connect(
                path, read_only=read_only, make=make, reached=Path(staging.name)
            )
        except BaseException:
            staging.cleanup()
            raise
        store = cls(connection, path, staging, is_new=is_new)
        try:
            store._migrate(read_only=read_only, are_macros_ours=are_macros_ours)
        except BaseException:
            store.close()
            raise
        return store

    @classmethod
    @contextmanager
    def open_copy(cls, path: Path) -> Iterator[Self]:
        """Open a copy of a records file, or an empty one: what is tried there changes nothing.

        Parameters
        ----------
        path
            The file; it need not exist.

        Raises
        ------
        StoreLockedError, RecordsError
            As for :meth:`open`.
        """
        with tempfile.TemporaryDirectory(prefix="studcurve-") as folder:
            copy = Path(folder) / path.name
            if path.exists():
                copy_file(path, copy)
            with cls.open(copy) as store:
                yield store

    @classmethod
    def make(cls, path: Path, tables: Path, schema: int) -> None:
        """Make a new records file from the tables of an export.

        Parameters
        ----------
        path
            The file; it must not exist.
        tables
            Folder with a Parquet file for each table.
        schema
            Version of the schema that they belong to; the file is brought up to date.

        Raises
        ------
        RecordsError
            A table is missing or does not hold what it must, or the version is not known.
        """
        if not 1 <= schema <= newest_schema():
            raise RecordsError(
                f"The export is of schema {schema}; this version reads schema 1 to "
                f"{newest_schema()}. Install the newer version that wrote it."
            )
        connection, _ = _connect(path, read_only=False, reached=tables)
        try:
            connection.execute("BEGIN")
            migrate(connection, migrations()[:schema])
            read_tables(connection, tables, unreadable=duckdb.Error)
            migrate(connection, migrations()[schema:])
            make_views(connection)
            connection.execute("COMMIT")
            connection.execute("CHECKPOINT")
        finally:
            connection.close()

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()
        self._staging.cleanup()
        if self._is_ours:
            _remember(self.path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
        if self._is_new and kind is not None:
            for made in (self.path, write_ahead(self.path)):
                made.unlink(missing_ok=True)

    @contextmanager
    def _transaction(self, *, keep: bool = True) -> Iterator[duckdb.DuckDBPyConnection]:
        """One transaction: whole or, on any problem and unless it is to be kept, nothing."""
        self._connection.execute("BEGIN")
        try:
            yield self._connection
            self._connection.execute("COMMIT" if keep else "ROLLBACK")
        except BaseException:
            # A commit that failed has rolled back already.
            with suppress(duckdb.TransactionException):
                self._connection.execute("ROLLBACK")
            raise

    def _migrate(self, *, read_only: bool, are_macros_ours: bool) -> None:
        due = due_migrations(self._connection, self.path.name, read_only=read_only)
        is_current = not due and are_macros_ours and are_views_current(self._connection)
        if read_only and not is_current:
            shadow_views(self._connection)
        elif not is_current:
            with self._transaction() as connection:
                migrate(connection, due)
                make_views(connection)
        self._is_ours = is_current or not read_only
        if not read_only:
            self._connection.execute((SQL / "macros.sql").read_text(encoding="utf-8"))

    def _one(self, query: str) -> int:
        return int(self._rows(query)[0][0])

    def _rows(self, query: str, values: Sequence[object] = ()) -> list[tuple[Any, ...]]:
        """All rows of a query; a result left half read would block the connection."""
        return self._connection.execute(query, list(values)).fetchall()

    def read(self, view: str) -> pd.DataFrame:
        """Read a view whole, in the order of its grain.

        Parameters
        ----------
        view
            One of :data:`studcurve.pipelines.records.database.schema.VIEWS`.
        """
        if view not in VIEWS:
            raise ValueError(f"{view!r} is no view; the views are {', '.join(VIEWS)}")
        return self._connection.execute(f"SELECT * FROM {view} ORDER BY ALL").df()

    def lines(self, sheet: str) -> pd.DataFrame:
        """Read every line of a sheet ever loaded: where it came from, its state, its cells.

        Parameters
        ----------
        sheet
            Name of the sheet. Every cell has a column of its library name, as typed.
        """
        names = SHEETS[sheet].names
        cells = ", ".join(f"line.cells ->> {n} AS {name}" for n, name in enumerate(names))
        return self._connection.execute(
            f"""
            SELECT
                line.entry_id, line.version, line.line_id, source_file.name AS file,
                line.line AS line_in_file, CAST(line.state AS VARCHAR) AS state, {cells}
            FROM line
            JOIN source_file USING (file_id)
            WHERE line.sheet = ?
            ORDER BY line.line_id
            """,
            [sheet],
        ).df()

    def fingerprint(self) -> str:
        """Fingerprint of the current lines; independent of their order of loading."""
        rows = self._rows(
            """
            SELECT sha256(coalesce(string_agg(of_sheet || chr(31) || cells, chr(30)
                ORDER BY of_sheet, cells), ''))
            FROM (
                SELECT CAST(sheet AS VARCHAR) AS of_sheet, cells
                FROM line
                WHERE state = 'current'
            )
            """
        )
        return str(rows[0][0])

    def broken_promises(self) -> list[str]:
        """List what does not hold in the file; empty for a sound one."""
        return broken_promises(self._connection)

    def load(
        self,
        paths: Sequence[Path],
        *,
        today: date,
        day_order: DayOrder | None = None,
        check_only: bool = False,
    ) -> LoadReport:
        """Load sheets in one transaction.

        Parameters
        ----------
        paths
            Sheet files (CSV), workbooks (XLSX), or folders of them.
        today
            A record of a later day is refused.
        day_order
            Order of day and month in dates such as 03/04/2024, which are refused without it.
        check_only
            Check everything and change nothing.

        Returns
        -------
        LoadReport
            What was done, line by line where something was wrong.

        Raises
        ------
        RecordsError
            A file cannot be read as a sheet; nothing is changed then.
        """
        with tempfile.TemporaryDirectory(dir=self._staging.name) as folder:
            texts, ignored = read_texts(paths, Path(folder))
            stage(self._connection, texts, Path(folder), unreadable=duckdb.Error)
            for text in texts:
                if not text.is_unchanged():
                    raise RecordsError(f"{text.name} was changed while it was read. Load it again.")
        add_health_functions(self._connection)
        with self._transaction(keep=not check_only) as connection:
            load_id = self._one("SELECT coalesce(max(load_id), 0) + 1 FROM load")
            counts = load_sheets(
                connection, texts, load_id=load_id, today=today, day_order=day_order
            )
            if any(count.n_new or count.n_changed for count in counts.values()) or self._one(
                f"SELECT count(*) FROM source_file WHERE load_id = {load_id}"
            ):
                connection.execute(
                    "INSERT INTO load VALUES (?, ?, ?, ?)",
                    [load_id, datetime.now().replace(microsecond=0), today, day_order],
                )
            findings = connection.execute(
                "SELECT * FROM findings WHERE finding_id IN (FROM touched) ORDER BY finding_id"
            ).df()
        return LoadReport(counts, findings, tuple(ignored))

    def confirm(self, finding_ids: Sequence[int], *, today: date, reason: str | None) -> Confirmed:
        """Let lines count that are right as they are; see :func:`.history.confirm`."""
        with self._transaction() as connection:
            return history.confirm(connection, finding_ids, today=today, reason=reason)

    def withdraw(self, finding_ids: Sequence[int], *, today: date, reason: str | None) -> int:
        """Take lines out of the records; see :func:`.history.withdraw`."""
        with self._transaction() as connection:
            return history.withdraw(connection, finding_ids, today=today, reason=reason)

    def write_erased_tables(
        self, folder: Path, name: str, *, today: date, reason: str
    ) -> tuple[Erased, dict[str, int]]:
        """Write every table without a person's name into a folder; this file stays as it is.

        See :func:`.history.erase_person`. A file written anew from the tables takes the
        place of this one at once or, whatever happens, not at all.

        Returns
        -------
        Erased, dict
            Where the name was replaced, and rows by table.
        """
        with self._transaction(keep=False) as connection:
            erased = history.erase_person(connection, name, today=today, reason=reason)
            return erased, self.write_tables(folder)

    def fold_in(self) -> None:
        """Make the file one file: what is not folded in yet comes in."""
        self._connection.execute("CHECKPOINT")

    def columns(self) -> list[tuple[str, str, str]]:
        """Table, column and type of everything in the file."""
        return columns_of(self._connection)

    def write_tables(self, folder: Path) -> dict[str, int]:
        """Write every table as Parquet and CSV into a folder; rows by table."""
        with tempfile.TemporaryDirectory(dir=self._staging.name) as made:
            n_rows = write_tables(self._connection, Path(made))
            for file in sorted(Path(made).iterdir()):
                shutil.move(file, folder / file.name)
        return n_rows

    def write_sheet(self, name: str, path: Path) -> None:
        """Write the lines of a sheet that count, as they were typed, as CSV."""
        with tempfile.TemporaryDirectory(dir=self._staging.name) as made:
            write_sheet(self._connection, name, Path(made) / "sheet.csv")
            shutil.move(Path(made) / "sheet.csv", path)

    def settings(self, keep: Mapping[str, float] = MappingProxyType({})) -> dict[str, float]:
        """What the kennel has said once, after keeping what is given, by quantity.

        Raises
        ------
        RecordsError
            A value lies outside what its quantity can be; nothing is kept then.
        """
        for name, value in keep.items():
            known = VOCABULARY[name]
            if not known.low <= value <= known.high:
                raise RecordsError(
                    f"{known.label} lies between {known.low:g} and {known.high:g} {known.unit}; "
                    f"got {value:g}. Nothing was kept."
                )
        if keep:
            with self._transaction() as connection:
                for name, value in keep.items():
                    connection.execute(
                        "INSERT OR REPLACE INTO setting VALUES (?, ?)", [name, value]
                    )
        return {str(name): float(value) for name, value in self._rows("FROM setting")}

    def end_on(self, day: date) -> None:
        """Say that these records end on a day, which is today for whoever reads them."""
        with self._transaction() as connection:
            connection.execute("INSERT OR REPLACE INTO file_day VALUES (?, ?)", [RECORDS_END, day])

    def refuse_empty(self) -> None:
        """Refuse a question to records that hold no line.

        Raises
        ------
        RecordsError
            No line is in force; how many wait for a person is said.
        """
        if self._one("SELECT count(*) FROM line WHERE state = 'current'"):
            return
        n_waiting = self._one("SELECT count(*) FROM line WHERE state = 'refused'")
        waiting = (
            f"{n_waiting} rejected lines wait for you: `studcurve refused` lists them."
            if n_waiting
            else "Load sheets into them first: `studcurve template FILE.xlsx` makes the workbook."
        )
        raise RecordsError(f"The records {self.path} are empty: no line counts yet. {waiting}")

    def save_fit(self, kept: KeptFit) -> None:
        """Keep a posterior; the older one of the same model is replaced."""
        with self._transaction() as connection:
            _delete_fit(connection, kept.model)
            fit_id = self._one("SELECT coalesce(max(fit_id), 0) + 1 FROM fit")
            connection.execute(
                "INSERT INTO fit VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [
                    fit_id,
                    kept.model,
                    kept.fitted_at,
                    kept.seed,
                    kept.data_fingerprint,
                    kept.model_fingerprint,
                    kept.priors_fingerprint,
                    json.dumps(dict(kept.versions), sort_keys=True),
                    json.dumps(dict(kept.diagnostics), sort_keys=True),
                    kept.seconds,
                    kept.load_id,
                    json.dumps(dict(kept.checks), sort_keys=True),
                ],
            )
            for parameter, draws in kept.draws.items():
                packed = np.ascontiguousarray(draws, dtype="<f8")
                connection.execute(
                    "INSERT INTO fit_draws VALUES (?, ?, ?, ?, ?)",
                    [
                        fit_id,
                        parameter,
                        json.dumps(packed.shape),
                        packed.tobytes(),
                        json.dumps(kept.labels[parameter]) if parameter in kept.labels else None,
                    ],
                )

    def drop_fit(self, model: str) -> None:
        """Forget the kept posterior of a model; without one, nothing happens."""
        with self._transaction() as connection:
            _delete_fit(connection, model)

    def last_load(self) -> int:
        """Number of the last load; 0 before the first."""
        return self._one("SELECT coalesce(max(load_id), 0) FROM load")

    def n_lines_since(self, load_id: int) -> int:
        """Lines in force that came with a load after the one numbered."""
        rows = self._rows(
            """
            SELECT count(*)
            FROM line
            JOIN source_file USING (file_id)
            WHERE line.state = 'current' AND source_file.load_id > ?
            """,
            [load_id],
        )
        return int(rows[0][0])

    def read_fit(self, model: str) -> KeptFit | None:
        """Read the kept posterior of a model; None when there is none."""
        rows = self._rows(
            """
            SELECT fit_id, model, fitted_at, seed, data_fingerprint, model_fingerprint,
                priors_fingerprint, versions, diagnostics, seconds, load_id, checks
            FROM fit
            WHERE model = ?
            """,
            [model],
        )
        if not rows:
            return None
        row = rows[0]
        draws = self._rows(
            """
            SELECT parameter, shape, draws, labels
            FROM fit_draws
            WHERE fit_id = ?
            ORDER BY parameter
            """,
            [row[0]],
        )
        return KeptFit(
            model=row[1],
            fitted_at=row[2],
            seed=row[3],
            data_fingerprint=row[4],
            model_fingerprint=row[5],
            priors_fingerprint=row[6],
            versions=json.loads(row[7]),
            diagnostics=json.loads(row[8]),
            seconds=row[9],
            draws={
                name: np.frombuffer(packed, dtype="<f8").reshape(json.loads(shape))
                for name, shape, packed, _ in draws
            },
            labels={
                name: tuple(json.loads(labels))
                for name, _, _, labels in draws
                if labels is not None
            },
            load_id=row[10] or 0,
            checks=json.loads(row[11] or "{}"),
        )


def _delete_fit(connection: duckdb.DuckDBPyConnection, model: str) -> None:
    """Delete the kept posterior of a model, within a transaction."""
    connection.execute(
        "DELETE FROM fit_draws WHERE fit_id IN (SELECT fit_id FROM fit WHERE model = ?)", [model]
    )
    connection.execute("DELETE FROM fit WHERE model = ?", [model])


def write_ahead(path: Path) -> Path:
    """Where the engine keeps what it has not yet folded into the file."""
    return path.with_name(f"{path.name}.wal")


def copy_file(source: Path, target: Path) -> None:
    """Copy a records file with what is not folded in yet; other programs may only read meanwhile.

    Raises
    ------
    StoreLockedError
        Another process is writing.
    """
    connection, _ = _connect(source, read_only=True)
    try:
        # Closing the file lets go of its lock, so what is not folded in yet is copied first.
        if write_ahead(source).exists():
            shutil.copyfile(write_ahead(source), write_ahead(target))
        shutil.copyfile(source, target)
    finally:
        connection.close()


def last_day(path: Path) -> date | None:
    """Day on which the records of a file end; None for records that go on, or without a file.

    Raises
    ------
    StoreLockedError, RecordsError
        The file is held by another process, or is no records file.
    """
    if not path.exists():
        return None
    connection, _ = _connect(path, read_only=True)
    try:
        known = connection.execute(
            "SELECT 1 FROM duckdb_tables() WHERE table_name = 'file_day'"
        ).fetchall()
        days = (
            connection.execute(
                "SELECT falls_on FROM file_day WHERE which_day = ?", [RECORDS_END]
            ).fetchall()
            if known
            else []
        )
    finally:
        connection.close()
    return days[0][0] if days else None


def fold_in(path: Path) -> None:
    """Make a records file one file: what is not folded in yet comes in."""
    with held(path):
        pass


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Keep every other process out of a records file, which is one file meanwhile.

    Whoever opens the file of this path inside lets go of the lock by closing it.

    Raises
    ------
    StoreLockedError
        Another process holds it.
    """
    connection, _ = _connect(path, read_only=False)
    try:
        connection.execute("CHECKPOINT")
        yield
    finally:
        connection.close()


def refuse_damaged(path: Path, name: str) -> None:
    """Read a records file whole and look for what does not hold.

    Raises
    ------
    RecordsError
        It is damaged. A file of an older schema is read and not proved further.
    """
    connection, _ = _connect(path, read_only=True)
    try:
        for table in kept_tables(connection):
            connection.execute(f"SELECT max(hash(kept)) FROM {table} AS kept").fetchall()
        is_newest = schema_version(connection) == newest_schema()
        broken = [*_strange_tables(connection), *broken_promises(connection)] if is_newest else []
    except duckdb.Error as problem:
        broken = [str(problem).splitlines()[0]]
    finally:
        connection.close()
    if broken:
        raise RecordsError(f"{name} is damaged ({broken[0]}). Take another copy of it.")


def _strange_tables(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """List the tables that are not as the migrations make them; a sentence each."""
    kept = columns_by_table(connection)
    return [
        f"{table}: its columns are others"
        for table, columns in _promised_columns().items()
        if kept[table] != columns
    ]


@cache
def _promised_columns() -> Mapping[str, list[tuple[str, str]]]:
    with duckdb.connect() as empty:
        migrate(empty, migrations())
        return columns_by_table(empty)


def _connect(
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
        connection = _in_its_place(path, read_only=read_only)
        try:
            _lock_down(connection, reached)
            return connection, _state(path) in _OURS or refuse_foreign(connection, path.name)
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


def _in_its_place(path: Path, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    """Connect to the file that stands at a path once its lock is held.

    Another process may put a new file there between our opening and our locking; what we would
    write then would go into the replaced one.
    """
    for _ in range(N_TRIES):
        config: dict[str, str | bool | int | float | list[str]] = {"memory_limit": MEMORY_LIMIT}
        before = _place(path)
        if before is None:
            config["storage_compatibility_version"] = STORAGE_VERSION
        connection = duckdb.connect(str(path), read_only=read_only, config=config)
        if before in (None, _place(path)):
            return connection
        connection.close()
    raise StoreLockedError(f"{path.name} is being replaced. Wait, then try again.")


def _place(path: Path) -> tuple[int, int] | None:
    """What tells the file at a path from another one; None without a file."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    return found.st_dev, found.st_ino


_OURS: set[tuple[int, ...]] = set()
"""States of files that this process has left with its own views and macros and nothing else."""


def _remember(path: Path) -> None:
    state = _state(path)
    if state is not None:
        _OURS.add(state)


def _state(path: Path) -> tuple[int, ...] | None:
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
