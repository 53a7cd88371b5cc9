"""Plans for what is left: as much of the reserve kept as can be, the finish given up first."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from haulplan.demand import Begun
from haulplan.errors import NoPlanError
from haulplan.plan import Plan, make_plan, may_have_plan
from haulplan.replay import replay
from haulplan.scenario.schema import Aim, Levels
from haulplan.underway.overrun import Overrun, ease, overruns, without_clock
from haulplan.underway.rest import Drawn, remainder
from haulplan.underway.sofar import gone_on
from haulplan.underway.task import DAY, HERE, Reading, Task, day_of
from haulplan.underway.terms import ALL, GIVE, KEPT, Terms, on_terms

__all__ = ["Call", "Left", "Onward", "onward", "onward_from_water", "without"]

#: So often a clock's limits are loosened by what the least broken plan asks for.
_EASINGS = 2
#: What is wanted at the finish is kept for so much more over the hours. [s]
_LITTLE = 900.0
_CLOCK = ("crew", "latest", "hours", "call", "duty")


@dataclass(frozen=True, kw_only=True)
class Call:
    """A line of what is left: where the engine is, a stop, the finish; SI, road distance.

    Clocks count from midnight of the run's first date. `doing` is the work there besides:
    meals, duties; `fire` how it is kept where the night is spent.
    """

    name: str
    kind: str
    distance: float
    arrive: float
    depart: float
    tank: float
    water: float
    bunker: float
    coal: float
    doing: tuple[str, ...] = ()
    fire: str | None = None


@dataclass(frozen=True, kw_only=True)
class Onward:
    """What is left, line by line, and the proved plan behind it.

    `plan` counts distances from where it begins: from the engine, or from the water it
    reaches first where the way there eats into the reserve; its clocks and days are the
    run's. `reserve` is the share of the
    reserve kept on the worst of the way, `short` what lacks of the levels wanted at the
    finish, water and coal [kg]; `lowest` the least in the tank and where [kg], [m]; `over`
    are the limits of the clock that nothing keeps.
    """

    calls: tuple[Call, ...]
    plan: Plan
    reserve: float
    short: tuple[float, float]
    lowest: tuple[float, float]
    over: tuple[Overrun, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether it keeps the reserve, the levels for the finish, and the clock."""
        return self.reserve == 1.0 and max(self.short) == 0.0 and not self.over


@dataclass(frozen=True, kw_only=True)
class Left:
    """What is left of a run, where it begins on the whole road [m] and on which of its days.

    The first day is 0; `aim` is the scenario's own where None.
    """

    task: Task
    begin: float
    day: int
    aim: Aim | None = None


def onward(
    left: Left, terms: Sequence[Terms], *, explain: bool = True
) -> tuple[Onward | None, str]:
    """The best plan of a remainder that keeps as much as can be kept.

    Parameters
    ----------
    left
        The remainder.
    terms
        What to try in turn.
    explain
        Whether to find out why it keeps no more.

    Returns
    -------
    onward, why_not
        None where nothing holds; why it keeps no more, "" where it keeps all.

    Notes
    -----
    What is wanted at the finish gives way first, then the clock (hours of crew and light,
    meals, calls, duties) by the least that will do, then the reserve.
    """
    failed: dict[Terms, NoPlanError] = {}
    found = None
    for whole in (True, False):
        group = [one for one in terms if (one.reserve == 1.0) == whole]
        found = _strictest(left, group, failed)
        if found is None and group:
            found = _over(left, group, failed)
        if found is not None:
            break
    first = failed.get(terms[0]) if explain else None
    return found, "" if first is None else str(first.explained)


def _strictest(
    left: Left, group: Sequence[Terms], failed: dict[Terms, NoPlanError]
) -> Onward | None:
    """The first of the terms that has a plan; those that have none are put with the failed."""
    for kept in group:
        found = _tried(left, kept)
        if isinstance(found, Onward):
            return found
        failed[kept] = found
    return None


def _over(left: Left, group: Sequence[Terms], failed: Mapping[Terms, NoPlanError]) -> Onward | None:
    """A plan on terms that only the clock was in the way of.

    The strictest of the group, where its last would spare the clock little.
    """
    kept, strict = group[-1], group[0]
    free = on_terms(without_clock(left.task), kept)
    if not may_have_plan(free.scenario, free.route, free.demand):
        return None
    error, first = failed[kept], failed[strict].explained
    if ease(left.task, first.shortages) and _minutes(first) - _minutes(error.explained) <= _LITTLE:
        kept, error = strict, first
    task = left.task
    for _ in range(_EASINGS):
        eased = ease(task, error.explained.shortages)
        if eased is None:
            return None
        found = _tried(left, kept, eased=eased)
        if isinstance(found, Onward):
            return found
        task, error = eased, found
    return None


def _minutes(error: NoPlanError) -> float:
    """By how much the clock is short, all in all [s]."""
    return sum(s.amount for s in error.shortages if s.kind in _CLOCK)


def _tried(left: Left, kept: Terms, *, eased: Task | None = None) -> Onward | NoPlanError:
    """A plan that keeps these terms, proved by its replay; its refusal where there is none."""
    whole, begin = left.task, left.begin
    task = on_terms(whole if eased is None else eased, kept)
    try:
        plan = make_plan(task.scenario, task.route, task.demand, aim=left.aim, telling="nothing")
    except NoPlanError as error:
        return error
    trace = replay(task.scenario, task.route, task.demand, plan)
    over = () if eased is None else overruns(whole, plan, trace)
    plan = _dated(plan, left.day)
    low = int(np.argmin(trace.tank))
    file, last = whole.scenario.file, plan.stops[-1]
    wanted = (
        (min(file.at_finish.water, file.stores.tank), last.tank_arrive, file.stores.tank),
        (min(file.at_finish.coal, file.stores.bunker), last.bunker_arrive, file.stores.bunker),
    )
    short = [want - have if want - have > 3 * GIVE * room else 0.0 for want, have, room in wanted]
    calls = tuple(
        Call(
            name=stop.name,
            kind=stop.kind,
            distance=begin + stop.distance,
            arrive=stop.arrive,
            depart=stop.depart,
            tank=stop.tank_arrive,
            water=stop.water_taken,
            bunker=stop.bunker_arrive,
            coal=stop.coal_taken,
            doing=(*stop.meals, *stop.duties),
            fire=stop.fire,
        )
        for stop in plan.stops
    )
    return Onward(
        calls=calls,
        plan=plan,
        reserve=_share(kept, file.reserve, min(trace.tank), min(trace.bunker)),
        short=(short[0], short[1]),
        lowest=(trace.tank[low], begin + trace.distance[low]),
        over=tuple(replace(o, day=o.day + left.day, clock=o.clock + left.day * DAY) for o in over),
    )


def _dated(plan: Plan, day: int) -> Plan:
    """A plan made from a day's midnight, by the clock and days of the whole run."""
    later = day * DAY
    return replace(
        plan,
        date=plan.date - dt.timedelta(days=day),
        stops=tuple(
            replace(s, day=s.day + day, arrive=s.arrive + later, depart=s.depart + later)
            for s in plan.stops
        ),
        crossings=tuple(replace(c, clock=c.clock + later) for c in plan.crossings),
        days=tuple(
            replace(
                d, lit=d.lit + later, depart=d.depart + later, arrive=d.arrive + later,
                earliest=d.earliest + later, latest=d.latest + later,
            )
            for d in plan.days
        ),
    )  # fmt: skip


def _share(kept: Terms, reserve: Levels, water: float, coal: float) -> float:
    """The share of the reserve that is really kept, all of it where the terms asked it."""
    if kept.reserve == 1.0:
        return 1.0
    shares = [
        level / least
        for level, least in ((water, reserve.water), (coal, reserve.coal))
        if least > 0
    ]
    return min(max(min(shares, default=0.0), 0.0), 1.0)


def onward_from_water(
    task: Task,
    first: Call,
    row: int,
    reading: Reading,
    begun: Begun,
    aim: Aim | None,
    drawn: Drawn,
    shut: Sequence[int],
    *,
    lower: bool = False,
) -> Onward | None:
    """A plan from a water reached below the reserve: filled up to it at once, then as usual.

    Parameters
    ----------
    task
        The whole run, as the day is.
    first
        The water, with the levels on reaching it.
    row
        Of the water in supply.csv.
    reading, begun
        Where the engine is, and what of the day lies behind there.
    aim
        The scenario's own where None.
    drawn
        What is gone from supplies and trucks.
    shut
        Rows of supplies at which there is nothing.
    lower
        Whether the reserve may give way again further on.

    Returns
    -------
    onward
        None where no plan from there keeps the reserve.
    """
    file, supply = task.scenario.file, task.scenario.supplies[row]
    least = file.reserve.water + GIVE * file.stores.tank
    lacking = max(least - first.tank, 0.0)
    gone = drawn.get(("supply", row), (0.0, 0.0))
    if (supply.water_available or 0.0) - gone[0] < lacking:
        return None
    pumping = lacking / (task.demand.serving[row].water or 1.0)
    today = day_of(task, first.arrive) * DAY
    filled = replace(
        reading,
        distance=first.distance,
        clock=max(first.arrive, supply.opens + today) + pumping,
        water=first.tank + lacking,
        coal=max(first.bunker, 0.0),
        leaving=False,
    )
    sample = task.route.index(first.distance)
    then_drawn = {**drawn, ("supply", row): (gone[0] + lacking, gone[1])}
    behind = gone_on(
        task, begun, first.arrive - reading.clock, abs(first.distance - reading.distance)
    )
    behind = replace(behind, on_duty=behind.on_duty + filled.clock - first.arrive)
    rest = without(remainder(task, sample, filled, then_drawn, behind), shut)
    if first.distance < reading.distance:  # calls made on the way are not made again
        rest = _past_calls(rest, reading.distance - float(task.route.distance[sample]))
    found, _ = onward(
        Left(
            task=rest, begin=float(task.route.distance[sample]),
            day=day_of(task, filled.clock), aim=aim,
        ),
        ALL if lower else KEPT,
        explain=False,
    )  # fmt: skip
    if found is None:
        return None
    then = found.calls[1]
    if then.kind != "supply" or then.distance - first.distance > HERE:
        if lacking > 0:  # its setting up would be missing from the clock
            return None
        return found
    own = replace(first, depart=then.depart, water=lacking + then.water, coal=then.coal)
    lowest = min((found.lowest, (first.tank, first.distance)))
    return replace(found, calls=(own, *found.calls[2:]), lowest=lowest)


def _past_calls(task: Task, distance: float) -> Task:
    """A task without the places of calls before a distance."""
    places = task.scenario.places
    passings = tuple(
        p
        for p in task.route.passings
        if p.kind != "place" or p.distance > distance - HERE or places[p.row].stay is None
    )
    return replace(task, route=replace(task.route, passings=passings))


def without(task: Task, shut: Sequence[int]) -> Task:
    """A task at whose shut supplies nothing can be had.

    Parameters
    ----------
    task
        Any.
    shut
        Rows of supplies.

    Returns
    -------
    task
        Their passings are gone.
    """
    passings = tuple(p for p in task.route.passings if not (p.kind == "supply" and p.row in shut))
    return replace(task, route=replace(task.route, passings=passings))
