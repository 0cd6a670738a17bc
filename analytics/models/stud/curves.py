r"""Of what curves is a stud's level over time made?

Plain functions of time, each element-wise, for the model that samples them and for the answers that
read them: season, slow level, an undeclared recent change, the step of a declared event, rest; and
the density and the moments with which a reading meets the level.
"""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
from numpyro.contrib.hsgp.spectral_densities import diag_spectral_density_matern

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.arrays import Array
from studcurve.analytics.models.stud.inputs import REST_REFERENCE_DAYS, days_of

SMOOTHNESS = 1.5
"""Matérn order of the slow level."""

BASIS_PER_HALF_YEAR_OF_RANGE = 3.0
"""Basis functions per year of half the range; resolves lengths from half a year on."""

MARGIN_YEARS = 2.0
"""The basis reaches this far beyond the records: twice the usual length of the slow level. [y]"""

RECENT_DAYS = (150.0, 90.0)
"""Days before a stud's last collection between which an undeclared change sets in. (J) [d]"""

ONSET_WIDTH_DAYS, RECOVERY_WIDTH_DAYS = 3.0, 8.0
"""Widths over which a declared step sets in and recovers. (J) [d]"""


MOST_MISSING = 0.95
"""Share of a rested collection that can be missing at most, however soon the next one is. (J)"""


def season_columns(on: np.ndarray[Any, Any]) -> Floats:
    """Cosine and sine of the time of year, shape (..., 2)."""
    turn = 2.0 * np.pi * days_of(on) / DAYS_PER_YEAR
    return np.stack([np.cos(turn), np.sin(turn)], axis=-1)


def basis_at(on: np.ndarray[Any, Any], domain: Floats, n_basis: int) -> Floats:
    r"""Basis of the slow level at moments, shape (n, n_basis).

    Sines that vanish at both ends of the domain, :math:`\sin\{\tfrac{\pi}{2} j (x + 1)\}` with the
    place :math:`x` from −1 to 1 (Solin & Särkkä 2020, Stat Comput 30:419-446).

    Parameters
    ----------
    on
        Moments, shape (n,).
    domain
        First and last day of the basis since the epoch, shape (2,). [d]
    n_basis
        Number of basis functions.
    """
    middle, half = domain.mean(), (domain[1] - domain[0]) / 2.0
    place = np.clip((days_of(on) - middle) / half, -1.0, 1.0)
    frequency = 0.5 * np.pi * np.arange(1.0, n_basis + 1.0)
    return np.asarray(np.sin(frequency * (place[:, None] + 1.0)))


def basis_domain(on: np.ndarray[Any, Any]) -> Floats:
    """First and last day of the basis: whole years around the records, and a margin."""
    first = on.min().astype("datetime64[Y]")
    last = on.max().astype("datetime64[Y]") + 2
    margin = MARGIN_YEARS * DAYS_PER_YEAR
    ends = days_of(np.array([first, last]).astype("datetime64[s]"))
    return np.asarray(ends + np.array([-margin, margin]))


def spectral_density(amplitude: Array, length: Array, half_range: Array, n_basis: int) -> Array:
    """Variance of the weight of each basis function of the slow level.

    Time is counted in half ranges, so that the range may be an argument of a compiled model.
    """
    return diag_spectral_density_matern(
        nu=SMOOTHNESS, alpha=amplitude**2, length=length / half_range, ell=1.0, m=n_basis, dim=1
    )


def recent_share(days_before_last: Floats) -> Floats:
    """How much of an undeclared recent change is present, this long before the last collection."""
    begins, ends = RECENT_DAYS
    return np.clip((begins - days_before_last) / (begins - ends), 0.0, 1.0)


def step_shape(xp: ModuleType, since: Array, lag: Array, duration: Array) -> Array:
    """Share of a declared event's change that is present this long after it, 0 to 1.

    Parameters
    ----------
    xp
        numpy, or its jax twin.
    since, lag, duration
        Days since the event, from the event to half depth, and from there to half recovery. [d]
    """
    onset = 0.5 * (1.0 + xp.tanh(0.5 * (since - lag) / ONSET_WIDTH_DAYS))
    kept = 0.5 * (1.0 - xp.tanh(0.5 * (since - lag - duration) / RECOVERY_WIDTH_DAYS))
    return onset * kept


def rest_term(xp: ModuleType, rest_days: Array, recovery_days: Array, deficit: Array) -> Array:
    """Log of total sperm after this rest against the reference rest; row q03.

    Parameters
    ----------
    xp
        numpy, or its jax twin.
    rest_days, recovery_days
        Days since the collection before, and time constant of the recovery. [d]
    deficit
        Share that is missing on the next day, 0 to 1.
    """

    def logged(days: Array | float) -> Array:
        missing = deficit * xp.exp(-(days - 1.0) / recovery_days)
        return xp.log1p(-xp.minimum(missing, MOST_MISSING))

    return logged(rest_days) - logged(REST_REFERENCE_DAYS)


def share_moments(xp: ModuleType, level: Array, spread: Array) -> tuple[Array, Array]:
    r"""Mean and variance of a share whose logit is normal.

    .. math::

        p + \tfrac12 p_2 \sigma^2, \qquad
        p_1^2 \sigma^2 \exp\{(\tfrac12 (p_2/p_1)^2 + p_3/p_1) \sigma^2\}

    both to the order :math:`\sigma^4`, with the derivatives :math:`p_1 = p(1-p)`,
    :math:`p_2 = p_1(1-2p)` and :math:`p_3 = p_1(1-6p_1)`; the exponential keeps the variance above
    zero. Off by at most :math:`\sigma^4/64` for the mean and by half of :math:`\sigma^4`,
    relatively, for the variance (test).
    """
    share = 1.0 / (1.0 + xp.exp(-level))
    first = share * (1.0 - share)
    square = spread**2
    mean = share + 0.5 * first * (1.0 - 2.0 * share) * square
    shape = 0.5 * (1.0 - 2.0 * share) ** 2 + 1.0 - 6.0 * first
    return mean, first**2 * square * xp.exp(shape * square)


def tailed_log(xp: ModuleType, apart: Array, scale: Array, tail: Array | float) -> Array:
    """Log density of Student's t without its constant, which depends on ``tail`` alone."""
    return -xp.log(scale) - 0.5 * (tail + 1.0) * xp.log1p((apart / scale) ** 2 / tail)
