"""Kill a load, a correction, a backup and a migration at random moments, and look at the file.

``python tests/pipelines/records/database/interruptions.py 100`` interrupts as often, by SIGKILL,
each time at a moment between the beginning and a little after the usual end. What was acknowledged
must be there whole; what was not must be there whole or not at all; nothing may be left half done.
"""

import argparse
import gzip
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from datetime import date
from pathlib import Path

import duckdb
import openpyxl

from studcurve.pipelines.records.corrections import write_corrections
from studcurve.pipelines.records.database.schema import KEYS
from studcurve.pipelines.records.database.store import Store
from studcurve.reports.findings import with_texts
from studcurve.reports.words import Words

TODAY = date(2026, 10, 31)
SEED = 20240229
PAST_THE_END = 1.1
"""The last moment of a kill, as a share of how long the work takes undisturbed."""

DEMO = Path(__file__).parents[4] / "demo_data"
OLD_FILE = Path(__file__).parents[1] / "old_files" / "schema_0001.duckdb.gz"

BEGIN = "import sys\nfrom datetime import date\nfrom pathlib import Path\n" + (
    "from studcurve.pipelines.records.archive import back_up\n"
    "from studcurve.pipelines.records.database.store import Store\n"
    "path, other = Path(sys.argv[1]), Path(sys.argv[2])\n"
    "print('begun', flush=True)\n"
)
LOAD = """
with Store.open(path) as store:
    store.load([other], today=date(2026, 10, 31))
    print('done', flush=True)
"""
WORK = {
    "load": LOAD,
    "correction": LOAD,
    "decision": """
with Store.open(path) as store:
    found = store.read('findings')
    numbers = found[found['is_open'] & (found['severity'] == 'question')]['finding_id'].tolist()
    store.confirm(numbers[::2], today=date(2026, 10, 31), reason='seen')
    print('done', flush=True)
""",
    "backup": "back_up(path, other)\nprint('done', flush=True)\n",
    "migration": "with Store.open(path) as store:\n    print('done', flush=True)\n",
}
"""What is interrupted; each prints when its work is acknowledged."""


def contents(path):
    """Every row of every table, as text; the clock of a load aside."""
    with duckdb.connect(str(path), read_only=True) as file:
        known = {table for (table,) in file.execute("SHOW TABLES").fetchall()}
        return {
            table: sorted(
                str([value for value in row if not (table == "load" and value is row[1])])
                for row in file.execute(f"SELECT * FROM {table}").fetchall()
            )
            for table in KEYS
            if table in known
        }


class Case:
    """One kind of work: the file before it, what it reads or makes, and the file after it."""

    def __init__(self, folder, kind):
        self.kind = kind
        self.folder = folder / kind
        self.folder.mkdir()
        self.before = self.folder / "before.duckdb"
        self.other = self.folder / "other"
        getattr(self, f"prepare_{kind}")()
        done = self.folder / "done.duckdb"
        shutil.copyfile(self.before, done)
        output, _, self.seconds = self.run(done, None)
        assert "done" in output, output
        self.known_before = contents(self.before)
        self.known_after = contents(done)

    def prepare_load(self):
        self.other = DEMO / "records"
        with Store.open(self.before):
            pass

    def prepare_correction(self):
        with Store.open(self.before) as store:
            store.load([DEMO / "records", DEMO / "typing_errors"], today=TODAY)
            findings = with_texts(store.read("findings"), Words("en"))
        self.other = self.folder / "corrections.xlsx"
        write_corrections(findings, self.other)
        book = openpyxl.load_workbook(self.other)
        for page in book:
            notes = [cell.column for cell in page[1] if cell.value == "Notes"]
            for row in range(2, page.max_row + 1) if notes else ():
                page.cell(row, notes[0]).value = "seen again"
        book.save(self.other)

    def prepare_decision(self):
        with Store.open(self.before) as store:
            store.load([DEMO / "records", DEMO / "typing_errors"], today=TODAY)

    def prepare_backup(self):
        self.prepare_decision()

    def prepare_migration(self):
        self.before.write_bytes(gzip.decompress(OLD_FILE.read_bytes()))

    def run(self, path, after_seconds):
        """Do the work on a file; kill it after a while, counted from its beginning."""
        target = self.folder / "backup.duckdb" if self.kind == "backup" else self.other
        process = subprocess.Popen(
            [sys.executable, "-c", BEGIN + WORK[self.kind], str(path), str(target)],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        process.stdout.readline()
        began = time.perf_counter()
        if after_seconds is not None:
            time.sleep(after_seconds)
            process.send_signal(signal.SIGKILL)
        output = process.communicate()[0]
        return output, target, time.perf_counter() - began

    def interrupt(self, share):
        """Kill the work at a share of its time, and say what is wrong with what is left."""
        path = self.folder / "killed.duckdb"
        for stale in (*self.folder.glob("*killed.duckdb*"), *self.folder.glob("*backup.duckdb*")):
            stale.unlink()
        shutil.copyfile(self.before, path)
        output, target, _ = self.run(path, share * self.seconds)
        is_acknowledged = "done" in output
        if self.kind == "backup":
            return is_acknowledged, self.wrong_with_backup(path, target, is_acknowledged)
        with Store.open(path) as store:  # an interrupted migration is taken up again here
            broken = store.broken_promises()
        found = contents(path)
        if broken:
            return is_acknowledged, f"broken: {broken}"
        if self.kind == "migration" or is_acknowledged:
            return is_acknowledged, "" if found == self.known_after else "acknowledged and lost"
        if found not in (self.known_before, self.known_after):
            return is_acknowledged, "half of it is there"
        return is_acknowledged, ""

    def wrong_with_backup(self, path, target, is_acknowledged):
        if contents(path) != self.known_before:
            return "the records file has changed"
        if not target.exists():
            return "acknowledged and not there" if is_acknowledged else ""
        return "" if contents(target) == self.known_before else "half a backup"


def interrupt(n_times, seed=SEED, say=lambda text: None, kinds=tuple(WORK)):
    """Interrupt kinds of work in turn.

    Returns
    -------
    n_acknowledged, wrong
        How often the work was done before the kill, by kind; and every thing found wrong.
    """
    rng = random.Random(seed)
    n_acknowledged, wrong = Counter(), []
    with tempfile.TemporaryDirectory() as made:
        cases = [Case(Path(made), kind) for kind in kinds]
        for n in range(n_times):
            case = cases[n % len(cases)]
            share = rng.uniform(0.0, PAST_THE_END)
            is_acknowledged, problem = case.interrupt(share)
            n_acknowledged[case.kind] += is_acknowledged
            if problem:
                wrong.append(f"{case.kind} killed at {share:.2f} of its time: {problem}")
            say(f"{n + 1:>4} {case.kind} at {share:.2f}: {problem or 'whole'}")
    return n_acknowledged, wrong


def main():
    """Interrupt as often as asked for; exit code 1 when anything is lost or half done."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("n_times", type=int, nargs="?", default=20)
    arguments.add_argument("--seed", type=int, default=SEED)
    asked = arguments.parse_args()
    n_acknowledged, wrong = interrupt(asked.n_times, asked.seed, print)
    print(
        f"{asked.n_times} interruptions, {sum(n_acknowledged.values())} of them after the work was "
        f"acknowledged; {len(wrong)} lost or left something half done"
    )
    print(*wrong, sep="\n")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
