"""Hostile text in any field stays text: on pages, in charts, PDF, workbook, CSV, terminal."""

import csv
import io
import json
import re
import shutil
from datetime import date
from html import unescape
from html.parser import HTMLParser

import openpyxl
import pytest
from tests.in_english import in_english
from typer.testing import CliRunner

from studcurve.pipelines.cli import app
from studcurve.pipelines.records.archive import export
from studcurve.pipelines.records.sheets.cell_rules import FORMULA
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.pipelines.run import (
    write_every_page,
    write_handout,
    write_outcomes,
    write_shipment_sheet,
)
from studcurve.reports.pdf import can_set_type
from studcurve.reports.words import visible

DAY = date(2026, 10, 31)
TAKEN = {
    "script": "</script><script>alert(1)</script>",
    "image": '"><img src=x onerror=alert(1)>',
    "escape": "\x1b[31mred\x1b[0m",
    "backwards": "\u202egnp.exe",
    "typesetter": '#read("x") $x$ @cite *b*',
    "braces": "{{x}} {0} %s {n!r}",
}
"""Texts that a sheet may hold."""

RUN = {
    "link": '=HYPERLINK("x.html","y")',
    "sum": "@SUM(1)",
    "exchange": "+1+cmd|' /C calc'!A0",
}
"""Texts that a spreadsheet would run: refused, and kept as typed."""


def lines(sheet, **cells):
    """One line for each hostile text, which stands in every text column of the sheet."""
    columns = [c.heading for c in SHEETS[sheet].columns if c.kind in {"text", "printed"}]
    return [
        dict.fromkeys(columns, text)
        | {name.replace("_", " "): value.replace("TEXT", text) for name, value in cells.items()}
        for text in {**TAKEN, **RUN}.values()
    ]


def sheets():
    dogs = [
        {**row, "Sire": "", "Dam": "", "Chip": f"{k}{row['Chip']}"}
        for sex, born in (("he", "2018-05-01"), ("she", "2019-05-01"))
        for k, row in enumerate(lines("dogs", Dog=f"TEXT {sex}", Born=born,
                                      Sex="male" if sex == "he" else "female"))
    ]  # fmt: skip
    health = [
        row
        for kind in ("laboratory test", "event", "examination")
        for row in lines("health", Dog="TEXT he", Date="2026-09-22", Kind=kind)
    ]
    return {
        "dogs": dogs,
        "collections": [
            row | {"Volume (mL)": "2.4", "Concentration (M/mL)": "310",
                   "Progressive motility (%)": "70",
                   "How motility was evaluated": "by eye"}
            for row in lines("collections", Dog="TEXT he", Date="2026-10-20")
        ],
        "shipments": [
            row | {"Volume per dose (mL)": "4", "Progressively motile per dose (M)": "200"}
            for row in lines("shipments", Stud="TEXT he", Collected_on="2026-10-20",
                             Sent_on="2026-10-20", Doses="1", For_bitch="TEXT she")
        ],
        "heats": lines("heats", Bitch="TEXT she", First_day="2026-10-15",
                       Progesterone_1_on="2026-10-22", Progesterone_1="3.1",
                       Progesterone_1_unit="ng/mL"),
        "breedings": lines("breedings", Bitch="TEXT she", Stud="TEXT he", Date="2026-03-22",
                           Semen="chilled", Route="vaginal", Result="whelped",
                           Whelped_on="2026-05-24", Born_alive="5", Lot=""),
        "health": health,
        "frozen": [
            row | {"Progressively motile per straw (M)": "40"}
            for row in lines("frozen", Stud="TEXT he", Frozen_on="2024-09-22", Straws="6",
                             Straws_per_dose="2")
        ],
        "prices": [row | {"Price": "40", "Currency": "EUR", "From": "2024-01-01"}
                   for row in lines("prices")],
    }  # fmt: skip


@pytest.fixture(scope="module")
def hostile(tmp_path_factory, kennel_class):
    kennel = kennel_class(tmp_path_factory.mktemp("hostile"))
    paths = [kennel.write(sheet, rows) for sheet, rows in sheets().items()]
    kennel.report = kennel.load(*paths)
    kennel.paths = paths
    return kennel


class Elements(HTMLParser):
    """Elements and scripts of a page."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.run, self.data, self._into = [], 0, [], None
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        self.tags.append((tag, attributes))
        if tag == "script":
            inert = attributes.get("type") == "application/json"
            self._into = [] if inert else None
            self.run += not inert

    def handle_endtag(self, tag):
        if tag == "script" and self._into is not None:
            self.data.append("".join(self._into))
            self._into = None

    def handle_data(self, data):
        if self._into is not None:
            self._into.append(data)


def test_what_a_spreadsheet_would_run_is_refused_and_all_else_is_taken(hostile):
    refused = in_english(hostile.report.findings)
    refused = refused[refused["severity"] == "refused"]

    assert len(hostile.read("dogs")) == 2 * len(TAKEN)
    assert len(hostile.read("evaluations")) == len(TAKEN)
    for text in RUN.values():
        assert refused["message"].str.contains(text, regex=False).any()


def sound(path):
    """Assert that a page holds hostile text as text alone."""
    html = path.read_text("utf-8")
    seen = Elements(html)
    assert seen.run in {0, 2}
    assert not [tag for tag, _ in seen.tags if tag in {"img", "iframe", "object", "embed", "form"}]
    assert not [name for _, attributes in seen.tags for name in attributes if name.startswith("on")]
    for part in seen.data:
        json.loads(part)
    # Neither an escape nor a turn of direction is left to be obeyed.
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]", html)
    return html


def holds(path, text):
    """A sound page on which a text stands as it is read."""
    return visible(text) in unescape(sound(path)).replace("\u00a0", " ")


@pytest.mark.parametrize("text", TAKEN.values(), ids=TAKEN)
def test_the_page_of_a_studs_outcomes_holds_it_as_text(hostile, tmp_path, text):
    assert holds(write_outcomes(hostile.records, tmp_path, today=DAY, stud=f"{text} he"), text)
    assert sound(write_outcomes(hostile.records, tmp_path, today=DAY))


def test_a_handout_and_a_client_sheet_hold_an_escape_as_text(hostile, tmp_path):
    text = TAKEN["escape"]
    page, *sheets = write_handout(hostile.records, f"{text} he", tmp_path, today=DAY)

    assert holds(page, text)
    assert bool(sheets) == can_set_type()
    assert all(sheet.read_bytes().startswith(b"%PDF-") for sheet in sheets)
    assert holds(write_shipment_sheet(hostile.records, f"{text} she", tmp_path, today=DAY), text)


@pytest.mark.slow
def test_every_page_holds_it_as_text(hostile, tmp_path):
    write_every_page(hostile.records, tmp_path, today=DAY, say=lambda sentence: None)
    pages = sorted(tmp_path.rglob("*.html"))

    assert len(pages) > 2 * len(TAKEN)
    overview = tmp_path / "overview.html"
    for text in TAKEN.values():
        assert holds(overview, text)
        assert sum(holds(page, text) for page in pages) >= 3


def test_the_workbook_of_corrections_holds_no_formula_and_no_link(hostile, tmp_path):
    path = tmp_path / "fix.xlsx"
    CliRunner().invoke(app, ["corrections", "--xlsx", str(path), "--store", str(hostile.records)])
    cells = [
        cell
        for page in openpyxl.load_workbook(path)
        for row in page.iter_rows()
        for cell in row
        if cell.value is not None
    ]

    assert [cell.coordinate for cell in cells if cell.data_type == "f" or cell.hyperlink] == []
    assert any(cell.value == RUN["link"] for cell in cells)


def test_no_cell_of_an_export_is_run_by_a_spreadsheet(hostile, tmp_path):
    export(hostile.records, tmp_path / "export", in_english)
    run = {
        (path.name, cell)
        for path in (tmp_path / "export").rglob("*.csv")
        for row in csv.reader(io.StringIO(path.read_text("utf-8")))
        for cell in row
        if re.fullmatch(FORMULA, cell, re.DOTALL)
    }

    assert run == set()
    kept = (tmp_path / "export" / "tables" / "finding.csv").read_text("utf-8")
    assert "'=HYPERLINK" in kept


@pytest.mark.sampled
@pytest.mark.parametrize(
    "arguments",
    [
        ["due"],
        ["corrections"],
        ["load", "SHEETS", "--check"],
        ["compare", f"{TAKEN['escape']} he", f"{TAKEN['escape']} she", "--draws", "200"],
        ["compare", f"{TAKEN['backwards']} he", f"{TAKEN['backwards']} she", "--draws", "200"],
        ["schedule", f"{TAKEN['backwards']} he"],
        ["compare", "\x1b[31mnobody", "nobody"],
        ["shipment-sheet", "\u202enobody"],
    ],
    ids=lambda arguments: arguments[0],
)
def test_the_terminal_shows_escapes_and_never_obeys_them(hostile, arguments, capsys, tmp_path):
    from studcurve.pipelines.cli import main

    store = tmp_path / "kennel.duckdb"
    shutil.copyfile(hostile.records, store)
    asked = [
        part
        for argument in arguments
        for part in ([str(p) for p in hostile.paths] if argument == "SHEETS" else [argument])
    ]
    dated = [] if arguments[0] == "refused" else ["--now", str(DAY)]
    with pytest.raises(SystemExit):
        main([*asked, "--store", str(store), *dated])

    shown = capsys.readouterr()
    printed = shown.out + shown.err
    assert printed
    assert {c for c in printed if not c.isprintable()} <= {"\n"}


def test_characters_that_steer_are_spelled_out_and_letters_of_any_script_stay():
    assert visible(TAKEN["escape"]) == "\\x1b[31mred\\x1b[0m"
    assert visible(TAKEN["backwards"]) == "\\u202egnp.exe"
    assert visible("Käpy \u00a0\u202f1\n2 \u0627\u0644 👩\u200d🔬") == (
        "Käpy \u00a0\u202f1\n2 \u0627\u0644 👩\u200d🔬"
    )
