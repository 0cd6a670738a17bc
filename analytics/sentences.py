"""What a told fact is before it is told: a key of the catalog, and the values it carries.

Rules here decide which sentence is true and compute its numbers; the words stand in
``reports/catalog``, one file a language, and ``reports/words.py`` joins the two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from analytics.estimate import Estimate


@dataclass(frozen=True, slots=True)
class Word:
    """A recorded word of a short list; told in the reader's language where the catalog has it.

    Attributes
    ----------
    kind
        Which list: ``semen``, ``event``, ``result`` and so on.
    word
        As recorded; hostile until rendered.
    """

    kind: str
    word: str


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence without its words.

    Attributes
    ----------
    key
        Of the catalog; the text there names the values it prints and how.
    values
        Numbers, days, recorded texts, estimates, words, or sentences inside this one.
    """

    key: str
    values: Mapping[str, Value]


Value = int | float | str | date | Estimate | Word | Sentence | tuple[str | Word | Sentence, ...]
"""What a sentence may carry. A float is printed only in a format that its text names."""


def sentence(key: str, **values: Value) -> Sentence:
    """State a fact by its key and its values."""
    return Sentence(key, MappingProxyType(values))
