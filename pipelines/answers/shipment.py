"""A sample in hand and a courier at the door: divide it, record the shipment, write its slip.

The sample goes through the same rules as every record: a caution that stops a shipment stops it
here, and then nothing is printed, written or recorded but the caution. A shipment is recorded as a
line of the Shipments sheet, so that a sheet that names it later corrects it; without an arrival its
outcome is pending.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from studcurve.analytics.cautions import Caution, cautions_for_dog, stopped_answers
from studcurve.analytics.cautions.records import Sample
from studcurve.analytics.errors import RecordsError, ToolkitError
from studcurve.analytics.measures import doses, extending, motility_kept
from studcurve.analytics.measures.semen import total_sperm_m
from studcurve.pipelines.answers.answer import (
    DEFAULT_SEED,
    Answer,
    TextTable,
    one_plus,
    percent,
    spoken,
    spoken_range,
)
from studcurve.pipelines.answers.semen import (
    at_most_sentence,
    dose_values,
    doses_sentence,
    refuse_unstudied,
    unstudied_sentence,
    upper_limit_m,
)
from studcurve.pipelines.answers.slip import (
    MadeUp,
    ShipmentRequest,
    make_slip,
    record_shipment,
    slip_name,
    until_at,
)
from studcurve.pipelines.fits.guard import CHANCE_FIT
from studcurve.pipelines.fits.storage import storage_curve
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.dog_history import (
    CAUTION_VIEWS,
    cautions_of,
    dog_records,
    dogs_named,
)
from studcurve.reports.pages.slip import render_slip
from studcurve.reports.words import Words

if TYPE_CHECKING:
    from studcurve.pipelines.plan.shipment import ShipmentChance

N_OWN_SAMPLES = 20
"""Latest counted samples that say what is usual for a dog (J)."""


@dataclass(frozen=True, slots=True)
class PackedShipment:
    """What came of a request.

    Attributes
    ----------
    answer
        For the terminal.
    is_stopped
        Whether a caution stopped it.
    slip
        File of the slip; None where none was written.
    chance
        Chance of a litter that the answer states; None where it states none.
    """

    answer: Answer
    is_stopped: bool
    slip: Path | None
    chance: ShipmentChance | None = None


def pack_shipment(
    store_path: Path,
    request: ShipmentRequest,
    *,
    out: Path,
    words: Words,
    rng: np.random.Generator,
    seed: int = DEFAULT_SEED,
    check_only: bool = False,
) -> PackedShipment:
    """Divide a sample, record the shipment and write its slip.

    Parameters
    ----------
    store_path
        Records file that knows the stud.
    request
        What is known at the bench.
    out
        Folder of the slip.
    words
        Language of the slip and of the chance of a litter.
    rng, seed
        Source of the draws of the sample, and seed of those of the chance of a litter.
    check_only
        Answer, and record and write nothing.

    Raises
    ------
    RecordsError
        The stud is not in the records, or the line is refused.
    ToolkitError
        The hours are not studied, or run backwards.
    """
    if request.hours < 0.0:
        raise ToolkitError(
            f"The insemination ({request.inseminate_at:%Y-%m-%d %H:%M}) is before the collection "
            f"({request.collected_at:%Y-%m-%d %H:%M}). Correct one of them."
        )
    refuse_unstudied(request.hours)
    with Store.open(store_path, read_only=True) as store:
        views = {name: store.read(name) for name in (*CAUTION_VIEWS, "lab_tests")}
        has_fit = store.read_fit(CHANCE_FIT) is not None
    stud, registered = _stud(request.stud, views["dogs"])
    request = _with_recorded_weight(request, views["dogs"])
    cautions = _cautions(stud, views, request)
    if stopped_answers(cautions) & {"shipment", "doses"}:
        return PackedShipment(_stopped_answer(cautions, request), True, None)

    usual = doses.usual_total(_own_totals(stud, views["evaluations"]))
    sample = doses.draw_sample(request.reading, count_cv=request.count_cv, usual=usual, rng=rng)
    medium = motility_kept.medium_of(request.extender)
    curve = storage_curve(store_path, stud=stud, extender=request.extender, rng=rng)
    plan = doses.plan_doses(
        sample.progressive_m,
        curve,
        hours=request.hours,
        target_m=request.target_m,
        certainty=request.certainty,
        n_doses=request.n_doses,
    )
    if plan is None:
        raise ToolkitError(unstudied_sentence(medium, request.hours, curve.studied_until_h))
    worth = doses.worth_of_a_count(sample, curve, plan, count_cv=request.count_cv)
    made = MadeUp.of(request, sample, plan, medium)
    refused = _refused(request, plan, made)
    if refused is not None:
        noted = replace(refused, sentences=(*_notes(cautions), *refused.sentences))
        return PackedShipment(noted, True, None)
    # Everything is worked out before anything is recorded.
    bitch = _known_bitch(request.for_bitch, views["dogs"])
    chance = None
    if has_fit and bitch is not None:
        chance = _chance(store_path, request, (stud, bitch), sample, made, cautions, seed)
    slip_path = None
    if not check_only:
        slip = make_slip(stud, registered, request, plan, made, views["lab_tests"])
        slip_path, text = out / slip_name(slip), render_slip(slip, words)
    answer = _answer(request, plan, worth, made, curve, usual, cautions, slip_path)
    if chance is not None:
        told = " ".join(words.tell(one) for one in chance.sentences)
        values = {**answer.values, "chance": chance.values()}
        answer = replace(answer, sentences=(*answer.sentences, told), values=values)
    if slip_path is not None:
        out.mkdir(parents=True, exist_ok=True)
        record_shipment(store_path, stud, request, made)
        try:
            slip_path.write_text(text, encoding="utf-8", newline="\n")
        except OSError as why:
            raise ToolkitError(
                f"The shipment is recorded, but its slip {slip_path} cannot be written "
                f"({why.strerror}). Write the slip by hand."
            ) from None
    return PackedShipment(answer, False, slip_path, chance)


def _chance(
    store_path: Path,
    request: ShipmentRequest,
    pair: tuple[str, str],
    sample: doses.SampleDraws,
    made: MadeUp,
    cautions: tuple[Caution, ...],
    seed: int,
) -> ShipmentChance | None:
    """The chance of a litter from one dose; loads the models, which nothing else here does."""
    from studcurve.pipelines.plan.shipment import PackedDose, shipment_chance

    stud, bitch = pair
    dose = PackedDose(
        stud=stud,
        bitch=bitch,
        sample=sample,
        n_doses=made.n_doses,
        route=request.route,
        collected_at=request.collected_at,
        sent_at=request.sent_at,
        inseminate_at=request.inseminate_at,
        extender=request.extender,
        carrier=request.carrier,
        clinic=request.clinic,
    )
    return shipment_chance(store_path, dose, cautions, seed=seed)


def _stud(name: str, dogs: pd.DataFrame) -> tuple[str, str | None]:
    """Call name and registered name of a male of the records."""
    males = dogs[dogs["sex"] == "male"]
    found = males[males["call_name"].str.casefold() == name.strip().casefold()]
    if len(found) != 1:
        known = ", ".join(sorted(males["call_name"])) or "none"
        what = "several studs" if len(found) else "no stud"
        raise RecordsError(
            f"{name!r} is {what} of these records; the studs are {known}. Add him to the Dogs "
            "sheet, or correct the name."
        )
    dog = found.iloc[0]
    registered = dog["registered_name"]
    return str(dog["call_name"]), None if pd.isna(registered) else str(registered)


def _cautions(
    stud: str, views: Mapping[str, pd.DataFrame], request: ShipmentRequest
) -> tuple[Caution, ...]:
    """Of the stud with the sample in hand as his latest raw one, and of the bitch it is for.

    What was not looked at is left blank, and lifts nothing.
    """
    today = request.sent_at.date()
    records = dog_records(views, stud, today)
    reading = request.reading
    concentration = reading.read_concentration_m_per_ml
    in_hand = Sample(
        on=request.collected_at.date(),
        look=request.appearance or "",
        n_cells=math.nan if reading.n_cells is None else float(reading.n_cells),
        concentration_m_per_ml=math.nan if concentration is None else concentration,
        volume_ml=reading.volume_ml,
        forward_pct=reading.progressive_motility_pct,
    )
    cautions = cautions_for_dog(replace(records, samples=(*records.samples, in_hand)), today)
    bitch = _known_bitch(request.for_bitch, views["dogs"])
    if bitch is not None:
        cautions = (*cautions, *cautions_of(views, bitch, today))
    return cautions


def _known_bitch(name: str | None, dogs: pd.DataFrame) -> str | None:
    """The bitch of the records that a name on the shipment means; None for one from outside."""
    if name is None:
        return None
    found = dogs_named(dogs, name, "female")
    return str(found["call_name"].iloc[0]) if len(found) == 1 else None


def _with_recorded_weight(request: ShipmentRequest, dogs: pd.DataFrame) -> ShipmentRequest:
    """The request with her weight as recorded, where it was not given and she is in the records."""
    bitch = _known_bitch(request.for_bitch, dogs)
    if request.weight_kg is not None or bitch is None:
        return request
    weight = dogs.loc[dogs["call_name"].eq(bitch) & dogs["sex"].eq("female"), "adult_weight_kg"]
    if weight.isna().all():
        return request
    return replace(request, weight_kg=float(weight.iloc[0]))


def _refused(request: ShipmentRequest, plan: doses.DosePlan, made: MadeUp) -> Answer | None:
    """What no one would use, or does not fit her, is not packed; None where nothing is wrong."""
    if request.weight_kg is not None:
        limit = extending.volume_limit_ml(request.weight_kg, request.route)
        if made.dose_volume_ml > limit:
            return _too_much_answer(request, made, limit)
    if plan.is_hopeless and not request.is_anyway:
        return Answer(
            (
                f"Not packed: {_whole_or_each(plan, made)} would hold {spoken(plan.target_m)} M "
                f"progressively motile at {request.inseminate_at:%d %b %H:%M} with a chance of "
                f"{percent(plan.chosen.meets_prob)}; nobody would use it. No slip is written and "
                "no shipment recorded.",
                "Collect again, choose an earlier insemination or a lower --target; --anyway packs "
                "it all the same.",
            ),
            values={"refused": "hopeless dose", "meets_prob": plan.chosen.meets_prob},
        )
    return None


def _whole_or_each(plan: doses.DosePlan, made: MadeUp) -> str:
    return "each dose" if plan.n_doses > 1 else f"a dose of {spoken(made.dose_volume_ml)} mL"


def _too_much_answer(request: ShipmentRequest, made: MadeUp, limit_ml: float) -> Answer:
    """A volume that does not fit her, and how it would."""
    leave = extending.semen_to_leave_ml(limit_ml, made.ratio, made.n_doses)
    return Answer(
        (
            f"Not packed: a dose of {spoken(made.dose_volume_ml)} mL is more than the "
            f"{spoken(limit_ml)} mL that fit a bitch of {spoken(request.weight_kg or 0.0)} kg by "
            "this route. No slip is written and no shipment recorded.",
            f"Centrifuge first and leave {spoken(leave)} mL of semen, or use less extender "
            "(--ratio) or make more doses (--doses); the veterinarian who inseminates decides.",
        ),
        remarks=("Volumes that fit: common practice, no source.",),
        values={
            "refused": "volume",
            "dose_volume_ml": made.dose_volume_ml,
            "volume_limit_ml": limit_ml,
            "weight_kg": request.weight_kg,
            "semen_to_leave_ml": leave,
        },
    )


def _own_totals(stud: str, evaluations: pd.DataFrame) -> np.ndarray:
    """His latest counted totals. [10⁶]"""
    raw = evaluations[(evaluations["stud"] == stud) & (evaluations["stage"] == "raw")]
    raw = raw.sort_values("collected_earliest")
    volume, concentration = (
        raw[name].to_numpy(dtype=np.float64, na_value=np.nan)
        for name in ("volume_ml", "concentration_m_per_ml")
    )
    totals = total_sperm_m(volume, concentration)
    return totals[np.isfinite(totals)][-N_OWN_SAMPLES:]


def _stopped_answer(cautions: tuple[Caution, ...], request: ShipmentRequest) -> Answer:
    """The cautions and nothing else: no number of a dose, no slip, no record."""
    english = Words("en")
    stops = [caution for caution in cautions if caution.severity == "stop"]
    sentences = [f"Stop: {english.tell(caution.sentence)}" for caution in stops]
    sentences.append("No dose is counted, no slip written and no shipment recorded.")
    values: dict[str, object] = {"stopped": [caution.rule for caution in stops], "n_doses": None}
    if [caution.rule for caution in stops] == ["no sperm seen"]:
        limit = upper_limit_m(request.reading, count_cv=request.count_cv)
        if limit is not None:
            values["total_sperm_m_high"] = limit
            sentences.insert(1, at_most_sentence(limit))
    return Answer(
        tuple(sentences), remarks=tuple(caution.source for caution in stops), values=values
    )


def _answer(
    request: ShipmentRequest,
    plan: doses.DosePlan,
    worth: doses.CountWorth,
    made: MadeUp,
    curve: motility_kept.StorageDraws,
    usual: doses.UsualTotal,
    cautions: tuple[Caution, ...],
    slip: Path | None,
) -> Answer:
    """Six lines, headed by what must be said first."""
    medium = motility_kept.medium_of(request.extender)
    # Of a bitch whose weight nobody knows, what fits the largest one is asked about.
    limit = (
        extending.MOST_ML[request.route]
        if request.weight_kg is None
        else extending.volume_limit_ml(request.weight_kg, request.route)
    )
    reminders = extending.bench_reminders(
        ratio=made.ratio if made.ratio else None,
        final_m_per_ml=made.final_m_per_ml,
        unextended_minutes=request.waited_minutes,
        dose_volume_ml=made.dose_volume_ml,
        limit_ml=limit,
    )
    then = plan.chosen.motile_dose_m
    warned = [caution for caution in cautions if caution.severity == "warn"]
    weighed = (
        "her weight is not known, so no volume is checked against her"
        if request.weight_kg is None
        else f"fits a bitch of {spoken(request.weight_kg)} kg"
    )
    rows = (
        ("Doses", f"{_doses_line(plan, made)}; {weighed}"),
        ("Extender", _extender_line(made)),
        (
            "In each then",
            f"{spoken(then.median)} M progressively motile at {request.inseminate_at:%d %b %H:%M}, "
            f"90 % range {spoken_range(then.lower, then.upper)}",
        ),
        ("Meets target", _meets_line(request, plan)),
        ("If counted", _worth_line(request, worth, usual)),
        ("Warnings", _cautions_line(reminders, warned)),
    )
    answered = doses_sentence(plan, medium)
    sentences = [*_notes(cautions), answered]
    if slip is not None:
        sentences.append(f"Recorded; the slip is {slip}.")
    return Answer(
        tuple(sentences),
        (TextTable((), rows),),
        (*dict.fromkeys(caution.source for caution in warned), f"Storage: {curve.source}."),
        dose_values(plan)
        | {
            "medium": medium,
            "is_own_storage": curve.is_own,
            "extender_each_ml": made.extender_each_ml,
            "dose_volume_ml": made.dose_volume_ml,
            "weight_kg": request.weight_kg,
            "inseminate_at": request.inseminate_at,
            "meets_until_at": until_at(request, plan),
            "if_counted": {
                "range_now": worth.range_now,
                "range_then": worth.range_then,
                "more_prob": worth.more_prob,
                "fewer_prob": worth.fewer_prob,
            },
            "warnings": [caution.rule for caution in cautions],
            "reminders": [reminder.sentence for reminder in reminders],
            "slip": None if slip is None else str(slip),
        },
    )


def _notes(cautions: tuple[Caution, ...]) -> tuple[str, ...]:
    """What must be said before any number, and stops nothing."""
    english = Words("en")
    return tuple(
        f"Note: {english.tell(caution.sentence)}"
        for caution in cautions
        if caution.severity == "warn"
    )


def _doses_line(plan: doses.DosePlan, made: MadeUp) -> str:
    divided = f"{made.n_doses} of {spoken(made.dose_volume_ml)} mL"
    if plan.n_doses == 0:
        return f"none certain enough; the whole sample is {divided}"
    more = plan.chances[plan.n_doses]
    return (
        f"{divided}; of {more.n_doses} each would meet the target with {percent(more.meets_prob)}"
    )


def _extender_line(made: MadeUp) -> str:
    if made.ratio == 0.0:
        return f"none; {spoken(made.dose_volume_ml)} mL in each"
    return (
        f"{spoken(made.extender_each_ml)} mL in each ({one_plus(made.ratio)}), which makes "
        f"{spoken(made.dose_volume_ml)} mL a dose at about {spoken(made.final_m_per_ml)} M/mL"
    )


def _meets_line(request: ShipmentRequest, plan: doses.DosePlan) -> str:
    until = until_at(request, plan)
    chance = f"{percent(plan.chosen.meets_prob)} for {spoken(plan.target_m)} M"
    if until is None:
        return f"{chance}; {percent(plan.certainty)} certain at no hour that helps"
    if until <= request.inseminate_at:
        return f"{chance}; {percent(plan.certainty)} certain then, and not for half a day more"
    days = spoken((until - request.collected_at).total_seconds() / 86400.0)
    word = "day" if days == "1" else "days"
    return f"{chance}; {percent(plan.certainty)} certain for {days} {word} from the collection"


def _worth_line(request: ShipmentRequest, worth: doses.CountWorth, usual: doses.UsualTotal) -> str:
    again = "one more chamber" if request.reading.is_counted else "one chamber"
    basis = ""
    if not request.reading.is_counted:
        basis = (
            f" (not counted: taken from his {usual.n_samples} counted samples)"
            if usual.n_samples
            else " (not counted: taken from dogs of every size)"
        )
    return (
        f"{again} of about {doses.CHAMBER_CELLS:.0f} cells narrows the range from "
        f"{spoken(worth.range_now, digits=2)}-fold to {spoken(worth.range_then, digits=2)}-fold; "
        f"{percent(worth.more_prob)} that it shows more doses, {percent(worth.fewer_prob)} fewer"
        f"{basis}"
    )


def _cautions_line(reminders: tuple[extending.Reminder, ...], warned: list[Caution]) -> str:
    parts = [f"{reminder.sentence} ({reminder.source})" for reminder in reminders]
    if warned:
        parts.insert(0, f"{len(warned)} noted above.")
    return " ".join((*parts, motility_kept.NOT_FERTILITY))
