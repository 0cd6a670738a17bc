r"""What may come of one option: the whole chain, with everything that is not known.

For draw :math:`d` of all that is unknown and option :math:`a`

.. math::

    h_{da} &= \text{hours from the collection to the insemination, late shipments included} \\
    D_{da} &= D^0_{d}\, S_d(h_{da}) \quad\text{progressively motile sperm when inseminated} \\
    M_{da} &= M^0_{d}\, S_d(h_{da}) \quad\text{progressive motility when inseminated} \\
    \eta_{da} &= \text{the conception chain at } D_{da},\; M_{da},\; h_{da},\;
        \delta_{daj} - T_d \;+\; \sum_k b_{dk} x_{ak} + u_d \\
    \mathrm{logit}\,p_{da} &= \sqrt{1 + c^2 \tau_d^2}\; \eta_{da} + \tau_d z_d \\
    \mathrm{litter}_{da} &= p_{da}\, q_d

with the sample :math:`D^0, M^0`, its storage curve :math:`S`, the ovulation :math:`T`, the bias
:math:`b_k \sim N(0, 0.3^2)` of each contrast between semen types and routes (prior c22: the choice
of the bitch, not the method, may have made the published difference; records never update it),
the partners' effects :math:`u` and what no column holds of this breeding,
:math:`\tau z` (prior c27; :func:`~studcurve.analytics.models.conception.chance.beyond_stretch`).
Every option is computed from the same draws (common random
numbers), so a difference between two options holds only what differs between them.

Older semen, fewer sperm and a day further from the window are taken never to help: coefficients
drawn with the other sign count as zero here. The biases are centred over the draws, so they widen
every option and move the mean of none on the logit scale.

Does not know: the concentration of what will be inseminated (row c24 counts as nothing), the hand
that inseminates, and anything that no record or study holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from scipy.special import expit, logit

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.motility_kept import StorageDraws, retention_share
from studcurve.analytics.models.breedings.inputs import USUAL_DOSE_M
from studcurve.analytics.models.breedings.semen import motility_short, usual_motility_pct
from studcurve.analytics.models.breedings.terms import (
    EARLY_EDGE_DAYS,
    LATE_EDGE_DAYS,
    LINEAR,
    design_matrix,
    dose_term,
    timing_term,
)
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.conception.chance import beyond_stretch
from studcurve.analytics.plan.options import Option
from studcurve.analytics.plan.simulation.lateness import outcome_draws
from studcurve.analytics.plan.simulation.samples import (
    SampleDraws,
    straw_draws,
)
from studcurve.analytics.priors import PRIORS

BIASED = ("c03", "c04", "c05", "c06", "c07", "c08")
"""Contrasts of semen type and route that carry a bias term (prior c22)."""

NEVER_HELPFUL = ("c12", "c17_fresh", "c17_chilled", "c17_frozen", "c18_vaginal", "c18_intrauterine",
                 "c23", "c25")  # fmt: skip
"""Coefficients of age of the semen, of motility that is missing and of days outside the window: not
above zero in a plan."""

NEVER_HARMFUL = ("c10", "c11", "c26")
"""Coefficients of the dose and of semen nearer to its collection: not below zero in a plan."""

EARLY_ROW = {"natural": "c17_fresh", "fresh": "c17_fresh", "chilled": "c17_chilled",
             "frozen": "c17_frozen"}  # fmt: skip
LATE_ROW = {"natural": "c18_vaginal", "vaginal": "c18_vaginal",
            "transcervical": "c18_intrauterine"}  # fmt: skip

DRIVERS = ("semen and route", "bias of the contrasts", "second insemination", "motile dose",
           "motility", "hours stored", "day from ovulation", "partners and level")  # fmt: skip
"""Parts of the logit, each with its own sources of doubt."""

FEWEST_SPERM_M = 0.1
"""A dose is not taken below this on its log scale; no claim is made there. [10⁶]"""


@dataclass(frozen=True, slots=True)
class Pair:
    """The two dogs and this heat, as far as the chain reads them.

    Attributes
    ----------
    stud, bitch, breed, clinic
        Names as in the records; a name that no breeding holds is a new partner.
    bitch_age_years, stud_age_years
        At this heat; NaN when not known. [y]
    missed_before
        Whether she had missed before the records begin.
    normal_morphology_pct
        The stud's last reading; NaN when not known. [%]
    """

    stud: str
    bitch: str
    breed: str = ""
    clinic: str = ""
    bitch_age_years: float = float("nan")
    stud_age_years: float = float("nan")
    missed_before: bool = False
    normal_morphology_pct: float = float("nan")


@dataclass(frozen=True, slots=True)
class Shift:
    """A change of one option's circumstances, for break-even lines.

    Attributes
    ----------
    delay_h
        Everything on the way this much later: stored longer and inseminated later. [h]
    stored_h
        Stored this much longer and inseminated at the same instant. [h]
    doublings
        Motile dose, as log2 of a factor. [doublings]
    days
        Inseminated this much later after the same hours of storage. [d]
    """

    delay_h: float = 0.0
    stored_h: float = 0.0
    doublings: float = 0.0
    days: float = 0.0


AS_PLANNED = Shift()
"""No change."""


@dataclass(frozen=True, slots=True)
class Unknowns:
    """Draws of everything that is not known; every option is computed from these.

    Attributes
    ----------
    origin
        Instant that ``ovulation_days`` counts from.
    ovulation_days
        Ovulation, shape (n,). [d]
    coefficients
        Draws of the conception chain by id, signs as said above, each of shape (n,).
    partners
        Effects of stud, bitch, breed and, where the records hold several, clinic and year. [logit]
    beyond_sd, beyond_z
        Spread between breedings beyond every column, and where this heat stands in it. [logit, sd]
    bias
        Bias of each contrast by id, centred. [logit]
    sample, on_hand
        What the next collection holds; what the sample on hand does, None without one.
    z_straws
        Standard normal numbers behind dose and motility of a frozen dose, shape (2, n).
    storage
        Storage curve of the extender of the shipment.
    shipment_shares
        Shares of the three outcomes of a shipment by weekday of leaving, each of shape (n, 3).
    u_shipment
        Numbers between 0 and 1, shared by every option.
    """

    origin: datetime
    ovulation_days: Floats
    coefficients: Mapping[str, Floats]
    partners: Floats
    beyond_sd: Floats
    beyond_z: Floats
    bias: Mapping[str, Floats]
    sample: SampleDraws
    z_straws: Floats
    storage: StorageDraws
    shipment_shares: Mapping[int, Floats]
    u_shipment: Floats
    on_hand: SampleDraws | None = None

    @property
    def n_draws(self) -> int:
        """Joint draws."""
        return len(self.ovulation_days)

    @property
    def stretch(self) -> Floats:
        """Factor on every part of the logit, for this one breeding."""
        return beyond_stretch(self.beyond_sd)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the draws say of one option.

    Attributes
    ----------
    option
        The option.
    parts
        Parts of the logit by name (:data:`DRIVERS`). [logit]
    day, hours_stored, motile_dose_m, motility_pct
        Best-timed day from ovulation; hours stored, motile sperm and progressive motility at the
        first insemination. NaN where the option has none. [d, h, 10⁶, %]
    days_late
        Index of what happened to the shipment, 0 to 2.
    pregnant_prob, litter_prob
        Chance in each draw, 0 to 1.
    """

    option: Option
    parts: Mapping[str, Floats]
    day: Floats
    hours_stored: Floats
    motile_dose_m: Floats
    motility_pct: Floats
    days_late: np.ndarray[Any, Any]
    pregnant_prob: Floats
    litter_prob: Floats

    @property
    def logit(self) -> Floats:
        """Logit of a pregnancy at the scan."""
        return np.asarray(sum(self.parts.values()))

    @property
    def litter_logit(self) -> Floats:
        """Logit of a litter; of a chance that no number holds, of the smallest that one does."""
        return np.asarray(logit(np.maximum(self.litter_prob, np.finfo(np.float64).tiny)))


def plan_coefficients(draws: Mapping[str, Floats], n_draws: int) -> dict[str, Floats]:
    """Draws of the chain for a plan: recycled to a number, and with the signs of a plan.

    Parameters
    ----------
    draws
        Of a fit or of the published table.
    n_draws
        Joint draws wanted.
    """
    coefficients = {
        row: np.resize(draws[row], n_draws) for row in (*conception.COEFFICIENTS, "c19")
    }
    for row in NEVER_HELPFUL:
        coefficients[row] = np.minimum(coefficients[row], 0.0)
    for row in NEVER_HARMFUL:
        coefficients[row] = np.maximum(coefficients[row], 0.0)
    return coefficients


def bias_draws(rng: np.random.Generator, n_draws: int, *, sd: float = PRIORS["c22"].sd
               ) -> dict[str, Floats]:  # fmt: skip
    """Draw the bias of each contrast, centred over the draws (prior c22). [logit]"""
    bias = rng.normal(0.0, 1.0, (len(BIASED), n_draws))
    bias -= bias.mean(axis=1, keepdims=True)
    return {row: sd * values for row, values in zip(BIASED, bias, strict=True)}


def simulate(
    option: Option, pair: Pair, unknowns: Unknowns, *, shift: Shift = AS_PLANNED
) -> Outcome:
    """Follow one option through the chain in every draw.

    Parameters
    ----------
    option
        From :func:`studcurve.analytics.plan.feasible.possible_options`.
    pair
        The two dogs.
    unknowns
        Shared by the options that are compared.
    shift
        A change of circumstances.
    """
    late, instants = _instants(option, unknowns, shift)
    day = instants - unknowns.ovulation_days[:, None]
    hours = _hours_stored(option, unknowns, instants[:, 0], shift)
    dose_m, motility_pct = _semen(option, unknowns, hours)
    dose_m = dose_m * 2.0**shift.doublings
    parts, best_day = _parts(option, pair, unknowns, day, hours, dose_m, motility_pct)
    pregnant = expit(np.asarray(sum(parts.values())))
    return Outcome(
        option, parts, best_day, hours, dose_m, motility_pct, late, pregnant,
        pregnant * expit(unknowns.coefficients["c02"]),
    )  # fmt: skip


def _instants(
    option: Option, unknowns: Unknowns, shift: Shift
) -> tuple[np.ndarray[Any, Any], Floats]:
    """What happens to the shipment, and when each insemination then is, in days from the origin."""
    planned = _days_from(unknowns.origin, option.inseminated_at)
    late = np.zeros(unknowns.n_draws, dtype=np.int64)
    table = planned[None, :]
    if option.packed_at is not None:
        shares = unknowns.shipment_shares[option.packed_at.weekday()]
        late = outcome_draws(shares, unknowns.u_shipment)
        table = np.stack(
            [planned, *(_days_from(unknowns.origin, at)
                        for at in (option.if_next_day, option.if_weekend))]
        )  # fmt: skip
    return late, table[late] + shift.days + shift.delay_h / 24.0


def _days_from(origin: datetime, instants: tuple[datetime, ...]) -> Floats:
    return np.array([(at - origin).total_seconds() / 86400.0 for at in instants])


def _hours_stored(option: Option, unknowns: Unknowns, first: Floats, shift: Shift) -> Floats:
    """Hours from the collection to the first insemination; NaN for a mating and for straws."""
    if option.collected_at is None:
        return np.full(unknowns.n_draws, np.nan)
    collected = _days_from(unknowns.origin, (option.collected_at,))[0]
    stored: Floats = 24.0 * (first - shift.days - collected) + shift.stored_h
    return stored


def _semen(option: Option, unknowns: Unknowns, hours: Floats) -> tuple[Floats, Floats]:
    """Motile sperm and their share at the first insemination; NaN for a mating. [10⁶, %]"""
    if option.semen_type == "natural":
        return np.full(unknowns.n_draws, np.nan), np.full(unknowns.n_draws, np.nan)
    if option.straws is not None:
        return straw_draws(option.straws, option.route, unknowns.z_straws)
    if option.source == "sample on hand" and unknowns.on_hand is not None:
        sample = unknowns.on_hand
        motile = sample.progressive_m / option.n_doses
    elif option.collected_at is not None:
        sample = unknowns.sample
        motile = sample.progressive_on(option.collected_at.date()) / option.n_doses
    else:
        raise ValueError(f"{option.method} names no collection for its semen")
    motility_pct = 100.0 * sample.progressive_share
    if option.semen_type == "fresh":
        return motile, motility_pct
    kept = retention_share(hours, unknowns.storage.eta_h, unknowns.storage.kappa)
    return motile * kept, motility_pct * kept


def _parts(
    option: Option,
    pair: Pair,
    unknowns: Unknowns,
    day: Floats,
    hours: Floats,
    dose_m: Floats,
    motility_pct: Floats,
) -> tuple[dict[str, Floats], Floats]:
    """Parts of the logit of a pregnancy, and the day of the insemination that counts."""
    draws, n = unknowns.coefficients, unknowns.n_draws
    columns = design_matrix(
        np.full(n, option.semen_type),
        np.full(n, option.route),
        n_inseminations=np.full(n, float(len(option.inseminated_at))),
        storage_days=hours / 24.0,
        normal_morphology_pct=np.full(n, pair.normal_morphology_pct),
        bitch_age_years=np.full(n, pair.bitch_age_years),
        stud_age_years=np.full(n, pair.stud_age_years),
        missed_before=np.full(n, float(pair.missed_before)),
        motile_m_per_ml=np.full(n, np.nan),
        hours_known=hours,
    )
    column = dict(zip(LINEAR, columns.T, strict=True))
    term = {row: draws[row] * column[row] for row in LINEAR}
    timing = timing_term(
        np,
        day,
        early_edge=EARLY_EDGE_DAYS[option.semen_type],
        late_edge=LATE_EDGE_DAYS[option.route],
        early=draws[EARLY_ROW[option.semen_type]][:, None],
        late=draws[LATE_ROW[option.route]][:, None],
        peak=draws["c19"][:, None] * (option.semen_type == "frozen"),
    )
    best = timing.argmax(axis=1)
    rows = np.arange(n)
    dose = np.zeros(n)
    if option.semen_type != "natural":
        sperm = np.maximum(dose_m, FEWEST_SPERM_M)
        doublings = np.log2(sperm / USUAL_DOSE_M[option.route])
        dose = dose_term(np, doublings, draws["c10"], draws["c11"])
    parts = {
        "semen and route": sum((term[row] for row in BIASED), np.zeros(n)),
        "bias of the contrasts": sum(
            (unknowns.bias[row] * column[row] for row in BIASED), np.zeros(n)
        ),
        "second insemination": term["c09"],
        "motile dose": dose,
        "motility": draws["c23"]
        * motility_short(motility_pct, usual_motility_pct(np.array([option.semen_type]))),
        "hours stored": term["c12"] + term["c25"] + term["c26"],
        "day from ovulation": timing[rows, best],
        "partners and level": draws["c01"] + unknowns.partners
        + term["c13"] + term["c14"] + term["c15"] + term["c16"],
    }  # fmt: skip
    of_this = {name: unknowns.stretch * part for name, part in parts.items()}
    of_this["partners and level"] += unknowns.beyond_sd * unknowns.beyond_z
    return of_this, day[rows, best]
