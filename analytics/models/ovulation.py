r"""When did (will) she ovulate, given what was measured?

The model
---------
The LH peak of a heat is at :math:`L`, ovulation 46 h (sd 4 h) later at :math:`T`. A progesterone
reading :math:`y_i` of laboratory :math:`j`, drawn at :math:`t_i`, is

.. math::

    \log y_i = m\{(t_i - L)\, e^{r}\} + a + b_{j} + \varepsilon_i

with the published mean profile :math:`m` by hours from the LH peak, the rise speed of this heat
:math:`r \sim N(0, 0.15^2)`, its level :math:`a \sim N(0, 0.25^2)`, the scale of the laboratory
:math:`b_j \sim N(\beta_{c(j)}, 0.3^2)` and the reading error :math:`\varepsilon \sim N(0, 0.10^2)`.
A censored reading enters as the probability of its interval; a sample without a time of day is
spread over its day. Ovulation is a priori on day 11 (sd 4, 3 to 31) from the first bleeding, that
day being day 0; the posterior is computed on a grid, without a sampler.

Sources: priors o01 to o07. Does not know: heats without ovulation (a level that never rises is for
a veterinarian), split heats, and readings spoiled by storage at room temperature.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
from scipy.special import log_ndtr, logsumexp

from analytics.estimate import INTERVAL_PROB, Floats

PROFILE_HOURS = np.array([-120.0, -56, -40, -24, -16, -8, 0, 24, 48, 72, 120, 240, 480])
"""Knots of the mean profile, hours from the LH peak. [h]"""

PROFILE_NG_PER_ML = np.array([0.5, 0.7, 0.9, 1.2, 1.4, 1.5, 2.65, 3.2, 5.1, 7.2, 12.0, 25.0, 30.0])
"""Mean progesterone at the knots. [ng/mL]

Concannon 1977 (six Beagles) up to +24 h; at 0, +48 and +72 h averaged with or taken from
Hollinshead & Hanlon 2019, Theriogenology 125:37-42 (1,420 cycles) (P). Before −56 h and after
+72 h: judgement (J), the early luteal rise."""

LEVEL_SD = 0.25
"""Between-cycle sd of log progesterone at a given hour (prior o02, J)."""

LABORATORY_SD = 0.30
"""Between-laboratory sd of log progesterone (prior o03; published slopes 0.45 to 1.06, P)."""

READING_SD = 0.10
"""Within-laboratory sd of log progesterone (prior o03, P)."""

SPEED_SD = 0.15
"""Between-cycle sd of the log rise speed (prior o07, J)."""

PEAK_TO_OVULATION_DAYS, PEAK_TO_OVULATION_SD_DAYS = 46.0 / 24.0, 4.0 / 24.0
"""LH peak to ovulation, between 38 and 50 h in Concannon 1977 (prior o04, P). [d]"""

BLEEDING_TO_OVULATION_DAYS, BLEEDING_SD_DAYS = 11.0, 4.0
"""First bleeding to ovulation without any test (prior o05; a Beagle colony, P). [d]"""

BLEEDING_RANGE_DAYS = (3.0, 31.0)
"""Extremes of the same colony. [d]"""

GRID_STEP_DAYS = 0.05
"""Step of the grid. [d]"""

FLAT_WINDOW_DAYS = 15.0
"""Without a first day, ovulation is sought this far around the readings. [d]"""

DATE_SD_DAYS = 0.6
"""How surely ovulation must be known before a date is given. [d]

Two readings on the rise reach it (prior o01 to o07); above it the answer is "not yet"."""

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
    """

    sampled_earliest: datetime
    sampled_latest: datetime
    low_ng_per_ml: float
    high_ng_per_ml: float
    laboratory: str | None = None

    @property
    def is_exact(self) -> bool:
        """Whether the laboratory printed a value and not a bound."""
        return self.low_ng_per_ml == self.high_ng_per_ml


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
        Probability of each grid point, shape (n,), summing to 1.
    n_readings
        Progesterone readings used.
    """

    origin: datetime
    days: Floats
    weight: Floats
    n_readings: int

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
        """Probability that ovulation was before an instant."""
        day = (moment - self.origin).total_seconds() / 86400.0
        return float(np.interp(day, self.days, np.cumsum(self.weight), left=0.0, right=1.0))

    @property
    def is_dated(self) -> bool:
        """Whether ovulation is known well enough to name a date; else the answer is "not yet"."""
        return self.n_readings > 0 and self.sd_days <= DATE_SD_DAYS


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
    return np.asarray(np.interp(hours_from_peak, PROFILE_HOURS, np.log(PROFILE_NG_PER_ML)))


def ovulation_posterior(
    readings: Sequence[ProgesteroneReading],
    *,
    first_day: date | None = None,
    lh_surge_on: date | None = None,
    laboratory_log_scale: float = 0.0,
    laboratory_sd: float = LABORATORY_SD,
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
    laboratory_log_scale, laboratory_sd
        Mean and sd of the log scale of a laboratory of this assay class against the profile's
        radioimmunoassay.

    Returns
    -------
    OvulationPosterior

    Raises
    ------
    ValueError
        Nothing to start from: no reading, no first day and no LH surge.
    """
    moments = [reading.sampled_earliest for reading in readings]
    if first_day is not None:
        origin = datetime(first_day.year, first_day.month, first_day.day)
    elif moments:
        origin = min(moments) - timedelta(days=FLAT_WINDOW_DAYS)
    elif lh_surge_on is not None:
        origin = datetime(lh_surge_on.year, lh_surge_on.month, lh_surge_on.day)
        origin -= timedelta(days=FLAT_WINDOW_DAYS)
    else:
        raise ValueError("an ovulation needs a first day, a reading or an LH surge; got none")

    last_day = BLEEDING_RANGE_DAYS[1]
    if first_day is None:
        latest = max(moments) if moments else origin + timedelta(days=FLAT_WINDOW_DAYS)
        last_day = (latest - origin).total_seconds() / 86400.0 + FLAT_WINDOW_DAYS
    days = np.arange(0.0, last_day + 2.0, GRID_STEP_DAYS)
    peaks = days - PEAK_TO_OVULATION_DAYS

    log_weight = np.zeros_like(days)
    if first_day is not None:
        log_weight = -0.5 * ((days - BLEEDING_TO_OVULATION_DAYS) / BLEEDING_SD_DAYS) ** 2
        outside = (days < BLEEDING_RANGE_DAYS[0]) | (days > BLEEDING_RANGE_DAYS[1])
        log_weight[outside] = -np.inf
    if lh_surge_on is not None:
        seen = datetime(lh_surge_on.year, lh_surge_on.month, lh_surge_on.day, 12)
        away = peaks - (seen - origin).total_seconds() / 86400.0
        # The peak lies on that day or just beside it: half a day either way, softly.
        log_weight = log_weight - 0.5 * (away / 0.5) ** 2
    if readings:
        log_weight = log_weight + _log_likelihood(
            peaks, origin, readings, laboratory_log_scale, laboratory_sd
        )
    weight = np.exp(log_weight - logsumexp(log_weight))
    return OvulationPosterior(origin, days, _blur(weight), len(readings))


def ovulation_of_cycles(cycles: pd.DataFrame, progesterone: pd.DataFrame) -> pd.DataFrame:
    """Posterior of every heat of a kennel.

    Parameters
    ----------
    cycles, progesterone
        The views of these names.

    Returns
    -------
    pandas.DataFrame
        One row a heat: cycle_id, ovulation_at (mean), ovulation_sd_days, n_readings.
    """
    readings: dict[int, list[ProgesteroneReading]] = {}
    for row in progesterone.to_dict("records"):
        readings.setdefault(int(row["cycle_id"]), []).append(
            ProgesteroneReading(
                row["sampled_earliest"].to_pydatetime(),
                row["sampled_latest"].to_pydatetime(),
                float(row["progesterone_ng_per_ml_low"]),
                float(row["progesterone_ng_per_ml_high"]),
                None if pd.isna(row["laboratory"]) else str(row["laboratory"]),
            )
        )
    rows = []
    for cycle in cycles.to_dict("records"):
        posterior = ovulation_posterior(
            readings.get(int(cycle["cycle_id"]), []),
            first_day=cycle["first_day"].date(),
            lh_surge_on=None if pd.isna(cycle["lh_surge_on"]) else cycle["lh_surge_on"].date(),
        )
        rows.append((cycle["cycle_id"], posterior.mean_at, posterior.sd_days, posterior.n_readings))
    columns = ["cycle_id", "ovulation_at", "ovulation_sd_days", "n_readings"]
    return pd.DataFrame(rows, columns=columns)


def _log_likelihood(
    peaks: Floats,
    origin: datetime,
    readings: Sequence[ProgesteroneReading],
    laboratory_log_scale: float,
    laboratory_sd: float,
) -> Floats:
    """Log likelihood of the readings at each LH peak; level, scales and speed integrated out.

    Given peak and speed the exact readings are jointly normal, so level and scales integrate in
    closed form; censored readings are averaged over what the exact ones leave of level and scale.
    """
    speed = np.exp(SPEED_SD * _SPEEDS)[:, None]
    moments = [_mean_and_variance(peaks, origin, reading, speed) for reading in readings]
    laboratories = sorted({reading.laboratory or "" for reading in readings})
    laboratory_variance, level_variance = laboratory_sd**2, LEVEL_SD**2

    # Sums of 1, r and r² with precision weights, laboratory by laboratory, r the residual.
    weight_sum, residual_sum = {}, {}
    log_density = np.zeros((len(speed), len(peaks)))
    level_precision, level_pull = np.zeros_like(log_density), np.zeros_like(log_density)
    for laboratory in laboratories:
        zeroth, first = np.zeros_like(log_density), np.zeros_like(log_density)
        for reading, (mean, variance) in zip(readings, moments, strict=True):
            if (reading.laboratory or "") != laboratory or not reading.is_exact:
                continue
            residual = np.log(reading.low_ng_per_ml) - laboratory_log_scale - mean
            zeroth += 1.0 / variance
            first += residual / variance
            log_density -= 0.5 * (residual**2 / variance + np.log(variance))
        shrink = 1.0 + laboratory_variance * zeroth
        log_density += 0.5 * (laboratory_variance * first**2 / shrink - np.log(shrink))
        level_precision += zeroth / shrink
        level_pull += first / shrink
        weight_sum[laboratory], residual_sum[laboratory] = zeroth, first
    shrink = 1.0 + level_variance * level_precision
    log_density += 0.5 * (level_variance * level_pull**2 / shrink - np.log(shrink))

    if not all(reading.is_exact for reading in readings):
        level_sd = np.sqrt(level_variance / shrink)
        level = (level_variance * level_pull / shrink)[..., None] + level_sd[..., None] * _NODES
        given_level = np.zeros_like(level)
        for laboratory in laboratories:
            shrink = 1.0 + laboratory_variance * weight_sum[laboratory]
            left = residual_sum[laboratory][..., None] - level * weight_sum[laboratory][..., None]
            scale = (laboratory_variance * left / shrink[..., None])[..., None] + (
                np.sqrt(laboratory_variance / shrink)[..., None, None] * _NODES
            )
            shift = level[..., None] + scale + laboratory_log_scale
            given_scale = np.zeros_like(shift)
            for reading, (mean, variance) in zip(readings, moments, strict=True):
                if (reading.laboratory or "") == laboratory and not reading.is_exact:
                    given_scale += _interval_log_prob(
                        mean[..., None, None] + shift, np.sqrt(variance)[..., None, None], reading
                    )
            given_level += logsumexp(given_scale, b=_NODE_WEIGHTS, axis=-1)
        log_density += logsumexp(given_level, b=_NODE_WEIGHTS, axis=-1)
    return np.asarray(logsumexp(log_density, b=_SPEED_WEIGHTS[:, None], axis=0))


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
