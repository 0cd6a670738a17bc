"""The field's quantities: name, label, the owner's word, unit, what can be, and who says so.

Normative: readers, rules, chart axes and the data dictionary take label, unit and range from here.
``low`` and ``high`` bound what can be true of a dog; outside of them a record is refused. The
bounds are wide on purpose: they catch slips of the pen, they do not grade a sample.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Quantity:
    """One measured quantity.

    Attributes
    ----------
    name
        Field-standard name with its unit, as tables and code spell it.
    label
        Axis title and table heading.
    owner_word
        What the owner's sheet calls it.
    unit
        Printed unit; empty for a count or a pure number.
    low, high
        Bounds of what can be true, in the unit.
    source
        Where the bounds come from, with its mark (P, D, J, M).
    """

    name: str
    label: str
    owner_word: str
    unit: str
    low: float
    high: float
    source: str


_PERCENT = "a percentage (D)"
_EXTREME = "beyond any published dog, judgement (J)"

_ROWS = (
    Quantity("adult_weight_kg", "Adult weight", "Adult weight (kg)", "kg", 0.5, 120, _EXTREME),
    Quantity("inbreeding_pct", "Inbreeding coefficient", "Inbreeding (%)", "%", 0, 100, _PERCENT),
    Quantity("n_litters_before", "Litters before", "Litters before", "", 0, 30, _EXTREME),
    Quantity("n_missed_before", "Missed before", "Missed before", "", 0, 30, _EXTREME),
    Quantity(
        "volume_ml",
        "Volume",
        "Volume (mL)",
        "mL",
        0,
        80,
        "whole ejaculates reach 60 mL: Lofstedt, Atlantic Veterinary College (P)",
    ),
    Quantity(
        "concentration_m_per_ml",
        "Concentration",
        "Concentration (M/mL)",
        "M/mL",
        0,
        5000,
        "sperm-rich fraction 200-600 M/mL, spun pellets several times that (P, J)",
    ),
    Quantity("n_cells_counted", "Cells counted", "Cells counted", "", 0, 20000, _EXTREME),
    Quantity("total_motility_pct", "Moving", "% moving", "%", 0, 100, _PERCENT),
    Quantity(
        "progressive_motility_pct", "Moving forward", "% moving forward", "%", 0, 100, _PERCENT
    ),
    Quantity("n_motility_judged", "Sperm judged", "Sperm judged", "", 1, 20000, _EXTREME),
    Quantity("normal_morphology_pct", "Normal shape", "% normal", "%", 0, 100, _PERCENT),
    Quantity(
        "n_morphology_checked",
        "Sperm checked for shape",
        "Sperm checked for shape",
        "",
        1,
        20000,
        _EXTREME,
    ),
    Quantity("n_doses", "Doses", "Doses made", "", 0, 60, _EXTREME),
    Quantity("dose_volume_ml", "Volume per dose", "Volume per dose (mL)", "mL", 0.05, 60, _EXTREME),
    Quantity(
        "motile_dose_m",
        "Moving forward per dose",
        "M forward per dose",
        "M",
        0,
        5000,
        "whole ejaculates rarely exceed 3,000 M: Atlantic Veterinary College (P)",
    ),
    Quantity("minutes_at_37", "Minutes at 37 °C", "Minutes warmed", "min", 0, 240, _EXTREME),
    Quantity(
        "progesterone",
        "Progesterone",
        "Progesterone",
        "ng/mL or nmol/L",
        0,
        400,
        "luteal peaks stay below about 100 ng/mL, 318 nmol/L (M)",
    ),
    Quantity("n_straws", "Straws", "Straws", "", 0, 2000, _EXTREME),
    Quantity("n_straws_per_dose", "Straws per dose", "Straws per dose", "", 1, 40, _EXTREME),
    Quantity(
        "motile_per_straw_m",
        "Moving forward per straw",
        "M sperm per straw",
        "M",
        0,
        1000,
        _EXTREME,
    ),
    Quantity(
        "post_thaw_progressive_motility_pct",
        "Moving forward after thaw",
        "% moving forward after thaw",
        "%",
        0,
        100,
        _PERCENT,
    ),
    Quantity("n_pups_on_scan", "Pups on scan", "Pups on scan", "", 0, 26, "see litter size"),
    Quantity(
        "n_born_alive",
        "Born alive",
        "Born alive",
        "",
        0,
        26,
        "litters of 1 to 24 in 37,946: Reprod Domest Anim 52(S2):158-162, 2017 (P)",
    ),
    Quantity("n_stillborn", "Stillborn", "Stillborn", "", 0, 26, "see born alive"),
    Quantity(
        "n_alive_8_weeks", "Alive at 8 weeks", "Alive at 8 weeks", "", 0, 26, "see born alive"
    ),
    Quantity("price", "Price", "Price", "", 0, 1_000_000, _EXTREME),
    Quantity("measured_value", "Value", "Value", "", -1e9, 1e9, "as the laboratory printed it"),
    Quantity("total_sperm_m", "Total sperm", "Sperm in the sample", "M", 0, 20000, "derived (D)"),
    Quantity(
        "motile_sperm_m",
        "Sperm moving forward",
        "Moving forward in the sample",
        "M",
        0,
        20000,
        "derived (D)",
    ),
    Quantity("sexual_rest_days", "Rest", "Days of rest", "d", 0, 4000, "derived (D)"),
    Quantity("litter_size", "Litter size", "Pups born", "", 0, 26, "see born alive"),
)

VOCABULARY: Mapping[str, Quantity] = MappingProxyType({row.name: row for row in _ROWS})
"""Every quantity by name."""
