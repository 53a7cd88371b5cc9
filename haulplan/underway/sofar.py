"""What lies behind on the road, read from the plan that was: its stops, and the day so far."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from haulplan.demand import Begun
from haulplan.plan import Plan
from haulplan.underway.rest import Drawn
from haulplan.underway.task import DAY, HERE, Reading, Task, day_of, drive, standing_at

__all__ = ["OldStop", "begun_at", "drawn_before", "gone_on", "old_stops", "passed", "planned_at"]

#: Half of the minute to which a crew reads its clock, held in its favour where hours and
#: duties stand on their limit. [s]
_READ_TO = 30.0
#: The same of a distance run. [m]
_RUN_TO = 50.0


@dataclass(frozen=True, kw_only=True)
class OldStop:
    """A stop of the plan that was; levels on leaving [kg], distance along the road [m].

    `water_taken` counts what went into a cart; `cart` and `boiler` are the levels besides.
    `ended` is when the day's work there is over, before `depart` where `fire` tells how a
    night was spent; `truck` is the row in stores.csv of the one that serves there.
    """

    name: str
    kind: str
    distance: float
    arrive: float
    ended: float
    depart: float
    water: float
    coal: float
    cart: float
    boiler: float
    water_taken: float
    coal_taken: float
    truck: int | None
    fire: str | None
    meals: tuple[str, ...]
    duties: tuple[str, ...]

    @property
    def aboard(self) -> float:
        """Everything consumable on leaving [kg]."""
        return self.water + self.coal + self.cart + self.boiler


def old_stops(plan: Plan) -> tuple[OldStop, ...]:
    """The stops of a plan as a later revision wants them.

    Parameters
    ----------
    plan
        The one that was.

    Returns
    -------
    stops
        Start, wherever it stands, finish.
    """
    return tuple(
        OldStop(
            name=stop.name,
            kind=stop.kind,
            distance=stop.distance,
            arrive=stop.arrive,
            ended=stop.depart if stop.fire is None else stop.depart - stop.night,
            depart=stop.depart,
            water=stop.tank_depart,
            coal=stop.bunker_depart,
            cart=stop.cart_depart,
            boiler=stop.boiler_depart,
            water_taken=stop.water_taken + stop.cart_filled,
            coal_taken=stop.coal_taken,
            truck=stop.truck,
            fire=stop.fire,
            meals=stop.meals,
            duties=stop.duties,
        )
        for stop in plan.stops
    )


def passed(old: Sequence[OldStop], distance: float, *, leaving: bool) -> list[OldStop]:
    """The stops of the plan that lie behind.

    Parameters
    ----------
    old
        Stops of the plan.
    distance
        Where the engine is. [m]
    leaving
        Whether what the plan does at that place is done.

    Returns
    -------
    stops
        The start always, where there is a plan.
    """
    beyond = distance + HERE if leaving else distance - HERE
    return [stop for stop in old if stop is old[0] or stop.distance < beyond]


def planned_at(
    task: Task, old: Sequence[OldStop], distance: float, *, leaving: bool = False
) -> Reading:
    """What the plan has at a place.

    Parameters
    ----------
    task
        The whole run.
    old
        Stops of the plan.
    distance
        Along the road. [m]
    leaving
        At a stop, whether on leaving it; on arriving otherwise.

    Returns
    -------
    reading
        As planned; water above the boiler's working level counts as the tank's.
    """
    last = passed(old, distance, leaving=leaving)[-1]
    if last.distance > distance - HERE:
        return Reading(
            distance=distance, clock=last.depart, water=last.water, coal=last.coal,
            cart=last.cart, leaving=leaving,
        )  # fmt: skip
    task, here = standing_at(task, distance)
    first = task.route.index(last.distance)
    driven = drive(task.demand, first, here, last.aboard, task.demand.gear)
    water = last.water + last.boiler - float(driven.water[-1])
    return Reading(
        distance=distance,
        clock=last.depart + float(driven.duration[-1]),
        water=min(max(water, 0.0), task.scenario.file.stores.tank),
        coal=max(last.coal - float(driven.coal[-1]), 0.0),
        cart=last.cart,
    )


def drawn_before(task: Task, old: Sequence[OldStop], reading: Reading) -> Drawn:
    """What the plan has drawn by now from supplies and trucks.

    Parameters
    ----------
    task
        The whole run.
    old
        Stops of the plan.
    reading
        Where the engine is.

    Returns
    -------
    drawn
        By kind of source and row.
    """
    rows = {(round(p.distance), p.label): p.row for p in task.route.passings if p.kind == "supply"}
    drawn: dict[tuple[str, int], tuple[float, float]] = {}
    for stop in passed(old, reading.distance, leaving=reading.leaving):
        row = rows.get((round(stop.distance), stop.name))
        source = ("supply", row) if stop.truck is None else ("truck", stop.truck)
        if source[1] is not None:
            water, coal = drawn.get((source[0], source[1]), (0.0, 0.0))
            taken = (water + stop.water_taken, coal + stop.coal_taken)
            drawn[source[0], source[1]] = taken
    return drawn


def begun_at(task: Task, old: Sequence[OldStop], reading: Reading) -> Begun:
    """What of today lies behind, as the plan had it, shifted by the crew's own clock.

    Parameters
    ----------
    task
        The whole run.
    old
        Stops of the plan; without one the day is taken to begin here.
    reading
        Where the engine is, and when.

    Returns
    -------
    begun
        The crew lit up when planned: what it is late counts as its duty, what it is early
        as an early start. Of a day that began where the plan had no night, running and
        meals before here are not known and count as none.
    """
    day = day_of(task, reading.clock)
    leads, duties = task.demand.leads, task.scenario.file.duties
    stops = passed(old, reading.distance, leaving=reading.leaving)
    mornings = old[:1] if day == 0 else [
        stop for stop in old if stop.fire is not None and int(stop.depart // DAY) == day
    ]  # fmt: skip
    if not mornings:
        return Begun(left=reading.clock - day * DAY, on_duty=leads[0], since=(0.0,) * len(duties))
    morning = mornings[0]
    lead = leads[1 if morning.fire == "banked" else 0]
    if morning not in stops:  # the night was spent short of where the plan has it
        left = min(morning.depart, reading.clock)
        return Begun(
            left=left - day * DAY, on_duty=lead + reading.clock - left, since=(0.0,) * len(duties)
        )
    planned = planned_at(task, old, reading.distance, leaving=reading.leaving).clock
    now = reading.clock
    if day_of(task, planned) == day:
        now = max(now, planned)
    today = stops[stops.index(morning) :]
    run = [(b.arrive - a.depart, b.distance - a.distance, b) for a, b in pairwise(today)]
    last = today[-1]
    left_run = max(planned - last.depart, 0.0), max(reading.distance - last.distance, 0.0)
    since = []
    for duty in duties:
        time = length = 0.0
        for duration, driven, stop in run:
            time, length = time + duration, length + driven
            if duty.name in stop.duties:
                time = length = 0.0
        time, length = time + left_run[0], length + left_run[1]
        known = max(time - _READ_TO, 0.0) if duty.miles is None else max(length - _RUN_TO, 0.0)
        since.append(known)
    spent = now - morning.depart
    return Begun(
        left=morning.depart - day * DAY,
        on_duty=lead + max(spent - _READ_TO, 0.0),
        since=tuple(since),
        had=tuple(meal for stop in today if stop is not morning or day == 0 for meal in stop.meals),
    )


def gone_on(task: Task, begun: Begun, duration: float, length: float) -> Begun:
    """The same day after some more of it.

    Parameters
    ----------
    task
        The run.
    begun
        What lay behind before.
    duration, length
        Driven since. [s], [m]

    Returns
    -------
    begun
        Each duty's running has grown in its own measure.
    """
    grown = tuple(
        run + (duration if duty.miles is None else length)
        for run, duty in zip(begun.since, task.scenario.file.duties, strict=True)
    )
    return Begun(left=begun.left, on_duty=begun.on_duty + duration, since=grown, had=begun.had)
