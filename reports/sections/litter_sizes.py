"""Pups born alive in each litter: what the records hold beside what was to be expected."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from studcurve.analytics.models.litter.sizes import Expected, LitterSizes
from studcurve.reports.charts.litters import litter_sizes
from studcurve.reports.page import Section, Table, columns
from studcurve.reports.words import Words


def litter_sizes_section(sizes: LitterSizes, words: Words) -> Section:
    """Lay out the litters by size: bars of the records, and what is expected beside."""
    marks: list[Mapping[str, float | str | None]] = []
    rows = []
    for row in sizes.rows:
        marks.append(_mark(row.n_pups, words["legend.own"], row.n_litters, None))
        cells = [words.number(row.n_pups), words.number(row.n_litters)]
        for source, expected in (("published", row.published), ("together", row.together)):
            if expected is not None:
                marks.append(_mark(row.n_pups, words[f"legend.{source}"], expected.mean, expected))
                cells.append(
                    f"{words.number(expected.mean, 1)} "
                    f"({words.interval(expected.lower, expected.upper)})"
                )
        rows.append(tuple(cells))
    names = ["born_alive", "litters_seen", "litters_published"]
    sentences = [
        words.say(
            "sizes.published",
            n=sizes.n_litters,
            mean=sizes.mean_alive,
            published=sizes.published,
        )
    ]
    if sizes.together is not None:
        names.append("litters_together")
        sentences.append(
            words.say(
                "sizes.together",
                together=sizes.together,
                share=sizes.records_weight.share,
                shift=sizes.records_weight.shift_sds,
            )
        )
    heading = words["sizes.heading"]
    spoken = words.say("sizes.spoken", n=sizes.n_litters, largest=len(sizes.rows) - 1)
    return Section(
        "sizes",
        heading,
        words["sizes.lead"],
        paragraphs=(" ".join(sentences),),
        charts=((spoken, litter_sizes(pd.DataFrame(marks), words)),),
        table=Table(heading, columns(words, names, texts_in=set()), tuple(rows)),
    )


def _mark(
    n_pups: int, source: str, n: float, expected: Expected | None
) -> Mapping[str, float | str | None]:
    return {
        "pups": n_pups,
        "source": source,
        "n": n,
        "lower": None if expected is None else expected.lower,
        "upper": None if expected is None else expected.upper,
    }
