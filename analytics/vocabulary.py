"""The field's words: name, label, the owner's word, unit, what can be, and who says so.

Normative: readers, rules, chart axes and the data dictionary take label, unit and range from here.
``low`` and ``high`` bound what can be true of a dog; a record outside of them is refused. The
bounds are wide on purpose: they catch slips of the pen, they do not grade a sample. Columns that
hold no measured value (names, words, dates, identifiers) are terms: label, owner's word, meaning.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

SemenType = Literal["natural", "fresh", "chilled", "frozen"]
"""How semen reaches a bitch; a natural mating is one of the ways."""

SEMEN_TYPES: tuple[SemenType, ...] = get_args(SemenType)
"""In the order in which tables and answers name them."""


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

    @property
    def title(self) -> str:
        """Label with its unit in brackets, as axes and table heads print it."""
        return f"{self.label} ({self.unit})" if self.unit else self.label


@dataclass(frozen=True, slots=True)
class Term:
    """A column that holds a name, a word, a date or an identifier.

    Attributes
    ----------
    name
        As tables and code spell it.
    label
        Table heading.
    owner_word
        What the owner's sheet calls it; empty when the owner never sees it.
    meaning
        What it says, in one sentence without its period.
    """

    name: str
    label: str
    owner_word: str
    meaning: str


_SHARE = "a percentage (D)"
_WIDE = "beyond any dog, judgment (J)"
_LITTERS = "litters of 1 to 24 in 37,946: Reprod Domest Anim 52(S2):158-162, 2017 (P)"
_WHOLE = "whole ejaculates rarely exceed 3,000 M: Atlantic Veterinary College (P), widened (J)"
_TERM = "see born alive"

# fmt: off
_QUANTITIES = (
    ("adult_weight_kg", "Adult weight", "Adult weight (kg)", "kg", 0.5, 120, _WIDE),
    ("inbreeding_pct", "Inbreeding coefficient", "Inbreeding (%)", "%", 0, 100, _SHARE),
    ("litter_inbreeding_pct", "Inbreeding of the litter", "Litter's inbreeding (%)", "%", 0, 100,
     _SHARE),
    ("n_litters_before", "Litters before", "Litters before", "", 0, 30, _WIDE),
    ("n_missed_before", "Missed heats before", "Missed heats before", "", 0, 30, _WIDE),
    ("volume_ml", "Volume", "Volume (mL)", "mL", 0, 80,
     "whole ejaculates reach 60 mL: Lofstedt, Atlantic Veterinary College (P)"),
    ("concentration_m_per_ml", "Concentration", "Concentration (M/mL)", "M/mL", 0, 5000,
     "sperm-rich fraction 200 to 600 M/mL, pellets several times that (P, J)"),
    ("n_cells_counted", "Cells counted", "Cells counted", "", 0, 20000, _WIDE),
    ("total_motility_pct", "Total motility", "Total motility (%)", "%", 0, 100, _SHARE),
    ("progressive_motility_pct", "Progressive motility", "Progressive motility (%)", "%", 0, 100,
     _SHARE),
    ("n_motility_evaluated", "Sperm evaluated for motility", "Sperm evaluated for motility", "", 1,
     20000, _WIDE),
    ("normal_morphology_pct", "Normal morphology", "Normal morphology (%)", "%", 0, 100, _SHARE),
    ("n_morphology_evaluated", "Sperm evaluated for morphology", "Sperm evaluated for morphology",
     "",
     1, 20000, _WIDE),
    ("abnormal_pct", "Abnormal in this part", "Abnormal (%)", "%", 0, 100, _SHARE),
    ("minutes_at_37", "Minutes at 37 °C", "Minutes warmed", "min", 0, 240, _WIDE),
    ("centrifuge_g", "Centrifugation", "Centrifuged at (g)", "g", 50, 3000,
     "semen is centrifuged at a few hundred to 1,000 g; trade memory (M), widened (J)"),
    ("centrifuge_min", "Centrifugation time", "Centrifuged for (min)", "min", 0.5, 60, _WIDE),
    ("supernatant_removed_ml", "Supernatant removed", "Supernatant removed (mL)", "mL", 0, 80,
     "no more than a whole ejaculate (D)"),
    ("volume_after_ml", "Volume after extending", "Volume after extending (mL)", "mL", 0, 200,
     _WIDE),
    ("n_doses", "Doses", "Doses made", "", 0, 60, _WIDE),
    ("dose_volume_ml", "Volume per dose", "Volume per dose (mL)", "mL", 0.05, 60, _WIDE),
    ("motile_dose_m", "Progressively motile per dose", "Progressively motile per dose (M)", "M", 0,
     5000, _WHOLE),
    ("progesterone", "Progesterone as printed", "Progesterone", "ng/mL or nmol/L", 0, 400,
     "luteal peaks stay below about 100 ng/mL, 318 nmol/L (M)"),
    ("progesterone_ng_per_ml", "Progesterone", "Progesterone", "ng/mL", 0, 130,
     "luteal peaks stay below about 100 ng/mL (M)"),
    ("n_straws", "Straws", "Straws", "", 0, 2000, _WIDE),
    ("n_straws_left", "Straws left", "Straws left", "", 0, 2000, "derived (D)"),
    ("n_straws_per_dose", "Straws per dose", "Straws per dose", "", 1, 40, _WIDE),
    ("motile_per_straw_m", "Sperm per straw", "Progressively motile per straw (M)", "M", 0, 1000,
     _WIDE),
    ("post_thaw_progressive_motility_pct", "Progressive motility after thaw",
     "Progressive motility after thaw (%)", "%", 0, 100, _SHARE),
    ("n_pups_on_scan", "Pups on scan", "Pups on scan", "", 0, 26, _TERM),
    ("n_born_alive", "Born alive", "Born alive", "", 0, 26, _LITTERS),
    ("n_stillborn", "Stillborn", "Stillborn", "", 0, 26, _TERM),
    ("n_alive_8_weeks", "Alive at 8 weeks", "Alive at 8 weeks", "", 0, 26, _TERM),
    ("litter_size", "Litter size", "Pups born", "", 0, 26, _TERM),
    ("price", "Price", "Price", "", 0, 1_000_000, _WIDE),
    ("measured_value", "Value as printed", "Value", "as printed", -1e9, 1e9,
     "as the laboratory printed it, never graded"),
    ("total_sperm_m", "Total sperm", "Sperm in the sample", "M", 0, 20000, _WHOLE),
    ("motile_sperm_m", "Progressively motile sperm", "Progressively motile in the sample", "M", 0,
     20000, _WHOLE),
    ("sexual_rest_days", "Rest", "Days of rest", "d", 0, 7300, "derived (D)"),
    ("stud_age_years", "Age of the stud", "Age", "years", 0, 25, _WIDE),
    ("bitch_age_years", "Age of the bitch", "Age", "years", 0, 25, _WIDE),
    ("retained_hours", "Hours retained", "Hours retained", "h", 0, 240, "derived (D)"),
    ("n_days_late", "Days late", "Days late", "d", -30, 60, "derived (D)"),
    ("repeat_days", "Every", "Every (days)", "d", 1, 3650, _WIDE),
    ("n_inseminations", "Inseminations", "Inseminations", "", 1, 6, "derived (D)"),
    ("rotor_radius_cm", "Radius of the rotor", "", "cm", 2, 40, _WIDE),
    ("target_vaginal_m", "Target dose, vaginal", "", "M", 1, 5000, _WHOLE),
    ("target_transcervical_m", "Target dose, transcervical", "", "M", 1, 5000, _WHOLE),
    ("setting_value", "Setting", "", "as the quantity", 0, 1e9, _WIDE),
    ("litter_prob", "Stated chance of a litter", "", "of 1", 0, 1, "a probability (D)"),
    ("litter_prob_median", "Median of that chance", "", "of 1", 0, 1, "a probability (D)"),
    ("litter_prob_lower", "5 % of that chance", "", "of 1", 0, 1, "a probability (D)"),
    ("litter_prob_upper", "95 % of that chance", "", "of 1", 0, 1, "a probability (D)"),
    ("published_litter_prob", "Chance of a litter by studies alone", "", "of 1", 0, 1,
     "a probability (D)"),
    ("records_weight", "Weight of own records", "", "of 1", 0, 1, "a share (D)"),
    ("n_draws", "Simulations", "", "", 1, 1_000_000, "derived (D)"),
    ("n_current_lines", "Lines in force", "", "", 0, 1e9, "derived (D)"),
    ("n_forecasts", "Forecasts stated", "", "", 0, 1e9, "derived (D)"),
    ("ovulation_sd_days", "Error of the ovulation day", "", "d", 0, 30, "derived (D)"),
)

_TERMS = (
    ("call_name", "Call name", "Dog", "the name by which every other sheet finds the dog"),
    ("dog", "Dog", "Dog", "call name of a dog of the Dogs sheet"),
    ("stud", "Stud", "Stud", "call name of the male"),
    ("bitch", "Bitch", "Bitch", "call name of the female"),
    ("registered_name", "Registered name", "Registered name", "name in the stud book"),
    ("sex", "Sex", "Sex", "male or female"),
    ("born_on", "Born", "Born", "date of birth"),
    ("died_on", "Died", "Died", "date of death; blank while the dog lives"),
    ("breed", "Breed", "Breed", "breed as the owner writes it"),
    ("chip", "Chip", "Chip", "number of the microchip, kept as text"),
    ("registry_number", "Registry number", "Registry number", "number in the stud book"),
    ("identifier", "Number", "", "microchip or registry number, kept as text"),
    ("sire", "Sire", "Sire", "name of the father; he need not be in the sheet"),
    ("dam", "Dam", "Dam", "name of the mother; she need not be in the sheet"),
    ("owner", "Owner", "Owner", "whose dog it is; a person's data"),
    ("notes", "Notes", "Notes", "free text"),
    ("text", "Text", "", "as the owner typed it"),
    ("collected_on", "Collected on", "Collected on", "day of the collection"),
    ("collected_at", "Time", "Time", "clock time of the collection"),
    ("collected", "Collected", "", "interval that holds the time of the collection"),
    ("failed_reason", "Result", "Result", "why a collection gave no sample; blank when it did"),
    ("count_method", "How counted", "How counted", "chamber, photometer or not counted"),
    ("motility_method", "How motility was evaluated", "How motility was evaluated",
     "counted, or estimated by eye"),
    ("appearance", "Appearance", "Appearance", "what the sample looked like"),
    ("evaluator", "Evaluator", "Evaluator", "who evaluated the sample at the microscope"),
    ("extender", "Extender", "Extender", "what the semen was extended with"),
    ("destination", "Where they went", "Where they went", "where the doses went"),
    ("stage", "Stage", "",
     "raw, after centrifugation, extended, retained, on arrival or after thaw"),
    ("evaluated", "Evaluated at", "",
     "interval that holds the time of the evaluation; blank if at once"),
    ("part", "Part", "", "part of the sperm that is abnormal"),
    ("sent_on", "Sent on", "Sent on", "day on which the shipment left"),
    ("sent_at", "Sent at", "Sent at", "clock time at which the shipment left"),
    ("sent", "Sent", "", "interval that holds the time at which the shipment left"),
    ("carrier", "Carrier", "Carrier", "who carried the shipment"),
    ("for_bitch", "For bitch", "For bitch", "name of the bitch; she need not be in the sheet"),
    ("clinic", "Clinic", "Clinic", "where she is inseminated"),
    ("promised_on", "Promised on", "Promised on", "day on which the shipment should arrive"),
    ("arrived_on", "Arrived on", "Arrived on", "day on which the shipment arrived"),
    ("arrived_at", "Arrived at", "Arrived at", "clock time at which the shipment arrived"),
    ("arrived", "Arrived", "", "interval that holds the time of arrival"),
    ("retained_on", "Retained sample evaluated on", "Retained sample evaluated on",
     "day on which the retained sample was evaluated"),
    ("retained_at", "Retained sample evaluated at", "Retained sample evaluated at",
     "time at which the retained sample was evaluated"),
    ("first_day", "First day", "First day", "first day of bleeding of the heat"),
    ("lh_surge_on", "LH surge on", "LH surge on", "day of the LH surge, where measured"),
    ("vet_ovulation_on", "Vet's ovulation date", "Vet's ovulation date",
     "ovulation as the veterinarian dated it"),
    ("progesterone_on", "Sampled on", "Progesterone on", "day of the blood sample"),
    ("progesterone_at", "Sampled at", "Progesterone at", "clock time of the blood sample"),
    ("progesterone_unit", "Unit", "Progesterone unit", "ng/mL or nmol/L, as printed"),
    ("hormone", "Hormone", "", "which hormone was measured"),
    ("sampled", "Sampled", "", "interval that holds the time of the blood sample"),
    ("sampled_on", "Sampled on", "", "day of the sample"),
    ("bred_on", "Date", "Date", "day of the first mating or insemination"),
    ("bred_at", "Time", "Time", "clock time of the first mating or insemination"),
    ("second_on", "Second date", "Second date", "day of the second mating or insemination"),
    ("second_at", "Second time", "Second time", "clock time of the second"),
    ("inseminated", "Inseminated", "", "interval that holds the time of the insemination"),
    ("n_in_breeding", "Which", "", "first or second insemination of the breeding"),
    ("semen_type", "Semen", "Semen", "natural mating, or fresh, chilled or frozen semen"),
    ("route", "Route", "Route", "natural, vaginal, transcervical or surgical"),
    ("lot", "Lot", "Lot", "name of a lot of frozen straws"),
    ("scanned_on", "Scan on", "Scan on", "day of the ultrasound scan"),
    ("scan", "Scan", "Scan", "what the scan showed"),
    ("result", "Result", "Result", "result as reported; blank when not reported"),
    ("whelped_on", "Whelped on", "Whelped on", "day of the whelping"),
    ("noted_on", "Date", "Date", "day of the examination, test or event"),
    ("examined_on", "Examined on", "", "day of the examination"),
    ("started_on", "Started on", "", "first day of the event"),
    ("kind", "Kind", "Kind", "which kind of record or number this is"),
    ("what", "What", "What", "what was examined, which test it was, or what happened"),
    ("price_item", "What", "What", "what is paid for; for other say under Notes what it is"),
    ("repeated", "What", "What", "the test or evaluation that this kennel repeats"),
    ("finding", "Finding", "", "what was found"),
    ("unit", "Unit", "Unit", "unit as the laboratory printed it"),
    ("laboratory_range", "Laboratory's range", "Laboratory's range",
     "range as that laboratory printed it, shown and never graded"),
    ("until_on", "Until", "Until", "last day of the event"),
    ("laboratory", "Laboratory", "Laboratory", "who measured it"),
    ("drug_class", "Drug class", "Drug class", "class of the drug, not its name"),
    ("veterinarian", "Veterinarian", "Veterinarian", "who examined or released the dog"),
    ("released_on", "Released on", "", "day on which a veterinarian released the dog"),
    ("frozen_on", "Frozen on", "Frozen on", "day on which the straws were frozen"),
    ("stored_at", "Stored at", "Stored at", "tank that holds the straws"),
    ("currency", "Currency", "Currency", "currency of the price"),
    ("valid_from", "From", "From", "first day of the price"),
    ("valid_until", "Until", "Until", "last day of the price"),
    ("entry_id", "Entry", "", "what a line is about, for ever; its versions share it"),
    ("into_entry_id", "Joined to", "",
     "the entry that began the breeding of which this one is a further mating"),
    ("line_id", "Line of the file", "", "one version of one line"),
    ("file_id", "Source file", "", "file that a line came from"),
    ("load_id", "Load", "", "one run of load"),
    ("finding_id", "Finding", "", "one line to correct: rejected, doubtful or a question"),
    ("fit_id", "Model", "", "one kept posterior"),
    ("dog_id", "Dog", "", "identifier of a dog, made by the loader"),
    ("stud_id", "Stud", "", "identifier of the male"),
    ("bitch_id", "Bitch", "", "identifier of the female"),
    ("collection_id", "Collection", "", "identifier of a collection, also of a failed one"),
    ("evaluation_id", "Evaluation", "", "identifier of one evaluation of semen"),
    ("processing_id", "Processing", "", "identifier of what was done to a sample"),
    ("dose_id", "Doses", "", "identifier of the doses of a collection"),
    ("frozen_lot_id", "Frozen lot", "", "identifier of a lot of straws"),
    ("shipment_id", "Shipment", "", "identifier of a shipment"),
    ("cycle_id", "Heat", "", "identifier of a heat"),
    ("hormone_test_id", "Hormone test", "", "identifier of a hormone reading"),
    ("breeding_id", "Breeding", "", "identifier of a breeding"),
    ("insemination_id", "Insemination", "", "identifier of a mating or insemination"),
    ("pregnancy_check_id", "Scan", "", "identifier of a pregnancy check"),
    ("litter_id", "Litter", "", "identifier of a result; a missed heat is one"),
    ("examination_id", "Examination", "", "identifier of an examination"),
    ("lab_test_id", "Laboratory test", "", "identifier of a laboratory test"),
    ("event_id", "Event", "", "identifier of an event"),
    ("release_id", "Release", "", "identifier of a veterinarian's release"),
    ("price_id", "Price", "", "identifier of a price"),
    ("interval_id", "Interval", "", "identifier of an interval that the kennel set"),
    ("settled_by", "Settled by", "", "the line that was given as the correction of this one"),
    ("forecast_id", "Forecast", "", "one chance of a litter as it was stated"),
    ("question_id", "Question", "", "what one question was answered with"),
    ("stated_at", "Stated at", "", "when a chance was stated"),
    ("asked_by", "Asked by", "", "who asked; whose a person's own chance is; a person's data"),
    ("stated_by", "Stated by", "", "model or person"),
    ("command", "Command", "", "what stated a chance"),
    ("planned_at", "Planned at", "", "first planned insemination"),
    ("records_fingerprint", "Records fingerprint", "", "digest of the lines in force"),
    ("digest", "Digest", "", "SHA-256 of the forecast and of the digest before it"),
    ("last_digest", "Last digest", "", "digest of the forecast that was stated last"),
    ("decision_id", "Decision", "", "one decision of the owner about a line"),
    ("decided_on", "Decided on", "", "day of the decision"),
    ("decision", "Decision", "", "confirmed or withdrawn"),
    ("erasure_id", "Erasure", "", "one erasing of a person's data"),
    ("quantity", "Quantity", "", "name of a quantity of this vocabulary"),
    ("which_day", "Which day", "", "which day of the file: the one on which its records end"),
    ("falls_on", "Falls on", "", "the day itself"),
    ("name", "Name", "", "name of a file or of a column"),
    ("sheet", "Sheet", "", "which of the owner's sheets"),
    ("heading", "Heading", "", "heading of a column, as the owner sees it"),
    ("position", "Position", "", "place of a cell in the list of a line's cells, from 1"),
    ("sha256", "Digest", "", "SHA-256 digest of the file"),
    ("n_lines", "Lines", "", "lines of the file below its headings"),
    ("loaded_at", "Loaded at", "", "when the load was made, by the computer's clock"),
    ("day", "Day", "", "day a line is about, or on which a load was made"),
    ("day_order", "Order of dates", "", "day-first or month-first, as told at the load"),
    ("version", "Version", "", "version of an entry, or of the schema, from 1"),
    ("line", "Line", "", "line number in the file, the headings being line 1"),
    ("subject", "Subject", "", "dog, or thing, that a line is about"),
    ("mark", "Mark", "", "what tells lines of one subject and day apart"),
    ("cells", "Cells", "", "every cell as typed: a JSON list in the order of sheet_column"),
    ("state", "State", "", "current, superseded, refused, withdrawn or erased"),
    ("severity", "Severity", "",
     "rejected; doubtful, which counts only once it is confirmed; or a question"),
    ("rule", "Rule", "", "name of the rule that spoke"),
    ("column_heading", "Column", "", "heading of the cell that a finding is about"),
    ("cell", "Cell", "", "the cell as typed"),
    ("message", "Message", "", "what came and what was wanted; in older files"),
    ("remedy", "Remedy", "", "what to do; in older files"),
    ("rule_values", "Values", "", "what the rule's texts print, as JSON; empty in older files"),
    ("closed_by", "Closed by", "", "why a finding needs no more attention; empty while open"),
    ("erased_on", "Erased on", "", "day on which a person's data were erased"),
    ("n_erased", "Cells erased", "", "number of cells that held a person's name"),
    ("reason", "Reason", "", "why something was erased or withdrawn"),
    ("model", "Model", "", "name of the model"),
    ("fitted_at", "Fitted at", "", "when the model was fitted"),
    ("seed", "Seed", "", "seed of the sampler"),
    ("data_fingerprint", "Data fingerprint", "", "digest of the data that were fitted"),
    ("model_fingerprint", "Model fingerprint", "", "name of the model and number of its version"),
    ("priors_fingerprint", "Priors fingerprint", "", "digest of the priors"),
    ("versions", "Versions", "", "versions of the libraries that fitted the model"),
    ("diagnostics", "Diagnostics", "", "what the sampler's gate read"),
    ("checks", "Checks", "", "what was computed on fitting of how far it can be trusted, as JSON"),
    ("seconds", "Seconds", "", "wall time of fitting"),
    ("parameter", "Parameter", "", "name of a parameter"),
    ("shape", "Shape", "", "shape of the array of simulations"),
    ("labels", "Labels", "", "what the last axis of the simulations counts, as a JSON list"),
    ("draws", "Draws", "", "little-endian 64-bit floats"),
)
# fmt: on

VOCABULARY: Mapping[str, Quantity] = MappingProxyType(
    {row[0]: Quantity(*row) for row in _QUANTITIES}
)
"""Every quantity by name."""

TERMS: Mapping[str, Term] = MappingProxyType({row[0]: Term(*row) for row in _TERMS})
"""Every term by name; no name is both a quantity and a term."""
