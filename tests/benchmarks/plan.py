"""Time a comparison of 6 options and a season of 12 bitches on the fitted demo, after import.

Run with `python tests/benchmarks/plan.py [RECORDS FILE]`; without a file the demo's sheets are
loaded into a temporary one and not fitted. Targets: 3 s for 6 options and 4,000 joint draws, 10 s
for the season.
"""

import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from analytics.plan.feasible import possible_options
from analytics.plan.season import plan_season
from analytics.plan.season_ways import rest_shares, ways_of
from analytics.plan.unknowns import Chain
from pipelines.plan_answers import plan_answer
from pipelines.plan_asked import Wishes, circumstances_of, unknowns_of
from pipelines.plan_records import Heat, heat_of, pair_of, prices_on, read_plan_records
from pipelines.planning import plan_breeding
from pipelines.run import DEMO, DEMO_TODAY
from pipelines.season_planning import N_SEASON_DRAWS, stud_limits
from pipelines.store import Store
from reports.words import Words

SEED = 20240229
N_DRAWS = 4000
N_BITCHES = 12
ASKED_AT = datetime(2026, 10, 31, 8)


def demo_file(folder):
    """Load the demo's sheets."""
    path = Path(folder) / "demo.duckdb"
    with Store.open(path) as store:
        store.load([DEMO / "records"], today=DEMO_TODAY)
    return path


def main():
    with tempfile.TemporaryDirectory() as folder:
        path = Path(sys.argv[1]) if len(sys.argv) > 1 else demo_file(folder)
        started, cpu = time.perf_counter(), time.process_time()
        records = read_plan_records(path, ASKED_AT)
        read = time.perf_counter()
        wishes = Wishes(n_inseminations=(1,), refused=frozenset({"natural"}))
        plan = plan_breeding(records, "Tarn", "Birch", wishes, seed=SEED, n_draws=N_DRAWS)
        plan_answer(plan, Words("en"))
        told, used = time.perf_counter(), time.process_time() - cpu
    fitted = "fitted" if records.conception.kept else "not fitted"
    print(
        f"compare ({fitted}): {len(plan.answers)} options × {plan.n_draws} joint draws: records "
        f"{read - started:.2f} s, comparison {told - read:.2f} s, together "
        f"{told - started:.2f} s, of a processor {used:.2f} s (target 3 s)"
    )
    time_season(records)


def time_season(records):
    """Twelve bitches whose heats begin within three weeks."""
    rng = np.random.default_rng(SEED)
    posterior = records.conception.posterior
    chain = Chain(posterior.draws, posterior.data.levels)
    prices, _ = prices_on(records)
    bitches = sorted(set(records.views["cycles"]["bitch"]))[:N_BITCHES]
    started, cpu = time.perf_counter(), time.process_time()
    rested = rest_shares(rng, N_SEASON_DRAWS)
    ways = []
    for k, name in enumerate(bitches):
        on = ASKED_AT.date() + timedelta(days=int(rng.integers(6, 27)))
        heat: Heat = heat_of(records, name, ovulation_on=on)
        wishes = Wishes(is_bitch_at_kennel=k % 2 == 0)
        pair = pair_of(records, "Tarn", name)
        asked = circumstances_of(records, "Tarn", heat, wishes, prices)
        options, _ = possible_options(asked)
        unknowns = unknowns_of(
            records, pair, heat, asked, wishes, chain, seed=SEED, n_draws=N_SEASON_DRAWS
        )
        ways.append(ways_of(options, pair, unknowns, rested, prices=prices, worth_of_litter=None))
    chances = time.perf_counter()
    plan = plan_season(ways, bitches, stud_limits(records, "Tarn", Wishes()))
    solved, used = time.perf_counter(), time.process_time() - cpu
    print(
        f"season: {N_BITCHES} bitches, {sum(map(len, ways))} ways: chances "
        f"{chances - started:.2f} s, schedule {solved - chances:.2f} s, together "
        f"{solved - started:.2f} s, of a processor {used:.2f} s (target 10 s); "
        f"{plan.expected_litters:.2f} litters expected, "
        f"at most {plan.bound - plan.value:.3f} more possible"
    )


if __name__ == "__main__":
    main()
