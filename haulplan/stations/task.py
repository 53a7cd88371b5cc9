"""What the programme of stations is given: plain numbers, pessimistic use, limits.

`Task` knows nothing of files, units or classes, so that it can be put by hand, by a test or
by a bench as well as made from an event by `build_task`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from haulplan.stations.course import Course, Site
from haulplan.stations.fleet import Engine
from haulplan.stations.read import Event

__all__ = [
    "Drinker",
    "Place",
    "Task",
    "build_task",
    "factor_at",
    "pace_of",
    "passing_times",
    "start_of",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Place:
    """A site as the programme sees it.

    `rate` of each hose [kg s⁻¹], `water` in all [kg], `hoses`, `span` between the first
    and the last engine's passing [s], `places` at a lay-by. A place that is not a `station`
    is a rendezvous and is not counted.
    """

    name: str
    rate: float
    water: float = math.inf
    hoses: int = 1
    span: float = math.inf
    cost: float = 0.0
    water_price: float = 0.0
    status: str = "candidate"
    station: bool = True
    by_truck: bool = False
    places: int = 10_000


@dataclass(frozen=True, kw_only=True)
class Drinker:
    """An engine as the programme sees it: pessimistic figures, all in kg.

    `use` is used since its start on arrival at each visit, shape (visits,), and `total` at
    its finish; `may` says where it may be served; `wait` is drunk standing at each stop.
    """

    name: str
    tank: float
    at_start: float
    reserve: float
    use: Array
    total: float
    may: NDArray[np.bool_]
    wait: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Task:
    """Where stations are wanted: places, visits in driving order (numbers of places), engines.

    `stop` is what a stop takes besides pumping [s]; `longest_wait` bounds the queue by the
    rule of flow: a place's work may outlast its span by no more [s].
    """

    places: tuple[Place, ...]
    visits: tuple[int, ...]
    drinkers: tuple[Drinker, ...]
    stop: float = 0.0
    longest_wait: float = math.inf
    hoses: int | None = None
    rendezvous: int = 0
    truck_water: float = math.inf


def factor_at(event: Event, pessimism: float) -> float:
    """Factor on typical use that so many of a hundred engines stay under.

    Parameters
    ----------
    event
        With its spreads of day, engine and leg, taken as independent and lognormal.
    pessimism
        The chance. [-]

    Returns
    -------
    factor
        Not below 1. [-]
    """
    chances = event.file.chances
    spread = math.sqrt(chances.day**2 + chances.engine**2 + chances.leg**2)
    return max(math.exp(NormalDist().inv_cdf(pessimism) * spread), 1.0)


def pace_of(fleet: Sequence[Engine]) -> Array:
    """Speed each engine is held down to by the slowest that goes before it on its way.

    Who is passed while standing at a station may find a slower one ahead: that is for the
    reserve and the allowance to bear, and the days played show whether they do.

    Parameters
    ----------
    fleet
        In the order of slots.

    Returns
    -------
    pace
        Shape (engines,). [m s⁻¹]
    """
    return np.array(
        [
            min(
                ahead.speed
                for ahead in fleet[: number + 1]
                if ahead.joins < engine.leaves and engine.joins < ahead.leaves
            )
            for number, engine in enumerate(fleet)
        ]
    )


def passing_times(event: Event, fleet: Sequence[Engine], distances: Sequence[float]) -> Array:
    """When each engine would pass each distance if nobody stopped and nobody overtook.

    Parameters
    ----------
    event
        With start, stagger and gap.
    fleet
        In the order of slots.
    distances
        In driving order. [m]

    Returns
    -------
    times
        Shape (engines, distances), NaN where an engine is not on the way. [s]
    """
    rule = event.file.procession
    at = np.asarray(distances, dtype=np.float64)
    times = np.full((len(fleet), at.size), np.nan)
    last = np.full(at.size, -np.inf)
    for number, engine in enumerate(fleet):
        begin = start_of(event, engine)
        free = begin + (at - engine.joins) / engine.speed
        held = np.maximum(free, last + rule.gap / engine.speed)
        # Held up once, an engine stays as far behind its own time as it ever was.
        own = (at >= engine.joins - 1e-6) & (at <= engine.leaves + 1e-6)
        late = np.maximum.accumulate(np.where(own, held - free, 0.0))
        times[number, own] = (free + late)[own]
        last[own] = times[number, own]
    return times


def start_of(event: Event, engine: Engine) -> float:
    """When an engine is let go, or may join as its place in the line comes by.

    Parameters
    ----------
    event, engine
        With start, stagger and pace; slot and place of joining.

    Returns
    -------
    clock
        Since midnight. [s]
    """
    rule = event.file.procession
    return event.file.depart + rule.stagger * (engine.slot - 1) + engine.joins / rule.pace


def build_task(event: Event, course: Course, fleet: Sequence[Engine], factor: float) -> Task:
    """The numbers of an event, use raised by a factor.

    Parameters
    ----------
    event, course, fleet
        What was read, in the order of slots.
    factor
        On typical use. [-]

    Returns
    -------
    task
        For the programme.
    """
    service, chances = event.file.service, event.file.chances
    distances = [visit.distance for visit in course.visits]
    times = passing_times(event, fleet, distances)
    pace = pace_of(fleet)
    drinkers = []
    for engine, slow in zip(fleet, pace.tolist(), strict=True):
        late = engine.held * (1 / slow - 1 / engine.speed)

        def used(at: float, engine: Engine = engine, late: float = late) -> float:
            way = at - engine.joins
            return factor * (engine.used(at) - engine.used(engine.joins) + late * way)

        drinkers.append(
            Drinker(
                name=engine.name,
                tank=engine.tank,
                at_start=engine.at_start,
                reserve=chances.reserve * engine.tank,
                use=np.array([used(max(at, engine.joins)) for at in distances]),
                total=used(engine.leaves),
                may=np.array(
                    [_may(event, course.sites[v.site], engine, v.distance) for v in course.visits]
                ),
                wait=factor * engine.standing * service.allowance,
            )
        )
    return Task(
        places=tuple(
            _place(site, times[:, [v.site == number for v in course.visits]])
            for number, site in enumerate(course.sites)
        ),
        visits=tuple(visit.site for visit in course.visits),
        drinkers=tuple(drinkers),
        stop=service.position + service.connect + service.clear,
        longest_wait=service.longest_wait,
        hoses=service.hoses,
        rendezvous=service.rendezvous,
        truck_water=_truck_water(event, course, times),
    )


def _may(event: Event, site: Site, engine: Engine, at: float) -> bool:
    """Whether an engine may be served at a passing: on its way, side, width, weight, lifter."""
    rule, row = event.file.procession, site.row
    on_way = engine.joins < at < engine.leaves
    side = rule.cross_road or row.side in {"both", rule.keeps}
    narrow = row.widest is not None and engine.width is not None and engine.width > row.widest
    heavy = row.heaviest is not None and engine.weight is not None and engine.weight > row.heaviest
    dips = row.kind != "pond" or engine.lifts_water
    return on_way and side and dips and not narrow and not heavy and site.places > 0


def _place(site: Site, times: Array) -> Place:
    known = times[~np.isnan(times)]
    return Place(
        name=site.name,
        rate=site.rate,
        water=site.row.water,
        hoses=site.hoses,
        span=float(np.ptp(known)) if known.size else 0.0,
        cost=site.row.call_out,
        water_price=site.row.water_price,
        status=site.row.status,
        station=site.is_station,
        by_truck=site.by_truck,
        places=site.places,
    )


def _truck_water(event: Event, course: Course, times: Array) -> float:
    """The most that all trucks can bring while the procession passes [kg]."""
    if not event.trucks:  # nothing said of them: they are hired as the sites say
        return math.inf
    if np.isnan(times).all():
        return 0.0
    day = float(np.nanmax(times) - np.nanmin(times)) + event.file.service.longest_wait
    total = 0.0
    for truck in event.trucks:
        if truck.role == "station":
            sites = [site.distance for site in course.sites if site.by_truck]
            way = min((abs(at - truck.fill_at) for at in sites), default=0.0) + truck.fill_off
            turn = truck.volume * (1 / truck.fill_rate + 1 / truck.pump) + 2 * way / truck.speed
            total += truck.volume * (1 + day / turn)
    return total
