"""What every page reads, read once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from studcurve.analytics.measures.doses import TARGET_ROWS
from studcurve.analytics.models.conception.bred import (
    SemenTypeChance,
    chances_by_semen_type,
    partners,
    without_stopped,
)
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.litter.model import LitterPosterior
from studcurve.analytics.models.litter.sizes import LittersAgain, litters_again
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.pipelines.due import DUE_VIEWS
from studcurve.pipelines.fits.fit import ModelPosterior, read_posterior
from studcurve.pipelines.fits.registry import CONCEPTION, LITTER
from studcurve.pipelines.fits.storage import KeptStorage, read_storage
from studcurve.pipelines.fits.stud import StudLevels, read_levels
from studcurve.pipelines.plan.records import PLAN_VIEWS
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.dog_history import dogs_without_chances

PAGE_VIEWS = (
    "dogs", "evaluations", "breedings", "shipments", "cycles", "progesterone", "events",
    "lab_tests", "examinations", "health_lines", "frozen_lots", "inseminated_semen", "findings",
    "doubtful_lines",
)  # fmt: skip
"""Views that pages are made of."""

LITTERS_SEED = 1
"""Seed of the litters drawn again beside the recorded ones: the same records, the same page."""


@dataclass(frozen=True, slots=True)
class Kennel:
    """One records file as its pages read it.

    Attributes
    ----------
    name
        Of the kennel, from the file.
    views
        Frames by view.
    conception
        What is known of the chance of a litter: the kept fit, else the published table.
    stopped
        Call names of dogs whose chances a caution holds back. Nothing that is summed over the
        kennel counts their breedings: it would tell of theirs by what it lacks without them.
    chances
        Chance of a litter by semen type over the other breedings; empty before the first fit.
    litter
        What is known of the size of litters.
    litters
        The recorded litters, and draws of the same.
    levels
        What the kept fits say of each stud over time.
    storage
        The kept fit of storage, and what it rests on.
    target_m
        What a dose should hold, as the owner once said it, else as usual. [10⁶ progressively
        motile]
    fingerprint
        Of the current lines.
    today
        Day of the pages.
    """

    name: str
    views: Mapping[str, pd.DataFrame]
    conception: ModelPosterior[ConceptionPosterior]
    stopped: frozenset[str]
    chances: tuple[SemenTypeChance, ...]
    litter: ModelPosterior[LitterPosterior]
    litters: LittersAgain
    levels: StudLevels
    storage: KeptStorage
    target_m: float
    fingerprint: str
    today: date


def read_kennel(store_path: Path, today: date) -> Kennel:
    """Read everything that pages are made of.

    Parameters
    ----------
    store_path
        Records file; only read.
    today
        Day of the pages.

    Raises
    ------
    StaleFitError
        The kept fit no longer belongs to the model or the priors.
    """
    with Store.open(store_path, read_only=True) as store:
        store.refuse_empty()
        views = {name: store.read(name) for name in sorted({*PAGE_VIEWS, *DUE_VIEWS, *PLAN_VIEWS})}
        conception, litter = read_posterior(store, CONCEPTION), read_posterior(store, LITTER)
        levels = read_levels(store)
        storage = read_storage(store)
        target_m = store.settings().get("target_vaginal_m", PRIORS[TARGET_ROWS["vaginal"]].centre)
        fingerprint = store.fingerprint()
    stopped = stopped_dogs(views, today)
    return Kennel(
        name=_name(store_path),
        views=views,
        conception=conception,
        stopped=stopped,
        chances=()
        if conception.kept is None
        else chances_by_semen_type(
            conception.posterior,
            without_stopped(stopped, *partners(conception.posterior.data)),
        ),
        litter=litter,
        litters=litters_again(
            litter.posterior, seed=LITTERS_SEED, is_fitted=litter.kept is not None
        ),
        levels=levels,
        storage=storage,
        target_m=target_m,
        fingerprint=fingerprint,
        today=today,
    )


def stopped_dogs(views: Mapping[str, pd.DataFrame], today: date) -> frozenset[str]:
    """Call names of the dogs, bred or spoken of in a forecast, whose chances a caution holds back.

    Parameters
    ----------
    views
        At least those of :data:`studcurve.pipelines.due.DUE_VIEWS`, and ``forecasts``.
    today
        Day of the question.
    """
    bred, stated = views["breedings"], views["forecasts"]
    dogs = {*bred["stud"], *bred["bitch"], *stated["stud"], *stated["bitch"]}
    return dogs_without_chances(views, dogs, today)


def stopped_in(store: Store, today: date) -> frozenset[str]:
    """Call names of the dogs of a records file whose chances a caution holds back."""
    views = {name: store.read(name) for name in sorted({*DUE_VIEWS, "forecasts"})}
    return stopped_dogs(views, today)


def left_out(kennel: Kennel, *dogs: str) -> tuple[Sentence, ...]:
    """How many doubtful lines nothing here counts: of some dogs, or of all; nothing without any."""
    lines = kennel.views["doubtful_lines"]
    if dogs:
        lines = lines[lines["dog"].isin(dogs)]
    n_lines = int(lines["entry_id"].nunique())
    return (sentence("answer.left_out", n=n_lines),) if n_lines else ()


def held_back(kennel: Kennel, stud: str | None = None) -> tuple[Sentence, ...]:
    """How many breedings no sum counts since a caution stops a dog of them; nothing without any.

    Parameters
    ----------
    kennel
        What pages read.
    stud
        Whose breedings; those of all by default.
    """
    bred = kennel.views["breedings"]
    if stud is not None:
        bred = bred[bred["stud"] == stud]
    stopped = bred[~without_stopped(kennel.stopped, bred["stud"], bred["bitch"])]
    dogs = kennel.stopped & {*stopped["stud"], *stopped["bitch"]}
    if not dogs:
        return ()
    return (sentence("answer.held_back", n=len(stopped), dogs=tuple(sorted(dogs))),)


def held(kennel: Kennel) -> Sentence:
    """What the records file holds."""
    bred = kennel.views["breedings"]
    return sentence(
        "index.holds",
        n_dogs=len(kennel.views["dogs"]),
        n_readings=len(kennel.views["evaluations"]),
        n_breedings=len(bred),
        n_unknown=int((~bred["outcome_known"].astype(bool)).sum()),
    )


def _name(store_path: Path) -> str:
    """The kennel's name, from the file's."""
    return store_path.stem[:1].upper() + store_path.stem[1:]
