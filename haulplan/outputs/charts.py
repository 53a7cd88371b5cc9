"""Two SVG pictures under the road's heights: what is aboard, and what the road asks."""

import math
import xml.etree.ElementTree as ET
from bisect import bisect
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from haulplan.demand.hills import Hill
from haulplan.demand.stretches import Stretch, Survey
from haulplan.outputs.doing import stands
from haulplan.outputs.drawing import (
    GRADE_CLASSES,
    INK,
    LEFT,
    RIGHT,
    GradeClass,
    Panel,
    clean,
    draw_distance,
    draw_grid,
    draw_heights,
    draw_key,
    draw_shades,
    grade_runs,
    new_picture,
    path_of,
    round_ends,
    shape,
    shortened,
    text,
)
from haulplan.outputs.road import draw_speed, draw_surfaces, speeds
from haulplan.plan.plan import Plan, Stop, Trace
from haulplan.route.build import Route
from haulplan.scenario import Scenario
from haulplan.units import DisplayUnit, UnitSystem

__all__ = ["GRADE_CLASSES", "GradeClass", "draw_demand", "draw_profile", "grade_runs"]

#: Hills beyond so many are not labelled, the cheapest first.
_MOST_HILLS = 18
#: Fills of gears from the fastest down; a letter on the darkest is white.
_GEAR_FILLS = ("#ffffff", "#d6d0bf", "#9a9484", "#4a463d")


@dataclass(frozen=True, kw_only=True)
class _Store:
    """One store's levels along the road."""

    name: str
    unit: DisplayUnit
    room: float
    reserve: float
    points: Sequence[tuple[float, float]]


def draw_profile(
    scenario: Scenario, route: Route, plan: Plan, trace: Trace, system: UnitSystem
) -> str:
    """The road's heights with the stops, and the levels in tank and bunkers beneath them.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    route
        Its road; without heights the upper panel is left out and the picture says so.
    plan
        The plan.
    trace
        Levels along the road.
    system
        The units to show.

    Returns
    -------
    picture
        An SVG document with a text alternative.
    """
    stores = [store for store in _stores(scenario, plan, trace, system) if store.room > 0]
    panels = _panels(route, stores, system)
    under = _under(route, trace, system, panels[-1].bottom)
    root = _root(plan, route, stores, system, under[-1].bottom + 122.0)
    draw_shades(root)
    below = panels[1:]
    if route.has_heights:
        draw_heights(root, route, panels[0], system)
        _draw_crossings(root, route, plan, panels[0])
    else:
        text(root, LEFT, panels[0].top, "No heights are given for this road.", size=15)
    _draw_stops(root, plan, panels[0], under[-1].bottom)
    for store, panel in zip(stores, below, strict=True):
        _draw_store(root, store, panel)
    draw_speed(root, trace, under[0], system)
    draw_surfaces(root, route, under[1])
    draw_distance(root, under[1], system)
    draw_key(root, route, under[1].bottom + 60.0)
    return ET.tostring(root, encoding="unicode") + "\n"


def _stores(scenario: Scenario, plan: Plan, trace: Trace, system: UnitSystem) -> tuple[_Store, ...]:
    room, reserve = scenario.file.stores, scenario.file.reserve
    tank = [(stop.tank_arrive, stop.tank_depart) for stop in plan.stops]
    bunker = [(stop.bunker_arrive, stop.bunker_depart) for stop in plan.stops]
    boiler = [(stop.boiler_arrive, stop.boiler_depart) for stop in plan.stops]
    fullest = max(trace.boiler, default=0.0)
    return (
        _Store(
            name="Tank", unit=system.water, room=room.tank, reserve=reserve.water,
            points=_levels(trace.distance, trace.tank, plan.stops, tank),
        ),
        _Store(
            name="Bunkers", unit=system.coal, room=room.bunker, reserve=reserve.coal,
            points=_levels(trace.distance, trace.bunker, plan.stops, bunker),
        ),
        _Store(  # nothing to draw where the boiler is no store of its own
            name="Boiler above its working level", unit=system.water, room=fullest, reserve=0.0,
            points=_levels(trace.distance, trace.boiler, plan.stops, boiler),
        ),
    )  # fmt: skip


def _levels(
    distances: Sequence[float],
    levels: Sequence[float],
    stops: Sequence[Stop],
    changes: Sequence[tuple[float, float]],
) -> list[tuple[float, float]]:
    """The trace with each stop's arrival and leaving put in, thinned to the picture."""
    finest = (distances[-1] - distances[0]) / (2 * (RIGHT - LEFT))
    points = []
    last = -math.inf
    for stop, change in zip(stops, changes, strict=True):
        points += [(stop.distance, level) for level in change]
    at_stops = sorted({stop.distance for stop in stops})
    for distance, level in zip(distances, levels, strict=True):
        place = bisect(at_stops, distance)
        near = min(abs(distance - at) for at in at_stops[max(place - 1, 0) : place + 1])
        if distance - last >= finest and near > finest:
            points.append((distance, level))
            last = distance
    return sorted(points, key=lambda point: point[0])


def _panels(route: Route, stores: Sequence[_Store], system: UnitSystem) -> list[Panel]:
    """The panel of heights and one for each store; ends are round figures."""
    heights = float(route.elevation.min()), float(route.elevation.max())
    low, high = round_ends(*heights, system.height)
    top = 142.0 if route.has_heights else 150.0
    first = Panel(
        top=top, bottom=272.0 if route.has_heights else 160.0, low=low, high=high,
        length=route.length,
    )  # fmt: skip
    begin = first.bottom + 38.0
    each = (528.0 - begin - 38.0 * (len(stores) - 1)) / len(stores)
    panels = [first]
    for place, store in enumerate(stores):
        top = begin + place * (each + 38.0)
        _, high = round_ends(0.0, store.room, store.unit)
        panels.append(Panel(top=top, bottom=top + each, low=0.0, high=high, length=route.length))
    return panels


def _under(route: Route, trace: Trace, system: UnitSystem, bottom: float) -> tuple[Panel, Panel]:
    """The panels of speed and of surface."""
    most = max((speed for _, _, speed in speeds(trace)), default=0.0)
    _, high = round_ends(0.0, most, system.speed)
    first = Panel(
        top=bottom + 38.0, bottom=bottom + 108.0, low=0.0, high=high, length=route.length
    )  # fmt: skip
    strip = Panel(
        top=first.bottom + 26.0, bottom=first.bottom + 48.0, low=0.0, high=1.0,
        length=route.length,
    )  # fmt: skip
    return first, strip


def _root(
    plan: Plan, route: Route, stores: Sequence[_Store], system: UnitSystem, height: float
) -> ET.Element:
    root = new_picture(
        "profile",
        f"{plan.title}: the road, tank, bunkers and speed",
        _words(plan, route, stores, system),
        height,
    )
    text(root, LEFT, 30, shortened(plan.title, 66), size=20, font_weight="bold")
    text(
        root, LEFT, 50,
        f"{plan.date.isoformat()}, {system.distance.text(route.length)}. Numbers are the "
        "plan's stops; a square is a bridge with a posted figure.",
        size=14,
    )  # fmt: skip
    return root


def _words(plan: Plan, route: Route, stores: Sequence[_Store], system: UnitSystem) -> str:
    """The picture in words, for those who do not see it."""
    parts = [f"A road of {system.distance.text(route.length)}"]
    if route.has_heights:
        low, high = float(route.elevation.min()), float(route.elevation.max())
        parts.append(f"heights from {system.height.text(low)} to {system.height.text(high)}")
    else:
        parts.append("heights not given")
    for stop in plan.stops:
        if stands(stop):
            parts.append(
                f"stop {stop.number}, {stop.name}, at {system.distance.text(stop.distance)}"
            )
    for store in stores:
        lowest = min(level for _, level in store.points)
        parts.append(
            f"{store.name.casefold()} lowest at {store.unit.text(lowest)} of "
            f"{store.unit.text(store.room)}, reserve {store.unit.text(store.reserve)}"
        )
    return clean("; ".join(parts) + ".")


def _draw_crossings(root: ET.Element, route: Route, plan: Plan, panel: Panel) -> None:
    for crossing in plan.crossings:
        x, y = panel.x(crossing.distance), panel.y(route.height(crossing.distance))
        mark = shape(
            root, "rect", x=x - 5.5, y=y - 5.5, width=11, height=11, fill="#ffffff", stroke=INK,
            stroke_width=2.5, data_bridge=clean(crossing.name),
        )  # fmt: skip
        ET.SubElement(mark, "title").text = clean(crossing.name)


def _draw_store(root: ET.Element, store: _Store, panel: Panel) -> None:
    text(root, LEFT, panel.top - 8, f"{store.name} [{store.unit.label}]", font_weight="bold")
    area = [(store.points[0][0], 0.0), *store.points, (store.points[-1][0], 0.0)]
    shape(root, "path", d=f"{path_of(panel, area)} Z", fill="#d9e4ea")
    draw_grid(root, panel, store.unit)
    for name, level, dash, width in (
        ("room", store.room, "14 5", 1.5), ("reserve", store.reserve, "4 4", 2.5),
    ):  # fmt: skip
        y = panel.y(level)
        shape(
            root, "line", x1=LEFT, x2=RIGHT, y1=y, y2=y, stroke=INK, stroke_width=width,
            stroke_dasharray=dash, data_store=store.name.casefold(), data_line=name,
        )  # fmt: skip
    room, reserve = panel.y(store.room), panel.y(store.reserve)
    room = min(room, reserve - 36)
    for name, level, y in (("room", store.room, room), ("reserve", store.reserve, reserve)):
        text(root, RIGHT + 8, y - 2, name)
        text(root, RIGHT + 8, y + 13, store.unit.text(level))
    shape(
        root, "path", d=path_of(panel, store.points), fill="none", stroke=INK, stroke_width=2.5,
        stroke_linejoin="round", data_store=store.name.casefold(), data_line="level",
    )  # fmt: skip


def _draw_stops(root: ET.Element, plan: Plan, panel: Panel, bottom: float) -> None:
    """Start, numbered stops and finish above the panels, on rows that keep them apart."""
    free = [-math.inf] * 3
    for stop in plan.stops:
        label = str(stop.number) if stands(stop) else stop.kind
        half = 13.0 if stands(stop) else 27.0
        x = panel.x(stop.distance)
        row = next((row for row, end in enumerate(free) if end <= x - half), None)
        row = min(range(3), key=free.__getitem__) if row is None else row
        free[row] = x + half + 2
        y = 74.0 + 22 * row
        if stands(stop):
            shape(
                root, "line", x1=x, x2=x, y1=y, y2=bottom, stroke=INK, stroke_dasharray="2 3"
            )  # fmt: skip
        mark = shape(
            root, "rect", x=x - half, y=y - 10, width=2 * half, height=20, rx=10,
            fill=INK if stands(stop) else "#ffffff", stroke=INK, stroke_width=1.5,
        )  # fmt: skip
        ET.SubElement(mark, "title").text = clean(stop.name)
        fill = "#ffffff" if stands(stop) else INK
        text(root, x, y + 5, label, text_anchor="middle", font_weight="bold", fill=fill)


def draw_demand(scenario: Scenario, route: Route, survey: Survey, system: UnitSystem) -> str:
    """The road's heights, and beneath them steam, water per distance and gears.

    Parameters
    ----------
    scenario
        The scenario that was surveyed.
    route
        Its road.
    survey
        Its demand.
    system
        The units to show.

    Returns
    -------
    picture
        An SVG document with a text alternative.
    """
    water, distance, coal = system.water, system.distance, system.coal
    steam_unit = DisplayUnit(label=f"{coal.label}/h", size=coal.size / 3600, decimals=0)
    water_unit = DisplayUnit(
        label=f"{water.label}/{distance.label}", size=water.size / distance.size, decimals=1
    )
    steam = [(s, s.steam) for s in survey.stretches]
    drawn = [(s, s.water / (s.end - s.begin)) for s in survey.stretches]
    mean = sum(s.water for s in survey.stretches) / route.length
    letters = _gear_letters(scenario)
    root = _demand_root(scenario, route, survey, system, letters, (steam_unit, water_unit))
    draw_shades(root)
    heights = _panel((142.0, 244.0), route, _ends(route), system.height)
    draw_heights(root, route, heights, system)
    _draw_hills(root, survey.hills, heights, system)
    for name, rows, unit, ends, line in (
        (
            "Steam leaving the boiler",
            steam,
            steam_unit,
            (282.0, 382.0),
            ("best", survey.best_steam),
        ),
        ("Water", drawn, water_unit, (420.0, 500.0), ("mean", mean)),
    ):
        most = max(line[1], *(value for _, value in rows))
        _draw_steps(root, name, rows, _panel(ends, route, (0.0, most), unit), unit, line)
    axis = Panel(top=504.0, bottom=528.0, low=0.0, high=1.0, length=route.length)
    _draw_gears(root, survey.stretches, axis, letters)
    draw_distance(root, axis, system)
    draw_key(root, route)
    return ET.tostring(root, encoding="unicode") + "\n"


def _ends(route: Route) -> tuple[float, float]:
    return float(route.elevation.min()), float(route.elevation.max())


def _panel(
    ends: tuple[float, float], route: Route, values: tuple[float, float], unit: DisplayUnit
) -> Panel:
    low, high = round_ends(*values, unit)
    return Panel(top=ends[0], bottom=ends[1], low=low, high=high, length=route.length)


def _gear_letters(scenario: Scenario) -> dict[str, tuple[str, str]]:
    """Letter and fill of each gear, the fastest first; numbers where initials clash."""
    engine = scenario.file.engine
    gears = sorted(engine.gears, key=lambda gear: gear.ratio) if engine is not None else []
    initials = [clean(gear.name)[:1].upper() for gear in gears]
    if len(set(initials)) < len(initials):
        initials = [str(number) for number in range(len(gears), 0, -1)]
    fills = [*_GEAR_FILLS[: len(gears)], *_GEAR_FILLS[-1:] * len(gears)]
    return {g.name: (i, f) for g, i, f in zip(gears, initials, fills, strict=False)}


def _demand_root(
    scenario: Scenario,
    route: Route,
    survey: Survey,
    system: UnitSystem,
    letters: dict[str, tuple[str, str]],
    units: tuple[DisplayUnit, DisplayUnit],
) -> ET.Element:
    title = scenario.file.title
    words = _demand_words(route, survey, system, units)
    root = new_picture("demand", f"{title}: what the road asks", words)
    text(root, LEFT, 30, shortened(title, 66), size=20, font_weight="bold")
    named = ", ".join(f"{letter} {clean(name)}" for name, (letter, _) in letters.items())
    text(
        root, LEFT, 50,
        f"{system.mass.text(survey.aboard)} of water and coal aboard. Marks above: hill, and "
        f"its price in {system.water.label} over a level road. "
        f"Gears: {shortened(named, 40)}",
        size=14,
    )  # fmt: skip
    return root


def _demand_words(
    route: Route, survey: Survey, system: UnitSystem, units: tuple[DisplayUnit, DisplayUnit]
) -> str:
    """The picture in words, for those who do not see it."""
    low, high = _ends(route)
    steam = [s.steam for s in survey.stretches]
    water = [s.water / (s.end - s.begin) for s in survey.stretches]
    parts = [
        f"A road of {system.distance.text(route.length)}",
        f"heights from {system.height.text(low)} to {system.height.text(high)}",
        f"steam from {units[0].text(min(steam))} to {units[0].text(max(steam))}, the boiler's "
        f"best {units[0].text(survey.best_steam)}",
        f"water from {units[1].text(min(water))} to {units[1].text(max(water))}",
    ]
    for number, hill in enumerate(survey.hills, start=1):
        parts.append(
            f"hill {number} at {system.distance.text(hill.begin)} costs "
            f"{system.water.text(hill.water)}"
        )
    return clean("; ".join(parts) + ".")


def _draw_hills(root: ET.Element, hills: Sequence[Hill], panel: Panel, system: UnitSystem) -> None:
    """A bar over each hill, and above it number and price on rows that keep them apart."""
    dearest = sorted(range(len(hills)), key=lambda k: -hills[k].water)[:_MOST_HILLS]
    free = [-math.inf] * 3
    for place in sorted(dearest):
        hill = hills[place]
        begin, end = panel.x(hill.begin), panel.x(hill.begin + hill.length)
        x = (begin + end) / 2
        label = f"{place + 1}: {system.water.number(hill.water)}"
        half = 5.0 + 3.9 * len(label)
        row = next((r for r, taken in enumerate(free) if taken <= x - half), None)
        row = min(range(3), key=free.__getitem__) if row is None else row
        free[row] = x + half + 2
        y = 118.0 - 22 * row
        shape(root, "line", x1=x, x2=x, y1=y, y2=panel.top - 4, stroke=INK, stroke_dasharray="2 3")
        shape(
            root, "line", x1=begin, x2=end, y1=panel.top - 4, y2=panel.top - 4, stroke=INK,
            stroke_width=4, data_hill=str(place + 1),
        )  # fmt: skip
        shape(
            root, "rect", x=x - half, y=y - 10, width=2 * half, height=18, rx=9, fill="#ffffff",
            stroke=INK, stroke_width=1.5,
        )  # fmt: skip
        text(root, x, y + 4, label, text_anchor="middle", font_weight="bold")


def _draw_steps(
    root: ET.Element,
    name: str,
    rows: Sequence[tuple[Stretch, float]],
    panel: Panel,
    unit: DisplayUnit,
    line: tuple[str, float],
) -> None:
    """A figure stretch by stretch, with one dashed line to compare it with."""
    text(root, LEFT, panel.top - 8, f"{name} [{unit.label}]", font_weight="bold")
    points = [(d, value) for s, value in rows for d in (s.begin, s.end)]
    area = [(points[0][0], 0.0), *points, (points[-1][0], 0.0)]
    shape(root, "path", d=f"{path_of(panel, area)} Z", fill="#d9e4ea")
    draw_grid(root, panel, unit)
    label, level = line
    y = panel.y(level)
    shape(
        root, "line", x1=LEFT, x2=RIGHT, y1=y, y2=y, stroke=INK, stroke_width=2,
        stroke_dasharray="9 5", data_line=label,
    )  # fmt: skip
    text(root, RIGHT + 8, y - 2, label)
    text(root, RIGHT + 8, y + 13, unit.text(level))
    shape(
        root, "path", d=path_of(panel, points), fill="none", stroke=INK, stroke_width=2.5,
        stroke_linejoin="round", data_line=name.casefold(),
    )  # fmt: skip


def _draw_gears(
    root: ET.Element,
    stretches: Iterable[Stretch],
    panel: Panel,
    letters: dict[str, tuple[str, str]],
) -> None:
    """A strip of gears; one too short for its letter keeps its shade."""
    for name, run in groupby(stretches, key=lambda stretch: stretch.gear):
        own = list(run)
        begin, end = panel.x(own[0].begin), panel.x(own[-1].end)
        letter, fill = letters[name]
        box = shape(
            root, "rect", x=begin, y=panel.top, width=end - begin,
            height=panel.bottom - panel.top, fill=fill, stroke=INK, data_gear=clean(name),
        )  # fmt: skip
        ET.SubElement(box, "title").text = clean(name)
        if end - begin >= 13:
            ink = "#ffffff" if fill == _GEAR_FILLS[-1] else INK
            text(
                root, (begin + end) / 2, panel.bottom - 7, letter, text_anchor="middle",
                font_weight="bold", fill=ink,
            )  # fmt: skip
    text(root, RIGHT + 8, panel.bottom - 7, "gear")
