"""What each breeding was exposed to, and on which side of the usual, at the edges of every rule."""

import numpy as np
import pandas as pd
import pytest
from tests.analytics.view_rows import inseminations, ovulations

from studcurve.analytics.models.breedings.exposures import (
    EXPOSURES,
    Exposures,
    poor_sides,
    unrecorded,
)
from studcurve.analytics.models.breedings.records import bred_how


def side(exposure, value, semen="chilled", route="vaginal"):
    values = dict.fromkeys(Exposures._fields, np.array([np.nan]))
    fields = dict(
        zip(
            (*EXPOSURES, "late"),
            ("motility_pct", "motile_m_per_ml", "hours", "day", "n_days_late"),
            strict=True,
        )
    )
    values[fields[exposure]] = np.array([value], dtype=float)
    found = poor_sides(Exposures(**values), np.array([semen]), np.array([route]))
    return int(found[exposure][0])


@pytest.mark.parametrize(
    ("exposure", "value", "semen", "route", "expected"),
    [
        ("motility", 64.9, "chilled", "vaginal", 1),
        ("motility", 65.0, "chilled", "vaginal", 0),
        ("motility", 44.9, "frozen", "transcervical", 1),
        ("motility", 45.0, "frozen", "transcervical", 0),
        ("motility", np.nan, "fresh", "vaginal", -1),
        ("concentration", 49.9, "fresh", "vaginal", 1),
        ("concentration", 50.0, "fresh", "vaginal", 0),
        ("hours", 36.0, "chilled", "vaginal", 0),
        ("hours", 36.1, "chilled", "vaginal", 1),
        ("hours", 6.0, "fresh", "vaginal", 0),
        ("hours", 6.1, "fresh", "vaginal", 1),
        ("day", -0.1, "chilled", "vaginal", 1),
        ("day", 0.0, "chilled", "vaginal", 0),
        ("day", 5.0, "chilled", "vaginal", 0),
        ("day", 5.1, "chilled", "vaginal", 1),
        ("day", 5.1, "chilled", "transcervical", 0),
        ("day", 2.4, "frozen", "transcervical", 1),
        ("day", -2.0, "natural", "natural", 0),
        ("late", 0.0, "chilled", "vaginal", 0),
        ("late", 1.0, "chilled", "vaginal", 1),
        ("late", -1.0, "chilled", "vaginal", 0),
        ("late", np.nan, "chilled", "vaginal", -1),
    ],
)
def test_the_sides_at_their_edges(exposure, value, semen, route, expected):
    assert side(exposure, value, semen, route) == expected


def test_nothing_recorded_is_on_no_side():
    found = poor_sides(unrecorded(3), np.full(3, "fresh"), np.full(3, "vaginal"))

    assert set(found) == {*EXPOSURES, "late"}
    assert all(values.tolist() == [-1, -1, -1] for values in found.values())


def bred(*firsts, ovulation_sd=0.5):
    """How one breeding each was made; ovulation on 1 June, at noon."""
    rows = pd.DataFrame({
        "breeding_id": range(1, len(firsts) + 1), "bitch": "a", "stud": "s",
        "semen_type": [first["semen_type"] for first in firsts],
        "route": [first.get("route", "vaginal") for first in firsts],
        "bred_earliest": pd.Timestamp("2024-06-01"),
    })  # fmt: skip
    made = inseminations(
        *({"breeding_id": k, "n_in_breeding": 1} | first for k, first in enumerate(firsts, 1))
    )
    dated = ovulations(*((k, "2024-06-01 12:00", ovulation_sd) for k in rows["breeding_id"]))
    return bred_how(rows, made, dated)


def at(moment, latest=None, **more):
    return {"inseminated_earliest": moment, "inseminated_latest": latest or moment, **more}


def test_values_are_those_of_the_records():
    how = bred(
        at("2024-06-03 12:00", semen_type="chilled", collected_earliest="2024-06-02 06:00",
           collected_latest="2024-06-02 06:00", motile_dose_m=160.0, dose_volume_ml=4.0,
           motility_read="on arrival", progressive_motility_pct=60.0, motility_read_hours=30.0,
           n_days_late=1.0),
    )  # fmt: skip

    assert how.exposures.hours == pytest.approx([30.0])
    assert how.exposures.day == pytest.approx([2.0])
    assert how.exposures.motility_pct == pytest.approx([60.0])
    assert how.exposures.motile_m_per_ml == pytest.approx([40.0])
    assert how.exposures.n_days_late == pytest.approx([1.0])


def test_a_mating_has_a_day_and_nothing_of_semen():
    how = bred(at("2024-06-02 12:00", semen_type="natural", route="natural"))

    assert how.exposures.day == pytest.approx([1.0])
    for name in ("motility", "concentration", "hours"):
        assert np.isnan(how.exposures.of(name)).all()


@pytest.mark.parametrize(("doubt_h", "is_read"), [(24.0, True), (25.0, False)])
def test_hours_are_shown_up_to_two_days_without_a_time(doubt_h, is_read):
    latest = pd.Timestamp("2024-06-03 00:00") + pd.Timedelta(hours=2 * doubt_h)
    how = bred(
        at("2024-06-03 00:00", latest, semen_type="chilled", collected_earliest="2024-06-02 00:00",
           collected_latest="2024-06-02 00:00"),
    )  # fmt: skip

    assert np.isfinite(how.exposures.hours).tolist() == [is_read]
    assert np.isfinite(how.hours).all()


@pytest.mark.parametrize(("sd", "is_read"), [(1.5, True), (1.6, False)])
def test_a_day_is_shown_while_it_is_surer_than_what_is_usual(sd, is_read):
    how = bred(at("2024-06-03 12:00", semen_type="fresh"), ovulation_sd=sd)

    assert np.isfinite(how.exposures.day).tolist() == [is_read]


def test_of_two_inseminations_the_one_nearest_to_the_window_counts():
    rows = pd.DataFrame({
        "breeding_id": [1], "bitch": "a", "stud": "s", "semen_type": "frozen",
        "route": "transcervical", "bred_earliest": pd.Timestamp("2024-06-01"),
    })  # fmt: skip
    both = inseminations(
        {"breeding_id": 1, "n_in_breeding": 1, "semen_type": "frozen", **at("2024-06-02 12:00")},
        {"breeding_id": 1, "n_in_breeding": 2, "semen_type": "frozen", **at("2024-06-03 18:00")},
    )

    how = bred_how(rows, both.assign(cycle_id=1), ovulations((1, "2024-06-01 12:00", 0.5)))

    assert how.exposures.day == pytest.approx([2.25])
