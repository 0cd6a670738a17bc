"""When was she inseminated, and how sure is it? What is usual, where nothing was recorded?

A day from ovulation is only as sure as the progesterone behind it. Each breeding's record is
combined with what is usual for that method, so that a breeding without a record has the population
alone. Outcomes are never read here: they may not inform what went in. Dose and motility, which are
latent in the same way, are in :mod:`studcurve.analytics.models.breedings.semen`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Floats, normal_nodes
from studcurve.analytics.measures.moments import middle_of
from studcurve.analytics.priors import PRIORS

USUAL_DOSE_M = {
    "vaginal": PRIORS["c10_vaginal"].centre,
    "transcervical": PRIORS["c10_intrauterine"].centre,
    "surgical": PRIORS["c10_intrauterine"].centre,
}
"""Usual motile dose by route (prior c10). [10⁶]"""

DOSE_LOG2_SD = 0.35
"""Error of a recorded motile dose: a home count and motility by eye (r01, r02). [doublings]"""

DOSE_POPULATION = (0.0, 0.8)
"""Mean and sd of the log2 dose against the usual one, before any record (J). [doublings]"""

DAY_POPULATION = {"natural": (1.0, 1.5), "fresh": (1.5, 1.5), "chilled": (2.0, 1.5),
                  "frozen": (3.0, 1.0)}  # fmt: skip
"""Mean and sd of the day of insemination from ovulation, before any record (J). [d]"""

POPULATION_WORTH = 5.0
"""Records that the population's starting values are worth (J)."""

DOSE_NODES, DOSE_WEIGHTS = normal_nodes(2)
"""Where a dose is read, in sd from its mean; it enters almost straight."""

DAY_NODES, DAY_WEIGHTS = normal_nodes(7)
"""Where a day is read, in sd from its mean. Both inseminations of a breeding are counted from one
ovulation, so they share the node. Against 15 × 61 nodes the chance of a pregnancy is off by 0.0004
(root mean square over the demo's breedings and the priors)."""


def insemination_days(
    rows: pd.DataFrame, inseminations: pd.DataFrame, ovulation: pd.DataFrame
) -> tuple[Floats, Floats, np.ndarray[Any, Any]]:
    """Day of the first two inseminations from ovulation, its sd, and whether they were made."""
    merged = inseminations.merge(ovulation, on="cycle_id", how="left")
    middle = middle_of(merged, "inseminated")
    merged["day"] = (middle - pd.to_datetime(merged["ovulation_at"])).dt.total_seconds() / 86400.0
    latest = pd.to_datetime(merged["inseminated_latest"])
    half_days = (latest - middle).dt.total_seconds() / 86400.0
    # Without a heat on record the column holds nothing at all, and no numbers either.
    ovulation_sd = merged["ovulation_sd_days"].astype(np.float64)
    merged["day_sd"] = np.sqrt(ovulation_sd**2 + half_days**2 / 3.0)
    shape = (len(rows), 2)
    days, sd, made = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape, dtype=bool)
    for j in (1, 2):
        nth = merged[merged["n_in_breeding"] == j].set_index("breeding_id")
        nth = nth.reindex(rows["breeding_id"])
        days[:, j - 1] = nth["day"].to_numpy(dtype=np.float64)
        sd[:, j - 1] = nth["day_sd"].to_numpy(dtype=np.float64)
        made[:, j - 1] = nth["insemination_id"].notna().to_numpy()
    return days, sd, made


def days_given_population(
    days: Floats, sd: Floats, semen: np.ndarray[Any, Any], made: np.ndarray[Any, Any]
) -> tuple[Floats, Floats]:
    """Mean and sd of each day given its measurement and the days of that semen type."""
    mean, width = np.zeros_like(days), np.ones_like(days)
    for kind, start in DAY_POPULATION.items():
        for j in (0, 1):
            chosen = (semen == kind) & made[:, j]
            centre, spread = population(days[chosen, j], sd[chosen, j], (start[0] + j, start[1]))
            mean[chosen, j], width[chosen, j] = _combine(
                days[chosen, j], sd[chosen, j], np.full(chosen.sum(), centre), spread
            )
    return mean, width


def numbers(rows: pd.DataFrame, column: str) -> Floats:
    """A numeric column, NaN where nothing is recorded."""
    return pd.to_numeric(rows[column]).to_numpy(dtype=np.float64, na_value=np.nan)


def population(values: Floats, error: Floats, start: tuple[float, float]) -> tuple[float, float]:
    """Mean and sd of a population from records with error, shrunk towards starting values.

    Parameters
    ----------
    values, error
        Records and their errors, NaN where there is none, shape (n,).
    start
        Mean and sd before any record.
    """
    known = np.isfinite(values) & (error < 2.0 * start[1])
    n = int(known.sum())
    if n == 0:
        return start
    centre = (POPULATION_WORTH * start[0] + values[known].sum()) / (POPULATION_WORTH + n)
    excess = (values[known] - centre) ** 2 - error[known] ** 2
    variance = (POPULATION_WORTH * start[1] ** 2 + excess.sum()) / (POPULATION_WORTH + n)
    # The spread never falls below a quarter of where it started: few records prove no sameness.
    return float(centre), float(np.sqrt(max(variance, (start[1] / 4.0) ** 2)))


def _combine(values: Floats, error: Floats, centre: Floats, spread: float) -> tuple[Floats, Floats]:
    """Normal record and normal population together; without a record the population alone."""
    precision = np.where(np.isfinite(values), 1.0 / np.nan_to_num(error, nan=1.0) ** 2, 0.0)
    total = precision + 1.0 / spread**2
    mean = (precision * np.nan_to_num(values) + centre / spread**2) / total
    return mean, 1.0 / np.sqrt(total)
