"""From numbers to a fixed set of sentences.

Each sentence is chosen by a stated rule and carries its interval; its words stand in the catalog.
Words are associations, never effects: what goes with what, in these records. No sentence tells
anyone what to do with an animal.
"""

from __future__ import annotations

from datetime import date

import pandas as pd

from analytics.estimate import Estimate
from analytics.sentences import Sentence, sentence

SPEAKING_SHARE = 0.10
"""Below this share of own information the records cannot speak yet. (rule of this toolkit)"""

N_LAST_SAMPLES = 5
"""Samples that stand for "now"; fewer are never called a trend. (rule of this toolkit)"""


def samples_sentence(stud: str, readings: pd.DataFrame) -> Sentence:
    """What the last samples held; no trend is claimed.

    Parameters
    ----------
    stud
        Call name.
    readings
        Raw samples with measures, any order.
    """
    counted = readings[readings["total_sperm_m"].notna()].sort_values("collected_earliest")
    if counted.empty:
        return sentence("said.no_counted_sample", stud=stud)
    last = counted.tail(N_LAST_SAMPLES)
    total = last["total_sperm_m"]
    motility = last["progressive_motility_pct"].dropna()
    if motility.empty:
        moving = sentence("said.moving_not_read")
    elif motility.max() > motility.min():
        moving = sentence(
            "said.moving_between", low=float(motility.min()), high=float(motility.max())
        )
    else:
        moving = sentence("said.moving", value=float(motility.max()))
    days = last["collected_earliest"].dt.date
    if len(last) == 1:
        return sentence(
            "said.one_sample", stud=stud, on=days.iloc[0], total=float(total.iloc[0]), moving=moving
        )
    return sentence(
        "said.last_samples",
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
    return sentence("said.fit_older", n=n_records, on=fitted_on)


def litters_sentence(
    stud: str,
    *,
    n_known: int,
    n_whelped: int,
    own: Estimate | None,
    published: Estimate,
    together: Estimate,
    share_from_records: float,
) -> Sentence:
    """How his breedings came out, against what published work alone would expect of them.

    Parameters
    ----------
    stud
        Call name.
    n_known, n_whelped
        Breedings with a known outcome, and litters.
    own, published, together
        Share among the known with its interval; mean chance of all his breedings before and after
        the records. [0 to 1]
    share_from_records
        Share of the last that the records supply, 0 to 1.
    """
    if own is None:
        return sentence("said.no_outcome_known", stud=stud, published=published)
    if share_from_records < SPEAKING_SHARE:
        speaking = sentence("said.records_cannot_speak")
    else:
        speaking = sentence("said.share_from_records", share=share_from_records)
    return sentence(
        "said.litters",
        n_known=n_known,
        n_whelped=n_whelped,
        own=own,
        published=published,
        together=together,
        speaking=speaking,
    )
