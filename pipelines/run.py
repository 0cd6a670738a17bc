"""The whole story, top to bottom: sheets, records file, views, measures, models, pages."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.cautions import DogRecords, cautions_for_dog, day, stopped_answers
from analytics.counting import exact_interval
from analytics.errors import RecordsError
from analytics.estimate import Estimate, estimate_from_draws
from analytics.models import conception
from analytics.priors import PRIORS
from analytics.semen import with_measures
from analytics.wording import litters_sentence, samples_sentence
from pipelines.fit import FitOutcome, Known, fit_models, known
from pipelines.models import CONCEPTION
from pipelines.store import KeptFit, Store
from reports.index import build_index
from reports.page import Link, render
from reports.stud_review import Coefficient, SemenTypeChance, StudResults, build_stud_review

DEMO = Path(__file__).parents[1] / "demo_data"
"""The demo's sheets: beside the packages, in a clone as in an installed wheel."""

DEMO_TODAY = date(2026, 10, 31)
"""The day on which the demo's records end."""

HOME_COUNT_CV = PRIORS["r02_home"].centre
"""Error of a count until a kennel states its own (prior r02)."""

SEMEN_ORDER = ("natural", "fresh", "chilled", "frozen")

METHOD_OF_READINGS = (
    "Counts: the line through a sample is the exact Poisson interval of the cells that were "
    "counted, widened by the error of a home count (15 %) and of the volume (5 %); a motility "
    "judged by eye carries a reading error of 8 points, a counted one its score interval.",
)
"""How the numbers of a sample came about."""

METHOD_OF_CHANCES = (
    "Chance of a litter: a chain from insemination to pregnancy at the scan to whelping, starting "
    "from the published table and updated by the kennel's breedings with a sampler (NUTS); stud, "
    "bitch, breed, clinic and year each have their own effect. Dose and day from ovulation are "
    "treated as uncertain, also where they were not recorded; the best-timed insemination counts.",
    "“Published” is what that table alone says of these very breedings with partners it has not "
    "seen; “your records” is the plain share with its exact interval; “together” is the model. "
    "Share from your records is one minus the variance after over the variance before.",
    "What is not known: why a bitch was given this method. Frozen semen is often kept for the "
    "special or the difficult bitch; a difference between methods is not what a change of method "
    "would do.",
)
"""How the chances of a litter came about; said only where they are shown."""


def fit_records(store_path: Path, *, seed: int, say: Callable[[str], None]) -> list[FitOutcome]:
    """Fit what the records allow and keep it."""
    with Store.open(store_path) as store:
        return fit_models(store, seed=seed, say=say)


def write_stud_reviews(
    store_path: Path, out: Path, *, today: date, studs: Sequence[str] = ()
) -> list[Path]:
    """Write the review of each stud, and the index.

    Parameters
    ----------
    store_path
        Records file; only read.
    out
        Folder, made when it does not exist.
    today
        Day of the pages.
    studs
        Call names; every male of the Dogs sheet that was collected or bred when empty.

    Returns
    -------
    list of Path
        The pages, the index last.

    Raises
    ------
    RecordsError
        A stud is not in the records.
    StaleFitError
        The kept fit no longer belongs to the model or the priors.
    """
    with Store.open(store_path, read_only=True) as store:
        views = {name: store.read(name) for name in (
            "dogs", "evaluations", "breedings", "events", "lab_tests", "findings",
        )}  # fmt: skip
        fitted = known(store, CONCEPTION)
        fingerprint = store.fingerprint()
    wanted = _chosen_studs(views, studs)
    provenance = _provenance(fingerprint, views, fitted.kept, today)
    out.mkdir(parents=True, exist_ok=True)
    pages: list[Path] = []
    links: list[Link] = []
    names = _file_names(wanted)
    for stud in wanted:
        results = _stud_results(stud, views, fitted, provenance, today)
        page = out / names[stud]
        _write(page, render(build_stud_review(results)))
        pages.append(page)
        links.append(Link(page.name, stud, results.facts))
    open_findings = views["findings"][views["findings"]["is_open"]]
    index = build_index(
        store_path.stem,
        tuple(links),
        open_findings,
        answer=(_records_sentence(views),),
        provenance=provenance,
    )
    _write(out / "index.html", render(index))
    return [*pages, out / "index.html"]


def run_demo(out: Path, *, seed: int, say: Callable[[str], None]) -> Path:
    """Load the invented kennel, fit, and write every page.

    Returns
    -------
    Path
        The index page.
    """
    out.mkdir(parents=True, exist_ok=True)
    store_path = out / "ambertarn.duckdb"
    say("demo: loading the sheets of the invented kennel Ambertarn")
    with Store.open(store_path) as store:
        report = store.load([DEMO / "records"], today=DEMO_TODAY)
    for sheet, count in report.sheets.items():
        say(f"  {sheet}: {count.n_new} new lines, {count.n_questions} questions")
    fit_records(store_path, seed=seed, say=say)
    say("demo: writing the pages")
    return write_stud_reviews(store_path, out, today=DEMO_TODAY)[-1]


def _stud_results(
    stud: str,
    views: dict[str, pd.DataFrame],
    fitted: Known[conception.ConceptionPosterior],
    provenance: str,
    today: date,
) -> StudResults:
    """Everything the review of one stud shows."""
    dog = views["dogs"][views["dogs"]["call_name"] == stud].iloc[0]
    evaluations = views["evaluations"][views["evaluations"]["stud"] == stud]
    breedings = views["breedings"][views["breedings"]["stud"] == stud]
    events = views["events"][views["events"]["dog"] == stud]
    tests = views["lab_tests"][views["lab_tests"]["dog"] == stud]
    cautions = cautions_for_dog(DogRecords(stud, evaluations, tests, events, breedings), today)
    raw = evaluations[(evaluations["stage"] == "raw") & evaluations["failed_reason"].isna()]
    readings = with_measures(raw, extra_cv=HOME_COUNT_CV)
    answer = [samples_sentence(stud, readings)]
    chances: tuple[SemenTypeChance, ...] = ()
    coefficients: tuple[Coefficient, ...] = ()
    if fitted.kept is not None and "conception" not in stopped_answers(cautions):
        chances, coefficients = _chances(fitted.posterior), _coefficients(fitted.posterior)
        if fitted.caveat:
            answer.insert(0, fitted.caveat)
        if len(breedings):
            answer.append(_litters_sentence(stud, fitted.posterior))
    method = (*METHOD_OF_READINGS, *(METHOD_OF_CHANCES if chances else ()))
    return StudResults(
        stud, _facts(dog), cautions, tuple(answer), readings, events, chances, coefficients,
        method, _sources(with_chances=bool(chances)), provenance, today,
    )  # fmt: skip


def _chances(fitted: conception.ConceptionPosterior) -> tuple[SemenTypeChance, ...]:
    """Chance of a litter by semen type over all breedings of the kennel."""
    data = fitted.data
    chances = []
    for semen_type in SEMEN_ORDER:
        chosen = data.semen_type == semen_type
        if not chosen.any():
            continue
        published, together = conception.own_breedings_prob(fitted, chosen)
        n_known, n_whelped, own = _own_share(data.whelped[chosen])
        chances.append(
            SemenTypeChance(
                semen_type,
                n_known,
                n_whelped,
                own,
                estimate_from_draws(published),
                estimate_from_draws(together),
                conception.share_from_records(together, published),
            )
        )
    return tuple(chances)


def _coefficients(fitted: conception.ConceptionPosterior) -> tuple[Coefficient, ...]:
    """The chain's coefficients; rows that no breeding could inform are left to the table."""
    return tuple(
        Coefficient(
            PRIORS[row].words,
            fitted.prior_estimate(row),
            fitted.estimate(row),
            fitted.share_from_records(row),
            PRIORS[row].mark,
        )
        for row in conception.COEFFICIENTS
    )


def _litters_sentence(stud: str, fitted: conception.ConceptionPosterior) -> str:
    """The sentence on this stud's breedings."""
    data = fitted.data
    chosen = data.groups["stud"] == data.levels["stud"].index(stud)
    published, together = conception.own_breedings_prob(fitted, chosen)
    n_known, n_whelped, own = _own_share(data.whelped[chosen])
    return litters_sentence(
        stud,
        n_known=n_known,
        n_whelped=n_whelped,
        own=own,
        published=estimate_from_draws(published),
        together=estimate_from_draws(together),
        share_from_records=conception.share_from_records(together, published),
    )


def _own_share(whelped: np.ndarray) -> tuple[int, int, Estimate | None]:
    """Known outcomes, litters, and their share with its exact interval."""
    n_known, n_whelped = int((whelped >= 0).sum()), int((whelped == 1).sum())
    if n_known == 0:
        return 0, 0, None
    lower, upper = exact_interval(n_whelped, n_known)
    return n_known, n_whelped, Estimate(n_whelped / n_known, float(lower), float(upper))


def _sources(*, with_chances: bool) -> tuple[str, ...]:
    """Every source of what is shown, once, with its mark."""
    rows = ["r01_sd", "r02_home"]
    if with_chances:
        rows += [*conception.COEFFICIENTS, "c19", "r05_sensitivity"]
    return tuple(sorted({f"{PRIORS[row].source} ({PRIORS[row].mark})" for row in rows}))


def _facts(dog: pd.Series) -> str:
    """The stud in one line."""
    parts = [dog["registered_name"], dog["breed"]]
    shown = [str(part) for part in parts if isinstance(part, str) and part]
    if not pd.isna(dog["born_on"]):
        shown.append(f"born {day(dog['born_on'])}")
    return " · ".join(shown)


def _records_sentence(views: dict[str, pd.DataFrame]) -> str:
    """What the records file holds."""
    bred = views["breedings"]
    n_unknown = int((~bred["outcome_known"].astype(bool)).sum())
    return (
        f"The records hold {len(views['dogs'])} dogs, {len(views['evaluations'])} readings and "
        f"attempts, and {len(bred)} breedings, of which {n_unknown} have no reported outcome."
    )


def _provenance(
    fingerprint: str, views: dict[str, pd.DataFrame], kept: KeptFit | None, today: date
) -> str:
    """One line: which records, which fit, which day."""
    if kept is None:
        fit = "no fit yet: run studcurve fit"
    else:
        made_by = ", ".join(f"{name} {version}" for name, version in sorted(kept.versions.items()))
        fit = (
            f"conception fit with seed {kept.seed}, R-hat {kept.diagnostics['max_rhat']:.3f}, "
            f"{kept.diagnostics['n_divergent']:.0f} divergences ({made_by})"
        )
    return f"As of {day(today)} · records {fingerprint[:12]} · {fit}"


def _chosen_studs(views: dict[str, pd.DataFrame], studs: Sequence[str]) -> list[str]:
    """Call names of the studs to review."""
    males = views["dogs"][views["dogs"]["sex"] == "male"]["call_name"].tolist()
    if not studs:
        used = set(views["evaluations"]["stud"]) | set(views["breedings"]["stud"])
        return sorted(name for name in males if name in used)
    by_lower = {name.lower(): name for name in males}
    unknown = [stud for stud in studs if stud.lower() not in by_lower]
    if unknown:
        known = ", ".join(sorted(males)) or "none"
        raise RecordsError(
            f"{unknown[0]!r} is no stud of these records; the studs are {known}. "
            "Add him to the Dogs sheet, or correct the name."
        )
    return [by_lower[stud.lower()] for stud in studs]


def _file_names(studs: Sequence[str]) -> dict[str, str]:
    """A plain file name for each stud, whatever his name holds."""
    names: dict[str, str] = {}
    for stud in studs:
        ascii_name = unicodedata.normalize("NFKD", stud).encode("ascii", "ignore").decode()
        base = re.sub(r"[^a-z0-9]+", "-", ascii_name.lower()).strip("-")[:60] or "stud"
        name, n = f"stud-{base}.html", 2
        while name in names.values():
            name, n = f"stud-{base}-{n}.html", n + 1
        names[stud] = name
    return names


def _write(path: Path, text: str) -> None:
    """Write a page; line ends are part of a script's digest."""
    path.write_text(text, encoding="utf-8", newline="\n")
