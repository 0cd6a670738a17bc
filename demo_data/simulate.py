"""Make the demo kennel: eight invented years of Ambertarn in the Ostrelby valley.

Nothing here is real: kennel, place, breeds, dogs, people, laboratories and carriers are made up.
The script imports nothing of the toolkit, so that a mistake cannot be shared; it writes the sheets
as an owner would have filled them in, and beside them the truth they were made from.

    python demo_data/simulate.py [--out DIR]

The outcome of a breeding follows a story that is not the toolkit's: sperm that can still fertilize
meet ova that still can be fertilized (`STORY`), without a hinge, a logit or a term for each row of
its table. What the toolkit's rows come to under this story is computed by regressing its noiseless
chances and litters on their columns (`best_fitting_rows`), and no row is typed by hand.

Two studs and three bitches were written in by hand afterwards, so that a stop, its exposures and
two pairs fit to be bred can be seen; so were the tests before natural matings. They have a random
stream of their own: nothing that was drawn before moved.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np

SEED = 20240229
START, TODAY = date(2018, 11, 1), date(2026, 10, 31)
N_BREEDINGS = 240

STORY = {
    # Ova met by sperm, saturating: half of them at so many usable sperm where they are put, and how
    # steeply; a dose far above the usual one adds little (Farstad, Fougner & Torres 1992,
    # Theriogenology, fox). The shares of each kind that are usable are set to its group's litters.
    "half_vaginal_m": 52.0, "half_intrauterine_m": 8.5, "steepness": 1.4,
    "natural_m": 650.0, "usable_fresh": 0.5, "usable_chilled": 0.33, "usable_frozen": 0.32,
    # Motility at which half of a sample's motile sperm get there, a smooth threshold: litters fall
    # off below it (Hollinshead & Hanlon 2017, Theriogenology 101:62-72). [%]
    "motile_half_fresh_pct": 42.0, "motile_half_chilled_pct": 42.0, "motile_half_frozen_pct": 28.0,
    "motile_width_pct": 9.0,
    # Fertile life outside the dog: a delay in which nothing is lost, then an exponential (J). [h]
    "fresh_delay_h": 4.0, "fresh_life_h": 30.0, "chilled_delay_h": 30.0, "chilled_life_h": 150.0,
    # A window around the best day from ovulation, as wide as sperm of that kind live (J); natural
    # matings are fertile from five days before ovulation on (Concannon, secondary). [d]
    "day_natural": 1.3, "width_natural_d": 3.4, "day_fresh": 1.7, "width_fresh_d": 2.9,
    "day_chilled": 2.5, "width_chilled_d": 2.7, "day_frozen": 3.4, "width_frozen_d": 1.5,
    # Aging of the ova: when half are lost, and how fast; litters of 4.3, 4.0 and 2.5 on successive
    # late days (Tsutsui 2009, Reprod Domest Anim 44). [d]
    "ova_half_d": 9.7, "ova_width_d": 1.6,
    # Log hazard of a pregnancy with every ovum met, and what takes from it (J).
    "level": 1.14, "bitch_ages_at_years": 10.0, "missed_before": -0.55, "stud_ages_at_years": 14.0,
    "level_frozen": -0.25, "bitch_sd": 0.24, "stud_sd": 0.16, "breed_sd": 0.14,
    # Log litter with every ovum met, by size (Borge et al. 2011, Theriogenology 75:911-919 (M)),
    # and what takes from it.
    "pups_small": 1.46, "pups_medium": 1.84, "pups_large": 2.01, "pups_by_sperm": 0.24,
    "pups_by_age_sq": -0.0035, "pups_first": -0.07, "pups_frozen": -0.12,
    "dam_sd": 0.13, "sire_sd": 0.06,
}  # fmt: skip
"""What decides a breeding here: one plausible kennel's, set so that the rows of the toolkit that it
comes to lie among the published ones (a test holds it there)."""

TRUE = {
    "c02": 2.5, "l13": 0.2, "l14": -2.75, "l14_size": 0.08, "l15": -3.0,
    "s01_hours": 170.0, "s02_milk": 0.5, "s03": 1.5,
    "r01_sd_pct": 8.0, "r02_cv": 0.06,
    "q01_within": 0.40, "q02_within": 0.4, "q03_days": 2.5, "q03_deficit": 0.30, "q04": 0.08,
}  # fmt: skip
"""What story and toolkit both speak of, under the ids of the toolkit's table of priors."""

SCAN_SENSITIVITY, SCAN_SPECIFICITY = 0.97, 0.99
THAWED_PCT = 50.0
"""Progressive motility after thaw of every lot. [%]"""

EVALUATOR_BIAS_PCT = {"Ida": 0.0, "Rolf": 8.0, "Dr. Sund": 0.0}
LABORATORIES = {"Vessel Lab": ("ng/mL", 1.0), "Norra Analys": ("nmol/L", 0.75)}
"""Unit and scale: Norra Analys reads three quarters of what Vessel Lab reads."""
NMOL_PER_NG = 3.1801

PROFILE_HOURS = (-120, -56, -40, -24, -16, -8, 0, 24, 48, 72, 120, 192, 480)
PROFILE_NG_PER_ML = (0.5, 0.7, 0.9, 1.2, 1.4, 1.5, 2.65, 3.2, 5.1, 7.2, 13.0, 22.0, 30.0)
"""Mean progesterone by hours from the LH peak: Concannon 1977 to the peak and the day after it,
Hollinshead & Hanlon 2019 to three days; the later rise is this scenario's own."""

FEVER_ON = date(2024, 3, 4)
FEVER_DIP = ((0, 0.0), (17, 0.0), (27, math.log(0.35)), (45, math.log(0.35)), (76, 0.0))
"""Days since the fever and change of log total sperm; deepest in the weeks 4 to 7, over within one
spermatogenic cycle of its onset."""
AGEING_FROM_YEARS, AGEING_PER_YEAR = 7.0, -0.20


@dataclass
class Stud:
    """An invented stud and the truth about his semen."""

    name: str
    born: date
    log_total_m: float
    motility_logit: float
    normal_logit: float
    ages: bool = False
    fever: bool = False
    effect: float = 0.0
    litter_effect: float = 0.0
    collections: dict[date, Sample] = field(default_factory=dict)


@dataclass
class Sample:
    """One collection, as it was."""

    stud: Stud
    on: date
    destination: str
    failed: str = ""
    total_m: float = 0.0
    motile_share: float = 0.0
    normal_share: float = 0.0
    volume_ml: float = 0.0
    extender: str = ""
    n_doses: int = 0


@dataclass
class Bitch:
    """An invented bitch and the truth about her."""

    name: str
    born: date
    breed: str
    weight_kg: float
    owner: str
    clinic: str
    missed_before: bool
    litters_before: int
    effect: float
    dam_effect: float


@dataclass
class Breeding:
    """One breeding, from the first day of the heat to eight weeks."""

    bitch: Bitch
    stud: Stud
    first_day: date
    ovulation: datetime
    semen: str
    route: str
    days: list[date]
    times: list[str]
    collected_on: date | None = None
    arrived_on: date | None = None
    promised_on: date | None = None
    arrived_at: str = ""
    true_dose_m: float | None = None
    n_straws: int = 0
    first_litter: bool = False


STUDS = (
    Stud("Bracken", date(2015, 6, 3), math.log(950), 1.45, 1.25, ages=True),
    Stud("Tarn", date(2016, 4, 18), math.log(720), 1.30, 1.15, fever=True),
    Stud("Sorrel", date(2016, 2, 9), math.log(620), 1.05, 0.95),
    Stud("Merle", date(2017, 9, 27), math.log(820), 1.60, 1.45),
    Stud("Pike", date(2019, 5, 12), math.log(560), 1.25, 1.35),
)
BREEDS = {"Ostrel Spaniel": 22.0, "Hollin Terrier": 8.0, "Karrow Hound": 34.0}
BITCH_NAMES = """
Alder Anise Aster Avens Birch Bryony Burnet Calla Campion Cicely Clover Comfrey Coral Cress Dahlia
Damson Dill Dulse Elder Elma Fern Fescue Flax Furze Gale Gentian Hazel Heath Hyssop Iris Ivy Juniper
Kelp Larch Laurel Lilac Linden Lovage Madder Mallow Melick Mint Myrtle Nettle Olive Oxlip Peony Pine
Primrose Quince Rue Saffron Sage Sedge Senna Sorbus Tansy Thyme Vetch Willow
""".split()  # noqa: SIM905
CLINICS = ("Osterby Animal Clinic", "Lindal Veterinarians", "Two Bridges Clinic")
CARRIERS = ("Night Coach", "Valley Parcel")
FROZEN_SESSIONS = (date(2018, 11, 12), date(2020, 10, 5), date(2022, 9, 19), date(2024, 10, 7))

HERON = Stud("Heron", date(2022, 7, 6), math.log(600), 1.4, 1.3)
"""His last test for *Brucella* is suspect."""
TEASEL = Stud("Teasel", date(2021, 4, 7), math.log(600), 1.3, 1.2)
"""His counts fell to none."""
ADDED_PARENTS = {
    "Heron": ("Merle", "Elder"), "Teasel": ("Pike", "Dulse"), "Yarrow": ("Tarn", "Coral"),
    "Whin": ("Bracken", "Calla"),
}  # fmt: skip
"""Sire and dam: each was born in one of the kennel's own litters of the Breedings sheet."""


def added_bitch(name: str, born: date, weight_kg: float, owner: str, clinic: str = "") -> Bitch:
    """A bitch that is written in by hand: nothing is drawn of her."""
    return Bitch(name, born, "Ostrel Spaniel", weight_kg, owner, clinic, False, 0, 0.0, 0.0)


WOAD = added_bitch("Woad", date(2022, 3, 19), 22.4, "Owner 37", "Lindal Veterinarians")
YARROW = added_bitch("Yarrow", date(2023, 4, 3), 20.9, "Ambertarn")
WHIN = added_bitch("Whin", date(2022, 9, 22), 21.5, "Ambertarn")
"""Woad and Yarrow were bred by Heron before his test; Whin is in heat and fit to be bred."""

SUSPECT_ON = date(2026, 10, 13)
ADDED_SAMPLES = (
    # Stud, day, volume [mL], cells counted in 0.8 nL after dilution, % forward, % normal, reader,
    # where it went, doses.
    ("Teasel", date(2024, 9, 16), 2.8, 160, 80, 80, "Ida", "evaluation only", 0),
    ("Teasel", date(2024, 12, 9), 2.5, 205, 80, 0, "Ida", "evaluation only", 0),
    ("Teasel", date(2025, 3, 10), 2.9, 163, 80, 77, "Dr. Sund", "evaluation only", 0),
    ("Teasel", date(2025, 5, 19), 2.6, 201, 70, 0, "Ida", "evaluation only", 0),
    ("Teasel", date(2025, 7, 22), 2.4, 176, 80, 75, "Ida", "own bitch", 1),
    ("Teasel", date(2025, 12, 10), 2.5, 86, 70, 66, "Ida", "own bitch", 1),
    ("Teasel", date(2026, 3, 9), 2.7, 40, 60, 52, "Ida", "evaluation only", 0),
    ("Teasel", date(2026, 5, 18), 2.6, 7, 30, 0, "Ida", "evaluation only", 0),
    ("Teasel", date(2026, 8, 10), 2.4, 0, 0, 0, "Ida", "evaluation only", 0),
    ("Teasel", date(2026, 10, 5), 2.6, 0, 0, 0, "Dr. Sund", "evaluation only", 0),
    ("Heron", date(2025, 2, 10), 2.9, 171, 80, 79, "Ida", "evaluation only", 0),
    ("Heron", date(2025, 6, 16), 2.6, 190, 80, 0, "Ida", "evaluation only", 0),
    ("Heron", date(2025, 10, 13), 3.0, 150, 70, 81, "Ida", "evaluation only", 0),
    ("Heron", date(2026, 2, 16), 2.7, 181, 80, 0, "Dr. Sund", "evaluation only", 0),
    ("Heron", date(2026, 5, 18), 2.8, 176, 80, 78, "Ida", "frozen", 4),
    ("Heron", date(2026, 6, 24), 2.5, 188, 80, 0, "Ida", "shipped", 2),
    ("Heron", date(2026, 9, 28), 2.6, 185, 80, 80, "Ida", "evaluation only", 0),
)
HERON_LOT = {"Frozen on": "2026-05-18", "Lot": "HE-2605", "Straws": 12}

INTERVAL_DAYS = 180
"""How often this kennel repeats the test for *Brucella*; its Intervals sheet says so."""
TESTED_BEFORE_HEAT_DAYS = 60
"""A bitch tested so short before her mating is not tested again."""
LAPSED = {"Sorrel": (date(2025, 3, 12), date(2025, 10, 2))}
"""Whose tests lapse at the end: after these two there is none."""


def expit(x: float) -> float:
    """Inverse logit."""
    return 1.0 / (1.0 + math.exp(-x))


def make_bitches(rng: np.random.Generator) -> list[Bitch]:
    """Sixty bitches: the kennel's own spaniels, and visitors of three breeds."""
    bitches = []
    for i, name in enumerate(BITCH_NAMES):
        own = i < 24
        breed = "Ostrel Spaniel" if own or i < 38 else ("Hollin Terrier", "Karrow Hound")[i % 2]
        born = date(2014, 6, 1) + timedelta(days=int(rng.integers(0, 3100)))
        bitches.append(
            Bitch(
                name,
                born,
                breed,
                round(float(BREEDS[breed] * rng.normal(1.0, 0.07)), 1),
                "Ambertarn" if own else f"Owner {i - 23}",
                "" if own else CLINICS[int(rng.integers(len(CLINICS)))],
                bool(rng.random() < 0.17),
                int(rng.integers(0, 3)) if born < date(2016, 6, 1) else 0,
                float(rng.normal(0.0, STORY["bitch_sd"])),
                float(rng.normal(0.0, STORY["dam_sd"])),
            )
        )
    return bitches


def heats_to_breed(rng: np.random.Generator, bitch: Bitch) -> list[date]:
    """First days of four heats at which the bitch is bred, in her fertile years."""
    first = max(START, bitch.born + timedelta(days=500)) + timedelta(days=int(rng.integers(0, 200)))
    last = min(TODAY - timedelta(days=18), bitch.born + timedelta(days=int(8.8 * 365)))
    heats = []
    while first < last:
        heats.append(first)
        first += timedelta(days=int(rng.normal(206, 18)))
    chosen = sorted(rng.permutation(len(heats))[: N_BREEDINGS // len(BITCH_NAMES)])
    return [heats[i] for i in chosen]


def choose_method(rng: np.random.Generator, bitch: Bitch, on: date) -> tuple[str, str]:
    """Semen and route; old bitches and those that missed are given frozen more often."""
    special = bitch.missed_before or (on - bitch.born).days > 6 * 365
    own = bitch.owner == "Ambertarn"
    weights = {
        "natural": 0.45 if own else 0.12,
        "fresh": 0.40 if own else 0.13,
        "chilled": 0.0 if own else 0.58,
        "frozen": (0.45 if special else 0.12) if own else (0.50 if special else 0.14),
    }
    shares = np.array(list(weights.values()))
    semen = str(rng.choice(list(weights), p=shares / shares.sum()))
    if semen == "natural":
        return semen, "natural"
    vaginal = {"fresh": 0.75, "chilled": 0.55, "frozen": 0.25}[semen]
    return semen, "vaginal" if rng.random() < vaginal else "transcervical"


def clock(rng: np.random.Generator) -> str:
    """A time of day in working hours, to five minutes."""
    return f"{int(rng.integers(8, 18)):02d}:{int(rng.integers(0, 12)) * 5:02d}"


def plan_breeding(rng: np.random.Generator, bitch: Bitch, first_day: date) -> Breeding:
    """Choose stud, method and days around the true ovulation, with the errors people make."""
    of_age = [stud for stud in STUDS if (first_day - stud.born).days > 560]
    stud = of_age[int(rng.integers(len(of_age)))]
    lag_days = float(np.clip(rng.normal(11.0, 2.4), 5.0, 20.0))
    ovulation = datetime.combine(first_day, datetime.min.time()) + timedelta(days=lag_days)
    semen, route = choose_method(rng, bitch, first_day)
    aim = {"natural": 0.6, "fresh": 1.6, "chilled": 2.2, "frozen": 3.0}[semen]
    spread = {"natural": 1.2, "fresh": 1.1, "chilled": 1.1, "frozen": 0.8}[semen]
    offset = aim + float(rng.normal(0.0, spread))
    if rng.random() < 0.07:
        offset += float(rng.choice([-3.5, 3.5]))
    target = ovulation + timedelta(days=offset)
    breeding = Breeding(bitch, stud, first_day, ovulation, semen, route, [], [])
    first = target.date()
    if semen == "chilled":
        breeding.collected_on = first - timedelta(days=1)
        breeding.promised_on = first
        late = int(rng.choice([0, 1, 3], p=[0.89, 0.08, 0.03]))
        breeding.arrived_on = first + timedelta(days=late)
        breeding.arrived_at = f"{int(rng.integers(9, 14)):02d}:{int(rng.integers(0, 4)) * 15:02d}"
        first = breeding.arrived_on
    if semen == "fresh":
        breeding.collected_on = first
    breeding.days, breeding.times = [first], [clock(rng)]
    again = {"natural": 0.7, "fresh": 0.45, "chilled": 0.25, "frozen": 0.45}[semen]
    if rng.random() < again:
        gap = 1 if semen in ("frozen", "chilled") else 2
        breeding.days.append(first + timedelta(days=gap))
        breeding.times.append(clock(rng))
    return breeding


def plan_collections(rng: np.random.Generator, breedings: list[Breeding]) -> None:
    """Days on which each stud is collected: for breedings, for the tank, and to look at him."""
    for breeding in breedings:
        if breeding.collected_on:
            sample = breeding.stud.collections.setdefault(
                breeding.collected_on,
                Sample(breeding.stud, breeding.collected_on, "own bitch"),
            )
            if breeding.semen == "chilled":
                sample.destination = "shipped"
    for stud in STUDS:
        ready = max(START, stud.born + timedelta(days=480))
        for session in FROZEN_SESSIONS:
            if session > ready:
                stud.collections.setdefault(session, Sample(stud, session, "frozen"))
        on = ready + timedelta(days=int(rng.integers(1, 20)))
        while on < TODAY - timedelta(days=2):
            stud.collections.setdefault(on, Sample(stud, on, "evaluation only"))
            on += timedelta(days=max(1, int(rng.gamma(6.0, 4.0))))
        if stud.fever:
            for week in range(-3, 15):
                check = FEVER_ON + timedelta(days=7 * week)
                if week not in (0,):
                    stud.collections.setdefault(check, Sample(stud, check, "evaluation only"))


def log_change(stud: Stud, on: date) -> float:
    """What age and illness do to the log of total sperm on a day."""
    change = 0.0
    if stud.ages:
        age_years = (on - stud.born).days / 365.25
        change += AGEING_PER_YEAR * max(0.0, age_years - AGEING_FROM_YEARS)
    if stud.fever:
        days, logs = zip(*FEVER_DIP, strict=True)
        change += float(np.interp((on - FEVER_ON).days, days, logs))
    return change


def collect(rng: np.random.Generator) -> None:
    """Give every planned collection its true sample, in order of days."""
    for stud in STUDS:
        last: date | None = None
        for on in sorted(stud.collections):
            sample = stud.collections[on]
            routine = sample.destination == "evaluation only"
            if routine and rng.random() < 0.03:
                reasons = ["no erection", "refused", "nothing", "stopped for pain"]
                sample.failed = str(rng.choice(reasons, p=[0.4, 0.35, 0.22, 0.03]))
                if (TODAY - on).days < 120 and sample.failed == "stopped for pain":
                    sample.failed = "refused"
                continue
            rest_days = (on - last).days if last else 20
            last = on
            deficit = TRUE["q03_deficit"] * math.exp(-(rest_days - 1) / TRUE["q03_days"])
            season = TRUE["q04"] * math.cos(2 * math.pi * (on.timetuple().tm_yday - 30) / 365.25)
            dip = log_change(stud, on)
            fever_share = dip / math.log(0.35) if stud.fever else 0.0
            log_total = stud.log_total_m + dip + math.log(1 - deficit) + season
            sample.total_m = math.exp(log_total + rng.normal(0.0, TRUE["q01_within"]))
            sample.motile_share = expit(
                stud.motility_logit - 0.7 * fever_share + rng.normal(0.0, TRUE["q02_within"])
            )
            sample.normal_share = expit(
                stud.normal_logit
                - 0.8 * fever_share
                + (0.35 * dip if stud.ages else 0.0)
                + rng.normal(0.0, 0.25)
            )
            sample.volume_ml = float(np.round(math.exp(rng.normal(math.log(2.6), 0.3)), 1))


def kept_share(hours: float, extender: str) -> float:
    """Share of motility left after chilled storage."""
    scale = TRUE["s01_hours"] * (TRUE["s02_milk"] if extender == "milk" else 1.0)
    return math.exp(-((hours / scale) ** TRUE["s03"]))


def give_doses(rng: np.random.Generator, breedings: list[Breeding]) -> None:
    """Split the samples into doses; what reaches the bitch is the true dose."""
    for breeding in breedings:
        if breeding.semen == "frozen":
            breeding.n_straws = int(rng.choice([2, 3, 4]))
            breeding.true_dose_m = breeding.n_straws * 34.0 * math.exp(rng.normal(0.0, 0.3))
        elif breeding.collected_on:
            sample = breeding.stud.collections[breeding.collected_on]
            motile_m = sample.total_m * sample.motile_share
            wanted_m = 220.0 if breeding.semen == "chilled" else 380.0
            sample.n_doses = int(np.clip(motile_m / wanted_m, 1, 3))
            kept = 1.0
            if breeding.semen == "chilled":
                sample.extender = sample.extender or str(
                    rng.choice(["egg yolk", "milk"], p=[0.75, 0.25])
                )
                kept = kept_share(stored_hours(breeding), sample.extender)
            breeding.true_dose_m = motile_m / sample.n_doses * kept


def stored_hours(breeding: Breeding) -> float:
    """Hours from the collection, at ten in the morning, to the first insemination."""
    collected = datetime.combine(breeding.collected_on or breeding.days[0], datetime.min.time())
    hour, minute = map(int, breeding.times[0].split(":"))
    used = datetime.combine(breeding.days[0], datetime.min.time())
    used += timedelta(hours=hour, minutes=minute)
    return max(0.0, (used - collected - timedelta(hours=10)).total_seconds() / 3600)


def insemination_days(breeding: Breeding) -> list[float]:
    """Days from true ovulation to each insemination."""
    days = []
    for on, at in zip(breeding.days, breeding.times, strict=True):
        hour, minute = map(int, at.split(":"))
        moment = datetime.combine(on, datetime.min.time()) + timedelta(hours=hour, minutes=minute)
        days.append((moment - breeding.ovulation).total_seconds() / 86400)
    return days


@dataclass(frozen=True)
class Circumstances:
    """All of one breeding that the story reads.

    Dose and motility are those when inseminated; days count from ovulation, hours from the
    collection; log effects are of bitch, stud and breed on her level, of dam and sire on the pups.
    """

    semen: str
    route: str
    days: tuple[float, ...]
    dose_m: float
    motile_pct: float
    hours: float
    volume_ml: float
    normal_pct: float
    bitch_age_years: float
    stud_age_years: float
    missed_before: bool
    size: str
    first_litter: bool
    effects: dict[str, float]


def circumstances_of(breeding: Breeding, breed_effect: float) -> Circumstances:
    """What was true of a breeding, whether anybody wrote it down or not."""
    bitch, stud, on = breeding.bitch, breeding.stud, breeding.days[0]
    hours, motile_pct, dose_m = 0.0, 100.0, STORY["natural_m"]
    if breeding.semen != "natural":
        dose_m, motile_pct = breeding.true_dose_m or 1.0, THAWED_PCT
    if breeding.collected_on and breeding.semen != "natural":
        sample, hours = stud.collections[breeding.collected_on], stored_hours(breeding)
        kept = kept_share(hours, sample.extender) if breeding.semen == "chilled" else 1.0
        motile_pct = 100.0 * sample.motile_share * kept
    shapes = [
        sample.normal_share
        for day, sample in stud.collections.items()
        if day <= on and not sample.failed
    ]
    return Circumstances(
        breeding.semen, breeding.route, tuple(insemination_days(breeding)), dose_m, motile_pct,
        hours, 4.0, 100.0 * shapes[-1] if shapes else 75.0,
        (on - bitch.born).days / 365.25, (on - stud.born).days / 365.25, bitch.missed_before,
        "small" if bitch.weight_kg < 10 else "medium" if bitch.weight_kg < 25 else "large",
        breeding.first_litter,
        {
            "bitch": bitch.effect, "stud": stud.effect, "breed": breed_effect,
            "dam": bitch.dam_effect, "sire": stud.litter_effect,
        },
    )  # fmt: skip


def fertile_sperm(of: Circumstances, day: float) -> float:
    """Sperm of one insemination that meet ripe ova, in units that fertilize half of them.

    Motile sperm, as far as their shape and the motility of the sample let them get there, as far as
    their fertile life outside the dog has not run out, and as far as the day is theirs.
    """
    mated = of.semen == "natural"
    half_m = STORY[f"half_{'intrauterine' if of.route == 'transcervical' else 'vaginal'}_m"]
    sperm_m = of.dose_m * of.normal_pct / 75.0
    if not mated:
        beyond_pct = of.motile_pct - STORY[f"motile_half_{of.semen}_pct"]
        sperm_m *= STORY[f"usable_{of.semen}"] * expit(beyond_pct / STORY["motile_width_pct"])
    if of.semen in ("fresh", "chilled"):
        # A second dose of one sample is a day older.
        aged_h = of.hours + (24.0 * (day - of.days[0]) if of.semen == "chilled" else 0.0)
        beyond_h = max(0.0, aged_h - STORY[f"{of.semen}_delay_h"])
        sperm_m *= math.exp(-beyond_h / STORY[f"{of.semen}_life_h"])
    off = (day - STORY[f"day_{of.semen}"]) / STORY[f"width_{of.semen}_d"]
    return sperm_m / half_m * math.exp(-0.5 * off**2)


def fertile_ova(day: float) -> float:
    """Share of her ova that can still be fertilized so many days after ovulation."""
    return expit((STORY["ova_half_d"] - day) / STORY["ova_width_d"])


def fertilized(of: Circumstances) -> tuple[float, float]:
    """Share of the fertile ova that sperm reach, saturating; and the share that were fertile.

    Sperm of all inseminations add up; the ova are those of the insemination that brought most.
    """
    sperm = [fertile_sperm(of, day) for day in of.days]
    together = sum(sperm)
    reached = together ** STORY["steepness"]
    return reached / (1.0 + reached), fertile_ova(of.days[int(np.argmax(sperm))])


def pregnant_prob(of: Circumstances) -> float:
    """Chance of a pregnancy: one less what a hazard in proportion to the fertilized ova leaves."""
    log_hazard = STORY["level"] + sum(of.effects[who] for who in ("bitch", "stud", "breed"))
    log_hazard -= (of.bitch_age_years / STORY["bitch_ages_at_years"]) ** 4
    log_hazard -= (of.stud_age_years / STORY["stud_ages_at_years"]) ** 4
    log_hazard += STORY["missed_before"] * of.missed_before
    log_hazard += STORY["level_frozen"] * (of.semen == "frozen")
    reached, fertile = fertilized(of)
    return 1.0 - math.exp(-math.exp(log_hazard) * reached * fertile)


def litter_log_mean(of: Circumstances) -> float:
    """Log mean of total born: aged ova are lost, scarce sperm take a part."""
    reached, fertile = fertilized(of)
    log_mean = STORY[f"pups_{of.size}"] + of.effects["dam"] + of.effects["sire"]
    log_mean += math.log(fertile) + STORY["pups_by_sperm"] * math.log(reached)
    log_mean += STORY["pups_by_age_sq"] * max(0.0, of.bitch_age_years - 3.0) ** 2
    log_mean += STORY["pups_frozen"] * (of.semen == "frozen")
    return log_mean + STORY["pups_first"] * of.first_litter


EDGES_EARLY = {"natural": -2.0, "fresh": -2.0, "chilled": 0.0, "frozen": 2.5}
EDGES_LATE = {"natural": 5.0, "vaginal": 5.0, "transcervical": 6.0}
USUAL_DOSE_M = {"vaginal": 200.0, "transcervical": 100.0}
USUAL_MOTILITY_PCT = {"fresh": 65.0, "chilled": 65.0, "frozen": 45.0}
"""What the toolkit's table counts from; read only to say what its rows come to here."""

N_LIKE_IT = 40
"""Breedings by the kennel's habits for each of its own, from which rows are regressed."""


def bent(x: float) -> float:
    """Positive part with a bend a quarter of a unit wide, as the toolkit's rows have it."""
    return 0.25 * float(np.logaddexp(0.0, 4.0 * x))


def like_it(rng: np.random.Generator, of: Circumstances) -> Circumstances:
    """Another breeding by the same habits: its day, dose, motility and hours fall otherwise."""
    shift = float(rng.normal(0.0, 0.9))
    odds = math.log(of.motile_pct / (100.0 - of.motile_pct)) if of.motile_pct < 100.0 else 9.0
    moved = odds + float(rng.normal(0.0, 0.4))
    return replace(
        of,
        days=tuple(day + shift for day in of.days),
        dose_m=of.dose_m * math.exp(rng.normal(0.0, 0.5)),
        motile_pct=of.motile_pct if of.semen in ("natural", "frozen") else 100.0 * expit(moved),
        hours=max(0.0, of.hours + float(rng.uniform(-12.0, 8.0))),
        volume_ml=float(rng.uniform(3.0, 6.0)),
    )


def toolkit_columns(of: Circumstances) -> dict[str, float]:
    """What each row of the toolkit's table is multiplied by, for a breeding of this story."""
    inseminated, frozen, deep = of.semen != "natural", of.semen == "frozen", of.route != "vaginal"
    doublings = math.log2(of.dose_m / USUAL_DOSE_M[of.route]) if inseminated else 0.0
    short = USUAL_MOTILITY_PCT.get(of.semen, -np.inf) - of.motile_pct
    kind = "fresh" if of.semen == "natural" else of.semen
    where = "intrauterine" if of.route == "transcervical" else "vaginal"
    day = of.days[int(np.argmax([fertile_sperm(of, day) for day in of.days]))]
    early, late = bent(EDGES_EARLY[of.semen] - day), bent(day - EDGES_LATE[of.route])
    old_days = float(np.clip(of.hours / 24.0, 1.0, 3.0)) - 1.0
    old_hours = float(np.clip(of.hours, 1.0, 24.0)) - 1.0
    concentrated = math.log2(of.dose_m / of.volume_ml / 50.0)
    chilled = of.semen == "chilled"
    columns: dict[str, float] = {
        "c01": 1.0, "c03": inseminated, "c04": inseminated and deep, "c05": chilled, "c06": frozen,
        "c07": frozen and not deep, "c09": len(of.days) > 1,
        "c10": -inseminated * bent(-doublings), "c11": inseminated * bent(doublings),
        "c12": chilled * old_days, "c13": max(0.0, 70.0 - of.normal_pct) / 10.0,
        "c14": max(0.0, of.bitch_age_years - 5.0), "c15": of.missed_before,
        "c16": max(0.0, of.stud_age_years - 8.0), f"c17_{kind}": early, f"c18_{where}": late,
        "c19": frozen * (math.exp(-0.5 * ((day - 3.3) / 0.7) ** 2) - 1.0),
        "c23": bent(short / 10.0) if inseminated else 0.0,
        "c24": chilled * float(np.clip(concentrated, -3.0, 3.0)),
        "c25": (of.semen == "fresh") * old_hours / 6.0,
        "c26": chilled * max(0.0, 24.0 - of.hours) / 6.0,
        "c20_bitch": of.effects["bitch"] / STORY["bitch_sd"],
        "c20_stud": of.effects["stud"] / STORY["stud_sd"],
        "c20_breed": of.effects["breed"] / STORY["breed_sd"],
        f"l01_{of.size}": 1.0, "l03": inseminated, "l04": chilled, "l05": frozen,
        "l06": inseminated and deep, "l07": len(of.days) > 1,
        "l08": -bent(-math.log2(of.dose_m / 100.0)) if inseminated else 0.0,
        "l09": max(0.0, of.bitch_age_years - 4.0), "l10": of.first_litter,
        "l16": early, "l17": late,
        "l18": chilled * old_days + (of.semen == "fresh") * old_hours / 12.0,
        "l12_dam": of.effects["dam"] / STORY["dam_sd"],
        "l12_stud": of.effects["sire"] / STORY["sire_sd"],
    }  # fmt: skip
    return columns | {"l19": columns["c23"]}


def of_these_habits(
    breedings: list[Breeding], breed_effect: dict[str, float]
) -> list[Circumstances]:
    """Breedings as the kennel's own are, :data:`N_LIKE_IT` for each."""
    rng = np.random.default_rng((SEED, 7))
    bred = [circumstances_of(one, breed_effect[one.bitch.breed]) for one in breedings]
    return [like_it(rng, of) for of in bred for _ in range(N_LIKE_IT)]


def best_fitting_rows(bred: list[Circumstances]) -> dict[str, float]:
    """What the toolkit's rows come to when they are fitted to the story's chances and litters.

    No outcome is drawn: the rows of the chain are a logistic regression on the chances themselves,
    those of litter size a log-linear one on the mean litters, weighted by the chance of one. With
    ever more breedings of these habits an estimate of such a model runs to these values (White
    1982, Econometrica 50:1-25 (M)).
    """
    columns = [toolkit_columns(of) for of in bred]
    names = sorted({name for row in columns for name in row})
    chance = np.array([pregnant_prob(of) for of in bred])
    found = {}
    for head in ("c", "l"):
        rows = [name for name in names if name.startswith(head)]
        design = np.array([[float(row.get(name, 0.0)) for name in rows] for row in columns])
        if head == "c":
            answer, weight, value = chance, np.ones(len(bred)), np.zeros(len(rows))
        else:
            answer, weight = np.exp([litter_log_mean(of) for of in bred]), chance
            value = np.array([name.startswith("l01") * math.log(6.0) for name in rows])
        for _ in range(40):  # Newton's steps
            fit = np.exp(design @ value)
            fit, slope = (fit / (1.0 + fit), fit / (1.0 + fit) ** 2) if head == "c" else (fit, fit)
            curvature = design.T @ (design * (weight * slope)[:, None])
            value = value + np.linalg.solve(curvature, design.T @ (weight * (answer - fit)))
        found |= dict(zip(rows, value.tolist(), strict=True))
    return found


def draw_litter(rng: np.random.Generator, mean: float) -> int:
    """Draw from a Conway-Maxwell-Poisson litter size of that mean, none of it zero."""
    nu = math.exp(TRUE["l13"])
    log_rate = nu * math.log(mean + (nu - 1) / (2 * nu))
    sizes = np.arange(1, 31)
    log_weight = sizes * log_rate - nu * np.array([math.lgamma(size + 1) for size in sizes])
    weight = np.exp(log_weight - log_weight.max())
    return int(rng.choice(sizes, p=weight / weight.sum()))


def write(path: Path, rows: list[dict[str, object]]) -> None:
    """Write one sheet; the headings are those of the first row."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def dogs_sheet(rng: np.random.Generator, bitches: list[Bitch]) -> list[dict[str, object]]:
    """The Dogs sheet."""
    rows: list[dict[str, object]] = []
    for i, stud in enumerate(STUDS):
        rows.append(
            dog_row(
                stud.name, "male", stud.born, "Ostrel Spaniel", 23.5, f"900000001{i:06d}",
                "Ambertarn", "", "", round(float(rng.uniform(1, 9)), 1),
            )
        )  # fmt: skip
    for i, bitch in enumerate(bitches):
        rows.append(
            dog_row(
                bitch.name, "female", bitch.born, bitch.breed, bitch.weight_kg,
                f"900000002{i:06d}" if rng.random() < 0.8 else "", bitch.owner,
                bitch.litters_before or "", 1 if bitch.missed_before else "",
                round(float(rng.uniform(0, 12)), 1) if rng.random() < 0.6 else "",
            )
        )  # fmt: skip
    return rows + added_dogs()


def added_dogs() -> list[dict[str, object]]:
    """The dogs that were written in by hand, with their parents."""
    chips = {"male": f"900000001{len(STUDS):06d}", "female": f"900000002{len(BITCH_NAMES):06d}"}
    rows = []
    for sex, dogs in (("male", (HERON, TEASEL)), ("female", (WOAD, YARROW, WHIN))):
        for i, dog in enumerate(dogs):
            weight_kg = dog.weight_kg if isinstance(dog, Bitch) else 23.5
            owner = dog.owner if isinstance(dog, Bitch) else "Ambertarn"
            sire, dam = ADDED_PARENTS.get(dog.name, ("", ""))
            row = dog_row(
                dog.name, sex, dog.born, "Ostrel Spaniel", weight_kg, str(int(chips[sex]) + i),
                owner, "", "", "",
            )  # fmt: skip
            rows.append(row | {"Sire": sire, "Dam": dam})
    return rows


def dog_row(
    name: str, sex: str, born: date, breed: str, weight_kg: float, chip: str, owner: str,
    litters: object, missed: object, inbreeding_pct: object,
) -> dict[str, object]:  # fmt: skip
    """One line of the Dogs sheet."""
    return {
        "Dog": name, "Registered name": f"Ambertarn {name}" if owner == "Ambertarn" else "",
        "Sex": sex, "Born": born.isoformat(), "Breed": breed, "Adult weight (kg)": weight_kg,
        "Chip": chip, "Registry number": "", "Sire": "", "Dam": "",
        "Inbreeding (%)": inbreeding_pct, "Owner": owner, "Litters before": litters,
        "Missed heats before": missed, "Notes": "",
    }  # fmt: skip


def collections_sheet(rng: np.random.Generator) -> list[dict[str, object]]:
    """The Collections sheet: what was read, by whom and how, with the gaps of real life."""
    rows = [((on, stud), added_collection(stud, on, *read)) for stud, on, *read in ADDED_SAMPLES]
    samples = [sample for stud in STUDS for sample in stud.collections.values()]
    for sample in sorted(samples, key=lambda sample: (sample.on, sample.stud.name)):
        rows.append(((sample.on, sample.stud.name), collection_row(rng, sample)))
    return [row for _, row in sorted(rows, key=lambda row: row[0])]


def added_collection(
    stud: str, on: date, volume_ml: float, n_cells: int, forward_pct: int, normal_pct: int,
    reader: str, destination: str, n_doses: int,
) -> dict[str, object]:  # fmt: skip
    """A collection that was written in by hand; without sperm there is no motility to read."""
    row: dict[str, object] = dict.fromkeys(COLLECTION_HEADINGS, "")
    row |= {
        "Dog": stud, "Date": on.isoformat(), "Volume (mL)": f"{volume_ml:.1f}",
        "Concentration (M/mL)": f"{n_cells / 0.8:.0f}", "Cells counted": n_cells,
        "How counted": "chamber", "Appearance": "normal", "Evaluator": reader,
        "Doses made": n_doses or "", "Where they went": destination,
    }  # fmt: skip
    if n_cells:
        row |= {"Progressive motility (%)": forward_pct, "How motility was evaluated": "by eye"}
        if reader == "Dr. Sund":
            row |= {"How motility was evaluated": "counted", "Sperm evaluated for motility": 200}
    else:
        row["Notes"] = "no sperm in the pellet either"
    if normal_pct:
        row |= {"Normal morphology (%)": normal_pct, "Sperm evaluated for morphology": 100}
    if destination in ("frozen", "shipped"):
        row["Extender"] = "egg yolk"
    return row


def collection_row(rng: np.random.Generator, sample: Sample) -> dict[str, object]:
    """One line of the Collections sheet."""
    row: dict[str, object] = dict.fromkeys(
        (
            "Dog", "Date", "Time", "Result", "Volume (mL)", "Concentration (M/mL)", "Cells counted",
            "How counted", "Total motility (%)", "Progressive motility (%)",
            "How motility was evaluated", "Sperm evaluated for motility", "Normal morphology (%)",
            "Sperm evaluated for morphology", "Appearance", "Evaluator", "Extender", "Doses made",
            "Where they went", "Notes",
        ),
        "",
    )  # fmt: skip
    row["Dog"], row["Date"] = sample.stud.name, sample.on.isoformat()
    if rng.random() < 0.03:
        row["Date"] = f"{sample.on.day} {sample.on:%b %Y}"
    if rng.random() < 0.4:
        row["Time"] = clock(rng)
    if sample.failed:
        row["Result"] = sample.failed
        return row
    # The high reader came to the kennel in 2021 and shares the work from then on.
    evaluators, shares = ["Ida", "Dr. Sund"], [0.8, 0.2]
    if sample.on.year >= 2021:
        evaluators, shares = ["Ida", "Rolf", "Dr. Sund"], [0.45, 0.37, 0.18]
    evaluator = str(rng.choice(evaluators, p=shares))
    row["Evaluator"] = evaluator
    row["Volume (mL)"] = f"{sample.volume_ml:.1f}" if rng.random() < 0.97 else ""
    concentration = sample.total_m / sample.volume_ml
    way = float(rng.random())
    weekly_check = sample.stud.fever and abs((sample.on - FEVER_ON).days) < 120
    if way < 0.70 or weekly_check:
        extra = math.exp(rng.normal(0.0, TRUE["r02_cv"]))
        n_cells = int(rng.poisson(concentration * 0.8 * extra))
        row["How counted"], row["Cells counted"] = "chamber", n_cells
        row["Concentration (M/mL)"] = f"{n_cells / 0.8:.0f}"
        if rng.random() < 0.1:
            row["Cells counted"] = ""
    elif way < 0.86:
        row["How counted"] = "photometer"
        row["Concentration (M/mL)"] = f"{concentration * math.exp(rng.normal(0.0, 0.1)):.0f}"
    elif way < 0.94:
        row["How counted"] = "not counted"
    elif way < 0.955:
        row["Concentration (M/mL)"] = "too many to count"
    read_motility(rng, sample, evaluator, row)
    if rng.random() < 0.4:
        n_checked = int(rng.choice([100, 200]))
        n_normal = int(rng.binomial(n_checked, sample.normal_share))
        row["Normal morphology (%)"], row["Sperm evaluated for morphology"] = (
            round(100 * n_normal / n_checked),
            n_checked,
        )
    row["Appearance"] = "normal" if rng.random() < 0.7 else ""
    row["Extender"] = sample.extender
    if sample.n_doses:
        row["Doses made"] = sample.n_doses
    if sample.destination == "frozen":
        row["Doses made"] = int(np.clip(sample.total_m * sample.motile_share / 120, 2, 9))
    row["Where they went"] = sample.destination
    if rng.random() < 0.03:
        row["Notes"] = str(
            rng.choice(["teaser bitch in the room", "hot day", "drop on cold slide"])
        )
    return row


def read_motility(
    rng: np.random.Generator, sample: Sample, evaluator: str, row: dict[str, object]
) -> None:
    """Counted by the vet, by eye in tens by the others."""
    if evaluator == "Dr. Sund":
        n_evaluated = 200
        n_forward = int(rng.binomial(n_evaluated, sample.motile_share))
        n_moving = n_forward + int(rng.binomial(n_evaluated - n_forward, 0.35))
        row["How motility was evaluated"], row["Sperm evaluated for motility"] = (
            "counted",
            n_evaluated,
        )
        row["Progressive motility (%)"] = f"{100 * n_forward / n_evaluated:g}"
        row["Total motility (%)"] = f"{100 * n_moving / n_evaluated:g}"
        return
    seen = 100 * sample.motile_share + EVALUATOR_BIAS_PCT[evaluator]
    seen += float(rng.normal(0.0, TRUE["r01_sd_pct"]))
    forward = int(np.clip(round(seen / 10) * 10, 0, 90))
    row["How motility was evaluated"] = "by eye"
    if rng.random() < 0.03:
        row["Progressive motility (%)"] = f"{max(0, forward - 10)}-{forward}"
    else:
        row["Progressive motility (%)"] = forward
    if rng.random() < 0.5:
        row["Total motility (%)"] = min(95, forward + 10)


def shipments_sheet(rng: np.random.Generator, breedings: list[Breeding]) -> list[dict[str, object]]:
    """The Shipments sheet: every chilled dose, with its readings on arrival and retained."""
    rows = []
    for breeding in breedings:
        if breeding.semen != "chilled":
            continue
        if not (breeding.collected_on and breeding.arrived_on and breeding.promised_on):
            raise ValueError("a chilled breeding has a box")
        sample = breeding.stud.collections[breeding.collected_on]
        reported = rng.random() < 0.9
        row: dict[str, object] = {
            "Stud": breeding.stud.name,
            "Collected on": breeding.collected_on.isoformat(),
            "Sent on": breeding.collected_on.isoformat(),
            "Sent at": f"{int(rng.integers(15, 19))}:30",
            "Carrier": str(rng.choice(CARRIERS)),
            "Extender": sample.extender,
            "Doses": 2 if len(breeding.days) > 1 else 1,
            "Volume per dose (mL)": f"{float(rng.uniform(3, 6)):.1f}",
            "Progressively motile per dose (M)": recorded_dose(rng, breeding)
            if rng.random() < 0.6
            else "",
            "For bitch": breeding.bitch.name,
            "Clinic": breeding.bitch.clinic,
            "Promised on": breeding.promised_on.isoformat(),
            "Arrived on": breeding.arrived_on.isoformat() if reported else "",
            "Arrived at": breeding.arrived_at if reported and rng.random() < 0.6 else "",
            "Progressive motility on arrival (%)": "",
            "Minutes warmed on arrival": "",
            "Retained sample progressive motility (%)": "",
            "Retained sample evaluated on": "",
            "Retained sample evaluated at": "",
            "Minutes warmed of retained sample": "",
            "Notes": "",
        }
        if reported and rng.random() < 0.55:
            hours = stored_hours(breeding)
            seen = 100 * sample.motile_share * kept_share(hours, sample.extender)
            seen += float(rng.normal(0.0, TRUE["r01_sd_pct"]))
            row["Progressive motility on arrival (%)"] = int(np.clip(round(seen / 10) * 10, 0, 90))
            row["Minutes warmed on arrival"] = int(rng.choice([3, 5, 5, 10]))
        if rng.random() < 0.5:
            on = breeding.collected_on + timedelta(days=int(rng.choice([1, 2, 3])))
            hours = 24.0 * (on - breeding.collected_on).days
            seen = 100 * sample.motile_share * kept_share(hours, sample.extender)
            seen += float(rng.normal(0.0, TRUE["r01_sd_pct"]))
            row["Retained sample progressive motility (%)"] = int(
                np.clip(round(seen / 10) * 10, 0, 90)
            )
            row["Retained sample evaluated on"] = on.isoformat()
            row["Retained sample evaluated at"] = clock(rng) if rng.random() < 0.5 else ""
            row["Minutes warmed of retained sample"] = 5
        rows.append(row)
    rows.append(
        dict.fromkeys(rows[0], "")
        | {
            "Stud": HERON.name, "Collected on": "2026-06-24", "Sent on": "2026-06-24",
            "Sent at": "17:30", "Carrier": "Night Coach", "Extender": "egg yolk", "Doses": 2,
            "Volume per dose (mL)": "4.0", "Progressively motile per dose (M)": "235",
            "For bitch": WOAD.name,
            "Clinic": WOAD.clinic, "Promised on": "2026-06-25", "Arrived on": "2026-06-25",
            "Arrived at": "10:45",
        }
    )  # fmt: skip
    return rows


def recorded_dose(rng: np.random.Generator, breeding: Breeding) -> str:
    """A dose as it was worked out at the bench, with its error."""
    if breeding.true_dose_m is None:
        raise ValueError("a natural mating has no dose")
    return f"{breeding.true_dose_m * 2 ** float(rng.normal(0.0, 0.3)):.0f}"


def heats_sheet(
    rng: np.random.Generator,
    breedings: list[Breeding],
    open_heats: list[tuple[Bitch, date]],
    bitches: list[Bitch],
) -> list[dict[str, object]]:
    """The Heats sheet, with progesterone of two laboratories in two units."""
    rows = []
    for breeding in breedings:
        wanted = {"natural": 2, "fresh": 3, "chilled": 4, "frozen": 5}[breeding.semen]
        n_readings = int(np.clip(wanted + rng.integers(-1, 2), 1, 6))
        if breeding.semen == "natural" and rng.random() < 0.15:
            n_readings = 0
        rows.append(
            heat_row(
                rng, breeding.bitch, breeding.first_day, breeding.ovulation, n_readings,
                max(breeding.days),
            )
        )  # fmt: skip
    for bitch, first_day in open_heats:
        ovulation = datetime.combine(first_day, datetime.min.time()) + timedelta(days=11.5)
        rows.append(heat_row(rng, bitch, first_day, ovulation, 2, TODAY))
    rows += added_heats(bitches)
    return sorted(rows, key=lambda row: (str(row["First day"]), str(row["Bitch"])))


def added_heats(bitches: list[Bitch]) -> list[dict[str, object]]:
    """Heats that were written in by hand: of added breedings, and of two bitches in heat."""
    rng = np.random.default_rng((SEED, 2))
    rows = [
        heat_row(
            rng, row.bitch, row.first_day, row.ovulation, 3 if row.semen == "natural" else 4,
            max(row.days),
        )
        for row in added_breedings()
    ]  # fmt: skip
    thyme = next(bitch for bitch in bitches if bitch.name == "Thyme")
    # One has ovulated by her readings; the other is on the rise.
    rows.append(
        open_heat(thyme, date(2026, 10, 19), "Vessel Lab", ((24, "0.7"), (27, "1.6"), (30, "5.2")))
    )
    rows.append(
        open_heat(WHIN, date(2026, 10, 21), "Norra Analys", ((26, "1.7"), (28, "2.4"), (30, "5.9")))
    )
    return rows


def open_heat(
    bitch: Bitch, first_day: date, laboratory: str, readings: tuple[tuple[int, str], ...]
) -> dict[str, object]:
    """A heat that is open on the last day, with readings by day of its month."""
    row = heat_row(
        np.random.default_rng((SEED, 3)), bitch, first_day,
        datetime.combine(first_day, datetime.min.time()), 0, TODAY,
    )  # fmt: skip
    unit, _ = LABORATORIES[laboratory]
    for n, (day, text) in enumerate(readings, 1):
        head = f"Progesterone {n}"
        row |= {
            f"{head} on": first_day.replace(day=day).isoformat(), f"{head} at": "09:00",
            head: text, f"{head} unit": unit, f"{head} laboratory": laboratory,
        }  # fmt: skip
    return row


def heat_row(
    rng: np.random.Generator,
    bitch: Bitch,
    first_day: date,
    ovulation: datetime,
    n_readings: int,
    until: date,
) -> dict[str, object]:
    """One line of the Heats sheet."""
    row: dict[str, object] = {
        "Bitch": bitch.name, "First day": first_day.isoformat(), "LH surge on": "",
        "Vet's ovulation date": "",
    }  # fmt: skip
    peak = ovulation - timedelta(hours=float(rng.normal(46.0, 4.0)))
    shift = float(rng.normal(0.0, 0.25))
    speed = math.exp(float(rng.normal(0.0, 0.15)))
    laboratory = str(rng.choice(list(LABORATORIES), p=[0.6, 0.4]))
    first = ovulation - timedelta(days=2.0 * (n_readings - 1) * 0.75 + float(rng.uniform(0, 1.5)))
    for n in range(1, 7):
        keys = [f"Progesterone {n} {word}" for word in ("on", "at")]
        keys += [f"Progesterone {n}", f"Progesterone {n} unit", f"Progesterone {n} laboratory"]
        row.update(dict.fromkeys(keys, ""))
        sampled = first + timedelta(days=2.0 * (n - 1))
        if n > n_readings or sampled.date() > until or sampled.date() < first_day:
            continue
        at = sampled.replace(hour=int(rng.integers(8, 18)), minute=0, second=0, microsecond=0)
        hours = (at - peak).total_seconds() / 3600 * speed
        log_ng = float(np.interp(hours, PROFILE_HOURS, np.log(PROFILE_NG_PER_ML)))
        if rng.random() < 0.08:
            laboratory = next(name for name in LABORATORIES if name != laboratory)
        unit, scale = LABORATORIES[laboratory]
        value = scale * math.exp(log_ng + shift + float(rng.normal(0.0, 0.10)))
        text = f"{value:.1f}" if value <= 20 else "> 20"
        if unit == "nmol/L":
            text = f"{value * NMOL_PER_NG:.1f}" if value <= 20 else "> 64"
        timed = f"{at:%H:%M}" if rng.random() < 0.45 else ""
        row.update(
            dict(zip(keys, [at.date().isoformat(), timed, text, unit, laboratory], strict=True))
        )
    row["Notes"] = ""
    return row


def breedings_sheet(rng: np.random.Generator, breedings: list[Breeding]) -> list[dict[str, object]]:
    """The Breedings sheet; outcomes follow the chain, and some are never reported."""
    # Breed effects on conception, drawn once.
    effects = {breed: float(rng.normal(0.0, STORY["breed_sd"])) for breed in BREEDS}
    leave_as_they_were(rng)
    n_litters = {breeding.bitch.name: breeding.bitch.litters_before for breeding in breedings}
    rows = []
    for n, breeding in enumerate(sorted(breedings, key=lambda breeding: breeding.days[0])):
        # Streams of its own: an outcome that comes otherwise moves nothing else.
        fate = np.random.default_rng((SEED, 5, n))
        breeding.first_litter = n_litters[breeding.bitch.name] == 0
        of = circumstances_of(breeding, effects[breeding.bitch.breed])
        pregnant = fate.random() < pregnant_prob(of)
        whelped = pregnant and fate.random() < expit(TRUE["c02"])
        row = breeding_row(np.random.default_rng((SEED, 6, n)), breeding)
        mated = breeding.days[0]
        came = LITTERS_THAT_CAME.get((breeding.bitch.name, mated))
        if fate.random() < 0.75:
            report_scan(fate, row, mated, pregnant=pregnant)
        litter_due = (breeding.ovulation + timedelta(days=63)).date()
        reported = fate.random() > (0.03 if breeding.bitch.owner == "Ambertarn" else 0.13)
        if litter_due < TODAY - timedelta(days=6) and reported:
            report_litter(fate, row, breeding, of, whelped=whelped)
        if came is not None:
            row |= dict(zip(OUTCOME_HEADINGS, came, strict=True))
        n_litters[breeding.bitch.name] += whelped or came is not None
        rows.append(row)
    TRUE_EFFECTS["breed"] = effects
    explain_missed_scans(rows)
    rows += [added_breeding_row(breeding) for breeding in added_breedings()]
    return sorted(rows, key=lambda row: str(row["Date"]))


def leave_as_they_were(rng: np.random.Generator) -> None:
    """Move the stream to where it stood when outcomes were still drawn from it.

    The sheets that are drawn after the breedings are thereby the same, whatever becomes of these.
    """
    moved = rng.bit_generator
    moved.advance(2457)  # type: ignore[attr-defined]
    moved.state = dict(moved.state) | {"has_uint32": 1, "uinteger": 27447394}


def explain_missed_scans(rows: list[dict[str, object]]) -> None:
    """A scan that did not see a litter is remarked on when the pups are there."""
    for row in rows:
        if row["Scan"] == "not pregnant" and row["Result"] == "whelped":
            lag = date.fromisoformat(str(row["Scan on"])) - date.fromisoformat(str(row["Date"]))
            row["Notes"] = "scan missed it" if lag.days >= 24 else "scanned too early"


def added_breedings() -> list[Breeding]:
    """Breedings of the dogs that were written in by hand."""

    def bred(
        bitch: Bitch, stud: Stud, first_day: date, lag: float, semen: str, route: str,
        *days: date, collected_on: date | None = None, dose_m: float | None = None,
    ) -> Breeding:  # fmt: skip
        ovulation = datetime.combine(first_day, datetime.min.time()) + timedelta(days=lag)
        times = [""] * len(days)
        return Breeding(
            bitch, stud, first_day, ovulation, semen, route, list(days), times,
            collected_on=collected_on, true_dose_m=dose_m,
        )  # fmt: skip

    return [
        bred(YARROW, TEASEL, date(2025, 7, 11), 9.5, "fresh", "vaginal", date(2025, 7, 22),
             collected_on=date(2025, 7, 22), dose_m=420.0),
        bred(WHIN, TEASEL, date(2025, 8, 3), 11.0, "natural", "natural", date(2025, 8, 14),
             date(2025, 8, 16)),
        bred(WOAD, TEASEL, date(2025, 11, 29), 10.0, "fresh", "transcervical", date(2025, 12, 10),
             collected_on=date(2025, 12, 10), dose_m=190.0),
        bred(WOAD, HERON, date(2026, 6, 13), 10.5, "chilled", "vaginal", date(2026, 6, 25),
             date(2026, 6, 26), collected_on=date(2026, 6, 24), dose_m=235.0),
        bred(YARROW, HERON, date(2026, 8, 27), 11.0, "natural", "natural", date(2026, 9, 6),
             date(2026, 9, 8)),
    ]  # fmt: skip


OUTCOME_HEADINGS = (
    "Scan on", "Scan", "Result", "Whelped on", "Born alive", "Stillborn", "Alive at 8 weeks",
)  # fmt: skip

LITTERS_THAT_CAME = {
    ("Elder", date(2022, 5, 4)): ("2022-06-04", "pregnant", "whelped", "2022-07-06", 4, 0, 4),
    ("Dulse", date(2021, 2, 4)): ("2021-03-06", "pregnant", "whelped", "2021-04-07", 4, 0, 4),
    ("Coral", date(2023, 2, 1)): ("", "", "whelped", "2023-04-03", 5, 0, ""),
    ("Calla", date(2022, 7, 25)): ("2022-08-21", "pregnant", "whelped", "2022-09-22", 7, 1, ""),
    ("Thyme", date(2025, 7, 18)): ("2025-08-15", "pregnant", "whelped", "2025-09-20", 8, 0, 8),
}
"""By dam and mating, whatever is drawn: the litters that added dogs were born in, and the last one
of the bitch that is fit to be bred on the last day."""

ADDED_OUTCOMES = {
    date(2025, 7, 22): ("2025-08-20", "pregnant", "whelped", "2025-09-22", 6, 1, 6),
    date(2025, 8, 14): ("2025-09-13", "pregnant", "whelped", "2025-10-16", 5, 0, 5),
    date(2025, 12, 10): ("2026-01-09", "not pregnant", "missed", "", "", "", ""),
    date(2026, 6, 25): ("2026-07-24", "pregnant", "whelped", "2026-08-26", 4, 0, 4),
    date(2026, 9, 6): ("2026-10-06", "pregnant", "", "", "", "", ""),
}
"""By mating."""


def added_breeding_row(breeding: Breeding) -> dict[str, object]:
    """One line of the Breedings sheet that was written in by hand."""
    # What is drawn of a line elsewhere is set here: its stream is its own and thrown away.
    row = breeding_row(np.random.default_rng((SEED, 4)), breeding)
    dose = f"{breeding.true_dose_m:.0f}" if breeding.true_dose_m else ""
    row |= {"Time": "", "Second time": "", "Progressively motile per dose (M)": dose}
    return row | dict(zip(OUTCOME_HEADINGS, ADDED_OUTCOMES[breeding.days[0]], strict=True))


TRUE_EFFECTS: dict[str, dict[str, float]] = {}


def breeding_row(rng: np.random.Generator, breeding: Breeding) -> dict[str, object]:
    """What was known on the day of the breeding."""
    twice = len(breeding.days) > 1
    timed = rng.random() < 0.45
    inseminated = breeding.semen != "natural"
    away = breeding.bitch.owner != "Ambertarn" and inseminated
    return {
        "Bitch": breeding.bitch.name,
        "Stud": breeding.stud.name,
        "Date": breeding.days[0].isoformat(),
        "Time": breeding.times[0] if timed else "",
        "Semen": breeding.semen,
        "Route": breeding.route,
        "Second date": breeding.days[1].isoformat() if twice else "",
        "Second time": breeding.times[1] if twice and timed else "",
        "Collected on": breeding.collected_on.isoformat() if breeding.collected_on else "",
        "Progressively motile per dose (M)": recorded_dose(rng, breeding)
        if inseminated and rng.random() < 0.62
        else "",
        "Straws": breeding.n_straws or "",
        "Clinic": breeding.bitch.clinic if away else "",
        "Scan on": "",
        "Scan": "",
        "Pups on scan": "",
        "Result": "",
        "Whelped on": "",
        "Born alive": "",
        "Stillborn": "",
        "Alive at 8 weeks": "",
        "Notes": "",
    }


def report_scan(
    rng: np.random.Generator, row: dict[str, object], mated: date, *, pregnant: bool
) -> None:
    """Fill in the scan, with its error; a few are made too early."""
    lag = int(rng.integers(27, 35)) if rng.random() < 0.94 else int(rng.integers(19, 23))
    on = mated + timedelta(days=lag)
    if on > TODAY:
        return
    seen = rng.random() < (SCAN_SENSITIVITY if pregnant else 1 - SCAN_SPECIFICITY)
    if lag < 24 and pregnant:
        seen = rng.random() < 0.5
    row["Scan on"], row["Scan"] = on.isoformat(), "pregnant" if seen else "not pregnant"


def report_litter(
    rng: np.random.Generator, row: dict[str, object], breeding: Breeding, of: Circumstances,
    *, whelped: bool,
) -> None:  # fmt: skip
    """Fill in what came of it."""
    if not whelped:
        row["Result"] = "lost" if row["Scan"] == "pregnant" else "missed"
        return
    size = draw_litter(rng, math.exp(litter_log_mean(of)))
    born = breeding.ovulation + timedelta(days=63.1 - 0.2 * (size - 5) + float(rng.normal(0, 1.3)))
    n_dead = int(rng.binomial(size, expit(TRUE["l14"] + TRUE["l14_size"] * (size - 6))))
    n_dead = min(n_dead, size - 1)
    row["Result"], row["Whelped on"] = "whelped", born.date().isoformat()
    row["Born alive"], row["Stillborn"] = size - n_dead, n_dead
    weeks_on = born.date() + timedelta(days=56)
    if weeks_on < TODAY and rng.random() < 0.85:
        row["Alive at 8 weeks"] = int(rng.binomial(size - n_dead, 1 - expit(TRUE["l15"])))


def health_sheet(
    rng: np.random.Generator, bitches: list[Bitch], breedings: list[Breeding]
) -> list[dict[str, object]]:
    """The Health sheet: tests of studs and bitches, and what happened to them."""
    rows: list[dict[str, object]] = []

    def note(dog: str, on: date, kind: str, what: str, **more: object) -> None:
        row: dict[str, object] = {
            "Dog": dog, "Date": on.isoformat(), "Kind": kind, "What": what, "Result": "",
            "Value": "", "Unit": "", "Laboratory's range": "", "Until": "", "Laboratory": "",
            "Drug class": "", "Notes": "",
        }  # fmt: skip
        row.update(more)
        rows.append(row)

    for stud in STUDS:
        on = max(START, stud.born + timedelta(days=450)) + timedelta(days=int(rng.integers(0, 60)))
        # One stud's tests have lapsed.
        until = date(2025, 6, 1) if stud.name == "Sorrel" else TODAY
        while on < until:
            note(
                stud.name, on, "laboratory test", "Brucella (RSAT)",
                Result="negative", Laboratory="Vessel Lab",
            )  # fmt: skip
            on += timedelta(days=int(rng.normal(340, 12)))
    for bitch in bitches:
        if rng.random() < 0.5:
            on = max(START, bitch.born + timedelta(days=450)) + timedelta(
                days=int(rng.integers(90))
            )
            note(
                bitch.name, on, "laboratory test", "Brucella (RSAT)",
                Result="negative", Laboratory=str(rng.choice(list(LABORATORIES))),
            )  # fmt: skip
    note("Tarn", FEVER_ON, "event", "fever", Until="2024-03-07", Notes="39.9, off food")
    note(
        "Tarn", FEVER_ON + timedelta(days=1), "event", "drug",
        **{"Drug class": "antibiotic", "Until": "2024-03-12"},
    )  # fmt: skip
    note("Merle", date(2021, 7, 15), "event", "injury", Until="2021-07-29", Notes="cut pad")
    note("Sorrel", date(2023, 8, 11), "event", "travel", Until="2023-08-20")
    note(
        "Bracken", date(2025, 9, 3), "examination", "prostate",
        Result="enlarged, even, not painful", Notes="Dr. Sund",
    )  # fmt: skip
    note(
        "Bracken", date(2025, 9, 3), "examination", "testes",
        Result="both present, softer than 2022", Notes="Dr. Sund",
    )  # fmt: skip
    note(
        "Tarn", date(2024, 4, 12), "laboratory test", "alkaline phosphatase, seminal fluid",
        Value="11200", Unit="U/L", Laboratory="Vessel Lab",
        **{"Laboratory's range": "5000-40000"},
    )  # fmt: skip
    added_health(note)
    tests_before_matings(note, rows, breedings)
    return sorted(rows, key=lambda row: (str(row["Date"]), str(row["Dog"]), str(row["What"])))


def added_health(note: Callable[..., None]) -> None:
    """Health of the dogs that were written in by hand, and of those fit to be bred."""
    negatives = {
        "Heron": ("2024-09-02", "2025-03-03", "2025-09-01", "2026-02-23", "2026-06-10"),
        "Teasel": ("2024-09-02", "2025-03-10", "2025-07-16", "2026-01-12", "2026-07-06"),
        "Woad": ("2025-11-20", "2026-06-08"),
        "Yarrow": ("2025-07-01", "2026-08-20"),
        "Whin": ("2025-07-24", "2026-02-02", "2026-10-14"),
        "Thyme": ("2026-10-12",),
        "Tarn": ("2026-10-08",),
        "Merle": ("2026-10-08",),
    }
    for dog, days in negatives.items():
        for on in days:
            note(dog, date.fromisoformat(on), "laboratory test", "Brucella (RSAT)",
                 Result="negative", Laboratory="Vessel Lab")  # fmt: skip
    note(
        "Heron", SUSPECT_ON, "laboratory test", "RSAT (Brucella canis)", Result="suspect",
        Laboratory="Vessel Lab", Notes="second test asked for, kept apart",
    )  # fmt: skip
    note("Teasel", date(2026, 10, 6), "examination", "testes",
         Result="both present, small and soft", Notes="Dr. Sund")  # fmt: skip
    note(
        "Teasel", date(2026, 10, 5), "laboratory test", "alkaline phosphatase, seminal fluid",
        Value="18500", Unit="U/L", Laboratory="Vessel Lab",
        **{"Laboratory's range": "5000-40000"},
    )  # fmt: skip
    for dog, on in (("Whin", date(2026, 10, 14)), ("Thyme", date(2026, 10, 12))):
        note(dog, on, "examination", "before breeding", Result="normal", Notes="Dr. Sund")


def tests_before_matings(
    note: Callable[..., None], rows: list[dict[str, object]], breedings: list[Breeding]
) -> None:
    """Negative tests of both partners before each natural mating, where there was none lately.

    The bitch is tested before her heat, the stud when his last test is older than the kennel's
    interval; a stud whose tests lapse at the end keeps the days that are named.
    """
    rng = np.random.default_rng((SEED, 1))

    def last_test(dog: str, before: date) -> date:
        days = [
            date.fromisoformat(str(row["Date"]))
            for row in rows
            if row["Dog"] == dog and row["Result"] == "negative"
        ]
        return max((on for on in days if on < before), default=date.min)

    def test(dog: str, on: date) -> None:
        laboratory = str(rng.choice(list(LABORATORIES)))
        note(dog, max(on, START), "laboratory test", "Brucella (RSAT)", Result="negative",
             Laboratory=laboratory)  # fmt: skip

    for dog, days in LAPSED.items():
        for on in days:
            test(dog, on)
    natural = [breeding for breeding in breedings if breeding.semen == "natural"]
    for breeding in sorted(natural, key=lambda breeding: (breeding.days[0], breeding.bitch.name)):
        mated, bitch, stud = breeding.days[0], breeding.bitch.name, breeding.stud.name
        lead_days = int(rng.integers(5, 16))
        has_lapsed = stud in LAPSED and mated >= LAPSED[stud][0]
        if not has_lapsed and (mated - last_test(stud, mated)).days > INTERVAL_DAYS:
            test(stud, mated - timedelta(days=lead_days))
        if (mated - last_test(bitch, mated)).days > TESTED_BEFORE_HEAT_DAYS:
            test(bitch, breeding.first_day - timedelta(days=lead_days))


def frozen_sheet(breedings: list[Breeding]) -> list[dict[str, object]]:
    """The Frozen stock sheet: enough straws, frozen before they were used."""
    rows = []
    for stud in STUDS:
        sessions = [s for s in FROZEN_SESSIONS if s in stud.collections]
        for i, session in enumerate(sessions):
            until = sessions[i + 1] if i + 1 < len(sessions) else TODAY
            used = sum(
                breeding.n_straws * len(breeding.days)
                for breeding in breedings
                if breeding.stud is stud and session <= breeding.days[0] < until
            )
            rows.append(
                {
                    "Stud": stud.name,
                    "Frozen on": session.isoformat(),
                    "Lot": f"{stud.name[:2].upper()}-{session:%y%m}",
                    "Straws": used + (5 if i + 1 == len(sessions) else 0),
                    "Progressively motile per straw (M)": 34,
                    "Progressive motility after thaw (%)": round(THAWED_PCT),
                    "Straws per dose": 3,
                    "Stored at": "home tank",
                    "Notes": "",
                }
            )
    rows.append(dict(rows[0]) | {"Stud": HERON.name} | HERON_LOT)
    return [row for row in rows if row["Straws"]]


def prices_sheet() -> list[dict[str, object]]:
    """The Prices sheet."""
    prices = (
        ("collection", 80, "with the evaluation"), ("shipment", 145, "overnight"),
        ("extender dose", 18, ""), ("transcervical insemination", 190, "at the clinic"),
        ("vaginal insemination", 60, "at the clinic"), ("progesterone test", 55, ""),
        ("frozen dose", 120, "with the thawing"), ("scan", 70, ""), ("stud fee", 900, ""),
    )  # fmt: skip
    return [
        {
            "What": what, "Price": price, "Currency": "EUR", "From": "2023-01-01", "Until": "",
            "Notes": notes,
        }
        for what, price, notes in prices
    ]  # fmt: skip


def intervals_sheet() -> list[dict[str, object]]:
    """The Intervals sheet: what this kennel repeats, and how often."""
    return [
        {"What": "Brucella", "Every (days)": INTERVAL_DAYS, "Notes": "before each heat as well"},
        {"What": "semen evaluation", "Every (days)": 120, "Notes": ""},
    ]


def typing_errors() -> list[dict[str, object]]:
    """Sound lines and lines with slips of the pen, to be kept apart by the loader."""
    sound = {
        "Dog": "Merle", "Date": "2026-09-01", "Time": "07:10", "Volume (mL)": "2.4",
        "Concentration (M/mL)": "310", "Total motility (%)": "80", "Progressive motility (%)": "70",
        "How motility was evaluated": "by eye", "Where they went": "evaluation only",
    }  # fmt: skip
    slips: list[dict[str, object]] = [
        {"Progressive motility (%)": "850"},
        {"Date": "2026-02-31"},
        {"Dog": "Brakken"},
        {"Volume (mL)": "2,5,1"},
        {"Progressive motility (%)": "90", "How motility was evaluated": "counted"},
        {"Volume (mL)": "-2.4"},
        {"Date": "2062-09-02"},
        {"How motility was evaluated": "by ear"},
        {"Time": "25:70"},
        {"Concentration (M/mL)": "310000000"},
        {"Date": ""},
        {"Date": "03/04/2026"},
    ]
    rows = []
    for i, slip in enumerate(slips):
        good = dict.fromkeys(COLLECTION_HEADINGS, "") | sound
        good["Time"] = f"07:{i:02d}"
        rows += [good, good | {"Time": f"06:{i:02d}"} | slip]
    return rows


COLLECTION_HEADINGS = (
    "Dog", "Date", "Time", "Result", "Volume (mL)", "Concentration (M/mL)", "Cells counted",
    "How counted", "Total motility (%)", "Progressive motility (%)", "How motility was evaluated",
    "Sperm evaluated for motility", "Normal morphology (%)",
    "Sperm evaluated for morphology", "Appearance", "Evaluator", "Extender", "Doses made",
    "Where they went", "Notes",
)  # fmt: skip


def true_parameters(bitches: list[Bitch], breedings: list[Breeding]) -> dict[str, object]:
    """Everything the records were made from."""
    fitting = best_fitting_rows(of_these_habits(breedings, TRUE_EFFECTS["breed"]))
    rows_of_toolkit = {row: round(value, 4) for row, value in sorted(fitting.items())}
    return {
        "seed": SEED,
        "today": TODAY.isoformat(),
        "parameters": TRUE | rows_of_toolkit,
        "story": STORY,
        "evaluator_bias_pct": EVALUATOR_BIAS_PCT,
        "laboratory_scale": {name: scale for name, (_, scale) in LABORATORIES.items()},
        "stud_effect": {stud.name: round(stud.effect, 4) for stud in STUDS},
        "bitch_effect": {bitch.name: round(bitch.effect, 4) for bitch in bitches},
        "breed_effect": {name: round(e, 4) for name, e in TRUE_EFFECTS["breed"].items()},
        "stud_total_sperm_m": {stud.name: round(math.exp(stud.log_total_m), 1) for stud in STUDS},
        "fever": {"stud": "Tarn", "on": FEVER_ON.isoformat(), "log_change_by_day": FEVER_DIP},
        "ageing": {
            "stud": "Bracken", "from_years": AGEING_FROM_YEARS, "log_per_year": AGEING_PER_YEAR,
        },
        "written_by_hand": {
            "suspect": {"stud": HERON.name, "on": SUSPECT_ON.isoformat(),
                        "exposed": [WOAD.name, YARROW.name]},
            "no_sperm": {
                "stud": TEASEL.name,
                "since": min(on for _, on, _, n, *_ in ADDED_SAMPLES if not n).isoformat(),
            },
            "fit_to_be_bred": ["Thyme", WHIN.name],
            "lapsed": sorted(LAPSED),
        },
        "ovulation": {
            f"{breeding.bitch.name} {breeding.first_day.isoformat()}":
                breeding.ovulation.isoformat(timespec="minutes")
            for breeding in breedings
        },
    }  # fmt: skip


def simulate(out: Path) -> None:
    """Write the whole scenario below a folder."""
    rng = np.random.default_rng(SEED)
    for stud in STUDS:
        stud.collections.clear()
        stud.effect = float(rng.normal(0.0, STORY["stud_sd"]))
        stud.litter_effect = float(rng.normal(0.0, STORY["sire_sd"]))
    bitches = make_bitches(rng)
    breedings = [
        plan_breeding(rng, bitch, first_day)
        for bitch in bitches
        for first_day in heats_to_breed(rng, bitch)
    ]
    breedings = [breeding for breeding in breedings if max(breeding.days) <= TODAY]
    plan_collections(rng, breedings)
    collect(rng)
    give_doses(rng, breedings)
    bred_lately = {breeding.bitch.name for breeding in breedings if breeding.days[0].year == 2026}
    open_heats = [
        (bitch, TODAY - timedelta(days=lag))
        for lag, bitch in zip(
            (6, 9), (b for b in bitches[:24] if b.name not in bred_lately), strict=False
        )
    ]
    records = out / "records"
    write(records / "dogs.csv", dogs_sheet(rng, bitches))
    write(records / "breedings.csv", breedings_sheet(rng, breedings))
    write(records / "collections.csv", collections_sheet(rng))
    write(records / "shipments.csv", shipments_sheet(rng, breedings))
    write(records / "heats.csv", heats_sheet(rng, breedings, open_heats, bitches))
    write(records / "health.csv", health_sheet(rng, bitches, breedings))
    write(records / "frozen.csv", frozen_sheet(breedings))
    write(records / "prices.csv", prices_sheet())
    write(records / "intervals.csv", intervals_sheet())
    write(out / "typing_errors" / "collections.csv", typing_errors())
    truth = json.dumps(true_parameters(bitches, breedings), indent=1, ensure_ascii=False)
    (out / "true_parameters.json").write_text(truth + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--out", type=Path, default=Path(__file__).parent)
    simulate(arguments.parse_args().out)
