"""The plan driven again by a thirstier engine, and how far a dip goes, worked by hand.

A kilometre takes 50 kg of water and 5 of coal in ten minutes, or more where a test says so.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from long_run import long_run

from haulplan.demand import Demand, Use
from haulplan.demand.demand import Serving
from haulplan.outputs.thirst import Thirst, drive_again, reaches, thirst_of
from haulplan.plan.plan import Leg, Plan, Stop
from haulplan.scenario import Scenario


def demand_of(*, water: float = 50.0, per_mass: float = 0.0, minutes: float = 10.0) -> Demand:
    def evaluate(aboard: np.ndarray, gear: np.ndarray) -> Use:
        return Use(
            duration=np.full(10, 60 * minutes),
            water=water + per_mass * aboard,
            coal=np.full(10, 5.0),
        )

    return Demand(
        distance=np.arange(0.0, 10001.0, 1000.0), gears=("one",), gear=np.zeros(10, dtype=np.int64),
        choices=(), heaviest=np.full(10, np.inf), evaluate=evaluate, dry_weight=1e4,
        standing_water=0.0, standing_coal=0.0, lighting_up_coal=None, assumptions=(), warnings=(),
    )  # fmt: skip


def stop(
    kind: str, at: float, clock: float, tank: float, taken: float = 0.0, **more: object
) -> Stop:
    base: dict[str, object] = {
        "kind": kind, "name": kind, "number": 1, "row": 0 if kind == "supply" else None,
        "distance": at, "arrive": clock, "depart": clock, "wait": 0.0, "tank_arrive": tank,
        "tank_depart": tank + taken, "bunker_arrive": 100.0, "bunker_depart": 100.0,
        "water_taken": taken, "coal_taken": 0.0, "water_standing": 0.0, "coal_standing": 0.0,
        "money": 0.0,
    }  # fmt: skip
    return Stop(**{**base, **more})  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def scenario(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    return long_run(tmp_path_factory.mktemp("run"), 1, 10_000.0).scenario


@pytest.fixture
def plan(tmp_path_factory: pytest.TempPathFactory, scenario: Scenario) -> Plan:
    """400 kg at the start, 200 on reaching the supply at 4 km, filled to 400 again."""
    made = long_run(tmp_path_factory.mktemp("plan"), 1, 10_000.0).plan
    stops = (
        stop("start", 0.0, 0.0, 400.0),
        stop("supply", 4000.0, 2400.0, 200.0, 200.0, depart=2700.0),
        stop("finish", 10000.0, 6300.0, 100.0),
    )
    legs = tuple(
        Leg(begin=i, end=i + 1, distance=a, length=b - a, climb=0.0, descent=0.0, duration=1.0,
            water=50.0 * (b - a) / 1000, coal=5.0 * (b - a) / 1000, gears={})
        for i, (a, b) in enumerate(((0.0, 4000.0), (4000.0, 10000.0)))
    )  # fmt: skip
    return replace(made, stops=stops, legs=legs)


def test_the_plans_own_demand_gives_the_plans_own_figures(scenario: Scenario, plan: Plan) -> None:
    demand = demand_of()
    reached = drive_again(scenario, demand, demand, plan)
    assert [r.tank for r in reached] == pytest.approx([400.0, 200.0, 100.0])
    assert [r.arrive for r in reached] == pytest.approx([0.0, 2400.0, 6300.0])
    assert all(r.dry_at is None for r in reached)


def test_a_thirstier_engine_comes_lower_and_fills_to_the_same_mark(
    scenario: Scenario, plan: Plan
) -> None:
    reached = drive_again(scenario, demand_of(water=60.0), demand_of(), plan)
    # 4 x 60 from 400 leave 160; filled to 400, 6 x 60 leave 40
    assert [r.tank for r in reached] == pytest.approx([400.0, 160.0, 40.0])


def test_filling_more_takes_longer_at_the_sources_rate(scenario: Scenario, plan: Plan) -> None:
    thirsty = replace(demand_of(water=60.0), serving=(Serving(water=2.0, coal=None),))
    reached = drive_again(scenario, thirsty, demand_of(), plan)
    # 40 kg more at 2 kg/s
    assert reached[1].leave == pytest.approx(2700.0 + 20.0)


def test_a_tank_that_runs_dry_says_where(scenario: Scenario, plan: Plan) -> None:
    reached = drive_again(scenario, demand_of(water=125.0), demand_of(), plan)
    # 400 kg last 3.2 km
    assert reached[1].dry_at == pytest.approx(3200.0)
    assert reached[1].tank == pytest.approx(-100.0)


def test_what_is_aboard_counts(scenario: Scenario, plan: Plan) -> None:
    demand = demand_of(per_mass=0.01)
    reached = drive_again(scenario, demand, demand, plan)
    mass, tank = 500.0, 400.0
    for _ in range(4):
        used = 50.0 + 0.01 * mass
        tank, mass = tank - used, mass - used - 5.0
    assert reached[1].tank == pytest.approx(tank)


# --- how far a dip goes ----------------------------------------------------------------


def lines(water: float = 50.0, slope: float = 0.0) -> Thirst:
    flat = np.full(10, 1.0)
    return Thirst(
        distance=np.arange(0.0, 10001.0, 1000.0), duration=600 * flat, water=water * flat,
        water_slope=slope * flat, coal=5.0 * flat, coal_slope=0.0 * flat, aboard=400 * flat,
    )  # fmt: skip


def test_a_dip_goes_as_far_as_the_water_over_the_reserve() -> None:
    ends = reaches(lines(), 2000.0, np.array([400.0, 200.0, 120.0, 40.0]), 100.0, 100.0)
    # (400 - 100) / 50 = 6 km on from 2 km; 2 km; 0.4 km; below the reserve already
    assert ends.tolist() == pytest.approx([8000.0, 4000.0, 2400.0, 2000.0])


def test_a_dip_that_reaches_the_finish_is_without_end() -> None:
    assert reaches(lines(), 8000.0, np.array([400.0]), 0.0, 100.0).tolist() == [np.inf]
    assert reaches(lines(), 10000.0, np.array([400.0]), 0.0, 100.0).tolist() == [np.inf]


@given(
    tank=st.floats(50.0, 1000.0), other=st.floats(0.0, 500.0), slope=st.floats(0.0, 0.05),
    floor=st.floats(0.0, 100.0),
)  # fmt: skip
def test_running_products_equal_a_walk_segment_by_segment(
    tank: float, other: float, slope: float, floor: float
) -> None:
    mass, level, at = tank + other, tank, 0.0
    end = 0.0 if level < floor else np.inf
    while at < 10000.0 and not np.isfinite(end):
        used = 50.0 + slope * max(mass, 0.0)
        if level - used < floor:
            end = at + 1000.0 * (level - floor) / used
        mass, level, at = mass - used - 5.0, level - used, at + 1000.0
    found = reaches(lines(slope=slope), 0.0, np.array([tank]), other, floor)
    assert found[0] == pytest.approx(end, abs=0.5)


def test_a_straightened_demand_is_the_demand_at_the_plans_masses(plan: Plan) -> None:
    demand = demand_of(per_mass=0.01)
    thirst = thirst_of(demand, demand, plan)
    use = demand.evaluate(thirst.aboard, demand.gear)
    assert thirst.water + thirst.water_slope * thirst.aboard == pytest.approx(use.water)
    assert thirst.duration == pytest.approx(use.duration)
    assert thirst.aboard[0] == pytest.approx(500.0)


def test_the_pessimistic_column_is_not_higher(tmp_path: Path) -> None:
    from haulplan.demand import build_demand

    run = long_run(tmp_path, 3, 12_000.0)
    own = build_demand(run.scenario, run.route)
    worse = build_demand(run.scenario, run.route, pessimism=0.9)
    mean, low = (drive_again(run.scenario, d, own, run.plan) for d in (own, worse))
    assert all(b.tank < a.tank for a, b in zip(mean[1:], low[1:], strict=True))
