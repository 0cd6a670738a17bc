"""Control charts against NIST's worked examples, another program's run lengths and simulation."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from studcurve.analytics.measures import control_chart
from studcurve.analytics.measures.control_chart import (
    Baseline,
    baseline,
    ewma_chart,
    ewma_run_length,
    individuals_chart,
    individuals_run_length,
)

NIST = json.loads((Path(__file__).parents[1] / "references" / "nist_spc.json").read_text())


def test_limits_of_single_values_are_those_of_nist():
    example = NIST["individuals_6_3_2_2"]

    base = baseline(example["x"], 0.0)
    chart = individuals_chart(example["x"], 0.0, base)

    # NIST rounds 2/√π = 1.12838 to 1.128, which moves its limits by 3 × 1.8778 × 0.0003.
    rounding = 3 * example["mrbar"] * (1 / 1.128 - np.sqrt(np.pi) / 2)
    assert base.centre == pytest.approx(example["mean"], abs=1e-9)
    assert chart.upper[0] == pytest.approx(example["ucl"] - rounding, abs=1e-4)
    assert chart.lower[0] == pytest.approx(example["lcl"] + rounding, abs=1e-4)
    assert not chart.is_out.any()


def test_smoothed_values_are_those_of_nist():
    example = NIST["ewma_6_3_2_4"]
    base = Baseline(example["target"], example["s"], 20)

    chart = ewma_chart(example["x"], 0.0, base, weight=example["lambda"], width=3.0)

    assert base.centre + base.between_sd * chart.statistic == pytest.approx(
        np.array(example["ewma"]), abs=0.0051
    )
    assert base.centre + base.between_sd * chart.upper[0] == pytest.approx(example["ucl"], abs=2e-4)
    assert base.centre + base.between_sd * chart.lower[0] == pytest.approx(example["lcl"], abs=2e-4)
    assert not chart.is_out.any()


@pytest.mark.parametrize("row", NIST["arl"]["ewma_two_sided"])
def test_run_lengths_of_smoothed_values_are_those_of_another_program(row):
    found = ewma_run_length(weight=row["lambda"], width=row["L"], shift_sd=row["mu"])

    assert found.mean == pytest.approx(row["arl"], rel=1e-6)


def test_single_values_raise_a_false_alarm_every_370_collections():
    # Shewhart's 3 standard deviations: 1 / 0.0027.
    assert individuals_run_length().mean == pytest.approx(1 / (2 * norm.sf(3.0)), rel=1e-12)


@pytest.mark.parametrize("shift_sd", [0.0, 1.5])
def test_run_lengths_and_yearly_alarms_hold_in_simulated_studs_with_unequal_counts(shift_sd):
    # 2,000 studs, up to 150 collections with reading errors of their own; narrow limits keep it
    # quick (no chart waits longer than 15 on average). A level shifted by a multiple of each
    # collection's own spread is what is promised.
    rng = np.random.default_rng(12)
    n_studs, n_collections = 2_000, 150
    base = Baseline(6.0, 0.3, 50)
    reading_sd = rng.uniform(0.05, 0.5, n_collections)
    spread = base.sd(reading_sd)
    promised = {
        "single": individuals_run_length(width=1.8, shift_sd=shift_sd, n_collections=12),
        "smoothed": ewma_run_length(width=1.4, shift_sd=shift_sd, n_collections=12),
    }
    first = {kind: np.full(n_studs, n_collections) for kind in promised}
    for stud in range(n_studs):
        x = base.centre + spread * (rng.normal(size=n_collections) + shift_sd)
        charts = {
            "single": individuals_chart(x, reading_sd, base, width=1.8),
            "smoothed": ewma_chart(x, reading_sd, base, width=1.4),
        }
        for kind, chart in charts.items():
            out = np.flatnonzero(chart.is_out)
            first[kind][stud] = out[0] + 1 if out.size else n_collections

    for kind, run in promised.items():
        lengths = first[kind]
        error = lengths.std() / np.sqrt(n_studs)
        within_a_year = (lengths <= 12).mean()
        error_prob = np.sqrt(0.25 / n_studs)
        assert lengths.mean() == pytest.approx(run.mean, abs=4 * error), kind
        assert within_a_year == pytest.approx(run.alarm_prob(12), abs=4 * error_prob), kind


def test_the_usual_charts_are_those_of_their_sources():
    # Lucas & Saccucci 1990 made 0.2 and 2.962 for 500 collections.
    assert ewma_run_length().mean == ewma_run_length(weight=0.2, width=2.962).mean
    assert ewma_run_length().mean == pytest.approx(500.0, rel=0.01)


def test_a_value_on_its_limit_is_not_out():
    base = Baseline(0.0, 1.0, 20)

    assert individuals_chart([3.0, 3.001, -3.0, -3.001], 0.0, base).is_out.tolist() == [
        False, True, False, True,
    ]  # fmt: skip


def test_equal_values_without_error_have_no_spread():
    assert baseline([6.0] * 10, 0.0).between_sd == 0.0


def test_mean_run_length_is_the_sum_of_its_survival():
    run = ewma_run_length(width=1.5, n_collections=2_000)

    assert run.mean == pytest.approx(1.0 + run.survival.sum(), rel=1e-9)


def test_twice_the_nodes_change_no_run_length(monkeypatch):
    before = ewma_run_length(weight=0.05).mean
    monkeypatch.setattr(control_chart, "N_NODES", 2 * control_chart.N_NODES)

    assert ewma_run_length(weight=0.05).mean == pytest.approx(before, rel=1e-6)


def test_spread_between_collections_is_found_beside_unequal_reading_errors():
    # 200 studs of 60 collections, τ = 0.4, readings of 0.05 to 0.8.
    rng = np.random.default_rng(3)
    found = []
    for _ in range(200):
        reading_sd = rng.uniform(0.05, 0.8, 60)
        found.append(baseline(rng.normal(6.0, np.hypot(0.4, reading_sd)), reading_sd).between_sd)

    # Median over studs; the estimate of one stud is skewed, with a share at 0.
    assert np.median(found) == pytest.approx(0.4, abs=4 * np.std(found) / np.sqrt(200))


def test_what_the_readings_alone_explain_leaves_no_spread_and_limits_of_the_reading():
    values = [6.0, 6.1, 5.9, 6.0, 6.1, 6.0, 5.9, 6.1, 6.0, 6.0]

    base = baseline(values, 0.5)
    chart = individuals_chart(values, 0.5, base)

    assert base.between_sd == 0.0
    assert chart.upper - chart.lower == pytest.approx(np.full(10, 2 * 3.0 * 0.5))


def test_a_poorly_counted_sample_is_not_called_out_where_a_well_counted_one_is():
    base = Baseline(6.0, 0.3, 40)

    chart = individuals_chart([4.8, 4.8], [0.05, 0.4], base)

    assert chart.is_out.tolist() == [True, False]


def test_a_larger_fall_is_never_found_later():
    lengths = [ewma_run_length(shift_sd=-fall_sd).mean for fall_sd in np.arange(0.0, 3.01, 0.25)]

    assert (np.diff(lengths) < 0.0).all()


def test_too_few_collections_give_no_limits():
    with pytest.raises(ValueError, match="limits need 10 collections; got 9"):
        baseline(np.arange(9.0), 0.0)


def test_unknown_values_and_negative_errors_are_refused():
    base = Baseline(6.0, 0.3, 40)

    with pytest.raises(ValueError, match="all known"):
        individuals_chart([6.0, np.nan], 0.1, base)
    with pytest.raises(ValueError, match="cannot be negative"):
        ewma_chart([6.0, 6.1], -0.1, base)
