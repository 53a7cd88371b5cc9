"""Time the steam model on 20,000 segments in all gears, beside one numpy pass over them.

Run from the top of the repository: python tests/bench/demand.py
"""

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from main_job import machine

from haulplan.demand.haul import Road, assemble
from haulplan.scenario.classes import class_figures
from haulplan.scenario.schema import Conditions, Engine, Wagon

SEGMENTS = 20_000


def median_seconds(job: Callable[[], None], runs: int = 30) -> float:
    """Median wall time of a job, after one run to warm up."""
    job()
    times = []
    for _ in range(runs):
        begin = time.perf_counter()
        job()
        times.append(time.perf_counter() - begin)
    return statistics.median(times)


def main() -> None:
    """Print the report."""
    engine = Engine.model_validate({**class_figures("large-road-locomotive"), "name": "bench"})
    wagon = Wagon.model_validate({"name": "train", "tare": "20 t", "tyre": "rubber"})
    step = np.arange(SEGMENTS)
    road = Road(
        length=np.full(SEGMENTS, 10.0),
        grade=0.03 * np.sin(step / 50),
        surface=("asphalt",) * SEGMENTS,
        speed_limit=np.full(SEGMENTS, np.inf),
        sharp=np.zeros(SEGMENTS, dtype=bool),
        headwind=np.zeros(SEGMENTS),
        altitude=300.0,
    )
    haul, _ = assemble(engine, 30e6, (wagon,), Conditions(), road)
    aboard = np.full(SEGMENTS, 2000.0)

    def model() -> None:
        for gear in range(len(haul.gears)):
            haul.evaluate(aboard, np.full(SEGMENTS, gear))

    def one_pass() -> None:
        for _ in haul.gears:
            (aboard * 1.5 + road.grade).sum()

    ours, bare = median_seconds(model), median_seconds(one_pass)
    sys.stdout.write(
        f"# Steam model on {SEGMENTS:,} segments, {len(haul.gears)} gears\n\n{machine()}\n\n"
        "| what | median ms | ratio |\n|---|---|---|\n"
        f"| model: speed, water, coal and time | {1000 * ours:.1f} | {ours / bare:.0f} |\n"
        f"| one numpy pass (multiply, add, sum) | {1000 * bare:.2f} | 1 |\n"
    )


if __name__ == "__main__":
    main()
