"""The handout on paper: two tagged pages, text that stays text, the same bytes again."""

import pytest

from reports.page import render
from reports.pdf import can_set_type, n_pages, pdf
from reports.theme import PAPER_COLORS
from tests.reports.samples import HOSTILE, STOP, every_report

pytestmark = pytest.mark.skipif(not can_set_type(), reason="the extra pdf is not installed")


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_a_handout_takes_two_sheets(paper):
    assert n_pages(every_report()["handout"], paper) <= 2


def test_the_pdf_is_tagged_and_names_its_language_and_title():
    sheets = pdf(every_report()["handout"], "a4")

    assert sheets.startswith(b"%PDF-")
    assert b"/MarkInfo" in sheets
    assert b"/Lang(en)" in sheets.replace(b" ", b"")
    assert b"pdfuaid" in sheets


def test_the_same_report_gives_the_same_sheets():
    report = every_report()["handout"]

    assert pdf(report, "a4") == pdf(report, "a4")


@pytest.mark.parametrize("kind", ["review", "overview", "client", "handout", "compare"])
def test_every_report_can_be_set_on_paper_whatever_its_names_hold(kind):
    # Text that the typesetter would take for markup, a function call or a file.
    for name in (HOSTILE, '#read("/etc/passwd") *bold* $x$ @cite <label> \\u{1F4A5}'):
        assert pdf(every_report(name)[kind], "a4").startswith(b"%PDF-")


def test_a_stop_reaches_the_sheets():
    free, stopped = (every_report(cautions=c)["client"] for c in ((), (STOP,)))

    assert len(pdf(stopped, "a4")) < len(pdf(free, "a4"))
    assert not any(section.charts for section in stopped.sections)


def test_paper_has_the_colors_of_the_light_page():
    style = render(every_report()["review"])

    for role, color in PAPER_COLORS.items():
        if role != "paper":
            assert f"--{role}: {color}" in style
