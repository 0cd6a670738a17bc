"""The bench at the terminal: right numbers, plain sentences, 80 columns, quick starts."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from studcurve.pipelines.answers.answer import WIDTH, printable, spoken
from studcurve.pipelines.cli import main
from studcurve.reports.words import Words

EN = Words("en")
ROOT = Path(__file__).parents[2]
HEAVY = {"jax", "numpyro", "statsmodels", "sklearn", "altair", "scipy.stats"}

COMMANDS = {
    "concentration": ["concentration", "130", "--dilution", "1 + 19", "--volume", "3"],
    "squares": ["concentration", "12,9,15,11,14", "--dilution", "1 + 19"],
    "none seen": ["concentration", "0", "--dilution", "1 + 19", "--volume", "3"],
    "agree": ["agree", "201", "245"],
    "percentages": ["agree", "60", "66", "--percent"],
    "readers": ["agree", "70,80,65,60,75", "65,70,60,62,70"],
    "dose": ["dose", "3.2", "80", "--cells", "130", "--dilution", "1 + 19", "--extender",
             "egg yolk"],
    "uncounted": ["dose", "3.2", "80", "--route", "transcervical", "--normal", "75"],
    "spin": ["spin", "--radius", "10", "--volume", "8", "--leave", "1.5", "--before", "200",
             "--after", "190", "--dilution-after", "1 + 4"],
    "fast spin": ["spin", "--radius", "10", "--g", "3500"],
    "extend": ["extend", "3", "--concentration", "300", "--final", "20", "--doses", "2",
               "--weight", "8", "--minutes-before-extending", "45"],
    "storage": ["storage", "80", "--extender", "milk", "--per-dose", "300", "--at-hours",
                "24,72,200"],
    "not yet": ["ovulation", "2026-03-08=1.0 ng/mL", "--first-day", "2026-03-01", "--now",
                "2026-03-08 20:00"],
    "dated": ["ovulation", "2026-03-08=0.9", "2026-03-10=2.4", "2026-03-11=3.6", "--unit", "ng/mL",
              "2026-03-12 08:30=17.8 nmol/L@Lindal", "--first-day", "2026-03-01", "--now",
              "2026-03-12 20:00", "--semen", "frozen"],
    "bounded": ["ovulation", "2026-03-08=<1.0", "--first-day", "2026-03-01", "--now",
                "2026-03-08 20:00"],
    "late": ["ovulation", "2026-03-15=>20", "--first-day", "2026-03-01", "--now",
             "2026-03-15 20:00"],
    "now": ["ovulation", "2026-03-14=5.7", "--first-day", "2026-03-01", "--now", "2026-03-14"],
    "no ovulation": ["ovulation", "2026-03-28=0.8 ng/mL", "--first-day", "2026-03-01", "--now",
                     "2026-03-28 20:00"],
    "lost": ["ovulation", "2026-03-08=0.8", "2026-03-10=2.4", "2026-03-12=5", "2026-03-18=0.9",
             "--first-day", "2026-03-01", "--unit", "ng/mL", "--now", "2026-03-18 20:00"],
    "over": ["ovulation", "2026-03-08=1.0", "--first-day", "2026-03-01", "--now", "2026-11-29"],
    "past": ["ovulation", "2026-03-08=0.7 ng/mL", "2026-03-10=2.4 ng/mL", "2026-03-12=5.5 ng/mL",
             "--first-day", "2026-03-01", "--now", "2026-11-29"],
    "unread": ["ovulation", "--first-day", "2026-03-01", "--now", "2026-03-08 20:00"],
    "untimed": ["whelping", "--mated", "2026-03-12", "--mated", "14.03.2026"],
    "timed": ["whelping", "--mated", "2026-03-12", "--timed"],
    "whelping": ["whelping", "--lh", "2026-03-10", "--ovulation", "2026-03-12", "--pups", "3"],
    "lookback": ["lookback", "--collected", "2026-03-31", "--ended", "2026-01-01"],
}  # fmt: skip


@pytest.fixture
def bench(tmp_path, capsys):
    """Run one bench command against a records file that may not exist."""

    def run(*arguments, store=tmp_path / "none.duckdb"):
        needs_store = arguments[0] in ("card", "dose", "spin", "storage")
        with pytest.raises(SystemExit) as stop:
            main(["bench", *arguments, *(["--store", str(store)] if needs_store else [])])
        printed = capsys.readouterr()
        return stop.value.code or 0, printed.out, printed.err

    return run


@pytest.fixture
def values_of(bench):
    def values(name, *more):
        _, out, _ = bench(*COMMANDS[name], "--json", *more)
        return json.loads(out)

    return values


@pytest.mark.parametrize("name", COMMANDS)
def test_every_answer_begins_with_a_sentence_and_fits_eighty_columns(bench, name):
    code, out, err = bench(*COMMANDS[name])

    lines = out.splitlines()
    assert code == 0
    assert err == ""
    assert lines[0][0].isupper() or lines[0][0].isdigit()
    assert max(map(len, lines)) <= WIDTH
    assert not re.search(r"\bnan\b", out)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_answer_is_there_for_machines(bench, name):
    _, out, _ = bench(*COMMANDS[name], "--json")

    values = json.loads(out)
    assert values["answer"]
    assert len(values) > 2


def test_a_count_is_told_with_its_error(values_of):
    values = values_of("concentration")

    # 130 cells in five squares of 4 nL diluted 1 + 19 are 130 M/mL.
    assert values["concentration_m_per_ml"] == pytest.approx(130.0)
    assert values["total_sperm_m"] == pytest.approx(390.0)
    assert values["sampling_error_pct"] == pytest.approx(8.77, abs=0.01)
    assert values["concentration_m_per_ml_low"] < 110 < 150 < values["concentration_m_per_ml_high"]


def test_no_cell_seen_is_told_as_an_upper_limit(bench, values_of):
    _, out, _ = bench(*COMMANDS["none seen"])

    assert "upper limit, not a zero" in out.replace("\n", " ")
    values = values_of("none seen")
    assert values["concentration_m_per_ml"] == 0.0
    # Three cells' worth in 1 nL, widened by a home count's error.
    assert 3.0 < values["upper_limit_m_per_ml"] < 4.0


def test_replicates_are_judged_by_the_manual(values_of):
    assert values_of("agree") | {"answer": 0, "remarks": 0} == {
        "agree": False, "difference": 44.0, "largest_acceptable": 41.0, "answer": 0, "remarks": 0,
    }  # fmt: skip
    assert values_of("percentages")["agree"] is True


def test_a_dose_table_falls_with_every_dose_more(values_of):
    values = values_of("dose")

    chances = [one["meets_prob"] for one in values["doses"]]
    assert chances == sorted(chances, reverse=True)
    assert values["n_doses"] == sum(prob >= values["certainty"] for prob in chances)
    assert values["target_m"] == 200.0
    assert values_of("uncounted")["target_m"] == 100.0


def test_a_sample_without_sperm_makes_no_dose_and_needs_a_person(bench):
    code, out, _ = bench("dose", "3.2", "80", "--cells", "0", "--json")

    values = json.loads(out)
    assert code == 1
    assert values["n_doses"] is None
    assert "doses" not in values
    assert values["total_sperm_m_high"] > 0


def test_a_spin_is_told_by_this_rotor_and_nothing_beyond_the_studied(values_of):
    values = values_of("spin")

    # 720 g at 10 cm need 2,537.7 turns a minute.
    assert values["speed_rpm"] == pytest.approx(2_537.7, abs=0.1)
    assert values["expected_kept_pct"] == pytest.approx(97.7)
    assert values["fluid_to_take_off_ml"] == pytest.approx(6.5)
    assert values["recovered_pct"] == pytest.approx(190 * 5 * 1.5 / (200 * 8) * 100)
    assert values_of("fast spin")["expected_kept_pct"] is None


def test_a_rotor_is_remembered_once_there_is_a_records_file(bench, kennel):
    code, _, err = bench("spin", "--g", "720", store=kennel.records)
    assert code == 1
    assert "--radius" in err

    bench("spin", "--radius", "8.5", store=kennel.records)
    _, out, _ = bench("spin", "--g", "720", "--json", store=kennel.records)
    assert json.loads(out)["radius_cm"] == 8.5

    code, _, err = bench("spin", "--radius", "85", store=kennel.records)
    assert code == 2
    assert "between 2 and 40 cm; got 85" in err


@pytest.mark.parametrize("command", ["spin", "card"])
def test_a_radius_that_no_records_file_remembers_is_said_in_one_line(
    command, bench, kennel, tmp_path
):
    out_in = ["--out", str(tmp_path)] if command == "card" else []
    forgotten = EN["card.radius_not_remembered"]

    def remarks(*arguments, store):
        _, out, _ = bench(command, *out_in, *arguments, "--json", store=store)
        return json.loads(out)["remarks"]

    none = tmp_path / "none.duckdb"
    assert remarks("--radius", "9.5", store=none).count(forgotten) == 1
    assert len(forgotten) <= WIDTH - len("- ")
    assert forgotten not in remarks("--radius", "9.5", store=kennel.records)
    assert forgotten not in remarks(store=kennel.records)
    if command == "card":
        # Without a radius nothing was said that could be remembered.
        assert forgotten not in remarks(store=none)


def test_extender_answers_by_ratio_and_by_concentration_alike(values_of, bench):
    values = values_of("extend")
    _, out, _ = bench("extend", "3", "--ratio", f"1 + {values['ratio']:.6f}", "--json")

    assert values["extender_ml"] == pytest.approx(42.0)
    assert json.loads(out)["extender_ml"] == pytest.approx(42.0)
    # Ratio, thinness, waiting, volume: all four rules speak.
    assert len(values["reminders"]) == 4


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["extend", "3"], "--ratio"),
        (["extend", "3", "--concentration", "20", "--final", "50"], "only thins"),
        (["ovulation"], "--first-day"),
        (["ovulation", "1.0 on Monday"], "DAY=VALUE"),
        (["ovulation", "2026-13-08=1.0"], "no such day"),
        (["ovulation", "2026-03-08=0"], "above zero"),
        (["whelping"], "--mated"),
        (["lookback"], "--collected"),
        (["agree", "1,2,3", "1,2"], "as many of each"),
        (["agree", "70,70,70", "70,70,70"], "Evaluate more samples"),
        (["dose", "3", "80", "--hours", "72.1"], "Choose an earlier insemination"),
        (
            ["dose", "3", "80", "--hours", "12.1", "--extender", "none"],
            "choose an earlier insemination",
        ),
        (["dose", "3", "80", "--cells", "9", "--concentration", "9"], "Leave one out"),
    ],
)
def test_a_question_that_cannot_be_answered_says_what_to_do(bench, arguments, word):
    code, out, err = bench(*arguments)

    assert code == 1
    assert out == ""
    assert word in err.replace("\n", " ")
    assert max(map(len, err.splitlines())) <= WIDTH


def test_one_low_reading_is_not_yet_with_the_next_day_and_no_date(bench, values_of):
    _, out, _ = bench(*COMMANDS["not yet"])
    values = values_of("not yet")

    assert out.startswith("Not yet")
    assert values["state"] == "no rise"
    assert not values["unit_supposed"]
    assert values["ovulation_on"] is None
    assert values["next_reading_on"] == "2026-03-10"
    assert "insemination_days" not in values


def test_a_dated_heat_gives_days_and_shows_that_the_sources_disagree(bench, values_of):
    _, out, _ = bench(*COMMANDS["dated"])
    values = values_of("dated")

    assert values["state"] == "dated"
    assert values["ovulation_low_on"] <= values["ovulation_on"] <= values["ovulation_high_on"]
    assert "sources disagree" in out
    assert [one["first_day"] for one in values["insemination_days"]] == [2, 4]


@pytest.mark.parametrize("name", ["late", "past"])
def test_days_that_are_past_are_said_to_be_past(name, values_of, bench):
    values = values_of(name, "--now", "2026-03-25 12:00")
    _, out, _ = bench(*COMMANDS[name], "--now", "2026-03-25 12:00")

    assert values["state"] == {"late": "unsure", "past": "dated"}[name]
    assert "are past" in " ".join(values["answer"])
    assert "In the window on" not in out


@pytest.mark.parametrize("name", ["not yet", "no ovulation", "lost", "over", "unread", "bounded"])
def test_without_a_rise_no_day_of_ovulation_or_insemination_is_told(name, values_of):
    values = values_of(name)

    assert values["rise"] in ("not seen", "lost")
    assert values["ovulation_on"] is None
    assert {"insemination_days", "ovulation_low_on"} & set(values) == set()


def test_a_heat_without_readings_gets_a_wide_guess_called_so_and_a_next_draw(values_of):
    values = values_of("unread")

    assert "guess" in values["answer"][0]
    assert values["next_reading_on"] is not None
    assert values["no_ovulation_prob"] == 0.05


def test_a_reading_of_ovulation_itself_says_what_to_do_today(values_of):
    values = values_of("now")

    assert (values["state"], values["may_be_now"], values["asks_vet"]) == ("may be now", True, True)
    assert values["next_reading_on"] == "2026-03-15"
    assert "may be ovulating now" in " ".join(values["answer"])


def test_basal_late_in_a_heat_is_no_date_but_the_veterinarian_s(values_of):
    values = values_of("no ovulation")

    assert values["no_ovulation_prob"] > 0.9
    assert values["asks_vet"]
    assert values["next_reading_on"] == "2026-03-29"
    # Thirty-one days after the first bleeding nothing more is drawn.
    later = values_of("no ovulation", "--now", "2026-04-01 20:00")
    assert later["next_reading_on"] is None
    assert later["asks_vet"]
    assert values_of("lost")["state"] == "lost"


def test_a_heat_that_is_over_is_said_to_be_over(values_of):
    assert values_of("over")["is_over"]
    assert not values_of("over", "--now", "2026-04-10")["is_over"]  # day 40
    assert values_of("over", "--now", "2026-04-11")["is_over"]


def test_a_bare_number_is_told_to_be_read_as_nanograms_first(values_of):
    bare, named = values_of("now"), values_of("now", "--unit", "nmol/L")

    assert bare["unit_supposed"]
    assert bare["answer"][0].startswith("Read as ng/mL, as no unit was typed: 5.7.")
    # 5.7 nmol/L are 1.79 ng/mL, which alone shows no rise.
    assert "1.8 ng/mL" in bare["answer"][0]
    assert not named["unit_supposed"]
    assert named["state"] == "no rise"


def test_an_unknown_assay_is_said_with_what_it_changes(values_of):
    known = ["--assay", "radioimmunoassay"]

    assert any("kind of assay" in said for said in values_of("past")["answer"])
    assert not any("kind of assay" in said for said in values_of("past", *known)["answer"])


def test_both_sources_keep_their_own_chance_where_they_give_one_day(values_of):
    # Chilled semen on day 2 alone and on days 2 to 4: two chances, also of one day.
    values = values_of("dated", "--semen", "chilled")
    said = next(one for one in values["answer"] if one.startswith("For chilled semen"))

    for source in values["insemination_days"]:
        chance = f"{100 * source['best_prob']:.0f} % likely in day"
        assert chance in said


def test_frozen_answers_claim_no_late_days_that_are_not_shown_for_frozen(values_of):
    assert "Tsutsui" not in json.dumps(values_of("dated", "--semen", "frozen"))


def test_a_mating_is_not_timed_until_someone_says_so(values_of, bench):
    (untimed,), (timed,) = values_of("untimed")["windows"], values_of("timed")["windows"]

    assert (untimed["first_on"], untimed["last_on"]) == ("2026-05-08", "2026-05-25")
    assert untimed["middle_on"] is None
    assert "cesarean is never booked" in " ".join(values_of("untimed")["answer"])
    assert (timed["first_day"], timed["last_day"]) == (59, 64)
    code, _, err = bench(*COMMANDS["untimed"], "--timed")
    assert code == 1
    assert "--timed is of one mating" in err


@pytest.mark.parametrize("name", ["untimed", "timed", "whelping"])
def test_every_whelping_has_its_last_day_without_labor_radiograph_and_temperature(name, values_of):
    values = values_of(name)

    for window in values["windows"]:
        assert window["temperature_from"] < window["first_on"]
        assert window["pups_counted_from"] < window["last_on"]
        assert window["no_labor_by"] > window["first_on"]
    said = " ".join(values["answer"])
    for word in ("No labor by", "veterinarian the same day", "radiograph", "temperature"):
        assert word in said


def test_a_retest_has_an_earliest_and_a_sure_day(values_of):
    said = " ".join(values_of("lookback")["answer"])

    assert "certain day to examine him again is 18 Mar 2026, day 76" in said
    assert "earliest is 2 Mar 2026, day 60" in said


def test_a_count_says_which_squares_it_was_taken_to_be_of(values_of):
    values = values_of("concentration")

    assert (values["n_squares"], values["square_nl"]) == (5, 4.0)
    # 130 cells of the whole grid, 100 nL instead of 20.
    assert "whole grid (100 nL) it would be 26 M/mL" in " ".join(values["answer"])
    grid = values_of("concentration", "--squares", "1", "--square-size", "grid")
    assert grid["concentration_m_per_ml"] == pytest.approx(26.0)
    assert "it would be" not in " ".join(grid["answer"])


def test_no_motility_is_told_beyond_three_days(values_of):
    values = values_of("storage", "--at-hours", "72,72.5,192")

    assert [one["progressive_motility_pct"] is None for one in values["hours"]] == [
        False, True, True,
    ]  # fmt: skip
    assert values["meets_until_h"] % 12 == 0


def test_a_reading_without_its_laboratory_s_kind_is_less_sure(bench):
    typed = ["ovulation", "2026-03-08=0.9", "2026-03-10=2.4", "--first-day", "2026-03-01",
             "--now", "2026-03-10 20:00", "--json"]  # fmt: skip
    sd = {
        assay: json.loads(bench(*typed, "--assay", assay)[1])["ovulation_sd_days"]
        for assay in ("unknown", "radioimmunoassay")
    }

    assert sd["radioimmunoassay"] < sd["unknown"]


def test_every_day_count_names_its_zero(values_of):
    for name in ("whelping", "lookback"):
        for window in values_of(name)["windows"]:
            assert window["day_zero"] in (
                "LH surge", "ovulation", "timed mating", "mating", "collection", "end of the harm",
            )  # fmt: skip
            assert window["first_on"] <= window["last_on"]


@pytest.mark.parametrize(
    ("value", "wanted"),
    [(0.0, "0"), (20.0, "20"), (1234.5, "1,230"), (0.04567, "0.0457"), (99.96, "100"),
     (-3.776, "-3.78"), (float("nan"), "–"), (float("inf"), "–")],
)  # fmt: skip
def test_a_number_is_spoken_to_three_figures(value, wanted):
    assert spoken(value) == wanted


def test_a_control_character_is_shown_and_not_obeyed():
    assert printable("Rex\x1b[31m") == "Rex\\x1b[31m"


TIMED = """
import io, json, sys, time
from contextlib import redirect_stdout
commands = json.loads(sys.argv[1])
from studcurve.pipelines.cli import main
def run(arguments):
    begin = time.process_time()
    with redirect_stdout(io.StringIO()):
        try:
            main(arguments)
        except SystemExit:
            pass
    return time.process_time() - begin
first = None
for arguments in commands.values():
    run(arguments)
    first = first or time.process_time()
again = commands if sys.argv[2:] == ["again"] else {}
work = {name: run(arguments) for name, arguments in again.items()}
print(json.dumps({"work": work, "first": first, "modules": list(sys.modules)}))
"""


def fresh_process(commands, environment=None, *, again=True):
    """Processor seconds up to the first answer, and of each answer again once all is imported."""
    printed = subprocess.run(
        [sys.executable, "-c", TIMED, json.dumps(commands), *(["again"] if again else [])],
        cwd=ROOT, env=environment, capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    return json.loads(printed)


def bench_arguments(folder):
    """Every bench command, on a kennel that has told nothing yet."""
    store = ["--store", str(folder / "none.duckdb")]
    return {
        name: ["bench", *arguments, *(store if arguments[0] in ("dose", "spin", "storage") else [])]
        for name, arguments in COMMANDS.items()
    }


def daily_arguments(store_path, out):
    """Shipment and card on a records file that may be written to."""
    store = ["--store", str(store_path), "--out", str(out)]
    shipment = ["ship", "Tarn", "3.1", "80", "--cells", "140", "--dilution", "1 + 19", "--extender",
           "egg yolk", "--now", "2026-10-31 19:10", "--inseminate", "2026-11-01 11:00",
           *store]  # fmt: skip
    return {
        "checked": [*shipment, "--check"],
        "packed": shipment,
        "card": ["bench", "card", *store],
    }


def test_no_bench_command_loads_a_sampler_a_frame_library_or_a_database(tmp_path):
    loaded = set(fresh_process(bench_arguments(tmp_path), again=False)["modules"])

    assert (HEAVY | {"pandas", "duckdb"}) & loaded == set()


def test_shipment_and_card_load_no_sampler(tmp_path, demo_store_path):
    writable = shutil.copyfile(demo_store_path, tmp_path / "demo.duckdb")

    loaded = set(fresh_process(daily_arguments(writable, tmp_path), again=False)["modules"])

    assert HEAVY & loaded == set()
