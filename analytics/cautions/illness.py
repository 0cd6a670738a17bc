"""What examinations, events, drugs and laboratory tests other than for *Brucella* say.

Examinations are repeated as written and never graded; a few findings stop until somebody has looked
again. An event without an end is open. What no table knows is shown to the reader and asked at the
load; where it may be an infection it stops until a person has answered.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from studcurve.analytics.cautions import words
from studcurve.analytics.cautions.brucella import is_brucella
from studcurve.analytics.cautions.lifting import is_released, of_kind, that_lift, was_examined
from studcurve.analytics.cautions.records import NEXT_ANSWERS, Caution, DogRecords, HealthLine
from studcurve.analytics.cautions.samples import raw_samples
from studcurve.analytics.cautions.tables import MOMENTARY
from studcurve.analytics.sentences import Sentence, Value, Word, sentence

RECENT_DAYS = 70
"""How long a past illness or drug stays in the first lines. [d]

Spermatogenesis 61.9 d (Soares 2009, J Anat) and about 10 d in the epididymis (M)."""

RECOVERY_DAYS = 14
"""No dose, shipment or plan for so long after the end of a fever or a pain. [d]

Common practice, no source."""

FEVER_FROM_C = 39.5
"""Body temperature from which an examination is read as fever. [°C]

A resting dog has up to about 39.2 °C, from memory (M)."""

IMPLANT_LOWERS_BY_DAYS, IMPLANT_RETURNS_DAYS = 77, 133
"""After a GnRH agonist: no sperm by the first, normal again by the second after removal. [d]

Azoospermia by days 35 to 77, return 84 to 133 days after removal: Animals 2022, 12:2379 and 12:2545
(P)."""

_ILLNESS_SOURCE = "Soares 2009, J Anat (P); epididymal transit from memory (M)"
_RULE = "rule of this toolkit (J)"


def illness_cautions(records: DogRecords, today: date) -> list[Caution]:
    """Illness as events, as findings and as a collection that was stopped for pain."""
    return [
        *_events(records, today),
        *_fevers_measured(records, today),
        *_stopped_for_pain(records, today),
        *_findings(records, today),
    ]


def _events(records: DogRecords, today: date) -> Iterator[Caution]:
    for event in of_kind(records.health, "event", today):
        kind = words.illness_of_event(event.what, event.result)
        if kind is None or is_brucella(event):
            continue
        ended_on = event.on if kind in MOMENTARY else event.until
        if ended_on is None or (ended_on >= today and kind not in MOMENTARY):
            if not is_released(records.health, event.on, today, about=(kind,)):
                yield _ill("illness open", "caution.illness_open", records.dog, event, kind)
        elif kind in ("fever", "pain") and (today - ended_on).days <= RECOVERY_DAYS:
            yield _ill(
                "illness recent", "caution.illness_recent", records.dog, event, kind,
                n_days=RECOVERY_DAYS,
            )  # fmt: skip
        elif (today - ended_on).days <= RECENT_DAYS:
            message = _ill_sentence(
                "caution.illness_recorded", records.dog, event, kind, n_days=RECENT_DAYS
            )
            yield Caution("illness recorded", "warn", message, _ILLNESS_SOURCE)


def _ill(rule: str, key: str, dog: str, event: HealthLine, kind: str, **values: int) -> Caution:
    message = _ill_sentence(key, dog, event, kind, **values)
    return Caution(rule, "stop", message, _RULE, NEXT_ANSWERS)


def _ill_sentence(key: str, dog: str, event: HealthLine, kind: str, **values: int) -> Sentence:
    return sentence(key, event=Word("event", kind), dog=dog, what=event.what, on=event.on, **values)


def _fevers_measured(records: DogRecords, today: date) -> Iterator[Caution]:
    """A temperature that was taken as an examination."""
    for line in of_kind(records.health, "examination", today):
        measured = words.temperature_c(line.what, line.value or line.result)
        if measured is None or measured < FEVER_FROM_C:
            continue
        if (today - line.on).days <= RECOVERY_DAYS:
            yield _ill(
                "illness recent", "caution.illness_recent", records.dog, line, "fever",
                n_days=RECOVERY_DAYS,
            )  # fmt: skip


def _stopped_for_pain(records: DogRecords, today: date) -> Iterator[Caution]:
    pained = [
        attempt.on
        for attempt in records.samples
        if attempt.failed_reason == "stopped for pain" and attempt.on <= today
    ]
    if not pained:
        return
    on = pained[-1]
    if (today - on).days > RECENT_DAYS or was_examined(records.health, on, today):
        return
    if is_released(records.health, on, today, about=("pain",)):
        return
    message = sentence("caution.stopped_for_pain", dog=records.dog, on=on)
    yield Caution("stopped for pain", "stop", message, "trade memory (M)", NEXT_ANSWERS)


# Examinations


def _findings(records: DogRecords, today: date) -> Iterator[Caution]:
    """Findings that stop, and one sentence with all that are not plainly normal."""
    examinations = [
        line
        for line in of_kind(records.health, "examination", today)
        if not is_brucella(line) and words.temperature_c(line.what, line.value) is None
    ]
    shown: list[Sentence] = []
    for line in examinations:
        finding = line.result or ("" if words.names_only_an_organ(line.what) else line.what)
        if not finding.strip() or words.is_plainly_normal(finding):
            continue
        if _is_superseded_by_normal(line, examinations):
            continue
        stopping = words.stopping_finding_of(line.what, finding)
        about = (stopping or "", words.organ_of(line.what))
        is_lifted = is_released(records.health, line.on, today, about=about)
        if stopping is not None and not is_lifted:
            message = _as_written("caution.finding_stops", line)
            yield Caution(
                "finding stops", "stop",
                sentence("caution.of_dog", dog=records.dog, finding=message), _RULE, NEXT_ANSWERS,
            )  # fmt: skip
        else:
            shown.append(_as_written("caution.finding", line))
    if shown:
        message = sentence("caution.findings", dog=records.dog, findings=tuple(shown))
        yield Caution("findings recorded", "warn", message, "as recorded")


def _as_written(key: str, line: HealthLine) -> Sentence:
    by = sentence("caution.by", who=line.veterinarian) if line.veterinarian.strip() else ""
    finding = f": {line.result}" if line.result.strip() else ""
    return sentence(key, what=line.what, finding=finding, on=line.on, by=by)


def _is_superseded_by_normal(line: HealthLine, examinations: list[HealthLine]) -> bool:
    """Whether the same was examined later and is plainly normal."""
    organ = words.organ_of(line.what)
    return any(
        later.on > line.on
        and not later.is_doubtful
        and words.is_plainly_normal(later.result)
        and (
            words.folded(later.what) == words.folded(line.what)
            or (organ != "other" and words.organ_of(later.what) == organ)
        )
        for later in examinations
    )


# Drugs


def drugs(records: DogRecords, today: date) -> list[Caution]:
    """Drugs that may lower a stud's numbers, while they run and for a cycle of spermatogenesis."""
    cautions = []
    for event in of_kind(records.health, "event", today):
        drug = words.drug_class_of(event.drug_class) or words.drug_class_of(
            f"{event.what} {event.result}"
        )
        if drug is None:
            continue
        is_implant = drug == "GnRH agonist"
        if not (_implant_acts if is_implant else _acts)(records, event, today):
            continue
        key = "caution.implant" if is_implant else "caution.drug"
        message = sentence(
            key, dog=records.dog, drug=Word("drug", drug), what=event.what, on=event.on,
            n_days=IMPLANT_RETURNS_DAYS if is_implant else RECENT_DAYS,
        )  # fmt: skip
        source = "Animals 2022, 12:2379 and 12:2545 (P)" if is_implant else _ILLNESS_SOURCE
        cautions.append(Caution("implant" if is_implant else "drug", "warn", message, source))
    return cautions


def _acts(records: DogRecords, event: HealthLine, today: date) -> bool:
    return event.is_open(today) or (today - (event.until or today)).days <= RECENT_DAYS


def _implant_acts(records: DogRecords, event: HealthLine, today: date) -> bool:
    """From the insertion until sperm are counted late enough, or long enough after the removal."""
    removed_on = event.until if event.until is not None and event.until <= today else None
    if removed_on is not None and (today - removed_on).days > IMPLANT_RETURNS_DAYS:
        return False
    from_on = removed_on or event.on + timedelta(days=IMPLANT_LOWERS_BY_DAYS)
    return not any(
        sample.is_counted and not sample.shows_no_sperm and sample.on > from_on
        for sample in raw_samples(records, today)
        if not sample.is_doubtful
    )


# Laboratory tests


def other_tests(records: DogRecords, today: date) -> list[Caution]:
    """Other infections, and tests that nobody can read."""
    cautions = []
    for line in of_kind(records.health, "laboratory test", today):
        if is_brucella(line):
            continue
        test = words.test_of(line.what)
        result = words.result_of(line.result, line.value)
        written = " ".join(part for part in (line.result, line.value) if part.strip())
        values: dict[str, Value] = {
            "dog": records.dog,
            "what": line.what,
            "result": written,
            "on": line.on,
        }
        if test == "infection" and result == "not negative":
            if not _infection_released(records, line, today):
                message = sentence("caution.infection", **values)
                cautions.append(Caution("infection", "stop", message, _RULE, NEXT_ANSWERS))
        elif test == "infection" and result == "missing":
            message = sentence("caution.result_missing", **values)
            cautions.append(Caution("result missing", "warn", message, _RULE))
        elif _is_unread(line, test):
            message = sentence("caution.test_unread", **values)
            cautions.append(Caution("test unread", "stop", message, _RULE, NEXT_ANSWERS))
    return cautions


def _is_unread(line: HealthLine, test: words.Test) -> bool:
    """A test that no table knows, until a person has said that the line is right."""
    if line.is_confirmed or test not in ("unknown", "near infection"):
        return False
    if test == "near infection" or words.comes_near_an_infection(line.result):
        return True
    return not (words.is_plainly_normal(line.result) or words.is_genetic_result(line.result))


def _infection_released(records: DogRecords, line: HealthLine, today: date) -> bool:
    return any(
        release.on >= line.on
        and release.veterinarian.strip() != ""
        and words.share_a_name(release.what, line.what)
        for release in that_lift(records.health, "release by veterinarian", today)
    )


def unread_events(records: DogRecords, today: date) -> list[Caution]:
    """Events in a word that no table knows, until a person has said that the line is right."""
    return [
        Caution(
            "event unread",
            "warn",
            sentence("caution.event_unread", dog=records.dog, what=event.what, on=event.on),
            _RULE,
        )
        for event in of_kind(records.health, "event", today)
        if not event.is_confirmed
        and not words.is_known_event(event.what)
        and words.illness_of_event(event.what, event.result) is None
    ]
