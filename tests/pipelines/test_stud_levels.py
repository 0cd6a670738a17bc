"""Pages tell a kept level as it is, and no level where there is none or a caution stops it."""

import re
from datetime import datetime
from io import BytesIO

import numpy as np
import pytest
from pypdf import PdfReader
from tests.pipelines.test_run import names_in
from tests.printed import sentences_in

from studcurve.analytics.models.stud.inputs import days_of
from studcurve.analytics.priors import priors_fingerprint
from studcurve.pipelines.fits.guard import density_now, model_fingerprint
from studcurve.pipelines.fits.registry import STUD_OVER_TIME, TOTAL_SPERM
from studcurve.pipelines.pages.handout import handout_results
from studcurve.pipelines.pages.kennel import read_kennel
from studcurve.pipelines.pages.overview import overview_results
from studcurve.pipelines.pages.stud import read_stud, read_studs
from studcurve.pipelines.pages.stud_review import stud_results
from studcurve.pipelines.records.database.kept_fits import KeptFit
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO_TODAY, ENGLISH_OWNER, write_handout, write_stud_reviews
from studcurve.reports.catalog import LANGUAGES, texts
from studcurve.reports.page import Reader
from studcurve.reports.pages.handout import N_SHEETS, build_handout
from studcurve.reports.pdf import can_set_type, pdf
from studcurve.reports.words import Words

N_KEPT = 400
FALLEN = "Bracken"
ALERT = texts("en")["answer.change_total_announced"].split("{")[0]
"""How the sentence begins that flags a stud's output."""

QUESTION = (
    "His total sperm fell this summer while motility stayed; he had a fever in March, two litters "
    "were smaller than usual, and we would like to know whether to freeze now or to wait until the "
    "next three collections are read."
)
LATER = {"Dog": FALLEN, "Date": "2026-10-30", "Volume (mL)": "2.0",
         "Concentration (M/mL)": "300", "Evaluator": "Ida"}  # fmt: skip
NO_SPERM = (
    "Dog,Date,Volume (mL),Concentration (M/mL),Evaluator\n"
    f"{FALLEN},2026-10-30,2.0,0,Ida\n"
)  # fmt: skip


def kept_level(store):
    """A fit that knows its answer: every stud at 800 M, and one who fell by half of late."""
    rng = np.random.default_rng(3)
    data = TOTAL_SPERM.prepare(store)
    published = TOTAL_SPERM.restore(data, TOTAL_SPERM.published(0), seed=0)
    draws = {name: values[:N_KEPT].copy() for name, values in published.draws.items()}
    shape = draws["level"].shape
    draws["level"] = np.log(800.0) + 0.02 * rng.normal(size=shape)
    draws["recent"] = 0.02 * rng.normal(size=shape)
    draws["recent"][:, data.studs.index(FALLEN)] += np.log(0.5)
    for name in ("smooth", "reader", "step", "age"):
        draws[name] = 0.0 * draws[name]
    last = [days_of(data.on[data.rows_of(stud)])[-1] for stud in data.studs]
    draws["recent_until"] = np.tile(last, (N_KEPT, 1))
    read = {"max_rhat": 1.002, "min_ess_bulk": 900.0, "min_ess_tail": 800.0, "n_divergent": 0.0,
            "n_chains": 4.0, "n_draws": 700.0, "n_attempts": 1.0}  # fmt: skip
    return KeptFit(
        model=TOTAL_SPERM.name, fitted_at=datetime(2026, 10, 31), seed=3,
        data_fingerprint=data.fingerprint(),
        model_fingerprint=model_fingerprint(TOTAL_SPERM.name, TOTAL_SPERM.version),
        priors_fingerprint=priors_fingerprint(TOTAL_SPERM.prior_ids),
        versions={}, diagnostics=read, seconds=1.0, draws=draws, labels=published.labels,
        load_id=store.last_load(), checks=density_now(TOTAL_SPERM.name),
    )  # fmt: skip


@pytest.fixture(scope="module")
def store_with_level(demo_store_path, tmp_path_factory):
    path = tmp_path_factory.mktemp("levels") / "demo.duckdb"
    path.write_bytes(demo_store_path.read_bytes())
    with Store.open(path) as store:
        store.save_fit(kept_level(store))
    return path


@pytest.fixture(scope="module")
def kennel(store_with_level):
    return read_kennel(store_with_level, DEMO_TODAY)


def plain(path):
    text = re.sub(r"<script>.*?</script>|<style>.*?</style>", "", path.read_text("utf-8"),
                  flags=re.DOTALL)  # fmt: skip
    return text.replace("\u00a0", " ")


def test_the_models_of_a_stud_over_time_are_found_by_what_they_are():
    assert STUD_OVER_TIME[0] is TOTAL_SPERM


@pytest.mark.slow
def test_the_fallen_stud_alone_is_announced_in_review_and_overview(kennel, demo_stopped):
    overview = overview_results(kennel, read_studs(kennel))

    rows = [row for row in overview.studs if row.stud not in demo_stopped]
    assert {row.stud for row in rows if row.summary.announcement.announced} == {FALLEN}
    assert all(row.summary is None for row in overview.studs if row.stud in demo_stopped)
    for row in rows:
        review = stud_results(kennel, read_stud(kennel, row.stud), "owner")
        by_key = {sentence.key: sentence for sentence in review.answer}
        assert ("answer.change_total_announced" in by_key) == (row.stud == FALLEN)
        level = by_key["answer.level_total"]
        assert level.values["now"] == row.summary.answers.now
        assert f"{row.summary.answers.now.median:.0f} M" in ENGLISH_OWNER.words.tell(level)
        assert {"answer.one_sample", "answer.last_samples"} & set(by_key) == set()


def test_the_level_is_the_one_that_was_kept(kennel):
    fallen, *_ = kennel.levels.of(FALLEN, kennel.views["events"], DEMO_TODAY)

    # Half of 800 M; 0.02 on the log twice, over 400 draws: one standard error is 0.6 M.
    assert fallen.answers.now.median == pytest.approx(400.0, abs=4 * 0.6)
    assert fallen.answers.change.median == pytest.approx(-0.5, abs=0.01)
    assert fallen.records_weight.share > 0.99


@pytest.mark.slow
def test_a_stop_keeps_the_level_off_every_page(store_with_level, tmp_path, demo_stopped):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(store_with_level.read_bytes())
    sheet = tmp_path / "collections.csv"
    sheet.write_text(NO_SPERM, encoding="utf-8")
    with Store.open(path) as store:
        store.load([sheet], today=DEMO_TODAY)

    (review,) = write_stud_reviews(path, tmp_path, today=DEMO_TODAY, studs=[FALLEN])
    handout, *_ = write_handout(path, FALLEN, tmp_path, today=DEMO_TODAY)
    kennel = read_kennel(path, DEMO_TODAY)
    overview = overview_results(kennel, read_studs(kennel))

    assert "no sperm" in plain(review).lower()
    for page in (review, handout):
        text = plain(page)
        for key in ("level_of.total", "level_table.announced", "level_table.share"):
            assert ENGLISH_OWNER.words[key] not in text
        assert sentences_in(text, "answer.level_total") == []
        assert '"upper"' not in "".join(re.findall(r'data-chart="(?:total|picture)-0">.*?</script>',
                                                   page.read_text("utf-8")))  # fmt: skip
    summaries = {row.stud: row.summary for row in overview.studs}
    assert {stud for stud, level in summaries.items() if level is None} == {FALLEN, *demo_stopped}


def test_records_that_came_after_the_fit_are_told_first(store_with_level, tmp_path):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(store_with_level.read_bytes())
    sheet = tmp_path / "collections.csv"
    sheet.write_text(NO_SPERM.replace(",0,", ",350,"), encoding="utf-8")
    with Store.open(path) as store:
        store.load([sheet], today=DEMO_TODAY)

    kennel = read_kennel(path, DEMO_TODAY)
    review = stud_results(kennel, read_stud(kennel, FALLEN), "owner")

    older = review.answer[0]
    assert (older.key, older.values["n"]) == ("level.older", 1)
    assert older.values["on"] == datetime(2026, 10, 31)
    assert ENGLISH_OWNER.words.day(DEMO_TODAY) in ENGLISH_OWNER.words.tell(older)


def test_without_a_fit_plain_samples_stand_and_say_so(demo_kennel):
    kennel = demo_kennel
    review = stud_results(kennel, read_stud(kennel, FALLEN), "owner")

    assert review.summaries == ()
    assert review.answer[0].key in ("answer.one_sample", "answer.last_samples")
    assert review.answer[1].key == "level.no_level"


@pytest.mark.slow
def test_an_anonymous_level_names_no_dog_and_no_reader(store_with_level, tmp_path, demo_records):
    pages = write_stud_reviews(store_with_level, tmp_path, today=DEMO_TODAY, anonymous=True)

    names = names_in(demo_records)
    for page in pages:
        text = plain(page)
        assert {name for name in names if re.search(rf"\b{re.escape(name)}\b", text)} == set()
    assert any(ALERT in plain(page) for page in pages)


@pytest.mark.slow
@pytest.mark.skipif(not can_set_type(), reason="the extra pdf is not installed")
@pytest.mark.parametrize("language", LANGUAGES)
def test_every_handout_takes_both_sides_of_one_sheet(
    fitted_store_path, tmp_path, kennel_class, demo_stopped, language
):
    kennel = kennel_class(tmp_path)
    kennel.records.write_bytes(fitted_store_path.read_bytes())
    with Store.open(kennel.records) as store:
        store.save_fit(kept_level(store))
    # One record that no fit has seen: every sentence about that stands too.
    kennel.load(kennel.write("collections", [LATER]), today=DEMO_TODAY)
    known, reader = read_kennel(kennel.records, DEMO_TODAY), Reader(Words(language), "vet")

    for stud in read_studs(known):
        handout = build_handout(handout_results(known, stud, QUESTION, "vet"), reader)
        for paper in ("a4", "us-letter"):
            sheets = pdf(handout, paper, at_most=N_SHEETS)
            # A stopped stud's is shorter: no level, no picture of it.
            n_pages = len(PdfReader(BytesIO(sheets)).pages)
            assert n_pages == N_SHEETS or (n_pages == 1 and stud.name in demo_stopped), (
                stud.name, paper,
            )  # fmt: skip
