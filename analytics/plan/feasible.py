"""Which options can be carried out at all, and why not the others?

Hours of kennel, carrier and clinic give every day on which a method can begin; what cannot be
carried out is named with its reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from studcurve.analytics.plan.options import (
    Carrier,
    Circumstances,
    OpeningHours,
    Option,
    Source,
    Straws,
)
from studcurve.analytics.sentences import Sentence, Word, sentence

METHODS = (
    ("natural", "natural"), ("fresh", "vaginal"), ("fresh", "transcervical"),
    ("chilled", "vaginal"), ("chilled", "transcervical"), ("frozen", "vaginal"),
    ("frozen", "transcervical"),
)  # fmt: skip
"""Semen types and routes that are ever offered; surgical insemination is not among them."""

HOURS_TO_SECOND = {"natural": 48, "fresh": 48, "chilled": 24, "frozen": 24}
"""From a first to a second insemination. [h]

Fresh: days 2 and 4 after ovulation (University of Minnesota, secondary); frozen: days 2 and 3
(Thomassen et al. 2006, Theriogenology 66:1645-1650, P); chilled: the second dose of one shipment on
the next day (common practice, no source)."""

TOO_DEAR = "infeasible.too_dear"
"""Reason of a method that costs more in any case than the owner's limit."""

FRESH_WITHIN_HOURS = 1
"""A sample on hand is used as fresh within this long. [h] (common practice, no source)"""


@dataclass(frozen=True, slots=True)
class Infeasible:
    """A way to breed that cannot be carried out, and why.

    Attributes
    ----------
    method
        As of an option, or ``surgical insemination``.
    reason
        By its key and values.
    """

    method: str
    reason: Sentence


def possible_options(
    circumstances: Circumstances,
) -> tuple[tuple[Option, ...], tuple[Infeasible, ...]]:
    """List every method on every day that can be carried out, and the methods that cannot.

    Parameters
    ----------
    circumstances
        What the kennel, the clinic and the owners can do.

    Returns
    -------
    tuple
        Options, one for each method, number of inseminations and first day; and the methods
        without any day, with the reason.
    """
    options: list[Option] = []
    infeasible: list[Infeasible] = []
    for semen_type, route in METHODS:
        for n in circumstances.n_inseminations:
            name = Option(semen_type, route, "a mating", (circumstances.asked_at,) * n).method
            reason = _refusal(circumstances, semen_type, route, n)
            found = (
                [] if reason is not None else list(_schedules(circumstances, semen_type, route, n))
            )
            affordable = [o for o in found if not o.cost(circumstances.prices)
                          > circumstances.max_cost]  # fmt: skip
            options += affordable
            if reason is not None:
                infeasible.append(Infeasible(name, reason))
            elif not found:
                infeasible.append(Infeasible(name, _no_day(circumstances, semen_type, n)))
            elif not affordable:
                cost = min(option.cost(circumstances.prices) for option in found)
                too_dear = sentence(TOO_DEAR, cost=cost, limit=circumstances.max_cost)
                infeasible.append(Infeasible(name, too_dear))
    infeasible.append(Infeasible("surgical insemination", sentence("infeasible.surgical")))
    return tuple(options), tuple(infeasible)


def _refusal(circumstances: Circumstances, semen_type: str, route: str, n: int) -> Sentence | None:
    """Why a method is out of the question on any day; None when it is not."""
    if circumstances.last_on < circumstances.asked_at.date():
        return sentence("infeasible.window_over", on=circumstances.last_on)
    for kind, word in (("semen", semen_type), ("route", route)):
        if word in circumstances.refused:
            return sentence("infeasible.refused", word=Word(kind, word))
    if semen_type in ("natural", "fresh") and not circumstances.is_bitch_at_kennel:
        return sentence("infeasible.apart")
    if semen_type == "chilled" and circumstances.carrier is None:
        return sentence("infeasible.no_carrier")
    if semen_type == "frozen":
        return _straw_refusal(circumstances.straws, n)
    return None


def _straw_refusal(straws: Sequence[Straws], n: int) -> Sentence | None:
    n_left = sum(lot.n_left for lot in straws)
    if n_left == 0:
        return sentence("infeasible.straws_used_up" if straws else "infeasible.no_straws")
    alive = [lot for lot in straws if lot.n_left and not lot.is_dead]
    if not alive:
        return sentence("infeasible.straws_dead")
    if _lot_for(straws, n) is None:
        wanted = n * min(lot.n_per_dose for lot in alive)
        n_left = sum(lot.n_left for lot in alive)
        return sentence("infeasible.too_few_straws", n=n_left, n_wanted=wanted)
    return None


def _lot_for(straws: Sequence[Straws], n: int) -> Straws | None:
    """Oldest lot with enough straws for n inseminations; none whose sperm were dead after thaw."""
    enough = (lot for lot in straws if lot.n_left >= n * lot.n_per_dose and not lot.is_dead)
    return next(enough, None)


def _no_day(circumstances: Circumstances, semen_type: str, n: int) -> Sentence:
    """Why no day is left for a method that nobody refuses."""
    if semen_type == "chilled":
        return sentence("infeasible.shipment_too_late")
    return sentence("infeasible.no_pair_of_days" if n > 1 else "infeasible.no_day")


def _schedules(
    circumstances: Circumstances, semen_type: str, route: str, n: int
) -> Iterator[Option]:
    """Every day on which a method can begin."""
    n_days = (circumstances.last_on - circumstances.first_on).days + 1
    for offset in range(max(0, n_days)):
        day = circumstances.first_on + timedelta(days=offset)
        option = (
            _shipped(circumstances, route, n, day)
            if semen_type == "chilled"
            else _in_one_place(circumstances, semen_type, route, n, day)
        )
        if option is not None and option.inseminated_at[0].date() == day:
            yield option


def _in_one_place(
    circumstances: Circumstances, semen_type: str, route: str, n: int, day: date
) -> Option | None:
    """A mating, fresh semen or straws: nothing is on the way."""
    by_vet = semen_type == "frozen" or route == "transcervical"
    hours = circumstances.clinic if by_vet else circumstances.kennel
    earliest = max(datetime.combine(day, hours.opens), circumstances.asked_at)
    times = _repeated(hours, earliest, semen_type, n)
    if times is None:
        return None
    costs: list[tuple[str, int]] = []
    straws, collected = None, None
    source: Source = "a mating"
    if semen_type == "fresh":
        # Fresh semen is collected anew for each insemination, and used at once.
        on_hand = circumstances.sample_on_hand_at
        limit = timedelta(hours=FRESH_WITHIN_HOURS)
        is_on_hand = n == 1 and on_hand is not None and times[0] - on_hand <= limit
        source = "sample on hand" if is_on_hand else "next collection"
        collected = on_hand if is_on_hand else times[0]
        costs.append(("collection", 0 if is_on_hand else n))
    if semen_type == "frozen":
        source, straws = "straws in stock", _lot_for(circumstances.straws, n)
        costs.append(("frozen dose", n))
    if semen_type != "natural" and by_vet:
        costs.append((f"{route} insemination", n))
    paid = _paid(*costs, ("scan", 1))
    return Option(semen_type, route, source, times, collected, straws=straws, costs=paid)


def _shipped(circumstances: Circumstances, route: str, n: int, day: date) -> Option | None:
    """Chilled semen whose first insemination, the shipment being on time, falls on a day."""
    carrier = circumstances.carrier
    if carrier is None:
        return None
    on_hand = circumstances.sample_on_hand_at
    for packed_at in _packing_times(circumstances, carrier, day):
        promised = carrier.promised_at(packed_at)
        planned = _repeated(circumstances.clinic, promised, "chilled", n)
        if planned is None or planned[0].date() != day:
            continue
        late = [
            _repeated(circumstances.clinic, brought, "chilled", n)
            for brought in carrier.brought_if_late(promised)
        ]
        if late[0] is None or late[1] is None:
            continue
        source: Source = "next collection" if on_hand is None else "sample on hand"
        return Option(
            "chilled", route, source, planned,
            packed_at if on_hand is None else on_hand, packed_at,
            late[0], late[1], n, carrier=carrier.name, extender=circumstances.extender,
            costs=_paid(
                ("collection", 1 if on_hand is None else 0), ("shipment", 1), ("extender dose", n),
                (f"{route} insemination", n), ("scan", 1),
            ),
        )  # fmt: skip
    return None


def _paid(*items: tuple[str, int]) -> tuple[tuple[str, int], ...]:
    """Items that are paid for at least once."""
    return tuple((item, n) for item, n in items if n)


def _packing_times(circumstances: Circumstances, carrier: Carrier, day: date) -> Iterator[datetime]:
    """When a shipment for an insemination on a day can be packed, the latest first."""
    if circumstances.sample_on_hand_at is not None:
        for offset in range(14):
            packed_on = circumstances.asked_at.date() + timedelta(days=offset)
            packed_at = datetime.combine(packed_on, carrier.cut_off)
            if packed_at >= circumstances.asked_at and carrier.takes(packed_at):
                yield packed_at
                return
        return
    for offset in range(1, 8):
        packed_at = datetime.combine(day - timedelta(days=offset), circumstances.collected_at)
        if packed_at >= circumstances.asked_at and carrier.takes(packed_at):
            yield packed_at


def _repeated(
    hours: OpeningHours, first: datetime, semen_type: str, n: int
) -> tuple[datetime, ...] | None:
    """Instants of n inseminations from a first one on; None when nobody is there."""
    at = hours.first_from(first)
    if at is None:
        return None
    times = [at]
    for _ in range(1, n):
        later = hours.first_from(times[-1] + timedelta(hours=HOURS_TO_SECOND[semen_type]))
        if later is None:
            return None
        times.append(later)
    return tuple(times)
