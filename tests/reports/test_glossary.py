"""One word for one thing: words that were given up come back into no text that a reader sees."""

import ast
import re
from pathlib import Path

import pytest

from studcurve.analytics.priors import PRIORS
from studcurve.analytics.vocabulary import TERMS, VOCABULARY
from studcurve.reports.catalog import texts

ROOT = Path(__file__).parents[2]

# What was given up, and what is said instead.
RETIRED = {
    "en": {
        r"(?:moving|swim\w*|%|M) forward|forward (?:after|each|per)": "progressive motility",
        r"normal shape|checked for shape|shape judged": "normal morphology",
        r"readers?|observers?|(?:the|same|other) eyes|who read": "evaluator",
        r"read(?:ing)? (?:on arrival|cold)|what was read|last read": "evaluate",
        r"box(?:es)?": "shipment",
        r"way": "option",
        r"spins?|spun|turns a minute": "centrifuge, pellet, rpm",
        r"(?:take )?fluid (?:to take )?off": "supernatant removed",
        r"kept[- ]back": "retained",
        r"stay(?:s|ed) empty|empty bitch(?:es)?": "missed",
        r"gave (?:a|no) litter|give a litter": "produced a litter",
        r"outcomes?|what became of": "result",
        r"announced?|alarms?": "alert, flagged",
        r"(?<!basal )levels?(?! with)": "baseline, usual output",
        r"% intervals?|give or take": "90 % range",
        r"probabilit(?:y|ies)|(?<!make )surely|sure": "chance, certain",
        r"literature|published (?:work|table|numbers|curve|guess|series|shape)": "studies",
        r"kept fit|no fit|(?:since|at|of) the fit": "model",
        r"(?:the|joint|of) draws": "simulations",
        r"expected_loss": "expected loss",
        r"cautions?": "warning",
        r"refusals?|refused (?:lines?|one)": "rejected",
        r"LH peak": "LH surge",
        r"1:(?:\{\}|\d{1,2}(?![\d-]))": "1 + n",
        r"sound studs?|steady stud": "healthy, stable",
        r"aimed at": "target",
        r"day the question is asked": "now, today",
        r"judgements?|licence|caesareans?|oestrus|labour|programmes?|colours?": "US spelling",
    },
    "de": {
        r"Abnahmen?|Gewinnung|gewonnen(?:em|er)?": "Absamung",
        r"[Aa]b(?:zu)?lesen|[Aa]bgelesen\w*|Ablesung(?:en)?|Lesende\w*|Leser": "untersuchen",
        r"[Vv]orwärts ?beweglich\w*|Beweglichkeit(?:en)?|[Bb]ewegliche\w*": "Motilität",
        r"[Nn]ormal geformt\w*|Normalformen": "Normalmorphologie",
        r"[Uu]nbehandelt\w*": "Nativejakulat, nativ",
        r"Paket\w*": "Sendung",
        r"Beizettel": "Begleitschein",
        r"[Zz]urückbehalten\w*": "Rückhalteprobe",
        r"Schleudern|Zentrifugat|Bodensatz": "Zentrifugation, Pellet",
        r"Ausgang|Ausgänge\w*": "Ergebnis",
        r"Alarm\w*|Fehlalarm": "Auffälligkeit",
        r"Halt": "Sperre",
        r"Wahrscheinlichkeit(?:en)?": "Chance, sicher",
        r"Veröffentlichte[sm]|Veröffentlichungen|veröffentlichte\w*|Literatur": "Studien",
        r"Anpassung(?:en)?|angepasst\w*": "Modell",
        r"Ziehung(?:en)?": "Simulationen",
        r"Möglichkeit(?:en)?": "Option",
        r"Einbuße": "erwarteter Verlust",
        r"Zweifel darin": "Unsicherheit",
        r"Ermessen": "fachliche Einschätzung",
        r"Fortschreibung|fortgeschrieben": "Extrapolation",
        r"Tierärztin|Tierarzt": "tierärztlich, Tierarztpraxis",
        r"Weg": "Besamungsweg",
        r"Zuchtname\w*": "eingetragener Name",
        r"Werkbank": "Labor, Arbeitsplatz",
        r"Harn": "Urin",
        r"1:(?:\{\}|\d{1,2}(?![\d-]))": "1 + n",
    },
}  # fmt: skip

# A text that keeps a word, and why.
KEPT = {
    ("en", "check.lead_predicted"): "log probability is the name of a score",
    ("de", "check.lead_predicted"): "die logarithmierte Wahrscheinlichkeit ist Teil der Definition",
    ("en", "answer.fall_retest"): "in the same way",
    ("en", "level.settling"): "in the same way",
    ("en", "card.no_rotor"): "spin is the command",
    ("en", "whatif.hours"): "hours of a journey",
    ("en", "prior.o02"): "of progesterone, between heats",
    ("de", "comparison.measure_lead"): "gewonnen im Sinn von nichts gewonnen",
    ("de", "rule.two dogs with one chip.remedy"): "ein Chip wird abgelesen",
    ("de", "rule.release without veterinarian.remedy"): "eine Person, die mit Namen genannt wird",
}


def catalog_texts(language):
    """Every text of a catalog but its citations, which quote."""
    for key, text in texts(language).items():
        if key.startswith(("format.", "citation.")):
            continue
        versions = text.values() if not isinstance(text, str | tuple) else [text]
        for version in versions:
            if isinstance(version, str):
                yield key, re.sub(r"\{[^{}]*\}", "{}", version)


def label_texts():
    """Labels of quantities, terms and rows of the starting table."""
    for name, quantity in VOCABULARY.items():
        yield f"quantity.{name}", quantity.label
        yield f"quantity.{name}", quantity.owner_word
    for name, term in TERMS.items():
        yield f"term.{name}", f"{term.label}; {term.owner_word}; {term.meaning}"
    for row, prior in PRIORS.items():
        yield f"prior.{row}", prior.words


def prose(path):
    """Strings of a module that a reader can meet: more than one word, no docstring."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docstrings = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and " " in node.value.strip()
            and id(node) not in docstrings
        ):
            yield f"{path.relative_to(ROOT)}:{node.lineno}", node.value


MODULES = [
    *(ROOT / "pipelines" / "answers").glob("*.py"),
    *(ROOT / "pipelines" / "pages").glob("*.py"),
    *(ROOT / "pipelines" / "plan").glob("*.py"),
    *(ROOT / "pipelines" / "records" / f"{name}.py" for name in ("guide", "template")),
    *(ROOT / "analytics" / "due").glob("*.py"),
    *(
        path
        for path in (ROOT / "pipelines" / "fits").glob("*.py")
        if path.name != "fixed_records.py"
    ),
]


def pattern(language, word):
    """Whole words; German nouns by their capital."""
    return re.compile(rf"(?<!\w)(?:{word})(?!\w)", re.IGNORECASE if language == "en" else 0)


def found(language, keyed_texts):
    """Texts with a word that was given up, and the word to use."""
    return [
        (key, match[0], instead)
        for key, text in keyed_texts
        if (language, key) not in KEPT
        for word, instead in RETIRED[language].items()
        for match in pattern(language, word).finditer(text)
    ]


@pytest.mark.parametrize("language", RETIRED)
def test_no_text_of_a_catalog_uses_a_word_that_was_given_up(language):
    assert found(language, catalog_texts(language)) == []


def test_no_label_uses_a_word_that_was_given_up():
    assert found("en", label_texts()) == []


COMMANDS = [*(ROOT / "pipelines" / "commands").glob("*.py"), ROOT / "pipelines" / "cli.py"]


def help_of(path):
    """What a command says of itself, beside the strings of its options."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef) and any(
            "command" in ast.unparse(decorator) for decorator in node.decorator_list
        ):
            yield f"{path.stem}: {node.name}", ast.get_docstring(node) or ""


@pytest.mark.parametrize("path", COMMANDS, ids=lambda path: path.stem)
def test_no_help_uses_a_word_that_was_given_up(path):
    assert found("en", [*prose(path), *help_of(path)]) == []


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_no_answer_uses_a_word_that_was_given_up(path):
    assert found("en", prose(path)) == []


def test_every_text_that_keeps_a_word_still_has_it():
    keyed_texts = {
        "en": [*catalog_texts("en"), *label_texts()],
        "de": [*catalog_texts("de")],
    }
    idle = [
        (language, key)
        for language, key in KEPT
        if not any(
            pattern(language, word).search(text)
            for name, text in keyed_texts[language]
            if name == key
            for word in RETIRED[language]
        )
    ]
    assert idle == [], "take these out of KEPT"


@pytest.mark.parametrize(
    ("language", "text"),
    [
        ("en", "M moving forward per dose"), ("en", "Normal shape (%)"), ("en", "a box arrived"),
        ("en", "53 %, 90 % interval 15 to 80"), ("en", "a fall is announced"),
        ("de", "bei der letzten Abnahme"), ("de", "von allen Lesenden"), ("de", "Ein Halt oben"),
    ],
)  # fmt: skip
def test_the_table_finds_what_was_given_up(language, text):
    assert found(language, [("any", text)])
