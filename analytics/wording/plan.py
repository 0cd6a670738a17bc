"""Which sentences tell a plan: of one breeding, and of a stud's schedule.

Each sentence is chosen by a stated rule from the numbers of the plan; its words stand in the
catalog. Associations only: what goes with what, how surely, and what a veterinarian must decide.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

import numpy as np

from studcurve.analytics.estimate import SMALLEST_SHARE, Estimate, RecordsWeight
from studcurve.analytics.models.storage.inputs import product_name
from studcurve.analytics.plan.breakeven import BreakEven
from studcurve.analytics.plan.breeding_plan import BreedingPlan, HeatSummary
from studcurve.analytics.plan.compare import BAND_CERTAINTY, Gap, OptionAnswer
from studcurve.analytics.plan.feasible import TOO_DEAR
from studcurve.analytics.plan.measure_next import Worth
from studcurve.analytics.plan.options import Option
from studcurve.analytics.plan.schedule.conflicts import Schedule
from studcurve.analytics.plan.schedule.program import FEWEST_REST_DAYS
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.sentences import Sentence, Value, Word, sentence

NO_PRICE_LITTERS = 0.005
"""A conflict that costs less than this has no price: one litter in two hundred schedules."""

UNPROVEN_SHARE = 0.01
"""A search that may have missed more than this share of the plan's value says so."""

_SCHEDULE_KEYS = {
    "a mating": "plan.schedule_mating",
    "next collection": "plan.schedule_fresh",
    "sample on hand": "plan.schedule_on_hand",
    "straws in stock": "plan.schedule_straws",
}

_SAID_OF_OTHERS = {
    "no difference": "plan.no_difference", "not told apart": "plan.not_told_apart",
    "lower": "plan.higher", "higher": "plan.lower",
}  # fmt: skip
"""What is said of the others by the verdict on the lead: where it is higher, they are lower."""
"""In which order the other ways are listed."""


def way(option: Option) -> Word:
    """Semen, route and number of inseminations of an option."""
    return Word("way", option.method)


def opening_sentences(plan: BreedingPlan) -> tuple[Sentence, ...]:
    """What stands after the cautions: stopped, nothing possible, or the answer.

    Rules: the lead with its chance, called the best only at a stated worth; then the other ways by
    what may be said of their gap; and, without a worth, that none is called the best.
    """
    pair = {"stud": plan.pair.stud, "bitch": plan.pair.bitch}
    if plan.is_stopped:
        return (sentence("plan.stopped", **pair),)
    if not plan.answers:
        return (sentence("plan.nothing_possible", **pair),)
    return (_lead_sentence(plan), *_verdict_sentences(plan), *_best_sentences(plan))


def standing_sentences(plan: BreedingPlan) -> tuple[Sentence, ...]:
    """When the lead would be carried out, what the answer rests on, and the bitch."""
    return (
        lead_schedule_sentence(plan),
        heat_sentence(plan.pair.bitch, plan.heat),
        *plan.sources,
        bitch_sentence(plan),
    )


def lead_schedule_sentence(plan: BreedingPlan) -> Sentence:
    """When the lead would be carried out; that no day is named where her heat has none."""
    option = plan.answers[plan.lead].outcome.option
    if not plan.heat.has_days:
        return sentence("plan.no_days", way=way(option))
    return schedule_sentence(option)


def schedule_sentence(option: Option) -> Sentence:
    """When an option is carried out: collected, packed, inseminated; if the shipment comes in
    time.
    """
    values: dict[str, Value] = {
        "way": way(option),
        "times": tuple(sentence("plan.moment", at=at) for at in option.inseminated_at),
    }
    if option.packed_at is not None and option.collected_at is not None:
        return sentence(
            "plan.schedule_shipment", collected=option.collected_at, packed=option.packed_at,
            carrier=option.carrier or "", **values,
        )  # fmt: skip
    return sentence(_SCHEDULE_KEYS[option.source], **values)


def heat_sentence(bitch: str, heat: HeatSummary) -> Sentence:
    """When she ovulates, and what that rests on.

    Without any reading that is a guess, and before a reading shows the rise no day is named.
    """
    if heat.is_read and not heat.has_days:
        return sentence("plan.heat_no_rise", bitch=bitch, rests_on=heat.words)
    return sentence(
        "plan.heat" if heat.has_days else "plan.heat_guess",
        bitch=bitch, first=heat.first_on, last=heat.last_on, rests_on=heat.words,
    )  # fmt: skip


def bitch_sentence(plan: BreedingPlan) -> Sentence:
    """What stands beside the cost: her age, her litters, months since the last."""
    age = plan.pair.bitch_age_years
    years = sentence("plan.age_not_recorded") if np.isnan(age) else sentence("plan.age", years=age)
    since = (
        sentence("plan.no_last_litter")
        if plan.months_since is None
        else sentence("plan.since_last", months=plan.months_since)
    )
    litters = sentence("plan.litters_before", n=plan.n_litters)
    return sentence("plan.bitch", bitch=plan.pair.bitch, age=years, litters=litters, since=since)


def chance_source_sentence(weight: RecordsWeight | None) -> Sentence:
    """Where chances come from that a fit of the kennel's breedings is behind.

    Parameters
    ----------
    weight
        What the records supply of the lead's chance; None where no single chance is spoken of.
    """
    if weight is None:
        return sentence("source.chance_moved")
    if weight.is_nothing:
        return sentence("source.chance_barely", share=SMALLEST_SHARE)
    return sentence("source.chance_fitted", share=weight.share, shift=weight.shift_sds)


def pups_source_sentence(n_litters: int) -> Sentence:
    """Where litter sizes come from: the litters of a fit, or none."""
    if not n_litters:
        return sentence("source.pups_published")
    return sentence("source.pups_fitted", n=n_litters)


def litter_inbreeding_sentences(
    percent: float | None, *, may_be_fraction: bool
) -> tuple[Sentence, ...]:
    """Which inbreeding the pups are counted with, and where its term comes from.

    Parameters
    ----------
    percent
        As it was asked with; None when not known. [%]
    may_be_fraction
        Whether it is so small that a fraction may have been meant.
    """
    if percent is None:
        return (sentence("source.inbreeding_not_given"),)
    row = PRIORS["l11_litter"]
    given = sentence(
        "source.inbreeding_given", percent=percent, fewer=100.0 * -np.expm1(row.centre),
        sd=100.0 * row.sd, mark=row.mark,
    )  # fmt: skip
    return (given, sentence("source.inbreeding_small")) if may_be_fraction else (given,)


def storage_source_sentence(
    stud: str,
    extender: str | None,
    *,
    read_studs: Sequence[str] | None,
    read_products: Sequence[str],
    is_stale: bool,
) -> Sentence:
    """Where the storage curve of a shipment comes from.

    Parameters
    ----------
    stud, extender
        Whose sample, in what.
    read_studs, read_products
        Studs and products whose stored samples the kennel's fit has read; None for studs without a
        fit.
    is_stale
        Whether there is a fit of another version, which is not read.
    """
    if read_studs is None:
        return sentence("source.storage_stale" if is_stale else "source.storage_published")
    of_stud = "source.of_stud" if stud in read_studs else "source.not_of_stud"
    named = (extender or "").strip()
    product = Word("extender", named) if named else sentence("source.unnamed_product")
    is_read = product_name(extender) in read_products
    key = "source.in_product" if is_read else "source.not_in_product"
    return sentence(
        "source.storage_own",
        whose=sentence(of_stud, stud=stud),
        product=sentence(key, product=product),
    )


def shipments_source_sentence(carrier: str, n_shipments: int) -> Sentence:
    """Where the chance of a late shipment comes from."""
    if not n_shipments:
        return sentence("source.shipments_published")
    return sentence("source.shipments_own", n=n_shipments, carrier=carrier)


def beyond_own_sentences(plan: BreedingPlan) -> tuple[Sentence, ...]:
    """Which ways store longer than the kennel itself has read; none on the published curve."""
    read_h = plan.stored_until_h
    if read_h is None:
        return ()
    beyond = tuple(
        way(answer.outcome.option)
        for answer in plan.answers
        if answer.outcome.option.packed_at is not None
        and float(np.median(answer.outcome.hours_stored)) > read_h
    )
    return (sentence("plan.beyond_own", ways=beyond, hours=read_h),) if beyond else ()


def chance_sentence(answer: OptionAnswer) -> Sentence:
    """The chance of a litter of one way; an interval alone where there are no data like this."""
    return _mean_and_ends(answer.expected_litters if answer.has_centre else None, answer.chance)


def _mean_and_ends(mean: float | None, ends: Estimate) -> Sentence:
    if mean is None:
        return sentence("plan.chance_without_centre", ends=ends)
    return sentence("plan.chance", mean=mean, ends=ends)


def shipment_chance_sentence(mean: float | None, ends: Estimate, weight: RecordsWeight) -> Sentence:
    """The chance of a litter of a shipment, and what the kennel's records carry of it.

    Parameters
    ----------
    mean, ends
        The number to print and its 90 % range; no mean where there are no data like this.
    weight
        What the records supply of it.
    """
    chance = _mean_and_ends(mean, ends)
    if weight.is_nothing:
        return sentence("plan.shipment_barely", chance=chance, share=SMALLEST_SHARE)
    return sentence(
        "plan.shipment_chance", chance=chance, share=weight.share, shift=weight.shift_sds
    )


def _lead_sentence(plan: BreedingPlan) -> Sentence:
    lead = plan.answers[plan.lead]
    values: dict[str, Value] = {
        "n": len(plan.answers),
        "way": way(lead.outcome.option),
        "chance": chance_sentence(lead),
    }
    if not lead.has_centre:
        return sentence("plan.no_data_like_this", **values)
    if plan.is_valued and plan.worth_of_litter is not None:
        return sentence(
            "plan.lead_value", worth=plan.worth_of_litter, value=lead.value,
            highest=lead.highest_prob, currency=plan.currency, **values,
        )  # fmt: skip
    return sentence("plan.lead_chance", **values)


def _verdict_sentences(plan: BreedingPlan) -> Iterable[Sentence]:
    """The other ways by what may be said of their gap to the lead."""
    if not plan.answers[plan.lead].has_centre:
        return
    for verdict, key in _SAID_OF_OTHERS.items():
        found = tuple(
            way(plan.answers[plan.other(gap)].outcome.option)
            for gap in plan.gaps
            if verdict_from_lead(plan, gap) == verdict
        )
        if found:
            yield sentence(key, ways=found, certainty=BAND_CERTAINTY)
    unlike = tuple(way(answer.outcome.option) for answer in plan.answers if not answer.has_centre)
    if unlike:
        yield sentence("plan.without_centre", ways=unlike)


def verdict_from_lead(plan: BreedingPlan, gap: Gap) -> str:
    """The verdict as seen from the lead; ``lower`` where it leads by money with less chance."""
    if gap.verdict == "higher" and gap.first != plan.lead:
        return "lower"
    return gap.verdict


def _best_sentences(plan: BreedingPlan) -> Iterable[Sentence]:
    if plan.worth_of_litter is None:
        yield sentence("plan.no_best")
    elif not plan.is_valued:
        yield sentence("plan.worth_without_prices")
    elif plan.answers[plan.lead].value < 0.0:
        yield sentence("plan.none_pays")
    if plan.missing_prices:
        items = tuple(Word("price", item) for item in plan.missing_prices)
        yield sentence("plan.missing_prices", items=items)


def line_sentence(plan: BreedingPlan, line: BreakEven) -> Sentence:
    """Where one way is level with another; the line must lie within the grid."""
    if line.at is None:
        raise ValueError("a line that lies nowhere on the grid has no sentence")
    moved = way(plan.answers[line.moved].outcome.option)
    if line.axis == "delay_h":
        return sentence("moved.later_h", way=moved, hours=line.at)
    if line.axis == "days":
        key = "moved.days_later" if line.at > 0.0 else "moved.days_earlier"
        return sentence(key, way=moved, days=abs(line.at))
    return sentence("moved.dose", way=moved, dose=line.dose_m or float("nan"))


def measurement_sentence(worth: Worth) -> Sentence:
    """What would be measured, and when."""
    if worth.at is not None:
        return sentence("worth.progesterone", on=worth.at.date())
    if worth.hours is not None:
        return sentence("worth.test_cool", hours=worth.hours)
    return sentence("worth.count")


def infeasible_sentences(plan: BreedingPlan) -> tuple[Sentence, ...]:
    """What cannot be carried out, those with one reason together."""
    by_reason: list[tuple[Sentence, list[Word]]] = []
    too_dear: list[Sentence] = []
    for left_out in plan.infeasible:
        named = Word("way", left_out.method)
        if left_out.reason.key == TOO_DEAR:
            limit, cost = left_out.reason.values["limit"], left_out.reason.values["cost"]
            too_dear.append(sentence("plan.way_costs", way=named, cost=cost))
            continue
        same = next((ways for reason, ways in by_reason if reason == left_out.reason), None)
        if same is None:
            by_reason.append((left_out.reason, [named]))
        else:
            same.append(named)
    return (
        *((sentence("plan.too_dear", ways=tuple(too_dear), limit=limit),) if too_dear else ()),
        *(sentence("plan.not_among", ways=tuple(ways), reason=why) for why, ways in by_reason),
    )


def outside_sentences(plan: BreedingPlan) -> tuple[Sentence, ...]:
    """Which input of which way lies outside what was studied."""
    by_note: list[tuple[Sentence, list[Word]]] = []
    for answer in plan.answers:
        for note in answer.outside:
            named = way(answer.outcome.option)
            same = next((ways for known, ways in by_note if _alike(known, note)), None)
            if same is None:
                by_note.append((note, [named]))
            else:
                same.append(named)
    sentences: list[Sentence] = []
    for note, ways in by_note:
        whose = (
            sentence("plan.all_ways")
            if len(ways) == len(plan.answers)
            else sentence("plan.these_ways", ways=tuple(ways))
        )
        sentences.append(sentence("plan.outside_studied", ways=whose, note=note))
    return tuple(sentences)


def _alike(one: Sentence, other: Sentence) -> bool:
    """Whether two notes print the same: values are printed as whole numbers."""
    return one.key == other.key and all(
        round(a) == round(b) if isinstance(a, float) and isinstance(b, float) else a == b
        for a, b in zip(one.values.values(), other.values.values(), strict=True)
    )


def limit_sentences(*, is_guarded: bool) -> tuple[Sentence, ...]:
    """What stands below every plan: who may inseminate, what the numbers are not.

    Parameters
    ----------
    is_guarded
        Whether a way is listed that is for a veterinarian or as local law allows.
    """
    bias = PRIORS["c22"]
    return (
        *((sentence("plan.guarded"),) if is_guarded else ()),
        sentence("plan.associations", sd=bias.sd, mark=bias.mark),
        sentence("plan.not_fertility", mark=PRIORS["c12"].mark),
        sentence("plan.veterinarian"),
    )


def plan_remarks(plan: BreedingPlan) -> tuple[Sentence, ...]:
    """What stands below the tables: not possible, outside of what was studied, limits."""
    is_guarded = any(answer.outcome.option.is_guarded for answer in plan.answers)
    return (
        *infeasible_sentences(plan),
        *outside_sentences(plan),
        *beyond_own_sentences(plan),
        *limit_sentences(is_guarded=is_guarded),
    )


def schedule_sentences(
    stud: str,
    plan: Schedule,
    litters: Estimate,
    *,
    worth_of_litter: float | None,
    currency: str,
) -> tuple[Sentence, ...]:
    """How many litters are expected, what sharing the stud costs, and how sure the search is.

    Parameters
    ----------
    stud
        Call name.
    plan
        The schedule.
    litters
        Litters of the schedule with their interval.
    worth_of_litter, currency
        Unit of the value; litters without a worth.
    """
    lost = sum(assignment.price for assignment in plan.assignments)
    sentences = [
        sentence(
            "schedule.litters", stud=stud, n=len(plan.assignments), mean=plan.expected_litters,
            ends=litters,
        )
    ]  # fmt: skip
    if worth_of_litter is None and lost < NO_PRICE_LITTERS:
        sentences.append(sentence("schedule.no_price"))
    else:
        sentences.append(sentence("schedule.price", price=price(lost, worth_of_litter, currency)))
    gap = plan.bound - plan.value
    if gap > UNPROVEN_SHARE * max(plan.value, 1e-9):
        sentences.append(
            sentence("schedule.not_proven", more=price(gap, worth_of_litter, currency))
        )
    return tuple(sentences)


def price(value: float, worth_of_litter: float | None, currency: str) -> Sentence:
    """What something costs: in litters, or in money at a stated worth."""
    if worth_of_litter is None:
        return sentence("schedule.in_litters", litters=max(value, 0.0))
    return sentence("schedule.in_money", money=max(value, 0.0), currency=currency)


def schedule_remarks(
    plan: Schedule,
    heats: Mapping[str, HeatSummary],
    *,
    next_day_deficit: float,
    is_own_rest: bool,
) -> tuple[Sentence, ...]:
    """What stands below the schedule: who is left out, each heat, limits.

    Parameters
    ----------
    plan, heats
        The schedule, and the heat of each bitch.
    next_day_deficit
        Share of a rested collection that is missing on the next day, 0 to 1.
    is_own_rest
        Whether the kennel's own collections are behind it.
    """
    left_out = tuple(assignment.bitch for assignment in plan.assignments if assignment.way is None)
    mark = PRIORS["q03_deficit"].mark
    basis = "schedule.rest_own" if is_own_rest else "schedule.rest_published"
    is_guarded = any(
        assignment.way and assignment.way.option.is_guarded for assignment in plan.assignments
    )
    return (
        *((sentence("schedule.left_out", bitches=left_out, days=FEWEST_REST_DAYS),)
          if left_out else ()),
        *(heat_sentence(name, heat) for name, heat in heats.items()),
        sentence(
            "schedule.weaker_second", deficit=next_day_deficit, basis=sentence(basis, mark=mark)
        ),
        *limit_sentences(is_guarded=is_guarded),
    )  # fmt: skip


def served_on(plan: Schedule, on: date) -> tuple[str, ...]:
    """Bitches that a day's collection serves."""
    return tuple(
        assignment.bitch
        for assignment in plan.assignments
        if assignment.way and any(day == on for day, _ in assignment.way.doses_on)
    )
