r"""What would be worth measuring before this breeding is decided?

The decision is which option, on which day. What a measurement adds is the expected value with its
result less that without (:mod:`studcurve.analytics.measures.value_of_information`), in litters,
pups or money. A further progesterone reading at :math:`t`, with its result at :math:`t'`, is
weighed on the ovulation grid:

.. math:: \max\Bigl\{ \max_{a \in A_{<t'}} \bar v_a, \;
    \sum_y \max_{a \in A_{\ge t'}} \sum_T \bar v_a(T)\, P(y \mid T)\, P(T) \Bigr\}
    - \max_a \bar v_a

with the options :math:`A_{<t'}` whose first step comes before the result, which it cannot help. A
counted sample and a test-cool are readings with their errors, simulated in the joint draws and
regressed on. What regression makes of unrelated numbers is taken off, and nothing is worth less
than zero: a reading that comes too late is not waited for.

Knows nothing of what a measurement costs the bitch; its price is set beside the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Literal

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.counting import HOME_COUNT_CV
from studcurve.analytics.measures.motility_kept import retention_share
from studcurve.analytics.measures.semen import VOLUME_CV
from studcurve.analytics.measures.value_of_information import (
    conditional_mean,
    value_of_partial_information,
    value_of_sample_information,
)
from studcurve.analytics.plan.simulation.chain import Outcome, Unknowns
from studcurve.analytics.priors import PRIORS

RESULT_AFTER_H = 6.0
"""From a draw of blood to its result. [h] (common practice, no source)"""

SHORTEST_TEST_COOL_H = 24.0
"""A test-cool is read after a night in the refrigerator at least. [h] (common practice)"""

Measurement = Literal["progesterone", "count", "test-cool"]
"""What may be measured before the decision."""

Values = Mapping[str, Floats]
"""Value of every option in every draw, by its unit: ``litters``, ``pups``, ``money``."""


SMALLEST_GAIN = {"litters": 0.002, "pups": 0.02}
"""A measurement that adds less than this is stated as less: two litters in 1,000 breedings."""


@dataclass(frozen=True, slots=True)
class Worth:
    """What one measurement adds before the decision.

    Attributes
    ----------
    what
        The measurement.
    at
        When; None where the day does not matter.
    hours
        How long a test-cool is kept; None for the others. [h]
    gain
        Expected gain by unit, as in the values.
    """

    what: Measurement
    at: datetime | None
    gain: Mapping[str, float]
    hours: float | None = None


def first_step_at(outcome: Outcome) -> datetime:
    """Instant at which an option can no longer wait for a result: collection, packing or hers."""
    option = outcome.option
    steps = [option.inseminated_at[0]]
    if option.packed_at is not None:
        steps.append(option.packed_at)
    if option.source == "next collection" and option.collected_at is not None:
        steps.append(option.collected_at)
    return min(steps)


def worth_of_readings(
    outcomes: Sequence[Outcome],
    values: Values,
    unknowns: Unknowns,
    sampled_at: Sequence[datetime],
    reading_prob: Callable[[datetime], tuple[Floats, Floats]],
) -> tuple[Worth, ...]:
    """Weigh one further progesterone reading at several instants.

    Parameters
    ----------
    outcomes
        Every option on every day, not the best day of each alone: the day is what a reading helps.
    values
        Of these.
    unknowns
        Their draws.
    sampled_at
        When blood might be drawn.
    reading_prob
        Gives the grid of days and the probability of each value given ovulation then
        (:func:`studcurve.analytics.models.ovulation.model.further_reading_prob`).
    """
    steps = [first_step_at(outcome) for outcome in outcomes]
    worths = []
    for at in sampled_at:
        grid, prob = reading_prob(at)
        result_at = at + timedelta(hours=RESULT_AFTER_H)
        can_wait = np.array([step >= result_at for step in steps])
        gain = {
            unit: _corrected(
                partial(gain_of_reading, value, can_wait=can_wait, grid_days=grid, prob=prob),
                unknowns.ovulation_days,
            )
            for unit, value in values.items()
        }
        worths.append(Worth("progesterone", at, gain))
    return tuple(worths)


def gain_of_reading(
    value: Floats,
    ovulation_days: Floats,
    *,
    can_wait: np.ndarray[tuple[int], np.dtype[np.bool_]],
    grid_days: Floats,
    prob: Floats,
) -> float:
    """Expected gain of a reading whose result some options can wait for.

    Parameters
    ----------
    value
        Shape (n_draws, n_options).
    ovulation_days
        Shape (n_draws,). [d]
    can_wait
        Whether an option's first step comes after the result, shape (n_options,).
    grid_days, prob
        Even days from 0 on, and the probability of each result given ovulation then, shape
        (n_days, n_results). [d]
    """
    by_day = conditional_mean(value, ovulation_days)
    mean = by_day.mean(axis=0)
    if not can_wait.any():
        return 0.0
    step = grid_days[1] - grid_days[0]
    nearest = np.clip(np.rint(ovulation_days / step), 0, len(grid_days) - 1).astype(np.int64)
    weight = np.full(len(by_day), 1.0 / len(by_day))
    waiting = by_day[:, can_wait]
    informed = waiting.mean(axis=0).max() + value_of_sample_information(
        waiting, prob[nearest], weight
    )
    return max(0.0, float(informed - mean.max()))


def worth_of_counting(
    outcomes: Sequence[Outcome], values: Values, unknowns: Unknowns, rng: np.random.Generator
) -> Worth | None:
    """Weigh a counted sample against one whose motility alone was judged by eye.

    Parameters
    ----------
    outcomes, values, unknowns
        Options and their draws.
    rng
        Source of the reading errors.

    Returns
    -------
    Worth or None
        None when no option uses a sample that is yet to be read.
    """
    if not any(outcome.option.source == "next collection" for outcome in outcomes):
        return None
    n = unknowns.n_draws
    by_eye_sd = np.hypot(PRIORS["r01_sd"].centre, PRIORS["r01_observer"].sd) / 100.0
    looked = unknowns.sample.progressive_share + by_eye_sd * rng.normal(size=n)
    count_sd = np.hypot(HOME_COUNT_CV, VOLUME_CV)
    counted = np.log(unknowns.sample.total_m) + count_sd * rng.normal(size=n)
    gain = {
        unit: max(
            0.0,
            _worth_of_signals(value, np.column_stack([looked, counted]))
            - _worth_of_signals(value, looked[:, None]),
        )
        for unit, value in values.items()
    }
    return Worth("count", None, gain)


def worth_of_test_cool(
    outcomes: Sequence[Outcome], values: Values, unknowns: Unknowns, rng: np.random.Generator
) -> Worth | None:
    """Weigh a test-cool: another sample of this stud, read when fresh and after the planned hours.

    Parameters and result as for :func:`worth_of_counting`; None when nothing is chilled.
    """
    hours = [np.median(o.hours_stored) for o in outcomes if o.option.semen_type == "chilled"]
    if not hours:
        return None
    read_after_h = max(SHORTEST_TEST_COOL_H, float(np.median(hours)))
    n = unknowns.n_draws
    # Another collection: its own effect in place of that of the one to be used.
    spread = np.sqrt(2.0) * PRIORS["s05_collection"].sd
    eta_h = unknowns.storage.eta_h * np.exp(spread * rng.normal(size=n))
    kept = retention_share(read_after_h, eta_h, unknowns.storage.kappa)
    start, error = unknowns.sample.progressive_share, PRIORS["r01_sd"].centre / 100.0
    fresh = start + error * rng.normal(size=n)
    cooled = start * kept + error * rng.normal(size=n)
    signals = np.column_stack([fresh, cooled])
    gain = {
        unit: max(0.0, _worth_of_signals(value, signals) - _worth_of_signals(value, fresh[:, None]))
        for unit, value in values.items()
    }
    return Worth("test-cool", None, gain, read_after_h)


def _worth_of_signals(value: Floats, signals: Floats) -> float:
    return _corrected(lambda known: value_of_partial_information(value, known), signals)


def _corrected(gain: Callable[[Floats], float], known: Floats) -> float:
    """Gain less what the same regression makes of the same numbers in an unrelated order."""
    unrelated = np.roll(known, len(known) // 2, axis=0)
    return max(0.0, gain(known) - gain(unrelated))
