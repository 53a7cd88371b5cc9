"""Limits of the clock that give way: the least by which, and by how much a plan is over them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from haulplan.errors import Shortage
from haulplan.plan import Plan, Trace
from haulplan.underway.task import DAY, HERE, Task

__all__ = ["ON", "Overrun", "ease", "overruns", "without_clock"]

#: Beyond what the least broken plan asks for, room for the planner's straightening. [s], [m]
_ROOM: Final = 60.0
_RUN_ROOM: Final = 100.0
#: Further than a run leads. [m]
_FAR: Final = 1e6
#: So little over a limit is on it: a clock is read to the minute. [s]
ON: Final = 30.0
#: Shortages of stores and road that no clock mends.
_STORES: Final = ("water", "coal", "weight", "boiler", "stops")


@dataclass(frozen=True, kw_only=True)
class Overrun:
    """A limit of the clock that a plan does not keep, and by how much [s].

    `name` is the meal, the place of a call, or the duty; for "crew" and "light" the last
    place before the limit at which the train can stand, reached at `clock`, "" for none.
    """

    kind: Literal["crew", "light", "meal", "call", "duty"]
    day: int
    by: float
    name: str = ""
    clock: float = 0.0


def ease(task: Task, shortages: Sequence[Shortage]) -> Task | None:
    """The task with limits of the clock loosened by what the least broken plan lacks.

    Parameters
    ----------
    task
        What is left.
    shortages
        Of its refusal.

    Returns
    -------
    task
        None where it is a store that falls short, or nothing is known of why. Where a
        supply's own hours are in the way, crew, light, meals and calls all give way: the
        supply's do not.
    """
    kinds = {shortage.kind for shortage in shortages}
    if not kinds or kinds & set(_STORES):
        return None
    most = {kind: max(s.amount for s in shortages if s.kind == kind) for kind in kinds}
    if "hours" in kinds:
        most = {"crew": DAY, "latest": DAY, "meal": 0.0, "call": 0.0, **most}
    file, demand, places = task.scenario.file, task.demand, task.scenario.places
    if "crew" in most and file.hours.crew is not None:
        crew = file.hours.crew + most["crew"] + _ROOM
        file = file.model_copy(update={"hours": file.hours.model_copy(update={"crew": crew})})
    if "latest" in most:
        later = most["latest"] + _ROOM
        demand = replace(demand, hours=tuple((rise, sets + later) for rise, sets in demand.hours))
    if "meal" in most:
        file = file.model_copy(update={"meals": ()})
    if "call" in most:
        places = tuple(
            place
            if place.stay is None
            else place.model_copy(update={"opens": 0.0, "closes": DAY, "day": None})
            for place in places
        )
    if "duty" in most or "distance" in most:
        duties = tuple(
            duty.model_copy(update={"hours": duty.hours + most.get("duty", 0.0) + _ROOM})
            if duty.hours is not None
            else duty.model_copy(
                update={"miles": (duty.miles or 0.0) + most.get("distance", 0.0) + _RUN_ROOM}
            )
            for duty in file.duties
        )
        file = file.model_copy(update={"duties": duties})
    scenario = replace(task.scenario, file=file, places=places)
    return replace(task, scenario=scenario, demand=demand)


def without_clock(task: Task) -> Task:
    """The task with every limit of the clock loosened beyond any plan, a supply's kept.

    Parameters
    ----------
    task
        What is left.

    Returns
    -------
    task
        Without a plan where stores or road have none.
    """
    far = (("hours", 0.0), ("duty", DAY), ("distance", _FAR))
    eased = ease(task, [Shortage(kind=kind, begin=0, end=0, amount=by) for kind, by in far])
    return task if eased is None else eased


def overruns(task: Task, plan: Plan, trace: Trace) -> tuple[Overrun, ...]:
    """By how much a plan is over the clock's own limits.

    Parameters
    ----------
    task
        What is left, its limits as they are.
    plan, trace
        Of the same, its limits loosened.

    Returns
    -------
    overruns
        Day by day, none where it keeps them all.
    """
    found = []
    crew, hours = task.scenario.file.hours.crew, task.demand.hours
    ended = [s.depart - s.night for s in plan.stops if s.fire is not None] + [plan.arrival]
    for number, (day, end) in enumerate(zip(plan.days, ended, strict=True)):
        if crew is not None and end - day.lit - crew > ON:
            name, clock = _last_place(task, trace, day.lit + crew)
            by = end - day.lit - crew
            found.append(Overrun(kind="crew", day=number, by=by, name=name, clock=clock))
        sets = hours[min(number, len(hours) - 1)][1] + number * DAY
        dark = len(hours) > 1 or sets < DAY
        if dark and day.arrive - sets > ON:
            name, clock = _last_place(task, trace, sets)
            by = day.arrive - sets
            found.append(Overrun(kind="light", day=number, by=by, name=name, clock=clock))
        found += _missed(task, plan, number, end)
    return (*found, *_calls(task, plan), *_duties(task, plan))


def _last_place(task: Task, trace: Trace, limit: float) -> tuple[str, float]:
    """The last place to stand that is reached before a clock, and when."""
    last, at = ("", 0.0), 0
    for passing in task.route.passings:
        stands = passing.kind == "supply" or (
            passing.kind == "place"
            and (
                task.scenario.places[passing.row].halt == "yes"
                or task.scenario.places[passing.row].night == "yes"
            )
        )
        if not stands:
            continue
        while at < len(trace.distance) - 1 and trace.distance[at] < passing.distance - HERE:
            at += 1
        if trace.clock[at] <= limit:
            last = passing.label, trace.clock[at]
    return last


def _missed(task: Task, plan: Plan, number: int, end: float) -> list[Overrun]:
    """Meals owed on a day that the plan does not have."""
    begun = task.demand.begun if number == 0 else None
    left = plan.days[number].depart if begun is None else begun.left
    had = {meal for s in plan.stops if s.day == number + 1 for meal in s.meals}
    had |= set() if begun is None else set(begun.had)
    return [
        Overrun(kind="meal", day=number, by=0.0, name=meal.name)
        for meal in task.scenario.file.meals
        if meal.name not in had
        and left < meal.earliest + number * DAY
        and end > meal.latest + number * DAY
        and not (begun is not None and task.scenario.file.depart > meal.latest)
    ]


def _calls(task: Task, plan: Plan) -> list[Overrun]:
    """Calls that are made outside their hours, or on another day."""
    found = []
    for stop in plan.stops:
        if stop.kind != "halt" or stop.row is None:
            continue
        place = task.scenario.places[stop.row]
        if place.stay is None:
            continue
        today = (stop.day - 1) * DAY
        late = stop.arrive - place.closes - today if place.closes < DAY else 0.0
        early = place.opens + today - stop.arrive - stop.wait if place.opens > 0 else 0.0
        wrong = place.day is not None and place.day != stop.day
        if max(late, early) > ON or wrong:
            by = max(late, early, 0.0)
            found.append(
                Overrun(kind="call", day=stop.day - 1, by=by, name=stop.name, clock=stop.arrive)
            )
    return found


def _duties(task: Task, plan: Plan) -> list[Overrun]:
    """Duties that fall due before the stop they are done at, the most of each."""
    found = []
    begun = task.demand.begun
    for k, duty in enumerate(task.scenario.file.duties):
        run, most = 0.0 if begun is None else begun.since[k], (0.0, 0)
        for stop, leg in zip(plan.stops[1:], plan.legs, strict=True):
            run += leg.duration if duty.miles is None else leg.length
            interval = duty.hours if duty.miles is None else duty.miles
            most = max(most, (run - (interval or 0.0), stop.day - 1))
            if duty.name in stop.duties or stop.fire is not None:
                run = 0.0
        if most[0] > ON:
            found.append(Overrun(kind="duty", day=most[1], by=most[0], name=duty.name))
    return found
