"""Nothing acknowledged is lost beside an erasure or a restore, whenever a command begins."""

import json
import os
import shutil
import subprocess
import sys
from datetime import date, timedelta

import pytest

from studcurve.analytics.errors import RecordsError, StoreLockedError
from studcurve.pipelines.records import archive
from studcurve.pipelines.records.archive import back_up, erase_from_file, restore
from studcurve.pipelines.records.database import connection
from studcurve.pipelines.records.database.store import Store

TODAY = date(2026, 10, 31)
NAME = "Ingrid Holm"
N_QUESTIONS = 12

COMMANDS = """
import contextlib, io, json, sys
from studcurve.pipelines.cli import main
for line in sys.stdin:
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        try:
            main(json.loads(line))
            code = 0
        except SystemExit as left:
            code = left.code or 0
    print(json.dumps([code, said.getvalue()]), flush=True)
"""


class Beside:
    """Another process that loads, confirms and packs a shipment at every step, each time
    another one.
    """

    def __init__(self, kennel, process):
        self.kennel, self.process = kennel, process
        self.asked = []

    def run(self, *arguments):
        given = [*arguments, "--store", str(self.kennel.records)]
        self.process.stdin.write(json.dumps(given) + "\n")
        self.process.stdin.flush()
        return json.loads(self.process.stdout.readline())

    def try_all(self, step):
        n = sum(kind == "load" for kind, *_ in self.asked)
        day = date(2025, 1, 1) + timedelta(days=n)
        sheet = self.kennel.write(
            "health", [{"Dog": "Tarn", "Date": str(day), "Kind": "examination", "What": "hips"}],
            f"{n}/health.csv",
        )  # fmt: skip
        pack = ["ship", "Bracken", "3.1", "80", "--cells", "400", "--dilution", "1 + 19", "--now",
                f"{day} 19:00", "--inseminate", f"{day + timedelta(days=1)} 11:00",
                "--out", str(self.kennel.folder / "pages")]  # fmt: skip
        for kind, command, trace in (
            ("load", ["load", str(sheet), "--now", str(TODAY)], str(day)),
            ("confirm", ["confirm", str(n + 1)], n + 1),
            ("box", pack, str(day)),
        ):
            self.asked.append((kind, step, trace, *self.run(*command)))

    def assert_nothing_is_lost(self):
        findings = self.kennel.read("findings").set_index("finding_id")["closed_by"]
        there = {
            "load": set(self.kennel.read("examinations")["examined_on"].astype(str).str[:10]),
            "confirm": set(findings[findings == "confirmed"].index),
            "box": set(self.kennel.read("shipments")["sent_earliest"].astype(str).str[:10]),
        }
        for kind, step, trace, code, output in self.asked:
            assert (code, "in use" in output) in {(0, False), (1, True)}, (kind, step, output)
            assert (trace in there[kind]) == (code == 0), (kind, step, output)
        for kind in there:
            codes = {step: code for of, step, _, code, _ in self.asked if of == kind}
            assert set(codes.values()) == {0, 1}, "each is refused before, and let in afterwards"
        return {step for _, step, _, code, _ in self.asked if code}


@pytest.fixture(scope="module")
def process():
    with subprocess.Popen(
        [sys.executable, "-c", COMMANDS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as started:
        yield started
        started.stdin.close()


@pytest.fixture
def beside(kennel, process):
    kennel.load(kennel.write("dogs", [
        {"Dog": f"Elm {n}", "Sex": "male", "Inbreeding (%)": "0.1", "Owner": NAME}
        for n in range(N_QUESTIONS)
    ], "more/dogs.csv"))  # fmt: skip
    return Beside(kennel, process)


def with_steps(monkeypatch, beside, *hooked):
    """Let the other process begin before and after each of some functions."""

    def stepping(name, function):
        def run(*args, **how):
            beside.try_all(f"before {name}")
            answer = function(*args, **how)
            beside.try_all(f"after {name}")
            return answer

        return run

    for owner, name in hooked:
        monkeypatch.setattr(owner, name, stepping(name, getattr(owner, name)))


def test_what_begins_beside_an_erasure_is_refused_or_in_the_file(monkeypatch, beside):
    kennel = beside.kennel
    with_steps(
        monkeypatch, beside,
        (Store, "write_erased_tables"), (archive, "refuse_damaged"), (archive.os, "replace"),
    )  # fmt: skip

    erased = erase_from_file(kennel.records, NAME, today=TODAY, reason="asked")
    beside.try_all("afterwards")

    assert erased.n_lines == N_QUESTIONS
    refused = beside.assert_nothing_is_lost()
    assert "before write_erased_tables" in refused
    assert "before replace" in refused
    assert NAME.encode() not in kennel.records.read_bytes()
    with kennel.open(read_only=True) as opened:
        assert opened.broken_promises() == []


@pytest.mark.parametrize("disk", ["with links", "without links"])
def test_what_begins_beside_a_restore_is_refused_or_in_the_file(monkeypatch, beside, disk):
    kennel = beside.kennel
    back_up(kennel.records, kennel.folder / "b.duckdb")
    if disk == "without links":
        monkeypatch.setattr(archive.os, "link", no_link)
    with_steps(monkeypatch, beside, (archive, "copy_file"), (archive, "_kept_aside"),
               (archive.os, "replace"))  # fmt: skip

    restore(kennel.folder / "b.duckdb", kennel.records)
    beside.try_all("afterwards")

    refused = beside.assert_nothing_is_lost()
    assert {"before copy_file", "after _kept_aside", "before replace"} <= refused


def no_link(*names):
    raise OSError(95, "not supported", *names)


def test_a_file_that_was_replaced_between_opening_and_locking_is_opened_anew(monkeypatch, kennel):
    other = kennel.folder / "other.duckdb"
    shutil.copyfile(kennel.records, other)
    connect, opened = connection.duckdb.connect, []

    def replaced_meanwhile(*args, **how):
        connection = connect(*args, **how)
        if not opened:
            os.replace(other, kennel.records)  # noqa: PTH105
        opened.append(args)
        return connection

    monkeypatch.setattr(connection.duckdb, "connect", replaced_meanwhile)
    kennel.load(kennel.collections({}))

    assert len(opened) > 1
    assert len(kennel.read("evaluations")) == 1


def test_a_file_that_is_replaced_without_end_is_refused(monkeypatch, kennel):
    connect = connection.duckdb.connect

    def always_replaced(*args, **how):
        connection = connect(*args, **how)
        shutil.copyfile(kennel.records, kennel.folder / "n")
        os.replace(kennel.folder / "n", kennel.records)  # noqa: PTH105
        return connection

    monkeypatch.setattr(connection.duckdb, "connect", always_replaced)
    with pytest.raises(StoreLockedError, match="is being replaced"):
        kennel.load(kennel.collections({}))


def test_a_file_that_came_while_a_backup_was_restored_stays(monkeypatch, kennel):
    back_up(kennel.records, kennel.folder / "b.duckdb")
    kennel.records.unlink()
    sound = archive.refuse_damaged

    def another_makes_one(*args):
        sound(*args)
        kennel.load(kennel.write("dogs", [{"Dog": "Elm", "Sex": "male"}]))

    monkeypatch.setattr(archive, "refuse_damaged", another_makes_one)
    with pytest.raises(RecordsError, match="cannot be written"):
        restore(kennel.folder / "b.duckdb", kennel.records)

    assert kennel.read("dogs")["call_name"].tolist() == ["Elm"]
    assert not list(kennel.folder.glob(".*part*"))


@pytest.mark.parametrize("step", ["make", "refuse_damaged"])
def test_an_erasure_that_fails_leaves_the_file_as_it_was_and_can_be_repeated(
    monkeypatch, beside, step
):
    kennel = beside.kennel
    before = kennel.records.read_bytes()

    def full(*args):
        raise RecordsError("the disk is full")

    with monkeypatch.context() as failing:
        failing.setattr(Store if step == "make" else archive, step, full)
        with pytest.raises(RecordsError, match="the disk is full"):
            erase_from_file(kennel.records, NAME, today=TODAY, reason="asked")
    assert kennel.records.read_bytes() == before

    assert erase_from_file(kennel.records, NAME, today=TODAY, reason="asked").n_lines
    assert NAME.encode() not in kennel.records.read_bytes()


@pytest.mark.parametrize("work", ["erase", "restore"])
def test_a_link_to_the_records_stays_a_link(beside, work):
    kennel = beside.kennel
    real = kennel.folder / "elsewhere" / "real.duckdb"
    real.parent.mkdir()
    back_up(kennel.records, kennel.folder / "b.duckdb")
    kennel.records.rename(real)
    kennel.records.symlink_to(real)

    if work == "erase":
        erase_from_file(kennel.records, NAME, today=TODAY, reason="asked")
        assert NAME.encode() not in real.read_bytes()
    else:
        kept = restore(kennel.folder / "b.duckdb", kennel.records)
        assert kept.parent == real.parent

    assert kennel.records.is_symlink()
    assert len(kennel.read("dogs")) == 4 + N_QUESTIONS


def test_what_lies_beside_a_copy_is_restored_with_it(kennel):
    killed = subprocess.run(
        [sys.executable, "-c", "import sys, os, signal, duckdb\n"
         "c = duckdb.connect(sys.argv[1])\n"
         "c.execute(\"INSERT INTO setting VALUES ('target_vaginal_m', 7)\")\n"
         "os.kill(os.getpid(), signal.SIGKILL)", str(kennel.records)], check=False,
    )  # fmt: skip
    assert killed.returncode == -9
    assert kennel.records.with_name("kennel.duckdb.wal").exists()

    restore(kennel.records, kennel.folder / "restored.duckdb")

    with Store.open(kennel.folder / "restored.duckdb", read_only=True) as opened:
        assert opened.settings() == {"target_vaginal_m": 7}
