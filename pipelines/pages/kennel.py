"""What every page reads, read once; and the same without the names of dogs, people and places."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import wraps
from pathlib import Path
from typing import Any, Concatenate, ParamSpec, TypeVar

import numpy as np
import pandas as pd

from studcurve.analytics.cautions import stopped_answers
from studcurve.analytics.estimate import Estimate, estimate_from_draws, share_from_records
from studcurve.analytics.measures.counting import exact_share
from studcurve.analytics.measures.doses import TARGET_ROWS
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.conception.chance import own_breedings_prob
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.litter.model import LitterPosterior
from studcurve.analytics.models.litter.sizes import LittersAgain, litters_again
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.pipelines.due.items import DUE_VIEWS
from studcurve.pipelines.fits.fit import ModelPosterior, read_posterior
from studcurve.pipelines.fits.registry import CONCEPTION, LITTER
from studcurve.pipelines.fits.storage import KeptStorage, read_storage
from studcurve.pipelines.fits.stud import StudLevels, read_levels
from studcurve.pipelines.plan.records import PLAN_VIEWS
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.dog_history import cautions_of
from studcurve.reports.pages.stud_review import SemenTypeChance
from studcurve.reports.words import Words

PAGE_VIEWS = (
    "dogs", "evaluations", "breedings", "shipments", "cycles", "progesterone", "events",
    "lab_tests", "examinations", "health_lines", "frozen_lots", "inseminations", "findings",
    "doubtful_lines",
)  # fmt: skip
"""Views that pages are made of."""

SEMEN_ORDER = ("natural", "fresh", "chilled", "frozen")

LITTERS_SEED = 1
"""Seed of the litters drawn again beside the recorded ones: the same records, the same page."""

_CODED = {
    "call_name": "dog", "dog": "dog", "stud": "dog", "bitch": "dog", "for_bitch": "dog",
    "evaluator": "evaluator", "veterinarian": "evaluator", "clinic": "clinic",
    "laboratory": "laboratory", "carrier": "carrier", "lot": "lot",
}  # fmt: skip
"""Columns whose names become codes, by the kind of code."""

_OPEN = frozenset({
    "sex", "breed", "stage", "failed_reason", "appearance", "count_method", "motility_method",
    "extender", "semen_type", "route", "result", "kind", "drug_class", "what", "unit",
    "value_text", "laboratory_range", "scan", "outcome", "finding", "value_as_reported",
    "unit_as_reported",
})  # fmt: skip
"""Columns of words that name nobody; every other text is left out of an anonymous page."""


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
    worked_out
        What pages asked already; see :func:`once`.
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
    worked_out: dict[tuple[object, ...], Any] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )


P = ParamSpec("P")
T = TypeVar("T")


def once(work: Callable[Concatenate[Kennel, P], T]) -> Callable[Concatenate[Kennel, P], T]:
    """Work out an answer once for a kennel that was read, however many pages tell of it.

    The answer is kept with the kennel, and goes with it: what is read again, or veiled, is asked
    anew. Other arguments are names; the answer is the same in every language.
    """

    @wraps(work)
    def asked(kennel: Kennel, /, *args: P.args, **kwargs: P.kwargs) -> T:
        question = (work, *args, *sorted(kwargs.items()))
        if question not in kennel.worked_out:
            kennel.worked_out[question] = work(kennel, *args, **kwargs)
        answer: T = kennel.worked_out[question]
        return answer

    return asked


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
        chances=() if conception.kept is None else _chances(conception.posterior, stopped),
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
    """Call names of the bred dogs whose chances a caution holds back.

    Parameters
    ----------
    views
        At least those of :data:`studcurve.pipelines.due.items.DUE_VIEWS`.
    today
        Day of the question.
    """
    bred = views["breedings"]
    dogs = sorted({*bred["stud"], *bred["bitch"]})
    return frozenset(
        dog for dog in dogs if "conception" in stopped_answers(cautions_of(views, dog, today))
    )


def names_of_pairs(data: ConceptionData) -> tuple[np.ndarray, np.ndarray]:
    """Call names of stud and bitch of every breeding that the model reads."""
    studs, bitches = (np.array(data.levels[factor], dtype=object) for factor in ("stud", "bitch"))
    return studs[data.groups["stud"]], bitches[data.groups["bitch"]]


def may_be_told(
    stopped: frozenset[str], stud: np.ndarray | pd.Series, bitch: np.ndarray | pd.Series
) -> np.ndarray:
    """Mask of the breedings of which neither dog is stopped."""
    names = sorted(stopped)
    return ~(pd.Series(stud).isin(names) | pd.Series(bitch).isin(names)).to_numpy()


def left_out(kennel: Kennel, *dogs: str) -> tuple[Sentence, ...]:
    """How many doubtful lines nothing here counts: of some dogs, or of all; nothing without any."""
    lines = kennel.views["doubtful_lines"]
    if dogs:
        lines = lines[lines["dog"].isin(dogs)]
    n_lines = int(lines["entry_id"].nunique())
    return (sentence("said.left_out", n=n_lines),) if n_lines else ()


def _name(store_path: Path) -> str:
    """The kennel's name, from the file's."""
    return store_path.stem[:1].upper() + store_path.stem[1:]


def veiled(kennel: Kennel, names: Sequence[str], words: Words) -> tuple[Kennel, list[str]]:
    """Return the same kennel without names, and what some of its dogs are called there.

    Dogs, evaluators, clinics, laboratories, carriers and lots get a number in the order of the
    records; registered names, owners, chips, birthdays, notes and every other free text are left
    out, and so are the lines that wait for a correction.

    Parameters
    ----------
    kennel
        With names.
    names
        Dogs whose codes are wanted, in whichever case.
    words
        Of the reader.
    """
    codes = _first_codes(kennel.views["dogs"], words)
    views = {name: _veil(frame, codes, words) for name, frame in kennel.views.items()}
    views["findings"] = views["findings"].head(0)
    posterior = kennel.conception.posterior
    levels = dict(posterior.data.levels)
    for factor in levels.keys() & _CODED.keys():
        levels[factor] = tuple(_code(name, _CODED[factor], codes, words) for name in levels[factor])
    posterior = replace(posterior, data=replace(posterior.data, levels=levels))
    kept = kennel.conception.kept
    if kept is not None and "prior_widths" in kept.checks:
        widths = kept.checks["prior_widths"]
        studs = {_code(name, "dog", codes, words): of for name, of in widths["studs"].items()}
        kept = replace(kept, checks={**kept.checks, "prior_widths": {**widths, "studs": studs}})
    seen = replace(
        kennel,
        name=words["veil.kennel"],
        views=views,
        conception=replace(kennel.conception, posterior=posterior, kept=kept),
        stopped=frozenset(_code(name, "dog", codes, words) for name in sorted(kennel.stopped)),
        litters=replace(
            kennel.litters,
            stud=_coded(kennel.litters.stud, codes, words),
            bitch=_coded(kennel.litters.bitch, codes, words),
        ),
        levels=kennel.levels.with_codes(
            lambda name: _code(name, "dog", codes, words),
            lambda name: _code(name, "evaluator", codes, words),
        ),
        storage=kennel.storage.with_codes(lambda name: _code(name, "dog", codes, words)),
    )
    by_lower = {name.casefold(): code for name, code in codes["dog"].items()}
    return seen, [by_lower.get(name.casefold(), name) for name in names]


def codes_of(views: Mapping[str, pd.DataFrame], words: Words) -> dict[str, str]:
    """Codes of every name in some views, whatever kind of name it is.

    Parameters
    ----------
    views
        Frames by view, the dogs among them.
    words
        Of the reader.
    """
    codes = _first_codes(views["dogs"], words)
    for frame in views.values():
        _veil(frame, codes, words)
    return {name: code for kind in codes.values() for name, code in kind.items()}


def _first_codes(dogs: pd.DataFrame, words: Words) -> dict[str, dict[str, str]]:
    """Codes by kind: dogs with a sheet in the order of the records, the others as they are met."""
    codes: dict[str, dict[str, str]] = {kind: {} for kind in sorted(set(_CODED.values()))}
    for sex, key in (("male", "veil.stud"), ("female", "veil.bitch")):
        for n, name in enumerate(dogs[dogs["sex"] == sex].sort_values("dog_id")["call_name"], 1):
            codes["dog"][name] = words.say(key, number=n)
    return codes


def own_share(whelped: np.ndarray) -> tuple[int, int, Estimate | None]:
    """Known outcomes, litters, and their share with its exact interval."""
    n_known, n_whelped = int((whelped >= 0).sum()), int((whelped == 1).sum())
    return n_known, n_whelped, exact_share(n_whelped, n_known)


def _chances(fitted: ConceptionPosterior, stopped: frozenset[str]) -> tuple[SemenTypeChance, ...]:
    """Chance of a litter by semen type over the breedings of the kennel that may be told."""
    return chances_over(fitted, may_be_told(stopped, *names_of_pairs(fitted.data)))


def chances_over(
    fitted: ConceptionPosterior, told: np.ndarray[Any, Any]
) -> tuple[SemenTypeChance, ...]:
    """Chance of a litter by semen type over the breedings that a mask chooses."""
    data = fitted.data
    chances = []
    for semen_type in SEMEN_ORDER:
        chosen = (data.semen_type == semen_type) & told
        if not chosen.any():
            continue
        published, together = own_breedings_prob(fitted, chosen)
        n_known, n_whelped, own = own_share(data.whelped[chosen])
        chances.append(
            SemenTypeChance(
                semen_type,
                n_known,
                n_whelped,
                own,
                estimate_from_draws(published),
                estimate_from_draws(together),
                share_from_records(together, published),
            )
        )
    return tuple(chances)


def _veil(frame: pd.DataFrame, codes: dict[str, dict[str, str]], words: Words) -> pd.DataFrame:
    shown = frame.copy()
    for column in frame.columns:
        name = str(column)
        if name in _CODED:
            shown[name] = [
                None if pd.isna(value) else _code(value, _CODED[name], codes, words)
                for value in frame[name]
            ]
        elif name == "born_on":
            shown[name] = np.datetime64("NaT", "us")
        elif pd.api.types.is_string_dtype(frame[name]) and name not in _OPEN:
            shown[name] = None
    return shown


def _coded(dogs: np.ndarray, codes: dict[str, dict[str, str]], words: Words) -> np.ndarray:
    """The codes of dogs."""
    return np.array([_code(name, "dog", codes, words) for name in dogs], dtype=object)


def _code(name: str, kind: str, codes: dict[str, dict[str, str]], words: Words) -> str:
    """The code of a name, made when it is first seen; a dog without a sheet is an outside dog."""
    known = codes[kind]
    if name not in known:
        key = "veil.outside_dog" if kind == "dog" else f"veil.{kind}"
        n_before = sum(1 for code in known.values() if code.startswith(words[key].split("{")[0]))
        known[name] = words.say(key, number=n_before + 1)
    return known[name]
