"""What a record says: moments as intervals, values exact, rounded, censored or in words.

A bare date is a whole day, never midnight; "> 20" is an interval without an upper end, never 20;
"too many to count" is no number and no gap either. These types carry the difference to the models.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

ReadingKind = Literal["exact", "rounded", "below", "above", "between", "word"]
"""How a measurement was written down."""


@dataclass(frozen=True, slots=True)
class Moment:
    """When something happened, as far as the record says.

    Attributes
    ----------
    earliest, latest
        Ends of the interval that holds the moment, in the kennel's local time. A bare date spans
        00:00 to 23:59:59 of that day.
    text
        The moment as typed.
    """

    earliest: datetime
    latest: datetime
    text: str

    def __post_init__(self) -> None:
        if self.latest < self.earliest:
            raise ValueError(f"a moment ends before it begins: {self.earliest} to {self.latest}")

    @property
    def middle(self) -> datetime:
        """Middle of the interval; only for plotting and as the centre of an error term."""
        return self.earliest + (self.latest - self.earliest) / 2

    @property
    def half_width_hours(self) -> float:
        """Half the length of the interval. [h]"""
        return (self.latest - self.earliest).total_seconds() / 7200.0


@dataclass(frozen=True, slots=True)
class Reading:
    """A measurement as recorded.

    Attributes
    ----------
    kind
        ``exact`` (low = high), ``rounded`` (to a step: low and high are half a step away),
        ``below`` (low is minus infinity or the physical floor), ``above`` (high is infinity),
        ``between``, or ``word`` (both NaN: "too many to count", "none seen", "not done").
    low, high
        Ends of the interval that holds the value, in the unit of the quantity.
    text
        The measurement as typed.
    """

    kind: ReadingKind
    low: float
    high: float
    text: str

    @property
    def is_number(self) -> bool:
        """Whether the record bounds the value from at least one side."""
        return self.kind != "word"

    @property
    def middle(self) -> float:
        """Middle of a bounded interval, else NaN: a one-sided record has no middle."""
        bounded = math.isfinite(self.low) and math.isfinite(self.high)
        return (self.low + self.high) / 2.0 if bounded else math.nan
