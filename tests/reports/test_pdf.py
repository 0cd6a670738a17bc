"""The handout on paper: two tagged pages, text that stays text, the same bytes again."""

from dataclasses import replace
from io import BytesIO

import pytest
from pypdf import PdfReader

from studcurve.reports.page import Column, Section, Table, render
from studcurve.reports.pages.handout import N_SHEETS
from studcurve.reports.pdf import can_set_type, drawing, pdf
from studcurve.reports.theme import PAPER_COLORS
from studcurve.reports.words import Words
from tests.reports.samples import HOSTILE, every_report

pytestmark = pytest.mark.skipif(not can_set_type(), reason="the extra pdf is not installed")


def n_sheets(sheets):
    return len(PdfReader(BytesIO(sheets)).pages)


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_letters_are_set_smaller_where_a_handout_would_take_a_third_sheet(paper):
    handout = every_report()["handout"]
    long = handout
    while n_sheets(pdf(long, paper)) <= N_SHEETS:
        long = replace(long, method=(*long.method, "Nothing is known of this. " * 25))

    assert n_sheets(pdf(long, paper, at_most=N_SHEETS)) == N_SHEETS
    assert pdf(handout, paper, at_most=N_SHEETS) == pdf(handout, paper)


def test_the_pdf_is_tagged_and_names_its_language_and_title():
    sheets = pdf(every_report()["handout"], "a4")

    assert sheets.startswith(b"%PDF-")
    assert b"/MarkInfo" in sheets
    assert b"/Lang(en)" in sheets.replace(b" ", b"")
    assert b"pdfuaid" in sheets


def test_no_heading_or_lead_is_left_behind_by_its_table():
    table = Table("Boxes", (Column("Box"), Column("Hours", True)), (("first box", "23"),) * 3)
    handout = replace(every_report()["handout"], cautions=(), answer=(), method=(), sources=())
    divided = set()
    for n_lines in range(28, 64):
        above = Section("above", "Above", paragraphs=("A line.",) * n_lines)
        shipments = Section("shipments", "Shipments", "How they were kept.", table=table)
        sheets = PdfReader(BytesIO(pdf(replace(handout, sections=(above, shipments)), "a4"))).pages
        texts = [sheet.extract_text() for sheet in sheets]
        on = [
            next(k for k, text in enumerate(texts) if part in text)
            for part in ("Shipments", "How they were kept", "first box")
        ]
        assert len(set(on)) == 1, n_lines
        divided.add(on[0])
    assert divided == {0, 1}


def test_a_picture_on_paper_prints_numbers_as_its_language_does():
    _, spec = every_report()["review"].sections[0].charts[0]

    assert ">1,000</text>" in drawing(spec, Words("en"))
    assert ">1.000</text>" in drawing(spec, Words("de"))
    assert ">1,000</text>" not in drawing(spec, Words("de"))


def test_the_same_report_gives_the_same_sheets():
    report = every_report()["handout"]

    assert pdf(report, "a4") == pdf(report, "a4")


@pytest.mark.sampled
@pytest.mark.parametrize("kind", ["review", "overview", "shipment sheet", "handout", "compare"])
def test_every_report_can_be_set_on_paper_whatever_its_names_hold(kind):
    # Text that the typesetter would take for markup, a function call or a file.
    for name in (HOSTILE, '#read("/etc/passwd") *bold* $x$ @cite <label> \\u{1F4A5}'):
        assert pdf(every_report(name)[kind], "a4").startswith(b"%PDF-")


def test_stated_chances_are_on_the_sheets_of_the_overview():
    sheets = PdfReader(BytesIO(pdf(every_report()["overview"], "a4"))).pages

    text = "".join("".join(sheet.extract_text().split()) for sheet in sheets)
    told = [Words("en")[f"ledger.{name}"] for name in ("heading", "lead", "bands_lead")]
    told.append(Words("en").say("ledger.list_lead", n=41, shown=41))
    assert [one for one in told if "".join(one.split()) not in text] == []


def test_a_stop_reaches_the_sheets():
    free, stopped = (
        every_report(is_stopped=stopped)["shipment sheet"] for stopped in (False, True)
    )

    assert len(pdf(stopped, "a4")) < len(pdf(free, "a4"))
    assert not any(section.charts for section in stopped.sections)


def test_paper_has_the_colors_of_the_light_page():
    style = render(every_report()["review"])

    for role, color in PAPER_COLORS.items():
        if role != "paper":
            assert f"--{role}: {color}" in style
