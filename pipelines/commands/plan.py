"""The commands of the plan: what they ask on the command line, and the one call behind each.

Heavy packages are imported inside the commands.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from studcurve.analytics.errors import ToolkitError
from studcurve.analytics.vocabulary import SEMEN_TYPES
from studcurve.pipelines.answers.answer import DEFAULT_SEED
from studcurve.pipelines.commands.daily import PageLanguage
from studcurve.pipelines.commands.terminal import (
    DEFAULT_STORE,
    JsonOption,
    PageReader,
    SeedOption,
    StoreOption,
    TodayOption,
    asked_on,
    show,
)

if TYPE_CHECKING:
    from studcurve.pipelines.plan.wishes import Wishes

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
"""Names of weekdays on the command line."""

AtOption = Annotated[str, typer.Option("--at", metavar="HH:MM", help="Hour of the question.")]
WorthOption = Annotated[
    float | None, typer.Option("--worth", min=0.0, help="What a litter is worth, before its fee.")
]
CarrierOption = Annotated[
    str | None, typer.Option("--carrier", help="Who takes the box; the usual one when not said.")
]
CutOffOption = Annotated[str, typer.Option("--cut-off", metavar="HH:MM", help="Last box of a day.")]
LeavesOption = Annotated[str, typer.Option("--leaves", help="Days a box is taken: mon-fri.")]
DeliversOption = Annotated[str, typer.Option("--delivers", help="Days a box is brought: mon-sat.")]
ClinicOption = Annotated[str, typer.Option("--clinic", help="Who inseminates, as in the records.")]
HoursOption = Annotated[
    str, typer.Option("--clinic-hours", metavar="HH:MM-HH:MM", help="When the clinic inseminates.")
]
ClinicDaysOption = Annotated[str, typer.Option("--clinic-days", help="Its days: mon-sat.")]
ClosedOption = Annotated[
    list[datetime] | None,
    typer.Option("--closed", formats=["%Y-%m-%d"], help="A day on which it is closed; repeatable."),
]
WithoutOption = Annotated[
    list[str] | None,
    typer.Option("--without", help="Semen or route that is not wanted; repeatable."),
]
ExtenderOption = Annotated[str | None, typer.Option("--extender", help="What a box is kept in.")]


def _coefficient_pct(percent: float | None) -> float | None:
    """An inbreeding coefficient as it was typed; not a number is no coefficient either."""
    if percent is not None and not 0.0 <= percent <= 100.0:
        raise typer.BadParameter(
            f"a coefficient in percent lies between 0 and 100, such as 6.25; got {percent:g}."
        )
    return percent


InbreedingOption = Annotated[
    float | None,
    typer.Option(
        "--inbreeding",
        metavar="PERCENT",
        callback=_coefficient_pct,
        help="Inbreeding of the planned litter by its pedigree; as of unrelated parents without.",
    ),
]
LanguageOption = Annotated[PageLanguage, typer.Option("--language", help="Language of the answer.")]

REFUSABLE = (*SEMEN_TYPES, "vaginal", "transcervical")
"""Words that ``--without`` knows."""


def compare(
    stud: Annotated[str, typer.Argument(help="Call name of the stud.")],
    bitch: Annotated[str, typer.Argument(help="Call name of the bitch.")],
    store: StoreOption = DEFAULT_STORE,
    today: TodayOption = None,
    at: AtOption = "08:00",
    worth: WorthOption = None,
    max_cost: Annotated[
        float | None, typer.Option("--max-cost", min=0.0, help="Limit for a cost in any case.")
    ] = None,
    without: WithoutOption = None,
    apart: Annotated[
        bool, typer.Option("--apart", help="Bitch and stud cannot be brought together.")
    ] = False,
    once: Annotated[bool, typer.Option("--once", help="One insemination only.")] = False,
    ovulation: Annotated[
        datetime | None,
        typer.Option("--ovulation", formats=["%Y-%m-%d"], help="Ovulation as you expect it."),
    ] = None,
    inbreeding: InbreedingOption = None,
    on_hand: Annotated[
        datetime | None,
        typer.Option(
            "--on-hand", formats=["%Y-%m-%d %H:%M"], help="When a sample on hand was collected."
        ),
    ] = None,
    extender: ExtenderOption = None,
    carrier: CarrierOption = None,
    cut_off: CutOffOption = "19:30",
    leaves: LeavesOption = "mon-fri",
    delivers: DeliversOption = "mon-sat",
    clinic: ClinicOption = "",
    clinic_hours: HoursOption = "09:00-17:00",
    clinic_days: ClinicDaysOption = "mon-sat",
    closed: ClosedOption = None,
    seed: SeedOption = DEFAULT_SEED,
    draws: Annotated[int, typer.Option("--draws", min=200, help="Joint draws.")] = 4000,
    language: LanguageOption = PageLanguage.ENGLISH,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the page; none is written without it.")
    ] = None,
    audience: Annotated[
        PageReader, typer.Option("--for", help="Who reads the page; only the owner sees costs.")
    ] = PageReader.OWNER,
    anonymous: Annotated[
        bool, typer.Option("--anonymous", help="A page without names of dogs, people and places.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Compare fresh, chilled and frozen semen by every route for one breeding."""
    from studcurve.pipelines.answers.comparison import plan_answer
    from studcurve.pipelines.plan.comparison import plan_breeding
    from studcurve.pipelines.plan.records import read_plan_records
    from studcurve.reports.words import Words

    wishes = _wishes(
        worth_of_litter=worth if audience is PageReader.OWNER else None,
        max_cost=float("inf") if max_cost is None else max_cost,
        refused=_refused(without),
        is_bitch_at_kennel=not apart,
        n_inseminations=(1,) if once else (1, 2),
        ovulation_on=None if ovulation is None else ovulation.date(),
        litter_inbreeding_pct=inbreeding,
        on_hand_at=on_hand,
        extender=extender,
        carrier=carrier,
        cut_off=read_clock(cut_off),
        leaves=read_weekdays(leaves),
        delivers=read_weekdays(delivers),
        clinic=clinic,
        clinic_hours=(clinic_hours, clinic_days, closed),
    )
    records = read_plan_records(store, datetime.combine(asked_on(today, store), read_clock(at)))
    plan = plan_breeding(
        records, stud, bitch, wishes, seed=seed, n_draws=draws, with_grids=out is not None
    )
    words = Words(language.value)
    show(plan_answer(plan, words), as_json=as_json)
    if out is not None:
        from studcurve.pipelines.run import write_comparison
        from studcurve.reports.page import Reader

        reader = Reader(words, audience.value)
        page = write_comparison(plan, records, out, reader=reader, anonymous=anonymous)
        typer.echo(f"wrote {page}", err=True)
    if plan.is_stopped or not plan.answers:
        raise typer.Exit(1)


def season(
    stud: Annotated[str, typer.Argument(help="Call name of the stud.")],
    bitches: Annotated[
        list[str] | None, typer.Argument(help="Call names; every bitch in heat when none.")
    ] = None,
    store: StoreOption = DEFAULT_STORE,
    today: TodayOption = None,
    at: AtOption = "08:00",
    worth: WorthOption = None,
    without: WithoutOption = None,
    away: Annotated[
        list[str] | None,
        typer.Option("--away", help="A bitch that cannot be brought to the stud; repeatable."),
    ] = None,
    ovulation: Annotated[
        list[str] | None,
        typer.Option(
            "--ovulation", metavar="BITCH=DAY", help="Her ovulation as you expect it; repeatable."
        ),
    ] = None,
    rest: Annotated[
        int, typer.Option("--rest", min=1, help="Days between two collections at least.")
    ] = 2,
    extender: ExtenderOption = None,
    carrier: CarrierOption = None,
    cut_off: CutOffOption = "19:30",
    leaves: LeavesOption = "mon-fri",
    delivers: DeliversOption = "mon-sat",
    clinic: ClinicOption = "",
    clinic_hours: HoursOption = "09:00-17:00",
    clinic_days: ClinicDaysOption = "mon-sat",
    closed: ClosedOption = None,
    seed: SeedOption = DEFAULT_SEED,
    language: LanguageOption = PageLanguage.ENGLISH,
    as_json: JsonOption = False,
) -> None:
    """Plan who gets which collection of one stud while several bitches are in heat."""
    from studcurve.pipelines.answers.season import season_answer
    from studcurve.pipelines.plan.records import read_plan_records
    from studcurve.pipelines.plan.season import plan_stud_season
    from studcurve.reports.words import Words

    wishes = _wishes(
        worth_of_litter=worth,
        refused=_refused(without),
        fewest_rest_days=rest,
        extender=extender,
        carrier=carrier,
        cut_off=read_clock(cut_off),
        leaves=read_weekdays(leaves),
        delivers=read_weekdays(delivers),
        clinic=clinic,
        clinic_hours=(clinic_hours, clinic_days, closed),
    )
    records = read_plan_records(store, datetime.combine(asked_on(today, store), read_clock(at)))
    planned = plan_stud_season(
        records, stud, bitches or (), wishes, away=frozenset(away or ()),
        ovulations=read_ovulations(ovulation or ()), seed=seed,
    )  # fmt: skip
    show(season_answer(planned, Words(language.value), seed=seed), as_json=as_json)
    if planned.plan is None:
        raise typer.Exit(1)


def _wishes(
    *, clinic_hours: tuple[str, str, list[datetime] | None], **asked: Any  # noqa: ANN401
) -> Wishes:  # fmt: skip
    """Put together what was asked."""
    from studcurve.analytics.plan.options import OpeningHours
    from studcurve.pipelines.plan.wishes import Wishes

    hours, days, closed = clinic_hours
    opens, closes = read_hours(hours)
    shut = frozenset(day.date() for day in closed or ())
    return Wishes(clinic_hours=OpeningHours(opens, closes, read_weekdays(days), shut), **asked)


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
