"""How a season is shown: cautions, answer, who gets which collection, what conflicts cost."""

from __future__ import annotations

import numpy as np

from studcurve.analytics.estimate import Estimate, estimate_from_draws
from studcurve.analytics.plan.season.conflicts import Assignment, SeasonPlan
from studcurve.analytics.wording import plan as wording
from studcurve.pipelines.answers.answer import Answer, TextTable
from studcurve.pipelines.answers.comparison import caution_lines, ends, heat_values, tell
from studcurve.pipelines.plan.season import Season
from studcurve.reports.words import Words


def season_answer(season: Season, words: Words, *, seed: int) -> Answer:
    """The season in words, tables and values."""
    lines = list(caution_lines(season.cautions, words))
    if season.stopped:
        lines.append(words.say("season.stopped", dogs=season.stopped))
    if season.undated:
        lines.append(words.say("season.undated", bitches=season.undated, n=len(season.undated)))
    plan = season.plan
    if plan is None:
        values = {
            "is_stopped": bool(season.stopped),
            "stopped": list(season.stopped),
            "undated": list(season.undated),
        }
        return Answer(tuple(lines), values=values)
    litters = estimate_from_draws(plan.litters(np.random.default_rng(seed)))
    sentences = wording.season_sentences(
        season.stud, plan, litters, worth_of_litter=season.worth_of_litter,
        currency=season.currency,
    )  # fmt: skip
    lines += tell((*sentences, *season.sources), words)
    tables = [_schedule_table(season, plan, words)]
    if plan.collections:
        tables.append(_collection_table(plan, words))
    if plan.conflicts:
        tables.append(_conflict_table(season, plan, words))
    remarks = tell(
        wording.season_remarks(
            plan, season.heats, next_day_deficit=season.next_day_deficit,
            is_own_rest=season.is_own_rest,
        ),
        words,
    )  # fmt: skip
    return Answer(tuple(lines), tuple(tables), remarks, _values(season, plan, litters))


def _schedule_table(season: Season, plan: SeasonPlan, words: Words) -> TextTable:
    rows = tuple(
        (
            assignment.bitch,
            words.word("way", assignment.way.option.method)
            if assignment.way
            else words["season.is_left_out"],
            words.weekday_moment(assignment.way.option.inseminated_at[0])
            if assignment.way
            else "–",
            words.probability(float(assignment.litter_prob.mean())),
            ends(estimate_from_draws(assignment.litter_prob), words),
            _price(assignment, season, words),
        )
        for assignment in plan.assignments
    )
    headings = tuple(
        words[key]
        for key in ("season.bitch", "compare.way", "compare.first_day", "compare.litter",
                    "compare.interval", "season.price_of")
    )  # fmt: skip
    return TextTable(headings, rows)


def _collection_table(plan: SeasonPlan, words: Words) -> TextTable:
    rows = tuple(
        (
            words.day(on),
            words["season.not_known"] if rest is None else str(rest),
            str(doses),
            words.listed(wording.served_on(plan, on)),
        )
        for on, rest, doses in plan.collections
    )
    names = ("collect_on", "rest_days", "doses", "whom")
    return TextTable(tuple(words[f"season.{name}"] for name in names), rows)


def _conflict_table(season: Season, plan: SeasonPlan, words: Words) -> TextTable:
    rows = tuple(
        (words.listed(conflict.bitches), _price_in_words(conflict.price, season, words))
        for conflict in plan.conflicts
    )
    return TextTable((words["season.conflict"], words["season.conflict_price"]), rows)


def _price_in_words(value: float, season: Season, words: Words) -> str:
    return words.tell(wording.price(value, season.worth_of_litter, season.currency)).strip()


def _price(assignment: Assignment, season: Season, words: Words) -> str:
    if season.worth_of_litter is None and assignment.price < wording.NO_PRICE_LITTERS:
        return words["season.none"]
    return _price_in_words(assignment.price, season, words)


def _values(season: Season, plan: SeasonPlan, litters: Estimate) -> dict[str, object]:
    return {
        "is_stopped": False,
        "cautions": [caution.rule for caution in season.cautions],
        "stopped": list(season.stopped),
        "undated": list(season.undated),
        "stud": season.stud,
        "expected_litters": plan.expected_litters,
        "litters_lower": litters.lower,
        "litters_upper": litters.upper,
        "value": plan.value,
        "bound": plan.bound,
        "worth_of_litter": season.worth_of_litter,
        "currency": season.currency,
        "n_draws": season.n_draws,
        "assignments": [
            {
                "bitch": assignment.bitch,
                **heat_values(season.heats[assignment.bitch]),
                "method": assignment.way.option.method if assignment.way else None,
                "inseminated_at": (
                    list(assignment.way.option.inseminated_at) if assignment.way else []
                ),
                "litter_prob": float(assignment.litter_prob.mean()),
                "value": assignment.value,
                "alone": assignment.alone,
                "price": assignment.price,
            }
            for assignment in plan.assignments
        ],
        "collections": [
            {"on": on, "rest_days": rest, "n_doses": doses, "for": wording.served_on(plan, on)}
            for on, rest, doses in plan.collections
        ],
        "conflicts": [
            {"bitches": list(conflict.bitches), "price": conflict.price}
            for conflict in plan.conflicts
        ],
    }
