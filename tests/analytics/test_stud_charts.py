"""Control charts of a stud: limits hold the counting error, run lengths are those of the rule."""

import numpy as np
import pytest
from scipy.special import ndtr
from tests.analytics.stud_records import kennel
from tests.analytics.test_stud_level import known_posterior, steady

from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.stud.charts import stud_charts
from studcurve.analytics.models.stud.level import last_in_line, own_past


def test_limits_stand_in_millions_and_hold_the_counting_error():
    data = known_posterior(kennel(steady())).data

    charts = stud_charts(data, "Rowan")

    rows = data.rows_of("Rowan")
    past = own_past(data.on[rows])
    centre = np.exp(data.value[rows][past].mean())
    assert np.sqrt(charts.individuals.lower * charts.individuals.upper) == pytest.approx(
        np.full(len(rows), centre)
    )
    # The poorest count has the widest limits.
    width = np.log(charts.individuals.upper / charts.individuals.lower)
    assert width.argmax() == data.reading_sd[rows].argmax()
    assert charts.n_past == len(past)


def test_run_lengths_are_those_of_three_standard_deviations():
    charts = stud_charts(known_posterior(kennel(steady())).data, "Rowan")

    # Second route: the chance of one value outside, and of none in a year of 26 collections.
    outside = 2.0 * ndtr(-3.0)
    n_year = round(DAYS_PER_YEAR / 14.0)
    assert charts.of_individuals.n_steady == pytest.approx(1.0 / outside)
    assert charts.of_individuals.alarm_prob == pytest.approx(1.0 - (1.0 - outside) ** n_year)
    assert charts.of_ewma.n_fallen < charts.of_individuals.n_fallen < 100.0
    assert charts.of_ewma.n_fallen > 1.0


def test_a_short_record_has_no_limits():
    assert stud_charts(known_posterior(kennel(steady(9))).data, "Rowan") is None
    assert stud_charts(known_posterior(kennel(steady(20, pause=5.0))).data, "Rowan") is None


def test_a_collection_that_came_after_the_fit_has_not_pulled_on_it():
    rows = kennel(steady())
    seen = known_posterior(rows, level_sd=0.1)
    last_day = seen.draws["recent_until"][0, 0]
    unseen = type(seen)(
        seen.data, {**seen.draws, "recent_until": np.full_like(seen.draws["recent_until"],
                                                               last_day - 1.0)},
        seen.labels, seen.diagnostics, 1.0,
    )  # fmt: skip

    before = last_in_line(unseen, "Rowan", rng=np.random.default_rng(1))
    after = last_in_line(seen, "Rowan", rng=np.random.default_rng(1))

    # Taking out a pull that was there moves the expectation; without one nothing is taken out:
    # 2000 draws around exp(6.5) with sd about 0.4 on the log have a standard error of 1 %.
    assert before.expected.median == pytest.approx(np.exp(6.5), rel=0.04)
    assert before.lower_prob != after.lower_prob
