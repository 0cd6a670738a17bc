"""How do the collections of several studs enter the sampler?

The priors that one measure reads, the arrays of the model at rounded sizes, and what the
collections say of each stud's own effects, in which the sampler's coordinates are laid out.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.arrays import Array
from studcurve.analytics.models.stud.curves import (
    BASIS_PER_HALF_YEAR_OF_RANGE,
    basis_at,
    basis_domain,
    recent_share,
    season_columns,
)
from studcurve.analytics.models.stud.inputs import REST_REFERENCE_DAYS, Measure, StudData, days_of
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


class StudPriors(NamedTuple):
    """The rows of the priors table that one measure reads, on its working scale.

    Plain numbers; inside the sampler each is an array without axes.

    Attributes
    ----------
    centre, centre_sd, between_sd
        Level of the population, and spread of the studs around it.
    within_sd, reader_sd
        Scales of the spread of single collections and of the readers.
    age, age_sd
        Slope with each year from 7 on.
    season_sd
        Of the cosine and of the sine.
    amplitude_sd, amplitude_stud_sd, length, length_sd
        Slow level: scale of its usual amplitude, spread of the studs' own around it, its length,
        and how well that is known. [-, log, y, log]
    recent_sd, step_sd
        Changes, undeclared and of a declared event.
    lag, lag_sd, duration, duration_sd
        From an event to its depth and back. [d, log, d, log]
    rest, rest_sd, rest_deficit_a, rest_deficit_b
        Recovery of total sperm after a collection, and the beta prior of what is missing on the
        next day. [d, log]
    tail
        Degrees of freedom.
    """

    centre: float
    centre_sd: float
    between_sd: float
    within_sd: float
    age: float
    age_sd: float
    season_sd: float
    amplitude_sd: float
    amplitude_stud_sd: float
    length: float
    length_sd: float
    recent_sd: float
    step_sd: float
    lag: float
    lag_sd: float
    duration: float
    duration_sd: float
    reader_sd: float
    rest: float
    rest_sd: float
    rest_deficit_a: float
    rest_deficit_b: float
    tail: float


class Readings(NamedTuple):
    """What is known of each collection, shape (n_blocks, rows of a block, ...).

    Attributes
    ----------
    value, direct, reading_sd, inverse_n
        What was read, whether it was read as a number, its known error, and one over what was
        counted.
    of_reader
        Ones and noughts, last axis readers.
    rest_days
        Since the collection before. [d]
    since
        Since the k-th event of the stud, first axis events. [d]
    offset
        Usual level of a stud of this age.
    own_design, common_design, shared_design
        Columns of a stud's own effects; of the common ones; of these and of the readers, on the
        tangent.
    weight
        Precision on the tangent; 0 of a padded row.
    """

    value: Array
    direct: Array
    inverse_n: Array
    reading_sd: Array
    of_reader: Array
    rest_days: Array
    since: Array
    offset: Array
    own_design: Array
    common_design: Array
    shared_design: Array
    weight: Array


class SmallCounts(NamedTuple):
    """Counts that are integrated on a grid, shape (n, ...).

    Attributes
    ----------
    at
        Row among the rows of all blocks.
    log_likelihood
        At the nodes of the grid, shape (n, n_nodes).
    weight
        0 of a padded one.
    reading_sd
        Known error apart from counting.
    """

    at: Array
    log_likelihood: Array
    weight: Array
    reading_sd: Array


class Information(NamedTuple):
    """What the collections say if read on a normal scale: the sampler's coordinates rest on it.

    Attributes
    ----------
    own, own_shared, shared
        Information of each stud's own effects, of these by the shared ones, of the shared ones:
        shapes (n_studs, n_own, n_own), (n_studs, n_own, n_shared), (n_shared, n_shared).
    own_score, shared_score
        Shapes (n_studs, n_own), (n_shared,).
    usual_share, usual_reader
        Each stud's mean share, and the part of each reader in it.
    within_guess, within_unit
        A first guess of the spread of single collections, and how far it may be off.
    """

    own: Array
    own_shared: Array
    shared: Array
    own_score: Array
    shared_score: Array
    usual_share: Array
    usual_reader: Array
    within_guess: Array | float
    within_unit: Array | float


class StudArrays(NamedTuple):
    """What the density of one measure reads.

    Attributes
    ----------
    readings
        Collections in blocks of one stud each.
    row
        Where each row of the data went among the rows of all blocks, padded.
    counts
        Small counts.
    of_stud
        Stud of each block, ones and noughts, shape (n_blocks, n_studs).
    of_episode
        Which episode is the k-th of the stud of each block, shape (k, n_blocks, n_episodes).
    information
        Of all collections.
    basis
        Noughts, one a basis function: their number is a length, not a number.
    half_range
        Half the range of the basis. [y]
    last
        Day of each stud's last collection, shape (n_studs,). [d]
    reader_scale
        Spread of each reader against the usual one.
    priors
        Of the measure.
    """

    readings: Readings
    row: Array
    counts: SmallCounts
    of_stud: Array
    of_episode: Array
    information: Information
    basis: Array
    half_range: Array | float
    last: Array
    reader_scale: Array
    priors: StudPriors


def stud_priors(measure: Measure) -> StudPriors:
    """The rows of the table that this measure reads."""
    points = 1.0 if measure.is_log else 0.01
    rest = PRIORS["q03_deficit"]
    worth = rest.centre * (1.0 - rest.centre) / rest.sd**2 - 1.0
    return StudPriors(
        centre=PRIORS[measure.centre].centre,
        centre_sd=PRIORS[measure.centre].sd,
        between_sd=PRIORS[measure.between].sd,
        within_sd=PRIORS[measure.within].sd,
        age=PRIORS[measure.age].centre,
        age_sd=PRIORS[measure.age].sd,
        # The second moment of the amplitude of cosine and sine together is the table's.
        season_sd=PRIORS["q04"].sd / np.sqrt(2.0),
        amplitude_sd=PRIORS["q05_amplitude"].sd,
        amplitude_stud_sd=PRIORS["q05_stud"].sd,
        length=PRIORS["q05_length"].centre,
        length_sd=PRIORS["q05_length"].sd,
        recent_sd=PRIORS["q05_recent"].sd,
        step_sd=PRIORS["q05_step"].sd,
        lag=PRIORS["q05_lag"].centre,
        lag_sd=PRIORS["q05_lag"].sd,
        duration=PRIORS["q05_duration"].centre,
        duration_sd=PRIORS["q05_duration"].sd,
        reader_sd=PRIORS[measure.reader].sd * points,
        rest=PRIORS["q03_time"].centre,
        rest_sd=PRIORS["q03_time"].sd,
        rest_deficit_a=rest.centre * worth,
        rest_deficit_b=(1.0 - rest.centre) * worth,
        tail=PRIORS["q01_tail"].centre,
    )


def stud_arrays(data: StudData, priors: StudPriors) -> StudArrays:
    """Arrays of the model in blocks of one stud each; a padded row has weight 0."""
    n, n_studs = data.n_collections, len(data.studs)
    domain = basis_domain(data.on)
    half_range = (domain[1] - domain[0]) / 2.0 / DAYS_PER_YEAR
    n_basis = n_basis_of(half_range)
    last = np.array([days_of(data.on[data.stud == s]).max() for s in range(n_studs)])
    of_episode = _episodes_of(data)
    direct = np.isfinite(data.value)
    own_design = np.column_stack(
        [
            np.ones(n),
            basis_at(data.on, domain, n_basis),
            recent_share(last[data.stud] - days_of(data.on)),
        ]
    )
    common_design = np.column_stack(
        [
            np.full(n, priors.centre_sd),
            priors.age_sd * data.years_old,
            priors.season_sd * season_columns(data.on),
        ]
    )
    offset = priors.centre + priors.age * data.years_old
    of_reader = np.eye(len(data.readers))[data.reader]
    weight, shared_design, information = _information(
        data, offset, own_design, common_design, of_reader, priors
    )
    rows = Readings(
        value=np.nan_to_num(data.value),
        direct=direct.astype(np.float64),
        inverse_n=data.inverse_n,
        reading_sd=np.where(direct, data.reading_sd, UNUSED["reading_sd"]),
        of_reader=of_reader,
        rest_days=data.rest_days,
        since=_days_since(data, of_episode),
        offset=offset,
        own_design=own_design,
        common_design=common_design,
        shared_design=shared_design,
        weight=weight,
    )
    row, block_stud = _blocks(data.stud, n_studs)
    readings = Readings(
        *(
            _in_blocks(np.asarray(values), row, len(block_stud), UNUSED.get(name, 0.0))
            for name, values in rows._asdict().items()
        )
    )
    n_gridded = _up(len(data.gridded), "gridded")
    return StudArrays(
        readings=readings._replace(since=np.moveaxis(np.asarray(readings.since), -1, 0)),
        row=_pad(row, len(block_stud) * ROWS_OF_BLOCK),
        counts=SmallCounts(
            at=_pad(row[data.gridded], n_gridded),
            log_likelihood=_pad(data.grid_log, n_gridded),
            weight=_pad(np.ones(len(data.gridded)), n_gridded),
            reading_sd=_pad(data.reading_sd[data.gridded], n_gridded),
        ),
        of_stud=np.eye(n_studs)[block_stud],
        of_episode=of_episode[:, block_stud],
        information=information,
        basis=np.zeros(n_basis),
        half_range=half_range,
        last=last,
        reader_scale=data.reader_scale,
        priors=priors,
    )


def _days_since(data: StudData, of_episode: Floats) -> Floats:
    """Days from the k-th event of each row's stud, shape (n, k); 0 where there is none. [d]"""
    started = days_of(np.array([e.started_on for e in data.episodes], dtype="datetime64[s]"))
    since = np.zeros((data.n_collections, len(of_episode)))
    for k, of_stud in enumerate(of_episode):
        known = of_stud[data.stud].any(axis=1)
        start = of_stud[:, : len(started)] @ started
        since[known, k] = (days_of(data.on) - start[data.stud])[known]
    return since


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
    data: StudData,
    offset: Floats,
    own: Floats,
    common: Floats,
    of_reader: Floats,
    priors: StudPriors,
) -> tuple[Floats, Floats, Information]:
    """What the collections say of levels and readers if read on a normal scale.

    A share is read on the tangent of its logit at the stud's own mean. This lays out the sampler's
    coordinates and changes no density; a rough one would only be slower.

    Returns
    -------
    tuple
        Weight of each row, the design of the effects that studs share, and the information.
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
    target = target - offset
    error = (slope * data.inverse_n + data.reading_sd**2) / slope**2
    spread = LEAST_SPREAD * float(priors.within_sd)
    apart = [np.diff(target[(data.stud == s) & np.isfinite(data.value)]) for s in range(n_studs)]
    if any(d.size for d in apart):
        # Collections in a row share their level, so that only spread and error set them apart.
        square = float(np.median(np.concatenate(apart) ** 2)) / NORMAL_SQUARE_MEDIAN / 2.0
        spread = max(spread, np.sqrt(max(0.0, square - float(np.median(error)))))
    weight = np.isfinite(data.value) / (error + spread**2)
    reader = of_reader / slope[:, None]
    shared = np.column_stack([common, reader])
    own_weighted, shared_weighted = own * weight[:, None], shared * weight[:, None]
    return (
        weight,
        shared,
        Information(
            own=np.einsum("ns,ni,nj->sij", of_stud, own_weighted, own, optimize=True),
            own_shared=np.einsum("ns,ni,nj->sij", of_stud, own_weighted, shared, optimize=True),
            shared=shared_weighted.T @ shared,
            own_score=of_stud.T @ (own_weighted * target[:, None]),
            shared_score=shared_weighted.T @ target,
            usual_share=usual,
            usual_reader=(of_stud * weight[:, None]).T
            @ (reader * slope[:, None])
            / np.maximum(weight @ of_stud, 1e-9)[:, None],
            within_guess=spread,
            within_unit=1.0 / np.sqrt(data.n_collections),
        ),
    )


def _pad(values: np.ndarray[Any, Any], size: int) -> np.ndarray[Any, Any]:
    return np.pad(values, [(0, size - len(values)), *[(0, 0)] * (values.ndim - 1)])


def _up(n: int, what: str) -> int:
    """Size rounded up to its step, at least one step."""
    return max(1, -(-n // PADDING[what])) * PADDING[what]


def n_basis_of(half_range: float) -> int:
    """Basis functions of the slow level for half a range of so many years."""
    return int(np.ceil(BASIS_PER_HALF_YEAR_OF_RANGE * half_range))
