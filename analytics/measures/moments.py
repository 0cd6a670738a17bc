"""When was a recorded moment, known to lie between two?"""

from __future__ import annotations

import pandas as pd

DAYS_PER_YEAR = 365.25
"""Of the calendar, on average. [d]"""


def middle_of(rows: pd.DataFrame, moment: str) -> pd.Series:
    """Middle of a recorded moment, from its columns ``<moment>_earliest`` and ``_latest``."""
    earliest = pd.to_datetime(rows[f"{moment}_earliest"])
    return earliest + (pd.to_datetime(rows[f"{moment}_latest"]) - earliest) / 2
