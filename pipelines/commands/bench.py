"""The bench commands: ``studcurve bench …``, each with its numbers, its error and its source.

Parse, call one function, print. What a command needs is imported inside it, so that each starts at
once; none needs a fit, and only a remembered rotor or target needs a records file.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, time
from enum import Enum
from typing import Annotated, ClassVar

import typer

from studcurve.analytics.errors import ToolkitError
from studcurve.analytics.vocabulary import SemenType
from studcurve.pipelines.commands.from_records import radius_remark, rotor_radius_cm, storage_of
from studcurve.pipelines.commands.groups import CommandGroup, OptionGroup, command
from studcurve.pipelines.commands.options import (
    DEFAULT_STORE,
    Chamber,
    Common,
    ConcentrationOption,
    DilutionOption,
    ExtenderOption,
    JsonOption,
    NowOption,
    RadiusOption,
    RatioOption,
    Route,
    RouteOption,
    Sample,
    Sheet,
    SquaresOption,
    Storage,
    StoreOption,
    Target,
    TrainedOption,
    WaitOption,
    WeightOption,
    count_error,
    percentage,
    volume_ml,
)
from studcurve.pipelines.commands.terminal import show
from studcurve.pipelines.commands.values import (
    DAY,
    UNDILUTED,
    USUAL_DILUTION,
    OnePlus,
    as_typed,
    count,
    number,
    one_plus,
    read_day,
    read_numbers,
)

bench = typer.Typer(
    cls=CommandGroup,
    help="Numbers at the bench: counts, doses, storage, days.",
    rich_markup_mode=None,
    no_args_is_help=True,
)


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


HoursOption = Annotated[
    float,
    typer.Option(
        "--hours", parser=number(0.0, such_as="24"), metavar="HOURS",
        help="Time from collection to insemination.",
    ),
]  # fmt: skip
LhOption = Annotated[
    date | None,
    typer.Option("--lh", parser=read_day, metavar=DAY, help="Day of the LH surge."),
]
MotilityArgument = Annotated[
    float,
    typer.Argument(
        parser=percentage, metavar="MOTILITY", help="Progressive motility in percent."
    ),
]  # fmt: skip


@command(bench)
def concentration(
    cells: Annotated[
        str,
        typer.Argument(
            parser=as_typed(read_numbers), metavar="CELLS",
            help="Number of cells counted, or the numbers by square: 12,9,15.",
        ),
    ],
    chamber: Chamber,
    volume: Annotated[
        float | None,
        typer.Option("--volume", parser=volume_ml, metavar="ML", help="Volume of the sample."),
    ] = None,
    as_json: JsonOption = False,
) -> None:  # fmt: skip
    """Concentration from a chamber count, with its interval."""
    from studcurve.pipelines.answers.counts import concentration_answer

    answer = concentration_answer(
        [int(value) for value in read_numbers(cells)],
        n_squares=chamber.squares,
        square_nl=chamber.volume_of_square_nl,
        dilution=chamber.dilution.factor,
        volume_ml=volume,
        count_cv=chamber.count_cv,
    )
    show(answer, as_json=as_json)


@command(bench)
def agree(
    first: Annotated[
        str,
        typer.Argument(
            parser=as_typed(read_numbers), metavar="FIRST",
            help="A count, or the values of one evaluator: 70,80,65.",
        ),
    ],
    second: Annotated[
        str,
        typer.Argument(
            parser=as_typed(read_numbers), metavar="SECOND",
            help="The other count, or the values of the other evaluator in the same order.",
        ),
    ],
    are_pct: Annotated[
        bool, typer.Option("--percent", help="Compare percentages of 200 sperm each.")
    ] = False,
    as_json: JsonOption = False,
) -> None:  # fmt: skip
    """Do two counts, two percentages or two evaluators agree?"""
    from studcurve.pipelines.answers.counts import agree_answer

    answer = agree_answer(read_numbers(first), read_numbers(second), are_pct=are_pct)
    show(answer, as_json=as_json)


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleInHand(Sample):
    """A sample in hand, with what is always known of it."""

    volume: Annotated[
        float,
        typer.Argument(parser=volume_ml, metavar="VOLUME", help="Volume of the sample in mL."),
    ]
    motility: MotilityArgument
    normal: Annotated[
        float | None,
        typer.Option("--normal", parser=percentage, metavar="PERCENT", help="Normal morphology."),
    ] = None


@command(bench)
def dose(
    sample: SampleInHand,
    chamber: Chamber,
    stored: Storage,
    target: Target,
    common: Common,
    hours: HoursOption = 24.0,
) -> None:
    """How many doses does a sample make at the insemination?"""
    from studcurve.pipelines.answers.semen import dose_answer

    reading = sample.reading(sample.volume, sample.motility, chamber)
    rng = common.rng()
    answer = dose_answer(
        replace(reading, normal_morphology_pct=sample.normal),
        hours=hours,
        extender=stored.extender,
        curve=stored.curve(common.store, rng),
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

    force: Annotated[
        float | None,
        typer.Option(
            "--g", parser=number(1.0, such_as="720"), metavar="G", help="Force that is wanted."
        ),
    ] = None
    speed: Annotated[
        float | None,
        typer.Option(
            "--rpm", parser=number(1.0, such_as="2400"), metavar="RPM", help="Speed that is set."
        ),
    ] = None
    radius: RadiusOption = None
    minutes: Annotated[
        float,
        typer.Option(
            "--minutes", parser=number(0.1, such_as="5"), metavar="MINUTES",
            help="Duration of the run.",
        ),
    ] = 5.0  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovery(OptionGroup):
    """What was there before a run and after it."""

    panel: ClassVar[str] = "Before and after"

    volume: Annotated[
        float | None,
        typer.Option("--volume", parser=volume_ml, metavar="ML", help="Volume before the run."),
    ] = None
    leave: Annotated[
        float | None,
        typer.Option(
            "--leave", parser=volume_ml, metavar="ML", help="Volume to leave after the run."
        ),
    ] = None
    before: Annotated[
        int | None,
        typer.Option(
            "--before", parser=count(), metavar="NUMBER", help="Cells counted before the run."
        ),
    ] = None
    after: Annotated[
        int | None,
        typer.Option(
            "--after", parser=count(), metavar="NUMBER", help="Cells counted after the run."
        ),
    ] = None
    dilution_before: Annotated[
        OnePlus,
        typer.Option(
            "--dilution-before", parser=one_plus(19), metavar="'1 + N'",
            help="Dilution of the count before the run.",
        ),
    ] = UNDILUTED  # fmt: skip
    dilution_after: Annotated[
        OnePlus,
        typer.Option(
            "--dilution-after", parser=one_plus(19), metavar="'1 + N'",
            help="Dilution of the count after the run.",
        ),
    ] = UNDILUTED  # fmt: skip
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
        left = self.leave * self.dilution_after.factor
        return self.before, self.after, left / (self.volume * self.dilution_before.factor)


@command(bench)
def spin(
    run: Run, recovery: Recovery, store: StoreOption = DEFAULT_STORE, as_json: JsonOption = False
) -> None:
    """Force, speed and loss of a run of the centrifuge."""
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
    remarks = radius_remark(store, run.radius, language="en")
    show(replace(answer, remarks=(*answer.remarks, *remarks)), as_json=as_json)


@dataclass(frozen=True, slots=True, kw_only=True)
class Extending(OptionGroup):
    """How far semen is extended."""

    panel: ClassVar[str] = "The extender"

    ratio: RatioOption = None
    concentration: ConcentrationOption = None
    final: Annotated[
        float | None,
        typer.Option(
            "--final", parser=number(0.1, such_as="50"), metavar="M/ML",
            help="Concentration that is wanted after extending.",
        ),
    ] = None  # fmt: skip


@command(bench)
def extend(
    volume: Annotated[
        float,
        typer.Argument(parser=volume_ml, metavar="VOLUME", help="Volume of the semen in mL."),
    ],
    extending: Extending,
    n_doses: Annotated[
        int, typer.Option("--doses", parser=count(1), metavar="NUMBER", help="Number of doses.")
    ] = 1,
    weight: WeightOption = None,
    route: RouteOption = Route.VAGINAL,
    minutes: WaitOption = None,
    as_json: JsonOption = False,
) -> None:
    """How much extender, and does the dose fit?"""
    from studcurve.pipelines.answers.semen import extend_answer

    answer = extend_answer(
        volume,
        ratio=None if extending.ratio is None else extending.ratio.parts,
        concentration_m_per_ml=extending.concentration,
        final_m_per_ml=extending.final,
        n_doses=n_doses,
        weight_kg=weight,
        route=route.value,
        waited_minutes=minutes,
    )
    show(answer, as_json=as_json)


@command(bench)
def storage(
    motility: MotilityArgument,
    stored: Storage,
    target: Target,
    common: Common,
    hours: Annotated[
        str,
        typer.Option(
            "--at-hours", parser=as_typed(read_numbers), metavar="HOURS,…",
            help="Hours after the collection to answer for.",
        ),
    ] = "6,12,24,36,48,72",
    dose_m: Annotated[
        float | None,
        typer.Option(
            "--per-dose", parser=number(0.1, such_as="300"), metavar="M",
            help="Progressively motile sperm in a dose now, in millions.",
        ),
    ] = None,
) -> None:  # fmt: skip
    """How much motility is left, and how long is a dose enough?"""
    from studcurve.pipelines.answers.semen import storage_answer

    answer = storage_answer(
        motility_pct=motility,
        extender=stored.extender,
        curve=stored.curve(common.store, common.rng()),
        hours=read_numbers(hours),
        dose_m=dose_m,
        target_m=target.target_m(common.store),
        certainty=target.meets_prob,
    )
    show(answer, as_json=common.as_json)


@command(bench)
def ovulation(
    readings: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="READING",
            help="'2026-03-10=2.4 ng/mL', or '2026-03-10 08:30=>20 nmol/L@Laboratory'.",
        ),
    ] = None,
    first_day: Annotated[
        date | None,
        typer.Option("--first-day", parser=read_day, metavar=DAY, help="First day of bleeding."),
    ] = None,
    lh_on: LhOption = None,
    semen: Annotated[
        SemenType, typer.Option("--semen", help="Semen to be inseminated.")
    ] = "chilled",
    unit: Annotated[
        Unit | None, typer.Option("--unit", help="Unit of the readings that name none.")
    ] = None,
    assay: Annotated[
        Assay, typer.Option("--assay", help="Kind of assay of the laboratory.")
    ] = Assay.UNKNOWN,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """When did she ovulate, when to inseminate and to test?"""
    from studcurve.pipelines.answers.heat import ovulation_answer, read_progesterone

    answer = ovulation_answer(
        [
            read_progesterone(text, unit=unit.value if unit else None, assay=assay.value)
            for text in readings or ()
        ],
        first_day=first_day,
        lh_surge_on=lh_on,
        semen_type=semen,
        now=datetime.now() if now is None else datetime.combine(now.on, now.at or time()),
    )
    show(answer, as_json=as_json)


@command(bench)
def whelping(
    lh_on: LhOption = None,
    ovulation_on: Annotated[
        date | None,
        typer.Option("--ovulation", parser=read_day, metavar=DAY, help="Day of ovulation."),
    ] = None,
    error_days: Annotated[
        float,
        typer.Option(
            "--error-days", parser=number(0.0, 30.0, such_as="1.5 or 1,5"), metavar="DAYS",
            help="Error of that day, as one standard deviation.",
        ),
    ] = 0.0,
    mated_on: Annotated[
        list[date] | None,
        typer.Option("--mated", parser=read_day, metavar=DAY, help="Day of a mating; repeatable."),
    ] = None,
    timed: Annotated[
        bool, typer.Option("--timed", help="Count from a single mating timed by progesterone.")
    ] = False,
    pups: Annotated[
        int | None,
        typer.Option("--pups", parser=count(1), metavar="NUMBER", help="Pups on the scan."),
    ] = None,
    as_json: JsonOption = False,
) -> None:  # fmt: skip
    """When should she whelp, counted from what?"""
    from studcurve.pipelines.answers.heat import whelping_answer

    answer = whelping_answer(
        lh_peak_on=lh_on,
        ovulation_on=ovulation_on,
        ovulation_sd_days=error_days,
        mated_on=mated_on or [],
        is_timed=timed,
        n_pups=pups,
    )
    show(answer, as_json=as_json)


@command(bench)
def lookback(
    collected_on: Annotated[
        date | None,
        typer.Option("--collected", parser=read_day, metavar=DAY, help="Day of a bad sample."),
    ] = None,
    ended_on: Annotated[
        date | None,
        typer.Option(
            "--ended", parser=read_day, metavar=DAY, help="Day on which fever or hot weather ended."
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """When did the cause of a bad sample start?

    And when to examine again.
    """
    from studcurve.pipelines.answers.heat import look_back_answer

    show(look_back_answer(collected_on, ended_on), as_json=as_json)


@command(bench)
def card(
    target: Target,
    sheet: Sheet,
    common: Common,
    radius: RadiusOption = None,
    hours: HoursOption = 24.0,
    extender: ExtenderOption = "egg yolk",
    squares: SquaresOption = 5,
    dilution: DilutionOption = USUAL_DILUTION,
) -> None:
    """Write the bench card: doses, forces, dilutions."""
    from studcurve.pipelines.answers.card import N_CARD_DRAWS, write_card

    rng = common.rng()
    answer = write_card(
        sheet.out,
        radius_cm=rotor_radius_cm(common.store, radius, needed=False),
        hours=hours,
        extender=extender or "",
        curve=storage_of(common.store, None, extender, rng, n_draws=N_CARD_DRAWS),
        n_squares=squares,
        dilution=dilution.factor,
        target_m=target.target_m(common.store),
        certainty=target.meets_prob,
        words=sheet.words,
        rng=rng,
    )
    remarks = radius_remark(common.store, radius, language=sheet.language)
    show(replace(answer, remarks=(*answer.remarks, *remarks)), as_json=common.as_json)
