r"""What will a sample of this stud hold: the next one, the one on hand, the straws in stock?

Log total sperm and logit progressive motility of collection :math:`i` are

.. math:: y_i = \mu + a + w_i + e_i, \qquad a \sim N(0, s_b^2), \quad w_i \sim N(0, s_w^2)

with published centre :math:`\mu`, level :math:`a` of the stud, collection :math:`w_i` (priors q01,
q02) and known reading error :math:`e_i` (r01, r02). All is normal, so level and next collection
follow in closed form; a stud without a record has the published spread between dogs. A kennel's
fit of its studs over time replaces these draws by its own.

Does not know: rest, season, observers and slow change, which the fit of the stud does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from analytics.breeding_inputs import DOSE_LOG2_SD, DOSE_POPULATION, USUAL_DOSE_M
from analytics.estimate import Floats
from analytics.plan.options import Straws
from analytics.priors import PRIORS
from analytics.semen import PHOTOMETER_CV, VOLUME_CV

TYPICAL_TOTAL_SPERM_M = 775.0
"""Total sperm of a sound stud of unknown size. [10⁶]

Geometric middle of the ranges 300 to 2,000 M (University of Minnesota) and 200 to 3,000 M (Atlantic
Veterinary College), both secondary (D)."""

TYPICAL_MOTILITY_PCT = 75.0
"""Progressive motility of a sound stud; 74.4 % in Nöthling et al. 1997, J Reprod Fertil Suppl
51:109-116, and "at least 70 %" by consensus (P). [%]"""

N_LAST_READINGS = 10
"""Collections that stand for a stud today; a rule of this toolkit."""

EXTREME_PCT = (2.0, 98.0)
"""A percentage is kept within these ends on the logit scale: 0 and 100 % are rounded values."""


@dataclass(frozen=True, slots=True)
class SampleDraws:
    """Draws of what one sample holds.

    Attributes
    ----------
    total_sperm_m
        Total sperm, shape (n,). [10⁶]
    progressive_share
        Share moving forward when collected, 0 to 1, shape (n,).
    source
        Where the draws come from.
    """

    total_sperm_m: Floats
    progressive_share: Floats
    source: str

    @property
    def motile_m(self) -> Floats:
        """Progressively motile sperm of the sample. [10⁶]"""
        return self.total_sperm_m * self.progressive_share


@dataclass(frozen=True, slots=True)
class Normal:
    """A normal belief: mean and variance."""

    mean: float
    variance: float

    def given(self, value: float, variance: float) -> Normal:
        """Belief after one reading with a known error variance; a missing reading says nothing."""
        if np.isnan(value):
            return self
        weight = self.variance / (self.variance + variance)
        return Normal(self.mean + weight * (value - self.mean), self.variance * (1.0 - weight))


@dataclass(frozen=True, slots=True)
class SampleBelief:
    """What is known of one sample before it is looked at: log total sperm and logit motility."""

    log_total: Normal
    logit_motility: Normal
    n_readings: int

    def draws(self, z_total: Floats, z_motility: Floats) -> SampleDraws:
        """Turn standard normal numbers, shared by every option, into draws of the sample."""
        total, motility = self.log_total, self.logit_motility
        source = (
            f"{self.n_readings} readings of this stud" if self.n_readings else "published levels"
        )
        return SampleDraws(
            np.exp(total.mean + np.sqrt(total.variance) * z_total),
            expit(motility.mean + np.sqrt(motility.variance) * z_motility),
            source,
        )


def next_sample(readings: pd.DataFrame | None = None, *, extra_cv: float = 0.0) -> SampleBelief:
    """Belief about a stud's next collection.

    Parameters
    ----------
    readings
        Raw samples of this stud with measures (:func:`analytics.semen.with_measures`); none for a
        stud without a record. Samples without sperm are left out: a caution speaks of them.
    extra_cv
        Error of this kennel's chamber counts beyond Poisson (prior r02).

    Returns
    -------
    SampleBelief
    """
    within_total = PRIORS["q01_within"].sd ** 2
    within_motility = PRIORS["q02_within"].sd ** 2
    total = Normal(np.log(TYPICAL_TOTAL_SPERM_M), PRIORS["q01_between"].sd ** 2)
    motility = Normal(float(logit(TYPICAL_MOTILITY_PCT / 100.0)), PRIORS["q02_between"].sd ** 2)
    n_used = 0
    last = (
        pd.DataFrame() if readings is None
        else readings.sort_values("collected_earliest").tail(N_LAST_READINGS)
    )  # fmt: skip
    for row in last.to_dict("records"):
        reading = read_sample(row, extra_cv=extra_cv)
        log_total, logit_motility = reading
        total = total.given(log_total.mean, within_total + log_total.variance)
        motility = motility.given(logit_motility.mean, within_motility + logit_motility.variance)
        n_used += not (np.isnan(log_total.mean) and np.isnan(logit_motility.mean))
    return SampleBelief(
        Normal(total.mean, total.variance + within_total),
        Normal(motility.mean, motility.variance + within_motility),
        n_used,
    )


def sample_on_hand(before: SampleBelief, reading: Mapping[Any, Any], *, extra_cv: float
                   ) -> SampleBelief:  # fmt: skip
    """Belief about a sample that has been looked at; what was not read stays as it was.

    Parameters
    ----------
    before
        From :func:`next_sample`.
    reading
        One row with measures.
    extra_cv
        As there.
    """
    log_total, logit_motility = read_sample(reading, extra_cv=extra_cv)
    return SampleBelief(
        before.log_total.given(log_total.mean, log_total.variance),
        before.logit_motility.given(logit_motility.mean, logit_motility.variance),
        before.n_readings + 1,
    )


def read_sample(row: Mapping[Any, Any], *, extra_cv: float) -> tuple[Normal, Normal]:
    """Log total sperm and logit motility of one reading with their errors; NaN when not read."""
    total, cells = _number(row, "total_sperm_m"), _number(row, "n_cells_counted")
    counting = PHOTOMETER_CV if np.isnan(cells) else np.hypot(extra_cv, 1.0 / np.sqrt(cells or 1.0))
    log_total = np.log(total) if total > 0.0 else float("nan")
    share = np.clip(_number(row, "progressive_motility_pct"), *EXTREME_PCT) / 100.0
    n_judged = _number(row, "n_motility_judged")
    spread = share * (1.0 - share)
    by_eye = (PRIORS["r01_sd"].centre / 100.0 / spread) ** 2
    variance = by_eye if np.isnan(n_judged) else 1.0 / (n_judged * spread)
    return (
        Normal(float(log_total), float(np.hypot(counting, VOLUME_CV) ** 2)),
        Normal(float(logit(share)), float(variance)),
    )


def straw_dose_m(straws: Straws, route: str, z: Floats) -> Floats:
    """Progressively motile sperm of one frozen dose after thawing, draw by draw. [10⁶]

    Parameters
    ----------
    straws
        The lot; without a recorded count the doses usual for the route stand in.
    route
        Route of insemination.
    z
        Standard normal numbers, shared by every option.
    """
    recorded = straws.motile_per_straw_m * straws.n_per_dose
    if not recorded > 0.0:
        mean, sd = DOSE_POPULATION
        return np.asarray(USUAL_DOSE_M[route] * 2.0 ** (mean + sd * z))
    return np.asarray(recorded * 2.0 ** (DOSE_LOG2_SD * z))


def _number(row: Mapping[Any, Any], name: str) -> float:
    value = row.get(name)
    return float("nan") if value is None or pd.isna(value) else float(value)
