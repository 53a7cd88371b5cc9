"""The plan's stops driven again with a thirstier engine, and how far a dip still goes."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand, linearise
from haulplan.outputs.doing import stands
from haulplan.plan.plan import Plan, Stop
from haulplan.scenario import Scenario

__all__ = ["Reached", "Thirst", "drive_again", "reaches", "thirst_of"]

Array = NDArray[np.float64]
Gears = NDArray[np.int64]

#: Use changes a little with what is aboard; so many rounds leave far less than a gallon.
_ROUNDS = 5


@dataclass(frozen=True, kw_only=True)
class Reached:
    """A stop as the thirstier engine comes to it.

    `tank` is below zero where it would run dry before, at `dry_at` along the route.
    """

    arrive: float
    leave: float
    tank: float
    bunker: float
    dry_at: float | None


@dataclass(frozen=True, kw_only=True)
class Thirst:
    """A demand straightened at the plan's masses: base and slope of each segment.

    `distance` has shape (segments + 1,), the others (segments,).
    """

    distance: Array
    duration: Array
    water: Array
    water_slope: Array
    coal: Array
    coal_slope: Array
    aboard: Array


def _gears(demand: Demand, planned: Demand, plan: Plan) -> Gears:
    """The plan's gears and paces, wherever the demand leaves a choice."""
    names = [planned.gears[g] for g in planned.geared(plan.choices).tolist()]
    chosen = []
    for choice in demand.choices:
        at = planned.index(float(demand.distance[choice.first]))
        name = names[min(at, len(names) - 1)]
        like = [g for g in choice.gears if demand.gears[g] == name]
        chosen.append((like or list(choice.gears))[0])
    return demand.geared(tuple(chosen))


def drive_again(
    scenario: Scenario, demand: Demand, planned: Demand, plan: Plan
) -> tuple[Reached, ...]:
    """The plan's stops with another demand, the crew filling to the plan's own marks.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    demand
        The demand to drive with, usually a pessimistic one.
    planned
        The demand the plan was made with, whose gears and paces are kept where they can be.
    plan
        The plan. Nights begin the next day at the plan's own clock.

    Returns
    -------
    reached
        One for each of the plan's stops. A level below zero tells how much is wanting.
    """
    gear = _gears(demand, planned, plan)
    samples = [demand.index(stop.distance) for stop in plan.stops]
    aboard = np.full(demand.segments, max(plan.stops[0].tank_depart, 0.0))
    reached: tuple[Reached, ...] = ()
    for _ in range(_ROUNDS):
        use = demand.evaluate(np.maximum(aboard, 0.0), gear)
        water, coal, times = map(_running, (use.water, use.coal, use.duration))
        reached, left = _walk(scenario, demand, plan, samples, (water, coal, times))
        for begin, end, mass in zip(samples[:-1], samples[1:], left, strict=True):
            gone = water + coal
            aboard[begin:end] = mass - (gone[begin:end] - gone[begin])
    return reached


def _running(use: Array) -> Array:
    """The running total, nothing at the start."""
    return np.concatenate([[0.0], np.cumsum(use)])


def _walk(
    scenario: Scenario,
    demand: Demand,
    plan: Plan,
    samples: list[int],
    totals: tuple[Array, Array, Array],
) -> tuple[tuple[Reached, ...], list[float]]:
    """From stop to stop by running totals of use; and the mass aboard on leaving each."""
    water, coal, times = totals
    first = plan.stops[0]
    tank, bunker, clock = first.tank_depart, first.bunker_depart, first.depart
    reached = [
        Reached(arrive=first.arrive, leave=clock, tank=tank, bunker=bunker, dry_at=None),
    ]
    left = [tank + bunker + first.cart_depart + first.boiler_depart]
    boiler = first.boiler_depart
    for stop, begin, end in zip(plan.stops[1:], samples[:-1], samples[1:], strict=True):
        levels = tank + boiler - stop.boiler_arrive - (water[begin : end + 1] - water[begin])
        dry_at = _crossing_zero(demand.distance[begin : end + 1], levels)
        tank = float(levels[-1])
        bunker -= float(coal[end] - coal[begin])
        clock += float(times[end] - times[begin])
        arrive, here = clock, (tank, bunker)
        tank, bunker, more = _served(scenario, demand, stop, tank, bunker)
        clock = max(arrive, stop.arrive + stop.wait) + more
        clock += stop.depart - stop.arrive - stop.wait
        if stop.fire is not None:
            clock = stop.depart
        reached.append(
            Reached(arrive=arrive, leave=clock, tank=here[0], bunker=here[1], dry_at=dry_at)
        )
        left.append(max(tank, 0.0) + max(bunker, 0.0) + stop.cart_depart + stop.boiler_depart)
        boiler = stop.boiler_depart
    return tuple(reached), left[:-1]


def _crossing_zero(distance: Array, levels: Array) -> float | None:
    """Where a falling level reaches zero [m]."""
    below = np.flatnonzero(levels < 0.0)
    if below.size == 0 or below[0] == 0:
        return None if below.size == 0 else float(distance[0])
    k = int(below[0])
    share = levels[k - 1] / (levels[k - 1] - levels[k])
    return float(distance[k - 1] + share * (distance[k] - distance[k - 1]))


def _served(
    scenario: Scenario, demand: Demand, stop: Stop, tank: float, bunker: float
) -> tuple[float, float, float]:
    """Levels on leaving, filled to the plan's marks if the source can, and the time it adds."""
    more = 0.0
    left = []
    for name, arrive, planned, depart, taken in (
        ("water", tank, stop.tank_arrive, stop.tank_depart, stop.water_taken),
        ("coal", bunker, stop.bunker_arrive, stop.bunker_depart, stop.coal_taken),
    ):
        level = arrive + depart - planned
        if stands(stop) and taken > 0:
            most, rate = _source(scenario, demand, stop, name)
            extra = min(max(planned - arrive, -taken), most - taken)
            level += extra
            more += extra / rate if rate else 0.0
        left.append(level)
    return left[0], left[1], more


def _source(scenario: Scenario, demand: Demand, stop: Stop, name: str) -> tuple[float, float]:
    """The most a stop has of a thing [kg], and how fast it comes [kg s⁻¹]."""
    if stop.kind == "supply" and stop.row is not None:
        rate, most = 0.0, math.inf
        if stop.row < len(demand.serving):
            rate = getattr(demand.serving[stop.row], name) or 0.0
            most = demand.serving[stop.row].most if name == "water" else math.inf
        available = getattr(scenario.supplies[stop.row], f"{name}_available") or 0.0
        return min(available, most), rate
    if stop.truck is not None:
        truck = scenario.stores[stop.truck]
        return getattr(truck, name) * truck.loads, getattr(truck, f"{name}_rate") or 0.0
    return math.inf, 0.0


def thirst_of(demand: Demand, planned: Demand, plan: Plan) -> Thirst:
    """A demand as straight lines about the masses the plan has aboard.

    Parameters
    ----------
    demand
        What to straighten.
    planned
        The demand the plan was made with.
    plan
        The plan.

    Returns
    -------
    thirst
        For `reaches`.
    """
    gear = _gears(demand, planned, plan)
    at = [stop.distance for stop in plan.stops]
    mass = [s.tank_depart + s.bunker_depart + s.cart_depart + s.boiler_depart for s in plan.stops]
    leg = np.clip(np.searchsorted(at, demand.distance[:-1], "right") - 1, 0, len(at) - 2)
    used = np.array([leg.water + leg.coal for leg in plan.legs])
    length = np.maximum(np.diff(at), 1.0)
    driven = (demand.distance[:-1] - np.array(at)[leg]) / length[leg]
    aboard = np.maximum(np.array(mass)[leg] - driven * used[leg], 0.0)
    lines = linearise(demand, aboard, gear)
    return Thirst(
        distance=demand.distance,
        duration=lines.duration + lines.duration_slope * aboard,
        water=lines.water,
        water_slope=lines.water_slope,
        coal=lines.coal,
        coal_slope=lines.coal_slope,
        aboard=aboard,
    )


def reaches(
    thirst: Thirst, begin: float, tanks: Array, other: float, floor: float
) -> NDArray[np.float64]:
    """Where along the route the tank falls to a level, for several dips at one place.

    Parameters
    ----------
    thirst
        The demand.
    begin
        Distance along the route at which the tank is dipped. [m]
    tanks
        Dips, shape (marks,). [kg]
    other
        Coal, and water in boiler and cart, then aboard. [kg]
    floor
        The level asked for. [kg]

    Returns
    -------
    distance
        Along the route, shape (marks,); `begin` where a dip is at or below the level,
        infinite where the finish is reached above it. [m]

    Notes
    -----
    M_{k+1} = M_k − (w_k + c_k + (w'_k + c'_k) M_k) is solved with running products, so that
    every dip is followed over the road at once.
    """
    first = int(np.argmin(np.abs(thirst.distance - begin)))
    own = slice(first, None)
    slope = (thirst.water_slope + thirst.coal_slope)[own]
    base = (thirst.water + thirst.coal)[own]
    if base.size == 0:
        return np.full(tanks.shape, np.inf)
    product = np.cumprod(1.0 - slope)
    lost = np.cumsum(base / product)
    start = (tanks + other)[:, None]
    mass = np.concatenate([start, product[:-1] * (start - lost[:-1])], axis=1)
    gone = np.cumsum(thirst.water[own] + thirst.water_slope[own] * np.maximum(mass, 0.0), axis=1)
    level = np.concatenate([tanks[:, None], tanks[:, None] - gone], axis=1)
    below = level < floor
    hit = np.argmax(below, axis=1)
    distance = thirst.distance[first:]
    ends = np.full(tanks.shape, np.inf)
    for mark, k in enumerate(hit.tolist()):
        if not below[mark].any():
            continue
        if k == 0:
            ends[mark] = distance[0]
            continue
        above, under = level[mark, k - 1], level[mark, k]
        share = (above - floor) / (above - under)
        ends[mark] = distance[k - 1] + share * (distance[k] - distance[k - 1])
    return ends
