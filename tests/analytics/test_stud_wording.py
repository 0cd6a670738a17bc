"""Sentences about a stud over time follow their rules and claim no cause."""

import re
from datetime import date

import numpy as np
import pytest
from tests.analytics.stud_records import kennel
from tests.analytics.test_stud_level import known_posterior, steady

from studcurve.analytics.estimate import Estimate, RecordsWeight
from studcurve.analytics.models.stud.announcement import announce
from studcurve.analytics.models.stud.dips import Coincident, Dip
from studcurve.analytics.models.stud.false_alarms import KennelRule
from studcurve.analytics.models.stud.inputs import MEASURES
from studcurve.analytics.models.stud.level import LastCollection, stud_answers
from studcurve.analytics.models.stud.power import (
    TRUE_FALL_POINTS,
    TRUE_FALLS,
    AnnouncedWithinAYear,
    Power,
)
from studcurve.analytics.wording.stud import (
    change_sentence,
    dip_sentence,
    fall_retest_sentence,
    last_sentence,
    level_sentence,
    power_sentence,
)
from studcurve.reports.words import Words

EN, DE = Words("en"), Words("de")
DIP = Dip(
    0.99, date(2024, 3, 28), (date(2024, 3, 20), date(2024, 4, 2)), Estimate(-1, -1.3, -0.7), 4
)


RULE = KennelRule(0.985, 0.044, 5, 3)


def announced(posterior):
    return announce(posterior, "Rowan", RULE.sure_prob)


def change_of(posterior):
    return change_sentence(stud_answers(posterior, "Rowan"), announced(posterior), RULE, 0.013)


def test_a_fall_is_stated_as_changed_over_time_with_its_size():
    posterior = known_posterior(kennel(steady()), recent=np.log(0.5))

    change = change_of(posterior)
    assert change.key == "answer.change_total_announced"
    assert change.values["change"].median == pytest.approx(-0.5, abs=0.005)
    assert "−50 %" in EN.tell(change).replace("\u00a0", " ")
    assert "effect" not in EN.tell(change)
    assert "because" not in EN.tell(change)


def test_the_rate_of_the_whole_kennel_stands_beside_his_own():
    errs = change_of(known_posterior(kennel(steady()))).values["errs"]

    assert errs.key == "answer.errs"
    assert dict(errs.values) == {"n_studs": 5, "n_measures": 3, "kennel": 0.044, "own": 0.013}
    for words in (EN, DE):
        assert {"4", "1", "5", "3"} <= set(re.findall(r"\d+", words.tell(errs)))


@pytest.mark.parametrize(
    ("risen", "state"), [(1.02, "rise"), (1.0, "quiet"), (0.98, "quiet"), (0.5, "announced")]
)
def test_a_rise_is_told_as_one_and_what_is_not_flagged_is_a_fall(risen, state):
    change = change_of(known_posterior(kennel(steady()), recent=np.log(risen)))

    assert change.key == f"answer.change_total_{state}"
    if state == "rise":
        assert change.values["rise"] == 1.0
        assert "over 99 %" in EN.tell(change).replace("\u00a0", " ")


def test_no_fall_is_said_to_be_none_and_too_few_to_be_too_few():
    quiet = known_posterior(kennel(steady()), level_sd=0.0)
    few = known_posterior(kennel(steady(6, pause=20.0)))

    assert change_of(quiet).key == "answer.change_total_quiet"
    assert change_of(few).key == "level.too_close"
    assert change_of(few).values["n"] == 6


def test_a_change_of_readers_is_named():
    rows = kennel(
        steady(30, evaluator="Ash"), steady(30, evaluator="Birch", start="2023-02-27 10:00")
    )

    change = change_of(known_posterior(rows, recent=np.log(0.4)))

    assert change.key == "answer.change_total_readers"
    assert [reader.values["who"].word for reader in change.values["before"]] == ["Ash"]
    assert [reader.values["who"].word for reader in change.values["after"]] == ["Birch"]
    assert {"Ash", "Birch"} <= set(re.findall(r"\w+", EN.tell(change)))


def test_the_level_names_the_common_value_and_never_passes_or_fails():
    text = EN.tell(
        level_sentence(
            stud_answers(known_posterior(kennel(steady())), "Rowan"), RecordsWeight(0.9, 1.0)
        )
    )

    assert "300" in text
    assert not {"pass", "fail", "normal", "good", "poor"} & set(text.lower().split())


@pytest.mark.parametrize(
    ("measure", "kind"), [("total_sperm_m", "total"), ("progressive_motility_pct", "share")]
)
def test_what_a_rhythm_announces_is_said_of_the_sizes_that_were_asked(measure, kind):
    measure = MEASURES[measure]
    sizes = TRUE_FALLS if measure.is_log else TRUE_FALL_POINTS
    found = tuple(map(AnnouncedWithinAYear, sizes, (0.06, 0.23, 0.81)))

    power = power_sentence(Power(10.0, 0.01, 12, 14.4, found, 3), measure)
    never = power_sentence(Power(4.0, 0.01, None, None, found, None), measure)

    assert (power.key, never.key) == (f"answer.power_{kind}", f"answer.power_{kind}_never")
    printed = {f"{100 * size:.0f}" for size in sizes} | {"6", "23", "81"}
    for words in (EN, DE):
        assert printed | {"10", "12", "14", "80"} <= set(re.findall(r"\d+", words.tell(power)))
        assert printed <= set(re.findall(r"\d+", words.tell(never)))


def test_an_announced_fall_is_read_again_after_a_turnover_of_sperm_and_no_other():
    fallen = known_posterior(kennel(steady()), recent=np.log(0.5))
    quiet = known_posterior(kennel(steady()), level_sd=0.0)
    answers = stud_answers(fallen, "Rowan")

    again = fall_retest_sentence(answers, announced(fallen))

    # The last of 60 collections at a pause of 14 days from 3 January 2022 is of 8 April 2024; two
    # months on, and 61.9 days of making sperm with 14 in the epididymis.
    assert answers.last_on == date(2024, 4, 8)
    assert again.key == "answer.fall_retest"
    days = {name: again.values[name] for name in ("first", "last", "earliest", "turnover")}
    assert days == {
        "first": date(2024, 6, 7), "last": date(2024, 6, 23), "earliest": 60, "turnover": 76,
    }  # fmt: skip
    (reader,) = again.values["readers"]
    assert (reader.values["who"].word, reader.values["way"].word) == ("Ash", "chamber")
    for words in (EN, DE):
        text = words.tell(again)
        assert words.day(days["first"]) in text
        assert words.day(days["last"]) in text
        assert {"60", "76"} <= set(re.findall(r"\d+", text))
    assert fall_retest_sentence(stud_answers(quiet, "Rowan"), announced(quiet)) is None


def test_an_event_before_a_dip_is_coincident_and_no_more():
    fever = Coincident(
        "fever", None, date(2024, 3, 4), 24, "began while the sperm were made (testis)"
    )

    after_fever = dip_sentence("Tarn", DIP, [fever])
    assert after_fever.key == "answer.dip_coincident"
    assert [event.word for event in after_fever.values["events"]] == ["fever"]
    assert after_fever.values["on"] == date(2024, 3, 4)
    # The word that claims no cause.
    assert "coincident" in EN.tell(after_fever)
    assert "zeitlich zusammen" in DE.tell(after_fever)
    assert dip_sentence("Tarn", DIP, []).key == "answer.dip_alone"


def test_a_low_last_sample_is_answered_with_a_repetition_after_rest():
    low = LastCollection(
        date(2026, 3, 1), 120.0, Estimate(600, 300, 1200), 0.004, True, date(2026, 3, 6),
        Estimate(560, 280, 1100), 0.99,
    )  # fmt: skip

    last = last_sentence("Rowan", low, MEASURES["total_sperm_m"])

    assert last.key == "answer.last_low"
    assert last.values["again_on"] == date(2026, 3, 6)
    assert EN.day(date(2026, 3, 6)) in EN.tell(last)
    assert last.values["again"] == low.again
