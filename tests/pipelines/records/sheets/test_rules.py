"""Rules: each has one line that breaks it and one beside it that does not."""

from datetime import date, timedelta

import pytest
from tests.in_english import in_english

from studcurve.analytics.sentences import values_kept
from studcurve.pipelines.records.sheets.cell_rules import ANOTHER, CONFLICT, GONE, rules_of
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.pipelines.records.sheets.rules import MOVED, RULES
from studcurve.reports.words import Words

COMPARED = {CONFLICT, ANOTHER, GONE, MOVED}
"""Rules about lines beside each other; test_store proves them."""

DAYS_BETWEEN_LINES = 100
OLD_AFTER_LINES = 40
"""From this line on another bitch is bred, lest the first be too old."""

FIRST_DAY = date(2001, 1, 1)

PLAIN = {
    "dogs": {"Dog": "Dog {n}", "Sex": "male", "Born": "2000-01-01", "Chip": "{n}",
             "Inbreeding (%)": "12", "Adult weight (kg)": "20"},
    "collections": {"Dog": "Old Bracken", "Date": "{day+0}", "Time": "08:30", "Volume (mL)": "2.4",
                    "Concentration (M/mL)": "310", "Total motility (%)": "80",
                    "Progressive motility (%)": "70",
                    "How motility was evaluated": "by eye", "Centrifuged at (g)": "700",
                    "Supernatant removed (mL)": "1"},
    "frozen": {"Stud": "Old Bracken", "Frozen on": "{day+0}", "Lot": "L{n}", "Straws": "4"},
    "shipments": {"Stud": "Old Bracken", "Collected on": "{day+0}", "Sent on": "{day+0}",
              "Sent at": "17:30", "Arrived on": "{day+1}", "Arrived at": "11:00",
              "Progressive motility on arrival (%)": "60",
              "Retained sample evaluated on": "{day+2}"},
    "heats": {"Bitch": "Old Senna", "First day": "{day+0}", "Vet's ovulation date": "{day+12}",
              "Progesterone 1 on": "{day+9}", "Progesterone 1": "5.1",
              "Progesterone 1 unit": "ng/mL"},
    "breedings": {"Bitch": "Old Senna", "Stud": "Old Bracken", "Date": "{day+0}", "Time": "10:00",
                  "Semen": "fresh", "Route": "vaginal", "Collected on": "{day+0}",
                  "Second date": "{day+2}", "Scan on": "{day+28}", "Scan": "pregnant",
                  "Pups on scan": "5", "Result": "whelped", "Whelped on": "{day+63}",
                  "Born alive": "6", "Stillborn": "0", "Alive at 8 weeks": "6"},
    "health": {"Dog": "Old Senna", "Date": "{day+0}", "Kind": "laboratory test",
               "What": "Brucella (RSAT)", "Result": "negative", "Until": "{day+3}"},
    "prices": {"What": "other", "Price": "10", "Currency": "EUR", "From": "{day+0}",
               "Until": "{day+1}", "Notes": "thing {n}"},
    "intervals": {"What": "test {n}", "Every (days)": "180"},
}  # fmt: skip

BREAKS = [
    # rule, sheet, what makes the plain line break it
    ("missing", "dogs", {"Sex": ""}),
    ("unknown word", "dogs", {"Sex": "neither"}),
    ("a formula", "dogs", {"Owner": "=HYPERLINK(1)"}),
    ("not a date", "dogs", {"Born": "in May"}),
    ("day or month first", "dogs", {"Born": "03/04/2000"}),
    ("date too early", "dogs", {"Born": "1885-01-01"}),
    ("date ahead", "dogs", {"Born": "2062-01-01"}),
    ("not a number", "dogs", {"Adult weight (kg)": "heavy"}),
    ("out of range", "dogs", {"Adult weight (kg)": "1200"}),
    ("not a whole number", "dogs", {"Litters before": "1.5"}),
    ("inbreeding as a fraction", "dogs", {"Inbreeding (%)": "0.12"}),
    (
        "litter's inbreeding as a fraction", "breedings", {"Litter's inbreeding (%)": "0.12"},
    ),
    ("two dogs with one chip", "dogs", {"Chip": "900000000000001"}),
    ("an error of the spreadsheet", "dogs", {"Owner": "#N/A"}),
    ("died before born", "dogs", {"Died": "1999-12-31"}),
    ("born after its records", "dogs", {"Dog": "Known", "Born": "2005-01-02", "Chip": ""}),
    ("died before its records", "dogs", {"Dog": "Known Too", "Born": "", "Chip": "",
                                         "Died": "2004-12-31"}),
    ("dog whose line is refused", "collections", {"Dog": "Refused"}),
    ("thousands or decimals", "collections", {"Concentration (M/mL)": "1.250",
                                              "Volume (mL)": "2,5"}),
    ("percentage as a fraction", "collections", {"Progressive motility (%)": "0.7"}),
    ("few sperm that move well", "collections", {"Concentration (M/mL)": "0.28"}),
    ("no sperm that move", "collections", {"Concentration (M/mL)": "0"}),
    ("more volume than an ejaculate", "collections", {"Volume (mL)": "45"}),
    ("progressive perhaps above total motility", "collections", {"Progressive motility (%)": "85"}),
    ("before the dog was born", "collections", {"Date": "1997-12-31"}),
    ("after the dog died", "collections", {"Dog": "Gone"}),
    ("before the dog was born", "frozen", {"Frozen on": "1997-12-31"}),
    ("after the dog died", "frozen", {"Stud": "Gone"}),
    ("percentage as a fraction", "frozen", {"Progressive motility after thaw (%)": "0.5"}),
    ("before the dog was born", "shipments", {"Sent on": "1997-12-31",
                                              "Collected on": "1997-12-31"}),
    ("after the dog died", "shipments", {"Stud": "Gone"}),
    ("percentage as a fraction", "shipments", {"Progressive motility on arrival (%)": "0.6"}),
    ("before the dog was born", "heats", {"First day": "1999-12-31", "Vet's ovulation date": "",
        "Progesterone 1 on": "2000-01-09"}),
    ("after the dog died", "heats", {"Bitch": "Gone Too"}),
    ("before the dog was born", "health", {"Date": "1999-12-31"}),
    ("after the dog died", "health", {"Dog": "Gone"}),
    ("unknown dog", "collections", {"Dog": "Brakken"}),
    ("two dogs of that name", "collections", {"Dog": "Twin"}),
    ("wrong sex", "collections", {"Dog": "Old Senna"}),
    ("not a time", "collections", {"Time": "25:70"}),
    ("progressive above total motility", "collections", {"Progressive motility (%)": "95"}),
    ("per mL instead of millions", "collections", {"Concentration (M/mL)": "310000000"}),
    ("failed but measured", "collections", {"Result": "refused"}),
    ("more sperm than an ejaculate", "collections", {"Volume (mL)": "20"}),
    ("rounds per minute", "collections", {"Centrifuged at (g)": "2500"}),
    ("more supernatant than sample", "collections", {"Supernatant removed (mL)": "3"}),
    ("arrived before sent", "shipments", {"Arrived on": "{day+0}", "Arrived at": "17:00"}),
    ("sent before collected", "shipments", {"Collected on": "{day+1}"}),
    ("retained sample before collected", "shipments", {"Retained sample evaluated on": "{day-1}"}),
    ("evaluated before arrival", "shipments", {"Arrived on": "", "Arrived at": ""}),
    ("long on the way", "shipments", {"Arrived on": "{day+11}"}),
    ("ovulation far from bleeding", "heats", {"Vet's ovulation date": "{day+40}"}),
    ("progesterone without date", "heats", {"Progesterone 1 on": ""}),
    ("progesterone without unit", "heats", {"Progesterone 1 unit": ""}),
    ("nmol/L written as ng/mL", "heats", {"Progesterone 1": "65"}),
    ("progesterone outside of its heat", "heats", {"Progesterone 1 on": "{day+90}"}),
    ("second before first", "breedings", {"Second date": "{day-1}"}),
    ("second long after first", "breedings", {"Second date": "{day+14}"}),
    ("natural by another route", "breedings", {"Route": "natural"}),
    ("route missing", "breedings", {"Route": ""}),
    ("bred before collected", "breedings", {"Collected on": "{day+1}"}),
    ("old semen", "breedings", {"Collected on": "{day-2}"}),
    ("whelped out of term", "breedings", {"Whelped on": "{day+40}"}),
    ("whelped early or late", "breedings", {"Whelped on": "{day+54}"}),
    ("missed with pups", "breedings", {"Result": "missed"}),
    ("more alive at 8 weeks than born", "breedings", {"Alive at 8 weeks": "7"}),
    ("very large litter", "breedings", {"Born alive": "18"}),
    ("scanned before bred", "breedings", {"Scan on": "{day-1}"}),
    ("early negative scan", "breedings", {"Scan on": "{day+20}", "Scan": "not pregnant",
                                          "Pups on scan": "", "Result": ""}),
    ("pups on a negative scan", "breedings", {"Scan": "not pregnant"}),
    ("bred too young", "breedings", {"Bitch": "Young"}),
    ("bred very old", "breedings", {"Bitch": "Oldest"}),
    ("straw not yet frozen", "breedings", {"Semen": "frozen", "Lot": "LATE"}),
    ("lot not in stock", "breedings", {"Semen": "frozen", "Lot": "NONE"}),
    ("no straw frozen by then", "breedings", {"Stud": "Frozen Late", "Semen": "frozen"}),
    ("no straws left", "breedings", {"Stud": "Frozen Late", "Semen": "frozen", "Straws": "50"}),
    ("second sire in one heat", "breedings", {"Date": "{day-95}", "Stud": "Frozen Late",
        "Collected on": "", "Second date": "", "Scan on": "", "Scan": "", "Pups on scan": "",
        "Whelped on": "{day-32}"}),
    ("before the bitch was born", "breedings", {"Bitch": "Sage"}),
    ("after the bitch died", "breedings", {"Bitch": "Gone Too"}),
    ("before the stud was born", "breedings", {"Stud": "Late"}),
    ("after the stud died", "breedings", {"Stud": "Gone"}),
    ("whelped without pups", "breedings", {"Born alive": "0", "Alive at 8 weeks": "0"}),
    ("one heat on two lines", "breedings", {"Date": "{day-95}", "Collected on": "",
        "Second date": "", "Scan on": "", "Scan": "", "Pups on scan": "", "Result": "",
        "Whelped on": "", "Born alive": "", "Stillborn": "", "Alive at 8 weeks": ""}),
    ("one litter on two lines", "breedings", {"Date": "{day-95}", "Collected on": "",
        "Second date": "", "Scan on": "", "Scan": "", "Pups on scan": "",
        "Whelped on": "{day-37}"}),
    ("until before it began", "health", {"Until": "{day-1}"}),
    ("Brucella result unclear", "health", {"Result": "pending"}),
    ("result of an infection unclear", "health", {"What": "canine herpesvirus", "Result": "low"}),
    ("Brucella among the notes", "health", {"What": "hips", "Notes": "Brucella test to follow"}),
    ("test that nobody knows", "health", {"What": "quorl"}),
    ("event that nobody knows", "health", {"Kind": "event", "What": "quorl"}),
    ("drug that nobody knows", "health", {"Kind": "event", "What": "drug", "Drug class": "quorl"}),
    ("release from what", "health", {"Kind": "release by veterinarian", "What": "quorl",
                                     "Veterinarian": "Dr. Vey"}),
    ("release without veterinarian", "health", {"Kind": "release by veterinarian"}),
    ("release without its tests", "health", {"Kind": "release by veterinarian", "Result": "",
                                             "Veterinarian": "Dr. Vey"}),
    ("price ends before it begins", "prices", {"Until": "{day-1}"}),
]  # fmt: skip

DOGS = [
    {"Dog": "Old Bracken", "Sex": "male", "Born": "1998-01-01", "Chip": "900000000000001"},
    {"Dog": "Frozen Late", "Sex": "male", "Born": "1998-01-01"},
    {"Dog": "Old Senna", "Sex": "female", "Born": "2000-01-01"},
    {"Dog": "Oldest", "Sex": "female", "Born": "1980-01-01"},
    {"Dog": "Sage", "Sex": "female", "Born": "2026-01-01"},
    {"Dog": "Twin", "Sex": "male", "Registered name": "Twin the First"},
    {"Dog": "Twin", "Sex": "male", "Registered name": "Twin the Second"},
    {"Dog": "Refused", "Sex": "neither"},
    {"Dog": "Known", "Sex": "male"},
    {"Dog": "Known Too", "Sex": "male"},
    {"Dog": "Next Senna", "Sex": "female", "Born": "2010-01-01"},
    {"Dog": "Young", "Sex": "female", "Born": "2009-01-01"},
    {"Dog": "Late", "Sex": "male", "Born": "2026-01-01"},
    {"Dog": "Gone", "Sex": "male", "Born": "1998-01-01", "Died": "2000-06-01"},
    {"Dog": "Gone Too", "Sex": "female", "Born": "1998-01-01", "Died": "2000-06-01"},
]
LOTS = [
    {"Stud": "Known", "Frozen on": "2005-01-01", "Lot": "K", "Straws": "4"},
    {"Stud": "Known Too", "Frozen on": "2005-01-01", "Lot": "K", "Straws": "4"},
    {"Stud": "Old Bracken", "Frozen on": "2000-01-01", "Lot": "EARLY", "Straws": "2000"},
    {"Stud": "Old Bracken", "Frozen on": "2026-01-01", "Lot": "LATE", "Straws": "4"},
    {"Stud": "Frozen Late", "Frozen on": "2026-01-02", "Lot": "LATER", "Straws": "4"},
]


def line(sheet, n, changed=()):
    """The plain line of a sheet, its own in dog or day, changed as said."""
    day = FIRST_DAY + timedelta(days=DAYS_BETWEEN_LINES * n)
    filled = {}
    of_age = {"Bitch": "Next Senna"} if sheet == "breedings" and n >= OLD_AFTER_LINES else {}
    for heading, cell in (PLAIN[sheet] | of_age | dict(changed)).items():
        for offset in range(-95, 95):
            cell = cell.replace(f"{{day{offset:+}}}", (day + timedelta(days=offset)).isoformat())
        filled[heading] = cell.replace("{n}", str(n))
    return filled


@pytest.fixture(scope="module")
def findings(tmp_path_factory, kennel_class):
    """What is found of lines that break each rule; a plain line stands before each bad one."""
    kennel = kennel_class(tmp_path_factory.mktemp("rules"))
    kennel.load(kennel.write("dogs", DOGS), kennel.write("frozen", LOTS, "stock/frozen.csv"))
    paths = []
    for sheet in SHEETS:
        bad = [changed for _, of_sheet, changed in BREAKS if of_sheet == sheet]
        rows = [
            row
            for k, changed in enumerate(bad or [{}])
            for row in (line(sheet, 2 * k), line(sheet, 2 * k + 1, changed))
        ]
        paths.append(kennel.write(sheet, rows, f"broken/{sheet}.csv"))
    kennel.load(*paths)
    return kennel.read("findings")


@pytest.fixture(scope="module")
def broken(findings):
    """Severities by rule, by sheet and line."""
    found = {}
    for finding in findings.itertuples():
        found.setdefault((finding.sheet, finding.line), {})[finding.rule] = finding.severity
    return found


@pytest.mark.parametrize(("rule", "sheet", "changed"), BREAKS, ids=[rule for rule, *_ in BREAKS])
def test_a_line_that_breaks_a_rule_is_found(broken, rule, sheet, changed):
    k = [c for _, of_sheet, c in BREAKS if of_sheet == sheet].index(changed)
    severity = next(r.severity for r in rules_of(SHEETS[sheet]) if r.name == rule)

    assert broken.get((sheet, 2 * k + 3), {}).get(rule) == severity


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_plain_line_breaks_no_rule(broken, sheet):
    n_bad = sum(of_sheet == sheet for _, of_sheet, _ in BREAKS)
    plain = [(sheet, 2 * k + 2) for k in range(max(n_bad, 1))]

    # The plain breeding before the second sire's line is the other half of that question.
    spoken = {rule for key in plain for rule in broken.get(key, {})}
    assert spoken <= {"second sire in one heat"}


def test_every_kept_finding_tells_what_its_rule_says_in_either_language(findings):
    rules = {
        (sheet, rule.name, SHEETS[sheet].column(rule.column).heading): rule
        for sheet in SHEETS
        for rule in rules_of(SHEETS[sheet])
    }
    for row in in_english(findings).to_dict("records"):
        rule = rules[row["sheet"], row["rule"], row["column_heading"]]
        kept = values_kept(row["rule_values"])

        # The values came back from the file as the rule has them, words and sentences included.
        assert dict(kept) == dict(rule.values)
        # They make the sentences of the rule.
        wanted, remedy = (Words("en").say(part.key, **kept) for part in (rule.wanted, rule.remedy))
        assert row["message"].endswith(f", {wanted}")
        assert row["remedy"] == remedy
        german = Words("de").say(rule.wanted.key, **kept)
        assert german == Words("de").tell(rule.wanted) != wanted


def test_every_rule_has_a_line_that_breaks_it():
    written = {rule.name for sheet in SHEETS.values() for rule in rules_of(sheet)}

    assert {rule for rule, *_ in BREAKS} == written - COMPARED - {
        "too many cells", "alarm taken back",
    }  # fmt: skip


def test_every_rule_is_named_once_and_says_what_to_do():
    for sheet in SHEETS.values():
        rules = rules_of(sheet)
        assert len({(rule.name, rule.column) for rule in rules}) == len(rules)
        for rule in rules:
            assert rule.column in sheet.names
            assert Words("en").tell(rule.remedy).endswith(".")
            assert rule.source
            assert set(rule.columns) <= set(sheet.names)
            assert rule.severity != "refused" or rule.scope == "line"


def test_every_source_from_outside_carries_its_mark():
    marks = ("(P)", "(D)", "(J)", "(M)", "(P), widened", "(P), widened (J)", "no source")

    assert all(rule.source.endswith(marks) for rule in RULES)
