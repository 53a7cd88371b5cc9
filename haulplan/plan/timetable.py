"""From the solver's answer to the plan a crew reads: stops, legs, crossings, warnings."""

import datetime as dt
from dataclasses import replace
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from itertools import pairwise
from typing import Final, Literal

import numpy as np

from haulplan.demand import Demand
from haulplan.plan.answer import Solution
from haulplan.plan.fallbacks import fallbacks_of, proofs_of
from haulplan.plan.legs import Node
from haulplan.plan.plan import Crest, Crossing, Day, Leg, Plan, Stop
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
    "pyscipopt",
)
_DAY: Final = 86400.0
_KINDS: Final[dict[str, Literal["start", "halt", "bridge", "finish"]]] = {
    "start": "start",
    "halt": "halt",
    "bridge": "bridge",
    "finish": "finish",
}
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
    nights = np.cumsum([0, *[work.fire is not None for work in solution.work]])
    stops = tuple(
        _stop(scenario, demand, solution, i, number, 1 + int(nights[i]))
        for number, i in enumerate(kept)
    )
    legs = tuple(
        _leg(route, demand, solution, nodes[a], nodes[b], number)
        for number, (a, b) in enumerate(pairwise(kept))
    )
    spare = _spare(scenario, stops, legs)
    stops = tuple(replace(stop, spare=far) for stop, far in zip(stops, spare, strict=True))
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
        legs=legs,
        crossings=crossings,
        crests=tuple(
            Crest(
                distance=node.distance,
                needed=node.crest,
                carried=float(solution.leave["boiler"][i]),
            )
            for i, node in enumerate(nodes)
            if node.kind == "crest"
        ),
        feeds=tuple(
            (node.distance, float(solution.leave["boiler"][i]))
            for i, node in enumerate(nodes)
            if demand.has_boiler and not solution.stopped[i]
        ),
        days=_days(scenario, demand, stops),
        fallbacks=fallbacks_of(solution, kept),
        proofs=proofs_of(scenario, solution, write_plan),
        reserve_water=scenario.file.reserve.water,
        reserve_coal=scenario.file.reserve.coal,
        survives=solution.survives,
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


@cache
def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "unknown"


def _stop(
    scenario: Scenario, demand: Demand, solution: Solution, i: int, number: int, day: int
) -> Stop:
    node, work = solution.chain.nodes[i], solution.work[i]
    arrive = scenario.file.depart + float(solution.clock[i])
    stay = float(solution.stay[i])
    row = None if node.passing is None else node.passing.row
    offer = solution.offers.get(i)
    rules = solution.rules
    fire = None if work.fire is None else rules.fires[work.fire]
    water, coal = float(solution.take_water[i]), float(solution.take_coal[i])
    moment = solution.arrive if node.kind == "finish" else solution.leave
    start = node.kind == "start"
    return Stop(
        kind=_KINDS.get(node.kind, "supply"),
        name=node.name,
        number=number,
        row=row,
        distance=node.distance,
        day=day,
        arrive=arrive + (work.gap if start else 0.0),
        depart=arrive + stay + work.access_time + work.gap,
        wait=float(solution.wait[i]),
        stay=stay,
        access_time=work.access_time,
        access_water=work.access_water,
        access_coal=work.access_coal,
        truck=offer.row if offer is not None and work.met else None,
        tank_arrive=float(solution.arrive["water"][i]),
        tank_depart=float(moment["water"][i]),
        bunker_arrive=float(solution.arrive["coal"][i]),
        bunker_depart=float(moment["coal"][i]),
        water_taken=water,
        coal_taken=coal,
        blown_down=0.0 if offer is None else offer.blowdown * water,
        water_standing=demand.standing_water * stay,
        coal_standing=demand.standing_coal * stay,
        cart_arrive=float(solution.arrive["cart"][i]),
        cart_depart=float(moment["cart"][i]),
        cart_filled=work.filled,
        cart_emptied=work.emptied,
        boiler_arrive=float(solution.arrive["boiler"][i]),
        boiler_depart=float(moment["boiler"][i]),
        drained=work.drained,
        uncoupled=work.uncoupled,
        fire=None if fire is None else fire.name,
        night_water=0.0 if fire is None else fire.water,
        night_coal=0.0 if fire is None else fire.coal,
        meals=tuple(rules.meals[k].name for k in work.meals),
        duties=tuple(rules.duties[k].name for k in work.duties),
        money=_money(solution, i),
    )


def _spare(scenario: Scenario, stops: tuple[Stop, ...], legs: tuple[Leg, ...]) -> list[float]:
    """How much further than each stop the leg to it could have led [m]."""
    reserve = scenario.file.reserve
    spare = [0.0]
    for stop, leg in zip(stops[1:], legs, strict=True):
        further = [
            (level - kept) * leg.length / used
            for level, kept, used in (
                (stop.tank_arrive, reserve.water, leg.water),
                (stop.bunker_arrive, reserve.coal, leg.coal),
            )
            if used > 0
        ]
        spare.append(max(min(further, default=0.0), 0.0))
    return spare


def _money(solution: Solution, i: int) -> float:
    """What is paid at a node where the train stands."""
    if not solution.stopped[i]:
        return 0.0
    money, offer, work = 0.0, solution.offers.get(i), solution.work[i]
    if offer is not None and (work.met or not offer.truck):
        money = offer.call_out + offer.coal_price * float(solution.take_coal[i])
        money += offer.water_price * (float(solution.take_water[i]) + work.filled)
    if work.fire is not None:
        money += solution.rules.halts[i].night_price
    return money


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


def _days(scenario: Scenario, demand: Demand, stops: tuple[Stop, ...]) -> tuple[Day, ...]:
    """Each day from lighting up to the last wheel turned."""
    hours = demand.hours
    days: list[Day] = []
    left, lead = stops[0].depart, demand.lead
    for stop in stops[1:]:
        if stop.fire is None and stop.kind != "finish":
            continue
        number = len(days)
        rise, sets = hours[min(number, len(hours) - 1)]
        days.append(
            Day(
                date=scenario.file.date + dt.timedelta(days=number),
                lit=left - lead,
                depart=left,
                arrive=stop.arrive,
                earliest=rise + _DAY * number,
                latest=sets + _DAY * number,
            )
        )
        left, lead = stop.depart, demand.leads[1 if stop.fire == "banked" else 0]
    return tuple(days)


def _crossings(
    scenario: Scenario, route: Route, demand: Demand, solution: Solution
) -> tuple[Crossing, ...]:
    gear = demand.geared(solution.gears)
    use = demand.evaluate(solution.aboard, gear)
    driven = np.concatenate([[0.0], np.cumsum(use.duration)])
    nodes = solution.chain.nodes
    crossings = []
    for passing in route.passings:
        if passing.kind != "bridge":
            continue
        sample = demand.index(passing.distance)
        before = [
            i
            for i, node in enumerate(nodes)
            if node.sample <= sample and not (node.sample == sample and node.kind == "finish")
        ]
        stood = sum(
            float(solution.stay[i]) + solution.work[i].gap + solution.work[i].access_time
            for i in before
        )
        here = before[-1]
        own = slice(nodes[here].sample, sample)
        levels = {store: float(level[here]) for store, level in solution.leave.items()}
        levels["coal"] -= float(use.coal[own].sum())
        levels["water"] -= float(use.water[own].sum())  # a bridge with a boiler is a node
        uncoupled = any(solution.work[i].uncoupled for i in before if nodes[i].passing == passing)
        what, figure = _posted(scenario, demand, passing.row, levels, uncoupled=uncoupled)
        crossings.append(
            Crossing(
                name=passing.label,
                row=passing.row,
                distance=passing.distance,
                clock=scenario.file.depart + float(driven[sample]) + stood,
                gross=figure,
                limit=scenario.bridges[passing.row].limit,
                what=what,
                uncoupled=uncoupled,
            )
        )
    return tuple(crossings)


def _posted(
    scenario: Scenario,
    demand: Demand,
    row: int,
    levels: dict[str, float],
    *,
    uncoupled: bool,
) -> tuple[str, float]:
    """What a bridge's post limits, and our figure for it."""
    kind = scenario.bridges[row].kind
    aboard = sum(levels.values())
    if kind == "gross" and not uncoupled:
        return "gross", demand.dry_weight + aboard
    carts = {store.name for store in scenario.stores if store.kind == "cart"}
    if kind == "gross":
        assert demand.engine_weight is not None
        alone = [("engine alone", demand.engine_weight + aboard - levels["cart"])]
        alone += [
            (f"{w.name} alone", w.tare + w.load + (levels["cart"] if w.name in carts else 0.0))
            for w in scenario.file.train.wagons
        ]
        return max(alone, key=lambda item: item[1])
    loads = [
        axle.dry
        + axle.water * levels["water"]
        + axle.coal * levels["coal"]
        + axle.cart * levels["cart"]
        + axle.boiler * levels["boiler"]
        for axle in demand.axles
    ]
    groups = [(i,) for i in range(len(loads))] if kind == "axle" else demand.tandems
    figures = [
        (" and ".join(demand.axles[i].name for i in group), sum(loads[i] for i in group))
        for group in groups
    ]
    return max(figures, key=lambda item: item[1], default=("no tandem", 0.0))


def _close_bridges(crossings: tuple[Crossing, ...]) -> list[str]:
    """Crossings at which our own reckoning comes near the posted figure."""
    return [
        f"{c.name}: our figure is {100 * c.gross / c.limit:.1f} % of the posted one; weigh "
        "engine and train, and ask the road authority"
        for c in crossings
        if c.gross > _NEAR * c.limit
    ]


#: What water that is not good does. Common practice, no source.
_WATERS: Final = {
    "hard": "it scales: ask the boiler's inspector or whoever treats its water",
    "muddy": "strained, it still leaves mud in the boiler: plan a washout, and ask its inspector",
    "alkaline": "it foams and lifts: have its treatment agreed with the boiler's inspector",
}


def _warnings(scenario: Scenario, stops: tuple[Stop, ...]) -> list[str]:
    """Supplies the plan leans on that nobody confirmed lately, or not good; a late arrival."""
    warnings = []
    oldest = dt.timedelta(seconds=scenario.file.stale_after)
    for stop in stops:
        if stop.row is None or stop.kind != "supply":
            continue
        quality = scenario.supplies[stop.row].quality
        if quality != "good" and stop.water_taken + stop.cart_filled > 0:
            warnings.append(f"{stop.name}: {quality} water; {_WATERS[quality]}")
        confirmed = scenario.supplies[stop.row].last_confirmed
        if confirmed is None:
            warnings.append(f"{stop.name}: never confirmed; ring before the day")
        elif scenario.file.date - confirmed > oldest:
            days = (scenario.file.date - confirmed).days
            warnings.append(
                f"{stop.name}: last confirmed {days} days before the run; ring before the day"
            )
    if stops[-1].arrive > _DAY * stops[-1].day:
        warnings.append(
            "the finish is reached after midnight; allow a night on the way in [nights]"
        )
    return warnings
