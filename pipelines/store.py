"""The records file: the only door to the database.

A load is one transaction: the verbatim lines, what was found wrong with them and the typed rows
come in together or not at all. Nothing recorded is lost: a refused line is kept with its reasons, a
changed line supersedes its older version and both stay readable.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from importlib.resources import files
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Self

import duckdb
import numpy as np
import pandas as pd

from analytics.errors import RecordsError, StoreLockedError
from analytics.estimate import Floats
from pipelines.rules import Rule, rules_of
from pipelines.sheets import SHEETS, Column, Sheet, SheetFile, read_sheet

SQL = files("pipelines") / "sql"

STORAGE_VERSION = "v1.4.0"
"""File format: readable by every release of the engine since 1.4."""

VIEWS = (
    "dogs",
    "evaluations",
    "cycles",
    "progesterone",
    "inseminations",
    "breedings",
    "shipments",
    "events",
    "lab_tests",
    "frozen_lots",
    "findings",
)
"""Views in the order in which they are built: a view reads only tables and views before it."""

DOMAIN_TABLES = (
    "dog",
    "dog_identifier",
    "collection",
    "evaluation",
    "morphology",
    "processing",
    "dose",
    "frozen_lot",
    "shipment",
    "cycle",
    "hormone_test",
    "breeding",
    "insemination",
    "pregnancy_check",
    "litter",
    "examination",
    "lab_test",
    "event",
    "price",
)
"""Tables whose rows stand for a current line."""

DayOrder = Literal["day-first", "month-first"]
"""Which comes first in a date such as 03/04/2024."""


@dataclass(frozen=True, slots=True)
class SheetCount:
    """What a load did with the lines of one sheet."""

    n_new: int = 0
    n_unchanged: int = 0
    n_changed: int = 0
    n_refused: int = 0
    n_questions: int = 0


@dataclass(frozen=True, slots=True)
class LoadReport:
    """What a load did.

    Attributes
    ----------
    sheets
        Counts by sheet, in order of loading.
    findings
        The open findings of this load; columns as in the view ``findings``.
    """

    sheets: Mapping[str, SheetCount]
    findings: pd.DataFrame

    @property
    def n_refused(self) -> int:
        """Lines that were kept and not used."""
        return sum(count.n_refused for count in self.sheets.values())


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
        What the draws belong to.
    versions
        Versions of the libraries that made them.
    diagnostics
        R-hat, effective sizes, divergences, draws; as the sampler's gate read them.
    seconds
        Wall time of the fit. [s]
    draws
        Thinned draws by parameter, the first axis counts draws.
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


class Store:
    """An open records file.

    Use :meth:`open` as a context manager.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path) -> None:
        self._connection = connection
        self.path = path

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False) -> Self:
        """Open a records file, making it when it does not exist.

        Raises
        ------
        StoreLockedError
            Another process holds the file.
        RecordsError
            The file is missing (read only), of a newer version, or no records file.
        """
        if read_only and not path.exists():
            raise RecordsError(f"There is no records file {path}. Load sheets into it first.")
        config: dict[str, str | bool | int | float | list[str]] = {"enable_external_access": False}
        if not path.exists():
            config["storage_compatibility_version"] = STORAGE_VERSION
        try:
            connection = duckdb.connect(str(path), read_only=read_only, config=config)
        except duckdb.IOException as problem:
            holder = re.search(r"PID (\d+)", str(problem))
            if holder:
                raise StoreLockedError(
                    f"{path.name} is in use by another process (number {holder[1]}). "
                    "Close it or wait, then try again; nothing was changed."
                ) from None
            raise RecordsError(f"{path} is no records file that can be read: {problem}") from None
        store = cls(connection, path)
        try:
            store._migrate(read_only=read_only)
        except BaseException:
            connection.close()
            raise
        return store

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._connection.close()

    @contextmanager
    def _transaction(self) -> Iterator[duckdb.DuckDBPyConnection]:
        self._connection.execute("BEGIN")
        try:
            yield self._connection
            self._connection.execute("COMMIT")
        except BaseException:
            self._connection.execute("ROLLBACK")
            raise

    def _migrate(self, *, read_only: bool) -> None:
        scripts = sorted((SQL / "migrations").iterdir(), key=lambda script: script.name)
        newest = len(scripts)
        version = self._schema_version()
        if version > newest:
            raise RecordsError(
                f"{self.path.name} was written by schema {version}; this version reads schema "
                f"{newest}. Install the newer version that wrote it."
            )
        if version < newest and read_only:
            raise RecordsError(
                f"{self.path.name} was written by schema {version}; this version reads schema "
                f"{newest}. Load any sheet once to bring the file up to date."
            )
        if not read_only and (version < newest or not self._has_views()):
            with self._transaction() as connection:
                connection.execute(
                    "CREATE TABLE IF NOT EXISTS schema_version (version INTEGER PRIMARY KEY)"
                )
                for number, script in enumerate(scripts[version:], version + 1):
                    connection.execute(script.read_text(encoding="utf-8"))
                    connection.execute("INSERT INTO schema_version VALUES (?)", [number])
                for view in VIEWS:
                    body = (SQL / "views" / f"{view}.sql").read_text(encoding="utf-8")
                    connection.execute(f"CREATE OR REPLACE VIEW {view} AS\n{body}")

    def _schema_version(self) -> int:
        known = "SELECT count(*) FROM duckdb_tables() WHERE table_name = 'schema_version'"
        return self._one("SELECT max(version) FROM schema_version") if self._one(known) else 0

    def _has_views(self) -> bool:
        rows = self._rows("SELECT view_name FROM duckdb_views() WHERE NOT internal")
        return set(VIEWS) <= {name for (name,) in rows}

    def read(self, view: str) -> pd.DataFrame:
        """Read a view whole, in the order of its grain.

        Parameters
        ----------
        view
            One of :data:`VIEWS`.
        """
        if view not in VIEWS:
            raise ValueError(f"{view!r} is no view; the views are {', '.join(VIEWS)}")
        return self._connection.execute(f"SELECT * FROM {view} ORDER BY ALL").df()

    def lines(self, sheet: str) -> pd.DataFrame:
        """Read every line of a sheet ever loaded, with its state and its cells as typed."""
        return self._connection.execute(
            """
            SELECT entry.key, line.line_id, source_file.name AS file, line.line, line.state,
                line.cells
            FROM line
            JOIN source_file USING (file_id)
            LEFT JOIN entry USING (entry_id)
            WHERE line.sheet = ?
            ORDER BY line.line_id
            """,
            [sheet],
        ).df()

    def fingerprint(self) -> str:
        """Fingerprint of the current lines; independent of their order of loading."""
        rows = self._rows(
            """
            SELECT sha256(coalesce(string_agg(sheet || chr(31) || cells, chr(30)
                ORDER BY sheet, cells), ''))
            FROM line
            WHERE state = 'current'
            """
        )
        return str(rows[0][0])

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
            Sheet files, or folders of them.
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
        sheets = [read_sheet(path) for path in _sheet_paths(paths)]
        counts: dict[str, SheetCount] = {}
        self._connection.execute("BEGIN")
        try:
            self._connection.execute((SQL / "macros.sql").read_text(encoding="utf-8"))
            self._connection.execute(
                f"CREATE OR REPLACE TEMP MACRO today() AS DATE '{today.isoformat()}'"
            )
            newest = self._one("SELECT coalesce(max(finding_id), 0) FROM finding")
            for sheet in SHEETS.values():
                given = [file for file in sheets if file.sheet.name == sheet.name]
                if given:
                    counts[sheet.name] = self._load_sheet(sheet, given, today, day_order)
            findings = self._connection.execute(
                "SELECT * FROM findings WHERE finding_id > ? ORDER BY finding_id", [newest]
            ).df()
            self._connection.execute("ROLLBACK" if check_only else "COMMIT")
        except BaseException:
            self._connection.execute("ROLLBACK")
            raise
        return LoadReport(counts, findings)

    def _one(self, query: str) -> int:
        return int(self._rows(query)[0][0])

    def _rows(self, query: str, values: Sequence[object] = ()) -> list[tuple[Any, ...]]:
        """All rows of a query; a result left half read would block the connection."""
        return self._connection.execute(query, list(values)).fetchall()

    def _load_sheet(
        self, sheet: Sheet, given: Sequence[SheetFile], today: date, day_order: DayOrder | None
    ) -> SheetCount:
        connection = self._connection
        self._stage(sheet, given, today)
        self._type_cells(sheet, day_order)
        self._find(sheet)
        script = (SQL / "accept.sql").read_text(encoding="utf-8")
        connection.execute(script.replace("$sheet", f"'{sheet.name}'"))
        for table in DOMAIN_TABLES:
            connection.execute(
                f"DELETE FROM {table} WHERE entry_id IN (SELECT entry_id FROM accepted)"
            )
        connection.execute((SQL / "load" / f"{sheet.name}.sql").read_text(encoding="utf-8"))
        return SheetCount(*self._rows("SELECT * FROM outcome")[0])

    def _stage(self, sheet: Sheet, given: Sequence[SheetFile], today: date) -> None:
        """Put the cells of all files of one sheet, as text, into the temporary table staged."""
        frames = []
        n_lines = self._one("SELECT coalesce(max(line_id), 0) FROM line")
        for file in given:
            file_id = self._file_id(file, today)
            names = [column.name for column in sheet.columns]
            frame = pd.DataFrame(file.cells, columns=names, dtype="string")
            frame.insert(0, "line_number", np.asarray(file.lines, dtype=np.int64))
            frame.insert(0, "source_id", file_id)
            frame["cells"] = [
                json.dumps(
                    {name: text for name, text in cells.items() if text is not None},
                    ensure_ascii=False,
                    sort_keys=True,
                )
                for cells in file.cells
            ]
            frames.append(frame)
        incoming = pd.concat(frames, ignore_index=True)
        incoming.insert(0, "line_id", n_lines + 1 + np.arange(len(incoming)))
        self._connection.register("incoming", incoming)
        columns = ", ".join(
            f"CAST({column.name} AS VARCHAR) AS {column.name}" for column in sheet.columns
        )
        self._connection.execute(
            f"""
            CREATE OR REPLACE TEMP TABLE staged AS
            SELECT line_id, source_id AS file_id, line_number AS line, cells, {columns}
            FROM incoming
            """
        )
        self._connection.unregister("incoming")

    def _file_id(self, file: SheetFile, today: date) -> int:
        """Id of a source file; the same bytes under the same name are one file."""
        digest = hashlib.sha256(file.path.read_bytes()).hexdigest()
        known = self._rows(
            "SELECT file_id FROM source_file WHERE name = ? AND sheet = ? AND sha256 = ?",
            [file.path.name, file.sheet.name, digest],
        )
        if known:
            return int(known[0][0])
        file_id = self._one("SELECT coalesce(max(file_id), 0) + 1 FROM source_file")
        self._connection.execute(
            "INSERT INTO source_file VALUES (?, ?, ?, ?, ?)",
            [file_id, file.path.name, file.sheet.name, digest, today],
        )
        return file_id

    def _type_cells(self, sheet: Sheet, day_order: DayOrder | None) -> None:
        """Read every cell by its column's kind into the temporary table typed."""
        order = f"'{day_order}'" if day_order else "NULL"
        typed = ", ".join(part for column in sheet.columns for part in _typed(column, sheet, order))
        key = " || chr(31) || ".join(
            f"coalesce(lower(CAST({name} AS VARCHAR)), '')" for name in sheet.key
        )
        self._connection.execute(
            f"""
            CREATE OR REPLACE TEMP TABLE typed AS
            SELECT *, {key} AS key
            FROM (SELECT line_id, file_id, line, cells, {typed} FROM staged AS cell)
            """
        )

    def _find(self, sheet: Sheet) -> None:
        """Apply the sheet's rules; what they find goes to the temporary table found."""
        self._connection.execute(
            """
            CREATE OR REPLACE TEMP TABLE found (
                line_id BIGINT, severity VARCHAR, rule VARCHAR, column_heading VARCHAR,
                cell VARCHAR, message VARCHAR, remedy VARCHAR
            )
            """
        )
        for rule in rules_of(sheet):
            column = sheet.column(rule.column)
            self._connection.execute(
                f"""
                INSERT INTO found
                SELECT line_id, ?, ?, ?, {column.name}__text, {_message(rule, column)}, ?
                FROM typed
                WHERE {rule.condition}
                """,
                [rule.severity, rule.name, column.heading, rule.remedy],
            )

    def save_fit(self, kept: KeptFit) -> None:
        """Keep a posterior; the older one of the same model is replaced."""
        with self._transaction() as connection:
            connection.execute(
                "DELETE FROM fit_draws WHERE fit_id IN (SELECT fit_id FROM fit WHERE model = ?)",
                [kept.model],
            )
            connection.execute("DELETE FROM fit WHERE model = ?", [kept.model])
            fit_id = self._one("SELECT coalesce(max(fit_id), 0) + 1 FROM fit")
            connection.execute(
                "INSERT INTO fit VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
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
                ],
            )
            for parameter, draws in kept.draws.items():
                packed = np.ascontiguousarray(draws, dtype="<f8")
                connection.execute(
                    "INSERT INTO fit_draws VALUES (?, ?, ?, ?)",
                    [fit_id, parameter, json.dumps(packed.shape), packed.tobytes()],
                )

    def read_fit(self, model: str) -> KeptFit | None:
        """Read the kept posterior of a model; None when there is none."""
        rows = self._rows(
            """
            SELECT fit_id, model, fitted_at, seed, data_fingerprint, model_fingerprint,
                priors_fingerprint, versions, diagnostics, seconds
            FROM fit
            WHERE model = ?
            """,
            [model],
        )
        if not rows:
            return None
        row = rows[0]
        draws = self._rows(
            "SELECT parameter, shape, draws FROM fit_draws WHERE fit_id = ? ORDER BY parameter",
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
                for name, shape, packed in draws
            },
        )


def _sheet_paths(paths: Sequence[Path]) -> list[Path]:
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(path.glob("*.csv"))
            if not inside:
                raise RecordsError(f"{path} holds no CSV file. Name the sheets or their folder.")
            found.extend(inside)
        elif path.exists():
            found.append(path)
        else:
            raise RecordsError(f"There is no file {path}.")
    return found


def _typed(column: Column, sheet: Sheet, day_order: str) -> Iterator[str]:
    """SQL that reads one cell, and the cell as typed beside it."""
    name = f"cell.{column.name}"
    if column.kind == "day":
        yield f"parse_day({name}, {day_order}) AS {column.name}"
    elif column.kind == "clock":
        yield f"parse_clock({name}) AS {column.name}"
    elif column.kind == "number":
        yield f"parse_number({name}) AS {column.name}"
    elif column.kind == "reading":
        yield f"CAST(parse_reading({name}) AS reading) AS {column.name}"
    elif column.kind == "by_eye":
        judged = {other.name for other in sheet.columns} & {"motility_method"}
        method = "lower(cell.motility_method)" if judged else "NULL"
        yield f"CAST(parse_by_eye({name}, {method}) AS reading) AS {column.name}"
    elif column.kind == "choice":
        # The word as the column spells it, so that NG/ML is stored as ng/mL.
        cases = " ".join(f"WHEN '{word.lower()}' THEN '{word}'" for word in column.choices)
        yield f"CASE lower({name}) {cases} END AS {column.name}"
    else:
        yield f"{name} AS {column.name}"
    if column.kind == "dog":
        match = f"FROM dog WHERE lower(dog.call_name) = lower({name})"
        yield f"(SELECT count(*) {match}) AS {column.name}_matches"
        yield f"(SELECT min(dog.dog_id) {match}) AS {column.name}_id"
    yield f"{name} AS {column.name}__text"


def _message(rule: Rule, column: Column) -> str:
    """SQL that spells out a finding: what came and what was wanted."""
    heading, wanted = (text.replace("'", "''") for text in (column.heading, rule.wanted))
    return (
        f"'{heading} is ' || coalesce('\"' || {column.name}__text || '\"', 'blank') || ', {wanted}'"
    )
