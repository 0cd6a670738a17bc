"""Checks are told by stated rules: what is not usable first, what flips, what nobody can tell."""

import re
from dataclasses import replace

import numpy as np
import pytest

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.trust.checking import (
    CrossValidation,
    ExpectedObserved,
    MissingOutcomes,
    Replicated,
    Scores,
    smallest_difference,
)
from studcurve.analytics.trust.prior_width import PriorWidth
from studcurve.analytics.trust.residuals import ALONG, BETWEEN, ResidualCheck
from studcurve.analytics.wording.trust import (
    difference_sentences,
    expected_sentence,
    fault_sentences,
    method_sentences,
    prediction_sentences,
    replicated_sentence,
    residual_sentences,
    sparse_sentences,
    stud_unusable_sentence,
    stud_width_sentence,
    unusable_sentences,
)
from studcurve.reports.words import Words

EN, DE = Words("en"), Words("de")
FEWER, OPEN = Estimate(-0.8, -1.3, -0.3), Estimate(-0.4, -0.9, 0.1)


def keys(sentences):
    return [sentence.key for sentence in sentences]


@pytest.mark.parametrize(
    ("n_whelped", "verdict"),
    [(10, "fewer_than_expected"), (18, "as_expected"), (29, "more_than_expected")],
)  # fmt: skip
def test_litters_are_stated_against_what_was_to_be_expected(n_whelped, verdict):
    expected = Estimate(20.0, 14.0, 25.0)

    compared = expected_sentence(ExpectedObserved(30, n_whelped, expected, 0.5))

    assert compared.values["verdict"].key == f"check.{verdict}"
    assert compared.values["expected"] == expected
    assert {"14", "25"} <= set(re.findall(r"\d+", EN.tell(compared)))
    # What is in line says what else would have been: 14 and 25 of 30.
    if verdict == "as_expected":
        assert {"47", "83"} <= set(re.findall(r"\d+", EN.tell(compared)))
    assert expected_sentence(None).key == "check.nothing_known"


def test_below_a_hundred_outcomes_nothing_is_claimed_of_predictions():
    (few,) = prediction_sentences(None, n_known=99, is_of_today=True)

    assert (few.key, few.values["wanted"]) == ("check.too_few", 100)
    assert "100" in re.findall(r"\d+", EN.tell(few))
    assert keys(prediction_sentences(None, n_known=100, is_of_today=False)) == ["check.awaiting"]


def residual(name, p, points=-7.0):
    return ResidualCheck(name, points, 2.0, p, 8.0, 6.0)


def test_a_fault_is_named_beside_the_answers_that_it_touches():
    found = [residual("motility", 0.05), residual("dose", 0.02), residual("stud", 0.051, 12.0)]

    (told,) = residual_sentences(found)

    assert told.key == "check.fault"
    assert keys(told.values["parts"]) == ["check.fault_motility", "check.fault_dose"]
    # Motility and dose are one kind of answers.
    assert keys(told.values["touched"]) == ["check.touched_dose"]
    assert fault_sentences(found) == (told,)
    assert fault_sentences(found, ("stud", "hours")) == ()
    for words in (EN, DE):
        assert "7" in re.findall(r"\d+", words.tell(told))


def test_without_a_fault_every_column_looked_along_is_named():
    found = [residual(name, 0.051) for name in (*ALONG, *BETWEEN)]

    (told,) = residual_sentences(found)

    assert told.key == "check.no_fault"
    assert keys(told.values["columns"]) == [f"check.along_{name}" for name in (*ALONG, *BETWEEN)]
    assert residual_sentences([]) == ()
    for name in (*ALONG, *BETWEEN):
        (fault,) = fault_sentences([residual(name, 0.01)])
        assert all(words.tell(fault) for words in (EN, DE))


def test_a_gain_within_two_errors_is_called_chance():
    def scored(gain):
        other = Scores(-0.6, 0.2, gain, 0.02, 0.0, 0.0)
        return CrossValidation(
            np.zeros(1),
            np.zeros(1),
            {"published": other, "raw": other},
            0.0,
            0.03,
            1.0,
            0.1,
            0.2,
            0,
        )

    for gain, verdict in ((0.039, "alike"), (0.041, "better"), (-0.041, "worse")):
        sentences = prediction_sentences(scored(gain), n_known=200, is_of_today=True)
        assert sentences[0].values["published"].key == f"check.{verdict}"
        assert sentences[-1].key == "check.calibration"
    unsure = prediction_sentences(replace(scored(0.0), n_unsure=2), n_known=200, is_of_today=True)
    assert unsure[-1].key == "check.unsure"


def test_an_order_that_another_prior_turns_is_said_to_hang_on_it():
    held = method_sentences({"frozen": PriorWidth(FEWER, FEWER, FEWER)})
    flipped = method_sentences(
        {"chilled": PriorWidth(OPEN, FEWER, OPEN), "frozen": PriorWidth(FEWER, FEWER, OPEN)}
    )
    silent = method_sentences({"frozen": PriorWidth(FEWER, FEWER, None)})

    assert keys(held) == ["check.methods", "check.holds"]
    assert keys(flipped) == ["check.methods", "check.flips_narrow", "check.flips_wide"]
    narrow, wide = (sentence.values["part"] for sentence in flipped[1:])
    assert (narrow.key, narrow.values["kind"].word) == ("check.fewer_method", "chilled")
    assert (wide.key, wide.values["kind"].word) == ("check.open_method", "frozen")
    assert EN.tell(narrow) in EN.tell(flipped[1])
    assert EN.tell(wide) in EN.tell(flipped[2])
    assert keys(silent) == ["check.methods", "check.unweighed"]
    assert method_sentences({}) == ()


def test_a_chance_that_moves_by_more_than_five_points_is_said_at_once():
    middle = Estimate(0.60, 0.5, 0.7)
    moved = PriorWidth(middle, Estimate(0.62, 0.5, 0.7), Estimate(0.52, 0.4, 0.7))
    stays = PriorWidth(middle, Estimate(0.62, 0.5, 0.7), Estimate(0.56, 0.4, 0.7))

    assert moved.shift_points == pytest.approx(8.0)
    assert keys(stud_width_sentence("Rowan", moved, short=True)) == ["check.stud_moves"]
    assert stud_width_sentence("Rowan", stays, short=True) == ()
    assert keys(stud_width_sentence("Rowan", stays, short=False)) == ["check.stud_stays"]
    lost = PriorWidth(middle, None, None)
    assert keys(stud_width_sentence("Rowan", lost, short=False)) == ["check.stud_unweighed"]


def test_shares_that_missing_outcomes_could_turn_round_are_not_usable():
    kinds = np.array(["fresh"] * 10 + ["chilled"] * 10 + ["frozen"] * 4)
    gappy = np.array([1] * 8 + [0] * 2 + [1] * 5 + [0] * 2 + [-1] * 3 + [-1] * 4)
    sure = np.array([1] * 8 + [0] * 2 + [1] * 3 + [0] * 6 + [-1] + [0] * 4)

    unusable = unusable_sentences(kinds, gappy)

    # Chilled lies between 5 and 8 of 10, fresh at 8 of 10; no outcome of frozen is known.
    assert keys(unusable) == ["check.not_usable"]
    assert re.findall(r"\d+(?= %)", EN.tell(unusable[0]).replace("\u00a0", " ")) == [
        "50", "80", "80", "80",
    ]  # fmt: skip
    assert unusable_sentences(kinds, sure) == ()
    assert unusable_sentences(kinds, np.where(gappy < 0, 0, gappy)) == ()


def test_a_studs_share_is_not_usable_where_its_extremes_hold_the_expected_one():
    expected = Estimate(0.67, 0.5, 0.8)

    wide = stud_unusable_sentence(MissingOutcomes(10, 3, 5 / 7, 0.5, 0.8), expected)
    low = stud_unusable_sentence(MissingOutcomes(10, 3, 2 / 7, 0.2, 0.5), expected)
    nothing = stud_unusable_sentence(MissingOutcomes(3, 3, float("nan"), 0.0, 1.0), expected)

    assert keys(wide) == ["check.stud_not_usable"]
    assert low == () == nothing


def test_what_cannot_be_told_apart_is_named():
    sentences = sparse_sentences(
        [("stud", "Rowan", "frozen"), ("semen", "chilled", "Rowan"), ("few", "natural", "natural"),
         ("few", "frozen", "vaginal")]
    )  # fmt: skip

    of_stud, of_semen, natural, of_cell = sentences
    assert (of_stud.key, of_stud.values["stud"]) == ("check.sparse_stud", "Rowan")
    assert of_stud.values["kind"].word == "frozen"
    assert (of_semen.key, of_semen.values["stud"]) == ("check.sparse_semen", "Rowan")
    assert of_semen.values["kind"].word == "chilled"
    assert natural.key == "check.sparse_natural"
    assert (of_cell.key, of_cell.values["wanted"]) == ("check.sparse_few", 5)
    assert (of_cell.values["kind"].word, of_cell.values["route"].word) == ("frozen", "vaginal")
    assert all(words.tell(sentence) for words in (EN, DE) for sentence in sentences)


def test_figures_unlike_the_records_are_named():
    usual = Replicated("empty_twice", 5.0, Estimate(5.0, 3.0, 7.0), 0.5)
    unlike = Replicated("dispersion", 2.0, Estimate(1.0, 0.8, 1.2), 0.01)

    assert keys(replicated_sentence([usual])) == ["check.alike_again"]
    (odd,) = replicated_sentence([usual, unlike])
    assert odd.key == "check.unlike"
    assert [figure.word for figure in odd.values["figures"]] == ["dispersion"]
    assert EN.word("figure", "dispersion") in EN.tell(odd)
    assert replicated_sentence([]) == ()


def test_the_smallest_difference_is_stated_of_each_semen_type_beside_fresh(demo_fit):
    data = demo_fit.data
    everything = np.ones(data.n_breedings, dtype=bool)

    differences = difference_sentences(data, everything)

    assert [difference.values["kind"].word for difference in differences] == [
        "natural",
        "chilled",
        "frozen",
    ]
    known = data.whelped >= 0
    fresh, frozen = (known & (data.semen_type == kind) for kind in ("fresh", "frozen"))
    assert differences[2].values["points"] == pytest.approx(
        smallest_difference(fresh.sum(), frozen.sum(), (data.whelped[fresh] == 1).mean())
    )
    one = np.flatnonzero(fresh)[:1]
    few = difference_sentences(
        data, np.isin(np.arange(data.n_breedings), [*one, np.flatnonzero(frozen)[0]])
    )
    assert keys(few) == ["check.smallest_none"]
