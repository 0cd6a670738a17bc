"""From views to posteriors that the records file keeps.

A kept fit carries the fingerprints of its data, of its model's text and of the priors. A page made
from it says how many records came since, and refuses when model or priors have changed.
"""

from __future__ import annotations

import hashlib
import inspect
import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from types import ModuleType

import numpy as np

from analytics import sampling
from analytics.errors import StaleFitError
from analytics.models import conception
from analytics.models.ovulation import ovulation_of_cycles
from analytics.priors import priors_fingerprint
from analytics.sampling import Diagnostics
from pipelines.store import KeptFit, Store

CONCEPTION = "conception"
CONCEPTION_PRIORS = ("c", "r05")
"""Rows of the priors table that the conception model reads."""

N_KEPT_DRAWS = 1000
"""Thinned draws that are kept; intervals of 90 % are then sure to about a point."""


def cache_folder() -> Path:
    """Where compiled programs are kept between runs; safe to delete."""
    home = os.environ.get("XDG_CACHE_HOME")
    return (Path(home) if home else Path.home() / ".cache") / "studcurve" / "compiled"


def conception_data(store: Store) -> conception.ConceptionData:
    """Read what the conception model needs."""
    return conception.prepare_conception(
        store.read("breedings"),
        store.read("inseminations"),
        ovulation_of_cycles(store.read("cycles"), store.read("progesterone")),
    )


def fit_conception(store: Store, *, seed: int, say: Callable[[str], None]) -> KeptFit:
    """Fit the conception chain and keep it.

    Parameters
    ----------
    store
        Open for writing.
    seed
        Seed of the sampler.
    say
        Told what is going on.

    Raises
    ------
    ConvergenceError
        The fit did not settle; an older one stays.
    """
    data = conception_data(store)
    known = store.read_fit(CONCEPTION)
    if known is not None and _is_current(known, data, seed):
        say(f"conception: nothing changed since the fit of {known.fitted_at:%Y-%m-%d}")
        return known
    say(f"conception: fitting {data.n_breedings} breedings, about a minute the first time")
    sampling.keep_compiled(cache_folder())
    posterior = conception.fit_conception(data, seed=seed)
    thin = max(1, len(posterior.draws["c01"]) // N_KEPT_DRAWS)
    kept = KeptFit(
        model=CONCEPTION,
        fitted_at=datetime.now().replace(microsecond=0),
        seed=seed,
        data_fingerprint=data.fingerprint(),
        model_fingerprint=model_fingerprint(conception, sampling),
        priors_fingerprint=priors_fingerprint(CONCEPTION_PRIORS),
        versions=sampling.library_versions(),
        diagnostics=posterior.diagnostics.as_dict(),
        seconds=posterior.seconds,
        draws={name: draws[::thin] for name, draws in posterior.draws.items()},
    )
    store.save_fit(kept)
    read = posterior.diagnostics
    say(
        f"conception: settled in {posterior.seconds:.0f} s (R-hat {read.max_rhat:.3f}, effective "
        f"sample {min(read.min_ess_bulk, read.min_ess_tail):.0f}, {read.n_divergent} divergences)"
    )
    return kept


def kept_conception(store: Store) -> tuple[conception.ConceptionPosterior, KeptFit] | None:
    """Read the kept fit of the conception chain, or None when there is none.

    Raises
    ------
    StaleFitError
        It was made by another model or from other priors, or its breedings have changed.
    """
    kept = store.read_fit(CONCEPTION)
    if kept is None:
        return None
    data = conception_data(store)
    if (
        kept.model_fingerprint != model_fingerprint(conception, sampling)
        or kept.priors_fingerprint != priors_fingerprint(CONCEPTION_PRIORS)
    ):  # fmt: skip
        raise StaleFitError(
            "The kept fit of conception was made by another version of the model or of the "
            "published table. Run `studcurve fit`."
        )
    if kept.data_fingerprint != data.fingerprint():
        raise StaleFitError(
            "Breedings or heats have changed since the fit of "
            f"{kept.fitted_at:%Y-%m-%d %H:%M}. Run `studcurve fit`."
        )
    read = kept.diagnostics
    diagnostics = Diagnostics(
        read["max_rhat"],
        read["min_ess_bulk"],
        read["min_ess_tail"],
        int(read["n_divergent"]),
        int(read["n_chains"]),
        int(read["n_draws"]),
    )
    prior = conception.prior_draws(np.random.default_rng(kept.seed), 4 * N_KEPT_DRAWS)
    posterior = conception.ConceptionPosterior(data, kept.draws, prior, diagnostics, kept.seconds)
    return posterior, kept


def model_fingerprint(*modules: ModuleType) -> str:
    """Fingerprint of the text of the modules that make a posterior."""
    text = "".join(inspect.getsource(module) for module in modules)
    return hashlib.sha256(text.encode()).hexdigest()


def _is_current(kept: KeptFit, data: conception.ConceptionData, seed: int) -> bool:
    return (
        kept.seed == seed
        and kept.data_fingerprint == data.fingerprint()
        and kept.model_fingerprint == model_fingerprint(conception, sampling)
        and kept.priors_fingerprint == priors_fingerprint(CONCEPTION_PRIORS)
    )
