"""Stages of one sample compared in pairs, against hand computation, simulation and scipy."""

import json

import numpy as np
import pandas as pd
import pytest
from scipy.stats import ttest_rel

from studcurve.analytics.measures.stages import (
    STAGES,
    clinic_against_kennel,
    compared_stages,
    recoveries,
    recovery,
    stage_pairs,
)
from studcurve.pipelines.run import DEMO

START = pd.Timestamp("2025-03-03 10:00")


def evaluations(*rows):
    """Readings given as (collection, stage, % progressively motile, hours after collection)."""
    return pd.DataFrame(
        [
            {
                "collection_id": collection,
                "stud": "Tarn",
                "collected_earliest": START,
                "stage": stage,
                "evaluated_earliest": START + pd.Timedelta(hours=hours),
                "evaluated_latest": START + pd.Timedelta(hours=hours),
                "progressive_motility_pct": forward,
                "total_motility_pct": np.nan,
                "normal_morphology_pct": np.nan,
            }
            for collection, stage, forward, hours in rows
        ]
    )


def both(first, later, n=3, hours=(0, 24)):
    """The same two readings of n collections."""
    stages = ("raw", "on arrival")
    return evaluations(
        *((k, stage, value, at) for k in range(n)
          for stage, value, at in zip(stages, (first, later), hours, strict=True))
    )  # fmt: skip


def test_what_is_kept_is_the_geometric_mean_over_collections_read_twice():
    # 80 → 60, 60 → 45 and 70 → 35 keep 75, 75 and 50 %: (0.75² × 0.5)^⅓ = 65.5 %.
    rows = evaluations(
        (1, "raw", 80, 0), (1, "on arrival", 60, 24),
        (2, "raw", 60, 0), (2, "on arrival", 45, 20),
        (3, "raw", 70, 0), (3, "on arrival", 35, 30),
        (4, "raw", 90, 0),
        (5, "on arrival", 10, 24),
    )  # fmt: skip

    (found,) = recoveries(rows)

    assert (found.first, found.later, found.n_pairs, found.hours) == ("raw", "on arrival", 3, 24.0)
    assert found.kept_pct.median == pytest.approx(100 * (0.75 * 0.75 * 0.5) ** (1 / 3))
    assert found.difference.median == pytest.approx(-(20 + 15 + 35) / 3)


def test_the_interval_of_the_difference_is_that_of_a_paired_t_test():
    rng = np.random.default_rng(1)
    raw = rng.uniform(60, 90, 12)
    thawed = raw - rng.normal(25, 8, 12)
    rows = evaluations(
        *((k, "raw", value, 0) for k, value in enumerate(raw)),
        *((k, "after thaw", value, 900) for k, value in enumerate(thawed)),
    )

    (found,) = recoveries(rows)
    scipy = ttest_rel(thawed, raw).confidence_interval(0.90)

    assert (found.difference.lower, found.difference.upper) == pytest.approx(tuple(scipy))


def test_ninety_percent_intervals_of_what_is_kept_hold_their_promise():
    # 2,000 kennels of six shipments, log kept normal around log 0.8 with sd 0.2: Student's interval
    # is exact there. Simulation error 0.7 points.
    rng = np.random.default_rng(6)
    covered = 0
    for _ in range(2_000):
        pairs = pd.DataFrame({"first": rng.uniform(50, 90, 6), "hours": 24.0})
        pairs["later"] = pairs["first"] * np.exp(rng.normal(np.log(0.8), 0.2, 6))
        found = recovery(pairs, "raw", "on arrival").kept_pct
        covered += found.lower <= 80.0 <= found.upper

    assert covered / 2_000 == pytest.approx(0.90, abs=4 * np.sqrt(0.09 / 2_000))


def test_readings_of_one_stage_are_averaged_so_that_no_collection_counts_twice():
    rows = evaluations((1, "raw", 80, 0), (1, "raw", 70, 0), (1, "on arrival", 60, 24))

    pairs = stage_pairs(rows, "raw", "on arrival", "progressive_motility_pct")

    assert pairs["first"].tolist() == [75.0]
    assert len(pairs) == 1


def test_a_sample_with_nothing_left_is_told_and_enters_the_difference():
    rows = pd.concat([both(80, 60), evaluations((9, "raw", 80, 0), (9, "on arrival", 0, 24))])

    (found,) = recoveries(rows)

    assert (found.n_pairs, found.n_zero) == (4, 1)
    assert found.kept_pct.median == pytest.approx(75.0)
    assert found.difference.median == pytest.approx((3 * -20 - 80) / 4)


def test_two_collections_give_their_number_and_no_mean():
    (found,) = recoveries(both(80, 60, n=2))

    assert found.n_pairs == 2
    assert found.kept_pct is None
    assert found.difference is None


def test_clinic_and_kennel_are_compared_only_where_they_read_within_half_a_day():
    near = [
        row for k, (kennel, clinic) in enumerate([(70, 60), (80, 75), (60, 65), (75, 60)])
        for row in ((k, "retained", kennel, 24), (k, "on arrival", clinic, 26))
    ]  # fmt: skip
    far = [(9, "retained", 30, 72), (9, "on arrival", 70, 24)]

    found = clinic_against_kennel(evaluations(*near, *far))

    assert (found.n_shipments, found.n_apart, found.agreement.n_samples) == (5, 1, 4)
    assert found.agreement.bias.median == pytest.approx((-10 - 5 + 5 - 15) / 4)


def read_by_both(n, hours_apart):
    return evaluations(
        *((k, "retained", 70, 24) for k in range(n)),
        *((k, "on arrival", 60 - k, 24 + hours_apart) for k in range(n)),
    )


@pytest.mark.parametrize(("hours_apart", "n_apart"), [(12.0, 0), (-12.0, 0), (12.1, 3)])
def test_twelve_hours_apart_are_still_the_same_state(hours_apart, n_apart):
    assert clinic_against_kennel(read_by_both(3, hours_apart)).n_apart == n_apart


@pytest.mark.parametrize(("n", "is_told"), [(2, False), (3, True)])
def test_three_shipments_tell_whether_clinic_and_kennel_agree(n, is_told):
    assert (clinic_against_kennel(read_by_both(n, 2)).agreement is not None) is is_told


def test_a_sample_with_nothing_to_begin_with_has_no_ratio():
    rows = [(k, "raw", 80, 0) for k in range(3)] + [(k, "on arrival", 60, 24) for k in range(3)]
    none = [(8, "raw", 0, 0), (8, "on arrival", 10, 24), (9, "raw", 80, 0),
            (9, "on arrival", 0, 24)]  # fmt: skip

    found = compared_stages(evaluations(*rows, *none))

    ((pair, kept),) = found.kept.items()
    assert pair == ("raw", "on arrival")
    assert kept == pytest.approx((75.0, 75.0, 75.0))
    assert (found.recoveries[0].n_pairs, found.recoveries[0].n_zero) == (5, 2)
    assert compared_stages(evaluations(*rows[:2], *rows[3:5])) is None


def test_the_order_of_stages_is_that_of_the_way_of_a_sample():
    rows = evaluations(
        *((1, stage, 80 - 5 * k, 6 * k) for k, stage in reversed(list(enumerate(STAGES))))
    )

    found = [(one.first, one.later) for one in recoveries(rows)]

    assert found[:3] == [("raw", "after centrifugation"), ("raw", "extended"), ("raw", "retained")]
    assert len(found) == 15


def test_a_measure_that_pouring_changes_is_not_compared():
    with pytest.raises(ValueError, match="stages are compared in one of"):
        stage_pairs(both(80, 60), "raw", "on arrival", "concentration_m_per_ml")


def test_the_demo_s_shipments_lose_what_its_simulator_takes(demo_store):
    # The simulator keeps exp{−(t/η)^κ} with half the η in milk; shipments are read at about 24 h by
    # eye in tens, so that their mean is known to about ±4 points.
    truth = json.loads((DEMO / "true_parameters.json").read_text())["parameters"]
    yolk, milk = (
        100 * np.exp(-((24 / (truth["s01_hours"] * factor)) ** truth["s03"]))
        for factor in (1.0, truth["s02_milk"])
    )

    found = {(r.first, r.later): r for r in recoveries(demo_store.read("evaluations"))}
    arrived = found["raw", "on arrival"]

    assert arrived.n_pairs > 30
    assert arrived.kept_pct.lower < yolk
    assert arrived.kept_pct.upper > milk
