r"""What happened to a sample on its way: raw, spun, extended, retained, arrived, thawed?

Every comparison is paired: two readings of the *same* collection at two stages, so that what
differs between dogs and days drops out. Recovery is the later value as a share of the earlier one,
as a geometric mean over the collections; whether the kennel's reading of the retained tube and
the clinic's on arrival agree is a matter of differences and their limits
(:mod:`studcurve.analytics.measures.agreement`).

A difference holds everything that lies between the stages: hours, cold, the spin, another pair of
eyes and another microscope. Does not know which of them it was. Readings hours apart are not
readings of the same thing; pairs further apart than :data:`SAME_HOURS` are left out of the
agreement.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, Floats
from studcurve.analytics.measures.agreement import MIN_SAMPLES, Agreement, agreement
from studcurve.analytics.measures.moments import middle_of

Stage = Literal["raw", "after centrifugation", "extended", "retained", "on arrival", "after thaw"]

STAGES: tuple[Stage, ...] = (
    "raw", "after centrifugation", "extended", "retained", "on arrival", "after thaw",
)  # fmt: skip
"""Stages in the order in which a sample passes them."""

MEASURES = ("progressive_motility_pct", "total_motility_pct", "normal_morphology_pct")
"""Shares that may be compared at any stage; a count depends on what was poured in or off."""

SAME_HOURS = 12.0
"""Hours within which two readings are of the same state of a chilled sample (J); at the published
scale of egg yolk a sample loses about 1 point in this time of the first day. [h]"""


@dataclass(frozen=True, slots=True)
class Recovery:
    """What is left of a share between two stages.

    Attributes
    ----------
    first, later
        The stages.
    n_pairs
        Collections read at both.
    n_zero
        Of these, collections with nothing left (or nothing to begin with): stated, and outside the
        ratio.
    kept_pct
        Geometric mean of later over first, with its interval; None with fewer than three
        collections that have a ratio. [%]
    difference
        Mean of later minus first over all pairs, with its interval; None with fewer than three.
        [points]
    hours
        Median hours between the two readings; NaN where no clock was noted. [h]
    """

    first: Stage
    later: Stage
    n_pairs: int
    n_zero: int
    kept_pct: Estimate | None
    difference: Estimate | None
    hours: float


def stage_pairs(
    evaluations: pd.DataFrame, first: Stage, later: Stage, measure: str
) -> pd.DataFrame:
    """Collections that were read at two stages, one row each.

    Parameters
    ----------
    evaluations
        The view of this name.
    first, later
        Two stages.
    measure
        One of :data:`MEASURES`.

    Returns
    -------
    pandas.DataFrame
        collection_id, stud, collected_earliest, first, later (the mean where a stage was read more
        than once), hours between them.
    """
    return _paired(_read_at_stages(evaluations, measure), first, later)


def _read_at_stages(evaluations: pd.DataFrame, measure: str) -> pd.DataFrame:
    """What each collection was read at each stage: one row of means by stage and collection."""
    if measure not in MEASURES:
        raise ValueError(f"stages are compared in one of {', '.join(MEASURES)}; got {measure!r}")
    rows = evaluations[evaluations[measure].notna() & evaluations["collection_id"].notna()]
    return (
        rows.assign(read_at=middle_of(rows, "evaluated"))
        .groupby(["stage", "collection_id"])
        .agg(
            value=(measure, "mean"),
            read_at=("read_at", "mean"),
            stud=("stud", "first"),
            collected_earliest=("collected_earliest", "first"),
        )
    )


def _paired(read: pd.DataFrame, first: Stage, later: Stage) -> pd.DataFrame:
    """Collections among the rows of both stages, as :func:`stage_pairs` gives them."""
    stage = read.index.get_level_values("stage")
    before, after = (read[stage == at].droplevel("stage") for at in (first, later))
    both = before.join(after[["value", "read_at"]].add_suffix("_later"), how="inner")
    apart = pd.to_datetime(both["read_at_later"]) - pd.to_datetime(both["read_at"])
    return pd.DataFrame(
        {
            "stud": both["stud"],
            "collected_earliest": both["collected_earliest"],
            "first": both["value"].astype(float),
            "later": both["value_later"].astype(float),
            "hours": apart.dt.total_seconds() / 3600.0,
        }
    ).reset_index()


def recovery(
    pairs: pd.DataFrame, first: Stage, later: Stage, *, interval_prob: float = INTERVAL_PROB
) -> Recovery:
    r"""What is left between two stages.

    Parameters
    ----------
    pairs
        From :func:`stage_pairs`.
    first, later
        The stages.
    interval_prob
        Probability of the intervals.

    Notes
    -----
    With :math:`r_i` the log of later over first, :math:`\exp(\bar r \pm t\, s_r/\sqrt n)`; the
    difference likewise without the log. :math:`t` is Student's with :math:`n - 1` degrees of
    freedom.
    """
    before, after = (pairs[side].to_numpy(dtype=np.float64) for side in ("first", "later"))
    positive = (before > 0.0) & (after > 0.0)
    log_kept = _mean_of(np.log(after[positive] / before[positive]), interval_prob)
    kept = None
    if log_kept is not None:
        low, middle, high = 100.0 * np.exp([log_kept.lower, log_kept.median, log_kept.upper])
        kept = Estimate(float(middle), float(low), float(high), interval_prob)
    hours = pairs["hours"].to_numpy(dtype=np.float64)
    known = hours[np.isfinite(hours)]
    return Recovery(
        first,
        later,
        len(pairs),
        int((~positive).sum()),
        kept,
        _mean_of(after - before, interval_prob),
        float(np.median(known)) if known.size else float("nan"),
    )


def recoveries(
    evaluations: pd.DataFrame,
    measure: str = "progressive_motility_pct",
    *,
    stages: Sequence[Stage] = STAGES,
) -> list[Recovery]:
    """Every pair of stages that some collection was read at, in the order of the way.

    Parameters
    ----------
    evaluations
        The view of this name, or one stud's rows of it.
    measure
        One of :data:`MEASURES`.
    stages
        Stages to look at, in order.
    """
    read = _read_at_stages(evaluations, measure)
    been = set(read.index.get_level_values("stage"))
    passed = [stage for stage in stages if stage in been]
    found = []
    for i, first in enumerate(passed):
        for later in passed[i + 1 :]:
            pairs = _paired(read, first, later)
            if len(pairs):
                found.append(recovery(pairs, first, later))
    return found


@dataclass(frozen=True, slots=True)
class EvaluatorsAgreement:
    """Whether the clinic's reading on arrival and the kennel's of the retained tube agree.

    Attributes
    ----------
    n_shipments
        Shipments with both readings.
    n_apart
        Of these, shipments left out because the readings lie further apart than :data:`SAME_HOURS`,
        or nobody knows how far.
    agreement
        Clinic minus kennel, in points; None with fewer than three shipments left.
    """

    n_shipments: int
    n_apart: int
    agreement: Agreement | None


def clinic_against_kennel(
    evaluations: pd.DataFrame,
    measure: str = "progressive_motility_pct",
    *,
    same_hours: float = SAME_HOURS,
    interval_prob: float = INTERVAL_PROB,
) -> EvaluatorsAgreement:
    """Compare readings of the same semen at both ends of a shipment's way.

    Parameters
    ----------
    evaluations
        The view of this name, or one clinic's or stud's rows of it.
    measure
        One of :data:`MEASURES`.
    same_hours
        Hours within which both readings count as of the same state. [h]
    interval_prob
        Probability of the intervals.
    """
    pairs = stage_pairs(evaluations, "retained", "on arrival", measure)
    near = pairs[pairs["hours"].abs() <= same_hours]
    found = None
    if len(near) >= MIN_SAMPLES:
        found = agreement(near["later"], near["first"], interval_prob=interval_prob)
    return EvaluatorsAgreement(len(pairs), len(pairs) - len(near), found)


def _mean_of(values: ArrayLike, interval_prob: float) -> Estimate | None:
    """Mean of paired differences with Student's interval; None with fewer than three."""
    x: Floats = np.asarray(values, dtype=np.float64)
    if x.size < MIN_SAMPLES:
        return None
    mean = float(x.mean())
    half = float(stdtrit(x.size - 1, 0.5 + interval_prob / 2.0) * x.std(ddof=1) / np.sqrt(x.size))
    return Estimate(mean, mean - half, mean + half, interval_prob)


@dataclass(frozen=True, slots=True)
class StagesCompared:
    """What was left between stages.

    Attributes
    ----------
    recoveries
        Pairs of stages with at least three collections, in the order of the way.
    kept
        Share left of each collection, by pair. [%]
    agreement
        Whether the clinic's reading on arrival and the kennel's of the retained tube agree.
    """

    recoveries: tuple[Recovery, ...]
    kept: Mapping[tuple[Stage, Stage], tuple[float, ...]]
    agreement: EvaluatorsAgreement


def compared_stages(evaluations: pd.DataFrame) -> StagesCompared | None:
    """What was left between stages over some collections; None where no pair has three.

    Parameters
    ----------
    evaluations
        The view of that name, or one stud's rows of it.
    """
    found = tuple(recovery for recovery in recoveries(evaluations) if recovery.kept_pct is not None)
    if not found:
        return None
    kept = {}
    for recovery in found:
        pairs = stage_pairs(evaluations, recovery.first, recovery.later, "progressive_motility_pct")
        pairs = pairs[(pairs["first"] > 0) & (pairs["later"] > 0)]
        kept[recovery.first, recovery.later] = tuple(
            (100.0 * pairs["later"] / pairs["first"]).tolist()
        )
    return StagesCompared(found, kept, clinic_against_kennel(evaluations))
