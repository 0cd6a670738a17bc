"""What do the readings of one heat say in all: her ovulation, the days, the next test?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from studcurve.analytics.models.ovulation.insemination_days import (
    HEAT_DAYS,
    HeatAnswer,
    NextReading,
    WindowChance,
    heat_answer,
    insemination_chances,
)
from studcurve.analytics.models.ovulation.model import (
    ASSAY_ROWS,
    OvulationPosterior,
    ProgesteroneReading,
    in_order,
    ovulation_posterior,
    recorded_reading,
)
from studcurve.analytics.vocabulary import SemenType

if TYPE_CHECKING:
    import pandas as pd

DAYS_SHOWN = 10
"""Days for which the chance of lying in a window is stated."""

DAYS_BEFORE = 2
"""Days before the early end of ovulation's interval from which that is stated. [d]"""


@dataclass(frozen=True, slots=True)
class HeatNumbers:
    """Everything that an answer tells of one heat.

    Attributes
    ----------
    readings
        In the order of their days.
    posterior
        Of ovulation.
    heat
        State, next readings, and whether a veterinarian is asked.
    low_on, high_on, mean_on
        Ends of its 90 % interval, and its mean.
    happened_prob
        Chance that she has ovulated by now.
    is_over
        Whether the heat has ended.
    draw
        Next blood to draw; None once the heat is over, or where none is advised.
    days, chances
        Coming days, and the chance of each to lie in the window of each source; empty where no day
        may be told.
    mean_on_by_assay
        Where each kind of assay would put ovulation; empty where the kind, or no day, is told.
    """

    readings: tuple[ProgesteroneReading, ...]
    posterior: OvulationPosterior
    heat: HeatAnswer
    low_on: date
    high_on: date
    mean_on: date
    happened_prob: float
    is_over: bool
    draw: NextReading | None
    days: tuple[date, ...]
    chances: tuple[WindowChance, ...]
    mean_on_by_assay: tuple[date, ...]

    @property
    def has_days(self) -> bool:
        """Whether days to inseminate may be told."""
        return self.heat.state in ("dated", "unsure")


def heat_numbers(
    readings: Sequence[ProgesteroneReading],
    *,
    first_day: date | None,
    lh_surge_on: date | None,
    semen_type: SemenType,
    now: datetime,
) -> HeatNumbers:
    """Work out everything that an answer tells of one heat.

    Parameters
    ----------
    readings
        Progesterone, in any order.
    first_day, lh_surge_on
        First day of bleeding, and of the LH surge; None where not known.
    semen_type
        Whose days are asked for.
    now
        When the question is asked.
    """
    ordered = tuple(in_order(readings))
    posterior = ovulation_posterior(ordered, first_day=first_day, lh_surge_on=lh_surge_on)
    last = ordered[-1] if ordered else None
    heat = heat_answer(
        ordered,
        posterior,
        now,
        laboratory=last.laboratory if last else None,
        assay=last.assay if last else "unknown",
        first_day=first_day,
        lh_surge_on=lh_surge_on,
    )
    low, high = posterior.interval()
    is_over = _is_over(ordered, first_day, now)
    days: tuple[date, ...] = ()
    chances: tuple[WindowChance, ...] = ()
    by_assay: tuple[date, ...] = ()
    if heat.state in ("dated", "unsure"):
        first = max(now.date(), low.date() - timedelta(days=DAYS_BEFORE))
        days = tuple(first + timedelta(days=k) for k in range(DAYS_SHOWN))
        chances = tuple(insemination_chances(posterior, semen_type, days))
        if ordered and all(reading.assay == "unknown" for reading in ordered):
            by_assay = tuple(
                ovulation_posterior(
                    [replace(reading, assay=assay) for reading in ordered],
                    first_day=first_day,
                    lh_surge_on=lh_surge_on,
                ).mean_at.date()
                for assay in ASSAY_ROWS
            )
    return HeatNumbers(
        readings=ordered,
        posterior=posterior,
        heat=heat,
        low_on=low.date(),
        high_on=high.date(),
        mean_on=posterior.mean_at.date(),
        happened_prob=posterior.prob_before(now),
        is_over=is_over,
        draw=None if is_over else heat.draw,
        days=days,
        chances=chances,
        mean_on_by_assay=by_assay,
    )


def readings_of_heat(
    progesterone: pd.DataFrame, cycle_id: int, today: date
) -> list[ProgesteroneReading]:
    """Progesterone of one heat up to a day, from the view of that name."""
    rows = progesterone[progesterone["cycle_id"] == cycle_id]
    return [
        recorded_reading(row)
        for row in rows.to_dict("records")
        if row["sampled_earliest"].date() <= today
    ]


def _is_over(
    readings: Sequence[ProgesteroneReading], first_day: date | None, now: datetime
) -> bool:
    """Whether the heat has ended; without its first day by its last reading."""
    if first_day is not None:
        return (now.date() - first_day).days > HEAT_DAYS
    return bool(readings) and now - readings[-1].sampled_latest > timedelta(days=HEAT_DAYS)
