r"""What will a sample of this stud hold: the next one, the one on hand, the straws in stock?

Total sperm of a next collection is what is usual for the dog
(:func:`studcurve.analytics.measures.doses.usual_total`); its progressive motility is, on the logit
scale,

.. math:: y_i = \mu + a + w_i + e_i, \qquad a \sim N(0, s_b^2), \quad w_i \sim N(0, s_w^2)

with published centre :math:`\mu`, level :math:`a` of the stud, collection :math:`w_i` (prior q02)
and known reading error :math:`e_i` (r01), all normal, so that the next collection follows in closed
form. A stud without a record has the published spread between dogs. Where the kennel's studs are
fitted over time, total sperm is that of the fit instead: his level on the day, season, spread
between collections and rest (:func:`studcurve.analytics.models.stud.level.next_total`). A sample on
hand is drawn given how it was read.

Without that fit it does not know rest, season, evaluators and slow change.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.doses import UsualTotal, usual_total
from studcurve.analytics.models.breedings.inputs import USUAL_DOSE_M
from studcurve.analytics.models.breedings.semen import straw_given_record
from studcurve.analytics.models.stud.curves import rest_term
from studcurve.analytics.plan.options import Straws
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.sentences import Sentence, sentence

PUBLISHED_SAMPLE = sentence("source.sample_published")
"""Where a sample comes from of whose stud nothing is recorded."""

TYPICAL_MOTILITY_PCT = 75.0
"""Progressive motility of a sound stud; 74.4 % in Nöthling et al. 1997, J Reprod Fertil Suppl
51:109-116, and "at least 70 %" by consensus (P). [%]"""

N_LAST_EVALUATIONS = 10
"""Collections that stand for a stud today; a rule of this toolkit."""

FEWEST_REST_DAYS = 1
"""A second collection of one day counts as one of the next day: row q03 begins there. [d]"""

EXTREME_PCT = (2.0, 98.0)
"""A percentage is kept within these ends on the logit scale: 0 and 100 % are rounded values. [%]"""


@dataclass(frozen=True, slots=True)
class UsualMotility:
    """Progressive motility that is usual for a dog, logit-normal.

    Attributes
    ----------
    logit_mean, logit_sd
        Mean and sd of the logit of the share moving forward in his next sample.
    n_samples
        Samples of his own behind it.
    """

    logit_mean: float
    logit_sd: float
    n_samples: int


@dataclass(frozen=True, slots=True)
class Rest:
    """How total sperm depends on the days since the collection before (priors q03).

    Attributes
    ----------
    last_on
        Day of his last collection; None where none is known, which counts as rested.
    recovery_days, deficit
        Time constant of the recovery, and share missing on the next day, each shape (n,). [d, 0–1]
    """

    last_on: date | None
    recovery_days: Floats
    deficit: Floats

    def share_after(self, days: float) -> Floats:
        """Share of a rested sample that is there after days of rest, shape (n,)."""
        return np.asarray(np.exp(rest_term(np, days, self.recovery_days, self.deficit)))

    def share_on(self, day: date) -> Floats:
        """Share of a rested sample that is there on a day, if nothing is collected before it."""
        if self.last_on is None:
            return np.ones(len(self.deficit))
        return self.share_after(float(max(FEWEST_REST_DAYS, (day - self.last_on).days)))


@dataclass(frozen=True, slots=True)
class SampleDraws:
    """What the sample of an option may hold, before storage and division into doses.

    Attributes
    ----------
    total_m
        Sperm in all, shape (n,). [10⁶]
    progressive_share
        Share moving forward when collected, 0 to 1, shape (n,).
    source
        Where the draws come from.
    rest
        Where the total is that of a rested sample: what is there of it after less rest. None where
        the total is that of the sample itself, or of his usual rest.
    """

    total_m: Floats
    progressive_share: Floats
    source: Sentence
    rest: Rest | None = None

    @property
    def progressive_m(self) -> Floats:
        """Sperm moving forward, after full rest. [10⁶]"""
        return self.total_m * self.progressive_share

    def progressive_on(self, day: date) -> Floats:
        """Sperm moving forward in what is collected on a day. [10⁶]"""
        if self.rest is None:
            return self.progressive_m
        return self.progressive_m * self.rest.share_on(day)


def usual_motility(readings: pd.DataFrame) -> UsualMotility:
    """Progressive motility to expect of a dog's next sample.

    Parameters
    ----------
    readings
        Raw samples of this stud as in the view of evaluations; may be empty.
    """
    precision = 1.0 / PRIORS["q02_between"].sd ** 2
    pull = precision * logit(TYPICAL_MOTILITY_PCT / 100.0)
    within = PRIORS["q02_within"].sd ** 2
    n_samples = 0
    if not readings.empty:
        last = readings[readings["progressive_motility_pct"].notna()]
        last = last.sort_values("collected_earliest").tail(N_LAST_EVALUATIONS)
        share = last["progressive_motility_pct"].to_numpy(dtype=np.float64) / 100.0
        judged = last["n_motility_evaluated"].to_numpy(dtype=np.float64, na_value=np.nan)
        share = np.clip(share, EXTREME_PCT[0] / 100.0, EXTREME_PCT[1] / 100.0)
        information = share * (1.0 - share)
        by_eye = (PRIORS["r01_sd"].centre / 100.0 / information) ** 2
        error = np.where(np.isnan(judged), by_eye, 1.0 / (judged * information))
        weight = 1.0 / (within + error)
        precision += weight.sum()
        pull += (weight * logit(share)).sum()
        n_samples = len(share)
    return UsualMotility(
        float(pull / precision), float(np.sqrt(1.0 / precision + within)), n_samples
    )


def next_sample(readings: pd.DataFrame, z: Floats) -> SampleDraws:
    """Draw a stud's next collection.

    Parameters
    ----------
    readings
        Raw samples of this stud with measures
        (:func:`studcurve.analytics.measures.semen.with_measures`); may be empty. Samples without
        sperm are left out: a caution speaks of them.
    z
        Standard normal numbers, shape (2, n), shared by every option.
    """
    total, motility = usual_of(readings)
    n_samples = max(total.n_samples, motility.n_samples)
    source = sentence("source.sample_last", n=n_samples) if n_samples else PUBLISHED_SAMPLE
    return SampleDraws(
        np.exp(total.log_mean + total.log_sd * z[0]),
        expit(motility.logit_mean + motility.logit_sd * z[1]),
        source,
    )


def usual_of(readings: pd.DataFrame) -> tuple[UsualTotal, UsualMotility]:
    """Total sperm and motility to expect of the next sample; readings may be empty."""
    if readings.empty:
        return usual_total(), usual_motility(readings)
    last = readings.sort_values("collected_earliest").tail(N_LAST_EVALUATIONS)
    totals = last["total_sperm_m"].to_numpy(dtype=np.float64, na_value=np.nan)
    return usual_total(totals), usual_motility(readings)


def straw_draws(straws: Straws, route: str, z: Floats) -> tuple[Floats, Floats]:
    """Motile sperm and progressive motility of one frozen dose after thaw, draw by draw. [10⁶, %]

    Parameters
    ----------
    straws
        The lot; what was recorded is combined with what is usual, which stands alone where nothing
        was.
    route
        Route of insemination.
    z
        Standard normal numbers, shape (2, n), shared by every option.
    """
    dose_m = straws.motile_per_straw_m * straws.n_per_dose
    pair = straw_given_record(dose_m, straws.post_thaw_motility_pct, route)
    together = pair.correlation * z[0] + np.sqrt(1.0 - pair.correlation**2) * z[1]
    doublings = pair.dose_mean + pair.dose_sd * z[0]
    motility_pct = pair.motility_mean + pair.motility_sd * together
    return USUAL_DOSE_M[route] * 2.0**doublings, np.asarray(np.clip(motility_pct, 0.0, 100.0))
