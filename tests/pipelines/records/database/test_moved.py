"""A line whose day was corrected in its sheet: asked about with both lines named, counted once."""

from datetime import date, timedelta

import pytest
from tests.in_english import in_english

from studcurve.pipelines.records.sheets.columns import SHEETS as DEFINED
from studcurve.pipelines.records.sheets.rules import MOVED, SAME_HEAT, SAME_LITTER
from studcurve.reports.words import Words

pytestmark = pytest.mark.usefixtures("files_stay_open")

TODAY = date(2026, 10, 31)
FIRST = date(2024, 3, 12)
OTHER_DAYS = ("2021-01-07", "2021-08-09", "2022-02-11", "2022-09-15", "2023-04-18", "2025-01-21")
LITTER = {"Result": "whelped", "Whelped on": "2024-05-13", "Born alive": "6"}


def day(n):
    return (FIRST + timedelta(days=n)).isoformat()


SHEETS = {
    "breedings": (
        "breedings", "Date",
        {"Bitch": "Senna", "Stud": "Bracken", "Semen": "natural"}, LITTER,
    ),
    "collections": (
        "evaluations", "Date",
        {"Dog": "Bracken", "Volume (mL)": "2.4", "Concentration (M/mL)": "310",
         "Progressive motility (%)": "70", "How motility was evaluated": "by eye"}, {},
    ),
    "heats": ("cycles", "First day", {"Bitch": "Senna"}, {}),
    "health": (
        "health_lines", "Date",
        {"Dog": "Bracken", "Kind": "laboratory test", "What": "Brucella RSAT",
         "Result": "negative"}, {},
    ),
    "frozen": (
        "frozen_lots", "Frozen on",
        {"Stud": "Bracken", "Lot": "A", "Straws": "12", "Progressively motile per straw (M)": "80"},
        {},
    ),
}  # fmt: skip


def lines(sheet, *days):
    """Six other lines, and the one that is corrected, on each of some days."""
    _, heading, plain, more = SHEETS[sheet]
    older = [plain | {heading: other} for other in OTHER_DAYS]
    return older + [plain | more | {heading: on} for on in days]


def moved(kennel):
    findings = kennel.read("findings").query("is_open")
    return findings[findings["rule"] == MOVED]


def doubts(kennel):
    return kennel.read("findings").query("is_open and severity == 'doubtful'")["rule"].tolist()


def decide(kennel, way):
    numbers = moved(kennel)["finding_id"].tolist()
    with kennel.open() as store:
        return getattr(store, way)(numbers, today=TODAY, reason=None)


def days_in_force(kennel, sheet):
    kept = kennel.lines(sheet).query("state == 'current'")
    return kept[DEFINED[sheet].day].tolist()


@pytest.mark.sampled
@pytest.mark.parametrize("sheet", SHEETS)
def test_a_corrected_day_is_asked_about_and_withdrawing_takes_out_the_older_line(kennel, sheet):
    view = SHEETS[sheet][0]
    kennel.load(kennel.write(sheet, lines(sheet, day(0))))
    before = len(kennel.read(view))

    report = kennel.load(kennel.write(sheet, lines(sheet, day(-2))))

    assert report.sheets[sheet].n_new == report.sheets[sheet].n_doubtful == 1
    (found,) = in_english(moved(kennel)).to_dict("records")
    assert (found["severity"], found["text"]) == ("doubtful", day(0))
    assert f"{sheet}.csv, line 8" in found["message"]
    assert day(-2) in found["message"]
    assert "gone from its file" not in kennel.read("findings")["rule"].tolist()
    # Counted once; cautions read both until somebody has answered.
    assert len(kennel.read(view)) == before + (sheet == "health")

    decide(kennel, "withdraw")
    assert len(kennel.read(view)) == before
    assert day(-2) in days_in_force(kennel, sheet)
    assert day(0) not in days_in_force(kennel, sheet)
    again = kennel.load(kennel.write(sheet, lines(sheet, day(-2))))
    assert again.findings.empty
    assert not doubts(kennel)


@pytest.mark.sampled
@pytest.mark.parametrize("sheet", ["collections", "health"])
def test_a_day_that_was_right_both_times_is_confirmed_and_not_asked_about_again(kennel, sheet):
    kennel.load(kennel.write(sheet, lines(sheet, day(0))))
    kennel.load(kennel.write(sheet, lines(sheet, day(9))))
    assert decide(kennel, "confirm").n_closed == 1

    kennel.load(kennel.write(sheet, lines(sheet, day(9)) + lines(sheet, day(0))[-1:]))
    kennel.load(kennel.write(sheet, lines(sheet, day(9))))

    assert not doubts(kennel)
    assert {day(0), day(9)} <= set(days_in_force(kennel, sheet))


def test_a_line_that_came_with_the_workbook_of_corrections_is_missed_too(kennel):
    """The older line stands in a file of another name, which is not loaded again."""
    kennel.load(kennel.write("breedings", lines("breedings")))
    kennel.load(kennel.write("breedings", lines("breedings", day(0))[-1:], "fixed/breedings_2.csv"))

    kennel.load(kennel.write("breedings", lines("breedings", day(-2))))

    assert doubts(kennel) == [MOVED]
    assert kennel.read("breedings")["n_born_alive"].dropna().tolist() == [6]


@pytest.mark.sampled
@pytest.mark.parametrize("sheet", SHEETS)
def test_the_only_line_of_a_sheet_is_asked_about_though_no_other_one_came_again(kennel, sheet):
    kennel.load(kennel.write(sheet, lines(sheet, day(0))[-1:]))
    kennel.load(kennel.write(sheet, lines(sheet, day(3))[-1:]))

    assert len(moved(kennel)) == 1


@pytest.mark.parametrize(
    ("later", "is_asked"),
    [
        ("2024-04-12", True), ("2024-04-13", False), ("2024-02-10", True), ("2024-02-09", False),
        ("2024-12-03", True), ("2024-12-04", False), ("2025-03-12", True), ("2025-03-13", False),
    ],
)  # fmt: skip
def test_a_slip_is_a_month_a_year_or_day_and_month_exchanged(kennel, later, is_asked):
    kennel.load(kennel.write("collections", lines("collections", day(0))[-1:]))
    kennel.load(kennel.write("collections", lines("collections", later)[-1:]))

    assert bool(len(moved(kennel))) is is_asked


def test_sheets_that_bring_only_new_lines_are_not_asked_about(kennel):
    few = {"Dog": "Bracken", "Progressive motility (%)": "80"}
    shipment = {"Stud": "Bracken", "Doses": "2", "Clinic": "Lindal", "Carrier": "Night Coach",
           "Volume per dose (mL)": "10"}  # fmt: skip
    for n in (0, 2):
        kennel.load(
            kennel.write("collections", [few | {"Date": day(n)}]),
            kennel.write("shipments", [shipment | {"Sent on": day(n)}]),
        )
    other = lines("collections", day(4))[-1] | {"Volume (mL)": "2.6"}
    kennel.load(kennel.write("collections", [other]))

    assert not len(moved(kennel))
    assert len(kennel.read("evaluations")) == 3
    assert len(kennel.read("shipments")) == 2


def test_a_line_that_only_left_its_file_is_no_other_day_of_a_new_one(kennel):
    kennel.load(kennel.write("collections", lines("collections", day(0))))
    other = lines("collections", day(60))[-1] | {"Volume (mL)": "2.6"}
    kennel.load(kennel.write("collections", [*lines("collections"), other]))

    assert kennel.read("findings").query("is_open")["rule"].tolist() == ["gone from its file"]


def test_a_day_that_is_put_back_asks_about_the_line_that_had_taken_its_place(kennel):
    for n in (0, -2, 0):
        kennel.load(kennel.write("breedings", lines("breedings", day(n))))

    (found,) = in_english(moved(kennel)).to_dict("records")
    assert found["text"] == day(-2)
    assert kennel.read("breedings")["n_born_alive"].dropna().tolist() == [6]
    decide(kennel, "withdraw")
    assert day(0) in days_in_force(kennel, "breedings")
    assert day(-2) not in days_in_force(kennel, "breedings")


@pytest.mark.parametrize("days", [2, -2])
def test_two_matings_that_are_both_right_become_one_breeding(kennel, days):
    kennel.load(kennel.write("breedings", lines("breedings", day(0))))
    kennel.load(kennel.write("breedings", lines("breedings", day(days))))
    assert doubts(kennel) == [MOVED]  # and neither of one heat nor of one litter on two lines

    assert decide(kennel, "confirm").n_joined == 1

    whelped = kennel.read("breedings").query("whelped == True")
    assert whelped["n_inseminations"].tolist() == [2]
    assert whelped["n_born_alive"].tolist() == [6]
    assert not {SAME_HEAT, SAME_LITTER} & set(doubts(kennel))


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_question_names_both_lines_in_either_language(kennel, language):
    from studcurve.reports.page import Reader
    from studcurve.reports.pages.index import build_index

    name = '"A" & <b>/breedings.csv'
    kennel.load(kennel.write("breedings", lines("breedings", day(0)), name))
    kennel.load(kennel.write("breedings", lines("breedings", day(-2)), name))

    page = build_index("Kennel", (), kennel.read("findings"), answer=(), provenance="",
                       reader=Reader(Words(language)))  # fmt: skip
    row_texts = [" ".join(map(str, row)) for table in page.sections for row in table.table.rows]
    (row,) = [text for text in row_texts if day(-2) in text]
    assert day(0) in row
    assert row.count("breedings.csv") == 2
    assert "8" in row
    assert "@" not in row


@pytest.mark.parametrize(("extra", "is_asked"), [({}, False), ({"Volume (mL)": "2.4"}, True)])
def test_lines_of_few_cells_are_alike_by_chance(kennel, extra, is_asked):
    few = {
        "Dog": "Bracken",
        "Progressive motility (%)": "80",
        "How motility was evaluated": "by eye",
    } | extra
    for n in (0, 2):
        kennel.load(kennel.write("collections", [few | {"Date": day(n)}]))

    assert bool(len(moved(kennel))) is is_asked


@pytest.mark.parametrize(("n_elsewhere", "is_asked"), [(1, True), (2, False)])
def test_a_line_of_another_file_is_missed_once_half_of_the_sheet_came_again(
    kennel, n_elsewhere, is_asked
):
    own, *elsewhere = lines("collections", day(0))[-1 - n_elsewhere :]
    kennel.load(kennel.write("collections", [own], "a/collections.csv"))
    kennel.load(kennel.write("collections", elsewhere, "b/collections_2.csv"))

    kennel.load(kennel.write("collections", [own, *lines("collections", day(2))[-1:]],
                             "a/collections.csv"))  # fmt: skip

    assert bool(len(moved(kennel))) is is_asked
