"""The page of a comparison: what it shows is what the draws say, and no more than may be said."""

import re
from dataclasses import replace

import altair as alt
import numpy as np
import pytest

from studcurve.analytics.sentences import sentence
from studcurve.reports.page import render
from studcurve.reports.pages.comparison import build_comparison
from tests.printed import on_one_line, sentences_in
from tests.reports.samples import (
    CLIENT,
    EN,
    OWNER,
    STOP,
    VET,
    comparison_results,
    every_report,
    plan,
)


def section(report, name):
    (found,) = [section for section in report.sections if section.name == name]
    return found


def data(spec):
    """Every dataset of a picture."""
    return list(spec["datasets"].values())


@pytest.fixture(scope="module")
def page():
    return build_comparison(comparison_results(), OWNER)


def test_every_number_of_the_table_is_read_from_the_draws(page):
    for answer, row in zip(plan().answers, section(page, "ways").table.rows, strict=True):
        draws = answer.outcome.litter_prob
        low, high = np.quantile(draws, [0.05, 0.95])
        assert row[2] == f"{100 * draws.mean():.0f}"
        assert row[3] == f"{100 * low:.0f}–{100 * high:.0f}"
    for answer, row in zip(plan().answers, section(page, "pups").table.rows, strict=True):
        alive = answer.pups.alive
        assert row[1] == OWNER.words.probability(float((alive == 0).mean()))
        assert row[2:5] == tuple(f"{q:.0f}" for q in np.quantile(alive, [0.1, 0.5, 0.9]))


def test_bars_and_blocks_hold_all_draws_and_the_mark_stands_at_the_mean(page):
    (_, chances), (_, pups) = section(page, "ways").charts[0], section(page, "pups").charts[0]
    answers = plan().answers
    bars = next(rows for rows in data(chances) if "height" in rows[0])
    marks = next(rows for rows in data(chances) if "middle" in rows[0])
    blocks = next(rows for rows in data(pups) if "level" in rows[0])
    for k, answer in enumerate(answers):
        counts, edges = np.histogram(100 * answer.outcome.litter_prob, np.arange(0, 101, 4))
        of_way = [bar for bar in bars if bar["row"] == k]
        assert [bar["left"] for bar in of_way] == edges[:-1][counts > 0].tolist()
        assert [bar["height"] for bar in of_way] == pytest.approx(
            (counts / counts.max())[counts > 0].tolist()
        )
        assert marks[k]["middle"] == pytest.approx(100 * answer.outcome.litter_prob.mean())
        shares = [b["right"] - b["left"] for b in blocks if b["row"] == k]
        assert sum(shares) == pytest.approx(100.0)
        assert shares[0] == pytest.approx(100.0 * (answer.pups.alive == 0).mean())


def test_the_answer_is_two_sentences_with_their_certainty(page):
    first, second = page.answer

    assert sentences_in(first, "plan.lead_chance") == [on_one_line(first)]
    chances = 100 * plan().answers[plan().lead].outcome.litter_prob
    numbers = (chances.mean(), *np.quantile(chances, [0.05, 0.95]))
    assert re.findall(r"\d+", first)[-4:] == [
        f"{numbers[0]:.0f}", "90", f"{numbers[1]:.0f}", f"{numbers[2]:.0f}",
    ]  # fmt: skip
    assert second in {EN["source.chance_published"]} | set(
        sentences_in(second, "source.chance_fitted")
    )


def test_without_data_like_it_a_way_shows_its_interval_and_no_middle():
    compared = plan()
    far = tuple(sentence("answer.no_counted_sample", stud=f"input {k}") for k in range(3))
    bare = replace(compared.answers[1], outside=far)
    results = comparison_results()
    results = replace(
        results,
        plan=replace(compared, answers=(compared.answers[0], bare), grids=(), gaps=(), lines=(),
                     infeasible=()),
    )  # fmt: skip
    report = build_comparison(results, OWNER)

    row = section(report, "ways").table.rows[1]
    assert row[2] == EN["compare.no_data_like_this"]
    assert section(report, "cost").table.rows[1][2:] == ("–", "–", "–", "–")
    assert section(report, "pups").table.rows[1][1::4] == ("–", "–")
    (_, chart) = section(report, "ways").charts[0]
    marks = next(rows for rows in data(chart) if rows and "middle" in rows[0])
    assert len(marks) == 2 or all(mark["row"] == 0 for mark in marks)
    assert not any(bar["row"] == 1 for rows in data(chart) for bar in rows if "height" in bar)


def test_a_stop_leaves_the_cautions_and_one_sentence():
    report = build_comparison(comparison_results(cautions=(STOP,)), OWNER)

    assert report.sections == ()
    assert report.sources == ()
    assert len(report.answer) == 1
    assert "%" not in " ".join(report.answer)
    assert "application/json" not in render(report)


def test_nothing_possible_says_why():
    results = comparison_results()
    none = replace(results.plan, answers=(), lead=-1, gaps=(), lines=(), worths=(), grids=(),
                   sources=())  # fmt: skip
    report = build_comparison(replace(results, plan=none), OWNER)

    assert [section.name for section in report.sections] == ["infeasible"]
    assert "%)" in report.answer[-1]


@pytest.mark.parametrize("reader", [VET, CLIENT], ids=["vet", "client"])
def test_prices_are_the_owners_alone(reader):
    html, of_owner = (
        render(build_comparison(comparison_results(), audience)) for audience in (reader, OWNER)
    )

    for name in ("if_missed", "a_litter", "a_pup"):
        assert f">{EN[f'column.{name}']}<" in of_owner
        assert f">{EN[f'column.{name}']}<" not in html
    assert "EUR" in of_owner
    assert "EUR" not in html


def test_the_first_cell_of_the_sliders_is_the_plan(page):
    grid = plan().grids[0]
    panel = section(page, "whatif").panel
    shown = panel.data["grids"][[w for w in panel.choices].index(
        plan().answers[grid.position].outcome.option.method)]  # fmt: skip
    where = [axis["start"] for axis in shown["axes"]]
    sizes = [len(axis["labels"]) for axis in shown["axes"]]
    cell = 3 * ((where[0] * sizes[1] + where[1]) * sizes[2] + where[2])

    assert shown["values"][cell + 1] == pytest.approx(
        100 * plan().answers[grid.position].expected_litters, abs=0.051
    )
    assert section(page, "whatif").table.rows[0][1].split(" ")[0] == (
        f"{100 * plan().answers[0].expected_litters:.0f}"
    )


@pytest.mark.slow
def test_every_picture_of_every_page_is_a_whole_specification():
    # Parts are not checked as they are made; a finished picture is, against the grammar.
    n_seen = 0
    for report in every_report().values():
        for part in report.sections:
            for _, spec in part.charts:
                alt.Chart.from_dict(spec, validate=True)
                n_seen += 1
    assert n_seen >= 14
