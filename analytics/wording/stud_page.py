"""Which sentences head the page of a stud, in which order?

The age of the fits, his level or his samples, his weight, his breedings and what must stand beside
them, and the lines that nothing counts.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from studcurve.analytics.cautions import Answer, Caution
from studcurve.analytics.measures.missing import missing_outcomes
from studcurve.analytics.models.conception.bred import bred_by, breedings_chance
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.stud.summary import StudSummary
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.analytics.trust.prior_width import PriorWidth
from studcurve.analytics.wording.program import (
    fit_age_sentence,
    level_age_sentence,
    litters_sentence,
    samples_sentence,
)
from studcurve.analytics.wording.stud import (
    change_sentence,
    dip_sentence,
    fall_retest_sentence,
    last_sentence,
    level_sentence,
    look_back_sentence,
    next_sentence,
    per_kg_sentence,
    power_sentence,
    retest_sentence,
    settling_sentence,
)
from studcurve.analytics.wording.trust import stud_unusable_sentence, stud_width_sentence

ALARMING_SERIES = frozenset({"far below", "falling", "no sperm seen before"})
"""Cautions beside which no sentence says that samples differ and that this is no trend."""

Unseen = tuple[int, datetime] | None
"""Records that a fit has not seen, and when it was made; None for none."""


@dataclass(frozen=True, slots=True)
class StudSamples:
    """What the samples of a stud, and the fits of them, say.

    Attributes
    ----------
    readings
        Raw samples with measures.
    levels
        Measures with a level, total sperm first; empty where a caution stops forecasts.
    has_levels
        Whether the kennel has a kept fit of any stud.
    unseen
        Of the oldest of these fits.
    weight_kg
        Adult weight; NaN where none is recorded. [kg]
    """

    readings: pd.DataFrame
    levels: tuple[StudSummary, ...]
    has_levels: bool
    unseen: Unseen
    weight_kg: float


@dataclass(frozen=True, slots=True)
class StudBreedings:
    """What his breedings, and the kept fit of the chain, say.

    Attributes
    ----------
    fitted
        The kept fit.
    unseen
        Of this fit.
    n_bred
        His breedings; without any nothing is said of them.
    due
        Those whose outcome is known or should be.
    width
        His chance under other priors; None without it.
    """

    fitted: ConceptionPosterior
    unseen: Unseen
    n_bred: int
    due: pd.DataFrame
    width: PriorWidth | None


def stud_sentences(
    stud: str,
    cautions: Sequence[Caution],
    stopped: Collection[Answer],
    samples: StudSamples,
    breedings: StudBreedings | None,
    *,
    names_readers: bool,
) -> tuple[Sentence, ...]:
    """Say the answer of a stud's page.

    Parameters
    ----------
    stud
        Call name.
    cautions, stopped
        What heads the page, and the answers that it stops.
    samples, breedings
        What is known of him; no breedings without a kept fit, or where a caution stops chances.
    names_readers
        Whether the reader may know who read his samples; a client may not.
    """
    sentences: list[Sentence] = []
    if breedings is not None and breedings.unseen is not None:
        sentences.append(fit_age_sentence(*breedings.unseen))
    if samples.levels and samples.unseen is not None:
        sentences.append(level_age_sentence(*samples.unseen))
    sentences += headline(samples.levels, names_readers=names_readers) or _without_level(
        stud, cautions, stopped, samples
    )
    total = total_level(samples.levels)
    if total is not None and not math.isnan(samples.weight_kg):
        sentences.append(per_kg_sentence(total.answers, samples.weight_kg))
    if breedings is not None and breedings.n_bred:
        sentences += _of_breedings(stud, breedings)
    return tuple(sentences)


def headline(levels: Sequence[StudSummary], *, names_readers: bool) -> tuple[Sentence, ...]:
    """His level in two sentences, of the first measure that has one.

    A further measure speaks where a change of it is announced.
    """
    if not levels:
        return ()
    first, *others = levels
    changes = [first, *(summary for summary in others if summary.announcement.announced)]
    return (
        level_sentence(first.answers, first.records_weight),
        *(
            _change(summary)
            for summary in changes
            # Else the sentence would name those who read.
            if names_readers or summary.announcement.is_separable
        ),
    )


def level_sentences(
    summary: StudSummary, *, is_headline: bool, is_of_the_house: bool
) -> tuple[Sentence, ...]:
    """What one measure says of him, from the last collection on to what cannot be seen.

    Parameters
    ----------
    summary
        Of one measure.
    is_headline
        Whether level and change head the page already.
    is_of_the_house
        Whether the reader may know who read and what else befell him; a client may not.
    """
    stud, measure = summary.answers.stud, summary.answers.measure
    sentences: list[Sentence] = []
    if not is_headline:
        sentences += headline([summary], names_readers=is_of_the_house)
    if summary.last is not None:
        sentences.append(last_sentence(stud, summary.last, measure))
    sentences.append(
        next_sentence(summary.next_on, summary.next_rest_days, summary.expected, measure)
    )
    if is_of_the_house:
        sentences += [dip_sentence(stud, dip, found) for dip, found in summary.dips]
        sentences.append(look_back_sentence(summary.answers.last_on, summary.before_last))
        again = fall_retest_sentence(summary.answers, summary.announcement)
        if again is not None:
            sentences.append(again)
        elif summary.retest is not None:
            sentences.append(retest_sentence(summary.retest))
    if summary.power is not None:
        sentences += [settling_sentence(summary.power), power_sentence(summary.power, measure)]
    return tuple(sentences)


def total_level(levels: Sequence[StudSummary]) -> StudSummary | None:
    """The summary of total sperm, where it has a level."""
    return next(
        (summary for summary in levels if summary.answers.measure.name == "total_sperm_m"), None
    )


def _change(summary: StudSummary) -> Sentence:
    alarm = None if summary.power is None else summary.power.false_alarm_prob
    return change_sentence(summary.answers, summary.announcement, summary.rule, alarm)


def _without_level(
    stud: str, cautions: Sequence[Caution], stopped: Collection[Answer], samples: StudSamples
) -> tuple[Sentence, ...]:
    """What stands in the place of a level, and why; under a stop nothing of level or trend."""
    if "forecast" in stopped:
        return (sentence("answer.nothing_under_a_stop", stud=stud),)
    alarming = any(caution.rule in ALARMING_SERIES for caution in cautions)
    return (
        samples_sentence(stud, samples.readings, is_alarming=alarming),
        sentence("level.no_level_few" if samples.has_levels else "level.no_level"),
    )


def _of_breedings(stud: str, bred: StudBreedings) -> Iterator[Sentence]:
    """How his breedings came out, and what must stand beside it."""
    his = bred_by(bred.fitted.data, stud)
    if not his.any():
        return
    chance = breedings_chance(bred.fitted, his)
    yield litters_sentence(stud, chance)
    missing = missing_outcomes(bred.due)
    yield from stud_unusable_sentence(missing, chance.published)
    if bred.width is not None:
        yield from stud_width_sentence(stud, bred.width, short=True)
