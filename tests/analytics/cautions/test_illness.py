"""Events, examinations, drugs and other laboratory tests; every day at both of its edges."""

import pandas as pd
import pytest
from tests.analytics.caution_records import (
    event,
    examination,
    lab_test,
    not_counted,
    records,
    release,
    rules,
    sample,
    stops,
)

from studcurve.analytics.cautions import stopped_answers
from studcurve.analytics.cautions.records import NEXT_ANSWERS

# The limits of the rules, written here once more.
FEVER_FROM_C = 39.5
RECENT_DAYS, RECOVERY_DAYS = 70, 14
IMPLANT_LOWERS_BY_DAYS, IMPLANT_RETURNS_DAYS = 77, 133


TESTED = lab_test(60)


def of_lines(*lines, samples=()):
    return records(samples, health=(TESTED, *lines))


@pytest.mark.parametrize(
    "what",
    ["fever", "orchitis", "Schwellung", "mass", "prostate", "Schmerzen", "injury", "Ausfluss"],
)
def test_an_illness_without_an_end_stays_open_and_stops(what):
    of_dog = of_lines(event(2000, what))

    assert stops(of_dog) == {"illness open"}
    assert stopped_answers(rules(of_dog).values()) == NEXT_ANSWERS


@pytest.mark.parametrize(
    ("until_days", "is_open"), [(-1, True), (0, True), (1, False)], ids=["ahead", "today", "ended"]
)
def test_an_illness_is_open_until_its_last_day_is_over(until_days, is_open):
    assert ("illness open" in stops(of_lines(event(20, "injury", until_days)))) is is_open


@pytest.mark.parametrize(
    ("line", "is_lifted"),
    [
        (release(20, "prostate"), True),
        (release(20, "breeding"), True),
        (release(21, "prostate"), False),
        (release(20, "Brucella"), False),
        (release(20, "eyes"), False),
        (examination(10, "prostate", "normal"), False),
    ],
)
def test_a_release_ends_an_open_illness(line, is_lifted):
    assert ("illness open" not in stops(of_lines(event(20, "prostatitis"), line))) is is_lifted


@pytest.mark.parametrize("what", ["fever", "Schmerz"])
def test_after_a_fever_or_a_pain_nothing_is_planned_for_two_weeks(what):
    last = of_lines(event(40, what, RECOVERY_DAYS))
    after = of_lines(event(40, what, RECOVERY_DAYS + 1))

    assert stops(last) == {"illness recent"}
    assert stops(after) == set()
    assert rules(after)["illness recorded"].severity == "warn"


@pytest.mark.parametrize("what", ["injury", "heat stress", "anesthesia"])
def test_a_past_illness_is_told_for_a_cycle_of_spermatogenesis(what):
    assert "illness recorded" in rules(of_lines(event(RECENT_DAYS, what, RECENT_DAYS)))
    assert "illness recorded" not in rules(of_lines(event(RECENT_DAYS + 1, what, RECENT_DAYS + 1)))


def test_what_is_over_in_a_moment_needs_no_end():
    for what in ("Hitzschlag", "Narkose"):
        assert stops(of_lines(event(3, what))) == set()
        assert "illness recorded" in rules(of_lines(event(3, what)))


@pytest.mark.parametrize(
    ("days", "celsius", "is_stopped"),
    [(0, FEVER_FROM_C, True), (RECOVERY_DAYS, 40.2, True), (RECOVERY_DAYS + 1, 40.2, False),
     (0, FEVER_FROM_C - 0.1, False)],
)  # fmt: skip
def test_a_temperature_measured_is_a_fever(days, celsius, is_stopped):
    line = examination(days, "body temperature", "", value=str(celsius))

    assert bool(stops(of_lines(line))) is is_stopped


@pytest.mark.parametrize("days", [0, RECENT_DAYS])
def test_a_collection_stopped_for_pain_stops_until_somebody_has_looked(days):
    pained = not_counted(days, failed_reason="stopped for pain")

    assert stops(of_lines(samples=[pained])) == {"stopped for pain"}
    assert not stops(of_lines(examination(days, "testes", "normal"), samples=[pained]))
    assert not stops(of_lines(release(days, "pain"), samples=[pained]))
    assert stops(of_lines(examination(days + 1, "testes", "normal"), samples=[pained]))


def test_after_a_cycle_the_pain_of_a_collection_is_history():
    pained = not_counted(RECENT_DAYS + 1, failed_reason="stopped for pain")

    assert stops(of_lines(samples=[pained])) == set()


# Examinations


def test_what_is_not_plainly_normal_is_repeated_as_written_with_its_day_and_examiner():
    softer = examination(300, "testes", "softer than 2022", veterinarian="Dr. Vey")
    fine = examination(200, "prostate", "o. B.")

    (finding,) = rules(of_lines(softer, fine))["findings recorded"].sentence.values["findings"]
    assert (finding.values["what"], finding.values["finding"]) == ("testes", ": softer than 2022")
    assert finding.values["by"].values["who"] == "Dr. Vey"
    assert "findings recorded" not in rules(of_lines(fine))


def test_a_finding_written_under_what_is_read_as_one():
    assert "findings recorded" in rules(of_lines(examination(9, "prostate bigger")))
    assert stops(of_lines(examination(9, "left testis has a lump"))) == {"finding stops"}
    assert not rules(of_lines(examination(9, "testes"))).keys() & {"findings recorded"}


@pytest.mark.parametrize(
    ("what", "finding"),
    [("testes", "left twice the size of right; firm; mass"), ("Hoden", "asymmetrisch"),
     ("prostate", "enlarged painful"), ("Prostata", "schmerzhaft"), ("scrotum", "geschwollen"),
     ("testes", "Knoten rechts")],
)  # fmt: skip
def test_a_mass_unequal_testes_or_pain_stop_for_years(what, finding):
    of_dog = of_lines(examination(900, what, finding))

    assert stops(of_dog) == {"finding stops"}
    assert stopped_answers(rules(of_dog).values()) == NEXT_ANSWERS


@pytest.mark.parametrize(
    ("line", "is_lifted"),
    [
        (examination(19, "testes", "normal"), True),
        (examination(19, "Hoden", "o. B."), True),
        (release(20, "mass"), True),
        (examination(20, "testes", "normal"), False),
        (examination(19, "testes", "softer"), False),
        (examination(19, "hips", "A"), False),
        (release(20, "testes"), True),
        (release(21, "testes"), False),
        (release(20, "breeding"), True),
    ],
)
def test_a_later_normal_examination_of_the_same_or_a_release_lifts_it(line, is_lifted):
    mass = examination(20, "testes", "mass in the left one")

    assert ("finding stops" not in stops(of_lines(mass, line))) is is_lifted


# Drugs


@pytest.mark.parametrize("drug", ["corticosteroid", "Testosteron", "finasteride", "ketoconazole"])
def test_a_drug_warns_while_it_runs_and_for_a_cycle_after(drug):
    def spoken(until_days):
        return rules(of_lines(event(300, "drug", until_days, drug_class=drug)))

    assert spoken(None)["drug"].severity == "warn"
    assert "drug" in spoken(RECENT_DAYS)
    assert "drug" not in spoken(RECENT_DAYS + 1)


def implanted(until_days=None, samples=()):
    implant = event(300, "hormone implant", until_days, drug_class="GnRH agonist")
    return "implant" in rules(of_lines(implant, samples=samples))


def test_an_implant_is_told_until_it_is_long_gone_or_sperm_are_counted_late_enough():
    assert implanted()
    assert implanted(until_days=-200)
    assert implanted(until_days=IMPLANT_RETURNS_DAYS)
    assert not implanted(until_days=IMPLANT_RETURNS_DAYS + 1)
    # Sperm counted after the removal; before it they say nothing.
    assert not implanted(100, [sample(99)])
    assert implanted(100, [sample(100)])
    # Removed today: none of his samples is of the time after.
    assert implanted(0, [sample(50)])
    assert implanted(100, [not_counted(50)])
    assert implanted(100, [sample(50, n_cells=0.0)])
    # Still in place: from when it would have stopped them.
    assert implanted(None, [sample(300 - IMPLANT_LOWERS_BY_DAYS)])
    assert not implanted(None, [sample(300 - IMPLANT_LOWERS_BY_DAYS - 1)])


# Other laboratory tests


@pytest.mark.parametrize(
    ("line", "rule"),
    [
        (lab_test(9, "positive", "canine herpesvirus"), "infection"),
        (lab_test(9, "mixed growth", "semen culture"), "infection"),
        (lab_test(9, "4.2", "quorl"), "test unread"),
        (lab_test(9, "", "quorl"), "test unread"),
        (lab_test(9, "negative", "IFAT"), "test unread"),
    ],
)
def test_another_infection_or_a_test_that_nobody_can_read_stops(line, rule):
    assert stops(of_lines(line)) == {rule}


@pytest.mark.parametrize(
    "line",
    [
        lab_test(9, "negative", "canine herpesvirus"),
        lab_test(9, "no growth", "semen culture"),
        lab_test(9, "normal", "quorl"),
        lab_test(9, "carrier", "quorl"),
        lab_test(9, "4.2", "quorl", is_confirmed=True),
        lab_test(9, "negative", "IFAT", is_confirmed=True),
        lab_test(9, "C", "hips"),
        lab_test(9, "", "progesterone", value="4.2"),
    ],
)
def test_what_is_plain_or_harmless_or_answered_stops_nothing(line):
    assert stops(of_lines(line)) == set()


def test_a_release_that_names_the_infection_ends_its_stop():
    herpes = lab_test(20, "positive", "canine herpesvirus")

    assert not stops(of_lines(herpes, release(20, "herpesvirus, canine")))
    assert stops(of_lines(herpes, release(21, "herpesvirus, canine")))
    assert stops(of_lines(herpes, release(20, "breeding")))


def test_an_event_in_a_word_that_nobody_knows_is_told_until_it_is_confirmed():
    assert rules(of_lines(event(3, "quorl")))["event unread"].severity == "warn"
    assert "event unread" not in rules(of_lines(event(3, "quorl", is_confirmed=True)))
    assert "event unread" not in rules(of_lines(event(3, "travel")))
    assert stops(of_lines(event(3, "quorl", result="Fieber"))) == {"illness open"}


def test_a_line_that_was_replaced_says_no_illness():
    assert stops(of_lines(event(3, "fever", is_superseded=True))) == set()
    assert pd.notna(TESTED.on)


def test_an_event_that_is_no_illness_stops_nothing_and_brucellosis_is_told_once():
    assert stops(of_lines(event(3, "travel"))) == set()
    assert stops(of_lines(event(3, "Brucella infection"))) == {"brucella not negative"}


def test_a_temperature_that_is_no_fever_is_no_finding():
    line = examination(9, "body temperature", "", value="38.5")

    assert "findings recorded" not in rules(of_lines(line))


@pytest.mark.parametrize(("what", "is_superseded"), [("coat", True), ("gait", False)])
def test_what_no_organ_is_known_of_is_superseded_by_the_same_words_alone(what, is_superseded):
    dull = examination(20, "coat", "dull")

    spoken = rules(of_lines(dull, examination(19, what, "normal")))
    assert ("findings recorded" not in spoken) is is_superseded


@pytest.mark.parametrize(("result", "is_missing"), [("", True), ("negative", False)])
def test_a_test_of_an_infection_without_a_result_is_told(result, is_missing):
    spoken = rules(of_lines(lab_test(9, result, "canine herpesvirus")))

    assert ("result missing" in spoken) is is_missing
