"""What chance of a litter has a shipment that is about to leave?

Read from the same draws as the chilled options of a comparison, for the sample in hand, the hour
that is planned and this carrier's late shipments. Only a kennel's own fit states one here: the
bench asks what its records say.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from studcurve.analytics.cautions import Caution, stopped_answers
from studcurve.analytics.errors import StaleFitError
from studcurve.analytics.estimate import Estimate, RecordsWeight, estimate_from_draws
from studcurve.analytics.measures.doses import SampleDraws as ReadSample
from studcurve.analytics.models.breedings.inputs import DAY_POPULATION
from studcurve.analytics.models.ovulation.model import OvulationPosterior
from studcurve.analytics.plan.compare import MOST_OUTSIDE, outside_studied, weight_of_records
from studcurve.analytics.plan.options import Carrier, Option
from studcurve.analytics.plan.simulation.chain import simulate
from studcurve.analytics.plan.simulation.lateness import shipment_record
from studcurve.analytics.plan.simulation.samples import SampleDraws
from studcurve.analytics.plan.simulation.unknowns import (
    N_JOINT_DRAWS,
    Chain,
    chain_before_records,
    draw_unknowns,
    with_chain,
)
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.analytics.wording.plan import shipment_chance_sentence
from studcurve.analytics.wording.program import fit_age_sentence
from studcurve.pipelines.plan.comparison import on_one_core
from studcurve.pipelines.plan.records import (
    PlanRecords,
    around,
    heat_of,
    pair_of,
    read_plan_records,
    usual_shipment,
)
from studcurve.pipelines.plan.wishes import PLAN_STOPS


@dataclass(frozen=True, slots=True, kw_only=True)
class PackedDose:
    """One dose of a shipment as it is packed.

    Attributes
    ----------
    stud, bitch
        Call names as in the records.
    sample
        The sample in hand, before it is divided.
    n_doses
        Doses it is divided into.
    route
        Of the planned insemination.
    collected_at, sent_at, inseminate_at
        When; the last as planned.
    extender, carrier, clinic
        Names; a carrier that is not said is the kennel's usual one.
    """

    stud: str
    bitch: str
    sample: ReadSample
    n_doses: int
    route: str
    collected_at: datetime
    sent_at: datetime
    inseminate_at: datetime
    extender: str | None
    carrier: str | None
    clinic: str | None


@dataclass(frozen=True, slots=True)
class ShipmentChance:
    """The chance of a litter from one dose.

    Attributes
    ----------
    option
        The way it is used.
    stud, bitch
        The pair.
    records
        What it was read from.
    chance
        Median and 90 % range. [0 to 1]
    expected
        Mean over the draws, the number to print. [0 to 1]
    published_prob
        The same by the published table alone. [0 to 1]
    records_weight
        What the kennel's own records supply of it.
    has_centre
        Whether there are data like this; else only the range is told and nothing is kept.
    n_draws
        Joint draws.
    sentences
        What is told: the chance, and what it does not know.
    """

    option: Option
    stud: str
    bitch: str
    records: PlanRecords
    chance: Estimate
    expected: float
    published_prob: float
    records_weight: RecordsWeight
    has_centre: bool
    n_draws: int
    sentences: tuple[Sentence, ...]

    def values(self) -> Mapping[str, Any]:
        """For machines; no mean and no median where there are no data like this."""
        return {
            "litter_prob": self.expected if self.has_centre else None,
            "litter_prob_median": self.chance.median if self.has_centre else None,
            "litter_prob_lower": self.chance.lower,
            "litter_prob_upper": self.chance.upper,
            "published_litter_prob": self.published_prob if self.has_centre else None,
            "records_weight": self.records_weight.share,
            "records_shift_sds": self.records_weight.shift_sds,
            "n_records_since_fit": self.records.conception.n_records_since,
        }


@on_one_core
def shipment_chance(
    store_path: Path,
    dose: PackedDose,
    cautions: tuple[Caution, ...],
    *,
    seed: int,
    n_draws: int = N_JOINT_DRAWS,
) -> ShipmentChance | None:
    """The chance of a litter from one dose, where the records file holds a fit that may state it.

    Parameters
    ----------
    store_path
        The records file, as it is before the shipment is recorded.
    dose
        The dose.
    cautions
        Of both dogs, the sample in hand included.
    seed, n_draws
        Of the joint draws.

    Returns
    -------
    ShipmentChance or None
        None without a current fit, and where a caution stops either dog.
    """
    if PLAN_STOPS & stopped_answers(cautions):
        return None
    try:
        records = read_plan_records(store_path, dose.sent_at)
    except StaleFitError:
        return None
    conception = records.conception
    if conception.kept is None:
        return None
    pair = pair_of(
        records, dose.stud, dose.bitch, clinic=dose.clinic or "", on=dose.inseminate_at.date()
    )
    ovulation, is_usual = _ovulation(records, dose)
    option, carrier = _option(records, dose)
    posterior = conception.posterior
    unknowns = draw_unknowns(
        Chain(posterior.draws, posterior.data.levels),
        pair,
        ovulation,
        lambda rng, n: _in_hand(dose.sample, n),
        storage=lambda rng, n: records.storage.curve(
            stud=dose.stud, extender=dose.extender, rng=rng, n_draws=n
        ),
        shipments=shipment_record(records.views["shipments"], carrier),
        on_hand=lambda rng, n: _in_hand(dose.sample, n),
        seed=seed,
        n_draws=n_draws,
    )
    outcome = simulate(option, pair, unknowns)
    table = chain_before_records(posterior)
    before = simulate(option, pair, with_chain(unknowns, table, pair, seed=seed))
    has_centre = len(outside_studied(outcome, pair)) <= MOST_OUTSIDE
    expected, weight = float(outcome.litter_prob.mean()), weight_of_records(outcome, before)
    chance = estimate_from_draws(outcome.litter_prob)
    told = [shipment_chance_sentence(expected if has_centre else None, chance, weight)]
    if is_usual:
        told.append(sentence("plan.shipment_day_usual", bitch=dose.bitch))
    if conception.n_records_since:
        fitted_on = conception.kept.fitted_at.date()
        told.append(fit_age_sentence(conception.n_records_since, fitted_on))
    return ShipmentChance(
        option,
        dose.stud,
        dose.bitch,
        records,
        chance,
        expected,
        float(before.litter_prob.mean()),
        weight,
        has_centre,
        n_draws,
        tuple(told),
    )


def _ovulation(records: PlanRecords, dose: PackedDose) -> tuple[OvulationPosterior, bool]:
    """Her ovulation by the records; without a heat, the day is as usual for chilled semen."""
    heat = heat_of(records, dose.bitch)
    if heat.first_day is not None or heat.is_named:
        return heat.ovulation, False
    day, sd_days = DAY_POPULATION["chilled"]
    return around(dose.inseminate_at - timedelta(days=day), sd_days), True


def _option(records: PlanRecords, dose: PackedDose) -> tuple[Option, str]:
    """The way the dose is used, if the shipment comes as promised and if it is late."""
    carrier = Carrier(dose.carrier or usual_shipment(records, dose.stud)[0])
    promised_at = carrier.promised_at(dose.sent_at)
    late = (at - promised_at for at in carrier.brought_if_late(promised_at))
    next_day, weekend = ((dose.inseminate_at + delay,) for delay in late)
    option = Option(
        "chilled",
        dose.route,
        "sample on hand",
        (dose.inseminate_at,),
        collected_at=dose.collected_at,
        packed_at=dose.sent_at,
        if_next_day=next_day,
        if_weekend=weekend,
        n_doses=dose.n_doses,
        carrier=carrier.name,
        extender=dose.extender,
    )
    return option, carrier.name


def _in_hand(sample: ReadSample, n_draws: int) -> SampleDraws:
    """The sample as it was read at the bench, recycled to a number of draws."""
    return SampleDraws(
        np.resize(sample.total_m, n_draws),
        np.resize(sample.progressive_m / sample.total_m, n_draws),
        sentence("source.sample_on_hand"),
    )
