"""How long do the stored samples of one stud meet a usual dose, in each extender?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, estimate_from_draws
from studcurve.analytics.measures.doses import CERTAINTY, SHIPMENT_HOURS
from studcurve.analytics.measures.motility_kept import StorageDraws, enough_prob, last_hour
from studcurve.analytics.measures.stages import STAGES, Stage, stage_pairs
from studcurve.analytics.models.storage.curve import ExtenderOrder
from studcurve.analytics.models.storage.inputs import product_name

CURVE_HOURS = tuple(float(hour) for hour in range(0, 97, 6))
"""Hours at which a curve is drawn; those beyond the studied ones are left out. [h]"""

N_LAST_SHIPMENTS = 5
"""Shipments whose motile doses stand for the usual one."""

STORED: tuple[Stage, ...] = ("retained", "on arrival")
"""Stages after storage whose readings are dots beside a curve."""


@dataclass(frozen=True, slots=True)
class Dose:
    """Until when a usual dose meets its target.

    Attributes
    ----------
    until_h, lower_h, upper_h
        Hour by which it does with the asked certainty, and the ends of that hour's interval; None
        where not even hour 0 is that sure. [h]
    certainty
        Asked certainty, 0 to 1.
    planned_prob
        Chance at the planned hour; None beyond the studied hours.
    """

    until_h: float | None
    lower_h: float | None
    upper_h: float | None
    certainty: float
    planned_prob: float | None


@dataclass(frozen=True, slots=True)
class ExtenderCurve:
    """The storage curve of one stud in one extender.

    Attributes
    ----------
    extender
        As the owner writes it.
    hours, kept
        Hours, and the share of motility kept at each. [h, %]
    readings
        Own stored readings: stage, hours and share kept. [h, %]
    observed_until_h
        Longest storage read here, 0 for none; None where the curve is the published one. [h]
    studied_until_h
        No number is given beyond it. [h]
    dose
        Until when a usual dose meets the target; None where no dose was noted.
    """

    extender: str
    hours: tuple[float, ...]
    kept: tuple[Estimate, ...]
    readings: tuple[tuple[str, float, float], ...]
    observed_until_h: float | None
    studied_until_h: float
    dose: Dose | None

    def is_beyond(self, hour: float) -> bool:
        """Whether an hour lies beyond what was read here; never on the published curve."""
        return self.observed_until_h is not None and hour > self.observed_until_h


@dataclass(frozen=True, slots=True)
class StudStorage:
    """Everything that is said of how long a stud's samples last.

    Attributes
    ----------
    stud
        Call name.
    curves
        One an extender.
    planned_h, target_m, dose_m, n_shipments
        Hour and target asked for, usual dose and the shipments behind it. [h, 10⁶ progressively
        motile]
    order
        Extenders put in order by the kept fit; None without one, or with one extender.
    is_own
        Whether there is a kept fit.
    """

    stud: str
    curves: tuple[ExtenderCurve, ...]
    planned_h: float
    target_m: float
    dose_m: float | None
    n_shipments: int
    order: ExtenderOrder | None
    is_own: bool


@dataclass(frozen=True, slots=True)
class StoredSamples:
    """What is recorded of a stud's stored samples.

    Attributes
    ----------
    extenders
        Name by product, as the owner writes it last.
    readings
        Share of the raw motility left in each stored reading: extender, stage, hours, kept (%).
    dose_m, n_shipments
        Usual motile dose, and the shipments behind it. [10⁶ progressively motile]
    """

    extenders: Mapping[str, str]
    readings: pd.DataFrame
    dose_m: float | None
    n_shipments: int


def stored_samples(shipments: pd.DataFrame, evaluations: pd.DataFrame) -> StoredSamples:
    """Read what is recorded of the stored samples of one stud.

    Parameters
    ----------
    shipments, evaluations
        His rows of the views ``shipments`` and ``evaluations``.
    """
    shipments = shipments.sort_values("sent_earliest")
    readings = _readings(evaluations)
    named = pd.concat([readings["extender"], shipments["extender"]]).dropna().astype(str)
    doses = shipments["motile_dose_m"].astype(float)
    doses = doses[doses > 0].tail(N_LAST_SHIPMENTS)
    return StoredSamples(
        {product_name(name): name for name in named},
        readings,
        float(doses.median()) if len(doses) else None,
        len(doses),
    )


def extender_curve(
    product: str, curve: StorageDraws, samples: StoredSamples, target_m: float
) -> ExtenderCurve:
    """Read a storage curve hour by hour, beside the own stored readings in that extender.

    Parameters
    ----------
    product
        Key of the extenders.
    curve
        Draws of its curve.
    samples
        What is recorded.
    target_m
        What a dose should hold. [10⁶ progressively motile]
    """
    own = samples.readings[samples.readings["extender"].map(product_name) == product]
    dose_m = samples.dose_m
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
        samples.extenders[product],
        hours,
        kept,
        tuple(zip(own["stage"], own["hours"], own["kept"], strict=True)),
        curve.observed_until_h,
        curve.studied_until_h,
        dose,
    )


def _readings(rows: pd.DataFrame) -> pd.DataFrame:
    """Share of the raw motility left in each stored reading: extender, stage, hours, kept (%)."""
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
