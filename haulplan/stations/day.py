"""The day played through, event by event: road, queues, water, trucks, a roving truck.

It shares no arithmetic with the programme: levels fall with the use of each piece of road
and of each minute stood, engines hold each other up, hoses are taken by the least reach,
and what comes out is compared with what was planned.
"""

import math
from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from haulplan.stations.choose import Choice, Given
from haulplan.stations.course import Course
from haulplan.stations.fleet import Engine
from haulplan.stations.queue import Yard
from haulplan.stations.read import Event
from haulplan.stations.schema import TruckRow
from haulplan.stations.task import start_of
from haulplan.stations.trucks import Shift

if TYPE_CHECKING:
    import simpy

__all__ = ["Day", "EngineDay", "Factors", "Halt", "play_day"]

Steps = Generator["simpy.Event", Any, None]
#: A crew stops unplanned where it reckons to reach the next with less than this of its
#: reserve, and calls the roving truck when it is down to that: it drinks on while it waits.
#: haulplan's assumption. [-]
_UNEASY: Final = 0.5
#: What a roving truck gives at a call, of the tank. haulplan's assumption. [-]
_GIFT: Final = 0.3
#: Calls on one piece of road, beyond which an engine is past helping.
_MOST_CALLS: Final = 8
#: How often a truck that should leave looks whether it may, and an engine at a dry hose
#: whether a truck has come; how long the engine does so. haulplan's assumption. [s]
_LOOK: Final = 60.0
_PATIENCE: Final = 1200.0


@dataclass(frozen=True, kw_only=True)
class Factors:
    """Factors on typical use: of each engine all day, and the spread of each leg's own [-]."""

    engines: Sequence[float]
    leg: float = 0.0
    draw: np.random.Generator | None = None

    def of_leg(self) -> float:
        """The factor of one engine on one piece of road."""
        if self.draw is None or not self.leg:
            return 1.0
        return math.exp(self.draw.normal(0.0, self.leg))


@dataclass(frozen=True, kw_only=True)
class Halt:
    """One stop as it was: clocks [s], levels and takes [kg]; `planned` or of the crew's own."""

    engine: int
    visit: int
    place: int
    arrive: float
    begin: float
    leave: float
    level: float
    take: float
    planned: bool

    @property
    def wait(self) -> float:
        """Time before a hose was free [s]."""
        return self.begin - self.arrive


@dataclass(frozen=True, kw_only=True)
class EngineDay:
    """How one engine fared: its lowest level [kg] and where [m], finish, calls, dry or not."""

    lowest: float
    where: float
    finish: float
    calls: int
    dry: bool


@dataclass(frozen=True, kw_only=True)
class Day:
    """One day: engines in the order of the fleet, halts, and the crowd at each place."""

    engines: tuple[EngineDay, ...]
    halts: tuple[Halt, ...]
    crowds: Mapping[int, Sequence[tuple[float, int]]]


def play_day(
    event: Event,
    course: Course,
    fleet: Sequence[Engine],
    choice: Choice,
    factors: Factors,
    *,
    shifts: Sequence[Shift] | None = None,
    coal: Mapping[tuple[int, int], int] | None = None,
) -> Day:
    """Play one day.

    Parameters
    ----------
    event, course, fleet
        What was read.
    choice
        Stations, stops and marks.
    factors
        How thirsty the day and the engines are.
    shifts
        What the trucks do; None where their places never run out.
    coal
        Bags to be thrown up by engine and visit.

    Returns
    -------
    day
        What happened.
    """
    play = _Play(event, course, fleet, choice, factors, shifts, coal or {})
    return play.run()


@dataclass
class _Aboard:
    """One engine's state as the day goes."""

    level: float
    lowest: float
    where: float
    calls: int = 0
    dry: bool = False
    finish: float = math.nan

    def drink(self, amount: float, at: float) -> None:
        self.level -= amount
        if self.level < self.lowest:
            self.lowest, self.where = self.level, at
        if self.level <= 0:
            self.dry, self.level = True, 0.0


class _Play:
    """One day's simulation."""

    def __init__(
        self,
        event: Event,
        course: Course,
        fleet: Sequence[Engine],
        choice: Choice,
        factors: Factors,
        shifts: Sequence[Shift] | None,
        coal: Mapping[tuple[int, int], int],
    ) -> None:
        import simpy  # noqa: PLC0415  only simulations need it

        self.event, self.course, self.fleet = event, course, fleet
        self.choice, self.factors, self.coal = choice, factors, coal
        self.env = simpy.Environment()
        self.open = set(choice.open)
        self.visits = [v for v, visit in enumerate(course.visits) if visit.site in self.open]
        bounds = {course.visits[v].distance for v in self.visits}
        bounds |= {at for engine in fleet for at in (engine.joins, engine.leaves)}
        self.bounds = sorted(bounds)
        self.last_out = dict.fromkeys(self.bounds, -math.inf)
        self.yards = {s: Yard(env=self.env, hoses=course.sites[s].hoses) for s in choice.open}
        self.left = {s: course.sites[s].row.water for s in choice.open}
        self.tanks = {
            s: simpy.Container(self.env)
            for s in choice.open
            if shifts is not None and course.sites[s].by_truck
        }
        self.shifts = shifts or ()
        self.aboard = [_Aboard(level=e.at_start, lowest=e.at_start, where=e.joins) for e in fleet]
        self.halts: list[Halt] = []
        self.rover = _Rover(event, self.env)

    def run(self) -> Day:
        going = [self.env.process(self._go(e)) for e in range(len(self.fleet))]
        for truck in {shift.truck for shift in self.shifts}:
            own = [shift for shift in self.shifts if shift.truck == truck]
            self.env.process(self._serve(self.event.trucks[truck], own))
        self.env.run(until=self.env.all_of(going))
        return Day(
            engines=tuple(
                EngineDay(lowest=a.lowest, where=a.where, finish=a.finish, calls=a.calls, dry=a.dry)
                for a in self.aboard
            ),
            halts=tuple(self.halts),
            crowds={s: tuple(yard.crowd) for s, yard in self.yards.items()},
        )

    def _go(self, e: int) -> Steps:
        """One engine's day."""
        engine, aboard = self.fleet[e], self.aboard[e]
        planned = {given.visit: given for given in self.choice.stops[e]}
        yield self.env.timeout(max(start_of(self.event, engine), 0.0))
        stops = [b for b in self.bounds if engine.joins <= b <= engine.leaves]
        at = {self.course.visits[v].distance: [] for v in self.visits}  # type: dict[float, list[int]]
        for v in self.visits:
            at[self.course.visits[v].distance].append(v)
        for begin, end in pairwise(stops):
            yield from self._drive(e, begin, end)
            if end >= engine.leaves:
                break
            for v in at.get(end, ()):
                if self._passes(e, v, planned.get(v)):
                    continue
                if v in planned or self._uneasy(e, v, planned):
                    yield from self._halt(e, v, planned.get(v))
        aboard.finish = float(self.env.now)

    def _drive(self, e: int, begin: float, end: float) -> Steps:
        """One piece of road, behind whoever went in before."""
        engine, aboard = self.fleet[e], self.aboard[e]
        factor = self.factors.engines[e] * self.factors.of_leg()
        now = float(self.env.now)
        free = (end - begin) / engine.speed
        gap = self.event.file.procession.gap / engine.speed
        out = max(now + free, self.last_out[end] + gap)
        use = factor * (engine.used(end) - engine.used(begin) + engine.held * (out - now - free))
        call = _UNEASY * self.event.file.chances.reserve * engine.tank
        for _ in range(_MOST_CALLS if self.rover.truck is not None else 0):
            if aboard.level - use >= call or aboard.dry:
                break
            share = min(max((aboard.level - call) / use, 0.0), 1.0)
            begin += share * (end - begin)
            yield self.env.timeout(share * (out - float(self.env.now)))
            aboard.drink(share * use, begin)
            yield from self._call(e, begin)
            use, free = (1 - share) * use, (1 - share) * free
            out = max(float(self.env.now) + free, self.last_out[end] + gap)
        self.last_out[end] = out
        yield self.env.timeout(out - float(self.env.now))
        aboard.drink(use, end)

    def _call(self, e: int, spot: float) -> Steps:
        """Stand at the roadside until the roving truck has come and given."""
        engine, aboard = self.fleet[e], self.aboard[e]
        aboard.calls += 1
        begin = float(self.env.now)
        yield from self.rover.come(spot, _GIFT * engine.tank)
        stood = float(self.env.now) - begin
        aboard.drink(self.factors.engines[e] * engine.standing * stood, spot)
        aboard.level = min(aboard.level + self.rover.gave, engine.tank)

    def _passes(self, e: int, v: int, given: Given | None) -> bool:
        """Whether an engine has its mark in the tank already and no coal to take."""
        return given is not None and self.aboard[e].level >= given.mark and (e, v) not in self.coal

    def _uneasy(self, e: int, v: int, planned: Mapping[int, Given]) -> bool:
        """Whether a crew passing by reckons, by its own dips, not to reach its next stop well."""
        engine = self.fleet[e]
        row = self.course.sites[self.course.visits[v].site].row
        if row.kind == "pond" and not engine.lifts_water:
            return False
        here = self.course.visits[v].distance
        ahead = [self.course.visits[u].distance for u in planned if u > v]
        goal = min(ahead, default=engine.leaves)
        need = self.factors.engines[e] * (engine.used(goal) - engine.used(here))
        reserve = self.event.file.chances.reserve * engine.tank
        return self.aboard[e].level - need < _UNEASY * reserve

    def _halt(self, e: int, v: int, given: Given | None) -> Steps:
        """One stop: queue, hose, water and coal, clear."""
        engine, aboard, service = self.fleet[e], self.aboard[e], self.event.file.service
        visit = self.course.visits[v]
        site, yard = self.course.sites[visit.site], self.yards[visit.site]
        thirst = self.factors.engines[e] * engine.standing
        arrive, level = float(self.env.now), aboard.level
        yard.come()
        per_metre = engine.used(engine.leaves) / max(engine.leaves, 1.0)
        with yard.hose(level / max(per_metre, 1e-9)) as request:
            yield request
            begin = float(self.env.now)
            yield self.env.timeout(service.position + service.connect)
            mark = engine.tank if given is None else given.mark
            stood = thirst * (float(self.env.now) - arrive)
            take = min(max(mark - aboard.level + stood, 0.0), self.left[visit.site])
            if visit.site in self.tanks:
                take = yield from self._draw(self.tanks[visit.site], take)
            self.left[visit.site] -= take
            bags = self.coal.get((e, v), 0) * service.bag_time
            yield self.env.timeout(max(take / site.rate, bags))
            aboard.drink(thirst * (float(self.env.now) - arrive), visit.distance)
            aboard.level = min(aboard.level + take, engine.tank)
            yield self.env.timeout(service.clear)
            aboard.drink(thirst * service.clear, visit.distance)
        yard.go()
        self.halts.append(
            Halt(
                engine=e, visit=v, place=visit.site, arrive=arrive, begin=begin,
                leave=float(self.env.now), level=level, take=take, planned=given is not None,
            )
        )  # fmt: skip

    def _draw(self, tank: Any, wanted: float) -> Generator["simpy.Event", Any, float]:  # noqa: ANN401  a simpy container
        """Take water a truck has brought; wait a while for the next where it is not enough."""
        got, late = 0.0, float(self.env.now) + _PATIENCE
        while wanted - got > 1e-6:
            gulp = min(wanted - got, float(tank.level))
            if gulp > 0:
                yield tank.get(gulp)
                got += gulp
            elif float(self.env.now) >= late:
                break
            else:
                yield self.env.timeout(_LOOK)
        return got

    def _serve(self, truck: TruckRow, shifts: Sequence[Shift]) -> Steps:
        """One truck's day: its shifts in order, late where an earlier one was."""
        load = 0.0
        for shift in sorted(shifts, key=lambda shift: shift.arrive):
            if shift.refill:
                load = shift.load
            ready = float(self.env.now) + shift.travel
            yield self.env.timeout(max(shift.arrive, ready) - float(self.env.now))
            tank, yard = self.tanks[shift.place], self.yards[shift.place]
            if load > 0:
                yield tank.put(load)
            while float(self.env.now) < shift.leave or (yard.present and tank.level > 1e-6):
                yield self.env.timeout(max(shift.leave - float(self.env.now), _LOOK))
                if float(self.env.now) > shift.leave + 4 * 3600:
                    break
            load = min(float(tank.level), truck.volume)
            if load > 0:
                yield tank.get(load)


class _Rover:
    """The roving truck: goes to whoever calls, one at a time, and refills when empty."""

    def __init__(self, event: Event, env: "simpy.Environment") -> None:
        import simpy  # noqa: PLC0415  only simulations need it

        self.env = env
        self.truck = next((t for t in event.trucks if t.role == "roving"), None)
        self.free = simpy.Resource(env)
        self.gave = 0.0
        if self.truck is not None:
            self.at, self.load = self.truck.base, self.truck.volume

    def come(self, spot: float, wanted: float) -> Steps:
        """Drive to a spot and give what is wanted, by way of the fill point if need be."""
        truck = self.truck
        assert truck is not None
        with self.free.request() as request:
            yield request
            way = abs(spot - self.at)
            if self.load < wanted:
                way = abs(truck.fill_at - self.at) + 2 * truck.fill_off
                way += abs(spot - truck.fill_at)
                yield self.env.timeout((truck.volume - self.load) / truck.fill_rate)
                self.load = truck.volume
            gift = min(wanted, self.load)
            yield self.env.timeout(way / truck.speed + truck.set_up + gift / truck.pump)
            self.at, self.load, self.gave = spot, self.load - gift, gift
