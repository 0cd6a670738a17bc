"""Does the conception chain predict bitches it has not seen better than simpler ways?

Kennels of 60 breedings drawn from the published table, with poor records as in the recovery study.
In five parts every bitch is left out once, the shipped fit is run on the others, and her breedings
are predicted; against it stand the same chain without the terms of motility, concentration and
hours, the published table alone, the smoothed rate of litters of the same semen type, the smoothed
rate of all breedings, and gradient boosting. Run with

    python tests/studies/held_out.py --kennels 20 --seed 20261126 --lines FILE.jsonl \
        [--result FILE.txt]

One line a kennel is appended to the lines file, so that an interrupted run goes on where it was.
"""

from dataclasses import replace

import numpy as np
from scipy.special import expit
from sklearn.model_selection import GroupKFold
from tests.studies.kennels import silenced
from tests.studies.recovery import poor_kennel
from tests.studies.runner import Study, of_today, run

from studcurve.analytics.errors import ConvergenceError
from studcurve.analytics.models.breedings.records import prepare_conception
from studcurve.analytics.models.breedings.terms import LINEAR
from studcurve.analytics.models.conception.chance import (
    new_partner_spread,
    partner_effects,
    recorded_pregnant_prob,
)
from studcurve.analytics.models.conception.model import fit_conception
from studcurve.analytics.trust.checking import boosted_prob

N_BREEDINGS = 60
N_BITCHES = 24
N_PARTS = 5
OTHERS = ("fewer terms", "published", "rate by semen", "rate of all", "boosting")


NO_TERM = [LINEAR.index(row) for row in ("c24", "c25", "c26")]
FAR_ABOVE_PCT = 1000.0
"""A motility so far above the usual that row c23 is nothing. [%]"""


def without_new_terms(data):
    """The same records, of which rows c23 to c26 read nothing."""
    design = data.design.copy()
    design[:, NO_TERM] = 0.0
    n = data.n_breedings
    pair = replace(
        data.inseminated_semen,
        motility_mean=np.full(n, FAR_ABOVE_PCT),
        motility_sd=np.ones(n),
        correlation=np.zeros(n),
    )
    return replace(data, design=design, inseminated_semen=pair)


def predicted(data, left_out, seed):
    """Chance of a litter of the breedings left out: by the chain without them, and by the table."""
    silent = np.isin(np.arange(data.n_breedings), left_out)
    rest = silenced(data, silent)
    posterior = fit_conception(rest, seed=seed)
    chance = recorded_pregnant_prob(
        posterior.draws, rest, left_out, effects=partner_effects(posterior, left_out)
    )
    prior = posterior.prior_draws
    published = recorded_pregnant_prob(prior, rest, left_out, spread=new_partner_spread(prior))
    return (
        (chance * expit(posterior.draws["c02"])[:, None]).mean(axis=0),
        (published * expit(prior["c02"])[:, None]).mean(axis=0),
    )


def held_out_kennel(seed, kennel, n=N_BREEDINGS, n_bitches=N_BITCHES):
    """One kennel: log probability of what came of each breeding, by way, and its bitch."""
    rng = np.random.default_rng([seed, kennel])
    _, _, frames = poor_kennel(rng, n, n_bitches=n_bitches)
    data = prepare_conception(*frames)
    known = np.flatnonzero(data.whelped >= 0)
    whelped, bitch = data.whelped[known], data.groups["bitch"][known]
    prob = {way: np.empty(len(known)) for way in ("chain", *OTHERS)}
    unsettled = 0
    for part, (train, test) in enumerate(GroupKFold(N_PARTS).split(known, whelped, bitch)):
        # Everything of a bitch left out is silent, her scans without a report as well.
        hers = np.flatnonzero(np.isin(data.groups["bitch"], bitch[test]))
        of_known = np.isin(hers, known[test])
        fit_seed = seed + N_PARTS * kennel + part
        try:
            chain, published = predicted(data, hers, fit_seed)
            fewer, _ = predicted(without_new_terms(data), hers, fit_seed)
        except ConvergenceError:
            unsettled += 1
            chain = fewer = published = np.full(len(hers), np.nan)
        prob["chain"][test], prob["published"][test] = chain[of_known], published[of_known]
        prob["fewer terms"][test] = fewer[of_known]
        for i in test:
            same = train[data.semen_type[known[train]] == data.semen_type[known[i]]]
            prob["rate by semen"][i] = (whelped[same].sum() + 0.5) / (len(same) + 1.0)
        prob["rate of all"][test] = (whelped[train].sum() + 0.5) / (len(train) + 1.0)
    prob["boosting"] = boosted_prob(data, known, seed=seed + kennel)
    return {
        "kennel": kennel,
        "unsettled": unsettled,
        "bitch": bitch.tolist(),
        "logs": {
            way: np.log(np.where(whelped == 1, chance, 1.0 - chance)).tolist()
            for way, chance in prob.items()
        },
    }


def gain_over(line, way):
    """Mean gain in log score over a way in one kennel, and its standard error over bitches."""
    gain = np.array(line["logs"]["chain"]) - np.array(line["logs"][way])
    kept = np.isfinite(gain)
    by_bitch = np.bincount(np.array(line["bitch"])[kept], weights=gain[kept])
    by_bitch = by_bitch[np.unique(np.array(line["bitch"])[kept])]
    return float(gain[kept].mean()), float(
        np.sqrt(len(by_bitch) * by_bitch.var(ddof=1)) / kept.sum()
    )


def report(lines, seed):
    """The result as text."""
    n_fits = 2 * N_PARTS * len(lines)
    score = {
        way: np.nanmean(np.concatenate([line["logs"][way] for line in lines]))
        for way in ("chain", *OTHERS)
    }
    out = [
        "Log score of the conception chain on bitches left out",
        of_today(seed),
        f"{len(lines)} simulated kennels of {N_BREEDINGS} breedings and {N_BITCHES} bitches, each "
        f"bitch left out once; {n_fits} fits, {sum(line['unsettled'] for line in lines)} did not "
        "settle",
        "",
        f"log score a breeding: {', '.join(f'{way} {value:.4f}' for way, value in score.items())}",
        "",
        "gain of the chain     mean a breeding   standard error   kennels better   lowest kennel "
        "(in its own errors)",
    ]  # fmt: skip
    held = True
    for way in OTHERS:
        gains = np.array([gain_over(line, way) for line in lines])
        mean, se = gains[:, 0].mean(), gains[:, 0].std(ddof=1) / np.sqrt(len(gains))
        lowest = (gains[:, 0] / gains[:, 1]).min()
        # Beaten is beaten on average; against the table alone, and against the chain of fewer
        # terms, no loss beyond its error is wanted.
        held &= mean > -se if way in ("fewer terms", "published") else mean > 0
        out.append(
            f"{way:20s} {mean:+16.4f} {se:16.4f} {int((gains[:, 0] > 0).sum()):9d} of {len(gains)}"
            f" {lowest:+16.2f}"
        )
    out += ["", f"verdict: {'held' if held else 'MISSED'}"]
    return "\n".join(out) + "\n"


STUDY = Study(held_out_kennel, report, n_kennels=20)


if __name__ == "__main__":
    run(__doc__, held_out=STUDY)
