"""Pages tell how far the models can be trusted, from the fit's record and the views."""

from dataclasses import replace

import numpy as np
import pytest

from studcurve.analytics.models.conception.bred import partners, without_stopped
from studcurve.analytics.trust.checking import cross_validation, left_out
from studcurve.analytics.trust.prior_width import METHOD_ROWS, as_plain, from_plain
from studcurve.analytics.trust.residuals import ALONG, BETWEEN
from studcurve.analytics.wording.checks import semen_type_sentences, stud_checks
from studcurve.pipelines.due import DUE_VIEWS
from studcurve.pipelines.pages.anonymous import without_names
from studcurve.pipelines.pages.overview import overview_results
from studcurve.pipelines.pages.stud import read_studs
from studcurve.pipelines.pages.stud_review import stud_results
from studcurve.pipelines.pages.trust import (
    due_breedings,
    kennel_checks,
    open_breedings,
    prior_widths,
    residuals_of,
)
from studcurve.pipelines.records.dog_history import cautions_of
from studcurve.pipelines.run import DEMO_TODAY, ENGLISH_OWNER
from studcurve.reports.page import render
from studcurve.reports.pages.overview import build_overview
from studcurve.reports.pages.stud_review import build_stud_review

STUDS = {"Bracken", "Merle", "Pike", "Sorrel", "Tarn"}


@pytest.fixture(scope="module")
def kennel(fitted_kennel):
    return fitted_kennel


@pytest.fixture(scope="module")
def overview(kennel):
    return overview_results(kennel, read_studs(kennel))


@pytest.fixture(scope="module")
def checks(overview):
    return overview.checks


def keys(checks):
    return [sentence.key for paragraph in checks.paragraphs for sentence in paragraph]


def test_the_overview_tells_what_the_fit_kept_and_what_the_records_hold(checks):
    assert keys(checks)[0] == "check.expected"
    assert {"check.predicted", "check.calibration", "check.smallest"} <= set(keys(checks))
    assert list(checks.scores) == ["model", "published", "raw"]
    assert {one.figure for one in checks.replicated} == {"empty_twice", "dispersion"}
    assert [one.name for one in checks.residuals] == [*ALONG, *BETWEEN]
    assert set(checks.methods) == {"chilled", "frozen"}
    assert set(checks.studs) == STUDS
    assert set(checks.opinions) == {"whelped", "litter_size"}


@pytest.mark.slow
def test_what_the_fit_kept_is_what_it_would_compute_from_all_its_draws(kennel, checks, demo_fit):
    # Second route: the same scores from the draws that were kept, half of those of the fit.
    # A stopped dog's breedings are in no score.
    shown = without_stopped(kennel.stopped, *partners(demo_fit.data))
    again = cross_validation(left_out(demo_fit, seed=1), demo_fit.data, shown)

    kept = checks.scores["model"]
    assert kept.log_score == pytest.approx(again.scores["model"].log_score, abs=0.01)
    assert checks.scores["raw"] == replace(
        again.scores["raw"],
        log_score_gain=checks.scores["raw"].log_score_gain,
        log_score_gain_se=checks.scores["raw"].log_score_gain_se,
        brier_gain=checks.scores["raw"].brier_gain,
        brier_gain_se=checks.scores["raw"].brier_gain_se,
    )
    widths = kennel.conception.kept.checks["prior_widths"]
    assert as_plain(from_plain(widths)) == widths


def test_missing_outcomes_are_told_with_both_extremes_before_any_order_of_methods(overview):
    order_of_keys = [one.key for one in overview.of_chances]

    assert [one.key for one in overview.answer][:2] == ["answer.year", "answer.program"]
    order = order_of_keys.index("check.methods")
    assert all(
        order_of_keys.index(key) < order for key in order_of_keys if key == "check.not_usable"
    )


def test_after_new_records_predictions_wait_for_the_next_fit(kennel):
    later = replace(kennel, conception=replace(kennel.conception, is_of_today=False))

    found = keys(kennel_checks(later))

    assert "check.awaiting" in found
    assert "check.predicted" not in found


def test_a_stopped_stud_is_in_no_table_of_checks(kennel, checks):
    stopped = replace(kennel, stopped=kennel.stopped | {"Merle"})

    without = kennel_checks(stopped)

    assert set(without.studs) == STUDS - {"Merle"}
    everything = {one.figure: one.observed for one in checks.replicated}
    fewer = {one.figure: one.observed for one in without.replicated}
    assert fewer["empty_twice"] < everything["empty_twice"]
    assert residuals_of(stopped) != residuals_of(kennel)


def test_without_names_no_stud_is_named_in_a_check(kennel):
    hidden, _ = without_names(kennel, [], ENGLISH_OWNER.words)
    found = overview_results(hidden, read_studs(hidden))
    page = render(build_overview(found, (), ENGLISH_OWNER))

    assert not [stud for stud in STUDS if stud in page]
    assert len(found.checks.studs) == len(STUDS)


def test_a_review_tells_what_concerns_him_alone(kennel):
    known = kennel.conception.posterior, kennel.stopped, prior_widths(kennel)

    def checks_of(stud):
        fitted, stopped, widths = known
        return stud_checks(fitted, stud, stopped, widths)

    checks = checks_of("Merle")

    assert set(checks.studs) == {"Merle"}
    assert "check.smallest_stud" in keys(checks)
    assert not checks.scores
    assert checks_of("Nobody").paragraphs == ()


def test_a_kennel_without_a_fit_is_checked_against_published_work_alone(kennel):
    unfitted = replace(kennel, conception=replace(kennel.conception, kept=None))

    checks = kennel_checks(unfitted)

    assert keys(checks)[0] == "check.expected"
    assert checks.scores is None
    assert checks.methods is None
    due = due_breedings(open_breedings(unfitted), unfitted.today)
    sentences = semen_type_sentences(due, prior_widths(unfitted))
    assert [one.key for one in sentences if one.key == "check.methods"] == []


def test_an_old_bitch_in_heat_heads_the_overview(overview, demo_store):
    # Birch was born on 1 Aug 2015 and is in heat since 22 Oct 2026.
    found = overview.cautions
    views = {name: demo_store.read(name) for name in DUE_VIEWS}

    assert ("bitch old", "Birch") in {(one.rule, one.sentence.values.get("dog")) for one in found}
    assert "bitch old" in {one.rule for one in cautions_of(views, "Birch", DEMO_TODAY)}


def test_a_file_from_before_checks_were_kept_is_read_without_them(kennel):
    kept = replace(kennel.conception.kept, checks={})
    checks = kennel_checks(replace(kennel, conception=replace(kennel.conception, kept=kept)))

    assert checks.scores is None
    assert checks.methods is None


def cells(report):
    """Every row of every table of a page, by its heading and its first cell."""
    for section in (*report.sections, *report.annex):
        if section.table is not None:
            for row in section.table.rows:
                yield section.name, row[0], row[1:]


def test_a_contrast_has_one_number_and_one_verdict_on_every_page_that_shows_it(kennel, overview):
    # Every page of the fit is laid out, and whatever it prints of a contrast, or of the chance of
    # a stud's breedings, is gathered under that contrast's name.
    words, told = ENGLISH_OWNER.words, {}

    def add(of, what, text):
        told.setdefault((of, what), set()).add(text)

    methods = {kind: METHOD_ROWS[kind] for kind in overview.checks.methods}
    (verdict,) = (one for one in overview.of_chances if one.key == "check.methods")
    for part in verdict.values["parts"]:
        row = methods[part.values["kind"].word]
        add(row, "fewer", words.probability(part.values["fewer"]))
    studs = [one for one in read_studs(kennel) if "chances" not in one.stopped]
    reviews = {one.name: stud_results(kennel, one, "owner") for one in studs}
    pages = [build_overview(overview, (), ENGLISH_OWNER)]
    pages += [build_stud_review(review, ENGLISH_OWNER) for review in reviews.values()]
    n_coefficients = 0
    for page in pages:
        for section, name, row in cells(page):
            for method in methods.values():
                if section == "coefficients" and name == words[f"prior.{method}"]:
                    n_coefficients += 1
                    add(method, "number", row[2])
                    add(method, "fewer", row[3])
                if section == "check-priors" and name == words[f"coefficient.{method}"]:
                    add(method, "number", row[0])
            if section == "check-priors" and name in reviews:
                add(name, "number", row[0])
    for name, review in reviews.items():
        for one in review.answer:
            if one.key == "answer.litters":
                add(name, "number", f"{words.percent(one.values['together'])} %")

    assert n_coefficients == 2 * len(reviews)
    assert set(told) == {
        *((row, what) for row in methods.values() for what in ("number", "fewer")),
        *((name, "number") for name in reviews),
    }
    assert {key: texts for key, texts in told.items() if len(texts) > 1} == {}
    # Second route: the draws that were kept, read by hand.
    draws = kennel.conception.posterior.draws
    for row in methods.values():
        (number,), (fewer,) = told[row, "number"], told[row, "fewer"]
        middle = np.sort(draws[row])[len(draws[row]) // 2]
        assert float(number.split(" ")[0].replace("−", "-")) == pytest.approx(middle, abs=0.011)
        assert fewer == words.probability(np.mean(draws[row] < 0))


def test_after_new_records_a_studs_chance_under_other_priors_waits_for_the_next_fit(kennel):
    later = replace(kennel, conception=replace(kennel.conception, is_of_today=False))

    assert prior_widths(later).methods == prior_widths(kennel).methods
    assert prior_widths(later).studs == {}
    assert set(prior_widths(kennel).studs) >= STUDS
