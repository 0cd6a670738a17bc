"""What a stated fact is before it has words: a key of the catalog, and the values it carries.

Rules here decide which sentence is true and compute its numbers; the words stand in
``reports/catalog``, one file a language, and ``reports/words.py`` joins the two.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Any

from studcurve.analytics.estimate import Estimate


@dataclass(frozen=True, slots=True)
class Word:
    """A recorded word of a short list; printed in the reader's language where the catalog has it.

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


def kept_values(values: Mapping[str, Value]) -> str:
    """Values of a sentence as JSON, to be printed again in any language.

    Raises
    ------
    ValueError
        A value is neither a number nor a text, a word, a sentence or several of these.
    """
    return json.dumps({name: _plain(value) for name, value in values.items()}, ensure_ascii=False)


def values_kept(kept: str) -> Mapping[str, Value]:
    """Values of a sentence from their JSON."""
    return MappingProxyType({name: _value(part) for name, part in json.loads(kept).items()})


def _plain(value: Value) -> Any:  # noqa: ANN401
    if isinstance(value, Word):
        return {"kind": value.kind, "word": value.word}
    if isinstance(value, Sentence):
        return {"key": value.key, "values": {k: _plain(part) for k, part in value.values.items()}}
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    if isinstance(value, int | float | str):
        return value
    raise ValueError(f"a {type(value).__name__} is not kept as JSON")


def _value(part: Any) -> Any:  # noqa: ANN401
    if isinstance(part, list):
        return tuple(_value(item) for item in part)
    if not isinstance(part, dict):
        return part
    if "word" in part:
        return Word(part["kind"], part["word"])
    return sentence(part["key"], **{name: _value(item) for name, item in part["values"].items()})
