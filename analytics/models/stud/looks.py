r"""What would the rule see of a stud whose level drifts as the fit says, look after look?

Given the spreads, level, slow level and recent change are jointly normal, so each look at a growing
record is a weighted sum of the readings whose weights depend on the days alone. Many studs with
this stud's collection days, spreads and errors are drawn, each with a slow level of its own, and
followed over further collections at his usual pause; after each one the rule's two probabilities
are worked out, averaged over draws of the spreads from the fit as the fit itself would have it.

Does not know: age, season, rest and readers, which cost a little more than said here, and an event
declared for a fall, which makes it seen sooner. Spreads stay those of the fit: after a lasting fall
a new fit allows for larger movements, so that a late announcement comes rather sooner than said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.special import logit, ndtr

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.stud.curves import recent_share
from studcurve.analytics.models.stud.inputs import days_of
from studcurve.analytics.models.stud.level import (
    noise_variance,
    own_past,
    past_level,
    past_of,
    stated_fall,
    tail_variance,
    usual_pause_days,
)
from studcurve.analytics.models.stud.model import StudQualityPosterior
from studcurve.analytics.priors import PRIORS

N_SPREADS = 8
"""Draws of the spreads over which the rule is averaged, and with which studs are drawn."""

LEAST_VARIANCE = 1e-9
"""Added to the variance of a slow level, so that days in a row leave its matrix invertible."""


@dataclass(frozen=True, slots=True)
class Spreads:
    """One draw of what sets readings of a stud apart.

    Attributes
    ----------
    amplitude, length
        Of his slow level. [-, y]
    noise
        Variance of a reading around it.
    """

    amplitude: float
    length: float
    noise: float


@dataclass(frozen=True, slots=True)
class Rhythm:
    """One measure of one stud, as a simulation of the rule reads it; changes on the working scale.

    Attributes
    ----------
    on_days
        Days of his collections in order, shape (n,). [d]
    pause_days
        Usual pause between collections. [d]
    stated, act_on
        The change that an announcement states, and the one worth acting on; both below 0.
    level_sd
        Prior spread of his level.
    spreads
        Draws of the fit.
    """

    on_days: Floats
    pause_days: float
    stated: float
    act_on: float
    level_sd: float
    spreads: tuple[Spreads, ...]

    @property
    def n_year(self) -> int:
        """Collections in a year of further ones, at least one."""
        return self.n_within(1.0)

    def n_within(self, years: float) -> int:
        """Collections in so many years of further ones, at least one."""
        return max(1, round(years * DAYS_PER_YEAR / self.pause_days))

    def days_after(self, n_looks: int) -> Floats:
        """Days of his collections and of so many further ones at his usual pause. [d]"""
        new = self.on_days[-1] + self.pause_days * np.arange(1.0, n_looks + 1.0)
        return np.concatenate([self.on_days, new])


def rhythm_of(posterior: StudQualityPosterior, stud: str) -> Rhythm | None:
    """What the rule's simulation reads of one stud; None where he has too short a past.

    Parameters
    ----------
    posterior
        Fitted, of one measure.
    stud
        Call name.
    """
    data, draws = posterior.data, posterior.draws
    rows = data.rows_of(stud)
    on = data.on[rows]
    if own_past(on).size == 0:
        return None
    chosen = np.linspace(0, len(draws["within"]) - 1, N_SPREADS).astype(int)
    amplitude = draws["amplitude"][chosen, data.studs.index(stud)]
    noise = noise_variance(draws["within"][chosen], data, rows)
    return Rhythm(
        days_of(on),
        usual_pause_days(on),
        on_scale(posterior, stud, -stated_fall(data.measure)),
        on_scale(posterior, stud, data.measure.act_on),
        PRIORS[data.measure.between].sd,
        tuple(map(Spreads, amplitude, draws["length"][chosen], noise)),
    )


def on_scale(posterior: StudQualityPosterior, stud: str, change: float) -> float:
    """A change in the owner's terms on the working scale, from the middle of his own past."""
    if posterior.data.measure.is_log:
        return float(np.log1p(change))
    share = float(np.median(1.0 / (1.0 + np.exp(-past_level(posterior, stud)))))
    return float(logit(np.clip(share + change, 0.02, 0.98)) - logit(share))


@dataclass(frozen=True, slots=True)
class Followed:
    """Drawn studs and what the rule makes of them, shape (n_studs, n_looks) each.

    Attributes
    ----------
    change
        True change from his own past to the look, on the working scale.
    fall_prob, reach_prob
        Probability of a fall of the stated size, and of one of the size worth acting on.
    stated
        The change that an announcement states, on the working scale.
    """

    change: Floats
    fall_prob: Floats
    reach_prob: Floats
    stated: float


@dataclass(frozen=True, slots=True)
class DriftingStuds:
    """Studs of one rhythm that are looked at, before any abrupt fall; axes: spreads, studs, looks.

    Attributes
    ----------
    rhythm
        Whose.
    change
        True change at each look, shape (n_studs, n_looks).
    mean, sd, moved
        What each look makes of it under each draw of the spreads, and how far a fall of one in
        every new reading moves that: shapes (n_spreads, n_studs, n_looks), (n_spreads, n_looks)
        twice.
    apart
        How much of such a fall sets each look apart from his own past by then, shape (n_looks,).
    """

    rhythm: Rhythm
    change: Floats
    mean: Floats
    sd: Floats
    moved: Floats
    apart: Floats

    def within(self, n_looks: int) -> DriftingStuds:
        """The first looks alone."""
        return DriftingStuds(
            self.rhythm,
            self.change[:, :n_looks],
            self.mean[..., :n_looks],
            self.sd[:, :n_looks],
            self.moved[:, :n_looks],
            self.apart[:n_looks],
        )

    def after(self, fall: float = 0.0) -> Followed:
        """What the rule sees where each falls abruptly by so much at the first new collection."""
        means, sd = self.mean + fall * self.moved[:, None], self.sd[:, None]

        def below(change: float) -> Floats:
            return np.asarray(ndtr((change - means) / sd).mean(axis=0))

        return Followed(
            self.change + fall * self.apart,
            below(self.rhythm.stated),
            below(self.rhythm.act_on),
            self.rhythm.stated,
        )


def drifting_studs(
    rhythm: Rhythm, n_looks: int, rng: np.random.Generator, *, n_each: int
) -> DriftingStuds:
    """Draw studs of this rhythm whose slow level moves as the fit says, and look at them.

    Parameters
    ----------
    rhythm
        From :func:`rhythm_of`.
    n_looks
        Further collections; after each one the rule is asked.
    rng
        Source of slow levels and readings.
    n_each
        Studs of each draw of the spreads; those of the first draw come first.
    """
    days = rhythm.days_after(n_looks)
    readings, levels = [], []
    for spreads in rhythm.spreads:
        slow = slow_covariance(days, amplitude=spreads.amplitude, length=spreads.length)
        root = cholesky(slow + LEAST_VARIANCE * np.eye(len(days)), lower=True)
        drift = rng.normal(size=(n_each, len(days))) @ root.T
        level = rng.normal(0.0, rhythm.level_sd, (n_each, 1)) + drift
        levels.append(level)
        readings.append(level + _noise(rng, drift.shape, spreads.noise))
    return looked_at(rhythm, n_looks, np.concatenate(readings), np.concatenate(levels))


def looked_at(rhythm: Rhythm, n_looks: int, readings: Floats, levels: Floats) -> DriftingStuds:
    """What each look makes of studs of this rhythm, wherever their readings come from.

    Parameters
    ----------
    rhythm
        From :func:`rhythm_of`.
    n_looks
        Further collections; after each one the rule is asked.
    readings, levels
        What was read at each collection, old and new, and the true level there, on the working
        scale and against the middle of the population, shape (n_studs, n) each.
    """
    n_before, days = len(rhythm.on_days), rhythm.days_after(n_looks)
    past = past_by_look(days, n_before)
    looks = [
        looks_at(
            days, n_before, past, level_sd=rhythm.level_sd,
            amplitude=spreads.amplitude, length=spreads.length, noise=spreads.noise,
        )
        for spreads in rhythm.spreads
    ]  # fmt: skip
    return DriftingStuds(
        rhythm,
        levels[:, n_before:] - levels @ past,
        np.stack([readings @ look.weights.T for look in looks]),
        np.stack([look.sd for look in looks]),
        np.stack([look.weights[:, n_before:].sum(axis=1) for look in looks]),
        1.0 - past[n_before:].sum(axis=0),
    )


def past_by_look(days: Floats, n_before: int) -> Floats:
    """Weight of each collection in the mean over his own past, which grows with his record.

    Parameters
    ----------
    days
        Days of all collections, old and new, in order, shape (n,). [d]
    n_before
        How many are old; a look is taken after each new one.

    Returns
    -------
    numpy.ndarray
        Shape (n, n_looks).
    """
    looked = np.arange(n_before, len(days))
    weights = np.zeros((len(days), len(looked)))
    past = past_of(days[:n_before])
    for k, last in enumerate(looked):
        grown = past_of(days[: last + 1])
        # After a burst of collections too few may lie later for a while: the past then stays.
        past = grown if grown.size else past
        weights[past, k] = 1.0 / len(past)
    return weights


def slow_covariance(days: Floats, *, amplitude: float, length: float) -> Floats:
    """Covariance of a slow level, a Matérn process of order 3/2, at days. [d, -, y]"""
    apart = np.abs(days[:, None] - days[None, :]) / DAYS_PER_YEAR * np.sqrt(3.0) / length
    return np.asarray(amplitude**2 * (1.0 + apart) * np.exp(-apart))


@dataclass(frozen=True, slots=True)
class Looks:
    """How each look at a growing record weighs its readings; rows are looks."""

    weights: Floats
    sd: Floats


def looks_at(
    days: Floats,
    n_before: int,
    past: Floats,
    *,
    level_sd: float,
    amplitude: float,
    length: float,
    noise: float,
) -> Looks:
    r"""Posterior of the change from past to now, after each new collection.

    The readings :math:`y = a + f(t) + \rho R(t) + e` are jointly normal, so the change
    :math:`c = f(t_k) + \rho - \bar f_{past}` has, given the first :math:`k` of them, the mean
    :math:`\mathrm{cov}(c, y) K^{-1} y` and a variance that depends on the days alone.

    Parameters
    ----------
    days
        Days of all collections, old and new, in order, shape (n,). [d]
    n_before
        How many are old; a look is taken after each new one.
    past
        Weight of each collection in the mean over his own past at each look, shape (n, n_looks).
    level_sd, amplitude, length, noise
        Spread of levels, amplitude and length [y] of the slow level, variance of a reading.
    """
    n = len(days)
    slow = slow_covariance(days, amplitude=amplitude, length=length)
    looked = np.arange(n_before, n)
    seen = np.arange(n)[:, None] <= looked[None, :]
    # One column a look: the ramp of its recent change, and the covariance of the change with what
    # has been read by then.
    ramp = PRIORS["q05_recent"].sd * recent_share(days[looked] - days[:, None]) * seen
    moved = ramp[looked, np.arange(len(looked))] - (past * ramp).sum(axis=0)
    from_past = slow[:, looked] - slow @ past
    with_change = (from_past + ramp * moved) * seen
    # The readings without a recent change share one triangle for every look: the first rows of it
    # are the triangle of the first readings. The change adds a matrix of rank one (Sherman &
    # Morrison 1950, Ann Math Stat 21:124-127).
    triangle = cholesky(slow + level_sd**2 + noise * np.eye(n), lower=True)

    def solved(columns: Floats) -> Floats:
        half = solve_triangular(triangle, columns, lower=True) * seen
        return np.asarray(solve_triangular(triangle.T, half))

    plain, of_ramp = solved(with_change), solved(ramp)
    shrink = (ramp * plain).sum(axis=0) / (1.0 + (ramp * of_ramp).sum(axis=0))
    weights = plain - of_ramp * shrink
    own = from_past[looked, np.arange(len(looked))] - (past * from_past).sum(axis=0) + moved**2
    sd = np.sqrt(own - (with_change * weights).sum(axis=0))
    return Looks(weights.T, sd)


def _noise(rng: np.random.Generator, shape: tuple[int, ...], variance: float) -> Floats:
    """Single readings around a level, with the tails of the model."""
    drawn = rng.standard_t(PRIORS["q01_tail"].centre, size=shape)
    return np.asarray(drawn * np.sqrt(variance / tail_variance()))
