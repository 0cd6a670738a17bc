r"""Which day is it, counted from what?

Every count of days here names its zero: gestation counted from the LH peak, from ovulation and from
a mating are three quantities. Day 0 is the day of the event itself. Windows are in whole days, and
a window from an uncertain ovulation is as much wider as that ovulation is unsure.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from analytics.estimate import INTERVAL_PROB, Floats
from analytics.priors import PRIORS

PROGESTERONE_G_PER_MOL = 314.46
"""Molar mass of progesterone, C₂₁H₃₀O₂. [g/mol] (P)"""

NMOL_PER_NG = 1000.0 / PROGESTERONE_G_PER_MOL
"""Nanomoles in a nanogram per volume: 1 ng/mL = 3.180 nmol/L. (D)"""

ProgesteroneUnit = Literal["ng/mL", "nmol/L"]
"""Units in which laboratories print progesterone."""

WhelpingZero = Literal["LH peak", "ovulation", "mating"]
"""The events from which a whelping can be counted."""

ZERO_ROWS: dict[WhelpingZero, str] = {
    "LH peak": "o06_lh", "ovulation": "o06_ovulation", "mating": "o06_mating",
}  # fmt: skip
"""The row of the table behind each count."""

SMALL_LITTER_PUPS = 4
"""Up to so many pups a litter comes later (prior o06_small)."""

OVERDUE_DAYS_FROM_OVULATION = 65
"""A bitch without labor after this day from ovulation is for a veterinarian. [d] (M)"""

SPERMATOGENESIS_DAYS = 61.9
"""From stem cell to released sperm, four and a half cycles of 13.73 d. [d]

Soares et al. 2009, J Anat (mongrel, poodle, pinscher, beagle, Labrador) (P)."""

EPIDIDYMIS_DAYS = (10, 14)
"""Shortest and longest passage through the epididymis. [d] (M)

Reserve over daily production gives 8 to 11 d: Olar, Amann & Pickett 1983, Biol Reprod (D)."""

LOOK_BACK_DAYS = (70, EPIDIDYMIS_DAYS[0])
"""Harm to the making of sperm began so many days before the sample: farthest, nearest. [d] (D)"""

RETEST_EARLIEST_DAYS = 60
"""Two months, the interval at which a failed examination is repeated. [d]

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


def progesterone_nmol_per_l(ng_per_ml: ArrayLike) -> Floats:
    r"""Progesterone in nmol/L, :math:`1000 / 314.46` of that in ng/mL."""
    return np.asarray(np.asarray(ng_per_ml, dtype=np.float64) * NMOL_PER_NG)


def whelping_window(
    zero: WhelpingZero,
    zero_on: date,
    *,
    zero_sd_days: float = 0.0,
    n_pups: int | None = None,
    interval_prob: float = INTERVAL_PROB,
) -> DayWindow:
    r"""When she should whelp, counted from one event.

    Parameters
    ----------
    zero
        What day 0 is.
    zero_on
        Day of that event.
    zero_sd_days
        Error of that day itself. [d]
    n_pups
        Pups seen on the scan; up to four come about a day later.
    interval_prob
        Probability of the window.

    Notes
    -----
    Normal with the mean and sd of prior o06, the sd joined with the error of day 0; the ends are
    rounded to whole days, which never cuts the interval.
    """
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
        From two months to the day on which every sperm was made after the end.
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
