"""Which day, which records, which fit a page was made from."""

from __future__ import annotations

from datetime import date

from studcurve.analytics.sentences import Sentence, Word, sentence
from studcurve.pipelines.pages.kennel import Kennel
from studcurve.pipelines.records.database.kept_fits import KeptFit


def provenance(kennel: Kennel, *, with_fit: bool = True) -> tuple[Sentence, ...]:
    """Day, records and fits, one after the other."""
    kept = kennel.conception.kept
    sentences = of_parts(kept, kennel.today, kennel.fingerprint, with_fit=with_fit)
    if not with_fit:
        return sentences
    levels = [
        sentence(
            "page.level_fit",
            measure=Word("measured", level.fitted.posterior.data.measure.name),
            seed=str(made.seed),
            max_rhat=made.diagnostics["max_rhat"],
            n_divergent=int(made.diagnostics["n_divergent"]),
        )
        for level in kennel.levels.levels
        if (made := level.fitted.kept) is not None
    ]
    return (*sentences, *levels)


def of_parts(
    kept: KeptFit | None, today: date, fingerprint: str, *, with_fit: bool = True
) -> tuple[Sentence, ...]:
    """The same of a day, of records by their fingerprint, and of one fit."""
    if kept is None:
        fit = sentence("page.no_fit")
    else:
        made_by = ", ".join(f"{name} {version}" for name, version in sorted(kept.versions.items()))
        fit = sentence(
            "page.fit",
            seed=str(kept.seed),
            max_rhat=kept.diagnostics["max_rhat"],
            n_divergent=int(kept.diagnostics["n_divergent"]),
            versions=made_by,
        )
    as_of = sentence("page.as_of", on=today)
    records = sentence("page.records", fingerprint=fingerprint[:12])
    return (as_of, records, fit) if with_fit else (as_of, records)
