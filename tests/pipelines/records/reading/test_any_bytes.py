"""Any bytes given to load end in rows, refusals or one clear sentence."""

from tests.pipelines.records.reading.any_bytes import try_inputs


def test_random_and_spoilt_files_end_in_rows_refusals_or_a_sentence():
    # .ci/run tries 20,000 of them by the script itself.
    tally = try_inputs(120)

    assert tally.failures == []
    assert tally.ends["rows"] > 0
    assert tally.ends["refused lines"] > 0
    assert tally.ends["sentences"] > 0
