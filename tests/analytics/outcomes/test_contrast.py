"""Losses and claims: signs, Holm's rule at its edges, and kennels of a known truth."""

import numpy as np
import pytest
from scipy.stats import norm
from tests.studies.no_association import kennel_where

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.models.breedings.posterior import Belief
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.outcomes.contrast import (
    OPEN_ROWS,
    OPEN_SD,
    Shift,
    as_plain,
    claims,
    from_plain,
    loss_of_litters,
    loss_of_pups,
    shifts_of_litters,
)
from studcurve.analytics.outcomes.standardised import on_poor_side
from studcurve.analytics.priors import PRIORS


def shift_of(p_value, sign=1.0, sd=0.3):
    return Shift(sign * sd * -norm.ppf(p_value / 2.0), sd)


def test_a_shift_s_p_value_is_two_sided():
    assert Shift(0.3 * 1.959964, 0.3).p_value == pytest.approx(0.05, abs=1e-6)
    assert Shift(-0.3 * 1.959964, 0.3).p_value == pytest.approx(0.05, abs=1e-6)


def test_claims_go_by_holm_over_all_questions():
    asked_of = {
        "litter": {"motility": shift_of(0.012), "hours": shift_of(0.30)},
        "size": {"motility": shift_of(0.016, -1.0), "day": shift_of(0.03)},
    }

    assert claims(asked_of) == {("litter", "motility"): "fewer", ("size", "motility"): "more"}


def test_where_the_first_step_fails_nothing_is_claimed():
    asked_of = {"litter": {"motility": shift_of(0.013), "hours": shift_of(0.02)},
                "size": {"motility": shift_of(0.03), "day": shift_of(0.04)}}  # fmt: skip

    assert claims(asked_of) == {}
    assert claims({}) == {}


def test_shifts_come_back_from_plain_numbers():
    kept = {"motility": Shift(0.1, 0.2), "day": Shift(-0.3, 0.4)}

    assert from_plain(as_plain(kept)) == kept


def test_a_row_is_believed_otherwise_and_the_others_as_published():
    rows = {"c23": (0.0, 1.5), "c12": (-0.3, 1.5)}
    groups = {"stud": np.zeros(3, dtype=int)}

    terms = conception.PUBLISHED.terms(groups, {"stud": 8}, Belief(otherwise=rows))

    for k, row in enumerate(conception.COEFFICIENTS):
        expected = rows.get(row) or (PRIORS[row].centre, PRIORS[row].sd)
        assert (terms.coefficient_mean[k], terms.coefficient_sd[k]) == pytest.approx(expected), row


def test_every_own_row_is_one_of_the_model_and_wide_when_opened():
    known = {"litter": conception.COEFFICIENTS, "size": litter.COEFFICIENTS}
    for outcome, of_exposure in OPEN_ROWS.items():
        for rows in of_exposure.values():
            for row in rows:
                assert row in known[outcome]
                # Those of the day after deep insemination are the widest that are published.
                assert OPEN_SD[outcome] >= 2.5 * PRIORS[row].sd


class Published:
    """The published table as a posterior, of a drawn kennel."""

    def __init__(self, n=60, seed=5):
        frames = kennel_where(np.random.default_rng(seed), n=n)
        data = conception_data(frames), litter_data(frames)
        self.conception, self.litter = (
            model.PUBLISHED.restore(of, model.PUBLISHED.independent_draws(1), seed=1)
            for model, of in zip((conception, litter), data, strict=True)
        )


def conception_data(frames):
    from studcurve.analytics.models.breedings.records import prepare_conception

    return prepare_conception(*frames)


def litter_data(frames):
    return litter.prepare_litter(*frames)


@pytest.fixture(scope="module")
def published():
    return Published()


def test_what_is_published_expects_a_loss_on_every_poor_side(published):
    everywhere = np.ones(published.conception.data.n_breedings, dtype=bool)
    for exposure in ("motility", "hours", "day"):
        found = loss_of_litters(published.conception, published.conception, exposure, everywhere)
        assert found.published.median > 0.0, exposure
        poor = on_poor_side(published.conception.data, exposure) == 1
        assert found.n == int((poor & (published.conception.data.whelped >= 0)).sum())
        assert found.published == found.together


def test_of_pups_too_and_concentration_has_none(published):
    everywhere = np.ones(published.litter.data.n_litters, dtype=bool)
    losses = {
        exposure: loss_of_pups(published.litter, published.litter, exposure, everywhere)
        for exposure in ("motility", "hours", "day", "concentration")
    }

    assert losses["concentration"] is None
    for exposure in ("motility", "hours", "day"):
        assert isinstance(losses[exposure].published, Estimate)
        assert losses[exposure].published.median > 0.0, exposure


def test_without_a_breeding_on_the_poor_side_there_is_no_loss(published):
    nowhere = np.zeros(published.conception.data.n_breedings, dtype=bool)

    assert (
        loss_of_litters(published.conception, published.conception, "day", nowhere) is None
    )  # fmt: skip


MATTERS = {
    "hours": {"c12": -2.5},
    "motility": {"c23": -1.6},
    "day": {"c17_fresh": -1.5, "c17_chilled": -1.5, "c17_frozen": -1.5, "c18_vaginal": -1.5,
            "c18_intrauterine": -1.5},
    "nothing": {},
}  # fmt: skip
"""Truth of kennels in which one thing alone matters, far beyond what studies expect."""

WELL_RECORDED = {"dose_missing": 0.1, "day_missing": 0.05, "day_bad": 0.0, "motility_missing": 0.1}


def spread_hours(rows):
    """Chilled semen a day or three old, half and half."""
    chilled = rows["semen"].to_numpy() == "chilled"
    days = np.where(np.arange(len(rows)) % 2 == 0, 20.0, 68.0)
    rows["hours"] = np.where(chilled, days, rows["hours"])


def weak_when_old(rows):
    """Old semen is weak semen, and none else."""
    spread_hours(rows)
    stored = rows["semen"].to_numpy() == "chilled"
    old = stored & (rows["hours"].to_numpy() > 36.0)
    rows["motility"] = np.where(old, 35.0, np.where(stored, 80.0, rows["motility"]))
    # Fresh and frozen semen is as strong as ever: nothing but the chilled tells.
    rows.loc[~stored, "motility"] = 75.0


KENNELS = {what: (rows, spread_hours, 300) for what, rows in MATTERS.items()} | {
    "two together": ({"c12": -0.9}, weak_when_old, 200)
}


@pytest.mark.slow
@pytest.mark.fits
@pytest.mark.sampled
@pytest.mark.parametrize("what", list(KENNELS))
def test_a_kennel_is_told_what_matters_there_and_nothing_that_cannot_be_told_apart(what):
    rows, change, n = KENNELS[what]
    frames = kennel_where(
        np.random.default_rng(11), rows, n=n, change=change, recorded=WELL_RECORDED
    )

    told = claims({"litter": shifts_of_litters(conception_data(frames), seed=3)})

    expected = {} if what in {"nothing", "two together"} else {("litter", what): "fewer"}
    assert told == expected
