"""The shape of the records file: its migrations, its views, and what must always hold in it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.reading.staging import Connection
from studcurve.pipelines.records.sheets.columns import SHEETS

SQL = files("studcurve.pipelines.records") / "sql"

VIEWS = (
    "doubtful_entries",
    "doubtful_lines",
    "collection_days",
    "dogs",
    "evaluations_seen",
    "evaluations",
    "cycles",
    "progesterone",
    "breeding_lines",
    "insemination_shipments",
    "inseminations_seen",
    "inseminations",
    "inseminated_semen",
    "breedings_seen",
    "breedings",
    "forecasts",
    "shipments_seen",
    "shipments",
    "events",
    "lab_tests",
    "examinations",
    "health_lines",
    "frozen_lots",
    "straws_left",
    "intervals",
    "last_tests",
    "dog_use",
    "open_heats",
    "prices",
    "findings",
)
"""Views in the order in which they are built: a view reads only tables and views before it."""

KEYS = {
    "load": ("load_id",),
    "source_file": ("file_id",),
    "sheet_column": ("sheet", "position"),
    "line": ("line_id",),
    "finding": ("finding_id",),
    "decision": ("decision_id",),
    "tombstone": ("erasure_id", "line_id"),
    "dog": ("dog_id",),
    "dog_identifier": ("dog_id", "kind"),
    "collection": ("collection_id",),
    "evaluation": ("evaluation_id",),
    "morphology": ("evaluation_id", "part"),
    "processing": ("processing_id",),
    "dose": ("dose_id",),
    "frozen_lot": ("frozen_lot_id",),
    "shipment": ("shipment_id",),
    "cycle": ("cycle_id",),
    "hormone_test": ("hormone_test_id",),
    "breeding": ("breeding_id",),
    "insemination": ("insemination_id",),
    "pregnancy_check": ("pregnancy_check_id",),
    "litter": ("litter_id",),
    "examination": ("examination_id",),
    "lab_test": ("lab_test_id",),
    "event": ("event_id",),
    "veterinary_release": ("release_id",),
    "price": ("price_id",),
    "repeat_interval": ("interval_id",),
    "fit": ("fit_id",),
    "fit_draws": ("fit_id", "parameter"),
    "setting": ("quantity",),
    "joined_breeding": ("entry_id",),
    "file_day": ("which_day",),
    "forecast": ("forecast_id",),
    "forecast_count": ("n_forecasts",),
    "erased_forecast": ("erasure_id", "forecast_id"),
}
"""What tells the rows of each table apart, whether or not the engine keeps an index of it."""

REFERENCES = (
    ("source_file", "load_id", "load"),
    ("line", "file_id", "source_file"),
    ("finding", "line_id", "line"),
    ("decision", "line_id", "line"),
    ("tombstone", "line_id", "line"),
    ("dog_identifier", "dog_id", "dog"),
    ("collection", "stud_id", "dog"),
    ("evaluation", "stud_id", "dog"),
    ("evaluation", "collection_id", "collection"),
    ("evaluation", "shipment_id", "shipment"),
    ("morphology", "evaluation_id", "evaluation"),
    ("processing", "collection_id", "collection"),
    ("dose", "collection_id", "collection"),
    ("frozen_lot", "stud_id", "dog"),
    ("shipment", "stud_id", "dog"),
    ("cycle", "bitch_id", "dog"),
    ("hormone_test", "cycle_id", "cycle"),
    ("breeding", "bitch_id", "dog"),
    ("breeding", "stud_id", "dog"),
    ("insemination", "breeding_id", "breeding"),
    ("pregnancy_check", "breeding_id", "breeding"),
    ("litter", "breeding_id", "breeding"),
    ("examination", "dog_id", "dog"),
    ("lab_test", "dog_id", "dog"),
    ("event", "dog_id", "dog"),
    ("veterinary_release", "dog_id", "dog"),
    ("fit_draws", "fit_id", "fit"),
    ("erased_forecast", "forecast_id", "forecast"),
)
"""Column by column, the table whose key it must name."""

_OF_THE_FILE = (
    "load", "source_file", "sheet_column", "line", "finding", "decision", "tombstone", "fit",
    "fit_draws", "setting", "joined_breeding", "file_day", "forecast", "forecast_count",
    "erased_forecast",
)  # fmt: skip

OF_A_LINE = tuple(table for table in KEYS if table not in _OF_THE_FILE)
"""Tables whose rows stand for a current line, by its entry."""


def migrations() -> list[Traversable]:
    """Every migration, in order; the number of a migration is that of its schema."""
    return sorted((SQL / "migrations").iterdir(), key=lambda script: script.name)


def newest_schema() -> int:
    """Version of the schema that this version of the toolkit reads and writes."""
    return len(migrations())


def due_migrations(connection: Connection, file_name: str, *, read_only: bool) -> list[Traversable]:
    """List the migrations that a records file is due, in order.

    Raises
    ------
    RecordsError
        The file is of a newer version, or of an older one and may not be written.
    """
    version, newest = schema_version(connection), newest_schema()
    _refuse_newer(version, file_name)
    if version < newest and read_only:
        raise RecordsError(
            f"{file_name} was written by schema {version}; this version reads schema {newest}. "
            "Make a backup, then load any sheet once to bring the file up to date."
        )
    return migrations()[version:]


def _refuse_newer(version: int, file_name: str) -> None:
    if version > newest_schema():
        raise RecordsError(
            f"{file_name} was written by schema {version}; this version reads schema "
            f"{newest_schema()}. Install the newer version that wrote it."
        )


def schema_version(connection: Connection) -> int:
    """Version of the schema; 0 for an empty file."""
    ((is_known,),) = connection.execute(
        "SELECT count(*) FROM duckdb_tables() WHERE table_name = 'schema_version'"
    ).fetchall()
    if not is_known:
        return 0
    ((version,),) = connection.execute("SELECT max(version) FROM schema_version").fetchall()
    return int(version)


def migrate(connection: Connection, due: Sequence[Traversable]) -> None:
    """Run migrations; to be called within one transaction, and followed by make_views."""
    version = schema_version(connection)
    connection.execute("CREATE TABLE IF NOT EXISTS schema_version (version INTEGER PRIMARY KEY)")
    for number, script in enumerate(due, version + 1):
        connection.execute(script.read_text(encoding="utf-8"))
        connection.execute("INSERT INTO schema_version VALUES (?)", [number])


def make_views(connection: Connection) -> None:
    """Make macros and views anew and tell the file the order of the sheets' columns."""
    for macro in _macro_texts().values():
        connection.execute(f"CREATE OR REPLACE MACRO {macro}")
    for view, body in _view_texts().items():
        connection.execute(f"CREATE OR REPLACE VIEW {view} AS FROM query({_literal(body)})")
    connection.execute("DELETE FROM sheet_column")
    rows = [
        (sheet.name, position, column.name, column.heading)
        for sheet in SHEETS.values()
        for position, column in enumerate(sheet.columns, 1)
    ]
    connection.execute(
        "INSERT INTO sheet_column SELECT unnest(?), unnest(?), unnest(?), unnest(?)",
        [list(column) for column in zip(*rows, strict=True)],
    )


def views_read_by(view: str) -> tuple[str, ...]:
    """Views that a view reads, itself or through others, in the order in which they are built."""
    return tuple(name for name in VIEWS if name in _views_below()[view])


def make_readable(connection: Connection, view: str) -> None:
    """Keep what a view of this version gives, for this connection only.

    The engine plans a view anew wherever another one reads it: what many views read is given once.
    Every view that it reads is to be made readable before it, so that none of the file is asked.
    """
    connection.execute(f"CREATE TEMP TABLE {view} AS\n{view_text(view)}")


def view_text(view: str) -> str:
    """SQL of a view of this version."""
    return _view_texts()[view]


def are_views_current(connection: Connection) -> bool:
    """Whether the views that a file keeps are those of this version, to the letter.

    A view is kept as ``query('text')``: of any other form the engine gives back a text of its own.
    """
    kept = dict(
        connection.execute(
            "SELECT view_name, sql FROM duckdb_views() WHERE NOT internal AND NOT temporary"
        ).fetchall()
    )
    return all(
        kept.get(view) == f"CREATE VIEW {view} AS SELECT * FROM query({_literal(body)});"
        for view, body in _view_texts().items()
    )


def refuse_foreign(connection: Connection, file_name: str) -> bool:
    """Refuse a file that holds what no records file holds, before anything in it is used.

    A macro of the file would be called in the place of a function of the engine, a trigger with
    every line that is written. To be called first of all: until then no function may be used. Views
    of other names are let be, and never read.

    Returns
    -------
    bool
        Whether the macros of the file are those of this version. They are made for this connection
        as well; a view that the file keeps calls those of the file all the same.

    Raises
    ------
    RecordsError
        The file is of a newer version, or holds what no records file holds.
    """
    tables = _of_the_file(connection, "tables", "table_name")
    if ("main", "schema_version") in tables:
        versions = connection.execute("SELECT version FROM schema_version").fetchall()
        _refuse_newer(max((version for (version,) in versions), default=0), file_name)
    for macro in _macro_texts().values():
        connection.execute(f"CREATE OR REPLACE TEMP MACRO {macro}")
    macros = connection.execute(
        "SELECT database_name, schema_name, function_name, function_type, parameters, "
        "macro_definition FROM system.main.duckdb_functions() WHERE internal = false"
    ).fetchall()
    current = sorted(macro[2:] for macro in macros if macro[0] == "temp")
    kept = [macro for macro in macros if macro[0] != "temp"]
    expected = _made_by_migrations()
    held = {
        "table": tables,
        "macro": [(macro[1], macro[2]) for macro in kept],
        "type": _of_the_file(connection, "types", "type_name"),
        "trigger": _of_the_file(connection, "triggers", "trigger_name"),
        "sequence": _of_the_file(connection, "sequences", "sequence_name"),
    }
    for kind, names in held.items():
        for schema, name in names:
            if schema != "main" or name not in expected.get(kind, ()):
                raise RecordsError(
                    f"{file_name} holds a {kind} named {name[:60]!r}, which no records file holds, "
                    "so it is not used. If somebody sent it, ask for an export instead."
                )
    return sorted(macro[2:] for macro in kept) == current


def _of_the_file(connection: Connection, kind: str, column: str) -> list[tuple[str, str]]:
    """Schema and name of everything of a kind that a file keeps."""
    is_kept = "internal = false" if kind in ("tables", "types") else "true"
    rows = connection.execute(
        f"SELECT schema_name, {column} FROM system.main.duckdb_{kind}() WHERE {is_kept}"
    ).fetchall()
    return [(str(schema), str(name)) for schema, name in rows]


@cache
def _made_by_migrations() -> Mapping[str, frozenset[str]]:
    """Names of the tables, macros and types that a file of any version may hold, by kind."""
    texts = "\n".join(script.read_text(encoding="utf-8") for script in migrations())
    made = {
        kind: frozenset(re.findall(rf"^CREATE (?:OR REPLACE )?{kind.upper()} (\w+)", texts, re.M))
        for kind in ("table", "macro", "type")
    }
    return made | {"table": made["table"] | {"schema_version"}}


@cache
def _macro_texts() -> Mapping[str, str]:
    """What the migrations say of each macro that a file keeps, from its name on; the last wins."""
    texts = "\n".join(script.read_text(encoding="utf-8") for script in migrations())
    macros = re.findall(r"^CREATE (?:OR REPLACE )?MACRO ((\w+).*?;)$", texts, re.M | re.S)
    return {name: text for text, name in macros}


@cache
def _views_below() -> Mapping[str, frozenset[str]]:
    """By view, every view that is read on the way to it."""
    below: dict[str, frozenset[str]] = {}
    for view, body in _view_texts().items():
        named = [name for name in re.findall(r"\b(?:FROM|JOIN)\s+(\w+)", body) if name in below]
        below[view] = frozenset(named).union(*(below[name] for name in named))
    return below


@cache
def _view_texts() -> Mapping[str, str]:
    return {view: (SQL / "views" / f"{view}.sql").read_text(encoding="utf-8") for view in VIEWS}


def _literal(text: str) -> str:
    """SQL for a text."""
    return "'" + text.replace("'", "''") + "'"


def kept_tables(connection: Connection) -> list[str]:
    """Names of the tables that a file of any version keeps."""
    rows = connection.execute(
        "SELECT table_name FROM duckdb_tables() WHERE NOT internal AND NOT temporary"
    ).fetchall()
    return [f'"{table}"' for (table,) in rows if table in _made_by_migrations()["table"]]


def columns_by_table(connection: Connection) -> dict[str, list[tuple[str, str]]]:
    """Name and type of the columns of each table, in their order."""
    rows = connection.execute(
        "SELECT table_name, column_name, data_type FROM duckdb_columns() "
        "WHERE NOT internal ORDER BY table_name, column_index"
    ).fetchall()
    columns: dict[str, list[tuple[str, str]]] = {table: [] for table in KEYS}
    for table, column, kind in rows:
        if table in columns:
            columns[table].append((column, kind))
    return columns


def broken_promises(connection: Connection) -> list[str]:
    """List what does not hold: keys that come twice, references to nothing, stray versions.

    Returns
    -------
    list of str
        One sentence each; empty for a sound file.
    """
    queries = {
        f"{table}: {', '.join(key)} comes twice": (
            f"SELECT 1 FROM {table} GROUP BY {', '.join(key)} HAVING count(*) > 1"
        )
        for table, key in KEYS.items()
    }
    for table, column, parent in REFERENCES:
        key = KEYS[parent][0]
        queries[f"{table}: {column} names no row of {parent}"] = (
            f"SELECT 1 FROM {table} WHERE {column} IS NOT NULL "
            f"AND {column} NOT IN (SELECT {key} FROM {parent})"
        )
    for table in OF_A_LINE:
        queries[f"{table}: a row without its current line"] = (
            f"SELECT 1 FROM {table} WHERE entry_id NOT IN "
            "(SELECT entry_id FROM line WHERE state = 'current')"
        )
    queries["line: an entry with two current versions"] = (
        "SELECT 1 FROM line WHERE state = 'current' GROUP BY entry_id HAVING count(*) > 1"
    )
    queries["line: two entries about the same thing"] = (
        "SELECT 1 FROM line WHERE state = 'current' "
        "GROUP BY sheet, subject, day, mark HAVING count(*) > 1"
    )
    return [
        promise
        for promise, query in queries.items()
        if connection.execute(f"{query} LIMIT 1").fetchall()
    ]
