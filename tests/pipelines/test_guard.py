"""A kept fit is stale when priors, the model's meaning or its engine changed, and only then."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tests.analytics.stud_records import collections, events, kennel
from tests.changed_program import changed
from tests.conftest import DEMO_SEED
from tests.pipelines.test_kept_storage import kept_fit

from studcurve.analytics.models.fingerprint import fingerprint_of
from studcurve.analytics.models.stud.inputs import prepare_stud_data
from studcurve.pipelines.fits import guard
from studcurve.pipelines.fits.fit import fit_models, read_posterior
from studcurve.pipelines.fits.guard import (
    DENSITY,
    density_now,
    engine_versions,
    holds_under_this_engine,
    is_current,
    model_fingerprint,
)
from studcurve.pipelines.fits.registry import CONCEPTION, STORAGE
from studcurve.pipelines.pages.kennel import stopped_in
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO_TODAY

OTHER_ENGINE = {**engine_versions(), "jax": "0.0.1"}


def made_under_another_engine(kept, factor=1.0):
    """The same fit, as if another engine had made it whose density was by so much another."""
    values = density_now(kept.model)[DENSITY]["values"]
    values = {**values, "log_density": [factor * one for one in values["log_density"]]}
    density = {"values": values, "held_under": [OTHER_ENGINE]}
    return replace(kept, checks={**kept.checks, DENSITY: density})


def is_storage_current(kept):
    return is_current(kept, STORAGE.version, STORAGE.prior_ids)


def no_density(name):
    raise AssertionError("the density was computed where nothing had changed")


def test_under_the_engine_that_made_it_a_fit_is_current_without_a_density(monkeypatch):
    kept = kept_fit()
    monkeypatch.setattr(guard, "fixed_density", no_density)

    assert is_storage_current(kept)


# One part in 10⁹ is the tolerance.
@pytest.mark.parametrize(("factor", "current"), [(1.0, True), (1 + 1e-11, True), (1 + 1e-7, False)])
def test_another_engine_makes_a_fit_stale_only_where_the_density_moved(factor, current):
    kept = made_under_another_engine(kept_fit(), factor)

    assert is_storage_current(kept) is current


@pytest.mark.parametrize("part", ["gradient", "draws"])
def test_a_moved_gradient_or_draw_is_a_moved_density(part):
    values = density_now("storage")[DENSITY]["values"]
    name, (first, second) = next(iter(values[part].items()))
    moved = {**values, part: {**values[part], name: [first, second + 1e-6]}}

    assert guard.densities_agree(values, values)
    assert not guard.densities_agree(values, moved)
    assert not guard.densities_agree(values, {**values, part: {}})


@pytest.mark.parametrize(
    "changes",
    [
        {"model_fingerprint": model_fingerprint("storage", STORAGE.version + 1)},
        # What earlier files hold: a digest of texts, and no density.
        {"model_fingerprint": "0" * 64, "checks": {}},
        {"checks": {}},
        {"priors_fingerprint": "another"},
    ],
)
def test_another_version_an_older_file_or_other_priors_make_a_fit_stale(changes):
    assert not is_storage_current(kept_fit(**changes))


@pytest.mark.parametrize(
    ("module", "old", "new"),
    [
        (
            "studcurve.analytics.models.storage.model",
            "How long does a chilled sample last",
            "How long it lasts",
        ),
        (
            "studcurve.analytics.models.storage.model",
            "    # In units of the priors' own",
            "    # Within the priors'",
        ),
        (
            "studcurve.analytics.models.storage.inputs",
            "    # Uniform within the noted moment.\n",
            "",
        ),
        (
            "studcurve.analytics.models.sampling",
            "Has the sampler settled? Nothing leaves before",
            "Nothing leaves",
        ),
    ],
)
def test_a_reworded_docstring_or_comment_leaves_a_fit_current(module, old, new):
    kept = kept_fit()
    with changed(module, old, new) as load:
        models, copy = (
            load("studcurve.pipelines.fits.registry"),
            load("studcurve.pipelines.fits.guard"),
        )

        assert copy is not guard
        assert copy.is_current(kept, models.STORAGE.version, models.STORAGE.prior_ids)


def test_a_fit_that_holds_under_a_new_engine_is_told_so_and_asked_once(
    fitted_store_path, tmp_path, monkeypatch
):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(fitted_store_path.read_bytes())
    with Store.open(path) as store:
        older = made_under_another_engine(store.read_fit("conception"))
        store.save_fit(older)
        (outcome,) = fit_models(
            store, seed=DEMO_SEED, say=lambda line: None, models=[CONCEPTION],
            silent=stopped_in(store, DEMO_TODAY),
        )  # fmt: skip
        kept = store.read_fit("conception")
        monkeypatch.setattr(guard, "fixed_density", no_density)

        assert outcome.state == "unchanged"
        assert holds_under_this_engine(kept)
        assert kept.checks[DENSITY]["held_under"] == [OTHER_ENGINE, engine_versions()]
        assert kept.checks["prior_widths"] == older.checks["prior_widths"]
        assert read_posterior(store, CONCEPTION).is_of_today


def test_a_changed_note_leaves_a_fit_of_today(fitted_store_path, demo_records, tmp_path):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(fitted_store_path.read_bytes())
    rows = pd.read_csv(demo_records / "breedings.csv", dtype=str).head(1)
    rows.assign(Notes="her owner was late").to_csv(tmp_path / "breedings.csv", index=False)
    with Store.open(path) as store:
        before = store.fingerprint()
        store.load([tmp_path / "breedings.csv"], today=DEMO_TODAY)
        read = read_posterior(store, CONCEPTION)

        assert store.fingerprint() != before
        assert read.is_of_today
        assert read.n_records_since == 0


def stud_data(measure="progressive_motility_pct", happened="fever", **columns):
    rows = kennel(
        collections("Ash", [0, 30, 60, 90], progressive_motility_pct=70.0, **columns),
    )
    return prepare_stud_data(rows, events(("Ash", happened, "2022-02-20")), measure, extra_cv=0.1)


def test_a_stud_s_fit_hangs_on_what_its_measure_reads():
    motility = stud_data().fingerprint()

    # Rest enters total sperm alone; before seven years age enters nothing; an event has a day.
    assert stud_data(sexual_rest_days=3.0).fingerprint() == motility
    assert stud_data(stud_age_years=5.0).fingerprint() == motility
    assert stud_data(happened="drug").fingerprint() == motility
    assert stud_data(stud_age_years=8.0).fingerprint() != motility
    assert stud_data(evaluator="Elm").fingerprint() != motility
    total = stud_data("total_sperm_m").fingerprint()
    assert stud_data("total_sperm_m", sexual_rest_days=3.0).fingerprint() != total


def test_the_last_digits_of_a_number_are_no_other_record():
    values = np.array([0.0, 1.0, -2.5, 1e-9, 310.0, np.log(3.0), np.nan, np.inf])
    first = fingerprint_of([values], ["a"])

    assert fingerprint_of([values * (1 + 4e-16)], ["a"]) == first
    assert fingerprint_of([np.where(values == 0, -0.0, values)], ["a"]) == first
    assert fingerprint_of([values * (1 + 1e-6)], ["a"]) != first
    assert fingerprint_of([values.reshape(2, 4)], ["a"]) != first
    assert fingerprint_of([values], ["b"]) != first
