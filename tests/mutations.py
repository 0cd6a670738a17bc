"""How many small changes of the rules does a test notice? By hand, before a release.

Each number of a rule is moved a little up and down, each comparison is shifted by its edge, each
"and" becomes "or" and each "not" goes; the tests of that module run on a copy with the change.
What no test notices is listed. ``python tests/mutations.py [MODULE ...]``; .ci/nightly runs all.
"""

from __future__ import annotations

import ast
import copy
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parents[1]
CAUTIONS = ["--noconftest", "tests/analytics/cautions"]

TARGETS: dict[str, list[str]] = {
    **{
        f"analytics/cautions/{name}.py": CAUTIONS
        for name in ("records", "brucella", "lifting", "samples", "illness", "breeding", "__init__")
    },
    "analytics/cautions/words.py": CAUTIONS,
    "analytics/cautions/questions.py": CAUTIONS,
    "analytics/measures/dates.py": ["--noconftest", "tests/analytics/test_calendar.py"],
    "analytics/models/ovulation/insemination_days.py": [
        "--noconftest",
        "tests/analytics/test_timing.py",
    ],
    "analytics/measures/extending.py": ["--noconftest", "tests/analytics/test_extending.py"],
    "pipelines/records/sheets/rules.py": ["tests/pipelines/records/sheets/test_rules.py"],
}
"""Modules whose rules are changed, and the tests that must notice."""

EDGES = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
         ast.NotEq: ast.Eq}  # fmt: skip


def mutants(source: str) -> Iterator[tuple[str, str]]:
    """Every changed text of a module, and what was changed in it."""
    tree = ast.parse(source)
    for place, node in enumerate(ast.walk(tree)):
        for what, change in changes_of(node, tree):
            changed = copy.deepcopy(tree)
            change(list(ast.walk(changed))[place])
            yield f"line {node.lineno}: {what}", ast.unparse(changed)


def changes_of(node: ast.AST, tree: ast.Module) -> Iterator[tuple[str, object]]:
    if isinstance(node, ast.Assign) and node in tree.body:
        for n, part in enumerate(numbers_of(node.value)):
            for step in (1, -1):

                def move(changed, n=n, step=step):
                    one = list(numbers_of(changed.value))[n]
                    one.value += step * (1 if isinstance(one.value, int) else 0.02 * one.value)

                yield (
                    f"{ast.unparse(node)[:60]} ({part.value} {'up' if step > 0 else 'down'})",
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


def numbers_of(value: ast.AST) -> Iterator[ast.Constant]:
    """Numbers of a constant, none of a text or of a computed value."""
    parts = value.elts if isinstance(value, ast.Tuple) else [value]
    for part in parts:
        if isinstance(part, ast.Constant) and type(part.value) in (int, float):
            yield part


def is_noticed(tree: Path, module: str, text: str | None, tests: list[str]) -> bool:
    """Whether the tests fail on a tree with a changed module; unchanged where no text is given."""
    place = tree / module
    whole = place.read_text(encoding="utf-8")
    place.write_text(whole if text is None else text, encoding="utf-8")
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider",
             *tests],
            cwd=tree, capture_output=True, check=False,
            env=os.environ | {"PYTHONPATH": str(tree / ".package"), "PYTHONDONTWRITEBYTECODE": "1"},
        )  # fmt: skip
    finally:
        place.write_text(whole, encoding="utf-8")
    return done.returncode != 0


def copy_of_the_tree(folder: Path) -> Path:
    parts = ("analytics", "pipelines", "reports", "tests", "demo_data", ".package")
    for name in (*parts, "pyproject.toml"):
        source = ROOT / name
        if source.is_dir():
            ignored = shutil.ignore_patterns("__pycache__")
            shutil.copytree(source, folder / name, ignore=ignored, symlinks=True)
        else:
            shutil.copy(source, folder / name)
    return folder


def main(modules: list[str]) -> int:
    chosen = modules or list(TARGETS)
    n_noticed = n_all = 0
    with tempfile.TemporaryDirectory() as first, tempfile.TemporaryDirectory() as second:
        trees = [copy_of_the_tree(Path(first)), copy_of_the_tree(Path(second))]
        for tests in {tuple(TARGETS[module]) for module in chosen}:
            if is_noticed(trees[0], "pyproject.toml", None, list(tests)):
                raise SystemExit(f"{' '.join(tests)} fails on the tree as it is: mend that first")
        for module in chosen:
            found = list(mutants((ROOT / module).read_text(encoding="utf-8")))
            halves = [found[0::2], found[1::2]]

            def ask(k, module=module, halves=halves):
                tests = TARGETS[module]
                return [
                    (what, is_noticed(trees[k], module, text, tests)) for what, text in halves[k]
                ]

            with ThreadPoolExecutor(2) as pool:
                answers = [answer for half in pool.map(ask, (0, 1)) for answer in half]
            noticed = sum(was for _, was in answers)
            n_noticed, n_all = n_noticed + noticed, n_all + len(answers)
            print(f"{module}: {noticed} of {len(answers)} noticed", flush=True)
            for what, was in answers:
                if not was:
                    print(f"    missed  {what}", flush=True)
    print(f"{n_noticed} of {n_all} noticed: {n_noticed / n_all:.0%}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
