"""In which sentences is told what motility, concentration, hours and day went with?

A fact counted from the records, what studies and both together make of it, and how far the records
can tell; one order for all, so that whoever reads one has read them all. Nothing is called a cause.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.models.breedings.exposures import EXPOSURES
from studcurve.analytics.outcomes.confounded import MEASURED, Together
from studcurve.analytics.outcomes.counted import FEWEST_IN_BAND, Side
from studcurve.analytics.outcomes.needed import MOST_BREEDINGS, WORTH_PUPS, WORTH_SHARE
from studcurve.analytics.outcomes.summary import ExposureOutcome
from studcurve.analytics.sentences import Sentence, sentence

COMPARED = ("fewer", "more", "bounded", "open", "few")
"""Standings of which both sides were counted."""

SHOWN_NEEDED = ("open", "bounded", "few")
"""Standings at which it is said how many breedings would show more."""


@dataclass(frozen=True, slots=True)
class OutcomesWording:
    """What is told of the four, finished.

    Attributes
    ----------
    answer
        What heads the page.
    summaries
        The numbers, what could have mattered most first.
    paragraphs
        Sentences of each, in the same order.
    """

    answer: tuple[Sentence, ...]
    summaries: tuple[ExposureOutcome, ...]
    paragraphs: tuple[tuple[Sentence, ...], ...]

    def exposures(self) -> tuple[str, ...]:
        """The four, what could have mattered most first."""
        return tuple(dict.fromkeys(one.exposure for one in self.summaries))

    def of(self, exposure: str) -> tuple[tuple[ExposureOutcome, tuple[Sentence, ...]], ...]:
        """Chance and size of one of the four, each with its sentences."""
        both = zip(self.summaries, self.paragraphs, strict=True)
        found = (pair for pair in both if pair[0].exposure == exposure)
        return tuple(sorted(found, key=lambda pair: pair[0].outcome))


def outcomes_wording(
    summaries: Sequence[ExposureOutcome], *, is_fitted: bool, is_asked: bool
) -> OutcomesWording:
    """Choose the sentences.

    Parameters
    ----------
    summaries
        What could have mattered most first.
    is_fitted
        Whether a model has seen the records.
    is_asked
        Whether the records alone were asked at the fit.
    """
    return OutcomesWording(
        _answer(summaries, is_fitted=is_fitted, is_asked=is_asked),
        tuple(summaries),
        tuple(_paragraph(one, is_fitted=is_fitted) for one in summaries),
    )


def fact(one: ExposureOutcome) -> Sentence | None:
    """What was counted on either side; None where there is nothing on one of them."""
    counts = one.counts
    if one.standing not in COMPARED:
        return None
    return sentence(
        f"outcomes.fact_{one.outcome}",
        where_poor=sentence(f"outcomes.poor_{one.exposure}"),
        where_usual=sentence(f"outcomes.usual_{one.exposure}"),
        poor=_came(counts.poor, one),
        poor_known=counts.poor.n_known,
        usual=_came(counts.usual, one),
        usual_known=counts.usual.n_known,
    )


def verdict(one: ExposureOutcome) -> Sentence:
    """How far the records can tell."""
    if one.standing in {"fewer", "more", "open"}:
        return sentence(f"outcomes.{one.standing}_{one.outcome}")
    if one.standing == "bounded":
        worth = {"worth": round(100 * WORTH_SHARE)} if one.outcome == "litter" else {}
        return sentence(f"outcomes.bounded_{one.outcome}", **worth)
    if one.standing == "few":
        return sentence("outcomes.few", wanted=FEWEST_IN_BAND)
    if one.standing == "not_recorded":
        return sentence(f"outcomes.not_recorded_{one.exposure}")
    return sentence(
        f"outcomes.{one.standing}",
        where_poor=sentence(f"outcomes.poor_{one.exposure}"),
        where_usual=sentence(f"outcomes.usual_{one.exposure}"),
    )


def _answer(
    summaries: Sequence[ExposureOutcome], *, is_fitted: bool, is_asked: bool
) -> tuple[Sentence, ...]:
    """What the records show by themselves, else what could have mattered most."""
    if not is_fitted:
        return (sentence("outcomes.no_fit"),)
    if not is_asked:
        return (sentence("outcomes.fit_again"),)
    claimed = [one for one in summaries if one.standing in {"fewer", "more"}]
    if claimed:
        parts = [part for one in claimed for part in (fact(one), verdict(one))]
        return (*(part for part in parts if part is not None), sentence("outcomes.association"))
    found = [sentence("outcomes.none_shown")]
    foremost = next((one for one in summaries if one.pups_at_stake > 0.0), None)
    if foremost is not None:
        told = fact(foremost)
        found += [
            sentence(
                "outcomes.foremost",
                exposure=sentence(f"outcomes.of_{foremost.exposure}"),
                pups=foremost.pups_at_stake,
            ),
            *((told,) if told is not None else ()),
        ]
    return tuple(found)


def _paragraph(one: ExposureOutcome, *, is_fitted: bool) -> tuple[Sentence, ...]:
    """Fact, lateness, loss, verdict, what is needed, what else was different, what is missing."""
    counted = fact(one)
    parts = [
        *((counted,) if counted is not None else ()),
        *_late(one),
        *(_loss(one) if is_fitted else ()),
        verdict(one),
        *(_needed(one) if is_fitted else ()),
        *(_different(one.counts.together_with)),
        *_left_out(one),
    ]
    return tuple(parts)


def _came(side: Side, one: ExposureOutcome) -> int | float:
    """Litters, or pups a litter."""
    return round(side.total) if one.outcome == "litter" else side.total / side.n_known


def _late(one: ExposureOutcome) -> tuple[Sentence, ...]:
    """What came of shipments that were late, which is another thing than hours."""
    late, on_time = one.counts.late, one.counts.on_time
    if late is None or on_time is None or not late.n_known:
        return ()
    return (
        sentence(
            f"outcomes.late_{one.outcome}",
            late=_came(late, one),
            late_known=late.n_known,
            n_shipped=late.n_bred + on_time.n_bred,
            n_late=late.n_bred,
            on_time=sentence(
                f"outcomes.on_time_{one.outcome}",
                came=_came(on_time, one),
                n_known=on_time.n_known,
            )
            if on_time.n_known
            else sentence("outcomes.none_on_time"),
        ),
    )


def _loss(one: ExposureOutcome) -> tuple[Sentence, ...]:
    """What the poor side may have lost, before and after the records."""
    if one.loss is None:
        no_row = one.outcome == "size" and one.exposure == "concentration"
        return (sentence("outcomes.no_row"),) if no_row else ()
    scale = 100.0 if one.outcome == "litter" else 1.0
    return (
        sentence(
            f"outcomes.loss_{one.outcome}",
            at_usual=sentence(f"outcomes.at_{one.exposure}"),
            published=scaled(one.loss.published, scale),
            together=scaled(one.loss.together, scale),
        ),
    )


def scaled(estimate: Estimate, by: float) -> Estimate:
    """An estimate in another unit: points of a share."""
    median, lower, upper = (by * part for part in (estimate.median, estimate.lower, estimate.upper))
    return Estimate(median, lower, upper, estimate.interval_prob)


def _needed(one: ExposureOutcome) -> tuple[Sentence, ...]:
    """How many breedings would show a loss worth acting on, and what those on record would."""
    needed = one.needed
    if needed is None or one.standing not in SHOWN_NEEDED:
        return ()
    worth = WORTH_SHARE if one.outcome == "litter" else WORTH_PUPS
    values = {
        "worth": round(100 * worth) if one.outcome == "litter" else round(worth),
        "n_known": needed.n_known,
    }
    if math.isinf(needed.n):
        return (sentence(f"outcomes.needed_many_{one.outcome}", most=MOST_BREEDINGS, **values),)
    if needed.n_more == 0.0:
        return (sentence(f"outcomes.needed_none_{one.outcome}", **values),)
    return (sentence(f"outcomes.needed_{one.outcome}", n=_rounded(needed.n), **values),)


def _rounded(n: float) -> int:
    """Two figures of a size: it is simulated."""
    return int(float(f"{n:.2g}"))


def _different(found: Sequence[Together]) -> tuple[Sentence, ...]:
    """What else was different on the poor side, so that a loss may be of that."""
    if not found:
        return ()
    things = tuple(
        sentence(f"outcomes.with_{'measured' if one.other in MEASURED else 'share'}",
                 what=sentence(f"outcomes.other_{one.other}"), poor=one.poor, usual=one.usual)
        if one.other != "year"
        else sentence("outcomes.with_year", poor=f"{one.poor:.0f}", usual=f"{one.usual:.0f}")
        for one in found
    )  # fmt: skip
    told = sentence("outcomes.different", things=things)
    apart = tuple(
        sentence(f"outcomes.of_{one.other}" if one.other in EXPOSURES
                 else f"outcomes.other_{one.other}")
        for one in found if one.is_inseparable
    )  # fmt: skip
    return (told, sentence("outcomes.inseparable", things=apart)) if apart else (told,)


def _left_out(one: ExposureOutcome) -> tuple[Sentence, ...]:
    """Breedings that are in no number above, and why."""
    counts = one.counts
    if one.standing in {"not_asked", "not_recorded"}:
        return ()
    found = []
    if counts.n_missing:
        found.append(sentence(f"outcomes.missing_{one.outcome}", n=counts.n_missing))
    if counts.n_unreported:
        found.append(sentence("outcomes.unreported", n=counts.n_unreported))
    return tuple(found)
