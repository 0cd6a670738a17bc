"""The index: the pages of one kennel, and the lines that wait for a correction."""

from __future__ import annotations

import pandas as pd

from reports.page import Link, Reader, Report, Section, Table, columns


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
    rows = tuple(
        (
            words.say("index.where", file=str(row["file"]), line=int(row["line"])),
            str(row["message"]),
            str(row["remedy"]),
        )
        for row in findings.to_dict("records")
    )
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
