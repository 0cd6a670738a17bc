"""What does a table of breedings or litters add to the published rows that it is read with?

Conception and litter size are regressions on rows of the priors table, with grouping factors of
breedings: one draw of what is published, one fit, one way back from kept draws to a posterior.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import NormalDist
from typing import Generic, Protocol, TypeVar

import numpy as np

from studcurve.analytics.estimate import (
    Before,
    Estimate,
    Floats,
    RecordsWeight,
    estimate_from_draws,
    interval_quantiles,
    records_alone,
    records_weight,
)
from studcurve.analytics.models.density import Story
from studcurve.analytics.models.regression import (
    GroupingFactor,
    Ints,
    MixedTerms,
    effect_draws,
    grouping_factor,
)
from studcurve.analytics.models.sampling import (
    Diagnostics,
    Draws,
    Run,
    effects_of_levels,
    independent_draws,
    padded_size,
    sample,
)
from studcurve.analytics.priors import N_PRIOR_DRAWS, PRIORS, draw_priors


class GroupedData(Protocol):
    """Records whose rows belong to levels of grouping factors."""

    @property
    def groups(self) -> Mapping[str, Ints]: ...  # noqa: D102
    @property
    def levels(self) -> Mapping[str, tuple[str, ...]]: ...  # noqa: D102


D = TypeVar("D", bound=GroupedData)


@dataclass(frozen=True, slots=True)
class Belief:
    """How far the published rows are believed; otherwise than as published to see what hangs on it.

    Attributes
    ----------
    sd_factor
        By which every prior's spread is multiplied.
    otherwise
        Centre and spread of rows that are believed otherwise, by id; of a log-normal row on the log
        scale.
    """

    sd_factor: float = 1.0
    otherwise: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def of(self, row: str) -> tuple[float, float]:
        """Centre and spread of a row, or of the logarithm of a log-normal one."""
        if row in self.otherwise:
            return self.otherwise[row]
        prior = PRIORS[row]
        centre = float(np.log(prior.centre)) if prior.distribution == "log-normal" else prior.centre
        return centre, self.sd_factor * prior.sd


AS_PUBLISHED = Belief()


@dataclass(frozen=True, slots=True)
class PublishedRows:
    """The rows of the priors table that a regression of breedings updates.

    Attributes
    ----------
    coefficients
        Ids of the normal coefficients, in the order of the coefficient vector.
    spreads
        Id of the spread between levels, by grouping factor.
    others
        Ids of further numbers, each a sampled site of the same name.
    """

    coefficients: tuple[str, ...]
    spreads: Mapping[str, str]
    others: tuple[str, ...] = ()

    def draw(self, rng: np.random.Generator, n_draws: int) -> dict[str, Floats]:
        """Draw what is published of every row, each of shape (n_draws,)."""
        return draw_priors((*self.coefficients, *self.others, *self.spreads.values()), rng, n_draws)

    def independent_draws(self, seed: int) -> Draws:
        """Draws of the published table, in the form of a settled sample."""
        return independent_draws(self.draw(np.random.default_rng(seed), N_PRIOR_DRAWS))

    def terms(
        self,
        groups: Mapping[str, Ints],
        n_levels: Mapping[str, int],
        belief: Belief = AS_PUBLISHED,
    ) -> MixedTerms:
        """Coefficients and effects as the sampler reads them.

        Parameters
        ----------
        groups
            Level of each row by grouping factor, padded.
        n_levels
            Levels by grouping factor, padded.
        belief
            How far the published rows are believed.
        """
        factors: list[GroupingFactor] = []
        for factor, index in groups.items():
            _, scale = belief.of(self.spreads[factor])
            factors.append(grouping_factor(factor, index, n_levels[factor], scale))
        centre, sd = np.array([belief.of(row) for row in self.coefficients]).T
        return MixedTerms(centre, sd, tuple(factors))

    def named(
        self, values: Mapping[str, Floats], levels: Mapping[str, tuple[str, ...]]
    ) -> dict[str, Floats]:
        """Draws by id and effects by factor, from draws by site."""
        draws = {row: values["coefficients"][:, k] for k, row in enumerate(self.coefficients)}
        draws |= {row: values[row] for row in self.others}
        draws |= {self.spreads[factor]: values[f"sd_{factor}"] for factor in levels}
        return draws | effect_draws(values, levels)

    def fit(
        self, data: D, story: Story, *, name: str, seed: int, schedule: Sequence[Run]
    ) -> BreedingsPosterior[D]:
        """Update the published rows by records.

        Parameters
        ----------
        data, story
            Records, and the density that they make.
        name
            What the model is called in a refusal.
        seed
            Seed of sampler and prior draws.
        schedule
            Attempts of the sampler.

        Raises
        ------
        ConvergenceError
            The sampler did not settle.
        """
        gated = ("coefficients", *self.others, *(f"sd_{factor}" for factor in data.groups))
        sampled = sample(
            story.model, story.arguments, name=name, gated=gated, seed=seed, schedule=schedule
        )
        published = self.draw(np.random.default_rng(seed), N_PRIOR_DRAWS)
        published |= self._partners(published, data.levels, seed)
        return BreedingsPosterior(
            data, story.named(sampled.values), published, sampled.diagnostics, sampled.seconds
        )

    def restore(self, data: D, draws: Draws, *, seed: int) -> BreedingsPosterior[D]:
        """Make a posterior again from kept draws and the records of today.

        Parameters
        ----------
        data
            Today's; a level that the fit has not seen gets draws of a new one.
        draws
            Kept draws with their labels, or those of the published table.
        seed
            Seed of the new levels and of the published table beside them.
        """
        rng = np.random.default_rng(seed)
        published = self.draw(rng, N_PRIOR_DRAWS)
        values = {row: draws.values[row] for row in (*self.coefficients, *self.others)}
        n_draws = len(values[self.coefficients[0]])
        for row in self.spreads.values():
            # A factor of one level had no spread in the fit; the published one stands in for it.
            values[row] = draws.values.get(row, np.resize(published[row], n_draws))
        for factor, names in data.levels.items():
            values[f"effect_{factor}"] = effects_of_levels(
                draws, f"effect_{factor}", names, sd=values[self.spreads[factor]], rng=rng
            )
        published |= self._partners(published, data.levels, seed)
        return BreedingsPosterior(data, values, published, draws.diagnostics, draws.seconds)

    def _partners(
        self, published: Mapping[str, Floats], levels: Mapping[str, tuple[str, ...]], seed: int
    ) -> dict[str, Floats]:
        """Effects of the records' own levels before any record: drawn from the published spreads.

        Of a stream of their own, so that no other draw hangs on how many levels there are.
        """
        rng = np.random.default_rng([seed, PARTNERS_STREAM])
        return {
            f"effect_{factor}": published[self.spreads[factor]][:, None]
            * rng.normal(size=(N_PRIOR_DRAWS, len(names)))
            for factor, names in levels.items()
        }


PARTNERS_STREAM = 1
"""Second part of the seed of partners' effects before the records."""


def before_records(row: str) -> Before:
    """Exact moments of a normal or half-normal row of the priors table, on its own scale."""
    prior = PRIORS[row]
    if prior.distribution == "normal":
        return Before(prior.centre, prior.centre, prior.sd)
    if prior.distribution == "half-normal":
        mean = prior.sd * (2.0 / np.pi) ** 0.5
        middle = published_estimate(row).median
        return Before(mean, middle, prior.sd * (1.0 - 2.0 / np.pi) ** 0.5)
    raise ValueError(f"row {row} is {prior.distribution}: give normal or half-normal rows only")


def published_estimate(row: str) -> Estimate:
    """Exact median and interval of a normal or half-normal row of the priors table."""
    prior, normal = PRIORS[row], NormalDist()
    lower, median, upper = (
        normal.inv_cdf(0.5 + 0.5 * prob if prior.distribution == "half-normal" else prob)
        for prob in interval_quantiles()
    )
    return Estimate(*(prior.centre + prior.sd * z for z in (median, lower, upper)))


@dataclass(frozen=True, slots=True)
class BreedingsPosterior(Generic[D]):
    """What the records added to what is published.

    Attributes
    ----------
    data
        What was read.
    draws, prior_draws
        Draws by id of the priors table, effects of the same partners as ``effect_stud`` and so on;
        first axis draws.
    diagnostics
        What the sampler's gate read.
    seconds
        Wall time. [s]
    """

    data: D
    draws: Mapping[str, Floats]
    prior_draws: Mapping[str, Floats]
    diagnostics: Diagnostics
    seconds: float

    @property
    def labels(self) -> Mapping[str, tuple[str, ...]]:
        """What the last axis of each kind of effect counts."""
        return {f"effect_{factor}": names for factor, names in self.data.levels.items()}

    def estimate(self, row: str) -> Estimate:
        """Posterior of one row of the priors table, on its own scale."""
        return estimate_from_draws(self.draws[row])

    def prior_estimate(self, row: str) -> Estimate:
        """What is published of that row, exactly."""
        return published_estimate(row)

    @property
    def before(self) -> BreedingsPosterior[D]:
        """The same breedings and partners as the published table alone knows them."""
        return replace(self, draws=self.prior_draws)

    def records_weight(self, row: str) -> RecordsWeight:
        """What the kennel's own records supply of one row."""
        return records_weight(self.draws[row], before_records(row))

    def records_alone(self, row: str) -> Estimate | None:
        """What the records alone say of a row; None where they cannot, or it is not normal."""
        if PRIORS[row].distribution != "normal":
            return None
        return records_alone(self.draws[row], before_records(row))


def padded_rows(values: np.ndarray, n_padded: int, fill: float | bool = 0.0) -> np.ndarray:
    """The first axis filled up to a length.

    Parameters
    ----------
    values
        First axis rows.
    n_padded
        Length wanted.
    fill
        What stands in the padded rows.
    """
    widths = [(0, n_padded - len(values)), *[(0, 0)] * (values.ndim - 1)]
    return np.pad(values, widths, constant_values=fill)


def padded_levels(levels: Mapping[str, Sequence[str]], steps: Mapping[str, int]) -> dict[str, int]:
    """Number of levels of each factor, rounded up to its step."""
    return {factor: padded_size(len(names), steps[factor]) for factor, names in levels.items()}
