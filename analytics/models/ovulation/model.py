r"""When did (will) she ovulate, given what was measured?

The model
---------
The LH peak of a heat is at :math:`L`, ovulation 46 h (sd 4 h) later at :math:`T`. A progesterone
reading :math:`y_i` of laboratory :math:`j`, drawn at :math:`t_i`, is

.. math::

    \log y_i = m\{(t_i - L)\, e^{r}\} + a + b_{j} + \varepsilon_i

with the published mean profile :math:`m` by hours from the LH peak, the rise speed of this heat
:math:`r \sim N(0, 0.15^2)`, its level :math:`a \sim N(0, 0.25^2)`, the scale of the laboratory
:math:`b_j \sim N(\beta_{c(j)}, \sigma_{c(j)}^2)` given its kind of assay :math:`c(j)`, and the
reading error :math:`\varepsilon \sim N(0, 0.10^2)`.
A censored reading enters as the probability of its interval; a sample without a time of day is
spread over its day. Ovulation is a priori on day 11 (sd 4, from day 3 on) from the first bleeding,
that day being day 0; the posterior is computed on a grid, without a sampler.

Beside it stands the state "no ovulation in this heat, or a split heat" with a prior probability of
its own (o08): its readings look as if the peak were to come within four weeks of the last of them,
any day alike. Readings that stay basal late in a heat move weight there. The grid of ovulation
times is the posterior *given* that she ovulates in this heat; a breeding of the past keeps its day
from it.

No day is named by a probability alone: :func:`rise_of` is a rule about the readings themselves.

Sources: priors o01 to o08. Does not know: readings spoiled by storage at room temperature.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from scipy.special import expit, log_ndtr, logsumexp

from studcurve.analytics.estimate import INTERVAL_PROB, Floats
from studcurve.analytics.priors import PRIORS, PROGESTERONE_PROFILE

if TYPE_CHECKING:
    import pandas as pd

AssayClass = Literal[
    "unknown",
    "radioimmunoassay",
    "enzyme chemiluminescence",
    "electrochemiluminescence",
    "clinic analyzer",
]
"""Kinds of progesterone assay; they differ more than laboratories of one kind do."""

ASSAY_ROWS: dict[AssayClass, str] = {
    "unknown": "o03_between",
    "radioimmunoassay": "o03_radio",
    "enzyme chemiluminescence": "o03_enzyme",
    "electrochemiluminescence": "o03_electro",
    "clinic analyzer": "o03_clinic",
}
"""Row that gives mean and sd of the log scale of each kind against the profile's own assay."""

PROFILE_HOURS = np.array([row[0] for row in PROGESTERONE_PROFILE], dtype=np.float64)
"""Knots of the mean profile, hours from the LH peak (prior o01). [h]"""

PROFILE_LOG_NG_PER_ML = np.log([row[1] for row in PROGESTERONE_PROFILE])
"""Log of the mean progesterone at the knots (prior o01). [log ng/mL]"""

LEVEL_SD = PRIORS["o02"].sd
"""Between-cycle sd of log progesterone at a given hour (prior o02)."""

READING_SD = PRIORS["o03_within"].sd
"""Within-laboratory sd of log progesterone (prior o03)."""

SPEED_SD = PRIORS["o07"].sd
"""Between-cycle sd of the log rise speed (prior o07)."""

PEAK_TO_OVULATION_DAYS = PRIORS["o04"].centre / 24.0
PEAK_TO_OVULATION_SD_DAYS = PRIORS["o04"].sd / 24.0
"""LH peak to ovulation (prior o04). [d]"""

BLEEDING_TO_OVULATION_DAYS, BLEEDING_SD_DAYS = PRIORS["o05"].centre, PRIORS["o05"].sd
"""First bleeding to ovulation without any test (prior o05). [d]"""

BLEEDING_RANGE_DAYS = (PRIORS["o05_earliest"].centre, PRIORS["o05_latest"].centre)
"""Extremes of the same colony. [d] The first bounds the prior; a heat may run on after the last."""

NO_OVULATION_PROB = PRIORS["o08"].centre
"""No ovulation in this heat, or a split heat, before any reading (prior o08)."""

SPLIT_WITHIN_DAYS = PRIORS["o08_split"].centre
"""Without ovulation readings look as if the peak came within so many days after them. [d] (o08)"""

LATE_DAYS = 10.0
"""So far after the last reading ovulation is sought in a heat that runs on. [d] (J)"""

RISE_NG_PER_ML = 1.5
"""The rise has begun from this level on, and a reading below it is basal. [ng/mL]

Day 0 is the day on which progesterone reaches 1.5 ng/mL and has at least doubled: Kutzler et al.
2003, Theriogenology 60:1187-1196 (P)."""

RISE_TIMES = 2.0
"""And it is at least so many times the basal level of the same laboratory: the same (P)."""

RISE_ALONE_NG_PER_ML = 4.0
"""Without a basal reading of the same laboratory the rise counts from this level on. [ng/mL] (J)"""

Rise = Literal["not seen", "seen", "lost"]
"""Whether the readings show the rise before ovulation; ``lost``: a later one is basal again, which
a corpus luteum excludes."""

LH_SURGE_SD_DAYS = 0.5
"""How far from the noon of the day on which the surge was seen its peak may lie. [d] (J)"""

GRID_STEP_DAYS = 0.05
"""Step of the grid. [d]"""

FLAT_WINDOW_DAYS = 15.0
"""Without a first day, ovulation is sought this far around the readings. [d]"""

DATE_SD_DAYS = 0.75
"""How surely ovulation must be known before a date is given. [d] (J)

The 90 % interval is then at most 2.5 days long, about as wide as the windows that the sources give
for an insemination; two or three readings on the rise reach it."""

LOOK_AHEAD_STEP_DAYS = 0.25
"""Step of the grid on which further readings are weighed. [d]"""

FURTHER_READING_STEP_DAYS = 0.1
"""Step of the grid of what a further reading would show; finer than the time from peak to
ovulation spreads. [d]"""

LOOK_AHEAD_WEIGHT = 1e-4
"""Days of less weight than this share of the largest are left out of that grid."""

LOOK_AHEAD_LOG_NG_PER_ML = np.log(np.geomspace(0.3, 60.0, 21))
"""Values that a further reading may take. [log ng/mL]"""

_SPEEDS, _SPEED_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_SPEED_WEIGHTS = _SPEED_WEIGHTS / _SPEED_WEIGHTS.sum()
_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_NODE_WEIGHTS = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()
_N_TIMES = 5
"""Points over the interval of a sample whose time of day is unknown."""


@dataclass(frozen=True, slots=True)
class ProgesteroneReading:
    """One progesterone reading as an interval of time and of value.

    Attributes
    ----------
    sampled_earliest, sampled_latest
        When the blood was drawn, local time.
    low_ng_per_ml, high_ng_per_ml
        Ends of the recorded value; equal for an exact one, 0 or infinity for an open end. [ng/mL]
    laboratory
        Name; readings of one laboratory share its scale. None stands for one unknown laboratory.
    assay
        Kind of assay, which says how that laboratory's scale may lie.
    """

    sampled_earliest: datetime
    sampled_latest: datetime
    low_ng_per_ml: float
    high_ng_per_ml: float
    laboratory: str | None = None
    assay: AssayClass = "unknown"

    @property
    def is_exact(self) -> bool:
        """Whether the laboratory printed a value and not a bound."""
        return self.low_ng_per_ml == self.high_ng_per_ml

    @property
    def is_basal(self) -> bool:
        """Whether it surely lies below the rise."""
        high = self.high_ng_per_ml
        return high < RISE_NG_PER_ML or (not self.is_exact and high == RISE_NG_PER_ML)


@dataclass(frozen=True, slots=True)
class OvulationPosterior:
    """What is known of the ovulation time of one heat.

    Attributes
    ----------
    origin
        Instant that the grid counts from.
    days
        Grid of ovulation times, shape (n,). [d from origin]
    weight
        Probability of each grid point given that she ovulates in this heat, shape (n,), summing
        to 1.
    n_readings
        Progesterone readings used.
    none_prob
        Probability of no ovulation in this heat, or a split heat; a rise that was seen rules both
        out.
    rise
        Whether the readings show the rise.
    """

    origin: datetime
    days: Floats
    weight: Floats
    n_readings: int
    none_prob: float = 0.0
    rise: Rise = "not seen"

    @property
    def mean_at(self) -> datetime:
        """Posterior mean of the ovulation time."""
        return self.origin + timedelta(days=float(self.days @ self.weight))

    @property
    def sd_days(self) -> float:
        """Posterior standard deviation. [d]"""
        mean = self.days @ self.weight
        return float(np.sqrt((self.days - mean) ** 2 @ self.weight))

    def quantile_at(self, prob: float) -> datetime:
        """Instant before which ovulation lies with a given probability."""
        cumulative = np.cumsum(self.weight)
        return self.origin + timedelta(days=float(np.interp(prob, cumulative, self.days)))

    def interval(self, interval_prob: float = INTERVAL_PROB) -> tuple[datetime, datetime]:
        """Central interval of the ovulation time."""
        tail = (1.0 - interval_prob) / 2.0
        return self.quantile_at(tail), self.quantile_at(1.0 - tail)

    def prob_before(self, moment: datetime) -> float:
        """Probability that she has ovulated before an instant."""
        day = (moment - self.origin).total_seconds() / 86400.0
        given = np.interp(day, self.days, np.cumsum(self.weight), left=0.0, right=1.0)
        return float((1.0 - self.none_prob) * given)

    @property
    def is_dated(self) -> bool:
        """Whether a day may be named: the rise was seen, and ovulation is known well enough."""
        return self.rise == "seen" and self.sd_days <= DATE_SD_DAYS


def profile_log_ng_per_ml(hours_from_peak: Floats) -> Floats:
    """Mean log progesterone by hours from the LH peak, linear between the knots.

    Parameters
    ----------
    hours_from_peak
        Any shape. [h]

    Returns
    -------
    numpy.ndarray
        Same shape. [log ng/mL]
    """
    return np.asarray(np.interp(hours_from_peak, PROFILE_HOURS, PROFILE_LOG_NG_PER_ML))


def ovulation_posterior(
    readings: Sequence[ProgesteroneReading],
    *,
    first_day: date | None = None,
    lh_surge_on: date | None = None,
) -> OvulationPosterior:
    """Posterior of the ovulation time of one heat.

    Parameters
    ----------
    readings
        Zero or more readings, of any laboratories, in any order.
    first_day
        First day of bleeding, day 0.
    lh_surge_on
        Day on which an LH surge was seen, if one was looked for.

    Returns
    -------
    OvulationPosterior

    Raises
    ------
    ValueError
        Nothing to start from: no reading, no first day and no LH surge.
    """
    origin, n_days = _span(readings, first_day, lh_surge_on)
    days = np.arange(0.0, n_days, GRID_STEP_DAYS)
    log_prior = _log_prior(days, origin, first_day, lh_surge_on)
    log_weight = _log_weight(days, origin, readings, first_day, lh_surge_on)
    total = float(logsumexp(log_weight))
    weight = np.exp(log_weight - total)
    rise = rise_of(readings)
    none_prob = 0.0 if rise == "seen" else NO_OVULATION_PROB
    if readings and rise != "seen":
        log_odds = (
            np.log(NO_OVULATION_PROB / (1.0 - NO_OVULATION_PROB))
            + _log_evidence_without(origin, readings)
            - (total - float(logsumexp(log_prior)))
        )
        none_prob = float(expit(log_odds))
    return OvulationPosterior(origin, days, _blur(weight), len(readings), none_prob, rise)


def rise_of(readings: Sequence[ProgesteroneReading]) -> Rise:
    """Whether the readings of a heat show the rise before ovulation.

    Parameters
    ----------
    readings
        Of one heat, in any order.

    Returns
    -------
    Rise
        ``seen`` once one reading lies at :data:`RISE_NG_PER_ML` or above and at
        :data:`RISE_TIMES` times the lowest basal reading of its laboratory before it or more, or
        at :data:`RISE_ALONE_NG_PER_ML` or above; ``lost`` when a basal reading follows it. A bound
        is taken at the end that shows least.
    """
    rise: Rise = "not seen"
    basal: dict[str | None, float] = {}
    for reading in in_order(readings):
        name, low = reading.laboratory, reading.low_ng_per_ml
        if reading.is_basal:
            basal[name] = min(basal.get(name, np.inf), reading.high_ng_per_ml)
            rise = "not seen" if rise == "not seen" else "lost"
        elif low >= RISE_ALONE_NG_PER_ML or (
            low >= RISE_NG_PER_ML and low >= RISE_TIMES * basal.get(name, np.inf)
        ):
            rise = "seen"
    return rise


def in_order(readings: Sequence[ProgesteroneReading]) -> list[ProgesteroneReading]:
    """Readings by the time at which they were drawn."""
    return sorted(readings, key=lambda reading: (reading.sampled_latest, reading.sampled_earliest))


def expected_sd_days(
    readings: Sequence[ProgesteroneReading],
    sampled_at: Sequence[datetime],
    *,
    laboratory: str | None = None,
    assay: AssayClass = "unknown",
    first_day: date | None = None,
    lh_surge_on: date | None = None,
) -> Floats:
    r"""How surely ovulation would be known after one further reading, before it is taken.

    Parameters
    ----------
    readings
        What was measured so far.
    sampled_at
        Instants at which the further reading might be drawn.
    laboratory, assay
        Who would measure it, and how.
    first_day, lh_surge_on
        As for the posterior.

    Returns
    -------
    numpy.ndarray
        Expected posterior standard deviation, one an instant. [d]

    Notes
    -----
    With :math:`Z(y)` the integral of prior times likelihood when :math:`y` is added, :math:`y` is
    expected with density :math:`Z(y)/\int Z` on the log scale, so the mean standard deviation is
    :math:`\int Z(y)\, \mathrm{sd}(T \mid y)\, d\log y / \int Z(y)\, d\log y`.
    """
    origin, n_days = _span(readings, first_day, lh_surge_on)
    days = np.arange(0.0, n_days, LOOK_AHEAD_STEP_DAYS)
    known = _log_weight(days, origin, readings, first_day, lh_surge_on)
    days = days[known >= known.max() + np.log(LOOK_AHEAD_WEIGHT)]
    expected = []
    for at in sampled_at:
        log_evidence, sd = [], []
        for log_value in LOOK_AHEAD_LOG_NG_PER_ML:
            value = float(np.exp(log_value))
            added = ProgesteroneReading(at, at, value, value, laboratory, assay)
            log_weight = _log_weight(days, origin, [*readings, added], first_day, lh_surge_on)
            total = float(logsumexp(log_weight))
            weight = np.exp(log_weight - total)
            variance = weight @ (days - weight @ days) ** 2
            log_evidence.append(total)
            sd.append(np.sqrt(variance + PEAK_TO_OVULATION_SD_DAYS**2))
        density = np.exp(np.array(log_evidence) - max(log_evidence))
        expected.append(float(density @ np.array(sd) / density.sum()))
    return np.array(expected)


def further_reading_prob(
    readings: Sequence[ProgesteroneReading],
    sampled_at: datetime,
    *,
    laboratory: str | None = None,
    assay: AssayClass = "unknown",
    first_day: date | None = None,
    lh_surge_on: date | None = None,
) -> tuple[Floats, Floats]:
    r"""What a further reading would show, for each day on which ovulation may be.

    Parameters
    ----------
    readings
        What was measured so far, by which level, scale and speed of this heat are known.
    sampled_at
        Instant at which the further reading would be drawn.
    laboratory, assay, first_day, lh_surge_on
        As for :func:`expected_sd_days`.

    Returns
    -------
    tuple of numpy.ndarray
        Days from the origin of this heat's posterior, shape (n_days,), and the probability of each
        of :data:`LOOK_AHEAD_LOG_NG_PER_ML` given ovulation on that day, rows summing to 1.

    Notes
    -----
    :math:`P(y \mid T) \propto \sum_L Z(y, L)\, k(T - L) / \sum_L Z(L)\, k(T - L)` with the
    weight :math:`Z` of an LH peak with and without the reading and the spread :math:`k` of the time
    from peak to ovulation.
    """
    origin, n_days = _span(readings, first_day, lh_surge_on)
    days = np.arange(0.0, n_days, FURTHER_READING_STEP_DAYS)
    log_before = _log_weight(days, origin, readings, first_day, lh_surge_on)
    offset = days[:, None] - days[None, :]
    spread = np.exp(-0.5 * (offset / PEAK_TO_OVULATION_SD_DAYS) ** 2)
    columns = []
    for log_value in LOOK_AHEAD_LOG_NG_PER_ML:
        value = float(np.exp(log_value))
        added = ProgesteroneReading(sampled_at, sampled_at, value, value, laboratory, assay)
        log_after = _log_weight(days, origin, [*readings, added], first_day, lh_surge_on)
        # Weight with the reading over weight without it is the reading's density at that peak.
        columns.append(spread @ np.exp(log_after - log_before.max()))
    joint = np.column_stack(columns)
    total = joint.sum(axis=1, keepdims=True)
    # A day that is ruled out already tells no value from another.
    even = np.full_like(joint, 1.0 / joint.shape[1])
    return days, np.where(total > 0.0, joint / np.where(total > 0.0, total, 1.0), even)


def recorded_reading(row: Mapping[Any, Any]) -> ProgesteroneReading:
    """One row of the view ``progesterone`` as a reading; its kind of assay is not recorded."""
    laboratory = row["laboratory"]
    return ProgesteroneReading(
        row["sampled_earliest"].to_pydatetime(),
        row["sampled_latest"].to_pydatetime(),
        float(row["progesterone_ng_per_ml_low"]),
        float(row["progesterone_ng_per_ml_high"]),
        laboratory if isinstance(laboratory, str) else None,
    )


def ovulation_of_cycles(cycles: pd.DataFrame, progesterone: pd.DataFrame) -> pd.DataFrame:
    """Posterior of every heat of a kennel.

    Parameters
    ----------
    cycles, progesterone
        The views of these names.

    Returns
    -------
    pandas.DataFrame
        One row a heat: cycle_id, ovulation_at (mean, given that she ovulated), ovulation_sd_days,
        n_readings, and whether a day may be named (is_dated).
    """
    # Only this function makes a frame; the bench dates a heat without waiting for their library.
    import pandas as pd

    readings: dict[int, list[ProgesteroneReading]] = {}
    for row in progesterone.to_dict("records"):
        readings.setdefault(int(row["cycle_id"]), []).append(recorded_reading(row))
    rows = []
    for cycle in cycles.to_dict("records"):
        posterior = ovulation_posterior(
            readings.get(int(cycle["cycle_id"]), []),
            first_day=cycle["first_day"].date(),
            lh_surge_on=None if pd.isna(cycle["lh_surge_on"]) else cycle["lh_surge_on"].date(),
        )
        rows.append(
            (
                cycle["cycle_id"], posterior.mean_at, posterior.sd_days, posterior.n_readings,
                posterior.is_dated,
            )
        )  # fmt: skip
    columns = ["cycle_id", "ovulation_at", "ovulation_sd_days", "n_readings", "is_dated"]
    # A kennel that writes down no heat has a frame without rows, whose columns still have kinds.
    kinds = {"ovulation_at": "datetime64[us]", "ovulation_sd_days": "float64", "is_dated": "bool"}
    return pd.DataFrame(rows, columns=columns).astype(kinds)


def _span(
    readings: Sequence[ProgesteroneReading], first_day: date | None, lh_surge_on: date | None
) -> tuple[datetime, float]:
    """Origin of the grid, and its length in days."""
    moments = [reading.sampled_earliest for reading in readings]
    if first_day is not None:
        origin = datetime.combine(first_day, time.min)
        last = max((at - origin).total_seconds() / 86400.0 for at in (*moments, origin))
        return origin, max(BLEEDING_RANGE_DAYS[1] + 2.0, last + LATE_DAYS)
    flat = timedelta(days=FLAT_WINDOW_DAYS)
    if moments:
        origin = min(moments) - flat
        return origin, (max(moments) - origin).total_seconds() / 86400.0 + FLAT_WINDOW_DAYS + 2.0
    if lh_surge_on is not None:
        return datetime.combine(lh_surge_on, time.min) - flat, 2.0 * FLAT_WINDOW_DAYS + 2.0
    raise ValueError("an ovulation needs a first day, a reading or an LH surge; got none")


def _log_weight(
    days: Floats,
    origin: datetime,
    readings: Sequence[ProgesteroneReading],
    first_day: date | None,
    lh_surge_on: date | None,
) -> Floats:
    """Log of prior times likelihood at each day, the time from peak to ovulation at its mean."""
    log_prior = _log_prior(days, origin, first_day, lh_surge_on)
    if not readings:
        return log_prior
    return log_prior + _log_likelihood(days - PEAK_TO_OVULATION_DAYS, origin, readings)


def _log_prior(
    days: Floats, origin: datetime, first_day: date | None, lh_surge_on: date | None
) -> Floats:
    """Log of the prior of ovulation at each day, up to a constant."""
    log_prior = np.zeros_like(days)
    if first_day is not None:
        log_prior = -0.5 * ((days - BLEEDING_TO_OVULATION_DAYS) / BLEEDING_SD_DAYS) ** 2
        log_prior[days < BLEEDING_RANGE_DAYS[0]] = -np.inf
    if lh_surge_on is not None:
        noon = datetime.combine(lh_surge_on, time(12))
        away = days - PEAK_TO_OVULATION_DAYS - (noon - origin).total_seconds() / 86400.0
        log_prior = log_prior - 0.5 * (away / LH_SURGE_SD_DAYS) ** 2
    return log_prior


def _log_evidence_without(origin: datetime, readings: Sequence[ProgesteroneReading]) -> float:
    """Log likelihood of the readings without ovulation, the peak to come spread evenly."""
    last = max(reading.sampled_latest for reading in readings)
    first = (last - origin).total_seconds() / 86400.0
    peaks = first + np.arange(0.0, SPLIT_WITHIN_DAYS, LOOK_AHEAD_STEP_DAYS)
    return float(logsumexp(_log_likelihood(peaks, origin, readings)) - np.log(len(peaks)))


def _log_likelihood(
    peaks: Floats, origin: datetime, readings: Sequence[ProgesteroneReading]
) -> Floats:
    """Log likelihood of the readings at each LH peak; level, scales and speed integrated out.

    Given peak and speed the exact readings are jointly normal, so level and scales integrate in
    closed form; censored readings are averaged over what the exact ones leave of level and scale.
    """
    speed = np.exp(SPEED_SD * _SPEEDS)[:, None]
    moments = [_mean_and_variance(peaks, origin, reading, speed) for reading in readings]
    groups = [(reading.laboratory or "", reading.assay) for reading in readings]
    level_variance = LEVEL_SD**2

    # Sums of 1, r and r² with precision weights, laboratory by laboratory, r the residual.
    weight_sum, residual_sum = {}, {}
    log_density = np.zeros((len(speed), len(peaks)))
    level_precision, level_pull = np.zeros_like(log_density), np.zeros_like(log_density)
    for group in sorted(set(groups)):
        scale_mean, scale_variance = _assay_scale(group[1])
        zeroth, first = np.zeros_like(log_density), np.zeros_like(log_density)
        for reading, its_group, (mean, variance) in zip(readings, groups, moments, strict=True):
            if its_group != group or not reading.is_exact:
                continue
            residual = np.log(reading.low_ng_per_ml) - scale_mean - mean
            zeroth += 1.0 / variance
            first += residual / variance
            log_density -= 0.5 * (residual**2 / variance + np.log(variance))
        shrink = 1.0 + scale_variance * zeroth
        log_density += 0.5 * (scale_variance * first**2 / shrink - np.log(shrink))
        level_precision += zeroth / shrink
        level_pull += first / shrink
        weight_sum[group], residual_sum[group] = zeroth, first
    shrink = 1.0 + level_variance * level_precision
    log_density += 0.5 * (level_variance * level_pull**2 / shrink - np.log(shrink))

    if not all(reading.is_exact for reading in readings):
        level_sd = np.sqrt(level_variance / shrink)
        level = (level_variance * level_pull / shrink)[..., None] + level_sd[..., None] * _NODES
        given_level = np.zeros_like(level)
        for group in sorted(set(groups)):
            scale_mean, scale_variance = _assay_scale(group[1])
            shrink = 1.0 + scale_variance * weight_sum[group]
            left = residual_sum[group][..., None] - level * weight_sum[group][..., None]
            scale = (scale_variance * left / shrink[..., None])[..., None] + (
                np.sqrt(scale_variance / shrink)[..., None, None] * _NODES
            )
            shift = level[..., None] + scale + scale_mean
            given_scale = np.zeros_like(shift)
            for reading, its_group, (mean, variance) in zip(readings, groups, moments, strict=True):
                if its_group == group and not reading.is_exact:
                    given_scale += _interval_log_prob(
                        mean[..., None, None] + shift, np.sqrt(variance)[..., None, None], reading
                    )
            given_level += logsumexp(given_scale, b=_NODE_WEIGHTS, axis=-1)
        log_density += logsumexp(given_level, b=_NODE_WEIGHTS, axis=-1)
    return np.asarray(logsumexp(log_density, b=_SPEED_WEIGHTS[:, None], axis=0))


def _assay_scale(assay: AssayClass) -> tuple[float, float]:
    """Mean and variance of the log scale of a laboratory with this kind of assay."""
    row = PRIORS[ASSAY_ROWS[assay]]
    return row.centre, row.sd**2


def _mean_and_variance(
    peaks: Floats, origin: datetime, reading: ProgesteroneReading, speed: Floats
) -> tuple[Floats, Floats]:
    """Mean log level of one reading and its variance, shape (n_speeds, n_peaks).

    A sample somewhere within an interval has the interval's average level, and the spread of the
    level over the interval on top of the reading error.
    """
    earliest = (reading.sampled_earliest - origin).total_seconds() / 86400.0
    latest = (reading.sampled_latest - origin).total_seconds() / 86400.0
    edges = np.linspace(earliest, latest, _N_TIMES + 1)
    levels = np.stack(
        [
            profile_log_ng_per_ml(24.0 * speed * (time - peaks[None, :]))
            for time in (edges[:-1] + edges[1:]) / 2.0
        ]
    )
    return levels.mean(axis=0), levels.var(axis=0) + READING_SD**2


def _interval_log_prob(mean: Floats, sd: Floats, reading: ProgesteroneReading) -> Floats:
    """Log probability of a censored reading's interval around a mean log level."""
    if np.isinf(reading.high_ng_per_ml):
        return np.asarray(log_ndtr((mean - np.log(reading.low_ng_per_ml)) / sd))
    upper = log_ndtr((np.log(reading.high_ng_per_ml) - mean) / sd)
    if reading.low_ng_per_ml <= 0.0:
        return np.asarray(upper)
    lower = log_ndtr((np.log(reading.low_ng_per_ml) - mean) / sd)
    return np.asarray(upper + np.log1p(-np.exp(np.minimum(lower - upper, -1e-12))))


def _blur(weight: Floats) -> Floats:
    """Spread the LH peak's posterior by the sd of the time from peak to ovulation."""
    half = int(np.ceil(4.0 * PEAK_TO_OVULATION_SD_DAYS / GRID_STEP_DAYS))
    offset = GRID_STEP_DAYS * np.arange(-half, half + 1)
    kernel = np.exp(-0.5 * (offset / PEAK_TO_OVULATION_SD_DAYS) ** 2)
    blurred = np.convolve(weight, kernel / kernel.sum(), mode="same")
    return np.asarray(blurred / blurred.sum())
