"""From the fit's record and the views to what is shown of how far the models can be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.cautions import RECENT_DAYS
from studcurve.analytics.models.conception.bred import without_stopped
from studcurve.analytics.trust import forgotten
from studcurve.analytics.trust.checking import LeftOut
from studcurve.analytics.trust.forgotten import Forgotten
from studcurve.analytics.trust.prior_width import PriorWidths, from_plain
from studcurve.analytics.trust.residuals import ResidualCheck
from studcurve.analytics.wording import checks
from studcurve.analytics.wording.checks import Checks, residuals_left_out, second_opinions
from studcurve.pipelines.fits.heats import dated_heats
from studcurve.pipelines.pages.kennel import Kennel


def kennel_checks(kennel: Kennel) -> Checks:
    """The checks of the models over all breedings of which neither dog is stopped."""
    chain, litter = kennel.conception, kennel.litter
    return checks.kennel_checks(
        chain.posterior,
        kennel.stopped,
        is_fitted=chain.kept is not None,
        predicted=predicted_left_out(kennel),
        residuals=residuals_of(kennel),
        widths=prior_widths(kennel),
        lost=forgotten_results(kennel),
        litters=kennel.litters,
        opinions=second_opinions(
            open_breedings(kennel),
            kennel.views["inseminated_semen"],
            dated_heats(kennel.views["cycles"], kennel.views["progesterone"]),
            chain.posterior if chain.kept else None,
            litter.posterior if litter.kept else None,
        ),
    )


def residuals_of(kennel: Kennel) -> tuple[ResidualCheck, ...]:
    """What the outcomes have left on columns; nothing without a fit of today."""
    return residuals_left_out(
        kennel.conception.posterior, kennel.stopped, predicted_left_out(kennel)
    )


def open_breedings(kennel: Kennel) -> pd.DataFrame:
    """Rows of the view ``breedings`` of which neither dog is stopped."""
    bred = kennel.views["breedings"]
    shown: pd.DataFrame = bred[without_stopped(kennel.stopped, bred["stud"], bred["bitch"])]
    return shown


def due_breedings(bred: pd.DataFrame, today: date) -> pd.DataFrame:
    """Breedings whose outcome is known or should be."""
    past = (pd.Timestamp(today) - bred["bred_earliest"]).dt.days > RECENT_DAYS
    due: pd.DataFrame = bred[past | bred["whelped"].notna()]
    return due


def prior_widths(kennel: Kennel) -> PriorWidths | None:
    """Answers under other priors, as the fit kept them.

    Once records came since, a stud's chance is one over other breedings than the fit has seen: it
    waits for the next fit.
    """
    kept = kennel.conception.kept
    read = None if kept is None else kept.checks.get("prior_widths")
    if read is None:
        return None
    widths = from_plain(read)
    return widths if kennel.conception.is_of_today else replace(widths, studs={})


def forgotten_results(kennel: Kennel) -> Forgotten | None:
    """What hangs on results that were never reported; None when records came since."""
    read = _check_of_today(kennel, "forgotten")
    return None if read is None else forgotten.from_plain(read)


def predicted_left_out(kennel: Kennel) -> LeftOut | None:
    """What the fit predicted with each bitch left out; None when records came since."""
    read = _check_of_today(kennel, "left_out")
    if read is None:
        return None
    return LeftOut(
        {way: np.array(prob) for way, prob in read["ways"].items()}, np.array(read["pareto_k"])
    )


def _check_of_today(kennel: Kennel, name: str) -> Mapping[str, Any] | None:
    """What the fit kept of one check; None where it kept nothing, or when records came since."""
    kept = kennel.conception.kept
    if kept is None or not kennel.conception.is_of_today:
        return None
    return kept.checks.get(name) or None
