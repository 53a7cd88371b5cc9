"""A plan in the pocket: its tables, in the reader's units, because the page does no conversions.

Use is that of the planned load: a tank a hundredth of the train's weight off plan shifts it
by about as much, far less than the thirst that the log's own dips show.
"""

import datetime as dt
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand, build_demand
from haulplan.errors import NoPlanError
from haulplan.plan import Plan, Stop, Trace
from haulplan.route.turned import reverse
from haulplan.underway.task import Task
from haulplan.units import UNIT_SYSTEMS

__all__ = [
    "Pocket",
    "PocketDay",
    "PocketStop",
    "PocketWater",
    "Row",
    "make_pocket",
]

Array = NDArray[np.float64]

#: Rows of the table lie no further apart than this. [m]
_APART: Final = 250.0


@dataclass(frozen=True, kw_only=True)
class Row:
    """A place of the road: sums from the start in driving on, and in driving back to it.

    `water`, `coal`, `time` [s] are used from the start to here without stops; `back` is the
    water used in driving the same road back to the start; `tank` and `clock` [s] are the
    plan's. A stop has two rows, on arriving and on leaving; what it takes to stand is in
    neither sum.
    """

    at: float
    water: float
    coal: float
    time: float
    back: float
    tank: float
    clock: float


@dataclass(frozen=True, kw_only=True)
class PocketStop:
    """A stop of the plan, or its finish: the mark to fill to and the coal to take.

    `arrive` and `leave` are the plan's; who comes late stands at least `least` and does not
    leave before `opens`, in the morning or when a wait is over [s]. `burns` is what the
    tank loses meanwhile, a night counted; `fire` is how it is kept then, "" for no night.
    """

    name: str
    at: float
    mark: float
    coal: float
    has_water: bool
    arrive: float
    leave: float
    least: float
    opens: float
    burns: float
    fire: str
    doing: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PocketWater:
    """A listed water, planned or not; hours in seconds of the day."""

    name: str
    at: float
    opens: float
    closes: float


@dataclass(frozen=True, kw_only=True)
class PocketDay:
    """A day of the run; until when wheels may turn, by the run's clock [s]."""

    date: dt.date
    until: float


@dataclass(frozen=True, kw_only=True)
class Pocket:
    """What a phone is given. `known_back` is False where the way back is not reckoned.

    `bag` is what a bag of coal holds.
    """

    title: str
    days: tuple[PocketDay, ...]
    tank: float
    reserve: float
    bag: float
    known_back: bool
    rows: tuple[Row, ...]
    stops: tuple[PocketStop, ...]
    waters: tuple[PocketWater, ...]


def make_pocket(task: Task, plan: Plan, trace: Trace) -> Pocket:
    """The tables of a plan for a phone.

    Parameters
    ----------
    task
        The run.
    plan, trace
        Its plan and the levels along it.

    Returns
    -------
    pocket
        In the scenario's units.
    """
    scenario, route, demand = task.scenario, task.route, task.demand
    system = UNIT_SYSTEMS[scenario.file.units]
    road, water, coal = system.distance.value, system.water.value, system.coal.value
    marks = _marks(task, plan)
    sums = _sums(demand, plan, trace)
    back = _sums_back(task)
    distance = np.array(trace.distance)
    rows = tuple(
        Row(
            at=road(at),
            water=water(float(sums[0][k])),
            coal=coal(float(sums[1][k])),
            time=float(sums[2][k]),
            back=0.0 if back is None else water(float(back[k])),
            tank=water(trace.tank[i]),
            clock=trace.clock[i],
        )
        for at in marks
        for k in (demand.index(at),)
        for i in sorted(
            {
                int(np.searchsorted(distance, at - 1e-6)),
                int(np.searchsorted(distance, at + 1e-6)) - 1,
            }
        )
    )
    return Pocket(
        title=scenario.file.title,
        days=tuple(PocketDay(date=day.date, until=day.latest) for day in plan.days),
        tank=water(scenario.file.stores.tank),
        reserve=water(scenario.file.reserve.water),
        bag=25.0 if system.name == "metric" else 50.0,
        known_back=back is not None,
        rows=rows,
        stops=tuple(_stop(task, stop) for stop in plan.stops[1:]),
        waters=tuple(
            PocketWater(
                name=p.label,
                at=road(p.distance),
                opens=scenario.supplies[p.row].opens,
                closes=scenario.supplies[p.row].closes,
            )
            for p in route.passings
            if p.kind == "supply" and _has_water(task, p.row)
        ),
    )


def _stop(task: Task, stop: Stop) -> PocketStop:
    system = UNIT_SYSTEMS[task.scenario.file.units]
    truck = None if stop.truck is None else task.scenario.stores[stop.truck]
    served = stop.kind == "supply" and stop.row is not None and _has_water(task, stop.row)
    least = stop.depart - stop.arrive - stop.wait
    if stop.fire is not None:
        lead = task.demand.leads[1 if stop.fire == "banked" else 0]
        least += task.scenario.file.hours.rest + lead - stop.night
    full = stop.tank_arrive + stop.water_taken + stop.cart_emptied
    return PocketStop(
        name=stop.name,
        at=system.distance.value(stop.distance),
        mark=system.water.value(full),
        coal=system.coal.value(stop.coal_taken),
        has_water=stop.kind == "finish" or served or (truck is not None and truck.water > 0),
        arrive=stop.arrive,
        leave=stop.depart,
        least=least,
        opens=stop.depart if stop.fire is not None or stop.wait > 0 else 0.0,
        burns=system.water.value(max(full - stop.tank_depart, 0.0)),
        fire=stop.fire or "",
        doing=(*stop.meals, *stop.duties),
    )


def _has_water(task: Task, row: int) -> bool:
    return (task.scenario.supplies[row].water_available or 0.0) > 0.0


def _marks(task: Task, plan: Plan) -> list[float]:
    """Distances of the table: places, stops, and the road between them cut short."""
    route = task.route
    fixed = {0.0, route.length, *(p.distance for p in route.passings)}
    fixed |= {stop.distance for stop in plan.stops}
    marks = sorted({float(task.demand.distance[task.demand.index(d)]) for d in fixed})
    cut = [marks[0]]
    for mark in marks[1:]:
        pieces = max(math.ceil((mark - cut[-1]) / _APART), 1)
        between = np.linspace(cut[-1], mark, pieces + 1)[1:-1].tolist()
        samples = {float(task.demand.distance[task.demand.index(d)]) for d in between}
        cut += sorted(d for d in samples if cut[-1] < d < mark)
        cut.append(mark)
    return cut


def _sums(demand: Demand, plan: Plan, trace: Trace) -> tuple[Array, Array, Array]:
    """Use from the start to each sample at the planned load, without standing."""
    distance = np.array(trace.distance)
    aboard = np.array([trace.tank, trace.bunker, trace.cart, trace.boiler]).sum(axis=0)
    # On leaving a sample: the last row of the trace that stands there.
    last = np.searchsorted(distance, demand.distance[:-1] + 1e-6) - 1
    use = demand.evaluate(aboard[np.maximum(last, 0)], demand.geared(plan.choices))

    def summed(values: Array) -> Array:
        return np.concatenate([[0.0], np.cumsum(values)])

    return summed(use.water), summed(use.coal), summed(use.duration)


def _sums_back(task: Task) -> Array | None:
    """Water from each sample back to the start, half full; None where not reckoned."""
    if task.scenario.demand:
        return None
    try:
        demand = build_demand(task.scenario, reverse(task.route))
    except NoPlanError:
        return None
    stores = task.scenario.file.stores
    half = (stores.tank + stores.bunker) / 2
    use = demand.evaluate(np.full(demand.segments, half), demand.gear)
    return np.concatenate([[0.0], np.cumsum(use.water[::-1])])
