"""Fits are kept, read with the records of today, and refused when model or priors have changed."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tests.conftest import DEMO_SEED

from studcurve.analytics.errors import StaleFitError
from studcurve.analytics.models import sampling
from studcurve.analytics.models.conception.bred import partners, without_stopped
from studcurve.analytics.models.conception.model import fit_conception
from studcurve.analytics.wording.program import fit_age_sentence
from studcurve.pipelines.cli import main
from studcurve.pipelines.fits.fit import fit_models, is_told_of, read_posterior
from studcurve.pipelines.fits.registry import CONCEPTION, MODELS
from studcurve.pipelines.pages.kennel import stopped_in
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO_TODAY, write_stud_reviews
from studcurve.reports.words import Words


@pytest.fixture
def store_with_new_breeding(fitted_store_path, tmp_path):
    """The demo with one breeding, of a bitch never seen, that came after the fit."""
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(fitted_store_path.read_bytes())
    for name, text in {
        "dogs": "Dog,Sex,Breed\nZinnia,female,Ostrel Spaniel\n",
        "breedings": "Bitch,Stud,Date,Semen,Result\nZinnia,Tarn,2026-08-01,natural,missed\n",
    }.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    with Store.open(path) as store:
        report = store.load([tmp_path / "dogs.csv", tmp_path / "breedings.csv"], today=DEMO_TODAY)
        assert report.n_refused == 0
    return path


def test_a_kept_fit_comes_back_as_the_same_posterior(fitted_store_path, demo_records):
    with Store.open(fitted_store_path, read_only=True) as store:
        read = read_posterior(store, CONCEPTION)

    posterior = read.posterior
    assert read.is_of_today
    assert posterior.data.n_breedings == len(pd.read_csv(demo_records / "breedings.csv"))
    assert posterior.estimate("c06").median == pytest.approx(
        float(pd.Series(read.kept.draws["c06"]).median())
    )
    assert posterior.draws["effect_bitch"].tobytes() == read.kept.draws["effect_bitch"].tobytes()


@pytest.mark.slow
def test_an_older_fit_says_how_many_records_came_since(store_with_new_breeding, tmp_path):
    with Store.open(store_with_new_breeding, read_only=True) as store:
        read = read_posterior(store, CONCEPTION)
    write_stud_reviews(store_with_new_breeding, tmp_path, today=DEMO_TODAY, studs=["Tarn"])

    assert read.n_records_since == 2
    assert not read.is_of_today
    age = Words("en").tell(fit_age_sentence(2, read.kept.fitted_at.date()))
    page = (tmp_path / "stud-tarn.html").read_text("utf-8")
    assert age in page.replace("\N{NO-BREAK SPACE}", " ")


def test_a_bitch_that_came_after_the_fit_has_the_spread_of_all_bitches(
    store_with_new_breeding, demo_fit
):
    with Store.open(store_with_new_breeding, read_only=True) as store:
        posterior = read_posterior(store, CONCEPTION).posterior

    names = posterior.data.levels["bitch"]
    unseen = posterior.draws["effect_bitch"][:, names.index("Zinnia")]
    seen = posterior.draws["effect_bitch"][:, names.index("Birch")]
    kept = demo_fit.draws["effect_bitch"][:, demo_fit.data.levels["bitch"].index("Birch")]
    # Four standard errors of a standard deviation from 1,000 draws.
    assert unseen.std() == pytest.approx(
        np.sqrt(np.mean(posterior.draws["c20_bitch"] ** 2)), rel=4 / np.sqrt(2 * 1000)
    )
    # Both are large where the spread is: the error of their product is more than that of normals.
    product = (unseen - unseen.mean()) * (seen - seen.mean())
    assert product.mean() == pytest.approx(0.0, abs=4 * product.std() / np.sqrt(1000))
    assert seen.tobytes() == kept.tobytes()


@pytest.mark.parametrize("changed", ["model_fingerprint", "priors_fingerprint"])
def test_a_fit_of_another_model_or_other_priors_is_refused(fitted_store_path, tmp_path, changed):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(fitted_store_path.read_bytes())
    with Store.open(path) as store:
        store.save_fit(replace(store.read_fit("conception"), **{changed: "another"}))

        with pytest.raises(StaleFitError, match="Run `studcurve fit`"):
            read_posterior(store, CONCEPTION)


def test_an_unchanged_kennel_is_not_fitted_again(fitted_store_path):
    lines = []
    with Store.open(fitted_store_path) as store:
        stopped = stopped_in(store, DEMO_TODAY)
        outcomes = fit_models(
            store, seed=DEMO_SEED, say=lines.append, models=[CONCEPTION], silent=stopped
        )

    assert [outcome.state for outcome in outcomes] == ["unchanged"]
    assert lines[0].startswith("conception: nothing changed since the model of ")


def test_a_kennel_of_which_other_dogs_are_stopped_is_fitted_again(fitted_store_path, tmp_path):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(fitted_store_path.read_bytes())
    with Store.open(path) as store:
        stopped = stopped_in(store, DEMO_TODAY)
        data, kept = CONCEPTION.prepare(store), store.read_fit("conception")

    names, _ = partners(data)
    told = np.array(kept.checks["regressed"])
    assert stopped
    assert told.tolist() == without_stopped(stopped, *partners(data)).tolist()
    assert is_told_of(kept, data, stopped)
    assert not is_told_of(kept, data, {*stopped, str(names[told][0])})
    assert not is_told_of(kept, data, ())


def test_records_too_thin_are_skipped_with_a_sentence_and_answered_from_the_table(tmp_path):
    lines = []
    with Store.open(tmp_path / "empty.duckdb") as store:
        outcomes = fit_models(store, seed=1, say=lines.append)
        read = read_posterior(store, CONCEPTION)

    assert {outcome.state for outcome in outcomes} == {"skipped"}
    assert all("too thin to move its priors: skipped" in sentence for sentence in lines)
    assert read.kept is None
    assert not read.is_of_today
    # Four standard errors of the mean of the table's own 4,000 draws.
    assert read.posterior.draws["c06"].mean() == pytest.approx(-0.55, abs=4 * 0.40 / 4000**0.5)
    assert read.posterior.records_weight("c06").share < 4 * np.sqrt(2 / 4000)


def test_a_kennel_that_became_too_thin_forgets_its_fit(fitted_store_path, tmp_path):
    path = tmp_path / "empty.duckdb"
    with Store.open(fitted_store_path, read_only=True) as store:
        kept = store.read_fit("conception")
    with Store.open(path) as store:
        store.save_fit(kept)
        fit_models(store, seed=1, say=lambda sentence: None)

        assert store.read_fit("conception") is None


@pytest.mark.slow
def test_what_did_not_settle_is_refused_and_the_older_fit_stays(
    fitted_store_path, tmp_path, monkeypatch
):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(fitted_store_path.read_bytes())
    monkeypatch.setattr(sampling, "MIN_ESS", 1e6)

    def hasty(data, *, seed):
        return fit_conception(data, seed=seed, schedule=sampling.SCHEDULE[:1])

    with Store.open(path) as store:
        older = store.read_fit("conception")
        outcomes = fit_models(
            store, seed=DEMO_SEED + 1, say=lambda sentence: None,
            models=[replace(CONCEPTION, fit=hasty)],
        )  # fmt: skip

        assert outcomes[0].state == "refused"
        assert "did not settle" in outcomes[0].sentence
        assert store.read_fit("conception").draws["c01"].tobytes() == older.draws["c01"].tobytes()


def test_the_terminal_tells_machines_what_became_of_each_model(tmp_path, capsys):
    with Store.open(tmp_path / "k.duckdb"):
        pass  # an empty file
    with pytest.raises(SystemExit) as stop:
        main(["fit", "--store", str(tmp_path / "k.duckdb"), "--json"])
    printed = capsys.readouterr()

    by_model = json.loads(printed.out)
    assert (stop.value.code or 0) == 0
    assert set(by_model) == {model.name for model in MODELS}
    assert all(model["state"] == "skipped" for model in by_model.values())
    assert "too thin" in printed.err
