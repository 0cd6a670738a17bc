"""How a season is told: cautions, answer, who gets which collection, what conflicts cost."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import numpy as np

from analytics.calendar import spoken_day
from analytics.estimate import estimate_from_draws
from analytics.plan.options import BY_A_VETERINARIAN
from analytics.plan.season import Assignment, SeasonPlan
from analytics.plan.season_program import FEWEST_REST_DAYS
from analytics.priors import PRIORS
from pipelines.plan_answers import LIMITS, caution_sentences, when
from pipelines.season_planning import Season
from pipelines.terminal import Answer, TextTable, percent, spoken
from reports.words import Words

SEASON_LIMITS = (
    f"A collection after one day of rest is taken to hold {100 * PRIORS['q03_deficit'].centre:.0f} "
    f"% less than a rested one (prior q03, {PRIORS['q03_deficit'].mark}); a second insemination "
    "may come from a weaker collection than the first, which is not counted.",
)


def season_answer(season: Season, words: Words, *, seed: int) -> Answer:
    """The season in words, tables and values."""
    sentences = [*caution_sentences(season.cautions, words)]
    stopped = ", ".join(season.stopped)
    if season.stopped:
        sentences.append(
            f"No number is given for {stopped}: a caution above stops it until a veterinarian has "
            "decided."
        )
    if season.plan is None:
        return Answer(
            tuple(sentences), values={"is_stopped": True, "stopped": list(season.stopped)}
        )
    plan = season.plan
    sentences += _answer_sentences(season, plan, seed)
    tables = [_schedule_table(season, plan), _collection_table(plan)]
    if plan.conflicts:
        tables.append(_conflict_table(season, plan))
    remarks = [*_left_out(plan), *_heats(season), *_provisos(plan), *SEASON_LIMITS, *LIMITS]
    return Answer(tuple(sentences), tuple(tables), tuple(remarks), _values(season, plan, seed))


def _answer_sentences(season: Season, plan: SeasonPlan, seed: int) -> Iterator[str]:
    counts = plan.litters(np.random.default_rng(seed))
    low, high = np.quantile(counts, [0.05, 0.95])
    n = len(plan.assignments)
    lost = sum(assignment.price for assignment in plan.assignments)
    yield (
        f"{season.stud} and {n} bitch{'' if n == 1 else 'es'}: {plan.expected_litters:.1f} litters "
        f"expected, 90 % interval {low:.0f} to {high:.0f}."
    )
    if lost < 0.005 and season.worth_of_litter is None:
        yield "Each bitch has as much as if she had the stud to herself: no conflict has a price."
    else:
        yield f"Sharing the stud costs {_worth(lost, season)} in all, against each bitch alone."
    gap = plan.bound - plan.value
    if gap > 0.01 * max(plan.value, 1e-9):
        yield f"The search ended early: the best may have up to {_worth(gap, season)} more."
    if season.caveat:
        yield season.caveat


def _schedule_table(season: Season, plan: SeasonPlan) -> TextTable:
    rows = tuple(
        (
            assignment.bitch,
            assignment.way.option.method if assignment.way else "left out",
            when(assignment.way.option) if assignment.way else "–",
            percent(float(assignment.litter_prob.mean())),
            _range(assignment),
            _price(assignment, season),
        )
        for assignment in plan.assignments
    )
    return TextTable(("Bitch", "Way", "First day", "Litter", "90 %", "Price"), rows)


def _collection_table(plan: SeasonPlan) -> TextTable:
    rows = tuple(
        (spoken_day(on), "not known" if rest is None else str(rest), str(doses), _served(plan, on))
        for on, rest, doses in plan.collections
    )
    return TextTable(("Collect on", "days of rest", "doses", "for"), rows)


def _served(plan: SeasonPlan, on: date) -> str:
    return ", ".join(
        assignment.bitch
        for assignment in plan.assignments
        if assignment.way and any(day == on for day, _ in assignment.way.doses_on)
    )


def _conflict_table(season: Season, plan: SeasonPlan) -> TextTable:
    rows = tuple(
        (" and ".join(conflict.bitches), _worth(conflict.price, season))
        for conflict in plan.conflicts
    )
    return TextTable(("Conflict", "price for the two, against each alone"), rows)


def _worth(value: float, season: Season) -> str:
    if season.worth_of_litter is None:
        return f"{spoken(max(value, 0.0), digits=2)} litters"
    return f"{spoken(max(value, 0.0))} {season.currency}".strip()


def _price(assignment: Assignment, season: Season) -> str:
    if season.worth_of_litter is None and assignment.price < 0.005:
        return "none"
    return _worth(assignment.price, season)


def _range(assignment: Assignment) -> str:
    chance = estimate_from_draws(assignment.litter_prob)
    return f"{100 * chance.lower:.0f} to {100 * chance.upper:.0f}"


def _left_out(plan: SeasonPlan) -> Iterator[str]:
    names = [assignment.bitch for assignment in plan.assignments if assignment.way is None]
    if names:
        yield (
            f"Left out: {', '.join(names)}. Nothing is left of the stud on her days, or nothing "
            f"can be carried out; `studcurve compare` says what. Collections are at least "
            f"{FEWEST_REST_DAYS} days apart unless --rest says otherwise."
        )


def _heats(season: Season) -> Iterator[str]:
    for name, heat in season.heats.items():
        low, high = heat.ovulation.interval()
        yield (
            f"{name}: ovulation {spoken_day(low.date())} to {spoken_day(high.date())} (90 %), "
            f"{heat.words}."
        )


def _provisos(plan: SeasonPlan) -> Iterator[str]:
    guarded = [a.bitch for a in plan.assignments if a.way and a.way.option.proviso]
    if guarded:
        yield f"{', '.join(guarded)}: {BY_A_VETERINARIAN}."


def _values(season: Season, plan: SeasonPlan, seed: int) -> dict[str, object]:
    counts = plan.litters(np.random.default_rng(seed))
    low, high = np.quantile(counts, [0.05, 0.95])
    return {
        "is_stopped": False,
        "stopped": list(season.stopped),
        "stud": season.stud,
        "expected_litters": plan.expected_litters,
        "litters_lower": float(low),
        "litters_upper": float(high),
        "value": plan.value,
        "bound": plan.bound,
        "worth_of_litter": season.worth_of_litter,
        "n_draws": season.n_draws,
        "assignments": [
            {
                "bitch": assignment.bitch,
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
            {"on": on, "rest_days": rest, "n_doses": doses, "for": _served(plan, on)}
            for on, rest, doses in plan.collections
        ],
        "conflicts": [
            {"bitches": list(conflict.bitches), "price": conflict.price}
            for conflict in plan.conflicts
        ],
    }
