"""Kennels drawn from the published table, written out in numpy without the models.

A second route to the conception chain and the litter model: parameters from the rows of
`analytics/priors.py`, breedings with known dose and day, outcomes, and then what a kennel would
have written down of them. The equations are those of the models' docstrings, computed here anew.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import expit, gammaln, logsumexp

from studcurve.analytics.models.breedings.exposures import unrecorded
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.breedings.semen import SemenInseminated
from studcurve.analytics.priors import PRIORS

METHODS = (
    ("natural", "natural", 0.25),
    ("fresh", "vaginal", 0.15),
    ("chilled", "vaginal", 0.15),
    ("chilled", "transcervical", 0.15),
    ("frozen", "transcervical", 0.15),
    ("frozen", "vaginal", 0.10),
    ("frozen", "surgical", 0.05),
)
"""Semen, route and how often."""

METHODS_OF = ("natural", "fresh", "chilled", "frozen")

DAYS = {"natural": (1.0, 2.0), "fresh": (1.5, 2.0), "chilled": (2.0, 2.0), "frozen": (3.0, 1.5)}
"""Mean and sd of the true day of the first insemination from ovulation. [d]"""

DOSE = (0.0, 0.8)
"""Mean and sd of the true log2 dose over the usual one. [doublings]"""

DOSE_ERROR = 0.35
"""Error of a recorded dose. [doublings]"""

MOTILITY = {"natural": (65.0, 13.0), "fresh": (72.0, 13.0), "chilled": (65.0, 13.0),
            "frozen": (45.0, 12.0)}  # fmt: skip
"""Mean and sd of the true progressive motility when inseminated. [%]"""

USUAL_MOTILITY = {"natural": np.inf, "fresh": 65.0, "chilled": 65.0, "frozen": 45.0}
"""Below which motility counts. [%]"""

DOSE_WITH_MOTILITY = 0.35
"""Correlation of the true dose and the true motility."""

MOTILITY_ERROR = 8.0
"""Error of a motility by eye. [points]"""

SHARED_ERROR = 0.4
"""Correlation of the errors of a recorded dose and of the motility that it was worked out from."""

USUAL_DOSE_M = {"natural": 100.0, "vaginal": 200.0, "transcervical": 100.0, "surgical": 100.0}

SIZE_KG = (3.0, 8.0, 18.0, 35.0, 60.0)
"""One weight inside each class of adult weight. [kg]"""

CHAIN_ROWS = (
    *(f"c{k:02d}" for k in range(1, 17)),
    "c17_fresh", "c17_chilled", "c17_frozen", "c18_vaginal", "c18_intrauterine",
    "c23", "c24", "c25", "c26",
)  # fmt: skip
REPORT_ROWS = ("m01", "m02_natural", "m02_fresh", "m02_chilled", "m02_frozen")
CHAIN_SPREADS = ("c20_stud", "c20_bitch", "c20_breed", "c21_clinic", "c21_year")
LITTER_ROWS = (
    "l01_toy", "l01_small", "l01_medium", "l01_large", "l01_giant", "l03", "l04", "l05", "l06",
    "l07", "l08", "l09", "l09_large", "l10", "l11_dam", "l11_litter", "l16", "l17", "l18",
    "l19", "l13", "l14", "l14_size", "l14_age", "l14_within", "l15",
)  # fmt: skip
LITTER_SPREADS = {"breed": "l02", "bitch": "l12_dam", "stud": "l12_stud"}

LARGEST_LITTER = 60
"""Up to where probabilities of a litter are enumerated."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What a kennel is made of: values by row of the table, effects by grouping factor."""

    values: dict
    effects: dict


def drawn_values(rng, rows, shape=()):
    """Independent draws of rows of the table."""
    found = {}
    for row in rows:
        prior = PRIORS[row]
        z = rng.normal(size=shape)
        found[row] = {
            "normal": prior.centre + prior.sd * z,
            "half-normal": np.abs(prior.sd * z),
            "log-normal": prior.centre * np.exp(prior.sd * z),
        }[prior.distribution]
    return found


def drawn_breedings(rng, n, *, n_studs=3, n_bitches=12, n_breeds=2, n_clinics=3, n_years=5):
    """Breedings as they truly were: animals, method, semen and days; one row a breeding."""
    which = rng.choice(len(METHODS), n, p=[share for *_, share in METHODS])
    semen = np.array([METHODS[k][0] for k in which])
    route = np.array([METHODS[k][1] for k in which])
    bitch = rng.integers(n_bitches, size=n)
    breed_of, size_of = rng.integers(n_breeds, size=n_bitches), rng.integers(5, size=n_bitches)
    dam_inbreeding = rng.gamma(2.0, 3.0, n_bitches)
    missed_of, age_of = rng.random(n_bitches) < 0.15, rng.uniform(2.0, 7.0, n_bitches)
    year = rng.integers(n_years, size=n)
    centre = np.array([DAYS[kind] for kind in semen])
    first = centre[:, 0] + centre[:, 1] * rng.normal(size=n)
    z_dose, z_motility = rng.normal(size=(2, n))
    z_motility = DOSE_WITH_MOTILITY * z_dose + np.sqrt(1.0 - DOSE_WITH_MOTILITY**2) * z_motility
    motility = np.array([MOTILITY[kind] for kind in semen])
    return pd.DataFrame({
        "semen": semen,
        "route": route,
        "stud": rng.integers(n_studs, size=n),
        "bitch": bitch,
        "breed": breed_of[bitch],
        "clinic": rng.integers(n_clinics, size=n),
        "year": year,
        "twice": rng.random(n) < 0.5,
        "dose": DOSE[0] + DOSE[1] * z_dose,
        "motility": motility[:, 0] + motility[:, 1] * z_motility,
        "concentration": np.where(semen == "natural", 0.0, rng.uniform(-2.0, 2.0, n)),
        "first_day": first,
        "gap": np.where(semen == "frozen", 1.0, 2.0),
        "hours": np.select(
            [semen == "chilled", semen == "fresh"],
            [rng.uniform(6.0, 72.0, n), rng.uniform(0.5, 20.0, n)], 24.0,
        ),
        "normal_pct": rng.uniform(40.0, 90.0, n),
        "bitch_age": age_of[bitch] + year * 0.6,
        "stud_age": rng.uniform(2.0, 12.0, n),
        "missed_before": missed_of[bitch],
        "size": size_of[bitch],
        "first_litter": rng.random(n) < 0.3,
        "dam_inbreeding": dam_inbreeding[bitch],
        "litter_inbreeding": rng.gamma(2.0, 3.0, n),
    })  # fmt: skip


def drawn_effects(rng, rows, spreads):
    """Effects of the levels by factor, for spreads by factor."""
    return {
        factor: spread * rng.normal(size=int(rows[factor].max()) + 1)
        for factor, spread in spreads.items()
    }


def chain_truth(rng, rows):
    """A kennel's chain drawn from the table."""
    values = drawn_values(rng, (*CHAIN_ROWS, "c19", *REPORT_ROWS, *CHAIN_SPREADS))
    spreads = {row.split("_")[1]: values[row] for row in CHAIN_SPREADS}
    return Truth(values, drawn_effects(rng, rows, spreads))


def litter_truth(rng, rows):
    """A kennel's litter model drawn from the table."""
    values = drawn_values(rng, (*LITTER_ROWS, *LITTER_SPREADS.values()))
    spreads = {factor: values[row] for factor, row in LITTER_SPREADS.items()}
    return Truth(values, drawn_effects(rng, rows, spreads))


def bent(x):
    """Positive part with a bend a quarter of a day or doubling wide."""
    return 0.25 * np.logaddexp(0.0, 4.0 * x)


def chain_columns(rows):
    """What multiplies each straight row of the chain, by id."""
    semen, route = rows["semen"].to_numpy(), rows["route"].to_numpy()
    frozen, deep = semen == "frozen", (route == "transcervical") | (route == "surgical")
    hours = rows["hours"].to_numpy()
    return {
        "c03": semen != "natural",
        "c04": deep,
        "c05": semen == "chilled",
        "c06": frozen,
        "c07": frozen & (route == "vaginal"),
        "c08": route == "surgical",
        "c09": rows["twice"].to_numpy(),
        "c12": np.where(semen == "chilled", np.maximum(0.0, hours / 24.0 - 1.0), 0.0),
        "c13": np.maximum(0.0, 70.0 - rows["normal_pct"].to_numpy()) / 10.0,
        "c14": np.maximum(0.0, rows["bitch_age"].to_numpy() - 5.0),
        "c15": rows["missed_before"].to_numpy(),
        "c16": np.maximum(0.0, rows["stud_age"].to_numpy() - 8.0),
        "c24": rows["concentration"].to_numpy(),
        "c25": np.where(semen == "fresh", np.maximum(0.0, hours - 1.0) / 6.0, 0.0),
        "c26": np.where(semen == "chilled", np.maximum(0.0, 24.0 - hours) / 6.0, 0.0),
    }


def window(rows):
    """Days from ovulation between which an insemination is neither early nor late."""
    semen, route = rows["semen"].to_numpy(), rows["route"].to_numpy()
    too_early = {"natural": -2.0, "fresh": -2.0, "chilled": 0.0, "frozen": 2.5}
    deep = (route == "transcervical") | (route == "surgical")
    return np.array([too_early[kind] for kind in semen]), np.where(deep, 6.0, 5.0)


def short_of_usual(rows, motility):
    """Tens of points that a motility is below the usual one, bent; nothing of a mating."""
    usual = np.array([USUAL_MOTILITY[kind] for kind in rows["semen"]])
    artificial = np.isfinite(usual)
    return np.where(artificial, bent((np.where(artificial, usual, 0.0) - motility) / 10.0), 0.0)


def timing(values, rows, day):
    """Timing term of an insemination on a day from ovulation; values of leading shape draws."""
    semen, route = rows["semen"].to_numpy(), rows["route"].to_numpy()
    deep = (route == "transcervical") | (route == "surgical")
    start, end = window(rows)
    early = np.where(
        semen == "frozen",
        values["c17_frozen"],
        np.where(semen == "chilled", values["c17_chilled"], values["c17_fresh"]),
    )
    late = np.where(deep, values["c18_intrauterine"], values["c18_vaginal"])
    mild = np.where(semen == "frozen", values["c19"], 0.0)
    peak = np.exp(-((day - 3.3) ** 2) / (2.0 * 0.7**2)) - 1.0
    return early * bent(start - day) + late * bent(day - end) + mild * peak


def pregnant_logit(values, effects, rows, dose, motility, first_day, second_day):
    """Logit of a pregnancy at known dose, motility and days.

    Values by row and effects by factor (summed over factors, one a breeding) may have a first axis
    of draws, as dose, motility and days may: everything broadcasts against breedings on the last
    axis.
    """
    columns = chain_columns(rows)
    eta = values["c01"] + effects
    for row, column in columns.items():
        eta = eta + values[row] * column
    artificial = rows["semen"].to_numpy() != "natural"
    eta = eta + artificial * (values["c11"] * bent(dose) - values["c10"] * bent(-dose))
    eta = eta + values["c23"] * short_of_usual(rows, motility)
    first = timing(values, rows, first_day)
    second = np.where(rows["twice"], timing(values, rows, second_day), -np.inf)
    return eta + np.maximum(first, second)


def summed_effects(effects, rows):
    """Effects of all factors of each breeding; levels on the last axis."""
    return sum(level[..., rows[factor].to_numpy()] for factor, level in effects.items())


def unreported_chances(values, semen):
    """Chance of going unreported of a litter and of a miss, by semen type of the breedings.

    Values may have a first axis of draws.
    """
    less = expit(np.stack([values[f"m02_{kind}"] for kind in METHODS_OF]))
    less = np.moveaxis(less, 0, -1)[..., [METHODS_OF.index(kind) for kind in semen]]
    ratio = np.asarray(values["m01"])[..., None]
    litter = less * (1.0 + ratio**8) ** -0.125
    return litter, ratio * litter


def drawn_outcomes(rng, truth, rows, *, scanned_share=0.6, reported_share=None):
    """What came of the breedings, and what was seen: scan and report, 1, 0 or −1 for not known.

    With a reported share, litters and misses are forgotten alike.
    """
    chance = expit(
        pregnant_logit(
            truth.values,
            summed_effects(truth.effects, rows),
            rows,
            rows["dose"].to_numpy(),
            rows["motility"].to_numpy(),
            rows["first_day"].to_numpy(),
            (rows["first_day"] + rows["gap"]).to_numpy(),
        )
    )
    n = len(rows)
    pregnant = rng.random(n) < chance
    whelped = pregnant & (rng.random(n) < expit(truth.values["c02"]))
    says_pregnant = np.where(pregnant, rng.random(n) < 0.97, rng.random(n) < 0.01)
    scan = np.where(rng.random(n) < scanned_share, says_pregnant, -1)
    of_litter, of_miss = (
        unreported_chances(truth.values, rows["semen"])
        if reported_share is None
        else (1.0 - reported_share,) * 2
    )
    # After a negative scan three results in four are written all the same.
    forgotten = np.where(scan == 0, 0.25, np.where(whelped, of_litter, of_miss))
    report = np.where(rng.random(n) < forgotten, -1, whelped)
    return scan.astype(int), report.astype(int)


def conditional(record, error, mean, sd):
    """Mean and sd of a normal value given a record with normal error; the population without."""
    weight = np.where(np.isfinite(record), 1.0 / error**2, 0.0)
    total = weight + 1.0 / sd**2
    return (weight * np.nan_to_num(record) + mean / sd**2) / total, 1.0 / np.sqrt(total)


def semen_given_records(rng, rows, share_recorded=0.6):
    """Dose and motility of each breeding given records that 60 % have of either.

    All four values of a breeding, both true ones and both records, are one normal; the true ones
    given the records follow from its covariance.
    """
    n = len(rows)
    errors = rng.normal(size=(2, n))
    errors[1] = SHARED_ERROR * errors[0] + np.sqrt(1.0 - SHARED_ERROR**2) * errors[1]
    has = rng.random((2, n)) < share_recorded
    has[1] &= (rows["semen"] != "natural").to_numpy()
    found = np.empty((5, n))
    for i, (kind, dose, motility) in enumerate(
        zip(rows["semen"], rows["dose"], rows["motility"], strict=True)
    ):
        sd = np.array([DOSE[1], MOTILITY[kind][1]])
        error = np.array([DOSE_ERROR, MOTILITY_ERROR])
        true = np.outer(sd, sd) * np.array([[1.0, DOSE_WITH_MOTILITY], [DOSE_WITH_MOTILITY, 1.0]])
        read = true + np.outer(error, error) * np.array([[1.0, SHARED_ERROR], [SHARED_ERROR, 1.0]])
        mean = np.array([DOSE[0], MOTILITY[kind][0]])
        record = np.array([dose, motility]) + error * errors[:, i]
        known = has[:, i]
        gain = true[:, known] @ np.linalg.inv(read[np.ix_(known, known)])
        middle = mean + gain @ (record - mean)[known]
        left = true - gain @ true[known]
        left_sd = np.sqrt(np.diag(left))
        found[:, i] = (middle[0], left_sd[0], middle[1], left_sd[1], left[0, 1] / left_sd.prod())
    return SemenInseminated(*found)


def drawn_semen(pair, z):
    """Dose and motility at standard normal numbers, shape (2, ..., n)."""
    together = pair.correlation * z[0] + np.sqrt(1.0 - pair.correlation**2) * z[1]
    return pair.dose_mean + pair.dose_sd * z[0], pair.motility_mean + pair.motility_sd * together


def days_given_record(rng, rows):
    """Mean and sd of the first day given a reading of the ovulation that four in five have."""
    centre = np.array([DAYS[kind] for kind in rows["semen"]])
    error = rng.choice([0.5, 1.0, 2.0, np.inf], len(rows))
    with np.errstate(invalid="ignore"):
        read = rows["first_day"] + np.where(np.isinf(error), np.nan, error) * rng.normal(
            size=len(rows)
        )
    return conditional(read, error, centre[:, 0], centre[:, 1])


def conception_data(rng, rows, scan, report):
    """The arrays of the model, semen and day in conditional form with the true populations."""
    n = len(rows)
    pair = semen_given_records(rng, rows)
    day_mean, day_sd = days_given_record(rng, rows)
    columns = chain_columns(rows)
    factors = ("stud", "bitch", "breed", "clinic", "year")
    return ConceptionData(
        semen_type=rows["semen"].to_numpy(dtype=str),
        route=rows["route"].to_numpy(dtype=str),
        design=np.column_stack([np.asarray(column, dtype=float) for column in columns.values()]),
        inseminated_semen=pair,
        day_mean=np.column_stack([day_mean, day_mean + rows["gap"]]),
        day_sd=np.column_stack([day_sd, day_sd]),
        inseminated=np.column_stack([np.ones(n, dtype=bool), rows["twice"]]),
        hours=rows["hours"].to_numpy(),
        hours_known=rows["hours"].to_numpy(),
        motile_m_per_ml=np.full(n, np.nan),
        medium=np.full(n, "unknown", dtype=object),
        exposures=unrecorded(n),
        scanned_pregnant=scan,
        whelped=report,
        is_owed=scan != 0,
        groups={factor: rows[factor].to_numpy() for factor in factors},
        levels={
            factor: tuple(f"{factor} {k}" for k in range(int(rows[factor].max()) + 1))
            for factor in factors
        },
    )


def silenced(data, silent):
    """The same records as if nothing were known, or owed, of some breedings."""
    return replace(
        data,
        scanned_pregnant=np.where(silent, -1, data.scanned_pregnant),
        whelped=np.where(silent, -1, data.whelped),
        is_owed=data.is_owed & ~silent,
    )


def mated_how(rows, dose, motility, first_day):
    """What dose, motility, day and hours put into the litter model, by id, at known values."""
    semen, hours = rows["semen"].to_numpy(), rows["hours"].to_numpy()
    start, end = window(rows)
    days = np.stack(np.broadcast_arrays(first_day, first_day + rows["gap"].to_numpy()))
    early, late = bent(start - days), bent(days - end)
    far = early + late
    second = rows["twice"].to_numpy() & (far[1] < far[0])
    return {
        "l08": -doublings_missing(rows, dose),
        "l16": np.where(second, early[1], early[0]),
        "l17": np.where(second, late[1], late[0]),
        "l18": np.select(
            [semen == "chilled", semen == "fresh"],
            [np.maximum(0.0, hours / 24.0 - 1.0), np.maximum(0.0, hours - 1.0) / 12.0], 0.0,
        ),
        "l19": short_of_usual(rows, motility),
    }  # fmt: skip


def litter_columns(rows, mated):
    """What multiplies each straight row of the litter model, by id; mated as of `mated_how`."""
    semen, route = rows["semen"].to_numpy(), rows["route"].to_numpy()
    age, size = rows["bitch_age"].to_numpy(), rows["size"].to_numpy()
    return {
        **{row: size == k for k, row in enumerate(LITTER_ROWS[:5])},
        "l03": semen != "natural",
        "l04": semen == "chilled",
        "l05": semen == "frozen",
        "l06": (route == "transcervical") | (route == "surgical"),
        "l07": rows["twice"].to_numpy(),
        "l08": mated["l08"],
        "l09": np.maximum(0.0, age - 4.0),
        "l09_large": np.where(size >= 3, np.maximum(0.0, age - 5.0), 0.0),
        "l10": rows["first_litter"].to_numpy(),
        "l11_dam": rows["dam_inbreeding"].to_numpy(),
        "l11_litter": rows["litter_inbreeding"].to_numpy(),
        **{row: mated[row] for row in ("l16", "l17", "l18", "l19")},
    }


def doublings_missing(rows, dose):
    """Doublings by which a dose stays below 100 M, bent; zero for a mating."""
    usual = np.array([USUAL_DOSE_M[route] for route in rows["route"]])
    short = bent(-(dose + np.log2(usual / 100.0)))
    return np.where(rows["semen"].to_numpy() == "natural", 0.0, short)


def log_litter_probs(log_mean, log_nu):
    """Log probability of 0 to 60 pups given at least one; first axes as the arguments'.

    The rate of the Conway-Maxwell-Poisson weights is found by bisection from the mean with zero
    counted in.
    """
    k = np.arange(LARGEST_LITTER + 1.0)
    log_mean, nu = np.broadcast_arrays(log_mean, np.exp(log_nu))
    low, high = np.full(log_mean.shape, -15.0), np.full(log_mean.shape, 25.0)
    orders = nu[..., None] * gammaln(k + 1.0)
    for _ in range(35):
        middle = (low + high) / 2.0
        weight = middle[..., None] * k - orders
        weight = np.exp(weight - weight.max(axis=-1, keepdims=True))
        below = weight @ k / weight.sum(axis=-1) < np.exp(log_mean)
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    logs = low[..., None] * k - orders
    return logs - logsumexp(logs[..., 1:], axis=-1, keepdims=True)


def log_mean_litter(values, effects, rows, mated):
    """Log mean of total born; values and effects may have a first axis of draws."""
    eta = 0.0 + effects
    for row, column in litter_columns(rows, mated).items():
        eta = eta + values[row] * column
    return eta


def drawn_lost(rng, n, logit, within_logit):
    """How many of n are lost when the losses of a litter go together: a beta, then a binomial."""
    over = np.exp(-within_logit)
    share = rng.beta(expit(logit) * over, expit(-logit) * over, np.shape(n))
    return rng.binomial(n, share)


def drawn_litters(rng, truth, rows):
    """Total born, stillborn and lost by eight weeks of breedings that all whelped."""
    values = truth.values
    log_mean = log_mean_litter(
        values,
        summed_effects(truth.effects, rows),
        rows,
        mated_how(rows, *(rows[name].to_numpy() for name in ("dose", "motility", "first_day"))),
    )
    probs = np.exp(log_litter_probs(log_mean, values["l13"]))
    probs[:, 0] = 0.0
    total = np.array([rng.choice(LARGEST_LITTER + 1, p=row / row.sum()) for row in probs])
    age = np.maximum(0.0, rows["bitch_age"].to_numpy() - 4.0)
    logit = values["l14"] + values["l14_size"] * (total - 5.0) + values["l14_age"] * age
    still = drawn_lost(rng, total, logit, values["l14_within"])
    lost = drawn_lost(rng, total - still, values["l15"], values["l14_within"])
    return total, still, lost


def views(rng, rows, scan, report, *, dose_missing=0.4, day_missing=0.2, day_bad=0.2,
          motility_missing=0.4):  # fmt: skip
    """What the records say of these breedings, as the views that the models are prepared from.

    Doses and motilities are recorded with error or not at all; volumes are not. Ovulation is known
    to half a day, badly (to 2.5 days), or not at all. One row of `breedings` a row here, in the
    same order; years must not fall.

    Returns
    -------
    tuple of pandas.DataFrame
        ``breedings``, ``inseminations``, ``ovulation``.
    """
    n = len(rows)
    ids = np.arange(n)
    # Breedings follow each other within each calendar year.
    by_year = rows.groupby("year")["year"]
    within = 340.0 * by_year.cumcount() / by_year.transform("size")
    ovulated = pd.to_datetime([f"{2018 + year}-01-10" for year in rows["year"]])
    ovulated = pd.Series(ovulated + pd.to_timedelta(within, unit="D"))
    inseminated = [
        ovulated + pd.to_timedelta(rows["first_day"] + shift, unit="D")
        for shift in (0.0, rows["gap"])
    ]
    kind = rng.choice(3, n, p=[1.0 - day_bad - day_missing, day_bad, day_missing])
    error = np.array([0.5, 2.5, np.nan])[kind]
    usual = np.array([USUAL_DOSE_M[route] for route in rows["route"]])
    recorded = (rng.random(n) >= dose_missing) & (rows["semen"] != "natural").to_numpy()
    errors = rng.normal(size=(2, n))
    errors[1] = SHARED_ERROR * errors[0] + np.sqrt(1.0 - SHARED_ERROR**2) * errors[1]
    read = usual * 2.0 ** (rows["dose"] + DOSE_ERROR * errors[0])
    seen_pct = np.clip(rows["motility"] + MOTILITY_ERROR * errors[1], 0.0, 100.0)
    evaluated = (rng.random(n) >= motility_missing) & (rows["semen"] != "natural").to_numpy()
    when = {"natural": None, "fresh": "raw", "chilled": "on arrival", "frozen": "after thaw"}
    seen = np.array([None, False, True], dtype=object)
    breedings = pd.DataFrame({
        "breeding_id": ids,
        **{factor: [f"{factor} {k:03d}" for k in rows[factor]]
           for factor in ("bitch", "stud", "breed", "clinic")},
        "semen_type": rows["semen"],
        "route": rows["route"],
        "n_inseminations": 1 + rows["twice"].astype(int),
        "bred_earliest": ovulated,
        "pregnant": seen[scan + 1],
        "whelped": seen[report + 1],
        "normal_morphology_pct": rows["normal_pct"],
        "bitch_age_years": rows["bitch_age"],
        "stud_age_years": rows["stud_age"],
        "missed_before": rows["missed_before"],
    })  # fmt: skip
    both = []
    for j in (0, 1):
        made = np.ones(n, dtype=bool) if j == 0 else rows["twice"].to_numpy()
        both.append(pd.DataFrame({
            "insemination_id": 2 * ids + j,
            "breeding_id": ids,
            "cycle_id": ids,
            "n_in_breeding": j + 1,
            "inseminated_earliest": inseminated[j],
            "inseminated_latest": inseminated[j],
            "motile_dose_m": np.where(recorded, read, np.nan),
            "semen_type": rows["semen"],
            "collected_earliest": inseminated[j] - pd.to_timedelta(rows["hours"], unit="h"),
            "collected_latest": inseminated[j] - pd.to_timedelta(rows["hours"], unit="h"),
            "motility_read": [when[kind] if known else None
                              for kind, known in zip(rows["semen"], evaluated, strict=True)],
            "progressive_motility_pct": np.where(evaluated, seen_pct, np.nan),
            "n_motility_evaluated": np.nan,
            "motility_read_hours": rows["hours"],
            "dose_volume_ml": np.nan,
            "extender": None,
            "is_dose_packed": False,
            "n_days_late": np.nan,
        })[made])  # fmt: skip
    shift = np.nan_to_num(error) * rng.normal(size=n)
    dated = pd.DataFrame({
        "cycle_id": ids,
        "ovulation_at": ovulated + pd.to_timedelta(shift, unit="D"),
        "ovulation_sd_days": error,
    })[kind < 2]  # fmt: skip
    return breedings, pd.concat(both, ignore_index=True), dated
