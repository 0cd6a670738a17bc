"""How many breedings would show a loss, against the closed form of two shares and two means."""

import numpy as np
import pytest
from scipy.special import logit
from scipy.stats import norm

from studcurve.analytics.outcomes.needed import (
    MOST_BREEDINGS,
    POWER,
    WORTH_PUPS,
    WORTH_SHARE,
    Needed,
    Pool,
    as_plain,
    from_plain,
    needed,
)

N = 300


def pool(*, chance=0.65, share_poor=0.5, log_nu=None, mean=6.0):
    """Breedings of as many bitches, alike but for their side; nothing else is read."""
    poor = (np.arange(N) < share_poor * N).astype(float)
    usual, lost = (
        (mean, mean - WORTH_PUPS) if log_nu is not None else (chance, chance - WORTH_SHARE)
    )
    level = np.where(poor == 1, lost, usual)
    return Pool(
        poor, np.zeros((N, 1)), np.ones(1), np.zeros(N),
        (np.log(level) if log_nu is not None else logit(level))[None],
        np.arange(N), None if log_nu is None else np.array([log_nu]),
    )  # fmt: skip


def wanted(n_questions):
    return norm.ppf(1.0 - 0.05 / (2 * n_questions)) + norm.ppf(POWER)


@pytest.mark.parametrize(("n_questions", "share_poor"), [(1, 0.5), (1, 0.25), (8, 0.5)])
def test_two_shares_need_what_the_textbook_says(n_questions, share_poor):
    found = needed(pool(share_poor=share_poor), seed=1, n_questions=n_questions)

    # Two log odds: the variance of their difference is the sum of 1 / (n p q).
    p, q = 0.65, 0.55
    per_breeding = 1 / (share_poor * q * (1 - q)) + 1 / ((1 - share_poor) * p * (1 - p))
    expected = per_breeding * (wanted(n_questions) / (logit(p) - logit(q))) ** 2
    assert found.n == pytest.approx(expected, rel=0.25)
    assert found.shown == pytest.approx(
        WORTH_SHARE * wanted(n_questions) * np.sqrt(per_breeding / N) / (logit(p) - logit(q)),
        rel=0.25,
    )


def test_two_means_of_equal_spread():
    # At a dispersion of 1 the counts are Poisson, zero left out.
    found = needed(pool(log_nu=0.0), seed=2, n_questions=1)

    per_litter = 1 / (0.5 * 6.0) + 1 / (0.5 * 5.0)
    assert found.n == pytest.approx(per_litter * (wanted(1) / np.log(6.0 / 5.0)) ** 2, rel=0.3)


def test_beyond_what_any_kennel_has_no_number_is_given():
    rare = needed(pool(share_poor=0.02), seed=3)

    assert rare.n == np.inf
    assert from_plain(as_plain({"day": rare})) == {"day": rare}
    assert as_plain({"day": rare})["day"][0] is None
    assert MOST_BREEDINGS == 2000


def test_more_are_needed_only_beyond_those_on_record():
    assert Needed(300.0, 120, 0.2).n_more == 180.0
    assert Needed(100.0, 120, 0.1).n_more == 0.0
