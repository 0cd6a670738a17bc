"""Sheets as files: what is read, from which line, and what is said when it cannot be."""

import csv
import io
import os
import zipfile
from dataclasses import replace
from datetime import date, datetime, time

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.records.reading import files
from studcurve.pipelines.records.reading.files import read_csv_text, rewrite
from studcurve.pipelines.records.reading.staging import read_texts
from studcurve.pipelines.records.sheets.columns import SHEETS

HEAD = "Dog,Sex,Born,Notes\n"


def write(folder, text, name="dogs.csv", encoding="utf-8"):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return path


def workbook(path, sheets, **options):
    """A workbook whose sheets hold rows of plain cells, dates and times."""
    with xlsxwriter.Workbook(str(path), options) as book:
        formats = {date: book.add_format({"num_format": "yyyy-mm-dd"}),
                   time: book.add_format({"num_format": "hh:mm"})}  # fmt: skip
        for title, rows in sheets.items():
            page = book.add_worksheet(title)
            for i, row in enumerate(rows):
                for j, cell in enumerate(row):
                    if isinstance(cell, date | time):
                        page.write_datetime(i, j, cell, formats[type(cell)])
                    else:
                        page.write(i, j, cell)
    return path


def records(text):
    with text.path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))[1:]


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)
@pytest.mark.parametrize("named", ["{name}.csv", "{title}.csv", "export of 2024.csv"])
def test_a_sheet_is_known_by_its_name_or_by_its_headings(tmp_path, sheet, named):
    name = named.format(name=sheet.name, title=sheet.title)
    headings = ",".join(column.heading for column in sheet.columns)
    path = write(tmp_path, headings + "\n", name)

    assert read_csv_text(path, tmp_path).sheet is sheet


def test_headings_are_known_in_any_case_and_with_blanks(tmp_path):
    text = read_csv_text(write(tmp_path, " DOG ,sex,  BORN\nRowan,male,\n"), tmp_path)

    assert text.names == ("call_name", "sex", "born_on")


@pytest.mark.parametrize(
    ("content", "wanted"),
    [
        (b"", "does not begin with its headings"),
        (b"\n\n", "does not begin with its headings"),
        (b"Dog,Sex\nRow\0an,male\n", "holds NUL characters"),
        (b"Dog,Sex,Mood\nRowan,male,fine\n", "no use for the heading 'Mood'"),
        (b"Dog,Sex,Dog\nRowan,male,Rowan\n", "the heading 'Dog' twice"),
        (b"Dog\nRowan\n", "no column 'Sex', which every line of Dogs needs"),
        (b'Dog,Sex\n"Rowan,male\n', "line 2: not a readable CSV record"),
        (b'Dog,Sex\nRowan,"ma"le\n', "line 2: not a readable CSV record"),
        (b"Dog,Sex\nR\x81wan,male\n", "neither UTF-8 nor the Windows encoding"),
        (b"Dog," + b"x," * 10_000 + b"\n", "10002 headings"),
        (b"Dog,Sex\nRowan," + b"x" * 1_100_000 + b"\n", "line 2: not a readable CSV record"),
    ],
)
def test_a_file_that_is_no_sheet_gets_one_clear_sentence(kennel, content, wanted):
    path = write(kennel.folder, content)

    with pytest.raises(RecordsError) as problem:
        kennel.load(path)

    assert wanted in str(problem.value)
    assert "dogs.csv" in str(problem.value)
    assert "\n" not in str(problem.value)


def test_a_file_of_no_known_kind_names_the_sheets(tmp_path):
    with pytest.raises(RecordsError, match="none of the sheets Dogs, Collections"):
        read_csv_text(write(tmp_path, "a,b\n1,2\n", "else.csv"), tmp_path)


SPELLINGS = [("utf-8", ",", "\n"), ("utf-8-sig", ",", "\r\n"), ("cp1252", ";", "\r\n"),
             ("utf-16", "\t", "\r\n"), ("utf-8", ";", "\n"), ("utf-8", "\t", "\r")]  # fmt: skip
"""Encoding, separator and line end of a sheet."""


def test_every_usual_encoding_and_separator_says_the_same(kennel):
    paths = []
    for n, (encoding, separator, line_end) in enumerate(SPELLINGS):
        rows = [["Dog", "Sex", "Adult weight (kg)", "Notes"],
                [f"Röwan {n}", "male", "12,5", "fünf, sechs"]]  # fmt: skip
        text = io.StringIO()
        csv.writer(text, delimiter=separator, lineterminator=line_end).writerows(rows)
        (kennel.folder / str(n)).mkdir()
        paths.append(write(kennel.folder / str(n), text.getvalue(), encoding=encoding))

    kennel.load(*paths)

    dogs = kennel.read("dogs").query("call_name.str.startswith('Röwan')")
    assert dogs["adult_weight_kg"].tolist() == [12.5] * len(SPELLINGS)
    assert kennel.lines("dogs")["notes"].tolist()[-len(SPELLINGS) :] == ["fünf, sechs"] * len(
        SPELLINGS
    )


def test_line_numbers_are_exact_past_quoted_breaks_blank_lines_and_repairs(kennel):
    path = write(
        kennel.folder,
        HEAD
        + 'Rowan,male,,"two\nlines"\n'  # lines 2 and 3
        + "\n"
        + ",,,\n"
        + "Elm,neither,,\n"  # line 6
        + 'Oak,male,never,"a ""quoted"" word"\n',  # line 7
    )

    findings = kennel.load(path).findings

    assert findings[["line", "column_heading", "text"]].values.tolist() == [
        [6, "Sex", "neither"], [7, "Born", "never"],
    ]  # fmt: skip
    assert "two\nlines" in kennel.lines("dogs")["notes"].tolist()


def test_line_numbers_are_exact_in_a_plain_file_with_blank_rows(kennel):
    path = write(kennel.folder, HEAD + "Rowan,male,,\n,,,\nElm,neither,,\n")
    assert not read_csv_text(path, kennel.folder).is_rewritten

    assert kennel.load(path).findings["line"].tolist() == [4]


def test_a_short_line_is_padded_and_a_long_one_is_kept_and_refused(kennel):
    path = write(kennel.folder, HEAD + "Rowan,male\nElm,male,,note,more,\nOak,male,,\n")

    report = kennel.load(path)

    assert report.findings[["line", "rule"]].values.tolist() == [[3, "too many cells"]]
    assert report.sheets["dogs"].n_new == 2
    with kennel.open(read_only=True) as store:
        kept = store._rows("SELECT cells FROM line WHERE state = 'refused'")
    assert kept[0][0].endswith('"[\\"more\\"]"]')


@pytest.mark.parametrize("seed", range(3))
def test_the_plain_way_and_the_careful_way_read_the_same(kennel, seed, demo_records):
    for sheet in sorted(demo_records.glob("*.csv"))[seed::3]:
        plain = read_csv_text(sheet, kennel.folder)
        careful = rewrite(plain, kennel.folder)

        assert not plain.is_rewritten
        assert careful.is_rewritten
        with sheet.open(encoding="utf-8", newline="") as file:
            expected = [
                [str(n), "", *(cell.strip() for cell in row)]
                for n, row in enumerate(csv.reader(file), 1)
                if n > 1
            ]
        assert records(careful) == expected


def test_an_example_line_is_ignored(kennel):
    path = write(kennel.folder, HEAD + "(example) Rowan,neither,x,\nElm,neither,,\n")

    report = kennel.load(path)

    assert report.findings["line"].tolist() == [3]
    assert report.sheets["dogs"].n_refused == 1


def test_a_workbook_says_what_its_csv_says(tmp_path, kennel):
    rows = [
        ["Dog", "Sex", "Born", "Chip", "Inbreeding (%)"],
        ["Rowan", "male", date(2019, 5, 1), 900000000000123, 6.25],
        ["Elm", "female", "1 May 2020", "", ""],
    ]
    seen = [
        ["Dog", "Date", "Time", "Volume (mL)", "Concentration (M/mL)"],
        ["Rowan", date(2024, 3, 5), time(8, 30), 2.4, "> 300"],
    ]
    path = workbook(tmp_path / "sheets.xlsx", {"Dogs": rows, "Collections": seen,
                                               "Shopping": [["milk", "bread"]]})  # fmt: skip

    report = kennel.load(path)

    assert report.findings.empty
    assert report.ignored == ("sheets.xlsx (Shopping)",)
    dogs = kennel.read("dogs").set_index("call_name")
    assert dogs.loc["Rowan", "chip"] == "900000000000123"
    assert dogs.loc["Rowan", "inbreeding_pct"] == 6.25
    assert dogs["born_on"].dt.date.loc[["Rowan", "Elm"]].tolist() == [
        date(2019, 5, 1), date(2020, 5, 1),
    ]  # fmt: skip
    row = kennel.read("evaluations").iloc[0]
    assert row["collected_earliest"] == datetime(2024, 3, 5, 8, 30)
    assert (row["volume_ml"], row["concentration_m_per_ml_low"]) == (2.4, 300)


def test_a_formula_in_a_cell_is_refused_and_kept(kennel, tmp_path):
    typed = ['=HYPERLINK("x","y")', "=1+1", "+cmd|' /C calc'!A0", "@SUM(A1)", "-IMPORTDATA(A1)"]
    rows = [["Dog", "Sex"], *([text, "male"] for text in typed)]
    path = workbook(tmp_path / "dogs.xlsx", {"Dogs": rows}, strings_to_formulas=False,
                    strings_to_urls=False)  # fmt: skip

    report = kennel.load(path)

    assert report.findings["rule"].tolist() == ["a formula"] * len(typed)
    assert report.findings["text"].tolist() == typed
    assert kennel.lines("dogs")["call_name"].tolist()[-len(typed) :] == typed


def test_a_note_that_only_begins_with_a_sign_is_no_formula(kennel):
    typed = ["- slept badly", "+1 day", "@ home", "-", "+", "3 = three"]

    report = kennel.load(kennel.collections(
        *({"Date": f"2024-01-{n:02d}", "Notes": text} for n, text in enumerate(typed, 1))
    ))  # fmt: skip

    assert report.findings.empty
    assert kennel.lines("collections")["notes"].tolist() == typed


BURSTING = (b"<worksheet>", *[b" " * 1_000_000] * 301)
"""A part of 301 MB, one chunk after the other."""


def replaced_part(path, name, content):
    """The same workbook with one part replaced, by the bytes or by chunks of them."""
    with zipfile.ZipFile(path) as old:
        parts = {part.filename: [old.read(part)] for part in old.infolist()}
    parts[name] = [content] if isinstance(content, bytes) else content
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as new:
        for part, chunks in parts.items():
            with new.open(part, "w") as body:
                for chunk in chunks:
                    body.write(chunk)
    return path


@pytest.mark.parametrize(
    ("part", "content", "wanted"),
    [
        ("xl/worksheets/sheet1.xml", BURSTING, "unpacks to more than"),
        ("xl/worksheets/sheet1.xml",
         b'<worksheet><sheetData><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
         b"</sheetData></worksheet>", "far from the others"),
        ("xl/worksheets/sheet1.xml",
         b'<worksheet><sheetData><row r="1"><c r="ZZZZZZZ1"><v>1</v></c></row></sheetData>'
         b"</worksheet>", "far from the others"),
        ("xl/workbook.xml", b"<workbook", "Save it again as XLSX"),
    ],
)  # fmt: skip
def test_a_workbook_made_to_burst_is_refused(tmp_path, part, content, wanted):
    path = workbook(tmp_path / "bomb.xlsx", {"Dogs": [["Dog", "Sex"], ["Rowan", "male"]]})
    replaced_part(path, part, content)
    assert path.stat().st_size < 2_000_000

    with pytest.raises(RecordsError, match=wanted):
        read_texts([path], tmp_path)


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 torn", b"Dog,Sex\nRowan,male\n"])
def test_a_file_that_only_claims_to_be_a_workbook_gets_a_sentence(tmp_path, content):
    with pytest.raises(RecordsError, match="no workbook that can be read"):
        read_texts([write(tmp_path, content, "dogs.xlsx")], tmp_path)


def test_links_folders_and_pipes_are_no_sheets(tmp_path):
    real = write(tmp_path, HEAD)
    (tmp_path / "link.csv").symlink_to(real)
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "empty").mkdir()

    for path, wanted in (
        (tmp_path / "link.csv", "is a link"), (tmp_path / "pipe.csv", "no file that can be read"),
        (tmp_path / "empty", "holds no CSV file"), (tmp_path / "none.csv", "There is no file"),
        (tmp_path, "is a link"), (tmp_path / "a\0b.csv", "There is no file"),
    ):  # fmt: skip
        with pytest.raises(RecordsError, match=wanted):
            read_texts([path], tmp_path)


def test_a_file_beyond_the_bound_is_refused_before_it_is_read(tmp_path):
    path = write(tmp_path, HEAD)
    with path.open("r+b") as file:
        file.truncate(2_000_000_000)  # a hole: it takes no room on the disk

    with pytest.raises(RecordsError, match=r"holds 2\.0 GB; up to 1 GB is read"):
        read_texts([path], tmp_path)


def test_a_file_that_changes_while_it_is_read_is_not_loaded(kennel, monkeypatch):
    path = write(kennel.folder, HEAD + "Rowan,male,,\n")
    scan = files._scan

    def scan_and_change(scanned):
        found = scan(scanned)
        with path.open("a", encoding="utf-8") as file:
            file.write("Elm,male,,\n")
        return found

    monkeypatch.setattr(files, "_scan", scan_and_change)

    with pytest.raises(RecordsError, match="changed while it was read"):
        kennel.load(path)
    assert len(kennel.read("dogs")) == 4


@pytest.mark.parametrize(
    ("order", "born"),
    [(None, None), ("day-first", date(2020, 4, 3)), ("month-first", date(2020, 3, 4))],
)
def test_the_order_of_day_and_month_is_asked_for_and_never_guessed(kennel, order, born):
    typed = ["03/04/2020", "03.04.2020", "3-4-2020"]
    lines = "".join(f"Dog {n},male,{text},\n" for n, text in enumerate(typed))

    report = kennel.load(write(kennel.folder, HEAD + lines), day_order=order)

    if born is None:
        assert report.n_refused == len(typed)
        assert set(report.findings["rule"]) == {"day or month first"}
    else:
        assert report.n_refused == 0
        assert kennel.read("dogs")["born_on"].dt.date.tolist()[-len(typed) :] == [born] * 3


def test_dates_that_need_no_guess_are_read(kennel):
    typed = ["2020-04-03", "2020-4-3", "3 Apr 2020", "3. April 2020", "Apr 3, 2020",
             "2020-04-03 00:00:00", "2020/04/03", "2020-04-03T00:00:00.000"]  # fmt: skip
    lines = "".join(f'Dog {n},male,"{text}",\n' for n, text in enumerate(typed))

    report = kennel.load(write(kennel.folder, HEAD + lines))

    assert report.findings.empty
    born = kennel.read("dogs").query("call_name.str.startswith('Dog')")["born_on"].dt.date
    assert set(born) == {date(2020, 4, 3)}


def test_dates_that_would_be_a_guess_are_refused_and_kept(kennel):
    typed = ["2020-02-30", "2020", "April 2020", "43924", "3 Apr 20", "2020-04-03 08:30",
             "infinity", "31/31/2020", "0x10", "epoch", "3 Avril 2020", "2020-13-01"]  # fmt: skip
    lines = "".join(f'Dog {n},male,"{text}",\n' for n, text in enumerate(typed))

    report = kennel.load(write(kennel.folder, HEAD + lines))

    assert report.findings["text"].tolist() == typed
    assert set(typed) <= set(kennel.lines("dogs")["born_on"])
    assert len(kennel.read("dogs")) == 4


READINGS = {
    "2.5": ("exact", 2.5, 2.5), "2,5": ("exact", 2.5, 2.5), "0,125": ("exact", 0.125, 0.125),
    "> 20": ("above", 20, float("inf")), ">=20": ("above", 20, float("inf")),
    "≥20": ("above", 20, float("inf")), "<0.2": ("below", 0, 0.2), "≤ 0,2": ("below", 0, 0.2),
    "~70": ("rounded", 63, 77), "70-80": ("between", 70, 80), "7 – 8.5": ("between", 7, 8.5),
    "7 to 8": ("between", 7, 8), "too many to count": ("word", None, None),
    "None seen": ("word", 0, 0), "not done": ("word", None, None), "1e1": ("exact", 10, 10),
}  # fmt: skip


def test_a_measurement_is_kept_as_it_was_written(kennel):
    kennel.load(kennel.collections(
        *({"Date": f"2024-01-{n:02d}", "Concentration (M/mL)": typed}
          for n, typed in enumerate(READINGS, 1))
    ))  # fmt: skip

    with kennel.open(read_only=True) as store:
        kept = dict(store._rows(
            "SELECT reading_text(concentration_m_per_ml), concentration_m_per_ml FROM evaluation"
        ))  # fmt: skip
    assert kept.keys() == READINGS.keys()
    for typed, (kind, low, high) in READINGS.items():
        assert kept[typed]["kind"] == kind
        assert kept[typed]["low"] == (pytest.approx(low) if low else low)
        assert kept[typed]["high"] == (pytest.approx(high) if high else high)


WRITTEN_AS = ["70", "70.0", "70.00", "070", "+70", "7e1", "72.5", "72,5", "0", "0.0", "0.1", "0.30",
              "33.333333333333336", "99.9999999999999999", "~70", "> 20", "<= 5", "None seen",
              "70-80", "70 to 80", "100", "1", "2.675"]  # fmt: skip
CLOCKS = ["", "08:30", "8:30", "08:30:00", "08:30:15", "8:30 am", "00:00", "23:59", "23:59:59"]
DAYS = ["2024-{n:02d}-05", "2024/{n:02d}/05", "2024-{n:02d}-05 00:00:00", "2024-{n}-5"]


@pytest.mark.parametrize("judged", ["by eye", "counted"])
def test_a_measurement_of_any_spelling_is_given_back_letter_by_letter(kennel, judged):
    kennel.load(kennel.collections(
        *({"Date": f"2024-01-{n:02d}", "Progressive motility (%)": typed, "Total motility (%)": "",
           "How motility was evaluated": judged, "Concentration (M/mL)": typed}
          for n, typed in enumerate(WRITTEN_AS, 1))
    ))  # fmt: skip

    with kennel.open(read_only=True) as store:
        kept = store._rows(
            "SELECT reading_text(progressive_motility_pct), reading_text(concentration_m_per_ml) "
            "FROM evaluation ORDER BY evaluation_id"
        )
        n_texts = store._one("SELECT count(concentration_m_per_ml.text) FROM evaluation")
    assert kept == [(typed, typed) for typed in WRITTEN_AS]
    assert 0 < n_texts < len(WRITTEN_AS)


@pytest.mark.parametrize("day", DAYS)
def test_a_moment_of_any_spelling_is_given_back_letter_by_letter(kennel, day):
    written = [(day.format(n=n), clock) for n, clock in enumerate(CLOCKS, 1)]

    kennel.load(kennel.collections(*({"Date": day, "Time": clock} for day, clock in written)))

    with kennel.open(read_only=True) as store:
        kept = store._rows("SELECT moment_text(collected) FROM collection ORDER BY collection_id")
    assert kept == [(f"{day} {clock}".rstrip(),) for day, clock in written]


def test_a_number_that_would_be_a_guess_is_refused_and_kept(kennel):
    typed = ["2,5,1", "1,234", "1.234,5", "1_000", "nan", "inf", "20 or so", "80-70", ">", "> x",
             "--5", "5-", "1e999", "٣", "½", "0x1F", "1 000", "12;5"]  # fmt: skip

    report = kennel.load(kennel.collections(
        *({"Date": f"2024-01-{n:02d}", "Volume (mL)": text} for n, text in enumerate(typed, 1))
    ))  # fmt: skip

    assert report.findings["text"].tolist() == typed
    assert set(report.findings["rule"]) == {"not a number"}
    assert kennel.lines("collections")["volume_ml"].tolist() == typed


@settings(deadline=None, max_examples=300)
@given(
    content=st.one_of(
        st.text(' ,;"\n\r\taé\u00a0', max_size=30).map(lambda text: text.encode()),
        st.lists(st.sampled_from([b" ", b"a", b",", b"\n", b"\xc3", b"\xa9", b"\xef\xbb\xbf"]))
        .map(b"".join),
    )
)  # fmt: skip
def test_a_file_reads_the_same_in_pieces_and_its_outer_spaces_are_seen(tmp_path_factory, content):
    path = tmp_path_factory.getbasetemp() / "pieces.csv"
    path.write_bytes(content)
    whole = files._scan(path)

    for n_bytes in (1, 2, 3):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(files, "CHUNK_BYTES", n_bytes)
            found = files._scan(path)
        # A line end cut in two sends a file the careful way, which reads the same.
        assert found == replace(whole, is_plain=found.is_plain)
        assert whole.is_plain or not found.is_plain
    if whole.is_plain and whole.is_trimmed:
        for separator in files.SEPARATORS:
            lines = io.StringIO(content.decode("utf-8-sig"), newline="")
            cells = [cell for record in csv.reader(lines, delimiter=separator) for cell in record]
            assert not any(cell.startswith(" ") or cell.endswith(" ") for cell in cells[1:])
