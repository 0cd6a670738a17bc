"""What was read of each collection, by whom, how surely, and what had happened to the dog?

Rows of the views become what the model of a stud over time reads: one value on a working scale with
the error of its reading, the reader (a person and a way of reading), rest, age, season, and the
dog's declared events. A sample without a volume or a count says nothing of total sperm; one without
a single cell seen says that there are few, and how few depends on how much was looked at.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.moments import DAYS_PER_YEAR, middle_of
from studcurve.analytics.measures.semen import PHOTOMETER_CV, VOLUME_CV
from studcurve.analytics.models.fingerprint import fingerprint_of
from studcurve.analytics.priors import PRIORS

FEWEST_COLLECTIONS = 5
"""Fewer neither move what is published nor make a trend (rule of this toolkit)."""

EPOCH = np.datetime64("2000-01-01", "s")
"""Day 0 of every time axis."""

REST_REFERENCE_DAYS = 4.0
"""Rest at which levels are compared; every 2 to 5 days keeps output: Lopate (secondary, P). [d]"""

RESTED_DAYS = 30.0
"""Rest of a first recorded collection, or of one after a longer pause; the reserve is full. (J)"""

AGE_FROM_YEARS = 7.0
"""Age from which the table's slopes count: Hesser 2017, Theriogenology 87:115 (P). [y]"""

EPISODE_GAP_DAYS = 14
"""Events of one dog closer than this are one episode: no record can tell them apart. (J) [d]"""

EVENT_REACH_DAYS = 200
"""An event without a collection in this time after it teaches nothing. (J) [d]"""

SMALL_COUNT = 20
"""Counts below this keep their Poisson likelihood; above, its log is normal to 2 % of its sd."""

USUAL_CELLS_PER_M_PER_ML = 1.0
"""Cells seen per million in a milliliter where a kennel has no count of its own: five of the
central squares of 4 nL at 1 + 19 (WHO manual 2010)."""

SHAPES_CHECKED = 100.0
"""Sperm behind a percentage of shape that names no number. (J)"""

GRID_NODES = np.arange(np.log(1e-3), np.log(2e5), 0.15)
"""Log total sperm at which a small or one-sided count is integrated; finer than any spread."""


@dataclass(frozen=True, slots=True)
class Measure:
    """One of the three measures that are followed over time.

    Attributes
    ----------
    name
        As in the vocabulary.
    is_log
        Whether the working scale is the log (of millions); else the logit of a share.
    centre, between, within, age, reader, counted_reader
        Ids of their rows in the table of priors.
    act_on
        Change worth acting on: relative for total sperm, points (as a share) for the others.
    common
        Commonly used value, in the unit of the vocabulary.
    common_source
        Who uses it.
    """

    name: str
    is_log: bool
    centre: str
    between: str
    within: str
    age: str
    reader: str
    counted_reader: str
    act_on: float
    common: float
    common_source: str


MEASURES: Mapping[str, Measure] = MappingProxyType(
    {
        measure.name: measure
        for measure in (
            Measure(
                "total_sperm_m", True, "q01_centre", "q01_between", "q01_within", "q06_total",
                "r02_observer", "r02_observer", -0.40, 300.0,
                "at least 300 M, University of Minnesota (P); 200 M for small dogs, Atlantic "
                "Veterinary College (P)",
            ),
            Measure(
                "progressive_motility_pct", False, "q02_centre_motility", "q02_between",
                "q02_within", "q06_motility", "r01_observer", "r01_counted", -0.15, 70.0,
                "70 % progressively motile, used by most examiners (P)",
            ),
            Measure(
                "normal_morphology_pct", False, "q02_centre_morphology", "q02_between",
                "q02_within", "q06_morphology", "r01_shape", "r01_shape", -0.15, 70.0,
                "70 to 90 % normal, Atlantic Veterinary College (P); some ask for 80 % (M)",
            ),
        )
    }
)  # fmt: skip
"""The three measures; volume and concentration are shown and never judged."""


@dataclass(frozen=True, slots=True)
class Episode:
    """Events of one dog that lie too near to each other to be told apart.

    Attributes
    ----------
    stud
        Call name.
    started_on
        First day of the first event.
    words
        The events, in the owner's words.
    """

    stud: str
    started_on: pd.Timestamp
    words: str


@dataclass(frozen=True, slots=True)
class StudData:
    """What the model reads of one measure, one row a collection.

    Attributes
    ----------
    measure
        Which.
    studs, readers
        Names of the levels; a reader is a person and a way of reading.
    episodes
        Declared events that a collection can speak of.
    born_day
        Day of birth of each stud since :data:`EPOCH`, NaN where not known, shape (n_studs,). [d]
    stud, reader
        Level indices, shape (n,).
    on
        Middle of the moment of the collection, shape (n,).
    value
        Log of millions, or a share; NaN where only the grid speaks, shape (n,).
    inverse_n
        One over the sperm judged, 0 for a reading by eye, shape (n,).
    reading_sd
        Other error of the reading, in the unit of the value, shape (n,).
    reader_scale
        Error of a reader against that of one by eye, shape (n_readers,).
    rest_days
        Shape (n,). [d]
    years_old
        Years beyond :data:`AGE_FROM_YEARS`, 0 before and where not known, shape (n,). [y]
    collection_id
        Shape (n,).
    gridded, grid_log
        Rows whose value is a small or one-sided count, and their log likelihood at
        :data:`GRID_NODES`, shapes (k,) and (k, n_nodes).
    """

    measure: Measure
    studs: tuple[str, ...]
    readers: tuple[str, ...]
    episodes: tuple[Episode, ...]
    born_day: Floats
    stud: np.ndarray[Any, Any]
    reader: np.ndarray[Any, Any]
    on: np.ndarray[Any, Any]
    value: Floats
    inverse_n: Floats
    reading_sd: Floats
    reader_scale: Floats
    rest_days: Floats
    years_old: Floats
    collection_id: np.ndarray[Any, Any]
    gridded: np.ndarray[Any, Any]
    grid_log: Floats

    @property
    def n_collections(self) -> int:
        """Collections that say something of this measure."""
        return len(self.stud)

    def rows_of(self, stud: str) -> np.ndarray[Any, Any]:
        """Row numbers of one stud, in order of time."""
        return np.flatnonzero(self.stud == self.studs.index(stud)) if stud in self.studs else (
            np.zeros(0, dtype=np.int64)
        )  # fmt: skip

    def fingerprint(self) -> str:
        """Fingerprint of everything that enters the likelihood, names of levels included."""
        arrays = (
            self.stud, self.reader, self.on, self.value, self.inverse_n, self.reading_sd,
            self.reader_scale, self.years_old, self.gridded, self.grid_log,
            # Rest enters total sperm alone.
            *((self.rest_days,) if self.measure.is_log else ()),
        )  # fmt: skip
        episodes = [f"{e.stud}\x1e{e.started_on}" for e in self.episodes]
        return fingerprint_of(arrays, [self.measure.name, *self.studs, *self.readers, *episodes])


def days_of(on: np.ndarray[Any, Any]) -> Floats:
    """Days since :data:`EPOCH`. [d]"""
    return np.asarray((on.astype("datetime64[s]") - EPOCH) / np.timedelta64(1, "D"))


def prepare_stud_data(
    evaluations: pd.DataFrame, events: pd.DataFrame, measure: str, *, extra_cv: float
) -> StudData:
    """Turn views into what the model reads.

    Parameters
    ----------
    evaluations, events
        The views of these names.
    measure
        Key of :data:`MEASURES`.
    extra_cv
        Error of this kennel's chamber counts beyond Poisson (prior r02).

    Returns
    -------
    StudData
        Rows in order of time; none where nothing was measured.
    """
    chosen = MEASURES[measure]
    raw = evaluations[(evaluations["stage"] == "raw") & evaluations["failed_reason"].isna()]
    rows = raw.assign(on=middle_of(raw, "collected"))
    rows = rows[rows["on"].notna()].sort_values(["on", "stud", "collection_id"])
    rows = rows.reset_index(drop=True)
    read = _total if chosen.is_log else _motility if chosen.name.startswith("prog") else _shape
    reading = read(rows, extra_cv)
    spoken = reading.known
    rows = rows[spoken].reset_index(drop=True)
    studs, stud = np.unique(rows["stud"].to_numpy(dtype=str), return_inverse=True)
    way = reading.way[spoken]
    named: pd.Series = rows["evaluator"].fillna("not named").astype(str) + np.char.add(", ", way)
    readers, reader = np.unique(named.to_numpy(dtype=str), return_inverse=True)
    scale = np.ones(len(readers))
    ratio = PRIORS[chosen.counted_reader].sd / PRIORS[chosen.reader].sd
    scale[[name.endswith(", counted") for name in readers]] = ratio
    rest = _numbers(rows, "sexual_rest_days")
    age = _numbers(rows, "stud_age_years")
    on = rows["on"].to_numpy(dtype="datetime64[s]")
    born = pd.Series(days_of(on) - age * DAYS_PER_YEAR).groupby(stud).median()
    kept = np.flatnonzero(spoken)
    gridded = np.flatnonzero(np.isin(kept, reading.gridded))
    return StudData(
        chosen,
        tuple(studs.tolist()),
        tuple(readers.tolist()),
        _episodes(events, studs, rows["stud"].to_numpy(dtype=str), on),
        np.asarray(born, dtype=np.float64),
        stud.astype(np.int64),
        reader.astype(np.int64),
        on,
        reading.value[spoken],
        reading.inverse_n[spoken],
        reading.sd[spoken],
        scale,
        np.asarray(np.minimum(np.nan_to_num(rest, nan=RESTED_DAYS), RESTED_DAYS)),
        np.asarray(np.nan_to_num(np.maximum(0.0, age - AGE_FROM_YEARS))),
        rows["collection_id"].to_numpy(dtype=np.int64, na_value=-1),
        gridded,
        reading.grid_log,
    )


@dataclass(frozen=True, slots=True)
class _Reading:
    """Columns over all raw rows; ``gridded`` are row numbers among them, in order."""

    known: np.ndarray[Any, Any]
    value: Floats
    inverse_n: Floats
    sd: Floats
    way: np.ndarray[Any, Any]
    gridded: np.ndarray[Any, Any]
    grid_log: Floats


def _total(rows: pd.DataFrame, extra_cv: float) -> _Reading:
    """Total sperm: counts with volume and dilution as offset."""
    volume, concentration = _numbers(rows, "volume_ml"), _numbers(rows, "concentration_m_per_ml")
    cells = _numbers(rows, "n_cells_counted")
    low = _numbers(rows, "concentration_m_per_ml_low")
    high = _numbers(rows, "concentration_m_per_ml_high")
    in_chamber = np.isfinite(cells)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_m_per_ml = np.where(cells > 0, cells / concentration, np.nan)
        value = np.log(volume * concentration)
        counting = np.where(in_chamber, np.sqrt(1.0 / np.maximum(cells, 1.0) + extra_cv**2),
                            PHOTOMETER_CV)  # fmt: skip
    usual = np.nanmedian(per_m_per_ml) if np.isfinite(per_m_per_ml).any() else (
        USUAL_CELLS_PER_M_PER_ML
    )  # fmt: skip
    exposure = np.where(np.isfinite(per_m_per_ml), per_m_per_ml, usual) / volume
    none_seen = (concentration == 0) | (cells == 0)
    small = none_seen | (in_chamber & (cells < SMALL_COUNT) & np.isfinite(concentration))
    one_sided = ~np.isfinite(concentration) & (np.isfinite(low) | np.isfinite(high))
    between = np.isfinite(low) & np.isfinite(high) & (high > low)
    on_grid = (volume > 0) & (small | one_sided | (between & ~in_chamber))
    gridded = np.flatnonzero(on_grid)
    log_ends = np.log(np.maximum(np.stack([low, high]) * volume, 1e-300)) if len(rows) else (
        np.zeros((2, 0))
    )  # fmt: skip
    grid_log = np.zeros((len(gridded), len(GRID_NODES)))
    for k, i in enumerate(gridded):
        if small[i]:
            seen = np.nan_to_num(cells[i])
            grid_log[k] = seen * GRID_NODES - exposure[i] * np.exp(GRID_NODES)
        else:
            inside = (np.nan_to_num(log_ends[0, i], nan=-np.inf) <= GRID_NODES) & (
                np.nan_to_num(log_ends[1, i], nan=np.inf) >= GRID_NODES
            )
            grid_log[k] = np.where(inside, 0.0, -np.inf)
        grid_log[k] -= grid_log[k].max()
    spoken = on_grid | ((volume > 0) & np.isfinite(value))
    way = rows["count_method"].fillna("chamber").to_numpy(dtype=str)
    return _Reading(
        spoken, np.where(on_grid, np.nan, value), np.zeros(len(rows)),
        np.hypot(counting, VOLUME_CV), way, gridded, np.maximum(grid_log, -1e6),
    )  # fmt: skip


def _motility(rows: pd.DataFrame, extra_cv: float) -> _Reading:
    """Progressive motility, counted or by eye; total motility stands in through prior r03."""
    del extra_cv
    forward = _numbers(rows, "progressive_motility_pct")
    ends = [_numbers(rows, f"progressive_motility_pct_{end}") for end in ("low", "high")]
    moving = _numbers(rows, "total_motility_pct")
    share = PRIORS["r03"]
    only_total = ~np.isfinite(forward) & np.isfinite(moving)
    value = np.where(only_total, moving * share.centre, forward) / 100.0
    n_evaluated = _numbers(rows, "n_motility_evaluated")
    counted = (rows["motility_method"] == "counted").to_numpy(dtype=bool) & np.isfinite(n_evaluated)
    # A value rounded to a step is anywhere within it: variance of half the step, squared, over 3.
    half_step = np.nan_to_num((ends[1] - ends[0]) / 200.0)
    by_eye = np.sqrt((PRIORS["r01_sd"].centre / 100.0) ** 2 + half_step**2 / 3.0)
    sd = np.where(counted, 0.0, by_eye)
    sd = np.hypot(sd, np.where(only_total, moving * share.sd / 100.0, 0.0))
    with np.errstate(divide="ignore"):
        inverse_n = np.where(counted, 1.0 / n_evaluated, 0.0)
    way = np.where(counted, "counted", "by eye")
    return _Reading(np.isfinite(value), value, inverse_n, sd, way, *_no_grid())


def _shape(rows: pd.DataFrame, extra_cv: float) -> _Reading:
    """Normal shape among the sperm that were checked."""
    del extra_cv
    value = _numbers(rows, "normal_morphology_pct") / 100.0
    n_checked = np.nan_to_num(_numbers(rows, "n_morphology_evaluated"), nan=SHAPES_CHECKED)
    way = np.full(len(rows), "shape")
    return _Reading(
        np.isfinite(value), value, 1.0 / n_checked, np.zeros(len(rows)), way, *_no_grid()
    )


def _no_grid() -> tuple[np.ndarray[Any, Any], Floats]:
    return np.zeros(0, dtype=np.int64), np.zeros((0, len(GRID_NODES)))


def _episodes(
    events: pd.DataFrame,
    studs: np.ndarray[Any, Any],
    row_stud: np.ndarray[Any, Any],
    on: np.ndarray[Any, Any],
) -> tuple[Episode, ...]:
    """Events that the collections can speak of, joined where they lie close together."""
    found: list[Episode] = []
    dated = events[events["dog"].isin(studs) & events["started_on"].notna()]
    for stud, own in dated.sort_values(["dog", "started_on", "event_id"]).groupby("dog"):
        days = pd.to_datetime(own["started_on"])
        episode = (days.diff().dt.days > EPISODE_GAP_DAYS).cumsum()
        for _, together in own.groupby(episode):
            start = pd.Timestamp(together["started_on"].iloc[0])
            since = (on[row_stud == stud] - start.to_datetime64()) / np.timedelta64(1, "D")
            if (since < 0).any() and ((since >= 0) & (since <= EVENT_REACH_DAYS)).any():
                found.append(Episode(str(stud), start, "; ".join(_event_words(together))))
    return tuple(found)


def _event_words(events: pd.DataFrame) -> list[str]:
    """Each event as the owner would name it: its kind, and the class of a drug."""
    named = zip(events["kind"], events["drug_class"], strict=True)
    return [f"{kind} ({drug})" if isinstance(drug, str) else str(kind) for kind, drug in named]


def _numbers(rows: pd.DataFrame, column: str) -> Floats:
    return pd.to_numeric(rows[column]).to_numpy(dtype=np.float64, na_value=np.nan)
