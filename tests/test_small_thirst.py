"""The reserve that a chance of running dry asks for, against brute force and other drives.

At the reserve the planner ends with, its plan is the best by brute force; the oracle's own
simulation finds no larger chance than was asked for; and the chance binds.
"""

import dataclasses
from functools import cache
from pathlib import Path

import pytest
from small.decisions import Road
from small.drawing import draw_problem
from small.oracle import brute_force
from small.problems import FEATURES, UNLIMITED, Problem
from small.thirst import Filled, chance_of_running_dry
from small.writing import write_problem

from haulplan.demand import build_demand
from haulplan.errors import NoPlanError
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario

CHANCE, DAY, STRETCH, LENGTH = 0.02, 0.15, 0.08, 500.0
RISK = (
    f'[risk]\nchance = "{100 * CHANCE:g} %"\nday = "{100 * DAY:g} %"\n'
    f'stretch = "{100 * STRETCH:g} %"\nlength = "{LENGTH:g} m"\n'
)
PLAIN = {"gears", "opening hours", "in turn", "departure", "gross", "shared source"}


def is_plain(problem: Problem) -> bool:
    """Whether the drives of the oracle know all the problem holds."""
    taps = all(
        amount is None or amount >= UNLIMITED for t in problem.taps for amount in (t.water, t.coal)
    )
    return taps and {name for name, (has, _) in FEATURES.items() if has(problem)} <= PLAIN


@cache
def simple(seed: int) -> Problem:
    """A drawn problem with nothing in it that the oracle's drives do not know."""
    problem = draw_problem(seed)
    for name, (has, change) in FEATURES.items():
        if name not in PLAIN and has(problem):
            problem = change(problem)
    taps = tuple(
        dataclasses.replace(
            tap,
            water=None if tap.water is None else 1e9,
            coal=None if tap.coal is None else 1e9,
        )
        for tap in problem.taps
    )
    return dataclasses.replace(problem, taps=taps)


def planned(problem: Problem, folder: Path, more: str = "") -> Plan:
    folder = write_problem(problem, folder)
    toml = folder / "scenario.toml"
    toml.write_text(toml.read_text() + more)
    scenario = read_scenario(folder)
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    replay(scenario, route, demand, plan)
    return plan


def worth(plan: Plan) -> float:
    return plan.objective / (60.0 if plan.aim == "earliest" else 1.0)


@pytest.mark.parametrize("seed", range(16))
def test_the_reserve_of_a_chance_is_kept_and_the_plan_best_at_it(seed: int, tmp_path: Path) -> None:
    problem = simple(seed)
    assert is_plain(problem)
    try:
        plan = planned(problem, tmp_path, RISK)
    except NoPlanError:
        return  # counted below
    assert plan.thirst is not None
    assert plan.thirst.high <= CHANCE
    reserved = dataclasses.replace(
        problem,
        reserve=(plan.reserve_water, plan.reserve_coal),
        finish=(
            max(problem.finish[0], plan.reserve_water),
            max(problem.finish[1], plan.reserve_coal),
        ),
    )
    best = brute_force(reserved)
    assert best is not None
    assert worth(plan) == pytest.approx(best, rel=1e-6, abs=1e-6)
    road = Road(problem)
    stops = [
        Filled(
            at=road.cuts[min(range(len(road.cuts)), key=lambda j: abs(road.cuts[j] - s.distance))],
            minutes=s.stay / 60,
            water=s.tank_arrive + s.water_taken,
            coal=s.bunker_arrive + s.coal_taken,
        )
        for s in plan.stops
        if s.kind == "supply"
    ]
    gears = _gears(problem, plan)
    dry, wide = chance_of_running_dry(
        problem, gears, stops, day=DAY, stretch=STRETCH, length=LENGTH
    )
    assert dry <= CHANCE + 4 * wide


def _gears(problem: Problem, plan: Plan) -> tuple[int, ...]:
    """The gear of each stretch; the plan numbers those with a choice only."""
    chosen = iter(plan.choices)
    return tuple(next(chosen) if len(rows) > 1 else 0 for rows in problem.stretches)


def test_the_chance_binds_in_ten_problems(tmp_path: Path) -> None:
    binding = 0
    for seed in range(16):
        problem = simple(seed)
        without = brute_force(problem)
        try:
            value = worth(planned(problem, tmp_path / str(seed), RISK))
        except NoPlanError:
            binding += without is not None
        else:
            assert without is not None
            binding += value != pytest.approx(without, rel=1e-5, abs=1e-6)
    assert binding >= 10
