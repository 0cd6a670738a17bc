"""How the foot of a page reads: sources, and from which records and fit it was made."""

from __future__ import annotations

from collections.abc import Iterable

from studcurve.analytics.sentences import Sentence
from studcurve.analytics.wording.sources import Source
from studcurve.reports.words import Words


def in_words(sources: Iterable[Source | Sentence], words: Words) -> tuple[str, ...]:
    """Sources in the reader's language, in their order."""
    return tuple(
        words.tell(source) if isinstance(source, Sentence) else _cited(source, words)
        for source in sources
    )


def on_one_line(facts: Iterable[str | Sentence], words: Words) -> str:
    """Facts with dots between them; what was recorded stands as it was written."""
    return " · ".join(fact if isinstance(fact, str) else words.tell(fact) for fact in facts)


def _cited(source: Source, words: Words) -> str:
    about = "" if source.about is None else f"{words.tell(source.about)}: "
    marks = f" ({source.marks})" if source.marks else ""
    return f"{about}{words.source(source.cited)}{marks}"
