"""What the bench says about a sample: doses, spin, extender, hours.

One function a command; each calls the measures and puts their numbers into sentences and a table.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from studcurve.analytics.errors import ToolkitError
from studcurve.analytics.estimate import (
    Estimate,
    estimate_from_draws,
    interval_quantiles,
)
from studcurve.analytics.measures import doses, extending, motility_kept, semen, spin
from studcurve.analytics.priors import PRIORS
from studcurve.pipelines.answers.answer import (
    Answer,
    TextTable,
    one_plus,
    percent,
    spoken,
    spoken_range,
)
from studcurve.pipelines.answers.counts import ONE_SIDED, RANGE, estimate_row, source_of

USUAL_HOURS = 24.0
"""From a collection to an insemination by overnight shipment. [h]"""

BEYOND_MARK = " *"
"""Marks an hour beyond the kennel's own readings."""


def dose_answer(
    reading: doses.SampleEvaluation,
    *,
    hours: float,
    extender: str | None,
    curve: motility_kept.StorageDraws,
    route: doses.Route,
    target_m: float,
    certainty: float,
    count_cv: float,
    rng: np.random.Generator,
) -> Answer:
    """How many doses a sample makes at the hour of insemination."""
    if reading.n_cells == 0 or reading.concentration_m_per_ml == 0.0:
        return no_sperm_answer(reading, count_cv=count_cv)
    refuse_unstudied(hours)
    usual = doses.usual_total()
    sample = doses.draw_sample(reading, count_cv=count_cv, usual=usual, rng=rng)
    medium = motility_kept.medium_of(extender)
    plan = doses.plan_doses(
        sample.progressive_m, curve, hours=hours, target_m=target_m, certainty=certainty
    )
    if plan is None:
        raise ToolkitError(unstudied_sentence(medium, hours, curve.studied_until_h))
    rows = [
        estimate_row("Sperm, M", estimate_from_draws(sample.total_m)),
        estimate_row("Progressively motile, M", estimate_from_draws(sample.progressive_m)),
    ]
    if sample.normal_progressive_m is not None:
        normal = estimate_from_draws(sample.normal_progressive_m)
        rows.append(estimate_row("Progressively motile and normal, M", normal))
    return Answer(
        (doses_sentence(plan, medium),),
        (
            TextTable(("In the sample now", "Middle", RANGE), tuple(rows)),
            dose_table(plan),
        ),
        (
            how_read(reading),
            published_doses(route),
            f"{motility_kept.NOT_FERTILITY} The curve: {curve.source}.",
        ),
        dose_values(plan) | {"medium": medium, "route": route},
    )


def no_sperm_answer(reading: doses.SampleEvaluation, *, count_cv: float) -> Answer:
    """A sample without sperm: no dose, and what the count still allows."""
    values: dict[str, object] = {"stopped": ["no sperm seen"], "n_doses": None}
    sentences = ["Stop: no sperm seen, so no dose is made up."]
    limit = upper_limit_m(reading, count_cv=count_cv)
    if limit is not None:
        values["total_sperm_m_high"] = limit
        sentences.append(at_most_sentence(limit))
    sentences.append(
        "A veterinarian would be asked: a repeat after rest with a teaser bitch, a look in the "
        "pellet after centrifugation, alkaline phosphatase, urine after collection, and Brucella."
    )
    return Answer(tuple(sentences), values=values)


def upper_limit_m(reading: doses.SampleEvaluation, *, count_cv: float) -> float | None:
    """What a count without sperm still allows in the whole sample; None where not counted. [10⁶]"""
    if reading.looked_at_nl is None:
        return None
    _, most = semen.total_sperm_interval_m(
        reading.volume_ml, 0.0, 0.0, extra_cv=count_cv, looked_at_nl=reading.looked_at_nl
    )
    return float(most)


def at_most_sentence(limit_m: float) -> str:
    """An upper limit, said as one."""
    return (
        f"With {ONE_SIDED} certainty the whole sample holds at most {spoken(limit_m)} M; that is "
        "an upper limit, not a zero."
    )


def doses_sentence(plan: doses.DosePlan, medium: motility_kept.Medium) -> str:
    """The answer about doses in one sentence."""
    kept = "unextended" if medium == "undiluted" else f"in {medium} extender"
    if medium == "unknown":
        kept = "in an extender that is not known here"
    if plan.n_doses == 0:
        return (
            f"Not one dose is certain enough: inseminated {spoken(plan.hours)} h after collection "
            f"{kept}, the whole sample as one dose holds {spoken(plan.target_m)} M "
            f"progressively motile with a chance of {percent(plan.chosen.meets_prob)}, and "
            f"{percent(plan.certainty)} was asked for."
        )
    each = "1 dose" if plan.n_doses == 1 else f"{plan.n_doses} doses"
    return (
        f"{each} of at least {spoken(plan.target_m)} M progressively motile when inseminated "
        f"{spoken(plan.hours)} h after collection {kept}, "
        f"{'' if plan.n_doses == 1 else 'each '}with a chance of "
        f"{percent(plan.chosen.meets_prob)}."
    )


def dose_table(plan: doses.DosePlan) -> TextTable:
    """What a dose holds for each number of doses."""
    return TextTable(
        (
            "Doses",
            f"M progressively motile each at {spoken(plan.hours)} h",
            RANGE,
            "Meets the target",
        ),
        tuple(
            (
                str(chance.n_doses),
                spoken(chance.motile_dose_m.median),
                spoken_range(chance.motile_dose_m.lower, chance.motile_dose_m.upper),
                percent(chance.meets_prob),
            )
            for chance in plan.chances
        ),
    )


def dose_values(plan: doses.DosePlan) -> dict[str, object]:
    """The same for machines."""
    return {
        "n_doses": plan.n_doses,
        "target_m": plan.target_m,
        "certainty": plan.certainty,
        "hours": plan.hours,
        "meets_until_h": motility_kept.hours_shown(plan.until_h),
        "doses": [
            {
                "n_doses": chance.n_doses,
                "motile_dose_m": chance.motile_dose_m.median,
                "motile_dose_m_low": chance.motile_dose_m.lower,
                "motile_dose_m_high": chance.motile_dose_m.upper,
                "meets_prob": chance.meets_prob,
            }
            for chance in plan.chances
        ],
    }


def published_doses(route: doses.Route) -> str:
    """What papers used by this route, beside the target."""
    inside = route == "transcervical"
    shown = [
        f"{where}: {dose}, {source}"
        for where, dose, source in doses.PUBLISHED_DOSES
        if where.startswith("intrauterine") is inside
    ]
    return f"Doses in studies. {'; '.join(shown)}."


def refuse_unstudied(hours: float) -> None:
    """Refuse an insemination so late that no dose is stated to be enough for it.

    Raises
    ------
    ToolkitError
        Beyond :data:`studcurve.analytics.measures.motility_kept.STATED_UNTIL_HOURS`.
    """
    if hours > motility_kept.STATED_UNTIL_HOURS:
        raise ToolkitError(
            f"{spoken(hours)} h from the collection to the insemination were asked for, and no "
            f"dose is told to be enough beyond {motility_kept.STATED_UNTIL_HOURS:.0f} h. Choose an "
            "earlier insemination or another method."
        )


def unstudied_sentence(medium: motility_kept.Medium, hours: float, studied_h: float) -> str:
    """Why no number is given."""
    kept = "Unextended semen" if medium == "undiluted" else "Chilled semen"
    return (
        f"{kept} has been followed for {studied_h:.0f} h, and {spoken(hours)} h were asked for. "
        "No number is given beyond; choose an earlier insemination or another method."
    )


def spin_answer(
    *,
    radius_cm: float,
    force_g: float | None,
    speed_rpm: float | None,
    minutes: float,
    volume_ml: float | None,
    leave_ml: float | None,
    recovery: tuple[int, int, float] | None,
    count_cv: float,
) -> Answer:
    """Speed for a force or force for a speed, what is lost, and what was recovered."""
    if speed_rpm is not None:
        force_g = float(spin.relative_force_g(radius_cm, speed_rpm))
    force = spin.USUAL_G if force_g is None else force_g
    speed = float(spin.rotor_speed_rpm(radius_cm, force))
    kept = float(spin.expected_kept_pct(force, minutes))
    values: dict[str, object] = {
        "radius_cm": radius_cm,
        "force_g": force,
        "speed_rpm": speed,
        "expected_kept_pct": kept,
    }
    sentences = [
        f"{force:,.0f} g on a rotor of {radius_cm:g} cm is {speed:,.0f} rpm, for "
        f" {minutes:g} minutes."
    ]
    rows = [
        ("Speed, rpm", f"{speed:,.0f}"),
        ("Expected in the pellet, %", spoken(kept) if np.isfinite(kept) else "not studied"),
    ]
    remarks = [spin.BALANCE + " Common practice, no source."]
    if not np.isfinite(kept):
        sentences.append(
            f"The study covers {spin.STUDIED_G[0]:.0f} to {spin.STUDIED_G[-1]:,.0f} g for "
            f"{spin.STUDIED_MINUTES:.0f} minutes; nothing is said beyond it."
        )
    if force >= spin.DAMAGE_FROM_G:
        sentences.append("At this force more sperm were dead after 48 to 72 hours.")
    if volume_ml is not None and leave_ml is not None:
        fluid = float(spin.fluid_to_take_off_ml(volume_ml, leave_ml))
        values["fluid_to_take_off_ml"] = fluid
        rows.append(("Supernatant to remove, mL", spoken(fluid)))
    if recovery is not None:
        before, after, ratio = recovery
        share, low, high = spin.recovered_pct(before, after, ratio, extra_cv=count_cv)
        values |= {"recovered_pct": float(share), "recovered_pct_low": float(low),
                   "recovered_pct_high": float(high)}  # fmt: skip
        sentences.append(f"Recovered: {spoken(float(share))} %, {RANGE} {spoken_range(low, high)}.")
        rows.append(("Recovered, %", f"{spoken(float(share))} ({spoken_range(low, high)})"))
    remarks.append(f"{PRIORS['s06_720g'].source} (P).")
    return Answer(
        tuple(sentences), (TextTable(("", "Value"), tuple(rows)),), tuple(remarks), values
    )


def extend_answer(
    volume_ml: float,
    *,
    ratio: float | None,
    concentration_m_per_ml: float | None,
    final_m_per_ml: float | None,
    n_doses: int,
    weight_kg: float | None,
    route: doses.Route,
    waited_minutes: float | None,
) -> Answer:
    """Extender for a ratio or a final concentration, and whether the dose fits."""
    if ratio is None:
        if concentration_m_per_ml is None or final_m_per_ml is None:
            raise ToolkitError(
                "The extender follows from --ratio, or from --concentration and --final; got "
                "neither. Give one of them."
            )
        extender = float(
            extending.extender_for_concentration_ml(
                volume_ml, concentration_m_per_ml, final_m_per_ml
            )
        )
        if not np.isfinite(extender):
            raise ToolkitError(
                f"The sample has {concentration_m_per_ml:g} M/mL and {final_m_per_ml:g} was asked "
                "for: extender only thins. Centrifuge first, or aim lower."
            )
        ratio = extender / volume_ml
    extender = float(extending.extender_for_ratio_ml(volume_ml, ratio))
    whole = volume_ml + extender
    final = None
    if concentration_m_per_ml is not None:
        final = volume_ml * concentration_m_per_ml / whole
    limit = None if weight_kg is None else extending.volume_limit_ml(weight_kg, route)
    reminders = extending.bench_reminders(
        ratio=ratio,
        final_m_per_ml=final,
        unextended_minutes=waited_minutes,
        dose_volume_ml=whole / n_doses,
        limit_ml=limit,
    )
    rows = [
        ("Extender, mL", spoken(extender)),
        ("Semen to extender", one_plus(ratio)),
        ("Volume in all, mL", spoken(whole)),
        (f"Each of {n_doses}, mL", spoken(whole / n_doses)),
    ]
    if final is not None:
        rows.append(("M/mL after extending", spoken(final)))
    if limit is not None:
        rows.append(("Fits her by this route, mL", spoken(limit)))
    return Answer(
        (
            f"Add {spoken(extender)} mL of extender to {spoken(volume_ml)} mL of semen: "
            f"{spoken(whole)} mL in all, {spoken(whole / n_doses)} mL in each of {n_doses}.",
        ),
        (TextTable(("", "Value"), tuple(rows)),),
        tuple(f"{reminder.sentence} ({reminder.source})" for reminder in reminders),
        {"extender_ml": extender, "ratio": ratio, "volume_in_all_ml": whole,
         "dose_volume_ml": whole / n_doses, "final_m_per_ml": final, "volume_limit_ml": limit,
         "reminders": [reminder.sentence for reminder in reminders]},
    )  # fmt: skip


def storage_answer(
    *,
    motility_pct: float,
    extender: str | None,
    curve: motility_kept.StorageDraws,
    hours: Sequence[float],
    dose_m: float | None,
    target_m: float,
    certainty: float,
) -> Answer:
    """Motility at each hour, and until when a dose meets its target."""
    found = {
        hour: motility_kept.kept_at(curve, motility_pct, hour)
        if hour <= motility_kept.STATED_UNTIL_HOURS
        else None
        for hour in hours
    }
    rows, values = [], []
    for hour, left in found.items():
        if left is None:
            missing = "not told" if hour <= curve.studied_until_h else "not studied"
            rows.append((spoken(hour), missing, "", ""))
            values.append({"hours": hour, "progressive_motility_pct": None})
            continue
        meets = float("nan")
        if dose_m is not None:
            meets = float(motility_kept.enough_prob(curve, dose_m, target_m, hour))
        ends = spoken_range(left.lower, left.upper)
        mark = BEYOND_MARK if curve.is_beyond_own(hour) else ""
        rows.append((spoken(hour) + mark, spoken(left.median), ends, percent(meets)))
        values.append(
            {
                "hours": hour,
                "progressive_motility_pct": left.median,
                "progressive_motility_pct_low": left.lower,
                "progressive_motility_pct_high": left.upper,
                "meets_prob": meets,
                "is_extrapolated": curve.is_beyond_own(hour),
            }
        )
    sentences = [_kept_sentence(motility_pct, found)]
    last: dict[str, float | None] = {}
    if dose_m is not None:
        lower_prob, _, upper_prob = interval_quantiles()
        last = {
            name: motility_kept.hours_shown(
                motility_kept.last_hour(curve, dose_m, target_m, prob=prob)
            )
            for name, prob in (
                ("meets_until_h", certainty),
                ("meets_until_h_low", upper_prob),
                ("meets_until_h_high", lower_prob),
            )
        }
        sentences.append(_until_sentence(dose_m, target_m, certainty, last))
    remarks = [
        f"{motility_kept.NOT_FERTILITY} No study relates hours of storage in dogs to litters.",
        f"{curve.source}.",
    ]
    if any(curve.is_beyond_own(hour) for hour, left in found.items() if left is not None):
        remarks.append(_beyond_remark(curve.observed_until_h))
    headings = ("Hours after collection", "Progressive motility, %", RANGE, "Meets the target")
    # Without a dose there is no target to meet.
    n_columns = len(headings) if dose_m is not None else len(headings) - 1
    return Answer(
        tuple(sentences),
        (TextTable(headings[:n_columns], tuple(row[:n_columns] for row in rows)),),
        tuple(remarks),
        {"medium": motility_kept.medium_of(extender), "hours": values, "is_own": curve.is_own,
         "meets_until_h": None, **last},
    )  # fmt: skip


def _until_sentence(
    dose_m: float, target_m: float, certainty: float, last: dict[str, float | None]
) -> str:
    """Until when a dose is enough."""
    until, low, high = (
        last[name] for name in ("meets_until_h", "meets_until_h_low", "meets_until_h_high")
    )
    if until is None or high is None:
        return f"A dose of {spoken(dose_m)} M does not hold {spoken(target_m)} M even at hour 0."
    holds = f"A dose of {spoken(dose_m)} M progressively motile holds {spoken(target_m)} M"
    if until == 0.0:
        return f"{holds} for less than half a day with a chance of {percent(certainty)}."
    most = motility_kept.STATED_UNTIL_HOURS
    to = f"{spoken(high / 24.0)}{' or more' if high == most else ''}"
    days = f"{spoken(until / 24.0)} {'day' if until == 24.0 else 'days'}"
    return (
        f"{holds} for {days} with a chance of {percent(certainty)} (days until it stops being "
        f"enough, {RANGE} {spoken((low or 0.0) / 24.0)} to {to}; none is told beyond {most:.0f} h)."
    )


def _beyond_remark(observed_until_h: float | None) -> str:
    """What the marked hours are."""
    if not observed_until_h:
        return (
            f"{BEYOND_MARK.strip()} The kennel has no evaluation of its own in this extender: "
            "extrapolated from its other evaluations by the studies' curve."
        )
    return (
        f"{BEYOND_MARK.strip()} Beyond hour {observed_until_h:.0f}, the kennel's own longest "
        "evaluation in this extender: extrapolated by the studies' shape."
    )


def _kept_sentence(motility_pct: float, found: dict[float, Estimate | None]) -> str:
    """What is left after a night, or at the known hour nearest to one that was asked about."""
    known = [(hour, left) for hour, left in found.items() if left is not None]
    if not known:
        limit = motility_kept.STATED_UNTIL_HOURS
        return f"No number is told beyond {limit:.0f} h, or beyond what was studied."
    hour, left = min(known, key=lambda known_at: abs(known_at[0] - USUAL_HOURS))
    return (
        f"Of {spoken(motility_pct)} % progressively motile about {spoken(left.median)} % are left "
        f"{spoken(hour)} h after collection ({RANGE} {spoken_range(left.lower, left.upper)})."
    )


def how_read(reading: doses.SampleEvaluation) -> str:
    """How the sample was read, and what that is worth."""
    if reading.n_cells is not None:
        counted = f"Counted: {reading.n_cells} cells."
    elif reading.concentration_m_per_ml is not None:
        counted = "Concentration from a photometer."
    else:
        counted = (
            "Not counted: the total is what is usual for dogs of every size, and very uncertain "
            f"({source_of('q01_level')})."
        )
    judged = (
        f"Motility counted on {reading.n_motility_evaluated} sperm."
        if reading.n_motility_evaluated is not None
        else f"Motility judged by eye, ±{PRIORS['r01_sd'].centre:.0f} points and between "
        f"evaluators ±{PRIORS['r01_observer'].sd:.0f} (prior r01, judgment)."
    )
    return f"{counted} {judged}"
