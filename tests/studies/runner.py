"""A question put to kennel after kennel, one line on file for each answer.

An interrupted run goes on where it was: what has a line is not asked again. The line names the
kennel and, where one kennel is asked in several ways, the way.
"""

import argparse
import json
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from studcurve.pipelines.fits.guard import engine_versions

SEED = 20261126


@dataclass(frozen=True, slots=True)
class Study:
    """What is asked of each kennel, and how the answers are told.

    `line_of` takes the seed, the number of the kennel and the entries of a case, and returns a line
    that holds the kennel's number and those entries; `report` makes a text of all lines and the
    seed. All kennels are asked for one case after the other.
    """

    line_of: Callable
    report: Callable
    n_kennels: int
    cases: tuple = ({},)


def lines_of(study, n_kennels, seed, path):
    """Lines of so many kennels: those on file first, then the others, each put on file at once."""
    lines = [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []
    asked = [case | {"kennel": kennel} for case in study.cases for kennel in range(n_kennels)]
    for which in asked:
        if any(which.items() <= line.items() for line in lines):
            continue
        started = time.perf_counter()
        lines.append(study.line_of(seed, **which))
        with path.open("a") as file:
            file.write(json.dumps(lines[-1]) + "\n")
        print(
            *which.values(), f"{time.perf_counter() - started:.1f} s", file=sys.stderr, flush=True
        )
    return lines


def of_today(seed):
    """When, from which seed and with which libraries a study was made."""
    versions = ", ".join(f"{library} {number}" for library, number in engine_versions().items())
    return f"date {datetime.now(UTC):%Y-%m-%d}, seed {seed}, {versions}"


def run(description, **studies):
    """Read the command line, ask every kennel, and print the report; one study, or one by name."""
    parser = argparse.ArgumentParser(description=description.split("\n")[0])
    if len(studies) > 1:
        parser.add_argument("study", choices=studies)
    parser.add_argument("--kennels", type=int, help="how many; each study has its own usual number")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--lines", type=Path, required=True, help="one line an answer, appended")
    parser.add_argument("--result", type=Path)
    asked = parser.parse_args()
    study = studies[asked.study] if len(studies) > 1 else next(iter(studies.values()))
    lines = lines_of(study, asked.kennels or study.n_kennels, asked.seed, asked.lines)
    text = study.report(lines, asked.seed)
    print(text)
    if asked.result:
        asked.result.write_text(text)
