"""From views to the program overview."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analytics.cautions import RECENT_DAYS, cautions_for_dog, stopped_answers
from analytics.counting import exact_share
from analytics.semen import total_sperm_m
from analytics.sentences import Word
from analytics.stud_told import StudTold
from analytics.wording import program_sentences
from pipelines.due import due_items, told
from pipelines.kennel import Kennel
from pipelines.pages import (
    METHOD_OF_CHANCES,
    chosen_studs,
    dog_records,
    provenance,
    sources,
    stud_told,
)
from pipelines.stored_page import stages_told
from reports.overview import Due, OverviewResults, StudRow, Unreported, YearRow
from reports.page import Reader

REPORTED_BELOW = frozenset({"outcome", "box"})
"""Kinds of what is due that have a table of their own."""


def overview_results(kennel: Kennel, reader: Reader) -> OverviewResults:
    """Everything the overview shows."""
    words, views = reader.words, kennel.views
    bred = views["breedings"]
    chances = kennel.chances
    straws = views["frozen_lots"]
    return OverviewResults(
        kennel=kennel.name,
        answer=program_sentences(bred, kennel.today, overdue_days=RECENT_DAYS),
        due=_due(kennel, reader),
        unreported=_unreported(kennel),
        outcomes=views["outcomes"],
        studs=tuple(_stud(kennel, stud) for stud in chosen_studs(kennel, ())),
        years=_years(bred),
        chances=chances,
        stages=stages_told(views["evaluations"]),
        straws=straws[straws["n_straws_left"] > 0].sort_values(["stud", "frozen_on"]),
        method=METHOD_OF_CHANCES if chances else (),
        sources=sources(words, with_chances=bool(chances)) if chances else (),
        provenance=provenance(kennel, words),
    )


def _due(kennel: Kennel, reader: Reader) -> tuple[Due, ...]:
    """What is due, but for what has a table of its own."""
    items = due_items(kennel.views, today=kennel.today)
    shown = [item for item in items if item.kind not in REPORTED_BELOW]
    return tuple(
        Due(item.on, item.until, item.is_late, said) for item, said in told(shown, reader.words)
    )


def _unreported(kennel: Kennel) -> tuple[Unreported, ...]:
    """Breedings past due and boxes never confirmed, the oldest first."""
    today = pd.Timestamp(kennel.today)
    bred = kennel.views["breedings"]
    bred = bred[~bred["outcome_known"].astype(bool)]
    bred = bred[(today - bred["bred_earliest"]).dt.days > RECENT_DAYS]
    boxes = kennel.views["shipments"]
    boxes = boxes[~boxes["outcome_known"].astype(bool) & (boxes["sent_latest"] < today)]
    rows = [
        Unreported(
            row["bred_earliest"].date(), row["bitch"], row["stud"],
            Word("semen", row["semen_type"]), (today - row["bred_earliest"]).days,
        )
        for row in bred.to_dict("records")
    ]  # fmt: skip
    rows += [
        Unreported(
            row["sent_earliest"].date(),
            "" if pd.isna(row["for_bitch"]) else row["for_bitch"],
            row["stud"],
            Word("semen", "box"),
            (today - row["sent_earliest"]).days,
        )
        for row in boxes.to_dict("records")
    ]
    return tuple(sorted(rows, key=lambda row: row.on))


def _stud(kennel: Kennel, stud: str) -> StudRow:
    records = dog_records(kennel, stud)
    raw = records.evaluations
    raw = raw[(raw["stage"] == "raw") & raw["failed_reason"].isna()].assign(
        total=lambda rows: total_sperm_m(
            rows["volume_ml"].to_numpy(float), rows["concentration_m_per_ml"].to_numpy(float)
        )
    )
    counted = raw[raw["total"].notna()].sort_values("collected_earliest")
    tests = records.lab_tests
    tests = tests[tests["what"].str.contains("brucella", case=False, na=False)]
    last = tests.sort_values("sampled_on").iloc[-1] if len(tests) else None
    bred = records.breedings
    known = bred[bred["whelped"].notna()]
    alive = bred["n_born_alive"].dropna()
    cautions = cautions_for_dog(records, kennel.today)
    return StudRow(
        stud=stud,
        last_on=counted["collected_earliest"].iloc[-1].date() if len(counted) else None,
        last_total_m=float(counted["total"].iloc[-1]) if len(counted) else float("nan"),
        told=_total_level(stud_told(kennel, stud, cautions)),
        brucella=None if last is None else last["result"],
        brucella_on=None if last is None else last["sampled_on"].date(),
        n_bred=len(bred),
        n_known=len(known),
        n_whelped=int(known["whelped"].astype(bool).sum()),
        pups_per_litter=float(alive.mean()) if len(alive) else None,
        is_stopped="conception" in stopped_answers(cautions),
    )


def _total_level(told: Sequence[StudTold]) -> StudTold | None:
    return next((one for one in told if one.answers.measure.name == "total_sperm_m"), None)


def _years(bred: pd.DataFrame) -> tuple[YearRow, ...]:
    """The newest first."""
    rows = []
    years = bred["bred_earliest"].dt.year
    for year, group in bred.groupby(years):
        known = group[group["whelped"].notna()]
        n_whelped = int(known["whelped"].astype(bool).sum())
        rows.append(
            YearRow(
                int(year),
                len(group),
                len(known),
                n_whelped,
                exact_share(n_whelped, len(known)),
                int(np.nansum(group["n_born_alive"].to_numpy(float))),
            )
        )
    return tuple(reversed(rows))
