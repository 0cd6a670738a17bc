"""The data dictionary: what each column of sheets and tables means, made from the vocabulary."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from studcurve.analytics.vocabulary import TERMS, VOCABULARY
from studcurve.pipelines.records.sheets.columns import SHEETS

HEADINGS = (
    "where", "column", "holds", "label", "owner's word", "unit", "lowest", "highest", "meaning",
    "source",
)  # fmt: skip


def dictionary_rows(columns: Iterable[tuple[str, str, str]]) -> Iterator[tuple[str, ...]]:
    """One row for each column of every sheet and of every table.

    Parameters
    ----------
    columns
        Table, column and type of everything in the records file.
    """
    for sheet in SHEETS.values():
        for column in sheet.columns:
            holds = f"one of {', '.join(column.choices)}" if column.choices else column.kind
            needed = ", needed" if column.required else ""
            words = _words(column.vocabulary_name)
            yield (f"sheet {sheet.title}", column.heading, holds + needed, *words)
    for table, name, kind in columns:
        yield (f"table {table}", name, _plain_kind(kind), *_words(name))


def write_dictionary(path: Path, columns: Iterable[tuple[str, str, str]]) -> None:
    """Write the dictionary as CSV."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(HEADINGS)
        writer.writerows(dictionary_rows(columns))


def _words(name: str) -> tuple[str, ...]:
    """Label, owner's word, unit, lowest, highest, meaning and source of a name."""
    if name in VOCABULARY:
        q = VOCABULARY[name]
        return (q.label, q.owner_word, q.unit, f"{q.low:g}", f"{q.high:g}", "", q.source)
    term = TERMS[name]
    return (term.label, term.owner_word, "", "", "", term.meaning, "")


def _plain_kind(kind: str) -> str:
    """A type of the engine in plain words."""
    if kind.startswith("STRUCT(kind"):
        return "measurement: kind, low, high, text; in Parquet a text only where it says more"
    if kind.startswith("STRUCT(earliest"):
        return "moment: earliest, latest, text; in Parquet a text only where it says more"
    if kind.startswith("ENUM("):
        words = re.findall(r"'([^']*)'", kind)
        return f"one of {', '.join(words)}"
    return kind.lower()
