"""Kennels at the edge of what can be answered: an answer or a sentence, never a crash."""

import json
import re

import pytest

from studcurve.pipelines.cli import main

TODAY = "2026-06-01"
DOGS = "Dog,Sex,Born,Breed\nRowan,male,2021-04-02,Ostrel Spaniel\n{bitches}"
BREEDINGS = "Bitch,Stud,Date,Semen,Route,Result,Born alive,Stillborn\n"
MEASURED = (
    "Dog,Date,Volume (mL),Concentration (M/mL),Cells counted,Progressive motility (%),"
    "How motility was evaluated,Evaluator\n"
    "Rowan,2026-05-20,3.0,220,210,80,by eye,Ida\n"
)


def dogs(*bitches):
    return DOGS.format(bitches="".join(f"{name},female,2021-05-01,\n" for name in bitches))


def bred(*rows):
    """Breedings of Rowan: bitch, day, semen, what was reported, pups."""
    lines = []
    for bitch, day, semen, result, alive in rows:
        route = "natural" if semen == "natural" else "vaginal"
        lines.append(f"{bitch},Rowan,{day},{semen},{route},{result},{alive},{0 if alive else ''}\n")
    return BREEDINGS + "".join(lines)


def twice_a_year(n, bitches, semen, result, alive):
    days = [f"{2023 + k // 2}-{'03' if k % 2 == 0 else '09'}-05" for k in range(n)]
    return [(bitch, day, semen, result, alive) for day in days for bitch in bitches]


KENNELS = {
    "no breedings": {"dogs": dogs("Bryony"), "collections": MEASURED},
    "one stud and three breedings": {
        "dogs": dogs("Bryony", "Sedge", "Fern"),
        "collections": MEASURED,
        "breedings": bred(
            ("Bryony", "2025-03-08", "natural", "whelped", 5),
            ("Sedge", "2025-06-01", "chilled", "missed", ""),
            ("Fern", "2025-10-01", "natural", "whelped", 6),
        ),
    },
    "one bitch": {
        "dogs": dogs("Bryony"),
        "breedings": bred(*twice_a_year(4, ["Bryony"], "natural", "whelped", 6)),
    },
    "one semen type": {
        "dogs": dogs("Bryony", "Sedge"),
        "breedings": bred(
            *twice_a_year(3, ["Bryony"], "frozen", "whelped", 4),
            *twice_a_year(3, ["Sedge"], "frozen", "missed", ""),
        ),
    },
    "all pregnant": {
        "dogs": dogs("Bryony", "Sedge", "Fern"),
        "breedings": bred(*twice_a_year(5, ["Bryony", "Sedge", "Fern"], "chilled", "whelped", 5)),
    },
    "none pregnant": {
        "dogs": dogs("Bryony", "Sedge", "Fern"),
        "breedings": bred(*twice_a_year(5, ["Bryony", "Sedge", "Fern"], "fresh", "missed", "")),
    },
    "nothing measured": {
        "dogs": dogs("Bryony"),
        "collections": "Dog,Date\nRowan,2026-05-20\n",
        "breedings": bred(("Bryony", "2025-03-08", "natural", "", "")),
    },
}


def run(*arguments):
    """Exit code of a command; anything but an exit is a crash."""
    with pytest.raises(SystemExit) as stop:
        main([str(argument) for argument in arguments])
    return stop.value.code or 0


@pytest.fixture(scope="module")
def kennels(tmp_path_factory):
    """Each kennel's records file, and what `fit` said of each model."""
    files = {}
    for name, sheets in KENNELS.items():
        folder = tmp_path_factory.mktemp("kennel")
        for sheet, text in sheets.items():
            (folder / f"{sheet}.csv").write_text(text, encoding="utf-8")
        files[name] = folder / "kennel.duckdb"
        assert run("load", folder, "--store", files[name], "--now", TODAY) == 0
    return files


@pytest.fixture(scope="module")
def fitted(kennels):
    for path in kennels.values():
        assert run("fit", "--store", path, "--seed", 1) == 0
    return kennels


@pytest.mark.slow
@pytest.mark.parametrize("name", KENNELS)
def test_every_command_answers_or_says_why_not(fitted, name, tmp_path, capsys):
    store = ("--store", fitted[name])
    pages = (*store, "--now", TODAY, "--out", tmp_path)

    assert run("review", *pages) == 0
    assert run("overview", *pages) == 0
    assert run("outcomes", *pages) == 0
    assert run("outcomes", "Rowan", *pages) == 0
    assert run("handout", "Rowan", *pages) == 0
    capsys.readouterr()
    code = run("compare", "Rowan", "Bryony", *store, "--now", TODAY, "--json")
    printed = capsys.readouterr()

    assert code == 0, printed.err
    assert json.loads(printed.out)
    overview = (tmp_path / "overview.html").read_text(encoding="utf-8")
    review = (tmp_path / "stud-rowan.html").read_text(encoding="utf-8")
    outcomes = [
        (tmp_path / f"{page}.html").read_text(encoding="utf-8")
        for page in ("outcomes", "outcomes-rowan")
    ]
    for page in (overview, review, *outcomes):
        assert not re.search(r"\bnan\b|None", page.split("<script")[0])
    assert "nan %" not in review
