"""What is read of one dog from the views, and what must be said of it.

One way for every command and page.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from functools import lru_cache

import pandas as pd

from studcurve.analytics.cautions import (
    Caution,
    DogRecords,
    KennelRecords,
    cautions_of_dog,
    stopped_answers,
)

CAUTION_VIEWS = (
    "dogs", "evaluations", "breedings", "evaluations_seen", "breedings_seen", "inseminations_seen",
    "health_lines", "intervals",
)  # fmt: skip
"""Views that the rules read."""


class _SameFrames:
    """Frames that are equal only to themselves, so that what they hold is worked out once."""

    def __init__(self, views: Mapping[str, pd.DataFrame]) -> None:
        self.views = {name: views[name] for name in CAUTION_VIEWS}

    def __hash__(self) -> int:
        return hash(tuple(map(id, self.views.values())))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _SameFrames) and all(
            self.views[name] is other.views[name] for name in CAUTION_VIEWS
        )


@lru_cache(maxsize=8)
def _read(frames: _SameFrames) -> KennelRecords:
    return KennelRecords.of_views(frames.views)


def kennel_records(views: Mapping[str, pd.DataFrame]) -> KennelRecords:
    """Every dog as the rules read it; worked out once for the same frames.

    Parameters
    ----------
    views
        At least those of :data:`CAUTION_VIEWS`; the frames are not changed afterwards.
    """
    return _read(_SameFrames(views))


def dog_records(views: Mapping[str, pd.DataFrame], dog: str, today: date) -> DogRecords:
    """The rows of one dog, as the rules of caution read them."""
    return kennel_records(views).of(dog, today)


def cautions_of(views: Mapping[str, pd.DataFrame], dog: str, today: date) -> tuple[Caution, ...]:
    """What must be said of one dog, whichever sex, before any number."""
    return cautions_of_dog(kennel_records(views), dog, today)


def dogs_named(dogs: pd.DataFrame, name: str, sex: str) -> pd.DataFrame:
    """Rows of the view ``dogs`` of one sex that go by a name, call name or registered one."""
    wanted = name.strip().casefold()
    is_meant = dogs["call_name"].str.casefold().eq(wanted)
    is_meant |= dogs["registered_name"].str.casefold().eq(wanted).fillna(False)
    return dogs[is_meant & dogs["sex"].eq(sex)]


def dogs_without_chances(
    views: Mapping[str, pd.DataFrame], dogs: Collection[str], today: date
) -> frozenset[str]:
    """Those of some dogs whose chances a caution holds back, by call name."""
    return frozenset(
        dog
        for dog in sorted(set(dogs))
        if "conception" in stopped_answers(cautions_of(views, dog, today))
    )
