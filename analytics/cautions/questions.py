"""What is asked about a Health line at the load, and which lines may not change in silence."""

from __future__ import annotations

from typing import Literal

from studcurve.analytics.cautions import words

Question = Literal["", "brucella", "infection", "mention", "test", "event", "drug", "release"]
"""What nobody can read of a line; empty where all of it can be read."""


def question_of(
    kind: str, what: str, result: str, value: str, drug_class: str, notes: str
) -> Question:
    """What to ask about one line of the Health sheet.

    Parameters
    ----------
    kind
        A word of the sheet's list.
    what, result, value, drug_class, notes
        As written; empty where blank.
    """
    if kind == "release by veterinarian":
        return "" if is_release_of_something(what) else "release"
    if _is_about_brucella(kind, what, result):
        return "" if _is_plain(what, result, value) else "brucella"
    if words.names_brucella(notes):
        return "mention"
    if kind == "laboratory test":
        return _of_a_test(what, result, value)
    if kind == "event":
        if drug_class and not words.is_known_drug(drug_class):
            return "drug"
        return "" if words.is_known_event(what) else "event"
    return ""


def is_alarming(kind: str, what: str, result: str, value: str) -> bool:
    """Whether a line holds a result of an infection that is not negative.

    Such a line is not taken back by a changed one before a person has said so.
    """
    if words.result_of(result, value) != "not negative":
        return False
    if _is_about_brucella(kind, what, result):
        return True
    return kind == "laboratory test" and words.test_of(what) == "infection"


def is_release_of_something(what: str) -> bool:
    """Whether any table knows what a veterinarian's release speaks of."""
    return (
        words.names_brucella(what)
        or words.is_whole_release(what)
        or bool(words.released_from(what))
        or words.test_of(what) in ("brucella", "infection")
    )


def _is_about_brucella(kind: str, what: str, result: str) -> bool:
    is_test = kind == "laboratory test" and words.test_of(what) == "brucella"
    return is_test or words.names_brucella(what) or words.names_brucella(result)


def _is_plain(what: str, result: str, value: str) -> bool:
    """Whether a result is plainly negative or plainly positive; another word is asked about."""
    result_word = words.result_of(result, value)
    if result_word == "missing":
        return words.is_plainly_negative(what) or words.says_positive(what)
    return result_word == "negative" or words.is_plainly_positive(result or value)


def _of_a_test(what: str, result: str, value: str) -> Question:
    test = words.test_of(what)
    if test in ("unknown", "near infection"):
        return "test"
    if test != "infection":
        return ""
    result_word = words.result_of(result, value)
    is_read = result_word != "not negative" or words.is_plainly_positive(result or value)
    return "" if is_read else "infection"
