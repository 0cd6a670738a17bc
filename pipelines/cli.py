"""The terminal: parse, call one function, print. Nothing is decided here.

Exit codes: 0 done, 1 a person is needed (a sentence says what to do), 2 wrong usage, 3 an error of
the program (a sentence names the file to send). Answers go to standard output, progress to standard
error. Heavy packages are imported inside the commands, so
that ``--help`` and the bench commands start at once.
"""

from __future__ import annotations

import errno
import os
import sys
from dataclasses import asdict
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer
from typer.main import get_command

from studcurve.analytics.errors import ToolkitError
from studcurve.pipelines.answers.answer import DEFAULT_SEED, printable, wrapped
from studcurve.pipelines.commands import daily
from studcurve.pipelines.commands.bench import bench
from studcurve.pipelines.commands.plan import compare, season
from studcurve.pipelines.commands.terminal import (
    DEFAULT_STORE,
    Commands,
    JsonOption,
    PageReader,
    SeedOption,
    StoreOption,
    TodayOption,
    asked_on,
    show_json,
)

if TYPE_CHECKING:
    from studcurve.reports.page import Reader


class DayOrder(Enum):
    """Order of day and month in a date with slashes or dots."""

    DAY_FIRST = "day-first"
    MONTH_FIRST = "month-first"


class Language(Enum):
    """Language of a page."""

    ENGLISH = "en"
    GERMAN = "de"


class Sheet(Enum):
    """Size of a sheet of paper."""

    A4 = "a4"
    LETTER = "us-letter"


NAME = "studcurve"

MENDABLE = (
    errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOSPC, errno.EDQUOT, errno.EEXIST,
    errno.EISDIR, errno.ENOTDIR, errno.ENAMETOOLONG,
)  # fmt: skip
"""What a disk or a folder refuses and a person can mend."""

app = Commands(
    help="Breeding-program analytics for kennels: records, models, reports.",
    pretty_exceptions_show_locals=False,
    rich_markup_mode=None,
    invoke_without_command=True,
    add_completion=True,
)

app.add_typer(bench, name="bench")
app.command()(daily.box)
app.command()(daily.card)
app.command()(compare)
app.command()(season)

DatesOption = Annotated[
    DayOrder | None,
    typer.Option("--dates", help="Which comes first in dates such as 03/04/2024."),
]
LanguageOption = Annotated[Language, typer.Option("--language", help="Language of the pages.")]
AudienceOption = Annotated[
    PageReader,
    typer.Option("--for", help="Who reads: a vet sees no prices, a client nothing of others."),
]
AnonymousOption = Annotated[
    bool, typer.Option("--anonymous", help="Leave out the names of dogs, people and places.")
]
NumbersArgument = Annotated[list[int], typer.Argument(metavar="NUMBER...", help="Of findings.")]
ReasonOption = Annotated[str | None, typer.Option("--reason", help="Kept with the decision.")]


def _progress(sentence: str) -> None:
    typer.echo(sentence, err=True)


@app.callback()
def first(context: typer.Context) -> None:
    """Breeding-program analytics for kennels; without a command: what is due."""
    if context.invoked_subcommand is None:
        due(store=Path(os.environ.get("STUDCURVE_STORE", DEFAULT_STORE)))


@app.command()
def due(
    store: StoreOption = DEFAULT_STORE,
    today: TodayOption = None,
    days: Annotated[
        int, typer.Option("--days", min=0, max=3660, help="How far ahead to look.")
    ] = 14,
    as_json: JsonOption = False,
) -> None:
    """Print what is due: blood draws, inseminations, scans, whelpings, outcomes, tests, straws."""
    from studcurve.pipelines.due.items import due_lines, due_rows, read_due
    from studcurve.reports.words import Words

    words, on = Words("en"), asked_on(today, store)
    items = read_due(store, today=on, ahead_days=days)
    if as_json:
        show_json(due_rows(items, words))
    else:
        for line in due_lines(items, words, today=on):
            typer.echo(printable(line))


@app.command()
def demo(
    out: Annotated[Path, typer.Option("--out", help="Folder of the demo.", file_okay=False)] = Path(
        "studcurve-demo"
    ),
    seed: SeedOption = DEFAULT_SEED,
) -> None:
    """Make the invented kennel: its records file, its fit and its pages."""
    from studcurve.pipelines.run import run_demo

    index = run_demo(out, seed=seed, say=_progress)
    typer.echo(f"Open {index} in a browser; the records file lies beside it.")


@app.command()
def load(
    paths: Annotated[list[Path], typer.Argument(help="Workbooks, CSV sheets, or folders of them.")],
    store: StoreOption = DEFAULT_STORE,
    today: TodayOption = None,
    dates: DatesOption = None,
    check: Annotated[bool, typer.Option("--check", help="Check and change nothing.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Read sheets into the records file; what cannot be true is kept apart with its reason."""
    from studcurve.pipelines.records.database.store import Store
    from studcurve.reports.findings import with_texts
    from studcurve.reports.words import Words

    on = asked_on(today, store)
    with Store.open_copy(store) if check else Store.open(store) as opened:
        report = opened.load(
            paths, today=on, day_order=dates.value if dates else None, check_only=check
        )
    findings = with_texts(report.findings, Words("en"))
    if as_json:
        sheets = {sheet: asdict(count) for sheet, count in report.sheets.items()}
        show_json({"sheets": sheets, "findings": findings.to_dict("records")})
    else:
        for sheet, count in report.sheets.items():
            typer.echo(
                f"{sheet}: {count.n_new} new, {count.n_changed} changed, "
                f"{count.n_unchanged} unchanged, {count.n_refused} refused, "
                f"{count.n_doubtful} doubtful, {count.n_questions} questions"
            )
        for finding in findings.to_dict("records"):
            typer.echo(_finding_line(finding))
    if report.n_refused:
        typer.echo(
            "Refused lines are kept and not used. Correct them in their file and load it again; "
            "`studcurve refused` lists them.",
            err=True,
        )
    if report.n_doubtful:
        typer.echo(
            "Doubtful lines are kept and left out of every number. Correct them in their file and "
            "load it again, or say that they are right: `studcurve refused` lists them, "
            "`studcurve confirm NUMBER` lets them count.",
            err=True,
        )
    if report.n_refused or report.n_doubtful:
        raise typer.Exit(1)


@app.command()
def template(
    path: Annotated[Path, typer.Argument(metavar="FILE.xlsx", help="The workbook to make.")],
) -> None:
    """Make the empty workbook: it explains itself and has a sheet for each kind of record."""
    from studcurve.pipelines.records.template import write_template

    write_template(path)
    typer.echo(f"wrote {path}; fill it in, then: studcurve load {path}")


@app.command()
def refused(
    store: StoreOption = DEFAULT_STORE,
    xlsx: Annotated[
        Path | None,
        typer.Option("--xlsx", metavar="FILE", help="Write the lines that wait into a workbook."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """List what was refused or is doubtful, grouped by what is wrong."""
    from studcurve.pipelines.answers.waiting import waiting_lines
    from studcurve.pipelines.records.corrections import write_corrections
    from studcurve.pipelines.records.database.store import Store
    from studcurve.reports.findings import with_texts
    from studcurve.reports.words import Words

    with Store.open(store, read_only=True) as opened:
        findings = with_texts(opened.read("findings"), Words("en"))
    if xlsx is not None:
        n_lines = write_corrections(findings, xlsx)
        typer.echo(f"wrote {n_lines} lines; correct them in {xlsx}, then: studcurve load {xlsx}")
    elif as_json:
        show_json(findings[findings["is_open"]].to_dict("records"))
    else:
        for line in waiting_lines(findings):
            typer.echo(printable(line))


@app.command()
def confirm(
    numbers: NumbersArgument,
    store: StoreOption = DEFAULT_STORE,
    reason: ReasonOption = None,
    today: TodayOption = None,
) -> None:
    """Say that doubtful lines are right and count, by the numbers that `refused` shows."""
    from studcurve.pipelines.records.database.store import Store

    on = asked_on(today, store)
    with Store.open(store, make=False) as opened:
        done = opened.confirm(numbers, today=on, reason=reason)
    typer.echo(f"{done.n_closed} confirmed")
    if done.n_joined:
        typer.echo(
            f"{done.n_joined} {'line is' if done.n_joined == 1 else 'lines are'} now a further "
            "mating of the breeding that another line began"
        )
    if done.n_waiting:
        typer.echo(
            f"{done.n_waiting} {'line waits' if done.n_waiting == 1 else 'lines wait'} for another "
            "number as well; `studcurve refused` lists them"
        )


@app.command()
def withdraw(
    numbers: NumbersArgument,
    store: StoreOption = DEFAULT_STORE,
    reason: ReasonOption = None,
    today: TodayOption = None,
) -> None:
    """Take lines out, by the numbers that `refused` shows; they stay readable."""
    from studcurve.pipelines.records.database.store import Store

    on = asked_on(today, store)
    with Store.open(store, make=False) as opened:
        n_lines = opened.withdraw(numbers, today=on, reason=reason)
    typer.echo(f"{n_lines} lines withdrawn; correct such a line in its sheet to bring it back")


@app.command()
def erase(
    person: Annotated[str, typer.Argument(help="The name, as it stands in the records.")],
    reason: Annotated[str, typer.Option("--reason", help="Who asked, and when.")],
    store: StoreOption = DEFAULT_STORE,
    today: TodayOption = None,
) -> None:
    """Erase a person's name from every line, old versions too, leaving a tombstone."""
    from studcurve.pipelines.records.archive import erase_from_file

    erased = erase_from_file(store, person, today=asked_on(today, store), reason=reason)
    dropped = (
        f"The kept fit of {', '.join(erased.models)} held the name and is gone; "
        "`studcurve fit` makes it anew. "
        if erased.models
        else ""
    )
    typer.echo(
        f"erased from {erased.n_cells} cells of {erased.n_lines} lines. {dropped}Your sheets, "
        "backups and exports still hold the name: erase it there too, or the next load brings it "
        "back."
    )


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="The copy to make.", dir_okay=False)],
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Copy the records file; other programs may read it meanwhile."""
    from studcurve.pipelines.records.archive import back_up

    back_up(store, file)
    typer.echo(f"wrote {file}")


@app.command()
def restore(
    copy: Annotated[Path, typer.Argument(help="A backup, or the folder of an export.")],
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Put a backup or an export in the place of the records file, which is kept."""
    from studcurve.pipelines.records.archive import restore as put_back

    kept = put_back(copy, store)
    typer.echo(f"{store} is restored" + (f"; the one before is {kept}" if kept else ""))


@app.command()
def export(
    folder: Annotated[Path, typer.Argument(help="The folder to make.", file_okay=False)],
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Write every record as Parquet and CSV, with a dictionary of every column."""
    from studcurve.pipelines.records.archive import export as write_out
    from studcurve.reports.findings import with_texts
    from studcurve.reports.words import Words

    files = write_out(store, folder, lambda findings: with_texts(findings, Words("en")))
    typer.echo(f"wrote {len(files)} files into {folder}")


@app.command()
def fit(
    store: StoreOption = DEFAULT_STORE,
    seed: SeedOption = DEFAULT_SEED,
    as_json: JsonOption = False,
) -> None:
    """Fit what the records allow and keep it in the records file."""
    from studcurve.pipelines.run import fit_records

    outcomes = fit_records(store, seed=seed, say=_progress)
    if as_json:
        show_json({outcome.model: asdict(outcome) for outcome in outcomes})
    else:
        for outcome in outcomes:
            typer.echo(f"{outcome.model}: {outcome.state}")
    if any(outcome.state == "refused" for outcome in outcomes):
        raise typer.Exit(1)


@app.command()
def review(
    studs: Annotated[list[str] | None, typer.Argument(help="Call names; all when none.")] = None,
    store: StoreOption = DEFAULT_STORE,
    out: Annotated[Path, typer.Option("--out", help="Folder of the pages.")] = Path("pages"),
    today: TodayOption = None,
    audience: AudienceOption = PageReader.OWNER,
    language: LanguageOption = Language.ENGLISH,
    anonymous: AnonymousOption = False,
) -> None:
    """Write the review of one stud or of all, and the index page."""
    from studcurve.pipelines.run import write_stud_reviews

    pages = write_stud_reviews(
        store,
        out,
        today=asked_on(today, store),
        studs=studs or (),
        reader=_reader(audience, language),
        anonymous=anonymous,
    )
    for page in pages:
        typer.echo(f"wrote {page}")


@app.command()
def overview(
    store: StoreOption = DEFAULT_STORE,
    out: Annotated[Path, typer.Option("--out", help="Folder of the page.")] = Path("pages"),
    today: TodayOption = None,
    audience: AudienceOption = PageReader.OWNER,
    language: LanguageOption = Language.ENGLISH,
    anonymous: AnonymousOption = False,
) -> None:
    """Write the overview of the whole program: due and unreported first."""
    from studcurve.pipelines.run import write_overview

    page = write_overview(
        store,
        out,
        today=asked_on(today, store),
        reader=_reader(audience, language),
        anonymous=anonymous,
    )
    typer.echo(f"wrote {page}")


@app.command()
def handout(
    stud: Annotated[str, typer.Argument(help="Call name.")],
    store: StoreOption = DEFAULT_STORE,
    out: Annotated[Path, typer.Option("--out", help="Folder of the handout.")] = Path("pages"),
    question: Annotated[str, typer.Option("--question", help="What the vet is asked.")] = "",
    paper: Annotated[Sheet, typer.Option("--paper", help="Size of the sheets.")] = Sheet.A4,
    today: TodayOption = None,
    language: LanguageOption = Language.ENGLISH,
    anonymous: AnonymousOption = False,
) -> None:
    """Write two pages on a stud for the veterinarian, as a page and as a PDF."""
    from studcurve.pipelines.run import NO_PDF, write_handout

    written = write_handout(
        store,
        stud,
        out,
        today=asked_on(today, store),
        question=question,
        paper=paper.value,
        reader=_reader(PageReader.VET, language),
        anonymous=anonymous,
    )
    for path in written:
        typer.echo(f"wrote {path}")
    if len(written) == 1:
        typer.echo(NO_PDF, err=True)


@app.command()
def client(
    bitch: Annotated[str, typer.Argument(help="Her name, as the Shipments sheet has it.")],
    store: StoreOption = DEFAULT_STORE,
    out: Annotated[Path, typer.Option("--out", help="Folder of the sheet.")] = Path("pages"),
    today: TodayOption = None,
    language: LanguageOption = Language.ENGLISH,
    anonymous: AnonymousOption = False,
) -> None:
    """Write the sheet that goes to a client with her bitch's box."""
    from studcurve.pipelines.run import write_client_sheet

    page = write_client_sheet(
        store,
        bitch,
        out,
        today=asked_on(today, store),
        reader=_reader(PageReader.CLIENT, language),
        anonymous=anonymous,
    )
    typer.echo(f"wrote {page}")


def _reader(audience: PageReader, language: Language) -> Reader:
    from studcurve.reports.page import Reader
    from studcurve.reports.words import Words

    return Reader(Words(language.value), audience.value)


def _finding_line(finding: dict[Any, Any]) -> str:
    return printable(f"{finding['sentence']} [{finding['severity']}]")


def main(arguments: list[str] | None = None) -> None:
    """Run one command; the one place where every problem becomes a sentence and an exit code."""
    given = sys.argv[1:] if arguments is None else arguments
    try:
        app(args=given)
    except ToolkitError as problem:
        _say_why(str(problem), 1)
    except OSError as problem:
        if problem.errno in MENDABLE and problem.filename is not None:
            _say_why(f"{problem.filename} cannot be read or written ({problem.strerror}).", 1)
        _give_up(problem, given)
    except Exception as problem:
        _give_up(problem, given)


def _give_up(problem: Exception, given: list[str]) -> NoReturn:
    """Tell an error of the program in a sentence, and write where it happened into a file."""
    from studcurve.pipelines.commands import trouble

    file = trouble.report(problem, given, _command_named(given))
    _say_why(trouble.sentence(problem, file), 3, *([] if file is None else [str(file)]))


def _say_why(sentence: str, code: int, *lines: str) -> NoReturn:
    """Say why there is no answer, and leave."""
    typer.echo("\n".join([*wrapped(sentence), *map(printable, lines)]), err=True)
    sys.exit(code)


def _command_named(given: list[str]) -> str:
    """Names of the command and its group, without the arguments."""
    command, names = get_command(app), [NAME]
    for argument in given:
        inner = getattr(command, "commands", {})
        if argument not in inner:
            break
        names.append(argument)
        command = inner[argument]
    return " ".join(names)


if __name__ == "__main__":
    main()
