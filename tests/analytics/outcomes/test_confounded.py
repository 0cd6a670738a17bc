"""What else was different, against numpy's correlations and at the rules' edges."""

import numpy as np
import pandas as pd
import pytest
from tests.analytics.view_rows import natural_matings

from studcurve.analytics.models.breedings.exposures import unrecorded
from studcurve.analytics.outcomes.confounded import INSEPARABLE, STRIKING, what_went_with


def kennel(poor, **columns):
    """Chilled breedings, on the poor side of motility or not; a view with some columns."""
    from dataclasses import replace

    n = len(poor)
    exposures = unrecorded(n)._replace(motility_pct=np.where(poor, 40.0, 80.0))
    how = replace(
        natural_matings(n), semen_type=np.full(n, "chilled"), route=np.full(n, "vaginal"),
        exposures=columns.pop("exposures", exposures),
    )  # fmt: skip
    rows = pd.DataFrame({
        "bitch_age_years": 4.0, "stud_age_years": 5.0, "missed_before": False,
        "bred_earliest": pd.Timestamp("2024-01-01"),
    }, index=range(n)).assign(**columns)  # fmt: skip
    return how, rows


def found_of(poor, **columns):
    how, rows = kennel(np.asarray(poor, dtype=bool), **columns)
    return what_went_with(how, rows, "motility", np.ones(len(rows), dtype=bool))


def test_older_bitches_are_named_with_their_ages():
    poor = [1] * 10 + [0] * 10
    age = np.r_[np.linspace(6, 8, 10), np.linspace(3, 5, 10)]

    (found,) = found_of(poor, bitch_age_years=age)

    assert found.other == "bitch_age_years"
    assert found.correlation == pytest.approx(np.corrcoef(poor, age)[0, 1])
    assert (found.poor, found.usual, found.n) == (pytest.approx(7.0), pytest.approx(4.0), 20)
    assert found.is_inseparable


def mixed(n_same, n):
    """Missed before in so many of the poor as are not, in the others the other way round."""
    poor = np.r_[np.ones(n), np.zeros(n)]
    missed = np.r_[np.arange(n) < n_same, np.arange(n) >= n_same]
    return poor, missed


def test_a_correlation_below_the_rule_is_not_named():
    poor, missed = mixed(69, 100)
    assert np.corrcoef(poor, missed)[0, 1] < STRIKING
    assert found_of(poor, missed_before=missed) == ()

    poor, missed = mixed(71, 100)
    assert np.corrcoef(poor, missed)[0, 1] > STRIKING
    (found,) = found_of(poor, missed_before=missed)
    assert (found.poor, found.usual) == (pytest.approx(0.71), pytest.approx(0.29))
    assert not found.is_inseparable
    assert found.correlation < INSEPARABLE


def test_what_chance_could_do_is_not_named():
    # Of ten the same correlation lies within two of its errors.
    poor, missed = mixed(4, 5)
    assert abs(np.corrcoef(poor, missed)[0, 1]) == pytest.approx(0.6)
    assert found_of(poor, missed_before=missed) == ()


@pytest.mark.parametrize(("n_poor", "is_named"), [(4, False), (5, True)])
def test_a_side_of_fewer_than_five_is_not_compared(n_poor, is_named):
    poor = np.r_[np.ones(n_poor), np.zeros(20)]

    assert bool(found_of(poor, bitch_age_years=3.0 + 4.0 * poor)) == is_named


def test_another_exposure_is_one_of_the_others():
    poor = np.r_[np.ones(10), np.zeros(10)]
    exposures = unrecorded(20)._replace(
        motility_pct=np.where(poor == 1, 40.0, 80.0), hours=np.where(poor == 1, 60.0, 20.0)
    )

    (found,) = found_of(poor, exposures=exposures)

    assert (found.other, found.correlation) == ("hours", pytest.approx(1.0))


def test_what_is_the_same_everywhere_is_no_difference():
    assert found_of([1] * 10 + [0] * 10) == ()
