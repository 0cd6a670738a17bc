"""A page without names holds none anywhere: text, charts, tooltips, grids, file names, PDF."""

import re
import zlib
from datetime import datetime

import pandas as pd
import pytest

from studcurve.pipelines.pages.comparison import coming_breedings
from studcurve.pipelines.pages.kennel import read_kennel
from studcurve.pipelines.pages.shipment_sheet import bitches_with_shipments
from studcurve.pipelines.plan.comparison import plan_breeding
from studcurve.pipelines.plan.records import read_plan_records
from studcurve.pipelines.plan.wishes import Wishes
from studcurve.pipelines.run import (
    DEMO_TODAY,
    write_comparison,
    write_handout,
    write_outcomes,
    write_pages,
    write_shipment_sheet,
)
from studcurve.reports.page import Reader
from studcurve.reports.words import Words

pytestmark = pytest.mark.slow  # every kind of page in two languages

NAMING = {
    "dogs": ("Dog", "Registered name", "Chip", "Registry number", "Owner", "Notes"),
    "collections": ("Dog", "Evaluator", "Notes"),
    "shipments": ("Stud", "For bitch", "Carrier", "Clinic", "Notes"),
    "heats": ("Bitch", "Progesterone 1 laboratory", "Notes"),
    "breedings": ("Bitch", "Stud", "Clinic", "Notes"),
    "frozen": ("Lot", "Stored at", "Notes"),
    "health": ("Dog", "Laboratory", "Notes"),
}


@pytest.fixture(scope="module")
def names(demo_records):
    """Every name and note of the owner's sheets."""
    found = set()
    for sheet, columns in NAMING.items():
        rows = pd.read_csv(demo_records / f"{sheet}.csv", dtype=str)
        for column in columns:
            found |= set(rows[column].dropna().str.strip())
    return sorted(name for name in found if len(name) > 2)


@pytest.fixture(scope="module", params=["en", "de"])
def written(request, fitted_store_path, tmp_path_factory):
    out = tmp_path_factory.mktemp("anonymous")
    store, today, words = fitted_store_path, DEMO_TODAY, Words(request.param)
    hidden = {"anonymous": True, "today": today}
    files = write_pages(store, out, studs=["Tarn"], reader=Reader(words), **hidden)
    files.append(write_outcomes(store, out, stud="Tarn", reader=Reader(words), **hidden))
    files += write_handout(store, "Tarn", out, reader=Reader(words, "vet"), **hidden)
    kennel = read_kennel(store, today)
    for bitch in bitches_with_shipments(kennel, 2):
        reader = Reader(words, "client")
        files.append(write_shipment_sheet(store, bitch, out, reader=reader, **hidden))
    records = read_plan_records(store, datetime(2026, 10, 31, 8))
    ((stud, bitch),) = coming_breedings(kennel, 1)
    plan = plan_breeding(records, stud, bitch, Wishes(), seed=1, n_draws=400, with_grids=True)
    files.append(write_comparison(plan, records, out, reader=Reader(words), anonymous=True))
    return files


def shown_text(path):
    """What a file can tell: everything but the chart engine and the stylesheet."""
    if path.suffix == ".pdf":
        raw = path.read_bytes()
        parts = [raw]
        for stream in re.findall(rb"stream\r?\n(.*?)endstream", raw, re.DOTALL):
            try:
                parts.append(zlib.decompress(stream))
            except zlib.error:
                parts.append(stream)
        return b"\n".join(parts).decode("latin-1")
    html = re.sub(r"<style>.*?</style>", "", path.read_text("utf-8"), flags=re.DOTALL)
    return re.sub(r"<script>.*?</script>", "", html, flags=re.DOTALL)


def test_no_page_holds_a_name_or_a_note(written, names):
    assert len(written) >= 9
    assert len(names) > 60
    any_name = re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, names))})(?!\w)")
    found = {
        path.name: sorted(set(any_name.findall(shown_text(path))))
        for path in written
        if path.suffix == ".html" and any_name.search(shown_text(path))
    }

    assert found == {}


def test_the_pdf_names_nobody_in_its_title_or_its_description(written):
    sheets = [path for path in written if path.suffix == ".pdf"]
    for path in sheets:
        text = shown_text(path)
        assert not re.search(r"(?<![A-Za-z])(?:Tarn|Ambertarn|Bracken)(?![A-Za-z])", text)


def test_no_file_is_called_after_a_dog(written, names):
    called = {name.lower() for name in names}
    for path in written:
        assert called.isdisjoint(re.split(r"[-.]", path.name)), path.name


def test_a_comparison_without_names_has_the_numbers_of_the_named_one(fitted_store_path, tmp_path):
    records = read_plan_records(fitted_store_path, datetime(2026, 10, 31, 8))
    ((stud, bitch),) = coming_breedings(read_kennel(fitted_store_path, DEMO_TODAY), 1)
    plan = plan_breeding(records, stud, bitch, Wishes(), seed=1, n_draws=400)
    pages = [
        shown_text(write_comparison(plan, records, tmp_path, anonymous=anonymous))
        for anonymous in (False, True)
    ]

    named, hidden = (re.findall(r'<td class="number">([^<]*)</td>', page) for page in pages)
    assert named == hidden
    assert len(named) > 40


def test_a_client_sheet_holds_only_her_bitch_no_price_no_other_stud_and_no_evaluator(
    fitted_store_path, tmp_path, demo_records
):
    kennel = read_kennel(fitted_store_path, DEMO_TODAY)
    dogs = pd.read_csv(demo_records / "dogs.csv", dtype=str)
    readers = set(pd.read_csv(demo_records / "collections.csv", dtype=str)["Evaluator"].dropna())
    shipments = pd.read_csv(demo_records / "shipments.csv", dtype=str)
    for bitch in bitches_with_shipments(kennel, 4):
        page = shown_text(
            write_shipment_sheet(fitted_store_path, bitch, tmp_path, today=DEMO_TODAY)
        )
        stud = shipments[shipments["For bitch"] == bitch].iloc[-1]["Stud"]
        others = (set(dogs["Dog"]) | set(shipments["For bitch"].dropna()) | readers) - {bitch}
        seen = {name for name in others if re.search(rf"(?<!\w){re.escape(name)}(?!\w)", page)}

        assert len(seen - {stud}) == 0, (bitch, seen)
        assert not re.search(r"EUR|price|cost", page)
