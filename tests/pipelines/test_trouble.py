"""What goes wrong leaves a sentence, an exit code and the records as they were."""

import hashlib
import re
import tempfile
from datetime import date
from pathlib import Path

import pytest

from studcurve.pipelines import cli, run
from studcurve.pipelines.commands import trouble
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.database.whole_file import last_day
from studcurve.pipelines.run import DEMO, DEMO_TODAY

DEFECT = "Rowan of Mrs. Holm"
"""What the message of an error may quote."""


def ask(*arguments, capsys):
    with pytest.raises(SystemExit) as stop:
        cli.main([str(argument) for argument in arguments])
    printed = capsys.readouterr()
    return stop.value.code or 0, printed.out, printed.err


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.fixture
def defect(monkeypatch):
    """A defect of the program on the way to what is due."""

    def fails(*_, **__):
        try:
            raise KeyError(DEFECT)
        except KeyError as why:
            raise TypeError(f"{DEFECT} is no number") from why

    monkeypatch.setattr("studcurve.pipelines.due.due_items", fails)


@pytest.mark.usefixtures("defect")
def test_an_error_of_the_program_names_a_file_to_send_and_leaves_the_records(kennel, capsys):
    before = digest(kennel.records)
    code, out, err = ask("due", "--store", kennel.records, capsys=capsys)
    (report,) = kennel.folder.glob("studcurve-error-*.txt")
    text = report.read_text(encoding="utf-8")

    assert code == 3
    assert (out, err.splitlines()[-1]) == ("", str(report))
    assert "Traceback" not in err
    assert digest(kennel.records) == before
    assert "command: studcurve due\n" in text
    assert "builtins.KeyError" in text
    assert "builtins.TypeError" in text
    assert re.search(r"^  pipelines/commands/records\.py:\d+ in due$", text, re.MULTILINE)


@pytest.mark.usefixtures("defect")
def test_the_file_to_send_names_nobody_and_no_place_unless_asked(kennel, capsys, monkeypatch):
    def reported():
        ask("due", "--store", kennel.records, "--now", "2026-10-31", capsys=capsys)
        (report,) = kennel.folder.glob("studcurve-error-*.txt")
        text = report.read_text(encoding="utf-8")
        report.unlink()
        return text

    secrets = (DEFECT, str(kennel.folder), str(trouble.HOME), "2026-10-31")
    assert [secret for secret in secrets if secret in reported()] == []

    monkeypatch.setenv(trouble.DETAIL, "1")
    assert [secret for secret in secrets if secret not in reported()] == []


@pytest.mark.usefixtures("defect")
def test_where_the_folder_takes_no_file_it_goes_to_the_temporary_ones(
    kennel, capsys, monkeypatch, tmp_path_factory
):
    elsewhere = tmp_path_factory.mktemp("temporary")
    monkeypatch.setattr(tempfile, "tempdir", str(elsewhere))
    named = tempfile.NamedTemporaryFile

    def refuses(*args, dir, **kwargs):
        if Path(dir) == kennel.folder:
            raise PermissionError(13, "Permission denied", str(dir))
        return named(*args, dir=dir, **kwargs)

    monkeypatch.setattr(tempfile, "NamedTemporaryFile", refuses)
    code, _, err = ask("due", f"--store={kennel.records}", capsys=capsys)

    assert code == 3
    assert Path(err.splitlines()[-1]).parent == elsewhere


@pytest.mark.parametrize(
    ("named", "arguments"),
    [
        ("studcurve", []),
        ("studcurve due", ["due", "--store", "x"]),
        ("studcurve bench ovulation", ["bench", "ovulation", "2026-03-08=1.0"]),
        ("studcurve bench", ["bench", "Rowan"]),
        ("studcurve", ["Rowan"]),
    ],
)
def test_a_command_is_named_without_its_arguments(named, arguments):
    assert cli._command_named(arguments) == named


def test_what_a_folder_refuses_is_a_sentence_for_a_person(kennel, capsys):
    code, _, err = ask("bench", "card", "--out", kennel.records / "in a file", capsys=capsys)

    assert code in (1, 2)
    assert "studcurve itself" not in err
    assert not list(kennel.folder.glob("studcurve-error-*"))


@pytest.mark.sampled
@pytest.mark.parametrize(
    "command",
    [("load", "nothing.csv"), ("load", "nothing.csv", "--check"), ("load", "broken.xlsx"),
     ("load", DEMO / "typing_errors", "--check"), ("load", DEMO / "records", "--check"), ("fit",),
     ("confirm", "1"), ("withdraw", "1"), ("erase", "Holm", "--reason", "asked"), ("due",),
     ("corrections",), ("overview",), ("outcomes",), ("backup", "copy.duckdb"), ("export", "out")],
)  # fmt: skip
def test_work_that_fails_or_only_checks_makes_no_records_file(
    command, tmp_path, capsys, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "broken.xlsx").write_bytes(b"PK no workbook")
    code, _, err = ask(*command, capsys=capsys)

    is_sound = command == ("load", DEMO / "records", "--check")
    assert code == (0 if is_sound else 1), err
    assert is_sound or err.strip()
    assert [path.name for path in tmp_path.iterdir()] == ["broken.xlsx"]


def test_a_check_leaves_the_bytes_of_the_records_file_as_they_are(kennel, capsys):
    sheet = kennel.collections({})
    before, others = digest(kennel.records), set(kennel.folder.iterdir())
    code, out, _ = ask("load", sheet, "--check", "--store", kennel.records, capsys=capsys)

    assert code == 0
    assert "collections: 1 new" in out
    assert digest(kennel.records) == before
    assert set(kennel.folder.iterdir()) == others


def test_a_load_that_fails_leaves_an_older_records_file(kennel, capsys):
    before = digest(kennel.records)

    assert ask("load", "nothing.csv", "--store", kennel.records, capsys=capsys)[0] == 1
    assert digest(kennel.records) == before


@pytest.mark.sampled
@pytest.mark.parametrize("command", ["due", "overview", "outcomes", "review"])
def test_records_without_a_line_say_that_they_are_empty(command, kennel_class, tmp_path, capsys):
    kennel = kennel_class(tmp_path)
    with kennel.open():
        pass
    code, out, err = ask(command, "--store", kennel.records, capsys=capsys)
    assert code == 1
    assert not out
    assert "are empty" in " ".join(err.split())
    assert "template" in err

    kennel.load(kennel.write("dogs", [{"Dog": "Rowan", "Sex": "stallion"}]))
    code, _, err = ask(command, "--store", kennel.records, capsys=capsys)
    assert code == 1
    assert "1 rejected" in " ".join(err.split())


@pytest.mark.parametrize(
    "arguments",
    [("whelping", "--mated", "1949-12-31"), ("whelping", "--mated", "2200-01-01"),
     ("dose", "inf", "80"), ("dose", "nan", "80"), ("extend", "3", "--ratio", "nan"),
     ("extend", "3", "--ratio", "inf"), ("dose", "3", "80", "--seed", str(2**32))],
)  # fmt: skip
def test_what_no_sample_and_no_calendar_holds_is_wrong_usage(arguments, capsys):
    assert ask("bench", *arguments, capsys=capsys)[0] == 2


@pytest.mark.parametrize(
    "arguments",
    [("whelping", "--mated", "1950-01-01"), ("whelping", "--mated", "2199-12-31"),
     ("lookback", "--collected", "2199-12-31"), ("ovulation", "1950-01-01=1.0"),
     ("ovulation", "2199-12-31=1.0"), ("dose", "3", "80", "--seed", str(2**32 - 1)),
     ("ovulation", "2026-03-08=1.0", "--first-day", "2026-03-01")],
)  # fmt: skip
def test_the_first_and_the_last_of_what_is_taken_are_answered(arguments, capsys):
    code, out, _ = ask("bench", *arguments, capsys=capsys)

    assert code == 0
    assert out.strip()


@pytest.mark.parametrize("reading", ["1949-12-31=1.0", "2200-01-01=1.0", "0001-01-01=1.0"])
def test_a_reading_of_no_living_bitch_is_a_sentence(reading, capsys):
    assert ask("bench", "ovulation", reading, capsys=capsys)[0] == 1


@pytest.mark.parametrize("counted", ["nan", "inf", "12,nan", "-1", "x"])
def test_a_count_is_a_number(counted, capsys):
    assert ask("bench", "concentration", counted, capsys=capsys)[0] == 2


# Records that end


def test_the_demo_keeps_its_own_day_in_its_file(tmp_path, monkeypatch):
    monkeypatch.setattr(run, "fit_records", lambda *_, **__: [])
    monkeypatch.setattr(run, "write_every_page", lambda *_, **__: tmp_path / "index.html")
    run.run_demo(tmp_path, seed=1, say=lambda sentence: None)

    assert last_day(tmp_path / "ambertarn.duckdb") == DEMO_TODAY


def test_records_that_end_are_read_on_their_last_day_which_is_said_and_can_be_overridden(
    kennel, capsys
):
    kennel.load(kennel.write("heats", [{"Bitch": "Senna", "First day": "2026-10-25"}]))
    assert last_day(kennel.records) is None
    later = ask("due", "--store", kennel.records, "--now", "2027-10-30", capsys=capsys)
    with kennel.open() as store:
        store.end_on(date(2026, 10, 30))

    code, out, err = ask("due", "--store", kennel.records, capsys=capsys)
    assert (code, err.count("\n"), "2026-10-30" in err) == (0, 1, True)
    assert "Senna" in out
    answer = ask("due", "--store", kennel.records, "--now", "2026-10-30", capsys=capsys)
    assert answer == (0, out, "")
    assert ask("due", "--store", kennel.records, "--now", "2027-10-30", capsys=capsys) == later


def test_a_file_of_an_older_schema_goes_on(kennel):
    with Store.open(kennel.records) as store:
        store._connection.execute("DROP TABLE file_day")

    assert last_day(kennel.records) is None
    assert last_day(kennel.folder / "none.duckdb") is None


def test_the_last_day_of_records_outlives_an_export_and_a_backup(kennel, tmp_path, capsys):
    with kennel.open() as store:
        store.end_on(date(2026, 10, 30))
    for command, made in (("export", "out"), ("backup", "copy.duckdb")):
        to = tmp_path / made
        again = tmp_path / f"again-{command}.duckdb"
        assert ask(command, to, "--store", kennel.records, capsys=capsys)[0] == 0
        assert ask("restore", to, "--store", again, capsys=capsys)[0] == 0
        assert last_day(again) == date(2026, 10, 30)
