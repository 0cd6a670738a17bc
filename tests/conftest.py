"""What several tests share: the demo's records file, and its fit."""

import functools
import json
import math
import os
import random
import shutil
import subprocess
from pathlib import Path

import pytest
import typer.main
import typer.testing

from studcurve.analytics.models.sampling import keep_compiled
from studcurve.pipelines import run
from studcurve.pipelines.fits.fit import cache_folder, fit_models, read_posterior
from studcurve.pipelines.fits.registry import CONCEPTION, LITTER, MODELS, STUD_OVER_TIME
from studcurve.pipelines.pages.kennel import stopped_in
from studcurve.pipelines.plan import records as plan_records
from studcurve.pipelines.records.database import connection as database_connection
from studcurve.pipelines.records.database.connection import remember_trusted, write_ahead
from studcurve.pipelines.records.database.loading import LoadReport
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO, DEMO_TODAY

DEMO_SEED = 20240229

FITTED_DEMO = os.environ.get("STUDCURVE_FITTED_DEMO")
"""Folder that ``studcurve demo`` has made of this very program; its fits are read, not made."""

FITTING = (
    "test_conception.py", "test_demo_studs.py", "test_fit.py", "test_fitted_plan.py",
    "test_mixed_logistic_in_r.py", "test_regression.py", "test_replayed.py", "test_sampling.py",
    "test_storage.py", "test_stud_alarms.py", "test_stud_mixed_model.py", "test_studies.py",
)  # fmt: skip
"""Files whose slow tests fit models: side by side they would take a small machine's memory."""

LONGEST = (
    "test_checks_page.py", "test_danger.py", "test_doubtful.py", "test_small_kennels.py",
    "test_due.py", "test_moved.py", "test_stud_quality.py", "test_planning.py", "test_store.py",
    "test_printed_commands.py", "test_beside.py", "test_archive.py", "test_findings.py",
    "test_regressions.py", "test_template.py", "test_shipments.py", "test_trouble.py",
    "test_golden_density.py", "test_estimating.py", "test_ledger.py", "test_regressing.py",
)  # fmt: skip
"""Files that take longest, the first to be begun: what is left at the end is short."""


SAMPLED_SHARE = 0.2
"""Share of the cases of a test marked ``sampled`` that are asked where the whole suite is."""


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config, items):
    """Mark the tests that fit, begin with the longest files, and draw from tests of one kind.

    Of a test marked ``sampled``, which asks many cases alike, a share is run where the whole suite
    is asked (SAMPLED_SHARE says another one), drawn by SAMPLED_SEED or else by the commit; whoever
    names files, tests or words of them gets every case.
    """
    for item in items:
        if item.path.name in FITTING:
            item.add_marker("fits")
    place = {name: n for n, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path.name, len(place)))
    share = float(os.environ.get("SAMPLED_SHARE", SAMPLED_SHARE if is_whole(config) else 1))
    if share < 1:
        left_out = undrawn(items, share, os.environ.get("SAMPLED_SEED") or commit())
        config.hook.pytest_deselected(items=[item for item in items if item in left_out])
        items[:] = [item for item in items if item not in left_out]


def undrawn(items, share, seed):
    """The cases of sampled tests that are not asked; of each test at least one is."""
    many = {}
    for item in items:
        if item.get_closest_marker("sampled"):
            # Slow cases of a test are asked apart from its quick ones, and so they are drawn.
            is_slow = item.get_closest_marker("slow") is not None
            many.setdefault((item.path, item.originalname, is_slow), []).append(item)
    left_out = set()
    for (path, name, is_slow), alike in many.items():
        rng = random.Random(f"{seed} {path.name} {name} {is_slow}")
        left_out |= set(rng.sample(alike, len(alike) - math.ceil(share * len(alike))))
    return left_out


def commit():
    """The commit that is checked out; nothing where that cannot be told."""
    try:
        told = subprocess.run(
            ["git", "rev-parse", "HEAD"], cwd=Path(__file__).parent, capture_output=True,
            text=True, check=False,
        )  # fmt: skip
    except OSError:
        return ""
    return told.stdout.strip()


def is_whole(config):
    """Whether no file, test or word of one was named."""
    return config.args == config.getini("testpaths") and not config.option.keyword


def pytest_xdist_auto_num_workers(config):
    """Two workers for the whole default suite, each with files of its own.

    Anything smaller is one process, which starts at once; so are the slow tests, of which .ci/run
    has those that fit and the others side by side.
    """
    is_default = "not slow" in config.option.markexpr
    n_cores = os.cpu_count() or 1
    return 2 if is_whole(config) and is_default and n_cores > 1 and os.name == "posix" else 0


@pytest.fixture(scope="session", autouse=True)
def compiled_programs_are_kept():
    keep_compiled(cache_folder())


@pytest.fixture(scope="session", autouse=True)
def commands_are_built_once():
    """The program builds its commands at each call, which takes as long as a small load."""
    build = functools.cache(typer.main.get_command)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(typer.main, "get_command", build)
        patched.setattr(typer.testing, "_get_command", build)
        yield


@pytest.fixture(scope="session", autouse=True)
def new_files_are_copied(tmp_path_factory):
    """Whoever opens a new records file gets a copy of an empty one that was made once.

    How one is made and brought up to date is asked with the fixture ``new_files_are_made``.
    """
    open_, empty = Store.open.__func__, tmp_path_factory.mktemp("empty") / "empty.duckdb"

    def open_copied(cls, path, *, read_only=False, make=True):
        is_new = make and not read_only and path.parent.is_dir() and not path.exists()
        if is_new and not write_ahead(path).exists():
            if not empty.exists():
                open_(cls, empty).close()
            copy_trusted(empty, path)
        store = open_(cls, path, read_only=read_only, make=make)
        store._is_new = is_new
        return store

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(Store, "open", classmethod(open_copied))
        yield open_


@pytest.fixture
def new_files_are_made(new_files_are_copied, monkeypatch):
    """New records files are made as an owner's are."""
    monkeypatch.setattr(Store, "open", classmethod(new_files_are_copied))


def copy_trusted(source, target):
    """Copy a records file that this process has left with nothing but what is its own in it."""
    shutil.copyfile(source, target)
    remember_trusted(target)


@pytest.fixture(scope="session")
def demo_records() -> Path:
    return DEMO / "records"


@pytest.fixture(scope="session")
def demo_truth() -> dict:
    """What the demo's records were made from."""
    return json.loads((DEMO / "true_parameters.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def demo_stopped(demo_truth) -> frozenset[str]:
    """The demo's studs that a caution stops: one suspect of an infection, one without sperm."""
    stories = demo_truth["written_by_hand"]
    return frozenset({stories["suspect"]["stud"], stories["no_sperm"]["stud"]})


@pytest.fixture(scope="session")
def loaded_demo(tmp_path_factory, demo_records) -> tuple[Path, LoadReport]:
    """The records file of the demo, to be read only, and what its load reported."""
    path = tmp_path_factory.mktemp("demo") / "demo.duckdb"
    with Store.open(path) as store:
        report = store.load([demo_records], today=DEMO_TODAY)
    # No question leaves its chances in the file that all tests share.
    path.chmod(0o444)
    return path, report


@pytest.fixture(scope="session")
def demo_store_path(loaded_demo) -> Path:
    return loaded_demo[0]


def once(read):
    """Read a records file that has not changed once for all questions of one moment."""
    kept = {}

    def read_once(path, *asked):
        if not path.exists():
            return read(path, *asked)
        which = (path, path.stat().st_mtime_ns, *asked)
        if which not in kept:
            kept[which] = read(path, *asked)
        return kept[which]

    return read_once


@pytest.fixture(scope="session")
def reading_once():
    """Reads a kennel, or the records of a plan, as the commands do; an unchanged file once."""
    return once(run.read_kennel), once(plan_records.read_plan_records)


def views_read_once():
    """Reads a view of a file that is open for reading; of an unchanged file once."""
    kept, read = {}, Store.read

    def read_once(store, view):
        ((mode,),) = store._rows("SELECT current_setting('access_mode')")
        if mode.lower() != "read_only" or write_ahead(store.path).exists():
            return read(store, view)
        state = store.path.stat()
        which = (store.path, state.st_ino, state.st_mtime_ns, view)
        if which not in kept:
            kept[which] = read(store, view)
        return kept[which].copy()

    return read_once


class OpenForReading:
    """A file stays open for whoever only reads it next, until it changes or another is wanted."""

    def __init__(self):
        self._open, self._close = Store.open.__func__, Store.close
        self._connect = database_connection._connect_once_locked
        self._path = self._state = self._store = None
        self._n_users = 0

    def open(self, path, *, read_only=False, make=True):
        if not read_only or not path.exists() or write_ahead(path).exists():
            return self._open(Store, path, read_only=read_only, make=make)
        found, path = path.stat(), path.absolute()
        state = found.st_ino, found.st_mtime_ns, found.st_size
        if self._store is None or (path, state) != (self._path, self._state):
            if self._n_users:
                return self._open(Store, path, read_only=True)
            self.let_go()
            self._store = self._open(Store, path, read_only=True)
            self._path, self._state = path, state
        self._n_users += 1
        return self._store

    def close(self, store):
        if store is self._store and self._n_users:
            self._n_users -= 1
        else:
            self._close(store)

    def connect(self, path, **how):
        if not self._n_users and path.absolute() == self._path:
            self.let_go()
        return self._connect(path, **how)

    def let_go(self):
        if self._store is not None:
            self._close(self._store)
        self._path = self._state = self._store = None


@pytest.fixture(scope="module")
def files_stay_open():
    """Whoever reads a file that has not changed shares its opening; for others it is closed."""
    shared = OpenForReading()
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(Store, "open", shared.open)
        patched.setattr(Store, "close", lambda store: shared.close(store))
        patched.setattr(database_connection, "_connect_once_locked", shared.connect)
        yield
        shared.let_go()


@pytest.fixture(scope="module")
def files_are_read_once(reading_once, files_stay_open):
    """Commands share what they read of a file; a changed file is read again."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(run, "read_kennel", reading_once[0])
        patched.setattr(plan_records, "read_plan_records", reading_once[1])
        patched.setattr(Store, "read", views_read_once())
        yield


@pytest.fixture(scope="session")
def demo_kennel(reading_once, demo_store_path):
    return reading_once[0](demo_store_path, DEMO_TODAY)


@pytest.fixture
def demo_store(demo_store_path):
    with Store.open(demo_store_path, read_only=True) as store:
        yield store


def made_once(tmp_path_factory, name, make) -> Path:
    """A file of a run that is made by the first worker to need it, and its own copy for each."""
    own = tmp_path_factory.mktemp("own") / name
    if "PYTEST_XDIST_WORKER" not in os.environ:
        make(own)
        return own
    import fcntl

    of_all = tmp_path_factory.getbasetemp().parent / name
    with of_all.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not of_all.exists():
            make(own)
            Path(shutil.copyfile(own, of_all.with_suffix(".part"))).rename(of_all)
        else:
            shutil.copyfile(of_all, own)
    return own


def fit_or_take(store, models):
    """Fit models to the demo, or take the fits that the demo's own command has kept of it."""
    if FITTED_DEMO is None:
        outcomes = fit_models(
            store, seed=DEMO_SEED, say=lambda sentence: None, models=models,
            silent=stopped_in(store, DEMO_TODAY),
        )  # fmt: skip
        assert {one.state for one in outcomes} == {"fitted"}, [one.sentence for one in outcomes]
        return
    with Store.open(Path(FITTED_DEMO) / "ambertarn.duckdb", read_only=True) as demo:
        assert demo.fingerprint() == store.fingerprint(), "the demo is of other records"
        kept = [demo.read_fit(model.name) for model in models]
    for model, fit in zip(models, kept, strict=True):
        store.save_fit(fit)
        assert fit.seed == DEMO_SEED
        assert read_posterior(store, model).is_of_today, "the demo is of another program"


@pytest.fixture(scope="session")
def fitted_store_path(tmp_path_factory, demo_store_path) -> Path:
    def fit(path):
        shutil.copyfile(demo_store_path, path)
        with Store.open(path) as store:
            # Studs over time are read by a slow test alone.
            fit_or_take(store, [model for model in MODELS if model not in STUD_OVER_TIME])

    return made_once(tmp_path_factory, "fitted.duckdb", fit)


@pytest.fixture(scope="session")
def fitted_kennel(reading_once, fitted_store_path):
    return reading_once[0](fitted_store_path, DEMO_TODAY)


@pytest.fixture(scope="session")
def demo_fit(fitted_store_path):
    with Store.open(fitted_store_path, read_only=True) as store:
        return read_posterior(store, CONCEPTION).posterior


@pytest.fixture(scope="session")
def demo_litter_fit(fitted_store_path):
    with Store.open(fitted_store_path, read_only=True) as store:
        return read_posterior(store, LITTER).posterior
