r"""What if results that nobody reported were not missing at random?

A litter is written down and a miss forgotten. The model believes in a ratio :math:`\rho` of the two
chances of going unreported (row m01), of which the records tell little. Here the records are fitted
again as if it were known: misses forgotten as often as litters, three times and ten times as often.

Does not know: whether what was reported is true.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from studcurve.analytics.estimate import Estimate, estimate_from_draws
from studcurve.analytics.models.breedings.posterior import Belief
from studcurve.analytics.models.conception.bred import Mask
from studcurve.analytics.models.conception.chance import own_litter_probs
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.trust.refit import refit
from studcurve.analytics.vocabulary import SEMEN_TYPES

RATIOS = (1.0, 3.0, 10.0)
"""How many times as often a miss goes unreported as a litter. (rule)"""

AS_IF_KNOWN_SD = 1e-3
"""Of the logarithm of a ratio that is taken as known."""


@dataclass(frozen=True, slots=True)
class Forgotten:
    """Chances of a litter as they would be at each of :data:`RATIOS`.

    Attributes
    ----------
    n_unreported
        Results that should have been reported and were not.
    believed
        The ratio as the fit believes it.
    everything, semen_types, studs
        Mean chance over all breedings, and those of a semen type or a stud that have a result
        owing: one estimate a ratio. [0 to 1]
    """

    n_unreported: int
    believed: Estimate
    everything: tuple[Estimate, ...]
    semen_types: Mapping[str, tuple[Estimate, ...]]
    studs: Mapping[str, tuple[Estimate, ...]]


def moved_points(at_ratios: tuple[Estimate, ...]) -> float:
    """How far the middles of the first and the last ratio are apart. [points]"""
    return 100.0 * abs(at_ratios[-1].median - at_ratios[0].median)


def forgotten(fitted: ConceptionPosterior, chosen: Mask, *, seed: int) -> Forgotten | None:
    """Fit the records again at each ratio.

    Parameters
    ----------
    fitted
        Of the chain.
    chosen
        Mask over the breedings that a sum may hold.
    seed
        Of the sampler.

    Returns
    -------
    Forgotten or None
        None where no result is owing, or of a kennel too large to be fitted again.
    """
    data = fitted.data
    is_owing = data.is_unreported & chosen
    if not is_owing.any():
        return None
    again = []
    for ratio in RATIOS:
        belief = Belief(otherwise={"m01": (float(np.log(ratio)), AS_IF_KNOWN_SD)})
        one = refit(data, belief, seed=seed)
        if one is None:
            return None
        again.append(own_litter_probs(one, np.ones(data.n_breedings, dtype=bool)))

    def at_ratios(of: Mask) -> tuple[Estimate, ...]:
        return tuple(estimate_from_draws(chances[:, of].mean(axis=1)) for chances in again)

    stud = data.groups["stud"]
    by_type = {kind: chosen & (data.semen_type == kind) for kind in SEMEN_TYPES}
    by_stud = {name: chosen & (stud == k) for k, name in enumerate(data.levels["stud"])}
    return Forgotten(
        n_unreported=int(is_owing.sum()),
        believed=fitted.estimate("m01"),
        everything=at_ratios(chosen),
        semen_types={kind: at_ratios(of) for kind, of in by_type.items() if (is_owing & of).any()},
        studs={name: at_ratios(of) for name, of in by_stud.items() if (is_owing & of).any()},
    )


def as_plain(found: Forgotten) -> dict[str, Any]:
    """The same as plain numbers, to be kept beside the draws."""

    def ends(one: Estimate) -> list[float]:
        return [one.median, one.lower, one.upper]

    return {
        "n_unreported": found.n_unreported,
        "believed": ends(found.believed),
        "everything": [ends(one) for one in found.everything],
        "semen_types": {kind: [ends(e) for e in of] for kind, of in found.semen_types.items()},
        "studs": {name: [ends(e) for e in of] for name, of in found.studs.items()},
    }


def from_plain(kept: Mapping[str, Any]) -> Forgotten:
    """What was kept, again as it was."""

    def read(ends: list[list[float]]) -> tuple[Estimate, ...]:
        return tuple(Estimate(*one) for one in ends)

    return Forgotten(
        int(kept["n_unreported"]),
        Estimate(*kept["believed"]),
        read(kept["everything"]),
        {kind: read(of) for kind, of in kept["semen_types"].items()},
        {name: read(of) for name, of in kept["studs"].items()},
    )
