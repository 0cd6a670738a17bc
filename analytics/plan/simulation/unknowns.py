"""From posteriors, or the published table alone, to joint draws that every option shares.

Nothing is fitted here. Draws of a fit are recycled to the number of joint draws; what happens on
the day (sample, shipment, straws, ovulation, new partners) is drawn anew for each.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.motility_kept import StorageDraws
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.ovulation.model import OvulationPosterior
from studcurve.analytics.plan.simulation.chain import Pair, Unknowns, bias_draws, plan_coefficients
from studcurve.analytics.plan.simulation.lateness import ShipmentRecord, share_draws
from studcurve.analytics.plan.simulation.samples import SampleDraws
from studcurve.analytics.priors import draw_priors

N_JOINT_DRAWS = 4000
"""Joint draws of a plan; a chance is then sure to a quarter of a point."""

_ALWAYS = ("stud", "bitch", "breed")


@dataclass(frozen=True, slots=True)
class Chain:
    """Draws of the conception chain, or of litters, and the names that their effects belong to.

    Attributes
    ----------
    draws
        By id, as in :class:`studcurve.analytics.models.conception.model.ConceptionPosterior` or
        :class:`studcurve.analytics.models.litter.model.LitterPosterior`.
    levels
        Names of the levels by grouping factor; empty for the published table.
    """

    draws: Mapping[str, Floats]
    levels: Mapping[str, Sequence[str]]


def chain_before_records(posterior: conception.ConceptionPosterior) -> Chain:
    """The chain of the same dogs, clinics and years as the published table alone knows them."""
    return Chain(posterior.prior_draws, posterior.data.levels)


def draw_unknowns(
    chain: Chain,
    pair: Pair,
    ovulation: OvulationPosterior,
    sample: Callable[[np.random.Generator, int], SampleDraws],
    *,
    storage: Callable[[np.random.Generator, int], StorageDraws],
    shipments: ShipmentRecord | None,
    on_hand: Callable[[np.random.Generator, int], SampleDraws] | None = None,
    seed: int,
    n_draws: int = N_JOINT_DRAWS,
) -> Unknowns:
    """Draw everything that is not known of one breeding.

    Parameters
    ----------
    chain
        Of a fit or published.
    pair
        The two dogs.
    ovulation
        Posterior of this heat.
    sample
        Draws the next sample, given a generator and a number.
    storage
        Draws the storage curve of the sample of a shipment, likewise.
    shipments
        Own record of the carrier.
    on_hand
        Draws a sample that is already collected, likewise; None without one.
    seed
        The same seed gives the same draws, whichever options are asked about.
    n_draws
        Joint draws.
    """
    # One stream for each kind of draw: another number of one kind leaves the others as they were.
    streams = [np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(7)]
    rng_bias, rng_day, rng_sample, rng_storage, rng_shipments, rng_thawed, rng_beyond = streams
    uniform = rng_day.uniform(size=(2, n_draws))
    cumulative = np.cumsum(ovulation.weight)
    return Unknowns(
        origin=ovulation.origin,
        ovulation_days=np.interp(uniform[0], cumulative, ovulation.days),
        coefficients=plan_coefficients(chain.draws, n_draws),
        partners=_pair_effects(chain, pair, seed=seed, n_draws=n_draws),
        beyond_sd=draw_priors(["c27"], rng_beyond, n_draws)["c27"],
        beyond_z=_named_stream("heat", pair.bitch, seed=seed).normal(size=n_draws),
        bias=bias_draws(rng_bias, n_draws),
        z_straws=np.stack([rng_sample.normal(size=n_draws), rng_thawed.normal(size=n_draws)]),
        sample=sample(rng_sample, n_draws),
        storage=storage(rng_storage, n_draws),
        shipment_shares={
            weekday: share_draws(shipments, weekday, rng=rng_shipments, n_draws=n_draws)
            for weekday in range(7)
        },
        u_shipment=uniform[1],
        on_hand=None if on_hand is None else on_hand(rng_sample, n_draws),
    )


def with_chain(unknowns: Unknowns, chain: Chain, pair: Pair, *, seed: int) -> Unknowns:
    """The same draws with another conception chain, so that two chains can be compared.

    Parameters
    ----------
    unknowns
        From :func:`draw_unknowns`.
    chain
        The other chain.
    pair, seed
        As the first ones were drawn.
    """
    n_draws = unknowns.n_draws
    return replace(
        unknowns,
        coefficients=plan_coefficients(chain.draws, n_draws),
        partners=_pair_effects(chain, pair, seed=seed, n_draws=n_draws),
    )


def _pair_effects(chain: Chain, pair: Pair, *, seed: int, n_draws: int) -> Floats:
    """Effects of the partners of the conception chain."""
    names = {"stud": pair.stud, "bitch": pair.bitch, "breed": pair.breed, "clinic": pair.clinic}
    spreads = conception.PUBLISHED.spreads
    return partner_effects(chain, names, spreads, seed=seed, n_draws=n_draws)


def partner_effects(
    chain: Chain,
    names: Mapping[str, str],
    spread_rows: Mapping[str, str],
    *,
    question: str = "",
    seed: int,
    n_draws: int,
) -> Floats:
    """Effects of the partners together; those without a record are drawn from their spread.

    Clinic and year count only where the records hold several of them; the year of a plan is
    always a new one.

    Parameters
    ----------
    chain
        Draws with the names of their levels.
    names
        Name of the partner by grouping factor; a factor without one has a new level.
    spread_rows
        Row of the spread between levels, by grouping factor.
    question
        Of another question than the chance of a litter, so that one name is new in each anew.
    seed
        A new partner of one name has the same draws in every plan of one seed.
    n_draws
        Joint draws.

    Returns
    -------
    numpy.ndarray
        Shape (n_draws,), on the scale of the linear predictor.
    """
    total = np.zeros(n_draws)
    for factor, row in spread_rows.items():
        levels = tuple(chain.levels.get(factor, ()))
        if factor not in _ALWAYS and not levels:
            continue
        if names.get(factor) in levels:
            own = chain.draws[f"effect_{factor}"][:, levels.index(names[factor])]
            total += np.resize(own, n_draws)
        else:
            rng = _named_stream(f"{question}{factor}", names.get(factor, ""), seed=seed)
            z = rng.normal(size=n_draws)
            total += np.resize(chain.draws[row], n_draws) * z
    return total


def _named_stream(of: str, name: str, *, seed: int) -> np.random.Generator:
    """Draws of one name's own: two bitches without a record are two dogs."""
    return np.random.default_rng([seed, crc32(f"{of} {name}".encode())])
