"""The same records fitted again with another belief, where that takes seconds."""

from __future__ import annotations

from studcurve.analytics.errors import ConvergenceError
from studcurve.analytics.models.breedings.posterior import Belief
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.conception.model import ConceptionPosterior, fit_conception
from studcurve.analytics.models.sampling import SCHEDULE, Run

REFIT_UP_TO = 300
"""Breedings up to which the records are fitted again; a fit of so few takes seconds. (rule)"""

SHORTER = (Run(300, 500, 0.95, path_length=1.6), SCHEDULE[0])
"""A shorter attempt first: an interval needs no more draws than the gate does."""


def refit(data: ConceptionData, belief: Belief, *, seed: int) -> ConceptionPosterior | None:
    """Fit the records again.

    Parameters
    ----------
    data
        Records.
    belief
        In the published rows.
    seed
        Of the sampler.

    Returns
    -------
    ConceptionPosterior or None
        None of more records than :data:`REFIT_UP_TO`, or where the sampler did not settle.
    """
    if data.n_breedings > REFIT_UP_TO:
        return None
    try:
        return fit_conception(data, seed=seed, belief=belief, schedule=SHORTER)
    except ConvergenceError:
        return None
