"""Which words of a Health line mean what: tables in English and German, and how they are read.

Owners copy what a laboratory or a veterinarian wrote, in whatever spelling and order. Each reader
here folds a text (case, accents, ae for ä, punctuation) and answers with a word of a closed list,
or says that nobody knows it. A reader errs towards the alarm: *plainly negative* and *plainly
normal* mean that every single word is known to say so, and whatever else stands there makes it
neither.
The tables are from memory (M); they recognize words and grade nothing.
"""

from __future__ import annotations

import re
import unicodedata
from difflib import get_close_matches
from functools import lru_cache
from typing import Literal

from studcurve.analytics.cautions import tables

Test = Literal["brucella", "infection", "near infection", "other", "unknown"]
"""What a laboratory test looks for.

``near infection`` is a test of unknown name that is called as those for infections are; ``other``
is a known one that says nothing of an infection that mating or semen carries."""

Result = Literal["negative", "missing", "not negative"]
"""What a result says. A word that nobody knows is ``not negative``."""

CLOSE = 0.78
"""How alike a misspelled name of the infection must be, as difflib measures it. (J)

"Brcuella" is 0.88 to "brucella", "Bordetella" 0.67, "Borreliose" 0.70 to "brucellose"."""

LONG_STEM = 5
"""A stem of so many letters is also found inside a word: German joins them. (J)"""

_TOKEN = re.compile(r"\d*[^\W\d_][^\W_]*|[<>≤≥]?\s*\d+(?:[.,:/]\d+)*\s*%?|[?+*]")
_DATE = re.compile(r"\d{1,4}[./]\d{1,2}[./]\d{1,4}")
_SIGN_NEGATIVE = re.compile(r"[-−–—‐]{1,3}|[-−–—‐]\s?ve\.?")
_UMLAUTS = (("ae", "a"), ("oe", "o"), ("ue", "u"), ("ß", "ss"))


@lru_cache(maxsize=65_536)
def folded(text: str) -> str:
    """Fold a text for comparison: lower case, no accents, one spelling of umlauts."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    for written, meant in _UMLAUTS:
        plain = plain.replace(written, meant)
    return plain


@lru_cache(maxsize=65_536)
def tokens(text: str) -> tuple[str, ...]:
    """Words, numbers and signs of a folded text; other punctuation parts them."""
    return tuple(found.replace(" ", "") for found in _TOKEN.findall(folded(text)))


def _spaced(text: str) -> str:
    """The tokens between blanks, so that a phrase is found whole."""
    return f" {' '.join(tokens(text))} "


def _has_phrase(text: str, phrases: frozenset[str]) -> bool:
    words = _spaced(text)
    return any(f" {' '.join(tokens(phrase))} " in words for phrase in phrases)


def _has_stem(text: str, stems: tuple[str, ...]) -> bool:
    """Whether a word begins with one of the stems, or holds a long one; not behind a "no"."""
    words = tokens(text)
    for stem in map(folded, stems):
        if " " in stem:
            if f" {stem}" in _spaced(text):
                return True
            continue
        for n, word in enumerate(words):
            if _is_of_stem(word, stem) and not (n and words[n - 1] in tables.NEGATIONS):
                return True
    return False


def _is_of_stem(word: str, stem: str) -> bool:
    """A short or marked stem is the whole word, a longer one begins it, a long one is in it."""
    if stem.endswith("$"):
        return word == stem[:-1]
    if len(stem) < LONG_STEM - 1:
        return word == stem
    return word.startswith(stem) or (len(stem) >= LONG_STEM and stem in word)


# Tests


@lru_cache(maxsize=65_536)
def names_brucella(text: str) -> bool:
    """Whether a text names *Brucella canis* or one of its own tests, in whichever spelling."""
    words = tokens(text)
    if any(word.startswith(tables.BRUCELLA_STEMS) for word in words):
        return True
    close = (get_close_matches(w, tables.BRUCELLA_NAMES, 1, CLOSE) for w in words if len(w) > 5)
    return any(close) or _has_phrase(text, tables.BRUCELLA_PHRASES)


@lru_cache(maxsize=65_536)
def test_of(what: str) -> Test:
    """What a laboratory test looks for, by its name.

    Parameters
    ----------
    what
        As the owner or the laboratory wrote it.
    """
    if names_brucella(what):
        return "brucella"
    if _has_stem(what, tables.VACCINE_WORDS):
        return "other"
    if _has_stem(what, tables.INFECTIONS):
        return "brucella" if _is_of_canis(what) else "infection"
    if _has_stem(what, tables.AGGLUTINATION) or _is_of_canis(what):
        return "brucella"
    if _has_stem(what, tables.KNOWN_TESTS):
        return "other"
    if _has_stem(what, tables.INFECTION_HINTS):
        return "near infection"
    return "other" if _has_stem(what, tables.PLAIN_TESTS) else "unknown"


def _is_of_canis(what: str) -> bool:
    """As in "ELISA canis" or "Kultur canis", where "Ehrlichia canis" is another."""
    return "canis" in tokens(what) and not _has_stem(what, tables.OTHER_GENERA)


def comes_near_an_infection(text: str) -> bool:
    """Whether words stand in a text that laboratories use when they look for an infection."""
    return _has_stem(text, tables.INFECTION_HINTS) or _has_stem(text, tables.INFECTIONS)


def is_direct_test(what: str) -> bool:
    """Whether a test looks for the germ itself, and for no antibodies: by itself no screening."""
    antibodies = _has_stem(what, tables.ANTIBODY_TESTS) or _has_phrase(
        what, tables.BRUCELLA_PHRASES - {"b canis", "bcanis", "br canis"}
    )
    return _has_stem(what, tables.DIRECT_TESTS) and not antibodies


# Results


@lru_cache(maxsize=65_536)
def result_of(result: str, value: str = "") -> Result:
    """What a laboratory's result says of an infection.

    Parameters
    ----------
    result, value
        As printed; either may be blank. A titre beside "negative" makes it not plainly negative; a
        titre below the first dilution ("< 1:50") does not, but says nothing by itself.
    """
    if not result.strip() and not value.strip():
        return "missing"
    written = result if result.strip() else value
    if _is_outstanding(written):
        return "missing"
    if not is_plainly_negative(written):
        return "not negative"
    if result.strip() and value.strip() and not _goes_with_negative(value):
        return "not negative"
    return "negative"


@lru_cache(maxsize=65_536)
def is_plainly_negative(text: str) -> bool:
    """Whether every word of a text is known to say "negative", and at least one does."""
    if _SIGN_NEGATIVE.fullmatch(folded(text).strip()):
        return True
    left, n_found = _without_phrases(text, tables.NEGATIVE_PHRASES)
    n_found += sum(word in tables.NEGATIVE_WORDS for word in left)
    return n_found > 0 and all(
        word in tables.NEGATIVE_WORDS or _says_neither(word) or _is_low_titre(word) for word in left
    )


def is_plainly_positive(text: str) -> bool:
    """Whether every word of a text is known, and one says "positive" or "suspect"."""
    found = tokens(text)
    return any(word in tables.POSITIVE_WORDS for word in found) and all(
        word in tables.POSITIVE_WORDS or _says_neither(word) for word in found
    )


def _says_neither(word: str) -> bool:
    return word in tables.FILLERS or bool(_DATE.fullmatch(word))


def says_positive(text: str) -> bool:
    """Whether a name holds a word of a result that alarms, as in "Brucella positive"."""
    left, _ = _without_phrases(text, tables.NEGATIVE_PHRASES)
    return any(word.startswith(tables.POSITIVE_STEMS) or word == "+" for word in left)


def _is_low_titre(word: str) -> bool:
    return word.startswith("<") and (":" in word or "/" in word)


def _goes_with_negative(value: str) -> bool:
    """A measured value that contradicts no "negative": a plain number, or below the first titre."""
    return is_plainly_negative(value) or all(
        _is_low_titre(word) or (word[0].isdigit() and not re.search(r"[:/]", word))
        for word in tokens(value)
    )


def _is_outstanding(text: str) -> bool:
    words = tokens(text)
    return bool(words) and all(word in tables.OUTSTANDING_WORDS for word in words)


def _without_phrases(text: str, phrases: frozenset[str]) -> tuple[tuple[str, ...], int]:
    """The tokens without the phrases of a table, and how many were found; the longest first."""
    words, n_found = _spaced(text), 0
    for phrase in sorted(phrases, key=len, reverse=True):
        spelled = f" {' '.join(tokens(phrase))} "
        n_found += words.count(spelled)
        words = words.replace(spelled, "  ")
    return tuple(words.split()), n_found


@lru_cache(maxsize=65_536)
def is_plainly_normal(text: str) -> bool:
    """Whether every word of a finding is known to say that all is well, and at least one does."""
    if is_plainly_negative(text):
        return True
    left, n_found = _without_phrases(_without_denied_alarms(text), tables.NORMAL_PHRASES)
    n_found += sum(word in tables.NORMAL_WORDS for word in left)
    return n_found > 0 and all(
        word in tables.NORMAL_WORDS or _says_neither(word) or _names_an_organ(word) for word in left
    )


def _without_denied_alarms(text: str) -> str:
    """The text in which "no mass" and "nicht schmerzhaft" say that all is well."""
    words = list(tokens(text))
    stems = [
        folded(s)
        for group in (tables.ILLNESSES, tables.STOPPING_FINDINGS)
        for g in group.values()
        for s in g
    ]
    for n in range(len(words) - 1):
        if words[n] in tables.NEGATIONS and any(_is_of_stem(words[n + 1], stem) for stem in stems):
            words[n] = words[n + 1] = "normal"
    return " ".join(words)


# Illness, findings, drugs


@lru_cache(maxsize=65_536)
def illness_of(text: str) -> str | None:
    """The kind of illness that a text names, as a word of :data:`ILLNESSES`; None for none."""
    return next((kind for kind, stems in tables.ILLNESSES.items() if _has_stem(text, stems)), None)


def illness_of_event(what: str, text: str = "") -> str | None:
    """The kind of illness that an event is, by its word or else by the text beside it."""
    if _has_stem(what, tables.VACCINE_WORDS):
        return None
    kind = illness_of(what)
    if kind == "castration" and drug_class_of(what) is not None:
        return None  # by an implant, which ends
    if kind is None and _has_stem(what, tables.OPEN_FOR_EVENTS):
        return "prostatic disease"
    if kind is None and not _has_stem(what, tables.EVENTS_WITHOUT_ALARM):
        return illness_of(text)
    return kind


@lru_cache(maxsize=65_536)
def stopping_finding_of(what: str, finding: str) -> str | None:
    """What in an examination holds back breeding: an illness, a mass, unequal or painful organs.

    Parameters
    ----------
    what, finding
        What was examined, and what was found, as written.
    """
    if is_plainly_normal(finding) or organ_of(what) in tables.ELSEWHERE:
        return None
    found = finding if finding.strip() else what
    for stopping, stems in tables.STOPPING_FINDINGS.items():
        if _has_stem(found, stems):
            return stopping
    # An enlarged prostate without pain is common in older dogs: repeated as written, and no stop.
    kind = illness_of(found)
    return None if kind in tables.MOMENTARY else kind


@lru_cache(maxsize=65_536)
def drug_class_of(text: str) -> str | None:
    """The class of a drug or hormone that a text names; None for none of the classes asked about.

    A bare "hormone" may be any of them and is read as the longest-lasting.
    """
    for kind, stems in tables.DRUG_CLASSES.items():
        if _has_stem(text, stems):
            return kind
    return "GnRH agonist" if _has_stem(text, tables.HORMONE_WORDS) else None


def names_antibiotic(text: str) -> bool:
    """Whether a text names an antibiotic."""
    return _has_stem(text, tables.ANTIBIOTICS)


def is_known_drug(text: str) -> bool:
    """Whether any table knows the class of a drug."""
    return (
        drug_class_of(text) is not None
        or names_antibiotic(text)
        or _has_stem(text, tables.DRUGS_WITHOUT_ALARM)
    )


def is_cesarean(text: str) -> bool:
    """Whether an event is a cesarean."""
    return _has_stem(text, tables.CESAREANS)


@lru_cache(maxsize=65_536)
def is_known_event(what: str) -> bool:
    """Whether any table knows an event's word: an illness, a drug, or one without alarm."""
    return bool(
        illness_of_event(what)
        or is_known_drug(what)
        or test_of(what) != "unknown"
        or _has_stem(what, tables.EVENTS_WITHOUT_ALARM)
    )


@lru_cache(maxsize=65_536)
def organ_of(what: str) -> str:
    """What was examined: a word of the table of organs, else ``other``."""
    return next(
        (organ for organ, stems in tables.ORGANS.items() if _has_stem(what, stems)), "other"
    )


@lru_cache(maxsize=65_536)
def released_from(what: str) -> frozenset[str]:
    """What a veterinarian's release speaks of: kinds of illness and organs; empty where unknown."""
    seen = {kind for kind, stems in tables.RELEASES.items() if _has_stem(what, stems)}
    kind, organ = illness_of_event(what), organ_of(what)
    return frozenset(seen | ({kind} if kind else set()) | ({organ} - {"other"}))


def is_whole_release(what: str) -> bool:
    """Whether a veterinarian's release speaks of use for breeding as a whole."""
    return _has_stem(what, tables.WHOLE_RELEASES)


def is_genetic_result(result: str) -> bool:
    """Whether a result is one of tests for genes alone."""
    return _has_phrase(result, tables.GENETIC_RESULTS)


def names_only_an_organ(what: str) -> bool:
    """Whether a name says what was examined and nothing of what was found."""
    return all(_says_neither(word) or _names_an_organ(word) for word in tokens(what))


@lru_cache(maxsize=65_536)
def _names_an_organ(word: str) -> bool:
    organs = (folded(stem) for stems in tables.ORGANS.values() for stem in stems)
    return any(_is_of_stem(word, stem) for stem in organs)


def temperature_c(what: str, measured: str) -> float | None:
    """A body temperature that an examination measured; None where it measured none. [°C]"""
    if organ_of(what) != "temperature":
        return None
    found = re.search(r"\d{2}(?:[.,]\d+)?", measured)
    return None if found is None else float(found.group().replace(",", "."))


def share_a_name(first: str, second: str) -> bool:
    """Whether two names share a word that is none of those that say nothing."""
    shared = set(tokens(first)) & set(tokens(second))
    return any(len(word) > 2 and not _says_neither(word) for word in shared)
