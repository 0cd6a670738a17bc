"""A line that waits to be confirmed alarms at once and lifts nothing."""

from dataclasses import replace

import pytest
from tests.analytics.caution_records import (
    NAN,
    event,
    examination,
    lab_test,
    records,
    release,
    rules,
    sample,
    stops,
)

TESTED = lab_test(60)
ZERO = {"n_cells": 0.0, "concentration_m_per_ml": 0.0}


@pytest.mark.parametrize(
    ("samples", "health", "rule"),
    [
        ([sample(5, is_doubtful=True, **ZERO)], [TESTED], "no sperm seen"),
        ([sample(9, **ZERO), sample(5, is_doubtful=True)], [TESTED], "no sperm seen"),
        ([sample(9, look="urine"), sample(5, is_doubtful=True)], [TESTED], "urine in the sample"),
        ([sample(5, is_doubtful=True, look="blood")], [TESTED], "blood in the sample"),
        (
            [sample(9, look="blood")],
            [TESTED, examination(5, "prostate", "normal", is_doubtful=True)],
            "blood in the sample",
        ),
        ([], [TESTED, lab_test(5, "positive", is_doubtful=True)], "brucella not negative"),
        ([], [TESTED, event(5, "fever", is_doubtful=True)], "illness open"),
        (
            [],
            [TESTED, examination(9, "testes", "mass"),
             examination(5, "testes", "normal", is_doubtful=True)],
            "finding stops",
        ),
    ],
)  # fmt: skip
def test_a_doubtful_line_stops_at_once_and_ends_no_stop(samples, health, rule):
    assert rule in stops(records(samples, health))


def test_a_doubtful_negative_is_no_test_and_a_doubtful_release_none():
    assert "brucella not recorded" in rules(records(health=[lab_test(5, is_doubtful=True)]))
    lines = [lab_test(20, "suspect"), replace(release(10, "Brucella"), is_doubtful=True)]
    assert "brucella not negative" in stops(records(health=lines))


@pytest.mark.parametrize(
    ("totals", "is_far_below"),
    [
        ([(300.0, False), (50.0, True)], True),
        ([(50.0, False), (300.0, True)], True),
        ([(50.0, False), (300.0, False)], False),
        ([(300.0, True)], False),
        ([(50.0, True), (300.0, False)], False),
        ([(NAN, False)], False),
    ],
)
def test_the_worse_reading_of_a_doubtful_sample_counts(totals, is_far_below):
    samples = [
        sample(20 - n, volume_ml=1.0, concentration_m_per_ml=total, is_doubtful=is_doubtful)
        for n, (total, is_doubtful) in enumerate(totals)
    ]

    assert ("far below" in rules(records(samples))) is is_far_below
