"""A plan in the pocket: its leg tables, and the sums a phone does with them.

Everything is in the reader's units, because the page does no conversions. The page's own
script does these same sums in the same order in the same double precision, so that its
figures are these to the last printed digit; a test holds the two together. Use is that of
the planned load: a tank a hundredth of the train's weight off plan shifts it by about as
much, far less than the thirst that the log's own dips show.
"""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand, build_demand
from haulplan.errors import NoPlanError
from haulplan.plan import Plan, Stop, Trace
from haulplan.underway.task import Task, reverse
from haulplan.units import UNIT_SYSTEMS

__all__ = [
    "LEAST",
    "MOST",
    "NEAR",
    "SHRINK",
    "Look",
    "Pocket",
    "PocketDay",
    "PocketStop",
    "PocketWater",
    "Row",
    "day_at",
    "make_pocket",
    "reckon",
]

Array = NDArray[np.float64]

#: Rows of the table lie no further apart than this. [m]
_APART: Final = 250.0
#: So near a place is at it, in the reader's distance. [mi or km]
NEAR: Final = 0.05
#: The day's thirst is believed as if this share of a tank had already been used as tabled:
#: haulplan's assumption, so that one short leg moves little.
SHRINK: Final = 0.5
#: A thirst beyond this is a slip of the pen. [-]
LEAST, MOST = 0.6, 1.8
_DAY: Final = 86400.0


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


@dataclass(frozen=True, kw_only=True)
class Look:
    """One look: where, when [s], the dip, the level after filling, bags burnt since."""

    at: float
    clock: float
    dip: float
    filled: float | None = None
    bags: float | None = None

    @property
    def level(self) -> float:
        """What the tank holds on leaving."""
        return self.dip if self.filled is None else self.filled


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


# --- the page's sums ------------------------------------------------------------------


def _at(pocket: Pocket, name: str, at: float) -> float:
    """A column of the table at a distance, straight between rows."""
    rows = pocket.rows
    if at <= rows[0].at:
        return float(getattr(rows[0], name))
    for before, after in pairwise(rows):
        if at <= after.at:
            share = (at - before.at) / (after.at - before.at)
            low, high = float(getattr(before, name)), float(getattr(after, name))
            return low + share * (high - low)
    return float(getattr(rows[-1], name))


def day_at(pocket: Pocket, at: float, hour: float) -> int:
    """The day of the run on which the plan passes a place nearest to a time of day.

    Parameters
    ----------
    pocket
        The plan's tables.
    at
        In the reader's distance.
    hour
        Since midnight. [s]

    Returns
    -------
    day
        The first being 0.
    """
    stop = next((s for s in pocket.stops[:-1] if abs(s.at - at) <= NEAR), None)
    arrive = _at(pocket, "clock", at)
    leave = arrive if stop is None else stop.leave
    best, least = 0, math.inf
    for day in range(len(pocket.days)):
        clock = hour + _DAY * day
        off = max(arrive - clock, clock - leave, 0.0)
        if off < least:
            best, least = day, off
    return best


def _day(pocket: Pocket, clock: float) -> int:
    """The day of the run that a clock is of."""
    return min(max(math.floor(clock / _DAY), 0), len(pocket.days) - 1)


def _hour(pocket: Pocket, clock: float) -> float:
    """The time of day; past midnight it runs on in a run of one day."""
    return clock - _DAY * _day(pocket, clock)


def _done(pocket: Pocket, stop: PocketStop, look: Look) -> bool:
    """Whether what the plan does at the stop where a look was taken is done."""
    if stop.fire != "":
        return _day(pocket, look.clock) > _day(pocket, stop.arrive)
    if stop.has_water:
        return look.filled is not None
    return look.clock - stop.arrive > stop.leave - look.clock


def _thirst(pocket: Pocket, looks: Sequence[Look]) -> float:
    """The day's use over the table's, drawn towards 1."""
    used = tabled = SHRINK * pocket.tank
    for before, after in pairwise(looks):
        gone = before.level - after.dip
        for stop in pocket.stops[:-1]:
            here = abs(stop.at - before.at) <= NEAR and not _done(pocket, stop, before)
            if here or before.at + NEAR < stop.at < after.at - NEAR:
                gone -= stop.burns
        if after.at - before.at > NEAR and gone > 0:
            used += gone
            tabled += _at(pocket, "water", after.at) - _at(pocket, "water", before.at)
    return min(max(used / tabled, LEAST), MOST)


def _burnt(pocket: Pocket, looks: Sequence[Look]) -> float:
    """Coal in the bags counted, below zero where none is."""
    bags, counted = 0.0, False
    for look in looks:
        if look.bags is not None:
            bags += look.bags
            counted = True
    return bags * pocket.bag if counted else -1.0


def _furthest(
    pocket: Pocket, thirst: float, here: tuple[float, float], keep: float, home: float | None
) -> float:
    """How far on the tank leaves `keep`; with `home`, having then driven back to it."""
    start, level = here
    begin = _at(pocket, "water", start)
    back = 0.0 if home is None else _at(pocket, "back", home)

    def spare(at: float) -> float:
        gone = _at(pocket, "water", at) - begin
        if home is not None:
            gone += _at(pocket, "back", at) - back
        return level - thirst * gone - keep

    low, left = start, spare(start)
    if left < 0:
        return -1.0
    for row in pocket.rows:
        if row.at <= start:
            continue
        after = spare(row.at)
        if after < 0:
            return low + (row.at - low) * left / (left - after)
        low, left = row.at, after
    return low


def reckon(
    pocket: Pocket, looks: Sequence[Look], dry: Sequence[str] = ()
) -> dict[str, float | str]:
    """Everything the page shows for a log.

    Parameters
    ----------
    pocket
        The plan's tables.
    looks
        In driving order; the last is now. At least one.
    dry
        Names of waters found dry.

    Returns
    -------
    figures
        By name, in the reader's units; a figure below zero where there is none.
    """
    look = looks[-1]
    thirst = _thirst(pocket, looks)
    stop = next((s for s in pocket.stops[:-1] if abs(s.at - look.at) <= NEAR), None)
    todo = stop is not None and not _done(pocket, stop, look)
    serves = stop is not None and todo and (stop.name not in dry or stop.fire != "")
    fills = stop is not None and todo and stop.has_water and stop.name not in dry
    fills = fills and look.filled is None
    mark = stop.mark if stop is not None and fills and stop.mark > look.dip else -1.0
    tank = mark if mark >= 0 else look.level
    held = tank - stop.burns if stop is not None and serves else tank
    here = (look.at, held)

    def there(at: float) -> tuple[float, float]:
        """Tank and clock on reaching a place ahead, having stood where the plan stands."""
        level, clock, place = held, look.clock, look.at
        if stop is not None and serves:
            clock = max(clock + stop.least, stop.opens)
        for one in pocket.stops[:-1]:
            water = one.has_water and one.name not in dry and one.fire == ""
            if look.at + NEAR < one.at < at - NEAR and not water:
                level = level - thirst * (
                    _at(pocket, "water", one.at) - _at(pocket, "water", place)
                )
                clock = clock + (_at(pocket, "time", one.at) - _at(pocket, "time", place))
                level = level - one.burns
                clock = max(clock + one.least, one.opens)
                place = one.at
        level = level - thirst * (_at(pocket, "water", at) - _at(pocket, "water", place))
        return level, clock + (_at(pocket, "time", at) - _at(pocket, "time", place))

    target = next(
        s for s in pocket.stops
        if s is pocket.stops[-1] or (s.at > look.at + NEAR and s.has_water and s.name not in dry)
    )  # fmt: skip
    level, clock = there(target.at)
    order, name, at = "GO ON to", target.name, target.at
    back = _back(pocket, thirst, look, tank, dry)
    closed = any(w.name == target.name and _hour(pocket, clock) > w.closes for w in pocket.waters)
    if level < pocket.reserve or closed:
        ahead = [
            w for w in pocket.waters
            if look.at + NEAR < w.at < target.at and w.name not in dry
            and _hour(pocket, there(w.at)[1]) <= w.closes
        ]  # fmt: skip
        kept = [w for w in ahead if there(w.at)[0] >= pocket.reserve]
        wet = [w for w in ahead if there(w.at)[0] >= 0]
        if kept:
            order, name, at = "GO ON, but fill at", kept[-1].name, kept[-1].at
        elif back is not None and back[2] >= pocket.reserve:
            order, name, at = "TURN BACK to", back[0], back[1]
        elif wet:
            order, name, at = "GO ON into the reserve to", wet[0].name, wet[0].at
        elif level >= 0 and not closed:
            order = "GO ON into the reserve to"
        elif back is not None and back[2] >= 0:
            order, name, at = "TURN BACK into the reserve to", back[0], back[1]
        else:
            order, name, at = "STAND, and have water brought", "", look.at
    ahead_of = order.startswith("GO ON")
    level, clock = there(at) if ahead_of else (-1.0, -1.0)
    if order.startswith("TURN BACK") and back is not None:
        level = back[2]
    day = pocket.days[_day(pocket, look.clock)]
    dark = -1.0
    if clock >= 0:
        dark = clock - pocket.days[_day(pocket, clock)].until
    begun = stop is not None and not todo
    return {
        "order": order,
        "name": name,
        "at": at,
        "level": level,
        "clock": clock,
        "thirst": thirst,
        "reach": _furthest(pocket, thirst, here, pocket.reserve, None),
        "empty": _furthest(pocket, thirst, here, 0.0, None),
        "home": "" if back is None else back[0],
        "last": -1.0 if back is None else _furthest(pocket, thirst, here, pocket.reserve, back[1]),
        "late": look.clock - (stop.leave if begun and stop else _at(pocket, "clock", look.at)),
        "off": look.dip - _at(pocket, "tank", look.at),
        "burnt": _burnt(pocket, looks),
        "burns": _at(pocket, "coal", look.at),
        "mark": mark,
        "coal": -1.0 if stop is None or stop.name in dry or stop.coal <= 0 else stop.coal,
        "day": float(_day(pocket, look.clock)),
        "until": day.until,
        "dark": dark,
        "leave": max(look.clock + stop.least, stop.opens) if stop is not None and todo else -1.0,
        "fire": stop.fire if stop is not None and todo else "",
        "doing": ", ".join(stop.doing) if stop is not None and todo else "",
    }


def _back(
    pocket: Pocket, thirst: float, look: Look, tank: float, dry: Sequence[str]
) -> tuple[str, float, float] | None:
    """The nearest water behind: name, place, and the tank on reaching it."""
    if not pocket.known_back:
        return None
    behind = [w for w in pocket.waters if w.at <= look.at - NEAR and w.name not in dry]
    behind = [w for w in behind if w.closes >= _DAY or _hour(pocket, look.clock) <= w.closes]
    if not behind:
        return None
    near = behind[-1]
    used = thirst * (_at(pocket, "back", look.at) - _at(pocket, "back", near.at))
    return near.name, near.at, tank - used
