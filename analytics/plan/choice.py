"""Which day of each way, which way leads, and what else is worth measuring before.

Nothing is named the best here: a lead is what the others are set against.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.analytics.plan.breakeven import BreakEven, break_evens
from studcurve.analytics.plan.compare import Gap, OptionAnswer, gap_between, option_values
from studcurve.analytics.plan.measure_next import (
    Values,
    Worth,
    worth_of_counting,
    worth_of_readings,
    worth_of_test_cool,
)
from studcurve.analytics.plan.simulation.chain import Outcome, Pair, Unknowns
from studcurve.analytics.plan.simulation.pups import Pups


def best_days(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Each method on the day with its highest mean chance, in the order of the methods."""
    best: dict[str, Outcome] = {}
    for outcome in outcomes:
        method = outcome.option.method
        if method not in best or outcome.litter_prob.mean() > best[method].litter_prob.mean():
            best[method] = outcome
    return list(best.values())


def merit(answer: OptionAnswer, worth_of_litter: float | None) -> float:
    """Value at a stated worth, else the chance; an unknown cost never leads."""
    value = answer.expected_litters if worth_of_litter is None else answer.value
    return float("-inf") if np.isnan(value) else value


def leading(answers: Sequence[OptionAnswer], worth_of_litter: float | None) -> int:
    """Position of the way that the others are set against.

    What there are no data like is put in no order, unless there is nothing else.
    """
    centred = [k for k, answer in enumerate(answers) if answer.has_centre]
    return max(
        centred or range(len(answers)), key=lambda k: merit(answers[k], worth_of_litter)
    )  # fmt: skip


def gaps_to(lead: int, answers: Sequence[OptionAnswer]) -> tuple[Gap, ...]:
    """The leading way against every other one with data like it."""
    return tuple(
        gap_between(answers, lead, k)
        for k, answer in enumerate(answers)
        if answer.has_centre and k != lead
    )


def best_of_each_semen(
    answers: Sequence[OptionAnswer], worth_of_litter: float | None
) -> list[int]:  # fmt: skip
    """Positions of the best way of each semen type with data like it, in their order."""
    best: dict[str, int] = {}
    for k, answer in enumerate(answers):
        if not answer.has_centre:
            continue
        semen = answer.outcome.option.semen_type
        if semen not in best or (
            merit(answer, worth_of_litter) > merit(answers[best[semen]], worth_of_litter)
        ):
            best[semen] = k
    return list(best.values())


def lines_between(
    chosen: Sequence[int], outcomes: Sequence[Outcome], pair: Pair, unknowns: Unknowns
) -> tuple[BreakEven, ...]:
    """Break-even lines of the chosen ways, by their positions among the outcomes."""
    return tuple(
        BreakEven(k, chosen[line.other], line.axis, line.at, line.dose_m)
        for n, k in enumerate(chosen)
        for line in break_evens([outcomes[j] for j in chosen], pair, unknowns, n)
    )


def values_of(
    outcomes: Sequence[Outcome],
    best: Sequence[Outcome],
    pups: Sequence[Pups],
    *,
    prices: Mapping[str, float],
    worth_of_litter: float | None,
) -> Values:
    """Value of every option on every day, in every draw, by its unit.

    Parameters
    ----------
    outcomes
        Every option on every day.
    best, pups
        Each method on its best day, and its pups: those of a litter are the same on any day.
    prices, worth_of_litter
        Of the costs; without a worth, or where a price is missing, nothing is stated in money.
    """
    per_litter = {
        outcome.option.method: mine.mean_alive / np.maximum(outcome.litter_prob, 1e-12)
        for outcome, mine in zip(best, pups, strict=True)
    }
    values = {
        "litters": np.column_stack([o.litter_prob for o in outcomes]),
        "pups": np.column_stack([o.litter_prob * per_litter[o.option.method] for o in outcomes]),
    }
    if worth_of_litter is not None:
        money = option_values(outcomes, prices=prices, worth_of_litter=worth_of_litter)
        if np.isfinite(money).all():
            values["money"] = money
    return values


def worths_of_measuring(
    outcomes: Sequence[Outcome],
    values: Values,
    unknowns: Unknowns,
    *,
    sampled_at: Sequence[datetime],
    reading_prob: Callable[[datetime], tuple[Floats, Floats]],
    rng: np.random.Generator,
) -> tuple[Worth, ...]:
    """What a measurement would add, the greatest first.

    Parameters
    ----------
    outcomes, values, unknowns
        Every option on every day, and their draws.
    sampled_at, reading_prob
        As for :func:`~analytics.plan.measure_next.worth_of_readings`; the best of the instants is
        told, none where there are none.
    rng
        Source of the reading errors.
    """
    readings = worth_of_readings(outcomes, values, unknowns, sampled_at, reading_prob)
    found: list[Worth | None] = []
    if readings:
        found.append(max(readings, key=lambda worth: worth.gain["litters"]))
    found.append(worth_of_counting(outcomes, values, unknowns, rng))
    found.append(worth_of_test_cool(outcomes, values, unknowns, rng))
    known = [worth for worth in found if worth is not None]
    return tuple(sorted(known, key=lambda worth: -worth.gain["litters"]))
