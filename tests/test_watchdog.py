"""Time limits at ten times the target: only a real change of kind trips them."""

import subprocess
import sys
import time
from pathlib import Path

from long_run import long_run

from haulplan.outputs import all_outputs
from haulplan.units import UNIT_SYSTEMS

TOP = Path(__file__).resolve().parent.parent


def test_main_job_stays_within_ten_times_its_two_seconds(tmp_path: Path) -> None:
    begin = time.perf_counter()
    subprocess.run(
        [
            sys.executable, "-m", "haulplan", "plan", "scenarios/hobmere-penniford",
            "--out", str(tmp_path / "out"),
        ],
        cwd=TOP, check=True, capture_output=True,
    )  # fmt: skip
    assert time.perf_counter() - begin < 20


def test_sixty_stops_over_300_km_are_written_within_ten_times_their_three_seconds(
    tmp_path: Path,
) -> None:
    run = long_run(tmp_path, 60, 300_000.0)
    begin = time.perf_counter()
    files = all_outputs(run.scenario, run.route, run.plan, run.trace, UNIT_SYSTEMS["us"])
    assert time.perf_counter() - begin < 30
    assert len(files["map.html"]) < 3_000_000
