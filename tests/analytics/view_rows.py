"""Rows of views by hand: columns that a test does not name hold nothing."""

import numpy as np
import pandas as pd

from studcurve.analytics.models.breedings.exposures import unrecorded
from studcurve.analytics.models.breedings.records import BredHow
from studcurve.analytics.models.breedings.semen import SemenInseminated

_INSEMINATIONS = {
    "insemination_id": "int64", "breeding_id": "int64", "cycle_id": "Int64",
    "n_in_breeding": "int64", "semen_type": "object", "route": "object",
    "inseminated_earliest": "datetime64[us]", "inseminated_latest": "datetime64[us]",
    "motile_dose_m": "float64",
    "collected_earliest": "datetime64[us]", "collected_latest": "datetime64[us]",
    "motility_read": "object", "progressive_motility_pct": "float64",
    "n_motility_evaluated": "Int64", "motility_read_hours": "float64", "dose_volume_ml": "float64",
    "extender": "object", "is_dose_packed": "boolean", "n_days_late": "float64",
}  # fmt: skip


def inseminations(*rows):
    """The view of that name; each row a mapping of the columns that are known of it."""
    frame = pd.DataFrame(list(rows), columns=list(_INSEMINATIONS))
    for column in ("insemination_id", "cycle_id"):
        if frame[column].isna().all():
            frame[column] = frame["breeding_id"] if column == "cycle_id" else range(len(frame))
    return frame.astype(_INSEMINATIONS)


def ovulations(*rows):
    """When heats ovulated: ``(cycle_id, ovulation_at, ovulation_sd_days)`` each."""
    frame = pd.DataFrame(list(rows), columns=["cycle_id", "ovulation_at", "ovulation_sd_days"])
    return frame.astype(
        {"cycle_id": "int64", "ovulation_at": "datetime64[us]", "ovulation_sd_days": "float64"}
    )


def natural_matings(n):
    """Matings of which neither semen nor day was recorded."""
    zeros, nowhere = np.zeros(n), np.full(n, np.nan)
    return BredHow(
        semen_type=np.full(n, "natural"),
        route=np.full(n, "natural"),
        inseminated_semen=SemenInseminated(*(zeros for _ in range(5))),
        day_mean=np.ones((n, 2)),
        day_sd=np.ones((n, 2)),
        inseminated=np.tile([True, False], (n, 1)),
        hours=nowhere,
        hours_known=nowhere,
        motile_m_per_ml=nowhere,
        medium=np.full(n, "unknown", dtype=object),
        exposures=unrecorded(n),
    )
