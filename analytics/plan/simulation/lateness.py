r"""How likely is the shipment late, by carrier and weekday?

A shipment comes on the promised day, on the next delivery day, or after the weekend, with shares

.. math:: \pi_{cw} \sim \mathrm{Dirichlet}(20\, m_{cw}), \qquad
    m_{cw} = \frac{20\, m_0 + n_{c, \ne w}}{20 + \sum n_{c, \ne w}}

that start from the published guess :math:`m_0` (prior p01, worth 20 shipments), lean on what the
carrier did on the other weekdays :math:`n_{c, \ne w}`, and are updated by the kennel's own
shipments of that carrier and weekday. Shipments without a known arrival say nothing. Does not know:
weather, holidays and lost shipments.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Floats
from studcurve.analytics.priors import PRIORS

OUTCOMES = ("on time", "next day", "after the weekend")
"""What can happen to a shipment."""

PUBLISHED_SHARES = np.array([PRIORS["p01"].centre, 0.06, 0.02])
"""Shares before any record (prior p01, J)."""

WORTH_SHIPMENTS = PRIORS["p01"].sd
"""Shipments that a starting share is worth (prior p01, J)."""


@dataclass(frozen=True, slots=True)
class ShipmentRecord:
    """What the kennel's own shipments of one carrier did.

    Attributes
    ----------
    carrier
        Name.
    counts
        Shipments by weekday of leaving and by outcome, shape (7, 3).
    """

    carrier: str
    counts: Floats

    @property
    def n_shipments(self) -> int:
        """Shipments with a known arrival."""
        return int(self.counts.sum())


def shipment_record(shipments: pd.DataFrame, carrier: str) -> ShipmentRecord:
    """Count a carrier's shipments.

    Parameters
    ----------
    shipments
        The view of that name: carrier, sent_earliest, n_days_late; one day late is the next day,
        more is after the weekend, early is on time.
    carrier
        Name, in any case of letters.

    Returns
    -------
    BoxRecord
    """
    counts = np.zeros((7, len(OUTCOMES)))
    own = shipments[shipments["carrier"].fillna("").str.casefold() == carrier.casefold()]
    own = own[own["n_days_late"].notna() & own["sent_earliest"].notna()]
    weekdays = pd.to_datetime(own["sent_earliest"]).dt.day_of_week.to_numpy(dtype=np.int64)
    late = np.clip(own["n_days_late"].to_numpy(dtype=np.int64), 0, len(OUTCOMES) - 1)
    np.add.at(counts, (weekdays, late), 1.0)
    return ShipmentRecord(carrier, counts)


def share_draws(
    record: ShipmentRecord | None, weekday: int, *, rng: np.random.Generator, n_draws: int
) -> Floats:
    """Draw the shares of the three outcomes.

    Parameters
    ----------
    record
        Own shipments of the carrier; None for a carrier without any.
    weekday
        Day on which the shipment leaves, Monday is 0.
    rng
        Source of the draws.
    n_draws
        Number of draws.

    Returns
    -------
    numpy.ndarray
        Shape (n_draws, 3), rows sum to 1.
    """
    counts = np.zeros((7, len(OUTCOMES))) if record is None else record.counts
    elsewhere = counts.sum(axis=0) - counts[weekday]
    start = (WORTH_SHIPMENTS * PUBLISHED_SHARES + elsewhere) / (WORTH_SHIPMENTS + elsewhere.sum())
    return rng.dirichlet(WORTH_SHIPMENTS * start + counts[weekday], size=n_draws)


def outcome_draws(shares: Floats, uniform: Floats) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Index of what happens to the shipment in each draw, 0 to 2.

    Parameters
    ----------
    shares
        From :func:`share_draws`.
    uniform
        One number between 0 and 1 a draw, shared by every option; a greater one is later.
    """
    return np.asarray((uniform[:, None] > np.cumsum(shares, axis=1)[:, :2]).sum(axis=1))
