"""Where the numbers of a page come from: rows of the priors table, the works behind them, the fit.

Values only: a reader's language is not known here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from studcurve.analytics.measures.motility_kept import StorageDraws
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.stud.inputs import Measure
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.sentences import Sentence, Word, sentence

_WORK = re.compile(r"(?:van )?[A-ZÅØ].*?(?=, (?:sd|minus) |\) to |$)")
"""Within a part of a source: the work itself, from the first author's name to its pages."""


@dataclass(frozen=True, slots=True)
class Source:
    """One source of a page.

    Attributes
    ----------
    cited
        Author, year and journal, or that it is a rule of this toolkit.
    marks
        Of what was taken from it, in one text; empty without any.
    about
        What was taken from it; None where the whole work is meant.
    """

    cited: str
    marks: str = ""
    about: Sentence | None = None


def page_sources(
    *, with_chances: bool, with_litters: bool, measures: Sequence[Measure] = ()
) -> tuple[Source, ...]:
    """What each number of the table says, from where, with its mark."""
    common = [
        Source(
            measure.common_source,
            about=sentence("common.source", measure=Word("measured", measure.name)),
        )
        for measure in measures
    ]
    rows = rows_read(measures, with_chances=with_chances, with_litters=with_litters)
    return (*common, *sources_of(rows))


def sources_of(rows: Iterable[str]) -> tuple[Source, ...]:
    """What rows of the priors table say, from where, with their marks."""
    return tuple(
        Source(PRIORS[row].source, PRIORS[row].mark, sentence(f"prior.{row}")) for row in rows
    )


def works_cited(
    *, with_chances: bool, with_litters: bool, measures: Sequence[Measure] = ()
) -> tuple[Source | Sentence, ...]:
    """The works behind these numbers, each once with all its marks; then that some are judgment.

    What the table takes from a work, and what it remarks, stands beside its number in the review.
    """
    works: dict[str, list[str]] = {measure.common_source: [] for measure in measures}
    for row in rows_read(measures, with_chances=with_chances, with_litters=with_litters):
        for part in PRIORS[row].source.split("; "):
            found = _WORK.search(part.rpartition(": ")[2])
            if found is None:
                continue
            marks = works.setdefault(found[0], [])
            marks += [mark for mark in PRIORS[row].mark.split(", ") if mark not in marks]
    # A work that another row cites in full is named once, in full.
    for short in [work for work in works if any(o != work and o.startswith(work) for o in works)]:
        whole = next(other for other in works if other != short and other.startswith(short))
        marks = works.pop(short)
        works[whole] += [mark for mark in marks if mark not in works[whole]]
    return (
        *(Source(work, ", ".join(marks)) for work, marks in works.items()),
        sentence("page.judgments"),
    )


def rows_read(measures: Sequence[Measure], *, with_chances: bool, with_litters: bool) -> list[str]:
    """Rows of the priors table that the numbers of a page rest on."""
    rows = ["r01_sd", "r02_home"]
    for measure in measures:
        rows += [measure.between, measure.within, measure.age, measure.reader]
    if measures:
        rows += [row for row in PRIORS if row.startswith(("q03", "q04", "q05"))]
    if with_chances:
        rows += [*conception.COEFFICIENTS, "c19", "r05_sensitivity"]
    if with_litters:
        rows += [*litter.COEFFICIENTS, "l02", "l12_dam", "l12_stud"]
    return list(dict.fromkeys(rows))


def storage_sources(curve: StorageDraws) -> tuple[Source | Sentence, ...]:
    """Where a storage curve comes from: the kennel's own samples, and what is published."""
    if not curve.is_own:
        return (Source(curve.source),)
    published = PRIORS["s01"]
    return (sentence("storage.own"), Source(published.source, published.mark))
