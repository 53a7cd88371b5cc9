"""Time every output of a long run: 60 stops over 300 km, in one process, imports included.

Run from the top of the repository: python tests/bench/outputs.py
"""

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from long_run import long_run

from haulplan.units import UNIT_SYSTEMS


def main() -> None:
    """Print the time and the size of each file."""
    with tempfile.TemporaryDirectory() as folder:
        run = long_run(Path(folder), 60, 300_000.0)
        times = []
        for _ in range(3):
            begin = time.perf_counter()
            from haulplan.outputs import all_outputs

            files = all_outputs(run.scenario, run.route, run.plan, run.trace, UNIT_SYSTEMS["us"])
            times.append(time.perf_counter() - begin)
    said = ", ".join(f"{took:.2f}" for took in times)
    sys.stdout.write(f"60 stops, 300 km: {said} s (the first loads the libraries)\n")
    for name, content in files.items():
        sys.stdout.write(f"{len(content):>9,} {name}\n")


if __name__ == "__main__":
    main()
