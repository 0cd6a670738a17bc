"""Sentences of the catalog found again in what was printed, by key and whatever their values."""

import re
from html import unescape

from studcurve.reports.catalog import texts

FEWEST_LETTERS = 8
"""Letters that are the sentence's own: one with fewer would be found in texts that lack it."""

LONGEST_VALUE = 400
"""Characters of a printed value, a list of dogs or options included."""


def on_one_line(text):
    """A printed text without its line breaks, wide blanks and escapes of HTML."""
    return " ".join(unescape(text).split())


def sentences_in(text, key, language="en"):
    """Every place in a text at which the sentence of that key stands, from its first own word on.

    Raises
    ------
    ValueError
        The sentence has too few words of its own to be distinguished from others.
    """
    versions = texts(language)[key]
    versions = [versions] if isinstance(versions, str) else versions.values()
    patterns = []
    for version in versions:
        own = [" ".join(part.split()) for part in re.split(r"\{[^{}]*\}", f"|{version}|")]
        own[0], own[-1] = own[0].removeprefix("|"), own[-1].removesuffix("|")
        # A value at the head has no end that could be found, and a page is long.
        own = own if own[0] else own[1:]
        if sum(map(str.isalpha, "".join(own))) < FEWEST_LETTERS:
            raise ValueError(f"{key} has no words of its own to be found by")
        patterns.append(rf"\s?.{{1,{LONGEST_VALUE}}}?\s?".join(map(re.escape, own)))
    return [match.group() for match in re.finditer("|".join(patterns), on_one_line(text))]
