"""One breeding compared: read, calculated, not yet told.

`records.py` reads, `wishes.py` draws, `studcurve.analytics.plan` calculates,
`pipelines/answers/comparison.py` tells.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from typing import Any, TypeVar

import numpy as np
from threadpoolctl import threadpool_limits

from studcurve.analytics.cautions import stopped_answers
from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.ovulation.insemination_days import MORNING
from studcurve.analytics.models.ovulation.model import further_reading_prob
from studcurve.analytics.plan.breeding_plan import BreedingPlan
from studcurve.analytics.plan.choice import (
    best_days,
    best_of_each_semen,
    gaps_to,
    leading,
    lines_between,
    values_of,
    worths_of_measuring,
)
from studcurve.analytics.plan.compare import OptionAnswer, answer_options
from studcurve.analytics.plan.feasible import possible_options
from studcurve.analytics.plan.options import Circumstances
from studcurve.analytics.plan.simulation.chain import Unknowns, simulate
from studcurve.analytics.plan.simulation.lateness import shipment_record
from studcurve.analytics.plan.simulation.pups import draw_litter, pups_of
from studcurve.analytics.plan.simulation.unknowns import (
    N_JOINT_DRAWS,
    Chain,
    chain_before_records,
    with_chain,
)
from studcurve.analytics.plan.what_if import option_grid
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.wording.plan import (
    litter_inbreeding_sentences,
    pups_source_sentence,
    shipments_source_sentence,
    storage_source_sentence,
)
from studcurve.pipelines.plan.records import (
    Heat,
    PlanRecords,
    chance_sources,
    dam_of,
    dog_row,
    heat_of,
    months_since_litter,
    n_litters_of,
    pair_of,
    prices_on,
)
from studcurve.pipelines.plan.wishes import PLAN_STOPS, Wishes, circumstances_of, unknowns_of
from studcurve.pipelines.records.dog_history import cautions_of
from studcurve.pipelines.records.sheets.rules import FRACTION_INBREEDING

N_READING_DAYS = 6
"""Mornings on which a further progesterone reading is weighed."""

W = TypeVar("W", bound=Callable[..., Any])


def on_one_core(work: W) -> W:
    """Keep the matrices of some work on one core.

    They are many and small: to share each out takes longer than to multiply it, and on a machine
    that has other work as well, five times the processor time.
    """
    limited: W = threadpool_limits.wrap(limits=1, user_api="blas")(work)
    return limited


@on_one_core
def plan_breeding(
    records: PlanRecords,
    stud: str,
    bitch: str,
    wishes: Wishes,
    *,
    seed: int,
    n_draws: int = N_JOINT_DRAWS,
    with_grids: bool = False,
) -> BreedingPlan:
    """Compare every way in which a bitch can be bred in this heat.

    Parameters
    ----------
    records
        The records.
    stud, bitch
        Call names in any case of letters.
    wishes
        What the owners can do and want.
    seed, n_draws
        Of the joint draws.
    with_grids
        Whether the chances are also read over changes of circumstances, which takes seconds.

    Raises
    ------
    RecordsError
        A dog is not in the records.
    """
    female = str(dog_row(records, bitch, "female")["call_name"])
    heat = heat_of(records, female, ovulation_on=wishes.ovulation_on)
    bred_on = heat.ovulation.mean_at.date()
    pair = pair_of(records, stud, female, clinic=wishes.clinic, on=bred_on)
    today = records.asked_at.date()
    cautions = (
        *cautions_of(records.views, pair.stud, today),
        *cautions_of(records.views, pair.bitch, today),
    )
    prices, currency = prices_on(records)
    is_stopped = bool(PLAN_STOPS & stopped_answers(cautions))
    nothing = BreedingPlan(
        pair=pair,
        heat=heat.summary,
        cautions=cautions,
        is_stopped=is_stopped,
        n_litters=n_litters_of(records, pair.bitch),
        months_since=months_since_litter(records, pair.bitch),
        litter_inbreeding_pct=wishes.litter_inbreeding_pct,
        prices=prices,
        currency=currency,
        worth_of_litter=wishes.worth_of_litter,
        n_draws=n_draws,
    )
    if is_stopped:
        return nothing
    circumstances = circumstances_of(records, pair.stud, heat, wishes, prices)
    options, infeasible = possible_options(circumstances)
    if not options:
        return replace(nothing, infeasible=infeasible)
    posterior = records.conception.posterior
    chain = Chain(posterior.draws, posterior.data.levels)
    unknowns = unknowns_of(
        records, pair, heat, circumstances, wishes, chain, seed=seed, n_draws=n_draws
    )
    outcomes = [simulate(option, pair, unknowns) for option in options]
    best = best_days(outcomes)
    # Without a fit the answer is the published table's own.
    published = best
    if records.conception.kept is not None:
        table = chain_before_records(records.conception.posterior)
        before = with_chain(unknowns, table, pair, seed=seed)
        published = [simulate(outcome.option, pair, before) for outcome in best]
    born = records.litter.posterior
    litter_chain = Chain(born.draws, born.data.levels)
    dam = dam_of(records, pair, litter_inbreeding_pct=wishes.litter_inbreeding_pct)
    litter = draw_litter(litter_chain, dam, seed=seed, n_draws=n_draws)
    pups = [pups_of(outcome, litter) for outcome in best]
    # Without any known cost a worth of a litter cannot be weighed against one.
    costs = [outcome.option.cost(prices) for outcome in best]
    worth = None if np.isnan(costs).all() else wishes.worth_of_litter
    answers = answer_options(best, pups, published, pair, prices=prices, worth_of_litter=worth)
    lead = leading(answers, worth)
    shown = best_of_each_semen(answers, worth)
    grids = tuple(option_grid(k, best[k], pair, unknowns) for k in shown) if with_grids else ()
    return replace(
        nothing,
        infeasible=infeasible,
        sources=_sources(
            records, pair.stud, circumstances, wishes.litter_inbreeding_pct, unknowns, answers, lead
        ),
        stored_until_h=unknowns.storage.observed_until_h,
        answers=answers,
        lead=lead,
        gaps=gaps_to(lead, answers),
        lines=lines_between(shown, best, pair, unknowns),
        worths=worths_of_measuring(
            outcomes,
            values_of(outcomes, best, pups, prices=prices, worth_of_litter=worth),
            unknowns,
            sampled_at=_mornings(heat, records.asked_at),
            reading_prob=_reading_prob(heat),
            rng=np.random.default_rng([seed, len(outcomes)]),
        ),
        grids=grids,
    )


def _sources(
    records: PlanRecords,
    stud: str,
    circumstances: Circumstances,
    inbreeding_pct: float | None,
    unknowns: Unknowns,
    answers: Sequence[OptionAnswer],
    lead: int,
) -> tuple[Sentence, ...]:
    """Where the numbers come from: chance, pups, and of what is collected, sample and shipment."""
    n_litters = records.litter.posterior.data.n_litters if records.litter.kept else 0
    sources = [
        *chance_sources(records, answers[lead].records_weight),
        pups_source_sentence(n_litters),
        *litter_inbreeding_sentences(
            inbreeding_pct,
            may_be_fraction=0.0 < (inbreeding_pct or 0.0) <= FRACTION_INBREEDING,
        ),
    ]
    options = [answer.outcome.option for answer in answers]
    if any(option.source == "next collection" for option in options):
        sources.append(unknowns.sample.source)
    if unknowns.on_hand and any(option.source == "sample on hand" for option in options):
        sources.append(unknowns.on_hand.source)
    if circumstances.carrier is not None and any(
        option.packed_at is not None for option in options
    ):
        own = records.storage.own
        sources.append(
            storage_source_sentence(
                stud,
                circumstances.extender,
                read_studs=own.labels.get("effect_stud", ()) if own else None,
                read_products=own.labels.get("effect_product", ()) if own else (),
                is_stale=records.storage.is_outdated,
            )
        )
        shipments = shipment_record(records.views["shipments"], circumstances.carrier.name)
        sources.append(shipments_source_sentence(shipments.carrier, shipments.n_shipments))
    return tuple(sources)


def _mornings(heat: Heat, asked_at: datetime) -> list[datetime]:
    """Coming mornings on which blood may be drawn; none where no heat is recorded."""
    if heat.first_day is None:
        return []
    first = datetime.combine(asked_at.date(), MORNING)
    first += timedelta(days=first < asked_at)
    return [first + timedelta(days=k) for k in range(N_READING_DAYS)]


def _reading_prob(heat: Heat) -> Callable[[datetime], tuple[Floats, Floats]]:
    """How a further reading of this heat may come out, by its instant."""
    return partial(
        further_reading_prob,
        heat.readings,
        laboratory=heat.readings[-1].laboratory if heat.readings else None,
        first_day=heat.first_day,
        lh_surge_on=heat.lh_surge_on,
    )
