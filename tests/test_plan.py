"""The planner: every limit binds, shortages are told truly, tampered plans are refused."""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from haulplan.demand import Demand, build_demand
from haulplan.errors import InternalError, NoPlanError
from haulplan.plan import Plan, Stop, make_plan
from haulplan.plan.explain import explain_shortage
from haulplan.plan.run import run
from haulplan.replay import replay
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.scenario.schema import Aim

Toml = dict[str, Any]
Write = Callable[..., Path]
Problem = tuple[Scenario, Route, Demand]

#: 10 km at 60 kg of water, 4 kg of coal and 10 min each.
USE = "from [km],to [km],duration [min],water [kg],coal [kg]\n0,10,100,600,40\n"
HEAD = (
    "name,kind,at [km],set_up [min],water_available,water_rate [kg/min],water_price,"
    "coal_available,coal_rate [kg/min],coal_price,call_out,opens,closes\n"
)


def tap(
    name: str,
    at: float,
    *,
    set_up: float = 5,
    water: str = "unlimited",
    rate: float = 50,
    price: str = "",
    coal: str = "",
    coal_rate: float | str = "",
    coal_price: str = "",
    call_out: str = "",
    opens: str = "",
    closes: str = "",
) -> str:
    cells = (
        name, "tap", at, set_up, water, rate if water else "", price, coal, coal_rate,
        coal_price, call_out, opens, closes,
    )  # fmt: skip
    return ",".join(str(cell) for cell in cells) + "\n"


class Small:
    """A small problem with measured use: tank 400, bunker 100, reserves 40 and 5."""

    def __init__(self, toml: Toml, write: Write) -> None:
        self.toml, self.write, self.count = toml, write, 0
        self.use = USE
        self.bridges = ""

    def problem(self, *taps: str) -> Problem:
        tables = {"demand.csv": self.use}
        if taps:
            tables["supply.csv"] = HEAD + "".join(taps)
        if self.bridges:
            tables["bridges.csv"] = "name,at [km],limit [kg]\n" + self.bridges
        self.count += 1
        scenario = read_scenario(self.write(self.toml, tables, name=f"small {self.count}"))
        route = build_route(scenario)
        return scenario, route, build_demand(scenario, route)

    def plan(self, *taps: str, aim: str | None = None) -> Plan:
        problem = self.problem(*taps)
        plan = make_plan(*problem, aim=None if aim is None else Aim.model_validate({"first": aim}))
        replay(*problem, plan)
        return plan


@pytest.fixture
def small(measured: Toml, write: Write) -> Small:
    return Small(measured, write)


def visited(plan: Plan) -> list[str]:
    return [stop.name for stop in plan.stops if stop.kind == "supply"]


def at(plan: Plan, name: str) -> Stop:
    (stop,) = (stop for stop in plan.stops if stop.name == name)
    return stop


MINUTE = 60.0


# --- every family of constraints binds ------------------------------------------------


def test_the_reserve_is_kept_and_asks_for_a_stop(small: Small) -> None:
    """(3): 340 kg of road on 400 kg of tank; a reserve of 61 is more than is left."""
    small.use = USE.replace("600", "340")
    small.toml["at_finish"] = small.toml["reserve"] = {"water": "60 kg", "coal": "0 kg"}
    assert visited(small.plan(tap("Mill", 5))) == []
    small.toml["at_finish"] = small.toml["reserve"] = {"water": "61 kg", "coal": "0 kg"}
    plan = small.plan(tap("Mill", 5))
    assert visited(plan) == ["Mill"]
    assert plan.stops[-1].tank_arrive == pytest.approx(61, abs=1e-3)
    for stop in plan.stops:
        assert min(stop.tank_arrive, stop.tank_depart) >= 61 - 1e-3


def test_the_level_wanted_at_the_finish_is_there(small: Small) -> None:
    """(13): the finish asks for more than the reserve."""
    small.use = USE.replace("600", "340")
    mill = tap("Mill", 8, coal="unlimited", coal_rate=10)
    assert visited(small.plan(mill)) == []
    small.toml["at_finish"] = {"water": "320 kg", "coal": "70 kg"}
    plan = small.plan(mill)
    assert at(plan, "Mill").water_taken == pytest.approx(320 + 340 - 400, abs=1e-3)
    assert at(plan, "Mill").coal_taken == pytest.approx(70 + 40 - 100, abs=1e-3)
    assert plan.stops[-1].tank_arrive == pytest.approx(320, abs=1e-3)


def test_the_tank_is_not_overfilled(small: Small) -> None:
    """(2): 10 km ask for 780 kg; the tank takes 400, so one stop is not enough."""
    small.use = USE.replace("600", "730")
    plan = small.plan(tap("Early", 4), tap("Late", 8))
    assert visited(plan) == ["Early", "Late"]
    for stop in plan.stops:
        assert stop.tank_depart <= 400 + 1e-3
    assert at(plan, "Early").tank_depart + at(plan, "Late").water_taken >= 438 + 50 - 1e-3


def test_the_bunkers_are_not_overfilled(small: Small) -> None:
    small.use = USE.replace(",40\n", ",170\n")
    coal = {"coal": "unlimited", "coal_rate": 10.0}
    plan = small.plan(tap("Early", 4, **coal), tap("Late", 8, **coal))  # type: ignore[arg-type]
    assert visited(plan) == ["Early", "Late"]
    assert all(stop.bunker_depart <= 100 + 1e-3 for stop in plan.stops)


def test_nothing_is_taken_without_a_stop_and_its_set_up(small: Small) -> None:
    """(4), (6), (7): a stop takes its set-up and the time of pumping."""
    plan = small.plan(tap("Mill", 5, set_up=7, rate=20))
    stop = at(plan, "Mill")
    assert stop.water_taken == pytest.approx(250, abs=1e-3)
    assert stop.depart - stop.arrive == pytest.approx((7 + 250 / 20) * MINUTE, abs=0.05)
    assert plan.arrival == pytest.approx((420 + 100 + 7 + 250 / 20) * MINUTE, abs=0.1)


def test_water_and_coal_are_taken_side_by_side(small: Small) -> None:
    """(6): the longer of the two counts, not their sum."""
    small.use = USE.replace(",40\n", ",130\n")
    plan = small.plan(tap("Mill", 5, set_up=2, rate=20, coal="unlimited", coal_rate=1.6))
    stop = at(plan, "Mill")
    assert (stop.water_taken, stop.coal_taken) == pytest.approx((250, 40), abs=1e-3)
    assert stop.depart - stop.arrive == pytest.approx((2 + 40 / 1.6) * MINUTE, abs=0.05)


def test_a_source_gives_what_it_has(small: Small) -> None:
    """(4): a better tap with 249 kg of the 250 needed is not enough by itself."""
    assert visited(small.plan(tap("Mill", 5, water="250 kg"), tap("Slow", 6, rate=1))) == ["Mill"]
    plan = small.plan(tap("Mill", 5, water="249 kg"), tap("Slow", 6, rate=1))
    assert visited(plan) == ["Mill", "Slow"]
    assert at(plan, "Mill").water_taken <= 249 + 1e-6
    assert at(plan, "Slow").water_taken == pytest.approx(1, abs=1e-3)


def test_what_is_burnt_standing_is_carried(small: Small) -> None:
    """(1): at 2 kg/min the tap of 52 kg/min fills the tank at 50, less the set-up's use."""
    small.toml["standing_water"] = "2 kg/min"
    plan = small.plan(tap("Mill", 5, set_up=5, rate=52))
    stop = at(plan, "Mill")
    stay = 260 / 50  # 250 kg for the road and 10 for the set-up, at 50 kg/min net
    assert stop.water_taken == pytest.approx(52 * stay, abs=1e-3)
    assert stop.water_standing == pytest.approx(2 * (5 + stay), abs=1e-3)
    assert stop.depart - stop.arrive == pytest.approx((5 + stay) * MINUTE, abs=0.05)


def test_water_hauled_costs_water(small: Small) -> None:
    """(9): the later of two taps is taken where the road between drinks by the load."""
    taps = (tap("Early", 5, rate=50), tap("Late", 5.5, rate=49.9))
    assert visited(small.plan(*taps)) == ["Early"]
    small.use = (
        "from [km],to [km],duration [min],water [kg],coal [kg],water_per_mass\n"
        "0,5,50,300,20,\n5,5.5,5,30,2,0.1\n5.5,10,45,270,18,\n"
    )
    plan = small.plan(*taps)
    assert visited(plan) == ["Late"]
    # at 5 km 100 kg of water and 80 of coal are aboard: 30 and a tenth of 180 to the tap
    assert at(plan, "Late").tank_arrive == pytest.approx(400 - 300 - 30 - 0.1 * 180, abs=1e-3)


def test_a_bridge_changes_the_plan(small: Small) -> None:
    """(11): 20 t empty; with 20.2 t posted no more than 200 kg go over at 5 km."""
    taps = (tap("Before", 4.5), tap("Beyond", 6, rate=1))
    free = small.plan(*taps)
    assert visited(free) == ["Before"]
    small.bridges = "Arch,5,20200\n"
    plan = small.plan(*taps)
    assert visited(plan) == ["Before", "Beyond"]
    (crossing,) = plan.crossings
    assert crossing.gross == pytest.approx(20_200, abs=0.1)
    assert crossing.gross <= 20_200 + 0.02
    small.bridges = "Arch,5,20500\n"
    assert visited(small.plan(*taps)) == ["Before"]


def test_a_hill_bounds_what_is_aboard(steam: Toml, write: Write) -> None:
    """(11): with less than full stores the lowest gear holds; the plan fills up beyond it."""
    steam["stores"]["tank"] = "1500 L"
    steam["at_start"]["water"] = "600 L"
    steam["at_finish"]["water"] = "900 L"
    supply = HEAD + tap("Foot", 5.5, rate=200) + tap("Top", 7.5, rate=20)
    flat = "distance [km],elevation [m]\n0,100\n6,100\n7,{}\n13,100\n"

    def planned(height: float) -> Plan:
        tables = {"route.csv": flat.format(height), "supply.csv": supply}
        scenario = read_scenario(write(steam, tables, name=f"hill {height}"))
        route = build_route(scenario)
        demand = build_demand(scenario, route)
        assert bool(np.isfinite(demand.heaviest).any()) is (height > 130)
        plan = make_plan(scenario, route, demand)
        replay(scenario, route, demand, plan)
        return plan

    assert "Top" not in visited(planned(120.0))
    limit = steepest_held(steam, write)
    plan = planned(limit)
    assert visited(plan)[-1] == "Top"


def steepest_held(steam: Toml, write: Write) -> float:
    """Height of a 1 km hill that the engine climbs near empty and not full."""
    low, high = 120.0, 400.0
    for _ in range(20):
        height = (low + high) / 2
        road = f"distance [km],elevation [m]\n0,100\n6,100\n7,{height}\n13,100\n"
        scenario = read_scenario(write(steam, {"route.csv": road}, name="trial"))
        route = build_route(scenario)
        try:
            heaviest = build_demand(scenario, route).heaviest.min()
        except NoPlanError:
            high = height
            continue
        full = scenario.file.stores.tank + scenario.file.stores.bunker
        if heaviest > 0.6 * full:
            low = height
        elif heaviest < 0.4 * full:
            high = height
        else:
            return height
    raise AssertionError("no such hill")


def test_one_gear_is_kept_over_a_whole_stretch(small: Small) -> None:
    """(8): a tap inside a stretch with a choice of gears does not split the choice."""
    small.use = (
        "from [km],to [km],gear,duration [min],water [kg],coal [kg]\n"
        "0,10,high,100,600,40\n0,10,low,130,500,40\n"
    )
    plan = small.plan(tap("Mill", 5))
    assert plan.choices == (0,)
    plan = small.plan(tap("Mill", 5, rate=1))
    assert plan.choices == (1,)  # 30 minutes lost on the road, 100 saved at the tap
    assert {name for leg in plan.legs for name in leg.gears} == {"low"}
    assert at(plan, "Mill").water_taken == pytest.approx(150, abs=1e-3)


def test_a_supply_is_waited_for(small: Small) -> None:
    """(12): the tap at 5 km opens at 08:30, forty minutes after the train is there."""
    plan = small.plan(tap("Mill", 5, opens="08:30"))
    stop = at(plan, "Mill")
    assert stop.wait == pytest.approx(40 * MINUTE, abs=1)
    assert stop.arrive + stop.wait >= 8.5 * 3600 - 0.1
    assert plan.arrival == pytest.approx(small.plan(tap("Mill", 5)).arrival + 40 * MINUTE, abs=2)


def test_a_supply_that_closes_is_left_in_time_or_not_used(small: Small) -> None:
    """(12): 50 min to the tap, ten of service."""
    late = tap("Late", 6, rate=5)
    assert visited(small.plan(tap("Mill", 5, closes="08:00"), late)) == ["Mill"]
    plan = small.plan(tap("Mill", 5, closes="07:59"), late)
    assert visited(plan) == ["Mill", "Late"]
    assert at(plan, "Mill").depart <= 7 * 3600 + 59 * 60 + 0.1
    assert visited(small.plan(tap("Mill", 5, closes="07:54"), late)) == ["Late"]


def test_money_counts_price_and_call_out(small: Small) -> None:
    """A call-out of 10 USD against a price of 0.05 USD/kg for 250 kg."""
    called = tap("Cart", 5, call_out="{} USD")
    priced = tap("Mill", 6, price="0.05 USD/kg")
    plan = small.plan(called.format(12.4), priced, aim="cheapest")
    assert visited(plan) == ["Cart"]
    assert plan.money == pytest.approx(12.4)
    plan = small.plan(called.format(12.6), priced, aim="cheapest")
    assert visited(plan) == ["Mill"]
    assert plan.money == pytest.approx(12.5, abs=1e-3)
    assert plan.objective == pytest.approx(12.5, abs=1e-3)


def test_coal_is_bought_where_it_is_cheap(small: Small) -> None:
    small.use = USE.replace(",40\n", ",130\n")
    coal = {"coal": "unlimited", "coal_rate": 10.0}
    dear = tap("Dear", 3, **coal, coal_price="0.5 USD/kg")  # type: ignore[arg-type]
    cheap = tap("Cheap", 7, **coal, coal_price="0.3 USD/kg")  # type: ignore[arg-type]
    plan = small.plan(dear, cheap, aim="cheapest")
    assert plan.money == pytest.approx(0.3 * 40, abs=1e-3)
    assert at(plan, "Cheap").coal_taken == pytest.approx(40, abs=1e-3)


def test_weights_trade_minutes_for_money(small: Small) -> None:
    """250 kg at 50 kg/min for 12.5 USD, or at 10 kg/min for nothing: 20 min for 12.5 USD."""
    taps = (tap("Quick", 5, price="0.05 USD/kg"), tap("Slow", 6, rate=10))
    small.toml["aim"] = {"minute": 1.0, "money": 1.5}
    assert visited(small.plan(*taps)) == ["Quick"]
    small.toml["aim"] = {"minute": 1.0, "money": 1.7}
    assert visited(small.plan(*taps)) == ["Slow"]


# --- ties -----------------------------------------------------------------------------


def test_of_two_equally_early_plans_the_cheaper_is_taken(small: Small) -> None:
    dear, cheap = tap("Dear", 5, price="0.02 USD/kg"), tap("Cheap", 5.5, price="0.01 USD/kg")
    assert visited(small.plan(dear, cheap)) == ["Cheap"]
    assert visited(small.plan(cheap, dear)) == ["Cheap"]


def test_of_two_equally_cheap_plans_the_earlier_is_taken(small: Small) -> None:
    slow, quick = tap("Slow", 5, rate=20), tap("Quick", 5.5, rate=30)
    assert visited(small.plan(slow, quick, aim="cheapest")) == ["Quick"]


def test_of_two_equally_early_and_cheap_plans_the_one_with_fewer_stops_is_taken(
    small: Small,
) -> None:
    taps = [tap(name, 4 + 0.5 * i, set_up=0) for i, name in enumerate("ABCD")]
    plan = small.plan(*taps)
    assert len(visited(plan)) == 1
    assert plan.arrival == pytest.approx((420 + 100 + 5) * MINUTE, abs=0.1)


def test_fewest_stops_then_earliest_then_cheapest(small: Small) -> None:
    taps = (
        tap("Slow", 4, rate=10), tap("Quick", 5, price="0.02 USD/kg"),
        tap("Like it", 5.5, price="0.01 USD/kg"),
    )  # fmt: skip
    assert visited(small.plan(*taps, aim="fewest stops")) == ["Like it"]


# --- no plan --------------------------------------------------------------------------


def shortage(problem: Problem, monkeypatch: pytest.MonkeyPatch) -> tuple[str, list[float]]:
    """The message, and the amounts by which limits are broken as the planner reckons them."""
    amounts: list[float] = []

    def listen(scenario: Scenario, demand: Demand, chain: Any, elastic: Any) -> str:  # noqa: ANN401
        amounts.extend(amount for _, _, _, amount, _ in elastic.broken)
        return explain_shortage(scenario, demand, chain, elastic)

    with monkeypatch.context() as patch:
        patch.setattr("haulplan.plan.solve.explain_shortage", listen)
        with pytest.raises(NoPlanError) as caught:
            make_plan(*problem)
    return str(caught.value), amounts


def shown(message: str, unit: str) -> float:
    match = re.search(rf"falls ([\d,.]+) {unit} below", message)
    assert match
    return float(match[1].replace(",", ""))


@pytest.mark.parametrize("aboard", [0.0, 0.01])
def test_a_shortage_of_water_is_told_truly(
    aboard: float, small: Small, monkeypatch: pytest.MonkeyPatch
) -> None:
    """400 aboard, 600 of road and 50 at the finish; more with what hauling it takes."""
    small.use = (
        "from [km],to [km],duration [min],water [kg],coal [kg],water_per_mass\n"
        f"0,5,50,300,20,{aboard}\n5,10,50,300,20,{aboard}\n"
    )
    problem = small.problem()
    message, (amount,) = shortage(problem, monkeypatch)
    water, coal = 400.0, 100.0
    half = replace_level(water, coal, aboard)
    # with demand given by row, what is aboard at a row's start counts: 500, then what is left
    truth = 50 - (half - 300 - aboard * (half + 80))
    assert amount == pytest.approx(truth, rel=1e-6)
    assert message.startswith("no plan: between Upper mill (0.0 km) and Lower mill (10.0 km) the")
    assert truth / 0.999 <= shown(message, "L") < truth / 0.999 + 1  # never less than lacks


def replace_level(water: float, coal: float, aboard: float) -> float:
    return water - 300 - aboard * (water + coal)


@pytest.mark.parametrize("finish", ["50 kg", "50.4 kg", "57.3 kg"])
def test_a_supply_of_what_is_lacking_mends_it(
    finish: str, small: Small, monkeypatch: pytest.MonkeyPatch
) -> None:
    small.toml["at_finish"]["water"] = finish
    message, (amount,) = shortage(small.problem(), monkeypatch)
    assert amount == pytest.approx(200 + float(finish.removesuffix(" kg")), rel=1e-6)
    assert f"a supply of at least {shown(message, 'L'):,.0f} L of water" in message
    assert visited(small.plan(tap("New", 5, water=f"{amount + 0.01} kg"))) == ["New"]
    with pytest.raises(NoPlanError):
        small.plan(tap("New", 5, water=f"{amount - 0.01} kg"))


@pytest.mark.parametrize("finish", ["50 kg", "50.4 kg", "57.3 kg"])
def test_a_supply_of_what_the_message_says_mends_it(
    finish: str, small: Small, monkeypatch: pytest.MonkeyPatch
) -> None:
    small.toml["at_finish"]["water"] = finish
    message, _ = shortage(small.problem(), monkeypatch)
    assert visited(small.plan(tap("New", 5, water=f"{shown(message, 'L')} L"))) == ["New"]


def test_a_shortage_of_coal_is_told_truly(small: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    small.use = USE.replace("600,40", "300,120")
    message, (amount,) = shortage(small.problem(tap("Mill", 5)), monkeypatch)
    assert amount == pytest.approx(120 + 10 - 100, rel=1e-6)
    assert "the bunker falls 30 kg below its reserve" in message
    assert "a supply of at least 30 kg of coal" in message


def test_the_stretch_is_the_one_after_the_last_stop(
    small: Small, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Full at 2 km, the tank has 400 for 480 kg of road and 50 at the finish."""
    message, (amount,) = shortage(small.problem(tap("Mill", 2)), monkeypatch)
    assert amount == pytest.approx(480 + 50 - 400, rel=1e-6)
    assert "between Mill (2.0 km) and Lower mill (10.0 km) the tank falls" in message


def test_two_shortages_are_both_told(small: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    small.use = USE.replace("600,40", "600,130")
    message, amounts = shortage(small.problem(), monkeypatch)
    assert sorted(amounts) == pytest.approx([40, 250], rel=1e-6)
    assert len(message.splitlines()) == 2
    assert "the tank falls" in message
    assert "the bunker falls 40 kg" in message


def test_a_bridge_that_nothing_mends_is_told(small: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    small.use = USE.replace("600", "60")
    small.bridges = "Arch,1,20300\n"
    message, (amount,) = shortage(small.problem(), monkeypatch)
    # 400 and 100 aboard, less a tenth of 60 and 40, over 20 t empty against 20.3
    assert amount == pytest.approx(500 - 6 - 4 - 300, rel=1e-6)
    assert "Arch (1.0 km) is posted at 20.30 t" in message
    assert "would be 0.19 t over" in message


def test_hours_that_nothing_mends_are_told(small: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    message, (amount,) = shortage(small.problem(tap("Mill", 5, closes="07:30")), monkeypatch)
    assert amount == pytest.approx(50 + 10 - 30, rel=1e-6)
    assert "Mill (5.0 km) is needed 30 min outside its opening hours" in message
    assert "(now 07:00)" in message


# --- the replay -----------------------------------------------------------------------


@pytest.fixture
def proved(small: Small) -> tuple[Problem, Plan]:
    """A plan with a bridge, an opening hour, limited water, coal and money."""
    small.use = USE.replace(",40\n", ",130\n")
    small.bridges = "Arch,4,20420\n"
    small.toml["standing_water"] = "0.5 kg/min"
    problem = small.problem(
        tap("Mill", 5, water="350 kg", price="0.02 USD/kg", coal="60 kg", coal_rate=4,
            coal_price="0.3 USD/kg", call_out="3 USD", opens="08:00", closes="09:00"),
        tap("Well", 7, rate=2),
    )  # fmt: skip
    plan = make_plan(*problem)
    replay(*problem, plan)
    assert visited(plan) == ["Mill"]
    return problem, plan


Change = Callable[[Plan], Plan]


def change(number: int, **figures: Any) -> Change:  # noqa: ANN401  any field of a stop
    """Alters a stop; a function is applied to what is there."""

    def tamper(plan: Plan) -> Plan:
        stop = plan.stops[number]
        new = {k: v(getattr(stop, k)) if callable(v) else v for k, v in figures.items()}
        changed = replace(stop, **new)
        return replace(plan, stops=(*plan.stops[:number], changed, *plan.stops[number + 1 :]))

    return tamper


def more(amount: float) -> Callable[[float], float]:
    return lambda figure: figure + amount


@pytest.mark.parametrize(
    ("tamper", "said"),
    [
        (lambda plan: replace(plan, stops=(plan.stops[0], plan.stops[2])), "water at Lower mill"),
        (lambda plan: replace(plan, stops=plan.stops[:2]), "the plan ends before the finish"),
        (change(1, water_taken=351.0), "water to be had at Mill"),
        (change(1, coal_taken=60.1), "coal to be had at Mill"),
        (change(1, coal_taken=more(5)), "time at Mill"),
        (change(1, water_taken=340.0), "room for water at Mill"),
        (change(1, water_taken=-1.0), "amounts at Mill"),
        (change(1, water_taken=more(-1)), "water at Lower mill"),
        (change(1, coal_taken=more(-1)), "coal at Lower mill"),
        (change(1, depart=more(-30)), "time at Mill"),
        (change(1, stay=more(-30), depart=more(-30)), "time at Mill"),
        (change(1, stay=more(3 * 3600)), "closing of Mill"),
        (change(1, wait=0.0), "opening of Mill"),
        (change(1, wait=more(-60)), "opening of Mill"),
        (change(1, wait=-60.0), "amounts at Mill"),
        (change(1, money=more(-1)), "money at Mill"),
        (change(1, tank_arrive=more(2)), "tank at Mill is"),
        (change(1, bunker_arrive=more(2)), "bunker at Mill is"),
        (change(2, arrive=more(-600)), "clock at Lower mill is"),
        (change(0, tank_arrive=more(-5)), "water at the start"),
        (change(0, bunker_arrive=more(-5)), "coal at the start"),
        (change(0, depart=more(-60)), "the departure"),
    ],
)
def test_a_tampered_plan_is_refused(
    tamper: Change, said: str, proved: tuple[Problem, Plan]
) -> None:
    problem, plan = proved
    with pytest.raises(InternalError, match="did not survive its replay") as caught:
        replay(*problem, tamper(plan))
    assert said in str(caught.value)


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Raises TimeoutError in what takes longer, where the system can."""

    def ring(*_: object) -> None:
        raise TimeoutError(f"not done within {seconds} s")

    if not hasattr(signal, "setitimer"):
        yield
        return
    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


@pytest.mark.parametrize(
    "figures",
    [
        {"water_taken": np.nan},
        {"coal_taken": np.nan},
        {"money": np.nan},
        {"wait": np.nan},
        {"depart": np.nan},
    ],
    ids=str,
)
def test_a_plan_with_a_figure_that_is_none_is_refused(
    figures: dict[str, float], proved: tuple[Problem, Plan]
) -> None:
    problem, plan = proved
    tampered = change(1, **figures)(plan)
    with within(5.0), pytest.raises(InternalError):
        replay(*problem, tampered)


def test_a_stop_where_the_supply_is_not_is_refused(small: Small) -> None:
    """Both taps are alike, but for where they are; the plan names the wrong one."""
    problem = small.problem(tap("Mill", 5), tap("Well", 7))
    plan = make_plan(*problem)
    (row,) = (stop.row for stop in plan.stops if stop.row is not None)
    with pytest.raises(InternalError):
        replay(*problem, change(1, row=1 - row)(plan))


def test_an_overloaded_bridge_is_refused(proved: tuple[Problem, Plan]) -> None:
    (scenario, route, demand), plan = proved
    (bridge,) = scenario.bridges
    gross = plan.crossings[0].gross
    for limit, passes in ((gross + 0.01, True), (gross - 1, False)):
        lower = replace(scenario, bridges=(bridge.model_copy(update={"limit": limit}),))
        if passes:
            replay(lower, route, demand, plan)
        else:
            with pytest.raises(InternalError, match=r"Arch by [\d.]+"):
                replay(lower, route, demand, plan)


def test_a_hill_overloaded_is_refused(proved: tuple[Problem, Plan]) -> None:
    (scenario, route, demand), plan = proved
    weak = replace(demand, heaviest=np.full(demand.segments, 300.0))
    with pytest.raises(InternalError, match="a hill's load"):
        replay(scenario, route, weak, plan)


def test_a_thirstier_road_than_planned_for_is_refused(proved: tuple[Problem, Plan]) -> None:
    (scenario, route, demand), plan = proved

    def thirsty(aboard: Any, gear: Any) -> Any:  # noqa: ANN401  as Demand has it
        use = demand.evaluate(aboard, gear)
        return replace(use, water=1.02 * use.water)

    with pytest.raises(InternalError, match="water at Lower mill"):
        replay(scenario, route, replace(demand, evaluate=thirsty), plan)


def test_another_gear_than_planned_is_refused(small: Small) -> None:
    small.use = (
        "from [km],to [km],gear,duration [min],water [kg],coal [kg]\n"
        "0,10,high,100,600,40\n0,10,low,130,500,40\n"
    )
    problem = small.problem(tap("Mill", 5))
    plan = make_plan(*problem)
    with pytest.raises(InternalError, match="clock at"):
        replay(*problem, replace(plan, choices=(1,)))


def test_the_trace_is_the_plan(proved: tuple[Problem, Plan]) -> None:
    problem, plan = proved
    trace = replay(*problem, plan)
    assert (trace.distance[0], trace.distance[-1]) == (0, problem[1].length)
    assert list(trace.distance) == sorted(trace.distance)
    assert list(trace.clock) == sorted(trace.clock)
    assert trace.tank[-1] == pytest.approx(plan.stops[-1].tank_arrive, abs=1e-3)
    assert trace.bunker[-1] == pytest.approx(plan.stops[-1].bunker_arrive, abs=1e-3)
    assert trace.clock[-1] == pytest.approx(plan.arrival, abs=0.1)


# --- the same each time ---------------------------------------------------------------


def test_the_same_problem_gives_the_same_plan(proved: tuple[Problem, Plan]) -> None:
    problem, plan = proved
    assert make_plan(*problem) == plan


def test_the_order_of_hashes_is_no_matter(
    steam: Toml, road_csv: str, write: Write, tmp_path: Path
) -> None:
    steam["stores"]["tank"] = "600 L"
    taps = "".join(tap(name, 1.5 * i + 1) for i, name in enumerate("ABCDEF"))
    folder = write(steam, {"route.csv": road_csv, "supply.csv": HEAD + taps})
    said = set()
    for number in ("0", "1", "4242"):
        done = subprocess.run(
            [sys.executable, "-m", "haulplan", "plan", str(folder), "--out", f"out {number}"],
            cwd=tmp_path, capture_output=True, text=True, check=True, timeout=60,
            env={
                **os.environ, "PYTHONHASHSEED": number,
                "PYTHONPATH": str(Path(__file__).parents[1]),
            },
        )  # fmt: skip
        files = sorted((tmp_path / f"out {number}").iterdir())
        said.add((done.stdout.partition("Written to")[0], *(f.read_bytes() for f in files)))
    assert len(said) == 1


# --- limited time ---------------------------------------------------------------------


def test_a_plan_cut_short_says_that_it_may_be_improved(
    small: Small, monkeypatch: pytest.MonkeyPatch
) -> None:
    def hurried(*arguments: Any, **options: Any) -> Any:  # noqa: ANN401  whatever is passed
        outcome = run(*arguments, **options)
        return replace(outcome, proven=False, bound=0.9 * outcome.value)

    monkeypatch.setattr("haulplan.plan.branches.run", hurried)
    problem = small.problem(tap("Mill", 5), tap("Well", 7))
    plan = make_plan(*problem, time_limit=1.0)
    replay(*problem, plan)
    assert not plan.proven
    assert plan.gap == pytest.approx(0.1, rel=1e-3)
    assert plan.bound == pytest.approx(0.9 * plan.objective, rel=1e-3)
    from rich.console import Console

    from haulplan.outputs.terminal import render_terminal
    from haulplan.units import UNIT_SYSTEMS

    console = Console(width=100, record=True, file=open(os.devnull, "w", encoding="utf-8"))  # noqa: PTH123, SIM115
    with console.file:
        console.print(
            render_terminal(
                problem[0], problem[1], plan, UNIT_SYSTEMS["metric"], width=None, verbose=False
            )
        )
    text = console.export_text()
    assert re.search(r"may be improved by up to 10(\.1)? %", text)
    assert "proved best" not in text


def test_no_time_at_all_is_said_not_taken_for_no_plan(
    small: Small, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("haulplan.plan.run._LEAST_TIME", 1e-9)
    taps = [tap(f"T{i}", i / 10, water=f"{30 + i % 7} kg", rate=5 + i % 5) for i in range(1, 100)]
    problem = small.problem(*taps)
    with pytest.raises(InternalError, match=r"raise --time-limit\. This does not show that none"):
        make_plan(*problem, time_limit=1e-6)


def test_little_time_still_gives_a_plan_that_stands_its_replay(small: Small) -> None:
    taps = [tap(f"T{i}", i / 10, water=f"{30 + i % 7} kg", rate=5 + i % 5) for i in range(1, 100)]
    problem = small.problem(*taps)
    plan = make_plan(*problem, time_limit=0.05)
    replay(*problem, plan)
    assert plan.bound <= plan.objective
    assert plan.proven is (plan.gap < 1e-9)


def test_nobody_stands_about_to_burn_water_off(small: Small) -> None:
    """(7): 12 kg too heavy at the bridge; a quarter of an hour's idling would mend it."""
    taps = (tap("Mill", 1), tap("Well", 6))
    small.toml["standing_water"] = "60 kg/h"
    small.bridges = "Arch,2,20372.1\n"
    assert visited(small.plan(*taps)) == ["Well"]
    small.bridges = "Arch,2,20360\n"
    with pytest.raises(NoPlanError, match="Arch"):
        small.plan(*taps)


def test_an_owners_margin_keeps_off_the_posted_figure(small: Small) -> None:
    """Posted 20.4 t, 1 % kept back: 196 kg of water and coal may cross and no more."""
    small.bridges = "Arch,6,20400\n"
    taps = (tap("Mill", 5), tap("Well", 7))
    bare = small.plan(*taps)
    small.toml["bridge_margin"] = "1 %"
    kept = small.plan(*taps)
    assert bare.crossings[0].gross <= 20400 * (1 + 1e-9)
    assert kept.crossings[0].gross <= 20400 * 0.99 * (1 + 1e-6)
    assert kept.crossings[0].limit == pytest.approx(20400)
    assert kept.objective > bare.objective + 1.0
    small.toml["bridge_margin"] = "3 %"
    with pytest.raises(NoPlanError, match="of which 3 % is kept as margin"):
        small.plan(*taps)
