"""The breedings in words on which the table of priors was calibrated, and their chance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.breedings.inputs import USUAL_DOSE_M
from studcurve.analytics.models.breedings.terms import design_matrix
from studcurve.analytics.models.conception.chance import (
    litter_prob,
    new_partner_spread,
    pregnant_logits,
)


@dataclass(frozen=True, slots=True)
class Archetype:
    """A breeding described by what the model reads.

    Attributes
    ----------
    semen_type, route
        As in the views.
    days
        Day of each insemination from ovulation. [d]
    motile_dose_m
        Progressively motile sperm per insemination; not read for a natural mating. [10⁶]
    storage_days
        Chilled storage. [d]
    motility_pct
        Progressive motility when inseminated; the usual one of its semen type unless said. [%]
    normal_morphology_pct, bitch_age_years, stud_age_years, missed_before
        As in the views.
    """

    semen_type: str
    route: str
    days: tuple[float, ...]
    motile_dose_m: float = float("nan")
    storage_days: float = 1.0
    motility_pct: float = float("nan")
    normal_morphology_pct: float = 80.0
    bitch_age_years: float = 4.0
    stud_age_years: float = 4.0
    missed_before: bool = False


ARCHETYPES: Mapping[str, Archetype] = {
    "natural, timed": Archetype("natural", "natural", (0.0, 2.0)),
    "fresh vaginal, 400 M, twice": Archetype("fresh", "vaginal", (1.0, 3.0), 400.0),
    "chilled vaginal, 24 h, 150 M, once": Archetype("chilled", "vaginal", (2.0,), 150.0),
    "chilled transcervical, 48 h, 100 M, once": Archetype(
        "chilled", "transcervical", (2.0,), 100.0, storage_days=2.0
    ),
    "frozen transcervical, +2/+3, 100 M, twice": Archetype(
        "frozen", "transcervical", (2.0, 3.0), 100.0
    ),
    "frozen vaginal, 7 years, missed before, 100 M, once": Archetype(
        "frozen", "vaginal", (3.0,), 100.0, bitch_age_years=7.0, missed_before=True
    ),
}
"""The six breedings on which the table of priors was calibrated."""


def pregnant_logit(draws: Mapping[str, Floats], breeding: Archetype) -> Floats:
    """Linear predictor of a breeding of average partners, shape (n_draws,)."""
    return pregnant_logits(
        draws,
        np.array([breeding.semen_type]),
        np.array([breeding.route]),
        design=design_matrix(
            np.array([breeding.semen_type]),
            np.array([breeding.route]),
            n_inseminations=np.array([float(len(breeding.days))]),
            storage_days=np.array([breeding.storage_days]),
            normal_morphology_pct=np.array([breeding.normal_morphology_pct]),
            bitch_age_years=np.array([breeding.bitch_age_years]),
            stud_age_years=np.array([breeding.stud_age_years]),
            missed_before=np.array([float(breeding.missed_before)]),
            motile_m_per_ml=np.array([np.nan]),
            hours_known=np.array(
                [24.0 * breeding.storage_days if breeding.semen_type == "chilled" else np.nan]
            ),
        ),
        motility_pct=np.array([breeding.motility_pct]),
        doublings=np.array(
            [np.log2(breeding.motile_dose_m / USUAL_DOSE_M.get(breeding.route, np.nan))]
        ),
        days=np.array([breeding.days], dtype=np.float64),
        inseminated=np.ones((1, len(breeding.days)), dtype=bool),
    )[:, 0]


def archetype_prob(draws: Mapping[str, Floats], breeding: Archetype) -> Floats:
    """Chance of a litter for a breeding of partners not seen before, shape (n_draws,)."""
    return litter_prob(draws, pregnant_logit(draws, breeding), spread=new_partner_spread(draws))
