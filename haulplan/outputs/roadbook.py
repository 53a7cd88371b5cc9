"""What every sheet of a plan shares: places by letter, what is met between stops, ranges."""

import datetime as dt
import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from haulplan.demand import Demand, build_demand
from haulplan.demand.daylight import daylight
from haulplan.demand.glass import Crest, find_crests
from haulplan.demand.hills import Descent
from haulplan.errors import InputError, NoPlanError
from haulplan.outputs.doing import stands
from haulplan.outputs.paper import Marked, told
from haulplan.outputs.tables import clock_text, legs_csv, stops_csv
from haulplan.outputs.thirst import Reached, Thirst, drive_again, thirst_of
from haulplan.outputs.turns import Turn, find_turns
from haulplan.plan.plan import Plan, Stop
from haulplan.route import Passing, Route
from haulplan.scenario import Scenario
from haulplan.units import UNIT_SYSTEMS, UnitSystem

__all__ = [
    "Alternative",
    "Book",
    "Met",
    "alternatives",
    "clock_range",
    "day_heading",
    "day_range",
    "letter_of",
    "loaded_weight",
    "open_book",
    "sunset",
]

#: The thirst of the pessimistic column: nine runs in ten stay under it.
PESSIMISM: Final = 0.9
_INCH: Final = 0.0254
_DAY: Final = 86400.0
#: Descents drawn up for the crew: so steep over 100 m or more; the low gear's own default.
_STEEP: Final = 0.05


@dataclass(frozen=True, kw_only=True)
class Alternative:
    """Another supply of what a stop is made for: `ahead` or behind, and how far apart."""

    row: int
    name: str
    distance: float
    ahead: bool
    apart: float


@dataclass(frozen=True, kw_only=True)
class Met:
    """Something met on the road between stops; `words` says what to do or know there."""

    kind: str
    distance: float
    clock: float
    name: str
    words: str
    boxes: bool = False


@dataclass(frozen=True, kw_only=True)
class Book:
    """A plan with all that its sheets show.

    `reached` has the thirstier engine at each stop, none where that is not known, and
    `silence` says why. `typical` and `thirsty` reckon how far a dip goes.
    """

    scenario: Scenario
    route: Route
    plan: Plan
    system: UnitSystem
    revision: str
    reached: tuple[Reached, ...]
    silence: str
    typical: Thirst
    thirsty: Thirst | None
    crests: tuple[Crest, ...]
    descents: tuple[Descent, ...]
    turns: tuple[Turn, ...]
    met: tuple[Met, ...]

    def day_of(self, number: int) -> Sequence[int]:
        """Places in the plan's stops of one day: where it begins, its stops, where it ends."""
        stops = self.plan.stops
        own = [i for i, stop in enumerate(stops) if stop.day == number]
        return [own[0] - 1, *own] if number > 1 else own


def open_book(
    scenario: Scenario, route: Route, plan: Plan, system: UnitSystem, demand: Demand | None = None
) -> Book:
    """Gather what the sheets of a plan show.

    Parameters
    ----------
    scenario, route, plan
        The problem and its proved plan.
    system
        The units to show.
    demand
        The demand the plan was made with; the scenario's own where None.

    Returns
    -------
    book
        With the plan driven again thirstier.
    """
    planned = build_demand(scenario, route) if demand is None else demand
    thirsty, silence = _thirstier(scenario, route)
    reached: tuple[Reached, ...] = ()
    if thirsty is not None:
        reached = drive_again(scenario, thirsty, planned, plan)
    engine = scenario.file.engine
    crests: tuple[Crest, ...] = ()
    descents: tuple[Descent, ...] = ()
    if route.has_heights:
        glass = None if engine is None else engine.glass
        crests = find_crests(route.distance, route.elevation, glass)
        descents = _descents(route)
    given = scenario.file.sheet.revision
    mark = _mark(scenario, plan)
    typical = thirst_of(planned, planned, plan)
    turns = () if route.line is None else find_turns(route.line)
    met = sorted(
        _met(scenario, route, plan, system, typical, crests, descents), key=lambda m: m.distance
    )
    return Book(
        scenario=scenario,
        route=route,
        plan=plan,
        system=system,
        revision=mark if given is None else f"{given} ({mark})",
        reached=reached,
        silence=silence,
        typical=typical,
        thirsty=None if thirsty is None else thirst_of(thirsty, planned, plan),
        crests=crests,
        descents=descents,
        turns=turns,
        met=tuple(met),
    )


def _mark(scenario: Scenario, plan: Plan) -> str:
    """Six letters of the plan's printed figures: the same in any units, on any machine."""
    metric = UNIT_SYSTEMS["metric"]
    printed = (
        plan.title, plan.date.isoformat(), stops_csv(scenario, plan, metric),
        legs_csv(scenario, plan, metric),
    )  # fmt: skip
    return hashlib.sha256("\n".join(printed).encode()).hexdigest()[:6]


def _thirstier(scenario: Scenario, route: Route) -> tuple[Demand | None, str]:
    """The pessimistic demand, or why there is none."""
    if scenario.demand:
        return None, "measured use is taken as given; keep your own margin"
    try:
        return build_demand(scenario, route, pessimism=PESSIMISM), ""
    except NoPlanError as error:
        return None, f"a thirstier engine does not hold a hill: {error}"


def _descents(route: Route) -> tuple[Descent, ...]:
    """Stretches of 100 m or more that fall steeply throughout."""
    at = np.arange(0.0, route.length, 50.0)
    heights = np.interp(at, route.distance, route.elevation)
    fall = (heights[:-2] - heights[2:]) / 100.0 if at.size > 2 else np.zeros(0)
    steep = np.flatnonzero(fall >= _STEEP)
    parts = np.split(steep, np.flatnonzero(np.diff(steep) > 2) + 1) if steep.size else []
    return tuple(
        Descent(
            begin=float(at[part[0]]),
            end=float(at[part[-1] + 2]),
            fall=float(heights[part[0]] - heights[part[-1] + 2]),
            steepest=float(fall[part].max()),
        )
        for part in parts
    )


def _clock_at(plan: Plan, typical: Thirst, distance: float) -> float:
    """The plan's clock at a place between its stops [s]."""
    times = np.concatenate([[0.0], np.cumsum(typical.duration)])
    here = float(np.interp(distance, typical.distance, times))
    before = [stop for stop in plan.stops[:-1] if stop.distance < distance - 1.0]
    stop = before[-1] if before else plan.stops[0]
    return stop.depart + here - float(np.interp(stop.distance, typical.distance, times))


def _met(
    scenario: Scenario,
    route: Route,
    plan: Plan,
    system: UnitSystem,
    typical: Thirst,
    crests: Sequence[Crest],
    descents: Sequence[Descent],
) -> Iterator[Met]:
    """Bridges, level crossings, crests, steep descents and landmarks."""
    mass = system.mass

    def at(distance: float) -> float:
        return _clock_at(plan, typical, distance)

    for crossing in plan.crossings:
        what = "" if crossing.what == "gross" else f", {crossing.what}"
        alone = ", uncoupled" if crossing.uncoupled else ""
        yield Met(
            kind="bridge", distance=crossing.distance, clock=crossing.clock, name=crossing.name,
            words=f"posted {mass.number(crossing.limit)}, ours {mass.text(crossing.gross)}"
            f"{what}{alone}",
        )  # fmt: skip
    for passing in route.level_crossings:
        telephone = scenario.level_crossings[passing.row].telephone
        yield Met(
            kind="level crossing", distance=passing.distance, clock=at(passing.distance),
            name=passing.label,
            words=f"ring {telephone}" if telephone else "telephone not known: ask the railway",
            boxes=True,
        )  # fmt: skip
    for crest in crests:
        yield Met(
            kind="crest", distance=crest.distance, clock=at(crest.distance), name="Crest",
            words=_glass_words(crest, system),
        )  # fmt: skip
    for descent in descents:
        yield Met(
            kind="descent", distance=descent.begin, clock=at(descent.begin),
            name="Steep descent",
            words=f"to {system.distance.text(descent.end)}, {100 * descent.steepest:.0f} %: low "
            "gear, brakes proved, nobody stops",
        )  # fmt: skip
    used = {(stop.row, round(stop.distance)) for stop in plan.stops if stop.kind == "halt"}
    for passing in route.passings:
        if passing.kind == "place" and (passing.row, round(passing.distance)) not in used:
            yield _landmark(scenario, passing, at(passing.distance))


def _landmark(scenario: Scenario, passing: Passing, clock: float) -> Met:
    place = scenario.places[passing.row]
    words = [place.note or "", "pull-in" if place.pull_in == "yes" else ""]
    return Met(
        kind="landmark", distance=passing.distance, clock=clock, name=passing.label,
        words="; ".join(word for word in words if word),
    )  # fmt: skip


def _glass_words(crest: Crest, system: UnitSystem) -> str:
    """The mark to carry over a crest, and where the glass is read for it."""
    if crest.mark is None:
        return "glass: not known: ask the boiler's inspector"
    if crest.above:
        return "glass: above its top: ask the boiler's inspector"
    mark = (
        f"{100 * crest.mark:.0f} cm" if system.name == "metric" else f"{crest.mark / _INCH:.1f} in"
    )
    return f"glass {mark} or more at {system.distance.text(crest.read_at)}"


def letter_of(number: int) -> str:
    """A letter for a place, in order: a to z, then aa, ab and so on.

    Parameters
    ----------
    number
        From 0 up. [-]

    Returns
    -------
    letter
        Small, so that no stop's number is taken for it.

    Examples
    --------
    >>> [letter_of(n) for n in (0, 25, 26, 701)]
    ['a', 'z', 'aa', 'zz']
    """
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("a") + rest) + text
    return text


def alternatives(
    scenario: Scenario, route: Route, stop: Stop, what: str
) -> tuple[Alternative, ...]:
    """Where else to get what a stop is made for: the next place ahead and the last behind.

    Parameters
    ----------
    scenario, route
        With its supplies.
    stop
        One of the plan's.
    what
        "water" or "coal".

    Returns
    -------
    alternatives
        At most one ahead and one behind, nearest the stop; none for a stop that takes
        none of it.
    """
    if not stands(stop) or getattr(stop, f"{what}_taken") <= 0:
        return ()
    offers = [
        p
        for p in route.passings
        if p.kind == "supply"
        and not (stop.kind == "supply" and p.row == stop.row)
        and getattr(scenario.supplies[p.row], f"{what}_available") is not None
    ]
    ahead = [p for p in offers if p.distance > stop.distance]
    behind = [p for p in offers if p.distance <= stop.distance]
    found = [(p, True) for p in ahead[:1]] + [(p, False) for p in behind[-1:]]
    return tuple(
        Alternative(
            row=p.row, name=p.label, distance=p.distance, ahead=on,
            apart=abs(p.distance - stop.distance),
        )
        for p, on in found
    )  # fmt: skip


def clock_range(book: Book, place: int) -> tuple[float, float]:
    """Earliest and latest arrival at a stop.

    Parameters
    ----------
    book
        The plan.
    place
        Of the stop among the plan's.

    Returns
    -------
    earliest, latest
        The plan's own clock, and that of the thirstier engine put off by the scenario's
        slack on the driving since the day began. [s]
    """
    plan = book.plan
    stop = plan.stops[place]
    if stop.kind == "start":
        return stop.depart, stop.depart
    late = book.reached[place].arrive if book.reached else stop.arrive
    driven = sum(leg.duration for leg in plan.legs if plan.stops[leg.end].day == stop.day
                 and leg.end <= place)  # fmt: skip
    return stop.arrive, max(late, stop.arrive) + book.scenario.file.sheet.slack * driven


def sunset(scenario: Scenario, route: Route, day: dt.date) -> str:
    """When the sun sets on a day, as text.

    Parameters
    ----------
    scenario, route
        Whose hours give the clock, and whose start the place where the hours give none.
    day
        The date.

    Returns
    -------
    text
        "not known", with what to give, where it cannot be reckoned.
    """
    hours = scenario.file.hours
    place = (hours.latitude, hours.longitude)
    if place[0] is None and route.line is not None:
        place = route.line.position(0.0)
    if hours.utc_offset is None or place[0] is None or place[1] is None:
        return "not known (give hours.utc_offset)"
    try:
        _, sets = daylight(day, place[0], place[1], hours.utc_offset, "sun")
    except InputError:
        return "not known (the sun does not rise)"
    return "none" if sets >= _DAY else clock_text(math.floor(sets / 60) * 60)


def loaded_weight(plan: Plan) -> float | None:
    """Engine and train as they set out.

    Parameters
    ----------
    plan
        The plan.

    Returns
    -------
    weight
        With water and coal aboard; None where the scenario states no weight. [kg]
    """
    first = plan.stops[0]
    if plan.dry_weight <= 0:
        return None
    return (
        plan.dry_weight
        + first.tank_depart
        + first.bunker_depart
        + first.cart_depart
        + first.boiler_depart
    )


def day_range(early: float, late: float, day: int) -> str:
    """A range of clocks on one day of the run.

    Parameters
    ----------
    early, late
        Clocks from midnight of the plan's first date. [s]
    day
        Counted from 1. [-]

    Returns
    -------
    text
        As "09:20-09:35"; one clock where they are the same minute.
    """
    first, last = (clock_text(clock - _DAY * (day - 1)) for clock in (early, late))
    return first if first == last else f"{first}\N{EN DASH}{last}"


def day_heading(book: Book, day: int, name: str = "") -> Marked:
    """Title, day, revision and units: the same words at the head of every sheet.

    Parameters
    ----------
    book
        The plan.
    day
        Counted from 1; 0 for a sheet of the whole run.
    name
        Of the sheet.

    Returns
    -------
    markup
        A heading and a line.
    """
    plan, system = book.plan, book.system
    days = max(stop.day for stop in plan.stops)
    date = plan.days[day - 1].date if day and len(plan.days) >= day else plan.date
    words = [f"{date:%A} {date.isoformat()}"]
    if day and days > 1:
        words.append(f"day {day} of {days}")
    words.append(f"revision {book.revision}")
    kinds = ("distance", "height", "water", "coal", "mass")
    units = ", ".join(getattr(system, kind).label for kind in kinds)
    title = f"{name}: {plan.title}" if name else plan.title
    return Marked(
        f"<h1>{told(title)}</h1> <p>{told('; '.join(words))}; units: {told(units)}; local clock, "
        f"24 hours.</p> "
    )
