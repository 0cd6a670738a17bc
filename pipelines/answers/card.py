"""Compute what the bench card shows, and write it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from studcurve.analytics.errors import ToolkitError
from studcurve.analytics.measures import counting, doses, spin
from studcurve.analytics.measures.counting import HOME_COUNT_CV
from studcurve.analytics.measures.extending import MOST_ML
from studcurve.analytics.measures.motility_kept import StorageDraws
from studcurve.pipelines.answers.answer import Answer
from studcurve.pipelines.answers.semen import refuse_unstudied
from studcurve.reports.pages.card import BenchCard, render_card
from studcurve.reports.words import Words

CARD_CELLS = (25, 50, 75, 100, 150, 200, 300, 400, 500, 600)
"""Cells counted, the rows of the dose table."""

CARD_MOTILITY_PCT = (40.0, 50.0, 60.0, 70.0, 80.0, 90.0)
"""Moving forward, its columns. [%]"""

CARD_RPM = tuple(float(rpm) for rpm in range(1000, 4001, 500))
"""Speeds whose force is shown. [rpm]"""

CARD_LIMIT_ML = max(MOST_ML.values())
"""More semen than fits the largest bitch is no dose. [mL]"""

N_CARD_DRAWS = 4_000
"""Draws behind a cell of the table; its last printed figure is good to about 2 %."""


def write_card(
    out: Path,
    *,
    radius_cm: float | None,
    hours: float,
    extender: str,
    curve: StorageDraws,
    n_squares: int,
    dilution: float,
    target_m: float,
    certainty: float,
    words: Words,
    rng: np.random.Generator,
) -> Answer:
    """Write the card into a folder; the curve of storage has :data:`N_CARD_DRAWS` draws.

    Raises
    ------
    ToolkitError
        Nobody has studied so many hours in this extender.
    """
    refuse_unstudied(hours)
    if hours > curve.studied_until_h:
        raise ToolkitError(
            f"Semen kept so has been followed for {curve.studied_until_h:.0f} h; got {hours:g}. "
            "Ask for fewer hours."
        )
    looked_at_nl = n_squares * counting.NEUBAUER_NL["square"] / dilution
    kept = curve.share(hours)
    seed = int(rng.integers(2**32))
    table = tuple(
        tuple(
            _dose_ml(cells, motility, looked_at_nl, kept, target_m, certainty, seed)
            for motility in CARD_MOTILITY_PCT
        )
        for cells in CARD_CELLS
    )
    speeds = CARD_RPM if radius_cm is not None else ()
    radius = np.nan if radius_cm is None else radius_cm
    low = 0.0
    dilutions = []
    for high, times in counting.DILUTION_GUIDE:
        dilutions.append((low, high, times - 1.0))
        low = high
    card = BenchCard(
        target_m=target_m,
        certainty=certainty,
        hours=hours,
        n_squares=n_squares,
        dilution=dilution,
        extender=extender,
        is_own_storage=curve.is_own,
        is_beyond_own=curve.is_beyond_own(hours),
        n_cells=CARD_CELLS,
        motility_pct=CARD_MOTILITY_PCT,
        dose_ml=table,
        limit_ml=CARD_LIMIT_ML,
        radius_cm=radius_cm,
        forces=tuple((rpm, float(spin.relative_force_g(radius, rpm))) for rpm in speeds),
        spins=tuple(
            (g, float(spin.rotor_speed_rpm(radius, g)), pct)
            for g, pct in zip(spin.STUDIED_G, spin.STUDIED_KEPT_PCT, strict=True)
        ),
        damage_from_g=spin.DAMAGE_FROM_G,
        dilutions=tuple(dilutions),
    )
    out.mkdir(parents=True, exist_ok=True)
    path = out / "bench-card.html"
    path.write_text(render_card(card, words), encoding="utf-8", newline="\n")
    return Answer(
        (f"Wrote {path}; print it and hang it above the bench.",),
        values={
            "card": str(path),
            "target_m": target_m,
            "hours": hours,
            "certainty": certainty,
            "n_cells": CARD_CELLS,
            "motility_pct": CARD_MOTILITY_PCT,
            "dose_ml": table,
            "is_own_storage": curve.is_own,
        },
    )


def _dose_ml(
    cells: int,
    motility_pct: float,
    looked_at_nl: float,
    kept: np.ndarray,
    target_m: float,
    certainty: float,
    seed: int,
) -> float:
    """Semen that holds the target after the hours as surely as asked. [mL]

    The same draws serve every cell of the table, so that more cells never ask for more semen.
    """
    reading = doses.SampleEvaluation(1.0, motility_pct, n_cells=cells, looked_at_nl=looked_at_nl)
    sample = doses.draw_sample(
        reading,
        count_cv=HOME_COUNT_CV,
        usual=doses.usual_total(),
        rng=np.random.default_rng(seed),
        n_draws=N_CARD_DRAWS,
    )
    sure = float(np.quantile(sample.progressive_m * kept, 1.0 - certainty))
    return target_m / sure if sure > 0.0 else float("inf")
