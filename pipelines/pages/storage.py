"""How long one stud's stored samples last, as pages show it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from studcurve.analytics.measures.doses import SHIPMENT_HOURS
from studcurve.analytics.models.storage.curve import ExtenderOrder
from studcurve.analytics.models.storage.usable import (
    StudStorage,
    extender_curve,
    stored_samples,
)
from studcurve.pipelines.fits.storage import KeptStorage

SEED = 1
"""Of the draws of a curve: the same fit, the same picture."""


def storage_of(
    stud: str,
    shipments: pd.DataFrame,
    evaluations: pd.DataFrame,
    storage: KeptStorage,
    target_m: float,
) -> StudStorage | None:
    """Storage curves of a stud in the extenders of his shipments and tubes; None where he has none.

    Parameters
    ----------
    stud
        Call name.
    shipments, evaluations
        His rows of the views ``shipments`` and ``evaluations``.
    storage
        The kept fit of storage.
    target_m
        What a dose should hold. [10⁶ progressively motile]
    """
    samples = stored_samples(shipments, evaluations)
    if not samples.extenders:
        return None
    rng = np.random.default_rng(SEED)
    curves = tuple(
        extender_curve(
            product, storage.curve(stud=stud, extender=name, rng=rng), samples, target_m
        )
        for product, name in sorted(samples.extenders.items())
    )  # fmt: skip
    order: ExtenderOrder | None = None
    if storage.own is not None and len(curves) > 1:
        order = storage.own.compare(sorted(samples.extenders.values()), SHIPMENT_HOURS, rng=rng)
    return StudStorage(
        stud, curves, SHIPMENT_HOURS, target_m, samples.dose_m, samples.n_shipments, order,
        storage.own is not None,
    )  # fmt: skip
