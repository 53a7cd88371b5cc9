"""Drills: what if a stop is shut, the coal poor, the road wet, an hour lost, a feed out.

Each is answered by a revision from where the crew would learn of it, so that the answer
can stand on the sheet before anybody needs it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from haulplan.plan import Plan, Stop
from haulplan.scenario.schema import Store
from haulplan.underway.change import Change
from haulplan.underway.onward import Onward
from haulplan.underway.revise import Revision, revise
from haulplan.underway.sofar import old_stops
from haulplan.underway.task import Reading, Task, as_planned
from haulplan.underway.turnback import find_returns

__all__ = ["POOR_COAL", "Drill", "run_drills"]

#: Poor coal takes so much more (common practice, no source: 15 to 40 %).
POOR_COAL = 1.25
_HOUR = 3600.0
#: An arrival sooner by more than this has left a night out. [s]
_NIGHT = 6 * _HOUR


@dataclass(frozen=True, kw_only=True)
class Drill:
    """One thing that may fail, where it shows, and the standing answer.

    `late` is against the plan [s], `last` the furthest place to turn back to known water
    with the reserve kept, reckoned from the stop before [m]; `skipped` says why a drill
    was not run.
    """

    name: str
    distance: float
    revision: Revision | None
    late: float | None
    last: float | None
    turn_to: str
    skipped: str
    answer: str


def run_drills(
    task: Task, plan: Plan, *, progress: Callable[[str], None] = lambda _: None
) -> tuple[Drill, ...]:
    """Put a plan through every drill that its scenario allows.

    Parameters
    ----------
    task
        What the plan is for.
    plan
        The one to be drilled.
    progress
        Told what is being done.

    Returns
    -------
    drills
        Stops first, in driving order.
    """
    task = as_planned(task, plan)
    drills = []
    for stop in plan.stops:
        if stop.kind == "supply" or stop.truck is not None:
            progress(f"drilling: {stop.name} shut")
            drills.append(_shut(task, plan, stop))
    drills.append(_cart(task, plan))
    drills.append(_feed(plan))
    mornings = [stop for stop in plan.stops if stop.kind == "start" or stop.fire is not None]
    for number, morning in enumerate(mornings, start=1):
        when = f" (day {number})" if len(mornings) > 1 else ""
        for name, change, lost in (
            ("coal poor: a quarter more is burnt", Change(coal=POOR_COAL), 0.0),
            ("road wet", Change(weather="wet"), 0.0),
            ("an hour lost on the way to the first stop", Change(), _HOUR),
        ):
            progress(f"drilling: {name}{when}")
            drills.append(_day(task, plan, morning, f"{name}{when}", change, lost))
    return tuple(drills)


def _leaving(stop: Stop) -> Reading:
    return Reading(
        distance=stop.distance,
        clock=stop.depart,
        water=stop.tank_depart,
        coal=stop.bunker_depart,
        cart=stop.cart_depart,
        leaving=stop.kind != "start",
    )


def _arriving(stop: Stop, late: float = 0.0) -> Reading:
    return Reading(
        distance=stop.distance,
        clock=stop.arrive + late,
        water=stop.tank_arrive,
        coal=stop.bunker_arrive,
        cart=stop.cart_arrive,
    )


def _shut(task: Task, plan: Plan, stop: Stop) -> Drill:
    """A stop found shut on arriving at it, and where it had to be known to turn back."""
    name, change = f"{stop.name} shut", Change()
    if stop.truck is not None:
        truck = task.scenario.stores[stop.truck]
        name = f"{truck.name} does not come to {stop.name}"
        task = _with_stores(task, [store for store in task.scenario.stores if store != truck])
    elif stop.row is not None:
        change = Change(shut=(stop.row,))
    found = revise(task, _arriving(stop), change, old=old_stops(plan))
    held = _returns_from(task, _leaving(plan.stops[plan.stops.index(stop) - 1]), change)
    return Drill(
        name=name,
        distance=stop.distance,
        revision=found,
        late=found.late,
        last=held[0],
        turn_to=held[1],
        skipped="",
        answer=_answer(found),
    )


def _returns_from(task: Task, reading: Reading, change: Change) -> tuple[float | None, str]:
    """The last place to turn back with the reserve kept [m], and the water turned back to."""
    here = task.route.index(reading.distance)
    kept = [r for r in find_returns(task, here, reading, change.shut) if r.last is not None]
    best = max(kept, key=lambda one: one.last or 0.0, default=None)
    return (None, "") if best is None else (best.last, best.name)


def _answer(found: Revision) -> str:
    """The standing answer in a sentence."""
    if found.verdict == "turn back" and found.back is not None:
        if found.after is None:
            return f"turn back to {found.back.name}; have brought there what is short"
        return f"turn back to {found.back.name}{_over(found.after, found.late)}"
    if found.ahead is None or found.verdict == "stay":
        return "stand, and have water brought"
    following = next((call.name for call in found.ahead.calls[1:] if call.kind == "supply"), "")
    to = f"go on to {following}" if following else "go on to the finish"
    if found.verdict == "go on into the reserve":
        over = _over(found.ahead, found.late)
        return f"{to}, into the reserve{over}; ring ahead for water to meet you"
    if found.verdict == "go on over the hours":
        return f"{to}{_over(found.ahead, found.late)}"
    return to if found.ahead.whole else f"{to}; less than wanted is left at the finish"


def _over(onward: Onward, late: float | None) -> str:
    """By how much the clock's limits are not kept, as short as can be."""
    words = {"crew": "over the crew's hours", "light": "after wheels must stop"}
    most = {kind: max((o.by for o in onward.over if o.kind == kind), default=0.0) for kind in words}
    told = ["a night sooner"] if (late or 0.0) < -_NIGHT else []
    told += [f"{most[kind] / 60:.0f} min {text}" for kind, text in words.items() if most[kind] > 0]
    rest = [o.name for o in onward.over if o.kind not in words]
    told += [f"{name} out of its time" for name in dict.fromkeys(rest)]
    return "".join(f", {part}" for part in told)


def _cart(task: Task, plan: Plan) -> Drill:
    """Every towed cart of stores.csv left behind at the start, with its water."""
    name = "water cart lost"
    carts = [store.name for store in task.scenario.stores if store.kind == "cart"]
    if not carts:
        return _skip(name, "no cart in this scenario")
    if task.scenario.demand:
        return _skip(name, "use is given with the cart in the train (demand.csv)")
    without = _with_stores(task, [s for s in task.scenario.stores if s.kind != "cart"])
    return _day(without, plan, plan.stops[0], name, Change(dropped=tuple(carts)), 0.0)


def _with_stores(task: Task, stores: Sequence[Store]) -> Task:
    return replace(task, scenario=replace(task.scenario, stores=tuple(stores)))


def _skip(name: str, why: str) -> Drill:
    return Drill(
        name=name, distance=0.0, revision=None, late=None, last=None, turn_to="", skipped=why,
        answer=why,
    )  # fmt: skip


def _feed(plan: Plan) -> Drill:
    """One feed out: the other must last to the next stop; the plan's figures are the same."""
    longest = max(plan.legs, key=lambda leg: leg.duration)
    ahead = plan.stops[longest.end]
    return Drill(
        name="one feed out",
        distance=longest.distance,
        revision=None,
        late=None,
        last=None,
        turn_to="",
        skipped="",
        answer=f"go on with the other to the next stop at most and mend it there (longest leg: "
        f"to {ahead.name}); with none working stop and keep to the boiler's own rule",
    )


def _day(task: Task, plan: Plan, morning: Stop, name: str, change: Change, lost: float) -> Drill:
    """A worse day: known on leaving in the morning, or an hour lost by the first stop."""
    if change.weather is not None:
        if task.scenario.demand:
            return _skip(name, "use is given for one weather only (demand.csv)")
        if task.scenario.file.conditions.weather == change.weather:
            return _skip(name, f"planned as {change.weather} already")
    reading, first = _leaving(morning), plan.stops[plan.stops.index(morning) + 1]
    if lost and first.kind != "finish":
        reading = _arriving(first, lost)
    elif lost:
        reading = replace(reading, clock=reading.clock + lost)
    found = revise(task, reading, change, old=old_stops(plan))
    return Drill(
        name=name,
        distance=reading.distance,
        revision=found,
        late=found.late,
        last=None,
        turn_to="",
        skipped="",
        answer=_answer(found),
    )
