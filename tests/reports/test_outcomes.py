"""The page of motility, concentration, hours and day: what it shows, and what it may not show."""

import re
from dataclasses import replace

import altair as alt
import pytest

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.models.breedings.exposures import EXPOSURES
from studcurve.analytics.outcomes.summary import OUTCOMES
from studcurve.analytics.wording.outcomes import outcomes_wording
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.reports.catalog import LANGUAGES, texts
from studcurve.reports.page import Reader
from studcurve.reports.pages.outcomes import build_outcomes
from studcurve.reports.sections.outcomes import outcomes_section
from studcurve.reports.words import Words
from tests.reports.samples import (
    BEYOND,
    CLIENT,
    EN,
    FOUR,
    GRID,
    OWNER,
    STOP,
    exposure_outcome,
    outcomes_along,
    outcomes_results,
)

NONE_SHOWN = "–"

STUDIED_TO = {exposure: grid[-1] for exposure, grid in GRID.items()}


def page(reader=OWNER, **how):
    return build_outcomes(outcomes_results(**how), reader)


def section(report, exposure):
    (found,) = [one for one in report.sections if one.name == f"outcomes-{exposure}"]
    return found


def data_of(chart):
    """Every row that a picture holds."""
    return [row for rows in chart["datasets"].values() for row in rows]


def told(*summaries, **how):
    how = {"fitted": OUTCOMES, "asked": OUTCOMES, "is_of_one_stud": False} | how
    return outcomes_wording(summaries, **how)


def keys(sentences):
    return [one.key for one in sentences]


def numbers(text):
    """Numbers of a text, whatever a language puts between their digits."""
    return [re.sub("[.,]", "", one) for one in re.findall(r"\d+(?:[.,]\d+)*", text)]


def all_numbers(report, part):
    shown = [part.lead, *part.paragraphs, *(spoken for spoken, _ in part.charts)]
    return [numbers(text) for text in shown], [
        [numbers(cell) for cell in row] for row in part.table.rows
    ]


def test_both_languages_tell_the_same_numbers_and_draw_the_same_marks():
    english, german = (page(Reader(Words(language))) for language in ("en", "de"))

    assert [one.name for one in english.sections] == [one.name for one in german.sections]
    for one, other in zip(
        (*english.sections, *english.annex), (*german.sections, *german.annex), strict=True
    ):
        assert all_numbers(english, one) == all_numbers(german, other)
        for (_, drawn), (_, again) in zip(one.charts, other.charts, strict=True):
            places = [
                [
                    {k: v for k, v in row.items() if k not in {"about", "way"}}
                    for row in data_of(chart)
                ]
                for chart in (drawn, again)
            ]
            assert places[0] == places[1]
    assert numbers(" ".join(english.answer)) == numbers(" ".join(german.answer))


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_overview_has_a_line_for_each_of_the_eight_questions(language):
    words = Words(language)
    found = outcomes_section(outcomes_along(), words)

    asked = [(exposure, outcome) for exposure in EXPOSURES for outcome in OUTCOMES]
    assert [row[:2] for row in found.table.rows] == [
        (words.word("exposed_to", exposure), words.word("outcome_of", outcome))
        for exposure, outcome in asked
    ]
    assert words["outcomes.kind"] in found.lead


def test_four_known_results_are_marks_alone_and_five_have_a_share():
    for exposure in EXPOSURES:
        found = section(page(), exposure)
        four, five, _ = found.table.rows[:3]
        _, chart = found.charts[0]
        rows = data_of(chart)

        assert (four[3], five[3]) == ("4", "5")
        assert four[5] == EN.say("outcomes.too_few", known=4)
        assert five[5] == "61 (23–90)"
        assert [row["n"] for row in rows if "n" in row] == [5]
        assert len([row for row in rows if "about" in row]) == 10


def test_a_value_beyond_what_was_studied_has_an_interval_without_a_middle():
    for exposure in EXPOSURES:
        for row in section(page(), exposure).table.rows:
            beyond = row[1] == EN.say("outcomes.band_from", lower=EN.number(STUDIED_TO[exposure]))
            modelled = [cell for cell in row[6:] if cell != NONE_SHOWN]
            assert all(("(" not in cell) == beyond for cell in modelled)
            if exposure == "concentration" and row[0] == EN.word("outcome_of", "size"):
                assert modelled == []
            else:
                assert len(modelled) == 2


def test_the_line_is_drawn_through_only_where_a_record_lies():
    (_, chart), _ = section(page(), "hours").charts
    drawn = {row["x"]: row["is_recorded"] for row in data_of(chart) if "is_recorded" in row}

    # The first mark lies at 0 h, the last one beyond the grid.
    assert drawn == {0.0: True, 24.0: True, 72.0: True}
    only = exposure_outcome("hours", "litter")
    marks = tuple(mark for mark in only.counts.marks if mark.value < 24.0)
    only = replace(only, counts=replace(only.counts, marks=marks))
    results = replace(outcomes_results(), wording=told(only))
    ((_, chart),) = section(build_outcomes(results, OWNER), "hours").charts
    drawn = {row["x"]: row["is_recorded"] for row in data_of(chart) if "is_recorded" in row}
    assert drawn == {0.0: True, 24.0: False, 72.0: False}


@pytest.mark.parametrize("has_marks", [True, False])
@pytest.mark.parametrize("has_curve", [True, False])
@pytest.mark.parametrize("outcome", OUTCOMES)
@pytest.mark.parametrize("exposure", EXPOSURES)
def test_every_picture_is_a_whole_specification_whatever_it_lacks(
    exposure, outcome, has_curve, has_marks
):
    one = exposure_outcome(exposure, outcome)
    if not has_marks:
        one = replace(one, counts=replace(one.counts, marks=(), bands=()))
    if not has_curve:
        one = replace(one, curve=None)
    report = build_outcomes(replace(outcomes_results(), wording=told(one)), OWNER)

    charts = section(report, exposure).charts
    has_picture = has_marks or one.curve is not None
    assert len(charts) == has_picture
    for spoken, chart in charts:
        alt.Chart.from_dict(chart, validate=True)
        assert len(one.counts.marks) == len([row for row in data_of(chart) if "about" in row])
        assert EN[f"outcomes.of_{exposure}"] in spoken
    # What stands as NaN in a frame is no JSON.
    assert not [
        row for _, chart in charts for row in data_of(chart) for v in row.values() if v != v
    ]


def test_how_to_read_the_pictures_is_said_with_the_first_and_only_once():
    bare = exposure_outcome("motility", "litter", curve=None)
    bare = replace(bare, counts=replace(bare.counts, marks=()))
    wording = told(bare, exposure_outcome("hours", "litter"), exposure_outcome("day", "litter"))
    report = build_outcomes(replace(outcomes_results(), wording=wording), OWNER)

    said = [EN["outcomes.picture_both"] in " ".join(one.paragraphs) for one in report.sections]
    assert said == [False, True, False]


def test_before_a_fit_nothing_is_told_of_both_together():
    report = page(fitted=(), asked=())

    assert keys(outcomes_along(fitted=(), asked=()).answer) == ["outcomes.no_fit"]
    for one in report.sections:
        assert {row[7] for row in one.table.rows} == {NONE_SHOWN}
        for _, chart in one.charts:
            assert {row["source"] for row in data_of(chart) if "source" in row} <= {"published"}
        text = " ".join(one.paragraphs)
        assert EN["outcomes.picture_both"] not in text
        assert "863" not in text
    summary = report.annex[0]
    assert {row[5] for row in summary.table.rows} == {NONE_SHOWN}
    said = {row[:2]: row[6] for row in summary.table.rows}
    never = EN.word("exposed_to", "concentration"), EN.word("outcome_of", "size")
    assert said.pop(never) == EN["outcomes.no_row"]
    assert set(said.values()) == {EN["outcomes.unasked"]}


@pytest.mark.parametrize("standing", ["open", "bounded"])
def test_concentration_is_never_set_beside_the_size_of_a_litter_by_a_model(standing):
    wording = told(exposure_outcome("concentration", "size", standing))

    assert keys(wording.verdicts) == ["outcomes.no_row"]
    (paragraph,) = wording.paragraphs
    assert keys(paragraph).count("outcomes.no_row") == 1
    assert not any(key.startswith("outcomes.needed") for key in keys(paragraph))
    other = told(exposure_outcome("concentration", "litter", standing)).paragraphs[0]
    assert any(key.startswith("outcomes.needed") for key in keys(other))


def test_a_model_of_litters_alone_says_nothing_of_sizes_together():
    report = page(fitted=("litter",), asked=("litter",))

    for one in report.sections:
        of_size = [row[7] for row in one.table.rows if row[0] == EN.word("outcome_of", "size")]
        of_litter = [row[7] for row in one.table.rows if row[0] == EN.word("outcome_of", "litter")]
        assert set(of_size) == {NONE_SHOWN}
        assert NONE_SHOWN not in of_litter


@pytest.mark.parametrize("standing", ["open", "bounded"])
def test_a_fit_that_never_asked_the_records_alone_rules_nothing_out(standing):
    one = exposure_outcome("day", "litter", standing)
    wording = told(one, asked=())

    assert keys(wording.answer) == ["outcomes.fit_again"]
    assert keys(wording.verdicts) == ["outcomes.unasked"]
    assert f"outcomes.{standing}_litter" not in keys(wording.paragraphs[0])
    assert keys(told(one).verdicts) == [f"outcomes.{standing}_litter"]


@pytest.mark.parametrize("standing", ["fewer", "more"])
@pytest.mark.parametrize("outcome", OUTCOMES)
def test_what_the_kennel_shows_is_not_told_of_a_stud_as_his(standing, outcome):
    one = exposure_outcome("day", outcome, standing)

    assert keys(told(one).verdicts) == [f"outcomes.{standing}_{outcome}"]
    his = told(one, is_of_one_stud=True)
    assert keys(his.verdicts) == [f"outcomes.{standing}_{outcome}_in_kennel"]
    assert keys(his.answer)[1:] == [his.verdicts[0].key, "outcomes.association"]


@pytest.mark.parametrize(
    ("at_stake", "n"), [(0.0, None), (0.49, None), (0.51, 1), (1.4, 1), (1.6, 2), (16.3, 16)]
)
def test_what_rounds_to_no_pup_is_not_called_what_mattered_most(at_stake, n):
    answer = told(exposure_outcome("day", "litter", pups_at_stake=at_stake)).answer
    stated = [one.values["n"] for one in answer if one.key == "outcomes.foremost"]

    assert stated == ([] if n is None else [n])


@pytest.mark.parametrize(("n", "key"), [(9.0, "needed_none"), (10.0, "needed")])
def test_the_breedings_on_record_are_those_of_the_page(n, key):
    # Four and five are counted here; the fit, which knows of no stop, counted others, too.
    one = exposure_outcome("day", "litter")
    one = replace(one, needed=replace(one.needed, n=n, n_known=999))
    (found,) = [s for s in told(one).paragraphs[0] if s.key.startswith("outcomes.needed")]

    assert found.key == f"outcomes.{key}_litter"
    assert found.values["n_known"] == 9


def test_without_a_breeding_to_tell_of_the_page_is_its_warning_and_a_sentence():
    report = page(cautions=(STOP,))

    assert report.cautions == (STOP,)
    assert report.answer[0] == EN["outcomes.nothing"]
    assert report.sections == report.annex == report.method == ()


def test_a_client_sees_no_single_breeding_and_no_stopped_dog():
    owner, client = page(), page(CLIENT)

    held_back = EN.tell(outcomes_results().held_back[0])
    assert held_back in owner.answer
    assert held_back not in client.answer
    for one, other in zip(owner.sections, client.sections, strict=True):
        assert one.table == other.table
        assert any("about" in row for _, chart in one.charts for row in data_of(chart))
        assert not any("about" in row for _, chart in other.charts for row in data_of(chart))
        assert EN["outcomes.picture_marks"] not in " ".join(other.paragraphs)
    assert EN["outcomes.picture_marks"] in " ".join(owner.sections[0].paragraphs)


def test_a_side_without_a_known_result_has_a_dash_and_what_holds_of_both_is_said_once():
    summaries = [
        replace(
            exposure_outcome("hours", outcome, "not_asked", curve=None, loss=None, needed=None),
            counts=replace(
                exposure_outcome("hours", outcome).counts, poor=replace(FOUR, n_known=0), bands=(),
                marks=(), together_with=(), n_missing=0, n_unreported=0,
            ),
        )
        for outcome in OUTCOMES
    ]  # fmt: skip
    wording = told(*summaries)
    (shown,) = build_outcomes(replace(outcomes_results(), wording=wording), OWNER).sections

    assert shown.paragraphs == (EN["outcomes.not_asked"],)
    few = told(*(replace(one, standing="no_poor") for one in summaries))
    assert {row[2] for row in outcomes_section(few, EN).table.rows} == {NONE_SHOWN}


def test_a_mean_below_no_pup_is_drawn_from_none():
    one = exposure_outcome("day", "size")
    band = replace(
        one.counts.bands[1], side=replace(FOUR, n_known=5, rate=Estimate(1.0, -2.0, 4.0))
    )
    one = replace(one, counts=replace(one.counts, bands=(band,)))
    report = build_outcomes(replace(outcomes_results(), wording=told(one)), OWNER)

    ((_, chart),) = section(report, "day").charts
    (point,) = [row for row in data_of(chart) if "n" in row]
    assert (point["lower"], point["upper"]) == (0.0, 4.0)


def test_the_axis_reaches_whatever_is_drawn():
    one = exposure_outcome("day", "size")
    top = replace(one.counts.marks[-1], outcome=14.0)
    one = replace(one, counts=replace(one.counts, marks=(*one.counts.marks[:-1], top)))
    report = build_outcomes(replace(outcomes_results(), wording=told(one)), OWNER)

    ((_, chart),) = section(report, "day").charts
    (scale,) = {str(layer["encoding"]["y"]["scale"]["domain"]) for layer in chart["layer"]}
    assert float(scale.strip("[]").split(",")[1]) >= 14.0
    assert max(row["x"] for row in data_of(chart) if "about" in row) == BEYOND["day"]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("exposure", EXPOSURES)
def test_a_sheet_and_a_heading_that_are_asked_for_exist(language, exposure):
    text = texts(language)[f"outcomes.not_recorded_{exposure}"]
    quoted = set(re.findall("[“„]([^“”„]+)[”“]", text))
    plain = re.sub("[“„][^“”„]+[”“]", "", text)
    sheets = [sheet for sheet in SHEETS.values() if re.search(rf"\b{sheet.title}\b", plain)]
    headings = {column.heading for sheet in sheets for column in sheet.columns}

    assert sheets
    assert quoted
    assert quoted <= headings
    # A title is a name: a word with a capital amid an English sentence is one of them.
    amid = re.findall(r"(?<![.] )(?<!^)\b[A-Z][a-z]+", plain)
    named = {word for sheet in sheets for word in sheet.title.split()}
    assert language != "en" or set(amid) <= named


def test_a_regression_is_drawn_where_it_has_a_curve_and_told_beside_the_model():
    report = page()
    chart = dict(section(report, "hours").charts)
    (litters, *_) = chart.values()
    drawn = [row for row in data_of(litters) if "way" in row]
    assert [(row["x"], row["median"]) for row in drawn] == [(24.0, 60.0), (48.0, 40.0)]
    assert {row["way"] for row in drawn} == {EN.word("regressed_by", "ridge")}
    others = [one for name in ("motility", "day") for _, one in section(report, name).charts]
    assert not any("way" in row for one in others for row in data_of(one))

    by_name = {one.name: one for one in report.annex}
    ways = {row[2]: row[3] for row in by_name["regressed"].table.rows if row[0] == EN.word(
        "exposed_to", "hours")}  # fmt: skip
    assert numbers(ways[EN.word("regressed_by", "rates")]) == numbers("+12 (−3 to +25)")
    assert numbers(ways[EN.word("regressed_by", "ridge")]) == numbers("+5")
    assert ways[EN.word("regressed_by", "gee")] == EN.say("regress.few_litter", n=9, wanted=45)
    (scores, model) = by_name["regressed-scores"].table.rows
    assert numbers(scores[1]) == numbers("0.660")
    assert model[0] == EN["predictor.model"]
    assert len(by_name["regressed-studs"].table.rows) == 1


def test_without_regressions_nothing_is_said_of_them():
    report = build_outcomes(replace(outcomes_results(), regressions=(), model_score={}), OWNER)

    assert not any(one.name.startswith("regressed") for one in report.annex)
