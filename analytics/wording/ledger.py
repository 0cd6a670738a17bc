"""In which sentences is told whether stated chances were right, and which numbers to distrust?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from studcurve.analytics.sentences import Sentence, Value, Word, sentence
from studcurve.analytics.trust.ledger import (
    ALARM_CAPITAL,
    ALARM_RATE,
    N_FOR_CALIBRATION,
    N_FOR_SCORES,
    SETTLED_DAYS,
    Ledger,
    Litters,
    Record,
)
from studcurve.analytics.wording.trust import gain_sentence


@dataclass(frozen=True, slots=True)
class LedgerWording:
    """What is told of stated chances, finished.

    Attributes
    ----------
    ledger
        The numbers behind it.
    alarm
        What must be said before any chance: that they are off, and which numbers to distrust.
    paragraphs
        Of sentences: of the model, then of people where any stated a chance.
    """

    ledger: Ledger
    alarm: tuple[Sentence, ...]
    paragraphs: tuple[tuple[Sentence, ...], ...]


def ledger_wording(ledger: Ledger, n_held: int) -> LedgerWording:
    """Choose the sentences.

    Parameters
    ----------
    ledger
        Without the dogs that a caution stops.
    n_held
        Chances that were left out with them.
    """
    held = (sentence("ledger.held", n=n_held),) if n_held else ()
    alarm = _alarm(ledger.model) if ledger.model.is_off else ()
    if not ledger.model.n_stated and ledger.people is None:
        return LedgerWording(ledger, (), ((sentence("ledger.nothing"), *held),))
    of_model = (*_record(ledger.model, "made"), *held)
    if ledger.people is None:
        return LedgerWording(ledger, alarm, (of_model,))
    return LedgerWording(ledger, alarm, (of_model, _record(ledger.people, "made_people")))


def _record(record: Record, key: str) -> tuple[Sentence, ...]:
    """How many were stated, what came of them, how they scored, and the running test."""
    sentences = [
        sentence(
            f"ledger.{key}",
            n_stated=record.n_stated,
            n_counting=record.n_counting,
            n_known=record.n_known,
        )
    ]
    counts = {
        "waiting": record.n_known - record.n_settled,
        "missing": record.n_missing,
        "replayed": record.n_replayed,
        "older": record.n_older,
        "withdrawn": record.n_withdrawn,
    }
    for name, n in counts.items():
        if n:
            more = {"days": SETTLED_DAYS} if name == "waiting" else {}
            sentences.append(sentence(f"ledger.{name}", n=n, **more))
    if record.litters is not None:
        sentences.append(_litters(record.litters))
    if record.n_settled < N_FOR_SCORES:
        sentences.append(sentence("ledger.too_few", wanted=N_FOR_SCORES))
    sentences += _scores(record)
    if record.n_settled < N_FOR_CALIBRATION:
        sentences.append(sentence("ledger.picture_from", wanted=N_FOR_CALIBRATION))
    return (*sentences, *(_alarm(record) if key == "made" else _alarm_of_people(record)))


def _litters(litters: Litters) -> Sentence:
    """Litters that came against those expected; judged only from enough breedings on."""
    found: dict[str, Value] = {
        "n": litters.n,
        "n_whelped": litters.n_whelped,
        "expected": litters.expected,
        "difference": litters.difference,
    }
    if litters.n < N_FOR_SCORES:
        return sentence("ledger.litters_few", **found)
    verdict = "in_line"
    if litters.difference.lower > 0.0:
        verdict = "more"
    elif litters.difference.upper < 0.0:
        verdict = "fewer"
    return sentence("ledger.litters", verdict=sentence(f"ledger.{verdict}"), **found)


def _scores(record: Record) -> list[Sentence]:
    scores = record.scores
    if not scores:
        return []
    beside = {way: gain_sentence(scores[way]) for way in ("published", "raw") if way in scores}
    sentences = [
        sentence(
            "ledger.scored" if "published" in beside else "ledger.scored_raw",
            log_score=scores["stated"].log_score,
            brier=scores["stated"].brier,
            **beside,
        )
    ]
    if "model" in scores:
        sentences.append(sentence("ledger.beside_model", model=gain_sentence(scores["model"])))
    return sentences


def _alarm(record: Record) -> tuple[Sentence, ...]:
    """That the model's chances are off and which numbers to distrust, or how the test stands."""

    def alarm(fault: Word) -> Sentence:
        assert record.evidence is not None
        assert record.evidence.raised_on is not None
        kinds = tuple(Word("of_semen", kind) for kind in record.standing_out)
        return sentence(
            "ledger.alarm",
            fault=fault,
            on=record.evidence.raised_on,
            rate=ALARM_RATE,
            worst=sentence("ledger.worst", kinds=kinds)
            if kinds
            else sentence("ledger.worst_nowhere"),
        )

    return _evidence(record, alarm)


def _alarm_of_people(record: Record) -> tuple[Sentence, ...]:
    def alarm(fault: Word) -> Sentence:
        assert record.evidence is not None
        assert record.evidence.raised_on is not None
        return sentence("ledger.alarm_people", fault=fault, on=record.evidence.raised_on)

    return _evidence(record, alarm)


def _evidence(record: Record, alarm: Callable[[Word], Sentence]) -> tuple[Sentence, ...]:
    """The alarm where it was raised, else how the test stands; nothing before a breeding counts."""
    evidence = record.evidence
    if evidence is None:
        return ()
    if evidence.fault is not None:
        return (alarm(Word("fault", evidence.fault)),)
    return (
        sentence(
            "ledger.quiet",
            capital=evidence.capital,
            highest=evidence.highest,
            wanted=ALARM_CAPITAL,
            rate=ALARM_RATE,
        ),
    )
