"""A shipment at 7 pm: six lines, a slip, a record with a pending outcome, and stops that stop
it all.
"""

import json
import re
from datetime import datetime, timedelta
from html import unescape
from types import SimpleNamespace

import pytest

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.measures.doses import DoseChance, DosePlan
from studcurve.pipelines.answers.answer import WIDTH
from studcurve.pipelines.answers.card import CARD_LIMIT_ML
from studcurve.pipelines.answers.slip import until_at
from studcurve.pipelines.cli import main
from studcurve.reports.words import Words

pytestmark = pytest.mark.usefixtures("files_stay_open")

HOSTILE = "</td><script>alert(1)</script>"
SIX = ["Doses", "Extender", "In each then", "Meets target", "If counted", "Warnings"]
PACK = ["--cells", "140", "--dilution", "1 + 19", "--extender", "egg yolk", "--collected",
        "2026-10-31 18:00", "--now", "2026-10-31 19:10", "--inseminate", "2026-11-01 11:00",
        "--bitch", "Senna", "--clinic", "Lindal"]  # fmt: skip


class Bench:
    """A kennel with a stud, and the shipment command run on it."""

    def __init__(self, kennel, capsys):
        self.kennel, self.capsys = kennel, capsys
        self.out = kennel.folder / "pages"

    def shipment(self, *arguments, dog="Bracken", reading=("3.1", "80")):
        with pytest.raises(SystemExit) as stop:
            main(["ship", dog, *reading, *arguments, "--store", str(self.kennel.records), "--out",
                  str(self.out)])  # fmt: skip
        printed = self.capsys.readouterr()
        return stop.value.code or 0, printed.out, printed.err

    def values(self, *arguments, **how):
        return json.loads(self.shipment(*arguments, "--json", **how)[1])

    def slips(self):
        return sorted(self.out.glob("box-*.html")) if self.out.exists() else []

    def shipments(self):
        return self.kennel.read("shipments")

    def health(self, *rows):
        plain = {"Dog": "Bracken", "Kind": "laboratory test"}
        self.kennel.load(self.kennel.write("health", [plain | row for row in rows]))


@pytest.fixture
def bench(kennel, capsys):
    return Bench(kennel, capsys)


def test_a_shipment_answers_in_six_lines_within_eighty_columns(bench):
    reading = ("1", "80")
    strong = ["--cells", "500", *PACK[2:]]
    code, out, err = bench.shipment(
        *strong, "--weight", "20", "--minutes-before-extending", "45", "--check", reading=reading
    )

    lines = out.splitlines()
    assert (code, err) == (0, "")
    assert max(map(len, lines)) <= WIDTH
    starts = [line for line in SIX if re.search(rf"^{line}  ", out, re.MULTILINE)]
    assert starts == SIX
    # No Brucella test is recorded: said before any number.
    assert lines[0].startswith("Note: Bracken: no Brucella test is recorded")
    assert "Unextended for 45 minutes" in out


def test_a_packed_shipment_is_an_ordinary_line_with_a_pending_outcome(bench):
    values = bench.values(*PACK, "--carrier", "Night Coach", "--promised", "2026-11-01")

    shipment = bench.shipments().iloc[0]
    assert len(bench.shipments()) == 1
    assert (shipment["stud"], shipment["for_bitch"], shipment["clinic"]) == (
        "Bracken",
        "Senna",
        "Lindal",
    )
    assert (shipment["carrier"], shipment["extender"]) == ("Night Coach", "egg yolk")
    assert shipment["n_doses"] == values["n_doses"] == 1
    assert shipment["dose_volume_ml"] == pytest.approx(values["dose_volume_ml"], abs=0.005)
    # 140 cells in 1 nL are 140 M/mL; 3.1 mL at 80 % hold 347 M moving forward.
    assert shipment["motile_dose_m"] == pytest.approx(347, rel=0.03)
    assert shipment["sent_earliest"].isoformat() == "2026-10-31T19:10:00"
    assert not shipment["outcome_known"]
    assert bench.kennel.lines("shipments")["state"].tolist() == ["current"]


def test_packing_the_same_shipment_again_corrects_it(bench):
    bench.shipment(*PACK)
    bench.shipment(*PACK, "--carrier", "Valley Parcel")

    assert len(bench.shipments()) == 1
    assert bench.shipments().iloc[0]["carrier"] == "Valley Parcel"
    assert sorted(bench.kennel.lines("shipments")["state"]) == ["current", "superseded"]


def test_an_uncounted_dose_is_recorded_as_not_counted(bench):
    pack = [a for a in PACK if a not in ("--cells", "140", "--dilution", "1 + 19")]
    _, out, _ = bench.shipment(*pack)

    assert bench.shipments()["motile_dose_m"].isna().all()
    assert "not counted: taken from dogs of every size" in re.sub(r"\s+", " ", out)


def test_his_own_counted_samples_say_what_is_usual_for_him(bench):
    pack = [a for a in PACK if a not in ("--cells", "140", "--dilution", "1 + 19")]
    strange = bench.values(*pack, "--check")
    rows = [{"Date": f"2026-0{month}-05", "Volume (mL)": "2.5", "Concentration (M/mL)": "60"}
            for month in range(1, 9)]  # fmt: skip
    bench.kennel.load(bench.kennel.collections(*rows))

    known = bench.values(*pack, "--check")

    # 150 M a time against 775 M for dogs of every size.
    assert known["doses"][0]["motile_dose_m"] < 0.4 * strange["doses"][0]["motile_dose_m"]
    assert known["if_counted"]["range_now"] < strange["if_counted"]["range_now"]


def test_check_answers_and_records_and_writes_nothing(bench):
    code, out, _ = bench.shipment(*PACK, "--check")

    assert code == 0
    assert out
    assert bench.slips() == []
    assert bench.shipments().empty


def test_doses_never_hold_more_than_the_sample(bench):
    values = bench.values(*PACK, "--check")

    for one in values["doses"]:
        # 3.1 mL at 140 M/mL, with the errors of a home count.
        assert one["n_doses"] * one["motile_dose_m_high"] < 3.1 * 140 * 1.6
    assert values["if_counted"]["more_prob"] + values["if_counted"]["fewer_prob"] <= 1.0


def test_the_doses_asked_for_are_made_whatever_their_chance(bench):
    values = bench.values(*PACK, "--doses", "3", "--anyway", "--check")

    assert values["n_doses"] == 3
    assert values["doses"][2]["meets_prob"] < 0.5


def test_the_slip_says_what_the_shipment_holds_and_is_one_self_contained_page(bench):
    bench.health({"Date": "2026-05-02", "What": "Brucella RSAT", "Result": "negative"},
                 {"Date": "2025-05-02", "What": "Brucella RSAT", "Result": "negative"})  # fmt: skip
    bench.shipment(*PACK)

    (slip,) = bench.slips()
    page = slip.read_text(encoding="utf-8")
    text = re.sub(r"<[^>]+>", " ", page.replace("\u00a0", " "))
    for part in ("Semen of Bracken", "31 Oct 2026, 18:00", "1 Nov 2026, 11:00", "egg yolk",
                 "140 cells counted in a chamber", "80 % progressively motile, judged by eye",
                 "37 °C for 5 minutes", "Meets the target", "Brucella RSAT", "2 May 2026",
                 "Please send this strip back", "Bracken · 2026-10-31 · Senna"):  # fmt: skip
        assert part in text, part
    assert "2 May 2025" not in text
    assert "<script" not in page
    assert "default-src 'none'; script-src 'none'" in unescape(page)
    assert not re.search(r"https?://", page)


def test_a_slip_in_german_is_german(bench):
    bench.shipment(*PACK, "--language", "de")

    page = bench.slips()[0].read_text(encoding="utf-8")
    assert 'lang="de"' in page
    assert Words("de")["slip.strip"] in page


def test_hostile_names_stay_text_in_slip_and_terminal(bench):
    code, out, _ = bench.shipment(*PACK[:-4], "--bitch", HOSTILE, "--clinic", "\x1b[31mRed")

    page = bench.slips()[0].read_text(encoding="utf-8")
    assert code == 0
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "\x1b" not in out
    assert bench.shipments().iloc[0]["for_bitch"] == HOSTILE


STOPS = {
    "brucella": ([{"Date": "2026-05-02", "What": "Brucella RSAT", "Result": "positive"}], PACK),
    "a later negative": (
        [{"Date": "2026-05-02", "What": "Brucella RSAT", "Result": "suspect"},
         {"Date": "2026-06-02", "What": "Brucella RSAT", "Result": "negative"}], PACK,
    ),
    "no sperm": ([], ["--cells", "0", *PACK[2:]]),
    "no sperm by photometer": ([], ["--concentration", "0", *PACK[4:]]),
    "blood": ([], [*PACK, "--appearance", "blood"]),
}  # fmt: skip


@pytest.mark.parametrize("stop", STOPS)
def test_a_caution_that_stops_leaves_no_number_anywhere(bench, stop):
    tests, arguments = STOPS[stop]
    if tests:
        bench.health(*tests)

    values = bench.values(*arguments)
    if stop in ("brucella", "no sperm"):
        code, out, _ = bench.shipment(*arguments)
        assert code == 1
        assert out.startswith("Stop: ")
        assert not any(re.search(rf"^{line}  ", out, re.MULTILINE) for line in SIX)
        assert "% range" not in out

    assert values["stopped"]
    assert values["n_doses"] is None
    assert {"doses", "target_m", "meets_until_at", "extender_each_ml"} & set(values) == set()
    assert bench.slips() == []
    assert bench.shipments().empty


def test_no_sperm_is_shown_as_an_upper_limit_of_the_sample(bench):
    values = bench.values("--cells", "0", *PACK[2:])

    # Three cells' worth of 1 nL in 3.1 mL is 9.3 M, widened by a home count's error.
    assert 9.3 < values["total_sperm_m_high"] < 13.0


@pytest.mark.parametrize(
    ("arguments", "dog", "word"),
    [
        (PACK, "Brakken", "no stud of these records"),
        (PACK, "Senna", "no stud of these records"),
        ([*PACK[:-6], "--inseminate", "2026-10-30 11:00"], "Bracken", "before the collection"),
        ([*PACK[:-6], "--inseminate", "2026-11-20 11:00"], "Bracken", "an earlier insemination"),
        ([*PACK, "--collected", "2026-10-31 20:00", "--now", "2026-10-30 19:00"], "Bracken",
         "not recorded"),
    ],
)  # fmt: skip
def test_what_cannot_be_packed_says_why_and_leaves_nothing(bench, arguments, dog, word):
    code, _, err = bench.shipment(*arguments, dog=dog)

    assert code == 1
    assert word in re.sub(r"\s+", " ", err)
    assert bench.shipments().empty
    assert bench.slips() == []


def test_a_target_told_once_is_remembered(bench):
    bench.shipment(*PACK, "--target", "150")

    assert bench.values(*PACK, "--check")["target_m"] == 150.0
    assert bench.values(*PACK, "--check", "--route", "transcervical")["target_m"] == 100.0


def test_the_card_is_one_self_contained_page_of_this_rotor(bench):
    with pytest.raises(SystemExit):
        main(["bench", "card", "--radius", "10", "--store", str(bench.kennel.records), "--out",
              str(bench.out), "--json"])  # fmt: skip
    values = json.loads(bench.capsys.readouterr().out)

    page = (bench.out / "bench-card.html").read_text(encoding="utf-8")
    # 3,000 turns a minute at 10 cm are 1,006 g; 720 g need 2,538.
    assert "1,006" in page
    assert "2,538" in page
    assert "1 + 19" in page
    assert "<script" not in page
    volumes = values["dose_ml"]
    assert all(row == sorted(row, reverse=True) for row in volumes)
    assert all(
        list(column) == sorted(column, reverse=True) for column in zip(*volumes, strict=True)
    )
    # 200 cells at 70 %: 140 M moving forward in a mL before any error, so more than 1.43 mL.
    sure = volumes[values["n_cells"].index(200)][values["motility_pct"].index(70.0)]
    assert 200 / 140 < sure < 2.5 * 200 / 140


def test_a_card_without_a_rotor_says_how_to_make_it_known(bench):
    with pytest.raises(SystemExit):
        main(["bench", "card", "--store", str(bench.kennel.folder / "none.duckdb"), "--out",
              str(bench.out), "--language", "de"])  # fmt: skip

    page = (bench.out / "bench-card.html").read_text(encoding="utf-8")
    assert "studcurve bench spin --radius" in page
    assert "–" in page


WEIGHED = {"Dog": "Senna", "Sex": "female", "Adult weight (kg)": "23.4"}


def test_her_recorded_weight_stops_a_volume_that_does_not_fit_her(bench):
    before = bench.values(*PACK, "--check")
    bench.kennel.load(bench.kennel.write("dogs", [WEIGHED], "weighed/dogs.csv"))

    values = bench.values(*PACK)
    code, out, _ = bench.shipment(*PACK)

    # 3.1 mL with four parts of extender are 15.5 mL; 5 mL fit 23.4 kg: 1 mL of semen is left.
    assert "refused" not in before
    assert before["weight_kg"] is None
    assert "more than the 10 mL" in " ".join(before["reminders"])
    assert (values["refused"], values["weight_kg"]) == ("volume", 23.4)
    assert values["dose_volume_ml"] == pytest.approx(15.5)
    assert values["volume_limit_ml"] == 5.0
    assert values["semen_to_leave_ml"] == pytest.approx(1.0)
    assert code == 1
    assert "Centrifuge first and leave 1 mL" in re.sub(r"\s+", " ", out)
    assert bench.slips() == []
    assert bench.shipments().empty


@pytest.mark.parametrize(("volume", "is_refused"), [("1.0", False), ("1.001", True)])
@pytest.mark.parametrize("anyway", [[], ["--anyway"]])
def test_a_volume_fits_up_to_its_limit_and_anyway_does_not_pass_it(
    volume, is_refused, anyway, bench
):
    strong = ["--cells", "500", *PACK[2:], "--weight", "23", "--check", *anyway]

    values = bench.values(*strong, reading=(volume, "80"))

    assert ("refused" in values) == is_refused


def test_a_dose_that_nobody_would_use_is_packed_only_when_told_to(bench):
    weak = ["--cells", "20", *PACK[2:]]

    code, out, _ = bench.shipment(*weak)
    refused = bench.values(*weak)
    assert code == 1
    assert out.startswith("Note: ")
    assert refused["refused"] == "hopeless dose"
    assert refused["meets_prob"] < 0.05
    assert bench.shipments().empty
    assert bench.slips() == []

    packed = bench.values(*weak, "--anyway")
    assert "refused" not in packed
    assert len(bench.shipments()) == 1


@pytest.mark.parametrize(("prob", "hopeless"), [(0.0499, True), (0.05, False)])
def test_hopeless_is_below_one_in_twenty(prob, hopeless):
    chance = DoseChance(1, Estimate(10.0, 5.0, 20.0, 0.9), prob)

    assert DosePlan(200.0, 0.8, 17.0, 0, (chance,), None).is_hopeless == hopeless


@pytest.mark.parametrize(
    ("until_h", "hours", "shown"),
    [(None, 17.0, None), (16.9, 17.0, None), (17.0, 17.0, 17.0), (23.9, 17.0, 17.0),
     (24.0, 17.0, 24.0), (90.25, 17.0, 72.0), (90.25, 72.0, 72.0)],
)  # fmt: skip
def test_until_when_a_dose_is_enough_is_told_in_half_days_up_to_three(until_h, hours, shown):
    collected = datetime(2026, 10, 31, 18)
    request = SimpleNamespace(collected_at=collected, hours=hours)
    plan = SimpleNamespace(until_h=until_h)

    wanted = None if shown is None else collected + timedelta(hours=shown)
    assert until_at(request, plan) == wanted


def test_no_shipment_is_packed_for_an_insemination_beyond_three_days(bench):
    at, named = PACK[:11], PACK[12:]

    assert bench.shipment(*at, "2026-11-03 18:00", *named, "--check")[0] == 0
    code, _, err = bench.shipment(*at, "2026-11-03 18:01", *named, "--check")
    assert code == 1
    assert "beyond 72 h" in re.sub(r"\s+", " ", err)


def test_the_slip_tells_half_days_and_no_minute(bench):
    bench.shipment("--cells", "500", *PACK[2:])

    page = bench.slips()[0].read_text(encoding="utf-8").replace("\u00a0", " ")
    assert re.search(r"200 M for [0-3]\.[05] days from the collection", page)


@pytest.mark.parametrize(("hours", "is_made"), [("72", True), ("72.5", False)])
def test_a_card_reaches_three_days_and_no_further(hours, is_made, bench):
    with pytest.raises(SystemExit) as stop:
        main(["bench", "card", "--hours", hours, "--store",
              str(bench.kennel.folder / "none.duckdb"), "--out", str(bench.out)])  # fmt: skip

    assert (not stop.value.code) == is_made
    assert (bench.out / "bench-card.html").exists() == is_made


def test_a_card_leaves_out_what_fits_no_bitch():
    assert CARD_LIMIT_ML == 10.0
