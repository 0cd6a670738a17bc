"""Processor seconds of the bench, the shipment and the card: up to the first answer, and of each
answer.

Run as ``python -m tests.benchmarks.bench_commands``. Wanted: under 1 s to the first answer once
byte-compiled, under 0.5 s of own work; recording a shipment goes through the loader and may take 1
s.
"""

import os
import tempfile
from pathlib import Path

from tests.pipelines.test_bench import bench_arguments, daily_arguments, fresh_process

from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO, DEMO_TODAY


def main() -> None:
    """Print the figures of a second run; the first one byte-compiles."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        with Store.open(place / "demo.duckdb") as store:
            store.load([DEMO / "records"], today=DEMO_TODAY)
        environment = dict(os.environ, PYTHONPYCACHEPREFIX=str(place / "compiled"))
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        for commands in (bench_arguments(place), daily_arguments(place / "demo.duckdb", place)):
            fresh_process(commands, environment)
            found = fresh_process(commands, environment)
            print(f"first answer after {found['first']:.2f} s")
            for name, seconds in found["work"].items():
                print(f"  {name:<28} {seconds:.3f} s")


if __name__ == "__main__":
    main()
