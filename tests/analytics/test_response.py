"""Chances over dose, day and hour: the model's own, monotone where the table says so."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit
from scipy.stats import norm

from studcurve.analytics.models.conception.model import PUBLISHED
from studcurve.analytics.models.conception.response import DAYS, DOSES_M, read_response


class Alone:
    """A posterior of one draw: the centres of the table, and one stud."""

    def __init__(self, n_draws=1):
        drawn = PUBLISHED.draw(np.random.default_rng(3), n_draws)
        self.draws = {**drawn, "effect_stud": np.full((n_draws, 1), 0.25)}
        self.data = type("Data", (), {"levels": {"stud": ("Rowan",)}})()


def test_a_cell_is_the_chain_averaged_over_bitches_not_seen():
    # Second route: the chain written out by hand, the unseen bitch and breed by quadrature.
    posterior = Alone()
    draw = {name: float(values.ravel()[0]) for name, values in posterior.draws.items()}
    grid = read_response(posterior, "chilled", "transcervical", "Rowan")
    dose, day = DOSES_M.index(50.0), DAYS.index(-1.0)

    def softplus(x):
        return 0.25 * np.logaddexp(0.0, x / 0.25)

    # 48 h of storage; 50 M is one halving of the usual 100 M; day −1 is one day before the window.
    eta = (
        draw["c01"] + draw["c03"] + draw["c04"] + draw["c05"] + draw["c12"] + 0.25
        - draw["c10"] * softplus(1.0) + draw["c11"] * softplus(-1.0)
        # The motility is the usual one, where the bend of its term begins.
        + draw["c23"] * softplus(0.0)
        + draw["c17_chilled"] * softplus(1.0) + draw["c18_intrauterine"] * softplus(-7.0)
    )  # fmt: skip
    spread = np.hypot(draw["c20_bitch"], draw["c20_breed"])
    pregnant, _ = quad(lambda z: norm.pdf(z) * expit(eta + spread * z), -8, 8)
    wanted = pregnant * expit(draw["c02"])

    assert grid.median[grid.hours.index(48.0), dose, day] == pytest.approx(wanted, abs=1e-5)


def test_a_smaller_dose_or_a_later_hour_never_raises_the_chance_where_slopes_have_their_sign():
    posterior = Alone(400)
    for row, sign in (("c10", 1), ("c11", 1), ("c12", -1)):
        posterior.draws[row] = sign * np.abs(posterior.draws[row])
    grid = read_response(posterior, "chilled", "vaginal", None)

    assert (np.diff(grid.median, axis=1) >= -1e-12).all()
    assert (np.diff(grid.median, axis=0) <= 1e-12).all()


def test_a_stud_not_seen_before_is_less_sure_than_one_whose_effect_is_known():
    posterior = Alone(2000)
    known = read_response(posterior, "fresh", "vaginal", "Rowan")
    new = read_response(posterior, "fresh", "vaginal", None)

    assert known.median.shape == new.median.shape == (1, len(DOSES_M), len(DAYS))
    assert (new.lower <= new.median).all()
    assert (new.median <= new.upper).all()
    # The known stud's effect of +0.25 is inside his chances.
    assert (known.median > new.median).mean() > 0.95


def test_a_natural_mating_has_a_day_and_no_dose():
    assert read_response(Alone(), "natural", "natural", None).median.shape == (1, 1, len(DAYS))
