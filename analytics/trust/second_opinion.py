r"""What would a classical analysis say of the same breedings, without anything published?

Generalized estimating equations (:mod:`studcurve.analytics.trust.estimating`) on what is recorded
of method, bitch and outcome: a logistic mean for whether she whelped, a log-linear mean for the
pups of a litter. The breedings of one bitch go together by one exchangeable correlation.

A ratio here is between groups of breedings, ours between breedings of one stud and bitch. So that
the two may stand side by side, ours is told between groups as well: with a spread :math:`\sigma`
over all groupings together,

.. math::

    \beta_\text{groups} \approx \beta / \sqrt{1 + c^2 \sigma^2}, \qquad c = 16\sqrt3 / (15\pi)

(Zeger, Liang & Albert 1988, Biometrics 44:1049-1060); a ratio of means is the same either way.

Does not know what is published, the dose, the day from ovulation, nor the error of a scan, and
reads only breedings of which every term is recorded. A term whose breedings all ended alike has no
finite ratio, and one that is of a single bitch has no error: they are left out with it and named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, Floats, estimate_from_draws
from studcurve.analytics.models.breedings.inputs import numbers
from studcurve.analytics.models.breedings.terms import LINEAR, design_matrix
from studcurve.analytics.models.conception.chance import LOGISTIC_TO_NORMAL
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.litter.model import LitterPosterior, prepare_litter
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.analytics.trust.estimating import (
    Family,
    Readable,
    estimating_equations,
    readable,
    too_few,
)

Outcome = Literal["whelped", "litter_size"]

CONCEPTION_TERMS = ("c03", "c04", "c05", "c06", "c07", "c08", "c09", "c14", "c15")
"""Rows of the priors table that are read of whether a bitch whelped."""

LITTER_TERMS = ("l03", "l04", "l05", "l06", "l07", "l09")
"""Rows of the priors table that are read of the size of a litter, beside the classes of weight."""


@dataclass(frozen=True, slots=True)
class SecondOpinionRow:
    """One term, estimated twice.

    Attributes
    ----------
    term
        Row of the priors table; its words are ``coefficient.<term>`` of the catalog.
    classical
        Ratio of odds (of whelping) or of means (of litter size) with its confidence interval.
    ours
        The same ratio of the fitted model with its credible interval; None without a fit.
    """

    term: str
    classical: Estimate
    ours: Estimate | None


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """A classical analysis of the records, beside the fitted model.

    Attributes
    ----------
    outcome
        ``whelped``, whose ratios are of odds, or ``litter_size``, whose ratios are of means.
    rows
        Terms with an estimate, in the order of the priors table.
    left_out
        Why another term has none, by row of the priors table.
    n_read, n_bitches
        Breedings (or litters) that were read, and their bitches.
    n_incomplete, n_separated, n_lone
        Left out because a term is not recorded, because a term separates the outcomes, and because
        a term is of one bitch alone.
    correlation
        Between two outcomes of one bitch, given the terms.
    caveats
        What must stand beside the table.
    """

    outcome: Outcome
    rows: tuple[SecondOpinionRow, ...]
    left_out: Mapping[str, Sentence]
    n_read: int
    n_bitches: int
    n_incomplete: int
    n_separated: int
    n_lone: int
    correlation: float
    caveats: tuple[Sentence, ...]


def second_opinion_on_whelping(
    breedings: pd.DataFrame, posterior: ConceptionPosterior | None = None
) -> SecondOpinion | Sentence:
    """Analyze whether bitches whelped, by the terms that are always recorded.

    Parameters
    ----------
    breedings
        The view of that name.
    posterior
        The fitted chain, to stand beside; its odds are those of a pregnancy at the scan.

    Returns
    -------
    SecondOpinion or Sentence
        A sentence that says why there is no classical answer.
    """
    known = breedings[breedings["whelped"].notna()]
    rows = known[known["bitch_age_years"].notna()]
    nowhere = np.full(len(rows), np.nan)
    design = design_matrix(
        rows["semen_type"].to_numpy(dtype=str),
        rows["route"].to_numpy(dtype=str),
        n_inseminations=numbers(rows, "n_inseminations"),
        storage_days=nowhere,
        normal_morphology_pct=nowhere,
        bitch_age_years=numbers(rows, "bitch_age_years"),
        stud_age_years=nowhere,
        missed_before=numbers(rows, "missed_before"),
        motile_m_per_ml=nowhere,
        hours_known=nowhere,
    )
    columns = {term: design[:, LINEAR.index(term)] for term in CONCEPTION_TERMS}
    ours = None if posterior is None else _ratios_between_groups(posterior)
    return _second_opinion(
        "whelped",
        {"intercept": np.ones(len(rows))} | columns,
        numbers(rows, "whelped"),
        rows["bitch"].to_numpy(dtype=str),
        terms=CONCEPTION_TERMS,
        ours=ours,
        n_incomplete=len(known) - len(rows),
    )


def second_opinion_on_litter_size(
    breedings: pd.DataFrame,
    inseminations: pd.DataFrame,
    ovulation: pd.DataFrame,
    posterior: LitterPosterior | None = None,
) -> SecondOpinion | Sentence:
    """Analyze pups born, the stillborn counted in, by the terms that are always recorded.

    Parameters
    ----------
    breedings, inseminations
        The views of these names.
    ovulation
        cycle_id, ovulation_at, ovulation_sd_days of every heat.
    posterior
        The fitted litter model, to stand beside.

    Returns
    -------
    SecondOpinion or Sentence
        A sentence that says why there is no classical answer.
    """
    known = prepare_litter(breedings, inseminations, ovulation)
    complete = breedings[["bitch_age_years", "adult_weight_kg", "n_stillborn"]].notna().all(axis=1)
    data = prepare_litter(breedings[complete], inseminations, ovulation)
    read = (*litter.SIZES_KG, *LITTER_TERMS)
    ours = None if posterior is None else {row: np.exp(posterior.draws[row]) for row in read}
    return _second_opinion(
        "litter_size",
        {row: data.design[:, litter.LINEAR.index(row)] for row in read},
        data.n_alive + data.n_stillborn,
        np.array(data.levels["bitch"])[data.groups["bitch"]],
        terms=LITTER_TERMS,
        ours=ours,
        n_incomplete=known.n_litters - data.n_litters,
    )


def _second_opinion(
    outcome: Outcome,
    columns: Mapping[str, Floats],
    observed: Floats,
    bitch: np.ndarray[Any, Any],
    *,
    terms: Sequence[str],
    ours: Mapping[str, Floats] | None,
    n_incomplete: int,
) -> SecondOpinion | Sentence:
    """Fit the estimating equations to what can be estimated, or say why nothing can."""
    family: Family = "logistic" if outcome == "whelped" else "log_linear"
    design = np.column_stack(list(columns.values()))
    read = readable(family, design, observed, bitch)
    n_separated, n_lone = int(read.separated.sum()), int(read.lone.sum())
    design, observed, bitch = design[read.rows], observed[read.rows], bitch[read.rows]
    n_read, n_bitches = len(observed), len(np.unique(bitch))
    few = too_few(family, observed, bitch, len(read.columns))
    if few is not None:
        key = "second.few_bitches" if few.of == "clusters" else f"second.few_{outcome}"
        return sentence(key, n=few.n, wanted=few.wanted)
    fitted = estimating_equations(family, design, observed, bitch, columns=read.columns)
    if fitted is None:
        return sentence("second.not_settled")
    names = list(columns)
    kept = [names[k] for k in read.columns]
    reach = fitted.reach * fitted.errors
    rows = tuple(
        SecondOpinionRow(
            name,
            Estimate(*(float(np.exp(middle + side)) for side in (0.0, -half, half))),
            None if ours is None else estimate_from_draws(ours[name]),
        )
        for name, middle, half in zip(kept, fitted.estimates, reach, strict=True)
        if name in terms
    )
    left_out = {
        term: sentence(_why_left_out(columns[term], read)) for term in terms if term not in kept
    }
    prob_pct = round(100 * INTERVAL_PROB)
    caveats = [sentence(f"second.what_{outcome}", n=n_read, n_bitches=n_bitches, prob_pct=prob_pct)]
    if n_incomplete:
        caveats.append(sentence("second.incomplete", n=n_incomplete))
    if n_separated:
        caveats.append(sentence("second.n_separated", n=n_separated))
    if n_lone:
        caveats.append(sentence("second.n_lone", n=n_lone))
    caveats.append(sentence("second.no_published"))
    if ours is not None:
        caveats.append(sentence(f"second.beside_{outcome}"))
    return SecondOpinion(
        outcome, rows, left_out, n_read, n_bitches, n_incomplete, n_separated, n_lone,
        fitted.correlation, tuple(caveats),
    )  # fmt: skip


def _why_left_out(column: Floats, read: Readable) -> str:
    """Key of why a term has no coefficient of its own."""
    if not column.any():
        return "second.not_recorded"
    if column[read.rows].any():
        return "second.collinear"
    return "second.lone" if column[read.lone].any() else "second.separated"


def _ratios_between_groups(posterior: ConceptionPosterior) -> dict[str, Floats]:
    """Draws of the odds ratios of the fitted chain, told between groups of breedings."""
    variance = sum(
        draws**2
        for row, draws in posterior.draws.items()
        if row.startswith(("c20_", "c21_")) and row[4:] in posterior.data.levels
    )
    shrink = np.sqrt(1.0 + LOGISTIC_TO_NORMAL**2 * variance)
    return {term: np.exp(posterior.draws[term] / shrink) for term in CONCEPTION_TERMS}
