"""What do the draws say of the breedings of the records: by semen type, of one stud, each alone?

Every mean chance is of the same breedings before and after the records, beside the plain share of
their known outcomes. A mask says which breedings are asked of; whatever is summed over a kennel
leaves out those of a dog that a caution stops.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import logit

from studcurve.analytics.estimate import (
    Estimate,
    RecordsWeight,
    before_of,
    below_zero_prob,
    estimate_from_draws,
    records_weight,
)
from studcurve.analytics.measures.counting import exact_share
from studcurve.analytics.models.breedings.inputs import USUAL_DOSE_M
from studcurve.analytics.models.breedings.posterior import GroupedData
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.breedings.terms import LINEAR
from studcurve.analytics.models.conception.chance import mean_litter_prob
from studcurve.analytics.models.conception.model import COEFFICIENTS, ConceptionPosterior
from studcurve.analytics.models.conception.response import Response, read_response
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.vocabulary import SEMEN_TYPES

RECORDED_DAY_SD, RECORDED_DOSE_SD = 1.0, 0.5
"""A breeding is drawn where its day and its dose are at least this sure. [d, doublings] (J)"""

Mask = np.ndarray[Any, Any]
"""Which breedings are meant, shape (n_breedings,)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BreedingsChance:
    """Chance of a litter of some breedings, three ways.

    Attributes
    ----------
    n_known, n_whelped
        Breedings with a known outcome, and litters among them.
    own
        Share with its exact interval; None without a known outcome. [0 to 1]
    published, together
        Mean chance of the same breedings with the same partners before and after the records.
        [0 to 1]
    records_weight
        What the records supply of the last, on its logit.
    """

    n_known: int
    n_whelped: int
    own: Estimate | None
    published: Estimate
    together: Estimate
    records_weight: RecordsWeight


@dataclass(frozen=True, slots=True)
class SemenTypeChance:
    """Chance of a litter of the breedings with one semen type, as in the views."""

    semen_type: str
    of: BreedingsChance


@dataclass(frozen=True, slots=True)
class Alike:
    """Breedings of one column that all ended alike, so that no finite ratio is theirs.

    Attributes
    ----------
    n
        Breedings with a known outcome of which the column says anything.
    gave_litters
        Whether all of them whelped; none did otherwise.
    """

    n: int
    gave_litters: bool


@dataclass(frozen=True, slots=True)
class Coefficient:
    """One row of the chain, before and after the records. [logit]

    Attributes
    ----------
    row
        Id in the priors table.
    published, together
        Before and after the records.
    own
        What the records alone say of it; None where they cannot speak.
    fewer_prob
        Chance after the records that it lies below zero: that fewer litters go with it.
    records_weight
        What the records supply of ``together``.
    mark
        Of the row's source.
    """

    row: str
    published: Estimate
    own: Estimate | Alike | None
    together: Estimate
    fewer_prob: float
    records_weight: RecordsWeight
    mark: str


@dataclass(frozen=True, slots=True)
class BredDot:
    """One breeding of the records as a dot.

    Attributes
    ----------
    semen_type, route
        As in the views.
    day
        Best-timed insemination from ovulation; None where it is not known. [d]
    dose_m
        Motile dose; None where it was not recorded. [10⁶]
    gave_litter
        Whether she whelped.
    is_his
        Whether the stud is the one that the page is about.
    bitch
        Call name; empty for a reader who may not know her.
    """

    semen_type: str
    route: str
    day: float | None
    dose_m: float | None
    gave_litter: bool
    is_his: bool
    bitch: str


@dataclass(frozen=True, slots=True)
class StudChances:
    """What the draws say of one stud's breedings.

    Attributes
    ----------
    by_semen_type
        Over his own breedings.
    responses
        Chances over hours, doses and days of the methods that they used.
    dots
        The kennel's breedings with a known outcome.
    """

    by_semen_type: tuple[SemenTypeChance, ...]
    responses: tuple[Response, ...]
    dots: tuple[BredDot, ...]


def partners(data: GroupedData) -> tuple[Mask, Mask]:
    """Call names of stud and bitch of every breeding, or litter, that a model reads."""
    studs, bitches = (np.array(data.levels[factor], dtype=object) for factor in ("stud", "bitch"))
    return studs[data.groups["stud"]], bitches[data.groups["bitch"]]


def without_stopped(
    stopped: Collection[str], stud: Mask | pd.Series, bitch: Mask | pd.Series
) -> Mask:
    """Mask of the breedings of which neither dog is stopped.

    Parameters
    ----------
    stopped
        Call names of the dogs whose chances a caution holds back.
    stud, bitch
        Call names of the two, breeding by breeding.
    """
    names = sorted(stopped)
    return ~(pd.Series(stud).isin(names) | pd.Series(bitch).isin(names)).to_numpy()


def bred_by(data: ConceptionData, stud: str) -> Mask:
    """Mask of one stud's breedings; none where he has no breeding that the model reads."""
    studs, _ = partners(data)
    return np.asarray(studs == stud, dtype=bool)


def breedings_chance(fitted: ConceptionPosterior, chosen: Mask) -> BreedingsChance:
    """Chance of a litter of chosen breedings, at least one."""
    published, together = (mean_litter_prob(one, chosen) for one in (fitted.before, fitted))
    whelped = fitted.data.whelped[chosen]
    n_known, n_whelped = int((whelped >= 0).sum()), int((whelped == 1).sum())
    return BreedingsChance(
        n_known=n_known,
        n_whelped=n_whelped,
        own=exact_share(n_whelped, n_known),
        published=estimate_from_draws(published),
        together=estimate_from_draws(together),
        records_weight=records_weight(logit(together), before_of(logit(published))),
    )


def chances_by_semen_type(
    fitted: ConceptionPosterior, chosen: Mask
) -> tuple[SemenTypeChance, ...]:  # fmt: skip
    """Chance of a litter by semen type over chosen breedings; types without any are left out."""
    masks = {kind: (fitted.data.semen_type == kind) & chosen for kind in SEMEN_TYPES}
    return tuple(
        SemenTypeChance(kind, breedings_chance(fitted, mask))
        for kind, mask in masks.items()
        if mask.any()
    )


def has_chances(fitted: ConceptionPosterior, stud: str, stopped: Collection[str]) -> bool:
    """Whether there is a breeding of a stud that his chances by semen type may be told of."""
    shown = without_stopped(stopped, *partners(fitted.data))
    return bool((bred_by(fitted.data, stud) & shown).any())


def chain_coefficients(
    fitted: ConceptionPosterior, stopped: Collection[str]
) -> tuple[Coefficient, ...]:
    """The chain's coefficients in the order of the priors table.

    Parameters
    ----------
    fitted
        The kept fit.
    stopped
        Call names of the dogs whose chances a caution holds back; their outcomes are not counted.
    """
    shown = without_stopped(stopped, *partners(fitted.data))
    return tuple(
        Coefficient(
            row,
            fitted.prior_estimate(row),
            ended_alike(fitted.data, row, shown) or fitted.records_alone(row),
            fitted.estimate(row),
            below_zero_prob(fitted.draws[row]),
            fitted.records_weight(row),
            PRIORS[row].mark,
        )
        for row in COEFFICIENTS
    )


def ended_alike(data: ConceptionData, row: str, shown: Mask) -> Alike | None:
    """Whether all breedings that a column of the chain says anything of ended alike.

    Parameters
    ----------
    data
        Records.
    row
        Id of a coefficient; one without a column of its own never ended alike.
    shown
        Mask over the breedings whose outcomes may be told.
    """
    if row not in LINEAR:
        return None
    told = (data.design[:, LINEAR.index(row)] != 0.0) & (data.whelped >= 0) & shown
    whelped = data.whelped[told]
    return Alike(len(whelped), bool(whelped[0])) if len(np.unique(whelped)) == 1 else None


def stud_chances(
    fitted: ConceptionPosterior, stud: str, stopped: Collection[str]
) -> StudChances:  # fmt: skip
    """What the draws say of one stud's breedings.

    Parameters
    ----------
    fitted
        The kept fit.
    stud
        Call name.
    stopped
        Call names of the dogs whose chances a caution holds back; the kennel's breedings are no
        one's to see by them.
    """
    shown = without_stopped(stopped, *partners(fitted.data))
    return StudChances(
        by_semen_type=chances_by_semen_type(fitted, bred_by(fitted.data, stud) & shown),
        responses=_responses(fitted, stud),
        dots=_dots(fitted.data, stud, shown),
    )


def _responses(fitted: ConceptionPosterior, stud: str) -> tuple[Response, ...]:
    """Grids of the methods that this stud's breedings used: the most frequent first, mating last.

    A stud without breedings gets those of the kennel; surgical insemination is never offered.
    """
    data = fitted.data
    his = bred_by(data, stud)
    chosen = his if his.any() else np.ones(data.n_breedings, dtype=bool)
    used = Counter(
        (semen, route)
        for semen, route in zip(data.semen_type[chosen], data.route[chosen], strict=True)
        if route != "surgical"
    )
    return tuple(
        read_response(fitted, str(semen), str(route), stud)
        for (semen, route), _ in sorted(
            used.most_common(), key=lambda method: method[0][0] == "natural"
        )
    )


def _dots(data: ConceptionData, stud: str, shown: Mask) -> tuple[BredDot, ...]:
    """Breedings of the kennel with a known outcome, where their day and dose were recorded."""
    studs, bitches = partners(data)
    pair = data.inseminated_semen
    dots = []
    for k in np.flatnonzero((data.whelped >= 0) & shown):
        made = data.inseminated[k] & (data.day_sd[k] <= RECORDED_DAY_SD)
        days = data.day_mean[k][made]
        usual = USUAL_DOSE_M.get(str(data.route[k]))
        has_dose = usual is not None and pair.dose_sd[k] <= RECORDED_DOSE_SD
        dots.append(
            BredDot(
                str(data.semen_type[k]),
                str(data.route[k]),
                round(float(days[0]), 1) if len(days) else None,
                round(usual * 2.0 ** float(pair.dose_mean[k])) if usual and has_dose else None,
                bool(data.whelped[k] == 1),
                bool(studs[k] == stud),
                str(bitches[k]),
            )
        )
    return tuple(dots)
