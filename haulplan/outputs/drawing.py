"""Marks of a picture: panels, axes, shades of grade and text, shared by the charts.

Shades and lines differ in pattern and width, so a picture reads in black and white. The
same classes of grade colour the map.
"""

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from haulplan.outputs.tables import plain
from haulplan.route.build import Route
from haulplan.units import DisplayUnit, UnitSystem

__all__ = [
    "GRADE_CLASSES",
    "INK",
    "LEFT",
    "RIGHT",
    "GradeClass",
    "Panel",
    "clean",
    "draw_distance",
    "draw_grid",
    "draw_heights",
    "draw_key",
    "draw_shades",
    "grade_runs",
    "new_picture",
    "path_of",
    "round_ends",
    "shape",
    "shortened",
    "text",
]

#: Length over which a grade is averaged before it is drawn; haulplan's assumption. [m]
_SPAN: Final = 100.0
#: Where climbs and steep climbs begin, as drawn; haulplan's assumption. [-]
_CLIMB, _STEEP = 0.02, 0.05

WIDTH, HEIGHT = 1000, 650
LEFT, RIGHT = 78.0, 884.0
INK: Final = "#111111"
PAPER: Final = "#fbf7ec"
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
class Panel:
    """Where a panel stands in the picture, and the figures at its ends."""

    top: float
    bottom: float
    low: float
    high: float
    length: float

    def x(self, distance: float) -> float:
        """Where a distance [m] stands."""
        return LEFT + (RIGHT - LEFT) * distance / self.length

    def y(self, value: float) -> float:
        """Where a value stands."""
        share = (value - self.low) / (self.high - self.low)
        return self.bottom + (self.top - self.bottom) * share


def new_picture(name: str, title: str, words: str, height: float = HEIGHT) -> ET.Element:
    """An empty picture on paper, with its title and itself in words for those who do not see.

    Parameters
    ----------
    name
        Of the picture, unique on a page.
    title, words
        Read out by a screen reader.
    height
        Of the picture, which is 1000 wide.

    Returns
    -------
    root
        The SVG element.
    """
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {WIDTH} {height:g}",
            "role": "img",
            "aria-labelledby": f"{name}-title {name}-words",
            "font-family": "Arial, Helvetica, sans-serif",
            "fill": INK,
        },
    )
    ET.SubElement(root, "title", id=f"{name}-title").text = clean(title)
    ET.SubElement(root, "desc", id=f"{name}-words").text = words
    shape(root, "rect", width=WIDTH, height=height, fill=PAPER)
    return root


def _step(span: float, pieces: int) -> float:
    """A round step (1, 2 or 5 times a power of ten) giving at most about `pieces`."""
    rough = span / pieces
    power = 10.0 ** math.floor(math.log10(rough))
    return next(power * m for m in (1, 2, 5, 10) if power * m >= rough * (1 - 1e-9))


def round_ends(low: float, high: float, unit: DisplayUnit) -> tuple[float, float]:
    """The range widened to whole steps of the unit.

    Parameters
    ----------
    low, high
        Ends of the range, SI.
    unit
        Whose round figures are wanted.

    Returns
    -------
    ends
        The new low and high end, SI.
    """
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


def draw_heights(root: ET.Element, route: Route, panel: Panel, system: UnitSystem) -> None:
    """The road's heights, shaded by class of grade.

    Parameters
    ----------
    root
        The picture.
    route
        With heights.
    panel
        Where they stand.
    system
        The units to show.
    """
    text(root, LEFT, panel.top - 8, f"Height [{system.height.label}]", font_weight="bold")
    grid = np.linspace(0.0, route.length, int(RIGHT - LEFT) + 1)
    runs = grade_runs(route)
    for begin, end, kind in runs:
        inside = grid[(grid > begin) & (grid < end)].tolist()
        outline = [(d, route.height(d)) for d in (begin, *inside, end)]
        path = path_of(panel, [(begin, panel.low), *outline, (end, panel.low)])
        fill = f"url(#grade-{kind})" if _SHADES[kind][1] is not None else _SHADES[kind][0]
        shape(root, "path", d=f"{path} Z", fill=fill)
    every = sorted({*grid.tolist(), *(d for run in runs for d in run[:2])})
    draw_grid(root, panel, system.height)
    line = path_of(panel, [(d, route.height(d)) for d in every])
    shape(
        root, "path", d=line, fill="none", stroke=INK, stroke_width=2.5, stroke_linejoin="round"
    )  # fmt: skip


def draw_grid(root: ET.Element, panel: Panel, unit: DisplayUnit) -> None:
    """Lines and figures at round values, and the panel's frame.

    Parameters
    ----------
    root
        The picture.
    panel
        To be ruled.
    unit
        Of its values.
    """
    axis = f"{round(panel.top, 2):g}"
    for value, label in _ticks(panel.low, panel.high, unit, 4):
        y = panel.y(value)
        shape(root, "line", x1=LEFT, x2=RIGHT, y1=y, y2=y, stroke="#8a8577", stroke_width=0.6)
        text(root, LEFT - 8, y + 4.5, label, text_anchor="end", data_axis=axis)
    shape(
        root, "rect", x=LEFT, y=panel.top, width=RIGHT - LEFT,
        height=panel.bottom - panel.top, fill="none", stroke=INK,
    )  # fmt: skip


def draw_distance(root: ET.Element, panel: Panel, system: UnitSystem) -> None:
    """The axis of distance: round figures, and the road's length at its end.

    Parameters
    ----------
    root
        The picture.
    panel
        The lowest, under which the axis stands.
    system
        The units to show.
    """
    unit = system.distance
    ends = [(panel.length, unit.number(panel.length))]
    for value, label in [*_ticks(0.0, panel.length, unit, 10), *ends]:
        x = panel.x(value)
        if value < panel.length and x > RIGHT - 44:
            continue
        shape(root, "line", x1=x, x2=x, y1=panel.bottom, y2=panel.bottom + 6, stroke=INK)
        text(root, x, panel.bottom + 21, label, text_anchor="middle", data_axis="distance")
    middle = (LEFT + RIGHT) / 2
    text(
        root, middle, panel.bottom + 40, f"Distance along the road [{unit.label}]",
        text_anchor="middle", font_weight="bold",
    )  # fmt: skip


def draw_shades(root: ET.Element) -> None:
    """Patterns of the classes of grade.

    Parameters
    ----------
    root
        The picture.
    """
    shades = ET.SubElement(root, "defs")
    for kind, (tint, angle, gap) in enumerate(_SHADES):
        if angle is None:
            continue
        pattern = shape(
            shades, "pattern", id=f"grade-{kind}", width=gap, height=gap,
            patternUnits="userSpaceOnUse", patternTransform=f"rotate({angle})",
        )  # fmt: skip
        shape(pattern, "rect", width=gap, height=gap, fill=tint)
        colour = GRADE_CLASSES[kind].colour
        shape(pattern, "line", x1=0, x2=0, y1=0, y2=gap, stroke=colour, stroke_width=2.4)


def draw_key(root: ET.Element, route: Route, top: float = 588.0) -> None:
    """What the shades of grade mean.

    Parameters
    ----------
    root
        The picture.
    route
        Without heights there is no key.
    top
        Where its first line stands.
    """
    if not route.has_heights:
        return
    text(root, LEFT, top, f"Grade over {_SPAN:g} m:", font_weight="bold")
    for place, kind in enumerate((4, 3, 2, 1, 0)):
        x, y = LEFT + 290 * (place % 3), top + 12.0 + 22 * (place // 3)
        fill = f"url(#grade-{kind})" if _SHADES[kind][1] is not None else _SHADES[kind][0]
        shape(root, "rect", x=x, y=y, width=26, height=15, fill=fill, stroke=INK)
        shown = GRADE_CLASSES[kind]
        text(root, x + 33, y + 12, f"{shown.name}: {shown.figures}")


def path_of(panel: Panel, points: Sequence[tuple[float, float]]) -> str:
    """Points as an SVG path.

    Parameters
    ----------
    panel
        Where the points stand.
    points
        Of distance [m] and value.

    Returns
    -------
    path
        For the attribute `d`.
    """
    return "M" + " L".join(f"{panel.x(d):.1f} {panel.y(v):.1f}" for d, v in points)


def shape(parent: ET.Element, tag: str, **attributes: str | float) -> ET.Element:
    """A child element; numbers are rounded to hundredths of a unit of the picture.

    Parameters
    ----------
    parent
        What it is put into.
    tag
        Its SVG name.
    attributes
        By name; an underscore stands for a hyphen.

    Returns
    -------
    child
        The new element.
    """
    return ET.SubElement(
        parent,
        tag,
        {
            name.replace("_", "-"): value if isinstance(value, str) else f"{round(value, 2):g}"
            for name, value in attributes.items()
        },
    )


def text(
    parent: ET.Element, x: float, y: float, words: str, *, size: int = 13, **attributes: str
) -> None:
    """Words at a place; anything XML cannot hold is replaced.

    Parameters
    ----------
    parent
        What they are put into.
    x, y
        Where their line begins.
    words
        What is said.
    size
        Of the letters.
    attributes
        As for `shape`.
    """
    shape(parent, "text", x=x, y=y, font_size=size, **attributes).text = clean(words)


def clean(words: str) -> str:
    """Words from a user, fit for XML.

    Parameters
    ----------
    words
        As the user wrote them.

    Returns
    -------
    words
        Without what XML cannot hold.
    """
    return _NOT_XML.sub("\N{REPLACEMENT CHARACTER}", plain(words))


def shortened(words: str, longest: int) -> str:
    """Words cut to so many letters, the cut marked.

    Parameters
    ----------
    words
        To be cut.
    longest
        How many letters may stay.

    Returns
    -------
    words
        Cut where need be.
    """
    return words if len(words) <= longest else f"{words[: longest - 1]}…"
