"""`compare` and `schedule` on the demo's records, without any fit, and where they are stopped."""

import itertools
import json
import re
from dataclasses import replace
from datetime import date, datetime
from types import SimpleNamespace

import pandas as pd
import pytest
from tests.printed import on_one_line, sentences_in
from typer.testing import CliRunner

from studcurve.analytics.errors import ToolkitError
from studcurve.analytics.plan.options import PRICE_ITEMS
from studcurve.analytics.sentences import Word, sentence
from studcurve.analytics.wording.plan import heat_sentence, verdict_from_lead
from studcurve.pipelines.answers.comparison import plan_answer
from studcurve.pipelines.cli import app
from studcurve.pipelines.pages.comparison import comparison_results
from studcurve.pipelines.plan.comparison import plan_breeding
from studcurve.pipelines.plan.records import heat_of, prices_on, read_plan_records
from studcurve.pipelines.plan.wishes import Wishes
from studcurve.reports.catalog import texts
from studcurve.reports.page import Reader
from studcurve.reports.pages.comparison import build_comparison
from studcurve.reports.words import Words

pytestmark = pytest.mark.usefixtures("files_are_read_once")

EN = Words("en")
TODAY = ["--now", "2026-10-31"]
FORBIDDEN = {
    "en": re.compile(r"\b(do|effects?|because|causes?|caused)\b", re.IGNORECASE),
    "de": re.compile(
        r"\b(tun|tut|effekte?s?|wirkung(en)?|bewirk\w*|weil|wegen|verursach\w*|führt zu)\b",
        re.IGNORECASE,
    ),
}
"""Words of effect and of instruction, in each language."""
FEW = ["--draws", "400"]


@pytest.fixture(scope="module")
def run(demo_store_path):
    def ask(*arguments, store=demo_store_path):
        return CliRunner().invoke(app, [*arguments, "--store", str(store), *TODAY])

    return ask


@pytest.fixture(scope="module")
def compared(run):
    return run("compare", "Merle", "Whin", *FEW).output


@pytest.fixture(scope="module")
def planned(run):
    return json.loads(run("compare", "Merle", "Whin", "--json").output)


@pytest.fixture(scope="module")
def records(demo_store_path):
    return read_plan_records(demo_store_path, datetime(2026, 10, 31, 8))


def test_cautions_come_before_every_number(run):
    lines = run("compare", "Merle", "Calla", *FEW).output.splitlines()
    first_answer = next(k for k, line in enumerate(lines) if line.startswith("Of "))

    assert lines[0].startswith(f"[{EN['severity.warn']}]")
    assert "Calla" in lines[0]
    assert EN.day(date(2024, 10, 15)) in " ".join(lines[:2])
    assert any(line.startswith(f"[{EN['severity.say']}]") for line in lines[:first_answer])
    assert not any(line.startswith("[") for line in lines[first_answer:])


def test_without_a_fit_the_answer_says_that_it_is_published_work_alone(compared, planned):
    assert EN["source.chance_published"] in on_one_line(compared)
    assert {
        option[key]
        for option in planned["options"]
        for key in ("records_weight", "records_shift_sds")
    } == {0.0}


@pytest.mark.sampled
@pytest.mark.parametrize("language", FORBIDDEN)
@pytest.mark.parametrize(
    "more",
    [
        [],
        ["--worth", "3000"],
        ["--apart", "--single", "--inbreeding", "0.25"],
        ["--max-cost", "100", "--without", "natural"],
        ["--ovulation", "2026-11-10", "--carrier", "Night Coach"],
        ["--without", "natural", "--without", "fresh", "--without", "chilled"],
    ],
)
def test_no_answer_claims_more_than_association_or_runs_over_the_line(more, language, run):
    shown = run("compare", "Tarn", "Thyme", *FEW, *more, "--language", language)

    # With natural mating refused, no way is left that costs so little.
    assert shown.exit_code == (1 if "--max-cost" in more else 0)
    assert not FORBIDDEN[language].search(shown.output)
    assert max(map(len, shown.output.splitlines())) <= 80
    assert Words(language)["plan.veterinarian"] in on_one_line(shown.output)


@pytest.mark.parametrize("language", FORBIDDEN)
def test_no_text_of_a_plan_names_an_effect_whatever_the_records(language):
    parts = ("way.", "infeasible.", "heat.", "source.", "plan.", "price.", "input.", "driver.",
             "moved.", "worth.", "compare.", "schedule.")  # fmt: skip
    of_plans = {
        key: text if isinstance(text, str) else " ".join(text.values())
        for key, text in texts(language).items()
        if key.startswith(parts)
    }

    assert len(of_plans) > 100
    assert {key for key, text in of_plans.items() if FORBIDDEN[language].search(text)} == set()


def test_a_best_is_named_only_at_a_stated_worth(run, compared):
    at_a_worth = run("compare", "Merle", "Whin", "--worth", "3000", *FEW).output

    assert EN["plan.no_best"] in on_one_line(compared)
    assert sentences_in(compared, "plan.lead_value") == []
    (best,) = sentences_in(at_a_worth, "plan.lead_value")
    assert EN.word("way", "natural mating twice") in best
    assert EN["plan.no_best"] not in on_one_line(at_a_worth)


@pytest.fixture
def old_pair(records):
    """Merle and Whin fifteen years older, so that two inputs of every way are outside."""
    dogs = records.views["dogs"].copy()
    dogs["born_on"] = pd.to_datetime(dogs["born_on"]) - pd.DateOffset(years=15)
    return replace(records, views={**records.views, "dogs": dogs})


def test_what_there_are_no_data_like_is_put_in_no_order_and_has_no_middle(old_pair):
    wishes = Wishes(on_hand_at=datetime(2026, 10, 26, 8))
    plan = plan_breeding(old_pair, "Merle", "Whin", wishes, seed=1, n_draws=400)
    unlike = [a.outcome.option.method for a in plan.answers if not a.has_centre]
    ordered = {plan.answers[plan.other(gap)].outcome.option.method for gap in plan.gaps}

    answer = plan_answer(plan, Words("en"))

    # Seven days in the shipment beside two ages: chilled semen alone has three inputs outside.
    assert unlike == [m for m in unlike if m.startswith("chilled")] != []
    assert not ordered & set(unlike)
    assert any(sentences_in(text, "plan.without_centre") for text in answer.sentences)
    for option in answer.values["options"]:
        if option["method"] in unlike:
            assert option["pups_10_50_90"][1] is None
            assert not {"litter_prob", "litter_prob_median", "expected_loss", "pups_shares"} & set(
                option
            )


def test_a_worth_that_brings_no_cost_back_says_so(run):
    poor = run("compare", "Merle", "Whin", "--worth", "10", *FEW).output

    assert EN["plan.none_pays"] in on_one_line(poor)


def test_ways_above_the_owners_limit_stand_in_one_sentence_with_their_costs(run):
    shown = run("compare", "Tarn", "Whin", "--max-cost", "100", *FEW).output

    (too_dear,) = sentences_in(shown, "plan.too_dear")
    fresh = sentence("plan.way_costs", way=Word("way", "fresh vaginal once"), cost=150.0)
    assert EN.tell(fresh) in too_dear
    assert sentences_in(shown, "infeasible.too_dear") == []


def test_a_lead_by_money_names_the_ways_with_a_higher_chance():
    first, second = (SimpleNamespace(verdict="higher", first=k, second=1 - k) for k in (0, 1))
    plan = SimpleNamespace(lead=0)

    assert verdict_from_lead(plan, first) == "higher"
    assert verdict_from_lead(plan, second) == "lower"


@pytest.mark.parametrize("percent", ["120", "-3", "nan", "a quarter"])
def test_what_is_no_coefficient_in_percent_is_wrong_usage(percent, run):
    shown = run("compare", "Merle", "Whin", *FEW, "--inbreeding", percent)

    assert shown.exit_code == 2
    assert "--inbreeding" in shown.output


def test_the_inbreeding_of_a_planned_litter_moves_its_pups_and_nothing_else(run):
    none, given = (
        json.loads(run("compare", "Merle", "Whin", *FEW, "--json", *more).output)
        for more in ([], ["--inbreeding", "25"])
    )

    assert (none["litter_inbreeding_pct"], given["litter_inbreeding_pct"]) == (None, 25.0)
    for one, other in zip(none["options"], given["options"], strict=True):
        assert one["litter_prob"] == other["litter_prob"]
        # Row l11_litter: −0.005 (sd 0.004) a point, so on average 0.887 times as many at 25;
        # 400 draws know a mean of factors with an sd of 0.1 to 0.005, and litters of at least one
        # pup fall by less than their mean.
        assert 0.87 < other["expected_pups"] / one["expected_pups"] < 0.95


@pytest.mark.parametrize(
    ("percent", "keys"),
    [
        (None, ["source.inbreeding_not_given"]),
        (6.25, ["source.inbreeding_given"]),
        (0.25, ["source.inbreeding_given", "source.inbreeding_small"]),
    ],
)
def test_terminal_and_page_say_with_which_inbreeding_the_pups_are_counted(percent, keys, records):
    wishes = Wishes(litter_inbreeding_pct=percent)
    plan = plan_breeding(records, "Merle", "Whin", wishes, seed=1, n_draws=400)

    of_inbreeding = [source for source in plan.sources if "inbreeding" in source.key]
    assert [source.key for source in of_inbreeding] == keys
    if percent is not None:
        # Row l11_litter: −0.005 a point.
        given = of_inbreeding[0].values
        assert given["percent"] == percent
        assert given["fewer"] == pytest.approx(0.5, abs=0.01)
    for language in FORBIDDEN:
        words = Words(language)
        terminal = " ".join(plan_answer(plan, words).sentences)
        reader = Reader(words, "owner")
        results = comparison_results(plan, records, reader, anonymous=False)
        (basis,) = [
            part for part in build_comparison(results, reader).sections if part.name == "basis"
        ]
        for source in of_inbreeding:
            assert words.tell(source) in terminal
            assert words.tell(source) in " ".join(basis.paragraphs)


def test_what_stands_beside_the_cost_is_the_bitch(planned):
    # Born 22 Sep 2022, whelped once, on 16 Oct 2025.
    assert planned["bitch_age_years"] == pytest.approx(4.1, abs=0.05)
    assert planned["n_litters_before"] == 1
    assert planned["months_since_last_litter"] == pytest.approx(12.5, abs=0.1)


def test_the_sheet_of_prices_gives_the_costs(records, planned):
    prices, currency = prices_on(records)

    assert currency == "EUR"
    assert set(prices) == set(PRICE_ITEMS)
    cost = {option["method"]: option["cost_if_it_fails"] for option in planned["options"]}
    # Collection 80, shipment 145, extender 18, transcervical 190, scan 70.
    assert cost["chilled transcervical once"] == 503.0
    assert cost["natural mating once"] == 70.0


@pytest.mark.parametrize("language", FORBIDDEN)
def test_frozen_and_transcervical_carry_who_may_inseminate_in_both_languages(language, run):
    shown = json.loads(
        run("compare", "Merle", "Whin", *FEW, "--json", "--language", language).output
    )
    proviso = Words(language)["plan.by_a_veterinarian"]

    guarded = {o["method"] for o in shown["options"] if o["proviso"] == proviso}
    assert guarded == {
        o["method"] for o in shown["options"]
        if o["semen_type"] == "frozen" or o["route"] == "transcervical"
    }  # fmt: skip
    assert any(proviso in remark for remark in shown["remarks"])
    assert not any("chirurg" in o["method"] or "surgical" in o["method"] for o in shown["options"])


def test_every_option_names_its_source_its_day_and_who_may_inseminate(planned):
    for option in planned["options"]:
        assert sum(option["pups_shares"]) == pytest.approx(1.0)
        first = datetime.fromisoformat(option["inseminated_at"][0])
        assert first >= datetime(2026, 10, 31, 8)
        guarded = option["semen_type"] == "frozen" or option["route"] == "transcervical"
        assert bool(option["proviso"]) == guarded
        assert option["route"] != "surgical"
    reasons = {way["method"]: (way["rule"], way["reason"]) for way in planned["infeasible"]}
    assert {rule for rule, _ in reasons.values()} <= {
        "infeasible.surgical", "infeasible.too_few_straws",
    }  # fmt: skip
    assert reasons["surgical insemination"] == (
        "infeasible.surgical", EN["infeasible.surgical"],
    )  # fmt: skip
    rule, reason = reasons["frozen transcervical twice"]
    assert rule == "infeasible.too_few_straws"
    assert sentences_in(reason, rule) == [on_one_line(reason)]


def test_the_same_seed_gives_the_same_answer_and_another_seed_moves_it_little(
    run, planned, compared
):
    other = json.loads(run("compare", "Merle", "Whin", "--json", "--seed", "5").output)

    assert run("compare", "Merle", "Whin", *FEW).output == compared
    for mine, theirs in zip(planned["options"], other["options"], strict=True):
        # Chances spread by at most 0.35 over draws: two means of 4,000 differ by 5 errors at most.
        assert mine["litter_prob"] == pytest.approx(theirs["litter_prob"], abs=5 * 0.35 / 4000**0.5)


def test_a_bitch_without_a_heat_is_told_what_is_supposed(records, run):
    heat = heat_of(records, "Calla")
    shown = run("compare", "Tarn", "Calla", *FEW)

    assert heat.first_day is None
    assert sentences_in(shown.output, "heat.supposed")


def test_a_progesterone_reading_is_worth_more_the_less_is_known(records):
    # Three readings of Whin, the last on the rise.
    readings = records.views["progesterone"]
    hers = readings["cycle_id"].isin(records.views["cycles"].query("bitch == 'Whin'")["cycle_id"])
    unread = replace(records, views={**records.views, "progesterone": readings[~hers]})

    def gain(records):
        plan = plan_breeding(records, "Tarn", "Whin", Wishes(is_bitch_at_kennel=False), seed=1)
        return max(
            (w.gain["litters"] for w in plan.worths if w.what == "progesterone"), default=0.0
        )

    assert gain(unread) > 0.03 > gain(records) >= 0.0


def test_an_unknown_dog_is_named_with_those_that_are_known(run):
    shown = run("compare", "Nobody", "Whin")

    assert isinstance(shown.exception, ToolkitError)
    assert "is no stud of these records; known are Bracken" in str(shown.exception)


BRUCELLA = {"Date": "2026-10-01", "Kind": "laboratory test", "What": "Brucella (RSAT)",
            "Result": "positive", "Laboratory": "Any"}  # fmt: skip


@pytest.fixture
def stopped_kennel(kennel):
    def make(dog):
        kennel.load(kennel.write("health", [{"Dog": dog} | BRUCELLA]))
        return kennel.records

    return make


@pytest.mark.parametrize("dog", ["Bracken", "Senna"])
def test_a_caution_that_stops_either_dog_leaves_no_number_in_text_or_json(dog, stopped_kennel, run):
    store = stopped_kennel(dog)

    text = run("compare", "Bracken", "Senna", store=store).output
    values = json.loads(run("compare", "Bracken", "Senna", "--json", store=store).output)

    assert f"[{EN['severity.stop']}]" in text
    assert EN.say("plan.stopped", stud="Bracken", bitch="Senna") in on_one_line(text)
    assert "%" not in text
    assert set(values) == {"answer", "is_stopped", "remarks", "warnings"}
    assert values["is_stopped"] is True
    assert "brucella not negative" in values["warnings"]


def test_a_stopped_bitch_is_taken_out_of_the_schedule_and_a_stopped_stud_ends_it(
    kennel, kennel_class, run
):
    kennel.load(kennel.write("health", [{"Dog": "Senna"} | BRUCELLA]))
    asked = ["schedule", "Tarn", "Senna", "Sage", "--ovulation", "Sage=2026-11-05"]
    one = json.loads(run(*asked, "--json", store=kennel.records).output)
    kennel.load(kennel.write("health", [{"Dog": "Tarn"} | BRUCELLA], name="more.csv"))
    none = run(*asked, store=kennel.records).output

    assert one["stopped"] == ["Senna"]
    assert [a["bitch"] for a in one["assignments"]] == ["Sage"]
    assert "%" not in none
    assert EN.say("schedule.stopped", dogs=("Senna", "Sage")) in on_one_line(none)


def test_a_kennel_without_a_sample_a_price_or_a_heat_is_answered_from_published_work(kennel, run):
    shown = run("compare", "Bracken", "Sage", *FEW, "--json", store=kennel.records)

    values = json.loads(shown.output)
    assert shown.exit_code == 0
    assert {option["semen_type"] for option in values["options"]} == {
        "natural", "fresh", "chilled",
    }  # fmt: skip
    assert all(option["cost_if_it_fails"] is None for option in values["options"])
    assert {"collection", "shipment", "scan", "stud fee"} <= set(values["missing_prices"])
    assert all(0.0 < option["litter_prob"] < 1.0 for option in values["options"])


def test_a_worth_without_any_price_names_no_best(kennel, run):
    shown = run("compare", "Bracken", "Sage", "--worth", "3000", *FEW, store=kennel.records)

    text = on_one_line(shown.output)
    assert shown.exit_code == 0
    assert EN["plan.worth_without_prices"] in text
    (missing,) = sentences_in(text, "plan.missing_prices")
    assert EN["price.collection"] in missing
    assert EN["price.shipment"] in missing
    assert sentences_in(text, "plan.lead_value") == []
    assert not re.search(r"\bnan\b", text)


def test_a_sample_on_hand_is_not_the_next_one(records):
    wishes = Wishes(on_hand_at=datetime(2026, 10, 31, 7, 30), is_bitch_at_kennel=False)

    plan = plan_breeding(records, "Tarn", "Whin", wishes, seed=1, n_draws=400)

    keys = [source.key for source in plan.sources]
    assert "source.sample_on_hand_missing" in keys
    assert "source.sample_last" not in keys
    shipped = [a.outcome.option for a in plan.answers if a.outcome.option.packed_at is not None]
    assert {option.source for option in shipped} == {"sample on hand"}


def test_a_schedule_of_the_demo_serves_every_bitch_within_the_rest_asked_for(run):
    named = ["--ovulation", "calla=2026-11-14"]
    shown = run("schedule", "Tarn", "Thyme", "Whin", "Calla", "--rest", "3", *named, "--json")

    values = json.loads(shown.output)
    days = [datetime.fromisoformat(one["on"]) for one in values["collections"]]
    assert [a["bitch"] for a in values["assignments"]] == ["Thyme", "Whin", "Calla"]
    assert all((b - a).days >= 3 for a, b in itertools.pairwise(days))
    assert values["litters_lower"] <= values["expected_litters"] <= values["litters_upper"]
    assert all(a["price"] >= -1e-6 for a in values["assignments"])


@pytest.mark.parametrize("language", FORBIDDEN)
def test_the_schedule_is_printed_in_words_that_fit_the_line(language, run):
    shown = run("schedule", "Tarn", "Thyme", "Whin", "--apart", "Whin", "--language", language)

    assert not FORBIDDEN[language].search(shown.output)
    assert max(map(len, shown.output.splitlines())) <= 80
    assert len(sentences_in(shown.output, "schedule.litters", language)) == 1


def test_a_bitch_without_a_rise_gets_no_day_in_a_schedule_unless_one_is_named(run):
    shown = run("schedule", "Tarn", "Thyme", "Calla", "--json")
    named = run("schedule", "Tarn", "Calla", "--ovulation", "Calla=2026-11-05", "--json")
    none = run("schedule", "Tarn", "Calla")

    values = json.loads(shown.output)
    assert values["undated"] == ["Calla"]
    assert [one["bitch"] for one in values["assignments"]] == ["Thyme"]
    assert {one for day in values["collections"] for one in day["for"]} <= {"Thyme"}
    assert json.loads(named.output)["undated"] == []
    assert none.exit_code == 1
    (undated,) = sentences_in(none.output, "schedule.undated")
    assert "Calla" in undated
    assert sentences_in(none.output, "schedule.litters") == []


def with_readings_of_whin(records, n):
    """The same records with the first readings of Whin's open heat alone."""
    progesterone, cycles = records.views["progesterone"], records.views["cycles"]
    open_heat = cycles[cycles["bitch"] == "Whin"].sort_values("first_day")["cycle_id"].iloc[-1]
    hers = progesterone[progesterone["cycle_id"] == open_heat].sort_values("sampled_earliest")
    kept = progesterone.drop(hers.index[n:])
    return replace(records, views={**records.views, "progesterone": kept})


@pytest.mark.parametrize("language", FORBIDDEN)
@pytest.mark.parametrize(
    ("n_readings", "key"), [(0, "plan.heat_guess"), (2, "plan.heat_no_rise"), (3, "plan.heat")]
)
def test_a_comparison_tells_days_from_the_rise_on_and_none_before_it(
    n_readings, key, language, records
):
    asked = with_readings_of_whin(records, n_readings)
    words = Words(language)
    plan = plan_breeding(asked, "Tarn", "Whin", Wishes(), seed=1, n_draws=400)
    answer = plan_answer(plan, words)
    reader = Reader(words, "owner")
    page = build_comparison(comparison_results(plan, asked, reader, anonymous=False), reader)

    has_days = key == "plan.heat"
    of_heat = heat_sentence("Whin", plan.heat)
    assert of_heat.key == key
    assert words.tell(of_heat) in answer.sentences
    assert ("first" in of_heat.values) == (key != "plan.heat_no_rise")
    assert (answer.values["ovulation_on"] is not None) == has_days
    for option in answer.values["options"]:
        assert bool(option["inseminated_at"]) == has_days
        assert has_days or option["collected_at"] is option["packed_at"] is None
    moments = {at for way in plan.answers for at in way.outcome.option.inseminated_at}
    printed = [words.weekday_moment(at) for at in moments] + [words.moment(at) for at in moments]
    ways = next(section for section in page.sections if section.name == "ways")
    shown = [
        *answer.sentences, *page.answer, *(str(c) for row in answer.tables[0].rows for c in row),
        *(str(c) for row in ways.table.rows for c in row),
        *(text for section in page.sections for text in section.paragraphs),
    ]  # fmt: skip
    assert any(moment in text for text in shown for moment in printed) == has_days


def test_days_are_told_where_the_rise_was_seen_or_a_person_named_the_day(records):
    assert heat_of(records, "Whin").has_days
    unread = with_readings_of_whin(records, 0)
    assert not heat_of(unread, "Whin").has_days
    assert not heat_of(records, "Calla").has_days
    assert heat_of(unread, "Whin", ovulation_on=date(2026, 11, 5)).has_days

    cycles = unread.views["cycles"].copy()
    hers = (cycles["bitch"] == "Whin") & (cycles["first_day"] == pd.Timestamp("2026-10-21"))
    cycles.loc[hers, "vet_ovulation_on"] = pd.Timestamp("2026-11-04")
    by_vet = heat_of(replace(unread, views={**unread.views, "cycles": cycles}), "Whin")
    assert by_vet.has_days
    assert by_vet.ovulation.mean_at.date() == date(2026, 11, 4)
    assert by_vet.words.key == "heat.by_vet"
