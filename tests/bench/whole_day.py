"""Time whole plans of two days with 25 supplies and everything a day holds.

Run from the top of the repository:
    python tests/bench/whole_day.py [roads] [--write]
Prints Markdown; --write keeps it in tests/bench/WHOLE_DAY.md, the machine named. Times are
processor seconds on invented roads with given use: of the first aim alone until it is
proved best, and of the whole plan: straightening, ties, what to do at every locked tap.
"""

import argparse
import random
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any
from unittest import mock

from main_job import machine

from haulplan.demand import build_demand
from haulplan.errors import NoPlanError
from haulplan.plan import make_plan
from haulplan.plan.solve import solve as solve_plan
from haulplan.plan.stages import solve_stages
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario

_DAY = """
title = "two days"
start = "A"
finish = "B"
date = 2027-06-05
depart = "07:00"
depart_by = "08:00"
units = "metric"
standing_water = "0.3 kg/min"
standing_coal = "0.1 kg/min"
[stores]
tank = "1200 kg"
bunker = "400 kg"
[at_start]
water = "full"
coal = "300 kg"
[at_finish]
water = "200 kg"
coal = "60 kg"
[reserve]
water = "120 kg"
coal = "30 kg"
[train]
dry_weight = "30 t"
[[train.wagons]]
name = "Cart"
tare = "600 kg"
tyre = "rubber"
[hours]
earliest = "06:00"
latest = "19:00"
crew = "10 h"
rest = "9 h"
[lighting_up]
cold = "2 h"
banked = "40 min"
[nights]
most = 1
banked_water = "30 kg"
banked_coal = "30 kg"
dropped_water = "60 kg"
dropped_coal = "70 kg"
[[duties]]
name = "oil round"
hours = "2 h 30 min"
takes = "8 min"
[[duties]]
name = "ash"
miles = "25 km"
takes = "10 min"
[[meals]]
name = "dinner"
earliest = "11:30"
latest = "13:30"
takes = "40 min"
[aim]
first = "earliest"
"""


def make_folder(number: int, folder: Path) -> Path:
    """A road of 55 km with 25 supplies, eight halts, two calls, bridges and a cart."""
    draw = random.Random(number)
    (folder / "scenario.toml").write_text(_DAY)
    rows = ["from [km],to [km],duration [min],water [kg],coal [kg],water_per_mass,coal_per_mass"]
    rows += [
        f"{k},{k + 1},{draw.uniform(9, 15):.3f},{draw.uniform(60, 130):.3f},"
        f"{draw.uniform(9, 18):.3f},{draw.uniform(0, 3e-3):.6f},{draw.uniform(0, 4e-4):.6f}"
        for k in range(55)
    ]
    (folder / "demand.csv").write_text("\n".join(rows) + "\n")
    head = (
        "name,kind,at [km],water_available,water_rate [kg/min],water_price,coal_available,"
        "coal_rate [kg/min],coal_price,call_out,set_up [min],opens,closes,night"
    )
    rows = [head]
    for k, at in enumerate(sorted(draw.sample(range(2, 54), 25))):
        coal = f"unlimited,{draw.uniform(8, 25):.2f},0.3 USD/kg" if k % 4 == 1 else ",,"
        amount = draw.choice(["unlimited", "unlimited", f"{draw.randint(200, 900)} kg"])
        hours = draw.choice([",", "07:30,18:00", ",17:00", "09:00,"])
        rows.append(
            f"s{k},tap,{at + 0.3},{amount},{draw.uniform(20, 150):.2f},0.002 USD/kg,{coal},"
            f"{draw.choice([0, 0, 15])} USD,{draw.uniform(3, 15):.2f},{hours},"
            f"{'yes' if k % 6 == 2 else ''}"
        )
    (folder / "supply.csv").write_text("\n".join(rows) + "\n")
    rows = ["name,at [km],halt,night,stay,opens,closes"]
    rows += [f"h{k},{6.4 * k + 4.1:.1f},yes,{'yes' if k % 3 == 1 else ''},,," for k in range(8)]
    rows += ["show,21.6,,,45 min,08:00,17:00", "school,44.6,,,30 min,08:00,18:00"]
    (folder / "places.csv").write_text("\n".join(rows) + "\n")
    rows = ["name,at [km],limit [kg],drain"]
    rows += [f"b{k},{13 * k + 8.7:.1f},{30_000 + draw.randint(1300, 2200)}," for k in range(4)]
    (folder / "bridges.csv").write_text("\n".join(rows) + "\n")
    (folder / "stores.csv").write_text(
        "name,kind,water,water_rate,at_start\nCart,cart,500 kg,60 kg/min,full\n"
    )
    return folder


def timed(number: int) -> tuple[float, float, int, int] | None:
    """Seconds of the first aim's proof and of the whole plan; stops and nights made."""
    with tempfile.TemporaryDirectory() as name:
        scenario = read_scenario(make_folder(number, Path(name)))
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    first: list[float] = []

    def watched(*words: Any, **named: Any) -> Any:  # noqa: ANN401  handed through
        begun = time.process_time()
        staged = solve_stages(*words, **{**named, "brief": True, "gap": 0.0})
        first.append(time.process_time() - begun)
        return staged if named.get("brief") else solve_stages(*words, **named)

    try:
        with mock.patch("haulplan.plan.solve.solve_stages", watched):
            solve_plan(scenario, route, demand)
    except NoPlanError as error:
        sys.stderr.write(f"road {number}: {error}\n")
        return None
    begun = time.process_time()
    plan = make_plan(scenario, route, demand)
    whole = time.process_time() - begun
    replay(scenario, route, demand, plan)
    assert plan.proven
    return first[0], whole, len(plan.stops) - 2, len(plan.days) - 1


def main() -> None:
    words = argparse.ArgumentParser()
    words.add_argument("roads", type=int, nargs="?", default=9)
    words.add_argument("--write", action="store_true")
    asked = words.parse_args()
    found = [t for number in range(asked.roads) if (t := timed(number)) is not None]
    lines = [
        "# Whole plans of two days, 25 supplies",
        "",
        f"{machine()}. `python tests/bench/whole_day.py {asked.roads}`: {len(found)} roads "
        f"with a plan, {asked.roads - len(found)} without.",
        "",
        "| processor seconds | least | median | most |",
        "|---|---|---|---|",
    ]
    for name, figures in (
        ("first aim, proved", [t[0] for t in found]),
        ("whole plan", [t[1] for t in found]),
    ):
        middle = statistics.median(figures)
        lines.append(f"| {name} | {min(figures):.2f} | {middle:.2f} | {max(figures):.2f} |")
    lines += ["", f"Stops made: {min(t[2] for t in found)} to {max(t[2] for t in found)}; "
              f"nights: {sorted({t[3] for t in found})}."]  # fmt: skip
    text = "\n".join(lines) + "\n"
    sys.stdout.write(text)
    if asked.write:
        (Path(__file__).parent / "WHOLE_DAY.md").write_text(text)


if __name__ == "__main__":
    main()
