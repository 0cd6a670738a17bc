"""Which storage curve holds for a stud and an extender: the kennel's own fit, or the published one?

Read at the bench, where no sampler may run: the draws of the last `studcurve fit` come from the
records file, and nothing here imports the library that made them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from studcurve.analytics.measures.motility_kept import (
    N_DRAWS,
    StorageDraws,
    medium_of,
    published_storage,
)
from studcurve.analytics.models.storage.curve import FIT_NAME, MODEL_VERSION, PRIOR_IDS, OwnStorage
from studcurve.analytics.models.storage.inputs import StorageData, prepare_storage, product_name
from studcurve.pipelines.fits.guard import is_current
from studcurve.pipelines.records.database.store import Store


@dataclass(frozen=True, slots=True)
class KeptStorage:
    """What the records file knows of storage.

    Attributes
    ----------
    own
        The kept fit; None without one that belongs to this model and this table.
    data
        What the fit reads of today's records.
    is_outdated
        Whether there is a fit of another version of either.
    """

    own: OwnStorage | None
    data: StorageData
    is_outdated: bool

    def curve(
        self,
        *,
        stud: str | None,
        extender: str | None,
        rng: np.random.Generator,
        n_draws: int = N_DRAWS,
    ) -> StorageDraws:
        """Storage curve of the next collection of a stud in an extender.

        Parameters
        ----------
        stud
            Call name; None for a stud like any other.
        extender
            As the owner writes it.
        rng
            Source of the draws.
        n_draws
            Number of draws.

        Returns
        -------
        StorageDraws
            Of the kept fit, else of the published table; its source says which of the two.
        """
        if self.own is not None:
            return self.own.curve(
                stud=stud, extender=extender, rng=rng, n_draws=n_draws,
                observed_until_h=self.data.observed_until_h(product_name(extender)),
            )  # fmt: skip
        published = published_storage(medium_of(extender), rng=rng, n_draws=n_draws)
        if not self.is_outdated:
            return published
        return replace(
            published,
            source=f"{published.source}; the kennel's own model was made by another version of "
            "the program or of the starting table, run `studcurve fit`",
        )

    def with_codes(self, dog: Callable[[str], str]) -> KeptStorage:
        """The same with codes in place of the names of studs; nothing else here is shown."""
        if self.own is None:
            return self
        studs = tuple(dog(name) for name in self.own.labels.get("effect_stud", ()))
        own = replace(self.own, labels={**self.own.labels, "effect_stud": studs})
        return replace(self, own=own)


def read_storage(store: Store) -> KeptStorage:
    """Read the kept fit of storage and what it rests on."""
    kept = store.read_fit(FIT_NAME)
    current = kept is not None and is_current(kept, MODEL_VERSION, PRIOR_IDS)
    return KeptStorage(
        OwnStorage(kept.draws, kept.labels) if kept is not None and current else None,
        prepare_storage(store.read("evaluations"), store.read("shipments")),
        kept is not None and not current,
    )


def storage_curve(
    store_path: Path,
    *,
    stud: str | None,
    extender: str | None,
    rng: np.random.Generator,
    n_draws: int = N_DRAWS,
) -> StorageDraws:
    """Storage curve of the next collection of a stud in an extender, from a records file.

    Arguments as of :meth:`KeptStorage.curve`; without a fit in the file the curve is the published
    one.
    """
    with Store.open(store_path, read_only=True) as store:
        storage = read_storage(store)
    return storage.curve(stud=stud, extender=extender, rng=rng, n_draws=n_draws)
