"""What `haulplan check` tells before planning: reach, dry stretches, what is assumed."""

import datetime as dt
import io
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rich.console import Console

from haulplan.demand import Demand, build_demand
from haulplan.demand.haul import Road
from haulplan.demand.reach import Reach, commonest_surface, longest_dry, reach, worth
from haulplan.demand.segment import choose_gears, haul_on, haul_over
from haulplan.outputs.check import render_check
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import UNIT_SYSTEMS

DEMO = Path(__file__).parents[1] / "scenarios" / "hobmere-penniford"
MILE = 1609.344
SUPPLY = (
    "name,kind,at [km],water_available,water_rate [L/min],set_up [min],last_confirmed\n"
    "Pump,tap,3,unlimited,60,5,2027-06-01\nPond,pond,8,900 L,40,10,2026-06-01\n"
    "Sump,pond,8.5,900 L,40,10,\n"
)

Toml = dict[str, Any]
Write = Callable[..., Path]
Make = Callable[..., tuple[Scenario, Route, Demand]]


@pytest.fixture
def make(steam: Toml, road_csv: str, write: Write) -> Make:
    """Reads and reckons the steam scenario with keys changed, dotted names in order."""

    def made(
        tables: dict[str, str] | None = None, **changes: object
    ) -> tuple[Scenario, Route, Demand]:
        for name, value in changes.items():
            *sections, key = name.split("__")
            at = steam
            for section in sections:
                at = at.setdefault(section, {})
            at[key] = value
        files = {"route.csv": road_csv, "supply.csv": SUPPLY} | (tables or {})
        scenario = read_scenario(write(steam, files, name=f"s{len(changes)}{sorted(changes)}"))
        route = build_route(scenario)
        return scenario, route, build_demand(scenario, route)

    return made


def page_of(scenario: Scenario, route: Route, demand: Demand, units: str = "metric") -> list[str]:
    screen = Console(width=80, file=io.StringIO())
    screen.print(render_check(scenario, route, demand, UNIT_SYSTEMS[units]))
    assert isinstance(screen.file, io.StringIO)
    return screen.file.getvalue().splitlines()


def water_of(found: Reach) -> float:
    assert found.water is not None
    return found.water.typical


# --- reach ----------------------------------------------------------------------------


def test_a_tank_goes_as_far_as_crews_count_on() -> None:
    """5 to 20 miles a tank: common practice, no source."""
    scenario = read_scenario(DEMO)
    level = reach(scenario, build_route(scenario), weather="dry")
    assert 5 < water_of(level) / MILE < 20


def test_the_reach_is_where_a_drive_meets_the_reserve(make: Make) -> None:
    """Driven 50 m by 50 m, the tank falling; the bunker kept half used."""
    scenario, route, _ = make()
    stores, reserve = scenario.file.stores, scenario.file.reserve
    for grade in (0.0, 0.05):
        found = reach(scenario, route, grade=grade)
        road = Road(
            length=np.array([50.0]), grade=np.array([grade]), surface=("macadam",),
            speed_limit=np.array([np.inf]), sharp=np.array([False]), headwind=np.zeros(1),
            altitude=float(route.elevation.mean()),
        )  # fmt: skip
        haul, _ = haul_over(scenario, road)
        gear = choose_gears(haul, np.array([stores.tank + stores.bunker]))
        assert haul.gears[int(gear[0])] == found.gear
        level, gone = stores.tank, 0.0
        while level > reserve.water:
            aboard = level + (stores.bunker + reserve.coal) / 2
            level -= float(haul.evaluate(np.array([aboard]), gear).water[0])
            gone += 50.0
        assert water_of(found) == pytest.approx(gone, rel=0.01)


def test_the_reach_lies_inside_its_band(make: Make) -> None:
    scenario, route, _ = make()
    found = reach(scenario, route)
    for band in (found.water, found.coal):
        assert band is not None
        assert 0 < band.low < band.typical < band.high


@pytest.mark.parametrize(
    ("key", "value", "further"),
    [
        ("stores__tank", "1500 L", True),
        ("reserve__water", "190 L", False),
        ("route__surface", "gravel", False),
        ("conditions__weather", "mud", False),
        ("engine__weight", "14 t", False),
    ],
)
def test_what_is_easier_goes_further(key: str, value: str, further: bool, make: Make) -> None:
    scenario, route, _ = make()
    before = water_of(reach(scenario, route))
    scenario, route, _ = make(**{key: value})
    after = water_of(reach(scenario, route))
    assert (after > before) is further
    assert after != before


def test_wind_does_not_blow_on_the_straight_road(make: Make) -> None:
    scenario, route, _ = make()
    windy = replace(
        scenario,
        file=scenario.file.model_copy(
            update={"conditions": scenario.file.conditions.model_copy(update={"wind_speed": 12.0})}
        ),
    )
    assert reach(windy, route) == reach(scenario, route)


def test_a_climb_that_holds_the_train_is_said_with_what_passes(make: Make, steam: Toml) -> None:
    steam["train"]["wagons"][0] |= {"load": "30 t"}
    level_road = "distance [km],elevation [m]\n0,100\n12,110\n"
    scenario, route, demand = make({"route.csv": level_road})
    found = reach(scenario, route, grade=0.05)
    assert found.water is None
    least = scenario.file.reserve.water + scenario.file.reserve.coal
    assert found.most_aboard < least
    # with the mass named behind the engine it passes, with a little more it does not
    for change, passes in ((-1.0, True), (1.0, False)):
        file = scenario.file
        wagon = file.train.wagons[0].model_copy(
            update={"count": 1, "load": found.train + change - file.train.wagons[0].tare}
        )
        train = file.train.model_copy(update={"wagons": (wagon,)})
        other = replace(scenario, file=file.model_copy(update={"train": train}))
        assert (reach(other, route, grade=0.05).water is not None) is passes
    page = " ".join(" ".join(page_of(scenario, route, demand)).split())
    assert "A climb of 5 % (macadam, dry) holds this train in every gear" in page
    assert f"{found.train / 1000:.2f} t would pass" in page


# --- water, and what is assumed -------------------------------------------------------


def test_the_longest_dry_stretch_is_measured_against_the_tank(make: Make) -> None:
    scenario, route, demand = make()
    dry = longest_dry(scenario, route, demand)
    assert (dry.begin, dry.end) == pytest.approx((3000.0, 8000.0), abs=30.0)
    assert (dry.after, dry.before) == ("Pump", "Pond")
    full = np.full(demand.segments, scenario.file.stores.tank + scenario.file.stores.bunker)
    used = demand.evaluate(full, demand.gear).water
    inside = (demand.distance[:-1] >= dry.begin - 1) & (demand.distance[:-1] < dry.end - 1)
    assert dry.water == pytest.approx(float(used[inside].sum()))


def test_a_default_is_worth_what_its_worse_end_adds(make: Make) -> None:
    scenario, route, _ = make()
    found = worth(scenario, route)
    assert [w.water for w in found] == sorted((w.water for w in found), reverse=True)
    carried = np.full(route.grade.size, scenario.file.stores.tank + scenario.file.stores.bunker)
    gear = choose_gears(haul_on(scenario, route)[0], carried)
    ends = [
        haul_on(scenario, route, deviates)[0].evaluate(carried, gear)
        for deviates in ({}, {"condensation": 1.6449})
    ]
    own = next(w for w in found if w.name == "condensation")
    assert own.water == pytest.approx(float(ends[1].water.sum() - ends[0].water.sum()))
    assert own.duration == pytest.approx(float(ends[1].duration.sum() - ends[0].duration.sum()))


def test_an_owners_figure_is_no_longer_assumed(make: Make) -> None:
    scenario, route, _ = make(engine__condensation="25 %")
    assert "condensation" not in {w.name for w in worth(scenario, route)}


def test_the_commonest_surface_is_the_longest(make: Make) -> None:
    rows = "from [km],to [km],surface\n1,9,gravel\n"
    _, route, _ = make({"surfaces.csv": rows})
    assert commonest_surface(route) == "gravel"


# --- the page -------------------------------------------------------------------------


def test_every_section_is_read_at_80_columns(make: Make, steam: Toml) -> None:
    steam["engine"]["axles"] = {
        "wheelbase": "3 m", "tank_ahead": "-1 m", "bunker_ahead": "0 m"
    }  # fmt: skip
    bridges = "name,at [km],limit,kind\nOld arch,6,24 t,gross\nNew span,9,9 t,axle\n"
    scenario, route, demand = make({"bridges.csv": bridges})
    page = page_of(scenario, route, demand)
    assert max(map(len, page)) <= 80
    for title in (
        "Engine", "Train", "Tank and bunkers", "How far they go", "Days", "Supplies", "Bridges",
        "On the road", "Assumed", "Not confirmed", "Not known", "Cautions",
    ):  # fmt: skip
        assert title in page
    text = " ".join(" ".join(page).split())
    arch = next(line for line in page if line.startswith("Old arch"))
    dry = scenario.file.stores.tank + scenario.file.stores.bunker
    assert arch.split()[3:] == ["train", "24.00", "20.00", f"{20 + dry / 1000:.2f}", "never"]
    # 8 t stand on the drivers, and the tank's 1200 L a third of the wheelbase behind them
    drivers = 8.0 + scenario.file.stores.tank * (1 + 1 / 3) / 1000 + 0.5
    assert next(x for x in page if x.startswith("New span")).split()[3:] == [
        "axle", "9.00", "8.00", f"{drivers:.2f}", "never",
    ]  # fmt: skip
    age = (dt.date(2027, 6, 5) - dt.date(2026, 6, 1)).days
    assert f"Supplies confirmed long before the run: Pond ({age} days)" in text
    assert "Supplies never confirmed: Sump" in text
    assert "the boiler's shape" in text
    assert "10.0 bar on the gauge, as its owner states it" in text


def test_a_pressure_from_a_class_is_not_called_the_owners(make: Make, steam: Toml) -> None:
    steam["engine"] = {"name": "Wren", "kind": "road-locomotive"}
    text = " ".join(" ".join(page_of(*make())).split())
    assert "on the gauge, as its class has it" in text
    assert "Typical of road-locomotive, not the owner's: " in text


def test_a_given_demand_is_told_without_an_engine(measured: Toml, write: Write) -> None:
    rows = "from [km],to [km],duration,water,coal\n0,10,60 min,200 kg,20 kg\n"
    scenario = read_scenario(write(measured, {"demand.csv": rows}))
    route = build_route(scenario)
    page = page_of(scenario, route, build_demand(scenario, route))
    assert "How far they go" not in page
    text = " ".join(" ".join(page).split())
    assert "No engine: what each stretch takes is given in demand.csv" in text
    # 360 kg above the reserve at 20 kg/km
    assert "a tank goes 18.0 km to its reserve" in text


def test_weather_of_the_day_is_shown_beside_dry(make: Make) -> None:
    page = page_of(*make(conditions__weather="wet"))
    rows = [line for line in page if line.startswith(("level, ", "5 % up, "))]
    assert [row.split(", ")[2].split()[0] for row in rows] == ["dry", "dry", "wet", "wet"]


def test_no_band_where_a_store_has_nothing_to_give(make: Make) -> None:
    scenario, route, _ = make(
        reserve__coal="500 kg", at_start__coal="full", at_finish__coal="500 kg"
    )
    found = reach(scenario, route)
    assert found.coal is None
    assert math.isfinite(water_of(found))
