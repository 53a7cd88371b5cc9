"""Revise a plan on the road: the best for what is left, what changed, whether to turn back."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from haulplan.errors import NoPlanError
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.scenario.schema import Aim, Levels
from haulplan.underway.change import Change, blocked_at, changed, check_change
from haulplan.underway.task import Reading, Task, drive, remainder, standing_at
from haulplan.underway.turnback import Return, find_returns

__all__ = ["OldStop", "Onward", "Revision", "Verdict", "old_stops", "revise"]

Verdict = Literal["go on", "go on into the reserve", "turn back", "stay"]

#: So close to a place the engine stands at it. [m]
_HERE = 0.5
#: What a revision may give of each store where a level stands on its limit: a dip is read
#: to a hundredth of the tank at best, and the planner's straightening needs some room. [-]
_GIVE = 1e-3


@dataclass(frozen=True, kw_only=True)
class _Terms:
    """What a plan has to keep: shares of the reserve and of the levels for the finish."""

    reserve: float
    finish: float
    give: float = _GIVE
    lower: float = 0.0


#: Tried in turn until one has a plan: what is wanted at the finish gives way before the
#: reserve does.
_TERMS = tuple(
    _Terms(reserve=reserve, finish=finish)
    for reserve, finish in (
        (1.0, 1.0), (1.0, 0.9), (1.0, 0.0), (0.5, 1.0), (0.0, 0.0),
    )
)  # fmt: skip
#: The same, coarser, for the way on from water turned back to.
_AFTER = (_TERMS[0], _TERMS[2], _TERMS[-1])
#: At the start the plan stands as it was made.
_AT_START = (replace(_TERMS[0], give=0.0), *_TERMS[1:])
#: On the planned levels, before anything is given up: a bridge may stand on its figure.
_ON_PLAN = (_TERMS[0], replace(_TERMS[0], give=2 * _GIVE, lower=_GIVE), *_TERMS[1:])
#: Levels so close to plan are the planned ones. [share of the store]
_CLOSE = 0.01


@dataclass(frozen=True, kw_only=True)
class OldStop:
    """A stop of the plan that was; levels on leaving [kg], distance along the road [m]."""

    name: str
    distance: float
    arrive: float
    depart: float
    water: float
    coal: float
    water_taken: float
    coal_taken: float


@dataclass(frozen=True, kw_only=True)
class Onward:
    """A plan for what is left, its distances counted from `begin` on the road [m].

    `reserve` is the share of the reserve it keeps, `short` what lacks of the levels wanted
    at the finish, water and coal; `lowest` its least water in the tank and where [kg], [m].
    """

    plan: Plan
    begin: float
    reserve: float
    short: tuple[float, float]
    lowest: tuple[float, float]

    @property
    def whole(self) -> bool:
        """Whether it keeps the reserve and the levels for the finish."""
        return self.reserve == 1.0 and max(self.short) == 0.0


@dataclass(frozen=True, kw_only=True)
class Revision:
    """The answer: what to do, how, and what is different now.

    `ahead` is the plan for going on, `why_not` why none keeps the reserve; `after` the
    plan on from the water turned back to; `late` how much later than planned the finish
    is reached [s].
    """

    verdict: Verdict
    ahead: Onward | None
    why_not: str
    back: Return | None
    returns: tuple[Return, ...]
    after: Onward | None
    dropped: tuple[str, ...]
    added: tuple[str, ...]
    late: float | None
    off_plan: tuple[float, float, float] | None


def old_stops(plan: Plan) -> tuple[OldStop, ...]:
    """The stops of a plan as a later revision wants them.

    Parameters
    ----------
    plan
        The one that was.

    Returns
    -------
    stops
        Start, supplies, finish.
    """
    return tuple(
        OldStop(
            name=stop.name,
            distance=stop.distance,
            arrive=stop.arrive,
            depart=stop.depart,
            water=stop.tank_depart,
            coal=stop.bunker_depart,
            water_taken=stop.water_taken,
            coal_taken=stop.coal_taken,
        )
        for stop in plan.stops
    )


def revise(
    task: Task,
    reading: Reading,
    change: Change | None = None,
    *,
    old: Sequence[OldStop] = (),
    aim: Aim | None = None,
) -> Revision:
    """The best plan for what is left, and whether to turn back.

    Parameters
    ----------
    task
        The whole run as it was planned.
    reading
        Where the engine is, when, and what it has.
    change
        What is otherwise than planned.
    old
        Stops of the plan that was; what they took before here is gone from the supplies.
    aim
        The scenario's own where None.

    Returns
    -------
    revision
        Every plan in it has survived its replay.

    Raises
    ------
    InputError
        If the place is not on the road, a store cannot hold so much, or a change does not
        fit the scenario.
    """
    day = change or Change()
    check_change(task, reading, day)
    off = _off_plan(task, old, reading)
    task, here = standing_at(changed(task, day), reading.distance)
    at = float(task.route.distance[here])
    taken = _taken(task, old, reading.distance)
    blocked = blocked_at(task, day)
    ahead, why_not = None, "the road is closed, and no way round it was given"
    if blocked is None:
        rest = _without(remainder(task, here, reading, taken), day.shut)
        ahead, why_not = _onward(rest, at, aim, _terms(task, here, off))
    returns = find_returns(task, here, reading, day.shut, reach=blocked)
    back, after = _best(returns), None
    if back is not None and back.open and blocked is None and (ahead is None or ahead.reserve < 1):
        after = _after(task, back, day, taken, aim)
    verdict = _verdict(ahead, back, after)
    final = after if verdict == "turn back" else ahead
    left = [s.name for s in old[:-1] if s.distance > reading.distance + _HERE]
    new = [] if final is None else [s.name for s in final.plan.stops if s.kind == "supply"]
    return Revision(
        verdict=verdict,
        ahead=ahead,
        why_not=why_not,
        back=back,
        returns=returns,
        after=after,
        dropped=tuple(name for name in left if name not in new),
        added=tuple(name for name in new if old and name not in left),
        late=final.plan.arrival - old[-1].arrive if old and final is not None else None,
        off_plan=off,
    )


def _taken(task: Task, old: Sequence[OldStop], distance: float) -> dict[int, tuple[float, float]]:
    """What the old plan drew before here, by row."""
    rows = {(round(p.distance), p.label): p.row for p in task.route.passings if p.kind == "supply"}
    taken: dict[int, tuple[float, float]] = {}
    for stop in old:
        row = rows.get((round(stop.distance), stop.name))
        if row is not None and stop.distance < distance - _HERE:
            water, coal = taken.get(row, (0.0, 0.0))
            taken[row] = (water + stop.water_taken, coal + stop.coal_taken)
    return taken


def _without(task: Task, shut: Sequence[int]) -> Task:
    """A task at whose shut supplies nothing can be had."""
    passings = tuple(p for p in task.route.passings if not (p.kind == "supply" and p.row in shut))
    return replace(task, route=replace(task.route, passings=passings))


def _terms(task: Task, here: int, off: tuple[float, float, float] | None) -> tuple[_Terms, ...]:
    if here == 0:
        return _AT_START
    stores = task.scenario.file.stores
    near = off is not None and (
        abs(off[1]) <= _CLOSE * stores.tank and abs(off[2]) <= _CLOSE * stores.bunker
    )
    return _ON_PLAN if near else _TERMS


def _onward(
    task: Task, begin: float, aim: Aim | None, terms: Sequence[_Terms]
) -> tuple[Onward | None, str]:
    """The best plan from here that keeps as much as can be kept; why it keeps no more."""
    why_not = ""
    for kept in terms:
        try:
            return _plan(task, kept, begin, aim), why_not
        except NoPlanError as error:
            why_not = why_not or str(error)
    return None, why_not


def _plan(whole: Task, kept: _Terms, begin: float, aim: Aim | None) -> Onward:
    """A plan that keeps these terms, proved by its replay."""
    task = _on_terms(whole, kept)
    plan = make_plan(task.scenario, task.route, task.demand, aim=aim)
    trace = replay(task.scenario, task.route, task.demand, plan)
    low = int(np.argmin(trace.tank))
    file, last = whole.scenario.file, plan.stops[-1]
    wanted = (
        (min(file.at_finish.water, file.stores.tank), last.tank_arrive, file.stores.tank),
        (min(file.at_finish.coal, file.stores.bunker), last.bunker_arrive, file.stores.bunker),
    )
    short = [want - have if want - have > 3 * _GIVE * room else 0.0 for want, have, room in wanted]
    return Onward(
        plan=plan,
        begin=begin,
        reserve=kept.reserve,
        short=(short[0], short[1]),
        lowest=(trace.tank[low], begin + trace.distance[low]),
    )


def _on_terms(task: Task, kept: _Terms) -> Task:
    """The task with its limits as the terms have them."""
    if kept == _AT_START[0]:
        return task
    file = task.scenario.file
    room = file.stores.tank, file.stores.bunker

    def levels(wanted: Levels, share: float, give: float) -> Levels:
        water, coal = (
            max(min(want, most) * share - give * most, 0.0)
            for want, most in zip((wanted.water, wanted.coal), room, strict=True)
        )
        return Levels.model_construct(water=water, coal=coal)

    update = {
        "reserve": levels(file.reserve, kept.reserve, kept.give),
        "at_finish": levels(file.at_finish, kept.finish, kept.give),
        "at_start": levels(file.at_start, 1.0, kept.lower),
    }
    return replace(task, scenario=replace(task.scenario, file=file.model_copy(update=update)))


def _best(returns: Sequence[Return]) -> Return | None:
    """Of the ways back the one that can be put off longest; open ones before shut ones."""

    def rank(one: Return) -> tuple[bool, float, float, float]:
        last = -math.inf if one.last is None else one.last
        bottom = -math.inf if one.bottom is None else one.bottom
        return one.open, last, bottom, one.water

    return max(returns, key=rank, default=None)


def _verdict(ahead: Onward | None, back: Return | None, after: Onward | None) -> Verdict:
    """The reserve first; what is wanted at the finish gives way before anybody turns back."""
    reachable = back is not None and back.open
    if ahead is not None and ahead.reserve == 1.0:
        return "go on"
    if reachable and back is not None and back.last is not None:
        if ahead is None or ahead.reserve < (0.0 if after is None else after.reserve):
            return "turn back"
    if ahead is not None:
        return "go on into the reserve"
    return "turn back" if reachable and back is not None and back.bottom is not None else "stay"


def _after(
    task: Task,
    back: Return,
    day: Change,
    taken: dict[int, tuple[float, float]],
    aim: Aim | None,
) -> Onward | None:
    """The plan on from the water turned back to."""
    there = task.route.index(back.distance)
    at = Reading(
        distance=back.distance,
        clock=back.arrive,
        water=max(back.water, 0.0),
        coal=max(back.coal, 0.0),
    )
    rest = _without(remainder(task, there, at, taken), day.shut)
    return _onward(rest, back.distance, aim, _AFTER)[0]


def _off_plan(
    task: Task, old: Sequence[OldStop], reading: Reading
) -> tuple[float, float, float] | None:
    """Clock, water and coal against the old plan at this place [s], [kg], [kg].

    Later and more are above zero; at a stop the levels are those on arriving.
    """
    passed = [stop for stop in old if stop.distance < reading.distance - _HERE] or list(old[:1])
    if not passed:
        return None
    last = passed[-1]
    task, here = standing_at(task, reading.distance)
    first = task.route.index(last.distance)
    driven = drive(task.demand, first, here, last.water + last.coal, task.demand.gear)
    return (
        reading.clock - last.depart - float(driven.duration[-1]),
        reading.water - last.water + float(driven.water[-1]),
        reading.coal - last.coal + float(driven.coal[-1]),
    )
