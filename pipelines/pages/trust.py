"""From the fit's record and the views to what is told of how far the models can be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.cautions import RECENT_DAYS
from studcurve.analytics.estimate import Estimate
from studcurve.analytics.models.breedings.records import known_outcome
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.trust.checking import (
    LeftOut,
    Replicated,
    cross_validation,
    expected_and_observed,
    missing_outcomes,
    replicated_dispersion,
    replicated_litters,
    sparse_cells,
)
from studcurve.analytics.trust.prior_width import PriorWidths, from_plain
from studcurve.analytics.trust.second_opinion import (
    SecondOpinion,
    second_opinion_on_litter_size,
    second_opinion_on_whelping,
)
from studcurve.analytics.wording.trust import (
    difference_sentences,
    expected_sentence,
    method_sentences,
    prediction_sentences,
    replicated_sentence,
    sparse_sentences,
    stud_difference_sentence,
    stud_unusable_sentence,
    stud_width_sentence,
    unusable_sentences,
)
from studcurve.pipelines.pages.kennel import Kennel, may_be_told, names_of_pairs, once
from studcurve.reports.sections.trust import Checks

CHECKS_SEED = 1
"""Seed of records drawn again: the same records, the same page."""


@once
def kennel_checks(kennel: Kennel) -> Checks:
    """What is told of the models over all breedings that may be told."""
    known, data = kennel.conception, kennel.conception.posterior.data
    told = may_be_told(kennel.stopped, *names_of_pairs(data))
    expected = expected_and_observed(known.posterior, told, seed=CHECKS_SEED)
    paragraphs: list[tuple[Sentence, ...]] = [(expected_sentence(expected),)]
    cells = sparse_sentences(
        [cell for cell in sparse_cells(data) if not kennel.stopped & set(cell)]
    )
    shown = (difference_sentences(data, told), cells)
    if known.kept is None:
        return Checks(said=_nonempty(*paragraphs, *shown), opinions=_opinions(kennel))
    predicted = _left_out(kennel)
    scored = None if predicted is None else cross_validation(predicted, data, told)
    n_known = int((told & (data.whelped >= 0)).sum())
    paragraphs[0] += prediction_sentences(
        scored, n_known=n_known, is_of_today=predicted is not None
    )
    again = _again(kennel, told)
    widths = _widths(kennel)
    return Checks(
        said=_nonempty(*paragraphs, replicated_sentence(again), *shown),
        scores=None if scored is None else scored.scores,
        replicated=again,
        methods=None if widths is None else widths.methods,
        studs=None if widths is None else {
            name: width for name, width in widths.studs.items() if name not in kennel.stopped
        },
        is_refitted=widths is not None and bool(widths.refitted),
        opinions=_opinions(kennel),
    )  # fmt: skip


@once
def kennel_headline(kennel: Kennel) -> tuple[Sentence, ...]:
    """What is said first of semen types: what is not usable, the order, what it hangs on."""
    bred = kennel.views["breedings"]
    bred = bred[may_be_told(kennel.stopped, bred["stud"], bred["bitch"])]
    due = _due(bred, kennel)
    unusable = unusable_sentences(
        due["semen_type"].to_numpy(dtype=str), known_outcome(due["whelped"])
    )
    widths = _widths(kennel)
    return unusable if widths is None else (*unusable, *method_sentences(widths.methods))


@once
def stud_checks(kennel: Kennel, stud: str) -> Checks:
    """What is told of the models about one stud; nothing is read where a caution stops him."""
    known, data = kennel.conception, kennel.conception.posterior.data
    if stud not in data.levels["stud"]:
        return Checks()
    his = data.groups["stud"] == data.levels["stud"].index(stud)
    told = may_be_told(kennel.stopped, *names_of_pairs(data)) | his
    expected = expected_and_observed(known.posterior, his, seed=CHECKS_SEED)
    cells = sparse_sentences([cell for cell in sparse_cells(data) if stud in cell])
    widths = _widths(kennel)
    width = None if widths is None else widths.studs.get(stud)
    return Checks(
        said=_nonempty(
            (expected_sentence(expected),),
            stud_difference_sentence(data, told, stud),
            cells,
            () if width is None else stud_width_sentence(stud, width, short=False),
        ),
        studs=None if width is None else {stud: width},
        is_refitted=widths is not None and bool(widths.refitted),
    )


def stud_headline(
    kennel: Kennel, stud: str, bred: pd.DataFrame, published: Estimate
) -> tuple[Sentence, ...]:
    """What must stand beside a stud's chance: a share not usable, a chance that hangs on priors.

    Parameters
    ----------
    kennel
        What pages read.
    stud
        Call name.
    bred
        His rows of the view ``breedings``.
    published
        Mean chance of his breedings from published work alone. [0 to 1]
    """
    missing = missing_outcomes(known_outcome(_due(bred, kennel)["whelped"]))
    widths = _widths(kennel)
    width = None if widths is None else widths.studs.get(stud)
    return (
        *stud_unusable_sentence(missing, published),
        *(() if width is None else stud_width_sentence(stud, width, short=True)),
    )


def _due(bred: pd.DataFrame, kennel: Kennel) -> pd.DataFrame:
    """Breedings whose outcome is known or should be."""
    past = (pd.Timestamp(kennel.today) - bred["bred_earliest"]).dt.days > RECENT_DAYS
    due: pd.DataFrame = bred[past | bred["whelped"].notna()]
    return due


def _left_out(kennel: Kennel) -> LeftOut | None:
    """What the fit predicted with each bitch left out; None when records came since."""
    kept = kennel.conception.kept
    if kept is None or not kennel.conception.is_of_today or not kept.checks.get("left_out"):
        return None
    read: Mapping[str, Any] = kept.checks["left_out"]
    return LeftOut(
        {way: np.array(prob) for way, prob in read["ways"].items()}, np.array(read["pareto_k"])
    )


def _widths(kennel: Kennel) -> PriorWidths | None:
    """Answers under other priors, as the fit kept them."""
    kept = kennel.conception.kept
    read = None if kept is None else kept.checks.get("prior_widths")
    return None if read is None else from_plain(read)


def _again(kennel: Kennel, told: np.ndarray) -> tuple[Replicated, ...]:
    """Figures of the records, and of records drawn again."""
    litters = kennel.litters
    again = replicated_litters(kennel.conception.posterior, told, seed=CHECKS_SEED)
    if litters.together is None:
        return again
    chosen = may_be_told(kennel.stopped, litters.stud, litters.bitch)
    spread = replicated_dispersion(litters.n_alive[chosen], litters.together.n_alive[:, chosen])
    return again if spread is None else (*again, spread)


def _opinions(kennel: Kennel) -> dict[str, SecondOpinion | Sentence]:
    """Classical analyses of the breedings that may be told, beside the fits where there are any."""
    bred = kennel.views["breedings"]
    bred = bred[may_be_told(kennel.stopped, bred["stud"], bred["bitch"])]
    chain, litter = kennel.conception, kennel.litter
    return {
        "whelped": second_opinion_on_whelping(bred, chain.posterior if chain.kept else None),
        "litter_size": second_opinion_on_litter_size(
            bred, kennel.views["inseminations"], litter.posterior if litter.kept else None
        ),
    }


def _nonempty(*paragraphs: tuple[Sentence, ...]) -> tuple[tuple[Sentence, ...], ...]:
    return tuple(paragraph for paragraph in paragraphs if paragraph)
