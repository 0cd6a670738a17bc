"""From views to the program overview."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from studcurve.analytics.cautions import RECENT_DAYS, Caution, bitch_age
from studcurve.analytics.cautions.brucella import is_brucella
from studcurve.analytics.due.items import DueItem, together
from studcurve.analytics.measures.counting import exact_share
from studcurve.analytics.measures.semen import total_sperm_m
from studcurve.analytics.measures.stages import compared_stages
from studcurve.analytics.models.conception.bred import partners, without_stopped
from studcurve.analytics.outcomes.methods import MethodOutcome, method_outcomes
from studcurve.analytics.sentences import Word
from studcurve.analytics.wording.checks import semen_type_sentences
from studcurve.analytics.wording.program import program_sentences
from studcurve.analytics.wording.sources import page_sources
from studcurve.analytics.wording.stud_page import total_level
from studcurve.analytics.wording.trust import fault_sentences
from studcurve.pipelines.due import alarms_of, due_of
from studcurve.pipelines.pages.kennel import Kennel, held_back, left_out
from studcurve.pipelines.pages.ledger import forecasts_wording
from studcurve.pipelines.pages.outcomes import outcomes_of
from studcurve.pipelines.pages.provenance import provenance
from studcurve.pipelines.pages.stud import StudOfKennel
from studcurve.pipelines.pages.stud_review import METHOD_OF_CHANCES, METHOD_OF_LITTERS
from studcurve.pipelines.pages.trust import (
    due_breedings,
    kennel_checks,
    open_breedings,
    prior_widths,
)
from studcurve.pipelines.records.dog_history import dog_records
from studcurve.reports.pages.overview import Due, OverviewResults, StudRow, Unreported, YearRow

REPORTED_BELOW = frozenset({"outcome", "shipment", "caution"})
"""Kinds of what is due that stand elsewhere on the page."""


def overview_results(kennel: Kennel, studs: Sequence[StudOfKennel]) -> OverviewResults:
    """Everything the overview shows.

    Parameters
    ----------
    kennel
        What pages read.
    studs
        Those that were collected or bred, in the order of their lines.
    """
    views = kennel.views
    items = due_of(views, today=kennel.today)
    bred = open_breedings(kennel)
    answer = program_sentences(bred, kennel.today, overdue_days=RECENT_DAYS)
    answer += (*held_back(kennel), *left_out(kennel))
    forecasts = forecasts_wording(kennel)
    beside = semen_type_sentences(due_breedings(bred, kennel.today), prior_widths(kennel))
    chances, litters = kennel.chances, kennel.litters
    sizes = litters.sizes(without_stopped(kennel.stopped, litters.stud, litters.bitch))
    straws = views["frozen_lots"]
    checked = kennel_checks(kennel)
    return OverviewResults(
        kennel=kennel.name,
        cautions=(*alarms_of(views, kennel.today), *_of_bitches_in_heat(kennel, items)),
        # Without a fit no shares are shown to stand beside.
        answer=(
            *forecasts.alarm,
            *fault_sentences(checked.residuals),
            *answer,
            *(() if chances else beside),
        ),
        of_chances=beside,
        methods=_methods(kennel),
        due=_due(items),
        unreported=_unreported(kennel),
        outcomes=outcomes(bred),
        studs=tuple(_stud(stud, kennel.today) for stud in studs),
        years=_years(bred),
        chances=chances,
        litters=sizes,
        stages=compared_stages(views["evaluations"]),
        straws=straws[straws["n_straws_left"] > 0].sort_values(["stud", "frozen_on"]),
        method=(*(METHOD_OF_CHANCES if chances else ()), *(METHOD_OF_LITTERS if sizes else ())),
        sources=page_sources(with_chances=bool(chances), with_litters=sizes is not None),
        provenance=provenance(kennel),
        checks=checked,
        forecasts=forecasts,
        outcomes_along=outcomes_of(kennel),
    )


def _methods(kennel: Kennel) -> tuple[MethodOutcome, ...]:
    """The same bitches with each semen type, of breedings of which neither dog is stopped."""
    fitted = kennel.conception.posterior
    if kennel.conception.kept is None:
        return ()
    return method_outcomes(fitted, without_stopped(kennel.stopped, *partners(fitted.data)))


def _of_bitches_in_heat(kennel: Kennel, items: Sequence[DueItem]) -> tuple[Caution, ...]:
    """What must be said of the age of a bitch before she is bred in the heat she is in."""
    # An old one that nobody examined has her stop in the place of her days.
    in_heat = {
        item.dog
        for item in items
        if item.kind in {"progesterone", "insemination"}
        or item.what.key == "caution.bitch_old_not_examined"
    }
    return tuple(
        caution
        for bitch in sorted(in_heat)
        for caution in bitch_age(dog_records(kennel.views, bitch, kennel.today), kennel.today)
    )


def _due(items: Sequence[DueItem]) -> tuple[Due, ...]:
    """What is due, but for what has a table of its own."""
    shown = [item for item in items if item.kind not in REPORTED_BELOW]
    return tuple(Due(item.on, item.until, item.is_late, what) for item, what in together(shown))


def _unreported(kennel: Kennel) -> tuple[Unreported, ...]:
    """Breedings past due and shipments never confirmed, the oldest first."""
    today = pd.Timestamp(kennel.today)
    bred = kennel.views["breedings"]
    bred = bred[~bred["outcome_known"].astype(bool)]
    bred = bred[(today - bred["bred_earliest"]).dt.days > RECENT_DAYS]
    shipments = kennel.views["shipments"]
    shipments = shipments[
        ~shipments["outcome_known"].astype(bool) & (shipments["sent_latest"] < today)
    ]
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
            Word("semen", "shipment"),
            (today - row["sent_earliest"]).days,
        )
        for row in shipments.to_dict("records")
    ]
    return tuple(sorted(rows, key=lambda row: row.on))


def _stud(stud: StudOfKennel, today: date) -> StudRow:
    records = stud.records
    raw = records.evaluations
    raw = raw[(raw["stage"] == "raw") & raw["failed_reason"].isna()].assign(
        total=lambda rows: total_sperm_m(
            rows["volume_ml"].to_numpy(float), rows["concentration_m_per_ml"].to_numpy(float)
        )
    )
    counted = raw[raw["total"].notna()].sort_values("collected_earliest")
    tests = [line for line in records.health if is_brucella(line) and line.on <= today]
    last = tests[-1] if tests else None
    bred = records.breedings
    known = bred[bred["whelped"].notna()]
    alive = bred["n_born_alive"].dropna()
    return StudRow(
        stud=stud.name,
        last_on=counted["collected_earliest"].iloc[-1].date() if len(counted) else None,
        last_total_m=float(counted["total"].iloc[-1]) if len(counted) else float("nan"),
        summary=total_level(stud.levels),
        brucella=None if last is None else last.result,
        brucella_on=None if last is None else last.on,
        n_bred=len(bred),
        n_known=len(known),
        n_whelped=int(known["whelped"].astype(bool).sum()),
        pups_per_litter=float(alive.mean()) if len(alive) else None,
        is_stopped="chances" in stud.stopped,
    )


def outcomes(bred: pd.DataFrame) -> pd.DataFrame:
    """What became of breedings, counted from the scan to eight weeks.

    Parameters
    ----------
    bred
        Rows of the view ``breedings``.

    Returns
    -------
    pandas.DataFrame
        One row a scan (pregnant, not pregnant, unknown) and outcome (whelped, no litter, unknown):
        breedings, litters with their pups counted and those pups, and of the litters counted again
        at eight weeks the pups born alive and left.
    """
    counted, followed = bred["n_born_alive"].notna(), bred["n_alive_8_weeks"].notna()
    rows = pd.DataFrame(
        {
            "scan": _known(bred["pregnant"], "pregnant", "not pregnant"),
            "outcome": _known(bred["whelped"], "whelped", "no litter"),
            "n_breedings": 1,
            "n_litters_counted": counted,
            "n_born_alive": bred["n_born_alive"].where(counted, 0),
            "n_stillborn": bred["n_stillborn"].where(counted, 0).fillna(0),
            "n_followed": bred["n_born_alive"].where(followed, 0).fillna(0),
            "n_alive_8_weeks": bred["n_alive_8_weeks"].where(followed, 0),
        }
    )
    by = ["scan", "outcome"]
    return rows.groupby(by, as_index=False).sum().astype(dict.fromkeys(rows.columns[2:], "int64"))


def _known(known: pd.Series, yes: str, no: str) -> pd.Series:
    """Yes, no or unknown, also where nothing is known of any."""
    return known.astype("object").map({True: yes, False: no}).astype("object").fillna("unknown")


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
