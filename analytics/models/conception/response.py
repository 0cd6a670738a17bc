"""What would the chance of a litter be at another dose, another day, another hour?

The posterior of the conception model, read on a grid before any page is written: a page may only
look numbers up. Every cell is a breeding of a bitch not seen before, four years old, that has not
missed, inseminated once with semen of the usual motility; the stud is the one named, or one not
seen before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from studcurve.analytics.estimate import Floats, interval_quantiles
from studcurve.analytics.models.breedings.inputs import USUAL_DOSE_M
from studcurve.analytics.models.breedings.semen import usual_motility_pct
from studcurve.analytics.models.breedings.terms import design_matrix
from studcurve.analytics.models.conception.chance import litter_prob, pregnant_logits
from studcurve.analytics.models.conception.model import ConceptionPosterior

DAYS = tuple(np.arange(-3.0, 8.01, 0.5).tolist())
"""Days from ovulation at which the chance is read. [d]"""

DOSES_M = (12.5, 25.0, 50.0, 100.0, 150.0, 200.0, 300.0, 400.0, 600.0, 800.0)
"""Motile doses at which the chance is read. [10⁶]"""

STORAGE_HOURS = (24.0, 36.0, 48.0, 60.0, 72.0)
"""Hours of chilled storage at which the chance is read; no claim beyond (prior c12). [h]"""

BEST_DAY = {"natural": 1.0, "fresh": 2.0, "chilled": 2.0, "frozen": 3.0}
"""Day on which the sliders start: within the window of every source (priors c17 to c19). [d]"""


SOUND_MORPHOLOGY_PCT, AGE_YEARS = 80.0, 4.0
"""Normal sperm of the sample, and the age of bitch and stud: where no term counts. [%; y]"""


@dataclass(frozen=True, slots=True)
class Response:
    """Chance of a litter over hours, doses and days.

    Attributes
    ----------
    semen_type, route
        As in the views.
    hours, doses_m, days
        Positions of the three axes; an axis that does not apply has one. [h, 10⁶, d]
    lower, median, upper
        Ends of the interval and its middle, shape (hours, doses, days). [0 to 1]
    """

    semen_type: str
    route: str
    hours: tuple[float, ...]
    doses_m: tuple[float, ...]
    days: tuple[float, ...]
    lower: Floats
    median: Floats
    upper: Floats


def read_response(
    posterior: ConceptionPosterior, semen_type: str, route: str, stud: str | None
) -> Response:
    """Read the posterior over every hour, dose and day.

    Parameters
    ----------
    posterior
        Fitted, or the published table restored.
    semen_type, route
        As in the views.
    stud
        Whose effect is inside; None for a stud not seen before.
    """
    hours = STORAGE_HOURS if semen_type == "chilled" else STORAGE_HOURS[:1]
    doses_m = DOSES_M if semen_type != "natural" else (USUAL_DOSE_M["vaginal"],)
    hour, dose, day = (axis.ravel() for axis in np.meshgrid(hours, doses_m, DAYS, indexing="ij"))
    n = len(hour)
    semen, routes = np.full(n, semen_type), np.full(n, route)
    logits = pregnant_logits(
        posterior.draws,
        semen,
        routes,
        design=design_matrix(
            semen,
            routes,
            n_inseminations=np.ones(n),
            storage_days=hour / 24.0,
            normal_morphology_pct=np.full(n, SOUND_MORPHOLOGY_PCT),
            bitch_age_years=np.full(n, AGE_YEARS),
            stud_age_years=np.full(n, AGE_YEARS),
            missed_before=np.zeros(n),
            motile_m_per_ml=np.full(n, np.nan),
            hours_known=np.full(n, np.nan),
        ),
        doublings=np.log2(dose / USUAL_DOSE_M.get(route, np.nan)),
        motility_pct=usual_motility_pct(semen),
        days=day[:, None],
        inseminated=np.ones((n, 1), dtype=bool),
    )
    logits = logits + _stud_effect(posterior, stud)[:, None]
    chances = litter_prob(posterior.draws, logits, spread=_spread(posterior.draws, stud))
    shape = (len(hours), len(doses_m), len(DAYS))
    lower, median, upper = (
        ends.reshape(shape) for ends in np.quantile(chances, interval_quantiles(), axis=0)
    )
    return Response(semen_type, route, hours, doses_m, DAYS, lower, median, upper)


def _stud_effect(posterior: ConceptionPosterior, stud: str | None) -> Floats:
    """Draws of the effect of a stud that the records know; zero for another."""
    known = posterior.data.levels["stud"]
    if stud is None or stud not in known:
        return np.zeros(len(posterior.draws["c01"]))
    return posterior.draws["effect_stud"][:, known.index(stud)]


def _spread(draws: Mapping[str, Floats], stud: str | None) -> Floats:
    """Spread of the partners that have not been seen: the bitch and her breed, or all three."""
    unseen = ("bitch", "breed") if stud is not None else ("bitch", "breed", "stud")
    return np.sqrt(sum(draws[f"c20_{factor}"] ** 2 for factor in unseen))
