"""The commands of the pages. Parse, call one function, print.

Heavy packages are imported inside the commands.
"""

from __future__ import annotations

from enum import Enum
from typing import Annotated

import typer

from studcurve.pipelines.commands.options import Page, PageReader, ReaderPage, StudArgument
from studcurve.pipelines.commands.terminal import asked_on


class Paper(Enum):
    """Size of a sheet of paper."""

    A4 = "a4"
    LETTER = "us-letter"


def review(
    page: ReaderPage,
    studs: Annotated[list[str] | None, typer.Argument(help="Call names; all when none.")] = None,
) -> None:
    """Write the review of one stud or of all, and the index page."""
    from studcurve.pipelines.run import write_stud_reviews

    pages = write_stud_reviews(
        page.store,
        page.out,
        today=asked_on(page.today, page.store),
        studs=studs or (),
        reader=page.for_reader(page.reader),
        anonymous=page.anonymous,
    )
    for written in pages:
        typer.echo(f"wrote {written}")


def overview(page: ReaderPage) -> None:
    """Write the overview of the whole program: due and unreported first."""
    from studcurve.pipelines.run import write_overview

    written = write_overview(
        page.store,
        page.out,
        today=asked_on(page.today, page.store),
        reader=page.for_reader(page.reader),
        anonymous=page.anonymous,
    )
    typer.echo(f"wrote {written}")


def handout(
    stud: StudArgument,
    page: Page,
    question: Annotated[str, typer.Option("--question", help="What the vet is asked.")] = "",
    paper: Annotated[Paper, typer.Option("--paper", help="Size of the sheets.")] = Paper.A4,
) -> None:
    """Write two pages on a stud for the veterinarian, as a page and as a PDF."""
    from studcurve.pipelines.run import NO_PDF, write_handout

    written = write_handout(
        page.store,
        stud,
        page.out,
        today=asked_on(page.today, page.store),
        question=question,
        paper=paper.value,
        reader=page.for_reader(PageReader.VET),
        anonymous=page.anonymous,
    )
    for path in written:
        typer.echo(f"wrote {path}")
    if len(written) == 1:
        typer.echo(NO_PDF, err=True)


def client(
    bitch: Annotated[str, typer.Argument(help="Her name, as the Boxes sheet has it.")],
    page: Page,
) -> None:
    """Write the sheet that goes to a client with her bitch's box."""
    from studcurve.pipelines.run import write_client_sheet

    written = write_client_sheet(
        page.store,
        bitch,
        page.out,
        today=asked_on(page.today, page.store),
        reader=page.for_reader(PageReader.CLIENT),
        anonymous=page.anonymous,
    )
    typer.echo(f"wrote {written}")
