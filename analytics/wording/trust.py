"""Which sentences state how far the models can be trusted about this kennel?

Each is chosen by a stated rule; nothing is graded, and a comparison that missing outcomes could
turn round is called not usable before any difference is stated.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.measures.missing import (
    MissingOutcomes,
    missing_outcomes,
    scanned_empty,
    survives_missing,
)
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.sentences import Sentence, Word, sentence
from studcurve.analytics.trust.checking import (
    ERROR_PROB,
    FEW_IN_CELL,
    N_FOR_CROSS_VALIDATION,
    CrossValidation,
    ExpectedObserved,
    Replicated,
    Scores,
    smallest_difference,
)
from studcurve.analytics.trust.forgotten import Forgotten, moved_points
from studcurve.analytics.trust.prior_width import MOVED_POINTS, MethodWidth, PriorWidth
from studcurve.analytics.trust.residuals import ALONG, BETWEEN, ResidualCheck
from studcurve.analytics.vocabulary import SEMEN_TYPES

TELLS_APART = 0.3
"""Share from the records below which they do not tell bitches apart. (rule)"""

TOUCHED: Mapping[str, str] = {
    "motility": "dose", "dose": "dose", "hours": "hours", "day": "day", "age": "age",
    "method": "method", "stud": "stud", "year": "year",
}  # fmt: skip
"""Answers that a fault of a column touches."""

CLEAR_SES = 2.0
"""Standard errors from which a gain is more than chance allows; common practice, no source."""


def expected_sentence(found: ExpectedObserved | None) -> Sentence:
    """Litters that came, against those that published work alone would expect."""
    if found is None:
        return sentence("check.nothing_known")
    if found.n_whelped < found.expected.lower:
        verdict = sentence("check.fewer_than_expected")
    elif found.n_whelped > found.expected.upper:
        verdict = sentence("check.more_than_expected")
    else:
        # An interval this wide cannot fail by much: what would have is said with it.
        ends = (found.expected.lower / found.n_known, found.expected.upper / found.n_known)
        verdict = sentence("check.as_expected", lowest=ends[0], highest=ends[1])
    return sentence(
        "check.expected",
        n=found.n_known,
        n_whelped=found.n_whelped,
        expected=found.expected,
        verdict=verdict,
    )


def prediction_sentences(
    found: CrossValidation | None, *, n_known: int, is_of_today: bool
) -> tuple[Sentence, ...]:
    """How breedings were predicted with their bitch left out, or why that is not stated.

    Parameters
    ----------
    found
        None where it was not computed, or is of other records.
    n_known
        Known outcomes.
    is_of_today
        Whether the fit has read the records of today.
    """
    if n_known < N_FOR_CROSS_VALIDATION:
        return (sentence("check.too_few", wanted=N_FOR_CROSS_VALIDATION),)
    if found is None:
        return (sentence("check.all_alike" if is_of_today else "check.awaiting"),)
    sentences = [
        sentence(
            "check.predicted",
            published=gain_sentence(found.scores["published"]),
            raw=gain_sentence(found.scores["raw"]),
        )
    ]
    if "boosting" in found.scores:
        sentences.append(
            sentence("check.predicted_boosting", gain=gain_sentence(found.scores["boosting"]))
        )
    sentences.append(
        sentence(
            "check.calibration",
            gap=100 * found.calibration_gap,
            gap_error=100 * found.calibration_gap_se,
            slope=found.calibration_slope,
            error=found.calibration_slope_se,
        )
    )
    if found.n_unsure:
        sentences.append(sentence("check.unsure", n=found.n_unsure))
    return tuple(sentences)


def gain_sentence(scores: Scores) -> Sentence:
    """Whether a gain of the log score is more than chance allows."""
    reach = CLEAR_SES * scores.log_score_gain_se
    if scores.log_score_gain > reach:
        return sentence("check.better")
    return sentence("check.worse" if scores.log_score_gain < -reach else "check.alike")


def residual_sentences(found: Sequence[ResidualCheck]) -> tuple[Sentence, ...]:
    """Whether what came is left on a column, or how small a fault would not have shown.

    Parameters
    ----------
    found
        From :func:`studcurve.analytics.trust.residuals.residual_checks`; nothing is said of none.
    """
    if not found:
        return ()
    faults = fault_sentences(found)
    if faults:
        return faults
    return (
        sentence(
            "check.no_fault",
            columns=tuple(sentence(f"check.along_{one.name}") for one in found),
            rate=ERROR_PROB,
        ),
    )


def fault_sentences(
    found: Sequence[ResidualCheck], of: Collection[str] = (*ALONG, *BETWEEN)
) -> tuple[Sentence, ...]:
    """Which columns the outcomes do not follow as predicted, and which answers that touches.

    Parameters
    ----------
    found
        From :func:`studcurve.analytics.trust.residuals.residual_checks`.
    of
        Columns whose answers are told of.
    """
    faults = [one for one in found if one.is_found and one.name in of]
    if not faults:
        return ()
    touched = dict.fromkeys(TOUCHED[one.name] for one in faults)
    return (
        sentence(
            "check.fault",
            parts=tuple(
                sentence(f"check.fault_{one.name}", points=one.fault_points) for one in faults
            ),
            touched=tuple(sentence(f"check.touched_{answers}") for answers in touched),
            rate=ERROR_PROB,
        ),
    )


def replicated_sentence(found: Sequence[Replicated]) -> tuple[Sentence, ...]:
    """Whether the records look like records drawn again from the fitted model."""
    if not found:
        return ()
    unlike = tuple(Word("figure", again.figure) for again in found if not again.is_usual)
    if unlike:
        return (sentence("check.unlike", figures=unlike, n=len(found)),)
    return (sentence("check.alike_again", n=len(found)),)


def difference_sentences(
    data: ConceptionData, chosen: np.ndarray[Any, Any]
) -> tuple[Sentence, ...]:
    """Smallest difference from fresh semen (or from natural mating) that could have been shown.

    Parameters
    ----------
    data
        Records.
    chosen
        Mask over its rows.
    """
    known = chosen & (data.whelped >= 0)
    kinds = [kind for kind in ("fresh", "natural") if (known & (data.semen_type == kind)).any()]
    if not kinds:
        return ()
    beside = known & (data.semen_type == kinds[0])
    sentences = []
    for kind in SEMEN_TYPES:
        of_kind = known & (data.semen_type == kind)
        if kind == kinds[0] or not of_kind.any():
            continue
        sentences.append(
            _smallest(
                int(of_kind.sum()),
                int(beside.sum()),
                float((data.whelped[beside] == 1).mean()),
                key="smallest",
                kind=Word("semen", kind),
                other=Word("semen", kinds[0]),
            )
        )
    return tuple(sentences)


def stud_difference_sentence(
    data: ConceptionData, chosen: np.ndarray[Any, Any], stud: str
) -> tuple[Sentence, ...]:
    """Smallest difference between one stud and the others that could have been shown."""
    known = chosen & (data.whelped >= 0)
    his = known & (data.groups["stud"] == data.levels["stud"].index(stud))
    others = known & ~his
    if not his.any() or not others.any():
        return ()
    share = float((data.whelped[others] == 1).mean())
    n_his, n_others = int(his.sum()), int(others.sum())
    return (_smallest(n_his, n_others, share, key="smallest_stud", kind=stud),)


def _smallest(n: int, n_other: int, share: float, *, key: str, **named: Word | str) -> Sentence:
    points = smallest_difference(n_other, n, share)
    if points is None:
        return sentence(f"check.{key}_none", n_kind=n, n_other=n_other, **named)
    return sentence(f"check.{key}", points=points, n_kind=n, n_other=n_other, **named)


def sparse_sentences(cells: Sequence[tuple[str, str, str]]) -> tuple[Sentence, ...]:
    """What the records cannot tell apart.

    From :func:`studcurve.analytics.trust.checking.sparse_cells`.
    """
    sentences = []
    for cell, first, second in cells:
        if cell == "stud":
            sentences.append(sentence("check.sparse_stud", stud=first, kind=Word("semen", second)))
        elif cell == "semen":
            sentences.append(sentence("check.sparse_semen", kind=Word("semen", first), stud=second))
        elif first == "natural":
            sentences.append(sentence("check.sparse_natural", wanted=FEW_IN_CELL))
        else:
            sentences.append(
                sentence(
                    "check.sparse_few",
                    kind=Word("semen", first),
                    route=Word("route", second),
                    wanted=FEW_IN_CELL,
                )
            )
    return tuple(sentences)


def unusable_sentences(due: pd.DataFrame) -> tuple[Sentence, ...]:
    """Plain shares of semen types that missing outcomes alone could turn round.

    Parameters
    ----------
    due
        Rows of the view ``breedings`` whose outcome is known or due.
    """
    by_kind = {kind: missing_outcomes(due[due["semen_type"] == kind]) for kind in SEMEN_TYPES}
    fresh = by_kind["fresh"]
    sentences = []
    for kind in ("chilled", "frozen"):
        other = by_kind[kind]
        n_missing = fresh.n_missing + other.n_missing
        if not n_missing or not fresh.n_known or not other.n_known:
            continue
        if not survives_missing(fresh, other):
            sentences.append(
                sentence(
                    "check.not_usable",
                    n=n_missing,
                    kind=Word("semen", kind),
                    lowest=other.lowest_share,
                    highest=other.highest_share,
                    fresh_lowest=fresh.lowest_share,
                    fresh_highest=fresh.highest_share,
                    scanned=scanned_empty(fresh, other),
                )
            )
    return tuple(sentences)


def stud_unusable_sentence(missing: MissingOutcomes, published: Estimate) -> tuple[Sentence, ...]:
    """Whether missing outcomes alone decide if his share is above what published work expects.

    Parameters
    ----------
    missing
        His breedings past due.
    published
        Mean chance of his breedings from published work alone. [0 to 1]
    """
    if not missing.n_missing or not missing.n_known:
        return ()
    if not missing.lowest_share < published.median < missing.highest_share:
        return ()
    return (
        sentence(
            "check.stud_not_usable",
            n=missing.n_missing,
            lowest=missing.lowest_share,
            highest=missing.highest_share,
            published=published.median,
            scanned=scanned_empty(missing),
        ),
    )


def method_sentences(methods: Mapping[str, MethodWidth]) -> tuple[Sentence, ...]:
    """How surely fewer litters go with semen types than with fresh, and what that hangs on.

    The probability itself: whether an interval holds zero turns on its last digit.

    Parameters
    ----------
    methods
        By semen type; without one, nothing is said.
    """
    if not methods:
        return ()
    parts = tuple(
        sentence(
            "check.method",
            kind=Word("semen", kind),
            fewer=one.fewer_prob,
            narrow=_told(one.fewer_prob_narrow),
            wide=_told(one.fewer_prob_wide),
        )
        for kind, one in methods.items()
    )
    return (sentence("check.methods", parts=parts),)


def _told(fewer: float | None) -> Sentence:
    """A probability, or that draws under another spread could not tell it."""
    if fewer is None:
        return sentence("check.method_untold")
    return sentence("check.method_prob", fewer=fewer)


def stud_width_sentence(stud: str, width: PriorWidth, *, short: bool) -> tuple[Sentence, ...]:
    """How far a stud's chance moves with narrower and wider priors.

    Parameters
    ----------
    stud
        Call name.
    width
        His chance under other priors.
    short
        Whether only a shift worth a reader's time is stated, as among the first sentences.
    """
    moved = width.shift_points > MOVED_POINTS
    if width.narrow is None or width.wide is None:
        return () if short else (sentence("check.stud_unweighed", stud=stud),)
    if short and not moved:
        return ()
    return (
        sentence(
            "check.stud_moves" if moved else "check.stud_stays",
            stud=stud,
            table=width.table.median,
            narrow=width.narrow.median,
            wide=width.wide.median,
        ),
    )


def forgotten_sentences(found: Forgotten | None) -> tuple[Sentence, ...]:
    """What the chance of a litter hangs on where results were never reported.

    Parameters
    ----------
    found
        None where no result is owing.
    """
    if found is None:
        return ()
    kinds = [kind for kind, of in found.semen_types.items() if moved_points(of) > MOVED_POINTS]
    return (
        sentence(
            "check.forgotten",
            n=found.n_unreported,
            ratio=found.believed,
            **_at_ratios(found.everything),
        ),
        *(
            sentence(
                "check.forgotten_kind",
                kind=Word("semen", kind),
                **_at_ratios(found.semen_types[kind]),
            )
            for kind in kinds
        ),
    )


def forgotten_stud_sentence(stud: str, found: Forgotten | None) -> tuple[Sentence, ...]:
    """The same of one stud, where it moves his chance."""
    of = () if found is None else found.studs.get(stud, ())
    if not of or moved_points(of) <= MOVED_POINTS:
        return ()
    return (sentence("check.forgotten_stud", stud=stud, **_at_ratios(of)),)


def _at_ratios(at: tuple[Estimate, ...]) -> dict[str, float]:
    once, thrice, tenfold = (one.median for one in at)
    return {"once": once, "thrice": thrice, "tenfold": tenfold}


def bitches_sentence(weight: float) -> tuple[Sentence, ...]:
    """How little the records tell bitches apart, where they do not.

    Parameters
    ----------
    weight
        Share of what is known of the spread between bitches that the records supply, 0 to 1.
    """
    return () if weight >= TELLS_APART else (sentence("check.bitches", share=weight),)
