r"""When is a change announced, how often in error, and what can this rhythm of collections show?

The rule, for the change from a stud's own past to now: the fall is announced when

1. it is more than 95 % sure that there is a fall at all,
2. the middle half of what is plausible reaches the size worth acting on (40 % of total sperm, 15
   points of a share), that is, a fall of that size has a probability of at least a quarter, and
3. the change of dog can be separated from a change of readers.

Its error is found by simulation: many steady studs with this stud's collection days, spread and
errors are followed over a year of further collections, and after each one the rule is asked. Given
the spreads, level, slow level and recent change are jointly normal, so each look is a weighted sum
of the readings whose weights depend on the days alone; the rule is averaged over draws of the
spreads from the fit. Power is the same with a true fall put in at the first new collection.

Does not know: season, rest and readers, which cost a little more than said here, and an event
declared for a fall, which makes it seen sooner. Spreads stay those of the fit: after a lasting fall
a new fit allows for larger movements, so that a late announcement comes rather sooner than said. A
fall of a share read by eye may be sure long before its size is: 15 points of motility are far out
in the table's prior of movements (q05), and the rule asks for the size too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.special import logit, ndtr

from studcurve.analytics.estimate import INTERVAL_Z, Floats
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.stud.curves import recent_share
from studcurve.analytics.models.stud.inputs import Measure, days_of
from studcurve.analytics.models.stud.level import (
    FALL_POINTS,
    FALL_SIZES,
    REST_BEFORE_REPEAT_DAYS,
    change_of,
    levels_at,
    own_past,
    past_level,
    readers_separable,
    reading_variance,
    recent_rows,
    tail_variance,
    usual_pause_days,
)
from studcurve.analytics.models.stud.model import StudQualityPosterior
from studcurve.analytics.priors import PRIORS

SURE_PROB = 0.95
"""A fall is announced only above this probability of any fall (rule of this toolkit)."""

REACH_PROB = 0.25
"""… and at this probability of a fall of the size worth acting on (rule of this toolkit)."""

PROMISE_PROB = 0.80
"""Chance with which a promised number of collections is enough."""

SEEN_PROB = 0.50
"""A fall that is seen less often than this within a year "cannot be seen"."""

FOLLOWED_YEARS = 2.0
"""Longest time over which a promise is looked for. [y]"""

MOST_SETTLING = 12
"""Most further collections that are asked for to settle a question: two months of them. (J)"""

N_SIMULATED = 4000
"""Simulated studs; the error of a rate of 2 % is then 0.2 points."""

N_SPREADS = 8
"""Draws of the spreads over which the rule is averaged."""


@dataclass(frozen=True, slots=True)
class Announcement:
    """Whether a fall is announced, and why or why not.

    Attributes
    ----------
    announced
        All three conditions hold.
    fall_prob
        Probability of any fall against his own past; NaN where he has too few collections.
    reach_prob
        Probability of a fall of the size worth acting on.
    is_separable
        Whether the change of dog can be separated from a change of readers.
    enough
        Whether there are enough collections to speak of a change at all.
    """

    announced: bool
    fall_prob: float
    reach_prob: float
    is_separable: bool
    enough: bool


@dataclass(frozen=True, slots=True)
class SeenWithinAYear:
    """Chance that a true fall of this size is seen within a year of collections at this rhythm.

    Attributes
    ----------
    size
        Share of his past for total sperm; points, as a share of one, for the others.
    prob
        Chance of more than 95 % sureness of a fall at some look.
    """

    size: float
    prob: float


@dataclass(frozen=True, slots=True)
class Power:
    """What the rhythm of one stud's collections can show.

    Attributes
    ----------
    per_year
        Collections a year at his usual pause.
    false_alarm_prob
        Chance that a steady stud is announced at some look within a year.
    n_promised
        Collections after an abrupt fall of the size worth acting on by which it is announced in
        four of five cases; None when two years are not enough.
    months_promised
        The same in months.
    seen
        Chance of seeing falls of several sizes within a year.
    n_settling
        Further collections, each after :data:`REST_BEFORE_REPEAT_DAYS`, after which the interval of
        the change is too narrow to hold both no change and a fall of the size worth acting on; 0
        when it is so today, None when :data:`MOST_SETTLING` are not enough.
    """

    per_year: float
    false_alarm_prob: float
    n_promised: int | None
    months_promised: float | None
    seen: tuple[SeenWithinAYear, ...]
    n_settling: int | None


def announce(posterior: StudQualityPosterior, stud: str) -> Announcement:
    """Ask the rule of one measure of one stud."""
    data = posterior.data
    rows = data.rows_of(stud)
    past = own_past(data.on[rows])
    if past.size == 0:
        return Announcement(False, float("nan"), float("nan"), True, False)
    now = levels_at(posterior, stud, data.on[rows][-1:])[:, 0]
    moved = change_of(data.measure, past_level(posterior, stud), now)
    fall, reach = float((moved < 0).mean()), float((moved <= data.measure.act_on).mean())
    apart = readers_separable(data, rows[past], recent_rows(data, rows))
    return Announcement(bool(rule(fall, reach)) and apart, fall, reach, apart, True)


def rule(fall_prob: Floats | float, reach_prob: Floats | float) -> np.ndarray:
    """The first two conditions, element-wise."""
    return np.asarray((np.asarray(fall_prob) > SURE_PROB) & (np.asarray(reach_prob) >= REACH_PROB))


def power(
    posterior: StudQualityPosterior,
    stud: str,
    *,
    rng: np.random.Generator,
    n_simulated: int = N_SIMULATED,
) -> Power | None:
    """What this stud's rhythm can show, and how often the rule errs for a steady stud like him.

    Parameters
    ----------
    posterior
        Fitted, of one measure.
    stud
        Call name.
    rng
        Source of the simulated collections.
    n_simulated
        Simulated studs.

    Returns
    -------
    Power or None
        None where he has too few collections for any change to be stated.
    """
    data, draws = posterior.data, posterior.draws
    rows = data.rows_of(stud)
    on = data.on[rows]
    past = own_past(on)
    if past.size == 0:
        return None
    pause = usual_pause_days(on)
    n_year = max(1, round(DAYS_PER_YEAR / pause))
    n_new = max(1, round(FOLLOWED_YEARS * DAYS_PER_YEAR / pause))
    days = np.concatenate([days_of(on), days_of(on)[-1] + pause * np.arange(1, n_new + 1)])
    chosen = np.linspace(0, len(draws["within"]) - 1, N_SPREADS).astype(int)
    reading = reading_variance(data, rows)
    looks = [
        looks_at(
            days,
            len(rows),
            past,
            level_sd=PRIORS[data.measure.between].sd,
            amplitude=float(draws["amplitude"][k]),
            length=float(draws["length"][k]),
            noise=float(draws["within"][k] ** 2 * tail_variance() + reading),
        )
        for k in chosen
    ]
    noise = float(np.median(draws["within"]) ** 2 * tail_variance() + reading)
    steady = _noise(rng, (n_simulated, len(days)), noise)
    reach = _on_scale(posterior, stud, data.measure.act_on)
    look_results = _LookResults.of(looks, steady, len(rows), reach)
    by_then = np.maximum.accumulate(look_results.is_announced(reach), axis=1).mean(axis=0)
    enough = np.flatnonzero(by_then >= PROMISE_PROB)
    n_promised = int(enough[0]) + 1 if enough.size else None
    this_year = look_results.within(n_year)
    seen = []
    for size in FALL_SIZES if data.measure.is_log else FALL_POINTS:
        sure = this_year.is_sure(_on_scale(posterior, stud, -size))
        seen.append(SeenWithinAYear(size, float(sure.any(axis=1).mean())))
    return Power(
        DAYS_PER_YEAR / pause,
        float(this_year.is_announced(0.0).any(axis=1).mean()),
        n_promised,
        None if n_promised is None else n_promised * pause / DAYS_PER_YEAR * 12.0,
        tuple(seen),
        _n_settling(posterior, stud, past, abs(reach)),
    )


def _n_settling(
    posterior: StudQualityPosterior, stud: str, past: np.ndarray, size: float
) -> int | None:
    """Further collections until the interval of the change is narrower than a size."""
    data, draws = posterior.data, posterior.draws
    rows = data.rows_of(stud)
    on = data.on[rows]
    change = levels_at(posterior, stud, on[-1:])[:, 0] - past_level(posterior, stud)
    new = REST_BEFORE_REPEAT_DAYS * np.arange(1.0, MOST_SETTLING + 1.0)
    look = looks_at(
        np.concatenate([days_of(on), days_of(on)[-1] + new]),
        len(rows),
        past,
        level_sd=PRIORS[data.measure.between].sd,
        amplitude=float(np.median(draws["amplitude"])),
        length=float(np.median(draws["length"])),
        noise=float(
            np.median(draws["within"]) ** 2 * tail_variance() + reading_variance(data, rows)
        ),
    )
    widths = 2.0 * INTERVAL_Z * np.append(change.std(), look.sd)
    enough = np.flatnonzero(widths < size)
    return int(enough[0]) if enough.size else None


@dataclass(frozen=True, slots=True)
class Looks:
    """How each look at a growing record weighs its readings; rows are looks."""

    weights: Floats
    sd: Floats


def looks_at(
    days: Floats,
    n_before: int,
    past: np.ndarray,
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
        Positions of his own past.
    level_sd, amplitude, length, noise
        Spread of levels, amplitude and length [y] of the slow level, variance of a reading.
    """
    n = len(days)
    apart = np.abs(days[:, None] - days[None, :]) / DAYS_PER_YEAR * np.sqrt(3.0) / length
    slow = amplitude**2 * (1.0 + apart) * np.exp(-apart)
    looked = np.arange(n_before, n)
    seen = np.arange(n)[:, None] <= looked[None, :]
    # One column a look: the ramp of its recent change, and the covariance of the change with what
    # has been read by then.
    ramp = PRIORS["q05_recent"].sd * recent_share(days[looked] - days[:, None]) * seen
    moved = ramp[looked, np.arange(len(looked))] - ramp[past].mean(axis=0)
    from_past = slow[:, looked] - slow[:, past].mean(axis=1)[:, None]
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
    own = from_past[looked, np.arange(len(looked))] - from_past[past].mean(axis=0) + moved**2
    sd = np.sqrt(own - (with_change * weights).sum(axis=0))
    return Looks(weights.T, sd)


@dataclass(frozen=True, slots=True)
class _LookResults:
    """What each look makes of steady readings, and how far a fall of one would move it.

    ``mean`` has the shape (n_spreads, n_studs, n_looks), ``moved`` and ``sd`` (n_spreads, n_looks).
    """

    mean: Floats
    moved: Floats
    sd: Floats
    reach: float

    @classmethod
    def of(cls, looks: list[Looks], steady: Floats, n_before: int, reach: float) -> _LookResults:
        """A look is a weighted sum of the readings: a fall of the new ones adds their weights."""
        return cls(
            np.stack([steady @ look.weights.T for look in looks]),
            np.stack([look.weights[:, n_before:].sum(axis=1) for look in looks]),
            np.stack([look.sd for look in looks]),
            reach,
        )

    def within(self, n_looks: int) -> _LookResults:
        """The first looks alone."""
        return _LookResults(
            self.mean[..., :n_looks], self.moved[:, :n_looks], self.sd[:, :n_looks], self.reach
        )

    def is_sure(self, change: float) -> np.ndarray:
        """Whether some fall is sure after a change, at each look of each stud."""
        return np.asarray(self._fall_prob(self._means(change)) > SURE_PROB)

    def is_announced(self, change: float) -> np.ndarray:
        """Whether the rule announces a fall after a change, at each look of each stud."""
        means = self._means(change)
        size = ndtr((self.reach - means) / self.sd[:, None]).mean(axis=0)
        return rule(self._fall_prob(means), size)

    def _means(self, change: float) -> Floats:
        return self.mean + change * self.moved[:, None]

    def _fall_prob(self, means: Floats) -> Floats:
        return np.asarray(ndtr(-means / self.sd[:, None]).mean(axis=0))


def _noise(rng: np.random.Generator, shape: tuple[int, int], variance: float) -> Floats:
    """Readings of a steady stud at level 0, with the tails of the model."""
    drawn = rng.standard_t(PRIORS["q01_tail"].centre, size=shape)
    return np.asarray(drawn * np.sqrt(variance / tail_variance()))


def _on_scale(posterior: StudQualityPosterior, stud: str, change: float) -> float:
    """A change in the owner's terms on the working scale, from the middle of his own past."""
    measure: Measure = posterior.data.measure
    if measure.is_log:
        return float(np.log1p(change))
    share = float(np.median(1.0 / (1.0 + np.exp(-past_level(posterior, stud)))))
    return float(logit(np.clip(share + change, 0.02, 0.98)) - logit(share))
