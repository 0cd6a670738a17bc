"""A few simulated studs, whole fits: what `tests/studies/stud_alarms.py` asks of hundreds."""

import numpy as np
import pytest
from tests.analytics.stud_records import kennel
from tests.studies import stud_alarms

pytestmark = pytest.mark.slow


def test_another_reader_is_no_fall_and_is_named_where_nobody_read_beside_both():
    beside, after = stud_alarms.readers(np.random.default_rng(1), 0)

    assert beside["overlap"]
    assert beside["separable"] == beside["studs"]
    assert beside["announced"] == []
    assert after["separable"] == 0
    assert after["announced"] == []


def test_a_fall_by_forty_percent_is_announced_as_promised_and_by_no_steady_stud():
    # Half of twelve studs fall. At four of five, six studs give fewer than three announcements
    # once in 60 kennels; a steady one is announced in far less than 1 % of years.
    rng = np.random.default_rng(2)
    steady = stud_alarms.studs_of(rng, 6, stud_alarms.N_FOLLOWED)
    fallen = stud_alarms.studs_of(rng, 6, stud_alarms.N_FOLLOWED, moved=stud_alarms.FALL)
    fallen["stud"] = fallen["stud"].str.replace("Stud", "Fallen")
    rows = kennel(steady, fallen)

    promised = stud_alarms.stated(
        stud_alarms.fitted(stud_alarms.until(rows, stud_alarms.N_HISTORY), seed=1), rng
    )["promised"]
    n = stud_alarms.N_HISTORY + max(promised)
    found = stud_alarms.announced(stud_alarms.fitted(stud_alarms.until(rows, n), seed=1))

    assert all(stud.startswith("Fallen") for stud in found["announced"])
    assert len(found["announced"]) >= 3


def test_fifty_studs_of_a_club_settle_at_once_and_tell_how_far_apart_they_are():
    rows = stud_alarms.studs_of(np.random.default_rng(0), 50, 2)

    posterior = stud_alarms.fitted(rows, seed=1)

    assert posterior.diagnostics.n_attempts == 1
    # Steady studs: what parts them at one time, lasting or slow, is what they were drawn with.
    apart = np.hypot(posterior.draws["between"], posterior.draws["amplitude"])
    lower, upper = np.quantile(apart, [0.005, 0.995])
    assert lower < stud_alarms.BETWEEN < upper
