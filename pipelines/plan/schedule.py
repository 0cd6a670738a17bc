"""Several bitches in heat and one stud: read, planned, not yet in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from types import MappingProxyType

import numpy as np

from studcurve.analytics.cautions import Caution, stopped_answers
from studcurve.analytics.errors import ToolkitError
from studcurve.analytics.estimate import NO_WEIGHT, Floats, RecordsWeight
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.plan.breeding_plan import HeatSummary
from studcurve.analytics.plan.compare import weight_of_records
from studcurve.analytics.plan.feasible import possible_options
from studcurve.analytics.plan.schedule.conflicts import Assignment, Schedule, plan_schedule
from studcurve.analytics.plan.schedule.program import StudLimits, Way
from studcurve.analytics.plan.schedule.ways import published_rest, rest_shares, ways_of
from studcurve.analytics.plan.simulation.chain import Pair, Unknowns, simulate
from studcurve.analytics.plan.simulation.unknowns import Chain, chain_before_records, with_chain
from studcurve.analytics.sentences import Sentence
from studcurve.pipelines.plan.records import (
    PlanRecords,
    chance_sources,
    dog_row,
    heat_of,
    names_of,
    pair_of,
    prices_on,
    raw_samples,
    straws_of,
)
from studcurve.pipelines.plan.wishes import PLAN_STOPS, Wishes, circumstances_of, unknowns_of
from studcurve.pipelines.records.dog_history import cautions_of

N_SCHEDULE_DRAWS = 1000
"""Joint draws of a schedule; a chance is then sure to half a point."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside the chance of a bitch that is planned.

    Attributes
    ----------
    published_prob
        The same chance by the published table alone, 0 to 1.
    records_weight
        What the kennel's own records supply of it.
    """

    published_prob: float
    records_weight: RecordsWeight


@dataclass(frozen=True, slots=True)
class StudSchedule:
    """A stud's schedule; without a plan where a caution stops the stud.

    Attributes
    ----------
    stud
        Call name.
    cautions
        What heads the answer, the stopped bitches' included.
    stopped
        Bitches that a caution takes out, or everybody when it is the stud.
    undated
        Bitches of whom no reading shows the rise and no person named the day; none is planned.
    sources
        Where the numbers come from.
    next_day_deficit, is_own_rest
        Share of a rested collection that is missing on the next day, 0 to 1, and whether the
        kennel's own collections are behind it.
    heats
        Heat of each bitch that is planned.
    plan
        The schedule; None when nobody is left.
    n_draws
        Joint draws.
    beside
        By bitch that gets something.
    """

    stud: str
    cautions: tuple[Caution, ...]
    stopped: tuple[str, ...]
    undated: tuple[str, ...]
    sources: tuple[Sentence, ...]
    next_day_deficit: float
    is_own_rest: bool
    heats: Mapping[str, HeatSummary]
    plan: Schedule | None
    worth_of_litter: float | None
    currency: str
    n_draws: int
    beside: Mapping[str, Beside]


def plan_stud_schedule(
    records: PlanRecords,
    stud: str,
    bitches: Sequence[str],
    wishes: Wishes,
    *,
    away: frozenset[str] = frozenset(),
    ovulations: Mapping[str, date] = MappingProxyType({}),
    seed: int,
    n_draws: int = N_SCHEDULE_DRAWS,
) -> StudSchedule:
    """Plan who gets which collection of a stud.

    Parameters
    ----------
    records
        The records.
    stud, bitches
        Call names; all bitches in heat when none is named.
    wishes
        As for one breeding, the same for all bitches.
    away
        Bitches that cannot be brought to the stud.
    ovulations
        Days of ovulation as a person expects them, by call name; they stand above the records.
    seed, n_draws
        Of the joint draws.

    Raises
    ------
    RecordsError
        A dog is not in the records.
    """
    names = names_of(records, bitches)
    if not names:
        raise ToolkitError(
            "No bitch of these records is in heat. Name the bitches, and add their heats to the "
            "Heats sheet."
        )
    today = records.asked_at.date()
    stud_name = pair_of(records, stud, names[0]).stud
    cautions = list(cautions_of(records.views, stud_name, today))
    stopped = list(names) if PLAN_STOPS & stopped_answers(cautions) else []
    prices, currency = prices_on(records)
    posterior = records.conception.posterior
    chain = Chain(posterior.draws, posterior.data.levels)
    rested: Floats | None = None
    is_own_rest = False
    ways: list[tuple[Way, ...]] = []
    heats: dict[str, HeatSummary] = {}
    asked_of: dict[str, tuple[Pair, Unknowns]] = {}
    at_home = {name.casefold() for name in away}
    expected = {
        str(dog_row(records, name, "female")["call_name"]): on for name, on in ovulations.items()
    }
    undated: list[str] = []
    for name in names:
        own = cautions_of(records.views, name, today)
        cautions += own
        if PLAN_STOPS & stopped_answers(own) and name not in stopped:
            stopped.append(name)
        if name in stopped:
            continue
        pair = pair_of(records, stud_name, name, clinic=wishes.clinic)
        heat = heat_of(records, name, ovulation_on=expected.get(name))
        if not heat.has_days:
            undated.append(name)
            continue
        hers = replace(wishes, is_bitch_at_kennel=name.casefold() not in at_home)
        circumstances = circumstances_of(records, stud_name, heat, hers, prices)
        options, _ = possible_options(circumstances)
        unknowns = unknowns_of(
            records, pair, heat, circumstances, hers, chain, seed=seed, n_draws=n_draws
        )
        if rested is None:
            published = published_rest(np.random.default_rng(seed), n_draws)
            is_own_rest = unknowns.sample.rest is not None
            rested = rest_shares(unknowns.sample.rest or published)
        # The program itself says how long he has rested.
        unknowns = replace(unknowns, sample=replace(unknowns.sample, rest=None))
        ways.append(
            ways_of(
                options, pair, unknowns, rested, prices=prices,
                worth_of_litter=wishes.worth_of_litter,
            )
        )  # fmt: skip
        heats[name] = heat.summary
        asked_of[name] = pair, unknowns
    plan = None
    beside: dict[str, Beside] = {}
    if heats and rested is not None:
        plan = plan_schedule(ways, list(heats), stud_limits(records, stud_name, wishes))
        beside = {
            one.bitch: Beside(float(one.litter_prob.mean()), NO_WEIGHT)
            if records.conception.kept is None
            else _beside(one, one.way, *asked_of[one.bitch], rested, posterior, seed)
            for one in plan.assignments
            if one.way is not None
        }
    deficit = float("nan") if rested is None else float(1.0 - rested[:, 0].mean())
    return StudSchedule(
        stud_name, tuple(cautions), tuple(stopped), tuple(undated), chance_sources(records),
        deficit, is_own_rest, heats, plan, wishes.worth_of_litter, currency, n_draws, beside,
    )  # fmt: skip


def _beside(
    assignment: Assignment,
    way: Way,
    pair: Pair,
    unknowns: Unknowns,
    rested: Floats,
    fitted: ConceptionPosterior,
    seed: int,
) -> Beside:
    """Follow what a bitch gets once more, from the published table alone."""
    table = chain_before_records(fitted)
    before = with_chain(unknowns, table, pair, seed=seed)
    (alone,) = ways_of([way.option], pair, before, rested, prices={}, worth_of_litter=None)
    now, then = (simulate(way.option, pair, draws) for draws in (unknowns, before))
    return Beside(
        float(alone.litter_prob[:, assignment.state or 0].mean()), weight_of_records(now, then)
    )


def stud_limits(records: PlanRecords, stud: str, wishes: Wishes) -> StudLimits:
    """What the stud gives: his last collection, the rest asked for, his straws."""
    samples = raw_samples(records, stud)
    last = samples["collected_earliest"].iloc[-1].date() if len(samples) else None
    n_straws = sum(lot.n_left for lot in straws_of(records, stud))
    return StudLimits(last, wishes.fewest_rest_days, n_straws)
