"""Read a folder of nodes.csv and roads.csv, or a GeoJSON file, as roads."""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import numpy as np
from pydantic import Field, model_validator

from haulplan.errors import InputError, Problem
from haulplan.roads.bans import Area
from haulplan.roads.facts import Facts
from haulplan.roads.roadmap import RawRoad, RoadMap
from haulplan.roads.tags import read_facts
from haulplan.scenario import read_rows
from haulplan.scenario.fields import Text, angle, quantity
from haulplan.scenario.schema import Model, Surface

__all__ = [
    "NodeRow", "PointRow", "StreetRow", "read_areas", "read_geojson", "read_road_tables",
]  # fmt: skip

YesNo = Literal["yes", "no"]
_MOST_BYTES: Final = 256 * 1024 * 1024
_WGS84: Final = ("CRS84", "EPSG::4326", "EPSG:4326")
Height = Annotated[float, quantity("length", "-500 m", "9000 m")]
Mass = Annotated[float, quantity("mass", "0.1 t", "500 t")]
Clear = Annotated[float, quantity("length", "0.5 m", "30 m")]


class NodeRow(Model):
    """One row of nodes.csv: a junction, an end, or a place where a train may be turned."""

    id: Text
    latitude: Annotated[float, angle(90)]
    longitude: Annotated[float, angle(180)]
    elevation: Height | None = None
    name: Text | None = None
    turning: YesNo = "no"
    level_crossing: YesNo = "no"


class StreetRow(Model):
    """One row of roads.csv: a road between two nodes, drawn from `begin` to `end`."""

    id: Text
    begin: Text
    end: Text
    road: Text | None = None
    surface: Surface | None = None
    oneway: Literal["yes", "no", "reverse"] = "no"
    max_mass: Mass | None = None
    max_axle: Mass | None = None
    max_height: Clear | None = None
    max_width: Clear | None = None
    speed_limit: Annotated[float, quantity("speed", "0.5 mph", "100 mph")] | None = None
    bridge: YesNo = "no"
    tunnel: YesNo = "no"
    ford: YesNo = "no"
    planking: YesNo = "no"
    closed: Text | None = None


class PointRow(Model):
    """One row of geometry.csv: a point of a road between its nodes, in the order drawn."""

    id: Text
    order: Annotated[int, Field(ge=0, le=1_000_000)]
    latitude: Annotated[float, angle(90)]
    longitude: Annotated[float, angle(180)]
    elevation: Height | None = None

    @model_validator(mode="before")
    @classmethod
    def _whole(cls, raw: Any) -> Any:  # noqa: ANN401  pydantic's input
        order = raw.get("order") if isinstance(raw, dict) else None
        if isinstance(order, str) and order.isdecimal():
            return {**raw, "order": int(order)}
        return raw


def read_road_tables(folder: Path) -> RoadMap:
    """Read nodes.csv, roads.csv and, where present, geometry.csv.

    Parameters
    ----------
    folder
        That holds them.

    Returns
    -------
    roads
        With heights where every node has one.

    Raises
    ------
    InputError
        With everything wrong in the three files.
    """
    problems: list[Problem] = []
    nodes = read_rows(folder / "nodes.csv", NodeRow, problems)
    streets = read_rows(folder / "roads.csv", StreetRow, problems)
    shapes: dict[int, PointRow] = {}
    if (folder / "geometry.csv").exists():
        shapes = read_rows(folder / "geometry.csv", PointRow, problems)
    if problems:
        raise InputError(problems)
    points = {n.id: (n.latitude, n.longitude, _or_nan(n.elevation)) for n in nodes.values()}
    problems += _repeated("nodes.csv", {row: n.id for row, n in nodes.items()})
    problems += _repeated("roads.csv", {row: s.id for row, s in streets.items()})
    between = _between({s.id for s in streets.values()}, shapes, points, problems)
    roads = []
    for row, street in streets.items():
        for column, end in (("from", street.begin), ("to", street.end)):
            if end not in points:
                problems.append(
                    Problem(
                        file="roads.csv", where=f"row {row}, column {column}",
                        found=f"no node '{end}'", remedy="add it to nodes.csv, or mend the name",
                    )
                )  # fmt: skip
        chain = [street.begin, *between.get(street.id, []), street.end]
        roads.append(RawRoad(name=street.id, points=chain, facts=_facts(street)))
    if problems:
        raise InputError(problems)
    flat = [row for row, node in nodes.items() if node.elevation is None]
    if 0 < len(flat) < len(nodes):
        raise InputError(
            Problem(
                file="nodes.csv",
                where=f"row {row}, column elevation",
                found="missing",
                remedy="give every node a height, or none and grids as route.heights",
            )
            for row in flat[:20]
        )
    return RoadMap(
        name=folder.name,
        points=points,
        roads=roads,
        places={n.id: n.name for n in nodes.values() if n.name},
        turning=frozenset(n.id for n in nodes.values() if n.turning == "yes"),
        crossings=frozenset(n.id for n in nodes.values() if n.level_crossing == "yes"),
        measured=not flat,
    )


def _or_nan(height: float | None) -> float:
    return math.nan if height is None else height


def _repeated(file: str, names: dict[int, str]) -> list[Problem]:
    first: dict[str, int] = {}
    return [
        Problem(
            file=file, where=f"row {row}, column id", found=f"'{name}' stands in row {other} too",
            remedy="give each row an id of its own",
        )
        for row, name in names.items()
        if (other := first.setdefault(name, row)) != row
    ]  # fmt: skip


def _between(
    roads: set[str],
    shapes: dict[int, PointRow],
    points: dict[str, tuple[float, float, float]],
    problems: list[Problem],
) -> dict[str, list[str]]:
    """Names of the points between a road's nodes, which are added to the points."""
    order: dict[str, list[tuple[int, str]]] = {}
    for row, shape in shapes.items():
        if shape.id not in roads:
            problems.append(
                Problem(
                    file="geometry.csv", where=f"row {row}, column id",
                    found=f"no road '{shape.id}'", remedy="add it to roads.csv, or mend the id",
                )
            )  # fmt: skip
        name = f"{shape.id}#{shape.order}"
        if name in points:
            problems.append(
                Problem(
                    file="geometry.csv", where=f"row {row}, column order",
                    found=f"{shape.order} stands twice for '{shape.id}'",
                    remedy="number the points in the order drawn",
                )
            )  # fmt: skip
        points[name] = (shape.latitude, shape.longitude, _or_nan(shape.elevation))
        order.setdefault(shape.id, []).append((shape.order, name))
    return {road: [name for _, name in sorted(found)] for road, found in order.items()}


def _facts(street: StreetRow) -> Facts:
    def limit(value: float | None) -> float:
        return math.inf if value is None else value

    return Facts(
        name=street.road or street.id,
        surface=street.surface or "macadam",
        surface_known=street.surface is not None,
        max_mass=limit(street.max_mass),
        max_axle=limit(street.max_axle),
        max_height=limit(street.max_height),
        max_width=limit(street.max_width),
        speed_limit=limit(street.speed_limit),
        oneway={"yes": 1, "no": 0, "reverse": -1}[street.oneway],
        bridge=street.bridge == "yes",
        tunnel=street.tunnel == "yes",
        ford=street.ford == "yes",
        planking=street.planking == "yes",
        shut=street.closed,
    )


def read_geojson(path: Path) -> RoadMap:
    """Read roads from the lines of a GeoJSON file; properties are OpenStreetMap's tags.

    Parameters
    ----------
    path
        A FeatureCollection (RFC 7946). Lines that meet share a position to 1e-7 degrees;
        a third coordinate is the height. A line without `highway` is taken for a road.

    Returns
    -------
    roads
        With heights where every position has one.

    Raises
    ------
    InputError
        If the file is not such a collection, or a position is out of range.
    """
    features = _features(path)
    points: dict[str, tuple[float, float, float]] = {}
    roads = []
    for number, feature in enumerate(features, start=1):
        shape = feature.get("geometry") or {}
        tags = {str(k): str(v) for k, v in (feature.get("properties") or {}).items() if v != ""}
        lines = _parts(shape, "LineString")
        facts = read_facts({"highway": "unclassified", **tags})
        for part, line in enumerate(lines):
            names = [_point(path, number, position, points) for position in line or []]
            if facts is not None and len(names) > 1:
                called = str(feature.get("id", tags.get("id", number)))
                name = called if part == 0 else f"{called}.{part}"
                roads.append(RawRoad(name=name, points=names, facts=facts))
    if not roads:
        raise _refuse(path, "no lines that are roads", "give LineString features of roads")
    measured = all(math.isfinite(points[p][2]) for road in roads for p in road.points)
    return RoadMap(name=path.name, points=points, roads=roads, measured=measured)


def read_areas(path: Path) -> tuple[Area, ...]:
    """Read areas to keep off from the polygons of a GeoJSON file.

    Parameters
    ----------
    path
        A FeatureCollection of polygons (RFC 7946); the property `name` is shown.

    Returns
    -------
    areas
        One for each polygon.

    Raises
    ------
    InputError
        If the file is no such collection or holds no polygon.
    """
    areas = []
    for number, feature in enumerate(_features(path), start=1):
        shape = feature.get("geometry") or {}
        parts = _parts(shape, "Polygon")
        name = str((feature.get("properties") or {}).get("name", f"area {number}"))[:120]
        for part in parts:
            points: dict[str, tuple[float, float, float]] = {}
            rings = []
            for ring in part or []:
                named = [points[_point(path, number, position, points)] for position in ring]
                rings.append(np.array([(lon, lat) for lat, lon, _ in [*named, *named[:1]]]))
            areas.append(Area(name=name, rings=tuple(rings)))
    if not areas:
        raise _refuse(path, "no polygons", "draw each area to keep off as a Polygon")
    return tuple(areas)


def _features(path: Path) -> list[dict[str, Any]]:
    """The features of a collection in WGS 84."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise _refuse(path, f"larger than {_MOST_BYTES >> 20} MiB", "cut it to the region")
        document = json.loads(path.read_text("utf-8-sig"))
    except OSError as error:
        raise _refuse(path, error.strerror or "cannot be read", "give a readable file") from None
    except (ValueError, RecursionError) as error:
        if isinstance(error, InputError):
            raise
        raise _refuse(path, f"not JSON: {str(error)[:80]}", "export it anew") from None
    if not isinstance(document, dict) or not isinstance(document.get("features"), list):
        raise _refuse(path, "no FeatureCollection", "give a GeoJSON collection of features")
    crs = json.dumps(document["crs"]) if document.get("crs") else _WGS84[0]
    if not any(name in crs for name in _WGS84):
        raise _refuse(path, f"in {crs[:60]}", "export it in WGS 84, as RFC 7946 has it")
    return [feature for feature in document["features"] if isinstance(feature, dict)]


def _parts(shape: Mapping[str, Any], kind: str) -> list[Any]:
    """The coordinates of a geometry of this kind, one or many; none of any other."""
    inside = shape.get("coordinates")
    if shape.get("type") == kind:
        return [inside]
    return list(inside or []) if shape.get("type") == f"Multi{kind}" else []


def _point(
    path: Path,
    number: int,
    position: Any,  # noqa: ANN401  JSON
    points: dict[str, tuple[float, float, float]],
) -> str:
    """The name of a position, which is added to the points."""
    try:
        longitude, latitude = (float(figure) for figure in position[:2])
        height = float(position[2]) if len(position) > 2 else math.nan
    except (TypeError, ValueError):
        longitude = latitude = height = math.nan
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):
        raise InputError(
            [
                Problem(
                    file=path.name, where=f"feature {number}",
                    found=f"position {str(position)[:40]}",
                    remedy="write [longitude, latitude] in decimal degrees",
                )
            ]
        )  # fmt: skip
    name = f"{latitude:.7f},{longitude:.7f}"
    points.setdefault(name, (latitude, longitude, height))
    return name


def _refuse(path: Path, found: str, remedy: str) -> InputError:
    return InputError([Problem(file=path.name, where="", found=found, remedy=remedy)])
