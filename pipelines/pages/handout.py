"""From views to the handout for the veterinarian."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from studcurve.analytics.cautions.samples import FAR_BELOW_M
from studcurve.analytics.models.conception.bred import has_chances
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.analytics.wording.sources import works_cited
from studcurve.pipelines.pages.kennel import Kennel
from studcurve.pipelines.pages.provenance import provenance
from studcurve.pipelines.pages.stud import StudOfKennel
from studcurve.pipelines.pages.stud_review import answer_of, method_of
from studcurve.reports.page import Audience
from studcurve.reports.pages.handout import Animal, BredRow, HandoutResults

N_COLLECTIONS, N_BRED, N_TESTS, N_KEPT = 8, 10, 6, 4
"""Rows of each table; two pages hold no more."""

YEARS_IN_PICTURE = 4
"""The picture shows this many years; the review shows all. [y]"""


def handout_results(
    kennel: Kennel, stud: StudOfKennel, question: str, audience: Audience
) -> HandoutResults:
    """Everything the handout of one stud shows; every work is cited once.

    Parameters
    ----------
    kennel, stud
        What pages read.
    question
        What the veterinarian is asked, in the owner's words.
    audience
        For whom.
    """
    readings = stud.readings.sort_values("collected_earliest", ascending=False)
    since = pd.Timestamp(kennel.today) - pd.DateOffset(years=YEARS_IN_PICTURE)
    bred = stud.records.breedings.sort_values("bred_earliest", ascending=False)
    chain = kennel.conception
    with_chances = (
        chain.kept is not None
        and "chances" not in stud.stopped
        and has_chances(chain.posterior, stud.name, kennel.stopped)
    )
    return HandoutResults(
        question=question,
        stud=stud.name,
        cautions=stud.cautions,
        answer=answer_of(kennel, stud, audience),
        summaries=stud.levels,
        animal=_animal(stud.row),
        examinations=stud.examinations.sort_values("examined_on", ascending=False).head(N_TESTS),
        lab_tests=stud.lab_tests.sort_values("sampled_on", ascending=False).head(N_TESTS),
        collections=readings.head(N_COLLECTIONS),
        readings=stud.readings[stud.readings["collected_earliest"] >= since],
        events=stud.events[pd.to_datetime(stud.events["started_on"]) >= since],
        bred=tuple(
            _bred(row, kennel.views["breedings"]) for row in bred.head(N_BRED).to_dict("records")
        ),
        n_bred=len(bred),
        kept=_kept(stud.shipments, stud.evaluations).head(N_KEPT),
        missing=_missing(readings.head(N_COLLECTIONS), stud.examinations, stud.lab_tests, bred),
        method=method_of(stud, with_chances=with_chances, with_litters=False),
        sources=works_cited(
            with_chances=with_chances,
            with_litters=False,
            measures=[level.answers.measure for level in stud.levels],
        ),
        provenance=provenance(kennel),
    )


def _animal(dog: pd.Series) -> Animal:
    """Facts of the dog, None where not noted."""
    registered_name, breed, chip = (
        None if pd.isna(dog[name]) else str(dog[name])
        for name in ("registered_name", "breed", "chip")
    )
    weight = dog["adult_weight_kg"]
    return Animal(
        registered_name,
        breed,
        chip,
        born_on=None if pd.isna(dog["born_on"]) else dog["born_on"].date(),
        adult_weight_kg=None if pd.isna(weight) else float(weight),
    )


def _bred(row: Mapping[Any, Any], breedings: pd.DataFrame) -> BredRow:
    """One breeding, with what the bitch did with other studs."""
    others = breedings[
        (breedings["bitch"] == row["bitch"])
        & (breedings["stud"] != row["stud"])
        & breedings["whelped"].notna()
    ]
    return BredRow(
        on=pd.Timestamp(row["bred_earliest"]).date(),
        bitch=str(row["bitch"]),
        semen_type=str(row["semen_type"]),
        route=str(row["route"]),
        scan=_outcome(row["pregnant"], "pregnant", "not pregnant"),
        outcome=_outcome(row["whelped"], "whelped", "no litter"),
        n_born_alive=_count(row["n_born_alive"]),
        n_stillborn=_count(row["n_stillborn"]),
        n_other_known=len(others),
        n_other_whelped=int(others["whelped"].astype(bool).sum()),
    )


def _count(recorded: Any) -> float:  # noqa: ANN401
    """A count; NaN where none was recorded."""
    return float("nan") if pd.isna(recorded) else float(recorded)


def _outcome(
    known: Any,  # noqa: ANN401
    yes: str,
    no: str,
) -> str:
    if pd.isna(known):
        return "unknown"
    return yes if known else no


def _kept(shipments: pd.DataFrame, readings: pd.DataFrame) -> pd.DataFrame:
    """Shipments with a reading after storage, beside the reading of the raw sample."""
    read = shipments[
        shipments["retained_progressive_motility_pct"].notna()
        | shipments["arrival_progressive_motility_pct"].notna()
    ]
    raw = readings[readings["stage"] == "raw"].drop_duplicates("collection_id")
    motility = raw.set_index("collection_id")["progressive_motility_pct"].rename("motility_pct")
    return read.join(motility, on="collection_id").sort_values("collected_on", ascending=False)


def _missing(
    collections: pd.DataFrame,
    examinations: pd.DataFrame,
    lab_tests: pd.DataFrame,
    bred: pd.DataFrame,
) -> tuple[Sentence, ...]:
    """What the records do not hold, in the order in which a vet would ask."""
    n = len(collections)
    sentences: list[Sentence] = []
    for column, key in (
        ("total_sperm_m", "missing.count"),
        ("progressive_motility_pct", "missing.motility"),
        ("normal_morphology_pct", "missing.morphology"),
    ):
        n_without = int(collections[column].isna().sum())
        if n_without:
            sentences.append(sentence(key, n=n_without, n_samples=n))
    if examinations.empty:
        sentences.append(sentence("missing.examination"))
    tested = lab_tests["what"].str.casefold()
    # It is asked for only where few sperm or none came: incomplete ejaculation, or none made.
    few = collections["total_sperm_m"].dropna().lt(FAR_BELOW_M).any()
    if few and not tested.str.contains("phosphatase").any():
        sentences.append(sentence("missing.phosphatase"))
    if not tested.str.contains("culture|kultur").any():
        sentences.append(sentence("missing.culture"))
    n_unknown = int(bred["whelped"].isna().sum())
    if n_unknown:
        sentences.append(sentence("missing.outcome", n=n_unknown, n_bred=len(bred)))
    return tuple(sentences) or (sentence("missing.nothing"),)
