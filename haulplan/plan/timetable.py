"""From the solver's answer to the plan a crew reads: stops, legs, crossings, warnings."""

import datetime as dt
from importlib.metadata import PackageNotFoundError, version
from itertools import pairwise
from typing import Final

import numpy as np

from haulplan.demand import Demand
from haulplan.plan.legs import Node
from haulplan.plan.plan import Crossing, Leg, Plan, Stop
from haulplan.plan.solve import Solution
from haulplan.route import Route
from haulplan.route.profile import climb_of
from haulplan.scenario import Scenario

__all__ = ["write_plan"]

_LIBRARIES: Final = (
    "haulplan",
    "chemicals",
    "folium",
    "geopy",
    "highspy",
    "networkx",
    "numpy",
    "pandas",
    "pulp",
)
_DAY: Final = 86400.0
#: Above this share of a posted limit a crossing is remarked on.
_NEAR: Final = 0.97


def write_plan(scenario: Scenario, route: Route, demand: Demand, solution: Solution) -> Plan:
    """The plan of a solution.

    Parameters
    ----------
    scenario, route, demand
        The problem.
    solution
        Its answer.

    Returns
    -------
    plan
        Not yet proved: `haulplan.replay.replay` does that.
    """
    nodes = solution.chain.nodes
    kept = [i for i, node in enumerate(nodes) if node.kind in ("start", "finish")]
    kept = sorted({*kept, *np.flatnonzero(solution.stopped).tolist()})
    stops = tuple(_stop(scenario, demand, solution, i, number) for number, i in enumerate(kept))
    crossings = _crossings(scenario, route, demand, solution)
    scale = {"earliest": 60.0}.get(solution.aim, 1.0)
    return Plan(
        title=scenario.file.title,
        date=scenario.file.date,
        aim=solution.aim,
        objective=solution.objective * scale,
        bound=solution.bound * scale,
        gap=solution.gap,
        proven=solution.proven,
        stops=stops,
        legs=tuple(
            _leg(route, demand, solution, nodes[a], nodes[b], number)
            for number, (a, b) in enumerate(pairwise(kept))
        ),
        crossings=crossings,
        choices=solution.gears,
        dry_weight=demand.dry_weight,
        lighting_up_coal=demand.lighting_up_coal,
        warnings=(
            *route.warnings,
            *demand.warnings,
            *_warnings(scenario, stops),
            *_close_bridges(crossings),
        ),
        assumptions=demand.assumptions,
        versions={name: _version(name) for name in _LIBRARIES},
    )


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "unknown"


def _stop(scenario: Scenario, demand: Demand, solution: Solution, i: int, number: int) -> Stop:
    node = solution.chain.nodes[i]
    arrive = scenario.file.depart + float(solution.clock[i])
    stay = float(solution.stay[i])
    row = None if node.passing is None else node.passing.row
    supply = None if row is None else scenario.supplies[row]
    water, coal = float(solution.take_water[i]), float(solution.take_coal[i])
    money = 0.0
    if supply is not None:
        money = supply.call_out + supply.water_price * water + supply.coal_price * coal
    last = node.kind == "finish"
    return Stop(
        kind="supply" if supply is not None else "finish" if last else "start",
        name=node.name,
        number=number,
        row=row,
        distance=node.distance,
        arrive=arrive,
        depart=arrive + stay,
        wait=float(solution.wait[i]),
        tank_arrive=float(solution.arrive_water[i]),
        tank_depart=float((solution.arrive_water if last else solution.leave_water)[i]),
        bunker_arrive=float(solution.arrive_coal[i]),
        bunker_depart=float((solution.arrive_coal if last else solution.leave_coal)[i]),
        water_taken=water,
        coal_taken=coal,
        water_standing=demand.standing_water * stay,
        coal_standing=demand.standing_coal * stay,
        money=money,
    )


def _leg(
    route: Route, demand: Demand, solution: Solution, begin: Node, end: Node, number: int
) -> Leg:
    gear = demand.geared(solution.gears)
    own = slice(begin.sample, end.sample)
    use = demand.evaluate(solution.aboard, gear)
    length = np.diff(demand.distance)[own]
    inside = (route.distance >= begin.distance - 1e-6) & (route.distance <= end.distance + 1e-6)
    heights = route.elevation[inside]
    return Leg(
        begin=number,
        end=number + 1,
        distance=begin.distance,
        length=end.distance - begin.distance,
        climb=climb_of(heights),
        descent=climb_of(-heights),
        duration=float(use.duration[own].sum()),
        water=float(use.water[own].sum()),
        coal=float(use.coal[own].sum()),
        gears={
            demand.gears[g]: float(length[gear[own] == g].sum())
            for g in np.unique(gear[own]).tolist()
        },
    )


def _crossings(
    scenario: Scenario, route: Route, demand: Demand, solution: Solution
) -> tuple[Crossing, ...]:
    gear = demand.geared(solution.gears)
    use = demand.evaluate(solution.aboard, gear)
    driven = np.concatenate([[0.0], np.cumsum(use.duration)])
    crossings = []
    for passing in route.passings:
        if passing.kind != "bridge":
            continue
        sample = demand.index(passing.distance)
        stood = sum(
            float(solution.stay[i])
            for i, node in enumerate(solution.chain.nodes)
            if node.sample <= sample
        )
        before = min(sample, demand.segments - 1)
        aboard = float(solution.aboard[before])
        if sample == demand.segments:
            aboard -= float(use.water[before] + use.coal[before])
        crossings.append(
            Crossing(
                name=passing.label,
                row=passing.row,
                distance=passing.distance,
                clock=scenario.file.depart + float(driven[sample]) + stood,
                gross=demand.dry_weight + aboard,
                limit=scenario.bridges[passing.row].limit,
            )
        )
    return tuple(crossings)


def _close_bridges(crossings: tuple[Crossing, ...]) -> list[str]:
    """Crossings at which our own reckoning comes near the posted figure."""
    return [
        f"{c.name}: our figure is {100 * c.gross / c.limit:.1f} % of the posted one; weigh "
        "engine and train, and ask the road authority"
        for c in crossings
        if c.gross > _NEAR * c.limit
    ]


def _warnings(scenario: Scenario, stops: tuple[Stop, ...]) -> list[str]:
    """Supplies the plan leans on that nobody confirmed lately; a late arrival."""
    warnings = []
    oldest = dt.timedelta(seconds=scenario.file.stale_after)
    for stop in stops:
        if stop.row is None:
            continue
        confirmed = scenario.supplies[stop.row].last_confirmed
        if confirmed is None:
            warnings.append(f"{stop.name}: never confirmed; ring before the day")
        elif scenario.file.date - confirmed > oldest:
            days = (scenario.file.date - confirmed).days
            warnings.append(
                f"{stop.name}: last confirmed {days} days before the run; ring before the day"
            )
    if stops[-1].arrive > _DAY:
        warnings.append("the finish is reached after midnight; this plan knows one day only")
    return warnings
