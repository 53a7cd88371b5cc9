"""Revise a plan on the road: the best for what is left, what changed, whether to turn back."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from haulplan.plan import Plan
from haulplan.scenario.schema import Aim
from haulplan.underway.change import Change, blocked_at, changed, check_change
from haulplan.underway.onward import Call, Onward, onward, onward_from_water, terms_for, without
from haulplan.underway.task import Reading, Task, drive, remainder, standing_at
from haulplan.underway.turnback import Return, find_returns

__all__ = ["OldStop", "Revision", "Verdict", "old_stops", "revise"]

Verdict = Literal["go on", "go on into the reserve", "turn back", "stay"]

#: So close to a place the engine stands at it. [m]
_HERE = 0.5
#: Going back has to leave so much more of the reserve to be worth it. [-]
_EVEN = 0.1


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
    taken = _taken(task, old, reading.distance)
    blocked = blocked_at(task, day)
    ahead, why_not = None, "the road is closed, and no way round it was given"
    if blocked is None:
        rest = without(remainder(task, here, reading, taken), day.shut)
        terms = terms_for(task, here, off)
        ahead, why_not = onward(rest, float(task.route.distance[here]), aim, terms)
        ahead = _kept_later(task, ahead, aim, taken, day.shut)
    returns = find_returns(task, here, reading, day.shut, reach=blocked)
    back = _best(returns)
    verdict = _verdict(task, ahead, back)
    after = None
    if verdict == "turn back" and back is not None and blocked is None:
        call = Call(
            name=back.name, kind="supply", distance=back.distance, arrive=back.arrive,
            depart=back.arrive, tank=back.water, water=0.0, bunker=back.coal, coal=0.0,
        )  # fmt: skip
        after = onward_from_water(task, call, back.row, aim, taken, day.shut)
    final = after if verdict == "turn back" else ahead
    left = [] if final is None else _names_ahead(old, reading.distance)
    new = [] if final is None else [call.name for call in final.calls if call.kind == "supply"]
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


def _names_ahead(old: Sequence[OldStop], distance: float) -> list[str]:
    return [stop.name for stop in old[:-1] if stop.distance > distance + _HERE]


def _kept_later(
    task: Task,
    ahead: Onward | None,
    aim: Aim | None,
    taken: dict[int, tuple[float, float]],
    shut: Sequence[int],
) -> Onward | None:
    """A plan into the reserve that eats into it only as far as the first water."""
    if ahead is None or ahead.reserve == 1.0:
        return ahead
    row = ahead.plan.stops[1].row
    if row is None or not task.scenario.supplies[row].water_available:
        return ahead
    later = onward_from_water(task, ahead.calls[1], row, aim, taken, shut)
    if later is None:
        return ahead
    share = min(later.lowest[0] / max(task.scenario.file.reserve.water, 1.0), 1.0)
    return replace(later, calls=(ahead.calls[0], *later.calls), reserve=share)


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


def _best(returns: Sequence[Return]) -> Return | None:
    """Of the ways back the one that can be put off longest; open ones before shut ones."""

    def rank(one: Return) -> tuple[bool, float, float, float]:
        last = -math.inf if one.last is None else one.last
        bottom = -math.inf if one.bottom is None else one.bottom
        return one.open, last, bottom, one.water

    return max(returns, key=rank, default=None)


def _verdict(task: Task, ahead: Onward | None, back: Return | None) -> Verdict:
    """The reserve first; what is wanted at the finish gives way before anybody turns back."""
    if ahead is not None and ahead.reserve == 1.0:
        return "go on"
    reserve = task.scenario.file.reserve
    left = -1.0
    if back is not None and back.open and back.bottom is not None:
        levels = ((back.water, reserve.water), (back.coal, reserve.coal))
        left = min((level / least for level, least in levels if least > 0), default=1.0)
    if ahead is not None and ahead.reserve >= min(left, 1.0) - _EVEN:
        return "go on into the reserve"
    return "turn back" if left >= 0 else "stay"


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
