"""Options that several commands share, each described once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, ClassVar

import typer

from studcurve.analytics.errors import ToolkitError
from studcurve.pipelines.answers.answer import DEFAULT_SEED
from studcurve.pipelines.commands import from_records
from studcurve.pipelines.commands.groups import STATISTICIANS, OptionGroup
from studcurve.reports.catalog import LANGUAGES

if TYPE_CHECKING:
    import numpy as np

    from studcurve.analytics.measures.doses import SampleReading
    from studcurve.analytics.measures.motility_kept import StorageDraws
    from studcurve.reports.page import Reader
    from studcurve.reports.words import Words

LARGEST_SEED = 2**32 - 1
"""The largest seed that every generator takes."""

DEFAULT_STORE = Path("kennel.duckdb")
DEFAULT_OUT = Path("pages")

DAY_FORMATS = ["%Y-%m-%d", "%d.%m.%Y"]
"""How a day may be typed; with points the day comes first, so it has one reading."""

MOMENT_FORMATS = ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"]
"""How a moment may be typed."""


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


def _language(text: str) -> str:
    """A language of the catalog."""
    if text not in LANGUAGES:
        raise typer.BadParameter(f"the languages are {', '.join(LANGUAGES)}; got {text!r}.")
    return text


StoreOption = Annotated[
    Path,
    typer.Option("--store", envvar="STUDCURVE_STORE", help="The records file.", dir_okay=False),
]
TodayOption = Annotated[
    datetime | None,
    typer.Option("--today", formats=["%Y-%m-%d"], help="The day the question is asked."),
]
SeedOption = Annotated[
    int,
    typer.Option(
        "--seed", min=0, max=LARGEST_SEED, help="Seed of the sampler.",
        rich_help_panel=STATISTICIANS,
    ),
]  # fmt: skip
JsonOption = Annotated[bool, typer.Option("--json", help="Print for machines.")]
OutOption = Annotated[Path, typer.Option("--out", help="Folder of the page.", file_okay=False)]
LanguageOption = Annotated[
    str,
    typer.Option(
        "--language", parser=_language, metavar="|".join(LANGUAGES), help="Language of the page.",
        autocompletion=lambda: list(LANGUAGES),
    ),
]  # fmt: skip
ReaderOption = Annotated[
    PageReader,
    typer.Option("--for", help="Who reads: a vet sees no prices, a client nothing of others."),
]
AnonymousOption = Annotated[
    bool, typer.Option("--anonymous", help="Leave out the names of dogs, people and places.")
]
StudArgument = Annotated[str, typer.Argument(help="Call name of the stud.")]
DilutionOption = Annotated[
    float, typer.Option("--dilution", min=1.0, help="Final over initial volume; 20 for 1 + 19.")
]
SquaresOption = Annotated[int, typer.Option("--squares", min=1, help="Squares counted.")]
TrainedOption = Annotated[
    bool, typer.Option("--trained", help="Counted by a trained hand: 6 % beyond chance, not 15 %.")
]
ExtenderOption = Annotated[
    str | None, typer.Option("--extender", help="Its name; 'none' for raw semen.")
]
RatioOption = Annotated[
    float | None, typer.Option("--ratio", min=0.0, help="Parts of extender to one of semen.")
]
RouteOption = Annotated[Route, typer.Option("--route", help="Where the dose is put.")]
WeightOption = Annotated[
    float | None, typer.Option("--weight", min=0.5, max=120.0, help="The bitch's weight. [kg]")
]
MinutesOption = Annotated[
    float | None, typer.Option("--waited", min=0.0, help="Unextended for so long. [min]")
]
RadiusOption = Annotated[
    float | None, typer.Option("--radius", help="Radius of the rotor; then remembered. [cm]")
]


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
        Part, typer.Option("--part", help="What one square is in an improved Neubauer chamber.")
    ] = Part.SQUARE
    square_nl: Annotated[
        float | None,
        typer.Option(
            "--square-nl", min=0.01, help="Volume above one square, another chamber. [nL]"
        ),
    ] = None
    dilution: DilutionOption = 1.0
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
        int | None, typer.Option("--cells", min=0, help="Cells counted; left out: not counted.")
    ] = None
    concentration: Annotated[
        float | None, typer.Option("--concentration", min=0.0, help="Of a photometer. [M/mL]")
    ] = None
    evaluated: Annotated[
        int | None, typer.Option("--judged", min=1, help="Sperm judged; left out when by eye.")
    ] = None

    def reading(
        self, volume_ml: float, progressive_motility_pct: float, chamber: Chamber
    ) -> SampleReading:
        """The sample as it was evaluated.

        Raises
        ------
        ToolkitError
            It was counted twice.
        """
        from studcurve.analytics.measures.doses import SampleReading

        if self.cells is not None and self.concentration is not None:
            raise ToolkitError(
                "A sample is counted in a chamber or read by a photometer; got both. Leave one out."
            )
        looked_at = None
        if self.cells is not None:
            looked_at = chamber.squares * chamber.volume_of_square_nl / chamber.dilution
        return SampleReading(
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
        typer.Option("--target", min=1.0, help="Moving forward that a dose should hold. [M]"),
    ] = None
    certainty: Annotated[
        float | None,
        typer.Option("--certainty", min=0.5, max=0.99, help="How surely each dose must hold it."),
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
        str | None, typer.Option("--stud", help="Call name; his own kept-back tubes count.")
    ] = None

    def curve(self, store: Path, rng: np.random.Generator) -> StorageDraws:
        """How long the sample lasts."""
        return from_records.storage_of(store, self.stud, self.extender, rng)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page(OptionGroup):
    """A page of the records, for whom it is meant alone."""

    panel: ClassVar[str] = "The page"

    store: StoreOption = DEFAULT_STORE
    out: OutOption = DEFAULT_OUT
    today: TodayOption = None
    language: LanguageOption = LANGUAGES[0]
    anonymous: AnonymousOption = False

    @property
    def words(self) -> Words:
        """Words of its language."""
        from studcurve.reports.words import Words

        return Words(self.language)

    def for_reader(self, reader: PageReader) -> Reader:
        """Its language and its reader."""
        from studcurve.reports.page import Reader

        return Reader(self.words, reader.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReaderPage(Page):
    """A page of the records for a reader of choice."""

    reader: ReaderOption = PageReader.OWNER
