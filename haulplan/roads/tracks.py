"""Heights along roads somebody has driven or levelled: a GPX recording or a table of points."""

import math
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import numpy as np
from numpy.typing import NDArray

from haulplan.errors import InputError, Problem
from haulplan.route.gpx import read_gpx
from haulplan.scenario import read_rows
from haulplan.scenario.fields import angle, quantity
from haulplan.scenario.schema import Model

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

__all__ = ["HeightRow", "Track", "read_track"]

Array = NDArray[np.float64]

#: A road so near a recorded point is the road recorded. [m]
_NEAR: Final = 20.0
_DEGREE: Final = 111_195.0


class HeightRow(Model):
    """One row of a table of heights."""

    latitude: Annotated[float, angle(90)]
    longitude: Annotated[float, angle(180)]
    elevation: Annotated[float, quantity("length", "-500 m", "9000 m")]


@dataclass(frozen=True, kw_only=True)
class Track:
    """Points with their heights, shape (points,) [°], [°], [m]."""

    name: str
    latitude: Array
    longitude: Array
    height: Array

    def covers(self, latitude: Array, longitude: Array) -> NDArray[np.bool_]:
        """Whether a point lies within 20 m of each position."""
        return np.isfinite(self.at(latitude, longitude))

    def at(self, latitude: Array, longitude: Array) -> Array:
        """Height between the two points nearest to each position, NaN where none is near [m]."""
        found = self._tree.query(self._plane(latitude, longitude), k=2)
        apart, which = (np.asarray(part) for part in found)
        weight = 1.0 / np.maximum(apart, 0.01)
        other = np.minimum(which, self.height.size - 1)
        height = (weight * self.height[other]).sum(axis=1) / weight.sum(axis=1)
        return np.where(apart[:, 0] <= _NEAR, height, np.nan)

    @cached_property
    def _tree(self) -> "cKDTree[None]":
        from scipy.spatial import cKDTree  # noqa: PLC0415  slow to load

        return cKDTree(self._plane(self.latitude, self.longitude))

    def _plane(self, latitude: Array, longitude: Array) -> Array:
        """Metres north and east, right enough over 20 m."""
        shrink = math.cos(math.radians(float(self.latitude.mean())))
        return np.stack([latitude * _DEGREE, longitude * _DEGREE * shrink], axis=1)


def read_track(path: Path) -> Track:
    """Read heights along a road.

    Parameters
    ----------
    path
        A GPX recording, or a CSV table of `latitude`, `longitude` and `elevation`.

    Returns
    -------
    track
        Its points that have a height.

    Raises
    ------
    InputError
        If the file is wrong or holds no height.
    """
    if path.suffix.casefold() == ".gpx":
        pieces = read_gpx(path).pieces
        sides = [
            np.concatenate([getattr(piece, side) for piece in pieces])
            for side in ("latitude", "longitude", "elevation")
        ]
    else:
        problems: list[Problem] = []
        rows = read_rows(path, HeightRow, problems).values()
        if problems:
            raise InputError(problems)
        sides = [
            np.array([getattr(row, side) for row in rows])
            for side in ("latitude", "longitude", "elevation")
        ]
    latitude, longitude, height = sides
    known = np.isfinite(height)
    if np.count_nonzero(known) < 2:
        found = "fewer than two points with a height"
        raise InputError([Problem(file=path.name, where="", found=found, remedy="give heights")])
    return Track(
        name=path.name, latitude=latitude[known], longitude=longitude[known], height=height[known]
    )
