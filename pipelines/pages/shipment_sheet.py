"""From views to the sheet that goes to a client with her shipment."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime

import numpy as np
import pandas as pd

from studcurve.analytics.cautions import Caution, bitch_age, in_order
from studcurve.analytics.errors import RecordsError
from studcurve.analytics.measures.motility_kept import kept_at
from studcurve.analytics.models.ovulation.insemination_days import INSEMINATION_WINDOWS
from studcurve.analytics.models.ovulation.model import ovulation_of_cycles
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.wording.program import ovulation_sentence, shipment_sentence, use_sentence
from studcurve.analytics.wording.sources import Source, storage_sources
from studcurve.pipelines.pages.kennel import Kennel
from studcurve.pipelines.pages.provenance import provenance
from studcurve.pipelines.pages.stud import facts
from studcurve.pipelines.records.dog_history import cautions_of, dog_records
from studcurve.reports.pages.shipment_sheet import Kept, ShipmentSheetResults

KEPT_HOURS = (0.0, 12.0, 24.0, 36.0, 48.0, 60.0, 72.0)
"""Hours after the collection at which a dose is stated. [h]"""

STORAGE_SEED = 1
"""Seed of the storage curve's draws: the same shipment, the same sheet."""

CYCLE_DAYS = 60
"""A heat that began this long before the shipment, or less, is the one that it is for. [d]"""


CHILLED_WINDOWS = tuple(
    window for window in INSEMINATION_WINDOWS if "chilled" in window.semen_types
)
"""What the sources say of chilled semen."""


def shipment_sheet_results(kennel: Kennel, bitch: str) -> ShipmentSheetResults:
    """Everything the sheet of a bitch's last shipment shows.

    Raises
    ------
    RecordsError
        No shipment to that bitch is recorded.
    """
    shipments = kennel.views["shipments"]
    hers = shipments[shipments["for_bitch"].str.casefold() == bitch.casefold()]
    if hers.empty:
        known = ", ".join(sorted(set(shipments["for_bitch"].dropna()))) or "none"
        raise RecordsError(
            f"No shipment for {bitch!r} is recorded; shipments went to {known}. Add it to the "
            "Shipments sheet, or correct the name."
        )
    shipment = hers.sort_values("sent_earliest").iloc[-1]
    stud = shipment["stud"]
    dogs = kennel.views["dogs"]
    dog = dogs[dogs["call_name"] == stud].iloc[0]
    raw = _raw_of(kennel, shipment)
    motility = float(raw["progressive_motility_pct"]) if raw is not None else float("nan")
    dose = float(shipment["motile_dose_m"])
    extender = None if pd.isna(shipment["extender"]) else str(shipment["extender"])
    curve = kennel.storage.curve(
        stud=stud, extender=extender, rng=np.random.default_rng(STORAGE_SEED)
    )
    kept = [(hours, kept_at(curve, dose, hours)) for hours in KEPT_HOURS] if dose > 0 else []
    known_kept = tuple(Kept(hours, left) for hours, left in kept if left is not None)
    has_time = shipment["collected_latest"] - shipment["collected_earliest"] < pd.Timedelta(
        hours=12
    )
    return ShipmentSheetResults(
        bitch=str(shipment["for_bitch"]),
        stud=stud,
        stud_facts=facts(dog),
        cautions=tuple(_cautions(kennel, stud, str(shipment["for_bitch"]))),
        answer=(shipment_sentence(stud, _day(shipment["collected_earliest"]), [
            (kept_then.hours, kept_then.motile_dose_m) for kept_then in known_kept
        ]),),
        collected=shipment["collected_earliest"].to_pydatetime(),
        has_collected_time=bool(has_time),
        sent=shipment["sent_earliest"].to_pydatetime(),
        promised_on=None if pd.isna(shipment["promised_on"]) else _day(shipment["promised_on"]),
        carrier=None if pd.isna(shipment["carrier"]) else str(shipment["carrier"]),
        extender=extender,
        n_doses=float("nan") if pd.isna(shipment["n_doses"]) else float(shipment["n_doses"]),
        dose_volume_ml=float(shipment["dose_volume_ml"]),
        motile_dose_m=dose,
        motility_pct=motility,
        kept=known_kept,
        own_until_h=curve.observed_until_h,
        days=_days(kennel, str(shipment["for_bitch"]), shipment["sent_earliest"]),
        sources=(
            *(storage_sources(curve) if known_kept else ()),
            *(Source(window.source) for window in CHILLED_WINDOWS),
        ),
        provenance=provenance(kennel, with_fit=False),
    )  # fmt: skip


def bitches_with_shipments(kennel: Kennel, n: int) -> list[str]:
    """The bitches whom the last shipments were for, the last first, each once."""
    shipments = kennel.views["shipments"].dropna(subset="for_bitch").sort_values("sent_earliest")
    return list(dict.fromkeys(reversed(shipments["for_bitch"].tolist())))[:n]


def _cautions(kennel: Kennel, stud: str, bitch: str) -> Iterator[Caution]:
    """What stops his semen, and what is known of her: her own tests count as his do."""
    his, hers = (cautions_of(kennel.views, dog, kennel.today) for dog in (stud, bitch))
    cautions = [caution for caution in (*his, *hers) if _concerns_her(caution)]
    of_her = dog_records(kennel.views, bitch, kennel.today)
    cautions += [one for one in bitch_age(of_her, kennel.today) if one not in cautions]
    yield from in_order(cautions)


def _concerns_her(caution: Caution) -> bool:
    """Infection, and whatever stops a shipment; other people's litters are not hers to know."""
    return caution.severity == "stop" or caution.rule.startswith("brucella")


def _raw_of(kennel: Kennel, shipment: pd.Series) -> pd.Series | None:
    """The raw reading of the sample in the shipment."""
    readings = kennel.views["evaluations"]
    raw = readings[
        (readings["stage"] == "raw") & (readings["collection_id"] == shipment["collection_id"])
    ]
    return None if raw.empty else raw.iloc[0]


def _days(kennel: Kennel, bitch: str, sent: datetime) -> tuple[Sentence, ...]:
    """When to use chilled semen, and her own ovulation where she has readings of this heat."""
    cycles = kennel.views["cycles"]
    begun = (pd.Timestamp(sent) - pd.to_datetime(cycles["first_day"])).dt.days
    own = cycles[
        (cycles["bitch"].str.casefold() == bitch.casefold()) & begun.between(-7, CYCLE_DAYS)
    ]
    sentences = []
    if not own.empty:
        when = ovulation_of_cycles(own, kennel.views["progesterone"]).iloc[-1]
        sentences.append(
            ovulation_sentence(
                bitch, when["ovulation_at"].date(), float(when["ovulation_sd_days"]),
                is_dated=bool(when["is_dated"]),
            )
        )  # fmt: skip
    first = min(window.first_day for window in CHILLED_WINDOWS)
    return (*sentences, use_sentence(first, max(window.last_day for window in CHILLED_WINDOWS)))


def _day(moment: object) -> date:
    return pd.Timestamp(moment).date()  # type: ignore[arg-type]
