"""The road's heights and the levels of tank and bunkers, as one SVG picture.

Shades and lines differ in pattern and width, so the picture reads in black and white.
The same classes of grade colour the map.
"""

import math
import re
import xml.etree.ElementTree as ET
from bisect import bisect
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from haulplan.outputs.tables import plain
from haulplan.plan.plan import Plan, Stop, Trace
from haulplan.route.build import Route
from haulplan.scenario import Scenario
from haulplan.units import DisplayUnit, UnitSystem

__all__ = ["GRADE_CLASSES", "GradeClass", "draw_profile", "grade_runs"]

#: Length over which a grade is averaged before it is drawn; haulplan's assumption. [m]
_SPAN: Final = 100.0
#: Where climbs and steep climbs begin, as drawn; haulplan's assumption. [-]
_CLIMB, _STEEP = 0.02, 0.05

_WIDTH, _HEIGHT = 1000, 650
_LEFT, _RIGHT = 78.0, 884.0
_INK: Final = "#111111"
_PAPER: Final = "#fbf7ec"
#: Noncharacters that the schema lets pass and XML 1.0 does not.
_NOT_XML: Final = re.compile("[\ufffe\uffff]")


@dataclass(frozen=True, kw_only=True)
class GradeClass:
    """A class of grade as drawn; `width` and `dash` tell it apart without colour."""

    name: str
    figures: str
    colour: str
    width: int
    dash: str


GRADE_CLASSES: Final = (
    GradeClass(
        name="steep descent", figures="from 5 % (1 in 20)", colour="#16437e", width=10, dash="3 5"
    ),
    GradeClass(
        name="descent", figures="2 % (1 in 50) to 5 %", colour="#2470b8", width=6, dash="9 5"
    ),
    GradeClass(name="level", figures="under 2 % (1 in 50)", colour="#333333", width=3, dash=""),
    GradeClass(
        name="climb", figures="2 % (1 in 50) to 5 %", colour="#b45309", width=6, dash=""
    ),
    GradeClass(
        name="steep climb", figures="from 5 % (1 in 20)", colour="#9f1239", width=11, dash=""
    ),
)  # fmt: skip
_LEVEL: Final = 2
#: Shades of the classes: tint, angle and spacing of the hatching (None: none).
_SHADES: Final = (
    ("#bcd0ea", -45, 5), ("#dfe9f5", -45, 11), ("#f1ede1", None, 0), ("#f9e3c8", 45, 11),
    ("#f3c3cc", 45, 5),
)  # fmt: skip


def grade_runs(route: Route) -> list[tuple[float, float, int]]:
    """Stretches of one class of grade, the grade averaged over about 100 m.

    Parameters
    ----------
    route
        The road; without heights it is one stretch of class "level".

    Returns
    -------
    runs
        Begin and end [m], and the place in `GRADE_CLASSES`, in driving order.
    """
    begin, end = float(route.distance[0]), float(route.distance[-1])
    count = max(round((end - begin) / _SPAN), 1)
    edges = np.linspace(begin, end, count + 1)
    heights = np.interp(edges, route.distance, route.elevation)
    grade = np.round(np.diff(heights) / np.diff(edges), 6)
    size = np.abs(grade)
    kind = _LEVEL + np.sign(grade) * ((size >= _CLIMB).astype(int) + (size >= _STEEP))
    cuts = np.flatnonzero(np.diff(kind)) + 1
    ends = np.concatenate([[0], cuts, [count]]).astype(int)
    return [(float(edges[a]), float(edges[b]), int(kind[a])) for a, b in pairwise(ends.tolist())]


@dataclass(frozen=True, kw_only=True)
class _Panel:
    """Where a panel stands in the picture, and the figures at its ends."""

    top: float
    bottom: float
    low: float
    high: float
    length: float

    def x(self, distance: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * distance / self.length

    def y(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return self.bottom + (self.top - self.bottom) * share


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
    root = _root(plan, route, stores, system)
    _draw_shades(root)
    below = panels[1:]
    if route.has_heights:
        _draw_heights(root, route, plan, panels[0], system)
    else:
        _text(root, _LEFT, panels[0].top, "No heights are given for this road.", size=15)
    _draw_stops(root, plan, panels[0], below[-1].bottom)
    for store, panel in zip(stores, below, strict=True):
        _draw_store(root, store, panel)
    _draw_distance(root, below[-1], system)
    _draw_key(root, route)
    return ET.tostring(root, encoding="unicode") + "\n"


def _stores(
    scenario: Scenario, plan: Plan, trace: Trace, system: UnitSystem
) -> tuple[_Store, _Store]:
    room, reserve = scenario.file.stores, scenario.file.reserve
    tank = [(stop.tank_arrive, stop.tank_depart) for stop in plan.stops]
    bunker = [(stop.bunker_arrive, stop.bunker_depart) for stop in plan.stops]
    return (
        _Store(
            name="Tank", unit=system.water, room=room.tank, reserve=reserve.water,
            points=_levels(trace.distance, trace.tank, plan.stops, tank),
        ),
        _Store(
            name="Bunkers", unit=system.coal, room=room.bunker, reserve=reserve.coal,
            points=_levels(trace.distance, trace.bunker, plan.stops, bunker),
        ),
    )  # fmt: skip


def _levels(
    distances: Sequence[float],
    levels: Sequence[float],
    stops: Sequence[Stop],
    changes: Sequence[tuple[float, float]],
) -> list[tuple[float, float]]:
    """The trace with each stop's arrival and leaving put in, thinned to the picture."""
    finest = (distances[-1] - distances[0]) / (2 * (_RIGHT - _LEFT))
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


def _panels(route: Route, stores: Sequence[_Store], system: UnitSystem) -> list[_Panel]:
    """The panel of heights and one for each store; ends are round figures."""
    heights = float(route.elevation.min()), float(route.elevation.max())
    low, high = _round_ends(*heights, system.height)
    top = 142.0 if route.has_heights else 150.0
    first = _Panel(
        top=top, bottom=272.0 if route.has_heights else 160.0, low=low, high=high,
        length=route.length,
    )  # fmt: skip
    begin = first.bottom + 38.0
    each = (528.0 - begin - 38.0 * (len(stores) - 1)) / len(stores)
    panels = [first]
    for place, store in enumerate(stores):
        top = begin + place * (each + 38.0)
        _, high = _round_ends(0.0, store.room, store.unit)
        panels.append(_Panel(top=top, bottom=top + each, low=0.0, high=high, length=route.length))
    return panels


def _step(span: float, pieces: int) -> float:
    """A round step (1, 2 or 5 times a power of ten) giving at most about `pieces`."""
    rough = span / pieces
    power = 10.0 ** math.floor(math.log10(rough))
    return next(power * m for m in (1, 2, 5, 10) if power * m >= rough * (1 - 1e-9))


def _round_ends(low: float, high: float, unit: DisplayUnit) -> tuple[float, float]:
    """The range widened to whole steps of the unit."""
    a, b = unit.value(low), unit.value(high)
    step = _step(max(b - a, 10.0 ** (1 - unit.decimals)), 4)
    first = math.floor(a / step + 1e-9)
    last = max(math.ceil(b / step - 1e-9), first + 1)
    return first * step * unit.size, last * step * unit.size


def _ticks(low: float, high: float, unit: DisplayUnit, pieces: int) -> Iterator[tuple[float, str]]:
    """Round figures from `low` to `high`, as [SI] and as shown."""
    step = _step(unit.value(high - low), pieces)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first = math.ceil(unit.value(low) / step - 1e-9)
    last = math.floor(unit.value(high) / step + 1e-9)
    for number in range(first, last + 1):
        yield number * step * unit.size, f"{number * step:,.{decimals}f}"


def _root(plan: Plan, route: Route, stores: Sequence[_Store], system: UnitSystem) -> ET.Element:
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {_WIDTH} {_HEIGHT}",
            "role": "img",
            "aria-labelledby": "profile-title profile-words",
            "font-family": "Arial, Helvetica, sans-serif",
            "fill": _INK,
        },
    )
    title = ET.SubElement(root, "title", id="profile-title")
    title.text = _clean(f"{plan.title}: the road, tank and bunkers")
    ET.SubElement(root, "desc", id="profile-words").text = _words(plan, route, stores, system)
    _shape(root, "rect", width=_WIDTH, height=_HEIGHT, fill=_PAPER)
    _text(root, _LEFT, 30, _shortened(plan.title, 66), size=20, font_weight="bold")
    _text(
        root, _LEFT, 50,
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
        if stop.kind == "supply":
            parts.append(
                f"stop {stop.number}, {stop.name}, at {system.distance.text(stop.distance)}"
            )
    for store in stores:
        lowest = min(level for _, level in store.points)
        parts.append(
            f"{store.name.casefold()} lowest at {store.unit.text(lowest)} of "
            f"{store.unit.text(store.room)}, reserve {store.unit.text(store.reserve)}"
        )
    return _clean("; ".join(parts) + ".")


def _draw_heights(
    root: ET.Element, route: Route, plan: Plan, panel: _Panel, system: UnitSystem
) -> None:
    _text(root, _LEFT, panel.top - 8, f"Height [{system.height.label}]", font_weight="bold")
    grid = np.linspace(0.0, route.length, int(_RIGHT - _LEFT) + 1)
    runs = grade_runs(route)
    for begin, end, kind in runs:
        inside = grid[(grid > begin) & (grid < end)].tolist()
        outline = [(d, route.height(d)) for d in (begin, *inside, end)]
        path = _path(panel, [(begin, panel.low), *outline, (end, panel.low)])
        fill = f"url(#grade-{kind})" if _SHADES[kind][1] is not None else _SHADES[kind][0]
        _shape(root, "path", d=f"{path} Z", fill=fill)
    every = sorted({*grid.tolist(), *(d for run in runs for d in run[:2])})
    _draw_grid(root, panel, system.height)
    line = _path(panel, [(d, route.height(d)) for d in every])
    _shape(
        root, "path", d=line, fill="none", stroke=_INK, stroke_width=2.5, stroke_linejoin="round"
    )  # fmt: skip
    for crossing in plan.crossings:
        x, y = panel.x(crossing.distance), panel.y(route.height(crossing.distance))
        mark = _shape(
            root, "rect", x=x - 5.5, y=y - 5.5, width=11, height=11, fill="#ffffff", stroke=_INK,
            stroke_width=2.5, data_bridge=_clean(crossing.name),
        )  # fmt: skip
        ET.SubElement(mark, "title").text = _clean(crossing.name)


def _draw_store(root: ET.Element, store: _Store, panel: _Panel) -> None:
    _text(root, _LEFT, panel.top - 8, f"{store.name} [{store.unit.label}]", font_weight="bold")
    area = [(store.points[0][0], 0.0), *store.points, (store.points[-1][0], 0.0)]
    _shape(root, "path", d=f"{_path(panel, area)} Z", fill="#d9e4ea")
    _draw_grid(root, panel, store.unit)
    for name, level, dash, width in (
        ("room", store.room, "14 5", 1.5), ("reserve", store.reserve, "4 4", 2.5),
    ):  # fmt: skip
        y = panel.y(level)
        _shape(
            root, "line", x1=_LEFT, x2=_RIGHT, y1=y, y2=y, stroke=_INK, stroke_width=width,
            stroke_dasharray=dash, data_store=store.name.casefold(), data_line=name,
        )  # fmt: skip
    room, reserve = panel.y(store.room), panel.y(store.reserve)
    room = min(room, reserve - 36)
    for name, level, y in (("room", store.room, room), ("reserve", store.reserve, reserve)):
        _text(root, _RIGHT + 8, y - 2, name)
        _text(root, _RIGHT + 8, y + 13, store.unit.text(level))
    _shape(
        root, "path", d=_path(panel, store.points), fill="none", stroke=_INK, stroke_width=2.5,
        stroke_linejoin="round", data_store=store.name.casefold(), data_line="level",
    )  # fmt: skip


def _draw_grid(root: ET.Element, panel: _Panel, unit: DisplayUnit) -> None:
    axis = f"{round(panel.top, 2):g}"
    for value, label in _ticks(panel.low, panel.high, unit, 4):
        y = panel.y(value)
        _shape(root, "line", x1=_LEFT, x2=_RIGHT, y1=y, y2=y, stroke="#8a8577", stroke_width=0.6)
        _text(root, _LEFT - 8, y + 4.5, label, text_anchor="end", data_axis=axis)
    _shape(
        root, "rect", x=_LEFT, y=panel.top, width=_RIGHT - _LEFT,
        height=panel.bottom - panel.top, fill="none", stroke=_INK,
    )  # fmt: skip


def _draw_distance(root: ET.Element, panel: _Panel, system: UnitSystem) -> None:
    """The axis of distance: round figures, and the road's length at its end."""
    unit = system.distance
    ends = [(panel.length, unit.number(panel.length))]
    for value, label in [*_ticks(0.0, panel.length, unit, 10), *ends]:
        x = panel.x(value)
        if value < panel.length and x > _RIGHT - 44:
            continue
        _shape(root, "line", x1=x, x2=x, y1=panel.bottom, y2=panel.bottom + 6, stroke=_INK)
        _text(root, x, panel.bottom + 21, label, text_anchor="middle", data_axis="distance")
    middle = (_LEFT + _RIGHT) / 2
    _text(
        root, middle, panel.bottom + 40, f"Distance along the road [{unit.label}]",
        text_anchor="middle", font_weight="bold",
    )  # fmt: skip


def _draw_stops(root: ET.Element, plan: Plan, panel: _Panel, bottom: float) -> None:
    """Start, numbered stops and finish above the panels, on rows that keep them apart."""
    free = [-math.inf] * 3
    for stop in plan.stops:
        label = str(stop.number) if stop.kind == "supply" else stop.kind
        half = 13.0 if stop.kind == "supply" else 27.0
        x = panel.x(stop.distance)
        row = next((row for row, end in enumerate(free) if end <= x - half), None)
        row = min(range(3), key=free.__getitem__) if row is None else row
        free[row] = x + half + 2
        y = 74.0 + 22 * row
        if stop.kind == "supply":
            _shape(
                root, "line", x1=x, x2=x, y1=y, y2=bottom, stroke=_INK, stroke_dasharray="2 3"
            )  # fmt: skip
        mark = _shape(
            root, "rect", x=x - half, y=y - 10, width=2 * half, height=20, rx=10,
            fill=_INK if stop.kind == "supply" else "#ffffff", stroke=_INK, stroke_width=1.5,
        )  # fmt: skip
        ET.SubElement(mark, "title").text = _clean(stop.name)
        fill = "#ffffff" if stop.kind == "supply" else _INK
        _text(root, x, y + 5, label, text_anchor="middle", font_weight="bold", fill=fill)


def _draw_shades(root: ET.Element) -> None:
    """Patterns of the classes of grade."""
    shades = ET.SubElement(root, "defs")
    for kind, (tint, angle, gap) in enumerate(_SHADES):
        if angle is None:
            continue
        pattern = _shape(
            shades, "pattern", id=f"grade-{kind}", width=gap, height=gap,
            patternUnits="userSpaceOnUse", patternTransform=f"rotate({angle})",
        )  # fmt: skip
        _shape(pattern, "rect", width=gap, height=gap, fill=tint)
        colour = GRADE_CLASSES[kind].colour
        _shape(pattern, "line", x1=0, x2=0, y1=0, y2=gap, stroke=colour, stroke_width=2.4)


def _draw_key(root: ET.Element, route: Route) -> None:
    if not route.has_heights:
        return
    _text(root, _LEFT, 588, f"Grade over {_SPAN:g} m:", font_weight="bold")
    for place, kind in enumerate((4, 3, 2, 1, 0)):
        x, y = _LEFT + 290 * (place % 3), 600.0 + 22 * (place // 3)
        fill = f"url(#grade-{kind})" if _SHADES[kind][1] is not None else _SHADES[kind][0]
        _shape(root, "rect", x=x, y=y, width=26, height=15, fill=fill, stroke=_INK)
        shown = GRADE_CLASSES[kind]
        _text(root, x + 33, y + 12, f"{shown.name}: {shown.figures}")


def _path(panel: _Panel, points: Sequence[tuple[float, float]]) -> str:
    return "M" + " L".join(f"{panel.x(d):.1f} {panel.y(v):.1f}" for d, v in points)


def _shape(parent: ET.Element, tag: str, **attributes: str | float) -> ET.Element:
    """A child element; numbers are rounded to hundredths of a unit of the picture."""
    return ET.SubElement(
        parent,
        tag,
        {
            name.replace("_", "-"): value if isinstance(value, str) else f"{round(value, 2):g}"
            for name, value in attributes.items()
        },
    )


def _text(
    parent: ET.Element, x: float, y: float, words: str, *, size: int = 13, **attributes: str
) -> None:
    _shape(parent, "text", x=x, y=y, font_size=size, **attributes).text = _clean(words)


def _clean(words: str) -> str:
    return _NOT_XML.sub("\N{REPLACEMENT CHARACTER}", plain(words))


def _shortened(words: str, longest: int) -> str:
    return words if len(words) <= longest else f"{words[: longest - 1]}…"
