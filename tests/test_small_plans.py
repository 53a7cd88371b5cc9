"""The planner against brute force on small random problems.

The oracle in `small` knows nothing of legs, compression or the planner's programme: it
tries every discrete decision and solves a linear programme over every cut of the road for
each. That takes minutes, so its answers are stored; a sample is solved afresh.
"""

import json
import math
from pathlib import Path
from statistics import NormalDist
from typing import Any

import pytest
from small.drawing import draw_locked, draw_problem, draw_turning
from small.locked import brute_force_locked
from small.oracle import brute_force
from small.problems import FEATURES, Problem, Stretch, fingerprint
from small.thirst import Filled, chance_of_running_dry
from small.writing import write_problem

from haulplan.demand import build_demand
from haulplan.errors import NoPlanError
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario

Answer = dict[str, Any]

_STORED = json.loads((Path(__file__).parent / "small" / "solved.json").read_text())
SOLVED: list[Answer] = _STORED["problems"]
LOCKED: list[Answer] = _STORED["locked"]
TURNING: list[Answer] = _STORED["turning"]
#: Solved afresh: one in seven of those that take few programmes.
SAMPLE = [answer for answer in SOLVED if answer["decisions"] <= 150][::7][:26]
TURNED = [answer for answer in TURNING if answer["decisions"] <= 16][:8]
QUICK = [answer for answer in LOCKED if answer["decisions"] <= 32][:12]


def plan_of(folder: Path, **options: bool) -> Plan:
    more: dict[str, Any] = dict(options)
    scenario = read_scenario(folder)
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand, **more)
    replay(scenario, route, demand, plan)
    return plan


def check_plan(answer: Answer, folder: Path, **options: bool) -> None:
    """The planner finds a plan of the stored value, or says that there is none."""
    if answer["value"] is None:
        with pytest.raises(NoPlanError, match="no plan: "):
            plan_of(folder, **options)
        return
    plan = plan_of(folder, **options)
    scale = 60.0 if plan.aim == "earliest" else 1.0
    assert plan.proven
    assert plan.objective / scale == pytest.approx(answer["value"], rel=1e-6, abs=1e-6)


def same(value: float | None, stored: float | None) -> bool:
    if value is None or stored is None:
        return value is stored
    return bool(value == pytest.approx(stored, rel=1e-7, abs=1e-7))


def seed_of(answer: Answer) -> str:
    return str(answer["seed"])


def binds(answer: Answer, name: str) -> bool:
    """Whether taking a feature away changes the optimum, or whether there is a plan."""
    value, other = answer["value"], answer["without"].get(name, answer["value"])
    if value is None or other is None:
        return value is not other
    return bool(value != pytest.approx(other, rel=1e-5, abs=1e-6))


@pytest.mark.parametrize("answer", SOLVED, ids=seed_of)
def test_planner_equals_brute_force(answer: Answer, tmp_path: Path) -> None:
    check_plan(answer, write_problem(draw_problem(answer["seed"]), tmp_path))


@pytest.mark.parametrize("answer", LOCKED, ids=seed_of)
def test_planner_equals_brute_force_with_a_tap_locked(answer: Answer, tmp_path: Path) -> None:
    folder = write_problem(draw_locked(answer["seed"]), tmp_path)
    check_plan(answer, folder, survive=True)


@pytest.mark.parametrize("answer", TURNING, ids=seed_of)
def test_planner_equals_brute_force_where_it_may_turn_back(answer: Answer, tmp_path: Path) -> None:
    folder = write_problem(draw_turning(answer["seed"]), tmp_path)
    check_plan(answer, folder, survive=True)


@pytest.mark.parametrize("answer", TURNED, ids=seed_of)
def test_a_sample_that_may_turn_back_gives_the_stored_answer(answer: Answer) -> None:
    assert same(brute_force_locked(draw_turning(answer["seed"])), answer["value"])


def test_turning_back_binds_in_ten_problems() -> None:
    assert sum(binds(answer, "turning back") for answer in TURNING) >= 10


def test_stored_answers_are_of_the_problems_drawn_now() -> None:
    assert len(SOLVED) >= 200
    for answer in SOLVED:
        assert fingerprint(draw_problem(answer["seed"])) == answer["fingerprint"]
    for answer in LOCKED:
        assert fingerprint(draw_locked(answer["seed"])) == answer["fingerprint"]
    for answer in TURNING:
        assert fingerprint(draw_turning(answer["seed"])) == answer["fingerprint"]


@pytest.mark.parametrize("answer", SAMPLE, ids=seed_of)
def test_a_sample_solved_afresh_gives_the_stored_answer(answer: Answer) -> None:
    assert same(brute_force(draw_problem(answer["seed"])), answer["value"])


@pytest.mark.parametrize("answer", QUICK, ids=seed_of)
def test_a_sample_with_a_tap_locked_gives_the_stored_answer(answer: Answer) -> None:
    assert same(brute_force_locked(draw_locked(answer["seed"])), answer["value"])


@pytest.mark.parametrize("name", FEATURES)
def test_each_feature_binds_in_ten_problems(name: str) -> None:
    assert sum(binds(answer, name) for answer in SOLVED) >= 10


def test_a_locked_tap_binds_in_ten_problems() -> None:
    assert sum(binds(answer, "locked tap") for answer in LOCKED) >= 10


def test_some_problems_have_no_plan_and_most_have_one() -> None:
    for answers, most in ((SOLVED, 0.25), (LOCKED, 0.5), (TURNING, 0.5)):
        none = sum(answer["value"] is None for answer in answers)
        assert len(answers) / 20 <= none <= most * len(answers)


def even_road(minutes: float, water: float) -> Problem:
    """Four kilometres alike, no coal to speak of."""
    rows = tuple(
        (
            Stretch(
                begin=1000.0 * k, end=1000.0 * (k + 1), minutes=minutes, water=water, coal=0.0,
                water_slope=0.0, coal_slope=0.0,
            ),
        )
        for k in range(4)
    )  # fmt: skip
    return Problem(
        tank=500.0, bunker=10.0, reserve=(0.0, 0.0), start=(450.0, 10.0), finish=(0.0, 0.0),
        standing=(0.0, 0.0), dry=1000.0, aim={"first": "earliest"}, stretches=rows, taps=(),
    )  # fmt: skip


def test_the_simulation_gives_the_normal_chance_on_an_even_road() -> None:
    """Water used is normal: mean 400 kg, 4 (10 %) of the day and 4 pieces of 5 % each."""
    chance, error = chance_of_running_dry(
        even_road(10.0, 100.0), (0, 0, 0, 0), [], day=0.1, stretch=0.05, length=1000.0
    )
    spread = 100.0 * math.sqrt((4 * 0.1) ** 2 + 4 * 0.05**2)
    assert chance == pytest.approx(1 - NormalDist(400.0, spread).cdf(450.0), abs=4 * error)


def test_filling_to_a_mark_halfway_keeps_the_second_half_from_the_first() -> None:
    """Either half asks 400 kg times the day's factor of 450 kg: both run dry, or neither."""
    halfway = [Filled(at=2000.0, minutes=0.0, water=450.0, coal=10.0)]
    chance, error = chance_of_running_dry(
        even_road(10.0, 200.0), (0, 0, 0, 0), halfway, day=0.1, stretch=0.0, length=1000.0
    )
    assert chance == pytest.approx(1 - NormalDist(400.0, 40.0).cdf(450.0), abs=4 * error)
