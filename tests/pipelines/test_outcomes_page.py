"""Motility, concentration, hours and day beside outcomes: from records to the page."""

import math
import re
import time
from dataclasses import replace
from html import unescape

import numpy as np
import pandas as pd
import pytest
from tests.printed import sentences_in

from studcurve.analytics.estimate import estimate_from_draws
from studcurve.analytics.models.breedings.exposures import EXPOSURES
from studcurve.analytics.models.breedings.records import in_model_order
from studcurve.analytics.models.conception.bred import partners, without_stopped
from studcurve.pipelines.pages.anonymous import without_names
from studcurve.pipelines.pages.kennel import read_kennel
from studcurve.pipelines.pages.outcomes import in_order, outcomes_of, outcomes_results
from studcurve.pipelines.pages.overview import overview_results
from studcurve.pipelines.pages.stud import read_stud, read_studs
from studcurve.pipelines.run import (
    DEMO_TODAY,
    ENGLISH_OWNER,
    write_outcomes,
    write_overview,
    write_pages,
)
from studcurve.reports.catalog import LANGUAGES
from studcurve.reports.page import Reader, render
from studcurve.reports.pages.outcomes import build_outcomes
from studcurve.reports.words import Words

pytestmark = pytest.mark.usefixtures("files_are_read_once")

MOST_SECONDS = 8.0
"""Of a processor, for everything that is told of the demo's four; it takes about three."""


@pytest.fixture(scope="module")
def kennel(fitted_kennel):
    return fitted_kennel


@pytest.fixture(scope="module")
def told(kennel):
    return outcomes_of(kennel)


@pytest.fixture(scope="module")
def rows(demo_records):
    """The owner's Breedings sheet."""
    return pd.read_csv(demo_records / "breedings.csv", dtype=str)


def keys(sentences):
    return [one.key for one in sentences]


def by_question(wording):
    return {(one.exposure, one.outcome): one for one in wording.summaries}


def counted(wording):
    """Everything that is counted and nothing that is modelled, question by question."""
    return {asked: one.counts for asked, one in by_question(wording).items()}


def report_of(kennel, stud=None, reader=ENGLISH_OWNER):
    results = outcomes_results(kennel, None if stud is None else read_stud(kennel, stud))
    return build_outcomes(results, reader)


# The kennel's page


def test_every_breeding_of_the_sheet_is_counted_once_or_held_back(kennel, told, rows):
    shown = rows[~rows["Stud"].isin(kennel.stopped) & ~rows["Bitch"].isin(kennel.stopped)]
    day = counted(told)["day", "litter"]

    assert 0 < len(shown) < len(rows)
    assert day.n_bred == len(shown)
    assert day.poor.n_bred + day.usual.n_bred + day.n_missing == day.n_bred
    assert counted(told)["motility", "litter"].n_bred == (shown["Semen"] != "natural").sum()
    fresh_or_chilled = shown["Semen"].isin(["fresh", "chilled"])
    assert counted(told)["hours", "litter"].n_bred == fresh_or_chilled.sum()
    assert counted(told)["day", "size"].n_bred == (shown["Result"] == "whelped").sum()
    (held_back,) = outcomes_results(kennel, told=told).held_back
    assert held_back.values["n"] == len(rows) - len(shown)


def test_each_side_and_band_is_counted_from_the_single_breedings(told):
    for (_, outcome), counts in counted(told).items():
        known = counts.poor.n_known + counts.usual.n_known
        assert known + counts.n_unreported + counts.n_missing == counts.n_bred
        assert sum(band.side.n_known for band in counts.bands) == len(counts.marks)
        for band in counts.bands:
            inside = [m.outcome for m in counts.marks if band.lower <= m.value < band.upper]
            assert band.side.n_known == len(inside)
            assert band.side.total == pytest.approx(sum(inside))
            assert (band.side.rate is None) == (len(inside) < 5)
            if band.side.rate is not None and outcome == "litter":
                assert band.side.rate.median == pytest.approx(sum(inside) / len(inside))


def test_the_page_and_the_section_of_the_overview_tell_the_same(kennel, told):
    overview = overview_results(kennel, read_studs(kennel)).outcomes_along

    assert overview.summaries == told.summaries
    assert overview.answer == told.answer
    assert overview.verdicts == told.verdicts


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("write", [write_outcomes, write_overview])
def test_page_and_section_are_written_in_either_language(
    fitted_store_path, told, tmp_path, language, write
):
    words = Words(language)
    page = write(fitted_store_path, tmp_path, today=DEMO_TODAY, reader=Reader(words))
    text = page.read_text("utf-8").replace("\u00a0", " ")

    for part in told.answer:
        assert words.tell(part).replace("\u00a0", " ") in text
    assert 'id="exposures"' in text
    if write is write_outcomes:
        assert all(f'id="outcomes-{exposure}"' in text for exposure in EXPOSURES)
    assert not re.search(r"\bnan\b|\bNone\b|\{\w", re.sub(r"<(script|style).*?</\1>", "", text,
                                                          flags=re.DOTALL))  # fmt: skip


def test_what_stands_first_could_have_cost_the_most_pups(told):
    at_stake = [one.pups_at_stake for one in told.summaries]

    assert at_stake == sorted(at_stake, reverse=True)
    assert told.exposures()[0] == told.summaries[0].exposure
    assert set(told.exposures()) == set(EXPOSURES)


def test_the_curve_at_the_ends_of_no_record_is_that_of_the_draws(kennel, told):
    # Second route: the published curve of the day at its last position, from the design alone.
    one = by_question(told)["day", "litter"]
    assert one.curve.n_bred == one.counts.n_bred
    assert one.loss.n == one.counts.poor.n_known
    assert all(0.0 <= e.lower <= e.median <= e.upper <= 1.0 for e in one.curve.together)
    draws = kennel.conception.posterior.draws["c02"]
    stays = estimate_from_draws(1.0 / (1.0 + math.e ** (-draws)))
    # No chance of a litter is above that of a pregnancy that stays one.
    assert max(e.median for e in one.curve.together) < stays.upper


def test_reading_the_page_takes_seconds_of_one_processor(kennel):
    began = time.process_time()
    outcomes_of(kennel)

    assert time.process_time() - began < MOST_SECONDS


def test_pages_ask_once_for_overview_and_page(fitted_store_path, tmp_path, monkeypatch):
    from studcurve.pipelines.pages import outcomes, overview

    asked = []

    def once(kennel, stud=None):
        asked.append(stud)
        return outcomes_of(kennel, stud)

    monkeypatch.setattr(outcomes, "outcomes_of", once)
    monkeypatch.setattr(overview, "outcomes_of", once)
    pages = write_pages(fitted_store_path, tmp_path, today=DEMO_TODAY, studs=["Tarn"])

    assert asked == [None]
    assert "outcomes.html" in [page.name for page in pages]
    assert 'href="outcomes.html"' in (tmp_path / "index.html").read_text("utf-8")


# One stud


def test_a_studs_page_counts_his_breedings_alone(kennel, told, rows):
    open_rows = rows[~rows["Bitch"].isin(kennel.stopped) & ~rows["Stud"].isin(kennel.stopped)]
    by_stud = {stud: counted(outcomes_of(kennel, stud)) for stud in sorted(set(rows["Stud"]))}

    for stud, counts in by_stud.items():
        assert counts["day", "litter"].n_bred == (open_rows["Stud"] == stud).sum()
    for asked, all_of_them in counted(told).items():
        for read in (
            lambda c: c.n_bred, lambda c: c.n_missing, lambda c: c.n_unreported,
            lambda c: c.poor.n_known, lambda c: c.usual.total, lambda c: len(c.marks),
        ):  # fmt: skip
            assert sum(read(counts[asked]) for counts in by_stud.values()) == read(all_of_them)


def test_how_many_would_show_it_is_told_of_the_kennel_alone(kennel, told):
    his = outcomes_of(kennel, "Tarn")

    assert any(one.needed is not None for one in told.summaries)
    assert all(one.needed is None for one in his.summaries)
    assert not [key for part in his.paragraphs for key in keys(part) if "needed" in key]


def test_a_stopped_studs_page_says_the_warning_and_no_number(kennel, fitted_store_path, tmp_path):
    for stud in sorted(kennel.stopped & set(kennel.views["breedings"]["stud"])):
        results = outcomes_results(kennel, read_stud(kennel, stud))
        report = build_outcomes(results, ENGLISH_OWNER)

        assert results.cautions
        assert keys(results.wording.answer) == ["outcomes.nothing"]
        assert report.sections == report.annex == report.method == ()
        page = write_outcomes(fitted_store_path, tmp_path, today=DEMO_TODAY, stud=stud)
        text = page.read_text("utf-8")
        warning = ENGLISH_OWNER.words.tell(results.cautions[0].sentence)
        assert warning in unescape(text).replace("\u00a0", " ")
        assert 'class="chart"' not in text
        assert "<table" not in text


def test_no_number_counts_a_stopped_dogs_breedings(
    kennel, told, demo_records, kennel_class, tmp_path
):
    # Second route: a records file whose Breedings sheet never held them.
    without = kennel_class(tmp_path)
    rows = pd.read_csv(demo_records / "breedings.csv", dtype=str, keep_default_na=False)
    kept = rows[~rows["Stud"].isin(kennel.stopped) & ~rows["Bitch"].isin(kennel.stopped)]
    sheets = [path for path in demo_records.glob("*.csv") if path.stem != "breedings"]
    without.load(*sheets, without.write("breedings", kept.to_dict("records")), today=DEMO_TODAY)
    other = outcomes_of(read_kennel(without.records, DEMO_TODAY))

    assert len(kept) < len(rows)
    for asked, counts in counted(other).items():
        # What went with it reads the bitches' earlier heats, also those with other studs.
        assert replace(counts, together_with=()) == replace(
            counted(told)[asked], together_with=()
        ), asked
    # And what the page says there are is what it counts, whatever the fit has seen.
    for one, paragraph in zip(told.summaries, told.paragraphs, strict=True):
        for part in paragraph:
            if part.key.startswith("outcomes.needed"):
                known = one.counts.poor.n_known + one.counts.usual.n_known
                assert part.values["n_known"] == known


# Fits that are old, or are not there


def test_without_a_fit_the_page_counts_and_tells_of_studies_alone(demo_kennel, told):
    unfitted = outcomes_of(demo_kennel)

    assert keys(unfitted.answer) == ["outcomes.no_fit"]
    assert unfitted.fitted == frozenset()
    assert counted(unfitted) == counted(told)
    said = {key for part in unfitted.paragraphs for key in keys(part)}
    assert not [key for key in said if re.match(r"outcomes\.(loss|needed|open|bounded|fewer)", key)]
    assert "outcomes.unasked" in said
    report = report_of(demo_kennel)
    assert {row[7] for one in report.sections for row in one.table.rows} == {"–"}


def test_a_fit_from_before_the_records_were_asked_says_so_and_rules_nothing_out(kennel, told):
    old = replace(
        kennel,
        conception=replace(
            kennel.conception,
            kept=replace(kennel.conception.kept, checks={"left_out": {}}),
        ),
        litter=replace(kennel.litter, kept=replace(kennel.litter.kept, checks={})),
    )
    wording = outcomes_of(old)

    assert keys(wording.answer) == ["outcomes.fit_again"]
    assert wording.fitted == {"litter", "size"}
    assert not {"outcomes.open_litter", "outcomes.bounded_litter", "outcomes.open_size",
                "outcomes.bounded_size"} & set(keys(wording.verdicts))  # fmt: skip
    assert counted(wording) == counted(told)
    assert by_question(wording)["day", "litter"].loss == by_question(told)["day", "litter"].loss


def test_a_fit_of_litters_that_was_never_asked_is_asked_for_again(kennel):
    old = replace(
        kennel, litter=replace(kennel.litter, kept=replace(kennel.litter.kept, checks={}))
    )

    assert keys(outcomes_of(old).answer) == ["outcomes.fit_again"]


def test_a_kennel_of_one_fitted_model_tells_both_together_of_that_one_alone(kennel):
    one = replace(kennel, litter=replace(kennel.litter, kept=None))
    wording = outcomes_of(one)

    assert wording.fitted == {"litter"}
    said = {key for part in wording.paragraphs for key in keys(part)}
    assert "outcomes.loss_litter" in said
    assert "outcomes.loss_size" not in said


def test_a_page_says_how_many_records_the_fit_has_not_seen(kennel, told):
    aged = replace(kennel, conception=replace(kennel.conception, n_records_since=3))

    assert outcomes_results(kennel, told=told).fit_age is None
    assert outcomes_results(aged, told=told).fit_age.values["n"] == 3


# Readers


def test_without_names_the_page_says_the_same_and_names_nobody(kennel, told):
    words = Words("de")
    hidden, (code,) = without_names(kennel, ["Tarn"], words)

    assert outcomes_of(hidden) == told
    page = render(report_of(hidden, code, Reader(words)))
    names = {name for name in kennel.views["dogs"]["call_name"] if len(name) > 3}
    assert not [name for name in names if re.search(rf"\b{name}\b", page)]


def test_without_names_each_row_is_still_beside_its_own_breeding(kennel_class, tmp_path):
    # Two bitches of one day: by name Fern is the first, by their codes Sedge.
    lines = [
        line | {"Bitch": bitch, "Date": "2024-03-05", "Semen": semen}
        for line, bitch, semen in zip(
            bred("chilled", ["whelped", "missed"]), ("Fern", "Sedge"), ("fresh", "chilled"),
            strict=True,
        )
    ]  # fmt: skip
    kennel = small(kennel_class, tmp_path, lines)
    hidden, _ = without_names(kennel, [], Words("en"))
    coded = hidden.views["breedings"]

    rows = in_order(coded, hidden.conception.posterior.data)
    assert rows["semen_type"].tolist() == ["fresh", "chilled"]
    assert kennel.conception.posterior.data.semen_type.tolist() == ["fresh", "chilled"]
    assert in_model_order(coded)["semen_type"].tolist() == ["chilled", "fresh"]


def n_marks(report):
    """Single breedings that the pictures of a page hold."""
    rows = [row for section in report.sections for _, chart in section.charts
            for rows in chart["datasets"].values() for row in rows]  # fmt: skip
    return sum("about" in row for row in rows)


def test_no_name_of_a_dog_but_the_studs_own_stands_on_a_clients_page(kennel):
    client = Reader(Words("en"), "client")
    names = {name for name in kennel.views["dogs"]["call_name"] if len(name) > 3}
    for stud in (None, "Tarn"):
        page = re.sub(r"<(script|style)>.*?</\1>", "", render(report_of(kennel, stud, client)),
                      flags=re.DOTALL)  # fmt: skip
        assert {name for name in names if re.search(rf"\b{name}\b", page)} == {stud} - {None}
        assert n_marks(report_of(kennel, stud, client)) == 0
        assert n_marks(report_of(kennel, stud)) > 0


# Kennels at the edge


DOGS = [
    {"Dog": "Rowan", "Sex": "male", "Born": "2020-04-02"},
    *({"Dog": name, "Sex": "female", "Born": "2020-05-01"} for name in ("Bryony", "Sedge", "Fern")),
]


def bred(semen, results, **cells):
    """Two breedings a year of three bitches, one line for each result."""
    route = "natural" if semen == "natural" else "vaginal"
    return [
        {"Bitch": ("Bryony", "Sedge", "Fern")[k % 3], "Stud": "Rowan", "Semen": semen,
         "Date": f"{2023 + k // 6}-{'03' if k % 6 < 3 else '09'}-{5 + k % 3:02d}", "Route": route,
         "Result": result, "Born alive": "5" if result == "whelped" else "",
         "Stillborn": "0" if result == "whelped" else ""} | cells
        for k, result in enumerate(results)
    ]  # fmt: skip


def small(kennel_class, folder, breedings, **sheets):
    made = kennel_class(folder)
    paths = [made.write("dogs", DOGS), made.write("breedings", breedings)]
    paths += [made.write(sheet, lines) for sheet, lines in sheets.items()]
    report = made.load(*paths, today=DEMO_TODAY)
    assert report.n_refused == 0, report.findings
    return read_kennel(made.records, DEMO_TODAY)


def standings(wording, outcome="litter"):
    return {one.exposure: one.standing for one in wording.summaries if one.outcome == outcome}


def answered(kennel):
    """What is told of a kennel, once every page of it has been laid out."""
    for language in LANGUAGES:
        for stud in (None, "Rowan"):
            page = render(report_of(kennel, stud, Reader(Words(language))))
            shown = re.sub(r"<(script|style).*?</\1>", "", page, flags=re.DOTALL)
            assert not re.search(r"\bnan\b|\bNone\b|\binf\b|∞", shown)
    return outcomes_of(kennel)


def test_natural_matings_have_a_day_and_nothing_else(kennel_class, tmp_path):
    told = answered(small(kennel_class, tmp_path, bred("natural", ["whelped", "missed"] * 4)))

    assert standings(told) == {
        "motility": "not_asked", "concentration": "not_asked", "hours": "not_asked",
        "day": "not_recorded",
    }  # fmt: skip


def test_frozen_semen_alone_has_no_hours_and_what_was_not_recorded_is_asked_for(
    kennel_class, tmp_path
):
    told = answered(small(kennel_class, tmp_path, bred("frozen", ["whelped", "missed"] * 4)))

    assert standings(told)["hours"] == "not_asked"
    assert standings(told)["motility"] == standings(told)["concentration"] == "not_recorded"
    said = [key for part in told.paragraphs for key in keys(part)]
    assert {"outcomes.not_recorded_motility", "outcomes.not_recorded_concentration"} <= set(said)


def test_without_a_shipment_no_lateness_is_told(kennel_class, tmp_path):
    lines = bred("chilled", ["whelped", "missed"] * 4, Collected_on="")
    lines = [{k: v for k, v in line.items() if k != "Collected_on"} for line in lines]
    told = answered(small(kennel_class, tmp_path, lines))

    assert all(one.counts.late is None for one in told.summaries)
    assert not [key for part in told.paragraphs for key in keys(part) if "late_" in key]
    assert standings(told)["hours"] == "not_recorded"


@pytest.mark.parametrize("results", [["missed"] * 6, ["whelped"] * 6, [""] * 6])
@pytest.mark.parametrize("semen", ["natural", "chilled"])
def test_outcomes_that_are_all_alike_are_counted(kennel_class, tmp_path, semen, results):
    kennel = small(kennel_class, tmp_path, bred(semen, results))
    told = answered(kennel)
    sizes = [one for one in told.summaries if one.outcome == "size"]

    n_whelped = results.count("whelped")
    assert {one.counts.n_bred for one in sizes if one.exposure == "day"} == {n_whelped}
    if not n_whelped:
        assert {one.standing for one in sizes} == {"not_asked"}
        assert all(one.curve is None and one.loss is None for one in sizes)


def test_one_breeding_is_no_share_and_none_is_a_sentence(kennel_class, tmp_path):
    one = answered(small(kennel_class, tmp_path / "one", bred("chilled", ["whelped"])))
    none = answered(small(kennel_class, tmp_path / "none", []))

    assert all(side.rate is None for part in one.summaries
               for side in (part.counts.poor, part.counts.usual))  # fmt: skip
    assert keys(none.answer) == ["outcomes.nothing"]
    assert not none.has_breedings


def collected(days_and_motility):
    return [
        {"Dog": "Rowan", "Date": on, "Time": "08:00", "Volume (mL)": "3",
         "Concentration (M/mL)": "200", "Progressive motility (%)": motility,
         "How motility was evaluated": "by eye"}
        for on, motility in days_and_motility
    ]  # fmt: skip


@pytest.mark.parametrize("n", [4, 5])
def test_a_band_of_four_is_marks_and_of_five_a_share(kennel_class, tmp_path, n):
    lines = bred("fresh", ["whelped", "missed", "missed", "missed", "whelped"][:n], Time="10:00")
    lines = [line | {"Collected on": line["Date"]} for line in lines]
    sheet = collected([(line["Date"], "75") for line in lines])
    kennel = small(kennel_class, tmp_path, lines, collections=sheet)
    told = answered(kennel)
    (hours,) = counted(told)["hours", "litter"].bands

    assert hours.side.n_known == n
    assert (hours.side.rate is None) == (n < 5)
    section = next(one for one in report_of(kennel).sections if one.name == "outcomes-hours")
    few = ENGLISH_OWNER.words.say("outcomes.too_few", known=4)
    assert (few in section.table.rows[0]) == (n < 5)
    assert len(counted(told)["hours", "litter"].marks) == n


def test_what_lies_beyond_the_studied_range_is_told_without_a_middle(kennel_class, tmp_path):
    # Chilled for four days, and a motility below the lowest that was studied.
    lines = bred("chilled", ["whelped", "missed"] * 3, Time="08:00")
    sent = [pd.Timestamp(line["Date"]) - pd.Timedelta(days=4) for line in lines]
    lines = [
        line | {"Collected on": f"{on:%Y-%m-%d}"} for line, on in zip(lines, sent, strict=True)
    ]
    sheet = collected([(f"{on:%Y-%m-%d}", "12") for on in sent])
    kennel = small(kennel_class, tmp_path, lines, collections=sheet)
    told = answered(kennel)
    beyond = [counted(told)[exposure, "litter"].bands[-1 if exposure == "hours" else 0]
              for exposure in ("hours", "motility")]  # fmt: skip

    assert beyond[0].middle == pytest.approx(96.0, abs=0.6)
    assert beyond[1].middle < 10.0
    for exposure in ("hours", "motility"):
        table = next(
            one.table for one in report_of(kennel).sections if one.name == f"outcomes-{exposure}"
        )
        assert not [row for row in table.rows if row[6] != "–" and "(" in row[6]]
        assert [row for row in table.rows if re.fullmatch(r"\d.* to .*\d|\d+–\d+", row[6])]


def test_a_stopped_dogs_only_breedings_leave_nothing_to_tell(kennel_class, tmp_path):
    positive = [{"Dog": "Rowan", "Date": "2026-10-01", "Kind": "laboratory test",
                 "What": "Brucella (RSAT)", "Result": "positive"}]  # fmt: skip
    kennel = small(kennel_class, tmp_path, bred("natural", ["whelped"] * 6), health=positive)
    told = answered(kennel)
    results = outcomes_results(kennel)
    words = ENGLISH_OWNER.words
    page = render(build_outcomes(results, ENGLISH_OWNER)).replace("\u00a0", " ")

    assert "Rowan" in kennel.stopped
    assert keys(told.answer) == ["outcomes.nothing"]
    assert [one.values["n"] for one in results.held_back] == [6]
    assert words.tell(results.held_back[0]).replace("\u00a0", " ") in page
    assert results.method == ()
    overview = render_overview(kennel)
    assert sentences_in(overview, "outcomes.overview_lead") == []


def render_overview(kennel):
    from studcurve.reports.pages.overview import build_overview

    return render(
        build_overview(overview_results(kennel, read_studs(kennel)), (), ENGLISH_OWNER)
    ).replace("\u00a0", " ")


# Regressions beside the model


def test_regressions_left_out_the_breedings_that_the_page_leaves_out(kennel, told):
    results = outcomes_results(kennel, told=told)

    litters, sizes = results.regressions
    counts = counted(told)["day", "litter"]
    assert litters.n_known == counts.poor.n_known + counts.usual.n_known + sum(
        1 for mark in known_without_a_day(kennel) if mark
    )
    assert (litters.outcome, sizes.outcome) == ("litter", "size")
    assert set(results.model_score) == {"log_loss", "brier"}
    assert "regressed.held" not in keys(results.left_out)


def known_without_a_day(kennel):
    """Whether each breeding that is told of has a known result and no recorded day."""
    data = kennel.conception.posterior.data
    shown = without_stopped(kennel.stopped, *partners(data))
    return shown & (data.whelped >= 0) & np.isnan(data.exposures.day)


def test_where_other_dogs_are_stopped_today_no_regression_is_shown(kennel, told):
    others = replace(kennel, stopped=kennel.stopped - {min(kennel.stopped)})

    results = outcomes_results(others)

    assert results.regressions == ()
    assert "regressed.held" in keys(results.left_out)


def test_of_one_stud_no_regression_is_shown(kennel):
    assert outcomes_results(kennel, read_stud(kennel, "Tarn")).regressions == ()
