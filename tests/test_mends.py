"""No plan: what is said to mend it does, a little less does not, and neither does more.

The road is 10 km at 60 kg of water, 4 kg of coal and 10 min each; the tank holds 400 kg,
the bunker 100, and 40 and 5 are the reserve, 50 and 10 are wanted at the finish.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from haulplan.demand import build_demand
from haulplan.errors import NoPlanError
from haulplan.outputs.advice import mends_text
from haulplan.plan import Plan, make_plan
from haulplan.plan.mends import Mend, find_mends
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import WATER_DENSITY

Toml = dict[str, Any]
Write = Callable[..., Path]

USE = "from [km],to [km],duration [min],water [kg],coal [kg]\n0,10,100,600,40\n"
LITRE = WATER_DENSITY / 1000


class Refused:
    """A problem without a plan, and what mends it."""

    def __init__(self, write: Write, toml: Toml, **tables: str) -> None:
        files = {f"{name}.csv": text for name, text in {"demand": USE, **tables}.items()}
        folder = f"{len(tables)} tables"
        self.scenario = read_scenario(write(toml, files, name=folder))
        route = build_route(self.scenario)
        demand = build_demand(self.scenario, route)
        with pytest.raises(NoPlanError) as caught:
            make_plan(self.scenario, route, demand)
        self.refusal = caught.value
        self.mends = find_mends(self.scenario, route, demand, self.refusal)

    def mend(self, word: str) -> Mend:
        (found,) = [m for m in self.mends if word in m.what]
        return found


def plan(scenario: Scenario) -> Plan:
    """Planned like any scenario, and proved."""
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    made = make_plan(scenario, route, demand)
    replay(scenario, route, demand, made)
    return made


def mended(mend: Mend) -> Scenario:
    assert mend.found == "mends"
    assert mend.scenario is not None
    assert mend.plan is not None
    assert plan(mend.scenario).arrival == pytest.approx(mend.plan.arrival)
    return mend.scenario


def no_plan(scenario: Scenario, **changes: object) -> None:
    file = scenario.file.model_copy(update=changes)
    with pytest.raises(NoPlanError):
        plan(replace(scenario, file=file))


def test_a_shortage_is_told_in_figures_too(measured: Toml, write: Write) -> None:
    (shortage,) = Refused(write, measured).refusal.shortages
    # 400 at the start, 600 used, 50 wanted at the finish
    assert (shortage.kind, shortage.begin, shortage.end) == ("water", 0, 10_000)
    assert shortage.amount == pytest.approx(250)


def test_the_smallest_supply_mends_it(measured: Toml, write: Write) -> None:
    mend = Refused(write, measured).mend("supply")
    assert "251 L of water between 0.0 km and 10.0 km (tried at 5.0 km)" in mend.what
    scenario = mended(mend)
    (supply,) = scenario.supplies
    assert supply.water_available == pytest.approx(251 * LITRE)
    assert supply.at == 5000
    less = supply.model_copy(update={"water_available": 0.98 * 250})
    with pytest.raises(NoPlanError):
        plan(replace(scenario, supplies=(less,)))


def test_a_supply_of_coal_is_found_where_coal_is_short(measured: Toml, write: Write) -> None:
    measured["at_start"]["coal"] = "30 kg"
    measured["stores"]["tank"] = "800 kg"
    refused = Refused(write, measured)
    # 40 used and 10 wanted at the finish of 30; the reserve of 5 holds it up to 6.25 km
    scenario = mended(refused.mend("supply of 20 kg of coal"))
    assert scenario.supplies[0].coal_available == pytest.approx(20)
    assert refused.mend("a bunker of").found == "does not"  # it is not full at the start


def test_two_stretches_ask_for_two_supplies(measured: Toml, write: Write) -> None:
    use = "from [km],to [km],duration [min],water [kg],coal [kg]\n0,20,200,1200,40\n"
    refused = Refused(write, measured, demand=use)
    mend = refused.mend("supply")
    assert mend.what.count("a supply of") >= 2
    scenario = mended(mend)
    # 1,200 used and 50 wanted of 400: 850 are taken, in whole litres
    taken = sum(s.water_available or 0 for s in scenario.supplies)
    assert 850 <= taken <= 850 + len(scenario.supplies) * LITRE


def test_the_smallest_tank_mends_it(measured: Toml, write: Write) -> None:
    scenario = mended(Refused(write, measured).mend("a tank of"))
    tank = scenario.file.stores.tank
    assert 650 <= tank <= 650 * 1.01
    no_plan(scenario, stores=scenario.file.stores.model_copy(update={"tank": 0.98 * tank}))


def test_a_smaller_reserve_mends_what_it_can(measured: Toml, write: Write) -> None:
    tap = "name,kind,at,water_available,water_rate\nMill,tap,6.2 km,unlimited,50 kg/min\n"
    refused = Refused(write, measured, supply=tap)
    # 400 - 6.2 x 60 = 28 left at the mill
    scenario = mended(refused.mend("a reserve of"))
    reserve = scenario.file.reserve
    assert 28 - 0.01 * 400 <= reserve.water <= 28
    more = reserve.model_copy(update={"water": reserve.water + 0.02 * 400})
    no_plan(scenario, reserve=more)
    assert Refused(write, measured).mend("a reserve of").found == "does not"


def test_a_lighter_train_mends_a_bridge(measured: Toml, write: Write) -> None:
    wagon = {"name": "Van", "tare": "2 t", "load": "1 t", "tyre": "steel"}
    measured["train"] = {"dry_weight": "20 t", "wagons": [wagon]}
    measured["stores"]["tank"] = "800 kg"
    measured["at_start"]["water"] = "400 kg"
    tap = "name,kind,at,water_available,water_rate\nMill,tap,2 km,unlimited,50 kg/min\n"
    arch = "name,at,limit\nArch,5 km,20.2 t\n"
    refused = Refused(write, measured, supply=tap, bridges=arch)
    # 350 kg of water must be aboard at 5 km, and 80 of the 100 kg of coal are
    scenario = mended(refused.mend("lighter by"))
    weight = scenario.file.train.dry_weight
    assert weight is not None
    lightest = 20_200 - 350 - 80
    assert lightest - 0.02 * 1000 <= weight <= lightest
    no_plan(scenario, train=scenario.file.train.model_copy(update={"dry_weight": lightest + 20}))
    at = mended(refused.mend("supply")).supplies[1].at
    assert at is not None
    assert at > 5000  # beyond it


def test_an_earlier_start_and_later_hours_mend_what_is_late(measured: Toml, write: Write) -> None:
    measured["stores"]["tank"] = "800 kg"
    measured["hours"] = {"latest": "08:30"}
    refused = Refused(write, measured)
    early = mended(refused.mend("a start at 06:50, 10 min earlier"))
    no_plan(early, depart=early.file.depart + 300)
    late = mended(refused.mend("wheels turning until 08:40, 10 min later"))
    no_plan(late, hours=late.file.hours.model_copy(update={"latest": 8.5 * 3600 + 300}))
    lines = mends_text(refused.scenario, refused.mends)
    assert "tried and mends it: a start at 06:50, 10 min earlier; arrives 08:30" in lines


def test_one_night_more_mends_a_short_day(measured: Toml, write: Write) -> None:
    measured["stores"]["tank"] = "800 kg"
    measured["hours"] = {"crew": "1 h 15 min", "earliest": "06:30"}
    refused = Refused(write, measured, places="name,at,night\nGreen,6 km,yes\n")
    assert len(plan(mended(refused.mend("one night more"))).days) == 2
    crew = mended(refused.mend("on duty for 1 h 40 min, 25 min more"))
    no_plan(crew, hours=crew.file.hours.model_copy(update={"crew": 95 * 60}))
    earlier = [m for m in refused.mends if "a start at" in m.what]
    assert [m.found for m in earlier] == ["does not"]


def test_what_cannot_be_mended_by_one_change_is_told(measured: Toml, write: Write) -> None:
    measured["hours"] = {"latest": "08:30"}  # and the water is short too
    refused = Refused(write, measured)
    assert {m.found for m in refused.mends} == {"does not"}
    assert all(
        line.startswith("tried and does not")
        for line in mends_text(refused.scenario, refused.mends)
    )


def test_no_time_is_told_as_such(measured: Toml, write: Write) -> None:
    refused = Refused(write, measured)
    route = build_route(refused.scenario)
    demand = build_demand(refused.scenario, route)
    mends = find_mends(refused.scenario, route, demand, refused.refusal, time_limit=0.0)
    assert {m.found for m in mends} == {"late"}
    assert find_mends(refused.scenario, route, demand, NoPlanError("why")) == ()


def test_a_lighter_train_drinks_less_by_the_steam_model(
    steam: Toml, road_csv: str, write: Write
) -> None:
    head = "name,kind,at [km],set_up [min],water_available,water_rate [kg/min]\n"
    taps = head + "Mill,tap,3,5,unlimited,20\nPond,pond,9,5,unlimited,20\n"
    steam["stores"]["tank"] = "440 L"
    files = {"route.csv": road_csv, "supply.csv": taps}
    scenario = read_scenario(write(steam, files))
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    with pytest.raises(NoPlanError) as caught:
        make_plan(scenario, route, demand)
    mends = find_mends(scenario, route, demand, caught.value, time_limit=30)
    (lighter,) = [m for m in mends if "lighter by" in m.what]
    train = mended(lighter).file.train
    less = 2000 - sum(w.count * w.load for w in train.wagons)
    share = 1 - (less - 0.02 * 2000) / 2000
    wagons = tuple(w.model_copy(update={"load": 1000 * share}) for w in train.wagons)
    no_plan(scenario, train=train.model_copy(update={"wagons": wagons}))
    (supply,) = [m for m in mends if "a supply of" in m.what]
    found = mended(supply).supplies[2]
    # less than the fiftieth of a tank that a stop is made for, but all there is
    assert found.water_available is not None
    assert found.water_available < 440 / 50
    assert any("paces of" in m.what for m in mends)
