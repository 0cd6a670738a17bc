"""Pages: self-contained, closed to the world, safe with hostile text, silent after a stop."""

import base64
import hashlib
import json
import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser

import pandas as pd
import pytest

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.sentences import Word
from studcurve.reports.page import Column, Section, Table, render
from studcurve.reports.pages.index import build_index
from studcurve.reports.pages.overview import build_overview
from studcurve.reports.pages.shipment_sheet import build_shipment_sheet
from studcurve.reports.pages.stud_review import build_stud_review
from studcurve.reports.words import Words
from tests.reports.samples import (
    CLIENT,
    EN,
    HOSTILE,
    OWNER,
    STOP,
    every_report,
    overview_results,
    shipment_sheet_results,
    stud_results,
)

KINDS = ("review", "overview", "outcomes", "shipment sheet", "handout", "index", "compare")


class Seen(HTMLParser):
    """What a browser would see: elements, scripts and text."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.scripts, self.policy, self.text = [], [], "", []
        self._in_script = None
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        self.tags.append((tag, attributes))
        if attributes.get("http-equiv") == "Content-Security-Policy":
            self.policy = attributes["content"]
        if tag == "script":
            self._in_script = attributes
            self.scripts.append([attributes, ""])

    def handle_endtag(self, tag):
        if tag == "script":
            self._in_script = None

    def handle_data(self, data):
        if self._in_script is not None:
            self.scripts[-1][1] += data
        else:
            self.text.append(data)

    @property
    def run(self):
        return [text for attributes, text in self.scripts if "type" not in attributes]


@pytest.fixture(scope="module")
def pages():
    return {kind: render(report) for kind, report in every_report().items()}


@pytest.fixture(scope="module")
def hostile_pages():
    return {kind: Seen(render(report)) for kind, report in every_report(HOSTILE).items()}


def test_the_same_results_give_the_same_bytes(pages):
    built_again = every_report.__wrapped__()
    again = {kind: render(report) for kind, report in built_again.items()}

    assert again == pages


@pytest.mark.parametrize("kind", KINDS)
def test_only_the_named_scripts_may_run(pages, kind):
    seen = Seen(pages[kind])
    digests = {
        "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"
        for text in seen.run
    }

    assert len(seen.run) == (0 if kind == "index" else 2)
    assert seen.policy.startswith("default-src 'none'; script-src ")
    assert digests == set(re.findall(r"'sha256-[^']+'", seen.policy))


@pytest.mark.parametrize("kind", KINDS)
def test_a_page_asks_nothing_of_any_host(pages, kind):
    seen = Seen(pages[kind])

    for tag, attributes in seen.tags:
        assert tag not in {"link", "img", "iframe", "object", "form"}
        assert "src" not in attributes
        assert not str(attributes.get("href", "")).startswith(("http", "//"))
        assert not any(name.startswith("on") for name in attributes)
    assert "http" not in "".join(seen.text)


@pytest.mark.parametrize("kind", KINDS)
def test_a_hostile_name_stays_text_everywhere(hostile_pages, kind):
    seen = hostile_pages[kind]
    data = [json.loads(t) for a, t in seen.scripts if a.get("type") == "application/json"]

    assert len(seen.run) == (0 if kind == "index" else 2)
    assert not any("alert(1)" in text for text in seen.run)
    assert sum(HOSTILE in text for text in seen.text) >= 3
    # Inside charts and grids it is a datum, whole again once parsed.
    if kind in {"review", "handout"}:
        assert any(HOSTILE[:20] in json.dumps(one, ensure_ascii=False) for one in data)


@pytest.mark.parametrize("kind", KINDS)
def test_no_datum_of_a_chart_becomes_a_field_name(kind):
    def fields(part):
        if isinstance(part, dict):
            for key, value in part.items():
                if key == "field" and isinstance(value, str):
                    yield value
                elif key != "datasets":
                    yield from fields(value)
        elif isinstance(part, list):
            for value in part:
                yield from fields(value)

    specs = [
        spec
        for report in (every_report(HOSTILE)[kind],)
        for section in report.sections
        for _, spec in section.charts
    ]
    named = {field for spec in specs for field in fields(spec)}
    assert all(re.fullmatch(r"[a-z_]+", field) for field in named)


@pytest.mark.parametrize("kind", KINDS)
def test_every_chart_says_what_it_shows_and_every_table_has_a_caption(pages, kind):
    report = every_report()[kind]
    charts = [chart for section in report.sections for chart in section.charts]
    shown = (*report.sections, *report.annex)
    tables = [section.table for section in shown if section.table]

    assert pages[kind].count('class="chart"') == len(charts)
    assert pages[kind].count("<caption") == len(tables)
    assert all(spoken for spoken, _ in charts)
    assert all(table.rows for table in tables)
    assert all(len(row) == len(table.columns) for table in tables for row in table.rows)


@pytest.mark.parametrize("kind", KINDS)
def test_no_two_parts_of_a_page_have_one_name(pages, kind):
    ids = [attributes["id"] for _, attributes in Seen(pages[kind]).tags if "id" in attributes]

    assert sorted(set(ids)) == sorted(ids)


def test_every_picture_has_its_numbers_in_a_table():
    for kind in ("review", "overview", "outcomes", "shipment sheet", "compare"):
        for section in every_report()[kind].sections:
            assert section.table is not None or not section.charts


def test_charts_carry_their_titles_and_units():
    charts = {
        section.name: chart
        for section in build_stud_review(stud_results(), OWNER).sections
        for _, chart in section.charts
    }

    for section, axis in (("total", "total"), ("motility", "motility"), ("chances", "chance")):
        assert EN[f"axis.{axis}"] in json.dumps(charts[section])
    assert all(chart["width"] == "container" for chart in charts.values())


@pytest.mark.parametrize("kind", ["review", "shipment sheet", "handout", "overview", "outcomes"])
def test_a_stop_keeps_its_numbers_out_of_every_page(kind):
    free = render(every_report()[kind])
    stopped = render(every_report(is_stopped=True)[kind])
    # What a stop suppresses: chances, doses and what a shipment holds, and a stopped stud's
    # litters.
    numbers = {
        "review": [
            "73 (60–83)",
            'id="chances"',
            "whatif",
            "376–564",
            f">{EN['level_table.announced']}<",
            "Alert: ",
            "baseline at the last",
            EN["level_of.total"],
        ],
        "shipment sheet": ["151\u00a0M", ">123<", "4.2\u00a0mL"],
        "handout": ["Alert: ", "baseline at the last"],
        "overview": [">37<", ">4.7<", "470 (376–564)", ">61 (23–90)<"],
        "outcomes": [
            ">61 (23–90)<",
            "about 860",
            "+17\u00a0points",
            'id="outcomes-day"',
            "whelped",
        ],
    }[kind]

    assert all(number in free for number in numbers)
    assert not any(number in stopped for number in numbers)
    if kind != "overview":
        assert EN.tell(STOP.sentence) in unescape(stopped).replace("\u00a0", " ")


def test_counts_are_records_and_stay_after_a_stop():
    html = render(every_report(is_stopped=True)["review"])

    assert EN["review.total"] in html


def test_a_stud_without_events_or_fit_still_has_a_page():
    bare = replace(
        stud_results(), events=stud_results().events.head(0), chances=(), coefficients=()
    )

    assert EN["review.total"] in render(build_stud_review(bare, OWNER))


def test_cautions_come_before_the_answer_and_the_answer_before_the_pictures(pages):
    html = render(every_report(is_stopped=True)["review"])
    places = [html.index(mark) for mark in ('id="cautions"', 'id="answer"', 'id="total"',
                                            'id="method"', 'id="glossary"')]  # fmt: skip

    assert places == sorted(places)


def test_how_we_know_is_folded_for_the_owner_and_open_for_the_vet(pages):
    assert re.search(r'<details class="annex">\s*<summary><h2 id="method"', pages["review"])
    assert re.search(r'<details class="annex" open>\s*<summary><h2 id="method"', pages["handout"])


def test_a_shipment_sheet_holds_no_price_no_evaluator_and_no_other_dog(pages):
    text = " ".join(Seen(pages["shipment sheet"]).text)

    assert not re.search(r"\b(price|cost|EUR|Ida)\b", text)


def test_numbers_are_printed_honestly():
    assert EN.percent(Estimate(0.7312, 0.6049, 0.8351)) == "73 (60–84)"
    assert EN.percent(None) == "–"
    assert EN.signed(Estimate(-0.7, -1.2, 0.2)) == "−0.70 (−1.20 to +0.20)"
    assert EN.number(float("nan")) == "–"
    assert EN.number(1234.5) == "1,234"
    assert EN.interval(1.0, float("nan")) == "–"
    assert Words("de").number(1234.5, 1) == "1.234,5"


@pytest.mark.parametrize("kind", KINDS)
def test_no_number_is_parted_from_its_percent_sign_or_unit(pages, kind):
    text = " ".join(Seen(pages[kind]).text)

    assert re.findall(r"\d[ \n]+(?:%|M\b|mL\b)", text) == []
    assert kind == "index" or "\u00a0" in text


def test_no_page_grades_or_scores(pages):
    # No traffic light, no score, no pass mark, no disease that a page could name by itself.
    for html in pages.values():
        text = " ".join(Seen(html).text).lower()
        assert not re.search(r"\b(score of|grade|excellent|poor|passed|failed|infertil\w+)\b", text)


def test_the_index_leads_to_every_page_and_names_waiting_lines(pages):
    assert 'href="stud-rowan.html"' in pages["index"]
    assert f">{EN['column.remedy']}<" in pages["index"]


def test_short_cells_stay_on_one_line_long_numbers_wrap_and_small_tables_stay_on_one_sheet():
    columns = (Column("Lot"), Column("Left", is_number=True), Column("Of it", is_number=True))
    rows = (("Tarn", "all of its breedings ended alike", "ME-2410"), ("Pike", "12", "a note of it"))
    small = Section("lots", "Lots", table=Table("Lots", columns, rows))
    large = replace(small, table=replace(small.table, rows=rows * 5))
    report = every_report()["shipment sheet"]
    page = render(replace(report, sections=(small,)))

    assert '<td class="number sentence">all of its breedings ended alike</td>' in page
    assert '<td class="number">12</td>' in page
    assert 'class="scroll whole"' in page
    assert 'class="scroll whole"' not in render(replace(report, sections=(large,)))


def finding(file, line, rule_values='{"n": 24}'):
    """A row of the view findings; without values it is of a file that kept none."""
    return {
        "file": file, "line": line, "column_heading": "Scan", "text": "not pregnant",
        "rule": "early negative scan", "rule_values": rule_values,
        "message": "as it was told then", "remedy": "As it was advised then.",
    }  # fmt: skip


def index_rows(findings, language):
    reader = replace(OWNER, words=Words(language))
    index = build_index(
        "Kennel", (), pd.DataFrame(findings), answer=(), provenance="As of 1 Jun 2026",
        reader=reader,
    )  # fmt: skip
    return index.sections[0].table.rows


def test_lines_of_one_sheet_that_wait_for_the_same_share_a_row():
    findings = [
        finding(sheet, line)
        for sheet, line in (("b.csv", 98), ("b.csv", 130), ("c.csv", 5), ("b.csv", 216))
    ]

    for language, wanted in (
        ("en", ["b.csv, lines 98, 130 and 216", "c.csv, line 5"]),
        ("de", ["b.csv, Zeilen 98, 130 und 216", "c.csv, Zeile 5"]),
    ):
        assert [row[0] for row in index_rows(findings, language)] == wanted


def test_a_finding_is_printed_from_its_rule_and_values_in_the_reader_s_language():
    ((_, found, _),) = index_rows([finding("b.csv", 98)], "en")
    assert found == 'Scan is "not pregnant", seen before day 24 after the breeding'

    ((_, found, advised),) = index_rows([finding("b.csv", 98)], "de")
    assert found == "Scan ist „not pregnant“, gesehen vor Tag 24 nach der Belegung"
    assert advised.startswith("Zu früh für einen negativen Befund")

    blank = finding("b.csv", 98) | {"text": None, "rule": "missing", "rule_values": "{}"}
    ((_, found, _),) = index_rows([blank], "de")
    assert found == "Scan ist leer, und jede Zeile braucht es"


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("old", [{"rule_values": None}, {"rule": "a rule of long ago"}])
def test_a_finding_of_an_older_version_is_printed_as_it_was(old, language):
    ((_, found, advised),) = index_rows([finding("b.csv", 98) | old], language)

    assert (found, advised) == ("as it was told then", "As it was advised then.")


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_finding_without_words_whose_rule_is_gone_is_shown_by_its_name(language):
    old = finding("b.csv", 98) | {"rule": "a rule of long ago", "message": None, "remedy": None}
    ((_, found, advised),) = index_rows([old], language)

    assert "a rule of long ago" in found
    assert advised == Words(language)["finding.rule_of_old"]


def test_the_overview_counts_silent_shipments_apart_from_breedings_without_an_outcome():
    results = overview_results()
    bred = [item for item in results.unreported if item.what.word != "shipment"]
    shipment = replace(results.unreported[0], what=Word("semen", "shipment"))
    page = build_overview(replace(results, unreported=(*bred, shipment, shipment)), (), OWNER)
    lead = next(section.lead for section in page.sections if section.name == "unreported")

    assert lead.startswith(EN.say("overview.unreported_outcomes", n=len(bred)))
    assert EN.say("overview.unreported_shipments", n=2) in lead


def test_a_client_reads_no_interval_of_what_is_kept_at_hour_0():
    results = shipment_sheet_results()
    held = next(s for s in build_shipment_sheet(results, CLIENT).sections if s.name == "held")
    without = build_shipment_sheet(replace(results, kept=()), CLIENT)

    assert [row[2] == "–" for row in held.table.rows] == [one.hours == 0.0 for one in results.kept]
    # Nothing is said of how a number came about that is not there; the days keep their sources.
    assert without.method == ()
    assert results.sources[0].cited in render(without).replace("\u00a0", " ")


def test_a_chance_that_rounds_to_none_is_never_printed_as_none():
    assert EN.percent(Estimate(0.004, 0.001, 0.04)) == "< 1 (0–4)"
    assert EN.percent(Estimate(0.006, 0.001, 0.04)) == "1 (0–4)"


@pytest.mark.parametrize(
    ("value", "printed"),
    [(1.2, "1 point"), (-0.9, "−1 point"), (2.0, "2 points"), (0.2, "0 points")],
)
def test_one_point_is_one_point(value, printed):
    assert EN.points(value) == printed
