"""Make a small records file of the schema in force, to be kept when that schema is released.

Run once at each release, from the released code: ``python
tests/pipelines/records/old_files/make.py``. The file holds a line of every sheet, a corrected line,
a refused one, a question and a kept fit. Later versions must bring it up to date without losing any
of them.
"""

import csv
import gzip
import tempfile
from datetime import date, datetime
from pathlib import Path

import numpy as np

from studcurve.pipelines.records.database.kept_fits import KeptFit
from studcurve.pipelines.records.database.schema import SQL
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.sheets.columns import SHEETS

HERE = Path(__file__).parent
TODAY = date(2026, 10, 31)

LINES = {
    "dogs": [
        {"Dog": "Rowan", "Sex": "male", "Born": "2019-04-02", "Chip": "900000000000017",
         "Owner": "Ingrid Holm", "Inbreeding (%)": "6.25"},
        {"Dog": "Bryony", "Sex": "female", "Born": "1 May 2020", "Adult weight (kg)": "18,5"},
    ],
    "collections": [
        {"Dog": "Rowan", "Date": "2024-03-05", "Time": "08:30", "Volume (mL)": "2.4",
         "Concentration (M/mL)": "> 300", "Progressive motility (%)": "70",
         "Abnormal heads (%)": "12",
         "Evaluator": "Ingrid Holm", "Extender": "egg yolk", "Doses made": "2",
         "Centrifuged at (g)": "700",
         "Minutes warmed": "5"},
        {"Dog": "Rowan", "Date": "2024-03-09", "Result": "refused"},
        {"Dog": "Rowan", "Date": "2024-03-12", "Progressive motility (%)": "850"},
    ],
    "frozen": [{"Stud": "Rowan", "Frozen on": "2023-01-10", "Lot": "R1", "Straws": "8",
                "Progressively motile per straw (M)": "34"}],
    "shipments": [{"Stud": "Rowan", "Collected on": "2024-03-05", "Sent on": "2024-03-05",
               "For bitch": "Gale", "Clinic": "Two Bridges Clinic", "Arrived on": "2024-03-06",
               "Progressive motility on arrival (%)": "60"}],
    "heats": [{"Bitch": "Bryony", "First day": "2024-02-26", "Progesterone 1 on": "2024-03-04",
               "Progesterone 1": "65", "Progesterone 1 unit": "ng/mL"}],
    "breedings": [{"Bitch": "Bryony", "Stud": "Rowan", "Date": "2024-03-08", "Semen": "frozen",
                   "Route": "transcervical", "Lot": "R1", "Straws": "3", "Scan on": "2024-04-08",
                   "Scan": "pregnant", "Result": "whelped", "Whelped on": "2024-05-08",
                   "Born alive": "5", "Stillborn": "0"}],
    "health": [
        {"Dog": "Rowan", "Date": "2024-01-05", "Kind": "laboratory test",
         "What": "Brucella (RSAT)", "Result": "negative", "Laboratory": "Norra Analys"},
        {"Dog": "Rowan", "Date": "2024-02-01", "Kind": "examination", "What": "testes",
         "Result": "even"},
        {"Dog": "Rowan", "Date": "2024-02-02", "Kind": "event", "What": "fever",
         "Drug class": "antibiotic"},
    ],
    "prices": [{"What": "shipment", "Price": "145", "Currency": "EUR",
                "From": "2023-01-01"}],
}  # fmt: skip

CORRECTED = [LINES["collections"][0] | {"Time": "08:45"}, *LINES["collections"][1:]]
FIT = KeptFit(
    model="conception", fitted_at=datetime(2026, 10, 31, 12, 30), seed=7, data_fingerprint="a",
    model_fingerprint="b", priors_fingerprint="c", versions={"numpyro": "0.22.0"},
    diagnostics={"max_rhat": 1.002}, seconds=12.5, draws={"c01": np.linspace(-1.0, 1.0, 5)},
)  # fmt: skip


def write(folder, sheet, rows):
    path = folder / f"{sheet}.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [c.heading for c in SHEETS[sheet].columns], restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


def main():
    version = len(list((SQL / "migrations").iterdir()))
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        paths = [write(folder, sheet, rows) for sheet, rows in LINES.items()]
        with Store.open(folder / "kennel.duckdb") as store:
            store.load(paths, today=TODAY)
            store.load([write(folder, "collections", CORRECTED)], today=TODAY)
            store.save_fit(FIT)
        content = (folder / "kennel.duckdb").read_bytes()
    target = HERE / f"schema_{version:04}.duckdb.gz"
    target.write_bytes(gzip.compress(content, mtime=0))
    print(f"wrote {target.name}, {target.stat().st_size:,} bytes")


if __name__ == "__main__":
    main()
