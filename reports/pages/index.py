"""The index: the pages of one kennel, and the lines that wait for a correction."""

from __future__ import annotations

import pandas as pd

from studcurve.reports.findings import with_texts
from studcurve.reports.page import Link, Reader, Report, Section, Table, columns
from studcurve.reports.words import Words


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
    for row in with_texts(findings, words).to_dict("records"):
        waits = (str(row["file"]), str(row["message"]), str(row["remedy"]))
        lines.setdefault(waits, []).append(int(row["line"]))
    return tuple(
        (
            words.say("index.where", n=len(at), file=file, lines=tuple(str(line) for line in at)),
            message,
            remedy,
        )
        for (file, message, remedy), at in lines.items()
    )
