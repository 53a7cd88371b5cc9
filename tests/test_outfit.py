"""Engine and train apart from the road: axles, crests, feed and fires reach the planner."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from haulplan.demand import Demand, build_demand
from haulplan.demand.defaults import STOPS
from haulplan.demand.plant import banking_coal, lighting_up_coal
from haulplan.route import build_route
from haulplan.scenario import read_scenario

Toml = dict[str, Any]
Write = Callable[..., Path]
INCH = 0.0254

GLASS = {
    "crown_back": "40 in", "tubes_front": "-60 in", "tubes_height": "-4 in", "glass_at": "50 in",
    "glass_bottom": "-1 in", "glass_length": "9 in", "minimum_cover": "2 in", "swell": "0.5 in",
    "surface_area": "2 m2", "working_level": "3 in", "highest_level": "6 in",
}  # fmt: skip
AXLES = {"wheelbase": "3 m", "tank_ahead": "-0.6 m", "bunker_ahead": "-0.9 m"}
MEASURED = "from [km],to [km],duration [min],water [kg],coal [kg]\n0,12,90,600,90\n"
#: One crest of 5 % on either side.
CREST = "distance [km],elevation [m]\n0,100\n4,120\n5,170\n6,120\n12,110\n"
PLACES = "name,at [km],night\nInn,6,yes\n"


@pytest.fixture
def demand_of(write: Write) -> Callable[..., Demand]:
    def make(toml: Toml, **tables: str) -> Demand:
        files = {f"{name}.csv": text for name, text in tables.items()}
        scenario = read_scenario(write(toml, files))
        return build_demand(scenario, build_route(scenario))

    return make


def test_axles_and_engine_weight_are_those_of_the_scenario(
    steam: Toml, road_csv: str, demand_of: Callable[..., Demand]
) -> None:
    steam["engine"]["axles"] = AXLES
    steam["train"]["wagons"].append({"name": "Cart", "tare": "1 t", "tyre": "rubber"})
    stores = "name,kind,water,water_rate\nCart,cart,800 L,60 L/min\n"
    demand = demand_of(steam, route=road_csv, stores=stores)
    assert demand.engine_weight == 12000
    assert len(demand.axles) == 2 + 4 + 2
    assert sum(axle.dry for axle in demand.axles) == pytest.approx(demand.dry_weight)
    assert [axle.cart for axle in demand.axles] == [0] * 6 + [0.5, 0.5]
    # 0.6 m behind on a wheelbase of 3 m: a fifth of the tank comes off the front
    assert demand.axles[0].water == pytest.approx(-0.2)


def test_without_lever_arms_there_are_no_axles(
    steam: Toml, road_csv: str, demand_of: Callable[..., Demand]
) -> None:
    assert demand_of(steam, route=road_csv).axles == ()


def test_a_crest_asks_for_water_above_the_working_level(
    steam: Toml, demand_of: Callable[..., Demand]
) -> None:
    steam["engine"]["glass"] = GLASS
    demand = demand_of(steam, route=CREST)
    (crest,) = demand.crests
    assert crest.distance == pytest.approx(5000)
    # the hill is 5 % either way: the fall drops the crown's edge by 2 in, the climb the
    # tubes by 3 in from 4 in lower; 2 + 2 + 0.5 in of level, 3 in are there already
    assert crest.water == pytest.approx(1.5 * INCH * 2 * 999, rel=0.02)
    assert demand.boiler_room == pytest.approx(3 * INCH * 2 * 999)


def test_a_crest_the_working_level_covers_asks_for_nothing(
    steam: Toml, demand_of: Callable[..., Demand]
) -> None:
    steam["engine"]["glass"] = GLASS | {"working_level": "5 in"}
    assert demand_of(steam, route=CREST).crests == ()


@pytest.mark.parametrize("levels", [(), ("glass",)])
def test_without_levels_no_crest_binds(
    levels: tuple[str, ...], steam: Toml, demand_of: Callable[..., Demand]
) -> None:
    if levels:
        steam["engine"]["glass"] = {k: v for k, v in GLASS.items() if not k.endswith("level")}
    demand = demand_of(steam, route=CREST)
    assert (demand.crests, demand.boiler_room) == ((), 0.0)


def test_the_feed_is_the_owners_else_above_the_boilers_best(
    steam: Toml, demand_of: Callable[..., Demand]
) -> None:
    steam["engine"]["glass"] = GLASS
    demand = demand_of(steam, route=CREST)
    names = [a.name for a in demand.assumptions]
    assert "feed of one injector" in names
    # on its hardest hill the boiler takes no more than its best
    aboard, gear = demand.distance[:-1] * 0 + 1500.0, demand.gear
    use = demand.evaluate(aboard, gear)
    hardest = float((use.water / use.duration).max())
    assert (demand.feed_rate or 0.0) >= 1.5 * 0.99 * hardest
    steam["engine"]["feed_rate"] = "20 L/min"
    stated = demand_of(steam, route=CREST)
    assert stated.feed_rate == pytest.approx(20 * 0.999 / 60)
    assert "feed of one injector" not in [a.name for a in stated.assumptions]


# --- fires


def test_nights_are_the_owners_where_given(
    steam: Toml, road_csv: str, demand_of: Callable[..., Demand]
) -> None:
    steam["nights"] = {
        "most": 1, "banked_water": "40 L", "banked_coal": "30 kg", "dropped_water": "10 L",
        "dropped_coal": "70 kg",
    }  # fmt: skip
    steam["lighting_up"] = {"cold": "3 h", "banked": "50 min"}
    demand = demand_of(steam, route=road_csv, places=PLACES)
    assert [demand.banked, demand.dropped] == [
        pytest.approx((39.96, 30)),
        pytest.approx((9.99, 70)),
    ]
    assert list(demand.leads) == [3 * 3600, 50 * 60]
    assert not any("banked" in a.name or "dropped" in a.name for a in demand.assumptions)


def test_nights_not_given_come_from_boiler_and_grate(
    steam: Toml, road_csv: str, write: Write, demand_of: Callable[..., Demand]
) -> None:
    steam["nights"] = {"most": 1}
    demand = demand_of(steam, route=road_csv, places=PLACES)
    file = read_scenario(write(steam, {"route.csv": road_csv, "places.csv": PLACES})).file
    assert file.engine is not None
    assert file.fuel is not None
    lit = lighting_up_coal(file.engine, file.fuel.heating_value, file.conditions)
    water = 900 * 0.999
    assert [demand.banked, demand.dropped] == [
        pytest.approx((0.04 * water, banking_coal(file.engine))),
        pytest.approx((0.02 * water, lit)),
    ]
    names = {a.name for a in demand.assumptions}
    assert {"banked water", "dropped water", "cold lead middling"} <= names


@pytest.mark.parametrize(
    ("water", "cold", "banked"),
    # a crew's table by size of boiler, from memory: ranges in hours and minutes
    [
        ("90 imp gal", (1.25, 2), (20, 40)), ("150 imp gal", (2, 3), (30, 60)),
        ("270 imp gal", (2.5, 4), (45, 75)), ("420 imp gal", (3, 5), (60, 90)),
    ],
)  # fmt: skip
def test_lighting_up_takes_what_crews_say_for_its_size(
    water: str,
    cold: tuple[float, float],
    banked: tuple[float, float],
    steam: Toml,
    road_csv: str,
    demand_of: Callable[..., Demand],
) -> None:
    steam["engine"]["boiler_water"] = water
    leads = demand_of(steam, route=road_csv).leads
    assert cold[0] * 3600 < leads[0] < cold[1] * 3600
    assert banked[0] * 60 < leads[1] < banked[1] * 60


def test_a_days_run_lists_no_assumption_of_nights(
    steam: Toml, road_csv: str, demand_of: Callable[..., Demand]
) -> None:
    shown = {default.shown for default in STOPS.values()}
    assert not shown & {a.value for a in demand_of(steam, route=road_csv).assumptions}


def test_measured_use_has_the_same_outfit(measured: Toml, demand_of: Callable[..., Demand]) -> None:
    demand = demand_of(measured, demand=MEASURED)
    assert (demand.axles, demand.engine_weight, demand.feed_rate) == ((), None, None)
    assert (demand.banked, demand.dropped, demand.leads) == (None, None, (0, 0))
    measured["nights"] = {
        "most": 1, "fire": "banked", "banked_water": "5 kg", "banked_coal": "3 kg",
    }  # fmt: skip
    demand = demand_of(measured, demand=MEASURED, places=PLACES)
    assert (demand.banked, demand.dropped) == ((5, 3), None)


def test_a_crest_of_a_measured_road_is_a_place_on_it(
    steam: Toml, demand_of: Callable[..., Demand]
) -> None:
    steam["engine"]["glass"] = GLASS
    demand = demand_of(steam, route=CREST, demand=MEASURED)
    (crest,) = demand.crests
    assert crest.distance in demand.distance
    assert demand.feed_rate is not None
