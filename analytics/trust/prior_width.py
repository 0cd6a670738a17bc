r"""How much of an answer hangs on how far the published numbers are trusted?

Every prior of the table has a spread, and the spread is a judgment. Two answers are computed again
with spreads half and twice as wide: how chilled and frozen semen stand next to fresh, and each
stud's chance of a litter. A kennel of up to 300 breedings is fitted again with every spread of the
table changed. Of a larger one the kept draws are weighted by the ratio of the other prior to the
table's own in the rows that the answer is made of and in all spreads between dogs, smoothed
(Vehtari et al. 2024, JMLR 25(72):1-58, P); where the weights cannot be trusted (Pareto k above 0.7)
it is left without that answer, which it says.

Does not know: whether the centres of the published numbers hold for this kennel.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Literal

from studcurve.analytics.estimate import (
    Estimate,
    Floats,
    below_zero_prob,
    estimate_from_draws,
)
from studcurve.analytics.models.breedings.posterior import Belief
from studcurve.analytics.models.conception.chance import mean_litter_prob
from studcurve.analytics.models.conception.model import PUBLISHED, ConceptionPosterior
from studcurve.analytics.trust.checking import other_prior_weights, with_other_prior
from studcurve.analytics.trust.refit import refit

NARROW, WIDE = 0.5, 2.0
"""Factors of the priors' spreads. (rule)"""

METHOD_ROWS: Mapping[str, str] = {"chilled": "c05", "frozen": "c06"}
"""Rows of the table that set a semen type beside fresh, by the same route at its usual dose."""

LEVEL_ROWS = ("c01", "c02", "c03", "c04", "c05", "c06")
"""Rows that a stud's chance is made of beside the spreads: both levels, route and semen types."""

MOVED_POINTS = 5.0
"""A chance that moves by more hangs on the published numbers: the gap below which no option of a
plan is called better. [points] (rule)"""


@dataclass(frozen=True, slots=True)
class PriorWidth:
    """One number with the table's priors, and with narrower and wider ones.

    Attributes
    ----------
    table
        With the priors as they are.
    narrow, wide
        With spreads half and twice as wide; None where that could not be computed.
    """

    table: Estimate
    narrow: Estimate | None
    wide: Estimate | None

    @property
    def shift_points(self) -> float:
        """Largest shift of the middle of a chance; 0 where nothing could be computed. [points]"""
        medians = [other.median for other in (self.narrow, self.wide) if other is not None]
        return 100.0 * max((abs(value - self.table.median) for value in medians), default=0.0)


@dataclass(frozen=True, slots=True)
class MethodWidth:
    """A semen type beside fresh, with the table's priors and with narrower and wider ones.

    Attributes
    ----------
    difference
        Of the logit of a litter.
    fewer_prob, fewer_prob_narrow, fewer_prob_wide
        Chance that it lies below zero, by the same draws; None where that could not be computed.
    """

    difference: PriorWidth
    fewer_prob: float
    fewer_prob_narrow: float | None
    fewer_prob_wide: float | None


@dataclass(frozen=True, slots=True)
class PriorWidths:
    """What hangs on the priors' spreads.

    Attributes
    ----------
    methods
        Beside fresh, by semen type, of those recorded.
    studs
        Mean chance of a litter over his breedings, by call name. [0 to 1]
    refitted
        Factors for which the model was fitted again.
    """

    methods: Mapping[str, MethodWidth]
    studs: Mapping[str, PriorWidth]
    refitted: tuple[float, ...]


def order_of(studs: Mapping[str, PriorWidth], way: Literal["table", "narrow", "wide"]
             ) -> tuple[str, ...]:  # fmt: skip
    """Studs by their chance under one way, the highest first; empty where one has none."""
    found = {name: getattr(width, way) for name, width in studs.items()}
    if None in found.values():
        return ()
    return tuple(sorted(found, key=lambda name: (-found[name].median, name)))


def prior_widths(posterior: ConceptionPosterior, *, seed: int) -> PriorWidths:
    """Tell the answers again with narrower and wider priors.

    Parameters
    ----------
    posterior
        Fitted, with the draws that pages read: a number and its verdict are then one everywhere.
    seed
        Seed of a further fit.
    """
    data, draws = posterior.data, posterior.draws
    again = {factor: refit(data, Belief(factor), seed=seed) for factor in (NARROW, WIDE)}
    spreads = tuple(row for row in PUBLISHED.spreads.values() if row in draws)

    def width_of(
        rows: tuple[str, ...], read: Callable[[ConceptionPosterior], Floats]
    ) -> PriorWidth:
        values = read(posterior)

        def other(factor: float) -> Estimate | None:
            fitted = again[factor]
            if fitted is not None:
                return estimate_from_draws(read(fitted))
            return with_other_prior(draws, (*rows, *spreads), factor, values)

        return PriorWidth(estimate_from_draws(values), other(NARROW), other(WIDE))

    def method(row: str) -> MethodWidth:
        def fewer_with(factor: float) -> float | None:
            fitted = again[factor]
            if fitted is not None:
                return below_zero_prob(fitted.draws[row])
            weight = other_prior_weights(draws, (row, *spreads), factor)
            return None if weight is None else below_zero_prob(draws[row], weight)

        return MethodWidth(
            width_of((row,), lambda fitted: fitted.draws[row]),
            below_zero_prob(draws[row]),
            fewer_with(NARROW),
            fewer_with(WIDE),
        )

    recorded = [kind for kind in METHOD_ROWS if (data.semen_type == kind).any()]
    studs = {
        name: width_of(LEVEL_ROWS, partial(mean_litter_prob, chosen=data.groups["stud"] == k))
        for k, name in enumerate(data.levels["stud"])
        if (data.whelped[data.groups["stud"] == k] >= 0).any()
    }
    return PriorWidths(
        {kind: method(METHOD_ROWS[kind]) for kind in recorded},
        studs,
        tuple(factor for factor, fitted in again.items() if fitted is not None),
    )


def as_plain(widths: PriorWidths) -> dict[str, Any]:
    """The same as plain numbers, to be kept beside the draws."""

    def ends(estimate: Estimate | None) -> list[float] | None:
        return None if estimate is None else [estimate.median, estimate.lower, estimate.upper]

    def plain(width: PriorWidth) -> list[list[float] | None]:
        return [ends(width.table), ends(width.narrow), ends(width.wide)]

    return {
        "methods": {
            kind: {
                "difference": plain(one.difference),
                "fewer_probs": [one.fewer_prob, one.fewer_prob_narrow, one.fewer_prob_wide],
            }
            for kind, one in widths.methods.items()
        },
        "studs": {name: plain(width) for name, width in widths.studs.items()},
        "refitted": list(widths.refitted),
    }


def from_plain(kept: Mapping[str, Any]) -> PriorWidths:
    """What was kept, again as it was."""

    def read(ends_of_all: list[list[float] | None]) -> PriorWidth:
        return PriorWidth(*(None if ends is None else Estimate(*ends) for ends in ends_of_all))  # type: ignore[arg-type]

    return PriorWidths(
        {
            kind: MethodWidth(read(one["difference"]), *one["fewer_probs"])
            for kind, one in kept["methods"].items()
        },
        {name: read(ends_of_all) for name, ends_of_all in kept["studs"].items()},
        tuple(kept["refitted"]),
    )
