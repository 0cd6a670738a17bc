"""Dose and motility as one latent pair: by a grid, by drawing, and what a record may move."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.special import expit
from scipy.stats import multivariate_normal, norm
from tests.analytics.view_rows import inseminations

from studcurve.analytics.models.breedings.inputs import DOSE_NODES, DOSE_WEIGHTS
from studcurve.analytics.models.breedings.semen import (
    SemenInseminated,
    dose_when_inseminated,
    mean_short,
    motility_when_inseminated,
    semen_given_records,
    short_at_doses,
)

AT = pd.Timestamp("2025-03-04 10:00")


def first_of(kind="fresh", *, read="raw", pct=None, n=None, hours_before=0.5, read_hours=None,
             dose_m=None, extender=None, packed=False):  # fmt: skip
    """One first insemination as its view tells of it."""
    collected = AT - pd.Timedelta(hours=hours_before)
    return {
        "breeding_id": 1, "n_in_breeding": 1, "semen_type": kind, "route": "vaginal",
        "inseminated_earliest": AT, "inseminated_latest": AT, "collected_earliest": collected,
        "collected_latest": collected, "motility_read": read if pct is not None else None,
        "progressive_motility_pct": pct, "n_motility_evaluated": n, "motile_dose_m": dose_m,
        "motility_read_hours": read_hours, "extender": extender, "is_dose_packed": packed,
    }  # fmt: skip


def pair_of(*rows, stud="Rowan"):
    frame = inseminations(*rows)
    kinds = frame["semen_type"].to_numpy(dtype=str)
    return semen_given_records(
        frame, kinds, np.full(len(frame), "vaginal"), np.full(len(frame), stud)
    )


def moments_on_a_grid(dose, motility, shared=None):
    """Means, sds and correlation of the pair, by summing prior times likelihood over a grid.

    Each of ``dose`` and ``motility`` is (record, error, population mean, population sd); ``shared``
    the correlation of the errors, of one and the same reading by default.
    """
    d = np.linspace(-4, 4, 401)[:, None]
    m = np.linspace(-20, 140, 401)[None, :]
    per_point = 1.0 / (motility[2] * np.log(2))

    def bivariate(x, y, sd, correlation):
        cov = [[sd[0] ** 2, correlation * sd[0] * sd[1]],
               [correlation * sd[0] * sd[1], sd[1] ** 2]]  # fmt: skip
        return multivariate_normal(cov=cov).pdf(np.stack(np.broadcast_arrays(x, y), axis=-1))

    together = min(0.9, motility[3] * per_point / dose[3])
    density = bivariate(d - dose[2], m - motility[2], (dose[3], motility[3]), together)
    if dose[0] is not None and motility[0] is not None:
        if shared is None:
            shared = min(0.9, motility[1] * per_point / dose[1])
        density = density * bivariate(dose[0] - d, motility[0] - m, (dose[1], motility[1]), shared)
    elif dose[0] is not None:
        density = density * norm.pdf(dose[0], d, dose[1])
    elif motility[0] is not None:
        density = density * norm.pdf(motility[0], m, motility[1])
    density = density / density.sum()
    means = float((density * d).sum()), float((density * m).sum())
    sds = [
        float(np.sqrt((density * (x - mean) ** 2).sum()))
        for x, mean in zip((d, m), means, strict=True)
    ]
    cross = float((density * (d - means[0]) * (m - means[1])).sum())
    return (*means, *sds, cross / (sds[0] * sds[1]))


@pytest.mark.parametrize("dose_m", [None, 400.0])
@pytest.mark.parametrize("pct", [None, 40.0])
def test_the_pair_given_its_records_is_the_normalized_product_on_a_grid(dose_m, pct):
    pair = pair_of(first_of(pct=pct, dose_m=dose_m))

    def population(value, mean, sd, error):
        return (mean, sd) if value is None else shrunk(value, mean, sd, error)

    doublings = None if dose_m is None else np.log2(dose_m / 200.0)
    wanted = moments_on_a_grid(
        (doublings, 0.35, *population(doublings, 0.0, 0.8, 0.35)),
        (pct, 8.0, *population(pct, 72.0, 13.0, 8.0)),
    )
    found = (pair.dose_mean[0], pair.motility_mean[0], pair.dose_sd[0], pair.motility_sd[0],
             pair.correlation[0])  # fmt: skip
    assert found == pytest.approx(wanted, rel=1e-3, abs=1e-3)


def shrunk(value, mean, sd, error):
    """One record beside five that a starting population is worth, then beside his own mean.

    A record that is surer than twice the spread alone moves a mean.
    """
    centre = (5 * mean + value) / 6
    spread = np.sqrt(max((5 * sd**2 + (value - centre) ** 2 - error**2) / 6, (sd / 4) ** 2))
    return ((5 * centre + value) / 6 if error < 2 * spread else centre), spread


@pytest.mark.parametrize("packed", [False, True])
def test_what_a_curve_leaves_open_is_shared_only_where_it_carries_both(packed):
    pair = pair_of(first_of("chilled", pct=80.0, hours_before=48.0, extender="milk", dose_m=150.0,
                            packed=packed))  # fmt: skip
    # Rows s01, s02, s03 and s05 drawn anew.
    rng, n = np.random.default_rng(4), 400_000
    spread = sum(sd * np.abs(rng.normal(size=n)) * rng.normal(size=n) for sd in (0.35, 0.2))
    scale = 192 * 0.5 * np.exp(0.5 * rng.normal(size=n) + 0.3 * rng.normal(size=n) + spread)
    kept = np.exp(-((48 / scale) ** (1.5 * np.exp(0.4 * rng.normal(size=n)))))
    mean, sd = kept.mean(), kept.std()
    of_reading, of_curve = 8 * mean, 80 * sd
    doublings = np.log2(150 / 200) + (np.log2(mean) if packed else 0.0)
    dose_of_curve = sd / mean / np.log(2) if packed else 0.0
    dose_error, read_error = np.hypot(0.35, dose_of_curve), np.hypot(of_reading, of_curve)
    population = shrunk(80 * mean, 65.0, 13.0, read_error)
    together = of_reading**2 / (population[0] * np.log(2)) + dose_of_curve * of_curve

    wanted = moments_on_a_grid(
        (doublings, dose_error, *shrunk(doublings, 0.0, 0.8, dose_error)),
        (80 * mean, read_error, *population),
        min(0.9, together / (dose_error * read_error)),
    )

    found = (pair.dose_mean[0], pair.motility_mean[0], pair.dose_sd[0], pair.motility_sd[0],
             pair.correlation[0])  # fmt: skip
    # The product's curve is read from 4,000 draws.
    assert found == pytest.approx(wanted, rel=0.03, abs=0.02)


def test_a_part_read_after_the_insemination_is_carried_back_and_one_without_a_day_is_not():
    late, undated = (
        motility_when_inseminated(inseminations(first_of(
            "chilled", read="retained", pct=40.0, read_hours=hours, hours_before=24.0,
            extender="milk"
        )))
        for hours in (72.0, None)
    )  # fmt: skip

    assert 50.0 < late.pct[0] <= 100.0
    assert late.of_curve_pct[0] > 0
    assert (undated.pct[0], undated.of_curve_pct[0]) == (40.0, 0.0)


def test_a_dose_of_no_motile_sperm_is_not_taken_for_a_logarithm():
    dose_m, error, _ = dose_when_inseminated(inseminations(first_of(dose_m=0.0)))

    assert np.isnan(dose_m).all()
    assert error.tolist() == [0.35]


def test_a_reading_of_weak_motility_speaks_of_a_smaller_dose_too():
    weak, none = pair_of(first_of(pct=20.0)), pair_of(first_of())

    assert weak.dose_mean[0] < none.dose_mean[0] - 0.1
    assert weak.dose_sd[0] < none.dose_sd[0]
    assert none.correlation[0] > 0.2


def test_the_error_of_one_reading_is_in_both_and_that_of_another_is_not():
    same, other = (
        pair_of(first_of("chilled", read=read, pct=60.0, read_hours=0.0, dose_m=150.0))
        for read in ("raw", "on arrival")
    )

    # A shared error leaves more of the correlation of the pair.
    assert same.correlation[0] > other.correlation[0] + 0.1


def test_a_natural_mating_keeps_the_population_of_no_record():
    mated = pair_of(first_of("natural", pct=30.0))

    assert mated.dose_mean[0] == pytest.approx(0.0, abs=1e-12)
    assert mean_short(mated, np.array(["natural"])).tolist() == [0.0]


@pytest.mark.parametrize(
    ("n", "error"),
    # By eye 8 points; of 100 sperm the binomial error of 60 %, and 3 points beyond counting.
    [(None, 8.0), (100, np.hypot(100 * np.sqrt(0.6 * 0.4 / 100), 3.0))],
)
def test_a_reading_errs_by_how_it_was_made(n, error):
    read = motility_when_inseminated(inseminations(first_of(pct=60.0, n=n)))

    assert read.pct.tolist() == [60.0]
    assert read.error_pct == pytest.approx([error])


def test_a_chilled_sample_is_carried_to_its_hour_by_the_published_curve():
    rows = inseminations(
        first_of("chilled", pct=80.0, hours_before=48.0, extender="egg yolk"),
        first_of("chilled", pct=80.0, hours_before=48.0, extender="cream"),
        first_of("chilled", read="on arrival", pct=60.0, read_hours=48.0, hours_before=48.0,
                 extender="cream"),
        first_of("fresh", pct=80.0, hours_before=5.0),
        first_of("frozen", read="after thaw", pct=45.0),
    )  # fmt: skip

    carried = motility_when_inseminated(rows)
    read, error = carried.pct, carried.error_pct

    # Rows s01, s03 and s05 drawn anew: time scale 192 h, shape 1.5, spreads of stud and collection.
    rng, n = np.random.default_rng(1), 200_000
    spread = sum(sd * np.abs(rng.normal(size=n)) * rng.normal(size=n) for sd in (0.35, 0.2))
    scale = 192 * np.exp(0.5 * rng.normal(size=n) + spread)
    kept = np.exp(-((48 / scale) ** (1.5 * np.exp(0.4 * rng.normal(size=n)))))
    assert carried.of_reading_pct[0] == pytest.approx(8 * kept.mean(), rel=0.02)
    # The curve is read from 4,000 draws.
    assert read[0] == pytest.approx(80 * kept.mean(), abs=4 * 80 * kept.std() / 4000**0.5)
    assert error[0] == pytest.approx(np.hypot(8 * kept.mean(), 80 * kept.std()), rel=0.06)
    assert read[1] < read[0] - 10
    assert error[1] > error[0]
    assert read[2:].tolist() == [60.0, 80.0, 45.0]
    assert error[2:].tolist() == [8.0, 8.0, 8.0]


PAIRS = SemenInseminated(
    dose_mean=np.array([-1.5, 0.2, 0.0, 1.0]),
    dose_sd=np.array([0.3, 0.8, 0.5, 0.3]),
    motility_mean=np.array([25.0, 60.0, 45.0, 90.0]),
    motility_sd=np.array([5.0, 13.0, 8.0, 4.0]),
    correlation=np.array([0.5, 0.3, 0.6, 0.0]),
)
KINDS = np.array(["frozen", "chilled", "frozen", "fresh"])
USUAL_PCT = np.array([45.0, 65.0, 45.0, 65.0])


def short(motility_pct, usual_pct):
    return 0.25 * np.logaddexp(0.0, (usual_pct - motility_pct) / 10.0 / 0.25)


def test_the_mean_shortfall_is_its_integral():
    for k, found in enumerate(mean_short(PAIRS, KINDS)):
        wanted, _ = quad(
            lambda m, k=k: short(m, USUAL_PCT[k])
            * norm.pdf(m, PAIRS.motility_mean[k], PAIRS.motility_sd[k]),
            -60, 180, points=[USUAL_PCT[k], PAIRS.motility_mean[k]], limit=200,
        )  # fmt: skip
        # Thirty-one nodes over an edge of a quarter of a unit.
        assert found == pytest.approx(wanted, abs=5e-3)


@pytest.mark.parametrize(("c10", "c23"), [(0.4, -0.15), (0.9, -0.4), (0.0, 0.1)])
def test_the_nodes_average_the_chance_as_the_whole_pair_does(c10, c23):
    nodes = short_at_doses(PAIRS, KINDS)
    dose = PAIRS.dose_mean + DOSE_NODES[:, None] * PAIRS.dose_sd

    def term(doublings):
        """Row c10 below the usual dose, row c11 (0.03) above it."""
        return 0.03 * 0.25 * np.logaddexp(0, 4 * doublings) - c10 * 0.25 * np.logaddexp(
            0, -4 * doublings
        )

    found = np.einsum(
        "jln,j->n", expit(1.0 + term(dose)[:, None, :] + c23 * nodes), DOSE_WEIGHTS / 2
    )

    # Second route: 400,000 pairs drawn.
    z = np.random.default_rng(3).normal(size=(2, 400_000, 1))
    rho = PAIRS.correlation
    drawn_dose = PAIRS.dose_mean + PAIRS.dose_sd * z[0]
    drawn_pct = PAIRS.motility_mean + PAIRS.motility_sd * (rho * z[0] + np.sqrt(1 - rho**2) * z[1])
    wanted = expit(1.0 + term(drawn_dose) + c23 * short(drawn_pct, USUAL_PCT)).mean(axis=0)
    # What the two nodes of the dose alone are off by, its motility at the mean, and a thousandth.
    alone = [
        expit(1.0 + term(of) + c23 * nodes.mean(axis=(0, 1))) for of in (dose, drawn_dose)
    ]  # fmt: skip
    of_dose = np.abs(DOSE_WEIGHTS @ alone[0] - alone[1].mean(axis=0))
    assert (np.abs(found - wanted) <= 1.2 * of_dose + 1e-3).all()
    assert np.abs(found - wanted).max() < 0.01
