"""What chance of a litter do draws of the conception chain give to a breeding?

At a known dose, motility and day, for the breedings of the records with their own partners, and for
the same breedings with partners not seen before. Dose, motility and day of a record are averaged
over as it leaves them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.special import expit

from studcurve.analytics.estimate import Floats, normal_nodes
from studcurve.analytics.models.breedings.inputs import (
    DAY_NODES,
    DAY_WEIGHTS,
    DOSE_NODES,
    DOSE_WEIGHTS,
)
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.breedings.semen import (
    motility_short,
    short_at_doses,
    usual_motility_pct,
)
from studcurve.analytics.models.breedings.terms import (
    LINEAR,
    MethodFlags,
    dose_term,
    method_flags,
    timing_term,
)
from studcurve.analytics.models.conception.model import EARLY, LATE, ConceptionPosterior

SPREAD_NODES, SPREAD_WEIGHTS = normal_nodes(15)
"""Where the effects of partners not seen before are read, in sd."""

CELLS_AT_ONCE = 40_000
"""Cells that are averaged over partners at once: what a core holds close by."""

N_DRAWS_READ = 1000
"""Draws that a chance over many breedings is read from; more would not show in its interval."""


def pregnant_logits(
    draws: Mapping[str, Floats],
    semen_type: np.ndarray[Any, Any],
    route: np.ndarray[Any, Any],
    *,
    design: Floats,
    doublings: Floats,
    motility_pct: Floats,
    days: Floats,
    inseminated: np.ndarray[Any, Any],
) -> Floats:
    """Linear predictor of several breedings at known dose, motility and day, without partners.

    Parameters
    ----------
    draws
        Draws by id, each of shape (n_draws,).
    semen_type, route
        Text, shape (n,).
    design
        From :func:`studcurve.analytics.models.breedings.terms.design_matrix`, shape (n, 15).
    doublings
        Log2 of dose over the usual one, shape (n,); not read for natural matings.
    motility_pct
        Progressive motility when inseminated, shape (n,); not read for natural matings. [%]
    days, inseminated
        Day from ovulation and whether that insemination was made, shape (n, n_inseminations).

    Returns
    -------
    numpy.ndarray
        Shape (n_draws, n). [logit]
    """
    flags = method_flags(semen_type, route)
    straight = np.column_stack([draws[row] for row in LINEAR]) @ design.T
    return np.asarray(
        draws["c01"][:, None]
        + straight
        + _dose_part(draws, flags, doublings)
        + _motility_part(draws, flags, motility_short(motility_pct, usual_motility_pct(semen_type)))
        + _timing_part(draws, flags, days, inseminated)
    )


def recorded_pregnant_prob(
    draws: Mapping[str, Floats],
    data: ConceptionData,
    chosen: np.ndarray[Any, Any],
    *,
    effects: Floats | float = 0.0,
    spread: Floats | None = None,
) -> Floats:
    """Chance of a pregnancy of recorded breedings, averaged over dose, motility and day.

    Parameters
    ----------
    draws
        Draws by id.
    data, chosen
        Records, and a mask or index of the breedings that are asked about.
    effects
        Effects of known partners, shape (n_draws, n_chosen). [logit]
    spread
        Standard deviation of the effects of partners not known, shape (n_draws,); none by
        default. [logit]

    Returns
    -------
    numpy.ndarray
        Shape (n_draws, n_chosen).
    """
    flags = method_flags(data.semen_type[chosen], data.route[chosen])
    straight = np.column_stack([draws[row] for row in LINEAR]) @ data.design[chosen].T
    known = draws["c01"][:, None] + straight + effects
    semen = _semen_parts(draws, data, chosen, flags)
    inseminated, day_sd = data.inseminated[chosen], data.day_sd[chosen]
    pregnant: Floats = np.zeros(known.shape)
    # Where every day is sure, one node says it all.
    nodes = zip(DAY_NODES, DAY_WEIGHTS, strict=True) if day_sd.any() else ((0.0, 1.0),)
    for node, weight in nodes:
        days = data.day_mean[chosen] + node * day_sd
        timed = np.exp(-(known + _timing_part(draws, flags, days, inseminated)))
        for semen_weight, against in semen:
            pregnant += weight * semen_weight * _mean_chance(timed * against, spread)
    return pregnant


def _semen_parts(
    draws: Mapping[str, Floats],
    data: ConceptionData,
    chosen: np.ndarray[Any, Any],
    flags: MethodFlags,
) -> list[tuple[float, Floats]]:
    """Weight of each node of dose and motility, and the factor on the odds against there."""
    pair = data.inseminated_semen
    mean, sd = pair.dose_mean[chosen], pair.dose_sd[chosen]
    short = short_at_doses(pair, data.semen_type)[:, :, chosen]
    parts = []
    for node, weight, sides in zip(DOSE_NODES, DOSE_WEIGHTS, short, strict=True):
        dose = _dose_part(draws, flags, mean + node * sd)
        for side in sides:
            against = np.exp(-(dose + _motility_part(draws, flags, side)))
            parts.append((float(weight) / len(sides), against))
    return parts


def _mean_chance(against: Floats, spread: Floats | None) -> Floats:
    r"""Chance at given odds against, averaged over the effects of partners not known.

    With an effect :math:`u` of partners, :math:`1 / (1 + e^{-(x + u)}) = 1 / (1 + a e^{-u})`, where
    :math:`a = e^{-x}` are the odds against: one exponential a cell, whatever partners there may be.

    Parameters
    ----------
    against
        Shape (n_draws, n).
    spread
        Standard deviation of the effects, shape (n_draws,) or (n_draws, n); None for partners that
        are known. [logit]
    """
    if spread is None:
        return np.asarray(1.0 / (1.0 + against))
    wide = spread.reshape(len(spread), -1)
    chance = np.zeros(against.shape)
    step = max(1, CELLS_AT_ONCE // max(1, against.shape[1]))
    for start in range(0, len(against), step):
        rows = slice(start, start + step)
        for node, weight in zip(SPREAD_NODES, SPREAD_WEIGHTS, strict=True):
            odds = against[rows] * np.exp(-node * wide[rows])
            odds += 1.0
            chance[rows] += np.divide(weight, odds, out=odds)
    return chance


def _dose_part(draws: Mapping[str, Floats], flags: MethodFlags, doublings: Floats) -> Floats:
    """Dose term of inseminated breedings, shape (n_draws, n). [logit]"""
    read = np.where(flags.artificial, np.nan_to_num(doublings), 0.0)[None, :]
    term = dose_term(np, read, draws["c10"][:, None], draws["c11"][:, None])
    return np.asarray(term * flags.artificial)


def _motility_part(draws: Mapping[str, Floats], flags: MethodFlags, short: Floats) -> Floats:
    """Term of the motility below the usual one, shape (n_draws, n). [logit]"""
    return np.asarray(draws["c23"][:, None] * (short * flags.artificial)[None, :])


def _timing_part(
    draws: Mapping[str, Floats],
    flags: MethodFlags,
    days: Floats,
    inseminated: np.ndarray[Any, Any],
) -> Floats:
    """Timing term of each breeding's best insemination, shape (n_draws, n). [logit]"""
    early = np.column_stack([draws[row] for row in EARLY]) @ flags.early.T
    late = np.column_stack([draws[row] for row in LATE]) @ flags.late.T
    peak = draws["c19"][:, None] * flags.frozen[None, :]
    best = np.full(early.shape, -np.inf)
    for j in range(days.shape[1]):
        term = timing_term(
            np,
            days[None, :, j],
            early_edge=flags.early_edge[None, :],
            late_edge=flags.late_edge[None, :],
            early=early,
            late=late,
            peak=peak,
        )
        best = np.where(inseminated[None, :, j], np.maximum(best, term), best)
    return best


def litter_prob(draws: Mapping[str, Floats], logits: Floats, *, spread: Floats) -> Floats:
    """Chance of a litter, averaged over partners that have not been seen.

    Parameters
    ----------
    draws
        Draws by id; ``c02`` is read.
    logits
        From :func:`pregnant_logits`, first axis draws. [logit]
    spread
        Standard deviation of the partners' effects together, shape (n_draws,) or like logits; 0
        for known partners whose effects are inside the logits. [logit]

    Returns
    -------
    numpy.ndarray
        Like logits.
    """
    cells = logits.reshape(len(logits), -1)
    wide = (
        spread if spread.ndim == 1 else np.broadcast_to(spread, logits.shape).reshape(cells.shape)
    )
    pregnant = _mean_chance(np.exp(-cells), wide).reshape(logits.shape)
    return np.asarray(pregnant * expit(draws["c02"]).reshape(-1, *(1,) * (logits.ndim - 1)))


def new_partner_spread(draws: Mapping[str, Floats]) -> Floats:
    """Spread of bitch, stud and breed together, for partners not seen before. [logit]"""
    return np.sqrt(sum(draws[f"c20_{factor}"] ** 2 for factor in ("bitch", "stud", "breed")))


def partner_effects(posterior: ConceptionPosterior, chosen: np.ndarray[Any, Any]) -> Floats:
    """Effects of the known partners, place and year of recorded breedings. [logit]

    Parameters
    ----------
    posterior
        Fitted or published.
    chosen
        Mask or index of the breedings.

    Returns
    -------
    numpy.ndarray
        Shape (n_draws, n_chosen).
    """
    data = posterior.data
    effects = np.zeros((len(posterior.draws["c01"]), len(data.whelped[chosen])))
    for factor, index in data.groups.items():
        effects += posterior.draws[f"effect_{factor}"][:, index[chosen]]
    return effects


def mean_litter_prob(posterior: ConceptionPosterior, chosen: np.ndarray[Any, Any]) -> Floats:
    """Mean chance of a litter over chosen breedings of the records, with their own partners.

    Parameters
    ----------
    posterior
        Fitted, or :attr:`~studcurve.analytics.models.breedings.posterior.BreedingsPosterior.before`
        of it: the same breedings and partners as the published table alone knows them.
    chosen
        Mask over the data's rows, at least one true.

    Returns
    -------
    numpy.ndarray
        Shape (n_draws,), 0 to 1.
    """
    means = []
    step = max(1, CELLS_AT_ONCE // max(1, int(np.count_nonzero(chosen))))
    effects = partner_effects(posterior, chosen)
    for start in range(0, len(effects), step):
        part = slice(start, start + step)
        draws = {row: values[part] for row, values in posterior.draws.items()}
        pregnant = recorded_pregnant_prob(draws, posterior.data, chosen, effects=effects[part])
        means.append(pregnant.mean(axis=1) * expit(draws["c02"]))
    return np.concatenate(means)
