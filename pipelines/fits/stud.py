"""What the kept fits say of each stud over time: read once, asked stud by stud.

A measure without a kept fit is left out: its samples then stand alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime

import pandas as pd

from studcurve.analytics.models.stud.model import StudQualityPosterior
from studcurve.analytics.models.stud.summary import StudTold, tell_stud
from studcurve.pipelines.fits.fit import Known, known
from studcurve.pipelines.fits.registry import STUD_OVER_TIME
from studcurve.pipelines.records.database.store import Store

NOT_NAMED = "not named"
"""A reader whom nobody noted; that names nobody."""

SEED = 0
"""Of the published table's draws, against which the share from the records is taken."""


@dataclass(frozen=True, slots=True)
class StudLevel:
    """One measure: from the kept fit, and from the published table over the same records."""

    known: Known[StudQualityPosterior]
    published: StudQualityPosterior


@dataclass(frozen=True, slots=True)
class StudLevels:
    """The measures with a kept fit, total sperm first.

    Attributes
    ----------
    levels
        One a measure.
    """

    levels: tuple[StudLevel, ...]

    def of(self, stud: str, events: pd.DataFrame, today: date) -> tuple[StudTold, ...]:
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
            posterior = level.known.posterior
            if posterior.data.rows_of(stud).size == 0:
                continue
            found.append(tell_stud(posterior, level.published, stud, events, today))
        return tuple(found)

    @property
    def total_sperm(self) -> StudQualityPosterior | None:
        """The kept fit of what each stud's samples hold; None without one."""
        fitted = (level.known.posterior for level in self.levels)
        return next((one for one in fitted if one.data.measure.name == "total_sperm_m"), None)

    @property
    def unseen(self) -> tuple[int, datetime] | None:
        """Records that the oldest fit has not seen, and when it was made; None for none."""
        since = [
            (level.known.n_records_since, level.known.kept.fitted_at)
            for level in self.levels
            if level.known.kept is not None and level.known.n_records_since
        ]
        return max(since, default=None)

    def veiled(self, dog: Callable[[str], str], evaluator: Callable[[str], str]) -> StudLevels:
        """The same with codes in place of the names of dogs and people."""
        return StudLevels(
            tuple(
                StudLevel(
                    replace(
                        level.known,
                        posterior=_veiled(level.known.posterior, dog, evaluator),
                    ),
                    _veiled(level.published, dog, evaluator),
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
        found = known(store, model)
        published = model.restore(found.posterior.data, model.published(SEED), seed=SEED)
        levels.append(StudLevel(found, published))
    return StudLevels(tuple(levels))


def _veiled(
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
