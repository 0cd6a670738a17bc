"""How long does loading a million collection lines take, beside the engine's own typed read?

``python tests/benchmarks/load_million_lines.py`` makes the sheets of a large breed club, loads them
with every rule and keeps every line word for word, and has the engine read the same file into one
typed table, each in a process of its own. It prints both times, their ratio, and peak memory.
"""

import argparse
import csv
import json
import random
import resource
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

SEED = 20240229
N_LINES = 1_000_000
N_PER_STUD = 500
FIRST_DAY, N_DAYS = date(2001, 1, 1), 9000

HEADINGS = [
    "Dog", "Date", "Time", "Result", "Volume (mL)", "Concentration (M/mL)", "Cells counted",
    "How counted", "Total motility (%)", "Progressive motility (%)", "How motility was evaluated",
    "Sperm evaluated for motility", "Normal morphology (%)",
    "Sperm evaluated for morphology", "Appearance", "Evaluator", "Extender", "Doses made",
    "Where they went", "Notes",
]  # fmt: skip


def write_sheets(folder, n_lines):
    """Dogs and collections as an owner would have typed them, half of the cells blank."""
    rng = random.Random(SEED)
    studs = [f"Stud {n}" for n in range(max(1, n_lines // N_PER_STUD))]
    with (folder / "dogs.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([["Dog", "Sex"], *([stud, "male"] for stud in studs)])
    days = [(FIRST_DAY + timedelta(days=n)).isoformat() for n in range(N_DAYS)]
    with (folder / "collections.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(HEADINGS)
        for stud in studs:
            for day in rng.sample(days, min(N_PER_STUD, n_lines)):
                moving = rng.choice((60, 70, 75, 80, 85, 90))
                writer.writerow([
                    stud, day, rng.choice(("", "", "08:30", "17:15")), "",
                    round(rng.uniform(0.5, 6.0), 1), rng.randrange(40, 700),
                    rng.choice(("", rng.randrange(80, 400))), "chamber", moving,
                    moving - rng.choice((0, 5, 10)), "by eye", "",
                    rng.choice(("", rng.randrange(40, 95))), rng.choice(("", "", 100)), "normal",
                    rng.choice(("Ida", "Per", "Dr. Sund")), "egg yolk", rng.randrange(5),
                    "shipped", rng.choice(("",) * 9 + (f"note {rng.randrange(9999)}",)),
                ])  # fmt: skip


def load(folder):
    """Seconds of our load: rules, verbatim lines, tables."""
    from studcurve.pipelines.records.database.store import Store

    with Store.open(folder / "kennel.duckdb") as store:
        store.load([folder / "dogs.csv"], today=date(2026, 10, 31))
        began = time.perf_counter()
        report = store.load([folder / "collections.csv"], today=date(2026, 10, 31))
        seconds = time.perf_counter() - began
    return seconds, report.sheets["collections"].n_new


def read_typed(folder):
    """Seconds of the engine's own typed read into a table."""
    import duckdb

    with duckdb.connect(str(folder / "typed.duckdb")) as file:
        began = time.perf_counter()
        file.execute(f"CREATE TABLE collections AS FROM read_csv('{folder}/collections.csv')")
        file.execute("CHECKPOINT")
        seconds = time.perf_counter() - began
        ((n_rows,),) = file.execute("SELECT count(*) FROM collections").fetchall()
    return seconds, n_rows


def measured(way, folder):
    """Run one way in its own process: seconds, rows and peak memory."""
    printed = subprocess.run(
        [sys.executable, __file__, "--way", way, "--folder", str(folder)],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    return json.loads(printed)


def main():
    """Print both ways and their ratio."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--lines", type=int, default=N_LINES)
    arguments.add_argument("--way", choices=("load", "read_typed"))
    arguments.add_argument("--folder", type=Path)
    asked = arguments.parse_args()
    if asked.way:
        seconds, n_rows = {"load": load, "read_typed": read_typed}[asked.way](asked.folder)
        peak_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(json.dumps({"seconds": seconds, "rows": n_rows, "peak_gb": peak_gb}))
        return
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        write_sheets(folder, asked.lines)
        typed = measured("read_typed", folder)
        ours = measured("load", folder)
    assert typed["rows"] == ours["rows"]
    print(
        f"{ours['rows']:,} lines: load {ours['seconds']:.1f} s, peak {ours['peak_gb']:.2f} GB; "
        f"typed read {typed['seconds']:.1f} s, peak {typed['peak_gb']:.2f} GB; "
        f"ratio {ours['seconds'] / typed['seconds']:.1f}"
    )


if __name__ == "__main__":
    main()
