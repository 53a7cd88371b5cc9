"""What a crew asks, as text: turned into a reading and a change, refused with the remedy."""

import difflib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from haulplan.errors import InputError, Problem
from haulplan.scenario import Scenario
from haulplan.underway.cells import clock_of, tank_level
from haulplan.underway.change import Change, Weather
from haulplan.underway.revise import OldStop
from haulplan.underway.task import Reading, Task, drive, standing_at
from haulplan.units import UNIT_SYSTEMS, parse

__all__ = ["Asked", "planned_at", "read_plan", "understand"]


#: Half of the tenth of a mile to which a distance is read: so near a stop is at it. [m]
_READ_TO = 80.5


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A crew's words; None is not said."""

    at: str
    clock: str | None = None
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
    if asked.detour is not None and asked.closed is None:
        problems.append(_problem("--detour", "no closed road", "give --closed-road too"))
    if problems or distance is None:
        raise InputError(problems)
    standing_at(task, distance)
    planned = planned_at(task, old, distance)
    if clock is not None and clock < task.scenario.file.depart - 12 * 3600:
        clock += 86400.0
    reading = Reading(
        distance=distance,
        clock=planned.clock if clock is None else clock,
        water=planned.water if water is None else water,
        coal=planned.coal if coal is None else coal,
    )
    return reading, change


def planned_at(task: Task, old: Sequence[OldStop], distance: float) -> Reading:
    """What the plan has at a place; at a stop on arriving.

    Parameters
    ----------
    task
        The whole run.
    old
        Stops of the plan.
    distance
        Along the road. [m]

    Returns
    -------
    reading
        As planned.
    """
    last = [stop for stop in old if stop.distance < distance - 0.5 or stop is old[0]][-1]
    task, here = standing_at(task, distance)
    first = task.route.index(last.distance)
    driven = drive(task.demand, first, here, last.water + last.coal, task.demand.gear)
    return Reading(
        distance=distance,
        clock=last.depart + float(driven.duration[-1]),
        water=max(last.water - float(driven.water[-1]), 0.0),
        coal=max(last.coal - float(driven.coal[-1]), 0.0),
    )


def read_plan(path: Path, scenario: Scenario) -> tuple[OldStop, ...]:
    """The stops of a plan.json written earlier.

    Parameters
    ----------
    path
        The file.
    scenario
        It must be for.

    Returns
    -------
    stops
        Start, supplies, finish.

    Raises
    ------
    InputError
        If it is no plan, or another run's.
    """
    remedy = "give the plan.json that haulplan plan --out wrote for this scenario"
    try:
        document: Any = json.loads(path.read_text("utf-8"))
        if document["schema"]["name"] != "haulplan-plan":
            raise ValueError("not a plan")
        stops = tuple(_old_stop(stop) for stop in document["stops"])
        title = str(document["title"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        words = error.strerror if isinstance(error, OSError) else "no plan of ours"
        problem = Problem(file=path.name, where="", found=f"cannot be read: {words}", remedy=remedy)
        raise InputError([problem]) from error
    if title != scenario.file.title or len(stops) < 2:
        found = f"a plan of '{title[:60]}'"
        raise InputError([Problem(file=path.name, where="title", found=found, remedy=remedy)])
    return stops


def _old_stop(stop: dict[str, Any]) -> OldStop:
    def number(key: str, other: str = "") -> float:
        value = stop.get(key)
        return float(stop[other] if value is None else value)

    return OldStop(
        name=str(stop["name"]),
        distance=number("distance_m"),
        arrive=number("arrive_s", "leave_s"),
        depart=number("leave_s", "arrive_s"),
        water=number("tank_on_leaving_kg"),
        coal=number("bunker_on_leaving_kg"),
        water_taken=number("water_taken_kg"),
        coal_taken=number("coal_taken_kg"),
    )


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
        stops = [p.distance for p in task.route.passings if p.kind == "supply"]
        near = min(stops, key=lambda stop: abs(stop - at), default=at)
        return near if abs(near - at) <= _READ_TO else at
    file = task.scenario.file
    places = {file.start: 0.0} | {p.label: p.distance for p in task.route.passings}
    return _named("--at", text, places, problems)


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
