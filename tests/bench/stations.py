"""Time the choice of stations: 60 engines, 80 sites, 120 km, with every limit there is.

Run from the top of the repository:
    python tests/bench/stations.py [--roads 5] [--limit 30] [--write]
Prints Markdown; --write keeps it in tests/bench/STATIONS.md, the machine named. Roads, sites
and engines are invented: tanks of 110 to 470 imperial gallons in the shares of a rally's
classes, ranges of 6 to 16 miles, 80 sites with one to five hoses, an eighth of them with
little water, a sixth on the wrong side for some, and a wait of at most an hour.
"""

import argparse
import math
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from main_job import machine

from haulplan.errors import HaulplanError
from haulplan.stations.choose import Stage, choose
from haulplan.stations.schema import AIMS
from haulplan.stations.task import Drinker, Place, Task

ENGINES, SITES, LENGTH = 60, 80, 120_000.0
GALLON = 4.54609 * 0.999
MILE = 1609.344


def make_task(number: int) -> Task:
    """An invented procession."""
    draw = np.random.default_rng(number)
    gaps = draw.uniform(0.4, 1.6, SITES + 1)
    at = np.cumsum(gaps)[:-1] * LENGTH / gaps.sum()
    tanks = draw.choice([115, 135, 155, 180, 350, 450], ENGINES, p=[0.1, 0.25, 0.25, 0.2, 0.1, 0.1])
    tanks = tanks * draw.uniform(0.92, 1.08, ENGINES) * GALLON
    reach = np.where(tanks > 250 * GALLON, draw.uniform(11, 16, ENGINES), 0.0) * MILE
    reach = np.where(reach == 0, draw.uniform(6, 10, ENGINES) * MILE, reach)
    places = tuple(
        Place(
            name=f"p{n}",
            rate=float(draw.choice([15, 25, 30, 40])) * GALLON / 60,
            hoses=int(draw.choice([2, 3, 4, 5])),
            water=float(draw.choice([3000.0, math.inf], p=[1 / 8, 7 / 8])) * GALLON,
            span=ENGINES * 120.0 + float(at[n]) / LENGTH * 3600,
            cost=float(draw.integers(0, 10)) * 10,
            water_price=float(draw.choice([0.0, 0.003, 0.004])) / GALLON,
        )
        for n in range(SITES)
    )
    drinkers = tuple(
        Drinker(
            name=f"e{n}", tank=float(tank), at_start=float(tank), reserve=0.1 * float(tank),
            use=at * float(tank / far), total=LENGTH * float(tank / far),
            may=draw.random(SITES) < 0.95, wait=float(draw.uniform(3, 8)),
        )
        for n, (tank, far) in enumerate(zip(tanks, reach, strict=True))
    )  # fmt: skip
    return Task(
        places=places, visits=tuple(range(SITES)), drinkers=drinkers, stop=300.0,
        longest_wait=3600.0, hoses=90,
    )  # fmt: skip


def proof(stage: Stage) -> str:
    """How far an aim was proved."""
    if stage.gap == 0:
        return "proved"
    return f"gap {stage.gap:.1%}" if stage.bound > 0 else "no bound in time"


def measure(number: int, limit: float) -> str:
    """One line of the table."""
    task = make_task(number)
    cells = [str(number)]
    for aims in (AIMS[:1], AIMS):
        begin, busy = time.monotonic(), time.process_time()
        try:
            choice = choose(task, aims=aims, time_limit=limit)
        except HaulplanError as error:
            cells += [f"{time.monotonic() - begin:.1f}", str(error).splitlines()[0][:60]]
            continue
        cells += [f"{time.monotonic() - begin:.1f} ({time.process_time() - busy:.1f})"]
        cells += ["; ".join(f"{stage.value:.4g}, " + proof(stage) for stage in choice.stages)]
    return "| " + " | ".join(cells) + " |\n"


def report(roads: int, limit: float, out: Callable[[str], object]) -> None:
    """The whole report."""
    out(f"# Stations: {ENGINES} engines, {SITES} sites, {LENGTH / 1000:.0f} km\n\n{machine()}.\n\n")
    out("Wall seconds (processor seconds). First the fewest stations alone, then all three ")
    out(f"aims in order, at most {limit:g} s for the search; what comes after it (stops spared, ")
    out("marks) is in the time. 'proved' means bound and value met.\n\n")
    out("| road | fewest [s] | stations | all aims [s] | stations; service [min]; cost |\n")
    out("|---|---|---|---|---|\n")
    for number in range(roads):
        out(measure(number, limit))


def main() -> None:
    """Read the arguments and print the report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--roads", type=int, default=5)
    parser.add_argument("--limit", type=float, default=20.0)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    lines: list[str] = []

    def out(text: str) -> None:
        sys.stdout.write(text)
        sys.stdout.flush()
        lines.append(text)

    report(given.roads, given.limit, out)
    if given.write:
        Path(__file__).with_name("STATIONS.md").write_text("".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
