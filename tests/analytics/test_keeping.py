"""The storage curve against its published anchors, quadrature and direct search."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from studcurve.analytics.measures.motility_kept import (
    STATED_STEP_HOURS,
    STATED_UNTIL_HOURS,
    StorageDraws,
    enough_prob,
    hours_shown,
    kept_at,
    last_hour,
    medium_of,
    published_storage,
    retention_share,
)


def curve(medium="egg yolk", seed=20240229, n_draws=20_000):
    return published_storage(medium, rng=np.random.default_rng(seed), n_draws=n_draws)


def test_nothing_is_lost_at_hour_nought_and_a_scale_of_hours_leaves_37_percent():
    assert retention_share(0.0, 192.0, 1.5) == 1.0
    assert retention_share([24.0, 192.0], 192.0, [0.8, 3.0])[1] == pytest.approx(np.exp(-1))


@pytest.mark.parametrize(
    ("hours", "kept"),
    [
        # Rota, Ström & Linde-Forsberg 1995, Theriogenology 44:885-900: 53.6 % motile on day 4 in
        # egg yolk; of an assumed 85 % at the start that is 63 % kept (D).
        (96.0, 53.6 / 85.0),
        # Iguer-Ouada & Verstegen 2001, Theriogenology 55:671-684: half left after 8.5 d (commercial
        # Tris with yolk) and 13 d (Tris-glucose with yolk); the latter is beyond what is shown.
        (8.0 * 24.0, 0.5),
        # Ponglowhapan et al. 2004, Theriogenology 62:1498-1517: 70 % motile for 8 d with sugar.
        (8.0 * 24.0, 0.70 / 0.85),
    ],
)
def test_published_series_in_egg_yolk_lie_inside_the_ninety_percent_band(hours, kept):
    band = kept_at(curve(), 1.0, hours)

    assert band.lower < kept < band.upper


def test_milk_and_cream_keep_less_than_egg_yolk_as_published():
    # Rota 1995, day 4: 53.6, 30.4 and 14.1 % in egg yolk, milk and cream.
    yolk, milk, cream = (kept_at(curve(m), 1.0, 96.0) for m in ("egg yolk", "milk", "cream"))

    assert yolk.median > milk.median > cream.median
    assert milk.lower < 30.4 / 85.0 < milk.upper
    assert cream.lower < 14.1 / 85.0 < cream.upper


def test_the_undiluted_curve_holds_the_series_it_stands_on():
    # 75 dogs' epididymides at 25 to 28 °C: 82.3, 76.3, 72.0, 60.3, 22.7 % at 0, 1, 3, 6, 12 h.
    undiluted = curve("undiluted")
    for hours, motile in ((1.0, 76.3), (3.0, 72.0), (6.0, 60.3), (12.0, 22.7)):
        band = kept_at(undiluted, 1.0, hours)
        assert band.lower < motile / 82.3 < band.upper
    assert kept_at(undiluted, 1.0, 13.0) is None


def test_draws_agree_with_quadrature_over_the_published_table():
    # Without the spread between dogs the chance that 70 % is left at 96 h is an integral over
    # log η ~ N(log 192, 0.5²) and log κ ~ N(log 1.5, 0.4²): given κ the condition is one bound on
    # η, so the inner integral is a normal tail.
    grid = np.log(1.5) + 0.4 * np.linspace(-8, 8, 20_001)
    bound = np.log(96.0) - np.log(-np.log(0.7)) / np.exp(grid)
    inner = norm.sf(bound, np.log(192.0), 0.5) * norm.pdf(grid, np.log(1.5), 0.4)
    wanted = np.trapezoid(inner, grid)

    rng = np.random.default_rng(1)
    n = 20_000
    plain = StorageDraws(
        192.0 * np.exp(0.5 * rng.normal(size=n)), 1.5 * np.exp(0.4 * rng.normal(size=n)), 192.0, ""
    )
    # Monte Carlo error of 20,000 draws: 0.35 points; three of them.
    assert enough_prob(plain, 1.0, 0.7, 96.0) == pytest.approx(wanted, abs=0.0106)


def test_the_spread_of_the_published_curve_is_that_of_its_rows():
    # log η: 0.5² from s01 and, each a half-normal scale times a normal, 0.35² and 0.2² from s05.
    spread = np.log(curve(n_draws=200_000).eta_h).std()

    assert spread == pytest.approx(np.sqrt(0.5**2 + 0.35**2 + 0.2**2), rel=0.01)


@given(
    st.floats(40.0, 800.0), st.floats(50.0, 400.0), st.sampled_from([0.5, 0.8, 0.9, 0.95]),
    st.sampled_from(["egg yolk", "milk", "cream", "unknown", "undiluted"]),
)  # fmt: skip
def test_the_last_hour_is_where_the_probability_passes_what_was_asked(start, wanted, prob, medium):
    kept = curve(medium, n_draws=2_000)

    hour = last_hour(kept, start, wanted, prob=prob)

    if hour is None:
        assert enough_prob(kept, start, wanted, 0.0) < prob
    else:
        assert enough_prob(kept, start, wanted, hour * (1 - 1e-9)) >= prob
        later = hour + 1e-6 * (1 + hour)
        if later <= kept.studied_until_h:
            # One draw of 2,000 either way.
            assert enough_prob(kept, start, wanted, later) <= prob + 1 / 2_000


@given(st.floats(0.0, 190.0), st.floats(0.0, 2.0), st.floats(50.0, 500.0))
def test_a_later_hour_or_a_smaller_start_never_raises_the_chance(hours, later, start):
    kept = curve(n_draws=500)

    now = enough_prob(kept, start, 100.0, hours)

    assert enough_prob(kept, start, 100.0, hours + later) <= now
    assert enough_prob(kept, 0.9 * start, 100.0, hours) <= now


def test_an_hour_that_nobody_studied_has_no_number():
    assert kept_at(curve(), 80.0, 193.0) is None
    assert np.isnan(enough_prob(curve(), 80.0, 40.0, [24.0, 193.0])).tolist() == [False, True]
    assert last_hour(curve(), 1e9, 1.0, prob=0.5) <= 192.0


@pytest.mark.parametrize(
    ("name", "medium"),
    [("Tris egg yolk", "egg yolk"), ("skim milk", "milk"), ("egg-yolk cream", "cream"),
     ("none", "undiluted"), (None, "unknown"), ("", "unknown"), ("house blend", "unknown")],
)  # fmt: skip
def test_an_extender_is_known_by_what_its_name_says(name, medium):
    assert medium_of(name) == medium


def test_a_curve_with_unequal_rows_is_a_programmers_error():
    with pytest.raises(ValueError, match="as many eta as kappa"):
        StorageDraws(np.ones(3), np.ones(2), 192.0, "")
    with pytest.raises(ValueError, match="above zero"):
        last_hour(curve(n_draws=10), 1.0, 0.0, prob=0.8)


def test_the_curve_needs_no_sampler():
    loaded = subprocess.run(
        [sys.executable, "-c",
         "import sys, studcurve.analytics.measures.motility_kept; print(*sys.modules)"],
        capture_output=True, text=True, check=True,
    ).stdout.split()  # fmt: skip

    assert {"jax", "numpyro", "scipy.stats", "pandas"} & set(loaded) == set()


@pytest.mark.parametrize(
    ("hours", "shown"),
    [(None, None), (0.0, 0.0), (11.99, 0.0), (12.0, 12.0), (23.9, 12.0), (24.0, 24.0),
     (71.9, 60.0), (72.0, 72.0), (90.25, 72.0), (192.0, 72.0)],
)  # fmt: skip
def test_storage_is_told_in_half_days_and_never_beyond_three(hours, shown):
    assert hours_shown(hours) == shown
    assert (STATED_UNTIL_HOURS, STATED_STEP_HOURS) == (72.0, 12.0)


@pytest.mark.parametrize(("medium", "until_h"), [("undiluted", 12.0), ("egg yolk", 192.0)])
def test_no_share_is_told_beyond_the_hours_of_the_series(medium, until_h):
    curve = published_storage(medium, rng=np.random.default_rng(1), n_draws=4)

    assert np.isfinite(curve.share(until_h)).all()
    assert np.isnan(curve.share(1.01 * until_h)).all()


@pytest.mark.parametrize(
    ("observed_until_h", "hour", "is_beyond"),
    [(24.0, 24.0, False), (24.0, 24.1, True), (0.0, 0.1, True), (None, 100.0, False)],
)
def test_only_own_readings_can_be_extrapolated(observed_until_h, hour, is_beyond):
    curve = StorageDraws(np.ones(2), np.ones(2), 192.0, "", observed_until_h)

    assert curve.is_beyond_own(hour) is is_beyond
    assert curve.is_own is (observed_until_h is not None)
