r"""What was read of a stored sample, after how many hours, by whom, and how surely?

Readings are gathered by collection: those of the fresh sample, and every later one of the retained
tube, the test cool and the shipment on arrival. A reading's error is that of its way of reading
(prior r01 by eye, the sperm judged where counted), of its rounding, and of the doubt whether the
sample was warmed (prior r04); an hour is only as sure as the clock times that were noted.
Conceptions are never read here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.moments import middle_of
from studcurve.analytics.measures.motility_kept import Medium, medium_of
from studcurve.analytics.models.fingerprint import fingerprint_of
from studcurve.analytics.priors import PRIORS

FRESH_STAGES = ("raw", "after centrifugation", "extended")
"""Stages read at once; a reading without a clock time of its own counts as at hour 0."""

STORED_STAGES = ("retained", "on arrival")
"""Stages that tell what storage left."""

WARMED_MINUTES = 1.0
"""Minutes at 37 °C from which a stored sample counts as warmed (J). [min]"""

JUDGED_UNLESS_RECORDED = 100.0
"""Sperm behind a counted percentage that names no number (J)."""

FIRST_HOUR = 0.01
"""Hour that stands for 0, where a power has no slope. [h]"""

NO_NAME = "no name noted"
"""Product of an extender that nobody noted."""

MEDIA: tuple[Medium, ...] = ("egg yolk", "milk", "cream", "unknown", "undiluted")
"""What a sample is kept in, in the order of the model's index."""

_HALF_NORMAL_MEAN = float(np.sqrt(2.0 / np.pi))


@dataclass(frozen=True, slots=True)
class StorageData:
    """Readings by collection, shape (n_collections, n_readings); a missing one has weight 0.

    Attributes
    ----------
    share
        What was read, 0 to 1.
    hours, hours_sd
        Since the collection, and how sure. [h]
    variance
        Of the reading apart from counting, squared shares.
    shift
        Expected shortfall of a sample that may have been read cold; not above 0.
    per_judged
        One over the sperm judged; 0 by eye.
    weight
        1 where there is a reading.
    reader
        Index of who read it.
    start_guess
        Share moving forward at hour 0 as far as the fresh readings tell, shape (n_collections,).
    stud, product, medium
        Index by collection, shape (n_collections,).
    levels
        Names of studs, products and readers.
    """

    share: Floats
    hours: Floats
    hours_sd: Floats
    variance: Floats
    shift: Floats
    per_judged: Floats
    weight: Floats
    reader: np.ndarray[Any, Any]
    start_guess: Floats
    stud: np.ndarray[Any, Any]
    product: np.ndarray[Any, Any]
    medium: np.ndarray[Any, Any]
    levels: Mapping[str, tuple[str, ...]]

    @property
    def n_collections(self) -> int:
        """Collections with a stored reading."""
        return len(self.stud)

    @property
    def n_stored(self) -> int:
        """Readings after hour 0."""
        return int((self.weight * (self.hours > FIRST_HOUR)).sum())

    def observed_until_h(self, product: str) -> float:
        """Longest storage that was read in an extender, by its product name; 0 for none. [h]"""
        if product not in self.levels["product"]:
            return 0.0
        chosen = self.product == self.levels["product"].index(product)
        return float(np.max(self.hours[chosen] * self.weight[chosen], initial=0.0))

    def fingerprint(self) -> str:
        """Fingerprint of everything that enters the likelihood, names included."""
        arrays = (
            self.share, self.hours, self.hours_sd, self.variance, self.shift, self.per_judged,
            self.weight, self.reader, self.start_guess, self.stud, self.product, self.medium,
        )  # fmt: skip
        names = [name for kind in self.levels for name in (kind, *self.levels[kind])]
        return fingerprint_of(arrays, names)


def product_name(extender: str | None) -> str:
    """An extender's name as one product: case and spaces do not count."""
    return " ".join((extender or "").casefold().split()) or NO_NAME


def prepare_storage(evaluations: pd.DataFrame, shipments: pd.DataFrame) -> StorageData:
    """Turn views into what the storage model reads.

    Parameters
    ----------
    evaluations, shipments
        The views of these names; no row is a kennel without readings.

    Returns
    -------
    StorageData
        Only collections with a reading of a stored sample; the others say nothing of storage, nor
        does a reading of a sample of which no day of collection is known.
    """
    rows = evaluations[
        evaluations["stage"].isin([*FRESH_STAGES, *STORED_STAGES])
        & evaluations["progressive_motility_pct"].notna()
        & evaluations["collected_earliest"].notna()
    ].copy()
    rows["sample"] = _sample_keys(rows)
    stored = rows["stage"].isin(STORED_STAGES)
    rows = rows[rows["sample"].isin(rows.loc[stored, "sample"])]
    rows = rows.sort_values(["collected_earliest", "stud", "sample", "evaluation_id"])
    rows = rows.reset_index(drop=True)
    clinics = shipments.set_index("shipment_id")["clinic"]
    rows["reader"] = _readers(rows, clinics)
    rows["extender"] = rows.groupby("sample")["extender"].transform("first")

    by_sample = rows.drop_duplicates("sample")
    products = [product_name(_text(name)) for name in by_sample["extender"]]
    media = [MEDIA.index(medium_of(_text(name))) for name in by_sample["extender"]]
    place = rows["sample"].map({name: i for i, name in enumerate(by_sample["sample"])})
    at = (place.to_numpy(dtype=np.int64), rows.groupby("sample").cumcount().to_numpy())
    shape = (len(by_sample), int(at[1].max(initial=0)) + 1)

    def table(values: ArrayLike, fill: float = 0.0) -> Floats:
        made = np.full(shape, fill)
        made[at] = np.asarray(values, dtype=np.float64)
        return made

    stud, studs = _indexed(by_sample["stud"].astype(str).tolist())
    product, product_names = _indexed(products)
    reader, readers = _indexed(rows["reader"].tolist())
    hours, hours_sd = _hours(rows)
    share, variance, shift, per_judged = _errors(rows)
    weight = table(np.ones(len(rows)))
    read, at_hour = table(share), table(hours, FIRST_HOUR)
    fixed = table(variance, 1.0)
    return StorageData(
        share=read,
        hours=at_hour,
        hours_sd=table(hours_sd),
        variance=fixed,
        shift=table(shift),
        per_judged=table(per_judged),
        weight=weight,
        reader=table(reader).astype(np.int64),
        start_guess=_start_guess(read, fixed, weight * (at_hour <= FIRST_HOUR)),
        stud=stud,
        product=product,
        medium=np.array(media, dtype=np.int64),
        levels={"stud": studs, "product": product_names, "reader": readers},
    )


def _sample_keys(rows: pd.DataFrame) -> pd.Series:
    """One key a collection; where the day alone is known, stud and day."""
    by_day = rows["stud"].astype(str) + "/" + rows["collected_earliest"].astype(str)
    known = rows["collection_id"].notna()
    return rows["collection_id"].astype("Int64").astype(str).where(known, by_day)


def _readers(rows: pd.DataFrame, clinics: pd.Series) -> pd.Series:
    """Whose eyes: the evaluator; on arrival the clinic; else the kennel."""
    # A column without any name is read as numbers: it is made one of texts before it is filled.
    clinic = rows["shipment_id"].map(clinics.to_dict()).astype("string").fillna("not named")
    at_clinic = rows["stage"] == "on arrival"
    named = rows["evaluator"].astype("string").where(~at_clinic, "clinic " + clinic)
    return named.fillna("kennel").astype(str)


def _hours(rows: pd.DataFrame) -> tuple[Floats, Floats]:
    """Hours since the collection and their sd; a fresh sample read at once is at hour 0."""
    apart = middle_of(rows, "evaluated") - middle_of(rows, "collected")
    hours = apart.dt.total_seconds().to_numpy(dtype=np.float64) / 3600.0
    half = {}
    for moment in ("evaluated", "collected"):
        width = pd.to_datetime(rows[f"{moment}_latest"]) - pd.to_datetime(
            rows[f"{moment}_earliest"]
        )
        half[moment] = width.dt.total_seconds().to_numpy(dtype=np.float64) / 7200.0
    # Uniform within the noted moment.
    sd = np.sqrt((half["evaluated"] ** 2 + half["collected"] ** 2) / 3.0)
    at_once = rows["stage"].isin(FRESH_STAGES).to_numpy() & (np.abs(hours) < FIRST_HOUR)
    return np.maximum(hours, FIRST_HOUR), np.where(at_once, 0.0, sd)


def _errors(rows: pd.DataFrame) -> tuple[Floats, Floats, Floats, Floats]:
    r"""Share read, its variance apart from counting, its shift, and one over the sperm judged.

    A reading that was cold for sure misses :math:`|N(0, s)|` (prior r04); one without a note does
    so with the probability of prior r04_unknown. Both enter by their first two moments.
    """

    def numbers(column: str) -> Floats:
        return pd.to_numeric(rows[column]).to_numpy(dtype=np.float64, na_value=np.nan)

    share = numbers("progressive_motility_pct") / 100.0
    half_step = numbers("progressive_motility_pct_high") - numbers("progressive_motility_pct_low")
    half_step = np.nan_to_num(half_step) / 200.0
    counted = (rows["motility_method"] == "counted").to_numpy()
    judged = np.nan_to_num(numbers("n_motility_evaluated"), nan=JUDGED_UNLESS_RECORDED)
    reading = np.where(counted, PRIORS["r01_judged"].centre, PRIORS["r01_sd"].centre) / 100.0
    minutes = numbers("minutes_at_37")
    cold = np.where(np.isnan(minutes), PRIORS["r04_unknown"].centre, minutes < WARMED_MINUTES)
    cold = np.where(rows["stage"].isin(STORED_STAGES), cold, 0.0)
    missed = PRIORS["r04"].sd / 100.0
    shift = -cold * missed * _HALF_NORMAL_MEAN
    variance = reading**2 + half_step**2 / 3.0 + cold * missed**2 - shift**2
    return share, variance, shift, np.where(counted, 1.0 / np.maximum(judged, 1.0), 0.0)


def _start_guess(share: Floats, variance: Floats, fresh: Floats) -> Floats:
    """Share at hour 0 from the fresh readings and the usual one; only scales reading errors."""
    usual, spread = PRIORS["s05_start"].centre / 100.0, PRIORS["s05_start"].sd / 100.0
    precision = (fresh / variance).sum(axis=1)
    return np.asarray(
        ((fresh * share / variance).sum(axis=1) + usual / spread**2) / (precision + 1.0 / spread**2)
    )


def _indexed(names: list[str]) -> tuple[np.ndarray[Any, Any], tuple[str, ...]]:
    """Index of each name among the sorted ones."""
    found, index = np.unique(np.array(names, dtype=str), return_inverse=True)
    return index.astype(np.int64), tuple(found.tolist())


def _text(cell: object) -> str | None:
    return cell if isinstance(cell, str) else None
