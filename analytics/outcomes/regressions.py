r"""Why not simply regress? What regressions say of these breedings that know nothing published.

For each of the four exposures and for litters and their size the ways of
:mod:`studcurve.analytics.outcomes.regressing`, on semen type, route, second insemination, age and
misses of the bitch (or the columns of her litter's size), and the other exposures at their mean
where they were not recorded, which a column of its own says. Motility enters in %, concentration in
doublings, hours and days as they are. A missing age or weight enters as in the models.

Does not know: the dose, the stud, the error of a record, nor a scan without a report; an age or a
route whose breedings ended all alike has no finite ratio, so they are left out and counted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits

from studcurve.analytics.estimate import Estimate, Floats
from studcurve.analytics.models.breedings.exposures import EXPOSURES, poor_sides
from studcurve.analytics.models.breedings.records import BredHow, ConceptionData
from studcurve.analytics.models.breedings.terms import LINEAR
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.litter.model import LitterData
from studcurve.analytics.outcomes.regressing import (
    Answer,
    Codes,
    Outcome,
    Predicted,
    Shape,
    Table,
    Way,
    WithinBetween,
    bending,
    every_way,
    predicted_left_out,
    within_and_between,
)
from studcurve.analytics.outcomes.standardised import best_value, grid_of
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.analytics.trust.checking import N_FOR_CROSS_VALIDATION
from studcurve.analytics.trust.second_opinion import CONCEPTION_TERMS, LITTER_TERMS

UNITS: Mapping[str, float] = {"motility": 10.0, "concentration": 1.0, "hours": 12.0, "day": 1.0}
"""What a difference within and between studs is for. [points, doublings, h, d]"""


@dataclass(frozen=True, slots=True)
class ExposureRegressed:
    """What the ways say of one exposure.

    Attributes
    ----------
    ways
        Answers by way.
    grid
        Where their curves are read. [%, 10⁶/mL, h or d]
    n_inapplicable
        Breedings with a known result to which the exposure does not apply.
    studs
        Differences within and between studs, for one of :data:`UNITS` more.
    """

    ways: Mapping[Way, Answer]
    grid: tuple[float, ...]
    n_inapplicable: int
    studs: WithinBetween | Sentence


@dataclass(frozen=True, slots=True)
class Regressions:
    """What regressions say of litters, or of their size.

    Attributes
    ----------
    outcome
        ``litter``: differences are of shares, 0 to 1; ``size``: of pups.
    n_known, n_unknown
        Breedings whose whelping was reported (litters whose pups were all counted), and the rest.
    exposures
        By exposure, in the order of
        :data:`studcurve.analytics.models.breedings.exposures.EXPOSURES`.
    predicted
        Chances of the breedings with a known result, in their order, with each bitch left out;
        None of sizes, below 100 known results and where all are alike.
    """

    outcome: Outcome
    n_known: int
    n_unknown: int
    exposures: Mapping[str, ExposureRegressed]
    predicted: Predicted | None


def regress_litters(data: ConceptionData, *, seed: int) -> Regressions:
    """Regress whether bitches whelped, of the breedings of which that was reported.

    Parameters
    ----------
    data
        Breedings.
    seed
        Seed of the trees.
    """
    method = data.design[:, [LINEAR.index(term) for term in CONCEPTION_TERMS]]
    observed = np.where(data.whelped >= 0, data.whelped, np.nan)
    return _regress("litter", data, observed, method, data.groups, seed)


def regress_sizes(data: LitterData, *, seed: int) -> Regressions:
    """Regress pups born, the stillborn counted in, of the litters of which these were recorded.

    Parameters
    ----------
    data
        Litters.
    seed
        Seed of the trees.
    """
    terms = (*litter.SIZES_KG, *LITTER_TERMS)
    method = data.design[:, [litter.LINEAR.index(term) for term in terms]]
    observed = np.where(data.n_stillborn >= 0, data.n_alive + data.n_stillborn, np.nan)
    return _regress("size", data.bred, observed, method, data.groups, seed)


def _regress(
    outcome: Outcome,
    bred: BredHow,
    observed: Floats,
    method: Floats,
    groups: Mapping[str, Codes],
    seed: int,
) -> Regressions:
    """Regress one outcome on the four exposures in turn."""
    known = np.isfinite(observed)
    beside = np.column_stack([np.ones(len(observed)), method])
    # Matrices are small: several cores would only wait for each other.
    with threadpool_limits(limits=1):
        found = {
            exposure: _of_exposure(
                table_of(bred, exposure, outcome, observed, beside, groups["bitch"]),
                groups["stud"],
                exposure,
                grid_of(bred, exposure)[1],
                seed,
            )
            for exposure in EXPOSURES
        }
        predicted = None
        is_predicted = outcome == "litter" and known.sum() >= N_FOR_CROSS_VALIDATION
        of_known, bitch = observed[known], groups["bitch"][known]
        if is_predicted and min(len(np.unique(of_known)), len(np.unique(bitch))) > 1:
            designs = designs_left_out(bred, beside)
            predicted = predicted_left_out(
                {shape: columns[known] for shape, columns in designs.items()},
                of_known,
                bitch,
                seed=seed,
            )
    return Regressions(outcome, int(known.sum()), int((~known).sum()), found, predicted)


def _of_exposure(
    table: Table, stud: Codes, exposure: str, grid: tuple[float, ...], seed: int
) -> ExposureRegressed:
    inapplicable = table.is_known & ~np.isfinite(table.best)
    return ExposureRegressed(
        every_way(table, seed=seed),
        grid,
        int(inapplicable.sum()),
        within_and_between(table, stud, unit=UNITS[exposure]),
    )


def table_of(
    bred: BredHow,
    exposure: str,
    outcome: Outcome,
    observed: Floats,
    beside: Floats,
    bitch: Codes,
) -> Table:
    """One exposure of the breedings beside their results.

    Parameters
    ----------
    bred
        How they were made.
    exposure
        One of :data:`studcurve.analytics.models.breedings.exposures.EXPOSURES`.
    outcome, observed
        ``litter`` or ``size``, and the result, NaN where not known, shape (n,).
    beside
        Ones, and columns of method and bitch, shape (n, n_beside).
    bitch
        Shape (n,).
    """
    others = [other for other in EXPOSURES if other != exposure]
    drawn, grid = grid_of(bred, exposure)
    return Table(
        outcome,
        observed,
        exposure=_scaled(exposure, bred.exposures.of(exposure)),
        best=_scaled(exposure, best_value(bred, exposure)),
        side=poor_sides(bred.exposures, bred.semen_type, bred.route)[exposure],
        beside=beside,
        others=np.column_stack([_filled(bred, other, can_bend=False) for other in others]),
        cluster=bitch,
        drawn=drawn,
        grid=tuple(_scaled(exposure, np.array(grid)).tolist()),
    )


def designs_left_out(bred: BredHow, beside: Floats) -> dict[Shape, Floats]:
    """Columns that every breeding is predicted by, recorded or not, from the richest.

    Parameters
    ----------
    bred, beside
        As for :func:`table_of`.
    """
    bent, straight = (
        [_filled(bred, exposure, can_bend=can_bend) for exposure in EXPOSURES]
        for can_bend in (True, False)
    )
    return {
        "spline": np.column_stack([beside, *bent]),
        "straight": np.column_stack([beside, *straight]),
        "alone": beside,
    }


def _scaled(exposure: str, values: Floats) -> Floats:
    """An exposure as it enters a regression: a concentration in doublings."""
    return np.log2(values) if exposure == "concentration" else values


def _filled(bred: BredHow, exposure: str, *, can_bend: bool) -> Floats:
    """An exposure at its mean where it was not recorded, and a column that says so."""
    values = _scaled(exposure, bred.exposures.of(exposure))
    is_missing = np.isnan(values)
    if is_missing.all():
        return np.column_stack([np.zeros(len(values)), is_missing])
    basis = bending(values[~is_missing] if can_bend else np.empty(0))
    filled = np.where(is_missing, values[~is_missing].mean(), values)
    return np.column_stack([basis.columns(filled), is_missing])


def as_plain(regressions: Regressions) -> dict[str, Any]:
    """The same as plain numbers and keys of sentences, to be kept beside the draws."""
    predicted = regressions.predicted
    return {
        "outcome": regressions.outcome,
        "n_known": regressions.n_known,
        "n_unknown": regressions.n_unknown,
        "exposures": {
            exposure: {
                "ways": {way: _plain_answer(answer) for way, answer in one.ways.items()},
                "grid": list(one.grid),
                "n_inapplicable": one.n_inapplicable,
                "studs": _plain_studs(one.studs),
            }
            for exposure, one in regressions.exposures.items()
        },
        "predicted": None
        if predicted is None
        else {
            "ways": {way: chances.tolist() for way, chances in predicted.ways.items()},
            "log_loss": dict(predicted.log_loss),
            "brier": dict(predicted.brier),
            "why_not": {way: _plain(reason) for way, reason in predicted.why_not.items()},
            "n_untold": predicted.n_untold,
        },
    }


def from_plain(kept: Mapping[str, Any]) -> Regressions:
    """What was kept, again as it was."""
    predicted = kept["predicted"]
    return Regressions(
        kept["outcome"],
        kept["n_known"],
        kept["n_unknown"],
        {
            exposure: ExposureRegressed(
                {way: _read_answer(answer) for way, answer in one["ways"].items()},
                tuple(one["grid"]),
                one["n_inapplicable"],
                _read_studs(one["studs"]),
            )
            for exposure, one in kept["exposures"].items()
        },
        None
        if predicted is None
        else Predicted(
            {way: np.array(chances) for way, chances in predicted["ways"].items()},
            predicted["log_loss"],
            predicted["brier"],
            {way: _read_sentence(reason) for way, reason in predicted["why_not"].items()},
            predicted["n_untold"],
        ),
    )


Plain = float | list[float] | dict[str, Any]
"""A point, a middle with its ends, or the key and the numbers of a sentence."""


def _plain(value: Estimate | float | Sentence) -> Plain:
    if isinstance(value, Estimate):
        return [value.median, value.lower, value.upper]
    if isinstance(value, Sentence):
        return {"key": value.key, "values": dict(value.values)}
    return value


def _read(kept: Plain) -> Estimate | float | Sentence:
    if isinstance(kept, list):
        return _read_estimate(kept)
    return _read_sentence(kept) if isinstance(kept, dict) else kept


def _read_estimate(kept: Sequence[float]) -> Estimate:
    return Estimate(*kept)


def _read_sentence(kept: Mapping[str, Any]) -> Sentence:
    return sentence(kept["key"], **kept["values"])


def _plain_answer(answer: Answer) -> dict[str, Any]:
    return {
        "difference": _plain(answer.difference),
        "n_read": answer.n_read,
        "n_poor": answer.n_poor,
        "n_missing": answer.n_missing,
        "n_separated": answer.n_separated,
        "n_lone": answer.n_lone,
        "shape": answer.shape,
        "curve": list(answer.curve),
    }


def _read_answer(kept: Mapping[str, Any]) -> Answer:
    parts = dict(kept)
    difference, curve = parts.pop("difference"), parts.pop("curve")
    return Answer(_read(difference), curve=tuple(curve), **parts)


def _plain_studs(studs: WithinBetween | Sentence) -> dict[str, Any]:
    if isinstance(studs, Sentence):
        return {"why_not": _plain(studs)}
    return {
        "within": _plain(studs.within),
        "between": _plain(studs.between),
        "n_read": studs.n_read,
        "n_studs": studs.n_studs,
    }


def _read_studs(kept: Mapping[str, Any]) -> WithinBetween | Sentence:
    if "why_not" in kept:
        return _read_sentence(kept["why_not"])
    return WithinBetween(
        _read_estimate(kept["within"]),
        _read_estimate(kept["between"]),
        kept["n_read"],
        kept["n_studs"],
    )
