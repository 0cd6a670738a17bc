"""Do the conception chain's intervals hold the truth when semen and days are poorly recorded?

Kennels of 300 breedings drawn from the published table; two doses and two motilities in five
missing, the others with a home count's error and one by eye; of the days one in five badly measured
(2.5 days) and one in five not at all. The shipped preparation and fit are set against the same
model on the complete cases (dose, motility and day recorded, taken at their word) and on records
filled in with the mean of their method, taken at their word. Run with

    python tests/studies/recovery.py --kennels 50 --seed 20261126 --lines FILE.jsonl \
        [--result FILE.txt]

One line a kennel is appended to the lines file, so that an interrupted run goes on where it was.
"""

from dataclasses import replace

import numpy as np
from tests.studies.kennels import (
    CHAIN_ROWS,
    CHAIN_SPREADS,
    MOTILITY,
    USUAL_DOSE_M,
    chain_truth,
    drawn_breedings,
    drawn_outcomes,
    views,
)
from tests.studies.runner import Study, of_today, run

from studcurve.analytics.errors import ConvergenceError
from studcurve.analytics.models.breedings.inputs import insemination_days
from studcurve.analytics.models.breedings.records import prepare_conception
from studcurve.analytics.models.breedings.semen import SemenInseminated
from studcurve.analytics.models.conception.model import fit_conception
from studcurve.analytics.priors import PRIORS

N_BREEDINGS = 300
WELL_MEASURED_DAYS = 1.0
"""A day counts as recorded when its sd is below this. [d]"""

COEFFICIENTS = (*CHAIN_ROWS, "c19")
ROWS = (*COEFFICIENTS, *CHAIN_SPREADS)
LATENT_ROWS = ("c10", "c11", "c23", "c17_fresh", "c17_chilled", "c17_frozen", "c18_vaginal",
               "c18_intrauterine", "c19")  # fmt: skip
"""Rows that multiply a dose, a motility or a day."""

SLOPES = ("c23", "c25", "c26", "c17_fresh", "c17_chilled", "c17_frozen", "c18_vaginal",
          "c18_intrauterine")  # fmt: skip
"""Slopes of motility, hours and day; concentration (c24) is recorded in none of these kennels."""

WAYS = ("latent", "complete cases", "mean filled")


def poor_kennel(rng, n=N_BREEDINGS, *, reported_share=0.85, **sizes):
    """Truth, breedings, views of a kennel with poor records; studs differ in their doses."""
    rows = drawn_breedings(rng, n, **sizes)
    usual = 0.4 * rng.normal(size=int(rows["stud"].max()) + 1)
    rows["dose"] += usual[rows["stud"]]
    # No view tells the volume of a dose that was not recorded.
    rows["concentration"] = 0.0
    # Years follow each other, as the views tell them from the date.
    rows["year"] = np.sort(rows["year"])
    truth = chain_truth(rng, rows)
    seen = drawn_outcomes(rng, truth, rows, reported_share=reported_share)
    return truth, rows, views(rng, rows, *seen)


def taken_at_their_word(data, frames):
    """The same records without any uncertainty: complete cases alone, and filled with means."""
    breedings, inseminations, ovulation = frames
    day, day_sd, made = insemination_days(breedings, inseminations, ovulation)
    first = inseminations[inseminations["n_in_breeding"] == 1].set_index("breeding_id")
    usual = np.array([USUAL_DOSE_M[route] for route in data.route])
    dose = np.log2(first.loc[breedings["breeding_id"], "motile_dose_m"].to_numpy() / usual)
    natural = data.semen_type == "natural"
    motility = first.loc[breedings["breeding_id"], "progressive_motility_pct"].to_numpy()
    recorded = np.isfinite(dose) & np.isfinite(motility)
    complete = (recorded | natural) & (day_sd[:, 0] < WELL_MEASURED_DAYS)
    filled_dose, filled_day, filled_motility = dose.copy(), day.copy(), motility.copy()
    for kind in np.unique(data.semen_type):
        of_kind = data.semen_type == kind
        for j in (0, 1):
            chosen = of_kind & made[:, j]
            missing = chosen & np.isnan(day[:, j])
            filled_day[missing, j] = day[chosen & ~missing, j].mean() if missing.any() else 0.0
        for route in np.unique(data.route[of_kind & ~natural]):
            chosen = of_kind & (data.route == route)
            for filled, values, usual_of_kind in (
                (filled_dose, dose, 0.0), (filled_motility, motility, MOTILITY[kind][0])
            ):  # fmt: skip
                missing = chosen & np.isnan(values)
                seen = values[chosen & ~missing]
                filled[missing] = seen.mean() if len(seen) else usual_of_kind
    nothing = np.zeros(len(dose))
    sure = replace(
        data,
        inseminated_semen=SemenInseminated(
            np.nan_to_num(filled_dose), nothing, np.nan_to_num(filled_motility), nothing, nothing
        ),
        day_mean=np.nan_to_num(filled_day),
        day_sd=np.zeros(day.shape),
    )
    # A breeding without an outcome adds nothing to the likelihood: it is left out.
    cases = replace(
        sure,
        scanned_pregnant=np.where(complete, data.scanned_pregnant, -1),
        whelped=np.where(complete, data.whelped, -1),
        is_owed=data.is_owed & complete,
    )
    return {"complete cases": cases, "mean filled": sure}, int(complete.sum())


def recovered_kennel(seed, kennel, way, n=N_BREEDINGS):
    """One kennel read in one way: each row's truth, posterior mean, and 90 % interval."""
    rng = np.random.default_rng([seed, kennel])
    truth, _, frames = poor_kennel(rng, n, n_studs=8, n_bitches=n // 5, n_breeds=3, n_years=6)
    data = prepare_conception(*frames)
    others, n_complete = taken_at_their_word(data, frames)
    line = {"kennel": kennel, "way": way, "complete": n_complete}
    try:
        posterior = fit_conception({"latent": data, **others}[way], seed=seed + kennel)
    except ConvergenceError as error:
        return line | {"unsettled": str(error)}
    estimates = {
        row: [
            truth.values[row],
            posterior.draws[row].mean(),
            *np.quantile(posterior.draws[row], [0.05, 0.95]),
        ]
        for row in ROWS
    }
    return line | {
        "seconds": round(posterior.seconds, 2),
        "estimates": {row: [float(value) for value in values] for row, values in estimates.items()},
    }


def figures(lines, way, rows):
    """Coverage of the 90 % intervals and error in prior sds, by kennel; settled fits alone.

    Returns
    -------
    tuple
        Kennels, whether each interval holds, error of each mean; shape (n_kennels, n_rows).
    """
    settled = sorted(
        (line for line in lines if line["way"] == way and "estimates" in line),
        key=lambda line: line["kennel"],
    )
    estimates = np.array([[line["estimates"][row] for row in rows] for line in settled])
    true, mean, low, high = np.moveaxis(estimates, 2, 0)
    error = (mean - true) / np.array([PRIORS[row].sd for row in rows])
    return [line["kennel"] for line in settled], (low <= true) & (true <= high), error


def squared_gain(lines, way, rows):
    """By how much the latent form's mean squared error is below another way's, and its error.

    In squared prior sds, over kennels in which both settled; the standard error is over kennels.
    """
    squared = []
    for name in (way, "latent"):
        kennels, _, error = figures(lines, name, rows)
        squared.append(dict(zip(kennels, (error**2).mean(axis=1), strict=True)))
    others, latent = squared
    gain = np.array([others[k] - latent[k] for k in others if k in latent])
    return float(gain.mean()), float(gain.std(ddof=1) / np.sqrt(len(gain))), len(gain)


def report(lines, seed):
    """The result as text."""
    fits = {way: [line for line in lines if line["way"] == way] for way in WAYS}
    seconds = [line["seconds"] for line in fits["latent"] if "seconds" in line]
    ways = [way for way, of_way in fits.items() if any("estimates" in line for line in of_way)]
    out = [
        "Recovery of the conception chain from poor records",
        of_today(seed),
        f"simulated kennels of {N_BREEDINGS} breedings, on average "
        f"{np.mean([line['complete'] for line in lines]):.0f} with dose and day well recorded; "
        f"seconds a fit: median {np.median(seconds):.1f}, most {max(seconds):.1f}",
        "kennels fitted: "
        + ", ".join(
            f"{way} {len(of_way)} ("
            f"{sum('estimates' not in line for line in of_way)} did not settle)"
            for way, of_way in fits.items()
        ),
        "",
        f"{'':20s}{'coverage of 90 % intervals':^47s} | error (root mean square, prior sds)",
        f"{'row':20s}" + " ".join(f"{way:>15s}" for way in ways) + " |"
        + " ".join(f"{way:>15s}" for way in ways),
    ]  # fmt: skip
    groups = {
        **{row: (row,) for row in ROWS},
        "all coefficients": COEFFICIENTS,
        "of semen and day": LATENT_ROWS,
        "of motility, hours, day": SLOPES,
        "spreads": CHAIN_SPREADS,
    }
    for name, rows in groups.items():
        both = [figures(lines, way, rows)[1:] for way in ways]
        out.append(
            f"{name:20s}"
            + " ".join(f"{100 * inside.mean():14.1f}%" for inside, _ in both)
            + " |"
            + " ".join(f"{np.sqrt((error**2).mean()):15.3f}" for _, error in both)
        )
    by_kennel = 100 * figures(lines, "latent", COEFFICIENTS)[1].mean(axis=1)
    se = by_kennel.std(ddof=1) / np.sqrt(len(by_kennel))
    held = bool(85.0 <= by_kennel.mean() <= 95.0)
    out += [
        "",
        f"coverage of all coefficients {by_kennel.mean():.1f} % (standard error over kennels "
        f"{se:.1f}), wanted 85 to 95: {'held' if held else 'MISSED'}",
    ]
    for name in ("all coefficients", "of semen and day", "of motility, hours, day"):
        rows = groups[name]
        for way in ways[1:]:
            gain, se, n = squared_gain(lines, way, rows)
            held &= gain > 0
            out.append(
                f"mean squared error, {name}: {way} minus latent {gain:+.4f} (standard error over "
                f"{n} kennels {se:.4f}), wanted above 0: {'held' if gain > 0 else 'MISSED'}"
            )
    out.append(f"verdict: {'held' if held else 'MISSED'}")
    return "\n".join(out) + "\n"


STUDY = Study(recovered_kennel, report, n_kennels=50, cases=tuple({"way": way} for way in WAYS))


if __name__ == "__main__":
    run(__doc__, recovery=STUDY)
