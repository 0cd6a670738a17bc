"""From numbers to a fixed set of sentences.

Each sentence is made by a stated rule and carries its interval. Words are associations, never
effects: what goes with what, in these records. No sentence tells anyone what to do with an animal.
"""

from __future__ import annotations

import pandas as pd

from analytics.cautions import day
from analytics.estimate import Estimate

SPEAKING_SHARE = 0.10
"""Below this share of own information the records cannot speak yet. (rule of this toolkit)"""

N_LAST_SAMPLES = 5
"""Samples that stand for "now"; fewer are never called a trend. (rule of this toolkit)"""


def samples_sentence(stud: str, readings: pd.DataFrame) -> str:
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
        return f"No sample of {stud} has a volume and a count, so nothing is said of his numbers."
    last = counted.tail(N_LAST_SAMPLES)
    total = last["total_sperm_m"]
    several = len(last) > 1
    spread = f"{total.min():,.0f} to {total.max():,.0f} M sperm" if several else (
        f"{total.iloc[0]:,.0f} M sperm"
    )  # fmt: skip
    motility = last["progressive_motility_pct"].dropna()
    moving = ""
    if not motility.empty:
        low, high = motility.min(), motility.max()
        moving = f", with {low:.0f} to {high:.0f} % read as moving forward" if high > low else (
            f", with {low:.0f} % read as moving forward"
        )  # fmt: skip
    first_on, last_on = last["collected_earliest"].iloc[0], last["collected_earliest"].iloc[-1]
    when = f"{day(first_on)} to {day(last_on)}" if several else day(last_on)
    which = f"{stud}'s last {len(last)} counted samples" if several else f"{stud}'s counted sample"
    return (
        f"{which} ({when}) held {spread}{moving}; single samples of a sound stud differ by a third "
        "or more, so this alone is no trend."
    )


def litters_sentence(
    stud: str,
    *,
    n_known: int,
    n_whelped: int,
    own: Estimate | None,
    published: Estimate,
    together: Estimate,
    share_from_records: float,
) -> str:
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
        return (
            f"No outcome of a breeding of {stud} is known; published work alone would expect "
            f"{_percent(published)} of them to give a litter."
        )
    if share_from_records < SPEAKING_SHARE:
        speaking = "the records cannot speak yet, so this is nearly all published work"
    else:
        speaking = (
            f"{100 * share_from_records:.0f} % of that is known from these records, the rest from "
            "published work"
        )
    return (
        f"Of his {n_known} breedings with a known outcome {n_whelped} gave a litter "
        f"({_percent(own)}), where published work alone would expect {_percent(published)}; "
        f"together the chance for such breedings is {_percent(together)}, and {speaking}."
    )


def _percent(estimate: Estimate) -> str:
    """A chance in percent with its interval."""
    return (
        f"{100 * estimate.median:.0f} %, {100 * estimate.interval_prob:.0f} % interval "
        f"{100 * estimate.lower:.0f} to {100 * estimate.upper:.0f}"
    )
