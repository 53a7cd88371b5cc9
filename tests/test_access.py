"""Off the road to a supply and back: driven, drunk, and refused where it cannot be."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from haulplan.demand import build_demand
from haulplan.demand.access import access_use
from haulplan.demand.haul import Road, assemble
from haulplan.errors import InputError
from haulplan.route import build_route
from haulplan.scenario import Scenario, read_scenario

Toml = dict[str, Any]
MPH = 0.44704
COLUMNS = (
    "name,kind,at [km],water_available,water_rate,access,access_surface,access_time,"
    "access_water,access_coal,turning_time\n"
)
MEASURED = "from [km],to [km],duration [min],water [kg],coal [kg]\n0,12,90,600,90\n"


@pytest.fixture
def scenario_of(road_csv: str, write: Callable[..., Path]) -> Callable[..., Scenario]:
    def make(toml: Toml, access: str, **tables: str) -> Scenario:
        rows = f"Pond,pond,2,unlimited,60 L/min,{access}\n"
        files = {"route.csv": road_csv, "supply.csv": COLUMNS + rows}
        files |= {f"{name}.csv": text for name, text in tables.items()}
        return read_scenario(write(toml, files))

    return make


def use_of(
    scenario: Scenario, aboard: float = 1000.0, deviates: dict[str, float] | None = None
) -> tuple[float, float, float]:
    return access_use(scenario, scenario.supplies[0], aboard, deviates=deviates)


def test_a_supply_on_the_road_takes_no_drive(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    assert use_of(scenario_of(steam, ",,,,,")) == (0.0, 0.0, 0.0)


def test_the_way_is_driven_there_and_back(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    scenario = scenario_of(steam, "300 m,gravel,,,,")
    duration, water, coal = use_of(scenario)
    # the low gear is driven at 3 km/h; the high one, at 7, is faster than a yard allows
    assert duration == pytest.approx(600 / (3 / 3.6))
    file = scenario.file
    assert file.engine is not None
    assert file.fuel is not None
    road = Road(
        length=np.array([600.0]), grade=np.zeros(1), surface=("gravel",),
        speed_limit=np.array([np.inf]), sharp=np.array([False]), headwind=np.zeros(1),
        altitude=0.0,
    )  # fmt: skip
    haul, _ = assemble(
        file.engine, file.fuel.heating_value, file.train.wagons, file.conditions, road
    )
    whole = haul.evaluate(np.array([1000.0]), np.array([haul.gears.index("low")]))
    assert (water, coal) == pytest.approx((float(whole.water[0]), float(whole.coal[0])))


def test_a_higher_gear_is_taken_where_a_yard_allows_it(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    steam["engine"]["gears"] = [
        {"name": "low", "ratio": 18.0, "speed": "2 km/h"},
        {"name": "middle", "ratio": 12.0, "speed": "4 km/h"},
        {"name": "high", "ratio": 9.0, "speed": "7 km/h"},
    ]
    assert use_of(scenario_of(steam, "500 m,asphalt,,,,"))[0] == pytest.approx(900)


def test_a_fast_engine_is_held_back_in_a_yard(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    steam["engine"]["gears"] = [{"name": "only", "ratio": 14.0, "speed": "8 km/h"}]
    assert use_of(scenario_of(steam, "500 m,asphalt,,,,"))[0] == pytest.approx(1000 / (3 * MPH))


def test_longer_softer_and_heavier_all_take_more(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    plain = use_of(scenario_of(steam, "300 m,asphalt,,,,"))
    for harder in (
        use_of(scenario_of(steam, "400 m,asphalt,,,,")),
        use_of(scenario_of(steam, "300 m,earth,,,,")),
        use_of(scenario_of(steam, "300 m,asphalt,,,,"), 1600.0),
        use_of(scenario_of(steam, "300 m,asphalt,,,,"), deviates={"condensation": 1.0}),
    ):
        assert harder[1] > plain[1]
        assert harder[2] > plain[2]


def test_the_roads_surface_holds_where_none_is_given(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    assert use_of(scenario_of(steam, "300 m,,,,,")) == use_of(
        scenario_of(steam, "300 m,macadam,,,,")
    )


def test_nobody_turns_to_take_water_on_the_road(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    assert use_of(scenario_of(steam, ",,,,,10 min")) == (0.0, 0.0, 0.0)


def test_turning_takes_its_time_and_what_standing_takes(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    steam |= {"standing_water": "36 kg/h", "standing_coal": "3.6 kg/h"}
    straight = use_of(scenario_of(steam, "300 m,gravel,,,,"))
    turned = use_of(scenario_of(steam, "300 m,gravel,,,,10 min"))
    gained = [b - a for a, b in zip(straight, turned, strict=True)]
    assert gained == pytest.approx([600, 6, 0.6])


def test_the_owners_figures_go_before_the_model(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    assert use_of(scenario_of(steam, "300 m,,9 min,8 kg,2 kg,1 min")) == (600, 8, 2)
    modelled = use_of(scenario_of(steam, "300 m,,,,,"))
    assert use_of(scenario_of(steam, "300 m,,,8 kg,,")) == (modelled[0], 8, modelled[2])


def test_a_track_the_train_does_not_get_over_is_refused(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    steam["conditions"] = {"weather": "mud"}
    steam["train"]["wagons"][0]["load"] = "30 t"
    scenario = scenario_of(steam, "300 m,sand,,,,")
    with pytest.raises(InputError, match="row 2, column access_surface: the train does not get"):
        use_of(scenario)


def test_measured_use_needs_the_ways_own_figures(
    measured: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    with pytest.raises(InputError, match="row 2, column access_water: missing"):
        scenario_of(measured, "300 m,,9 min,,,", demand=MEASURED)
    stated = scenario_of(measured, "300 m,,9 min,8 kg,2 kg,1 min", demand=MEASURED)
    assert use_of(stated) == (600, 8, 2)
    assert use_of(scenario_of(measured, ",,,,,", demand=MEASURED)) == (0, 0, 0)


def test_what_the_way_rests_on_is_listed_once(
    steam: Toml, scenario_of: Callable[..., Scenario]
) -> None:
    scenario = scenario_of(steam, "300 m,sand,,,,")
    names = [a.name for a in build_demand(scenario, build_route(scenario)).assumptions]
    assert {"yard speed", "sand, rubber tyre"} <= set(names)
    assert len(set(names)) == len(names)
