"""A long run to draw: its road, its stops and a plan that was never solved; all invented."""

import datetime as dt
import math
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np

from haulplan.plan.plan import Crossing, Day, Leg, Plan, Stop, Trace
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario

FORTY = "A place whose name has forty letters, {:02d}"

TOML = """
title = "The long haul"
start = "Upper yard"
finish = "Lower field"
date = 2031-06-14
depart = "05:00"
units = "us"
currency = "USD"
[stores]
tank = "320 US gal"
bunker = "3000 lb"
[at_start]
water = "full"
coal = "full"
[at_finish]
water = "60 US gal"
coal = "100 lb"
[reserve]
water = "48 US gal"
coal = "90 lb"
[route]
file = "road.gpx"
[hours]
utc_offset = "-4 h"
[sheet]
revision = "B"
go_no_go = ["No run with a gale forecast."]
contacts = [{name = "Ida Marl", telephone = "555-0102", role = "support driver"}]
[engine]
name = "Grey Heron"
weight = "12 t"
weight_on_drivers = "8 t"
pressure = "10 bar"
cylinders = 2
bore = "17 cm"
stroke = "26 cm"
wheel_diameter = "1.9 m"
tyre = "rubber"
grate_area = "0.7 m2"
heating_surface = "14 m2"
boiler_water = "900 L"
boiler_metal = "4 t"
[[engine.gears]]
name = "low"
ratio = 18.0
speed = "3 km/h"
[[engine.gears]]
name = "high"
ratio = 9.0
speed = "7 km/h"
[fuel]
name = "Lump"
heating_value = "30 MJ/kg"
[train]
wagons = [{name = "Van", tare = "3 t", load = "1 t", tyre = "rubber", count = 2}]
"""


@dataclass(frozen=True, kw_only=True)
class Run:
    scenario: Scenario
    route: Route
    plan: Plan
    trace: Trace


def long_run(folder: Path, stops: int, length: float, days: int = 1) -> Run:
    """So many stops on so long a road [m], evenly over so many days."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "scenario.toml").write_text(TOML, encoding="utf-8")
    points = []
    for at in np.arange(0.0, length + 1, 100.0).tolist():
        latitude = 40.0 + at / 111_000 * 0.6 + 0.004 * math.sin(at / 900)
        longitude = -80.0 + at / 85_000 * 0.6
        height = 300 + 60 * math.sin(at / 1500)
        points.append(
            f'<trkpt lat="{latitude:.6f}" lon="{longitude:.6f}"><ele>{height:.1f}</ele></trkpt>'
        )
    (folder / "road.gpx").write_text(
        '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk>'
        f"<name>road</name><trkseg>{''.join(points)}</trkseg></trk></gpx>", encoding="utf-8",
    )  # fmt: skip
    where = [length * 0.8 * (i + 1) / (stops + 1) for i in range(stops)]
    lines = ["name,kind,at [m],side,water_available,water_rate,coal_available,coal_rate,contact"]
    lines += [
        f'"{FORTY.format(i)}",hydrant,{at},left,unlimited,50 US gal/min,2 t,40 lb/min,'
        f'"Ada, 555-01{i:02d}"'
        for i, at in enumerate(where)
    ]
    (folder / "supply.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "bridges.csv").write_text(f"name,at [m],limit\nArch,{length / 3},40 t\n")
    (folder / "crossings.csv").write_text(
        f"name,at [m],telephone\nHalt Lane,{length / 5},555-0199\nSiding,{length / 4},\n"
    )
    (folder / "places.csv").write_text(f"name,at [m],pull_in,note\nOak,{length / 6},yes,shade\n")
    scenario = read_scenario(folder)
    route = build_route(scenario)
    return _planned(scenario, route, stops, days)


def _planned(scenario: Scenario, route: Route, count: int, days: int) -> Run:
    met = [p for p in route.passings if p.kind == "supply"]
    ends = [0.0, *(p.distance for p in met), route.length]
    clock, made, daily = 18000.0, [], []
    begun, day = clock, 1
    for number, at in enumerate(ends):
        kind: Literal["start", "supply", "finish"]
        kind = "start" if number == 0 else "finish" if number == len(ends) - 1 else "supply"
        if number:
            clock += (at - ends[number - 1]) / 1.6
        sleeps = kind == "supply" and number * days // (count + 1) >= day
        leaves = clock + (900.0 if kind == "supply" else 0.0) + (36000.0 if sleeps else 0.0)
        made.append(
            Stop(
                kind=kind, name=met[number - 1].name if kind == "supply" else kind, number=number,
                row=met[number - 1].row if kind == "supply" else None, distance=at, day=day,
                arrive=clock, depart=leaves, wait=0.0, stay=900.0 if kind == "supply" else 0.0,
                tank_arrive=1200.0 if number == 0 else 420.0,
                tank_depart=420.0 if kind == "finish" else 1200.0, bunker_arrive=1000.0,
                bunker_depart=1000.0, water_taken=790.0 if kind == "supply" else 0.0,
                coal_taken=60.0 if kind == "supply" and number % 3 == 0 else 0.0,
                water_standing=10.0, coal_standing=2.0, fire="banked" if sleeps else None,
                money=0.0,
            )
        )  # fmt: skip
        if sleeps or kind == "finish":
            today = 86400.0 * (day - 1)
            daily.append(
                Day(date=dt.date(2031, 6, 14) + dt.timedelta(days=day - 1), lit=begun - 7200,
                    depart=begun, arrive=clock, earliest=today, latest=today + 75600.0)
            )  # fmt: skip
            begun, day = leaves, day + 1
        clock = leaves
    legs = tuple(
        Leg(begin=i, end=i + 1, distance=a.distance, length=b.distance - a.distance, climb=40.0,
            descent=30.0, duration=(b.distance - a.distance) / 1.6, water=780.0, coal=90.0,
            gears={"high": b.distance - a.distance})
        for i, (a, b) in enumerate(pairwise(made))
    )  # fmt: skip
    bridges = [p for p in route.passings if p.kind == "bridge"]
    plan = Plan(
        title=scenario.file.title, date=scenario.file.date, aim="earliest", objective=1.0,
        bound=1.0, gap=0.0, proven=True, stops=tuple(made), legs=legs,
        crossings=tuple(
            Crossing(name=p.label, row=p.row, distance=p.distance, clock=30000.0, gross=21000.0,
                     limit=scenario.bridges[p.row].limit)
            for p in bridges
        ),
        days=tuple(daily), choices=(), dry_weight=20000.0, lighting_up_coal=70.0, warnings=(),
        assumptions=(), versions={},
    )  # fmt: skip
    at = route.distance.tolist()
    flat = tuple(500.0 for _ in at)
    empty = tuple(0.0 for _ in at)
    trace = Trace(distance=tuple(at), tank=flat, bunker=flat, cart=empty, boiler=empty,
                  clock=tuple(18000.0 + d / 1.6 for d in at))  # fmt: skip
    return Run(scenario=scenario, route=route, plan=plan, trace=trace)
