"""Sentences about a program say the numbers of their rule."""

from datetime import date

import pytest
from scipy.stats import norm

from studcurve.analytics.wording.program import ovulation_sentence


def test_the_days_around_an_ovulation_hold_it_in_nine_of_ten():
    ovulation = ovulation_sentence("Senna", date(2026, 11, 24), 0.8, is_dated=True)

    assert ovulation.key == "answer.ovulation"
    assert ovulation.values["days"] == pytest.approx(0.8 * norm.ppf(0.95), rel=1e-3)


def test_an_ovulation_that_is_not_known_has_no_day():
    ovulation = ovulation_sentence("Senna", date(2026, 11, 24), 0.8, is_dated=False)

    assert set(ovulation.values) == {"bitch"}
