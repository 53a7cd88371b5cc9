"""The queue chart: how many engines stand at each station through the day."""

import xml.etree.ElementTree as ET
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.outputs.drawing import INK, LEFT, RIGHT, clean, new_picture, shape, shortened, text
from haulplan.outputs.tables import clock_text
from haulplan.stations.organise import Organised
from haulplan.units import UnitSystem

__all__ = ["draw_queues"]

Array = NDArray[np.float64]

_TOP, _PANEL, _GAP, _FOOT = 84.0, 92.0, 46.0, 92.0
_WIDTH: Final = 1000
#: A tick each so many seconds, the first that gives at most ten.
_TICKS: Final = (1800.0, 3600.0, 7200.0, 14400.0)


def draw_queues(found: Organised, system: UnitSystem) -> str:
    """How many engines stand at each open place, mean of the days played and 19 in 20.

    Parameters
    ----------
    found
        What was organised.
    system
        The units to show.

    Returns
    -------
    picture
        An SVG document with a text alternative.
    """
    places = found.choice.open
    crowds = [found.odds.crowds[place] for place in places]
    lively = [clocks for clocks, _, most in crowds if most.max() > 0]
    begin = min((float(clocks[0]) for clocks in lively), default=0.0)
    end = max((float(clocks[-1]) for clocks in lively), default=3600.0)
    begin, end = np.floor(begin / 1800) * 1800, np.ceil(end / 1800) * 1800
    height = _TOP + len(places) * (_PANEL + _GAP) + _FOOT
    said = "; ".join(
        f"{clean(found.course.sites[place].name)}: at most {round(float(most.max()))} at once "
        "on nineteen days in twenty"
        for place, (_, _, most) in zip(places, crowds, strict=True)
    )
    title = f"{found.event.file.title}: engines standing at each station"
    root = new_picture("queues", title, said)
    root.set("viewBox", f"0 0 {_WIDTH} {height:g}")
    root[2].set("height", f"{height:g}")
    text(root, LEFT - 50, 34, shortened(clean(title), 78), size=20, font_weight="bold")
    _key(root)
    for number, (place, crowd) in enumerate(zip(places, crowds, strict=True)):
        top = _TOP + 30 + number * (_PANEL + _GAP)
        _panel(root, found, place, crowd, top, (float(begin), float(end)), system)
    _clock_axis(root, height - _FOOT + 26, (float(begin), float(end)))
    return ET.tostring(root, encoding="unicode") + "\n"


def _key(root: ET.Element) -> None:
    shape(root, "rect", x=LEFT - 50, y=50, width=30, height=14, fill="#c9c1ab", stroke=INK)
    text(root, LEFT - 12, 62, "mean of the days played")
    shape(
        root, "line", x1=LEFT + 190, x2=LEFT + 226, y1=57, y2=57, stroke=INK, stroke_width=2,
        stroke_dasharray="6 3",
    )  # fmt: skip
    text(root, LEFT + 234, 62, "not exceeded on 19 days in 20")
    shape(root, "line", x1=LEFT + 470, x2=LEFT + 506, y1=57, y2=57, stroke=INK, stroke_width=4)
    text(root, LEFT + 514, 62, "places on hard standing (where drawn)")


def _panel(
    root: ET.Element,
    found: Organised,
    place: int,
    crowd: tuple[Array, Array, Array],
    top: float,
    span: tuple[float, float],
    system: UnitSystem,
) -> None:
    """One station."""
    clocks, mean, most = crowd
    site = found.course.sites[place]
    highest = max(float(most.max()), float(site.hoses), 2.0)
    bottom = top + _PANEL

    def x(clock: float) -> float:
        return LEFT + (RIGHT - LEFT) * (clock - span[0]) / (span[1] - span[0])

    def y(count: float) -> float:
        return bottom - _PANEL * count / (highest * 1.08)

    name = f"{shortened(clean(site.name), 52)}, {system.distance.text(site.distance)}, "
    text(root, LEFT, top - 7, f"{name}hoses: {site.hoses}", font_weight="bold")
    for count in sorted({0, round(highest / 2), round(highest)}):
        shape(root, "line", x1=LEFT, x2=RIGHT, y1=y(count), y2=y(count), stroke="#8a8577",
              stroke_width=0.6)  # fmt: skip
        text(root, LEFT - 8, y(count) + 4.5, str(count), text_anchor="end")
    if most.max() > 0:
        path = _steps(clocks, mean, x, y)
        end = f" L{x(float(clocks[-1])):.1f} {bottom:.1f} L{x(float(clocks[0])):.1f} {bottom:.1f} Z"
        shape(root, "path", d=path + end, fill="#c9c1ab", stroke=INK, stroke_width=1)
        shape(root, "path", d=_steps(clocks, most, x, y), fill="none", stroke=INK, stroke_width=2,
              stroke_dasharray="6 3")  # fmt: skip
    if site.places <= highest:
        level = y(site.places)
        shape(root, "line", x1=LEFT, x2=RIGHT, y1=level, y2=level, stroke=INK, stroke_width=4)
    shape(root, "rect", x=LEFT, y=top, width=RIGHT - LEFT, height=_PANEL, fill="none", stroke=INK)


def _steps(
    clocks: Array, counts: Array, x: Callable[[float], float], y: Callable[[float], float]
) -> str:
    """A line that holds its level until the next clock."""
    points = [f"{x(float(clocks[0])):.1f} {y(float(counts[0])):.1f}"]
    for before, clock, count in zip(counts[:-1], clocks[1:], counts[1:], strict=True):
        points.append(f"{x(float(clock)):.1f} {y(float(before)):.1f}")
        points.append(f"{x(float(clock)):.1f} {y(float(count)):.1f}")
    return "M" + " L".join(points)


def _clock_axis(root: ET.Element, level: float, span: tuple[float, float]) -> None:
    step = next((s for s in _TICKS if (span[1] - span[0]) / s <= 10), _TICKS[-1])
    clock = np.ceil(span[0] / step) * step
    while clock <= span[1]:
        at = LEFT + (RIGHT - LEFT) * (clock - span[0]) / (span[1] - span[0])
        shape(root, "line", x1=at, x2=at, y1=level - 22, y2=level - 14, stroke=INK)
        text(root, at, level, clock_text(float(clock)), text_anchor="middle")
        clock += step
    text(root, (LEFT + RIGHT) / 2, level + 24, "Clock", text_anchor="middle", font_weight="bold")
