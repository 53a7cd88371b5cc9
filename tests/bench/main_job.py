"""Time the main job as a crew meets it: a fresh process, from scenario to written outputs.

Run from the top of the repository: python tests/bench/main_job.py [runs]
Prints a report in Markdown; tests/bench/REPORT.md keeps the last one, machine named.
"""

import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
JOBS = {
    "plan, all outputs": ("plan", "scenarios/hobmere-penniford", "--out", "OUT"),
    "plan, terminal only": ("plan", "scenarios/hobmere-penniford"),
    "check": ("check", "scenarios/hobmere-penniford"),
    "--help": ("--help",),
}


def seconds(words: tuple[str, ...]) -> float:
    """Wall time of one run in a new process."""
    with tempfile.TemporaryDirectory() as folder:
        real = [str(Path(folder) / "out") if word == "OUT" else word for word in words]
        begin = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "haulplan", *real], cwd=TOP, check=True, capture_output=True
        )
        return time.perf_counter() - begin


def machine() -> str:
    """The machine in a line."""
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [
            x.split(":")[1].strip() for x in info.read_text().splitlines() if "model name" in x
        ]
        model = names[0] if names else model
    return (
        f"{model}, {os.cpu_count()} cores, {platform.system()}, Python {platform.python_version()}"
    )


def main() -> None:
    """Print the report."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    sys.stdout.write(f"# Whole-process timings\n\n{machine()}; {runs} runs after one warm-up.\n\n")
    sys.stdout.write("| job | median s | least s | most s |\n|---|---|---|---|\n")
    for name, words in JOBS.items():
        seconds(words)
        times = [seconds(words) for _ in range(runs)]
        row = " | ".join(f"{f(times):.2f}" for f in (statistics.median, min, max))
        sys.stdout.write(f"| {name} | {row} |\n")


if __name__ == "__main__":
    main()
