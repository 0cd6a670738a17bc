"""In which sentences is told what motility, concentration, hours and day went with?

A fact counted from the records, what studies and both together make of it, and how far the records
can tell; one order for all, so that whoever reads one has read them all. Nothing is called a cause.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.models.breedings.exposures import EXPOSURES
from studcurve.analytics.outcomes.confounded import MEASURED, Together
from studcurve.analytics.outcomes.contrast import OPEN_ROWS
from studcurve.analytics.outcomes.counted import FEWEST_IN_BAND, Outcome, Side
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
    paragraphs, verdicts
        Sentences of each, and how far the records can tell, in the same order.
    fitted
        Outcomes whose model has seen the records: of the others nothing stands for both together.
    """

    answer: tuple[Sentence, ...]
    summaries: tuple[ExposureOutcome, ...]
    paragraphs: tuple[tuple[Sentence, ...], ...]
    verdicts: tuple[Sentence, ...]
    fitted: frozenset[Outcome]

    @property
    def has_breedings(self) -> bool:
        """Whether there is any breeding that may be told of."""
        return has_breedings(self.summaries)

    def exposures(self) -> tuple[str, ...]:
        """The four, what could have mattered most first."""
        return tuple(dict.fromkeys(one.exposure for one in self.summaries))

    def of(self, exposure: str) -> tuple[tuple[ExposureOutcome, tuple[Sentence, ...]], ...]:
        """Chance and size of one of the four, each with its sentences."""
        both = zip(self.summaries, self.paragraphs, strict=True)
        found = (pair for pair in both if pair[0].exposure == exposure)
        return tuple(sorted(found, key=lambda pair: pair[0].outcome))


def outcomes_wording(
    summaries: Sequence[ExposureOutcome],
    *,
    fitted: Collection[Outcome],
    asked: Collection[Outcome],
    is_of_one_stud: bool,
    faults: tuple[Sentence, ...] = (),
) -> OutcomesWording:
    """Choose the sentences.

    Parameters
    ----------
    summaries
        What could have mattered most first.
    fitted
        Outcomes whose model has seen the records.
    asked
        Outcomes of which the records alone were asked at the fit.
    is_of_one_stud
        Whether the counts are of one stud: what the records show by themselves is the kennel's.
    faults
        What the checks found of the four, said first.
    """
    verdicts = tuple(
        verdict(one, is_asked=one.outcome in asked, is_of_one_stud=is_of_one_stud)
        for one in summaries
    )
    return OutcomesWording(
        (*faults, *_answer(summaries, verdicts, fitted=fitted, asked=asked)),
        tuple(summaries),
        tuple(
            _paragraph(one, told, is_fitted=one.outcome in fitted)
            for one, told in zip(summaries, verdicts, strict=True)
        ),
        verdicts,
        frozenset(fitted),
    )


def has_breedings(summaries: Sequence[ExposureOutcome]) -> bool:
    """Whether there is any breeding that may be told of; the day is asked of every one."""
    return any(one.counts.n_bred for one in summaries)


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


def verdict(one: ExposureOutcome, *, is_asked: bool, is_of_one_stud: bool) -> Sentence:
    """How far the records can tell.

    Parameters
    ----------
    one
        Exposure and outcome.
    is_asked
        Whether the records alone were asked at the fit: else they can neither show nor rule out.
    is_of_one_stud
        Whether the counts are of one stud, and a claim is the kennel's.
    """
    if one.standing in {"fewer", "more"}:
        whose = "_in_kennel" if is_of_one_stud else ""
        return sentence(f"outcomes.{one.standing}_{one.outcome}{whose}")
    if one.standing in {"open", "bounded"} and not has_row(one):
        return sentence("outcomes.no_row")
    if one.standing in {"open", "bounded"} and not is_asked:
        return sentence("outcomes.unasked")
    if one.standing == "open":
        return sentence(f"outcomes.open_{one.outcome}")
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
    summaries: Sequence[ExposureOutcome],
    verdicts: Sequence[Sentence],
    *,
    fitted: Collection[Outcome],
    asked: Collection[Outcome],
) -> tuple[Sentence, ...]:
    """What the records show by themselves, else what could have mattered most."""
    if not has_breedings(summaries):
        return (sentence("outcomes.nothing"),)
    if "litter" not in fitted:
        return (sentence("outcomes.no_fit"),)
    if not set(fitted) <= set(asked):
        return (sentence("outcomes.fit_again"),)
    claimed = [
        (one, told)
        for one, told in zip(summaries, verdicts, strict=True)
        if one.standing in {"fewer", "more"}
    ]
    if claimed:
        parts = [part for one, told in claimed for part in (fact(one), told)]
        return (*(part for part in parts if part is not None), sentence("outcomes.association"))
    found = [sentence("outcomes.none_shown")]
    foremost = next((one for one in summaries if round(one.pups_at_stake)), None)
    if foremost is not None:
        told = fact(foremost)
        found += [
            sentence(
                "outcomes.foremost",
                exposure=sentence(f"outcomes.of_{foremost.exposure}"),
                n=round(foremost.pups_at_stake),
            ),
            *((told,) if told is not None else ()),
        ]
    return tuple(found)


def _paragraph(one: ExposureOutcome, told: Sentence, *, is_fitted: bool) -> tuple[Sentence, ...]:
    """Fact, lateness, loss, verdict, what is needed, what else was different, what is missing."""
    counted = fact(one)
    parts = [
        *((counted,) if counted is not None else ()),
        *_late(one),
        *(_loss(one) if is_fitted else ()),
        told,
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
        return ()
    scale = 100.0 if one.outcome == "litter" else 1.0
    return (
        sentence(
            f"outcomes.loss_{one.outcome}",
            at_usual=sentence(f"outcomes.at_{one.exposure}"),
            published=scaled(one.loss.published, scale),
            together=scaled(one.loss.together, scale),
        ),
    )


def has_row(one: ExposureOutcome) -> bool:
    """Whether the models hold a row of an exposure for this outcome, so that it can be asked."""
    return one.exposure in OPEN_ROWS[one.outcome]


def scaled(estimate: Estimate, by: float) -> Estimate:
    """An estimate in another unit: points of a share."""
    median, lower, upper = (by * part for part in (estimate.median, estimate.lower, estimate.upper))
    return Estimate(median, lower, upper, estimate.interval_prob)


def _needed(one: ExposureOutcome) -> tuple[Sentence, ...]:
    """How many breedings would show a loss worth acting on, and what those on record would."""
    needed = one.needed
    if needed is None or one.standing not in SHOWN_NEEDED or not has_row(one):
        return ()
    worth = WORTH_SHARE if one.outcome == "litter" else WORTH_PUPS
    # Those of the page: the fit knows of no dog that a caution stops.
    n_known = one.counts.poor.n_known + one.counts.usual.n_known
    values = {
        "worth": round(100 * worth) if one.outcome == "litter" else round(worth),
        "n_known": n_known,
    }
    if math.isinf(needed.n):
        return (sentence(f"outcomes.needed_many_{one.outcome}", most=MOST_BREEDINGS, **values),)
    if needed.n <= n_known:
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
