"""What is due, read from a records file; the rules are in :mod:`studcurve.analytics.due`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path

import pandas as pd

from studcurve.analytics.cautions import Caution
from studcurve.analytics.due.items import AHEAD_DAYS, DueItem, due_items, first_of
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.dog_history import CAUTION_VIEWS, kennel_records

DUE_VIEWS = (
    *CAUTION_VIEWS, "dog_use", "shipments_seen", "frozen_lots", "inseminations", "shipments",
    "open_heats", "progesterone", "cycles", "last_tests", "straws_left",
)  # fmt: skip
"""Views that this is computed from."""


def read_due(store_path: Path, *, today: date, ahead_days: int = AHEAD_DAYS) -> tuple[DueItem, ...]:
    """Read what is due from a records file; see :func:`studcurve.analytics.due.items.due_items`."""
    with Store.open(store_path, read_only=True) as store:
        store.refuse_empty()
        views = {view: store.read(view) for view in DUE_VIEWS}
    return due_of(views, today=today, ahead_days=ahead_days)


def due_of(
    views: Mapping[str, pd.DataFrame], *, today: date, ahead_days: int = AHEAD_DAYS
) -> tuple[DueItem, ...]:
    """What is due by the views of :data:`DUE_VIEWS`."""
    return due_items(views, kennel_records(views), today=today, ahead_days=ahead_days)


def alarms_of(views: Mapping[str, pd.DataFrame], today: date) -> tuple[Caution, ...]:
    """What must be said before anything else of the kennel, by the same views."""
    return first_of(views, kennel_records(views), today)
