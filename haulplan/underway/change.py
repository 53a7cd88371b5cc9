"""What is otherwise than planned: shut stops, a closed road, the weather, the train, thirst."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand, Use, build_demand
from haulplan.demand.demand import no_way_back
from haulplan.errors import InputError, Problem
from haulplan.underway.task import Reading, Task, scaled

__all__ = ["Change", "Weather", "blocked_at", "changed", "check_change"]

Array = NDArray[np.float64]
Weather = Literal["dry", "wet", "mud", "frost"]


@dataclass(frozen=True, kw_only=True)
class Change:
    """What is otherwise than planned.

    `shut` holds rows of supply.csv, `dropped` names of wagons left behind; `closed` is a
    stretch of road from and to [m], `detour` the length of the way round it [m]; `water`
    and `coal` multiply what is reckoned.
    """

    shut: tuple[int, ...] = ()
    dropped: tuple[str, ...] = ()
    weather: Weather | None = None
    closed: tuple[float, float] | None = None
    detour: float | None = None
    water: float = 1.0
    coal: float = 1.0


def check_change(task: Task, reading: Reading, day: Change) -> None:
    """Refuse what a store cannot hold and a change that has nothing to work on.

    Parameters
    ----------
    task, reading, day
        What was asked.

    Raises
    ------
    InputError
        With everything wrong.
    """
    stores = task.scenario.file.stores
    problems = []
    for option, level, room, what in (
        ("--water", reading.water, stores.tank, "tank"),
        ("--coal", reading.coal, stores.bunker, "bunker"),
    ):
        if not 0.0 <= level <= room * 1.02:
            problems.append(
                Problem(
                    file=option,
                    where="",
                    found=f"more than the {what} holds" if level > 0 else "below nothing",
                    remedy=f"read again; stores.{what} states what can be used",
                )
            )
    if task.scenario.demand and (day.weather is not None or day.dropped):
        problems.append(
            Problem(
                file="demand.csv",
                where="",
                found="use is given for one train and one weather",
                remedy="leave out --weather and --drop, or say by how much with --thirst",
            )
        )
    names = [w.name for w in task.scenario.file.train.wagons]
    problems += [
        Problem(
            file="--drop",
            where="",
            found=f"no wagon '{name}'",
            remedy=f"the train has: {', '.join(names) or 'none'}",
        )
        for name in day.dropped
        if name not in names
    ]
    if problems:
        raise InputError(problems)


def changed(task: Task, day: Change) -> Task:
    """The task in today's weather, with today's train, road and thirst.

    Parameters
    ----------
    task
        As planned.
    day
        What is otherwise.

    Returns
    -------
    task
        As it is; shut stops are still on the road.
    """
    scenario, demand = task.scenario, task.demand
    if day.weather is not None or day.dropped:
        file = scenario.file
        conditions = file.conditions
        if day.weather is not None:
            conditions = conditions.model_copy(update={"weather": day.weather})
        wagons = tuple(w for w in file.train.wagons if w.name not in day.dropped)
        train = file.train.model_copy(update={"wagons": wagons})
        update = {"conditions": conditions, "train": train}
        scenario = replace(scenario, file=file.model_copy(update=update))
        demand = build_demand(scenario, task.route)
    if day.water != 1.0 or day.coal != 1.0:
        demand = scaled(demand, water=day.water, coal=day.coal)
    task = replace(task, scenario=scenario, demand=demand)
    return task if day.closed is None or day.detour is None else _round(task, day)


def _round(task: Task, day: Change) -> Task:
    """The task with a closed stretch driven round: its use in proportion to length.

    Hills of the way round are not known; what stands on the closed stretch is not met.
    """
    assert day.closed is not None
    assert day.detour is not None
    begin, end = day.closed
    inside = _inside(task.demand, begin, end)
    length = float(np.diff(task.demand.distance)[inside].sum())
    times = np.where(inside, day.detour / max(length, 1.0), 1.0)

    def evaluate(aboard: Array, gear: NDArray[np.int64]) -> Use:
        use = task.demand.evaluate(aboard, gear)
        return Use(duration=use.duration * times, water=use.water * times, coal=use.coal * times)

    passings = tuple(p for p in task.route.passings if not begin < p.distance < end)
    return replace(
        task,
        route=replace(task.route, passings=passings),
        demand=replace(task.demand, evaluate=evaluate, back=no_way_back),
    )


def _inside(demand: Demand, begin: float, end: float) -> NDArray[np.bool_]:
    middle = (demand.distance[:-1] + demand.distance[1:]) / 2
    inside: NDArray[np.bool_] = (middle >= begin) & (middle <= end)
    return inside


def blocked_at(task: Task, day: Change) -> int | None:
    """The sample at which the road is closed with no way round.

    Parameters
    ----------
    task
        The whole road.
    day
        What is otherwise.

    Returns
    -------
    sample
        None where the road is open, or a way round was given.
    """
    if day.closed is None or day.detour is not None:
        return None
    return int(np.searchsorted(task.demand.distance, day.closed[0]))
