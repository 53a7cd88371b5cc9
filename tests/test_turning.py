"""Turning back as the way out of a locked tap: found, told, and driven."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from haulplan.demand import build_demand
from haulplan.demand.demand import Demand, Use
from haulplan.demand.parts import cut, joined_demand
from haulplan.errors import InternalError, NoPlanError
from haulplan.outputs.overleaf import overleaf
from haulplan.outputs.roadbook import open_book
from haulplan.plan import Plan, make_plan
from haulplan.plan.turning import Turn, Turning, turn_back, turnings
from haulplan.replay import replay
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import UNIT_SYSTEMS

Toml = dict[str, Any]
Write = Callable[..., Path]
Array = NDArray[np.float64]
Case = tuple[Scenario, Route, Demand]
METRIC = UNIT_SYSTEMS["metric"]

#: 60 kg of water a kilometre there, 50 back: 10 minutes a kilometre either way.
ROAD = "from [km],to [km],duration [min],water [kg],coal [kg]\n0,10,100,600,40\n10,0,100,500,40\n"
ONE_WAY = ROAD.rsplit("\n", 2)[0] + "\n"
HEAD = "name,kind,at [km],water_available,water_rate [kg/min],set_up [min],turning,turning_time\n"
#: Slow but near; the plan goes past it to the quick one, where 40 kg are left.
SLOW = "Slow,tap,5.5,unlimited,10,5,{},8 min"
QUICK = "Quick,tap,6,unlimited,50,5,{},12 min"


@pytest.fixture
def case(measured: Toml, write: Write) -> Callable[..., Case]:
    def make(*rows: str, road: str = ROAD, places: str = "", **toml: object) -> Case:
        tables = {"demand.csv": road, "supply.csv": HEAD + "\n".join(rows) + "\n"}
        if places:
            tables["places.csv"] = places
        scenario = read_scenario(write(measured | toml, tables))
        route = build_route(scenario)
        return scenario, route, build_demand(scenario, route)

    return make


def planned(case: Case, *, survive: bool = False) -> Plan:
    plan = make_plan(*case, survive=survive)
    replay(*case, plan)
    return plan


def stops(plan: Plan) -> list[str]:
    return [stop.name for stop in plan.stops[1:-1]]


def test_turning_back_alone_saves_the_plan(case: Callable[..., Case]) -> None:
    """40 kg at the quick one lead half a kilometre back, not four on."""
    both = case(SLOW.format("yes"), QUICK.format("yes"))
    plan = planned(both, survive=True)
    assert plan.survives
    assert stops(plan) == ["Quick"]
    way = plan.fallbacks[0]
    assert (way.turn_name, way.turn_at) == ("Quick", 6000.0)
    assert (way.next_name, way.next_distance) == ("Slow", 5500.0)
    assert (way.decide_name, way.again_name) == ("Quick", "Slow")
    # 12 min to turn, 5 back, 5 to set up, 255 kg at 10 a minute (15 left, 270 to go, nothing
    # kept), 8 to turn again, 45 on; the plan stood 5 + 250 / 50 and drove 40
    slow = 12 + 5 + 5 + 255 / 10 + 8 + 45
    quick = 5 + 250 / 50 + 40
    assert way.later / 60 == pytest.approx(slow - quick, abs=0.05)


@pytest.mark.parametrize("which", ["Slow", "Quick", "no way back"])
def test_without_turning_it_is_another_plan(which: str, case: Callable[..., Case]) -> None:
    rows = [row.format("no" if row.startswith(which) else "yes") for row in (SLOW, QUICK)]
    made = case(*rows, road=ONE_WAY if which == "no way back" else ROAD)
    plan = planned(made, survive=True)
    assert "Slow" in stops(plan)
    assert all(way.turn_name is None for way in plan.fallbacks)


def test_where_nothing_saves_the_weak_stop_is_still_named(case: Callable[..., Case]) -> None:
    made = case(QUICK.format("yes"))
    with pytest.raises(NoPlanError, match="without water at Quick"):
        planned(made, survive=True)


def test_the_way_back_is_driven_and_a_false_one_refused(case: Callable[..., Case]) -> None:
    made = case(SLOW.format("yes"), QUICK.format("yes"))
    plan = planned(made)
    (proof,) = plan.proofs
    driven = replay(proof.scenario, proof.route, proof.demand, proof.plan)
    # 6 km, half a kilometre back, 4.5 on
    assert driven.distance[-1] == pytest.approx(11_000)
    assert min(driven.tank) == pytest.approx(0.0, abs=0.5)
    back = np.arange(proof.demand.segments) >= proof.demand.index(6000.0)

    def twice(aboard: Array, gear: NDArray[np.int64]) -> Use:
        use = proof.demand.evaluate(aboard, gear)
        return replace(use, water=use.water * np.where(back, 2.0, 1.0))

    thirsty = replace(proof.demand, evaluate=twice)
    with pytest.raises(InternalError, match="water"):
        replay(*made, replace(plan, proofs=(replace(proof, demand=thirsty),)))


def test_a_place_to_turn_before_the_stop_is_where_it_must_be_known(
    measured: Toml, write: Write
) -> None:
    """Nobody turns at the quick one: it must be known at the coal yard, before the loop."""
    supply = (
        "name,kind,at [km],water_available,water_rate [kg/min],coal_available,coal_rate [kg/min],"
        "set_up [min],turning\nSlow,tap,5.5,unlimited,10,,,5,yes\n"
        "Yard,coal,5.7,,,unlimited,20,1,no\nQuick,tap,6,unlimited,50,,,5,no\n"
    )
    measured["at_start"] = {"water": "full", "coal": "30 kg"}
    places = "name,at [km],turning,turning_time\nLoop,5.8,yes,6 min\n"
    tables = {"demand.csv": ROAD, "supply.csv": supply, "places.csv": places}
    scenario = read_scenario(write(measured, tables))
    route = build_route(scenario)
    plan = planned((scenario, route, build_demand(scenario, route)))
    assert stops(plan) == ["Yard", "Quick"]
    way = plan.fallbacks[1]
    assert (way.decide_name, way.turn_name, way.next_name) == ("Yard", "Loop", "Slow")
    places = places.replace("yes", "no")
    scenario = read_scenario(write(measured, tables | {"places.csv": places}, name="without"))
    route = build_route(scenario)
    plan = planned((scenario, route, build_demand(scenario, route)))
    assert plan.fallbacks[1].turn_name is None
    assert plan.fallbacks[1].decide_name == "Upper mill"  # the slow one must be filled at


def test_bridges_bind_on_the_way_back_too(case: Callable[..., Case], write: Write) -> None:
    scenario, route, demand = case(SLOW.format("yes"), QUICK.format("yes"))
    turn = Turn(
        there=Turning(name="Quick", distance=6000.0, minutes=12.0),
        again=Turning(name="Slow", distance=5500.0, minutes=8.0),
    )
    turned = turn_back(scenario, route, demand, turn)
    assert turned is not None
    names = [(p.name, round(p.distance)) for p in turned.route.passings]
    assert names == [
        ("Slow", 5500), ("Quick", 6000), ("turn round at Quick", 6000), ("Slow", 6500),
        ("turn round at Slow", 6500), ("Quick", 7000),
    ]  # fmt: skip
    assert [turned.place(d) for d in (0.0, 6000.0, 6250.0, 6500.0, 7000.0, 11000.0)] == [
        0.0, 6000.0, 5750.0, 5500.0, 6000.0, 10000.0,
    ]  # fmt: skip


def test_a_call_is_kept_once(case: Callable[..., Case]) -> None:
    places = "name,at [km],stay [min]\nShow,5.8,10\n"
    made = case(SLOW.format("yes"), QUICK.format("yes"), places=places)
    plan = planned(made)
    way = plan.fallbacks[0]
    assert way.turn_name == "Quick"
    (proof,) = plan.proofs
    assert [s.name for s in proof.plan.stops].count("Show") == 1


def test_the_steam_models_way_back_is_the_road_in_reverse(
    steam: Toml, road_csv: str, write: Write
) -> None:
    scenario = read_scenario(write(steam, {"route.csv": road_csv}))
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    first, last = demand.index(4000.0), demand.index(6000.0)
    back = demand.back(first, last)
    assert back is not None
    assert back.distance[-1] == pytest.approx(2000.0)
    whole = joined_demand((cut(demand, 0, last), back, cut(demand, first, demand.segments)))
    aboard = np.full(whole.segments, 900.0)
    use = whole.evaluate(aboard, whole.gear)
    ahead = demand.evaluate(np.full(demand.segments, 900.0), demand.gear)
    assert use.water[:last] == pytest.approx(ahead.water[:last])
    assert use.water[-(demand.segments - first) :] == pytest.approx(ahead.water[first:])
    # up 5 % from 4 to 5 km, so down it on the way back: less water than on the way there
    down = use.water[last : last + back.segments].sum()
    assert 0.0 < down < ahead.water[first:last].sum()
    assert turnings(scenario, route) == ()


@pytest.mark.parametrize(("tank", "before"), [("330 L", ["Slow", "Quick"]), ("360 L", ["Quick"])])
def test_the_steam_model_turns_back_and_is_driven(
    tank: str, before: list[str], steam: Toml, road_csv: str, write: Write
) -> None:
    """With the smaller tank just enough is taken at the slow one to come back to it."""
    steam["stores"] = {"tank": tank, "bunker": "500 kg"}
    steam["reserve"] = {"water": "20 L", "coal": "10 kg"}
    steam["at_finish"] = {"water": "20 L", "coal": "20 kg"}
    head = "name,kind,at [km],water_available,water_rate,set_up [min],turning\n"
    rows = "Slow,tap,4.6,unlimited,10 L/min,5,yes\nQuick,tap,5.6,unlimited,80 L/min,5,yes\n"
    tables = {"route.csv": road_csv, "supply.csv": head + rows}
    scenario = read_scenario(write(steam, tables))
    route = build_route(scenario)
    plan = planned((scenario, route, build_demand(scenario, route)), survive=True)
    assert stops(plan) == before
    way = plan.fallbacks[-1]
    assert (way.turn_name, way.next_name) == ("Quick", "Slow")
    (proof,) = plan.proofs
    driven = replay(proof.scenario, proof.route, proof.demand, proof.plan)
    assert driven.distance[-1] == pytest.approx(14_000)
    assert min(driven.tank) >= -1e-3
    rows = rows.replace("yes", "no")
    scenario = read_scenario(write(steam, tables | {"supply.csv": head + rows}, name="without"))
    without = planned((scenario, route, build_demand(scenario, route)), survive=True)
    assert without.arrival > plan.arrival + 60
    assert not without.proofs


def test_the_sheets_tell_where_to_turn(case: Callable[..., Case]) -> None:
    scenario, route, _ = made = case(SLOW.format("yes"), QUICK.format("yes"))
    page = overleaf(open_book(scenario, route, planned(made), METRIC), 1, ())
    words = "turn at Quick, back to Slow at 5.5 km (0.5 km), turn again at Slow, then on"
    assert words in page
