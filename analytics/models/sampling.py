"""Has the sampler settled? Nothing leaves before it has.

Hamiltonian paths of NumPyro in 64 bits, of one mean length first and NUTS after it, chains side by
side in one compiled program. Every fit passes one gate: R-hat at most 1.01, bulk and tail effective
sizes of at least 400, no divergence. A fit that fails is repeated with more and smaller steps; one
that fails at the end of the schedule is refused, and no number of it is released.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist
from arviz_stats.base import array_stats
from numpyro.infer import HMC, MCMC, NUTS
from numpyro.infer.hmc import HMCState

from studcurve.analytics.errors import ConvergenceError
from studcurve.analytics.estimate import Floats, interval_quantiles
from studcurve.analytics.models.arrays import Array

numpyro.enable_x64()

MAX_RHAT = 1.01
"""Largest acceptable R-hat: Vehtari et al. 2021, Bayesian Analysis 16:667-718 (P)."""

MIN_ESS = 400.0
"""Smallest acceptable bulk and tail effective sample size of four chains; same source (P)."""

TAIL_PROBS = interval_quantiles()[::2]
"""Quantiles at which the tails must be known; the ends of the intervals that are shown."""

N_CHAINS = 4

GOLDEN_RATIO = (5**0.5 - 1.0) / 2.0
"""Steps of this share of a range fill it evenly."""

SPREAD_BEND = 1.0
"""Where the coordinate of a spread turns to its logarithm, in units of the prior's scale."""

MAX_STEPS = 100
"""Steps after which a path of a given length is cut; at 40 the storage model's chains wandered."""

N_PROGRAMS = 8
"""Samplers held ready in one process; each holds some 150 MB of compiled programs."""


@dataclass(frozen=True, slots=True)
class Run:
    """One attempt: how long and how careful.

    Attributes
    ----------
    n_warmup, n_draws
        Iterations of each chain.
    target_accept
        Wanted acceptance; nearer to 1 means smaller steps.
    path_length
        Mean length of a path, in posterior standard deviations; None lets every path end where it
        turns back (NUTS).
    """

    n_warmup: int
    n_draws: int
    target_accept: float
    path_length: float | None = None


SCHEDULE = (
    Run(400, 800, 0.95, path_length=1.6),
    Run(600, 1500, 0.98, path_length=1.6),
    Run(1500, 4000, 0.99),
)
"""Attempts in order; the next one starts only when the one before has not settled. The models are
laid out so that their posteriors are nearly normal: paths of one mean length then cost a fraction
of paths that look for their turn, which follow where the gate finds them too short."""


@dataclass(frozen=True, slots=True)
class Diagnostics:
    """What the gate read.

    Attributes
    ----------
    max_rhat, min_ess_bulk, min_ess_tail
        The worst over all gated parameters.
    n_divergent
        Divergent transitions after warm-up.
    n_chains, n_draws
        Size of the run that settled.
    n_attempts
        Runs until it settled.
    """

    max_rhat: float
    min_ess_bulk: float
    min_ess_tail: float
    n_divergent: int
    n_chains: int
    n_draws: int
    n_attempts: int

    @property
    def settled(self) -> bool:
        """Whether the fit passes the gate."""
        return (
            self.max_rhat <= MAX_RHAT
            and min(self.min_ess_bulk, self.min_ess_tail) >= MIN_ESS
            and self.n_divergent == 0
        )

    def as_dict(self) -> dict[str, float]:
        """Plain numbers, to be kept beside the draws."""
        return {name: float(value) for name, value in asdict(self).items()}


@dataclass(frozen=True, slots=True)
class Draws:
    """A settled sample.

    Attributes
    ----------
    values
        Draws by site, chains joined, first axis of length n_chains × n_draws.
    diagnostics
        What the gate read.
    seconds
        Wall time over all attempts. [s]
    labels
        What the last axis of a site counts, where it counts levels that have names.
    """

    values: Mapping[str, Floats]
    diagnostics: Diagnostics
    seconds: float
    labels: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def independent_draws(values: Mapping[str, Floats]) -> Draws:
    """Draws of a table of priors, in the form of a settled sample: each draw stands for itself.

    Parameters
    ----------
    values
        Independent draws by id, first axis draws.
    """
    n_draws = len(next(iter(values.values())))
    return Draws(values, Diagnostics(1.0, n_draws, n_draws, 0, 1, n_draws, 0), 0.0)


def effects_of_levels(
    draws: Draws,
    effects: str,
    levels: Sequence[str],
    *,
    sd: Floats,
    rng: np.random.Generator,
) -> Floats:
    """Effects of the named levels, drawn anew for a level that the fit has not seen.

    Parameters
    ----------
    draws
        With labels of the effects; without the effects every level is new.
    effects
        Name of the effects in the draws.
    levels
        Names wanted, in order.
    sd
        Spread between levels, shape (n_draws,).
    rng
        Source of the new levels' draws.

    Returns
    -------
    numpy.ndarray
        Shape (n_draws, n_levels).
    """
    seen = {name: k for k, name in enumerate(draws.labels.get(effects, ()))}
    found = np.empty((len(sd), len(levels)))
    for k, name in enumerate(levels):
        fresh = rng.normal(size=len(sd))
        found[:, k] = draws.values[effects][:, seen[name]] if name in seen else sd * fresh
    return found


def flat(*shape: int) -> dist.Distribution:
    """Coordinates whose density is stated elsewhere in the model, on the whole line."""
    return dist.ImproperUniform(dist.constraints.real, (), shape)


def half_normal_spread(bent: Array) -> Array:
    r"""Half-normal spreads in units of their scale, from flat coordinates.

    :math:`\delta \log(1 + e^{\xi/\delta})`: nearly the spread itself where it is large and its
    logarithm near nought, where records that want a spread fall off within a small part of it. A
    sign that changes nothing would leave a ridge there that is too steep for the sampler's steps.

    Parameters
    ----------
    bent
        Site of :func:`flat`.
    """
    spread: Array = SPREAD_BEND * jax.nn.softplus(bent / SPREAD_BEND)
    numpyro.factor(
        "spread_prior",
        jnp.sum(dist.HalfNormal(1.0).log_prob(spread) + jax.nn.log_sigmoid(bent / SPREAD_BEND)),
    )
    return spread


def half_normal_spreads_of_one_sum(bent: Array, scale: Array) -> Array:
    r"""Two half-normal spreads whose sum of squares is known better than either, from two flats.

    :math:`e^{\xi_1} (\cos\phi, \sin\phi)` with :math:`\phi = \pi / 2 \,(1 + e^{-\xi_2})^{-1}`:
    spreads that can stand in for each other lie on a quarter of a circle, which the sampler then
    walks along instead of across.

    Parameters
    ----------
    bent
        Site of :func:`flat` of shape (2,).
    scale
        Scales of the two priors, shape (2,), in the unit of the spreads.
    """
    angle = 0.5 * jnp.pi * jax.nn.sigmoid(bent[1])
    spread: Array = jnp.exp(bent[0]) * jnp.stack([jnp.cos(angle), jnp.sin(angle)])
    turning = jax.nn.log_sigmoid(bent[1]) + jax.nn.log_sigmoid(-bent[1])
    numpyro.factor(
        "spreads_of_one_sum_prior",
        jnp.sum(dist.HalfNormal(scale).log_prob(spread)) + 2.0 * bent[0] + turning,
    )
    return spread


def padded_size(n: int, step: int) -> int:
    """Size rounded up to a step, at least one step, so that compiled programs can be used again."""
    return max(1, -(-n // step)) * step


def keep_compiled(folder: Path) -> None:
    """Keep compiled programs in a folder, so that the next process starts with them.

    Parameters
    ----------
    folder
        Made when it does not exist; may be deleted at any time.
    """
    jax.config.update("jax_compilation_cache_dir", str(folder))
    jax.config.update("jax_persistent_cache_min_compile_time_secs", 0.0)
    jax.config.update("jax_persistent_cache_min_entry_size_bytes", -1)


def sample(
    model: Callable[..., Any],
    arguments: Mapping[str, Any],
    *,
    name: str,
    gated: Sequence[str],
    seed: int,
    schedule: Sequence[Run] = SCHEDULE,
    dense: tuple[tuple[str, ...], ...] = (),
) -> Draws:
    """Sample a model until it has settled.

    Parameters
    ----------
    model
        NumPyro model; its data are arguments, never closed over. The same function object with
        data of the same shapes is compiled once.
    arguments
        Keyword arguments of the model, arrays only.
    name
        What the model is called in a refusal.
    gated
        Sites that must settle; padded or purely derived sites are left out.
    seed
        The same seed gives the same bytes on one machine.
    schedule
        Attempts in order.
    dense
        Groups of sites that trade off against each other; each group gets a full mass matrix.

    Raises
    ------
    ConvergenceError
        The last attempt has not settled either.
    """
    started = time.perf_counter()
    for attempt, run in enumerate(schedule):
        key = jax.random.fold_in(jax.random.key(seed), attempt)
        sampled, diverging = _program(model, run, dense)(key, dict(arguments))
        by_chain = {site: np.asarray(values, dtype=np.float64) for site, values in sampled.items()}
        n_divergent = int(np.asarray(diverging).sum())
        diagnostics, worst = _diagnose(
            {site: by_chain[site] for site in gated}, n_divergent, n_attempts=attempt + 1
        )
        if diagnostics.settled:
            joined = {
                site: values.reshape(-1, *values.shape[2:]) for site, values in by_chain.items()
            }
            return Draws(joined, diagnostics, time.perf_counter() - started)
    raise ConvergenceError(
        f"{name} did not settle: worst R-hat {diagnostics.max_rhat:.3f} for {worst} (wanted at "
        f"most {MAX_RHAT}), smallest effective sample "
        f"{min(diagnostics.min_ess_bulk, diagnostics.min_ess_tail):.0f} (wanted {MIN_ESS:.0f}), "
        f"{n_divergent} divergences (wanted 0). No number of it is shown; look for contradictory "
        "records, or report the case."
    )


@lru_cache(maxsize=N_PROGRAMS)
def _program(
    model: Callable[..., Any], run: Run, dense: tuple[tuple[str, ...], ...]
) -> Callable[[jax.Array, dict[str, Any]], tuple[dict[str, Array], Array]]:
    """Program that samples one model, from a key and the data to draws by chain and divergences.

    Compiled as a whole, once for each shape of the data. Left to itself the sampler compiles its
    loop anew at every start (numpyro 0.22 with jax 0.10): seconds a fit, and memory that a process
    never gets back.
    """

    def program(key: jax.Array, arguments: dict[str, Any]) -> tuple[dict[str, Array], Array]:
        mcmc = MCMC(
            _kernel(model, run, dense),
            num_warmup=run.n_warmup,
            num_samples=run.n_draws,
            num_chains=N_CHAINS,
            chain_method="vectorized",
            progress_bar=False,
        )
        mcmc.run(key, **arguments, extra_fields=("diverging",))
        return mcmc.get_samples(group_by_chain=True), mcmc.get_extra_fields()["diverging"]

    compiled: Callable[[jax.Array, dict[str, Any]], tuple[dict[str, Array], Array]] = jax.jit(
        program
    )
    return compiled


class _VariedPaths(HMC):  # type: ignore[misc]  # numpyro has no types
    """Hamiltonian paths whose lengths vary evenly between nothing and twice the mean.

    A fixed length would come back to where it started in some direction (Neal 2011, Handbook of
    Markov Chain Monte Carlo, section 5.4.2.2). Lengths follow the golden ratio's sequence, the same
    in every chain, so that chains side by side do not wait for each other; they depend on the count
    of draws alone, never on the state, which leaves each draw's move reversible. A path is cut
    after :data:`MAX_STEPS`, or a start in a steep place would hold all chains up while it warms up.
    """

    def sample(
        self, state: HMCState, model_args: tuple[Any, ...], model_kwargs: dict[str, Any]
    ) -> HMCState:
        """Move once."""
        mean = state.trajectory_length
        share = ((state.i + 1.0) * GOLDEN_RATIO) % 1.0
        longest = MAX_STEPS * state.adapt_state.step_size
        varied = state._replace(trajectory_length=jnp.minimum(2.0 * mean * share, longest))
        return super().sample(varied, model_args, model_kwargs)._replace(trajectory_length=mean)


def _kernel(model: Callable[..., Any], run: Run, dense: tuple[tuple[str, ...], ...]) -> HMC:
    """What moves a chain in this run."""
    mass = list(dense) if dense else False
    if run.path_length is None:
        return NUTS(model, target_accept_prob=run.target_accept, dense_mass=mass)
    return _VariedPaths(
        model,
        target_accept_prob=run.target_accept,
        dense_mass=mass,
        trajectory_length=run.path_length,
    )


def _diagnose(
    by_chain: Mapping[str, Floats], n_divergent: int, *, n_attempts: int
) -> tuple[Diagnostics, str]:
    """Read the gate's numbers, and the site with the worst R-hat."""
    rhat: dict[str, float] = {}
    bulk: dict[str, float] = {}
    tail: dict[str, float] = {}
    axes = {"chain_axis": 0, "draw_axis": 1}
    # A chain that never moves divides by a variance of zero: its R-hat is infinite, as it should.
    with np.errstate(divide="ignore", invalid="ignore"):
        for site, values in by_chain.items():
            flat = values.reshape(*values.shape[:2], -1)
            rhat[site] = float(np.max(np.nan_to_num(array_stats.rhat(flat, **axes), nan=np.inf)))
            bulk[site] = float(np.min(array_stats.ess(flat, method="bulk", **axes)))
            tail[site] = float(
                np.min(array_stats.ess(flat, method="tail", prob=TAIL_PROBS, **axes))
            )
    n_chains, n_draws = next(iter(by_chain.values())).shape[:2]
    diagnostics = Diagnostics(
        max(rhat.values()),
        min(bulk.values()),
        min(tail.values()),
        n_divergent,
        n_chains,
        n_draws,
        n_attempts,
    )
    return diagnostics, max(rhat, key=lambda site: rhat[site])
