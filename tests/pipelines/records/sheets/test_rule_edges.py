"""Each number of a rule of loading at its edge: the last value let by, and the first one found.

The edges stand here as numbers, not as the constants of the rules.
"""

import csv
from dataclasses import dataclass
from datetime import date, timedelta

import pytest

from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.pipelines.records.sheets.rules import RULES

LOADED_ON = date(2026, 10, 31)
DAY = date(2020, 3, 1)
"""The day of every line; a number in a column of days is so many days after it."""

BORN = {"male_born": -2000, "female_born": -2000}

BLOOD = {"progesterone_1_on": 9, "progesterone_1_unit": "ng/mL", "progesterone_1": "5"}
LITTER = {"whelped_on": 63, "n_born_alive": "6", "result": "whelped"}

LEAST = {
    "dogs": {"sex": "male"},
    "collections": {"collected_on": 0, "motility_method": "by eye"},
    "frozen": {"frozen_on": 0, "lot": "A", "n_straws": "4"},
    "shipments": {"sent_on": 0},
    "heats": {"first_day": 0},
    "breedings": {"bred_on": 0, "semen_type": "natural"},
    "health": {"noted_on": 0, "kind": "laboratory test", "what": "progesterone", "result": "4"},
    "prices": {"price": "10", "currency": "EUR", "valid_from": 0},
}
"""What a line must say at least."""

CHILLED = {"semen_type": "chilled", "route": "vaginal"}
FRESH = {"semen_type": "fresh", "route": "vaginal"}
NEGATIVE = {"scan": "not pregnant"}


def moving(total, forward):
    return {"total_motility_pct": total, "progressive_motility_pct": forward}


def sperm(volume, concentration):
    return {"volume_ml": volume, "concentration_m_per_ml": concentration}


LINES = [
    # rule, sheet, lines that it lets by, lines that it finds
    ("date too early", "dogs", [{"born_on": "1970-01-01"}], [{"born_on": "1969-12-31"}]),
    ("date ahead", "dogs", [{"born_on": "2026-10-31"}], [{"born_on": "2026-11-01"}]),
    ("inbreeding as a fraction", "dogs",
     [{"inbreeding_pct": "0"}, {"inbreeding_pct": "0.51"}],
     [{"inbreeding_pct": "0.01"}, {"inbreeding_pct": "0.5"}]),
    ("died before born", "dogs",
     [{"born_on": 0, "died_on": 0}], [{"born_on": 0, "died_on": -1}]),
    ("before the dog was born", "collections", [{"male_born": 0}], [{"male_born": 1}]),
    ("after the dog died", "collections", [{"male_died": 0}], [{"male_died": -1}]),
    ("percentage as a fraction", "collections",
     [moving("80", "0"), moving("80", "1.01"), moving("80", "< 1")],
     [moving("80", "1"), moving("80", "0.1")]),
    ("few sperm that move well", "collections",
     [sperm("2", "5") | moving("80", "70"), sperm("2", "4.9") | moving("49", "49"),
      sperm("2", "0") | moving("80", "70")],
     [sperm("2", "4.9") | moving("80", "50"), sperm("2", "4.9") | moving("50", "20")]),
    ("no sperm that move", "collections",
     [sperm("2", "0") | moving("0", "0"), sperm("2", "0.1") | moving("30", "30")],
     [sperm("2", "0") | moving("1", "0"), {"n_cells_counted": "0"} | moving("2", "1")]),
    ("more volume than an ejaculate", "collections",
     [sperm("40", "90")], [sperm("40.1", "90")]),
    ("progressive perhaps above total motility", "collections",
     [moving("80", "80")], [moving("80", "81")]),
    ("per mL instead of millions", "collections",
     [sperm("2", "999999"), sperm("2", "5000000001")],
     [sperm("2", "1000000"), sperm("2", "5000000000")]),
    ("more sperm than an ejaculate", "collections",
     [sperm("10", "500")], [sperm("10", "500.1")]),
    ("rounds per minute", "collections", [{"centrifuge_g": "1200"}], [{"centrifuge_g": "1201"}]),
    ("more supernatant than sample", "collections",
     [{"volume_ml": "2.4", "supernatant_removed_ml": "2.4"}],
     [{"volume_ml": "2.4", "supernatant_removed_ml": "2.5"}]),
    ("failed but measured", "collections",
     [{"failed_reason": "refused", "n_doses": "0"}],
     [{"failed_reason": "refused", "n_doses": "1"}, {"failed_reason": "refused"} | sperm("2", ""),
      {"failed_reason": "refused"} | sperm("", "300"),
      {"failed_reason": "refused"} | moving("", "70")]),
    ("arrived before sent", "shipments",
     [{"sent_at": "17:30", "arrived_on": 0, "arrived_at": "17:30"},
      {"sent_at": "17:30", "arrived_on": 0}, {"arrived_on": 0, "arrived_at": "00:00"}],
     [{"sent_at": "17:30", "arrived_on": 0, "arrived_at": "17:29"}, {"arrived_on": -1}]),
    ("sent before collected", "shipments", [{"collected_on": 0}], [{"collected_on": 1}]),
    ("retained sample before collected", "shipments",
     [{"retained_on": 0}, {"collected_on": -1, "retained_on": -1}],
     [{"retained_on": -1}, {"collected_on": -1, "retained_on": -2}]),
    ("evaluated before arrival", "shipments",
     [{"arrival_pct": "60", "arrived_on": 1}], [{"arrival_pct": "60"}]),
    ("long on the way", "shipments", [{"arrived_on": 10}], [{"arrived_on": 11}]),
    ("ovulation far from bleeding", "heats",
     [{"vet_ovulation_on": 3}, {"vet_ovulation_on": 31}],
     [{"vet_ovulation_on": 2}, {"vet_ovulation_on": 32}]),
    ("nmol/L written as ng/mL", "heats",
     [BLOOD | {"progesterone_1": "40"},
      BLOOD | {"progesterone_1": "41", "progesterone_1_unit": "nmol/L"}],
     [BLOOD | {"progesterone_1": "40.1"}, BLOOD | {"progesterone_1": "> 41"}]),
    ("progesterone outside of its heat", "heats",
     [BLOOD | {"progesterone_1_on": -10}, BLOOD | {"progesterone_1_on": 60}],
     [BLOOD | {"progesterone_1_on": -11}, BLOOD | {"progesterone_1_on": 61}]),
    ("before the bitch was born", "breedings", [{"female_born": 0}], [{"female_born": 1}]),
    ("after the bitch died", "breedings", [{"female_died": 0}], [{"female_died": -1}]),
    ("after the stud died", "breedings",
     [{"male_died": 0}, FRESH | {"male_died": -1, "collected_on": -1},
      {"semen_type": "frozen", "male_died": -900}],
     [{"male_died": -1}, FRESH | {"male_died": -1, "collected_on": 0}]),
    ("whelped without pups", "breedings",
     [LITTER | {"n_born_alive": "0", "n_stillborn": "1"},
      {"n_born_alive": "0", "result": "missed"}],
     [LITTER | {"n_born_alive": "0"}, {"n_born_alive": "0", "n_stillborn": "0"}]),
    ("litter's inbreeding as a fraction", "breedings",
     [{"litter_inbreeding_pct": "0"}, {"litter_inbreeding_pct": "0.51"}],
     [{"litter_inbreeding_pct": "0.5"}]),
    ("second before first", "breedings",
     [{"bred_at": "10:00", "second_on": 0, "second_at": "10:00"},
      {"bred_at": "10:00", "second_on": 0}],
     [{"bred_at": "10:00", "second_on": 0, "second_at": "09:59"}, {"second_on": -1}]),
    ("second long after first", "breedings", [{"second_on": 10}], [{"second_on": 11}]),
    ("bred before collected", "breedings",
     [FRESH | {"collected_on": 0}], [FRESH | {"collected_on": 1}]),
    ("old semen", "breedings",
     [FRESH | {"collected_on": -1}, CHILLED | {"collected_on": -7},
      {"semen_type": "frozen", "collected_on": -900}],
     [FRESH | {"collected_on": -2}, CHILLED | {"collected_on": -8}]),
    ("whelped out of term", "breedings",
     [LITTER | {"whelped_on": 50}, LITTER | {"whelped_on": 80}],
     [LITTER | {"whelped_on": 49}, LITTER | {"whelped_on": 81}]),
    ("whelped early or late", "breedings",
     [LITTER | {"whelped_on": 56}, LITTER | {"whelped_on": 72},
      LITTER | {"whelped_on": 76, "second_on": 4},
      LITTER | {"whelped_on": 49}, LITTER | {"whelped_on": 81}],
     [LITTER | {"whelped_on": 55}, LITTER | {"whelped_on": 73},
      LITTER | {"whelped_on": 77, "second_on": 4},
      LITTER | {"whelped_on": 50}, LITTER | {"whelped_on": 80}]),
    ("more alive at 8 weeks than born", "breedings",
     [LITTER | {"n_alive_8_weeks": "6"}], [LITTER | {"n_alive_8_weeks": "7"}]),
    ("very large litter", "breedings",
     [LITTER | {"n_born_alive": "16"}, LITTER | {"n_born_alive": "15", "n_stillborn": "1"}],
     [LITTER | {"n_born_alive": "17"}, LITTER | {"n_born_alive": "16", "n_stillborn": "1"}]),
    ("scanned before bred", "breedings", [{"scanned_on": 0}], [{"scanned_on": -1}]),
    ("early negative scan", "breedings",
     [NEGATIVE | {"scanned_on": 24}], [NEGATIVE | {"scanned_on": 23}]),
    ("pups on a negative scan", "breedings",
     [NEGATIVE | {"scanned_on": 28, "n_pups_on_scan": "0"}],
     [NEGATIVE | {"scanned_on": 28, "n_pups_on_scan": "1"}]),
    ("bred too young", "breedings",
     [{"female_born": "2019-07-01"}, {"male_born": "2019-07-01"}, {"female_born": 1}],
     [{"female_born": "2019-07-02"}, {"male_born": "2019-07-02"}, {"female_born": 0}]),
    ("bred very old", "breedings",
     [{"female_born": "2005-03-01"}], [{"female_born": "2005-02-28"}]),
    ("straw not yet frozen", "breedings",
     [{"semen_type": "frozen", "lot": "A", "male_froze": 0}],
     [{"semen_type": "frozen", "lot": "A", "male_froze": 1}]),
    ("no straw frozen by then", "breedings",
     [{"semen_type": "frozen", "male_froze": 0}], [{"semen_type": "frozen", "male_froze": 1}]),
    ("no straws left", "breedings",
     [{"semen_type": "frozen", "male_froze": -9, "lot": "A", "n_straws": "4"}],
     [{"semen_type": "frozen", "male_froze": -9, "lot": "A", "n_straws": "5"}]),
    ("one heat on two lines", "breedings",
     [{"earlier": {"bred_on": -22}}], [{"earlier": {"bred_on": -21}}]),
    ("second sire in one heat", "breedings",
     [{"earlier": {"bred_on": -22, "stud": "another"}}],
     [{"earlier": {"bred_on": -21, "stud": "another"}}]),
    ("until before it began", "health", [{"until_on": 0}], [{"until_on": -1}]),
    ("price ends before it begins", "prices", [{"valid_until": 0}], [{"valid_until": -1}]),
]  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """One line, the rule that is asked of it, and whether the rule finds it."""

    n: int
    rule: str
    sheet: str
    cells: dict
    is_found: bool

    @property
    def dogs(self):
        return [
            {"call_name": f"{sex} {self.n}", "sex": sex, "born_on": born, "died_on": died}
            for sex, born, died in (
                (sex, *((BORN | self.cells).get(f"{sex}_{what}", "") for what in ("born", "died")))
                for sex in ("male", "female")
            )
        ]

    @property
    def lines(self):
        """The line itself, last, after one that is there before it."""
        female = self.sheet in ("heats", "breedings", "health")
        named = {
            "dogs": {"call_name": f"asked {self.n}"},
            "prices": {"what": f"thing {self.n}"},
            "breedings": {"stud": f"male {self.n}"},
        }.get(self.sheet, {})
        if self.sheet not in ("dogs", "prices"):
            named = named | {"dog": f"{'female' if female else 'male'} {self.n}"}
        earlier = self.cells.get("earlier")
        own = {name: cell for name, cell in self.cells.items() if name in SHEETS[self.sheet].names}
        plain = LEAST[self.sheet] | named
        return [*([plain | earlier] if earlier else []), plain | own]


ASKED = [
    Asked(n, rule, sheet, cells, is_found)
    for n, (rule, sheet, cells, is_found) in enumerate(
        (rule, sheet, cells, is_found)
        for rule, sheet, by, found in LINES
        for is_found, of_kind in ((False, by), (True, found))
        for cells in of_kind
    )
]


def write(path, sheet, lines):
    def shown(name, cell):
        if SHEETS[sheet].column(name).kind == "day" and isinstance(cell, int):
            return (DAY + timedelta(days=cell)).isoformat()
        return cell

    path.parent.mkdir(exist_ok=True)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [one.heading for one in SHEETS[sheet].columns], restval="")
        writer.writeheader()
        for line in lines:
            writer.writerow({SHEETS[sheet].column(name).heading: shown(name, cell)
                             for name, cell in line.items()})  # fmt: skip
    return path


@pytest.fixture(scope="module")
def found(tmp_path_factory, kennel_class):
    """Rules that found each line, by sheet and number of the line."""
    made = kennel_class(tmp_path_factory.mktemp("edges"))
    dogs = [dog for asked in ASKED for dog in asked.dogs]
    stock = [
        {"dog": f"male {asked.n}", "frozen_on": asked.cells["male_froze"], "lot": "A",
         "n_straws": "4"}
        for asked in ASKED if "male_froze" in asked.cells
    ]  # fmt: skip
    made.load(
        write(made.folder / "before" / "dogs.csv", "dogs",
              [*dogs, {"call_name": "another", "sex": "male"}]),
        write(made.folder / "before" / "frozen.csv", "frozen", stock), today=LOADED_ON,
    )  # fmt: skip
    numbers = {}
    for sheet in LEAST:
        lines = []
        for asked in ASKED:
            if asked.sheet == sheet:
                lines += asked.lines
                numbers[sheet, len(lines) + 1] = asked.n
        made.load(write(made.folder / f"{sheet}.csv", sheet, lines), today=LOADED_ON)
    rules_by_edge = {asked.n: set() for asked in ASKED}
    for row in made.read("findings").itertuples():
        n = numbers.get((row.sheet, row.line))
        if n is not None:
            rules_by_edge[n].add(row.rule)
    return rules_by_edge


def name_of(asked):
    cells = ", ".join(f"{name} {cell}" for name, cell in asked.cells.items())
    return f"{asked.rule}: {cells}: {'found' if asked.is_found else 'let by'}"


@pytest.mark.parametrize("asked", ASKED, ids=name_of)
def test_a_rule_finds_the_first_value_beyond_its_edge_and_not_the_last_within(found, asked):
    assert (asked.rule in found[asked.n]) is asked.is_found, found[asked.n]


def test_every_rule_whose_texts_print_a_number_is_asked_at_its_edge():
    with_numbers = {
        rule.name for rule in RULES if any(isinstance(v, int | float) for v in rule.values.values())
    }

    assert with_numbers <= {rule for rule, *_ in LINES}
