"""What the bench takes from the kennel's records: what was said once, and how long a sample lasts.

What a function needs is imported inside it, so that every command starts at once.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from studcurve.analytics.errors import ToolkitError

if TYPE_CHECKING:
    import numpy as np

    from studcurve.analytics.measures.doses import Route
    from studcurve.analytics.measures.motility_kept import StorageDraws


def target_m(store: Path, route: Route, target: float | None, *, keep: bool) -> float:
    """The target dose: as given, as the kennel remembers it, or the usual one of the route. [M]"""
    from studcurve.analytics.measures.doses import TARGET_ROWS
    from studcurve.analytics.priors import PRIORS

    kept = _remembered(store, f"target_{route}_m", target, keep=keep)
    return PRIORS[TARGET_ROWS[route]].centre if kept is None else kept


def rotor_radius_cm(store: Path, radius: float | None, *, needed: bool = True) -> float | None:
    """Radius of the rotor: as given, and then remembered where there is a records file. [cm]"""
    kept = _remembered(store, "rotor_radius_cm", radius, keep=True)
    if kept is None and needed:
        raise ToolkitError(
            "The radius of the rotor is not known here. Give it once with --radius, measured in "
            "cm from the axis to the tip of a spinning tube; the records file remembers it."
        )
    return kept


def radius_remark(store: Path, radius: float | None, *, language: str) -> tuple[str, ...]:
    """One line where a radius was given and no records file is there to remember it."""
    if radius is None or store.exists():
        return ()
    from studcurve.reports.catalog import texts

    return (str(texts(language)["card.radius_not_remembered"]),)


def storage_of(
    store: Path,
    stud: str | None,
    extender: str | None,
    rng: np.random.Generator,
    *,
    n_draws: int | None = None,
) -> StorageDraws:
    """How long the sample lasts: by the kennel's own fit where there is one, else as published.

    Raises
    ------
    ToolkitError
        A caution stops the doses of the named stud.
    """
    from studcurve.analytics.measures.motility_kept import N_DRAWS, medium_of, published_storage

    if stud is not None and store.exists():
        _refuse_stopped(store, stud)

    n = n_draws or N_DRAWS
    if not store.exists():
        return published_storage(medium_of(extender), rng=rng, n_draws=n)
    from studcurve.pipelines.fits.storage import storage_curve

    return storage_curve(store, stud=stud, extender=extender, rng=rng, n_draws=n)


def _refuse_stopped(store: Path, stud: str) -> None:
    """A caution that stops a stud's doses leaves no number of his at the bench either."""
    from studcurve.pipelines.commands.terminal import asked_on
    from studcurve.pipelines.records.database.store import Store
    from studcurve.pipelines.records.dog_history import CAUTION_VIEWS, cautions_of
    from studcurve.reports.words import Words

    with Store.open(store, read_only=True) as opened:
        views = {view: opened.read(view) for view in CAUTION_VIEWS}
    called = views["dogs"]["call_name"]
    names = called[called.str.casefold() == stud.casefold()].tolist()
    words, on = Words("en"), asked_on(None, store)
    for name in names:
        for caution in cautions_of(views, name, on):
            if "doses" in caution.stops:
                raise ToolkitError(
                    f"{words.tell(caution.sentence)} No number is given for {name}: this stops it "
                    "until a veterinarian has decided."
                )


def _remembered(store: Path, name: str, given: float | None, *, keep: bool) -> float | None:
    """What the kennel says once: as given now, and kept where there is a records file."""
    from studcurve.analytics.vocabulary import VOCABULARY

    if given is not None:
        known = VOCABULARY[name]
        if not known.low <= given <= known.high:
            raise typer.BadParameter(
                f"{known.label} lies between {known.low:g} and {known.high:g} {known.unit}; got "
                f"{given:g}."
            )
    if not store.exists() or (given is not None and not keep):
        return given
    from studcurve.pipelines.records.database.store import Store

    with Store.open(store, read_only=True) as opened:
        kept = opened.settings().get(name)
    if given is None or given == kept:
        return kept
    with Store.open(store) as opened:
        opened.settings({name: given})
    return given
