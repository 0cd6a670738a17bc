"""From records to pages: reproducible, traceable, silent where a caution stops."""

import re

import pandas as pd
import pytest

from pipelines.run import DEMO_TODAY, _file_names, write_stud_reviews
from pipelines.store import Store


@pytest.fixture(scope="module")
def page_of_tarn(fitted_store_path, tmp_path_factory):
    out = tmp_path_factory.mktemp("pages")
    write_stud_reviews(fitted_store_path, out, today=DEMO_TODAY, studs=["Tarn"])
    return (out / "stud-tarn.html").read_bytes()


def test_the_same_file_gives_the_same_pages_byte_for_byte(
    fitted_store_path, tmp_path, page_of_tarn
):
    write_stud_reviews(fitted_store_path, tmp_path, today=DEMO_TODAY, studs=["Tarn"])

    assert (tmp_path / "stud-tarn.html").read_bytes() == page_of_tarn


def test_the_litters_in_the_answer_are_those_in_the_sheet(page_of_tarn, demo_records):
    # Second route: count them in the owner's CSV.
    rows = pd.read_csv(demo_records / "breedings.csv", dtype=str)
    tarn = rows[rows["Stud"] == "Tarn"]
    n_known = int(tarn["Result"].notna().sum())
    n_whelped = int((tarn["Result"] == "whelped").sum())

    text = page_of_tarn.decode()
    said = re.search(r"Of his (\d+) breedings with a known outcome (\d+) gave a litter", text)
    assert (int(said[1]), int(said[2])) == (n_known, n_whelped)


def test_the_last_samples_in_the_answer_are_those_in_the_sheet(page_of_tarn, demo_records):
    rows = pd.read_csv(demo_records / "collections.csv", dtype=str)
    tarn = rows[rows["Dog"] == "Tarn"].copy()
    tarn["on"] = pd.to_datetime(tarn["Date"], format="mixed")
    tarn["total"] = pd.to_numeric(tarn["Volume (mL)"]) * pd.to_numeric(
        tarn["Concentration (M/mL)"], errors="coerce"
    )
    last = tarn.dropna(subset="total").sort_values("on")["total"].tail(5)

    assert f"held {last.min():,.0f} to {last.max():,.0f} M sperm" in page_of_tarn.decode()


def test_a_positive_brucella_test_takes_the_conception_numbers_off_the_page(
    fitted_store_path, tmp_path
):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(fitted_store_path.read_bytes())
    health = tmp_path / "health.csv"
    health.write_text(
        "Dog,Date,Kind,What,Result\nTarn,2026-10-20,laboratory test,Brucella (RSAT),positive\n",
        encoding="utf-8",
    )
    with Store.open(path) as store:
        store.load([health], today=DEMO_TODAY)

    write_stud_reviews(path, tmp_path, today=DEMO_TODAY)

    tarn = (tmp_path / "stud-tarn.html").read_text(encoding="utf-8")
    assert "Brucella (RSAT) positive on 20 Oct 2026" in tarn
    assert "Chance of a litter" not in tarn
    assert "gave a litter" not in tarn
    assert "Chance of a litter" in (tmp_path / "stud-merle.html").read_text(encoding="utf-8")


def test_every_stud_gets_a_plain_file_name_of_his_own():
    names = _file_names(["Ünal", "unal", "../../etc", "💥", "<script>"])

    assert names["Ünal"] == "stud-unal.html"
    assert names["unal"] == "stud-unal-2.html"
    assert all(re.fullmatch(r"stud-[a-z0-9-]+\.html", name) for name in names.values())
