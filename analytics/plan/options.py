"""What is an option for one breeding, as data?

Semen and route, where the sample comes from, when it is collected and inseminated, by which
carrier, and what it costs; and what kennel, carrier, clinic and owners can do. No chance is known
here.

Nothing here permits anything: who may inseminate, and whether semen may cross a border, is for
local law, and frozen semen and the transcervical route are for a veterinarian or as local law
allows. Surgical insemination is never offered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Literal

Source = Literal["a mating", "next collection", "sample on hand", "straws in stock"]
"""Where the semen comes from."""

PRICE_ITEMS = (
    "collection", "shipment", "extender dose", "transcervical insemination", "vaginal insemination",
    "frozen dose", "scan", "stud fee", "progesterone test",
)  # fmt: skip
"""What is paid for, as the Prices sheet spells it. The stud fee is paid for a litter."""


@dataclass(frozen=True, slots=True)
class OpeningHours:
    """When somebody inseminates.

    Attributes
    ----------
    opens, closes
        First and last hour of a day, local time.
    weekdays
        Days of the week, Monday is 0.
    closed_on
        Days on which nobody is there.
    """

    opens: time = time(9)
    closes: time = time(17)
    weekdays: frozenset[int] = frozenset(range(6))
    closed_on: frozenset[date] = frozenset()

    def is_open(self, day: date) -> bool:
        """Whether somebody is there on a day."""
        return day.weekday() in self.weekdays and day not in self.closed_on

    def first_from(self, moment: datetime) -> datetime | None:
        """First instant from a moment on at which somebody is there; None within three weeks."""
        for offset in range(21):
            day = moment.date() + timedelta(days=offset)
            start = datetime.combine(day, self.opens)
            if self.is_open(day) and moment <= datetime.combine(day, self.closes):
                return max(moment, start)
        return None


@dataclass(frozen=True, slots=True)
class Carrier:
    """Who takes the shipment, when it leaves and when it is promised.

    Attributes
    ----------
    name
        As in the Shipments sheet.
    cut_off
        Last hour at which a shipment is taken on a day, local time.
    leaves, delivers
        Days of the week on which a shipment is taken and brought, Monday is 0.
    brings_at
        Hour by which it is brought.
    days_on_the_way
        Nights between leaving and the promised day.
    """

    name: str
    cut_off: time = time(19, 30)
    leaves: frozenset[int] = frozenset(range(5))
    delivers: frozenset[int] = frozenset(range(6))
    brings_at: time = time(12)
    days_on_the_way: int = 1

    def takes(self, packed_at: datetime) -> bool:
        """Whether a shipment that is packed at an instant leaves on that day."""
        return packed_at.weekday() in self.leaves and packed_at.time() <= self.cut_off

    def promised_at(self, packed_at: datetime) -> datetime:
        """When a shipment that leaves on a day is promised."""
        return self._brought(packed_at.date() + timedelta(days=self.days_on_the_way))

    def brought_if_late(self, promised_at: datetime) -> tuple[datetime, datetime]:
        """When it comes if it misses the promise: the next delivery day; after the weekend."""
        next_day = self._brought(promised_at.date() + timedelta(days=1))
        monday = promised_at.date() + timedelta(days=7 - promised_at.weekday())
        return next_day, max(next_day, self._brought(monday))

    def _brought(self, day: date) -> datetime:
        while day.weekday() not in self.delivers:
            day += timedelta(days=1)
        return datetime.combine(day, self.brings_at)


@dataclass(frozen=True, slots=True)
class Straws:
    """Straws of one lot that are left.

    Attributes
    ----------
    lot
        Name of the lot.
    n_left, n_per_dose
        Straws in the tank, and straws that make one insemination.
    motile_per_straw_m
        Progressively motile sperm per straw after thawing; NaN when not recorded. [10⁶]
    post_thaw_motility_pct
        Progressive motility after thawing; NaN when not recorded. [%]
    """

    lot: str
    n_left: int
    n_per_dose: int
    motile_per_straw_m: float
    post_thaw_motility_pct: float = float("nan")

    @property
    def is_dead(self) -> bool:
        """Whether no sperm moved after thaw: zero is a measurement, a blank is none."""
        return self.motile_per_straw_m == 0.0 or self.post_thaw_motility_pct == 0.0


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What the kennel, the clinic and the owners can do, as data.

    Attributes
    ----------
    asked_at
        Now; nothing can happen earlier.
    first_on, last_on
        Days between which an insemination is worth considering.
    prices
        Price of each of :data:`PRICE_ITEMS` that is known, one currency.
    kennel, clinic
        When somebody is there to mate or inseminate at the kennel; at the clinic.
    carrier
        None when nothing is shipped.
    collected_at
        Hour of a collection at the kennel.
    sample_on_hand_at
        When the sample on hand was collected; None when there is none.
    straws
        Lots in stock.
    is_bitch_at_kennel
        Whether bitch and stud can be brought together.
    refused
        Semen types and routes that an owner does not want.
    n_inseminations
        Numbers of inseminations that are considered.
    max_cost
        Owner's limit for what is paid in any case.
    extender
        Name of the extender of a shipment.
    """

    asked_at: datetime
    first_on: date
    last_on: date
    prices: Mapping[str, float] = field(default_factory=dict)
    kennel: OpeningHours = OpeningHours(time(8), time(20), frozenset(range(7)))
    clinic: OpeningHours = OpeningHours()
    carrier: Carrier | None = Carrier("a carrier")
    collected_at: time = time(15)
    sample_on_hand_at: datetime | None = None
    straws: tuple[Straws, ...] = ()
    is_bitch_at_kennel: bool = True
    refused: frozenset[str] = frozenset()
    n_inseminations: tuple[int, ...] = (1, 2)
    max_cost: float = float("inf")
    extender: str | None = None


@dataclass(frozen=True, slots=True)
class Option:
    """One way to breed that can be carried out.

    Attributes
    ----------
    semen_type, route
        As in the views; never surgical.
    source
        Where the semen comes from.
    inseminated_at
        Planned instants, in order; with a late shipment those of ``if_next_day`` and
        ``if_weekend``.
    collected_at
        When the sample is or was collected; None for a mating and for straws.
    packed_at
        When the shipment leaves; None when nothing is shipped.
    if_next_day, if_weekend
        Instants when the shipment misses its promise; empty when nothing is shipped.
    n_doses
        Inseminations that one sample is divided into.
    straws
        The lot, for frozen semen.
    carrier
        Name, when a shipment is sent.
    extender
        What the sample is kept in; None for a mating, raw fresh semen and straws.
    costs
        Items paid in any case, with how often.
    """

    semen_type: str
    route: str
    source: Source
    inseminated_at: tuple[datetime, ...]
    collected_at: datetime | None = None
    packed_at: datetime | None = None
    if_next_day: tuple[datetime, ...] = ()
    if_weekend: tuple[datetime, ...] = ()
    n_doses: int = 1
    straws: Straws | None = None
    carrier: str | None = None
    extender: str | None = None
    costs: tuple[tuple[str, int], ...] = ()

    @property
    def method(self) -> str:
        """Semen, route and number, without days: a word of the catalog's list ``way``."""
        where = "mating" if self.semen_type == "natural" else self.route
        how_often = "once" if len(self.inseminated_at) == 1 else "twice"
        return f"{self.semen_type} {where} {how_often}"

    @property
    def is_guarded(self) -> bool:
        """Whether it is for a veterinarian, or as local law allows."""
        return self.semen_type == "frozen" or self.route == "transcervical"

    def cost(self, prices: Mapping[str, float]) -> float:
        """What is paid in any case; NaN when a price is not known."""
        return sum((n * prices.get(item, float("nan")) for item, n in self.costs), 0.0)
