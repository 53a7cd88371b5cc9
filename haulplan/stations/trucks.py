"""The trucks: which tank truck stands where and when, with its own fills and its weight.

Each truck place's water is cut into loads in the order it is wanted, none larger than the
smallest truck may bring there over the posted bridges. Data of load p: place, begin b_p and
end e_p of its service [s], water v_p [kg].

Variables: x_kp truck k begins its day with p; d_kpq, f_kpq it goes from p to q directly, or
by way of its fill point (each only where the time allows, slack included); l_p on board on
arrival; u_p load p is not served.

(1) Σ_k in_kp + u_p = 1, in_kp = x_kp + Σ_q (d_kqp + f_kqp);  Σ_p x_kp ≤ 1
(2) Σ_q (d_kpq + f_kpq) ≤ in_kp
(3) v_p (1 − u_p) ≤ l_p ≤ Σ (most that truck may have aboard on that way) · its arcs
(4) l_q ≤ l_p − v_p + (V + v_p) (1 − d_kpq), V the largest truck; the same for the way to
    the fill point, whose bridges bound what is still aboard
Least is wanted of water not served, then of money, then of metres driven.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product, zip_longest
from typing import Any, Final

import pulp

from haulplan.plan.run import run
from haulplan.stations.course import Course
from haulplan.stations.cover import weighted
from haulplan.stations.read import Event
from haulplan.stations.schema import TruckRow

__all__ = ["Load", "Rota", "Shift", "Way", "loads_of", "plan_trucks", "way_between"]

#: A truck is there so long before it is wanted. haulplan's assumption. [s]
_SLACK: Final = 300.0
#: Start and finish nearer than this make the course a ring for trucks. [m]
_RING: Final = 300.0
#: A place without wants for so long sends its truck away. haulplan's assumption. [s]
_LULL: Final = 2400.0


@dataclass(frozen=True, kw_only=True)
class Load:
    """One load of water wanted at a place, from the first engine served of it to the last."""

    place: int
    begin: float
    end: float
    water: float


@dataclass(frozen=True, kw_only=True)
class Way:
    """A way between two points of the course: length [m], least posted gross over it [kg]."""

    length: float
    limit: float
    bridges: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Shift:
    """One truck at one place: clocks [s], water on arrival and given [kg].

    `travel` includes `fill`, the filling on the way where it `refill`s; `gross` is the
    truck's weight as it sets out for the place, `limit` the least posted on its way [kg].
    """

    truck: int
    place: int
    arrive: float
    leave: float
    travel: float
    fill: float
    refill: bool
    load: float
    gives: float
    gross: float
    limit: float
    bridges: tuple[str, ...]
    metres: float


@dataclass(frozen=True, kw_only=True)
class Rota:
    """All shifts in order of truck and time, and loads no truck can serve."""

    shifts: tuple[Shift, ...]
    unmet: tuple[Load, ...]
    proven: bool


def way_between(course: Course, begin: float, end: float, off: float = 0.0) -> Way:
    """The way a truck takes along the course, the shorter way round where it is a ring.

    Parameters
    ----------
    course
        With posted bridges.
    begin, end
        Distances on one lap. [m]
    off
        Extra length off the course at one end. [m]

    Returns
    -------
    way
        Length and the least posted figure.
    """
    low, high = sorted((begin % course.route.length, end % course.route.length))
    inside = [(c, any(low < at < high for at in c.distances)) for c in course.crossings]
    length, over = high - low, True
    line = course.route.line
    if line is not None:
        a, b = line.position(0.0), line.position(course.route.length)
        apart = math.hypot(a[0] - b[0], (a[1] - b[1]) * math.cos(math.radians(a[0]))) * 111_195
        if apart < _RING and course.route.length - length < length:
            length, over = course.route.length - length, False
    met = [c for c, within in inside if within is over and c.row.limit is not None]
    return Way(
        length=length + off,
        limit=min((c.row.limit or math.inf for c in met), default=math.inf),
        bridges=tuple(c.row.name for c in met),
    )


def loads_of(
    event: Event, course: Course, wants: Mapping[int, Sequence[tuple[float, float, float]]]
) -> tuple[Load, ...]:
    """The water wanted at truck places, cut into loads.

    Parameters
    ----------
    event, course
        With the trucks and the posted bridges.
    wants
        By place: begin, end [s] and water [kg] of each service.

    Returns
    -------
    loads
        In the order of their begin.
    """
    found = []
    for place, services in wants.items():
        most = min(
            (_most(course, t, t.fill_at, place, t.fill_off) for t in event.trucks
             if t.role == "station"),
            default=0.0,
        )  # fmt: skip
        held: list[tuple[float, float, float]] = []
        for service in sorted(services):
            water = sum(w for _, _, w in held) + service[2]
            if held and (water > most or service[0] - held[-1][1] > _LULL):
                found.append(_load(place, held))
                held = []
            held.append(service)
        if held:
            found.append(_load(place, held))
    return tuple(sorted(found, key=lambda load: (load.begin, load.place)))


def _load(place: int, held: Sequence[tuple[float, float, float]]) -> Load:
    return Load(
        place=place,
        begin=held[0][0],
        end=max(end for _, end, _ in held),
        water=sum(water for _, _, water in held),
    )


def _most(course: Course, truck: TruckRow, begin: float, place: int, off: float = 0.0) -> float:
    """Most water a truck may have aboard on its way to a place [kg]."""
    way = way_between(course, begin, course.sites[place].distance, off)
    return min(truck.volume, max(way.limit - truck.tare, 0.0))


@dataclass(frozen=True, kw_only=True)
class _Arc:
    """A truck's way to load `q` from load `p` (None: from its base).

    `most` it may arrive with, `parting` with as it leaves the place before [kg].
    """

    truck: int
    p: int | None
    q: int
    refill: bool
    way: Way
    travel: float
    fill: float
    most: float
    parting: float


def plan_trucks(
    event: Event, course: Course, loads: Sequence[Load], *, deadline: float | None = None
) -> Rota:
    """Send trucks to loads.

    Parameters
    ----------
    event, course
        With the trucks and the posted bridges.
    loads
        What is wanted.
    deadline
        When to be done, by `time.monotonic`. [s]

    Returns
    -------
    rota
        Shifts, and what cannot be served.
    """
    arcs = _arcs(event, course, loads)
    if not loads:
        return Rota(shifts=(), unmet=(), proven=True)
    problem = pulp.LpProblem("trucks", pulp.LpMinimize)
    use = [problem.add_variable(f"x_{n:05d}", 0, 1, "Integer") for n in range(len(arcs))]
    unmet = [problem.add_variable(f"u_{p:03d}", 0, 1, "Integer") for p in range(len(loads))]
    largest = max((t.volume for t in event.trucks), default=1.0)
    aboard = [problem.add_variable(f"l_{p:03d}", 0, largest) for p in range(len(loads))]
    for p, load in enumerate(loads):
        into = [n for n, arc in enumerate(arcs) if arc.q == p]
        problem += pulp.lpSum([use[n] for n in into]) + unmet[p] == 1
        problem += aboard[p] >= load.water - load.water * unmet[p]
        problem += aboard[p] <= pulp.lpSum([arcs[n].most * use[n] for n in into])
        for k in range(len(event.trucks)):
            out = [use[n] for n, arc in enumerate(arcs) if arc.p == p and arc.truck == k]
            own = [use[n] for n in into if arcs[n].truck == k]
            if out:
                problem += pulp.lpSum(out) <= pulp.lpSum(own)
        for n, arc in enumerate(arcs):
            if arc.p != p:
                continue
            if not arc.refill:
                loose = largest + load.water
                problem += aboard[arc.q] <= aboard[p] - load.water + loose * (1 - use[n])
            if arc.parting < largest:
                problem += aboard[p] - load.water <= arc.parting + largest * (1 - use[n])
    for k in range(len(event.trucks)):
        first = [use[n] for n, arc in enumerate(arcs) if arc.p is None and arc.truck == k]
        if first:
            problem += pulp.lpSum(first) <= 1
    costs = [event.trucks[arc.truck].cost if arc.p is None else 0.0 for arc in arcs]
    dear = 10.0 + sum(costs)
    problem.setObjective(
        weighted(
            [(u, dear * load.water) for u, load in zip(unmet, loads, strict=True)]
            + [
                (x, cost + arc.way.length * 1e-5 + (1.0 if arc.p is None else 0.0))
                for x, cost, arc in zip(use, costs, arcs, strict=True)
            ]
        )
    )
    outcome = run(_Held(problem=problem), deadline, gap=1e-4)
    taken = [arc for arc, x in zip(arcs, use, strict=True) if x.varValue > 0.5]
    return Rota(
        shifts=_shifts(event, loads, taken),
        unmet=tuple(load for load, u in zip(loads, unmet, strict=True) if u.varValue > 0.5),
        proven=outcome.proven,
    )


@dataclass(frozen=True, kw_only=True)
class _Held:
    problem: Any


def _arcs(event: Event, course: Course, loads: Sequence[Load]) -> list[_Arc]:
    """Every way that time allows."""
    found = []
    for k, truck in enumerate(event.trucks):
        if truck.role != "station":
            continue
        for q, load in enumerate(loads):
            at = course.sites[load.place].distance
            way = way_between(course, truck.base, at)
            if truck.ready + way.length / truck.speed + truck.set_up + _SLACK <= load.begin:
                found.append(_arc(truck, k, None, q, way, way, 0.0, way, refill=True))
        for (p, before), (q, load) in product(enumerate(loads), repeat=2):
            if p == q or before.end > load.begin:
                continue
            here, there = (course.sites[x.place].distance for x in (before, load))
            direct = way_between(course, here, there)
            found.append(_arc(truck, k, p, q, direct, direct, 0.0, direct, refill=False))
            back = way_between(course, here, truck.fill_at, truck.fill_off)
            out = way_between(course, truck.fill_at, there, truck.fill_off)
            whole = Way(length=back.length + out.length, limit=out.limit, bridges=out.bridges)
            fill = truck.volume / truck.fill_rate + truck.set_up
            found.append(_arc(truck, k, p, q, whole, out, fill, back, refill=True))
    return [
        arc for arc in found
        if arc.p is None
        or loads[arc.p].end + arc.travel + event.trucks[arc.truck].set_up + _SLACK
        <= loads[arc.q].begin
    ]  # fmt: skip


def _arc(
    truck: TruckRow, k: int, p: int | None, q: int, whole: Way, last: Way, fill: float,
    first: Way, *, refill: bool,
) -> _Arc:  # fmt: skip
    return _Arc(
        truck=k, p=p, q=q, refill=refill,
        way=Way(length=whole.length, limit=last.limit, bridges=last.bridges),
        travel=whole.length / truck.speed + fill,
        fill=fill,
        most=min(truck.volume, max(last.limit - truck.tare, 0.0)),
        parting=min(truck.volume, max(first.limit - truck.tare, 0.0)),
    )  # fmt: skip


def _shifts(event: Event, loads: Sequence[Load], taken: Sequence[_Arc]) -> tuple[Shift, ...]:
    """The arcs of each truck as shifts, as full as bridges let them set out."""
    shifts = []
    for k, truck in enumerate(event.trucks):
        own = {arc.p: arc for arc in taken if arc.truck == k}
        chain: list[_Arc] = []
        while (at := chain[-1].q if chain else None) in own:
            chain.append(own[at])
        levels: list[float] = []
        for arc, after in reversed(list(zip_longest(chain, chain[1:]))):
            gives, most = loads[arc.q].water, arc.most
            if after is not None:
                most = min(most, after.parting + gives)
                most = most if after.refill else min(most, levels[-1] + gives)
            levels.append(most)
        level = 0.0
        for arc, most in zip(chain, reversed(levels), strict=True):
            load = loads[arc.q]
            level = most if arc.refill else level
            shifts.append(
                Shift(
                    truck=k, place=load.place, arrive=load.begin - _SLACK, leave=load.end,
                    travel=arc.travel, fill=arc.fill, refill=arc.refill, load=level,
                    gives=load.water, gross=truck.tare + level, limit=arc.way.limit,
                    bridges=arc.way.bridges, metres=arc.way.length,
                )
            )  # fmt: skip
            level -= load.water
    return tuple(shifts)
