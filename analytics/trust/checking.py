r"""Is the model right about kennels like this one, and what could so few records have shown?

Sized to the records: expected against observed litters with its interval, and what would have
fallen outside of it; from 40 known outcomes, every bitch is left out in turn and her breedings are
predicted from the others (:mod:`studcurve.analytics.trust.residuals` looks for faults in that);
from 100, these predictions are scored; from 1,000, gradient boosting is set against the model.
Beside it, whatever the size: the smallest difference that so many breedings could have shown, cells
that cannot be told apart, replicated records, and how much hangs on the priors.

Does not know whether the outcomes that were never reported differ from those that were; what they
could do is bounded by ``studcurve.analytics.measures.missing``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from arviz_stats.base import array_stats
from scipy.optimize import brentq
from scipy.special import expit, logit, logsumexp, ndtr, ndtri

from studcurve.analytics.estimate import (
    Estimate,
    Floats,
    estimate_from_draws,
    interval_quantiles,
    normal_nodes,
)
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.conception.chance import (
    N_DRAWS_READ,
    new_partner_spread,
    partner_effects,
    recorded_pregnant_prob,
    reported_as_here,
    reported_litter_prob,
    reporting_probs,
)
from studcurve.analytics.models.conception.model import (
    ConceptionPosterior,
    chain_log_likelihood,
    seen_probs,
)
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.vocabulary import SEMEN_TYPES

N_FOR_CROSS_VALIDATION = 100
"""Known outcomes from which breedings are predicted with their bitch left out. (rule)"""

N_FOR_LEFT_OUT = 40
"""Known outcomes from which bitches are left out at all: a large fault would show. (rule)"""

N_FOR_CHALLENGER = 1000
"""Known outcomes from which gradient boosting is set against the model. (rule)"""

N_FOLDS = 5
"""Parts that bitches are left out in by ways of prediction that learn anew each time. (rule)"""

LEAST_PROB = 1e-3
"""Chance below which such a way is not believed. (rule)"""

MAX_PARETO_K = 0.7
"""Above it an importance weight cannot be trusted: Vehtari et al. 2024, JMLR 25(72):1-58 (P)."""

POWER, ERROR_PROB = 0.8, 0.05
"""Chance of seeing a difference, and of seeing one that is not there, at which "could have shown"
is stated; common practice, no source."""

_EDGE_ERRORS = float(ndtri(1.0 - ERROR_PROB / 2.0))

_SEEN_FROM_ERRORS = brentq(
    lambda errors: ndtr(errors - _EDGE_ERRORS) + ndtr(-errors - _EDGE_ERRORS) - POWER, 0.0, 9.0
)
"""Difference that is seen with that chance by a two-sided normal test, in its standard errors."""

FEW_IN_CELL = 5
"""Known outcomes below which a cell is named as sparse. (rule)"""

_BITCH_NODES, _BITCH_WEIGHTS = normal_nodes(9)


@dataclass(frozen=True, slots=True)
class ExpectedObserved:
    """Litters that were expected, and those that came.

    Attributes
    ----------
    n_known, n_whelped
        Breedings with a known outcome, and litters.
    expected
        Litters that published work alone would expect, with the interval of a count.
    as_many_prob
        Chance of so many litters or more under published work alone, 0 to 1.
    """

    n_known: int
    n_whelped: int
    expected: Estimate
    as_many_prob: float


@dataclass(frozen=True, slots=True)
class Scores:
    """How well breedings are predicted by one way of predicting them.

    Attributes
    ----------
    log_score, brier
        Mean log probability of what came (nearer to 0 is better), mean squared error (less is).
    log_score_gain, log_score_gain_se
        Mean gain of the model over this way, and its standard error over bitches.
    brier_gain, brier_gain_se
        The same of the Brier score; more than 0 is better.
    """

    log_score: float
    brier: float
    log_score_gain: float
    log_score_gain_se: float
    brier_gain: float
    brier_gain_se: float


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Chances of the breedings with a known outcome, each with its bitch left out.

    Attributes
    ----------
    ways
        Chance by way: ``model``, ``published``, ``raw`` and, from 1,000, ``boosting``; shape (n,).
    pareto_k
        Of the importance weights of the breeding's bitch, shape (n,).
    """

    ways: Mapping[str, Floats]
    pareto_k: Floats


@dataclass(frozen=True, slots=True)
class CrossValidation:
    """Each breeding predicted with its bitch left out.

    Attributes
    ----------
    prob, whelped
        Predicted chance and outcome of each breeding with a known outcome.
    scores
        By way: ``model``, ``published``, ``raw`` and, from 1,000, ``boosting``.
    calibration_gap, calibration_gap_se
        Observed minus predicted share, and its standard error over bitches.
    calibration_slope, calibration_slope_se
        Slope of the outcome on the predicted logit (1 is right), and its standard error over
        bitches.
    max_pareto_k, n_unsure
        Worst importance weight, and the bitches whose weight cannot be trusted.
    """

    prob: Floats
    whelped: Floats
    scores: Mapping[str, Scores]
    calibration_gap: float
    calibration_gap_se: float
    calibration_slope: float
    calibration_slope_se: float
    max_pareto_k: float
    n_unsure: int


def expected_and_observed(
    posterior: ConceptionPosterior, chosen: np.ndarray[Any, Any], *, seed: int
) -> ExpectedObserved | None:
    """Litters that published work alone would expect of these breedings, and those that came.

    Parameters
    ----------
    posterior
        Fitted or published; its prior draws are read.
    chosen
        Mask over the data's rows.
    seed
        Seed of the counts.

    Returns
    -------
    ExpectedObserved or None
        None when no outcome is known.
    """
    data = posterior.data
    known = np.flatnonzero(chosen & (data.whelped >= 0))
    if not len(known):
        return None
    chances = _published_of_reported(posterior, known, posterior.draws)
    rng = np.random.default_rng(seed)
    counts = (rng.random(chances.shape) < chances).sum(axis=1)
    n_whelped = int((data.whelped[known] == 1).sum())
    return ExpectedObserved(
        len(known), n_whelped, estimate_from_draws(counts), float((counts >= n_whelped).mean())
    )


def _published_of_reported(
    posterior: ConceptionPosterior, known: np.ndarray[Any, Any], here: Mapping[str, Floats]
) -> Floats:
    """Chance by published work alone of results that were reported as they are here.

    Partners are new ones; shape (n_draws, n_known).
    """
    prior = {row: values[:N_DRAWS_READ] for row, values in posterior.prior_draws.items()}
    pregnant = recorded_pregnant_prob(
        prior, posterior.data, known, spread=new_partner_spread(prior)
    )
    litter = pregnant * expit(prior["c02"])[:, None]
    return reported_litter_prob(reported_as_here(prior, here), posterior.data, known, litter)


def smallest_difference(n_first: int, n_second: int, share: float) -> float | None:
    """Smallest difference from a share that groups of these sizes could have shown. [points]

    Two independent groups, 80 % power at a two-sided 5 %, on the arcsine scale; breedings of one
    bitch go together, so the truth is somewhat larger.

    Parameters
    ----------
    n_first, n_second
        Known outcomes.
    share
        Share of litters of the group that is compared with, 0 to 1.

    Returns
    -------
    float or None
        Points by which the other share would have to be lower; None where not even 0 would show.
    """
    if min(n_first, n_second) < 1 or not 0.0 < share <= 1.0:
        return None
    effect = _SEEN_FROM_ERRORS * np.sqrt(1.0 / n_first + 1.0 / n_second)
    angle = 2.0 * np.arcsin(np.sqrt(share)) - effect
    return None if angle < 0.0 else 100.0 * float(share - np.sin(angle / 2.0) ** 2)


def sparse_cells(data: ConceptionData) -> list[tuple[str, str, str]]:
    """Name what these records cannot tell apart.

    Returns
    -------
    list of tuple
        ``("stud", name, semen)`` for a stud used only with one semen type in a kennel that uses
        several, ``("semen", semen, name)`` for a semen type of one stud alone, ``("few", semen,
        route)`` for a method with fewer than five known outcomes.
    """
    found: list[tuple[str, str, str]] = []
    kinds = np.unique(data.semen_type)
    if len(kinds) > 1:
        for k, name in enumerate(data.levels["stud"]):
            used = np.unique(data.semen_type[data.groups["stud"] == k])
            if len(used) == 1:
                found.append(("stud", name, str(used[0])))
    if len(data.levels["stud"]) > 1:
        for kind in kinds:
            studs = np.unique(data.groups["stud"][data.semen_type == kind])
            if len(studs) == 1:
                found.append(("semen", str(kind), data.levels["stud"][studs[0]]))
    for kind in kinds:
        for route in np.unique(data.route[data.semen_type == kind]):
            cell = (data.semen_type == kind) & (data.route == route)
            if (data.whelped[cell] >= 0).sum() < FEW_IN_CELL:
                found.append(("few", str(kind), str(route)))
    return found


def left_out(posterior: ConceptionPosterior, *, seed: int) -> LeftOut | None:
    r"""Predict each breeding with its bitch left out, without fitting again.

    With :math:`L_b` the likelihood of everything seen of bitch :math:`b`, her own effect averaged
    over, draws without her are the kept draws weighted by :math:`1/L_b`, smoothed (Vehtari et al.
    2024). A bitch whose Pareto k is above 0.7 is counted as not to be trusted.

    Parameters
    ----------
    posterior
        Fitted.
    seed
        Seed of the gradient boosting.

    Returns
    -------
    LeftOut or None
        None below 40 known outcomes.
    """
    data = posterior.data
    known = np.flatnonzero(data.whelped >= 0)
    if len(known) < N_FOR_LEFT_OUT:
        return None
    step = max(1, len(posterior.draws["c01"]) // N_DRAWS_READ)
    draws = {row: values[::step] for row, values in posterior.draws.items()}
    # A scan without a result, and a result that nobody reported, are hers as well.
    seen = np.flatnonzero((data.whelped >= 0) | (data.scanned_pregnant >= 0) | data.is_unreported)
    bitch, ks = data.groups["bitch"][seen], np.empty(len(seen))
    others = partner_effects(replace(posterior, draws=draws), seen)
    others -= draws["effect_bitch"][:, bitch]
    lives = expit(draws["c02"])[:, None]
    nodes = np.stack(
        [
            recorded_pregnant_prob(
                draws, data, seen, effects=others + node * draws["c20_bitch"][:, None]
            )
            for node in _BITCH_NODES
        ]
    )
    probs = seen_probs(data.scanned_pregnant[seen], data.whelped[seen])[:, None, :]
    reported = reporting_probs(draws, data, seen)
    log_seen = np.asarray(chain_log_likelihood(nodes, lives, (probs * reported)[:, None]))
    of_seen = np.empty(len(seen))
    for b in np.unique(data.groups["bitch"][known]):
        hers = np.flatnonzero(bitch == b)
        by_node = log_seen[:, :, hers].sum(axis=2) + np.log(_BITCH_WEIGHTS)[:, None]
        weight, ks[hers] = smoothed_weights(-logsumexp(by_node, axis=0))
        litter = np.einsum("jsi,j->si", nodes[:, :, hers], _BITCH_WEIGHTS) * lives
        # Of a result that was reported; who reports tells of her effect as well, so it is averaged
        # over beforehand.
        of_seen[hers] = weight @ reported_litter_prob(draws, data, seen[hers], litter)
    is_known = np.isin(seen, known)
    whelped, bitch = data.whelped[known].astype(np.float64), data.groups["bitch"][known]
    ways = {
        "model": of_seen[is_known],
        "published": _published_of_reported(posterior, known, draws).mean(axis=0),
        "raw": _raw_rates(data.semen_type[known], bitch, whelped),
    }
    if len(known) >= N_FOR_CHALLENGER:
        ways["boosting"] = boosted_prob(data, known, seed=seed)
    return LeftOut(ways, ks[is_known])


def cross_validation(
    predicted: LeftOut, data: ConceptionData, chosen: np.ndarray[Any, Any]
) -> CrossValidation | None:
    """Score what was predicted with each bitch left out.

    Parameters
    ----------
    predicted
        From :func:`left_out`.
    data
        What it was predicted of.
    chosen
        Mask over the data's rows: breedings that are scored.

    Returns
    -------
    CrossValidation or None
        None below 100 chosen known outcomes, or where all of them are alike.
    """
    known = np.flatnonzero(data.whelped >= 0)
    scored = chosen[known]
    whelped, bitch = data.whelped[known][scored].astype(np.float64), data.groups["bitch"][known]
    if len(whelped) < N_FOR_CROSS_VALIDATION or len(np.unique(whelped)) < 2:
        return None
    # Imported where they are used, here and below: most pages check nothing, and these are large.
    import statsmodels.api as sm

    prob, ks = predicted.ways["model"][scored], predicted.pareto_k[scored]
    of_bitch = bitch[scored]
    slope = sm.GLM(whelped, sm.add_constant(logit(prob)), family=sm.families.Binomial()).fit(
        cov_type="cluster", cov_kwds={"groups": of_bitch}
    )
    gap = whelped - prob
    return CrossValidation(
        prob,
        whelped,
        {
            way: scores(chances[scored], whelped, of_bitch, model=prob)
            for way, chances in predicted.ways.items()
        },
        float(gap.mean()),
        error_of_mean(gap, of_bitch),
        float(slope.params[1]),
        float(slope.bse[1]),
        float(ks.max()),
        len(np.unique(of_bitch[ks > MAX_PARETO_K])),
    )


def scores(prob: Floats, whelped: Floats, bitch: np.ndarray[Any, Any], *, model: Floats) -> Scores:
    """Log score and Brier score of predicted chances, and the model's gain over them.

    Parameters
    ----------
    prob, whelped
        Predicted chance and outcome, shape (n,).
    bitch
        Whose breeding it was; gains of one bitch go together.
    model
        The model's chances of the same breedings.
    """

    def logs(chances: Floats) -> Floats:
        return np.asarray(np.log(np.where(whelped == 1, chances, 1.0 - chances)))

    gain = logs(model) - logs(prob)
    squared = (prob - whelped) ** 2
    brier_gain = squared - (model - whelped) ** 2
    return Scores(
        float(logs(prob).mean()),
        float(squared.mean()),
        float(gain.mean()),
        error_of_mean(gain, bitch),
        float(brier_gain.mean()),
        error_of_mean(brier_gain, bitch),
    )


def error_of_mean(values: Floats, bitch: np.ndarray[Any, Any]) -> float:
    """Standard error of a mean over breedings, of which those of one bitch go together.

    Parameters
    ----------
    values, bitch
        Shape (n,), of at least two bitches.
    """
    by_bitch = np.bincount(np.unique(bitch, return_inverse=True)[1], weights=values)
    return float(np.sqrt(len(by_bitch) * by_bitch.var(ddof=1)) / len(values))


def _raw_rates(
    semen_type: np.ndarray[Any, Any], bitch: np.ndarray[Any, Any], whelped: Floats
) -> Floats:
    """Share of litters of the same semen type among all other bitches, never 0 or 1."""
    prob = np.empty(len(whelped))
    for i in range(len(whelped)):
        others = (semen_type == semen_type[i]) & (bitch != bitch[i])
        # Half a litter and half a miss are added, as Jeffreys' prior does.
        prob[i] = (whelped[others].sum() + 0.5) / (others.sum() + 1.0)
    return prob


def boosted_prob(data: ConceptionData, known: np.ndarray[Any, Any], *, seed: int) -> Floats:
    """Chances of gradient boosting on the same columns, each bitch predicted from the others.

    Parameters
    ----------
    data
        Records.
    known
        Index of the breedings with a known outcome.
    seed
        Seed of the trees.
    """
    from sklearn.ensemble import HistGradientBoostingClassifier

    flags = [data.semen_type == kind for kind in SEMEN_TYPES]
    pair = data.inseminated_semen
    columns = np.column_stack(
        [data.design, *flags, pair.dose_mean, pair.motility_mean, data.day_mean]
    )[known]
    whelped, bitch = data.whelped[known], data.groups["bitch"][known]
    prob = np.empty(len(known))
    for train, test in bitch_folds(bitch):
        trees = HistGradientBoostingClassifier(random_state=seed).fit(
            columns[train], whelped[train]
        )
        prob[test] = trees.predict_proba(columns[test])[:, 1]
    return possible(prob)


def bitch_folds(
    bitch: np.ndarray[Any, Any],
) -> list[tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]]:
    """Rows to learn from and rows to predict: every bitch is left out once, a fifth at a time.

    Parameters
    ----------
    bitch
        Whose row it is, at least two bitches, shape (n,).
    """
    from sklearn.model_selection import GroupKFold

    n_folds = min(N_FOLDS, len(np.unique(bitch)))
    return list(GroupKFold(n_folds).split(np.zeros(len(bitch)), groups=bitch))


def possible(prob: Floats) -> Floats:
    """Predicted chances, none of them 0 or 1: no score is infinite."""
    return np.clip(prob, LEAST_PROB, 1.0 - LEAST_PROB)


def smoothed_weights(log_ratio: Floats) -> tuple[Floats, float]:
    """Pareto-smoothed importance weights that sum to one, and their Pareto k.

    Parameters
    ----------
    log_ratio
        Log density of what is wanted over what was drawn from, shape (n_draws,).
    """
    # The library takes log likelihoods, whose negatives are the log ratios of leaving out.
    log_weight, k = array_stats.psislw(-log_ratio)
    return np.exp(log_weight - logsumexp(log_weight)), float(k)


def prior_log_ratio(draws: Mapping[str, Floats], rows: tuple[str, ...], factor: float) -> Floats:
    """Log ratio of the priors with every spread multiplied by a factor to the table's own.

    Parameters
    ----------
    draws
        Draws by id.
    rows
        Which rows of the table are changed.
    factor
        0.5 or 2, say.
    """
    total = np.zeros(len(draws[rows[0]]))
    for row in rows:
        z = (draws[row] - PRIORS[row].centre) / PRIORS[row].sd
        total += -0.5 * z**2 * (1.0 / factor**2 - 1.0) - np.log(factor)
    return total


def other_prior_weights(
    draws: Mapping[str, Floats], rows: tuple[str, ...], factor: float
) -> Floats | None:
    """Weights of the kept draws under other priors; None where they cannot be trusted.

    Parameters
    ----------
    draws, rows, factor
        As for :func:`prior_log_ratio`.
    """
    weight, k = smoothed_weights(prior_log_ratio(draws, rows, factor))
    return weight if k <= MAX_PARETO_K else None


def with_other_prior(
    draws: Mapping[str, Floats], rows: tuple[str, ...], factor: float, of: Floats
) -> Estimate | None:
    """A number if the priors of some rows had been narrower or wider, by weighting the kept draws.

    Parameters
    ----------
    draws
        Posterior draws by id.
    rows
        Rows whose priors' sds are multiplied.
    factor
        0.5 or 2, say.
    of
        Draws of the number.

    Returns
    -------
    Estimate or None
        None where the weights cannot be trusted (Pareto k above 0.7): the model must be fitted
        again with other priors, as
        :func:`studcurve.analytics.models.conception.model.fit_conception` can.
    """
    weight = other_prior_weights(draws, rows, factor)
    if weight is None:
        return None
    order = np.argsort(of)
    below = np.cumsum(weight[order])
    lower, median, upper = (float(np.interp(p, below, of[order])) for p in interval_quantiles())
    return Estimate(median, lower, upper)


@dataclass(frozen=True, slots=True)
class Replicated:
    """One figure of the records, and of records drawn again from the fitted model.

    Attributes
    ----------
    figure
        ``empty_twice`` (bitches that missed twice or more), or ``dispersion`` (variance over mean
        of the pups born alive in a litter).
    observed
        In the records.
    again
        In records drawn again.
    as_many_prob
        Chance of as much or more in records drawn again, 0 to 1.
    """

    figure: str
    observed: float
    again: Estimate
    as_many_prob: float

    @property
    def is_usual(self) -> bool:
        """Whether the records lie within nine in ten of the records drawn again."""
        return self.again.lower <= self.observed <= self.again.upper


def _replicated(figure: str, observed: float, again: Floats) -> Replicated:
    return Replicated(
        figure, observed, estimate_from_draws(again), float((again >= observed).mean())
    )


def replicated_misses(
    posterior: ConceptionPosterior, chosen: np.ndarray[Any, Any], *, seed: int
) -> Replicated | None:
    """Bitches empty twice or more, in the records and in records like them.

    Parameters
    ----------
    posterior
        Fitted; partners keep their effects, bitches get new ones of the fitted spread.
    chosen
        Mask over the data's rows.
    seed
        Seed of the replicated records.

    Returns
    -------
    Replicated or None
        None without a known outcome.
    """
    data = posterior.data
    known = np.flatnonzero((data.whelped >= 0) & chosen)
    if not len(known):
        return None
    rng = np.random.default_rng(seed)
    draws, bitch = posterior.draws, data.groups["bitch"][known]
    fresh = draws["c20_bitch"][:, None] * rng.normal(size=draws["effect_bitch"].shape)
    effects = partner_effects(posterior, known) + (fresh - draws["effect_bitch"])[:, bitch]
    chances = recorded_pregnant_prob(draws, data, known, effects=effects)
    chances = reported_litter_prob(draws, data, known, chances * expit(draws["c02"])[:, None])
    born = rng.random(chances.shape) < chances
    by_bitch = np.eye(int(bitch.max()) + 1)[bitch]
    twice = ((~born) @ by_bitch >= 2).sum(axis=1).astype(np.float64)
    observed = float(((data.whelped[known] != 1) @ by_bitch >= 2).sum())
    return _replicated("empty_twice", observed, twice)


def replicated_dispersion(
    n_alive: np.ndarray[Any, Any], again: np.ndarray[Any, Any]
) -> Replicated | None:
    """Variance over mean of the pups born alive in a litter, in the records and drawn again.

    Parameters
    ----------
    n_alive
        Of the records, shape (n,).
    again
        Of the same litters drawn again, shape (n_draws, n).

    Returns
    -------
    Replicated or None
        None below two litters, or where none had a pup born alive.
    """
    if len(n_alive) < 2 or not n_alive.any():
        return None
    # A draw in which no pup was born alive has no ratio; its variance is 0 as well.
    drawn = again.var(axis=1, ddof=1) / np.maximum(again.mean(axis=1), 1e-9)
    return _replicated("dispersion", float(n_alive.var(ddof=1) / n_alive.mean()), drawn)
