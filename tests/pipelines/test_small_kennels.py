"""Whatever a small kennel has left blank, every command answers or says in a sentence why not."""

import csv
import json
import os
import re
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from tests import small_kennels
from tests.in_english import in_english
from tests.small_kennels import BITCHES, STUDS, TODAY, lines_of, optional_columns, without

from studcurve.pipelines import cli
from studcurve.pipelines.records.sheets.columns import SHEETS

pytestmark = pytest.mark.usefixtures("files_are_read_once")

NOT_A_TEXT = re.compile(r"\bnan\b|\bNaT\b|<NA>|&lt;NA&gt;|\bNone\b(?! is called|</th>)")
"""What a missing value looks like that was printed."""

NOW, THEN = f"{TODAY} 12:00", "2026-06-02 11:00"
SAMPLE = ("3.1", "80", "--cells", "140", "--dilution", "1 + 19", "--extender", "egg yolk")


def commands(folder, language):
    """Every command that needs no fit, on one records file."""
    store = ("--store", folder / "kennel.duckdb")
    asked = (*store, "--now", TODAY)
    pages = (*asked, "--out", folder / "pages", "--language", language)
    yield ("due", *asked)
    yield ("due", *asked, "--json")
    yield ("corrections", *store)
    yield ("pages", *pages)
    yield ("outcomes", *pages)
    yield ("outcomes", STUDS[0], *pages)
    yield ("handout", STUDS[0], *pages)
    yield ("shipment-sheet", BITCHES[0], *pages)
    yield ("compare", STUDS[0], BITCHES[0], *pages)
    yield ("schedule", STUDS[0], *asked, "--language", language)
    yield ("ship", STUDS[0], *SAMPLE, "--now", NOW, "--inseminate", THEN, "--bitch",
           BITCHES[0], *store, "--out", folder / "pages")  # fmt: skip
    yield ("bench", "dose", *SAMPLE, "--stud", STUDS[0], *store)
    yield ("bench", "storage", "80", "--stud", STUDS[0], *store)
    yield ("bench", "card", *store, "--out", folder / "pages")


def write(folder, sheets):
    for sheet, lines in sheets.items():
        columns = SHEETS[sheet].columns
        with (folder / f"{sheet}.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, [column.heading for column in columns], restval="")
            writer.writeheader()
            for line in lines:
                writer.writerow({SHEETS[sheet].column(name).heading: text
                                 for name, text in line.items()})  # fmt: skip


def run(*arguments):
    with pytest.raises(SystemExit) as stop:
        cli.main([str(argument) for argument in arguments])
    return stop.value.code or 0


def every_command_answers(sheets, capsys, *, language="en"):
    """Load a kennel and ask it everything; exit code 3 is an error of the program."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        write(folder, sheets)
        store = folder / "kennel.duckdb"
        assert run("load", folder, "--store", store, "--now", TODAY) in (0, 1)
        capsys.readouterr()
        for command in commands(folder, language):
            code = run(*command)
            printed = capsys.readouterr()
            assert code in (0, 1), "\n".join([str(command), printed.err, *_reports(folder)])
            assert printed.out.strip() or code == 1
            # Where nothing is done, a sentence says why: an error, a stop, or what would be needed.
            assert code == 0 or (printed.err + printed.out).strip(), command
            assert not NOT_A_TEXT.search(printed.out + printed.err), command
            if "--json" in command and code == 0:
                json.loads(printed.out)
        for page in (folder / "pages").rglob("*.html"):
            shown = re.sub(r"<(script|style).*?</\1>", "", page.read_text("utf-8"), flags=re.DOTALL)
            assert not NOT_A_TEXT.search(shown), (page.name, NOT_A_TEXT.search(shown))


def _reports(folder):
    return [report.read_text("utf-8") for report in folder.glob("studcurve-error-*.txt")]


def whole(**how):
    return lines_of(STUDS[:1], BITCHES[:2], **how)


def blank(sheets, which):
    """The same kennel with some optional columns of every sheet left blank."""
    return {
        sheet: [without(line, which(optional_columns(sheet))) for line in lines]
        for sheet, lines in sheets.items()
    }


NOTHING_BLANK = whole()
ALL_BLANK = blank(NOTHING_BLANK, frozenset)
NEITHER_CLINIC_NOR_DAY_OF_COLLECTION = {
    sheet: [
        without(line, {"clinic", "collected_on"} if sheet == "shipments" else ()) for line in lines
    ]
    for sheet, lines in NOTHING_BLANK.items()
}
NO_DOGS = lines_of((), ())
NO_LINES = {sheet: [] for sheet in SHEETS}

EVERY_TIME = settings(
    max_examples=1, deadline=None, database=None, derandomize=True,
    suppress_health_check=list(HealthCheck),
)  # fmt: skip


@EVERY_TIME
@example(ALL_BLANK)
@given(small_kennels.kennels())
def test_every_command_answers_whatever_is_blank(capsys, sheets):
    every_command_answers(sheets, capsys)


@pytest.mark.slow
@settings(EVERY_TIME, max_examples=int(os.environ.get("SMALL_KENNELS", "8")))
@example(NOTHING_BLANK)
@example(NEITHER_CLINIC_NOR_DAY_OF_COLLECTION)
@example(NO_DOGS)
@example(NO_LINES)
@example(whole(outcomes=("whelped",)))
@example(whole(outcomes=("missed",), semen=("frozen",)))
@example(whole(outcomes=("",)))
@example(NOTHING_BLANK | {"heats": []})
@example(NOTHING_BLANK | {"shipments": []})
@example(lines_of(STUDS, ()))
@example(lines_of((), BITCHES))
@given(small_kennels.kennels())
def test_many_more_small_kennels_are_answered(capsys, sheets):
    every_command_answers(sheets, capsys, language="de")


@pytest.mark.slow
@pytest.mark.sampled
@pytest.mark.parametrize("n", range(max(len(optional_columns(sheet)) for sheet in SHEETS)))
def test_each_column_may_be_blank_alone(n, capsys):
    every_command_answers(blank(NOTHING_BLANK, lambda columns: set(columns[n : n + 1])), capsys)


@pytest.mark.slow
def test_a_fit_answers_where_everything_optional_is_blank(capsys, tmp_path):
    write(tmp_path, ALL_BLANK)
    store = ("--store", tmp_path / "kennel.duckdb")

    assert run("load", tmp_path, *store, "--now", TODAY) in (0, 1)
    assert run("fit", *store, "--seed", 1) in (0, 1), _reports(tmp_path)
    assert run("overview", *store, "--now", TODAY, "--out", tmp_path) == 0
    assert run("outcomes", *store, "--now", TODAY, "--out", tmp_path) == 0


def test_a_whole_kennel_is_let_in_so_that_there_is_something_to_leave_blank(kennel_class, tmp_path):
    write(tmp_path, NOTHING_BLANK)
    report = kennel_class(tmp_path).load(tmp_path, today=TODAY)

    n_lines = {sheet: len(lines) for sheet, lines in NOTHING_BLANK.items()}
    assert {sheet: count.n_new for sheet, count in report.sheets.items()} == n_lines, in_english(
        report.findings
    )["message"].tolist()
    assert report.n_refused == 0, in_english(report.findings)["message"].tolist()
