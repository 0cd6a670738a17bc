"""Numbers that can hardly be right: kept, seen by cautions, in no number until confirmed."""

import zipfile
from datetime import date, timedelta

import openpyxl
import pandas as pd
import pytest
import xlsxwriter
from tests.in_english import in_english
from typer.testing import CliRunner

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.answers.waiting import TITLES, waiting_lines
from studcurve.pipelines.cli import app
from studcurve.pipelines.pages import kennel as pages_kennel
from studcurve.pipelines.records.archive import export, restore
from studcurve.pipelines.records.corrections import write_corrections
from studcurve.pipelines.records.database.history import Confirmed
from studcurve.pipelines.records.database.loading import SheetCount
from studcurve.pipelines.records.reading.workbook_cells import percent_text
from studcurve.pipelines.records.sheets.rules import (
    FEW_M_PER_ML,
    FRACTION_PCT,
    MANY_MOVING_PCT,
    ONE_HEAT_DAYS,
    SAME_HEAT,
    SAME_LITTER,
    USUAL_VOLUME_ML,
)
from studcurve.pipelines.run import write_pages
from studcurve.reports.page import Reader
from studcurve.reports.words import Words

pytestmark = pytest.mark.usefixtures("files_stay_open")

TODAY = date(2026, 10, 31)
FEW = {"Concentration (M/mL)": "0.28", "Total motility (%)": "80", "Progressive motility (%)": "80"}
BRED = {"Bitch": "Senna", "Stud": "Bracken", "Date": "2024-03-12", "Semen": "natural",
        "Route": "natural"}  # fmt: skip


def doubts(kennel):
    """Open doubts: rule and cell, in order."""
    found = kennel.read("findings").query("is_open and severity == 'doubtful'")
    return list(zip(found["rule"], found["text"], strict=True))


def confirm(kennel, *rules):
    """Confirm the open findings of some rules, or all."""
    found = kennel.read("findings").query("is_open")
    numbers = found[found["rule"].isin(rules)]["finding_id"] if rules else found["finding_id"]
    with kennel.open() as store:
        done = store.confirm(numbers.tolist(), today=TODAY, reason="seen")
        assert store.broken_promises() == []
    return done


EDGES = [
    # rule, what breaks it by the least, what is just right
    ("few sperm that move well", {"Concentration (M/mL)": f"{FEW_M_PER_ML - 0.01}"},
     {"Concentration (M/mL)": f"{FEW_M_PER_ML}"}),
    ("few sperm that move well",
     {"Concentration (M/mL)": "1", "Total motility (%)": f"{MANY_MOVING_PCT:.0f}",
      "Progressive motility (%)": "20"},
     {"Concentration (M/mL)": "1", "Total motility (%)": f"{MANY_MOVING_PCT - 1:.0f}",
      "Progressive motility (%)": "20"}),
    ("few sperm that move well",
     {"Concentration (M/mL)": "1", "Total motility (%)": "",
      "Progressive motility (%)": f"{MANY_MOVING_PCT:.0f}"},
     {"Concentration (M/mL)": "1", "Total motility (%)": "",
      "Progressive motility (%)": f"{MANY_MOVING_PCT - 1:.0f}"}),
    ("few sperm that move well", {"Concentration (M/mL)": "< 4"}, {"Concentration (M/mL)": "> 4"}),
    ("no sperm that move", {"Concentration (M/mL)": "0"}, {"Concentration (M/mL)": "< 6"}),
    ("no sperm that move", {"Concentration (M/mL)": "none seen", "Total motility (%)": "",
                            "Progressive motility (%)": "1",
                            "How motility was evaluated": "counted"},
     {"Concentration (M/mL)": "none seen", "Total motility (%)": "0",
      "Progressive motility (%)": "0"}),
    ("no sperm that move", {"Cells counted": "0"}, {"Cells counted": "1"}),
    ("more volume than an ejaculate", {"Volume (mL)": f"{USUAL_VOLUME_ML + 0.1}"},
     {"Volume (mL)": f"{USUAL_VOLUME_ML}"}),
    ("progressive perhaps above total motility", {"Total motility (%)": "70",
                                                  "Progressive motility (%)": "71"},
     {"Total motility (%)": "70", "Progressive motility (%)": "70"}),
    ("percentage as a fraction", {"Progressive motility (%)": f"{FRACTION_PCT}"},
     {"Progressive motility (%)": f"{FRACTION_PCT + 0.1}"}),
    ("percentage as a fraction", {"Total motility (%)": "0.8", "Progressive motility (%)": ""},
     {"Total motility (%)": "< 1", "Progressive motility (%)": ""}),
    ("percentage as a fraction", {"Normal morphology (%)": "0.7"}, {"Normal morphology (%)": "0"}),
    ("percentage as a fraction", {"Progressive motility (%)": "0.7",
                                  "How motility was evaluated": "counted"},
     {"Progressive motility (%)": "0", "Total motility (%)": "0",
      "How motility was evaluated": "counted"}),
    ("before the dog was born", {"Date": "2018-04-30"}, {"Date": "2018-05-01"}),
    ("thousands or decimals", {"Concentration (M/mL)": "1.250", "Volume (mL)": "3,5"},
     {"Concentration (M/mL)": "1250", "Volume (mL)": "3,5"}),
    ("thousands or decimals", {"Concentration (M/mL)": "> 1.250", "Volume (mL)": "3,5"},
     {"Concentration (M/mL)": "6.250", "Volume (mL)": "3,5"}),  # 6,250 M/mL is out of range
    ("thousands or decimals", {"Cells counted": "2.000", "Volume (mL)": "3,5"},
     {"Cells counted": "2", "Volume (mL)": "3,5"}),
]  # fmt: skip


@pytest.fixture(scope="module")
def found_of_edges(tmp_path_factory, kennel_class, kennel_of_four):
    """Rule and severity of what is found of the wrong and of the right line of each edge.

    A decimal comma counts for the whole sheet that is loaded with it, so lines with one, and lines
    without, have a sheet of their own. Each line is of a day of its own.
    """
    found = {}
    for has_comma in (False, True):
        made = kennel_class(tmp_path_factory.mktemp("edges"))
        made.records.write_bytes(kennel_of_four.read_bytes())
        lines = {
            (n, side): {"Date": f"{date(2024, 1, 1) + timedelta(days=14 * n + 7 * side)}"} | cells
            for n, (_, *sides) in enumerate(EDGES)
            for side, cells in enumerate(sides)
            if any("," in cell for cell in cells.values()) is has_comma
        }
        report = made.load(made.collections(*lines.values()))
        for place, which in enumerate(lines, 2):
            its = report.findings[report.findings["line"] == place]
            found[which] = list(zip(its["rule"], its["severity"], strict=True))
    return found


@pytest.mark.parametrize(
    ("n", "rule"),
    [pytest.param(n, rule, id=f"{rule} {wrong}") for n, (rule, wrong, _) in enumerate(EDGES)],
)
def test_each_rule_speaks_on_one_side_of_its_edge_and_is_silent_on_the_other(
    found_of_edges, n, rule
):
    wrong, right = found_of_edges[n, 0], found_of_edges[n, 1]

    assert (rule, "doubtful") in wrong
    assert rule not in [name for name, _ in right]
    assert "refused" not in [severity for _, severity in wrong + right]


def test_a_dot_is_no_doubt_on_a_sheet_without_a_decimal_comma(kennel):
    kennel.load(kennel.collections({"Concentration (M/mL)": "1.250", "Total motility (%)": "20",
                                    "Progressive motility (%)": "10"}))  # fmt: skip

    assert doubts(kennel) == []


LIVED = {"Dog": "Alder", "Sex": "male", "Born": "2018-05-01", "Died": "2024-03-05"}
SHE = {"Dog": "Willow", "Sex": "female", "Born": "2018-05-01", "Died": "2024-03-05"}
OLDER = [{"Dog": "Older", "Sex": "female"}, {"Dog": "Older Still", "Sex": "male"}]
LIVES = [
    # sheet, cells of the last sound day, cells of the first doubtful one
    ("collections", {"Dog": "Alder", "Date": "2024-03-05"}, {"Date": "2024-03-06"}),
    ("frozen", {"Stud": "Alder", "Frozen on": "2024-03-05", "Lot": "A", "Straws": "4"},
     {"Frozen on": "2024-03-06"}),
    ("shipments", {"Stud": "Alder", "Collected on": "2024-03-05", "Sent on": "2024-03-07"},
     {"Collected on": "2024-03-06"}),
    ("shipments", {"Stud": "Alder", "Sent on": "2018-05-01"}, {"Sent on": "2018-04-30"}),
    ("heats", {"Bitch": "Willow", "First day": "2024-03-05"}, {"First day": "2024-03-06"}),
    ("heats", {"Bitch": "Willow", "First day": "2018-05-01"}, {"First day": "2018-04-30"}),
    ("health", {"Dog": "Willow", "Date": "2024-03-05", "Kind": "examination", "What": "x"},
     {"Date": "2024-03-06"}),
    ("health", {"Dog": "Alder", "Date": "2018-05-01", "Kind": "event", "What": "fever"},
     {"Date": "2018-04-30"}),
    ("breedings", BRED | {"Bitch": "Willow", "Date": "2024-03-05"}, {"Date": "2024-03-06"}),
    ("breedings", BRED | {"Stud": "Alder", "Date": "2024-03-05"}, {"Date": "2024-03-06"}),
    # Frozen straws outlive him; so does chilled semen that was collected before.
    ("breedings", BRED | {"Stud": "Alder", "Semen": "frozen", "Route": "vaginal"},
     {"Date": "2018-04-30", "Bitch": "Older"}),
    ("breedings", BRED | {"Stud": "Alder", "Semen": "chilled", "Route": "vaginal",
                          "Date": "2024-03-07", "Collected on": "2024-03-05"},
     {"Collected on": "2024-03-06"}),
    ("breedings", BRED | {"Bitch": "Willow", "Stud": "Older Still", "Date": "2018-05-01"},
     {"Date": "2018-04-30"}),
]  # fmt: skip


@pytest.fixture(scope="module")
def records_of_lives(tmp_path_factory, kennel_class, kennel_of_four):
    made = kennel_class(tmp_path_factory.mktemp("lives"))
    made.records.write_bytes(kennel_of_four.read_bytes())
    made.load(made.write("dogs", [LIVED, SHE, *OLDER], "more/dogs.csv"))
    return made.records.read_bytes()


@pytest.mark.sampled
@pytest.mark.parametrize(("sheet", "sound", "late"), LIVES)
def test_a_day_beyond_a_life_is_doubtful_and_the_last_day_of_it_is_not(
    kennel, records_of_lives, sheet, sound, late
):
    kennel.records.write_bytes(records_of_lives)

    kennel.load(kennel.write(sheet, [sound]))
    assert doubts(kennel) == []

    kennel.load(kennel.write(sheet, [sound | late], f"late/{sheet}_late.csv"))
    # A breeding of the next day is, besides, a second line of the same heat.
    (doubt,) = [rule for rule, _ in doubts(kennel) if rule != SAME_HEAT]
    assert doubt.startswith(("before the", "after the"))
    assert kennel.read("doubtful_lines")["sheet"].unique().tolist() == [sheet]


TOLD_LATER = [
    # what is told of a dog after its line of 5 March 2024, and which of it is asked about
    ({"Born": "2024-03-05", "Died": ""}, []),
    ({"Born": "2024-03-06", "Died": ""}, ["Born"]),
    ({"Died": "2024-03-05"}, []),
    ({"Died": "2024-03-04"}, ["Died"]),
]
OF_A_DAY = {
    "collections": {"Dog": "Fern", "Date": "2024-03-05"},
    "frozen": {"Stud": "Fern", "Frozen on": "2024-03-05", "Lot": "A", "Straws": "4"},
    "heats": {"Bitch": "Fern", "First day": "2024-03-05"},
    "breedings": BRED | {"Bitch": "Fern", "Date": "2024-03-05"},
}


def fern(sheet, k):
    """A dog of its own for each sheet and each thing told of it."""
    sex = "female" if "Bitch" in OF_A_DAY[sheet] else "male"
    return {"Dog": f"Fern {sheet} {k}", "Sex": sex}


@pytest.fixture(scope="module")
def asked_of_ferns(tmp_path_factory, kennel_class, kennel_of_four):
    """Headings that are asked about, by dog, once births and deaths are told."""
    made = kennel_class(tmp_path_factory.mktemp("ferns"))
    made.records.write_bytes(kennel_of_four.read_bytes())
    every = [(sheet, k) for sheet in OF_A_DAY for k in range(len(TOLD_LATER))]
    sheets = [
        made.write(sheet, [
            {name: fern(sheet, k)["Dog"] if cell == "Fern" else cell for name, cell in one.items()}
            for k in range(len(TOLD_LATER))
        ])
        for sheet, one in OF_A_DAY.items()
    ]  # fmt: skip
    made.load(made.write("dogs", [fern(*which) for which in every], "more/dogs.csv"), *sheets)
    later = [fern(sheet, k) | TOLD_LATER[k][0] for sheet, k in every]
    report = made.load(made.write("dogs", later, "more/dogs.csv"))
    findings = report.findings.query("rule.str.endswith('its records')")
    asked = {fern(*which)["Dog"]: [] for which in every}
    for line, heading in zip(findings["line"], findings["column_heading"], strict=True):
        asked[later[line - 2]["Dog"]].append(heading)
    return asked


@pytest.mark.parametrize(("k", "asked"), [(k, asked) for k, (_, asked) in enumerate(TOLD_LATER)])
@pytest.mark.parametrize("sheet", OF_A_DAY)
def test_a_birth_or_death_told_later_is_set_against_the_records(asked_of_ferns, sheet, k, asked):
    assert asked_of_ferns[fern(sheet, k)["Dog"]] == asked


def test_what_a_dead_dog_s_line_says_is_kept(kennel):
    kennel.load(kennel.write("dogs", [LIVED], "more/dogs.csv"))

    dogs = kennel.read("dogs").set_index("call_name")
    assert dogs.loc["Alder", "died_on"].date() == date(2024, 3, 5)
    assert dogs.loc["Bracken", "died_on"] is pd.NaT


def test_a_doubtful_collection_is_in_no_number_and_seen_by_the_cautions_at_once(kennel):
    zero = {"Date": "2024-03-09", "Concentration (M/mL)": "0"}
    report = kennel.load(kennel.collections({}, zero))

    assert report.sheets["collections"] == SheetCount(n_new=2, n_doubtful=1)
    assert report.n_doubtful == 1
    assert kennel.read("evaluations")["concentration_m_per_ml"].tolist() == [310]
    seen = kennel.read("evaluations_seen").sort_values("collected_earliest")
    assert seen["concentration_m_per_ml"].tolist() == [310, 0]
    assert seen["is_doubtful"].tolist() == [False, True]


def test_a_confirmed_doubt_counts_and_loading_again_does_not_ask_again(kennel):
    sheet = kennel.collections({}, FEW | {"Date": "2024-03-09"})
    kennel.load(sheet)
    assert kennel.load(sheet).sheets["collections"] == SheetCount(n_unchanged=2)
    assert len(kennel.read("evaluations")) == 1

    assert confirm(kennel) == Confirmed(n_closed=1, n_joined=0, n_waiting=0)

    assert sorted(kennel.read("evaluations")["concentration_m_per_ml"]) == [0.28, 310]
    assert not kennel.read("evaluations_seen")["is_doubtful"].any()
    assert kennel.load(sheet).findings.empty
    # A change elsewhere in the line leaves it confirmed, another count does not.
    changed = FEW | {"Date": "2024-03-09", "Notes": "counted twice"}
    assert kennel.load(kennel.collections({}, changed)).n_doubtful == 0
    assert len(kennel.read("evaluations")) == 2
    kennel.load(kennel.collections({}, changed | {"Concentration (M/mL)": "0.29"}))
    assert len(kennel.read("evaluations")) == 1


def test_a_line_with_two_doubts_waits_for_both(kennel):
    kennel.load(kennel.collections(FEW | {"Volume (mL)": "45"}))

    first = confirm(kennel, "few sperm that move well")
    assert first == Confirmed(n_closed=1, n_joined=0, n_waiting=1)
    assert kennel.read("evaluations").empty

    assert confirm(kennel).n_waiting == 0
    assert len(kennel.read("evaluations")) == 1


def test_a_corrected_doubt_is_closed_and_a_withdrawn_one_is_seen_by_nobody(kennel):
    kennel.load(kennel.collections(FEW, FEW | {"Date": "2024-03-09"}))
    kennel.load(kennel.collections(FEW | {"Concentration (M/mL)": "280"},
                                   FEW | {"Date": "2024-03-09"}))  # fmt: skip
    assert kennel.read("evaluations")["concentration_m_per_ml"].tolist() == [280]

    (number,) = kennel.read("findings").query("is_open")["finding_id"]
    with kennel.open() as store:
        store.withdraw([number], today=TODAY, reason=None)

    assert len(kennel.read("evaluations_seen")) == 1
    assert kennel.read("doubtful_entries").empty


def test_a_check_tells_the_doubt_and_changes_nothing(kennel):
    sheet = kennel.collections(FEW)
    before = kennel.records.read_bytes()

    report = kennel.load(sheet, check_only=True)

    assert report.n_doubtful == 1
    assert report.findings["severity"].tolist() == ["doubtful"]
    assert kennel.read("evaluations_seen").empty
    assert len(kennel.records.read_bytes()) == len(before)


def test_refused_lines_are_told_first_then_doubtful_ones_then_questions(kennel, tmp_path):
    kennel.load(kennel.collections(
        {"Date": "2024-03-01", "Centrifuged at (g)": "2500"}, FEW | {"Date": "2024-03-02"},
        {"Date": "2024-03-03", "Total motility (%)": "x", "Centrifuged at (g)": "2500"},
    ))  # fmt: skip
    findings = kennel.read("findings")

    text = "\n".join(waiting_lines(in_english(findings)))

    places = [text.index(f"{TITLES[severity]}: 1 line") for severity in TITLES]
    assert places == sorted(places)
    # Of a refused line nothing but the refusal is told.
    assert findings.query("line == 4")["severity"].tolist() == ["refused"]
    assert write_corrections(in_english(findings), tmp_path / "waiting.xlsx") == 3


def test_a_doubtful_line_corrected_in_the_workbook_counts(kennel, tmp_path):
    kennel.load(kennel.collections(FEW))
    path = tmp_path / "waiting.xlsx"
    write_corrections(in_english(kennel.read("findings")), path)
    book = openpyxl.load_workbook(path)
    page = book["Collections"]
    (place,) = [c.column for c in page[1] if c.value == "Concentration (M/mL)"]
    assert page.cell(2, place).font.bold
    page.cell(2, place).value = 280
    book.save(path)

    kennel.load(path)

    assert kennel.read("evaluations")["concentration_m_per_ml"].tolist() == [280]
    assert not kennel.read("findings")["is_open"].any()


def test_the_commands_say_what_a_doubt_is_and_what_became_of_it(kennel):
    sheet = kennel.collections(FEW)

    def run(*arguments):
        return CliRunner().invoke(app, [*arguments, "--store", str(kennel.records)])

    loaded = run("load", str(sheet), "--now", "2026-10-31")
    assert loaded.exit_code == 1
    assert "1 doubtful" in loaded.output
    assert "studcurve confirm NUMBER" in loaded.output
    (number,) = kennel.read("findings")["finding_id"]
    assert run("confirm", str(number)).output == "1 confirmed\n"
    assert run("load", str(sheet), "--now", "2026-10-31").exit_code == 0


def test_shipments_heats_and_stock_of_doubtful_lines_are_out_of_their_views_and_kept(kennel):
    kennel.load(
        kennel.write("shipments", [{"Stud": "Bracken", "Sent on": "2024-03-05", "Arrived on":
                                "2024-03-06", "Progressive motility on arrival (%)": "0.6"}]),
        kennel.write("frozen", [{"Stud": "Bracken", "Frozen on": "2017-03-05", "Lot": "A",
                                 "Straws": "4"}]),
        kennel.write("heats", [{"Bitch": "Senna", "First day": "2018-03-05",
                                "Progesterone 1 on": "2018-03-14", "Progesterone 1": "5",
                                "Progesterone 1 unit": "ng/mL"}]),
        kennel.write("prices", [{"What": "shipment", "Price": "1.250", "Currency": "EUR"},
                                {"What": "other", "Price": "3,50", "Currency": "EUR"}]),
    )  # fmt: skip

    for view in ("shipments", "evaluations", "frozen_lots", "straws_left", "cycles",
                 "progesterone"):  # fmt: skip
        assert kennel.read(view).empty, view
    assert kennel.read("prices")["what"].tolist() == ["other"]
    assert kennel.read("shipments_seen")["is_doubtful"].all()
    assert kennel.read("evaluations_seen")["progressive_motility_pct"].tolist() == [
        pytest.approx(0.6)
    ]

    confirm(kennel)

    for view in ("shipments", "evaluations", "frozen_lots", "cycles", "progesterone"):
        assert len(kennel.read(view)) == 1, view
    assert len(kennel.read("prices")) == 2


def test_a_doubtful_line_stands_once_for_each_dog_that_it_is_about(kennel):
    two = {"Volume (mL)": "45", "Concentration (M/mL)": "0"}
    late = {"Dog": "Tarn", "Date": "2017-03-05", "Kind": "examination", "What": "testes"}
    kennel.load(kennel.collections(two), kennel.write("health", [late]),
                kennel.write("breedings", [mated(0), mated(1)]))  # fmt: skip

    lines = kennel.read("doubtful_lines")

    assert not lines.duplicated(["entry_id", "dog_id"]).any()
    assert sorted(zip(lines["sheet"], lines["dog"], strict=True)) == [
        ("breedings", "Bracken"), ("breedings", "Senna"), ("collections", "Bracken"),
        ("health", "Tarn"),
    ]  # fmt: skip
    assert len(kennel.read("doubtful_entries")) == 3


PUPS = {"Result": "whelped", "Whelped on": "2024-05-13"}


WHELPINGS = [
    ({"Born alive": "0", "Stillborn": "0"}, True),
    ({"Born alive": "0", "Stillborn": ""}, True),
    ({"Born alive": "0", "Stillborn": "1"}, False),
    ({"Born alive": "1", "Stillborn": "0"}, False),
    ({"Born alive": "", "Stillborn": "0"}, False),
    ({"Born alive": "0", "Stillborn": "0", "Result": "lost", "Whelped on": ""}, False),
    ({"Born alive": "0", "Stillborn": "0", "Result": "missed", "Whelped on": ""}, False),
    ({"Born alive": "0", "Stillborn": "0", "Result": "", "Whelped on": ""}, True),
]


@pytest.fixture(scope="module")
def whelped(tmp_path_factory, kennel_class, kennel_of_four):
    """A kennel with a bitch of its own for each of these litters."""
    made = kennel_class(tmp_path_factory.mktemp("whelped"))
    made.records.write_bytes(kennel_of_four.read_bytes())
    bitches = [{"Dog": f"Bitch {n}", "Sex": "female"} for n in range(len(WHELPINGS))]
    lines = [
        BRED | PUPS | {"Bitch": bitch["Dog"]} | cells
        for bitch, (cells, _) in zip(bitches, WHELPINGS, strict=True)
    ]
    made.load(made.write("dogs", bitches, "more/dogs.csv"), made.write("breedings", lines))
    views = ("findings", "breedings", "breedings_seen")
    return {view: made.read(view) for view in views}


@pytest.mark.parametrize(
    ("n", "is_doubtful"), [(n, is_so) for n, (_, is_so) in enumerate(WHELPINGS)]
)
def test_a_whelping_has_a_pup_alive_or_dead(whelped, n, is_doubtful):
    found = whelped["findings"].query("is_open and severity == 'doubtful' and line == @n + 2")

    assert found["rule"].tolist() == ["whelped without pups"] * is_doubtful
    for view, n_rows in (("breedings", 1 - is_doubtful), ("breedings_seen", 1)):
        assert (whelped[view]["bitch"] == f"Bitch {n}").sum() == n_rows


def mated(days, **cells):
    """The breeding so many days after the first one."""
    day = date(2024, 3, 12) + timedelta(days=days)
    return BRED | {"Date": day.isoformat()} | {k.replace("_", " "): v for k, v in cells.items()}


LITTER = {"Result": "whelped", "Whelped on": "2024-05-13", "Born alive": "6"}


@pytest.mark.parametrize(
    ("days", "is_doubtful"),
    [(1, True), (ONE_HEAT_DAYS, True), (ONE_HEAT_DAYS + 1, False), (-2, True)],
)
@pytest.mark.parametrize("loads", [1, 2])
def test_two_matings_of_one_heat_on_two_lines_are_asked_about_once(
    kennel, days, is_doubtful, loads
):
    lines = [mated(0), mated(days)]
    if loads == 1:
        kennel.load(kennel.write("breedings", lines))
    else:
        for n, one in enumerate(lines):
            kennel.load(kennel.write("breedings", [one], f"{n}/breedings_{n}.csv"))

    assert [rule for rule, _ in doubts(kennel)] == [SAME_HEAT] * is_doubtful
    assert len(kennel.read("breedings")) == 2 - is_doubtful
    if is_doubtful:
        # Of one load the later mating is doubted, else the line that came later.
        counted = kennel.read("breedings")["bred_earliest"].dt.date.tolist()
        assert counted == [date(2024, 3, 12) + timedelta(days=min(0, days) if loads == 1 else 0)]


def test_another_stud_or_bitch_is_no_second_mating(kennel):
    kennel.load(kennel.write("breedings", [
        mated(0), mated(2, Stud="Tarn"), mated(2, Bitch="Sage"),
    ]))  # fmt: skip

    assert doubts(kennel) == []


@pytest.mark.parametrize("on", [0, 1])
def test_confirming_joins_two_lines_into_one_breeding_with_two_matings(kennel, on):
    lines = [mated(0), mated(2, Time="10:00")]
    lines[on] |= LITTER | {"Scan on": "2024-04-10", "Scan": "pregnant"}
    sheet = kennel.write("breedings", lines)
    kennel.load(kennel.write("heats", [{"Bitch": "Senna", "First day": "2024-03-01"}]), sheet)

    assert confirm(kennel) == Confirmed(n_closed=1, n_joined=1, n_waiting=0)

    (row,) = kennel.read("breedings").to_dict("records")
    assert (row["n_inseminations"], row["n_born_alive"], row["whelped"]) == (2, 6, True)
    assert row["pregnant"] == True  # noqa: E712
    assert row["bred_earliest"].date() == date(2024, 3, 12)
    made = kennel.read("inseminations")
    assert made["n_in_breeding"].tolist() == [1, 2]
    assert made["inseminated_earliest"].dt.strftime("%d %H").tolist() == ["12 00", "14 10"]
    assert made[["breeding_id", "cycle_id"]].drop_duplicates().shape == (1, 2)
    # Loading again asks nothing, and a later word about either line belongs to the one breeding.
    assert kennel.load(sheet).findings.empty
    lines[0] |= {"Notes": "calm"}
    lines[1] |= {"Notes": "calm too"}
    report = kennel.load(kennel.write("breedings", lines))
    assert (report.sheets["breedings"].n_changed, report.n_doubtful) == (2, 0)
    assert len(kennel.read("breedings")) == 1


def test_three_lines_of_one_heat_become_one_breeding(kennel):
    kennel.load(kennel.write("breedings", [mated(0), mated(2), mated(4)]))
    assert len(kennel.read("breedings")) == 1

    assert confirm(kennel).n_joined == 2

    assert kennel.read("breedings")["n_inseminations"].tolist() == [3]
    assert kennel.read("inseminations")["n_in_breeding"].tolist() == [1, 2, 3]


def test_a_mating_that_both_lines_name_is_one(kennel):
    first = mated(0) | {"Second date": "2024-03-14"}
    kennel.load(kennel.write("breedings", [first, mated(2, Time="10:00")]))

    confirm(kennel)

    assert kennel.read("breedings")["n_inseminations"].tolist() == [2]


def test_doubts_and_joins_come_through_an_export(kennel, tmp_path):
    kennel.load(kennel.write("breedings", [mated(0), mated(2)]))
    confirm(kennel)
    kennel.load(kennel.collections({}, FEW | {"Date": "2024-03-09"}))
    views = ("breedings", "inseminations", "evaluations", "evaluations_seen", "doubtful_lines")
    before = {view: kennel.read(view) for view in views}

    export(kennel.records, tmp_path / "export", in_english)
    restore(tmp_path / "export", kennel.records)

    for view in views:
        pd.testing.assert_frame_equal(kennel.read(view), before[view])
    assert before["breedings"]["n_inseminations"].tolist() == [2]
    assert len(before["doubtful_lines"]) == 1


def test_lines_of_different_outcomes_are_not_joined(kennel):
    kennel.load(kennel.write("breedings", [mated(0) | LITTER, mated(2, Result="missed")]))

    with pytest.raises(RecordsError, match="different outcomes"):
        confirm(kennel)

    assert len(kennel.read("breedings")) == 1
    assert doubts(kennel) == [(SAME_HEAT, "2024-03-14")]


def test_a_join_falls_when_a_line_is_moved_to_another_heat_or_withdrawn(kennel):
    kennel.load(kennel.write("breedings", [mated(0), mated(2)], "a/breedings.csv"))
    confirm(kennel)
    moved = mated(2) | {"Notes": "moved"}
    kennel.load(kennel.write("breedings", [mated(0), moved], "a/breedings.csv"))
    assert len(kennel.read("breedings")) == 1

    # The day is a line's identity, so it moves by the workbook of corrections or by withdrawing.
    with kennel.open() as store:
        entry = store._one("SELECT max(entry_id) FROM breeding")
        store._connection.execute(
            "UPDATE insemination SET inseminated = {'earliest': TIMESTAMP '2024-09-12', "
            "'latest': TIMESTAMP '2024-09-12 23:59:59', 'text': NULL} WHERE entry_id = ?", [entry]
        )  # fmt: skip
    assert len(kennel.read("breedings")) == 2


def test_the_rest_of_a_joined_breeding_stays_one_when_its_first_line_is_withdrawn(kennel):
    kennel.load(kennel.write("breedings", [mated(0), mated(2), mated(4)]))
    confirm(kennel)
    kennel.load(kennel.write("breedings", [mated(2), mated(4)]))  # the first is gone from its file
    (number,) = kennel.read("findings").query("is_open")["finding_id"]

    with kennel.open() as store:
        store.withdraw([number], today=TODAY, reason=None)
        assert store.broken_promises() == []

    assert kennel.read("breedings")["n_inseminations"].tolist() == [2]


@pytest.mark.parametrize("days", [25, 1])
def test_one_litter_on_two_lines_counts_once(kennel, days):
    late = date(2024, 3, 12) + timedelta(days=days)
    whelped = {"Whelped on": "2024-05-31"} | {"Result": "whelped", "Born alive": "6"}
    lines = [mated(0) | whelped, BRED | {"Date": late.isoformat()} | whelped]
    kennel.load(kennel.write("breedings", lines))

    assert [name for name, _ in doubts(kennel)] == [SAME_LITTER]
    assert kennel.read("breedings")["n_born_alive"].tolist() == [6]

    assert confirm(kennel, SAME_LITTER).n_joined == 1
    (row,) = kennel.read("breedings").to_dict("records")
    assert (row["n_inseminations"], row["n_born_alive"]) == (2, 6)


def test_litters_of_two_days_are_two(kennel):
    lines = [mated(0) | LITTER, mated(200) | LITTER | {"Whelped on": "2024-11-29"}]
    kennel.load(kennel.write("breedings", lines))

    assert doubts(kennel) == []
    assert len(kennel.read("breedings")) == 2


def test_pages_say_how_many_lines_they_leave_out_in_either_language(kennel, tmp_path):
    kennel.load(kennel.collections({}, FEW | {"Date": "2024-03-09"}),
                kennel.write("breedings", [mated(0), mated(2)]))  # fmt: skip
    read = pages_kennel.read_kennel(kennel.records, TODAY)
    (of_all,) = pages_kennel.left_out(read)
    (of_stud,) = pages_kennel.left_out(read, "Bracken")
    assert (of_all.values["n"], of_stud.values["n"]) == (2, 2)
    assert pages_kennel.left_out(read, "Tarn") == ()

    for language in ("en", "de"):
        words = Words(language)
        reader = Reader(words, "owner")
        pages = write_pages(
            kennel.records, tmp_path / language, today=TODAY, studs=["Bracken"], reader=reader,
            anonymous=False,
        )  # fmt: skip
        assert len(pages) == 4
        for page in pages:
            assert words.tell(of_all) in page.read_text(encoding="utf-8"), page


# What a dog is called by the wrong reason


def test_a_line_about_a_dog_whose_own_line_is_refused_says_so_and_comes_in_once_it_is_mended(
    kennel,
):
    dogs = [{"Dog": "Ilex", "Registered name": "Amber Ilex", "Sex": "female", "Born": "never"}]
    heats = kennel.write("heats", [
        {"Bitch": "Ilex", "First day": "2024-03-01"}, {"Bitch": "amber ilex", "First day":
         "2024-09-01"}, {"Bitch": "Nobody", "First day": "2024-03-01"},
    ])  # fmt: skip
    kennel.load(kennel.write("dogs", dogs, "more/dogs.csv"), heats)

    rules = kennel.read("findings").query("sheet == 'heats'")["rule"].tolist()
    assert rules == ["dog whose line is refused", "dog whose line is refused", "unknown dog"]

    kennel.load(kennel.write("dogs", [dogs[0] | {"Born": "2019-01-01"}], "more/dogs.csv"), heats)
    assert len(kennel.read("cycles")) == 2
    open_ones = kennel.read("findings").query("is_open and sheet == 'heats'")
    assert open_ones["rule"].tolist() == ["unknown dog"]


def test_what_is_said_of_a_refused_line_is_what_is_true_now(kennel):
    sheet = kennel.collections({"Dog": "Ilex"})
    kennel.load(sheet)
    assert kennel.read("findings").query("is_open")["rule"].tolist() == ["unknown dog"]

    kennel.load(kennel.write("dogs", [{"Dog": "Ilex", "Sex": "female"}], "more/dogs.csv"))
    report = kennel.load(sheet)

    assert report.findings["rule"].tolist() == ["wrong sex"]
    assert kennel.read("findings").query("is_open")["rule"].tolist() == ["wrong sex"]
    assert kennel.load(sheet).findings["rule"].tolist() == ["wrong sex"]


# Cells of a workbook


def workbook(path, *writes):
    """A workbook with a Collections sheet, a line of its own day for each thing written into one.

    What writes is given the page, a maker of styles and the number of its row.
    """
    with xlsxwriter.Workbook(str(path)) as book:
        page = book.add_worksheet("Collections")
        headings = ["Dog", "Date", "Volume (mL)", "Concentration (M/mL)",
                    "Progressive motility (%)",
                    "Notes"]  # fmt: skip
        page.write_row(0, 0, headings)
        for row, write in enumerate(writes, 1):
            on = date(2024, 3, 5) + timedelta(days=10 * (row - 1))
            page.write_row(row, 0, ["Bracken", on.isoformat(), 2.4, 310, 70, "plain"])
            write(page, lambda form: book.add_format({"num_format": form}), row)
    return path


def loaded_workbook(folder, kennel_class, kennel_of_four, *writes):
    """A kennel that has loaded such a workbook, and what the load reported."""
    made = kennel_class(folder)
    made.records.write_bytes(kennel_of_four.read_bytes())
    return made, made.load(workbook(folder / "k.xlsx", *writes))


FORMATS = ["0%", "0.00%", "0.0 %", "[Red]0%;-0%", '#,##0%" of all"', "0_)%"]


SHOWN_AS_PERCENT = [
    (form, kept, read)
    for form in FORMATS
    for kept, read in ((0.8, 80), (0.575, 57.5), (0.07, 7), (0, 0), (1, 100))
]


@pytest.fixture(scope="module")
def percentages(tmp_path_factory, kennel_class, kennel_of_four):
    """What was read of cells that are shown as percent, in their order."""
    writes = [
        lambda page, style, row, kept=kept, form=form: page.write_number(row, 4, kept, style(form))
        for form, kept, _ in SHOWN_AS_PERCENT
    ]
    folder = tmp_path_factory.mktemp("percent")
    made, report = loaded_workbook(folder, kennel_class, kennel_of_four, *writes)
    assert report.findings.empty
    rows = made.read("evaluations").sort_values("collected_earliest")
    return rows["progressive_motility_pct"].tolist()


@pytest.mark.parametrize(
    ("n", "read"),
    [pytest.param(n, read, id=f"{kept} as {form}")
     for n, (form, kept, read) in enumerate(SHOWN_AS_PERCENT)],
)  # fmt: skip
def test_a_cell_shown_as_percent_is_read_as_it_is_shown(percentages, n, read):
    assert len(percentages) == len(SHOWN_AS_PERCENT)
    assert percentages[n] == read


@pytest.mark.sampled
@pytest.mark.parametrize("form", ["0.0", "General", '0" % moving"', r"0.0\%", "[$%]0"])
def test_a_percent_sign_that_is_only_text_multiplies_nothing(kennel, tmp_path, form):
    path = workbook(
        tmp_path / "k.xlsx", lambda page, style, row: page.write_number(row, 4, 70, style(form))
    )

    kennel.load(path)

    assert kennel.read("evaluations")["progressive_motility_pct"].tolist() == [70]


def test_percent_where_none_is_wanted_is_refused_as_it_is_shown(kennel, tmp_path):
    path = workbook(
        tmp_path / "k.xlsx", lambda page, style, row: page.write_number(row, 2, 0.8, style("0%"))
    )

    report = kennel.load(path)

    assert report.findings[["rule", "text"]].values.tolist() == [["not a number", "80%"]]


def test_a_program_that_rewrites_a_percent_cell_changes_nothing(kennel, tmp_path):
    path = workbook(
        tmp_path / "k.xlsx", lambda page, style, row: page.write_number(row, 4, 0.8, style("0%"))
    )
    book = openpyxl.load_workbook(path)
    assert book["Collections"].cell(2, 5).number_format == "0%"
    book.save(path)

    kennel.load(path)

    assert kennel.read("evaluations")["progressive_motility_pct"].tolist() == [80]


def test_percent_text_has_no_error_of_the_machine():
    assert [percent_text(v) for v in (0.58, 0.29, 0.07, 1.0, 0.0625, 1e-3, 0)] == [
        "58", "29", "7", "100", "6.25", "0.1", "0",
    ]  # fmt: skip


ERRORS = ["#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!"]


IN_COLUMNS = [(4, "not a number"), (5, "an error of the spreadsheet"), (1, "not a date"),
              (0, "unknown dog")]  # fmt: skip
SHOWN = [(shown, *where) for shown in ERRORS for where in IN_COLUMNS]


@pytest.fixture(scope="module")
def found_of_errors(tmp_path_factory, kennel_class, kennel_of_four):
    """Rule and text of what is found of each line with an error."""
    writes = [
        lambda page, _, row, shown=shown, column=column: page.write_formula(
            row, column, "=1/0", None, shown
        )
        for shown, column, _ in SHOWN
    ]
    folder = tmp_path_factory.mktemp("errors")
    made, report = loaded_workbook(folder, kennel_class, kennel_of_four, *writes)
    assert made.read("evaluations_seen").empty
    found = [[] for _ in SHOWN]
    for row in report.findings.to_dict("records"):
        found[row["line"] - 2].append((row["rule"], row["text"]))
    return found


@pytest.mark.parametrize(
    ("n", "shown", "rule"),
    [pytest.param(n, shown, rule, id=f"{shown} {rule}")
     for n, (shown, _, rule) in enumerate(SHOWN)],
)  # fmt: skip
def test_an_error_is_refused_and_never_a_blank(found_of_errors, n, shown, rule):
    assert found_of_errors[n] == [(rule, shown)]


def test_a_formula_without_a_kept_value_is_refused_with_its_formula(kennel, tmp_path):
    path = workbook(tmp_path / "k.xlsx", lambda *_: None)
    book = openpyxl.load_workbook(path)
    book["Collections"]["E2"] = "=D2/4"
    book["Collections"]["F3"] = '=A2&"x"'  # a line of its own, beyond every value
    book.save(path)

    report = kennel.load(path)

    findings = report.findings[["line", "rule", "text"]].values.tolist()
    assert [2, "not a number", "=D2/4"] in findings
    assert [3, "a formula", '=A2&"x"'] in findings
    assert report.sheets["collections"].n_refused == 2


def test_a_formula_with_its_value_is_read_and_one_that_gives_no_text_is_blank(kennel, tmp_path):
    def write(page, _, row):
        page.write_formula(row, 4, "=35*2", None, 70)
        page.write_formula(row, 5, '=""', None, "")

    path = workbook(tmp_path / "k.xlsx", write)
    # xlsxwriter keeps no type for an empty text; spreadsheet programs do.
    with zipfile.ZipFile(path) as old:
        parts = {part: old.read(part) for part in old.namelist()}
    page = parts["xl/worksheets/sheet1.xml"]
    parts["xl/worksheets/sheet1.xml"] = page.replace(b'<c r="F2">', b'<c r="F2" t="str">')
    with zipfile.ZipFile(path, "w") as new:
        for part, content in parts.items():
            new.writestr(part, content)

    assert kennel.load(path).findings.empty
    assert kennel.read("evaluations")["progressive_motility_pct"].tolist() == [70]


def rewritten(path, part, *changes):
    """The same workbook with a part changed."""
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    for before, after in changes:
        assert before in parts[part]
        parts[part] = parts[part].replace(before, after)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, content in parts.items():
            new.writestr(name, content)
    return path


SHEET = "xl/worksheets/sheet1.xml"


def percent_book(path):
    return workbook(path, lambda page, style, row: page.write_number(row, 4, 0.8, style("0%")))


def test_cells_without_their_place_follow_the_one_before(kennel, tmp_path):
    path = percent_book(tmp_path / "k.xlsx")
    places = [(f' r="{column}2"'.encode(), b"") for column in "ABCDEF"]
    rewritten(path, SHEET, *places)

    kennel.load(path)

    assert kennel.read("evaluations")["progressive_motility_pct"].tolist() == [80]


@pytest.mark.parametrize(
    ("part", "change", "wanted"),
    [
        (SHEET, (b"<worksheet", b"<!DOCTYPE a [<!ENTITY b 'c'>]><worksheet"), "document type"),
        (SHEET, (b"</sheetData>", b"</sheetDate>"), "Save it again as XLSX"),
        (SHEET, (b'<c r="E2"', b'<c r ="&#90;&#90;&#90;&#90;9999999" t="e"'),
         "far from the others|cannot be read|not where it should be"),
        (SHEET, (b'<c r="E2"', b'<c r="2"'), "without a place|cannot be read|not where it should"),
        ("xl/_rels/workbook.xml.rels", (b"worksheets/sheet1.xml", b"worksheets/sheet7.xml"),
         "Save it again as XLSX"),
        ("[Content_Types].xml", (b"<Types", b"<Types"), None),
    ],
)  # fmt: skip
def test_a_workbook_that_contradicts_itself_is_a_sentence(tmp_path, kennel, part, change, wanted):
    path = percent_book(tmp_path / "k.xlsx")
    rewritten(path, part, change)

    if wanted is None:
        assert kennel.load(path).findings.empty
        return
    with pytest.raises(RecordsError, match=wanted):
        kennel.load(path)
