"""The whole story, top to bottom: sheets, records file, views, measures, models, pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from studcurve.analytics.plan.breeding_plan import BreedingPlan
from studcurve.pipelines.answers.answer import DEFAULT_SEED
from studcurve.pipelines.fits.fit import FitOutcome, fit_models
from studcurve.pipelines.pages.anonymous import without_names
from studcurve.pipelines.pages.comparison import (
    coming_breedings,
    comparison_results,
    records_of_pages,
)
from studcurve.pipelines.pages.files import file_names
from studcurve.pipelines.pages.handout import handout_results
from studcurve.pipelines.pages.kennel import Kennel, held, left_out, read_kennel, stopped_in
from studcurve.pipelines.pages.outcomes import outcomes_results
from studcurve.pipelines.pages.overview import overview_results
from studcurve.pipelines.pages.provenance import provenance
from studcurve.pipelines.pages.shipment_sheet import bitches_with_shipments, shipment_sheet_results
from studcurve.pipelines.pages.stud import (
    StudOfKennel,
    chosen_studs,
    facts,
    read_stud,
    read_studs,
)
from studcurve.pipelines.pages.stud_review import stud_results
from studcurve.pipelines.plan.comparison import on_one_core, plan_breeding
from studcurve.pipelines.plan.records import PlanRecords
from studcurve.pipelines.plan.replayed import read_replayed
from studcurve.pipelines.plan.wishes import Wishes
from studcurve.pipelines.records.database.store import Store
from studcurve.reports.page import Link, Reader, render
from studcurve.reports.pages.comparison import ComparisonResults, build_comparison
from studcurve.reports.pages.handout import N_SHEETS, build_handout
from studcurve.reports.pages.index import build_index
from studcurve.reports.pages.outcomes import OutcomesResults, build_outcomes
from studcurve.reports.pages.overview import OverviewResults, build_overview
from studcurve.reports.pages.shipment_sheet import build_shipment_sheet
from studcurve.reports.pages.stud_review import build_stud_review
from studcurve.reports.pdf import Paper, can_set_type, pdf
from studcurve.reports.sections.sources import on_one_line
from studcurve.reports.words import Words

DEMO = Path(__file__).parents[1] / "demo_data"
"""The demo's sheets: beside the packages, in a clone as in an installed wheel."""

DEMO_TODAY = date(2026, 10, 31)
"""The day on which the demo's records end."""

ENGLISH_OWNER = Reader(Words("en"))
ENGLISH_VET = Reader(Words("en"), "vet")
ENGLISH_CLIENT = Reader(Words("en"), "client")
"""For whom pages are made unless another reader is named."""

N_DEMO_SHEETS = 2
"""Client sheets that the demo writes: the last shipments."""

N_DEMO_COMPARISONS = 2
"""Comparisons that the demo writes: the bitches whose heats began last."""

NO_PDF = (
    "No PDF without the extra pdf (pip install 'studcurve[pdf]'); print the page from a browser."
)
"""Said where a PDF was to be expected."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """A page that was written, and its line in the index."""

    page: Path
    link: Link

    def with_more(self, handout: Sequence[Path], reader: Reader) -> Shelf:
        """The same line with a handout, and its PDF where there is one, beside it."""
        page, *sheets = handout
        more = (
            (page.name, reader.words["index.handout"]),
            *((sheet.name, "PDF") for sheet in sheets),
        )
        return replace(self, link=replace(self.link, more=more))


def fit_records(
    store_path: Path, *, today: date, seed: int, say: Callable[[str], None]
) -> list[FitOutcome]:
    """Fit what the records allow and keep it.

    Parameters
    ----------
    store_path
        Records file.
    today
        Day on which cautions are read: what is summed holds no breeding of a dog that one stops.
    seed
        Of the sampler.
    say
        Called with each sentence of progress.
    """
    with Store.open(store_path, make=False) as store:
        return fit_models(store, seed=seed, say=say, silent=stopped_in(store, today))


@on_one_core
def write_stud_reviews(
    store_path: Path,
    out: Path,
    *,
    today: date,
    studs: Sequence[str] = (),
    reader: Reader = ENGLISH_OWNER,
    anonymous: bool = False,
) -> list[Path]:
    """Write the review of each stud.

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
        The pages.

    Raises
    ------
    RecordsError
        A stud is not in the records.
    StaleFitError
        The kept fit no longer belongs to the model or the priors.
    """
    kennel = read_kennel(store_path, today)
    kennel, wanted = _seen_by(kennel, chosen_studs(kennel, studs), reader, anonymous=anonymous)
    shelves = _reviews(kennel, [read_stud(kennel, name) for name in wanted], out, reader)
    return [shelf.page for shelf in shelves]


@on_one_core
def write_pages(
    store_path: Path,
    out: Path,
    *,
    today: date,
    studs: Sequence[str] = (),
    reader: Reader = ENGLISH_OWNER,
    anonymous: bool = False,
) -> list[Path]:
    """Write the review of each stud, the overview, and the index that leads to them, the last.

    Arguments as for the stud reviews.
    """
    kennel = read_kennel(store_path, today)
    kennel, wanted = _seen_by(kennel, chosen_studs(kennel, studs), reader, anonymous=anonymous)
    everyone = read_studs(kennel)
    reviewed = [read_stud(kennel, name) for name in wanted] if studs else everyone
    on_overview = overview_results(kennel, everyone)
    along = outcomes_results(kennel, told=on_overview.outcomes_along)
    shelves = (
        _overview(on_overview, out, reader),
        _outcomes(along, out, reader),
        *_reviews(kennel, reviewed, out, reader),
    )
    return [*(shelf.page for shelf in shelves), _index(kennel, shelves, out, reader)]


@on_one_core
def write_overview(
    store_path: Path,
    out: Path,
    *,
    today: date,
    reader: Reader = ENGLISH_OWNER,
    anonymous: bool = False,
) -> Path:
    """Write the program overview; arguments as for the stud reviews."""
    kennel, _ = _seen_by(read_kennel(store_path, today), [], reader, anonymous=anonymous)
    return _overview(overview_results(kennel, read_studs(kennel)), out, reader).page


@on_one_core
def write_outcomes(
    store_path: Path,
    out: Path,
    *,
    today: date,
    stud: str | None = None,
    reader: Reader = ENGLISH_OWNER,
    anonymous: bool = False,
) -> Path:
    """Write what went with litters and litter size.

    Parameters
    ----------
    store_path, out, today, reader, anonymous
        As for the stud reviews.
    stud
        Call name of the stud whose breedings it is about; all by default.
    """
    kennel = read_kennel(store_path, today)
    wanted = [] if stud is None else chosen_studs(kennel, [stud])
    kennel, names = _seen_by(kennel, wanted, reader, anonymous=anonymous)
    results = outcomes_results(kennel, read_stud(kennel, names[0]) if names else None)
    return _outcomes(results, out, reader).page


@on_one_core
def write_handout(
    store_path: Path,
    stud: str,
    out: Path,
    *,
    today: date,
    question: str = "",
    paper: Paper = "a4",
    reader: Reader = ENGLISH_VET,
    anonymous: bool = False,
) -> list[Path]:
    """Write the handout on one stud for the veterinarian, as a page and, where it can be, a PDF.

    Parameters
    ----------
    store_path, out, today, reader, anonymous
        As for the stud reviews.
    stud
        Call name.
    question
        What the veterinarian is asked, in the owner's words.
    paper
        Size of the PDF's sheets.

    Returns
    -------
    list of Path
        The page, and the PDF where the extra ``pdf`` is installed.
    """
    kennel = read_kennel(store_path, today)
    kennel, wanted = _seen_by(kennel, chosen_studs(kennel, [stud]), reader, anonymous=anonymous)
    return _handout(kennel, read_stud(kennel, wanted[0]), out, question, paper, reader)


@on_one_core
def write_shipment_sheet(
    store_path: Path,
    bitch: str,
    out: Path,
    *,
    today: date,
    reader: Reader = ENGLISH_CLIENT,
    anonymous: bool = False,
) -> Path:
    """Write the sheet that goes to a client with her bitch's last shipment.

    Parameters
    ----------
    store_path, out, today, reader, anonymous
        As for the stud reviews.
    bitch
        Her name as the Shipments sheet has it.
    """
    kennel = read_kennel(store_path, today)
    kennel, wanted = _seen_by(kennel, [bitch], reader, anonymous=anonymous)
    return _shipment_sheet(kennel, wanted[0], out, reader).page


def write_comparison(
    plan: BreedingPlan,
    records: PlanRecords,
    out: Path,
    *,
    reader: Reader = ENGLISH_OWNER,
    anonymous: bool = False,
) -> Path:
    """Write the page of one comparison.

    Parameters
    ----------
    plan, records
        The comparison, with its grids, and what it was made from.
    out, reader, anonymous
        As for the stud reviews.
    """
    return _comparison(
        comparison_results(plan, records, reader, anonymous=anonymous), out, reader
    ).page


def run_demo(out: Path, *, seed: int, say: Callable[[str], None]) -> Path:
    """Load the invented kennel with what was forecast of it, fit, and write every page.

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
        store.end_on(DEMO_TODAY)
        n_replayed = add_replayed(store)
    say(f"  {n_replayed} chances of a litter as they would have been stated in their time")
    for sheet, count in report.sheets.items():
        say(f"  {sheet}: {count.n_new} new lines, {count.n_questions} questions")
    fit_records(store_path, today=DEMO_TODAY, seed=seed, say=say)
    say("demo: writing the pages")
    return write_every_page(store_path, out, today=DEMO_TODAY, say=say)


def add_replayed(store: Store) -> int:
    """Keep what would have been forecast of the demo's breedings, once; how many there are.

    Each was made from the records of its own day (``demo_data/replay.py``), so no load of this file
    counts as known to it.
    """
    replayed = read_replayed(DEMO / "forecasts.json", store.read("dogs"))
    if not store.read("forecasts")["command"].eq("replay").any():
        store.add_forecasts(replayed.forecasts, load_id=0)
    return len(replayed.forecasts)


@on_one_core
def write_every_page(
    store_path: Path, out: Path, *, today: date, say: Callable[[str], None]
) -> Path:
    """Write every kind of page, in English, and the pages of one stud in German.

    Returns
    -------
    Path
        The index page.
    """
    kennel = read_kennel(store_path, today)
    studs = read_studs(kennel)
    on_overview = overview_results(kennel, studs)
    overview = _overview(on_overview, out, ENGLISH_OWNER)
    along = outcomes_results(kennel, told=on_overview.outcomes_along)
    outcomes = _outcomes(along, out, ENGLISH_OWNER)
    reviews = _reviews(kennel, studs, out, ENGLISH_OWNER)
    say(f"  {len(reviews)} stud reviews, 1 overview")
    if not can_set_type():
        say(NO_PDF)
    reviews = [
        review.with_more(_handout(kennel, stud, out, "", "a4", ENGLISH_VET), ENGLISH_OWNER)
        for review, stud in zip(reviews, studs, strict=True)
    ]
    sheets = [
        _shipment_sheet(kennel, bitch, out, ENGLISH_CLIENT)
        for bitch in bitches_with_shipments(kennel, N_DEMO_SHEETS)
    ]
    records = records_of_pages(kennel)
    plans = [
        plan_breeding(records, stud, bitch, Wishes(), seed=DEFAULT_SEED, with_grids=True)
        for stud, bitch in coming_breedings(kennel, N_DEMO_COMPARISONS)
    ]
    german, there = Reader(Words("de")), out / "de"
    comparisons, compared_in_german = (
        [
            _comparison(comparison_results(plan, records, reader, anonymous=False), folder, reader)
            for plan in plans
        ]
        for reader, folder in ((ENGLISH_OWNER, out), (german, there))
    )
    in_german = (
        _overview(on_overview, there, german),
        _outcomes(along, there, german),
        *_reviews(kennel, studs[:1], there, german),
        *compared_in_german,
    )
    german_index = Shelf(
        _index(kennel, in_german, there, german),
        Link("de/index.html", german.words["index.title"], ENGLISH_OWNER.words["index.german"]),
    )
    shelves = (overview, outcomes, *reviews, *sheets, *comparisons, german_index)
    return _index(kennel, shelves, out, ENGLISH_OWNER)


def _seen_by(
    kennel: Kennel, names: Sequence[str], reader: Reader, *, anonymous: bool
) -> tuple[Kennel, list[str]]:
    """The kennel as the reader may see it, and the names by which it then goes."""
    if not anonymous:
        return kennel, list(names)
    return without_names(kennel, names, reader.words)


def _reviews(
    kennel: Kennel, studs: Sequence[StudOfKennel], out: Path, reader: Reader
) -> list[Shelf]:
    names = file_names("stud", [stud.name for stud in studs])
    shelves = []
    for stud in studs:
        report = build_stud_review(stud_results(kennel, stud, reader.audience), reader)
        link = Link(names[stud.name], stud.name, on_one_line(facts(stud.row), reader.words))
        shelves.append(Shelf(_write(out / names[stud.name], render(report)), link))
    return shelves


def _overview(results: OverviewResults, out: Path, reader: Reader) -> Shelf:
    report = build_overview(results, (), reader)
    page = _write(out / "overview.html", render(report))
    words = reader.words
    return Shelf(page, Link(page.name, words["overview.kind"], words["overview.lead"]))


def _outcomes(results: OutcomesResults, out: Path, reader: Reader) -> Shelf:
    name = "outcomes.html"
    if results.is_of_one_stud:
        name = file_names("outcomes", [results.title])[results.title]
    page = _write(out / name, render(build_outcomes(results, reader)))
    words = reader.words
    return Shelf(page, Link(page.name, words["outcomes.kind"], words["index.outcomes"]))


def _handout(
    kennel: Kennel, stud: StudOfKennel, out: Path, question: str, paper: Paper, reader: Reader
) -> list[Path]:
    report = build_handout(handout_results(kennel, stud, question, reader.audience), reader)
    page = _write(out / file_names("handout", [stud.name])[stud.name], render(report))
    if not can_set_type():
        return [page]
    sheets = page.with_suffix(".pdf")
    sheets.write_bytes(pdf(report, paper, at_most=N_SHEETS))
    return [page, sheets]


def _shipment_sheet(kennel: Kennel, bitch: str, out: Path, reader: Reader) -> Shelf:
    results = shipment_sheet_results(kennel, bitch)
    name = file_names("shipment-sheet", [results.bitch])[results.bitch]
    words = reader.words
    page = _write(out / name, render(build_shipment_sheet(results, reader)))
    return Shelf(
        page, Link(name, f"{words['shipment_sheet.kind']}: {bitch}", words["index.shipment_sheet"])
    )


def _comparison(results: ComparisonResults, out: Path, reader: Reader) -> Shelf:
    pair, words = results.plan.pair, reader.words
    name = file_names("compare", [f"{pair.stud} {pair.bitch}"])[f"{pair.stud} {pair.bitch}"]
    title = words.say("comparison.title", stud=pair.stud, bitch=pair.bitch)
    page = _write(out / name, render(build_comparison(results, reader)))
    return Shelf(page, Link(name, title, words["comparison.kind"]))


def _index(kennel: Kennel, shelves: Sequence[Shelf], out: Path, reader: Reader) -> Path:
    findings = kennel.views["findings"]
    report = build_index(
        kennel.name,
        tuple(shelf.link for shelf in shelves),
        findings[findings["is_open"].astype(bool)],
        answer=tuple(reader.words.tell(sentence) for sentence in (held(kennel), *left_out(kennel))),
        provenance=on_one_line(provenance(kennel), reader.words),
        reader=reader,
    )
    return _write(out / "index.html", render(report))


def _write(path: Path, text: str) -> Path:
    """Write a page; line ends are part of a script's digest."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")
    return path
