r"""What would the same breedings come to with one thing set, and everything else left as it was?

Standardisation over the breedings as they were (the g-formula of Robins 1986, Mathematical
Modelling 7:1393-1512, without a claim that anything was caused): with :math:`x` one exposure and
:math:`z_i` all else that is known of breeding :math:`i`,

.. math:: \bar p(x) = \frac1n \sum_i \Pr(\text{litter} \mid x, z_i)

read in every draw of the posterior. Motility is set at the dose that there was, concentration
likewise. Hours of chilled semen take motility and dose along the published storage curve with them,
since an hour more cannot be had without; the day is that of one insemination.

Does not know: whatever went with an exposure and stands in no column.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np

from studcurve.analytics.estimate import Estimate, Floats, estimate_from_draws
from studcurve.analytics.models.breedings.exposures import poor_sides
from studcurve.analytics.models.breedings.records import BredHow, ConceptionData
from studcurve.analytics.models.breedings.semen import (
    SemenInseminated,
    kept_between,
    usual_motility_pct,
)
from studcurve.analytics.models.breedings.terms import (
    HOURS_A_STEP,
    LINEAR,
    USUAL_CONCENTRATION_M_PER_ML,
    chilled_days_beyond_one,
    chilled_hours_early,
    concentration_doublings,
    fresh_hours_old,
)
from studcurve.analytics.models.conception.chance import own_litter_probs
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.conception.response import BEST_DAY
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.litter.model import LitterData, LitterPosterior
from studcurve.analytics.models.litter.sizes import log_means, mean_total_born

Mask = np.ndarray[Any, Any]
B = TypeVar("B", bound=BredHow)

N_DRAWS_READ = 250
"""Draws behind a curve or a contrast; the ends of its interval are sure to a tenth of its width."""

GRIDS: Mapping[str, tuple[float, ...]] = {
    "motility": (10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0),
    "concentration": (6.25, 12.5, 25.0, 50.0, 100.0, 200.0, 400.0),
    "hours_chilled": (6.0, 12.0, 18.0, 24.0, 30.0, 36.0, 48.0, 60.0, 72.0),
    "hours_fresh": (1.0, 2.0, 4.0, 6.0, 9.0, 12.0, 18.0, 24.0),
    "day": tuple(float(day) for day in range(-3, 9)),
}
"""Where a curve is read, within what the terms claim. [%, 10⁶/mL, h, d]"""

BEST_HOURS = {"fresh": 1.0, "chilled": 24.0}
"""Hours that the poor side is set to: row c25 starts there, row c05 stands there. [h]"""


def thinned(draws: Mapping[str, Floats]) -> dict[str, Floats]:
    """So many of the draws, evenly spaced."""
    n = len(next(iter(draws.values())))
    kept = np.linspace(0, n - 1, min(n, N_DRAWS_READ)).round().astype(int)
    return {row: values[kept] for row, values in draws.items()}


def bred_at(bred: B, exposure: str, value: Floats, *, is_carried: bool = True) -> B:
    """The same breedings with one exposure set.

    Parameters
    ----------
    bred
        As they were.
    exposure
        One of :data:`studcurve.analytics.models.breedings.exposures.EXPOSURES`.
    value
        What it is set to, shape (n,). [%, 10⁶/mL, h or d]
    is_carried
        Whether hours take motility and dose along the storage curve.
    """
    pair, sure = bred.inseminated_semen, np.zeros(len(value))
    if exposure == "motility":
        pair = SemenInseminated(pair.dose_mean, pair.dose_sd, value, sure, sure)
        return replace(bred, inseminated_semen=pair)
    if exposure == "concentration":
        return replace(bred, motile_m_per_ml=value)
    if exposure == "hours":
        if is_carried:
            pair = _carried(bred, value)
        return replace(bred, hours=value, hours_known=value, inseminated_semen=pair)
    once = np.tile([True, False], (len(value), 1))
    days = np.column_stack([value, value])
    return replace(bred, day_mean=days, day_sd=np.zeros(days.shape), inseminated=once)


def on_poor_side(how: BredHow, exposure: str) -> np.ndarray[Any, Any]:
    """1 on the poor side of an exposure, 0 on the other, −1 where nothing was recorded."""
    return poor_sides(how.exposures, how.semen_type, how.route)[exposure]


def best_value(bred: BredHow, exposure: str) -> Floats:
    """What a breeding on the poor side of an exposure is set to: the usual, or the window.

    Parameters
    ----------
    bred
        As they were.
    exposure
        One of :data:`studcurve.analytics.models.breedings.exposures.EXPOSURES`.

    Returns
    -------
    numpy.ndarray
        Shape (n,), NaN where the exposure does not apply. [%, 10⁶/mL, h or d]
    """
    semen = bred.semen_type
    if exposure == "motility":
        return usual_motility_pct(semen)
    if exposure == "concentration":
        return np.where(semen == "natural", np.nan, USUAL_CONCENTRATION_M_PER_ML)
    if exposure == "hours":
        return np.array([BEST_HOURS.get(kind, np.nan) for kind in semen])
    return np.array([BEST_DAY[kind] for kind in semen])


def grid_of(bred: BredHow, exposure: str) -> tuple[Mask, tuple[float, ...]]:
    """Which breedings a curve is about, and where it is read.

    Natural matings have neither motility nor concentration nor hours. Hours are those of chilled
    semen; where no shipment has any on record, those of fresh semen.

    Parameters
    ----------
    bred, exposure
        As for :func:`best_value`.

    Returns
    -------
    tuple
        Mask over the breedings, and positions. [%, 10⁶/mL, h or d]
    """
    semen = bred.semen_type
    if exposure == "day":
        return np.ones(len(semen), dtype=bool), GRIDS["day"]
    if exposure != "hours":
        return semen != "natural", GRIDS[exposure]
    recorded = np.isfinite(bred.exposures.hours)
    kind = "chilled" if recorded[semen == "chilled"].any() else "fresh"
    if not recorded.any() and (semen == "chilled").any():
        kind = "chilled"
    return semen == kind, GRIDS[f"hours_{kind}"]


def _carried(bred: BredHow, hours: Floats) -> SemenInseminated:
    """Dose and motility when so many hours had passed instead of those that did."""
    pair, was = bred.inseminated_semen, bred.exposures.hours
    kept = np.array(
        [
            kept_between(medium, from_h, to_h)[0]
            if kind == "chilled" and np.isfinite(from_h)
            else 1.0
            for medium, kind, from_h, to_h in zip(
                bred.medium, bred.semen_type, was, hours, strict=True
            )
        ]
    )
    # What the curve took cannot be had back above what any sample shows.
    motility = np.minimum(100.0, pair.motility_mean * kept)
    return replace(
        pair,
        dose_mean=pair.dose_mean + np.log2(kept),
        motility_mean=motility,
        motility_sd=pair.motility_sd * kept,
    )


def with_design(data: ConceptionData, exposure: str) -> ConceptionData:
    """The design's columns of one exposure made again from how the bitches were bred."""
    semen = data.semen_type
    columns = {}
    if exposure == "concentration":
        columns["c24"] = (semen != "natural") * concentration_doublings(data.motile_m_per_ml)
    if exposure == "hours":
        chilled = semen == "chilled"
        columns["c12"] = chilled * chilled_days_beyond_one(data.hours / 24.0)
        columns["c25"] = (semen == "fresh") * fresh_hours_old(data.hours_known) / HOURS_A_STEP
        columns["c26"] = chilled * chilled_hours_early(data.hours_known) / HOURS_A_STEP
    design = data.design.copy()
    for row, values in columns.items():
        design[:, LINEAR.index(row)] = values
    return replace(data, design=design)


def conception_at(
    data: ConceptionData, exposure: str, value: Floats, *, is_carried: bool = True
) -> ConceptionData:
    """What the conception model reads of the same breedings with one exposure set.

    Parameters
    ----------
    data
        As they were.
    exposure, value, is_carried
        As for :func:`bred_at`.
    """
    return with_design(bred_at(data, exposure, value, is_carried=is_carried), exposure)


def litter_at(
    data: LitterData, exposure: str, value: Floats, *, is_carried: bool = True
) -> LitterData:
    """What the litter model reads of the same litters with one exposure set.

    Parameters
    ----------
    data
        As they were.
    exposure, value, is_carried
        As for :func:`bred_at`.
    """
    bred = bred_at(data.bred, exposure, value, is_carried=is_carried)
    mated, design = litter.mated_how(bred), data.design.copy()
    columns = {
        "l08": -mated.missing_doublings,
        "l16": mated.days_early,
        "l17": mated.days_late,
        "l18": mated.storage_steps,
        "l19": mated.motility_short,
    }
    for row, values in columns.items():
        design[:, litter.LINEAR.index(row)] = values
    return replace(data, bred=bred, design=design)


def litter_chances(
    posterior: ConceptionPosterior, data: ConceptionData, chosen: Mask
) -> Floats:  # fmt: skip
    """Chance of a litter of chosen breedings with their own partners, shape (n_draws, n_chosen).

    Parameters
    ----------
    posterior
        Fitted or published; its draws are thinned to :data:`N_DRAWS_READ`.
    data
        The breedings, as they were or with something set.
    chosen
        Mask or index.
    """
    read = replace(posterior, data=data, draws=thinned(posterior.draws))
    return own_litter_probs(read, chosen)


def litter_means(
    posterior: LitterPosterior, data: LitterData, chosen: Mask
) -> Floats:  # fmt: skip
    """Mean size of chosen litters with their own parents, shape (n_draws, n_chosen). [pups]

    Parameters
    ----------
    posterior
        Fitted or published; its draws are thinned to :data:`N_DRAWS_READ`.
    data
        The litters, as they were or with something set.
    chosen
        Mask or index.
    """
    draws = thinned(posterior.draws)
    return mean_total_born(log_means(draws, data, chosen), draws["l13"])


@dataclass(frozen=True, slots=True)
class Curve:
    """Mean chance, or mean size, of the same breedings along an exposure.

    Attributes
    ----------
    positions
        Where it is read. [%, 10⁶/mL, h or d]
    published, together
        Before and after the records, at each position. [0 to 1, or pups]
    n_bred
        Breedings that are averaged over.
    """

    positions: tuple[float, ...]
    published: tuple[Estimate, ...]
    together: tuple[Estimate, ...]
    n_bred: int


def chance_curve(
    published: ConceptionPosterior, together: ConceptionPosterior, exposure: str, chosen: Mask
) -> Curve | None:
    """Chance of a litter along an exposure, averaged over chosen breedings.

    Parameters
    ----------
    published, together
        Before and after the records, of the same data.
    exposure
        One of the four.
    chosen
        Mask over the breedings.

    Returns
    -------
    Curve or None
        None where the exposure applies to no chosen breeding.
    """
    data = together.data
    applies, grid = grid_of(data, exposure)
    read = chosen & applies
    if not read.any():
        return None
    at_each = [conception_at(data, exposure, np.full(data.n_breedings, x)) for x in grid]
    before, after = (
        [litter_chances(one, at, read) for at in at_each] for one in (published, together)
    )
    return _curve(grid, before, after)


def size_curve(
    published: LitterPosterior, together: LitterPosterior, exposure: str, chosen: Mask
) -> Curve | None:
    """Mean size of a litter along an exposure, averaged over chosen litters; as the chance."""
    data = together.data
    applies, grid = grid_of(data.bred, exposure)
    read = chosen & applies
    # No study relates concentration to the size of a litter, and the model has no such row.
    if not read.any() or exposure == "concentration":
        return None
    at_each = [litter_at(data, exposure, np.full(data.n_litters, x)) for x in grid]
    before, after = (
        [litter_means(one, at, read) for at in at_each] for one in (published, together)
    )
    return _curve(grid, before, after)


def _curve(grid: tuple[float, ...], before: Sequence[Floats], after: Sequence[Floats]) -> Curve:
    """Means over the breedings at each position; arrays of shape (n_draws, n)."""
    published, together = (
        tuple(estimate_from_draws(values.mean(axis=1)) for values in each)
        for each in (before, after)
    )
    return Curve(grid, published, together, before[0].shape[1])
