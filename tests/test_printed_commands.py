"""Every command that is printed anywhere runs, on the demo's file, today and a year from now.

Printed are: the README, the guide for contributors, the help, the sentences of the program and of
its pages. What is a complete command is run; what only names one is held against its options.
"""

import ast
import re
import shlex
import shutil
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

import pytest
import time_machine
from typer.main import get_command

from studcurve.pipelines import cli
from studcurve.pipelines.pages.comparison import coming_breedings
from studcurve.pipelines.pages.shipment_sheet import bitches_with_shipments
from studcurve.pipelines.records.archive import back_up, export
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.template import write_template
from studcurve.pipelines.run import DEMO_TODAY
from tests.in_english import in_english

pytestmark = pytest.mark.usefixtures("files_are_read_once")

ROOT = Path(__file__).parents[1]
PROGRAM = get_command(cli.app)
BENCH = PROGRAM.commands["bench"]
CLOCKS = {"today": timedelta(0), "a year on": timedelta(days=366)}

WRITERS = {"load", "confirm", "withdraw", "erase", "restore", "ship", "bench card", "bench spin"}
"""Commands that may change the records file: each gets a copy of its own."""

FITTING = {"demo", "fit"}
"""Commands that take minutes."""

ALL_STUDS = {"pages"}
"""Commands that take half a minute."""

PAGES = {
    "pages",
    "review",
    "overview",
    "outcomes",
    "handout",
    "shipment-sheet",
    "compare",
    "schedule",
}
"""Commands that take seconds."""


def _command_of(words):
    """The command that some words begin with, as printed or as at the bench, and what is left."""
    first, rest = words[0], words[1:]
    if first == "bench" and rest and rest[0] in BENCH.commands:
        return f"bench {rest[0]}", BENCH.commands[rest[0]], rest[1:]
    if first in PROGRAM.commands and first != "bench":
        return first, PROGRAM.commands[first], rest
    if first in BENCH.commands:
        return f"bench {first}", BENCH.commands[first], rest
    return None


def _from_span(span):
    """Words of a command between backticks; None for anything else."""
    try:
        words = shlex.split(" ".join(span.split()))
    except ValueError:
        return None
    if words and words[0].endswith("studcurve"):
        words = words[1:] or ["due"]
    return words if words and _command_of(words) else None


def _from_prose(text):
    """Commands in a text without backticks: the words after the name, as far as they are one's."""
    for found in re.finditer(r"studcurve ((?:[^\s`]+ ?)+)", text):
        words = [word.rstrip(".,;:)") for word in found[1].split()]
        kept = words[: 2 if words[0] == "bench" else 1]
        for word in words[len(kept) :]:
            if not re.fullmatch(r"--[a-z-]+|[A-Z]{2,}(\.xlsx)?|\{\w+\}", word):
                break
            kept.append(word)
        if _command_of(kept):
            yield tuple(kept)


def _texts():
    """Name and text of everything that prints a command."""
    yield "README.md", (ROOT / "README.md").read_text(encoding="utf-8")
    yield "DEVELOPERS.md", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for path in sorted((ROOT / "reports" / "catalog").glob("*.toml")):
        yield path.name, path.read_text(encoding="utf-8")
    for folder in ("analytics", "pipelines", "reports"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            for node in ast.walk(tree):
                if isinstance(node, ast.JoinedStr):
                    parts = [part.value if isinstance(part, ast.Constant) else "{VALUE}"
                             for part in node.values]  # fmt: skip
                    yield path.name, "".join(parts)
                elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                    yield path.name, node.value


@cache
def printed():
    """Every command that is printed, word by word, once each, with where it stands first."""
    found = {}
    for place, text in _texts():
        whole = re.sub(r"```(?:sh)?\n(.*?)```", lambda block: block[1], text, flags=re.DOTALL)
        for span in re.findall(r"`([^`]+)`", whole):
            words = _from_span(span) if "studcurve" in span or place == "README.md" else None
            if words:
                found.setdefault(tuple(words), place)
        for words in _from_prose(re.sub(r"`[^`]*`", "", whole)):
            found.setdefault(words, place)
    for example in re.findall(
        r"(\d{4}-\d\d-\d\d(?: \d\d:\d\d)?=[^',.]+(?:\.\d)?)", _help("bench ovulation")
    ):
        found.setdefault(("bench", "ovulation", example), "help")
    return found


def _help(name):
    command = BENCH.commands[name.removeprefix("bench ")]
    return " ".join(getattr(param, "help", None) or "" for param in command.params)


def _is_complete(words):
    """Whether every argument that the command needs is there."""
    _, command, rest = _command_of(words)
    needed = [p for p in command.params if p.param_type_name == "argument" and p.required]
    given = [word for word in _without_options(command, rest) if word not in {"...", "…"}]
    return len(given) >= len(needed) and not {"...", "…"} & set(rest)


def _options(command):
    return {name: param for param in command.params for name in (*param.opts, *param.secondary_opts)
            if name.startswith("--")}  # fmt: skip


def _without_options(command, rest):
    options, left, rest = _options(command), [], list(rest)
    while rest:
        word = rest.pop(0)
        if not word.startswith("--"):
            left.append(word)
        elif word in options and not getattr(options[word], "is_flag", False) and rest:
            rest.pop(0)
    return left


@pytest.fixture(scope="module")
def demo(tmp_path_factory, demo_store_path, demo_kennel):
    """The demo's file as `studcurve demo` leaves it, copies of it, and what stands for what."""
    folder = tmp_path_factory.mktemp("printed")
    store = Path(shutil.copyfile(demo_store_path, folder / "ambertarn.duckdb"))
    with Store.open(store) as opened:
        opened.end_on(DEMO_TODAY)
        findings = opened.read("findings")
    back_up(store, folder / "backup.duckdb")
    export(store, folder / "exported", in_english)
    write_template(folder / "kennel.xlsx")
    stud, bitch = coming_breedings(demo_kennel, 1)[0]
    (shipped,) = bitches_with_shipments(demo_kennel, 1)
    asked = findings[findings["is_open"] & (findings["severity"] == "question")]
    number = asked[asked["sheet"] == "breedings"]["finding_id"]
    (reader,) = demo_kennel.views["evaluations"]["evaluator"].mode().head(1)
    return store, {
        "STUD": stud, "BITCH": bitch, ("shipment-sheet", "BITCH"): shipped,
        "NUMBER": str(number.iloc[0]), "NAME": reader,
        "WHY": "asked by letter", "CM": "9.5", "PERCENT": "6.25",
        "FILE": "new.duckdb", "FILE.xlsx": "new.xlsx", "FOLDER": "new",
        **{("load", word): str(folder / "kennel.xlsx")
           for word in ("kennel.xlsx", "FILE.xlsx", "{VALUE}")},
        ("restore", "FILE"): str(folder / "backup.duckdb"),
        ("restore", "FOLDER"): str(folder / "exported"),
    }  # fmt: skip


@pytest.fixture
def in_a_folder(tmp_path, monkeypatch, demo):
    """An empty folder to work in, and the demo's file named by the environment."""
    monkeypatch.chdir(tmp_path)

    def use(name):
        store = demo[0]
        if name in WRITERS:
            store = Path(shutil.copyfile(store, tmp_path / "own.duckdb"))
        monkeypatch.setenv("STUDCURVE_STORE", str(store))

    return use


def cli_run(*arguments):
    with pytest.raises(SystemExit) as stop:
        cli.main([str(argument) for argument in arguments])
    return stop.value.code or 0


def filled_in(words, table):
    """A printed command with the demo's names in the place of those that stand for them."""
    name, _, rest = _command_of(words)
    return [*name.split(), *(table.get((name, word), table.get(word, word)) for word in rest)]


def _visible(page):
    return re.sub(r"<(script|style).*?</\1>|<[^>]*>", "", page.read_text("utf-8"), flags=re.DOTALL)


COMPLETE = [words for words in printed() if _is_complete(words)]


def _cases():
    """Each command with each clock; slow is what takes long, or comes again with other names.

    Each is asked a year on; today, and what comes again, is asked of some.
    """
    seen = set()
    for words in COMPLETE:
        name, _, rest = _command_of(words)
        how = (name, () if name in PAGES else tuple(word for word in rest if word[:2] == "--"))
        # What fits is asked a year on alone: .ci/run runs the README's demo today.
        for clock in set(CLOCKS) - {"today"} if name in FITTING else CLOCKS:
            is_slow = (
                name in FITTING | ALL_STUDS or how in seen or (name in PAGES and clock == "today")
            )
            is_alike = how in seen or clock == "today"
            marks = [pytest.mark.slow] * is_slow + [pytest.mark.sampled] * is_alike
            yield pytest.param(words, clock, id=f"{' '.join(words)[:60]}, {clock}", marks=marks)
        seen.add(how)


@pytest.mark.parametrize(("words", "clock"), list(_cases()))
def test_a_printed_command_answers_on_any_day(words, clock, demo, in_a_folder, tmp_path, capsys):
    name = _command_of(words)[0]
    in_a_folder(name)
    with time_machine.travel(datetime.now() + CLOCKS[clock], tick=True):
        code = cli_run(*filled_in(words, demo[1]))
    shown = capsys.readouterr()

    assert code == 0, shown.err
    assert shown.out.strip() or shown.err.strip()
    for page in tmp_path.rglob("*.html"):
        assert set(_from_prose(_visible(page))) <= set(printed())
    if name in PAGES | {"due", "ship"}:
        assert DEMO_TODAY.isoformat() in shown.err
        assert len([line for line in shown.err.splitlines() if "--now" in line]) == 1


@pytest.mark.parametrize(
    "words", [words for words in printed() if not _is_complete(words)], ids=" ".join
)
def test_a_command_that_is_only_named_has_the_options_that_are_printed_of_it(words):
    _, command, rest = _command_of(words)

    assert {word for word in rest if word.startswith("--")} <= set(_options(command))


def test_the_printed_commands_are_found():
    names = {_command_of(words)[0] for words in COMPLETE}

    assert names >= set(PROGRAM.commands) - {"bench"}
    assert names >= {f"bench {name}" for name in BENCH.commands}
    assert all(name.split()[-1] in (*PROGRAM.commands, *BENCH.commands) for name in names)


@pytest.mark.parametrize("name", [*PROGRAM.commands, *(f"bench {name}" for name in BENCH.commands)])
def test_every_command_has_help(name, capsys):
    assert cli_run(*name.split(), "--help") == 0
    assert len(capsys.readouterr().out.splitlines()) > 3
