"""What waits for a person: the open findings, grouped by the rule that spoke."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

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


@dataclass(frozen=True, slots=True)
class FindingGroup:
    """Open findings of one rule that ask for the same thing.

    Attributes
    ----------
    severity
        ``refused``, ``doubtful`` or ``question``.
    rule
        Its name.
    remedy
        What to do.
    findings
        Rows of the view ``findings``, in words.
    """

    severity: str
    rule: str
    remedy: str
    findings: pd.DataFrame


def group_findings(findings: pd.DataFrame) -> list[FindingGroup]:
    """Group open findings by their rule: refused, doubtful, asked; the largest group first.

    What two sheets are to do about one rule may differ by a value; they are two groups then.

    Parameters
    ----------
    findings
        The view of that name, in words; closed findings are left out.
    """
    waiting = findings[findings["is_open"]]
    groups = [
        FindingGroup(str(severity), str(rule), str(remedy), rows)
        for (severity, rule, remedy), rows in waiting.groupby(["severity", "rule", "remedy"])
    ]
    order = list(TITLES)
    return sorted(groups, key=lambda g: (order.index(g.severity), -len(g.findings), g.rule))


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
    yield "studcurve corrections --xlsx FILE.xlsx writes these lines into a workbook to correct"
    yield "there and load. studcurve confirm NUMBER says that a line is right, and a doubtful one"
    yield "counts from then on; studcurve withdraw NUMBER takes a line out. Nothing is lost."
