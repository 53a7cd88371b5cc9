"""What is left of a run from a place on.

What is left is an ordinary run that begins today.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace

from haulplan.demand import Begun
from haulplan.demand.daylight import wheel_hours
from haulplan.demand.parts import cut
from haulplan.route.turned import stretch
from haulplan.scenario.schema import Levels, Store, Supply
from haulplan.underway.task import DAY, HERE, Reading, Task, day_of
from haulplan.units import UNIT_SYSTEMS

__all__ = ["Drawn", "hours_from", "remainder"]

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
    demand = replace(cut(task.demand, sample, task.demand.segments), hours=hours, begun=begun)
    return Task(scenario=scenario, route=route, demand=demand)


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
