r"""What may the breedings on the poor side of an exposure have lost?

For the breedings on the poor side whose outcome is known, the mean chance (or size) at the usual
value less the one as they were, read before and after the records. A loss is claimed by the records
alone: the model is fitted once more with nothing believed of the four's own rows (their priors
open, all others as published), and the mean shift of the linear predictor over those breedings is
set against its standard deviation. Over all questions that are asked of a kennel together, at most
:data:`ERROR_PROB` of the kennels in which nothing matters get a claim (Holm 1979, Scand J Stat
6:65-70). Where two of the four go together the records alone leave both open, and none is claimed.

Does not know: why a bitch was given this semen on this day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from scipy.special import logit, ndtr

from studcurve.analytics.errors import ConvergenceError
from studcurve.analytics.estimate import Estimate, Floats, estimate_from_draws
from studcurve.analytics.models.breedings.exposures import EXPOSURES
from studcurve.analytics.models.breedings.posterior import Belief
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.conception.model import ConceptionPosterior, fit_conception
from studcurve.analytics.models.litter.model import LitterData, LitterPosterior, fit_litter
from studcurve.analytics.models.litter.sizes import log_means
from studcurve.analytics.models.sampling import SCHEDULE
from studcurve.analytics.outcomes.counted import (
    Mask,
    Outcome,
    outcome_of_breedings,
    outcome_of_litters,
)
from studcurve.analytics.outcomes.standardised import (
    best_value,
    conception_at,
    litter_at,
    litter_chances,
    litter_means,
    on_poor_side,
)

ERROR_PROB = 0.05
"""Share of kennels in which nothing matters that may get a claim. (rule)"""

FEWEST_A_SIDE = 5
"""Known outcomes on either side below which nothing is claimed. (rule)"""

OPEN_ROWS: Mapping[Outcome, Mapping[str, tuple[str, ...]]] = {
    "litter": {
        "motility": ("c23",),
        "concentration": ("c24",),
        "hours": ("c12", "c25", "c26"),
        "day": ("c17_fresh", "c17_chilled", "c17_frozen", "c18_vaginal", "c18_intrauterine"),
    },
    "size": {"motility": ("l19",), "hours": ("l18",), "day": ("l16", "l17")},
}
"""Rows that are an exposure's own. Concentration has none in the size of a litter: no study relates
the two."""

OPEN_SD: Mapping[Outcome, float] = {"litter": 1.5, "size": 0.5}
"""Spread of a row of which nothing is believed: six times and more of a published one. (J) [log
odds, log pups]"""

Direction = Literal["fewer", "more"]


@dataclass(frozen=True, slots=True)
class Shift:
    """What the records alone say: by how much the poor side lies below the usual.

    Attributes
    ----------
    mean, sd
        Of the shift of the linear predictor, more than 0 is a loss. [log odds, or log pups]
    """

    mean: float
    sd: float

    @property
    def p_value(self) -> float:
        """Two-sided, of no shift."""
        return float(2.0 * ndtr(-abs(self.mean) / self.sd))


@dataclass(frozen=True, slots=True)
class Loss:
    """What the poor side may have lost, a breeding or litter on average.

    Attributes
    ----------
    n
        Breedings (litters) on the poor side with a known outcome.
    published, together
        Before and after the records; more than 0 is a loss. [share of breedings, or pups]
    """

    n: int
    published: Estimate
    together: Estimate


def loss_of_litters(
    published: ConceptionPosterior, together: ConceptionPosterior, exposure: str, chosen: Mask
) -> Loss | None:
    """What chosen breedings on the poor side may have lost of their chance of a litter.

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
    Loss or None
        None where no chosen breeding with a known outcome was on the poor side.
    """
    data = together.data
    poor = chosen & _poor_and_known(data, exposure)
    if not poor.any():
        return None
    at_best = conception_at(data, exposure, best_value(data, exposure))
    return _loss(
        *(
            litter_chances(one, at_best, poor) - litter_chances(one, data, poor)
            for one in (published, together)
        )
    )


def loss_of_pups(
    published: LitterPosterior, together: LitterPosterior, exposure: str, chosen: Mask
) -> Loss | None:
    """What chosen litters on the poor side may have lost of their size; as for litters."""
    data = together.data
    poor = chosen & (on_poor_side(data.bred, exposure) == 1)
    if not poor.any() or exposure not in OPEN_ROWS["size"]:
        return None
    at_best = litter_at(data, exposure, best_value(data.bred, exposure))
    return _loss(
        *(
            litter_means(one, at_best, poor) - litter_means(one, data, poor)
            for one in (published, together)
        )
    )


def _loss(before: Floats, after: Floats) -> Loss:
    """Means over the breedings of the poor side; arrays of shape (n_draws, n)."""
    published, together = (estimate_from_draws(each.mean(axis=1)) for each in (before, after))
    return Loss(before.shape[1], published, together)


def shifts_of_litters(data: ConceptionData, *, seed: int) -> dict[str, Shift]:
    """What the records alone say of the chance of a litter, by exposure that can be asked.

    Parameters
    ----------
    data
        All breedings that the model reads.
    seed
        Of the sampler.
    """
    asked = [name for name in EXPOSURES if _has_both_sides(data, name)]
    if not asked:
        return {}
    try:
        alone = fit_conception(data, seed=seed, belief=_open("litter"), schedule=SCHEDULE[:1])
    except ConvergenceError:
        return {}
    shifts = {}
    for exposure in asked:
        poor = _poor_and_known(data, exposure)
        at_best = conception_at(data, exposure, best_value(data, exposure), is_carried=False)
        moved = logit(litter_chances(alone, at_best, poor)) - logit(
            litter_chances(alone, data, poor)
        )
        shifts[exposure] = _shift(moved)
    return shifts


def shifts_of_pups(data: LitterData, *, seed: int) -> dict[str, Shift]:
    """What the records alone say of the size of litters; as for the chance of a litter."""
    asked = [
        name
        for name in OPEN_ROWS["size"]
        if _both_sides(on_poor_side(data.bred, name), outcome_of_litters(data).value)
    ]
    if not asked:
        return {}
    try:
        alone = fit_litter(data, seed=seed, belief=_open("size"), schedule=SCHEDULE[:1])
    except ConvergenceError:
        return {}
    shifts = {}
    for exposure in asked:
        poor = on_poor_side(data.bred, exposure) == 1
        at_best = litter_at(data, exposure, best_value(data.bred, exposure), is_carried=False)
        shifts[exposure] = _shift(
            log_means(alone.draws, at_best, poor) - log_means(alone.draws, data, poor)
        )
    return shifts


def claims(
    shifts: Mapping[Outcome, Mapping[str, Shift]],
) -> dict[tuple[Outcome, str], Direction]:
    """Which shifts the records alone show, all questions of a kennel taken together.

    Parameters
    ----------
    shifts
        By outcome and exposure.

    Returns
    -------
    dict
        ``fewer`` or ``more`` litters or pups on the poor side, by outcome and exposure.
    """
    asked = sorted(
        ((shift.p_value, outcome, exposure, shift.mean)
         for outcome, of_outcome in shifts.items() for exposure, shift in of_outcome.items()),
    )  # fmt: skip
    found: dict[tuple[Outcome, str], Direction] = {}
    for k, (p_value, outcome, exposure, mean) in enumerate(asked):
        if p_value > ERROR_PROB / (len(asked) - k):
            break
        found[outcome, exposure] = "fewer" if mean > 0.0 else "more"
    return found


def as_plain(shifts: Mapping[str, Shift]) -> dict[str, list[float]]:
    """Shifts as plain numbers, to be kept."""
    return {exposure: [shift.mean, shift.sd] for exposure, shift in shifts.items()}


def from_plain(kept: Mapping[str, Any]) -> dict[str, Shift]:
    """Shifts from plain numbers."""
    return {exposure: Shift(float(mean), float(sd)) for exposure, (mean, sd) in kept.items()}


def _poor_and_known(data: ConceptionData, exposure: str) -> Mask:
    known = np.isfinite(outcome_of_breedings(data).value)
    return np.asarray(known & (on_poor_side(data, exposure) == 1))


def _has_both_sides(data: ConceptionData, exposure: str) -> bool:
    return _both_sides(on_poor_side(data, exposure), outcome_of_breedings(data).value)


def _both_sides(side: np.ndarray[Any, Any], value: Floats) -> bool:
    known = np.isfinite(value)
    return all(int((known & (side == one)).sum()) >= FEWEST_A_SIDE for one in (0, 1))


def _open(outcome: Outcome) -> Belief:
    rows = [row for of_exposure in OPEN_ROWS[outcome].values() for row in of_exposure]
    return Belief(otherwise=dict.fromkeys(rows, (0.0, OPEN_SD[outcome])))


def _shift(moved: Floats) -> Shift:
    """Mean over the breedings, and how sure it is over the draws; first axis draws."""
    by_draw = moved.mean(axis=1)
    return Shift(float(by_draw.mean()), float(by_draw.std(ddof=1)))
