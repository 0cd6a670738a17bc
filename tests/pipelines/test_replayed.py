"""What would have been forecast of the demo: nothing of it knew what came later; it is shown."""

import importlib.util
import json
import re
import shutil
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from studcurve.analytics.errors import RecordsError
from studcurve.pipelines.cli import app
from studcurve.pipelines.fits.guard import model_fingerprint
from studcurve.pipelines.fits.registry import CONCEPTION
from studcurve.pipelines.pages.kennel import read_kennel
from studcurve.pipelines.pages.overview import overview_results
from studcurve.pipelines.plan import forecasts
from studcurve.pipelines.plan.forecasts import read_ledger
from studcurve.pipelines.plan.replayed import MOST_BYTES, read_replayed
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO, DEMO_TODAY, add_replayed
from studcurve.reports.page import Reader, render
from studcurve.reports.pages.overview import build_overview
from studcurve.reports.words import Words

KEPT = DEMO / "forecasts.json"
DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b|\b\d{1,2} [A-Z][a-z]{2} \d{4}\b")
SECTIONS = ["ledger", "ledger-scores", "ledger-kinds", "ledger-bands"]


@pytest.fixture(scope="module")
def replay():
    """The script that made the file, as a module; it is never run here as a whole."""
    found = importlib.util.spec_from_file_location("replay", DEMO / "replay.py")
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def sheets(replay):
    return replay.read_sheets(DEMO / "records")


@pytest.fixture(scope="module")
def kept():
    return json.loads(KEPT.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def dogs(demo_kennel):
    return demo_kennel.views["dogs"]


@pytest.fixture(scope="module")
def replayed_path(tmp_path_factory, demo_store_path):
    """The demo's records with what was replayed of them, as the demo's command leaves them."""
    path = tmp_path_factory.mktemp("replayed") / "demo.duckdb"
    shutil.copyfile(demo_store_path, path)
    with Store.open(path) as store:
        store.end_on(DEMO_TODAY)
        add_replayed(store)
    return path


def test_each_breeding_of_the_demo_was_forecast_once_and_before_its_insemination(
    replayed_path, sheets, kept
):
    with Store.open(replayed_path, read_only=True) as store:
        rows = store.read("forecasts")
        assert store.broken_promises() == []

    bred = sheets["breedings"]
    plans = set(zip(bred["Bitch"], bred["Stud"], bred["Date"], strict=True))
    told = [(one["bitch"], one["stud"], one["stated_at"][:10]) for one in kept["forecasts"]]
    assert set(told) == plans
    assert len(told) == len(plans)
    assert len(told) + kept["n_stopped"] == len(bred)
    assert (rows["stated_at"] < rows["planned_at"]).all()
    # As its day began: before any hour at which somebody can have inseminated.
    assert (rows["stated_at"] <= rows["bred_earliest"]).all()
    assert rows["counts"].all()
    assert set(rows["standing"]) == {"counts"}


def test_nothing_in_the_records_of_a_day_was_written_or_done_on_it_or_later(replay, sheets):
    """A second route: whatever the columns are called, no cell holds such a day."""
    for day in (date(2019, 3, 21), date(2022, 5, 4), date(2024, 10, 14), date(2026, 9, 6)):
        known = replay.known_before(sheets, day)
        assert len(known["breedings"]) > 3
        for name, rows in known.items():
            # A promise speaks of a day to come.
            rows = rows.drop(columns="Promised on", errors="ignore")
            for cell in rows.to_numpy().ravel():
                later = [
                    text for text in DAY.findall(cell) if pd.Timestamp(text) >= pd.Timestamp(day)
                ]
                assert later == [], (name, cell)


def test_a_result_is_known_once_its_whelping_or_the_last_day_of_one_has_passed(replay, sheets):
    bred = sheets["breedings"]
    whelped = bred[bred["Whelped on"] != ""].iloc[50]
    missed = bred[bred["Result"] == "missed"].iloc[20]
    scanned = bred[bred["Scan on"] != ""].iloc[30]

    def known(line, day):
        rows = replay.known_before(sheets, day)["breedings"]
        return rows[(rows["Bitch"] == line["Bitch"]) & (rows["Date"] == line["Date"])].iloc[0]

    day = date.fromisoformat(whelped["Whelped on"])
    assert known(whelped, day)["Result"] == known(whelped, day)["Born alive"] == ""
    assert known(whelped, day + timedelta(days=1))["Born alive"] == whelped["Born alive"]
    day = date.fromisoformat(missed["Date"]) + timedelta(days=72)
    assert known(missed, day)["Result"] == ""
    assert known(missed, day + timedelta(days=1))["Result"] == "missed"
    day = date.fromisoformat(scanned["Scan on"])
    assert known(scanned, day)["Scan"] == ""
    assert known(scanned, day + timedelta(days=1))["Scan"] == scanned["Scan"]


def altered_later(replay, sheets, day):
    """The sheets with all that was not known before a day told otherwise, and lines more."""
    began, told = pd.Timestamp(day), {}
    for name, whole in sheets.items():
        rows = whole.copy()
        if name in replay.WRITTEN_ON:
            written = replay.WRITTEN_ON[name]
            later = replay.days_of(rows[written]) >= began
            plain = [column for column in rows if column not in (written, "Second date")]
            rows.loc[later, plain] = rows.loc[later, plain].iloc[::-1].to_numpy()
            rows = pd.concat([rows, rows[later].tail(3)], ignore_index=True)
        for of_day, cells in replay.KNOWN_ON.get(name, {}).items():
            later = replay.days_of(rows[of_day]) >= began
            rows.loc[later, [cell for cell in cells if cell != of_day]] = "7"
        if name == "breedings":
            whelped = replay.days_of(rows["Whelped on"])
            told_on = whelped.fillna(replay.days_of(rows["Date"]) + pd.Timedelta(days=72))
            later = told_on >= began
            missed = later & (rows["Result"] != "whelped")
            litter = (began + pd.Timedelta(days=400)).date().isoformat()
            rows.loc[missed, ["Result", "Whelped on", "Born alive"]] = ["whelped", litter, "9"]
            rows.loc[later & ~missed, ["Born alive", "Stillborn", "Notes"]] = ["1", "1", "sold"]
        told[name] = rows
    return told


@pytest.mark.parametrize("day", [date(2019, 5, 1), date(2021, 8, 17), date(2024, 10, 14)])
def test_no_later_line_or_cell_changes_what_was_known(replay, sheets, day):
    before = replay.known_before(sheets, day)
    after = replay.known_before(altered_later(replay, sheets, day), day)

    n_changed = 0
    for name, rows in before.items():
        pd.testing.assert_frame_equal(after[name], rows, obj=name)
        n_changed += len(sheets[name]) - len(rows)
    assert n_changed > 200
    other = altered_later(replay, sheets, day)
    assert all(not other[name].equals(sheets[name]) for name in ("breedings", "heats", "shipments"))


def test_the_plan_of_a_breeding_holds_neither_its_dose_nor_what_came_of_it(replay, sheets):
    bred = sheets["breedings"]
    line = bred[(bred["Progressively motile per dose (M)"] != "") & (bred["Scan on"] != "")].iloc[9]

    known = replay.known_before(sheets, date.fromisoformat(line["Date"]))
    plan = replay.with_plan(known, line)["breedings"].iloc[-1]

    held = {column for column in plan.index if plan[column] != ""}
    assert {"Bitch", "Stud", "Date", "Semen", "Route"} <= held <= set(replay.PLAN)
    assert len(replay.with_plan(known, line)["breedings"]) == len(known["breedings"]) + 1


@pytest.mark.slow
@pytest.mark.parametrize("month", [date(2019, 5, 1), date(2021, 11, 1)])
def test_a_month_s_forecasts_are_the_same_from_records_cut_there_and_altered_after_it(
    replay, sheets, kept, month
):
    end = (pd.Timestamp(month) + pd.offsets.MonthBegin()).date()
    bred = sheets["breedings"]
    in_month = bred[bred["Date"].between(month.isoformat(), end.isoformat(), inclusive="left")]
    assert (in_month["Second date"] < end.isoformat()).all()
    cut = replay.known_before(sheets, end)
    changed = altered_later(replay, sheets, end)
    last = changed["breedings"]["Date"].between(
        month.isoformat(), end.isoformat(), inclusive="left"
    )
    assert (changed["breedings"].loc[last, "Result"] == "whelped").all()

    from_cut, n_stopped = replay.forecasts_of_month(cut, month)
    from_changed, _ = replay.forecasts_of_month(changed, month)

    assert from_cut == from_changed
    assert len(from_cut) == len(in_month) - n_stopped > 1
    if kept["model"] != model_fingerprint(CONCEPTION.name, CONCEPTION.version):
        return  # The file is of an older model, which the pages say.
    stated = [one for one in kept["forecasts"] if one["stated_at"][:7] == f"{month:%Y-%m}"]
    assert [one["records_fingerprint"] for one in stated] == [
        one["records_fingerprint"] for one in from_cut
    ]
    for before, now in zip(stated, from_cut, strict=True):
        # Other libraries may draw otherwise: four standard errors of the difference of two means,
        # at the effective sample of 400 that the gate demands.
        spread = (now["litter_prob_upper"] - now["litter_prob_lower"]) / 3.3
        error = 4.0 * spread * np.sqrt(2.0 / 400.0)
        assert now["litter_prob"] == pytest.approx(before["litter_prob"], abs=error)


def spoilt(kept, path, change):
    whole = json.loads(json.dumps(kept))
    change(whole)
    path.write_text(json.dumps(whole), encoding="utf-8")
    return path


def set_in(n, key, value):
    return lambda whole: whole["forecasts"][n].__setitem__(key, value)


@pytest.mark.parametrize(("change", "place"), [
    (set_in(4, "bitch", "</td><script>alert(1)</script>"), "forecast 5, bitch"),
    (set_in(4, "bitch", "Tarn"), "forecast 5, bitch"),
    (set_in(4, "bitch", ["Senna"]), "forecast 5, bitch"),
    (set_in(0, "stud", "Senna"), "forecast 1, stud"),
    (set_in(0, "semen_type", "dried"), "forecast 1, semen_type"),
    (set_in(0, "route", "vaginal"), "forecast 1, route"),
    (set_in(0, "n_inseminations", 0), "forecast 1, n_inseminations"),
    (set_in(0, "n_inseminations", True), "forecast 1, n_inseminations"),
    (set_in(0, "n_inseminations", 1.0), "forecast 1, n_inseminations"),
    (set_in(2, "stated_at", "2018-13-01T00:00:00"), "forecast 3, stated_at"),
    (set_in(2, "stated_at", "2018-12-01"), "forecast 3, stated_at"),
    (set_in(2, "stated_at", "2017-12-01T00:00:00"), "forecast 3, stated_at"),
    (set_in(2, "planned_at", "2018-01-01T12:00:00"), "forecast 3, stated_at"),
    (set_in(3, "litter_prob", 1.0), "forecast 4, litter_prob"),
    (set_in(3, "litter_prob", 0.0), "forecast 4, litter_prob"),
    (set_in(3, "litter_prob", float("nan")), "forecast 4, litter_prob"),
    (set_in(3, "litter_prob", "0.7"), "forecast 4, litter_prob"),
    (set_in(3, "litter_prob", 0.999), "forecast 4, litter_prob"),
    (set_in(3, "litter_prob_lower", 0.99), "forecast 4, litter_prob"),
    (set_in(3, "litter_prob_median", 0.001), "forecast 4, litter_prob"),
    (set_in(3, "published_litter_prob", None), "forecast 4, published_litter_prob"),
    (set_in(3, "records_weight", 1.01), "forecast 4, records_weight"),
    (set_in(3, "records_weight", -0.01), "forecast 4, records_weight"),
    (set_in(3, "n_draws", -5), "forecast 4, n_draws"),
    (set_in(3, "is_published_alone", 1), "forecast 4, is_published_alone"),
    (set_in(3, "records_fingerprint", "not a digest"), "forecast 4, records_fingerprint"),
    (set_in(3, "whelped", True), "forecast 4"),
    (lambda whole: whole["forecasts"][3].pop("n_draws"), "forecast 4"),
    (lambda whole: whole["forecasts"].__setitem__(3, []), "forecast 4"),
    (lambda whole: whole.__setitem__("forecasts", {}), "forecasts"),
    (lambda whole: whole.__setitem__("model", "conception"), "model"),
    (lambda whole: whole.__setitem__("model", "<b>x</b>, version 3"), "model"),
    (lambda whole: whole.__setitem__("priors", ""), "priors"),
    (lambda whole: whole.__setitem__("versions", {"jax": "<b>"}), "versions"),
    (lambda whole: whole.__setitem__("versions", {"jax": 1}), "versions"),
    (lambda whole: whole.pop("model"), "forecasts.json"),
    (lambda whole: whole.__setitem__("more", 1), "forecasts.json"),
])  # fmt: skip
def test_a_file_that_holds_anything_else_is_refused_with_its_place(
    tmp_path, kept, dogs, change, place
):
    path = spoilt(kept, tmp_path / "forecasts.json", change)

    with pytest.raises(RecordsError) as refusal:
        read_replayed(path, dogs)

    told = str(refusal.value)
    assert re.search(rf"{re.escape(place)}\b", told.split(": ")[0])
    # What stands there is not printed: it may be anything.
    assert "script" not in told
    assert "<b>" not in told


@pytest.mark.parametrize("text", [
    b"", b"[]", b"{", b"\xff\xfe{}", b"[" * 100_000, b"{" + b" " * MOST_BYTES + b"}",
    b"1" * 5000,
])  # fmt: skip
def test_a_file_that_is_none_is_refused(tmp_path, dogs, text):
    path = tmp_path / "forecasts.json"
    path.write_bytes(text)

    with pytest.raises(RecordsError, match=r"forecasts\.json"):
        read_replayed(path, dogs)
    with pytest.raises(RecordsError, match=r"nothing\.json"):
        read_replayed(tmp_path / "nothing.json", dogs)


def test_of_two_dogs_of_one_name_none_is_taken_for_the_one_that_is_meant(dogs):
    twins = pd.concat([dogs, dogs[dogs["call_name"] == "Tarn"].assign(dog_id=9999)])

    with pytest.raises(RecordsError, match="stud"):
        read_replayed(KEPT, twins)


def test_the_file_says_of_which_model_and_priors_it_is(kept, dogs, replayed_path):
    read = read_replayed(KEPT, dogs)

    assert (read.model, read.priors) == (kept["model"], kept["priors"])
    alone = {one.model_fingerprint for one in read.forecasts if one.records_weight == 0.0}
    fitted = {one.model_fingerprint for one in read.forecasts if one.records_weight > 0.0}
    assert fitted == {kept["model"]}
    assert alone <= {kept["model"], f"published:{kept['model']}"}
    assert {one.priors_fingerprint for one in read.forecasts} == {kept["priors"]}
    assert {json.loads(one.versions)["jax"] for one in read.forecasts} == {kept["versions"]["jax"]}
    # The first month knew no result, so its chances are those of the published table.
    assert read.forecasts[0].model_fingerprint.startswith("published:")
    is_older = kept["model"] != model_fingerprint(CONCEPTION.name, CONCEPTION.version)
    ledger, _ = read_ledger(replayed_path, DEMO_TODAY)
    assert ledger.model.n_older == (ledger.model.n_counting if is_older else 0)


@pytest.mark.parametrize("language", ["en", "de"])
def test_chances_of_another_version_of_the_model_are_said_to_be_so(
    replayed_path, monkeypatch, language
):
    monkeypatch.setattr(forecasts, "_model_now", lambda: "conception, version 99")

    ran = CliRunner().invoke(
        app, ["forecasts", "--store", str(replayed_path), "--language", language]
    )

    ledger, _ = read_ledger(replayed_path, DEMO_TODAY)
    assert ledger.model.n_older == ledger.model.n_counting > 200
    told = Words(language).say("ledger.older", n=ledger.model.n_older)
    assert told in " ".join(ran.stdout.split())


def test_the_demo_keeps_what_was_replayed_once_and_not_again(replayed_path, tmp_path):
    path = tmp_path / "again.duckdb"
    shutil.copyfile(replayed_path, path)
    with Store.open(path) as store:
        before = store.read("forecasts")
        n = add_replayed(store)
        after = store.read("forecasts")

    assert len(before) == n
    pd.testing.assert_frame_equal(after, before)


def test_the_command_sets_the_demo_s_chances_against_its_results(replayed_path, demo_stopped):
    ran = CliRunner().invoke(app, ["forecasts", "--store", str(replayed_path), "--json"])

    answer = json.loads(ran.stdout)
    model, people = answer["ledger"]["model"], answer["ledger"]["people"]
    assert people is None
    assert model["n_replayed"] == model["n_counting"] > 200
    assert model["n_settled"] > 180
    assert set(model["by_semen_type"]) == {"natural", "fresh", "chilled", "frozen"}
    assert {"stated", "published", "raw"} == set(model["scores"])
    assert len(model["bands"]) == 5
    assert not demo_stopped & {one["stud"] for one in answer["forecasts"]}
    # The sum, counted again from the sheet.
    sheet = pd.read_csv(DEMO / "records" / "breedings.csv", dtype=str)
    sheet = sheet[~sheet["Stud"].isin(demo_stopped)]
    settled = pd.to_datetime(sheet["Date"]) <= pd.Timestamp(DEMO_TODAY) - pd.Timedelta(days=72)
    reported = sheet[sheet["Result"].notna() & settled]
    assert model["litters"]["n_whelped"] == (reported["Result"] == "whelped").sum()
    assert model["litters"]["n"] == len(reported)


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_newcomer_finds_the_ledger_on_the_overview_and_in_how_we_know(replayed_path, language):
    words = Words(language)
    kennel = read_kennel(replayed_path, DEMO_TODAY)
    report = build_overview(overview_results(kennel, []), (), Reader(words))

    page = render(report)

    assert [one.name for one in (*report.sections, *report.annex) if "ledger" in one.name] == (
        SECTIONS
    )
    assert all(f'id="{name}"' in page for name in SECTIONS)
    (section,) = (one for one in report.sections if one.name == "ledger")
    assert len(section.charts) == 1
    assert words.say("ledger.replayed", n=240) in " ".join(section.paragraphs)
    assert any(words.say("ledger.replayed", n=240) in paragraph for paragraph in report.method)
