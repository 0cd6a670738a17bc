"""The bench card: doses by count and motility, forces of the rotor, dilutions; one printed page."""

from __future__ import annotations

import math
from dataclasses import dataclass

from studcurve.reports.page import fill
from studcurve.reports.words import Words


@dataclass(frozen=True, slots=True)
class BenchCard:
    """What the card shows, computed beforehand.

    Attributes
    ----------
    target_m, certainty, hours
        Dose aimed at, how surely, how long after collection. [10⁶, h]
    n_squares, dilution
        How the cells of the rows were counted.
    extender
        What the dose is kept in.
    is_own_storage, is_beyond_own
        Whether the kennel's own stored samples are in it, and whether the hours lie beyond them.
    n_cells, motility_pct
        Rows and columns of the dose table.
    dose_ml
        Semen in one dose, one row a count; infinite where no volume does. [mL]
    limit_ml
        Volumes beyond this are shown as a dash. [mL]
    radius_cm
        Of the rotor; None where it is not known.
    forces
        Turns a minute and force; empty where the rotor is not known.
    spins
        Studied force, its turns a minute on this rotor (NaN where not known), percent kept.
    damage_from_g
        From this force on more sperm were dead later.
    dilutions
        Least and most sperm in a field, and parts of diluent to one.
    """

    target_m: float
    certainty: float
    hours: float
    n_squares: int
    dilution: float
    extender: str
    is_own_storage: bool
    is_beyond_own: bool
    n_cells: tuple[int, ...]
    motility_pct: tuple[float, ...]
    dose_ml: tuple[tuple[float, ...], ...]
    limit_ml: float
    radius_cm: float | None
    forces: tuple[tuple[float, float], ...]
    spins: tuple[tuple[float, float, float], ...]
    damage_from_g: float
    dilutions: tuple[tuple[float, float, float], ...]


def render_card(card: BenchCard, words: Words) -> str:
    """Render the card as one HTML file of one page."""
    storage = "storage_own" if card.is_own_storage else "storage_published"
    if card.is_beyond_own:
        storage = "storage_beyond"
    return fill(
        "card.html.j2",
        words,
        subtitle="",
        doses_lead=words.say(
            "card.doses_lead",
            target=card.target_m,
            hours=card.hours,
            certainty=card.certainty,
            n_squares=card.n_squares,
            parts=card.dilution - 1.0,
            extender=words.word("extender", card.extender),
            limit=card.limit_ml,
            storage=words[f"card.{storage}"],
        ),
        dose_headings=[words["card.cells"], *(f"{pct:.0f} %" for pct in card.motility_pct)],
        dose_rows=[
            [words.number(cells), *(_volume(volume, card.limit_ml, words) for volume in row)]
            for cells, row in zip(card.n_cells, card.dose_ml, strict=True)
        ],
        forces_lead=words.say("card.forces_lead", radius=card.radius_cm or math.nan),
        force_rows=[[words.number(rpm), words.number(g)] for rpm, g in card.forces],
        spins_lead=words.say("card.spins_lead", damage=card.damage_from_g),
        spin_headings=[words["card.g"], words["card.rpm"], words["card.kept"]],
        spin_rows=[
            [words.number(g), words.number(rpm), words.number(kept, 1)]
            for g, rpm, kept in card.spins
        ],
        dilution_rows=[
            [_field(low, high, words), words.say("card.one_plus", parts=parts)]
            for low, high, parts in card.dilutions
        ],
    )


def _volume(volume_ml: float, limit_ml: float, words: Words) -> str:
    return words.number(volume_ml, 1) if volume_ml <= limit_ml else "–"


def _field(low: float, high: float, words: Words) -> str:
    if low == 0.0:
        return words.say("card.below", high=high)
    if math.isinf(high):
        return words.say("card.above", low=low)
    return words.say("card.between", low=low, high=high)
