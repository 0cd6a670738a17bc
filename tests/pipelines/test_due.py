"""What is due: from the records alone, on the right day, silent where a caution stops."""

import json
import os
import subprocess
import sys
from datetime import date, timedelta

import pytest

from studcurve.analytics.cautions import cautions_for_dog
from studcurve.analytics.due.items import AHEAD_DAYS
from studcurve.analytics.models.ovulation.insemination_days import INSEMINATION_WINDOWS
from studcurve.pipelines.answers.answer import WIDTH
from studcurve.pipelines.answers.due import due_lines
from studcurve.pipelines.due import read_due
from studcurve.pipelines.records.dog_history import cautions_of, dog_records
from studcurve.pipelines.run import DEMO_TODAY
from studcurve.reports.words import Words

EN = Words("en")
TODAY = date(2024, 3, 20)


def on(days):
    return (TODAY + timedelta(days=days)).isoformat()


def due(kennel, *paths, today=TODAY, **how):
    kennel.load(*paths, today=today)
    return read_due(kennel.records, today=today, **how)


def of_kind(items, kind):
    return [item for item in items if item.kind == kind]


def heat_of(bitch, first_day, *readings, **cells):
    """The Heats line of a bitch: first day and progesterone by days from today."""
    row = {"Bitch": bitch, "First day": on(first_day)} | cells
    for n, (day, value) in enumerate(readings, 1):
        row |= {f"Progesterone {n} on": on(day), f"Progesterone {n} at": "09:00",
                f"Progesterone {n}": str(value), f"Progesterone {n} unit": "ng/mL"}  # fmt: skip
    return row


def heat(kennel, first_day, *readings, **cells):
    """The Heats sheet with one line of Senna."""
    return kennel.write("heats", [heat_of("Senna", first_day, *readings, **cells)])


BRED = {"Bitch": "Senna", "Stud": "Bracken", "Semen": "natural", "Route": "natural"}


def test_blood_is_drawn_before_ovulation_is_likely_and_not_on_a_past_day(kennel):
    (item,) = of_kind(due(kennel, heat(kennel, -5)), "progesterone")

    assert TODAY <= item.on <= TODAY + timedelta(days=6)
    assert not item.is_late
    assert "0 readings" in EN.tell(item.what)


def test_one_low_reading_gives_another_draw_and_no_date(kennel):
    items = due(kennel, heat(kennel, -7, (0, 1.0)))

    assert of_kind(items, "insemination") == []
    (item,) = of_kind(items, "progesterone")
    assert item.on > TODAY


RISING = [(-6, 0.6), (-5, 0.8), (-4, 1.2), (-3, 1.7), (-2, 2.6), (0, 5.6)]


def test_a_dated_ovulation_gives_days_for_each_semen_as_wide_as_the_sources(kennel):
    items = of_kind(due(kennel, heat(kennel, -12, *RISING)), "insemination")

    assert of_kind(items, "progesterone") == []
    dated = {item.what.values["ovulation_on"] for item in items}
    assert len(dated) == 1
    (ovulation_on,) = dated
    assert abs((ovulation_on - TODAY).days) <= 2
    spans = {
        word.word: ((item.on - ovulation_on).days, (item.until - ovulation_on).days)
        for item in items
        for word in item.what.values["semen"]
    }
    for semen, span in spans.items():
        windows = [w for w in INSEMINATION_WINDOWS if semen in w.semen_types]
        assert span == (min(w.first_day for w in windows), max(w.last_day for w in windows))
    assert set(spans) == {"natural", "fresh", "chilled", "frozen"}


def test_the_veterinarian_s_date_stands_above_the_readings(kennel):
    sheet = heat(kennel, -12, *RISING, **{"Vet's ovulation date": on(-1)})

    dated = {
        item.what.values["ovulation_on"] for item in of_kind(due(kennel, sheet), "insemination")
    }

    assert dated == {TODAY - timedelta(days=1)}


def test_a_bitch_with_brucella_gets_the_caution_and_no_day(kennel):
    results = {"Senna": "positive", "Sage": "suspect"}
    tests = [{"Dog": dog, "Date": on(-3), "Kind": "laboratory test", "What": "Brucella (RSAT)",
              "Result": result} for dog, result in results.items()]  # fmt: skip
    heats = [heat_of(bitch, -12, *RISING) for bitch in results]

    items = due(kennel, kennel.write("heats", heats), kennel.write("health", tests))

    assert of_kind(items, "insemination") == of_kind(items, "progesterone") == []
    cautions = [item.what for item in of_kind(items, "caution") if item.dog]
    assert {one.values["dog"]: one.values["result"] for one in cautions} == results
    assert all(one.key == "caution.brucella_not_negative" for one in cautions)


def test_a_heat_in_which_she_was_bred_or_that_is_over_asks_for_no_blood(kennel):
    bred = kennel.write("breedings", [BRED | {"Date": on(-1)}])
    assert of_kind(due(kennel, heat(kennel, -12), bred), "progesterone") == []

    later = due(kennel, heat(kennel, -12), today=TODAY + timedelta(days=60))
    assert of_kind(later, "progesterone") == []


def test_a_scan_is_asked_for_from_day_28_and_a_whelping_after_it(kennel):
    sheet = kennel.write("breedings", [BRED | {"Date": on(-30), "Second date": on(-28)}])

    items = due(kennel, sheet, ahead_days=60)

    (scan,) = of_kind(items, "scan")
    assert (scan.on, scan.until) == (TODAY, TODAY + timedelta(days=7))
    (whelping,) = of_kind(items, "whelping")
    assert (whelping.on, whelping.until) == (
        TODAY + timedelta(days=-30 + 57), TODAY + timedelta(days=-28 + 72),
    )  # fmt: skip


def test_a_dated_ovulation_narrows_the_whelping(kennel):
    kennel.load(heat(kennel, -22, *[(day - 10, value) for day, value in RISING]), today=TODAY)
    sheet = kennel.write("breedings", [BRED | {"Date": on(-8)}])

    (whelping,) = of_kind(due(kennel, sheet, ahead_days=90), "whelping")

    assert whelping.what.values["zero"].word == "ovulation"
    assert 4 <= (whelping.until - whelping.on).days <= 9


def test_early_negative_scans_do_not_end_the_waiting_and_later_ones_ask_for_the_outcome(kennel):
    early = BRED | {"Date": on(-40), "Scan on": on(-20), "Scan": "not pregnant"}
    later = early | {"Bitch": "Sage", "Scan on": on(-10)}

    items = due(kennel, kennel.write("breedings", [early, later]), ahead_days=60)

    assert [item.dog for item in of_kind(items, "scan")] == ["Senna"]
    assert [item.dog for item in of_kind(items, "whelping")] == ["Senna"]
    assert [item.dog for item in of_kind(items, "outcome")] == ["Sage"]


def test_a_breeding_past_its_days_without_outcome_is_late_and_one_with_it_is_not_due(kennel):
    rows = [BRED | {"Date": on(-100)},
            BRED | {"Bitch": "Sage", "Date": on(-100), "Result": "missed"},
            BRED | {"Date": on(-900)}, BRED | {"Bitch": "Sage", "Date": on(-901)}]  # fmt: skip

    items = of_kind(due(kennel, kennel.write("breedings", rows)), "outcome")

    assert all(item.is_late for item in items)
    assert [(item.dog, item.what.key) for item in items] == [
        ("", "due.outcomes_forgotten"), ("Senna", "due.outcome"),
    ]  # fmt: skip
    assert items[0].what.values["n"] == 2


def test_a_shipment_is_late_after_the_promised_day(kennel):
    shipments = [{"Stud": "Bracken", "Sent on": on(-3), "Promised on": on(-1), "For bitch": "Gale"},
             {"Stud": "Bracken", "Sent on": on(0)},
             {"Stud": "Tarn", "Sent on": on(-3), "Arrived on": on(-2)}]  # fmt: skip

    items = of_kind(due(kennel, kennel.write("shipments", shipments)), "shipment")

    assert [(item.on, item.is_late) for item in items] == [
        (TODAY - timedelta(days=1), True), (TODAY + timedelta(days=1), False),
    ]  # fmt: skip
    assert "to Gale" in EN.tell(items[0].what)


def brucella(dog, days):
    return {"Dog": dog, "Date": on(days), "Kind": "laboratory test", "What": "Brucella (RSAT)",
            "Result": "negative"}  # fmt: skip


def test_tests_follow_the_kennel_s_own_interval_and_else_the_published_one(kennel):
    used = kennel.collections({"Date": on(-2)}, {"Dog": "Tarn", "Date": on(-2)})
    health = kennel.write("health", [brucella("Bracken", -200)])

    published = of_kind(due(kennel, used, health), "test")
    own = of_kind(
        due(kennel, kennel.write("intervals", [
            {"What": "brucella", "Every (days)": "180"}, {"What": "eyes", "Every (days)": "365"}])),
        "test",
    )  # fmt: skip

    # In the same words as on his page.
    never, overdue = "caution.brucella_not_recorded", "caution.brucella_overdue"
    assert [(item.dog, item.what.key) for item in published] == [("Tarn", never)]
    assert {(item.dog, item.what.key) for item in own} == {
        ("Bracken", overdue), ("Tarn", never),
        ("Bracken", "due.test_never"), ("Tarn", "due.test_never"),
    }  # fmt: skip
    late = next(item for item in own if item.what.key == overdue)
    assert (late.what.values["n_days"], late.what.values["every"]) == (200, 180)
    assert late.is_late


def test_a_dog_that_is_not_used_is_not_tested(kennel):
    kennel.load(kennel.collections({"Date": "2020-03-05"}), today=TODAY)

    items = read_due(kennel.records, today=TODAY)

    assert of_kind(items, "test") == of_kind(items, "evaluation") == []


def test_a_stud_in_use_whom_nobody_looks_at_is_named(kennel):
    kennel.load(
        kennel.collections({"Date": on(-200)}, {"Dog": "Tarn", "Date": on(-10)}),
        kennel.write("breedings", [BRED | {"Date": on(-9)}]), today=TODAY,
    )  # fmt: skip

    items = of_kind(read_due(kennel.records, today=TODAY), "evaluation")
    own = of_kind(
        due(kennel, kennel.write("intervals", [{"What": "Evaluation", "Every (days)": "5"}])),
        "evaluation",
    )  # fmt: skip

    assert [(item.dog, item.is_late) for item in items] == [("Bracken", True)]
    assert [item.dog for item in own] == ["Bracken", "Tarn"]


def test_straws_run_out_below_two_doses_and_none_left_are_no_news(kennel):
    used = {"two": "2", "three": "3", "seven": "7", "eight": "8"}
    lot = {"Frozen on": "2023-01-01", "Lot": "A", "Straws": "8", "Straws per dose": "3"}
    frozen = BRED | {"Semen": "frozen", "Route": "transcervical", "Lot": "A", "Date": on(-90)}
    kennel.load(
        kennel.write("dogs", [{"Dog": stud, "Sex": "male"} for stud in used], "more/dogs.csv"),
        kennel.write("frozen", [lot | {"Stud": stud} for stud in used]),
        kennel.write("breedings", [
            frozen | {"Stud": stud, "Straws": n} for stud, n in used.items()
        ]),
        today=TODAY,
    )  # fmt: skip

    items = of_kind(read_due(kennel.records, today=TODAY), "straws")

    # Of eight straws, three for a dose: six are left two doses, five and one are fewer.
    assert {item.dog for item in items} == {"three", "seven"}


def test_nothing_is_said_of_days_beyond_the_horizon_or_of_records_to_come(kennel):
    kennel.load(kennel.write("breedings", [BRED | {"Date": on(-1)}]), today=TODAY)

    assert of_kind(read_due(kennel.records, today=TODAY), "scan") == []
    assert of_kind(read_due(kennel.records, today=TODAY, ahead_days=40), "scan") != []
    assert read_due(kennel.records, today=TODAY - timedelta(days=30)) == ()


def test_an_empty_list_says_so(kennel):
    items = read_due(kennel.records, today=TODAY)

    assert list(due_lines(items, EN, today=TODAY)) == [
        "Nothing is due in the records on 20 Mar 2024."
    ]


@pytest.fixture(scope="module")
def due_in_the_demo(demo_store_path):
    return read_due(demo_store_path, today=DEMO_TODAY)


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_demo_s_list_is_read_in_either_language_at_eighty_columns(due_in_the_demo, language):
    items = due_in_the_demo
    lines = list(due_lines(items, Words(language), today=DEMO_TODAY))

    assert max(map(len, lines)) <= WIDTH
    assert {item.kind for item in items} >= {
        "progesterone", "scan", "whelping", "shipment", "outcome", "test", "straws",
    }  # fmt: skip
    first = [item for item in items if item.kind == "caution"]
    rest = items[len(first) :]
    assert items[: len(first)] == tuple(first)
    assert rest == tuple(sorted(rest, key=lambda item: (not item.is_late, item.on)))
    assert all(item.on <= DEMO_TODAY + timedelta(days=AHEAD_DAYS) for item in items)
    text = "\n".join(lines)
    for dog in {item.dog for item in items} - {""}:
        assert dog in text


def test_studcurve_alone_prints_what_is_due_without_the_sampler(demo_store_path, tmp_path):
    process = subprocess.run(
        [sys.executable, "-X", "importtime", "-c",
         "import sys; from studcurve.pipelines.cli import main; main([])"],
        env=os.environ | {"STUDCURVE_STORE": str(demo_store_path)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert process.returncode == 0, process.stderr[-500:]
    assert "What is repeated or runs out" in process.stdout
    loaded = {line.split("|")[-1].strip().split(".")[0] for line in process.stderr.splitlines()}
    assert loaded & {"jax", "numpyro", "statsmodels", "sklearn", "altair", "arviz_stats"} == set()


def test_machines_get_every_item(demo_store_path, due_in_the_demo, capsys):
    from studcurve.pipelines.cli import main

    with pytest.raises(SystemExit) as stop:
        main(["due", "--store", str(demo_store_path), "--now", "2026-10-31", "--json"])

    items = json.loads(capsys.readouterr().out)
    assert (stop.value.code or 0) == 0
    assert {"kind", "dog", "on", "until", "is_late", "what"} == set(items[0])
    assert len(items) == len(due_in_the_demo)


BASAL_LATE = [(-11, 0.6), (-4, 0.7)]


@pytest.mark.parametrize("day", [0, 13, 20, 30])
def test_blood_is_due_on_every_day_of_a_heat_without_a_rise(kennel, day):
    items = due(kennel, heat(kennel, -day), ahead_days=40)

    (item,) = of_kind(items, "progesterone")
    assert TODAY <= item.on <= TODAY + timedelta(days=31 - day)
    assert item.what.key == "due.progesterone"
    assert of_kind(items, "insemination") == []


def test_basal_blood_late_in_a_heat_gives_no_day_but_a_draw_and_the_veterinarian(kennel):
    # Days to inseminate were printed for this heat, and no draw, while ovulation had to lie
    # within 31 days of the first bleeding.
    items = due(kennel, heat(kennel, -27, *BASAL_LATE))

    assert of_kind(items, "insemination") == []
    (item,) = of_kind(items, "progesterone")
    assert item.what.key == "due.none_likely"
    assert item.what.values["prob"] > 0.9
    assert item.what.values["on"] >= TODAY


@pytest.mark.parametrize(("day", "key"), [
    (31, "due.none_likely"), (32, "due.no_rise"), (40, "due.no_rise"), (41, None),
])  # fmt: skip
def test_a_heat_whose_rise_never_came_is_the_veterinarian_s_after_day_31(kennel, day, key):
    items = of_kind(due(kennel, heat(kennel, -day, *BASAL_LATE)), "progesterone")

    assert [item.what.key for item in items] == ([] if key is None else [key])


def test_a_heat_that_nobody_times_is_silent_after_day_31(kennel):
    assert of_kind(due(kennel, heat(kennel, -32)), "progesterone") == []


def test_a_reading_of_ovulation_itself_rings_the_veterinarian_today(kennel):
    (item,) = of_kind(due(kennel, heat(kennel, -13, (0, 5.7))), "progesterone")

    assert (item.what.key, item.on) == ("due.may_be_now_test", TODAY)
    assert item.what.values["on"] == TODAY + timedelta(days=1)


def test_a_rise_that_is_lost_is_told(kennel):
    items = due(kennel, heat(kennel, -16, (-8, 0.7), (-6, 2.5), (-4, 5.0), (0, 0.8)))

    assert of_kind(items, "insemination") == []
    (item,) = of_kind(items, "progesterone")
    assert item.what.key == "due.rise_lost"


def test_radiograph_and_temperature_come_before_a_whelping(kennel):
    sheet = kennel.write("breedings", [BRED | {"Date": on(-50), "Second date": on(-48)}])

    items = due(kennel, sheet, ahead_days=60)

    (radiograph,), (temperature,), (whelping,) = (
        of_kind(items, kind) for kind in ("radiograph", "temperature", "whelping")
    )
    assert radiograph.on == TODAY + timedelta(days=-48 + 55)
    assert temperature.on == whelping.on - timedelta(days=3)
    assert whelping.what.key == "due.whelping_untimed"
    assert whelping.what.values["late"] == TODAY + timedelta(days=-50 + 72)


@pytest.mark.parametrize(
    ("days", "keys"),
    [
        (72, ["due.whelping_untimed"]), (73, ["due.overdue", "due.outcome"]),
        (82, ["due.overdue", "due.outcome"]), (83, ["due.outcome"]),
    ],
)  # fmt: skip
def test_past_the_last_day_without_labor_she_is_for_a_veterinarian_today(kennel, days, keys):
    sheet = kennel.write("breedings", [BRED | {"Date": on(-days)}])

    items = [i for i in due(kennel, sheet) if i.kind in ("whelping", "outcome")]

    assert sorted(item.what.key for item in items) == sorted(keys)
    for item in items:
        assert item.is_late == (item.what.key != "due.whelping_untimed")


def test_the_whelping_of_the_list_is_that_of_the_bench(kennel, capsys):
    from studcurve.pipelines.cli import main

    sheet = kennel.write("breedings", [BRED | {"Date": on(-50)}])
    (item,) = of_kind(due(kennel, sheet, ahead_days=60), "whelping")

    with pytest.raises(SystemExit):
        main(["bench", "whelping", "--mated", on(-50), "--json"])
    (window,) = json.loads(capsys.readouterr().out)["windows"]
    assert (window["first_on"], window["last_on"]) == (item.on.isoformat(), item.until.isoformat())
    assert window["no_labor_by"] == item.what.values["late"].isoformat()


def test_cautions_are_those_of_the_dog_and_the_day_whoever_was_asked_about_before(demo_kennel):
    views, earlier = demo_kennel.views, DEMO_TODAY - timedelta(days=500)
    asked = [(dog, day) for dog in views["dogs"]["call_name"] for day in (earlier, DEMO_TODAY)]

    told = {of: cautions_of(views, *of) for of in asked}

    assert told == {
        (dog, day): cautions_for_dog(dog_records(views, dog, day), day) for dog, day in asked
    }
    assert any(told[dog, earlier] != told[dog, DEMO_TODAY] for dog, _ in asked)
    rules = {tuple(caution.rule for caution in told[dog, DEMO_TODAY]) for dog, _ in asked}
    assert len(rules) > 3
