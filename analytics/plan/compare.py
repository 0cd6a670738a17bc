r"""How do the options differ, how surely, and what is the difference made of?

All answers are read from one set of joint draws, so that a gap between two options holds only what
differs between them. The gap of two chances is divided among the parts of the logit exactly, draw
by draw:

.. math:: p_a - p_b = \sum_k (\eta_{ak} - \eta_{bk})\, \frac{p_a - p_b}{\eta_a - \eta_b}

(the average of the slope over the straight path between the two), and the doubt about the gap is
divided by regressing it on each part alone. A best option is named only at a stated worth of a
litter; otherwise gaps and their certainty are given, and nothing is ranked.

Does not know: what the owner values beside litters, pups and money.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import expit

from studcurve.analytics.estimate import (
    Estimate,
    Floats,
    RecordsWeight,
    before_of,
    estimate_from_draws,
    records_weight,
)
from studcurve.analytics.measures.value_of_information import conditional_mean
from studcurve.analytics.plan.simulation.chain import DRIVERS, Outcome, Pair
from studcurve.analytics.plan.simulation.pups import Pups
from studcurve.analytics.sentences import Sentence, Word, sentence

BAND_LITTER_PROB = 0.05
"""Gap in the chance of a litter below which two options are not told apart; a rule of this
toolkit."""

BAND_PUPS = 0.5
"""The same for pups alive at 8 weeks; a rule of this toolkit. [pups]"""

BAND_CERTAINTY = 0.80
"""How surely a gap must lie inside the band, or on one side, to be called so; a rule of this
toolkit."""

MOST_OUTSIDE = 2
"""Inputs outside the studied range beyond which a number has no centre; a rule of this toolkit."""

PUPS_QUANTILES = (0.10, 0.50, 0.90)

STUDIED: Mapping[str, tuple[float, float]] = {
    "bitch age": (1.0, 8.0),
    "stud age": (1.0, 11.0),
    "motile dose": (20.0, 1000.0),
    "motility": (20.0, 95.0),
    "hours stored": (0.0, 72.0),
    "day from ovulation": (-5.0, 9.0),
    "normal morphology": (30.0, 100.0),
}
"""Lowest and highest value of each input at which breedings were studied. [y, y, 10⁶, h, d, %]

Bitches: clinic series and kennels, few beyond 8 years (J). Studs: 1 to 10 years in Hesser 2017,
Theriogenology 87:115 (P). Dose: 37.5 to 200 M in the series that vary it (Farstad, Fougner & Torres
1992, Theriogenology, fox; Burgess, Mitchell & Thomas 2012, Aust Vet J 90:283-290) (P), up to whole
samples (J). Storage: no claim beyond 72 h (J). Days: fertile matings from 5 days before ovulation
on (secondary), none of 5 inseminations at day 9 (Tsutsui 2009, Reprod Domest Anim 44) (P). Shape:
groups around 60 % in Oettlé 1993, J Reprod Fertil Suppl 47 (M)."""

Verdict = Literal["no difference", "higher", "not told apart"]
"""What may be said of a gap."""


@dataclass(frozen=True, slots=True)
class OptionAnswer:
    """What is said of one option.

    Attributes
    ----------
    outcome, pups
        The draws behind it.
    chance
        Chance of a litter with its interval over everything that is not known, 0 to 1.
    expected_litters, expected_pups
        Mean over the draws; pups alive at 8 weeks, counting empty bitches as none.
    pups_range
        10, 50 and 90 % of the pups alive at 8 weeks, empty bitches included.
    cost, cost_of_litter
        Paid in any case; paid on top for a litter. NaN when a price is not known.
    expected_loss
        Expected loss against knowing in each draw which option is best: in litters, or in money
        where a worth was stated.
    value
        Expected value at the stated worth; NaN without one.
    highest_prob
        Share of the draws in which no other option has more of it.
    records_weight
        What the kennel's own records supply of the chance, on its logit.
    published_prob
        Mean chance of a litter by the published table alone, 0 to 1.
    outside
        Inputs outside the studied range, a sentence each.
    """

    outcome: Outcome
    pups: Pups
    chance: Estimate
    expected_litters: float
    expected_pups: float
    pups_range: tuple[float, float, float]
    cost: float
    cost_of_litter: float
    expected_loss: float
    value: float
    highest_prob: float
    records_weight: RecordsWeight
    published_prob: float
    outside: tuple[Sentence, ...]

    @property
    def has_centre(self) -> bool:
        """Whether there are data like this; else only an interval is shown."""
        return len(self.outside) <= MOST_OUTSIDE

    @property
    def pups_shown(self) -> tuple[float, float | None, float]:
        """10, 50 and 90 % of the pups; no middle one where there are no data like it."""
        low, middle, high = self.pups_range
        return low, middle if self.has_centre else None, high

    @property
    def cost_per_litter(self) -> float:
        """Expected cost over expected litters."""
        return self.cost / self.expected_litters + self.cost_of_litter

    @property
    def cost_per_pup(self) -> float:
        """Expected cost over expected pups alive at 8 weeks."""
        return self.cost_per_litter * self.expected_litters / self.expected_pups


@dataclass(frozen=True, slots=True)
class Driver:
    """One part of the gap between two options.

    Attributes
    ----------
    name
        One of :data:`studcurve.analytics.plan.simulation.chain.DRIVERS`.
    gap
        What it adds to the gap of the two chances, mean over the draws.
    share_of_doubt
        Share of the gap's variance that knowing it would take away, 0 to 1.
    """

    name: str
    gap: float
    share_of_doubt: float


@dataclass(frozen=True, slots=True)
class Gap:
    """Two options against each other.

    Attributes
    ----------
    first, second
        Positions among the answers; the first has the higher mean chance.
    litters, pups
        First minus second.
    higher_prob
        Share of draws in which the first has the higher chance.
    within_band_prob
        Share in which the gap lies inside the band, in chance or in pups, the greater of both.
    verdict
        By the rule of the module.
    drivers
        What the gap is made of, the largest first.
    """

    first: int
    second: int
    litters: Estimate
    pups: Estimate
    higher_prob: float
    within_band_prob: float
    verdict: Verdict
    drivers: tuple[Driver, ...]


def answer_options(
    outcomes: Sequence[Outcome],
    pups: Sequence[Pups],
    published: Sequence[Outcome],
    pair: Pair,
    *,
    prices: Mapping[str, float],
    worth_of_litter: float | None,
) -> tuple[OptionAnswer, ...]:
    """Answer for each option.

    Parameters
    ----------
    outcomes, pups
        From the posteriors, one an option, same draws.
    published
        The same options from the published table alone.
    pair
        The two dogs.
    prices
        Known prices; the stud fee is paid for a litter.
    worth_of_litter
        What a litter is worth to the owner before its stud fee, in the currency of the prices.
    """
    chances = np.column_stack([outcome.litter_prob for outcome in outcomes])
    values = option_values(outcomes, prices=prices, worth_of_litter=worth_of_litter)
    comparable = np.where(np.isnan(values), -np.inf, values)
    best = comparable.max(axis=1)
    fee = prices.get("stud fee", 0.0)
    answers = []
    for k, outcome in enumerate(outcomes):
        alive = pups[k]
        expected_loss = float((best - values[:, k]).mean())
        answers.append(
            OptionAnswer(
                outcome=outcome,
                pups=alive,
                chance=estimate_from_draws(chances[:, k]),
                expected_litters=float(chances[:, k].mean()),
                expected_pups=float(alive.mean_alive.mean()),
                pups_range=tuple(np.quantile(alive.alive, PUPS_QUANTILES).tolist()),
                cost=outcome.option.cost(prices),
                cost_of_litter=fee,
                expected_loss=expected_loss,
                value=float(values[:, k].mean()) if worth_of_litter is not None else float("nan"),
                highest_prob=float((comparable[:, k] >= best).mean()),
                records_weight=weight_of_records(outcome, published[k]),
                published_prob=float(published[k].litter_prob.mean()),
                outside=outside_studied(outcome, pair),
            )
        )
    return tuple(answers)


def option_values(
    outcomes: Sequence[Outcome],
    *,
    prices: Mapping[str, float],
    worth_of_litter: float | None,
) -> Floats:
    """Value of each option in each draw: its chance of a litter, or money at a stated worth.

    Parameters
    ----------
    outcomes
        One an option.
    prices, worth_of_litter
        As in :func:`answer_options`.

    Returns
    -------
    numpy.ndarray
        Shape (n_draws, n_options). [litters, or currency]
    """
    chances = np.column_stack([outcome.litter_prob for outcome in outcomes])
    if worth_of_litter is None:
        return chances
    costs = np.array([outcome.option.cost(prices) for outcome in outcomes])
    return np.asarray((worth_of_litter - prices.get("stud fee", 0.0)) * chances - costs)


def gap_between(answers: Sequence[OptionAnswer], one: int, other: int) -> Gap:
    """Set two options against each other.

    Parameters
    ----------
    answers
        From :func:`answer_options`.
    one, other
        Their positions, in any order.
    """
    first, second = sorted((one, other), key=lambda k: -answers[k].expected_litters)
    a, b = answers[first], answers[second]
    litters = a.outcome.litter_prob - b.outcome.litter_prob
    pups = a.pups.mean_alive - b.pups.mean_alive
    within = max(
        float((np.abs(litters) < BAND_LITTER_PROB).mean()),
        float((np.abs(pups) < BAND_PUPS).mean()),
    )
    higher = float((litters > 0.0).mean())
    verdict: Verdict = "not told apart"
    if within >= BAND_CERTAINTY:
        verdict = "no difference"
    elif higher >= BAND_CERTAINTY:
        verdict = "higher"
    return Gap(
        first, second, estimate_from_draws(litters), estimate_from_draws(pups), higher, within,
        verdict, drivers_of(a.outcome, b.outcome),
    )  # fmt: skip


def drivers_of(a: Outcome, b: Outcome) -> tuple[Driver, ...]:
    """Divide the gap of two chances, and the doubt about it, among the parts of the logit."""
    gap = a.litter_prob - b.litter_prob
    slope = mean_slope(a, b)
    doubt = float(gap.var())
    drivers = []
    for name in DRIVERS:
        part = a.parts[name] - b.parts[name]
        if not part.any():
            continue
        explained = float(conditional_mean(gap, part).var())
        drivers.append(
            Driver(name, float((part * slope).mean()), explained / doubt if doubt else 0.0)
        )
    return tuple(sorted(drivers, key=lambda driver: -abs(driver.gap)))


def mean_slope(a: Outcome, b: Outcome) -> Floats:
    """Mean slope of the chance of a litter on the path between two logits, draw by draw."""
    rise = a.logit - b.logit
    level = expit(b.logit)
    # The chance of whelping once pregnant is the same for both; where one chance is zero to
    # machine precision both slopes are.
    with np.errstate(divide="ignore", invalid="ignore"):
        whelped = np.where(b.pregnant_prob > 0.0, b.litter_prob / b.pregnant_prob, 0.0)
        chord = (a.litter_prob - b.litter_prob) / rise
    slope: Floats = np.where(np.abs(rise) > 1e-9, chord, whelped * level * (1.0 - level))
    return slope


def outside_studied(outcome: Outcome, pair: Pair) -> tuple[Sentence, ...]:
    """Inputs of an option that lie outside the studied range, a sentence each.

    Parameters
    ----------
    outcome
        Its middle values are read.
    pair
        Ages and shape; what is not known is not outside.
    """
    middle = {
        "bitch age": pair.bitch_age_years,
        "stud age": pair.stud_age_years,
        "motile dose": _middle(outcome.motile_dose_m),
        "motility": _middle(outcome.motility_pct),
        "hours stored": _middle(outcome.hours_stored),
        "day from ovulation": _middle(outcome.day),
        "normal morphology": pair.normal_morphology_pct,
    }
    spoken = []
    for name, value in middle.items():
        low, high = STUDIED[name]
        if value < low or value > high:
            spoken.append(
                sentence("plan.outside", what=Word("input", name), value=value, low=low, high=high)
            )
    return tuple(spoken)


def _middle(values: Floats) -> float:
    """Median; NaN where the option has no such input."""
    return float("nan") if np.isnan(values).any() else float(np.median(values))


def weight_of_records(outcome: Outcome, published: Outcome) -> RecordsWeight:
    """What the kennel's own records supply of an option's chance of a litter, on its logit.

    Parameters
    ----------
    outcome, published
        The same option and the same two dogs after and before the records.
    """
    return records_weight(outcome.litter_logit, before_of(published.litter_logit))
