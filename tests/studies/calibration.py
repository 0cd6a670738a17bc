"""Are the posteriors of the conception chain and the litter model calibrated?

Simulation-based calibration (Talts et al. 2018, arXiv:1804.06788; with the likelihood and latent
values among the quantities as Modrák et al. 2023, Bayesian Analysis, advise): kennels of 40
breedings are drawn from the published table by `tests/studies/kennels.py`, the shipped fit is run
on each, and the rank of every true value among 99 thinned draws must be uniform. Run with

    python tests/studies/calibration.py conception|litter --kennels 300 --seed 20261126 \
        --lines FILE.jsonl [--result FILE.txt]

One line a kennel is appended to the lines file, so that an interrupted run goes on where it was.
"""

from dataclasses import replace
from functools import partial

import numpy as np
from scipy.special import expit, logsumexp
from scipy.stats import betabinom, chisquare, kstest
from tests.analytics.view_rows import natural_matings
from tests.studies.kennels import (
    CHAIN_ROWS,
    CHAIN_SPREADS,
    LITTER_ROWS,
    LITTER_SPREADS,
    REPORT_ROWS,
    chain_truth,
    conception_data,
    days_given_record,
    drawn_breedings,
    drawn_litters,
    drawn_outcomes,
    drawn_semen,
    litter_columns,
    litter_truth,
    log_litter_probs,
    log_mean_litter,
    mated_how,
    pregnant_logit,
    semen_given_records,
    summed_effects,
    unreported_chances,
)
from tests.studies.runner import Study, of_today, run

from studcurve.analytics.errors import ConvergenceError
from studcurve.analytics.models.conception.model import fit_conception
from studcurve.analytics.models.litter.model import LitterData, fit_litter

N_BREEDINGS = 40
N_LITTERS = 30
"""Litters of 40 breedings of which three in four whelp."""

N_KEPT = 99
"""Draws that a true value is ranked among."""

N_BINS = 10
P_WANTED = 0.01

DAY_NODES, DAY_WEIGHTS = np.polynomial.hermite_e.hermegauss(31)
SEMEN_NODES, SEMEN_WEIGHTS = np.polynomial.hermite_e.hermegauss(7)


def thinned(draws):
    """So many draws, evenly spaced over all chains."""
    n_draws = len(next(iter(draws.values())))
    chosen = np.linspace(0, n_draws - 1, N_KEPT).round().astype(int)
    return {name: values[chosen] for name, values in draws.items()}


def ranks(true, drawn):
    """How many draws lie below the truth, by quantity."""
    return {name: int((np.asarray(drawn[name]) < value).sum()) for name, value in true.items()}


def seen_given(scan, report):
    """Probability of scan and report given whelped, lost after the scan, empty."""
    positive = np.select([scan == 1, scan == 0], [0.97, 0.03], 1.0)
    false_positive = np.select([scan == 1, scan == 0], [0.01, 0.99], 1.0)
    return positive * (report != 0), positive * (report != 1), false_positive * (report != 1)


def log_seen(pregnant, whelps, data, values):
    """Log probability of what was seen, at a chance of pregnancy and of whelping."""
    lives, lost, empty = seen_given(data.scanned_pregnant, data.whelped)
    of_litter, of_miss = (
        np.where(
            data.scanned_pregnant == 0, 1.0, np.where(data.whelped < 0, forgotten, 1 - forgotten)
        )
        for forgotten in unreported_chances(values, data.semen_type)
    )
    lives, lost, empty = lives * of_litter, lost * of_miss, empty * of_miss
    with np.errstate(divide="ignore"):
        return np.log(pregnant * (whelps * lives + (1 - whelps) * lost) + (1 - pregnant) * empty)


def chain_quantities(rng, values, effects, rows, data, latents=None):
    """Quantities of the chain for draws (first axis): likelihood, chance, partners, latent values.

    `latents` are the true standardised dose, motility and day, shape (3, 1, n); without them they
    are drawn given the outcome.
    """
    columns = {row: np.asarray(value)[:, None] for row, value in values.items()}
    partners = summed_effects(effects, rows)
    whelps = expit(columns["c02"])

    pair = data.inseminated_semen

    def chance(dose_z, motility_z, day_z):
        days = data.day_mean + data.day_sd * day_z[..., None]
        return expit(pregnant_logit(
            columns, partners, rows, *drawn_semen(pair, (dose_z, motility_z)), days[..., 0],
            days[..., 1],
        ))  # fmt: skip

    nothing = np.zeros(len(rows))
    averaged = sum(
        day_weight
        * dose_weight
        * motility_weight
        * chance(dose + nothing, motility + nothing, day + nothing)
        for day, day_weight in zip(DAY_NODES, DAY_WEIGHTS / DAY_WEIGHTS.sum(), strict=True)
        for dose, dose_weight in zip(SEMEN_NODES, SEMEN_WEIGHTS / SEMEN_WEIGHTS.sum(), strict=True)
        for motility, motility_weight in zip(
            SEMEN_NODES, SEMEN_WEIGHTS / SEMEN_WEIGHTS.sum(), strict=True
        )
        if day_weight * dose_weight * motility_weight > 1e-7
    )
    if latents is None:
        # Exact draws by rejection: what was seen is likeliest at a chance of either 0 or 1.
        shape = averaged.shape
        latents, wanting = np.empty((3, *shape)), np.ones(shape, dtype=bool)
        ceiling = np.maximum(*(log_seen(p, whelps, data, values) for p in (0.0, 1.0)))
        while wanting.any():
            offered = rng.normal(size=(3, *shape))
            logs = log_seen(chance(*offered), whelps, data, values)
            taken = wanting & (np.log(rng.random(shape)) < logs - ceiling)
            latents[:, taken] = offered[:, taken]
            wanting &= ~taken
    dose, motility = drawn_semen(pair, latents[:2])
    day_z = latents[2]
    artificial = rows["semen"].to_numpy() != "natural"
    # A kennel without a failure has all its days summed instead.
    failed = data.whelped == 0 if (data.whelped == 0).any() else np.ones(len(rows))
    latent_day = data.day_mean[:, 0] + data.day_sd[:, 0] * day_z
    known_day = np.abs(latent_day - data.day_mean[:, 0])
    return {
        "log likelihood": log_seen(averaged, whelps, data, values).sum(axis=1),
        "mean chance of a litter": (averaged * whelps).mean(axis=1),
        "spread of chances": averaged.std(axis=1),
        **{f"effect of {factor} 0": levels[:, 0] for factor, levels in effects.items()},
        "mean latent dose": dose[:, artificial].mean(axis=1),
        "mean latent motility": motility[:, artificial].mean(axis=1),
        "latent motility where no litter came": (motility * failed * artificial).sum(axis=1),
        "mean latent day": latent_day.mean(axis=1),
        "latent day where no litter came": (latent_day * failed).sum(axis=1),
        "mean correction of the day": known_day.mean(axis=1),
    }


def conception_kennel(seed, kennel, spoil=None):
    """One kennel through the chain: its line.

    `spoil` changes the truth before outcomes are drawn, to see that a wrong model is caught.
    """
    rng = np.random.default_rng([seed, kennel])
    rows = drawn_breedings(rng, N_BREEDINGS)
    truth = chain_truth(rng, rows)
    data = conception_data(rng, rows, *(np.full(N_BREEDINGS, -1),) * 2)
    # The record is fixed first; the truth behind it is then drawn given the record.
    latents = rng.normal(size=(3, 1, N_BREEDINGS))
    dose, motility = drawn_semen(data.inseminated_semen, latents[:2, 0])
    rows = rows.assign(
        dose=dose,
        motility=motility,
        first_day=data.day_mean[:, 0] + data.day_sd[:, 0] * latents[2, 0],
    )
    simulated = spoil(truth) if spoil else truth
    scan, report = drawn_outcomes(rng, simulated, rows)
    data = replace(
        data,
        scanned_pregnant=scan,
        whelped=report,
        is_owed=scan != 0,
    )
    posterior = fit_conception(data, seed=seed + kennel)
    draws = thinned(posterior.draws)
    ids = (*CHAIN_ROWS, "c19", *REPORT_ROWS, *CHAIN_SPREADS)
    factors = tuple(truth.effects)
    true = {row: truth.values[row] for row in ids} | {
        name: value[0]
        for name, value in chain_quantities(
            rng,
            {row: np.array([value]) for row, value in truth.values.items()},
            {factor: levels[None] for factor, levels in truth.effects.items()},
            rows,
            data,
            latents,
        ).items()
    }
    drawn = {row: draws[row] for row in ids} | chain_quantities(
        rng, {row: draws[row] for row in ids},
        {factor: draws[f"effect_{factor}"] for factor in factors}, rows, data,
    )  # fmt: skip
    return line_of(kennel, posterior, ranks(true, drawn))


def litter_data(rng, rows, total, still, lost, share_recorded=0.8):
    """The arrays of the litter model; losses are recorded in four litters of five."""
    n = len(rows)
    pair = semen_given_records(rng, rows)
    day_mean, day_sd = days_given_record(rng, rows)
    weights = DAY_WEIGHTS / DAY_WEIGHTS.sum()
    # Each term is averaged over its own latent; one node serves all of them.
    mated = [
        mated_how(
            rows,
            pair.dose_mean + node * pair.dose_sd,
            pair.motility_mean + node * pair.motility_sd,
            day_mean + node * day_sd,
        )
        for node in DAY_NODES
    ]
    columns = litter_columns(
        rows,
        {
            row: sum(weight * of[row] for weight, of in zip(weights, mated, strict=True))
            for row in mated[0]
        },
    )
    recorded = rng.random(n) < share_recorded
    return LitterData(
        bred=natural_matings(n),
        design=np.column_stack([np.asarray(column, dtype=float) for column in columns.values()]),
        dam_age_years=columns["l09"],
        n_alive=(total - still).astype(float),
        n_stillborn=np.where(recorded, still, -1.0),
        n_lost=np.where(rng.random(n) < 0.8, lost, -1.0),
        groups={factor: rows[factor].to_numpy() for factor in LITTER_SPREADS},
        levels={
            factor: tuple(f"{factor} {k}" for k in range(int(rows[factor].max()) + 1))
            for factor in LITTER_SPREADS
        },
    ), pair, (day_mean, day_sd)  # fmt: skip


def litter_quantities(rng, values, effects, rows, data, still=None):
    """Quantities of the litter model for draws (first axis), as :func:`chain_quantities`."""
    columns = {row: np.asarray(value)[:, None] for row, value in values.items()}
    mated = {
        row: data.design[:, LITTER_ROWS.index(row)] for row in ("l08", "l16", "l17", "l18", "l19")
    }
    log_mean = log_mean_litter(columns, summed_effects(effects, rows), rows, mated)
    log_probs = log_litter_probs(log_mean, columns["l13"])
    over = np.exp(-columns["l14_within"])

    def losses(n_lost, n, logit):
        share = expit(logit)
        return betabinom.logpmf(n_lost, n, share * over, (1.0 - share) * over)

    def of_stillborn(n_still):
        total = (data.n_alive + n_still).astype(int)
        logit = columns["l14"] + columns["l14_size"] * (total - 5.0)
        logit = logit + columns["l14_age"] * data.dam_age_years
        counts = np.take_along_axis(log_probs, total[None, :, None].repeat(len(log_mean), 0), 2)
        # A litter has at least one pup.
        return np.where(total >= 1, counts[..., 0] + losses(n_still, total, logit), -np.inf)

    recorded = data.n_stillborn >= 0
    cases = np.stack([of_stillborn(np.full(len(rows), float(s))) for s in range(13)])
    log_still = np.where(
        recorded, of_stillborn(np.maximum(data.n_stillborn, 0.0)), logsumexp(cases, axis=0)
    )
    known = data.n_lost >= 0
    log_lost = losses(np.maximum(data.n_lost, 0.0), data.n_alive, columns["l15"])
    if still is None:
        # Stillborn pups of the unrecorded litters, drawn given the pups alive.
        share = np.exp(cases - logsumexp(cases, axis=0))
        still = (rng.random(log_still.shape) > share.cumsum(axis=0)).sum(axis=0)
    # Ties of a count with its truth are broken at random, which keeps the rank uniform.
    unrecorded = np.where(recorded, 0, still).sum(axis=1) + 0.5 * rng.random(len(log_mean))
    return {
        "log likelihood": log_still.sum(axis=1) + (log_lost * known).sum(axis=1),
        "mean log mean": log_mean.mean(axis=1),
        "chance of a single pup": np.exp(log_probs[..., 1]).mean(axis=1),
        "share of litters over ten": np.exp(log_probs[..., 11:]).sum(axis=2).mean(axis=1),
        **{f"effect of {factor} 0": levels[:, 0] for factor, levels in effects.items()},
        "stillborn pups not recorded": unrecorded,
    }


def litter_kennel(seed, kennel, spoil=None):
    """One kennel through the litter model: its line."""
    rng = np.random.default_rng([seed, kennel])
    rows = drawn_breedings(rng, N_LITTERS)
    truth = litter_truth(rng, rows)
    unborn = np.ones(N_LITTERS)
    # Every third kennel has not recorded all stillborn pups: its fits take three times as long.
    record, pair, (day_mean, day_sd) = litter_data(
        rng, rows, unborn, 0 * unborn, 0 * unborn, share_recorded=1.0 if kennel % 3 else 0.7
    )
    dose, motility = drawn_semen(pair, rng.normal(size=(2, N_LITTERS)))
    rows = rows.assign(
        dose=dose, motility=motility, first_day=day_mean + day_sd * rng.normal(size=N_LITTERS)
    )
    total, still, lost = drawn_litters(rng, spoil(truth) if spoil else truth, rows)
    data = LitterData(
        bred=record.bred,
        design=record.design,
        dam_age_years=record.dam_age_years,
        n_alive=(total - still).astype(float),
        n_stillborn=np.where(record.n_stillborn >= 0, still, -1.0),
        n_lost=np.where(record.n_lost >= 0, lost, -1.0),
        groups=record.groups,
        levels=record.levels,
    )
    posterior = fit_litter(data, seed=seed + kennel)
    draws = thinned(posterior.draws)
    ids = (*LITTER_ROWS, *LITTER_SPREADS.values())
    true = {row: truth.values[row] for row in ids} | {
        name: value[0]
        for name, value in litter_quantities(
            rng,
            {row: np.array([value]) for row, value in truth.values.items()},
            {factor: levels[None] for factor, levels in truth.effects.items()},
            rows,
            data,
            still[None],
        ).items()
    }
    drawn = {row: draws[row] for row in ids} | litter_quantities(
        rng, {row: draws[row] for row in ids},
        {factor: draws[f"effect_{factor}"] for factor in LITTER_SPREADS}, rows, data,
    )  # fmt: skip
    return line_of(kennel, posterior, ranks(true, drawn))


def line_of(kennel, posterior, found):
    """A kennel's line: its ranks and how the fit went."""
    read = posterior.diagnostics
    return {
        "kennel": kennel,
        "seconds": round(posterior.seconds, 2),
        "runs": read.n_attempts,
        "ess": round(min(read.min_ess_bulk, read.min_ess_tail)),
        "ranks": found,
    }


KENNELS = {"conception": conception_kennel, "litter": litter_kennel}


def line_of_model(model, seed, kennel, spoil=None):
    """One kennel through one of the models; an unsettled fit is a line without ranks."""
    try:
        return KENNELS[model](seed, kennel, spoil)
    except ConvergenceError as error:
        return {"kennel": kennel, "unsettled": str(error)}


def uniformity(lines, seed):
    """By quantity: p of the chi-square test over ten bins, p of Kolmogorov-Smirnov, mean, spread.

    Ranks 0 to 99 are spread evenly over their step for the second test; mean and standard deviation
    are those of the rank as a share, 0.5 and 0.289 when uniform.
    """
    settled = [line["ranks"] for line in lines if "ranks" in line]
    rng = np.random.default_rng(seed)
    found = {}
    for name in settled[0]:
        rank = np.array([line[name] for line in settled])
        share = (rank + rng.random(len(rank))) / (N_KEPT + 1)
        counts = np.histogram(share, N_BINS, (0.0, 1.0))[0]
        found[name] = (
            float(chisquare(counts).pvalue),
            float(kstest(share, "uniform").pvalue),
            float(share.mean()),
            float(share.std()),
            counts,
        )
    return found


def holm(p_values):
    """P values after Holm's correction for their number."""
    p_values = np.asarray(p_values)
    order = np.argsort(p_values)
    scaled = p_values[order] * np.arange(len(p_values), 0, -1)
    adjusted = np.empty(len(p_values))
    adjusted[order] = np.minimum(1.0, np.maximum.accumulate(scaled))
    return adjusted


def smallest_p(found):
    """Smallest p over every quantity and both tests, after Holm, and whose it is."""
    names = [(name, test) for name in found for test in ("chi-square", "Kolmogorov-Smirnov")]
    adjusted = holm([p for row in found.values() for p in row[:2]])
    worst = int(adjusted.argmin())
    return float(adjusted[worst]), names[worst]


def report(model, lines, seed):
    """The result as text."""
    settled = [line for line in lines if "ranks" in line]
    found = uniformity(lines, seed)
    p, (name, test) = smallest_p(found)
    seconds = np.array([line["seconds"] for line in settled])
    size = f"{N_BREEDINGS} breedings" + (f" ({N_LITTERS} litters)" if model == "litter" else "")
    out = [
        f"Simulation-based calibration of the {model} model",
        of_today(seed),
        f"{len(lines)} simulated kennels of {size}; {len(settled)} settled, "
        f"{len(lines) - len(settled)} did not; "
        f"{sum(line['runs'] > 1 for line in settled)} needed a longer run",
        f"seconds a fit: median {np.median(seconds):.1f}, most {seconds.max():.1f}; smallest "
        f"effective sample {min(line['ess'] for line in settled)}; ranks among {N_KEPT} draws",
        "",
        f"{'quantity':34s} {'p chi2':>7s} {'p KS':>7s} {'mean':>6s} {'sd':>6s}  counts in tenths",
        *(
            f"{name:34s} {row[0]:7.4f} {row[1]:7.4f} {row[2]:6.3f} {row[3]:6.3f}  "
            + " ".join(f"{count:3d}" for count in row[4])
            for name, row in found.items()
        ),
        "",
        f"smallest p after Holm over {2 * len(found)} tests: {p:.3f} ({name}, {test}); wanted "
        f"above {P_WANTED}",
        f"verdict: {'uniform' if p > P_WANTED else 'NOT uniform'}",
    ]
    return "\n".join(out) + "\n"


STUDIES = {
    model: Study(partial(line_of_model, model), partial(report, model), n_kennels=300)
    for model in KENNELS
}


if __name__ == "__main__":
    run(__doc__, **STUDIES)
