"""A plan in the pocket: its leg tables, and the sums a phone does with them.

Everything is in the reader's units, because the page does no conversions. The page's own
script does these same sums in the same order in the same double precision, so that its
figures are these to the last printed digit; a test holds the two together. Use is that of
the planned load: a tank a hundredth of the train's weight off plan shifts it by about as
much, far less than the thirst that the log's own dips show.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand, build_demand
from haulplan.errors import NoPlanError
from haulplan.plan import Plan, Trace
from haulplan.route.turned import reverse
from haulplan.underway.task import Task
from haulplan.units import UNIT_SYSTEMS

__all__ = [
    "LEAST",
    "MOST",
    "NEAR",
    "SHRINK",
    "Look",
    "Pocket",
    "PocketStop",
    "PocketWater",
    "Row",
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
    plan's on arriving.
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
    """A stop of the plan, or its finish: the mark to fill to and the coal to take."""

    name: str
    at: float
    mark: float
    coal: float
    has_water: bool
    arrive: float


@dataclass(frozen=True, kw_only=True)
class PocketWater:
    """A listed water, planned or not; hours in seconds of the day."""

    name: str
    at: float
    opens: float
    closes: float


@dataclass(frozen=True, kw_only=True)
class Pocket:
    """What a phone is given. `known_back` is False where the way back is not reckoned.

    `bag` is what a bag of coal holds.
    """

    title: str
    date: str
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
    first = np.array([int(np.searchsorted(np.array(trace.distance), d - 1e-6)) for d in marks])
    samples = [demand.index(d) for d in marks]
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
        for at, k, i in zip(marks, samples, first.tolist(), strict=True)
    )
    return Pocket(
        title=scenario.file.title,
        date=scenario.file.date.isoformat(),
        tank=water(scenario.file.stores.tank),
        reserve=water(scenario.file.reserve.water),
        bag=25.0 if system.name == "metric" else 50.0,
        known_back=back is not None,
        rows=rows,
        stops=tuple(
            PocketStop(
                name=stop.name,
                at=road(stop.distance),
                mark=water(stop.tank_arrive + stop.water_taken),
                coal=coal(stop.coal_taken),
                has_water=stop.kind == "finish"
                or (stop.row is not None and _has_water(task, stop.row)),
                arrive=stop.arrive,
            )
            for stop in plan.stops[1:]
        ),
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
    aboard = np.array(trace.tank) + np.array(trace.bunker)
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


def _thirst(pocket: Pocket, looks: Sequence[Look]) -> float:
    """The day's use over the table's, drawn towards 1."""
    used = tabled = SHRINK * pocket.tank
    for before, after in pairwise(looks):
        if after.at - before.at > NEAR and before.level - after.dip > 0:
            used += before.level - after.dip
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
    fills = stop is not None and stop.has_water and stop.name not in dry and look.filled is None
    mark = stop.mark if stop is not None and fills and stop.mark > look.dip else -1.0
    tank = mark if mark >= 0 else look.level
    here = (look.at, tank)
    begin, time = _at(pocket, "water", look.at), _at(pocket, "time", look.at)

    def there(at: float) -> tuple[float, float]:
        """Tank and clock on reaching a place ahead."""
        level = tank - thirst * (_at(pocket, "water", at) - begin)
        return level, look.clock + (_at(pocket, "time", at) - time)

    target = next(
        s for s in pocket.stops
        if s is pocket.stops[-1] or (s.at > look.at + NEAR and s.has_water and s.name not in dry)
    )  # fmt: skip
    level, clock = there(target.at)
    order, name, at = "GO ON to", target.name, target.at
    back = _back(pocket, thirst, look, tank, dry)
    closed = any(w.name == target.name and clock > w.closes for w in pocket.waters)
    if level < pocket.reserve or closed:
        ahead = [
            w for w in pocket.waters
            if look.at + NEAR < w.at < target.at and w.name not in dry
            and there(w.at)[1] <= w.closes
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
        "late": look.clock - _at(pocket, "clock", look.at),
        "off": look.dip - _at(pocket, "tank", look.at),
        "burnt": _burnt(pocket, looks),
        "burns": _at(pocket, "coal", look.at),
        "mark": mark,
        "coal": -1.0 if stop is None or stop.name in dry or stop.coal <= 0 else stop.coal,
    }


def _back(
    pocket: Pocket, thirst: float, look: Look, tank: float, dry: Sequence[str]
) -> tuple[str, float, float] | None:
    """The nearest water behind: name, place, and the tank on reaching it."""
    if not pocket.known_back:
        return None
    behind = [w for w in pocket.waters if w.at <= look.at - NEAR and w.name not in dry]
    behind = [w for w in behind if w.closes >= _DAY or look.clock <= w.closes]
    if not behind:
        return None
    near = behind[-1]
    used = thirst * (_at(pocket, "back", look.at) - _at(pocket, "back", near.at))
    return near.name, near.at, tank - used
