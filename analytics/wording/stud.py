"""Which sentences state a stud's level over time?

Each sentence is chosen by a stated rule from posterior numbers; its words stand in the catalog.
"Changed over time", never "aged" and never "because"; an event is coincident.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from studcurve.analytics.estimate import Estimate, RecordsWeight
from studcurve.analytics.measures.dates import DayWindow, look_back, retest
from studcurve.analytics.models.stud.announcement import Announcement
from studcurve.analytics.models.stud.dips import Coincident, Dip
from studcurve.analytics.models.stud.false_alarms import KennelRule
from studcurve.analytics.models.stud.inputs import FEWEST_COLLECTIONS, Measure
from studcurve.analytics.models.stud.level import LastCollection, StudAnswers
from studcurve.analytics.models.stud.power import MOST_SETTLING, PROMISE_PROB, Power
from studcurve.analytics.sentences import Sentence, Value, Word, sentence
from studcurve.analytics.wording.program import speaking_sentence

_CHANGE_KEYS = {
    "readers": {True: "answer.change_total_readers", False: "answer.change_share_readers"},
    "announced": {True: "answer.change_total_announced", False: "answer.change_share_announced"},
    "quiet": {True: "answer.change_total_quiet", False: "answer.change_share_quiet"},
    "rise": {True: "answer.change_total_rise", False: "answer.change_share_rise"},
}
"""Text of a change by what is said of it, and by whether it is one of total sperm."""

EVEN_PROB = 0.50
"""A rise is told as one above this probability; of the last collection, high above it."""


TAUGHT_M_PER_KG = 22.0
"""Total sperm per kg of body weight that is taught of a sound stud. [10⁶ kg⁻¹]

About 10 M a pound; teaching value, from memory, no study found (M)."""


def per_kg_sentence(answers: StudAnswers, weight_kg: float) -> Sentence:
    """His level of total sperm by his weight, beside what is taught.

    Parameters
    ----------
    answers
        Of total sperm.
    weight_kg
        Adult weight. [kg]
    """
    now = answers.now
    ends = (now.median / weight_kg, now.lower / weight_kg, now.upper / weight_kg)
    return sentence(
        "level.per_kg",
        stud=answers.stud,
        per_kg=Estimate(*ends, interval_prob=now.interval_prob),
        weight_kg=weight_kg,
        taught=TAUGHT_M_PER_KG,
    )


def level_sentence(answers: StudAnswers, weight: RecordsWeight) -> Sentence:
    """Where he stands now, and how that lies to the commonly used value; never pass or fail.

    Parameters
    ----------
    answers
        Of one measure.
    weight
        What the records supply of the level.
    """
    key = "answer.level_total" if answers.measure.is_log else "answer.level_share"
    return sentence(
        key,
        stud=answers.stud,
        measure=Word("measure", answers.measure.name),
        on=answers.last_on,
        now=answers.now,
        common=answers.measure.common,
        above=answers.common_prob,
        n=answers.n_collections,
        speaking=speaking_sentence(weight),
    )


def change_sentence(
    answers: StudAnswers,
    announcement: Announcement,
    rule: KennelRule,
    false_alarm_prob: float | None,
) -> Sentence:
    """Whether he has fallen against his own past; the rule looks at falls alone.

    Rules, in order: too few collections; readers that cannot be separated; a fall that is
    announced; else the statement that none is, with a change that is rather a rise told as one.

    Parameters
    ----------
    answers
        Of one measure.
    announcement
        What the rule of announcements says of it.
    rule
        Of the kennel.
    false_alarm_prob
        Chance that this measure of him is announced in error within a year; None where there is no
        past.
    """
    if (
        answers.change is None
        or answers.past_until is None
        or answers.rise_prob is None
        or false_alarm_prob is None
    ):
        few = answers.n_collections < FEWEST_COLLECTIONS
        key = "answer.change_too_few" if few else "level.too_close"
        return sentence(key, stud=answers.stud, n=answers.n_collections)
    small, middle, large = answers.falls
    values: dict[str, Value] = {
        "stud": answers.stud,
        "measure": Word("measure", answers.measure.name),
        "until": answers.past_until,
        "change": answers.change if answers.measure.is_log else _in_points(answers.change),
    }
    if not announcement.is_separable:
        return sentence(
            _CHANGE_KEYS["readers"][answers.measure.is_log],
            before=reader_words(answers.past_readers),
            after=reader_words(answers.last_readers),
            **values,
        )
    values["errs"] = sentence(
        "answer.errs",
        n_studs=rule.n_studs,
        n_measures=rule.n_measures,
        kennel=rule.false_prob,
        own=false_alarm_prob,
    )
    if not announcement.announced and answers.rise_prob > EVEN_PROB:
        return sentence(
            _CHANGE_KEYS["rise"][answers.measure.is_log], rise=answers.rise_prob, **values
        )
    state = "announced" if announcement.announced else "quiet"
    return sentence(
        _CHANGE_KEYS[state][answers.measure.is_log],
        small=small.prob,
        middle=middle.prob,
        large=large.prob,
        **values,
    )


def reader_words(readers: Sequence[str]) -> tuple[Sentence, ...]:
    """Readers as a person and a way of reading, each in the words of the catalog."""
    parted = [reader.rpartition(", ") for reader in readers]
    return tuple(
        sentence("level.reader", who=Word("evaluator", who), way=Word("reading", way))
        for who, _, way in parted
    )


def fall_retest_sentence(answers: StudAnswers, announcement: Announcement) -> Sentence | None:
    """When and how to collect again where a fall is announced; None where none is.

    What began the fall, and whether it has ended, is not known: the days count from the last
    collection: a whole turnover of sperm to the sure day, two months to the earliest; read in the
    way of the last ones.

    Parameters
    ----------
    answers
        Of one measure.
    announcement
        What the rule of announcements says of it.
    """
    if not announcement.announced:
        return None
    window = retest(answers.last_on)
    return sentence(
        "answer.fall_retest",
        stud=answers.stud,
        first=window.first_on,
        last=window.last_on,
        earliest=window.first_day,
        turnover=window.last_day,
        readers=reader_words(answers.last_readers),
    )


def power_sentence(power: Power, measure: Measure) -> Sentence:
    """How often the rule announces true falls at his rhythm of collections.

    Parameters
    ----------
    power
        From :func:`studcurve.analytics.models.stud.power.power`.
    measure
        Of which it is told.
    """
    small, middle, large = power.announced
    kind = "total" if measure.is_log else "share"
    values: dict[str, Value] = {
        "per_year": power.per_year,
        "small": small.prob,
        "middle": middle.prob,
        "large": large.prob,
    }
    if power.n_promised is None or power.months_promised is None:
        return sentence(f"answer.power_{kind}_never", **values)
    return sentence(
        f"answer.power_{kind}",
        n_promised=power.n_promised,
        months=power.months_promised,
        promise=PROMISE_PROB,
        **values,
    )


def dip_sentence(stud: str, dip: Dip, coincident: Sequence[Coincident]) -> Sentence:
    """When his numbers dipped, and what had been recorded before: coincident, no more.

    Parameters
    ----------
    stud
        Call name.
    dip
        From :func:`studcurve.analytics.models.stud.dips.find_dips`.
    coincident
        Events in its look-back windows.
    """
    values: dict[str, Value] = {
        "stud": stud,
        "began": dip.began_on,
        "first": dip.began_between[0],
        "last": dip.began_between[1],
        "sure": dip.prob,
    }
    if not coincident:
        return sentence("answer.dip_alone", **values)
    kinds = tuple(Word("event", event.kind) for event in coincident)
    return sentence("answer.dip_coincident", events=kinds, on=coincident[0].started_on, **values)


def last_sentence(stud: str, last: LastCollection, measure: Measure) -> Sentence:
    """Whether the collection just made is in line; a low one is answered with a repetition."""
    values: dict[str, Value] = {
        "stud": stud,
        "on": last.on,
        "value": last.value,
        "expected": last.expected,
        "unit": Word("unit", measure.name),
    }
    if not last.out_of_line:
        return sentence("answer.last_in_line", **values)
    if last.lower_prob > EVEN_PROB:
        return sentence("answer.last_high", **values)
    return sentence(
        "answer.last_low",
        again_on=last.again_on,
        again=last.again,
        higher=last.higher_prob,
        **values,
    )


def next_sentence(on: date, rest_days: float, expected: Estimate, measure: Measure) -> Sentence:
    """What the next collection should read, after his usual pause."""
    unit = Word("unit", measure.name)
    return sentence("level.next", on=on, rest=rest_days, expected=expected, unit=unit)


def settling_sentence(power: Power) -> Sentence:
    """How many more collections would tell a fall worth acting on from none."""
    if power.n_settling is None:
        return sentence("level.settling_never", n=MOST_SETTLING)
    if power.n_settling == 0:
        return sentence("level.settled")
    return sentence("level.settling", n=power.n_settling)


def retest_sentence(window: DayWindow) -> Sentence:
    """When a sample would show whether he has recovered from what was recorded."""
    return sentence("level.retest", on=window.zero_on, first=window.first_on, last=window.last_on)


def look_back_sentence(last_on: date, found: Sequence[Coincident]) -> Sentence:
    """What is recorded in the look-back of the last collection: coincident, no more."""
    first_on = min(window.first_on for window in look_back(last_on))
    if not found:
        return sentence("level.look_back_none", first=first_on, last=last_on)
    kinds = tuple(Word("event", event.kind) for event in found)
    return sentence("level.look_back", first=first_on, last=last_on, events=kinds)


def _in_points(change: Estimate) -> Estimate:
    """A change of a share in the points that are printed."""
    return Estimate(
        100.0 * change.median, 100.0 * change.lower, 100.0 * change.upper, change.interval_prob
    )
