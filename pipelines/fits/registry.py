"""Which models are fitted, from which views, and how a kept fit becomes a posterior again.

One description a model; `pipelines/fits/fit.py` fits, keeps and reads them all the same way.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any, Generic, Protocol, TypeVar

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.counting import HOME_COUNT_CV
from studcurve.analytics.models.breedings.records import ConceptionData, prepare_conception
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.conception.bred import partners, without_stopped
from studcurve.analytics.models.density import Story
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.sampling import Diagnostics, Draws
from studcurve.analytics.models.storage import curve
from studcurve.analytics.models.storage import model as storage
from studcurve.analytics.models.storage.inputs import StorageData, prepare_storage
from studcurve.analytics.models.stud import model as stud
from studcurve.analytics.models.stud.inputs import FEWEST_COLLECTIONS, StudData, prepare_stud_data
from studcurve.analytics.outcomes import contrast, needed, regressions
from studcurve.analytics.trust import checking, forgotten, prior_width
from studcurve.pipelines.fits.heats import dated_heats

MIN_STORED_EVALUATIONS = 5
"""Readings of stored samples below which the published curve stands alone (J)."""


class Views(Protocol):
    """Where models read: an open records file, or the fixed records."""

    def read(self, view: str) -> pd.DataFrame:
        """Read a view whole, in the order of its grain."""
        ...


class ModelData(Protocol):
    """What a model reads."""

    def fingerprint(self) -> str:
        """Fingerprint of everything that enters the likelihood."""
        ...


class Posterior(Protocol):
    """What a fit gives: draws by id, and what their last axis counts where it counts levels."""

    @property
    def draws(self) -> Mapping[str, Floats]: ...  # noqa: D102
    @property
    def labels(self) -> Mapping[str, tuple[str, ...]]: ...  # noqa: D102
    @property
    def diagnostics(self) -> Diagnostics: ...  # noqa: D102
    @property
    def seconds(self) -> float: ...  # noqa: D102


D = TypeVar("D", bound=ModelData)
P = TypeVar("P", bound=Posterior)


def _unchecked(
    posterior: Posterior, *, seed: int, silent: Collection[str] = ()
) -> Mapping[str, Any]:
    """Nothing is computed of a model that no page checks."""
    return {}


def check_conception(
    posterior: conception.ConceptionPosterior, *, seed: int, silent: Collection[str] = ()
) -> Mapping[str, Any]:
    """Predictions with each bitch left out, and plain regressions."""
    told = without_stopped(silent, *partners(posterior.data))
    open_data = replace(posterior.data, whelped=np.where(told, posterior.data.whelped, -1))
    predicted = checking.left_out(posterior, seed=seed)
    return {
        "left_out": None
        if predicted is None
        else {
            "ways": {way: prob.tolist() for way, prob in predicted.ways.items()},
            "pareto_k": predicted.pareto_k.tolist(),
        },
        "regressions": regressions.as_plain(regressions.regress_litters(open_data, seed=seed)),
        "regressed": told.tolist(),
    }


def check_litter(
    posterior: litter.LitterPosterior, *, seed: int, silent: Collection[str] = ()
) -> Mapping[str, Any]:
    """What plain regressions say of the size of litters."""
    told = without_stopped(silent, *partners(posterior.data))
    data = posterior.data
    found = regressions.regress_sizes(
        replace(data, n_stillborn=np.where(told, data.n_stillborn, -1.0)), seed=seed
    )
    return {"regressions": regressions.as_plain(found), "regressed": told.tolist()}


def ask_about_litters(
    posterior: conception.ConceptionPosterior, *, seed: int, silent: Collection[str] = ()
) -> Mapping[str, Any]:
    """What records alone say of the chance of a litter, what it hangs on, what would say more."""
    told = without_stopped(silent, *partners(posterior.data))
    lost = forgotten.forgotten(posterior, told, seed=seed)
    return {
        "prior_widths": prior_width.as_plain(prior_width.prior_widths(posterior, seed=seed)),
        "forgotten": None if lost is None else forgotten.as_plain(lost),
        "outcomes": {
            "shifts": contrast.as_plain(contrast.shifts_of_litters(posterior.data, seed=seed)),
            "needed": needed.as_plain(needed.needed_for_litters(posterior, seed=seed)),
        },
    }


def ask_about_pups(
    posterior: litter.LitterPosterior, *, seed: int, silent: Collection[str] = ()
) -> Mapping[str, Any]:
    """What the records alone say of the size of litters, and how many would say more."""
    return {
        "outcomes": {
            "shifts": contrast.as_plain(contrast.shifts_of_pups(posterior.data, seed=seed)),
            "needed": needed.as_plain(needed.needed_for_pups(posterior, seed=seed)),
        }
    }


@dataclass(frozen=True, slots=True)
class Model(Generic[D, P]):
    """One model, described.

    Attributes
    ----------
    name
        What the kept fit is called.
    prior_ids
        Beginnings of the ids of the rows of the priors table that it reads.
    version
        ``MODEL_VERSION`` of its module: what the density, a kept draw and a kept check mean.
    prepare
        Reads the views and gives what the model reads.
    story
        Sets what was read before the sampler: the density that is sampled.
    size
        What there is to read, in words: "214 breedings".
    too_thin
        Why the records cannot move what is published, or None when they can.
    fit
        Samples the posterior; ``fit(data, seed=…)``.
    restore
        Makes the posterior again from kept draws and the records of today; a level that the fit
        has not seen gets draws of a new one. ``restore(data, draws, seed=…)``.
    published
        Draws of the published table alone; ``published(seed)``. Restored, they are the posterior
        of a kennel without records.
    check
        Computes once, at the fit, what pages tell of how far it can be trusted, as plain numbers;
        ``check(posterior, seed=…, silent=…)``, the last the call names of dogs whose breedings no
        sum over the kennel may hold. Nothing by default.
    ask
        The same of what takes a sampler or a simulation of its own; ``ask(posterior, seed=…,
        silent=…)``.
    """

    name: str
    prior_ids: tuple[str, ...]
    version: int
    prepare: Callable[[Views], D]
    story: Callable[[D], Story]
    size: Callable[[D], str]
    too_thin: Callable[[D], str | None]
    fit: Callable[..., P]
    restore: Callable[..., P]
    published: Callable[[int], Draws]
    check: Callable[..., Mapping[str, Any]] = _unchecked
    ask: Callable[..., Mapping[str, Any]] = _unchecked


def conception_data(store: Views) -> ConceptionData:
    """Read what the conception model needs."""
    return prepare_conception(
        store.read("breedings"),
        store.read("inseminated_semen"),
        dated_heats(store.read("cycles"), store.read("progesterone")),
    )


def litter_data(store: Views) -> litter.LitterData:
    """Read what the litter model needs."""
    return litter.prepare_litter(
        store.read("breedings"),
        store.read("inseminated_semen"),
        dated_heats(store.read("cycles"), store.read("progesterone")),
    )


CONCEPTION: Model[ConceptionData, conception.ConceptionPosterior] = Model(
    name="conception",
    prior_ids=("c0", "c1", "c20", "c21", "c23", "c24", "c25", "c26", "r05"),
    version=conception.MODEL_VERSION,
    prepare=conception_data,
    story=conception.conception_story,
    size=lambda data: f"{data.n_breedings} breedings, {data.n_known} with a known result",
    too_thin=lambda data: None if data.n_known else "no breeding has a known result",
    fit=conception.fit_conception,
    restore=conception.PUBLISHED.restore,
    published=conception.PUBLISHED.independent_draws,
    check=check_conception,
    ask=ask_about_litters,
)


def storage_data(store: Views) -> StorageData:
    """Read what the storage model needs."""
    return prepare_storage(store.read("evaluations"), store.read("shipments"))


STORAGE: Model[StorageData, storage.StoragePosterior] = Model(
    name=curve.FIT_NAME,
    prior_ids=curve.PRIOR_IDS,
    version=curve.MODEL_VERSION,
    prepare=storage_data,
    story=storage.storage_story,
    size=lambda data: f"{data.n_stored} evaluations of {data.n_collections} stored collections",
    too_thin=lambda data: (
        None
        if data.n_stored >= MIN_STORED_EVALUATIONS
        else f"{data.n_stored} evaluations of stored samples, {MIN_STORED_EVALUATIONS} are needed"
    ),
    fit=storage.fit_storage,
    restore=storage.restore_storage,
    published=storage.published_storage_draws,
)

LITTER: Model[litter.LitterData, litter.LitterPosterior] = Model(
    name="litter",
    prior_ids=("l",),
    version=litter.MODEL_VERSION,
    prepare=litter_data,
    story=litter.litter_story,
    size=lambda data: f"{data.n_litters} litters with pups counted",
    too_thin=lambda data: None if data.n_litters else "no litter has its pups counted",
    fit=litter.fit_litter,
    restore=litter.PUBLISHED.restore,
    published=litter.PUBLISHED.independent_draws,
    check=check_litter,
    ask=ask_about_pups,
)


def _too_few_collections(data: StudData) -> str | None:
    few = data.n_collections < FEWEST_COLLECTIONS
    return f"{data.n_collections} collections were measured" if few else None


def _over_time(
    name: str, measure: str, prior_ids: tuple[str, ...], what: str
) -> Model[StudData, stud.StudQualityPosterior]:
    """One measure of every stud over time."""

    def prepare(store: Views) -> StudData:
        views = store.read("evaluations"), store.read("events")
        return prepare_stud_data(*views, measure, extra_cv=HOME_COUNT_CV)

    return Model(
        name=name,
        prior_ids=("q01_tail", "q04", "q05", *prior_ids),
        version=stud.MODEL_VERSION,
        prepare=prepare,
        story=stud.stud_story,
        size=lambda data: f"{data.n_collections} {what} of {len(data.studs)} studs",
        too_thin=_too_few_collections,
        fit=stud.fit_stud_quality,
        restore=stud.restore_stud_quality,
        published=lambda seed: stud.published_stud_quality(measure, seed),
    )


TOTAL_SPERM = _over_time(
    "total sperm", "total_sperm_m", ("q01", "q03", "q06_total", "r02"), "counted collections"
)

MOTILITY = _over_time(
    "progressive motility",
    "progressive_motility_pct",
    ("q02_centre_motility", "q02_between", "q02_within", "q06_motility", "r01", "r03"),
    "evaluations of motility",
)

MORPHOLOGY = _over_time(
    "normal morphology",
    "normal_morphology_pct",
    ("q02_centre_morphology", "q02_between", "q02_within", "q06_morphology", "r01_shape"),
    "evaluations of morphology",
)

STUD_OVER_TIME = (TOTAL_SPERM, MOTILITY, MORPHOLOGY)
"""Those that follow one measure of every stud over time, total sperm first."""

MODELS: tuple[Model[Any, Any], ...] = (
    MORPHOLOGY,
    MOTILITY,
    TOTAL_SPERM,
    LITTER,
    CONCEPTION,
    STORAGE,
)
"""Every model that `studcurve fit` fits, the longest first."""
