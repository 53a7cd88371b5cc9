"""Turns of the road, found from its drawn line."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.route.build import Line

__all__ = ["Turn", "find_turns"]

Array = NDArray[np.float64]

#: The line is looked at in steps of so much [m]; a turn is taken within so many of them.
_STEP: Final = 15.0
_WITHIN: Final = 3
#: A change of heading from so much on is told; haulplan's assumption. [°]
_TURN, _SHARP = 50.0, 100.0
#: Turns nearer together are told as one. [m]
_APART: Final = 60.0
_POINTS: Final = (
    "north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Turn:
    """One turn: where [m], by how much to the right [°], and the heading after it."""

    distance: float
    angle: float
    heading: str

    @property
    def words(self) -> str:
        """As "sharp left, then north"."""
        side = "right" if self.angle > 0 else "left"
        sharp = "sharp " if abs(self.angle) >= _SHARP else ""
        return f"{sharp}{side}, then {self.heading}"


def find_turns(line: Line) -> tuple[Turn, ...]:
    """Turns of 50° and more, taken within some 50 m of road.

    Parameters
    ----------
    line
        The road as drawn. Bends drawn with points far apart cannot be told from turns.

    Returns
    -------
    turns
        In driving order.
    """
    length = float(line.distance[-1])
    at = np.arange(0.0, length, _STEP)
    if at.size < 2 * _WITHIN + 2:
        return ()
    heading = _headings(line, at)
    change = _wrapped(heading[_WITHIN:] - heading[:-_WITHIN])
    size = np.abs(change)
    found = []
    marked = np.flatnonzero(size >= _TURN)
    groups = np.split(marked, np.flatnonzero(np.diff(marked) * _STEP > _APART) + 1)
    for group in (g for g in groups if g.size):
        best = int(group[np.argmax(size[group])])
        end = min(int(group[-1]) + _WITHIN + 1, heading.size - 1)
        found.append(
            Turn(
                distance=float(at[best] + _STEP * (_WITHIN + 1) / 2),
                angle=float(change[best]),
                heading=_POINTS[round(float(heading[end]) / 45.0) % 8],
            )
        )
    return tuple(found)


def _headings(line: Line, at: Array) -> Array:
    """Heading of each step, clockwise from north [°]."""
    north = np.interp(at, line.distance, line.latitude)
    east = np.interp(at, line.distance, np.unwrap(line.longitude, period=360.0))
    shrink = np.cos(np.radians((north[1:] + north[:-1]) / 2))
    headings: Array = np.degrees(np.arctan2(np.diff(east) * shrink, np.diff(north))) % 360.0
    return headings


def _wrapped(angle: Array) -> Array:
    wrapped: Array = (angle + 180.0) % 360.0 - 180.0
    return wrapped
