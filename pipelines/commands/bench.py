"""The bench commands: ``studcurve bench …``, each with its numbers, its error and its source.

Parse, call one function, print. What a command needs is imported inside it, so that each starts at
once; none needs a fit, and only a remembered rotor or target needs a records file.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import Enum
from typing import Annotated, ClassVar

import typer

from studcurve.analytics.errors import ToolkitError
from studcurve.pipelines.commands.from_records import rotor_radius_cm
from studcurve.pipelines.commands.groups import CommandGroup, OptionGroup, command
from studcurve.pipelines.commands.options import (
    DAY_FORMATS,
    DEFAULT_STORE,
    MOMENT_FORMATS,
    Chamber,
    Common,
    JsonOption,
    MinutesOption,
    RadiusOption,
    RatioOption,
    Route,
    RouteOption,
    Sample,
    Storage,
    StoreOption,
    Target,
    TrainedOption,
    WeightOption,
    count_error,
)
from studcurve.pipelines.commands.terminal import show

bench = typer.Typer(
    cls=CommandGroup,
    help="Numbers at the bench: counts, doses, spin, hours, days.",
    rich_markup_mode=None,
    no_args_is_help=True,
)


class SemenType(Enum):
    """What goes in."""

    NATURAL = "natural"
    FRESH = "fresh"
    CHILLED = "chilled"
    FROZEN = "frozen"


class Unit(Enum):
    """Unit of progesterone."""

    NANOGRAM = "ng/mL"
    NANOMOLE = "nmol/L"


class Assay(Enum):
    """Kind of progesterone assay."""

    UNKNOWN = "unknown"
    RADIO = "radioimmunoassay"
    ENZYME = "enzyme chemiluminescence"
    ELECTRO = "electrochemiluminescence"
    CLINIC = "clinic analyzer"


@command(bench)
def concentration(
    cells: Annotated[str, typer.Argument(help="Cells counted; 12,9,15 for cells by square.")],
    chamber: Chamber,
    volume: Annotated[
        float | None, typer.Option("--volume", min=0.01, help="Volume of the sample. [mL]")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Concentration from a chamber count, with its interval."""
    from studcurve.pipelines.answers.counts import concentration_answer

    answer = concentration_answer(
        [int(value) for value in _numbers(cells, "cells")],
        n_squares=chamber.squares,
        square_nl=chamber.volume_of_square_nl,
        dilution=chamber.dilution,
        volume_ml=volume,
        count_cv=chamber.count_cv,
    )
    show(answer, as_json=as_json)


@command(bench)
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

    answer = agree_answer(
        _numbers(first, "readings"), _numbers(second, "readings"), are_pct=are_pct
    )
    show(answer, as_json=as_json)


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleInHand(Sample):
    """A sample in hand, with what is always known of it."""

    volume: Annotated[float, typer.Argument(min=0.01, help="Volume of the sample. [mL]")]
    motility: Annotated[float, typer.Argument(min=0.0, max=100.0, help="Moving forward. [%]")]
    normal: Annotated[
        float | None, typer.Option("--normal", min=0.0, max=100.0, help="Normal shape. [%]")
    ] = None


@command(bench)
def dose(
    sample: SampleInHand,
    chamber: Chamber,
    storage: Storage,
    target: Target,
    common: Common,
    hours: Annotated[
        float, typer.Option("--hours", min=0.0, help="From collection to insemination. [h]")
    ] = 24.0,
) -> None:
    """How many doses does this sample make at the hour of insemination?"""
    from studcurve.pipelines.answers.semen import dose_answer

    reading = sample.reading(sample.volume, sample.motility, chamber)
    rng = common.rng()
    answer = dose_answer(
        replace(reading, normal_morphology_pct=sample.normal),
        hours=hours,
        extender=storage.extender,
        curve=storage.curve(common.store, rng),
        route=target.route.value,
        target_m=target.target_m(common.store),
        certainty=target.meets_prob,
        count_cv=chamber.count_cv,
        rng=rng,
    )
    show(answer, as_json=common.as_json)
    if "stopped" in answer.values:
        raise typer.Exit(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run(OptionGroup):
    """A run of the centrifuge."""

    panel: ClassVar[str] = "The run"

    force: Annotated[float | None, typer.Option("--g", min=1.0, help="Force wanted. [g]")] = None
    speed: Annotated[float | None, typer.Option("--rpm", min=1.0, help="Speed set. [rpm]")] = None
    radius: RadiusOption = None
    minutes: Annotated[float, typer.Option("--minutes", min=0.1, help="Time. [min]")] = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovery(OptionGroup):
    """What was there before a run and after it."""

    panel: ClassVar[str] = "Before and after"

    volume: Annotated[
        float | None, typer.Option("--volume", min=0.01, help="Volume before. [mL]")
    ] = None
    leave: Annotated[
        float | None, typer.Option("--leave", min=0.01, help="Volume to leave. [mL]")
    ] = None
    before: Annotated[int | None, typer.Option("--before", min=0, help="Cells before.")] = None
    after: Annotated[int | None, typer.Option("--after", min=0, help="Cells after.")] = None
    dilution_before: Annotated[float, typer.Option("--dilution-before", min=1.0)] = 1.0
    dilution_after: Annotated[float, typer.Option("--dilution-after", min=1.0)] = 1.0
    is_trained: TrainedOption = False

    def counts(self) -> tuple[int, int, float] | None:
        """Cells before and after, and what one cell after stands for; None where not counted.

        Raises
        ------
        ToolkitError
            Both were counted and a volume is missing.
        """
        if self.before is None or self.after is None:
            return None
        if self.volume is None or self.leave is None:
            raise ToolkitError(
                "What was recovered needs the volume before and the one left. Give --volume and "
                "--leave."
            )
        weight = self.leave * self.dilution_after / (self.volume * self.dilution_before)
        return self.before, self.after, weight


@command(bench)
def spin(
    run: Run, recovery: Recovery, store: StoreOption = DEFAULT_STORE, as_json: JsonOption = False
) -> None:
    """Force and speed of this rotor, what a spin costs, and what it recovered."""
    from studcurve.pipelines.answers.semen import spin_answer

    counts = recovery.counts()
    radius_cm = rotor_radius_cm(store, run.radius)
    assert radius_cm is not None
    answer = spin_answer(
        radius_cm=radius_cm,
        force_g=run.force,
        speed_rpm=run.speed,
        minutes=run.minutes,
        volume_ml=recovery.volume,
        leave_ml=recovery.leave,
        recovery=counts,
        count_cv=count_error(recovery.is_trained),
    )
    show(answer, as_json=as_json)


@dataclass(frozen=True, slots=True, kw_only=True)
class Extending(OptionGroup):
    """How far semen is extended."""

    panel: ClassVar[str] = "How much extender"

    ratio: RatioOption = None
    concentration: Annotated[
        float | None, typer.Option("--concentration", min=0.0, help="Of the semen. [M/mL]")
    ] = None
    final: Annotated[
        float | None, typer.Option("--final", min=0.1, help="Wanted after extending. [M/mL]")
    ] = None


@command(bench)
def extend(
    volume: Annotated[float, typer.Argument(min=0.01, help="Volume of semen. [mL]")],
    extending: Extending,
    n_doses: Annotated[int, typer.Option("--doses", min=1, help="Doses to divide it into.")] = 1,
    weight: WeightOption = None,
    route: RouteOption = Route.VAGINAL,
    minutes: MinutesOption = None,
    as_json: JsonOption = False,
) -> None:
    """How much extender, and does the dose fit?"""
    from studcurve.pipelines.answers.semen import extend_answer

    answer = extend_answer(
        volume,
        ratio=extending.ratio,
        concentration_m_per_ml=extending.concentration,
        final_m_per_ml=extending.final,
        n_doses=n_doses,
        weight_kg=weight,
        route=route.value,
        waited_minutes=minutes,
    )
    show(answer, as_json=as_json)


@command(bench)
def keep(
    motility: Annotated[float, typer.Argument(min=0.0, max=100.0, help="Moving forward now. [%]")],
    storage: Storage,
    target: Target,
    common: Common,
    hours: Annotated[
        str, typer.Option("--hours", help="Hours after collection.")
    ] = "6,12,24,36,48,72",
    dose_m: Annotated[
        float | None, typer.Option("--dose", min=0.1, help="Moving forward in the dose now. [M]")
    ] = None,
) -> None:
    """How much motility is left at an hour, and until when is a dose enough?"""
    from studcurve.pipelines.answers.semen import keep_answer

    answer = keep_answer(
        motility_pct=motility,
        extender=storage.extender,
        curve=storage.curve(common.store, common.rng()),
        hours=_numbers(hours, "hours"),
        dose_m=dose_m,
        target_m=target.target_m(common.store),
        certainty=target.meets_prob,
    )
    show(answer, as_json=common.as_json)


@command(bench)
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
        typer.Option("--now", formats=[*MOMENT_FORMATS, *DAY_FORMATS]),
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
        first_day=_day(first_day),
        lh_surge_on=_day(lh_on),
        semen_type=semen.value,
        now=now or datetime.now(),
    )
    show(answer, as_json=as_json)


@command(bench)
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
        lh_peak_on=_day(lh_on),
        ovulation_on=_day(ovulation_on),
        ovulation_sd_days=sure_to,
        mated_on=[on.date() for on in mated_on or ()],
        is_timed=timed,
        n_pups=pups,
    )
    show(answer, as_json=as_json)


@command(bench)
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

    show(look_back_answer(_day(collected_on), _day(ended_on)), as_json=as_json)


def _day(at: datetime | None) -> date | None:
    """Day of a moment that may be left out."""
    return None if at is None else at.date()


def _numbers(text: str, what: str) -> list[float]:
    """Numbers in a list such as 12,9,15."""
    import math

    try:
        found = [float(part) for part in text.split(",")]
    except ValueError:
        found = []
    if not found or not all(math.isfinite(value) and value >= 0.0 for value in found):
        raise ToolkitError(f"The {what} are numbers with commas between; got {text!r}.")
    return found
