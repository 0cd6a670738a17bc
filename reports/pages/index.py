"""The index: the pages of one kennel, and the lines that wait for a correction."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from studcurve.analytics.sentences import Value, sentence, values_kept
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
    for row in findings.to_dict("records"):
        told = (str(row["file"]), *_told(row, words))
        lines.setdefault(told, []).append(int(row["line"]))
    return tuple(
        (
            words.say("index.where", n=len(at), file=file, lines=tuple(str(line) for line in at)),
            message,
            remedy,
        )
        for (file, message, remedy), at in lines.items()
    )


def _told(row: Mapping[Hashable, Any], words: Words) -> tuple[str, str]:
    """What a rule of loading found and advises, from its name and values.

    A finding of an older version kept neither: it is told as it was told then.
    """
    wanted, remedy = (f"rule.{row['rule']}.{part}" for part in ("wanted", "remedy"))
    if pd.isna(row["rule_values"]) or wanted not in words.texts:
        return str(row["message"]), str(row["remedy"])
    values = values_kept(str(row["rule_values"]))
    heading, cell = str(row["column_heading"]), row["text"]
    found: dict[str, Value] = {"heading": heading, "wanted": sentence(wanted, **values)}
    message = (
        words.say("index.finding_blank", **found)
        if pd.isna(cell)
        else words.say("index.finding", **found, cell=str(cell))
    )
    return message, words.say(remedy, **values)
