"""How do the collections of several studs enter the sampler?

The priors that one measure reads, the arrays of the model at rounded sizes, and what the
collections say of each stud's own effects, in which the sampler's coordinates are laid out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from analytics.collection_inputs import DAYS_PER_YEAR, Measure, StudData, days_of
from analytics.estimate import Floats
from analytics.priors import PRIORS
from analytics.slow_level import (
    BASIS_PER_HALF_YEAR_OF_RANGE,
    basis_at,
    basis_domain,
    recent_share,
    season_columns,
)

LEAST_SPREAD = 0.25
"""Spread of single collections, against its prior scale, that the sampler's coordinates assume at
least; any would do."""

NORMAL_SQUARE_MEDIAN = 0.4549
"""Median of the square of a standard normal."""

PADDING = {"row": 128, "gridded": 8, "episode": 4, "month": 24}
"""Sizes are rounded up to these steps, so that compiled programs can be kept."""


def prior_numbers(measure: Measure) -> dict[str, float]:
    """The rows of the table that this measure reads, by the name the model calls them."""
    points = 1.0 if measure.is_log else 0.01
    rest = PRIORS["q03_deficit"]
    worth = rest.centre * (1.0 - rest.centre) / rest.sd**2 - 1.0
    return {
        "centre": PRIORS[measure.centre].centre,
        "centre_sd": PRIORS[measure.centre].sd,
        "between_sd": PRIORS[measure.between].sd,
        "within_sd": PRIORS[measure.within].sd,
        "age": PRIORS[measure.age].centre,
        "age_sd": PRIORS[measure.age].sd,
        # The second moment of the amplitude of cosine and sine together is the table's.
        "season_sd": PRIORS["q04"].sd / np.sqrt(2.0),
        "amplitude_sd": PRIORS["q05_amplitude"].sd,
        "length": PRIORS["q05_length"].centre,
        "length_sd": PRIORS["q05_length"].sd,
        "recent_sd": PRIORS["q05_recent"].sd,
        "step_sd": PRIORS["q05_step"].sd,
        "lag": PRIORS["q05_lag"].centre,
        "lag_sd": PRIORS["q05_lag"].sd,
        "duration": PRIORS["q05_duration"].centre,
        "duration_sd": PRIORS["q05_duration"].sd,
        "reader_sd": PRIORS[measure.reader].sd * points,
        "rest": PRIORS["q03_time"].centre,
        "rest_sd": PRIORS["q03_time"].sd,
        "rest_deficit_a": rest.centre * worth,
        "rest_deficit_b": (1.0 - rest.centre) * worth,
        "tail": PRIORS["q01_tail"].centre,
    }


def stud_arrays(data: StudData, numbers: Mapping[str, float]) -> dict[str, Any]:
    """Arrays of the model, rounded up in size; a padded row has weight 0."""
    n = data.n_collections
    domain = basis_domain(data.on)
    half_range = (domain[1] - domain[0]) / 2.0 / DAYS_PER_YEAR
    n_basis = n_basis_of(half_range)
    first = data.on.min().astype("datetime64[M]")
    months = first + np.arange(
        _up(int((data.on.max().astype("datetime64[M]") - first).astype(int)) + 2, "month")
    )
    basis = basis_at(months.astype("datetime64[s]"), domain, n_basis)
    month = (data.on.astype("datetime64[M]") - first).astype(np.int64)
    begin = (first + month).astype("datetime64[s]")
    month_part = (data.on - begin) / ((first + month + 1).astype("datetime64[s]") - begin)
    last = np.array([days_of(data.on[data.stud == s]).max() for s in range(len(data.studs))])
    n_episodes = _up(len(data.episodes), "episode")
    since, of_episode = np.zeros((n, n_episodes)), np.zeros((n, n_episodes))
    for k, episode in enumerate(data.episodes):
        since[:, k] = days_of(data.on) - days_of(
            np.array([episode.started_on], dtype="datetime64[s]")
        )
        of_episode[:, k] = data.stud == data.studs.index(episode.stud)
    direct = np.isfinite(data.value)
    n_gridded = _up(len(data.gridded), "gridded")
    grid = {
        "gridded": data.gridded,
        "grid_log": data.grid_log,
        "grid_weight": np.ones(len(data.gridded)),
        "grid_sd": data.reading_sd[data.gridded],
    }
    rows = {
        "value": np.nan_to_num(data.value),
        "direct": direct.astype(np.float64),
        "inverse_n": data.inverse_n,
        "reading_sd": data.reading_sd,
        "stud": data.stud,
        "reader": data.reader,
        "rest_days": data.rest_days,
        "years_old": data.years_old,
        "month": month,
        "month_part": month_part,
        "recent": recent_share(last[data.stud] - days_of(data.on)),
        "since": since,
        "of_episode": of_episode,
        "offset": numbers["centre"] + numbers["age"] * data.years_old,
        "common_design": np.column_stack(
            [
                np.full(n, numbers["centre_sd"]),
                numbers["age_sd"] * data.years_old,
                numbers["season_sd"] * season_columns(data.on),
            ]
        ),
    }
    information = _information(data, rows, basis, numbers)
    # A padded row keeps a spread above zero, so that its weight of 0 meets finite numbers only.
    rows["reading_sd"] = np.where(direct, rows["reading_sd"], np.maximum(rows["reading_sd"], 0.1))
    return {
        **{name: _pad(values, _up(n, "row")) for name, values in rows.items()},
        **{name: _pad(values, n_gridded) for name, values in grid.items()},
        "basis": basis,
        **{
            name: _pad(values, _up(n, "row")) if name.endswith("_weighted") else values
            for name, values in information.items()
        },
        "n_basis": np.zeros(n_basis),
        "half_range": half_range,
        "last": last,
        "reader_scale": data.reader_scale,
        **numbers,
    }


def _information(
    data: StudData, rows: Mapping[str, Any], basis: Floats, numbers: Mapping[str, float]
) -> dict[str, Any]:
    """What the collections say of levels and readers if read on a normal scale.

    A share is read on the tangent of its logit at the stud's own mean. This lays out the sampler's
    coordinates and changes no density; a rough one would only be slower.

    Returns
    -------
    dict
        Designs of each stud's own effects and of the effects that studs share, each row times its
        weight; their information and score, by stud and stud by shared effect where own; each
        stud's mean share and the part of each reader in it; a first guess of the spread of single
        collections, and how far it may be off.
    """
    n_studs, of_stud = len(data.studs), np.eye(len(data.studs))[data.stud]
    if data.measure.is_log:
        target, slope = np.nan_to_num(data.value), np.ones(data.n_collections)
        usual = np.full(n_studs, np.nan)
    else:
        usual = np.clip(of_stud.T @ data.value / of_stud.sum(axis=0), 0.02, 0.98)
        share = usual[data.stud]
        slope = share * (1.0 - share)
        target = np.log(share / (1.0 - share)) + (data.value - share) / slope
    target = target - rows["offset"]
    error = (slope * data.inverse_n + data.reading_sd**2) / slope**2
    spread = LEAST_SPREAD * numbers["within_sd"]
    apart = [np.diff(target[(data.stud == s) & np.isfinite(data.value)]) for s in range(n_studs)]
    if any(d.size for d in apart):
        # Collections in a row share their level, so that only spread and error set them apart.
        square = float(np.median(np.concatenate(apart) ** 2)) / NORMAL_SQUARE_MEDIAN / 2.0
        spread = max(spread, np.sqrt(max(0.0, square - float(np.median(error)))))
    weight = np.isfinite(data.value) / (error + spread**2)
    part = rows["month_part"][:, None]
    slow = (1.0 - part) * basis[rows["month"]] + part * basis[rows["month"] + 1]
    own = np.column_stack([np.ones(data.n_collections), slow, rows["recent"]])
    reader = np.eye(len(data.readers))[data.reader] / slope[:, None]
    shared = np.column_stack([rows["common_design"], reader])
    own_weighted, shared_weighted = own * weight[:, None], shared * weight[:, None]
    return {
        "own_weighted": own_weighted,
        "shared_weighted": shared_weighted,
        "own_information": np.einsum("ns,ni,nj->sij", of_stud, own_weighted, own, optimize=True),
        "own_shared": np.einsum("ns,ni,nj->sij", of_stud, own_weighted, shared, optimize=True),
        "shared_information": shared_weighted.T @ shared,
        "own_score": of_stud.T @ (own_weighted * target[:, None]),
        "shared_score": shared_weighted.T @ target,
        "usual_share": usual,
        "usual_reader": (of_stud * weight[:, None]).T
        @ (reader * slope[:, None])
        / np.maximum(weight @ of_stud, 1e-9)[:, None],
        "within_guess": spread,
        "within_unit": 1.0 / np.sqrt(data.n_collections),
    }


def _pad(values: np.ndarray[Any, Any], size: int) -> np.ndarray[Any, Any]:
    return np.pad(values, [(0, size - len(values)), *[(0, 0)] * (values.ndim - 1)])


def _up(n: int, what: str) -> int:
    """Size rounded up to its step, at least one step."""
    return max(1, -(-n // PADDING[what])) * PADDING[what]


def n_basis_of(half_range: float) -> int:
    """Basis functions of the slow level for half a range of so many years."""
    return int(np.ceil(BASIS_PER_HALF_YEAR_OF_RANGE * half_range))
