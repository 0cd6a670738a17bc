"""Every text a reader sees, one file a language.

A key is a dotted path (``caution.brucella_negative``). Its text names the values it prints in
braces, with the formats of :mod:`studcurve.reports.words`; an entry with ``one`` and ``other`` is
chosen by the value ``n``. A second language is a second file with the same keys and values. English
names of quantities and of the rows of the priors table have their home in ``analytics``; another
language names in its file those that pages print.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from studcurve.analytics.priors import PRIORS
from studcurve.analytics.vocabulary import VOCABULARY

LANGUAGES = ("en", "de")
"""Languages with a file."""

Text = str | Mapping[str, str] | tuple[str, ...]
"""A text, a text by number, or a list such as the names of the months."""


@cache
def texts(language: str) -> Mapping[str, Text]:
    """Texts of one language by key.

    Raises
    ------
    ValueError
        There is no such language.
    """
    if language not in LANGUAGES:
        raise ValueError(f"no texts in {language!r}; there are {', '.join(LANGUAGES)}")
    source = (files("studcurve.reports") / "catalog" / f"{language}.toml").read_text(
        encoding="utf-8"
    )
    named: dict[str, Text] = {
        **{f"quantity.{name}": quantity.label for name, quantity in VOCABULARY.items()},
        **{f"prior.{row}": prior.words for row, prior in PRIORS.items()},
    }
    return MappingProxyType(named | dict(_flat("", tomllib.loads(source))))


def _flat(path: str, table: Mapping[str, Any]) -> Iterator[tuple[str, Text]]:
    """Entries below a table, by dotted path."""
    for key, entry in table.items():
        name = f"{path}.{key}" if path else key
        if isinstance(entry, str):
            yield name, entry
        elif isinstance(entry, list):
            yield name, tuple(entry)
        elif set(entry) == {"one", "other"}:
            yield name, MappingProxyType(entry)
        else:
            yield from _flat(name, entry)
