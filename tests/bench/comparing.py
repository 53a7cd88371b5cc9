"""Time of a comparison in two processes against one, on the shipped scenario.

Run from the top of the repository: python tests/bench/comparing.py [variants]
"""

import os
import platform
import sys
import time
from pathlib import Path

from haulplan.compare import compare, variants_of

TOP = Path(__file__).resolve().parents[2]


def main() -> None:
    """Print the report."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    over = ", ".join(f"{281 + 2 * n} US gal" for n in range(count - 1))
    variants = variants_of(
        [TOP / "scenarios" / "hobmere-penniford"],
        over=[f"stores.tank = {over}; at_start.water = 281 US gal"],
    )
    taken, spent, found = {}, {}, {}
    for workers in (1, 2):
        begin, before = time.perf_counter(), sum(os.times()[:4])
        found[workers] = compare(variants, workers=workers)
        taken[workers] = time.perf_counter() - begin
        spent[workers] = sum(os.times()[:4]) - before
    sys.stdout.write(
        f"# Timing of a comparison\n\n{platform.machine()}, {platform.system()}, "
        f"{os.cpu_count()} cores, Python {platform.python_version()}; shipped scenario, "
        f"{len(variants)} variants, processes started afresh counted; load of the machine "
        f"meanwhile {os.getloadavg()[0]:.1f}.\n\n"
        "| processes | s | of one | processor s, all together |\n|---|---|---|---|\n"
        f"| 1 | {taken[1]:.1f} | 1 | {spent[1]:.1f} |\n"
        f"| 2 | {taken[2]:.1f} | {taken[2] / taken[1]:.2f} | {spent[2]:.1f} |\n\n"
        f"Outcomes {'alike' if found[1] == found[2] else 'DIFFERENT'}.\n"
    )


if __name__ == "__main__":
    main()
