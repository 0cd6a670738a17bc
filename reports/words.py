"""Say things in one language: sentences from their keys and values, numbers, days, words.

Formats a text may name after a value: none for a count, a recorded text or a word; a number of
decimals (``{low:0}``), with a sign (``{x:+2}``); ``exact`` for a bound that nobody measured, with
the digits it has; ``pct`` for a share of one as a percentage;
``prob`` for a probability, which is never printed as 0 or 100 %;
``range`` and a number of decimals for the ends of an estimate alone (``{e:range0}``,
``{e:rangepct}``), ``mid`` likewise for its middle alone, ``midpoints`` for that in points, each
also with signs (``{e:+midpct}``);
``cap`` for a word at the head of a sentence. A float without a format is a mistake of ours: it
would claim more than it knows.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from string import Formatter
from typing import Any

import pandas as pd

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.sentences import Sentence, Value, Word
from studcurve.reports.catalog import Text, texts

_STAYS = "\n\u200c\u200d"

NO_BREAK = "\u00a0"
"""The space that no line ends in."""

ROUNDS_TO_NONE = 0.005
"""Below this a probability would print as 0 %."""

_UNITS = r"%|‰|M/mL|Mio\./mL|M|Mio\.|mL|ng/mL|nmol/L|g|d|h|min|kg|°C|rpm|EUR|points|Punkte|px"
_BEFORE_UNIT = re.compile(rf"(?<=\d) (?=(?:{_UNITS})(?![\w]))")
_IN_UNIT = re.compile(r"(?<=\bM/)(?=mL)|(?<=Mio\./)(?=mL)")
_PERCENT_RANGE = re.compile(r"(?<=\d)-%-(?=\w)")
_IN_DATE = re.compile(r"\b(\d{1,2}\.?) ([^\W\d]{3,9}\.?) (\d{4})\b")


def bound(text: str) -> str:
    """Hold numbers to their units, and the parts of a day together, over the end of a line."""
    held = _BEFORE_UNIT.sub(NO_BREAK, text)
    held = _IN_UNIT.sub("\u2060", held)
    held = _PERCENT_RANGE.sub("\u2011%\u2011", held)
    return _IN_DATE.sub(rf"\1{NO_BREAK}\2{NO_BREAK}\3", held)


def visible(text: str) -> str:
    """A text whose control characters are shown and not obeyed.

    Escape sequences, and characters that turn the direction of what follows, are spelled out; kinds
    of space and the joiners inside some scripts and pictographs stay.
    """
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() or c in _STAYS or unicodedata.category(c) == "Zs" else repr(c)[1:-1]
        for c in text
    )


def visible_parts(part: Any) -> Any:  # noqa: ANN401
    """The same for every text inside a chart or a grid."""
    if isinstance(part, dict):
        return {key: visible_parts(value) for key, value in part.items()}
    if isinstance(part, list | tuple):
        return [visible_parts(value) for value in part]
    return visible(part) if isinstance(part, str) else part


@dataclass(frozen=True, slots=True)
class Words:
    """One language.

    Attributes
    ----------
    language
        One of :data:`studcurve.reports.catalog.LANGUAGES`.
    """

    language: str

    @property
    def texts(self) -> Mapping[str, Text]:
        """Every text by key."""
        return texts(self.language)

    def __getitem__(self, key: str) -> str:
        """A text without values, or with values yet to come."""
        text = self.texts[key]
        if not isinstance(text, str):
            raise ValueError(f"{key} is not one text; say it with the value n")
        return text

    def say(self, key: str, **values: Value) -> str:
        """The text of a key with its values."""
        text = self.texts[key]
        if isinstance(text, Mapping):
            text = text["one" if values["n"] == 1 else "other"]
        if not isinstance(text, str):
            raise ValueError(f"{key} is a list and cannot be said")
        return _Teller(self).vformat(text, (), values)

    def tell(self, sentence: Sentence) -> str:
        """A sentence in words."""
        return self.say(sentence.key, **sentence.values)

    def word(self, kind: str, recorded: object) -> str:
        """A recorded word in this language; what the catalog lacks stays as recorded."""
        if recorded is None or recorded != recorded or recorded == "":
            return self["page.not_recorded"]
        text = self.texts.get(f"{kind}.{str(recorded).replace(' ', '_')}")
        return text if isinstance(text, str) else str(recorded)

    def source(self, cited: str) -> str:
        """A citation; its plain words, where it has any, in this language."""
        parts = (self.texts.get(f"citation.{part}", part) for part in cited.split("; "))
        return "; ".join(str(part) for part in parts)

    def number(self, value: float | None, decimals: int = 0, *, signed: bool = False) -> str:
        """A number with as many decimals as it deserves; a dash where there is none."""
        if value is None or pd.isna(value):
            return "–"
        if math.isinf(value):
            return "∞"
        printed = f"{value:{'+' if signed else ''},.{decimals}f}"
        if not printed.strip("+-0,."):
            # What rounds to nothing has no sign: it would claim a direction.
            printed = printed.lstrip("+-")
        return self._in_this_language(printed)

    def _in_this_language(self, printed: str) -> str:
        """A number of Python's with the signs of this language."""
        swap = {",": self["format.thousands"], ".": self["format.decimal"], "-": "−"}
        return "".join(swap.get(character, character) for character in printed)

    def interval(self, low: float, high: float, decimals: int = 0) -> str:
        """Two ends of an interval."""
        if math.isnan(low) or math.isnan(high):
            return "–"
        return f"{self.number(low, decimals)}–{self.number(high, decimals)}"

    def percent(self, estimate: Estimate | None) -> str:
        """A share with its interval, in percent and without the sign: for tables."""
        if estimate is None:
            return "–"
        ends = self.interval(100 * estimate.lower, 100 * estimate.upper)
        return f"{self.whole_percent(estimate.median)} ({ends})"

    def whole_percent(self, prob: float) -> str:
        """A probability in whole percent without the sign, for tables; never none at all."""
        return f"< {self.number(1)}" if prob < ROUNDS_TO_NONE else self.number(100 * prob)

    def probability(self, prob: float) -> str:
        """A probability in percent; what rounds to none or all is said to be under or over.

        No draw of thousands that shows a thing is no proof that it cannot be. A dash for none.
        """
        if math.isnan(prob):
            return "–"
        if prob < ROUNDS_TO_NONE:
            return self.say("format.under", n=1)
        if prob > 1.0 - ROUNDS_TO_NONE:
            return self.say("format.over", n=99)
        return f"{self.number(100 * prob)} %"

    def signed(self, estimate: Estimate, decimals: int = 2) -> str:
        """A difference with its interval, every end with its sign."""
        low, middle, high = (
            self.number(value, decimals, signed=True)
            for value in (estimate.lower, estimate.median, estimate.upper)
        )
        return self.say("format.signed_estimate", median=middle, lower=low, upper=high)

    def day(self, on: date | None) -> str:
        """A day that cannot be misread; a dash where there is none."""
        if on is None or on != on:
            return "–"
        months = self.texts["format.short_months"]
        assert isinstance(months, tuple)
        return self.say("format.day", day=on.day, month=months[on.month - 1], year=str(on.year))

    def moment(self, at: datetime | None) -> str:
        """A day with its time."""
        if at is None or at != at:
            return "–"
        return self.say("format.moment", on=self.day(at), time=f"{at:%H:%M}")

    def weekday_moment(self, at: datetime) -> str:
        """A moment within the next weeks: its weekday, day, month and time, for a table."""
        months, days = self.texts["format.short_months"], self.texts["format.short_days"]
        assert isinstance(months, tuple)
        assert isinstance(days, tuple)
        return self.say(
            "format.weekday_moment", weekday=days[at.isoweekday() % 7], day=at.day,
            month=months[at.month - 1], time=f"{at:%H:%M}",
        )  # fmt: skip

    def money(self, value: float) -> str:
        """An expected sum to three figures: it is an estimate; a dash where there is none."""
        return self.number(float(f"{value:.3g}"))

    def at_least(self, value: float, smallest: float, decimals: int) -> str:
        """A number; below the smallest that differs from nothing, only that."""
        if value < smallest:
            return f"< {self.number(smallest, decimals)}"
        return self.number(value, decimals)

    def listed(self, parts: tuple[str, ...]) -> str:
        """A list in running text."""
        if len(parts) < 2:
            return "".join(parts)
        return f"{', '.join(parts[:-1])}{self['format.and']}{parts[-1]}"

    def printed(self, value: Value, spec: str) -> str:
        """One value of a sentence, in the format that its text names."""
        if isinstance(value, Sentence):
            return self.tell(value)
        if isinstance(value, Estimate):
            return self._estimate(value, spec)
        if isinstance(value, tuple):
            return self.listed(tuple(self.printed(part, "") for part in value))
        if isinstance(value, datetime) and spec == "time":
            return self.moment(value)
        if isinstance(value, date):
            return self.day(value)
        if isinstance(value, Word):
            word = self.word(value.kind, value.word)
            return word[:1].upper() + word[1:] if spec == "cap" else word
        if isinstance(value, str):
            return value
        if spec == "pct":
            return f"{self.number(100 * value)} %"
        if spec == "prob":
            return self.probability(value)
        if spec == "exact":
            return self._in_this_language(f"{value:,.9g}")
        if spec:
            return self.number(value, int(spec.removeprefix("+")), signed=spec.startswith("+"))
        if isinstance(value, float):
            raise ValueError(f"{value} needs a format: how many of its digits are true?")
        return self.number(value)

    def points(self, value: float, *, signed: bool = False) -> str:
        """A difference of percentages: one point, else points."""
        shown = self.number(value, signed=signed)
        return self.say("format.points", n=int(shown.lstrip("+−") == "1"), shown=shown)

    def _estimate(self, estimate: Estimate, spec: str) -> str:
        is_signed, spec = spec.startswith("+"), spec.removeprefix("+")
        if spec == "midpoints":
            return self.points(estimate.median, signed=is_signed)
        scale, decimals = (100.0, 0) if spec.endswith("pct") else (1.0, int(spec[-1]))
        low, middle, high = (
            self.number(scale * value, decimals, signed=is_signed)
            for value in (estimate.lower, estimate.median, estimate.upper)
        )
        if spec.startswith("range"):
            return self.say("format.range", lower=low, upper=high)
        if spec.startswith("mid"):
            return f"{middle} %" if spec.endswith("pct") else middle
        key = "format.estimate_pct" if spec == "pct" else "format.estimate"
        prob = round(100 * estimate.interval_prob)
        return self.say(key, median=middle, lower=low, upper=high, prob_pct=prob)


class _Teller(Formatter):
    """Python's own format language, with this language's way of printing a value."""

    def __init__(self, words: Words) -> None:
        self._words = words

    def format_field(self, value: Any, format_spec: str) -> str:  # noqa: ANN401
        """Print one value."""
        return self._words.printed(value, format_spec)
