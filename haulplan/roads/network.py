"""The network: junctions, the links between them, and the height along each link.

Every link has an edge each way: edge 2 i drives link i as drawn, edge 2 i + 1 against it.
Heights from grids are smoothed along the roads themselves, and decks, tunnels and voids
carry no height of their own: they are laid between what lies at their ends.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from haulplan.roads.facts import Facts
from haulplan.roads.heights import Grid, ground_height
from haulplan.roads.roadmap import RoadMap
from haulplan.roads.tags import BLOCKING
from haulplan.roads.tracks import Track

if TYPE_CHECKING:
    import networkx as nx

__all__ = ["Link", "Network", "Profile", "cut_links", "ground_profile", "steps"]

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

#: Spacing of samples along a link. [m]
STEP: Final = 25.0
#: Length over which heights from a grid are evened out, twice over. [m]
_EVEN: Final = 35.0
#: Weight of "no change" where there is no height at all: it only keeps the equations solvable.
_NOTHING: Final = 1e-9
_SHORTEST: Final = 0.01


@dataclass(frozen=True, kw_only=True)
class Link:
    """A piece of road between two nodes, as drawn; arrays of shape (points,).

    `distance` runs along it from 0 [m]; `height` is NaN where none was given [m].
    """

    road: str
    facts: Facts
    begin: int
    end: int
    latitude: Array
    longitude: Array
    distance: Array
    height: Array

    @property
    def length(self) -> float:
        """Along the link [m]."""
        return float(self.distance[-1])

    def cut(self, at: Sequence[tuple[float, int]]) -> list["Link"]:
        """The link in pieces, cut at rising distances, each at the node named."""
        pieces = []
        begin, node = 0.0, self.begin
        for stop, following in [*at, (self.length, self.end)]:
            inside = (self.distance > begin) & (self.distance < stop)
            ends = np.array([begin, stop])
            own = np.concatenate([ends[:1], self.distance[inside], ends[1:]])
            sides = (
                np.interp(own, self.distance, side)
                for side in (self.latitude, self.longitude, self.height)
            )
            latitude, longitude, height = sides
            pieces.append(
                replace(
                    self, begin=node, end=following, latitude=latitude, longitude=longitude,
                    distance=own - begin, height=height,
                )
            )  # fmt: skip
            begin, node = stop, following
        return pieces


@dataclass(frozen=True, kw_only=True)
class Profile:
    """Samples along every link, one link after another, as drawn.

    Link i has samples `first[i]` to `first[i + 1]`; distances start at 0 on each [m].
    `void` is the length of road without a height of its own, decks left out [m].
    """

    first: Whole
    distance: Array
    latitude: Array
    longitude: Array
    height: Array
    void: float

    def of(self, link: int) -> slice:
        """Samples of one link."""
        return slice(int(self.first[link]), int(self.first[link + 1]))


@dataclass(frozen=True, kw_only=True)
class Network:
    """Junctions and the links between them.

    Arrays of nodes have shape (nodes,); `turning` marks places where a train may be
    turned, `blocked` nodes nobody passes.
    """

    name: str
    node_names: tuple[str, ...]
    places: tuple[str, ...]
    latitude: Array
    longitude: Array
    turning: NDArray[np.bool_]
    blocked: NDArray[np.bool_]
    crossing: NDArray[np.bool_]
    gate: NDArray[np.bool_]
    links: tuple[Link, ...]
    measured: bool
    warnings: tuple[str, ...]

    @property
    def edges(self) -> int:
        """Number of edges, two for each link."""
        return 2 * len(self.links)

    @cached_property
    def tail(self) -> Whole:
        """Node each edge leaves, shape (edges,)."""
        ends = [(link.begin, link.end) for link in self.links]
        return np.array(ends, dtype=np.int64).reshape(-1)

    @cached_property
    def head(self) -> Whole:
        """Node each edge leads to, shape (edges,)."""
        return self.tail.reshape(-1, 2)[:, ::-1].reshape(-1)

    @cached_property
    def length(self) -> Array:
        """Of each link, shape (links,) [m]."""
        return np.array([link.length for link in self.links])

    def graph(self, usable: NDArray[np.bool_]) -> "nx.MultiDiGraph[int]":
        """The edges in use as a graph, keyed by their number."""
        import networkx as nx  # noqa: PLC0415  0.1 s to load

        graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
        for node, name in enumerate(self.node_names):
            graph.add_node(node, name=name, place=self.places[node])
        for edge in np.flatnonzero(usable).tolist():
            facts = self.links[edge // 2].facts
            graph.add_edge(
                int(self.tail[edge]), int(self.head[edge]), key=edge,
                length=float(self.length[edge // 2]), road=facts.label, surface=facts.surface,
            )  # fmt: skip
        return graph


def steps(latitude: Array, longitude: Array) -> Array:
    """Lengths between points that lie near together, on the WGS 84 ellipsoid.

    Parameters
    ----------
    latitude, longitude
        Shape (points,). [°]

    Returns
    -------
    length
        Shape (points - 1,), right to a millionth up to some kilometres. [m]

    Notes
    -----
    With M and N the radii of curvature in the meridian and across it at the mean
    latitude φ, the step is √((M Δφ)² + (N cos φ Δλ)²).

    References
    ----------
    .. [1] W. Torge, Geodesy, 3rd ed., 2001, sec. 4.1.3: radii of curvature (from memory).

    Examples
    --------
    >>> round(float(steps(np.array([50.0, 50.01]), np.array([11.0, 11.0]))[0]), 1)
    1112.3
    """
    middle = np.radians((latitude[1:] + latitude[:-1]) / 2)
    flat = 0.0066943799901413165  # eccentricity of WGS 84 squared
    bent = 1.0 - flat * np.sin(middle) ** 2
    across = 6378137.0 / np.sqrt(bent)
    north = across * (1.0 - flat) / bent * np.radians(np.diff(latitude))
    turn = (np.diff(longitude) + 180.0) % 360.0 - 180.0
    length: Array = np.hypot(north, across * np.cos(middle) * np.radians(turn))
    return length


def cut_links(roads: RoadMap) -> Network:
    """Cut the roads at every node where something can be decided or met.

    Parameters
    ----------
    roads
        As read.

    Returns
    -------
    network
        Nodes at ends, meetings, named places, turning places, crossings and barriers.
    """
    uses = Counter(point for road in roads.roads for point in road.points)
    kept = {end for road in roads.roads for end in (road.points[0], road.points[-1])}
    kept |= {point for point, count in uses.items() if count > 1}
    kept |= set(roads.places) | roads.turning | roads.crossings | set(roads.barriers)
    names = [p for p in roads.points if p in kept and (uses[p] or p in roads.places)]
    number = {name: node for node, name in enumerate(names)}
    links: list[Link] = []
    for road in roads.roads:
        figures = np.array([roads.points[point] for point in road.points])
        latitude, longitude, height = figures.T
        step = steps(latitude, longitude)
        cuts = [k for k, point in enumerate(road.points) if point in number]
        for a, b in pairwise(cuts):
            links.append(
                Link(
                    road=road.name,
                    facts=road.facts,
                    begin=number[road.points[a]],
                    end=number[road.points[b]],
                    latitude=latitude[a : b + 1],
                    longitude=longitude[a : b + 1],
                    distance=np.concatenate([[0.0], np.cumsum(step[a:b])]),
                    height=height[a : b + 1],
                )
            )
    position = np.array([roads.points[name] for name in names])

    def marked(wanted: Sequence[str] | frozenset[str]) -> NDArray[np.bool_]:
        return np.array([name in wanted for name in names], dtype=bool)

    return Network(
        name=roads.name,
        node_names=tuple(names),
        places=tuple(roads.places.get(name, "") for name in names),
        latitude=position[:, 0],
        longitude=position[:, 1],
        turning=marked(roads.turning),
        crossing=marked(roads.crossings),
        blocked=marked([p for p, kind in roads.barriers.items() if kind in BLOCKING]),
        gate=marked([p for p, kind in roads.barriers.items() if kind not in BLOCKING]),
        links=tuple(links),
        measured=roads.measured,
        warnings=roads.warnings,
    )


def ground_profile(network: Network, grids: Sequence[Grid | Track]) -> Profile:
    """Heights along every link.

    Parameters
    ----------
    network
        With the heights given with its points, if any.
    grids
        Of the ground, in order of preference; used where no heights were given.

    Returns
    -------
    profile
        Samples no more than 25 m apart. Heights are NaN on roads that no height reaches.

    Notes
    -----
    Heights that came with the roads are taken as they are. Recorded ones go before those
    of the ground, on decks too, for they are the road's. What is not given so is evened
    out by (1 - e² d²/dx²)⁻² along the roads, e = 35 m, applied once more to what it took
    away so that hills keep their grade: the roads' own form of the smoothing of recorded
    tracks. Samples on decks, in tunnels and over voids have no weight, so that the
    equation lays them straight between their ends. haulplan's assumption.
    """
    count = np.maximum(np.ceil(network.length / STEP).astype(np.int64), 1) + 1
    first = np.concatenate([[0], np.cumsum(count)])
    start = np.concatenate([[0.0], np.cumsum(network.length + 1.0)[:-1]])
    along = np.concatenate(
        [link.distance + s for link, s in zip(network.links, start, strict=True)]
    )
    own = [np.linspace(0.0, length, n) for length, n in zip(network.length, count, strict=True)]
    distance = np.concatenate(own)
    at = distance + np.repeat(start, count)

    def sampled(side: str) -> Array:
        figures = np.concatenate([getattr(link, side) for link in network.links])
        known = np.isfinite(figures)
        level: Array = np.interp(at, along[known], figures[known]) if known.any() else at * np.nan
        return level

    latitude, longitude = sampled("latitude"), sampled("longitude")
    deck = np.repeat([link.facts.deck for link in network.links], count)
    if network.measured:
        return Profile(
            first=first, distance=distance, latitude=latitude, longitude=longitude,
            height=sampled("height"), void=0.0,
        )  # fmt: skip
    driven = ground_height([g for g in grids if isinstance(g, Track)], latitude, longitude)
    ground = ground_height([g for g in grids if isinstance(g, Grid)], latitude, longitude)
    raw = np.where(np.isfinite(driven), driven, np.where(deck, np.nan, ground))
    share = np.repeat(network.length / (count - 1), count)
    void = float(share[np.isnan(raw) & ~deck].sum())
    height = _evened(network, first, raw)
    return Profile(
        first=first, distance=distance, latitude=latitude, longitude=longitude,
        height=height, void=void,
    )  # fmt: skip


def _evened(network: Network, first: Whole, raw: Array) -> Array:
    """Heights evened out along the roads, laid straight where there are none."""
    from scipy.sparse import coo_matrix, diags  # noqa: PLC0415  slow to load
    from scipy.sparse.csgraph import connected_components  # noqa: PLC0415
    from scipy.sparse.linalg import splu  # noqa: PLC0415

    nodes = len(network.node_names)
    count = np.diff(first)
    index = np.arange(raw.size) - 2 * np.repeat(np.arange(count.size), count) - 1 + nodes
    index[first[:-1]] = [link.begin for link in network.links]
    index[first[1:] - 1] = [link.end for link in network.links]
    size = nodes + raw.size - 2 * count.size
    inner = np.ones(raw.size - 1, dtype=bool)
    inner[first[1:-1] - 1] = False  # from one link to the next is no road
    a, b = index[:-1][inner], index[1:][inner]
    step = np.maximum(np.repeat(network.length / (count - 1), count)[:-1][inner], _SHORTEST)
    mass = np.bincount(a, step / 2, size) + np.bincount(b, step / 2, size)
    rows, columns = np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a])
    stiff = np.concatenate([1 / step, 1 / step, -1 / step, -1 / step])
    network_matrix = coo_matrix((stiff, (rows, columns)), shape=(size, size)).tocsc()
    # A node on a deck and on the ground is an abutment: the ground's height is its own.
    known = np.isfinite(raw)
    total = np.bincount(index[known], raw[known], size)
    seen = np.bincount(index[known], minlength=size)
    data = np.where(seen > 0, total / np.maximum(seen, 1), 0.0)
    weight = mass * np.where(seen > 0, 1.0, _NOTHING)
    solve = splu(
        (diags(weight) + _EVEN**2 * network_matrix).tocsc(),
        permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}, diag_pivot_thresh=0.0,
    ).solve  # fmt: skip
    _, part = connected_components(network_matrix, directed=False)
    covered = np.bincount(part, seen > 0)[part] > 0
    mean = float(data[seen > 0].mean()) if seen.any() else 0.0

    def even(heights: Array) -> Array:
        once: Array = solve(weight * heights)
        twice: Array = solve(weight * np.where(seen > 0, once, 0.0))
        return twice

    level = np.where(seen > 0, data - mean, 0.0)
    smooth = even(level)
    smooth = smooth + even(np.where(seen > 0, level - smooth, 0.0))
    height: Array = np.where(covered, smooth + mean, np.nan)[index]
    return height
