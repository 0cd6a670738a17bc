r"""Which day is it, counted from what?

Every count of days here names its zero: gestation counted from the LH peak, from ovulation, from a
mating that progesterone timed and from one that nothing timed are four quantities. Day 0 is the day
of the event itself. Windows are in whole days, and a window from an uncertain ovulation is as much
wider as that ovulation is unsure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from studcurve.analytics.estimate import INTERVAL_PROB, Floats
from studcurve.analytics.priors import PRIORS

PROGESTERONE_G_PER_MOL = 314.46
"""Molar mass of progesterone, C₂₁H₃₀O₂. [g/mol] (P)"""

NMOL_PER_NG = 1000.0 / PROGESTERONE_G_PER_MOL
"""Nanomoles in a nanogram per volume: 1 ng/mL = 3.180 nmol/L. (D)"""

ProgesteroneUnit = Literal["ng/mL", "nmol/L"]
"""Units in which laboratories print progesterone."""

WhelpingZero = Literal["LH surge", "ovulation", "timed mating", "mating"]
"""The events from which a whelping can be counted: a ``timed mating`` is a single one on the day
that progesterone gave, a ``mating`` any other."""

ZERO_ROWS: Mapping[WhelpingZero, str] = MappingProxyType({
    "LH surge": "o06_lh", "ovulation": "o06_ovulation", "timed mating": "o06_mating",
})  # fmt: skip
"""The row of the table behind each count that has one."""

UNTIMED_WHELPING_DAYS = (57, 72)
"""From the first mating to the earliest whelping, from the last to the latest; without a middle,
as she may have ovulated before the mating or up to nine days after it. [d]

57 to 72 days from a single mating: Concannon et al. 1983 (M); 57 to 59 days when already ovulated,
67 to 72 when she ovulates 2 to 9 days later: Romagnoli 2013, teaching text (secondary) (P)."""

NO_LABOR_DAYS: Mapping[WhelpingZero, int] = MappingProxyType({
    "LH surge": 67, "ovulation": 65, "timed mating": 65, "mating": 72,
})  # fmt: skip
"""A bitch without labor by this day is for a veterinarian the same day; from the first mating where
there are several. [d]

Teaching rules (M): 65 days from ovulation, which lies two days after the LH peak; 72 from the first
mating. 65 is the longest of 113 timed single matings: Okkens 2001 (P)."""

PUP_COUNT_DAYS: Mapping[WhelpingZero, int] = MappingProxyType({
    "LH surge": 57, "ovulation": 55, "timed mating": 55, "mating": 55,
})  # fmt: skip
"""From about this day a radiograph counts the pups; from the last mating where there are several.
[d] Teaching rule (M)."""

TEMPERATURE_DAYS_BEFORE = 3
"""Her temperature is taken from so many days before the first day of the whelping. [d] (J)"""

SMALL_LITTER_PUPS = 4
"""Up to so many pups a litter comes later (prior o06_small)."""

SPERMATOGENESIS_DAYS = 61.9
"""From stem cell to released sperm, four and a half cycles of 13.73 d. [d]

Soares et al. 2009, J Anat (mongrel, poodle, pinscher, beagle, Labrador) (P)."""

EPIDIDYMIS_DAYS = (10, 14)
"""Shortest and longest passage through the epididymis. [d] (M)

Reserve over daily production gives 8 to 11 d: Olar, Amann & Pickett 1983, Biol Reprod (D)."""

LOOK_BACK_DAYS = (70, EPIDIDYMIS_DAYS[0])
"""Harm to the making of sperm began so many days before the sample: farthest, nearest. [d] (D)"""

RETEST_EARLIEST_DAYS = 60
"""Two months, the interval at which a failed examination is repeated; the earliest, not sure. [d]

Guideline of a veterinary society for theriogenology (secondary) (P)."""


@dataclass(frozen=True, slots=True)
class DayWindow:
    """Days that something is expected on.

    Attributes
    ----------
    what
        What is expected.
    zero
        What day 0 is.
    zero_on
        The day 0.
    first_day, last_day
        Ends, in days from day 0; both included.
    source
        Author, year, journal and mark.
    middle_day
        The most likely day, where there is one.
    interval_prob
        Probability of the window, where it has one.
    """

    what: str
    zero: str
    zero_on: date
    first_day: int
    last_day: int
    source: str
    middle_day: int | None = None
    interval_prob: float | None = None

    @property
    def first_on(self) -> date:
        """First day of the window."""
        return self.zero_on + timedelta(days=self.first_day)

    @property
    def last_on(self) -> date:
        """Last day of the window."""
        return self.zero_on + timedelta(days=self.last_day)

    @property
    def middle_on(self) -> date | None:
        """Most likely day."""
        if self.middle_day is None:
            return None
        return self.zero_on + timedelta(days=self.middle_day)


def spoken_day(on: date) -> str:
    """Print a day so that it cannot be misread: 5 Mar 2024."""
    return f"{on.day} {on:%b %Y}"


def progesterone_ng_per_ml(value: ArrayLike, unit: ProgesteroneUnit) -> Floats:
    """Progesterone in ng/mL from the unit in which it was printed.

    Examples
    --------
    >>> float(progesterone_ng_per_ml(17.3, "nmol/L").round(2))
    5.44
    """
    printed = np.asarray(value, dtype=np.float64)
    if unit not in ("ng/mL", "nmol/L"):
        raise ValueError(f"progesterone is printed in ng/mL or nmol/L; got {unit!r}")
    return printed if unit == "ng/mL" else np.asarray(printed / NMOL_PER_NG)


@dataclass(frozen=True, slots=True)
class Whelping:
    """When a whelping is expected, and what belongs to it.

    Attributes
    ----------
    window
        Its days.
    no_labor_by
        Without labor by this day she is for a veterinarian the same day.
    pups_counted_from
        From this day on a radiograph counts the pups.
    temperature_from
        Her temperature is taken from this day on.
    """

    window: DayWindow
    no_labor_by: date
    pups_counted_from: date
    temperature_from: date


def expected_whelping(
    zero: WhelpingZero,
    zero_on: date,
    *,
    last_on: date | None = None,
    zero_sd_days: float = 0.0,
    n_pups: int | None = None,
    interval_prob: float = INTERVAL_PROB,
) -> Whelping:
    r"""When she should whelp, counted from one event; the only place that counts it.

    Parameters
    ----------
    zero
        What day 0 is.
    zero_on
        Day of that event; the first mating where there are several.
    last_on
        Last mating, where there are several that nothing timed.
    zero_sd_days
        Error of that day itself. [d]
    n_pups
        Pups seen on the scan; up to four come about a day later.
    interval_prob
        Probability of the window.

    Notes
    -----
    Normal with the mean and sd of prior o06, the sd joined with the error of day 0; the ends are
    rounded to whole days. From a mating that nothing timed :data:`UNTIMED_WHELPING_DAYS`, which has
    neither a middle nor a probability.
    """
    last = last_on or zero_on
    if zero == "mating":
        window = _untimed_window(zero_on, last)
    else:
        window = _window(zero, zero_on, zero_sd_days, n_pups, interval_prob)
    return Whelping(
        window,
        zero_on + timedelta(days=NO_LABOR_DAYS[zero]),
        last + timedelta(days=PUP_COUNT_DAYS[zero]),
        window.first_on - timedelta(days=TEMPERATURE_DAYS_BEFORE),
    )


def _untimed_window(first_on: date, last_on: date) -> DayWindow:
    earliest, latest = UNTIMED_WHELPING_DAYS
    source = (
        "57 to 72 days from a mating: Concannon et al. 1983 (M), Romagnoli 2013 (secondary) (P)"
    )
    return DayWindow(
        "whelping", "mating", first_on, earliest, (last_on - first_on).days + latest, source
    )


def _window(
    zero: WhelpingZero, zero_on: date, zero_sd_days: float, n_pups: int | None, interval_prob: float
) -> DayWindow:
    """Days from an event that is timed."""
    row = PRIORS[ZERO_ROWS[zero]]
    middle, source = row.centre, f"{row.source} ({row.mark})"
    if n_pups is not None and n_pups <= SMALL_LITTER_PUPS:
        small = PRIORS["o06_small"]
        middle, source = middle + small.centre, f"{source}; {small.source} ({small.mark})"
    half = float(ndtri(0.5 + interval_prob / 2.0)) * float(np.hypot(row.sd, zero_sd_days))
    return DayWindow(
        "whelping",
        zero,
        zero_on,
        round(middle - half),
        round(middle + half),
        source,
        middle_day=round(middle),
        interval_prob=interval_prob,
    )


def look_back(collected_on: date) -> tuple[DayWindow, DayWindow]:
    """When something must have happened that shows in a sample.

    Parameters
    ----------
    collected_on
        Day of the collection, day 0.

    Returns
    -------
    tuple of DayWindow
        For harm to the making of sperm, and for harm in the epididymis.
    """
    source = "Soares et al. 2009, J Anat (P); passage of the epididymis from memory (M)"
    farthest, nearest = LOOK_BACK_DAYS
    return (
        DayWindow(
            "began while the sperm were made (testis)",
            "collection", collected_on, -farthest, -nearest, source,
        ),
        DayWindow(
            "began while they ripened (epididymis)",
            "collection", collected_on, -EPIDIDYMIS_DAYS[1], 0, source,
        ),
    )  # fmt: skip


def retest(ended_on: date) -> DayWindow:
    """When a sample shows whether a dog has recovered.

    Parameters
    ----------
    ended_on
        Day on which the fever, heat or treatment ended, day 0.

    Returns
    -------
    DayWindow
        Its first day, after two months, is the earliest on which a sample tells anything; its last
        is the sure one, as every sperm was made after the end.
    """
    turnover = round(SPERMATOGENESIS_DAYS + EPIDIDYMIS_DAYS[1])
    return DayWindow(
        "examine him again",
        "end of the harm",
        ended_on,
        RETEST_EARLIEST_DAYS,
        turnover,
        "two months: guideline of a society for theriogenology (secondary) (P); whole turnover: "
        "Soares et al. 2009, J Anat (P), epididymis from memory (M)",
    )
