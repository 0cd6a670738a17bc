"""Print every published group beside what the table predicts of it, misses shown.

Run with `python tests/benchmarks/published_groups.py`.
"""

import numpy as np
from tests.analytics.published_groups_table import check_groups

SEED = 20240229


def main():
    checks = check_groups(rng=np.random.default_rng(SEED))
    print(
        "percent; study's exact 95 % interval, in brackets widened by the selection of its bitches"
    )
    print(f"{'group':36}{'n':>6} {'seen':>5} {'95 %':>9} {'widened':>11} {'table':>6}  ")
    for check in checks:
        group = check.group
        own = f"{100 * check.lower:.0f}-{100 * check.upper:.0f}"
        widened = f"({100 * check.widened_lower:.0f}-{100 * check.widened_upper:.0f})"
        verdict = "" if check.is_inside_unwidened else "selection" if check.is_inside else "MISS"
        print(
            f"{group.name:36}{group.n_bred:6d} {100 * check.seen:5.1f} {own:>9} {widened:>11} "
            f"{100 * check.predicted:6.1f}  {verdict}"
        )
        note = f"; supposed: {group.supposed}" if group.supposed else ""
        print(f"    {group.endpoint}: {group.source}{note}")
    n_own = sum(check.is_inside_unwidened for check in checks)
    n_widened = sum(check.is_inside for check in checks)
    print(
        f"{len(checks)} groups: {n_own} inside the study's own interval, {n_widened} inside the "
        f"widened one, {len(checks) - n_widened} missed"
    )


if __name__ == "__main__":
    main()
