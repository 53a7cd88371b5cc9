"""Drills: what if a stop is shut, the coal poor, the road wet, an hour lost, a feed out.

Each is answered by a revision from where the crew would learn of it, so that the answer
can stand on the sheet before anybody needs it.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from haulplan.plan import Plan, Stop
from haulplan.underway.change import Change
from haulplan.underway.revise import Revision, old_stops, revise
from haulplan.underway.task import Reading, Task, as_planned
from haulplan.underway.turnback import find_returns

__all__ = ["POOR_COAL", "Drill", "run_drills"]

#: Poor coal takes so much more (common practice, no source: 15 to 40 %).
POOR_COAL = 1.25
_HOUR = 3600.0


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
    task = as_planned(task, plan.choices)
    drills = []
    for stop in plan.stops:
        if stop.row is not None:
            progress(f"drilling: {stop.name} shut")
            drills.append(_shut(task, plan, stop))
    drills.append(_cart(task, plan))
    drills.append(_feed(plan))
    for name, change, lost in (
        ("coal poor: a quarter more is burnt", Change(coal=POOR_COAL), 0.0),
        ("road wet", Change(weather="wet"), 0.0),
        ("an hour lost on the way to the first stop", Change(), _HOUR),
    ):
        progress(f"drilling: {name}")
        drills.append(_day(task, plan, name, change, lost))
    return tuple(drills)


def _arriving(stop: Stop, late: float = 0.0) -> Reading:
    return Reading(
        distance=stop.distance,
        clock=stop.arrive + late,
        water=stop.tank_arrive,
        coal=stop.bunker_arrive,
    )


def _shut(task: Task, plan: Plan, stop: Stop) -> Drill:
    """A stop found shut on arriving at it, and where it had to be known to turn back."""
    assert stop.row is not None
    change = Change(shut=(stop.row,))
    old = old_stops(plan)
    found = revise(task, _arriving(stop), change, old=old)
    before = plan.stops[plan.stops.index(stop) - 1]
    leaving = Reading(
        distance=before.distance, clock=before.depart, water=before.tank_depart,
        coal=before.bunker_depart,
    )  # fmt: skip
    held = _returns_from(task, leaving, change)
    return Drill(
        name=f"{stop.name} shut",
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
        then = "" if found.after is not None else "; have brought there what is short"
        return f"turn back to {found.back.name}{then}"
    if found.ahead is None or found.verdict == "stay":
        return "stand, and have water brought"
    following = next((call.name for call in found.ahead.calls[1:] if call.kind == "supply"), "")
    to = f"go on to {following}" if following else "go on to the finish"
    if found.verdict == "go on into the reserve":
        return f"{to}, into the reserve; ring ahead for water to meet you"
    return to if found.ahead.whole else f"{to}; less than wanted is left at the finish"


def _cart(task: Task, plan: Plan) -> Drill:
    """Every towed cart of stores.csv left behind at the start, with its water."""
    name = "water cart lost"
    stores: tuple[Any, ...] = getattr(task.scenario, "stores", ())
    carts = [store.name for store in stores if store.kind == "cart"]
    if not carts:
        return _skip(name, "no cart in this scenario")
    if task.scenario.demand:
        return _skip(name, "use is given with the cart in the train (demand.csv)")
    kept: Any = {"stores": tuple(store for store in stores if store.kind != "cart")}
    without = replace(task, scenario=replace(task.scenario, **kept))
    return _day(without, plan, name, Change(dropped=tuple(carts)), 0.0)


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


def _day(task: Task, plan: Plan, name: str, change: Change, lost: float) -> Drill:
    """A worse day: known at the start, or an hour lost by the first stop."""
    if change.weather is not None:
        if task.scenario.demand:
            return _skip(name, "use is given for one weather only (demand.csv)")
        if task.scenario.file.conditions.weather == change.weather:
            return _skip(name, f"planned as {change.weather} already")
    first = plan.stops[0]
    reading = Reading(
        distance=0.0, clock=first.depart, water=first.tank_arrive, coal=first.bunker_arrive
    )
    if lost and len(plan.stops) > 2:
        reading = _arriving(plan.stops[1], lost)
    elif lost:
        reading = Reading(
            distance=0.0, clock=first.depart + lost, water=reading.water, coal=reading.coal
        )
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
