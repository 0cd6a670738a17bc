"""What people write of a danger, and what every answer does with it.

Each variant is a line of the Health sheet in the words of an owner, a laboratory or a veterinarian,
in English or German. The table says whether it stops, asks or passes; every edge of
the toolkit is asked, today and a year on.
"""

import json
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

import numpy as np
import pytest

from studcurve.analytics.measures.doses import SampleEvaluation
from studcurve.pipelines.answers.comparison import plan_answer
from studcurve.pipelines.answers.schedule import schedule_answer
from studcurve.pipelines.answers.shipment import pack_shipment
from studcurve.pipelines.answers.slip import ShipmentRequest
from studcurve.pipelines.due import read_due
from studcurve.pipelines.pages.handout import handout_results
from studcurve.pipelines.pages.kennel import read_kennel
from studcurve.pipelines.pages.shipment_sheet import shipment_sheet_results
from studcurve.pipelines.pages.stud import read_stud
from studcurve.pipelines.pages.stud_review import METHOD_OF_CHANCES, stud_results
from studcurve.pipelines.plan.comparison import plan_breeding
from studcurve.pipelines.plan.records import read_plan_records
from studcurve.pipelines.plan.schedule import plan_stud_schedule
from studcurve.pipelines.plan.wishes import Wishes
from studcurve.pipelines.records.dog_history import cautions_of
from studcurve.pipelines.run import ENGLISH_VET
from studcurve.reports.page import Reader
from studcurve.reports.pages.handout import build_handout
from studcurve.reports.pages.stud_review import build_stud_review
from studcurve.reports.words import Words

TODAY = date(2026, 10, 31)
LATER = TODAY + timedelta(days=365)
EN, DE = Words("en"), Words("de")
BITCH = "Senna"
LAB, EXAM, EVENT = "laboratory test", "examination", "event"


@dataclass(frozen=True)
class Variant:
    """A line and what it does: its rule if it stops, whether it asks, and whether for good."""

    what: str
    result: str = ""
    kind: str = LAB
    rule: str = ""
    asks: bool = False
    lasts: bool = True
    more: dict = field(default_factory=dict, hash=False)

    @property
    def name(self):
        return f"{self.kind} {self.what} {self.result} {' '.join(self.more.values())}".strip()


NOT_NEGATIVE = "brucella not negative"
NAMES = (
    "Brucella (RSAT)", "B. canis RSAT", "brucellosis serology", "Bruzellose", "TAT/SLAT", "2-ME",
    "AGID", "CPAg", "IFAT canis", "ELISA canis", "PCR canis", "B.canis Kultur", "Brucelosis",
    "Langsamagglutination",
)  # fmt: skip
PLAIN, OTHER = ("positive", "Positiv", "pos", "suspect"), (
    "weak positive", "schwach positiv", "borderline", "grenzwertig", "inconclusive", "fraglich",
    "reactive", "1:200", "+", "quorl",
)  # fmt: skip

BRUCELLA = [
    *(Variant(name, PLAIN[i % 4], rule=NOT_NEGATIVE) for i, name in enumerate(NAMES)),
    *(Variant(name, OTHER[i % 10], rule=NOT_NEGATIVE, asks=True) for i, name in enumerate(NAMES)),
    *(Variant("RSAT", result, rule=NOT_NEGATIVE, asks=True) for result in OTHER),
    *(Variant("Brucella", result, rule=NOT_NEGATIVE) for result in PLAIN),
    Variant("Brucella positive", kind=EVENT, rule=NOT_NEGATIVE),
    Variant("Brucellose positiv", kind=EVENT, rule=NOT_NEGATIVE),
    Variant("B. canis", "pos", kind=EVENT, rule=NOT_NEGATIVE),
    Variant("Brucella", "positive", kind=EXAM, rule=NOT_NEGATIVE),
    Variant("brucellosis suspected", kind=EXAM, rule=NOT_NEGATIVE),
    Variant("blood test", "Brucella positiv", rule=NOT_NEGATIVE),
    Variant("RSAT", more={"Value": "1:200"}, rule=NOT_NEGATIVE, asks=True),
    Variant("RSAT", "negative", more={"Value": "1:200"}, rule=NOT_NEGATIVE, asks=True),
    Variant("Brucella", "pending", rule="brucella result missing", asks=True),
    Variant("RSAT", "", rule="brucella result missing", asks=True),
    *(Variant(name, result) for name, result in (
        ("Brucella (RSAT)", "neg."), ("RSAT", "negativ"), ("B. canis", "nicht nachgewiesen"),
        ("Brucellose", "-"), ("AGID", "nonreactive"), ("Brucella", "negative (<1:50)"),
    )),
]  # fmt: skip

OPEN, RECENT, FINDING = "illness open", "illness recent", "finding stops"
UNTIL_TODAY = {"Until": TODAY.isoformat()}
ILLNESS = [
    *(Variant(word, kind=EVENT, rule=OPEN) for word in (
        "fever", "Fieber", "orchitis", "Hodenentzündung", "swelling", "Schwellung", "mass", "Tumor",
        "prostatitis", "Prostata", "pain", "Schmerzen", "injury", "Bissverletzung", "infection",
        "Infektion", "Ausfluss",
    )),
    *(Variant(word, kind=EVENT, rule=OPEN, lasts=False, more=UNTIL_TODAY) for word in (
        "fever", "Fieber", "pain", "Schmerz", "prostatic disease",
    )),
    *(Variant("testes", finding, kind=EXAM, rule=FINDING) for finding in (
        "left twice the size of right; firm; mass", "asymmetric", "asymmetrisch", "Knoten links",
        "Umfangsvermehrung", "painful", "schmerzhaft", "geschwollen", "links größer als rechts",
    )),
    Variant("prostate", "enlarged painful asymmetric", kind=EXAM, rule=FINDING),
    Variant("Prostata", "vergrößert und schmerzhaft", kind=EXAM, rule=FINDING),
    Variant("Hoden", "Hodenentzündung rechts", kind=EXAM, rule=FINDING),
    Variant("left testis has a lump", kind=EXAM, rule=FINDING),
    Variant("temperature", kind=EXAM, more={"Value": "40.2"}, rule=RECENT, lasts=False),
    Variant("canine herpesvirus", "positive", rule="infection"),
    Variant("Herpesvirus", "grenzwertig", rule="infection", asks=True),
    Variant("semen culture", "mixed growth", rule="infection", asks=True),
    Variant("Samenkultur", "positiv", rule="infection"),
    Variant("quorl", "4.2", rule="test unread", asks=True),
    Variant("IFAT", "negative", rule="test unread", asks=True),
    Variant("Antikörper", "positiv", rule="test unread", asks=True),
]  # fmt: skip

HARMLESS = [
    *(Variant(what, result) for what, result in (
        ("hips", "A"), ("hip x-ray", "C"), ("HD", "HD-B"), ("Hüfte", "frei"), ("elbows", "0/0"),
        ("ED", "ED 0"), ("eyes", "clear"), ("Augen", "o. B."), ("eye test", "cataract"),
        ("DNA profile", "done"), ("Abstammung", "bestätigt"), ("prcd-PRA", "carrier"),
        ("DM", "N/N"), ("vWD", "clear"), ("MDR1", "Träger"), ("genetic panel", "clear"),
        ("thyroid T4", "2.1"), ("Schilddrüse", "normal"), ("TSH", "low"), ("parvo titre", "1:320"),
        ("Tollwut-Titer", "0.9"), ("vaccination titre", "positive"), ("progesterone", "4.2"),
        ("relaxin", "positive"), ("blood count", "normal"), ("Blutbild", "unauffällig"),
        ("kidney values", "creatinine high"), ("Leberwerte", "erhöht"), ("urine", "clear"),
        ("Kotprobe", "Giardien positiv"), ("heartworm", "negative"), ("Borreliose", "positiv"),
        ("patella", "1/1"), ("heart echo", "normal"), ("Herzultraschall", "o.B."),
        ("BAER hearing", "bilateral"), ("alkaline phosphatase", "12000"), ("X-ray spine", "done"),
        ("Röntgen", "gemacht"), ("blood group", "DEA 1 positive"), ("quorl", "normal"),
        ("canine herpesvirus", "negative"), ("semen culture", "no growth"),
        ("Leptospira vaccination", "done"), ("allergy test", "house dust positive"),
    )),
    *(Variant(what, kind=EVENT) for what in (
        "travel", "Reise", "show", "Ausstellung", "rest", "Karenz", "vaccination", "Impfung",
        "deworming", "Entwurmung", "diet change", "Futterwechsel", "moved house", "dental cleaning",
        "Zahnreinigung", "microchip", "training",
    )),
    *(Variant(what, finding, kind=EXAM) for what, finding in (
        ("testes", "normal"), ("Hoden", "o. B."), ("prostate", "enlarged, even"),
        ("teeth", "scissor bite"), ("hips", "C"), ("eyes", "free"), ("weight", "24 kg"),
        ("andrological examination", "no mass, symmetrical, not painful"),
    )),
]  # fmt: skip
ASKED_ONCE = {"quorl"}

ALL = [*BRUCELLA, *ILLNESS, *HARMLESS]
STOPPING = [(n, variant) for n, variant in enumerate(ALL) if variant.rule]
PASSING = [(n, variant) for n, variant in enumerate(ALL) if not variant.rule]


def names_of(pairs):
    return [variant.name for _, variant in pairs]


def stud(n):
    return f"Stud{n}"


def of_her(n):
    return f"Bitch{n}"


@pytest.fixture(scope="module")
def kennel(tmp_path_factory, kennel_class):
    """A stud and a bitch for each variant, sound but for its line; every stud has sent a
    shipment.
    """
    made = kennel_class(tmp_path_factory.mktemp("danger"))
    numbers = range(len(ALL))
    dogs = [
        {"Dog": name, "Sex": sex, "Born": "2022-05-01", "Adult weight (kg)": "22"}
        for n in numbers
        for name, sex in ((stud(n), "male"), (of_her(n), "female"))
    ]
    dogs.append({"Dog": BITCH, "Sex": "female", "Born": "2022-05-01", "Adult weight (kg)": "22"})
    tested = [{"Dog": row["Dog"], "Date": "2026-09-01", "Kind": LAB, "What": "Brucella serology",
               "Result": "negative", "Laboratory": "Vessel Lab"} for row in dogs]  # fmt: skip
    lines = [
        {"Dog": name, "Date": "2026-10-20", "Kind": variant.kind, "What": variant.what,
         "Result": variant.result, "Laboratory": "Norra Analys", **variant.more}
        for n, variant in enumerate(ALL) for name in (stud(n), of_her(n))
    ]  # fmt: skip
    collected = [{"Dog": stud(n), "Date": "2026-10-15", "Appearance": "normal"} for n in numbers]
    sent = [{"Stud": stud(n), "Collected on": "2026-10-15", "Sent on": "2026-10-15",
             "Extender": "egg yolk", "Doses": "1", "Progressively motile per dose (M)": "300",
             "For bitch": of_her(n)} for n in numbers]  # fmt: skip
    heats = [{"Bitch": name, "First day": "2026-10-20", "Progesterone 1 on": "2026-10-24",
              "Progesterone 1": "0.6", "Progesterone 1 unit": "ng/mL", "Progesterone 2 on":
              "2026-10-31", "Progesterone 2": "6.5", "Progesterone 2 unit": "ng/mL"}
             for name in (BITCH, *map(of_her, numbers))]  # fmt: skip
    report = made.load(
        made.write("dogs", dogs), made.collections(*collected), made.write("shipments", sent),
        made.write("heats", heats), made.write("health", [*tested, *lines]), today=TODAY,
    )  # fmt: skip
    assert report.n_refused == 0
    return made


@pytest.fixture(scope="module")
def questions(kennel):
    findings = kennel.read("findings")
    asked = findings[findings["sheet"].eq("health") & findings["is_open"]]
    return asked["cells"].map(lambda cells: json.loads(cells)[0]).value_counts().to_dict()


@pytest.fixture(scope="module")
def read(kennel):
    """A kennel and the records of a plan, on either day."""
    return {
        day: (read_kennel(kennel.records, day),
              read_plan_records(kennel.records, datetime.combine(day, time(8))))
        for day in (TODAY, LATER)
    }  # fmt: skip


@pytest.fixture(scope="module")
def due(kennel):
    return {day: read_due(kennel.records, today=day) for day in (TODAY, LATER)}


def request(n, day, **more):
    at = datetime.combine(day, time(18))
    reading = SampleEvaluation(0.9, 80.0, n_cells=400, looked_at_nl=1.0)
    return ShipmentRequest(
        **{"stud": stud(n), "reading": reading, "appearance": None, "collected_at": at,
           "sent_at": at, "inseminate_at": at + timedelta(hours=16), "extender": "egg yolk",
           "ratio": None, "route": "vaginal", "weight_kg": 22.0, "target_m": 200.0,
           "certainty": 0.8, "n_doses": None, "count_cv": 0.15, "waited_minutes": None,
           "for_bitch": None, "clinic": None, "carrier": None, "promised_on": None,
           "is_anyway": True} | more
    )  # fmt: skip


def packed(kennel, n, day, **more):
    return pack_shipment(
        kennel.records, request(n, day, **more), out=kennel.folder, words=EN,
        rng=np.random.default_rng(1), check_only=True,
    )  # fmt: skip


def stopped_in(items):
    """Dogs of whom a stop stands in what is due; one sentence may name several."""
    named = set()
    for item in items:
        if item.kind == "caution":
            dog = item.what.values.get("dog", ())
            named |= {dog} if isinstance(dog, str) else set(dog)
    return named


def stopping():
    """Each danger today; those that last also a year on, among the slow tests."""
    for n, variant in STOPPING:
        yield pytest.param(n, variant, TODAY, id=variant.name)
        if variant.lasts:
            later = f"a year on, {variant.name}"
            yield pytest.param(n, variant, LATER, id=later, marks=pytest.mark.slow)


def test_the_table_is_large_enough():
    assert len({variant.name for variant in ALL}) >= 120
    assert len(HARMLESS) >= 60
    assert len(STOPPING) >= 90


@pytest.mark.usefixtures("files_are_read_once")
@pytest.mark.sampled
@pytest.mark.parametrize(("n", "variant", "day"), list(stopping()))
def test_a_danger_stops_every_answer_about_the_stud(n, variant, day, kennel, questions, read, due):
    assert (stud(n) in questions) is variant.asks
    shipment = packed(kennel, n, day)
    assert shipment.is_stopped
    assert shipment.answer.values["n_doses"] is None
    pages, plans = read[day]
    stops = {c.rule for c in cautions_of(pages.views, stud(n), day) if c.severity == "stop"}
    assert variant.rule in stops
    planned = plan_breeding(plans, stud(n), BITCH, Wishes(), seed=1, n_draws=50)
    assert planned.is_stopped
    assert planned.answers == ()
    values = plan_answer(planned, EN).values
    assert set(values) == {"is_stopped", "warnings"}
    assert variant.rule in json.loads(json.dumps(values))["warnings"]
    schedule = plan_stud_schedule(plans, stud(n), [BITCH], Wishes(), seed=1, n_draws=50)
    assert schedule.plan is None
    assert not schedule.heats
    assert schedule_answer(schedule, EN, seed=1).tables == ()
    assert stud(n) in stopped_in(due[TODAY])


@pytest.mark.sampled
@pytest.mark.parametrize(("n", "variant", "day"), list(stopping()))
def test_a_danger_stops_every_page_of_the_stud_in_both_languages(n, variant, day, read):
    pages, _ = read[day]
    review = stud_results(pages, read_stud(pages, stud(n)), "owner")
    assert variant.rule in {c.rule for c in review.cautions if c.severity == "stop"}
    assert review.summaries == review.chances == review.dots == ()
    assert [sentence.key for sentence in review.answer] == ["answer.nothing_under_a_stop"]
    handout = handout_results(pages, read_stud(pages, stud(n)), "", "vet")
    assert [sentence.key for sentence in handout.answer] == ["answer.nothing_under_a_stop"]
    assert handout.summaries == ()
    assert not set(METHOD_OF_CHANCES) & set(handout.method)
    assert variant.rule in {c.rule for c in build_handout(handout, ENGLISH_VET).cautions}
    client = shipment_sheet_results(pages, of_her(n))
    assert variant.rule in {c.rule for c in client.cautions if c.severity == "stop"}
    caution = next(c for c in review.cautions if c.rule == variant.rule)
    assert stud(n) in EN.tell(caution.sentence)
    assert stud(n) in DE.tell(caution.sentence) != EN.tell(caution.sentence)
    german = build_stud_review(review, Reader(DE))
    assert variant.rule in {c.rule for c in german.cautions}


@pytest.mark.usefixtures("files_are_read_once")
@pytest.mark.sampled
@pytest.mark.parametrize(("n", "variant", "day"), list(stopping()))
def test_the_bitch_s_own_line_counts_wherever_a_pair_is_named(n, variant, day, kennel, read, due):
    sound = next(k for k, harmless in PASSING if harmless.name == "event travel")
    assert packed(kennel, sound, day, for_bitch=of_her(n)).is_stopped
    _, plans = read[day]
    planned = plan_breeding(plans, stud(sound), of_her(n), Wishes(), seed=1, n_draws=50)
    assert planned.is_stopped
    assert variant.rule in {caution.rule for caution in planned.cautions}
    schedule = plan_stud_schedule(plans, stud(sound), [of_her(n)], Wishes(), seed=1, n_draws=50)
    assert of_her(n) in schedule.stopped
    assert schedule.plan is None
    assert of_her(n) in stopped_in(due[TODAY])
    hers = {item.kind for item in due[TODAY] if item.dog == of_her(n)}
    assert not hers & {"insemination", "progesterone"}


@pytest.mark.usefixtures("files_are_read_once")
@pytest.mark.sampled
@pytest.mark.parametrize(("n", "variant"), PASSING, ids=names_of(PASSING))
def test_a_harmless_line_stops_nothing_and_asks_at_most_once(n, variant, kennel, questions, read):
    assert questions.get(stud(n), 0) == (variant.what in ASKED_ONCE)
    pages, _ = read[TODAY]
    for dog in (stud(n), of_her(n)):
        assert not [c for c in cautions_of(pages.views, dog, TODAY) if c.severity == "stop"]
    assert not packed(kennel, n, TODAY).is_stopped


def test_a_sound_pair_is_planned(read):
    sound = next(k for k, harmless in PASSING if harmless.name == "event travel")
    _, plans = read[TODAY]

    planned = plan_breeding(plans, stud(sound), BITCH, Wishes(), seed=1, n_draws=50)
    assert not planned.is_stopped
    assert planned.answers
    assert replace(planned, answers=()).cautions == planned.cautions


# Who says so, and what changes it: the lines of one stud, one after the other


def say(kennel, *rows, name="health.csv", day=TODAY):
    plain = {"Dog": "Bracken", "Date": "2026-10-01", "Kind": LAB, "What": "RSAT"}
    return kennel.load(kennel.write("health", [plain | row for row in rows], name), today=day)


@pytest.fixture
def spoken(request):
    made = request.getfixturevalue("kennel_of_one")

    def rules(day=TODAY):
        pages = read_kennel(made.records, day)
        return {c.rule for c in cautions_of(pages.views, "Bracken", day) if c.severity == "stop"}

    return made, rules


@pytest.fixture
def kennel_of_one(tmp_path, kennel_of_four, kennel_class):
    made = kennel_class(tmp_path)
    made.records.write_bytes(kennel_of_four.read_bytes())
    return made


def test_a_positive_turned_negative_by_a_load_asks_and_stops_until_somebody_said_so(spoken):
    made, rules = spoken
    say(made, {"Result": "positive"})
    report = say(made, {"Result": "negative"})

    (finding,) = report.findings.to_dict("records")
    assert finding["rule"] == "alarm taken back"
    assert rules() == rules(LATER) == {NOT_NEGATIVE}
    with made.open() as store:
        store.confirm([int(finding["finding_id"])], today=TODAY, reason=None)
    assert rules() == set()


def test_an_unread_result_may_be_corrected_but_not_to_negative_in_silence(spoken):
    made, rules = spoken
    say(made, {"Result": "weak"})
    assert rules() == {NOT_NEGATIVE}
    say(made, {"Result": "positive"})
    assert rules() == {NOT_NEGATIVE}
    report = say(made, {"Result": "negative"})
    assert "alarm taken back" in set(report.findings["rule"])
    assert rules() == {NOT_NEGATIVE}


def test_a_test_that_nobody_knows_stops_until_it_is_confirmed(spoken):
    made, rules = spoken
    report = say(made, {"What": "quorl", "Result": "4.2"})
    assert rules() == {"test unread"}
    with made.open() as store:
        store.confirm([int(report.findings["finding_id"].iloc[0])], today=TODAY, reason=None)
    assert rules() == rules(LATER) == set()


@pytest.mark.parametrize("who", ["", "Dr. Vey"])
def test_a_release_counts_with_its_veterinarian_and_is_refused_without(spoken, who):
    made, rules = spoken
    say(made, {"Result": "suspect"})
    report = say(
        made,
        {"Date": "2026-10-20", "Kind": "release by veterinarian", "What": "Brucella",
         "Result": "RSAT and 2ME of 5 and 19 Oct negative", "Veterinarian": who},
        name="release.csv".replace("release", "health"),
    )  # fmt: skip

    assert report.n_refused == (0 if who else 1)
    assert rules() == (set() if who else {NOT_NEGATIVE})


@pytest.mark.parametrize("look", ["blood", "pus"])
def test_a_blank_look_and_a_shipment_without_one_keep_the_stop(spoken, look):
    made, rules = spoken
    made.load(made.collections({"Date": "2026-10-05", "Appearance": look}), today=TODAY)
    made.load(made.collections({"Date": "2026-10-20"}, name="collections2.csv"), today=TODAY)

    assert rules() == rules(LATER) == {f"{look} in the sample"}
    asked = request(0, TODAY, stud="Bracken")
    shipment = pack_shipment(
        made.records, asked, out=made.folder, words=EN, rng=np.random.default_rng(1)
    )
    assert shipment.is_stopped
    assert made.read("shipments").empty
