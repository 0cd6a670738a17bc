"""Days to inseminate and the next reading: printed windows, and answers that are not yet ripe."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studcurve.analytics.models.ovulation.insemination_days import (
    EARLY_ENOUGH_PROB,
    HEAT_DAYS,
    INSEMINATION_WINDOWS,
    LAST_DRAW_DAY,
    MAY_BE_NOW_HOURS,
    MAY_BE_NOW_NG_PER_ML,
    NONE_LIKELY_PROB,
    NextReading,
    heat_answer,
    insemination_chances,
    may_be_now,
    next_readings,
    sharpest,
    state_of,
)
from studcurve.analytics.models.ovulation.model import (
    OvulationPosterior,
    ProgesteroneReading,
    ovulation_posterior,
)

FIRST = date(2026, 3, 1)
ORIGIN = datetime(2026, 3, 1)


def reading(day, ng_per_ml):
    at = ORIGIN + timedelta(days=day)
    return ProgesteroneReading(at, at, ng_per_ml, ng_per_ml, "A")


def known(day):
    """A posterior with all its weight within an hour of one moment."""
    days = np.arange(0.0, 33.0, 0.05)
    weight = np.exp(-0.5 * ((days - day) / 0.04) ** 2)
    return OvulationPosterior(ORIGIN, days, weight / weight.sum(), 3)


def test_one_reading_of_one_gives_not_yet_and_when_to_test_next():
    readings = [reading(7.4, 1.0)]
    now = ORIGIN + timedelta(days=7.8)
    posterior = ovulation_posterior(readings, first_day=FIRST)
    option = sharpest(next_readings(readings, posterior, now, laboratory="A", first_day=FIRST))

    assert state_of(readings, posterior, now) == "no rise"
    assert not posterior.is_dated
    # Common practice, no source: every second day until it rises.
    assert timedelta(days=1) <= option.at - readings[0].sampled_earliest <= timedelta(days=3)
    assert option.sd_days < 0.5 * posterior.sd_days


def test_three_readings_on_the_rise_give_a_date():
    readings = [reading(d, v) for d, v in ((7.4, 0.9), (9.4, 2.4), (10.4, 3.6), (11.4, 5.6))]
    posterior = ovulation_posterior(readings, first_day=FIRST)

    assert state_of(readings, posterior, ORIGIN + timedelta(days=11.6)) == "dated"


def test_one_high_reading_says_that_it_has_probably_happened_and_gives_no_date():
    readings = [reading(14.4, 25.0)]
    now = ORIGIN + timedelta(days=14.6)
    posterior = ovulation_posterior(readings, first_day=FIRST)

    assert state_of(readings, posterior, now) == "unsure"
    assert sharpest(next_readings(readings, posterior, now, first_day=FIRST)) is None


@settings(max_examples=15, deadline=None)
@given(st.floats(0.4, 12.0), st.floats(6.0, 13.0))
def test_a_further_reading_is_never_expected_to_blur(ng_per_ml, day):
    readings = [reading(day, ng_per_ml)]
    now = ORIGIN + timedelta(days=day + 0.2)
    posterior = ovulation_posterior(readings, first_day=FIRST)

    for option in next_readings(readings, posterior, now, laboratory="A", first_day=FIRST):
        # A coarser grid of days and of values; a fiftieth of a day is far below any answer.
        assert option.sd_days <= posterior.sd_days + 0.02
        assert option.at > now


def test_the_soonest_reading_that_is_nearly_as_sharp_is_taken_and_never_too_late():
    mornings = [ORIGIN + timedelta(days=k) for k in range(4)]
    options = [
        NextReading(mornings[0], 1.30, 0.0), NextReading(mornings[1], 0.98, 0.02),
        NextReading(mornings[2], 0.94, 0.20), NextReading(mornings[3], 0.50, 0.60),
    ]  # fmt: skip

    assert sharpest(options) == options[1]
    assert sharpest(options[3:]) is None
    assert options[3].ovulated_prob > EARLY_ENOUGH_PROB


@pytest.mark.parametrize(
    ("semen", "wanted"),
    [
        # Days after an ovulation on 12 March, as each source prints them.
        ("natural", {-2: 1, 4: 1, 5: 0}),
        ("fresh", {1: 0, 2: 1, 4: 1, 5: 0}),
        ("frozen", {1: 0, 2: 1, 3: 1, 4: 0}),
    ],
)
def test_a_known_ovulation_gives_the_days_the_source_prints(semen, wanted):
    days = [date(2026, 3, 12) + timedelta(days=k) for k in wanted]
    chances = insemination_chances(known(11.375), semen, days)[0]

    assert [round(prob) for prob in chances.probs] == list(wanted.values())


def test_the_sources_disagree_about_frozen_semen_and_both_are_shown():
    days = [date(2026, 3, 12) + timedelta(days=k) for k in range(8)]
    thomassen, steckler = insemination_chances(known(11.375), "frozen", days)

    assert "Thomassen" in thomassen.window.source
    assert thomassen.best_on in (date(2026, 3, 14), date(2026, 3, 15))
    assert steckler.best_on == date(2026, 3, 16)


def test_an_unsure_ovulation_makes_every_day_less_sure():
    days = [date(2026, 3, 12) + timedelta(days=k) for k in range(8)]
    unsure = ovulation_posterior([reading(9.4, 2.4), reading(11.4, 5.0)], first_day=FIRST)

    for sharp, blurred in zip(
        insemination_chances(known(11.375), "frozen", days),
        insemination_chances(unsure, "frozen", days),
        strict=True,
    ):
        assert max(blurred.probs) < max(sharp.probs)


def test_every_window_names_its_source_and_every_semen_has_one():
    for semen in ("natural", "fresh", "chilled", "frozen"):
        assert any(semen in window.semen_types for window in INSEMINATION_WINDOWS)
    for window in INSEMINATION_WINDOWS:
        assert window.first_day <= window.last_day
        assert window.source.endswith(("(P)", "(M)"))


def answered(values, day, *, first_day=FIRST):
    """What is said on the evening of a day of the heat."""
    readings = [reading(at + 0.4, value) for at, value in values]
    posterior = ovulation_posterior(readings, first_day=first_day)
    now = ORIGIN + timedelta(days=day + 0.8)
    return heat_answer(readings, posterior, now, laboratory="A", first_day=first_day)


@pytest.mark.parametrize("day", [0, 5, 12, 16, 20, 24, 28, LAST_DRAW_DAY - 1])
@pytest.mark.parametrize("values", [[], [(-1, 0.6)]])
def test_without_a_rise_the_next_draw_is_always_due_until_day_31(values, day):
    answer = answered([(day + at, value) for at, value in values], day)

    assert answer.state == "no rise"
    assert ORIGIN + timedelta(days=day + 0.8) < answer.draw.at
    assert (answer.draw.at.date() - FIRST).days <= LAST_DRAW_DAY == 31


def test_without_a_rise_after_day_31_it_is_the_veterinarian_s():
    answer = answered([(25, 0.6)], LAST_DRAW_DAY)

    assert answer.state == "no rise"
    assert answer.draw is None
    assert answer.asks_vet
    # The heat itself is told of for nine days more.
    assert HEAT_DAYS == LAST_DRAW_DAY + 9


@pytest.mark.parametrize(
    ("ng_per_ml", "is_now"),
    [(2.99, False), (3.0, True), (5.7, True), (8.0, True), (8.01, False), (25.0, False)],
)
def test_three_to_eight_may_be_now(ng_per_ml, is_now):
    assert MAY_BE_NOW_NG_PER_ML == (3.0, 8.0)
    answer = answered([(12, ng_per_ml)], 12)

    assert answer.may_be_now == is_now
    if is_now:
        # Tested again on the next morning, and the veterinarian today; a date is never given.
        assert answer.draw.at == ORIGIN + timedelta(days=13, hours=9)
        assert answer.asks_vet
        assert answer.state in ("may be now", "no rise")


@pytest.mark.parametrize(("hours", "is_now"), [(MAY_BE_NOW_HOURS, True), (48.1, False)])
def test_a_reading_says_now_for_two_days(hours, is_now):
    readings = [reading(6.4, 0.7), reading(12.0, 5.0)]
    posterior = ovulation_posterior(readings, first_day=FIRST)
    now = ORIGIN + timedelta(days=12, hours=hours)

    assert may_be_now(readings, posterior, now) == is_now
    assert MAY_BE_NOW_HOURS == 48.0


def test_a_level_that_fell_back_asks_for_the_veterinarian_and_no_draw_or_date():
    answer = answered([(7, 0.7), (9, 2.4), (12, 5.0), (18, 0.8)], 18)

    assert (answer.state, answer.draw, answer.asks_vet, answer.may_be_now) == (
        "lost",
        None,
        True,
        False,
    )


def test_a_reading_that_may_be_on_the_rise_is_followed_on_the_next_morning():
    # 2.3 ng/mL without a basal reading proves nothing and is not waited on.
    answer = answered([(9, 2.3)], 9)

    assert answer.state == "no rise"
    assert answer.draw.at == ORIGIN + timedelta(days=10, hours=9)


@pytest.mark.parametrize(("none_prob", "asks"), [(0.80, True), (0.7999, False)])
def test_no_ovulation_is_the_veterinarian_s_from_four_in_five(none_prob, asks):
    readings = [reading(10.4, 0.6)]
    posterior = replace(ovulation_posterior(readings, first_day=FIRST), none_prob=none_prob)
    answer = heat_answer(
        readings, posterior, ORIGIN + timedelta(days=10.8), laboratory="A", first_day=FIRST
    )

    assert answer.asks_vet == asks
    assert answer.draw is not None
    assert NONE_LIKELY_PROB == 0.80


def test_on_the_rise_and_before_ovulation_blood_is_drawn_again():
    answer = answered([(7, 0.8), (8, 1.7)], 8)

    assert answer.state in ("rising", "dated")
    assert not answer.asks_vet


def test_a_further_reading_is_not_asked_for_on_the_day_of_the_last_one():
    readings = [reading(10.3, 0.6)]
    posterior = ovulation_posterior(readings, first_day=FIRST)
    options = next_readings(
        readings, posterior, ORIGIN + timedelta(days=10.2), laboratory="A", first_day=FIRST
    )

    assert min(option.at for option in options).date() == date(2026, 3, 12)


def test_chances_of_a_window_count_that_she_may_not_ovulate():
    days = [date(2026, 3, 12) + timedelta(days=k) for k in range(6)]
    sure, doubtful = known(11.375), replace(known(11.375), none_prob=0.4)

    for all_of_it, part in zip(
        insemination_chances(sure, "fresh", days), insemination_chances(doubtful, "fresh", days),
        strict=True,
    ):  # fmt: skip
        assert np.array(part.probs) == pytest.approx(0.6 * np.array(all_of_it.probs))


def test_the_windows_are_those_that_the_sources_print():
    printed = [
        (("natural",), -2, 4),
        (("natural", "fresh", "chilled"), 2, 4),
        (("fresh", "chilled"), 2, 2),
        (("frozen",), 2, 3),
        (("frozen",), 4, 4),
    ]

    assert [(w.semen_types, w.first_day, w.last_day) for w in INSEMINATION_WINDOWS] == printed


def options_of(*sd_and_prob):
    return [
        NextReading(ORIGIN + timedelta(days=k), sd_days, prob)
        for k, (sd_days, prob) in enumerate(sd_and_prob)
    ]


@pytest.mark.parametrize(("prob", "is_early"), [(0.25, True), (0.251, False)])
def test_a_reading_is_early_enough_up_to_one_chance_in_four(prob, is_early):
    assert (sharpest(options_of((0.5, prob))) is not None) is is_early


@pytest.mark.parametrize(("sd_days", "is_taken"), [(1.1, True), (1.101, False)])
def test_a_sooner_reading_is_taken_up_to_a_tenth_less_sharp(sd_days, is_taken):
    options = options_of((sd_days, 0.0), (1.0, 0.0))

    assert (sharpest(options) is options[0]) is is_taken


def split(before):
    """So much of the weight some days before the tenth day and the rest some days after it."""
    days = np.array([0.0, 4.0, 5.0, 10.0, 16.0, 17.0])
    weight = np.array([0.0, before / 2, before / 2, 0.0, (1 - before) / 2, (1 - before) / 2])
    return replace(OvulationPosterior(ORIGIN, days, weight, 3), rise="seen")


@pytest.mark.parametrize(("before", "state"), [(0.5, "unsure"), (0.495, "rising")])
def test_ovulation_is_spoken_of_as_past_from_even_chances_on(before, state):
    at = ORIGIN + timedelta(days=10)

    assert state_of([], split(before), at) == state


def test_seven_mornings_are_weighed_the_first_after_the_question():
    early = ovulation_posterior([], first_day=FIRST)
    at_nine = ORIGIN + timedelta(days=2, hours=9)

    before, after = (
        next_readings([], early, at_nine - timedelta(minutes=minutes), first_day=FIRST)
        for minutes in (1, 0)
    )

    assert len(before) == len(after) == 7
    assert before[0].at == at_nine
    assert after[0].at == at_nine + timedelta(days=1)


def test_without_a_known_first_day_further_readings_are_weighed_as_well():
    readings = [reading(7.4, 1.0)]
    posterior = ovulation_posterior(readings, first_day=None)

    assert next_readings(readings, posterior, ORIGIN + timedelta(days=7.8))


@pytest.mark.parametrize(("ng_per_ml", "waits"), [(1.5, False), (1.49, True)])
def test_from_the_height_of_a_rise_on_nothing_is_waited_for(ng_per_ml, waits):
    answer = answered([(6, ng_per_ml)], 6)

    assert answer.state == "no rise"
    assert (answer.draw.at > answer.options[0].at) is waits


@pytest.mark.parametrize(("before", "n_weighed"), [(0.5, 4), (0.505, 1)])
def test_mornings_are_weighed_until_ovulation_has_more_likely_than_not_happened(before, n_weighed):
    # Half of the weight lies before the sixth day, the rest after the tenth.
    at = ORIGIN + timedelta(days=6)

    assert len(next_readings([], split(before), at, first_day=FIRST)) == n_weighed


@pytest.mark.parametrize(("day", "asks"), [(31, True), (30, False)])
def test_the_end_of_the_draws_alone_sends_her_to_the_veterinarian(day, asks):
    readings = [reading(25.4, 0.6)]
    posterior = replace(ovulation_posterior(readings, first_day=FIRST), none_prob=0.1)
    now = ORIGIN + timedelta(days=day, hours=19)
    answer = heat_answer(readings, posterior, now, laboratory="A", first_day=FIRST)

    assert (answer.state, answer.draw is None, answer.asks_vet) == ("no rise", asks, asks)


def test_a_dated_heat_needs_no_further_draw_and_no_veterinarian():
    answer = answered([(7.0, 0.9), (9.0, 2.4), (10.0, 3.6), (11.0, 5.6)], 15)

    assert (answer.state, answer.draw, answer.asks_vet) == ("dated", None, False)
