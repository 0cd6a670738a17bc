"""What `compare` and `schedule` state is kept, set against the result, and shown."""

import json
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import date, datetime, timedelta
from types import SimpleNamespace

import altair as alt
import duckdb
import pandas as pd
import pytest
from typer.testing import CliRunner

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.sentences import Word
from studcurve.analytics.trust.ledger import ledger_of
from studcurve.analytics.wording.ledger import ledger_wording
from studcurve.pipelines.answers.ledger import ledger_answer
from studcurve.pipelines.cli import app
from studcurve.pipelines.commands.values import read_expected
from studcurve.pipelines.pages.anonymous import without_names
from studcurve.pipelines.pages.kennel import read_kennel
from studcurve.pipelines.pages.ledger import forecasts_wording
from studcurve.pipelines.pages.overview import overview_results
from studcurve.pipelines.plan.comparison import plan_breeding
from studcurve.pipelines.plan.forecasts import chances_of_comparison, chances_of_schedule, keep
from studcurve.pipelines.plan.records import read_plan_records
from studcurve.pipelines.plan.schedule import plan_stud_schedule
from studcurve.pipelines.plan.wishes import Wishes
from studcurve.pipelines.records.database.forecasts import Forecast
from studcurve.pipelines.records.database.store import Store
from studcurve.reports.page import Reader, render
from studcurve.reports.pages.overview import build_overview
from studcurve.reports.sections.ledger import ledger_annex, ledger_section
from studcurve.reports.words import Words

END = date(2026, 10, 31)
FEW = ["--draws", "400"]


@pytest.fixture
def own_demo(demo_store_path, tmp_path):
    """The demo's records, to be written to, with the day on which they end."""
    path = tmp_path / "demo.duckdb"
    shutil.copyfile(demo_store_path, path)
    with Store.open(path) as store:
        store.end_on(END)
    return path


def ask(store, *arguments):
    return CliRunner().invoke(app, [*arguments, "--store", str(store)])


def kept(path, columns="*"):
    with duckdb.connect(str(path), read_only=True) as file:
        return file.execute(f"SELECT {columns} FROM forecast ORDER BY forecast_id").df()


def test_what_a_comparison_prints_is_what_is_kept(own_demo):
    ran = ask(own_demo, "compare", "Merle", "Whin", "--json", "--asked-by", "Ida", *FEW)

    answer = json.loads(ran.stdout)
    rows = kept(own_demo)
    printed = [(one["semen_type"], one["route"], len(one["inseminated_at"]), one["litter_prob"],
                one["litter_prob_median"], one["litter_prob_lower"], one["litter_prob_upper"],
                one["records_weight"], pd.Timestamp(one["inseminated_at"][0]))
               for one in answer["options"] if "litter_prob" in one]  # fmt: skip
    columns = ["semen_type", "route", "n_inseminations", "litter_prob", "litter_prob_median",
               "litter_prob_lower", "litter_prob_upper", "records_weight",
               "planned_at"]  # fmt: skip
    assert list(rows[columns].itertuples(index=False, name=None)) == printed
    assert len(printed) > 5
    # Without a fit the answer is the published table's own.
    assert (rows["published_litter_prob"] == rows["litter_prob"]).all()
    assert set(rows["asked_by"]) == {"Ida"}
    assert (rows["stated_at"].dt.date == END).all()
    assert rows["model_fingerprint"].str.startswith("published:conception").all()
    assert set(rows["n_draws"]) == {400}
    assert answer["forecasts"]["n_kept"] == len(rows)
    assert [one["litter_prob"] for one in answer["forecasts"]["kept"]] == [
        one[3] for one in printed
    ]


def test_a_schedule_keeps_one_chance_for_each_bitch_that_gets_something(own_demo):
    ran = ask(own_demo, "schedule", "Merle", "--json", "--ovulation", "Whin=2026-11-02",
              "Whin", "Calla")  # fmt: skip

    answer = json.loads(ran.stdout)
    rows = kept(own_demo)
    planned = {one["bitch"]: one["litter_prob"] for one in answer["assignments"] if one["method"]}
    assert planned
    assert dict(zip(rows["bitch"], rows["litter_prob"], strict=True)) == planned
    assert set(rows["command"]) == {"schedule"}


def test_beside_a_fits_chance_stands_that_of_the_published_table_alone(demo_store_path):
    """A fit that has learned nothing: both chances are of one table, by draws of their own."""
    records = read_plan_records(demo_store_path, datetime(2026, 10, 31, 8))
    fit = SimpleNamespace(priors_fingerprint="ab", versions={"numpy": "2"})
    fitted = replace(records, conception=replace(records.conception, kept=fit))
    asked = {"asked_by": None, "at": datetime(2026, 10, 31, 9)}

    plan = plan_breeding(fitted, "Merle", "Whin", Wishes(), seed=1, n_draws=2000)
    schedule = plan_stud_schedule(fitted, "Merle", ["Whin"], Wishes(), seed=1,
                                  ovulations={"Whin": date(2026, 11, 2)})  # fmt: skip

    compared = chances_of_comparison(plan, fitted, (), **asked)
    scheduled = chances_of_schedule(schedule, fitted, **asked)
    assert len(compared) > 5
    assert len(scheduled) == 1
    for one in (*compared, *scheduled):
        # A chance has a spread of about 0.15, and the fewest draws are 1000.
        assert one.published_litter_prob == pytest.approx(one.litter_prob, abs=0.04)
        assert one.published_litter_prob != one.litter_prob
        assert one.records_weight < 0.15
        assert one.priors_fingerprint == "ab"
        assert one.model_fingerprint.startswith("conception, version")


def test_a_persons_chance_is_kept_beside_the_models_of_the_same_options(own_demo):
    answer = json.loads(ask(own_demo, "compare", "Merle", "Whin", "--json", *FEW,
                          "--expect", "40", "--expect", "fresh twice=80,5").stdout)  # fmt: skip

    rows = kept(own_demo)
    people, model = rows[rows["stated_by"] == "person"], rows[rows["stated_by"] == "model"]
    way = ["semen_type", "route", "n_inseminations", "planned_at", "published_litter_prob"]
    assert people[way].to_numpy().tolist() == model[way].to_numpy().tolist()
    is_named = people["semen_type"].eq("fresh") & people["n_inseminations"].eq(2)
    assert (people["litter_prob"] == is_named.map({True: 0.805, False: 0.4})).all()
    assert is_named.any()
    assert people[["litter_prob_lower", "model_fingerprint"]].isna().all(axis=None)
    assert answer["forecasts"]["n_kept"] == len(rows)


def test_a_chance_of_an_option_that_is_not_there_is_said_and_not_kept(own_demo):
    answer = json.loads(ask(own_demo, "compare", "Merle", "Whin", "--json", *FEW, "--apart",
                          "--expect", "natural=70").stdout)  # fmt: skip

    assert Words("en").say("forecast.no_such_way", way="natural") in answer["forecasts"]["note"]
    assert set(kept(own_demo, "stated_by")["stated_by"]) == {"model"}


@pytest.mark.parametrize("typed", ["0", "100", "fresh", "=", "box=50", "60%50", "1,250"])
def test_a_chance_that_is_none_is_wrong_usage(own_demo, typed):
    ran = ask(own_demo, "compare", "Merle", "Whin", "--expect", typed)

    assert ran.exit_code == 2
    assert kept(own_demo).empty


@pytest.mark.parametrize(("typed", "words", "prob"), [
    ("60", set(), 0.6), ("chilled=60 %", {"chilled"}, 0.6),
    ("Fresh vaginal twice=12,5", {"fresh", "vaginal", "twice"}, 0.125),
])  # fmt: skip
def test_a_chance_is_read_with_the_option_that_it_is_about(typed, words, prob):
    assert read_expected(typed) == (words, pytest.approx(prob))


def is_answered(ran, key, language="en"):
    words = Words(language)
    return ran.exit_code == 0 and words[key] in " ".join(ran.stdout.split())


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_file_that_can_only_be_read_is_answered_and_one_line_says_that_nothing_was_kept(
    own_demo, language
):
    own_demo.chmod(0o444)

    ran = ask(own_demo, "compare", "Merle", "Whin", *FEW, "--language", language)

    assert is_answered(ran, "forecast.read_only", language)
    assert kept(own_demo).empty


READS = (
    "import sys, duckdb; held = duckdb.connect(sys.argv[1], read_only=True); print(1, flush=True)"
)


def test_a_file_that_another_program_reads_is_answered(own_demo):
    reading = [sys.executable, "-c", f"{READS}; sys.stdin.read()", own_demo]
    with subprocess.Popen(reading, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout.readline().strip() == b"1"
        ran = ask(own_demo, "compare", "Merle", "Whin", *FEW)
        other.stdin.close()

    assert is_answered(ran, "forecast.in_use")
    assert kept(own_demo).empty


@pytest.mark.parametrize("is_given", [True, False])
def test_a_name_that_is_no_text_is_kept_with_a_question_mark(own_demo, monkeypatch, is_given):
    monkeypatch.setenv("LOGNAME", "Id\udcffa")
    more = ["--asked-by", "Id\udcffa"] if is_given else []

    ran = ask(own_demo, "compare", "Merle", "Whin", *FEW, *more)

    assert ran.exit_code == 0, ran.output
    assert set(kept(own_demo)["asked_by"]) == {"Id?a"}


def test_what_is_no_matter_of_writing_is_not_taken_for_a_file_that_can_only_be_read(own_demo):
    stated = Forecast(
        stated_at=datetime(2026, 10, 31), asked_by=None, stated_by="person", command="compare",
        stud_id=1, stud="Merle", bitch_id=2, bitch="Whin", semen_type="fresh", route="vaginal",
        n_inseminations=1, planned_at=datetime(2026, 11, 2), litter_prob=0.5,
        records_fingerprint="ab",
    )  # fmt: skip

    with pytest.raises(duckdb.ConstraintException):
        keep(own_demo, [replace(stated, litter_prob=2.0)])
    with pytest.raises(duckdb.InvalidInputException):
        keep(own_demo, [replace(stated, asked_by="Id\udcffa")])
    assert kept(own_demo).empty


def test_a_day_that_has_passed_is_no_forecast(own_demo):
    ran = ask(own_demo, "compare", "Merle", "Whin", *FEW, "--now", "2026-09-01")

    assert is_answered(ran, "forecast.passed")
    assert kept(own_demo).empty


def test_a_stopped_dog_gets_no_number_and_leaves_no_forecast(own_demo, demo_stopped):
    for stud in sorted(demo_stopped):
        answer = json.loads(ask(own_demo, "compare", stud, "Whin", "--json", *FEW).stdout)

        assert answer["is_stopped"]
        assert "forecasts" not in answer
    assert kept(own_demo).empty


SHIP = [
    "ship", "Merle", "--volume", "0.9", "--target", "20", "--motility", "80", "--cells", "140",
    "--dilution", "1 + 19", "--extender", "egg yolk", "--inseminate", "2026-11-01 11:00",
    "--now", "2026-10-31 14:00", "--json",
]  # fmt: skip


@pytest.mark.sampled
@pytest.mark.parametrize(("more", "n_kept"), [
    (["--expect", "62,5", "--bitch", "whin"], 1), (["--bitch", "Whin"], 0),
    (["--expect", "62,5", "--bitch", "Nobody"], 0), (["--expect", "62,5"], 0),
    (["--expect", "62,5", "--bitch", "Whin", "--check"], 0),
])  # fmt: skip
def test_what_the_sender_expects_of_a_shipment_is_kept(own_demo, tmp_path, more, n_kept):
    ran = ask(own_demo, *SHIP, "--out", str(tmp_path / "out"), "--asked-by", "Ida", *more)

    assert ran.exit_code == 0, ran.output
    answer, rows = json.loads(ran.stdout), kept(own_demo)
    assert len(rows) == n_kept
    assert ("forecasts" in answer) == ("--expect" in more and "--check" not in more)
    if n_kept:
        (row,) = rows.to_dict("records")
        assert (row["command"], row["stated_by"], row["asked_by"], row["bitch"]) == (
            "ship", "person", "Ida", "Whin",
        )  # fmt: skip
        assert (row["semen_type"], row["route"], row["litter_prob"]) == (
            "chilled",
            "vaginal",
            0.625,
        )
        assert row["planned_at"] == datetime(2026, 11, 1, 11)


def test_the_whole_story_from_the_question_to_the_score(own_demo, kennel_class, tmp_path):
    ask(own_demo, "compare", "Merle", "Whin", "--expect", "fresh=90", "--asked-by", "Ida", *FEW)
    ask(own_demo, "compare", "Merle", "Whin", "--expect", "fresh=35", "--asked-by", "Ida", *FEW)
    before = kept(own_demo)
    planned = before.query("semen_type == 'fresh' and route == 'vaginal' and n_inseminations == 1")
    sheet = kennel_class(tmp_path).write("breedings", [{
        "Bitch": "Whin", "Stud": "Merle", "Date": f"{planned['planned_at'].iloc[0]:%Y-%m-%d}",
        "Semen": "fresh", "Route": "vaginal", "Result": "missed",
    }])  # fmt: skip
    today = (planned["planned_at"].iloc[0] + timedelta(days=100)).date()
    with Store.open(own_demo) as store:
        store.load([sheet], today=today)
        store.end_on(today)

    answer = json.loads(ask(own_demo, "forecasts", "--json").stdout)

    pd.testing.assert_frame_equal(kept(own_demo), before)
    model, people = answer["ledger"]["model"], answer["ledger"]["people"]
    last = planned[planned["stated_by"] == "model"]["litter_prob"].iloc[-1]
    assert (model["n_counting"], model["n_known"], model["n_settled"]) == (1, 1, 1)
    assert model["n_stated"] == (before["stated_by"] == "model").sum()
    assert model["litters"]["expected"] == pytest.approx(last)
    assert model["litters"]["difference"] == pytest.approx(-last)
    assert people["litters"]["expected"] == pytest.approx(0.35)
    assert not model["is_off"]
    assert model["scores"] == {}
    assert len(answer["forecasts"]) == len(before)
    counting = [one for one in answer["forecasts"] if one["counts"]]
    assert {one["stated_by"]: one["litter_prob"] for one in counting} == {
        "model": last, "person": 0.35,
    }  # fmt: skip
    kennel = read_kennel(own_demo, today)
    results = overview_results(kennel, [])
    for language in ("en", "de"):
        words = Words(language)
        page = render(build_overview(results, (), Reader(words)))
        assert words["ledger.heading"] in page
        assert words.word("standing", "an earlier one") in page
        assert words.say("ledger.too_few", wanted=10) in page
    coded, _ = without_names(kennel, [], Words("en"))
    shown = forecasts_wording(coded).ledger.rows
    assert not shown["bitch"].eq("Whin").any()
    assert shown["asked_by"].isna().all()
    assert shown["standing"].tolist() == forecasts_wording(kennel).ledger.rows["standing"].tolist()


def scored(n, **columns):
    """Rows of the view for n breedings that count."""
    day = pd.Timestamp(datetime(2025, 1, 1, 10))
    plain = {
        "forecast_id": range(1, n + 1), "question_id": 1, "stated_at": day, "asked_by": None,
        "stated_by": "model", "command": "compare", "stud": "Rowan",
        "bitch": [f"Bitch {k}" for k in range(n)], "semen_type": "frozen", "route": "vaginal",
        "n_inseminations": 1, "planned_at": day, "litter_prob": 0.8, "litter_prob_lower": 0.6,
        "litter_prob_upper": 0.9, "published_litter_prob": 0.6, "records_weight": 0.2,
        "breeding_id": range(1, n + 1), "bred_earliest": day, "outcome_known": True,
        "whelped": [k % 5 > 0 for k in range(n)], "is_sire_certain": True, "counts": True,
        "standing": "counts", "known_on": day, "known_load_id": 1,
    }  # fmt: skip
    return pd.DataFrame(plain | columns).astype({"whelped": "boolean"})


def wording_of(rows):
    return ledger_wording(ledger_of(rows, rows[["semen_type", "bitch", "whelped"]], END), 0)


def keys(wording):
    return [one.key for paragraph in wording.paragraphs for one in paragraph]


def test_below_ten_nothing_is_claimed_and_from_thirty_on_there_is_a_picture():
    few, some, many = (wording_of(scored(n)) for n in (9, 10, 30))

    assert "ledger.too_few" in keys(few)
    assert not {"ledger.scored", "ledger.litters"} & set(keys(few))
    assert {"ledger.scored", "ledger.litters", "ledger.picture_from"} <= set(keys(some))
    assert not {"ledger.too_few", "ledger.picture_from"} & set(keys(many))
    words = Words("en")
    assert [bool(ledger_section(one, words).charts) for one in (few, some, many)] == [
        False, False, True,
    ]  # fmt: skip
    (_, picture) = ledger_section(many, words).charts[0]
    alt.Chart.from_dict(picture, validate=True)
    assert [section.name for section in ledger_annex(many, words)] == [
        "ledger-scores", "ledger-kinds", "ledger-bands",
    ]  # fmt: skip


def test_an_alarm_says_what_to_distrust_and_stands_first():
    wording = wording_of(scored(40, whelped=[k % 4 == 0 for k in range(40)]))

    (alarm,) = wording.alarm
    assert alarm.key == "ledger.alarm"
    assert alarm.values["fault"] == Word("fault", "too high")
    assert alarm.values["worst"].values["kinds"] == (Word("of_semen", "frozen"),)
    assert wording_of(scored(40)).alarm == ()
    difference = next(one for one in wording.paragraphs[0] if one.key == "ledger.litters")
    assert difference.values["verdict"].key == "ledger.fewer"
    assert isinstance(difference.values["difference"], Estimate)
    for language in ("en", "de"):
        words = Words(language)
        assert words.tell(alarm) in " ".join(ledger_answer(wording, words).sentences)


def test_an_alarm_over_natural_matings_speaks_of_matings():
    rows = scored(40, semen_type="natural", whelped=[k % 4 == 0 for k in range(40)])

    (alarm,) = wording_of(rows).alarm

    for language in ("en", "de"):
        words = Words(language)
        assert words.word("of_semen", "natural") in words.tell(alarm)
        assert words.word("of_semen", "natural") != words.word("semen", "natural")


def test_nothing_stated_is_said_and_makes_no_section():
    wording = wording_of(scored(1).head(0))

    assert keys(wording) == ["ledger.nothing"]
    assert ledger_section(wording, Words("en")) is None
    assert ledger_annex(wording, Words("de")) == ()
