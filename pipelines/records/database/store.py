"""The records file: the only door to the database.

A load is one transaction: the verbatim lines, what was found wrong with them and the typed rows
come in together or not at all. Nothing recorded is lost: a refused line is kept with its reasons, a
changed line supersedes its older version and both stay readable.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import date
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Any, Self

import duckdb
import pandas as pd

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.database import current_lines, history, kept_fits
from studcurve.pipelines.records.database.connection import connect, remember_trusted, write_ahead
from studcurve.pipelines.records.database.forecasts import (
    Forecast,
    add_forecasts,
    changed_forecasts,
)
from studcurve.pipelines.records.database.health_functions import add_health_functions
from studcurve.pipelines.records.database.history import Confirmed, Erased
from studcurve.pipelines.records.database.kept_fits import KeptFit
from studcurve.pipelines.records.database.loading import DayOrder, LoadReport, load_sheets
from studcurve.pipelines.records.database.schema import (
    SQL,
    VIEWS,
    are_views_current,
    broken_promises,
    due_migrations,
    make_readable,
    make_views,
    migrate,
    migrations,
    newest_schema,
    view_text,
    views_read_by,
)
from studcurve.pipelines.records.database.settings import (
    end_records,
    keep_settings,
    read_settings,
    refuse_impossible,
)
from studcurve.pipelines.records.database.tables import (
    columns_of,
    read_tables,
    write_sheet,
    write_tables,
)
from studcurve.pipelines.records.database.whole_file import copy_file
from studcurve.pipelines.records.reading.staging import read_texts, stage
from studcurve.pipelines.records.sheets.columns import SHEETS


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
        read_only: bool,
    ) -> None:
        self._connection = connection
        self._staging = staging
        self._is_new = is_new
        self._is_trusted = False
        self._is_ready_to_load = False
        # Nobody writes to a file while it is open for reading.
        self._views_read: dict[str, pd.DataFrame] | None = {} if read_only else None
        self._views_kept: set[str] = set()
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
            connection, are_macros_current = connect(
                path, read_only=read_only, make=make, reached=Path(staging.name)
            )
        except BaseException:
            staging.cleanup()
            raise
        store = cls(connection, path, staging, is_new=is_new, read_only=read_only)
        try:
            store._migrate(read_only=read_only, are_macros_current=are_macros_current)
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
        connection, _ = connect(path, read_only=False, reached=tables)
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
        if self._is_trusted:
            remember_trusted(self.path)

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
        self._let_views_go()
        self._connection.execute("BEGIN")
        try:
            yield self._connection
            self._connection.execute("COMMIT" if keep else "ROLLBACK")
        except BaseException:
            # A commit that failed has rolled back already.
            with suppress(duckdb.TransactionException):
                self._connection.execute("ROLLBACK")
            raise

    def _migrate(self, *, read_only: bool, are_macros_current: bool) -> None:
        due = due_migrations(self._connection, self.path.name, read_only=read_only)
        # Whoever only reads asks none of the views that the file keeps.
        if not read_only and (
            due or not are_macros_current or not are_views_current(self._connection)
        ):
            with self._transaction() as connection:
                migrate(connection, due)
                make_views(connection)
        self._is_trusted = are_macros_current or not read_only

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
        if self._views_read is None:
            return self._read_now(view)
        if view not in self._views_read:
            self._views_read[view] = self._read_now(view)
        return self._views_read[view].copy()

    def _read_now(self, view: str) -> pd.DataFrame:
        """Read a view by its own text; what it reads is kept until something is written."""
        for below in views_read_by(view):
            if below not in self._views_kept:
                make_readable(self._connection, below)
                self._views_kept.add(below)
        source = view if view in self._views_kept else f"(\n{view_text(view)}\n)"
        return self._connection.execute(f"SELECT * FROM {source} ORDER BY ALL").df()

    def _let_views_go(self) -> None:
        """Forget what was kept of views: what is written changes them."""
        for view in self._views_kept:
            self._connection.execute(f"DROP TABLE temp.{view}")
        self._views_kept.clear()

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
        return current_lines.fingerprint(self._connection)

    def broken_promises(self) -> list[str]:
        """List what does not hold in the file; empty for a sound one."""
        return [*broken_promises(self._connection), *changed_forecasts(self._connection)]

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
        self._add_what_loads_call()
        with self._transaction(keep=not check_only) as connection:
            counts = load_sheets(connection, texts, today=today, day_order=day_order)
            findings = connection.execute(
                "SELECT * FROM findings WHERE finding_id IN (FROM touched) ORDER BY finding_id"
            ).df()
        return LoadReport(counts, findings, tuple(ignored))

    def _add_what_loads_call(self) -> None:
        """Make the macros that read cells and the functions that read Health lines, once."""
        if not self._is_ready_to_load:
            self._connection.execute((SQL / "macros.sql").read_text(encoding="utf-8"))
            add_health_functions(self._connection)
            self._is_ready_to_load = True

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
        refuse_impossible(keep)
        if keep:
            with self._transaction() as connection:
                keep_settings(connection, keep)
        return read_settings(self._connection)

    def end_on(self, day: date) -> None:
        """Say that these records end on a day, which is today for whoever reads them."""
        with self._transaction() as connection:
            end_records(connection, day)

    def refuse_empty(self) -> None:
        """Refuse a question to records that hold no line.

        Raises
        ------
        RecordsError
            No line is in force; how many wait for a person is said.
        """
        current_lines.refuse_empty(self._connection, self.path)

    def save_fit(self, kept: KeptFit) -> None:
        """Keep a posterior; the older one of the same model is replaced."""
        with self._transaction() as connection:
            kept_fits.save_fit(connection, kept)

    def read_fit(self, model: str) -> KeptFit | None:
        """Read the kept posterior of a model; None when there is none."""
        return kept_fits.read_fit(self._connection, model)

    def drop_fit(self, model: str) -> None:
        """Forget the kept posterior of a model; without one, nothing happens."""
        with self._transaction() as connection:
            kept_fits.drop_fit(connection, model)

    def add_forecasts(self, stated: Sequence[Forecast], *, load_id: int | None = None) -> None:
        """Keep what was stated, for good; see :func:`.forecasts.add_forecasts`.

        Raises
        ------
        RecordsError
            The file is open for reading only or the disk does not take it; nothing is kept then.
        """
        try:
            with self._transaction() as connection:
                add_forecasts(connection, stated, load_id=load_id)
        except (duckdb.IOException, duckdb.InvalidInputException) as why:
            # Only a file attached for reading is told by the message alone.
            if isinstance(why, duckdb.InvalidInputException) and "read-only mode" not in str(why):
                raise
            raise RecordsError(
                f"{self.path.name} does not take it ({str(why).splitlines()[0]})."
            ) from None

    def last_load(self) -> int:
        """Number of the last load; 0 before the first."""
        return current_lines.last_load(self._connection)

    def n_lines_since(self, load_id: int) -> int:
        """Lines in force that came with a load after the one numbered."""
        return current_lines.n_lines_since(self._connection, load_id)
