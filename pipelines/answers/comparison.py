"""How the comparison of one breeding is shown: cautions, answer, tables, what would change it.

Which sentence is true is a rule of `studcurve.analytics.wording.plan`; its words stand in the
catalog. Every number in a sentence stands in a table or in the JSON.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from studcurve.analytics.cautions import Caution, in_order
from studcurve.analytics.estimate import Estimate
from studcurve.analytics.plan.breeding_plan import BreedingPlan, HeatSummary
from studcurve.analytics.plan.compare import BAND_CERTAINTY, Gap, OptionAnswer
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.wording import plan as wording
from studcurve.pipelines.answers.answer import Answer, TextTable
from studcurve.reports.sections.plan_rows import measure_rows
from studcurve.reports.words import Words

MOST_LINES = 8
"""Break-even lines that are printed; the JSON holds all."""


def plan_answer(plan: BreedingPlan, words: Words) -> Answer:
    """The comparison in words, tables and values."""
    head = (*caution_lines(plan.cautions, words), *tell(wording.opening_sentences(plan), words))
    if plan.is_stopped:
        return Answer(head, values={"is_stopped": True, "warnings": _rules(plan.cautions)})
    remarks = tell(wording.plan_remarks(plan), words)
    if not plan.answers:
        values = {"is_stopped": False, "warnings": _rules(plan.cautions), "options": [],
                  "infeasible": _infeasible_values(plan, words)}  # fmt: skip
        return Answer(
            (*head, *tell([wording.heat_sentence(plan.pair.bitch, plan.heat)], words)),
            remarks=remarks, values=values,
        )  # fmt: skip
    tables = [_chance_table(plan, words), _cost_table(plan, words)]
    if plan.gap_shown is not None:
        tables.append(_driver_table(plan.gap_shown, words))
    if lines := _line_rows(plan, words):
        headings = (words["compare.if"], words["compare.level_with"])
        tables.append(TextTable(headings, lines))
    if plan.worths:
        tables.append(_worth_table(plan, words))
    return Answer(
        (*head, *tell(wording.standing_sentences(plan), words)),
        tuple(tables),
        (*_reading(plan, words), *remarks),
        _values(plan, words),
    )


def _reading(plan: BreedingPlan, words: Words) -> Iterator[str]:
    """How the tables are read."""
    yield words["compare.reading_chance"]
    unit = plan.currency if plan.is_valued else words["compare.in_litters"]
    yield words.say("compare.reading_expected_loss", unit=unit)
    if (gap := plan.gap_shown) is not None:
        first, second = (_way(plan, position, words) for position in (gap.first, gap.second))
        yield words.say("compare.reading_parts", first=first, second=second)


def caution_lines(cautions: Sequence[Caution], words: Words) -> tuple[str, ...]:
    """Cautions in the order of their severity, as a page heads with them."""
    return tuple(
        f"[{words[f'severity.{caution.severity}']}] {words.tell(caution.sentence)}"
        for caution in in_order(cautions)
    )


def tell(sentences: Iterable[Sentence], words: Words) -> tuple[str, ...]:
    """Sentences in one language."""
    return tuple(words.tell(sentence) for sentence in sentences)


def ends(estimate: Estimate, words: Words) -> str:
    """The ends of a chance in percent, without the sign."""
    low, high = (words.number(100 * end) for end in (estimate.lower, estimate.upper))
    return words.say("format.range", lower=low, upper=high)


def _way(plan: BreedingPlan, position: int, words: Words) -> str:
    return words.word("way", plan.answers[position].outcome.option.method)


def _chance_table(plan: BreedingPlan, words: Words) -> TextTable:
    rows = tuple(
        (
            _way(plan, k, words),
            words.weekday_moment(answer.outcome.option.inseminated_at[0])
            if plan.heat.has_days
            else "–",
            words.probability(answer.expected_litters)
            if answer.has_centre
            else words["compare.no_data_like_this"],
            ends(answer.chance, words),
            "/".join(words.number(pups) for pups in answer.pups_shown),
        )
        for k, answer in enumerate(plan.answers)
    )
    names = ("way", "first_day", "litter", "interval", "pups")
    return TextTable(tuple(words[f"compare.{name}"] for name in names), rows)


def _cost_table(plan: BreedingPlan, words: Words) -> TextTable:
    per = 1.0 if plan.is_valued else 100.0

    def expected(answer: OptionAnswer, value: float) -> str:
        return words.money(value) if answer.has_centre else "–"

    rows = tuple(
        (
            _way(plan, k, words),
            words.number(answer.cost),
            expected(answer, answer.cost_per_litter),
            expected(answer, answer.cost_per_pup),
            "–"
            if not answer.has_centre
            else words.money(answer.expected_loss)
            if plan.is_valued
            else words.number(per * answer.expected_loss, 1),
            words.probability(answer.highest_prob) if answer.has_centre else "–",
        )
        for k, answer in enumerate(plan.answers)
    )
    expected_loss = "expected_loss" if plan.is_valued else "expected_loss_100"
    names = ("if_missed", "a_litter", "a_pup", expected_loss, "highest_in")
    cost = words.say("compare.cost", currency=plan.currency).strip()
    return TextTable((cost, *(words[f"compare.{name}"] for name in names)), rows)


def _driver_table(gap: Gap, words: Words) -> TextTable:
    """What the gap to the next semen type or route is made of."""
    rows = tuple(
        (
            words.word("driver", driver.name),
            words.number(100 * driver.gap, 1, signed=True),
            words.probability(driver.share_of_doubt),
        )
        for driver in gap.drivers
    )
    total = sum(driver.gap for driver in gap.drivers)
    all_of_it = (words["compare.all_together"], words.number(100 * total, 1, signed=True), "")
    headings = tuple(words[f"compare.{name}"] for name in ("parts", "points", "doubt"))
    return TextTable(headings, (*rows, all_of_it))


def _line_rows(plan: BreedingPlan, words: Words) -> tuple[tuple[str, str], ...]:
    found = [line for line in plan.lines if line.at is not None]
    return tuple(
        (words.tell(wording.line_sentence(plan, line)), _way(plan, line.other, words))
        for line in found[:MOST_LINES]
    )


def _worth_table(plan: BreedingPlan, words: Words) -> TextTable:
    rows = measure_rows(plan, words, prices=True)
    names = ("know", "litters_100", "gain_pups")
    headings = [words[f"compare.{name}"] for name in names]
    if plan.is_valued:
        headings.append(plan.currency)
    return TextTable((*headings, words["compare.price"]), rows)


def _values(plan: BreedingPlan, words: Words) -> dict[str, object]:
    """Everything for machines; a number that has no centre is left out there too."""
    lead = plan.answers[plan.lead]
    return {
        "is_stopped": False,
        "warnings": _rules(plan.cautions),
        "stud": plan.pair.stud,
        "bitch": plan.pair.bitch,
        "bitch_age_years": plan.pair.bitch_age_years,
        "n_litters_before": plan.n_litters,
        "months_since_last_litter": plan.months_since,
        "litter_inbreeding_pct": plan.litter_inbreeding_pct,
        **heat_values(plan.heat),
        "n_draws": plan.n_draws,
        "sources": [source.key for source in plan.sources],
        "currency": plan.currency,
        "worth_of_litter": plan.worth_of_litter,
        "missing_prices": list(plan.missing_prices),
        "highest": lead.outcome.option.method if lead.has_centre else None,
        "is_best_named": plan.may_name_a_best,
        "options": [_option_values(answer, plan.heat, words) for answer in plan.answers],
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
            {
                "what": worth.what,
                "at": worth.at,
                "hours": worth.hours,
                **{f"gain_{unit}": gain for unit, gain in worth.gain.items()},
            }
            for worth in plan.worths
        ],
        "infeasible": _infeasible_values(plan, words),
    }


def heat_values(heat: HeatSummary) -> dict[str, object]:
    """A heat for machines."""
    return {
        "ovulation_on": heat.mean_on if heat.has_days else None,
        "ovulation_sd_days": heat.sd_days,
        "has_days": heat.has_days,
    }


def _option_values(answer: OptionAnswer, heat: HeatSummary, words: Words) -> dict[str, object]:
    option = answer.outcome.option
    values: dict[str, object] = {
        "method": option.method,
        "semen_type": option.semen_type,
        "route": option.route,
        "source": option.source,
        "inseminated_at": list(option.inseminated_at) if heat.has_days else [],
        "collected_at": option.collected_at if heat.has_days else None,
        "packed_at": option.packed_at if heat.has_days else None,
        "n_doses": option.n_doses,
        "carrier": option.carrier,
        "litter_prob_lower": answer.chance.lower,
        "litter_prob_upper": answer.chance.upper,
        "pups_10_50_90": list(answer.pups_shown),
        "cost_if_it_fails": answer.cost,
        "records_weight": answer.records_weight.share,
        "records_shift_sds": answer.records_weight.shift_sds,
        "outside_studied": list(tell(answer.outside, words)),
        "proviso": words["plan.by_a_veterinarian"] if option.is_guarded else "",
    }
    if answer.has_centre:
        values |= {
            "litter_prob": answer.expected_litters,
            "litter_prob_median": answer.chance.median,
            "expected_pups": answer.expected_pups,
            "pups_shares": answer.pups.shares.tolist(),
            "cost_per_litter": answer.cost_per_litter,
            "cost_per_pup": answer.cost_per_pup,
            "expected_loss": answer.expected_loss,
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


def _infeasible_values(plan: BreedingPlan, words: Words) -> list[dict[str, str]]:
    return [
        {"method": way.method, "reason": words.tell(way.reason), "rule": way.reason.key}
        for way in plan.infeasible
    ]


def _rules(cautions: Sequence[Caution]) -> list[str]:
    return [caution.rule for caution in cautions]
