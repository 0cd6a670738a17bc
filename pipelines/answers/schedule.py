"""How a schedule is shown: warnings, answer, who gets which collection, what conflicts cost."""

from __future__ import annotations

import numpy as np

from studcurve.analytics.estimate import Estimate, estimate_from_draws
from studcurve.analytics.plan.schedule.conflicts import Assignment, Schedule
from studcurve.analytics.wording import plan as wording
from studcurve.pipelines.answers.answer import Answer, TextTable
from studcurve.pipelines.answers.comparison import caution_lines, ends, heat_values, tell
from studcurve.pipelines.plan.schedule import StudSchedule
from studcurve.reports.words import Words


def schedule_answer(schedule: StudSchedule, words: Words, *, seed: int) -> Answer:
    """The schedule in words, tables and values."""
    lines = list(caution_lines(schedule.cautions, words))
    if schedule.stopped:
        lines.append(words.say("schedule.stopped", dogs=schedule.stopped))
    if schedule.undated:
        lines.append(
            words.say("schedule.undated", bitches=schedule.undated, n=len(schedule.undated))
        )
    plan = schedule.plan
    if plan is None:
        values = {
            "is_stopped": bool(schedule.stopped),
            "stopped": list(schedule.stopped),
            "undated": list(schedule.undated),
        }
        return Answer(tuple(lines), values=values)
    litters = estimate_from_draws(plan.litters(np.random.default_rng(seed)))
    sentences = wording.schedule_sentences(
        schedule.stud, plan, litters, worth_of_litter=schedule.worth_of_litter,
        currency=schedule.currency,
    )  # fmt: skip
    lines += tell((*sentences, *schedule.sources), words)
    tables = [_schedule_table(schedule, plan, words)]
    if plan.collections:
        tables.append(_collection_table(plan, words))
    if plan.conflicts:
        tables.append(_conflict_table(schedule, plan, words))
    remarks = tell(
        wording.schedule_remarks(
            plan, schedule.heats, next_day_deficit=schedule.next_day_deficit,
            is_own_rest=schedule.is_own_rest,
        ),
        words,
    )  # fmt: skip
    return Answer(tuple(lines), tuple(tables), remarks, _values(schedule, plan, litters))


def _schedule_table(schedule: StudSchedule, plan: Schedule, words: Words) -> TextTable:
    rows = tuple(
        (
            assignment.bitch,
            words.word("way", assignment.way.option.method)
            if assignment.way
            else words["schedule.is_left_out"],
            words.weekday_moment(assignment.way.option.inseminated_at[0])
            if assignment.way
            else "–",
            words.probability(float(assignment.litter_prob.mean())),
            ends(estimate_from_draws(assignment.litter_prob), words),
            _price(assignment, schedule, words),
        )
        for assignment in plan.assignments
    )
    headings = tuple(
        words[key]
        for key in ("schedule.bitch", "compare.way", "compare.first_day", "compare.litter",
                    "compare.interval", "schedule.price_of")
    )  # fmt: skip
    return TextTable(headings, rows)


def _collection_table(plan: Schedule, words: Words) -> TextTable:
    rows = tuple(
        (
            words.day(on),
            words["schedule.not_known"] if rest is None else str(rest),
            str(doses),
            words.listed(wording.served_on(plan, on)),
        )
        for on, rest, doses in plan.collections
    )
    names = ("collect_on", "rest_days", "doses", "whom")
    return TextTable(tuple(words[f"schedule.{name}"] for name in names), rows)


def _conflict_table(schedule: StudSchedule, plan: Schedule, words: Words) -> TextTable:
    rows = tuple(
        (words.listed(conflict.bitches), _price_in_words(conflict.price, schedule, words))
        for conflict in plan.conflicts
    )
    return TextTable((words["schedule.conflict"], words["schedule.conflict_price"]), rows)


def _price_in_words(value: float, schedule: StudSchedule, words: Words) -> str:
    return words.tell(wording.price(value, schedule.worth_of_litter, schedule.currency)).strip()


def _price(assignment: Assignment, schedule: StudSchedule, words: Words) -> str:
    if schedule.worth_of_litter is None and assignment.price < wording.NO_PRICE_LITTERS:
        return words["schedule.none"]
    return _price_in_words(assignment.price, schedule, words)


def _values(schedule: StudSchedule, plan: Schedule, litters: Estimate) -> dict[str, object]:
    return {
        "is_stopped": False,
        "warnings": [caution.rule for caution in schedule.cautions],
        "stopped": list(schedule.stopped),
        "undated": list(schedule.undated),
        "stud": schedule.stud,
        "expected_litters": plan.expected_litters,
        "litters_lower": litters.lower,
        "litters_upper": litters.upper,
        "value": plan.value,
        "bound": plan.bound,
        "worth_of_litter": schedule.worth_of_litter,
        "currency": schedule.currency,
        "n_draws": schedule.n_draws,
        "assignments": [
            {
                "bitch": assignment.bitch,
                **heat_values(schedule.heats[assignment.bitch]),
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
