"""What several tests share: the demo's records file, and its fit."""

import shutil
from pathlib import Path

import pytest

from analytics.sampling import keep_compiled
from pipelines import plan_records, run
from pipelines.fit import cache_folder, fit_models, known
from pipelines.models import CONCEPTION, LITTER, MODELS, STUD_OVER_TIME
from pipelines.run import DEMO, DEMO_TODAY
from pipelines.store import LoadReport, Store

DEMO_SEED = 20240229


@pytest.fixture(scope="session", autouse=True)
def compiled_programs_are_kept():
    keep_compiled(cache_folder())


@pytest.fixture(scope="session")
def demo_records() -> Path:
    return DEMO / "records"


@pytest.fixture(scope="session")
def loaded_demo(tmp_path_factory, demo_records) -> tuple[Path, LoadReport]:
    """The records file of the demo, to be read only, and what its load reported."""
    path = tmp_path_factory.mktemp("demo") / "demo.duckdb"
    with Store.open(path) as store:
        return path, store.load([demo_records], today=DEMO_TODAY)


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


@pytest.fixture(scope="module")
def files_are_read_once(reading_once):
    """Commands share what they read of a file; a changed file is read again."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(run, "read_kennel", reading_once[0])
        patched.setattr(plan_records, "read_plan_records", reading_once[1])
        yield


@pytest.fixture(scope="session")
def demo_kennel(reading_once, demo_store_path):
    return reading_once[0](demo_store_path, DEMO_TODAY)


@pytest.fixture
def demo_store(demo_store_path):
    with Store.open(demo_store_path, read_only=True) as store:
        yield store


@pytest.fixture(scope="session")
def fitted_store_path(tmp_path_factory, demo_store_path) -> Path:
    path = tmp_path_factory.mktemp("fitted") / "demo.duckdb"
    shutil.copyfile(demo_store_path, path)
    with Store.open(path) as store:
        # Studs over time are fitted by a slow test alone.
        quick = [model for model in MODELS if model not in STUD_OVER_TIME]
        fit_models(store, seed=DEMO_SEED, say=lambda sentence: None, models=quick)
    return path


@pytest.fixture(scope="session")
def fitted_kennel(reading_once, fitted_store_path):
    return reading_once[0](fitted_store_path, DEMO_TODAY)


@pytest.fixture(scope="session")
def demo_fit(fitted_store_path):
    with Store.open(fitted_store_path, read_only=True) as store:
        return known(store, CONCEPTION).posterior


@pytest.fixture(scope="session")
def demo_litter_fit(fitted_store_path):
    with Store.open(fitted_store_path, read_only=True) as store:
        return known(store, LITTER).posterior
