"""Time limits at ten times the target: only a real change of kind trips them."""

import subprocess
import sys
import time
from pathlib import Path

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
