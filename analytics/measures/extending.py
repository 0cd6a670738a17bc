"""How much extender, and does the dose fit?

Ratios are extender to semen. The rules of thumb of the trade carry "common practice, no source"
where no paper stands behind them; they are reminders and no limits of nature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.doses import Route

USUAL_RATIO = (3.0, 5.0)
"""Parts of extender to one of semen in common use.

Sugai 2024, Front Vet Sci 10:1339840 (P)."""

THINNEST_M_PER_ML = 25.0
"""Final concentration that kept worst. [10⁶ mL⁻¹] Sugai 2024, Front Vet Sci 10:1339840 (P)."""

UNEXTENDED_MINUTES = 30.0
"""How long raw semen waits for its extender at most. [min] Common practice, no source."""

VOLUME_LIMITS_ML: tuple[tuple[float, dict[Route, float]], ...] = (
    (5.0, {"vaginal": 2.0, "transcervical": 1.0}),
    (10.0, {"vaginal": 3.0, "transcervical": 1.5}),
    (25.0, {"vaginal": 5.0, "transcervical": 2.0}),
    (45.0, {"vaginal": 8.0, "transcervical": 3.0}),
    (np.inf, {"vaginal": 10.0, "transcervical": 4.0}),
)
"""Volume that fits a bitch, by her weight up to [kg] and route. [mL]

Common practice, no source; the veterinarian who inseminates decides."""

MOST_ML: dict[Route, float] = {
    route: max(limits[route] for _, limits in VOLUME_LIMITS_ML)
    for route in ("vaginal", "transcervical")
}
"""Volume that fits the largest bitch, by route: what no bitch takes more than. [mL]"""


@dataclass(frozen=True, slots=True)
class Reminder:
    """A rule of the bench that this sample meets badly.

    Attributes
    ----------
    sentence
        What to look at.
    source
        Author, year, journal and mark, or "common practice, no source".
    """

    sentence: str
    source: str


def extender_for_ratio_ml(volume_ml: ArrayLike, ratio: ArrayLike) -> Floats:
    r"""Extender for a ratio of extender to semen, :math:`r V`. [mL]

    Examples
    --------
    >>> float(extender_for_ratio_ml(2.0, 4.0))
    8.0
    """
    return np.multiply(volume_ml, ratio, dtype=np.float64)


def extender_for_concentration_ml(
    volume_ml: ArrayLike, concentration_m_per_ml: ArrayLike, final_m_per_ml: ArrayLike
) -> Floats:
    r"""Extender for a final concentration :math:`c`, :math:`V (C/c - 1)`. [mL]

    NaN where the sample is already thinner: extender cannot concentrate it, a spin can.
    """
    times = np.divide(concentration_m_per_ml, final_m_per_ml, dtype=np.float64)
    extender = np.multiply(volume_ml, times - 1.0, dtype=np.float64)
    return np.where(extender < 0.0, np.nan, extender)


def volume_limit_ml(weight_kg: float, route: Route) -> float:
    """Volume that fits a bitch of this weight by this route. [mL]"""
    return next(limits[route] for upto, limits in VOLUME_LIMITS_ML if weight_kg <= upto)


def semen_to_leave_ml(limit_ml: float, ratio: float, n_doses: int) -> float:
    r"""Semen to leave in a spin so that doses fit, :math:`n L / (1 + r)`. [mL]

    Parameters
    ----------
    limit_ml
        Volume that fits her :math:`L`. [mL]
    ratio
        Parts of extender to one of semen :math:`r`.
    n_doses
        Doses :math:`n`.

    Examples
    --------
    >>> semen_to_leave_ml(5.0, 4.0, 1)
    1.0
    """
    return n_doses * limit_ml / (1.0 + ratio)


def bench_reminders(
    *,
    ratio: float | None = None,
    final_m_per_ml: float | None = None,
    unextended_minutes: float | None = None,
    dose_volume_ml: float | None = None,
    limit_ml: float | None = None,
) -> tuple[Reminder, ...]:
    """What to look at before the doses are made up; what is not known is not judged.

    Parameters
    ----------
    ratio
        Parts of extender to one of semen.
    final_m_per_ml
        Concentration after extending. [10⁶ mL⁻¹]
    unextended_minutes
        From the collection to the extender. [min]
    dose_volume_ml, limit_ml
        Volume of one dose, and what fits. [mL]
    """
    reminders = []
    lowest, highest = USUAL_RATIO
    if ratio is not None and not lowest <= ratio <= highest:
        reminders.append(
            Reminder(
                f"Semen to extender as 1 + {ratio:.3g} is outside the usual 1 + {lowest:.0f} to "
                f"1 + {highest:.0f}.",
                "Sugai 2024, Front Vet Sci 10:1339840 (P)",
            )
        )
    if final_m_per_ml is not None and final_m_per_ml < THINNEST_M_PER_ML:
        reminders.append(
            Reminder(
                f"{final_m_per_ml:.3g} M/mL after extending is thinner than "
                f"{THINNEST_M_PER_ML:.0f} M/mL, which lasted worst: less extender, or centrifuge "
                "first.",
                "Sugai 2024, Front Vet Sci 10:1339840 (P)",
            )
        )
    if unextended_minutes is not None and unextended_minutes > UNEXTENDED_MINUTES:
        reminders.append(
            Reminder(
                f"Unextended for {unextended_minutes:.0f} minutes; more than "
                f"{UNEXTENDED_MINUTES:.0f} cost motility.",
                "common practice, no source",
            )
        )
    if dose_volume_ml is not None and limit_ml is not None and dose_volume_ml > limit_ml:
        reminders.append(
            Reminder(
                f"A dose of {dose_volume_ml:.3g} mL is more than the {limit_ml:.3g} mL that fit "
                "her by this route: centrifuge first and remove supernatant.",
                "common practice, no source",
            )
        )
    return tuple(reminders)
