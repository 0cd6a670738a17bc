"""Slip and card in Debian's Chromium: silent, offline, and one sheet of paper each."""

import re
from datetime import date, datetime

import pytest

from studcurve.analytics.estimate import Estimate
from studcurve.pipelines.answers.card import write_card
from studcurve.reports.pages.slip import HealthTest, ShipmentSlip, render_slip
from studcurve.reports.words import Words
from tests.reports.test_browser import ARGUMENTS

pytestmark = pytest.mark.browser
LONG = "Champion of the <b>Very</b> Long Name that Somebody Once Gave to a Dog of Ours"


def slip(n_tests=6):
    return ShipmentSlip(
        stud=LONG, registered_name=LONG, for_bitch=LONG, clinic=LONG,
        collected_at=datetime(2026, 10, 31, 18), sent_at=datetime(2026, 10, 31, 19, 10),
        inseminate_at=datetime(2026, 11, 1, 11), n_doses=2, dose_volume_ml=7.75,
        extender="egg yolk, the recipe of a clinic with a long name", ratio=4.0, n_cells=140,
        is_counted=True, motility_pct=80.0, n_evaluated=None,
        motile_now_m=Estimate(171.0, 118.0, 243.0), motile_then_m=Estimate(162.0, 108.0, 234.0),
        target_m=100.0, certainty=0.8, meets_prob=0.97, until_at=datetime(2026, 11, 3, 6, 41),
        is_divided=True, has_brucella_test=False, mark=LONG,
        tests=tuple(HealthTest(f"Test {n} {LONG}", "negative", date(2026, 5, 2))
                    for n in range(n_tests)),
    )  # fmt: skip


@pytest.fixture(scope="module")
def sheets(tmp_path_factory):
    import numpy as np

    from studcurve.analytics.measures.motility_kept import published_storage

    out = tmp_path_factory.mktemp("sheets")
    pages = []
    for language in ("en", "de"):
        folder = out / language
        write_card(
            folder, radius_cm=9.5, hours=24.0, extender="egg yolk", n_squares=5, dilution=20.0,
            curve=published_storage("egg yolk", rng=np.random.default_rng(1), n_draws=4000),
            target_m=200.0, certainty=0.8, words=Words(language), rng=np.random.default_rng(1),
        )  # fmt: skip
        page = folder / "slip.html"
        page.write_text(render_slip(slip(), Words(language)), encoding="utf-8", newline="\n")
        pages += [page, folder / "bench-card.html"]
    return pages


def test_each_is_silent_fits_a_phone_and_prints_on_one_sheet(sheets):
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=ARGUMENTS)
        for page in sheets:
            tab = browser.new_context(viewport={"width": 390, "height": 800}).new_page()
            requests, lines = [], []
            tab.on("request", lambda request, seen=requests: seen.append(request.url))
            tab.on("console", lambda message, seen=lines: seen.append(message.text))
            tab.goto(page.as_uri())

            assert [url for url in requests if url != page.as_uri()] == []
            assert lines == []
            assert tab.evaluate("document.documentElement.scrollWidth <= 390"), page
            assert len(re.findall(rb"/Type\s*/Page[^s]", tab.pdf(format="A4"))) == 1, page
            tab.context.close()
        browser.close()
