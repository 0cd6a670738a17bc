"""From views to the handout for the veterinarian."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from studcurve.analytics.cautions.samples import FAR_BELOW_M
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.pipelines.pages.kennel import Kennel
from studcurve.pipelines.pages.stud_review import records_of, stud_results
from studcurve.reports.page import Reader
from studcurve.reports.pages.handout import BredRow, HandoutResults
from studcurve.reports.words import Words

N_COLLECTIONS, N_BRED, N_TESTS, N_KEPT = 8, 10, 6, 4
"""Rows of each table; two pages hold no more."""

YEARS_IN_PICTURE = 4
"""The picture shows this many years; the review shows all. [y]"""


def handout_results(kennel: Kennel, stud: str, question: str, reader: Reader) -> HandoutResults:
    """Everything the handout of one stud shows."""
    views = kennel.views
    review = stud_results(kennel, stud, reader, on_two_sheets=True)
    records = records_of(kennel, stud)
    readings = review.readings.sort_values("collected_earliest", ascending=False)
    since = pd.Timestamp(kennel.today) - pd.DateOffset(years=YEARS_IN_PICTURE)
    recent = review.readings[review.readings["collected_earliest"] >= since]
    events = review.events[pd.to_datetime(review.events["started_on"]) >= since]
    examinations = views["examinations"]
    examinations = examinations[examinations["dog"] == stud]
    lab_tests = views["lab_tests"][views["lab_tests"]["dog"] == stud]
    bred = records.breedings.sort_values("bred_earliest", ascending=False)
    dog = views["dogs"][views["dogs"]["call_name"] == stud].iloc[0]
    return HandoutResults(
        question=question,
        stud=review.with_evaluations(recent, events),
        animal=_animal(dog, reader.words),
        examinations=examinations.sort_values("examined_on", ascending=False).head(N_TESTS),
        lab_tests=lab_tests.sort_values("sampled_on", ascending=False).head(N_TESTS),
        collections=readings.head(N_COLLECTIONS),
        bred=tuple(_bred(row, views["breedings"]) for row in bred.head(N_BRED).to_dict("records")),
        n_bred=len(bred),
        kept=_kept(kennel, stud).head(N_KEPT),
        missing=_missing(readings.head(N_COLLECTIONS), examinations, lab_tests, bred),
    )


def _animal(dog: pd.Series, words: Words) -> tuple[tuple[str, str], ...]:
    """Facts of the dog; what was not noted is named so."""
    rows = [
        (name, words["page.not_recorded"] if pd.isna(dog[name]) else str(dog[name]))
        for name in ("registered_name", "breed", "chip")
    ]
    rows.append(("born_on", words.day(dog["born_on"])))
    weight = dog["adult_weight_kg"]
    rows.append(
        ("adult_weight_kg", "–" if pd.isna(weight) else f"{words.number(weight, 1)} kg")
    )  # fmt: skip
    return tuple(rows)


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
        scan=_told(row["pregnant"], "pregnant", "not pregnant"),
        outcome=_told(row["whelped"], "whelped", "no litter"),
        n_born_alive=_count(row["n_born_alive"]),
        n_stillborn=_count(row["n_stillborn"]),
        n_other_known=len(others),
        n_other_whelped=int(others["whelped"].astype(bool).sum()),
    )


def _count(recorded: Any) -> float:  # noqa: ANN401
    """A count; NaN where none was recorded."""
    return float("nan") if pd.isna(recorded) else float(recorded)


def _told(
    known: Any,  # noqa: ANN401
    yes: str,
    no: str,
) -> str:
    if pd.isna(known):
        return "unknown"
    return yes if known else no


def _kept(kennel: Kennel, stud: str) -> pd.DataFrame:
    """Shipments with a reading after storage, beside the reading of the raw sample."""
    shipments = kennel.views["shipments"]
    shipments = shipments[shipments["stud"] == stud]
    read = shipments[
        shipments["retained_progressive_motility_pct"].notna()
        | shipments["arrival_progressive_motility_pct"].notna()
    ]
    readings = kennel.views["evaluations"]
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
    said: list[Sentence] = []
    for column, key in (
        ("total_sperm_m", "missing.count"),
        ("progressive_motility_pct", "missing.motility"),
        ("normal_morphology_pct", "missing.morphology"),
    ):
        n_without = int(collections[column].isna().sum())
        if n_without:
            said.append(sentence(key, n=n_without, n_samples=n))
    if examinations.empty:
        said.append(sentence("missing.examination"))
    tested = lab_tests["what"].str.casefold()
    # It is asked for only where few sperm or none came: incomplete ejaculation, or none made.
    few = collections["total_sperm_m"].dropna().lt(FAR_BELOW_M).any()
    if few and not tested.str.contains("phosphatase").any():
        said.append(sentence("missing.phosphatase"))
    if not tested.str.contains("culture|kultur").any():
        said.append(sentence("missing.culture"))
    n_unknown = int(bred["whelped"].isna().sum())
    if n_unknown:
        said.append(sentence("missing.outcome", n=n_unknown, n_bred=len(bred)))
    return tuple(said) or (sentence("missing.nothing"),)
