"""The storage model: its likelihood by another route, recovery, coverage, order, refusal."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.stats import norm
from tests.benchmarks.storage import Truth, simulated_views

from studcurve.analytics.errors import ConvergenceError
from studcurve.analytics.measures.motility_kept import medium_of, published_storage
from studcurve.analytics.models.sampling import Run
from studcurve.analytics.models.storage.curve import OwnStorage
from studcurve.analytics.models.storage.inputs import NO_NAME, prepare_storage, product_name
from studcurve.analytics.models.storage.model import (
    CollectionReadings,
    collection_log_likelihood,
    fit_storage,
    published_storage_draws,
    restore_storage,
)


@pytest.fixture(scope="module")
def fitted():
    views = simulated_views(np.random.default_rng(40), 40, Truth())
    return fit_storage(prepare_storage(*views), seed=7)


def readings(**changed):
    """One collection read fresh, at 24 h and at 96 h."""
    return CollectionReadings(
        share=np.array([[0.80, 0.70, 0.35]]),
        hours=np.array([[0.01, 24.0, 96.0]]),
        hours_sd=np.array([[0.0, 2.0, 5.0]]),
        variance=np.array([[0.0072, 0.0009, 0.0072]]),
        per_judged=np.array([[0.0, 1 / 200, 0.0]]),
        weight=np.ones((1, 3)),
        start_guess=np.array([0.77]),
    )._replace(**changed)


def likelihood(data, *, log_eta, kappa, shift):
    found = collection_log_likelihood(
        data, log_eta=np.array([log_eta]), kappa=np.array([kappa]),
        expected_shift=np.full(data.share.shape, shift),
    )  # fmt: skip
    return float(found[0])


@pytest.mark.parametrize(
    ("log_eta", "kappa", "shift"), [(5.2, 1.5, 0.0), (4.4, 2.5, -0.05), (4.0, 0.9, 0.07)]
)
def test_the_likelihood_is_the_integral_over_the_motility_at_hour_nought(log_eta, kappa, shift):
    data = readings()
    hours, share = data.hours[0], data.share[0]
    kept = np.exp(-((hours / np.exp(log_eta)) ** kappa))
    guess = data.start_guess[0] * kept
    slope = guess * kappa / hours * (hours / np.exp(log_eta)) ** kappa
    noise_sd = np.sqrt(
        data.variance[0]
        + data.per_judged[0] * (guess * (1 - guess) + 0.002)
        + (slope * data.hours_sd[0]) ** 2
    )

    def density(start):
        seen = norm.pdf(share, start * kept + shift, noise_sd).prod()
        return seen * norm.pdf(start, 0.74, 0.14)

    integral = quad(density, 0.74 - 10 * 0.14, 0.74 + 10 * 0.14, epsabs=0, epsrel=1e-11)[0]

    found = likelihood(data, log_eta=log_eta, kappa=kappa, shift=shift)
    assert found == pytest.approx(np.log(integral), abs=1e-9)


def test_a_missing_reading_counts_nothing():
    short = CollectionReadings(*(v[:, :2] if v.ndim == 2 else v for v in readings()))
    padded = readings(weight=np.array([[1.0, 1.0, 0.0]]))
    how = {"log_eta": 5.0, "kappa": 1.5, "shift": 0.0}

    assert likelihood(padded, **how) == pytest.approx(likelihood(short, **how), abs=1e-12)


def test_a_reading_by_eye_has_the_moments_of_its_exact_likelihood():
    # A true share of 63 %, read with 8 points of error and rounded to tens: the exact interval
    # likelihood as a function of the true share against the normal one that is sampled.
    true = np.linspace(0.2, 1.0, 2_001)
    exact = norm.cdf(0.65, true, 0.08) - norm.cdf(0.55, true, 0.08)
    matched = norm.pdf(0.60, true, np.sqrt(0.08**2 + 0.05**2 / 3))

    for weights in (exact, matched):
        weights /= weights.sum()
    assert (matched * true).sum() == pytest.approx((exact * true).sum(), abs=1e-4)
    assert np.sqrt((matched * (true - 0.6) ** 2).sum()) == pytest.approx(
        np.sqrt((exact * (true - 0.6) ** 2).sum()), rel=0.01
    )


@pytest.mark.slow
def test_a_kennel_of_forty_shipments_finds_what_it_was_simulated_from(fitted):
    # Extender, spread and readers of one kennel: eight 99.8 % intervals, so that chance alone
    # fails this test once in 60 kennels; seed and kennel are fixed.
    truth = Truth()
    wanted = {
        "eta, yolk": (np.log(truth.eta_h), np.log(fitted.draws["s01"])
                      + fitted.draws["effect_product"][:, 0]),
        "eta, milk": (np.log(truth.eta_h * truth.milk),
                      np.log(fitted.draws["s01"] * fitted.draws["s02_milk"])
                      + fitted.draws["effect_product"][:, 1]),
        "kappa": (np.log(truth.kappa), np.log(fitted.draws["s03"])),
        "collections": (truth.collection_sd, fitted.draws["s05_collection"]),
        "Ash against Bay": (truth.stud[0] - truth.stud[1],
                            fitted.draws["effect_stud"][:, 0] - fitted.draws["effect_stud"][:, 1]),
        **{
            f"clinic {k} against the kennel": (
                truth.bias[1 + k] - truth.bias[0],
                fitted.draws["bias_reader"][:, k] - fitted.draws["bias_reader"][:, 3],
            )
            for k in range(3)
        },
    }  # fmt: skip

    assert fitted.labels["effect_product"] == ("egg yolk", "milk")
    assert fitted.labels["bias_reader"] == ("clinic North", "clinic South", "clinic West", "kennel")
    for name, (true, draws) in wanted.items():
        low, high = np.quantile(draws, [0.001, 0.999])
        assert low < true < high, name


@pytest.mark.slow
@pytest.mark.parametrize("n_collections", [10, 50, 150])
def test_the_fit_settles_at_the_first_attempt(n_collections):
    views = simulated_views(np.random.default_rng(20261125), n_collections, Truth())

    found = fit_storage(prepare_storage(*views), seed=20261125).diagnostics

    assert found.n_attempts == 1
    assert found.n_divergent == 0


@pytest.mark.slow
def test_forty_shipments_narrow_the_published_curve(fitted):
    rng = np.random.default_rng(1)
    own = fitted.own.curve(stud="Ash", extender="milk", rng=rng)
    published = published_storage("milk", rng=rng)

    assert np.log(own.eta_h).std() < 0.6 * np.log(published.eta_h).std()
    assert own.studied_until_h == published.studied_until_h


@pytest.mark.slow
def test_extenders_come_in_their_true_order_with_its_probability(fitted):
    found = fitted.own.compare(["milk", "egg yolk"], 48.0, rng=np.random.default_rng(2))

    assert found.extenders == ("egg yolk", "milk")
    assert found.order_prob > 0.95
    assert found.better_prob == (found.order_prob,)


def test_the_probability_of_an_order_is_counted_over_joint_draws():
    # Two of three draws keep yolk before milk before cream; the pairs alone would say 3/3 and 2/3.
    draws = {
        "s01": np.array([200.0, 200.0, 200.0]),
        "s02_milk": np.array([0.5, 0.5, 0.3]),
        "s02_cream": np.array([0.4, 0.4, 0.4]),
        "s03": np.array([1.5, 1.5, 1.5]),
        "effect_product": np.zeros((3, 3)),
    }
    own = OwnStorage(draws, {"effect_product": ("cream", "egg yolk", "milk")})

    found = own.compare(["cream", "milk", "egg yolk"], 72.0, rng=np.random.default_rng(0))

    assert found.extenders == ("egg yolk", "milk", "cream")
    assert found.order_prob == pytest.approx(2 / 3)
    assert found.better_prob == pytest.approx((1.0, 2 / 3))


@pytest.mark.slow
def test_an_order_of_one_extender_is_refused(fitted):
    with pytest.raises(ValueError, match="needs two extenders"):
        fitted.own.compare(["milk"], 48.0, rng=np.random.default_rng(0))


@pytest.mark.parametrize("extender", ["egg yolk", "milk", "cream", "something", "none"])
def test_without_a_record_the_curve_is_the_published_one(extender):
    empty = simulated_views(np.random.default_rng(0), 1, Truth())
    data = prepare_storage(*(frame.iloc[:0] for frame in empty))
    posterior = restore_storage(data, published_storage_draws(3), seed=3)

    own = posterior.own.curve(stud="Ash", extender=extender, rng=np.random.default_rng(1))
    published = published_storage(medium_of(extender), rng=np.random.default_rng(2))

    # 4,000 prior draws behind 20,000: a median is known to 1.25 sd / √4,000.
    error = 4 * 1.25 * np.log(published.eta_h).std() / np.sqrt(4_000)
    assert np.median(np.log(own.eta_h)) == pytest.approx(
        np.median(np.log(published.eta_h)), abs=error
    )
    # A product among those of its kind adds 0.2 to a spread of at least 0.5.
    assert 0.97 < np.log(own.eta_h).std() / np.log(published.eta_h).std() < 1.12
    assert data.n_stored == 0


@pytest.mark.slow
def test_a_stud_never_seen_has_the_spread_of_all_studs(fitted):
    rng = np.random.default_rng(5)
    seen = fitted.own.curve(stud="Ash", extender="milk", rng=rng)
    new = fitted.own.curve(stud="Elm", extender="milk", rng=rng)

    assert np.log(new.eta_h).std() > np.log(seen.eta_h).std()


def test_readings_cold_for_sure_or_perhaps_are_read_as_low():
    views = simulated_views(np.random.default_rng(9), 3, Truth())
    evaluations = views[0].assign(minutes_at_37=[5.0, 5.0, 0.0, np.nan] * 3)

    data = prepare_storage(evaluations, views[1])
    warm = prepare_storage(*views)

    # |N(0, 15 points)| has mean 12.0 and variance 15² − 12²; one in five when nobody noted it.
    mean, square = 0.15 * np.sqrt(2 / np.pi), 0.15**2
    assert data.shift[0] == pytest.approx([0.0, 0.0, -mean, -0.2 * mean])
    assert (data.variance - warm.variance)[0] == pytest.approx(
        [0.0, 0.0, square - mean**2, 0.2 * square - (0.2 * mean) ** 2]
    )


def test_an_hour_is_only_as_sure_as_the_clock():
    evaluations, shipments = simulated_views(np.random.default_rng(9), 1, Truth())
    day = pd.Timedelta(hours=24)
    evaluations["collected_latest"] = evaluations["collected_earliest"] + day
    evaluations["evaluated_latest"] = evaluations["evaluated_earliest"] + day

    data = prepare_storage(evaluations, shipments)

    # Two moments known to a day: the difference has sd 24 h / √6; the fresh reading was at once.
    assert data.hours_sd[0] == pytest.approx([0.0] + [24 / np.sqrt(6)] * 3)
    assert data.hours[0, 1] == pytest.approx(24.0)


def test_collections_without_a_stored_reading_say_nothing():
    evaluations, shipments = simulated_views(np.random.default_rng(9), 4, Truth())
    fresh_only = evaluations[(evaluations["collection_id"] != 2) | (evaluations["stage"] == "raw")]

    data = prepare_storage(fresh_only, shipments)

    assert data.n_collections == 3
    assert data.n_stored == 9


def test_the_longest_hour_read_is_that_of_the_extender():
    evaluations, shipments = simulated_views(np.random.default_rng(11), 12, Truth())
    in_milk = evaluations["extender"] == "milk"
    short = evaluations[~in_milk | (evaluations["evaluated_earliest"]
                                    - evaluations["collected_earliest"]
                                    <= pd.Timedelta(hours=48))]  # fmt: skip

    data = prepare_storage(short, shipments)

    assert data.observed_until_h("milk") == pytest.approx(48.0)
    assert data.observed_until_h("egg yolk") == pytest.approx(96.0)
    assert data.observed_until_h("cream") == 0.0


def test_a_product_s_name_is_read_without_case_and_spaces():
    assert product_name(" Egg  Yolk ") == "egg yolk"
    assert product_name(None) == NO_NAME


@pytest.mark.slow
def test_a_fit_that_has_not_settled_is_refused():
    views = simulated_views(np.random.default_rng(3), 5, Truth())

    with pytest.raises(ConvergenceError, match="storage did not settle"):
        fit_storage(prepare_storage(*views), seed=1, schedule=(Run(3, 10, 0.5),))


def test_two_fits_of_one_seed_have_the_same_fingerprint_and_other_readings_another():
    views = simulated_views(np.random.default_rng(3), 5, Truth())
    changed = views[0].assign(
        progressive_motility_pct=views[0]["progressive_motility_pct"].iloc[::-1].to_numpy()
    )

    first, again = prepare_storage(*views), prepare_storage(*views)
    assert first.fingerprint() == again.fingerprint()
    assert prepare_storage(changed, views[1]).fingerprint() != first.fingerprint()
