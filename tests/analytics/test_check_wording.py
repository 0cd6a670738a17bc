"""Checks are told by stated rules: what is not usable first, how surely, what nobody can tell."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.measures.missing import missing_outcomes
from studcurve.analytics.trust.checking import (
    CrossValidation,
    ExpectedObserved,
    Replicated,
    Scores,
    smallest_difference,
)
from studcurve.analytics.trust.forgotten import Forgotten
from studcurve.analytics.trust.prior_width import MethodWidth, PriorWidth, order_of
from studcurve.analytics.trust.residuals import ALONG, BETWEEN, ResidualCheck
from studcurve.analytics.wording.trust import (
    bitches_sentence,
    difference_sentences,
    expected_sentence,
    fault_sentences,
    forgotten_sentences,
    forgotten_stud_sentence,
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
WIDTH = PriorWidth(Estimate(-0.4, -0.9, 0.0), Estimate(-0.4, -0.8, 0.1), Estimate(-0.5, -1.0, 0.0))


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


def test_a_semen_type_is_set_beside_fresh_by_the_probability_itself():
    (told,) = method_sentences(
        {
            "chilled": MethodWidth(WIDTH, 0.949, 0.93, 0.96),
            "frozen": MethodWidth(WIDTH, 0.951, 0.9, None),
        }
    )

    # On either side of nineteen in twenty the same is said, with its number.
    chilled, frozen = told.values["parts"]
    assert (chilled.key, frozen.key) == ("check.method", "check.method")
    assert (chilled.values["kind"].word, frozen.values["kind"].word) == ("chilled", "frozen")
    assert (chilled.values["fewer"], frozen.values["fewer"]) == (0.949, 0.951)
    told_with = [part.values[key] for part in (chilled, frozen) for key in ("narrow", "wide")]
    assert [one.values.get("fewer") for one in told_with] == [0.93, 0.96, 0.9, None]
    assert told_with[-1].key == "check.method_untold"
    for words in (EN, DE):
        assert re.findall(r"\d+(?= %)", words.tell(told)) == ["95", "93", "96", "95", "90"]
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


def breedings(**whelped):
    """Breedings by semen type; None where nobody reported, "empty" where only a scan did."""
    rows = [
        (kind, None if came == "empty" else came, False if came == "empty" else None)
        for kind, outcomes in whelped.items()
        for came in outcomes
    ]
    return pd.DataFrame(rows, columns=["semen_type", "whelped", "pregnant"], dtype=object)


def test_shares_that_missing_outcomes_could_turn_round_are_not_usable():
    fresh, frozen = [True] * 8 + [False] * 2, [None] * 4
    gappy = breedings(fresh=fresh, chilled=[True] * 5 + [False] * 2 + [None] * 3, frozen=frozen)
    scanned = breedings(
        fresh=fresh, chilled=[True] * 5 + [False] * 2 + [None, "empty", "empty"], frozen=frozen
    )
    sure = breedings(fresh=fresh, chilled=[True] * 3 + [False] * 6 + [None], frozen=[False] * 4)

    unusable = unusable_sentences(gappy)

    # Chilled lies between 5 and 8 of 10, fresh at 8 of 10; no outcome of frozen is known.
    assert keys(unusable) == ["check.not_usable"]
    assert re.findall(r"\d+(?= %)", EN.tell(unusable[0]).replace("\u00a0", " ")) == [
        "50", "80", "80", "80",
    ]  # fmt: skip
    # With two of the three scanned empty chilled lies between 5 and 6 of 10.
    assert unusable_sentences(scanned) == ()
    assert unusable_sentences(sure) == ()
    assert unusable_sentences(gappy.assign(whelped=gappy["whelped"].fillna(False))) == ()


def test_what_a_scan_has_settled_is_said_beside_the_bounds():
    due = breedings(fresh=[True, False], chilled=[True, False, None, "empty"])

    (told,) = unusable_sentences(due)

    assert told.values["scanned"].values["n"] == 1
    assert (told.values["lowest"], told.values["highest"]) == (0.25, 0.5)
    for words in (EN, DE):
        assert words.tell(told.values["scanned"]) in words.tell(told)


def test_a_studs_share_is_not_usable_where_its_extremes_hold_the_expected_one():
    expected = Estimate(0.67, 0.5, 0.8)

    def told(n_litters, n_empty):
        outcomes = [True] * n_litters + [False] * n_empty + [None] * 3
        return stud_unusable_sentence(missing_outcomes(breedings(fresh=outcomes)), expected)

    # 5 to 8, 2 to 5 and 0 to 3 of 10, 10 and 3.
    wide, low, nothing = told(5, 2), told(2, 5), told(0, 0)

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


def at(*chances):
    return tuple(Estimate(chance, chance - 0.1, chance + 0.1) for chance in chances)


def test_what_hangs_on_unreported_results_is_said_of_all_and_of_whom_it_moves():
    lost = Forgotten(
        18, Estimate(2.4, 1.1, 5.4), at(0.607, 0.594, 0.580),
        {"chilled": at(0.58, 0.56, 0.52), "frozen": at(0.50, 0.48, 0.45)},
        {"Rowan": at(0.62, 0.60, 0.5699), "Ash": at(0.62, 0.60, 0.5701)},
    )  # fmt: skip

    everything, chilled = forgotten_sentences(lost)

    assert (everything.key, everything.values["n"]) == ("check.forgotten", 18)
    assert (everything.values["once"], everything.values["tenfold"]) == (0.607, 0.580)
    # Five points are where an answer hangs on it; frozen moved by exactly five.
    assert (chilled.key, chilled.values["kind"].word) == ("check.forgotten_kind", "chilled")
    assert keys(forgotten_stud_sentence("Rowan", lost)) == ["check.forgotten_stud"]
    assert forgotten_stud_sentence("Ash", lost) == ()
    assert forgotten_stud_sentence("Merle", lost) == ()
    assert forgotten_sentences(None) == () == forgotten_stud_sentence("Rowan", None)
    assert all(words.tell(one) for words in (EN, DE) for one in (everything, chilled))


def test_records_that_do_not_tell_bitches_apart_are_said_not_to():
    assert keys(bitches_sentence(0.299)) == ["check.bitches"]
    assert bitches_sentence(0.3) == ()


def test_studs_stand_in_the_order_of_their_chances_under_each_prior():
    low, high = Estimate(0.5, 0.4, 0.6), Estimate(0.6, 0.5, 0.7)
    studs = {"Ash": PriorWidth(low, high, low), "Rowan": PriorWidth(high, low, high)}

    assert order_of(studs, "table") == ("Rowan", "Ash") == order_of(studs, "wide")
    assert order_of(studs, "narrow") == ("Ash", "Rowan")
    lacking = {**studs, "Merle": PriorWidth(low, None, high)}
    assert order_of(lacking, "narrow") == ()
    assert order_of(lacking, "table") == ("Rowan", "Ash", "Merle")
