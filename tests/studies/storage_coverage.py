"""Do 90 % intervals of the storage model hold what kennels from the published table then show?

Kennels of 12 shipments are drawn from the table of priors, written out without the toolkit, and
each is fitted. Asked of each kennel: does the interval of what the next collection keeps at 48 h
hold it, of every stud and in either extender; and that of the time scale in its own egg-yolk
extender? Kennels are independent, answers within one are not: the error of a mean coverage is taken
over kennels.

Run with `python tests/studies/storage_coverage.py`; the result is written into `results/`. With a
number of kennels it is only printed.
"""

import sys
import time
from datetime import date
from pathlib import Path

import numpy as np
from tests.benchmarks.storage import STUDS, drawn_truth, simulated_views

from studcurve.analytics.models.storage.inputs import prepare_storage
from studcurve.analytics.models.storage.model import fit_storage

SEED = 20261126
N_KENNELS, N_SHIPMENTS = 60, 12
RESULT = Path(__file__).parent / "results" / "storage_coverage.txt"


def of_one_kennel(rng, seed):
    """Shares of answers that hold the truth, and attempts until the fit settled."""
    truth = drawn_truth(rng)
    fit = fit_storage(prepare_storage(*simulated_views(rng, N_SHIPMENTS, truth)), seed=seed)
    held = []
    for k, stud in enumerate(STUDS):
        for extender in ("egg yolk", "milk"):
            curve = fit.own.curve(stud=stud, extender=extender, rng=rng, n_draws=4_000)
            low, high = np.quantile(curve.share(48.0), [0.05, 0.95])
            own = rng.normal(0, truth.collection_sd)
            held.append(low <= truth.kept(k, extender, 48.0, own) <= high)
    log_eta = np.log(fit.draws["s01"])
    if "egg yolk" in fit.labels["effect_product"]:
        log_eta = log_eta + fit.draws["effect_product"][:, 0]
    low, high = np.quantile(log_eta, [0.05, 0.95])
    return np.mean(held), low <= np.log(truth.eta_h) <= high, fit.diagnostics.n_attempts


def main(n_kennels):
    rng = np.random.default_rng(SEED)
    began = time.process_time()
    found = np.array([of_one_kennel(rng, seed) for seed in range(n_kennels)], dtype=float)
    lines = [
        f"Storage intervals of 90 %, {n_kennels} simulated kennels of {N_SHIPMENTS} boxes.",
        f"Seed {SEED}, {date.today():%Y-%m-%d}, {time.process_time() - began:.0f} s of processor.",
        f"Settled at the first attempt: {(found[:, 2] == 1).sum()} of {n_kennels}.",
    ]
    for name, held in (
        ("share kept by the next collection at 48 h", found[:, 0]),
        ("time scale in egg yolk", found[:, 1]),
    ):
        # A coverage of 90 % over so few kennels is itself known to this error at best.
        error = max(held.std() / np.sqrt(n_kennels), np.sqrt(0.09 / n_kennels) / 2)
        verdict = "agrees with" if abs(held.mean() - 0.90) <= 3 * error else "differs from"
        lines.append(f"{name}: {held.mean():.3f}, error {error:.3f}; {verdict} 0.90.")
    print("\n".join(lines), flush=True)
    return lines


if __name__ == "__main__":
    if sys.argv[1:]:
        main(int(sys.argv[1]))
    else:
        RESULT.parent.mkdir(exist_ok=True)
        RESULT.write_text("\n".join(main(N_KENNELS)) + "\n", encoding="utf-8")
