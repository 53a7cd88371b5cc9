"""Where the road meets the places of the tables; a road driven twice meets them twice."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from haulplan.errors import Problem
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Bridge, LevelCrossing, Place, Supply
from haulplan.units import UNIT_SYSTEMS

__all__ = ["Line", "Passing", "find_passings", "line_feet", "off_road", "stand_on_sample"]

Array = NDArray[np.float64]
_Located = Supply | Bridge | Place | LevelCrossing

#: A place so far from the road is looked for with latitude and longitude swapped. [m]
_FAR_OFF = 1e5


@dataclass(frozen=True, kw_only=True)
class Line:
    """The road as drawn: points with their distance along the route."""

    latitude: Array
    longitude: Array
    distance: Array

    def position(self, distance: float) -> tuple[float, float]:
        """Latitude and longitude at a distance along the route [°]."""
        index = int(np.clip(np.searchsorted(self.distance, distance), 1, self.distance.size - 1))
        before, after = self.distance[index - 1], self.distance[index]
        share = 0.0 if after <= before else (distance - before) / (after - before)
        turn = (self.longitude[index] - self.longitude[index - 1] + 180.0) % 360.0 - 180.0
        latitude = self.latitude[index - 1] + share * (
            self.latitude[index] - self.latitude[index - 1]
        )
        longitude = self.longitude[index - 1] + share * turn
        return float(latitude), float((longitude + 180.0) % 360.0 - 180.0)


@dataclass(frozen=True, kw_only=True)
class Passing:
    """One meeting of the route with a listed place; a road driven twice meets it twice."""

    kind: Literal["supply", "bridge", "place", "crossing"]
    name: str
    row: int
    distance: float
    offset: float
    number: int
    of: int

    @property
    def label(self) -> str:
        """The name, with the pass where there are several."""
        return self.name if self.of == 1 else f"{self.name} (pass {self.number} of {self.of})"


def off_road(
    scenario: Scenario, file: str, row: int, column: str, value: float, length: float
) -> Problem:
    """The problem of a distance beyond the road's end.

    Parameters
    ----------
    scenario
        Whose units are shown.
    file, row, column
        Where the distance stands.
    value, length
        The distance, and that of the road's end. [m]

    Returns
    -------
    problem
        To be added to the list.
    """
    unit = UNIT_SYSTEMS[scenario.file.units].distance
    return Problem(
        file=file,
        where=f"row {row}, column {column}",
        found=f"{unit.value(value):.2f} {unit.label} is beyond the road's end at "
        f"{unit.value(length):.2f} {unit.label}",
        remedy="give a distance on the road",
    )


def find_passings(
    scenario: Scenario, length: float, line: Line | None, problems: list[Problem]
) -> list[Passing]:
    """Every meeting of the road with a supply, bridge or place.

    Parameters
    ----------
    scenario
        With the tables of places.
    length
        Of the road. [m]
    line
        The road as drawn, None where it has no coordinates.
    problems
        Each place that is not on the road is added.

    Returns
    -------
    passings
        In driving order.
    """
    found: list[Passing] = []
    tables: tuple[
        tuple[Literal["supply", "bridge", "place", "crossing"], str, Sequence[_Located]], ...
    ] = (
        ("supply", "supply.csv", scenario.supplies),
        ("bridge", "bridges.csv", scenario.bridges),
        ("place", "places.csv", scenario.places),
        ("crossing", "crossings.csv", scenario.level_crossings),
    )
    for kind, file, rows in tables:
        for row, item in enumerate(rows):
            if item.at is not None:
                if item.at > length * (1 + 1e-9):
                    problems.append(off_road(scenario, file, row + 2, "at", item.at, length))
                hits = [(min(item.at, length), 0.0)]
            elif line is None:
                problems.append(
                    Problem(
                        file=file,
                        where=f"row {row + 2}",
                        found=f"'{item.name}' has latitude and longitude, the road has none",
                        remedy="give its distance along the road in column 'at'",
                    )
                )
                continue
            else:
                hits = _snap(scenario, line, item, file, row + 2, problems)
            found += [
                Passing(
                    kind=kind,
                    name=item.name,
                    row=row,
                    distance=distance,
                    offset=offset,
                    number=number,
                    of=len(hits),
                )
                for number, (distance, offset) in enumerate(hits, start=1)
            ]
    rank = {"place": 0, "crossing": 0, "supply": 1, "bridge": 2}
    return sorted(found, key=lambda p: (p.distance, rank[p.kind], p.row))


def _snap(
    scenario: Scenario,
    line: Line,
    item: _Located,
    file: str,
    row: int,
    problems: list[Problem],
) -> list[tuple[float, float]]:
    """Distance along the road and offset of each pass by a place given by coordinates."""
    assert item.latitude is not None and item.longitude is not None  # noqa: PT018
    limit = scenario.file.route.snap
    unit = UNIT_SYSTEMS[scenario.file.units].distance
    distance, offset = line_feet(line, item.latitude, item.longitude)
    near = offset <= limit
    if not near.any():
        best = int(np.argmin(offset))
        hint = ""
        if abs(item.longitude) <= 90 and offset[best] > _FAR_OFF:
            other = line_feet(line, item.longitude, item.latitude)[1].min()
            if other < _FAR_OFF:
                hint = "latitude and longitude look swapped, here or in the road's file; "
        problems.append(
            Problem(
                file=file,
                where=f"row {row}, column latitude",
                found=f"'{item.name}' is {_far(scenario, float(offset[best]))} from the road "
                f"(nearest at {unit.value(float(distance[best])):.2f} {unit.label})",
                remedy=f"{hint}mend the position, give 'at', or raise route.snap "
                f"(now {_far(scenario, limit)})",
            )
        )
        return []
    groups: list[list[int]] = []
    for index in np.flatnonzero(near).tolist():
        if groups and distance[index] - distance[groups[-1][-1]] <= 2 * limit:
            groups[-1].append(index)
        else:
            groups.append([index])
    best_of = [min(group, key=lambda i: (offset[i], i)) for group in groups]
    return [(float(distance[i]), float(offset[i])) for i in best_of]


def _far(scenario: Scenario, length: float) -> str:
    """A length in small units, or in large ones from two kilometres up."""
    system = UNIT_SYSTEMS[scenario.file.units]
    return (system.height if length < 2000 else system.distance).text(length)


def line_feet(line: Line, latitude: float, longitude: float) -> tuple[Array, Array]:
    """For each piece of the line, the nearest point to a place.

    Parameters
    ----------
    line
        The road as drawn.
    latitude, longitude
        Of the place. [°]

    Returns
    -------
    distance, offset
        Along the road and off it. Offsets are reckoned on a plane touching at the place:
        exact enough below some kilometres, and only compared beyond. [m], [m]
    """
    radius = 6371008.8
    north = np.radians(line.latitude - latitude) * radius
    shrink = radius * math.cos(math.radians(latitude))
    east = np.radians((line.longitude - longitude + 180.0) % 360.0 - 180.0) * shrink
    dx = np.radians((np.diff(line.longitude) + 180.0) % 360.0 - 180.0) * shrink
    dy = np.diff(north)
    square = dx * dx + dy * dy
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(square > 0, -(east[:-1] * dx + north[:-1] * dy) / square, 0.0)
    share = np.clip(share, 0.0, 1.0)
    offset = np.hypot(east[:-1] + share * dx, north[:-1] + share * dy)
    return line.distance[:-1] + share * np.diff(line.distance), offset


def stand_on_sample(passing: Passing, distance: Array) -> Passing:
    """The passing at the sample that was made for it.

    Parameters
    ----------
    passing
        With the distance found.
    distance
        Of the samples, shape (samples,). [m]

    Returns
    -------
    passing
        With the sample's distance, equal but for rounding.
    """
    return replace(
        passing, distance=float(distance[np.argmin(np.abs(distance - passing.distance))])
    )
