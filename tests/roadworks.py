"""Small networks of roads to test with, and an exhaustive search over them; all invented."""

import copy
import itertools
import math
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import conftest
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from haulplan.demand.demand import Demand
from haulplan.demand.segment import steam_demand
from haulplan.errors import NoPlanError
from haulplan.roads import Quest, prepare
from haulplan.roads.facts import Facts
from haulplan.roads.roadmap import RawRoad, RoadMap
from haulplan.scenario import Scenario, read_scenario
from haulplan.scenario.schema import Supply

Array = NDArray[np.float64]

NORTH = 1 / 111_300  # degrees of latitude to a metre
EAST = NORTH / math.cos(math.radians(50))


def scenario_at(folder: Path, **changes: Any) -> Scenario:  # noqa: ANN401  keys of TOML
    """A steam scenario on a network, from A to Z."""
    toml = copy.deepcopy(conftest._STEAM) | {
        "start": "A",
        "finish": "Z",
        "route": {"network": "roads"},
        "stores": {"tank": "500 L", "bunker": "200 kg"},
        "at_start": {"water": "full", "coal": "180 kg"},
        "at_finish": {"water": "80 L", "coal": "20 kg"},
        "reserve": {"water": "60 L", "coal": "15 kg"},
    }
    for key, value in changes.items():
        toml[key] = toml[key] | value if isinstance(value, dict) and key in toml else value
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "roads").mkdir(exist_ok=True)
    text = "".join(f"{key} = {conftest._inline(value)}\n" for key, value in toml.items())
    (folder / "scenario.toml").write_text(text, encoding="utf-8")
    return read_scenario(folder)


def roads_of(
    places: Mapping[str, tuple[float, float, float]],
    links: Sequence[tuple[str, str] | tuple[str, str, Mapping[str, Any]]],
    *,
    turning: Sequence[str] = (),
) -> RoadMap:
    """Roads between places given as metres east and north of 50 N 11 E, and height."""
    roads = [
        RawRoad(
            name=f"{link[0]}{link[1]}-{number}",
            points=(link[0], link[1]),
            facts=replace(Facts(surface="macadam", surface_known=True), **dict(*link[2:])),
        )
        for number, link in enumerate(links)
    ]
    return RoadMap(
        name="roads",
        points={n: (50 + y * NORTH, 11 + x * EAST, h) for n, (x, y, h) in places.items()},
        roads=roads,
        places={name: name for name in places},
        turning=frozenset(turning),
        measured=True,
    )


def tap(name: str, at: tuple[float, float, float], **changes: str) -> Supply:
    """A supply at a place."""
    x, y, _ = at
    row = {
        "name": name,
        "kind": "tap",
        "latitude": f"{50 + y * NORTH:.9f}",
        "longitude": f"{11 + x * EAST:.9f}",
        "water_available": "unlimited",
        "water_rate": "60 L/min",
        "set_up": "6 min",
    }
    return Supply.model_validate(row | changes, context={"currency": "USD"})


def random_quest(seed: int, scenario: Scenario) -> Quest:
    """Five places in two rows, one-way roads, parallel roads, one or two supplies."""
    rng = random.Random(seed)
    names = ["A", "B", "C", "D", "Z"]
    places = {
        name: (
            3100.0 * (k // 2) + rng.uniform(-500, 500),
            1600.0 * (k % 2) + rng.uniform(-400, 400),
            100.0 + rng.uniform(0, 70),
        )
        for k, name in enumerate(names)
    }
    pairs = [("A", "B"), ("A", "C"), ("B", "D"), ("C", "D"), ("C", "Z"), ("D", "Z")]
    links: list[Any] = [pair for pair in pairs if rng.random() < 0.9]
    links += [("D", "B"), ("C", "D")][: rng.choice([0, 0, 1, 2])]
    links = [
        (*pair, {"oneway": rng.choice([0, 0, 0, 1]), "surface": rng.choice(["macadam", "gravel"])})
        for pair in links
    ]
    spots = rng.sample(["B", "C", "D"], rng.choice([1, 2, 2]))
    supplies = tuple(
        tap(
            f"Tap {spot}", places[spot], set_up=f"{rng.randrange(2, 15)} min",
            water_rate=f"{rng.choice([20, 60, 120])} L/min",
            water_available=rng.choice(["unlimited", "150 L"]),
        )
        for spot in spots
    )  # fmt: skip
    stores = scenario.file.stores.model_copy(update={"tank": rng.uniform(260.0, 440.0)})
    file = scenario.file.model_copy(update={"stores": stores})
    placed = replace(scenario, file=file, supplies=supplies)
    return prepare(placed, roads=roads_of(places, links))


def trails(quest: Quest) -> Iterator[tuple[int, ...]]:
    """Every way from start to finish that drives no edge twice and turns only where allowed."""
    network, streets = quest.network, quest.streets
    (finish,) = quest.targets

    def grow(node: int, way: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        if node == finish:
            yield way
            return
        for edge in np.flatnonzero(streets.usable & (network.tail == node)).tolist():
            back = bool(way) and edge == way[-1] ^ 1 and not network.turning[node]
            if edge not in way and not back:
                yield from grow(int(network.head[edge]), (*way, edge))

    yield from grow(quest.start, ())


def exhaustive(quest: Quest) -> float:
    """Least time over every way and every subset of its stops, infinite where none holds [s].

    Each subset is a linear programme over the full segments, straightened at the mass
    carried until it stands still; nothing of the planner is used.
    """
    best = math.inf
    for way in sorted(trails(quest), key=len):
        driven = quest.drive(way)
        try:
            demand = steam_demand(driven.scenario, driven.route)
        except NoPlanError:
            continue
        if demand.evaluate(np.zeros(demand.segments), demand.gear).duration.sum() >= best:
            continue  # too slow even with nothing aboard and never a stop
        stops = [
            (demand.index(p.distance), p.row) for p in driven.route.passings if p.kind == "supply"
        ]
        for size in range(len(stops) + 1):
            for chosen in itertools.combinations(stops, size):
                best = min(best, _least_time(driven.scenario, demand, chosen))
    return best


def _least_time(scenario: Scenario, demand: Demand, stops: Sequence[tuple[int, int]]) -> float:
    """Least time when exactly these stops are made, by a programme of our own."""
    room = scenario.file.stores.tank + scenario.file.stores.bunker
    aboard = np.full(demand.segments, 0.5 * room)
    value = math.inf
    for _ in range(2):
        found = _solved(scenario, demand, stops, aboard)
        if found is None:
            return math.inf
        value, aboard = found
    return value


def _solved(
    scenario: Scenario, demand: Demand, stops: Sequence[tuple[int, int]], aboard: Array
) -> tuple[float, Array] | None:
    """Least time and the mass at each segment, straightened at the mass given."""
    file = scenario.file
    one = np.eye(1 + 3 * len(stops))  # [1, then water, coal and standing of each stop]
    levels = {
        "water": one[0] * min(file.at_start.water, file.stores.tank),
        "coal": one[0] * min(file.at_start.coal, file.stores.bunker),
        "duration": one[0] * 0.0,
    }
    least = {"water": file.reserve.water, "coal": file.reserve.coal}
    lines = _lines(demand, aboard)
    rows: list[Array] = []  # each row @ [1, x] >= 0
    masses = np.zeros((demand.segments, len(one)))
    taken: dict[int, Array] = {}
    marks = [0, *(sample for sample, _ in stops), demand.segments]
    for k, (first, last) in enumerate(itertools.pairwise(marks)):
        if k:
            row = stops[k - 1][1]
            rows += _stopped(scenario, demand, row, levels, one[3 * k - 2 : 3 * k + 1], one[0])
            taken[row] = taken.get(row, 0.0 * one[0]) + one[3 * k - 2]
        own = slice(first, last)
        masses[own] = _carried(lines, own, levels["water"] + levels["coal"], one[0])
        for name, (base, slope) in lines.items():
            used = base[own].sum() * one[0] + slope[own] @ masses[own]
            levels[name] = levels[name] + (used if name == "duration" else -used)
        rows += [levels[name] - one[0] * level for name, level in least.items()]
        steep = np.flatnonzero(np.isfinite(demand.heaviest[own])) + first
        rows += [one[0] * demand.heaviest[n] - masses[n] for n in steep.tolist()]
    rows += [levels["water"] - one[0] * file.at_finish.water]
    rows += [levels["coal"] - one[0] * file.at_finish.coal]
    for row, amount in taken.items():
        if math.isfinite(there := scenario.supplies[row].water_available or 0.0):
            rows.append(one[0] * there - amount)
    return _least(levels["duration"], np.array(rows), masses)


def _lines(demand: Demand, aboard: Array) -> dict[str, tuple[Array, Array]]:
    """Use of each segment as base + slope x mass."""
    below, above = np.maximum(aboard - 4, 0), np.maximum(aboard + 4, 0)
    low, high = (demand.evaluate(mass, demand.gear) for mass in (below, above))
    lines = {}
    for name in ("duration", "water", "coal"):
        slope = (getattr(high, name) - getattr(low, name)) / (above - below)
        lines[name] = (getattr(low, name) - slope * below, slope)
    return lines


def _stopped(
    scenario: Scenario,
    demand: Demand,
    row: int,
    levels: dict[str, Array],
    takes: Array,
    one: Array,
) -> list[Array]:
    """Limits of a stop; the levels are those of leaving afterwards."""
    supply, tank = scenario.supplies[row], scenario.file.stores.tank
    water, coal, stay = takes
    standing = one * supply.set_up + water / (supply.water_rate or 1.0)
    least = min(0.02 * tank, supply.water_available or 0.0)
    rows = [one * tank - levels["water"] - water, stay - standing, standing - stay]
    rows += [water - one * least, -coal]
    levels["water"] = levels["water"] + water - demand.standing_water * stay
    levels["coal"] = levels["coal"] + coal - demand.standing_coal * stay
    levels["duration"] = levels["duration"] + stay
    return rows


def _carried(lines: dict[str, tuple[Array, Array]], own: slice, mass: Array, one: Array) -> Array:
    """Mass at each segment of a leg, from the mass at its start."""
    base, slope = (lines["water"][k] + lines["coal"][k] for k in (0, 1))
    kept = np.concatenate([[1.0], np.cumprod(1.0 - slope[own])])
    lost = kept * np.concatenate([[0.0], np.cumsum(base[own] / kept[1:])])
    carried: Array = (np.outer(kept, mass) - np.outer(lost, one))[:-1]
    return carried


def _least(clock: Array, limits: Array, masses: Array) -> tuple[float, Array] | None:
    if clock.size == 1:
        ok = bool((limits[:, 0] >= -1e-6).all())
        return (float(clock[0]), masses[:, 0]) if ok else None
    answer = linprog(
        clock[1:], A_ub=-limits[:, 1:], b_ub=limits[:, 0], bounds=(0, None), method="highs"
    )
    if not answer.success:
        return None
    return float(clock[0] + answer.fun), np.asarray(masses @ np.concatenate([[1.0], answer.x]))
