"""What cannot be true, what is doubtful: one named row each.

A rule is a condition in SQL over the cells of one line; what is said of it stands in
``reports/catalog`` under its name, and a kept finding is put into words by that name and values:
a rule that comes to print other values needs a new name. A line that meets a condition of severity
``refused`` is kept whole with the reason and enters no table; one that is ``doubtful`` comes in and
is left out of every model, sum and number until somebody confirms it; a ``question`` lets it in and
asks. In a condition a cell appears typed under its library name and as the owner wrote it under
``<name>__text``; a dog's cell also gives ``<name>_id``, ``<name>_matches`` (dogs of that name),
``<name>_is_refused`` (its line on the Dogs sheet is), ``<name>_sex``, ``<name>_born_on`` and
``<name>_died_on``. ``load_day()`` is the day of the load, ``has_decimal_comma()`` whether a number
of the sheet is written with a decimal comma. Rules of the scope ``records`` are asked after all
sheets are in, may look into the tables, and refuse nothing.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Literal

from studcurve.analytics.sentences import Sentence, Value, sentence
from studcurve.pipelines.records.sheets.columns import N_PROGESTERONE, SHEETS, Sheet

Severity = Literal["refused", "doubtful", "question"]
Scope = Literal["line", "records"]

SAME_HEAT, SAME_LITTER = "one heat on two lines", "one litter on two lines"
"""Doubts about a Breedings line whose confirmation joins it to the other line."""

MOVED = "the same on another day"
"""Doubt about an older line whose day seems to be corrected by a newer one. Confirming it says that
both are right, and joins two of one breeding."""

EARLIEST_YEAR = 1970
"""A date before this is a slip: no record of a living kennel is older. (J)"""

WHELPING_DAYS = (50, 80)
"""Whelping this many days after the first mating cannot be. [d]

Single timed matings whelped after 58 to 65 days: Okkens 2001 (P); widened for a mating up to eight
days from ovulation, and for a birth too early to live."""

USUAL_WHELPING_DAYS = (56, 72)
"""Whelping outside of these days after the first mating is asked about. [d]

57 to 72 days from a single mating: Concannon 1983 (M)."""

NEGATIVE_SCAN_FROM_DAYS = 24
"""A negative scan earlier than this after mating is no negative. [d] (J, priors row r05)"""

USUAL_NG_PER_ML = 40.0
"""Progesterone around a heat above this is more likely nmol/L. [ng/mL]

Luteal peaks of 15 to 80 ng/mL come weeks after ovulation, when nobody times a breeding (M)."""

USUAL_CENTRIFUGE_G = 1200.0
"""A centrifuge run above this is more likely rounds per minute. [g] (M)"""

USUAL_TOTAL_M = 5000.0
"""More sperm in one ejaculate are asked about. [10⁶]

Whole ejaculates rarely exceed 3,000 M: Atlantic Veterinary College (P)."""

FEW_M_PER_ML, MANY_MOVING_PCT = 5.0, 50.0
"""A concentration below this beside so much motility is more likely in another unit. [M/mL, %] (J)

The sperm-rich fraction of a dog holds 200 to 600 M/mL (P, J); with so few sperm motility is rarely
good, so 0.28 is more likely 280 than a count. Until it is known cautions read it as it stands."""

USUAL_VOLUME_ML = 40.0
"""An ejaculate above this is doubtful. [mL] (J)

Whole ejaculates reach 60 mL in giant breeds: Lofstedt, Atlantic Veterinary College (P); above 40 mL
a slipped decimal is more likely."""

USUAL_LITTER = 16
"""A larger litter is asked about; 1 to 24 in 37,946 litters, mean 5.4 (P)."""

FRACTION_PCT = 1.0
"""Sperm above zero and up to this percentage may have meant a fraction: 0.8 for 80 %. (J)"""

FRACTION_INBREEDING = 0.5
"""An inbreeding coefficient up to this, in percent, may have been meant as a fraction. (J)"""

YOUNGEST_MONTHS, OLDEST_YEARS = 8, 15
"""Breeding before or after these ages is asked about. (M)"""

OVULATION_DAYS = (3, 31)
"""Days from first bleeding to ovulation in a Beagle colony: Reprod Domest Anim, 2012 (P)."""

HEAT_DAYS = (-10, 60)
"""A progesterone reading outside of these days of its heat is asked about. [d] (J)"""

SECOND_WITHIN_DAYS = 10
"""A second insemination later than this belongs to another breeding. [d] (J)"""

CHILLED_WITHIN_DAYS = 7
"""Chilled semen older than this is asked about; no claim is made beyond 72 h. [d] (J)"""

FRESH_WITHIN_DAYS = 1
"""Fresh semen older than this is asked about. [d] (J)"""

ONE_HEAT_DAYS = 21
"""Matings within this many days belong to one heat. [d] (J; the view breeding_lines has it too)"""

CARRIER_WITHIN_DAYS = 10
"""A shipment that travelled longer is asked about. [d] (J)"""

_IS_RELEASE = "kind = 'release by veterinarian'"
_ALARM_CELLS = "kind, what__text, result, measured_value__text"
_HEALTH_CELLS = f"{_ALARM_CELLS}, drug_class, notes"
"""Cells by which the functions that read a Health line judge it; see store.py."""

_ITSELF = "a contradiction in itself (D)"
_SLIP = "a slip of the pen, judgment (J)"


@dataclass(frozen=True, slots=True)
class Rule:
    """One thing that a line may not, or hardly, say.

    Attributes
    ----------
    name
        Short and unique within its sheet and column.
    sheet, column
        Where; the column is the one whose cell is shown.
    severity
        ``refused`` keeps the line out; ``doubtful`` lets it in and out of every number until it is
        confirmed; ``question`` lets it in and asks.
    condition
        SQL over the typed line; the finding is made where it is true.
    values
        What its texts print; they stand in ``reports/catalog`` under its name.
    source
        Who says so.
    scope
        ``line`` before the line is let in; ``records`` after all lines are in, no refusals.
    """

    name: str
    sheet: str
    column: str
    severity: Severity
    condition: str
    values: Mapping[str, Value] = field(default_factory=dict)
    source: str = _ITSELF
    scope: Scope = "line"

    @property
    def wanted(self) -> Sentence:
        """What the cell should have said, continuing "column is …, "."""
        return sentence(f"rule.{self.name}.wanted", **self.values)

    @property
    def remedy(self) -> Sentence:
        """What to do."""
        return sentence(f"rule.{self.name}.remedy", **self.values)

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns of the sheet that the condition reads, and the one that is shown."""
        named = columns_named(SHEETS[self.sheet], self.condition)
        return tuple(
            name for name in SHEETS[self.sheet].names if name in named or name == self.column
        )


def columns_named(sheet: Sheet, sql: str) -> set[str]:
    """Names of the columns of a sheet that a piece of SQL over its typed lines reads."""
    return set(_words_in(sql).intersection(sheet.names))


@cache
def _words_in(sql: str) -> frozenset[str]:
    """The words of a piece of SQL, as they stand and as columns that their endings belong to."""
    words = re.findall(r"[a-z_0-9]+", sql)
    ends = r"(__text|_id|_matches|_is_refused|_sex|_born_on|_died_on)$"
    return frozenset([*words, *(re.sub(ends, "", word) for word in words)])


def _days(later: str, earlier: str) -> str:
    return f"date_diff('day', {earlier}, {later})"


def _refused(*row: str, source: str = _ITSELF, **values: Value) -> Rule:
    name, sheet, column, condition = row
    return Rule(name, sheet, column, "refused", condition, values, source)


def _question(*row: str, source: str, scope: Scope = "line", **values: Value) -> Rule:
    name, sheet, column, condition = row
    return Rule(name, sheet, column, "question", condition, values, source, scope)


def _doubtful(*row: str, source: str, scope: Scope = "line", **values: Value) -> Rule:
    name, sheet, column, condition = row
    return Rule(name, sheet, column, "doubtful", condition, values, source, scope)


def _lifetime(sheet: str, column: str, dog: str, *, after_death: str = "") -> tuple[Rule, ...]:
    """What is doubtful about a day beyond the life of a dog.

    Parameters
    ----------
    sheet, column
        The day.
    dog
        Column of the dog.
    after_death
        SQL for the day that its death is compared with; empty for the same one.
    """
    after = after_death or column
    return (
        _doubtful(
            f"before the {_ROLES.get((sheet, dog), 'dog')} was born",
            sheet,
            column,
            f"{column} < {dog}_born_on",
            source=_ITSELF,
        ),
        _doubtful(
            f"after the {_ROLES.get((sheet, dog), 'dog')} died",
            sheet,
            column,
            f"{after} > {dog}_died_on",
            source=_ITSELF,
        ),
    )


_ROLES = {("breedings", "dog"): "bitch", ("breedings", "stud"): "stud"}
"""What a dog is called where a line names two."""


def _fraction(sheet: str, *columns: str) -> tuple[Rule, ...]:
    return tuple(
        _doubtful(
            "percentage as a fraction",
            sheet,
            column,
            f"smallest_measured({column}) > 0 AND largest_measured({column}) <= {FRACTION_PCT}"
            f" AND {column}.kind <> 'below'",
            n=FRACTION_PCT,
            source=_SLIP,
        )
        for column in columns
    )


_ANOTHER_LINE = """typed.entry_id IN (
    SELECT own.entry_id
    FROM breeding_lines AS own
    JOIN breeding_lines AS other
        ON other.bitch_id = own.bitch_id AND other.stud_id = own.stud_id
        AND other.breeding_id <> own.breeding_id
    LEFT JOIN asked_breedings AS loaded ON loaded.entry_id = other.entry_id
    WHERE {condition}
        AND (
            loaded.entry_id IS NULL OR (other.bred_on, other.entry_id) < (own.bred_on, own.entry_id)
        )
        AND NOT EXISTS (
            SELECT 1 FROM finding JOIN line USING (line_id)
            WHERE line.entry_id = other.entry_id AND line.state = 'current'
                AND finding.rule = '{moved}' AND finding.closed_by IS NULL
        )
)"""
"""Another line is about the same; of two in one load the later mating is doubted.

An older line that seems to have been moved to another day is asked about itself."""


def _recorded_days(beyond: str) -> str:
    """SQL that is true of a dog of which a line that counts is about a day beyond some other."""
    return " OR ".join(
        f"EXISTS (SELECT 1 FROM {table} ANTI JOIN doubtful_entries USING (entry_id)"
        f" WHERE {table}.{dog} = typed.entry_id AND {day} {beyond})"
        for table, dog, day in (
            ("collection", "stud_id", "CAST(collection.collected.earliest AS DATE)"),
            ("frozen_lot", "stud_id", "frozen_lot.frozen_on"),
            ("cycle", "bitch_id", "cycle.first_day"),
            ("breeding_lines", "bitch_id", "breeding_lines.bred_on"),
        )
    )


_MATED_IN_ONE_HEAT = f"abs({_days('own.bred_on', 'other.bred_on')}) <= {ONE_HEAT_DAYS}"


def _progesterone(n: int) -> tuple[Rule, ...]:
    value, on, unit = f"progesterone_{n}", f"progesterone_{n}_on", f"progesterone_{n}_unit"
    return (
        _refused(
            "progesterone without date",
            "heats",
            on,
            f"{value} IS NOT NULL AND {on} IS NULL",
        ),
        _question(
            "progesterone without unit",
            "heats",
            unit,
            f"{value}.low IS NOT NULL AND {unit} IS NULL",
            source="1 ng/mL = 3.180 nmol/L (D)",
        ),
        _question(
            "nmol/L written as ng/mL",
            "heats",
            value,
            f"{unit} = 'ng/mL' AND {value}.low > {USUAL_NG_PER_ML}",
            n=USUAL_NG_PER_ML,
            source="luteal peaks from memory (M)",
        ),
        _question(
            "progesterone outside of its heat",
            "heats",
            on,
            f"{_days(on, 'first_day')} NOT BETWEEN {HEAT_DAYS[0]} AND {HEAT_DAYS[1]}",
            low=HEAT_DAYS[0],
            high=HEAT_DAYS[1],
            source=_SLIP,
        ),
    )


RULES: tuple[Rule, ...] = (
    # Dogs
    _question(
        "inbreeding as a fraction", "dogs", "inbreeding_pct",
        f"inbreeding_pct > 0 AND inbreeding_pct <= {FRACTION_INBREEDING}",
        source=_SLIP),
    _question(
        "two dogs with one chip", "dogs", "chip",
        "(SELECT count(*) FROM dog_identifier WHERE kind = 'chip' AND identifier = typed.chip) > 1",
        source=_ITSELF, scope="records"),
    _refused(
        "died before born", "dogs", "died_on", "died_on < born_on"),
    _question(
        "born after its records", "dogs", "born_on", _recorded_days("< typed.born_on"),
        source=_ITSELF, scope="records"),
    _question(
        "died before its records", "dogs", "died_on", _recorded_days("> typed.died_on"),
        source=_ITSELF, scope="records"),
    # Collections
    *_lifetime("collections", "collected_on", "dog"),
    *_fraction(
        "collections", "total_motility_pct", "progressive_motility_pct", "normal_morphology_pct"),
    _doubtful(
        "few sperm that move well", "collections", "concentration_m_per_ml",
        f"concentration_m_per_ml.high > 0 AND concentration_m_per_ml.high < {FEW_M_PER_ML}"
        f" AND (smallest_measured(progressive_motility_pct) >= {MANY_MOVING_PCT}"
        f" OR smallest_measured(total_motility_pct) >= {MANY_MOVING_PCT})",
        n=FEW_M_PER_ML, moving=MANY_MOVING_PCT, source=_SLIP),
    _doubtful(
        "no sperm that move", "collections", "concentration_m_per_ml",
        "(concentration_m_per_ml.high = 0 OR n_cells_counted = 0)"
        " AND (smallest_measured(progressive_motility_pct) > 0"
        " OR smallest_measured(total_motility_pct) > 0)",
        source=_ITSELF),
    _doubtful(
        "more volume than an ejaculate", "collections", "volume_ml",
        f"smallest_measured(volume_ml) > {USUAL_VOLUME_ML}", n=USUAL_VOLUME_ML,
        source="Lofstedt, Atlantic Veterinary College (P), widened (J)"),
    _doubtful(
        "progressive perhaps above total motility", "collections", "progressive_motility_pct",
        "smallest_measured(progressive_motility_pct) > largest_measured(total_motility_pct)"
        " AND NOT progressive_motility_pct.low > total_motility_pct.high",
        source=_ITSELF),
    _refused(
        "progressive above total motility", "collections", "progressive_motility_pct",
        "progressive_motility_pct.low > total_motility_pct.high"),
    _refused(
        "per mL instead of millions", "collections", "concentration_m_per_ml",
        "concentration_m_per_ml.low BETWEEN 1e6 AND 5e9",
        source=_SLIP),
    _question(
        "failed but measured", "collections", "failed_reason",
        "failed_reason IS NOT NULL AND (volume_ml IS NOT NULL OR concentration_m_per_ml IS NOT NULL"
        " OR progressive_motility_pct IS NOT NULL OR n_doses > 0)",
        source=_ITSELF),
    _question(
        "more sperm than an ejaculate", "collections", "concentration_m_per_ml",
        f"volume_ml.low * concentration_m_per_ml.low > {USUAL_TOTAL_M}", n=USUAL_TOTAL_M,
        source="Atlantic Veterinary College (P), widened (J)"),
    _question(
        "rounds per minute", "collections", "centrifuge_g", f"centrifuge_g > {USUAL_CENTRIFUGE_G}",
        source="trade memory (M)"),
    _refused(
        "more supernatant than sample", "collections", "supernatant_removed_ml",
        "supernatant_removed_ml > volume_ml.high"),
    # Frozen stock
    *_lifetime("frozen", "frozen_on", "dog"),
    *_fraction("frozen", "post_thaw_progressive_motility_pct"),
    # Shipments
    *_lifetime("shipments", "collected_on", "dog"),
    _doubtful(
        "before the dog was born", "shipments", "sent_on", "sent_on < dog_born_on", source=_ITSELF),
    *_fraction("shipments", "arrival_pct", "retained_pct"),
    _refused(
        "arrived before sent", "shipments", "arrived_on",
        "arrived_on + coalesce(arrived_at, TIME '23:59:59')"
        " < sent_on + coalesce(sent_at, TIME '00:00:00')"),
    _refused(
        "sent before collected", "shipments", "sent_on", "sent_on < collected_on"),
    _refused(
        "retained sample before collected", "shipments", "retained_on",
        "retained_on < coalesce(collected_on, sent_on)"),
    _refused(
        "evaluated before arrival", "shipments", "arrival_pct",
        "arrival_pct IS NOT NULL AND arrived_on IS NULL"),
    _question(
        "long on the way", "shipments", "arrived_on",
        f"{_days('arrived_on', 'sent_on')} > {CARRIER_WITHIN_DAYS}", n=CARRIER_WITHIN_DAYS,
        source=_SLIP),
    # Heats
    *_lifetime("heats", "first_day", "dog"),
    _question(
        "ovulation far from bleeding", "heats", "vet_ovulation_on",
        f"{_days('vet_ovulation_on', 'first_day')}"
        f" NOT BETWEEN {OVULATION_DAYS[0]} AND {OVULATION_DAYS[1]}",
        low=OVULATION_DAYS[0], high=OVULATION_DAYS[1],
        source="Beagle colony, Reprod Domest Anim 2012 (P)"),
    *(rule for n in range(1, N_PROGESTERONE + 1) for rule in _progesterone(n)),
    # Breedings
    *_lifetime("breedings", "bred_on", "dog"),
    # Frozen straws outlive him, and chilled semen by some days: there the day of collection counts.
    *_lifetime(
        "breedings", "bred_on", "stud",
        after_death="CASE semen_type WHEN 'frozen' THEN NULL WHEN 'natural' THEN bred_on"
        " ELSE coalesce(collected_on, bred_on) END"),
    _doubtful(
        "whelped without pups", "breedings", "n_born_alive",
        "n_born_alive = 0 AND coalesce(n_stillborn, 0) = 0"
        " AND coalesce(result, 'whelped') = 'whelped'",
        source=_ITSELF),
    _doubtful(
        SAME_LITTER, "breedings", "whelped_on",
        _ANOTHER_LINE.format(moved=MOVED, condition="other.whelped_on = own.whelped_on"),
        source=_ITSELF, scope="records"),
    _doubtful(
        SAME_HEAT, "breedings", "bred_on",
        _ANOTHER_LINE.format(
            moved=MOVED,
            condition=f"{_MATED_IN_ONE_HEAT} AND (other.whelped_on = own.whelped_on) IS NOT TRUE"),
        n=ONE_HEAT_DAYS, source=_ITSELF, scope="records"),
    _question(
        "litter's inbreeding as a fraction", "breedings", "litter_inbreeding_pct",
        f"litter_inbreeding_pct > 0 AND litter_inbreeding_pct <= {FRACTION_INBREEDING}",
        source=_SLIP),
    _refused(
        "second before first", "breedings", "second_on",
        "second_on + coalesce(second_at, TIME '23:59:59')"
        " < bred_on + coalesce(bred_at, TIME '00:00:00')"),
    _question(
        "second long after first", "breedings", "second_on",
        f"{_days('second_on', 'bred_on')} > {SECOND_WITHIN_DAYS}", n=SECOND_WITHIN_DAYS,
        source=_SLIP),
    _refused(
        "natural by another route", "breedings", "route",
        "route IS NOT NULL AND (semen_type = 'natural') <> (route = 'natural')"),
    _question(
        "route missing", "breedings", "route",
        "route__text IS NULL AND semen_type <> 'natural'",
        source="common practice, no source"),
    _refused(
        "bred before collected", "breedings", "collected_on", "collected_on > bred_on"),
    _question(
        "old semen", "breedings", "collected_on",
        f"semen_type IN ('fresh', 'chilled') AND {_days('bred_on', 'collected_on')}"
        f" > CASE semen_type WHEN 'fresh' THEN {FRESH_WITHIN_DAYS} ELSE {CHILLED_WITHIN_DAYS} END",
        source="no claim beyond 72 h (J)"),
    _refused(
        "whelped out of term", "breedings", "whelped_on",
        f"{_days('whelped_on', 'bred_on')}"
        f" NOT BETWEEN {WHELPING_DAYS[0]} AND {WHELPING_DAYS[1]}",
        low=WHELPING_DAYS[0], high=WHELPING_DAYS[1],
        source="Okkens 2001 (P), widened"),
    _question(
        "whelped early or late", "breedings", "whelped_on",
        f"{_days('whelped_on', 'bred_on')}"
        f" BETWEEN {WHELPING_DAYS[0]} AND {USUAL_WHELPING_DAYS[0] - 1}"
        f" OR {_days('whelped_on', 'coalesce(second_on, bred_on)')}"
        f" BETWEEN {USUAL_WHELPING_DAYS[1] + 1} AND {WHELPING_DAYS[1]}",
        low=USUAL_WHELPING_DAYS[0], high=USUAL_WHELPING_DAYS[1], source="Concannon 1983 (M)"),
    _refused(
        "missed with pups", "breedings", "result",
        "result IN ('missed', 'lost') AND (n_born_alive > 0 OR whelped_on IS NOT NULL)"),
    _refused(
        "more alive at 8 weeks than born", "breedings", "n_alive_8_weeks",
        "n_alive_8_weeks > n_born_alive"),
    _question(
        "very large litter", "breedings", "n_born_alive",
        f"n_born_alive + coalesce(n_stillborn, 0) > {USUAL_LITTER}", n=USUAL_LITTER,
        source="37,946 litters, Reprod Domest Anim 2017 (P)"),
    _refused(
        "scanned before bred", "breedings", "scanned_on", "scanned_on < bred_on"),
    _question(
        "early negative scan", "breedings", "scan",
        f"scan = 'not pregnant' AND {_days('scanned_on', 'bred_on')} < {NEGATIVE_SCAN_FROM_DAYS}",
        n=NEGATIVE_SCAN_FROM_DAYS,
        source="priors row r05 (J)"),
    _question(
        "pups on a negative scan", "breedings", "n_pups_on_scan",
        "n_pups_on_scan > 0 AND coalesce(scan, '') <> 'pregnant'",
        source=_ITSELF),
    _question(
        "bred too young", "breedings", "bred_on",
        f"bred_on >= dog_born_on AND bred_on < dog_born_on + INTERVAL {YOUNGEST_MONTHS} MONTH"
        " OR bred_on >= stud_born_on"
        f" AND bred_on < stud_born_on + INTERVAL {YOUNGEST_MONTHS} MONTH", n=YOUNGEST_MONTHS,
        source="trade memory (M)"),
    _question(
        "bred very old", "breedings", "bred_on",
        f"bred_on > dog_born_on + INTERVAL {OLDEST_YEARS} YEAR", n=OLDEST_YEARS,
        source="trade memory (M)"),
    _refused(
        "straw not yet frozen", "breedings", "lot",
        "semen_type = 'frozen' AND bred_on < (SELECT min(frozen_lot.frozen_on) FROM frozen_lot"
        " WHERE frozen_lot.stud_id = typed.stud_id AND frozen_lot.lot = typed.lot)"),
    _question(
        "no straw frozen by then", "breedings", "bred_on",
        "semen_type = 'frozen' AND lot IS NULL AND bred_on < (SELECT min(frozen_lot.frozen_on)"
        " FROM frozen_lot WHERE frozen_lot.stud_id = typed.stud_id)",
        source=_ITSELF),
    _question(
        "lot not in stock", "breedings", "lot",
        "lot IS NOT NULL AND NOT EXISTS (SELECT 1 FROM frozen_lot"
        " WHERE frozen_lot.stud_id = typed.stud_id AND frozen_lot.lot = typed.lot)",
        source=_ITSELF),
    _question(
        "no straws left", "breedings", "n_straws",
        "semen_type = 'frozen' AND n_straws > 0 AND (SELECT sum(frozen_lot.n_straws)"
        " FROM frozen_lot WHERE frozen_lot.stud_id = typed.stud_id) < (SELECT"
        " sum(inseminations.n_straws) FROM inseminations WHERE inseminations.stud_id"
        " = typed.stud_id AND inseminations.semen_type = 'frozen')",
        source=_ITSELF, scope="records"),
    _question(
        "second sire in one heat", "breedings", "stud",
        "EXISTS (SELECT 1 FROM breedings AS other WHERE other.bitch_id = typed.dog_id"
        " AND other.stud_id <> typed.stud_id AND abs("
        f"{_days('bred_on', 'CAST(other.bred_earliest AS DATE)')}) <= {ONE_HEAT_DAYS})",
        n=ONE_HEAT_DAYS, source=_ITSELF, scope="records"),
    # Health
    *_lifetime("health", "noted_on", "dog"),
    _refused(
        "until before it began", "health", "until_on", "until_on < noted_on"),
    _refused(
        "release without veterinarian", "health", "veterinarian",
        f"{_IS_RELEASE} AND veterinarian IS NULL"),
    _refused(
        "release without its tests", "health", "result",
        f"{_IS_RELEASE} AND result IS NULL AND health_question({_HEALTH_CELLS}) = ''"
        " AND names_brucella(what__text)"),
    *(
        _question(
            name, "health", column, f"health_question({_HEALTH_CELLS}) = '{question}'",
            source="tables of this toolkit, from memory (M)")
        for name, column, question in (
            ("Brucella result unclear", "result", "brucella"),
            ("result of an infection unclear", "result", "infection"),
            ("Brucella among the notes", "notes", "mention"),
            ("test that nobody knows", "what", "test"),
            ("event that nobody knows", "what", "event"),
            ("drug that nobody knows", "drug_class", "drug"),
            ("release from what", "what", "release"),
        )
    ),
    _question(
        "alarm taken back", "health", "result",
        f"NOT health_alarm({_ALARM_CELLS}) AND EXISTS (SELECT 1 FROM line AS current_line"
        " JOIN line AS old ON old.entry_id = current_line.entry_id AND old.sheet = 'health'"
        " AND old.state = 'superseded' AND old.version IS NOT NULL"
        " WHERE current_line.line_id = typed.line_id AND health_alarm("
        "json_extract_string(old.cells, '$[2]'), json_extract_string(old.cells, '$[3]'),"
        " json_extract_string(old.cells, '$[4]'), json_extract_string(old.cells, '$[5]')))",
        source="rule of this toolkit (J)", scope="records"),
    # Prices
    _refused(
        "price ends before it begins", "prices", "valid_until", "valid_until < valid_from"),
)  # fmt: skip
"""The rules between cells; those of single cells follow from the sheet's columns."""
