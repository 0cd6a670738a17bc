"""The conception chain: its table, its likelihood by a second route, recovery and refusal."""

import itertools
import json

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit
from tests.analytics.archetypes import ARCHETYPES, archetype_prob
from tests.analytics.view_rows import inseminations as inseminations_view
from tests.analytics.view_rows import ovulations

from studcurve.analytics.errors import ConvergenceError
from studcurve.analytics.models import sampling
from studcurve.analytics.models.breedings.records import could_be_reported, prepare_conception
from studcurve.analytics.models.breedings.semen import hours_since_collection
from studcurve.analytics.models.breedings.terms import LINEAR, design_matrix
from studcurve.analytics.models.conception.chance import (
    beyond_stretch,
    of_one_breeding,
    reported_litter_prob,
)
from studcurve.analytics.models.conception.model import (
    COEFFICIENTS,
    PUBLISHED,
    chain_log_likelihood,
    conception_story,
    fit_conception,
    reported_probs,
    seen_probs,
)
from studcurve.analytics.models.density import at_fixed_points
from studcurve.analytics.models.ovulation.model import ovulation_of_cycles
from studcurve.analytics.models.sampling import SCHEDULE
from studcurve.analytics.vocabulary import SEMEN_TYPES
from studcurve.pipelines.fits.fit import N_KEPT_DRAWS
from studcurve.pipelines.fits.registry import conception_data
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO, DEMO_TODAY

BANDS = {
    "natural, timed": (76, 86),
    "fresh vaginal, 400 M, twice": (60, 80),
    "chilled vaginal, 24 h, 150 M, once": (45, 70),
    "chilled transcervical, 48 h, 100 M, once": (60, 78),
    "frozen transcervical, +2/+3, 100 M, twice": (68, 80),
    "frozen vaginal, 7 years, missed before, 100 M, once": (10, 40),
}
"""Bands of the published table for the chance of a litter. [%]"""

BREEDING_COLUMNS = [
    "breeding_id", "bitch", "stud", "breed", "clinic", "semen_type", "route", "n_inseminations",
    "bred_earliest", "pregnant", "whelped", "normal_morphology_pct", "bitch_age_years",
    "stud_age_years", "missed_before",
]  # fmt: skip


def kennel(outcomes, semen_type="natural", route="natural"):
    """Breedings of one stud and one bitch, two days after a well-known ovulation."""
    breedings, inseminations, ovulation = [], [], []
    for i, (pregnant, whelped) in enumerate(outcomes):
        on = pd.Timestamp("2020-01-05 12:00") + pd.Timedelta(days=200 * i)
        breedings.append(
            (i, "Ash", "Rowan", "Ostrel Spaniel", None, semen_type, route, 1, on, pregnant,
             whelped, np.nan, 4.0, 4.0, False)
        )  # fmt: skip
        inseminations.append(
            {"breeding_id": i, "n_in_breeding": 1, "semen_type": semen_type,
             "inseminated_earliest": on, "inseminated_latest": on}
        )  # fmt: skip
        ovulation.append((i, on - pd.Timedelta(days=2), 0.1))
    return (
        pd.DataFrame(breedings, columns=BREEDING_COLUMNS),
        inseminations_view(*inseminations),
        ovulations(*ovulation),
    )


@pytest.mark.parametrize("name", ARCHETYPES)
def test_the_table_alone_gives_each_archetype_its_published_band(name):
    low, high = BANDS[name]
    draws = PUBLISHED.draw(np.random.default_rng(20240229), 40_000)

    chance = 100 * archetype_prob(draws, ARCHETYPES[name]).mean()

    assert low <= chance <= high


def test_seven_cells_of_semen_and_route_have_the_rows_of_the_table():
    # Rows of the priors table that each cell switches on.
    wanted = {
        ("natural", "natural"): set(),
        ("fresh", "vaginal"): {"c03"},
        ("fresh", "transcervical"): {"c03", "c04"},
        ("chilled", "vaginal"): {"c03", "c05"},
        ("chilled", "transcervical"): {"c03", "c04", "c05"},
        ("frozen", "vaginal"): {"c03", "c06", "c07"},
        ("frozen", "transcervical"): {"c03", "c04", "c06"},
    }
    semen, route = (np.array(column) for column in zip(*wanted, strict=True))
    ones = np.ones(7)

    design = design_matrix(
        semen, route, n_inseminations=ones, storage_days=ones, normal_morphology_pct=80 * ones,
        bitch_age_years=4 * ones, stud_age_years=4 * ones, missed_before=0 * ones,
        motile_m_per_ml=np.nan * ones, hours_known=np.nan * ones,
    )  # fmt: skip

    for row, rows in zip(design, wanted.values(), strict=True):
        assert {name for name, value in zip(LINEAR, row, strict=True) if value} == rows
        assert set(row) <= {0.0, 1.0}


def test_what_can_be_seen_of_a_breeding_sums_to_one():
    # Second route: enumerate every scan and report; their probabilities must exhaust the chain.
    p, q = expit(0.4), expit(1.7)

    def seen(scan, whelped):
        probs = seen_probs(np.array([scan]), np.array([whelped]))
        return float(np.exp(chain_log_likelihood(p, q, probs))[0])

    total = sum(seen(*both) for both in itertools.product((0, 1), (0, 1)))
    assert total == pytest.approx(1.0, abs=1e-12)
    assert seen(1, -1) == pytest.approx(0.97 * p + 0.01 * (1 - p), abs=1e-12)
    assert seen(-1, 1) == pytest.approx(p * q, abs=1e-12)


@pytest.mark.parametrize("ratio", [0.2, 1.0, 2.0, 10.0])
def test_misses_go_unreported_so_many_times_as_often_and_neither_more_than_always(ratio):
    owed = {
        "is_owed": np.array([True, True, False]),
        "is_unreported": np.array([True, False, False]),
    }
    for less in (0.001, 0.3, 0.999):
        litter, lost, empty = reported_probs(np, np.array(ratio), np.array(less), **owed)

        assert np.array_equal(lost, empty)
        # Never reported, reported, and not owed.
        assert empty[0] == pytest.approx(ratio * litter[0], rel=1e-12)
        assert (litter[1], empty[1]) == pytest.approx((1.0 - litter[0], 1.0 - empty[0]), rel=1e-12)
        assert litter[2] == empty[2] == 1.0
        larger = max(litter[0], empty[0])
        assert 0.91 * less < larger < less
        assert ratio in (1.0,) or larger == pytest.approx(less, rel=0.001)


def test_results_that_are_owed_are_those_bred_ninety_days_before_the_last_and_not_scanned_empty():
    days = pd.to_datetime(["2024-01-01", "2024-01-02", "2024-03-31"])
    assert could_be_reported(pd.Series(days)).tolist() == [True, False, False]
    assert could_be_reported(pd.Series([], dtype="datetime64[ns]")).tolist() == []
    outcomes = [(None, None), (False, None), (False, False), (True, None), (None, True)] * 2

    data = prepare_conception(*kennel(outcomes))

    owed = [True, False, False, True, True] * 2
    assert data.is_owed.tolist() == [*owed[:-1], False]
    assert data.is_unreported.tolist() == [True, False, False, True, False] * 2


def test_a_reported_litter_was_likelier_than_a_litter():
    data = prepare_conception(*kennel([(None, True), (None, True)]))
    draws = {"m01": np.array([4.0]), **{f"m02_{kind}": np.array([0.0]) for kind in SEMEN_TYPES}}

    first, last = reported_litter_prob(draws, data, np.array([0, 1]), np.array([[0.6, 0.6]]))[0]

    # By Bayes: 60 litters of which one in eight is silent, and 40 misses of which half are.
    assert first == pytest.approx(60 * 0.875 / (60 * 0.875 + 40 * 0.5), rel=1e-3)
    assert last == pytest.approx(0.6, rel=1e-12)


@pytest.mark.parametrize("sd", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("eta", [-2.5, -0.4, 0.0, 1.1, 3.0])
def test_what_no_column_holds_leaves_the_mean_chance_where_it_was(sd, eta):
    nodes, weights = np.polynomial.hermite_e.hermegauss(41)

    averaged = weights @ expit(beyond_stretch(np.array(sd)) * eta + sd * nodes) / weights.sum()

    # The logistic is not quite the normal that stands for it: by less than a point where the spread
    # is more than twice its scale.
    assert averaged == pytest.approx(expit(eta), abs=0.001 + 0.007 * sd**2)


def test_one_breeding_is_less_sure_than_the_mean_of_breedings_like_it():
    prob = np.full(200_000, 0.7)

    one = of_one_breeding(prob, np.random.default_rng(3))

    assert one.mean() == pytest.approx(0.7, abs=0.008)
    # The spread of row c27 is half-normal of 1: its square is 1 on average, and what it stretches
    # the logit of 0.7 by differs little from draw to draw.
    assert logit(one).std() == pytest.approx(1.0, abs=0.03)


@pytest.mark.slow
def test_a_small_kennel_agrees_with_importance_sampling_from_the_table():
    outcomes = [(None, None)] * 3 + [(None, True)] * 3 + [(None, False)] * 4 + [(True, False)] * 2
    outcomes += [(True, None), (False, None), (True, None)]
    data = prepare_conception(*kennel(outcomes))
    posterior = fit_conception(data, seed=5)

    # Second route: draw the table and weigh each draw by the outcomes, in plain numpy. One stud,
    # bitch and breed share every breeding; years differ; the timing is far inside the window.
    rng = np.random.default_rng(17)
    n = 400_000
    c01, c02 = rng.normal(2.2, 0.4, n), rng.normal(2.6, 0.3, n)
    shared = sum(np.abs(rng.normal(0, s, n)) * rng.normal(size=n) for s in (0.4, 0.5, 0.4))
    year_sd, q = np.abs(rng.normal(0, 0.3, n)), expit(c02)
    years = [pd.Timestamp("2020-01-05") + pd.Timedelta(days=200 * i) for i in range(len(outcomes))]
    effect = {year: year_sd * rng.normal(size=n) for year in {on.year for on in years}}
    ratio, less = 2.0 * np.exp(0.6 * rng.normal(size=n)), expit(rng.normal(-1.5, 1.5, n))
    of_litter = less / (1 + ratio**8) ** (1 / 8)
    weight = np.ones(n)
    for k, (on, (pregnant, whelped)) in enumerate(zip(years, outcomes, strict=True)):
        p = expit(c01 + shared + effect[on.year])
        seen = {True: (0.97, 0.01), False: (0.03, 0.99), None: (1.0, 1.0)}[pregnant]
        # The last one's result is still awaited; that of a negative scan tells nothing.
        owed = k < len(outcomes) - 1 and pregnant is not False
        a, b = (of_litter, ratio * of_litter) if owed else (np.zeros(n),) * 2
        if whelped is None and owed:
            weight *= p * seen[0] * (q * a + (1 - q) * b) + (1 - p) * seen[1] * b
        elif whelped is None:
            weight *= p * seen[0] + (1 - p) * seen[1]
        elif whelped:
            weight *= p * q * seen[0] * (1 - a)
        else:
            weight *= (p * (1 - q) * seen[0] + (1 - p) * seen[1]) * (1 - b)
    weight /= weight.sum()
    ess = 1 / (weight**2).sum()

    for name, values in (("c01", c01), ("c02", c02), ("m01", ratio)):
        mean = weight @ values
        sd = np.sqrt(weight @ (values - mean) ** 2)
        error = np.hypot(sd / np.sqrt(ess), sd / np.sqrt(posterior.diagnostics.min_ess_bulk))
        assert ess > 1000
        assert posterior.draws[name].mean() == pytest.approx(mean, abs=4 * error)
        assert posterior.draws[name].std() == pytest.approx(sd, rel=0.10)


@pytest.mark.slow
def test_an_unsettled_fit_is_refused(monkeypatch):
    data = prepare_conception(*kennel([(None, True)]))
    monkeypatch.setattr(sampling, "MIN_ESS", 1e6)

    with pytest.raises(ConvergenceError, match="conception did not settle"):
        fit_conception(data, seed=1, schedule=SCHEDULE[:1])


def test_a_breeding_of_which_nothing_is_reported_leaves_the_table_as_it_is():
    # Second route: the density without any breeding, which is that of the table alone.
    none, silent, reported = (
        at_fixed_points(conception_story(prepare_conception(*kennel(outcomes))))
        for outcomes in ([], [(None, None)], [(None, True)])
    )

    assert silent["log_density"] == pytest.approx(none["log_density"], rel=1e-12)
    assert silent["gradient"].keys() == none["gradient"].keys()
    for site, slopes in none["gradient"].items():
        assert silent["gradient"][site] == pytest.approx(slopes, rel=1e-9, abs=1e-9)
    assert reported["log_density"] != pytest.approx(none["log_density"], rel=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize(
    "outcomes",
    [
        pytest.param([], id="no breeding"),
        pytest.param([(False, False)] * 3, id="none whelped"),
        pytest.param([(None, None)], id="nothing reported"),
        pytest.param([(True, True)] * 3, id="all whelped"),
    ],
)
def test_a_kennel_that_says_little_is_given_the_published_table(outcomes):
    data = prepare_conception(*kennel(outcomes, "frozen", "vaginal"))

    posterior = fit_conception(data, seed=2)

    # Three breedings hardly move a row with an sd of half a logit.
    assert posterior.estimate("c04").median == pytest.approx(0.7, abs=0.1)
    assert posterior.records_weight("c04").share < 0.10


def test_the_demos_truth_lies_within_the_intervals(demo_fit):
    truth = json.loads((DEMO / "true_parameters.json").read_text(encoding="utf-8"))["parameters"]

    rows = {*COEFFICIENTS, "c19", "c20_stud", "c20_bitch", "c20_breed"}
    # No insemination of the demo is surgical.
    assert rows - set(truth) == {"c08"}
    missed = []
    for row in sorted(rows & set(truth)):
        low, high = np.quantile(demo_fit.draws[row], [0.025, 0.975])
        if not low <= truth[row] <= high:
            missed.append(row)
    assert missed == []
    assert demo_fit.diagnostics.settled


def test_records_move_what_they_can_speak_of_and_leave_the_rest(demo_fit):
    assert demo_fit.records_weight("c01").share > 0.2
    # No surgical insemination is in the demo.
    assert demo_fit.records_weight("c08").share < 0.05


@pytest.mark.slow
def test_weaker_motility_at_the_same_motile_dose_lowers_the_latent_motility_alone(
    tmp_path, demo_records, demo_store
):
    folder = tmp_path / "records"
    folder.mkdir()
    for path in demo_records.glob("*.csv"):
        rows = pd.read_csv(path, dtype=str)
        if path.stem == "collections":
            rows["Progressive motility (%)"] = rows["Progressive motility (%)"].where(
                rows["Progressive motility (%)"].isna(), "40"
            )
            rows["Total motility (%)"] = None
        rows.to_csv(folder / path.name, index=False)
    with Store.open(tmp_path / "other.duckdb") as store:
        report = store.load([folder], today=DEMO_TODAY)
        assert report.n_refused == 0
        changed = conception_data(store)

    before, after = conception_data(demo_store), changed
    fresh = before.semen_type == "fresh"
    assert (before.design == after.design).all()
    assert after.inseminated_semen.motility_mean[fresh].max() < 50
    assert before.inseminated_semen.motility_mean[fresh].min() > 65
    # Frozen semen was read after thaw, which nothing here has changed.
    frozen = before.semen_type == "frozen"
    assert (
        before.inseminated_semen.motility_mean[frozen]
        == after.inseminated_semen.motility_mean[frozen]
    ).all()


def test_a_missing_dose_is_less_sure_than_a_recorded_one(demo_store):
    data = conception_data(demo_store)
    rows = demo_store.read("breedings").sort_values(["bred_earliest", "bitch", "stud"])
    first = demo_store.read("inseminations").query("n_in_breeding == 1").set_index("breeding_id")
    first = first.loc[rows["breeding_id"]]
    recorded = first["motile_dose_m"].notna().to_numpy()
    # What the storage curve leaves open of a dose since it was packed is another doubt.
    in_time = ~(hours_since_collection(first) > 30.0)

    dose_sd = data.inseminated_semen.dose_sd
    for kind in ("fresh", "chilled"):
        of_kind = data.semen_type == kind
        assert dose_sd[of_kind & recorded & in_time].max() < 0.36
        assert dose_sd[of_kind & ~recorded].min() > dose_sd[of_kind & recorded & in_time].max()


def test_days_without_progesterone_are_less_sure(demo_store):
    data = conception_data(demo_store)
    rows = demo_store.read("breedings").sort_values(["bred_earliest", "bitch", "stud"])
    dated = ovulation_of_cycles(demo_store.read("cycles"), demo_store.read("progesterone"))
    n_readings = dated.set_index("cycle_id").loc[rows["cycle_id"], "n_readings"].to_numpy()

    assert data.day_sd[n_readings == 0, 0].mean() > 1.5 * data.day_sd[n_readings >= 4, 0].mean()


@pytest.mark.slow
def test_the_same_seed_gives_the_same_draws_of_the_demo(demo_fit):
    again = fit_conception(demo_fit.data, seed=20240229)

    # The kept fit adds the published spread of a factor of one level; all else was sampled.
    assert set(demo_fit.draws) - set(again.draws) == {"c21_kennel"}
    thin = len(again.draws["c01"]) // N_KEPT_DRAWS
    for name, values in again.draws.items():
        assert values[::thin].tobytes() == demo_fit.draws[name].tobytes()
