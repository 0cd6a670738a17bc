"""Pages: self-contained, closed to the world, safe with hostile text, silent after a stop."""

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from analytics.cautions import Caution
from analytics.estimate import Estimate
from analytics.semen import with_measures
from analytics.sentences import sentence
from reports.index import build_index
from reports.page import Link, Reader, render
from reports.stud_review import Coefficient, SemenTypeChance, StudResults, build_stud_review
from reports.words import Words

EN = Words("en")
OWNER = Reader(EN)

HOSTILE = "</script><script>alert(1)</script>"


def results(name="Rowan", cautions=()):
    rng = np.random.default_rng(4)
    n = 40
    evaluations = pd.DataFrame(
        {
            "collected_earliest": pd.date_range("2022-01-03", periods=n, freq="23D"),
            "sexual_rest_days": 23,
            "volume_ml": rng.uniform(1.5, 4.0, n).round(1),
            "concentration_m_per_ml": rng.uniform(120, 400, n).round(),
            "n_cells_counted": rng.integers(100, 320, n).astype(float),
            "progressive_motility_pct": rng.choice([60.0, 70, 80, 90], n),
            "n_motility_judged": np.where(np.arange(n) % 5 == 0, 200.0, np.nan),
            "normal_morphology_pct": np.where(np.arange(n) % 3 == 0, 78.0, np.nan),
            "observer": np.where(np.arange(n) % 4 == 0, name, "Ida"),
            "count_method": "chamber",
            "motility_method": "by eye",
        }
    )
    events = pd.DataFrame(
        {
            "started_on": [pd.Timestamp("2023-03-04"), pd.Timestamp("2023-03-05")],
            "until_on": [pd.NaT, pd.NaT],
            "kind": [name, "drug"],
            "drug_class": [None, "antibiotic"],
            "text": [name, None],
        }
    )
    chance = SemenTypeChance(
        "fresh", 12, 9, Estimate(0.75, 0.47, 0.93), Estimate(0.71, 0.5, 0.84),
        Estimate(0.7312, 0.6, 0.83), 0.42,
    )  # fmt: skip
    coefficient = Coefficient(
        "c06", Estimate(-0.55, -1.2, 0.1), Estimate(-0.7, -1.2, -0.2), 0.37, "P"
    )
    return StudResults(
        name, name, cautions, (sentence("said.no_counted_sample", stud=name),),
        with_measures(evaluations, extra_cv=0.15), events, (chance,), (coefficient,), ("readings",),
        ("Borge et al. 2011, Theriogenology 75:911-919 (P)",), "As of 1 Jun 2026",
    )  # fmt: skip


STOP = Caution(
    "brucella positive or suspect", "stop",
    sentence("caution.brucella_result_missing", dog="Rowan"), "Hollett 2006 (P)",
    frozenset({"conception", "plan", "box"}),
)  # fmt: skip


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


@pytest.fixture(scope="module")
def page():
    return render(build_stud_review(results(), OWNER))


@pytest.fixture(scope="module")
def hostile_page():
    return Seen(render(build_stud_review(results(HOSTILE), OWNER)))


def test_the_same_results_give_the_same_bytes(page):
    assert render(build_stud_review(results(), OWNER)) == page


def test_only_the_two_named_scripts_may_run(page):
    reader = Seen(page)
    run = [text for attributes, text in reader.scripts if "type" not in attributes]
    digests = {
        "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"
        for text in run
    }

    assert len(run) == 2
    assert reader.policy.startswith("default-src 'none'; script-src ")
    assert digests == set(re.findall(r"'sha256-[^']+'", reader.policy))


def test_the_page_asks_nothing_of_any_host(page):
    reader = Seen(page)

    for tag, attributes in reader.tags:
        assert tag not in {"link", "img", "iframe", "object", "form"}
        assert "src" not in attributes
        assert not str(attributes.get("href", "")).startswith(("http", "//"))
        assert not any(name.startswith("on") for name in attributes)
    assert "http" not in "".join(reader.text)


def test_a_hostile_name_stays_text_everywhere(hostile_page):
    run = [text for attributes, text in hostile_page.scripts if "type" not in attributes]
    specs = [json.loads(t) for a, t in hostile_page.scripts if a.get("type") == "application/json"]

    assert len(run) == 2
    assert not any("alert(1)" in text for text in run)
    assert any(HOSTILE in text for text in hostile_page.text)
    # Inside the specifications it is a datum, whole again once parsed.
    assert any(HOSTILE in json.dumps(spec, ensure_ascii=False) for spec in specs)


def test_every_chart_has_a_table_with_a_caption_behind_it(page):
    charts = page.count('class="chart"')
    report = build_stud_review(results(), OWNER)

    assert charts == sum(len(section.charts) for section in report.sections) == 4
    assert page.count("<caption>") == len(report.sections)
    assert all(section.table.rows for section in report.sections)
    assert all(spoken for section in report.sections for spoken, _ in section.charts)


def test_charts_carry_their_fields_titles_and_units():
    charts = {
        section.name: chart
        for section in build_stud_review(results(), OWNER).sections
        for _, chart in section.charts
    }

    assert "Total sperm (M, log scale)" in json.dumps(charts["total"])
    assert "Moving forward (%)" in json.dumps(charts["motility"])
    assert "Chance of a litter (%)" in json.dumps(charts["chances"])
    assert all(chart["width"] == "container" for chart in charts.values())


def test_a_stop_keeps_the_conception_numbers_out_of_the_page():
    html = render(build_stud_review(results(cautions=(STOP,)), OWNER))

    assert "A Brucella test of Rowan is recorded without a result." in html
    assert "Chance of a litter by semen type" not in html
    assert "0.7312" not in html
    assert "73 (60–83)" not in html
    # Counts are records, not answers: they stay.
    assert "Sperm in each sample" in html


def test_without_a_stop_the_same_numbers_are_there(page):
    assert "73 (60–83)" in page


def test_a_stud_without_events_or_fit_still_has_a_page():
    bare = replace(results(), events=results().events.head(0), chances=(), coefficients=())

    assert "Sperm in each sample" in render(build_stud_review(bare, OWNER))


def test_numbers_are_printed_honestly():
    assert EN.percent(Estimate(0.7312, 0.6049, 0.8351)) == "73 (60–84)"
    assert EN.percent(None) == "–"
    assert EN.signed(Estimate(-0.7, -1.2, 0.2)) == "−0.70 (−1.20 to +0.20)"
    assert EN.number(float("nan")) == "–"
    assert EN.number(1234.5) == "1,234"
    assert EN.interval(1.0, float("nan")) == "–"
    assert Words("de").number(1234.5, 1) == "1.234,5"


def test_no_number_is_parted_from_its_percent_sign_or_unit(page):
    text = " ".join(Seen(page).text)

    assert "90\u00a0%" in text
    assert re.findall(r"\d[ \n]+(?:%|M\b|mL\b)", text) == []


def test_the_index_leads_to_every_page_and_names_waiting_lines():
    findings = pd.DataFrame(
        [{"file": HOSTILE, "line": 3, "message": "Date is blank", "remedy": "Fill it in."}]
    )
    links = (Link("stud-rowan.html", "Rowan", "a stud"),)

    index = build_index(
        "kennel", links, findings, answer=("Two dogs.",), provenance="x", reader=OWNER
    )
    html = render(index)

    assert 'href="stud-rowan.html"' in html
    assert HOSTILE not in html
    assert "Fill it in." in html
