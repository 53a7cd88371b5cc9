"""The road of a scenario: profile, surfaces, and the places met on it in driving order."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from haulplan.errors import InputError, Problem
from haulplan.route.gpx import Piece, read_gpx
from haulplan.route.passings import Line, Passing, find_passings, off_road, stand_on_sample
from haulplan.route.profile import STEP, along, clean_profile, climb_of, level_steps
from haulplan.scenario import Scenario, read_road_table
from haulplan.scenario.schema import RoadRow
from haulplan.units import UNIT_SYSTEMS

__all__ = ["Line", "Passing", "Route", "build_route", "lay_route"]

Array = NDArray[np.float64]

#: Longest piece of a typed-in road between two samples. [m]
_LONGEST_SEGMENT = 100.0
#: Grades beyond this are reported: few roads have them, many recordings do. [-]
_STEEP = 0.2
#: Shorter breaks are a recorder's pause, on the same hill. [m]
_NOTABLE_GAP = 100.0


@dataclass(frozen=True, kw_only=True)
class Route:
    """The road in driving order.

    `distance` and `elevation` have shape (segments + 1,), `surface` and `speed_limit`
    (segments,). Every passing stands on a segment's end; level crossings, which ask nothing
    of the plan, are kept apart. `graph` holds the places as
    nodes 0, 1, ... in driving order and the stretches between them as edges.
    """

    name: str
    distance: Array
    elevation: Array
    surface: tuple[str, ...]
    speed_limit: Array
    line: Line | None
    has_heights: bool
    passings: tuple[Passing, ...]
    graph: "nx.MultiDiGraph[int]"
    warnings: tuple[str, ...]
    level_crossings: tuple[Passing, ...] = ()

    @property
    def length(self) -> float:
        """Length of the route [m]."""
        return float(self.distance[-1])

    @property
    def grade(self) -> Array:
        """Rise per length of each segment, shape (segments,) [-]."""
        grade: Array = np.diff(self.elevation) / np.diff(self.distance)
        return grade

    def index(self, distance: float) -> int:
        """Number of the sample that stands at `distance`."""
        return int(np.argmin(np.abs(self.distance - distance)))

    def height(self, distance: float) -> float:
        """Elevation at a distance along the route [m]."""
        return float(np.interp(distance, self.distance, self.elevation))


def build_route(scenario: Scenario) -> Route:
    """Build the road of a scenario and put its places on it.

    Parameters
    ----------
    scenario
        A checked scenario.

    Returns
    -------
    route
        Profile, surfaces, passings and graph, distances from the start. [m]

    Raises
    ------
    InputError
        If the road file is wrong, heights are missing, or a place is not on the road.
    """
    problems: list[Problem] = []
    warnings: list[str] = []
    name, samples, heights, line, surfaces = _road(scenario, problems, warnings)
    if problems:
        raise InputError(problems)
    passings = find_passings(scenario, float(samples[-1]), line, problems)
    for row, stretch in enumerate(scenario.surfaces, start=2):
        if stretch.begin >= samples[-1]:
            problems.append(
                off_road(scenario, "surfaces.csv", row, "from", stretch.begin, float(samples[-1]))
            )
    if problems:
        raise InputError(problems)
    return lay_route(
        scenario, name=name, samples=samples, heights=heights, line=line, passings=passings,
        surfaces=surfaces, warnings=warnings,
    )  # fmt: skip


def lay_route(
    scenario: Scenario,
    *,
    name: str,
    samples: Array,
    heights: Array,
    line: Line | None,
    passings: Sequence[Passing],
    surfaces: Sequence[tuple[float, str]] = (),
    warnings: Sequence[str] = (),
) -> Route:
    """Lay out a road whose profile and places are known.

    Parameters
    ----------
    scenario
        For its surfaces.csv and demand.csv, by distance along this road.
    name
        Of the road.
    samples
        Distances, rising from 0, shape (samples,). [m]
    heights
        At each, NaN where none are known, shape (samples,). [m]
    line
        The road as drawn.
    passings
        Of places, in driving order.
    surfaces
        Distance from which each surface holds. [m]
    warnings
        To hand on.

    Returns
    -------
    route
        With a sample at every place and every change.
    """
    end = float(samples[-1])
    cuts = [p.distance for p in passings]
    cuts += [d for s in scenario.surfaces for d in (s.begin, min(s.end, end))]
    cuts += [d for r in scenario.demand for d in (r.begin, min(r.end, end))]
    cuts += [d for d, _ in surfaces]
    distance = _merge(samples, cuts)
    elevation = np.interp(distance, samples, heights)
    surface, limit = _surfaces(scenario, distance, surfaces)
    has_heights = bool(np.isfinite(heights).all())
    said = list(warnings)
    if has_heights:
        said += _steep_warnings(scenario, distance, elevation)
    else:
        elevation = np.zeros_like(distance)
    every = [stand_on_sample(p, distance) for p in passings]
    snapped = tuple(p for p in every if p.kind != "crossing")
    return Route(
        name=name,
        distance=distance,
        elevation=elevation,
        surface=surface,
        speed_limit=limit,
        line=line,
        has_heights=has_heights,
        passings=snapped,
        graph=_graph(scenario, distance, elevation, surface, limit, snapped),
        warnings=tuple(said),
        level_crossings=tuple(p for p in every if p.kind == "crossing"),
    )


def _road(
    scenario: Scenario, problems: list[Problem], warnings: list[str]
) -> tuple[str, Array, Array, Line | None, list[tuple[float, str]]]:
    """Name, sample distances, heights (NaN where none), drawn line, tabled surfaces."""
    path = scenario.route_file
    if path is None and scenario.file.route.network is not None and not scenario.demand:
        problems.append(
            Problem(
                file="scenario.toml",
                where="route.network",
                found="many roads, and none chosen",
                remedy="`haulplan ways SCENARIO --out FOLDER` chooses one and writes it as a "
                "scenario of its own",
            )
        )
        return "", np.zeros(1), np.zeros(1), None, []
    if path is None:
        ends = sorted({d for row in scenario.demand for d in (row.begin, row.end)})
        samples = np.array(ends)
        return scenario.file.title, samples, np.full(samples.size, np.nan), None, []
    if path.suffix.casefold() == ".csv":
        rows = read_road_table(path, problems)
        if problems:
            return "", np.zeros(1), np.zeros(1), None, []
        samples, heights = _tabled_profile(rows)
        tabled = [(row.distance - rows[0].distance, row.surface or "") for row in rows]
        return path.stem, samples, heights, None, [t for t in tabled if t[1]]
    recording = read_gpx(path, track=scenario.file.route.track)
    warnings += recording.warnings
    line, runs = _join(scenario, recording.pieces, path.name, problems, warnings)
    if problems:
        return "", np.zeros(1), np.zeros(1), None, []
    if scenario.grades_file is not None:
        samples, heights = _graded(scenario, line, problems, warnings)
    else:
        elevation = np.concatenate([piece.elevation for piece in recording.pieces])
        samples, heights = _recorded_profile(
            scenario, line, elevation, runs, path.name, problems, warnings
        )
    return recording.name, samples, heights, line, []


def _tabled_profile(rows: Sequence[RoadRow]) -> tuple[Array, Array]:
    """A typed-in road, cut into pieces of at most 100 m; its heights are taken as given."""
    ends = np.array([row.distance for row in rows])
    ends = ends - ends[0]
    if rows[0].elevation is not None:
        heights = np.array([row.elevation for row in rows], dtype=np.float64)
    else:
        grades = np.array([row.grade for row in rows[:-1]], dtype=np.float64)
        heights = np.concatenate([[0.0], np.cumsum(grades * np.diff(ends))])
    samples = [
        np.linspace(a, b, math.ceil((b - a) / _LONGEST_SEGMENT) + 1)[:-1] for a, b in pairwise(ends)
    ]
    distance = np.concatenate([*samples, ends[-1:]])
    return distance, np.interp(distance, ends, heights)


def _join(
    scenario: Scenario,
    pieces: Sequence[Piece],
    file: str,
    problems: list[Problem],
    warnings: list[str],
) -> tuple[Line, list[slice]]:
    """One line from all pieces, and the runs of points between its gaps."""
    system = UNIT_SYSTEMS[scenario.file.units]
    latitude = np.concatenate([piece.latitude for piece in pieces])
    longitude = np.concatenate([piece.longitude for piece in pieces])
    distance = along(latitude, longitude)
    runs: list[slice] = []
    first = 0
    for number, piece in enumerate(pieces, start=1):
        last = first + piece.latitude.size
        gap = float(distance[first] - distance[first - 1]) if first else 0.0
        if gap > scenario.file.route.longest_gap:
            problems.append(
                Problem(
                    file=file,
                    where=f"piece {number}",
                    found=f"begins {system.distance.text(gap)} from the end of the piece before",
                    remedy="name one track with route.track, mend the file, or raise "
                    "route.longest_gap",
                )
            )
        elif gap > _NOTABLE_GAP:
            warnings.append(
                f"{file}: gap of {system.height.text(gap)} before piece {number}, at "
                f"{system.distance.text(float(distance[first - 1]))}, is driven straight"
            )
        if runs and gap <= _NOTABLE_GAP:
            runs[-1] = slice(runs[-1].start, last)
        else:
            runs.append(slice(first, last))
        first = last
    if distance[-1] <= 0:
        problems.append(
            Problem(file=file, where="", found="length 0", remedy="give a road that leads on")
        )
    return Line(latitude=latitude, longitude=longitude, distance=distance), runs


def _graded(
    scenario: Scenario, line: Line, problems: list[Problem], warnings: list[str]
) -> tuple[Array, Array]:
    """Heights from the scenario's own table of heights or grades."""
    path = scenario.grades_file
    assert path is not None
    rows = read_road_table(path, problems)
    length = float(line.distance[-1])
    samples = np.linspace(0.0, length, max(round(length / STEP), 1) + 1)
    if problems:
        return samples, samples * np.nan
    ends, heights = _tabled_profile(rows)
    unit = UNIT_SYSTEMS[scenario.file.units].distance
    reach = rows[-1].distance - rows[0].distance
    if abs(reach - length) > 0.02 * length + 50.0:
        problems.append(
            Problem(
                file=path.name,
                where="column distance",
                found=f"covers {unit.text(reach)} of a road of {unit.text(length)}",
                remedy="give heights or grades from the start to the finish",
            )
        )
    _warn_if_level(scenario, path.name, heights, warnings)
    return samples, np.interp(samples * (reach / length), ends, heights)


def _warn_if_level(scenario: Scenario, file: str, heights: Array, warnings: list[str]) -> None:
    if np.ptp(heights) == 0:
        height = UNIT_SYSTEMS[scenario.file.units].height.text(float(heights[0]))
        warnings.append(
            f"{file}: one and the same height throughout, {height}: "
            "driven as a level road; hills decide the thirst, so make sure that it is one"
        )


def _recorded_profile(
    scenario: Scenario,
    line: Line,
    elevation: Array,
    runs: Sequence[slice],
    file: str,
    problems: list[Problem],
    warnings: list[str],
) -> tuple[Array, Array]:
    """Heights recorded in the file, cleaned run by run."""
    known = np.isfinite(elevation)
    usable = bool(known.any() and np.any(elevation[known]))  # noughts are fillers, not heights
    if not usable and not scenario.demand:
        problems.append(
            Problem(
                file=file,
                where="",
                found="height 0 throughout" if known.any() else "no heights",
                remedy="hills decide the thirst: give a track with heights, or name a table "
                "of distance and elevation (or grade) as route.grades",
            )
        )
    if not usable:
        return line.distance[[0, -1]], np.full(2, np.nan)
    system = UNIT_SYSTEMS[scenario.file.units]
    distance_text = system.distance.text
    _warn_if_level(scenario, file, elevation[known], warnings)
    missing = _missing_length(line.distance, known)
    length = float(line.distance[-1])
    if missing > 0:
        warnings.append(
            f"{file}: heights missing over {distance_text(missing)} of {distance_text(length)}, "
            "taken as an even grade there"
        )
    filled = np.interp(line.distance, line.distance[known], elevation[known])
    distances, heights = [], []
    for run in runs:
        own = line.distance[run]
        if own[-1] > own[0]:
            level, steps = level_steps(own, filled[run])
            warnings += [
                f"{file}: heights jump by {system.height.text(rise)} at "
                f"{system.distance.text(at)}, as no road does; taken as the instrument set anew"
                for at, rise in steps
            ]
            grid, smooth = clean_profile(own - own[0], level)
            distances.append(grid + own[0])
            heights.append(smooth)
    distance = np.concatenate(distances)
    order = np.concatenate([[True], np.diff(distance) > 1e-6])
    return distance[order], np.concatenate(heights)[order]


def _missing_length(distance: Array, known: NDArray[np.bool_]) -> float:
    """Length of road between heights more than a notable gap apart [m]."""
    at = np.flatnonzero(known)
    unknown = np.diff(np.concatenate([[-1], at, [known.size]])) > 1
    apart = np.diff(np.concatenate([distance[:1], distance[at], distance[-1:]]))
    return float(apart[unknown & (apart > _NOTABLE_GAP)].sum())


def _merge(samples: Array, cuts: Iterable[float]) -> Array:
    """Samples and cuts in one rising row; a sample within 1 mm of a cut gives way to it."""
    wanted = np.unique(np.round(np.array(sorted(set(cuts)), dtype=np.float64), 4))
    wanted = wanted[(wanted > 1e-3) & (wanted < samples[-1] - 1e-3)]
    if wanted.size == 0:
        return samples
    index = np.clip(np.searchsorted(wanted, samples), 0, wanted.size - 1)
    before = np.clip(index - 1, 0, wanted.size - 1)
    near = np.minimum(np.abs(samples - wanted[index]), np.abs(samples - wanted[before])) < 1e-3
    return np.sort(np.concatenate([samples[~near], wanted]))


def _surfaces(
    scenario: Scenario, distance: Array, tabled: Sequence[tuple[float, str]]
) -> tuple[tuple[str, ...], Array]:
    """Surface and speed limit of each segment; later rows of surfaces.csv win."""
    middle = (distance[:-1] + distance[1:]) / 2
    surface = np.full(middle.size, scenario.file.route.surface, dtype=object)
    for begin, name in tabled:
        surface[middle >= begin] = name
    limit = np.full(middle.size, np.inf)
    for row in scenario.surfaces:
        inside = (middle >= row.begin) & (middle <= row.end)
        if row.surface is not None:
            surface[inside] = row.surface
        if row.speed_limit is not None:
            limit[inside] = row.speed_limit
    return tuple(surface.tolist()), limit


def _steep_warnings(scenario: Scenario, distance: Array, elevation: Array) -> list[str]:
    system = UNIT_SYSTEMS[scenario.file.units]
    grade = np.diff(elevation) / np.diff(distance)
    worst = int(np.argmax(np.abs(grade)))
    if abs(grade[worst]) <= _STEEP:
        return []
    return [
        f"a grade of {100 * grade[worst]:.0f} % at {system.distance.text(distance[worst])}: "
        "few roads are so steep; check the heights there"
    ]


def _graph(
    scenario: Scenario,
    distance: Array,
    elevation: Array,
    surface: Sequence[str],
    limit: Array,
    passings: Sequence[Passing],
) -> "nx.MultiDiGraph[int]":
    """Places in driving order as nodes, the stretches between them as edges."""
    graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
    end = float(distance[-1])
    places: list[tuple[str, str, float, Passing | None]] = [
        ("start", scenario.file.start, 0.0, None)
    ]
    places += [(p.kind, p.label, p.distance, p) for p in passings]
    places += [("finish", scenario.file.finish, end, None)]
    for node, (kind, name, at, passing) in enumerate(places):
        graph.add_node(node, kind=kind, name=name, distance=at, passing=passing)
    for node, (_, _, begin, _) in enumerate(places[:-1]):
        stop = places[node + 1][2]
        first, last = (int(np.argmin(np.abs(distance - d))) for d in (begin, stop))
        heights = elevation[first : last + 1]
        graph.add_edge(
            node,
            node + 1,
            first=first,
            last=last,
            length=stop - begin,
            climb=climb_of(heights),
            descent=climb_of(-heights),
            grade=np.diff(heights) / np.diff(distance[first : last + 1]),
            surfaces=tuple(dict.fromkeys(surface[first:last])),
            speed_limit=float(limit[first:last].min(initial=np.inf)),
        )
    return graph
