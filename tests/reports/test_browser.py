"""Pages in Debian's Chromium: silent, offline, drawn, operable by keyboard, readable everywhere."""

import json
import re
import shutil
from importlib.resources import files
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from studcurve.analytics.models.conception.response import read_response
from studcurve.pipelines.answers.answer import DEFAULT_SEED
from studcurve.pipelines.pages.comparison import coming_breedings, records_of_pages
from studcurve.pipelines.pages.kennel import read_kennel
from studcurve.pipelines.plan.comparison import plan_breeding
from studcurve.pipelines.plan.wishes import Wishes
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO_TODAY, add_replayed, write_every_page
from studcurve.reports.page import render
from studcurve.reports.pages.handout import N_SHEETS
from studcurve.reports.words import Words
from tests.conftest import FITTED_DEMO
from tests.reports.samples import HOSTILE, every_report

pytestmark = pytest.mark.browser
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
]  # fmt: skip
KINDS = (
    "index", "overview", "outcomes", "stud-tarn", "handout-tarn", "shipment-sheet-", "compare-",
    "de/overview", "de/outcomes", "de/compare-",
)  # fmt: skip
AXE = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def store_of_pages(tmp_path_factory, request):
    """The records file that the pages were made from: the demo's own, or the one fitted here."""
    copy = tmp_path_factory.mktemp("store") / "ambertarn.duckdb"
    if FITTED_DEMO is not None:
        return Path(shutil.copyfile(Path(FITTED_DEMO) / copy.name, copy))
    shutil.copyfile(request.getfixturevalue("fitted_store_path"), copy)
    with Store.open(copy) as store:
        add_replayed(store)
    return copy


@pytest.fixture(scope="module")
def pages(tmp_path_factory, store_of_pages):
    out = tmp_path_factory.mktemp("pages")
    if FITTED_DEMO is None:
        write_every_page(store_of_pages, out, today=DEMO_TODAY, say=lambda sentence: None)
    else:
        shutil.copytree(FITTED_DEMO, out, dirs_exist_ok=True)
    for kind, report in every_report(HOSTILE).items():
        (out / f"hostile-{kind}.html").write_text(render(report), encoding="utf-8", newline="\n")
    return {
        str(page.relative_to(out).with_suffix("")): page for page in sorted(out.rglob("*.html"))
    }


def one(pages, kind):
    return next(page for name, page in pages.items() if name.startswith(kind))


def visit(browser, page, **context):
    """Open a page; give back tab, requests beyond the page itself, and console lines."""
    tab = browser.new_context(**context).new_page()
    requests, lines = [], []
    tab.on("request", lambda request: requests.append(request.url))
    tab.on("console", lambda message: lines.append(message.text))
    tab.on("pageerror", lambda problem: lines.append(str(problem)))
    tab.on("dialog", lambda dialog: lines.append(f"dialog {dialog.message}"))
    tab.goto(page.as_uri())
    tab.wait_for_function(
        "() => document.querySelectorAll('.chart').length"
        " === document.querySelectorAll('.chart[data-drawn]').length"
        " && document.querySelectorAll('[data-panel]').length"
        " === document.querySelectorAll('[data-panel][data-ready]').length"
    )
    return tab, [url for url in requests if url != page.as_uri()], lines


def test_every_page_is_silent_asks_nothing_and_draws_its_charts(browser, pages):
    assert len(pages) > 20
    for name, page in pages.items():
        tab, requests, lines = visit(browser, page)

        assert (name, requests, lines) == (name, [], [])
        n_marks = tab.evaluate(
            "[...document.querySelectorAll('.chart:not([hidden])')]"
            ".map((chart) => chart.querySelectorAll('svg .mark-symbol path, svg .mark-rect path,"
            " svg .mark-line path').length)"
        )
        assert all(n > 0 for n in n_marks), name
        tab.context.close()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_violation(browser, pages, kind, scheme):
    tab, _, _ = visit(browser, one(pages, kind), color_scheme=scheme, bypass_csp=True)
    tab.evaluate("document.querySelectorAll('details').forEach((fold) => (fold.open = true))")
    tab.add_script_tag(content=AXE)

    found = tab.evaluate("axe.run().then((results) => results.violations)")
    violations = [(one["id"], one["impact"], one["nodes"][0]["html"][:120]) for one in found]
    assert violations == []
    tab.context.close()


def test_the_sliders_read_out_what_the_model_gives_there(browser, pages, store_of_pages):
    posterior = read_kennel(store_of_pages, DEMO_TODAY).conception.posterior
    tab, _, _ = visit(browser, one(pages, "stud-tarn"))
    choices = tab.locator("[data-choice] option").all_inner_texts()
    k = choices.index("chilled, transcervical")
    tab.select_option("[data-choice]", str(k))
    seen = []
    for hours, dose, day in ((0, 3, 9), (2, 1, 12), (4, 6, 4)):
        for axis, value in (("hours", hours), ("dose", dose), ("day", day)):
            tab.evaluate(
                "([axis, value]) => { const input = document.querySelector("
                "`[data-axis='${axis}'] input`); input.value = value;"
                "input.dispatchEvent(new Event('input')); }",
                [axis, value],
            )
        read = [int(n) for n in re.findall(r"\d+", tab.inner_text("[data-reading]"))]
        grid = read_response(posterior, "chilled", "transcervical", "Tarn")
        cell = (hours, dose, day)
        wanted = [100 * float(ends[cell]) for ends in (grid.median, grid.lower, grid.upper)]
        # The read-out is rounded to whole percent; nothing else may part it from the model.
        assert read[0] == pytest.approx(wanted[0], abs=0.56)
        assert read[2:4] == [pytest.approx(end, abs=0.56) for end in wanted[1:]]
        seen.append(read[0])
    assert len(set(seen)) > 1
    tab.context.close()


def test_the_sliders_of_a_comparison_start_as_planned_and_end_where_the_plan_ends(
    browser, pages, store_of_pages
):
    kennel = read_kennel(store_of_pages, DEMO_TODAY)
    stud, bitch = coming_breedings(kennel, 1)[0]
    records = records_of_pages(kennel)
    plan = plan_breeding(records, stud, bitch, Wishes(), seed=DEFAULT_SEED, with_grids=True)
    tab, _, lines = visit(browser, one(pages, f"compare-{stud.lower()}-{bitch.lower()}"))
    shown = tab.locator("[data-choice] option").all_inner_texts()
    for grid in plan.grids:
        answer = plan.answers[grid.position]
        tab.select_option("[data-choice]", str(shown.index(answer.outcome.option.method)))
        ends = tuple(n - 1 for n in grid.mean.shape)
        for cell in (grid.planned, ends):
            for axis, value in zip(("delay", "dose", "shift"), cell, strict=True):
                tab.evaluate(
                    "([axis, value]) => { const input = document.querySelector("
                    "`[data-axis='${axis}'] input`); input.value = value;"
                    "input.dispatchEvent(new Event('input')); }",
                    [axis, value],
                )
            read = [int(n) for n in re.findall(r"\d+", tab.inner_text("[data-reading]"))]
            wanted = [100 * float(ends[cell]) for ends in (grid.mean, grid.lower, grid.upper)]
            assert read[0] == pytest.approx(wanted[0], abs=0.56)
            assert read[2:4] == [pytest.approx(end, abs=0.56) for end in wanted[1:]]
        assert grid.mean[grid.planned] == pytest.approx(answer.expected_litters, abs=1e-12)
    assert lines == []
    tab.context.close()


@pytest.mark.parametrize(("kind", "axis"), [("stud-tarn", "day"), ("compare-", "shift")])
def test_the_keyboard_reaches_and_moves_everything(browser, pages, kind, axis):
    tab, _, _ = visit(browser, one(pages, kind))
    reached = set()
    for _ in range(40):
        tab.keyboard.press("Tab")
        reached.add(tab.evaluate("document.activeElement.tagName"))
    assert {"SUMMARY", "SELECT", "INPUT"} <= reached

    before = tab.inner_text(f"[data-axis='{axis}'] output")
    tab.locator(f"[data-axis='{axis}'] input").focus()
    tab.keyboard.press("ArrowRight")
    assert tab.inner_text(f"[data-axis='{axis}'] output") != before

    fold = tab.locator("details summary").first
    fold.focus()
    tab.keyboard.press("Enter")
    assert tab.evaluate("document.querySelector('details').open")
    tab.context.close()


def test_a_click_on_the_legend_singles_out_one_evaluator(browser, pages):
    tab, _, _ = visit(browser, one(pages, "stud-tarn"))
    n_opacities = (
        "new Set([...document.querySelectorAll('#total-0 svg .mark-symbol.role-mark path')]"
        ".map((mark) => mark.getAttribute('opacity'))).size"
    )
    before = tab.evaluate(n_opacities)

    tab.locator("#total-0 svg .role-legend-symbol path").first.click(force=True)

    assert before == 1
    tab.wait_for_function(f"() => {n_opacities} === 2")
    tab.context.close()


def test_a_hostile_name_is_shown_and_never_run_not_even_in_a_tooltip(browser, pages):
    tab, _, lines = visit(browser, pages["hostile-review"])

    mark = tab.locator("#total-0 svg .mark-symbol.role-mark path").first
    mark.scroll_into_view_if_needed()
    mark.hover(force=True)
    tab.wait_for_selector("#vg-tooltip-element.visible")
    assert "alert(1)" in tab.inner_text("#vg-tooltip-element")
    assert tab.locator("#vg-tooltip-element script").count() == 0
    assert tab.locator("h1").inner_text() == HOSTILE
    assert lines == []
    tab.context.close()


def test_a_phone_never_scrolls_sideways(browser, pages):
    for name, page in pages.items():
        tab, _, _ = visit(browser, page, viewport={"width": 390, "height": 844})

        assert tab.evaluate("document.documentElement.scrollWidth") <= 390, name
        tab.context.close()


LEDGER = ("ledger", "ledger-scores", "ledger-kinds", "ledger-bands")
"""Headings of the section of the overview, and of its tables in "How we know"."""


@pytest.mark.parametrize(("kind", "language"), [("overview", "en"), ("de/overview", "de")])
@pytest.mark.parametrize("width", [390, 1000])
def test_the_ledger_is_drawn_listed_and_within_the_page(browser, pages, kind, language, width):
    tab, _, lines = visit(
        browser, one(pages, kind), viewport={"width": width, "height": 844}, bypass_csp=True
    )
    words, section = Words(language), "section[aria-labelledby=ledger]"
    how_we_know = "section[aria-labelledby=method]"

    tab.evaluate("document.querySelectorAll('details').forEach((fold) => (fold.open = true))")
    headings = [tab.inner_text(f"#{name}") for name in LEDGER]
    wanted = ("heading", "scores_heading", "kinds_heading", "bands_heading")
    assert headings == [words[f"ledger.{name}"] for name in wanted]
    # A mark for each of five groups, and a line for each of the latest sixty chances.
    assert tab.locator("#ledger-0 svg .mark-symbol path").count() == 5
    assert tab.locator(f"{section} tbody tr").count() == 60
    replayed = words.say("ledger.replayed", n=240)
    assert replayed in tab.inner_text(section)
    assert replayed in tab.inner_text(how_we_know)
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    outside = tab.evaluate(
        "([parts, width]) => [...document.querySelectorAll(parts)].filter((part) =>"
        " part.getBoundingClientRect().right > width + 0.5).length",
        [", ".join(f"{section} {part}" for part in ("p", "h2", "svg", ".scroll")), width],
    )
    assert outside == 0
    tab.add_script_tag(content=AXE)
    found = tab.evaluate(
        "(parts) => axe.run({include: parts}).then((results) => results.violations)",
        [[section], [how_we_know]],
    )
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found] == []
    assert lines == []
    tab.context.close()


@pytest.mark.parametrize(("kind", "language"), [("overview", "en"), ("de/overview", "de")])
def test_the_ledger_is_on_paper(browser, pages, kind, language):
    tab, _, _ = visit(browser, one(pages, kind))
    words = Words(language)

    sheets = PdfReader(BytesIO(tab.pdf(format="A4"))).pages

    text = "".join("".join(sheet.extract_text().split()) for sheet in sheets)
    for name in ("heading", "list_heading", "scores_heading", "kinds_heading", "bands_heading"):
        assert "".join(words[f"ledger.{name}"].split()) in text, name
    assert "".join(words.say("ledger.replayed", n=240).split()) in text
    tab.context.close()


@pytest.mark.parametrize("kind", ["overview", "de/overview"])
@pytest.mark.parametrize("width", [390, 1000])
def test_every_label_of_the_outcomes_is_whole_and_within_its_block(browser, pages, kind, width):
    tab, _, _ = visit(browser, one(pages, kind), viewport={"width": width, "height": 844})

    labels, blocks = tab.evaluate(
        "['.mark-text.role-mark text', '.mark-rect.role-mark path'].map((marks) =>"
        " [...document.querySelectorAll(`#outcomes-0 svg ${marks}`)].map((mark) => {"
        " const {left, right, top, bottom} = mark.getBoundingClientRect();"
        " return {left, right, top, bottom, text: mark.textContent}; }))"
    )
    assert len(labels) > 10
    assert [one["text"] for one in labels if "…" in one["text"]] == []
    outside = [
        label["text"]
        for label in labels
        if not any(
            block["left"] <= label["left"] and label["right"] <= block["right"]
            and block["top"] - 1 <= label["top"] and label["bottom"] <= block["bottom"] + 1
            for block in blocks
        )
    ]  # fmt: skip
    assert outside == []
    tab.context.close()


@pytest.mark.parametrize("kind", ["outcomes", "de/outcomes"])
@pytest.mark.parametrize("width", [390, 1000])
def test_pictures_along_the_four_have_plain_labels_marks_points_and_a_line(
    browser, pages, kind, width
):
    tab, _, _ = visit(browser, one(pages, kind), viewport={"width": width, "height": 844})
    drawn = tab.evaluate(
        "[...document.querySelectorAll('.chart')].map((chart) => ({id: chart.id,"
        " labels: [...chart.querySelectorAll('svg .role-axis-label text')].map((text) => {"
        " const {left, right} = text.getBoundingClientRect();"
        " return {text: text.textContent, left, right}; }),"
        " titles: [...chart.querySelectorAll('svg .role-axis-title text')]"
        ".map((text) => text.textContent),"
        " n: ['symbol', 'rule', 'line', 'area'].map((mark) =>"
        " chart.querySelectorAll(['path', 'line'].map((part) =>"
        " `svg .mark-${mark}.role-mark ${part}`).join(', ')).length)}))"
    )

    # Chance and size of each of the four.
    assert len(drawn) == 8
    for chart in drawn:
        labels = [label["text"] for label in chart["labels"] if label["text"]]
        assert len(labels) >= 6, chart["id"]
        assert [text for text in labels if not re.fullmatch(r"−?\d+([.,]\d+)?", text)] == []
        assert len(chart["titles"]) == 2
        assert [title for title in chart["titles"] if "…" in title] == []
        assert all(label["left"] >= 0 and label["right"] <= width for label in chart["labels"])
        assert chart["n"][0] > 0, chart["id"]
    # Concentration has no curve of sizes: no study relates the two.
    without_line = {chart["id"] for chart in drawn if chart["n"][2] == 0}
    assert without_line == {"outcomes-concentration-1"}
    tab.context.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("kind", ["outcomes", "de/outcomes"])
def test_the_four_print_with_every_picture(browser, pages, kind, paper):
    tab, _, lines = visit(browser, one(pages, kind))

    printed = re.findall(rb"/Type\s*/Page[^s]", tab.pdf(format=paper))
    # Eight pictures, their bands, and what regressions say of the same.
    assert 3 <= len(printed) <= 12
    assert lines == []
    tab.context.close()


@pytest.mark.parametrize("width", [390, 1000])
def test_paper_has_its_own_drawings_and_the_screen_gets_its_own_back(browser, pages, width):
    tab, _, lines = visit(
        browser, one(pages, "stud-tarn"), viewport={"width": width, "height": 844}
    )
    drawn = (
        "['total-0', 'storage-0'].map((name) => ['width', 'height'].map((side) =>"
        " Number(document.querySelector(`#${name} svg`).getAttribute(side))))"
    )
    before = tab.evaluate(drawn)
    # An engine may announce a print more than once before it is over.
    for _ in range(2):
        tab.evaluate("dispatchEvent(new Event('beforeprint'))")
    tab.wait_for_function(f"() => {drawn}[0][0] === 940")
    (_, high), (half, _) = tab.evaluate(drawn)
    assert half == 460
    assert 0.8 * before[0][1] < high < before[0][1]

    tab.evaluate("dispatchEvent(new Event('afterprint'))")
    tab.wait_for_function(f"() => {drawn}[0][0] === {before[0][0]}")
    assert tab.evaluate(drawn) == before
    assert lines == []
    tab.context.close()


@pytest.mark.parametrize("kind", KINDS)
def test_paper_shows_every_table_and_how_we_know_in_dark_ink(browser, pages, kind):
    tab, _, _ = visit(browser, one(pages, kind), color_scheme="dark")
    tab.emulate_media(media="print", color_scheme="dark")

    heights = tab.evaluate(
        "[...document.querySelectorAll('table, #method ~ p, details p, details li, dd')]"
        ".map((part) => part.getBoundingClientRect().height)"
    )
    clipped = tab.evaluate(
        "[...document.querySelectorAll('.scroll')]"
        ".filter((part) => part.scrollHeight > part.clientHeight + 1).length"
    )
    ink = tab.evaluate("getComputedStyle(document.documentElement).color")
    assert heights
    assert min(heights) > 0
    assert clipped == 0
    assert ink == "rgb(34, 39, 44)"
    tab.context.close()


@pytest.mark.parametrize("kind", ["handout-", "shipment-sheet-"])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_what_goes_to_vet_and_client_prints_on_two_sheets(browser, pages, kind, paper):
    sheets = [name for name in pages if name.startswith(kind)]
    assert len(sheets) > 1
    for name in sheets:
        tab, _, _ = visit(browser, pages[name])

        printed = re.findall(rb"/Type\s*/Page[^s]", tab.pdf(format=paper))
        assert len(printed) <= N_SHEETS, name
        tab.context.close()


def test_a_legend_is_as_dark_as_its_marks(browser, pages):
    tab, _, _ = visit(browser, one(pages, "stud-tarn"))

    opacities = tab.evaluate(
        "[...document.querySelectorAll('svg .role-legend-symbol path')]"
        ".map((symbol) => Number(symbol.getAttribute('opacity') ?? 1))"
    )
    assert len(opacities) > 10
    assert set(opacities) == {1}
    tab.context.close()


def test_dark_and_light_differ(browser, pages):
    colors = set()
    for scheme in ("light", "dark"):
        tab, _, _ = visit(browser, one(pages, "stud-tarn"), color_scheme=scheme)
        colors.add(tab.evaluate("getComputedStyle(document.documentElement).backgroundColor"))
        tab.context.close()

    assert len(colors) == 2


def test_a_page_is_light_and_paints_at_once(browser, pages):
    for kind in KINDS:
        page = one(pages, kind)
        assert page.stat().st_size < 2_500_000
        tab, _, _ = visit(browser, page)
        painted = "performance.getEntriesByName('first-contentful-paint')[0]"
        tab.wait_for_function(f"() => {painted}")
        paint_ms = tab.evaluate(f"{painted}.startTime")
        assert paint_ms < 1500, json.dumps({kind: paint_ms})
        tab.context.close()
