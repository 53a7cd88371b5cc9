"""Hills: where they are, their price, the heaviest train, doubling and a second engine."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hauling import engine_of, haul_of, road_of, use_of, wagons_of
from hypothesis import given, settings
from hypothesis import strategies as st

from haulplan.demand import build_demand
from haulplan.demand.haul import Haul
from haulplan.demand.hills import (
    Hill,
    double_hill,
    find_descents,
    find_hills,
    heaviest_train,
)
from haulplan.demand.segment import choose_gears, haul_on
from haulplan.errors import NoPlanError
from haulplan.route.build import build_route
from haulplan.scenario import read_scenario
from haulplan.units import parse

some = settings(max_examples=60, deadline=None)
STEP = 50.0


def profile(*parts: tuple[float, float]) -> Haul:
    """Segments of 50 m from (length [m], grade) pairs."""
    grades = [grade for length, grade in parts for _ in range(round(length / STEP))]
    return haul_of(road_of(grades, surface="asphalt", length=STEP))


def hills_of(haul: Haul, aboard: float = 800.0) -> tuple[Hill, ...]:
    carried = np.full(haul.length.size, aboard)
    return find_hills(haul, distance_of(haul), carried, choose_gears(haul, carried))


def distance_of(haul: Haul) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.concatenate([[0.0], np.cumsum(haul.length)])


# --- finding


def test_a_hill_begins_at_its_foot_and_ends_at_its_top() -> None:
    (hill,) = hills_of(profile((2000, 0.0), (600, 0.05), (1000, 0.0), (500, -0.03)))
    assert hill.begin == pytest.approx(2000)
    assert hill.length == pytest.approx(600)
    assert hill.rise == pytest.approx(30)
    assert hill.steepest == pytest.approx(0.05)


def test_a_rise_under_eight_metres_is_no_hill() -> None:
    assert hills_of(profile((150, 0.05), (500, 0.0))) == ()  # 7.5 m
    assert len(hills_of(profile((200, 0.05), (500, 0.0)))) == 1  # 10 m


def test_a_dip_of_less_than_three_metres_does_not_end_a_hill() -> None:
    (whole,) = hills_of(profile((400, 0.05), (50, -0.05), (400, 0.05)))
    assert whole.rise == pytest.approx(37.5)
    first, second = hills_of(profile((400, 0.05), (150, -0.05), (400, 0.05)))
    assert first.rise == pytest.approx(20)
    assert second.begin == pytest.approx(550)


def test_a_road_that_only_falls_has_no_hill() -> None:
    assert hills_of(profile((3000, -0.04))) == ()


@some
@given(st.lists(st.tuples(st.integers(1, 12), st.floats(-0.08, 0.06)), min_size=1, max_size=8))
def test_hills_are_in_order_apart_and_on_the_road(parts: list[tuple[int, float]]) -> None:
    haul = profile(*((STEP * n, g) for n, g in parts))
    hills = hills_of(haul)
    total = float(haul.length.sum())
    ends = [end for hill in hills for end in (hill.begin, hill.begin + hill.length)]
    assert ends == sorted(ends)
    assert all(0 <= end <= total + 1e-6 for end in ends)
    assert all(hill.rise >= 7.0 for hill in hills)


# --- price


@some
@given(st.floats(0.01, 0.08), st.floats(1000, 3000), st.floats(0.0, 1500.0))
def test_a_hill_costs_water_coal_and_time(grade: float, length: float, aboard: float) -> None:
    (hill,) = hills_of(profile((500, 0.0), (length, grade), (500, 0.0)), aboard)
    assert hill.water > 0
    assert hill.coal > 0
    assert hill.duration > -1e-9


def test_the_price_is_use_on_the_hill_less_use_on_the_level() -> None:
    road = profile((500, 0.0), (1000, 0.05), (500, 0.0))
    level = profile((500, 0.0), (1000, 0.0), (500, 0.0))
    (hill,) = hills_of(road)
    carried = np.full(40, 800.0)
    use = road.evaluate(carried, choose_gears(road, carried))
    flat = use_of(level)
    for name in ("water", "coal", "duration"):
        price = (getattr(use, name) - getattr(flat, name))[10:30].sum()
        assert getattr(hill, name) == pytest.approx(float(price))


def test_the_price_is_above_a_level_road_in_a_gear_that_holds_it() -> None:
    """On sand the fast gear holds no level road: the price must not be taken from it."""
    grades = [0.0] * 10 + [0.02] * 20
    haul = haul_of(road_of(grades, surface="sand", length=STEP))
    assert float(haul.force(800.0, 0)[0]) > float(haul.steam_pull(0))
    (hill,) = hills_of(haul)
    assert hill.water > 0
    low = use_of(haul, gear=1)
    level = use_of(haul_of(road_of([0.0] * 30, surface="sand", length=STEP)), gear=1)
    assert hill.water == pytest.approx(float((low.water - level.water)[10:].sum()))


def test_a_hill_tells_whether_the_train_starts_on_it_again() -> None:
    """Starting doubles the rolling: there is a grade that is climbed but not started on."""
    said: dict[bool, bool] = {}
    for grade in np.arange(0.04, 0.3, 0.005):
        haul = profile((300, float(grade)))
        (hill,) = hills_of(haul)
        pull = min(float(haul.steam_pull(1)), float(haul.grip_pull(800.0)[0]))
        rolling = float(haul.force(800.0, 1, rolling=2.0)[0])
        assert hill.restarts is (rolling <= pull)
        said[hill.restarts] = float(haul.force(800.0, 1)[0]) <= pull or said.get(
            hill.restarts, False
        )
    assert said == {True: True, False: True}


# --- descents


def test_a_descent_steeper_than_low_gear_is_for_is_listed_from_to() -> None:
    haul = profile((500, 0.0), (400, -0.08), (300, -0.04), (200, -0.06), (500, 0.0))
    first, second = find_descents(haul, distance_of(haul))
    assert (first.begin, first.end) == (500, 900)
    assert first.fall == pytest.approx(32)
    assert first.steepest == pytest.approx(0.08)
    assert (second.begin, second.end) == (1200, 1400)


def test_descents_a_breather_apart_are_one() -> None:
    haul = profile((400, -0.08), (100, -0.01), (200, -0.06))
    (one,) = find_descents(haul, distance_of(haul))
    assert (one.begin, one.end) == (0, 700)
    assert one.fall == pytest.approx(32 + 1 + 12)


def test_a_gentle_road_has_no_descent_to_list() -> None:
    haul = profile((400, -0.05), (400, 0.09))
    assert find_descents(haul, distance_of(haul)) == ()


# --- the heaviest train


def scenario_on(
    write: Callable[..., Path], toml: dict[str, Any], grade: float, mass: float
) -> tuple[Any, Any]:
    toml["train"] = {"wagons": [{"name": "Van", "tare": f"{mass!r} kg", "tyre": "rubber"}]}
    rows = "".join(f"{k},{100 + 1000 * grade * k!r}\n" for k in range(3))
    folder = write(toml, {"route.csv": "distance [km],elevation [m]\n" + rows})
    scenario = read_scenario(folder)
    return scenario, build_route(scenario)


@pytest.mark.parametrize("tyre", ["rubber", "steel"])
@pytest.mark.parametrize("grade", [0.05, 0.08, 0.1])
def test_the_heaviest_train_passes_and_one_per_cent_more_does_not(
    write: Callable[..., Path], steam: dict[str, Any], grade: float, tyre: str
) -> None:
    steam["engine"]["tyre"] = tyre
    scenario, route = scenario_on(write, steam, grade, 5000.0)
    haul, _ = haul_on(scenario, route)
    least = scenario.file.reserve.water + scenario.file.reserve.coal
    most = min(heaviest_train(haul, k, least) for k in range(haul.length.size))
    assert 1000 < most < 60_000
    build_demand(*scenario_on(write, steam, grade, most * (1 - 1e-9)))
    with pytest.raises(NoPlanError, match="gear ends at"):
        build_demand(*scenario_on(write, steam, grade, 1.01 * most))


def test_a_train_that_runs_down_by_itself_has_no_heaviest() -> None:
    assert heaviest_train(profile((100, -0.2)), 0, 500.0) == np.inf


# --- doubling


def test_a_doubled_hill_is_the_trips_driven_one_by_one() -> None:
    """Up with each part, down alone between, in the lowest gear; coupling is left out."""
    masses = (6.0, 5.0, 4.0, 3.0)
    grades = [0.02, 0.12, 0.12, 0.03]
    haul = haul_of(road_of(grades, surface="asphalt"), wagons=wagons_of(*masses))
    aboard = 700.0
    most = min(heaviest_train(haul, k, aboard) for k in range(4))
    doubling = double_hill(haul, wagons_of(*masses), 0, 4, aboard)
    assert doubling is not None
    # By hand: the heaviest first, each where it fits; then every part driven on its own.
    parts: list[list[float]] = []
    for mass in masses:
        for part in parts:
            if 1000 * (sum(part) + mass) <= most:
                part.append(mass)
                break
        else:
            parts.append([mass])
    assert 1 < len(parts) < len(masses)
    assert doubling.parts == len(parts)
    assert doubling.passes == 2 * len(parts) - 1
    trips = [haul_of(road_of(grades, surface="asphalt"), wagons=wagons_of(*p)) for p in parts]
    down = haul_of(road_of([-g for g in reversed(grades)], surface="asphalt"), wagons=[])
    trips += [down] * (len(parts) - 1)
    used = [use_of(trip, aboard, gear=1) for trip in trips]
    for name in ("water", "coal", "duration"):
        by_hand = sum(float(getattr(use, name).sum()) for use in used)
        assert getattr(doubling, name) == pytest.approx(by_hand, rel=1e-9)


@some
@given(
    st.lists(st.floats(0.5, 8.0), min_size=1, max_size=8),
    st.floats(0.05, 0.14),
    st.floats(0.0, 1500.0),
)
def test_parts_are_whole_wagons_and_every_part_passes(
    masses: list[float], grade: float, aboard: float
) -> None:
    haul = haul_of(road_of([grade, grade / 2]), wagons=wagons_of(*masses))
    most = heaviest_train(haul, 0, aboard)
    doubling = double_hill(haul, wagons_of(*masses), 0, 2, aboard)
    if doubling is None:
        assert 1000 * max(masses) > most
        return
    least = int(np.ceil(1000 * sum(masses) / most - 1e-9))
    assert least <= doubling.parts <= len(masses)
    assert doubling.passes == 2 * doubling.parts - 1
    if 1000 * sum(masses) <= most:
        assert doubling.parts == 1


def test_the_worst_of_a_doubled_hill_may_be_its_surface() -> None:
    """A gentler stretch of sand holds less than the steep asphalt beside it."""
    road = road_of([0.07, 0.05], surface="asphalt")
    sandy = type(road)(**{**vars(road), "surface": ("asphalt", "sand")})
    masses = (4.0,) * 4
    firm = double_hill(haul_of(road, wagons=wagons_of(*masses)), wagons_of(*masses), 0, 2, 500.0)
    soft = double_hill(haul_of(sandy, wagons=wagons_of(*masses)), wagons_of(*masses), 0, 2, 500.0)
    assert firm is not None
    assert soft is not None
    assert soft.parts > firm.parts


def test_nothing_to_double_without_wagons() -> None:
    assert double_hill(profile((100, 0.1)), [], 0, 2, 500.0) is None


# --- what a refusal offers


def test_a_refusal_offers_doubling_and_a_second_engine_with_their_figures(
    write: Callable[..., Path], steam: dict[str, Any]
) -> None:
    steam["units"] = "metric"
    wagons = [{"name": "Van", "tare": "5 t", "tyre": "rubber", "count": 4}]
    scenario, route = scenario_on(write, steam, 0.16, 5000.0)
    steam["train"] = {"wagons": wagons}
    folder = write(steam)
    scenario = read_scenario(folder)
    route = build_route(scenario)
    with pytest.raises(NoPlanError) as refused:
        build_demand(scenario, route)
    said = str(refused.value)
    haul, _ = haul_on(scenario, route)
    stores = scenario.file.stores
    full = stores.tank + stores.bunker
    least = scenario.file.reserve.water + scenario.file.reserve.coal
    segments = range(haul.length.size)
    lacking = max(
        float(haul.force(aboard, 1)[k])
        - min(float(haul.steam_pull(1)), float(haul.grip_pull(aboard)[k]))
        for k in segments
        for aboard in (least, full)
    )
    second = re.search(r"a second engine giving at least ([\d.]+) kN", said)
    assert second is not None
    assert float(second[1]) == pytest.approx(lacking / 1000, abs=0.051)
    passing = re.search(r"a train of at most ([\d.]+ t) behind", said)
    assert passing is not None
    most = min(heaviest_train(haul, k, aboard) for k in segments for aboard in (least, full))
    assert parse("mass", passing[1]) <= most < parse("mass", passing[1]) + 10.001
    doubled = re.search(r"doubling the hill in (\d) parts: (\d) passes, (\d+) min", said)
    assert doubled is not None
    assert int(doubled[2]) == 2 * int(doubled[1]) - 1
    assert int(doubled[1]) == -(-4 // int(most // 5000))


def test_an_engine_alone_too_heavy_is_said_so() -> None:
    haul = haul_of(road_of([0.35]), engine_of(), [])
    assert heaviest_train(haul, 0, 0.0) < 0


def test_a_hill_the_boiler_cannot_feed_is_refused_for_steam(
    write: Callable[..., Path], steam: dict[str, Any]
) -> None:
    """Plenty of cylinder and grip, a grate that cannot make the steam even at a crawl."""
    steam["engine"] |= {"grate_area": "0.1 m2", "heating_surface": "3 m2", "adhesion": "90 %"}
    steam["engine"]["bore"], steam["engine"]["stroke"] = "14 in", "16 in"
    hill = "distance [km],elevation [m]\n0,100\n1,100\n2,240\n3,240\n"
    scenario = read_scenario(write(steam, {"route.csv": hill}))
    with pytest.raises(NoPlanError, match="the steam the boiler raises at a crawl"):
        build_demand(scenario, build_route(scenario))
