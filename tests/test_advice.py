"""The price of each aim and what would help, against figures worked by hand.

The road is 10 km at 60 kg of water, 4 kg of coal and 10 min each; the tank holds 400 kg
and starts full, 40 are its reserve and 50 wanted at the finish.
"""

import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from haulplan.cli import main
from haulplan.demand import Demand, build_demand
from haulplan.errors import NoPlanError
from haulplan.outputs.advice import render_advice
from haulplan.plan import Plan, make_plan
from haulplan.plan.advice import Price, helps, prices
from haulplan.plan.solve import solve
from haulplan.plan.trial import Case
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario

Toml = dict[str, Any]
Write = Callable[..., Path]
Planned = tuple[Scenario, Route, Demand, Plan]

USE = "from [km],to [km],duration [min],water [kg],coal [kg]\n0,10,100,600,40\n"
HEAD = "name,kind,at [km],set_up [min],water_available,water_rate [kg/min],water_price\n"


@pytest.fixture
def planned(measured: Toml, write: Write) -> Callable[..., Planned]:
    def make(supply: str, **tables: str) -> Planned:
        files = {"demand.csv": USE, "supply.csv": HEAD + supply}
        files |= {f"{name}.csv": text for name, text in tables.items()}
        scenario = read_scenario(write(measured, files))
        route = build_route(scenario)
        demand = build_demand(scenario, route)
        return scenario, route, demand, make_plan(scenario, route, demand)

    return make


def found(asked: tuple[Price, ...], word: str) -> Price:
    (price,) = [price for price in asked if word in price.what]
    return price


#: Two quick taps with a limit, dear; one slow and free.
THREE = (
    "First,tap,4,2,130 kg,100,0.2 USD/kg\nSlow,tap,5,20,unlimited,10,\n"
    "Last,tap,6,2,130 kg,100,0.2 USD/kg\n"
)


def test_another_aim_and_one_stop_fewer_have_their_price(planned: Callable[..., Planned]) -> None:
    problem = planned(THREE)
    assert [stop.name for stop in problem[3].stops[1:-1]] == ["First", "Last"]
    asked = prices(*problem)
    # 250 kg: 2 + 2 min and 2.5 of pumping for 50 USD, or 20 min and 25 of pumping for nothing
    for word in ("cheapest", "fewest stops", "one stop fewer"):
        price = found(asked, word)
        assert price.later == pytest.approx((45 - 6.5) * 60, abs=0.1)
        assert price.dearer == pytest.approx(-50)
        assert price.more_stops == -1
        assert price.proven


def test_no_plan_with_fewer_stops_is_told(planned: Callable[..., Planned]) -> None:
    problem = planned("Mill,tap,5,5,unlimited,50,\n")
    assert found(prices(*problem), "one stop fewer").plan is None
    scenario, route, demand, _ = problem
    with pytest.raises(NoPlanError, match="must make 1 stop more than are allowed"):
        solve(scenario, route, demand, most_stops=0)


def test_each_help_is_planned_anew(measured: Toml, planned: Callable[..., Planned]) -> None:
    measured["stores"]["tank"] = "600 kg"
    problem = planned("Mill,tap,8,5,unlimited,50,\n")
    # 50 kg are taken in 5 + 1 min; 650 would reach from start to finish
    asked = helps(*problem)
    tank = found(asked, "a tank of")
    assert tank.plan is not None
    assert tank.later == pytest.approx(-6 * 60)
    assert tank.more_stops == -1
    hose = found(asked, "second hose")
    assert hose.later == pytest.approx(-30)
    assert hose.more_stops == 0
    tap = found(asked, "a tap at 4.0 km")
    assert tap.later == pytest.approx(0, abs=0.1)
    cart = found(asked, "a cart of")
    assert cart.later == pytest.approx(0, abs=0.1)  # it pumps no quicker than the mill
    assert not any("lighter" in price.what for price in asked)


def test_a_cart_weighs_on_the_bridge_and_is_refused_there(
    measured: Toml, planned: Callable[..., Planned]
) -> None:
    problem = planned("Mill,tap,5,5,unlimited,50,\n", bridges="name,at,limit\nArch,4 km,20.25 t\n")
    cart = found(helps(*problem), "a cart of")
    # 160 + 84 kg are aboard at 4 km, and the cart alone weighs 100
    assert cart.plan is None
    assert "Arch" in cart.why


def test_a_lighter_train_is_reckoned_with_the_steam_model(steam: Toml, write: Write) -> None:
    road = "distance [km],elevation [m]\n0,100\n4,120\n5,170\n6,170\n7,120\n12,110\n"
    head = "name,kind,at [km],set_up [min],water_available,water_rate [kg/min]\n"
    taps = head + "Mill,tap,5,5,unlimited,20\n"
    steam["stores"]["tank"] = "600 L"
    scenario = read_scenario(write(steam, {"route.csv": road, "supply.csv": taps}))
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    lighter = found(helps(scenario, route, demand, plan), "lighter")
    case = Case(scenario=scenario, route=route, demand=demand).with_load(0.9)
    again = make_plan(case.scenario, case.route, case.demand)
    assert again.dry_weight == pytest.approx(plan.dry_weight - 200)
    assert lighter.later == pytest.approx(again.arrival - plan.arrival, abs=0.1)
    assert lighter.later is not None
    assert lighter.later < -1


def test_the_reserve_of_a_chance_is_kept(measured: Toml, planned: Callable[..., Planned]) -> None:
    measured["risk"] = {"chance": "5 %", "day": "5 %", "stretch": "5 %"}
    problem = planned("Mill,tap,5,5,unlimited,50,\n")
    scenario, _, _, plan = problem
    hard = replace(plan, reserve_water=100.0 + scenario.file.reserve.water)
    # 100 are left on reaching the mill: no plan, with the other reserve there is one
    assert found(prices(*problem), "cheapest").plan is not None
    assert found(prices(*problem[:3], hard), "cheapest").plan is None


def test_the_tables_keep_to_80_columns(planned: Callable[..., Planned]) -> None:
    problem = planned(THREE)
    console = Console(width=80, record=True, file=io.StringIO())
    console.print(render_advice(problem[0], prices(*problem), helps(*problem)))
    text = console.export_text()
    assert max(map(len, text.splitlines())) <= 80
    assert "38 min later" in text or "39 min later" in text
    assert "50.00 less" in text


def test_the_command_prints_advice_or_mends(
    measured: Toml, write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    files = {"demand.csv": USE, "supply.csv": HEAD + THREE}
    with pytest.raises(SystemExit) as left:
        main(["plan", str(write(measured, files)), "--advice"])
    assert left.value.code == 0
    assert "What would help" in capsys.readouterr().out
    bare = str(write(measured, {"demand.csv": USE}, name="bare"))
    for words, told in (([], True), (["--no-mends"], False)):
        with pytest.raises(SystemExit) as left:
            main(["plan", bare, *words])
        assert left.value.code == 1
        error = capsys.readouterr().err
        assert "falls" in error
        assert ("tried and mends it: a supply of 251 L" in error) is told
