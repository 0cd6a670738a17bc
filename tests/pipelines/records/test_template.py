"""The workbook: it explains itself, holds nonsense off, and says what its CSV exports say."""

import csv
import io
import re
import shutil
import zipfile
from datetime import date, datetime, time

import openpyxl
import pytest
from python_calamine import CalamineWorkbook
from tests.in_english import in_english

from studcurve.analytics.cautions.words import (
    is_known_drug,
    is_known_event,
    names_brucella,
    organ_of,
)
from studcurve.analytics.due.items import EVALUATION
from studcurve.analytics.errors import RecordsError
from studcurve.analytics.measures.motility_kept import medium_of
from studcurve.analytics.plan.options import PRICE_ITEMS
from studcurve.analytics.vocabulary import VOCABULARY
from studcurve.pipelines.records.guide import EXAMPLES, PURPOSES
from studcurve.pipelines.records.reading.workbook import GUIDE_TITLE
from studcurve.pipelines.records.sheets.columns import EXAMPLE_PREFIX, SHEETS
from studcurve.pipelines.records.template import (
    N_READY_LINES,
    WorkbookLine,
    write_template,
    write_workbook,
)

BRYONY = WorkbookLine({"call_name": "Bryony", "sex": "female"})


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    path = tmp_path_factory.mktemp("template") / "kennel.xlsx"
    write_template(path)
    return path


@pytest.fixture(scope="module")
def opened(empty):
    return openpyxl.load_workbook(empty)


def filled_lines():
    lines = {sheet: [WorkbookLine(cells)] for sheet, cells in EXAMPLES.items()}
    return lines | {"dogs": [*lines["dogs"], BRYONY]}


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """A workbook whose lines are the examples."""
    path = tmp_path_factory.mktemp("filled") / "filled.xlsx"
    write_workbook(path, filled_lines())
    return path


@pytest.fixture(scope="module")
def loaded(filled, tmp_path_factory, kennel_class, kennel_of_four):
    """A kennel that has loaded it, and what the load reported; to be read only."""
    kennel = kennel_class(tmp_path_factory.mktemp("loaded"))
    shutil.copyfile(kennel_of_four, kennel.records)
    return kennel, kennel.load(filled)


def limits(page):
    """Every limit of a worksheet by its first cell."""
    return {str(v.sqref).split(":")[0]: v for v in page.data_validations.dataValidation}


def test_it_begins_with_the_guide_and_has_every_sheet_in_order(opened):
    assert opened.sheetnames == [GUIDE_TITLE, *(sheet.title for sheet in SHEETS.values())]


def test_the_guide_names_every_sheet_and_what_it_needs_on_one_page(opened):
    guide = opened[GUIDE_TITLE]
    text = "\n".join(str(row[0].value) for row in guide.iter_rows())

    for sheet in SHEETS.values():
        assert f"{sheet.title}: {PURPOSES[sheet.name]}" in text
        needed = ", ".join(column.heading for column in sheet.columns if column.required)
        assert f"Needed: {needed}." in text
    for word in ("Progressive motility (%)", "Litters before", "missed", "veterinarian"):
        assert word in text
    assert guide.sheet_properties.pageSetUpPr.fitToPage
    (events,) = re.findall(r"Recognized events are ([^;]+);", text)
    assert {"fever", "pain", "swelling", "injury", "prostatic disease"} <= set(events.split(", "))
    assert all(is_known_event(word) for word in events.split(", "))
    (organs,) = re.findall(r"examinations of ([^;]+);", text)
    assert all(map(organ_of, organs.split(", ")))


def test_headings_are_those_of_the_sheets_and_needed_ones_need_no_color_to_be_seen(opened):
    for sheet in SHEETS.values():
        for column, cell in zip(sheet.columns, opened[sheet.title][1], strict=True):
            assert cell.value == column.heading + (" *" if column.required else "")
            assert bool(cell.font.bold) == column.required
            assert (cell.border.bottom.style == "thick") == column.required


def test_every_cell_says_what_it_wants_and_choices_are_lists(opened):
    for sheet in SHEETS.values():
        found = limits(opened[sheet.title])
        for place, column in enumerate(sheet.columns, 1):
            limit = found[f"{openpyxl.utils.get_column_letter(place)}3"]
            assert 0 < len(limit.promptTitle) <= 32
            assert f"{column.heading} ".startswith(f"{limit.promptTitle} ")
            assert len(limit.prompt) > 5
            assert ("Must be filled in." in limit.prompt) == column.required
            if column.kind == "choice":
                assert limit.formula1.strip('"').split(",") == list(column.choices)
            if column.kind in ("count", "number"):
                quantity = VOCABULARY[column.vocabulary_name]
                assert [float(limit.formula1), float(limit.formula2)] == [
                    quantity.low, quantity.high,
                ]  # fmt: skip
                assert f"{quantity.low:,.10g} to {quantity.high:,.10g}" in limit.error
            if column.kind == "day":
                assert (limit.formula2 == "TODAY()") != column.may_lie_ahead
            if column.kind in ("count", "number", "day", "clock", "choice"):
                assert limit.errorStyle in (None, "stop")
                assert limit.error.endswith(".")


def test_no_limit_needs_powers_of_ten_and_no_needed_cell_may_be_left_blank(opened):
    for sheet in SHEETS.values():
        found = limits(opened[sheet.title])
        for place, column in enumerate(sheet.columns, 1):
            limit = found[f"{openpyxl.utils.get_column_letter(place)}3"]
            text = f"{limit.prompt} {limit.error}"
            assert not re.search(r"\de[+-]\d", text)
            assert not (column.required and "blank" in text)
    price = limits(opened["Prices"])["B3"]
    assert "0 to 1,000,000" in price.error


def test_wherever_the_program_looks_for_words_the_cell_has_a_list(opened):
    lists = {
        (sheet.name, column.name): limits(opened[sheet.title])[
            f"{openpyxl.utils.get_column_letter(place)}3"
        ]
        for sheet in SHEETS.values()
        for place, column in enumerate(sheet.columns, 1)
    }

    paid = lists["prices", "what"]
    assert paid.formula1.strip('"').split(",") == [*PRICE_ITEMS, "other"]
    assert paid.errorStyle in (None, "stop")
    open_lists = {place for place, limit in lists.items() if limit.errorStyle == "warning"}
    assert {
        ("intervals", "what"), ("health", "drug_class"), ("collections", "extender"),
        ("shipments", "extender"),
    } <= open_lists  # fmt: skip
    for place in open_lists:
        assert lists[place].type == "list"


def test_what_a_list_suggests_is_what_the_program_knows():
    extenders = SHEETS["shipments"].column("extender").suggestions
    assert "unknown" not in {medium_of(word) for word in extenders}
    assert medium_of("Brand X") == "unknown"
    brucella, evaluation = SHEETS["intervals"].column("what").suggestions
    assert names_brucella(brucella)
    assert EVALUATION in evaluation
    assert all(is_known_drug(word) for word in SHEETS["health"].column("drug_class").suggestions)


def test_limits_reach_as_far_as_they_promise(opened):
    ends = [str(v.sqref).split(":")[1] for v in limits(opened["Collections"]).values()]

    assert {int(re.sub(r"\D", "", end)) for end in ends} == {N_READY_LINES + 2}


def test_the_empty_workbook_loads_as_nothing(kennel, empty):
    report = kennel.load(empty)

    assert list(report.sheets) == list(SHEETS)
    assert report.findings.empty
    assert report.ignored == ()
    assert all(count.n_new == count.n_refused == 0 for count in report.sheets.values())


def test_the_example_lines_stand_in_it_and_are_themselves_sound(empty, loaded):
    for sheet in SHEETS.values():
        rows = CalamineWorkbook.from_path(empty).get_sheet_by_name(sheet.title).to_python()
        assert rows[1][0].startswith(EXAMPLE_PREFIX)

    _, report = loaded
    assert report.findings.empty
    assert all(count.n_new for count in report.sheets.values())


def test_a_filled_line_reads_back_as_it_was_written(loaded):
    kennel, _ = loaded
    for name, sheet in SHEETS.items():
        rows = kennel.lines(name).query("file == 'filled.xlsx (" + sheet.title + ")'")
        read = {cell: rows.iloc[0][cell] for cell in sheet.names if rows.iloc[0][cell]}
        assert read == dict(EXAMPLES[name])


def test_three_cells_make_a_collection_with_its_reading(kennel, tmp_path):
    three = {"dog": "Bracken", "collected_on": "2024-03-05", "progressive_motility_pct": "70"}
    write_workbook(tmp_path / "k.xlsx", {"collections": [WorkbookLine(three)]})

    assert kennel.load(tmp_path / "k.xlsx").findings.empty
    assert kennel.read("evaluations")["progressive_motility_pct"].tolist() == [70]


def test_a_program_that_rewrites_the_workbook_changes_nothing(kennel, filled, loaded):
    shutil.copyfile(loaded[0].records, kennel.records)
    book = openpyxl.load_workbook(filled)
    for page in book:
        for row in page.iter_rows(min_row=2):
            for cell in row:
                if isinstance(cell.value, datetime):
                    cell.number_format = "dd/mm/yyyy"  # shown otherwise, the same day
                if isinstance(cell.value, time):
                    cell.value = datetime.combine(date(1899, 12, 30), cell.value)
    rewritten = kennel.folder / filled.name
    book.save(rewritten)

    report = kennel.load(rewritten)

    assert report.findings.empty
    assert all(count.n_new == count.n_changed == 0 for count in report.sheets.values())


def as_csv(path, folder, *, separator, comma, encoding, day_form):
    """What a spreadsheet program makes of a workbook when asked for CSV."""
    folder.mkdir()
    book = openpyxl.load_workbook(path)
    for page in book:
        text = io.StringIO()
        writer = csv.writer(text, delimiter=separator, lineterminator="\r\n")
        for row in page.iter_rows(values_only=True):
            writer.writerow([
                "" if cell is None
                else cell.strftime(day_form) if isinstance(cell, datetime)
                else cell.strftime("%H:%M") if isinstance(cell, time)
                else str(cell).replace(".", comma) if isinstance(cell, float)
                else str(cell)
                for cell in row
            ])  # fmt: skip
        if page.title != GUIDE_TITLE:
            (folder / f"{page.title}.csv").write_bytes(text.getvalue().encode(encoding))
    return folder


@pytest.fixture(scope="module")
def swedish(tmp_path_factory, kennel_class, kennel_of_four):
    """A workbook with letters beyond ASCII, and a kennel that has loaded it; to be read only."""
    kennel = kennel_class(tmp_path_factory.mktemp("swedish"))
    shutil.copyfile(kennel_of_four, kennel.records)
    lines = filled_lines()
    lines["dogs"][1] = WorkbookLine({**BRYONY.cells, "owner": "Jürgen Ångström"})
    workbook = kennel.folder / "kennel.xlsx"
    write_workbook(workbook, lines, with_example=True)
    kennel.load(workbook)
    return workbook, kennel


@pytest.mark.parametrize(
    ("separator", "comma", "encoding", "day_form", "day_order"),
    [
        (";", ",", "cp1252", "%d.%m.%Y", "day-first"),
        pytest.param(";", ",", "utf-8-sig", "%d/%m/%Y", "day-first", marks=pytest.mark.slow),
        pytest.param(",", ".", "cp1252", "%m/%d/%Y", "month-first", marks=pytest.mark.slow),
        (",", ".", "utf-8", "%Y-%m-%d", None),
        pytest.param("\t", ",", "utf-16", "%d-%m-%Y", "day-first", marks=pytest.mark.slow),
    ],
)
def test_every_way_to_export_the_workbook_to_csv_says_the_same(
    swedish, kennel_class, tmp_path, separator, comma, encoding, day_form, day_order
):
    workbook, kennel = swedish
    folder = as_csv(workbook, tmp_path / "csv", separator=separator, comma=comma,
                    encoding=encoding, day_form=day_form)  # fmt: skip
    other = kennel_class(tmp_path)

    report = other.load(folder, day_order=day_order)

    assert report.findings.empty
    for view in ("dogs", "evaluations", "breedings", "progesterone", "shipments", "lab_tests"):
        ids = [name for name in kennel.read(view) if name.endswith("_id")]
        expected = kennel.read(view).drop(columns=ids)
        found = other.read(view).drop(columns=ids)
        known = expected.columns.difference(["value_as_reported"])
        assert_same_rows(expected[known], found[known], only_in_first=4 * (view == "dogs"))


def assert_same_rows(expected, found, *, only_in_first):
    """The rows of the second are those of the first but for some."""
    rows = [sorted(map(str, frame.itertuples(index=False))) for frame in (expected, found)]
    assert set(rows[1]) <= set(rows[0])
    assert len(rows[0]) - len(rows[1]) == only_in_first


def test_a_date_that_could_be_read_in_two_ways_is_asked_about(kennel, filled, tmp_path):
    folder = as_csv(filled, tmp_path / "csv", separator=",", comma=".", encoding="utf-8",
                    day_form="%d/%m/%Y")  # fmt: skip

    report = kennel.load(folder)

    assert "day or month first" in set(report.findings["rule"])
    remedies = in_english(report.findings)["remedy"]
    assert remedies.str.contains("--dates day-first or month-first").any()


@pytest.mark.parametrize("typed", ["=1+1", "mailto:x", "007", "1e5", "-", "a\nb", " x "])
def test_nothing_typed_becomes_a_formula_a_link_or_a_number(tmp_path, typed):
    write_workbook(tmp_path / "k.xlsx", {"dogs": [WorkbookLine({"call_name": typed})]})

    with zipfile.ZipFile(tmp_path / "k.xlsx") as parts:
        page = parts.read("xl/worksheets/sheet2.xml").decode()
        assert "<f>" not in page
        assert "hyperlink" not in page
    book = CalamineWorkbook.from_path(tmp_path / "k.xlsx")
    assert book.get_sheet_by_name("Dogs").to_python()[1][0] == typed


def test_the_same_lines_make_the_same_workbook_byte_for_byte(tmp_path):
    for name in ("a.xlsx", "b.xlsx"):
        write_workbook(tmp_path / name, filled_lines(), with_example=True)

    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()


def test_a_workbook_is_never_written_over_another_file(tmp_path):
    path = tmp_path / "mine.xlsx"
    path.write_text("mine", encoding="utf-8")

    with pytest.raises(RecordsError, match="exists already"):
        write_template(path)
    with pytest.raises(RecordsError, match=r"End it in \.xlsx"):
        write_template(tmp_path / "mine.ods")
    with pytest.raises(RecordsError, match="cannot be written"):
        write_template(tmp_path / "no folder" / "mine.xlsx")

    assert path.read_text(encoding="utf-8") == "mine"
