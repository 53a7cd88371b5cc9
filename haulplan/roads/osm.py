"""Read an OpenStreetMap extract: .osm and .osm.gz here, .osm.pbf through pyosmium.

Only roads, their points and the places on them are kept. Entities are refused before the
parser acts on them; a file that unpacks to more than its limit is refused unread.
"""

import gzip
import io
import math
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Final
from xml.etree.ElementTree import ParseError

from haulplan.errors import InputError, Problem
from haulplan.roads.roadmap import RawRoad, RoadMap, Spring
from haulplan.roads.tags import BLOCKING, GATES, read_facts

__all__ = ["read_osm"]

#: Unpacked, a county's extract is far below this. [bytes]
_MOST_BYTES: Final = 1 << 30
_TURNING: Final = frozenset({"turning_circle", "turning_loop", "mini_roundabout"})
_WATER: Final = (
    ("amenity", "drinking_water"), ("amenity", "watering_place"), ("man_made", "water_tap"),
    ("man_made", "water_well"), ("man_made", "water_tower"), ("emergency", "fire_hydrant"),
    ("emergency", "fire_water_pond"), ("emergency", "suction_point"), ("natural", "spring"),
    ("shop", "fuel"), ("shop", "coal"),
)  # fmt: skip


@dataclass(kw_only=True)
class _Kept:
    """What is kept while a file is read."""

    points: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    roads: list[RawRoad] = field(default_factory=list)
    turning: set[str] = field(default_factory=set)
    crossings: set[str] = field(default_factory=set)
    barriers: dict[str, str] = field(default_factory=dict)
    springs: list[Spring] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def node(self, name: str, latitude: float, longitude: float, tags: dict[str, str]) -> None:
        """Keep a point, and what stands there."""
        self.points[name] = (latitude, longitude, math.nan)
        if not tags:
            return
        if tags.get("highway") in _TURNING:
            self.turning.add(name)
        if tags.get("railway") in {"level_crossing", "tram_level_crossing"}:
            self.crossings.add(name)
        if tags.get("barrier") in BLOCKING | GATES:
            self.barriers[name] = tags["barrier"]
        for key, value in _WATER:
            if tags.get(key) == value:
                called = tags.get("name", value.replace("_", " "))
                self.springs.append(
                    Spring(
                        name=called[:120], kind=value.replace("_", " "), latitude=latitude,
                        longitude=longitude,
                    )
                )  # fmt: skip
                break

    def way(self, name: str, points: list[str], tags: dict[str, str]) -> None:
        """Keep a way that is a road."""
        if (facts := read_facts(tags)) is not None and len(points) > 1:
            self.roads.append(RawRoad(name=name, points=points, facts=facts))


def read_osm(path: Path) -> RoadMap:
    """Read the roads of an OpenStreetMap extract.

    Parameters
    ----------
    path
        An .osm, .osm.gz or .osm.pbf file.

    Returns
    -------
    roads
        Ways for vehicles, cut where points are missing; without heights.

    Raises
    ------
    InputError
        If the file is no extract, is damaged, or declares entities.
    """
    kept = _Kept()
    if path.name.casefold().endswith(".pbf"):
        _read_pbf(path, kept)
    else:
        _read_xml(path, kept)
    roads = [piece for road in kept.roads for piece in _complete(road, kept.points)]
    if not roads:
        raise _refuse(path, "no roads", "give an extract with ways that have a highway tag")
    used = {point for road in roads for point in road.points}
    return RoadMap(
        name=path.name,
        points={point: kept.points[point] for point in used},
        roads=roads,
        turning=frozenset(kept.turning & used),
        crossings=frozenset(kept.crossings & used),
        barriers={point: kind for point, kind in kept.barriers.items() if point in used},
        springs=tuple(kept.springs),
        warnings=tuple(kept.warnings),
    )


def _refuse(path: Path, found: str, remedy: str) -> InputError:
    return InputError([Problem(file=path.name, where="", found=found, remedy=remedy)])


def _complete(road: RawRoad, points: dict[str, tuple[float, float, float]]) -> Iterator[RawRoad]:
    """The parts of a road whose points are in the extract: its edge cuts roads."""
    run: list[str] = []
    number = 0
    for point in [*road.points, ""]:
        if point in points:
            run.append(point)
            continue
        if len(run) > 1:
            name = road.name if len(run) == len(road.points) else f"{road.name}.{number}"
            yield RawRoad(name=name, points=run, facts=road.facts)
            number += 1
        run = []


class _Limited(io.RawIOBase):
    """A stream that refuses to give more than so many bytes."""

    def __init__(self, stream: IO[bytes], path: Path) -> None:
        self._stream, self._left, self._path = stream, _MOST_BYTES, path

    def readable(self) -> bool:
        """As every reader asks first."""
        return True

    def read(self, size: int = -1) -> bytes:
        """The next bytes."""
        data = self._stream.read(size)
        self._left -= len(data)
        if self._left < 0:
            raise _refuse(
                self._path, f"unpacks to more than {_MOST_BYTES >> 20} MiB",
                "cut the extract to the region of the haul",
            )  # fmt: skip
        return data


def _read_xml(path: Path, kept: _Kept) -> None:
    from defusedxml import ElementTree  # noqa: PLC0415  loaded only where an extract is read
    from defusedxml.common import DefusedXmlException  # noqa: PLC0415

    try:
        with path.open("rb") as file:
            packed = file.read(2) == b"\x1f\x8b"
            file.seek(0)
            stream: IO[bytes] = gzip.GzipFile(fileobj=file) if packed else file  # type: ignore[assignment]
            _take(path, ElementTree.iterparse(
                _Limited(stream, path), events=("start", "end"), forbid_dtd=True
            ), kept)  # fmt: skip
    except DefusedXmlException:
        raise _refuse(path, "declares a document type or entities", "export it anew") from None
    except (ParseError, ValueError, LookupError, zlib.error, EOFError) as error:
        if isinstance(error, InputError):
            raise
        raise _refuse(path, f"not well-formed: {error}", "export it anew as .osm") from None
    except OSError as error:
        raise _refuse(path, error.strerror or str(error), "give a readable file") from None


def _take(path: Path, events: Iterator[tuple[str, Any]], kept: _Kept) -> None:
    """Keep what is wanted; forget each element when it is read."""
    root: Any = None
    for event, element in events:
        if event == "start":
            if root is None:
                root = element
                if element.tag != "osm":
                    found = f"root element '{str(element.tag)[:40]}', not 'osm'"
                    raise _refuse(path, found, "export it as OpenStreetMap XML")
            continue
        if element.tag == "node":
            _take_node(path, element, kept)
        elif element.tag == "way":
            points = [nd.get("ref", "") for nd in element.iterfind("nd")]
            kept.way(element.get("id", ""), points, _tags(element))
        elif element.tag != "relation":
            continue
        root.clear()


def _tags(element: Any) -> dict[str, str]:  # noqa: ANN401  an XML element
    return {tag.get("k", ""): tag.get("v", "") for tag in element.iterfind("tag")}


def _take_node(path: Path, element: Any, kept: _Kept) -> None:  # noqa: ANN401  an XML element
    name = element.get("id", "")
    try:
        latitude, longitude = float(element.get("lat", "")), float(element.get("lon", ""))
    except ValueError:
        latitude = longitude = math.nan
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):
        if element.get("visible") == "false":
            return
        found = f"node {name[:20]} has no usable lat and lon"
        raise _refuse(path, found, "write decimal degrees within 90 and 180")
    kept.node(name, latitude, longitude, _tags(element) if len(element) else {})


def _read_pbf(path: Path, kept: _Kept) -> None:
    try:
        import osmium  # noqa: PLC0415  an optional extra
    except ImportError:
        raise _refuse(
            path, "a .pbf extract, and pyosmium is not installed",
            "install it (pip install 'haulplan[pbf]'), or convert the extract to .osm.gz",
        ) from None  # fmt: skip
    if not path.is_file():
        raise _refuse(path, "no such file", "put it there")
    try:
        item: Any  # pyosmium's own kinds tell nodes from ways at run time only
        for item in osmium.FileProcessor(str(path)):
            if item.is_node() and item.location.valid():
                tags = dict(item.tags) if len(item.tags) else {}
                kept.node(str(item.id), item.location.lat, item.location.lon, tags)
            elif item.is_way():
                kept.way(str(item.id), [str(n.ref) for n in item.nodes], dict(item.tags))
    except (RuntimeError, ValueError) as error:
        raise _refuse(path, f"not an extract: {error}", "export it anew") from None
