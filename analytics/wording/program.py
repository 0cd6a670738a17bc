"""From numbers to a fixed set of sentences.

Each sentence is chosen by a stated rule and carries its interval; its words stand in the catalog.
Words are associations, never effects: what goes with what, in these records. No sentence tells
anyone what to do with an animal.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

import pandas as pd

from studcurve.analytics.estimate import INTERVAL_Z, Estimate, RecordsWeight
from studcurve.analytics.measures.doses import SHIPMENT_HOURS
from studcurve.analytics.measures.missing import missing_outcomes, scanned_empty
from studcurve.analytics.sentences import Sentence, sentence

if TYPE_CHECKING:
    # The model behind it takes seconds to import, and no other sentence here needs it.
    from studcurve.analytics.models.conception.bred import BreedingsChance

DAYS_OF_A_YEAR = 365
"""What "the last year" means. [d]"""

N_LAST_SAMPLES = 5
"""Samples that stand for "now"; fewer are never called a trend. (rule of this toolkit)"""


def samples_sentence(stud: str, readings: pd.DataFrame, *, is_alarming: bool = False) -> Sentence:
    """What the last samples held; no trend is claimed.

    Parameters
    ----------
    stud
        Call name.
    readings
        Raw samples with measures, any order.
    is_alarming
        Whether a caution speaks of them; then nothing is said of how far sound studs differ.
    """
    plain = "_plain" if is_alarming else ""
    counted = readings[readings["total_sperm_m"].notna()].sort_values("collected_earliest")
    if counted.empty:
        return sentence("answer.no_counted_sample", stud=stud)
    last = counted.tail(N_LAST_SAMPLES)
    total = last["total_sperm_m"]
    motility = last["progressive_motility_pct"].dropna()
    if motility.empty:
        moving = sentence("answer.moving_not_read")
    elif motility.max() > motility.min():
        moving = sentence(
            "answer.moving_between", low=float(motility.min()), high=float(motility.max())
        )
    else:
        moving = sentence("answer.moving", value=float(motility.max()))
    days = last["collected_earliest"].dt.date
    if len(last) == 1:
        return sentence(
            f"answer.one_sample{plain}",
            stud=stud,
            on=days.iloc[0],
            total=float(total.iloc[0]),
            moving=moving,
        )
    return sentence(
        f"answer.last_samples{plain}",
        stud=stud,
        n=len(last),
        first_on=days.iloc[0],
        last_on=days.iloc[-1],
        low=float(total.min()),
        high=float(total.max()),
        moving=moving,
    )


def fit_age_sentence(n_records: int, fitted_on: date) -> Sentence:
    """How many records the fit behind a page has not seen.

    Parameters
    ----------
    n_records
        Lines loaded since, at least one.
    fitted_on
        Day of the fit.
    """
    return sentence("answer.fit_older", n=n_records, on=fitted_on)


def level_age_sentence(n_records: int, fitted_on: date) -> Sentence:
    """How many records the levels over time have not seen; arguments as for the chances."""
    return sentence("level.older", n=n_records, on=fitted_on)


def litters_sentence(stud: str, chance: BreedingsChance) -> Sentence:
    """How his breedings came out, against what published work alone would expect of them.

    Parameters
    ----------
    stud
        Call name.
    chance
        Of all his breedings.
    """
    if chance.own is None:
        return sentence("answer.no_outcome_known", stud=stud, published=chance.published)
    return sentence(
        "answer.litters",
        n_known=chance.n_known,
        n_whelped=chance.n_whelped,
        own=chance.own,
        published=chance.published,
        together=chance.together,
        speaking=speaking_sentence(chance.records_weight),
    )


def speaking_sentence(weight: RecordsWeight) -> Sentence:
    """How much of a number the records supply and moved it, or that they cannot speak yet."""
    if weight.is_nothing:
        return sentence("answer.records_cannot_speak")
    return sentence("answer.records_weight", share=weight.share, shift=weight.shift_sds)


def program_sentences(
    breedings: pd.DataFrame, today: date, *, overdue_days: int
) -> tuple[Sentence, ...]:
    """What the last year held, and what came of all breedings: unknown outcomes first.

    Parameters
    ----------
    breedings
        The view of that name.
    today
        The day the question is asked.
    overdue_days
        Days after which an outcome should be known. [d]
    """
    since = (pd.Timestamp(today) - breedings["bred_earliest"]).dt.days
    n_year = int(since.between(0, DAYS_OF_A_YEAR).sum())
    due = breedings[since > overdue_days]
    missing = missing_outcomes(due)
    unreported = (
        sentence("answer.unreported", n=missing.n_missing)
        if missing.n_missing
        else sentence("answer.all_reported")
    )
    sentences = [sentence("answer.year", n=n_year, n_all=len(breedings), unreported=unreported)]
    if missing.n_known:
        sentences.append(
            sentence(
                "answer.program",
                n_known=missing.n_known,
                n_whelped=missing.n_litters,
                if_none=missing.lowest_share,
                if_all=missing.highest_share,
                scanned=scanned_empty(missing),
            )
        )
    return tuple(sentences)


def shipment_sentence(
    stud: str, collected_on: date, kept: Sequence[tuple[float, Estimate]]
) -> Sentence:
    """What a dose held when it was packed, and is expected to hold two days later.

    Parameters
    ----------
    stud
        Call name.
    collected_on
        Day of the collection.
    kept
        Hours after the collection and what is left. [h; 10⁶ progressively motile]
    """
    by_hour = dict(kept)
    start, later = by_hour.get(0.0), by_hour.get(SHIPMENT_HOURS)
    if start is None or later is None:
        return sentence("answer.shipment_not_counted", stud=stud, on=collected_on)
    return sentence(
        "answer.shipment", stud=stud, on=collected_on, start=start.median,
        n_hours=int(SHIPMENT_HOURS),
        later=later.median, later_range=later, prob_pct=round(100 * later.interval_prob),
    )  # fmt: skip


def ovulation_sentence(bitch: str, on: date, sd_days: float, *, is_dated: bool) -> Sentence:
    """When she ovulated, or that it is not known surely enough for a date.

    Parameters
    ----------
    bitch
        Call name.
    on
        Middle of the posterior.
    sd_days
        Its standard deviation. [d]
    is_dated
        Whether a day may be named: the rise was seen, and the day is known well enough.
    """
    if not is_dated:
        return sentence("answer.ovulation_not_yet", bitch=bitch)
    return sentence("answer.ovulation", bitch=bitch, on=on, days=INTERVAL_Z * sd_days)


def use_sentence(first_day: int, last_day: int) -> Sentence:
    """Days from ovulation on which chilled semen is used, as far as the sources reach."""
    return sentence("answer.use_chilled", first=first_day, last=last_day)
