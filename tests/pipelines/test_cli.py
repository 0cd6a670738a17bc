"""The terminal: clear sentences, right exit codes, nothing lost."""

import json
import shutil
import subprocess
import sys

import pytest

from studcurve.pipelines.cli import main
from studcurve.pipelines.run import DEMO
from studcurve.reports.words import Words

pytestmark = pytest.mark.usefixtures("files_are_read_once")


def run(*arguments, capsys):
    with pytest.raises(SystemExit) as stop:
        main([str(argument) for argument in arguments])
    printed = capsys.readouterr()
    return stop.value.code or 0, printed.out, printed.err


@pytest.fixture(scope="module")
def demo_path(tmp_path_factory):
    """The demo's records as the command loads them."""
    path = tmp_path_factory.mktemp("loaded") / "kennel.duckdb"
    with pytest.raises(SystemExit) as stop:
        main(["load", str(DEMO / "records"), "--store", str(path), "--now", "2026-10-31"])
    assert not stop.value.code
    return path


@pytest.fixture
def store_path(tmp_path, demo_path):
    return shutil.copyfile(demo_path, tmp_path / "kennel.duckdb")


def test_the_file_of_errors_exits_1_and_loads_the_good_lines(store_path, capsys):
    code, out, err = run(
        "load", DEMO / "typing_errors", "--store", store_path, "--now", "2026-10-31",
        capsys=capsys,
    )  # fmt: skip

    assert code == 1
    assert "collections: 12 new, 0 changed, 0 unchanged, 12 refused" in out
    assert 'collections.csv, line 3: Progressive motility (%) is "850"' in out
    assert "studcurve corrections" in err


def test_corrections_lists_what_waits_as_text_and_for_machines(store_path, capsys):
    run("load", DEMO / "typing_errors", "--store", store_path, "--now", "2026-10-31",
        capsys=capsys)  # fmt: skip

    code, out, _ = run("corrections", "--store", store_path, capsys=capsys)
    assert code == 0
    assert 'Dog is "Brakken"' in out

    _, out, _ = run("corrections", "--store", store_path, "--json", capsys=capsys)
    findings = json.loads(out)
    assert {"file", "line", "message", "remedy", "severity", "cells"} <= set(findings[0])
    assert sum(finding["severity"] == "refused" for finding in findings) == 14


def test_a_missing_records_file_is_a_sentence_and_exit_1(tmp_path, capsys):
    code, _, err = run("review", "--store", tmp_path / "none.duckdb", capsys=capsys)

    assert code == 1
    assert "There is no records file" in err


def test_an_unknown_stud_is_a_sentence_with_the_known_ones(demo_path, tmp_path, capsys):
    code, _, err = run("review", "Brakken", "--store", demo_path, "--out", tmp_path / "p",
                       capsys=capsys)  # fmt: skip

    assert code == 1
    assert "'Brakken'" in err
    assert "Bracken" in err


def test_a_review_without_a_fit_has_records_and_says_so(demo_path, tmp_path, capsys):
    code, out, _ = run(
        "review", "tarn", "--store", demo_path, "--out", tmp_path / "pages", "--now",
        "2026-10-31", capsys=capsys,
    )  # fmt: skip

    page = (tmp_path / "pages" / "stud-tarn.html").read_text(encoding="utf-8")
    assert code == 0
    assert "wrote" in out
    assert Words("en")["page.no_fit"] in page
    assert "Chance of a litter by semen type" not in page


def test_pages_lead_from_the_index_to_all_and_a_review_leaves_the_index_alone(kennel, capsys):
    kennel.load(kennel.write("breedings", [{"Bitch": "Senna", "Stud": "Tarn", "Date": "2026-10-20",
                                            "Semen": "fresh", "Route": "vaginal"}]))  # fmt: skip
    out = kennel.folder / "pages"
    where = ("--store", kennel.records, "--out", out, "--now", "2026-10-31")
    assert run("review", "Tarn", *where, capsys=capsys)[0] == 0
    assert {page.name for page in out.iterdir()} == {"stud-tarn.html"}

    assert run("pages", *where, capsys=capsys)[0] == 0
    index = (out / "index.html").read_text(encoding="utf-8")
    written = {page.name for page in out.iterdir()} - {"index.html"}
    assert {"overview.html", "stud-tarn.html"} <= written
    assert all(f'href="{name}"' in index for name in written)


def test_wrong_usage_is_exit_2(capsys):
    assert run("load", "--dates", "sideways", "x", capsys=capsys)[0] == 2


def test_control_characters_of_a_cell_are_shown_and_not_obeyed(tmp_path, capsys):
    sheet = tmp_path / "dogs.csv"
    sheet.write_text("Dog,Sex\nRowan,\x1b[31mred\n", encoding="utf-8")

    _, out, _ = run("load", sheet, "--store", tmp_path / "k.duckdb", capsys=capsys)

    assert "\x1b" not in out
    assert r"\x1b[31mred" in out


def test_the_console_command_is_the_same_program():
    shown = subprocess.run(
        [sys.executable, "-m", "studcurve.pipelines.cli", "--help"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout

    assert "demo" in shown
    assert "corrections" in shown


def test_a_review_in_german_speaks_german(demo_path, tmp_path, capsys):
    code, _, _ = run(
        "review", "tarn", "--store", demo_path, "--out", tmp_path / "p", "--now", "2026-10-31",
        "--language", "de", "--reader", "vet", capsys=capsys,
    )  # fmt: skip

    page = (tmp_path / "p" / "stud-tarn.html").read_text(encoding="utf-8")
    assert code == 0
    assert '<html lang="de">' in page
    assert "Woher wir das wissen" in page
    assert "How we know" not in page


@pytest.mark.slow
def test_overview_handout_and_client_sheet_are_written(demo_path, tmp_path, capsys):
    where = ("--store", demo_path, "--out", tmp_path / "p", "--now", "2026-10-31")

    assert run("overview", *where, capsys=capsys)[0] == 0
    code, out, _ = run("handout", "tarn", "--question", "Still as good?", *where, capsys=capsys)
    assert code == 0
    assert run("shipment-sheet", "Kelp", *where, capsys=capsys)[0] == 0

    written = {path.name for path in (tmp_path / "p").iterdir()}
    assert {"overview.html", "handout-tarn.html", "shipment-sheet-kelp.html"} <= written
    assert "Still as good?" in (tmp_path / "p" / "handout-tarn.html").read_text(encoding="utf-8")
    assert "handout-tarn" in out


def test_without_the_typesetter_the_page_is_written_and_the_command_says_so(
    demo_path, tmp_path, capsys, monkeypatch
):
    monkeypatch.setattr("studcurve.pipelines.run.can_set_type", lambda: False)
    code, out, err = run(
        "handout", "tarn", "--store", demo_path, "--out", tmp_path / "p", "--now", "2026-10-31",
        capsys=capsys,
    )  # fmt: skip

    assert code == 0
    assert "handout-tarn.html" in out
    assert "No PDF without the extra pdf" in err


def test_a_bitch_without_a_shipment_is_a_sentence_with_those_who_have_one(
    demo_path, tmp_path, capsys
):
    code, _, err = run(
        "shipment-sheet", "Nobody", "--store", demo_path, "--out", tmp_path, "--now", "2026-10-31",
        capsys=capsys,
    )  # fmt: skip

    assert code == 1
    assert "'Nobody'" in err
    assert "Kelp" in err
