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
    rest_term,
    season_columns,
)

TYPICAL_SPREAD = 0.8
"""Spread of single collections, against its prior scale, at which the sampler's coordinates are
laid out; any would do."""

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
        **information,
        "n_basis": np.zeros(n_basis),
        "half_range": half_range,
        "last": last,
        "reader_scale": data.reader_scale,
        **numbers,
    }


def _information(
    data: StudData, rows: Mapping[str, Any], basis: Floats, numbers: Mapping[str, float]
) -> dict[str, Floats]:
    """What the collections say of each stud's own effects if read on a normal scale.

    It lays out the sampler's coordinates and changes no density; a rough one would only be slower.
    """
    n_studs = len(data.studs)
    if data.measure.is_log:
        rested = rest_term(np, data.rest_days, numbers["rest"], PRIORS["q03_deficit"].centre)
        target, slope = np.nan_to_num(data.value) - rested, np.ones(data.n_collections)
    else:
        share = np.clip(np.nan_to_num(data.value, nan=0.5), 0.02, 0.98)
        target, slope = np.log(share / (1.0 - share)), share * (1.0 - share)
    error = (slope * data.inverse_n + data.reading_sd**2) / slope**2
    weight = np.isfinite(data.value) / (error + (TYPICAL_SPREAD * numbers["within_sd"]) ** 2)
    part = rows["month_part"][:, None]
    slow = (1.0 - part) * basis[rows["month"]] + part * basis[rows["month"] + 1]
    design = np.column_stack([np.ones(data.n_collections), slow, rows["recent"]])
    target = target - rows["offset"]
    information = np.zeros((n_studs, design.shape[1], design.shape[1]))
    score = np.zeros((n_studs, design.shape[1]))
    common = np.zeros((n_studs, design.shape[1], rows["common_design"].shape[1]))
    of_reader = np.zeros((n_studs, design.shape[1], len(data.readers)))
    reader = np.eye(len(data.readers))[data.reader] / slope[:, None]
    for s in range(n_studs):
        own = data.stud == s
        weighted = design[own].T * weight[own]
        information[s] = weighted @ design[own]
        score[s] = weighted @ target[own]
        common[s] = weighted @ rows["common_design"][own]
        of_reader[s] = weighted @ reader[own]
    return {
        "own_information": information,
        "own_score": score,
        "own_common": common,
        "own_reader": of_reader,
    }


def _pad(values: np.ndarray[Any, Any], size: int) -> np.ndarray[Any, Any]:
    return np.pad(values, [(0, size - len(values)), *[(0, 0)] * (values.ndim - 1)])


def _up(n: int, what: str) -> int:
    """Size rounded up to its step, at least one step."""
    return max(1, -(-n // PADDING[what])) * PADDING[what]


def n_basis_of(half_range: float) -> int:
    """Basis functions of the slow level for half a range of so many years."""
    return int(np.ceil(BASIS_PER_HALF_YEAR_OF_RANGE * half_range))
