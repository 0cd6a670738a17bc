"""What must be said before any number: fixed rules from the records, each with its source.

The rules read the records alone, never a model. Their sentences head every answer. A rule of
severity ``stop`` names the answers it suppresses; those numbers then appear nowhere, whichever way
the question is asked. A caution is a reason to call a veterinarian, never a diagnosis, and no rule
here lifts another: only a person who has examined the animal can do that.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import pandas as pd

from analytics.sentences import Sentence, Word, sentence

Severity = Literal["stop", "warn", "say"]
"""``stop`` suppresses numbers, ``warn`` heads the answer, ``say`` is part of an honest answer."""

Answer = Literal["doses", "box", "conception", "plan", "forecast"]
"""The kinds of number a stop can suppress."""

BRUCELLA_RETEST_DAYS = 365
"""Longest age of a negative *Brucella* test before the page asks for a new one. [d]

At least yearly for studs: Hollett 2006, Theriogenology 66:575-587 (P)."""

BRUCELLA_WINDOW_DAYS = 28
"""A negative test this soon after contact does not clear. [d]

Agglutination turns positive 1 to 4 weeks after exposure: University of Guelph Animal Health
Laboratory, LabNote 61 (P)."""

RECENT_DAYS = 70
"""How long a sign of illness stays in the first lines of a stud's pages. [d]

Spermatogenesis 61.9 d (Soares 2009, J Anat) and about 10 d in the epididymis (M)."""

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

ILLNESS_EVENTS = frozenset({"fever", "pain", "swelling", "prostatic disease", "injury"})
"""Recorded events that hold back doses until a veterinarian has seen the dog."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One sentence that heads an answer.

    Attributes
    ----------
    rule
        Name of the rule that spoke.
    severity
        See :data:`Severity`.
    sentence
        What the reader is told, by its key and values.
    source
        Author, year, journal and mark, or that it is a rule of this toolkit.
    stops
        The answers suppressed; empty unless the severity is ``stop``.
    """

    rule: str
    severity: Severity
    sentence: Sentence
    source: str
    stops: frozenset[Answer] = frozenset()


@dataclass(frozen=True, slots=True)
class DogRecords:
    """The records of one dog that the rules read, as the views give them.

    Attributes
    ----------
    dog
        Call name.
    evaluations, lab_tests, events, breedings
        Rows of that dog alone; columns as in the views of the same names. May be empty.
    row
        The dog's own row of the view ``dogs``; None for a dog without one.
    """

    dog: str
    evaluations: pd.DataFrame
    lab_tests: pd.DataFrame
    events: pd.DataFrame
    breedings: pd.DataFrame
    row: Mapping[Any, Any] | None = None


def stopped_answers(cautions: Iterable[Caution]) -> frozenset[Answer]:
    """Collect every answer that at least one caution suppresses."""
    return frozenset[Answer]().union(*(caution.stops for caution in cautions))


def cautions_for_dog(records: DogRecords, today: date) -> tuple[Caution, ...]:
    """Evaluate every rule for one dog, the most severe first.

    Parameters
    ----------
    records
        The dog's rows.
    today
        The day the question is asked; nothing later in the records is read.

    Returns
    -------
    tuple of Caution
        Stops, then warnings, then what must be said; in each the order of the rules.
    """
    spoken = [
        *brucella(records, today),
        *no_sperm_seen(records, today),
        *discolored_sample(records, today),
        *illness(records, today),
        *successive_failures(records, today),
        *bitch_age(records, today),
    ]
    spoken += outcome_unknown(
        records, today, with_shares="conception" not in stopped_answers(spoken)
    )
    order: dict[Severity, int] = {"stop": 0, "warn": 1, "say": 2}
    return tuple(sorted(spoken, key=lambda caution: order[caution.severity]))


def brucella(records: DogRecords, today: date) -> list[Caution]:
    """*Brucella canis* status: positive or suspect stops, absence is said first.

    A positive or suspect result is never outweighed by a later negative here: confirmation and
    release are a veterinarian's, and in many places the law's.
    """
    source = "Hollett 2006, Theriogenology 66:575-587; Guelph AHL LabNote 61 (P)"
    tests = _until(records.lab_tests, "sampled_on", today)
    if not tests.empty:
        tests = tests[tests["what"].str.contains("brucella", case=False, na=False)]
    if tests.empty:
        return [
            Caution(
                "brucella not recorded",
                "warn",
                sentence("caution.brucella_not_recorded", dog=records.dog),
                source,
            )
        ]
    results = tests["result"].str.lower()
    alarming = tests[results.isin(["positive", "suspect"])]
    if not alarming.empty:
        last = alarming.sort_values("sampled_on").iloc[-1]
        return [
            Caution(
                "brucella positive or suspect",
                "stop",
                sentence(
                    "caution.brucella_positive_or_suspect",
                    dog=records.dog,
                    what=str(last["what"]),
                    result=Word("result", str(last["result"]).lower()),
                    on=_as_date(last["sampled_on"]),
                ),
                source,
                frozenset({"doses", "box", "plan", "conception", "forecast"}),
            )
        ]
    negative = tests[results == "negative"]
    if negative.empty:
        return [
            Caution(
                "brucella result missing",
                "warn",
                sentence("caution.brucella_result_missing", dog=records.dog),
                source,
            )
        ]
    last_on = _as_date(negative["sampled_on"].max())
    age_days = (today - last_on).days
    if age_days > BRUCELLA_RETEST_DAYS:
        return [
            Caution(
                "brucella test old",
                "warn",
                sentence("caution.brucella_test_old", dog=records.dog, on=last_on, n_days=age_days),
                source,
            )
        ]
    return [
        Caution(
            "brucella negative",
            "say",
            sentence(
                "caution.brucella_negative",
                dog=records.dog,
                on=last_on,
                n_days=BRUCELLA_WINDOW_DAYS,
            ),
            source,
        )
    ]


def no_sperm_seen(records: DogRecords, today: date) -> list[Caution]:
    """A last raw sample without sperm stops doses and forecasts."""
    raw = _raw_samples(records.evaluations, today)
    if raw.empty or not _shows_no_sperm(raw.iloc[-1]):
        return []
    sample = raw.iloc[-1]
    twice = len(raw) > 1 and _shows_no_sperm(raw.iloc[-2])
    return [
        Caution(
            "no sperm seen",
            "stop",
            sentence(
                "caution.no_sperm_seen_twice" if twice else "caution.no_sperm_seen",
                dog=records.dog,
                on=_as_date(sample["collected_earliest"]),
            ),
            "Tesi 2018, Theriogenology 118:34-39 (P); rest from memory (M)",
            frozenset({"doses", "box", "plan", "conception", "forecast"}),
        )
    ]


def discolored_sample(records: DogRecords, today: date) -> list[Caution]:
    """Blood, pus or urine in the last sample stops its doses."""
    raw = _raw_samples(records.evaluations, today)
    if raw.empty:
        return []
    sample = raw.iloc[-1]
    seen = str(sample["appearance"]).lower()
    if seen not in {"blood", "pus", "urine"}:
        return []
    return [
        Caution(
            f"{seen} in the sample",
            "stop",
            sentence(
                f"caution.{seen}_in_the_sample",
                dog=records.dog,
                on=_as_date(sample["collected_earliest"]),
            ),
            "trade memory (M)",
            frozenset({"doses", "box"}),
        )
    ]


def illness(records: DogRecords, today: date) -> list[Caution]:
    """A collection stopped for pain, a fever or a swelling within one spermatogenic cycle."""
    since = pd.Timestamp(today) - pd.Timedelta(days=RECENT_DAYS)
    spoken: list[Caution] = []
    recent = _until(records.events, "started_on", today)
    if not recent.empty:
        recent = recent[pd.to_datetime(recent["started_on"]) >= since]
        for event in recent[recent["kind"].str.lower().isin(ILLNESS_EVENTS)].itertuples():
            spoken.append(
                Caution(
                    "illness recorded",
                    "warn",
                    sentence(
                        "caution.illness_recorded",
                        event=Word("event", str(event.kind).lower()),
                        dog=records.dog,
                        on=_as_date(event.started_on),
                        n_days=RECENT_DAYS,
                    ),
                    "Soares 2009, J Anat (P); epididymal transit from memory (M)",
                )
            )
    attempts = _until(records.evaluations, "collected_earliest", today)
    if not attempts.empty:
        pained = attempts[attempts["failed_reason"].eq("stopped for pain")]
        pained = pained[pd.to_datetime(pained["collected_earliest"]) >= since]
        if not pained.empty:
            last = pained.sort_values("collected_earliest").iloc[-1]
            spoken.append(
                Caution(
                    "stopped for pain",
                    "stop",
                    sentence(
                        "caution.stopped_for_pain",
                        dog=records.dog,
                        on=_as_date(last["collected_earliest"]),
                    ),
                    "trade memory (M)",
                    frozenset({"doses", "box"}),
                )
            )
    return spoken


def successive_failures(records: DogRecords, today: date) -> list[Caution]:
    """Two breedings in a row without a litter are a question for a veterinarian."""
    known = _until(records.breedings, "bred_earliest", today)
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

    Never a stop: kennel clubs allow exceptions, and a person who has examined her decides.
    """
    row = records.row
    if row is None or row["sex"] != "female" or pd.isna(row["born_on"]):
        return []
    days = (today - _as_date(row["born_on"])).days
    years, weight_kg = days / 365.25, row["adult_weight_kg"]
    is_small = not pd.isna(weight_kg) and weight_kg < SMALL_BELOW_KG
    if years < (SMALL_GROWN_YEARS if is_small else GROWN_YEARS):
        rule, source = "bitch young", "Cecere, American Kennel Club (P)"
    elif days + GESTATION_DAYS >= 365.25 * OLD_AT_WHELPING_YEARS:
        rule, source = "bitch old", "The Kennel Club (UK), rule B22c (2) (P)"
    elif years > LATE_FIRST_LITTER_YEARS and not _has_whelped(records, today):
        rule, source = "first litter late", "common practice, no source"
    else:
        return []
    key = f"caution.{rule.replace(' ', '_')}"
    return [Caution(rule, "warn", sentence(key, dog=records.dog, years=years), source)]


def _has_whelped(records: DogRecords, today: date) -> bool:
    """Whether a litter of hers is recorded, before the records begin or in them."""
    before = None if records.row is None else records.row["n_litters_before"]
    known = _until(records.breedings, "bred_earliest", today)
    in_records = not known.empty and known["whelped"].fillna(False).astype(bool).any()
    return bool(in_records or (not pd.isna(before) and before > 0))


def outcome_unknown(records: DogRecords, today: date, *, with_shares: bool) -> list[Caution]:
    """Outcomes not reported back are counted, with what they could change.

    Without shares where a stop keeps them back: the two extremes would tell the dog's own.
    """
    bred = _until(records.breedings, "bred_earliest", today)
    if bred.empty:
        return []
    due_since = pd.Timestamp(today) - pd.Timedelta(days=RECENT_DAYS)
    overdue = bred[bred["whelped"].isna() & (bred["bred_earliest"] < due_since)]
    if overdue.empty:
        return []
    known = bred[bred["whelped"].notna()]
    n_whelped = int(known["whelped"].astype(bool).sum())
    n_unknown, n_bred = len(overdue), len(known) + len(overdue)
    said = sentence("caution.outcome_missing", n=n_unknown, dog=records.dog, n_bred=n_bred)
    if with_shares:
        said = sentence(
            "caution.outcome_unknown",
            n=n_unknown,
            dog=records.dog,
            n_bred=n_bred,
            if_none=n_whelped / n_bred,
            if_all=(n_whelped + n_unknown) / n_bred,
        )
    return [Caution("outcome unknown", "say", said, "counted from the records")]


def _as_date(moment: object) -> date:
    return pd.Timestamp(moment).date()  # type: ignore[arg-type]


def _until(rows: pd.DataFrame, column: str, today: date) -> pd.DataFrame:
    """Rows not later than today; the whole of today counts."""
    if rows.empty:
        return rows
    return rows[pd.to_datetime(rows[column]) < pd.Timestamp(today) + pd.Timedelta(days=1)]


def _raw_samples(evaluations: pd.DataFrame, today: date) -> pd.DataFrame:
    """Raw samples in order of collection; a failed attempt is no sample."""
    rows = _until(evaluations, "collected_earliest", today)
    if rows.empty:
        return rows
    rows = rows[rows["stage"].eq("raw") & rows["failed_reason"].isna()]
    return rows.sort_values("collected_earliest")


def _shows_no_sperm(sample: pd.Series) -> bool:
    """Zero cells or a concentration of zero was recorded; not counted is not zero."""
    counted = pd.to_numeric(
        pd.Series([sample["n_cells_counted"], sample["concentration_m_per_ml"]])
    )
    return bool((counted == 0).any())
