"""Read the tracks, routes or waypoints of a GPX 1.0 or 1.1 file, point by point.

The file is never held as a tree: elements that are not the road are dropped as they
pass, and sizes, depth, range, finiteness and number spelling are checked on the way. Any
document type is refused before its entities are looked at.
"""

import re
from array import array
from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from haulplan.errors import InputError, Problem
from haulplan.scenario.bounds import Bounds, bounds
from haulplan.scenario.files import read_bytes
from haulplan.scenario.wording import short

__all__ = ["Piece", "Recording", "Waypoint", "read_gpx", "read_waypoints"]

_NUMBER = re.compile(r"\s*[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
#: Other codecs of Python's do more than to name letters.
_ENCODINGS = re.compile(
    r"utf-?8|utf-?16(le|be)?|(us-)?ascii|iso[-_]8859-\d+|latin-?1|(windows-|cp)125\d", re.IGNORECASE
)
_NAMESPACES = ("http://www.topografix.com/GPX/1/0", "http://www.topografix.com/GPX/1/1", "")
#: Heights outside these are voids of a terrain grid or slips, and count as missing. [m]
_LOWEST, _HIGHEST = -500.0, 9000.0
_POINTS = (["gpx", "trk", "trkseg", "trkpt"], ["gpx", "rte", "rtept"])
_WAYPOINT = ["gpx", "wpt"]
#: What is kept of a waypoint's words.
_WORDS = ("name", "sym", "type")
#: Different names of elements and attributes; a file with more is not a recording.
_MOST_NAMES = 1000
#: Letters kept of a name or a height.
_MOST_LETTERS = 1000
_LARGEST_HEIGHT = 1e6


@dataclass(frozen=True, kw_only=True)
class Piece:
    """One unbroken run of points; `elevation` is NaN where the file gives none."""

    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    elevation: NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Recording:
    """The pieces of a file in driving order, and what the reader should know of them."""

    name: str
    pieces: tuple[Piece, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Waypoint:
    """A place someone marked: where [°], its name, and all that is said of its kind.

    Words are on one line each, empty where the file gives none.
    """

    latitude: float
    longitude: float
    name: str
    about: tuple[str, ...]


def read_gpx(path: Path, *, track: str | None = None) -> Recording:
    """Read the pieces of a GPX file: its tracks, or its routes where it has no tracks.

    Parameters
    ----------
    path
        The file.
    track
        Name of the one track or route wanted; None joins all of them in file order.

    Returns
    -------
    recording
        Pieces of one or more points, in file order.

    Raises
    ------
    InputError
        If the file is not well-formed GPX, declares entities, is larger than the bounds
        allow, holds a number out of range, or has fewer than two points.
    """
    read = _parse(path)
    warnings = []
    if read.namespace not in _NAMESPACES:
        shown = short(read.namespace)
        warnings.append(f"{path.name}: foreign namespace '{shown}', read as GPX")
    tracks = [run for run in read.runs if run.kind == "trk" and run.latitude]
    routes = [run for run in read.runs if run.kind == "rte" and run.latitude]
    runs, kind = (tracks, "track") if tracks else (routes, "route")
    if tracks and routes and track is None:
        warnings.append(f"{path.name}: has tracks and routes; the tracks are driven")
    names = list(dict.fromkeys(run.label for run in runs))
    if track is not None:
        runs = [run for run in runs if run.label == track] or [
            run for run in routes if run.label == track
        ]
        if not runs:
            shown = ", ".join(f"'{name[:40]}'" for name in names[:12]) or "none"
            raise _refuse(path, f"no track or route named '{track}'", f"named there: {shown}")
    elif len(names) > 1:
        warnings.append(f"{path.name}: {len(names)} {kind}s joined in file order")
    if sum(len(run.latitude) for run in runs) < 2:
        marks = len(_parse(path, marks=True).marks)
        found = f"{marks} waypoints and no track" if marks else "fewer than two points"
        raise _refuse(path, found, "give a track or route with its points")
    return Recording(
        name=track or (names[0] if len(names) == 1 else "") or path.stem,
        pieces=tuple(run.piece() for run in runs),
        warnings=tuple(warnings),
    )


def read_waypoints(path: Path) -> tuple[Waypoint, ...]:
    """Read the waypoints of a GPX file.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    waypoints
        In file order, most often none.

    Raises
    ------
    InputError
        As for `read_gpx`, and where a waypoint's position is not a number in range.
    """
    return tuple(mark.waypoint() for mark in _parse(path, marks=True).marks)


def _refuse(path: Path, found: str, remedy: str) -> InputError:
    return InputError([Problem(file=path.name, where="", found=found, remedy=remedy)])


class _Refusal(Exception):  # noqa: N818  never leaves this module
    """What was found, and the remedy."""


@dataclass(kw_only=True)
class _Run:
    """The points of one segment or route as they are read."""

    kind: str
    name: list[str]
    latitude: "array[float]" = field(default_factory=lambda: array("d"))
    longitude: "array[float]" = field(default_factory=lambda: array("d"))
    elevation: "array[float]" = field(default_factory=lambda: array("d"))

    @property
    def label(self) -> str:
        """Its name on one line; a name may follow its points."""
        return " ".join("".join(self.name).split())

    def piece(self) -> Piece:
        elevation = np.array(self.elevation)
        elevation[(elevation < _LOWEST) | (elevation > _HIGHEST)] = np.nan
        return Piece(
            latitude=np.array(self.latitude),
            longitude=np.array(self.longitude),
            elevation=elevation,
        )


@dataclass(kw_only=True)
class _Mark:
    """A waypoint as it is read."""

    latitude: float
    longitude: float
    words: dict[str, list[str]] = field(default_factory=dict)

    def waypoint(self) -> Waypoint:
        name, *about = (" ".join("".join(self.words.get(key, [])).split()) for key in _WORDS)
        return Waypoint(
            latitude=self.latitude,
            longitude=self.longitude,
            name=name,
            about=tuple(words for words in about if words),
        )


def _parse(path: Path, *, marks: bool = False) -> "_Reader":
    most = bounds()
    data = read_bytes(path, None, most.gpx_bytes)
    if data[:2] == b"\x1f\x8b":
        raise _refuse(path, "compressed with gzip", "unpack it first")
    window = most.tag_bytes
    starts = range(0, len(data) - window + 1, window)
    if any(data.find(b"<", start, start + window) < 0 for start in starts):
        raise _refuse(path, f"no tag in {window} bytes", "export it anew as GPX")
    reader = _Reader(path.name, most, marks=marks)
    try:
        reader.parse(data)
    except _Refusal as refusal:
        raise _refuse(path, *refusal.args) from None
    except InputError:
        raise
    except (expat.ExpatError, ValueError, LookupError) as error:
        raise _refuse(
            path, f"not well-formed XML: {short(str(error), 120)}", "export it anew as GPX"
        ) from None
    if reader.problems:
        raise InputError(reader.problems)
    return reader


class _Reader:
    """Hears the file's elements one by one and keeps the road, or with `marks` the waypoints."""

    def __init__(self, file: str, most: Bounds, *, marks: bool) -> None:
        self.namespace = ""
        self.runs: list[_Run] = []
        self.marks: list[_Mark] = []
        self._marks = marks
        self.problems: list[Problem] = []
        self._file = file
        self._most = most
        self._stack: list[str] = []
        self._names: set[str] = set()
        self._elements = self._points = 0
        self._name: list[str] = []
        self._text: list[str] | None = None

    def parse(self, data: bytes) -> None:
        # without interning, names met once are not kept
        parser = expat.ParserCreate(namespace_separator=" ", intern=None)
        parser.buffer_text = True
        parser.XmlDeclHandler = self._declaration
        parser.StartDoctypeDeclHandler = self._doctype
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._data
        parser.Parse(data, True)

    def _declaration(self, _version: str, encoding: str | None, _standalone: int) -> None:
        if encoding is not None and not _ENCODINGS.fullmatch(encoding):
            raise _Refusal(f"encoding '{short(encoding, 40)}'", "save it as UTF-8")

    def _doctype(self, *_: object) -> None:
        raise _Refusal("declares a document type or entities", "export it anew as plain GPX")

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        namespace, _, name = tag.rpartition(" ")
        stack, most = self._stack, self._most
        if not stack:
            self.namespace = namespace
            if name != "gpx":
                raise _Refusal(f"root element '{short(name, 40)}', not 'gpx'", "export it as GPX")
        stack.append(name)
        self._elements += 1
        self._names.add(tag)
        self._names.update(attributes)
        if len(stack) > most.depth:
            raise _Refusal(f"more than {most.depth} elements deep", "export it anew as GPX")
        if self._elements > most.elements:
            raise _Refusal(f"more than {most.elements} elements", "give one day's road only")
        if len(self._names) > _MOST_NAMES:
            raise _Refusal(f"more than {_MOST_NAMES} kinds of element", "export it anew as GPX")
        if stack in (["gpx", "trk"], ["gpx", "rte"]):
            self._name = []
        if stack in (["gpx", "trk", "trkseg"], ["gpx", "rte"]):
            self.runs.append(_Run(kind=stack[1], name=self._name))
        elif stack in _POINTS:
            self._start_point(attributes)
        elif name == "ele" and stack[:-1] in _POINTS:
            self._text = []
        elif name == "name" and len(stack) == 3 and stack[1] in ("trk", "rte"):
            self._text = self._name
        elif self._marks and stack[:2] == _WAYPOINT:
            self._start_mark(attributes)

    def _start_mark(self, attributes: dict[str, str]) -> None:
        if self._stack == _WAYPOINT:
            self._count_point()
            where = f"waypoint {len(self.marks) + 1}"
            latitude = self._number("lat", attributes.get("lat"), 90.0, where)
            longitude = self._number("lon", attributes.get("lon"), 180.0, where)
            self.marks.append(_Mark(latitude=latitude, longitude=longitude))
        elif len(self._stack) == 3 and self._stack[2] in _WORDS:
            self._text = self.marks[-1].words.setdefault(self._stack[2], [])

    def _count_point(self) -> None:
        self._points += 1
        if self._points > self._most.points:
            raise _Refusal(f"more than {self._most.points} points", "give one day's road only")

    def _start_point(self, attributes: dict[str, str]) -> None:
        self._count_point()
        run = self.runs[-1]
        run.latitude.append(self._number("lat", attributes.get("lat"), 90.0))
        run.longitude.append(self._number("lon", attributes.get("lon"), 180.0))
        run.elevation.append(np.nan)

    def _data(self, text: str) -> None:
        if self._text is not None and len(self._text) < _MOST_LETTERS:
            self._text.append(text[:_MOST_LETTERS])

    def _end(self, _: str) -> None:
        if self._stack.pop() == "ele" and self._text is not None:
            text = "".join(self._text)
            if text.strip():
                self.runs[-1].elevation[-1] = self._number("ele", text, _LARGEST_HEIGHT)
        self._text = None

    def _number(self, name: str, text: str | None, limit: float, where: str = "") -> float:
        """The figure of the point or waypoint being read; a wrong one is noted."""
        if text is not None and _NUMBER.fullmatch(text) and abs(float(text)) <= limit:
            return float(text)
        shown = "missing" if text is None else f"'{short(text.strip(), 20)}'"
        self.problems.append(
            Problem(
                file=self._file,
                where=f"{where or f'point {self._points}'}, {name}",
                found=f"{shown} is not allowed",
                remedy=f"write a decimal number from -{limit:g} to {limit:g}",
            )
        )
        if len(self.problems) > self._most.faults:
            raise InputError(self.problems)
        return 0.0
