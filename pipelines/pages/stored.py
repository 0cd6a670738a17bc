"""What happened to stored samples: stages compared, and storage curves, as pages show them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import INTERVAL_PROB, estimate_from_draws
from studcurve.analytics.measures.doses import CERTAINTY
from studcurve.analytics.measures.motility_kept import StorageDraws, enough_prob, last_hour
from studcurve.analytics.measures.stages import (
    STAGES,
    Stage,
    clinic_against_kennel,
    recoveries,
    stage_pairs,
)
from studcurve.analytics.models.storage.curve import ExtenderOrder
from studcurve.analytics.models.storage.inputs import product_name
from studcurve.analytics.wording.program import SHIPMENT_HOURS
from studcurve.pipelines.pages.kennel import Kennel, once
from studcurve.reports.sections.stored import Dose, ExtenderCurve, StagesTold, StorageTold

CURVE_HOURS = tuple(float(hour) for hour in range(0, 97, 6))
"""Hours at which a curve is drawn; those beyond the studied ones are left out. [h]"""

N_LAST_SHIPMENTS = 5
"""Shipments whose motile doses stand for the usual one."""

STORED: tuple[Stage, ...] = ("retained", "on arrival")
"""Stages after storage whose readings are dots beside a curve."""

SEED = 1
"""Of the draws of a curve: the same fit, the same picture."""


@once
def stages_of(kennel: Kennel, stud: str | None = None) -> StagesTold | None:
    """What was left between stages over the collections of one stud, or of all."""
    evaluations = kennel.views["evaluations"]
    return stages_told(evaluations if stud is None else evaluations[evaluations["stud"] == stud])


def stages_told(evaluations: pd.DataFrame) -> StagesTold | None:
    """What was left between stages over some collections; None where no pair has three.

    Parameters
    ----------
    evaluations
        The view of that name, or one stud's rows of it.
    """
    told = tuple(one for one in recoveries(evaluations) if one.kept_pct is not None)
    if not told:
        return None
    kept = {}
    for one in told:
        pairs = stage_pairs(evaluations, one.first, one.later, "progressive_motility_pct")
        pairs = pairs[(pairs["first"] > 0) & (pairs["later"] > 0)]
        kept[one.first, one.later] = tuple((100.0 * pairs["later"] / pairs["first"]).tolist())
    return StagesTold(told, kept, clinic_against_kennel(evaluations))


@once
def storage_told(kennel: Kennel, stud: str) -> StorageTold | None:
    """Storage curves of a stud in the extenders of his shipments and tubes; None where he has
    none.
    """
    shipments = kennel.views["shipments"]
    shipments = shipments[shipments["stud"] == stud].sort_values("sent_earliest")
    readings = _readings(kennel, stud)
    named = pd.concat([readings["extender"], shipments["extender"]]).dropna().astype(str)
    by_product: Mapping[str, str] = {product_name(name): name for name in named}
    if not by_product:
        return None
    doses = shipments["motile_dose_m"].astype(float)
    doses = doses[doses > 0].tail(N_LAST_SHIPMENTS)
    dose_m = float(doses.median()) if len(doses) else None
    rng = np.random.default_rng(SEED)
    curves = []
    for product, name in sorted(by_product.items()):
        curve = kennel.storage.curve(stud=stud, extender=name, rng=rng)
        own = readings[readings["extender"].map(product_name) == product]
        curves.append(_curve(name, curve, own, dose_m, kennel.target_m))
    order: ExtenderOrder | None = None
    if kennel.storage.own is not None and len(by_product) > 1:
        order = kennel.storage.own.compare(sorted(by_product.values()), SHIPMENT_HOURS, rng=rng)
    return StorageTold(
        stud, tuple(curves), SHIPMENT_HOURS, kennel.target_m, dose_m, len(doses), order,
        kennel.storage.own is not None,
    )  # fmt: skip


def _curve(
    name: str, curve: StorageDraws, own: pd.DataFrame, dose_m: float | None, target_m: float
) -> ExtenderCurve:
    hours = tuple(hour for hour in CURVE_HOURS if hour <= curve.studied_until_h)
    kept = tuple(estimate_from_draws(100.0 * curve.share(hour)) for hour in hours)
    dose: Dose | None = None
    if dose_m is not None:
        tail = (1.0 - INTERVAL_PROB) / 2.0
        dose = Dose(
            last_hour(curve, dose_m, target_m, prob=CERTAINTY),
            last_hour(curve, dose_m, target_m, prob=1.0 - tail),
            last_hour(curve, dose_m, target_m, prob=tail),
            CERTAINTY,
            float(enough_prob(curve, dose_m, target_m, SHIPMENT_HOURS))
            if curve.studied_until_h >= SHIPMENT_HOURS
            else None,
        )
    return ExtenderCurve(
        name,
        hours,
        kept,
        tuple(zip(own["stage"], own["hours"], own["kept"], strict=True)),
        curve.observed_until_h,
        curve.studied_until_h,
        dose,
    )


def _readings(kennel: Kennel, stud: str) -> pd.DataFrame:
    """Share of the raw motility left in each stored reading: extender, stage, hours, kept (%)."""
    rows = kennel.views["evaluations"]
    rows = rows[rows["stud"] == stud]
    extenders = rows.dropna(subset=["extender", "collection_id"])
    extender = extenders.drop_duplicates("collection_id").set_index("collection_id")["extender"]
    found = []
    for stage in STORED:
        pairs = stage_pairs(rows, STAGES[0], stage, "progressive_motility_pct")
        pairs = pairs[(pairs["first"] > 0) & (pairs["hours"] > 0)]
        found.append(
            pd.DataFrame(
                {
                    "extender": pairs["collection_id"].map(extender),
                    "stage": stage,
                    "hours": pairs["hours"],
                    "kept": 100.0 * pairs["later"] / pairs["first"],
                }
            )
        )
    return pd.concat(found, ignore_index=True).dropna(subset=["extender"])
