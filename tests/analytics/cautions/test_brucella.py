"""*Brucella*: what stops, what lifts it, who is due, who was exposed; every day at both edges."""

from dataclasses import replace
from datetime import timedelta

import pytest
from tests.analytics.caution_records import (
    TODAY,
    ago,
    event,
    examination,
    lab_test,
    records,
    release,
    rules,
    stops,
)

from studcurve.analytics.cautions import BRUCELLA_RETEST_DAYS, stopped_answers
from studcurve.analytics.cautions.brucella import (
    SECOND_TEST_DAYS,
    SEROCONVERSION_DAYS,
    exposures_by_dog,
    status_of,
)
from studcurve.analytics.cautions.records import EVERY_ANSWER, Contact, Exposure


def stopped(*lines):
    return "brucella not negative" in stops(records(health=lines))


def test_a_dog_without_a_test_is_warned_of_first():
    spoken = rules(records(health=()))

    assert spoken["brucella not recorded"].severity == "warn"


@pytest.mark.parametrize(
    "result", ["positive", "suspect", "weak", "+", "1:200", "reactive", "quorl"]
)
@pytest.mark.parametrize("what", ["Brucella (RSAT)", "B. canis", "TAT/SLAT", "Brucelosis"])
def test_whatever_is_not_plainly_negative_stops_everything_older_and_later_negatives_or_not(
    what, result
):
    of_dog = records(health=(lab_test(90), lab_test(60, result, what), lab_test(30)))

    spoken = rules(of_dog)
    assert spoken["brucella not negative"].severity == "stop"
    assert spoken["brucella not negative"].sentence.values["result"] == result
    assert stopped_answers(spoken.values()) == EVERY_ANSWER


@pytest.mark.parametrize(
    "line",
    [event(20, "Brucella positive"), event(20, "B. canis", result="pos"),
     examination(20, "Brucella", "positive"), lab_test(20, "Brucella positive", "blood"),
     examination(20, "brucellosis suspected")],
)  # fmt: skip
def test_it_stops_whichever_kind_the_line_was_entered_as(line):
    assert stopped(line)


def test_a_test_of_tomorrow_says_nothing_yet():
    assert "brucella not recorded" in rules(records(health=(lab_test(-1, "positive"),)))
    assert stopped(lab_test(0, "positive"))


def test_a_release_that_names_who_and_which_tests_ends_the_stop_for_samples_up_to_its_day():
    alarm = lab_test(60, "suspect")

    assert not stopped(alarm, release(60, "Brucella"), lab_test(30))
    assert stopped(alarm, release(61, "Brucella"))
    assert stopped(alarm, release(30, "Brucella"), lab_test(29, "suspect"))
    assert stopped(alarm, release(30, "Brucella", veterinarian=" "))
    assert stopped(alarm, release(30, "Brucella", result=""))
    # A release from something else, or of breeding as a whole, names no infection.
    assert stopped(alarm, release(30, "breeding"))
    assert stopped(alarm, release(30, "blood"))
    assert stopped(alarm, release(-1, "Brucella"))
    assert not stopped(alarm, release(0, "Brucella"))


def test_a_version_that_was_not_negative_stops_until_the_change_is_confirmed():
    earlier = lab_test(60, "positive", is_superseded=True)

    spoken = rules(records(health=(earlier, lab_test(60))))
    assert spoken["brucella not negative"].sentence.key == "caution.brucella_taken_back"
    # An earlier negative version is no test by itself.
    assert "brucella not recorded" in rules(records(health=(lab_test(60, is_superseded=True),)))


@pytest.mark.parametrize("result", ["", "pending"])
def test_a_test_without_its_result_stops_until_it_comes(result):
    assert stops(records(health=(lab_test(90), lab_test(10, result)))) == {
        "brucella result missing"
    }
    assert not stops(records(health=(lab_test(10, result), lab_test(10))))
    assert not stops(records(health=(lab_test(10, result), lab_test(5))))
    assert not stops(records(health=(lab_test(10, result), release(10, "Brucella"))))
    assert stops(records(health=(lab_test(10, result), release(11, "Brucella"))))


@pytest.mark.parametrize(
    ("lines", "rule"),
    [
        ((lab_test(30, what="Brucella PCR"),), "brucella no screening"),
        ((lab_test(30, what="culture canis"),), "brucella no screening"),
        ((lab_test(60), lab_test(30, what="Brucella PCR")), "brucella negative"),
        ((lab_test(30), event(40, "drug", 30, drug_class="antibiotic")), "brucella no screening"),
        ((lab_test(30), event(40, "drug", 31, drug_class="antibiotic")), "brucella negative"),
        ((lab_test(30), event(30, "doxycycline")), "brucella no screening"),
        ((lab_test(30), event(29, "doxycycline")), "brucella negative"),
    ],
)
def test_a_negative_that_is_no_screening_does_not_count_as_one(lines, rule):
    assert rule in rules(records(health=lines))


@pytest.mark.parametrize(
    ("age_days", "every", "rule"),
    [
        (BRUCELLA_RETEST_DAYS, BRUCELLA_RETEST_DAYS, "brucella negative"),
        (BRUCELLA_RETEST_DAYS + 1, BRUCELLA_RETEST_DAYS, "brucella overdue"),
        (180, 180, "brucella negative"),
        (181, 180, "brucella overdue"),
    ],
)
def test_a_negative_test_ages_by_the_kennel_s_own_interval(age_days, every, rule):
    of_dog = records(health=(lab_test(age_days),), brucella_interval_days=every)

    assert rule in rules(of_dog)
    assert rules(of_dog)[rule].severity == ("warn" if rule == "brucella overdue" else "say")


def mated(days, partner="Senna", is_natural=True):
    return Contact(partner, ago(days), ago(days), is_natural)


@pytest.mark.parametrize(
    ("contact", "partner", "n"),
    [
        (mated(30), (), 1),
        (mated(30, is_natural=False), (), 0),
        (mated(60), (), 0),
        (mated(59), (), 1),
        (mated(30), (lab_test(30 + 365),), 0),
        (mated(30), (lab_test(30 + 366),), 1),
        (mated(30), (lab_test(29),), 1),
        (mated(30), (lab_test(40, what="Brucella PCR"),), 1),
        (mated(0), (), 1),
        (mated(-1), (), 0),
    ],
)
def test_natural_matings_since_with_partners_not_currently_tested_are_counted(contact, partner, n):
    of_dog = records(health=(lab_test(60),), contacts=(contact,), partners={"Senna": partner})

    caution = rules(of_dog)["brucella negative"]
    matings = caution.sentence.values["matings"]
    assert (matings.values["n"] if matings else 0) == n
    assert caution.severity == ("warn" if n else "say")


# Exposure


def exposed_to_rowan(lines, *contacts, today=TODAY):
    by_dog = {"Rowan": contacts}
    for met in contacts:
        by_dog.setdefault(met.partner, []).append(replace(met, partner="Rowan"))
    found = exposures_by_dog({"Rowan": lines}, by_dog, frozenset({"Senna", "Sage"}), today)
    return {dog for dog, ways in found.items() if any(way.through is None for way in ways)}


def test_contacts_count_from_twelve_weeks_before_the_last_negative_sample():
    alarm = lab_test(30, "positive")
    edge = 100 + SEROCONVERSION_DAYS

    assert exposed_to_rowan((lab_test(100), alarm), mated(edge)) == {"Senna"}
    assert exposed_to_rowan((lab_test(100), alarm), mated(edge + 1)) == set()
    # Never tested before: all of them. A negative after the alarm moves nothing.
    assert exposed_to_rowan((alarm,), mated(3000)) == {"Senna"}
    assert exposed_to_rowan((alarm, lab_test(10)), mated(3000)) == {"Senna"}
    assert exposed_to_rowan((lab_test(100), alarm), mated(0)) == {"Senna"}
    assert exposed_to_rowan((lab_test(100), alarm), mated(-1)) == set()
    assert exposed_to_rowan((lab_test(100),), mated(50)) == set()
    # Semen reaches a bitch by whichever way.
    assert exposed_to_rowan((alarm,), mated(50, is_natural=False)) == {"Senna"}


def test_a_bitch_that_is_not_negative_exposes_the_studs_she_met_and_not_those_whose_semen_came():
    contacts = {
        "Senna": (mated(40, "Rowan"), mated(20, "Tarn", is_natural=False)),
        "Rowan": (mated(40),), "Tarn": (mated(20, is_natural=False),),
    }  # fmt: skip

    found = exposures_by_dog(
        {"Senna": (lab_test(10, "positive"),)}, contacts, frozenset({"Senna"}), TODAY
    )
    assert set(found) == {"Rowan"}


def test_her_other_studs_since_then_are_named_with_the_way():
    contacts = {
        "Rowan": (mated(40),),
        "Senna": (mated(60, "Before"), mated(40, "Rowan"), mated(20, "Tarn")),
        "Tarn": (mated(20),), "Before": (mated(60),),
    }  # fmt: skip

    found = exposures_by_dog(
        {"Rowan": (lab_test(10, "positive"),)}, contacts, frozenset({"Senna"}), TODAY
    )
    assert set(found) == {"Senna", "Tarn"}
    assert found["Tarn"] == (Exposure("Tarn", "Rowan", ago(20), ago(20), "Senna"),)


@pytest.mark.parametrize(
    ("lines", "is_stopped"),
    [
        ((), True),
        ((lab_test(100 - SECOND_TEST_DAYS[1] + 1),), True),
        ((lab_test(100 - SECOND_TEST_DAYS[1]),), False),
        ((release(100, "Brucella"),), False),
        ((release(101, "Brucella"),), True),
        ((lab_test(10, what="Brucella PCR"),), True),
    ],
)
def test_an_exposed_dog_is_stopped_until_a_negative_test_late_enough_or_a_release(
    lines, is_stopped
):
    met = Exposure("Rowan", "Fennel", ago(110), ago(100))

    spoken = stops(records(health=lines, exposures=(met,)))
    assert ("brucella contact" in spoken) is is_stopped


def test_a_negative_test_of_today_clears_where_it_is_late_enough():
    met = Exposure("Rowan", "Fennel", ago(SECOND_TEST_DAYS[1]), ago(SECOND_TEST_DAYS[1]))

    assert "brucella contact" not in stops(records(health=(lab_test(0),), exposures=(met,)))
    assert "brucella contact" in stops(records(health=(lab_test(-1),), exposures=(met,)))


def test_a_contact_of_a_contact_warns():
    met = Exposure("Rowan", "Fennel", ago(10), ago(10), through="Senna")

    spoken = rules(records(exposures=(met,)))
    assert spoken["brucella contact of a contact"].severity == "warn"


def test_the_status_knows_since_when():
    status = status_of((lab_test(100), lab_test(30, "positive")), TODAY)

    assert status.since == ago(100) - timedelta(days=SEROCONVERSION_DAYS)
    assert status.alarm.on == ago(30)
    # A negative of the same day is none from before.
    assert status_of((lab_test(30), lab_test(30, "positive")), TODAY).since is None
    assert status_of((lab_test(100),), TODAY).since is None
