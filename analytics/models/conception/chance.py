"""What chance of a litter do draws of the conception chain give to a breeding?

At a known dose, motility and day, for the breedings of the records with their own partners, and for
the same breedings with partners not seen before. Dose, motility and day of a record are averaged
over as it leaves them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.special import expit, logit

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
from studcurve.analytics.models.conception.model import (
    EARLY,
    LATE,
    REPORTED_LESS,
    ConceptionPosterior,
    reported_probs,
    semen_type_index,
)
from studcurve.analytics.priors import draw_priors

SPREAD_NODES, SPREAD_WEIGHTS = normal_nodes(15)
"""Where the effects of partners not seen before are read, in sd."""

CELLS_AT_ONCE = 40_000
"""Cells that are averaged over partners at once: what a core holds close by."""

LOGISTIC_TO_NORMAL = 16.0 * np.sqrt(3.0) / (15.0 * np.pi)
"""Ratio of the scales of a logistic and the normal nearest to it: Zeger, Liang & Albert 1988."""

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


def reported_litter_prob(
    draws: Mapping[str, Floats],
    data: ConceptionData,
    chosen: np.ndarray[Any, Any],
    prob: Floats,
) -> Floats:
    """Chance of a litter of breedings whose result was reported: litters are reported more often.

    Parameters
    ----------
    draws
        Draws by id.
    data, chosen
        Records, and a mask or index of the breedings.
    prob
        Chance of a litter of each, shape (..., n_draws, n_chosen).
    """
    is_owed = data.is_owed[chosen]
    of_litter, _, of_miss = _reporting(
        draws, data.semen_type[chosen], is_owed, np.zeros(len(is_owed), dtype=bool)
    )
    litters = prob * of_litter
    return np.asarray(litters / (litters + (1.0 - prob) * of_miss))


def reporting_probs(
    draws: Mapping[str, Floats], data: ConceptionData, chosen: np.ndarray[Any, Any]
) -> Floats:
    """Chance that results are reported, or are not, as the records have them.

    Parameters
    ----------
    draws
        Draws by id; rows m01 and m02 are read.
    data, chosen
        Records, and a mask or index of the breedings.

    Returns
    -------
    numpy.ndarray
        In each of the three true states, shape (3, n_draws, n_chosen).
    """
    return _reporting(
        draws, data.semen_type[chosen], data.is_owed[chosen], data.is_unreported[chosen]
    )


def _reporting(
    draws: Mapping[str, Floats],
    semen_type: np.ndarray[Any, Any],
    is_owed: np.ndarray[Any, Any],
    is_unreported: np.ndarray[Any, Any],
) -> Floats:
    less = np.stack([draws[row] for row in REPORTED_LESS], axis=1)[:, semen_type_index(semen_type)]
    return np.asarray(
        reported_probs(
            np,
            draws["m01"][:, None],
            expit(less),
            is_owed=is_owed,
            is_unreported=is_unreported,
        )
    )


def reported_as_here(
    published: Mapping[str, Floats], here: Mapping[str, Floats]
) -> dict[str, Floats]:
    """Draws of the published table of which results are reported as in these records.

    Parameters
    ----------
    published, here
        Draws by id, of the table and of the fit.
    """
    n_draws = len(published["c01"])
    rows = ("m01", *REPORTED_LESS)
    return {**published, **{row: np.resize(here[row], n_draws) for row in rows}}


def beyond_stretch(sd: Floats) -> Floats:
    r"""Factor on the logit of the mean of breedings, on the way to that of one of them.

    What no column holds differs from breeding to breeding by :math:`\tau z` (row c27). Single
    results never tell it apart, so every chance above is a mean over it, and

    .. math::

        \eta_i = \sqrt{1 + c^2 \tau^2}\; \eta + \tau z_i

    leaves that mean as it was (Zeger, Liang & Albert 1988, Biometrics 44:1049-1060).

    Parameters
    ----------
    sd
        Spread :math:`\tau` beyond every column. [logit]
    """
    return np.asarray(np.sqrt(1.0 + (LOGISTIC_TO_NORMAL * sd) ** 2))


def of_one_breeding(prob: Floats, rng: np.random.Generator) -> Floats:
    """Draws of the chance of one breeding, from those of the mean of breedings like it.

    Parameters
    ----------
    prob
        Chance of a pregnancy, first axis draws.
    rng
        Source of its spread (row c27) and of where each breeding stands in it.
    """
    sd = draw_priors(["c27"], rng, len(prob))["c27"].reshape(-1, *(1,) * (prob.ndim - 1))
    return np.asarray(expit(beyond_stretch(sd) * logit(prob) + sd * rng.normal(size=prob.shape)))


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
    return np.asarray(own_litter_probs(posterior, chosen).mean(axis=1))


def own_litter_probs(posterior: ConceptionPosterior, chosen: np.ndarray[Any, Any]) -> Floats:
    """Chance of a litter of each chosen breeding with its own partners, shape (n_draws, n_chosen).

    Parameters
    ----------
    posterior, chosen
        As for :func:`mean_litter_prob`.
    """
    parts = []
    effects = partner_effects(posterior, chosen)
    step = max(1, CELLS_AT_ONCE // max(1, effects.shape[1]))
    for start in range(0, len(effects), step):
        part = slice(start, start + step)
        draws = {row: values[part] for row, values in posterior.draws.items()}
        pregnant = recorded_pregnant_prob(draws, posterior.data, chosen, effects=effects[part])
        parts.append(pregnant * expit(draws["c02"])[:, None])
    return np.concatenate(parts)
