"""The bench commands: ``studcurve bench …``, each with its numbers, its error and its source.

Parse, call one function, print. What a command needs is imported inside it, so that each starts at
once; none needs a fit, and only a remembered rotor or target needs a records file.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

import typer

from studcurve.analytics.errors import ToolkitError
from studcurve.pipelines.answers.answer import DEFAULT_SEED
from studcurve.pipelines.commands.options import (
    Assay,
    CertaintyOption,
    DilutionOption,
    ExtenderOption,
    JudgedOption,
    Part,
    PartOption,
    Route,
    RouteOption,
    SemenType,
    SquaresOption,
    SquareVolumeOption,
    StudOption,
    TargetOption,
    TrainedOption,
    Unit,
    WeightOption,
    count_error,
    day_of,
    numbers,
    remembered_radius,
    remembered_target,
    sample_evaluation,
    storage_of,
    sure_enough,
    volume_of_square_nl,
)
from studcurve.pipelines.commands.terminal import (
    DEFAULT_STORE,
    Commands,
    JsonOption,
    SeedOption,
    StoreOption,
    show,
)

DAY_FORMATS = ["%Y-%m-%d", "%d.%m.%Y"]
"""How a day may be typed; with points the day comes first, so it has one reading."""

MOMENT_FORMATS = ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", *DAY_FORMATS]
"""How a moment may be typed."""

bench = Commands(
    help="Numbers at the bench: counts, doses, spin, hours, days.",
    rich_markup_mode=None,
    no_args_is_help=True,
)


@bench.command()
def concentration(
    cells: Annotated[str, typer.Argument(help="Cells counted; 12,9,15 for cells by square.")],
    squares: SquaresOption = 5,
    part: PartOption = Part.SQUARE,
    square_nl: SquareVolumeOption = None,
    dilution: DilutionOption = 1.0,
    volume: Annotated[
        float | None, typer.Option("--volume", min=0.01, help="Volume of the sample. [mL]")
    ] = None,
    trained: TrainedOption = False,
    as_json: JsonOption = False,
) -> None:
    """Concentration from a chamber count, with its interval."""
    from studcurve.pipelines.answers.counts import concentration_answer

    counted = [int(value) for value in numbers(cells, "cells")]
    answer = concentration_answer(
        counted,
        n_squares=squares,
        square_nl=volume_of_square_nl(part, square_nl),
        dilution=dilution,
        volume_ml=volume,
        count_cv=count_error(trained),
    )
    show(answer, as_json=as_json)


@bench.command()
def agree(
    first: Annotated[str, typer.Argument(help="A count, or one reader's readings: 70,80,65.")],
    second: Annotated[str, typer.Argument(help="The other count, or reader, in the same order.")],
    are_pct: Annotated[
        bool, typer.Option("--percent", help="Percentages of 200 sperm each, not counts.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Do two counts, two percentages or two readers agree?"""
    from studcurve.pipelines.answers.counts import agree_answer

    answer = agree_answer(numbers(first, "readings"), numbers(second, "readings"), are_pct=are_pct)
    show(answer, as_json=as_json)


@bench.command()
def dose(
    volume: Annotated[float, typer.Argument(min=0.01, help="Volume of the sample. [mL]")],
    forward: Annotated[float, typer.Argument(min=0.0, max=100.0, help="Moving forward. [%]")],
    cells: Annotated[int | None, typer.Option("--cells", min=0, help="Cells counted.")] = None,
    squares: SquaresOption = 5,
    part: PartOption = Part.SQUARE,
    square_nl: SquareVolumeOption = None,
    dilution: DilutionOption = 1.0,
    concentration: Annotated[
        float | None, typer.Option("--concentration", min=0.0, help="Of a photometer. [M/mL]")
    ] = None,
    judged: JudgedOption = None,
    normal: Annotated[
        float | None, typer.Option("--normal", min=0.0, max=100.0, help="Normal shape. [%]")
    ] = None,
    hours: Annotated[
        float, typer.Option("--hours", min=0.0, help="From collection to insemination. [h]")
    ] = 24.0,
    extender: ExtenderOption = None,
    stud: StudOption = None,
    route: RouteOption = Route.VAGINAL,
    target: TargetOption = None,
    certainty: CertaintyOption = None,
    trained: TrainedOption = False,
    store: StoreOption = DEFAULT_STORE,
    seed: SeedOption = DEFAULT_SEED,
    as_json: JsonOption = False,
) -> None:
    """How many doses does this sample make at the hour of insemination?"""
    import numpy as np

    from studcurve.pipelines.answers.semen import dose_answer

    reading = sample_evaluation(
        volume, forward, cells=cells, squares=squares, part=part, square_nl=square_nl,
        dilution=dilution, concentration=concentration, judged=judged, normal=normal,
    )  # fmt: skip
    rng = np.random.default_rng(seed)
    answer = dose_answer(
        reading,
        hours=hours,
        extender=extender,
        curve=storage_of(store, stud, extender, rng),
        route=route.value,
        target_m=remembered_target(store, route, target, keep=False),
        certainty=sure_enough(certainty),
        count_cv=count_error(trained),
        rng=rng,
    )
    show(answer, as_json=as_json)
    if "stopped" in answer.values:
        raise typer.Exit(1)


@bench.command()
def spin(
    force: Annotated[float | None, typer.Option("--g", min=1.0, help="Force wanted. [g]")] = None,
    speed: Annotated[float | None, typer.Option("--rpm", min=1.0, help="Speed set. [rpm]")] = None,
    radius: Annotated[
        float | None, typer.Option("--radius", help="Radius of the rotor; then remembered. [cm]")
    ] = None,
    minutes: Annotated[float, typer.Option("--minutes", min=0.1, help="Time. [min]")] = 5.0,
    volume: Annotated[
        float | None, typer.Option("--volume", min=0.01, help="Volume before. [mL]")
    ] = None,
    leave: Annotated[
        float | None, typer.Option("--leave", min=0.01, help="Volume to leave. [mL]")
    ] = None,
    before: Annotated[int | None, typer.Option("--before", min=0, help="Cells before.")] = None,
    after: Annotated[int | None, typer.Option("--after", min=0, help="Cells after.")] = None,
    dilution_before: Annotated[float, typer.Option("--dilution-before", min=1.0)] = 1.0,
    dilution_after: Annotated[float, typer.Option("--dilution-after", min=1.0)] = 1.0,
    trained: TrainedOption = False,
    store: StoreOption = DEFAULT_STORE,
    as_json: JsonOption = False,
) -> None:
    """Force and speed of this rotor, what a spin costs, and what it recovered."""
    from studcurve.pipelines.answers.semen import spin_answer

    recovery = None
    if before is not None and after is not None:
        if volume is None or leave is None:
            raise ToolkitError(
                "What was recovered needs the volume before and the one left. Give --volume and "
                "--leave."
            )
        recovery = (before, after, leave * dilution_after / (volume * dilution_before))
    rotor_cm = remembered_radius(store, radius)
    assert rotor_cm is not None
    answer = spin_answer(
        radius_cm=rotor_cm,
        force_g=force,
        speed_rpm=speed,
        minutes=minutes,
        volume_ml=volume,
        leave_ml=leave,
        recovery=recovery,
        count_cv=count_error(trained),
    )
    show(answer, as_json=as_json)


@bench.command()
def extend(
    volume: Annotated[float, typer.Argument(min=0.01, help="Volume of semen. [mL]")],
    ratio: Annotated[
        float | None, typer.Option("--ratio", min=0.0, help="Parts of extender to one of semen.")
    ] = None,
    concentration: Annotated[
        float | None, typer.Option("--concentration", min=0.0, help="Of the semen. [M/mL]")
    ] = None,
    final: Annotated[
        float | None, typer.Option("--final", min=0.1, help="Wanted after extending. [M/mL]")
    ] = None,
    n_doses: Annotated[int, typer.Option("--doses", min=1, help="Doses to divide it into.")] = 1,
    weight: WeightOption = None,
    route: RouteOption = Route.VAGINAL,
    waited: Annotated[
        float | None, typer.Option("--waited", min=0.0, help="Unextended for so long. [min]")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """How much extender, and does the dose fit?"""
    from studcurve.pipelines.answers.semen import extend_answer

    answer = extend_answer(
        volume,
        ratio=ratio,
        concentration_m_per_ml=concentration,
        final_m_per_ml=final,
        n_doses=n_doses,
        weight_kg=weight,
        route=route.value,
        waited_minutes=waited,
    )
    show(answer, as_json=as_json)


@bench.command()
def keep(
    forward: Annotated[float, typer.Argument(min=0.0, max=100.0, help="Moving forward now. [%]")],
    extender: ExtenderOption = None,
    stud: StudOption = None,
    hours: Annotated[
        str, typer.Option("--hours", help="Hours after collection.")
    ] = "6,12,24,36,48,72",
    dose_m: Annotated[
        float | None, typer.Option("--dose", min=0.1, help="Moving forward in the dose now. [M]")
    ] = None,
    route: RouteOption = Route.VAGINAL,
    target: TargetOption = None,
    certainty: CertaintyOption = None,
    store: StoreOption = DEFAULT_STORE,
    seed: SeedOption = DEFAULT_SEED,
    as_json: JsonOption = False,
) -> None:
    """How much motility is left at an hour, and until when is a dose enough?"""
    import numpy as np

    from studcurve.pipelines.answers.semen import keep_answer

    answer = keep_answer(
        motility_pct=forward,
        extender=extender,
        curve=storage_of(store, stud, extender, np.random.default_rng(seed)),
        hours=numbers(hours, "hours"),
        dose_m=dose_m,
        target_m=remembered_target(store, route, target, keep=False),
        certainty=sure_enough(certainty),
    )
    show(answer, as_json=as_json)


@bench.command()
def ovulation(
    readings: Annotated[
        list[str] | None,
        typer.Argument(help="'2026-03-10=2.4 ng/mL', or '2026-03-10 08:30=>20 nmol/L@Laboratory'."),
    ] = None,
    first_day: Annotated[
        datetime | None,
        typer.Option("--first-day", formats=DAY_FORMATS, help="First day of bleeding."),
    ] = None,
    lh_on: Annotated[
        datetime | None, typer.Option("--lh", formats=DAY_FORMATS, help="LH surge seen on.")
    ] = None,
    semen: Annotated[SemenType, typer.Option("--semen", help="What will go in.")] = (
        SemenType.CHILLED
    ),
    unit: Annotated[Unit | None, typer.Option("--unit", help="Where a reading names none.")] = None,
    assay: Annotated[Assay, typer.Option("--assay", help="Kind of assay of the laboratory.")] = (
        Assay.UNKNOWN
    ),
    now: Annotated[
        datetime | None,
        typer.Option("--now", formats=MOMENT_FORMATS),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """When did she ovulate, which days to inseminate, when to test next?"""
    from studcurve.pipelines.answers.heat import ovulation_answer, read_progesterone

    answer = ovulation_answer(
        [
            read_progesterone(text, unit=unit.value if unit else None, assay=assay.value)
            for text in readings or ()
        ],
        first_day=day_of(first_day),
        lh_surge_on=day_of(lh_on),
        semen_type=semen.value,
        now=now or datetime.now(),
    )
    show(answer, as_json=as_json)


@bench.command()
def whelping(
    lh_on: Annotated[
        datetime | None, typer.Option("--lh", formats=DAY_FORMATS, help="Day of the LH peak.")
    ] = None,
    ovulation_on: Annotated[
        datetime | None,
        typer.Option("--ovulation", formats=DAY_FORMATS, help="Day of ovulation."),
    ] = None,
    sure_to: Annotated[
        float,
        typer.Option("--sure-to", min=0.0, max=30.0, help="Error of that day, ± days (one sd)."),
    ] = 0.0,
    mated_on: Annotated[
        list[datetime] | None,
        typer.Option("--mated", formats=DAY_FORMATS, help="Day of a mating; repeatable."),
    ] = None,
    timed: Annotated[
        bool, typer.Option("--timed", help="One mating, on the day that progesterone gave.")
    ] = False,
    pups: Annotated[int | None, typer.Option("--pups", min=1, help="Pups on the scan.")] = None,
    as_json: JsonOption = False,
) -> None:
    """When should she whelp, counted from what?"""
    from studcurve.pipelines.answers.heat import whelping_answer

    answer = whelping_answer(
        lh_peak_on=day_of(lh_on),
        ovulation_on=day_of(ovulation_on),
        ovulation_sd_days=sure_to,
        mated_on=[on.date() for on in mated_on or ()],
        is_timed=timed,
        n_pups=pups,
    )
    show(answer, as_json=as_json)


@bench.command()
def lookback(
    collected_on: Annotated[
        datetime | None, typer.Option("--collected", formats=DAY_FORMATS, help="Day of a sample.")
    ] = None,
    ended_on: Annotated[
        datetime | None,
        typer.Option("--ended", formats=DAY_FORMATS, help="Day on which fever or heat ended."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """When did harm begin that shows in a sample, and when to examine again?"""
    from studcurve.pipelines.answers.heat import look_back_answer

    show(look_back_answer(day_of(collected_on), day_of(ended_on)), as_json=as_json)
