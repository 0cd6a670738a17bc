r"""How many doses does this sample make, and will each be enough when she is inseminated?

A dose is judged at the hour of insemination, not at the bench: with :math:`N` sperm moving forward
in the sample, the share :math:`S(t)` that still does after :math:`t` hours
(:mod:`studcurve.analytics.measures.motility_kept`) and :math:`n` doses, one dose meets the target
:math:`D` with probability

.. math:: P_n(t) = P\{ N\, S(t) / n \ge D \}

Every uncertain reading is one number between 0 and 1 per draw, turned into a value by its
distribution's quantile function; the same numbers serve every question, so that a smaller count or
a later hour never looks better. Does not know: sperm that move and cannot fertilize, and whether
the bitch or the day is right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import betaincinv, gammaincinv, ndtr, ndtri

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, Floats, estimate_from_draws
from studcurve.analytics.measures.motility_kept import N_DRAWS, StorageDraws, last_hour
from studcurve.analytics.measures.semen import PHOTOMETER_CV, VOLUME_CV
from studcurve.analytics.priors import PRIORS

Route = Literal["vaginal", "transcervical"]
"""Routes that the bench makes doses for."""

SHIPMENT_HOURS = 48.0
"""Hours after the collection by which most shipments are used. [h] (common practice, no source)"""

CERTAINTY = 0.80
"""How surely each dose must meet the target before it is counted (J, rule of this toolkit)."""

HOPELESS_PROB = 0.05
"""Below this chance to meet its target nobody would use a dose, and none is packed (J)."""

MOST_DOSES = 12
"""Doses beyond which a sample is not divided (J)."""

TARGET_ROWS: dict[Route, str] = {"vaginal": "c10_vaginal", "transcervical": "c10_intrauterine"}
"""Row of the usual dose of each route; the target until the owner sets one."""

PUBLISHED_DOSES = (
    ("vaginal", "at least 150 to 200 M", "Linde-Forsberg 1991 (secondary) (P)"),
    ("vaginal, frozen", "100 to 110 M progressively motile", "Nöthling 1997, J Reprod Fertil Suppl "
     "51:109-116 (P)"),
    ("intrauterine, frozen", "more than 100 M live and normal: 38 of 49 pregnant, with less 13 of "
     "29", "Mason & Rous 2014, Theriogenology 82:844-850 (P, D)"),
    ("intrauterine", "more than 200 M progressively motile", "Burgess, Mitchell & Thomas 2012, "
     "Aust Vet J 90:283-290 (P)"),
)  # fmt: skip
"""Published doses, printed beside the owner's target: route, dose, source."""

CHAMBER_CELLS = 200.0
"""Cells that one well counted chamber gives (WHO manual 2010, the number to count)."""


@dataclass(frozen=True, slots=True)
class SampleEvaluation:
    """A sample in hand, as it was read.

    Attributes
    ----------
    volume_ml
        Volume. [mL]
    progressive_motility_pct
        Share moving forward. [%]
    n_motility_evaluated
        Sperm judged; None where judged by eye.
    n_cells, looked_at_nl
        Cells counted, and undiluted semen above the counted squares; None where not counted in a
        chamber. [nL]
    concentration_m_per_ml
        Concentration of a photometer; None where there was none. [10⁶ mL⁻¹]
    normal_morphology_pct, n_morphology_evaluated
        Share of normal shape, of how many; None where not looked at. [%]
    """

    volume_ml: float
    progressive_motility_pct: float
    n_motility_evaluated: int | None = None
    n_cells: int | None = None
    looked_at_nl: float | None = None
    concentration_m_per_ml: float | None = None
    normal_morphology_pct: float | None = None
    n_morphology_evaluated: int | None = None

    def __post_init__(self) -> None:
        if (self.n_cells is None) != (self.looked_at_nl is None):
            raise ValueError("a count needs both its cells and the volume that was looked at")

    @property
    def read_concentration_m_per_ml(self) -> float | None:
        """Concentration by the photometer or by the chamber; None where not counted. [10⁶ mL⁻¹]"""
        if self.n_cells is None or self.looked_at_nl is None:
            return self.concentration_m_per_ml
        return self.n_cells / self.looked_at_nl

    @property
    def is_counted(self) -> bool:
        """Whether anything but habit says how many sperm there are."""
        return self.n_cells is not None or self.concentration_m_per_ml is not None


@dataclass(frozen=True, slots=True)
class SampleDraws:
    """What may be in a sample, draw by draw, shape (n,).

    Attributes
    ----------
    total_m, progressive_m
        Sperm in all, and moving forward. [10⁶]
    normal_progressive_m
        Moving forward and of normal shape, as if the two were independent; None where the shape was
        not looked at. [10⁶]
    """

    total_m: Floats
    progressive_m: Floats
    normal_progressive_m: Floats | None


@dataclass(frozen=True, slots=True)
class UsualTotal:
    """Total sperm that is usual for a dog, log-normal.

    Attributes
    ----------
    log_mean, log_sd
        Mean and sd of the log of total sperm. [log 10⁶]
    n_samples
        Counted samples of his own behind it.
    """

    log_mean: float
    log_sd: float
    n_samples: int


def usual_total(own_totals_m: Sequence[float] | Floats = ()) -> UsualTotal:
    """Total sperm to expect of a dog's next sample.

    Parameters
    ----------
    own_totals_m
        His earlier counted totals, any order; zeros and gaps are left out. [10⁶]

    Notes
    -----
    Normal on the log scale: his level around that of all dogs (priors q01_level and q01_between),
    his samples around his level (q01_within).
    """
    totals = np.asarray(own_totals_m, dtype=np.float64)
    logs = np.log(totals[np.isfinite(totals) & (totals > 0.0)])
    between, within = PRIORS["q01_between"].sd ** 2, PRIORS["q01_within"].sd ** 2
    precision = 1.0 / between + logs.size / within
    mean = (np.log(PRIORS["q01_level"].centre) / between + logs.sum() / within) / precision
    return UsualTotal(float(mean), float(np.sqrt(1.0 / precision + within)), int(logs.size))


def draw_sample(
    reading: SampleEvaluation,
    *,
    count_cv: float,
    usual: UsualTotal,
    rng: np.random.Generator,
    n_draws: int = N_DRAWS,
) -> SampleDraws:
    r"""Draw what may be in a sample, given how it was read.

    Parameters
    ----------
    reading
        The sample.
    count_cv
        Error of a chamber count beyond Poisson (prior r02).
    usual
        What is usual for the dog; only read where nothing was counted.
    rng, n_draws
        Source and number of draws.

    Returns
    -------
    SampleDraws

    Notes
    -----
    A count of :math:`N` has the expected count Gamma(:math:`N + \tfrac12`), a share of :math:`x`
    in :math:`n` Beta(:math:`x + \tfrac12, n - x + \tfrac12`); a motility by eye is normal within
    0 and 100 with the reading and the evaluator error of prior r01.
    """
    chance = rng.random((5, n_draws))
    volume_ml = reading.volume_ml * np.exp(VOLUME_CV * ndtri(chance[0]))
    if reading.n_cells is not None and reading.looked_at_nl is not None:
        cells = gammaincinv(reading.n_cells + 0.5, chance[1])
        total = volume_ml * cells / reading.looked_at_nl * np.exp(count_cv * ndtri(chance[2]))
    elif reading.concentration_m_per_ml is not None:
        read = np.exp(PHOTOMETER_CV * ndtri(chance[1]))
        total = volume_ml * reading.concentration_m_per_ml * read
    else:
        total = np.exp(usual.log_mean + usual.log_sd * ndtri(chance[1]))
    progressive = total * _share(
        reading.progressive_motility_pct, reading.n_motility_evaluated, chance[3]
    )
    normal = None
    if reading.normal_morphology_pct is not None:
        normal = progressive * _share(
            reading.normal_morphology_pct, reading.n_morphology_evaluated, chance[4]
        )
    return SampleDraws(total, progressive, normal)


def _share(read_pct: float, n_evaluated: int | None, chance: Floats) -> Floats:
    """Share at each quantile level, given a percentage read by eye or counted."""
    if n_evaluated is not None:
        seen = read_pct / 100.0 * n_evaluated
        return np.asarray(betaincinv(seen + 0.5, n_evaluated - seen + 0.5, chance))
    sd = float(np.hypot(PRIORS["r01_sd"].centre, PRIORS["r01_observer"].sd))
    lowest, highest = ndtr((0.0 - read_pct) / sd), ndtr((100.0 - read_pct) / sd)
    return np.asarray((read_pct + sd * ndtri(lowest + chance * (highest - lowest))) / 100.0)


@dataclass(frozen=True, slots=True)
class DoseChance:
    """What one dose holds when the sample is divided into so many.

    Attributes
    ----------
    n_doses
        Doses made.
    motile_dose_m
        Moving forward per dose at the hour of insemination. [10⁶]
    meets_prob
        Probability that a dose meets the target then.
    """

    n_doses: int
    motile_dose_m: Estimate
    meets_prob: float


@dataclass(frozen=True, slots=True)
class DosePlan:
    """How a sample may be divided.

    Attributes
    ----------
    target_m
        Moving forward that a dose should hold when inseminated. [10⁶]
    certainty
        How surely each dose must.
    hours
        From the collection to the insemination. [h]
    n_doses
        Doses made: as asked for, else the most that each meet the target that surely, 0 when not
        even one does.
    chances
        One row a number of doses, from 1 to one more than are made.
    until_h
        Hour until which the doses made (or the whole sample, when none is) meet the target that
        surely; None when they do not even at hour 0. [h]
    """

    target_m: float
    certainty: float
    hours: float
    n_doses: int
    chances: tuple[DoseChance, ...]
    until_h: float | None

    @property
    def is_hopeless(self) -> bool:
        """Whether the doses made have nearly no chance to meet the target."""
        return self.chosen.meets_prob < HOPELESS_PROB

    @property
    def chosen(self) -> DoseChance:
        """The row of the doses made; of the whole sample as one dose when none is sure enough."""
        return self.chances[max(self.n_doses, 1) - 1]


def plan_doses(
    progressive_m: Floats,
    curve: StorageDraws,
    *,
    hours: float,
    target_m: float,
    certainty: float = CERTAINTY,
    n_doses: int | None = None,
    interval_prob: float = INTERVAL_PROB,
) -> DosePlan | None:
    """Divide a sample into doses that meet the target when they are inseminated.

    Parameters
    ----------
    progressive_m
        Draws of the sperm moving forward in the sample, after any spin, shape (n,). [10⁶]
    curve
        Draws of the storage curve, as many.
    hours
        From the collection to the insemination. [h]
    target_m
        Moving forward that a dose should hold then. [10⁶]
    certainty
        How surely each dose must.
    n_doses
        Doses to make whatever their chance; as many as are sure enough when None.
    interval_prob
        Probability of the printed ranges.

    Returns
    -------
    DosePlan or None
        None when nobody has studied so many hours.
    """
    if target_m <= 0.0 or not 0.0 < certainty < 1.0:
        raise ValueError(f"needs a target above zero and a chance; got {target_m}, {certainty}")
    left_m = progressive_m * curve.share(hours)
    if np.isnan(left_m).any():
        return None
    if n_doses is not None and not 1 <= n_doses <= MOST_DOSES:
        raise ValueError(f"doses to make lie between 1 and {MOST_DOSES}; got {n_doses}")
    numbers = np.arange(1, MOST_DOSES + 2)
    meets = (left_m >= target_m * numbers[:, None]).mean(axis=1)
    if n_doses is None:
        n_doses = min(int((meets >= certainty).sum()), MOST_DOSES)
    chances = tuple(
        DoseChance(int(n), estimate_from_draws(left_m / n, interval_prob), float(prob))
        for n, prob in zip(numbers[: n_doses + 1], meets, strict=False)
    )
    until = last_hour(curve, progressive_m, max(n_doses, 1) * target_m, prob=certainty)
    return DosePlan(target_m, certainty, hours, n_doses, chances, until)


@dataclass(frozen=True, slots=True)
class CountWorth:
    """What one counted chamber would change.

    Attributes
    ----------
    range_now, range_then
        Upper over lower end of the range of a dose, now and after the count.
    more_prob, fewer_prob
        Probability that the count will show that more, or fewer, doses meet the target.
    """

    range_now: float
    range_then: float
    more_prob: float
    fewer_prob: float


def worth_of_a_count(
    draws: SampleDraws,
    curve: StorageDraws,
    plan: DosePlan,
    *,
    count_cv: float,
    interval_prob: float = INTERVAL_PROB,
) -> CountWorth:
    r"""What counting one chamber (again) would change, before it is counted.

    Notes
    -----
    The log of the total is taken as normal with mean :math:`m` and sd :math:`s_0`. A count errs by
    :math:`s_c` (Poisson, pipette, volume): afterwards :math:`s_1^{-2} = s_0^{-2} + s_c^{-2}`, and
    the mean will have moved by :math:`N(0, s_0^2 - s_1^2)`. What else is uncertain, motility and
    keeping :math:`R`, stays as drawn. With :math:`Q` the quantile at one minus the certainty of
    :math:`e^{s_1 z} R` the doses made are the whole number of targets in :math:`e^{m} Q`, so both
    probabilities are normal ones of :math:`m`.
    """
    log_total = np.log(draws.total_m)
    rest = draws.progressive_m / draws.total_m * curve.share(plan.hours)
    mean, before = float(log_total.mean()), float(log_total.std())
    error = float(np.sqrt(1.0 / CHAMBER_CELLS + count_cv**2 + VOLUME_CV**2))
    after = before * error / float(np.hypot(before, error))
    moved = float(np.sqrt(before**2 - after**2))
    standard = (log_total - mean) / before
    now, then = np.exp(before * standard) * rest, np.exp(after * standard) * rest
    sure = float(np.quantile(then, 1.0 - plan.certainty))
    with np.errstate(divide="ignore"):
        more = (np.log((plan.n_doses + 1) * plan.target_m / sure) - mean) / moved
        fewer = (np.log(plan.n_doses * plan.target_m / sure) - mean) / moved
    return CountWorth(
        _fold(now, interval_prob),
        _fold(then, interval_prob),
        float(ndtr(-more)),
        float(ndtr(fewer)),
    )


def _fold(values: Floats, interval_prob: float) -> float:
    """Upper over lower end of the central interval."""
    tail = (1.0 - interval_prob) / 2.0
    lower, upper = np.quantile(values, [tail, 1.0 - tail])
    return float(upper / lower) if lower > 0.0 else float("inf")
