"""What came of the breedings: on either side of the usual, and band by band; nothing modelled.

A share stands with its exact interval (Clopper & Pearson 1934, Biometrika 26:404-413), a mean with
Student's; neither is given of fewer than :data:`FEWEST_IN_BAND` breedings. Breedings whose value or
whose outcome was not recorded are counted, not dropped.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

import numpy as np
from scipy.special import stdtrit

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, Floats
from studcurve.analytics.measures.counting import exact_share
from studcurve.analytics.models.breedings.records import BredHow, ConceptionData
from studcurve.analytics.models.litter.model import LitterData

Mask = np.ndarray[Any, Any]
Outcome = Literal["litter", "size"]

FEWEST_IN_BAND = 5
"""Breedings below which a band shows its marks and no share. (rule)"""

BANDS: Mapping[str, tuple[float, ...]] = {
    "motility": (30.0, 50.0, 65.0, 80.0),
    "concentration": (25.0, 50.0, 100.0, 200.0),
    "hours_chilled": (12.0, 24.0, 36.0, 60.0),
    "hours_fresh": (1.0, 3.0, 6.0, 12.0),
    "day": (-2.0, 0.0, 2.0, 4.0, 6.0),
}
"""Inner edges of the bands: 30 and 65 % are those of Hollinshead & Hanlon 2017, Theriogenology
101:62-72, the others round numbers. (J) [%, 10⁶/mL, h, d]"""


@dataclass(frozen=True, slots=True)
class Bred:
    """Outcomes of breedings in the form that all here reads; one of a share or of a size.

    Attributes
    ----------
    outcome
        ``litter`` (whelped or not) or ``size`` (pups born, the stillborn counted in).
    value
        1 or 0, or pups; NaN where nobody reported it, shape (n,).
    """

    outcome: Outcome
    value: Floats


@dataclass(frozen=True, slots=True)
class Side:
    """What came of the breedings of one side, or of one band.

    Attributes
    ----------
    n_bred, n_known
        Breedings, and those of which the outcome is known.
    total
        Litters, or pups.
    rate
        Share, or mean, with its interval; None of fewer than :data:`FEWEST_IN_BAND`. [0 to 1, pups]
    """

    n_bred: int
    n_known: int
    total: float
    rate: Estimate | None


@dataclass(frozen=True, slots=True)
class Band:
    """Breedings between two values of an exposure; the upper one is in the next band.

    Attributes
    ----------
    lower, upper
        Ends; infinite for the first and the last.
    middle
        Mean of the recorded values, where its mark stands.
    side
        What came of them.
    """

    lower: float
    upper: float
    middle: float
    side: Side


@dataclass(frozen=True, slots=True)
class Mark:
    """One breeding: its recorded exposure, and what came of it."""

    value: float
    outcome: float


def outcome_of_breedings(data: ConceptionData) -> Bred:
    """Whether each breeding gave a litter."""
    return Bred("litter", np.where(data.whelped < 0, np.nan, data.whelped.astype(np.float64)))


def outcome_of_litters(data: LitterData) -> Bred:
    """Pups born in each litter; where stillborn pups were not recorded, those born alive."""
    return Bred("size", data.n_alive + np.maximum(data.n_stillborn, 0.0))


def counted(bred: Bred, chosen: Mask) -> Side:
    """Count what came of some breedings.

    Parameters
    ----------
    bred
        Outcomes.
    chosen
        Mask over them.
    """
    known = bred.value[chosen & np.isfinite(bred.value)]
    rate = None
    if len(known) >= FEWEST_IN_BAND:
        is_share = bred.outcome == "litter"
        rate = exact_share(int(known.sum()), len(known)) if is_share else mean_of(known)
    return Side(int(chosen.sum()), len(known), float(known.sum()), rate)


def mean_of(values: Floats) -> Estimate:
    """Mean with Student's interval, at least two values."""
    half = float(
        stdtrit(len(values) - 1, 0.5 + INTERVAL_PROB / 2.0)
        * values.std(ddof=1)
        / np.sqrt(len(values))
    )
    mean = float(values.mean())
    return Estimate(mean, mean - half, mean + half)


def band_edges(how: BredHow, exposure: str, chosen: Mask) -> tuple[float, ...]:
    """Inner edges of the bands of an exposure, for the breedings that its picture is about."""
    if exposure != "hours":
        return BANDS[exposure]
    return BANDS["hours_chilled" if (how.semen_type[chosen] == "chilled").any() else "hours_fresh"]


def banded(bred: Bred, values: Floats, edges: tuple[float, ...]) -> tuple[Band, ...]:
    """Breedings band by band; a band without any is left out.

    Parameters
    ----------
    bred
        Outcomes.
    values
        Recorded exposure, NaN where there is none, shape (n,).
    edges
        Inner edges, rising.
    """
    ends = (-np.inf, *edges, np.inf)
    bands = []
    for lower, upper in pairwise(ends):
        inside = (values >= lower) & (values < upper)
        if inside.any():
            middle = float(values[inside].mean())
            bands.append(Band(lower, upper, middle, counted(bred, inside)))
    return tuple(bands)


def marks(bred: Bred, values: Floats) -> tuple[Mark, ...]:
    """Breedings of which both exposure and outcome are known, by rising exposure."""
    known = np.flatnonzero(np.isfinite(values) & np.isfinite(bred.value))
    order = known[np.argsort(values[known], kind="stable")]
    return tuple(Mark(float(values[k]), float(bred.value[k])) for k in order)
