"""Revise a plan on the road: the best for what is left, what changed, whether to turn back."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from haulplan.demand import Begun
from haulplan.scenario.schema import Aim
from haulplan.underway.change import Change, blocked_at, changed, check_change
from haulplan.underway.onward import Call, Left, Onward, onward, onward_from_water, without
from haulplan.underway.rest import Drawn, hours_from, remainder
from haulplan.underway.sofar import OldStop, begun_at, drawn_before, passed, planned_at
from haulplan.underway.task import HERE, Reading, Task, day_of, standing_at
from haulplan.underway.terms import terms_for
from haulplan.underway.turnback import Return, find_returns

__all__ = ["Revision", "Verdict", "revise"]

Verdict = Literal[
    "go on", "go on over the hours", "go on into the reserve", "turn back", "stay"
]  # fmt: skip

#: Going back has to leave so much more of the reserve to be worth it. [-]
_EVEN = 0.1
#: Where something is taken on, or the train stands by the plan.
_SERVED = ("supply", "halt")


@dataclass(frozen=True, kw_only=True)
class Revision:
    """The answer: what to do, how, and what is different now.

    `ahead` is the plan for going on, no further thought out than shows that turning back is
    better where that is the verdict, `why_not` why none keeps the reserve; `after` the
    plan on from the water turned back to; `late` how much later than planned the finish
    is reached [s]. `reading` is what it is reckoned from: what was read, with the plan's
    cart where none was said, and no earlier than a night's rest allows. `day` is the day of
    the run it is reckoned for, the first being 0, `until` when wheels must stop that day by
    its own clock [s], and `off_plan` clock, water and coal against the plan here [s], [kg].
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
    reading: Reading
    day: int
    until: float


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
    change = change or Change()
    check_change(task, reading, change)
    reading = _settled(task, old, reading)
    off, whole = _off_plan(task, old, reading), task
    drawn, begun = drawn_before(task, old, reading), begun_at(task, old, reading)
    day = day_of(task, reading.clock)
    task, here = standing_at(changed(task, change), reading.distance)
    blocked = blocked_at(task, change)
    ahead, why_not = None, "the road is closed, and no way round it was given"
    if blocked is None:
        rest = without(remainder(task, here, reading, drawn, begun), change.shut)
        terms = terms_for(
            task,
            here,
            off,
            morning=reading.leaving and bool(_night_stops(old, reading)),
            changed=change != Change(),
        )
        begin = float(task.route.distance[here])
        ahead, why_not = onward(Left(task=rest, begin=begin, day=day, aim=aim), terms)
    returns = find_returns(task, here, reading, change.shut, reach=blocked, begun=begun)
    back, hoped = _best(returns), _hoped(task, ahead)
    settled = _verdict(task, hoped, back) == "turn back"
    if not settled:
        ahead = _kept_later(task, ahead, reading, begun, aim, drawn, change.shut)
    verdict, after = _verdict(task, ahead, back), None
    if verdict == "turn back" and back is not None and blocked is None:
        call = Call(
            name=back.name, kind="supply", distance=back.distance, arrive=back.arrive,
            depart=back.arrive, tank=back.water, water=0.0, bunker=back.coal, coal=0.0,
        )  # fmt: skip
        after = onward_from_water(
            task, call, back.row, reading, begun, aim, drawn, change.shut, lower=True
        )
        if settled and after is not None and _as_good(hoped, after):
            ahead = _kept_later(task, ahead, reading, begun, aim, drawn, change.shut)
        if after is not None and _as_good(ahead, after):
            verdict, after = "go on into the reserve", None
    final = after if verdict == "turn back" else ahead
    left = [] if final is None else _names_ahead(whole, old, reading)
    new = [] if final is None else [call.name for call in final.calls if call.kind in _SERVED]
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
        reading=reading,
        day=day,
        until=hours_from(whole, day)[0][1],
    )


def _night_stops(old: Sequence[OldStop], reading: Reading) -> list[OldStop]:
    """The stop here at which the plan spends a night."""
    return [s for s in old if abs(s.distance - reading.distance) <= HERE and s.fire is not None]


def _settled(task: Task, old: Sequence[OldStop], reading: Reading) -> Reading:
    """The reading with what the plan says of it: the cart, a night done, the rest owed."""
    if not old:
        return reading
    here = _night_stops(old, reading)
    if here and day_of(task, reading.clock) <= day_of(task, here[0].arrive):
        reading = replace(reading, leaving=False)  # the night is still to come
    elif here:
        lead = task.demand.leads[1 if here[0].fire == "banked" else 0]
        rested = here[0].ended + task.scenario.file.hours.rest + lead
        reading = replace(reading, leaving=True, clock=max(reading.clock, rested))
    if reading.cart is not None:
        return reading
    cart = passed(old, reading.distance, leaving=reading.leaving)[-1].cart
    return replace(reading, cart=cart)


def _names_ahead(task: Task, old: Sequence[OldStop], reading: Reading) -> list[str]:
    """Stops the plan still had ahead, at the place itself too where it is not done."""
    gone = len(passed(old, reading.distance, leaving=reading.leaving))
    return [stop.name for stop in old[gone:] if stop.kind in _SERVED]


def _hoped(task: Task, ahead: Onward | None) -> Onward | None:
    """A plan with the most of the reserve that `_kept_later` could leave it.

    Where turning back keeps more than that, the way on need not be planned again.
    """
    if ahead is None or ahead.reserve == 1.0 or ahead.plan.stops[1].kind != "supply":
        return ahead
    most = _water_share(task, ahead.calls[1].tank)
    return replace(ahead, reserve=max(most, ahead.reserve))


def _water_share(task: Task, level: float) -> float:
    """The share of the water reserve that a level is, all of it above [kg]."""
    return min(level / max(task.scenario.file.reserve.water, 1.0), 1.0)


def _kept_later(
    task: Task,
    ahead: Onward | None,
    reading: Reading,
    begun: Begun,
    aim: Aim | None,
    drawn: Drawn,
    shut: Sequence[int],
) -> Onward | None:
    """A plan into the reserve that eats into it only as far as the first water."""
    if ahead is None or ahead.reserve == 1.0:
        return ahead
    first = ahead.plan.stops[1]
    if first.kind != "supply" or first.row is None:
        return ahead
    if not task.scenario.supplies[first.row].water_available:
        return ahead
    left = replace(reading, clock=ahead.calls[0].depart)
    later = onward_from_water(task, ahead.calls[1], first.row, left, begun, aim, drawn, shut)
    if later is None:
        return ahead
    share = _water_share(task, later.lowest[0])
    return replace(later, calls=(ahead.calls[0], *later.calls), reserve=share)


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
        return "go on over the hours" if ahead.over else "go on"
    reserve = task.scenario.file.reserve
    left = -1.0
    if back is not None and back.open and back.bottom is not None:
        levels = ((back.water, reserve.water), (back.coal, reserve.coal))
        left = min((level / least for level, least in levels if least > 0), default=1.0)
    if ahead is not None and ahead.reserve >= min(left, 1.0) - _EVEN:
        return "go on into the reserve"
    return "turn back" if left >= 0 else "stay"


def _as_good(ahead: Onward | None, after: Onward) -> bool:
    """Whether going on keeps as much as going on once turned back does."""
    return ahead is not None and ahead.reserve >= after.reserve - _EVEN


def _off_plan(
    task: Task, old: Sequence[OldStop], reading: Reading
) -> tuple[float, float, float] | None:
    """Clock, water and coal against the old plan at this place [s], [kg], [kg].

    Later and more are above zero; at a stop the levels are those on arriving, or on leaving.
    """
    if not old:
        return None
    planned = planned_at(task, old, reading.distance, leaving=reading.leaving)
    return (
        reading.clock - planned.clock,
        reading.water - planned.water,
        reading.coal - planned.coal,
    )
