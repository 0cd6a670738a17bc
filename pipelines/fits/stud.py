"""What the kept fits say of each stud over time: read once, asked stud by stud.

A measure without a kept fit is left out: its samples then stand alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property

import numpy as np
import pandas as pd

from studcurve.analytics.models.stud.false_alarms import KennelRule, kennel_rule
from studcurve.analytics.models.stud.model import StudQualityPosterior
from studcurve.analytics.models.stud.summary import StudSummary, tell_stud
from studcurve.pipelines.fits.fit import ModelPosterior, read_posterior
from studcurve.pipelines.fits.registry import STUD_OVER_TIME
from studcurve.pipelines.records.database.store import Store

NOT_NAMED = "not named"
"""A reader whom nobody noted; that names nobody."""

SEED = 0
"""Of the published table's draws, against which the share from the records is taken, and of the
kennel-years in which false announcements are counted."""


@dataclass(frozen=True, slots=True)
class StudLevel:
    """One measure: from the kept fit, and from the published table over the same records."""

    fitted: ModelPosterior[StudQualityPosterior]
    published: StudQualityPosterior


@dataclass(frozen=True)
class StudLevels:
    """The measures with a kept fit, total sperm first.

    Attributes
    ----------
    levels
        One a measure.
    """

    levels: tuple[StudLevel, ...]

    @cached_property
    def rule(self) -> KennelRule:
        """How sure a fall must be in this kennel, over all studs and measures together."""
        posteriors = [level.fitted.posterior for level in self.levels]
        return kennel_rule(posteriors, np.random.default_rng(SEED))

    def of(self, stud: str, events: pd.DataFrame, today: date) -> tuple[StudSummary, ...]:
        """What each measure says of a stud; a measure that he was never read for says nothing.

        Parameters
        ----------
        stud
            Call name.
        events
            The view of that name.
        today
            Day of the page.
        """
        found = []
        for level in self.levels:
            posterior = level.fitted.posterior
            if posterior.data.rows_of(stud).size == 0:
                continue
            found.append(tell_stud(posterior, level.published, stud, events, today, self.rule))
        return tuple(found)

    @property
    def total_sperm(self) -> StudQualityPosterior | None:
        """The kept fit of what each stud's samples hold; None without one."""
        posteriors = (level.fitted.posterior for level in self.levels)
        return next(
            (
                posterior
                for posterior in posteriors
                if posterior.data.measure.name == "total_sperm_m"
            ),
            None,
        )

    @property
    def unseen(self) -> tuple[int, datetime] | None:
        """Records that the oldest fit has not seen, and when it was made; None for none."""
        since = [
            (level.fitted.n_records_since, level.fitted.kept.fitted_at)
            for level in self.levels
            if level.fitted.kept is not None and level.fitted.n_records_since
        ]
        return max(since, default=None)

    def with_codes(self, dog: Callable[[str], str], evaluator: Callable[[str], str]) -> StudLevels:
        """The same with codes in place of the names of dogs and people."""
        return StudLevels(
            tuple(
                StudLevel(
                    replace(
                        level.fitted,
                        posterior=_with_codes(level.fitted.posterior, dog, evaluator),
                    ),
                    _with_codes(level.published, dog, evaluator),
                )
                for level in self.levels
            )
        )


def read_levels(store: Store) -> StudLevels:
    """Read every kept fit of a stud over time.

    Raises
    ------
    StaleFitError
        A kept fit no longer belongs to the model or the priors.
    """
    levels = []
    for model in STUD_OVER_TIME:
        if store.read_fit(model.name) is None:
            continue
        found = read_posterior(store, model)
        published = model.restore(found.posterior.data, model.published(SEED), seed=SEED)
        levels.append(StudLevel(found, published))
    return StudLevels(tuple(levels))


def _with_codes(
    posterior: StudQualityPosterior, dog: Callable[[str], str], evaluator: Callable[[str], str]
) -> StudQualityPosterior:
    data = posterior.data
    readers = []
    for reader in data.readers:
        who, comma, way = reader.rpartition(", ")
        readers.append(f"{who if who == NOT_NAMED else evaluator(who)}{comma}{way}")
    studs = tuple(dog(stud) for stud in data.studs)
    episodes = tuple(replace(episode, stud=dog(episode.stud)) for episode in data.episodes)
    data = replace(data, studs=studs, readers=tuple(readers), episodes=episodes)
    return replace(posterior, data=data)
