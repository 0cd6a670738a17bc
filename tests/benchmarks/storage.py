"""Print seconds, effective samples and divergences of the storage fit at several sizes.

Run with `python tests/benchmarks/storage.py [SIZE...]`; each size is fitted cold, without kept
compiled programs, in a process of its own. Wanted: at most 40 s each.
"""

import subprocess
import sys
import time
from dataclasses import dataclass

import numpy as np
import pandas as pd

SIZES = (10, 50, 150)
SEED = 20261125
STUDS = ("Ash", "Bay", "Cob", "Dun")
CLINICS = ("North", "South", "West")


@dataclass(frozen=True, slots=True)
class Truth:
    """What a kennel is simulated from."""

    eta_h: float = 150.0
    milk: float = 0.5
    kappa: float = 1.5
    stud: tuple[float, ...] = (0.3, -0.2, 0.0, 0.1)
    collection_sd: float = 0.2
    bias: tuple[float, ...] = (0.0, 0.05, -0.04, 0.08)

    def kept(self, stud, extender, hours, own=0.0):
        scale = self.eta_h * (self.milk if extender == "milk" else 1.0)
        return np.exp(-((hours / (scale * np.exp(self.stud[stud] + own))) ** self.kappa))


def drawn_truth(rng):
    """A kennel drawn from the published table, written out without the toolkit."""
    stud_sd = abs(rng.normal(0, 0.35))
    return Truth(
        eta_h=192 * np.exp(rng.normal(0, 0.5) + rng.normal(0, 0.2)),
        milk=0.5 * np.exp(rng.normal(0, 0.3) + rng.normal(0, 0.2 * np.sqrt(2))),
        kappa=1.5 * np.exp(rng.normal(0, 0.4)),
        stud=tuple(rng.normal(0, stud_sd, len(STUDS))),
        collection_sd=abs(rng.normal(0, 0.2)),
        bias=tuple(rng.normal(0, 0.07, 1 + len(CLINICS))),
    )


def simulated_views(rng, n_collections, truth):
    """Evaluations and shipments of so many collections: fresh, retained two or three times, and
    half of them on arrival; half of the fresh ones counted, the others by eye in tens."""
    evaluations, shipments = [], []
    for c in range(n_collections):
        stud, extender = int(rng.integers(len(STUDS))), str(rng.choice(["egg yolk", "milk"]))
        clinic = int(rng.integers(len(CLINICS)))
        at = pd.Timestamp("2024-01-01 10:00") + pd.Timedelta(days=3 * c)
        own = rng.normal(0, truth.collection_sd)
        start = np.clip(rng.normal(0.74, 0.14), 0.2, 0.98)
        counted = bool(rng.random() < 0.5)
        planned = [("raw", 0.0)] + [("retained", h) for h in (24.0, 48.0, 96.0)]
        if rng.random() < 0.5:
            planned[-1] = ("on arrival", 26.0)
        for stage, hours in planned:
            seen = start * truth.kept(stud, extender, hours, own)
            seen += truth.bias[1 + clinic if stage == "on arrival" else 0]
            by_eye = stage == "on arrival" or not counted
            if by_eye:
                read = 10 * round(10 * (seen + rng.normal(0, 0.08)))
                read, half = float(np.clip(read, 0, 100)), 5.0
            else:
                seen = float(np.clip(seen + rng.normal(0, 0.03), 0.0, 1.0))
                read, half = 100 * rng.binomial(200, seen) / 200, 0.0
            evaluations.append(
                {
                    "evaluation_id": len(evaluations),
                    "collection_id": c,
                    "shipment_id": c,
                    "stud": STUDS[stud],
                    "stage": stage,
                    "evaluator": None,
                    "collected_earliest": at,
                    "collected_latest": at,
                    "evaluated_earliest": at + pd.Timedelta(hours=hours),
                    "evaluated_latest": at + pd.Timedelta(hours=hours),
                    "progressive_motility_pct": read,
                    "progressive_motility_pct_low": max(0.0, read - half),
                    "progressive_motility_pct_high": min(100.0, read + half),
                    "motility_method": "by eye" if by_eye else "counted",
                    "n_motility_evaluated": np.nan if by_eye else 200.0,
                    "minutes_at_37": 5.0,
                    "extender": extender,
                }
            )
        shipments.append({"shipment_id": c, "clinic": CLINICS[clinic]})
    return pd.DataFrame(evaluations), pd.DataFrame(shipments)


def fit_cold(n_collections):
    """One fit in this process; its line."""
    started = time.perf_counter()
    from studcurve.analytics.models.storage.inputs import prepare_storage
    from studcurve.analytics.models.storage.model import fit_storage

    views = simulated_views(np.random.default_rng(SEED), n_collections, Truth())
    found = fit_storage(prepare_storage(*views), seed=SEED)
    read = found.diagnostics
    low, middle, high = np.quantile(found.draws["s01"], [0.05, 0.5, 0.95])
    return (
        f"{n_collections:11d} {time.perf_counter() - started:8.1f} {found.seconds:9.1f} "
        f"{time.process_time():7.1f} "
        f"{min(read.min_ess_bulk, read.min_ess_tail):6.0f} {read.max_rhat:7.4f} "
        f"{read.n_divergent:11d} {read.n_attempts:5d}   {middle:.0f} ({low:.0f} to {high:.0f})"
    )


def main(sizes):
    print(
        "collections    all s    fit s   cpu s    ESS   R-hat divergences  runs   "
        "egg yolk, truth 150 h"
    )
    for size in sizes:
        subprocess.run([sys.executable, __file__, "--one", str(size)], check=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(fit_cold(int(sys.argv[2])), flush=True)
    else:
        main([int(size) for size in sys.argv[1:]] or SIZES)
