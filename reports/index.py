"""The index: the pages of one kennel, and the lines that wait for a correction."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from analytics.sentences import Value
from reports.page import Link, Reader, Report, Section, Table, columns
from reports.words import Words


def build_index(
    title: str,
    links: tuple[Link, ...],
    findings: pd.DataFrame,
    *,
    answer: tuple[str, ...],
    provenance: str,
    reader: Reader,
) -> Report:
    """Lay out the index.

    Parameters
    ----------
    title
        Of the kennel or the records file.
    links
        The pages, in order.
    findings
        Open rows of the view of that name.
    answer
        What there is, in sentences.
    provenance
        As on every page.
    reader
        For whom; only the owner is shown the lines that wait.
    """
    words = reader.words
    rows = _rows(findings, words)
    names = ["where", "finding", "remedy"]
    waiting = Section(
        "findings",
        words["index.findings"],
        words["index.findings_lead"],
        table=Table(words["index.findings"], columns(words, names, texts_in=set(names)), rows),
    )
    return Report(
        kind=words["index.title"],
        title=title,
        subtitle=words["index.lead"],
        cautions=(),
        answer=answer,
        sections=(waiting,) if rows and reader.audience == "owner" else (),
        links=links,
        method=(),
        sources=(),
        provenance=provenance,
        glossary=(),
        reader=reader,
    )


def _rows(findings: pd.DataFrame, words: Words) -> tuple[tuple[str, ...], ...]:
    """One row for all lines of a sheet that wait for the same, in the order of the first."""
    lines: dict[tuple[str, str, str], list[int]] = {}
    for row in findings.to_dict("records"):
        told = (str(row["file"]), _message(row, words), words.finding(str(row["remedy"])))
        lines.setdefault(told, []).append(int(row["line"]))
    return tuple(
        (
            words.say("index.where", n=len(at), file=file, lines=tuple(str(line) for line in at)),
            message,
            remedy,
        )
        for (file, message, remedy), at in lines.items()
    )


def _message(row: Mapping[Hashable, Any], words: Words) -> str:
    """What a rule of loading found; told in full where the records keep another rule's words."""
    heading, cell, message = row["column_heading"], row["text"], str(row["message"])
    key = "index.finding_blank" if pd.isna(cell) else "index.finding"
    found: dict[str, Value] = {"heading": heading, "cell": "" if pd.isna(cell) else cell}
    stored = Words("en").say(key, **found, wanted="")
    if not message.startswith(stored):
        return message
    return words.say(key, **found, wanted=words.finding(message.removeprefix(stored)))
