"""From a plan to the page that compares the ways of one breeding."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, time

import numpy as np
import pandas as pd

from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.ovulation.insemination_days import HEAT_DAYS
from studcurve.analytics.plan.breeding_plan import BreedingPlan
from studcurve.analytics.sentences import Sentence, Value
from studcurve.analytics.wording.sources import sources_of
from studcurve.pipelines.pages.anonymous import codes_of
from studcurve.pipelines.pages.kennel import Kennel
from studcurve.pipelines.pages.provenance import of_parts
from studcurve.pipelines.plan.records import PlanRecords
from studcurve.pipelines.records.dog_history import cautions_of
from studcurve.reports.page import Reader
from studcurve.reports.pages.comparison import ComparisonResults

ROWS = (*conception.COEFFICIENTS, "c19", "c20_bitch", "c20_stud", "c22", *litter.COEFFICIENTS)
"""Rows of the priors table that the numbers of a plan rest on."""

ASKED_AT = time(8)
"""Clock of the question on pages that nobody asked for."""


def comparison_results(
    plan: BreedingPlan, records: PlanRecords, reader: Reader, *, anonymous: bool
) -> ComparisonResults:
    """Everything the page of one comparison shows.

    Parameters
    ----------
    plan
        With its grids.
    records
        It was made from.
    reader
        For whom; only the owner sees what it costs.
    anonymous
        Whether names of dogs, people and places are left out.
    """
    return ComparisonResults(
        plan=_without_names(plan, codes_of(records.views, reader.words)) if anonymous else plan,
        asked_at=records.asked_at,
        sources=sources_of(ROWS),
        provenance=of_parts(records.conception.kept, records.asked_at.date(), records.fingerprint),
    )


def records_of_pages(kennel: Kennel) -> PlanRecords:
    """What the pages were made from as a plan reads it, in the morning of their day."""
    return PlanRecords(
        kennel.views,
        kennel.conception,
        kennel.litter,
        kennel.levels.total_sperm,
        kennel.storage,
        kennel.fingerprint,
        datetime.combine(kennel.today, ASKED_AT),
    )


def coming_breedings(kennel: Kennel, n: int) -> list[tuple[str, str]]:
    """The kennel's most used stud with the bitches whose heat began last, at most n pairs.

    Bitches of whom a caution warns come in only where the others are too few.
    """
    bred = kennel.views["breedings"]
    studs = [name for name in bred["stud"].value_counts().index if name not in kennel.stopped]
    heats = kennel.views["open_heats"].sort_values(["first_day", "bitch"])
    begun = (pd.Timestamp(kennel.today) - pd.to_datetime(heats["first_day"])).dt.days
    in_heat = heats[begun.between(0, HEAT_DAYS) & ~heats["bitch"].isin(sorted(kennel.stopped))]
    calm = [not _is_warned_of(kennel, bitch) for bitch in in_heat["bitch"]]
    fit_last = in_heat["bitch"].iloc[np.argsort(calm, kind="stable")]
    return [(studs[0], bitch) for bitch in fit_last.tail(n)] if studs else []


def _is_warned_of(kennel: Kennel, bitch: str) -> bool:
    """Whether more is said of her than belongs to any honest answer."""
    return any(
        caution.severity != "say" for caution in cautions_of(kennel.views, bitch, kennel.today)
    )


def _without_names(plan: BreedingPlan, codes: Mapping[str, str]) -> BreedingPlan:
    """The same plan with codes for names; its numbers are those of the named one."""
    pair = replace(
        plan.pair,
        stud=codes.get(plan.pair.stud, ""),
        bitch=codes.get(plan.pair.bitch, ""),
        breed="",
        clinic="",
    )
    return replace(
        plan,
        pair=pair,
        heat=replace(plan.heat, words=_coded(plan.heat.words, codes)),
        cautions=tuple(
            replace(caution, sentence=_coded(caution.sentence, codes)) for caution in plan.cautions
        ),
        sources=tuple(_coded(source, codes) for source in plan.sources),
        infeasible=tuple(
            replace(left_out, reason=_coded(left_out.reason, codes)) for left_out in plan.infeasible
        ),
    )


def _coded(named: Sentence, codes: Mapping[str, str]) -> Sentence:
    """A sentence with codes in the place of the names among its values."""

    def value(carried: Value) -> Value:
        if isinstance(carried, Sentence):
            return _coded(carried, codes)
        if isinstance(carried, tuple):
            return tuple(
                codes.get(part, part) if isinstance(part, str) else part for part in carried
            )
        return codes.get(carried, carried) if isinstance(carried, str) else carried

    return Sentence(named.key, {name: value(carried) for name, carried in named.values.items()})
