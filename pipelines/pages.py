"""From views and posteriors to pages: what each page shows, put together and rendered."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

import numpy as np
import pandas as pd

from analytics.cautions import DogRecords, cautions_for_dog, stopped_answers
from analytics.counting import exact_interval
from analytics.errors import RecordsError
from analytics.estimate import Estimate, estimate_from_draws
from analytics.models import conception
from analytics.priors import PRIORS
from analytics.semen import with_measures
from analytics.sentences import Sentence
from analytics.wording import fit_age_sentence, litters_sentence, samples_sentence
from pipelines.kennel import Kennel
from reports.page import Reader
from reports.stud_review import Coefficient, SemenTypeChance, StudResults
from reports.words import Words

HOME_COUNT_CV = PRIORS["r02_home"].centre
"""Error of a count until a kennel states its own (prior r02)."""

SEMEN_ORDER = ("natural", "fresh", "chilled", "frozen")

METHOD_OF_READINGS = ("readings",)
"""How the numbers of a sample came about; keys below ``method``."""

METHOD_OF_CHANCES = ("chances_chain", "chances_three_ways", "chances_not_known")
"""How the chances of a litter came about; said only where they are shown."""


def stud_results(kennel: Kennel, stud: str, reader: Reader) -> StudResults:
    """Everything the review of one stud shows."""
    views, words = kennel.views, reader.words
    dog = views["dogs"][views["dogs"]["call_name"] == stud].iloc[0]
    records = dog_records(kennel, stud)
    cautions = cautions_for_dog(records, kennel.today)
    raw = records.evaluations
    raw = raw[(raw["stage"] == "raw") & raw["failed_reason"].isna()]
    readings = with_measures(raw, extra_cv=HOME_COUNT_CV)
    answer = [samples_sentence(stud, readings)]
    chances: tuple[SemenTypeChance, ...] = ()
    coefficients: tuple[Coefficient, ...] = ()
    known = kennel.conception
    if known.kept is not None and "conception" not in stopped_answers(cautions):
        chances, coefficients = _chances(known.posterior), _coefficients(known.posterior)
        if known.n_records_since:
            answer.insert(0, fit_age_sentence(known.n_records_since, known.kept.fitted_at))
        if len(records.breedings):
            answer.append(_litters(stud, known.posterior))
    return StudResults(
        stud=stud,
        facts=facts(dog, words),
        cautions=cautions,
        answer=tuple(answer),
        readings=readings,
        events=records.events,
        chances=chances,
        coefficients=coefficients,
        method=(*METHOD_OF_READINGS, *(METHOD_OF_CHANCES if chances else ())),
        sources=_sources(words, with_chances=bool(chances)),
        provenance=provenance(kennel, words),
    )


def dog_records(kennel: Kennel, dog: str) -> DogRecords:
    """The rows of one dog, as the rules of caution read them."""
    views = kennel.views
    bred = views["breedings"]
    return DogRecords(
        dog,
        views["evaluations"][views["evaluations"]["stud"] == dog],
        views["lab_tests"][views["lab_tests"]["dog"] == dog],
        views["events"][views["events"]["dog"] == dog],
        bred[(bred["stud"] == dog) | (bred["bitch"] == dog)],
    )


def facts(dog: pd.Series, words: Words) -> str:
    """A dog in one line."""
    shown = [
        str(dog[name]) for name in ("registered_name", "breed") if not pd.isna(dog[name])
    ]  # fmt: skip
    if not pd.isna(dog["born_on"]):
        shown.append(words.say("review.born", on=dog["born_on"].date()))
    return " · ".join(shown)


def records_sentence(kennel: Kennel, words: Words) -> str:
    """What the records file holds."""
    bred = kennel.views["breedings"]
    return words.say(
        "index.holds",
        n_dogs=len(kennel.views["dogs"]),
        n_readings=len(kennel.views["evaluations"]),
        n_breedings=len(bred),
        n_unknown=int((~bred["outcome_known"].astype(bool)).sum()),
    )


def provenance(kennel: Kennel, words: Words) -> str:
    """One line: which day, which records, which fit."""
    kept = kennel.conception.kept
    if kept is None:
        fit = words["page.no_fit"]
    else:
        made_by = ", ".join(f"{name} {version}" for name, version in sorted(kept.versions.items()))
        fit = words.say(
            "page.fit",
            seed=str(kept.seed),
            max_rhat=kept.diagnostics["max_rhat"],
            n_divergent=int(kept.diagnostics["n_divergent"]),
            versions=made_by,
        )
    as_of = words.say("page.as_of", on=kennel.today)
    records = words.say("page.records", fingerprint=kennel.fingerprint[:12])
    return f"{as_of} · {records} · {fit}"


def chosen_studs(kennel: Kennel, studs: Sequence[str]) -> list[str]:
    """Call names of the studs to review; all that were collected or bred when none is named.

    Raises
    ------
    RecordsError
        A stud is not in the records.
    """
    dogs = kennel.views["dogs"]
    males = dogs[dogs["sex"] == "male"]["call_name"].tolist()
    if not studs:
        used = set(kennel.views["evaluations"]["stud"]) | set(kennel.views["breedings"]["stud"])
        return sorted(name for name in males if name in used)
    by_lower = {name.lower(): name for name in males}
    unknown = [stud for stud in studs if stud.lower() not in by_lower]
    if unknown:
        known = ", ".join(sorted(males)) or "none"
        raise RecordsError(
            f"{unknown[0]!r} is no stud of these records; the studs are {known}. "
            "Add him to the Dogs sheet, or correct the name."
        )
    return [by_lower[stud.lower()] for stud in studs]


def file_names(prefix: str, dogs: Sequence[str], suffix: str = ".html") -> dict[str, str]:
    """A plain file name for each dog, whatever its name holds."""
    names: dict[str, str] = {}
    for dog in dogs:
        ascii_name = unicodedata.normalize("NFKD", dog).encode("ascii", "ignore").decode()
        base = re.sub(r"[^a-z0-9]+", "-", ascii_name.lower()).strip("-")[:60] or "dog"
        name, n = f"{prefix}-{base}{suffix}", 2
        while name in names.values():
            name, n = f"{prefix}-{base}-{n}{suffix}", n + 1
        names[dog] = name
    return names


def _chances(fitted: conception.ConceptionPosterior) -> tuple[SemenTypeChance, ...]:
    """Chance of a litter by semen type over all breedings of the kennel."""
    data = fitted.data
    chances = []
    for semen_type in SEMEN_ORDER:
        chosen = data.semen_type == semen_type
        if not chosen.any():
            continue
        published, together = conception.own_breedings_prob(fitted, chosen)
        n_known, n_whelped, own = _own_share(data.whelped[chosen])
        chances.append(
            SemenTypeChance(
                semen_type,
                n_known,
                n_whelped,
                own,
                estimate_from_draws(published),
                estimate_from_draws(together),
                conception.share_from_records(together, published),
            )
        )
    return tuple(chances)


def _coefficients(fitted: conception.ConceptionPosterior) -> tuple[Coefficient, ...]:
    """The chain's coefficients in the order of the priors table."""
    return tuple(
        Coefficient(
            row,
            fitted.prior_estimate(row),
            fitted.estimate(row),
            fitted.share_from_records(row),
            PRIORS[row].mark,
        )
        for row in conception.COEFFICIENTS
    )


def _litters(stud: str, fitted: conception.ConceptionPosterior) -> Sentence:
    """The sentence on this stud's breedings."""
    data = fitted.data
    chosen = data.groups["stud"] == data.levels["stud"].index(stud)
    published, together = conception.own_breedings_prob(fitted, chosen)
    n_known, n_whelped, own = _own_share(data.whelped[chosen])
    return litters_sentence(
        stud,
        n_known=n_known,
        n_whelped=n_whelped,
        own=own,
        published=estimate_from_draws(published),
        together=estimate_from_draws(together),
        share_from_records=conception.share_from_records(together, published),
    )


def _own_share(whelped: np.ndarray) -> tuple[int, int, Estimate | None]:
    """Known outcomes, litters, and their share with its exact interval."""
    n_known, n_whelped = int((whelped >= 0).sum()), int((whelped == 1).sum())
    if n_known == 0:
        return 0, 0, None
    lower, upper = exact_interval(n_whelped, n_known)
    return n_known, n_whelped, Estimate(n_whelped / n_known, float(lower), float(upper))


def _sources(words: Words, *, with_chances: bool) -> tuple[str, ...]:
    """Every source of what is shown, once, with its mark."""
    rows = ["r01_sd", "r02_home"]
    if with_chances:
        rows += [*conception.COEFFICIENTS, "c19", "r05_sensitivity"]
    return tuple(
        sorted({f"{words.source(PRIORS[row].source)} ({PRIORS[row].mark})" for row in rows})
    )
