"""What went with litters: motility, concentration, hours and day of a kennel or of one stud."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from studcurve.analytics.cautions import Caution
from studcurve.analytics.outcomes.regressions import Regressions
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.wording.outcomes import OutcomesWording
from studcurve.analytics.wording.sources import Source
from studcurve.reports.page import Reader, Report, Section
from studcurve.reports.sections.outcomes import exposure_section, outcomes_section
from studcurve.reports.sections.regressed import regressed_annex, regressed_curves
from studcurve.reports.sections.sources import in_words, on_one_line


@dataclass(frozen=True, slots=True)
class OutcomesResults:
    """Everything the page shows, finished.

    Attributes
    ----------
    title
        Name of the kennel, or of the stud.
    is_of_one_stud
        Whether it is a stud's.
    cautions
        What must be said first.
    fit_age
        How many records the kept fit has not seen; None of a fit of today's.
    wording
        Sentences and numbers.
    held_back, left_out
        Breedings of dogs that a caution stops, and doubtful lines, that are in no number.
    regressions, model_score
        What regressions say, of litters and of sizes; log loss and Brier score of the model's own
        chances with bitches left out. Empty where they were not kept, or a caution holds them back.
    method
        Keys of the paragraphs on how the numbers came about.
    sources, provenance
        As on every page.
    """

    title: str
    is_of_one_stud: bool
    cautions: tuple[Caution, ...]
    fit_age: Sentence | None
    wording: OutcomesWording
    held_back: tuple[Sentence, ...]
    left_out: tuple[Sentence, ...]
    regressions: tuple[Regressions, ...]
    model_score: Mapping[str, float]
    method: tuple[str, ...]
    sources: tuple[Source | Sentence, ...]
    provenance: tuple[Sentence, ...]


def build_outcomes(results: OutcomesResults, reader: Reader) -> Report:
    """Lay out the page: what could have mattered most first.

    Where no breeding may be told of there is no section. A client sees no single breeding, and no
    stopped dog's name.
    """
    words, wording = reader.words, results.wording
    others = reader.audience != "client"
    summary = outcomes_section(wording, words)
    exposures = wording.exposures() if wording.has_breedings else ()
    sections: list[Section] = []
    for exposure in exposures:
        is_first = not any(section.charts for section in sections)
        sections.append(
            exposure_section(
                wording,
                exposure,
                words,
                is_first=is_first,
                has_marks=others,
                regressed=regressed_curves(results.regressions, exposure, words),
            )
        )
    answer = (
        *(() if results.fit_age is None else (results.fit_age,)),
        *wording.answer,
        *(results.held_back if others else ()),
        *results.left_out,
    )
    return Report(
        kind=words["outcomes.kind"],
        title=results.title,
        subtitle=words["outcomes.lead_of_stud" if results.is_of_one_stud else "outcomes.lead"],
        cautions=results.cautions,
        answer=tuple(words.tell(part) for part in answer),
        sections=tuple(sections),
        links=(),
        method=tuple(words[f"method.{name}"] for name in results.method),
        sources=in_words(results.sources, words),
        provenance=on_one_line(results.provenance, words),
        glossary=("interval", "chance", "progressive_motility"),
        reader=reader,
        annex=(
            *((summary,) if summary is not None else ()),
            *regressed_annex(results.regressions, wording.summaries, results.model_score, words),
        ),
    )
