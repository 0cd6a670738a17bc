r"""When did a stud's numbers dip, how deep, and what had been recorded before?

The residuals of a fit, its declared steps put back, are searched for a dip of any onset: a
template of the model's own shape (onset, some weeks at depth, recovery) with a normal depth has a
closed-form Bayes factor against no dip,

.. math::

    \log B = -\tfrac12 \log(1 + \tau^2 q) + \tfrac12 \frac{b^2}{q + 1/\tau^2},
    \qquad q = \sum h_i^2 / v_i, \quad b = \sum h_i r_i / v_i

for residuals :math:`r` with variances :math:`v`, template :math:`h` and the prior depth
:math:`\tau` of a declared event (row q05). The date is found from the readings alone; recorded
events are then read off the look-back windows of ``analytics/measures/dates.py`` and are
*coincident*, no more. A small or one-sided count has no residual and is left out.

Does not know: what happened and was not recorded, and a dip that fell between two collections.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd
from scipy.special import logsumexp

from studcurve.analytics.estimate import INTERVAL_Z, Estimate, Floats, interval_quantiles
from studcurve.analytics.measures.dates import look_back
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.stud.curves import (
    rest_term,
    season_columns,
    share_moments,
    step_shape,
)
from studcurve.analytics.models.stud.inputs import EPOCH, days_of
from studcurve.analytics.models.stud.level import levels_at, tail_variance
from studcurve.analytics.models.stud.model import StudQualityPosterior
from studcurve.analytics.priors import PRIORS

DIPS_PER_YEAR = 0.2
"""How often a stud dips, before any reading: once in five years. (J)"""

DURATIONS_DAYS = (21.0, 42.0, 75.0)
"""Times at depth that are tried. (J) [d]"""

ONSET_STEP_DAYS = 3.0
"""Spacing of the onsets that are tried. [d]"""

APART_DAYS = 60.0
"""Onsets nearer than this are one dip. [d]"""

FOUND_PROB = 0.95
"""A dip is reported above this probability (rule of this toolkit)."""

MOST_DIPS = 5
"""Dips of one stud that are reported."""


@dataclass(frozen=True, slots=True)
class Coincident:
    """A recorded event that lies in a look-back window.

    Attributes
    ----------
    kind, drug_class
        As recorded; no drug class where there is none.
    started_on
        Its first day.
    days_before
        Days from its first day to the onset, or to the sample. [d]
    window
        Which window it lies in, in the words of the calendar.
    """

    kind: str
    drug_class: str | None
    started_on: date
    days_before: int
    window: str


@dataclass(frozen=True, slots=True)
class Dip:
    """A dip that the readings show.

    Attributes
    ----------
    prob
        Probability that there is one at all, 0 to 1.
    began_on
        Middle day of the onset.
    began_between
        Ends of the onset's interval.
    depth
        Change at its deepest on the working scale: log of total sperm, logit of a share.
    n_collections
        Collections within it.
    """

    prob: float
    began_on: date
    began_between: tuple[date, date]
    depth: Estimate
    n_collections: int


def find_dips(posterior: StudQualityPosterior, stud: str) -> tuple[Dip, ...]:
    """Dips of one measure of one stud, the surest first.

    Parameters
    ----------
    posterior
        Fitted, of one measure.
    stud
        Call name.
    """
    days, residual, variance = _residuals(posterior, stud)
    if days.size == 0:
        return ()
    onsets = np.arange(days[0], days[-1], ONSET_STEP_DAYS)
    prior_sd = PRIORS["q05_step"].sd
    shape = np.stack(
        [step_shape(np, days[None, :] - onsets[:, None], 0.0, length) for length in DURATIONS_DAYS]
    )
    odds = np.log(DIPS_PER_YEAR * ONSET_STEP_DAYS / DAYS_PER_YEAR / len(DURATIONS_DAYS))
    found: list[Dip] = []
    for _ in range(MOST_DIPS):
        q = (shape**2 / variance).sum(axis=2)
        b = (shape * residual / variance).sum(axis=2)
        precision = q + 1.0 / prior_sd**2
        log_odds = odds - 0.5 * np.log1p(prior_sd**2 * q) + 0.5 * b**2 / precision
        log_odds = np.where(b < 0, log_odds, -np.inf)
        length, at = np.unravel_index(int(log_odds.argmax()), log_odds.shape)
        near = np.abs(onsets - onsets[at]) <= APART_DAYS
        weight = np.where(near, log_odds, -np.inf)
        total = float(logsumexp(weight))
        prob = float(1.0 / (1.0 + np.exp(-total)))
        if prob <= FOUND_PROB:
            break
        found.append(_dip(prob, np.exp(weight - total), onsets, b / precision, precision, shape))
        residual = residual - b[length, at] / precision[length, at] * shape[length, at]
    return tuple(found)


def coincident_events(events: pd.DataFrame, stud: str, on: date) -> tuple[Coincident, ...]:
    """Recorded events in the look-back windows of a day: coincident, not said to be the cause.

    Parameters
    ----------
    events
        The view of that name.
    stud
        Call name.
    on
        Day on which a dip began, or of a low sample.
    """
    own = events[(events["dog"] == stud) & events["started_on"].notna()]
    windows = look_back(on)
    found = []
    own = own.sort_values(["started_on", "event_id"])
    days = pd.to_datetime(own["started_on"]).dt.date
    for kind, drug, started in zip(own["kind"], own["drug_class"], days, strict=True):
        before = (on - started).days
        lies_in = [w.what for w in windows if w.first_day <= -before <= w.last_day]
        if lies_in:
            named = drug if isinstance(drug, str) else None
            found.append(Coincident(str(kind), named, started, before, lies_in[0]))
    return tuple(found)


def _residuals(posterior: StudQualityPosterior, stud: str) -> tuple[Floats, Floats, Floats]:
    """Days, residuals with declared steps put back, and their variances, on the working scale."""
    data, draws = posterior.data, posterior.draws
    rows = data.rows_of(stud)
    rows = rows[np.isfinite(data.value[rows])]
    if rows.size == 0:
        return np.zeros(0), np.zeros(0), np.ones(0)
    on = data.on[rows]
    level = levels_at(posterior, stud, on, with_events=False)
    level = level + draws["season"] @ season_columns(on).T
    within = draws["within"][:, None]
    if data.measure.is_log:
        mean = level + rest_term(
            np, data.rest_days[rows], draws["rest_time"][:, None], draws["rest_deficit"][:, None]
        )
        spread, slope = np.broadcast_to(within**2, mean.shape), np.ones(len(rows))
    else:
        mean, spread = share_moments(np, level, within)
        inside = np.clip(mean.mean(axis=0), 0.02, 0.98)
        slope = inside * (1.0 - inside)
    mean = mean + draws["reader"][:, data.reader[rows]]
    counting = slope * data.inverse_n[rows] if not data.measure.is_log else np.zeros(len(rows))
    variance = spread.mean(axis=0) * tail_variance() + data.reading_sd[rows] ** 2 + counting
    variance = variance + mean.var(axis=0)
    return days_of(on), (data.value[rows] - mean.mean(axis=0)) / slope, variance / slope**2


def _dip(
    prob: float, weight: Floats, onsets: Floats, depth: Floats, precision: Floats, shape: Floats
) -> Dip:
    """State the best cluster: onset and depth averaged over onsets and durations."""
    of_onset = np.cumsum(weight.sum(axis=0))
    lower, middle, upper = (
        _day_of(float(onsets[np.searchsorted(of_onset, p)])) for p in interval_quantiles()
    )
    mean = float((weight * depth).sum())
    sd = float(np.sqrt((weight * (depth**2 + 1.0 / precision)).sum() - mean**2))
    best = np.unravel_index(int(weight.argmax()), weight.shape)
    half = INTERVAL_Z * sd
    inside = int((shape[best] > 0.5).sum())
    return Dip(prob, middle, (lower, upper), Estimate(mean, mean - half, mean + half), inside)


def _day_of(days: float) -> date:
    first: date = pd.Timestamp(EPOCH).date()
    return first + timedelta(days=round(days))
