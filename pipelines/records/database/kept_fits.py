"""Posteriors as the records file keeps them: one a model, with what its draws belong to."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.pipelines.records.reading.staging import Connection

PACKED = "<f8"
"""How a draw is packed: little-endian, 64 bits."""


@dataclass(frozen=True, slots=True)
class KeptFit:
    """A posterior as the file keeps it.

    Attributes
    ----------
    model
        Name of the model.
    fitted_at
        When, local time.
    seed
        Seed of the sampler.
    data_fingerprint, model_fingerprint, priors_fingerprint
        What the draws belong to: digests of data and priors, name and version of the model.
    versions
        Versions of the libraries that made them.
    diagnostics
        R-hat, effective sizes, divergences, draws; as the sampler's gate read them.
    seconds
        Wall time of the fit. [s]
    draws
        Thinned draws by parameter, the first axis counts draws.
    labels
        What the last axis of a parameter counts, where it counts levels.
    load_id
        The last load that the fit has read.
    checks
        What was computed once, as plain numbers: its density at the fixed records, and of some
        models how well they predict.
    """

    model: str
    fitted_at: datetime
    seed: int
    data_fingerprint: str
    model_fingerprint: str
    priors_fingerprint: str
    versions: Mapping[str, str]
    diagnostics: Mapping[str, float]
    seconds: float
    draws: Mapping[str, Floats]
    labels: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    load_id: int = 0
    checks: Mapping[str, Any] = field(default_factory=dict)


class _FitRow(NamedTuple):
    """A row of the table ``fit``, by the names of its columns."""

    fit_id: int
    model: str
    fitted_at: datetime
    seed: int
    data_fingerprint: str
    model_fingerprint: str
    priors_fingerprint: str
    versions: str
    diagnostics: str
    seconds: float
    load_id: int | None
    checks: str | None


class _DrawsRow(NamedTuple):
    """A row of the table ``fit_draws``, by the names of its columns."""

    fit_id: int
    parameter: str
    shape: str
    draws: bytes
    labels: str | None


def save_fit(connection: Connection, kept: KeptFit) -> None:
    """Keep a posterior in the place of the older one of its model; within one transaction."""
    drop_fit(connection, kept.model)
    ((fit_id,),) = connection.execute("SELECT coalesce(max(fit_id), 0) + 1 FROM fit").fetchall()
    row = _FitRow(
        fit_id=fit_id,
        model=kept.model,
        fitted_at=kept.fitted_at,
        seed=kept.seed,
        data_fingerprint=kept.data_fingerprint,
        model_fingerprint=kept.model_fingerprint,
        priors_fingerprint=kept.priors_fingerprint,
        versions=json.dumps(dict(kept.versions), sort_keys=True),
        diagnostics=json.dumps(dict(kept.diagnostics), sort_keys=True),
        seconds=kept.seconds,
        load_id=kept.load_id,
        checks=json.dumps(dict(kept.checks), sort_keys=True),
    )
    _insert(connection, "fit", row)
    for parameter, draws in kept.draws.items():
        packed = np.ascontiguousarray(draws, dtype=PACKED)
        labels = kept.labels.get(parameter)
        _insert(
            connection,
            "fit_draws",
            _DrawsRow(
                fit_id=fit_id,
                parameter=parameter,
                shape=json.dumps(packed.shape),
                draws=packed.tobytes(),
                labels=None if labels is None else json.dumps(labels),
            ),
        )


def read_fit(connection: Connection, model: str) -> KeptFit | None:
    """Read the kept posterior of a model; None when there is none."""
    fits = connection.execute(
        f"SELECT {', '.join(_FitRow._fields)} FROM fit WHERE model = ?", [model]
    ).fetchall()
    if not fits:
        return None
    row = _FitRow(*fits[0])
    parameters = [
        _DrawsRow(*found)
        for found in connection.execute(
            f"SELECT {', '.join(_DrawsRow._fields)} FROM fit_draws WHERE fit_id = ? "
            "ORDER BY parameter",
            [row.fit_id],
        ).fetchall()
    ]
    return KeptFit(
        model=row.model,
        fitted_at=row.fitted_at,
        seed=row.seed,
        data_fingerprint=row.data_fingerprint,
        model_fingerprint=row.model_fingerprint,
        priors_fingerprint=row.priors_fingerprint,
        versions=json.loads(row.versions),
        diagnostics=json.loads(row.diagnostics),
        seconds=row.seconds,
        draws={
            stored.parameter: np.frombuffer(stored.draws, PACKED).reshape(json.loads(stored.shape))
            for stored in parameters
        },
        labels={
            stored.parameter: tuple(json.loads(stored.labels))
            for stored in parameters
            if stored.labels is not None
        },
        load_id=row.load_id or 0,
        checks=json.loads(row.checks or "{}"),
    )


def drop_fit(connection: Connection, model: str) -> None:
    """Forget the kept posterior of a model, within one transaction; without one nothing happens."""
    connection.execute(
        "DELETE FROM fit_draws WHERE fit_id IN (SELECT fit_id FROM fit WHERE model = ?)", [model]
    )
    connection.execute("DELETE FROM fit WHERE model = ?", [model])


def drop_fits_with_label(connection: Connection, is_meant: str) -> tuple[str, ...]:
    """Forget, within one transaction, the kept fits that hold some label.

    Parameters
    ----------
    connection
        Of the records file.
    is_meant
        SQL that is true of such a ``label``.

    Returns
    -------
    tuple of str
        Models whose fit is gone.
    """
    models = connection.execute(
        f"""
        SELECT DISTINCT model
        FROM (
            SELECT fit.model, unnest(from_json(fit_draws.labels, '["VARCHAR"]')) AS label
            FROM fit_draws
            JOIN fit USING (fit_id)
            WHERE fit_draws.labels IS NOT NULL
        )
        WHERE {is_meant}
        ORDER BY model
        """
    ).fetchall()
    for (model,) in models:
        drop_fit(connection, model)
    return tuple(model for (model,) in models)


def _insert(connection: Connection, table: str, row: _FitRow | _DrawsRow) -> None:
    values = ", ".join("?" * len(row))
    connection.execute(
        f"INSERT INTO {table} ({', '.join(row._fields)}) VALUES ({values})", list(row)
    )
