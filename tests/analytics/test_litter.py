"""The litter model: its table, its likelihood by a second route, recovery, thin records."""

import json
from datetime import date

import numpy as np
import pytest
from scipy.special import expit, gammaln, logsumexp
from scipy.stats import betabinom

from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.litter.model import (
    COEFFICIENTS,
    LINEAR,
    CountedPups,
    litter_log_likelihood,
    prepare_litter,
)
from studcurve.analytics.models.ovulation.model import ovulation_of_cycles
from studcurve.analytics.priors import PRIORS
from studcurve.pipelines.fits.registry import litter_data
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO


def test_counts_have_the_probability_of_enumeration():
    # Second route: probabilities of total born by enumeration and of losses by scipy; an unrecorded
    # number of stillborn is summed over.
    by_id = {"l13": 0.2, "l14": -2.5, "l14_size": 0.1, "l14_age": 0.05, "l14_within": -1.0,
             "l15": -3.0}  # fmt: skip
    mean, nu, age = 6.0, np.exp(0.2), 1.5
    k = np.arange(200)

    def mean_of(rate):
        weight = np.exp(rate * k - nu * gammaln(k + 1) - logsumexp(rate * k - nu * gammaln(k + 1)))
        return weight @ k

    low, high = 0.5, 4.5
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if mean_of(middle) < mean else (low, middle)
    log_pmf = low * k - nu * gammaln(k + 1)
    log_pmf -= logsumexp(log_pmf[1:])
    over = (1 - expit(-1.0)) / expit(-1.0)

    def losses(n_lost, n, eta):
        return betabinom.logpmf(n_lost, n, expit(eta) * over, expit(-eta) * over)

    def of(alive, stillborn):
        n = alive + stillborn
        return log_pmf[n] + losses(stillborn, n, -2.5 + 0.1 * (n - 5) + 0.05 * age)

    cases = np.arange(5.0)[:, None]
    logs = litter_log_likelihood(
        by_id,
        np.full(2, np.log(mean)),
        CountedPups(
            alive=np.array([5.0, 4.0]), lost=np.array([1.0, 0.0]),
            lost_known=np.array([1.0, 0.0]), age=np.full(2, age),
            stillborn=np.where(np.array([True, False]), 2.0, cases),
            possible=np.where(np.array([True, False]), cases == 0, True),
            support=np.arange(41.0), steps=np.arange(16.0),
        ),
    )  # fmt: skip

    orders = gammaln(6) - gammaln(2) - gammaln(5)
    recorded = of(5, 2) + losses(1, 5, -3.0) - orders
    unrecorded = logsumexp([of(4, s) for s in range(5)])
    # The rate is one Newton step from the wanted mean: within 10⁻³ of it.
    np.testing.assert_allclose(logs, [recorded, unrecorded], atol=5e-3)


def test_each_method_has_the_rows_of_the_table(demo_store):
    data = litter_data(demo_store)
    breedings = demo_store.read("breedings").sort_values(["bred_earliest", "bitch", "stud"])
    counted = breedings[(breedings["whelped"] == True) & breedings["n_born_alive"].notna()  # noqa: E712
                        & breedings["is_sire_certain"]]  # fmt: skip
    column = {row: data.design[:, k] for k, row in enumerate(LINEAR)}

    semen = counted["semen_type"].to_numpy()
    assert data.n_litters == len(counted)
    assert (column["l03"] == (semen != "natural")).all()
    assert (column["l05"] == (semen == "frozen")).all()
    assert (column["l06"] == (counted["route"] == "transcervical")).all()
    assert (column["l08"][semen == "natural"] == 0).all()
    assert (data.design[:, :5].sum(axis=1) == 1).all()
    assert column["l01_small"].sum() == (counted["adult_weight_kg"] < 10).sum()


def test_the_litters_own_inbreeding_enters_in_percent_points(tmp_path):
    for name, text in {
        "dogs": "Dog,Sex,Inbreeding (%)\nRowan,male,\nBryony,female,4\n",
        "breedings": "Bitch,Stud,Date,Semen,Result,Born alive,Stillborn,Litter's inbreeding (%)\n"
        "Bryony,Rowan,2024-03-06,natural,whelped,5,0,6.25\n"
        "Bryony,Rowan,2025-03-06,natural,whelped,5,0,\n",
    }.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    with Store.open(tmp_path / "kennel.duckdb") as store:
        assert store.load([tmp_path], today=date(2026, 1, 1)).n_refused == 0
        data = litter_data(store)

    # A litter of which nothing is written down enters at zero, as one of unrelated parents.
    assert data.design[:, LINEAR.index("l11_litter")].tolist() == [6.25, 0.0]
    assert data.design[:, LINEAR.index("l11_dam")].tolist() == [4.0, 4.0]


def test_the_demos_truth_lies_within_the_intervals(demo_litter_fit):
    truth = json.loads((DEMO / "true_parameters.json").read_text(encoding="utf-8"))["parameters"]

    missed = []
    for row in (*COEFFICIENTS, "l12_dam", "l12_stud"):
        # The demo's losses do not go together within a litter, and stand at a litter of six.
        if row in truth and row not in ("l14", "l14_size"):
            low, high = np.quantile(demo_litter_fit.draws[row], [0.025, 0.975])
            if not low <= truth[row] <= high:
                missed.append(row)
    assert missed == []
    assert demo_litter_fit.diagnostics.settled


def test_a_kennel_without_litters_has_the_published_table(tmp_path):
    with Store.open(tmp_path / "empty.duckdb") as store:
        data = litter_data(store)
    posterior = litter.PUBLISHED.restore(data, litter.PUBLISHED.independent_draws(3), seed=3)

    assert data.n_litters == 0
    for row in COEFFICIENTS:
        # Four standard errors of the mean of 4,000 draws.
        assert posterior.draws[row].mean() == pytest.approx(
            PRIORS[row].centre, abs=4 * PRIORS[row].sd / 4000**0.5
        )


def test_pups_of_two_possible_sires_are_left_out(demo_store):
    breedings = demo_store.read("breedings")
    inseminations = demo_store.read("inseminated_semen")
    ovulation = ovulation_of_cycles(demo_store.read("cycles"), demo_store.read("progesterone"))
    before = prepare_litter(breedings, inseminations, ovulation).n_litters
    whelped = breedings.index[(breedings["whelped"] == True) & breedings["n_born_alive"].notna()]  # noqa: E712
    breedings.loc[whelped[:3], "is_sire_certain"] = False

    assert prepare_litter(breedings, inseminations, ovulation).n_litters == before - 3
