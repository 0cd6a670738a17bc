"""What a measurement adds, against planted signals and against repeated decisions."""

import math
from dataclasses import replace
from datetime import date, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from studcurve.analytics.models.ovulation.model import (
    LOOK_AHEAD_LOG_NG_PER_ML,
    ProgesteroneReading,
    further_reading_prob,
    ovulation_posterior,
)
from studcurve.analytics.plan.feasible import possible_options
from studcurve.analytics.plan.measure_next import (
    Worth,
    first_step_at,
    gain_of_reading,
    worth_of_counting,
    worth_of_readings,
    worth_of_test_cool,
)
from studcurve.analytics.plan.simulation.chain import simulate
from studcurve.reports.sections.plan_rows import measure_rows
from studcurve.reports.words import Words

FIRST_DAY = date(2026, 11, 12)
READ_AT = datetime(2026, 11, 20, 9)
EARLY = [ProgesteroneReading(READ_AT, READ_AT, 1.0, 1.0, "a laboratory")]
GRID = np.arange(0.0, 33.0, 0.1)
TELLING = np.eye(33)[np.minimum(GRID.astype(int), 32)]
"""A reading that names the day of ovulation."""


@pytest.fixture(scope="module")
def early_ovulation():
    return ovulation_posterior(EARLY, first_day=FIRST_DAY)


@pytest.fixture(scope="module")
def asked(early_ovulation, unknowns, circumstances, pair):
    """Frozen semen, once, any day of the next fortnight, three days after the first reading."""
    uniform = np.random.default_rng(5).uniform(size=unknowns.n_draws)
    days = np.interp(uniform, np.cumsum(early_ovulation.weight), early_ovulation.days)
    drawn = replace(unknowns, origin=early_ovulation.origin, ovulation_days=days)
    asked = replace(
        circumstances,
        asked_at=datetime(2026, 11, 21, 8),
        first_on=date(2026, 11, 21),
        last_on=date(2026, 12, 6),
        n_inseminations=(1,),
        refused=frozenset({"natural", "fresh", "chilled", "vaginal"}),
    )
    options = possible_options(asked)[0]
    return [simulate(option, pair, drawn) for option in options], drawn


def litters(outcomes):
    return np.column_stack([outcome.litter_prob for outcome in outcomes])


def test_what_a_reading_would_show_agrees_with_the_posterior_after_it(early_ovulation):
    at = datetime(2026, 11, 22, 9)
    days, prob = further_reading_prob(EARLY, at, laboratory="a laboratory", first_day=FIRST_DAY)
    before = np.interp(days, early_ovulation.days, early_ovulation.weight)
    for k in (6, 10, 13):
        value = float(np.exp(LOOK_AHEAD_LOG_NG_PER_ML[k]))
        after = ovulation_posterior(
            [*EARLY, ProgesteroneReading(at, at, value, value, "a laboratory")],
            first_day=FIRST_DAY,
        )
        mine = before * prob[:, k]
        mean = days @ mine / mine.sum()
        exact = after.days @ after.weight

        assert prob.sum(axis=1) == pytest.approx(np.ones(len(days)))
        # The coarser grid and kernel: a tenth of their step.
        assert mean == pytest.approx(exact, abs=0.02)
        sd = math.sqrt((days - mean) ** 2 @ mine / mine.sum())
        assert sd == pytest.approx(after.sd_days, abs=0.03)


def test_a_reading_while_ovulation_is_unsure_is_worth_waiting_for(asked):
    outcomes, drawn = asked

    def reading(at):
        return further_reading_prob(EARLY, at, laboratory="a laboratory", first_day=FIRST_DAY)

    mornings = [datetime(2026, 11, 21, 9) + timedelta(days=k) for k in range(8)]
    worths = worth_of_readings(outcomes, {"litters": litters(outcomes)}, drawn, mornings, reading)

    gains = [worth.gain["litters"] for worth in worths]
    best = max(gains)
    knowing_the_day = gain_of_reading(
        litters(outcomes),
        drawn.ovulation_days,
        can_wait=np.ones(len(outcomes), dtype=bool),
        grid_days=GRID,
        prob=TELLING,
    )
    assert 0.02 < best < knowing_the_day
    assert gains.index(best) not in (0, len(gains) - 1)


def test_a_reading_is_worth_what_deciding_after_it_gives_when_played_many_times(asked):
    outcomes, drawn = asked
    at = datetime(2026, 11, 24, 9)
    grid, prob = further_reading_prob(EARLY, at, laboratory="a laboratory", first_day=FIRST_DAY)
    can_wait = np.array([first_step_at(o) >= at + timedelta(hours=6) for o in outcomes])
    value = litters(outcomes)
    gain = gain_of_reading(
        value, drawn.ovulation_days, can_wait=can_wait, grid_days=grid, prob=prob
    )
    # Play: draw the truth, draw its reading, choose by the grid posterior, look what it gives.
    rng = np.random.default_rng(9)
    step = np.clip(np.rint(drawn.ovulation_days / 0.1), 0, len(grid) - 1).astype(int)
    edges = np.arange(0.0, 33.0, 0.25)
    cell = np.digitize(drawn.ovulation_days, edges)
    by_cell = {c: value[cell == c].mean(axis=0) for c in np.unique(cell)}
    shares = {c: (cell == c).mean() for c in by_cell}
    likely = {c: prob[step[cell == c]].mean(axis=0) for c in by_cell}
    best_of = {
        y: max(
            np.flatnonzero(can_wait),
            key=lambda a, y=y: sum(shares[c] * likely[c][y] * by_cell[c][a] for c in by_cell),
        )
        for y in range(prob.shape[1])
    }
    shown = [rng.choice(prob.shape[1], p=prob[s]) for s in step]
    played = value[np.arange(len(value)), [best_of[y] for y in shown]]
    without = value[:, value.mean(axis=0).argmax()]

    error = (played - without).std() / math.sqrt(len(value))
    assert gain == pytest.approx((played - without).mean(), abs=4 * error)


def test_a_reading_whose_result_comes_too_late_is_worth_nothing(asked):
    outcomes, drawn = asked

    gain = gain_of_reading(
        litters(outcomes),
        drawn.ovulation_days,
        can_wait=np.zeros(len(outcomes), dtype=bool),
        grid_days=GRID,
        prob=TELLING,
    )

    assert gain == 0.0


@given(waits=st.lists(st.booleans(), min_size=14, max_size=14), blur=st.floats(0.0, 1.0))
@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_more_information_never_lowers_the_expected_value(waits, blur, asked):
    outcomes, drawn = asked
    value = litters(outcomes)
    can_wait = np.resize(np.array(waits), len(outcomes))
    blurred = (1.0 - blur) * TELLING + blur / TELLING.shape[1]

    def gain(prob):
        return gain_of_reading(
            value, drawn.ovulation_days, can_wait=can_wait, grid_days=GRID, prob=prob
        )

    assert 0.0 <= gain(blurred) <= gain(TELLING) + 1e-9


def test_counting_matters_where_the_dose_decides_and_not_where_it_cannot(
    circumstances, pair, unknowns
):
    options = {o.method: o for o in possible_options(circumstances)[0]}
    two = [
        simulate(options[name], pair, unknowns)
        for name in ("chilled vaginal once", "frozen vaginal twice")
    ]
    # A planted value: chilled is worth twice the frozen one when the sample holds much, else none.
    much = unknowns.sample.progressive_m > np.median(unknowns.sample.progressive_m)
    planted = {"litters": np.column_stack([2.0 * much, np.full(unknowns.n_draws, 1.0)])}
    indifferent = {"litters": np.column_stack([np.full(unknowns.n_draws, v) for v in (1.0, 0.9)])}
    rng = np.random.default_rng(1)

    found = worth_of_counting(two, planted, unknowns, rng)
    nothing = worth_of_counting(two, indifferent, unknowns, rng)

    assert 0.1 < found.gain["litters"] < 0.5
    assert nothing.gain["litters"] == 0.0
    assert worth_of_counting([two[1]], planted, unknowns, rng) is None


def test_a_test_cool_matters_where_storage_decides(circumstances, pair, unknowns):
    options = {o.method: o for o in possible_options(circumstances)[0]}
    chilled = simulate(options["chilled vaginal once"], pair, unknowns)
    frozen = simulate(options["frozen vaginal twice"], pair, unknowns)
    lasting = unknowns.storage.share(24.0) > np.median(unknowns.storage.share(24.0))
    planted = {"litters": np.column_stack([2.0 * lasting, np.full(unknowns.n_draws, 1.0)])}

    found = worth_of_test_cool([chilled, frozen], planted, unknowns, np.random.default_rng(1))

    assert (found.what, found.hours) == ("test-cool", 24.0)
    assert found.gain["litters"] > 0.0
    assert worth_of_test_cool([frozen], planted, unknowns, np.random.default_rng(1)) is None


def test_a_reading_helps_what_begins_six_hours_after_it_and_not_a_minute_less(asked):
    outcomes, drawn = asked
    step = first_step_at(outcomes[0])
    # Two ways of one day, each worth something on one half of the possible days of ovulation.
    early = drawn.ovulation_days < np.median(drawn.ovulation_days)
    planted = {"litters": np.column_stack([early, ~early]).astype(float)}
    at = [step - timedelta(hours=6), step - timedelta(hours=5, minutes=59)]

    in_time, too_late = worth_of_readings(
        [outcomes[0]] * 2, planted, drawn, at, lambda _: (GRID, TELLING)
    )

    assert in_time.gain["litters"] > 0.3
    assert too_late.gain["litters"] == 0.0
    assert [in_time.at, too_late.at] == at


def test_what_is_done_first_can_no_longer_wait(circumstances, pair, unknowns):
    options = {o.method: o for o in possible_options(circumstances)[0]}
    chilled = simulate(options["chilled vaginal once"], pair, unknowns)
    option = chilled.option
    collected, packed, hers = option.collected_at, option.packed_at, option.inseminated_at[0]

    assert collected == packed < hers
    assert first_step_at(chilled) == packed
    sooner = replace(option, collected_at=packed - timedelta(hours=2))
    assert first_step_at(replace(chilled, option=sooner)) == packed - timedelta(hours=2)
    # What is collected already waits for nothing but the carrier.
    on_hand = replace(sooner, source="sample on hand")
    assert first_step_at(replace(chilled, option=on_hand)) == packed
    frozen = simulate(options["frozen vaginal once"], pair, unknowns)
    assert first_step_at(frozen) == frozen.option.inseminated_at[0]


@pytest.mark.parametrize(("stored_h", "read_h"), [(10.0, 24.0), (24.1, 24.1), (40.0, 40.0)])
def test_a_test_cool_is_read_after_the_planned_hours_and_a_day_at_least(
    stored_h, read_h, circumstances, pair, unknowns
):
    options = {o.method: o for o in possible_options(circumstances)[0]}
    chilled = simulate(options["chilled vaginal once"], pair, unknowns)
    frozen = simulate(options["frozen vaginal once"], pair, unknowns)
    kept = replace(chilled, hours_stored=np.full(unknowns.n_draws, stored_h))
    values = {"litters": litters([kept, frozen])}

    found = worth_of_test_cool([kept, frozen], values, unknowns, np.random.default_rng(1))

    assert found.hours == read_h


@pytest.mark.parametrize(
    ("litters_gain", "pups_gain", "told_as_less"),
    [(0.002, 0.02, (False, False)), (0.00198, 0.0198, (True, True)), (0.0, 0.02, (True, False))],
)
def test_below_two_litters_in_a_thousand_and_two_pups_in_a_hundred_only_that_is_told(
    litters_gain, pups_gain, told_as_less
):
    worth = Worth("count", None, {"litters": litters_gain, "pups": pups_gain})
    plan = SimpleNamespace(worths=(worth,), is_valued=False, prices={})

    ((_, for_litters, for_pups),) = measure_rows(plan, Words("en"), prices=False)

    assert (for_litters.startswith("<"), for_pups.startswith("<")) == told_as_less
