"""What is left of a run from a place on, and a road cut or turned round.

What is left is an ordinary run that begins today.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Begun, Choice, Demand, Use
from haulplan.demand.daylight import wheel_hours
from haulplan.route import Line, Route
from haulplan.scenario.schema import Levels, Store, Supply
from haulplan.underway.task import DAY, HERE, Reading, Task, day_of
from haulplan.units import UNIT_SYSTEMS

__all__ = ["Drawn", "hours_from", "remainder", "reverse", "stretch"]

Array = NDArray[np.float64]

#: Water and coal already drawn, by kind of source ("supply", "truck") and row. [kg]
Drawn = Mapping[tuple[str, int], tuple[float, float]]


def remainder(task: Task, sample: int, reading: Reading, drawn: Drawn, begun: Begun) -> Task:
    """What is left of a task from a sample on: an ordinary one that begins today.

    Parameters
    ----------
    task
        The whole.
    sample
        At which the engine stands.
    reading
        What it has then; its clock is the new departure.
    drawn
        What is gone from supplies and trucks.
    begun
        What of today lies behind.

    Returns
    -------
    task
        Distances count from the new start and clocks from today's midnight; its date is
        today's, its light and hours those of today and after, its nights those to come; a
        listed amount is what is left of it.
    """
    file, day = task.scenario.file, day_of(task, reading.clock)
    today = day * DAY
    at = float(task.route.distance[sample])
    hours = hours_from(task, day)
    depart = reading.clock - today
    latest = max(depart, hours[0][0])
    if sample == 0 and day == 0 and file.depart_by is not None:
        latest = max(latest, file.depart_by)
    name = next(
        (p.label for p in task.route.passings if abs(p.distance - at) <= HERE),
        file.start if sample == 0 else UNIT_SYSTEMS[file.units].distance.text(at),
    )
    left = file.model_copy(
        update={
            "start": name,
            "date": file.date + dt.timedelta(days=day),
            "depart": depart,
            "depart_by": latest if latest > depart else None,
            "nights": file.nights.model_copy(update={"most": max(file.nights.most - day, 0)}),
            "risk": None,
            "at_start": Levels.model_construct(
                water=min(reading.water, file.stores.tank),
                coal=min(reading.coal, file.stores.bunker),
            ),
        }
    )
    scenario = replace(
        task.scenario,
        file=left,
        supplies=_left_at(task.scenario.supplies, drawn),
        stores=_left_in(task.scenario.stores, reading, drawn),
        places=tuple(
            place if place.day is None else place.model_copy(update={"day": place.day - day})
            for place in task.scenario.places
        ),
    )
    route = stretch(task.route, sample, task.demand.segments)
    if reading.leaving:  # its call is made
        made = tuple(p for p in route.passings if p.kind != "place" or p.distance > HERE)
        route = replace(route, passings=made)
    cut = _cut(task.demand, sample)
    return Task(scenario=scenario, route=route, demand=replace(cut, hours=hours, begun=begun))


def hours_from(task: Task, day: int) -> tuple[tuple[float, float], ...]:
    """When wheels may turn from a day of the run on.

    Parameters
    ----------
    task
        The whole run.
    day
        The first being 0; one beyond the nights that the run may have has its light too.

    Returns
    -------
    hours
        First and last clock of each day, on its own clock. [s]
    """
    if day < len(task.demand.hours):
        return task.demand.hours[day:]
    file = task.scenario.file
    later = file.model_copy(
        update={
            "date": file.date + dt.timedelta(days=day),
            "nights": file.nights.model_copy(update={"most": 0}),
        }
    )
    return wheel_hours(replace(task.scenario, file=later), task.route)


def _left_at(supplies: tuple[Supply, ...], drawn: Drawn) -> tuple[Supply, ...]:
    return tuple(
        supply.model_copy(
            update={
                key: None if have is None else max(have - gone, 0.0)
                for key, have, gone in zip(
                    ("water_available", "coal_available"),
                    (supply.water_available, supply.coal_available),
                    drawn.get(("supply", row), (0.0, 0.0)),
                    strict=True,
                )
            }
        )
        for row, supply in enumerate(supplies)
    )


def _left_in(stores: tuple[Store, ...], reading: Reading, drawn: Drawn) -> tuple[Store, ...]:
    """Carts with what they hold, filled one after the other; trucks with what is left."""
    found, held = [], reading.cart or 0.0
    for row, store in enumerate(stores):
        if store.kind == "cart":
            level = min(held, store.water) if reading.cart is not None else store.at_start
            held -= level
            found.append(store.model_copy(update={"at_start": level}))
            continue
        water, coal = drawn.get(("truck", row), (0.0, 0.0))
        found.append(
            store.model_copy(
                update={
                    "water": max(store.water - water / store.loads, 0.0),
                    "coal": max(store.coal - coal / store.loads, 0.0),
                }
            )
        )
    return tuple(found)


def stretch(route: Route, first: int, last: int) -> Route:
    """A part of a road, distances from its own start; drawn only as the whole is.

    Parameters
    ----------
    route
        The whole.
    first, last
        Samples at which the part begins and ends.

    Returns
    -------
    route
        With the passings on it.
    """
    begin, end = float(route.distance[first]), float(route.distance[last])
    line = route.line
    if line is not None:
        line = replace(line, distance=line.distance - begin)
    return replace(
        route,
        distance=route.distance[first : last + 1] - begin,
        elevation=route.elevation[first : last + 1],
        surface=route.surface[first:last],
        speed_limit=route.speed_limit[first:last],
        line=line,
        passings=tuple(
            replace(p, distance=max(p.distance - begin, 0.0))
            for p in route.passings
            if begin - HERE <= p.distance <= end + HERE
        ),
        graph=nx.MultiDiGraph(),
        warnings=(),
    )


def _cut(demand: Demand, first: int) -> Demand:
    """A demand from a sample on; what lies before is evaluated and thrown away."""

    def evaluate(aboard: Array, gear: NDArray[np.int64]) -> Use:
        before = np.full(first, aboard[0] if aboard.size else 0.0)
        use = demand.evaluate(
            np.concatenate([before, aboard]), np.concatenate([demand.gear[:first], gear])
        )
        return Use(duration=use.duration[first:], water=use.water[first:], coal=use.coal[first:])

    return replace(
        demand,
        distance=demand.distance[first:] - demand.distance[first],
        gear=demand.gear[first:],
        choices=tuple(
            Choice(first=max(c.first - first, 0), last=c.last - first, gears=c.gears)
            for c in demand.choices
            if c.last > first
        ),
        heaviest=demand.heaviest[first:],
        evaluate=evaluate,
        points=tuple(point[first:] for point in demand.points),
        crests=tuple(
            replace(crest, distance=crest.distance - float(demand.distance[first]))
            for crest in demand.crests
            if crest.distance > float(demand.distance[first])
        ),
    )


def reverse(route: Route) -> Route:
    """The road driven the other way.

    Parameters
    ----------
    route
        As it is planned.

    Returns
    -------
    route
        Climbs are descents; every passing keeps its row.
    """
    length, line = route.length, route.line
    if line is not None:
        line = Line(
            latitude=line.latitude[::-1],
            longitude=line.longitude[::-1],
            distance=length - line.distance[::-1],
        )
    return replace(
        route,
        distance=length - route.distance[::-1],
        elevation=route.elevation[::-1],
        surface=route.surface[::-1],
        speed_limit=route.speed_limit[::-1],
        line=line,
        passings=tuple(replace(p, distance=length - p.distance) for p in route.passings[::-1]),
        graph=nx.MultiDiGraph(),
    )
