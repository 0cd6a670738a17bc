"""What would have been forecast of every breeding of the demo, made by hand: `forecasts.json`.

    python demo_data/replay.py [--out FILE]

For each month that holds a breeding the conception model is fitted to the records as they stood on
the month's first day: what was written down later is taken out line by line and cell by cell, and a
breeding has no result before one could be known. Each breeding of the month is then forecast at the
beginning of its day, from that fit, from what was written down before that day, and from its plan:
who, how, when, which straws, collected when. Its dose, its hours and what came of it are nowhere. A
pair of which a caution stops one gets no forecast, as `compare` would have given none.

It takes most of an hour and is never run by a test or by the program; `studcurve demo` reads the
file. The chance is averaged over what the plan leaves open of dose and day; its range is that of
coefficients and partners.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from studcurve.analytics.estimate import Floats, before_of, estimate_from_draws, records_weight
from studcurve.analytics.models.conception.chance import (
    of_one_breeding,
    partner_effects,
    recorded_pregnant_prob,
)
from studcurve.analytics.models.conception.model import ConceptionPosterior
from studcurve.analytics.models.sampling import SCHEDULE, Draws, Run
from studcurve.analytics.priors import priors_fingerprint
from studcurve.analytics.trust.ledger import SETTLED_DAYS
from studcurve.pipelines.fits.fit import N_KEPT_DRAWS
from studcurve.pipelines.fits.guard import engine_versions, model_fingerprint
from studcurve.pipelines.fits.registry import CONCEPTION
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.dog_history import CAUTION_VIEWS, dogs_without_chances

HERE = Path(__file__).parent
SEED = 20240229

SHORTER = (Run(300, 500, 0.95, path_length=1.6), *SCHEDULE)
"""Attempts of the sampler: half the usual draws first; what is let pass is the same."""

Sheets = Mapping[str, pd.DataFrame]

WRITTEN_ON = {
    "dogs": "Born", "collections": "Date", "shipments": "Sent on", "heats": "First day",
    "breedings": "Date", "health": "Date", "frozen": "Frozen on", "prices": "From",
}  # fmt: skip
"""The day on which a line is begun, by sheet; a sheet without one has always been there."""

KNOWN_ON: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "breedings": {
        "Second date": ("Second date", "Second time"),
        "Scan on": ("Scan on", "Scan", "Pups on scan"),
    },
    "shipments": {
        "Arrived on": (
            "Arrived on", "Arrived at", "Progressive motility on arrival (%)",
            "Minutes warmed on arrival",
        ),
        "Retained sample evaluated on": (
            "Retained sample evaluated on", "Retained sample evaluated at",
            "Retained sample progressive motility (%)", "Minutes warmed of retained sample",
        ),
    },
    "heats": {
        "LH surge on": ("LH surge on",),
        "Vet's ovulation date": ("Vet's ovulation date",),
        **{
            f"Progesterone {n} on": tuple(
                f"Progesterone {n}{more}" for more in (" on", " at", "", " unit", " laboratory")
            )
            for n in range(1, 7)
        },
    },
    "health": {"Until": ("Until",)},
}  # fmt: skip
"""Cells that are known from a day that stands in the line, by sheet and column of the day."""

RESULT = ("Result", "Whelped on", "Born alive", "Stillborn", "Alive at 8 weeks", "Notes")
EIGHT_WEEKS_DAYS = 56

PLAN = (
    "Bitch",
    "Stud",
    "Date",
    "Semen",
    "Route",
    "Second date",
    "Collected on",
    "Straws",
    "Clinic",
)
"""Columns of the Breedings sheet that are known before the insemination."""


def read_sheets(folder: Path) -> dict[str, pd.DataFrame]:
    """The sheets of a folder as typed, by name."""
    return {
        path.stem: pd.read_csv(path, dtype=str, keep_default_na=False)
        for path in sorted(folder.glob("*.csv"))
    }


def days_of(column: pd.Series) -> pd.Series:
    """Days as written in a column; NaT where none is."""
    return pd.to_datetime(column.where(column != ""), format="mixed")


def known_before(sheets: Sheets, day: date) -> dict[str, pd.DataFrame]:
    """The sheets as they stood when a day began.

    A result that is no whelping has no day of its own; it counts as known when the latest day of a
    whelping has passed.
    """
    began = pd.Timestamp(day)
    known = {}
    for name, whole in sheets.items():
        rows = whole.copy()
        if name in WRITTEN_ON:
            rows = rows[days_of(rows[WRITTEN_ON[name]]) < began].copy()
        for of_day, cells in KNOWN_ON.get(name, {}).items():
            rows.loc[days_of(rows[of_day]) >= began, list(cells)] = ""
        if name == "breedings":
            whelped_on = days_of(rows["Whelped on"])
            told_on = whelped_on.fillna(days_of(rows["Date"]) + pd.Timedelta(days=SETTLED_DAYS))
            rows.loc[told_on >= began, list(RESULT)] = ""
            weaned_on = whelped_on + pd.Timedelta(days=EIGHT_WEEKS_DAYS)
            rows.loc[weaned_on >= began, "Alive at 8 weeks"] = ""
        known[name] = rows.reset_index(drop=True)
    return known


def with_plan(known: Sheets, breeding: pd.Series) -> dict[str, pd.DataFrame]:
    """The sheets and one line more: the plan of a breeding."""
    line = breeding.where(breeding.index.isin(PLAN), "").to_frame().T
    return {**known, "breedings": pd.concat([known["breedings"], line], ignore_index=True)}


@contextmanager
def records_of(sheets: Sheets, today: date) -> Iterator[Store]:
    """A records file of some sheets."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "sheets"
        folder.mkdir()
        for name, rows in sheets.items():
            rows.to_csv(folder / f"{name}.csv", index=False)
        with Store.open(Path(made) / "kennel.duckdb") as store:
            report = store.load([folder], today=today)
            if report.n_refused:
                raise ValueError(f"{report.n_refused} lines of the demo are refused on {today}")
            yield store


def learned(sheets: Sheets, month: date) -> Draws | None:
    """Draws of the fit on the records of a month's first day; None where nothing was known yet."""
    with records_of(known_before(sheets, month), month) as store:
        data = CONCEPTION.prepare(store)
    if CONCEPTION.too_thin(data) is not None:
        return None
    posterior = CONCEPTION.fit(data, seed=SEED, schedule=SHORTER)
    n_draws = posterior.diagnostics.n_chains * posterior.diagnostics.n_draws
    step = max(1, n_draws // N_KEPT_DRAWS)
    values = {name: draws[::step] for name, draws in posterior.draws.items()}
    return Draws(values, posterior.diagnostics, posterior.seconds, posterior.labels)


def forecasts_of_month(sheets: Sheets, month: date) -> tuple[list[dict[str, Any]], int]:
    """Forecasts of a month's breedings, in their order, and how many a caution stopped."""
    bred = sheets["breedings"]
    in_month = days_of(bred["Date"]).dt.to_period("M") == pd.Period(month, "M")
    draws = learned(sheets, month)
    stated, n_stopped = [], 0
    for _, breeding in bred[in_month].sort_values(["Date", "Bitch"], kind="stable").iterrows():
        one = forecast(sheets, breeding, draws)
        if one is None:
            n_stopped += 1
        else:
            stated.append(one)
    return stated, n_stopped


def forecast(sheets: Sheets, breeding: pd.Series, draws: Draws | None) -> dict[str, Any] | None:
    """The forecast of one breeding as its day began; None where a caution stops one of the pair."""
    day = date.fromisoformat(breeding["Date"])
    planned = with_plan(known_before(sheets, day), breeding)
    # Only the second insemination of the plan lies later.
    with records_of(
        planned, date.fromisoformat(breeding["Second date"] or breeding["Date"])
    ) as store:
        views = {name: store.read(name) for name in CAUTION_VIEWS}
        if dogs_without_chances(views, (breeding["Bitch"], breeding["Stud"]), day):
            return None
        data, fingerprint = CONCEPTION.prepare(store), store.fingerprint()
    table = CONCEPTION.published(SEED)
    published = chance(CONCEPTION.restore(data, table, seed=SEED), planned, breeding)
    after = published
    if draws is not None:
        after = chance(CONCEPTION.restore(data, draws, seed=SEED), planned, breeding)
    read = estimate_from_draws(after)
    weight = records_weight(logit(after), before_of(logit(published))).share
    return {
        "bitch": breeding["Bitch"],
        "stud": breeding["Stud"],
        "semen_type": breeding["Semen"],
        "route": breeding["Route"],
        "n_inseminations": 2 if breeding["Second date"] else 1,
        "stated_at": datetime.combine(day, time()).isoformat(),
        "planned_at": datetime.combine(day, time(12)).isoformat(),
        "litter_prob": round(float(after.mean()), 6),
        "litter_prob_median": round(read.median, 6),
        "litter_prob_lower": round(read.lower, 6),
        "litter_prob_upper": round(read.upper, 6),
        "published_litter_prob": round(float(published.mean()), 6),
        "records_weight": round(weight, 6),
        "n_draws": len(after),
        "is_published_alone": draws is None,
        "records_fingerprint": fingerprint,
    }


def chance(posterior: ConceptionPosterior, planned: Sheets, breeding: pd.Series) -> Floats:
    """Draws of the chance of a litter from one breeding of the records."""
    rows = planned["breedings"].assign(on=days_of(planned["breedings"]["Date"]))
    rows = rows.sort_values(["on", "Bitch", "Stud"], kind="stable").reset_index(drop=True)
    is_it = (rows[["Bitch", "Stud", "Date"]] == breeding[["Bitch", "Stud", "Date"]]).all(axis=1)
    (k,) = chosen = np.flatnonzero(is_it)
    data = posterior.data
    names = [data.levels[factor][data.groups[factor][k]] for factor in ("bitch", "stud")]
    if len(rows) != data.n_breedings or names != [breeding["Bitch"], breeding["Stud"]]:
        raise ValueError(f"the model's rows are not those of the sheet: {breeding.to_dict()}")
    pregnant = recorded_pregnant_prob(
        posterior.draws, data, chosen, effects=partner_effects(posterior, chosen)
    )
    of_this = of_one_breeding(pregnant[:, 0], np.random.default_rng([SEED, k]))
    return np.asarray(of_this * expit(posterior.draws["c02"]))


def replay(folder: Path) -> dict[str, Any]:
    """Everything that the file holds."""
    sheets = read_sheets(folder)
    months = days_of(sheets["breedings"]["Date"]).dt.to_period("M").drop_duplicates().sort_values()
    stated: list[dict[str, Any]] = []
    n_stopped = 0
    for month in months:
        of_month, stopped = forecasts_of_month(sheets, month.start_time.date())
        stated += of_month
        n_stopped += stopped
        print(month, len(of_month), datetime.now().time().replace(microsecond=0), flush=True)
    return {
        "model": model_fingerprint(CONCEPTION.name, CONCEPTION.version),
        "priors": priors_fingerprint(CONCEPTION.prior_ids),
        "versions": engine_versions(),
        "seed": SEED,
        "n_fits": len(months),
        "n_stopped": n_stopped,
        "forecasts": stated,
    }


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--out", type=Path, default=HERE / "forecasts.json")
    made = replay(HERE / "records")
    text = json.dumps(made, indent=1, ensure_ascii=False)
    arguments.parse_args().out.write_text(text + "\n", encoding="utf-8", newline="\n")
