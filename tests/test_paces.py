"""Paces: what a slower one saves and costs, and the planner's choice among them.

No published road trial at several speeds with its water and coal was found. What a pace
changes is held to the physics instead: rolling by Morin's law, the air, what the boiler
takes by the hour, and the furnace beside Goss's lines.
"""

import io
import itertools
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hauling import engine_of, haul_of, road_of, use_of
from rich.console import Console

from haulplan.demand import Demand, build_demand
from haulplan.demand.paces import efficient, stretches_of
from haulplan.demand.segment import choose_gears, haul_on
from haulplan.errors import NoPlanError
from haulplan.outputs.check import render_check
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import UNIT_SYSTEMS

Toml = dict[str, Any]
Write = Callable[..., Path]
Problem = tuple[Scenario, Route, Demand]

DEMO = Path(__file__).parents[1] / "scenarios" / "hobmere-penniford"
#: 20 km with two hills; water thrice on the way, coal at most once.
ROAD = "distance [km],elevation [m]\n0,100\n4,120\n8,105\n9,110\n16,130\n20,110\n"
TAPS = (
    "name,kind,at [km],water_available,water_rate [L/min],coal_available,coal_rate [kg/min],"
    "coal_price,call_out,set_up [min]\n"
    "Ford,tap,4,unlimited,60,,,,,6\n"
    "Yard,merchant,11,unlimited,60,{coal},{rate},{price},25 USD,9\n"
    "Well,well,16,300 L,30,,,,,4\n"
)
COAL = TAPS.format(coal="unlimited", rate="20", price="0.2 USD/kg")
NO_COAL = TAPS.format(coal="", rate="", price="")


def problem_of(folder: Path) -> Problem:
    scenario = read_scenario(folder)
    route = build_route(scenario)
    return scenario, route, build_demand(scenario, route)


def demo(*paces: float) -> Problem:
    """The shipped road at some paces."""
    scenario = read_scenario(DEMO)
    file = scenario.file.model_copy(update={"paces": paces})
    scenario = replace(scenario, file=file)
    route = build_route(scenario)
    return scenario, route, build_demand(scenario, route)


def planned(problem: Problem) -> Plan:
    """A proved plan that stood its replay."""
    plan = make_plan(*problem)
    replay(*problem, plan)
    assert plan.proven
    return plan


# --- what a pace does -------------------------------------------------------------------


def test_on_soft_level_ground_without_air_a_slower_pace_only_takes_longer() -> None:
    # soft ground resists evenly (Morin, in King, 1894, s. 53): per metre the cylinders take
    # the same, and what the boiler takes by the hour is taken for longer
    road = road_of([0.0, 0.01], surface="earth")
    full, half = (
        replace(haul_of(road, engine_of(gears=[gear])), drag=np.zeros((1, 2)))
        for gear in (
            {"name": "only", "ratio": 9.0, "speed": "3 km/h"},
            {"name": "only", "ratio": 9.0, "speed": "1.5 km/h"},
        )
    )
    quick, late = use_of(full), use_of(half)
    assert late.duration == pytest.approx(2 * quick.duration)
    assert late.water - quick.water == pytest.approx(full.boiler.auxiliary * quick.duration)


def test_on_a_hard_road_a_slower_pace_rolls_easier() -> None:
    # 4.5 % per mph above 2.25 mph (Agg, American Rural Highways, 1920, and Morin in King):
    # the ratio of rolling at 7 and 5.6 km/h, reckoned here by hand
    scenario, route, _ = demo()
    full, slow = (haul_on(scenario, route, pace=pace)[0] for pace in (1.0, 0.8))
    hard = np.isin(np.array(route.surface), ["asphalt", "macadam", "brick"])
    mph = full.gear_speed[0] / 0.44704
    law = (1 + 0.045 * (0.8 * mph - 2.25)) / (1 + 0.045 * (mph - 2.25))
    assert hard.any()
    ratio = slow.engine_rolling[0, hard] / full.engine_rolling[0, hard]
    assert ratio == pytest.approx(law)
    assert (slow.drag[0] < full.drag[0]).all()


def test_a_slower_fire_burns_its_coal_better_much_as_goss_found() -> None:
    # evaporation E from and at 100 °C per coal, H per hour and square foot of heating
    # surface [lb]: E = 10.08 - 0.296 H (Goss, Locomotive Performance, 1907) and 11.305 -
    # 0.221 H (High Steam Pressures, 1907), both from memory; other boilers than ours, so
    # only the gain is compared, within a factor of two of their mean
    scenario, route, _ = demo()
    haul, _ = haul_on(scenario, route)
    quick = haul.state(np.full(haul.length.size, 800.0), np.zeros(haul.length.size, dtype=int))
    steam = float(np.median(quick.evaporation))
    rates = np.array([steam, 0.8 * steam])
    ours = rates / haul.boiler.coal(rates)
    per_hour = rates * haul.boiler.heat / 2.257e6 / 0.45359237 * 3600
    per_area = per_hour / (haul.boiler.surface / 0.09290304)
    gains = [
        line[1] / line[0] - 1 for line in (10.08 - 0.296 * per_area, 11.305 - 0.221 * per_area)
    ]
    assert ours[1] / ours[0] - 1 == pytest.approx(np.mean(gains), rel=1.0, abs=0)
    assert ours[1] / ours[0] - 1 > np.mean(gains) / 2


def test_a_change_of_pace_is_no_change_of_gear() -> None:
    _, _, demand = demo(1.0, 0.8)
    high, low, slow = (demand.gears.index(g) for g in ("high", "low", "high at 80 % pace"))
    flat = np.full(demand.segments, high)
    aboard = np.full(demand.segments, 800.0)
    first, later = flat.copy(), flat.copy()
    first[100:], later[100:] = low, slow
    alone = [demand.evaluate(aboard, np.full(demand.segments, g)).duration for g in (low, slow)]
    assert demand.evaluate(aboard, first).duration[100] == pytest.approx(alone[0][100] + 90)
    assert demand.evaluate(aboard, later).duration[100] == pytest.approx(alone[1][100])


# --- stretches and their points ---------------------------------------------------------


def test_full_pace_alone_changes_nothing() -> None:
    _, _, plain = demo()
    _, _, named = demo(1.0)
    aboard = np.linspace(1500.0, 200.0, plain.segments)
    assert (plain.choices, plain.gears, plain.points) == (named.choices, named.gears, ())
    assert (plain.gear == named.gear).all()
    before, after = (d.evaluate(aboard, d.gear) for d in (plain, named))
    for name in ("duration", "water", "coal"):
        assert (getattr(before, name) == getattr(after, name)).all()


def test_one_slower_pace_is_driven_without_a_choice() -> None:
    _, _, demand = demo(0.8)
    _, _, full = demo()
    aboard = np.full(demand.segments, 800.0)
    assert demand.choices == ()
    assert demand.gears[0] == "high at 80 % pace"
    slow, quick = (d.evaluate(aboard, d.gear).duration.sum() for d in (demand, full))
    assert 1.15 * quick < slow <= 1.25 * quick


def test_stretches_do_not_feel_what_lies_beside_them() -> None:
    _, _, demand = demo(1.0, 0.8, 0.6)
    assert len(demand.choices) >= 8
    draw = np.random.default_rng(4)
    for mass in (300.0, 1700.0):
        aboard = np.full(demand.segments, mass)
        chosen = tuple(int(draw.choice(choice.gears)) for choice in demand.choices)
        mixed = demand.evaluate(aboard, demand.geared(chosen))
        for choice, point in zip(demand.choices, chosen, strict=True):
            own = slice(choice.first, choice.last)
            alone = demand.evaluate(aboard, np.full(demand.segments, point))
            for name in ("duration", "water", "coal"):
                assert (getattr(mixed, name)[own] == getattr(alone, name)[own]).all()


def test_stretches_are_few_and_end_where_the_planner_acts() -> None:
    scenario, route, demand = demo(1.0, 0.8)
    haul, _ = haul_on(scenario, route)
    cuts = stretches_of(scenario, route, haul, haul.volume[demand.gear][None])
    assert (cuts[0], cuts[-1]) == (0, demand.segments)
    assert len(cuts) <= 31
    lengths = np.diff(route.distance[cuts])
    assert lengths[:-1].min() >= 500.0
    supplies = [p.distance for p in route.passings if p.kind == "supply"]
    ends = route.distance[cuts]
    assert sum(np.abs(ends - at).min() < 50.0 for at in supplies) >= len(supplies) - 1


def test_a_road_too_short_to_divide_is_one_stretch(steam: Toml, write: Write) -> None:
    steam["paces"] = ["100 %", "60 %"]
    steam["at_finish"] = {"water": "200 L", "coal": "60 kg"}
    road = "distance [km],elevation [m]\n0,100\n0.9,100\n"
    _, _, demand = problem_of(write(steam, {"route.csv": road}))
    assert [(c.first, c.last) for c in demand.choices] in ([], [(0, demand.segments)])


def test_every_point_kept_is_worth_having_and_none_left_out_is() -> None:
    draw = np.random.default_rng(9)
    worth = (30.0, 2.0, 1.0)
    for _ in range(200):
        figures = draw.uniform(0, 1, (3, 5, 2)) * np.array([300.0, 30.0, 10.0])[:, None, None]
        kept = efficient(*figures, worth=worth)
        scaled = figures / np.array(worth)[:, None, None]
        assert kept[0] == 0
        for point in range(1, 5):
            others = [k for k in kept if k != point]
            saved = [(scaled[:, other] - scaled[:, point]).max() for other in others]
            assert bool(min(saved) > 1.0) is (point in kept)


def test_a_gear_lower_throughout_is_never_worth_having() -> None:
    # its engine turns more often for each mile, so a slower pace in the higher gear takes
    # less water and coal in the same time: why no such point is offered
    scenario, route, demand = demo(1.0, 0.8, 0.6)
    haul, _ = haul_on(scenario, route)
    aboard = np.full(demand.segments, 800.0)
    lower = np.minimum(choose_gears(haul, aboard) + 1, 2)
    slower = [demand.evaluate(aboard, point) for point in demand.points]
    use = demand.evaluate(aboard, lower)
    cuts = stretches_of(scenario, route, haul, haul.volume[demand.gear][None])
    sums = [
        np.array([np.add.reduceat(getattr(u, n), cuts[:-1]) for n in ("duration", "water", "coal")])
        for u in (*slower, use)
    ]
    stores = scenario.file.stores
    for number in range(len(cuts) - 1):
        figures = np.array([s[:, number] for s in sums]).T[:, :, None]
        worth = (30.0, 0.002 * stores.tank, 0.002 * stores.bunker)
        assert len(demand.points) not in efficient(*figures, worth=worth)


def test_hills_of_the_fastest_pace_bound_the_slower_ones(steam: Toml, write: Write) -> None:
    road = "distance [km],elevation [m]\n0,100\n4,120\n5,300\n6,300\n7,120\n12,110\n"
    steam["paces"] = ["100 %", "80 %", "50 %"]
    scenario, route, demand = problem_of(write(steam, {"route.csv": road}))
    assert np.isfinite(demand.heaviest).any()
    for pace in (1.0, 0.8, 0.5):
        haul, _ = haul_on(scenario, route, pace=pace)
        most = np.minimum(demand.heaviest, 1700.0)
        assert (haul.force(most, 1) <= haul.most_pull(1) * (1 + 1e-9)).all()


def test_twenty_thousand_segments_take_milliseconds(steam: Toml, write: Write) -> None:
    steam["paces"] = ["100 %", "80 %", "60 %"]
    rows = "".join(f"{0.01 * k:.2f},{100 + 3 * np.sin(k / 40):.4f}\n" for k in range(20_001))
    steam["stores"] = {"tank": "40000 L", "bunker": "10 t"}
    _, _, demand = problem_of(write(steam, {"route.csv": "distance [km],elevation [m]\n" + rows}))
    assert demand.segments >= 10_000
    aboard = np.full(demand.segments, 900.0)
    gear = demand.geared(tuple(choice.gears[-1] for choice in demand.choices))
    took = []
    for _ in range(5):
        begun = time.perf_counter()
        demand.evaluate(aboard, gear)
        took.append(time.perf_counter() - begun)
    assert min(took) < 0.05


# --- the planner's choice ---------------------------------------------------------------


def best_over_points(problem: Problem) -> float | None:
    """Least objective over every combination of points, each planned with none open."""
    scenario, route, demand = problem
    best = None
    for chosen in itertools.product(*(choice.gears for choice in demand.choices)):
        fixed = replace(demand, choices=(), gear=demand.geared(chosen))
        try:
            value = planned((scenario, route, fixed)).objective
        except NoPlanError:
            continue
        best = value if best is None else min(best, value)
    return best


@pytest.fixture
def small(steam: Toml, write: Write) -> Callable[..., Problem]:
    """The road of 20 km at some paces, with so much coal at the start."""

    def make(*paces: str, coal: str, taps: str = COAL, aim: Toml | None = None) -> Problem:
        steam["paces"] = list(paces)
        steam["at_start"] = {"water": "full", "coal": coal}
        steam["aim"] = aim or {"first": "earliest"}
        return problem_of(write(steam, {"route.csv": ROAD, "supply.csv": taps}))

    return make


AIMS: list[Toml] = [
    {"first": "earliest"},
    {"first": "fewest stops"},
    {"first": "cheapest"},
    {"minute": 1.0, "money": 3.0, "stop": 20.0},
]


@pytest.mark.parametrize("aim", AIMS, ids=["earliest", "fewest", "cheapest", "weights"])
@pytest.mark.parametrize("coal", ["179 kg", "150 kg"])
def test_plan_equals_the_best_over_all_points(
    small: Callable[..., Problem], coal: str, aim: Toml
) -> None:
    problem = small("100 %", "60 %", coal=coal, aim=aim)
    assert len(problem[2].choices) == 3
    best = best_over_points(problem)
    assert best is not None
    assert planned(problem).objective == pytest.approx(best, rel=1e-6)


def test_with_three_paces_too(small: Callable[..., Problem]) -> None:
    problem = small("100 %", "80 %", "60 %", coal="181 kg", taps=NO_COAL)
    best = best_over_points(problem)
    plan = planned(problem)
    assert best is not None
    assert plan.objective == pytest.approx(best, rel=1e-6)
    assert len(set(plan.choices)) > 1


def test_a_slower_pace_arrives_where_full_pace_runs_out(small: Callable[..., Problem]) -> None:
    with pytest.raises(NoPlanError, match="coal"):
        planned(small("100 %", coal="180 kg", taps=NO_COAL))
    plan = planned(small("100 %", "60 %", coal="180 kg", taps=NO_COAL))
    slow = [name for leg in plan.legs for name in leg.gears if name.endswith("at 60 % pace")]
    assert slow


def test_a_slower_pace_saves_a_stop(small: Callable[..., Problem]) -> None:
    aim = {"first": "fewest stops"}
    full = planned(small("100 %", coal="180 kg", aim=aim))
    slow = planned(small("100 %", "60 %", coal="180 kg", aim=aim))
    assert slow.objective < full.objective


def test_an_hour_is_not_given_for_coal_that_is_not_wanted(small: Callable[..., Problem]) -> None:
    full = planned(small("100 %", coal="300 kg"))
    free = planned(small("100 %", "60 %", coal="300 kg"))
    assert free.objective == pytest.approx(full.objective, rel=1e-6)


def test_the_check_names_only_gears_that_are_driven() -> None:
    scenario, route, demand = demo(1.0, 0.8)
    screen = Console(width=200, file=io.StringIO())
    screen.print(render_check(scenario, route, demand, UNIT_SYSTEMS["us"]))
    assert isinstance(screen.file, io.StringIO)
    line = next(x for x in screen.file.getvalue().splitlines() if x.startswith("Gears:"))
    assert [part.split()[0] for part in line.removeprefix("Gears: ").split(", ")] == [
        "high", "middle", "low",
    ]  # fmt: skip
    assert "pace" not in line
