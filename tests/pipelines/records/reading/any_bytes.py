"""Load inputs that no honest person makes, and see that each ends in rows, refusals or a sentence.

``python tests/pipelines/records/reading/any_bytes.py 20000`` makes that many random and mutated CSV
files and workbooks from a seed. Each is read and staged by itself; those that can be are loaded
together, many at a time. Whatever ends in anything but rows, refusals or a sentence of ours is a
failure.
"""

import argparse
import io
import random
import sys
import tempfile
import time
import warnings
import zipfile
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import duckdb
import xlsxwriter

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.guide import EXAMPLES
from studcurve.pipelines.records.reading.staging import read_texts, stage
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.pipelines.records.template import WorkbookLine, write_workbook

TODAY = date(2026, 10, 31)
SEED = 20240229
BATCH = 100
N_PROGRESS = 2000
N_SHOWN = 300

DOGS = [
    WorkbookLine({"call_name": "Rowan", "sex": "male"}),
    WorkbookLine({"call_name": "Bryony", "sex": "female"}),
]

NASTY = [
    "1e999", "-1e999", "NaN", "inf", "-0", "0x1F", "9" * 400, "=1+1", "=HYPERLINK(1)", "\u202e",
    "0000-00-00", "99999-01-01", "infinity", "24:00", "23:59:60", "1,000", "1.2.3", "--5",
    "> ", ">", "<<3", "3-", "-3-4", "70-80-90", "~", "None", "null", "NULL", "\\N",
    "'; DROP TABLE line; --",
    "\"", "\"\"", "'", "\\", "{}", "[]", "[1", "%s%n", "\u0000", "\ufeff", "\ud7ff", "é" * 300,
    "月",
    "2024-02-30", "03/04/2024", "1.1.1", "5 Foo 2024", "Feb 30, 2024", "epoch", "1970-01-01 00:00",
    "12:30 PM", "13:61", "too many to count", "?", "(example) x", "Rowan", "\u00a0", "\t", "\x07",
    "a\nb", "a\rb", "18446744073709551616", "1e-400", "٣", "½", "+5", "5 %", "5%", "true",
]  # fmt: skip
SEPARATORS = [",", ";", "\t", ",", ";"]
ENCODINGS = ["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16", "latin-1", "utf-16-be",
             "utf-32"]  # fmt: skip
PIECES = [b"\0", b"\r", b"\n", b'"', b",", b";", b"\xff", b"\xfe\xff", b"\xed\xa0\x80", b"\x1a",
          b"\xef\xbb\xbf", b"\t", b" ", b"''", b'""', b"\\", b"=", b"\xc2\xa0",
          b"9" * 50]  # fmt: skip
XML_PIECES = [b"<", b">", b"&", b"&lol;", b"<row/>", b'<c r="A1"/>', b"<v>", b"</v>", b"]]>",
              b"\xff", b"1e308", b"-1", b"99999999999", b't="s"', b't="e"', b't="d"',
              b"#N/A"]  # fmt: skip


@dataclass
class Tally:
    """What became of the inputs."""

    ends: Counter = field(default_factory=Counter)
    sentences: Counter = field(default_factory=Counter)
    failures: list = field(default_factory=list)


def csv_rows(rng):
    """Headings and lines of a sheet, some cells nasty, some columns missing or foreign."""
    sheet = rng.choice(list(SHEETS.values()))
    columns = list(sheet.columns)
    if rng.random() < 0.3:
        rng.shuffle(columns)
    if rng.random() < 0.3:
        columns = [c for c in columns if c.required or rng.random() < 0.7]
    headings = [column.heading for column in columns]
    if rng.random() < 0.08:
        headings[rng.randrange(len(headings))] = rng.choice([*NASTY, *headings])
    rows = [headings]
    for _ in range(rng.randrange(6)):
        cells = [EXAMPLES[sheet.name].get(column.name, "") for column in columns]
        for _ in range(rng.randrange(4)):
            cells[rng.randrange(len(cells))] = rng.choice(NASTY)
        if rng.random() < 0.1:
            cells += [rng.choice(NASTY)] * rng.randrange(4)
        if rng.random() < 0.1:
            cells = cells[: rng.randrange(len(cells) + 1)]
        rows.append(cells)
    return sheet.name, rows


def quoted(rng, cell, separator):
    """A cell as CSV, mostly rightly quoted."""
    if rng.random() < 0.02:
        return cell
    special = any(sign in cell for sign in (separator, '"', "\n", "\r"))
    return f'"{cell.replace(chr(34), 2 * chr(34))}"' if special or rng.random() < 0.05 else cell


def csv_bytes(rng):
    """A name and the bytes of a CSV file."""
    name, rows = csv_rows(rng)
    separator = rng.choice(SEPARATORS)
    end = rng.choice(["\n", "\n", "\r\n", "\r"])
    text = end.join(separator.join(quoted(rng, c, separator) for c in row) for row in rows)
    encoded = (text + end * rng.randrange(3)).encode(rng.choice(ENCODINGS), errors="replace")
    return f"{rng.choice([name, name, name, 'anything'])}.csv", mutated(rng, encoded, PIECES)


def mutated(rng, content, pieces, most=3):
    """The bytes with a few of them changed; often with none."""
    for _ in range(rng.choice([0, 0, 1, 1, 2, most])):
        if not content:
            break
        a, b = sorted(rng.randrange(len(content) + 1) for _ in range(2))
        match rng.randrange(6):
            case 0:
                content = content[:a] + bytes([rng.randrange(256)]) + content[a + 1 :]
            case 1:
                content = content[:a] + rng.choice(pieces) + content[a:]
            case 2:
                content = content[:a] + content[b:]
            case 3:
                content = content[:b] + content[a:b] + content[b:]
            case 4:
                content = content[: rng.choice([a, b])]
            case _:
                content = content[:a] + content[a:b][::-1] + content[b:]
    return content


def workbook_seeds(folder):
    """A few honest workbooks to spoil."""
    whole = {name: [WorkbookLine(cells)] for name, cells in EXAMPLES.items()}
    seeds = [{"dogs": whole["dogs"]}, {"collections": whole["collections"]},
             {"heats": whole["heats"], "prices": whole["prices"]}]  # fmt: skip
    for n, lines in enumerate(seeds):
        write_workbook(folder / f"seed{n}.xlsx", lines, with_example=n == 1)
    return [(folder / f"seed{n}.xlsx").read_bytes() for n in range(len(seeds))]


def workbook_bytes(rng, seeds):
    """A name and the bytes of a workbook: nasty cells, spoilt parts, or spoilt bytes."""
    way = rng.random()
    if way < 0.35:
        return "any.xlsx", mutated(rng, nasty_workbook(rng), [b"\0", b"PK", b"\xff"])
    content = rng.choice(seeds)
    if way < 0.55:
        return "any.xlsx", mutated(rng, content, [b"\0", b"PK\x03\x04", b"\xff" * 8])
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a part that comes twice is what is wanted
        with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
            for part in old.infolist():
                body = old.read(part)
                if rng.random() < 0.25:
                    body = mutated(rng, body, XML_PIECES)
                if rng.random() > 0.02:
                    new.writestr(part.filename, body)
                if rng.random() < 0.02:
                    new.writestr(part.filename, body)
    return "any.xlsx", made.getvalue()


def nasty_workbook(rng):
    """A workbook whose cells are of every type."""
    name, rows = csv_rows(rng)
    made = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(made, options) as book:
        page = book.add_worksheet(rng.choice([SHEETS[name].title, "Sheet1"]))
        day = book.add_format({"num_format": rng.choice(["yyyy-mm-dd", "hh:mm", "[h]:mm", "@"])})
        for i, row in enumerate(rows):
            for j, cell in enumerate(row):
                match rng.randrange(9) if i else 9:
                    case 0:
                        page.write_number(i, j, rng.choice([-5.5, 0, 60, 45356, 3e6, 1e18]), day)
                    case 1:
                        page.write_boolean(i, j, rng.random() < 0.5)
                    case 2:
                        page.write_formula(i, j, "=1/0", None, rng.choice(["#DIV/0!", 3, "x"]))
                    case _:
                        page.write_string(i, j, cell)
        if rng.random() < 0.1:
            page.write_string(rng.choice([5000, 1_000_000]), rng.choice([2, 16_000]), "far")
    return made.getvalue()


def load_all(store, paths, tally):
    """Load files together; whatever ends that is looked for by halves."""
    try:
        report = store.load(paths, today=TODAY, check_only=True)
    except Exception as problem:
        if len(paths) > 1:
            half = len(paths) // 2
            load_all(store, paths[:half], tally)
            load_all(store, paths[half:], tally)
        elif isinstance(problem, RecordsError):
            note_sentence(str(problem), tally)
        else:
            tally.failures.append((paths[0].name, paths[0].read_bytes(), repr(problem)))
    else:
        n_rows = sum(count.n_new + count.n_unchanged for count in report.sheets.values())
        tally.ends["rows"] += n_rows
        tally.ends["refused lines"] += report.n_refused
        tally.ends["files loaded"] += len(paths)


def note_sentence(printed, tally):
    """A sentence is one line that ends as one."""
    tally.ends["sentences"] += 1
    if "\n" in printed or not printed.rstrip().endswith((".", "…")) or "Traceback" in printed:
        tally.failures.append(("sentence", printed.encode(), "no clear sentence"))


def try_inputs(n_inputs, seed=SEED, say=lambda text: None):
    """Make inputs and load them.

    Returns
    -------
    Tally
        How they ended; no failures when all is well.
    """
    rng, tally = random.Random(seed), Tally()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        seeds = workbook_seeds(folder)
        with Store.open(folder / "kennel.duckdb") as store:
            write_workbook(folder / "dogs.xlsx", {"dogs": DOGS})
            store.load([folder / "dogs.xlsx"], today=TODAY)
            readable = []
            for n in range(n_inputs):
                is_workbook = n % 4 == 3
                name, content = workbook_bytes(rng, seeds) if is_workbook else csv_bytes(rng)
                place = Path(store._staging.name) / str(n)  # the one folder that may be read
                place.mkdir()
                path = place / name
                path.write_bytes(content)
                tally.ends["workbooks" if is_workbook else "CSV files"] += 1
                try:
                    texts, _ = read_texts([path], place)
                    stage(store._connection, texts, place, unreadable=duckdb.Error)
                except RecordsError as said:
                    note_sentence(str(said), tally)
                except Exception as trace:
                    tally.failures.append((name, content, repr(trace)))
                else:
                    readable.append(path)
                if len(readable) == BATCH or n == n_inputs - 1:
                    if readable:
                        load_all(store, readable, tally)
                    readable = []
                if (n + 1) % N_PROGRESS == 0:
                    say(f"{n + 1} inputs, {len(tally.failures)} failures")
    return tally


def main():
    """Try as many inputs as asked for; exit code 1 on any failure."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("n_inputs", type=int, nargs="?", default=20_000)
    arguments.add_argument("--seed", type=int, default=SEED)
    asked = arguments.parse_args()
    began = time.perf_counter()
    tally = try_inputs(asked.n_inputs, asked.seed, print)
    ends = ", ".join(f"{n:,} {what}" for what, n in sorted(tally.ends.items()))
    print(f"{asked.n_inputs:,} inputs in {time.perf_counter() - began:.0f} s: {ends}")
    for name, content, why in tally.failures[:20]:
        print(f"FAILED {name}: {why}\n  {content[:N_SHOWN]!r}")
    print(f"{len(tally.failures)} failures")
    sys.exit(bool(tally.failures))


if __name__ == "__main__":
    main()
