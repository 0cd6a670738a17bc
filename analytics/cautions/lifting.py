"""What ends a stop: an examination or a veterinarian's release; time only where a rule says so."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date

from studcurve.analytics.cautions import words
from studcurve.analytics.cautions.records import HealthLine
from studcurve.analytics.cautions.tables import REPRODUCTIVE


def of_kind(lines: Iterable[HealthLine], kind: str, today: date) -> Iterator[HealthLine]:
    """Current lines of a kind up to a day."""
    return (
        line for line in lines if line.kind == kind and line.on <= today and not line.is_superseded
    )


def that_lift(lines: Iterable[HealthLine], kind: str, today: date) -> Iterator[HealthLine]:
    """Lines of a kind that may end a stop: none that waits to be confirmed."""
    return (line for line in of_kind(lines, kind, today) if not line.is_doubtful)


def is_released(
    lines: Iterable[HealthLine], since: date, today: date, *, about: Iterable[str]
) -> bool:
    """Whether a veterinarian released the dog on a day or later.

    Parameters
    ----------
    lines
        All lines of the dog.
    since, today
        First and last day on which a release counts.
    about
        Kinds of illness or organs of which the release may speak; one for breeding as a whole does
        for each of them, and never for an infection.
    """
    wanted = frozenset(about)
    return any(
        line.on >= since
        and line.veterinarian.strip() != ""
        and (words.is_whole_release(line.what) or bool(words.released_from(line.what) & wanted))
        for line in that_lift(lines, "release by veterinarian", today)
    )


def was_examined(lines: Iterable[HealthLine], since: date, today: date) -> bool:
    """Whether an examination that could show where blood, pus or pain come from is recorded.

    It counts from the day of the sign on, and only with a finding that is none of those that stop.
    """
    return any(
        line.on >= since
        and line.result.strip() != ""
        and words.organ_of(line.what) in REPRODUCTIVE
        and words.stopping_finding_of(line.what, line.result) is None
        for line in that_lift(lines, "examination", today)
    )
