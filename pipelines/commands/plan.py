"""The commands of the plan: what they ask on the command line, and the one call behind each.

Heavy packages are imported inside the commands.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, ClassVar

import typer

from studcurve.analytics.vocabulary import SEMEN_TYPES
from studcurve.pipelines.commands.groups import STATISTICIANS, OptionGroup
from studcurve.pipelines.commands.options import (
    DEFAULT_STORE,
    AskedByOption,
    ClinicOption,
    Common,
    JsonOption,
    LanguageOption,
    NowOption,
    PageReader,
    StoreOption,
    StudArgument,
    percentage,
)
from studcurve.pipelines.commands.terminal import asked_at, asked_on, show
from studcurve.pipelines.commands.values import (
    DAY,
    MOMENT,
    as_typed,
    count,
    number,
    one_of,
    read_clock,
    read_day,
    read_expected,
    read_hours,
    read_moment,
    read_named_day,
    read_weekdays,
)
from studcurve.reports.catalog import LANGUAGES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from studcurve.analytics.plan.options import OpeningHours
    from studcurve.analytics.sentences import Sentence
    from studcurve.pipelines.answers.answer import Answer
    from studcurve.pipelines.plan.records import PlanRecords
    from studcurve.pipelines.records.database.forecasts import Forecast
    from studcurve.reports.words import Words

MORNING = time(8)
"""Hour of a question that names its day alone."""

REFUSABLE = (*SEMEN_TYPES, "vaginal", "transcervical")
"""Semen and routes that ``--without`` knows."""

WorthOption = Annotated[
    float | None,
    typer.Option(
        "--worth", parser=number(0.0, such_as="3000"), metavar="PRICE",
        help="Value of a litter, before the stud fee.",
    ),
]  # fmt: skip
WithoutOption = Annotated[
    list[str] | None,
    typer.Option(
        "--without", parser=one_of(REFUSABLE), metavar="|".join(REFUSABLE),
        help="Semen or route to leave out; repeatable.",
    ),
]  # fmt: skip
read_days_as_typed = as_typed(read_weekdays)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Common):
    """When a plan is asked for, and of which records."""

    now: NowOption = None

    def asked_at(self) -> datetime:
        """The moment from which is planned."""
        return asked_at(self.now, self.store, MORNING)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnChance(OptionGroup):
    """What the person who asks expects."""

    panel: ClassVar[str] = "Was it right"

    expect: Annotated[
        list[str] | None,
        typer.Option(
            "--expect", parser=as_typed(read_expected), metavar="[OPTION=]PERCENT",
            help="Your own chance of a litter, kept beside the model's, such as 'chilled=60'; "
            "repeatable.",
        ),
    ] = None  # fmt: skip
    asked_by: AskedByOption = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Breeding(OptionGroup):
    """What is wanted and known of one breeding."""

    panel: ClassVar[str] = "The breeding"

    worth: WorthOption = None
    max_cost: Annotated[
        float | None,
        typer.Option(
            "--max-cost", parser=number(0.0, such_as="800"), metavar="PRICE",
            help="Most that may be paid whatever comes of it.",
        ),
    ] = None  # fmt: skip
    without: WithoutOption = None
    is_apart: Annotated[
        bool, typer.Option("--apart", help="The bitch cannot be brought to the stud.")
    ] = False
    is_single: Annotated[bool, typer.Option("--single", help="One insemination only.")] = False
    ovulation: Annotated[
        date | None,
        typer.Option(
            "--ovulation", parser=read_day, metavar=DAY, help="Ovulation as you expect it."
        ),
    ] = None
    inbreeding: Annotated[
        float | None,
        typer.Option(
            "--inbreeding", parser=percentage, metavar="PERCENT",
            help="Inbreeding of the planned litter by its pedigree (default: unrelated parents).",
        ),
    ] = None  # fmt: skip
    on_hand: Annotated[
        datetime | None,
        typer.Option(
            "--on-hand", parser=read_moment, metavar=MOMENT,
            help="Date and hour of the collection of a sample on hand.",
        ),
    ] = None  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Transport(OptionGroup):
    """How a shipment travels."""

    panel: ClassVar[str] = "The shipment"

    extender: Annotated[
        str | None,
        typer.Option(
            "--extender", metavar="NAME",
            help="Name of the extender (default: that of the last shipment).",
        ),
    ] = None  # fmt: skip
    carrier: Annotated[
        str | None,
        typer.Option(
            "--carrier", metavar="NAME", help="Carrier of the shipment (default: the usual one)."
        ),
    ] = None
    last_pickup: Annotated[
        str,
        typer.Option(
            "--last-pickup", parser=as_typed(read_clock), metavar="HH:MM",
            help="Hour of the last pickup of a day.",
        ),
    ] = "19:30"  # fmt: skip
    pickup_days: Annotated[
        str,
        typer.Option(
            "--pickup-days",
            parser=read_days_as_typed,
            metavar="DAYS",
            help="Weekdays with a pickup.",
        ),
    ] = "mon-fri"
    delivery_days: Annotated[
        str,
        typer.Option(
            "--delivery-days",
            parser=read_days_as_typed,
            metavar="DAYS",
            help="Weekdays with a delivery.",
        ),
    ] = "mon-sat"


@dataclass(frozen=True, slots=True, kw_only=True)
class Clinic(OptionGroup):
    """Who inseminates, and when."""

    panel: ClassVar[str] = "The clinic"

    clinic: ClinicOption = None
    clinic_hours: Annotated[
        str,
        typer.Option(
            "--clinic-hours", parser=as_typed(read_hours), metavar="HH:MM-HH:MM",
            help="Hours in which the clinic inseminates.",
        ),
    ] = "09:00-17:00"  # fmt: skip
    clinic_days: Annotated[
        str,
        typer.Option(
            "--clinic-days", parser=read_days_as_typed, metavar="DAYS",
            help="Weekdays on which the clinic inseminates.",
        ),
    ] = "mon-sat"  # fmt: skip
    closed: Annotated[
        list[date] | None,
        typer.Option(
            "--closed", parser=read_day, metavar=DAY,
            help="Date on which the clinic is closed; repeatable.",
        ),
    ] = None  # fmt: skip

    def opening_hours(self) -> OpeningHours:
        """When the clinic inseminates."""
        from studcurve.analytics.plan.options import OpeningHours

        opens, closes = read_hours(self.clinic_hours)
        closed = frozenset(self.closed or ())
        return OpeningHours(opens, closes, read_weekdays(self.clinic_days), closed)


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonPage(OptionGroup):
    """The page of a comparison, where one is wanted."""

    panel: ClassVar[str] = "The page"

    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FOLDER",
            help="Folder to write a page into; no page is written without it.",
        ),
    ] = None  # fmt: skip
    language: LanguageOption = LANGUAGES[0]
    reader: Annotated[
        PageReader,
        typer.Option("--reader", help="Who reads the page: only the owner sees costs."),
    ] = PageReader.OWNER
    anonymous: Annotated[
        bool,
        typer.Option(
            "--anonymous", help="Leave out the names of dogs, people and places on the page."
        ),
    ] = False


def compare(
    stud: StudArgument,
    bitch: Annotated[str, typer.Argument(metavar="BITCH", help="Call name of the bitch.")],
    breeding: Breeding,
    transport: Transport,
    clinic: Clinic,
    page: ComparisonPage,
    own: OwnChance,
    question: Question,
    draws: Annotated[
        int,
        typer.Option(
            "--draws", parser=count(200), metavar="NUMBER", help="Number of simulations.",
            rich_help_panel=STATISTICIANS,
        ),
    ] = 4000,
) -> None:  # fmt: skip
    """Compare the options for one breeding.

    Natural mating, fresh, chilled and frozen semen, by every route that can be carried out. A page
    is written only with --out. The chances are kept, to be set against the result.
    """
    from studcurve.pipelines.answers.comparison import plan_answer
    from studcurve.pipelines.plan.comparison import plan_breeding
    from studcurve.pipelines.plan.forecasts import (
        Expected,
        asker,
        chances_of_comparison,
        stated_at,
        unmatched,
    )
    from studcurve.pipelines.plan.records import read_plan_records
    from studcurve.pipelines.plan.wishes import Wishes
    from studcurve.reports.words import Words

    wishes = Wishes(
        worth_of_litter=breeding.worth if page.reader is PageReader.OWNER else None,
        max_cost=float("inf") if breeding.max_cost is None else breeding.max_cost,
        refused=frozenset(breeding.without or ()),
        is_bitch_at_kennel=not breeding.is_apart,
        n_inseminations=(1,) if breeding.is_single else (1, 2),
        ovulation_on=breeding.ovulation,
        litter_inbreeding_pct=breeding.inbreeding,
        on_hand_at=breeding.on_hand,
        extender=transport.extender,
        carrier=transport.carrier,
        cut_off=read_clock(transport.last_pickup),
        leaves=read_weekdays(transport.pickup_days),
        delivers=read_weekdays(transport.delivery_days),
        clinic=clinic.clinic or "",
        clinic_hours=clinic.opening_hours(),
    )
    at = stated_at(question.store)
    records = read_plan_records(question.store, question.asked_at())
    plan = plan_breeding(
        records, stud, bitch, wishes, seed=question.seed, n_draws=draws,
        with_grids=page.out is not None,
    )  # fmt: skip
    words = Words(page.language)
    answer = plan_answer(plan, words)
    if plan.answers:
        expected = [Expected(*read_expected(one)) for one in own.expect or ()]
        stated = chances_of_comparison(plan, records, expected, asked_by=asker(own.asked_by), at=at)
        answer = _kept(answer, stated, records, question.store, words, unmatched(plan, expected))
    show(answer, as_json=question.as_json)
    if page.out is not None:
        from studcurve.pipelines.run import write_comparison
        from studcurve.reports.page import Reader

        reader = Reader(words, page.reader.value)
        written = write_comparison(plan, records, page.out, reader=reader,
                                   anonymous=page.anonymous)  # fmt: skip
        typer.echo(f"wrote {written}", err=True)
    if plan.is_stopped or not plan.answers:
        raise typer.Exit(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Breedings(OptionGroup):
    """What is wanted and known of the breedings of one stud."""

    panel: ClassVar[str] = "The breedings"

    worth: WorthOption = None
    without: WithoutOption = None
    apart: Annotated[
        list[str] | None,
        typer.Option(
            "--apart", metavar="BITCH",
            help="A bitch that cannot be brought to the stud; repeatable.",
        ),
    ] = None  # fmt: skip
    ovulation: Annotated[
        list[str] | None,
        typer.Option(
            "--ovulation", parser=as_typed(read_named_day), metavar=f"BITCH={DAY}",
            help="Ovulation of a bitch as you expect it; repeatable.",
        ),
    ] = None  # fmt: skip
    rest: Annotated[
        int,
        typer.Option(
            "--rest", parser=count(1), metavar="DAYS", help="Fewest days between two collections."
        ),
    ] = 2


def schedule(
    stud: StudArgument,
    breedings: Breedings,
    transport: Transport,
    clinic: Clinic,
    question: Question,
    bitches: Annotated[
        list[str] | None,
        typer.Argument(metavar="BITCH", help="Call names of the bitches (default: all in heat)."),
    ] = None,
    language: LanguageOption = LANGUAGES[0],
    asked_by: AskedByOption = None,
) -> None:
    """Plan which bitch gets which collection of a stud.

    The chances are kept, to be set against the results.
    """
    from studcurve.pipelines.answers.schedule import schedule_answer
    from studcurve.pipelines.plan.forecasts import asker, chances_of_schedule, stated_at
    from studcurve.pipelines.plan.records import read_plan_records
    from studcurve.pipelines.plan.schedule import plan_stud_schedule
    from studcurve.pipelines.plan.wishes import Wishes
    from studcurve.reports.words import Words

    wishes = Wishes(
        worth_of_litter=breedings.worth,
        refused=frozenset(breedings.without or ()),
        fewest_rest_days=breedings.rest,
        extender=transport.extender,
        carrier=transport.carrier,
        cut_off=read_clock(transport.last_pickup),
        leaves=read_weekdays(transport.pickup_days),
        delivers=read_weekdays(transport.delivery_days),
        clinic=clinic.clinic or "",
        clinic_hours=clinic.opening_hours(),
    )
    at = stated_at(question.store)
    records = read_plan_records(question.store, question.asked_at())
    planned = plan_stud_schedule(
        records, stud, bitches or (), wishes, away=frozenset(breedings.apart or ()),
        ovulations=dict(map(read_named_day, breedings.ovulation or ())), seed=question.seed,
    )  # fmt: skip
    words = Words(language)
    answer = schedule_answer(planned, words, seed=question.seed)
    if planned.plan is not None:
        stated = chances_of_schedule(planned, records, asked_by=asker(asked_by), at=at)
        answer = _kept(answer, stated, records, question.store, words)
    show(answer, as_json=question.as_json)
    if planned.plan is None:
        raise typer.Exit(1)


def forecasts(
    store: StoreOption = DEFAULT_STORE,
    now: NowOption = None,
    language: LanguageOption = LANGUAGES[0],
    as_json: JsonOption = False,
) -> None:
    """Set the chances that were stated against the results."""
    from studcurve.analytics.wording.ledger import ledger_wording
    from studcurve.pipelines.answers.ledger import ledger_answer
    from studcurve.pipelines.plan.forecasts import read_ledger
    from studcurve.reports.words import Words

    wording = ledger_wording(*read_ledger(store, asked_on(now, store)))
    show(ledger_answer(wording, Words(language)), as_json=as_json)


def _kept(
    answer: Answer,
    stated: Sequence[Forecast],
    records: PlanRecords,
    store: Path,
    words: Words,
    more: Sequence[Sentence] = (),
) -> Answer:
    """Keep what an answer states, now that all of it is worked out, and say so in it."""
    from studcurve.analytics.wording.ledger import ledger_wording
    from studcurve.pipelines.answers.ledger import with_kept, with_ledger
    from studcurve.pipelines.plan.forecasts import keep, ledger_of_views

    wording = ledger_wording(*ledger_of_views(records.views, records.asked_at.date()))
    return with_kept(with_ledger(answer, wording, words), keep(store, stated), words, more)
