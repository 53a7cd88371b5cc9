"""The map opens in a browser with no network and shows the plan's own figures."""

import datetime as dt
import math
import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import pytest

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.maps import draw_map
from haulplan.outputs.tables import crossings_frame, stops_frame
from haulplan.plan.plan import Crossing, Plan, Stop
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import UNIT_SYSTEMS

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

_US = UNIT_SYSTEMS["us"]
_CHROMIUM = shutil.which("chromium")
_HOSTILE = (
    "<img src=x onerror=alert(1)>",
    "</script><script>alert(1)</script>",
    "{{7*7}}{% raw %}{# #}",
    "A name of forty letters, spaces included",
)
_WIDTHS = pytest.mark.parametrize("size", [(360, 640), (1280, 800)], ids=["phone", "desk"])


def _write_road(folder: Path, *, back: bool) -> None:
    """A road of about 20 km over two hills; `back` turns it round to end where it began."""
    points = []
    for step in range(401):
        share = step / 400
        run = 1 - abs(1 - 2 * share) if back else share
        latitude = 41.2 + 0.05 * run + 0.01 * math.sin(9 * run)
        longitude = -77.3 + 0.22 * run
        height = 200 + 90 * math.sin(11 * run) ** 2
        points.append(
            f'<trkpt lat="{latitude:.6f}" lon="{longitude:.6f}"><ele>{height:.1f}</ele></trkpt>'
        )
    text = "".join(points)
    (folder / "road.gpx").write_text(
        '<gpx version="1.1" creator="test">'
        f"<trk><name>road</name><trkseg>{text}</trkseg></trk></gpx>",
        encoding="utf-8",
    )


def _write_scenario(folder: Path, *, back: bool) -> None:
    _write_road(folder, back=back)
    quoted = [name.replace('"', '""') for name in _HOSTILE]
    (folder / "scenario.toml").write_text(
        f"""
title = "Hauling {_HOSTILE[0]}"
start = "Yard {_HOSTILE[1]}"
finish = "Field"
date = 1911-06-03
depart = "07:30"
stores = {{tank = "250 US gal", bunker = "900 lb"}}
at_start = {{water = "full", coal = "full"}}
at_finish = {{water = "50 US gal", coal = "100 lb"}}
reserve = {{water = "40 US gal", coal = "90 lb"}}
route = {{file = "road.gpx"}}
train = {{dry_weight = "12 short ton"}}
""",
        encoding="utf-8",
    )
    far = 12.0
    (folder / "supply.csv").write_text(
        "name,kind,at,water_available,water_rate,coal_available,coal_rate,call_out,opens,note\n"
        f'"{quoted[0]}",creek,4 km,unlimited,30 US gal/min,,,,,"{quoted[1]}"\n'
        f'"{quoted[1]}",hydrant,4 km,500 US gal,60 US gal/min,,,12 USD,06:00,\n'
        f'"{quoted[2]}","{quoted[0]}",8 km,500 US gal,20 US gal/min,2000 lb,90 lb/min,,,\n'
        f'"{quoted[3]}",pond,{far} km,unlimited,20 US gal/min,,,,08:00,\n',
        encoding="utf-8",
    )
    (folder / "bridges.csv").write_text(
        f'name,at,limit,note\n"{quoted[1]} bridge",10 km,16 short ton,"{quoted[0]}"\n'
        "Long bridge,15 km,14.5 short ton,\n",
        encoding="utf-8",
    )
    (folder / "places.csv").write_text(
        f'name,at,note\n"{quoted[0]}",2 km,"{quoted[2]}"\nCrossroads,13.5 km,\n', encoding="utf-8"
    )
    (folder / "demand.csv").write_text(
        "from,to,duration,water,coal\n0 km,18 km,200 min,400 US gal,700 lb\n", encoding="utf-8"
    )


def _stop(
    kind: Literal["start", "supply", "finish"], name: str, number: int, row: int | None, at: float
) -> Stop:
    taken = 500.0 if kind == "supply" else 0.0
    clock = 27000.0 + at
    return Stop(
        kind=kind, name=name, number=number, row=row, distance=at, arrive=clock,
        depart=clock + 900, wait=0.0, tank_arrive=300.0 + at / 100,
        tank_depart=300.0 + at / 100 + taken, bunker_arrive=400 - at / 100,
        bunker_depart=400 - at / 100, water_taken=taken, coal_taken=0.0, water_standing=3.0,
        coal_standing=1.0, money=12.0 if number == 2 else 0.0,
    )  # fmt: skip


def _plan(scenario: Scenario, route: Route) -> Plan:
    """Stops at the first three supplies; two of them stand at the same place."""
    met = [p for p in route.passings if p.kind == "supply" and p.row < 3]
    stops = [
        _stop("start", scenario.file.start, 0, None, 0.0),
        *(_stop("supply", p.name, n, p.row, p.distance) for n, p in enumerate(met, start=1)),
        _stop("finish", scenario.file.finish, 0, None, route.length),
    ]
    crossings = [
        Crossing(
            name=p.name, row=p.row, distance=p.distance, clock=31000.0 + p.distance,
            gross=13000.0, limit=scenario.bridges[p.row].limit,
        )
        for p in route.passings
        if p.kind == "bridge"
    ]  # fmt: skip
    return Plan(
        title=scenario.file.title, date=dt.date(1911, 6, 3), aim="earliest", objective=1.0,
        bound=1.0, gap=0.0, proven=True, stops=tuple(stops), legs=(), crossings=tuple(crossings),
        choices=(), dry_weight=10886.0, lighting_up_coal=None, warnings=(), assumptions=(),
        versions={},
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Case:
    scenario: Scenario
    route: Route
    plan: Plan
    html: str


def _case(folder: Path, *, back: bool = False) -> _Case:
    _write_scenario(folder, back=back)
    scenario = read_scenario(folder)
    route = build_route(scenario)
    plan = _plan(scenario, route)
    html = draw_map(scenario, route, plan, _US)
    return _Case(scenario=scenario, route=route, plan=plan, html=html)
