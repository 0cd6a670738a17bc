"""The model of a stud over time: its parts by a second route, its answers, recovery, refusal."""

import jax
import jax.numpy as jnp
import numpy as np
import pytest
from numpyro import handlers
from numpyro.contrib.hsgp.laplacian import eigenfunctions
from scipy.integrate import quad
from scipy.special import expit, roots_hermitenorm
from scipy.stats import halfnorm, poisson
from scipy.stats import t as student_t
from tests.analytics.stud_records import collections, counted, events, kennel, no_events

from studcurve.analytics.models.sampling import Diagnostics, Draws
from studcurve.analytics.models.stud import model as stud_quality
from studcurve.analytics.models.stud.arrays import Information, stud_arrays, stud_priors
from studcurve.analytics.models.stud.curves import (
    basis_at,
    rest_term,
    season_columns,
    share_moments,
    step_shape,
    tailed_log,
)
from studcurve.analytics.models.stud.inputs import (
    GRID_NODES,
    MEASURES,
    RESTED_DAYS,
    days_of,
    prepare_stud_data,
)
from studcurve.analytics.models.stud.model import published_stud_quality, restore_stud_quality

TOTAL, MOTILITY, SHAPE = MEASURES
SETTLED = Diagnostics(1.0, 4000.0, 4000.0, 0, 4, 1000, 1)


def data_of(rows, measure=TOTAL, happened=None):
    return prepare_stud_data(
        rows, no_events() if happened is None else happened, measure, extra_cv=0.0
    )


def test_a_sample_without_volume_or_count_says_nothing_of_total_sperm():
    rows = kennel(
        collections("Rowan", [0], volume_ml=np.nan),
        collections("Rowan", [10], concentration_m_per_ml=np.nan, n_cells_counted=np.nan),
        collections("Rowan", [20]),
    )

    assert data_of(rows).n_collections == 1


def test_no_cell_seen_stays_a_count_whose_likelihood_falls_with_what_was_looked_at():
    # Other counts of the kennel see 0.8 cells per million in a milliliter; 2 mL were collected.
    rows = kennel(
        collections("Rowan", [0, 7], concentration_m_per_ml=250.0, n_cells_counted=200.0),
        collections("Rowan", [14], concentration_m_per_ml=0.0, n_cells_counted=0.0),
    )

    data = data_of(rows)

    assert data.gridded.tolist() == [2]
    wanted = poisson.logpmf(0, 0.8 / 2.0 * np.exp(GRID_NODES))
    assert np.allclose(data.grid_log[0] - data.grid_log[0].max(), wanted - wanted.max())


def test_a_one_sided_count_is_an_interval_and_never_its_end():
    rows = kennel(
        collections("Rowan", [0, 7]),
        collections("Rowan", [14], concentration_m_per_ml=np.nan, n_cells_counted=np.nan,
                    concentration_m_per_ml_low=400.0, concentration_m_per_ml_high=np.inf),
    )  # fmt: skip

    data = data_of(rows)

    allowed = GRID_NODES[data.grid_log[0] == 0.0]
    assert np.exp(allowed.min()) == pytest.approx(800.0, rel=0.16)
    assert allowed.max() == GRID_NODES[-1]


def test_a_small_count_is_integrated_over_the_spread_of_collections():
    mean, scale, tail, seen, per_m = 2.5, 0.4, 6.0, 4, 0.5
    log_likelihood = seen * GRID_NODES - per_m * np.exp(GRID_NODES)

    on_grid = np.exp(log_likelihood + tailed_log(np, GRID_NODES - mean, scale, tail)).sum() * 0.15

    # tailed_log leaves out the constant of Student's t; the t density of scipy holds it.
    constant = student_t.pdf(0.0, tail, scale=scale) / np.exp(tailed_log(np, 0.0, scale, tail))
    exact, _ = quad(
        lambda x: np.exp(seen * x - per_m * np.exp(x)) * student_t.pdf((x - mean) / scale, tail)
        / scale,
        -12.0, 12.0, limit=400, points=[mean],
    )  # fmt: skip
    assert on_grid * constant == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("level", [-0.5, 0.5, 1.1, 2.0, 3.0])
@pytest.mark.parametrize("spread", [0.2, 0.4, 0.6])
def test_moments_of_a_share_agree_with_quadrature(level, spread):
    nodes, weights = roots_hermitenorm(61)
    weights = weights / weights.sum()
    share = expit(level + spread * nodes)

    mean, variance = share_moments(np, level, spread)

    # The mean's first neglected term is the fourth derivative over 8, at most 1/64; the variance's
    # is of the order of the spread to the fourth, relatively.
    exact = weights @ share
    assert mean == pytest.approx(exact, abs=spread**4 / 64)
    assert variance == pytest.approx(weights @ (share - exact) ** 2, rel=0.5 * spread**4 + 1e-6)


def test_rest_is_counted_against_four_days_and_a_full_rest_fills_the_reserve():
    assert rest_term(np, 4.0, 2.5, 0.3) == 0.0
    assert np.exp(rest_term(np, RESTED_DAYS, 2.5, 0.3)) == pytest.approx(
        1.0 / (1.0 - 0.3 * np.exp(-3.0 / 2.5)), rel=1e-4
    )
    assert rest_term(np, 1.0, 2.5, 0.3) == pytest.approx(
        np.log(0.7) - np.log(1.0 - 0.3 * np.exp(-3.0 / 2.5))
    )


def test_a_step_is_absent_before_its_lag_full_within_and_gone_after():
    since = np.array([0.0, 25.0, 45.0, 70.0, 150.0])

    shape = step_shape(np, since, 25.0, 45.0)

    assert shape[0] < 0.001
    assert shape[1] == pytest.approx(0.5, abs=0.01)
    assert shape[2] > 0.9
    assert shape[3] == pytest.approx(0.5, abs=0.01)
    assert shape[4] < 0.001


def test_events_within_two_weeks_are_one_episode_and_silent_ones_are_left_out():
    rng = np.random.default_rng(1)
    rows = kennel(counted(rng, "Rowan", np.arange(0, 700, 20), np.full(35, 6.5)))
    happened = events(
        ("Rowan", "fever", "2022-10-01"), ("Rowan", "anesthesia", "2022-10-09"),
        ("Rowan", "travel", "2031-01-01"), ("Hazel", "fever", "2022-10-01"),
    )  # fmt: skip

    episodes = data_of(rows, happened=happened).episodes

    assert [(e.stud, e.words) for e in episodes] == [("Rowan", "fever; anesthesia")]


@pytest.fixture(scope="module")
def small_kennel():
    rng = np.random.default_rng(7)
    parts = [
        counted(rng, stud, np.sort(rng.uniform(0, 700, 30)), rng.normal(level, 0.4, 30))
        for stud, level in (("Rowan", 6.2), ("Hazel", 6.8))
    ]
    return data_of(kennel(*parts))


def log_joint(data, values):
    arguments = stud_arrays(data, stud_priors(data.measure))
    model = handlers.substitute(handlers.seed(stud_quality._model, 0), values)
    trace = handlers.trace(model).get_trace(data=arguments, is_log=True)
    logs = {}
    for name, site in trace.items():
        if site["type"] == "sample":
            logs[name] = float(jnp.sum(site["fn"].log_prob(site["value"])))
    return logs, trace


def of_rows(arguments, name):
    """One array of the model in the order of the data of the small kennel's 60 collections."""
    blocks = np.asarray(getattr(arguments.readings, name))
    return blocks.reshape(-1, *blocks.shape[2:])[arguments.row[:60]]


def effects_of(arguments, scale, shared_scale, bent, *, bend=0.0):
    """Effects as a function of all coordinates; a lift of the levels bent with the readers."""
    n_studs, n_own = arguments.information.own_score.shape
    n_shared, n_readers = len(shared_scale), len(arguments.reader_scale)

    def found(flat):
        own, shared = flat[:-n_shared].reshape(n_studs, n_own), flat[-n_shared:]
        effects = stud_quality._laid_out(scale, shared_scale, bent, arguments)
        z_reader = stud_quality._reader_effects(effects, shared[-n_readers:])
        lift = bend * jnp.sin(z_reader.sum() + jnp.arange(n_studs))
        z_own, common = stud_quality._other_effects(
            effects, own, shared[:-n_readers], z_reader, lift, arguments
        )
        return jnp.concatenate([z_own.ravel(), common, z_reader])

    return found


@pytest.mark.parametrize("bend", [0.0, 0.3])
def test_the_sampler_s_coordinates_change_no_density(small_kennel, bend):
    arguments = stud_arrays(small_kennel, stud_priors(small_kennel.measure))
    rng = np.random.default_rng(3)
    n_studs, n_own = arguments.information.own_score.shape
    n_shared = len(arguments.information.shared_score)
    scale = jnp.asarray(np.abs(rng.normal(0.2, 0.05, (n_studs, n_own))))
    shared_scale = jnp.asarray(np.abs(rng.normal(0.5, 0.1, n_shared)))
    bent = jnp.asarray(rng.normal(size=arguments.readings.value.shape))
    white = jnp.asarray(rng.normal(size=n_studs * n_own + n_shared))
    found = effects_of(arguments, scale, shared_scale, bent, bend=bend)

    with handlers.trace() as trace:
        z = np.asarray(found(white))
    stated = sum(
        float(trace[name]["fn"].log_prob(trace[name]["value"]))
        for name in ("volume", "reader_prior", "effects_prior")
    )
    with handlers.block():
        _, log_volume = np.linalg.slogdet(np.asarray(jax.jit(jax.jacfwd(found))(white)))

    assert stated == pytest.approx(-0.5 * z @ z + log_volume, rel=1e-9)


def test_the_coordinates_are_those_of_the_posterior_if_it_were_normal(small_kennel):
    # All effects of all studs at once, in numpy: at coordinates of nought they are the posterior
    # mean of a linear model, and their spread over the coordinates is its covariance.
    arguments = stud_arrays(small_kennel, stud_priors(small_kennel.measure))
    n, n_studs = small_kennel.n_collections, len(small_kennel.studs)
    n_own, n_shared = (
        arguments.information.own_score.shape[1],
        len(arguments.information.shared_score),
    )
    scale = np.linspace(0.1, 0.4, n_studs * n_own).reshape(n_studs, n_own)
    shared_scale = np.full(n_shared, 0.5)
    weight = of_rows(arguments, "weight")
    own, shared = of_rows(arguments, "own_design"), of_rows(arguments, "shared_design")
    design = np.zeros((n, n_studs * n_own + n_shared))
    for s in range(n_studs):
        of_stud = small_kennel.stud == s
        design[of_stud, s * n_own : (s + 1) * n_own] = own[of_stud] * scale[s]
    design[:, -n_shared:] = shared * shared_scale
    target = small_kennel.value - of_rows(arguments, "offset") - 0.1
    precision = design.T @ (weight[:, None] * design) + np.eye(design.shape[1])
    mean = np.linalg.solve(precision, design.T @ (weight * target))

    bent = jnp.full(arguments.readings.value.shape, 0.1)
    found = effects_of(arguments, jnp.asarray(scale), jnp.asarray(shared_scale), bent)
    nought = jnp.zeros(design.shape[1])
    with handlers.block():
        spread = np.asarray(jax.jacfwd(found)(nought))
        middle = np.asarray(found(nought))
    assert middle == pytest.approx(mean, abs=1e-9)
    assert spread @ spread.T == pytest.approx(np.linalg.inv(precision), abs=1e-9)


def test_the_spread_of_single_collections_keeps_its_half_normal_prior():
    nothing = Information(*[np.nan] * len(Information._fields))
    information = nothing._replace(within_unit=0.1, within_guess=0.3)

    def log_density(white):
        with handlers.trace() as trace:
            within = stud_quality._within(white, jnp.ones(3), information, 0.4)
        return within, float(trace["within_prior"]["fn"].log_prob(0.0))

    def wanted(within):
        return halfnorm.logpdf(float(within), scale=0.4) + np.log(0.1 * float(within))

    # Density of the coordinate: that of the spread times the spread's derivative, to a constant.
    (first, at_first), (second, at_second) = (log_density(jnp.asarray(w)) for w in (1.3, -0.8))
    assert at_first - at_second == pytest.approx(wanted(first) - wanted(second))


def test_a_collection_on_the_same_day_has_a_density_wherever_the_sampler_goes():
    # Without a bound the share that is missing would pass 1 here, and its logarithm would be lost.
    at_once = rest_term(np, np.array([0.0]), 0.8, 0.6)

    assert at_once == pytest.approx(np.log(0.05) - np.log1p(-0.6 * np.exp(-3.0 / 0.8)))


def test_the_logit_of_a_mean_share_is_near_that_of_quadrature():
    nodes, weights = roots_hermitenorm(61)
    usual, within = 0.78, 0.3

    for share in (0.6, 0.78, 0.9):
        tangent = np.log(usual / (1 - usual)) + (share - usual) / (usual * (1 - usual))
        level = tangent + float(stud_quality._lift(jnp.asarray(share), within, usual))
        mean = weights @ expit(level + within * nodes) / weights.sum()
        # It only lays out coordinates: within half a point of a share, less than readers differ.
        assert mean == pytest.approx(share, abs=0.005)


def test_the_log_density_of_the_readings_is_the_story_s(small_kennel):
    # The story once more, in numpy and scipy: spreads and all effects at arbitrary values.
    data = small_kennel
    numbers = stud_priors(data.measure)
    arguments = stud_arrays(data, numbers)
    rng = np.random.default_rng(6)
    n_readers = len(data.readers)
    zeros = {
        "bent_spread": jnp.array([0.6, 1.0, 0.7]), "z_amplitude": jnp.array([0.4, -1.1]),
        "white_within": jnp.array(0.5), "length": 1.0,
        "z_event": jnp.zeros((3, 4)), "rest_time": 2.5, "rest_deficit": 0.3,
        "white": jnp.asarray(rng.normal(size=arguments.information.own_score.shape)),
        "white_common": jnp.asarray(rng.normal(size=4)),
        "white_reader": jnp.asarray(rng.normal(size=n_readers)),
    }  # fmt: skip

    logs, trace = log_joint(data, zeros)

    own, common = np.asarray(trace["own"]["value"]), np.asarray(trace["common"]["value"])
    reader, within = np.asarray(trace["reader"]["value"]), float(trace["within"]["value"])
    n = data.n_collections
    # Sines over the years of the records, the next one, and two more on either side.
    first = days_of(np.array(["2022-01-01"], dtype="datetime64[s]")) - 730.5
    place = (days_of(data.on) - first) / (1096.0 + 1461.0)
    sines = np.sin(np.pi * np.arange(1, own.shape[1] - 1) * place[:, None])
    slow = np.sum(sines * own[data.stud, 1:-1], axis=1)
    last = np.array([days_of(data.on[data.stud == s]).max() for s in range(len(data.studs))])
    recent = np.clip((150.0 - (last[data.stud] - days_of(data.on))) / 60.0, 0.0, 1.0)
    mean = (
        6.6 + 0.7 * common[0] + numbers.season_sd * season_columns(data.on) @ common[2:]
        + reader[data.reader] + own[data.stud, 0] + slow
        + own[data.stud, -1] * recent
        + np.log1p(-0.3 * np.exp(-29.0 / 2.5)) - np.log1p(-0.3 * np.exp(-3.0 / 2.5))
    )  # fmt: skip
    scale = np.hypot(within, data.reading_sd)
    exact = student_t.logpdf(data.value, 6.0, loc=mean, scale=scale).sum()
    constant = n * (student_t.logpdf(0.0, 6.0))
    assert logs["readings"] == pytest.approx(exact - constant, rel=1e-9)


def test_a_kennel_without_records_has_the_published_population():
    draws = published_stud_quality(TOTAL, seed=3)
    rng = np.random.default_rng(1)
    data = data_of(kennel(counted(rng, "Rowan", [0.0, 20.0], [6.0, 6.1])))

    posterior = restore_stud_quality(data, draws, seed=3)

    # Centre 6.6 (0.7) and a half-normal spread of 0.5 between dogs: variance 0.49 + 0.25.
    level = posterior.draws["level"][:, 0]
    assert level.mean() == pytest.approx(6.6, abs=4 * np.sqrt(0.74 / 4000))
    assert level.var() == pytest.approx(0.74, rel=0.15)


def test_a_stud_seen_by_the_fit_keeps_his_draws_and_a_new_one_gets_those_of_the_population():
    rng = np.random.default_rng(5)
    old = data_of(kennel(counted(rng, "Rowan", [0.0, 20.0], [6.0, 6.1])))
    fitted = restore_stud_quality(old, published_stud_quality(TOTAL, seed=4), seed=4)
    both = data_of(
        kennel(
            counted(rng, "Aspen", [5.0, 9.0], [6.0, 6.1]),
            counted(rng, "Rowan", [0.0, 20.0], [6.0, 6.1]),
        )
    )
    again = restore_stud_quality(both, Draws(fitted.draws, SETTLED, 1.0, fitted.labels), seed=9)

    assert again.draws["level"][:, 1] == pytest.approx(fitted.draws["level"][:, 0])
    assert again.draws["smooth"][:, 1].tobytes() == fitted.draws["smooth"][:, 0].tobytes()
    assert abs(np.corrcoef(again.draws["level"][:, 0], fitted.draws["level"][:, 0])[0, 1]) < 0.9


def test_the_basis_of_the_slow_level_is_the_one_of_the_samplers_library():
    on = np.array(["2024-01-01", "2025-06-30", "2026-12-31"], dtype="datetime64[s]")
    domain = days_of(on[[0, -1]])
    place = (days_of(on) - domain.mean()) / np.ptp(domain) * 2.0

    theirs = np.asarray(eigenfunctions(place, ell=1.0, m=12))

    np.testing.assert_allclose(basis_at(on, domain, 12), theirs, atol=1e-12)
