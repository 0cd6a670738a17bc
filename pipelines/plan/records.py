"""What do the records say about one breeding that is planned, or about a schedule?

From views to the values that `studcurve.analytics.plan` reads: the pair, the heat, the stud's last
samples, shipments and straws, prices in force. No number is calculated here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.errors import RecordsError
from studcurve.analytics.estimate import Floats, RecordsWeight
from studcurve.analytics.measures.counting import HOME_COUNT_CV
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.measures.semen import with_measures
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.litter.model import LitterPosterior
from studcurve.analytics.models.ovulation.heat import readings_of_heat
from studcurve.analytics.models.ovulation.insemination_days import HEAT_DAYS
from studcurve.analytics.models.ovulation.model import (
    DATE_SD_DAYS,
    GRID_STEP_DAYS,
    OvulationPosterior,
    ProgesteroneReading,
    ovulation_posterior,
)
from studcurve.analytics.models.stud.model import StudQualityPosterior
from studcurve.analytics.plan.breeding_plan import HeatSummary
from studcurve.analytics.plan.options import PRICE_ITEMS, Straws
from studcurve.analytics.plan.simulation.chain import Pair
from studcurve.analytics.plan.simulation.pups import Dam
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.analytics.wording.plan import chance_source_sentence
from studcurve.analytics.wording.program import fit_age_sentence
from studcurve.pipelines.fits.fit import ModelPosterior, read_posterior
from studcurve.pipelines.fits.registry import CONCEPTION, LITTER, TOTAL_SPERM
from studcurve.pipelines.fits.storage import KeptStorage, read_storage
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.dog_history import CAUTION_VIEWS

PLAN_VIEWS = (
    *CAUTION_VIEWS, "inseminations", "cycles", "progesterone", "shipments", "frozen_lots", "prices",
    "forecasts",
)  # fmt: skip
"""Views that a plan is made from."""

NEXT_HEAT_DAYS = 14
"""Without a heat, ovulation is supposed so far ahead, as surely as a dated heat tells it. [d]"""


@dataclass(frozen=True, slots=True)
class PlanRecords:
    """The records file as a plan reads it.

    Attributes
    ----------
    views
        Frames by view.
    conception, litter
        What is known of the chance of a litter and of its size: the kept fit, else the published
        table.
    total_sperm
        The kept fit of what each stud's samples hold; None without one.
    storage
        What is kept of how long stored samples last.
    fingerprint
        Of the current lines.
    asked_at
        When the question is asked; nothing later is read.
    """

    views: Mapping[str, pd.DataFrame]
    conception: ModelPosterior[ConceptionPosterior]
    litter: ModelPosterior[LitterPosterior]
    total_sperm: StudQualityPosterior | None
    storage: KeptStorage
    fingerprint: str
    asked_at: datetime


@dataclass(frozen=True, slots=True)
class Heat:
    """One heat as a plan sees it.

    Attributes
    ----------
    ovulation
        Posterior of its ovulation.
    words
        What it rests on.
    readings
        Progesterone so far; empty where no heat is recorded.
    first_day, lh_surge_on
        As recorded; None where not.
    is_named
        Whether a person, the veterinarian or who asks, named the day of ovulation.
    """

    ovulation: OvulationPosterior
    words: Sentence
    readings: tuple[ProgesteroneReading, ...] = ()
    first_day: date | None = None
    lh_surge_on: date | None = None
    is_named: bool = False

    @property
    def has_days(self) -> bool:
        """Whether days may be named: a person named one, or a reading showed the rise."""
        return self.is_named or self.ovulation.rise == "seen"

    @property
    def summary(self) -> HeatSummary:
        """The heat as an answer tells it."""
        low, high = self.ovulation.interval()
        mean_on = self.ovulation.mean_at.date()
        return HeatSummary(
            low.date(), high.date(), mean_on, self.ovulation.sd_days, self.words, self.has_days,
            bool(self.readings),
        )  # fmt: skip


def read_plan_records(store_path: Path, asked_at: datetime) -> PlanRecords:
    """Read everything that a plan is made from.

    Raises
    ------
    StaleFitError
        The kept fit no longer belongs to the model or the priors.
    """
    with Store.open(store_path, read_only=True) as store:
        views = {name: store.read(name) for name in PLAN_VIEWS}
        # Nobody's level is read from the published table: his last samples say more.
        has_levels = store.read_fit(TOTAL_SPERM.name) is not None
        return PlanRecords(
            views,
            read_posterior(store, CONCEPTION),
            read_posterior(store, LITTER),
            read_posterior(store, TOTAL_SPERM).posterior if has_levels else None,
            read_storage(store),
            store.fingerprint(),
            asked_at,
        )


def chance_sources(
    records: PlanRecords, weight: RecordsWeight | None = None
) -> tuple[Sentence, ...]:
    """Where the chances come from, and how many records their fit has not seen.

    Parameters
    ----------
    records
        The records.
    weight
        What the records supply, where one chance is spoken of.
    """
    conception = records.conception
    if conception.kept is None:
        return (sentence("source.chance_published"),)
    source = chance_source_sentence(weight)
    if not conception.n_records_since:
        return (source,)
    fitted_on = conception.kept.fitted_at.date()
    return source, fit_age_sentence(conception.n_records_since, fitted_on)


def dog_row(records: PlanRecords, name: str, sex: str) -> Mapping[Any, Any]:
    """The line of one dog of the Dogs sheet.

    Raises
    ------
    RecordsError
        There is no such dog of that sex.
    """
    dogs = records.views["dogs"]
    of_sex = dogs[dogs["sex"] == sex]
    found = of_sex[of_sex["call_name"].str.casefold() == name.casefold()]
    if found.empty:
        role = "stud" if sex == "male" else "bitch"
        known_names = ", ".join(sorted(of_sex["call_name"])) or "none"
        raise RecordsError(
            f"{name!r} is no {role} of these records; known are {known_names}. Add a line to the "
            "Dogs sheet, or correct the name."
        )
    return dict(found.iloc[0])


def pair_of(
    records: PlanRecords, stud: str, bitch: str, *, clinic: str = "", on: date | None = None
) -> Pair:
    """The two dogs as the chain reads them; ages on a day, that of the question when none."""
    day = on or records.asked_at.date()
    male, female = dog_row(records, stud, "male"), dog_row(records, bitch, "female")
    shapes = raw_samples(records, male["call_name"])
    shapes = shapes[shapes["normal_morphology_pct"].notna()]
    shape = float(shapes["normal_morphology_pct"].iloc[-1]) if len(shapes) else float("nan")
    return Pair(
        stud=male["call_name"],
        bitch=female["call_name"],
        breed=_text(female["breed"]),
        clinic=clinic,
        bitch_age_years=_age_years(female, day),
        stud_age_years=_age_years(male, day),
        missed_before=_number(female["n_missed_before"]) > 0.0,
        normal_morphology_pct=shape,
    )


def dam_of(records: PlanRecords, pair: Pair, *, litter_inbreeding_pct: float | None = None) -> Dam:
    """The bitch as the size of her litter depends on her, and the inbreeding asked for. [%]"""
    female = dog_row(records, pair.bitch, "female")
    return Dam(
        bitch=pair.bitch,
        stud=pair.stud,
        breed=pair.breed,
        adult_weight_kg=_number(female["adult_weight_kg"]),
        age_years=pair.bitch_age_years,
        is_first_litter=n_litters_of(records, pair.bitch) == 0,
        inbreeding_pct=_number(female["inbreeding_pct"]),
        litter_inbreeding_pct=_number(litter_inbreeding_pct),
    )


def n_litters_of(records: PlanRecords, bitch: str) -> int:
    """Litters she has had, before the records and in them."""
    before = _number(dog_row(records, bitch, "female")["n_litters_before"])
    return len(_litters(records, bitch)) + (0 if np.isnan(before) else int(before))


def months_since_litter(records: PlanRecords, bitch: str) -> float | None:
    """Months since her last recorded litter; None when none is."""
    litters = _litters(records, bitch)
    if litters.empty:
        return None
    last = pd.to_datetime(litters["whelped_on"]).max()
    days = (pd.Timestamp(records.asked_at.date()) - last).days
    return None if pd.isna(last) else float(days / (DAYS_PER_YEAR / 12.0))


def _litters(records: PlanRecords, bitch: str) -> pd.DataFrame:
    bred = records.views["breedings"]
    whelped = bred["whelped"].fillna(False).astype(bool)
    return bred[(bred["bitch"] == bitch) & whelped]


def heat_of(records: PlanRecords, bitch: str, *, ovulation_on: date | None = None) -> Heat:
    """Her heat: the recorded one, the day that a person names, or a supposed one.

    Parameters
    ----------
    records
        The records.
    bitch
        Call name as in the records.
    ovulation_on
        Day of ovulation as a person expects it; stands above the records.
    """
    today = records.asked_at.date()
    if ovulation_on is not None:
        named = sentence("heat.named", on=ovulation_on, sd_days=DATE_SD_DAYS)
        return Heat(_on(ovulation_on), named, is_named=True)
    cycles = records.views["cycles"]
    own = cycles[
        (cycles["bitch"] == bitch) & (pd.to_datetime(cycles["first_day"]).dt.date <= today)
    ]
    own = own.sort_values("first_day")
    last = own.iloc[-1] if len(own) else None
    if last is None or (today - last["first_day"].date()).days > HEAT_DAYS:
        supposed = today + timedelta(days=NEXT_HEAT_DAYS)
        none = sentence("heat.supposed", on=supposed, sd_days=DATE_SD_DAYS)
        return Heat(_on(supposed), none)
    readings = tuple(readings_of_heat(records.views["progesterone"], int(last["cycle_id"]), today))
    first_day = last["first_day"].date()
    if not pd.isna(last["vet_ovulation_on"]):
        by_vet = last["vet_ovulation_on"].date()
        basis = sentence("heat.by_vet", on=by_vet, sd_days=DATE_SD_DAYS)
        return Heat(_on(by_vet), basis, is_named=True)
    surge = None if pd.isna(last["lh_surge_on"]) else last["lh_surge_on"].date()
    posterior = ovulation_posterior(readings, first_day=first_day, lh_surge_on=surge)
    words = sentence("heat.recorded", on=first_day, n=len(readings))
    return Heat(posterior, words, readings, first_day, surge)


def _on(day: date) -> OvulationPosterior:
    """A normal ovulation around the noon of a day."""
    return around(datetime(day.year, day.month, day.day, 12), DATE_SD_DAYS)


def around(moment: datetime, sd_days: float) -> OvulationPosterior:
    """A normal ovulation of a mean and a standard deviation [d]."""
    half = int(np.ceil(5.0 * sd_days / GRID_STEP_DAYS))
    days: Floats = GRID_STEP_DAYS * np.arange(2.0 * half + 1.0)
    weight: Floats = np.exp(-0.5 * ((days - days[half]) / sd_days) ** 2)
    origin = moment - timedelta(days=float(days[half]))
    return OvulationPosterior(origin, days, weight / weight.sum(), 0)


def raw_samples(records: PlanRecords, stud: str) -> pd.DataFrame:
    """His raw samples with measures, in order, up to the moment of the question."""
    rows = records.views["evaluations"]
    rows = rows[(rows["stud"] == stud) & (rows["stage"] == "raw") & rows["failed_reason"].isna()]
    rows = rows[rows["collected_earliest"] <= records.asked_at].sort_values("collected_earliest")
    return with_measures(rows, extra_cv=HOME_COUNT_CV)


def straws_of(records: PlanRecords, stud: str) -> tuple[Straws, ...]:
    """Lots of straws that are left of him, the oldest first."""
    lots = records.views["frozen_lots"]
    return tuple(
        Straws(
            _text(row["lot"]) or "unnamed lot",
            int(row["n_straws_left"]),
            1 if pd.isna(row["n_straws_per_dose"]) else max(1, int(row["n_straws_per_dose"])),
            _number(row["motile_per_straw_m"]),
            _number(row["post_thaw_progressive_motility_pct"]),
        )
        for row in lots[lots["stud"] == stud].sort_values("frozen_on").to_dict("records")
    )


def prices_on(records: PlanRecords) -> tuple[dict[str, float], str]:
    """Prices in force, by item, and their currency; an item without a price is left out."""
    today = pd.Timestamp(records.asked_at.date())
    rows = records.views["prices"]
    begun = pd.to_datetime(rows["valid_from"]).isna() | (
        pd.to_datetime(rows["valid_from"]) <= today
    )
    ended = pd.to_datetime(rows["valid_until"]) < today
    rows = rows[begun & ~ended].sort_values("valid_from", na_position="first")
    found: dict[str, float] = {}
    for item in PRICE_ITEMS:
        named = rows[rows["what"] == item]
        if len(named):
            found[item] = float(named["price"].iloc[-1])
    currencies = sorted(set(rows["currency"].dropna()))
    if len(currencies) > 1:
        raise RecordsError(
            f"Prices are in several currencies ({', '.join(currencies)}), which are not converted. "
            "Write the prices in force in one of them."
        )
    return found, currencies[0] if currencies else ""


def usual_shipment(records: PlanRecords, stud: str) -> tuple[str, str]:
    """The carrier that the kennel's shipments went with most, and the extender of his last one."""
    shipments = records.views["shipments"]
    carriers = shipments["carrier"].dropna().mode()
    own = shipments[shipments["stud"] == stud].sort_values("sent_earliest")["extender"].dropna()
    return (
        str(carriers.iloc[0]) if len(carriers) else "a carrier",
        str(own.iloc[-1]) if len(own) else "",
    )


def names_of(records: PlanRecords, bitches: Sequence[str]) -> list[str]:
    """Call names as in the records; all bitches in heat when none is named."""
    if bitches:
        return [str(dog_row(records, name, "female")["call_name"]) for name in bitches]
    cycles = records.views["cycles"]
    began = pd.to_datetime(cycles["first_day"]).dt.date
    today = records.asked_at.date()
    running = cycles[(began <= today) & (began > today - timedelta(days=HEAT_DAYS))]
    return sorted(set(running["bitch"]))


def _age_years(dog: Mapping[Any, Any], on: date) -> float:
    born = dog["born_on"]
    return float("nan") if pd.isna(born) else (on - born.date()).days / DAYS_PER_YEAR


def _number(value: object) -> float:
    return float("nan") if pd.isna(value) else float(value)  # type: ignore[call-overload,arg-type]


def _text(value: object) -> str:
    return "" if value is None or pd.isna(value) else str(value)  # type: ignore[call-overload]
