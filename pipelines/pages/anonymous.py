"""The same kennel without the names of dogs, people and places."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from studcurve.pipelines.pages.kennel import Kennel
from studcurve.reports.words import Words

_CODED = {
    "call_name": "dog", "dog": "dog", "stud": "dog", "bitch": "dog", "for_bitch": "dog",
    "evaluator": "evaluator", "veterinarian": "evaluator", "clinic": "clinic",
    "laboratory": "laboratory", "carrier": "carrier", "lot": "lot",
}  # fmt: skip
"""Columns whose names become codes, by the kind of code."""

CHECKS_OF_STUDS = ("prior_widths", "forgotten")
"""Kept checks with numbers by the call name of a stud."""

_OPEN = frozenset({
    "sex", "breed", "stage", "failed_reason", "appearance", "count_method", "motility_method",
    "extender", "semen_type", "route", "result", "kind", "drug_class", "what", "unit",
    "value_text", "laboratory_range", "scan", "outcome", "finding", "value_as_reported",
    "unit_as_reported", "stated_by", "command", "standing",
})  # fmt: skip
"""Columns of words that name nobody; every other text is left out of an anonymous page."""


def without_names(kennel: Kennel, names: Sequence[str], words: Words) -> tuple[Kennel, list[str]]:
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
    views = {name: _recoded(frame, codes, words) for name, frame in kennel.views.items()}
    views["findings"] = views["findings"].head(0)
    posterior = kennel.conception.posterior
    levels = dict(posterior.data.levels)
    for factor in levels.keys() & _CODED.keys():
        levels[factor] = tuple(_code(name, _CODED[factor], codes, words) for name in levels[factor])
    posterior = replace(posterior, data=replace(posterior.data, levels=levels))
    kept = kennel.conception.kept
    if kept is not None:
        coded = {
            check: {
                **found,
                "studs": {
                    _code(name, "dog", codes, words): of for name, of in found["studs"].items()
                },
            }
            for check in CHECKS_OF_STUDS
            if (found := kept.checks.get(check)) is not None
        }
        kept = replace(kept, checks={**kept.checks, **coded})
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
        _recoded(frame, codes, words)
    return {name: code for kind in codes.values() for name, code in kind.items()}


def _first_codes(dogs: pd.DataFrame, words: Words) -> dict[str, dict[str, str]]:
    """Codes by kind: dogs with a sheet in the order of the records, the others as they are met."""
    codes: dict[str, dict[str, str]] = {kind: {} for kind in sorted(set(_CODED.values()))}
    for sex, key in (("male", "veil.stud"), ("female", "veil.bitch")):
        for n, name in enumerate(dogs[dogs["sex"] == sex].sort_values("dog_id")["call_name"], 1):
            codes["dog"][name] = words.say(key, number=n)
    return codes


def _recoded(frame: pd.DataFrame, codes: dict[str, dict[str, str]], words: Words) -> pd.DataFrame:
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
