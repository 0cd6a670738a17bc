"""What breedings and the bitch's age and past say; questions for a veterinarian before the next."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd

from studcurve.analytics.cautions import words
from studcurve.analytics.cautions.illness import RECENT_DAYS
from studcurve.analytics.cautions.lifting import of_kind, that_lift
from studcurve.analytics.cautions.records import Caution, DogRecords, as_date, until
from studcurve.analytics.measures.missing import missing_outcomes, scanned_empty
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.sentences import sentence

FAILURES_TO_REFER = 2
"""Successive empty breedings after which the bitch and the stud are for a veterinarian. (M)"""

GROWN_YEARS, SMALL_GROWN_YEARS, SMALL_BELOW_KG = 2.0, 1.5, 10.0
"""Ages before which a bitch is mostly not grown, and the weight that makes a small one. [y; kg]

About 2 years, toy and small breeds as early as 18 months: Cecere, American Kennel Club (P); the
weight is the upper end of the small class of the priors table (J)."""

OLD_AT_WHELPING_YEARS, GESTATION_DAYS = 8.0, 63
"""Age at whelping from which a litter is asked to be the exception; days to it. [y; d]

The Kennel Club (UK), rule B22c (2): only with an earlier litter and veterinary evidence (P)."""

LATE_FIRST_LITTER_YEARS = 6.0
"""Age after which a first litter is talked over with a veterinarian; common practice, no source.

Bitches of up to 6 years did best with frozen semen: Thomassen 2006 (P)."""

EXAMINED_WITHIN_DAYS = 90
"""An examination of an old bitch counts for so long: about from one heat's start to its end. (J)"""

CESAREANS_TO_REFER = 1
"""From so many cesareans on a litter is talked over beforehand; two, and one kennel club registers
no further litter: The Kennel Club (UK), rule B22c (P)."""

BETWEEN_LITTERS_DAYS = 365
"""Two litters of a bitch within so long are asked about. [d]

One litter in twelve months is the most that some laws allow a licensed breeder, from memory (M)."""


def successive_failures(records: DogRecords, today: date) -> list[Caution]:
    """Two breedings in a row without a litter are a question for a veterinarian."""
    known = until(records.breedings, "bred_earliest", today)
    if known.empty:
        return []
    known = known[known["whelped"].notna()].sort_values("bred_earliest")
    run = 0
    for whelped in reversed(known["whelped"].astype(bool).tolist()):
        if whelped:
            break
        run += 1
    if run < FAILURES_TO_REFER:
        return []
    return [
        Caution(
            "successive failures",
            "warn",
            sentence("caution.successive_failures", n=run, dog=records.dog),
            "trade memory (M)",
        )
    ]


def bitch_age(records: DogRecords, today: date) -> list[Caution]:
    """A bitch not yet grown, old at the whelping, or late for a first litter: for a veterinarian.

    An old one stops the plan until an examination is entered; the others never: kennel clubs allow
    exceptions, and a person who has examined her decides.
    """
    row = records.row
    if row is None or row["sex"] != "female" or pd.isna(row["born_on"]):
        return []
    days = (today - as_date(row["born_on"])).days
    years = days / DAYS_PER_YEAR
    is_small = records.weight_kg < SMALL_BELOW_KG
    if years < (SMALL_GROWN_YEARS if is_small else GROWN_YEARS):
        rule, source = "bitch young", "Cecere, American Kennel Club (P)"
    elif days + GESTATION_DAYS >= DAYS_PER_YEAR * OLD_AT_WHELPING_YEARS:
        return [_bitch_old(records, years, today)]
    elif years > LATE_FIRST_LITTER_YEARS and not _has_whelped(records, today):
        rule, source = "first litter late", "common practice, no source"
    else:
        return []
    key = f"caution.{rule.replace(' ', '_')}"
    return [Caution(rule, "warn", sentence(key, dog=records.dog, years=years), source)]


def _bitch_old(records: DogRecords, years: float, today: date) -> Caution:
    source = "The Kennel Club (UK), rule B22c (2) (P)"
    since = today - timedelta(days=EXAMINED_WITHIN_DAYS)
    was_seen = any(
        line.on >= since
        and line.result.strip()
        and words.organ_of(line.what) in ("breeding", "general")
        for line in that_lift(records.health, "examination", today)
    )
    if was_seen:
        message = sentence("caution.bitch_old", dog=records.dog, years=years)
        return Caution("bitch old", "warn", message, source)
    message = sentence("caution.bitch_old_not_examined", dog=records.dog, years=years,
                    n_days=EXAMINED_WITHIN_DAYS)  # fmt: skip
    return Caution("bitch old", "stop", message, source, frozenset({"plan"}))


def _has_whelped(records: DogRecords, today: date) -> bool:
    """Whether a litter of hers is recorded, before the records begin or in them."""
    before = None if records.row is None else records.row["n_litters_before"]
    known = until(records.breedings, "bred_earliest", today)
    in_records = not known.empty and known["whelped"].fillna(False).astype(bool).any()
    return bool(in_records or (not pd.isna(before) and before > 0))


def cesareans(records: DogRecords, today: date) -> list[Caution]:
    """Earlier cesareans of a bitch."""
    days = [
        event.on
        for event in of_kind(records.health, "event", today)
        if words.is_cesarean(f"{event.what} {event.result}")
    ]
    if len(days) < CESAREANS_TO_REFER:
        return []
    message = sentence("caution.cesareans", dog=records.dog, n=len(days), on=max(days))
    return [Caution("cesareans", "warn", message, "The Kennel Club (UK), rule B22c (P)")]


def litter_recent(records: DogRecords, today: date) -> list[Caution]:
    """A bitch that whelped within the last year."""
    if not records.is_female or records.breedings.empty:
        return []
    whelped = pd.to_datetime(records.breedings["whelped_on"]).dropna()
    whelped = whelped[whelped <= pd.Timestamp(today)]
    if (
        whelped.empty
        or (today - as_date(whelped.max())).days + GESTATION_DAYS >= BETWEEN_LITTERS_DAYS
    ):
        return []
    message = sentence("caution.litter_recent", dog=records.dog, on=as_date(whelped.max()))
    return [Caution("litter recent", "say", message, "local law; from memory (M)")]


def outcome_unknown(records: DogRecords, today: date, *, with_shares: bool) -> list[Caution]:
    """Outcomes not reported back are counted, with what they could change.

    Without shares where a stop keeps them back: the two extremes would tell the dog's own.
    """
    bred = until(records.breedings, "bred_earliest", today)
    if bred.empty:
        return []
    due_since = pd.Timestamp(today) - pd.Timedelta(days=RECENT_DAYS)
    overdue = bred[bred["whelped"].isna() & (bred["bred_earliest"] < due_since)]
    if overdue.empty:
        return []
    missing = missing_outcomes(bred[bred["whelped"].notna() | (bred["bred_earliest"] < due_since)])
    n, n_bred = missing.n_missing, missing.n_breedings
    message = sentence("caution.outcome_missing", n=n, dog=records.dog, n_bred=n_bred)
    if with_shares:
        message = sentence(
            "caution.outcome_unknown",
            n=n,
            dog=records.dog,
            n_bred=n_bred,
            if_none=missing.lowest_share,
            if_all=missing.highest_share,
            scanned=scanned_empty(missing),
        )
    return [Caution("outcome unknown", "say", message, "counted from the records")]
