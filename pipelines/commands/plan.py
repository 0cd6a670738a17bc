"""The commands of the plan: what they ask on the command line, and the one call behind each.

Heavy packages are imported inside the commands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, ClassVar

import typer

from studcurve.analytics.errors import ToolkitError
from studcurve.pipelines.commands.groups import STATISTICIANS, OptionGroup
from studcurve.pipelines.commands.options import (
    Common,
    LanguageOption,
    PageReader,
    StudArgument,
    TodayOption,
)
from studcurve.pipelines.commands.terminal import asked_on, show
from studcurve.reports.catalog import LANGUAGES

if TYPE_CHECKING:
    from studcurve.analytics.plan.options import OpeningHours

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
"""Names of weekdays on the command line."""

REFUSABLE = ("natural", "fresh", "chilled", "frozen", "vaginal", "transcervical")
"""Words that ``--without`` knows."""

WorthOption = Annotated[
    float | None, typer.Option("--worth", min=0.0, help="What a litter is worth, before its fee.")
]
WithoutOption = Annotated[
    list[str] | None,
    typer.Option("--without", help="Semen or route that is not wanted; repeatable."),
]


def _coefficient_pct(percent: float | None) -> float | None:
    """An inbreeding coefficient as it was typed; not a number is no coefficient either."""
    if percent is not None and not 0.0 <= percent <= 100.0:
        raise typer.BadParameter(
            f"a coefficient in percent lies between 0 and 100, such as 6.25; got {percent:g}."
        )
    return percent


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Common):
    """When a plan is asked for, and of which records."""

    today: TodayOption = None
    at: Annotated[str, typer.Option("--at", metavar="HH:MM", help="Hour of the question.")] = (
        "08:00"
    )

    def asked_at(self) -> datetime:
        """The moment from which is planned."""
        return datetime.combine(asked_on(self.today, self.store), read_clock(self.at))


@dataclass(frozen=True, slots=True, kw_only=True)
class Breeding(OptionGroup):
    """What is wanted and known of one breeding."""

    panel: ClassVar[str] = "The breeding"

    worth: WorthOption = None
    max_cost: Annotated[
        float | None, typer.Option("--max-cost", min=0.0, help="Limit for a cost in any case.")
    ] = None
    without: WithoutOption = None
    is_apart: Annotated[
        bool, typer.Option("--apart", help="Bitch and stud cannot be brought together.")
    ] = False
    is_single: Annotated[bool, typer.Option("--once", help="One insemination only.")] = False
    ovulation: Annotated[
        datetime | None,
        typer.Option("--ovulation", formats=["%Y-%m-%d"], help="Ovulation as you expect it."),
    ] = None
    inbreeding: Annotated[
        float | None,
        typer.Option(
            "--inbreeding",
            metavar="PERCENT",
            callback=_coefficient_pct,
            help="Inbreeding of the planned litter by its pedigree; as of unrelated parents "
            "without.",
        ),
    ] = None
    on_hand: Annotated[
        datetime | None,
        typer.Option(
            "--on-hand", formats=["%Y-%m-%d %H:%M"], help="When a sample on hand was collected."
        ),
    ] = None  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Transport(OptionGroup):
    """How a shipment travels."""

    panel: ClassVar[str] = "The shipment"

    extender: Annotated[str | None, typer.Option("--extender", help="What a box is kept in.")] = (
        None
    )
    carrier: Annotated[
        str | None,
        typer.Option("--carrier", help="Who takes the box; the usual one when not said."),
    ] = None
    last_pickup: Annotated[
        str, typer.Option("--cut-off", metavar="HH:MM", help="Last box of a day.")
    ] = "19:30"
    pickup_days: Annotated[str, typer.Option("--leaves", help="Days a box is taken: mon-fri.")] = (
        "mon-fri"
    )
    delivery_days: Annotated[
        str, typer.Option("--delivers", help="Days a box is brought: mon-sat.")
    ] = "mon-sat"


@dataclass(frozen=True, slots=True, kw_only=True)
class Clinic(OptionGroup):
    """Who inseminates, and when."""

    panel: ClassVar[str] = "The clinic"

    clinic: Annotated[str, typer.Option("--clinic", help="Who inseminates, as in the records.")] = (
        ""
    )
    clinic_hours: Annotated[
        str,
        typer.Option("--clinic-hours", metavar="HH:MM-HH:MM", help="When the clinic inseminates."),
    ] = "09:00-17:00"
    clinic_days: Annotated[str, typer.Option("--clinic-days", help="Its days: mon-sat.")] = (
        "mon-sat"
    )
    closed: Annotated[
        list[datetime] | None,
        typer.Option(
            "--closed", formats=["%Y-%m-%d"], help="A day on which it is closed; repeatable."
        ),
    ] = None

    def opening_hours(self) -> OpeningHours:
        """When the clinic inseminates."""
        from studcurve.analytics.plan.options import OpeningHours

        opens, closes = read_hours(self.clinic_hours)
        shut = frozenset(day.date() for day in self.closed or ())
        return OpeningHours(opens, closes, read_weekdays(self.clinic_days), shut)


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonPage(OptionGroup):
    """The page of a comparison, where one is wanted."""

    panel: ClassVar[str] = "The page"

    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the page; none is written without it.")
    ] = None
    language: LanguageOption = LANGUAGES[0]
    reader: Annotated[
        PageReader, typer.Option("--for", help="Who reads the page; only the owner sees costs.")
    ] = PageReader.OWNER
    anonymous: Annotated[
        bool, typer.Option("--anonymous", help="A page without names of dogs, people and places.")
    ] = False


def compare(
    stud: StudArgument,
    bitch: Annotated[str, typer.Argument(help="Call name of the bitch.")],
    breeding: Breeding,
    transport: Transport,
    clinic: Clinic,
    page: ComparisonPage,
    question: Question,
    draws: Annotated[
        int,
        typer.Option("--draws", min=200, help="Joint draws.", rich_help_panel=STATISTICIANS),
    ] = 4000,
) -> None:
    """Compare fresh, chilled and frozen semen by every route for one breeding."""
    from studcurve.pipelines.answers.comparison import plan_answer
    from studcurve.pipelines.plan.comparison import plan_breeding
    from studcurve.pipelines.plan.records import read_plan_records
    from studcurve.pipelines.plan.wishes import Wishes
    from studcurve.reports.words import Words

    wishes = Wishes(
        worth_of_litter=breeding.worth if page.reader is PageReader.OWNER else None,
        max_cost=float("inf") if breeding.max_cost is None else breeding.max_cost,
        refused=_refused(breeding.without),
        is_bitch_at_kennel=not breeding.is_apart,
        n_inseminations=(1,) if breeding.is_single else (1, 2),
        ovulation_on=None if breeding.ovulation is None else breeding.ovulation.date(),
        litter_inbreeding_pct=breeding.inbreeding,
        on_hand_at=breeding.on_hand,
        extender=transport.extender,
        carrier=transport.carrier,
        cut_off=read_clock(transport.last_pickup),
        leaves=read_weekdays(transport.pickup_days),
        delivers=read_weekdays(transport.delivery_days),
        clinic=clinic.clinic,
        clinic_hours=clinic.opening_hours(),
    )
    records = read_plan_records(question.store, question.asked_at())
    plan = plan_breeding(
        records, stud, bitch, wishes, seed=question.seed, n_draws=draws,
        with_grids=page.out is not None,
    )  # fmt: skip
    words = Words(page.language)
    show(plan_answer(plan, words), as_json=question.as_json)
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
        typer.Option("--away", help="A bitch that cannot be brought to the stud; repeatable."),
    ] = None
    ovulation: Annotated[
        list[str] | None,
        typer.Option(
            "--ovulation", metavar="BITCH=DAY", help="Her ovulation as you expect it; repeatable."
        ),
    ] = None
    rest: Annotated[
        int, typer.Option("--rest", min=1, help="Days between two collections at least.")
    ] = 2


def season(
    stud: StudArgument,
    breedings: Breedings,
    transport: Transport,
    clinic: Clinic,
    question: Question,
    bitches: Annotated[
        list[str] | None, typer.Argument(help="Call names; every bitch in heat when none.")
    ] = None,
    language: LanguageOption = LANGUAGES[0],
) -> None:
    """Plan who gets which collection of one stud while several bitches are in heat."""
    from studcurve.pipelines.answers.season import season_answer
    from studcurve.pipelines.plan.records import read_plan_records
    from studcurve.pipelines.plan.season import plan_stud_season
    from studcurve.pipelines.plan.wishes import Wishes
    from studcurve.reports.words import Words

    wishes = Wishes(
        worth_of_litter=breedings.worth,
        refused=_refused(breedings.without),
        fewest_rest_days=breedings.rest,
        extender=transport.extender,
        carrier=transport.carrier,
        cut_off=read_clock(transport.last_pickup),
        leaves=read_weekdays(transport.pickup_days),
        delivers=read_weekdays(transport.delivery_days),
        clinic=clinic.clinic,
        clinic_hours=clinic.opening_hours(),
    )
    records = read_plan_records(question.store, question.asked_at())
    planned = plan_stud_season(
        records, stud, bitches or (), wishes, away=frozenset(breedings.apart or ()),
        ovulations=read_ovulations(breedings.ovulation or ()), seed=question.seed,
    )  # fmt: skip
    answer = season_answer(planned, Words(language), seed=question.seed)
    show(answer, as_json=question.as_json)
    if planned.plan is None:
        raise typer.Exit(1)


def read_ovulations(texts: Sequence[str]) -> dict[str, date]:
    """Read expected ovulations such as Fern=2026-11-05.

    Raises
    ------
    ToolkitError
        One has no name or no day.
    """
    found = {}
    for text in texts:
        name, _, day = text.partition("=")
        try:
            found[name.strip()] = date.fromisoformat(day.strip())
        except ValueError:
            raise ToolkitError(f"--ovulation is written BITCH=2026-11-05; got {text!r}.") from None
    return found


def read_clock(text: str) -> time:
    """Read an hour such as 9:30.

    Raises
    ------
    ToolkitError
        It is no hour.
    """
    try:
        return time.fromisoformat(text.strip().zfill(5))
    except ValueError:
        raise ToolkitError(f"An hour is written 09:30; got {text!r}.") from None


def read_hours(text: str) -> tuple[time, time]:
    """Read opening hours such as 09:00-17:00.

    Raises
    ------
    ToolkitError
        They are no hours, or end before they begin.
    """
    opens, dash, closes = text.partition("-")
    if not dash:
        raise ToolkitError(f"Hours are written 09:00-17:00; got {text!r}.")
    first, last = read_clock(opens), read_clock(closes)
    if last < first:
        raise ToolkitError(f"Hours end after they begin; got {text!r}. Write 09:00-17:00.")
    return first, last


def read_weekdays(text: str) -> frozenset[int]:
    """Read weekdays such as mon-fri or mon,wed,sat; Monday is 0.

    Raises
    ------
    ToolkitError
        A name is none of the seven.
    """
    found: set[int] = set()
    for part in text.lower().split(","):
        first, _, last = part.strip().partition("-")
        try:
            start, end = WEEKDAYS.index(first[:3]), WEEKDAYS.index((last or first)[:3])
        except ValueError:
            raise ToolkitError(
                f"Weekdays are written mon-fri or mon,wed,sat; got {text!r}."
            ) from None
        found |= {day % 7 for day in range(start, end + 1 if end >= start else end + 8)}
    return frozenset(found)


def _refused(without: list[str] | None) -> frozenset[str]:
    """Semen types and routes that are not wanted.

    Raises
    ------
    ToolkitError
        A word is none of them.
    """
    words = frozenset(word.lower() for word in without or ())
    if unknown := words - set(REFUSABLE):
        raise ToolkitError(
            f"--without knows {', '.join(REFUSABLE)}; got {', '.join(sorted(unknown))}."
        )
    return words
