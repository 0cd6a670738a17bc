"""Promises that span the packages: the README's commands, the wheel's contents, no stray facts."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
TRACKED = subprocess.run(
    ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
    cwd=ROOT,
    capture_output=True,
    text=True,
    check=True,
).stdout.split()
TEXT_SUFFIXES = {".py", ".md", ".toml", ".txt", ".sql", ".html", ".css", ".js", ".json", ".csv", ""}


def readme_commands():
    return re.findall(r"^```sh\n(.*?)^```", README, re.MULTILINE | re.DOTALL)


def test_readme_promises_two_commands_that_stand_alone():
    job, tests = readme_commands()[:2]

    assert job.strip().endswith("studcurve demo")
    assert tests.strip().endswith("pytest")
    assert all(command.startswith("python3 -m venv .venv && ") for command in (job, tests))


def test_every_command_the_readme_names_exists():
    from typer.testing import CliRunner

    from studcurve.pipelines.cli import app

    help_text = CliRunner().invoke(app, ["--help"]).output
    named = set(re.findall(r"`studcurve ([a-z]+)", README))

    assert named
    assert {command for command in named if command not in help_text} == set()


def test_help_starts_without_the_heavy_packages():
    heavy = {"jax", "numpyro", "statsmodels", "sklearn", "altair", "vl_convert"}
    loaded = subprocess.run(
        [sys.executable, "-c", "import sys, studcurve.pipelines.cli; print(*sorted(sys.modules))"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()

    assert heavy & set(loaded) == set()


@pytest.mark.parametrize(
    ("write", "page"),
    [
        ("run.write_stud_reviews(store, out, studs=['Tarn'], today=today)", "stud-tarn"),
        ("run.write_outcomes(store, out, stud='Tarn', today=today)", "outcomes-tarn"),
        ("run.write_outcomes(store, out, today=today)", "outcomes"),
    ],
)
def test_a_page_loads_neither_statsmodels_nor_scikit_learn(demo_store_path, tmp_path, write, page):
    code = (
        "import sys; from pathlib import Path; from studcurve.pipelines import run\n"
        "store, out = map(Path, sys.argv[1:])\n"
        f"today = run.DEMO_TODAY; {write}\n"
        "print(*sorted(sys.modules))"
    )

    loaded = subprocess.run(
        [sys.executable, "-c", code, str(demo_store_path), str(tmp_path)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()

    assert (tmp_path / f"{page}.html").is_file()
    assert {"statsmodels", "sklearn"} & set(loaded) == set()


def test_constraints_name_no_host():
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()

    assert lines
    assert all(re.match(r"^[A-Za-z0-9._-]+==[^ ]+( ; .*)?$", line) for line in lines)


@pytest.mark.parametrize(
    "stray", [r"https?://(?!www\.apache\.org|www\.w3\.org|vega\.github\.io)", r"/(work|farm)/"]
)
def test_no_tracked_file_holds_an_address_or_a_path_of_a_machine(stray):
    found = []
    for name in TRACKED:
        path = ROOT / name
        if path.suffix not in TEXT_SUFFIXES or path == Path(__file__) or not path.is_file():
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if re.search(stray, line):
                found.append(f"{name}:{number}: {line.strip()[:80]}")

    assert found == []


def test_the_wheel_installs_one_name_with_the_packages_and_the_demo_and_no_tests():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wheel = project["tool"]["hatch"]["build"]["targets"]["wheel"]
    inside = [
        f"{wheel['sources'][part]}{path.removeprefix(part)}".removeprefix("/")
        for path in wheel["only-include"]
        for part in wheel["sources"]
        if path.startswith(part)
    ]

    assert len(inside) == len(wheel["only-include"])
    assert {path.partition("/")[0] for path in inside} == {"studcurve"}
    assert {"studcurve/analytics", "studcurve/demo_data/records"} <= set(inside)


def test_the_folders_are_imported_from_where_they_stand():
    for part in ("analytics", "pipelines", "reports", "demo_data"):
        assert (ROOT / ".package" / "studcurve" / part).resolve() == ROOT / part
