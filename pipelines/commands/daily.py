"""The day's commands: ``studcurve box`` and ``studcurve card``. Parse, call one function, print.

No sampler and no fit; what a command needs is imported inside it.
"""

from __future__ import annotations

from datetime import datetime
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from studcurve.pipelines.answers.answer import DEFAULT_SEED
from studcurve.pipelines.commands.options import (
    CertaintyOption,
    DilutionOption,
    ExtenderOption,
    JudgedOption,
    Part,
    PartOption,
    Route,
    RouteOption,
    SquaresOption,
    SquareVolumeOption,
    TargetOption,
    TrainedOption,
    WeightOption,
    count_error,
    remembered_radius,
    remembered_target,
    sample_evaluation,
    storage_of,
    sure_enough,
)
from studcurve.pipelines.commands.terminal import (
    DEFAULT_STORE,
    JsonOption,
    SeedOption,
    StoreOption,
    asked_at,
    show,
)

MOMENTS = ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"]
"""How a moment is typed."""


class PageLanguage(Enum):
    """Languages of the pages."""

    ENGLISH = "en"
    GERMAN = "de"


class Appearance(Enum):
    """What the sample looked like."""

    NORMAL = "normal"
    BLOOD = "blood"
    PUS = "pus"
    URINE = "urine"
    OTHER = "other"


OutOption = Annotated[Path, typer.Option("--out", help="Folder of the page.", file_okay=False)]
LanguageOption = Annotated[PageLanguage, typer.Option("--language", help="Language of the page.")]
DEFAULT_OUT = Path("pages")


def box(
    dog: Annotated[str, typer.Argument(help="Call name of the stud.")],
    volume: Annotated[float, typer.Argument(min=0.01, help="Volume of the sample. [mL]")],
    forward: Annotated[float, typer.Argument(min=0.0, max=100.0, help="Moving forward. [%]")],
    inseminate: Annotated[
        datetime, typer.Option("--inseminate", formats=MOMENTS, help="When she is inseminated.")
    ],
    cells: Annotated[
        int | None, typer.Option("--cells", min=0, help="Cells counted; left out: not counted.")
    ] = None,
    squares: SquaresOption = 5,
    part: PartOption = Part.SQUARE,
    square_nl: SquareVolumeOption = None,
    dilution: DilutionOption = 1.0,
    concentration: Annotated[
        float | None, typer.Option("--concentration", min=0.0, help="Of a photometer. [M/mL]")
    ] = None,
    judged: JudgedOption = None,
    appearance: Annotated[
        Appearance | None, typer.Option("--appearance", help="What the sample looked like.")
    ] = None,
    extender: ExtenderOption = None,
    ratio: Annotated[
        float | None, typer.Option("--ratio", min=0.1, help="Parts of extender to one of semen.")
    ] = None,
    n_doses: Annotated[
        int | None,
        typer.Option("--doses", min=1, max=12, help="Make so many, whatever their chance."),
    ] = None,
    route: RouteOption = Route.VAGINAL,
    weight: WeightOption = None,
    target: TargetOption = None,
    certainty: CertaintyOption = None,
    trained: TrainedOption = False,
    collected: Annotated[
        datetime | None, typer.Option("--collected", formats=MOMENTS, help="When; now if left out.")
    ] = None,
    waited: Annotated[
        float | None, typer.Option("--waited", min=0.0, help="Unextended for so long. [min]")
    ] = None,
    for_bitch: Annotated[str | None, typer.Option("--for-bitch", help="Her name.")] = None,
    clinic: Annotated[
        str | None, typer.Option("--clinic", help="Where she is inseminated.")
    ] = None,
    carrier: Annotated[str | None, typer.Option("--carrier", help="Who carries the box.")] = None,
    promised: Annotated[
        datetime | None, typer.Option("--promised", formats=["%Y-%m-%d"], help="Day of arrival.")
    ] = None,
    anyway: Annotated[
        bool,
        typer.Option("--anyway", help="Pack a dose with nearly no chance to meet its target."),
    ] = False,
    check: Annotated[
        bool, typer.Option("--check", help="Answer; record and write nothing.")
    ] = False,
    now: Annotated[
        datetime | None, typer.Option("--now", formats=MOMENTS, help="When the box is packed.")
    ] = None,
    out: OutOption = DEFAULT_OUT,
    language: LanguageOption = PageLanguage.ENGLISH,
    store: StoreOption = DEFAULT_STORE,
    seed: SeedOption = DEFAULT_SEED,
    as_json: JsonOption = False,
) -> None:
    """Pack a box: doses, extender, chance at the insemination; the slip and the record."""
    import numpy as np

    from studcurve.pipelines.answers.shipment import pack_shipment
    from studcurve.pipelines.answers.slip import ShipmentRequest
    from studcurve.reports.words import Words

    reading = sample_evaluation(
        volume, forward, cells=cells, squares=squares, part=part, square_nl=square_nl,
        dilution=dilution, concentration=concentration, judged=judged, normal=None,
    )  # fmt: skip
    sent_at = asked_at(now, store)
    request = ShipmentRequest(
        stud=dog,
        reading=reading,
        appearance=None if appearance is None else appearance.value,
        collected_at=collected or sent_at,
        sent_at=sent_at,
        inseminate_at=inseminate,
        extender=extender,
        ratio=ratio,
        route=route.value,
        weight_kg=weight,
        target_m=remembered_target(store, route, target, keep=not check),
        certainty=sure_enough(certainty),
        n_doses=n_doses,
        is_anyway=anyway,
        count_cv=count_error(trained),
        waited_minutes=waited,
        for_bitch=for_bitch,
        clinic=clinic,
        carrier=carrier,
        promised_on=None if promised is None else promised.date(),
    )
    packed = pack_shipment(
        store, request, out=out, words=Words(language.value), rng=np.random.default_rng(seed),
        check_only=check,
    )  # fmt: skip
    show(packed.answer, as_json=as_json)
    if packed.is_stopped:
        raise typer.Exit(1)


def card(
    radius: Annotated[
        float | None, typer.Option("--radius", help="Radius of the rotor; then remembered. [cm]")
    ] = None,
    hours: Annotated[
        float, typer.Option("--hours", min=0.0, max=192.0, help="From collection to insemination.")
    ] = 24.0,
    extender: ExtenderOption = "egg yolk",
    squares: SquaresOption = 5,
    dilution: DilutionOption = 20.0,
    route: RouteOption = Route.VAGINAL,
    target: TargetOption = None,
    certainty: CertaintyOption = None,
    out: OutOption = DEFAULT_OUT,
    language: LanguageOption = PageLanguage.ENGLISH,
    store: StoreOption = DEFAULT_STORE,
    seed: SeedOption = DEFAULT_SEED,
    as_json: JsonOption = False,
) -> None:
    """Write the card for the wall above the bench: doses, forces, dilutions."""
    import numpy as np

    from studcurve.pipelines.answers.card import N_CARD_DRAWS, write_card
    from studcurve.reports.words import Words

    rng = np.random.default_rng(seed)
    answer = write_card(
        out,
        radius_cm=remembered_radius(store, radius, needed=False),
        hours=hours,
        extender=extender or "",
        curve=storage_of(store, None, extender, rng, n_draws=N_CARD_DRAWS),
        n_squares=squares,
        dilution=dilution,
        target_m=remembered_target(store, route, target, keep=False),
        certainty=sure_enough(certainty),
        words=Words(language.value),
        rng=rng,
    )
    show(answer, as_json=as_json)
