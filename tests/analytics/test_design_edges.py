"""Where a row of the priors table begins to count: at its edge, and one unit beyond it.

The edges stand here as the table words them, not as the constants of the models.
"""

import numpy as np
import pandas as pd
import pytest
from tests.analytics.stud_records import collections, events, kennel, no_events

from studcurve.analytics.models.breedings.inputs import USUAL_DOSE_M
from studcurve.analytics.models.breedings.semen import motility_short, usual_motility_pct
from studcurve.analytics.models.breedings.terms import LINEAR, design_matrix, method_flags
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.stud.inputs import prepare_stud_data
from studcurve.analytics.plan.simulation.pups import Dam

NAN = float("nan")

PLAIN_BREEDING = {
    "semen_type": "chilled", "route": "vaginal", "n_inseminations": 1.0, "storage_days": 1.0,
    "normal_morphology_pct": 80.0, "bitch_age_years": 4.0, "stud_age_years": 4.0,
    "missed_before": 0.0, "motile_m_per_ml": NAN, "hours_known": NAN,
}  # fmt: skip

PLAIN_LITTER = {
    "adult_weight_kg": 20.0, "bitch_age_years": 3.0, "n_inseminations": 1.0, "first_litter": 0.0,
    "inbreeding_pct": 0.0,
}  # fmt: skip


def breeding(**columns):
    """Columns of a breeding by their rows of the table."""
    cells = {name: np.array([cell]) for name, cell in (PLAIN_BREEDING | columns).items()}
    (row,) = design_matrix(cells.pop("semen_type"), cells.pop("route"), **cells)
    return dict(zip(LINEAR, row, strict=True))


def litter_of(**columns):
    rows = pd.DataFrame([PLAIN_LITTER | columns])
    (row,) = litter.litter_design(
        rows, np.array(["natural"]), np.array(["natural"]), litter.mated_at_best(1)
    )
    return dict(zip(litter.LINEAR, row, strict=True))


@pytest.mark.parametrize(
    ("row", "column", "steps"),
    [
        # each day of chilled storage beyond 24 h, no claim beyond 72 h
        ("c12", "storage_days", {0.5: 0, 1: 0, 1.5: 0.5, 2: 1, 3: 2, 4: 2, NAN: 0}),
        # each 10 points of normal shape below 70 %
        ("c13", "normal_morphology_pct", {71: 0, 70: 0, 69: 0.1, 60: 1, NAN: 0}),
        # each year of the bitch beyond 5
        ("c14", "bitch_age_years", {4: 0, 5: 0, 5.5: 0.5, 6: 1, NAN: 0}),
        # each year of the stud beyond 8
        ("c16", "stud_age_years", {7: 0, 8: 0, 8.5: 0.5, 9: 1, NAN: 0}),
        ("c09", "n_inseminations", {1: 0, 2: 1, 3: 1}),
        ("c15", "missed_before", {0: 0, 1: 1, NAN: 0}),
        # each doubling of the concentration against 50 M motile in a mL, up to three either way
        ("c24", "motile_m_per_ml", {50: 0, 100: 1, 25: -1, 200: 2, 400: 3, 800: 3, 5: -3, NAN: 0}),
        # chilled: each 6 h nearer to collection than 24 h
        ("c26", "hours_known", {0: 4, 12: 2, 18: 1, 24: 0, 30: 0, NAN: 0}),
    ],
)
def test_a_row_of_the_conception_table_counts_from_its_edge(row, column, steps):
    for value, counted in steps.items():
        assert breeding(**{column: float(value)})[row] == pytest.approx(counted)


def test_only_chilled_semen_grows_older_in_the_table():
    for semen in ("natural", "fresh", "frozen"):
        assert breeding(semen_type=semen, storage_days=3.0)["c12"] == 0.0


def test_fresh_semen_grows_older_from_its_first_hour_to_its_twenty_fourth():
    for hours, steps in {0: 0, 1: 0, 4: 0.5, 7: 1, 13: 2, 24: 23 / 6, 48: 23 / 6, NAN: 0}.items():
        assert breeding(semen_type="fresh", hours_known=float(hours))["c25"] == pytest.approx(steps)
    for semen in ("natural", "chilled", "frozen"):
        assert breeding(semen_type=semen, hours_known=20.0)["c25"] == 0.0
    assert breeding(semen_type="fresh", hours_known=2.0)["c26"] == 0.0
    assert breeding(semen_type="natural", motile_m_per_ml=400.0)["c24"] == 0.0


@pytest.mark.parametrize(
    ("semen_type", "chilled_h", "fresh_h"),
    [("chilled", {12: 0, 24: 0, 36: 0.5, 72: 2, 96: 2, NAN: 0}, None),
     ("fresh", None, {0.5: 0, 1: 0, 7: 0.5, 13: 1, 48: 23 / 12, NAN: 0}),
     ("frozen", {48: 0}, {48: 0}), ("natural", {48: 0}, {48: 0})],
)  # fmt: skip
def test_litters_count_storage_from_a_day_chilled_and_from_an_hour_fresh(
    semen_type, chilled_h, fresh_h
):
    for hours, steps in (chilled_h or fresh_h).items():
        known = np.array([float(hours)])
        found = litter.storage_steps(np.array([semen_type]), known, known)
        assert found == pytest.approx([steps])


def test_the_insemination_nearest_to_the_window_is_the_one_that_counts():
    flags = method_flags(np.array(["frozen", "frozen"]), np.array(["transcervical"] * 2))

    early, late = litter.days_outside(
        flags, np.array([[-5.0, 1.0], [9.0, 12.0]]), np.array([[True, True], [True, False]])
    )

    # Window of frozen semen from 2.5 to 6 days after ovulation; far from an edge the bend is flat.
    assert early == pytest.approx([1.5, 0.0], abs=1e-3)
    assert late == pytest.approx([0.0, 3.0], abs=1e-3)


@pytest.mark.parametrize(
    ("semen_type", "usual_pct"), [("fresh", 65), ("chilled", 65), ("frozen", 45)]
)
def test_motility_counts_below_the_usual_one_of_its_semen_type(semen_type, usual_pct):
    of = {
        points: float(motility_short(np.array([usual_pct - points]),
                                     usual_motility_pct(np.array([semen_type])))[0])
        for points in (-20.0, 10.0, 30.0)
    }  # fmt: skip

    assert of[-20.0] == pytest.approx(0.0, abs=1e-3)
    assert of[30.0] == pytest.approx(3.0, abs=1e-3)
    # A quarter of a unit wide, the bend adds at one unit 0.25 log(1 + e^-4).
    assert of[10.0] == pytest.approx(1.0 + 0.25 * np.log1p(np.exp(-4.0)))


def test_what_is_not_known_of_motility_and_a_natural_mating_fall_short_of_nothing():
    unknown = motility_short(
        np.array([NAN, 20.0]), usual_motility_pct(np.array(["fresh", "natural"]))
    )

    assert unknown.tolist() == [0.0, 0.0]


@pytest.mark.parametrize(
    ("semen_type", "route", "early", "late"),
    [
        # Days from ovulation: earlier than the first and later than the second count.
        ("natural", "natural", -2.0, 5.0),
        ("fresh", "vaginal", -2.0, 5.0),
        ("chilled", "vaginal", 0.0, 5.0),
        ("chilled", "transcervical", 0.0, 6.0),
        ("frozen", "transcervical", 2.5, 6.0),
        ("frozen", "surgical", 2.5, 6.0),
    ],
)
def test_the_window_of_each_method_is_that_of_the_table(semen_type, route, early, late):
    flags = method_flags(np.array([semen_type]), np.array([route]))

    assert flags.early_edge.tolist() == [early]
    assert flags.late_edge.tolist() == [late]


def test_the_usual_dose_of_each_route_is_that_of_the_table():
    assert USUAL_DOSE_M == {"vaginal": 200.0, "transcervical": 100.0, "surgical": 100.0}


@pytest.mark.parametrize(
    ("row", "steps"),
    [
        # each year of the dam from 4; of a large or giant one each further year beyond 5
        ("l09", {3: 0, 4: 0, 5: 1, 6: 2, NAN: 0}),
        ("l09_large", {4: 0, 5: 0, 5.5: 0.5, 6: 1, NAN: 0}),
    ],
)
def test_a_dams_age_counts_from_its_edge(row, steps):
    for years, counted in steps.items():
        design = litter_of(bitch_age_years=float(years), adult_weight_kg=30.0)
        assert design[row] == pytest.approx(counted)
        beyond = Dam("Senna", "Rowan", age_years=float(years)).years_beyond
        assert row != "l09" or beyond == pytest.approx(counted)


@pytest.mark.parametrize(
    ("weight_kg", "row"),
    [
        (4.9, "l01_toy"), (5.0, "l01_small"), (9.9, "l01_small"), (10.0, "l01_medium"),
        (24.9, "l01_medium"), (25.0, "l01_large"), (44.9, "l01_large"), (45.0, "l01_giant"),
        (80.0, "l01_giant"), (NAN, "l01_medium"),
    ],
)  # fmt: skip
def test_a_dam_belongs_to_the_size_of_her_weight(weight_kg, row):
    design = litter_of(adult_weight_kg=weight_kg, bitch_age_years=6.0)

    assert [one for one in litter.SIZES_KG if design[one]] == [row]
    assert design["l09_large"] == (1.0 if row in ("l01_large", "l01_giant") else 0.0)


def stud_data(*parts, happened=None, measure="total_sperm_m"):
    return prepare_stud_data(
        kennel(*parts), no_events() if happened is None else happened, measure, extra_cv=0.0
    )


@pytest.mark.parametrize(("years", "counted"), [(6.0, 0), (7.0, 0), (7.5, 0.5), (8.0, 1), (NAN, 0)])
def test_a_studs_age_counts_beyond_seven_years(years, counted):
    data = stud_data(collections("Ash", [0], stud_age_years=years))

    assert data.years_old.tolist() == pytest.approx([counted])


@pytest.mark.parametrize(("apart", "n_episodes"), [(13, 1), (14, 1), (15, 2)])
def test_events_of_up_to_two_weeks_apart_are_one_episode(apart, n_episodes):
    on = pd.Timestamp("2022-02-01")
    happened = events(("Ash", "fever", on), ("Ash", "injury", on + pd.Timedelta(days=apart)))

    assert (
        len(stud_data(collections("Ash", range(0, 200, 20)), happened=happened).episodes)
        == n_episodes
    )


@pytest.mark.parametrize(("until", "n_episodes"), [(200, 1), (201, 0)])
def test_an_event_teaches_something_where_a_collection_follows_within_two_hundred_days(
    until, n_episodes
):
    happened = events(("Ash", "fever", "2022-01-03"))
    rows = collections("Ash", [-30, until], start="2022-01-03 00:00")

    assert len(stud_data(rows, happened=happened).episodes) == n_episodes


@pytest.mark.parametrize(("cells", "is_gridded"), [(19.0, True), (20.0, False)])
def test_a_count_of_less_than_twenty_cells_keeps_its_own_likelihood(cells, is_gridded):
    usual = collections("Ash", [0, 7])
    small = collections("Ash", [14], concentration_m_per_ml=cells, n_cells_counted=cells)

    assert (2 in stud_data(usual, small).gridded.tolist()) is is_gridded
