"""The demo is what its script makes, and holds the mess that it promises."""

import ast
import importlib.util
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from studcurve.analytics.cautions import stopped_answers
from studcurve.pipelines.pages.comparison import coming_breedings
from studcurve.pipelines.records.dog_history import cautions_of
from studcurve.pipelines.run import DEMO, DEMO_TODAY, N_DEMO_COMPARISONS

RECORDS = DEMO / "records"


TODAY = pd.Timestamp(DEMO_TODAY)
TEST_HOLDS_DAYS = 365
"""Longest age of a negative test at a mating. [d]"""


@pytest.fixture(scope="module")
def truth(demo_truth):
    return demo_truth


@pytest.fixture(scope="module")
def dogs():
    rows = pd.read_csv(RECORDS / "dogs.csv", dtype=str).set_index("Dog")
    return rows.assign(born=pd.to_datetime(rows["Born"]))


@pytest.fixture(scope="module")
def breedings():
    rows = pd.read_csv(RECORDS / "breedings.csv", dtype=str)
    return rows.assign(on=pd.to_datetime(rows["Date"]))


@pytest.fixture(scope="module")
def brucella():
    rows = pd.read_csv(RECORDS / "health.csv", dtype=str)
    rows = rows[rows["What"].str.contains("brucella", case=False)]
    return rows.assign(on=pd.to_datetime(rows["Date"]))


@pytest.fixture(scope="module")
def compared(demo_kennel):
    """The pairs of the comparisons that the demo writes."""
    return coming_breedings(demo_kennel, N_DEMO_COMPARISONS)


def days_since_test(brucella, dog, on):
    """Days from the last negative test before a day; infinite where there is none."""
    days = brucella[
        (brucella["Dog"] == dog) & (brucella["on"] < on) & (brucella["Result"] == "negative")
    ]["on"]
    return np.inf if days.empty else (on - days.max()).days


@pytest.fixture(scope="module")
def collections():
    rows = pd.read_csv(RECORDS / "collections.csv", dtype=str)
    rows["on"] = pd.to_datetime(rows["Date"], format="mixed")
    rows["total_m"] = pd.to_numeric(rows["Volume (mL)"]) * pd.to_numeric(
        rows["Concentration (M/mL)"], errors="coerce"
    )
    return rows


def test_the_script_makes_the_committed_files_byte_for_byte(tmp_path):
    subprocess.run([sys.executable, DEMO / "simulate.py", "--out", tmp_path], check=True)

    made = sorted(p.relative_to(tmp_path) for p in tmp_path.rglob("*") if p.is_file())
    assert len(made) == 11
    for name in made:
        assert (tmp_path / name).read_bytes() == (DEMO / name).read_bytes(), name


def test_the_script_imports_nothing_of_the_toolkit():
    tree = ast.parse((DEMO / "simulate.py").read_text(encoding="utf-8"))
    imported = {
        (node.module if isinstance(node, ast.ImportFrom) else alias.name).split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for alias in node.names
    }

    assert imported - set(sys.stdlib_module_names) == {"numpy"}


def test_the_kennel_has_the_size_it_promises(collections, breedings, dogs):
    heats = pd.read_csv(RECORDS / "heats.csv", dtype=str)

    assert set(collections["Dog"]) == set(dogs.index[dogs["Sex"] == "male"])
    assert set(breedings["Bitch"]) == set(dogs.index[dogs["Sex"] == "female"])
    assert 650 <= len(collections) <= 800
    assert len(breedings) >= 240
    assert breedings["Bitch"].nunique() >= 60
    assert set(breedings["Semen"]) == {"natural", "fresh", "chilled", "frozen"}
    assert set(heats["Progesterone 1 unit"].dropna()) == {"ng/mL", "nmol/L"}
    assert heats.isin(["> 20"]).any(axis=None)


def test_records_have_the_gaps_of_real_life(collections):
    breedings = pd.read_csv(RECORDS / "breedings.csv", dtype=str)
    inseminated = breedings[breedings["Semen"] != "natural"]
    past = breedings[pd.to_datetime(breedings["Date"]) < "2026-08-01"]

    assert 0.4 <= collections["Time"].isna().mean() <= 0.7
    assert 0.05 <= collections["Concentration (M/mL)"].isna().mean() <= 0.25
    assert 0.25 <= inseminated["Progressively motile per dose (M)"].isna().mean() <= 0.5
    assert 0.04 <= past["Result"].isna().mean() <= 0.12
    by_eye = collections[collections["How motility was evaluated"] == "by eye"][
        "Progressive motility (%)"
    ].dropna()
    numbers = pd.to_numeric(by_eye[~by_eye.str.contains("-")])
    assert (numbers % 10 == 0).all()


def test_the_fever_takes_about_two_thirds_weeks_later_and_recovers_within_a_cycle(collections):
    tarn = collections[(collections["Dog"] == "Tarn") & collections["total_m"].notna()]
    days = (tarn["on"] - pd.Timestamp("2024-03-04")).dt.days

    def level(low, high):
        return np.exp(np.log(tarn["total_m"][days.between(low, high)]).mean())

    usual = level(-700, -1)
    # Six weekly checks at a spread of 0.4 (log) have an error of 0.17: 0.25 to 0.50 around 0.35.
    assert 0.25 <= level(27, 46) / usual <= 0.50
    assert level(0, 16) / usual > 0.65
    assert level(76, 140) / usual > 0.70


def test_one_stud_ages_and_the_others_hold(collections):
    def fall(dog):
        rows = collections[(collections["Dog"] == dog) & collections["total_m"].notna()]
        early = rows[rows["on"] < "2022-06-01"]["total_m"]
        late = rows[rows["on"] > "2025-06-01"]["total_m"]
        return 1 - np.exp(np.log(late).mean() - np.log(early).mean())

    assert fall("Bracken") > 0.40
    assert max(abs(fall(dog)) for dog in ("Sorrel", "Merle", "Pike")) < 0.25


def test_one_evaluator_reads_high(collections):
    rows = collections[
        (collections["How motility was evaluated"] == "by eye")
        & (collections["on"] >= "2021-01-01")
    ]
    rows = rows[~rows["Progressive motility (%)"].str.contains("-", na=True)]
    means = pd.to_numeric(rows["Progressive motility (%)"]).groupby(rows["Evaluator"]).mean()

    assert 4 <= means["Rolf"] - means["Ida"] <= 10


def test_frozen_semen_goes_to_the_special_bitches():
    breedings = pd.read_csv(RECORDS / "breedings.csv", dtype=str)
    dogs = pd.read_csv(RECORDS / "dogs.csv", dtype=str).set_index("Dog")
    missed = breedings["Bitch"].map(dogs["Missed heats before"]).notna()

    share = missed.groupby(breedings["Semen"]).mean()
    assert share["frozen"] > 1.5 * share[["natural", "fresh", "chilled"]].mean()


def test_shipments_are_sometimes_late():
    shipments = pd.read_csv(RECORDS / "shipments.csv", dtype=str)
    late = pd.to_datetime(shipments["Arrived on"]) > pd.to_datetime(shipments["Promised on"])

    assert 2 <= late.sum() <= 15


def test_no_straw_is_used_that_was_not_frozen(demo_store):
    lots = demo_store.read("frozen_lots")
    used = demo_store.read("inseminations").query("semen_type == 'frozen'")["n_straws"].sum()

    assert used == (lots["n_straws"] - lots["n_straws_left"]).sum()
    assert (lots["n_straws_left"] >= 0).all()


def test_the_truth_is_not_the_centre_of_the_priors(truth):
    from studcurve.analytics.priors import PRIORS

    rows = [row for row in truth["parameters"] if row in PRIORS and row.startswith("c")]
    away = [
        abs(truth["parameters"][row] - PRIORS[row].centre) / PRIORS[row].sd
        for row in rows
        if PRIORS[row].distribution == "normal"
    ]

    assert len(away) > 15
    # Inside the 95 % range of every published row, the widest of a story that has none of them.
    assert max(away) < 1.96
    assert np.mean(np.array(away) > 0.2) > 0.5


@pytest.fixture(scope="module")
def story():
    """The simulator, as a module."""
    found = importlib.util.spec_from_file_location("simulate", DEMO / "simulate.py")
    module = importlib.util.module_from_spec(found)
    with pytest.MonkeyPatch.context() as patched:
        patched.setitem(sys.modules, "simulate", module)
        found.loader.exec_module(module)
        yield module


@pytest.fixture(scope="module")
def habits(story, tmp_path_factory):
    """Breedings by the habits of the demo kennel, as the simulator regresses them."""
    seen = []
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(story, "best_fitting_rows", lambda bred: seen.append(bred) or {})
        story.simulate(tmp_path_factory.mktemp("habits"))
    return seen[0]


def bred(story, **circumstances):
    """A fresh vaginal insemination at its best day, otherwise as said."""
    usual = {
        "semen": "fresh", "route": "vaginal", "days": (1.7,), "dose_m": 200.0, "motile_pct": 75.0,
        "hours": 1.0, "volume_ml": 4.0, "normal_pct": 75.0, "bitch_age_years": 3.0,
        "stud_age_years": 4.0, "missed_before": False, "size": "medium", "first_litter": False,
        "effects": dict.fromkeys(("bitch", "stud", "breed", "dam", "sire"), 0.0),
    }  # fmt: skip
    return story.Circumstances(**(usual | circumstances))


def test_the_rows_of_the_truth_are_those_of_another_program_s_regression(story, habits, truth):
    """No outcome enters: weights and answers are the story's own chances and mean litters."""
    some = habits[::5]
    columns = pd.DataFrame([story.toolkit_columns(of) for of in some]).fillna(0.0).astype(float)
    chance = np.array([story.pregnant_prob(of) for of in some])
    pups = np.exp([story.litter_log_mean(of) for of in some])
    chain = columns[[name for name in columns if name.startswith("c")]]
    litter = columns[[name for name in columns if name.startswith("l")]]

    mine = story.best_fitting_rows(some)

    whelping = sm.GLM(chance, chain, family=sm.families.Binomial())
    counting = sm.GLM(pups, litter, family=sm.families.Poisson(), var_weights=chance)
    for model in (whelping, counting):
        for row, value in model.fit(tol=1e-12).params.items():
            assert mine[row] == pytest.approx(value, abs=1e-6), row
            assert np.sign(truth["parameters"][row]) == np.sign(value) or abs(value) < 0.2, row


def test_every_row_of_motility_hours_and_day_has_a_value_of_the_story(truth):
    rows = ("c23", "c24", "c25", "c26", "l16", "l17", "l18", "l19")

    assert all(truth["parameters"][row] != 0.0 for row in rows)
    # Weak sperm, a box that is late and aged ova cost a litter and pups.
    assert max(truth["parameters"][row] for row in ("c12", "c23", "c25", "l17", "l18", "l19")) < 0.0


def test_the_models_rows_cannot_tell_the_story(story, habits):
    """Else the demo would be drawn from the model that is then fitted to it."""
    chance = np.array([story.pregnant_prob(of) for of in habits])
    columns = pd.DataFrame([story.toolkit_columns(of) for of in habits]).fillna(0.0).astype(float)
    rows = pd.Series(story.best_fitting_rows(habits))
    chain = [name for name in columns if name.startswith("c")]

    told = 1.0 / (1.0 + np.exp(-(columns[chain] @ rows[chain])))

    off = np.sqrt(np.mean((told - chance) ** 2))
    assert 0.03 < off < 0.10
    assert np.mean(told - chance) == pytest.approx(0.0, abs=1e-6)


def test_a_late_box_costs_more_in_its_later_hours(story):
    def loss(start, end):
        chances = [
            story.pregnant_prob(bred(story, semen="chilled", days=(2.5,), hours=h, dose_m=60.0))
            for h in (start, end)
        ]
        return chances[0] - chances[1]

    assert loss(18.0, 30.0) == 0.0
    assert loss(30.0, 42.0) > 0.01


def test_the_day_matters_more_the_shorter_sperm_live(story):
    def left(semen, route, best):
        early, there = (
            story.pregnant_prob(bred(story, semen=semen, route=route, days=(day,)))
            for day in (best - 3.0, best)
        )
        return early / there

    natural = left("natural", "natural", 1.3)
    fresh, chilled = left("fresh", "vaginal", 1.7), left("chilled", "vaginal", 2.5)
    assert natural > fresh > chilled > left("frozen", "transcervical", 3.4)
    assert natural > 0.9


def test_motility_below_the_threshold_costs_and_above_it_hardly(story):
    at = {pct: story.pregnant_prob(bred(story, motile_pct=pct)) for pct in (30.0, 50.0, 70.0, 90.0)}

    falls = -np.diff([at[pct] for pct in sorted(at, reverse=True)])
    assert (falls > 0.0).all()
    assert falls[-1] > 5.0 * falls[0]


def test_old_ova_take_from_chance_and_litter_alike(story):
    on_time, late = (
        bred(story, semen="natural", route="natural", days=(day,)) for day in (2.0, 7.5)
    )

    lost = story.fertile_ova(7.5) / story.fertile_ova(2.0)
    reached = story.fertilized(late)[0] / story.fertilized(on_time)[0]
    assert 0.7 < lost < 0.9
    assert story.litter_log_mean(late) - story.litter_log_mean(on_time) == pytest.approx(
        np.log(lost) + story.STORY["pups_by_sperm"] * np.log(reached)
    )
    assert story.pregnant_prob(late) < story.pregnant_prob(on_time)


def test_an_outcome_that_comes_otherwise_moves_nothing_else(story, tmp_path, monkeypatch):
    monkeypatch.setitem(story.STORY, "level", 0.0)
    story.simulate(tmp_path)

    moved = {
        path.name
        for path in (tmp_path / "records").iterdir()
        if path.read_bytes() != (RECORDS / path.name).read_bytes()
    }
    assert moved == {"breedings.csv"}
    ours, theirs = (
        pd.read_csv(folder / "breedings.csv", dtype=str)
        for folder in (tmp_path / "records", RECORDS)
    )
    outcome = [*story.OUTCOME_HEADINGS, "Notes"]
    pd.testing.assert_frame_equal(ours.drop(columns=outcome), theirs.drop(columns=outcome))
    assert (ours["Result"] == "whelped").sum() < (theirs["Result"] == "whelped").sum() - 30


def test_both_partners_of_every_natural_mating_were_tested_negative_within_the_year(
    breedings, brucella
):
    natural = breedings[breedings["Semen"] == "natural"]
    late = {
        (row.Date, dog)
        for row in natural.itertuples()
        for dog in (row.Stud, row.Bitch)
        if days_since_test(brucella, dog, row.on) > TEST_HOLDS_DAYS
    }

    assert len(natural) > 60
    assert late == set()


def test_no_dog_is_tested_before_it_is_born_or_more_often_than_a_kennel_would(dogs, brucella):
    assert (brucella["on"] > brucella["Dog"].map(dogs["born"])).all()
    assert (brucella["on"] <= TODAY).all()
    a_year = brucella.groupby(["Dog", brucella["on"].dt.year]).size()
    assert a_year.max() <= 4


def test_one_stud_s_tests_have_lapsed(truth, brucella):
    last = brucella[brucella["Result"] == "negative"].groupby("Dog")["on"].max()

    for stud in truth["stud_effect"]:
        is_old = (TODAY - last[stud]).days > TEST_HOLDS_DAYS
        assert is_old == (stud in truth["written_by_hand"]["lapsed"]), stud


def test_the_compared_bitches_are_of_a_good_age_tested_in_this_heat_and_well(
    compared, truth, dogs, brucella, breedings, demo_kennel
):
    assert {bitch for _, bitch in compared} == set(truth["written_by_hand"]["fit_to_be_bred"])
    heats = pd.read_csv(RECORDS / "heats.csv", dtype=str)
    health = pd.read_csv(RECORDS / "health.csv", dtype=str)
    for stud, bitch in compared:
        heat = heats[heats["Bitch"] == bitch].iloc[-1]
        hers = breedings[breedings["Bitch"] == bitch]

        assert 3.0 <= (TODAY - dogs.loc[bitch, "born"]).days / 365.25 <= 6.0
        assert 0 <= (TODAY - pd.Timestamp(heat["First day"])).days <= 21
        assert heat[["Progesterone 1", "Progesterone 2", "Progesterone 3"]].notna().all()
        assert days_since_test(brucella, stud, TODAY) <= 180
        assert days_since_test(brucella, bitch, pd.Timestamp(heat["First day"])) <= 60
        assert hers.iloc[-1]["Result"] == "whelped"
        # More than a year since her last litter.
        assert (TODAY - pd.Timestamp(hers.iloc[-1]["Whelped on"])).days > 365
        assert set(health[health["Dog"] == bitch]["Result"]) <= {"negative", "normal"}
        for dog in (stud, bitch):
            found = cautions_of(demo_kennel.views, dog, DEMO_TODAY)
            assert {one.severity for one in found} == {"say"}, dog


def test_one_stud_is_suspect_one_has_no_sperm_and_the_others_are_free(
    demo_kennel, truth, demo_stopped
):
    studs = set(demo_kennel.views["evaluations"]["stud"])

    assert studs & demo_kennel.stopped == demo_stopped
    assert studs - demo_stopped == set(truth["stud_effect"])
    for stud in demo_stopped:
        found = cautions_of(demo_kennel.views, stud, DEMO_TODAY)
        assert {"doses", "shipment", "plan", "conception"} <= stopped_answers(found)


def test_the_suspect_stud_was_negative_before_and_left_exposed_bitches_a_shipment_and_straws(
    truth, breedings, brucella
):
    suspect = truth["written_by_hand"]["suspect"]
    stud, on = suspect["stud"], pd.Timestamp(suspect["on"])
    his = brucella[brucella["Dog"] == stud].sort_values("on")
    last_negative = his[his["Result"] == "negative"]["on"].max()
    since = last_negative - pd.Timedelta(weeks=12)
    bred = breedings[(breedings["Stud"] == stud) & (breedings["on"] >= since)]
    shipments = pd.read_csv(RECORDS / "shipments.csv", dtype=str).query("Stud == @stud")
    lots = pd.read_csv(RECORDS / "frozen.csv", dtype=str).query("Stud == @stud")

    assert list(his["Result"].iloc[:-1].unique()) == ["negative"]
    assert (his.iloc[-1]["Result"], his.iloc[-1]["on"]) == ("suspect", on)
    assert (bred["on"] < on).all()
    assert set(bred["Bitch"]) == set(suspect["exposed"])
    # One has whelped; the other is seen pregnant and due in the fortnight after the last day.
    (open_one,) = bred[bred["Result"].isna()].to_dict("records")
    assert open_one["Scan"] == "pregnant"
    assert 0 < (open_one["on"] + pd.Timedelta(days=63) - TODAY).days <= 14
    (whelped,) = bred[bred["Result"] == "whelped"].to_dict("records")
    assert 0 < (TODAY - pd.Timestamp(whelped["Whelped on"])).days <= 70
    assert (pd.to_datetime(shipments["Sent on"]) >= since).any()
    assert (pd.to_datetime(lots["Frozen on"]) >= since).any()
    assert pd.to_numeric(lots["Straws"]).sum() > 0


def test_the_stud_without_sperm_fell_to_none_count_by_count(truth, collections, breedings):
    story = truth["written_by_hand"]["no_sperm"]
    his = collections[collections["Dog"] == story["stud"]].sort_values("on")
    none = his["on"] >= story["since"]
    falling = his[his["on"] >= "2025-07-01"]["total_m"].to_numpy()

    assert (his[~none]["total_m"] > 0).all()
    assert none.sum() >= 2
    assert (his[none]["total_m"] == 0).all()
    assert (his[none]["Cells counted"] == "0").all()
    assert (
        his[none][["Total motility (%)", "Progressive motility (%)", "Normal morphology (%)"]]
        .isna()
        .all(axis=None)
    )
    # He began like the others, and each sample of the fall holds less than the one before.
    assert 450 <= his["total_m"].iloc[:4].mean() <= 800
    assert (np.diff(falling[falling > 0]) < 0).all()
    assert len(falling[falling > 0]) >= 4
    used = breedings[breedings["Stud"] == story["stud"]]
    assert (used["on"] < story["since"]).all()
    assert {"whelped", "missed"} == set(used["Result"])


def test_parents_are_older_dogs_of_the_right_sex_and_their_litter_is_recorded(dogs, breedings):
    children = dogs[dogs["Sire"].notna() | dogs["Dam"].notna()]

    assert len(children) >= 4
    for row in children.itertuples():
        litters = breedings[(breedings["Stud"] == row.Sire) & (breedings["Bitch"] == row.Dam)]
        assert (dogs.loc[row.Sire, "Sex"], dogs.loc[row.Dam, "Sex"]) == ("male", "female")
        assert row.Born in set(litters["Whelped on"]), row.Index
        assert {dogs.loc[row.Sire, "Breed"], dogs.loc[row.Dam, "Breed"]} == {row.Breed}


def test_an_added_pair_shares_no_parent_and_is_no_parent_of_the_other(dogs, breedings):
    for row in breedings.itertuples():
        near = [set(dogs.loc[dog, ["Sire", "Dam"]].dropna()) for dog in (row.Stud, row.Bitch)]
        assert near[0].isdisjoint(near[1])
        assert row.Stud not in near[1]
        assert row.Bitch not in near[0]


def test_a_scan_that_missed_a_litter_has_a_remark(breedings):
    missed = breedings[(breedings["Scan"] == "not pregnant") & (breedings["Result"] == "whelped")]

    assert not missed.empty
    assert missed["Notes"].notna().all()
