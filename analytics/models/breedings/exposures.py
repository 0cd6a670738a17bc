"""What motility, concentration, hours and day was each breeding exposed to, as far as recorded?

The recorded values themselves, for whoever lays them beside outcomes; a model reads them as latent
values with their errors (:mod:`studcurve.analytics.models.breedings.semen`). Hours that the semen
was kept and a shipment's lateness are two things: a late one may still be inseminated early.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.breedings.inputs import numbers
from studcurve.analytics.models.breedings.semen import (
    dose_when_inseminated,
    hours_since_collection,
    motility_when_inseminated,
    usual_motility_pct,
)
from studcurve.analytics.models.breedings.terms import (
    USUAL_CONCENTRATION_M_PER_ML,
    method_flags,
)

Texts = np.ndarray[Any, Any]
Codes = np.ndarray[Any, np.dtype[np.int64]]

EXPOSURES = ("motility", "concentration", "hours", "day")
"""The four that outcomes are laid beside, in the order in which a breeding meets them."""

HOURS_DOUBT_LIMIT = 24.0
"""Doubt of the hours up to which they are shown: two days without a time of day. [h] (rule)"""

DAY_SD_LIMIT = 1.5
"""Doubt of the day up to which it is shown: as sure as what is usual without any record. [d]"""

LATE_HOURS = {"fresh": 6.0, "chilled": 36.0}
"""Hours after collection beyond which semen was kept long: a night on the way and a morning for
chilled semen. [h] (rule)"""

LATE_DAYS = 1
"""Days after the promised one from which a shipment was late. [d]"""


class Exposures(NamedTuple):
    """Recorded values of each breeding, NaN where there is none or where it does not apply; (n,).

    Attributes
    ----------
    motility_pct
        Progressive motility, carried to the hour of the insemination. [%]
    motile_m_per_ml
        Progressively motile sperm in a mL of what was inseminated. [10⁶/mL]
    hours
        From collection to insemination, of fresh and chilled semen. [h]
    day
        From ovulation to the insemination that was nearest to the fertile window. [d]
    n_days_late
        Arrival of the shipment after the promised day. [d]
    """

    motility_pct: Floats
    motile_m_per_ml: Floats
    hours: Floats
    day: Floats
    n_days_late: Floats

    def of(self, exposure: str) -> Floats:
        """Values of one of :data:`EXPOSURES`."""
        columns = (self.motility_pct, self.motile_m_per_ml, self.hours, self.day)
        return columns[EXPOSURES.index(exposure)]


def unrecorded(n: int) -> Exposures:
    """Breedings of which nothing was recorded."""
    return Exposures(*(np.full(n, np.nan) for _ in Exposures._fields))


def exposures_of(
    first: pd.DataFrame, semen: Texts, route: Texts, days: Floats, day_sd: Floats, doubt_h: Floats
) -> Exposures:
    """Read what was recorded of each breeding.

    Parameters
    ----------
    first
        First inseminations as in the view, in the order of the breedings.
    semen, route
        Text, shape (n,).
    days, day_sd
        Recorded day of each insemination from ovulation and its sd, NaN where there is none, shape
        (n, n_inseminations). [d]
    doubt_h
        Doubt of the hours since the collection, shape (n,). [h]
    """
    natural = semen == "natural"
    with np.errstate(invalid="ignore"):
        is_read = (doubt_h <= HOURS_DOUBT_LIMIT) & np.isin(semen, tuple(LATE_HOURS))
    concentration = dose_when_inseminated(first)[0] / numbers(first, "dose_volume_ml")
    return Exposures(
        motility_pct=np.where(natural, np.nan, motility_when_inseminated(first).pct),
        motile_m_per_ml=np.where(natural | (concentration <= 0.0), np.nan, concentration),
        hours=np.where(is_read, hours_since_collection(first), np.nan),
        day=_nearest_day(semen, route, np.where(day_sd <= DAY_SD_LIMIT, days, np.nan)),
        n_days_late=numbers(first, "n_days_late"),
    )


def _nearest_day(semen: Texts, route: Texts, days: Floats) -> Floats:
    """Day of the insemination that is nearest to the fertile window of the method, shape (n,)."""
    flags = method_flags(semen, route)
    early, late = np.asarray(flags.early_edge)[:, None], np.asarray(flags.late_edge)[:, None]
    outside = np.maximum(early - days, 0.0) + np.maximum(days - late, 0.0)
    nearest = np.where(np.isnan(days), np.inf, outside).argmin(axis=1)
    return np.asarray(days[np.arange(len(days)), nearest])


def poor_sides(exposures: Exposures, semen: Texts, route: Texts) -> Mapping[str, Codes]:
    """On which side of the usual each breeding was, by exposure and, beside, by lateness.

    Motility below the usual of its semen type, concentration below the usual one, semen kept beyond
    :data:`LATE_HOURS`, a day outside of the fertile window of the method, a shipment late.

    Parameters
    ----------
    exposures, semen, route
        Of the breedings, shape (n,).

    Returns
    -------
    mapping
        1 on the poor side, 0 on the other, −1 where nothing was recorded; shape (n,).
    """
    flags = method_flags(semen, route)
    limit_h = np.array([LATE_HOURS.get(kind, np.inf) for kind in semen])
    with np.errstate(invalid="ignore"):
        poor = {
            "motility": exposures.motility_pct < usual_motility_pct(semen),
            "concentration": exposures.motile_m_per_ml < USUAL_CONCENTRATION_M_PER_ML,
            "hours": exposures.hours > limit_h,
            "day": (exposures.day < flags.early_edge) | (exposures.day > flags.late_edge),
            "late": exposures.n_days_late >= LATE_DAYS,
        }
    known = {name: exposures.of(name) for name in EXPOSURES} | {"late": exposures.n_days_late}
    return {
        name: np.where(np.isnan(known[name]), -1, side.astype(np.int64))
        for name, side in poor.items()
    }
