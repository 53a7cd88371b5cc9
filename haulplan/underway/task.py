"""What is to be hauled where, and what a crew reads on the way.

Everything here is a pure function from one task to another; the planner, the demand and
the replay see an ordinary scenario, road and demand.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand, Use, build_demand
from haulplan.demand.demand import no_way_back
from haulplan.errors import InputError, Problem
from haulplan.plan import Plan
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Place
from haulplan.units import UNIT_SYSTEMS

__all__ = [
    "DAY",
    "HERE",
    "Driven",
    "Reading",
    "Task",
    "as_planned",
    "day_of",
    "drive",
    "reserved",
    "scaled",
    "standing_at",
]

Array = NDArray[np.float64]

#: Name of the sample put into a road of measured use; nobody is shown it.
_MARK = "where the engine is"
#: A place so close is where the engine stands. [m]
HERE = 0.5
#: One day. [s]
DAY = 86400.0


@dataclass(frozen=True, kw_only=True)
class Task:
    """A scenario with its road and its demand."""

    scenario: Scenario
    route: Route
    demand: Demand


@dataclass(frozen=True, kw_only=True)
class Reading:
    """Where the engine is, when, and what the dip and the bunker say [m], [s], [kg].

    `clock` counts from midnight of the run's first date. `cart` is what the towed water
    carts hold, the plan's where None. `leaving` tells that what the plan does at this place
    is done.
    """

    distance: float
    clock: float
    water: float
    coal: float
    cart: float | None = None
    leaving: bool = False

    @property
    def aboard(self) -> float:
        """Everything consumable [kg]."""
        return self.water + self.coal + (self.cart or 0.0)


@dataclass(frozen=True, kw_only=True)
class Driven:
    """Use summed up sample by sample from where driving began, first entry 0."""

    water: Array
    coal: Array
    duration: Array
    aboard: Array


def as_planned(task: Task, plan: Plan) -> Task:
    """The task with a plan's gears, and the reserve it was made with, as its own.

    Parameters
    ----------
    task
        The run.
    plan
        Its plan; where it kept a chance of running dry, that raised the reserve.

    Returns
    -------
    task
        A later plan may choose other gears. It keeps that reserve and looks at no chance.
    """
    task = reserved(task, plan.reserve_water, plan.reserve_coal)
    return replace(task, demand=replace(task.demand, gear=task.demand.geared(plan.choices)))


def reserved(task: Task, water: float, coal: float) -> Task:
    """The task with the reserve that its plan was made with.

    Parameters
    ----------
    task
        The run.
    water, coal
        The reserve of the plan. [kg]

    Returns
    -------
    task
        Itself where no chance of running dry raised the reserve.
    """
    file = task.scenario.file
    if file.risk is None:
        return task
    reserve = file.reserve.model_copy(update={"water": water, "coal": coal})
    file = file.model_copy(update={"reserve": reserve, "risk": None})
    return replace(task, scenario=replace(task.scenario, file=file))


def drive(demand: Demand, first: int, last: int, aboard: float, gear: NDArray[np.int64]) -> Driven:
    """Drive from one sample to another without taking anything.

    Parameters
    ----------
    demand
        Of the road.
    first, last
        Samples, `last` not before `first`.
    aboard
        Water and coal aboard at the first. [kg]
    gear
        Of each segment.

    Returns
    -------
    driven
        Sums at samples first ... last; a store may go below nothing, as a shortfall.
    """
    mass = np.full(demand.segments, aboard)
    gone = np.zeros(last - first)
    while True:  # a segment's mass depends only on those before it, so this ends
        use = demand.evaluate(np.maximum(mass, 0.0), gear)
        before, gone = gone, np.cumsum((use.water + use.coal)[first:last])
        mass[first + 1 : last] = aboard - gone[:-1]
        if gone.size == 0 or float(np.max(np.abs(gone - before))) <= 1e-9 * max(aboard, 1.0):
            break

    def summed(values: Array) -> Array:
        return np.concatenate([[0.0], np.cumsum(values[first:last])])

    return Driven(
        water=summed(use.water),
        coal=summed(use.coal),
        duration=summed(use.duration),
        aboard=np.concatenate([[aboard], aboard - gone]),
    )


def standing_at(task: Task, distance: float, *, file: str = "--at") -> tuple[Task, int]:
    """The task with a sample where the engine stands.

    Parameters
    ----------
    task
        The whole road.
    distance
        Along it. [m]
    file
        What a refusal names.

    Returns
    -------
    task, sample
        The steam model's samples are close enough together; a road of measured use is
        split at the place, its use in proportion.

    Raises
    ------
    InputError
        If the place is not on the road, or is its end.
    """
    route = task.route
    unit = UNIT_SYSTEMS[task.scenario.file.units].distance
    if not 0.0 <= distance < route.length - 1.0:
        raise InputError(
            [
                Problem(
                    file=file,
                    where="",
                    found=f"{unit.value(distance):.2f} {unit.label} is not before the finish",
                    remedy=f"give a distance from 0 to {unit.value(route.length):.2f} {unit.label}",
                )
            ]
        )
    sample = route.index(distance)
    if task.scenario.demand and abs(float(route.distance[sample]) - distance) > HERE:
        places = (*task.scenario.places, Place.model_construct(name=_MARK, at=distance))
        marked = replace(task.scenario, places=places)
        built = build_route(marked)
        kept = {(p.kind, p.row, p.number) for p in route.passings}
        own = tuple(p for p in built.passings if (p.kind, p.row, p.number) in kept)
        route = replace(built, passings=own)
        task = Task(scenario=task.scenario, route=route, demand=build_demand(marked, built))
        sample = route.index(distance)
    return task, sample


def day_of(task: Task, clock: float) -> int:
    """Which day of the run a clock is of, the first being 0.

    Parameters
    ----------
    task
        The whole run.
    clock
        Since midnight of its first date. [s]

    Returns
    -------
    day
        Without a night on the way there is one day, past midnight too.
    """
    return max(int(clock // DAY), 0) if task.scenario.file.nights.most else 0


def scaled(demand: Demand, *, water: float = 1.0, coal: float = 1.0) -> Demand:
    """A demand on a thirstier or thriftier day, running and standing.

    Parameters
    ----------
    demand
        What is reckoned.
    water, coal
        By what to multiply it. [-]

    Returns
    -------
    demand
        Its times as they were.
    """

    def evaluate(aboard: Array, gear: NDArray[np.int64]) -> Use:
        use = demand.evaluate(aboard, gear)
        return Use(duration=use.duration, water=use.water * water, coal=use.coal * coal)

    return replace(
        demand,
        evaluate=evaluate,
        standing_water=demand.standing_water * water,
        standing_coal=demand.standing_coal * coal,
        back=no_way_back,
    )
