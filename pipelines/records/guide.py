"""What the workbook's first sheet says, and the example line of each sheet.

Everything here is in the owner's words. The example dogs are invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from studcurve.analytics.cautions.tables import ILLNESSES, ORGANS
from studcurve.analytics.cautions.words import organ_of
from studcurve.pipelines.records.sheets.columns import EXAMPLE_PREFIX, REQUIRED_MARK, SHEETS

EXAMINED = (*(name for name in ORGANS if organ_of(name) == name), "hips", "elbows")
"""What is examined, by words that the rules know."""

PURPOSES: Mapping[str, str] = MappingProxyType(
    {
        "dogs": "one line for each dog, your own and those you breed to or ship to",
        "collections": "one line for each collection, also one that failed, with what was found "
        "and where the doses went",
        "frozen": "one line for each lot of straws on the day it was frozen",
        "shipments": "one line for each shipment of semen, with what you heard of it later",
        "heats": "one line for each heat, with up to six progesterone readings",
        "breedings": "one line for each bitch and stud in one heat, also when she missed",
        "health": "one line for each examination, laboratory test or event",
        "prices": "one line for each price and the days for which it holds",
        "intervals": "one line for each test or evaluation that this kennel repeats, and how often",
    }
)
"""What a line of each sheet stands for, continuing the name of the sheet."""

EXAMPLES: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "dogs": {
            "call_name": "Rowan", "registered_name": "Fernhollow Rowan", "sex": "male",
            "born_on": "2019-04-02", "breed": "Ostrel Spaniel", "adult_weight_kg": "23.5",
            "chip": "900000000000017", "inbreeding_pct": "6.25", "owner": "own",
        },
        "collections": {
            "dog": "Rowan", "collected_on": "2024-03-05", "collected_at": "08:30",
            "volume_ml": "2.4", "concentration_m_per_ml": "310", "n_cells_counted": "248",
            "count_method": "chamber", "total_motility_pct": "80",
            "progressive_motility_pct": "70", "motility_method": "by eye",
            "normal_morphology_pct": "78", "extender": "egg yolk", "n_doses": "2",
            "destination": "shipped",
        },
        "frozen": {
            "dog": "Rowan", "frozen_on": "2023-01-10", "lot": "R1", "n_straws": "8",
            "motile_per_straw_m": "34", "post_thaw_progressive_motility_pct": "50",
            "n_straws_per_dose": "3", "stored_at": "home tank",
        },
        "shipments": {
            "dog": "Rowan", "collected_on": "2024-03-05", "sent_on": "2024-03-05",
            "sent_at": "17:30", "n_doses": "2", "dose_volume_ml": "3.5", "motile_dose_m": "250",
            "for_bitch": "Bryony", "clinic": "Two Bridges Clinic", "promised_on": "2024-03-06",
            "arrived_on": "2024-03-06", "arrival_pct": "60", "arrival_minutes": "5",
        },
        "heats": {
            "dog": "Bryony", "first_day": "2024-02-26", "progesterone_1_on": "2024-03-04",
            "progesterone_1_at": "09:00", "progesterone_1": "1.4",
            "progesterone_1_unit": "ng/mL", "progesterone_1_laboratory": "Vessel Lab",
            "progesterone_2_on": "2024-03-06", "progesterone_2": "> 5",
            "progesterone_2_unit": "ng/mL", "progesterone_2_laboratory": "Vessel Lab",
        },
        "breedings": {
            "dog": "Bryony", "stud": "Rowan", "bred_on": "2024-03-06", "semen_type": "chilled",
            "route": "vaginal", "collected_on": "2024-03-05", "scanned_on": "2024-04-05",
            "scan": "pregnant", "n_pups_on_scan": "5", "result": "whelped",
            "whelped_on": "2024-05-07", "n_born_alive": "5", "n_stillborn": "1",
            "n_alive_8_weeks": "5", "litter_inbreeding_pct": "3.1",
        },
        "health": {
            "dog": "Rowan", "noted_on": "2024-01-05", "kind": "laboratory test",
            "what": "Brucella (RSAT)", "result": "negative", "laboratory": "Norra Analys",
        },
        "prices": {
            "what": "shipment", "price": "145", "currency": "EUR",
            "valid_from": "2024-01-01", "notes": "overnight",
        },
        "intervals": {"what": "Brucella", "repeat_days": "180"},
    }
)  # fmt: skip
"""An example line for each sheet, by library name; the loader ignores it."""


def guide_lines() -> list[tuple[str, str]]:
    """The first sheet, line by line: its style and its text."""
    sheets = []
    for sheet in SHEETS.values():
        needed = ", ".join(column.heading for column in sheet.columns if column.required)
        sheets.append(("paragraph", f"{sheet.title}: {PURPOSES[sheet.name]}. Needed: {needed}."))
    return [
        ("title", "Records of the kennel"),
        ("paragraph", "Fill in one line for each thing that happened, on the sheet it belongs to. "
         "Three filled cells make a good line: which dog, which day, what was seen. A blank cell "
         "means not measured or not known; it never means zero."),
        ("paragraph", f"A heading in bold with{REQUIRED_MARK} and a thick line below it must be "
         "filled in; everything else may stay blank."),
        ("section", "The sheets"),
        *sheets,
        ("section", "How to write"),
        ("paragraph", "Dates: 2024-03-05 or 5 Mar 2024. A date such as 03/04/2024 can be read in "
         "two ways, so you are asked which one when you load it. A time may stay blank: the day "
         "then counts as the whole day, never as midnight."),
        ("paragraph", "Numbers: 12.5 or 12,5. Also > 20, < 0.2, 70-80, ~70, and the words too many "
         "to count, none seen, not done, unknown."),
        ("paragraph", "Progressive motility (%): sperm that swim ahead, of a hundred. Say under "
         "How motility was evaluated whether they were counted or estimated by eye."),
        ("paragraph", "Dogs: the name of the Dogs sheet, everywhere the same. Where two dogs share "
         "a name, write the registered name or the chip number."),
        ("paragraph", "Litters before and Missed heats before (sheet Dogs): what happened before "
         "these records begin; missed means bred and not pregnant."),
        ("paragraph", "Two matings of one heat by one stud stand on one line, the second under "
         "Second date. Died (sheet Dogs) stays blank while the dog lives."),
        ("paragraph", "A bitch that did not conceive has a line with the result missed, one that "
         "lost her litter before term the result lost; a collection that failed has a line with "
         "its reason. What was never reported stays blank."),
        ("paragraph", "Two lines about the same dog and day are told apart by their time, stud, "
         "lot, bitch or laboratory, whichever the sheet has."),
        ("paragraph", "What (sheet Health) is in your words, and asked about when it is not known. "
         f"Recognized events are {', '.join(ILLNESSES)}; examinations of {', '.join(EXAMINED)}; "
         "tests for Brucella and other infections by their usual names. Their result is read, too: "
         "negative, positive or suspect, normal or what was found."),
        ("section", "Load, correct, load again"),
        ("paragraph", "studcurve load FILE.xlsx reads this workbook. What cannot be true is kept "
         "apart with its reason; what can hardly be true counts only once you have confirmed it; "
         "everything else is taken. Correct a line here and load again: the new version counts, "
         "and the older one stays readable. Loading twice changes nothing."),
        ("paragraph", "Columns and lines may stand in any order, columns you do not use may be "
         "removed, and sheets of your own are left alone. Keep the headings as they are."),
        ("paragraph", f"The line that begins with {EXAMPLE_PREFIX} is ignored; you may delete it."),
        ("paragraph", "These records support the judgment of a licensed veterinarian and never "
         "replace it. A dog in pain, with fever, blood or pus in the semen is not collected but "
         "seen by a veterinarian."),
    ]  # fmt: skip
