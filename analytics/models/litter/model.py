r"""How many pups, how many stillborn, how many alive at eight weeks?

The model
---------
Given that a bitch whelps, total born :math:`n_i` is a zero-truncated Conway-Maxwell-Poisson count
of mean :math:`\mu_i` (zero counted in) and dispersion :math:`\nu`:

.. math::

    \log \mu_i &= l_{01}(\text{size}) + l_{03}\,\text{AI} + l_{04}\,\text{chilled}
        + l_{05}\,\text{frozen} + l_{06}\,\text{deep} + l_{07}\,\text{twice} \\
      &\quad + l_{08} \min(d_i, 0) + l_{09} (a_i - 4)_+ + l_{09}^{\text{large}} (a_i - 5)_+ \\
      &\quad + l_{10}\,\text{first} + l_{11} F
        + l_{16}\, e_i + l_{17}\, t_i + l_{18}\, h_i + l_{19} (m^* - m_i)_+ \\
      &\quad + u_{\text{breed}} + u_{\text{bitch}} + u_{\text{stud}}, \qquad
    \nu = e^{l_{13}} \\
    s_i \mid n_i &\sim \mathrm{BetaBinomial}\bigl(n_i,\;
        \mathrm{expit}(l_{14} + l_{14}^{\text{size}} (n_i - 5) + l_{14}^{\text{age}} (a_i - 4)_+),
        \; \rho\bigr) \\
    w_i \mid n_i - s_i &\sim \mathrm{BetaBinomial}(n_i - s_i, \; \mathrm{expit}\, l_{15}, \; \rho)

for :math:`s` stillborn and :math:`w` lost by eight weeks; losses of one litter go together. Days
:math:`e` before and :math:`t` after the fertile window of the method are those of the insemination
that is nearest to it, :math:`h` is the time of storage and :math:`m` the progressive motility when
inseminated, in tens of points below the usual one :math:`m^*` of the semen type. The dose
:math:`d`, in doublings of 100 M, the days and the motility are latent as in the conception chain;
each enters as the mean of its term over what its record leaves open. What that leaves out on the
log mean, (0.06 a doubling × 0.4 doublings)², (0.15 a day × 0.5 d)² and (0.04 × 0.9)², is together
below a fiftieth of a litter's own variance. Where stillborn pups were not recorded the litter is at
least the pups born alive, and how many more is averaged over.

Priors: rows l01 to l19. Does not know: pups resorbed before birth, what the pups died of, nor why a
bitch was given this method. A bitch of unknown weight is taken as medium; a missing age, parity or
inbreeding enters at its harmless value. A litter with two possible sires is left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeAlias

import jax.numpy as jnp
import numpy as np
import numpyro
import pandas as pd
from jax.scipy.special import gammaln, logsumexp

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.arrays import Array
from studcurve.analytics.models.breedings.inputs import (
    DAY_NODES,
    DAY_WEIGHTS,
    DOSE_NODES,
    DOSE_WEIGHTS,
    USUAL_DOSE_M,
    numbers,
)
from studcurve.analytics.models.breedings.posterior import (
    AS_PUBLISHED,
    Belief,
    BreedingsPosterior,
    PublishedRows,
    padded_levels,
    padded_rows,
)
from studcurve.analytics.models.breedings.records import (
    BredHow,
    bred_how,
    chosen_breedings,
    grouped,
    in_model_order,
    known_outcome,
)
from studcurve.analytics.models.breedings.semen import mean_short
from studcurve.analytics.models.breedings.terms import (
    MethodFlags,
    chilled_days_beyond_one,
    fresh_hours_old,
    hinge,
    method_flags,
)
from studcurve.analytics.models.density import Story
from studcurve.analytics.models.fingerprint import fingerprint_of
from studcurve.analytics.models.likelihoods import (
    beta_binomial_log_likelihood,
    truncated_count_log_likelihood,
)
from studcurve.analytics.models.regression import MixedTerms, draw_coefficients, draw_effects
from studcurve.analytics.models.sampling import SCHEDULE, Run, padded_size

MODEL_VERSION = 4
"""Raised whenever the density, or what a kept draw or check means, changes (a test holds it)."""

SIZES_KG = {"l01_toy": 5.0, "l01_small": 10.0, "l01_medium": 25.0, "l01_large": 45.0,
            "l01_giant": np.inf}  # fmt: skip
"""Upper ends of the classes of adult weight (prior l01). [kg]"""

SUPPOSED_SIZE = "l01_medium"
"""Class of a bitch whose weight is not recorded."""

LINEAR = (*SIZES_KG, "l03", "l04", "l05", "l06", "l07", "l08", "l09", "l09_large", "l10", "l11_dam",
          "l11_litter", "l16", "l17", "l18", "l19")  # fmt: skip
"""Ids of the coefficients with a column of their own in the design matrix."""

LOSSES = ("l14", "l14_size", "l14_age", "l14_within", "l15")

COEFFICIENTS = (*LINEAR, "l13", *LOSSES)
"""Ids of the normal coefficients, in the order of the coefficient vector."""

REFERENCE_DOSE_M = 100.0
"""Dose below which a smaller one goes with smaller litters (prior l08). [10⁶]"""

DAM_AGE_FROM, LARGE_DAM_AGE_FROM = 4.0, 5.0
"""Ages from which rows l09 count. [y]"""

REFERENCE_LITTER = 5.0
"""Litter size at which row l14 stands. [pups]"""

FRESH_HOURS_A_STEP = 12.0
"""Hours of fresh semen that one unit of row l18 stands for. [h]"""

N_SUPPORT = 40
"""Largest litter thought possible; beyond it lies less than a millionth at any published mean."""

N_UNRECORDED = 5
"""Stillborn pups that an unrecorded number is averaged over: 0 to 4."""

PADDING = {"litter": 32, "pups": 16, "breed": 4, "bitch": 32, "stud": 8}
"""Sizes are rounded up to these steps, so that compiled programs can be kept."""

PUBLISHED = PublishedRows(
    COEFFICIENTS, spreads={"breed": "l02", "bitch": "l12_dam", "stud": "l12_stud"}
)
"""Rows l01 to l19 of the priors table."""


@dataclass(frozen=True, slots=True)
class LitterData:
    """What the model reads, one row a litter.

    Attributes
    ----------
    bred
        Semen, hours and day.
    design
        Columns of :data:`LINEAR`, shape (n, 20).
    dam_age_years
        Years beyond :data:`DAM_AGE_FROM`, shape (n,). [y]
    n_alive, n_stillborn, n_lost
        Born alive; stillborn and lost by eight weeks, −1 where not recorded. Shape (n,).
    groups, levels
        Level index and names by grouping factor.
    """

    bred: BredHow
    design: Floats
    dam_age_years: Floats
    n_alive: Floats
    n_stillborn: Floats
    n_lost: Floats
    groups: Mapping[str, np.ndarray[Any, Any]]
    levels: Mapping[str, tuple[str, ...]]

    @property
    def n_litters(self) -> int:
        """Litters with pups counted."""
        return len(self.n_alive)

    def fingerprint(self) -> str:
        """Fingerprint of everything that enters the likelihood, names of levels included."""
        # How the bitches were bred is read by way of the design.
        arrays = (
            self.design, self.dam_age_years, self.n_alive, self.n_stillborn, self.n_lost,
            *self.groups.values(),
        )  # fmt: skip
        names = [name for factor in self.levels for name in (factor, *self.levels[factor])]
        return fingerprint_of(arrays, names)


LitterPosterior: TypeAlias = BreedingsPosterior[LitterData]
"""Draws by id: l01 … l19."""


class CountedPups(NamedTuple):
    """What was counted of each litter; litters are the last axis.

    Attributes
    ----------
    alive, lost, lost_known
        Born alive, lost by eight weeks and whether the latter is known, shape (n,).
    stillborn, possible
        Numbers of stillborn pups that the record leaves open, and whether each is possible, shape
        (n_cases, n).
    age
        Years of the dam beyond :data:`DAM_AGE_FROM`, shape (n,). [y]
    support
        0, 1, … up to the largest litter that is thought possible.
    steps
        0, 1, … up to the largest litter of the records, exclusive.
    """

    alive: Array
    lost: Array
    lost_known: Array
    stillborn: Array
    possible: Array
    age: Array
    support: Array
    steps: Array


class LitterArrays(NamedTuple):
    """What the density reads; a padded litter has weight 0.

    Attributes
    ----------
    weight
        Shape (n,).
    terms
        Coefficients in the order of :data:`COEFFICIENTS`, and grouping factors.
    design
        Columns of :data:`LINEAR`, shape (n, 20).
    pups
        What was counted.
    """

    weight: Array
    terms: MixedTerms
    design: Array
    pups: CountedPups


class MatedHow(NamedTuple):
    """What a litter's design holds of dose, day, storage and motility; never negative, shape (n,).

    Attributes
    ----------
    missing_doublings
        Doublings of the dose below :data:`REFERENCE_DOSE_M`.
    days_early, days_late
        Days before and after the fertile window of the method. [d]
    storage_steps
        Days of chilled storage beyond one; twelves of hours of fresh semen beyond the first.
    motility_short
        Tens of points of motility below the usual one.
    """

    missing_doublings: Floats
    days_early: Floats
    days_late: Floats
    storage_steps: Floats
    motility_short: Floats


def mated_at_best(n: int) -> MatedHow:
    """Breedings of which nothing of dose, day, storage and motility counts."""
    return MatedHow(*(np.zeros(n) for _ in MatedHow._fields))


def prepare_litter(
    breedings: pd.DataFrame, inseminations: pd.DataFrame, ovulation: pd.DataFrame
) -> LitterData:
    """Turn views into what the model reads.

    Parameters
    ----------
    breedings, inseminations
        The views of these names. ``litter_inbreeding_pct`` is read where there is such a column.
    ovulation
        cycle_id, ovulation_at, ovulation_sd_days of every heat.

    Returns
    -------
    LitterData
        Whelped litters of one certain sire with the pups born alive counted.
    """
    rows = in_model_order(breedings)
    whelped = pd.Series(known_outcome(rows["whelped"]) == 1, rows.index, dtype=np.float64)
    earlier = whelped.groupby(rows["bitch"]).cumsum() - whelped
    before = numbers(rows, "n_litters_before")
    rows["first_litter"] = np.where(np.isnan(before), 0.0, (before + earlier) == 0)
    all_bred = bred_how(rows, inseminations, ovulation)
    born = rows["n_born_alive"].fillna(0) + rows["n_stillborn"].fillna(1)
    counted = (
        (whelped == 1.0)
        & rows["n_born_alive"].notna()
        & (born > 0)
        & rows["is_sire_certain"].astype(bool)
    ).to_numpy()
    rows = rows[counted]
    groups, levels = grouped(rows, tuple(PUBLISHED.spreads))
    alive = numbers(rows, "n_born_alive")
    lost = alive - numbers(rows, "n_alive_8_weeks")
    age = np.nan_to_num(np.maximum(0.0, numbers(rows, "bitch_age_years") - DAM_AGE_FROM))
    bred = chosen_breedings(all_bred, counted)
    return LitterData(
        bred,
        litter_design(rows, bred.semen_type, bred.route, mated_how(bred)),
        age,
        alive,
        np.nan_to_num(numbers(rows, "n_stillborn"), nan=-1.0),
        np.nan_to_num(np.maximum(lost, 0.0), nan=-1.0),
        groups,
        levels,
    )


def mated_how(bred: BredHow) -> MatedHow:
    """Means of the terms of every breeding over what its records leave open.

    Parameters
    ----------
    bred
        Semen, hours and day of the breedings.
    """
    semen, route, pair = bred.semen_type, bred.route, bred.inseminated_semen
    # The record is expressed in doublings of the route's usual dose; litters count from 100 M.
    usual = np.array([USUAL_DOSE_M.get(kind, REFERENCE_DOSE_M) for kind in route], dtype=float)
    doublings = pair.dose_mean + DOSE_NODES[:, None] * pair.dose_sd
    doublings = doublings + np.log2(usual / REFERENCE_DOSE_M)
    outside = [
        days_outside(
            method_flags(semen, route), bred.day_mean + node * bred.day_sd, bred.inseminated
        )
        for node in DAY_NODES
    ]
    days_early, days_late = (
        DAY_WEIGHTS @ np.stack(side) for side in zip(*outside, strict=True)
    )  # fmt: skip
    return MatedHow(
        missing_doublings=np.where(semen == "natural", 0.0, DOSE_WEIGHTS @ hinge(np, -doublings)),
        days_early=days_early,
        days_late=days_late,
        storage_steps=storage_steps(semen, bred.hours, bred.hours_known),
        motility_short=mean_short(pair, semen),
    )


def days_outside(
    flags: MethodFlags, days: Floats, made: np.ndarray[Any, Any]
) -> tuple[Floats, Floats]:
    """Days before and after the fertile window, of the insemination that is nearest to it.

    Parameters
    ----------
    flags
        Edges of the method, shape (n,).
    days, made
        Days from ovulation, and whether that insemination was made, shape (n, n_inseminations).

    Returns
    -------
    tuple of numpy.ndarray
        Shape (n,). [d]
    """
    early = hinge(np, np.asarray(flags.early_edge)[:, None] - days)
    late = hinge(np, days - np.asarray(flags.late_edge)[:, None])
    nearest = np.where(made, early + late, np.inf).argmin(axis=1)
    rows = np.arange(len(days))
    return early[rows, nearest], late[rows, nearest]


def storage_steps(
    semen: np.ndarray[Any, Any], hours: Floats, hours_known: Floats
) -> Floats:  # fmt: skip
    """What row l18 counts: days of chilled storage beyond one, twelves of hours of fresh semen.

    Parameters
    ----------
    semen
        Text, shape (n,).
    hours, hours_known
        Hours since the collection, and where they are sure, NaN else, shape (n,). [h]
    """
    return np.select(
        [semen == "chilled", semen == "fresh"],
        [chilled_days_beyond_one(hours / 24.0), fresh_hours_old(hours_known) / FRESH_HOURS_A_STEP],
        0.0,
    )


def litter_design(
    rows: pd.DataFrame,
    semen: np.ndarray[Any, Any],
    route: np.ndarray[Any, Any],
    mated: MatedHow,
) -> Floats:
    """Columns of :data:`LINEAR`; what is missing enters at its harmless value, zero.

    Parameters
    ----------
    rows
        Litters, with ``adult_weight_kg``, ``bitch_age_years``, ``n_inseminations``,
        ``first_litter``, ``inbreeding_pct`` and, where known, ``litter_inbreeding_pct``.
    semen, route
        Text, shape (n,).
    mated
        Dose, day, storage and motility.

    Returns
    -------
    numpy.ndarray
        Shape (n, 20).
    """
    weight = numbers(rows, "adult_weight_kg")
    ends = np.array(list(SIZES_KG.values()))
    supposed = list(SIZES_KG).index(SUPPOSED_SIZE)
    size = np.where(np.isnan(weight), supposed, (weight[:, None] >= ends).sum(axis=1))
    age = numbers(rows, "bitch_age_years")
    of_litter = (
        numbers(rows, "litter_inbreeding_pct")
        if "litter_inbreeding_pct" in rows
        else np.zeros(len(rows))
    )
    columns = {
        **{row: size == k for k, row in enumerate(SIZES_KG)},
        "l03": semen != "natural",
        "l04": semen == "chilled",
        "l05": semen == "frozen",
        "l06": np.isin(route, ("transcervical", "surgical")),
        "l07": numbers(rows, "n_inseminations") > 1,
        "l08": -mated.missing_doublings,
        "l09": np.nan_to_num(np.maximum(0.0, age - DAM_AGE_FROM)),
        "l09_large": np.nan_to_num(np.maximum(0.0, age - LARGE_DAM_AGE_FROM)) * (size >= 3),
        "l10": numbers(rows, "first_litter"),
        "l11_dam": np.nan_to_num(numbers(rows, "inbreeding_pct")),
        "l11_litter": np.nan_to_num(of_litter),
        "l16": mated.days_early,
        "l17": mated.days_late,
        "l18": mated.storage_steps,
        "l19": mated.motility_short,
    }
    return np.column_stack([columns[name].astype(np.float64) for name in LINEAR])


def fit_litter(
    data: LitterData,
    *,
    seed: int,
    belief: Belief = AS_PUBLISHED,
    schedule: Sequence[Run] = SCHEDULE,
) -> LitterPosterior:
    """Update the published table by the kennel's litters.

    Parameters
    ----------
    data
        From :func:`prepare_litter`.
    seed
        Seed of sampler and prior draws.
    belief
        How far the published rows are believed.
    schedule
        Attempts of the sampler.

    Raises
    ------
    ConvergenceError
        The sampler did not settle.
    """
    story = litter_story(data, belief)
    return PUBLISHED.fit(data, story, name="litter", seed=seed, schedule=schedule)


def litter_story(data: LitterData, belief: Belief = AS_PUBLISHED) -> Story:
    """Set the litters with their data before the sampler.

    Parameters
    ----------
    data
        From :func:`prepare_litter`.
    belief
        How far the published rows are believed.
    """
    return Story(
        _model,
        {"data": _padded(data, belief)},
        lambda values: PUBLISHED.named(values, data.levels),
    )


def _model(data: LitterArrays) -> None:
    """Generative story of a litter."""
    coefficients = draw_coefficients(data.terms)
    by_id = {row: coefficients[k] for k, row in enumerate(COEFFICIENTS)}
    log_mean = data.design @ coefficients[: len(LINEAR)] + draw_effects(data.terms)
    logs = litter_log_likelihood(by_id, log_mean, data.pups)
    numpyro.factor("outcome", jnp.sum(data.weight * logs))


def litter_log_likelihood(by_id: Mapping[str, Array], log_mean: Array, pups: CountedPups) -> Array:
    """Log probability of each litter's counts, averaged over an unrecorded number of stillborn.

    Parameters
    ----------
    by_id
        l13 to l15.
    log_mean
        Shape (n,).
    pups
        What was counted.
    """
    born = pups.alive + pups.stillborn
    counts = truncated_count_log_likelihood(
        log_mean[None], by_id["l13"], jnp.maximum(born, 1.0), pups.support
    )
    still_logit = stillborn_logit(by_id, born, pups.age)
    orders = gammaln(born + 1) - gammaln(pups.stillborn + 1) - gammaln(pups.alive + 1)
    still = orders + beta_binomial_log_likelihood(
        still_logit, by_id["l14_within"], pups.stillborn, born, pups.steps
    )
    first = logsumexp(jnp.where(pups.possible, counts + still, -jnp.inf), axis=0)
    later = beta_binomial_log_likelihood(
        by_id["l15"] + jnp.zeros_like(pups.lost),
        by_id["l14_within"],
        pups.lost,
        pups.alive,
        pups.steps,
    )
    logs: Array = first + pups.lost_known * later
    return logs


def stillborn_logit(by_id: Mapping[str, Array], born: Array, years_beyond: Array) -> Array:
    """Logit of the mean chance of a pup to be stillborn.

    Parameters
    ----------
    by_id
        l14, l14_size and l14_age.
    born
        Total born.
    years_beyond
        Years of the dam beyond :data:`DAM_AGE_FROM`, not negative. [y]
    """
    return (
        by_id["l14"]
        + by_id["l14_size"] * (born - REFERENCE_LITTER)
        + by_id["l14_age"] * years_beyond
    )


def _padded(data: LitterData, belief: Belief) -> LitterArrays:
    """Arrays of the model, rounded up in size."""
    size = padded_size(data.n_litters, PADDING["litter"])

    def pad(values: np.ndarray[Any, Any], fill: float = 0.0) -> np.ndarray[Any, Any]:
        return padded_rows(values, size, fill)

    recorded = data.n_stillborn >= 0
    cases = np.arange(1 if recorded.all() else N_UNRECORDED)[:, None]
    stillborn = np.where(recorded, data.n_stillborn, cases)
    possible = np.where(recorded, cases == 0, True) & (data.n_alive + stillborn >= 1)
    largest = (data.n_alive + stillborn).max(initial=1.0)
    return LitterArrays(
        weight=pad(np.ones(data.n_litters)),
        terms=PUBLISHED.terms(
            {factor: pad(index) for factor, index in data.groups.items()},
            padded_levels(data.levels, PADDING),
            belief,
        ),
        design=pad(data.design),
        pups=CountedPups(
            alive=pad(data.n_alive, 1.0),
            lost=pad(np.maximum(data.n_lost, 0.0)),
            lost_known=pad((data.n_lost >= 0).astype(np.float64)),
            stillborn=pad(stillborn.T).T,
            possible=pad(possible.T, True).T,
            age=pad(data.dam_age_years),
            support=np.arange(N_SUPPORT + 1.0),
            steps=np.arange(float(padded_size(int(largest), PADDING["pups"]))),
        ),
    )
