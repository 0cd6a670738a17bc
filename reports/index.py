"""The index: the pages of one kennel, and the lines that wait for a correction."""

from __future__ import annotations

import pandas as pd

from reports.catalog import texts
from reports.page import Column, Figure, Link, Report, Table


def build_index(
    title: str,
    links: tuple[Link, ...],
    findings: pd.DataFrame,
    *,
    answer: tuple[str, ...],
    provenance: str,
    language: str = "en",
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
    language
        Of the fixed texts.
    """
    t = texts(language)
    rows = tuple(
        (f"{row['file']}, {row['line']}", str(row["message"]), str(row["remedy"]))
        for row in findings.to_dict("records")
    )
    columns = tuple(Column(t[f"column_{name}"]) for name in ("line", "finding", "remedy"))
    waiting = Figure(
        "findings",
        t["open_findings"],
        t["no_findings"] if findings.empty else t["findings_lead"],
        None,
        "",
        Table(t["open_findings"], columns, rows),
    )
    return Report(
        kind=t["index_title"],
        title=title,
        subtitle=t["index_lead"],
        cautions=(),
        answer=answer,
        figures=() if findings.empty else (waiting,),
        links=links,
        method=(),
        sources=(),
        provenance=provenance,
        language=language,
    )
