"""What waits for a person: told by what to do, corrected in a workbook, confirmed or withdrawn."""

import re
import shutil
from datetime import date, datetime

import numpy as np
import openpyxl
import pytest
from tests.in_english import in_english
from typer.testing import CliRunner

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.answers.waiting import TITLES, group_findings, waiting_lines
from studcurve.pipelines.cli import app
from studcurve.pipelines.records.archive import erase_from_file
from studcurve.pipelines.records.corrections import write_corrections
from studcurve.pipelines.records.database.history import Confirmed, Erased
from studcurve.pipelines.records.database.kept_fits import KeptFit
from studcurve.pipelines.records.database.schema import KEYS
from studcurve.pipelines.records.sheets.columns import ANSWER_HEADING, REMARK_HEADING
from studcurve.pipelines.records.sheets.rules import MOVED

pytestmark = pytest.mark.usefixtures("files_stay_open")

TODAY = date(2026, 10, 31)
BAD = {"Date": "2024-03-12", "Progressive motility (%)": "850"}
DOUBTFUL = {"Date": "2024-03-15", "Centrifuged at (g)": "2500"}


def corrected(kennel, changes, name="corrections.xlsx", drop=()):
    """Write the corrections workbook and correct cells in it: by sheet title, row and heading."""
    path = kennel.folder / name
    write_corrections(in_english(kennel.read("findings")), path)
    book = openpyxl.load_workbook(path)
    for (title, row, heading), value in changes.items():
        page = book[title]
        (place,) = [c.column for c in page[1] if str(c.value).removesuffix(" *") == heading]
        page.cell(row, place).value = value
    for title, row in drop:
        book[title].delete_rows(row)
    book.save(path)
    return path


def test_findings_are_grouped_by_what_to_do_refusals_first(kennel):
    kennel.load(kennel.collections(BAD, DOUBTFUL, {"Date": "2024-03-13", "Total motility (%)": "x"},
                                   {"Date": "2024-03-14", "Total motility (%)": "y"}))  # fmt: skip
    findings = in_english(kennel.read("findings"))

    groups = group_findings(findings)

    assert [group.severity for group in groups] == ["refused", "refused", "question"] or [
        group.severity for group in groups
    ] == ["refused", "refused", "refused", "question"]
    assert sum(len(group.findings) for group in groups) == len(findings)
    assert all(
        group.findings[["rule", "remedy"]].drop_duplicates().shape == (1, 2) for group in groups
    )
    text = "\n".join(waiting_lines(findings))
    titles = [f"{TITLES[severity]}: {n}" for severity, n in (("refused", 3), ("question", 1))]
    assert text.index(titles[0]) < text.index(titles[1])
    assert "Write a number (12.5, > 20, 70-80), or leave the cell blank. (2)" in text
    for number in findings["finding_id"]:
        assert f"{number}  collections.csv" in text


def test_nothing_waiting_is_said(kennel):
    assert list(waiting_lines(in_english(kennel.read("findings")))) == ["No line is waiting."]
    with pytest.raises(RecordsError, match="nothing to write"):
        write_corrections(kennel.read("findings"), kennel.folder / "x.xlsx")


def test_two_rules_that_advise_alike_are_two_groups_and_one_rule_is_one(kennel):
    kennel.load(kennel.collections({"Date": "2024-02-31"}, {"Date": "2024-03-32"},
                                   {"Dog": "Brakken"}, {"Dog": "Tran"}))  # fmt: skip
    findings = in_english(kennel.read("findings"))

    groups = group_findings(findings.assign(remedy="The same for all."))

    assert {(g.rule, len(g.findings)) for g in groups} == {("not a date", 2), ("unknown dog", 2)}


def test_the_records_file_keeps_no_text_of_a_finding(kennel):
    kennel.load(kennel.collections(BAD, DOUBTFUL))

    kept = kennel.read("findings")

    assert kept["message"].isna().all()
    assert kept["remedy"].isna().all()
    assert kept["rule_values"].notna().all()


def test_the_corrections_workbook_shows_the_line_and_marks_what_is_wrong(kennel):
    kennel.load(kennel.collections(BAD))

    page = openpyxl.load_workbook(corrected(kennel, {}))["Collections"]

    headings = [cell.value for cell in page[1]]
    assert (headings[0], headings[-1]) == (REMARK_HEADING, ANSWER_HEADING)
    row = dict(zip(headings, page[2], strict=True))
    assert "850" in row[REMARK_HEADING].value
    assert row["Progressive motility (%)"].value == "850"
    assert row["Progressive motility (%)"].font.bold
    assert not row["Volume (mL)"].font.bold
    assert row["Volume (mL)"].value == 2.4


def test_a_corrected_line_comes_in_and_closes_its_finding(kennel):
    kennel.load(kennel.collections({}, BAD))

    report = kennel.load(corrected(kennel, {("Collections", 2, "Progressive motility (%)"): 65}))

    assert report.sheets["collections"].n_new == 1
    assert not kennel.read("findings")["is_open"].any()
    assert sorted(kennel.read("evaluations")["progressive_motility_pct"]) == [65, 70]


def test_a_correction_of_the_day_itself_still_settles_its_line(kennel):
    kennel.load(kennel.collections({"Date": "2024-02-31"}, {"Date": "2024-03-15", **{
        "Centrifuged at (g)": "2500"}}))  # fmt: skip

    kennel.load(corrected(kennel, {
        ("Collections", 2, "Date"): "2024-02-29",  # a refused line: it was about no day
        ("Collections", 3, "Date"): "2024-03-16",  # a line that counts: it moves to another day
        ("Collections", 3, "Centrifuged at (g)"): "700",
    }))  # fmt: skip

    assert not kennel.read("findings")["is_open"].any()
    days = kennel.read("evaluations")["collected_earliest"].dt.strftime("%m-%d").tolist()
    assert sorted(days) == ["02-29", "03-16"]
    moved = kennel.lines("collections").query("collected_on in ['2024-03-15', '2024-03-16']")
    assert moved["state"].tolist() == ["superseded", "current"]
    assert len(set(moved["entry_id"])) == 1


def test_a_corrected_line_is_not_taken_again_from_its_old_sheet(kennel):
    sheet = kennel.collections({}, BAD, DOUBTFUL)
    kennel.load(sheet)
    kennel.load(corrected(kennel, {("Collections", 2, "Progressive motility (%)"): 65,
                                   ("Collections", 3, "Centrifuged at (g)"): 700}))  # fmt: skip
    with kennel.open(read_only=True) as store:
        before = store.fingerprint()

    report = kennel.load(sheet)

    assert report.findings.empty
    assert report.sheets["collections"].n_unchanged == 3
    with kennel.open(read_only=True) as store:
        assert store.fingerprint() == before


def test_of_two_versions_of_a_line_the_one_that_is_kept_settles_both(kennel):
    sheet = kennel.collections({}, {"Total motility (%)": "60", "Progressive motility (%)": "50"})
    kennel.load(sheet)

    kennel.load(corrected(kennel, {}, drop=[("Collections", 3)]))

    assert kennel.read("evaluations")["progressive_motility_pct"].tolist() == [70]
    assert not kennel.read("findings")["is_open"].any()
    assert kennel.load(sheet).findings.empty


def test_a_workbook_loaded_without_a_correction_changes_nothing(kennel):
    kennel.load(kennel.collections(BAD, DOUBTFUL))
    before = kennel.read("findings")

    report = kennel.load(corrected(kennel, {}))

    assert report.sheets["collections"].n_new == report.sheets["collections"].n_changed == 0
    assert kennel.read("findings").equals(before)


def test_a_workbook_of_another_kennel_corrects_nothing_here(kennel, kennel_class, tmp_path):
    kennel.load(kennel.collections({"Date": "2024-02-31"}))
    other = kennel_class(tmp_path / "other")
    other.folder.mkdir()
    with other.open() as store:
        store.load([other.write("dogs", [{"Dog": "Tarn", "Sex": "male"}])], today=TODAY)
    other.load(other.collections({"Dog": "Tarn", "Date": "2024-02-30"}))

    kennel.load(corrected(other, {("Collections", 2, "Date"): "2024-02-28"}))

    assert kennel.read("findings").query("severity == 'refused'")["is_open"].all()
    assert kennel.read("evaluations")["stud"].tolist() == ["Tarn"]


def test_a_confirmed_doubt_is_closed_and_stays_closed(kennel):
    sheet = kennel.collections(DOUBTFUL)
    kennel.load(sheet)
    (number,) = kennel.read("findings")["finding_id"]

    with kennel.open() as store:
        done = store.confirm([number], today=TODAY, reason="the old rotor")
    assert done == Confirmed(n_closed=1, n_joined=0, n_waiting=0)
    report = kennel.load(sheet)

    assert report.findings.empty
    assert kennel.read("findings")["closed_by"].tolist() == ["confirmed"]
    assert len(kennel.read("evaluations")) == 1
    with kennel.open(read_only=True) as store:
        assert store._rows("SELECT decision, reason FROM decision") == [
            ("confirmed", "the old rotor"),
        ]


def test_what_cannot_be_true_cannot_be_confirmed(kennel):
    kennel.load(kennel.collections(BAD, DOUBTFUL))
    numbers = kennel.read("findings")["finding_id"].tolist()

    with kennel.open() as store, pytest.raises(RecordsError, match="cannot be true"):
        store.confirm(numbers, today=TODAY, reason=None)

    assert kennel.read("findings")["is_open"].all()


@pytest.mark.parametrize("way", ["confirm", "withdraw"])
def test_a_finding_that_is_not_open_is_said_so(kennel, way):
    kennel.load(kennel.collections(DOUBTFUL))
    (number,) = kennel.read("findings")["finding_id"]

    with kennel.open() as store:
        with pytest.raises(RecordsError, match="Finding 99 is not known"):
            getattr(store, way)([99], today=TODAY, reason=None)
        getattr(store, way)([number], today=TODAY, reason=None)
        with pytest.raises(RecordsError, match="was closed already"):
            getattr(store, way)([number], today=TODAY, reason=None)


def test_a_withdrawn_line_no_longer_counts_and_does_not_come_back(kennel):
    both = [{}, {"Date": "2024-03-09"}]
    sheet = kennel.collections(*both)
    kennel.load(sheet)
    kennel.load(kennel.collections(both[0]))  # the second is gone from its file
    (number,) = kennel.read("findings").query("is_open")["finding_id"]

    with kennel.open() as store:
        store.withdraw([number], today=TODAY, reason="another dog's")
        assert store.broken_promises() == []
    kennel.load(kennel.collections(*both))

    assert len(kennel.read("evaluations")) == 1
    assert kennel.lines("collections")["state"].tolist() == ["current", "withdrawn"]
    kennel.load(kennel.collections(both[0], both[1] | {"Notes": "his after all"}))
    assert len(kennel.read("evaluations")) == 2


def test_a_dog_that_others_are_about_is_not_withdrawn(kennel):
    kennel.load(kennel.write("dogs", [{"Dog": "Elm", "Sex": "male", "Inbreeding (%)": "0.12"}],
                             "more/dogs.csv"))  # fmt: skip
    kennel.load(kennel.collections({"Dog": "Elm"}))
    number = kennel.read("findings").query("rule == 'inbreeding as a fraction'")["finding_id"]

    with kennel.open() as store, pytest.raises(RecordsError, match="This dog has 1 record"):
        store.withdraw(number.tolist(), today=TODAY, reason=None)

    assert "Elm" in kennel.read("dogs")["call_name"].tolist()


ERASED = "Ingrid Holm"


@pytest.fixture(scope="module")
def records_with_ingrid(tmp_path_factory, kennel_class, kennel_of_four):
    kennel = kennel_class(tmp_path_factory.mktemp("ingrid"))
    shutil.copyfile(kennel_of_four, kennel.records)
    sheet = kennel.collections({"Evaluator": "ingrid holm", "Notes": "asked Ingrid  Holm; ok"},
                               {"Date": "2024-03-09", "Notes": "Ingrid Holmqvist was there"},
                               {"Date": "2024-03-10", "Evaluator": ERASED,
                                "Total motility (%)": "x"},
                               )  # fmt: skip
    kennel.load(sheet, kennel.write("dogs", [
        {"Dog": "Elm", "Sex": "male", "Owner": ERASED}], "more/dogs.csv"),
        kennel.write("shipments", [{"Stud": "Bracken", "Sent on": "2024-03-05", "Clinic": ERASED}]),
    )  # fmt: skip
    kennel.load(kennel.collections({"Evaluator": "Per", "Notes": "asked Ingrid Holm"},
                                   {"Date": "2024-03-09", "Notes": "Ingrid Holmqvist was there"},
                                   {"Date": "2024-03-10", "Evaluator": ERASED,
                                    "Total motility (%)": "x"},
                                   ))  # fmt: skip
    return kennel.records


@pytest.fixture
def kennel_with_ingrid(kennel, records_with_ingrid):
    shutil.copyfile(records_with_ingrid, kennel.records)
    return kennel


def test_an_erased_person_is_named_nowhere_in_the_file(kennel_with_ingrid):
    kennel = kennel_with_ingrid

    erased = erase_from_file(kennel.records, ERASED, today=TODAY, reason="asked by mail")

    assert erased == Erased(n_lines=5, n_cells=6, n_forecasts=0, models=())
    with kennel.open(read_only=True) as store:
        assert store.broken_promises() == []
        for table in KEYS:
            for row in store._rows(f"SELECT * FROM {table}"):
                text = str(row).replace("Ingrid Holmqvist", "")
                assert not re.search(r"(?i)ingrid\s+holm", text), (table, row)
        stones = store._rows("SELECT erased_on, reason, n_erased FROM tombstone ORDER BY line_id")
    assert sorted(n for _, _, n in stones) == [1, 1, 1, 1, 2]
    assert {(on, why) for on, why, _ in stones} == {(TODAY, "asked by mail")}
    lines = kennel.lines("collections")
    assert lines["evaluator"].tolist()[0] == "(erased 1)"
    assert lines["notes"].tolist()[:2] == ["asked (erased 1); ok", "Ingrid Holmqvist was there"]
    content = kennel.records.read_bytes().replace(b"Ingrid Holmqvist", b"")
    assert b"ingrid holm" not in content.lower()


def test_a_finding_that_names_another_line_s_file_does_not_keep_the_name_in_it(kennel):
    older = [{"Date": f"2024-01-{day:02}"} for day in range(2, 8)]
    kennel.load(kennel.collections(*older, {"Date": "2024-03-05", "Evaluator": "Holm"},
                                   name="Holm.csv"))  # fmt: skip
    kennel.load(kennel.collections(*older, {"Date": "2024-03-03", "Evaluator": "Per"},
                                   name="Holm.csv"))  # fmt: skip
    kennel.load(kennel.collections({"Date": "2024-02-06", "Evaluator": "Holm"}, name="other.csv"))
    before = in_english(kennel.read("findings")).query(f"rule == {MOVED!r}")
    assert before["sentence"].str.contains("Holm.csv, line 8").all()
    assert len(before) == 1

    erase_from_file(kennel.records, "Holm", today=TODAY, reason="asked")

    after = in_english(kennel.read("findings")).query(f"rule == {MOVED!r}")
    assert after["message"].str.contains("(erased 1).csv, line 8", regex=False).all()
    assert not after["sentence"].str.contains("Holm").any()


def test_a_dog_that_bears_the_name_keeps_it(kennel):
    kennel.load(kennel.write("dogs", [{"Dog": "Holm", "Sex": "male", "Owner": "Holm"}],
                             "more/dogs.csv"))  # fmt: skip

    erased = erase_from_file(kennel.records, "holm", today=TODAY, reason="asked")
    assert (erased.n_lines, erased.n_cells) == (1, 1)

    dog = kennel.read("dogs").iloc[-1]
    assert (dog["call_name"], dog["owner"]) == ("Holm", "(erased 1)")


def test_a_kept_fit_that_names_an_erased_person_goes_with_the_name(kennel_with_ingrid):
    kennel = kennel_with_ingrid
    plain = {
        "fitted_at": datetime(2026, 10, 31), "seed": 1, "data_fingerprint": "d",
        "model_fingerprint": "m", "priors_fingerprint": "p", "versions": {}, "diagnostics": {},
        "seconds": 1.0, "draws": {"clinic": np.zeros((3, 2))},
    }  # fmt: skip
    with kennel.open() as store:
        store.save_fit(KeptFit("storage", **plain, labels={"clinic": ("Käthe", "Ingrid Holm")}))
        store.save_fit(KeptFit("litter", **plain, labels={"clinic": ("Ingrid Holmqvist", "Per")}))

    shown = CliRunner().invoke(app, [
        "erase", ERASED, "--reason", "asked", "--store", str(kennel.records),
    ])  # fmt: skip

    assert shown.exit_code == 0
    assert "The model of storage held the name and is gone" in shown.output
    with kennel.open(read_only=True) as store:
        assert store.read_fit("storage") is None
        assert store.read_fit("litter") is not None
        assert store.broken_promises() == []


def test_after_an_erasure_loads_still_find_their_lines(kennel_with_ingrid):
    kennel = kennel_with_ingrid
    erase_from_file(kennel.records, ERASED, today=TODAY, reason="asked")

    report = kennel.load(kennel.write("shipments", [
        {"Stud": "Bracken", "Sent on": "2024-03-05", "Clinic": "(erased 1)", "Doses": "2"},
    ]))  # fmt: skip

    assert report.sheets["shipments"].n_changed == 1


def test_erasing_a_name_that_is_nowhere_is_a_sentence(kennel):
    before = kennel.records.read_bytes()

    with pytest.raises(RecordsError, match="No cell that may name"):
        erase_from_file(kennel.records, "Nobody", today=TODAY, reason="asked")

    assert kennel.records.read_bytes() == before
