"""From views and posteriors to pages: what each page shows, put together and rendered."""

from __future__ import annotations

import math
import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from studcurve.analytics.cautions import Caution, DogRecords, cautions_for_dog, stopped_answers
from studcurve.analytics.errors import RecordsError
from studcurve.analytics.estimate import estimate_from_draws, records_alone, share_from_records
from studcurve.analytics.measures.motility_kept import StorageDraws
from studcurve.analytics.measures.semen import with_measures
from studcurve.analytics.models.breedings.inputs import USUAL_DOSE_M
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.conception.chance import own_breedings_prob
from studcurve.analytics.models.conception.response import Response, read_response
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.litter.sizes import LitterSizes
from studcurve.analytics.models.stud.inputs import Measure
from studcurve.analytics.models.stud.summary import StudTold
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.analytics.wording.program import (
    fit_age_sentence,
    level_age_sentence,
    litters_sentence,
    samples_sentence,
)
from studcurve.analytics.wording.stud import per_kg_sentence
from studcurve.pipelines.pages.kennel import (
    Kennel,
    chances_over,
    left_out,
    may_be_told,
    names_of_pairs,
    once,
    own_share,
)
from studcurve.pipelines.pages.stored import stages_of, storage_told
from studcurve.pipelines.pages.trust import stud_checks, stud_headline
from studcurve.pipelines.records.database.kept_fits import KeptFit
from studcurve.pipelines.records.dog_history import dog_records
from studcurve.reports.page import Reader
from studcurve.reports.pages.stud_review import Coefficient, SemenTypeChance, StudResults
from studcurve.reports.sections.stud_over_time import headline
from studcurve.reports.sections.trust import Checks
from studcurve.reports.sections.what_if import BredDot
from studcurve.reports.words import Words

HOME_COUNT_CV = PRIORS["r02_home"].centre
"""Error of a count until a kennel states its own (prior r02)."""

RECORDED_DAY_SD, RECORDED_DOSE_SD = 1.0, 0.5
"""A breeding is drawn where its day and its dose are at least this sure. [d, doublings] (J)"""


_WORK = re.compile(r"(?:van )?[A-ZÅØ].*?(?=, (?:sd|minus) |\) to |$)")
"""Within a part of a source: the work itself, from the first author's name to its pages."""

ALARMING_SERIES = frozenset({"far below", "falling", "no sperm seen before"})
"""Cautions beside which no sentence says that samples differ and that this is no trend."""

METHOD_OF_READINGS = ("readings",)
"""How the numbers of a sample came about; keys below ``method``."""

METHOD_OF_LITTERS = ("litters",)
"""How the litters by size came about."""

METHOD_OF_LEVELS = ("levels", "levels_rule", "levels_not_known")
"""How the levels over time came about; said only where they are shown."""

METHOD_OF_CHANCES = ("chances_chain", "chances_three_ways", "chances_not_known")
"""How the chances of a litter came about; said only where they are shown."""


def stud_results(
    kennel: Kennel, stud: str, reader: Reader, *, on_two_sheets: bool = False
) -> StudResults:
    """Everything the review of one stud shows.

    Parameters
    ----------
    kennel
        What pages read.
    stud
        Call name.
    reader
        For whom.
    on_two_sheets
        Whether only what two sheets hold is wanted: without the chances over hours, doses and days,
        without the litters by size, and with every work cited once.
    """
    views, words = kennel.views, reader.words
    dog = views["dogs"][views["dogs"]["call_name"] == stud].iloc[0]
    records = records_of(kennel, stud)
    cautions = cautions_for_dog(records, kennel.today)
    raw = records.evaluations
    raw = raw[(raw["stage"] == "raw") & raw["failed_reason"].isna()]
    readings = with_measures(raw, extra_cv=HOME_COUNT_CV)
    told = stud_told(kennel, stud, cautions)
    answer = list(headline(told, reader)) or _plain_answer(kennel, stud, readings, cautions)
    total = total_level(told)
    if total is not None and not math.isnan(records.weight_kg):
        answer.append(per_kg_sentence(total.answers, records.weight_kg))
    if told and kennel.levels.unseen is not None:
        answer.insert(0, level_age_sentence(*kennel.levels.unseen))
    chances: tuple[SemenTypeChance, ...] = ()
    coefficients: tuple[Coefficient, ...] = ()
    litters: LitterSizes | None = None
    responses: tuple[Response, ...] = ()
    dots: tuple[BredDot, ...] = ()
    checks = Checks()
    if "chances" not in stopped_answers(cautions):
        litters = None if on_two_sheets else _litter_sizes(kennel, stud)
        checks = stud_checks(kennel, stud)
    known = kennel.conception
    if known.kept is not None and "chances" not in stopped_answers(cautions):
        chances, coefficients = _own_chances(kennel, stud), _coefficients(kennel)
        if not on_two_sheets:
            responses, dots = _responses(kennel, stud), _dots(kennel, stud)
        if known.n_records_since:
            answer.insert(0, fit_age_sentence(known.n_records_since, known.kept.fitted_at))
        if len(records.breedings):
            answer += _litters(kennel, stud)
    answer += left_out(kennel, stud)
    return StudResults(
        stud=stud,
        facts=facts(dog, words),
        cautions=cautions,
        answer=tuple(answer),
        readings=readings,
        told=told,
        stages=stages_of(kennel, stud),
        storage=storage_told(kennel, stud),
        events=events_of(kennel, stud),
        chances=chances,
        coefficients=coefficients,
        litters=litters,
        responses=responses,
        dots=dots,
        method=(
            *METHOD_OF_READINGS,
            *(METHOD_OF_LEVELS if told else ()),
            *(METHOD_OF_CHANCES if chances else ()),
            *(METHOD_OF_LITTERS if litters else ()),
        ),
        sources=(works_cited if on_two_sheets else sources)(
            words,
            with_chances=bool(chances),
            with_litters=litters is not None,
            measures=_measures(told),
        ),
        provenance=provenance(kennel, words),
        checks=checks,
    )


def stud_told(kennel: Kennel, stud: str, cautions: Sequence[Caution]) -> tuple[StudTold, ...]:
    """What the kept fits say of a stud over time; nothing where a caution stops forecasts.

    With fewer than five collections of a measure it says nothing either: its samples stand alone.
    """
    if "forecast" in stopped_answers(cautions):
        return ()
    return tuple(one for one in _every_level(kennel, stud) if one.band is not None)


@once
def _every_level(kennel: Kennel, stud: str) -> tuple[StudTold, ...]:
    return kennel.levels.of(stud, kennel.views["events"], kennel.today)


def _plain_answer(
    kennel: Kennel, stud: str, readings: pd.DataFrame, cautions: Sequence[Caution]
) -> list[Sentence]:
    """What stands in the place of a level, and why; under a stop nothing of level or trend."""
    if "forecast" in stopped_answers(cautions):
        return [sentence("said.nothing_under_a_stop", stud=stud)]
    alarming = any(caution.rule in ALARMING_SERIES for caution in cautions)
    return [
        samples_sentence(stud, readings, is_alarming=alarming),
        sentence("level.no_level" if not kennel.levels.levels else "level.no_level_few"),
    ]


def _measures(told: Sequence[StudTold]) -> tuple[Measure, ...]:
    return tuple(one.answers.measure for one in told)


def total_level(told: Sequence[StudTold]) -> StudTold | None:
    """What is told of total sperm, where it has a level."""
    return next((one for one in told if one.answers.measure.name == "total_sperm_m"), None)


def records_of(kennel: Kennel, dog: str) -> DogRecords:
    """The rows of one dog, as the rules of caution read them."""
    return dog_records(kennel.views, dog, kennel.today)


def events_of(kennel: Kennel, dog: str) -> pd.DataFrame:
    """Events of one dog, as the view has them."""
    events = kennel.views["events"]
    return events[events["dog"] == dog]


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


def provenance(kennel: Kennel, words: Words, *, with_fit: bool = True) -> str:
    """One line: which day, which records, which fit."""
    kept = kennel.conception.kept
    said = stated_provenance(kept, kennel.today, kennel.fingerprint, words, with_fit=with_fit)
    if not with_fit:
        return said
    levels = [
        words.say(
            "page.level_fit",
            measure=words.word("measured", level.fitted.posterior.data.measure.name),
            seed=str(made.seed),
            max_rhat=made.diagnostics["max_rhat"],
            n_divergent=int(made.diagnostics["n_divergent"]),
        )
        for level in kennel.levels.levels
        if (made := level.fitted.kept) is not None
    ]
    return " · ".join((said, *levels))


def stated_provenance(
    kept: KeptFit | None, today: date, fingerprint: str, words: Words, *, with_fit: bool = True
) -> str:
    """The same from its parts."""
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
    as_of = words.say("page.as_of", on=today)
    records = words.say("page.records", fingerprint=fingerprint[:12])
    return " · ".join((as_of, records, fit) if with_fit else (as_of, records))


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


@once
def _coefficients(kennel: Kennel) -> tuple[Coefficient, ...]:
    """The chain's coefficients in the order of the priors table."""
    fitted = kennel.conception.posterior
    return tuple(
        Coefficient(
            row,
            fitted.prior_estimate(row),
            records_alone(fitted.draws[row], fitted.prior_draws[row]),
            fitted.estimate(row),
            fitted.share_from_records(row),
            PRIORS[row].mark,
        )
        for row in conception.COEFFICIENTS
    )


@once
def _own_chances(kennel: Kennel, stud: str) -> tuple[SemenTypeChance, ...]:
    """Chance of a litter by semen type over his own breedings; those of the kennel are no one's."""
    fitted = kennel.conception.posterior
    studs, bitches = names_of_pairs(fitted.data)
    return chances_over(fitted, (studs == stud) & may_be_told(kennel.stopped, studs, bitches))


@once
def _litter_sizes(kennel: Kennel, stud: str) -> LitterSizes | None:
    return kennel.litters.sizes(kennel.litters.stud == stud)


@once
def _litters(kennel: Kennel, stud: str) -> tuple[Sentence, ...]:
    """What is said of this stud's breedings, and what must stand beside it."""
    fitted = kennel.conception.posterior
    data = fitted.data
    chosen = data.groups["stud"] == data.levels["stud"].index(stud)
    published, together = own_breedings_prob(fitted, chosen)
    n_known, n_whelped, own = own_share(data.whelped[chosen])
    expected = estimate_from_draws(published)
    said = litters_sentence(
        stud,
        n_known=n_known,
        n_whelped=n_whelped,
        own=own,
        published=expected,
        together=estimate_from_draws(together),
        share_from_records=share_from_records(together, published),
    )
    bred = kennel.views["breedings"]
    return (said, *stud_headline(kennel, stud, bred[bred["stud"] == stud], expected))


@once
def _responses(kennel: Kennel, stud: str) -> tuple[Response, ...]:
    """Grids of the methods that this stud's breedings used: the most frequent first, mating last.

    A stud without breedings gets those of the kennel; surgical insemination is never offered.
    """
    posterior = kennel.conception.posterior
    data = posterior.data
    his = data.groups["stud"] == data.levels["stud"].index(stud) if (
        stud in data.levels["stud"]
    ) else np.zeros(data.n_breedings, dtype=bool)  # fmt: skip
    chosen = his if his.any() else np.ones(data.n_breedings, dtype=bool)
    used = Counter(
        (semen, route)
        for semen, route in zip(data.semen_type[chosen], data.route[chosen], strict=True)
        if route != "surgical"
    )
    return tuple(
        read_response(posterior, str(semen), str(route), stud)
        for (semen, route), _ in sorted(
            used.most_common(), key=lambda method: method[0][0] == "natural"
        )
    )


@once
def _dots(kennel: Kennel, stud: str) -> tuple[BredDot, ...]:
    """Breedings of the kennel with a known outcome, where their day and dose were recorded."""
    data = kennel.conception.posterior.data
    studs, bitches = names_of_pairs(data)
    dots = []
    for k in np.flatnonzero((data.whelped >= 0) & may_be_told(kennel.stopped, studs, bitches)):
        made = data.inseminated[k] & (data.day_sd[k] <= RECORDED_DAY_SD)
        days = data.day_mean[k][made]
        usual = USUAL_DOSE_M.get(str(data.route[k]))
        has_dose = usual is not None and data.dose_sd[k] <= RECORDED_DOSE_SD
        dots.append(
            BredDot(
                str(data.semen_type[k]),
                str(data.route[k]),
                round(float(days[0]), 1) if len(days) else None,
                round(usual * 2.0 ** float(data.dose_mean[k])) if usual and has_dose else None,
                bool(data.whelped[k] == 1),
                bool(studs[k] == stud),
                str(bitches[k]),
            )
        )
    return tuple(dots)


def sources(
    words: Words, *, with_chances: bool, with_litters: bool, measures: Sequence[Measure] = ()
) -> tuple[str, ...]:
    """What each number of the table says, from where, with its mark."""
    common = [
        f"{words.say('common.source', measure=words.word('measured', measure.name))}: "
        f"{words.source(measure.common_source)}"
        for measure in measures
    ]
    return (
        *common,
        *cited(rows_read(measures, with_chances=with_chances, with_litters=with_litters), words),
    )


def works_cited(
    words: Words, *, with_chances: bool, with_litters: bool, measures: Sequence[Measure] = ()
) -> tuple[str, ...]:
    """The works behind these numbers, each once with all its marks; then that some are judgement.

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
        *(
            words.source(work) + (f" ({', '.join(marks)})" if marks else "")
            for work, marks in works.items()
        ),
        words["page.judgements"],
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


def cited(rows: Sequence[str], words: Words) -> tuple[str, ...]:
    """What rows of the priors table say, from where, with their marks."""
    return tuple(
        f"{words[f'prior.{row}']}: {words.source(PRIORS[row].source)} ({PRIORS[row].mark})"
        for row in rows
    )


def storage_sources(curve: StorageDraws, words: Words) -> tuple[str, ...]:
    """Where a storage curve comes from: the kennel's own samples, and what is published."""
    if not curve.is_own:
        return (words.source(curve.source),)
    published = PRIORS["s01"]
    return (words["storage.own"], f"{words.source(published.source)} ({published.mark})")
