"""What a crew asks, as text: turned into a reading and a change, refused with the remedy."""

import difflib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from haulplan.errors import InputError, Problem
from haulplan.route import Passing
from haulplan.underway.cells import clock_of, tank_level
from haulplan.underway.change import Change, Weather
from haulplan.underway.sofar import OldStop, planned_at
from haulplan.underway.task import DAY, Reading, Task, day_of, reserved, standing_at
from haulplan.units import UNIT_SYSTEMS, parse

__all__ = ["Asked", "read_plan", "understand"]

#: Half of the tenth of a mile to which a distance is read: so near a stop is at it. [m]
_READ_TO = 80.5
#: A plan that takes more than this at a stop can be told by the dip to be done. [-]
_TELLS = 0.05


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A crew's words; None is not said."""

    at: str
    day: int | None = None
    clock: str | None = None
    leaving: bool | None = None
    cart: str | None = None
    water: str | None = None
    coal: str | None = None
    shut: tuple[str, ...] = ()
    closed: str | None = None
    detour: str | None = None
    weather: str | None = None
    dropped: tuple[str, ...] = ()
    thirst: float = 0.0


def understand(task: Task, asked: Asked, old: Sequence[OldStop]) -> tuple[Reading, Change]:
    """The reading and the change a crew means.

    Parameters
    ----------
    task
        The whole run.
    asked
        Their words.
    old
        Stops of the plan, for what they do not say.

    Returns
    -------
    reading, change
        In SI.

    Raises
    ------
    InputError
        With everything that cannot be understood.
    """
    problems: list[Problem] = []
    distance = _distance(task, asked.at, problems)
    stores = task.scenario.file.stores
    water = _level("--water", "water", asked.water, stores.tank, problems)
    coal = _level("--coal", "coal", asked.coal, stores.bunker, problems)
    carts = [store for store in task.scenario.stores if store.kind == "cart"]
    room = sum(store.water for store in carts)
    cart = _level("--cart", "water", asked.cart, room, problems)
    clock = _clock(asked.clock, problems)
    change = Change(
        shut=tuple(row for name in asked.shut for row in _rows(task, name, problems)),
        dropped=asked.dropped,
        weather=cast("Weather | None", asked.weather),
        closed=_stretch(task, asked.closed, problems),
        detour=_amount("--detour", "length", asked.detour, problems),
        water=1 + asked.thirst / 100,
        coal=1 + asked.thirst / 100,
    )
    problems += _not_fitting(task, asked, cart, room)
    if asked.detour is not None and asked.closed is None:
        problems.append(_problem("--detour", "no closed road", "give --closed-road too"))
    if problems or distance is None:
        raise InputError(problems)
    standing_at(task, distance)
    said = _Said(clock=clock, day=asked.day, water=water, coal=coal, cart=cart)
    return _reading(task, old, distance, said, asked.leaving), change


@dataclass(frozen=True, kw_only=True)
class _Said:
    """What was said in figures; None is not said."""

    clock: float | None
    day: int | None
    water: float | None
    coal: float | None
    cart: float | None


def _reading(
    task: Task, old: Sequence[OldStop], distance: float, said: _Said, leaving: bool | None
) -> Reading:
    """The reading, with the plan's figures for what was not said."""
    arriving = planned_at(task, old, distance)
    done = planned_at(task, old, distance, leaving=True)
    clock = said.clock
    if clock is not None:
        clock += DAY * _day(task, old, (arriving, done), clock, said.day)
    if leaving is None:
        leaving = _is_leaving(task, (arriving, done), clock, said)
    planned = done if leaving else arriving
    return Reading(
        distance=distance,
        clock=planned.clock if clock is None else clock,
        water=planned.water if said.water is None else said.water,
        coal=planned.coal if said.coal is None else said.coal,
        cart=planned.cart if said.cart is None else said.cart,
        leaving=leaving,
    )


def _day(
    task: Task,
    old: Sequence[OldStop],
    planned: tuple[Reading, Reading],
    hour: float,
    said: int | None,
) -> int:
    """The day that was said, or the one on which a time of day is nearest to the plan."""
    if said is not None:
        return said - 1
    most = max(task.scenario.file.nights.most, int(old[-1].arrive // DAY))
    begin, end = planned[0].clock, planned[1].clock

    def off(day: int) -> float:
        clock = hour + DAY * day
        return max(begin - clock, clock - end, 0.0)

    return min(range(most + 2), key=off)


def _is_leaving(
    task: Task, planned: tuple[Reading, Reading], clock: float | None, said: _Said
) -> bool:
    """Whether what the plan does at a stop is done, still to do where that is not clear.

    Where the plan fills up the levels tell, all that it fills; elsewhere the clock.
    """
    arriving, done = planned
    if done.clock <= arriving.clock:
        return False
    if clock is not None and day_of(task, arriving.clock) < day_of(task, clock):
        night = day_of(task, arriving.clock) < day_of(task, done.clock)
        if night:
            return True
    stores = task.scenario.file.stores
    levels = (
        (said.water, arriving.water, done.water, stores.tank),
        (said.coal, arriving.coal, done.coal, stores.bunker),
    )
    filled = [level for level in levels if level[2] - level[1] > _TELLS * level[3]]
    if filled:
        return all(
            level is not None and abs(level - after) < abs(level - before)
            for level, before, after, _ in filled
        )
    return clock is not None and clock - arriving.clock > done.clock - clock


def read_plan(path: Path, task: Task) -> tuple[Task, tuple[OldStop, ...]]:
    """A plan.json written earlier.

    Parameters
    ----------
    path
        The file.
    task
        The run it must be of.

    Returns
    -------
    task, stops
        The run with the reserve the plan was made with, where the file tells; start,
        supplies, finish.

    Raises
    ------
    InputError
        If it is no plan, or another run's.
    """
    scenario = task.scenario
    remedy = "give the plan.json that haulplan plan --out wrote for this scenario"
    try:
        document: Any = json.loads(path.read_text("utf-8"))
        if document["schema"]["name"] != "haulplan-plan":
            raise ValueError("not a plan")
        trucks = {s.name: row for row, s in enumerate(scenario.stores) if s.kind == "truck"}
        stops = tuple(_old_stop(stop, trucks) for stop in document["stops"])
        title, reserve = str(document["title"]), document.get("reserve")
        if reserve is not None:
            task = reserved(task, float(reserve["water_kg"]), float(reserve["coal_kg"]))
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        words = error.strerror if isinstance(error, OSError) else "no plan of ours"
        problem = Problem(file=path.name, where="", found=f"cannot be read: {words}", remedy=remedy)
        raise InputError([problem]) from error
    if title != scenario.file.title or len(stops) < 2:
        found = f"a plan of '{title[:60]}'"
        raise InputError([Problem(file=path.name, where="title", found=found, remedy=remedy)])
    return task, stops


def _old_stop(stop: dict[str, Any], trucks: dict[str, int]) -> OldStop:
    def number(key: str, other: str = "") -> float:
        value = stop.get(key)
        return float(stop[other] if value is None else value)

    depart, night, truck = number("leave_s", "arrive_s"), stop["night"], stop["truck"]
    return OldStop(
        name=str(stop["name"]),
        distance=number("distance_m"),
        kind=str(stop["kind"]),
        arrive=number("arrive_s", "leave_s"),
        ended=depart - (0.0 if night is None else float(night["duration_s"])),
        depart=depart,
        water=number("tank_on_leaving_kg"),
        coal=number("bunker_on_leaving_kg"),
        cart=number("cart_on_leaving_kg"),
        boiler=number("boiler_extra_on_leaving_kg"),
        water_taken=number("water_taken_kg") + number("cart_filled_kg"),
        coal_taken=number("coal_taken_kg"),
        truck=None if truck is None else trucks[str(truck)],
        fire=None if night is None else str(night["fire"]),
        meals=tuple(str(meal) for meal in stop["meals"]),
        duties=tuple(str(duty) for duty in stop["duties"]),
    )


def _not_fitting(task: Task, asked: Asked, cart: float | None, room: float) -> list[Problem]:
    """A cart the train has not, or that holds less; a day the run has not."""
    problems = []
    if cart is not None and cart > room:
        remedy = "read again; stores.csv states what it holds" if room else "leave it out"
        found = "more than the cart holds" if room else "no cart in stores.csv"
        problems.append(_problem("--cart", found, remedy))
    if asked.day is not None:
        nights = task.scenario.file.nights.most
        if asked.day > 1 and not nights:
            problems.append(
                _problem("--day", f"day {asked.day}", "the run has no night: it is of one day")
            )
        if asked.clock is None:
            problems.append(_problem("--day", "no time", "give --time too"))
    return problems


def _problem(option: str, found: str, remedy: str) -> Problem:
    return Problem(file=option, where="", found=found, remedy=remedy)


def _amount(option: str, kind: str, text: str | None, problems: list[Problem]) -> float | None:
    if text is None:
        return None
    try:
        value = parse(kind, text)
        if value < 0:
            raise ValueError("give nothing below zero")
    except ValueError as error:
        problems.append(_problem(option, f"'{text[:40]}'", str(error)))
        return None
    return value


def _level(
    option: str, kind: str, text: str | None, room: float, problems: list[Problem]
) -> float | None:
    if text is None:
        return None
    level = tank_level(text, "", room)
    return _amount(option, kind, text, problems) if level is None else level


def _clock(text: str | None, problems: list[Problem]) -> float | None:
    if text is None:
        return None
    clock = clock_of(text)
    if clock is None:
        problems.append(_problem("--time", f"'{text[:40]}'", "write it as in '10:40'"))
    return clock


def _distance(task: Task, text: str, problems: list[Problem]) -> float | None:
    """A distance along the road, or that of a place on it."""
    if any(letter.isdigit() for letter in text[:1]):
        at = _amount("--at", "length", text, problems)
        if at is None:
            return None
        stops = [p.distance for p in task.route.passings if _stands_at(task, p)]
        near = min(stops, key=lambda stop: abs(stop - at), default=at)
        return near if abs(near - at) <= _READ_TO else at
    file = task.scenario.file
    places = {file.start: 0.0} | {p.label: p.distance for p in task.route.passings}
    return _named("--at", text, places, problems)


def _stands_at(task: Task, passing: Passing) -> bool:
    """Whether the train may stand there: at a supply, a halt, a call or a night's place."""
    if passing.kind != "place":
        return passing.kind == "supply"
    place = task.scenario.places[passing.row]
    return place.halt == "yes" or place.night == "yes" or place.stay is not None


def _rows(task: Task, name: str, problems: list[Problem]) -> tuple[int, ...]:
    rows = {supply.name: row for row, supply in enumerate(task.scenario.supplies)}
    row = _named("--shut", name, rows, problems)
    return () if row is None else (int(row),)


def _named(
    option: str, text: str, known: dict[str, float] | dict[str, int], problems: list[Problem]
) -> float | None:
    """What stands under a name, spelling forgiven where one name only is near."""
    folded = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(text.casefold(), list(folded), n=1, cutoff=0.75)
    part = [name for name in folded if text.strip() and text.casefold().strip() in name]
    found = text.casefold() if text.casefold() in folded else (
        part[0] if len(part) == 1 else near[0] if near else None
    )  # fmt: skip
    if found is None:
        names = ", ".join(list(known)[:20])
        problems.append(_problem(option, f"no place '{text[:60]}'", f"known: {names}"))
        return None
    return known[folded[found]]


def _stretch(task: Task, text: str | None, problems: list[Problem]) -> tuple[float, float] | None:
    if text is None:
        return None
    begin, mark, end = text.partition(" to ")
    first = _amount("--closed-road", "length", begin, problems)
    last = _amount("--closed-road", "length", end, problems) if mark else first
    if first is None or last is None:
        return None
    unit = UNIT_SYSTEMS[task.scenario.file.units].distance
    if not first <= last <= task.route.length:
        end_of = unit.text(task.route.length)
        problems.append(
            _problem(
                "--closed-road", f"'{text[:40]}'",
                f"write it as '13 mi to 14.5 mi', on the road ({end_of})",
            )
        )  # fmt: skip
        return None
    return first, last
