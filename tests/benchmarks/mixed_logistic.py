"""Print the mixed logistic block beside other programs, on the same 300 breedings.

Run with `python tests/benchmarks/mixed_logistic.py [--peer PYTHON] [--out FILE]`. `--peer` names an
interpreter that has Bambi or PyMC (neither is needed by the project); R with lme4 and glmmTMB is
used where `Rscript` is found. Whoever is absent is skipped with a sentence.

Each program gets a process of its own. Cold is a whole process without kept compiled programs, warm
a whole process with them; both count imports. Effective sample sizes are those of arviz-stats on
coefficients and spreads alike. Wanted: cold at most 0.7 of the peer's seconds, and at least twice
its effective draws a second.
"""

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

SEED = 20261126
N_BREEDINGS, N_STUDS, N_BITCHES = 300, 12, 120
COLUMNS = ("chilled", "frozen", "age", "missed")
TRUTH = {"intercept": 1.2, "chilled": -0.5, "frozen": -0.8, "age": -0.15, "missed": -0.9,
         "sd_stud": 0.4, "sd_bitch": 0.7}  # fmt: skip
COEFFICIENT_SD, SPREAD_SCALE = 2.5, 1.0
"""Normal prior of every coefficient, half-normal prior of both spreads, in every sampler."""

OURS = """
import sys, numpy as np, pandas as pd
from pathlib import Path
from studcurve.analytics.models.regression import NormalPrior, fit_mixed_logistic, regression_table
from studcurve.analytics.models.sampling import N_CHAINS, keep_compiled
data, cache, out, sd, scale = sys.argv[1:]
keep_compiled(Path(cache))
frame = pd.read_csv(data)
columns = [name for name in frame if name not in ("stud", "bitch", "whelped")]
table = regression_table(frame.astype({"stud": str, "bitch": str}), columns, ["stud", "bitch"])
k = len(table.columns)
fitted = fit_mixed_logistic(
    table, frame["whelped"].to_numpy(float), np.ones(len(frame)),
    coefficients=NormalPrior(np.zeros(k), np.full(k, float(sd))),
    spread_scale={"stud": float(scale), "bitch": float(scale)}, seed=1,
)
draws = {name: fitted.coefficient(name) for name in table.columns}
draws |= {f"sd_{factor}": fitted.draws[f"sd_{factor}"] for factor in table.groups}
np.savez(out, **{name: values.reshape(N_CHAINS, -1) for name, values in draws.items()})
print(f"NUTS, {N_CHAINS} chains, attempt {fitted.diagnostics.n_attempts}")
"""

PEER = """
import sys, warnings
warnings.simplefilter("ignore")
import numpy as np, pandas as pd, pymc as pm
data, _, out, sd, scale = sys.argv[1:]
frame = pd.read_csv(data)
columns = [name for name in frame if name not in ("stud", "bitch", "whelped")]

def main():
    try:
        import bambi as bmb
    except Exception:  # an installed Bambi also fails on its own imports (with a newer matplotlib)
        bmb = None
    if bmb is None:
        name = f"PyMC {pm.__version__}"
        with pm.Model():
            beta = pm.Normal("beta", 0.0, float(sd), shape=1 + len(columns))
            eta = beta[0] + frame[columns].to_numpy(float) @ beta[1:]
            for factor in ("stud", "bitch"):
                index, levels = pd.factorize(frame[factor])
                spread = pm.HalfNormal(f"sd_{factor}", float(scale))
                eta = eta + spread * pm.Normal(f"z_{factor}", shape=len(levels))[index]
            pm.Bernoulli("whelped", logit_p=eta, observed=frame["whelped"])
            found = pm.sample(random_seed=1, progressbar=False).posterior
        draws = {c: found["beta"].values[:, :, k] for k, c in enumerate(["intercept", *columns])}
        draws |= {f"sd_{factor}": found[f"sd_{factor}"].values for factor in ("stud", "bitch")}
    else:
        name = f"Bambi {bmb.__version__} on PyMC {pm.__version__}"
        priors = {c: bmb.Prior("Normal", mu=0, sigma=float(sd)) for c in ("Intercept", *columns)}
        for factor in ("stud", "bitch"):
            spread = bmb.Prior("HalfNormal", sigma=float(scale))
            priors[f"1|{factor}"] = bmb.Prior("Normal", mu=0, sigma=spread)
        formula = f"whelped ~ {' + '.join(columns)} + (1|stud) + (1|bitch)"
        model = bmb.Model(formula, frame.astype({"stud": str, "bitch": str}), family="bernoulli",
                          priors=priors)
        found = model.fit(random_seed=1, progressbar=False).posterior
        draws = {c: found[c].values for c in columns} | {"intercept": found["Intercept"].values}
        draws |= {f"sd_{factor}": found[f"1|{factor}_sigma"].values for factor in ("stud", "bitch")}
    np.savez(out, **draws)
    chains, kept = draws["intercept"].shape
    print(f"{name}, defaults: {chains} chains of {kept} draws")

if __name__ == "__main__":
    main()
"""

R = """
suppressMessages({library(lme4); library(glmmTMB)})
frame <- read.csv(commandArgs(TRUE)[1])
formula <- whelped ~ chilled + frozen + age + missed + (1 | stud) + (1 | bitch)
report <- function(name, seconds, fixed, spreads) {
  values <- c(fixed, sqrt(c(spreads[["stud"]][1, 1], spreads[["bitch"]][1, 1])))
  cat(name, seconds, values, sep = "\\t"); cat("\\n")
}
time <- system.time(fitted <- glmer(formula, frame, family = binomial))[["elapsed"]]
report(paste("lme4", packageVersion("lme4")), time, fixef(fitted), VarCorr(fitted))
time <- system.time(fitted <- glmmTMB(formula, frame, family = binomial))[["elapsed"]]
report(paste("glmmTMB", packageVersion("glmmTMB")), time, fixef(fitted)$cond, VarCorr(fitted)$cond)
"""


def simulated(path):
    """Write 300 breedings of 12 studs and 120 bitches."""
    import numpy as np
    import pandas as pd

    rng = np.random.default_rng(SEED)
    stud = rng.integers(N_STUDS, size=N_BREEDINGS)
    bitch = rng.integers(N_BITCHES, size=N_BREEDINGS)
    method = rng.integers(3, size=N_BREEDINGS)
    frame = pd.DataFrame({
        "chilled": (method == 1).astype(int), "frozen": (method == 2).astype(int),
        "age": np.maximum(0.0, rng.uniform(2.0, 9.0, N_BREEDINGS) - 5.0).round(1),
        "missed": (rng.random(N_BITCHES) < 0.3).astype(int)[bitch],
    })  # fmt: skip
    eta = TRUTH["intercept"] + frame.to_numpy() @ [TRUTH[name] for name in COLUMNS]
    eta += TRUTH["sd_stud"] * rng.normal(size=N_STUDS)[stud]
    eta += TRUTH["sd_bitch"] * rng.normal(size=N_BITCHES)[bitch]
    whelped = (rng.random(N_BREEDINGS) < 1 / (1 + np.exp(-eta))).astype(int)
    frame.assign(stud=stud, bitch=bitch, whelped=whelped).to_csv(path, index=False)


def run(python, text, folder, cache, run_name):
    """Run one sampler in a process of its own: seconds, processor seconds, what it says, draws."""
    import resource

    script, out = folder / f"{run_name}.py", folder / f"{run_name}.npz"
    script.write_text(text, encoding="utf-8")
    environment = os.environ | {
        "PYTENSOR_FLAGS": f"base_compiledir={cache}",
        "PYTHONPATH": str(Path(__file__).parents[2]) if text is OURS else "",
    }
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    started = time.perf_counter()
    done = subprocess.run(
        [python, str(script), str(folder / "breedings.csv"), str(cache), str(out),
         str(COEFFICIENT_SD), str(SPREAD_SCALE)],
        env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    seconds = time.perf_counter() - started
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    if done.returncode:
        sys.exit(f"{run_name} ended with {done.returncode}:\n{done.stderr[-2000:]}")
    return seconds, processor, done.stdout.strip().splitlines()[-1], out


def measured(title, python, text, folder, say):
    """Cold, then warm; says both and returns the draws and figures."""
    import numpy as np
    from arviz_stats.base import array_stats

    cache, found = folder / f"cache_{title}", {}
    cache.mkdir()
    for heat in ("cold", "warm"):
        seconds, processor, named, out = run(python, text, folder, cache, f"{title}_{heat}")
        draws = dict(np.load(out))
        least = min(
            float(array_stats.ess(values, method="bulk", chain_axis=0, draw_axis=1))
            for values in draws.values()
        )
        found[heat] = (seconds, least / seconds)
        say(
            f"{title:5} {heat}: {seconds:6.1f} s ({processor:5.1f} s of processors), least bulk "
            f"effective sample {least:5.0f}, {least / seconds:6.1f} a second "
            f"({least / processor:5.1f} a processor second)"
        )
    say(f"      {named}")
    return draws, found


def main():
    """Measure, print, and write what was printed."""
    import numpy as np

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--peer", help="interpreter that has Bambi or PyMC")
    parser.add_argument("--out", type=Path, help="file that keeps what was printed")
    options = parser.parse_args()
    lines = []

    def say(line):
        print(line, flush=True)
        lines.append(line)

    from studcurve.pipelines.fits.guard import engine_versions

    say(f"{datetime.now(tz=UTC):%Y-%m-%d %H:%M} UTC, seed {SEED}, {os.cpu_count()} processors")
    say(f"load in the minute before {os.getloadavg()[0]:.1f}, Python {platform.python_version()}")
    say(json.dumps(engine_versions()))
    columns = {"truth": {name: (value, None) for name, value in TRUTH.items()}}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        simulated(folder / "breedings.csv")
        draws, ours = measured("ours", sys.executable, OURS, folder, say)
        columns["ours"] = {name: (float(v.mean()), float(v.std())) for name, v in draws.items()}
        if options.peer is None:
            say("peer: no interpreter with Bambi or PyMC was named, so none is measured")
        else:
            draws, peer = measured("peer", options.peer, PEER, folder, say)
            columns["peer"] = {name: (float(v.mean()), float(v.std())) for name, v in draws.items()}
            say(f"cold seconds over the peer's: {ours['cold'][0] / peer['cold'][0]:.2f} "
                "(wanted at most 0.7)")  # fmt: skip
            for heat in ("cold", "warm"):
                say(f"effective draws a second over the peer's, {heat}: "
                    f"{ours[heat][1] / peer[heat][1]:.1f} (wanted at least 2)")  # fmt: skip
        if shutil.which("Rscript") is None:
            say("R: no Rscript was found, so lme4 and glmmTMB are not measured")
        else:
            (folder / "fit.R").write_text(R, encoding="utf-8")
            done = subprocess.run(
                ["Rscript", str(folder / "fit.R"), str(folder / "breedings.csv")],
                capture_output=True, text=True, check=True,
            )  # fmt: skip
            for line in done.stdout.splitlines():
                program, seconds, *values = line.split("\t")
                say(f"{program} (Laplace): {float(seconds):.1f} s for the fit alone")
                columns[program] = {
                    name: (float(value), None) for name, value in zip(TRUTH, values, strict=True)
                }
    say(f"{'':10}" + "".join(f"{program:>18}" for program in columns))
    for name in TRUTH:
        told_values = (
            f"{middle:.2f}" if sd is None else f"{middle:.2f} (sd {sd:.2f})"
            for middle, sd in (values[name] for values in columns.values())
        )
        say(f"{name:10}" + "".join(f"{value:>18}" for value in told_values))
    if options.out is not None:
        options.out.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert np.isfinite([values[0] for row in columns.values() for values in row.values()]).all()


if __name__ == "__main__":
    main()
