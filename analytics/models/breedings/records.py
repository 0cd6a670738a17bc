"""What do the records say of each breeding: method, dose, motility, day, animals, outcome?

Views become arrays here, once for every model of breedings. What is missing enters at its harmless
value or, for dose, motility and day, at what is usual for that stud and method.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, fields
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.breedings.exposures import Exposures, exposures_of
from studcurve.analytics.models.breedings.inputs import (
    days_given_population,
    insemination_days,
    numbers,
)
from studcurve.analytics.models.breedings.semen import (
    SemenInseminated,
    dose_when_inseminated,
    hours_since_collection,
    media_of,
    semen_given_records,
)
from studcurve.analytics.models.breedings.terms import SURE_OF_HOURS, design_matrix
from studcurve.analytics.models.fingerprint import fingerprint_of

GROUPED_BY = ("stud", "bitch", "breed", "kennel", "clinic", "year")
"""Grouping factors of breedings; the last three only where there is more than one."""

ALWAYS_GROUPED = ("stud", "bitch", "breed")

REPORTED_WITHIN_DAYS = 90
"""Days after a breeding by which its result would stand in the records: whelping by day 72, and a
few weeks to write it down. [d] (J)"""


@dataclass(frozen=True, slots=True)
class BredHow:
    """Semen, hours and day of each breeding.

    Attributes
    ----------
    semen_type, route
        Text arrays, shape (n,).
    inseminated_semen
        Motile dose and motility of each first insemination given their records.
    day_mean, day_sd, inseminated
        Day from ovulation given progesterone, and whether that insemination was made, shape (n, 2).
    hours, hours_known
        From collection to insemination, and where they are known to :data:`SURE_OF_HOURS`; NaN
        else, shape (n,). [h]
    motile_m_per_ml
        Progressively motile sperm in a mL of what was inseminated, shape (n,). [10⁶/mL]
    medium
        What stored semen is kept in, shape (n,).
    exposures
        What was recorded, as it is laid beside outcomes.
    """

    semen_type: np.ndarray[Any, Any]
    route: np.ndarray[Any, Any]
    inseminated_semen: SemenInseminated
    day_mean: Floats
    day_sd: Floats
    inseminated: np.ndarray[Any, Any]
    hours: Floats
    hours_known: Floats
    motile_m_per_ml: Floats
    medium: np.ndarray[Any, Any]
    exposures: Exposures


def chosen_breedings(bred: BredHow, chosen: np.ndarray[Any, Any]) -> BredHow:
    """How some of the breedings were made.

    Parameters
    ----------
    bred
        All of them.
    chosen
        Mask or index.
    """
    pair = SemenInseminated(*(part[chosen] for part in astuple(bred.inseminated_semen)))
    exposures = Exposures(*(values[chosen] for values in bred.exposures))
    parts = {
        field.name: getattr(bred, field.name)[chosen]
        for field in fields(BredHow)
        if field.name not in {"inseminated_semen", "exposures"}
    }
    return BredHow(inseminated_semen=pair, exposures=exposures, **parts)


def bred_how(rows: pd.DataFrame, inseminations: pd.DataFrame, ovulation: pd.DataFrame) -> BredHow:
    """Read semen, hours and day of breedings.

    Parameters
    ----------
    rows
        Rows of the view ``breedings``, in the order wanted.
    inseminations
        The view ``inseminated_semen``.
    ovulation
        cycle_id, ovulation_at, ovulation_sd_days of every heat.
    """
    semen = rows["semen_type"].to_numpy(dtype=str)
    route = rows["route"].to_numpy(dtype=str)
    days, sd, made = insemination_days(rows, inseminations, ovulation)
    day_mean, day_sd = days_given_population(days, sd, semen, made)
    first = first_inseminations(rows, inseminations)
    hours, doubt_h = hours_since_collection(first), hours_doubt(first)
    return BredHow(
        semen_type=semen,
        route=route,
        inseminated_semen=semen_given_records(
            first, semen, route, rows["stud"].to_numpy(dtype=str)
        ),
        day_mean=day_mean,
        day_sd=day_sd,
        inseminated=made,
        hours=hours,
        hours_known=np.where(doubt_h <= SURE_OF_HOURS, hours, np.nan),
        motile_m_per_ml=dose_when_inseminated(first)[0] / numbers(first, "dose_volume_ml"),
        medium=media_of(first),
        exposures=exposures_of(first, semen, route, days, sd, doubt_h),
    )


@dataclass(frozen=True, slots=True)
class ConceptionData(BredHow):
    """What the model reads, one row a breeding.

    Attributes
    ----------
    design
        Columns of :data:`LINEAR`, shape (n, 15).
    scanned_pregnant, whelped
        1, 0 or −1 for not known, shape (n,).
    is_owed
        Whether a result was to be reported by now, shape (n,).
    groups
        Level index by grouping factor, shape (n,).
    levels
        Names of the levels by grouping factor.
    """

    design: Floats
    scanned_pregnant: np.ndarray[Any, Any]
    whelped: np.ndarray[Any, Any]
    is_owed: np.ndarray[Any, Any]
    groups: Mapping[str, np.ndarray[Any, Any]]
    levels: Mapping[str, tuple[str, ...]]

    @property
    def n_breedings(self) -> int:
        """Breedings, with or without a known outcome."""
        return len(self.whelped)

    @property
    def is_unreported(self) -> np.ndarray[Any, Any]:
        """Whether a result that was to be reported never was, shape (n,)."""
        return np.asarray(self.is_owed & (self.whelped < 0))

    @property
    def n_known(self) -> int:
        """Breedings whose scan or whelping was reported."""
        return int(((self.whelped >= 0) | (self.scanned_pregnant >= 0)).sum())

    def fingerprint(self) -> str:
        """Fingerprint of everything that enters the likelihood, names of levels included."""
        # What else is recorded of the breedings is only laid beside outcomes.
        arrays = (
            self.design, *astuple(self.inseminated_semen), self.day_mean, self.day_sd,
            self.inseminated, self.scanned_pregnant, self.whelped, self.is_owed,
            *self.groups.values(),
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
    rows = in_model_order(breedings)
    bred = bred_how(rows, inseminations, ovulation)
    groups, levels = grouped(rows, GROUPED_BY)
    scanned_pregnant, whelped = known_outcome(rows["pregnant"]), known_outcome(rows["whelped"])
    # After a negative scan nobody waits for a result, and whether one is written all the same tells
    # nothing of those who were not scanned.
    is_owed = (scanned_pregnant != 0) & could_be_reported(rows["bred_earliest"])
    return ConceptionData(
        **{field.name: getattr(bred, field.name) for field in fields(bred)},
        design=design_matrix(
            bred.semen_type,
            bred.route,
            n_inseminations=rows["n_inseminations"].to_numpy(dtype=np.float64),
            storage_days=bred.hours / 24.0,
            normal_morphology_pct=numbers(rows, "normal_morphology_pct"),
            bitch_age_years=numbers(rows, "bitch_age_years"),
            stud_age_years=numbers(rows, "stud_age_years"),
            missed_before=numbers(rows, "missed_before"),
            motile_m_per_ml=bred.motile_m_per_ml,
            hours_known=bred.hours_known,
        ),
        scanned_pregnant=scanned_pregnant,
        whelped=whelped,
        is_owed=is_owed,
        groups=groups,
        levels=levels,
    )


def could_be_reported(bred_earliest: pd.Series) -> np.ndarray[Any, Any]:
    """Whether the records go on long enough after each breeding to hold its result.

    They go on to the last breeding: of what was bred shortly before, nobody has forgotten anything.

    Parameters
    ----------
    bred_earliest
        Instants.
    """
    bred = pd.to_datetime(bred_earliest)
    return np.asarray((bred.max() - bred).dt.days >= REPORTED_WITHIN_DAYS, dtype=bool)


def in_model_order(breedings: pd.DataFrame) -> pd.DataFrame:
    """Rows of the view ``breedings`` in the order of the models' arrays."""
    rows: pd.DataFrame = breedings.sort_values(["bred_earliest", "bitch", "stud"])
    return rows.reset_index(drop=True)


def first_inseminations(rows: pd.DataFrame, inseminations: pd.DataFrame) -> pd.DataFrame:
    """First insemination of each breeding, in the order of the breedings."""
    first = inseminations[inseminations["n_in_breeding"] == 1].set_index("breeding_id")
    return first.reindex(rows["breeding_id"])


def hours_doubt(first: pd.DataFrame) -> Floats:
    """Doubt of the hours since the collection, half of the interval of either moment, added. [h]

    Parameters
    ----------
    first
        Inseminations as in the view.
    """
    wide_s = np.zeros(len(first))
    for moment in ("inseminated", "collected"):
        earliest = pd.to_datetime(first[f"{moment}_earliest"])
        apart = pd.to_datetime(first[f"{moment}_latest"]) - earliest
        wide_s = wide_s + np.asarray(apart.dt.total_seconds(), dtype=np.float64)
    return np.asarray(wide_s / 7200.0)


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


def known_outcome(outcome: pd.Series) -> np.ndarray[Any, Any]:
    """1, 0 or −1 for not known."""
    # By way of nullable types: a column in which nothing is known holds no true and no false.
    codes = outcome.astype("boolean").astype("Int64").fillna(-1)
    return codes.to_numpy(dtype=np.int64)
