import csv
import shutil
from datetime import date

import pytest

from studcurve.pipelines.records.database.connection import remember_trusted
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.sheets.columns import SHEETS

TODAY = date(2026, 10, 31)

DOGS = [
    {"Dog": "Bracken", "Sex": "male", "Born": "2018-05-01", "Chip": "900000000000001"},
    {"Dog": "Tarn", "Sex": "male", "Born": "2019-05-01", "Registered name": "Amber Tarn"},
    {"Dog": "Senna", "Sex": "female", "Born": "2019-03-01"},
    {"Dog": "Sage", "Sex": "female", "Born": "2020-03-01"},
]


class Kennel:
    """A small kennel's folder of sheets and its records file."""

    def __init__(self, folder):
        self.folder = folder
        self.records = folder / "kennel.duckdb"

    def write(self, sheet, rows, name=None):
        path = self.folder / (name or f"{sheet}.csv")
        path.parent.mkdir(exist_ok=True, parents=True)
        headings = [c.heading for c in SHEETS[sheet].columns]
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, headings, restval="", lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
        return path

    def collections(self, *rows, name=None):
        """Write Collections lines that differ from a plain one as said."""
        plain = {"Dog": "Bracken", "Date": "2024-03-05", "Volume (mL)": "2.4",
                 "Concentration (M/mL)": "310", "Total motility (%)": "80",
                 "Progressive motility (%)": "70",
                 "How motility was evaluated": "by eye"}  # fmt: skip
        return self.write("collections", [plain | row for row in rows], name)

    def open(self, **how):
        return Store.open(self.records, **how)

    def load(self, *paths, **how):
        with self.open() as store:
            return store.load(list(paths), **({"today": TODAY} | how))

    def read(self, view):
        with self.open(read_only=True) as store:
            return store.read(view)

    def lines(self, sheet):
        with self.open(read_only=True) as store:
            return store.lines(sheet)


@pytest.fixture(scope="session")
def kennel_class():
    return Kennel


@pytest.fixture(scope="session")
def kennel_of_four(tmp_path_factory):
    made = Kennel(tmp_path_factory.mktemp("four"))
    made.load(made.write("dogs", DOGS))
    return made.records


@pytest.fixture
def kennel(tmp_path, kennel_of_four):
    """A kennel of four dogs and no other record."""
    made = Kennel(tmp_path)
    shutil.copyfile(kennel_of_four, made.records)
    remember_trusted(made.records)  # it is as this process has left it
    return made
