"""Print seconds, effective samples and divergences of one measure of five studs over time.

Run with `python tests/benchmarks/stud_over_time.py [EVALUATIONS...]`; each size is fitted in
processes of their own, first without kept compiled programs and then with them. Wanted: 150
evaluations a stud in at most 60 s cold and 30 s warm, 600 in at most 4 minutes.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy.special import expit
from tests.analytics.stud_records import collections, counted, kennel, no_events

SIZES = (150, 600)
SEED = 20261126
STUDS = ("Ash", "Bay", "Cob", "Dun", "Elm")
MEASURES = ("total_sperm_m", "progressive_motility_pct")
YEARS = 6.0


def simulated(rng, measure, n):
    """So many evaluations of each stud over six years, a slow wave in each, three readers."""
    parts = []
    for stud in STUDS:
        days = np.sort(rng.uniform(0.0, YEARS * 365.25, n))
        wave = 0.2 * np.sin(days / 365.25 * rng.uniform(0.7, 1.5) + rng.uniform(0.0, 6.0))
        evaluator = rng.choice(["Ida", "Rolf", "Sund"], n)
        if measure == "total_sperm_m":
            level = rng.normal(6.6, 0.4) + wave + 0.35 * rng.standard_t(6.0, n)
            parts.append(counted(rng, stud, days, level, evaluator=evaluator))
            continue
        share = expit(rng.normal(1.3, 0.5) + wave + 0.3 * rng.standard_t(6.0, n))
        by_lab = evaluator == "Sund"
        eye = 100 * np.clip(share + rng.normal(0.0, 0.08, n), 0.0, 1.0)
        read = np.where(by_lab, rng.binomial(200, share) / 2.0, np.round(eye, -1))
        half = np.where(by_lab, 0.0, 5.0)
        parts.append(
            collections(
                stud, days, evaluator=evaluator, progressive_motility_pct=read,
                progressive_motility_pct_low=read - half, progressive_motility_pct_high=read + half,
                motility_method=np.where(by_lab, "counted", "by eye"),
                n_motility_evaluated=np.where(by_lab, 200.0, np.nan),
            )
        )  # fmt: skip
    return kennel(*parts)


def fit_once(measure, n, folder):
    """One fit in this process; its line."""
    started = time.perf_counter()
    from studcurve.analytics.models.sampling import keep_compiled
    from studcurve.analytics.models.stud.inputs import prepare_stud_data
    from studcurve.analytics.models.stud.model import fit_stud_quality

    keep_compiled(Path(folder))
    rows = simulated(np.random.default_rng(SEED), measure, n)
    found = fit_stud_quality(
        prepare_stud_data(rows, no_events(), measure, extra_cv=0.15), seed=SEED
    )
    read = found.diagnostics
    return (
        f"{measure:25s} 5 x {n:4d} {time.perf_counter() - started:8.1f} {time.process_time():8.1f} "
        f"{min(read.min_ess_bulk, read.min_ess_tail):6.0f} {read.max_rhat:7.4f} "
        f"{read.n_divergent:11d} {read.n_attempts:5d}"
    )


def main(sizes):
    print("measure                   evaluations  wall s    cpu s    ESS   R-hat divergences  runs")
    for n in sizes:
        for measure in MEASURES:
            with tempfile.TemporaryDirectory() as folder:
                for state in ("cold", "warm"):
                    print(state, end=" ", flush=True)
                    command = [sys.executable, __file__, "--one", measure, str(n), folder]
                    subprocess.run(command, check=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(fit_once(sys.argv[2], int(sys.argv[3]), sys.argv[4]), flush=True)
    else:
        main([int(size) for size in sys.argv[1:]] or SIZES)
