"""What must be said before any number: fixed rules from the records, each with its source.

The rules read the records alone, never a model. Their sentences head every answer. A rule of
severity ``stop`` names the answers it suppresses; those numbers then appear nowhere, whichever way
the question is asked. A caution is a reason to call a veterinarian, never a diagnosis, and a stop
ends by a rule that says so: an examination, a veterinarian's release, a test, never a blank.

Read in this order: ``tables`` and ``words`` (what a Health line says), ``records`` (what a rule
reads and answers), ``brucella``, ``lifting`` (what ends a stop), ``samples``, ``illness``,
``breeding`` (the rules), ``kennel`` (every dog of a kennel, and who was exposed).
"""

from __future__ import annotations

from datetime import date

from studcurve.analytics.cautions.breeding import (
    bitch_age,
    cesareans,
    litter_recent,
    outcome_unknown,
    successive_failures,
)
from studcurve.analytics.cautions.brucella import brucella_cautions
from studcurve.analytics.cautions.illness import (
    RECENT_DAYS,
    drugs,
    illness_cautions,
    other_tests,
    unread_events,
)
from studcurve.analytics.cautions.kennel import KennelRecords
from studcurve.analytics.cautions.records import (
    BRUCELLA_RETEST_DAYS,
    Answer,
    Caution,
    DogRecords,
    Severity,
    in_order,
    stopped_answers,
)
from studcurve.analytics.cautions.samples import (
    discolored_sample,
    falling,
    far_below,
    no_sperm_seen,
)

__all__ = [
    "BRUCELLA_RETEST_DAYS",
    "RECENT_DAYS",
    "Answer",
    "Caution",
    "DogRecords",
    "KennelRecords",
    "Severity",
    "bitch_age",
    "cautions_for_dog",
    "cautions_of_dog",
    "in_order",
    "stopped_answers",
]


def cautions_of_dog(records: KennelRecords, dog: str, today: date) -> tuple[Caution, ...]:
    """Every rule for one dog of a kennel; asked once of a dog and day."""
    if (dog, today) not in records.cautions:
        records.cautions[dog, today] = cautions_for_dog(records.of(dog, today), today)
    return records.cautions[dog, today]


def cautions_for_dog(records: DogRecords, today: date) -> tuple[Caution, ...]:
    """Evaluate every rule for one dog, the most severe first.

    Parameters
    ----------
    records
        The dog's rows.
    today
        The day the question is asked; nothing later in the records is read.

    Returns
    -------
    tuple of Caution
        Stops, then warnings, then what must be said; in each the order of the rules.
    """
    cautions = [
        *brucella_cautions(records, today),
        *no_sperm_seen(records, today),
        *discolored_sample(records, today),
        *other_tests(records, today),
        *illness_cautions(records, today),
        *drugs(records, today),
        *unread_events(records, today),
        *far_below(records, today),
        *successive_failures(records, today),
        *bitch_age(records, today),
        *cesareans(records, today),
        *litter_recent(records, today),
    ]
    stopped = stopped_answers(cautions)
    # Under a stop nothing is said of a level or of where it goes.
    if "forecast" not in stopped:
        cautions += falling(records, today)
    cautions += outcome_unknown(records, today, with_shares="conception" not in stopped)
    return tuple(in_order(cautions))
