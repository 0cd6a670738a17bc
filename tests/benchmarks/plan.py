"""Time a comparison of 6 options and a schedule of 12 bitches on the fitted demo, import apart.

Run with `python tests/benchmarks/plan.py RECORDS_FILE`, the file being that of `studcurve demo`.
Each part is in seconds by the clock and, in brackets, of a processor, which other work on the
machine leaves as it is. Targets, after import: 3 s for 6 options and 4,000 joint draws, reading and
telling included; 10 s for the schedule. Nothing on either path may compile: a compiled program is
counted and named.
"""

import sys
import time
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

SEED = 20240229
N_DRAWS = 4000
N_BITCHES = 12
ASKED_AT = datetime(2026, 10, 31, 8)
TARGETS_S = {"compare": 3.0, "schedule": 10.0}


@contextmanager
def timed(what, seconds):
    """Note how long a part takes by the clock and of a processor. [s]"""
    clock, processor = time.perf_counter(), time.process_time()
    yield
    seconds[what] = (time.perf_counter() - clock, time.process_time() - processor)


def main():
    seconds = {}
    with timed("import", seconds):
        import jax

        from studcurve.pipelines.answers import comparison as plan_answers
        from studcurve.pipelines.answers import schedule as schedule_answers
        from studcurve.pipelines.plan import comparison as planning
        from studcurve.pipelines.plan import records as plan_records
        from studcurve.pipelines.plan import schedule as schedule_planning
        from studcurve.pipelines.plan.wishes import Wishes
        from studcurve.reports.words import Words

    compiled = []
    jax.monitoring.register_event_duration_secs_listener(
        lambda name, *_, **__: compiled.append(name) if "backend_compile" in name else None
    )
    words = Words("en")
    with timed("compare: read", seconds):
        records = plan_records.read_plan_records(Path(sys.argv[1]), ASKED_AT)
    wishes = Wishes(n_inseminations=(1,), refused=frozenset({"natural"}))
    with timed("compare: calculate and tell", seconds):
        plan = planning.plan_breeding(records, "Tarn", "Whin", wishes, seed=SEED, n_draws=N_DRAWS)
        plan_answers.plan_answer(plan, words)
    bitches, in_heat = heats_within_three_weeks(records)
    with timed("schedule", seconds):
        schedule = schedule_planning.plan_stud_schedule(
            in_heat, "Tarn", bitches, Wishes(), away=frozenset(bitches[::2]), seed=SEED
        )
        schedule_answers.schedule_answer(schedule, words, seed=SEED)

    fits = {
        "conception": records.conception.kept, "litter": records.litter.kept,
        "total sperm": records.total_sperm, "storage": records.storage.own,
    }  # fmt: skip
    print("fits:", ", ".join(f"{name} {'kept' if fit else 'none'}" for name, fit in fits.items()))
    for what, (clock, processor) in seconds.items():
        print(f"{what}: {clock:.2f} s ({processor:.2f} s)")
    for question, target in TARGETS_S.items():
        parts = [taken for what, taken in seconds.items() if what.startswith(question)]
        clock, processor = (sum(column) for column in zip(*parts, strict=True))
        print(f"{question}, after import: {clock:.2f} s ({processor:.2f} s), target {target:.0f} s")
    print(
        f"{len(plan.answers)} options x {plan.n_draws} joint draws; {len(schedule.heats)} bitches "
        f"x {schedule.n_draws} joint draws, {schedule.plan.expected_litters:.2f} litters expected, "
        f"at most {schedule.plan.bound - schedule.plan.value:.3f} more possible; "
        f"{len(compiled)} programs compiled"
    )


def heats_within_three_weeks(records):
    """Twelve bitches, and the records as if each had come into heat within three weeks."""
    from dataclasses import replace

    import numpy as np

    from studcurve.pipelines.records.dog_history import cautions_of

    rng = np.random.default_rng(SEED)
    cycles = records.views["cycles"]
    # None whom a caution stops: of her no way is worked out.
    bitches = [
        bitch
        for bitch in sorted(set(cycles["bitch"]))
        if not any(c.stops for c in cautions_of(records.views, bitch, ASKED_AT.date()))
    ][:N_BITCHES]
    last = cycles[cycles["bitch"].isin(bitches)].groupby("bitch")["first_day"].idxmax()
    moved = cycles.loc[last].copy()
    moved["first_day"] = [
        np.datetime64(ASKED_AT.date() - timedelta(days=int(days)))
        for days in rng.integers(0, 21, len(moved))
    ]
    moved["lh_surge_on"] = None
    # Dated by a veterinarian: before a rise, or such a date, no day is worked out.
    moved["vet_ovulation_on"] = moved["first_day"] + np.timedelta64(12, "D")
    progesterone = records.views["progesterone"]
    unread = progesterone[~progesterone["cycle_id"].isin(moved["cycle_id"])]
    views = {**records.views, "cycles": moved, "progesterone": unread}
    return bitches, replace(records, views=views)


if __name__ == "__main__":
    main()
