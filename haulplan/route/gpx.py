"""Read the tracks or routes of a GPX 1.0 or 1.1 file.

defusedxml refuses entity tricks before gpxpy sees the file; range, finiteness and number
spelling are checked here, because XML readers let them pass.
"""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, ParseError, tostring

import numpy as np
from numpy.typing import NDArray

from haulplan.errors import InputError, Problem

if TYPE_CHECKING:
    from gpxpy.gpx import GPX, GPXRoute, GPXTrack

__all__ = ["Piece", "Recording", "read_gpx"]

MAX_BYTES = 64 * 1024 * 1024
MAX_POINTS = 2_000_000
#: No recording nests its elements deeper.
_DEEPEST = 100
#: What the road is made of; whatever else a navigator writes is left out.
_KEPT = frozenset({"gpx", "trk", "trkseg", "trkpt", "rte", "rtept", "name", "ele"})
_NUMBER = re.compile(r"\s*[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
_NAMESPACES = ("http://www.topografix.com/GPX/1/0", "http://www.topografix.com/GPX/1/1", "")
#: Heights outside these are voids of a terrain grid or slips, and count as missing. [m]
_LOWEST, _HIGHEST = -500.0, 9000.0


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
        Pieces of two or more points, in file order.

    Raises
    ------
    InputError
        If the file is not well-formed GPX, declares entities, holds a number out of
        range, or has fewer than two points.
    """
    root = _parse(path)
    warnings = []
    namespace = root.tag[1:].partition("}")[0] if root.tag.startswith("{") else ""
    gpx = _to_gpx(path, root)
    if namespace not in _NAMESPACES:
        warnings.append(f"{path.name}: foreign namespace '{namespace[:60]}', read as GPX")
    runs = [(_name(t), s.points) for t in gpx.tracks for s in t.segments if s.points]
    kind = "track"
    if not runs:
        runs = [(_name(r), r.points) for r in gpx.routes if r.points]
        kind = "route"
    elif gpx.routes and track is None:
        warnings.append(f"{path.name}: has tracks and routes; the tracks are driven")
    names = list(dict.fromkeys(name for name, _ in runs))
    if track is not None:
        runs = [run for run in runs if run[0] == track] or [
            (track, r.points) for r in gpx.routes if _name(r) == track and r.points
        ]
        if not runs:
            shown = ", ".join(f"'{name[:40]}'" for name in names[:12]) or "none"
            raise _refuse(path, f"no track or route named '{track}'", f"named there: {shown}")
    elif len(names) > 1:
        warnings.append(f"{path.name}: {len(names)} {kind}s joined in file order")
    pieces = []
    for _, points in runs:
        heights = [np.nan if p.elevation is None else p.elevation for p in points]
        elevation = np.array(heights, dtype=np.float64)
        elevation[(elevation < _LOWEST) | (elevation > _HIGHEST)] = np.nan
        pieces.append(
            Piece(
                latitude=np.array([p.latitude for p in points], dtype=np.float64),
                longitude=np.array([p.longitude for p in points], dtype=np.float64),
                elevation=elevation,
            )
        )
    if sum(piece.latitude.size for piece in pieces) < 2:
        raise _refuse(path, "fewer than two points", "give a track or route with its points")
    return Recording(
        name=track or (names[0] if len(names) == 1 else "") or path.stem,
        pieces=tuple(pieces),
        warnings=tuple(warnings),
    )


def _name(part: "GPXTrack | GPXRoute") -> str:
    """Its name on one line."""
    return " ".join((part.name or "").split())


def _refuse(path: Path, found: str, remedy: str) -> InputError:
    return InputError([Problem(file=path.name, where="", found=found, remedy=remedy)])


def _parse(path: Path) -> Element:
    """The file's root element, entities refused, every number checked."""
    from defusedxml import ElementTree  # noqa: PLC0415  loaded only where GPX is read
    from defusedxml.common import DefusedXmlException  # noqa: PLC0415

    try:
        data = path.read_bytes()
    except OSError as error:
        raise _refuse(path, error.strerror or "cannot be read", "put a readable file") from None
    if len(data) > MAX_BYTES:
        raise _refuse(path, f"larger than {MAX_BYTES // 2**20} MiB", "give one day's road only")
    if data[:2] == b"\x1f\x8b":
        raise _refuse(path, "compressed with gzip", "unpack it first")
    try:
        root: Element = ElementTree.fromstring(data, forbid_dtd=True)
    except DefusedXmlException:
        raise _refuse(
            path, "declares a document type or entities", "export it anew as plain GPX"
        ) from None
    except (ParseError, ValueError, LookupError, RecursionError) as error:
        raise _refuse(path, f"not well-formed XML: {error}", "export it anew as GPX") from None
    kind = root.tag.rpartition("}")[2]
    if kind != "gpx":
        raise _refuse(path, f"root element '{kind[:40]}', not 'gpx'", "export it as GPX")
    _check_numbers(path, root)
    return root


def _check_numbers(path: Path, root: Element) -> None:
    problems = []
    count = 0
    for point in root.iter():
        if point.tag.rpartition("}")[2] not in ("trkpt", "rtept"):
            continue
        count += 1
        figures = [("lat", point.get("lat"), 90.0), ("lon", point.get("lon"), 180.0)]
        for child in point:
            if child.tag.rpartition("}")[2] == "ele" and (child.text or "").strip():
                figures.append(("ele", child.text, 1e6))
        for name, text, limit in figures:
            if text is None or not _NUMBER.fullmatch(text) or abs(float(text)) > limit:
                shown = "missing" if text is None else f"'{text.strip()[:20]}'"
                problems.append(
                    Problem(
                        file=path.name,
                        where=f"point {count}, {name}",
                        found=f"{shown} is not allowed",
                        remedy=f"write a decimal number from -{limit:g} to {limit:g}",
                    )
                )
        if len(problems) > 20:
            break
    if count > MAX_POINTS:
        raise _refuse(path, f"{count} points", f"give at most {MAX_POINTS}")
    if problems:
        raise InputError(problems)


def _to_gpx(path: Path, root: Element) -> "GPX":
    import gpxpy  # noqa: PLC0415  loaded only where GPX is read
    from gpxpy.gpx import GPXException  # noqa: PLC0415

    _plain(path, root)
    try:
        return gpxpy.parse(tostring(root, encoding="unicode"))
    except (GPXException, ValueError) as error:
        raise _refuse(path, f"not GPX: {error}", "export it anew as GPX") from None


def _plain(path: Path, root: Element) -> None:
    """Take off prefixes and all that is not the road; refuse what nests too deep."""
    stack = [(root, 0)]
    while stack:
        element, depth = stack.pop()
        if depth > _DEEPEST:
            raise _refuse(path, f"more than {_DEEPEST} elements deep", "export it anew as GPX")
        stack += [(child, depth + 1) for child in element]
        element.tag = element.tag.rpartition("}")[2]
        element[:] = [child for child in element if child.tag.rpartition("}")[2] in _KEPT]
