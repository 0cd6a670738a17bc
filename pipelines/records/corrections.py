"""The workbook of lines that wait for a person: corrected there and loaded again."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pandas as pd

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.pipelines.records.template import WorkbookLine, write_workbook

N_DIGEST_CHARACTERS = 16
"""Hexadecimal digits of a line's digest, as the macro line_digest gives them."""


def write_corrections(findings: pd.DataFrame, path: Path) -> int:
    """Write the lines that wait into a workbook, to be corrected there and loaded again.

    Parameters
    ----------
    findings
        The view of that name, in words: with what is wrong and what to do.
    path
        The workbook; it must not exist yet.

    Returns
    -------
    int
        Number of lines written.

    Raises
    ------
    RecordsError
        No line is waiting, or the workbook cannot be written.
    """
    waiting = findings[findings["is_open"]]
    if waiting.empty:
        raise RecordsError("No line is waiting, so there is nothing to write.")
    lines: dict[str, list[WorkbookLine]] = {}
    for _, rows in waiting.groupby("line_id", sort=True):
        first = rows.iloc[0]
        sheet = SHEETS[first["sheet"]]
        names = {column.heading: column.name for column in sheet.columns}
        remarks: dict[str, str] = {}
        for row in rows.to_dict("records"):
            column = names[row["column_heading"]]
            remark = f"{row['message']}. {row['remedy']}"
            remarks[column] = f"{remarks[column]}\n{remark}" if column in remarks else remark
        cells = json.loads(first["cells"])
        kept = {
            name: cell for name, cell in zip(sheet.names, cells, strict=False) if cell is not None
        }
        if len(cells) > len(sheet.names):
            last = sheet.columns[-1].name
            remarks[last] = f"{remarks.get(last, '')}\nCells beyond the headings: {cells[-1]}"
        answer = line_digest(sheet.name, first["cells"])
        lines.setdefault(sheet.name, []).append(WorkbookLine(kept, remarks, answer))
    write_workbook(path, lines)
    return sum(map(len, lines.values()))


def line_digest(sheet: str, cells: str) -> str:
    """What a workbook calls a kept line; as the macro of that name gives it."""
    digest = hashlib.sha256(f"{sheet}\x1f{cells}".encode()).hexdigest()
    return f"L{digest[:N_DIGEST_CHARACTERS]}"
