"""Drive a plan over the full model and check every limit, without the optimiser.

Nothing here knows of legs, straight lines or solvers: the train goes from stop to stop,
each segment taking what the demand says at the mass then aboard. A plan that breaks a
limit by more than a millionth of its range is not handed out.
"""

import math

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand
from haulplan.errors import InternalError
from haulplan.plan.plan import Plan, Stop, Trace
from haulplan.route import Route
from haulplan.scenario import Scenario

__all__ = ["replay"]

Array = NDArray[np.float64]

#: A limit may be broken by this share of its range: arithmetic, not water.
_TOLERANCE = 1e-6
#: The plan's own levels may differ from the driven ones by this share of the store.
_AGREEMENT = 1e-3
_DAY = 86400.0


class _Train:
    """What is aboard, where and when; and what went wrong so far."""

    def __init__(self, scenario: Scenario, plan: Plan) -> None:
        stores = scenario.file.stores
        self.tank, self.bunker = plan.stops[0].tank_arrive, plan.stops[0].bunker_arrive
        self.clock = plan.stops[0].depart
        self.sample = 0
        self.room_tank, self.room_bunker = stores.tank, stores.bunker
        self.broken: list[str] = []
        self.crossed: list[tuple[float, float]] = []
        self.trace: list[tuple[float, float, float, float]] = []

    def note(self, distance: float) -> None:
        """Add the present state to the trace."""
        self.trace.append((distance, self.tank, self.bunker, self.clock))

    def check(self, what: str, excess: float, scale: float) -> None:
        """Note a limit broken by `excess` if that is more than rounding."""
        if not excess <= _TOLERANCE * max(scale, 1e-3):
            self.broken.append(f"{what} by {excess:.6g}")


def replay(scenario: Scenario, route: Route, demand: Demand, plan: Plan) -> Trace:
    """Prove a plan by driving it.

    Parameters
    ----------
    scenario, route, demand
        The problem the plan is for.
    plan
        What is to be proved.

    Returns
    -------
    trace
        Levels and clock at every sample; at a stop on arrival and on leaving.

    Raises
    ------
    InternalError
        If any limit is broken, or the plan's own figures are not the driven ones.
    """
    _check_finite(plan)
    train = _Train(scenario, plan)
    gear = demand.geared(plan.choices)
    taken: dict[tuple[int, str], float] = {}
    _check_start(scenario, train, plan)
    for stop in plan.stops:
        if stop.kind != "start":
            _drive(route, demand, scenario, train, gear, demand.index(stop.distance))
            _check_arrival(scenario, train, stop)
        train.note(stop.distance)
        if stop.row is not None:
            _check_place(route, train, stop)
            _take(scenario, demand, train, stop, taken)
            train.note(stop.distance)
    _check_crossings(demand, train, plan)
    if train.sample != demand.segments:
        train.broken.append("the plan ends before the finish")
    if train.broken:
        raise InternalError(
            "the plan did not survive its replay and was not written: "
            + "; ".join(train.broken)
            + ". Please report the scenario"
        )
    distance, tank, bunker, clock = (tuple(c) for c in zip(*train.trace, strict=True))
    return Trace(distance=distance, tank=tank, bunker=bunker, clock=clock)


def _check_finite(plan: Plan) -> None:
    """Refuse a plan with a figure that is no number: nothing could be driven by it."""
    for stop in plan.stops:
        figures = [v for v in vars(stop).values() if isinstance(v, float)]
        if not all(math.isfinite(figure) for figure in figures):
            raise InternalError(f"a figure of the plan at {stop.name} is not a number")


def _check_start(scenario: Scenario, train: _Train, plan: Plan) -> None:
    file = scenario.file
    train.check(
        "water at the start",
        abs(train.tank - min(file.at_start.water, train.room_tank)),
        train.room_tank,
    )
    train.check(
        "coal at the start",
        abs(train.bunker - min(file.at_start.coal, train.room_bunker)),
        train.room_bunker,
    )
    train.check("the departure", abs(plan.stops[0].depart - file.depart), _DAY)


def _drive(
    route: Route,
    demand: Demand,
    scenario: Scenario,
    train: _Train,
    gear: NDArray[np.int64],
    to: int,
) -> None:
    """Take the train on to sample `to`, each segment at the mass then aboard."""
    first = train.sample
    if to <= first:
        return
    start = train.tank + train.bunker
    aboard = np.full(demand.segments, start)
    gone = np.zeros(to - first)
    while True:  # a segment's mass depends only on those before it, so this ends
        use = demand.evaluate(aboard, gear)
        water, coal = use.water[first:to], use.coal[first:to]
        before = gone
        gone = np.cumsum(water + coal)
        aboard[first + 1 : to] = start - gone[:-1]
        if np.max(np.abs(gone - before)) <= 1e-10 * max(start, 1.0):
            break
    if min(float(water.min()), float(coal.min())) < 0:
        train.broken.append("a segment gives water or coal back")
    _check_masses(route, demand, scenario, train, aboard, first, to)
    steps = zip(
        demand.distance[first + 1 : to + 1].tolist(),
        np.cumsum(water).tolist(),
        np.cumsum(coal).tolist(),
        np.cumsum(use.duration[first:to]).tolist(),
        strict=True,
    )
    tank, bunker, clock = train.tank, train.bunker, train.clock
    for distance, used_water, used_coal, took in steps:
        train.tank, train.bunker = tank - used_water, bunker - used_coal
        train.clock = clock + took
        train.note(distance)
    train.trace.pop()
    train.sample = to


def _check_masses(
    route: Route,
    demand: Demand,
    scenario: Scenario,
    train: _Train,
    aboard: Array,
    first: int,
    to: int,
) -> None:
    """Bridges and hills between two stops, with what is aboard there."""
    over = aboard[first:to] - demand.heaviest[first:to]
    if over.size:
        train.check("a hill's load", float(over.max()), train.room_tank)
    for passing in route.passings:
        sample = demand.index(passing.distance)
        at_finish = sample == to == demand.segments
        if passing.kind == "bridge" and (first <= sample < to or at_finish):
            limit = scenario.bridges[passing.row].limit * (1.0 - scenario.file.bridge_margin)
            mass = float(aboard[min(sample, demand.segments - 1)])
            train.check(passing.label, demand.dry_weight + mass - limit, limit)
            train.crossed.append((passing.distance, mass))


def _check_arrival(scenario: Scenario, train: _Train, stop: Stop) -> None:
    file = scenario.file
    least_water, least_coal = file.reserve.water, file.reserve.coal
    if stop.kind == "finish":
        least_water = max(least_water, min(file.at_finish.water, train.room_tank))
        least_coal = max(least_coal, min(file.at_finish.coal, train.room_bunker))
    train.check(f"water at {stop.name}", least_water - train.tank, train.room_tank)
    train.check(f"coal at {stop.name}", least_coal - train.bunker, train.room_bunker)
    for what, driven, planned, room in (
        ("tank", train.tank, stop.tank_arrive, train.room_tank),
        ("bunker", train.bunker, stop.bunker_arrive, train.room_bunker),
        ("clock", train.clock, stop.arrive, _DAY),
    ):
        if not abs(driven - planned) <= _AGREEMENT * max(room, 1e-3):
            train.broken.append(
                f"{what} at {stop.name} is {driven:.6g}, the plan says {planned:.6g}"
            )


def _check_crossings(demand: Demand, train: _Train, plan: Plan) -> None:
    """The weights the plan prints beside posted figures must be the driven ones."""
    if len(plan.crossings) != len(train.crossed):
        train.broken.append("the plan's crossings are not the road's")
    for crossing, (_, aboard) in zip(plan.crossings, train.crossed, strict=False):
        off = abs(crossing.gross - demand.dry_weight - aboard)
        if not off <= _AGREEMENT * max(train.room_tank + train.room_bunker, 1e-3):
            train.broken.append(f"the weight at {crossing.name} is off by {off:.6g}")


def _check_place(route: Route, train: _Train, stop: Stop) -> None:
    """The supply stopped at must stand where the plan stops."""
    places = [p.distance for p in route.passings if p.kind == "supply" and p.row == stop.row]
    off = min((abs(at - stop.distance) for at in places), default=np.inf)
    train.check(f"the place of {stop.name}", float(off), 1.0)


def _take(
    scenario: Scenario,
    demand: Demand,
    train: _Train,
    stop: Stop,
    taken: dict[tuple[int, str], float],
) -> None:
    """Stand, take water and coal, and leave; check room, source, rate and hours."""
    assert stop.row is not None
    supply = scenario.supplies[stop.row]
    stay = stop.depart - stop.arrive
    needed = [0.0]
    for what, amount, available, rate, level, room in (
        (
            "water",
            stop.water_taken,
            supply.water_available,
            supply.water_rate,
            train.tank,
            train.room_tank,
        ),
        (
            "coal",
            stop.coal_taken,
            supply.coal_available,
            supply.coal_rate,
            train.bunker,
            train.room_bunker,
        ),
    ):
        so_far = taken.get((stop.row, what), 0.0) + amount
        taken[stop.row, what] = so_far
        train.check(f"{what} to be had at {stop.name}", so_far - (available or 0.0), room)
        train.check(f"room for {what} at {stop.name}", level + amount - room, room)
        train.check(f"{what} taken at {stop.name}", -amount, room)
        needed.append(amount / (rate or 1.0))
    begin = train.clock + stop.wait
    train.check(f"time at {stop.name}", supply.set_up + max(needed) - (stay - stop.wait), _DAY)
    train.check(
        f"idle standing at {stop.name}", stay - stop.wait - supply.set_up - sum(needed), _DAY
    )
    train.check(f"wait at {stop.name}", -stop.wait, _DAY)
    train.check(f"opening of {stop.name}", supply.opens - begin, _DAY)
    if supply.closes < _DAY:
        train.check(f"closing of {stop.name}", train.clock + stay - supply.closes, _DAY)
    money = supply.call_out
    money += supply.water_price * stop.water_taken + supply.coal_price * stop.coal_taken
    train.check(f"money at {stop.name}", abs(money - stop.money), max(money, 1.0))
    train.tank += stop.water_taken - demand.standing_water * stay
    train.bunker += stop.coal_taken - demand.standing_coal * stay
    train.clock += stay
    train.check(
        f"water on leaving {stop.name}", scenario.file.reserve.water - train.tank, train.room_tank
    )
    train.check(
        f"coal on leaving {stop.name}", scenario.file.reserve.coal - train.bunker, train.room_bunker
    )
