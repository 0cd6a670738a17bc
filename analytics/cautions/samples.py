"""What a sample itself says: no sperm, blood, pus or urine, far too little, less each time.

A blank lifts nothing: a sample whose look was not noted is not clear, and one that was not counted
does not hold sperm.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from analytics.cautions.lifting import is_released, was_examined
from analytics.cautions.records import (
    EVERY_ANSWER,
    NEXT_ANSWERS,
    Caution,
    DogRecords,
    as_date,
    until,
)
from analytics.counting import poisson_upper_limit
from analytics.semen import total_sperm_m
from analytics.sentences import Sentence, sentence

NO_SPERM_TOLD_DAYS = 365
"""How long a sample without sperm is told after a counted one that held some. [d] (J)"""

FAR_BELOW_M, FAR_BELOW_M_PER_KG = 100.0, 5.0
"""Total sperm that lie far below every published value. [10⁶; 10⁶ per kg]

A third of the 300 M often asked (University of Minnesota, P), and less than a quarter of the 22 M
per kg that is taught (M); rule of this toolkit (J)."""

FAR_BELOW_FORWARD_PCT, FAR_BELOW_NORMAL_PCT = 30.0, 40.0
"""Motility and normal shape far below the 70 % often asked of each (P). [%] (J)"""

N_FALLING, FALLING_TO = 4, 0.5
"""So many counted samples, each lower than the one before, down to this share of the first. (J)

Four in a row happen by chance in one of 24 orders."""

SQUARES_NL = 20.0
"""Volume seen in five squares of a counting chamber, which a count of none is read against. [nL]"""

_SOURCE = "trade memory (M)"


def no_sperm_seen(records: DogRecords, today: date) -> list[Caution]:
    """A last counted sample without sperm stops; an earlier one is told beside a later count."""
    counted = _counted(raw_samples(records.evaluations, today))
    is_zero = shows_no_sperm(counted)
    if not is_zero.any():
        return []
    source = "Tesi 2018, Theriogenology 118:34-39 (P); rest from memory (M)"
    on = as_date(counted[is_zero].iloc[-1]["collected_earliest"])
    if is_zero.iloc[-1]:
        twice = bool(is_zero.tail(2).sum() == 2)
        said = sentence(
            "caution.no_sperm_seen_twice" if twice else "caution.no_sperm_seen",
            dog=records.dog,
            on=on,
            limit=_limit_sentence(counted.iloc[-1]),
        )
        return [Caution("no sperm seen", "stop", said, source, EVERY_ANSWER)]
    if (today - on).days > NO_SPERM_TOLD_DAYS:
        return []
    later = as_date(counted.iloc[-1]["collected_earliest"])
    said = sentence("caution.no_sperm_before", dog=records.dog, on=on, later=later)
    return [Caution("no sperm seen before", "warn", said, source)]


def zero_count_limit_m(volume_ml: float) -> float:
    """Most sperm an ejaculate may hold of which five squares, undiluted, showed none. [10⁶]

    Exact Poisson upper limit of a count of zero (95 %) over 20 nL, times the volume. WHO laboratory
    manual, 6th edition (2021), counting.

    Parameters
    ----------
    volume_ml
        Of the ejaculate; NaN where it is not known. [mL]
    """
    return float(poisson_upper_limit(0)) / SQUARES_NL * volume_ml


def discolored_sample(records: DogRecords, today: date) -> list[Caution]:
    """Blood or pus in any sample stops until an examination or a release; urine in the last."""
    raw = raw_samples(records.evaluations, today)
    if raw.empty:
        return []
    seen = raw.assign(look=raw["appearance"].astype("string").str.lower())
    seen = seen[seen["look"].notna()]
    spoken = []
    for look in ("blood", "pus"):
        noted = seen[seen["look"] == look]
        if noted.empty:
            continue
        on = as_date(noted.iloc[-1]["collected_earliest"])
        about = ("blood", "discharge", "prostate", "prostatic disease")
        if was_examined(records.health, on, today) or is_released(
            records.health, on, today, about=about
        ):
            continue
        spoken.append(_look_stop(look, records.dog, on))
    if not seen.empty and seen.iloc[-1]["look"] in ("urine", "other"):
        on, look = as_date(seen.iloc[-1]["collected_earliest"]), str(seen.iloc[-1]["look"])
        if look == "urine":
            spoken.append(_look_stop(look, records.dog, on))
        else:
            said = sentence("caution.look_not_normal", dog=records.dog, on=on)
            spoken.append(Caution("look not normal", "warn", said, _SOURCE))
    return spoken


def _look_stop(look: str, dog: str, on: date) -> Caution:
    said = sentence(f"caution.{look}_in_the_sample", dog=dog, on=on)
    return Caution(f"{look} in the sample", "stop", said, _SOURCE, NEXT_ANSWERS)


def far_below(records: DogRecords, today: date) -> list[Caution]:
    """A last sample far below every published value asks for a repeat, then for a veterinarian."""
    raw = raw_samples(records.evaluations, today)
    raw = raw[~shows_no_sperm(raw)]
    if raw.empty:
        return []
    parts: list[Sentence] = []
    counted = raw[_totals(raw).notna()]
    if not counted.empty:
        total = float(_totals(counted).iloc[-1])
        per_kg = total / records.weight_kg
        if total < FAR_BELOW_M:
            parts.append(sentence("caution.far_below_total", total=total, limit=FAR_BELOW_M))
        elif per_kg < FAR_BELOW_M_PER_KG:
            parts.append(
                sentence("caution.far_below_per_kg", per_kg=per_kg, limit=FAR_BELOW_M_PER_KG)
            )
    for column, key, limit in (
        ("progressive_motility_pct", "caution.far_below_forward", FAR_BELOW_FORWARD_PCT),
        ("normal_morphology_pct", "caution.far_below_normal", FAR_BELOW_NORMAL_PCT),
    ):
        read = raw[raw[column].notna()]
        if not read.empty and float(read[column].iloc[-1]) < limit:
            parts.append(sentence(key, value=float(read[column].iloc[-1]), limit=limit))
    if not parts:
        return []
    said = sentence("caution.far_below", dog=records.dog, parts=tuple(parts))
    source = "a third to a half of the values often asked (P); rule of this toolkit (J)"
    return [Caution("far below", "warn", said, source)]


def falling(records: DogRecords, today: date) -> list[Caution]:
    """Counted samples that fall one after the other, down to half of the first or less."""
    raw = raw_samples(records.evaluations, today)
    totals = _totals(raw).dropna()
    n = N_FALLING
    while n < len(totals) and bool(totals.tail(n + 1).diff().dropna().lt(0).all()):
        n += 1
    last = totals.tail(n)
    if len(last) < N_FALLING or not last.diff().dropna().lt(0).all():
        return []
    if last.iloc[-1] > FALLING_TO * last.iloc[0]:
        return []
    said = sentence(
        "caution.falling", dog=records.dog, n=len(last), first=float(last.iloc[0]),
        last=float(last.iloc[-1]),
    )  # fmt: skip
    return [Caution("falling", "warn", said, "rule of this toolkit (J)")]


def raw_samples(evaluations: pd.DataFrame, today: date) -> pd.DataFrame:
    """Raw samples in order of collection; a failed attempt is no sample."""
    rows = until(evaluations, "collected_earliest", today)
    if rows.empty:
        return rows
    rows = rows[rows["stage"].eq("raw") & rows["failed_reason"].isna()]
    return rows.sort_values("collected_earliest", kind="stable")


def shows_no_sperm(samples: pd.DataFrame) -> pd.Series:
    """Zero cells or a concentration of zero was recorded; not counted is not zero."""
    return _counts(samples).eq(0.0).any(axis=1)


def _counted(samples: pd.DataFrame) -> pd.DataFrame:
    return samples[~_counts(samples).isna().all(axis=1)]


def _counts(samples: pd.DataFrame) -> pd.DataFrame:
    """Cells and concentration as numbers; NaN where not counted."""
    names = ["n_cells_counted", "concentration_m_per_ml"]
    return pd.DataFrame({name: pd.to_numeric(samples[name]).astype("float64") for name in names})


def _totals(samples: pd.DataFrame) -> pd.Series:
    """Total sperm; NaN where not counted. [10⁶]"""
    volume, concentration = (
        pd.to_numeric(samples[name]).to_numpy(dtype=np.float64, na_value=np.nan)
        for name in ("volume_ml", "concentration_m_per_ml")
    )
    return pd.Series(total_sperm_m(volume, concentration), index=samples.index)


def _limit_sentence(sample: pd.Series) -> Sentence:
    """What none seen in five squares leaves open, by the volume where it is known."""
    volume = pd.to_numeric(sample["volume_ml"])
    if pd.isna(volume):
        per_ml = zero_count_limit_m(1.0)
        return sentence("caution.zero_limit_per_ml", limit=per_ml)
    return sentence("caution.zero_limit", limit=zero_count_limit_m(float(volume)))
