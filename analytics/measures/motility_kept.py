r"""How much of its motility does a sample keep, and until which hour is it enough?

The share of progressive motility that is left after :math:`t` hours is a Weibull curve,

.. math:: S(t) = \exp\{-(t/\eta)^{\kappa}\}, \qquad S(0) = 1

with time scale :math:`\eta` and shape :math:`\kappa`; above 1 the loss begins late and then
hastens, as published series of egg-yolk extenders show. Before any record :math:`\eta` and
:math:`\kappa` are drawn from priors s01 to s05; a kennel's own fit supplies draws of the same kind.
Everything else is closed form in these draws, and the same draws serve every hour, so that a later
hour never looks better than an earlier one.

Hour 0 is the collection. Does not know: a shipment left in the sun or frozen on the ice pack, the
shock of cooling too fast, bacteria, and fertility: motility kept is not fertility kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, Floats, estimate_from_draws
from studcurve.analytics.priors import PRIORS

Medium = Literal["egg yolk", "milk", "cream", "unknown", "undiluted"]
"""What the sample is kept in: an extender at 4 to 5 °C, or nothing at room temperature."""

N_DRAWS = 20_000
"""Draws behind a probability; its Monte Carlo error is at most 0.35 points."""

STUDIED_HOURS_CHILLED = 192.0
"""Longest storage at 4 to 5 °C that several series agree about. [h]

Eight days: Batista 2012, Reprod Domest Anim; Ponglowhapan et al. 2004, Theriogenology 62:1498-1517
(P)."""

STUDIED_HOURS_UNDILUTED = 12.0
"""Longest time of the series behind the undiluted curve. [h]

Epididymides of 75 dogs at 25 to 28 °C, a proxy (D)."""

STATED_UNTIL_HOURS = 72.0
"""No dose is called enough beyond this. [h] No claim on pregnancy reaches further (c12, J)."""

STATED_STEP_HOURS = 12.0
"""Hours of a dose are stated in half days, rounded down: no curve knows the hour. [h] (J)"""

NOT_FERTILITY = "Motility that lasts does not prove fertility."
"""Printed wherever the curve is shown; no study relates hours of storage in dogs to litters."""


def hours_shown(hours: float | None) -> float | None:
    """How long a dose is enough, as it is stated: whole half days, never beyond 72 h.

    Parameters
    ----------
    hours
        As calculated; None where it is never enough. [h]

    Examples
    --------
    >>> [hours_shown(hours) for hours in (11.9, 12.0, 90.25)]
    [0.0, 12.0, 72.0]
    """
    if hours is None:
        return None
    return min(STATED_STEP_HOURS * (hours // STATED_STEP_HOURS), STATED_UNTIL_HOURS)


@dataclass(frozen=True, slots=True)
class StorageDraws:
    """Draws of the storage curve of one sample.

    Attributes
    ----------
    eta_h
        Time scale, the hours after which 37 % is left, shape (n,). [h]
    kappa
        Shape of the curve, shape (n,).
    studied_until_h
        No number is given beyond this hour. [h]
    source
        Where the draws come from, with the mark.
    observed_until_h
        Longest storage that the kennel itself has read in this extender, 0 for none; None where the
        curve is the published one. [h]
    """

    eta_h: Floats
    kappa: Floats
    studied_until_h: float
    source: str
    observed_until_h: float | None = None

    def __post_init__(self) -> None:
        if self.eta_h.ndim != 1 or self.eta_h.shape != self.kappa.shape:
            raise ValueError(
                "a storage curve needs as many eta as kappa, in one row each; "
                f"got shapes {self.eta_h.shape} and {self.kappa.shape}"
            )

    @property
    def is_own(self) -> bool:
        """Whether the kennel's own readings are in the curve."""
        return self.observed_until_h is not None

    def is_beyond_own(self, hour: float) -> bool:
        """Whether an hour extrapolates the kennel's own readings; never on the published curve."""
        return self.observed_until_h is not None and hour > self.observed_until_h

    def share(self, hours: ArrayLike) -> Floats:
        """Share of motility kept, draw by draw.

        Parameters
        ----------
        hours
            Hours since the collection, any shape (...). [h]

        Returns
        -------
        numpy.ndarray
            0 to 1, shape (..., n); NaN beyond the studied hours.
        """
        time = np.asarray(hours, dtype=np.float64)[..., None]
        kept = retention_share(time, self.eta_h, self.kappa)
        return np.where(time > self.studied_until_h, np.nan, kept)


def log_retention(hours: Floats, eta_h: Floats, kappa: Floats) -> Floats:
    r"""Log of the share of motility kept, :math:`-(t/\eta)^{\kappa}`.

    Only operators are used, so that a sampled model may pass the arrays of its own library.

    Parameters
    ----------
    hours
        Hours since the collection :math:`t`, not negative. [h]
    eta_h
        Time scale :math:`\eta`. [h]
    kappa
        Shape :math:`\kappa`.
    """
    return -((hours / eta_h) ** kappa)


def retention_share(hours: ArrayLike, eta_h: ArrayLike, kappa: ArrayLike) -> Floats:
    r"""Share of motility kept, :math:`\exp\{-(t/\eta)^{\kappa}\}`; arguments broadcast.

    Examples
    --------
    >>> float(retention_share(192.0, 192.0, 1.5).round(4))
    0.3679
    """
    time, scale = np.asarray(hours, dtype=np.float64), np.asarray(eta_h, dtype=np.float64)
    return np.asarray(np.exp(log_retention(time, scale, np.asarray(kappa, dtype=np.float64))))


def medium_of(extender: str | None) -> Medium:
    """Tell from the extender's name what the sample is kept in.

    Parameters
    ----------
    extender
        As the owner writes it; "none" and "raw" stand for an unextended sample, a blank for an
        extender that nobody noted.
    """
    name = (extender or "").casefold()
    if name.strip() in {"none", "raw", "undiluted", "not extended"}:
        return "undiluted"
    media: tuple[tuple[str, Medium], ...] = (
        ("cream", "cream"), ("yolk", "egg yolk"), ("milk", "milk"),
    )  # fmt: skip
    return next((medium for word, medium in media if word in name), "unknown")


def published_storage(
    medium: Medium, *, rng: np.random.Generator, n_draws: int = N_DRAWS
) -> StorageDraws:
    """Draw the storage curve of a sample of an unknown stud from the published table.

    Parameters
    ----------
    medium
        What the sample is kept in.
    rng
        Source of the draws.
    n_draws
        Number of draws.

    Returns
    -------
    StorageDraws
        With the spread between studs and between collections (prior s05).
    """
    shift = np.zeros(n_draws)
    for row in ("s05_stud", "s05_collection"):
        # A half-normal scale times a normal effect: the spread itself is not known either.
        shift += PRIORS[row].sd * np.abs(rng.normal(size=n_draws)) * rng.normal(size=n_draws)
    if medium == "undiluted":
        half_time, shape = PRIORS["s04"], PRIORS["s04_shape"].centre
        half_h = half_time.centre * np.exp(half_time.sd * rng.normal(size=n_draws) + shift)
        return StorageDraws(
            half_h / np.log(2.0) ** (1.0 / shape),
            np.full(n_draws, shape),
            STUDIED_HOURS_UNDILUTED,
            f"{half_time.source} ({half_time.mark})",
        )
    scale, shapes = PRIORS["s01"], PRIORS["s03"]
    eta_h = scale.centre * np.exp(scale.sd * rng.normal(size=n_draws) + shift)
    source = f"{scale.source} ({scale.mark})"
    if medium != "egg yolk":
        factor = PRIORS[f"s02_{medium}"]
        eta_h = eta_h * factor.centre * np.exp(factor.sd * rng.normal(size=n_draws))
        source = f"{source}; {factor.source} ({factor.mark})"
    kappa = shapes.centre * np.exp(shapes.sd * rng.normal(size=n_draws))
    return StorageDraws(eta_h, kappa, STUDIED_HOURS_CHILLED, source)


def kept_at(
    curve: StorageDraws,
    start: ArrayLike,
    hours: float,
    *,
    interval_prob: float = INTERVAL_PROB,
) -> Estimate | None:
    """What is left of a starting value at one hour; None beyond the studied hours.

    Parameters
    ----------
    curve
        The storage curve.
    start
        Value at hour 0, one number or one a draw: a motility, or a motile dose.
    hours
        Hours since the collection. [h]
    interval_prob
        Probability of the interval.

    Returns
    -------
    Estimate or None
        In the unit of the starting value.
    """
    left = np.asarray(start, dtype=np.float64) * curve.share(hours)
    return None if np.isnan(left).any() else estimate_from_draws(left, interval_prob)


def enough_prob(curve: StorageDraws, start: ArrayLike, wanted: float, hours: ArrayLike) -> Floats:
    """Probability that what is left at an hour is at least what is wanted.

    Parameters
    ----------
    curve
        The storage curve.
    start
        Value at hour 0, one number or one a draw.
    wanted
        Value that must be left, in the same unit.
    hours
        Hours since the collection, any shape. [h]

    Returns
    -------
    numpy.ndarray
        0 to 1, shape of ``hours``; NaN beyond the studied hours.
    """
    left = np.asarray(start, dtype=np.float64) * curve.share(hours)
    return np.where(np.isnan(left).any(axis=-1), np.nan, (left >= wanted).mean(axis=-1))


def last_hour(curve: StorageDraws, start: ArrayLike, wanted: float, *, prob: float) -> float | None:
    r"""Last hour at which enough is left with a stated probability.

    Parameters
    ----------
    curve
        The storage curve.
    start
        Value at hour 0, one number or one a draw.
    wanted
        Value that must be left, in the same unit.
    prob
        Probability that it is.

    Returns
    -------
    float or None
        At most the studied hours; None when not even hour 0 is that sure. [h]

    Notes
    -----
    Draw by draw the value falls to what is wanted at
    :math:`t^* = \eta \{\log(\mathrm{start}/\mathrm{wanted})\}^{1/\kappa}`, so the answer is the
    :math:`1 - p` quantile of :math:`t^*`.
    """
    if wanted <= 0.0:
        raise ValueError(f"what must be left has to be above zero; got {wanted}")
    with np.errstate(divide="ignore"):
        surplus = np.log(np.asarray(start, dtype=np.float64) / wanted)
    surplus = np.broadcast_to(surplus, curve.eta_h.shape)
    lasts_h = np.where(
        surplus >= 0.0,
        curve.eta_h * np.maximum(surplus, 0.0) ** (1.0 / curve.kappa),
        -np.inf,
    )
    hour = float(np.quantile(lasts_h, 1.0 - prob, method="lower"))
    return None if np.isneginf(hour) else min(hour, curve.studied_until_h)
