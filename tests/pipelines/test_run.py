"""From records to pages: reproducible, traceable, silent where a caution stops."""

import re
import shutil
from datetime import date

import pandas as pd
import pytest
from tests.printed import sentences_in

from studcurve.pipelines.pages.files import file_names
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO_TODAY, write_overview, write_pages, write_stud_reviews
from studcurve.reports.page import Reader
from studcurve.reports.words import Words

EN = Words("en")

pytestmark = pytest.mark.usefixtures("files_are_read_once")


@pytest.fixture(scope="module")
def page_of_tarn(fitted_store_path, tmp_path_factory):
    out = tmp_path_factory.mktemp("pages")
    write_stud_reviews(fitted_store_path, out, today=DEMO_TODAY, studs=["Tarn"])
    return (out / "stud-tarn.html").read_bytes()


def plain(page):
    """A page's text with plain spaces."""
    return page.decode().replace("\u00a0", " ")


def test_the_same_file_gives_the_same_pages_byte_for_byte(
    fitted_store_path, tmp_path, page_of_tarn
):
    # A file at another place is read anew.
    copied = shutil.copyfile(fitted_store_path, tmp_path / fitted_store_path.name)
    write_stud_reviews(copied, tmp_path, today=DEMO_TODAY, studs=["Tarn"])

    assert (tmp_path / "stud-tarn.html").read_bytes() == page_of_tarn


def test_the_litters_in_the_answer_are_those_in_the_sheet(page_of_tarn, demo_records):
    # Second route: count them in the owner's CSV.
    rows = pd.read_csv(demo_records / "breedings.csv", dtype=str)
    tarn = rows[rows["Stud"] == "Tarn"]
    n_known = int(tarn["Result"].notna().sum())
    n_whelped = int((tarn["Result"] == "whelped").sum())

    (litters,) = sentences_in(plain(page_of_tarn), "answer.litters")
    assert re.findall(r"\d+", litters)[:2] == [str(n_known), str(n_whelped)]


def test_the_last_samples_in_the_answer_are_those_in_the_sheet(page_of_tarn, demo_records):
    rows = pd.read_csv(demo_records / "collections.csv", dtype=str)
    tarn = rows[rows["Dog"] == "Tarn"].copy()
    tarn["on"] = pd.to_datetime(tarn["Date"], format="mixed")
    tarn["total"] = pd.to_numeric(tarn["Volume (mL)"]) * pd.to_numeric(
        tarn["Concentration (M/mL)"], errors="coerce"
    )
    last = tarn.dropna(subset="total").sort_values("on")["total"].tail(5)

    (samples,) = sentences_in(plain(page_of_tarn), "answer.last_samples")
    low, high = (f"{total:,.0f}" for total in (last.min(), last.max()))
    assert re.search(rf"\b{low}\b.*\b{high} M\b", samples)


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

    write_stud_reviews(path, tmp_path, today=DEMO_TODAY, studs=["Tarn", "Merle"])

    tarn = plain((tmp_path / "stud-tarn.html").read_bytes())
    merle = plain((tmp_path / "stud-merle.html").read_bytes())
    (stop,) = set(sentences_in(tarn, "caution.brucella_not_negative"))
    assert EN.day(date(2026, 10, 20)) in stop
    for key in ("review.chances", "answer.litters"):
        assert sentences_in(tarn, key) == []
        assert sentences_in(merle, key)


def test_every_stud_gets_a_plain_file_name_of_his_own():
    names = file_names("stud", ["Ünal", "unal", "../../etc", "💥", "<script>"])

    assert names["Ünal"] == "stud-unal.html"
    assert names["unal"] == "stud-unal-2.html"
    assert all(re.fullmatch(r"stud-[a-z0-9-]+\.html", name) for name in names.values())


def names_in(records):
    """Every name of a dog, person or place in the owner's sheets."""
    columns = {
        "dogs": ["Dog", "Registered name", "Owner", "Chip", "Sire", "Dam"],
        "collections": ["Evaluator"],
        "shipments": ["Carrier", "Clinic", "For bitch"],
        "breedings": ["Clinic"],
        "health": ["Laboratory", "Notes"],
        "frozen": ["Lot", "Stored at"],
    }
    names = set()
    for sheet, headings in columns.items():
        rows = pd.read_csv(records / f"{sheet}.csv", dtype=str)
        for heading in headings:
            names |= set(rows[heading].dropna())
    return names


@pytest.mark.slow
def test_an_anonymous_page_names_no_dog_person_or_place(fitted_store_path, tmp_path, demo_records):
    pages = write_pages(fitted_store_path, tmp_path, today=DEMO_TODAY, anonymous=True)

    names = names_in(demo_records)
    assert len(names) > 100
    for page in pages:
        text = re.sub(r"<script>.*?</script>|<style>.*?</style>", "", page.read_text("utf-8"),
                      flags=re.DOTALL)  # fmt: skip
        assert {name for name in names if re.search(rf"\b{re.escape(name)}\b", text)} == set()
        assert "Stud " in text


def test_an_anonymous_page_says_the_same_of_the_same_dog(fitted_store_path, tmp_path, page_of_tarn):
    pages = write_stud_reviews(
        fitted_store_path, tmp_path, today=DEMO_TODAY, studs=["Tarn"], anonymous=True
    )

    of_page, anonymous = (
        sentences_in(plain(page), "answer.litters")
        for page in (page_of_tarn, pages[0].read_bytes())
    )
    assert of_page == anonymous != []


def test_a_client_does_not_read_who_evaluated_what_happened_or_what_the_model_holds(
    fitted_store_path, tmp_path
):
    client = Reader(Words("en"), "client")
    pages = write_stud_reviews(
        fitted_store_path, tmp_path, today=DEMO_TODAY, studs=["Tarn"], reader=client
    )

    text = pages[0].read_text("utf-8")
    assert not re.search(r"\bIda\b|\bRolf\b|\bSund\b", text)
    assert "fever" not in text
    assert EN["axis.log_odds"] not in text


def test_a_kennel_whose_outcomes_are_all_unknown_has_its_pages(kennel, tmp_path):
    kennel.load(
        kennel.write("breedings", [{"Bitch": "Senna", "Stud": "Tarn", "Date": "2026-10-20",
                                    "Semen": "fresh", "Route": "vaginal"}])
    )  # fmt: skip

    page = write_overview(kennel.records, tmp_path, today=DEMO_TODAY).read_text("utf-8")

    assert "1 bred" in page
    assert "1 not reported" in page
    # A count of bitches that missed: the lead of a table speaks of no litter rate.
    assert not re.search(r"\d no litter", re.sub(r"<script.*?</script>", "", page, flags=re.DOTALL))
