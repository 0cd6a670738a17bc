"""Everything that is said of one exposure and one outcome, for a kennel or for one stud.

What could have mattered most stands first: pups that the poor side may have lost at the upper end
of the interval, a litter counted at its mean size, so that chances and sizes are on one scale.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from studcurve.analytics.models.breedings.exposures import EXPOSURES, poor_sides
from studcurve.analytics.models.breedings.records import BredHow
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.litter.model import LitterPosterior
from studcurve.analytics.outcomes.confounded import Together, what_went_with
from studcurve.analytics.outcomes.contrast import (
    Direction,
    Loss,
    Shift,
    claims,
    loss_of_litters,
    loss_of_pups,
)
from studcurve.analytics.outcomes.counted import (
    Band,
    Mark,
    Mask,
    Outcome,
    Side,
    band_edges,
    banded,
    counted,
    marks,
    outcome_of_breedings,
    outcome_of_litters,
)
from studcurve.analytics.outcomes.needed import WORTH_PUPS, WORTH_SHARE, Needed
from studcurve.analytics.outcomes.standardised import (
    Curve,
    chance_curve,
    grid_of,
    size_curve,
)

OUTCOMES: tuple[Outcome, ...] = ("litter", "size")

SUPPOSED_PUPS = 5.0
"""Pups of a litter where none was counted yet; only for the order of the sentences. (J)"""

Standing = Literal[
    "not_asked", "not_recorded", "no_poor", "no_usual", "few", "fewer", "more", "bounded", "open"
]
"""How far an answer goes: the exposure applies to no breeding; was recorded of none; nothing on one
side; too few on one; the records alone show fewer, or more; a loss worth acting on is ruled out;
or a loss cannot be told from none."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What was computed at the fit, over all breedings of the kennel.

    Attributes
    ----------
    shifts
        What the records alone say, by outcome and exposure.
    needed
        How many would show a loss worth acting on, by outcome and exposure.
    """

    shifts: Mapping[Outcome, Mapping[str, Shift]]
    needed: Mapping[Outcome, Mapping[str, Needed]]


@dataclass(frozen=True, slots=True)
class Counts:
    """What was counted of one exposure and one outcome.

    Attributes
    ----------
    n_bred, n_missing, n_unreported
        Breedings that the exposure applies to; of these without a recorded value; of the others
        without a reported outcome.
    poor, usual
        What came of either side.
    late, on_time
        The same of shipments that came late and in time; None without any, and but for hours.
    bands, marks
        By value.
    together_with
        What else was different on the poor side.
    """

    n_bred: int
    n_missing: int
    n_unreported: int
    poor: Side
    usual: Side
    late: Side | None
    on_time: Side | None
    bands: tuple[Band, ...]
    marks: tuple[Mark, ...]
    together_with: tuple[Together, ...]


@dataclass(frozen=True, slots=True)
class ExposureOutcome:
    """One exposure and one outcome.

    Attributes
    ----------
    exposure, outcome
        Which.
    standing
        How far the answer goes.
    counts
        What was counted.
    curve
        Of the same breedings, before and after the records; None where the model has no such row.
    loss
        What the poor side may have lost; None without one.
    needed
        How many breedings would show a loss worth acting on; None of one stud.
    pups_at_stake
        Upper end of what the poor side may have lost altogether, 0 where nothing can be said.
    """

    exposure: str
    outcome: Outcome
    standing: Standing
    counts: Counts
    curve: Curve | None
    loss: Loss | None
    needed: Needed | None
    pups_at_stake: float


@dataclass(frozen=True, slots=True)
class Models:
    """Both models, before and after the records, of the same data.

    Attributes
    ----------
    published_conception, conception, published_litter, litter
        Posteriors.
    """

    published_conception: ConceptionPosterior
    conception: ConceptionPosterior
    published_litter: LitterPosterior
    litter: LitterPosterior


def summarized(
    models: Models,
    rows: pd.DataFrame,
    *,
    bred: Mask,
    litters: Mask,
    kept: Kept,
    is_of_one_stud: bool,
) -> tuple[ExposureOutcome, ...]:
    """Everything that is said, what could have mattered most first.

    Parameters
    ----------
    models
        Both models.
    rows
        The view ``breedings`` in the order of the models' arrays.
    bred, litters
        Masks over the breedings and over the counted litters that it is about.
    kept
        What was computed at the fit.
    is_of_one_stud
        Whether the masks leave one stud's; claims and sizes needed are of the whole kennel.
    """
    claimed = claims(kept.shifts)
    found = []
    for exposure in EXPOSURES:
        for outcome in OUTCOMES:
            counts = _counted(models, rows, outcome, exposure, bred, litters)
            loss, curve, pups_a_breeding = _modelled_part(models, outcome, exposure, bred, litters)
            needed = kept.needed.get(outcome, {}).get(exposure)
            stake = 0.0 if loss is None else loss.n * loss.together.upper * pups_a_breeding
            found.append(
                ExposureOutcome(
                    exposure,
                    outcome,
                    _standing(counts, outcome, claimed.get((outcome, exposure)), loss),
                    counts,
                    curve,
                    loss,
                    None if is_of_one_stud else needed,
                    max(0.0, stake),
                )
            )
    return tuple(sorted(found, key=lambda one: -one.pups_at_stake))


def _counted(
    models: Models,
    rows: pd.DataFrame,
    outcome: Outcome,
    exposure: str,
    bred: Mask,
    litters: Mask,
) -> Counts:
    """Count what came of one exposure's sides and bands."""
    how: BredHow = models.conception.data
    chosen, came = bred, outcome_of_breedings(models.conception.data)
    if outcome == "size":
        how, chosen = models.litter.data.bred, litters
        came = outcome_of_litters(models.litter.data)
    sides = poor_sides(how.exposures, how.semen_type, how.route)
    side, late = sides[exposure], sides["late"]
    applies = chosen & _applies(how.semen_type, exposure)
    drawn = chosen & grid_of(how, exposure)[0]
    values = np.where(drawn, how.exposures.of(exposure), np.nan)
    is_late = exposure == "hours" and bool((chosen & (late == 1)).any())
    return Counts(
        n_bred=int(applies.sum()),
        n_missing=int((applies & (side < 0)).sum()),
        n_unreported=int((applies & (side >= 0) & ~np.isfinite(came.value)).sum()),
        poor=counted(came, chosen & (side == 1)),
        usual=counted(came, chosen & (side == 0)),
        late=counted(came, chosen & (late == 1)) if is_late else None,
        on_time=counted(came, chosen & (late == 0)) if is_late else None,
        bands=banded(came, values, band_edges(how, exposure, drawn)),
        marks=marks(came, values),
        # Of litters the same bitches stand there as of breedings: it is said once.
        together_with=what_went_with(how, rows, exposure, chosen) if outcome == "litter" else (),
    )


def _modelled_part(
    models: Models, outcome: Outcome, exposure: str, bred: Mask, litters: Mask
) -> tuple[Loss | None, Curve | None, float]:
    """Loss, curve, and the pups that one unit of the loss is worth."""
    if outcome == "litter":
        both = models.published_conception, models.conception
        sizes = outcome_of_litters(models.litter.data).value
        pups = float(sizes.mean()) if len(sizes) else SUPPOSED_PUPS
        return (
            loss_of_litters(*both, exposure, bred), chance_curve(*both, exposure, bred), pups,
        )  # fmt: skip
    pair = models.published_litter, models.litter
    return loss_of_pups(*pair, exposure, litters), size_curve(*pair, exposure, litters), 1.0


def _applies(semen: np.ndarray, exposure: str) -> Mask:
    if exposure == "day":
        return np.ones(len(semen), dtype=bool)
    if exposure == "hours":
        return np.isin(semen, ("fresh", "chilled"))
    return np.asarray(semen != "natural")


def _standing(
    counts: Counts, outcome: Outcome, claimed: Direction | None, loss: Loss | None
) -> Standing:
    """How far the answer goes."""
    if counts.n_bred == 0:
        return "not_asked"
    if counts.n_missing == counts.n_bred:
        return "not_recorded"
    if counts.poor.n_known == 0:
        return "no_poor"
    if counts.usual.n_known == 0:
        return "no_usual"
    if claimed is not None:
        return claimed
    if counts.poor.rate is None or counts.usual.rate is None:
        return "few"
    worth = WORTH_SHARE if outcome == "litter" else WORTH_PUPS
    if loss is not None and loss.together.upper < worth:
        return "bounded"
    return "open"
