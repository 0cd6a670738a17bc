"""A caution that stops a dog's chances takes them out of every page, picture, sheet and answer."""

import json
import re
import shutil

import pandas as pd
import pytest
from tests.pipelines.test_stud_levels import kept_level
from tests.printed import sentences_in

from studcurve.pipelines.cli import app
from studcurve.pipelines.pages.handout import handout_results
from studcurve.pipelines.pages.kennel import read_kennel
from studcurve.pipelines.pages.outcomes import outcomes_of, outcomes_results
from studcurve.pipelines.pages.overview import overview_results
from studcurve.pipelines.pages.stud import read_stud, read_studs
from studcurve.pipelines.pages.stud_review import stud_results
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import (
    DEMO_TODAY,
    ENGLISH_OWNER,
    ENGLISH_VET,
    write_every_page,
    write_handout,
)
from studcurve.reports.catalog import LANGUAGES
from studcurve.reports.page import Reader
from studcurve.reports.pages.handout import build_handout
from studcurve.reports.pages.outcomes import build_outcomes
from studcurve.reports.pages.overview import build_overview
from studcurve.reports.pages.stud_review import build_stud_review
from studcurve.reports.pdf import can_set_type
from studcurve.reports.words import Words

pytestmark = pytest.mark.usefixtures("files_are_read_once")

STOPPED, OTHER = "Bracken", "Tarn"
POSITIVE = {
    "Dog": STOPPED, "Date": "2026-10-01", "Kind": "laboratory test", "What": "Brucella (RSAT)",
    "Result": "positive", "Laboratory": "Any",
}  # fmt: skip


@pytest.fixture(scope="module")
def stopped_store(fitted_store_path, tmp_path_factory, kennel_class):
    kennel = kennel_class(tmp_path_factory.mktemp("stopped"))
    shutil.copyfile(fitted_store_path, kennel.records)
    kennel.load(kennel.write("health", [POSITIVE]), today=DEMO_TODAY)
    return kennel.records


@pytest.fixture(scope="module")
def kennel(stopped_store):
    return read_kennel(stopped_store, DEMO_TODAY)


@pytest.fixture(scope="module")
def sheet(kennel, demo_records, demo_stopped):
    """The owner's Breedings sheet without the stopped studs and the bitches that met them."""
    assert {STOPPED, *demo_stopped} <= kennel.stopped
    rows = pd.read_csv(demo_records / "breedings.csv", dtype=str)
    return rows[~rows["Stud"].isin(kennel.stopped) & ~rows["Bitch"].isin(kennel.stopped)]


@pytest.fixture(scope="module")
def pages(stopped_store, tmp_path_factory):
    out = tmp_path_factory.mktemp("pages")
    write_every_page(stopped_store, out, today=DEMO_TODAY, say=lambda sentence: None)
    return {str(p.relative_to(out)): p for p in sorted(out.rglob("*")) if p.is_file()}


def ids(report):
    return {section.name for section in report.sections}


def test_his_own_review_keeps_counts_and_loses_chances_sliders_litters_and_coefficients(kennel):
    results = stud_results(kennel, read_stud(kennel, STOPPED), "owner")
    report = build_stud_review(results, ENGLISH_OWNER)

    assert {"total", "motility"} <= ids(report)
    assert ids(report).isdisjoint({"chances", "whatif", "sizes", "coefficients"})
    assert not any(section.panel for section in report.sections)
    assert not any("litter" in sentence for sentence in report.answer)
    assert "Brucella" in ENGLISH_OWNER.words.tell(report.cautions[0].sentence)


def test_his_handout_holds_no_chance(kennel):
    results = handout_results(kennel, read_stud(kennel, STOPPED), "", "vet")
    report = build_handout(results, ENGLISH_VET)
    printed = " ".join(
        text
        for section in report.sections
        for text in (section.heading, section.lead, *section.paragraphs)
    )

    of_chances = ("answer.litters", "answer.no_outcome_known", "review.chances_lead")
    assert [key for key in of_chances if sentences_in(printed, key)] == []
    assert "chance" not in printed.lower()


@pytest.mark.parametrize("page", [OTHER, "overview"])
def test_chances_by_semen_type_count_only_the_breedings_of_others(kennel, sheet, page):
    report = (
        build_overview(overview_results(kennel, read_studs(kennel)), (), ENGLISH_OWNER)
        if page == "overview"
        else build_stud_review(
            stud_results(kennel, read_stud(kennel, page), "owner"), ENGLISH_OWNER
        )
    )
    (table,) = [section.table for section in report.sections if section.name == "chances"]

    known = sheet[sheet["Result"].notna()]
    if page == OTHER:
        # What a kennel's other studs did is not shown as his.
        known = known[known["Stud"] == OTHER]
    for semen, n_known, n_whelped, *_ in table.rows:
        of_type = known[known["Semen"] == semen]
        assert int(n_known) == len(of_type)
        assert int(n_whelped) == (of_type["Result"] == "whelped").sum()


def test_no_sum_of_the_overview_counts_his_breedings_and_it_says_so(kennel, sheet, demo_records):
    n_bred = len(pd.read_csv(demo_records / "breedings.csv"))
    results = overview_results(kennel, read_studs(kennel))
    report = build_overview(results, (), ENGLISH_OWNER)
    tables = {section.name: section.table for section in report.sections}
    text = " ".join(report.answer)
    (program,) = [one.values for one in results.answer if one.key == "answer.program"]
    whelped = sheet[sheet["Result"] == "whelped"]

    assert sum(int(row[1]) for row in tables["years"].rows) == len(sheet)
    assert sum(int(row[2]) for row in tables["outcomes"].rows) == len(sheet)
    assert sum(int(row[1]) for row in tables["sizes"].rows) == len(whelped)
    (his,) = [row for row in tables["studs"].rows if row[0] == STOPPED]
    assert his[-2:] == ("stopped", "stopped")
    assert program["n_whelped"] == len(whelped)
    (held_back,) = [one for one in results.answer if one.key == "answer.held_back"]
    assert (held_back.values["n"], held_back.values["dogs"][0]) == (n_bred - len(sheet), STOPPED)
    assert ENGLISH_OWNER.words.tell(held_back) in text


def test_outcomes_beside_the_four_count_none_of_his_and_his_page_tells_of_none(kennel, sheet):
    (day,) = [one for one in outcomes_of(kennel).summaries
              if (one.exposure, one.outcome) == ("day", "litter")]  # fmt: skip
    results = outcomes_results(kennel, read_stud(kennel, STOPPED))
    report = build_outcomes(results, ENGLISH_OWNER)

    assert day.counts.n_bred == len(sheet)
    assert day.curve.n_bred == len(sheet)
    assert "Brucella" in ENGLISH_OWNER.words.tell(report.cautions[0].sentence)
    assert [one.key for one in results.wording.answer] == ["outcomes.nothing"]
    assert report.sections == report.annex == ()


def test_no_dot_beside_another_studs_sliders_is_a_breeding_of_his(kennel, sheet, demo_records):
    everyone = pd.read_csv(demo_records / "breedings.csv", dtype=str)
    his = everyone[~everyone.index.isin(sheet.index)]
    dots = stud_results(kennel, read_stud(kennel, OTHER), "owner").dots
    n_dots = pd.Series([dot.bitch for dot in dots]).value_counts()

    assert len(dots) == sheet["Result"].notna().sum()
    only_his = set(his["Bitch"]) - set(sheet["Bitch"])
    assert only_his.isdisjoint(n_dots.index)


@pytest.mark.slow
def test_the_files_of_every_page_hold_nothing_of_his_chances(pages):
    for name in (f"stud-{STOPPED.lower()}.html", f"handout-{STOPPED.lower()}.html",
                 "de/stud-bracken.html"):  # fmt: skip
        html = pages[name].read_text("utf-8")
        data = re.findall(r'<script type="application/json" data-(\w+)="([^"]*)">', html)

        assert not any(kind == "values" for kind, _ in data), name
        assert {chart.split("-")[0] for kind, chart in data if kind == "chart"} <= {
            "total", "motility", "picture", "stages",
        }  # fmt: skip
        for language in LANGUAGES:
            assert sentences_in(html, "review.chances", language) == []
            assert sentences_in(html, "answer.litters", language) == []
    index = pages["index.html"].read_text("utf-8")
    assert not re.search(r"\d ?%", re.sub(r"<style.*?</style>", "", index, flags=re.DOTALL))


@pytest.mark.parametrize(
    "arguments",
    [
        ["compare", STOPPED, "Thyme"],
        ["schedule", STOPPED, "Thyme", "Whin"],
        ["bench", "dose", "4", "70", "--concentration", "300", "--stud", STOPPED],
        ["bench", "storage", "70", "--stud", STOPPED.lower()],
    ],
    ids=lambda arguments: " ".join(arguments[:2]),
)  # fmt: skip
@pytest.mark.parametrize("form", [[], ["--json"]], ids=["text", "json"])
def test_no_command_prints_a_number_of_his(stopped_store, arguments, form):
    from typer.testing import CliRunner

    plan = [] if arguments[0] == "bench" else ["--now", "2026-10-31"]
    shown = CliRunner().invoke(app, [*arguments, *form, "--store", str(stopped_store), *plan])

    text = shown.output + str(shown.exception or "")
    assert "Brucella" in text
    assert not re.search(r"\d ?%|\d M\b|\b0\.\d", shown.output)
    if form and shown.output:
        assert json.loads(shown.output)["is_stopped"] is True


def read_pdf(path):
    """The text of every sheet in one line, without what binds words and the line ends of sheets."""
    from pypdf import PdfReader

    text = " ".join(page.extract_text() for page in PdfReader(path).pages)
    return re.sub(r"\s+", " ", text).replace("\u2011", "-")


@pytest.mark.slow
@pytest.mark.skipif(not can_set_type(), reason="the extra pdf is not installed")
@pytest.mark.parametrize("language", LANGUAGES)
def test_the_sheets_for_the_vet_hold_no_number_of_his(
    fitted_store_path, stopped_store, tmp_path, language
):
    reader, by_state = Reader(Words(language), "vet"), {}
    for state, records in (("free", fitted_store_path), ("stopped", stopped_store)):
        copied = tmp_path / f"{state}.duckdb"
        shutil.copyfile(records, copied)
        with Store.open(copied) as store:
            store.save_fit(kept_level(store))
        kennel = read_kennel(copied, DEMO_TODAY)
        by_state[state] = handout_results(kennel, read_stud(kennel, STOPPED), "", "vet")
        _, path = write_handout(copied, STOPPED, tmp_path, today=DEMO_TODAY, reader=reader)
        by_state[f"{state} sheets"] = read_pdf(path)
    # What is told of him without the stop, word for word and number by number; the line of the
    # picture that is commonly used, and the width of every interval, are not his.
    sentences = [reader.words.tell(sentence) for sentence in by_state["free"].answer]
    numbers = set(re.findall(r"\d[\d.,]* (?:%|Mio\.|M)(?!\w)", " ".join(sentences)))
    numbers -= {"90 %", "300 M", "300 Mio."}
    body, how = (
        by_state["stopped sheets"].replace("\u00a0", " ").split(reader.words["page.how_we_know"])
    )

    assert len(sentences) >= 3
    assert len(numbers) >= 6
    free = re.sub(r"[\s\u00a0]+", " ", by_state["free sheets"])
    assert all(sentence in free for sentence in sentences)
    assert not any(sentence in body for sentence in sentences)
    assert {number for number in numbers if number in body} == set()
    assert reader.words["method.stopped"] in how
    assert "Brucella" in body
