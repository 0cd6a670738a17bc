r"""When is a fall announced?

The rule, for the change from a stud's own past to now: the fall is announced when

1. a fall of the stated size (10 % of total sperm, 5 points of a share) or more is at least as
   probable as this kennel asks, see ``analytics/models/stud/false_alarms.py``,
2. the middle half of what is plausible reaches the size worth acting on (40 % of total sperm, 15
   points of a share), that is, a fall of that size has a probability of at least a quarter, and
3. the change of dog can be separated from a change of readers.

A *false announcement* is one whose true fall, at that look, is smaller than the stated size. The
rule looks at falls alone; a rise is told with its probability and never announced. A fall of a
share read by eye may be sure long before its size is: 15 points of motility are far out in the
table's prior of movements (q05), and the rule asks for the size too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.analytics.models.stud.level import (
    change_of,
    levels_at,
    own_past,
    past_level,
    readers_separable,
    recent_rows,
    stated_fall,
)
from studcurve.analytics.models.stud.model import StudQualityPosterior

REACH_PROB = 0.25
"""A fall is announced only at this probability of one worth acting on (rule of this toolkit)."""


@dataclass(frozen=True, slots=True)
class Announcement:
    """Whether a fall is announced, and why or why not.

    Attributes
    ----------
    announced
        All three conditions hold.
    fall_prob
        Probability of a fall of at least the stated size against his own past; NaN where he has
        too few collections.
    reach_prob
        Probability of a fall of the size worth acting on.
    is_separable
        Whether the change of dog can be separated from a change of readers.
    enough
        Whether there are enough collections to speak of a change at all.
    """

    announced: bool
    fall_prob: float
    reach_prob: float
    is_separable: bool
    enough: bool


def announce(posterior: StudQualityPosterior, stud: str, sure_prob: float) -> Announcement:
    """Ask the rule of one measure of one stud.

    Parameters
    ----------
    posterior
        Fitted, of one measure.
    stud
        Call name.
    sure_prob
        How sure this kennel asks a fall of the stated size to be.
    """
    data = posterior.data
    rows = data.rows_of(stud)
    past = own_past(data.on[rows])
    if past.size == 0:
        return Announcement(False, float("nan"), float("nan"), True, False)
    now = levels_at(posterior, stud, data.on[rows][-1:])[:, 0]
    moved = change_of(data.measure, past_level(posterior, stud), now)
    fall = float((moved <= -stated_fall(data.measure)).mean())
    reach = float((moved <= data.measure.act_on).mean())
    apart = readers_separable(data, rows[past], recent_rows(data, rows))
    return Announcement(bool(rule(fall, reach, sure_prob)) and apart, fall, reach, apart, True)


def rule(fall_prob: Floats | float, reach_prob: Floats | float, sure_prob: float) -> np.ndarray:
    """The first two conditions, element-wise."""
    return np.asarray((np.asarray(fall_prob) >= sure_prob) & (np.asarray(reach_prob) >= REACH_PROB))
