"""The demo's studs over time: true falls are announced, the fever's dip is found and dated."""

import json
from datetime import date, timedelta

import numpy as np
import pytest
from tests.conftest import fit_or_take

from studcurve.analytics.models.stud.announcement import announce
from studcurve.analytics.models.stud.dips import coincident_events, find_dips
from studcurve.analytics.models.stud.false_alarms import kennel_rule
from studcurve.analytics.models.stud.level import stud_answers
from studcurve.pipelines.fits.fit import read_posterior
from studcurve.pipelines.fits.registry import STUD_OVER_TIME, TOTAL_SPERM
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO

TRUTH = json.loads((DEMO / "true_parameters.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def fits(demo_store_path, tmp_path_factory):
    path = tmp_path_factory.mktemp("studs") / "demo.duckdb"
    path.write_bytes(demo_store_path.read_bytes())
    with Store.open(path) as store:
        fit_or_take(store, STUD_OVER_TIME)
        posteriors = {
            model.name: read_posterior(store, model).posterior for model in STUD_OVER_TIME
        }
        return posteriors, store.read("events")


@pytest.fixture(scope="module")
def totals(fits):
    posteriors, truth = fits
    return posteriors[TOTAL_SPERM.name], truth


@pytest.mark.slow
def test_every_measure_settles_at_the_first_attempt(fits):
    for name, posterior in fits[0].items():
        assert posterior.diagnostics.n_attempts == 1, name


@pytest.mark.slow
def test_the_ageing_stud_and_the_one_whose_sperm_fell_to_none_are_announced(totals, fits):
    posterior, _ = totals

    posteriors, _ = fits
    sure = kennel_rule(list(posteriors.values()), np.random.default_rng(0)).sure_prob
    announced = {stud for stud in posterior.data.studs if announce(posterior, stud, sure).announced}

    assert announced == {TRUTH["ageing"]["stud"], TRUTH["written_by_hand"]["no_sperm"]["stud"]}


@pytest.mark.slow
def test_the_dip_after_the_fever_is_found_dated_and_its_events_are_coincident(totals):
    posterior, events = totals
    fever = TRUTH["fever"]
    days, change = np.array(fever["log_change_by_day"]).T
    deepest = int(change.argmin())
    half_depth = np.interp(-change[deepest] / 2, -change[: deepest + 1], days[: deepest + 1])
    began = date.fromisoformat(fever["on"]) + timedelta(days=float(half_depth))

    dips = find_dips(posterior, fever["stud"])

    assert abs((dips[0].began_on - began).days) <= 14
    assert "fever" in {e.kind for e in coincident_events(events, fever["stud"], dips[0].began_on)}
    assert all(
        find_dips(posterior, stud) == () for stud in posterior.data.studs if stud != fever["stud"]
    )


@pytest.mark.slow
def test_the_levels_cover_the_truth_at_the_reference(totals):
    # The truth: what the script gives a usual sample after four days' rest, mean season.
    posterior, _ = totals
    parameters = TRUTH["parameters"]
    rested = 1.0 - parameters["q03_deficit"] * np.exp(-3.0 / parameters["q03_days"])
    covered = 0
    for stud, total in TRUTH["stud_total_sperm_m"].items():
        answers = stud_answers(posterior, stud)
        truth = total * rested
        if stud == TRUTH["ageing"]["stud"]:
            born = posterior.data.born_day[posterior.data.studs.index(stud)]
            last = (np.datetime64(answers.last_on) - np.datetime64("2000-01-01")).astype(int)
            beyond = max(0.0, (last - born) / 365.25 - TRUTH["ageing"]["from_years"])
            truth *= np.exp(TRUTH["ageing"]["log_per_year"] * beyond)
        covered += answers.now.lower <= truth <= answers.now.upper

    # Five intervals of 90 %: fewer than three hits would come about once in a hundred.
    assert covered >= 3
