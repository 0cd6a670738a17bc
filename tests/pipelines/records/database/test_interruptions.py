"""Interruptions at random moments lose no acknowledged row and leave no half load."""

import pytest
from tests.pipelines.records.database.interruptions import interrupt


@pytest.mark.slow
def test_work_killed_at_random_moments_is_whole_or_was_not_done():
    # .ci/run interrupts 20 times by the script itself; a release is interrupted 100 times.
    _, wrong = interrupt(2, kinds=("load", "migration"))

    assert wrong == []
