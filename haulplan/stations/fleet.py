"""The fleet: engines by their own figures or by class, and fleets drawn from a mix.

In procession use goes by the hour. An owner's hourly thirst is turned into use along the
road at the pace the engine is let go; a class's use comes from the steam model on this
road at that pace, hills and all.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from haulplan import units
from haulplan.demand.haul import Haul, assemble
from haulplan.demand.segment import choose_gears, road_of
from haulplan.errors import InputError, NoPlanError, Problem
from haulplan.scenario.classes import class_figures, engine_classes, fuel_figures
from haulplan.scenario.schema import Engine as Figures
from haulplan.stations.course import Course
from haulplan.stations.read import Event
from haulplan.stations.schema import FleetRow

__all__ = ["STANDING", "Drawn", "Engine", "build_fleet", "draw_fleet"]

Array = NDArray[np.float64]

#: Use of an engine standing in a queue where its owner gives none: 3 to 6 imperial gallons
#: an hour are usual. Common practice, no source. [kg s⁻¹]
STANDING = units.parse("water rate", "5 imp gal/h")
#: Known differences between engines of one class, as drawn; haulplan's assumption. [-]
_THIRST_BAND, _SPEED_BAND = (0.85, 1.0, 1.15), (0.9, 1.0, 1.1)


@dataclass(frozen=True, kw_only=True)
class Engine:
    """One engine: stores [kg], rates [kg s⁻¹], speed [m s⁻¹], way from `joins` to `leaves` [m].

    `use` is typical use from the start of the course to each `distance` at its own free
    speed, which the pace caps. `held` is what each second behind a slower engine costs,
    `standing` each second at a station.
    """

    name: str
    kind: str
    slot: int
    tank: float
    at_start: float
    speed: float
    standing: float
    held: float
    joins: float
    leaves: float
    distance: Array
    use: Array
    coal: float
    width: float | None
    weight: float | None
    lifts_water: bool
    source: str
    contact: str = ""
    note: str = ""

    def used(self, at: float) -> float:
        """Typical use from the start of the course to a distance along it [kg]."""
        return float(np.interp(at, self.distance, self.use))


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """An engine drawn from a class: as a row of the fleet, and its factor on thirst."""

    row: FleetRow
    thirst: float


def draw_fleet(event: Event) -> tuple[Drawn, ...]:
    """Engines drawn from the class mix: the same draw gives the same fleet.

    Tank and weight lie within the class's own band, thirst and speed within ±15 % and
    ±10 % of its typical ones (haulplan's assumption), each from a triangle. The fastest
    have the first slots, for nobody overtakes.

    Parameters
    ----------
    event
        With mix.csv and the number of the draw.

    Returns
    -------
    engines
        One for each, the fastest first.
    """
    draw = np.random.default_rng(event.file.chances.draw)

    def within(low: float, typical: float, high: float) -> float:
        return float(draw.triangular(low, typical, high)) if high > low else typical

    found: list[tuple[float, Drawn]] = []
    for row in event.mix:
        table = engine_classes()[row.kind]
        for number in range(1, row.count + 1):
            tank = within(*(units.parse("water", text) for text in table["tank"]))
            empty = within(*(units.parse("mass", text) for text in table["weight"]))
            bunker = within(*(units.parse("coal", text) for text in table["bunker"]))
            thirst, speed = within(*_THIRST_BAND), within(*_SPEED_BAND)
            pace = speed * _top_speed(row.kind)
            as_row = FleetRow.model_construct(
                engine=f"{row.kind.replace('-', ' ').capitalize()} {_letter(number)}",
                kind=row.kind,
                tank=round(tank, 1),
                weight=round(empty + tank + bunker, 0),
                speed=round(pace, 3),
            )
            found.append((pace, Drawn(row=as_row, thirst=thirst)))
    found.sort(key=lambda item: -item[0])
    return tuple(drawn for _, drawn in found)


def _letter(number: int) -> str:
    """A to Z, then A2 and on: a figure beside a class's own would be misread."""
    turn, place = divmod(number - 1, 26)
    return chr(ord("A") + place) + (str(turn + 1) if turn else "")


def build_fleet(event: Event, course: Course) -> tuple[Engine, ...]:
    """Every engine of the event, in the order of its slots.

    Parameters
    ----------
    event, course
        The event and its way.

    Returns
    -------
    fleet
        Engines with their use along the way.

    Raises
    ------
    InputError
        If two engines have one slot, or one joins beyond the end.
    NoPlanError
        If an engine is heavier than a bridge's posted figure or wider than it is clear, or
        a class holds a hill in no gear.
    """
    problems: list[Problem] = []
    rows = [(f"row {n}", row, 1.0) for n, row in enumerate(event.fleet, start=2)]
    rows += [("drawn", drawn.row, drawn.thirst) for drawn in draw_fleet(event)]
    taken: dict[int, str] = {}
    for where, row, _ in rows:
        if row.slot is not None and taken.setdefault(row.slot, row.engine) != row.engine:
            problems.append(_wrong(where, "slot", f"slot {row.slot} is {taken[row.slot]}'s too"))
        for column, at in (("joins", row.joins), ("leaves", row.leaves)):
            if at is not None and at > course.length * (1 + 1e-9):
                problems.append(_wrong(where, column, "beyond the end of the last lap"))
    if problems:
        raise InputError(problems)
    free = iter(n for n in range(1, len(rows) + len(taken) + 1) if n not in taken)
    model = cache(lambda kind, speed: _class_use(event, course, kind, speed))
    fleet = [
        _engine(event, course, row, factor, next(free) if row.slot is None else row.slot, model)
        for _, row, factor in rows
    ]
    _refuse(course, fleet)
    return tuple(sorted(fleet, key=lambda engine: engine.slot))


def _wrong(where: str, column: str, found: str) -> Problem:
    remedy = "give a slot of its own" if column == "slot" else "give a distance along the road"
    return Problem(file="fleet.csv", where=f"{where}, column {column}", found=found, remedy=remedy)


def _top_speed(kind: str) -> float:
    return max(units.parse("speed", gear["speed"]) for gear in engine_classes()[kind]["gears"])


def _engine(
    event: Event,
    course: Course,
    row: FleetRow,
    factor: float,
    slot: int,
    model: Callable[[str, float], tuple[Array, Array, float]],
) -> Engine:
    """An engine with its use along the course."""
    pace = event.file.procession.pace
    own = row.speed or (pace if row.kind is None else _top_speed(row.kind))
    speed = min(own, pace)
    distance = np.concatenate(
        [
            course.route.distance[int(lap > 0) :] + lap * course.route.length
            for lap in range(course.laps)
        ]
    )
    coal, class_standing, source = row.coal, STANDING, "owner's figures"
    if row.thirst_hour is not None or row.thirst_mile is not None:
        per_metre = (row.thirst_hour or 0.0) / speed + (row.thirst_mile or 0.0)
        use, held = per_metre * distance, row.thirst_hour
    else:
        assert row.kind is not None
        water, burnt, class_standing = model(row.kind, round(speed, 6))
        use, held = factor * water, None
        source = f"steam model, {row.kind}" + ("" if factor == 1 else f", thirst × {factor:.2f}")
        if coal is None:
            coal = _coal_wanted(event, row, distance, burnt)
    table: Mapping[str, Any] = {} if row.kind is None else engine_classes()[row.kind]
    tank = row.tank if row.tank is not None else units.parse("water", table["tank"][1])
    standing = class_standing if row.standing is None else row.standing
    return Engine(
        name=row.engine,
        kind=row.kind or "",
        slot=slot,
        tank=tank,
        at_start=min(row.at_start, tank),
        speed=speed,
        standing=standing,
        held=standing if held is None else held,
        joins=row.joins or 0.0,
        leaves=course.length if row.leaves is None else min(row.leaves, course.length),
        distance=distance,
        use=use,
        coal=coal or 0.0,
        width=row.width,
        weight=row.weight if row.weight is not None or not table else _gross(table, tank),
        lifts_water=row.lifts_water == "yes",
        source=source,
        contact=row.contact or "",
        note=row.note or "",
    )


def _gross(table: Mapping[str, Any], tank: float) -> float:
    """Weight of a typical engine of a class, tank and bunker full [kg]."""
    return units.parse("mass", table["weight"][1]) + tank + units.parse("coal", table["bunker"][1])


def _coal_wanted(event: Event, row: FleetRow, distance: Array, burnt: Array) -> float:
    """Coal over the way with some in hand, beyond a typical bunker [kg]."""
    ends = np.interp([row.joins or 0.0, row.leaves or distance[-1]], distance, burnt)
    bunker = units.parse("coal", engine_classes()[row.kind or ""]["bunker"][1])
    return max(float(ends[1] - ends[0]) * (1 + event.file.service.in_hand) - bunker, 0.0)


def _class_use(event: Event, course: Course, kind: str, speed: float) -> tuple[Array, Array, float]:
    """Water and coal along the course, and standing use, of a typical engine of a class."""
    table = engine_classes()[kind]
    figures = Figures.model_validate({"name": kind, **class_figures(kind)})
    fuel = "dry-wood" if table["fuel"] == "wood" else "bituminous-good"
    heat = units.parse("heating value", fuel_figures(fuel)["heating_value"])
    limit = np.minimum(road_of(course.scenario, course.route).speed_limit, speed)
    place = road_of(course.scenario, course.route)
    haul, _ = assemble(
        figures, heat, (), event.file.conditions,
        type(place)(**{**vars(place), "speed_limit": limit}),
    )  # fmt: skip
    aboard = np.full(
        course.route.grade.size,
        (units.parse("water", table["tank"][1]) + units.parse("coal", table["bunker"][1])) / 2,
    )
    _refuse_hill(course, haul, kind, aboard)
    used = haul.evaluate(aboard, choose_gears(haul, aboard))

    def along(per_lap: Array) -> Array:
        return np.concatenate([[0.0], np.cumsum(np.tile(per_lap, course.laps))])

    return along(used.water), along(used.coal), haul.standing_water


def _refuse_hill(course: Course, haul: Haul, kind: str, aboard: Array) -> None:
    lowest = len(haul.gears) - 1
    held = haul.force(aboard, lowest) > haul.most_pull(lowest)
    if held.any():
        unit = course.scenario.file.units
        at = float(course.route.distance[int(np.argmax(held))])
        raise NoPlanError(
            f"class {kind} holds the hill at {units.UNIT_SYSTEMS[unit].distance.text(at)} in no "
            "gear; give the engine its own thirst, leave it out or choose another road"
        )


def _refuse(course: Course, fleet: list[Engine]) -> None:
    """Refuse engines that a posted figure on their way forbids."""
    system = units.UNIT_SYSTEMS[course.scenario.file.units]
    wrong = []
    for crossing in course.crossings:
        for engine in fleet:
            met = any(
                engine.joins <= lap * course.route.length + at <= engine.leaves
                for lap in range(course.laps)
                for at in crossing.distances
            )
            limit, clear = crossing.row.limit, crossing.row.width
            where = f"{engine.name} at {crossing.row.name}"
            if met and limit is not None and engine.weight is not None and engine.weight > limit:
                wrong.append(
                    f"{where}: {system.mass.text(engine.weight)} with tank and bunker full, "
                    f"posted {system.mass.text(limit)}; leave it out or take another road"
                )
            if met and clear is not None and engine.width is not None and engine.width >= clear:
                wrong.append(
                    f"{where}: {engine.width:.2f} m wide, {clear:.2f} m clear; leave it out or "
                    "take another road"
                )
    if wrong:
        raise NoPlanError("\n".join(wrong))
