"""Options that several commands share, each described once."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, ClassVar

import typer

from studcurve.analytics.errors import ToolkitError
from studcurve.pipelines.answers.answer import DEFAULT_SEED
from studcurve.pipelines.commands import from_records
from studcurve.pipelines.commands.groups import OPTIONS, STATISTICIANS, OptionGroup
from studcurve.pipelines.commands.values import (
    DAY_OR_MOMENT,
    UNDILUTED,
    Now,
    OnePlus,
    count,
    number,
    one_of,
    one_plus,
    read_now,
)
from studcurve.reports.catalog import LANGUAGES

if TYPE_CHECKING:
    import numpy as np

    from studcurve.analytics.measures.doses import SampleEvaluation
    from studcurve.analytics.measures.motility_kept import StorageDraws
    from studcurve.reports.page import Reader
    from studcurve.reports.words import Words

LARGEST_SEED = 2**32 - 1
"""The largest seed that every generator takes."""

DEFAULT_STORE = Path("kennel.duckdb")
DEFAULT_OUT = Path("pages")


class Route(Enum):
    """Where the dose is put."""

    VAGINAL = "vaginal"
    TRANSCERVICAL = "transcervical"


class Part(Enum):
    """Part of an improved Neubauer chamber."""

    SQUARE = "square"
    ROW = "row"
    GRID = "grid"


class PageReader(Enum):
    """Who reads a page."""

    OWNER = "owner"
    VET = "vet"
    CLIENT = "client"


StoreOption = Annotated[
    Path,
    typer.Option(
        "--store",
        envvar="STUDCURVE_STORE",
        metavar="FILE",
        help="The records file to use.",
        dir_okay=False,
        rich_help_panel=OPTIONS,
    ),
]
NowOption = Annotated[
    Now | None,
    typer.Option(
        "--now",
        parser=read_now,
        metavar=DAY_OR_MOMENT,
        help="Date to use as now, or date and hour.",
        rich_help_panel=OPTIONS,
    ),
]
SeedOption = Annotated[
    int,
    typer.Option(
        "--seed",
        parser=count(0, LARGEST_SEED),
        metavar="NUMBER",
        help="Seed of the simulations.",
        rich_help_panel=STATISTICIANS,
    ),
]
AskedByOption = Annotated[
    str | None,
    typer.Option(
        "--asked-by", metavar="NAME",
        help="Who asks, kept with the chances (default: the computer's user).",
    ),
]  # fmt: skip
JsonOption = Annotated[bool, typer.Option("--json", help="Output as JSON.")]
OutOption = Annotated[
    Path,
    typer.Option("--out", metavar="FOLDER", help="Folder to write the page into.", file_okay=False),
]
LanguageOption = Annotated[
    str,
    typer.Option(
        "--language",
        parser=one_of(LANGUAGES),
        metavar="|".join(LANGUAGES),
        help="Language to write in.",
        autocompletion=lambda: list(LANGUAGES),
    ),
]
ReaderOption = Annotated[
    PageReader,
    typer.Option(
        "--reader",
        help="Who reads the page: a vet sees no prices, a client nothing of other dogs.",
    ),
]
AnonymousOption = Annotated[
    bool, typer.Option("--anonymous", help="Leave out the names of dogs, people and places.")
]
StudArgument = Annotated[str, typer.Argument(metavar="STUD", help="Call name of the stud.")]
DilutionOption = Annotated[
    OnePlus,
    typer.Option(
        "--dilution",
        parser=one_plus(19),
        metavar="'1 + N'",
        help="Dilution before counting, such as '1 + 19'.",
    ),
]
SquaresOption = Annotated[
    int,
    typer.Option("--squares", parser=count(1), metavar="NUMBER", help="Number of squares counted."),
]
TrainedOption = Annotated[
    bool,
    typer.Option("--trained", help="Count of a trained hand: 6 % beyond chance instead of 15 %."),
]
ExtenderOption = Annotated[
    str | None,
    typer.Option("--extender", metavar="NAME", help="Name of the extender; 'none' for raw semen."),
]
RatioOption = Annotated[
    OnePlus | None,
    typer.Option(
        "--ratio",
        parser=one_plus(4),
        metavar="'1 + N'",
        help="Parts of extender to add to one of semen, such as '1 + 4'.",
    ),
]
DosesOption = Annotated[
    int | None,
    typer.Option(
        "--doses",
        parser=count(1, 12),
        metavar="NUMBER",
        help="Number of doses (default: as many as meet the target).",
    ),
]
RouteOption = Annotated[Route, typer.Option("--route", help="Route of the insemination.")]
WeightOption = Annotated[
    float | None,
    typer.Option(
        "--weight",
        parser=number(0.5, 120.0, such_as="8.5 or 8,5"),
        metavar="KG",
        help="Weight of the bitch.",
    ),
]
WaitOption = Annotated[
    float | None,
    typer.Option(
        "--minutes-before-extending",
        parser=number(0.0, such_as="20"),
        metavar="MINUTES",
        help="Time from the collection to the extender.",
    ),
]
RadiusOption = Annotated[
    float | None,
    typer.Option(
        "--radius",
        parser=number(such_as="9.5 or 9,5"),
        metavar="CM",
        help="Radius of the rotor; the records file remembers it.",
    ),
]
ConcentrationOption = Annotated[
    float | None,
    typer.Option(
        "--concentration",
        parser=number(0.0, such_as="250"),
        metavar="M/ML",
        help="Concentration of the semen, as of a photometer.",
    ),
]
ClinicOption = Annotated[
    str | None,
    typer.Option(
        "--clinic", metavar="NAME", help="The clinic that inseminates, as in the records."
    ),
]

volume_ml = number(0.01, such_as="3.1 or 3,1")
"""Reader of a volume. [mL]"""

percentage = number(0.0, 100.0, such_as="80 or 82,5")
"""Reader of a percentage."""


def count_error(is_trained: bool) -> float:
    """Error of a chamber count beyond chance (prior r02)."""
    from studcurve.analytics.priors import PRIORS

    return PRIORS["r02_trained" if is_trained else "r02_home"].centre


@dataclass(frozen=True, slots=True, kw_only=True)
class Common(OptionGroup):
    """What every answer from draws takes."""

    store: StoreOption = DEFAULT_STORE
    seed: SeedOption = DEFAULT_SEED
    as_json: JsonOption = False

    def rng(self) -> np.random.Generator:
        """Source of the draws."""
        import numpy as np

        return np.random.default_rng(self.seed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chamber(OptionGroup):
    """How the cells were counted."""

    panel: ClassVar[str] = "The chamber"

    squares: SquaresOption = 5
    square_size: Annotated[
        Part,
        typer.Option("--square-size", help="Size of one square of an improved Neubauer chamber."),
    ] = Part.SQUARE
    square_nl: Annotated[
        float | None,
        typer.Option(
            "--square-nl",
            parser=number(0.01, such_as="4"),
            metavar="NL",
            help="Volume above one square of another chamber.",
        ),
    ] = None
    dilution: DilutionOption = UNDILUTED
    is_trained: TrainedOption = False

    @property
    def volume_of_square_nl(self) -> float:
        """Volume above one square: as given, else of the improved Neubauer chamber. [nL]"""
        from studcurve.analytics.measures.counting import NEUBAUER_NL

        return NEUBAUER_NL[self.square_size.value] if self.square_nl is None else self.square_nl

    @property
    def count_cv(self) -> float:
        """Error of a count beyond chance."""
        return count_error(self.is_trained)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample(OptionGroup):
    """How a sample in hand was evaluated."""

    panel: ClassVar[str] = "The sample"

    cells: Annotated[
        int | None,
        typer.Option(
            "--cells",
            parser=count(),
            metavar="NUMBER",
            help="Number of cells counted (default: the sample was not counted).",
        ),
    ] = None
    concentration: ConcentrationOption = None
    evaluated: Annotated[
        int | None,
        typer.Option(
            "--evaluated",
            parser=count(1),
            metavar="NUMBER",
            help="Number of sperm evaluated for motility (default: estimated by eye).",
        ),
    ] = None

    def reading(
        self, volume_ml: float, progressive_motility_pct: float, chamber: Chamber
    ) -> SampleEvaluation:
        """The sample as it was evaluated.

        Raises
        ------
        ToolkitError
            It was counted twice.
        """
        from studcurve.analytics.measures.doses import SampleEvaluation

        if self.cells is not None and self.concentration is not None:
            raise ToolkitError(
                "A sample is counted in a chamber or read by a photometer; got both. Leave one out."
            )
        looked_at = None
        if self.cells is not None:
            looked_at = chamber.squares * chamber.volume_of_square_nl / chamber.dilution.factor
        return SampleEvaluation(
            volume_ml,
            progressive_motility_pct,
            self.evaluated,
            n_cells=self.cells,
            looked_at_nl=looked_at,
            concentration_m_per_ml=self.concentration,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Target(OptionGroup):
    """What a dose should hold, and how surely."""

    panel: ClassVar[str] = "The dose"

    route: RouteOption = Route.VAGINAL
    target: Annotated[
        float | None,
        typer.Option(
            "--target",
            parser=number(1.0, such_as="200"),
            metavar="M",
            help="Target dose: progressively motile sperm, in millions.",
        ),
    ] = None
    certainty: Annotated[
        float | None,
        typer.Option(
            "--certainty",
            parser=number(0.5, 0.99, such_as="0.8 or 0,8"),
            metavar="0.5-0.99",
            help="Chance with which each dose must meet the target.",
        ),
    ] = None

    def target_m(self, store: Path, *, keep: bool = False) -> float:
        """The target dose: as given, as the kennel remembers it, or the usual one. [M]"""
        return from_records.target_m(store, self.route.value, self.target, keep=keep)

    @property
    def meets_prob(self) -> float:
        """How surely each dose must meet the target."""
        from studcurve.analytics.measures.doses import CERTAINTY

        return CERTAINTY if self.certainty is None else self.certainty


@dataclass(frozen=True, slots=True, kw_only=True)
class Storage(OptionGroup):
    """What the sample is kept in, and whose it is."""

    panel: ClassVar[str] = "The storage"

    extender: ExtenderOption = None
    stud: Annotated[
        str | None,
        typer.Option(
            "--stud",
            metavar="NAME",
            help="Call name of the stud, whose own retained samples count.",
        ),
    ] = None

    def curve(self, store: Path, rng: np.random.Generator) -> StorageDraws:
        """How long the sample lasts."""
        return from_records.storage_of(store, self.stud, self.extender, rng)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet(OptionGroup):
    """A sheet of paper, or a page, that is written."""

    panel: ClassVar[str] = "The page"

    out: OutOption = DEFAULT_OUT
    language: LanguageOption = LANGUAGES[0]

    @property
    def words(self) -> Words:
        """Words of its language."""
        from studcurve.reports.words import Words

        return Words(self.language)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page(Sheet):
    """A page of the records whose reader is known."""

    anonymous: AnonymousOption = False
    store: StoreOption = DEFAULT_STORE
    now: NowOption = None

    def for_reader(self, reader: PageReader) -> Reader:
        """Its language and its reader."""
        from studcurve.reports.page import Reader

        return Reader(self.words, reader.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReaderPage(Page):
    """A page of the records for a reader of choice."""

    reader: ReaderOption = PageReader.OWNER
