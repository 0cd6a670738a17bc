"""Every dog of a kennel as the rules read them, and who was exposed to whom."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import pandas as pd

from studcurve.analytics.cautions.brucella import exposures_by_dog
from studcurve.analytics.cautions.records import (
    BRUCELLA_RETEST_DAYS,
    Caution,
    Contact,
    DogRecords,
    Exposure,
    HealthLine,
    Sample,
    contacts_by_dog,
    health_lines,
    samples_by_stud,
)
from studcurve.analytics.cautions.words import names_brucella


@dataclass(frozen=True, slots=True)
class KennelRecords:
    """The records of every dog that the rules read.

    Attributes
    ----------
    rows
        Rows of the view ``dogs``, by call name.
    evaluations, breedings
        By dog: rows of a stud's samples, and of the breedings of either partner.
    samples
        Attempts at a collection by stud.
    health
        Health lines by dog.
    contacts
        Matings and inseminations by dog.
    brucella_interval_days
        How often this kennel repeats the test. [d]
    exposures, cautions
        Worked out once a day that is asked about; cautions by dog and day.
    """

    rows: Mapping[str, Mapping[Any, Any]]
    evaluations: Mapping[str, pd.DataFrame]
    breedings: pd.DataFrame
    no_evaluation: pd.DataFrame
    samples: Mapping[str, tuple[Sample, ...]]
    health: Mapping[str, tuple[HealthLine, ...]]
    contacts: Mapping[str, tuple[Contact, ...]]
    brucella_interval_days: int
    exposures: dict[date, dict[str, tuple[Exposure, ...]]] = field(default_factory=dict)
    cautions: dict[tuple[str, date], tuple[Caution, ...]] = field(default_factory=dict)

    @classmethod
    def of_views(cls, views: Mapping[str, pd.DataFrame]) -> KennelRecords:
        """Read the views of :data:`studcurve.pipelines.records.dog_history.CAUTION_VIEWS`.

        What was seen of a dog is read at once, doubtful lines too; what its breedings came to, and
        what pages show of its samples, without them.
        """
        own = [
            int(row["repeat_days"])
            for row in views["intervals"].to_dict("records")
            if names_brucella(str(row["what"]))
        ]
        evaluations = views["evaluations"]
        rows: dict[str, Mapping[Any, Any]] = {}
        for row in views["dogs"].to_dict("records"):
            rows[str(row["call_name"])] = row
        return cls(
            rows=rows,
            evaluations={str(stud): own for stud, own in evaluations.groupby("stud")},
            breedings=views["breedings"],
            no_evaluation=evaluations.head(0),
            samples=samples_by_stud(views["evaluations_seen"]),
            health=health_lines(views["health_lines"]),
            contacts=contacts_by_dog(views["breedings_seen"], views["inseminations_seen"]),
            brucella_interval_days=min(own, default=BRUCELLA_RETEST_DAYS),
        )

    def of(self, dog: str, today: date) -> DogRecords:
        """The records of one dog, with its contacts up to a day."""
        bred = self.breedings
        contacts = self.contacts.get(dog, ())
        return DogRecords(
            dog=dog,
            evaluations=self.evaluations.get(dog, self.no_evaluation),
            breedings=bred[(bred["stud"] == dog) | (bred["bitch"] == dog)],
            samples=self.samples.get(dog, ()),
            health=self.health.get(dog, ()),
            row=self.rows.get(dog),
            contacts=contacts,
            partners={
                contact.partner: self.health.get(contact.partner, ()) for contact in contacts
            },
            exposures=self.exposed(today).get(dog, ()),
            brucella_interval_days=self.brucella_interval_days,
        )

    def exposed(self, today: date) -> dict[str, tuple[Exposure, ...]]:
        """Who met a dog whose *Brucella* test is not negative, by dog; up to a day."""
        if today not in self.exposures:
            females = frozenset(dog for dog, row in self.rows.items() if row["sex"] == "female")
            self.exposures[today] = exposures_by_dog(self.health, self.contacts, females, today)
        return self.exposures[today]
