"""From the kennel to what motility, concentration, hours and day went with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from studcurve.analytics.models.breedings.records import in_model_order
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.conception.bred import bred_by, partners, without_stopped
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.outcomes import contrast, needed
from studcurve.analytics.outcomes.contrast import Shift
from studcurve.analytics.outcomes.counted import Outcome
from studcurve.analytics.outcomes.needed import Needed
from studcurve.analytics.outcomes.summary import NOTHING_KEPT, Kept, Models, summarized
from studcurve.analytics.wording.outcomes import OutcomesWording, outcomes_wording
from studcurve.analytics.wording.sources import page_sources
from studcurve.pipelines.pages.kennel import Kennel
from studcurve.pipelines.pages.provenance import provenance
from studcurve.pipelines.pages.stud import StudOfKennel
from studcurve.pipelines.records.database.kept_fits import KeptFit
from studcurve.reports.pages.outcomes import OutcomesResults

METHOD_OF_OUTCOMES = ("outcomes_counted", "outcomes_curve", "outcomes_alone", "outcomes_needed")
"""How the numbers came about; keys below ``method``."""

PUBLISHED_SEED = 1
"""Seed of the published table's draws: the same records, the same page."""


def outcomes_results(kennel: Kennel, stud: StudOfKennel | None = None) -> OutcomesResults:
    """Everything the page shows, of the kennel or of one stud.

    Parameters
    ----------
    kennel
        What pages read.
    stud
        Whose breedings; those of all by default.
    """
    return OutcomesResults(
        title=kennel.name if stud is None else stud.name,
        is_of_one_stud=stud is not None,
        cautions=() if stud is None else stud.cautions,
        wording=outcomes_of(kennel, None if stud is None else stud.name),
        method=METHOD_OF_OUTCOMES,
        sources=page_sources(with_chances=True, with_litters=True),
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
        in_model_order(kennel.views["breedings"]),
        bred=shown,
        litters=np.asarray(whelped, dtype=bool),
        kept=kept or NOTHING_KEPT,
        is_of_one_stud=stud is not None,
    )
    return outcomes_wording(
        summaries, is_fitted=kennel.conception.kept is not None, is_asked=kept is not None
    )


def _kept(kennel: Kennel) -> Kept | None:
    """What the fits kept of the records alone; None before they were asked."""
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
    return Kept(shifts, sizes) if "litter" in shifts else None
