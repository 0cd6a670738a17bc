"""What the commands of the bench share: options, and what a kennel says once.

What a function needs is imported inside it, so that every command starts at once.
"""

from __future__ import annotations

from datetime import date, datetime
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from studcurve.analytics.errors import ToolkitError

if TYPE_CHECKING:
    import numpy as np

    from studcurve.analytics.measures.doses import SampleEvaluation
    from studcurve.analytics.measures.motility_kept import StorageDraws


class Route(Enum):
    """Where the dose is put."""

    VAGINAL = "vaginal"
    TRANSCERVICAL = "transcervical"


class SemenType(Enum):
    """What goes in."""

    NATURAL = "natural"
    FRESH = "fresh"
    CHILLED = "chilled"
    FROZEN = "frozen"


class Part(Enum):
    """Part of an improved Neubauer chamber."""

    SQUARE = "square"
    ROW = "row"
    GRID = "grid"


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


SquaresOption = Annotated[int, typer.Option("--squares", min=1, help="Squares counted.")]
PartOption = Annotated[
    Part, typer.Option("--part", help="What one square is in an improved Neubauer chamber.")
]
SquareVolumeOption = Annotated[
    float | None,
    typer.Option("--square-nl", min=0.01, help="Volume above one square, another chamber. [nL]"),
]
DilutionOption = Annotated[
    float, typer.Option("--dilution", min=1.0, help="Final over initial volume; 20 for 1 + 19.")
]
TrainedOption = Annotated[
    bool, typer.Option("--trained", help="Counted by a trained hand: 6 % beyond chance, not 15 %.")
]
JudgedOption = Annotated[
    int | None, typer.Option("--judged", min=1, help="Sperm judged; left out when by eye.")
]
ExtenderOption = Annotated[
    str | None, typer.Option("--extender", help="Its name; 'none' for raw semen.")
]
StudOption = Annotated[
    str | None, typer.Option("--stud", help="Call name; his own kept-back tubes count.")
]
RouteOption = Annotated[Route, typer.Option("--route", help="Where the dose is put.")]
TargetOption = Annotated[
    float | None,
    typer.Option("--target", min=1.0, help="Moving forward that a dose should hold. [M]"),
]
CertaintyOption = Annotated[
    float | None,
    typer.Option("--certainty", min=0.5, max=0.99, help="How surely each dose must hold it."),
]
WeightOption = Annotated[
    float | None, typer.Option("--weight", min=0.5, max=120.0, help="The bitch's weight. [kg]")
]


def sample_evaluation(
    volume: float,
    forward: float,
    *,
    cells: int | None,
    squares: int,
    part: Part,
    square_nl: float | None,
    dilution: float,
    concentration: float | None,
    judged: int | None,
    normal: float | None,
) -> SampleEvaluation:
    """A sample in hand, from the options that describe how it was read."""
    from studcurve.analytics.measures.doses import SampleEvaluation

    if cells is not None and concentration is not None:
        raise ToolkitError(
            "A sample is counted in a chamber or read by a photometer; got both. Leave one out."
        )
    looked_at = None if cells is None else squares * volume_of_square_nl(part, square_nl) / dilution
    return SampleEvaluation(
        volume,
        forward,
        judged,
        n_cells=cells,
        looked_at_nl=looked_at,
        concentration_m_per_ml=concentration,
        normal_morphology_pct=normal,
    )


def remembered_target(store: Path, route: Route, target: float | None, *, keep: bool) -> float:
    """The dose aimed at: as told, as the kennel remembers it, or the usual one of the route. [M]"""
    from studcurve.analytics.measures.doses import TARGET_ROWS
    from studcurve.analytics.priors import PRIORS

    told = _remembered(store, f"target_{route.value}_m", target, keep=keep)
    return PRIORS[TARGET_ROWS[route.value]].centre if told is None else told


def remembered_radius(store: Path, radius: float | None, *, needed: bool = True) -> float | None:
    """Radius of the rotor: as told, and then remembered where there is a records file. [cm]"""
    told = _remembered(store, "rotor_radius_cm", radius, keep=True)
    if told is None and needed:
        raise ToolkitError(
            "The radius of the rotor is not known here. Give it once with --radius, measured in "
            "cm from the axis to the tip of a spinning tube; the records file remembers it."
        )
    return told


def storage_of(
    store: Path,
    stud: str | None,
    extender: str | None,
    rng: np.random.Generator,
    *,
    n_draws: int | None = None,
) -> StorageDraws:
    """How long the sample lasts: by the kennel's own fit where there is one, else as published.

    Raises
    ------
    ToolkitError
        A caution stops the doses of the named stud.
    """
    from studcurve.analytics.measures.motility_kept import N_DRAWS, medium_of, published_storage

    if stud is not None and store.exists():
        _refuse_stopped(store, stud)

    n = n_draws or N_DRAWS
    if not store.exists():
        return published_storage(medium_of(extender), rng=rng, n_draws=n)
    from studcurve.pipelines.fits.storage import storage_curve

    return storage_curve(store, stud=stud, extender=extender, rng=rng, n_draws=n)


def _refuse_stopped(store: Path, stud: str) -> None:
    """A caution that stops a stud's doses leaves no number of his at the bench either."""
    from studcurve.pipelines.commands.terminal import asked_on
    from studcurve.pipelines.records.database.store import Store
    from studcurve.pipelines.records.dog_history import CAUTION_VIEWS, cautions_of
    from studcurve.reports.words import Words

    with Store.open(store, read_only=True) as opened:
        views = {view: opened.read(view) for view in CAUTION_VIEWS}
    called = views["dogs"]["call_name"]
    names = called[called.str.casefold() == stud.casefold()].tolist()
    words, on = Words("en"), asked_on(None, store)
    for name in names:
        for caution in cautions_of(views, name, on):
            if "doses" in caution.stops:
                raise ToolkitError(
                    f"{words.tell(caution.sentence)} No number is given for {name}: this stops it "
                    "until a veterinarian has decided."
                )


def sure_enough(certainty: float | None) -> float:
    """How surely each dose must meet the target."""
    from studcurve.analytics.measures.doses import CERTAINTY

    return CERTAINTY if certainty is None else certainty


def numbers(text: str, what: str) -> list[float]:
    """Numbers in a list such as 12,9,15."""
    import math

    try:
        found = [float(part) for part in text.split(",")]
    except ValueError:
        found = []
    if not found or not all(math.isfinite(value) and value >= 0.0 for value in found):
        raise ToolkitError(f"The {what} are numbers with commas between; got {text!r}.")
    return found


def _remembered(store: Path, name: str, told: float | None, *, keep: bool) -> float | None:
    """What the kennel says once: as told now, and kept where there is a records file."""
    from studcurve.analytics.vocabulary import VOCABULARY

    if told is not None:
        known = VOCABULARY[name]
        if not known.low <= told <= known.high:
            raise ToolkitError(
                f"{known.label} lies between {known.low:g} and {known.high:g} {known.unit}; got "
                f"{told:g}."
            )
    if not store.exists() or (told is not None and not keep):
        return told
    from studcurve.pipelines.records.database.store import Store

    with Store.open(store, read_only=True) as opened:
        kept = opened.settings().get(name)
    if told is None or told == kept:
        return kept
    with Store.open(store) as opened:
        opened.settings({name: told})
    return told


def volume_of_square_nl(part: Part, square_nl: float | None) -> float:
    """Volume above one square: as told, else of the improved Neubauer chamber. [nL]"""
    from studcurve.analytics.measures.counting import NEUBAUER_NL

    return NEUBAUER_NL[part.value] if square_nl is None else square_nl


def count_error(trained: bool) -> float:
    """Error of a chamber count beyond chance (prior r02)."""
    from studcurve.analytics.priors import PRIORS

    return PRIORS["r02_trained" if trained else "r02_home"].centre


def day_of(at: datetime | None) -> date | None:
    """Day of a moment that may be left out."""
    return None if at is None else at.date()
