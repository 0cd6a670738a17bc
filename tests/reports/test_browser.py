"""Pages in Debian's Chromium: silent, offline, drawn, readable on every medium."""

from pathlib import Path

import pytest

from pipelines.run import write_stud_reviews
from pipelines.store import Store
from tests.reports.test_page import HOSTILE, OWNER, results

pytestmark = pytest.mark.browser
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
]  # fmt: skip


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def pages(tmp_path_factory, fitted_store_path):
    from reports.page import render
    from reports.stud_review import build_stud_review

    out = tmp_path_factory.mktemp("pages")
    with Store.open(fitted_store_path, read_only=True) as store:
        today = store.read("evaluations")["collected_latest"].max().date()
    written = write_stud_reviews(fitted_store_path, out, today=today)
    hostile = out / "hostile.html"
    hostile.write_text(
        render(build_stud_review(results(HOSTILE), OWNER)), encoding="utf-8", newline="\n"
    )
    return {page.name: page for page in [*written, hostile]}


def visit(browser, page: Path, **context):
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
    )
    return tab, [url for url in requests if url != page.as_uri()], lines


@pytest.mark.parametrize("name", ["index.html", "stud-tarn.html", "hostile.html"])
def test_a_page_is_silent_and_asks_nothing(browser, pages, name):
    tab, requests, lines = visit(browser, pages[name])

    assert requests == []
    assert lines == []
    tab.context.close()


def test_every_chart_draws_its_marks(browser, pages):
    tab, _, _ = visit(browser, pages["stud-tarn.html"])

    n_marks = tab.evaluate(
        "[...document.querySelectorAll('.chart')]"
        ".map((chart) => chart.querySelectorAll('svg .mark-symbol path').length)"
    )
    assert len(n_marks) == 4
    assert n_marks[0] > 80
    assert n_marks[1] > 100
    assert n_marks[2] >= 12
    tab.context.close()


def test_a_click_on_the_legend_singles_out_one_observer(browser, pages):
    tab, _, _ = visit(browser, pages["stud-tarn.html"])
    n_opacities = (
        "new Set([...document.querySelectorAll('#total-0 svg .mark-symbol.role-mark path')]"
        ".map((mark) => mark.getAttribute('opacity'))).size"
    )
    before = tab.evaluate(n_opacities)

    tab.locator("#total-0 svg .role-legend-symbol path").first.click(force=True)

    assert before == 1
    tab.wait_for_function(f"() => {n_opacities} === 2")
    tab.context.close()


def test_a_hostile_name_is_shown_and_never_run(browser, pages):
    tab, _, lines = visit(browser, pages["hostile.html"])

    assert lines == []
    assert tab.locator("h1").inner_text() == HOSTILE
    tab.context.close()


@pytest.mark.parametrize("name", ["index.html", "stud-tarn.html", "hostile.html"])
def test_a_phone_never_scrolls_sideways(browser, pages, name):
    tab, _, _ = visit(browser, pages[name], viewport={"width": 390, "height": 844})

    assert tab.evaluate("document.documentElement.scrollWidth") <= 390
    tab.context.close()


def test_paper_shows_every_table_and_how_we_know_in_dark_ink(browser, pages):
    tab, _, _ = visit(browser, pages["stud-tarn.html"], color_scheme="dark")
    tab.emulate_media(media="print", color_scheme="dark")

    heights = tab.evaluate(
        "[...document.querySelectorAll('table, #method ~ p, details p, details li')]"
        ".map((part) => part.getBoundingClientRect().height)"
    )
    ink = tab.evaluate("getComputedStyle(document.documentElement).color")
    assert len(heights) > 6
    assert min(heights) > 0
    assert ink == "rgb(34, 39, 44)"
    tab.context.close()


def test_dark_and_light_differ(browser, pages):
    colors = set()
    for scheme in ("light", "dark"):
        tab, _, _ = visit(browser, pages["stud-tarn.html"], color_scheme=scheme)
        colors.add(tab.evaluate("getComputedStyle(document.documentElement).backgroundColor"))
        tab.context.close()

    assert len(colors) == 2
