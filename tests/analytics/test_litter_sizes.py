"""Litters drawn again, against the exact distribution and the counts of the records."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import expit, gammaln, logit
from scipy.stats import betabinom
from tests.analytics.view_rows import natural_matings

from studcurve.analytics.estimate import NO_WEIGHT
from studcurve.analytics.models.breedings.posterior import BreedingsPosterior
from studcurve.analytics.models.litter.model import (
    COEFFICIENTS,
    LINEAR,
    N_SUPPORT,
    PUBLISHED,
    LitterData,
)
from studcurve.analytics.models.litter.sizes import N_DRAWS_READ, litters_again
from studcurve.analytics.models.sampling import Diagnostics

N = 40
TRUE = {"l01_medium": np.log(5.4), "l13": 0.2, "l14": logit(0.06), "l14_size": 0.05,
        "l14_within": -1.3}  # fmt: skip


def litters(n=N):
    design = np.zeros((n, len(LINEAR)))
    design[:, LINEAR.index("l01_medium")] = 1.0
    half = (np.arange(n) >= n // 2).astype(int)
    return LitterData(
        bred=natural_matings(n),
        design=design,
        dam_age_years=np.zeros(n),
        n_alive=np.arange(n) % 7.0,
        n_stillborn=np.zeros(n),
        n_lost=np.zeros(n),
        groups={"breed": np.zeros(n, dtype=int), "bitch": half, "stud": half},
        levels={"breed": ("hound",), "bitch": ("Ash", "Elm"), "stud": ("Rowan", "Alder")},
    )


def known(data):
    """A posterior that knows every coefficient, and no difference between partners."""
    draws = {row: np.full(N_DRAWS_READ, TRUE.get(row, 0.0)) for row in COEFFICIENTS}
    for factor, names in data.levels.items():
        draws[f"effect_{factor}"] = np.zeros((N_DRAWS_READ, len(names)))
    prior = PUBLISHED.draw(np.random.default_rng(1), N_DRAWS_READ)
    return BreedingsPosterior(data, draws, prior, Diagnostics(1, 1, 1, 0, 4, 250, 1), 0.0)


def exact_alive():
    """Chance of 0, 1, … pups born alive, by root finding and scipy's beta-binomial."""
    support = np.arange(N_SUPPORT + 1)
    nu, wanted = np.exp(TRUE["l13"]), np.exp(TRUE["l01_medium"])

    def weights(log_rate):
        w = np.exp(log_rate * support - nu * gammaln(support + 1))
        return w / w.sum()

    log_rate = brentq(lambda value: weights(value) @ support - wanted, -3, 6)
    born = weights(log_rate)
    born[0] = 0.0
    born /= born.sum()
    theta = np.exp(TRUE["l14_within"])
    alive = np.zeros(N_SUPPORT + 1)
    for n in support[1:]:
        p = expit(TRUE["l14"] + TRUE["l14_size"] * (n - 5.0))
        still = betabinom(n, p / theta, (1 - p) / theta)
        alive[: n + 1] += born[n] * still.pmf(n - np.arange(n + 1))
    return alive


def test_litters_drawn_again_follow_the_exact_distribution():
    data = litters()
    again = litters_again(known(data), seed=4, is_fitted=True)
    sizes = again.sizes(np.ones(N, dtype=bool))
    exact = exact_alive()

    for row in sizes.rows:
        # A mean over draws of N litters each is sure to sqrt(N p q / draws).
        error = np.sqrt(N * exact[row.n_pups] * (1 - exact[row.n_pups]) / N_DRAWS_READ)
        # One Newton step leaves the mean of the counts within a thousandth.
        assert row.together.mean == pytest.approx(
            N * exact[row.n_pups], abs=4 * error + 1e-3 * N * exact[row.n_pups] + 1e-6
        )
    mean = exact @ np.arange(N_SUPPORT + 1)
    assert sizes.together.median == pytest.approx(mean, rel=2e-3)


def test_bars_are_the_records_and_of_the_chosen_litters_alone():
    data = litters()
    again = litters_again(known(data), seed=4, is_fitted=True)
    his = again.sizes(again.stud == "Rowan")
    seen = data.n_alive[: N // 2]

    assert his.n_litters == N // 2
    assert his.mean_alive == pytest.approx(seen.mean())
    assert [row.n_litters for row in his.rows][:7] == [int((seen == k).sum()) for k in range(7)]
    assert sum(row.n_litters for row in his.rows) == N // 2


def test_without_a_fit_only_published_work_stands_beside_the_bars():
    sizes = litters_again(known(litters()), seed=4, is_fitted=False).sizes(np.ones(N, dtype=bool))

    assert sizes.together is None
    assert sizes.records_weight == NO_WEIGHT
    assert all(row.together is None for row in sizes.rows)


def test_new_partners_are_less_sure_than_known_ones_and_the_same_seed_gives_the_same_litters():
    data = litters()
    one, other = (litters_again(known(data), seed=4, is_fitted=True) for _ in range(2))
    sizes = one.sizes(np.ones(N, dtype=bool))

    assert np.array_equal(one.published.n_alive, other.published.n_alive)
    assert sizes.published.upper - sizes.published.lower > 1.0
    assert sizes.records_weight.share > 0.99


def test_no_litter_has_no_sizes():
    again = litters_again(known(litters()), seed=4, is_fitted=True)

    assert again.sizes(np.zeros(N, dtype=bool)) is None
    empty = litters_again(known(litters(0)), seed=4, is_fitted=True)
    assert empty.sizes(np.zeros(0, dtype=bool)) is None
