"""Time a comparison of 6 options and a season of 12 bitches on the fitted demo, import apart.

Run with `python tests/benchmarks/plan.py RECORDS_FILE`, the file being that of `studcurve demo`.
Each part is told in seconds by the clock and, in brackets, of a processor, which other work on the
machine leaves as it is. Targets, after import: 3 s for 6 options and 4,000 joint draws, reading and
telling included; 10 s for the season. Nothing on either path may compile: a compiled program is
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
TARGETS_S = {"compare": 3.0, "season": 10.0}


@contextmanager
def timed(what, told):
    """Note how long a part takes by the clock and of a processor. [s]"""
    clock, processor = time.perf_counter(), time.process_time()
    yield
    told[what] = (time.perf_counter() - clock, time.process_time() - processor)


def main():
    told = {}
    with timed("import", told):
        import jax

        from studcurve.pipelines.answers import comparison as plan_answers
        from studcurve.pipelines.answers import season as season_answers
        from studcurve.pipelines.plan import comparison as planning
        from studcurve.pipelines.plan import records as plan_records
        from studcurve.pipelines.plan import season as season_planning
        from studcurve.pipelines.plan.wishes import Wishes
        from studcurve.reports.words import Words

    compiled = []
    jax.monitoring.register_event_duration_secs_listener(
        lambda name, *_, **__: compiled.append(name) if "backend_compile" in name else None
    )
    words = Words("en")
    with timed("compare: read", told):
        records = plan_records.read_plan_records(Path(sys.argv[1]), ASKED_AT)
    wishes = Wishes(n_inseminations=(1,), refused=frozenset({"natural"}))
    with timed("compare: calculate and tell", told):
        plan = planning.plan_breeding(records, "Tarn", "Whin", wishes, seed=SEED, n_draws=N_DRAWS)
        plan_answers.plan_answer(plan, words)
    bitches, in_heat = heats_within_three_weeks(records)
    with timed("season", told):
        season = season_planning.plan_stud_season(
            in_heat, "Tarn", bitches, Wishes(), away=frozenset(bitches[::2]), seed=SEED
        )
        season_answers.season_answer(season, words, seed=SEED)

    fits = {
        "conception": records.conception.kept, "litter": records.litter.kept,
        "total sperm": records.total_sperm, "storage": records.storage.own,
    }  # fmt: skip
    print("fits:", ", ".join(f"{name} {'kept' if fit else 'none'}" for name, fit in fits.items()))
    for what, (clock, processor) in told.items():
        print(f"{what}: {clock:.2f} s ({processor:.2f} s)")
    for question, target in TARGETS_S.items():
        parts = [seconds for what, seconds in told.items() if what.startswith(question)]
        clock, processor = (sum(column) for column in zip(*parts, strict=True))
        print(f"{question}, after import: {clock:.2f} s ({processor:.2f} s), target {target:.0f} s")
    print(
        f"{len(plan.answers)} options x {plan.n_draws} joint draws; {len(season.heats)} bitches x "
        f"{season.n_draws} joint draws, {season.plan.expected_litters:.2f} litters expected, at "
        f"most {season.plan.bound - season.plan.value:.3f} more possible; "
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
