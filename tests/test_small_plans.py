"""The planner against brute force on small random problems.

The oracle in `small` knows nothing of legs, compression or the planner's programme: it
tries every discrete decision and solves a linear programme over every cut of the road for
each. That takes minutes, so its answers are stored; a sample is solved afresh.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from small.drawing import draw_problem
from small.oracle import brute_force
from small.problems import FEATURES, fingerprint
from small.writing import write_problem

from haulplan.demand import build_demand
from haulplan.errors import NoPlanError
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario

SOLVED: list[dict[str, Any]] = json.loads(
    (Path(__file__).parent / "small" / "solved.json").read_text()
)
#: Solved afresh: every eleventh of those that take few programmes.
SAMPLE = [answer for answer in SOLVED if answer["decisions"] <= 150][::7][:26]


def plan_of(folder: Path) -> Plan:
    scenario = read_scenario(folder)
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    replay(scenario, route, demand, plan)
    return plan


def seed_of(answer: dict[str, Any]) -> str:
    return str(answer["seed"])


def binds(answer: dict[str, Any], name: str) -> bool:
    """Whether taking a feature away changes the optimum, or whether there is a plan."""
    value, other = answer["value"], answer["without"].get(name, answer["value"])
    if value is None or other is None:
        return value is not other
    return bool(value != pytest.approx(other, rel=1e-5, abs=1e-6))


@pytest.mark.parametrize("answer", SOLVED, ids=seed_of)
def test_planner_equals_brute_force(answer: dict[str, Any], tmp_path: Path) -> None:
    folder = write_problem(draw_problem(answer["seed"]), tmp_path)
    if answer["value"] is None:
        with pytest.raises(NoPlanError, match="no plan: "):
            plan_of(folder)
        return
    plan = plan_of(folder)
    scale = 60.0 if plan.aim == "earliest" else 1.0
    assert plan.proven
    assert plan.objective / scale == pytest.approx(answer["value"], rel=1e-6, abs=1e-6)


def test_stored_answers_are_of_the_problems_drawn_now() -> None:
    assert len(SOLVED) >= 200
    for answer in SOLVED:
        assert fingerprint(draw_problem(answer["seed"])) == answer["fingerprint"]


@pytest.mark.parametrize("answer", SAMPLE, ids=seed_of)
def test_a_sample_solved_afresh_gives_the_stored_answer(answer: dict[str, Any]) -> None:
    value = brute_force(draw_problem(answer["seed"]))
    if answer["value"] is None:
        assert value is None
    else:
        assert value == pytest.approx(answer["value"], rel=1e-7, abs=1e-7)


@pytest.mark.parametrize("name", FEATURES)
def test_each_feature_binds_in_ten_problems(name: str) -> None:
    assert sum(binds(answer, name) for answer in SOLVED) >= 10


def test_some_problems_have_no_plan_and_most_have_one() -> None:
    none = sum(answer["value"] is None for answer in SOLVED)
    assert len(SOLVED) / 20 <= none <= len(SOLVED) / 4
