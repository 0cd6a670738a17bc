"""The commands of the records: made, read, corrected, copied, fitted; and what is due.

Parse, call one function, print. Heavy packages are imported inside the commands.
"""

from __future__ import annotations

from dataclasses import asdict
from enum import Enum
from pathlib import Path
from typing import Annotated, Any

import typer

from studcurve.pipelines.answers.answer import DEFAULT_SEED, printable
from studcurve.pipelines.commands.options import (
    DEFAULT_STORE,
    JsonOption,
    NowOption,
    SeedOption,
    StoreOption,
)
from studcurve.pipelines.commands.terminal import asked_on, show_json
from studcurve.pipelines.commands.values import count


class DayOrder(Enum):
    """Order of day and month in a date with slashes or dots."""

    DAY_FIRST = "day-first"
    MONTH_FIRST = "month-first"


DatesOption = Annotated[
    DayOrder | None,
    typer.Option("--dates", help="Order of day and month in dates such as 03/04/2024."),
]
NumbersArgument = Annotated[
    list[int],
    typer.Argument(
        parser=count(), metavar="NUMBER", help="Numbers shown by `corrections`."
    ),
]  # fmt: skip
ReasonOption = Annotated[
    str | None,
    typer.Option("--reason", metavar="WHY", help="Reason, kept with the decision."),
]


def demo(
    out: Annotated[
        Path,
        typer.Option("--out", metavar="FOLDER", help="Folder of the demo.", file_okay=False),
    ] = Path("studcurve-demo"),
    seed: SeedOption = DEFAULT_SEED,
) -> None:
    """Make an invented kennel with its fit and its pages."""
    from studcurve.pipelines.run import run_demo

    index = run_demo(out, seed=seed, say=_progress)
    typer.echo(f"Open {index} in a browser; the records file lies beside it.")


def template(
    path: Annotated[Path, typer.Argument(metavar="FILE.xlsx", help="The workbook to make.")],
) -> None:
    """Make the empty workbook to fill in.

    It explains itself and has a sheet for each kind of record.
    """
    from studcurve.pipelines.records.template import write_template

    write_template(path)
    typer.echo(f"wrote {path}; fill it in, then: studcurve load {path}")


def load(
    paths: Annotated[
        list[Path],
        typer.Argument(metavar="FILE", help="Workbooks, CSV sheets, or folders of them."),
    ],
    store: StoreOption = DEFAULT_STORE,
    now: NowOption = None,
    dates: DatesOption = None,
    check: Annotated[
        bool, typer.Option("--check", help="Check the sheets and change nothing.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Read sheets into the records file.

    What cannot be true is kept apart with its reason.
    """
    from studcurve.pipelines.records.database.store import Store
    from studcurve.reports.findings import with_texts
    from studcurve.reports.words import Words

    on = asked_on(now, store)
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
            "Rejected lines are kept and not used. Correct them in their file and load it again; "
            "`studcurve corrections` lists them.",
            err=True,
        )
    if report.n_doubtful:
        typer.echo(
            "Doubtful lines are kept and left out of every number. Correct them in their file and "
            "load it again, or say that they are right: `studcurve corrections` lists them, "
            "`studcurve confirm NUMBER` lets them count.",
            err=True,
        )
    if report.n_refused or report.n_doubtful:
        raise typer.Exit(1)


def corrections(
    store: StoreOption = DEFAULT_STORE,
    xlsx: Annotated[
        Path | None,
        typer.Option("--xlsx", metavar="FILE", help="Workbook to write these lines into."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """List the lines that wait for you, by what is wrong.

    They were refused, are doubtful, or have a question.
    """
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


def confirm(
    numbers: NumbersArgument,
    store: StoreOption = DEFAULT_STORE,
    reason: ReasonOption = None,
    now: NowOption = None,
) -> None:
    """Let doubtful lines count: you say that they are right."""
    from studcurve.pipelines.records.database.store import Store

    on = asked_on(now, store)
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
            "number as well; `studcurve corrections` lists them"
        )


def withdraw(
    numbers: NumbersArgument,
    store: StoreOption = DEFAULT_STORE,
    reason: ReasonOption = None,
    now: NowOption = None,
) -> None:
    """Take lines out; they stay readable."""
    from studcurve.pipelines.records.database.store import Store

    on = asked_on(now, store)
    with Store.open(store, make=False) as opened:
        n_lines = opened.withdraw(numbers, today=on, reason=reason)
    typer.echo(f"{n_lines} lines withdrawn; correct such a line in its sheet to bring it back")


def due(
    store: StoreOption = DEFAULT_STORE,
    now: NowOption = None,
    days: Annotated[
        int,
        typer.Option("--days", parser=count(0, 3660), metavar="DAYS", help="Days to look ahead."),
    ] = 14,
    as_json: JsonOption = False,
) -> None:
    """Print what is due.

    Dogs that a caution stops, blood draws, inseminations, scans, whelpings, results, tests, straws.
    """
    from studcurve.pipelines.answers.due import due_lines, due_rows
    from studcurve.pipelines.due import read_due
    from studcurve.reports.words import Words

    words, on = Words("en"), asked_on(now, store)
    items = read_due(store, today=on, ahead_days=days)
    if as_json:
        show_json(due_rows(items, words))
    else:
        for line in due_lines(items, words, today=on):
            typer.echo(printable(line))


def fit(
    store: StoreOption = DEFAULT_STORE,
    seed: SeedOption = DEFAULT_SEED,
    as_json: JsonOption = False,
) -> None:
    """Fit the models to the records and keep the result."""
    from studcurve.pipelines.run import fit_records

    outcomes = fit_records(store, today=asked_on(None, store), seed=seed, say=_progress)
    if as_json:
        show_json({outcome.model: asdict(outcome) for outcome in outcomes})
    else:
        for outcome in outcomes:
            typer.echo(f"{outcome.model}: {outcome.state}")
    if any(outcome.state == "refused" for outcome in outcomes):
        raise typer.Exit(1)


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The copy to make.", dir_okay=False)],
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Copy the records file.

    Other programs may read it meanwhile.
    """
    from studcurve.pipelines.records.archive import back_up

    back_up(store, file)
    typer.echo(f"wrote {file}")


def restore(
    copy: Annotated[
        Path, typer.Argument(metavar="COPY", help="A backup, or the folder of an export.")
    ],
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Put a backup or an export in the place of the records.

    The file that was there is kept.
    """
    from studcurve.pipelines.records.archive import restore as put_back

    kept = put_back(copy, store)
    typer.echo(f"{store} is restored" + (f"; the one before is {kept}" if kept else ""))


def export(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="The folder to make.", file_okay=False)
    ],
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Write every record as CSV and Parquet.

    A dictionary of every column comes with them.
    """
    from studcurve.pipelines.records.archive import export as write_out
    from studcurve.reports.findings import with_texts
    from studcurve.reports.words import Words

    files = write_out(store, folder, lambda findings: with_texts(findings, Words("en")))
    typer.echo(f"wrote {len(files)} files into {folder}")


def erase(
    person: Annotated[
        str, typer.Argument(metavar="NAME", help="The name, as it is in the records.")
    ],
    reason: Annotated[
        str, typer.Option("--reason", metavar="WHY", help="Who asked for it, and when.")
    ],
    store: StoreOption = DEFAULT_STORE,
    now: NowOption = None,
) -> None:
    """Erase a person's name from every version of every line.

    A tombstone says that a name was there.
    """
    from studcurve.pipelines.records.archive import erase_from_file

    erased = erase_from_file(store, person, today=asked_on(now, store), reason=reason)
    dropped = (
        f"The model of {', '.join(erased.models)} held the name and is gone; "
        "`studcurve fit` makes it anew. "
        if erased.models
        else ""
    )
    asked = f" and from {erased.n_forecasts} stated chances" if erased.n_forecasts else ""
    typer.echo(
        f"erased from {erased.n_cells} cells of {erased.n_lines} lines{asked}. {dropped}Your "
        "sheets, backups and exports still hold the name: erase it there too, or the next load "
        "brings it back."
    )


def _progress(sentence: str) -> None:
    typer.echo(sentence, err=True)


def _finding_line(finding: dict[Any, Any]) -> str:
    return printable(f"{finding['sentence']} [{finding['severity']}]")
