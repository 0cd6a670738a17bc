"""What do the records say of each breeding: method, dose, day, animals, outcome?

Views become arrays here, once for every model of breedings. What is missing enters at its harmless
value or, for dose and day, at what is usual for that stud and method.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.moments import middle_of
from studcurve.analytics.models.breedings.inputs import (
    days_given_population,
    doses_given_record,
    insemination_days,
)
from studcurve.analytics.models.breedings.terms import design_matrix
from studcurve.analytics.models.fingerprint import fingerprint_of

GROUPED_BY = ("stud", "bitch", "breed", "kennel", "clinic", "year")
"""Grouping factors of breedings; the last three only where there is more than one."""

ALWAYS_GROUPED = ("stud", "bitch", "breed")


@dataclass(frozen=True, slots=True)
class ConceptionData:
    """What the model reads, one row a breeding.

    Attributes
    ----------
    semen_type, route
        Text arrays, shape (n,).
    design
        Columns of :data:`LINEAR`, shape (n, 12).
    dose_mean, dose_sd
        Log2 of motile dose over the usual one given its record, shape (n,). [doublings]
    day_mean, day_sd, inseminated
        Day from ovulation given progesterone, and whether that insemination was made, shape (n, 2).
    scanned_pregnant, whelped
        1, 0 or −1 for not known, shape (n,).
    groups
        Level index by grouping factor, shape (n,).
    levels
        Names of the levels by grouping factor.
    """

    semen_type: np.ndarray[Any, Any]
    route: np.ndarray[Any, Any]
    design: Floats
    dose_mean: Floats
    dose_sd: Floats
    day_mean: Floats
    day_sd: Floats
    inseminated: np.ndarray[Any, Any]
    scanned_pregnant: np.ndarray[Any, Any]
    whelped: np.ndarray[Any, Any]
    groups: Mapping[str, np.ndarray[Any, Any]]
    levels: Mapping[str, tuple[str, ...]]

    @property
    def n_breedings(self) -> int:
        """Breedings, with or without a known outcome."""
        return len(self.whelped)

    @property
    def n_known(self) -> int:
        """Breedings whose scan or whelping was reported."""
        return int(((self.whelped >= 0) | (self.scanned_pregnant >= 0)).sum())

    def fingerprint(self) -> str:
        """Fingerprint of everything that enters the likelihood, names of levels included."""
        arrays = (
            self.design, self.dose_mean, self.dose_sd, self.day_mean, self.day_sd,
            self.inseminated, self.scanned_pregnant, self.whelped, *self.groups.values(),
        )  # fmt: skip
        names = [name for factor in self.levels for name in (factor, *self.levels[factor])]
        return fingerprint_of(arrays, [*self.semen_type, *self.route, *names])


def prepare_conception(
    breedings: pd.DataFrame, inseminations: pd.DataFrame, ovulation: pd.DataFrame
) -> ConceptionData:
    """Turn views into what the model reads.

    Parameters
    ----------
    breedings, inseminations
        The views of these names; no row is a kennel without breedings.
    ovulation
        cycle_id, ovulation_at, ovulation_sd_days of every heat.

    Returns
    -------
    ConceptionData
    """
    rows = breedings.sort_values(["bred_earliest", "bitch", "stud"]).reset_index(drop=True)
    semen = rows["semen_type"].to_numpy(dtype=str)
    route = rows["route"].to_numpy(dtype=str)
    days, day_sd, made = insemination_days(rows, inseminations, ovulation)
    day_mean, day_sd = days_given_population(days, day_sd, semen, made)
    first = inseminations[inseminations["n_in_breeding"] == 1].set_index("breeding_id")
    first = first.reindex(rows["breeding_id"])
    dose_mean, dose_sd = doses_given_record(
        first["motile_dose_m"].to_numpy(dtype=np.float64),
        semen,
        route,
        rows["stud"].to_numpy(dtype=str),
    )
    kept = middle_of(first, "inseminated") - middle_of(first, "collected")
    stored = np.asarray(kept.dt.total_seconds(), dtype=np.float64) / 86400.0
    design = design_matrix(
        semen,
        route,
        n_inseminations=rows["n_inseminations"].to_numpy(dtype=np.float64),
        storage_days=stored,
        normal_morphology_pct=numbers(rows, "normal_morphology_pct"),
        bitch_age_years=numbers(rows, "bitch_age_years"),
        stud_age_years=numbers(rows, "stud_age_years"),
        missed_before=numbers(rows, "missed_before"),
    )
    groups, levels = grouped(rows, GROUPED_BY)
    return ConceptionData(
        semen, route, design, dose_mean, dose_sd, day_mean, day_sd, made,
        known_outcome(rows["pregnant"]), known_outcome(rows["whelped"]), groups, levels,
    )  # fmt: skip


def grouped(
    rows: pd.DataFrame, factors: Sequence[str]
) -> tuple[dict[str, np.ndarray[Any, Any]], dict[str, tuple[str, ...]]]:
    """Level indices of grouping factors; kennel, clinic and year only where there are several.

    Parameters
    ----------
    rows
        Breedings; ``kennel`` is a column only where several kennels are pooled.
    factors
        Some of :data:`GROUPED_BY`.
    """
    named = {
        "stud": rows["stud"].astype(str),
        "bitch": rows["bitch"].astype(str),
        "breed": rows["breed"].fillna("unknown").astype(str),
        "clinic": rows["clinic"].fillna("at home").astype(str),
        "year": pd.to_datetime(rows["bred_earliest"]).dt.year.astype(str),
    }
    if "kennel" in rows:
        named["kennel"] = rows["kennel"].astype(str)
    groups: dict[str, np.ndarray[Any, Any]] = {}
    levels: dict[str, tuple[str, ...]] = {}
    for factor in factors:
        if factor not in named:
            continue
        found, index = np.unique(named[factor].to_numpy(dtype=str), return_inverse=True)
        if factor in ALWAYS_GROUPED or len(found) > 1:
            groups[factor], levels[factor] = index.astype(np.int64), tuple(found.tolist())
    return groups, levels


def numbers(rows: pd.DataFrame, column: str) -> Floats:
    """A numeric column, NaN where nothing is recorded."""
    return pd.to_numeric(rows[column]).to_numpy(dtype=np.float64, na_value=np.nan)


def known_outcome(outcome: pd.Series) -> np.ndarray[Any, Any]:
    """1, 0 or −1 for not known."""
    # By way of nullable types: a column in which nothing is known holds no true and no false.
    codes = outcome.astype("boolean").astype("Int64").fillna(-1)
    return codes.to_numpy(dtype=np.int64)
