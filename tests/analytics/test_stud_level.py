"""What a posterior of a stud over time says: levels, changes, readers, dips."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import t as student_t
from tests.analytics.stud_records import counted, events, kennel, no_events

from studcurve.analytics.models.sampling import Diagnostics
from studcurve.analytics.models.stud.curves import step_shape
from studcurve.analytics.models.stud.dips import coincident_events, find_dips
from studcurve.analytics.models.stud.inputs import MEASURES, prepare_stud_data
from studcurve.analytics.models.stud.level import (
    change_since,
    expected_collection,
    last_in_line,
    levels_at,
    next_total,
    own_past,
    readers_separable,
    stud_answers,
)
from studcurve.analytics.models.stud.model import StudQualityPosterior

TOTAL, MOTILITY, SHAPE = MEASURES
N_DRAWS = 2000
REFERENCES = Path(__file__).parents[1] / "references"


def known_posterior(rows, happened=None, *, level=6.5, recent=0.0, level_sd=0.0, within=0.3):
    """A posterior whose every draw is known, but for a spread of the level."""
    data = prepare_stud_data(
        rows, no_events() if happened is None else happened, TOTAL, extra_cv=0.0
    )
    rng = np.random.default_rng(2)
    n_studs, n_steps = len(data.studs), len(data.episodes)
    days = (data.on - np.datetime64("2000-01-01")) / np.timedelta64(1, "D")
    flat = np.ones(N_DRAWS)
    draws = {
        "level": level + level_sd * rng.normal(size=(N_DRAWS, n_studs)),
        "recent": recent + np.zeros((N_DRAWS, n_studs)),
        "recent_until": np.full((N_DRAWS, n_studs), days.max()),
        "smooth": np.zeros((N_DRAWS, n_studs, 3)),
        "domain": np.tile([days.min() - 700.0, days.max() + 700.0], (N_DRAWS, 1)),
        "age": 0.0 * flat, "season": np.zeros((N_DRAWS, 2)), "centre": level * flat,
        "rest_time": 2.5 * flat, "rest_deficit": 0.0 * flat,
        "reader": np.zeros((N_DRAWS, len(data.readers))), "reader_sd": 0.1 * flat,
        "step": np.full((N_DRAWS, n_steps), -0.8), "lag": np.full((N_DRAWS, n_steps), 25.0),
        "duration": np.full((N_DRAWS, n_steps), 45.0),
        "within": within * flat, "between": 0.4 * flat,
        "amplitude": np.full((N_DRAWS, n_studs), 0.1), "usual_amplitude": 0.1 * flat,
        "length": 1.0 * flat,
    }  # fmt: skip
    settled = Diagnostics(1.0, 4000.0, 4000.0, 0, 4, 1000, 1)
    return StudQualityPosterior(data, draws, {"level": data.studs}, settled, 1.0)


def steady(n=60, pause=14.0, level=6.5, sd=0.3, seed=11, **columns):
    rng = np.random.default_rng(seed)
    return counted(rng, "Rowan", pause * np.arange(n), rng.normal(level, sd, n), **columns)


def test_the_past_is_the_first_half_and_never_the_last_half_year():
    on = np.datetime64("2022-01-01") + np.arange(0, 720, 20).astype("timedelta64[D]")
    short = np.datetime64("2022-01-01") + np.arange(0, 170, 10).astype("timedelta64[D]")

    past = own_past(on.astype("datetime64[s]"))

    assert on[past].max() <= on[0] + np.timedelta64(350, "D")
    assert own_past(short.astype("datetime64[s]")).size == 0


def test_never_a_change_from_fewer_than_five_collections():
    rows = kennel(steady(8, pause=90.0))

    answers = stud_answers(known_posterior(rows), "Rowan")

    assert answers.change is None


def test_a_recent_change_is_the_change_from_past_to_now():
    posterior = known_posterior(kennel(steady()), recent=np.log(0.5))

    answers = stud_answers(posterior, "Rowan")

    assert answers.now.median == pytest.approx(np.exp(6.5) / 2)
    assert answers.change.median == pytest.approx(-0.5)
    assert [fall.prob for fall in answers.falls] == [1.0, 1.0, 1.0]


def test_a_declared_event_moves_the_level_while_it_lasts_and_not_his_past():
    happened = events(("Rowan", "fever", "2022-06-01"))
    posterior = known_posterior(kennel(steady()), happened)

    at = levels_at(posterior, "Rowan", np.array(["2022-07-16"], dtype="datetime64[s]"))
    change = change_since(posterior, "Rowan", since=date(2022, 5, 20), until=date(2022, 7, 16))

    shape = step_shape(np, 45.0, 25.0, 45.0)
    assert at[0, 0] == pytest.approx(6.5 - 0.8 * shape)
    assert change.median == pytest.approx(np.expm1(-0.8 * shape), abs=1e-3)
    assert stud_answers(posterior, "Rowan").past.median == pytest.approx(np.exp(6.5))


def test_a_change_of_readers_without_overlap_is_named():
    before = steady(30, evaluator="Ash")
    after = steady(30, evaluator="Birch", start="2023-02-27 10:00")
    alone = known_posterior(kennel(before, after), recent=np.log(0.4))
    # A second stud whom both have read in one month ties the two readers together.
    rng = np.random.default_rng(5)
    both = [
        counted(rng, "Hazel", [d], [6.5], evaluator=name)
        for d, name in ((400.0, "Ash"), (410.0, "Birch"), (420.0, "Ash"))
    ]
    tied = known_posterior(kennel(before, after, *both), recent=np.log(0.4))

    assert not stud_answers(alone, "Rowan").is_separable
    assert stud_answers(tied, "Rowan").is_separable


def test_readers_are_tied_by_a_chain_of_others():
    rng = np.random.default_rng(3)
    rows = [
        counted(rng, stud, [day], [6.5], evaluator=name)
        for stud, day, name in (
            ("Rowan", 0, "Ash"), ("Hazel", 1, "Ash"), ("Hazel", 2, "Cedar"), ("Hazel", 9, "Ash"),
            ("Aspen", 300, "Cedar"), ("Aspen", 301, "Birch"), ("Aspen", 302, "Cedar"),
            ("Rowan", 500, "Birch"),
        )
    ]  # fmt: skip
    data = prepare_stud_data(kennel(*rows), no_events(), TOTAL, extra_cv=0.0)
    own = data.rows_of("Rowan")
    broken = prepare_stud_data(
        kennel(*[row for i, row in enumerate(rows) if i != 4]), no_events(), TOTAL, extra_cv=0.0
    )
    of_broken = broken.rows_of("Rowan")

    assert readers_separable(data, own[:1], own[1:])
    assert not readers_separable(broken, of_broken[:1], of_broken[1:])


@pytest.mark.parametrize(("days", "is_told_apart"), [(180, True), (181, False)])
def test_a_reader_encloses_another_within_half_a_year(days, is_told_apart):
    rng = np.random.default_rng(3)
    rows = [
        counted(rng, "Rowan", [day], [6.5], evaluator=name)
        for day, name in ((0.0, "Ash"), (90.0, "Birch"), (float(days), "Ash"))
    ]
    data = prepare_stud_data(kennel(*rows), no_events(), TOTAL, extra_cv=0.0)
    by_ash = np.array([data.readers[k].startswith("Ash") for k in data.reader])

    assert by_ash.tolist() == [True, False, True]
    assert readers_separable(data, np.flatnonzero(by_ash), np.flatnonzero(~by_ash)) is is_told_apart


def test_the_last_collection_is_judged_by_the_tail_it_lies_in():
    low = counted(np.random.default_rng(1), "Rowan", [840.0], [6.5 - 1.1])
    posterior = known_posterior(kennel(steady(), low), within=0.3)
    row = posterior.data.rows_of("Rowan")[-1]
    scale = np.hypot(0.3, posterior.data.reading_sd[row])

    last = last_in_line(posterior, "Rowan", rng=np.random.default_rng(4))

    # Every draw being equal, taking the collection out changes nothing: the plain tail is exact.
    exact = student_t.cdf((posterior.data.value[row] - 6.5) / scale, 6.0)
    assert last.lower_prob == pytest.approx(exact, rel=1e-6)
    assert last.out_of_line
    assert last.higher_prob > 0.95
    assert (last.again_on - last.on).days == 5


def test_the_next_collection_has_the_spread_of_single_collections_and_of_reading():
    posterior = known_posterior(kennel(steady()), within=0.3)
    drawn = np.concatenate([
        expected_collection(
            posterior, "Rowan", on=date(2024, 6, 1), rest_days=10.0, rng=np.random.default_rng(k)
        )
        for k in range(20)
    ])  # fmt: skip

    scale = np.hypot(0.3, posterior.data.reading_sd[-1])
    wanted = 6.5 + scale * student_t.ppf([0.05, 0.5, 0.95], 6.0)
    # Monte Carlo error of a quantile, sqrt(p (1 - p) / n) over the density, four times.
    density = student_t.pdf(student_t.ppf([0.05, 0.5, 0.95], 6.0), 6.0) / scale
    error = 4.0 * np.sqrt(np.array([0.0475, 0.25, 0.0475]) / drawn.size) / density
    assert (np.abs(np.log(np.quantile(drawn, [0.05, 0.5, 0.95])) - wanted) <= error).all()


def test_a_single_low_sample_is_expected_to_come_back_without_any_treatment():
    rng = np.random.default_rng(8)
    rows = kennel(steady(), counted(rng, "Rowan", [840.0], [5.6]))
    last = last_in_line(known_posterior(rows, level_sd=0.05), "Rowan", rng=rng)

    assert last.again.median > 1.8 * last.value


def test_a_planted_dip_is_found_and_dated_and_its_event_is_coincident():
    rng = np.random.default_rng(21)
    days = np.arange(0.0, 900.0, 7.0)
    dip = -0.9 * step_shape(np, days - 400.0, 0.0, 40.0)
    rows = kennel(counted(rng, "Rowan", days, rng.normal(6.5 + dip, 0.3)))
    happened = events(("Rowan", "fever", "2023-01-15"), ("Rowan", "travel", "2022-08-01"))
    # The steps are declared, yet the search does not read them.
    posterior = known_posterior(rows, happened)

    (found,) = find_dips(posterior, "Rowan")

    planted = date(2023, 2, 7)
    assert abs((found.began_on - planted).days) <= 14
    assert found.depth.lower <= -0.9 <= found.depth.upper
    coincident = coincident_events(happened, "Rowan", found.began_on)
    assert [event.kind for event in coincident] == ["fever"]


def test_steady_studs_seldom_show_a_dip():
    # At a prior of one dip in five years and sureness of 0.95, noise alone over 2.3 years passes
    # in fewer than 0.05 / 0.95 of the prior's 0.46 dips a stud: at most 2.4 % of 200 studs.
    n_found = sum(
        len(find_dips(known_posterior(kennel(steady(seed=1000 + k))), "Rowan")) for k in range(200)
    )

    assert n_found <= 200 * 0.024 + 3 * np.sqrt(200 * 0.024)


def test_the_fall_of_the_nile_is_dated_and_sized_as_published():
    # Cobb 1978, Biometrika 65:243-251: one shift at the 28th of 100 yearly flows, which R's
    # strucchange dates to 25 to 32; mean 1097.75 before it and 849.972 after. A year is read here
    # as a day, so that the search, made for dips of weeks, can see a fall of 72 years.
    flow = np.loadtxt(REFERENCES / "datasets_Nile.csv", delimiter=",", skiprows=1)[:, 2]
    rows = counted(np.random.default_rng(0), "Rowan", np.arange(100.0), np.full(100, 6.5))
    rows["concentration_m_per_ml"] = flow / 2.0
    before, after = np.log(1097.75), np.log(849.972)
    posterior = known_posterior(kennel(rows), level=before, within=0.13)

    (found,) = find_dips(posterior, "Rowan")

    first_day = date(2022, 1, 3)
    # The last year of the old level is 28; what begins then is half deep one to two days later.
    assert 25 <= (found.began_on - first_day).days <= 32
    assert found.depth.lower <= after - before <= found.depth.upper


def test_an_event_counts_as_coincident_only_within_the_look_back():
    happened = events(
        ("Rowan", "fever", "2023-03-01"), ("Rowan", "heat stress", "2022-12-01"),
        ("Rowan", "injury", "2023-04-25"), ("Hazel", "fever", "2023-03-01"),
    )  # fmt: skip

    found = coincident_events(happened, "Rowan", date(2023, 5, 1))

    assert [(event.kind, event.days_before) for event in found] == [("fever", 61), ("injury", 6)]
    assert "testis" in found[0].window
    assert "epididymis" in found[1].window


def test_the_next_total_is_his_level_with_the_spread_of_single_collections_and_no_readers_error():
    posterior = known_posterior(kennel(steady()), level=6.5, within=0.3)
    posterior.draws["reader"][:] = 0.7
    n = 20_000

    drawn = next_total(
        posterior, "Rowan", on=date(2026, 5, 1), rng=np.random.default_rng(5), n_draws=n
    )

    for share in (0.05, 0.5, 0.95):
        # Quantile of the level plus 0.3 of Student's t with 6 degrees; error of a sample quantile.
        exact = student_t.ppf(share, 6.0)
        error = np.sqrt(share * (1 - share) / n) / student_t.pdf(exact, 6.0)
        found = np.quantile(np.log(drawn.total_m), share)
        assert found == pytest.approx(6.5 + 0.3 * exact, abs=4 * 0.3 * error)
    assert np.all(drawn.recovery_days == 2.5)
    assert np.all(drawn.deficit == 0.0)
