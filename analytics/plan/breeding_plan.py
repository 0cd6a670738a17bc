"""One breeding compared, as one value: what the terminal and the page tell.

Nothing is calculated here beyond read-outs of the draws; the words follow from
:mod:`studcurve.analytics.wording.plan`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from studcurve.analytics.cautions import Caution
from studcurve.analytics.plan.breakeven import BreakEven
from studcurve.analytics.plan.compare import Gap, OptionAnswer
from studcurve.analytics.plan.feasible import Infeasible
from studcurve.analytics.plan.measure_next import Worth
from studcurve.analytics.plan.options import PRICE_ITEMS
from studcurve.analytics.plan.simulation.chain import Pair
from studcurve.analytics.plan.what_if import OptionGrid
from studcurve.analytics.sentences import Sentence


@dataclass(frozen=True, slots=True)
class HeatSummary:
    """Her heat as the answer tells it.

    Attributes
    ----------
    first_on, last_on
        Ends of the 90 % interval of her ovulation.
    mean_on, sd_days
        Its mean and standard deviation. [d]
    words
        What it rests on.
    has_days
        Whether days may be named: a reading showed the rise, or a person named the day.
    is_read
        Whether there is any progesterone reading of it.
    """

    first_on: date
    last_on: date
    mean_on: date
    sd_days: float
    words: Sentence
    has_days: bool
    is_read: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BreedingPlan:
    """One breeding compared; everything that a terminal or a page tells of it.

    Three states, to be asked in this order:

    1. ``is_stopped``: a caution takes every number and any order away; ``answers``, ``gaps``,
       ``lines``, ``worths`` and ``infeasible`` are empty. Tell the cautions and
       :func:`~analytics.wording.plan.opening_sentences`, nothing else.
    2. no ``answers``: nothing can be carried out; ``infeasible`` says why.
    3. otherwise ``answers[k]`` is one way to breed (semen, route, number of inseminations) on its
       best day. Per way:

       - ``answer.chance``: chance of a litter, median and 90 % interval; ``expected_litters`` is
         its mean and the number to print; the draws are ``answer.outcome.litter_prob``;
       - ``answer.pups_shown``: pups alive at 8 weeks, 10/50/90 %, empty bitches included; the
         draws are ``answer.pups.alive`` (whole numbers, 0 for an empty bitch), as shares of each
         number ``answer.pups.shares``; ``answer.expected_pups`` is their mean;
       - ``answer.cost`` (paid in any case: what is lost if it fails), ``cost_per_litter``,
         ``cost_per_pup``; NaN where a price is missing, see ``missing_prices``;
       - ``answer.expected_loss`` in litters, or in ``currency`` where ``worth_of_litter`` is
         stated;
         ``answer.value`` likewise, NaN without a worth; ``answer.highest_prob``;
       - ``answer.records_weight``: share of the precision, 0 to 1, and shift of the middle;
       - ``answer.has_centre``: where it is false there are no data like this, and only the ends of
         ``chance`` and of ``pups_shown`` may be shown, no mean, median, cost per litter, expected
         loss or order; ``answer.outside`` says why;
       - ``answer.outcome.option``: days, source, shipment, ``method`` (told as
         ``Word("way", method)``) and ``is_guarded`` (by a veterinarian or as local law allows).

    ``lead`` is the position with the highest mean chance, or the highest value at a stated worth,
    among the ways with data like them. It may be called the best only where
    :attr:`may_name_a_best` holds. ``gaps`` sets it against each other such way: ``verdict`` is "no
    difference" inside the band (5 points or half a pup with a probability of 0.8), "higher", or
    "not told apart"; ``drivers`` say what the gap is made of.
    ``lines`` are the break-even lines, ``at`` None where the order flips nowhere on the grid.
    ``worths`` say what a measurement would add: ``gain`` by ``litters``, ``pups`` and, at a stated
    worth, ``money``.

    Attributes
    ----------
    pair
        The two dogs; her age is ``pair.bitch_age_years``.
    heat
        Her ovulation, and what it rests on; where it has no days, no day of any way is named.
    cautions
        What heads the answer, of both dogs.
    is_stopped
        Whether a caution takes every number away.
    n_litters, months_since
        Her litters, and months since the last; None where none is recorded.
    litter_inbreeding_pct
        Inbreeding of the planned litter as it was asked with; None when not known. [%]
    sources
        Where the numbers come from, a sentence each: chance, pups, sample, storage, shipments; own
        records are distinguished from published work. Empty without answers.
    stored_until_h
        Longest storage that the kennel itself has read in this extender; None where the storage
        curve is the published one. [h]
    prices, currency, worth_of_litter
        Of the costs; the worth is before the stud fee, None when not stated.
    answers
        One a method, each on its best day, in the order of the semen types.
    lead
        Position in ``answers``; −1 without answers.
    gaps
        The lead against every other answer that has a centre.
    lines
        Break-even lines of the best option of each semen type.
    worths
        What a measurement would add, the greatest first.
    infeasible
        What cannot be carried out, and why; surgical insemination is always among them.
    n_draws
        Joint draws.
    grids
        The best way of each semen type, where there are data like it, over a later shipment,
        another dose and another day; empty unless they were asked for.
    """

    pair: Pair
    heat: HeatSummary
    cautions: tuple[Caution, ...]
    is_stopped: bool
    n_litters: int
    months_since: float | None
    litter_inbreeding_pct: float | None
    prices: Mapping[str, float]
    currency: str
    worth_of_litter: float | None
    n_draws: int
    sources: tuple[Sentence, ...] = ()
    stored_until_h: float | None = None
    answers: tuple[OptionAnswer, ...] = ()
    lead: int = -1
    gaps: tuple[Gap, ...] = ()
    lines: tuple[BreakEven, ...] = ()
    worths: tuple[Worth, ...] = ()
    infeasible: tuple[Infeasible, ...] = ()
    grids: tuple[OptionGrid, ...] = ()

    @property
    def is_valued(self) -> bool:
        """Whether a worth is stated and at least one cost is known: values are in money then."""
        return self.worth_of_litter is not None and any(
            answer.value == answer.value for answer in self.answers
        )

    @property
    def may_name_a_best(self) -> bool:
        """Whether the lead may be called the best: at a stated worth, and with data like it."""
        return self.is_valued and self.answers[self.lead].has_centre

    @property
    def missing_prices(self) -> tuple[str, ...]:
        """Items without a price that a way is paid for with, in the order of the list."""
        paid = {item for answer in self.answers for item, _ in answer.outcome.option.costs}
        wanted = paid | {"stud fee"} if self.answers else paid
        return tuple(item for item in PRICE_ITEMS if item in wanted and item not in self.prices)

    def other(self, gap: Gap) -> int:
        """Position of the way that a gap sets against the lead."""
        return gap.second if gap.first == self.lead else gap.first

    @property
    def gap_shown(self) -> Gap | None:
        """The lead against the best of another semen type, else against the nearest way."""
        semen = self.answers[self.lead].outcome.option.semen_type if self.answers else ""
        others = [
            gap
            for gap in self.gaps
            if self.answers[self.other(gap)].outcome.option.semen_type != semen
        ]
        return max(
            others or self.gaps,
            key=lambda gap: self.answers[self.other(gap)].expected_litters,
            default=None,
        )
