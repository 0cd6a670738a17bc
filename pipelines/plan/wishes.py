"""What was asked for a plan, and the draws that follow from it and the records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from functools import partial

import numpy as np
import pandas as pd

from studcurve.analytics.cautions import Answer as StoppedAnswer
from studcurve.analytics.errors import ToolkitError
from studcurve.analytics.measures.counting import HOME_COUNT_CV
from studcurve.analytics.measures.doses import SampleEvaluation, draw_sample
from studcurve.analytics.measures.motility_kept import StorageDraws
from studcurve.analytics.models.stud.level import next_total
from studcurve.analytics.plan.options import Carrier, Circumstances, OpeningHours
from studcurve.analytics.plan.schedule.program import FEWEST_REST_DAYS
from studcurve.analytics.plan.simulation.chain import Pair, Unknowns
from studcurve.analytics.plan.simulation.lateness import shipment_record
from studcurve.analytics.plan.simulation.samples import Rest, SampleDraws, next_sample, usual_of
from studcurve.analytics.plan.simulation.unknowns import Chain, draw_unknowns
from studcurve.analytics.sentences import sentence
from studcurve.pipelines.plan.records import (
    Heat,
    PlanRecords,
    raw_samples,
    straws_of,
    usual_shipment,
)

PLAN_STOPS: frozenset[StoppedAnswer] = frozenset({"plan", "conception"})
"""Answers whose stop leaves a plan without any number."""

WINDOW_PROB = 0.95
"""Insemination is considered from the days before the early end of ovulation's interval to those
after its late end."""

DAYS_BEFORE, DAYS_AFTER = 3, 7
"""Days before and after that interval at which an insemination is still considered. [d]"""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the owners can do and want, as asked on the command line.

    Attributes
    ----------
    worth_of_litter
        What a litter is worth before its stud fee; None leaves it unsaid.
    max_cost
        Limit for what is paid in any case.
    refused
        Semen types and routes that are not wanted.
    is_bitch_at_kennel
        Whether bitch and stud can be brought together.
    n_inseminations
        Numbers of inseminations considered.
    carrier, cut_off, leaves, delivers
        The shipment; a carrier of None is the kennel's usual one. Weekdays, Monday is 0.
    clinic, clinic_hours
        Who inseminates, and when.
    collected_at
        Hour of a collection.
    extender
        None is the extender of the stud's last shipment.
    on_hand_at
        When a sample on hand was collected.
    ovulation_on
        Day of ovulation that a person expects; stands above the records.
    litter_inbreeding_pct
        Inbreeding of the planned litter by its pedigree; None when not known. [%]
    fewest_rest_days
        Days between two collections at least, in a schedule.
    """

    worth_of_litter: float | None = None
    max_cost: float = float("inf")
    refused: frozenset[str] = frozenset()
    is_bitch_at_kennel: bool = True
    n_inseminations: tuple[int, ...] = (1, 2)
    carrier: str | None = None
    cut_off: time = time(19, 30)
    leaves: frozenset[int] = frozenset(range(5))
    delivers: frozenset[int] = frozenset(range(6))
    clinic: str = ""
    clinic_hours: OpeningHours = field(default_factory=OpeningHours)
    collected_at: time = time(15)
    extender: str | None = None
    on_hand_at: datetime | None = None
    ovulation_on: date | None = None
    litter_inbreeding_pct: float | None = None
    fewest_rest_days: int = FEWEST_REST_DAYS


def circumstances_of(
    records: PlanRecords, stud: str, heat: Heat, wishes: Wishes, prices: Mapping[str, float]
) -> Circumstances:
    """What can be done in this heat, from the records and the owners' wishes."""
    carrier, extender = usual_shipment(records, stud)
    low, high = heat.ovulation.interval(WINDOW_PROB)
    first = max(records.asked_at.date(), low.date() - timedelta(days=DAYS_BEFORE))
    return Circumstances(
        asked_at=records.asked_at,
        first_on=first,
        last_on=high.date() + timedelta(days=DAYS_AFTER),
        prices=prices,
        clinic=wishes.clinic_hours,
        carrier=Carrier(wishes.carrier or carrier, wishes.cut_off, wishes.leaves, wishes.delivers),
        collected_at=wishes.collected_at,
        sample_on_hand_at=wishes.on_hand_at,
        straws=straws_of(records, stud),
        is_bitch_at_kennel=wishes.is_bitch_at_kennel,
        refused=wishes.refused,
        n_inseminations=wishes.n_inseminations,
        max_cost=wishes.max_cost,
        extender=wishes.extender if wishes.extender is not None else extender,
    )


def unknowns_of(
    records: PlanRecords,
    pair: Pair,
    heat: Heat,
    circumstances: Circumstances,
    wishes: Wishes,
    chain: Chain,
    *,
    seed: int,
    n_draws: int,
) -> Unknowns:
    """Draw everything that is not known of one breeding.

    Parameters
    ----------
    records, pair, heat, circumstances, wishes
        What is known and asked.
    chain
        Draws of the conception chain: a fit's, or the published table's.
    seed, n_draws
        Of the joint draws.
    """
    carrier = circumstances.carrier.name if circumstances.carrier else ""
    return draw_unknowns(
        chain,
        pair,
        heat.ovulation,
        partial(_next_sample, records, pair.stud, circumstances.first_on),
        storage=partial(_storage, records, pair.stud, circumstances.extender),
        shipments=shipment_record(records.views["shipments"], carrier),
        on_hand=(
            None
            if wishes.on_hand_at is None
            else partial(_sample_on_hand, records, pair.stud, wishes.on_hand_at)
        ),
        seed=seed,
        n_draws=n_draws,
    )


def _storage(
    records: PlanRecords,
    stud: str,
    extender: str | None,
    rng: np.random.Generator,
    n_draws: int,
) -> StorageDraws:
    """Draw the storage curve of the next collection: the kennel's own fit, else published."""
    return records.storage.curve(stud=stud, extender=extender, rng=rng, n_draws=n_draws)


def _next_sample(
    records: PlanRecords,
    stud: str,
    on: date,
    rng: np.random.Generator,
    n_draws: int,
) -> SampleDraws:
    """Draw the next sample: total sperm by the stud's fitted level, else by his last samples."""
    readings = raw_samples(records, stud)
    drawn = next_sample(readings, rng.normal(size=(2, n_draws)))
    fitted = records.total_sperm
    if fitted is None or stud not in fitted.data.studs:
        return drawn
    total = next_total(fitted, stud, on=on, rng=rng, n_draws=n_draws)
    last = readings["collected_earliest"].iloc[-1].date() if len(readings) else None
    n_counted = len(fitted.data.rows_of(stud))
    return SampleDraws(
        total.total_m,
        drawn.progressive_share,
        sentence("source.sample_fitted", n=n_counted),
        Rest(last, total.recovery_days, total.deficit),
    )


def _sample_on_hand(
    records: PlanRecords, stud: str, on_hand_at: datetime, rng: np.random.Generator, n_draws: int
) -> SampleDraws:
    """Draw the sample on hand as it was read; a next one stands in where it is not recorded."""
    readings = raw_samples(records, stud)
    that_day = readings[readings["collected_earliest"].dt.date == on_hand_at.date()]
    if that_day.empty:
        drawn = _next_sample(records, stud, on_hand_at.date(), rng, n_draws)
        return replace(drawn, source=sentence("source.sample_on_hand_missing"))
    row = that_day.iloc[-1]
    total, _ = usual_of(readings.drop(that_day.index))
    drawn_sample = draw_sample(
        _reading(row), count_cv=HOME_COUNT_CV, usual=total, rng=rng, n_draws=n_draws
    )
    share = drawn_sample.progressive_m / drawn_sample.total_m
    return SampleDraws(drawn_sample.total_m, share, sentence("source.sample_on_hand"))


def _reading(row: Mapping[str, object]) -> SampleEvaluation:
    """One raw evaluation as a reading of a sample."""

    def number(name: str) -> float | None:
        value = row[name]
        return None if pd.isna(value) else float(value)  # type: ignore[call-overload,arg-type]

    volume, motility = number("volume_ml"), number("progressive_motility_pct")
    if volume is None or motility is None:
        raise ToolkitError(
            "The sample on hand needs a volume and a progressive motility in the records. Fill "
            "them in and load, or leave --on-hand out."
        )
    concentration, cells = number("concentration_m_per_ml"), number("n_cells_counted")
    judged = number("n_motility_evaluated")
    # A count of N cells at C million per mL looked at N/C nanoliters.
    counted = cells is not None and concentration is not None and concentration > 0.0
    return SampleEvaluation(
        volume_ml=volume,
        progressive_motility_pct=motility,
        n_motility_evaluated=None if judged is None else int(judged),
        n_cells=int(cells) if counted and cells is not None else None,
        looked_at_nl=cells / concentration if counted and cells and concentration else None,
        concentration_m_per_ml=None if counted else concentration,
    )
