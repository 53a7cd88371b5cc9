"""With and without inequalities and first answers: the same plan.

Medium problems, too large for brute force: gears, opening hours, bridges, sources passed
twice, and some without any plan.
"""

import functools
import math
import random
import tempfile
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pulp
import pytest
from instances import make_instance
from planner import Plain, ours
from small.problems import DEPART, Bridge, Problem, Stretch, Tap
from small.writing import write_problem

from haulplan.demand import build_demand
from haulplan.errors import NoPlanError
from haulplan.plan import branches
from haulplan.plan.answer import Solution
from haulplan.plan.build import Posed
from haulplan.plan.legs import AffineLeg, Chain, MassLimit, Node
from haulplan.plan.rules import Limits, Offer
from haulplan.plan.run import Outcome
from haulplan.plan.solve import solve
from haulplan.plan.stages import Staged, solve_stages
from haulplan.plan.timetable import write_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario
from haulplan.scenario.schema import Aim

AIMS: list[dict[str, float | str]] = [
    {"first": "earliest"},
    {"first": "cheapest"},
    {"first": "fewest stops"},
    {"minute": 1.0, "money": 0.5, "stop": 4.0},
]


def medium_problem(number: int) -> Problem:
    draw = random.Random(5000 + number)
    rows = draw.randint(12, 18)
    stretches: list[tuple[Stretch, ...]] = []
    for k in range(rows):
        low = Stretch(
            begin=1000.0 * k, end=1000.0 * (k + 1), minutes=draw.uniform(8, 15),
            water=draw.uniform(60, 150), coal=draw.uniform(6, 16),
            water_slope=draw.uniform(0, 4e-3), coal_slope=draw.uniform(0, 5e-4),
        )  # fmt: skip
        options: tuple[Stretch, ...] = (low,)
        if k == rows // 2 and number % 3 == 0:
            options = (low, replace(low, minutes=1.4 * low.minutes, water=0.7 * low.water))
        stretches.append(options)
    count = draw.randint(16, 25) if number % 10 == 4 else draw.randint(12, 13)
    places = sorted(draw.sample(range(300, 1000 * rows - 300, 50), count))
    taps = [_tap(draw, float(at), hours=number % 2 == 0) for at in places]
    tank, bunker = draw.uniform(420, 560), draw.uniform(100, 140)
    bridges = [
        Bridge(
            at=draw.uniform(0, 1000.0 * rows),
            limit=20_000.0 + draw.uniform(0.4, 1.0) * (tank + bunker),
        )
        for _ in range(number % 3)
    ]
    return Problem(
        tank=tank, bunker=bunker, reserve=(20.0, 4.0), start=(0.9 * tank, 0.8 * bunker),
        finish=(60.0, 10.0), standing=(draw.uniform(0, 0.4), draw.uniform(0, 0.1)),
        dry=20_000.0, aim=AIMS[number % 4 if number % 5 else 3], stretches=tuple(stretches),
        taps=tuple(taps), bridges=tuple(bridges),
    )  # fmt: skip


def _tap(draw: random.Random, at: float, *, hours: bool) -> Tap:
    coal = draw.random() < 0.5
    limited = hours and draw.random() < 0.3
    return Tap(
        at=(at,),
        water=None if coal and draw.random() < 0.3 else draw.choice([1e9, draw.uniform(80, 400)]),
        water_rate=draw.uniform(20, 120), water_price=draw.choice([0.0, draw.uniform(0, 0.02)]),
        coal=draw.choice([1e9, draw.uniform(20, 80)]) if coal else None,
        coal_rate=draw.uniform(5, 20), coal_price=draw.uniform(0.1, 0.4),
        call_out=draw.choice([0.0, draw.uniform(5, 40)]), set_up=draw.uniform(2, 15),
        opens=float(int(DEPART + draw.uniform(0, 120))) if limited else 0.0,
        closes=float(int(DEPART + draw.uniform(120, 300))) if limited else 1440.0,
    )  # fmt: skip


@functools.cache
def solved(number: int, *, tighten: bool) -> Solution | None:
    with tempfile.TemporaryDirectory() as folder:
        scenario = read_scenario(write_problem(medium_problem(number), Path(folder)))
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    try:
        solution = solve(scenario, route, demand, tighten=tighten)
    except NoPlanError:
        return None
    replay(scenario, route, demand, write_plan(scenario, route, demand, solution))
    return solution


@pytest.mark.parametrize("number", range(40))
def test_same_stops_and_figures_with_and_without(number: int) -> None:
    quick, plain = solved(number, tighten=True), solved(number, tighten=False)
    if quick is None or plain is None:
        assert quick is plain
        return
    assert quick.proven
    assert plain.proven
    assert quick.objective == pytest.approx(plain.objective, rel=1e-6, abs=1e-6)
    assert quick.stopped.tolist() == plain.stopped.tolist()
    assert quick.gears == plain.gears
    for name in ("take_water", "take_coal"):
        np.testing.assert_allclose(getattr(quick, name), getattr(plain, name), atol=0.05)
    for store in ("water", "coal"):
        np.testing.assert_allclose(quick.arrive[store], plain.arrive[store], atol=0.05)
    np.testing.assert_allclose(quick.clock, plain.clock, atol=1.0)


def chained(number: int) -> Posed:
    """A road that comes past every source twice."""
    draw = random.Random(9000 + number)
    count = 12
    legs = tuple(
        (
            AffineLeg(
                gear=-1, duration=600.0, duration_slope=0.0, water=draw.uniform(60, 130),
                water_slope=2e-3, coal=draw.uniform(6, 12), coal_slope=3e-4,
                limits=(
                    MassLimit(most=draw.uniform(350, 600), kind="bridge", name="b",
                              distance=0.0, row=0),
                ) if draw.random() < 0.15 else (),
            ),
        )
        for _ in range(count + 1)
    )  # fmt: skip
    nodes = tuple(
        Node(kind="supply", name=str(i), sample=i, distance=float(i), passing=None)
        for i in range(count + 2)
    )
    half = [
        Offer(
            row=i, water=draw.uniform(150, 700), water_rate=60.0, water_price=0.01,
            coal=draw.choice([0.0, draw.uniform(30, 120)]), coal_rate=10.0, coal_price=0.2,
            call_out=draw.uniform(0, 10), set_up=draw.uniform(3, 12), opens=0.0,
            closes=float("inf"),
        )
        for i in range(count // 2)
    ]  # fmt: skip
    offers = dict(enumerate([*half, *half[::-1]], start=1))
    limits = Limits(
        tank=450.0, bunker=110.0, reserve_water=20.0, reserve_coal=5.0, start_water=450.0,
        start_coal=90.0, finish_water=40.0, finish_coal=10.0, standing_water=0.2,
        standing_coal=0.05, mass_margin=0.0, time_margin=0.0,
    )  # fmt: skip
    chain = Chain(nodes=nodes, legs=legs, choices=(None,) * len(legs))
    return Posed(chain=chain, offers=offers, limits=limits)


@pytest.mark.parametrize("number", range(8))
def test_sources_passed_twice_give_the_same_answer(number: int) -> None:
    problem = chained(number)
    aim = Aim.model_validate(AIMS[number % 4])
    quick, plain = (solve_stages(problem, aim, None, tighten=t) for t in (True, False))
    if quick is None or plain is None:
        assert quick is plain
        return
    assert quick.first.value == pytest.approx(plain.first.value, rel=1e-6, abs=1e-6)
    assert decided(quick) == decided(plain)


def decided(staged: Staged) -> list[int]:
    return [round(d.varValue) for d in staged.programme.decisions]


def test_some_problems_have_a_plan_and_some_none() -> None:
    plans = [solved(number, tighten=True) for number in range(40)]
    assert 4 <= sum(plan is None for plan in plans) <= 20
    assert sum(len(medium_problem(n).bridges) > 0 for n in range(40)) >= 20
    assert sum(plan is not None and len(plan.gears) > 0 for plan in plans) >= 5


def test_places_left_out_within_a_gap_prove_no_more_than_the_gap(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    problem = pulp.LpProblem("nights", pulp.LpMinimize)
    night = {(j, 1, 0): problem.add_variable(f"night_{j}", 0, 1, "Integer") for j in (4, 7)}
    programme: Any = SimpleNamespace(night=night, values={}, restore=lambda _: None)
    asked: list[float] = []

    def stand_in(*_: object, below: float, **__: object) -> Outcome:
        asked.append(below)
        if math.isinf(below):
            return Outcome(found=True, proven=True, value=100.0, bound=100.0)
        return Outcome(found=False, proven=True, value=math.inf, bound=math.inf)

    monkeypatch.setattr(branches, "_relaxed", lambda *_: {4: 90.0, 7: 95.0})
    monkeypatch.setattr(branches, "run", stand_in)
    rough = branches.run_by_night(programme, None, gap=0.01)
    assert asked == [math.inf, 99.0]
    assert (rough.value, rough.bound, rough.proven) == (100.0, 99.0, False)
    exact = branches.run_by_night(programme, None)
    assert exact.proven
    assert exact.bound == pytest.approx(100.0)


@pytest.mark.parametrize("number", [*range(8), 52, 76, 78, 93, 99, 101])
def test_the_plain_programme_is_never_better(number: int) -> None:
    # on these the solver, left to presolve, called answers best that were not
    instance = make_instance(20, number)
    _, least, proven = Plain(instance).solve(60)
    if not math.isfinite(least):
        pytest.skip("a road without a plan")
    assert proven
    _, value, proven = ours(instance, 60, "ours")
    assert proven
    assert value == pytest.approx(least, rel=2e-6)
