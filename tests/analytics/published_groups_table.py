r"""Does the chain, before any record, give back the groups it was made from?

Each row is a published group of breedings with the setting in which it was bred, as far as the
paper (or its abstract) says; what it does not say is filled with what is usual and said so. The
prior-predictive share is the mean chance over draws of the published table, with partners not seen
before. It is held against the group's own exact 95 % interval, widened on the logit scale by

.. math:: 1.96 \sqrt{k\, b^2 + s^2}

for the selection of its bitches: :math:`b` = 0.3 for each of the :math:`k` contrasts of semen type
and route that the group carries (prior c22), :math:`s` = 0.3 for one kennel, clinic or laboratory
(prior c21), 0 for a registry. Both are judgment, stated before any comparison.

Surgical groups are read as history and are never offered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import expit, logit
from tests.analytics.archetypes import Archetype, pregnant_logit

from studcurve.analytics.estimate import Floats
from studcurve.analytics.measures.counting import exact_interval
from studcurve.analytics.models.conception.chance import litter_prob, new_partner_spread
from studcurve.analytics.models.conception.model import PUBLISHED
from studcurve.analytics.priors import PRIORS

Endpoint = Literal["pregnant", "whelped"]

STUDY_INTERVAL_PROB = 0.95
Z_STUDY = 1.96


@dataclass(frozen=True, slots=True)
class PublishedGroup:
    """One published group and the setting in which it was bred.

    Attributes
    ----------
    name
        The group in a few words.
    source
        Author, year, journal.
    n_pregnant, n_bred
        Counts of the endpoint.
    endpoint
        Pregnant at a scan, or whelped.
    setting
        What the chain is asked.
    is_registry
        Many kennels; else one kennel, clinic or laboratory.
    supposed
        What the source did not say and was filled in; empty when nothing.
    """

    name: str
    source: str
    n_pregnant: int
    n_bred: int
    endpoint: Endpoint
    setting: Archetype
    is_registry: bool = False
    supposed: str = ""


@dataclass(frozen=True, slots=True)
class GroupCheck:
    """One group beside what the table predicts of it; all in 0 to 1.

    Attributes
    ----------
    group
        The group.
    seen, lower, upper
        Published share with its exact 95 % interval.
    widened_lower, widened_upper
        The interval after selection.
    predicted
        Prior-predictive share.
    """

    group: PublishedGroup
    seen: float
    lower: float
    upper: float
    widened_lower: float
    widened_upper: float
    predicted: float

    @property
    def is_inside(self) -> bool:
        """Whether the prediction lies in the widened interval."""
        return self.widened_lower <= self.predicted <= self.widened_upper

    @property
    def is_inside_unwidened(self) -> bool:
        """Whether it lies in the study's own interval."""
        return self.lower <= self.predicted <= self.upper


_LF89 = "Linde-Forsberg & Forsberg 1989, J Reprod Fertil Suppl 39:299-310"
_LF93 = "Linde-Forsberg & Forsberg 1993, J Reprod Fertil Suppl 47:313-323"
_LF99 = "Linde-Forsberg, Ström Holst & Govette 1999, Theriogenology 52:11-23"
_THOMASSEN = "Thomassen et al. 2006, Theriogenology 66:1645-1650"
_HOLLINSHEAD = "Hollinshead & Hanlon 2017, Theriogenology 101:62-72"
_COCHRAN = "Cochran et al. 2023, Top Companion Anim Med"
_MASON = "Mason & Rous 2014, Theriogenology 82:844-850"
_BURGESS = "Burgess, Mitchell & Thomas 2012, Aust Vet J 90:283-290"
_SILVA = "Silva et al. 1996, Vet Rec 138:154-157"
_TUBITAK = "Turk J Vet Anim Sci, frozen transcervical against vaginal"
_TSUTSUI_2000 = "Tsutsui et al. 2000, J Vet Med Sci"
_TSUTSUI_2009 = "Tsutsui 2009, Reprod Domest Anim 44 (group sizes from the printed percentages)"
_NOTHLING = "Nöthling et al. 1995, J S Afr Vet Assoc 66:49-55"
_VERSTEGEN = "Verstegen et al. 2005, Theriogenology 64:720-733"
_HAAFTEN = "van Haaften et al. 1989, Vet Rec 125:524-526"
_GAVRILOVIC = "Gavrilovic, Andersson & Linde Forsberg 2008, Theriogenology 70:783-794"
_FRANCE = "French breeders' heats 2010-14, Reprod Domest Anim 52(S2):158-162, 2017"

_NATURAL = Archetype("natural", "natural", (0.0, 2.0))
_FRESH_VAGINAL = Archetype("fresh", "vaginal", (1.0, 3.0), 200.0)
_FRESH_DEEP = Archetype("fresh", "transcervical", (2.0, 4.0), 200.0)
_CHILLED_DEEP = Archetype("chilled", "transcervical", (2.0,), 100.0)
_FROZEN_ONCE = Archetype("frozen", "transcervical", (3.0,), 100.0)
_FROZEN_TWICE = Archetype("frozen", "transcervical", (2.0, 3.0), 100.0)
_FROZEN_VAGINAL = Archetype("frozen", "vaginal", (2.0, 3.0), 200.0)
_SURGICAL = Archetype("frozen", "surgical", (3.0,), 100.0)
_DOSE_AND_DAYS = "dose and days"

PUBLISHED_GROUPS: tuple[PublishedGroup, ...] = (
    PublishedGroup("all matings, one kennel", _GAVRILOVIC, 224, 285, "whelped", _NATURAL, False,
                   "days"),
    PublishedGroup("all heats, pregnant", _FRANCE, 40312, 45913, "pregnant", _NATURAL, True,
                   "days; 11.5 % were not by own stud"),
    PublishedGroup("all heats, whelped", _FRANCE, 37603, 45913, "whelped", _NATURAL, True,
                   "days; 11.5 % were not by own stud"),
    PublishedGroup("natural, timed, normal history", _HAAFTEN, 105, 112, "pregnant", _NATURAL),
    PublishedGroup("natural, timed, reduced fertility", _HAAFTEN, 81, 104, "pregnant",
                   Archetype("natural", "natural", (0.0, 2.0), missed_before=True)),
    PublishedGroup("mated once", _HAAFTEN, 102, 121, "pregnant",
                   Archetype("natural", "natural", (1.0,)), False, "half with a history"),
    PublishedGroup("mated more than once", _HAAFTEN, 84, 95, "pregnant", _NATURAL, False,
                   "half with a history"),
    PublishedGroup("insemination and mating", _LF93, 39, 44, "pregnant", _NATURAL, False,
                   "read as natural; days"),
    PublishedGroup("fresh vaginal 1989", _LF89, 266, 405, "pregnant", _FRESH_VAGINAL, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("fresh vaginal 1993", _LF93, 256, 468, "pregnant", _FRESH_VAGINAL, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("fresh transcervical", _HOLLINSHEAD, 434, 543, "whelped", _FRESH_DEEP, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("fresh transcervical", _COCHRAN, 114, 137, "pregnant", _FRESH_DEEP, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("fresh, both routes, days 1 and 3", _SILVA, 10, 10, "pregnant",
                   Archetype("fresh", "transcervical", (1.0, 3.0), 200.0), False, "dose"),
    PublishedGroup("fresh intrauterine, day 6", _TSUTSUI_2009, 5, 5, "pregnant",
                   Archetype("fresh", "surgical", (6.0,), 100.0), False, "dose"),
    PublishedGroup("fresh intrauterine, day 7", _TSUTSUI_2009, 5, 7, "pregnant",
                   Archetype("fresh", "surgical", (7.0,), 100.0), False, "dose"),
    PublishedGroup("fresh intrauterine, day 8", _TSUTSUI_2009, 3, 8, "pregnant",
                   Archetype("fresh", "surgical", (8.0,), 100.0), False, "dose"),
    PublishedGroup("fresh intrauterine, day 9", _TSUTSUI_2009, 0, 5, "pregnant",
                   Archetype("fresh", "surgical", (9.0,), 100.0), False, "dose"),
    PublishedGroup("chilled transcervical", _COCHRAN, 45, 67, "pregnant", _CHILLED_DEEP, False,
                   "dose, days, 24 h"),
    PublishedGroup("chilled vaginal, 9 days old, once", _VERSTEGEN, 5, 10, "pregnant",
                   Archetype("chilled", "vaginal", (2.0,), 200.0, storage_days=9.0), False,
                   "dose, day; beyond 72 h no claim is made"),
    PublishedGroup("chilled vaginal, 9 days old, twice", _VERSTEGEN, 7, 10, "pregnant",
                   Archetype("chilled", "vaginal", (2.0, 4.0), 200.0, storage_days=9.0), False,
                   "dose, days; beyond 72 h no claim is made"),
    PublishedGroup("frozen transcervical 1989", _LF89, 27, 65, "pregnant", _FROZEN_ONCE, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("frozen transcervical 1993", _LF93, 23, 59, "pregnant", _FROZEN_ONCE, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("frozen transcervical by catheter", _LF99, 141, 167, "whelped", _FROZEN_TWICE,
                   False, _DOSE_AND_DAYS),
    PublishedGroup("frozen transcervical by endoscope", _LF99, 11, 19, "whelped", _FROZEN_TWICE,
                   False, _DOSE_AND_DAYS),
    PublishedGroup("frozen intrauterine, all", _THOMASSEN, 499, 665, "whelped", _FROZEN_TWICE,
                   False, "dose; once or twice"),
    PublishedGroup("frozen, twice", _THOMASSEN, 300, 384, "whelped", _FROZEN_TWICE, False, "dose"),
    PublishedGroup("frozen, once", _THOMASSEN, 170, 241, "whelped", _FROZEN_ONCE, False,
                   "dose; 73 of 241 not at the best time"),
    PublishedGroup("frozen, twice, best time", _THOMASSEN, 284, 358, "whelped", _FROZEN_TWICE,
                   False, "dose"),
    PublishedGroup("frozen, once, best time", _THOMASSEN, 129, 168, "whelped", _FROZEN_ONCE, False,
                   "dose"),
    PublishedGroup("frozen transcervical", _HOLLINSHEAD, 458, 645, "whelped", _FROZEN_TWICE, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("frozen transcervical", _COCHRAN, 42, 63, "pregnant", _FROZEN_ONCE, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("frozen by endoscope", _MASON, 51, 78, "pregnant", _FROZEN_ONCE, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("frozen by endoscope, above 100 M", _MASON, 38, 49, "pregnant",
                   Archetype("frozen", "transcervical", (3.0,), 150.0), False, "day"),
    PublishedGroup("frozen, both routes, days 1 and 3", _SILVA, 12, 20, "pregnant",
                   Archetype("frozen", "transcervical", (1.0, 3.0), 100.0), False, "dose"),
    PublishedGroup("frozen transcervical", _TUBITAK, 9, 15, "pregnant", _FROZEN_ONCE, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("frozen vaginal", _LF99, 83, 141, "whelped", _FROZEN_VAGINAL, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("frozen vaginal", _THOMASSEN, 2, 20, "whelped",
                   Archetype("frozen", "vaginal", (3.0,), 100.0), False, _DOSE_AND_DAYS),
    PublishedGroup("frozen vaginal", _TUBITAK, 4, 15, "pregnant",
                   Archetype("frozen", "vaginal", (3.0,), 100.0), False, _DOSE_AND_DAYS),
    PublishedGroup("frozen vaginal, prostatic fluid", _NOTHLING, 29, 30, "pregnant",
                   _FROZEN_VAGINAL, False, _DOSE_AND_DAYS),
    PublishedGroup("frozen vaginal, without", _NOTHLING, 6, 10, "pregnant", _FROZEN_VAGINAL, False,
                   _DOSE_AND_DAYS),
    PublishedGroup("frozen vaginal, 2,000 M", _TSUTSUI_2000, 2, 3, "pregnant",
                   Archetype("frozen", "vaginal", (3.0,), 1000.0), False, "half of it motile; day"),
    PublishedGroup("frozen vaginal, 1,000 or 4,000 M", _TSUTSUI_2000, 0, 6, "pregnant",
                   Archetype("frozen", "vaginal", (3.0,), 1000.0), False, "half of it motile; day"),
    PublishedGroup("frozen surgical", _MASON, 18, 40, "pregnant", _SURGICAL, False, _DOSE_AND_DAYS),
    PublishedGroup("frozen surgical, one horn", _TSUTSUI_2000, 9, 10, "pregnant",
                   Archetype("frozen", "surgical", (3.0,), 50.0), False, "half of it motile; day"),
    PublishedGroup("surgical, semen mixed", _BURGESS, 174, 238, "whelped", _SURGICAL, False,
                   "read as frozen; dose and day"),
)  # fmt: skip
"""Every published group whose counts were seen; groups printed without counts have no interval."""


@dataclass(frozen=True, slots=True)
class PublishedShare:
    """A published share whose counts were not printed, and the setting in which it was bred.

    Attributes
    ----------
    name, source, setting
        As of :class:`PublishedGroup`.
    share
        Whelped, 0 to 1.
    """

    name: str
    source: str
    share: float
    setting: Archetype


MOTILITY_CLASSES: tuple[PublishedShare, ...] = (
    # Dose and motility of one sample: the usual dose stands at its semen type's usual motility.
    PublishedShare("below 30 % progressive", _HOLLINSHEAD, 0.37,
                   Archetype("frozen", "transcervical", (2.0, 3.0), 100.0 * 20.0 / 45.0,
                             motility_pct=20.0)),
    PublishedShare("30 to 65 % progressive", _HOLLINSHEAD, 0.67,
                   Archetype("frozen", "transcervical", (2.0, 3.0), 100.0 * 47.5 / 45.0,
                             motility_pct=47.5)),
    PublishedShare("above 65 % progressive", _HOLLINSHEAD, 0.79,
                   Archetype("fresh", "transcervical", (2.0, 4.0), 100.0 * 80.0 / 65.0,
                             motility_pct=80.0)),
)  # fmt: skip
"""1,203 transcervical inseminations of one clinic by class of progressive motility, read at class
middles (supposed: the weakest class frozen, the best one fresh; dose and days)."""


def predicted_share(
    setting: Archetype, *, rng: np.random.Generator, n_draws: int = 4000
) -> float:  # fmt: skip
    """Prior-predictive chance of a litter of a breeding of partners not seen before."""
    draws = PUBLISHED.draw(rng, n_draws)
    spread = new_partner_spread(draws)
    return float(litter_prob(draws, pregnant_logit(draws, setting), spread=spread).mean())


def check_groups(
    groups: Sequence[PublishedGroup] = PUBLISHED_GROUPS, *, rng: np.random.Generator,
    n_draws: int = 4000,
) -> tuple[GroupCheck, ...]:  # fmt: skip
    """Hold every group against what the table predicts of it, before any record.

    Parameters
    ----------
    groups
        Published groups.
    rng
        Source of the draws, shared by all groups.
    n_draws
        Draws of the published table.
    """
    draws = PUBLISHED.draw(rng, n_draws)
    # A chance of one of whelping turns the chance of a litter into that of a pregnancy.
    to_the_scan = {**draws, "c02": np.full(n_draws, np.inf)}
    spread = new_partner_spread(draws)
    checks = []
    for group in groups:
        until = draws if group.endpoint == "whelped" else to_the_scan
        chance: Floats = litter_prob(until, pregnant_logit(draws, group.setting), spread=spread)
        lower, upper = (float(end) for end in exact_interval(
            group.n_pregnant, group.n_bred, STUDY_INTERVAL_PROB))  # fmt: skip
        half = Z_STUDY * selection_sd(group)
        checks.append(
            GroupCheck(
                group, group.n_pregnant / group.n_bred, lower, upper,
                float(expit(logit(lower) - half)), float(expit(logit(upper) + half)),
                float(chance.mean()),
            )
        )  # fmt: skip
    return tuple(checks)


def selection_sd(group: PublishedGroup) -> float:
    """Standard deviation of a group's selection, by the rule of the module. [logit]"""
    where = 0.0 if group.is_registry else PRIORS["c21_clinic"].sd
    return float(np.sqrt(n_contrasts(group.setting) * PRIORS["c22"].sd ** 2 + where**2))


def n_contrasts(setting: Archetype) -> int:
    """Contrasts of semen type and route that a setting carries."""
    return int(
        (setting.semen_type != "natural")
        + (setting.semen_type in ("chilled", "frozen"))
        + (setting.route in ("transcervical", "surgical"))
        + (setting.route == "surgical")
        + (setting.semen_type == "frozen" and setting.route == "vaginal")
    )
