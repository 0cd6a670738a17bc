"""What each version of each model says at the fixed records: read, and appended by hand.

``python tests/analytics/golden_density.py`` adds the set of every model whose version has none yet.
The file only grows: a set that stands in it is never edited and never leaves it.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import numpy as np

FILE = Path(__file__).with_name("golden_density.jsonl")
"""One set a line, in the order in which they were added."""

N_COPIES = 20
"""Of the fixed breedings: so many that each bitch is left out in turn and nothing is fitted."""

DIGITS = 13

NOT_TOLD = -1.0


def sets():
    """Every set of the file."""
    return [json.loads(line) for line in FILE.read_text(encoding="utf-8").splitlines()]


def values_of(guard, models, name):
    """What a model says today: its density at the fixed records, and what is kept of its checks.

    The two modules are arguments because a changed copy of the program has its own.
    """
    return {**guard.fixed_density(name), "checks": checks_of(models, name)}


def agree(guard, one, other):
    """Whether two sets are the same."""
    return guard.densities_agree(one, other) and checks_agree(guard, one["checks"], other["checks"])


def checks_agree(guard, one, other):
    """Whether two sets of sums of checks are the same."""
    return one.keys() == other.keys() and all(
        np.allclose(value, other[key], rtol=guard.TOLERANCE, atol=guard.TOLERANCE)
        for key, value in one.items()
    )


def checks_of(models, name):
    """Sums of what is computed once of a model, over many copies of the fixed records."""
    prepare = {
        models.CONCEPTION.name: models.conception_data, models.LITTER.name: models.litter_data,
    }.get(name)  # fmt: skip
    if prepare is None:
        return {}
    from studcurve.pipelines.fits.fixed_records import FixedRecords

    (model,) = (model for model in models.MODELS if model.name == name)
    data = _copied(prepare(FixedRecords()))
    posterior = model.restore(data, model.published(0), seed=0)
    return dict(_sums("", model.check(posterior, seed=0)))


def _copied(data):
    """The same breedings many times, of other bitches, a little otherwise each time.

    Were they all alike, no regression could tell an exposure from a method.
    """
    n, n_bitches = len(data.groups["bitch"]), len(data.levels["bitch"])
    copy = np.repeat(np.arange(N_COPIES), n)
    many = {
        field.name: _tiled(getattr(data, field.name))
        for field in fields(data)
        if field.name not in ("groups", "levels")
    }
    bred = many.get("bred")
    recorded = bred.exposures if bred else many["exposures"]
    exposures = type(recorded)(*(part * (1.0 + 0.02 * copy) for part in recorded))
    if bred:
        many["bred"] = replace(bred, exposures=exposures)
        many["n_alive"] = many["n_alive"] + copy % 3
    else:
        many["exposures"] = exposures
        turned = (copy % 4 == 0) & (many["whelped"] >= 0)
        many["whelped"] = np.where(turned, 1 - many["whelped"], many["whelped"])
    groups = {factor: np.tile(index, N_COPIES) for factor, index in data.groups.items()}
    groups["bitch"] = groups["bitch"] + n_bitches * copy
    bitches = tuple(f"{name}{k}" for k in range(N_COPIES) for name in data.levels["bitch"])
    return replace(data, **many, groups=groups, levels={**data.levels, "bitch": bitches})


def _tiled(value):
    """An array many times over, or each array of a record of arrays."""
    if is_dataclass(value):
        return type(value)(*(_tiled(getattr(value, field.name)) for field in fields(value)))
    if isinstance(value, tuple):
        return type(value)(*(_tiled(part) for part in value))
    return np.concatenate([value] * N_COPIES)


def _sums(path, plain):
    """Sum and sum of squares of the numbers of each list, by where it stands."""
    if isinstance(plain, dict):
        for key, value in sorted(plain.items()):
            yield from _sums(f"{path}/{key}", value)
    elif isinstance(plain, str):
        yield f"{path}={plain}", [0.0, 0.0]
    else:
        numbers = np.array(list(_numbers(plain)), dtype=float)
        yield path, [float(numbers.sum()), float((numbers**2).sum())]


def _numbers(plain):
    """Every number of nested lists; what could not be told counts as a number too."""
    if isinstance(plain, list):
        for value in plain:
            yield from _numbers(value)
    else:
        yield NOT_TOLD if plain is None else plain


def _short(plain):
    if isinstance(plain, dict):
        return {key: _short(value) for key, value in plain.items()}
    if isinstance(plain, list):
        return [_short(value) for value in plain]
    return float(f"{plain:.{DIGITS}g}") if isinstance(plain, float) else plain


def main():
    from studcurve.pipelines.fits import guard
    from studcurve.pipelines.fits import registry as models

    known = {(each["model"], each["version"]) for each in sets()} if FILE.exists() else set()
    with FILE.open("a", encoding="utf-8") as file:
        for model in models.MODELS:
            if (model.name, model.version) not in known:
                found = values_of(guard, models, model.name)
                file.write(
                    json.dumps({"model": model.name, "version": model.version, **_short(found)})
                    + "\n"
                )
                print(f"added: {guard.model_fingerprint(model.name, model.version)}")


if __name__ == "__main__":
    main()
