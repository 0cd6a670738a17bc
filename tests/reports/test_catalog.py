"""Every text has a home in the catalog, in both languages, and none is left in code."""

import ast
import re
from datetime import date, datetime
from pathlib import Path
from string import Formatter

import pytest

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.models.ovulation.insemination_days import INSEMINATION_WINDOWS
from studcurve.analytics.models.stud.inputs import MEASURES
from studcurve.analytics.priors import PRIORS
from studcurve.analytics.sentences import Word, sentence
from studcurve.analytics.vocabulary import VOCABULARY
from studcurve.analytics.wording.sources import rows_read, works_cited
from studcurve.pipelines.pages.shipment_sheet import CHILLED_WINDOWS
from studcurve.pipelines.records.sheets.cell_rules import rules_of
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.reports.catalog import LANGUAGES, texts
from studcurve.reports.sections.sources import in_words
from studcurve.reports.words import Words, bound
from tests.printed import on_one_line, sentences_in

ROOT = Path(__file__).parents[2]
EN, DE = Words("en"), Words("de")

SQL = "SQL, and names that are compared and never shown"
TABLE = "a table of the domain; what is shown of it stands in the catalog"
AT_BENCH = "a number of the bench with its source and its remarks, in English"
TERMINAL = "what the terminal answers, in English"
HELP = "help of the command line, in English"
WORKBOOK = "the workbook that is filled in, and its guide, in English"
NAMES = "names of parts, compared and kept, not prose"

SPEAKING = {
    "analytics/due/alarms.py": NAMES,
    "analytics/measures/dates.py": AT_BENCH,
    "analytics/measures/doses.py": AT_BENCH,
    "analytics/measures/extending.py": AT_BENCH,
    "analytics/measures/motility_kept.py": AT_BENCH,
    "analytics/measures/spin.py": AT_BENCH,
    "analytics/models/arrays.py": NAMES,
    "analytics/models/breedings/records.py": NAMES,
    "analytics/models/ovulation/insemination_days.py": TABLE,
    "analytics/models/ovulation/model.py": NAMES,
    "analytics/models/regression.py": NAMES,
    "analytics/models/storage/curve.py": AT_BENCH,
    "analytics/models/storage/inputs.py": NAMES,
    "analytics/models/stud/model.py": NAMES,
    "analytics/priors.py": TABLE,
    "analytics/vocabulary.py": TABLE,
    "pipelines/answers/card.py": TERMINAL,
    "pipelines/answers/counts.py": TERMINAL,
    "pipelines/answers/heat.py": TERMINAL,
    "pipelines/answers/semen.py": TERMINAL,
    "pipelines/answers/shipment.py": TERMINAL,
    "pipelines/answers/waiting.py": TERMINAL,
    "pipelines/cli.py": HELP,
    "pipelines/commands/bench.py": HELP,
    "pipelines/commands/groups.py": HELP,
    "pipelines/commands/options.py": HELP,
    "pipelines/commands/pages.py": HELP,
    "pipelines/commands/plan.py": HELP,
    "pipelines/commands/records.py": HELP,
    "pipelines/commands/ship.py": HELP,
    "pipelines/commands/terminal.py": HELP,
    "pipelines/commands/values.py": HELP,
    "pipelines/commands/trouble.py": "an error of the program is printed without a catalog",
    "pipelines/fits/fit.py": TERMINAL,
    "pipelines/fits/fixed_records.py": "invented records",
    "pipelines/fits/registry.py": NAMES,
    "pipelines/fits/storage.py": TERMINAL,
    "pipelines/plan/records.py": NAMES,
    "pipelines/plan/replayed.py": "why a file is refused, printed as errors are",
    "pipelines/records/archive.py": "what stands in an export beside its tables, in English",
    "pipelines/records/corrections.py": WORKBOOK,
    "pipelines/records/database/connection.py": SQL,
    "pipelines/records/database/current_lines.py": SQL,
    "pipelines/records/database/forecasts.py": SQL,
    "pipelines/records/database/history.py": SQL,
    "pipelines/records/database/kept_fits.py": SQL,
    "pipelines/records/database/line_sql.py": SQL,
    "pipelines/records/database/loading.py": SQL,
    "pipelines/records/database/relations.py": "what the relations of a load hold",
    "pipelines/records/database/schema.py": SQL,
    "pipelines/records/database/settings.py": SQL,
    "pipelines/records/database/store.py": SQL,
    "pipelines/records/database/tables.py": SQL,
    "pipelines/records/database/whole_file.py": SQL,
    "pipelines/records/guide.py": WORKBOOK,
    "pipelines/records/reading/staging.py": SQL,
    "pipelines/records/reading/workbook.py": WORKBOOK,
    "pipelines/records/sheets/cell_rules.py": SQL,
    "pipelines/records/sheets/columns.py": WORKBOOK,
    "pipelines/records/sheets/dictionary.py": "the data dictionary of an export, in English",
    "pipelines/records/sheets/rules.py": SQL,
    "pipelines/records/template.py": WORKBOOK,
    "pipelines/run.py": TERMINAL,
}
"""The only modules that hold a text of their own, and why."""

MODULES = sorted(
    path.relative_to(ROOT).as_posix()
    for package in ("analytics", "pipelines", "reports")
    for path in (ROOT / package).rglob("*.py")
)


def fields(text):
    versions = text.values() if not isinstance(text, str | tuple) else [text]
    return {
        (name, spec)
        for version in versions
        if isinstance(version, str)
        for _, name, spec, _ in Formatter().parse(version)
        if name is not None
    }


def test_both_languages_have_every_text():
    # A citation has its home where it is cited, in English.
    english = set(texts("en"))
    german = {k for k in texts("de") if not k.startswith("citation.")}

    assert english - german == set(), "name these in reports/catalog/de.toml"
    assert german - english == set(), "these have no English"


def cited_parts():
    """Every part of a source that a page can cite, in English."""
    sources = [row.source for row in PRIORS.values()]
    sources += [measure.common_source for measure in MEASURES.values()]
    sources += [window.source for window in INSEMINATION_WINDOWS]
    return {part for source in sources for part in source.split("; ")}


def test_what_a_german_page_remarks_on_a_source_is_german():
    # Journals keep their names; these words stand in none of them.
    english = re.compile(
        r"\b(?:judgment|secondary|memory|from|the|and|on|for|after|about|days|over|slope|shrunk|"
        r"direction|spread|nothing|cycle|fox|inseminations|used|differ|pooled|peak)\b"
    )
    german = Words("de")
    rows = rows_read(list(MEASURES.values()), with_chances=True, with_litters=True)
    sources = [PRIORS[row].source for row in rows]
    sources += [measure.common_source for measure in MEASURES.values()]
    sources += [window.source for window in CHILLED_WINDOWS]
    printed = [german.source(source) for source in sources]
    measures = list(MEASURES.values())
    printed += in_words(
        works_cited(with_chances=True, with_litters=True, measures=measures), german
    )
    printed += [german[f"prior.{row}"] for row in rows]

    assert [text for text in printed if english.search(text)] == []


def test_every_row_of_the_priors_table_and_every_quantity_has_german_words():
    german = texts("de")

    assert [row for row in PRIORS if german[f"prior.{row}"] == PRIORS[row].words] == []
    assert [one for one in VOCABULARY if german[f"quantity.{one}"] == VOCABULARY[one].label] == []


def test_no_german_citation_outlives_its_source():
    written = "\n".join(cited_parts()) + "".join(
        path.read_text(encoding="utf-8") for path in (ROOT / "analytics").rglob("*.py")
    )

    german = [key.removeprefix("citation.") for key in texts("de") if key.startswith("citation.")]
    assert [key for key in german if key not in written] == []


def test_a_list_of_works_names_each_once_and_no_bare_remark():
    measures = list(MEASURES.values())
    cited = works_cited(with_chances=True, with_litters=True, measures=measures)
    works = in_words(cited, Words("en"))
    bare = [re.sub(r" \([PDJM, ]+\)$", "", work) for work in works[:-1]]

    assert len(set(bare)) == len(bare)
    assert not [one for one in bare for other in bare if other != one and other.startswith(one)]
    assert [
        one for one in bare if re.match(r"(?:judgment|direction|height|\d+ to \d+ %: )", one)
    ] == []
    # Every author whom the table names is named here, too.
    for row in rows_read(list(MEASURES.values()), with_chances=True, with_litters=True):
        for author in re.findall(r"[A-Z][\w-]+(?= (?:et al\. )?(?:19|20)\d\d)", PRIORS[row].source):
            assert any(author in one for one in bare), author


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_works_named_beside_a_litters_inbreeding_are_those_of_its_row(language):
    works = Words(language).source(PRIORS["l11_litter"].source)

    assert works in Words(language)["source.inbreeding_given"]


def test_both_languages_print_the_same_values():
    differing = {
        key
        for key in texts("en")
        if {name for name, _ in fields(texts("en")[key])}
        != {name for name, _ in fields(texts("de")[key])}
    }

    assert differing == set()


def test_every_rule_of_loading_has_its_texts_and_no_text_is_without_a_rule():
    rules = [rule for sheet in SHEETS.values() for rule in rules_of(sheet)]
    keys = {part.key for rule in rules for part in (rule.wanted, rule.remedy)}

    assert keys == {key for key in texts("en") if key.startswith("rule.")}
    for rule in rules:
        printed = {
            name
            for part in (rule.wanted, rule.remedy)
            for name, _ in fields(texts("en")[part.key])
        }  # fmt: skip
        assert printed == set(rule.values), rule.name


def test_a_bound_is_printed_with_the_digits_it_has_as_each_language_does():
    (rule,) = (
        rule for rule in rules_of(SHEETS["collections"])
        if (rule.name, rule.column) == ("out of range", "concentration_m_per_ml")
    )  # fmt: skip
    high = VOCABULARY["concentration_m_per_ml"].high

    assert EN.tell(rule.wanted) == f"outside the possible 0 to {high:,g} M/mL"
    german = f"{high:,g}".replace(",", ".")
    assert DE.tell(rule.wanted) == f"außerhalb des Möglichen, 0 bis {german} M/mL"
    assert DE.printed(0.02, "exact") == "0,02"
    assert EN.printed(-10, "exact") == "−10"


@pytest.mark.parametrize(("value", "printed"), [(0.3, "0"), (-0.3, "0"), (0.6, "+1"), (-0.6, "−1")])
def test_what_rounds_to_nothing_has_no_sign(value, printed):
    assert EN.number(value, signed=True) == printed


def test_german_is_german():
    same = {
        key: text
        for key, text in texts("en").items()
        if isinstance(text, str)
        and len(text.split()) > 3
        and not key.startswith(("prior.", "quantity."))
        and texts("de")[key] == text
    }

    assert same == {}


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_list_of_months_has_twelve_and_of_days_seven(language):
    names = texts(language)

    assert len(names["format.months"]) == len(names["format.short_months"]) == 12
    assert len(names["format.days"]) == len(names["format.short_days"]) == 7


def spoken_strings(path):
    """String constants of a module that could be prose: not docstrings, not what is raised."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    quiet = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise):
            quiet |= {id(part) for part in ast.walk(node)}
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            quiet.add(id(node.value))
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in quiet
    ]


# Recorded words, which are compared and never shown.
RECORDED = {
    "a mating",
    "next collection",
    "sample on hand",
    "straws in stock",
    "on time",
    "next day",
    "after the weekend",
    "progesterone test",
    "stopped for pain",
    "prostatic disease",
    "on arrival",
    "retained",
    "after thaw",
    "not pregnant",
    "no litter",
    "far below",
    "no sperm seen before",
}


def prose_of(module):
    """Two words of letters in a row, but for what is no prose.

    A recorded word or a rule's name is compared and never shown; a citation (author, year, journal)
    is printed as it is.
    """
    path = ROOT / module
    listed = {key.split(".")[1] for key in texts("en")}
    rules = {
        text for text in spoken_strings(path) if path.parent.name == "cautions" and text.islower()
    }
    return [
        text
        for text in spoken_strings(path)
        if re.search(r"[A-Za-z]{2,}[,.]? [A-Za-z]{2,}", text)
        and text not in RECORDED | rules
        and text.replace(" ", "_") not in listed
        and not re.search(r"\((?:P|D|J|M)\)$|\(P\); |counted from the records", text)
        and path.name != "theme.py"
        and "-src " not in text
    ]


@pytest.mark.parametrize("module", [module for module in MODULES if module not in SPEAKING])
def test_no_text_is_left_in_code(module):
    assert prose_of(module) == []


@pytest.mark.parametrize("module", SPEAKING)
def test_a_module_that_is_named_as_speaking_speaks(module):
    assert prose_of(module), f"{module} holds no text any more: take it off SPEAKING"


@pytest.mark.parametrize("module", MODULES)
def test_every_key_that_code_names_is_in_the_catalog(module):
    sections = {key.split(".")[0] for key in texts("en")}
    named = {
        text
        for text in spoken_strings(ROOT / module)
        if re.fullmatch(r"[a-z_]+\.[a-z0-9_]+", text)
        and text.split(".")[0] in sections
        and text.split(".")[1] not in {"css", "html", "sql"}
    }

    keys = set(texts("en"))
    # What ends in a dash is the beginning of a key whose end is a value.
    begun = {text for text in named if text.endswith("_")}
    assert named - keys - begun == set()
    assert {text for text in begun if not any(key.startswith(text) for key in keys)} == set()


def test_every_text_can_be_said_with_values_of_its_kind():
    kinds = {
        "": "word", "0": 12.3, "1": 12.3, "2": 1.23, "3": 1.004, "pct": 0.5, "cap": Word("x", "y"),
        "time": datetime(2026, 3, 5, 9, 30), "rangepct": Estimate(0.5, 0.4, 0.6),
        "range0": Estimate(5.0, 4.0, 6.0), "range1": Estimate(5.0, 4.0, 6.0), "+0": 1.0, "+1": 1.0,
        "+2": 1.0, "prob": 0.5, "mid0": Estimate(5.0, 4.0, 6.0), "midpct": Estimate(0.5, 0.4, 0.6),
        "+midpct": Estimate(0.5, 0.4, 0.6), "+rangepct": Estimate(0.5, 0.4, 0.6),
        "mid1": Estimate(5.0, 4.0, 6.0), "+mid1": Estimate(5.0, 4.0, 6.0),
        "+range1": Estimate(5.0, 4.0, 6.0),
        "exact": 12.5, "+midpoints": Estimate(5.0, 4.0, 6.0), "+range0": Estimate(5.0, 4.0, 6.0),
    }  # fmt: skip
    for language in LANGUAGES:
        words = Words(language)
        for key, text in texts(language).items():
            if isinstance(text, tuple):
                continue
            values = {name: kinds[spec] for name, spec in fields(text)} | (
                {"n": 2} if not isinstance(text, str) else {}
            )
            printed = words.say(key, **values)
            # Two texts keep their braces: the page's script puts the slider's numbers in.
            assert "{" not in printed or key in {"whatif.value", "comparison.what_if_value"}, key


def test_one_and_many_are_told_apart():
    assert EN.say("review.known_note", n=1) == "1 breeding with a known result"
    assert DE.say("review.known_note", n=3) == "3 Belegungen mit bekanntem Ergebnis"
    for n, verbs in ((1, ("was not", "wurde nicht")), (2, ("were not", "wurden nicht"))):
        for key in ("missing.count", "missing.morphology"):
            printed = [words.say(key, n=n, n_samples=8) for words in (EN, DE)]
            assert all(verb in text for verb, text in zip(verbs, printed, strict=True))


def test_a_sentence_is_told_in_either_language_with_the_same_numbers():
    last = sentence(
        "answer.last_samples", stud="Rowan", n=5, first_on=date(2026, 3, 5),
        last_on=date(2026, 10, 9), low=1045.2, high=1902.0,
        moving=sentence("answer.moving_between", low=70.0, high=90.0),
    )  # fmt: skip

    assert EN.tell(last).startswith(
        "Rowan's last 5 counted samples (5 Mar 2026 to 9 Oct 2026) held 1,045 to 1,902 M sperm, "
        "70 to 90 % of them progressively motile"
    )
    assert DE.tell(last).startswith(
        "Die letzten 5 gezählten Proben von Rowan (5. März 2026 bis 9. Okt. 2026) enthielten 1.045 "
        "bis 1.902 Mio. Spermien, 70 bis 90 % davon vorwärtsmotil"
    )


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_sentence_is_found_again_by_its_key_in_what_was_printed_and_no_other_is(language):
    words = Words(language)
    stopped = words.say("schedule.stopped", dogs=("Senna", "Sage"))
    undated = words.say("schedule.undated", bitches=("Calla",), n=1)
    printed = f"{stopped}\n{undated}".replace(" ", "\n  ")

    assert sentences_in(printed, "schedule.stopped", language) == [on_one_line(stopped)]
    assert sentences_in(printed, "schedule.undated", language) == [on_one_line(undated)]
    assert sentences_in(printed, "schedule.litters", language) == []
    with pytest.raises(ValueError, match="no words of its own"):
        sentences_in(printed, "plan.these_ways", language)


def test_a_change_says_its_direction_at_every_end_and_nothing_has_none():
    change = EN.say(
        "answer.change_total_quiet", stud="Rowan", change=Estimate(0.28, -0.002, 0.61),
        until=date(2022, 10, 22), small=0.01, middle=0.001, large=0.001, errs="",
    )  # fmt: skip
    assert "+28 % (90 % range 0 to +61)" in change

    points = Estimate(-1.2, -4.0, 3.0)
    agreement = DE.say("stages.agreement", bias=points, n=7, n_apart=4, low=-31.0, high=19.0)
    assert "−1 Punkt (90-%-Bereich −4 bis +3" in agreement
    assert "zwischen −31 und +19" in agreement


def test_a_number_whose_digits_nobody_vouched_for_is_refused():
    with pytest.raises(ValueError, match="how many of its digits are true"):
        EN.say("caution.brucella_negative", dog="Rowan", on=date(2026, 1, 1), first=4, last=7.6)


def test_a_hostile_value_is_never_read_as_a_format():
    hostile = "{stud.__class__} {0} {n!r}"

    assert hostile in EN.say("answer.no_counted_sample", stud=hostile)


def test_a_recorded_word_that_the_catalog_lacks_stays_as_recorded():
    assert DE.word("event", "fever") == "Fieber"
    assert DE.word("event", "fell into the tarn") == "fell into the tarn"
    assert DE.word("event", None) == "nicht notiert"


def test_a_number_and_what_follows_it_are_not_parted():
    assert bound("90 % of 12 M on 5 Mar 2026") == "90\u00a0% of 12\u00a0M on 5\u00a0Mar\u00a02026"
    assert bound("5. März 2026, 3 mL") == "5.\u00a0März\u00a02026, 3\u00a0mL"
    assert bound("5 Merle") == "5 Merle"


def test_an_unknown_language_is_refused():
    with pytest.raises(ValueError, match="'xx'"):
        texts("xx")
