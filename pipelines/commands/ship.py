"""A sample in hand and a courier at the door: ``studcurve ship``.

Parse, call one function, print. No sampler and no fit; what a command needs is imported inside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum
from typing import TYPE_CHECKING, Annotated, ClassVar

import typer

from studcurve.pipelines.commands.groups import OptionGroup
from studcurve.pipelines.commands.options import (
    AskedByOption,
    Chamber,
    ClinicOption,
    Common,
    DosesOption,
    ExtenderOption,
    NowOption,
    RatioOption,
    Sample,
    Sheet,
    StudArgument,
    Target,
    WaitOption,
    WeightOption,
    percentage,
    volume_ml,
)
from studcurve.pipelines.commands.terminal import asked_at, show
from studcurve.pipelines.commands.values import DAY, MOMENT, number, read_day, read_moment

if TYPE_CHECKING:
    from pathlib import Path

    from studcurve.pipelines.answers.answer import Answer
    from studcurve.pipelines.answers.shipment import PackedShipment
    from studcurve.pipelines.answers.slip import ShipmentRequest
    from studcurve.reports.words import Words


ExpectOption = Annotated[
    float | None,
    typer.Option(
        "--expect", parser=number(1.0, 99.0, such_as="60"), metavar="PERCENT",
        help="Your own chance of a litter from this shipment, kept to be set against the result.",
    ),
]  # fmt: skip


class Appearance(Enum):
    """What the sample looked like."""

    NORMAL = "normal"
    BLOOD = "blood"
    PUS = "pus"
    URINE = "urine"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class CollectedSample(Sample):
    """A sample in hand and its collection; its numbers stand behind the stud or by options."""

    volume_behind: Annotated[
        float | None,
        typer.Argument(
            parser=volume_ml, metavar="VOLUME", help="Volume in mL, instead of --volume."
        ),
    ] = None
    motility_behind: Annotated[
        float | None,
        typer.Argument(
            parser=percentage, metavar="MOTILITY",
            help="Progressive motility in percent, instead of --motility.",
        ),
    ] = None  # fmt: skip
    volume: Annotated[
        float | None,
        typer.Option("--volume", parser=volume_ml, metavar="ML", help="Volume of the sample."),
    ] = None
    motility: Annotated[
        float | None,
        typer.Option(
            "--motility", parser=percentage, metavar="PERCENT", help="Progressive motility."
        ),
    ] = None
    appearance: Annotated[
        Appearance | None, typer.Option("--appearance", help="Appearance of the sample.")
    ] = None
    collected: Annotated[
        datetime | None,
        typer.Option(
            "--collected", parser=read_moment, metavar=MOMENT,
            help="Date and hour of the collection (default: now).",
        ),
    ] = None  # fmt: skip

    def volume_and_motility(self) -> tuple[float, float]:
        """Volume [mL] and progressive motility [%].

        Raises
        ------
        typer.BadParameter
            One was given twice, or not at all.
        """
        return (
            _given_once("--volume", self.volume_behind, self.volume),
            _given_once("--motility", self.motility_behind, self.motility),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Packing(OptionGroup):
    """How the sample is made up."""

    panel: ClassVar[str] = "The packing"

    extender: ExtenderOption = None
    ratio: RatioOption = None
    n_doses: DosesOption = None
    minutes: WaitOption = None
    is_anyway: Annotated[
        bool, typer.Option("--anyway", help="Pack even a dose that will hardly meet its target.")
    ] = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Shipment(OptionGroup):
    """Where it goes, for whom, and when."""

    panel: ClassVar[str] = "The shipment"

    inseminate: Annotated[
        datetime,
        typer.Option(
            "--inseminate", parser=read_moment, metavar=MOMENT,
            help="Date and hour of the insemination.",
        ),
    ]  # fmt: skip
    bitch: Annotated[
        str | None, typer.Option("--bitch", metavar="NAME", help="Name of the bitch.")
    ] = None
    weight: WeightOption = None
    clinic: ClinicOption = None
    carrier: Annotated[
        str | None, typer.Option("--carrier", metavar="NAME", help="Carrier of the shipment.")
    ] = None
    promised: Annotated[
        date | None,
        typer.Option(
            "--promised", parser=read_day, metavar=DAY, help="Date on which it is to arrive."
        ),
    ] = None
    now: NowOption = None


def ship(
    stud: StudArgument,
    sample: CollectedSample,
    chamber: Chamber,
    packing: Packing,
    target: Target,
    shipment: Shipment,
    sheet: Sheet,
    common: Common,
    expect: ExpectOption = None,
    asked_by: AskedByOption = None,
    check: Annotated[
        bool, typer.Option("--check", help="Give the answer; record and write nothing.")
    ] = False,
) -> None:
    """Divide a sample, record its shipment and write its slip.

    The answer gives the doses, the extender and the chance of each dose at the insemination; for a
    bitch of the records and with a kept fit also the chance of a litter, which is kept.
    """
    from studcurve.pipelines.answers.shipment import pack_shipment
    from studcurve.pipelines.answers.slip import ShipmentRequest

    reading = sample.reading(*sample.volume_and_motility(), chamber)
    sent_at = asked_at(shipment.now, common.store)
    request = ShipmentRequest(
        stud=stud,
        reading=reading,
        appearance=None if sample.appearance is None else sample.appearance.value,
        collected_at=sample.collected or sent_at,
        sent_at=sent_at,
        inseminate_at=shipment.inseminate,
        extender=packing.extender,
        ratio=None if packing.ratio is None else packing.ratio.parts,
        route=target.route.value,
        weight_kg=shipment.weight,
        target_m=target.target_m(common.store, keep=not check),
        certainty=target.meets_prob,
        n_doses=packing.n_doses,
        is_anyway=packing.is_anyway,
        count_cv=chamber.count_cv,
        waited_minutes=packing.minutes,
        for_bitch=shipment.bitch,
        clinic=shipment.clinic,
        carrier=shipment.carrier,
        promised_on=shipment.promised,
    )
    packed = pack_shipment(
        common.store, request, out=sheet.out, words=sheet.words, rng=common.rng(),
        seed=common.seed, check_only=check,
    )  # fmt: skip
    answer = packed.answer
    if not (packed.is_stopped or check):
        own_prob = None if expect is None else expect / 100.0
        answer = _with_chances(packed, request, own_prob, asked_by, common.store, sheet.words)
    show(answer, as_json=common.as_json)
    if packed.is_stopped:
        raise typer.Exit(1)


def _with_chances(
    packed: PackedShipment,
    request: ShipmentRequest,
    own_prob: float | None,
    asked_by: str | None,
    store: Path,
    words: Words,
) -> Answer:
    """Keep the chance that the answer states and what the sender expects, and say so."""
    if packed.chance is None and own_prob is None:
        return packed.answer
    from studcurve.analytics.errors import StoreLockedError
    from studcurve.analytics.sentences import sentence
    from studcurve.pipelines.answers.ledger import with_kept
    from studcurve.pipelines.plan.forecasts import (
        Kept,
        asker,
        chance_of_shipment,
        chances_of_shipment,
        keep,
        stated_at,
    )

    who, stated = asker(asked_by), []
    try:
        at = stated_at(store)
        if packed.chance is not None:
            stated += chances_of_shipment(packed.chance, asked_by=who, at=at)
        if own_prob is not None:
            own = chance_of_shipment(
                store, (request.stud, request.for_bitch or ""), route=request.route,
                inseminate_at=request.inseminate_at, prob=own_prob, asked_by=who, at=at,
            )  # fmt: skip
            if own is None:
                return with_kept(packed.answer, Kept((), sentence("forecast.unknown_bitch")), words)
            stated.append(own)
    except StoreLockedError:
        return with_kept(packed.answer, Kept((), sentence("forecast.in_use")), words)
    return with_kept(packed.answer, keep(store, stated), words)


def _given_once(option: str, behind: float | None, named: float | None) -> float:
    """A value that may stand behind the stud or by its option, but once."""
    given = [value for value in (behind, named) if value is not None]
    if len(given) != 1:
        why = (
            "it is given twice"
            if given
            else "it is missing: write it after the stud, or with this option"
        )
        raise typer.BadParameter(f"{why}.", param_hint=f"'{option}'")
    return given[0]
