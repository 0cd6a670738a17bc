"""How do the collections of several studs enter the sampler?

The priors that one measure reads, the arrays of the model at rounded sizes, and what the
collections say of each stud's own effects, in which the sampler's coordinates are laid out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.stud.curves import (
    BASIS_PER_HALF_YEAR_OF_RANGE,
    basis_at,
    basis_domain,
    recent_share,
    season_columns,
)
from studcurve.analytics.models.stud.inputs import (
    DAYS_PER_YEAR,
    REST_REFERENCE_DAYS,
    Measure,
    StudData,
    days_of,
)
from studcurve.analytics.priors import PRIORS

LEAST_SPREAD = 0.25
"""Spread of single collections, against its prior scale, that the sampler's coordinates assume at
least; any would do."""

NORMAL_SQUARE_MEDIAN = 0.4549
"""Median of the square of a standard normal."""

ROWS_OF_BLOCK = 32
"""Collections are laid out in blocks of so many, each of one stud: sums over a stud's own basis are
then small products of matrices, several times as fast as gathers and scatters."""

UNUSED = {"reading_sd": 0.1, "rest_days": REST_REFERENCE_DAYS}
"""What a padded row holds besides noughts, so that its weight of 0 meets finite numbers only."""

PADDING = {"block": 4, "gridded": 8, "episode": 4}
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
    """Arrays of the model in blocks of one stud each; a padded row has weight 0.

    Returns
    -------
    dict
        What is known of each collection, shape (n_blocks, rows of a block, ...); ``row``, where
        each row of the data went, padded; what is known of each stud; the numbers of the priors.
    """
    n, n_studs = data.n_collections, len(data.studs)
    domain = basis_domain(data.on)
    half_range = (domain[1] - domain[0]) / 2.0 / DAYS_PER_YEAR
    n_basis = n_basis_of(half_range)
    last = np.array([days_of(data.on[data.stud == s]).max() for s in range(n_studs)])
    of_episode = _episodes_of(data)
    started = days_of(np.array([e.started_on for e in data.episodes], dtype="datetime64[s]"))
    since = np.zeros((n, len(of_episode)))
    for k, of_stud in enumerate(of_episode):
        known = of_stud[data.stud].any(axis=1)
        start = of_stud[:, : len(started)] @ started
        since[known, k] = (days_of(data.on) - start[data.stud])[known]
    direct = np.isfinite(data.value)
    rows = {
        "value": np.nan_to_num(data.value),
        "direct": direct.astype(np.float64),
        "inverse_n": data.inverse_n,
        "reading_sd": np.where(direct, data.reading_sd, UNUSED["reading_sd"]),
        "of_reader": np.eye(len(data.readers))[data.reader],
        "rest_days": data.rest_days,
        "since": since,
        "offset": numbers["centre"] + numbers["age"] * data.years_old,
        "own_design": np.column_stack(
            [
                np.ones(n),
                basis_at(data.on, domain, n_basis),
                recent_share(last[data.stud] - days_of(data.on)),
            ]
        ),
        "common_design": np.column_stack(
            [
                np.full(n, numbers["centre_sd"]),
                numbers["age_sd"] * data.years_old,
                numbers["season_sd"] * season_columns(data.on),
            ]
        ),
    }
    by_row, information = _information(data, rows, numbers)
    row, block_stud = _blocks(data.stud, n_studs)
    n_gridded = _up(len(data.gridded), "gridded")
    grid = {
        "gridded": row[data.gridded],
        "grid_log": data.grid_log,
        "grid_weight": np.ones(len(data.gridded)),
        "grid_sd": data.reading_sd[data.gridded],
    }
    blocked = {
        name: _in_blocks(values, row, len(block_stud), UNUSED.get(name, 0.0))
        for name, values in (rows | by_row).items()
    }
    return {
        **blocked,
        "since": np.moveaxis(blocked["since"], -1, 0),
        "of_episode": of_episode[:, block_stud],
        **{name: _pad(values, n_gridded) for name, values in grid.items()},
        "row": _pad(row, len(block_stud) * ROWS_OF_BLOCK),
        "of_stud": np.eye(n_studs)[block_stud],
        **information,
        "n_basis": np.zeros(n_basis),
        "half_range": half_range,
        "last": last,
        "reader_scale": data.reader_scale,
        **numbers,
    }


def _episodes_of(data: StudData) -> Floats:
    """Which episode is the k-th of each stud: ones at shape (k, n_studs, n_episodes)."""
    owner = [data.studs.index(episode.stud) for episode in data.episodes]
    rank = [owner[:i].count(stud) for i, stud in enumerate(owner)]
    found = np.zeros((max(rank, default=0) + 1, len(data.studs), _up(len(owner), "episode")))
    found[rank, owner, np.arange(len(owner))] = 1.0
    return found


def _blocks(stud: np.ndarray[Any, Any], n_studs: int) -> tuple[Any, Any]:
    """Place of each row among the rows of all blocks, and the stud of each block."""
    count = np.bincount(stud, minlength=n_studs)
    n_blocks = -(-count // ROWS_OF_BLOCK)
    first = np.concatenate([[0], np.cumsum(n_blocks)[:-1]]) * ROWS_OF_BLOCK
    rank = np.empty(len(stud), dtype=np.int64)
    rank[np.argsort(stud, kind="stable")] = np.concatenate([np.arange(k) for k in count])
    row = first[stud] + rank
    # Blocks that hold no row count as the last stud's.
    n_blocks[-1] += _up(int(n_blocks.sum()), "block") - n_blocks.sum()
    return row, np.repeat(np.arange(n_studs), n_blocks)


def _in_blocks(
    values: np.ndarray[Any, Any], row: np.ndarray[Any, Any], n_blocks: int, elsewhere: float
) -> Floats:
    """Rows at their places."""
    found = np.full((n_blocks * ROWS_OF_BLOCK, *values.shape[1:]), elsewhere)
    found[row] = values
    return found.reshape(n_blocks, ROWS_OF_BLOCK, *values.shape[1:])


def _information(
    data: StudData, rows: Mapping[str, Any], numbers: Mapping[str, float]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """What the collections say of levels and readers if read on a normal scale.

    A share is read on the tangent of its logit at the stud's own mean. This lays out the sampler's
    coordinates and changes no density; a rough one would only be slower.

    Returns
    -------
    tuple
        By row: its weight, and the design of the effects that studs share. Of all rows: their
        information and score, by stud and stud by shared effect where own; each stud's mean share
        and the part of each reader in it; a first guess of the spread of single collections, and
        how far it may be off.
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
    own, reader = rows["own_design"], rows["of_reader"] / slope[:, None]
    shared = np.column_stack([rows["common_design"], reader])
    own_weighted, shared_weighted = own * weight[:, None], shared * weight[:, None]
    by_row = {"weight": weight, "shared_design": shared}
    return by_row, {
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
