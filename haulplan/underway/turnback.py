"""Turn back to water that is behind: whether it can be reached, and the last place to decide."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from haulplan.demand import Begun, Demand, build_demand
from haulplan.errors import NoPlanError
from haulplan.route.turned import reverse, stretch
from haulplan.underway.overrun import ON
from haulplan.underway.rest import hours_from
from haulplan.underway.task import DAY, HERE, Reading, Task, day_of, drive

__all__ = ["Return", "find_returns"]

#: So many supplies behind are looked at, the nearest first.
_MOST = 6


@dataclass(frozen=True, kw_only=True)
class Return:
    """Going back from where the engine is to one supply behind it.

    `water` and `coal` are what is left on reaching it when turned at once; `last` is the
    furthest place along the road from which it is still reached with the reserve kept,
    `bottom` with the tank or bunker then empty; None where even turning at once is too
    late [m], [kg], [s]. `crew` is by how much the crew is over its hours on reaching it, and
    `light` how long after wheels must stop that is, 0 where they are kept [s].
    """

    row: int
    name: str
    distance: float
    water: float
    coal: float
    arrive: float
    open: bool
    last: float | None
    bottom: float | None
    crew: float = 0.0
    light: float = 0.0


def find_returns(
    task: Task,
    here: int,
    reading: Reading,
    shut: Collection[int],
    *,
    reach: int | None = None,
    begun: Begun | None = None,
) -> tuple[Return, ...]:
    """Every way back to water behind, the nearest first.

    Parameters
    ----------
    task
        The whole road, as the day is.
    here
        Sample at which the engine stands.
    reading
        What it has.
    shut
        Rows of supplies at which there is nothing.
    reach
        Sample beyond which nobody can drive on, the finish where None.
    begun
        What of the day lies behind; the crew's hours are left out of account where None.

    Returns
    -------
    returns
        Empty where the way back is not known: measured use holds one way only, or no gear
        takes the train back up a hill.
    """
    behind = [
        p
        for p in task.route.passings
        if p.kind == "supply"
        and p.distance <= float(task.route.distance[here]) + HERE
        and p.row not in shut
        and (task.scenario.supplies[p.row].water_available or 0.0) > 0.0
    ][::-1][:_MOST]
    if not behind or task.scenario.demand:
        return ()
    end = task.demand.segments if reach is None else reach
    ahead = drive(task.demand, here, end, reading.aboard, task.demand.gear)
    dry = np.flatnonzero((ahead.water > reading.water) | (ahead.coal > reading.coal))
    furthest = here + (int(dry[0]) if dry.size else end - here)
    first = task.route.index(behind[-1].distance)
    back = _back(task, first, furthest)
    if back is None:
        return ()
    found: list[Return] = []
    for passing in behind:
        if passing.row in [one.row for one in found]:
            continue
        way = _Way(
            task=task, back=back, here=here, reading=reading, furthest=furthest,
            to=task.route.index(passing.distance), ahead_water=ahead.water.tolist(),
            ahead_coal=ahead.coal.tolist(),
        )  # fmt: skip
        found.append(_return(task, way, passing.row, passing.label, begun))
    return tuple(found)


def _back(task: Task, first: int, last: int) -> Demand | None:
    """Demand of the road in reverse from sample `last` to sample `first`."""
    try:
        return build_demand(task.scenario, reverse(stretch(task.route, first, last)))
    except NoPlanError:
        return None


@dataclass(frozen=True, kw_only=True)
class _Way:
    """Going on from `here` to a sample, turning there, and back to sample `to`."""

    task: Task
    back: Demand
    here: int
    reading: Reading
    furthest: int
    to: int
    ahead_water: list[float]
    ahead_coal: list[float]

    def left(self, turn: int) -> tuple[float, float, float]:
        """Water and coal on reaching the supply, and the time back [kg], [kg], [s]."""
        water = self.reading.water - self.ahead_water[turn - self.here]
        coal = self.reading.coal - self.ahead_coal[turn - self.here]
        begin, cart = self.furthest - turn, self.reading.cart or 0.0
        driven = drive(
            self.back, begin, self.furthest - self.to, max(water + coal + cart, 0.0),
            self.back.gear,
        )  # fmt: skip
        if np.any(driven.aboard[:-1] > self.back.heaviest[begin : self.furthest - self.to]):
            return -np.inf, -np.inf, np.inf
        return (
            water - float(driven.water[-1]),
            coal - float(driven.coal[-1]),
            float(driven.duration[-1]),
        )

    def last(self, water: float, coal: float) -> float | None:
        """The furthest turning place that leaves so much; levels only fall with it."""

        def holds(turn: int) -> bool:
            left = self.left(turn)
            return left[0] >= water and left[1] >= coal

        if not holds(self.here):
            return None
        low, high = self.here, self.furthest
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if holds(middle) else (low, middle - 1)
        return float(self.task.route.distance[low])


def _return(task: Task, way: _Way, row: int, name: str, begun: Begun | None) -> Return:
    file, supply = task.scenario.file, task.scenario.supplies[row]
    water, coal, took = way.left(way.here)
    arrive = way.reading.clock + took
    today = day_of(task, way.reading.clock) * DAY
    crew, light = _past(task, way.reading, took, begun)
    return Return(
        row=row,
        name=name,
        distance=float(task.route.distance[way.to]),
        water=water,
        coal=coal,
        arrive=arrive,
        open=supply.closes >= DAY or arrive + supply.set_up <= supply.closes + today,
        last=way.last(file.reserve.water, file.reserve.coal),
        bottom=way.last(0.0, 0.0),
        crew=crew,
        light=light,
    )


def _past(task: Task, reading: Reading, took: float, begun: Begun | None) -> tuple[float, float]:
    """How long the crew is over its hours after so long, and wheels turn past theirs [s]."""
    day, most = day_of(task, reading.clock), task.scenario.file.hours.crew
    on_duty = None if begun is None or most is None else begun.on_duty + took - most
    stop = hours_from(task, day)[0][1]
    bound = len(task.demand.hours) > 1 or stop < DAY
    late = reading.clock + took - day * DAY - stop if bound else 0.0
    crew, light = (
        by if by is not None and np.isfinite(took) and by > ON else 0.0 for by in (on_duty, late)
    )
    return crew, light
