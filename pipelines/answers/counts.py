"""What the bench says about counts: concentration, and whether two readings agree."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from studcurve.analytics.errors import ToolkitError
from studcurve.analytics.estimate import INTERVAL_PROB, Estimate
from studcurve.analytics.measures import counting, semen
from studcurve.analytics.measures.agreement import agreement, intraclass_correlation
from studcurve.analytics.priors import PRIORS
from studcurve.pipelines.answers.answer import (
    Answer,
    TextTable,
    one_plus,
    spoken,
    spoken_range,
)

WHO = "WHO laboratory manual for human semen, 5th ed., 2010"
CLUMPED_PROB = 0.05
"""Below this probability squares are called more unequal than chance makes them (convention)."""

COUNT_ERROR_PCT = 5.0
"""Sampling error that a careful count aims at: 400 cells (WHO manual 2010). [%]"""

RANGE = f"{100 * INTERVAL_PROB:.0f} % range"

ONE_SIDED = f"{50 * (1 + INTERVAL_PROB):.0f} %"
"""Certainty of one end of a range alone."""


def concentration_answer(
    cells: Sequence[int],
    *,
    n_squares: int,
    square_nl: float,
    dilution: float,
    volume_ml: float | None,
    count_cv: float,
) -> Answer:
    """Concentration from a chamber; several counts are the squares of one chamber."""
    several = len(cells) > 1
    n_squares = len(cells) if several else n_squares
    n_cells = sum(cells)
    chamber = (n_squares, square_nl, dilution)
    whole_grid = counting.NEUBAUER_NL["grid"]
    value = float(counting.concentration_m_per_ml(n_cells, *chamber))
    low, high = counting.concentration_interval_m_per_ml(n_cells, *chamber, extra_cv=count_cv)
    values: dict[str, object] = {
        "n_cells": n_cells,
        "concentration_m_per_ml": value,
        "concentration_m_per_ml_low": float(low),
        "concentration_m_per_ml_high": float(high),
        "interval_prob": INTERVAL_PROB,
        "n_squares": n_squares,
        "square_nl": square_nl,
        "dilution": dilution,
        "sampling_error_pct": float(counting.sampling_error_pct(n_cells)) if n_cells else None,
    }
    rows = [("Concentration, M/mL", spoken(value), spoken_range(low, high))]
    if volume_ml is not None:
        looked_at_nl = n_squares * square_nl / dilution
        total = float(semen.total_sperm_m(volume_ml, value))
        ends = semen.total_sperm_interval_m(
            volume_ml, value, n_cells, extra_cv=count_cv, looked_at_nl=looked_at_nl
        )
        rows.append(("Sperm in the sample, M", spoken(total), spoken_range(*ends)))
        values |= {"total_sperm_m": total, "total_sperm_m_low": float(ends[0]),
                   "total_sperm_m_high": float(ends[1])}  # fmt: skip
    if n_cells == 0:
        values["upper_limit_m_per_ml"] = float(high)
        sentences = [
            f"No sperm in {n_squares} squares: with {ONE_SIDED} certainty at most "
            f"{spoken(float(high))} M/mL. That is an upper limit, not a zero; look in the "
            "pellet after centrifugation before saying none."
        ]
    else:
        rows += [
            ("Sampling error alone, %", spoken(float(counting.sampling_error_pct(n_cells))), ""),
            (f"Cells to count for {COUNT_ERROR_PCT:.0f} %",
             spoken(float(counting.cells_for_error(COUNT_ERROR_PCT))), ""),
        ]  # fmt: skip
        sentences = [
            f"{spoken(value)} M/mL from {n_cells} cells; the truth lies between {spoken(low)} and "
            f"{spoken(high)} in {100 * INTERVAL_PROB:.0f} of 100 such counts."
        ]
    if several and n_cells:
        spread = counting.dispersion_over_squares(cells)
        values |= {"dispersion_index": spread.index, "clumped_prob": spread.clumped_prob}
        sentences.append(
            f"The squares are more unequal than chance makes them (variance {spoken(spread.index)} "
            "times the mean): the cells may be clumped; mix and count again."
            if spread.clumped_prob < CLUMPED_PROB
            else "The squares are as even as chance makes them."
        )
    looked_at = n_squares * square_nl
    squares = "1 square" if n_squares == 1 else f"{n_squares} squares"
    diluted = "undiluted" if dilution == 1.0 else f"diluted 1 + {dilution - 1.0:g}"
    diluted = "undiluted" if dilution == 1.0 else f"diluted 1 + {dilution - 1.0:g}"
    as_grid = (
        f"; counted over the whole grid ({whole_grid:g} nL) it would be "
        f"{spoken(value * looked_at / whole_grid)} M/mL"
        if n_cells and looked_at < whole_grid
        else ""
    )
    diluted = "undiluted" if dilution == 1.0 else f"diluted {one_plus(dilution - 1.0)}"
    sentences.append(
        f"Taken as counted in {squares} of {square_nl:g} nL each, {looked_at:g} nL in all, "
        f"{diluted}{as_grid}. Another chamber: --squares, --square-size, --square-nl."
    )
    return Answer(
        tuple(sentences),
        (TextTable(("", "Value", RANGE), tuple(rows)),),
        (f"Beyond chance a count errs by {100 * count_cv:.0f} % here "
         f"(prior r02: {source_of('r02_home', 'r02_trained')}).", f"{WHO}."),
        values,
    )  # fmt: skip


def agree_answer(first: Sequence[float], second: Sequence[float], *, are_pct: bool) -> Answer:
    """Whether two counts, two percentages of 200 or two readers agree."""
    if len(first) != len(second):
        raise ToolkitError(
            f"Two evaluators need the same samples in the same order; got {len(first)} values and "
            f"{len(second)}. Give as many of each."
        )
    if len(first) > 1:
        return _readers_answer(first, second)
    a, b = first[0], second[0]
    limit_of = counting.max_percentage_difference if are_pct else counting.max_count_difference
    limit, apart = float(limit_of(a, b)), abs(a - b)
    what = "percentages of 200 sperm" if are_pct else "counts"
    agree = apart <= limit
    return Answer(
        (
            f"The two {what} {'agree' if agree else 'do not agree'}: they differ by {apart:g}, and "
            f"chance alone makes up to {limit:g} in 95 of 100 pairs."
            + ("" if agree else " Mix, fill again and count both anew."),
        ),
        (
            TextTable(
                ("", "First", "Second", "Difference", "At most"),
                (("%" if are_pct else "Cells", f"{a:g}", f"{b:g}", f"{apart:g}", f"{limit:g}"),),
            ),
        ),
        (f"{WHO}, {'table 2.1' if are_pct else 'table 2.4'} (from memory, M).",),
        {"agree": agree, "difference": apart, "largest_acceptable": limit},
    )


def _readers_answer(first: Sequence[float], second: Sequence[float]) -> Answer:
    """Bias, limits of agreement and intraclass correlation of two readers."""
    try:
        found = agreement(first, second)
        correlation = intraclass_correlation(np.array([first, second]).T)
    except ValueError as problem:
        raise ToolkitError(
            f"No agreement can be stated: {problem}. Evaluate more samples."
        ) from None
    low, high = found.lower_limit, found.upper_limit
    return Answer(
        (
            f"The first evaluator is {spoken(abs(found.bias.median))} "
            f"{'higher' if found.bias.median >= 0 else 'lower'} on average; two evaluations of one "
            f"sample lie between {spoken(low.median)} and {spoken(high.median)} apart in about 95 "
            f"of 100 samples, known from {found.n_samples} samples.",
        ),
        (
            TextTable(
                ("First minus second", "Value", RANGE),
                (
                    estimate_row("Bias", found.bias),
                    estimate_row("Lower limit", low),
                    estimate_row("Upper limit", high),
                    estimate_row("Intraclass correlation", correlation.absolute),
                ),
            ),
        ),
        ("Agreement says nothing about who is right.",
         "Bland & Altman 1986, Lancet 1:307-310; Shrout & Fleiss 1979, Psychological Bulletin "
         "86:420-428."),
        {"bias": found.bias.median, "lower_limit": low.median, "upper_limit": high.median,
         "n_samples": found.n_samples, "intraclass_correlation": correlation.absolute.median},
    )  # fmt: skip


def estimate_row(name: str, estimate: Estimate) -> tuple[str, str, str]:
    """Row of a table: name, middle, range."""
    return (name, spoken(estimate.median), spoken_range(estimate.lower, estimate.upper))


def source_of(*rows: str) -> str:
    """Sources of rows of the table of priors, each once, with its mark."""
    return "; ".join(dict.fromkeys(f"{PRIORS[row].source} ({PRIORS[row].mark})" for row in rows))
