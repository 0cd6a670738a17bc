"""The shape of the records file: its migrations, its views, and what must always hold in it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from importlib.resources import files
from importlib.resources.abc import Traversable

from analytics.errors import RecordsError
from pipelines.sheets import SHEETS
from pipelines.staging import Connection

SQL = files("pipelines") / "sql"

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
    "inseminations_seen",
    "inseminations",
    "breedings_seen",
    "breedings",
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
)
"""Column by column, the table whose key it must name."""

_OF_THE_FILE = (
    "load", "source_file", "sheet_column", "line", "finding", "decision", "tombstone", "fit",
    "fit_draws", "setting", "joined_breeding", "file_day",
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
    if version > newest:
        raise RecordsError(
            f"{file_name} was written by schema {version}; this version reads schema {newest}. "
            "Install the newer version that wrote it."
        )
    if version < newest and read_only:
        raise RecordsError(
            f"{file_name} was written by schema {version}; this version reads schema {newest}. "
            "Make a backup, then load any sheet once to bring the file up to date."
        )
    return migrations()[version:]


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
    """Make the views anew and tell the file the order of the sheets' columns."""
    for view, body in _view_texts().items():
        connection.execute(f"CREATE OR REPLACE VIEW {view} AS\n{body}")
        connection.execute(f"COMMENT ON VIEW {view} IS '{_fingerprint(body)}'")
    connection.execute("DELETE FROM sheet_column")
    for sheet in SHEETS.values():
        for position, column in enumerate(sheet.columns, 1):
            connection.execute(
                "INSERT INTO sheet_column VALUES (?, ?, ?, ?)",
                [sheet.name, position, column.name, column.heading],
            )


def shadow_views(connection: Connection) -> None:
    """Make the views of this version for one connection only, before those that the file keeps."""
    for view, body in _view_texts().items():
        connection.execute(f"CREATE OR REPLACE TEMP VIEW {view} AS\n{body}")


def are_views_current(connection: Connection) -> bool:
    """Whether the views that a file keeps are those of this version."""
    kept = dict(
        connection.execute(
            "SELECT view_name, comment FROM duckdb_views() WHERE NOT internal AND NOT temporary"
        ).fetchall()
    )
    return all(kept.get(view) == _fingerprint(body) for view, body in _view_texts().items())


def _view_texts() -> dict[str, str]:
    return {view: (SQL / "views" / f"{view}.sql").read_text(encoding="utf-8") for view in VIEWS}


def _fingerprint(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


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
