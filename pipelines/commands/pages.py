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


def pages(page: ReaderPage) -> None:
    """Write every review, the overview and the index.

    Handouts, shipment sheets and comparisons have commands of their own.
    """
    from studcurve.pipelines.run import write_pages

    for written in write_pages(
        page.store,
        page.out,
        today=asked_on(page.now, page.store),
        reader=page.for_reader(page.reader),
        anonymous=page.anonymous,
    ):
        typer.echo(f"wrote {written}")


def review(
    page: ReaderPage,
    studs: Annotated[
        list[str] | None,
        typer.Argument(metavar="STUD", help="Call names of the studs (default: all)."),
    ] = None,
) -> None:
    """Write the review of each stud, or of those named."""
    from studcurve.pipelines.run import write_stud_reviews

    for written in write_stud_reviews(
        page.store,
        page.out,
        today=asked_on(page.now, page.store),
        studs=studs or (),
        reader=page.for_reader(page.reader),
        anonymous=page.anonymous,
    ):
        typer.echo(f"wrote {written}")


def overview(page: ReaderPage) -> None:
    """Write the overview of the whole program."""
    from studcurve.pipelines.run import write_overview

    written = write_overview(
        page.store,
        page.out,
        today=asked_on(page.now, page.store),
        reader=page.for_reader(page.reader),
        anonymous=page.anonymous,
    )
    typer.echo(f"wrote {written}")


def outcomes(
    page: ReaderPage,
    stud: Annotated[
        str | None,
        typer.Argument(metavar="STUD", help="Call name of one stud (default: all breedings)."),
    ] = None,
) -> None:
    """Write what motility, concentration, hours and day went with.

    In litters and in litter size: of all breedings, or of one stud's.
    """
    from studcurve.pipelines.run import write_outcomes

    written = write_outcomes(
        page.store,
        page.out,
        today=asked_on(page.now, page.store),
        stud=stud,
        reader=page.for_reader(page.reader),
        anonymous=page.anonymous,
    )
    typer.echo(f"wrote {written}")


def handout(
    stud: StudArgument,
    page: Page,
    question: Annotated[
        str, typer.Option("--question", metavar="TEXT", help="Question to the veterinarian.")
    ] = "",
    paper: Annotated[Paper, typer.Option("--paper", help="Paper size of the PDF.")] = Paper.A4,
) -> None:
    """Write the handout on a stud for the veterinarian.

    Two pages, as a page and as a PDF.
    """
    from studcurve.pipelines.run import NO_PDF, write_handout

    written = write_handout(
        page.store,
        stud,
        page.out,
        today=asked_on(page.now, page.store),
        question=question,
        paper=paper.value,
        reader=page.for_reader(PageReader.VET),
        anonymous=page.anonymous,
    )
    for path in written:
        typer.echo(f"wrote {path}")
    if len(written) == 1:
        typer.echo(NO_PDF, err=True)


def shipment_sheet(
    bitch: Annotated[
        str,
        typer.Argument(metavar="BITCH", help="Name of the bitch, as in the sheet of shipments."),
    ],
    page: Page,
) -> None:
    """Write the sheet that goes with a bitch's shipment."""
    from studcurve.pipelines.run import write_shipment_sheet

    written = write_shipment_sheet(
        page.store,
        bitch,
        page.out,
        today=asked_on(page.now, page.store),
        reader=page.for_reader(PageReader.CLIENT),
        anonymous=page.anonymous,
    )
    typer.echo(f"wrote {written}")
