"""How many small changes of the rules does a test notice? By hand, before a release.

Each number of a constant is moved a little up and down, each comparison is shifted by its edge,
each "and" becomes "or" and each "not" goes; the quick tests of that module run on a copy with the
change. What no test notices is listed, and a module of which fewer than nine in ten are noticed
fails.

``python tests/mutations.py [MODULE ...] [--share 0.2 --seed 7] [--processes 2]``; .ci/nightly asks
for all of it. A module is named by its path, or by the beginning of one.

Each test run is a fork of a process that has the libraries imported and nothing of the program.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib
import math
import os
import random
import shutil
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]

WANTED = 0.9
"""Share of the changes of each module that is noticed."""

PATIENCE = 10.0
"""A run that takes so many times as long as the unchanged one has noticed that it has no end."""

CAUTIONS = ["--noconftest", "tests/analytics/cautions"]
PLANS = "tests/analytics/plan"


def measure(*names: str) -> list[str]:
    return ["--noconftest", *(f"tests/analytics/test_{name}.py" for name in names)]


def plan(name: str) -> list[str]:
    # The plan's own conftest alone: that of all tests would import the whole program.
    return [f"--confcutdir={PLANS}", f"{PLANS}/test_{name}.py"]


TARGETS: dict[str, list[str]] = {
    **{
        f"analytics/cautions/{name}.py": CAUTIONS
        for name in (
            "breeding", "brucella", "illness", "kennel", "lifting", "questions", "records",
            "samples", "words",
        )
    },
    "analytics/estimate.py": measure("estimate"),
    "analytics/measures/agreement.py": measure("agreement"),
    "analytics/measures/control_chart.py": measure("control_chart"),
    "analytics/measures/counting.py": measure("counting"),
    "analytics/measures/dates.py": measure("calendar"),
    "analytics/measures/doses.py": measure("doses"),
    "analytics/measures/extending.py": measure("extending"),
    "analytics/measures/missing.py": measure("missing"),
    "analytics/measures/motility_kept.py": measure("keeping"),
    "analytics/measures/semen.py": measure("semen"),
    "analytics/measures/spin.py": measure("spin"),
    "analytics/measures/stages.py": ["tests/analytics/test_stages.py"],
    "analytics/measures/value_of_information.py": measure("information"),
    "analytics/models/ovulation/insemination_days.py": measure("timing"),
    "analytics/models/stud/announcement.py": measure("stud_announcement"),
    "analytics/models/stud/false_alarms.py": measure("stud_false_alarms"),
    "analytics/models/stud/looks.py": measure("stud_announcement", "stud_false_alarms"),
    "analytics/models/stud/power.py": measure("stud_false_alarms"),
    "analytics/outcomes/regressing.py": measure("regressing"),
    "analytics/plan/breakeven.py": plan("breakeven"),
    "analytics/plan/breeding_plan.py": plan("breeding_plan"),
    "analytics/plan/compare.py": plan("compare"),
    "analytics/plan/feasible.py": plan("feasible"),
    "analytics/plan/measure_next.py": plan("measure_next"),
    "analytics/plan/options.py": plan("feasible"),
    "analytics/plan/schedule/conflicts.py": plan("schedule"),
    "analytics/plan/schedule/program.py": plan("schedule"),
    "analytics/plan/schedule/ways.py": plan("schedule"),
    "analytics/plan/simulation/chain.py": plan("chain"),
    "analytics/plan/simulation/lateness.py": plan("lateness_and_samples"),
    "analytics/plan/simulation/pups.py": plan("pups"),
    "analytics/plan/simulation/samples.py": plan("lateness_and_samples"),
    "analytics/plan/simulation/unknowns.py": plan("chain"),
    "analytics/plan/what_if.py": plan("what_if"),
    "analytics/trust/estimating.py": measure("estimating", "regressing"),
    "analytics/trust/ledger.py": measure("ledger"),
    "pipelines/records/sheets/rules.py": [
        "tests/pipelines/records/sheets/test_rule_edges.py",
        "tests/pipelines/records/sheets/test_rules.py",
    ],
}  # fmt: skip
"""Modules whose rules are changed, and the quick tests that must notice."""

WHOLE_DAYS = "no whole number of days is so many years of 365.25 days"

NODES = "a node more or less moves no run length by a millionth"
NO_DRAW = "of continuous draws none lies on the edge itself"
AVERAGED = "how many are drawn for an average whose error is told"
DIFFERENCES = "MAX_DIFFERENCE_PCT_OF_200 = ((0, 1), (1, 2), (2, 3), (4, 4),"
ABOVE = "the last row holds for every average above the one before"
CUT = "what it leaves out of a search cannot change its answer; enumeration agrees"
TO_72 = "hours in steps of six end at 72 as well"
STUDIED = "STUDIED: Mapping[str, tuple[float, float]] = {'bitch age': ("
FIT = "_fit_beside(first, second, ways[i], ways[j], stud)"
BOTH = "both are given or neither"
INVERTIBLE = "a variance too small to matter keeps a matrix invertible"
AT_AN_END = "a knot more at an end adds a column of nought"

EQUIVALENT: dict[str, dict[str, str]] = {
    "analytics/measures/control_chart.py": {
        "N_NODES = 101 (101, number 1, up)": NODES,
        "N_NODES = 101 (101, number 1, down)": NODES,
    },
    "analytics/measures/counting.py": {
        f"{DIFFERENCES} (100, number 37, up)": ABOVE,
        f"{DIFFERENCES} (100, number 37, down)": ABOVE,
    },
    "analytics/measures/motility_kept.py": {
        "N_DRAWS = 20000 (20000, number 1, up)": AVERAGED,
        "N_DRAWS = 20000 (20000, number 1, down)": AVERAGED,
    },
    "analytics/measures/value_of_information.py": {
        "edge of inner > levels[0]": AT_AN_END,
        "edge of inner < levels[-1]": AT_AN_END,
        "edge of x[:, None] == levels[None, 1:]": "the same columns turned round, by an intercept",
    },
    "analytics/trust/estimating.py": {
        "edge of sizes > IN_ROW_SPACE * sizes[0]": NO_DRAW,
        "edge of leverage >= ALONE": NO_DRAW,
        "edge of np.abs(outside).max(axis=1, initial=0.0) <= IN_ROW_SPACE": NO_DRAW,
    },
    "analytics/models/stud/announcement.py": {
        "edge of moved <= -stated_fall(data.measure)": NO_DRAW,
        "edge of moved <= data.measure.act_on": NO_DRAW,
    },
    "analytics/models/stud/false_alarms.py": {
        "N_EACH = 500 (500, number 1, up)": AVERAGED,
        "N_EACH = 500 (500, number 1, down)": AVERAGED,
        "edge of days.max() - last[stud] <= FOLLOWED_DAYS": WHOLE_DAYS,
    },
    "analytics/models/stud/looks.py": {
        "N_SPREADS = 8 (8, number 1, up)": AVERAGED,
        "N_SPREADS = 8 (8, number 1, down)": AVERAGED,
        "LEAST_VARIANCE = 1e-09 (1e-09, number 1, up)": INVERTIBLE,
        "LEAST_VARIANCE = 1e-09 (1e-09, number 1, down)": INVERTIBLE,
    },
    "analytics/models/stud/power.py": {
        "edge of widths < abs(rhythm.act_on)": NO_DRAW,
        "edge of surest_error(this_year.after()) >= sure_prob": NO_DRAW,
    },
    "analytics/measures/doses.py": {
        "and/or of self.n_cells is None or self.looked_at_nl is None": BOTH,
        "and/or of reading.n_cells is not None and reading.looked_at_nl is not None": BOTH,
    },
    "analytics/plan/breakeven.py": {
        "GRIDS: Mapping[Axis, tuple[float, ...]] = MappingProxyType({ (73, number 2, up)": TO_72,
    },
    "analytics/plan/compare.py": {
        f"{STUDIED} (100.0, number 11, up)": "no percentage is above 100",
        "edge of np.abs(rise) > 1e-09": "the chord of so short a path is the slope to rounding",
    },
    "analytics/plan/schedule/conflicts.py": {
        "FIRST_LOSS_LIMIT = 0.15 (0.15, number 1, up)": CUT,
        "FIRST_LOSS_LIMIT = 0.15 (0.15, number 1, down)": CUT,
        "edge of lost > limit": CUT,
        f"and/or of lost_in_plan <= least or {FIT}": CUT,
        "edge of lost_in_plan <= least": CUT,
        "edge of abs((a - b).days) >= LONGEST_REST": CUT,
        "edge of n_straws <= stud.n_straws": CUT,
        "edge of price > least": "a price is known to the solver's gap, which is that limit",
        "edge of result.x > 0.5": "a solution is whole numbers",
        "edge of rng.uniform(size=chances.shape) < chances": NO_DRAW,
    },
    "analytics/plan/schedule/program.py": {
        "edge of value >= lowest[b]": CUT,
        "and/or of self._fits(way, state) and value >= lowest[b]": CUT,
    },
    "analytics/plan/schedule/ways.py": {
        "edge of way.value.max() > kept[key].value.max()": "either of two equal ways",
    },
    "analytics/plan/simulation/lateness.py": {
        "edge of uniform[:, None] > np.cumsum(shares, axis=1)[:, :2]": NO_DRAW,
    },
    "analytics/plan/simulation/pups.py": {
        "edge of u_size > empty": NO_DRAW,
        "edge of within[:, None] > below[:, :-1] / below[:, -1:]": NO_DRAW,
        "edge of u[:, None] > below[:, :-1]": NO_DRAW,
    },
    "analytics/plan/simulation/unknowns.py": {
        "N_JOINT_DRAWS = 4000 (4000, number 1, up)": AVERAGED,
        "N_JOINT_DRAWS = 4000 (4000, number 1, down)": AVERAGED,
    },
    "analytics/cautions/breeding.py": {
        "edge of years < (SMALL_GROWN_YEARS if is_small else GROWN_YEARS)": WHOLE_DAYS,
        "edge of years > LATE_FIRST_LITTER_YEARS": WHOLE_DAYS,
    },
    "analytics/cautions/samples.py": {
        "edge of first > 0": "a series that falls from its first on ends lower than it began",
        "edge of worst < read": "the value is the same",
    },
}
"""Changes that no test can notice, by module as they are printed, and why; they do not count."""

LIBRARIES = ("pytest", "hypothesis", "numpy", "pandas", "scipy.stats", "scipy.optimize",
             "scipy.integrate", "scipy.signal", "arviz_stats.base", "jax", "numpyro.infer",
             "duckdb", "statsmodels.api")  # fmt: skip

EDGES = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
         ast.NotEq: ast.Eq}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """A changed text of a module."""

    module: str
    line: int
    what: str
    text: str


def mutants(source: str, module: str = "") -> Iterator[Mutant]:
    """Every changed text of a module, and what was changed in it."""
    tree = ast.parse(source)
    for place, node in enumerate(ast.walk(tree)):
        for what, change in changes_of(node, tree):
            changed = copy.deepcopy(tree)
            change(list(ast.walk(changed))[place])
            yield Mutant(module, node.lineno, what, ast.unparse(changed))


def changes_of(node: Any, tree: ast.Module) -> Iterator[tuple[str, Any]]:
    if isinstance(node, ast.Assign | ast.AnnAssign) and node in tree.body:
        for n, part in enumerate(numbers_of(node.value)):
            for step in (1, -1):

                def move(changed, n=n, step=step):
                    one = list(numbers_of(changed.value))[n]
                    one.value += step * (1 if isinstance(one.value, int) else 0.02 * one.value)

                source = ast.unparse(node)[:60].replace("\n", " ")
                yield (
                    f"{source} ({part.value}, number {n + 1}, {'up' if step > 0 else 'down'})",
                    move,
                )
    elif isinstance(node, ast.Compare) and type(node.ops[0]) in EDGES:

        def shift(changed):
            changed.ops[0] = EDGES[type(changed.ops[0])]()

        yield f"edge of {ast.unparse(node)}", shift
    elif isinstance(node, ast.BoolOp):

        def swap(changed):
            changed.op = ast.Or() if isinstance(changed.op, ast.And) else ast.And()

        yield f"and/or of {ast.unparse(node)[:80]}", swap
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):

        def drop(changed):
            changed.operand = ast.UnaryOp(ast.Not(), changed.operand)

        yield f"without {ast.unparse(node)[:80]}", drop


def numbers_of(value: ast.AST | None) -> Iterator[ast.Constant]:
    """Numbers of a constant, in whatever it is wrapped; none of a text."""
    if value is None or isinstance(value, ast.JoinedStr | ast.Lambda | ast.Subscript):
        return
    # A float of 0 has no step of its own size.
    if isinstance(value, ast.Constant) and (
        type(value.value) is int or (type(value.value) is float and value.value != 0.0)
    ):
        yield value
    for part in ast.iter_child_nodes(value):
        yield from numbers_of(part)


class Tree:
    """A copy of the tree in which one module after the other is changed, and its tests are run."""

    def __init__(self, folder: Path):
        self.folder = folder
        parts = ("analytics", "pipelines", "reports", "tests", "demo_data", ".package")
        for name in (*parts, "pyproject.toml"):
            source = ROOT / name
            if source.is_dir():
                ignored = shutil.ignore_patterns("__pycache__")
                shutil.copytree(source, folder / name, ignore=ignored, symlinks=True)
            else:
                shutil.copy2(source, folder / name)

    def run(self, tests: list[str], seconds: float | None = None) -> int | None:
        """Exit code of pytest; nothing where it was not done in time."""
        child = os.fork()
        if child == 0:
            self._run(tests, keep_compiled=seconds is None)
        begun = time.monotonic()
        while seconds is None or time.monotonic() - begun < seconds:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return os.waitstatus_to_exitcode(status)
            time.sleep(0.02)
        os.kill(child, 9)
        os.waitpid(child, 0)
        return None

    def _run(self, tests: list[str], *, keep_compiled: bool) -> None:
        """In the fork: the tests of this tree, and the end of the process."""
        code = 99
        try:
            os.setsid()
            os.chdir(self.folder)
            output = os.open("answer.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(output, 1)
            os.dup2(output, 2)
            # Only the unchanged tree leaves compiled modules behind, for all that follow.
            sys.dont_write_bytecode = not keep_compiled
            sys.path[:0] = [str(self.folder), str(self.folder / ".package")]
            pytest = importlib.import_module("pytest")
            # A busy machine notices nothing.
            hypothesis = importlib.import_module("hypothesis")
            hypothesis.settings.register_profile("patient", deadline=None)
            hypothesis.settings.load_profile("patient")
            code = int(
                pytest.main(
                    ["-x", "-q", "-n", "0", "-p", "no:cacheprovider",
                     # The libraries are there already: nothing of them is rewritten.
                     "-W", "ignore::pytest.PytestAssertRewriteWarning", *tests]
                )
            )  # fmt: skip
            sys.stdout.flush()
        finally:
            os._exit(code)

    def notices(self, mutant: Mutant, tests: list[str], seconds: float) -> bool:
        place = self.folder / mutant.module
        whole = place.read_text(encoding="utf-8")
        place.write_text(mutant.text, encoding="utf-8")
        try:
            code = self.run(tests, seconds)
        finally:
            place.write_text(whole, encoding="utf-8")
        # A module that cannot be imported any more is noticed, too (2); no other end is an answer.
        if code not in (0, 1, 2, None):
            raise SystemExit(f"{mutant.module}, {mutant.what}: pytest ended with {code}")
        return code != 0


def chosen(asked: list[str]) -> list[str]:
    found = [module for module in TARGETS if not asked or module.startswith(tuple(asked))]
    if not found:
        raise SystemExit(f"no module of TARGETS begins with {' or '.join(asked)}")
    named = {name for module in found for name in (module, *TARGETS[module])}
    files = sorted(name for name in named if not name.startswith("--"))
    if gone := [name for name in files if not (ROOT / name).exists()]:
        raise SystemExit(f"TARGETS names what is not there: {', '.join(gone)}")
    return found


def drawn(module: str, share: float, seed: int) -> list[Mutant]:
    """Mutants of a module, or so large a share of them, never none."""
    every = list(mutants((ROOT / module).read_text(encoding="utf-8"), module))
    if gone := EQUIVALENT.get(module, {}).keys() - {one.what for one in every}:
        raise SystemExit(f"EQUIVALENT names no change of {module}: {', '.join(sorted(gone))}")
    rng = random.Random(f"{seed} {module}")
    return every if share >= 1.0 else rng.sample(every, math.ceil(share * len(every)))


def answers(trees: list[Tree], module: str, share: float, seed: int) -> list[tuple[Mutant, bool]]:
    """Whether each mutant of a module was noticed."""
    tests = TARGETS[module]
    begun = time.monotonic()
    for tree in trees:
        if (code := tree.run(tests)) != 0:
            raise SystemExit(
                f"{' '.join(tests)} fails on the tree as it is: pytest ends with {code}"
            )
    seconds = 10.0 + PATIENCE * (time.monotonic() - begun)
    asked = drawn(module, share, seed)

    def ask(k: int) -> list[tuple[Mutant, bool]]:
        return [(one, trees[k].notices(one, tests, seconds)) for one in asked[k :: len(trees)]]

    with ThreadPoolExecutor(len(trees)) as pool:
        return [answer for part in pool.map(ask, range(len(trees))) for answer in part]


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description="How many small changes are noticed?")
    parser.add_argument("modules", nargs="*")
    parser.add_argument("--share", type=float, default=1.0, help="of the changes of each module")
    parser.add_argument("--seed", type=int, default=1, help="which ones")
    parser.add_argument("--processes", type=int, default=1)
    how = parser.parse_args(arguments)
    modules = chosen(how.modules)
    warnings.simplefilter("ignore")
    for library in LIBRARIES:
        importlib.import_module(library)
    too_few = []
    n_noticed = n_all = 0
    with tempfile.TemporaryDirectory() as folder:
        trees = [Tree(Path(folder) / str(k)) for k in range(how.processes)]
        for module in modules:
            found = [
                (one, was)
                for one, was in answers(trees, module, how.share, how.seed)
                if was or one.what not in EQUIVALENT.get(module, {})
            ]
            noticed = sum(was for _, was in found)
            n_noticed, n_all = n_noticed + noticed, n_all + len(found)
            print(f"{module}: {noticed} of {len(found)} noticed", flush=True)
            for one, was in found:
                if not was:
                    print(f"    missed  line {one.line}: {one.what}", flush=True)
            if noticed < WANTED * len(found):
                too_few.append(module)
    print(f"{n_noticed} of {n_all} noticed: {n_noticed / max(n_all, 1):.0%}")
    for module in too_few:
        print(f"fewer than {WANTED:.0%} noticed: {module}")
    return 1 if too_few else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
