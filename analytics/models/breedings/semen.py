r"""With how many motile sperm was she inseminated, how motile were they, and how sure is either?

Dose and motility are one latent pair. Of what was recorded

.. math::

    \begin{pmatrix} d \\ m \end{pmatrix} \Big| \text{records} \;\propto\;
    N_2\!\left(\text{record} \,\Big|\, \begin{pmatrix} d \\ m \end{pmatrix}, E\right)
    N_2\!\left(\begin{pmatrix} d \\ m \end{pmatrix} \Big|\, \text{population}, P\right)

with :math:`d` in doublings of the usual dose and :math:`m` the progressive motility when
inseminated. Whoever reads the motility ten points too high works out a dose too large by the same
reading: where the dose rests on this very reading, :math:`E` holds its error in both. In the
population too a more motile sample is a larger dose. A record that is missing leaves the other
one, and both missing the population of that method and stud. Outcomes are never read here.

Which motility: that of the shipment on arrival, else of its retained part, else of the raw
collection, carried to the hour of the insemination by the published storage curve of the extender
(rows s01 to s05); for frozen semen that of the lot after thaw. What the curve leaves open is in the
error. The same curve carries a dose that was worked out when it was packed. Fresh semen is carried
by no curve: row c25 holds all that its hours take. A natural mating has neither dose nor motility.

Does not know: the bias of whoever evaluated; a reader who is always high makes every sample seem
better alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Floats, normal_nodes
from studcurve.analytics.measures.moments import middle_of
from studcurve.analytics.measures.motility_kept import (
    Medium,
    StorageDraws,
    medium_of,
    published_storage,
)
from studcurve.analytics.models.breedings.inputs import (
    DOSE_LOG2_SD,
    DOSE_NODES,
    DOSE_POPULATION,
    USUAL_DOSE_M,
    numbers,
    population,
)
from studcurve.analytics.models.breedings.terms import hinge
from studcurve.analytics.priors import PRIORS

Texts = np.ndarray[Any, Any]

USUAL_MOTILITY_PCT = {
    "fresh": PRIORS["c23_usual_fresh"].centre,
    "chilled": PRIORS["c23_usual_chilled"].centre,
    "frozen": PRIORS["c23_usual_frozen"].centre,
}
"""Motility when inseminated on which the published rows of a type rest (J). [% progressive]"""

MOTILITY_POPULATION = {"fresh": (72.0, 13.0), "chilled": (65.0, 13.0), "frozen": (45.0, 12.0)}
"""Mean and sd of the progressive motility when inseminated, before any record (J on q02). [%]"""

SHORT_BY_PCT = 10.0
"""Points of motility that one unit of rows c23 and l19 stands for. [points]"""

READ_OF_DOSE = ("raw", "after thaw")
"""Readings that a dose is worked out from: their error is in both."""

STUDIED_STORAGE_HOURS = 192.0
"""Beyond it the storage curve carries no reading. [h]"""

N_CURVES = 4000
"""Draws of a storage curve behind a mean and an sd; both are then sure to 2 % of the sd."""

MOST_CARRIED_BACK = 3.0
"""A motility read after the insemination was at most so many times as high at it (J)."""

CLOSEST = 0.9
"""Correlation of dose and motility beyond which none is believed (J)."""

SHORT_NODES, SHORT_WEIGHTS = normal_nodes(31)
"""Where a motility is read for the mean of what it falls short by, in sd."""

SIDES = np.array([-1.0, 1.0])
"""Where the shortfall is read at each dose, in its own sd: mean and variance are exact."""


@dataclass(frozen=True, slots=True)
class SemenInseminated:
    """The latent pair of every breeding, given its records.

    Attributes
    ----------
    dose_mean, dose_sd
        Log2 of motile dose over the usual one, shape (n,). [doublings]
    motility_mean, motility_sd
        Progressive motility when inseminated, shape (n,). [%]
    correlation
        Between the two, shape (n,).
    """

    dose_mean: Floats
    dose_sd: Floats
    motility_mean: Floats
    motility_sd: Floats
    correlation: Floats


def semen_given_records(
    first: pd.DataFrame, semen: Texts, route: Texts, stud: Texts
) -> SemenInseminated:
    """Dose and motility of the first insemination of each breeding, given what was recorded.

    Parameters
    ----------
    first
        First inseminations as in the view, in the order of the breedings, NaN where there is none.
    semen, route, stud
        Text, shape (n,).
    """
    usual_m = np.array([USUAL_DOSE_M.get(kind, np.nan) for kind in route])
    read = motility_when_inseminated(first)
    dose_m, dose_error, of_curve = dose_when_inseminated(first)
    doublings = np.log2(dose_m / usual_m)
    read_pct = np.where(semen == "natural", np.nan, read.pct)
    dose_centre, dose_spread = np.zeros(len(semen)), np.ones(len(semen))
    motility_centre, motility_spread = np.full(len(semen), 65.0), np.full(len(semen), 13.0)
    for kind, start_pct in MOTILITY_POPULATION.items():
        of_kind = semen == kind
        _population_of_studs(
            of_kind, stud, read_pct, read.error_pct, start_pct, motility_centre, motility_spread
        )
        for where in USUAL_DOSE_M:
            method = of_kind & (route == where)
            _population_of_studs(
                method, stud, doublings, dose_error, DOSE_POPULATION, dose_centre, dose_spread
            )
    # The reading is in the dose that was worked out from it; one curve carries both of a sample.
    on_dose = first["motility_read"].isin(READ_OF_DOSE).to_numpy(dtype=bool)
    shared = np.where(on_dose, read.of_reading_pct**2 * _doublings_per_point(motility_centre), 0.0)
    shared = shared + read.of_curve_pct * of_curve
    return _paired(
        Known(doublings, dose_error, dose_centre, dose_spread),
        Known(read_pct, read.error_pct, motility_centre, motility_spread),
        shared,
    )


def straw_given_record(motile_dose_m: float, post_thaw_pct: float, route: str) -> SemenInseminated:
    """Dose and motility of one frozen dose of a lot, each of shape (1,).

    Parameters
    ----------
    motile_dose_m
        Progressively motile sperm of the straws that make a dose; NaN when not recorded. [10⁶]
    post_thaw_pct
        Progressive motility after thaw; NaN when not recorded. [%]
    route
        Route of insemination.
    """
    with np.errstate(divide="ignore"):
        doublings = np.log2(np.array([motile_dose_m / USUAL_DOSE_M[route]]))
    error_pct = np.array([PRIORS["r01_sd"].centre])
    centre_pct, spread_pct = (np.array([value]) for value in MOTILITY_POPULATION["frozen"])
    centre, spread = (np.array([value]) for value in DOSE_POPULATION)
    return _paired(
        Known(doublings, np.array([DOSE_LOG2_SD]), centre, spread),
        Known(np.array([post_thaw_pct]), error_pct, centre_pct, spread_pct),
        error_pct**2 * _doublings_per_point(centre_pct),
    )


def _doublings_per_point(motility_pct: Floats) -> Floats:
    """By how many doublings a dose grows with a point of motility: it is a count times it."""
    return np.asarray(1.0 / (motility_pct * np.log(2.0)))


def _population_of_studs(
    chosen: Texts,
    stud: Texts,
    values: Floats,
    error: Floats,
    start: tuple[float, float],
    centre: Floats,
    spread: Floats,
) -> None:
    """Write mean and sd of one population, shrunk to each stud's own mean, where it is chosen."""
    middle, sd = population(values[chosen], error[chosen], start)
    for name in np.unique(stud[chosen]):
        his = chosen & (stud == name)
        centre[his], _ = population(values[his], error[his], (middle, sd))
        spread[his] = sd


class Known(NamedTuple):
    """What is known of one of the two: record and error, population's mean and sd; shape (n,)."""

    record: Floats
    error: Floats
    centre: Floats
    spread: Floats


def _paired(dose: Known, motility: Known, shared: Floats) -> SemenInseminated:
    """Both records with both populations, as two normals of two dimensions.

    Parameters
    ----------
    dose, motility
        In doublings, and in %.
    shared
        Covariance of the two errors, read where both were recorded. [doublings × points]
    """
    both = np.isfinite(dose.record) & np.isfinite(motility.record)
    of_population = motility.spread * _doublings_per_point(motility.centre) / dose.spread
    of_error = np.where(both, shared / (dose.error * motility.error), 0.0)
    prior = _precision(dose.spread, motility.spread, np.minimum(CLOSEST, of_population))
    seen = _precision(
        np.where(np.isfinite(dose.record), dose.error, np.inf),
        np.where(np.isfinite(motility.record), motility.error, np.inf),
        np.minimum(CLOSEST, of_error),
    )
    covariance = np.linalg.inv(prior + seen)
    centre = np.stack([dose.centre, motility.centre], axis=-1)[..., None]
    record = np.nan_to_num(np.stack([dose.record, motility.record], axis=-1))[..., None]
    mean = (covariance @ (prior @ centre + seen @ record))[..., 0]
    dose_sd, motility_sd = (np.sqrt(covariance[:, k, k]) for k in (0, 1))
    return SemenInseminated(
        mean[:, 0], dose_sd, mean[:, 1], motility_sd, covariance[:, 0, 1] / (dose_sd * motility_sd)
    )


def _precision(sd_of_dose: Floats, sd_of_motility: Floats, correlation: Floats) -> Floats:
    """Inverse of a covariance of two, shape (n, 2, 2); an infinite sd is no record."""
    left = 1.0 - correlation**2
    found = np.empty((len(correlation), 2, 2))
    found[:, 0, 0] = 1.0 / (sd_of_dose**2 * left)
    found[:, 1, 1] = 1.0 / (sd_of_motility**2 * left)
    found[:, 0, 1] = found[:, 1, 0] = -correlation / (sd_of_dose * sd_of_motility * left)
    return found


class MotilityRead(NamedTuple):
    """A reading, carried to the hour of the insemination; NaN where nothing was read; shape (n,).

    Attributes
    ----------
    pct
        Progressive motility. [%]
    of_reading_pct, of_curve_pct
        Its error by the reading, and by what the storage curve leaves open. [points]
    """

    pct: Floats
    of_reading_pct: Floats
    of_curve_pct: Floats

    @property
    def error_pct(self) -> Floats:
        """Both together. [points]"""
        return np.hypot(self.of_reading_pct, self.of_curve_pct)


def motility_when_inseminated(first: pd.DataFrame) -> MotilityRead:
    """What was read, carried to the hour of the insemination, and its error.

    Parameters
    ----------
    first
        Inseminations as in the view.
    """
    read = numbers(first, "progressive_motility_pct")
    n_evaluated = numbers(first, "n_motility_evaluated")
    share = np.clip(read / 100.0, 0.02, 0.98)
    with np.errstate(invalid="ignore", divide="ignore"):
        counted = np.hypot(
            100.0 * np.sqrt(share * (1.0 - share) / n_evaluated), PRIORS["r01_judged"].centre
        )
    error = np.where(np.isnan(n_evaluated), PRIORS["r01_sd"].centre, counted)
    read_h = np.where(
        first["motility_read"].eq("raw").to_numpy(), 0.0, numbers(first, "motility_read_hours")
    )
    kept, kept_sd = _kept_until_inseminated(first, read_h)
    carried = np.minimum(kept * read, 100.0)
    return MotilityRead(carried, kept * error, kept_sd * read)


def dose_when_inseminated(first: pd.DataFrame) -> tuple[Floats, Floats, Floats]:
    """Motile dose, its error, and the part of it that the storage curve leaves open.

    A dose that stands in a shipment was worked out when it was packed: the curve takes from it what
    it takes from the motility.

    Parameters
    ----------
    first
        Inseminations as in the view.

    Returns
    -------
    tuple of numpy.ndarray
        Shape (n,); the dose is NaN where none, or nothing, was recorded. [10⁶, doublings twice]
    """
    dose_m = numbers(first, "motile_dose_m")
    packed = first["is_dose_packed"].eq(True).fillna(False).to_numpy(dtype=bool)
    kept, kept_sd = _kept_until_inseminated(first, np.where(packed, 0.0, np.nan))
    of_curve = kept_sd / (kept * np.log(2.0))
    known_m = np.where(dose_m > 0.0, dose_m * kept, np.nan)
    return known_m, np.hypot(DOSE_LOG2_SD, of_curve), of_curve


def _kept_until_inseminated(first: pd.DataFrame, from_h: Floats) -> tuple[Floats, Floats]:
    """Share of motility kept from an hour of chilled storage to the insemination, and its sd.

    One and none where either hour is unknown, and for semen that is not chilled.
    """
    until_h = hours_since_collection(first)
    kept, kept_sd = np.ones(len(first)), np.zeros(len(first))
    stored = first["semen_type"].eq("chilled").to_numpy()
    medium = media_of(first)
    for k in np.flatnonzero(stored & np.isfinite(from_h) & np.isfinite(until_h)):
        kept[k], kept_sd[k] = kept_between(medium[k], float(from_h[k]), float(until_h[k]))
    return kept, kept_sd


def media_of(first: pd.DataFrame) -> Texts:
    """What each stored sample is kept in, shape (n,)."""
    names = (name if isinstance(name, str) else None for name in first["extender"])
    return np.array([medium_of(name) for name in names], dtype=object)


def kept_between(medium: Medium, from_h: float, to_h: float) -> tuple[float, float]:
    """Mean and sd of the share of motility at one hour of storage over that at another.

    Above one where the other is later: a retained part may be read after the insemination.

    Parameters
    ----------
    medium
        What the sample is kept in.
    from_h, to_h
        Hours since the collection; beyond :data:`STUDIED_STORAGE_HOURS` the curve is level. [h]
    """
    ends_h = np.clip([from_h, to_h], 0.0, STUDIED_STORAGE_HOURS)
    return _kept_between(medium, *(round(float(hour), 1) for hour in ends_h))


@cache
def _published_curve(medium: Medium) -> StorageDraws:
    return published_storage(medium, rng=np.random.default_rng(0), n_draws=N_CURVES)


@cache
def _kept_between(medium: Medium, from_h: float, to_h: float) -> tuple[float, float]:
    if from_h == to_h:
        return 1.0, 0.0
    curve = _published_curve(medium)
    at, other = curve.share(np.minimum([to_h, from_h], curve.studied_until_h))
    kept = np.minimum(at / np.maximum(other, 1e-9), MOST_CARRIED_BACK)
    return float(kept.mean()), float(kept.std())


def hours_since_collection(first: pd.DataFrame) -> Floats:
    """Hours from the collection to the insemination, middle to middle; NaN where not known. [h]"""
    apart = middle_of(first, "inseminated") - middle_of(first, "collected")
    return np.asarray(apart.dt.total_seconds(), dtype=np.float64) / 3600.0


def usual_motility_pct(semen: Texts) -> Floats:
    """Usual progressive motility of each breeding's semen type; NaN for a mating. [%]"""
    return np.array([USUAL_MOTILITY_PCT.get(kind, np.nan) for kind in semen])


def motility_short(motility_pct: Floats, usual_pct: Floats) -> Floats:
    """Tens of points below the usual motility, bent smoothly at it; none where it is not known."""
    below = np.nan_to_num((usual_pct - motility_pct) / SHORT_BY_PCT, nan=-np.inf)
    return np.asarray(hinge(np, below))


def short_at_doses(pair: SemenInseminated, semen: Texts) -> Floats:
    r"""What motility falls short by at each node of the dose: its mean less and plus its sd.

    The coefficient multiplies the shortfall, which holds no parameter: over the motilities that a
    dose leaves open (:math:`m \mid d`), two points at mean ± sd give its mean and variance exactly.

    Parameters
    ----------
    pair
        Dose and motility of each breeding.
    semen
        Text, shape (n,).

    Returns
    -------
    numpy.ndarray
        Tens of points, 0 for matings, shape (n_dose_nodes, 2, n).
    """
    at_dose = pair.correlation * DOSE_NODES[:, None]
    centre = pair.motility_mean + pair.motility_sd * at_dose
    sd = pair.motility_sd * np.sqrt(1.0 - pair.correlation**2)
    drawn = centre[:, None, :] + SHORT_NODES[None, :, None] * sd
    short = motility_short(drawn, usual_motility_pct(semen))
    mean = np.einsum("jkn,k->jn", short, SHORT_WEIGHTS)
    square = np.einsum("jkn,k->jn", short**2, SHORT_WEIGHTS)
    spread = np.sqrt(np.maximum(0.0, square - mean**2))
    return np.asarray(mean[:, None, :] + SIDES[None, :, None] * spread[:, None, :])


def mean_short(pair: SemenInseminated, semen: Texts) -> Floats:
    """Mean of what motility falls short by, over all that its record leaves open, shape (n,)."""
    drawn = pair.motility_mean + SHORT_NODES[:, None] * pair.motility_sd
    return np.asarray(SHORT_WEIGHTS @ motility_short(drawn, usual_motility_pct(semen)))
