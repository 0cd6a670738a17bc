r"""How fast must the rotor turn, what does a spin cost, and what was recovered?

The force on a tube at radius :math:`r` is a matter of geometry; what a spin loses and harms is one
published series at five minutes, read between its speeds and never beyond them. A rotor is balanced
before it is started: tubes of equal weight in opposite places (common practice, no source).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from studcurve.analytics.estimate import INTERVAL_PROB, Floats
from studcurve.analytics.measures.counting import exact_interval
from studcurve.analytics.priors import PRIORS

G_PER_CM_RPM2 = 1.118e-5
"""Multiples of gravity per centimeter and squared turn a minute, as laboratories print it (P).

Exactly :math:`4\\pi^2/(3600 \\cdot 980.665) = 1.11824 \\cdot 10^{-5}`."""

STUDIED_G = tuple(
    float(row.removeprefix("s06_").removesuffix("g")) for row in PRIORS if row.startswith("s06_")
)
"""Speeds of the published series, ascending (prior s06). [g]"""

STUDIED_KEPT_PCT = tuple(prior.centre for row, prior in PRIORS.items() if row.startswith("s06_"))
"""Share of the sperm kept in the pellet at those speeds. [%]"""

STUDIED_MINUTES = 5.0
"""Length of every spin of the published series. [min]"""

DAMAGE_FROM_G = 1620.0
"""From this speed on more sperm were dead after 48 to 72 hours. [g]

Rijsselaere 2002, Theriogenology 57:1669-1681 (P)."""

USUAL_G = 720.0
"""Speed that the same paper found best, for five minutes. [g] (P)"""

BALANCE = (
    "Balance the rotor: tubes of equal weight in opposite places, lid closed, before it turns."
)
"""Common practice, no source."""


def relative_force_g(radius_cm: ArrayLike, speed_rpm: ArrayLike) -> Floats:
    r"""Force on the tube, in multiples of gravity.

    Parameters
    ----------
    radius_cm
        Distance of the tube's tip from the axis :math:`r`. [cm]
    speed_rpm
        Turns a minute :math:`n`. [min⁻¹]

    Notes
    -----
    .. math:: g = 1.118 \cdot 10^{-5}\, r\, n^2

    Examples
    --------
    >>> float(relative_force_g(5.0, 10_000.0).round(6))
    5590.0
    """
    squared = np.square(np.asarray(speed_rpm, dtype=np.float64))
    return np.asarray(G_PER_CM_RPM2 * np.asarray(radius_cm, dtype=np.float64) * squared)


def rotor_speed_rpm(radius_cm: ArrayLike, force_g: ArrayLike) -> Floats:
    r"""Turns a minute that give a force, :math:`\sqrt{g / (1.118 \cdot 10^{-5}\, r)}`. [min⁻¹]"""
    force = np.asarray(force_g, dtype=np.float64)
    return np.asarray(np.sqrt(force / (G_PER_CM_RPM2 * np.asarray(radius_cm, dtype=np.float64))))


def expected_kept_pct(force_g: ArrayLike, minutes: ArrayLike = STUDIED_MINUTES) -> Floats:
    """Share of the sperm that a spin leaves in the tube when the fluid is taken off.

    Parameters
    ----------
    force_g
        Force. [g]
    minutes
        Length of the spin. [min]

    Returns
    -------
    numpy.ndarray
        Along straight lines in the logarithm of the force between the published speeds; NaN
        outside of them and for any other length. [%]
    """
    force = np.asarray(force_g, dtype=np.float64)
    kept = np.interp(np.log(np.maximum(force, 1.0)), np.log(STUDIED_G), STUDIED_KEPT_PCT)
    studied = (force >= STUDIED_G[0]) & (force <= STUDIED_G[-1])
    studied &= np.asarray(minutes, dtype=np.float64) == STUDIED_MINUTES
    return np.where(studied, kept, np.nan)


def fluid_to_take_off_ml(volume_ml: ArrayLike, wanted_volume_ml: ArrayLike) -> Floats:
    """Fluid to draw off above the pellet so that the wanted volume is left, never negative. [mL]"""
    return np.maximum(np.subtract(volume_ml, wanted_volume_ml, dtype=np.float64), 0.0)


def recovered_pct(
    n_before: ArrayLike,
    n_after: ArrayLike,
    concentrate_ratio: ArrayLike = 1.0,
    *,
    extra_cv: float,
    interval_prob: float = INTERVAL_PROB,
) -> Floats:
    r"""Share recovered from a count before and one after the spin, with its interval.

    Parameters
    ----------
    n_before, n_after
        Cells counted :math:`N_b, N_a`.
    concentrate_ratio
        What one cell after stands for, over one cell before:
        :math:`q = (V_a D_a / L_a) / (V_b D_b / L_b)` with volume of semen :math:`V`, dilution
        :math:`D` and chamber volume :math:`L`.
    extra_cv
        Error of each count beyond Poisson (prior r02).
    interval_prob
        Probability of the interval.

    Returns
    -------
    numpy.ndarray
        Estimate, lower and upper end, shape (3, ...); above 100 when chance or dilution says so.
        [%]

    Notes
    -----
    Given the sum of two Poisson counts the second is binomial, so its exact interval
    :math:`(l, u)` gives that of the ratio, :math:`q\, l/(1-l)` to :math:`q\, u/(1-u)` (Przyborowski
    & Wilenski 1940, Biometrika 31:313-323 (M)), widened on the log scale by
    :math:`\sqrt 2\,\mathrm{cv}`.
    """
    before = np.asarray(n_before, dtype=np.float64)
    after = np.asarray(n_after, dtype=np.float64)
    share = exact_interval(after, before + after, interval_prob)
    widen = float(ndtri(0.5 + interval_prob / 2.0)) * np.sqrt(2.0) * extra_cv
    with np.errstate(divide="ignore", invalid="ignore"):
        odds, ratio = share / (1.0 - share), after / before
        below = np.hypot(np.log(ratio) - np.log(odds[0]), widen)
        above = np.hypot(np.log(odds[1]) - np.log(ratio), widen)
        ends = np.stack([ratio, ratio * np.exp(-below), ratio * np.exp(above)])
        none_left = np.stack(np.broadcast_arrays(0.0, 0.0, odds[1] * np.exp(widen)))
    ends = np.where(after == 0.0, none_left, ends)
    ends = np.where(before > 0.0, ends, np.nan)
    return np.asarray(100.0 * np.asarray(concentrate_ratio, dtype=np.float64) * ends)
