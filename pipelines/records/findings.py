"""What waits for a person: findings grouped by what to do, and the workbook to correct them in."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import pandas as pd

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.pipelines.records.template import WorkbookLine, write_workbook

TITLES: Mapping[str, str] = MappingProxyType(
    {
        "refused": "Rejected, and not used",
        "doubtful": "Doubtful, and left out until confirmed",
        "question": "Asked about, and counted",
    }
)
"""What is said of the findings of each severity, in the order of the telling."""

N_SHOWN = 20
"""Findings shown of each group; the workbook and the output for machines have all."""

N_DIGEST_CHARACTERS = 16
"""Hexadecimal digits of a line's digest, as the macro line_digest gives them."""


@dataclass(frozen=True, slots=True)
class FindingGroup:
    """Open findings that ask for the same thing.

    Attributes
    ----------
    severity
        ``refused``, ``doubtful`` or ``question``.
    remedy
        What to do.
    findings
        Rows of the view ``findings``.
    """

    severity: str
    remedy: str
    findings: pd.DataFrame


def group_findings(findings: pd.DataFrame) -> list[FindingGroup]:
    """Group open findings by what to do: refused, doubtful, asked; the largest group first.

    Parameters
    ----------
    findings
        The view of that name; closed findings are left out.
    """
    waiting = findings[findings["is_open"]]
    groups = [
        FindingGroup(str(severity), str(remedy), rows)
        for (severity, remedy), rows in waiting.groupby(["severity", "remedy"], sort=True)
    ]
    order = list(TITLES)
    return sorted(groups, key=lambda g: (order.index(g.severity), -len(g.findings), g.remedy))


def waiting_lines(findings: pd.DataFrame) -> Iterator[str]:
    """Tell the open findings, group by group, each with its number."""
    groups = group_findings(findings)
    if not groups:
        yield "No line is waiting."
        return
    for severity, title in TITLES.items():
        chosen = [group for group in groups if group.severity == severity]
        if not chosen:
            continue
        n_lines = len({line for group in chosen for line in group.findings["line_id"]})
        yield f"{title}: {n_lines} {'line' if n_lines == 1 else 'lines'}"
        for group in chosen:
            yield ""
            yield f"  {group.remedy} ({len(group.findings)})"
            for row in group.findings.head(N_SHOWN).to_dict("records"):
                yield (
                    f"    {row['finding_id']:>5}  {row['file']}, line {row['line']}: "
                    f"{row['message']}"
                )
            if len(group.findings) > N_SHOWN:
                yield f"           and {len(group.findings) - N_SHOWN} more"
        yield ""
    yield "studcurve refused --xlsx FILE.xlsx writes these lines into a workbook to correct there"
    yield "and load. studcurve confirm NUMBER says that a line is right, and a doubtful one counts"
    yield "from then on; studcurve withdraw NUMBER takes a line out. Nothing is lost in either case."


def write_corrections(findings: pd.DataFrame, path: Path) -> int:
    """Write the lines that wait into a workbook, to be corrected there and loaded again.

    Parameters
    ----------
    findings
        The view of that name.
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
            said = f"{row['message']}. {row['remedy']}"
            remarks[column] = f"{remarks[column]}\n{said}" if column in remarks else said
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
