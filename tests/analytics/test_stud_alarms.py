"""A few simulated studs, whole fits: what `tests/studies/stud_alarms.py` asks of hundreds."""

import numpy as np
import pytest
from tests.analytics.stud_records import counted, kennel
from tests.studies import stud_alarms

pytestmark = pytest.mark.slow


def test_another_reader_is_no_fall_and_is_named_where_nobody_read_beside_both():
    beside, after = stud_alarms.readers(np.random.default_rng(1), 0)

    assert beside["overlap"]
    assert beside["separable"] == beside["studs"]
    assert beside["announced"] == []
    assert after["separable"] == 0
    assert after["announced"] == []


def test_a_fall_by_two_thirds_is_announced_within_the_year_and_no_smaller_one_than_stated():
    # Two of five drifting studs fall. At nine of ten each, both are missed once in a hundred.
    _, *looks = stud_alarms.followed(np.random.default_rng(2), 0, np.log(1 / 3))

    announced = [
        (stud, change)
        for look in looks
        for stud, change in zip(look["announced"], look["change"], strict=True)
    ]
    assert {stud for stud, _ in announced} & {"Stud 03", "Stud 04"}
    assert all(change <= np.log(0.9) for _, change in announced)


def test_one_ageing_dog_lends_no_movement_to_the_others():
    # Two years of four steady studs; a fifth loses three quarters of his sperm on the way.
    rng = np.random.default_rng(3)
    days = 14.0 * np.arange(52)
    steady = [
        counted(rng, f"Stud {s}", days, rng.normal(6.6, 0.35, 52), evaluator="Ash")
        for s in range(4)
    ]
    ageing = 6.6 - 1.4 * days / days[-1] + rng.normal(0.0, 0.35, 52)

    posterior = stud_alarms.fitted(kennel(*steady, counted(rng, "Old", days, ageing)), seed=1)

    amplitude = dict(
        zip(posterior.data.studs, np.median(posterior.draws["amplitude"], axis=0), strict=True)
    )
    assert amplitude.pop("Old") > 2 * max(amplitude.values())


def test_fifty_studs_of_a_club_settle_at_once_and_tell_how_far_apart_they_are():
    rows, _ = stud_alarms.studs_of(np.random.default_rng(0), 50, 2)

    posterior = stud_alarms.fitted(rows, seed=1)

    assert posterior.diagnostics.n_attempts == 1
    # Steady studs: what parts them at one time, lasting or slow, is what they were drawn with.
    apart = np.hypot(posterior.draws["between"], posterior.draws["usual_amplitude"])
    lower, upper = np.quantile(apart, [0.005, 0.995])
    assert lower < stud_alarms.BETWEEN < upper
