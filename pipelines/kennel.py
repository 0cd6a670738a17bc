"""What every page reads, read once; and the same without the names of dogs, people and places."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.models.conception import ConceptionPosterior
from pipelines.fit import Known, known
from pipelines.models import CONCEPTION
from pipelines.store import Store
from reports.words import Words

PAGE_VIEWS = (
    "dogs", "evaluations", "breedings", "events", "lab_tests", "findings",
)  # fmt: skip
"""Views that pages are made of."""

_CODED = {
    "call_name": "dog", "dog": "dog", "stud": "dog", "bitch": "dog", "for_bitch": "dog",
    "observer": "observer", "clinic": "clinic", "laboratory": "laboratory", "carrier": "carrier",
    "lot": "lot",
}  # fmt: skip
"""Columns whose names become codes, by the kind of code."""

_OPEN = frozenset({
    "sex", "breed", "stage", "failed_reason", "appearance", "count_method", "motility_method",
    "extender", "semen_type", "route", "result", "kind", "drug_class", "what", "unit",
    "value_text", "laboratory_range", "finding", "value_as_reported", "unit_as_reported",
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
    fingerprint
        Of the current lines.
    today
        Day of the pages.
    """

    name: str
    views: Mapping[str, pd.DataFrame]
    conception: Known[ConceptionPosterior]
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
        views = {name: store.read(name) for name in PAGE_VIEWS}
        conception = known(store, CONCEPTION)
        fingerprint = store.fingerprint()
    return Kennel(store_path.stem, views, conception, fingerprint, today)


def veiled(kennel: Kennel, words: Words) -> Kennel:
    """Return the same kennel without names.

    Dogs, observers, clinics, laboratories, carriers and lots get a number in the order of the
    records; registered names, owners, chips, birthdays, notes and every other free text are left
    out, and so are the lines that wait for a correction.
    """
    dogs = kennel.views["dogs"]
    codes: dict[str, dict[str, str]] = {kind: {} for kind in set(_CODED.values())}
    for sex, key in (("male", "veil.stud"), ("female", "veil.bitch")):
        for n, name in enumerate(dogs[dogs["sex"] == sex].sort_values("dog_id")["call_name"], 1):
            codes["dog"][name] = words.say(key, number=n)
    views = {name: _veil(frame, codes, words) for name, frame in kennel.views.items()}
    views["findings"] = views["findings"].head(0)
    posterior = kennel.conception.posterior
    levels = dict(posterior.data.levels)
    for factor in levels.keys() & _CODED.keys():
        levels[factor] = tuple(_code(name, _CODED[factor], codes, words) for name in levels[factor])
    posterior = replace(posterior, data=replace(posterior.data, levels=levels))
    return replace(
        kennel,
        name=words["veil.kennel"],
        views=views,
        conception=replace(kennel.conception, posterior=posterior),
    )


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


def _code(name: str, kind: str, codes: dict[str, dict[str, str]], words: Words) -> str:
    """The code of a name, made when it is first seen; a dog without a sheet is an outside dog."""
    known = codes[kind]
    if name not in known:
        key = "veil.outside_dog" if kind == "dog" else f"veil.{kind}"
        n_before = sum(1 for code in known.values() if code.startswith(words[key].split("{")[0]))
        known[name] = words.say(key, number=n_before + 1)
    return known[name]
