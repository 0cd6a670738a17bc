"""Sentences about a stud over time follow their rules and claim no cause."""

from datetime import date

import numpy as np
from tests.analytics.stud_records import kennel
from tests.analytics.test_stud_level import known_posterior, steady

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.models.stud.announcement import Power, SeenWithinAYear, announce
from studcurve.analytics.models.stud.dips import Coincident, Dip
from studcurve.analytics.models.stud.inputs import MEASURES
from studcurve.analytics.models.stud.level import LastCollection, stud_answers
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


def told(posterior):
    return change_sentence(stud_answers(posterior, "Rowan"), announce(posterior, "Rowan"), 0.03)


def test_a_fall_is_told_as_changed_over_time_with_its_probability():
    posterior = known_posterior(kennel(steady()), recent=np.log(0.5))

    assert "changed over time" in EN.tell(told(posterior))
    assert "−50 %" in EN.tell(told(posterior)).replace("\u00a0", " ")
    assert "effect" not in EN.tell(told(posterior))
    assert "because" not in EN.tell(told(posterior))


def test_no_change_is_said_to_be_none_and_too_few_to_be_too_few():
    quiet = known_posterior(kennel(steady()), level_sd=0.0)
    few = known_posterior(kennel(steady(6, pause=20.0)))

    assert told(quiet).key == "answer.change_total_quiet"
    assert "too few" in EN.tell(told(few))


def test_a_change_of_readers_is_named():
    rows = kennel(
        steady(30, evaluator="Ash"), steady(30, evaluator="Birch", start="2023-02-27 10:00")
    )

    said = EN.tell(told(known_posterior(rows, recent=np.log(0.4))))

    assert "cannot be told from a change of evaluator" in said
    assert "Ash" in said
    assert "Birch" in said


def test_the_level_names_the_common_value_and_never_passes_or_fails():
    said = EN.tell(level_sentence(stud_answers(known_posterior(kennel(steady())), "Rowan"), 0.9))

    assert "300" in said
    assert not {"pass", "fail", "normal", "good", "poor"} & set(said.lower().split())


def test_what_a_rhythm_cannot_see_is_said():
    seen = tuple(
        SeenWithinAYear(size, prob) for size, prob in ((0.1, 0.06), (0.25, 0.2), (0.4, 0.6))
    )

    said = EN.tell(power_sentence("Rowan", Power(10.0, 0.01, 12, 14.4, seen, 3)))
    never = EN.tell(power_sentence("Rowan", Power(4.0, 0.01, None, None, seen, None)))

    assert "A fall of 25 %" in said.replace("\u00a0", " ")
    assert "cannot be seen within a year" in said
    assert "within 12 collections" in said.replace("\u00a0", " ")
    assert "may go unflagged for two years" in never
    # A fall may be certain and yet of uncertain size: the two are told apart.
    assert "becomes certain within a year in 60 % of cases" in never.replace("\u00a0", " ")


def test_an_announced_fall_is_read_again_after_a_turnover_of_sperm_and_no_other():
    fallen = known_posterior(kennel(steady()), recent=np.log(0.5))
    quiet = known_posterior(kennel(steady()), level_sd=0.0)
    answers = stud_answers(fallen, "Rowan")

    said = EN.tell(fall_retest_sentence(answers, announce(fallen, "Rowan"))).replace("\u00a0", " ")

    # The last of 60 collections at a pause of 14 days from 3 January 2022 is of 8 April 2024; two
    # months on, and 61.9 days of making sperm with 14 in the epididymis.
    assert answers.last_on == date(2024, 4, 8)
    assert "collect again on 23 Jun 2024 or later" in said
    assert "earliest day that tells anything is 7 Jun 2024 (60 days)" in said
    assert "76 days" in said
    assert "Ash (chamber)" in said
    assert "76 Tage" in DE.tell(fall_retest_sentence(answers, announce(fallen, "Rowan"))).replace(
        "\u00a0", " "
    )
    assert fall_retest_sentence(stud_answers(quiet, "Rowan"), announce(quiet, "Rowan")) is None


def test_an_event_before_a_dip_is_coincident_and_no_more():
    fever = Coincident(
        "fever", None, date(2024, 3, 4), 24, "began while the sperm were made (testis)"
    )

    assert "coincident" in EN.tell(dip_sentence("Tarn", DIP, [fever]))
    assert "zeitlich zusammen" in DE.tell(dip_sentence("Tarn", DIP, [fever]))
    assert "No event is recorded" in EN.tell(dip_sentence("Tarn", DIP, []))


def test_a_low_last_sample_is_answered_with_a_repetition_after_rest():
    low = LastCollection(
        date(2026, 3, 1), 120.0, Estimate(600, 300, 1200), 0.004, True, date(2026, 3, 6),
        Estimate(560, 280, 1100), 0.99,
    )  # fmt: skip

    said = EN.tell(last_sentence("Rowan", low, MEASURES["total_sperm_m"])).replace("\u00a0", " ")

    assert "collect again after five days' rest (from 6 Mar 2026)" in said
    assert "One low sample is no trend" in said
