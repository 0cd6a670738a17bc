"""How far the models can be trusted: paragraphs, and the numbers behind them."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from studcurve.analytics.models.conception.bred import bred_by, partners, without_stopped
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.litter.model import LitterPosterior
from studcurve.analytics.models.litter.sizes import LittersAgain
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.trust.checking import (
    LeftOut,
    Replicated,
    Scores,
    cross_validation,
    expected_and_observed,
    replicated_dispersion,
    replicated_misses,
    sparse_cells,
)
from studcurve.analytics.trust.forgotten import Forgotten
from studcurve.analytics.trust.prior_width import MethodWidth, PriorWidth, PriorWidths
from studcurve.analytics.trust.residuals import ResidualCheck, residual_checks
from studcurve.analytics.trust.second_opinion import (
    SecondOpinion,
    second_opinion_on_litter_size,
    second_opinion_on_whelping,
)
from studcurve.analytics.wording.trust import (
    bitches_sentence,
    difference_sentences,
    expected_sentence,
    fault_sentences,
    forgotten_sentences,
    forgotten_stud_sentence,
    method_sentences,
    prediction_sentences,
    replicated_sentence,
    residual_sentences,
    sparse_sentences,
    stud_difference_sentence,
    stud_width_sentence,
    unusable_sentences,
)

CHECKS_SEED = 1
"""Seed of records drawn again: the same records, the same page."""


@dataclass(frozen=True, slots=True)
class Checks:
    """The checks of the models, finished.

    Attributes
    ----------
    paragraphs
        Paragraphs of sentences, to be read without the tables.
    scores
        By way of predicting; empty below 100 known outcomes.
    residuals
        What outcomes have left on columns; empty below 40 known outcomes.
    replicated
        Figures of the records beside records drawn again; may be empty.
    methods, studs
        Answers under narrower and wider priors: semen types beside fresh, chances by stud. Empty
        without a fit.
    is_refitted
        Whether one of them came from a further fit.
    opinions
        Classical analyses by outcome, or why there is none.
    """

    paragraphs: tuple[tuple[Sentence, ...], ...] = ()
    scores: Mapping[str, Scores] | None = None
    residuals: tuple[ResidualCheck, ...] = ()
    replicated: tuple[Replicated, ...] = ()
    methods: Mapping[str, MethodWidth] | None = None
    studs: Mapping[str, PriorWidth] | None = None
    is_refitted: bool = False
    opinions: Mapping[str, SecondOpinion | Sentence] | None = None


def stud_checks(
    fitted: ConceptionPosterior,
    stud: str,
    stopped: Collection[str],
    widths: PriorWidths | None,
    lost: Forgotten | None = None,
    residuals: Sequence[ResidualCheck] = (),
) -> Checks:
    """The checks of the models about one stud whom no caution stops.

    Parameters
    ----------
    fitted
        Of the chain: the kept fit, else the published table.
    stud
        Call name.
    stopped
        Call names of the dogs whose chances a caution holds back.
    widths
        Answers under other priors; None without them.
    lost
        What hangs on results that were never reported; None without any.
    residuals
        From :func:`residuals_left_out`: a fault of the kennel's chances is one of his.
    """
    data = fitted.data
    if stud not in data.levels["stud"]:
        return Checks()
    his = bred_by(data, stud)
    shown = without_stopped(stopped, *partners(data)) | his
    expected = expected_and_observed(fitted, his, seed=CHECKS_SEED)
    cells = sparse_sentences([cell for cell in sparse_cells(data) if stud in cell])
    width = None if widths is None else widths.studs.get(stud)
    return Checks(
        paragraphs=_nonempty(
            (expected_sentence(expected), *fault_sentences(residuals)),
            stud_difference_sentence(data, shown, stud),
            cells,
            () if width is None else stud_width_sentence(stud, width, short=False),
            forgotten_stud_sentence(stud, lost),
        ),
        studs=None if width is None else {stud: width},
        is_refitted=widths is not None and bool(widths.refitted),
    )


def kennel_checks(
    fitted: ConceptionPosterior,
    stopped: frozenset[str],
    *,
    is_fitted: bool,
    predicted: LeftOut | None,
    residuals: tuple[ResidualCheck, ...],
    widths: PriorWidths | None,
    lost: Forgotten | None,
    litters: LittersAgain,
    opinions: Mapping[str, SecondOpinion | Sentence],
) -> Checks:
    """The checks of the models over all breedings of which neither dog is stopped.

    Parameters
    ----------
    fitted
        Of the chain: the kept fit, else the published table.
    stopped
        Call names of the dogs whose chances a caution holds back.
    is_fitted
        Whether there is a kept fit.
    predicted
        What the fit predicted with each bitch left out; None when records came since.
    residuals
        From :func:`residuals_left_out` of the same.
    widths
        Answers under other priors; None without them.
    lost
        What hangs on results that were never reported; None without any.
    litters
        The recorded litters, and draws of the same.
    opinions
        Classical analyses, from :func:`second_opinions`.
    """
    data = fitted.data
    shown = without_stopped(stopped, *partners(data))
    expected = expected_and_observed(fitted, shown, seed=CHECKS_SEED)
    paragraphs: list[tuple[Sentence, ...]] = [(expected_sentence(expected),)]
    cells = sparse_sentences([cell for cell in sparse_cells(data) if not stopped & set(cell)])
    comparable = (difference_sentences(data, shown), cells)
    if not is_fitted:
        return Checks(paragraphs=_nonempty(*paragraphs, *comparable), opinions=opinions)
    scored = None if predicted is None else cross_validation(predicted, data, shown)
    n_known = int((shown & (data.whelped >= 0)).sum())
    paragraphs[0] += prediction_sentences(
        scored, n_known=n_known, is_of_today=predicted is not None
    )
    again = _again(fitted, litters, stopped, shown)
    hardly = bitches_sentence(fitted.records_weight("c20_bitch").share)
    return Checks(
        paragraphs=_nonempty(
            *paragraphs, residual_sentences(residuals), forgotten_sentences(lost),
            replicated_sentence(again), (*hardly, *comparable[0]), cells,
        ),
        scores=None if scored is None else scored.scores,
        residuals=residuals,
        replicated=again,
        methods=None if widths is None else widths.methods,
        studs=None if widths is None else {
            name: width for name, width in widths.studs.items() if name not in stopped
        },
        is_refitted=widths is not None and bool(widths.refitted),
        opinions=opinions,
    )  # fmt: skip


def residuals_left_out(
    fitted: ConceptionPosterior, stopped: Collection[str], predicted: LeftOut | None
) -> tuple[ResidualCheck, ...]:
    """What the outcomes have left on columns, of all breedings of which neither dog is stopped.

    Parameters
    ----------
    fitted
        The kept fit.
    stopped
        Call names of the dogs whose chances a caution holds back.
    predicted
        What the fit predicted with each bitch left out; None when records came since.
    """
    if predicted is None:
        return ()
    shown = without_stopped(stopped, *partners(fitted.data))
    return residual_checks(predicted, fitted.data, shown, seed=CHECKS_SEED)


def second_opinions(
    breedings: pd.DataFrame,
    inseminations: pd.DataFrame,
    ovulation: pd.DataFrame,
    chain: ConceptionPosterior | None,
    litter: LitterPosterior | None,
) -> dict[str, SecondOpinion | Sentence]:
    """Classical analyses of breedings, beside the fits where there are any.

    Parameters
    ----------
    breedings, inseminations
        The views of these names; the first without the breedings of a stopped dog.
    ovulation
        cycle_id, ovulation_at, ovulation_sd_days of every heat.
    chain, litter
        The kept fits; None without one.
    """
    return {
        "whelped": second_opinion_on_whelping(breedings, chain),
        "litter_size": second_opinion_on_litter_size(breedings, inseminations, ovulation, litter),
    }


def semen_type_sentences(due: pd.DataFrame, widths: PriorWidths | None) -> tuple[Sentence, ...]:
    """What is said first of semen types: what is not usable, the order, what it hangs on.

    Parameters
    ----------
    due
        Breedings whose outcome is known or should be, of which neither dog is stopped.
    widths
        Answers under other priors; None without them.
    """
    unusable = unusable_sentences(due)
    return unusable if widths is None else (*unusable, *method_sentences(widths.methods))


def _again(
    fitted: ConceptionPosterior,
    litters: LittersAgain,
    stopped: frozenset[str],
    shown: np.ndarray,
) -> tuple[Replicated, ...]:
    """Figures of the records, and of records drawn again."""
    misses = replicated_misses(fitted, shown, seed=CHECKS_SEED)
    spread = None
    if litters.together is not None:
        chosen = without_stopped(stopped, litters.stud, litters.bitch)
        spread = replicated_dispersion(litters.n_alive[chosen], litters.together.n_alive[:, chosen])
    return tuple(figure for figure in (misses, spread) if figure is not None)


def _nonempty(*paragraphs: tuple[Sentence, ...]) -> tuple[tuple[Sentence, ...], ...]:
    return tuple(paragraph for paragraph in paragraphs if paragraph)
