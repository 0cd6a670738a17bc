"""What is each bitch's every option worth, by rest and division of the collection?

The chain is followed once an option with a whole rested ejaculate; rest and division then move the
dose alone, so every state of the collection is read from the same draws. Of options that take the
same doses of the same days only the best in a state can be in a best plan; the others are left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from scipy.special import expit

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.breedings.inputs import USUAL_DOSE_M
from studcurve.analytics.models.breedings.terms import dose_term
from studcurve.analytics.plan.options import Option
from studcurve.analytics.plan.schedule.program import RESTS, STATES, Way
from studcurve.analytics.plan.simulation.chain import FEWEST_SPERM_M, Pair, Unknowns, simulate
from studcurve.analytics.plan.simulation.samples import Rest
from studcurve.analytics.priors import PRIORS


def published_rest(rng: np.random.Generator, n_draws: int) -> Rest:
    """Draw what is published of rest (prior q03), for a stud whose own is not fitted."""
    time, deficit = PRIORS["q03_time"], PRIORS["q03_deficit"]
    recovery_days = time.centre * np.exp(time.sd * rng.normal(size=n_draws))
    worth = deficit.centre * (1.0 - deficit.centre) / deficit.sd**2 - 1.0
    missing = rng.beta(deficit.centre * worth, (1.0 - deficit.centre) * worth, size=n_draws)
    return Rest(None, recovery_days, missing)


def rest_shares(rest: Rest) -> Floats:
    """Share of a rested ejaculate that is there after each number of days of rest.

    Parameters
    ----------
    rest
        Of the kennel's fit, or published.

    Returns
    -------
    numpy.ndarray
        After each of :data:`RESTS` against the last of them, which stands for all longer ones;
        shape (n_draws, n_rests).
    """
    present = np.column_stack([rest.share_after(float(days)) for days in RESTS])
    return np.asarray(present / present[:, -1:])


def ways_of(
    options: Sequence[Option],
    pair: Pair,
    unknowns: Unknowns,
    rested: Floats,
    *,
    prices: Mapping[str, float],
    worth_of_litter: float | None,
) -> tuple[Way, ...]:
    """Follow every option of one bitch through every state of its first collection.

    Parameters
    ----------
    options
        Her options.
    pair
        The stud and this bitch.
    unknowns
        Draws of her heat, the sample being a rested one.
    rested
        From :func:`rest_shares`, as many draws.
    prices, worth_of_litter
        As for a comparison; without a worth a way is worth its chance of a litter.
    """
    kept: dict[tuple[tuple[tuple[date, int], ...], bool, int], Way] = {}
    for option in options:
        way = _way(option, pair, unknowns, rested, prices, worth_of_litter)
        key = (way.doses_on, way.takes_all, way.n_straws)
        if key not in kept or way.value.max() > kept[key].value.max():
            kept[key] = way
    return tuple(kept.values())


def doses_taken(option: Option) -> tuple[tuple[date, int], ...]:
    """Doses that an option takes of each day's collection, the first day first."""
    if option.semen_type == "frozen":
        return ()
    if option.packed_at is not None:
        return ((option.packed_at.date(), option.n_doses),)
    return tuple((at.date(), 1) for at in option.inseminated_at)


def _way(
    option: Option,
    pair: Pair,
    unknowns: Unknowns,
    rested: Floats,
    prices: Mapping[str, float],
    worth_of_litter: float | None,
) -> Way:
    """One option in every state; a mating and straws have one chance for all."""
    whole = simulate(replace(option, n_doses=1), pair, unknowns)
    taken = doses_taken(option)
    takes_all = option.semen_type == "natural"
    chance = whole.litter_prob[:, None]
    if taken and not takes_all:
        factor = np.column_stack([rested[:, RESTS.index(rest)] / shares for rest, shares in STATES])
        sperm = np.maximum(whole.motile_dose_m[:, None] * factor, FEWEST_SPERM_M)
        doublings = np.log2(sperm / USUAL_DOSE_M[option.route])
        draws = unknowns.coefficients
        dose = dose_term(np, doublings, draws["c10"][:, None], draws["c11"][:, None])
        others = (whole.logit - whole.parts["motile dose"])[:, None]
        logit = others + unknowns.stretch[:, None] * dose
        chance = expit(logit) * expit(draws["c02"])[:, None]
    elif taken:
        chance = np.repeat(chance, len(STATES), axis=1)
    value = chance.mean(axis=0)
    if worth_of_litter is not None:
        gain = worth_of_litter - prices.get("stud fee", 0.0)
        value = gain * value - option.cost(prices)
    return Way(pair.bitch, option, taken, takes_all, value, chance)
