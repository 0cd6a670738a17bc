"""A sample in hand and a courier at the door: ``studcurve box``; and the card of the bench.

Parse, call one function, print. No sampler and no fit; what a command needs is imported inside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from typing import TYPE_CHECKING, Annotated, ClassVar

import typer

from studcurve.pipelines.commands.from_records import rotor_radius_cm, storage_of
from studcurve.pipelines.commands.groups import OptionGroup
from studcurve.pipelines.commands.options import (
    DEFAULT_OUT,
    MOMENT_FORMATS,
    Chamber,
    Common,
    DilutionOption,
    ExtenderOption,
    LanguageOption,
    MinutesOption,
    OutOption,
    RadiusOption,
    Sample,
    SquaresOption,
    StudArgument,
    Target,
    WeightOption,
)
from studcurve.pipelines.commands.terminal import asked_at, show
from studcurve.reports.catalog import LANGUAGES

if TYPE_CHECKING:
    from studcurve.reports.words import Words


class Appearance(Enum):
    """What the sample looked like."""

    NORMAL = "normal"
    BLOOD = "blood"
    PUS = "pus"
    URINE = "urine"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class CollectedSample(Sample):
    """A sample in hand, with its collection."""

    volume: Annotated[float, typer.Argument(min=0.01, help="Volume of the sample. [mL]")]
    motility: Annotated[float, typer.Argument(min=0.0, max=100.0, help="Moving forward. [%]")]
    appearance: Annotated[
        Appearance | None, typer.Option("--appearance", help="What the sample looked like.")
    ] = None
    collected: Annotated[
        datetime | None,
        typer.Option("--collected", formats=MOMENT_FORMATS, help="When; now if left out."),
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Packing(OptionGroup):
    """How the sample is made up."""

    panel: ClassVar[str] = "The packing"

    extender: ExtenderOption = None
    ratio: Annotated[
        float | None, typer.Option("--ratio", min=0.1, help="Parts of extender to one of semen.")
    ] = None
    n_doses: Annotated[
        int | None,
        typer.Option("--doses", min=1, max=12, help="Make so many, whatever their chance."),
    ] = None
    minutes: MinutesOption = None
    is_anyway: Annotated[
        bool,
        typer.Option("--anyway", help="Pack a dose with nearly no chance to meet its target."),
    ] = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Shipment(OptionGroup):
    """Where it goes, for whom, and when."""

    panel: ClassVar[str] = "The shipment"

    inseminate: Annotated[
        datetime,
        typer.Option("--inseminate", formats=MOMENT_FORMATS, help="When she is inseminated."),
    ]
    bitch: Annotated[str | None, typer.Option("--for-bitch", help="Her name.")] = None
    weight: WeightOption = None
    clinic: Annotated[str | None, typer.Option("--clinic", help="Where she is inseminated.")] = None
    carrier: Annotated[str | None, typer.Option("--carrier", help="Who carries the box.")] = None
    promised: Annotated[
        datetime | None, typer.Option("--promised", formats=["%Y-%m-%d"], help="Day of arrival.")
    ] = None
    now: Annotated[
        datetime | None,
        typer.Option("--now", formats=MOMENT_FORMATS, help="When the box is packed."),
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet(OptionGroup):
    """The sheet that is written."""

    panel: ClassVar[str] = "The page"

    out: OutOption = DEFAULT_OUT
    language: LanguageOption = LANGUAGES[0]

    @property
    def words(self) -> Words:
        """Words of its language."""
        from studcurve.reports.words import Words

        return Words(self.language)


def box(
    dog: StudArgument,
    sample: CollectedSample,
    chamber: Chamber,
    packing: Packing,
    target: Target,
    shipment: Shipment,
    sheet: Sheet,
    common: Common,
    check: Annotated[
        bool, typer.Option("--check", help="Answer; record and write nothing.")
    ] = False,
) -> None:
    """Pack a box: doses, extender, chance at the insemination; the slip and the record."""
    from studcurve.pipelines.answers.box import pack_box
    from studcurve.pipelines.answers.slip import BoxRequest

    reading = sample.reading(sample.volume, sample.motility, chamber)
    sent_at = asked_at(shipment.now, common.store)
    request = BoxRequest(
        stud=dog,
        reading=reading,
        appearance=None if sample.appearance is None else sample.appearance.value,
        collected_at=sample.collected or sent_at,
        sent_at=sent_at,
        inseminate_at=shipment.inseminate,
        extender=packing.extender,
        ratio=packing.ratio,
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
        promised_on=None if shipment.promised is None else shipment.promised.date(),
    )
    packed = pack_box(
        common.store, request, out=sheet.out, words=sheet.words, rng=common.rng(),
        check_only=check,
    )  # fmt: skip
    show(packed.answer, as_json=common.as_json)
    if packed.is_stopped:
        raise typer.Exit(1)


def card(
    target: Target,
    sheet: Sheet,
    common: Common,
    radius: RadiusOption = None,
    hours: Annotated[
        float, typer.Option("--hours", min=0.0, max=192.0, help="From collection to insemination.")
    ] = 24.0,
    extender: ExtenderOption = "egg yolk",
    squares: SquaresOption = 5,
    dilution: DilutionOption = 20.0,
) -> None:
    """Write the card for the wall above the bench: doses, forces, dilutions."""
    from studcurve.pipelines.answers.card import N_CARD_DRAWS, write_card

    rng = common.rng()
    answer = write_card(
        sheet.out,
        radius_cm=rotor_radius_cm(common.store, radius, needed=False),
        hours=hours,
        extender=extender or "",
        curve=storage_of(common.store, None, extender, rng, n_draws=N_CARD_DRAWS),
        n_squares=squares,
        dilution=dilution,
        target_m=target.target_m(common.store),
        certainty=target.meets_prob,
        words=sheet.words,
        rng=rng,
    )
    show(answer, as_json=common.as_json)
