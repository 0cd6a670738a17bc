"""From the kennel to what motility, concentration, hours and day went with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.models.breedings.records import ConceptionData, in_model_order
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.conception.bred import bred_by, partners, without_stopped
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.outcomes import contrast, needed, regressions
from studcurve.analytics.outcomes.contrast import Shift
from studcurve.analytics.outcomes.counted import Outcome
from studcurve.analytics.outcomes.needed import Needed
from studcurve.analytics.outcomes.regressions import Regressions
from studcurve.analytics.outcomes.summary import OUTCOMES, Kept, Models, summarized
from studcurve.analytics.sentences import sentence
from studcurve.analytics.trust.checking import N_FOR_CROSS_VALIDATION, scores
from studcurve.analytics.wording.outcomes import OutcomesWording, outcomes_wording
from studcurve.analytics.wording.program import fit_age_sentence
from studcurve.analytics.wording.sources import page_sources
from studcurve.analytics.wording.trust import fault_sentences
from studcurve.pipelines.pages.kennel import Kennel, held_back, left_out
from studcurve.pipelines.pages.provenance import provenance
from studcurve.pipelines.pages.stud import StudOfKennel
from studcurve.pipelines.pages.trust import predicted_left_out, residuals_of
from studcurve.pipelines.records.database.kept_fits import KeptFit
from studcurve.reports.pages.outcomes import OutcomesResults

METHOD_OF_OUTCOMES = ("outcomes_counted", "outcomes_curve", "outcomes_alone", "outcomes_needed")
"""How the numbers came about; keys below ``method``."""

FAULTS_TOLD = ("motility", "dose", "hours", "day")
"""Columns whose answers stand on this page."""

PUBLISHED_SEED = 1
"""Seed of the published table's draws: the same records, the same page."""


def outcomes_results(
    kennel: Kennel, stud: StudOfKennel | None = None, *, told: OutcomesWording | None = None
) -> OutcomesResults:
    """Everything the page shows, of the kennel or of one stud.

    Parameters
    ----------
    kennel
        What pages read.
    stud
        Whose breedings; those of all by default.
    told
        What :func:`outcomes_of` said of the same, where another page has asked already.
    """
    name = None if stud is None else stud.name
    wording = outcomes_of(kennel, name) if told is None else told
    known, shown = kennel.conception, wording.has_breedings
    found = regressions_of(kennel) if stud is None else ()
    stands_back = bool(found) and not _is_regressed_without_stopped(kennel)
    aged = known.kept is not None and known.n_records_since > 0 and shown
    return OutcomesResults(
        title=kennel.name if name is None else name,
        is_of_one_stud=stud is not None,
        cautions=() if stud is None else stud.cautions,
        fit_age=fit_age_sentence(known.n_records_since, known.kept.fitted_at)
        if aged and known.kept is not None
        else None,
        wording=wording,
        held_back=held_back(kennel, name),
        left_out=(
            *left_out(kennel, *(() if name is None else (name,))),
            *((sentence("regressed.held"),) if stands_back else ()),
        ),
        regressions=() if stands_back else found,
        model_score=_model_score(kennel),
        method=METHOD_OF_OUTCOMES if shown else (),
        sources=page_sources(with_chances=shown, with_litters=shown),
        provenance=provenance(kennel),
    )


def outcomes_of(kennel: Kennel, stud: str | None = None) -> OutcomesWording:
    """Sentences and numbers; without the breedings of dogs that a caution stops.

    Parameters
    ----------
    kennel
        What pages read.
    stud
        Call name; all of them by default.
    """
    bred, litters = kennel.conception.posterior.data, kennel.litter.posterior.data
    shown = without_stopped(kennel.stopped, *partners(bred))
    whelped = without_stopped(kennel.stopped, kennel.litters.stud, kennel.litters.bitch)
    if stud is not None:
        shown, whelped = shown & bred_by(bred, stud), whelped & (kennel.litters.stud == stud)
    kept = _kept(kennel)
    fits = {"litter": kennel.conception.kept, "size": kennel.litter.kept}
    summaries = summarized(
        Models(
            conception.PUBLISHED.restore(
                bred, conception.PUBLISHED.independent_draws(PUBLISHED_SEED), seed=PUBLISHED_SEED
            ),
            kennel.conception.posterior,
            litter.PUBLISHED.restore(
                litters, litter.PUBLISHED.independent_draws(PUBLISHED_SEED), seed=PUBLISHED_SEED
            ),
            kennel.litter.posterior,
        ),
        in_order(kennel.views["breedings"], bred),
        bred=shown,
        litters=np.asarray(whelped, dtype=bool),
        kept=kept,
        is_of_one_stud=stud is not None,
    )
    return outcomes_wording(
        summaries,
        fitted=[outcome for outcome in OUTCOMES if fits[outcome] is not None],
        asked=tuple(kept.shifts),
        is_of_one_stud=stud is not None,
        faults=fault_sentences(residuals_of(kennel), FAULTS_TOLD),
    )


def in_order(breedings: pd.DataFrame, bred: ConceptionData) -> pd.DataFrame:
    """Rows of the view in the order of the model's arrays, whatever its dogs are called here.

    Parameters
    ----------
    breedings
        The view ``breedings``.
    bred
        The arrays, with the same names of dogs.
    """
    ranked = {
        name: pd.Categorical(breedings[name], bred.levels[name]) for name in ("bitch", "stud")
    }
    return in_model_order(breedings.assign(**ranked))


def _kept(kennel: Kennel) -> Kept:
    """What the fits kept of the records alone, by outcome of which they were asked."""
    shifts: dict[Outcome, Mapping[str, Shift]] = {}
    sizes: dict[Outcome, Mapping[str, Needed]] = {}
    fits: dict[Outcome, KeptFit | None] = {
        "litter": kennel.conception.kept,
        "size": kennel.litter.kept,
    }
    for outcome, fit in fits.items():
        read: Mapping[str, Any] | None = None if fit is None else fit.checks.get("outcomes")
        if read is not None:
            shifts[outcome] = contrast.from_plain(read["shifts"])
            sizes[outcome] = needed.from_plain(read["needed"])
    return Kept(shifts, sizes)


def regressions_of(kennel: Kennel) -> tuple[Regressions, ...]:
    """What the fits kept of regressions, of litters and of their size.

    They are without the breedings of dogs that a caution stopped when the model was fitted.
    """
    kept: tuple[KeptFit | None, ...] = (kennel.conception.kept, kennel.litter.kept)
    read = (fit.checks.get("regressions") for fit in kept if fit is not None)
    return tuple(regressions.from_plain(one) for one in read if one is not None)


def _is_regressed_without_stopped(kennel: Kennel) -> bool:
    """Whether every regression left out the very breedings that are left out today."""
    for model in (kennel.conception, kennel.litter):
        regressed = None if model.kept is None else model.kept.checks.get("regressed")
        if regressed is None:
            continue
        data = model.posterior.data
        if regressed != without_stopped(kennel.stopped, *partners(data)).tolist():
            return False
    return True


def _model_score(kennel: Kennel) -> Mapping[str, float]:
    """Log loss and Brier score of the model's chances with each bitch left out; empty without.

    Of the breedings that the regressions predict, so that the two may stand side by side.
    """
    predicted = predicted_left_out(kennel)
    if predicted is None or len(predicted.pareto_k) < N_FOR_CROSS_VALIDATION:
        return {}
    data = kennel.conception.posterior.data
    known = data.whelped >= 0
    shown = without_stopped(kennel.stopped, *partners(data))[known]
    prob = predicted.ways["model"][shown]
    found = scores(prob, data.whelped[known][shown], data.groups["bitch"][known][shown], model=prob)
    return {"log_loss": -found.log_score, "brier": found.brier}
