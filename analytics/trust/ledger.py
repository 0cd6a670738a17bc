r"""Was it right? Chances of a litter as they were stated, against what came of them.

Only the last chance that was stated before the insemination, for the way that was used, is scored:
which one that is stands in the view ``forecasts`` and is nobody's choice. Of people it is the last
one that anybody stated: several of one breeding are not independent. A breeding is summed once
its latest day of whelping has passed: a missed heat is known weeks before a litter, and sums that
take what is known on a day would hold too many of the missed ones.

Litters against stated chances
    If every chance is right and breedings do not hang together, the number of litters is a sum of
    independent coins of unequal bias, whose distribution is exact.
Monitoring
    A bet against the stated chances, breeding by breeding, in the order in which they come into the
    sum: on the latest day of whelping or, where it was reported later, on the day of the report. A
    late report is thereby the last one and alters nothing that was seen before. Under the
    hypothesis that each litter comes with its stated chance, whatever came of the breedings before
    it, the capital

    .. math:: M_n = \frac{1}{K} \sum_k \prod_{i \le n}
        \frac{q_{ki}^{y_i} (1 - q_{ki})^{1 - y_i}}{p_i^{y_i} (1 - p_i)^{1 - y_i}},
        \qquad \operatorname{logit} q_{ki} = c + a_k + b_k (\operatorname{logit} p_i - c)

    is a martingale that begins at 1, so it ever reaches :math:`1/\alpha` with a probability of at
    most :math:`\alpha`, however often it is looked at (Ville's inequality). Shafer 2021, J R Stat
    Soc A 184:407-431 (M); Ramdas, Grünwald, Vovk & Shafer 2023, Stat Sci 38:576-601 (P, the
    argument; M, the pages). For forecasts as here: Arnold, Henzi & Ziegel 2023, Ann Appl Stat
    17:1909-1935 (P).

Does not know whether outcomes that were never reported differ from those that were, nor breedings
of one bitch or one bad month that go together: those would raise false alarms above their rate.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from itertools import product
from typing import Any, Literal

import numpy as np
import pandas as pd
from scipy.special import logit

from studcurve.analytics.estimate import Estimate, Floats, interval_quantiles
from studcurve.analytics.measures.counting import exact_share
from studcurve.analytics.measures.dates import UNTIMED_WHELPING_DAYS
from studcurve.analytics.trust.checking import Scores, scores

SETTLED_DAYS = UNTIMED_WHELPING_DAYS[1]
"""Days after the first mating from which a breeding is summed, whenever it was reported. [d]"""

N_FOR_SCORES = 10
"""Scored breedings from which scores and expected litters are judged. (rule)"""

N_FOR_CALIBRATION = 30
"""Scored breedings from which stated chances are set against shares by band. (rule)"""

FEWEST_IN_BAND, MOST_BANDS = 10, 5
"""Breedings in a band at the least, and bands at the most. (rule)"""

ALARM_RATE = 0.05
"""Chance that right forecasts ever raise the alarm: at most this. (rule)"""

ALARM_CAPITAL = 1.0 / ALARM_RATE
"""Capital of the bet at which the alarm is raised."""

CENTRE = float(logit(0.7))
"""Chance around which a forecast is called too bold or too timid, in log odds. (J)"""

SHIFTS = (-1.2, -0.8, -0.4, 0.0, 0.4, 0.8, 1.2)
"""Log odds by which the bet supposes stated chances to be off. (J)"""

SLOPES = (0.5, 1.0, 2.0)
"""Factors by which it supposes their distance from the centre to be off. (J)"""

BETS = tuple(bet for bet in product(SHIFTS, SLOPES) if bet != (0.0, 1.0))
"""What is bet on, in equal parts: every shift with every slope but none at all."""

Fault = Literal["too high", "too low", "too bold", "too timid"]
"""In which way chances were off."""


@dataclass(frozen=True, slots=True)
class Litters:
    """Litters that came of scored forecasts, against those that were to be expected.

    Attributes
    ----------
    n, n_whelped
        Scored breedings, and litters.
    expected
        Sum of the stated chances, with the 90 % interval of the number that right chances give.
    difference
        Litters that came less litters expected, with the interval of the difference: 0 lies outside
        where right chances would give such a number in fewer than one in ten cases.
    as_few_prob, as_many_prob
        Chance of so few, and of so many, under the stated chances. [0 to 1]
    """

    n: int
    n_whelped: int
    expected: Estimate
    difference: Estimate
    as_few_prob: float
    as_many_prob: float


@dataclass(frozen=True, slots=True)
class Band:
    """Scored breedings of neighboring chances: mean stated, and share of litters. [0 to 1]"""

    n: int
    lowest: float
    highest: float
    stated: float
    share: Estimate


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the bet against the stated chances has come to.

    Attributes
    ----------
    capital, highest
        Now, and at its highest; it began at 1.
    raised_on
        Day of the breeding at which the alarm was raised; None while it was not.
    fault
        In which way the chances are off by all that is known now, where the alarm was raised.
    """

    capital: float
    highest: float
    raised_on: date | None
    fault: Fault | None


@dataclass(frozen=True, slots=True)
class Record:
    """What became of the chances of one who states them: the model, or people.

    Attributes
    ----------
    n_stated, n_counting
        Chances stated, and those that count: one for a breeding, whoever stated it.
    n_known, n_settled, n_missing
        Of these: with a known outcome; of them those that are summed by now; and those past their
        latest day of whelping of which nobody reported any.
    n_replayed
        Counting ones that were worked out later from the records of their day.
    n_older
        Counting ones that another version of the model made than today's.
    n_withdrawn
        Stated for a breeding that somebody took out of the records.
    litters
        None while nothing is summed.
    by_semen_type
        The same by semen type.
    scores
        By way of predicting: ``stated``, ``published`` where there is one for each, ``raw``, and of
        people ``model``. Empty below :data:`N_FOR_SCORES`.
    bands
        Empty below :data:`N_FOR_CALIBRATION`.
    evidence
        None while nothing is summed.
    """

    n_stated: int
    n_counting: int
    n_known: int
    n_settled: int
    n_missing: int
    n_replayed: int
    n_older: int
    n_withdrawn: int
    litters: Litters | None
    by_semen_type: Mapping[str, Litters]
    scores: Mapping[str, Scores]
    bands: tuple[Band, ...]
    evidence: Evidence | None

    @property
    def is_off(self) -> bool:
        """Whether the alarm was raised."""
        return self.evidence is not None and self.evidence.raised_on is not None

    @property
    def standing_out(self) -> tuple[str, ...]:
        """Semen types whose litters right chances would seldom give, the most striking first.

        Where the alarm was raised over chances that are too high these are the ones with too few
        litters, over chances that are too low those with too many; else both.
        """
        fault = None if self.evidence is None else self.evidence.fault
        tails = {}
        for kind, one in self.by_semen_type.items():
            few, many = one.as_few_prob, one.as_many_prob
            tails[kind] = {"too high": few, "too low": many}.get(fault or "", min(few, many))
        striking = [kind for kind, tail in tails.items() if tail < ALARM_RATE / 2.0]
        return tuple(sorted(striking, key=lambda kind: tails[kind]))


@dataclass(frozen=True, slots=True)
class Ledger:
    """Every stated chance and what became of it.

    Attributes
    ----------
    model, people
        Their records; people's is None where nobody stated a chance.
    rows
        Rows of the view ``forecasts``, the latest first, with ``is_settled``.
    """

    model: Record
    people: Record | None
    rows: pd.DataFrame


def ledger_of(
    forecasts: pd.DataFrame, breedings: pd.DataFrame, today: date, *, model: str | None = None
) -> Ledger:
    """Score what was stated.

    Parameters
    ----------
    forecasts, breedings
        The views of these names, without the dogs that a caution stops.
    today
        Day of the question.
    model
        Name and version of today's model, as ``model_fingerprint`` has it; None where nobody asks
        which of them made a chance.
    """
    bred_on = forecasts["bred_earliest"].astype("datetime64[us]").dt.normalize()
    since = (pd.Timestamp(today) - bred_on).dt.days
    rows = forecasts.assign(is_settled=since.ge(SETTLED_DAYS).fillna(False).astype(bool))
    by_model = rows[rows["stated_by"] == "model"]
    by_people = rows[rows["stated_by"] == "person"]
    n_older = 0
    if model is not None:
        is_older = ~by_model["model_fingerprint"].isin([model, f"published:{model}"])
        n_older = int((is_older & by_model["counts"].astype(bool)).sum())
    return Ledger(
        _record(by_model, breedings, None, n_older=n_older),
        None if by_people.empty else _record(by_people, breedings, by_model),
        rows.sort_values("forecast_id", ascending=False),
    )


def _record(
    rows: pd.DataFrame, breedings: pd.DataFrame, model: pd.DataFrame | None, *, n_older: int = 0
) -> Record:
    counting = rows[rows["counts"].astype(bool)]
    known = counting["whelped"].notna()
    settled = _in_order(counting[known & counting["is_settled"]])
    missing = counting["is_settled"] & ~counting["outcome_known"].astype("boolean").fillna(False)
    n = len(settled)
    prob = settled["litter_prob"].to_numpy(dtype=np.float64)
    whelped: Floats = settled["whelped"].astype(bool).to_numpy().astype(np.float64)
    kinds = settled["semen_type"].to_numpy(dtype=str)
    return Record(
        n_stated=len(rows),
        n_counting=len(counting),
        n_known=int(known.sum()),
        n_settled=n,
        n_missing=int(missing.sum()),
        n_replayed=int((counting["command"] == "replay").sum()),
        n_older=n_older,
        n_withdrawn=int((rows["standing"] == "withdrawn").sum()),
        litters=litters_against(prob, whelped) if n else None,
        by_semen_type={
            str(kind): litters_against(prob[kinds == kind], whelped[kinds == kind])
            for kind in np.unique(kinds)
        },
        scores=_scores(settled, prob, whelped, breedings, model),
        bands=calibration_bands(prob, whelped) if n >= N_FOR_CALIBRATION else (),
        evidence=evidence_against(prob, whelped, settled["bred_earliest"]) if n else None,
    )


def _in_order(settled: pd.DataFrame) -> pd.DataFrame:
    """Breedings as they came into the sum; of those of one day the result that was loaded first."""
    bred_on = settled["bred_earliest"].astype("datetime64[us]").dt.normalize()
    known_on = settled["known_on"].astype("datetime64[us]")
    since = pd.concat([bred_on + pd.Timedelta(days=SETTLED_DAYS), known_on], axis=1).max(axis=1)
    return (
        settled.assign(summed_on=since)
        .sort_values(["summed_on", "known_load_id", "forecast_id"], kind="stable")
        .drop(columns="summed_on")
    )


def count_probs(prob: Floats) -> Floats:
    r"""Distribution of the number of litters under independent stated chances.

    .. math:: \Pr(N = k) = [z^k] \prod_i (1 - p_i + p_i z)

    the Poisson binomial distribution; multiplied out, which is exact. Wang 1993, Stat Sinica
    3:295-312 (M).

    Parameters
    ----------
    prob
        Chances, shape (n,). [0 to 1]

    Returns
    -------
    numpy.ndarray
        Probability of each number from 0 to n.
    """
    found: Floats = np.ones(1)
    for p in prob:
        found = np.convolve(found, [1.0 - p, p])
    return found


def litters_against(prob: Floats, whelped: Floats) -> Litters:
    """Set the litters that came against the stated chances.

    Parameters
    ----------
    prob, whelped
        Stated chance and outcome (1 or 0), shape (n,), n at least 1.
    """
    chances = count_probs(prob)
    below = np.cumsum(chances)
    low, _, high = (int(np.searchsorted(below, q - 1e-12)) for q in interval_quantiles())
    n_whelped, expected = int(whelped.sum()), float(prob.sum())
    # Of a few chances near one the mean lies outside the interval of the whole number.
    lower, upper = min(float(low), expected), max(float(high), expected)
    return Litters(
        len(prob),
        n_whelped,
        Estimate(expected, lower, upper),
        Estimate(n_whelped - expected, n_whelped - upper, n_whelped - lower),
        float(min(1.0, below[n_whelped])),
        float(min(1.0, chances[n_whelped:].sum())),
    )


def plain_rates(forecasts: pd.DataFrame, breedings: pd.DataFrame) -> Floats:
    """Share of litters of the same semen type among all other bitches, never 0 or 1.

    Half a litter and half a miss are added, as Jeffreys' prior does. The share knows breedings that
    came later, which no forecast did.

    Parameters
    ----------
    forecasts
        Rows of the view ``forecasts``.
    breedings
        The view of this name.

    Returns
    -------
    numpy.ndarray
        One a forecast. [0 to 1]
    """
    known = breedings[breedings["whelped"].notna()]
    known = known.assign(came=known["whelped"].astype(bool).astype(np.float64))
    of_kind = known.groupby("semen_type")["came"].agg(["sum", "count"])
    of_hers = known.groupby(["semen_type", "bitch"])["came"].agg(["sum", "count"])
    kinds = forecasts["semen_type"]
    hers = pd.MultiIndex.from_frame(forecasts[["semen_type", "bitch"]])
    others = of_kind.reindex(kinds).fillna(0.0).to_numpy(dtype=np.float64)
    others = others - of_hers.reindex(hers).fillna(0.0).to_numpy(dtype=np.float64)
    return np.asarray((others[:, 0] + 0.5) / (others[:, 1] + 1.0))


def _scores(
    settled: pd.DataFrame,
    prob: Floats,
    whelped: Floats,
    breedings: pd.DataFrame,
    model: pd.DataFrame | None,
) -> dict[str, Scores]:
    """Scores of the stated chances and of other ways of predicting the same breedings."""
    bitch = settled["bitch"].to_numpy(dtype=str)
    if len(settled) < N_FOR_SCORES or len(np.unique(bitch)) < 2:
        return {}
    ways = {"stated": prob}
    published = settled["published_litter_prob"].to_numpy(dtype=np.float64)
    if model is not None:
        counting = model[model["counts"].astype(bool)].set_index("breeding_id")["litter_prob"]
        ways["model"] = counting.reindex(settled["breeding_id"]).to_numpy(dtype=np.float64)
    ways |= {"published": published, "raw": plain_rates(settled, breedings)}
    return {
        way: scores(chances, whelped, bitch, model=prob)
        for way, chances in ways.items()
        if np.isfinite(chances).all()
    }


def calibration_bands(prob: Floats, whelped: Floats) -> tuple[Band, ...]:
    """Group breedings by stated chance into bands of nearly equal number.

    Parameters
    ----------
    prob, whelped
        Stated chance and outcome (1 or 0), shape (n,).

    Returns
    -------
    tuple of Band
        From the lowest chance up, each with at least :data:`FEWEST_IN_BAND` breedings and the exact
        interval of its share (Clopper & Pearson 1934, Biometrika 26:404-413 (M)).
    """
    n_bands = min(MOST_BANDS, len(prob) // FEWEST_IN_BAND)
    if not n_bands:
        return ()
    bands = []
    for chosen in np.array_split(np.argsort(prob, kind="stable"), n_bands):
        share = exact_share(int(whelped[chosen].sum()), len(chosen))
        assert share is not None
        stated = prob[chosen]
        bands.append(
            Band(len(chosen), float(stated.min()), float(stated.max()), float(stated.mean()), share)
        )
    return tuple(bands)


def log_capitals(prob: Floats, whelped: Floats) -> Floats:
    """Log capital of each part of the bet after each breeding.

    Parameters
    ----------
    prob, whelped
        Stated chance and outcome (1 or 0) in the order in which breedings are summed, shape (n,).

    Returns
    -------
    numpy.ndarray
        Shape (n, number of :data:`BETS`).
    """
    shift, slope = np.array(BETS).T
    stated = logit(prob)[:, None]
    supposed = CENTRE + shift + slope * (stated - CENTRE)
    sign = np.where(whelped == 1.0, 1.0, -1.0)[:, None]
    # log expit, written so that no chance near 0 or 1 loses its digits
    ratio = -np.logaddexp(0.0, -sign * supposed) + np.logaddexp(0.0, -sign * stated)
    return np.asarray(np.cumsum(ratio, axis=0))


def capital(log_capital: Floats) -> Floats:
    """Capital of the whole bet after each breeding, from :func:`log_capitals`; it began at 1."""
    return np.asarray(np.exp(log_capital).mean(axis=1))


def evidence_against(prob: Floats, whelped: Floats, bred_at: pd.Series[Any]) -> Evidence:
    """Bet against the stated chances, breeding by breeding.

    Parameters
    ----------
    prob, whelped, bred_at
        Stated chance, outcome (1 or 0) and first mating, in the order in which they are summed.
    """
    parts = log_capitals(prob, whelped)
    whole = capital(parts)
    raised = np.flatnonzero(whole >= ALARM_CAPITAL)
    if not len(raised):
        return Evidence(float(whole[-1]), float(max(1.0, whole.max())), None, None)
    return Evidence(
        float(whole[-1]),
        float(whole.max()),
        bred_at.iloc[int(raised[0])].date(),
        _fault(np.exp(parts[-1] - parts[-1].max())),
    )


def _fault(weight: Floats) -> Fault:
    """The way of being off that most of the capital was won with; a part may be of two ways."""
    shift, slope = np.array(BETS).T
    won: dict[Fault, float] = {
        "too high": float(weight[shift < 0.0].sum()),
        "too low": float(weight[shift > 0.0].sum()),
        "too bold": float(weight[slope < 1.0].sum()),
        "too timid": float(weight[slope > 1.0].sum()),
    }
    return max(won, key=lambda fault: won[fault])
