"""*Brucella canis*: whose test is not negative, who is due, who met whom.

Anything that is not plainly negative stops, and no later negative lifts it: confirmation and
release are a veterinarian's, and in many places the law's. A line of the kind "release by
veterinarian" that names who and on which tests ends the stop for samples taken up to its day.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from studcurve.analytics.cautions import words
from studcurve.analytics.cautions.records import (
    EVERY_ANSWER,
    NEXT_ANSWERS,
    Answer,
    Caution,
    Contact,
    DogRecords,
    Exposure,
    HealthLine,
)
from studcurve.analytics.sentences import Sentence, Value, sentence

SECOND_TEST_DAYS = (28, 56)
"""After the last contact laboratories and authorities ask for a second test within these days. [d]

Agglutination turns positive 1 to 4 weeks after exposure and is most sensitive after a month:
University of Guelph Animal Health Laboratory, LabNote 61 (P); isolation of 8 weeks before the test:
a state authority's advice to kennels (P)."""

SEROCONVERSION_DAYS = 84
"""Contacts count from so long before the last negative sample: antibodies may come late. [d]

12 weeks, from memory (M)."""

SOURCE = "Hollett 2006, Theriogenology 66:575-587; Guelph AHL LabNote 61 (P)"


@dataclass(frozen=True, slots=True)
class BrucellaStatus:
    """What the lines of one dog say of *Brucella*.

    Attributes
    ----------
    alarm
        The newest sample that is not negative and that nobody has released; None without one.
    missing
        The newest test whose result has not come, where no later one is negative.
    screened_on
        Day of the newest negative screening; None without one.
    last_screening
        That line.
    not_screening
        The newest negative that is no screening, where nothing better is recorded.
    since
        Contacts from this day on may have passed it on; None when no sample before the alarm was
        negative, and then every contact counts. Only where there is an alarm.
    """

    alarm: HealthLine | None = None
    missing: HealthLine | None = None
    last_screening: HealthLine | None = None
    not_screening: HealthLine | None = None
    since: date | None = None

    @property
    def screened_on(self) -> date | None:
        """Day of the newest negative screening; None without one."""
        return None if self.last_screening is None else self.last_screening.on


def is_brucella(line: HealthLine) -> bool:
    """Whether a line is about *Brucella*, whatever kind it was entered as."""
    if line.kind == "release by veterinarian":
        return False
    if line.kind == "laboratory test" and words.test_of(line.what) == "brucella":
        return True
    # An abbreviation alone means the test only among laboratory lines.
    return words.names_brucella(line.what) or words.names_brucella(line.result)


def result_of_line(line: HealthLine) -> words.Result:
    """What a line about *Brucella* says; the name may carry the result ("Brucella positive")."""
    result = words.result_of(line.result, line.value)
    if result != "missing":
        return result
    named = _beside_the_name(line.what)
    return result if not named else words.result_of(named)


def _beside_the_name(what: str) -> str:
    """What stands beside the name of the test, when it is a result."""
    if words.is_plainly_negative(what):
        return "negative"
    return "positive" if words.says_positive(what) else ""


def releases(lines: Iterable[HealthLine], today: date) -> tuple[HealthLine, ...]:
    """Releases from *Brucella* that name a veterinarian and the tests they rest on."""
    return tuple(
        line
        for line in lines
        if line.kind == "release by veterinarian"
        and line.on <= today
        and not line.is_doubtful
        and words.names_brucella(line.what)
        and line.veterinarian.strip()
        and line.result.strip()
    )


def status_of(lines: Iterable[HealthLine], today: date) -> BrucellaStatus:
    """Read a dog's lines up to a day.

    Parameters
    ----------
    lines
        All lines of the dog, of whichever kind.
    today
        Nothing later is read.
    """
    known = [line for line in lines if line.on <= today]
    tests = [line for line in known if is_brucella(line)]
    released_on = max((line.on for line in releases(known, today)), default=date.min)
    read = [(line, result_of_line(line)) for line in tests]
    # A release speaks of the samples it was given with, those of its own day among them.
    alarms = [line for line, result in read if result == "not negative" and line.on > released_on]
    negatives = [
        line
        for line, result in read
        if result == "negative" and not (line.is_superseded or line.is_doubtful)
    ]
    screenings = [line for line in negatives if is_screening(line, known)]
    missing = [
        line
        for line, result in read
        if result == "missing"
        and not line.is_superseded
        and line.on > released_on
        and not any(negative.on >= line.on for negative in negatives)
    ]
    since = None
    if alarms:
        before = [line.on for line in screenings if line.on < alarms[0].on]
        since = max(before) - timedelta(days=SEROCONVERSION_DAYS) if before else None
    return BrucellaStatus(
        alarm=alarms[-1] if alarms else None,
        missing=missing[-1] if missing else None,
        last_screening=screenings[-1] if screenings else None,
        not_screening=negatives[-1] if negatives and not screenings else None,
        since=since,
    )


def is_screening(line: HealthLine, lines: Iterable[HealthLine]) -> bool:
    """Whether a negative says that a dog was screened: no PCR or culture alone, no antibiotic then.

    The germ is shed at times only, and antibiotics lower what agglutinates: Hollett 2006 (P), the
    second from memory (M).
    """
    if words.is_direct_test(f"{line.what} {line.result}"):
        return False
    return not any(
        other.kind == "event" and takes_antibiotic(other) and other.is_open(line.on)
        for other in lines
    )


def takes_antibiotic(event: HealthLine) -> bool:
    """Whether an event is a treatment with an antibiotic."""
    return words.names_antibiotic(f"{event.what} {event.drug_class} {event.result}")


def brucella_cautions(records: DogRecords, today: date) -> list[Caution]:
    """What must be said of one dog, and stopped."""
    status = status_of(records.health, today)
    if status.alarm is not None:
        message = _alarm_sentence(records.dog, status.alarm)
        return [_stop("brucella not negative", message, EVERY_ANSWER)]
    cautions = [*_exposed(records, status, today)]
    if status.missing is not None:
        line = status.missing
        message = sentence(
            "caution.brucella_result_missing", dog=records.dog, what=line.what, on=line.on
        )
        return [_stop("brucella result missing", message, NEXT_ANSWERS), *cautions]
    return [*cautions, *_screening(records, status, today)]


def _stop(rule: str, message: Sentence, stops: frozenset[Answer]) -> Caution:
    return Caution(rule, "stop", message, SOURCE, stops)


def _alarm_sentence(dog: str, line: HealthLine) -> Sentence:
    written = " ".join(part for part in (line.result, line.value) if part.strip())
    key = "caution.brucella_taken_back" if line.is_superseded else "caution.brucella_not_negative"
    return sentence(key, dog=dog, what=line.what, result=written or line.what, on=line.on)


def _screening(records: DogRecords, status: BrucellaStatus, today: date) -> list[Caution]:
    """Never tested, overdue by the kennel's interval, or negative: with who was met since."""
    untested = untested_matings(records, status.screened_on, today)
    key = "brucella_matings_ever" if status.last_screening is None else "brucella_matings"
    since = sentence(f"caution.{key}", n=untested) if untested else ""
    if status.last_screening is None:
        line = status.not_screening
        if line is None:
            message = sentence("caution.brucella_not_recorded", dog=records.dog, matings=since)
            return [Caution("brucella not recorded", "warn", message, SOURCE)]
        message = sentence(
            "caution.brucella_no_screening", dog=records.dog, what=line.what, on=line.on,
            matings=since,
        )  # fmt: skip
        return [Caution("brucella no screening", "warn", message, SOURCE)]
    on, every = status.last_screening.on, records.brucella_interval_days
    age_days = (today - on).days
    if age_days > every:
        message = sentence(
            "caution.brucella_overdue", dog=records.dog, on=on, n_days=age_days, every=every,
            matings=since,
        )  # fmt: skip
        return [Caution("brucella overdue", "warn", message, SOURCE)]
    message = sentence(
        "caution.brucella_negative", dog=records.dog, on=on, matings=since,
        first=SECOND_TEST_DAYS[0] // 7, last=SECOND_TEST_DAYS[1] // 7,
    )  # fmt: skip
    return [Caution("brucella negative", "warn" if untested else "say", message, SOURCE)]


def untested_matings(records: DogRecords, since: date | None, today: date) -> int:
    """Natural matings after a day with partners that had no current screening then."""
    return sum(
        contact.is_natural
        and contact.last_on <= today
        and (since is None or contact.last_on > since)
        and not _was_screened(records.partners.get(contact.partner, ()), contact, records)
        for contact in records.contacts
    )


def _was_screened(lines: tuple[HealthLine, ...], contact: Contact, records: DogRecords) -> bool:
    on = status_of(lines, contact.first_on).screened_on
    return on is not None and (contact.first_on - on).days <= records.brucella_interval_days


# Exposure


def _exposed(records: DogRecords, status: BrucellaStatus, today: date) -> list[Caution]:
    """A dog that met one whose test is not negative, until it was tested long enough after that."""
    cautions = []
    for exposure in records.exposures:
        if is_cleared(records.health, exposure, today):
            continue
        values: dict[str, Value] = {"dog": records.dog, "by": exposure.by, "on": exposure.last_on}
        if exposure.through is None:
            message = sentence("caution.brucella_contact", last=SECOND_TEST_DAYS[1] // 7, **values)
            cautions.append(_stop("brucella contact", message, NEXT_ANSWERS))
        else:
            message = sentence(
                "caution.brucella_contact_through", through=exposure.through, **values
            )
            cautions.append(Caution("brucella contact of a contact", "warn", message, SOURCE))
    return cautions


def is_cleared(lines: Iterable[HealthLine], exposure: Exposure, today: date) -> bool:
    """Whether a negative screening long enough after the last contact is recorded, or a release."""
    known = tuple(line for line in lines if line.on <= today)
    if any(line.on >= exposure.last_on for line in releases(known, today)):
        return True
    late_enough = exposure.last_on + timedelta(days=SECOND_TEST_DAYS[1])
    on = status_of(known, today).screened_on
    return on is not None and on >= late_enough


def exposures_by_dog(
    health: Mapping[str, tuple[HealthLine, ...]],
    contacts: Mapping[str, tuple[Contact, ...]],
    females: frozenset[str],
    today: date,
) -> dict[str, tuple[Exposure, ...]]:
    """Who met a dog whose test is not negative, and who met those since.

    Semen carries the germ to a bitch by whichever way it comes; to a stud it passes when the two
    meet.

    Parameters
    ----------
    health, contacts
        Lines, and matings and inseminations, by dog.
    females
        Call names of the bitches.
    today
        Nothing later is read.
    """
    direct: dict[tuple[str, str], Exposure] = {}
    for dog in sorted(health):
        status = status_of(health[dog], today)
        if status.alarm is None:
            continue
        for met in _passing(contacts.get(dog, ()), dog in females, status.since, today):
            key = (met.partner, dog)
            first = direct[key].first_on if key in direct else met.first_on
            direct[key] = Exposure(met.partner, dog, first, met.last_on)
    found = dict(direct)
    for exposure in direct.values():
        if is_cleared(health.get(exposure.dog, ()), exposure, today):
            continue
        is_bitch = exposure.dog in females
        later = _passing(contacts.get(exposure.dog, ()), is_bitch, exposure.first_on, today)
        for met in later:
            if met.partner == exposure.by or (met.partner, exposure.by) in direct:
                continue
            found.setdefault(
                (met.partner, f"{exposure.by} {exposure.dog}"),
                Exposure(met.partner, exposure.by, met.first_on, met.last_on, exposure.dog),
            )
    by_dog: dict[str, list[Exposure]] = {}
    for exposure in found.values():
        by_dog.setdefault(exposure.dog, []).append(exposure)
    return {dog: tuple(exposures) for dog, exposures in by_dog.items()}


def _passing(
    contacts: Iterable[Contact], is_from_bitch: bool, since: date | None, today: date
) -> Iterable[Contact]:
    """Contacts by which the germ may have passed on from a dog."""
    return (
        contact
        for contact in contacts
        if contact.first_on <= today
        and (since is None or contact.last_on >= since)
        and (contact.is_natural or not is_from_bitch)
    )
