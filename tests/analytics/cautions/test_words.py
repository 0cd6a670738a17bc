"""What a Health line says: names of tests, results, findings and events in two languages."""

import pytest

from studcurve.analytics.cautions import words
from studcurve.analytics.cautions.questions import is_alarming, question_of

BRUCELLA = (
    "Brucella", "brucella canis", "Brucella (RSAT)", "brucellosis", "brucellosis serology",
    "Brucelosis", "Brucela", "Brcuella", "Brucellose", "Bruzellose", "Bruzella",
    "Brucellose-Titer", "B. canis", "B.canis", "B canis IFAT", "b. canis PCR", "RSAT", "rsat 2-ME",
    "2ME-RSAT", "2-ME", "TAT", "SLAT", "TAT/SLAT", "AGID", "CPAg-AGID", "CPAg", "ELISA canis",
    "canis ELISA", "IFAT canis", "Canis-Kultur", "PCR canis", "culture B. canis",
    "rapid slide agglutination", "Langsamagglutination", "Objektträger-Schnellagglutination",
    "tube agglutination", "Agargel-Immundiffusion", "Blutuntersuchung Brucellen",
)  # fmt: skip

NOT_BRUCELLA = {
    "hips": "other", "HD-Röntgen": "other", "eyes": "other", "Augenuntersuchung": "other",
    "DNA profile": "other", "Abstammungsnachweis": "other", "prcd-PRA": "other",
    "thyroid T4": "other", "Schilddrüse": "other", "vaccination titre": "other",
    "Parvo titre": "other", "Tollwut-Titer": "other", "progesterone": "other",
    "alkaline phosphatase, seminal fluid": "other", "blood count": "other", "Blutbild": "other",
    "Ehrlichia canis": "infection", "Babesia canis": "infection", "Herpes": "infection",
    "canine herpesvirus PCR": "infection", "Leptospira MAT": "infection",
    "Mycoplasma canis": "infection", "semen culture": "infection", "Vaginaltupfer": "infection",
    "heartworm antigen": "infection", "IFAT": "near infection", "virus panel": "near infection",
    "Antikörper": "near infection", "quorl": "unknown", "Bruce lab": "unknown",
}  # fmt: skip


@pytest.mark.parametrize("what", BRUCELLA)
def test_the_test_is_known_by_every_name_that_people_write(what):
    assert words.test_of(what) == "brucella"


@pytest.mark.parametrize(("what", "meant"), NOT_BRUCELLA.items())
def test_another_test_is_not_taken_for_it(what, meant):
    # A heartworm antigen is named by its worm, which no mating carries.
    assert words.test_of(what) == ("other" if what.startswith("heartworm") else meant)


NEGATIVE = (
    "negative", "Negative", "neg", "neg.", "NEG", "negativ", "-", "−", "–", "-ve", "nonreactive",
    "non-reactive", "not reactive", "nicht reaktiv", "nicht nachgewiesen", "not detected",
    "no growth", "kein Wachstum", "keine Antikörper nachgewiesen", "negative (<1:50)",
    "RSAT negative", "Brucella negativ", "negative 12.04.2026", "no Brucella isolated", "(negativ)",
)  # fmt: skip

NOT_NEGATIVE = (
    "positive", "Positive", "positiv", "pos", "POS.", "+", "++", "+ve", "weak", "weak positive",
    "schwach positiv", "suspect", "suspicious", "verdächtig", "borderline", "grenzwertig",
    "inconclusive", "fraglich", "reactive", "reaktiv", "1:200", "positive 1:200", "negative 1:200",
    "not negative", "nicht negativ", "negative?", "neg/pos", "n", "low titre", "quorl", "?",
    "negative, repeat", "see letter", "invalid", "hemolyzed", "1:50",
)  # fmt: skip


@pytest.mark.parametrize("result", NEGATIVE)
def test_plainly_negative(result):
    assert words.result_of(result) == "negative"
    assert words.result_of("", result) == "negative"


@pytest.mark.parametrize("result", NOT_NEGATIVE)
def test_whatever_else_stands_there_is_not_negative(result):
    assert words.result_of(result) == "not negative"


@pytest.mark.parametrize("result", ["", " ", "pending", "ausstehend", "folgt", "not yet known"])
def test_a_result_that_has_not_come_is_missing(result):
    assert words.result_of(result) == "missing"


@pytest.mark.parametrize(
    ("value", "meant"),
    [("< 1:50", "negative"), ("0.12", "negative"), ("1:50", "not negative"),
     ("1/200", "not negative"), ("pos", "not negative"), ("", "negative")],
)  # fmt: skip
def test_a_value_beside_negative_may_contradict_it(value, meant):
    assert words.result_of("negative", value) == meant


@pytest.mark.parametrize(
    ("what", "is_direct"),
    [("Brucella PCR", True), ("B. canis culture", True), ("Kultur canis", True),
     ("Brucella PCR and RSAT", False), ("Brucella serology", False), ("ELISA canis", False),
     ("Brucella", False)],
)  # fmt: skip
def test_a_pcr_or_a_culture_alone_is_a_direct_test(what, is_direct):
    assert words.is_direct_test(what) is is_direct


NORMAL = (
    "normal", "o.B.", "o. B.", "ohne Befund", "unauffällig", "unauffaellig", "WNL",
    "nothing abnormal",
    "HD-A", "A", "free", "frei", "no mass, symmetrical, not painful", "Hoden symmetrisch, o. B.",
    "nicht schmerzhaft", "both present", "negative", "in Ordnung", "keine Auffälligkeiten",
)  # fmt: skip
FINDINGS = {
    "left twice the size of right; firm; mass": "mass", "Umfangsvermehrung links": "mass",
    "Knoten": "mass", "asymmetric": "asymmetry", "enlarged painful asymmetric": "asymmetry",
    "links größer als rechts": "asymmetry", "painful": "pain", "schmerzhaft": "pain",
    "geschwollen": "swelling", "Hodenentzündung": "orchitis", "purulent discharge": "discharge",
    "enlarged, even": None, "both present, softer than 2022": None, "weich": None, "small": None,
}  # fmt: skip


@pytest.mark.parametrize("finding", NORMAL)
def test_plainly_normal(finding):
    assert words.is_plainly_normal(finding)
    assert words.stopping_finding_of("testes", finding) is None


@pytest.mark.parametrize(("finding", "kind"), FINDINGS.items())
def test_a_finding_that_is_not_plainly_normal(finding, kind):
    assert not words.is_plainly_normal(finding)
    assert words.stopping_finding_of("testes", finding) == kind


EVENTS = {
    "fever": "fever", "Fieber": "fever", "febrile": "fever", "orchitis": "orchitis",
    "Hodenentzündung": "orchitis", "epididymitis": "orchitis", "swelling": "swelling",
    "Hodenschwellung": "swelling", "scrotal edema": "swelling", "mass": "mass", "Tumor": "mass",
    "prostate": "prostatic disease", "prostatitis": "prostatic disease", "BPH": "prostatic disease",
    "Prostata vergrößert": "prostatic disease", "pain": "pain", "Schmerzen": "pain",
    "injury": "injury", "Bissverletzung": "injury", "heat stress": "heat stress",
    "Hitzschlag": "heat stress", "anesthesia": "anesthesia", "anaesthesia": "anesthesia",
    "Narkose": "anesthesia", "surgery": "anesthesia", "pyometra": "pyometra",
    "Gebärmutterentzündung": "pyometra", "vaginal discharge": "discharge", "Ausfluss": "discharge",
    "blood in urine": "blood", "Infektion": "infection", "torsion": "torsion", "sick": "illness",
    "Durchfall": "illness", "castrated": "castration", "Kastrationschip": None, "travel": None,
    "Reise": None, "rest": None, "show": None, "vaccination": None, "Impfung": None, "heat": None,
    "läufig": None, "deworming": None, "Entwurmung": None, "whelping": None, "moved house": None,
    "drug": None, "deslorelin implant": None,
}  # fmt: skip


@pytest.mark.parametrize(("what", "kind"), EVENTS.items())
def test_an_event_is_known_by_its_word_in_either_language(what, kind):
    assert words.illness_of_event(what) == kind
    assert words.is_known_event(what)


DRUGS = {
    "GnRH agonist": "GnRH agonist", "deslorelin": "GnRH agonist", "hormone implant": "GnRH agonist",
    "Kastrationschip": "GnRH agonist", "testosterone": "androgen", "anabolic steroid": "androgen",
    "cortisone": "corticosteroid", "Prednisolon": "corticosteroid", "finasteride": "antiandrogen",
    "antiandrogen": "antiandrogen", "ketoconazole": "antifungal", "Pilzmittel": "antifungal",
    "hormone": "GnRH agonist", "antibiotic": None, "Entwurmung": None,
}  # fmt: skip


@pytest.mark.parametrize(("drug", "kind"), DRUGS.items())
def test_a_drug_is_known_by_its_class(drug, kind):
    assert words.drug_class_of(drug) == kind
    assert words.is_known_drug(drug)


@pytest.mark.parametrize(
    ("line", "question"),
    [
        (("laboratory test", "RSAT", "negative", "", "", ""), ""),
        (("laboratory test", "RSAT", "positive", "", "", ""), ""),
        (("event", "Brucella positive", "", "", "", ""), ""),
        (("laboratory test", "RSAT", "weak", "", "", ""), "brucella"),
        (("laboratory test", "RSAT", "", "", "", ""), "brucella"),
        (("examination", "Brucella", "quorl", "", "", ""), "brucella"),
        (("laboratory test", "blood test", "Brucella positiv", "", "", ""), ""),
        (("laboratory test", "blood test", "Brucella unklar", "", "", ""), "brucella"),
        (("laboratory test", "hips", "A", "", "", "Brucella to follow"), "mention"),
        (("laboratory test", "quorl", "normal", "", "", ""), "test"),
        (("laboratory test", "IFAT", "negative", "", "", ""), "test"),
        (("laboratory test", "Herpes", "grenzwertig", "", "", ""), "infection"),
        (("laboratory test", "Herpes", "positive", "", "", ""), ""),
        (("event", "quorl", "", "", "", ""), "event"),
        (("event", "drug", "", "", "quorl", ""), "drug"),
        (("event", "drug", "", "", "antibiotic", ""), ""),
        (("release by veterinarian", "quorl", "x", "", "", ""), "release"),
        (("release by veterinarian", "breeding", "x", "", "", ""), ""),
        (("examination", "testes", "odd", "", "", ""), ""),
    ],
)
def test_what_nobody_can_read_is_asked(line, question):
    assert question_of(*line) == question


@pytest.mark.parametrize(
    ("line", "alarming"),
    [
        (("laboratory test", "RSAT", "positive", ""), True),
        (("laboratory test", "RSAT", "negative", ""), False),
        (("laboratory test", "RSAT", "", ""), False),
        (("event", "Brucella", "suspect", ""), True),
        (("laboratory test", "Herpes", "positive", ""), True),
        (("laboratory test", "hips", "C", ""), False),
    ],
)
def test_a_result_that_alarms_is_not_taken_back_in_silence(line, alarming):
    assert is_alarming(*line) is alarming


@pytest.mark.parametrize(
    ("what", "measured", "celsius"),
    [("temperature", "39.5", 39.5), ("Temperatur", "40,2 °C", 40.2), ("testes", "39.5", None),
     ("temperature", "", None)],
)  # fmt: skip
def test_a_temperature_is_read_from_its_examination(what, measured, celsius):
    assert words.temperature_c(what, measured) == celsius


@pytest.mark.parametrize(
    ("text", "is_near"), [("quorl PCR", True), ("Herpes", True), ("quorl", False), ("", False)]
)
def test_a_word_of_either_table_comes_near_an_infection(text, is_near):
    assert words.comes_near_an_infection(text) is is_near


@pytest.mark.parametrize(
    ("text", "is_plain"),
    [("positive", True), ("RSAT positiv", True), ("positive, repeat", False), ("test", False)],
)
def test_a_plain_positive_holds_its_word_and_no_other_that_is_not_known(text, is_plain):
    assert words.is_plainly_positive(text) is is_plain


def test_pain_of_what_has_no_part_in_breeding_is_repeated_and_stops_nothing():
    assert words.stopping_finding_of("testes", "painful") == "pain"
    assert words.stopping_finding_of("eyes", "painful") is None


def test_a_stem_of_five_letters_is_found_inside_a_word():
    assert words.test_of("Quorlvirus") == "near infection"


@pytest.mark.parametrize(
    ("first", "second", "is_shared"),
    [("canine herpesvirus", "herpesvirus, canine", True), ("EHV one", "EHV two", True),
     ("K9 one", "K9 two", False), ("test one", "test two", False)],
)  # fmt: skip
def test_a_name_is_shared_by_a_word_of_three_letters_that_says_something(first, second, is_shared):
    assert words.share_a_name(first, second) is is_shared
