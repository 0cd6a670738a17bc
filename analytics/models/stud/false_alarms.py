r"""How sure must a fall be in this kennel, so that false announcements stay rare?

A kennel asks of every stud and every measure after each collection, so that errors add up: what is
one in a hundred of a stud and a year is one in seven of fifteen. The rule therefore asks for more
sureness the more studs and measures a kennel follows: the least of :data:`CERTAINTIES` at which at
most :data:`MOST_FALSE_PROB` of kennel-years hold a false announcement (its definition stands in
``analytics/models/stud/announcement.py``).

The share is counted over drawn kennel-years, through the rule itself: each stud keeps his days,
his pause and his spreads, his slow level drifts as the fit says, none falls abruptly, and studs of
one measure share a draw of the spreads. No product of independent rates is taken. What the drawing
does not know stands in ``analytics/models/stud/looks.py``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.moments import DAYS_PER_YEAR
from studcurve.analytics.models.stud.announcement import REACH_PROB
from studcurve.analytics.models.stud.inputs import days_of
from studcurve.analytics.models.stud.looks import Followed, drifting_studs, rhythm_of
from studcurve.analytics.models.stud.model import StudQualityPosterior

MOST_FALSE_PROB = 0.05
"""Share of kennel-years with a false announcement that is accepted (rule of this toolkit)."""

CERTAINTIES = (0.95, 0.96, 0.97, 0.98, 0.985, 0.99, 0.995, 0.998, 0.999)
"""Sureness of a fall that a kennel may ask for; of 1,000 kept draws no more can be told."""

FOLLOWED_DAYS = DAYS_PER_YEAR
"""A stud who was not collected for so long before the kennel's last collection is no longer
followed: nobody looks at him again. [d] (J)"""

N_EACH = 500
"""Drawn kennel-years of each draw of the spreads, 4,000 in all: the error of 5 % is 0.3 points."""


@dataclass(frozen=True, slots=True)
class KennelRule:
    """How sure this kennel asks a fall to be, and how often it then errs.

    Attributes
    ----------
    sure_prob
        Least probability of a fall of the stated size at which one is announced.
    false_prob
        Share of kennel-years with at least one false announcement.
    n_studs, n_measures
        Studs that are followed, and measures of which the rule can speak.
    """

    sure_prob: float
    false_prob: float
    n_studs: int
    n_measures: int


def kennel_rule(
    posteriors: Sequence[StudQualityPosterior],
    rng: np.random.Generator,
    *,
    n_each: int = N_EACH,
) -> KennelRule:
    """Find how sure a fall must be in a kennel.

    Parameters
    ----------
    posteriors
        Of every measure that the kennel follows.
    rng
        Source of the drawn kennel-years.
    n_each
        Kennel-years of each draw of the spreads.
    """
    worst: list[Floats] = []
    studs: set[str] = set()
    measures: set[str] = set()
    for posterior in posteriors:
        for stud in followed_studs(posterior):
            rhythm = rhythm_of(posterior, stud)
            if rhythm is None:
                continue
            drawn = drifting_studs(rhythm, rhythm.n_year, rng, n_each=n_each)
            worst.append(surest_error(drawn.after()))
            studs.add(stud)
            measures.add(posterior.data.measure.name)
    if not worst:
        return KennelRule(CERTAINTIES[0], 0.0, 0, 0)
    sure_prob, false_prob = least_certainty(np.max(worst, axis=0))
    return KennelRule(sure_prob, false_prob, len(studs), len(measures))


def followed_studs(posterior: StudQualityPosterior) -> tuple[str, ...]:
    """Studs that were collected within a year before the last collection of this measure."""
    data = posterior.data
    days = days_of(data.on)
    last = {stud: days[data.rows_of(stud)].max() for stud in data.studs}
    return tuple(stud for stud in data.studs if days.max() - last[stud] <= FOLLOWED_DAYS)


def surest_error(followed: Followed) -> Floats:
    """How sure the rule is where it errs, of each drawn stud over all looks; 0 where it never does.

    An announcement at a look is false when the true change lies above the stated one.
    """
    is_false = (followed.change > followed.stated) & (followed.reach_prob >= REACH_PROB)
    return np.asarray(np.where(is_false, followed.fall_prob, 0.0).max(axis=1))


def least_certainty(surest: Floats) -> tuple[float, float]:
    """The least sureness to ask for, and the share of drawn kennel-years that err at it.

    Parameters
    ----------
    surest
        How sure the rule is where it errs, of each kennel-year.

    Returns
    -------
    tuple
        Where no sureness keeps the share, the highest with the share that it leaves.
    """
    shares = [(sure, float((surest >= sure).mean())) for sure in CERTAINTIES]
    return next((pair for pair in shares if pair[1] <= MOST_FALSE_PROB), shares[-1])
