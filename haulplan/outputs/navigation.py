"""The plan for navigators and maps elsewhere: GPX 1.1 and GeoJSON."""

import json
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.doing import kind_of, stands, tasks_at
from haulplan.outputs.drawing import clean
from haulplan.outputs.tables import clock_text
from haulplan.plan.plan import Plan, Stop
from haulplan.route.build import Line, Route
from haulplan.scenario import Scenario
from haulplan.units import UnitSystem

__all__ = ["plan_geojson", "route_gpx"]

Array = NDArray[np.float64]

#: Points nearer together than this are thinned, or further on very long roads. [m]
_SPACING: Final = 10.0
_MOST_POINTS: Final = 10_000
#: RFC 7946 advises no more digits: a metre of latitude is 0.00001°.
_DIGITS: Final = 6


def _points(line: Line) -> Array:
    """Distances along the route of the points drawn, both ends kept [m]."""
    length = float(line.distance[-1])
    cell = np.floor(line.distance / max(_SPACING, length / _MOST_POINTS))
    kept = line.distance[np.unique(cell, return_index=True)[1]]
    return np.unique(np.append(kept, length))


def _note(scenario: Scenario, stop: Stop, system: UnitSystem) -> str:
    """What a navigator shows at a stop, in one line."""
    words = []
    if stop.kind != "start":
        words.append(f"arrive {clock_text(stop.arrive)}")
    if stop.kind != "finish":
        words.append(f"leave {clock_text(stop.depart)}")
    words.append(f"tank {system.water.text(stop.tank_arrive)}")
    if stop.water_taken > 0:
        words.append(
            f"WATER {system.water.text(stop.water_taken)} to {system.water.text(stop.tank_depart)}"
        )
    if stop.coal_taken > 0:
        words.append(f"COAL {system.coal.text(stop.coal_taken)}")
    words += tasks_at(scenario, stop, system)
    if stop.kind == "supply" and stop.row is not None:
        supply = scenario.supplies[stop.row]
        words += [w for w in (supply.side, supply.contact, supply.permit, supply.note) if w]
    return clean("; ".join(words))


def route_gpx(scenario: Scenario, route: Route, plan: Plan, system: UnitSystem) -> str:
    """The road as a track and its stops, bridges and crossings as waypoints, in GPX 1.1.

    Parameters
    ----------
    scenario, route, plan
        The problem and its plan; the road must have coordinates.
    system
        The units of the notes.

    Returns
    -------
    text
        XML that a navigator reads.

    Raises
    ------
    ValueError
        If the road has no coordinates.

    References
    ----------
    .. [1] GPX 1.1 schema documentation, topografix.com/GPX/1/1.
    """
    import gpxpy.gpx  # noqa: PLC0415  slow to load

    line = route.line
    if line is None:
        raise ValueError("the road has no positions")
    file = gpxpy.gpx.GPX()
    file.creator = "haulplan"
    file.name = clean(plan.title)
    file.description = clean(" ".join(CAUTIONS))
    for name, distance, kind, note in _waypoints(scenario, route, plan, system):
        latitude, longitude = line.position(distance)
        height = route.height(distance) if route.has_heights else None
        file.waypoints.append(
            gpxpy.gpx.GPXWaypoint(
                latitude=round(latitude, _DIGITS), longitude=round(longitude, _DIGITS),
                elevation=None if height is None else round(height, 1),
                name=clean(name), description=note, comment=note, type=clean(kind),
            )
        )  # fmt: skip
    track = gpxpy.gpx.GPXTrack(name=clean(plan.title))
    segment = gpxpy.gpx.GPXTrackSegment()
    for distance, latitude, longitude in _drawn(line):
        height = route.height(distance) if route.has_heights else None
        segment.points.append(
            gpxpy.gpx.GPXTrackPoint(
                latitude, longitude, elevation=None if height is None else round(height, 1)
            )
        )
    track.segments.append(segment)
    file.tracks.append(track)
    text: str = file.to_xml(version="1.1")
    return text + "\n"


def _drawn(line: Line) -> Iterator[tuple[float, float, float]]:
    """Distance, latitude and longitude of each point drawn, longitudes within ±180°."""
    at = _points(line)
    north = np.interp(at, line.distance, line.latitude)
    east = np.interp(at, line.distance, np.unwrap(line.longitude, period=360.0))
    east = (east + 180.0) % 360.0 - 180.0
    rounded = (np.round(side, _DIGITS).tolist() for side in (north, east))
    yield from zip(at.tolist(), *rounded, strict=True)


def _waypoints(
    scenario: Scenario, route: Route, plan: Plan, system: UnitSystem
) -> Iterator[tuple[str, float, str, str]]:
    """Name, distance, kind and note of each."""
    for stop in plan.stops:
        name = f"{stop.number} {stop.name}" if stands(stop) else stop.name
        yield name, stop.distance, kind_of(scenario, stop), _note(scenario, stop, system)
    for crossing in plan.crossings:
        note = (
            f"posted {system.mass.text(crossing.limit)}, ours {system.mass.text(crossing.gross)} "
            f"({crossing.what}); the posted figure and the road authority decide"
        )
        yield crossing.name, crossing.distance, "bridge", clean(note)
    for passing in route.level_crossings:
        telephone = scenario.level_crossings[passing.row].telephone
        note = f"ring {telephone} before and after" if telephone else "telephone not known"
        yield passing.label, passing.distance, "level crossing", clean(note)


def plan_geojson(scenario: Scenario, route: Route, plan: Plan, system: UnitSystem) -> str:
    """The road and its stops, bridges and crossings as an RFC 7946 feature collection.

    Parameters
    ----------
    scenario, route, plan
        The problem and its plan; the road must have coordinates.
    system
        The units of the notes; figures are SI and say so in their names.

    Returns
    -------
    text
        JSON; positions are longitude, latitude and, where known, height.

    Raises
    ------
    ValueError
        If the road has no coordinates.

    References
    ----------
    .. [1] RFC 7946, The GeoJSON Format (2016); lines are cut at the antimeridian (3.1.9).
    """
    line = route.line
    if line is None:
        raise ValueError("the road has no positions")

    def place(distance: float) -> list[float]:
        latitude, longitude = line.position(distance)
        height = [round(route.height(distance), 1)] if route.has_heights else []
        return [round(longitude, _DIGITS), round(latitude, _DIGITS), *height]

    pieces: list[list[list[float]]] = [[]]
    for distance, latitude, longitude in _drawn(line):
        if pieces[-1] and abs(longitude - pieces[-1][-1][0]) > 180:
            pieces.append([])
        height = [round(route.height(distance), 1)] if route.has_heights else []
        pieces[-1].append([longitude, latitude, *height])
    whole = [piece for piece in pieces if len(piece) > 1]
    road: dict[str, Any] = {"type": "MultiLineString", "coordinates": whole}
    if len(whole) == 1:
        road = {"type": "LineString", "coordinates": whole[0]}
    features: list[dict[str, Any]] = [
        {
            "type": "Feature",
            "geometry": road,
            "properties": {"kind": "road", "name": plan.title, "length_m": round(route.length, 1)},
        }
    ]
    stops = {(stop.name, stop.distance): stop for stop in plan.stops}
    for name, distance, kind, note in _waypoints(scenario, route, plan, system):
        properties: dict[str, Any] = {
            "kind": kind, "name": name, "distance_m": round(distance, 1), "note": note,
        }  # fmt: skip
        stop = next((s for (_, at), s in stops.items() if at == distance
                     and name.endswith(s.name)), None)  # fmt: skip
        if stop is not None:
            properties |= _figures(stop)
        features.append(
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": place(distance)},
                "properties": properties,
            }
        )
    collection = {"type": "FeatureCollection", "features": features}
    return json.dumps(collection, ensure_ascii=False, allow_nan=False) + "\n"


def _figures(stop: Stop) -> dict[str, float | int]:
    return {
        "number": stop.number,
        "arrive_s": round(stop.arrive),
        "leave_s": round(stop.depart),
        "tank_on_arrival_kg": round(stop.tank_arrive, 1),
        "water_taken_kg": round(stop.water_taken, 1),
        "tank_on_leaving_kg": round(stop.tank_depart, 1),
        "coal_taken_kg": round(stop.coal_taken, 1),
    }
