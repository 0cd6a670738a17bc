"""The whole story, top to bottom: sheets, records file, views, measures, models, pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

from pipelines.fit import FitOutcome, fit_models
from pipelines.kennel import Kennel, read_kennel, veiled
from pipelines.pages import (
    chosen_studs,
    file_names,
    provenance,
    records_sentence,
    stud_results,
)
from pipelines.store import Store
from reports.index import build_index
from reports.page import Link, Reader, render
from reports.stud_review import build_stud_review
from reports.words import Words

DEMO = Path(__file__).parents[1] / "demo_data"
"""The demo's sheets: beside the packages, in a clone as in an installed wheel."""

DEMO_TODAY = date(2026, 10, 31)
"""The day on which the demo's records end."""

ENGLISH_OWNER = Reader(Words("en"))
"""For whom pages are made unless another reader is named."""


def fit_records(store_path: Path, *, seed: int, say: Callable[[str], None]) -> list[FitOutcome]:
    """Fit what the records allow and keep it."""
    with Store.open(store_path) as store:
        return fit_models(store, seed=seed, say=say)


def write_stud_reviews(
    store_path: Path,
    out: Path,
    *,
    today: date,
    studs: Sequence[str] = (),
    reader: Reader = ENGLISH_OWNER,
    anonymous: bool = False,
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
    reader
        For whom.
    anonymous
        Whether names of dogs, people and places are left out.

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
    kennel = read_kennel(store_path, today)
    wanted = chosen_studs(kennel, studs)
    if anonymous:
        order = kennel.views["dogs"]["call_name"].tolist()
        kennel = veiled(kennel, reader.words)
        coded = dict(zip(order, kennel.views["dogs"]["call_name"], strict=True))
        wanted = [coded[stud] for stud in wanted]
    out.mkdir(parents=True, exist_ok=True)
    pages: list[Path] = []
    links: list[Link] = []
    names = file_names("stud", wanted)
    for stud in wanted:
        results = stud_results(kennel, stud, reader)
        page = out / names[stud]
        _write(page, render(build_stud_review(results, reader)))
        pages.append(page)
        links.append(Link(page.name, stud, results.facts))
    index = _index(kennel, tuple(links), reader)
    _write(out / "index.html", index)
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


def _index(kennel: Kennel, links: tuple[Link, ...], reader: Reader) -> str:
    findings = kennel.views["findings"]
    return render(
        build_index(
            kennel.name,
            links,
            findings[findings["is_open"].astype(bool)],
            answer=(records_sentence(kennel, reader.words),),
            provenance=provenance(kennel, reader.words),
            reader=reader,
        )
    )


def _write(path: Path, text: str) -> None:
    """Write a page; line ends are part of a script's digest."""
    path.write_text(text, encoding="utf-8", newline="\n")
