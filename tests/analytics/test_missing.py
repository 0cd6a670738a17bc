"""Bounds of what nobody reported: at both extremes, and never beyond what a scan has settled."""

import itertools

import numpy as np
import pandas as pd
import pytest

from studcurve.analytics.measures.missing import missing_outcomes, scanned_empty, survives_missing


def bred(whelped, pregnant=None):
    """Breedings as the view gives them."""
    scans = [None] * len(whelped) if pregnant is None else pregnant
    return pd.DataFrame({"whelped": whelped, "pregnant": scans}, dtype=object)


def test_missing_outcomes_are_told_at_both_extremes():
    found = missing_outcomes(bred([True, True, True, False, None, None]))

    assert (found.n_breedings, found.n_known, found.n_litters, found.n_missing) == (6, 4, 3, 2)
    assert found.share == pytest.approx(3 / 4)
    assert (found.lowest_share, found.highest_share) == pytest.approx((3 / 6, 5 / 6))
    assert np.isnan(missing_outcomes(bred([])).share)
    assert scanned_empty(found) == ""


@pytest.mark.parametrize("scan", [True, False, None])
def test_an_unreported_bitch_is_empty_at_both_ends_only_where_her_scan_was(scan):
    found = missing_outcomes(bred([True, False, None], [None, None, scan]))

    assert found.n_missing == 1
    assert found.n_scanned_empty == (scan is False)
    assert found.lowest_share == pytest.approx(1 / 3)
    assert found.highest_share == pytest.approx(1 / 3 if scan is False else 2 / 3)


def test_the_bounds_are_those_of_every_story_that_the_scans_allow():
    # Second route: all ways to fill in what is missing, a bitch that was scanned empty as empty.
    whelped = [True, False, None, None, None, None]
    scans = [True, None, True, False, None, False]
    open_rows = [k for k, came in enumerate(whelped) if came is None]
    stories = []
    for filled in itertools.product([True, False], repeat=len(open_rows)):
        if any(came and scans[k] is False for k, came in zip(open_rows, filled, strict=True)):
            continue
        stories.append((1 + sum(filled)) / len(whelped))

    found = missing_outcomes(bred(whelped, scans))

    assert (found.lowest_share, found.highest_share) == (min(stories), max(stories))
    assert scanned_empty(found, found).values["n"] == 4


def test_a_reported_outcome_stands_above_the_scan():
    found = missing_outcomes(bred([True, False], [False, True]))

    assert (found.n_missing, found.n_scanned_empty, found.lowest_share) == (0, 0, 0.5)


def test_a_comparison_that_the_missing_could_turn_is_not_usable():
    sure = missing_outcomes(bred([True] * 9 + [False]))
    poor = missing_outcomes(bred([True] * 3 + [False] * 7))
    gappy = missing_outcomes(bred([True] * 3 + [False] * 2 + [None] * 15))
    scanned = missing_outcomes(
        bred([True] * 3 + [False] * 2 + [None] * 15, [None] * 5 + [False] * 15)
    )

    assert survives_missing(sure, poor)
    assert not survives_missing(sure, gappy)
    assert survives_missing(sure, scanned)
