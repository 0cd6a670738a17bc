"""Are the posteriors of the model of a stud over time calibrated?

Simulation-based calibration (Talts et al. 2018, arXiv:1804.06788): kennels of four studs with
thirty counted collections each, two readers by turns, are drawn from the published table, with an
amplitude of each stud's own; the first attempt of the shipped fit is run on each, and the rank of
every true value among 99 thinned draws must be uniform. Kennels that would need a longer run are
counted and left out. Run with

    python tests/studies/stud_calibration.py --kennels 100 --lines FILE.jsonl [--result FILE.txt]

One line a kennel is appended to the lines file, so that an interrupted run goes on where it was.
"""

from dataclasses import replace

import numpy as np
from tests.analytics.stud_records import collections, kennel, no_events
from tests.studies.calibration import N_KEPT, P_WANTED, holm, ranks, thinned, uniformity
from tests.studies.runner import Study, of_today, run

from studcurve.analytics.errors import ConvergenceError
from studcurve.analytics.models.sampling import SCHEDULE
from studcurve.analytics.models.stud.arrays import stud_priors
from studcurve.analytics.models.stud.curves import rest_term, season_columns
from studcurve.analytics.models.stud.inputs import days_of, prepare_stud_data
from studcurve.analytics.models.stud.level import levels_at, past_level
from studcurve.analytics.models.stud.model import (
    fit_stud_quality,
    published_stud_quality,
    restore_stud_quality,
)

N_STUDS, N_EACH, YEARS = 4, 30, 2.0


def schedule_of(rng):
    """Who was collected when, by whom and after which rest; what was read comes later."""
    parts = []
    for s in range(N_STUDS):
        days = np.sort(rng.uniform(0.0, YEARS * 365.25, N_EACH))
        rest = np.clip(np.diff(days, prepend=days[0] - 30.0), 1.0, 30.0)
        readers = rng.choice(["Ash", "Birch"], N_EACH)
        parts.append(
            collections(
                f"Stud {s}", days, evaluator=readers, sexual_rest_days=rest, n_cells_counted=2000.0
            )
        )
    return prepare_stud_data(kennel(*parts), no_events(), "total_sperm_m", extra_cv=0.0)


def drawn_kennel(rng, data):
    """One draw of the table, and collections that follow it."""
    priors = stud_priors(data.measure)
    table = published_stud_quality("total_sperm_m", int(rng.integers(2**31)), n_draws=1)
    true = restore_stud_quality(data, table, seed=int(rng.integers(2**31)))
    last = [days_of(data.on[data.stud == s]).max() for s in range(N_STUDS)]
    draws = {
        **true.draws,
        "recent": priors.recent_sd * rng.normal(size=(1, N_STUDS)),
        "recent_until": np.array([last]),
        "reader": true.draws["reader_sd"][:, None]
        * data.reader_scale
        * rng.normal(size=(1, len(data.readers))),
    }
    true = replace(true, draws=draws)
    mean = rest_term(np, data.rest_days, draws["rest_time"][0], draws["rest_deficit"][0])
    mean = mean + season_columns(data.on) @ draws["season"][0] + draws["reader"][0, data.reader]
    for stud in data.studs:
        rows = data.rows_of(stud)
        mean[rows] += levels_at(true, stud, data.on[rows])[0]
    scale = np.hypot(draws["within"][0], data.reading_sd)
    value = mean + scale * rng.standard_t(priors.tail, size=len(mean))
    return true, replace(data, value=value)


def quantities(posterior):
    """What is ranked, by draw."""
    draws, stud = posterior.draws, posterior.data.studs[0]
    on = posterior.data.on[posterior.data.rows_of(stud)]
    now = levels_at(posterior, stud, on[-1:])[:, 0]
    names = (
        "usual_amplitude", "length", "within", "between", "reader_sd", "centre", "rest_deficit",
    )  # fmt: skip
    return {
        **{name: draws[name] for name in names},
        "amplitude, first stud": draws["amplitude"][:, 0],
        "amplitude, last stud": draws["amplitude"][:, -1],
        "level now": now,
        "change": now - past_level(posterior, stud),
        "recent change": draws["recent"][:, 0],
        "reader": draws["reader"][:, 0],
    }


def line_of(seed, kennel):
    """Ranks of one kennel."""
    rng = np.random.default_rng([seed, kennel])
    true, data = drawn_kennel(rng, schedule_of(rng))
    try:
        posterior = fit_stud_quality(data, seed=kennel, schedule=SCHEDULE[:1])
    except ConvergenceError:
        return {"kennel": kennel}
    truth = {name: float(value[0]) for name, value in quantities(true).items()}
    drawn = thinned(quantities(posterior))
    return {
        "kennel": kennel,
        "ranks": ranks(truth, drawn),
        "ess": round(posterior.diagnostics.min_ess_bulk),
    }


def report(lines, seed):
    """The result as text."""
    settled = [line for line in lines if "ranks" in line]
    found = uniformity(lines, seed)
    p = holm([row[1] for row in found.values()])
    worst = list(found)[int(p.argmin())]
    return "\n".join(
        [
            "Simulation-based calibration of the model of a stud over time (total sperm)",
            of_today(seed),
            f"{len(lines)} simulated kennels of {N_STUDS} studs with {N_EACH} collections; "
            f"{len(settled)} settled at the first attempt, {len(lines) - len(settled)} left out; "
            f"smallest effective sample {min(line['ess'] for line in settled)}; ranks among "
            f"{N_KEPT} draws",
            "",
            f"{'quantity':24s} {'p KS':>7s} {'mean':>6s} {'sd':>6s}  counts in tenths",
            *(
                f"{name:24s} {row[1]:7.4f} {row[2]:6.3f} {row[3]:6.3f}  "
                + " ".join(f"{count:3d}" for count in row[4])
                for name, row in found.items()
            ),
            "",
            f"smallest p after Holm over {len(found)} tests: {p.min():.3f} ({worst}); wanted above "
            f"{P_WANTED}",
            f"verdict: {'uniform' if p.min() > P_WANTED else 'NOT uniform'}",
            "",
        ]
    )


if __name__ == "__main__":
    run(__doc__, stud=Study(line_of, report, n_kennels=100))
