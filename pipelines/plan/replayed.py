"""Which chances would have been stated in the past, by a file that was worked out elsewhere?

The demo brings such a file. It is read like any file from elsewhere: nothing in it is believed that
was not looked at, and it is taken whole or refused with the place where it is wrong.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from studcurve.analytics.errors import RecordsError
from studcurve.analytics.vocabulary import SEMEN_TYPES
from studcurve.pipelines.records.database.forecasts import Forecast
from studcurve.pipelines.records.sheets.columns import ROUTES

MOST_BYTES = 5_000_000
"""Beyond which a file is no list of forecasts. [bytes]"""

_MODEL = re.compile(r"[a-z ]{1,40}, version [0-9]{1,6}")
_DIGEST = re.compile(r"[0-9a-f]{16,128}")
_VERSION = re.compile(r"[0-9A-Za-z.+-]{1,40}")
_MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}")


@dataclass(frozen=True, slots=True)
class Replayed:
    """What the file holds.

    Attributes
    ----------
    model, priors
        Name and version of the model, and digest of the priors, that made it.
    forecasts
        In the order in which they would have been stated.
    """

    model: str
    priors: str
    forecasts: tuple[Forecast, ...]


def read_replayed(path: Path, dogs: pd.DataFrame) -> Replayed:
    """Read and check forecasts that were worked out later from the records of their days.

    Parameters
    ----------
    path
        The file, JSON.
    dogs
        The view of this name: both dogs of every forecast must be in it.

    Raises
    ------
    RecordsError
        The file cannot be read or does not hold what it must; the first wrong place is named.
    """
    whole = _object(_parsed(path), path.name, _HEAD)
    versions = whole["versions"]
    if not isinstance(versions, dict) or not all(
        isinstance(value, str) and _VERSION.fullmatch(name) and _VERSION.fullmatch(value)
        for name, value in versions.items()
    ):
        raise _wrong(f"{path.name}, versions")
    # Of two dogs of one name nobody can say which is meant.
    named = dogs[~dogs.duplicated(["sex", "call_name"], keep=False)]
    ids = {
        str(sex): dict(zip(rows["call_name"], rows["dog_id"], strict=True))
        for sex, rows in named.groupby("sex")
    }
    made_by = {
        "priors_fingerprint": whole["priors"],
        "versions": json.dumps(versions, sort_keys=True),
    }
    stated: list[Forecast] = []
    for n, entry in enumerate(whole["forecasts"], 1):
        where = f"{path.name}, forecast {n}"
        row = _object(entry, where, _ENTRY)
        one = _forecast(row, ids, where, model=whole["model"], made_by=made_by)
        if stated and one.stated_at < stated[-1].stated_at:
            raise _wrong(f"{where}, stated_at", "it is earlier than the one before")
        stated.append(one)
    return Replayed(whole["model"], whole["priors"], tuple(stated))


def _parsed(path: Path) -> object:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise _wrong(path.name, f"it is larger than {MOST_BYTES // 1_000_000} MB")
        return json.loads(path.read_text(encoding="utf-8"))
    # A deeply nested text ends in the last of these.
    except (OSError, ValueError, RecursionError) as why:
        raise _wrong(path.name, f"it cannot be read: {type(why).__name__}") from None


def _forecast(
    row: Mapping[str, Any],
    ids: Mapping[str, Mapping[str, int]],
    where: str,
    *,
    model: str,
    made_by: Mapping[str, Any],
) -> Forecast:
    """One checked row."""
    found: dict[str, Any] = {}
    for role, sex in (("stud", "male"), ("bitch", "female")):
        if row[role] not in ids.get(sex, {}):
            raise _wrong(f"{where}, {role}", "no such dog is in these records")
        found[f"{role}_id"] = int(ids[sex][row[role]])
    if (row["semen_type"] == "natural") != (row["route"] == "natural"):
        raise _wrong(f"{where}, route", "a mating has no other route, and no other semen has it")
    try:
        stated_at, planned_at = (
            datetime.fromisoformat(row[name]) for name in ("stated_at", "planned_at")
        )
    except ValueError:
        raise _wrong(f"{where}, stated_at, planned_at", "one is no day and hour") from None
    if not stated_at < planned_at:
        raise _wrong(f"{where}, stated_at", "it is not before the insemination")
    low, middle, high = (row[f"litter_prob_{name}"] for name in ("lower", "median", "upper"))
    if not (low <= middle <= high and low <= row["litter_prob"] <= high):
        raise _wrong(f"{where}, litter_prob", "it lies outside its range")
    named = {name: row[name] for name in _ENTRY if name not in _NOT_KEPT}
    return Forecast(
        **named,
        **found,
        **made_by,
        stated_at=stated_at,
        planned_at=planned_at,
        asked_by=None,
        stated_by="model",
        command="replay",
        model_fingerprint=f"published:{model}" if row["is_published_alone"] else model,
    )


def _object(value: object, where: str, wanted: Mapping[str, Callable[[Any], bool]]) -> Any:  # noqa: ANN401
    """An object with just the wanted keys, each with a value that passes its check."""
    if not isinstance(value, dict) or value.keys() != wanted.keys():
        raise _wrong(where, f"it must hold {', '.join(wanted)}")
    for key, is_right in wanted.items():
        if not is_right(value[key]):
            raise _wrong(f"{where}, {key}")
    return value


def _wrong(where: str, why: str = "it is not what stands there") -> RecordsError:
    return RecordsError(f"{where}: {why}. Nothing of the file was taken; get it anew.")


def _is_text(pattern: re.Pattern[str]) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, str) and pattern.fullmatch(value) is not None


def _is_one_of(*words: str) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, str) and value in words


def _is_name(value: object) -> bool:
    return isinstance(value, str)


def _is_chance(value: object) -> bool:
    return isinstance(value, float) and 0.0 < value < 1.0


def _is_share(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0.0 <= value <= 1.0


def _is_count(most: int) -> Callable[[Any], bool]:
    return lambda value: (
        isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= most
    )


_HEAD: Mapping[str, Callable[[Any], bool]] = {
    "model": _is_text(_MODEL),
    "priors": _is_text(_DIGEST),
    "versions": lambda value: isinstance(value, dict),
    "seed": lambda value: isinstance(value, int) and not isinstance(value, bool),
    "n_fits": lambda value: isinstance(value, int) and not isinstance(value, bool) and value >= 0,
    "n_stopped": lambda value: isinstance(value, int) and not isinstance(value, bool),
    "forecasts": lambda value: isinstance(value, list),
}

_ENTRY: Mapping[str, Callable[[Any], bool]] = {
    "bitch": _is_name,
    "stud": _is_name,
    "semen_type": _is_one_of(*SEMEN_TYPES),
    "route": _is_one_of(*ROUTES),
    "n_inseminations": _is_count(9),
    "stated_at": _is_text(_MOMENT),
    "planned_at": _is_text(_MOMENT),
    "litter_prob": _is_chance,
    "litter_prob_median": _is_chance,
    "litter_prob_lower": _is_chance,
    "litter_prob_upper": _is_chance,
    "published_litter_prob": _is_chance,
    "records_weight": _is_share,
    "n_draws": _is_count(1_000_000),
    "is_published_alone": lambda value: isinstance(value, bool),
    "records_fingerprint": _is_text(_DIGEST),
}
"""What an entry holds, by key: whether a value may stand there."""

_NOT_KEPT = frozenset({"stated_at", "planned_at", "is_published_alone"})
"""Keys that are read on their way to a forecast."""
