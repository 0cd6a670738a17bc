"""Values of a sentence, kept as JSON and read back."""

from datetime import date

import pytest

from studcurve.analytics.sentences import Word, kept_values, sentence, values_kept


def test_what_a_sentence_carries_comes_back_as_it_was():
    values = {
        "n": 24, "low": -0.5, "cell": 'a "quoted" {brace} ü', "sex": Word("none_of_sex", "male"),
        "marks": ("Time", Word("stage", "raw")),
        "apart": sentence("rule_part.apart", marks=("Kind", "What")),
    }  # fmt: skip

    assert dict(values_kept(kept_values(values))) == values
    assert kept_values({}) == "{}"


def test_what_json_would_not_give_back_is_refused():
    with pytest.raises(ValueError, match="a date is not kept"):
        kept_values({"on": date(2026, 3, 5)})
