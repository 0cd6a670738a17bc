"""How often is a loss claimed by the records alone, in kennels in which nothing matters?

Kennels of 150 breedings drawn from the published table with every row of motility, concentration,
hours and day at nought, poorly recorded as in the recovery study; the eight questions of each are
asked as at a fit. At most 5 % of the kennels may get a claim in any of them. Run with

    python tests/studies/no_association.py --kennels 200 --seed 20261126 --lines FILE.jsonl \
        [--result FILE.txt]

One line a kennel is appended to the lines file, so that an interrupted run goes on where it was.
"""

import numpy as np
import pandas as pd
from scipy.stats import binomtest
from tests.studies.kennels import (
    SIZE_KG,
    USUAL_DOSE_M,
    Truth,
    chain_truth,
    drawn_breedings,
    drawn_litters,
    drawn_outcomes,
    litter_truth,
    views,
)
from tests.studies.runner import Study, of_today, run

from studcurve.analytics.models.breedings.records import prepare_conception
from studcurve.analytics.models.litter.model import prepare_litter
from studcurve.analytics.outcomes.contrast import (
    OPEN_ROWS,
    claims,
    shifts_of_litters,
    shifts_of_pups,
)

N_BREEDINGS = 150
OWN_ROWS = {row for of in OPEN_ROWS.values() for rows in of.values() for row in rows}
CONCENTRATION_M = 50.0


def kennel_where(rng, matters=None, *, n=N_BREEDINGS, change=None, **sizes):
    """Views of a kennel in which of the four only what is named matters.

    Parameters
    ----------
    matters
        Truth by row of the table; the other rows of the four are nought.
    change
        Changes the breedings as they truly were, in place, before anything comes of them.
    sizes
        For :func:`drawn_breedings`, and ``recorded`` for :func:`views`.
    """
    recorded = sizes.pop("recorded", {})
    rows = drawn_breedings(rng, n, **{"n_bitches": n // 5, **sizes})
    rows["year"] = np.sort(rows["year"])
    if change is not None:
        change(rows)
    set_rows = dict.fromkeys(OWN_ROWS, 0.0) | (matters or {})
    chain, size = (_with(truth(rng, rows), set_rows) for truth in (chain_truth, litter_truth))
    seen = drawn_outcomes(rng, chain, rows)
    breedings, inseminations, dated = views(rng, rows, *seen, **recorded)
    total, still, lost = drawn_litters(rng, size, rows)
    breedings = breedings.assign(
        n_born_alive=np.where(breedings["whelped"].eq(True), total - still, np.nan),
        n_stillborn=np.where(breedings["whelped"].eq(True), still, np.nan),
        n_alive_8_weeks=np.where(breedings["whelped"].eq(True), total - still - lost, np.nan),
        adult_weight_kg=[SIZE_KG[k] for k in rows["size"]],
        n_litters_before=np.where(rows["first_litter"], 0, 1),
        inbreeding_pct=rows["dam_inbreeding"],
        litter_inbreeding_pct=rows["litter_inbreeding"],
        is_sire_certain=True,
    )
    dose_m = np.array([USUAL_DOSE_M[route] for route in rows["route"]]) * 2.0 ** rows["dose"]
    volume_ml = dose_m / (CONCENTRATION_M * 2.0 ** rows["concentration"])
    of_breeding = pd.Series(volume_ml.to_numpy(), index=breedings["breeding_id"])
    inseminations["dose_volume_ml"] = of_breeding.loc[inseminations["breeding_id"]].to_numpy()
    return breedings, inseminations, dated


def _with(truth, values):
    known = {row: value for row, value in values.items() if row in truth.values}
    return Truth(truth.values | known, truth.effects)


def asked(frames, *, seed):
    """The eight questions, asked as at a fit: shifts by outcome and exposure."""
    return {
        "litter": shifts_of_litters(prepare_conception(*frames), seed=seed),
        "size": shifts_of_pups(prepare_litter(*frames), seed=seed),
    }


def line_of(seed, kennel):
    """One kennel: every shift in its errors, and what is claimed."""
    frames = kennel_where(np.random.default_rng([seed, kennel]))
    shifts = asked(frames, seed=seed + kennel)
    return {
        "kennel": kennel,
        "errors": {
            f"{outcome} {exposure}": shift.mean / shift.sd
            for outcome, of in shifts.items()
            for exposure, shift in of.items()
        },
        "claims": [" ".join((*which, way)) for which, way in claims(shifts).items()],
    }


def report(lines, seed):
    """The result as text."""
    claimed = [line for line in lines if line["claims"]]
    known = binomtest(len(claimed), len(lines)).proportion_ci(0.90)
    out = [
        "Claims by the records alone where nothing matters",
        of_today(seed),
        f"{len(lines)} simulated kennels of {N_BREEDINGS} breedings",
        "",
        f"{'question':24s} asked   mean     sd  beyond 1.645 either way",
    ]
    for question in sorted({name for line in lines for name in line["errors"]}):
        errors = np.array(
            [line["errors"][question] for line in lines if question in line["errors"]]
        )
        out.append(
            f"{question:24s} {len(errors):5d} {errors.mean():+6.2f} {errors.std():6.2f} "
            f"{100 * (np.abs(errors) > 1.645).mean():8.1f} %"
        )
    share = len(claimed) / len(lines)
    out += [
        "",
        f"kennels with a claim: {len(claimed)} of {len(lines)} ({100 * share:.1f} %, 90 % range "
        f"{100 * known.low:.1f} to {100 * known.high:.1f})",
        *(f"  kennel {line['kennel']}: {', '.join(line['claims'])}" for line in claimed),
        f"verdict: {'held' if share <= 0.05 else 'MISSED'}",
    ]
    return "\n".join(out) + "\n"


STUDY = Study(line_of, report, n_kennels=200)


if __name__ == "__main__":
    run(__doc__, no_association=STUDY)
