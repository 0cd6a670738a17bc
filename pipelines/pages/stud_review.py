"""From one stud to his review, and to what his handout shares with it."""

from __future__ import annotations

from studcurve.analytics.measures.stages import compared_stages
from studcurve.analytics.models.conception.bred import chain_coefficients, stud_chances
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.wording.checks import Checks, stud_checks
from studcurve.analytics.wording.sources import page_sources
from studcurve.analytics.wording.stud_page import StudBreedings, StudSamples, stud_sentences
from studcurve.pipelines.pages.kennel import Kennel, left_out
from studcurve.pipelines.pages.provenance import provenance
from studcurve.pipelines.pages.storage import storage_of
from studcurve.pipelines.pages.stud import StudOfKennel, facts
from studcurve.pipelines.pages.trust import (
    due_breedings,
    forgotten_results,
    prior_widths,
    residuals_of,
)
from studcurve.reports.page import Audience
from studcurve.reports.pages.stud_review import StudResults

METHOD_OF_READINGS = ("readings",)
"""How the numbers of a sample came about; keys below ``method``."""

METHOD_OF_LITTERS = ("litters",)
"""How the litters by size came about."""

METHOD_OF_LEVELS = ("levels", "levels_rule", "levels_not_known")
"""How the levels over time came about; said only where they are shown."""

METHOD_OF_CHANCES = ("chances_chain", "chances_three_ways", "chances_not_known")
"""How the chances of a litter came about; said only where they are shown."""


def stud_results(kennel: Kennel, stud: StudOfKennel, audience: Audience) -> StudResults:
    """Everything the review of one stud shows.

    Parameters
    ----------
    kennel, stud
        What pages read.
    audience
        For whom.
    """
    may_tell = "chances" not in stud.stopped
    fitted = kennel.conception.posterior
    chances = (
        stud_chances(fitted, stud.name, kennel.stopped)
        if may_tell and kennel.conception.kept is not None
        else None
    )
    litters = kennel.litters.sizes(kennel.litters.stud == stud.name) if may_tell else None
    checks = Checks()
    if may_tell:
        checks = stud_checks(
            fitted, stud.name, kennel.stopped, prior_widths(kennel), forgotten_results(kennel),
            residuals_of(kennel),
        )  # fmt: skip
    by_semen_type = chances.by_semen_type if chances else ()
    return StudResults(
        stud=stud.name,
        facts=facts(stud.row),
        cautions=stud.cautions,
        answer=answer_of(kennel, stud, audience),
        readings=stud.readings,
        summaries=stud.levels,
        stages=compared_stages(stud.evaluations),
        storage=storage_of(
            stud.name, stud.shipments, stud.evaluations, kennel.storage, kennel.target_m
        ),
        events=stud.events,
        chances=by_semen_type,
        coefficients=chain_coefficients(fitted, kennel.stopped) if chances else (),
        litters=litters,
        responses=chances.responses if chances else (),
        dots=chances.dots if chances else (),
        method=method_of(
            stud, with_chances=bool(by_semen_type), with_litters=litters is not None
        ),
        sources=page_sources(
            with_chances=bool(by_semen_type),
            with_litters=litters is not None,
            measures=[level.answers.measure for level in stud.levels],
        ),
        provenance=provenance(kennel),
        checks=checks,
    )  # fmt: skip


def answer_of(kennel: Kennel, stud: StudOfKennel, audience: Audience) -> tuple[Sentence, ...]:
    """What heads a page of one stud, and how many doubtful lines it leaves out."""
    samples = StudSamples(
        stud.readings,
        stud.levels,
        has_levels=bool(kennel.levels.levels),
        unseen=kennel.levels.unseen,
        weight_kg=stud.records.weight_kg,
    )
    known = kennel.conception
    breedings = None
    if known.kept is not None and "chances" not in stud.stopped:
        widths = prior_widths(kennel)
        breedings = StudBreedings(
            known.posterior,
            (known.n_records_since, known.kept.fitted_at) if known.n_records_since else None,
            n_bred=len(stud.records.breedings),
            due=due_breedings(stud.records.breedings, kennel.today),
            width=None if widths is None else widths.studs.get(stud.name),
        )
    sentences = stud_sentences(
        stud.name,
        stud.cautions,
        stud.stopped,
        samples,
        breedings,
        names_readers=audience != "client",
    )
    return (*sentences, *left_out(kennel, stud.name))


def method_of(stud: StudOfKennel, *, with_chances: bool, with_litters: bool) -> tuple[str, ...]:
    """Keys of the paragraphs on how the numbers of his page came about."""
    return (
        *METHOD_OF_READINGS,
        *(METHOD_OF_LEVELS if stud.levels else ()),
        *(METHOD_OF_CHANCES if with_chances else ()),
        *(METHOD_OF_LITTERS if with_litters else ()),
    )
