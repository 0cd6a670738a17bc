"""Rows of a plan that page and terminal print alike, without the chart library of the pages."""

from __future__ import annotations

from studcurve.analytics.plan.breeding_plan import BreedingPlan
from studcurve.analytics.plan.measure_next import SMALLEST_GAIN
from studcurve.analytics.wording import plan as wording
from studcurve.reports.words import Words


def measure_rows(plan: BreedingPlan, words: Words, *, prices: bool) -> tuple[tuple[str, ...], ...]:
    """What each measurement would add, a row each, for page and terminal alike.

    Parameters
    ----------
    plan
        Its worths, the greatest first.
    words
        Of the reader.
    prices
        Whether its cost is shown.
    """
    rows = []
    for worth in plan.worths:
        cells = [
            words.tell(wording.measurement_sentence(worth)),
            words.at_least(100 * worth.gain["litters"], 100 * SMALLEST_GAIN["litters"], 1),
            words.at_least(worth.gain["pups"], SMALLEST_GAIN["pups"], 2),
        ]
        if plan.is_valued:
            cells.append(words.money(worth.gain.get("money", float("nan"))))
        if prices:
            price = plan.prices.get("progesterone test") if worth.what == "progesterone" else None
            cells.append(words.number(price))
        rows.append(tuple(cells))
    return tuple(rows)
