"""The program overview: what is due, what nobody reported, and what became of every breeding."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import pandas as pd

from studcurve.analytics.cautions import Caution
from studcurve.analytics.estimate import Estimate
from studcurve.analytics.measures.stages import StagesCompared
from studcurve.analytics.models.conception.bred import SemenTypeChance
from studcurve.analytics.models.litter.sizes import LitterSizes
from studcurve.analytics.models.stud.summary import StudSummary
from studcurve.analytics.outcomes.methods import MethodOutcome
from studcurve.analytics.sentences import Sentence, Word
from studcurve.analytics.wording.checks import Checks
from studcurve.analytics.wording.ledger import LedgerWording
from studcurve.analytics.wording.outcomes import OutcomesWording
from studcurve.analytics.wording.sources import Source
from studcurve.reports.charts.litters import outcome_flow
from studcurve.reports.page import Link, Reader, Report, Section, Table, columns
from studcurve.reports.pages.stud_review import chances_section
from studcurve.reports.sections.ledger import ledger_annex, ledger_section
from studcurve.reports.sections.litter_sizes import litter_sizes_section
from studcurve.reports.sections.outcomes import methods_section, outcomes_section
from studcurve.reports.sections.sources import in_words, on_one_line
from studcurve.reports.sections.stored import stages_section
from studcurve.reports.sections.stud_over_time import state_text
from studcurve.reports.sections.trust import check_lines, checks_annex
from studcurve.reports.words import Words

SCANS = ("pregnant", "unknown", "not pregnant")
OUTCOMES = ("whelped", "unknown", "no litter")
PUPS = ("n_born_alive", "n_stillborn", "n_followed", "n_alive_8_weeks")
KIND = {
    "pregnant": "good", "not pregnant": "other", "whelped": "good", "no litter": "other",
    "unknown": "unknown",
}  # fmt: skip
"""How a step is drawn: what went on, what did not, what nobody knows."""


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that is due.

    Attributes
    ----------
    on, until
        The day, or the first and the last of its days.
    is_late
        Whether they have passed.
    what
        To do.
    """

    on: date
    until: date
    is_late: bool
    what: Sentence


@dataclass(frozen=True, slots=True)
class Unreported:
    """A breeding or a shipment whose outcome nobody reported.

    Attributes
    ----------
    on
        Day of the breeding, or on which the shipment left.
    bitch, stud
        Call names; the bitch is empty where the shipment named none.
    what
        Semen type, or a shipment.
    n_days
        Days since.
    """

    on: date
    bitch: str
    stud: str
    what: Word
    n_days: int


@dataclass(frozen=True, slots=True)
class StudRow:
    """One stud in a line.

    Attributes
    ----------
    stud
        Call name.
    last_on, last_total_m
        Last counted sample. [10⁶]
    summary
        What the level of total sperm says; None without one, or where a caution stops it.
    brucella, brucella_on
        Last result as recorded, and its day.
    n_bred, n_known, n_whelped
        Breedings, known outcomes, litters.
    pups_per_litter
        Mean born alive; None without a counted litter.
    is_stopped
        Whether a caution keeps his numbers back.
    """

    stud: str
    last_on: date | None
    last_total_m: float
    summary: StudSummary | None
    brucella: str | None
    brucella_on: date | None
    n_bred: int
    n_known: int
    n_whelped: int
    pups_per_litter: float | None
    is_stopped: bool


@dataclass(frozen=True, slots=True)
class YearRow:
    """One year in a line: breedings, known outcomes, litters with their interval, pups."""

    year: int
    n_bred: int
    n_known: int
    n_whelped: int
    share: Estimate | None
    n_born_alive: int


@dataclass(frozen=True, slots=True)
class OverviewResults:
    """Everything the page shows, finished.

    Attributes
    ----------
    kennel
        Name.
    cautions
        What must be said of bitches in heat.
    answer
        What is said, sentence by sentence.
    due, unreported
        What is due, and what nobody reported; in order.
    outcomes
        Breedings by scan and outcome, with their pups.
    studs, years
        In a line each.
    chances, of_chances
        By semen type, empty without a fit; what must be said before they are read.
    methods
        The same bitches with each semen type; empty without a fit, or of one type.
    litters
        By size; None without a litter.
    stages
        What happened to samples between stages; None without any pair.
    straws
        Rows of the view ``frozen_lots`` with straws left.
    method, sources, provenance
        As on every page.
    checks
        How far the models can be trusted.
    forecasts
        What became of the chances that were stated.
    outcomes_along
        What motility, concentration, hours and day went with.
    """

    kennel: str
    cautions: tuple[Caution, ...]
    answer: tuple[Sentence, ...]
    due: tuple[Due, ...]
    unreported: tuple[Unreported, ...]
    outcomes: pd.DataFrame
    studs: tuple[StudRow, ...]
    years: tuple[YearRow, ...]
    chances: tuple[SemenTypeChance, ...]
    of_chances: tuple[Sentence, ...]
    methods: tuple[MethodOutcome, ...]
    litters: LitterSizes | None
    stages: StagesCompared | None
    straws: pd.DataFrame
    method: tuple[str, ...]
    sources: tuple[Source | Sentence, ...]
    provenance: tuple[Sentence, ...]
    checks: Checks
    forecasts: LedgerWording
    outcomes_along: OutcomesWording


def build_overview(results: OverviewResults, links: tuple[Link, ...], reader: Reader) -> Report:
    """Lay out the overview: due and unreported first."""
    words = reader.words
    sections = [_due(results.due, words), _unreported(results.unreported, words)]
    if not results.outcomes.empty:
        sections.append(_outcomes(results.outcomes, words))
    if results.chances:
        sentences = tuple(words.tell(sentence) for sentence in results.of_chances)
        sections.append(replace(chances_section(results.chances, words), paragraphs=sentences))
    sections.append(methods_section(results.methods, words))
    sections.append(outcomes_section(results.outcomes_along, words))
    sections.append(ledger_section(results.forecasts, words))
    if results.litters is not None:
        sections.append(litter_sizes_section(results.litters, words))
    sections += [_studs(results.studs, words), _years(results.years, words)]
    if results.stages is not None:
        sections.append(stages_section(results.stages, words))
    if not results.straws.empty:
        sections.append(_straws(results.straws, words))
    return Report(
        kind=words["overview.kind"],
        title=results.kennel,
        subtitle=words["overview.lead"],
        cautions=results.cautions,
        answer=tuple(words.tell(sentence) for sentence in results.answer),
        sections=tuple(section for section in sections if section is not None),
        links=links,
        method=(
            *(words[f"method.{name}"] for name in results.method),
            *check_lines(results.checks, words),
            *(
                " ".join(words.tell(sentence) for sentence in paragraph)
                for paragraph in results.forecasts.paragraphs
            ),
        ),
        sources=in_words(results.sources, words),
        provenance=on_one_line(results.provenance, words),
        glossary=("interval", "chance", "records_weight"),
        reader=reader,
        annex=(
            *checks_annex(results.checks, words),
            *ledger_annex(results.forecasts, words),
        ),
    )


def _due(due: Sequence[Due], words: Words) -> Section | None:
    """What is due, the nearest first."""
    if not due:
        return None
    rows = tuple((_when(item, words), words.tell(item.what)) for item in due)
    names = ["due_on", "what"]
    table = Table(words["overview.due"], columns(words, names, texts_in=set(names)), rows)
    return Section("due", words["overview.due"], words["overview.due_lead"], table=table)


def _when(item: Due, words: Words) -> str:
    """Its days; what is late says so in words."""
    if item.is_late:
        return words.say("overview.late", on=item.until)
    if item.on == item.until:
        return words.day(item.on)
    return words.say("overview.between", on=item.on, until=item.until)


def _unreported(unreported: Sequence[Unreported], words: Words) -> Section | None:
    """Outcomes to ask for, the oldest first."""
    if not unreported:
        return None
    rows = tuple(
        (
            words.day(item.on),
            item.bitch or "–",
            item.stud,
            words.word(item.what.kind, item.what.word),
            words.number(item.n_days),
        )
        for item in unreported
    )
    names = ["bred_on", "bitch", "stud", "semen", "days_since"]
    table = Table(
        words["overview.unreported"],
        columns(words, names, texts_in=set(names) - {"days_since"}),
        rows,
    )
    n_shipments = sum(item.what.word == "shipment" for item in unreported)
    n_outcomes = len(unreported) - n_shipments
    lead = words.say(
        "overview.unreported_lead",
        outcomes=words.say("overview.unreported_outcomes", n=n_outcomes),
        shipments=words.say("overview.unreported_shipments", n=n_shipments) if n_shipments else "",
    )
    return Section("unreported", words["overview.unreported"], lead, table=table)


def _outcomes(outcomes: pd.DataFrame, words: Words) -> Section:
    """What became of every breeding, as a picture and as a table."""
    by_end = {(row["scan"], row["outcome"]): row for row in outcomes.to_dict("records")}
    rows = tuple(
        (
            words.word("scan", scan),
            words.word("outcome", outcome),
            words.number(row["n_breedings"]),
            words.number(row["n_litters_counted"]),
            # Without a litter there are no pups to be counted: a zero would be a count.
            *(words.number(row[pups]) if row["n_litters_counted"] else "–" for pups in PUPS),
        )
        for scan in SCANS
        for outcome in OUTCOMES
        if (row := by_end.get((scan, outcome))) is not None
    )
    names = [
        "scan", "outcome", "breedings", "litters_counted", "born_alive", "stillborn", "followed",
        "alive_8_weeks",
    ]  # fmt: skip
    heading = words["overview.outcomes"]
    n_bred = int(outcomes["n_breedings"].sum())
    n_unknown = int(outcomes.loc[outcomes["outcome"] == "unknown", "n_breedings"].sum())
    spoken = words.say(
        "overview.outcomes_spoken",
        n=n_bred,
        n_whelped=int(outcomes.loc[outcomes["outcome"] == "whelped", "n_breedings"].sum()),
        n_unknown=n_unknown,
    )
    return Section(
        "outcomes",
        heading,
        words["overview.outcomes_lead"],
        charts=((spoken, outcome_flow(flow_blocks(outcomes, words), words)),),
        table=Table(heading, columns(words, names, texts_in={"scan", "outcome"}), rows),
    )


def flow_blocks(outcomes: pd.DataFrame, words: Words) -> pd.DataFrame:
    """Blocks of the picture: each as high as its share of what it comes from.

    Parameters
    ----------
    outcomes
        Breedings by scan and outcome, with their pups.
    words
        Of the reader.
    """
    blocks: list[dict[str, float | int | str]] = []

    def add(step: int, span: tuple[float, float], kind: str, key: str, n: int) -> None:
        text = words.say(f"flow.{key}", n=n)
        blocks.append(
            {"step": step, "top": span[0], "bottom": span[1], "kind": kind, "about": text}
        )

    n_bred = int(outcomes["n_breedings"].sum())
    add(0, (0.0, 1.0), "good", "bred", n_bred)
    top = 0.0
    for scan in SCANS:
        of_scan = outcomes[outcomes["scan"] == scan]
        n_scan = int(of_scan["n_breedings"].sum())
        if n_scan == 0:
            continue
        add(1, (top, top + n_scan / n_bred), KIND[scan], f"scan_{scan.replace(' ', '_')}", n_scan)
        for outcome in OUTCOMES:
            row = of_scan[of_scan["outcome"] == outcome]
            n = int(row["n_breedings"].sum())
            if n == 0:
                continue
            span = (top, top + n / n_bred)
            add(2, span, KIND[outcome], f"outcome_{outcome.replace(' ', '_')}", n)
            top = span[1]
            if outcome == "whelped":
                _pups(row.iloc[0], span, add)
    return pd.DataFrame(blocks)


def _pups(row: pd.Series, span: tuple[float, float], add: Callable[..., None]) -> None:
    """The two last steps of the litters: pups born, and pups alive at eight weeks."""
    height = span[1] - span[0]
    n, counted = int(row["n_breedings"]), int(row["n_litters_counted"])
    alive, still = int(row["n_born_alive"]), int(row["n_stillborn"])
    followed, weaned = int(row["n_followed"]), int(row["n_alive_8_weeks"])
    parts = (
        (alive * counted / max(1, alive + still) / n, "good", "born_alive", alive),
        (still * counted / max(1, alive + still) / n, "other", "stillborn", still),
        ((n - counted) / n, "unknown", "not_counted", n - counted),
    )
    top = span[0]
    for share, kind, key, count in parts:
        if count == 0:
            continue
        bottom = top + share * height
        add(3, (top, bottom), kind, key, count)
        if key == "born_alive":
            last = top
            for later, kind_later, key_later in (
                (weaned, "good", "alive_8_weeks"),
                (followed - weaned, "other", "lost_8_weeks"),
                (alive - followed, "unknown", "not_followed"),
            ):
                if later > 0:
                    end = last + (bottom - top) * later / alive
                    add(4, (last, end), kind_later, key_later, later)
                    last = end
        top = bottom


def _studs(studs: Sequence[StudRow], words: Words) -> Section:
    """Each stud in a line; a stopped one without his shares."""
    rows = tuple(
        (
            row.stud,
            words.day(row.last_on),
            words.number(row.last_total_m),
            *_level(row.summary, words),
            f"{words.word('result', row.brucella)}, {words.day(row.brucella_on)}"
            if row.brucella
            else words["page.not_recorded"],
            words.number(row.n_bred),
            words.number(row.n_known),
            words["overview.stopped"] if row.is_stopped else words.number(row.n_whelped),
            words["overview.stopped"] if row.is_stopped else words.number(row.pups_per_litter, 1),
        )
        for row in studs
    )
    names = [
        "stud", "last_sample", "total", "level", "announced", "brucella", "breedings", "known",
        "whelped", "pups_per_litter",
    ]  # fmt: skip
    texts = {"stud", "last_sample", "announced", "brucella"}
    table = Table(words["overview.studs"], columns(words, names, texts_in=texts), rows)
    rule = next((row.summary.rule for row in studs if row.summary is not None), None)
    flags = () if rule is None else (
        words.say(
            "overview.studs_flags", sure=100 * rule.sure_prob, kennel=rule.false_prob,
            n_studs=rule.n_studs, n_measures=rule.n_measures,
        ),
    )  # fmt: skip
    return Section(
        "studs", words["overview.studs"], words["overview.studs_lead"], paragraphs=flags,
        table=table,
    )  # fmt: skip


def _level(summary: StudSummary | None, words: Words) -> tuple[str, str]:
    """Level of total sperm with its interval, and whether a fall is announced."""
    if summary is None:
        return "–", "–"
    now = summary.answers.now
    ends = words.interval(now.lower, now.upper)
    return f"{words.number(now.median)} ({ends})", state_text(summary, words)


def _years(years: Sequence[YearRow], words: Words) -> Section:
    """Each year in a line."""
    rows = tuple(
        (
            str(row.year),
            words.number(row.n_bred),
            words.number(row.n_known),
            words.number(row.n_whelped),
            words.percent(row.share),
            words.number(row.n_born_alive),
        )
        for row in years
    )
    names = ["year", "breedings", "known", "whelped", "litter_share", "born_alive"]
    table = Table(words["overview.years"], columns(words, names, texts_in={"year"}), rows)
    return Section("years", words["overview.years"], words["overview.years_lead"], table=table)


def _straws(straws: pd.DataFrame, words: Words) -> Section:
    """Frozen stock that is left."""
    rows = tuple(
        (
            str(lot["stud"]),
            str(lot["lot"]),
            words.day(lot["frozen_on"]),
            words.number(lot["n_straws_left"]),
            words.number(lot["n_straws_per_dose"]),
            words.number(lot["motile_per_straw_m"]),
            words.number(lot["post_thaw_progressive_motility_pct"]),
        )
        for lot in straws.to_dict("records")
    )
    names = [
        "stud", "lot", "frozen_on", "straws_left", "straws_per_dose", "per_straw", "post_thaw",
    ]  # fmt: skip
    texts = {"stud", "lot", "frozen_on"}
    table = Table(words["overview.straws"], columns(words, names, texts_in=texts), rows)
    return Section("straws", words["overview.straws"], "", table=table)
