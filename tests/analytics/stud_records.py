"""Simulated collections of studs, made with numpy alone, in the columns of the views."""

import numpy as np
import pandas as pd

READING = {
    "shipment_id": pd.NA, "stage": "raw", "failed_reason": None, "appearance": None,
    "count_method": "chamber", "motility_method": None, "volume_ml": 2.0,
    "concentration_m_per_ml_low": np.nan, "concentration_m_per_ml_high": np.nan,
    "total_motility_pct": np.nan, "progressive_motility_pct": np.nan,
    "progressive_motility_pct_low": np.nan, "progressive_motility_pct_high": np.nan,
    "n_motility_evaluated": np.nan, "normal_morphology_pct": np.nan,
    "n_morphology_evaluated": np.nan,
    "stud_age_years": 4.0, "sexual_rest_days": 30.0,
}  # fmt: skip


def no_events():
    return pd.DataFrame({"event_id": [], "dog": [], "kind": [], "started_on": [], "drug_class": []})


def events(*rows):
    return pd.DataFrame(
        [(i, dog, kind, pd.Timestamp(on), None) for i, (dog, kind, on) in enumerate(rows)],
        columns=["event_id", "dog", "kind", "started_on", "drug_class"],
    )


def collections(stud, days, *, evaluator="Ash", start="2022-01-03 10:00", **columns):
    """Collections of one stud on days from the start; columns override the usual reading."""
    on = pd.Timestamp(start) + pd.to_timedelta(np.asarray(days, dtype=float), unit="D")
    rows = pd.DataFrame({"collected_earliest": on, "collected_latest": on})
    rows["stud"], rows["evaluator"] = stud, evaluator
    for name, value in {**READING, "concentration_m_per_ml": 250.0, "n_cells_counted": 200.0,
                        **columns}.items():  # fmt: skip
        rows[name] = value
    return rows


def counted(rng, stud, days, log_total, **columns):
    """Collections whose totals were counted in a chamber, one cell a million in a milliliter."""
    total = np.exp(log_total)
    concentration = total / 2.0
    cells = rng.poisson(concentration)
    return collections(
        stud, days, concentration_m_per_ml=cells.astype(float), n_cells_counted=cells.astype(float),
        **columns,
    )  # fmt: skip


def kennel(*parts):
    rows = pd.concat(parts, ignore_index=True)
    rows["collection_id"] = np.arange(len(rows))
    rows["evaluation_id"] = np.arange(len(rows))
    return rows
