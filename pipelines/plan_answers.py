"""How the comparison of one breeding is told: cautions, answer, tables, what would change it.

Rules decide which sentence is true; every number in a sentence stands in a table or in the JSON.
Associations only: what goes with what, how surely, and what a veterinarian must decide.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from analytics.calendar import spoken_day
from analytics.cautions import Caution
from analytics.estimate import Estimate
from analytics.keeping import NOT_FERTILITY
from analytics.plan.breakeven import BreakEven
from analytics.plan.compare import BAND_CERTAINTY, Gap, OptionAnswer
from analytics.plan.measure_next import Worth
from analytics.plan.options import BY_A_VETERINARIAN, Option
from analytics.priors import PRIORS
from pipelines.plan_records import Heat
from pipelines.planning import BreedingPlan
from pipelines.terminal import Answer, TextTable, percent, spoken
from reports.words import Words

WEEKDAY = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

SMALLEST_GAIN_LITTERS = 0.002
"""A measurement that adds less than this is told as nothing: two litters in 1,000 breedings."""

MOST_LINES = 8
"""Break-even lines that are printed; the JSON holds all."""

DRIVER_WORDS: Mapping[str, str] = {
    "semen and route": "the published contrast of semen and route",
    "bias of the contrasts": "who was given which method",
    "second insemination": "the second insemination",
    "motile dose": "the motile dose",
    "hours stored": "the hours of storage",
    "day from ovulation": "the day from ovulation",
    "partners and level": "the partners",
}

READING = (
    "Litter is the mean chance and 90 % its interval over everything that is not known; pups are "
    "alive at 8 weeks, 10/50/90 % of the draws, an empty bitch counting as none.",
    "Regret is the expected loss against knowing which way is best{unit}; highest in is the share "
    "of the draws in which no other way has more.",
)
"""How the tables are read."""

LIMITS = (
    "Associations, never more: published groups differ in who was given which method, and so may "
    "these records. Each contrast of semen and route therefore carries a bias of "
    f"{PRIORS['c22'].sd:g} (sd, logit) that no record moves ({PRIORS['c22'].mark}).",
    f"{NOT_FERTILITY} No study of dogs relates hours of storage to pregnancy (prior c12, J).",
    "A veterinarian decides whether either dog is fit to be bred, reads cells and cervix for the "
    "day, and chooses the route; local law says who may inseminate and transport.",
)


def plan_answer(plan: BreedingPlan, words: Words) -> Answer:
    """The comparison in words, tables and values."""
    head = [*caution_sentences(plan.cautions, words)]
    who = f"{plan.pair.stud} and {plan.pair.bitch}"
    if plan.is_stopped:
        head.append(
            f"No number and no ranking is given for {who}: a caution above stops it until a "
            "veterinarian has decided."
        )
        return Answer(tuple(head), values={"is_stopped": True, "cautions": _rules(plan.cautions)})
    if not plan.answers:
        head.append(f"Nothing can be carried out for {who} in this heat; the reasons are below.")
        values = {"is_stopped": False, "options": [], "infeasible": _infeasible_values(plan)}
        return Answer(tuple(head), remarks=(*_reasons(plan), LIMITS[-1]), values=values)
    sentences = [
        *head,
        *_answer_sentences(plan),
        heat_sentence(who, plan.heat),
        _basis_sentence(plan),
        _bitch_sentence(plan),
    ]
    tables = [_chance_table(plan), _cost_table(plan)]
    if plan.gaps:
        tables.append(_driver_table(plan))
    if rows := list(_line_rows(plan)):
        tables.append(TextTable(("If", "then level with"), tuple(rows)))
    tables.append(_worth_table(plan))
    unit = ", in litters of 100 breedings" if plan.worth_of_litter is None else ""
    reading = [text.format(unit=unit) for text in READING]
    remarks = [*reading, *_reasons(plan), *_outside(plan), *_provisos(plan), *LIMITS]
    return Answer(tuple(sentences), tuple(tables), tuple(remarks), _values(plan))


def caution_sentences(cautions: Sequence[Caution], words: Words) -> Iterator[str]:
    """Cautions in the order of their severity, as a page heads with them."""
    order = {"stop": 0, "warn": 1, "say": 2}
    for caution in sorted(cautions, key=lambda one: order[one.severity]):
        yield f"[{caution.severity}] {words.tell(caution.sentence)}"


def heat_sentence(who: str, heat: Heat) -> str:
    """What the day of ovulation rests on."""
    low, high = heat.ovulation.interval()
    return (
        f"{who}: ovulation between {spoken_day(low.date())} and {spoken_day(high.date())} (90 %), "
        f"{heat.words}."
    )


def _answer_sentences(plan: BreedingPlan) -> Iterator[str]:
    """Which chance is highest, what cannot be told apart from it, and a best at a stated worth."""
    lead = plan.answers[plan.lead]
    n = len(plan.answers)
    name = lead.outcome.option.method
    if plan.worth_of_litter is None:
        yield (
            f"Of {n} ways that can be carried out, {name} has the highest mean chance of a litter: "
            f"{_chance(lead)}."
        )
    else:
        yield (
            f"At a worth of {_money(plan.worth_of_litter, plan)} a litter, {name} has the highest "
            f"expected value of {n} ways, {_money(lead.value, plan)}; it is the best in "
            f"{percent(lead.highest_prob)} of the draws. Its chance of a litter is "
            f"{_chance(lead)}."
        )
    for verdict, start in (
        ("no difference", "No difference these records and the literature can show from"),
        ("not told apart", "Not told apart from it, the draws disagree about the order:"),
        ("higher", "Lower, with a probability of 80 % or more:"),
    ):
        names = [
            plan.answers[_other(gap, plan.lead)].outcome.option.method
            for gap in plan.gaps
            if _verdict(gap, plan.lead) == verdict
        ]
        if names:
            yield f"{start} {', '.join(names)}."
    if plan.worth_of_litter is None:
        yield "None is called the best without a stated worth of a litter (--worth)."


def _other(gap: Gap, lead: int) -> int:
    return gap.second if gap.first == lead else gap.first


def _verdict(gap: Gap, lead: int) -> str:
    """The verdict as seen from the lead; one that leads by money may be lower in chance."""
    if gap.verdict == "higher" and gap.first != lead:
        return "not told apart"
    return gap.verdict


def _basis_sentence(plan: BreedingPlan) -> str:
    """Where the numbers come from, and how much the records say."""
    share = plan.answers[plan.lead].share_from_records
    sample = f"The sample is drawn from {plan.sample_source}." if plan.sample_source else ""
    if plan.caveat:
        return f"{plan.caveat} {sample}".strip()
    if share < 0.10:
        said = "the records cannot speak yet (under 10 % of the certainty is theirs)"
    else:
        said = f"{percent(share)} of its certainty comes from these records"
    return f"Chances start from published work and move with the kennel's fit: {said}. {sample}"


def _bitch_sentence(plan: BreedingPlan) -> str:
    """What stands beside the cost: her age, her litters, months since the last."""
    age = plan.pair.bitch_age_years
    years = "age not recorded" if np.isnan(age) else f"{age:.1f} years"
    since = "" if plan.months_since is None else f", {plan.months_since:.0f} months since the last"
    litters = "1 litter" if plan.n_litters == 1 else f"{plan.n_litters} litters"
    return f"{plan.pair.bitch}: {years}, {litters} before{since}."


def _chance_table(plan: BreedingPlan) -> TextTable:
    rows = tuple(
        (
            answer.outcome.option.method,
            when(answer.outcome.option),
            percent(answer.expected_litters) if answer.has_centre else "no data like this",
            f"{100 * answer.chance.lower:.0f} to {100 * answer.chance.upper:.0f}",
            "/".join(f"{pups:.0f}" for pups in answer.pups_range),
        )
        for answer in plan.answers
    )
    return TextTable(("Way", "First day", "Litter", "90 %", "Pups"), rows)


def _cost_table(plan: BreedingPlan) -> TextTable:
    money = plan.worth_of_litter is not None
    regret = "regret" if money else "regret/100"
    rows = tuple(
        (
            answer.outcome.option.method,
            spoken(answer.cost),
            _if_centred(answer, answer.cost_per_litter),
            _if_centred(answer, answer.cost_per_pup),
            _if_centred(answer, answer.regret if money else 100.0 * answer.regret),
            percent(answer.highest_prob) if answer.has_centre else "–",
        )
        for answer in plan.answers
    )
    return TextTable(
        (f"Cost {plan.currency}", "if empty", "a litter", "a pup", regret, "highest in"), rows
    )


def _if_centred(answer: OptionAnswer, value: float) -> str:
    return spoken(value) if answer.has_centre else "–"


def _driver_table(plan: BreedingPlan) -> TextTable:
    """What the gap to the next semen type or route is made of."""
    gap = _told_gap(plan)
    a, b = (plan.answers[k].outcome.option.method for k in (gap.first, gap.second))
    rows = tuple(
        (
            DRIVER_WORDS[driver.name],
            f"{100 * driver.gap:+.1f}",
            percent(driver.share_of_doubt),
        )
        for driver in gap.drivers
    )
    total = sum(driver.gap for driver in gap.drivers)
    all_of_it = ("all together", f"{100 * total:+.1f}", "")
    return TextTable((f"{a} less {b}", "points", "doubt it holds"), (*rows, all_of_it))


def _told_gap(plan: BreedingPlan) -> Gap:
    """The lead against the best of another semen type, else against the nearest."""
    lead = plan.answers[plan.lead].outcome.option
    others = [
        gap
        for gap in plan.gaps
        if plan.answers[_other(gap, plan.lead)].outcome.option.semen_type != lead.semen_type
    ]
    return max(
        others or list(plan.gaps),
        key=lambda gap: plan.answers[_other(gap, plan.lead)].expected_litters,
    )


def _line_rows(plan: BreedingPlan) -> Iterator[tuple[str, str]]:
    found = [line for line in plan.lines if line.at is not None]
    for line in found[:MOST_LINES]:
        option = plan.answers[line.moved].outcome.option
        yield (
            f"{option.method} {_moved(line)}",
            plan.answers[line.other].outcome.option.method,
        )


def _moved(line: BreakEven) -> str:
    at = line.at or 0.0
    if line.axis == "delay_h":
        return f"{at:.0f} h later"
    if line.axis == "days":
        return f"{abs(at):.1f} d {'later' if at > 0 else 'earlier'}"
    return f"at {spoken(line.dose_m or float('nan'), digits=2)} M a dose"


def _worth_table(plan: BreedingPlan) -> TextTable:
    money = plan.worth_of_litter is not None
    rows = []
    for worth in plan.worths:
        small = worth.gain["litters"] < SMALLEST_GAIN_LITTERS
        day = "" if worth.at is None else f" on {spoken_day(worth.at.date())}"
        cells = [
            f"{worth.what}{day}",
            "< 0.2" if small else f"{100 * worth.gain['litters']:.1f}",
            "< 0.02" if worth.gain["pups"] < 0.02 else f"{worth.gain['pups']:.2f}",
        ]
        if money:
            cells.append(spoken(worth.gain.get("money", float("nan")), digits=2))
        rows.append((*cells, _price_of(worth, plan)))
    headings = ["Before deciding, know", "litters/100", "pups"]
    if money:
        headings.append(plan.currency or "money")
    return TextTable((*headings, "price"), tuple(rows))


def _price_of(worth: Worth, plan: BreedingPlan) -> str:
    if "progesterone" not in worth.what:
        return "–"
    return spoken(plan.prices.get("progesterone test", float("nan")))


def _reasons(plan: BreedingPlan) -> Iterator[str]:
    """What cannot be carried out, those with one reason together."""
    by_reason: dict[str, list[str]] = {}
    for way in plan.infeasible:
        by_reason.setdefault(way.reason, []).append(way.method)
    for reason, methods in by_reason.items():
        yield f"Not among them, {reason}: {', '.join(methods)}."


def _outside(plan: BreedingPlan) -> Iterator[str]:
    by_note: dict[tuple[str, ...], list[str]] = {}
    for answer in plan.answers:
        if answer.outside:
            by_note.setdefault(answer.outside, []).append(answer.outcome.option.method)
    for note, methods in by_note.items():
        named = "all of them" if len(methods) == len(plan.answers) else ", ".join(methods)
        yield f"Outside what was studied ({'; '.join(note)}): {named}."


def _provisos(plan: BreedingPlan) -> Iterator[str]:
    if any(answer.outcome.option.proviso for answer in plan.answers):
        yield f"Frozen semen and the transcervical route: {BY_A_VETERINARIAN}."


def when(option: Option) -> str:
    """When the first insemination is planned: Thu 26 Nov 09:00."""
    at = option.inseminated_at[0]
    return f"{WEEKDAY[at.weekday()]} {at.day} {at:%b %H:%M}"


def _chance(answer: OptionAnswer) -> str:
    interval = f"90 % interval {100 * answer.chance.lower:.0f} to {100 * answer.chance.upper:.0f}"
    if not answer.has_centre:
        return f"no data like this, {interval}"
    return f"{percent(answer.expected_litters)}, {interval}"


def _money(value: float, plan: BreedingPlan) -> str:
    return f"{spoken(value)} {plan.currency}".strip()


def _values(plan: BreedingPlan) -> dict[str, object]:
    """Everything for machines; a number that has no centre is left out there too."""
    return {
        "is_stopped": False,
        "cautions": _rules(plan.cautions),
        "stud": plan.pair.stud,
        "bitch": plan.pair.bitch,
        "bitch_age_years": plan.pair.bitch_age_years,
        "n_litters_before": plan.n_litters,
        "months_since_last_litter": plan.months_since,
        "ovulation_on": plan.heat.ovulation.mean_at.date(),
        "ovulation_sd_days": plan.heat.ovulation.sd_days,
        "n_draws": plan.n_draws,
        "currency": plan.currency,
        "worth_of_litter": plan.worth_of_litter,
        "highest": plan.answers[plan.lead].outcome.option.method,
        "options": [_option_values(answer) for answer in plan.answers],
        "gaps": [_gap_values(gap, plan) for gap in plan.gaps],
        "break_even_lines": [
            {
                "moved": plan.answers[line.moved].outcome.option.method,
                "other": plan.answers[line.other].outcome.option.method,
                "axis": line.axis,
                "at": line.at,
                "motile_dose_m": line.dose_m,
            }
            for line in plan.lines
        ],
        "measure_next": [
            {"what": worth.what, "at": worth.at, **{f"gain_{k}": v for k, v in worth.gain.items()}}
            for worth in plan.worths
        ],
        "infeasible": _infeasible_values(plan),
    }


def _option_values(answer: OptionAnswer) -> dict[str, object]:
    option = answer.outcome.option
    values: dict[str, object] = {
        "method": option.method,
        "semen_type": option.semen_type,
        "route": option.route,
        "source": option.source,
        "inseminated_at": list(option.inseminated_at),
        "collected_at": option.collected_at,
        "carrier": option.carrier,
        "litter_prob_lower": answer.chance.lower,
        "litter_prob_upper": answer.chance.upper,
        "pups_10_50_90": list(answer.pups_range),
        "cost_if_it_fails": answer.cost,
        "share_from_records": answer.share_from_records,
        "outside_studied": list(answer.outside),
        "proviso": option.proviso,
    }
    if answer.has_centre:
        values |= {
            "litter_prob": answer.expected_litters,
            "litter_prob_median": answer.chance.median,
            "expected_pups": answer.expected_pups,
            "cost_per_litter": answer.cost_per_litter,
            "cost_per_pup": answer.cost_per_pup,
            "regret": answer.regret,
            "value": answer.value,
            "highest_prob": answer.highest_prob,
        }
    return values


def _gap_values(gap: Gap, plan: BreedingPlan) -> dict[str, object]:
    return {
        "first": plan.answers[gap.first].outcome.option.method,
        "second": plan.answers[gap.second].outcome.option.method,
        "litters": _estimate(gap.litters),
        "pups": _estimate(gap.pups),
        "higher_prob": gap.higher_prob,
        "within_band_prob": gap.within_band_prob,
        "verdict": gap.verdict,
        "certainty_asked": BAND_CERTAINTY,
        "drivers": [
            {"name": d.name, "litters": d.gap, "share_of_doubt": d.share_of_doubt}
            for d in gap.drivers
        ],
    }


def _estimate(estimate: Estimate) -> dict[str, float]:
    return {"median": estimate.median, "lower": estimate.lower, "upper": estimate.upper}


def _infeasible_values(plan: BreedingPlan) -> list[dict[str, str]]:
    return [{"method": way.method, "reason": way.reason} for way in plan.infeasible]


def _rules(cautions: Sequence[Caution]) -> list[str]:
    return [caution.rule for caution in cautions]
