"""What a supply's quality asks: blowing down, straining, no more than a share of the tank."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from haulplan.demand import build_demand
from haulplan.demand.defaults import DEFAULTS, STOPS
from haulplan.demand.demand import Demand
from haulplan.errors import InternalError
from haulplan.outputs.crew import station_keeper
from haulplan.outputs.doing import tasks_at, water_words
from haulplan.outputs.paper import told
from haulplan.outputs.roadbook import open_book
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import UNIT_SYSTEMS

Toml = dict[str, Any]
Write = Callable[..., Path]
Case = tuple[Scenario, Route, Demand]
METRIC = UNIT_SYSTEMS["metric"]

#: 12 km that take 600 kg of water: one fill is needed, at either tap.
ROAD = "from [km],to [km],duration [min],water [kg],coal [kg]\n0,12,120,600,30\n"
HEAD = "name,kind,at [km],water_available,water_rate [kg/min],set_up [min],quality,solids [ppm]\n"


@pytest.fixture
def case(measured: Toml, write: Write) -> Callable[..., Case]:
    def make(*rows: str, **toml: object) -> Case:
        tables = {"demand.csv": ROAD, "supply.csv": HEAD + "\n".join(rows) + "\n"}
        scenario = read_scenario(write(measured | toml, tables))
        route = build_route(scenario)
        return scenario, route, build_demand(scenario, route)

    return make


def planned(case: Case) -> Plan:
    plan = make_plan(*case)
    replay(*case, plan)
    return plan


def test_the_word_stands_for_stated_solids(case: Callable[..., Case]) -> None:
    for word in ("hard", "alkaline", "muddy"):
        _, _, demand = case(f"Tap,tap,6,unlimited,60,5,{word},")
        solids, limit = STOPS[f"{word}_solids"].value, DEFAULTS["blowdown_limit"].value
        assert demand.serving[0].blowdown == pytest.approx(solids / limit)
        assert f"solids of {word} water" in {a.name for a in demand.assumptions}


def test_measured_solids_go_before_the_word(case: Callable[..., Case]) -> None:
    _, _, demand = case("Tap,tap,6,unlimited,60,5,hard,900")
    assert demand.serving[0].blowdown == pytest.approx(900 / 3000)
    assert not [a for a in demand.assumptions if "solids" in a.name]


def test_good_water_asks_nothing(case: Callable[..., Case]) -> None:
    made = case("Tap,tap,6,unlimited,60,5,good,")
    plan = planned(made)
    stop = plan.stops[1]
    assert (made[2].serving[0].blowdown, stop.blown_down) == (0.0, 0.0)
    assert water_words(made[0], stop) == ()


def test_hard_water_takes_more_than_good(case: Callable[..., Case]) -> None:
    good = planned(case("Tap,tap,6,unlimited,60,5,good,")).stops[1]
    hard = planned(case("Tap,tap,6,unlimited,60,5,hard,")).stops[1]
    share = STOPS["hard_solids"].value / DEFAULTS["blowdown_limit"].value
    assert hard.water_taken * (1 - share) == pytest.approx(good.water_taken, rel=1e-6)
    assert hard.blown_down == pytest.approx(share * hard.water_taken)


def test_muddy_water_is_strained_first(case: Callable[..., Case]) -> None:
    """250 kg kept of what is taken, and 5 min of the default or the owner's minutes."""
    clear = planned(case("Tap,tap,6,unlimited,60,5,good,400"))
    muddy = planned(case("Tap,tap,6,unlimited,60,5,muddy,400"))
    own = planned(case("Tap,tap,6,unlimited,60,5,muddy,400", quality={"strain": "20 min"}))
    assert muddy.arrival - clear.arrival == pytest.approx(STOPS["strain"].value)
    assert own.arrival - clear.arrival == pytest.approx(1200.0)


def test_a_limit_on_muddy_water_sends_the_train_elsewhere(case: Callable[..., Case]) -> None:
    rows = ("Ditch,ditch,6,unlimited,60,1,muddy,", "Tap,tap,7,unlimited,60,20,good,")
    free = planned(case(*rows))
    bound = planned(case(*rows, quality={"most_muddy": "30 %"}))
    assert [s.name for s in free.stops[1:-1]] == ["Ditch"]
    assert free.stops[1].water_taken > 0.3 * 400
    assert "Tap" in [s.name for s in bound.stops[1:-1]]
    for stop in bound.stops[1:-1]:
        assert stop.name == "Tap" or stop.water_taken <= 0.3 * 400 + 1e-6
    assert bound.arrival > free.arrival


def test_replay_refuses_more_muddy_water_than_the_owner_takes(case: Callable[..., Case]) -> None:
    free = case("Ditch,ditch,6,unlimited,60,1,muddy,")
    plan = planned(free)
    quality = free[0].file.quality.model_copy(update={"most_muddy": 0.3})
    file = free[0].file.model_copy(update={"quality": quality})
    with pytest.raises(InternalError, match="muddy water taken at Ditch"):
        replay(replace(free[0], file=file), free[1], free[2], plan)


def test_the_crew_and_the_station_are_told(case: Callable[..., Case]) -> None:
    for word, part in (("hard", "blow down"), ("muddy", "strain"), ("alkaline", "try cocks")):
        little = {"water": "10 kg", "coal": "5 kg"}
        row = f"Tap,tap,6.5,unlimited,60,5,{word},"
        scenario, route, demand = made = case(row, reserve=little, at_finish=little)
        plan = planned(made)
        assert demand.warnings == ()
        (words,) = water_words(scenario, plan.stops[1])
        assert words.startswith(f"{word} water")
        assert part in words
        assert words in tasks_at(scenario, plan.stops[1], METRIC)
        cards = station_keeper(open_book(scenario, route, plan, METRIC))
        assert told(words.capitalize()) in cards
        (warning,) = [w for w in plan.warnings if word in w]
        assert "inspector" in warning
