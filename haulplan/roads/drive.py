"""A way as an ordinary road: route, places and limits in driving order, ready to plan."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from haulplan.roads.network import Network, Profile
from haulplan.route import Line, Passing, Route, lay_route
from haulplan.route.passings import find_passings, line_feet
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Bridge, LevelCrossing, Place, SurfaceRow

__all__ = ["Driven", "Post", "drive"]

Array = NDArray[np.float64]
_Row = TypeVar("_Row", Place, LevelCrossing)

#: Samples nearer together are one. [m]
_SAME: Final = 0.05


@dataclass(frozen=True, kw_only=True)
class Post:
    """A posted weight on a link: its place along the link as drawn [m] and what it says."""

    link: int
    at: float
    bridge: Bridge


@dataclass(frozen=True, kw_only=True)
class Driven:
    """A way laid out as a road: the scenario as it stands on that road, and the road.

    `starts` is the distance at which each edge begins, shape (edges of the way,) [m].
    """

    edges: tuple[int, ...]
    starts: Array
    scenario: Scenario
    route: Route


def drive(
    scenario: Scenario,
    network: Network,
    profile: Profile,
    edges: Sequence[int],
    supplies: Mapping[int, Sequence[int]],
    posts: Mapping[int, Sequence[Post]],
) -> Driven:
    """Lay a way out as a road.

    Parameters
    ----------
    scenario
        Whose supplies are put on the road; its bridges and surfaces are the network's.
    network, profile
        The roads.
    edges
        Of the way, in driving order.
    supplies
        Rows of supply.csv by the node they stand at.
    posts
        Posted weights by link.

    Returns
    -------
    driven
        A scenario and road that the planner takes as any other.
    """
    pieces = [_samples(profile, edge) for edge in edges]
    lengths = np.array([piece[0][-1] for piece in pieces])
    starts = np.concatenate([[0.0], np.cumsum(lengths)])
    distance = np.concatenate([piece[0] + s for piece, s in zip(pieces, starts, strict=False)])
    kept = np.concatenate([[True], np.diff(np.maximum.accumulate(distance)) > _SAME])
    heights = np.concatenate([piece[1] for piece in pieces])[kept]
    line = _line(network, edges, starts)
    file = scenario.file.model_copy(
        update={"route": scenario.file.route.model_copy(update={"surface": "asphalt"})}
    )
    placed = replace(
        scenario,
        file=file,
        bridges=tuple(_bridges(network, edges, starts, posts)),
        surfaces=tuple(_surfaces(network, edges, starts)),
        places=tuple(_beside(scenario, line, scenario.places)),
        level_crossings=tuple(_beside(scenario, line, scenario.level_crossings)),
    )
    total = float(distance[kept][-1])
    nodes = [int(network.tail[edges[0]]), *(int(network.head[edge]) for edge in edges)]
    passings = _passings(placed, nodes, np.minimum(starts, total), supplies, line)
    route = lay_route(
        placed, name=network.name, samples=distance[kept], heights=heights, line=line,
        passings=passings,
    )  # fmt: skip
    return Driven(edges=tuple(edges), starts=starts[:-1], scenario=placed, route=route)


def _samples(profile: Profile, edge: int) -> tuple[Array, Array]:
    """Distance and height along an edge in the way it is driven."""
    own = profile.of(edge // 2)
    distance, height = profile.distance[own], profile.height[own]
    return (distance, height) if edge % 2 == 0 else (distance[-1] - distance[::-1], height[::-1])


def _line(network: Network, edges: Sequence[int], starts: Array) -> Line:
    """The way as drawn, with the network's own distances."""
    parts = []
    for edge, start in zip(edges, starts.tolist(), strict=False):
        link = network.links[edge // 2]
        sides = np.stack([link.latitude, link.longitude, link.distance])
        if edge % 2:
            sides = sides[:, ::-1].copy()
            sides[2] = link.length - sides[2]
        sides[2] += start
        parts.append(sides)
    whole = np.concatenate(parts, axis=1)
    fresh = np.concatenate([[True], np.diff(whole[2]) > 1e-9])
    latitude, longitude, distance = whole[:, fresh]
    return Line(latitude=latitude, longitude=longitude, distance=distance)


def _bridges(
    network: Network, edges: Sequence[int], starts: Array, posts: Mapping[int, Sequence[Post]]
) -> Iterator[Bridge]:
    """Posted weights in the order met, each a row of its own."""
    met: dict[str, int] = {}
    for edge, start in zip(edges, starts.tolist(), strict=False):
        link = network.links[edge // 2]
        for post in sorted(posts.get(edge // 2, ()), key=lambda p: -p.at if edge % 2 else p.at):
            along = link.length - post.at if edge % 2 else post.at
            name = post.bridge.name
            met[name] = number = met.get(name, 0) + 1
            yield post.bridge.model_copy(
                update={
                    "name": (name if number == 1 else f"{name} ({number})")[:200],
                    "at": start + along, "latitude": None, "longitude": None,
                }
            )  # fmt: skip


def _beside(scenario: Scenario, line: Line, rows: Iterable[_Row]) -> Iterator[_Row]:
    """The places within reach of the way."""
    for row in rows:
        if row.latitude is None or row.longitude is None:
            continue
        _, offset = line_feet(line, row.latitude, row.longitude)
        if offset.min() <= scenario.file.route.snap:
            yield row


def _surfaces(network: Network, edges: Sequence[int], starts: Array) -> Iterator[SurfaceRow]:
    """Surface and speed limit of each stretch that differs from the one before it."""
    begin, known = 0.0, None
    for edge, start in [*zip(edges, starts.tolist(), strict=False), (None, float(starts[-1]))]:
        facts = None if edge is None else network.links[edge // 2].facts
        said = None if facts is None else (facts.surface, facts.speed_limit)
        if known is not None and said != known:
            if start > begin:
                yield SurfaceRow.model_construct(
                    begin=begin, end=start, surface=known[0],
                    speed_limit=None if np.isinf(known[1]) else known[1],
                )  # fmt: skip
            begin = start
        known = said


def _passings(
    scenario: Scenario,
    nodes: Sequence[int],
    at: Array,
    supplies: Mapping[int, Sequence[int]],
    line: Line,
) -> list[Passing]:
    """Every meeting with a supply, a bridge or a place, in driving order."""
    others = replace(scenario, supplies=(), bridges=())
    found = [(p.distance, 0, p) for p in find_passings(others, float(at[-1]), line, [])]
    meetings: list[tuple[float, int, str, int]] = []
    for node, distance in zip(nodes, at.tolist(), strict=True):
        meetings += [(distance, 1, "supply", row) for row in supplies.get(node, ())]
    meetings += [
        (min(float(bridge.at or 0.0), float(at[-1])), 2, "bridge", row)
        for row, bridge in enumerate(scenario.bridges)
    ]
    rows = [(kind, row) for _, _, kind, row in meetings]
    seen: dict[tuple[str, int], int] = {}
    for distance, rank, kind, row in sorted(meetings):
        seen[kind, row] = number = seen.get((kind, row), 0) + 1
        table = scenario.supplies if kind == "supply" else scenario.bridges
        passing = Passing(
            kind="supply" if kind == "supply" else "bridge",
            name=table[row].name, row=row, distance=distance, offset=0.0, number=number,
            of=rows.count((kind, row)),
        )  # fmt: skip
        found.append((distance, rank, passing))
    return [passing for _, _, passing in sorted(found, key=lambda item: item[:2])]
