"""Days to inseminate and the next reading: printed windows, and answers that are not yet ripe."""

from datetime import date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.models.ovulation import (
    OvulationPosterior,
    ProgesteroneReading,
    ovulation_posterior,
)
from analytics.timing import (
    EARLY_ENOUGH_PROB,
    INSEMINATION_WINDOWS,
    NextReading,
    insemination_chances,
    next_readings,
    sharpest,
    state_of,
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

    assert state_of(posterior, now) == "not yet"
    assert not posterior.is_dated
    # Common practice, no source: every second day until it rises.
    assert timedelta(days=1) <= option.at - readings[0].sampled_earliest <= timedelta(days=3)
    assert option.sd_days < 0.5 * posterior.sd_days


def test_three_readings_on_the_rise_give_a_date():
    readings = [reading(d, v) for d, v in ((7.4, 0.9), (9.4, 2.4), (10.4, 3.6), (11.4, 5.6))]
    posterior = ovulation_posterior(readings, first_day=FIRST)

    assert state_of(posterior, ORIGIN + timedelta(days=11.6)) == "dated"


def test_one_high_reading_says_that_it_has_probably_happened_and_gives_no_date():
    readings = [reading(14.4, 25.0)]
    now = ORIGIN + timedelta(days=14.6)
    posterior = ovulation_posterior(readings, first_day=FIRST)

    assert state_of(posterior, now) == "unsure"
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
