"""What a sample itself says: no sperm, blood, pus or urine, far too little, less each time.

A blank lifts nothing: a sample whose look was not noted is not clear, and one that was not counted
does not hold sperm.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import date

from studcurve.analytics.cautions.lifting import is_released, was_examined
from studcurve.analytics.cautions.records import (
    EVERY_ANSWER,
    NEXT_ANSWERS,
    Caution,
    DogRecords,
    Sample,
)
from studcurve.analytics.measures.semen import zero_count_limit_m
from studcurve.analytics.sentences import Sentence, sentence

NO_SPERM_SHOWN_DAYS = 365
"""How long a sample without sperm is mentioned after a counted one that held some. [d] (J)"""

FAR_BELOW_M, FAR_BELOW_M_PER_KG = 100.0, 5.0
"""Total sperm that lie far below every published value. [10⁶; 10⁶ per kg]

A third of the 300 M often asked (University of Minnesota, P), and less than a quarter of the 22 M
per kg that is taught (M); rule of this toolkit (J)."""

FAR_BELOW_FORWARD_PCT, FAR_BELOW_NORMAL_PCT = 30.0, 40.0
"""Motility and normal shape far below the 70 % often asked of each (P). [%] (J)"""

N_FALLING, FALLING_TO = 4, 0.5
"""So many counted samples, each lower than the one before, down to this share of the first. (J)

Four in a row happen by chance in one of 24 orders."""

_SOURCE = "trade memory (M)"


def no_sperm_seen(records: DogRecords, today: date) -> list[Caution]:
    """A last counted sample without sperm stops; an earlier one warns beside a later count."""
    counted = [
        sample
        for sample in raw_samples(records, today)
        if sample.is_counted and (sample.shows_no_sperm or not sample.is_doubtful)
    ]
    zeros = [sample for sample in counted if sample.shows_no_sperm]
    if not zeros:
        return []
    source = "Tesi 2018, Theriogenology 118:34-39 (P); rest from memory (M)"
    last = counted[-1]
    if last.shows_no_sperm:
        twice = len(counted) > 1 and counted[-2].shows_no_sperm
        message = sentence(
            "caution.no_sperm_seen_twice" if twice else "caution.no_sperm_seen",
            dog=records.dog,
            on=last.on,
            limit=_limit_sentence(last),
        )
        return [Caution("no sperm seen", "stop", message, source, EVERY_ANSWER)]
    if (today - zeros[-1].on).days > NO_SPERM_SHOWN_DAYS:
        return []
    message = sentence("caution.no_sperm_before", dog=records.dog, on=zeros[-1].on, later=last.on)
    return [Caution("no sperm seen before", "warn", message, source)]


def discolored_sample(records: DogRecords, today: date) -> list[Caution]:
    """Blood or pus in any sample stops until an examination or a release; urine in the last."""
    seen = [
        sample
        for sample in raw_samples(records, today)
        if sample.look and not (sample.look == "normal" and sample.is_doubtful)
    ]
    cautions = []
    for look in ("blood", "pus"):
        on = max((sample.on for sample in seen if sample.look == look), default=None)
        if on is None or was_examined(records.health, on, today):
            continue
        about = ("blood", "discharge", "prostate", "prostatic disease")
        if not is_released(records.health, on, today, about=about):
            cautions.append(_look_stop(look, records.dog, on))
    if seen and seen[-1].look == "urine":
        cautions.append(_look_stop("urine", records.dog, seen[-1].on))
    if seen and seen[-1].look == "other":
        message = sentence("caution.look_not_normal", dog=records.dog, on=seen[-1].on)
        cautions.append(Caution("look not normal", "warn", message, _SOURCE))
    return cautions


def _look_stop(look: str, dog: str, on: date) -> Caution:
    message = sentence(f"caution.{look}_in_the_sample", dog=dog, on=on)
    return Caution(f"{look} in the sample", "stop", message, _SOURCE, NEXT_ANSWERS)


def far_below(records: DogRecords, today: date) -> list[Caution]:
    """A last sample far below every published value asks for a repeat, then for a veterinarian.

    Of a dog whose last count showed no sperm, :func:`no_sperm_seen` speaks.
    """
    samples = raw_samples(records, today)
    total = _worst_of_last(samples, lambda sample: sample.total_m)
    parts: list[Sentence] = []
    if total > 0.0:
        per_kg = total / records.weight_kg
        if total < FAR_BELOW_M:
            parts.append(sentence("caution.far_below_total", total=total, limit=FAR_BELOW_M))
        elif per_kg < FAR_BELOW_M_PER_KG:
            parts.append(
                sentence("caution.far_below_per_kg", per_kg=per_kg, limit=FAR_BELOW_M_PER_KG)
            )
    for value, key, limit in (
        (
            _worst_of_last(samples, lambda sample: sample.forward_pct),
            "caution.far_below_forward",
            FAR_BELOW_FORWARD_PCT,
        ),
        (
            _worst_of_last(samples, lambda sample: sample.normal_pct),
            "caution.far_below_normal",
            FAR_BELOW_NORMAL_PCT,
        ),
    ):
        if value < limit:
            parts.append(sentence(key, value=value, limit=limit))
    if not parts:
        return []
    message = sentence("caution.far_below", dog=records.dog, parts=tuple(parts))
    source = "a third to a half of the values often asked (P); rule of this toolkit (J)"
    return [Caution("far below", "warn", message, source)]


def _worst_of_last(samples: Sequence[Sample], value: Callable[[Sample], float]) -> float:
    """The last value that nobody doubts, or a lower one of a doubtful sample after it; else NaN."""
    worst = math.nan
    for sample in samples:
        read = value(sample)
        if not math.isnan(read):
            worst = read if not (sample.is_doubtful and worst < read) else worst
    return worst


def falling(records: DogRecords, today: date) -> list[Caution]:
    """Counted samples that fall one after the other, down to half of the first or less."""
    firm = [sample for sample in raw_samples(records, today) if not sample.is_doubtful]
    totals = [sample.total_m for sample in firm]
    totals = [total for total in totals if not math.isnan(total)]
    first = len(totals) - 1
    while first > 0 and totals[first - 1] > totals[first]:
        first -= 1
    run = totals[first:]
    if len(run) < N_FALLING or run[-1] > FALLING_TO * run[0]:
        return []
    message = sentence("caution.falling", dog=records.dog, n=len(run), first=run[0], last=run[-1])
    return [Caution("falling", "warn", message, "rule of this toolkit (J)")]


def raw_samples(records: DogRecords, today: date) -> list[Sample]:
    """Raw samples up to a day, in order of collection; a failed attempt is no sample."""
    return [sample for sample in records.samples if sample.on <= today and not sample.failed_reason]


def _limit_sentence(sample: Sample) -> Sentence:
    """What none seen in five squares leaves open, by the volume where it is known."""
    if math.isnan(sample.volume_ml):
        return sentence("caution.zero_limit_per_ml", limit=zero_count_limit_m(1.0))
    return sentence("caution.zero_limit", limit=zero_count_limit_m(sample.volume_ml))
