"""Strips of a picture that tell of the road: the speed driven and the surface."""

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from itertools import groupby, pairwise
from typing import Final

import numpy as np

from haulplan.outputs.drawing import INK, LEFT, Panel, draw_grid, path_of, shape, text
from haulplan.plan.plan import Trace
from haulplan.route.build import Route
from haulplan.units import UnitSystem

__all__ = ["draw_speed", "draw_surfaces", "speeds"]

#: Pieces over which the speed is averaged in a picture.
_PIECES: Final = 200
#: Fills of surfaces, soft ones darker; each piece is named too.
_FILLS: Final = {
    "asphalt": "#ffffff", "brick": "#f4ede0", "setts": "#ebe2d0", "macadam": "#ebe2d0",
    "worn macadam": "#dcd0b6", "gravel": "#cdbd9b", "loose gravel": "#bda97f",
    "earth": "#b09a6b", "sand": "#b09a6b",
}  # fmt: skip
#: Width of a letter of 11 px. [px]
_LETTER: Final = 6.4


def speeds(trace: Trace) -> Iterator[tuple[float, float, float]]:
    """Mean speed driven, piece by piece; standing is not driving.

    Parameters
    ----------
    trace
        From the replay.

    Returns
    -------
    pieces
        Of each its begin and end [m], and its speed [m/s].
    """
    distance, clock = np.array(trace.distance), np.array(trace.clock)
    step, took = np.diff(distance), np.diff(clock)
    driven = np.concatenate([[0.0], np.cumsum(np.where(step > 0, took, 0.0))])
    edges = np.linspace(distance[0], distance[-1], _PIECES + 1)
    order = np.concatenate([[True], step > 0])
    at = np.interp(edges, distance[order], driven[order])
    for (a, b), (s, t) in zip(pairwise(edges.tolist()), pairwise(at.tolist()), strict=True):
        if t > s:
            yield a, b, (b - a) / (t - s)


def draw_speed(root: ET.Element, trace: Trace, panel: Panel, system: UnitSystem) -> None:
    """The speed driven.

    Parameters
    ----------
    root
        The picture.
    trace
        From the replay.
    panel
        Where it stands.
    system
        The units to show.
    """
    text(root, LEFT, panel.top - 8, f"Speed [{system.speed.label}]", font_weight="bold")
    draw_grid(root, panel, system.speed)
    points = [(at, speed) for a, b, speed in speeds(trace) for at in (a, b)]
    if points:
        shape(
            root, "path", d=path_of(panel, points), fill="none", stroke=INK, stroke_width=2,
            stroke_linejoin="round", data_line="speed",
        )  # fmt: skip


def draw_surfaces(root: ET.Element, route: Route, panel: Panel) -> None:
    """A strip of surfaces; a piece too short for its name keeps it for a screen reader.

    Parameters
    ----------
    root
        The picture.
    route
        The road.
    panel
        Where it stands.
    """
    text(root, LEFT, panel.top - 6, "Surface", font_weight="bold")
    numbered = enumerate(route.surface)
    for name, run in groupby(numbered, key=lambda item: item[1]):
        own = [number for number, _ in run]
        begin, end = (
            panel.x(float(route.distance[number])) for number in (own[0], own[-1] + 1)
        )  # fmt: skip
        box = shape(
            root, "rect", x=begin, y=panel.top, width=max(end - begin, 0.5),
            height=panel.bottom - panel.top, fill=_FILLS.get(name, "#ffffff"), stroke=INK,
            data_surface=name,
        )  # fmt: skip
        ET.SubElement(box, "title").text = name
        shown = name if end - begin >= _LETTER * len(name) + 4 else name[0].upper()
        if end - begin >= _LETTER + 4:
            middle = (begin + end) / 2
            text(root, middle, panel.bottom - 7, shown, size=11, text_anchor="middle")
