"""The chance of a litter that `ship` states: from the kennel's fit, kept, stopped by a caution."""

import json
import shutil
from dataclasses import replace
from datetime import date, datetime, timedelta

import duckdb
import numpy as np
import pandas as pd
import pytest
from scipy.special import expit
from typer.testing import CliRunner

from studcurve.analytics.measures import doses
from studcurve.analytics.models.breedings.terms import design_matrix
from studcurve.analytics.models.conception.chance import pregnant_logits
from studcurve.pipelines.cli import app
from studcurve.pipelines.commands import ship
from studcurve.pipelines.fits.guard import CHANCE_FIT
from studcurve.pipelines.fits.registry import CONCEPTION
from studcurve.pipelines.plan.forecasts import chances_of_shipment
from studcurve.pipelines.plan.records import heat_of, pair_of
from studcurve.pipelines.plan.shipment import PackedDose, shipment_chance
from studcurve.pipelines.records.database.store import Store
from studcurve.reports.words import Words

END = date(2026, 10, 31)
COLLECTED = datetime(2026, 10, 31, 14)
INSEMINATE = datetime(2026, 11, 2, 11)
SHIP = [
    "ship", "Merle", "--volume", "0.9", "--target", "20", "--motility", "80", "--cells", "140",
    "--dilution", "1 + 19", "--extender", "egg yolk",
    "--inseminate", f"{INSEMINATE:%Y-%m-%d %H:%M}", "--now", f"{COLLECTED:%Y-%m-%d %H:%M}",
    "--asked-by", "Ida", "--carrier", "Night Coach",
]  # fmt: skip


@pytest.fixture
def fitted(fitted_store_path, tmp_path):
    """The fitted demo, to be written to, with the day on which its records end."""
    path = tmp_path / "demo.duckdb"
    shutil.copyfile(fitted_store_path, path)
    with Store.open(path) as store:
        store.end_on(END)
    return path


@pytest.fixture
def ask(fitted, tmp_path):
    def asked(*more, bitch="Thyme", command=SHIP):
        to = [] if bitch is None else ["--bitch", bitch]
        out = ["--store", str(fitted), "--out", str(tmp_path / "out")]
        return CliRunner().invoke(app, [*command, *to, *out, *more])

    return asked


def kept(path):
    with duckdb.connect(str(path), read_only=True) as file:
        return file.execute("SELECT * FROM forecast ORDER BY forecast_id").df()


def packed(records, **other):
    """A dose of Merle's for Thyme as the command packs it, otherwise as said."""
    reading = doses.SampleEvaluation(
        volume_ml=0.9, progressive_motility_pct=80.0, n_motility_evaluated=None, n_cells=140,
        looked_at_nl=0.05, concentration_m_per_ml=None,
    )  # fmt: skip
    usual = doses.usual_total(np.array([]))
    sample = doses.draw_sample(reading, count_cv=0.1, usual=usual, rng=np.random.default_rng(1))
    plain = PackedDose(
        stud="Merle", bitch="Thyme", sample=sample, n_doses=2, route="transcervical",
        collected_at=COLLECTED, sent_at=COLLECTED + timedelta(hours=2), inseminate_at=INSEMINATE,
        extender="egg yolk", carrier="Night Coach", clinic=None,
    )  # fmt: skip
    return replace(plain, **other)


@pytest.fixture(scope="module")
def records(reading_once, fitted_store_path):
    return reading_once[1](fitted_store_path, COLLECTED + timedelta(hours=2))


def test_what_is_stated_is_what_is_kept_in_the_same_words_as_a_comparison(ask, fitted):
    answer = json.loads(ask("--json").stdout)

    (row,) = kept(fitted).to_dict("records")
    stated = answer["chance"]
    for name in ("litter_prob", "litter_prob_median", "litter_prob_lower", "litter_prob_upper",
                 "published_litter_prob", "records_weight"):  # fmt: skip
        assert row[name] == stated[name]
    assert stated["litter_prob_lower"] < stated["litter_prob"] < stated["litter_prob_upper"]
    assert 0.05 < stated["records_weight"] < 1.0
    assert stated["published_litter_prob"] != stated["litter_prob"]
    assert (row["command"], row["stated_by"], row["asked_by"]) == ("ship", "model", "Ida")
    assert (row["stud"], row["bitch"], row["semen_type"]) == ("Merle", "Thyme", "chilled")
    assert (row["route"], row["n_inseminations"]) == ("vaginal", 1)
    assert row["planned_at"] == INSEMINATE
    assert row["stated_at"].date() == END
    assert CONCEPTION.name == CHANCE_FIT
    assert row["model_fingerprint"] == f"{CHANCE_FIT}, version {CONCEPTION.version}"
    assert answer["forecasts"]["n_kept"] == 1
    with Store.open(fitted, read_only=True) as store:
        assert store.broken_promises() == []
        # The shipment came with the load that was the last one when its chance was kept.
        assert row["load_id"] == store.last_load()


@pytest.mark.parametrize("language", ["en", "de"])
def test_one_line_tells_the_chance_its_range_and_the_share_of_the_records(ask, fitted, language):
    ran = ask("--language", language)

    words, (row,) = Words(language), kept(fitted).to_dict("records")
    told = " ".join(ran.stdout.split())
    assert ran.exit_code == 0, ran.output
    # The sentence up to its first number.
    assert words["plan.shipment_chance"].split("{")[0] in told
    assert words.say("forecast.kept", n=1) in told
    for prob in (row["litter_prob"], row["records_weight"]):
        assert words.whole_percent(prob) in told
    low, high = (words.number(100 * row[f"litter_prob_{end}"]) for end in ("lower", "upper"))
    assert words.say("format.range", lower=low, upper=high) in told


def test_the_mean_is_that_of_the_fit_by_another_route(records, fitted_store_path):
    """Inputs drawn anew and set into the chain of the pages instead of that of a plan."""
    dose, rng = packed(records), np.random.default_rng(5)
    stated = shipment_chance(fitted_store_path, dose, (), seed=2)

    posterior = records.conception.posterior
    n = 400
    curve = records.storage.curve(stud="Merle", extender="egg yolk", rng=rng, n_draws=n)
    hours = (INSEMINATE - COLLECTED).total_seconds() / 3600.0
    share = curve.share(np.array([hours])).reshape(n)
    ovulation = heat_of(records, "Thyme").ovulation
    at = ovulation.days[rng.choice(len(ovulation.days), n, p=ovulation.weight)]
    day = (INSEMINATE - ovulation.origin).total_seconds() / 86400.0 - at
    pair = pair_of(records, "Merle", "Thyme", on=INSEMINATE.date())
    semen, route = np.full(n, "chilled"), np.full(n, "transcervical")
    design = design_matrix(
        semen, route, n_inseminations=np.ones(n), storage_days=np.full(n, hours / 24.0),
        normal_morphology_pct=np.full(n, pair.normal_morphology_pct),
        bitch_age_years=np.full(n, pair.bitch_age_years),
        stud_age_years=np.full(n, pair.stud_age_years), missed_before=np.zeros(n),
        motile_m_per_ml=np.full(n, np.nan), hours_known=np.full(n, hours),
    )  # fmt: skip
    total, motile = (values[:n] for values in (dose.sample.total_m, dose.sample.progressive_m))
    logits = pregnant_logits(
        posterior.draws, semen, route, design=design,
        doublings=np.log2(motile / 2 * share / 100.0), motility_pct=100 * motile / total * share,
        days=day[:, None], inseminated=np.ones((n, 1), dtype=bool),
    )  # fmt: skip
    levels = posterior.data.levels
    for factor, name in (("stud", "Merle"), ("bitch", "Thyme"), ("breed", pair.breed)):
        logits += posterior.draws[f"effect_{factor}"][:, [levels[factor].index(name)]]
    mean = float((expit(logits) * expit(posterior.draws["c02"])[:, None]).mean())
    # The plan adds the doubt of prior c22, late shipments, and the clinic and year of a new one.
    assert stated.expected == pytest.approx(mean, abs=0.04)
    assert stated.published_prob != pytest.approx(stated.expected, abs=1e-6)


def test_what_makes_a_dose_worse_never_raises_its_chance(records, fitted_store_path):
    def expected(**other):
        return shipment_chance(fitted_store_path, packed(records, **other), (), seed=2).expected

    plain = expected()
    assert expected(n_doses=6) < plain
    assert expected(collected_at=COLLECTED - timedelta(hours=40)) < plain
    assert expected(inseminate_at=INSEMINATE + timedelta(days=6)) < plain
    assert expected(extender="milk") <= plain


def test_a_chance_is_a_person_s_and_the_model_s_where_both_are_stated(ask, fitted):
    answer = json.loads(ask("--json", "--expect", "55").stdout)

    rows = kept(fitted).set_index("stated_by")
    assert answer["forecasts"]["n_kept"] == len(rows) == 2
    assert rows.loc["person", "litter_prob"] == 0.55
    assert rows.loc["model", "litter_prob"] == answer["chance"]["litter_prob"]
    assert len(set(rows["question_id"])) == 1


def test_without_a_heat_of_hers_the_day_is_taken_as_usual_and_that_is_said(ask, fitted):
    words = Words("de")

    told, of_heat = (
        " ".join(ask("--language", "de", bitch=bitch).stdout.split())
        for bitch in ("Coral", "Thyme")
    )

    said = words.say("plan.shipment_day_usual", bitch="Coral")
    assert said in told
    assert said.replace("Coral", "Thyme") not in of_heat
    assert kept(fitted)["bitch"].tolist() == ["Coral", "Thyme"]


@pytest.mark.parametrize("bitch", [None, "Nobody"])
def test_for_a_bitch_that_nobody_knows_no_chance_is_stated(ask, fitted, bitch):
    ran = ask("--json", bitch=bitch)

    answer = json.loads(ran.stdout)
    assert ran.exit_code == 0
    assert "chance" not in answer
    assert "forecasts" not in answer
    assert kept(fitted).empty


def test_a_check_states_the_chance_and_keeps_nothing(ask, fitted):
    answer = json.loads(ask("--json", "--check").stdout)

    assert 0.0 < answer["chance"]["litter_prob"] < 1.0
    assert "forecasts" not in answer
    assert kept(fitted).empty


@pytest.mark.parametrize("is_stale", [True, False])
def test_without_a_current_fit_no_chance_is_stated(ask, fitted, is_stale):
    with Store.open(fitted) as store:
        if is_stale:
            older = replace(store.read_fit(CHANCE_FIT), model_fingerprint="conception, version 1")
            store.save_fit(older)
        else:
            store.drop_fit(CHANCE_FIT)

    ran = ask("--json")

    assert ran.exit_code == 0, ran.output
    assert "chance" not in json.loads(ran.stdout)
    assert kept(fitted).empty


@pytest.mark.parametrize("dog", ["Merle", "Thyme"])
def test_where_a_caution_stops_either_dog_there_is_no_number(ask, fitted, kennel_class, tmp_path,
                                                             dog):  # fmt: skip
    sheet = kennel_class(tmp_path).write("health", [{
        "Dog": dog, "Date": "2026-10-30", "Kind": "laboratory test", "What": "Brucella (RSAT)",
        "Result": "suspect",
    }])  # fmt: skip
    with Store.open(fitted) as store:
        store.load([sheet], today=END)

    ran = ask("--json")

    answer = json.loads(ran.stdout)
    assert ran.exit_code == 1
    assert answer["stopped"]
    assert "chance" not in answer
    assert kept(fitted).empty


def test_a_stop_that_is_no_stop_of_shipments_still_holds_the_chance_back(
    records, fitted_store_path, demo_kennel
):
    """By itself, whatever the command stopped before."""
    from studcurve.pipelines.records.dog_history import cautions_of

    stops = cautions_of(demo_kennel.views, "Heron", END)
    assert shipment_chance(fitted_store_path, packed(records), stops, seed=2) is None
    assert shipment_chance(fitted_store_path, packed(records), (), seed=2) is not None


def test_where_there_are_no_data_like_it_a_range_is_told_and_nothing_is_kept(
    records, fitted_store_path
):
    lone = packed(
        records, inseminate_at=INSEMINATE + timedelta(days=9), n_doses=400,
        collected_at=COLLECTED - timedelta(hours=1),
    )  # fmt: skip
    told = shipment_chance(fitted_store_path, lone, (), seed=2)

    assert not told.has_centre
    assert told.values()["litter_prob"] is None
    assert told.values()["litter_prob_lower"] < told.values()["litter_prob_upper"]
    assert told.sentences[0].values["chance"].key == "plan.chance_without_centre"
    assert chances_of_shipment(told, asked_by=None, at=COLLECTED) == []


@pytest.mark.parametrize("language", ["en", "de"])
def test_where_the_file_can_only_be_read_nothing_is_kept_and_one_line_says_so(
    ask, fitted, monkeypatch, language
):
    """The shipment was recorded a moment before."""
    with_chances = ship._with_chances

    def file_is_read_only(*arguments):
        fitted.chmod(0o444)
        return with_chances(*arguments)

    monkeypatch.setattr(ship, "_with_chances", file_is_read_only)

    ran = ask("--language", language)

    assert ran.exit_code == 0
    assert Words(language)["forecast.read_only"] in " ".join(ran.stdout.split())
    assert kept(fitted).empty
    with Store.open(fitted, read_only=True) as store:
        assert (pd.to_datetime(store.read("shipments")["sent_earliest"]).dt.date == END).any()


def test_it_is_scored_like_those_of_a_comparison_once_the_litter_is_there(
    ask, fitted, kennel_class, tmp_path
):
    ask()
    before = kept(fitted)
    sheet = kennel_class(tmp_path).write("breedings", [{
        "Bitch": "Thyme", "Stud": "Merle", "Date": f"{INSEMINATE:%Y-%m-%d}", "Semen": "chilled",
        "Route": "vaginal", "Result": "missed",
    }])  # fmt: skip
    today = (INSEMINATE + timedelta(days=100)).date()
    with Store.open(fitted) as store:
        store.load([sheet], today=today)
        store.end_on(today)

    answer = json.loads(
        CliRunner().invoke(app, ["forecasts", "--json", "--store", str(fitted)]).stdout
    )

    pd.testing.assert_frame_equal(kept(fitted), before)
    model = answer["ledger"]["model"]
    assert (model["n_counting"], model["n_settled"]) == (1, 1)
    assert model["litters"]["expected"] == pytest.approx(before["litter_prob"].iloc[0])
