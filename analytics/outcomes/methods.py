r"""What would the same bitches have come to with other semen?

The share of litters by semen type is of other bitches each: frozen semen may be kept for the old
ones. Standardisation over the breedings of the records (the g-formula of Robins 1986, Mathematical
Modelling 7:1393-1512, without a claim that anything was caused) sets the method alone: with
:math:`a` a semen type and :math:`z_i` the bitch, the stud, their ages and partners' effects of
breeding :math:`i`,

.. math:: \bar p(a) = \frac1n \sum_i \Pr(\text{litter} \mid a, z_i)

where every breeding is made once, by the route that the kennel used most with that semen, with its
usual dose and motility, chilled for a day, on a day within the window. What went with dose, hours
and day is thereby left out of the difference.

Does not know: whatever decided over the method and stands in no column.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from studcurve.analytics.estimate import Estimate, Floats, estimate_from_draws
from studcurve.analytics.measures.counting import exact_share
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.breedings.semen import SemenInseminated, usual_motility_pct
from studcurve.analytics.models.breedings.terms import LINEAR, design_matrix
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.conception.response import BEST_DAY
from studcurve.analytics.outcomes.standardised import Mask, litter_chances
from studcurve.analytics.vocabulary import SEMEN_TYPES

USUAL_STORAGE_DAYS = 1.0
"""Storage at which row c05 stands. [d]"""

OF_THE_DOGS = ("c13", "c14", "c15", "c16")
"""Columns that are of the dogs, whatever the method: shape, ages, an earlier miss."""

BESIDE = ("fresh", "natural", "chilled")
"""What the others are set beside: the first of these that was used."""


@dataclass(frozen=True, slots=True)
class MethodOutcome:
    """One semen type for all bitches of the records.

    Attributes
    ----------
    semen_type, route
        As in the views; the route that was used most.
    n_known, n_whelped, own
        Breedings with it whose result is known, litters, and the share of litters. [0 to 1]
    same_bitches
        Mean chance of a litter if every breeding had been made with it. [0 to 1]
    difference
        From the semen type that the others are set beside; None of that one. [-1 to 1]
    fewer_prob
        Chance that the difference is below zero; None of that one.
    """

    semen_type: str
    route: str
    n_known: int
    n_whelped: int
    own: Estimate | None
    same_bitches: Estimate
    difference: Estimate | None
    fewer_prob: float | None


def method_outcomes(fitted: ConceptionPosterior, chosen: Mask) -> tuple[MethodOutcome, ...]:
    """Set every chosen breeding to each semen type that was used.

    Parameters
    ----------
    fitted
        Of the chain.
    chosen
        Mask over the breedings.

    Returns
    -------
    tuple of MethodOutcome
        In the order of the semen types; empty where fewer than two were used.
    """
    data = fitted.data
    used = [kind for kind in SEMEN_TYPES if (chosen & (data.semen_type == kind)).any()]
    if len(used) < 2:
        return ()
    routes = {kind: usual_route(data, chosen, kind) for kind in used}
    chances = {
        kind: litter_chances(fitted, bred_with(data, kind, route), chosen).mean(axis=1)
        for kind, route in routes.items()
    }
    reference = next(kind for kind in BESIDE if kind in used)
    return tuple(
        _outcome(
            data, chosen, kind, routes[kind], chances[kind],
            None if kind == reference else chances[kind] - chances[reference],
        )
        for kind in used
    )  # fmt: skip


def usual_route(data: ConceptionData, chosen: Mask, semen_type: str) -> str:
    """Route that chosen breedings with a semen type used most."""
    used = Counter(data.route[chosen & (data.semen_type == semen_type)].tolist())
    return str(min(used, key=lambda route: (-used[route], route)))


def bred_with(data: ConceptionData, semen_type: str, route: str) -> ConceptionData:
    """The same breedings by one method: once, usual dose and motility, within the window.

    Parameters
    ----------
    data
        As they were.
    semen_type, route
        As in the views.
    """
    n = data.n_breedings
    nothing, unknown = np.zeros(n), np.full(n, np.nan)
    semen, routes = np.full(n, semen_type), np.full(n, route)
    design = design_matrix(
        semen,
        routes,
        n_inseminations=np.ones(n),
        storage_days=np.full(n, USUAL_STORAGE_DAYS),
        normal_morphology_pct=unknown,
        bitch_age_years=unknown,
        stud_age_years=unknown,
        missed_before=nothing,
        motile_m_per_ml=unknown,
        hours_known=unknown,
    )
    for row in OF_THE_DOGS:
        design[:, LINEAR.index(row)] = data.design[:, LINEAR.index(row)]
    return replace(
        data,
        semen_type=semen,
        route=routes,
        design=design,
        inseminated_semen=SemenInseminated(
            nothing, nothing, usual_motility_pct(semen), nothing, nothing
        ),
        day_mean=np.full((n, 2), BEST_DAY[semen_type]),
        day_sd=np.zeros((n, 2)),
        inseminated=np.tile([True, False], (n, 1)),
    )


def _outcome(
    data: ConceptionData,
    chosen: Mask,
    semen_type: str,
    route: str,
    chances: Floats,
    difference: Floats | None,
) -> MethodOutcome:
    whelped = data.whelped[chosen & (data.semen_type == semen_type)]
    n_known, n_whelped = int((whelped >= 0).sum()), int((whelped == 1).sum())
    return MethodOutcome(
        semen_type,
        route,
        n_known,
        n_whelped,
        exact_share(n_whelped, n_known),
        estimate_from_draws(chances),
        None if difference is None else estimate_from_draws(difference),
        None if difference is None else float((difference < 0.0).mean()),
    )
