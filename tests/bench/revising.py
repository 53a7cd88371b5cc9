"""Processor time of a revision: from a reading to the answer, read and planned before.

Run from the top of the repository: python tests/bench/revising.py [readings]
"""

import statistics
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from main_job import machine

from haulplan.demand import build_demand
from haulplan.plan import make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario
from haulplan.underway.change import Change
from haulplan.underway.revise import revise
from haulplan.underway.sofar import old_stops
from haulplan.underway.task import Reading, Task

TOP = Path(__file__).resolve().parents[2]


def line(name: str, times: Sequence[float]) -> str:
    """A row of the report."""
    return (
        f"| {name} | {len(times)} | {statistics.median(times):.2f} | {min(times):.2f} | "
        f"{max(times):.2f} |\n"
    )


def main() -> None:
    """Print the report."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    scenario = read_scenario(TOP / "scenarios" / "hobmere-penniford")
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    trace = replay(scenario, route, demand, plan)
    task = Task(scenario=scenario, route=route, demand=demand)
    step = len(trace.distance) // (count + 1)
    readings = [
        Reading(
            distance=trace.distance[k], clock=trace.clock[k], water=trace.tank[k],
            coal=trace.bunker[k],
        )
        for k in range(step, step * count + 1, step)
    ]  # fmt: skip
    shut = {s.distance: (s.row,) for s in plan.stops if s.kind == "supply" and s.row is not None}
    sys.stdout.write(
        f"# Timing of a revision\n\n{machine()}; shipped scenario, read and planned before; "
        "processor seconds.\n\n"
        "| reading | times | median s | least s | most s |\n|---|---|---|---|---|\n"
    )
    for name in ("as planned", "a sixth of the tank less", "next stop shut", "road wet"):
        times = []
        for reading in readings:
            ahead = [row for at, row in shut.items() if at > reading.distance]
            change = Change(
                shut=ahead[0] if name == "next stop shut" and ahead else (),
                weather="wet" if name == "road wet" else None,
            )
            less = scenario.file.stores.tank / 6 if name.startswith("a sixth") else 0.0
            read = replace(reading, water=max(reading.water - less, 1.0))
            begin = time.process_time()
            revise(task, read, change, old=old_stops(plan))
            times.append(time.process_time() - begin)
        sys.stdout.write(line(name, times))


if __name__ == "__main__":
    main()
