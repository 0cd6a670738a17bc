"""From views to posteriors that the records file keeps.

Every model of `pipelines/fits/registry.py` is fitted, kept and read the same way, two side by side.
A kept fit carries the fingerprints of its data and of the priors, the version of its model and the
density that it was drawn from. A page made from it says how many records came since, and refuses
when model or priors have changed, or the engine and with it the density.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Generic, Literal

from studcurve.analytics.errors import ConvergenceError, StaleFitError
from studcurve.analytics.models import sampling
from studcurve.analytics.models.conception.bred import partners, without_stopped
from studcurve.analytics.models.sampling import Diagnostics, Draws
from studcurve.analytics.priors import priors_fingerprint
from studcurve.pipelines.fits.guard import (
    density_now,
    engine_versions,
    holds_under_this_engine,
    is_current,
    marked_as_held,
    model_fingerprint,
)
from studcurve.pipelines.fits.registry import MODELS, Model, P
from studcurve.pipelines.records.database.kept_fits import KeptFit
from studcurve.pipelines.records.database.store import Store

N_KEPT_DRAWS = 1000
"""Thinned draws that are kept; intervals of 90 % are then sure to about a point."""

N_SIDE_BY_SIDE = 2
"""Models fitted at once, in two processes that end with the last model: loading the sampler's
library costs as much as a short fit, and a compiled program holds its memory."""

ONE_CORE = "--xla_cpu_multi_thread_eigen=false intra_op_parallelism_threads=1"
"""Setting of the sampler's compiler that keeps one fit to one core."""

PROGRESS_EVERY_S = 15.0
"""How often a running fit is heard of. [s]"""

State = Literal["fitted", "unchanged", "skipped", "refused"]


@dataclass(frozen=True, slots=True)
class FitOutcome:
    """What became of one model.

    Attributes
    ----------
    model
        Its name.
    state
        fitted, unchanged since the kept fit, skipped as too thin, or refused as not settled.
    sentence
        The same in words.
    seconds
        Wall time of the kept fit; 0 where there is none. [s]
    diagnostics
        What the sampler's gate read; empty where there is no fit.
    """

    model: str
    state: State
    sentence: str
    seconds: float = 0.0
    diagnostics: Mapping[str, float] | None = None


@dataclass(frozen=True, slots=True)
class Fitted:
    """A settled fit as it comes back from its process.

    Attributes
    ----------
    draws
        Thinned.
    checks
        What was computed once of it, as plain numbers.
    """

    draws: Draws
    checks: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ModelPosterior(Generic[P]):
    """What is known of one model's question today.

    Attributes
    ----------
    posterior
        From the kept fit, or the starting table alone.
    kept
        The fit it was made from; None for the starting table alone.
    n_records_since
        Lines loaded since that fit; 0 when they do not touch this model.
    is_of_today
        Whether the fit has seen today's records, all of them and nothing else.
    """

    posterior: P
    kept: KeptFit | None
    n_records_since: int
    is_of_today: bool


def cache_folder() -> Path:
    """Where compiled programs are kept between runs; safe to delete."""
    home = os.environ.get("XDG_CACHE_HOME")
    return (Path(home) if home else Path.home() / ".cache") / "studcurve" / "compiled"


def fit_models(
    store: Store,
    *,
    seed: int,
    say: Callable[[str], None],
    models: Sequence[Model[Any, Any]] = MODELS,
    silent: Collection[str] = (),
) -> list[FitOutcome]:
    """Fit what the records allow and keep it.

    Parameters
    ----------
    store
        Open for writing.
    seed
        Seed of the sampler.
    say
        Called with each sentence of progress.
    models
        Which models.
    silent
        Call names of dogs whose breedings no sum over the kennel may hold.

    Returns
    -------
    list of FitOutcome
        One a model, in their order. A model that did not settle keeps its older fit.
    """
    outcomes: dict[str, FitOutcome] = {}
    waiting: dict[str, Any] = {}
    for model in models:
        data = model.prepare(store)
        thin = model.too_thin(data)
        kept = store.read_fit(model.name)
        if thin is not None:
            store.drop_fit(model.name)
            sentence = (
                f"{model.name}: {thin}, too thin to move its priors: skipped; what is said of it "
                "is the starting table alone"
            )
            outcomes[model.name] = FitOutcome(model.name, "skipped", sentence)
        elif (
            kept is not None
            and kept.seed == seed
            and _is_of(kept, model, data)
            and is_told_of(kept, data, silent)
        ):
            if not holds_under_this_engine(kept):
                store.save_fit(marked_as_held(kept))
            sentence = f"{model.name}: nothing changed since the model of {kept.fitted_at:%Y-%m-%d}"
            outcomes[model.name] = FitOutcome(
                model.name, "unchanged", sentence, kept.seconds, kept.diagnostics
            )
        else:
            waiting[model.name] = data
            say(f"{model.name}: fitting {model.size(data)}")
            continue
        say(outcomes[model.name].sentence)
    by_name = {model.name: model for model in models}
    for name, result in _sampled(by_name, waiting, seed, say, silent):
        if isinstance(result, ConvergenceError):
            outcomes[name] = FitOutcome(name, "refused", str(result))
        else:
            store.save_fit(_kept(by_name[name], waiting[name], result, seed, store.last_load()))
            outcomes[name] = FitOutcome(
                name, "fitted", _settled_sentence(name, result.draws), result.draws.seconds,
                result.draws.diagnostics.as_dict(),
            )  # fmt: skip
        say(outcomes[name].sentence)
    return [outcomes[model.name] for model in models]


def read_posterior(store: Store, model: Model[Any, P], *, seed: int = 0) -> ModelPosterior[P]:
    """Read the posterior of a model: from its kept fit, else from the published table.

    Parameters
    ----------
    store
        Open.
    model
        Which.
    seed
        Seed of the published table's draws, where there is no fit.

    Raises
    ------
    StaleFitError
        The kept fit was made by another model or from other priors, or by an engine under which
        the model's density was another.
    """
    data = model.prepare(store)
    kept = store.read_fit(model.name)
    if kept is None:
        posterior = model.restore(data, model.published(seed), seed=seed)
        return ModelPosterior(posterior, None, 0, False)
    if not is_current(kept, model.version, model.prior_ids):
        raise StaleFitError(
            f"The {model.name} model was made by another version of the program or of the "
            "starting table. Run `studcurve fit`."
        )
    draws = Draws(kept.draws, _diagnostics(kept), kept.seconds, kept.labels)
    posterior = model.restore(data, draws, seed=kept.seed)
    if kept.data_fingerprint == data.fingerprint():
        return ModelPosterior(posterior, kept, 0, True)
    return ModelPosterior(posterior, kept, store.n_lines_since(kept.load_id), False)


def _sampled(
    by_name: Mapping[str, Model[Any, Any]],
    waiting: Mapping[str, Any],
    seed: int,
    say: Callable[[str], None],
    silent: Collection[str],
) -> Any:  # noqa: ANN401
    """Yield each model's name with its draws, or with the refusal of its sampler, as they come."""
    if len(waiting) == 1:
        ((name, data),) = waiting.items()
        yield name, _fit(by_name[name], data, seed, cache_folder(), silent)
    if len(waiting) < 2:
        return
    with ProcessPoolExecutor(
        min(N_SIDE_BY_SIDE, os.cpu_count() or 1),
        mp_context=multiprocessing.get_context("spawn"),
    ) as pool:
        running: dict[Future[Fitted | ConvergenceError], str] = {
            pool.submit(_fit_named, name, data, seed, cache_folder(), silent): name
            for name, data in waiting.items()
        }
        started = datetime.now()
        while running:
            done, _ = wait(running, timeout=PROGRESS_EVERY_S, return_when=FIRST_COMPLETED)
            if not done:
                seconds = (datetime.now() - started).total_seconds()
                say(f"{', '.join(running.values())}: {seconds:.0f} s so far")
            for future in done:
                yield running.pop(future), future.result()


def _fit_named(
    name: str,
    data: Any,  # noqa: ANN401
    seed: int,
    cache: Path,
    silent: Collection[str],
) -> Fitted | ConvergenceError:
    """Fit one model of :data:`MODELS` in a process of its own."""
    (model,) = (model for model in MODELS if model.name == name)
    return _fit(model, data, seed, cache, silent)


def _fit(
    model: Model[Any, Any],
    data: Any,  # noqa: ANN401
    seed: int,
    cache: Path,
    silent: Collection[str],
) -> Fitted | ConvergenceError:
    """Thinned draws of one model and what was checked, or the refusal of its sampler."""
    # Read at the sampler's first use in a process: two fits side by side share no core, and sums do
    # not depend on how many cores there are.
    os.environ.setdefault("XLA_FLAGS", ONE_CORE)
    sampling.keep_compiled(cache)
    try:
        posterior = model.fit(data, seed=seed)
    except ConvergenceError as refusal:
        return refusal
    n_draws = posterior.diagnostics.n_chains * posterior.diagnostics.n_draws
    thin = max(1, n_draws // N_KEPT_DRAWS)
    values = {name: draws[::thin] for name, draws in posterior.draws.items()}
    draws = Draws(values, posterior.diagnostics, posterior.seconds, posterior.labels)
    # Of the draws that pages read, or one contrast would have two numbers.
    kept = model.restore(data, draws, seed=seed)
    checks = {
        **model.check(kept, seed=seed, silent=silent),
        **model.ask(kept, seed=seed, silent=silent),
    }
    return Fitted(draws, {**checks, **density_now(model.name)})


def _kept(
    model: Model[Any, Any],
    data: Any,  # noqa: ANN401
    fitted: Fitted,
    seed: int,
    load_id: int,
) -> KeptFit:
    draws = fitted.draws
    return KeptFit(
        model=model.name,
        fitted_at=datetime.now().replace(microsecond=0),
        seed=seed,
        data_fingerprint=data.fingerprint(),
        model_fingerprint=model_fingerprint(model.name, model.version),
        priors_fingerprint=priors_fingerprint(model.prior_ids),
        versions=engine_versions(),
        diagnostics=draws.diagnostics.as_dict(),
        seconds=draws.seconds,
        draws=draws.values,
        labels=draws.labels,
        load_id=load_id,
        checks=fitted.checks,
    )


def _settled_sentence(name: str, draws: Draws) -> str:
    read = draws.diagnostics
    runs = "" if read.n_attempts == 1 else f" in {read.n_attempts} runs, each longer than the last"
    return (
        f"{name}: settled in {draws.seconds:.0f} s{runs} (R-hat {read.max_rhat:.3f}, effective "
        f"sample {min(read.min_ess_bulk, read.min_ess_tail):.0f}, {read.n_divergent} divergences)"
    )


def _diagnostics(kept: KeptFit) -> Diagnostics:
    """What the gate read, from the kept numbers."""
    read = kept.diagnostics
    return Diagnostics(
        read["max_rhat"],
        read["min_ess_bulk"],
        read["min_ess_tail"],
        int(read["n_divergent"]),
        int(read["n_chains"]),
        int(read["n_draws"]),
        int(read["n_attempts"]),
    )


def _is_of(kept: KeptFit, model: Model[Any, Any], data: Any) -> bool:  # noqa: ANN401
    """Whether a kept fit belongs to these data, this model and these priors."""
    return kept.data_fingerprint == data.fingerprint() and is_current(
        kept, model.version, model.prior_ids
    )


def is_told_of(kept: KeptFit, data: Any, silent: Collection[str]) -> bool:  # noqa: ANN401
    """Whether what was regressed left out the same breedings; true where nothing was.

    Parameters
    ----------
    kept, data
        A kept fit and the records of today.
    silent
        Call names of dogs whose breedings no sum over the kennel may hold.
    """
    regressed = kept.checks.get("regressed")
    return regressed is None or regressed == without_stopped(silent, *partners(data)).tolist()
