"""The slip that travels in a shipment: what it holds, how it was read, and the strip that comes
back.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.sentences import Value
from studcurve.reports.page import fill
from studcurve.reports.words import Words


@dataclass(frozen=True, slots=True)
class HealthTest:
    """One recorded test, as the laboratory printed it."""

    what: str
    result: str | None
    sampled_on: date


@dataclass(frozen=True, slots=True)
class ShipmentSlip:
    """What the slip says; every text from records is hostile until rendered.

    Attributes
    ----------
    stud, registered_name, for_bitch, clinic
        Names; None where not given.
    collected_at, sent_at, inseminate_at
        When; the last as planned.
    n_doses, dose_volume_ml
        Doses in the shipment, and the volume of each. [mL]
    extender, ratio
        Its name, None where it was not noted, and parts of it to one of semen; 0 for none.
    n_cells, is_counted
        Cells counted in a chamber; whether anything was counted at all.
    motility_pct, n_evaluated
        Moving forward as read, of how many sperm; None by eye. [%]
    motile_now_m, motile_then_m
        Moving forward per dose, when collected and when inseminated. [10⁶]
    target_m, certainty, meets_prob
        Dose aimed at, how surely, and how surely it is met when inseminated.
    until_at
        Until when it is stated to be met that surely, in half days; None when not even when
        inseminated.
    is_divided
        Whether the doses meet the target; else the whole sample is one dose.
    tests
        Health tests of the stud, newest of each kind.
    has_brucella_test
        Whether one of them is for *Brucella*.
    mark
        By which the kennel knows the shipment again.
    """

    stud: str
    registered_name: str | None
    for_bitch: str | None
    clinic: str | None
    collected_at: datetime
    sent_at: datetime
    inseminate_at: datetime
    n_doses: int
    dose_volume_ml: float
    extender: str | None
    ratio: float
    n_cells: int | None
    is_counted: bool
    motility_pct: float
    n_evaluated: int | None
    motile_now_m: Estimate
    motile_then_m: Estimate
    target_m: float
    certainty: float
    meets_prob: float
    until_at: datetime | None
    is_divided: bool
    tests: tuple[HealthTest, ...]
    has_brucella_test: bool
    mark: str


def render_slip(slip: ShipmentSlip, words: Words) -> str:
    """Render the slip as one HTML file of one page."""
    return fill("slip.html.j2", words, slip=slip, facts=_facts(slip, words))


def _facts(slip: ShipmentSlip, words: Words) -> tuple[tuple[str, str], ...]:
    """What the shipment holds, label by label."""

    def dose(estimate: Estimate) -> str:
        return words.say(
            "slip.dose_range", median=estimate.median, low=estimate.lower, high=estimate.upper
        )

    def by_time(key: str, estimate: Estimate, at: datetime) -> tuple[str, str]:
        return words[key], words.say("slip.at", range=dose(estimate), at=words.moment(at))

    given = (("slip.for_bitch", slip.for_bitch), ("slip.clinic", slip.clinic))
    return (
        *((words[key], name) for key, name in given if name),
        (words["slip.collected"], words.moment(slip.collected_at)),
        (words["slip.sent"], words.moment(slip.sent_at)),
        (
            words["slip.doses"],
            words.say("slip.n_doses", n=slip.n_doses, each=slip.dose_volume_ml),
        ),
        (words["slip.kept_in"], _kept_in(slip, words)),
        by_time("slip.motile_now", slip.motile_now_m, slip.collected_at),
        by_time("slip.motile_then", slip.motile_then_m, slip.inseminate_at),
        (words["slip.meets"], _meets(slip, words)),
        (words["slip.how_read"], _how_read(slip, words)),
    )


def _kept_in(slip: ShipmentSlip, words: Words) -> str:
    if slip.ratio == 0.0:
        return words["slip.unextended"]
    name = words["slip.extender_unknown"]
    if slip.extender:
        name = words.word("extender", slip.extender)
    return words.say("slip.ratio", extender=name, ratio=slip.ratio)


def _meets(slip: ShipmentSlip, words: Words) -> str:
    if slip.until_at is None:
        return words.say(
            "slip.meets_never",
            certainty=slip.certainty,
            prob=slip.meets_prob,
            at=words.moment(slip.inseminate_at),
        )
    # The day alone: no curve knows the hour.
    days = (slip.until_at - slip.collected_at).total_seconds() / 86400.0
    key = "slip.meets_until" if slip.until_at > slip.inseminate_at else "slip.meets_then"
    return words.say(
        key if slip.is_divided else f"{key}_whole",
        target=slip.target_m,
        days=days,
        at=words.moment(slip.inseminate_at),
        certainty=slip.certainty,
    )


def _how_read(slip: ShipmentSlip, words: Words) -> str:
    if slip.n_cells is not None:
        counted = words.say("slip.counted", n_cells=slip.n_cells)
    else:
        counted = words["slip.photometer" if slip.is_counted else "slip.not_counted"]
    moving: dict[str, Value] = {"pct": slip.motility_pct}
    if slip.n_evaluated is None:
        moving_text = words.say("slip.by_eye", **moving)
    else:
        moving_text = words.say("slip.judged", n_evaluated=slip.n_evaluated, **moving)
    return words.say("slip.read_so", counted=counted, moving=moving_text)
